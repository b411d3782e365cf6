"""Courses against scipy's integrators, closed forms, published cases, and properties; water changes likewise."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import structs
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from wetmount import changes as ch
from wetmount.course import (
    CarbonEvent,
    ChangeEvent,
    Course,
    DoseEvent,
    Event,
    FlowEvent,
    TopUpEvent,
    judge_course,
    repeated_doses,
    run_course,
    top_up_after_change,
)
from wetmount.errors import InputError
from wetmount.reference import load_reference

REFERENCE = load_reference()
FORMALIN = REFERENCE.doses["formalin_indefinite"]


def integrated(events: list[Event], until: float, half_life: float | None, drip: float, at: list[float]) -> list[float]:
    """The same course by scipy's DOP853, stepping from event to event."""
    k = 0.0 if half_life is None else math.log(2) / half_life
    carbon = flow = new = level = now = 0.0
    found: dict[float, float] = {}
    for event in [*sorted(events, key=lambda e: e.at_h), None]:
        to = until if event is None else event.at_h
        if to > now:
            wanted = [t for t in at if now <= t < to]
            rate, source = k + carbon + flow, drip + flow * new
            run = solve_ivp(
                lambda _, c, rate=rate, source=source: source - rate * c,
                (now, to),
                [level],
                method="DOP853",
                t_eval=[*wanted, to],
                rtol=1e-10,
                atol=1e-12,
            )
            found |= dict(zip(wanted, run.y[0], strict=False))
            now, level = to, float(run.y[0][-1])
        if isinstance(event, DoseEvent):
            level += event.adds
        elif isinstance(event, TopUpEvent):
            level = max(level, event.to)
        elif isinstance(event, ChangeEvent):
            level = (1 - event.fraction) * level + event.fraction * event.new
        elif isinstance(event, CarbonEvent):
            carbon = event.per_h
        elif isinstance(event, FlowEvent):
            flow, new = event.per_h, event.new
    found |= {t: level for t in at if t >= now}
    return [found[t] for t in at]


TIMES = st.integers(0, 2390).map(lambda n: n / 10)
AMOUNTS = st.integers(0, 300).map(lambda n: n / 10)
RATES = st.integers(0, 300).map(lambda n: n / 1000)
EVENTS = st.lists(
    st.one_of(
        st.builds(DoseEvent, TIMES, AMOUNTS),
        st.builds(TopUpEvent, TIMES, AMOUNTS),
        st.builds(ChangeEvent, TIMES, st.floats(0.01, 0.9), AMOUNTS),
        st.builds(CarbonEvent, TIMES, RATES),
        st.builds(FlowEvent, TIMES, RATES, AMOUNTS),
    ),
    max_size=7,
    unique_by=lambda event: round(event.at_h, 1),
)


@settings(deadline=None, max_examples=30)
@given(EVENTS, st.one_of(st.none(), st.floats(1, 500)), st.integers(0, 5).map(lambda n: n / 10))
def test_any_course_against_scipy(events: list[Event], half_life: float | None, drip: float) -> None:
    at = [3.0, 20.5, 77.25, 150.0, 239.5]
    course = run_course(events, 240, half_life_h=half_life, drip_per_h=drip)
    assert list(course.curve(at)) == pytest.approx(integrated(events, 240, half_life, drip, at), rel=1e-6, abs=1e-6)


@settings(deadline=None, max_examples=30)
@given(EVENTS, st.one_of(st.none(), st.floats(1, 500)), st.floats(0.01, 25))
def test_time_above_a_level_and_the_highest_against_a_fine_grid(
    events: list[Event], half_life: float | None, level: float
) -> None:
    course = run_course(events, 240, half_life_h=half_life)
    grid = np.linspace(0, 240, 4801)
    curve = course.curve(grid)
    assert course.hours_above(level) == pytest.approx(float(np.mean(curve[:-1] >= level)) * 240, abs=0.5)
    assert course.highest >= curve.max() - 1e-9


