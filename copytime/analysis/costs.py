"""What a file costs and what a byte costs: time = a * files + b * bytes, neither below zero.

It is Hockney's description of communication, t = t0 + n / r, for each file: a is the time that a file takes however short it
is, 1/b the rate that ever larger files approach, and a/b the size of a file that moves at half that rate (R. W. Hockney and
others, PARKBENCH report, 1994, eq. 2 to 8). The model knows no fast phase that ends: it must not be carried across a drop.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from copytime.analysis.student import t_quantile

__all__ = ["CostModel", "Load", "fit_costs"]


@dataclass(frozen=True, slots=True)
class Load:
    """Something that was moved: how many files, bytes in all, and the seconds that it took."""

    files: float
    size_bytes: float
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CostModel:
    """A fitted cost model.

    ``per_file`` (seconds) and ``per_byte`` (seconds per byte) are never below zero; the variances and the covariance
    belong to them, zero for one that lies at its bound. ``spread`` is the standard deviation of what the model leaves over,
    as a share of the time where the fit was by relative errors, else in seconds; ``relative`` says which. ``df`` are the
    degrees of freedom behind it: 0 for as many loads as unknowns, which leave nothing over and show no margin; infinite
    where the error of the times was known. ``residuals`` are measured over fitted time, less one, for each load.
    """

    per_file: float
    per_byte: float
    per_file_variance: float
    per_byte_variance: float
    covariance: float
    spread: float
    df: float
    relative: bool
    residuals: tuple[float, ...]

    @property
    def rate(self) -> float:
        """Bytes per second that ever larger files approach; infinite where bytes cost nothing."""
        return 1 / self.per_byte if self.per_byte else math.inf

    @property
    def half_rate_bytes(self) -> float:
        """Size of a file that moves at half of that rate; infinite where bytes cost nothing."""
        return self.per_file / self.per_byte if self.per_byte else math.inf

    def seconds(self, files: float, size_bytes: float) -> float:
        """Predict a time."""
        return self.per_file * files + self.per_byte * size_bytes

    def half(self, files: float, size_bytes: float) -> float | None:
        """Half of the 95 % interval of one further load's time, in seconds; None where nothing shows a margin.

        The errors of both unknowns belong together (their covariance is mostly negative), and a single load scatters as
        those did that the model was fitted to.
        """
        found = self.deviation(files, size_bytes)
        return None if found is None else t_quantile(0.975, self.df) * found

    def deviation(self, files: float, size_bytes: float) -> float | None:
        """Return by how much one further load's time may miss its prediction, in seconds (standard deviation), or None."""
        if self.df < 1:
            return None
        of_model = (
            self.per_file_variance * files**2
            + self.per_byte_variance * size_bytes**2
            + 2 * self.covariance * files * size_bytes
        )
        own = self.spread * (self.seconds(files, size_bytes) if self.relative else 1.0)
        return math.sqrt(max(0.0, of_model) + own**2)

    def margins(self) -> tuple[float, float] | None:
        """Halves of the 95 % intervals of ``per_file`` and ``per_byte``; None where nothing shows them."""
        if self.df < 1:
            return None
        times = t_quantile(0.975, self.df)
        return times * math.sqrt(self.per_file_variance), times * math.sqrt(self.per_byte_variance)


def fit_costs(loads: Sequence[Load], *, relative: bool = True, error_s: float | None = None) -> CostModel:
    """Fit a cost model by least squares with both unknowns at zero or above.

    ``relative`` weighs by relative errors, because runs differ by percent; without it all times are equally uncertain, as
    those of a stopwatch are, and ``error_s`` is that uncertainty where it is known. Raises ValueError where the loads cannot
    tell the two apart: fewer than two, or all with files of one and the same mean size.
    """
    if len(loads) < 2:
        raise ValueError("a cost model needs at least two loads")
    if any(one.seconds <= 0 or one.files < 0 or one.size_bytes < 0 for one in loads):
        raise ValueError("a load takes time and has no less than no files and bytes")
    weights = [1 / one.seconds if relative else 1.0 for one in loads]
    files = [one.files * weight for one, weight in zip(loads, weights, strict=True)]
    sizes = [one.size_bytes * weight for one, weight in zip(loads, weights, strict=True)]
    times = [one.seconds * weight for one, weight in zip(loads, weights, strict=True)]
    found = _least_squares(files, sizes, times)
    left = [time - found.a * count - found.b * size for time, count, size in zip(times, files, sizes, strict=True)]
    df = len(loads) - found.unknowns
    variance = math.fsum(one * one for one in left) / df if df else 0.0
    if error_s is not None:
        variance, df_known = error_s**2, math.inf
    else:
        df_known = float(df)
    return CostModel(
        per_file=found.a,
        per_byte=found.b,
        per_file_variance=variance * found.aa,
        per_byte_variance=variance * found.bb,
        covariance=variance * found.ab,
        spread=math.sqrt(variance),
        df=df_known,
        relative=relative,
        residuals=tuple(one.seconds / max(found.a * one.files + found.b * one.size_bytes, 1e-300) - 1 for one in loads),
    )


@dataclass(frozen=True, slots=True)
class _Found:
    """Two unknowns and the inverse of their normal matrix; a zero row for one that lies at its bound."""

    a: float
    b: float
    aa: float
    bb: float
    ab: float
    unknowns: int


def _least_squares(x: Sequence[float], y: Sequence[float], t: Sequence[float]) -> _Found:
    """Minimise the sum of (t - a x - b y)^2 for a, b >= 0: the free minimum if it is allowed, else the better bound.

    The columns are scaled to length 1 first, because files are counted in tens and bytes in thousands of millions.
    """
    length_x, length_y = (math.sqrt(math.fsum(one * one for one in column)) for column in (x, y))
    alone = [
        found for found in (_alone(x, t, length_x, first=True), _alone(y, t, length_y, first=False)) if found is not None
    ]
    if not alone:
        raise ValueError("loads of no files and no bytes")
    if length_x and length_y:
        u, v = [one / length_x for one in x], [one / length_y for one in y]
        angle = math.fsum(one * two for one, two in zip(u, v, strict=True))
        flat = math.fsum((two - angle * one) ** 2 for one, two in zip(u, v, strict=True))  # 1 - angle^2, without cancelling
        if flat < 1e-12:
            raise ValueError("files of one mean size cannot tell a cost per file from one per byte")
        b = math.fsum(time * (two - angle * one) for time, one, two in zip(t, u, v, strict=True)) / flat
        a = math.fsum(time * one for time, one in zip(t, u, strict=True)) - angle * b
        if a >= 0 and b >= 0:
            cross = -angle / flat / (length_x * length_y)
            return _Found(a / length_x, b / length_y, 1 / flat / length_x**2, 1 / flat / length_y**2, cross, 2)
    return min(
        alone, key=lambda found: math.fsum((c - found.a * p - found.b * q) ** 2 for p, q, c in zip(x, y, t, strict=True))
    )


def _alone(column: Sequence[float], t: Sequence[float], length: float, *, first: bool) -> _Found | None:
    """Fit one unknown with the other at zero."""
    if not length:
        return None
    value = max(0.0, math.fsum(time * one for time, one in zip(t, column, strict=True)) / length**2)
    inverse = 1 / length**2
    return _Found(value, 0.0, inverse, 0.0, 0.0, 1) if first else _Found(0.0, value, 0.0, inverse, 0.0, 1)
