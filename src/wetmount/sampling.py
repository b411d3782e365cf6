"""How many fish to examine, what a clean sample proves, and pooled tests.

Exact: hypergeometric in a finite group, binomial in an open one. The assumed number infected is D = ceil(N · p), at
least one; this choice matters below a few hundred fish and is stated with every answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.distributions import hypergeometric_pmf
from wetmount.errors import InputError

CONFIDENCE: Final = 0.95
_SLACK: Final = 1e-12
"""Rounding: 95 of 100 fish with one infected reach 0.95 exactly, and must count as reaching it."""
LARGEST_GROUP: Final = 10_000_000
LARGEST_WITH_FALSE_POSITIVES: Final = 20_000
"""Group size above which the search with an imperfect specificity treats the group as open (infinite)."""


@dataclass(frozen=True, slots=True)
class SampleSize:
    """Fish to examine. `fish` is None when even examining all of them does not reach the confidence.

    `reached`: confidence of that many fish; `if_all`: of examining the whole group (1 - (1 - Se)^D; None when open).
    `allowed_positives`: conclude free with no more positives than this (0 with a perfect specificity).
    """

    fish: int | None
    infected: int | None
    reached: float
    if_all: float | None
    allowed_positives: int = 0
    false_alarm: float = 0.0
    """Chance that a free group shows more positives than allowed."""


def infected_assumed(group: int, prevalence: float) -> int:
    """D = ceil(N p), at least 1."""
    return max(1, math.ceil(group * prevalence - 1e-9))


def chance_all_negative(group: int | None, infected: int | float, sample: int, sensitivity: float = 1.0) -> float:
    """Chance that no fish of the sample tests positive although `infected` of the group are (or that share, when open).

    Finite: Σ_y Hypergeometric(y; N, D, n) (1 - Se)^y; open group (None): (1 - p Se)^n with `infected` the share p.

    >>> round(chance_all_negative(100, 5, 45), 4)
    0.0462
    """
    if group is None:
        return math.exp(sample * math.log1p(-infected * sensitivity)) if infected * sensitivity < 1 else 0.0
    marked = int(infected)
    if sensitivity >= 1:
        return _none_drawn(group, marked, sample)
    most = min(marked, sample)
    return math.fsum(hypergeometric_pmf(y, group, marked, sample) * (1 - sensitivity) ** y for y in range(most + 1))


def _none_drawn(group: int, marked: int, sample: int) -> float:
    """C(N - D, n) / C(N, n) as a product: logarithms of factorials lose the digits that decide at exactly 95 %."""
    few, many = sorted((marked, sample))
    chance = 1.0
    for i in range(few):
        chance *= (group - many - i) / (group - i)
        if chance <= 1e-300:
            return 0.0
    return chance


def fish_to_sample(
    group: int | None,
    prevalence: float,
    *,
    confidence: float = CONFIDENCE,
    sensitivity: float = 1.0,
    specificity: float = 1.0,
) -> SampleSize:
    """Fewest fish so that a condition at this prevalence or higher is found with the wanted confidence.

    With an imperfect specificity the sample may hold up to c positives and both errors are at most 1 - confidence
    (Cameron AR, Baldock FC, Preventive Veterinary Medicine 34:1-17, 1998). `group` None = open population.

    >>> fish_to_sample(100, 0.05).fish, fish_to_sample(None, 0.02).fish, fish_to_sample(30, 0.1, sensitivity=0.5).fish
    (45, 149, None)
    """
    _check(group, prevalence, confidence, sensitivity, specificity)
    if specificity < 1:
        return _with_false_positives(group, prevalence, confidence, sensitivity, specificity)
    if group is None:
        n = (
            math.ceil(math.log(1 - confidence) / math.log1p(-prevalence * sensitivity) - 1e-9)
            if (prevalence * sensitivity < 1)
            else 1
        )
        return SampleSize(n, None, 1 - chance_all_negative(None, prevalence, n, sensitivity), None)
    infected = infected_assumed(group, prevalence)
    if_all = 1 - chance_all_negative(group, infected, group, sensitivity)
    if if_all < confidence - _SLACK:
        return SampleSize(None, infected, if_all, if_all)
    low, high = 0, group  # the chance of missing falls with every fish added
    while high - low > 1:
        middle = (low + high) // 2
        if 1 - chance_all_negative(group, infected, middle, sensitivity) >= confidence - _SLACK:
            high = middle
        else:
            low = middle
    return SampleSize(high, infected, 1 - chance_all_negative(group, infected, high, sensitivity), if_all)


def positives_distribution(
    group: int | None, infected: int | float, sample: int, sensitivity: float, specificity: float
) -> NDArray[np.float64]:
    """P(0, 1, … positives) in the sample: infected found, plus false alarms among the others."""
    if group is None:
        p = infected * sensitivity + (1 - infected) * (1 - specificity)
        return _binomial(sample, p)
    total = np.zeros(sample + 1)
    marked = int(infected)
    for y in range(max(0, sample - (group - marked)), min(marked, sample) + 1):
        weight = hypergeometric_pmf(y, group, marked, sample)
        if weight > 1e-18:
            total += weight * np.convolve(_binomial(y, sensitivity), _binomial(sample - y, 1 - specificity))
    return total


def _binomial(n: int, p: float) -> NDArray[np.float64]:
    if p <= 0 or p >= 1:
        certain: NDArray[np.float64] = np.zeros(n + 1)
        certain[0 if p <= 0 else n] = 1.0
        return certain
    k = np.arange(n + 1)
    steps = np.concatenate(([0.0], np.cumsum(np.log((n - k[:-1]) / (k[:-1] + 1)))))
    masses: NDArray[np.float64] = np.exp(steps + k * math.log(p) + (n - k) * math.log1p(-p))
    return masses


def _with_false_positives(
    group: int | None, prevalence: float, confidence: float, sensitivity: float, specificity: float
) -> SampleSize:
    """Smallest n for which some c keeps both errors within 1 - confidence.

    Whether one exists does not rise steadily with n (c moves in whole steps), so every n is tried up to the first.
    """
    if group is not None and group > LARGEST_WITH_FALSE_POSITIVES:
        group = None
    infected: int | float = prevalence if group is None else infected_assumed(group, prevalence)
    error = 1 - confidence
    marked = None if group is None else int(infected)
    if sensitivity <= 1 - specificity:
        return SampleSize(None, marked, 0.0, None)
    most = group if group is not None else 20_000
    reached = 0.0
    for n in range(1, most + 1):
        alarm = 1 - np.cumsum(_binomial(n, 1 - specificity))
        allowed = int(np.argmax(alarm <= error))
        missed = float(positives_distribution(group, infected, n, sensitivity, specificity)[: allowed + 1].sum())
        reached = 1 - missed
        if missed <= error:
            return SampleSize(n, marked, reached, None, allowed, float(max(alarm[allowed], 0)))
    return SampleSize(None, marked, reached, reached)


# --- what a clean sample proves -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CleanSample:
    """`sample` fish examined, none positive."""

    sample: int
    group: int | None
    upper_prevalence: float
    """Largest share infected that would still leave this chance (1 - confidence) of a clean sample."""
    upper_infected: int | None
    """The same as a number of fish of a finite group; the group's size when nothing is excluded."""
    confidence: float
    chance_found: float | None
    """Chance that the assumed prevalence would have shown; None when none was assumed."""
    free_probability: float | None
    """Probability that the group is free, given a prior; None without one."""


