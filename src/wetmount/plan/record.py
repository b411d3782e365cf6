"""A choice as it is written down in the case: steps in order, each with its words and its days."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from itertools import pairwise
from typing import Final

from msgspec import structs

from wetmount.case import Plan, PlanStep
from wetmount.errors import InputError
from wetmount.hard_stops import hours_apart
from wetmount.plan.choose import ChosenPlan
from wetmount.plan.options import Option
from wetmount.reference import Reference
from wetmount.reference.rows import DoseRow

LONGEST_SCHEDULE_DAYS: Final = 90
FOLLOW_UP_DAYS: Final = 7
"""Days after the last dose to look again (common practice, no source)."""
WAYS: Final = {
    "dip": "a dip of minutes",
    "bath": "a bath of hours",
    "bath_indefinite": "left in the water",
    "egg_bath": "a bath for eggs",
    "feed": "in the feed",
    "injection": "injected",
    "heat": "by the heater",
}
LOOK_AGAIN: Final = "Look again: the same examinations as before; compare and write down"


def record_of(
    chosen: ChosenPlan,
    reference: Reference,
    *,
    first: date,
    schedules: Mapping[str, Sequence[int]] | None = None,
    plan: Plan | None = None,
) -> Plan:
    """The choice as the case file holds it, its agents one after the other and a look again at the end.

    `schedules` holds the days of an agent's givings, 0 its first; `plan` what is known already of water, fish and what
    is in hand. InputError for days of an agent that is not chosen, or that cannot be kept.
    """
    agents = [option.id for option in chosen.options if option.kind == "treat"]
    timed = schedules or {}
    for id in timed:
        if id not in agents:
            raise InputError(
                f"days are given for {id!r}, which is not chosen; agents chosen: {', '.join(agents) or 'none'}",
                field="schedules",
            )
    days = planned_days(agents, reference, first=first, schedules=timed)
    steps = [
        step_of(option, reference, chosen.texts.get(option.id), days.get(option.id, ())) for option in chosen.options
    ]
    return structs.replace(
        plan or Plan(),
        by=chosen.by,
        why=chosen.why,
        date=date.fromisoformat(chosen.at[:10]),
        first=first,
        reference=chosen.reference_version,
        steps=(*steps, look_again(steps, first)),
    )


def step_of(option: Option, reference: Reference, text: str | None = None, days: tuple[date, ...] = ()) -> PlanStep:
    """An option as a step, in its own words or those of an edit."""
    own = words_of(option, reference)
    urgency = "now" if option.urgency == "now" else "lasting"
    return PlanStep(text=text or own, kind=option.kind, option=option.id, urgency=urgency, days=days)  # type: ignore[arg-type]


def words_of(option: Option, reference: Reference) -> str:
    """What an option asks to be done, in the words of the tables."""
    if option.kind == "treat":
        return agent_words(option.id, reference)
    if option.kind == "examine":
        row = reference.examinations[option.id.removeprefix("examine_")]
        return f"{row.name[:1].upper()}{row.name[1:]}: {row.how}"
    return option.text


def agent_name(treatment: str, reference: Reference) -> str:
    """A treatment by its substance and the way it is given, since one substance has several."""
    row = reference.doses[treatment]
    way = WAYS.get(row.route, "")
    where = ", in a container" if row.place == "container" and row.route in ("dip", "bath", "bath_indefinite") else ""
    return f"{row.substance[:1].upper()}{row.substance[1:]}{f', {way}' if way else ''}{where}"


def agent_words(treatment: str, reference: Reference) -> str:
    """A treatment as a step says it: its name and what it is for."""
    return f"{agent_name(treatment, reference)}: {reference.treatments[treatment].purpose}"


def look_again(steps: Sequence[PlanStep], first: date) -> PlanStep:
    """The look that closes a plan, a week after its last day."""
    last = max((day for step in steps for day in step.days), default=first)
    return PlanStep(text=LOOK_AGAIN, kind="look", days=(last + timedelta(days=FOLLOW_UP_DAYS),))


def planned_days(
    agents: Sequence[str],
    reference: Reference,
    *,
    first: date,
    schedules: Mapping[str, Sequence[int]] | None = None,
) -> dict[str, tuple[date, ...]]:
    """The days of agents one after the other: each begins after the one before has ended and a day for changing half
    the water, since agents that must not meet are never given on one day; and later where the row of two agents wants
    them further apart (a week after permanganate, two after an organophosphate)."""
    days: dict[str, tuple[date, ...]] = {}
    start = first
    for id in agents:
        row = reference.doses[id]
        for before, given in days.items():
            start = max(start, given[-1] + timedelta(days=_apart_days(reference.doses[before], row, reference)))
        days[id] = dose_days(row, start, (schedules or {}).get(id))
        start = days[id][-1] + timedelta(days=max(1, round(contact_days(row))) + 1)
    return days


def _apart_days(before: DoseRow, after: DoseRow, reference: Reference) -> int:
    """Days from the last giving of one agent to the first of another: its contact, and the hours of their row."""
    hours = hours_apart(before, after, reference)
    return math.ceil(contact_days(before) + hours / 24 - 1e-9) if hours else 0


def contact_days(row: DoseRow) -> float:
    """How long one giving lasts, in days."""
    return 1.0 if row.route == "feed" else (row.minutes_high or 0.0) / 1440


def dose_days(row: DoseRow, first: date, schedule: Sequence[int] | None = None) -> tuple[date, ...]:
    """The days of a course: its doses at the shortest interval of the row; a feed course every day it lasts.

    `schedule`: givings on these days after the first instead, 0 the first, as the timing of a treatment found them
    (`wetmount.forecast.Schedule.days`); each giving of feed then lasts its days. InputError for a schedule that can
    not be kept.
    """
    lasts = max(1, round((row.minutes_low or 1440) / 1440)) if row.route == "feed" else 1
    if schedule is not None:
        begins = _kept(row, schedule, lasts)
    elif row.route == "feed":
        begins = [0]
    else:
        every = row.interval_h_low or 24.0
        begins = [round(n * every / 24) for n in range(int(row.doses or 1))]
    return tuple(first + timedelta(days=begin + n) for begin in begins for n in range(lasts))


def _kept(row: DoseRow, schedule: Sequence[int], lasts: int) -> list[int]:
    days = list(schedule)
    if not days or days[0] != 0 or days[-1] > LONGEST_SCHEDULE_DAYS:
        raise InputError(
            f"{row.substance}: the days of a schedule begin with 0 and end by day {LONGEST_SCHEDULE_DAYS}, "
            f"not {', '.join(map(str, days)) or 'empty'}",
            field=row.treatment,
        )
    if any(after - before < lasts for before, after in pairwise(days)):
        words = f"rise by at least {lasts}, the days of one course" if lasts > 1 else "rise"
        raise InputError(
            f"{row.substance}: the days of a schedule {words}, not {', '.join(map(str, days))}", field=row.treatment
        )
    return days


def schedule_cautions(row: DoseRow, schedule: Sequence[int]) -> tuple[str, ...]:
    """Where a schedule goes beyond the row of its agent: more givings than it has, or closer ones."""
    beyond = []
    if row.doses is not None and len(schedule) > row.doses:
        beyond.append(f"{len(schedule)} givings where the table has {row.doses:g}")
    closest = min((after - before for before, after in pairwise(schedule)), default=None)
    if closest is not None and row.interval_h_low is not None and 24 * closest < row.interval_h_low:
        beyond.append(f"{closest} days apart where the table has {row.interval_h_low / 24:g}")
    ask = "ask the label and a veterinarian before the second"
    return (f"{row.substance}: {', '.join(beyond)}; {ask}",) if beyond else ()


def cautions_of_days(plan: Plan, reference: Reference) -> Iterator[str]:
    """Where the days of the plan go beyond the rows of its agents."""
    for step in plan.steps:
        row = reference.doses.get(step.option or "") if step.kind == "treat" else None
        if row is None or not step.days or step.days == dose_days(row, step.days[0]):
            continue
        begins = [0]
        for before, after in pairwise(step.days):
            if row.route != "feed" or (after - before).days > 1:  # a course of feed is one giving of many days
                begins.append((after - step.days[0]).days)
        yield from schedule_cautions(row, begins)
