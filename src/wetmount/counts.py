"""What a slide proves: field area, density with its interval, how sure "none" is, whether more fields are worth it.

Counts over equal fields of view. Inside: areas in mm², densities per mm², means per field of view.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from wetmount.distributions import bisect, chi2_quantile, chi2_sf, gamma_quantile, t_quantile
from wetmount.errors import InputError

CONFIDENCE: Final = 0.95
OVERDISPERSED_BELOW: Final = 0.2
"""Probability of the dispersion test below which the negative-binomial interval is used. Not 0.05: with ten fields of
strong clumping the test then misses one slide in eight and the interval covers 87 % instead of 95 (91 % with 0.2)."""
ENOUGH_FACTOR: Final = 1.5
"""A density known to within this factor up and down is enough to tell few from many (the project's own choice)."""
MOST_FIELDS: Final = 100_000


def field_area_mm2(field_number_mm: float, objective: float, tube_factor: float = 1.0) -> float:
    """Area of the field of view, mm²: π/4 · (field number / (objective · tube factor))².

    The field number (mm) stands on the eyepiece; the eyepiece's own magnification does not count. For a stereo
    microscope give zoom × auxiliary lens as the objective. Rule as makers of microscopes state it.

    >>> round(field_area_mm2(20, 10), 4), round(field_area_mm2(22, 40), 4)
    (3.1416, 0.2376)
    """
    _above("field number", field_number_mm, 5, 40, "mm")
    _above("objective", objective, 0.1, 200, "×")
    _above("tube factor", tube_factor, 0.1, 10, "×")
    return field_area_from_diameter_mm2(field_number_mm / (objective * tube_factor))


def field_area_from_diameter_mm2(diameter_mm: float) -> float:
    """Area of a round field whose diameter (mm) was read on a stage micrometer, mm².

    >>> round(field_area_from_diameter_mm2(1.8), 4)
    2.5447
    """
    _above("field diameter", diameter_mm, 0.005, 100, "mm")
    return math.pi * diameter_mm**2 / 4


def poisson_interval(count: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Exact limits of a Poisson mean from one count: gamma quantiles at α/2 and 1 - α/2.

    Garwood F, Biometrika 28:437-442, 1936.

    >>> [round(x, 4) for x in poisson_interval(0)], [round(x, 4) for x in poisson_interval(10)]
    ([0.0, 3.6889], [4.7954, 18.3904])
    """
    _whole("count", count)
    tail = (1 - _confidence(confidence)) / 2
    return (gamma_quantile(tail, count) if count else 0.0, gamma_quantile(1 - tail, count + 1))


def poisson_upper(count: int, confidence: float = CONFIDENCE) -> float:
    """One-sided upper limit of a Poisson mean; 2.9957 at count 0 and 95 %, the "rule of three"."""
    _whole("count", count)
    return gamma_quantile(_confidence(confidence), count + 1)


@dataclass(frozen=True, slots=True)
class Density:
    """A count over fields. Means and limits per field of view, and per mm² when the area of a field is known.

    `model`: poisson | negative binomial; `dispersion` = variance/mean and `dispersion_p` its test (None when only a
    total is known); `k` the aggregation between fields, small = clumped (None under Poisson).
    """

    total: int
    fields: int
    mean: float
    low: float
    high: float
    confidence: float
    area_mm2: float | None
    model: str
    dispersion: float | None
    dispersion_p: float | None
    k: float | None
    warnings: tuple[str, ...] = ()

    @property
    def per_mm2(self) -> tuple[float, float, float] | None:
        """Mean, low and high per mm²; None without an area."""
        return None if self.area_mm2 is None else tuple(x / self.area_mm2 for x in (self.mean, self.low, self.high))  # type: ignore[return-value]


def count_density(
    counts: Sequence[int] | int,
    fields: int | None = None,
    *,
    area_mm2: float | None = None,
    confidence: float = CONFIDENCE,
) -> Density:
    """Density from the number in each field (a list), or from a total over `fields` fields.

    The interval is exact Poisson. With the number in each field known, the index of dispersion X² = Σ(x - m)²/m on
    n - 1 degrees of freedom (Fisher) tells whether the counts are clumped beyond chance; below p 0.2 the interval is
    that of a negative-binomial mean: profile likelihood, k profiled out, cut at Student's t² on n - 1 degrees of
    freedom instead of χ², because fields are few. Raises InputError for negative counts or no fields.
    """
    if area_mm2 is not None:
        _above("area of a field", area_mm2, 1e-6, 1e4, "mm²")
    if isinstance(counts, int) and not isinstance(counts, bool):
        if fields is None:
            raise InputError("a total needs the number of fields it was counted over", field="fields")
        values, total = None, _whole("count", counts)
    elif isinstance(counts, bool | float | str):
        raise InputError(f"{counts!r} is no count; accepted are whole numbers from 0", field="counts")
    else:
        values = [_whole("count", value) for value in counts]
        if fields is not None and fields != len(values):
            raise InputError(f"{len(values)} counts are given for {fields} fields; give one a field", field="counts")
        fields, total = len(values), sum(values)
    _fields(fields)
    mean = total / fields
    low, high = (limit / fields for limit in poisson_interval(total, confidence))
    if values is None or fields < 2 or not total:
        warnings = () if values is not None else ("only a total is known: clumping between fields cannot be judged",)
        return Density(total, fields, mean, low, high, confidence, area_mm2, "poisson", None, None, None, warnings)
    squares = math.fsum((value - mean) ** 2 for value in values)
    index, p = squares / (fields - 1) / mean, chi2_sf(squares / mean, fields - 1)
    if p >= OVERDISPERSED_BELOW or index <= 1:
        return Density(total, fields, mean, low, high, confidence, area_mm2, "poisson", index, p, None)
    k = negative_binomial_k(values)
    wide_low, wide_high = negative_binomial_mean_interval(values, confidence)
    warnings = ("fields differ more than chance makes likely: interval widened; spread the fields over the slide",)
    return Density(
        total,
        fields,
        mean,
        min(low, wide_low),
        max(high, wide_high),
        confidence,
        area_mm2,
        "negative binomial",
        index,
        p,
        k,
        warnings,
    )


def negative_binomial_log_likelihood(values: Sequence[int], mean: float, k: float) -> float:
    """ln likelihood of counts under a negative binomial of this mean and aggregation k; Poisson when k is infinite."""
    if math.isinf(k):
        return math.fsum(x * math.log(mean) - mean - math.lgamma(x + 1) if mean else 0.0 for x in values)
    log_share, log_rest = math.log(mean / (mean + k)) if mean else -math.inf, -math.log1p(mean / k)
    return math.fsum(
        math.lgamma(k + x) - math.lgamma(k) - math.lgamma(x + 1) + k * log_rest + (x * log_share if x else 0.0)
        for x in values
    )


_LOG_K = (math.log(1e-4), math.log(1e6))


def _best_log_k(values: Sequence[int], mean: float) -> float:
    """ln k of highest likelihood at a given mean, by golden section (the likelihood in ln k has one top)."""
    golden = (math.sqrt(5) - 1) / 2
    low, high = _LOG_K
    tally = _tally(values)

    def at(log_k: float) -> float:
        return _tallied_log_likelihood(tally, mean, math.exp(log_k))

    left, right = high - golden * (high - low), low + golden * (high - low)
    value_left, value_right = at(left), at(right)
    while high - low > 1e-9:
        if value_left > value_right:
            high, right, value_right = right, left, value_left
            left = high - golden * (high - low)
            value_left = at(left)
        else:
            low, left, value_left = left, right, value_right
            right = low + golden * (high - low)
            value_right = at(right)
    return 0.5 * (low + high)


def _tally(values: Sequence[int]) -> list[tuple[int, int]]:
    seen: dict[int, int] = {}
    for value in values:
        seen[value] = seen.get(value, 0) + 1
    return list(seen.items())


def _tallied_log_likelihood(tally: Sequence[tuple[int, int]], mean: float, k: float) -> float:
    log_share, log_rest, log_gamma_k = math.log(mean / (mean + k)), -k * math.log1p(mean / k), math.lgamma(k)
    return math.fsum(
        times * (math.lgamma(k + x) - log_gamma_k - math.lgamma(x + 1) + log_rest + x * log_share) for x, times in tally
    )


def negative_binomial_k(values: Sequence[int]) -> float | None:
    """Aggregation k of highest likelihood at the sample mean; None when the counts show no clumping.

    Bliss CI, Fisher RA, Biometrics 9:176-200, 1953. Small k = clumped; k under 1 is the rule for worms on fish.

    >>> mites = [n for n, leaves in enumerate((70, 38, 17, 10, 9, 3, 2, 1)) for _ in range(leaves)]
    >>> round(negative_binomial_k(mites), 4)
    1.0246
    """
    mean = sum(values) / len(values) if values else 0.0
    variance = math.fsum((x - mean) ** 2 for x in values) / len(values) if values else 0.0
    if not mean or variance <= mean:
        return None
    return math.exp(_best_log_k(values, mean))


def negative_binomial_k_interval(values: Sequence[int], confidence: float = CONFIDENCE) -> tuple[float, float] | None:
    """Profile-likelihood limits of k at the sample mean (χ², 1 degree of freedom); an open side is infinite or 0."""
    best = negative_binomial_k(values)
    if best is None:
        return None
    mean, tally = sum(values) / len(values), _tally(values)
    top = _tallied_log_likelihood(tally, mean, best) - chi2_quantile(_confidence(confidence), 1) / 2

    def below(log_k: float) -> float:
        return top - _tallied_log_likelihood(tally, mean, math.exp(log_k))

    low = 0.0 if below(_LOG_K[0]) < 0 else math.exp(bisect(lambda x: -below(x), _LOG_K[0], math.log(best)))
    high = math.inf if below(_LOG_K[1]) < 0 else math.exp(bisect(below, math.log(best), _LOG_K[1]))
    return low, high


def negative_binomial_mean_interval(values: Sequence[int], confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Profile-likelihood limits of a clumped mean, cut at Student's t² on n - 1 degrees of freedom."""
    mean, tally = sum(values) / len(values), _tally(values)
    cut = t_quantile(0.5 + _confidence(confidence) / 2, len(values) - 1) ** 2 / 2

    def profile(at: float) -> float:
        return _tallied_log_likelihood(tally, at, math.exp(_best_log_k(values, at)))

    top = profile(mean) - cut
    low = bisect(lambda x: profile(math.exp(x)) - top, math.log(mean) - 12, math.log(mean))
    span = math.log(mean) + 12
    if profile(math.exp(span)) > top:
        return math.exp(low), math.inf
    high = bisect(lambda x: top - profile(math.exp(x)), math.log(mean), span)
    return math.exp(low), math.exp(high)


# --- how sure is none, and are more fields worth it -----------------------------------------------------------------


def detection_chance(mean_per_field: float, fields: int, k: float | None = None) -> float:
    """Chance of meeting at least one in `fields` fields when there are `mean_per_field` a field on average.

    Poisson 1 - exp(-n m); clumped with aggregation k: 1 - (1 + m/k)^(-k n).

    >>> round(detection_chance(0.1, 20), 4), round(detection_chance(0.1, 20, k=0.5), 4)
    (0.8647, 0.8385)
    """
    _above("mean per field", mean_per_field, 0, 1e6, "")
    if fields < 0:
        raise InputError(f"{fields} fields; accepted are whole numbers from 0", field="fields")
    if k is None:
        return -math.expm1(-fields * mean_per_field)
    _above("k", k, 1e-6, 1e6, "")
    return -math.expm1(-k * fields * math.log1p(mean_per_field / k))


def fields_needed(mean_per_field: float, chance: float = CONFIDENCE, k: float | None = None) -> int:
    """Fewest fields with at least this chance of meeting one.

    >>> fields_needed(0.1), fields_needed(0.1, k=0.1)
    (30, 44)
    """
    _above("mean per field", mean_per_field, 1e-9, 1e6, "")
    _confidence(chance)
    each = mean_per_field if k is None else k * math.log1p(mean_per_field / k)
    return max(1, math.ceil(-math.log1p(-chance) / each - 1e-9))


@dataclass(frozen=True, slots=True)
class NoneByNow:
    """Nothing seen in `fields` fields: the most there can be, and the chance that some would have been met by now."""

    fields: int
    upper_per_field: float
    upper_per_mm2: float | None
    mean_per_field: float
    chance_met: float
    more_fields: int
    """Further fields until the chance of having met one reaches 95 %."""


def none_by_now(
    fields: int,
    mean_per_field: float,
    *,
    area_mm2: float | None = None,
    k: float | None = None,
    confidence: float = CONFIDENCE,
) -> NoneByNow:
    """How sure "none" is after `fields` empty fields, if the density that matters is `mean_per_field` a field."""
    _fields(fields)
    upper = poisson_upper(0, confidence) / fields
    return NoneByNow(
        fields,
        upper,
        None if area_mm2 is None else upper / area_mm2,
        mean_per_field,
        detection_chance(mean_per_field, fields, k),
        max(0, fields_needed(mean_per_field, confidence, k) - fields),
    )


def more_fields_worth(density: Density, factor: float = ENOUGH_FACTOR) -> int:
    """Further fields until the density is expected to be known within `factor` up and down; 0 = stop counting.

    From the relative error of a mean of n fields, sqrt((1/m + 1/k) / n): ln(factor) = 1.96 of it. With nothing seen
    the mean is unknown; then ask `none_by_now`.
    """
    _above("factor", factor, 1.001, 100, "×")
    if not density.total:
        return 0
    spread = 1 / density.mean + (0.0 if density.k is None else 1 / density.k)
    needed = math.ceil(spread * (1.959964 / math.log(factor)) ** 2)
    return max(0, min(needed, MOST_FIELDS) - density.fields)


# --- checks of what was typed ---------------------------------------------------------------------------------------


def _whole(name: str, value: int) -> int:
    if isinstance(value, bool) or value != int(value):
        raise InputError(f"{value!r} is no {name}; accepted are whole numbers from 0", field="counts")
    if value < 0:
        raise InputError(f"{value} is negative; a {name} is a whole number from 0", field="counts")
    if value > 10**9:
        raise InputError(f"{value} is more than can be counted; accepted are up to 1000000000", field="counts")
    return int(value)


def _fields(fields: int) -> int:
    if fields < 1:
        raise InputError("no fields were looked at; a density needs at least one", field="fields")
    if fields > MOST_FIELDS:
        raise InputError(
            f"{fields} fields are more than anyone looks at; accepted are 1 to {MOST_FIELDS}", field="fields"
        )
    return fields


def _confidence(value: float) -> float:
    if not 0 < value < 1:
        raise InputError(f"{value:g} is no confidence; accepted are numbers between 0 and 1, such as 0.95")
    return value


def _above(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise InputError(
            f"{value:g} {unit}".strip() + f" is out of range; accepted are {low:g} to {high:g} {unit}".rstrip(),
            field=name,
        )
