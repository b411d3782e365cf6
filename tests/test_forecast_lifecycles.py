"""Every check value of the published life cycles, one by one; the source stands beside each."""

import math

import numpy as np
import pytest

from wetmount.counts import negative_binomial_k
from wetmount.forecast.draw import needed
from wetmount.forecast.lifecycle import (
    MODELS,
    at_temperature,
    belehradek_days,
    chilled_survival,
    days_at,
    degree_days,
    figure,
    zero_of,
)
from wetmount.forecast.livebearers import birth_death_step, extinction_chance, flukes_of, run_flukes
from wetmount.forecast.quarantine import cycle_days
from wetmount.forecast.rules import moves_by_rule, treatments_by_rule, window_rule
from wetmount.forecast.situation import Situation
from wetmount.reference import load_reference

REFERENCE = load_reference()


def days(parasite: str, parameter: str, temperature: float) -> float:
    found = figure(REFERENCE, [parasite], parameter)
    assert found is not None
    return days_at(found, temperature, zero_of(REFERENCE, [parasite]))


def row(parasite: str, quantity: str, temperature: float | None = None) -> tuple[float | None, ...]:
    found = next(
        r
        for r in REFERENCE.lifecycles
        if r.parasite == parasite and r.quantity.startswith(quantity) and temperature in (None, r.temperature_c)
    )
    return found.value, found.low, found.high


@pytest.mark.parametrize(("temperature", "expected"), [(10, 19), (20, 3), (30, 2), (35, 1.5)])
def test_1_first_hatch_of_vastator(temperature: float, expected: float) -> None:
    # Zhang X-P et al. 2015; the degree-day line of the same points is good to 15 % as well
    assert days("dactylogyrus_vastator", "off_first_d", temperature) == pytest.approx(expected, rel=0.15)
    assert degree_days(temperature, 7.9, 40.5) == pytest.approx(expected, rel=0.15)


def test_2_egg_to_maturity_of_vastator() -> None:
    # Zhang X-P et al. 2015: 8 to 11 d at 20 °C
    first = days("dactylogyrus_vastator", "off_first_d", 20) + days("dactylogyrus_vastator", "on_first_d", 20)
    middle = sum(
        (days("dactylogyrus_vastator", f"{stage}_first_d", 20) + days("dactylogyrus_vastator", f"{stage}_last_d", 20))
        / 2
        for stage in ("off", "on")
    )
    assert 8 <= first < middle <= 11


@pytest.mark.parametrize(
    ("temperature", "last_hatch", "first_laying"), [(26, 8, 14), (22, 9, 21), (18, 11, 28), (14, 14, 35)]
)
def test_4_windows_of_sparicotyle(temperature: float, last_hatch: float, first_laying: float) -> None:
    # The influence of water temperature on the life-cycle of Sparicotyle chrysophrii (abstract)
    _, low, high = row("sparicotyle_chrysophrii", "window for the next treatment", temperature)
    assert (low, high) == (last_hatch, first_laying)
    assert window_rule(last_hatch, first_laying) == (last_hatch, first_laying)
    assert treatments_by_rule(last_hatch, first_laying) == 2
    t0, k = (row("sparicotyle_chrysophrii", f"{name} for longest incubation")[0] for name in ("T0", "K"))
    assert t0 is not None
    assert k is not None
    assert degree_days(temperature, t0, k) == pytest.approx(last_hatch, rel=0.05)
    t0, k = (row("sparicotyle_chrysophrii", f"{name} for shortest maturation")[0] for name in ("T0", "K"))
    assert t0 is not None
    assert k is not None
    assert degree_days(temperature, t0, k) == pytest.approx(first_laying, rel=0.15)


def test_5_moves_against_marine_white_spot_by_rule() -> None:
    # Colorni 1985: four moves, three days apart; trophont 3 to 7 d, cyst from 3 d
    need = needed(MODELS["marine_ich"], REFERENCE)
    longest = days_at(need.figures["on_last_d"], 25, need.zero_c)
    shortest = days_at(need.figures["off_first_d"], 25, need.zero_c)
    assert (longest, shortest) == (7, 3)
    assert moves_by_rule(longest, shortest) == 4


@pytest.mark.parametrize(("temperature", "expected"), [(6, 84), (13, 28), (18, 20)])
def test_6_discocotyle(temperature: float, expected: float) -> None:
    # Gannicott and Tinsley 1998
    assert days("discocotyle_sagittata", "off_first_d", temperature) == pytest.approx(expected)
    assert degree_days(temperature, 2.3, 306) == pytest.approx(expected, rel=0.05)


@pytest.mark.parametrize(("temperature", "expected"), [(15, 11.8), (20, 7.0), (25, 5.3)])
def test_7_heterobothrium(temperature: float, expected: float) -> None:
    # Egg hatching of Heterobothrium okamotoi (abstract; memory: Ogawa 1998)
    assert days("heterobothrium_okamotoi", "off_mean_d", temperature) == pytest.approx(expected)
    assert degree_days(temperature, 7.0, 94) == pytest.approx(expected, rel=0.05)