def test_crossing_times_against_brentq() -> None:
    course = run_course([DoseEvent(0, 25)], 200, half_life_h=36)
    cross = course.pieces[-1].when(12.5)
    assert cross == pytest.approx(brentq(lambda t: course.at(t) - 12.5, 1, 199))
    assert cross == pytest.approx(36)


# --- published cases --------------------------------------------------------------------------------------------------


def test_top_up_after_a_change() -> None:
    """Formalin 25 microlitres/L, half-life 36 h (memory): after 24 h 15.7, after a quarter changed 11.8, top-up 13.2;
    a full 25 would make 36.8. If none is lost (Bills 1974: aged solutions no less toxic) the top-up is 6.25, and 13.2
    would make 31.9."""
    course = run_course([DoseEvent(0, 25), ChangeEvent(24, 0.25)], 24.0001, half_life_h=36)
    before = run_course([DoseEvent(0, 25)], 24, half_life_h=36).at(24)
    assert before == pytest.approx(15.7, abs=0.1)
    assert course.at(24) == pytest.approx(11.8, abs=0.06)
    assert top_up_after_change(25, before, 0.25) == pytest.approx(13.2, abs=0.06)
    assert course.at(24) + 25 == pytest.approx(36.8, abs=0.06)
    assert top_up_after_change(25, 25, 0.25) == 6.25
    assert pytest.approx(31.9, abs=0.06) == 25 * 0.75 + 13.2


def test_a_top_up_for_a_loss_that_did_not_happen_is_shown_as_an_overdose() -> None:
    row = structs.replace(FORMALIN, half_life_h=36.0)
    report = judge_course(row, [DoseEvent(0, 25), ChangeEvent(24, 0.25), TopUpEvent(24, 25)], 72)
    assert report.expected.highest == pytest.approx(25)
    assert report.none_lost.highest == pytest.approx(31.9, abs=0.1)
    assert not report.safe
    assert "hard stop" in " ".join(report.words)
    honest = judge_course(FORMALIN, [DoseEvent(0, 25), ChangeEvent(24, 0.25), TopUpEvent(24, 25)], 72)
    assert honest.safe
    assert honest.none_lost.highest == pytest.approx(25)


@pytest.mark.parametrize(("change", "settles"), [(0.25, 40.0), (0.5, 20.0)])
def test_the_trap_of_repeats(change: float, settles: float) -> None:
    """10 mg/L every day with a quarter changed before each settles at 40 after dosing, with half at 20."""
    course = run_course(repeated_doses(10, times=60, every_h=24, change_before=change), 60 * 24)
    assert course.highest == pytest.approx(settles, rel=1e-3)
    assert course.highest == pytest.approx(ch.steady_state(10, change).before, rel=1e-3)
    report = judge_course(
        REFERENCE.doses["metronidazole_bath"], repeated_doses(10, times=60, every_h=24, change_before=change), 1440
    )
    assert report.safe == (settles <= 25)  # running total of the row: 25 mg/L


def test_six_weekly_doses_without_a_change() -> None:
    """Six times 0.10 mg/L reach 0.60 mg/L: the stop of lufenuron is for the running total."""
    course = run_course(repeated_doses(0.1, times=6, every_h=168), 6 * 168)
    assert course.highest == pytest.approx(0.6)
    assert not judge_course(REFERENCE.doses["lufenuron_bath"], repeated_doses(0.1, times=6, every_h=168), 1008).safe


def test_batch_changes_are_the_flow_of_the_same_washout() -> None:
    """D = -ln(1 - f)/T."""
    batch = run_course([DoseEvent(0, 10), *(ChangeEvent(24.0 * n, 0.3) for n in range(1, 6))], 121)
    flow = run_course([DoseEvent(0, 10), FlowEvent(0, -math.log(0.7) / 24)], 121)
    assert batch.at(120) == pytest.approx(flow.at(120))


def test_nothing_is_known_of_the_half_life() -> None:
    report = judge_course(FORMALIN, [DoseEvent(0, 25)], 72)
    assert report.expected.at(72) == 25
    assert "no half-life" in report.words[0]


