"""The time to start and stop a copy: the line of the GUM, and made-up consoles whose truth is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from copytime.analysis.compare import Estimate, difference_margin
from copytime.analysis.margins import Component, Spread
from copytime.analysis.overheads import CopyTime, fit_line, fit_overhead


def test_the_calibration_line_of_the_gum() -> None:
    """GUM (JCGM 100:2008), H.3, Table H.6: a thermometer's corrections over temperature, reference 20 degrees."""
    at = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    corrections = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    design = np.array([[1.0, one - 20] for one in at])
    unknowns, covariance, weights = fit_line(design, corrections, np.eye(len(at)))
    left = corrections - design @ unknowns
    s = math.sqrt(float(left @ left) / (len(at) - 2))
    u = s * np.sqrt(np.diag(covariance))
    r = covariance[0, 1] / math.sqrt(covariance[0, 0] * covariance[1, 1])
    assert unknowns[0] == pytest.approx(-0.1712, abs=5e-5)
    assert unknowns[1] == pytest.approx(0.00218, abs=5e-6)
    assert u[0] == pytest.approx(0.0029, abs=5e-5)
    assert u[1] == pytest.approx(0.00067, abs=5e-6)
    assert s == pytest.approx(0.0035, abs=5e-5)
    assert r == pytest.approx(-0.930, abs=5e-4)
    at_30 = np.array([1.0, 10.0])
    assert float(at_30 @ unknowns) == pytest.approx(-0.1494, abs=5e-5)
    assert s * math.sqrt(float(at_30 @ covariance @ at_30)) == pytest.approx(0.0041, abs=5e-5)
    assert np.allclose(weights @ weights.T, covariance), "with equal variances the weights carry the covariances"
    assert math.hypot(u[0], 10 * u[1]) > 1.5 * 0.0041, "without the correlation it would be far too wide"


REPEATS, BETWEEN = Spread(0.005, 8), Spread(0.02, 4)


def made(
    random: np.random.Generator, *, start: float, chains: tuple[float, ...], sizes: tuple[float, ...], bend: float = 0
) -> list[CopyTime]:
    """Copies at one console that takes ``start`` seconds beside the bytes; chains by their rate, in bytes per second."""
    written = {size: size * (1 + 0.003 * random.standard_normal()) for size in sizes}
    found = []
    for rate in chains:
        day = math.exp(0.02 * random.standard_normal())
        for size in sizes:
            for _ in range(3):
                true = start + day * written[size] / rate * (1 + bend * size / 1e11)
                true *= math.exp(0.005 * random.standard_normal())
                found.append(
                    CopyTime(
                        chain=f"{rate}",
                        payload=f"{size}",
                        visit=f"{rate}",
                        seconds=true + 0.1 * random.standard_normal(),
                        timing_u=0.1,
                        size_bytes=round(size),
                        size_u=0.003 * size,
                    )
                )
    return found


def test_the_interval_covers_the_truth() -> None:
    """95 % of 400 made-up consoles; chance alone leaves 91 to 99 % in all but one of ten thousand such tests."""
    random = np.random.default_rng(4)
    hits = 0
    for _ in range(400):
        found = fit_overhead(made(random, start=4.0, chains=(100e6, 250e6), sizes=(5e9, 50e9)), REPEATS, BETWEEN)
        assert found is not None
        hits += found.low <= 4.0 <= found.high
    assert 364 <= hits <= 396


def test_shared_errors_are_not_averaged_away() -> None:
    """The error of a size is one, however often and on however many drives the payload is copied."""
    random = np.random.default_rng(5)
    few = fit_overhead(made(random, start=4.0, chains=(100e6,), sizes=(5e9, 50e9)), Spread(0.0005, 8), Spread(0.0005, 8))
    many = fit_overhead(
        made(random, start=4.0, chains=(100e6,) * 20, sizes=(5e9, 50e9)), Spread(0.0005, 8), Spread(0.0005, 8)
    )
    assert few is not None
    assert many is not None
    alone = math.hypot(50 / 45 * 0.15, 5 / 45 * 1.5)  # the errors of both sizes, 0.15 s and 1.5 s, carried to no bytes
    assert many.margin.u > 0.95 * alone
    assert few.margin.covers.startswith("size")
    assert many.margin.u > 0.8 * few.margin.u


def test_a_line_that_is_none_is_told() -> None:
    random = np.random.default_rng(6)
    straight = fit_overhead(made(random, start=4.0, chains=(100e6,), sizes=(5e9, 25e9, 100e9)), REPEATS, BETWEEN)
    bent = fit_overhead(made(random, start=4.0, chains=(100e6,), sizes=(5e9, 25e9, 100e9), bend=1.0), REPEATS, BETWEEN)
    assert straight is not None
    assert bent is not None
    assert (straight.straight, bent.straight, bent.shown) == (True, False, False)


@pytest.mark.parametrize("sizes", [(50e9,), (50e9, 51e9)])
def test_one_size_says_nothing(sizes: tuple[float, ...]) -> None:
    random = np.random.default_rng(7)
    assert fit_overhead(made(random, start=4.0, chains=(100e6, 200e6), sizes=sizes), REPEATS, BETWEEN) is None
    assert fit_overhead([], REPEATS, BETWEEN) is None


def test_of_an_unevenly_shared_error_the_difference_is_left() -> None:
    """The same 0.8 s weigh 8 % on a copy of 10 s and 0.8 % on one of 100 s."""

    def figure(u: float) -> Estimate:
        return Estimate(log_mean=0.0, components=(Component(u, 5.0, "start and stop", shared="there"),))

    assert difference_margin(figure(0.08), figure(0.008)).u == pytest.approx(0.072)
    assert difference_margin(figure(0.08), figure(0.08)).u == 0
