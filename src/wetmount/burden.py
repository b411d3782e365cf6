"""Parasites on several fish: prevalence, intensity, abundance, aggregation, and what changed between two counts.

Terms as in Bush AO, Lafferty KD, Lotz JM, Shostak AW, Journal of Parasitology 83:575-583, 1997: prevalence = infected /
examined; mean intensity = parasites / infected fish; mean abundance = parasites / examined fish.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.counts import CONFIDENCE, negative_binomial_k, negative_binomial_k_interval
from wetmount.distributions import beta_cdf, beta_quantile, binomial_pmf, normal_cdf, normal_quantile, t_quantile
from wetmount.errors import InputError

RESAMPLES: Final = 9_999
Interval = tuple[float, float]


def wilson_interval(x: int, n: int, confidence: float = CONFIDENCE) -> Interval:
    """Score interval of a proportion. Wilson EB, Journal of the American Statistical Association 22:209-212, 1927.

    >>> [round(limit, 4) for limit in wilson_interval(81, 263)]
    [0.2553, 0.3662]
    """
    _share(x, n)
    z = normal_quantile(0.5 + confidence / 2)
    centre, half = x + z * z / 2, z * math.sqrt(x * (n - x) / n + z * z / 4)
    low, high = (centre - half) / (n + z * z), (centre + half) / (n + z * z)
    return (0.0 if x == 0 else low, 1.0 if x == n else high)


def clopper_pearson_interval(x: int, n: int, confidence: float = CONFIDENCE) -> Interval:
    """Exact interval of a proportion, never too narrow. Clopper CJ, Pearson ES, Biometrika 26:404-413, 1934.

    >>> [round(limit, 4) for limit in clopper_pearson_interval(0, 20)]
    [0.0, 0.1684]
    """
    _share(x, n)
    tail = (1 - confidence) / 2
    low = 0.0 if x == 0 else beta_quantile(tail, x, n - x + 1)
    return low, (1.0 if x == n else beta_quantile(1 - tail, x + 1, n - x))


def blaker_interval(x: int, n: int, confidence: float = CONFIDENCE) -> Interval:
    """Exact interval inside Clopper-Pearson's. Blaker H, Canadian Journal of Statistics 28:783-798, 2000.

    A proportion p is kept while the smaller tail of x, plus the largest tail on the other side that does not exceed
    it, is above 1 - confidence. The kept set may have gaps; its hull is given, found to 1e-6 inside Clopper-Pearson.

    >>> [round(limit, 4) for limit in blaker_interval(3, 10)]
    [0.0873, 0.6194]
    """
    _share(x, n)
    outer_low, outer_high = clopper_pearson_interval(x, n, confidence)
    alpha = 1 - confidence

    def first_kept(start: float, stop: float) -> float:
        # the acceptability jumps, so a bisection could settle in a gap: walk in, then refine between two neighbours
        grid = np.linspace(start, stop, 2001)
        for before, p in pairwise(grid):
            if _acceptability(x, n, float(p)) > alpha:
                left, right = float(before), float(p)
                for _ in range(40):
                    middle = 0.5 * (left + right)
                    left, right = (left, middle) if _acceptability(x, n, middle) > alpha else (middle, right)
                return right
        return stop

    low = 0.0 if x == 0 else first_kept(outer_low, x / n)
    return low, (1.0 if x == n else first_kept(outer_high, x / n))


def _acceptability(x: int, n: int, p: float) -> float:
    """Blaker's acceptability of p: min tail of x plus the opposite tail no larger than it."""
    upper = 1.0 if x == 0 else beta_cdf(p, x, n - x + 1)  # P(X >= x)
    lower = 1.0 if x == n else 1 - beta_cdf(p, x + 1, n - x)  # P(X <= x)
    if upper < lower:
        return upper + _largest_tail_within(upper * (1 + 1e-12), [binomial_pmf(i, n, p) for i in range(n + 1)])
    return lower + _largest_tail_within(lower * (1 + 1e-12), [binomial_pmf(i, n, p) for i in range(n, -1, -1)])


