"""Exact tails and quantiles of the few distributions that counting needs, with the standard library alone.

Scalar functions to about 13 digits; the tests compare them with an independent library. Incomplete gamma and beta
functions by series and continued fraction: NIST Digital Library of Mathematical Functions, 8.11.4, 8.9.2 and 8.17.22,
https://dlmf.nist.gov. Quantiles are found by bisection of the monotone tail, so that no starting guess can fail.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import NormalDist

_TINY = 1e-300
_EPS = 1e-16
_NORMAL = NormalDist()


def normal_quantile(p: float) -> float:
    """Quantile of the standard normal distribution, 0 < p < 1."""
    return _NORMAL.inv_cdf(p)


def normal_cdf(x: float) -> float:
    """P(Z <= x) of the standard normal distribution."""
    return 0.5 * math.erfc(-x / math.sqrt(2))


def bisect(function: Callable[[float], float], low: float, high: float) -> float:
    """The zero of a function that rises from below 0 at `low` to above 0 at `high`, to the last bits of a float."""
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if function(middle) < 0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def gamma_p(a: float, x: float) -> float:
    """Regularised lower incomplete gamma function P(a, x), a > 0, x >= 0."""
    return _gamma_series(a, x) if x < a + 1 else 1 - _gamma_fraction(a, x)


def gamma_q(a: float, x: float) -> float:
    """Regularised upper incomplete gamma function Q(a, x) = 1 - P(a, x), accurate in the far tail."""
    return 1 - _gamma_series(a, x) if x < a + 1 else _gamma_fraction(a, x)


def _gamma_series(a: float, x: float) -> float:
    if x <= 0:
        return 0.0
    term = total = 1 / a
    n = a
    while abs(term) > abs(total) * _EPS:
        n += 1
        term *= x / n
        total += term
    return total * math.exp(-x + a * math.log(x) - math.lgamma(a))


def _gamma_fraction(a: float, x: float) -> float:
    b = x + 1 - a
    c = 1 / _TINY
    d = 1 / b
    h = d
    for i in range(1, 100_000):
        an = -i * (i - a)
        b += 2
        d = 1 / (an * d + b or _TINY)
        c = b + an / c or _TINY
        h *= d * c
        if abs(d * c - 1) < _EPS * 4:
            break
    return math.exp(-x + a * math.log(x) - math.lgamma(a)) * h


def gamma_quantile(p: float, shape: float) -> float:
    """x with P(shape, x) = p, scale 1; 0 <= p < 1."""
    if p <= 0:
        return 0.0
    high = shape + 10 * math.sqrt(shape) + 50.0
    while gamma_p(shape, high) < p:
        high *= 2
    return bisect(lambda x: gamma_p(shape, x) - p, 0.0, high)


def chi2_sf(x: float, df: float) -> float:
    """P(chi-squared with df degrees of freedom > x)."""
    return gamma_q(df / 2, x / 2)


def chi2_quantile(p: float, df: float) -> float:
    """Quantile of chi-squared with df degrees of freedom."""
    return 2 * gamma_quantile(p, df / 2)


def beta_cdf(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function I_x(a, b), a, b > 0."""
    if x <= 0:
        return 0.0
    if x >= 1:
        return 1.0
    front = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x))
    if x < (a + 1) / (a + b + 2):
        return front * _beta_fraction(x, a, b) / a
    return 1 - front * _beta_fraction(1 - x, b, a) / b


def _beta_fraction(x: float, a: float, b: float) -> float:
    c, d = 1.0, 1 / (1 - (a + b) * x / (a + 1) or _TINY)
    h = d
    for m in range(1, 100_000):
        for step in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1 / (1 + step * d or _TINY)
            c = 1 + step / c or _TINY
            h *= d * c
        if abs(d * c - 1) < _EPS * 4:
            break
    return h


def beta_quantile(p: float, a: float, b: float) -> float:
    """x with I_x(a, b) = p."""
    return bisect(lambda x: beta_cdf(x, a, b) - p, 0.0, 1.0)


def t_quantile(p: float, df: float) -> float:
    """Quantile of Student's t with df degrees of freedom, through the beta function."""
    if p < 0.5:
        return -t_quantile(1 - p, df)
    tail = 2 * (1 - p)
    x = beta_quantile(tail, df / 2, 0.5)
    return math.sqrt(df * (1 - x) / x) if x > 0 else math.inf


def log_choose(n: float, k: float) -> float:
    """ln of the binomial coefficient."""
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def binomial_pmf(k: int, n: int, p: float) -> float:
    """P(k successes in n trials)."""
    if not 0 <= k <= n:
        return 0.0
    if p <= 0 or p >= 1:
        return float(k == (0 if p <= 0 else n))
    return math.exp(log_choose(n, k) + k * math.log(p) + (n - k) * math.log1p(-p))


def hypergeometric_pmf(k: int, population: int, marked: int, drawn: int) -> float:
    """P(k marked among `drawn` without replacement from `population` of which `marked` are marked)."""
    if not max(0, drawn - (population - marked)) <= k <= min(marked, drawn):
        return 0.0
    return math.exp(log_choose(marked, k) + log_choose(population - marked, drawn - k) - log_choose(population, drawn))
