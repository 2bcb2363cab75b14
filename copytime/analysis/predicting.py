"""How long a load of files takes by a cost model, and where the model may not be carried."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from copytime.analysis.costs import CostModel
from copytime.analysis.margins import Component, combine
from copytime.analysis.visits import BetweenVisits

__all__ = ["REACH", "Beyond", "Prediction", "beyond", "predict"]

#: A file may be this many times larger or smaller than the sizes that a model was fitted to (common practice, no source).
REACH = 2.0

#: Where files beyond that take more than this share of the time it is said, and more than that share refused.
_SAID, _REFUSED = 0.01, 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Beyond:
    """Share of the predicted time that belongs to files far larger, and to files far smaller, than any that were fitted."""

    larger: float
    smaller: float

    @property
    def said(self) -> bool:
        """Whether the prediction has to be marked as an extrapolation."""
        return max(self.larger, self.smaller) > _SAID

    @property
    def refused(self) -> bool:
        """Whether it would be more an extrapolation than a prediction."""
        return self.larger + self.smaller > _REFUSED


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """The time for some files in seconds with its 95 % interval, None where nothing shows one; what that covers."""

    files: int
    size_bytes: int
    seconds: float
    low: float | None
    high: float | None
    covers: str
    beyond: Beyond

    @property
    def rate(self) -> float:
        """Mean rate over all of it, bytes per second."""
        return self.size_bytes / self.seconds


def beyond(model: CostModel, sizes: Iterable[int], fitted: Sequence[float]) -> Beyond:
    """Return what share of the time files take whose size is more than REACH times outside of the ``fitted`` ones."""
    low, high = min(fitted) / REACH, max(fitted) * REACH
    all_of_it = larger = smaller = 0.0
    for size in sizes:
        seconds = model.per_file + model.per_byte * size
        all_of_it += seconds
        larger += seconds if size > high else 0.0
        smaller += seconds if size < low else 0.0
    return Beyond(larger=larger / all_of_it, smaller=smaller / all_of_it) if all_of_it else Beyond(larger=0.0, smaller=0.0)


def predict(model: CostModel, sizes: Sequence[int], fitted: Sequence[float], between: BetweenVisits) -> Prediction:
    """Predict the time for files of these sizes in bytes.

    The margin covers how well the model is known, how single loads scatter about it, and how visits differ. Raises
    ValueError, with the reason, where no file is to be moved or the model says that it takes no time.
    """
    files, size_bytes = len(sizes), sum(sizes)
    seconds = model.seconds(files, size_bytes)
    if not files or seconds <= 0:
        raise ValueError("there is nothing to move")
    own = model.deviation(files, size_bytes)
    half = None
    if own is not None:
        parts = [Component(own / seconds, model.df, "model"), between.component()]
        half = combine(parts, "", at_least=True).half()
    return Prediction(
        files=files,
        size_bytes=size_bytes,
        seconds=seconds,
        low=None if half is None else seconds * math.exp(-half),
        high=None if half is None else seconds * math.exp(half),
        covers=f"{between.words}, how well the model is known and how measurements scatter about it",
        beyond=beyond(model, sizes, fitted),
    )