def _largest_tail_within(limit: float, masses: Sequence[float]) -> float:
    total = 0.0
    for mass in masses:
        if total + mass > limit:
            break
        total += mass
    return total


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean with its bootstrap interval (bias-corrected and accelerated)."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Burden:
    """Parasites on several examined fish. `k`: aggregation between fish; None when they differ only by chance."""

    examined: int
    infected: int
    parasites: int
    prevalence: float
    wilson: Interval
    clopper_pearson: Interval
    blaker: Interval
    abundance: Mean
    intensity: Mean | None
    median_intensity: float | None
    largest: int
    k: float | None
    k_interval: Interval | None
    confidence: float
    seed: int


def burden_of(counts: Sequence[int], *, confidence: float = CONFIDENCE, seed: int = 1) -> Burden:
    """Prevalence, abundance and intensity from the number of parasites on each examined fish.

    Means with BCa bootstrap intervals (Efron B, Journal of the American Statistical Association 82:171-185, 1987; for
    parasites Rozsa L, Reiczigel J, Majoros G, Journal of Parasitology 86:228-232, 2000), 9,999 resamples, seeded.
    """
    values = _counts(counts)
    infected = values[values > 0]
    n, x = len(values), len(infected)
    return Burden(
        n,
        x,
        int(values.sum()),
        x / n,
        wilson_interval(x, n, confidence),
        clopper_pearson_interval(x, n, confidence),
        blaker_interval(x, n, confidence),
        _mean(values, confidence, seed),
        _mean(infected, confidence, seed) if x else None,
        float(np.median(infected)) if x else None,
        int(values.max()),
        negative_binomial_k(values.tolist()),
        negative_binomial_k_interval(values.tolist(), confidence),
        confidence,
        seed,
    )


def _mean(values: NDArray[np.int64], confidence: float, seed: int) -> Mean:
    low, high = bca_interval(values.astype(float), lambda sample: sample.mean(axis=-1), confidence, seed)
    return Mean(float(values.mean()), low, high)


def bca_interval(
    values: NDArray[np.float64],
    statistic: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    confidence: float = CONFIDENCE,
    seed: int = 1,
    resamples: int = RESAMPLES,
) -> Interval:
    """Bias-corrected and accelerated bootstrap limits of a statistic along the last axis; Efron 1987."""
    n = len(values)
    observed = float(statistic(values))
    if n < 2 or np.all(values == values[0]):
        return observed, observed
    rng = np.random.default_rng(seed)
    drawn = np.concatenate([statistic(values[rng.integers(0, n, (rows, n))]) for rows in _chunks(resamples, n)])
    left_out = np.array([statistic(np.delete(values, i)) for i in range(n)])
    away = left_out.mean() - left_out
    spread = float((away**2).sum())
    acceleration = float((away**3).sum()) / (6 * spread**1.5) if spread else 0.0
    below = float(np.mean(drawn < observed) + np.mean(drawn == observed) / 2)
    bias = normal_quantile(min(max(below, 0.5 / resamples), 1 - 0.5 / resamples))
    limits = []
    for p in ((1 - confidence) / 2, (1 + confidence) / 2):
        z = bias + normal_quantile(p)
        limits.append(float(np.quantile(drawn, normal_cdf(bias + z / (1 - acceleration * z)))))
    return limits[0], limits[1]