def test_under_the_effective_dose_is_said() -> None:
    report = judge_course(FORMALIN, [DoseEvent(0, 25), ChangeEvent(10, 0.6)], 100)
    assert report.hours_effective == pytest.approx(10)
    assert any("under the effective 12.5" in words for words in report.words)


@pytest.mark.parametrize(
    ("events", "until", "more"),
    [
        ([ChangeEvent(1, 1.0)], 10, {}),
        ([ChangeEvent(1, 0)], 10, {}),
        ([DoseEvent(-1, 3)], 10, {}),
        ([DoseEvent(11, 3)], 10, {}),
        ([DoseEvent(1, -3)], 10, {}),
        ([DoseEvent(1, math.inf)], 10, {}),
        ([], 0, {}),
        ([], 1e6, {}),
        ([], 10, {"half_life_h": 0.0}),
        ([], 10, {"start": -1.0}),
    ],
)
def test_bad_courses(events: list[Event], until: float, more: dict[str, float]) -> None:
    with pytest.raises(InputError):
        run_course(events, until, **more)  # type: ignore[arg-type]


@given(st.floats(0.1, 50), st.floats(0.05, 0.85), st.integers(1, 8))
def test_without_loss_a_course_is_linear_in_its_doses(dose: float, change: float, times: int) -> None:
    def course(d: float) -> Course:
        return run_course(repeated_doses(d, times=times, every_h=24, change_before=change), 24 * times)

    assert course(2 * dose).highest == pytest.approx(2 * course(dose).highest)


# --- water changes ----------------------------------------------------------------------------------------------------

# fraction, changes to a half, a tenth, a hundredth (computed from n = ceil(ln ratio / ln(1 - f)))
NEEDED = [
    (0.1, 7, 22, 44), (0.2, 4, 11, 21), (0.25, 3, 9, 17), (0.3, 2, 7, 13), (0.4, 2, 5, 10), (0.5, 1, 4, 7),
    (0.75, 1, 2, 4), (0.9, 1, 1, 2),
]  # fmt: skip


@pytest.mark.parametrize(("fraction", "half", "tenth", "hundredth"), NEEDED)
def test_changes_needed(fraction: float, half: int, tenth: int, hundredth: int) -> None:
    assert [ch.changes_needed(100, t, 0, fraction) for t in (50, 10, 1)] == [half, tenth, hundredth]


def test_one_large_change_does_more_than_many_small() -> None:
    """One of half removes 50 %, two of a quarter 43.75 %, five of a tenth 40.95 %."""
    assert [round(100 - ch.after_changes(100, 0, f, n), 2) for f, n in ((0.5, 1), (0.25, 2), (0.1, 5))] == [
        50.0,
        43.75,
        40.95,
    ]


def test_steady_state_with_decay_against_a_long_course() -> None:
    settled = ch.steady_state(12, 0.3, new=2, decay_per_h=0.01, interval_h=48)
    events: list[Event] = [ChangeEvent(48.0 * n, 0.3, 2) for n in range(1, 150)]
    course = run_course(events, 48 * 150, half_life_h=math.log(2) / 0.01, drip_per_h=12 / 48)
    assert course.at(48 * 149) == pytest.approx(settled.after)
    assert course.at(48 * 150) == pytest.approx(settled.before)


def test_new_water_above_the_target_never_gets_there() -> None:
    assert ch.changes_needed(100, 10, 25, 0.5) is None
    plan = ch.plan_changes(100, 10, 25, litres=200, fraction=0.5, first=date(2026, 10, 3))
    assert "do not reach" in plan.words[0]
    assert plan.reached > 10


