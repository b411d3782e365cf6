"""What is due: tasks as Today shows them, with where they belong, when they were due and how late they are."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.urls import reverse
from django.utils import timezone

from wetmount.casebook.models import Case, TaskDue

ICONS = {
    "look_again": "look", "dose": "dose", "water_change": "change", "reading": "water", "result": "wait",
    "news": "news", "quarantine": "look", "plan": "open",
}  # fmt: skip
QUIET_DAYS = 14
"""An open case in which nothing was written for so long is asked after."""
SHORT = 5
"""Letters that fit the frosted end of a slide in its large type."""


@dataclass(frozen=True, slots=True)
class End:
    """The frosted end of a slide: a large short name, and a line below."""

    big: str
    small: str


@dataclass(frozen=True, slots=True)
class Due:
    """A task with its words."""

    task: TaskDue
    end: End
    link: str
    icon: str
    said: str
    tag: str
    late: bool


def open_tasks() -> QuerySet:
    """Tasks that are not done, of cases that are not deleted, in the order in which they fall due."""
    return (
        TaskDue.objects.filter(Q(case=None) | Q(case__deleted_at=None), done_at=None)
        .select_related("case__tank", "case__system", "case__room", "tank", "system", "room", "plan")
        .order_by("due_on", "due_at", "id")
    )


def quiet_cases(today: dt.date) -> QuerySet:
    """Open cases nobody wrote in for `QUIET_DAYS` and has set nothing for: no news, and nobody waiting for any."""
    since = timezone.make_aware(dt.datetime.combine(today - dt.timedelta(days=QUIET_DAYS), dt.time.min))
    waiting = TaskDue.objects.filter(case=OuterRef("pk"), done_at=None)
    quiet = Case.objects.filter(~Exists(waiting), closed=None, touched_at__lt=since)
    return quiet.select_related("tank").order_by("-touched_at")


def due(task: TaskDue, today: dt.date) -> Due:
    """A task on the day that is today."""
    days = (task.due_on - today).days
    icon = ICONS.get(task.kind, "look")
    on = f"{task.due_on:%A} {task.due_on.day} {task.due_on:%B}"
    if days < 0:
        past = f"{-days} day{'s' if days < -1 else ''}"
        tag = f"{past} past the date you set" if task.kind in ("news", "result") else f"{past} late"
        return Due(task, end_of(task), link_of(task), "warn", _said(task, f"Was due on {on}."), tag, True)
    if days == 0:
        tag = f"at {task.due_at:%H:%M}" if task.due_at else task.get_kind_display()
        return Due(task, end_of(task), link_of(task), icon, _said(task, ""), tag, False)
    when = "Expected" if task.kind in ("news", "result") else "Due"
    tag = f"{days} day{'s' if days > 1 else ''} to go"
    return Due(task, end_of(task), link_of(task), icon, _said(task, f"{when} on {on}."), tag, False)


def _said(task: TaskDue, when: str) -> str:
    """What it is about, as sentences."""
    detail = task.detail.strip()
    return " ".join(one for one in (detail if detail.endswith((".", "?")) or not detail else f"{detail}.", when) if one)


def link_of(task: TaskDue) -> str:
    """Where to go to do it: the plan it came of, the case, else the tank in its room, else the room; "" for none."""
    if task.case is not None and task.plan is not None:
        return f"{reverse('plan', args=[task.case.number])}?look={task.plan.look_id}"
    if task.case is not None:
        return reverse("case", args=[task.case.number])
    if task.tank is not None:
        return f"{reverse('room', args=[task.tank.room_id])}?tank={task.tank_id}"
    room = task.system.room_id if task.system is not None else task.room_id
    return reverse("room", args=[room]) if room else ""


def end_of(task: TaskDue) -> End:
    """The tank or system first, since that is where one goes."""
    case = task.case
    for place in (task.tank, task.system, case.tank if case else None):
        if place is not None and (end := _short(place.name)) is not None:
            return End(end.big, f"case {case.number}" if case else end.small or "tank")
    return End(str(case.number), "case") if case is not None else End("–", "any day")


def end_of_case(case: Case) -> End:
    """The tank with the number of the case, or the number alone."""
    end = _short(case.tank.name) if case.tank is not None else None
    return End(end.big, f"case {case.number}") if end is not None else End(str(case.number), "case")


def _short(name: str) -> End | None:
    """'A4' as it is, 'Rack A' as A over rack; None for a name that does not fit."""
    if len(name) <= SHORT:
        return End(name, "")
    first, _, last = name.rpartition(" ")
    return End(last, first.lower()) if first and len(last) <= 3 and len(first) <= 2 * SHORT else None


NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def number_word(n: int) -> str:
    """Numbers up to twelve in words."""
    return NUMBERS[n] if n < len(NUMBERS) else str(n)


def head_sentence(for_today: int, late: int) -> str:
    """'Four things are for today. Two more are late.'"""
    if not for_today and not late:
        return "Nothing is due today."
    said = []
    if for_today:
        said.append(
            f"{number_word(for_today).capitalize()} {'thing is' if for_today == 1 else 'things are'} for today."
        )
    if late:
        more = f"{number_word(late).capitalize()} {'more ' if for_today else ''}{'is' if late == 1 else 'are'} late."
        said.append(more)
    return " ".join(said)