def _chunks(resamples: int, n: int) -> list[int]:
    """Row counts that keep one block of resampled fish near 2 million numbers."""
    rows = max(1, 2_000_000 // n)
    return [min(rows, resamples - start) for start in range(0, resamples, rows)]


# --- before and after -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Change:
    """Share of the parasites that is gone, 1 - after/before, with limits; below 0 when there are more than before."""

    reduction: float
    low: float
    high: float
    method: str


def change_in_totals(
    before: int, after: int, *, effort_before: float = 1, effort_after: float = 1, confidence: float = CONFIDENCE
) -> Change:
    """Reduction from two raw totals counted with known effort (fields, fish or area).

    Given both, `after` is binomial; Clopper-Pearson limits of its share turn into limits of the ratio. Only counting
    error is in it, not the difference between fish: a floor of the true width. Holds when `after` is 0.

    >>> c = change_in_totals(40, 2); round(c.reduction, 4), round(c.low, 4), round(c.high, 4)
    (0.95, 0.8072, 0.9941)
    """
    for name, value in (("before", before), ("after", after)):
        if value < 0:
            raise InputError(f"{value} is negative; a count is a whole number from 0", field=name)
    if before == 0:
        raise InputError("nothing was counted before: a reduction cannot be worked out", field="before")
    if effort_before <= 0 or effort_after <= 0:
        raise InputError("no fields or fish were looked at; effort must be above 0", field="effort")
    scale = effort_before / effort_after
    low, high = clopper_pearson_interval(after, before + after, confidence)

    def reduction(share: float) -> float:
        return -math.inf if share >= 1 else 1 - scale * share / (1 - share)

    return Change(1 - scale * after / before, reduction(high), reduction(low), "conditional binomial")


def change_between_groups(before: Sequence[int], after: Sequence[int], *, confidence: float = CONFIDENCE) -> Change:
    """Reduction between two groups of fish, from means with Student's t on the log ratio.

    Coles GC et al., Veterinary Parasitology 44:35-44, 1992. When nothing is left the variance is undefined and the
    binomial limits of the totals are given instead.
    """
    first, second = _counts(before), _counts(after)
    if not first.sum():
        raise InputError("nothing was counted before: a reduction cannot be worked out", field="before")
    if not second.sum() or len(first) < 2 or len(second) < 2:
        return change_in_totals(
            int(first.sum()),
            int(second.sum()),
            effort_before=len(first),
            effort_after=len(second),
            confidence=confidence,
        )
    ratio = second.mean() / first.mean()
    variance = sum(values.var(ddof=1) / len(values) / values.mean() ** 2 for values in (first, second))
    half = t_quantile(0.5 + confidence / 2, len(first) + len(second) - 2) * math.sqrt(variance)
    return Change(1 - ratio, 1 - ratio * math.exp(half), 1 - ratio * math.exp(-half), "log ratio of means, Student's t")


def change_in_same_fish(
    before: Sequence[int], after: Sequence[int], *, confidence: float = CONFIDENCE, seed: int = 1
) -> Change:
    """Reduction in the same fish counted twice: percentile bootstrap over fish, 9,999 resamples, seeded."""
    first, second = _counts(before), _counts(after)
    if len(first) != len(second):
        raise InputError(f"{len(first)} fish before and {len(second)} after; give both counts of each fish")
    if not first.sum():
        raise InputError("nothing was counted before: a reduction cannot be worked out", field="before")
    if not second.sum() or len(first) < 2:
        return change_in_totals(int(first.sum()), int(second.sum()), confidence=confidence)
    rng = np.random.default_rng(seed)
    drawn = []
    for rows in _chunks(RESAMPLES, len(first)):
        pick = rng.integers(0, len(first), (rows, len(first)))
        totals = first[pick].sum(axis=1)
        drawn.append(1 - second[pick].sum(axis=1)[totals > 0] / totals[totals > 0])
    low, high = np.quantile(np.concatenate(drawn), [(1 - confidence) / 2, (1 + confidence) / 2])
    return Change(float(1 - second.sum() / first.sum()), float(low), float(high), "bootstrap over fish")


def _share(x: int, n: int) -> None:
    if n < 1 or not 0 <= x <= n:
        raise InputError(f"{x} of {n} is no share of fish; accepted are 0 to all of at least one fish")


def _counts(counts: Sequence[int]) -> NDArray[np.int64]:
    if not len(counts):
        raise InputError("no fish was examined; give the number of parasites on each, 0 included", field="counts")
    for value in counts:
        if isinstance(value, bool) or value != int(value) or value < 0:
            raise InputError(f"{value!r} is no count; accepted are whole numbers from 0", field="counts")
    return np.array(counts, dtype=np.int64)