def clean_sample(
    group: int | None,
    sample: int,
    *,
    sensitivity: float = 1.0,
    confidence: float = CONFIDENCE,
    prevalence: float | None = None,
    prior_infected: float | None = None,
) -> CleanSample:
    """What `sample` negative fish prove: one-sided exact upper limit of the share infected.

    Open group: 1 - (1 - confidence)^(1/n), over the sensitivity. With a design prevalence and the prior probability
    that the group is infected: P(free) = (1 - π) / (1 - π SSe) (Martin PAJ, Cameron AR, Greiner M, Preventive
    Veterinary Medicine 79:71-97, 2007).

    >>> round(clean_sample(None, 30).upper_prevalence, 5)
    0.09503
    """
    _check(group, 0.5 if prevalence is None else prevalence, confidence, sensitivity, 1.0)
    if sample < 1 or (group is not None and sample > group):
        raise InputError(f"{sample} fish examined; accepted are 1 to the size of the group", field="sample")
    if group is None:
        upper, upper_infected = min(1.0, (1 - (1 - confidence) ** (1 / sample)) / sensitivity), None
    else:
        # largest D whose chance of a clean sample is still above 1 - confidence; that chance falls as D rises
        low, high = 0, group
        while low < high:
            middle = (low + high + 1) // 2
            if chance_all_negative(group, middle, sample, sensitivity) > 1 - confidence:
                low = middle
            else:
                high = middle - 1
        upper, upper_infected = low / group, low
    found = None
    if prevalence is not None:
        infected: int | float = prevalence if group is None else infected_assumed(group, prevalence)
        found = 1 - chance_all_negative(group, infected, sample, sensitivity)
    free = None
    if prior_infected is not None:
        if found is None:
            raise InputError("a probability of freedom needs the prevalence it is to be free of", field="prevalence")
        free = free_probability(prior_infected, found)
    return CleanSample(sample, group, upper, upper_infected, confidence, found, free)