def test_8_benedenia() -> None:
    # Ernst et al. 2005: 16 d at 14, 5 d at 28, none at 30 °C
    assert days("benedenia_seriolae", "off_first_d", 14) == pytest.approx(16)
    assert days("benedenia_seriolae", "off_first_d", 28) == pytest.approx(5)
    assert row("benedenia_seriolae", "hatching success", 30)[0] == 0


@pytest.mark.parametrize(("temperature", "low", "high"), [(23, 15, 16), (29, 10, 13)])
def test_9_whole_cycle_of_neobenedenia(temperature: float, low: float, high: float) -> None:
    # Brazenor and Hutson 2015
    assert low <= days("neobenedenia", "generation_d", temperature) <= high
    # the forecast's own stages, from other papers, at 25 °C: egg to maturity 15 to 17 d (N. girellae, abstract)
    stages = days("neobenedenia", "off_first_d", 25) + days("neobenedenia", "on_d", 25)
    assert 15 <= stages <= 17


def test_10_eggs_of_one_neobenedenia() -> None:
    # Dinh Hoai and Hutson 2014: 3300 eggs over 17 d, day 10 58, day 15 496; the forecast lays evenly
    laid = figure(REFERENCE, ["neobenedenia"], "offspring_per_day")
    assert laid is not None
    rate = float(at_temperature(laid, np.array([24.0]))[0])
    assert 17 * rate == pytest.approx(3300, rel=0.01)
    assert 58 < rate < 496


@pytest.mark.parametrize(
    ("parasite", "temperature", "expected"),
    [
        ("gyrodactylus_bullatarudis", 27.5, 0.23),
        ("gyrodactylus_salaris", 2.5, 0.02),
        ("gyrodactylus_salaris", 19, 0.22),
    ],
)
def test_11_and_12_growth_of_gyrodactylus(parasite: str, temperature: float, expected: float) -> None:
    # Scott and Nokes 1984; Jansen and Bakke 1991
    growth = figure(REFERENCE, [parasite], "growth_per_day")
    assert growth is not None
    assert float(at_temperature(growth, np.array([temperature]))[0]) == pytest.approx(expected)


def test_11_none_survives_30_degrees() -> None:
    # Scott and Nokes 1984
    model = MODELS["skin_flukes"]
    situation = Situation(6, 60, 10, 5, 20, (30.0,))
    ran = run_flukes(model, flukes_of(model, REFERENCE), situation, 28, 200, np.random.default_rng(1))
    assert np.mean(ran.worms[-1].sum(axis=1) == 0) > 0.95


@pytest.fixture(scope="module")
def epidemic() -> np.ndarray:
    """Worms by day on single naive guppies that got two, as in the open series (day 1 of it is day 0 here)."""
    model = MODELS["skin_flukes"]
    situation = Situation(1, 1, 2, 1, 4, (25.0,))
    ran = run_flukes(model, flukes_of(model, REFERENCE), situation, 16, 4000, np.random.default_rng(3), start_worms=2)
    return ran.worms[:, :, 0]


def test_13_two_flukes_on_a_naive_guppy(epidemic: np.ndarray) -> None:
    # Open series of Twumasi et al. 2024, 109 fish alive on day 9: mean 24 to 47 by strain, largest 200, 12 of 109 clean
    ninth = epidemic[8]
    assert 24 <= ninth.mean() <= 47
    assert 0.06 <= np.mean(ninth == 0) <= 0.18  # Clopper-Pearson of 12 of 109: 0.058 to 0.184
    largest = [ninth[start : start + 109].max() for start in range(0, 3900, 109)]
    assert min(largest) < 200 < max(largest)
    assert 14 <= np.median(ninth) <= 29  # 24 there


@pytest.mark.parametrize(("day", "low", "high"), [(5, 1.2, 3.5), (9, 0.5, 0.9), (13, 0.1, 0.4), (15, 0.1, 0.3)])
def test_14_aggregation_during_the_epidemic(epidemic: np.ndarray, day: int, low: float, high: float) -> None:
    # same series: k 2.6 on day 5, 0.68 on day 9, 0.3 to 0.1 after day 13. On day 5 the model gives 1.6: a birth-death
    # process without ages scatters more at first than worms that all bear on their second day.
    k = negative_binomial_k(epidemic[day - 1, :1500].tolist())
    assert k is not None
    assert low <= k <= high


def test_15_without_new_fish_the_flukes_die_out() -> None:
    # Richards and Chubb 1998: G. bullatarudis gone by day 40 on 10 adult guppies in 50 L. G. turnbulli lingered at 0.33
    # to 3.3 worms a fish to day 94, which this model does not do: its fish stay resistant once they have answered.
    model = MODELS["skin_flukes"]
    situation = Situation(10, 50, 2, 1, 4, (25.0,))
    ran = run_flukes(model, flukes_of(model, REFERENCE), situation, 60, 300, np.random.default_rng(4))
    total = ran.worms.sum(axis=2)
    assert np.mean(total[40] == 0) > 0.6
    assert total[40].mean() / 10 < total[15].mean() / 10 / 5
    assert np.mean(total[60] == 0) > 0.9


