"""The cost model against certified fits and published examples of the same two-parameter description."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.analysis.costs import Load, fit_costs


def test_noint1_of_the_nist_reference_sets() -> None:
    """NIST StRD, NoInt1 (itl.nist.gov/div898/strd): a line through the origin, 11 points."""
    found = fit_costs([Load(0, x, y) for x, y in zip(range(60, 71), range(130, 141), strict=True)], relative=False)
    assert found.per_file == 0
    assert found.per_byte == pytest.approx(2.07438016528926, rel=1e-13)
    assert math.sqrt(found.per_byte_variance) == pytest.approx(0.0165289256198347, rel=1e-12)
    assert found.spread == pytest.approx(3.56753034006338, rel=1e-12)
    assert found.df == 10


def test_noint2_of_the_nist_reference_sets() -> None:
    """NIST StRD, NoInt2: three points."""
    found = fit_costs([Load(0, x, y) for x, y in ((4, 3), (5, 4), (6, 4))], relative=False)
    assert found.per_byte == pytest.approx(0.727272727272727, rel=1e-13)
    assert math.sqrt(found.per_byte_variance) == pytest.approx(0.0420827318078432, rel=1e-12)
    assert found.spread == pytest.approx(0.369274472937998, rel=1e-12)


@pytest.mark.parametrize(("rate", "half", "takes"), [(400e6, 2000, 15e-6), (800e6, 4000, 10e-6)])
def test_hockneys_half_rate_size(rate: float, half: float, takes: float) -> None:
    """5 us of start-up: 2 kB and 4 kB, and a message of 4 kB takes 15 and 10 us (B. Blaise, mailing list, 2004)."""
    found = fit_costs([Load(1, n, 5e-6 + n / rate) for n in (1000, 4000, 64000)])
    assert found.half_rate_bytes == pytest.approx(half)
    assert found.seconds(1, 4000) == pytest.approx(takes)
    for times, share in ((1, 0.5), (9, 0.9), (99, 0.99)):  # Hockney: r = r_infinite / (1 + n_half / n)
        n = times * half
        assert n / found.seconds(1, n) == pytest.approx(share * rate)


@pytest.mark.parametrize(
    ("start", "rate", "half", "short", "long"),
    [(0.006, 125e6, 750e3, 6.0328e-3, 0.806), (0.0131667, 105e6, 1.3825e6, 13.2057e-3, 0.965548)],
)
def test_disks_of_a_textbook(start: float, rate: float, half: float, short: float, long: float) -> None:
    """Arpaci-Dusseau, Operating Systems: Three Easy Pieces, 37.4: seek and rotation, then bytes."""
    found = fit_costs([Load(1, n, start + n / rate) for n in (4096, 10**6, 10**8)])
    assert found.half_rate_bytes == pytest.approx(half, rel=1e-4)
    assert found.seconds(1, 4096) == pytest.approx(short, rel=1e-4)
    assert found.seconds(1, 10**8) == pytest.approx(long, rel=1e-4)


FIVE = [
    Load(1, 10e9, 50.004),
    Load(1000, 1e9, 9.0),
    Load(10000, 1e9, 45.0),
    Load(100, 5e9, 25.4),
    Load(1, 1e6, 0.009),
]


@pytest.mark.parametrize("relative", [True, False])
def test_a_constructed_set_is_fitted_exactly(relative: bool) -> None:
    """Constructed: 4 ms for each file and 200 MB/s."""
    found = fit_costs(FIVE, relative=relative)
    assert found.per_file == pytest.approx(0.004)
    assert found.per_byte == pytest.approx(5e-9)
    assert found.half_rate_bytes == pytest.approx(800_000)
    rates = {4096: 1.01878e6, 65536: 15.14345e6, 10**6: 111.1111e6, 10**8: 198.4127e6}
    for size, rate in rates.items():
        assert size / found.seconds(1, size) == pytest.approx(rate, rel=1e-5)
    assert max(map(abs, found.residuals)) < 1e-9


def test_two_timings_by_hand() -> None:
    """Constructed, by propagation of 0.1 s in each time."""
    found = fit_costs([FIVE[0], FIVE[2]], relative=False, error_s=0.1)
    assert math.sqrt(found.per_file_variance) == pytest.approx(1.00500e-5, rel=1e-4)
    assert math.sqrt(found.per_byte_variance) == pytest.approx(1.00001e-11, rel=1e-4)
    both = math.sqrt(found.per_file_variance * found.per_byte_variance)
    assert found.covariance / both == pytest.approx(-0.0996, abs=1e-4)
    assert fit_costs([FIVE[0], FIVE[2]]).half(1, 1e9) is None  # nothing is left over: no margin without one that is known


@given(
    rows=st.lists(
        st.tuples(st.integers(1, 10_000), st.integers(1, 10**10), st.floats(0.01, 1000)),
        min_size=3,
        max_size=12,
        unique=True,
    )
)
def test_against_scipys_non_negative_least_squares(rows: list[tuple[int, int, float]]) -> None:
    """scipy.optimize.nnls (Lawson and Hanson 1974) on the same weighted problem."""
    from scipy.optimize import nnls

    loads = [Load(*row) for row in rows]
    design = np.array([[one.files / one.seconds, one.size_bytes / one.seconds] for one in loads])
    lengths = np.linalg.norm(design, axis=0)
    if np.linalg.cond(design / lengths) > 1e4:
        return
    expected, _ = nnls(design / lengths, np.ones(len(loads)))
    found = fit_costs(loads)
    assert [found.per_file * lengths[0], found.per_byte * lengths[1]] == pytest.approx(list(expected), abs=1e-6)


@pytest.mark.parametrize("loads", [[], [FIVE[0]], [Load(1, 10, 1), Load(2, 20, 2.1)], [Load(0, 0, 1), Load(0, 0, 2)]])
def test_what_cannot_be_fitted_is_refused(loads: list[Load]) -> None:
    with pytest.raises(ValueError, match=r"load|size"):
        fit_costs(loads)


def test_the_margin_covers_a_further_load() -> None:
    """95 % of 1000 predictions from six loads with 3 % of noise."""
    draw = np.random.default_rng(5)
    inside = 0
    for _ in range(1000):
        sizes = [(2000, 8e6), (1000, 64e6), (500, 5e8), (100, 1e9), (20, 1.3e9), (1, 2e9)]
        loads = [Load(n, s, (0.001 * n + s / 3e8) * float(np.exp(0.03 * draw.standard_normal()))) for n, s in sizes]
        found = fit_costs(loads)
        half = found.half(300, 9e8)
        assert half is not None
        truth = (0.3 + 3.0) * float(np.exp(0.03 * draw.standard_normal()))
        inside += abs(found.seconds(300, 9e8) - truth) <= half
    assert 930 <= inside <= 970
