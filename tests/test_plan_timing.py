"""Days found by the timing of a treatment, in the plan's page and calendar (read back by the icalendar library)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from importlib import resources
from itertools import pairwise
from pathlib import Path

import icalendar
import pytest
from click.testing import CliRunner

from wetmount.casefile import read_case
from wetmount.cli import cli
from wetmount.errors import InputError
from wetmount.evidence import gather_evidence
from wetmount.forecast import Situation, plan_treatments
from wetmount.hard_stops import Life, Prescription, WaterState
from wetmount.plan import ChosenPlan, TankFacts, choose, plan_for
from wetmount.plan.calendar import to_ical
from wetmount.plan.record import dose_days, schedule_cautions
from wetmount.plan.sheets import keeper_sheet
from wetmount.reference import load_reference
from wetmount.volume import Volume
from wetmount.weighup import weigh_up
from wetmount.weighup.results import Explanation

REFERENCE = load_reference()
CASE = Path(str(resources.files("wetmount") / "examples" / "harbour_row_rack_a.toml"))
NOW = datetime(2026, 10, 3, 14, 30)
FIRST = NOW.date()
TANK = TankFacts(
    Life(("rainbowfish",)),
    WaterState(25, 7.4, 120, 150, 7, False, 0.1, 0.002, 1.2, 5.0, 0.0),
    Volume(660, 720, 780),
    prescriptions={"praziquantel_bath": Prescription("2 mg/L", "the veterinarian")},
)


@pytest.fixture(scope="module")
def chosen() -> ChosenPlan:
    """A plan for gill flukes alone."""
    evidence = gather_evidence(read_case(CASE, REFERENCE), REFERENCE)
    weighed = weigh_up(evidence, REFERENCE, firmness=False, examinations=False)
    conditions = [replace(one, responsible=float(one.id == "gill_flukes")) for one in weighed.conditions]
    flukes = replace(
        weighed,
        conditions=tuple(sorted(conditions, key=lambda one: -one.responsible)),
        explanations=(Explanation(("gill_flukes",), 1.0),),
    )
    plan = plan_for(flukes, TANK, REFERENCE)
    return choose(plan, ["praziquantel_bath"], REFERENCE, by="the bench", why="flukes counted", at=NOW)


def doses_in(chosen: ChosenPlan, **schedules: tuple[int, ...]) -> list[date]:
    sheet = keeper_sheet(chosen, {}, REFERENCE, first=FIRST, today=FIRST, schedules=schedules)
    calendar = icalendar.Calendar.from_ical(to_ical(sheet.steps, made=NOW, name="Rack A", today=FIRST))
    return [event.decoded("dtstart").date() for event in calendar.walk("VEVENT") if "dose" in str(event["summary"])]


def test_the_advised_days_are_those_of_the_calendar(chosen: ChosenPlan) -> None:
    situation = Situation(18, 720, 6, 3, 12, (25.0,), FIRST)
    timing = plan_treatments("gill_flukes", "praziquantel_bath", situation, REFERENCE)
    days = timing.advised.days
    assert doses_in(chosen, praziquantel_bath=days) == [FIRST + timedelta(days=day) for day in days]
    by_table = doses_in(chosen)
    assert by_table != doses_in(chosen, praziquantel_bath=days)
    assert [(after - before).days for before, after in pairwise(by_table)] == [7, 7]  # the row's 168 h
    sheet = keeper_sheet(chosen, {}, REFERENCE, first=FIRST, today=FIRST, schedules={"praziquantel_bath": days})
    look = next(step.when for step in sheet.steps if step.title == "Look again")
    assert look == FIRST + timedelta(days=days[-1] + 7)
    assert any("apart where the table has 7" in line for line in sheet.cautions)


def test_feed_lasts_its_days_at_each_giving() -> None:
    # Walstad 2017: fenbendazole in feed, again after 3 weeks; the row's course is 3 days
    days = dose_days(REFERENCE.doses["fenbendazole_feed"], FIRST, (0, 21))
    assert [(day - FIRST).days for day in days] == [0, 1, 2, 21, 22, 23]


def test_a_schedule_within_the_row_needs_no_caution() -> None:
    row = REFERENCE.doses["formalin_malachite"]  # three givings, 48 to 72 h apart
    assert schedule_cautions(row, (0, 2, 4)) == ()
    assert "4 givings where the table has 3" in schedule_cautions(row, (0, 2, 4, 6))[0]


@pytest.mark.parametrize(
    ("schedules", "words"),
    [
        ({"salt_dip": (0, 3)}, "which is not chosen; agents chosen: praziquantel_bath"),
        ({"praziquantel_bath": (1, 5)}, "begin with 0"),
        ({"praziquantel_bath": ()}, "begin with 0"),
        ({"praziquantel_bath": (0, 5, 5)}, "rise"),
        ({"praziquantel_bath": (0, 400)}, "end by day 90"),
    ],
)
def test_schedules_that_can_not_be_kept(chosen: ChosenPlan, schedules: dict[str, tuple[int, ...]], words: str) -> None:
    with pytest.raises(InputError, match=words):
        keeper_sheet(chosen, {}, REFERENCE, first=FIRST, today=FIRST, schedules=schedules)


def test_feed_can_not_begin_again_before_it_ends() -> None:
    with pytest.raises(InputError, match="at least 3"):
        dose_days(REFERENCE.doses["fenbendazole_feed"], FIRST, (0, 2))


def test_the_command_takes_them() -> None:
    first = datetime.now().date() + timedelta(days=1)
    given = [
        "plan",
        str(CASE),
        "--fresh",
        "temperature=25C",
        "--lawful-here",
        "--without",
        "rest",
        "--choose",
        "salt_dip",
        "--by",
        "the bench",
        "--why",
        "a trial",
    ]
    done = CliRunner().invoke(cli, [*given, "--first", first.isoformat(), "--days", "salt_dip@0,4"])
    assert done.exit_code == 0, done.output
    assert f"{first.isoformat()} 10:00 sodium chloride, dose 1 of 2" in done.output
    assert f"{(first + timedelta(days=4)).isoformat()} 10:00 sodium chloride, dose 2 of 2" in done.output
    for wrong, words in ((["--days", "salt_dip"], "is no schedule"), (["--days", "ozone@0"], "which is not chosen")):
        refused = CliRunner().invoke(cli, [*given, *wrong])
        assert refused.exit_code == 2
        assert words in refused.output
    alone = CliRunner().invoke(cli, ["plan", str(CASE), "--days", "salt_dip@0"])
    assert alone.exit_code == 2
    assert "add --choose" in alone.output
