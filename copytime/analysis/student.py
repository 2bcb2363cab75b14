"""Student's t distribution, for margins of error from few repeats.

A small module of our own, so that a margin can be computed without loading a scientific library; held against scipy and
against NIST TN 1297, Table B.1, by the tests.
"""

from __future__ import annotations

import functools
import math

__all__ = ["normal_quantile", "t_cdf", "t_quantile"]

#: The continued fraction converges in a few dozen terms; this many means that it does not.
_TERMS = 500

#: The quantile that every 95 % margin asks for, so that a margin needs no statistics module (NormalDist().inv_cdf(0.975)).
_NORMAL_975 = 1.9599639845400536


def _beta_fraction(a: float, b: float, x: float) -> float:
    """Continued fraction of the incomplete beta function (DLMF 8.17.22), by Lentz's method."""
    tiny = 1e-300
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1)
    d = 1.0 / (d if abs(d) > tiny else tiny)
    value = d
    for term in range(1, _TERMS):  # written out twice: a margin for each of thousands of results comes through here
        step = term * (b - term) * x / ((a + 2 * term - 1) * (a + 2 * term))
        d = 1.0 + step * d
        c = 1.0 + step / c
        d = 1.0 / (d if abs(d) > tiny else tiny)
        c = c if abs(c) > tiny else tiny
        value *= c * d
        step = -(a + term) * (a + b + term) * x / ((a + 2 * term) * (a + 2 * term + 1))
        d = 1.0 + step * d
        c = 1.0 + step / c
        d = 1.0 / (d if abs(d) > tiny else tiny)
        c = c if abs(c) > tiny else tiny
        both = c * d
        value *= both
        if abs(both - 1.0) < 1e-15:
            return value
    raise ArithmeticError(f"the incomplete beta function does not converge at a={a}, b={b}, x={x}")


def _incomplete_beta(a: float, b: float, x: float, y: float) -> float:
    """Regularised incomplete beta function I_x(a, b) (DLMF 8.17), for 0 <= x <= 1 and y = 1 - x.

    Both are asked for, because the smaller of them would lose its digits in a subtraction here.
    """
    if x <= 0 or y <= 0:
        return float(y <= 0)
    log_x = math.log(x) if x < 0.5 else math.log1p(-y)
    log_y = math.log(y) if y < 0.5 else math.log1p(-x)
    front = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * log_x + b * log_y)
    if x < (a + 1) / (a + b + 2):
        return front * _beta_fraction(a, b, x) / a
    return 1 - front * _beta_fraction(b, a, y) / b


def t_cdf(t: float, df: float) -> float:
    """Probability that a t-distributed value with ``df`` > 0 degrees of freedom lies below ``t`` (DLMF 8.17; A&S 26.7.1)."""
    if df <= 0:
        raise ValueError(f"degrees of freedom must be above 0: found {df}")
    if math.isinf(df):
        return 0.5 * math.erfc(-t / math.sqrt(2))
    tail = 0.5 * _incomplete_beta(df / 2, 0.5, df / (df + t * t), t * t / (df + t * t))
    return tail if t < 0 else 1 - tail


#: From so many degrees of freedom on t differs from the normal by less than 1e-8, and the gamma function runs out of digits.
_AS_NORMAL = 1e9


def normal_quantile(p: float) -> float:
    """Return the value below which a standard normal variable lies with probability ``p`` (0 < p < 1)."""
    if p == 0.975:
        return _NORMAL_975
    from statistics import NormalDist

    return NormalDist().inv_cdf(p)


def t_quantile(p: float, df: float) -> float:
    """Return the value below which a t-distributed value with ``df`` degrees of freedom lies with probability ``p``.

    ``df`` need not be whole (Welch and Satterthwaite give fractions) and may be infinite. The 95 % margin of a mean uses
    p = 0.975. Raises ValueError outside 0 < p < 1 or for df <= 0.
    """
    if not 0 < p < 1:
        raise ValueError(f"a probability lies between 0 and 1: found {p}")
    if df <= 0:
        raise ValueError(f"degrees of freedom must be above 0: found {df}")
    return _quantile(p, df)


@functools.lru_cache(maxsize=32768)
def _quantile(p: float, df: float) -> float:
    """Find the quantile by Newton's method, kept inside a bracket that shrinks with every step."""
    if p < 0.5:
        return -_quantile(1 - p, df)
    if p == 0.5:
        return 0.0
    normal = normal_quantile(p)
    if df > _AS_NORMAL:
        return normal
    low, high = 0.0, math.inf
    t = _first_guess(normal, p, df)
    scale = math.exp(math.lgamma((df + 1) / 2) - math.lgamma(df / 2)) / math.sqrt(df * math.pi)
    for _ in range(200):
        miss = t_cdf(t, df) - p
        low, high = (low, t) if miss > 0 else (t, high)
        step = miss / (scale * math.exp(-(df + 1) / 2 * math.log1p(t * t / df)))
        following = t - step
        if abs(step) <= 1e-8 * t:  # the next step would be its square, which is less than rounding
            return following
        if not low < following < high:
            following = (low + high) / 2 if math.isfinite(high) else 2 * t
        t = following
    return t


def _first_guess(normal: float, p: float, df: float) -> float:
    """Start near the answer: exactly for one degree of freedom, else by the first terms of A&S 26.7.5."""
    if df < 2:
        return max(normal, math.tan(math.pi * (p - 0.5)))
    square = normal * normal
    return normal * (1 + (square + 1) / (4 * df) + ((5 * square + 16) * square + 3) / (96 * df * df))
