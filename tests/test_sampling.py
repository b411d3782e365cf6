"""Fish to sample: the exact tables number by number, the printed ones and where they fall short, other packages."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wetmount.errors import InputError
from wetmount.sampling import (
    chance_all_negative,
    clean_sample,
    fish_to_sample,
    free_probability,
    freedom_over_rounds,
    infected_assumed,
    pools_needed,
    positives_distribution,
    prevalence_from_pools,
)

# Exact sample sizes, 95 %, D = ceil(N p): computed with an independent library (scipy 1.17) for the project's facts.
EXACT = """
20 19 19 16 10 7
30 29 23 19 11 8
50 48 31 22 12 8
100 78 45 25 13 9
250 112 51 27 14 9
500 129 56 28 14 9
1000 138 57 29 14 9
1500 142 58 29 14 9
2000 143 58 29 14 9
2500 144 58 29 14 9
4000 146 58 29 14 9
5000 147 59 29 14 9
10000 148 59 29 14 9
100000 149 59 29 14 9
"""
EXACT_PREVALENCES = (0.02, 0.05, 0.10, 0.20, 0.30)

# OIE Manual of Diagnostic Tests for Aquatic Animals, 4th ed. 2003, chapter 1.1.4, after Ossiander FJ, Wedemeyer G,
# Journal of the Fisheries Research Board of Canada 30:1383-1384, 1973. The numbers are from memory.
PRINTED_WORLD = """
50 46 46 46 37 37 29 20
100 93 93 76 61 50 43 23
250 192 156 110 75 62 49 25
500 314 223 127 88 67 54 26
1000 448 256 136 92 69 55 27
2500 512 279 142 95 71 56 27
5000 562 288 145 96 71 57 27
10000 579 292 146 96 72 57 27
100000 594 296 147 97 72 57 27
1000000 596 297 147 97 72 57 27
"""
PRINTED_WORLD_PREVALENCES = (0.005, 0.01, 0.02, 0.03, 0.04, 0.05, 0.10)

# American Fisheries Society Fish Health Section "Blue Book" and US Fish & Wildlife Service handbook, volume 1
# chapter 2 (numbers from memory): lot, printed n at 2/5/10 %, confidence reached, computed independently.
PRINTED_INSPECTION = [
    (50, (50, 35, 20), (1.0000, 0.9768, 0.9327)),
    (100, (75, 45, 23), (0.9394, 0.9538, 0.9366)),
    (250, (110, 50, 25), (0.9467, 0.9493, 0.9378)),
    (500, (130, 55, 26), (0.9523, 0.9497, 0.9401)),
    (1000, (140, 55, 27), (0.9525, 0.9451, 0.9441)),
    (1500, (140, 55, 27), (0.9487, 0.9436, 0.9434)),
    (2000, (145, 60, 27), (0.9522, 0.9561, 0.9430)),
    (4000, (145, 60, 27), (0.9494, 0.9550, 0.9424)),
    (10000, (145, 60, 27), (0.9477, 0.9544, 0.9421)),
    (100000, (150, 60, 30), (0.9518, 0.9540, 0.9576)),
]
# The cells of that table which do not reach the 95 % they promise, as (lot, prevalence in %).
SHORT_OF_95 = {
    *((lot, 10) for lot in (50, 100, 250, 500, 1000, 1500, 2000, 4000, 10000)),
    *((lot, 5) for lot in (250, 500, 1000, 1500)),
    *((lot, 2) for lot in (100, 250, 1500, 4000, 10000)),
}


def rows(text: str) -> list[tuple[int, list[int]]]:
    lines = [[int(cell) for cell in line.split()] for line in text.split("\n") if line]
    return [(line[0], line[1:]) for line in lines]


@pytest.mark.parametrize(("group", "expected"), rows(EXACT))
def test_exact_table(group: int, expected: list[int]) -> None:
    assert [fish_to_sample(group, p).fish for p in EXACT_PREVALENCES] == expected


def test_open_population() -> None:
    expected = {0.02: 149, 0.05: 59, 0.1: 29, 0.2: 14, 0.3: 9, 0.001: 2995, 0.005: 598, 0.01: 299, 0.03: 99, 0.04: 74}
    assert {p: fish_to_sample(None, p).fish for p in expected} == expected
    assert fish_to_sample(None, 0.5).fish == 5
    assert [fish_to_sample(None, p, confidence=0.99).fish for p in (0.01, 0.02, 0.05, 0.1)] == [459, 228, 90, 44]
    assert [fish_to_sample(None, p, confidence=0.9).fish for p in (0.01, 0.02, 0.05, 0.1)] == [230, 114, 45, 22]


@pytest.mark.parametrize(("group", "printed"), rows(PRINTED_WORLD))
def test_printed_world_table_falls_short_by_exactly_two(group: int, printed: list[int]) -> None:
    exact = [fish_to_sample(group, p).fish for p in PRINTED_WORLD_PREVALENCES]
    assert [n - 2 for n in exact if n is not None] == printed


def test_printed_inspection_table_and_the_cells_that_fall_short() -> None:
    short = set()
    for lot, printed, reached in PRINTED_INSPECTION:
        for percent, n, expected in zip((2, 5, 10), printed, reached, strict=True):
            got = 1 - chance_all_negative(lot, infected_assumed(lot, percent / 100), n)
            assert got == pytest.approx(expected, abs=5.1e-5)
            if got < 0.95:
                short.add((lot, percent))
    assert short == SHORT_OF_95
    assert len(short) == 18


# N, D, Se, exact n (None: not reachable), confidence reached, confidence if every fish is tested; computed
# independently for the project's facts.
IMPERFECT = [
    (100, 5, 0.9, 50, 0.9530, 1.0000),
    (100, 10, 0.8, 32, 0.9539, 1.0000),
    (100, 10, 0.5, 52, 0.9533, 0.9990),
    (500, 25, 0.9, 62, 0.9516, 1.0000),
    (500, 25, 0.7, 80, 0.9512, 1.0000),
    (1000, 20, 0.8, 173, 0.9504, 1.0000),
    (50, 5, 0.7, 32, 0.9525, 0.9976),
    (30, 3, 0.8, 24, 0.9570, 0.9920),
    (30, 3, 0.5, None, 0.8750, 0.8750),
]


@pytest.mark.parametrize(("group", "infected", "sensitivity", "n", "reached", "if_all"), IMPERFECT)
def test_imperfect_sensitivity(
    group: int, infected: int, sensitivity: float, n: int | None, reached: float, if_all: float
) -> None:
    answer = fish_to_sample(group, infected / group, sensitivity=sensitivity)
    assert answer.fish == n
    assert answer.infected == infected
    assert answer.reached == pytest.approx(reached, abs=5.1e-5)
    assert answer.if_all == pytest.approx(if_all, abs=5.1e-5)


# N, D, Se, Sp, n, allowed positives, chance of missing, chance of a false alarm; computed independently after Cameron
# AR, Baldock FC, Preventive Veterinary Medicine 34:1-17, 1998.
BOTH = [
    (100, 10, 0.9, 0.98, 60, 3, 0.0443, 0.0322),
    (500, 25, 0.9, 0.98, 191, 7, 0.0489, 0.0395),
    (200, 20, 0.8, 0.95, 124, 10, 0.0488, 0.0469),
    (1000, 50, 0.95, 0.99, 130, 3, 0.0487, 0.0422),
]


@pytest.mark.parametrize(("group", "infected", "se", "sp", "n", "allowed", "missed", "alarm"), BOTH)
def test_imperfect_specificity(
    group: int, infected: int, se: float, sp: float, n: int, allowed: int, missed: float, alarm: float
) -> None:
    answer = fish_to_sample(group, infected / group, sensitivity=se, specificity=sp)
    assert (answer.fish, answer.allowed_positives) == (n, allowed)
    assert 1 - answer.reached == pytest.approx(missed, abs=5.1e-5)
    assert answer.false_alarm == pytest.approx(alarm, abs=5.1e-5)


@given(
    st.integers(1, 400).flatmap(
        lambda n: st.tuples(st.just(n), st.integers(0, n), st.integers(0, n), st.floats(0.05, 1.0))
    )
)
def test_chance_all_negative_against_scipy(case: tuple[int, int, int, float]) -> None:
    group, infected, sample, sensitivity = case
    y = range(min(infected, sample) + 1)
    expected = sum(stats.hypergeom.pmf(v, group, infected, sample) * (1 - sensitivity) ** v for v in y)
    assert chance_all_negative(group, infected, sample, sensitivity) == pytest.approx(expected, rel=1e-9, abs=1e-14)


@given(st.integers(1, 300), st.floats(0.01, 1), st.floats(0.3, 1))
def test_the_answer_is_the_smallest_that_reaches_the_confidence(
    group: int, prevalence: float, sensitivity: float
) -> None:
    answer = fish_to_sample(group, prevalence, sensitivity=sensitivity)
    infected = infected_assumed(group, prevalence)
    if answer.fish is None:
        assert 1 - chance_all_negative(group, infected, group, sensitivity) < 0.95
    else:
        assert 1 - chance_all_negative(group, infected, answer.fish, sensitivity) >= 0.95
        assert 1 - chance_all_negative(group, infected, answer.fish - 1, sensitivity) < 0.95


def test_positives_add_up_and_match_a_binomial_when_the_group_is_open() -> None:
    finite = positives_distribution(80, 9, 30, 0.85, 0.97)
    assert math.fsum(finite) == pytest.approx(1, abs=1e-12)
    mean = 30 * (9 / 80 * 0.85 + 71 / 80 * 0.03)
    assert sum(i * p for i, p in enumerate(finite)) == pytest.approx(mean, rel=1e-12)
    assert positives_distribution(None, 0.1, 25, 0.8, 0.95) == pytest.approx(
        stats.binom.pmf(range(26), 25, 0.1 * 0.8 + 0.9 * 0.05), rel=1e-9
    )


def test_probability_of_freedom() -> None:
    # Formula of Martin, Cameron, Greiner 2007; values computed independently for the project's facts.
    for prior, survey, expected in ((0.5, 0.95, 0.952381), (0.5, 0.8, 0.833333), (0.1, 0.95, 0.994475)):
        assert free_probability(prior, survey) == pytest.approx(expected, abs=5.1e-7)
    rounds = freedom_over_rounds(0.5, [0.6] * 5, 0.02)
    assert [free for free, _ in rounds] == pytest.approx([0.714286, 0.853659, 0.927528, 0.961488, 0.976074], abs=5.1e-7)
    assert [on for _, on in rounds] == pytest.approx([0.7, 0.836585, 0.908978, 0.942258, 0.956553], abs=5.1e-7)


def test_what_a_clean_sample_proves() -> None:
    # Upper 95 % prevalence with nothing found in n fish, open group, in whole per cent at sensitivity 1 / 0.8 / 0.5:
    # the project's table, computed from 1 - 0.05^(1/n) over the sensitivity.
    table = {1: (95, 100, 100), 2: (78, 97, 100), 3: (63, 79, 100), 5: (45, 56, 90), 8: (31, 39, 62)}
    table |= {10: (26, 32, 52), 20: (14, 17, 28), 30: (10, 12, 19), 60: (5, 6, 10)}
    for n, expected in table.items():
        got = [clean_sample(None, n, sensitivity=se).upper_prevalence for se in (1.0, 0.8, 0.5)]
        assert tuple(round(100 * share) for share in got) == expected
    small = clean_sample(36, 5, prevalence=0.1, prior_infected=0.5)
    assert small.upper_infected is not None
    assert chance_all_negative(36, small.upper_infected, 5) > 0.05
    assert chance_all_negative(36, small.upper_infected + 1, 5) <= 0.05
    assert small.chance_found == pytest.approx(1 - stats.hypergeom.pmf(0, 36, 4, 5))
    assert small.free_probability == pytest.approx(0.5 / (1 - 0.5 * small.chance_found))


def test_pools() -> None:
    # With pools of one fish this is the plain sample; with larger pools fewer pools but more fish.
    assert pools_needed(0.02, 1) == 149
    n = pools_needed(0.02, 5, pool_sensitivity=0.9)
    assert (1 - 0.9 * (1 - 0.98**5)) ** n <= 0.05 < (1 - 0.9 * (1 - 0.98**5)) ** (n - 1)
    share, low, high = prevalence_from_pools(3, 20, 5)
    assert share == pytest.approx(1 - (17 / 20) ** 0.2)
    exact = stats.binomtest(3, 20).proportion_ci(method="exact")
    assert low == pytest.approx(1 - (1 - exact.low) ** 0.2, abs=1e-9)
    assert high == pytest.approx(1 - (1 - exact.high) ** 0.2, abs=1e-9)


@pytest.mark.parametrize(
    "call",
    [
        lambda: fish_to_sample(0, 0.1),
        lambda: fish_to_sample(-5, 0.1),
        lambda: fish_to_sample(100, 0),
        lambda: fish_to_sample(100, 1.2),
        lambda: fish_to_sample(100, 0.1, sensitivity=0),
        lambda: clean_sample(10, 11),
        lambda: clean_sample(None, 0),
        lambda: pools_needed(0.1, 0),
    ],
)
def test_impossible_input_is_refused(call: object) -> None:
    with pytest.raises(InputError):
        call()  # type: ignore[operator]