def test_16_pseudodactylogyrus_in_a_tank() -> None:
    # Comparative susceptibility of Japanese and European eels (abstract): 40 % of 8600 larvae on 130 eels
    share = row("pseudodactylogyrus", "infection success")[0]
    assert share is not None
    assert 8600 * share / 100 / 130 == pytest.approx(26, abs=0.6)
    assert row("pseudodactylogyrus", "mean worms per fish")[0] == 26


def test_17_chilled_eggs() -> None:
    # Zhang X et al. 2021: 65.3 % unchilled, 62.7 / 42.6 / 22.3 % after 7 / 14 / 21 d at 5 °C
    share = 65.3 * chilled_survival(REFERENCE, ["dactylogyrus_vastator"], np.array([0.0, 7, 14, 21]))
    assert share == pytest.approx([65.3, 62.7, 42.6, 22.3], rel=0.06)
    assert np.all(chilled_survival(REFERENCE, ["ichthyophthirius_multifiliis"], np.array([0.0, 30])) == 1)


def test_18_sea_louse_formula() -> None:
    # Gislason 2018: D = 17840 (T + 7.439)^-2.128 gives 49 d at 8.5 °C
    assert belehradek_days(8.5, 17840, 7.439, -2.128) == pytest.approx(49, abs=0.5)


@pytest.mark.parametrize(("temperature", "expected"), [(15, 61), (35, 10)])
def test_19_argulus(temperature: float, expected: float) -> None:
    # Laying, development and hatching of eggs of Argulus japonicus (abstract; memory: Shafir and van As 1986)
    assert days("argulus_japonicus", "off_first_d", temperature) == pytest.approx(expected)


@pytest.mark.parametrize(("temperature", "expected"), [(25, 7), (6, 56)])
def test_20_cycle_of_ich(temperature: float, expected: float) -> None:
    # encyclopaedia mirror: 7 d at 25 °C, 8 weeks at 6 °C. The forecast's stages come from other figures (memory).
    free = figure(REFERENCE, ["ichthyophthirius_multifiliis"], "free_life_d")
    assert free is not None
    stages = sum(days("ichthyophthirius_multifiliis", f"{stage}_d", temperature) for stage in ("off", "on"))
    seeking = float(at_temperature(free, np.array([float(temperature)]))[0])
    assert stages + seeking / 2 == pytest.approx(expected, rel=0.05)
    # what a quarantine waits for is the slowest parasite, which is longer
    assert cycle_days("ich", temperature, REFERENCE) > expected


def test_21_share_of_fish_without_a_worm() -> None:
    # Koyun and Altunel: 29 of 117 carp infected, mean 1.16; negative binomial with k 0.12
    assert pytest.approx(0.75, abs=0.005) == (1 + 1.16 / 0.12) ** -0.12


def test_cycle_of_lernaea() -> None:
    # Hossain et al. 2018: 18 to 25 d at 26 to 29 °C
    first = days("lernaea_cyprinacea", "off_d", 27) + days("lernaea_cyprinacea", "on_d", 27)
    assert 18 <= first + 1 <= 25
    assert math.isinf(cycle_days("anchor_worm", 14, REFERENCE))  # no reproduction at 14 °C


def test_extinction_of_a_birth_death_process_is_exact() -> None:
    # Kendall 1948: from n worms, extinct by t with α(t)^n, ever with (d/b)^n; the step has no error however long it is
    births, deaths, start = 0.54, 0.19, 2
    rng = np.random.default_rng(7)
    number = 40_000
    for steps in (1, 8):
        worms = np.full(number, start)
        for _ in range(steps):
            worms = birth_death_step(worms, np.float64(births), np.float64(deaths), 8 / steps, rng)
        grown = math.exp((births - deaths) * 8)
        alpha = deaths * (grown - 1) / (births * grown - deaths)
        error = math.sqrt(alpha**start * (1 - alpha**start) / number)
        assert np.mean(worms == 0) == pytest.approx(alpha**start, abs=4 * error)
        variance = start * (births + deaths) / (births - deaths) * grown * (grown - 1)
        assert worms.mean() == pytest.approx(start * grown, abs=4 * math.sqrt(variance / number))
        assert worms.var() == pytest.approx(variance, rel=0.06)
    worms = np.full(number, start)
    for _ in range(10):
        worms = birth_death_step(worms, np.float64(births), np.float64(deaths), 4, rng)
    ever = extinction_chance(births, deaths, start)
    assert np.mean(worms == 0) == pytest.approx(ever, abs=4 * math.sqrt(ever * (1 - ever) / number))
    assert extinction_chance(0.2, 0.3, 5) == 1