def test_a_calendar_of_changes() -> None:
    """Nitrate 120 to 40 mg/L with tap water of 10 mg/L, a quarter a day, 2 mg/L a day coming in."""
    plan = ch.plan_changes(
        120, 40, 10, litres=300, fraction=0.25, first=date(2026, 10, 3), today=date(2026, 10, 3), input_a_day=2
    )
    assert plan.reached <= 40
    assert [c.on.day for c in plan.changes] == list(range(3, 3 + len(plan.changes)))
    level = 120.0
    for n, change in enumerate(plan.changes):
        level += 2 if n else 0
        level = 0.75 * level + 0.25 * 10
        assert change.after == pytest.approx(level)
        assert change.litres == 75


# fraction a day, share of a free stage's transmission left if hosts are found in 3, 12, 48 h and it lives 24 h (derived
# table of the washout balance; white-spot theronts live about a day or two, Post 1987)
WASHOUT = [
    (0.1, 0.988, 0.966, 0.934), (0.25, 0.969, 0.912, 0.839), (0.5, 0.928, 0.812, 0.684), (0.9, 0.796, 0.566, 0.394),
]  # fmt: skip


@pytest.mark.parametrize(("fraction", "three", "twelve", "two_days"), WASHOUT)
def test_what_changes_can_not_do(fraction: float, three: float, twelve: float, two_days: float) -> None:
    got = [ch.transmission_left(fraction, 24, death_per_h=1 / 24, finds_host_per_h=1 / h) for h in (3, 12, 48)]
    assert got == pytest.approx([three, twelve, two_days], abs=6e-4)


def test_a_waterborne_load_settles_against_a_long_course() -> None:
    settled = ch.settled_load(5000, 250, fraction=0.4, every_h=24, removal_per_h=0.05)
    events: list[Event] = [ChangeEvent(24.0 * n, 0.4) for n in range(1, 200)]
    course = run_course(events, 24 * 200, half_life_h=math.log(2) / 0.05, drip_per_h=5000 / 250)
    assert course.at(24 * 200) == pytest.approx(settled.before)


def test_limits_of_a_change() -> None:
    """Conductivity 200 to 600 uS/cm may move by a fifth: f = 40/400 = 0.1; temperature down 1 °C a day at most."""
    tank = ch.WaterProperties(25, 7.2, 80, 200)
    assert ch.largest_change(tank, ch.WaterProperties(25, 7.2, 80, 600)).fraction == pytest.approx(0.1)
    colder = ch.largest_change(tank, ch.WaterProperties(15, 7.2, 80, 200))
    assert (colder.fraction, colder.set_by) == (pytest.approx(0.1), "temperature_c")
    warmer = ch.largest_change(tank, ch.WaterProperties(35, 7.2, 80, 200))
    assert warmer.fraction == pytest.approx(0.2)
    harder = ch.largest_change(tank, ch.WaterProperties(25, 7.2, 280, 200))
    assert (harder.fraction, harder.set_by) == (pytest.approx(0.1), "alkalinity_mg_caco3_per_l")
    limed = ch.largest_change(ch.WaterProperties(25, 7.2, 80, 200, 100), ch.WaterProperties(25, 7.2, 80, 200, 350))
    assert (limed.fraction, limed.set_by) == (pytest.approx(0.08), "hardness_mg_caco3_per_l")
    unknown = ch.largest_change(ch.WaterProperties(25), ch.WaterProperties(25))
    assert unknown.unknown == (
        "ph", "alkalinity_mg_caco3_per_l", "hardness_mg_caco3_per_l", "conductivity_us_per_cm"
    )  # fmt: skip
    assert ch.largest_change(tank, tank, ph_after=7.8).fraction == pytest.approx(0.25)


@pytest.mark.parametrize("fraction", [0, -0.1, 0.91, 1.0, 5, math.nan])
def test_impossible_changes(fraction: float) -> None:
    with pytest.raises(InputError, match="not possible"):
        ch.single_change(10, 0, fraction)


def test_a_date_in_the_past() -> None:
    with pytest.raises(InputError, match="in the past"):
        ch.plan_changes(100, 10, 0, litres=100, fraction=0.5, first=date(2026, 10, 2), today=date(2026, 10, 3))