def free_probability(prior_infected: float, sensitivity_of_survey: float) -> float:
    """P(free | all negative) = (1 - π) / (1 - π SSe).

    >>> round(free_probability(0.5, 0.95), 6)
    0.952381
    """
    _probability("prior", prior_infected)
    _probability("survey sensitivity", sensitivity_of_survey)
    if prior_infected * sensitivity_of_survey >= 1:
        raise InputError("a group held certain to be infected, and a perfect survey, contradict a clean sample")
    return (1 - prior_infected) / (1 - prior_infected * sensitivity_of_survey)


def freedom_over_rounds(
    prior_infected: float, survey_sensitivities: Sequence[float], introduction: float
) -> tuple[tuple[float, float], ...]:
    """After each clean round: P(free), and P(free) carried on once `introduction` risk has passed until the next."""
    rounds = []
    infected = prior_infected
    for sensitivity in survey_sensitivities:
        free = free_probability(infected, sensitivity)
        carried = free * (1 - introduction)
        infected = 1 - carried
        rounds.append((free, carried))
    return tuple(rounds)


# --- pooled tests ---------------------------------------------------------------------------------------------------


def pools_needed(
    prevalence: float, pool_size: int, *, pool_sensitivity: float = 1.0, confidence: float = CONFIDENCE
) -> int:
    """Pools of `pool_size` fish so that an open group at this prevalence gives a positive pool with this confidence.

    A pool holds an infected fish with 1 - (1 - p)^size and is then found with `pool_sensitivity`.

    >>> pools_needed(0.02, 5)
    30
    """
    _check(None, prevalence, confidence, pool_sensitivity, 1.0)
    if pool_size < 1:
        raise InputError(f"a pool of {pool_size} fish; accepted are whole numbers from 1", field="pool size")
    positive = (
        pool_sensitivity * -math.expm1(pool_size * math.log1p(-prevalence)) if prevalence < 1 else pool_sensitivity
    )
    return 1 if positive >= 1 else math.ceil(math.log(1 - confidence) / math.log1p(-positive) - 1e-9)


def prevalence_from_pools(
    positive: int, pools: int, pool_size: int, *, confidence: float = CONFIDENCE, sensitivity: float = 1.0
) -> tuple[float, float, float]:
    """Prevalence among fish from positive pools, highest likelihood, with exact limits: 1 - (1 - P/Se)^(1/size).

    P is the share of pools positive, its limits Clopper-Pearson. Needs no knowledge of which fish was infected.
    """
    from wetmount.burden import clopper_pearson_interval

    if pool_size < 1 or pools < 1 or not 0 <= positive <= pools:
        raise InputError(f"{positive} of {pools} pools of {pool_size} fish; accepted are 0 to all of at least one pool")
    _probability("sensitivity", sensitivity)
    low, high = clopper_pearson_interval(positive, pools, confidence)
    return tuple(  # type: ignore[return-value]
        1.0 if share >= sensitivity else -math.expm1(math.log1p(-share / sensitivity) / pool_size)
        for share in (positive / pools, low, high)
    )


# --- checks ---------------------------------------------------------------------------------------------------------


def _probability(name: str, value: float) -> None:
    if not 0 <= value <= 1:
        raise InputError(f"{value:g} is no probability; accepted are numbers from 0 to 1", field=name)


def _check(group: int | None, prevalence: float, confidence: float, sensitivity: float, specificity: float) -> None:
    if group is not None and not 1 <= group <= LARGEST_GROUP:
        raise InputError(f"a group of {group} fish; accepted are 1 to {LARGEST_GROUP}", field="group")
    for name, value in (("prevalence", prevalence), ("sensitivity", sensitivity), ("specificity", specificity)):
        if not 0 < value <= 1:
            raise InputError(f"{value:g} is out of range; accepted are numbers above 0, up to 1", field=name)
    if not 0 < confidence < 1:
        raise InputError(f"{confidence:g} is out of range; accepted are numbers between 0 and 1", field="confidence")
