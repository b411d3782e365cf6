"""Counts and burdens: published tables, worked examples and the intervals of scipy and statsmodels."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from wetmount.burden import (
    bca_interval,
    blaker_interval,
    burden_of,
    change_between_groups,
    change_in_same_fish,
    change_in_totals,
    clopper_pearson_interval,
    wilson_interval,
)
from wetmount.counts import (
    count_density,
    detection_chance,
    field_area_from_diameter_mm2,
    field_area_mm2,
    fields_needed,
    more_fields_worth,
    negative_binomial_k,
    negative_binomial_k_interval,
    negative_binomial_log_likelihood,
    negative_binomial_mean_interval,
    none_by_now,
    poisson_interval,
    poisson_upper,
)
from wetmount.distributions import (
    beta_cdf,
    beta_quantile,
    chi2_quantile,
    chi2_sf,
    gamma_p,
    gamma_q,
    gamma_quantile,
    t_quantile,
)
from wetmount.errors import InputError

# Field diameter (mm) and area (mm²) by objective and field number: FN/objective, makers' rule; areas computed.
FIELDS = """
1 18.000/254.4690 20.000/314.1593 22.000/380.1327 26.500/551.5459
2 9.000/63.6173 10.000/78.5398 11.000/95.0332 13.250/137.8865
4 4.500/15.9043 5.000/19.6350 5.500/23.7583 6.625/34.4716
10 1.800/2.5447 2.000/3.1416 2.200/3.8013 2.650/5.5155
20 0.900/0.6362 1.000/0.7854 1.100/0.9503 1.325/1.3789
40 0.450/0.1590 0.500/0.1963 0.550/0.2376 0.662/0.3447
60 0.300/0.0707 0.333/0.0873 0.367/0.1056 0.442/0.1532
100 0.180/0.0254 0.200/0.0314 0.220/0.0380 0.265/0.0552
"""

# c, exact two-sided 95 % limits (Garwood 1936), one-sided upper 95 %.
GARWOOD = """
0 0 3.6889 2.9957
1 .0253 5.5716 4.7439
2 .2422 7.2247 6.2958
3 .6187 8.7673 7.7537
4 1.0899 10.2416 9.1535
5 1.6235 11.6683 10.5130
6 2.2019 13.0595 11.8424
7 2.8144 14.4227 13.1481
8 3.4538 15.7632 14.4346
9 4.1154 17.0848 15.7052
10 4.7954 18.3904 16.9622
15 8.3954 24.7402 23.0971
20 12.2165 30.8884 29.0620
25 16.1787 36.9049 34.9161
50 37.1110 65.9188 63.2871
100 81.3640 121.6268 118.0793
"""

# Yeast cells in 400 squares, Student, Biometrika 5:351-360, 1907 (from memory): squares with 0, 1, 2 … cells; mean,
# variance/mean, X², p, exact limits of the mean, computed independently.
STUDENT = [
    ((213, 128, 37, 18, 3, 1), 0.6825, 1.1923, 475.72, 0.0049, 0.6039, 0.7684),
    ((103, 143, 98, 42, 8, 4, 2), 1.3225, 0.9729, 388.20, 0.6414, 1.2122, 1.4402),
    ((75, 103, 121, 54, 30, 13, 2, 1, 0, 1), 1.8000, 1.0916, 435.56, 0.1003, 1.6709, 1.9364),
    ((0, 20, 43, 53, 86, 70, 54, 37, 18, 10, 5, 2, 2), 4.6800, 0.9549, 380.99, 0.7336, 4.4704, 4.8969),
]
# Red mites on 150 apple leaves, Bliss & Fisher, Biometrics 9:176-200, 1953 (counts from memory); k is published.
MITES = (70, 38, 17, 10, 9, 3, 2, 1)

# Newcombe RG, Statistics in Medicine 17:857-872, 1998 (table from memory): x, n, Wilson, Clopper-Pearson.
NEWCOMBE = [
    (81, 263, 0.2553, 0.3662, 0.2527, 0.3676),
    (15, 148, 0.0624, 0.1605, 0.0578, 0.1617),
    (0, 20, 0.0, 0.1611, 0.0, 0.1684),
    (1, 29, 0.0061, 0.1718, 0.0009, 0.1776),
]
# Small samples, computed independently: x, n, Wilson, Clopper-Pearson, Blaker (2000).
SMALL = """
0 5 0 .4345 0 .5218 0 .5000
0 10 0 .2775 0 .3085 0 .2829
0 30 0 .1135 0 .1157 0 .1062
0 60 0 .0602 0 .0596 0 .0595
1 5 .0362 .6245 .0051 .7164 .0102 .6574
1 10 .0179 .4042 .0025 .4450 .0051 .4444
3 10 .1078 .6032 .0667 .6525 .0873 .6194
5 10 .2366 .7634 .1871 .8129 .2224 .7776
1 20 .0089 .2361 .0013 .2487 .0026 .2388
2 20 .0279 .3010 .0123 .3170 .0181 .3161
5 20 .1119 .4687 .0866 .4910 .1041 .4740
3 30 .0346 .2562 .0211 .2653 .0278 .2596
10 30 .1923 .5122 .1729 .5281 .1751 .5171
1 60 .0029 .0886 .0004 .0894 .0009 .0857
29 30 .8333 .9941 .8278 .9992 .8374 .9983
"""


def numbers(text: str) -> list[list[float]]:
    return [[float(cell) for cell in line.replace("/", " ").split()] for line in text.split("\n") if line]


def spread(tally: tuple[int, ...]) -> list[int]:
    return [value for value, times in enumerate(tally) for _ in range(times)]


def test_field_areas() -> None:
    for line in numbers(FIELDS):
        objective = line[0]
        for number, diameter, area in zip((18, 20, 22, 26.5), line[1::2], line[2::2], strict=True):
            # half a unit of the last place; 26.5/40 = 0.6625 is printed 0.662
            assert number / objective == pytest.approx(diameter, abs=5.1e-4)
            assert field_area_mm2(number, objective) == pytest.approx(area, abs=5.1e-5)
    assert field_area_mm2(20, 10, 1.25) == pytest.approx(field_area_from_diameter_mm2(1.6))


@pytest.mark.parametrize("line", numbers(GARWOOD), ids=lambda line: str(int(line[0])))
def test_exact_poisson_limits(line: list[float]) -> None:
    count = int(line[0])
    assert [*poisson_interval(count), poisson_upper(count)] == pytest.approx(line[1:], abs=5.1e-5)


@given(st.integers(0, 5000), st.floats(0.5, 0.999))
def test_poisson_limits_against_scipy(count: int, confidence: float) -> None:
    tail = (1 - confidence) / 2
    low, high = poisson_interval(count, confidence)
    assert low == pytest.approx(0 if count == 0 else stats.chi2.ppf(tail, 2 * count) / 2, rel=1e-9)
    assert high == pytest.approx(stats.chi2.ppf(1 - tail, 2 * count + 2) / 2, rel=1e-9)


@given(st.floats(0.05, 500), st.floats(0, 1000), st.floats(0.05, 300))
def test_tails_against_scipy(a: float, x: float, b: float) -> None:
    assert gamma_p(a, x) == pytest.approx(stats.gamma.cdf(x, a), rel=1e-8, abs=1e-13)
    assert gamma_q(a, x) == pytest.approx(stats.gamma.sf(x, a), rel=1e-7, abs=1e-13)
    share = x / 1000
    assert beta_cdf(share, a, b) == pytest.approx(stats.beta.cdf(share, a, b), rel=1e-8, abs=1e-13)
    assert chi2_sf(x, a) == pytest.approx(stats.chi2.sf(x, a), rel=1e-7, abs=1e-13)


@given(st.floats(0.001, 0.999), st.floats(0.5, 80), st.floats(0.5, 80))
def test_quantiles_against_scipy(p: float, a: float, b: float) -> None:
    assert gamma_quantile(p, a) == pytest.approx(stats.gamma.ppf(p, a), rel=1e-8)
    assert beta_quantile(p, a, b) == pytest.approx(stats.beta.ppf(p, a, b), rel=1e-7, abs=1e-13)
    assert chi2_quantile(p, a) == pytest.approx(stats.chi2.ppf(p, a), rel=1e-8)
    assert t_quantile(p, a + 0.5) == pytest.approx(stats.t.ppf(p, a + 0.5), rel=1e-7, abs=1e-9)


@pytest.mark.parametrize(("tally", "mean", "index", "x2", "p", "low", "high"), STUDENT)
def test_yeast_cells_of_student(
    tally: tuple[int, ...], mean: float, index: float, x2: float, p: float, low: float, high: float
) -> None:
    density = count_density(spread(tally))
    assert density.mean == pytest.approx(mean, abs=1e-12)
    assert density.dispersion == pytest.approx(index, abs=5.1e-5)
    assert density.dispersion is not None
    assert density.dispersion * 399 == pytest.approx(x2, abs=5.1e-3)
    assert density.dispersion_p == pytest.approx(p, abs=5.1e-5)
    exact = [limit / 400 for limit in poisson_interval(density.total)]
    assert exact == pytest.approx([low, high], abs=5.1e-5)
    if p < 0.2:
        assert density.model == "negative binomial"
        assert density.low < low
        assert density.high > high
    else:
        assert density.model == "poisson"
        assert (density.low, density.high) == pytest.approx(exact)


def test_negative_binomial_k_of_the_mites() -> None:
    values = spread(MITES)
    k = negative_binomial_k(values)
    assert k == pytest.approx(1.02459, abs=5.1e-6)  # as published
    low, high = negative_binomial_k_interval(values) or (0, 0)
    assert (low, high) == pytest.approx((0.6254, 1.8362), abs=1e-4)
    # log likelihoods of the project's facts; expected counts as printed in the paper (from memory)
    mean = sum(values) / len(values)
    assert k is not None
    assert negative_binomial_log_likelihood(values, mean, k) == pytest.approx(-222.437, abs=1e-3)
    assert negative_binomial_log_likelihood(values, mean, math.inf) == pytest.approx(-242.810, abs=1e-3)
    expected = stats.nbinom.pmf(range(8), k, k / (k + mean)) * 150
    assert expected == pytest.approx([69.49, 37.60, 20.10, 10.70, 5.69, 3.02, 1.60, 0.85], abs=6e-3)


def test_clumped_interval_is_the_profile_likelihood_cut_at_t_squared() -> None:
    values = [0, 0, 12, 0, 3, 0, 0, 1, 0, 7]

    def profile(log_mean: float) -> float:
        def minus(log_k: float) -> float:
            k, mean = math.exp(log_k), math.exp(log_mean)
            return -float(stats.nbinom.logpmf(values, k, k / (k + mean)).sum())

        return -float(optimize.minimize_scalar(minus, bounds=(-9, 12), method="bounded", options={"xatol": 1e-10}).fun)

    top = profile(math.log(2.3)) - stats.t.ppf(0.975, 9) ** 2 / 2
    low = math.exp(optimize.brentq(lambda x: profile(x) - top, -6, math.log(2.3)))
    high = math.exp(optimize.brentq(lambda x: profile(x) - top, math.log(2.3), 6))
    assert negative_binomial_mean_interval(values) == pytest.approx((low, high), rel=1e-4)
    density = count_density(values)
    assert density.model == "negative binomial"
    assert (density.low, density.high) == pytest.approx((low, high), rel=1e-4)


def test_clumped_interval_holds_its_level() -> None:
    # 200 slides of 20 clumped fields (mean 1, k 0.5): the interval of a plain Poisson count would cover far less
    rng = np.random.default_rng(5)
    covered = plain = 0
    for _ in range(200):
        values = rng.negative_binomial(0.5, 0.5 / 1.5, 20).tolist()
        density = count_density(values)
        covered += density.low <= 1 <= density.high
        low, high = poisson_interval(sum(values))
        plain += low <= 20 <= high
    assert covered / 200 >= 0.9
    assert plain / 200 < 0.8


def test_fields_needed_table() -> None:
    # n for 95 %: Poisson, then k 2, 1, 0.5, 0.2, 0.1; computed independently from the two formulas
    table = {2: (2, 3, 3, 4, 7, 10), 1: (3, 4, 5, 6, 9, 13), 0.5: (6, 7, 8, 9, 12, 17), 0.2: (15, 16, 17, 18, 22, 28)}
    table |= {0.1: (30, 31, 32, 33, 37, 44), 0.05: (60, 61, 62, 63, 68, 74), 0.01: (300, 301, 302, 303, 308, 315)}
    for mean, expected in table.items():
        assert tuple(fields_needed(mean, 0.95, k) for k in (None, 2, 1, 0.5, 0.2, 0.1)) == expected
    detection = {(0.05, 5): (0.2212, 0.2120), (0.05, 10): (0.3935, 0.3791), (0.05, 20): (0.6321, 0.6145)}
    detection |= {(0.05, 50): (0.9179, 0.9077), (0.1, 5): (0.3935, 0.3661), (0.1, 10): (0.6321, 0.6015)}
    detection |= {(0.1, 20): (0.8647, 0.8385), (0.1, 50): (0.9933, 0.9895), (0.3, 5): (0.7769, 0.6912)}
    detection |= {(0.3, 10): (0.9502, 0.9046), (0.3, 20): (0.9975, 0.9909)}
    del detection[0.1, 10]  # its clumped value is checked against the closed form below
    for (mean, n), (poisson, clumped) in detection.items():
        assert detection_chance(mean, n) == pytest.approx(poisson, abs=5.1e-5)
        assert detection_chance(mean, n, 0.5) == pytest.approx(clumped, abs=5.1e-5)
    assert detection_chance(0.1, 10) == pytest.approx(0.6321, abs=5.1e-5)
    assert detection_chance(0.1, 10, 0.5) == pytest.approx(1 - stats.nbinom.pmf(0, 0.5 * 10, 0.5 / 0.6))


def test_none_by_now_and_more_fields() -> None:
    none = none_by_now(20, 0.1, area_mm2=2.0)
    assert none.chance_met == pytest.approx(0.8647, abs=5.1e-5)
    assert none.more_fields == 10
    assert none.upper_per_field == pytest.approx(2.9957 / 20, abs=1e-5)
    assert none.upper_per_mm2 == pytest.approx(2.9957 / 40, abs=1e-5)
    few, many = count_density([1, 0, 2, 0, 1]), count_density([30, 28, 33, 31, 29])
    assert more_fields_worth(many) == 0
    worth = more_fields_worth(few)
    assert worth > 0
    # with that many fields at the same mean the interval is about the promised factor wide
    low, high = poisson_interval(round(few.mean * (few.fields + worth)))
    assert math.sqrt(high / low) == pytest.approx(1.5, rel=0.12)


@pytest.mark.parametrize(("x", "n", "w_low", "w_high", "c_low", "c_high"), NEWCOMBE)
def test_prevalence_intervals_of_newcombe(
    x: int, n: int, w_low: float, w_high: float, c_low: float, c_high: float
) -> None:
    assert wilson_interval(x, n) == pytest.approx((w_low, w_high), abs=5.1e-5)
    assert clopper_pearson_interval(x, n) == pytest.approx((c_low, c_high), abs=5.1e-5)


@pytest.mark.parametrize("line", numbers(SMALL), ids=lambda line: f"{int(line[0])} of {int(line[1])}")
def test_prevalence_intervals_of_small_samples(line: list[float]) -> None:
    x, n = int(line[0]), int(line[1])
    assert wilson_interval(x, n) == pytest.approx(line[2:4], abs=5.1e-5)
    assert clopper_pearson_interval(x, n) == pytest.approx(line[4:6], abs=5.1e-5)
    assert blaker_interval(x, n) == pytest.approx(line[6:8], abs=1.01e-4)  # the table's last digit may move by 1


@given(st.integers(1, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), st.sampled_from([0.8, 0.95]))
@settings(deadline=None, max_examples=25)
def test_prevalence_intervals_against_statsmodels(case: tuple[int, int], confidence: float) -> None:
    from statsmodels.stats.proportion import proportion_confint

    x, n = case
    for method, own in (("wilson", wilson_interval), ("beta", clopper_pearson_interval)):
        theirs = proportion_confint(x, n, alpha=1 - confidence, method=method)
        # their Wilson interval leaves -1e-18 where the limit is 0
        assert own(x, n, confidence) == pytest.approx(theirs, abs=1e-9)
    low, high = blaker_interval(x, n, confidence)
    outer = clopper_pearson_interval(x, n, confidence)
    assert outer[0] - 1e-9 <= low <= x / n <= high <= outer[1] + 1e-9
    mirror = blaker_interval(n - x, n, confidence)
    assert (low, high) == pytest.approx((1 - mirror[1], 1 - mirror[0]), abs=1e-6)


def test_burden_of_a_group() -> None:
    counts = [0, 0, 3, 1, 0, 12, 5, 0, 0, 2]
    burden = burden_of(counts)
    assert (burden.examined, burden.infected, burden.parasites, burden.largest) == (10, 5, 23, 12)
    assert burden.intensity is not None
    assert (burden.prevalence, burden.abundance.value, burden.intensity.value) == (0.5, 2.3, 4.6)
    assert burden.median_intensity == 3
    assert burden.wilson == pytest.approx((0.2366, 0.7634), abs=5.1e-5)
    theirs = stats.bootstrap((np.array(counts),), np.mean, n_resamples=9999, method="BCa", rng=np.random.default_rng(1))
    limits = theirs.confidence_interval
    # two bootstraps with other random numbers: Monte-Carlo error of a limit about 0.1 here
    assert (burden.abundance.low, burden.abundance.high) == pytest.approx((limits.low, limits.high), abs=0.25)
    assert burden_of(counts) == burden
    clean = burden_of([0, 0, 0])
    assert (clean.intensity, clean.k, clean.abundance.high) == (None, None, 0)


def test_bootstrap_against_scipy_on_a_larger_sample() -> None:
    values = np.random.default_rng(3).negative_binomial(0.4, 0.05, 300).astype(float)
    theirs = stats.bootstrap((values,), np.mean, n_resamples=9999, method="BCa", rng=np.random.default_rng(2))
    own = bca_interval(values, lambda sample: sample.mean(axis=-1))
    limits = theirs.confidence_interval
    assert own == pytest.approx((limits.low, limits.high), abs=0.15)


# Raw counts before and after, equal effort: efficacy and its conditional binomial limits, computed independently.
@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        (10, 0, (1.0000, 0.5539, 1.0)),
        (40, 0, (1.0000, 0.9034, 1.0)),
        (20, 1, (0.9500, 0.6874, 0.9988)),
        (40, 2, (0.9500, 0.8072, 0.9941)),
        (120, 6, (0.9500, 0.8879, 0.9820)),
        (200, 12, (0.9400, 0.8928, 0.9695)),
    ],
)
def test_change_in_totals(before: int, after: int, expected: tuple[float, float, float]) -> None:
    change = change_in_totals(before, after)
    assert (change.reduction, change.low, change.high) == pytest.approx(expected, abs=5.1e-5)


def test_change_between_groups_and_in_the_same_fish() -> None:
    # Made-up worked example of the project's facts; formula of Coles et al. 1992.
    before = [420, 310, 560, 800, 250, 640, 390, 510, 700, 450]
    after = [10, 0, 20, 30, 0, 50, 10, 0, 20, 10]
    change = change_between_groups(before, after)
    assert (100 * change.reduction, 100 * change.low, 100 * change.high) == pytest.approx(
        (97.0179, 93.7678, 98.5731), abs=5.1e-5
    )
    same = change_in_same_fish(before, after)
    assert (100 * same.low, 100 * same.high) == pytest.approx((95.53, 98.46), abs=0.15)
    assert change_between_groups([5, 5], [0, 0]).method == "conditional binomial"


@given(st.lists(st.integers(0, 200), min_size=1, max_size=30))
@settings(deadline=None, max_examples=25)
def test_a_density_lies_inside_its_interval_and_scales_with_area(values: list[int]) -> None:
    density = count_density(values, area_mm2=2.0)
    assert density.low <= density.mean <= density.high
    assert density.per_mm2 == pytest.approx((density.mean / 2, density.low / 2, density.high / 2))
    low, high = poisson_interval(sum(values))
    assert density.low <= low / len(values) + 1e-12
    assert density.high >= high / len(values) - 1e-12


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: count_density([3, -1]), "negative"),
        (lambda: count_density(4, 0), "no fields"),
        (lambda: count_density([]), "no fields"),
        (lambda: count_density(4), "number of fields"),
        (lambda: count_density([1, 2], 3), "2 counts are given for 3 fields"),
        (lambda: count_density([1.5, 2]), "no count"),  # type: ignore[list-item]
        (lambda: field_area_mm2(0, 10), "out of range"),
        (lambda: field_area_mm2(20, -4), "out of range"),
        (lambda: burden_of([]), "no fish was examined"),
        (lambda: burden_of([1, -2]), "no count"),
        (lambda: change_in_totals(0, 4), "nothing was counted before"),
        (lambda: wilson_interval(5, 4), "no share"),
    ],
)
def test_impossible_input_is_refused(call: object, words: str) -> None:
    with pytest.raises(InputError, match=words):
        call()  # type: ignore[operator]


def test_clumping_is_found_only_where_it_is() -> None:
    rng = np.random.default_rng(8)
    flagged = sum(count_density(rng.poisson(3, 20).tolist()).model != "poisson" for _ in range(400))
    assert flagged / 400 < 0.25  # nominal 20 %
    clumped = itertools.chain.from_iterable([[0, 9]] * 6)
    assert count_density(list(clumped)).model == "negative binomial"
