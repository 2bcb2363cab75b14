"""The time that a host takes to start and stop a copy, however large it is: time = c + b * bytes.

Copies of one size cannot tell c from b, so that it takes two sizes at least, of the same chain and direction. All chains of
a host share c, and each has its own b. The fit is generalised least squares (Aitken 1936), because the errors of several
times belong together: copies of one payload share the error of its size, and copies of one visit what was special about it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from copytime.analysis.margins import Component, Margin, Spread, combine
from copytime.records import Direction
from copytime.units import significant

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Values = NDArray[np.float64]

__all__ = ["CopyTime", "HostOverhead", "Overhead", "fit_line", "fit_overhead"]

#: Sizes that differ by less than this say too little (common practice, no source).
_APART = 1.5

#: One-sided 99 % quantile of the normal distribution: so far from a line, and it is none.
_FAR = 2.326347874040841


@dataclass(frozen=True, slots=True, kw_only=True)
class CopyTime:
    """One copy: ``seconds`` with the standard uncertainty of its timing, and its size with that of the size.

    ``resolution_u`` is that of how its time was written, in seconds, and no part of ``timing_u``: times of one chain and
    size are much alike, so that all are rounded alike and none makes up for another. ``chain`` names what the bytes went
    through, ``payload`` what shares the error of its size, ``visit`` what was copied under the same conditions.
    """

    chain: str
    payload: str
    visit: str
    seconds: float
    timing_u: float
    size_bytes: int
    size_u: float
    resolution_u: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Overhead:
    """The seconds that a copy takes beside its bytes, with what they are uncertain by.

    ``margin`` is in seconds. ``copies`` of ``sizes`` different sizes stand behind it, over ``chains``. ``straight`` tells
    whether the times lie on lines, None where no chain has three sizes to show it.
    """

    seconds: float
    margin: Margin
    copies: int
    sizes: int
    chains: tuple[str, ...]
    straight: bool | None

    @property
    def low(self) -> float:
        """Lower end of the 95 % interval."""
        return self.seconds - self.margin.half()

    @property
    def high(self) -> float:
        """Upper end of the 95 % interval."""
        return self.seconds + self.margin.half()

    @property
    def shown(self) -> bool:
        """Whether there is such a time: not if it may be none, nor if the times do not lie on a line."""
        return self.low > 0 and self.straight is not False


@dataclass(frozen=True, slots=True, kw_only=True)
class HostOverhead:
    """The time that a host takes to start and stop a copy in one direction, and the drives that show it."""

    host: str
    direction: Direction
    found: Overhead
    drives: tuple[str, ...]

    def sentence(self) -> str:
        """Say it for people, with what it rests on."""
        found, host = self.found, self.host
        rests = f"{found.copies} copies of {found.sizes} sizes with {', '.join(self.drives)}; margin: {found.margin.covers}"
        interval = f"{significant(found.low, 2)} to {significant(found.high, 2)} s"
        if found.straight is False:
            return (
                f"The times of copies of different sizes do not lie on a line at {host} ({rests}): a fast phase may end on "
                "the way, or the payloads are not alike. Nothing is told of the time to start and stop a copy."
            )
        if not found.shown:
            return f"No time to start and stop a copy is shown at {host}: {interval} ({rests})."
        more = "" if found.straight else " A third size would show whether the times lie on a line."
        return (
            f"{host} takes about {significant(found.seconds, 2)} s to start and stop a copy, however large it is "
            f"({interval}; {rests}).{more}"
        )


def fit_line(design: Values, values: Values, variance: Values) -> tuple[Values, Values, Values]:
    """Fit by generalised least squares: the unknowns, their covariances, and the weights that make them of the values.

    ``design`` has a row for each value and a column for each unknown; ``variance`` holds the variances and covariances of
    the values. Raises numpy.linalg.LinAlgError where the values cannot tell the unknowns.
    """
    import numpy as np

    weighted = np.linalg.solve(variance, design)
    covariance = np.linalg.inv(design.T @ weighted)
    weights = covariance @ weighted.T
    return weights @ values, covariance, weights


def fit_overhead(several: Sequence[CopyTime], repeats: Spread, between: Spread) -> Overhead | None:
    """Find the time that all copies of a host in one direction take beside their bytes; None where no chain has two sizes.

    ``repeats`` and ``between`` are the relative spreads of repeats and between visits. Chains of one size say nothing.
    """
    import numpy as np

    chosen = _with_sizes(several)
    if not chosen:
        return None
    chains = tuple(dict.fromkeys(one.chain for one in chosen))
    seconds = np.array([one.seconds for one in chosen])
    design = np.zeros((len(chosen), 1 + len(chains)))
    design[:, 0] = 1.0
    for row, one in enumerate(chosen):
        design[row, 1 + chains.index(one.chain)] = one.size_bytes / 1e9
    weighted = design / (seconds**2)[:, None]  # errors in proportion to the times, each by itself
    slopes = np.linalg.inv(design.T @ weighted) @ weighted.T @ seconds
    per_byte = [max(0.0, float(slopes[1 + chains.index(one.chain)])) / 1e9 for one in chosen]
    by_size = [slope * one.size_u for slope, one in zip(per_byte, chosen, strict=True)]
    alike = [f"{one.chain} {one.size_bytes}" for one in chosen]
    sources = (
        (np.diag([one.timing_u**2 for one in chosen]), math.inf, "timing"),
        (_together(alike, np.array([one.resolution_u for one in chosen])), math.inf, "resolution"),
        (np.diag((repeats.sd * seconds) ** 2), repeats.df, "repeats"),
        (_together([one.visit for one in chosen], between.sd * seconds), between.df, "visits"),
        (_together([one.payload for one in chosen], np.array(by_size)), math.inf, "size"),
    )
    variance = np.sum([found for found, _, _ in sources], axis=0)
    unknowns, _, weights = fit_line(design, seconds, variance)
    mine = weights[0]
    parts = [Component(math.sqrt(max(0.0, float(mine @ found @ mine))), df, name) for found, df, name in sources]
    left = seconds - design @ unknowns
    over = len(chosen) - len(unknowns)
    return Overhead(
        seconds=float(unknowns[0]),
        margin=combine(
            parts, ", ".join(one.name for one in sorted(parts, key=lambda one: -one.u) if one.u > 0), at_least=True
        ),
        copies=len(chosen),
        sizes=len({one.size_bytes for one in chosen}),
        chains=chains,
        straight=_straight(float(left @ np.linalg.solve(variance, left)), over) if _can_tell(chosen) else None,
    )


def _with_sizes(several: Sequence[CopyTime]) -> list[CopyTime]:
    """Keep the copies of chains whose sizes differ enough."""
    found = []
    for chain in dict.fromkeys(one.chain for one in several):
        mine = [one for one in several if one.chain == chain]
        sizes = [one.size_bytes for one in mine]
        if max(sizes) >= _APART * min(sizes):
            found += mine
    return found


def _together(names: Sequence[str], errors: Values) -> Values:
    """Make the covariances of errors that are one and the same for values of one name."""
    import numpy as np

    _, codes = np.unique(np.array(names), return_inverse=True)
    same = (codes[:, None] == codes[None, :]).astype(float)
    return np.asarray(np.outer(errors, errors) * same)


def _can_tell(several: Sequence[CopyTime]) -> bool:
    sizes: dict[str, set[int]] = {}
    for one in several:
        sizes.setdefault(one.chain, set()).add(one.size_bytes)
    return any(len(found) > 2 for found in sizes.values())


def _straight(squares: float, df: int) -> bool:
    """Tell whether what a line leaves over may be chance: chi square at 1 %, by Wilson and Hilferty (1931)."""
    return squares <= df * (1 - 2 / (9 * df) + _FAR * math.sqrt(2 / (9 * df))) ** 3
