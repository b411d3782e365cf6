"""Forecasts, treatment days, quarantine and intake: what they must do, against published rules where there are some."""

import json
from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from click.testing import CliRunner

from wetmount.cli import cli
from wetmount.errors import InputError
from wetmount.forecast import (
    Batch,
    Intake,
    LaterCount,
    Situation,
    Treatment,
    forecast,
    intake_advice,
    plan_treatments,
    ready_to_leave,
)
from wetmount.forecast.draw import draw, needed
from wetmount.forecast.engine import Rules, Start, Window
from wetmount.forecast.lifecycle import MODELS
from wetmount.forecast.quarantine import explain
from wetmount.forecast.situation import StageEffect, effect_of
from wetmount.forecast.timing import left_behind
from wetmount.reference import load_reference

REFERENCE = load_reference()
PLACES = (np.arange(8) + 0.5) / 8


def tank(temperature: float = 24.0, burden: float = 6, **more: float) -> Situation:
    return Situation(12, 120, burden, burden / 2, burden * 2, (temperature,), date(2026, 10, 3), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("model", list(MODELS))
def test_every_parasite_can_be_forecast(model: str) -> None:
    found = forecast(model, tank(14.0 if model == "skin_flukes_cool" else 25.0), REFERENCE, trajectories=200)
    assert found.look_again.date is not None
    assert (found.look_again.date - date(2026, 10, 3)).days == found.look_again.in_days
    assert 1 <= found.look_again.in_days <= 14
    for outlook in found.outlooks:
        risks = [outlook.harmful_by[day] for day in range(29)]
        assert risks == sorted(risks)
        assert 0 <= risks[0] <= risks[-1] <= 1
        assert all(list(row) == sorted(row) for row in outlook.fan)
    assert found.rows
    assert 0 <= found.memory_share <= 1
    if MODELS[model].borrowed:
        assert any("doubled" in words for words in found.warnings)


def test_the_same_seed_gives_the_same_forecast() -> None:
    first, again = (forecast("gill_flukes", tank(), REFERENCE, trajectories=400) for _ in range(2))
    assert first == again
    assert forecast("gill_flukes", tank(), REFERENCE, trajectories=400, seed=2) != first


def test_what_is_done_to_free_stages_matters() -> None:
    plain = forecast("ich", tank(burden=3), REFERENCE, trajectories=2000)
    nothing, water = plain.outlooks
    assert water.harmful_by[28] < nothing.harmful_by[28]
    lamp = forecast("ich", tank(burden=3, uv_turnovers_per_day=20), REFERENCE, trajectories=2000).outlooks[0]
    assert lamp.fan[28][2] < nothing.fan[28][2] / 3
    filtered = forecast("ich", tank(burden=3, filter_turnovers_per_day=20), REFERENCE, trajectories=2000).outlooks[0]
    assert lamp.fan[28][2] < filtered.fan[28][2] < nothing.fan[28][2]


def test_a_treatment_lowers_and_salt_at_three_grams_raises() -> None:
    treated = forecast(
        "gill_flukes", tank(), REFERENCE, trajectories=1000, treatment=Treatment("praziquantel_bath", (0, 4, 8))
    )
    nothing, _, bath = treated.outlooks
    assert bath.fan[10][2] < nothing.fan[10][2] / 10
    assert bath.gone_by[28] > nothing.gone_by[28]
    # Schelkle, Doetjes and Cable 2011: both guppy flukes grew faster at 3 g/L than in plain water
    salted = forecast(
        "skin_flukes", tank(burden=2), REFERENCE, trajectories=1000, treatment=Treatment("salt_indefinite", (0,))
    )
    assert salted.outlooks[2].fan[7][2] > salted.outlooks[0].fan[7][2] * 1.2
    assert any("grow faster" in words for words in salted.warnings)
    with pytest.raises(InputError, match="grow faster than plain water"):
        plan_treatments("skin_flukes", "salt_indefinite", tank(), REFERENCE)


def test_outside_the_published_temperatures_it_is_labelled_and_wider() -> None:
    inside = forecast("gill_flukes", tank(20.0), REFERENCE, trajectories=1000)
    outside = forecast("gill_flukes", tank(6.0), REFERENCE, trajectories=1000)
    assert not any("extrapolated" in words for words in inside.warnings)
    assert any("extrapolated" in words for words in outside.warnings)


def test_temperatures_by_day_are_followed() -> None:
    cool = Situation(12, 120, 6, 3, 12, (16.0,))
    warming = Situation(12, 120, 6, 3, 12, (16.0,) * 7 + (26.0,))
    slow, quick = (forecast("gill_flukes", s, REFERENCE, trajectories=1000).outlooks[0] for s in (cool, warming))
    assert quick.fan[28][2] > slow.fan[28][2] * 1.2


def test_later_counts_reweight() -> None:
    before = forecast("gill_flukes", tank(), REFERENCE, trajectories=4000)
    many = forecast("gill_flukes", tank(), REFERENCE, trajectories=4000, later_counts=[LaterCount(10, 400, 6)])
    none = forecast("gill_flukes", tank(), REFERENCE, trajectories=4000, later_counts=[LaterCount(10, 8, 6)])
    assert none.outlooks[0].fan[21][2] < before.outlooks[0].fan[21][2] < many.outlooks[0].fan[21][2]
    assert many.effective is not None
    assert many.effective < 4000
    far = forecast("gill_flukes", tank(), REFERENCE, trajectories=4000, later_counts=[LaterCount(2, 90_000, 6)])
    assert any("count again" in words for words in far.warnings)


def test_reweighting_is_bayes_on_a_known_case() -> None:
    # weights are proportional to the negative-binomial likelihood of scipy at each trajectory's own mean
    from scipy import stats

    from wetmount.forecast.project import _Course, _weights

    mean = np.array([[1.0, 4.0, 9.0]] * 3)
    course = _Course(mean, mean, mean == 0, np.ones(3), {}, np.array([0.5, 1.0, 2.0]))
    weights = _weights(course, [LaterCount(2, 11, 3, 0.8)], tank())
    k, expected = course.aggregation * 3, mean[2] * 3 * 0.8
    likelihood = stats.nbinom.pmf(11, k, k / (k + expected))
    assert weights == pytest.approx(likelihood / likelihood.sum())


def test_progress_and_stopping() -> None:
    told: list[float] = []

    def progress(done: float) -> bool:
        told.append(done)
        return done < 0.4

    with pytest.raises(InterruptedError):
        forecast("ich", tank(), REFERENCE, trajectories=400, progress=progress)
    assert told
    assert max(told) < 0.6
    with pytest.raises(InterruptedError):
        plan_treatments("ich", "formalin_malachite", tank(), REFERENCE, progress=lambda done: done < 0.3)


# --- treatment days -------------------------------------------------------------------------------------------------


def window(first: float, last: float, days: int, per_day: int) -> Window:
    rates = (1 / (first + (last - first) * PLACES))[:, None, None] * np.ones((8, 1, days * per_day))
    return Window.of(rates, 1 / per_day)


def vastator(days: int = 40, per_day: int = 8) -> tuple[Rules, Start, StageEffect]:
    """D. vastator at 20 °C as in the small calculation: hatch 3-5 d, maturation 5-8 d, 6.5 eggs a day, 65 % hatch,
    10 % settle at once, perfect baths that spare the eggs alone; one worm that has long laid."""
    ones, one = np.ones((days * per_day, 1, 1)), np.ones((1, 1))
    death = 24.0
    rules = Rules(
        1 / per_day,
        window(3, 5, days, per_day),
        window(5, 8, days, per_day),
        False,
        ones * 6.5 * 0.65,
        one,
        ones * death,
        ones * death * 0.1 / 0.9,
        one * 1e-9,
        one * 1e12,
        np.ones(days),
    )
    perfect = StageEffect("bath", dict.fromkeys(("on_adult", "on_young", "free"), (0.0, 0.0, 0.0, 0.1)))
    return rules, Start(one * 6.5 * 0.65 * 4, one * 0, one * 0, one), perfect


def test_second_bath_against_vastator() -> None:
    # Derived table of the life-cycle facts, worms left per worm by day of the second bath; Zhang X-P et al. 2015 advise
    # "a week later": in this calculation day 5 to 6 is best and day 7 leaks one worm for about every ten.
    table = {3: 0.43, 4: 0.08, 5: 0.001, 6: 0.02, 7: 0.14, 8: 0.40, 10: 1.4}
    rules, start, perfect = vastator()
    left, _ = left_behind(rules, start, perfect, [(0, day) for day in table], 39)
    got = dict(zip(table, left, strict=True))
    for day, expected in table.items():
        # the table's spread within the windows is not stated; ours is even: within a tenth, and 40 % where it is large
        assert got[day] == pytest.approx(expected, abs=max(0.1, 0.4 * expected))
    assert min(got, key=lambda day: got[day]) in (5, 6)
    three, _ = left_behind(rules, start, perfect, [(0, 4, 8), (0, 5, 10)], 39)
    assert np.all(three < 0.001)  # "three baths at 0-4-8 or 0-5-10 leave none"


def test_clean_tank_moves_come_out_as_colorni_found_them() -> None:
    # Colorni 1985: four moves to clean tanks, three days apart; trophonts stay 3 to 7 d, cysts open from day 3
    model, days = MODELS["marine_ich"], 40
    need = needed(model, REFERENCE)
    middle = draw(model, need, REFERENCE, tank(25.0), days, 8, 1, 1, None)
    moves = effect_of("clean_tank_move", "marine_ich", REFERENCE)
    plans = [(0, 3, 6, 9), (0, 3, 6), (0, 4, 8, 12), (0, 2, 4, 6)]
    left, _ = left_behind(middle.rules, middle.start, moves, plans, days)
    four, three, wider, closer = left / 72
    assert four < 0.001
    assert three > 20 * four
    assert wider > 20 * four
    assert closer > 20 * four
    # with what is not known of the cycle drawn, four moves three or four days apart are still the answer
    plan = plan_treatments("marine_ich", "clean_tank_move", tank(25.0), REFERENCE)
    assert len(plan.advised.days) == 4
    assert all(3 <= after - before <= 4 for before, after in pairwise(plan.advised.days))
    late = next(missed for missed in plan.missed if missed.days_late == 2 and missed.which == "all after the first")
    assert late.schedule.clear_chance < plan.advised.clear_chance


def test_ich_is_treated_every_other_day_in_warm_water() -> None:
    # UF/IFAS leaflet (memory): every other day, 3 to 5 times, at 24 to 26 °C; farther apart in cool water
    warm = plan_treatments("ich", "formalin_malachite", tank(25.0), REFERENCE)
    assert warm.advised.days == (0, 2, 4, 6)
    assert warm.tried >= 200
    cool = plan_treatments("ich", "formalin_malachite", tank(15.5), REFERENCE)
    assert cool.advised.days[-1] > warm.advised.days[-1]


def test_gill_flukes_need_more_than_two_baths() -> None:
    # last hatch exceeds shortest maturation at every temperature: the window rule asks for three baths
    plan = plan_treatments("gill_flukes", "praziquantel_bath", tank(20.0), REFERENCE)
    second = next(schedule for schedule in plan.best if len(schedule.days) == 2)
    assert 4 <= second.days[1] <= 7  # Zhang X-P et al. 2015: again after a week at most
    assert len(plan.advised.days) >= 3
    left = [schedule.left_per_one for schedule in plan.best]
    assert left == sorted(left, reverse=True)


# --- quarantine and intake ------------------------------------------------------------------------------------------


def test_quarantine_says_why_not_and_when() -> None:
    arrived = date(2026, 9, 1)
    early = Batch(24, arrived, (25.0,), examined=5, treatment_ends=(date(2026, 9, 20),), examined_on=date(2026, 9, 10))
    answer = ready_to_leave(early, date(2026, 9, 12), REFERENCE)
    assert not answer.ready
    assert len(answer.reasons) == 3
    assert answer.next_look == arrived + np.timedelta64(max(answer.days_needed.values()), "D").astype(object)
    assert explain(answer)[0] == f"Not yet; next look on {answer.next_look.isoformat()}."
    late = Batch(24, arrived, (25.0,), examined=24, examined_on=date(2026, 10, 14), treatment_ends=(date(2026, 9, 20),))
    assert ready_to_leave(late, date(2026, 10, 15), REFERENCE).ready
    # three weeks at least (UF/IFAS), longer in cool water
    assert min(answer.days_needed.values()) == 21
    cool = ready_to_leave(Batch(24, arrived, (16.0,)), date(2026, 9, 12), REFERENCE)
    assert cool.days_needed["ich"] > answer.days_needed["ich"]


def test_quarantine_minds_deaths_and_findings() -> None:
    arrived = date(2026, 9, 1)
    dying = Batch(24, arrived, (25.0,), examined=24, deaths=6, found=("gill_dactylogyrid",))
    answer = ready_to_leave(dying, date(2026, 10, 15), REFERENCE)
    assert any("died" in reason for reason in answer.reasons)
    assert any("gill_dactylogyrid" in reason for reason in answer.reasons)
    from scipy import stats

    expected = stats.binom.sf(5, 24, 1 - 0.999**44)
    assert answer.deaths_probability == pytest.approx(expected, rel=1e-6)


def test_intake_warns_of_free_ammonia_before_mixing() -> None:
    bag = Intake(22, 6.4, 8.0, 26, 7.8, 40, dead_on_arrival=3)
    advice = intake_advice(bag, REFERENCE)
    # un-ionised share by Emerson et al. 1975 at pH 7.8 and 26 °C: 1 / (1 + 10^(0.09018 + 2729.92/299.15 - 7.8))
    assert advice.free_at_tank_ph_mg_n_per_l == pytest.approx(
        8 / (1 + 10 ** (0.09018 + 2729.92 / 299.15 - 7.8)), rel=1e-6
    )
    assert advice.free_now_mg_n_per_l < 0.02
    assert any("do not drip" in words for words in advice.advice)
    assert any("dead on arrival" in words for words in advice.advice)
    mild = intake_advice(Intake(25, 7.2, 0.2, 25, 7.2, 40), REFERENCE)
    assert not any("drip" in words for words in mild.advice)


# --- the commands and bad input -------------------------------------------------------------------------------------

GOOD = ["--burden", "6", "--fish", "12", "--volume", "120", "--temperature", "24", "--courses", "200"]


@pytest.mark.parametrize(
    "arguments",
    [
        ["count", "0", "3", "1", "0", "2", "--field-number", "20", "--objective", "10"],
        ["count", "0", "--fields", "20", "--matters", "0.1"],
        ["count", "0", "3", "9", "0", "--fish", "--after", "0,0,1,0"],
        ["sample", "--group", "36", "--prevalence", "0.1", "--clean", "5", "--prior", "0.5", "--pool", "5"],
        ["identify", "skin", "movement=rolling", "nucleus=horseshoe", "--size", "400"],
        ["forecast", "gill_flukes", *GOOD, "--treat", "praziquantel_bath@0,5", "--later", "7:60/5"],
        ["forecast", "ich", *GOOD, "--start", "2026-10-03", "--change", "0.3/3", "--uv", "5"],
    ],
)
def test_commands_answer_in_words_and_in_json(arguments: list[str]) -> None:
    runner = CliRunner()
    words = runner.invoke(cli, arguments)
    assert words.exit_code == 0, words.output
    assert words.output.strip()
    plain = runner.invoke(cli, [*arguments, "--json"])
    assert plain.exit_code == 0
    data = json.loads(plain.output)
    assert data["schema"] == f"wetmount.{arguments[0]}/1"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["count", "--fields", "2", "--", "-3"], "negative"),
        (["count", "3", "--fields", "0"], "no fields were looked at"),
        (["count", "three"], "no count"),
        (["count", "3", "2", "--objective", "10"], "needs both"),
        (["sample", "--group", "-4"], "a group of -4 fish"),
        (["identify", "tail"], "is no site"),
        (["identify", "skin", "rolling"], "write NAME=WORD"),
        (["forecast", "gloom", *GOOD], "is no parasite to forecast"),
        (["forecast", "ich", *GOOD[:-4], "--temperature", "55"], "no water for fish"),
        (["forecast", "ich", *GOOD[:-4], "--temperature", "warm"], "no number"),
        (["forecast", "ich", *GOOD, "--low", "9"], "must rise"),
        (["forecast", "ich", *GOOD, "--treat", "moonlight@0"], "is not in the tables"),
        (["forecast", "ich", *GOOD, "--later", "7-20"], "no later count"),
        (["forecast", "ich", *GOOD, "--start", "tomorrow"], "no date"),
        (["forecast", "ich", *GOOD, "--days", "0"], "0 days"),
        (["forecast", "ich", *GOOD, "--change", "3/7"], "no share of the water"),
    ],
)
def test_bad_input_is_one_sentence_and_status_two(arguments: list[str], words: str) -> None:
    result = CliRunner().invoke(cli, arguments)
    assert result.exit_code == 2
    assert words in result.output
    assert len(result.output.strip().splitlines()) == 1
