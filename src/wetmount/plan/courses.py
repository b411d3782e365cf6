"""The course of an agent of a plan: its doses into the tank on their days, half the water changed in between."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from msgspec import structs

from wetmount.case import Plan
from wetmount.course import ChangeEvent, CourseReport, DoseEvent, Event, judge_course
from wetmount.dose import DoseAnswer
from wetmount.hard_stops import BATHS
from wetmount.plan.amounts import CHANGED_BEFORE
from wetmount.plan.record import FOLLOW_UP_DAYS
from wetmount.reference import Reference

IN_WATER: Final = ("mg/L", "g/L", "uL/L")


@dataclass(frozen=True, slots=True)
class PlannedCourse:
    """What is in the water from the first dose until the look a week after the last. `report` is for the least water
    there may be, `weaker` for the most, None where the volume is known."""

    treatment: str
    unit: str
    first: date
    days: int
    events: tuple[Event, ...]
    report: CourseReport
    weaker: CourseReport | None


def courses_of(plan: Plan, answers: dict[str, DoseAnswer], reference: Reference) -> Iterator[PlannedCourse]:
    """The course of each agent that is given into the tank and has an amount. It is held against the bounds of these
    fish in this water, which the dose was worked out with."""
    for step in plan.steps:
        answer = answers.get(step.option or "") if step.kind == "treat" else None
        if answer is None or answer.concentration is None or answer.state != "amount" or not step.days:
            continue
        row = reference.doses[answer.treatment]
        if row.place != "tank" or row.route not in BATHS or answer.unit not in IN_WATER:
            continue
        if answer.bounds is not None:
            low = answer.bounds.target if answer.bounds.target is not None else answer.bounds.low
            row = structs.replace(row, low=low, hard_max=answer.bounds.most, unit=answer.unit)
        reached = answer.concentration
        days = (step.days[-1] - step.days[0]).days + FOLLOW_UP_DAYS
        strong = _events(step.days, reached.at_low_volume)
        weak = _events(step.days, reached.at_high_volume)
        known = reached.at_low_volume == reached.at_high_volume
        yield PlannedCourse(
            answer.treatment,
            answer.unit,
            step.days[0],
            days,
            strong,
            judge_course(row, strong, days * 24),
            None if known else judge_course(row, weak, days * 24),
        )


def _events(days: Sequence[date], adds: float) -> tuple[Event, ...]:
    events: list[Event] = []
    for n, day in enumerate(days):
        at = 24.0 * (day - days[0]).days
        if n:
            events.append(ChangeEvent(at - 1, CHANGED_BEFORE))
        events.append(DoseEvent(at, adds))
    return tuple(events)
