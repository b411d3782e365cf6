"""What a trace that was kept says to a case: in its page, its plan's prevention part and its report."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

from django.utils import timezone

from wetmount.casebook.models import Case, FishRoom, TraceCache
from wetmount.casebook.reference import reference
from wetmount.casebook.tracing import record_of
from wetmount.casebook.tracing_run import Kept, kept_trace, key_of
from wetmount.report.origin_page import OriginTold

MOST_CUTS: Final = 3
MOST_LOOKS: Final = 4
NAMED: Final = 10


@dataclass(frozen=True, slots=True)
class CaseTrace:
    """The trace of a case's cause in its room. `stale`: something was entered since."""

    room: FishRoom
    condition: str
    kept: Kept

    @property
    def made_on(self) -> dt.date:
        """The day it was worked out."""
        return timezone.localtime(self.kept.made_at).date()

    @property
    def stale(self) -> bool:
        return not self.kept.fresh


def causes_of(case: Case) -> list[str]:
    """What a case is put down to: its confirmed causes, else the one that leads."""
    return case.put_down_to.split(",") if case.put_down_to else [case.leading] if case.leading else []


def room_of(case: Case) -> FishRoom | None:
    """The fish room of a case."""
    return case.room or (case.tank.room if case.tank is not None else None)


def trace_of(case: Case, *, compare: bool = True) -> CaseTrace | None:
    """The trace kept of this case's cause in its room, None without one. Whether it is stale costs a dozen queries;
    without `compare` it is taken as it is. Two queries then."""
    room, causes = room_of(case), causes_of(case)
    if room is None or not causes:
        return None
    kept = set(TraceCache.objects.filter(room=room, condition__in=causes).values_list("condition", flat=True))
    condition = next((id for id in causes if id in kept), None)
    if condition is None:
        return None
    key = key_of(record_of(room, condition), reference()) if compare else None
    found = kept_trace(room, condition, key)
    return CaseTrace(room, condition, found) if found is not None else None


@dataclass(frozen=True, slots=True)
class Whence:
    """What a case's page says of where its cause came in."""

    room: FishRoom
    condition: str
    traced: CaseTrace | None


def whence_of(case: Case) -> Whence | None:
    """The trace of a case's cause, or that it can be traced; None where it has no room or no cause that spreads."""
    room = room_of(case)
    condition = next((id for id in causes_of(case) if id in reference().incubations), None)
    if room is None or condition is None:
        return None
    traced = trace_of(case, compare=False)
    return Whence(room, traced.condition if traced is not None else condition, traced)


def prevention_lines(case: Case) -> list[str]:
    """What the trace of a case's cause asks for in its room: the order of the round, links to cut, whom to examine."""
    traced = trace_of(case)
    if traced is None or traced.kept.ahead is None:
        return []
    ahead, lines = traced.kept.ahead, []
    for status, first in (("clean", "Work first in the clean tanks"), ("suspect", "then in those suspected"),
                          ("sick", "last in those that are ill")):  # fmt: skip
        tanks = [stop.tank for stop in ahead.round.stops if stop.status == status]
        if tanks:
            lines.append(f"{first}: {_named(tanks)}")
    order = "; ".join(lines)
    found = [f"{order[:1].upper()}{order[1:]}."] if order else []
    found += [f"{words[:1].upper()}{words[1:]}." for words in cuts_of(traced)]
    return found + [f"Examine {words}." for words in looks_of(traced)[:1]]


def cuts_of(traced: CaseTrace) -> tuple[str, ...]:
    """The links to cut together, the best first, in words."""
    if traced.kept.ahead is None:
        return ()
    control, rates = traced.kept.ahead.control, reference().link_rates
    said: list[str] = []
    for cut in control.together[:MOST_CUTS]:
        name = rates[cut.kind].name if cut.kind in rates else cut.kind
        through = f" ({cut.through})" if cut.through else ""
        which = "all of these so far" if said else "this"
        said.append(
            f"{name}{through}: {cut.how}; with {which} {cut.further:.1f} further tanks in {control.days} days, not "
            f"{control.further:.1f}"
        )
    return tuple(said)


def looks_of(traced: CaseTrace) -> tuple[str, ...]:
    """The tanks to examine next, in words."""
    if traced.kept.ahead is None:
        return ()
    names = reference().examinations
    return tuple(
        f"{one.fish} fish of {one.tank} by {names[one.examination].name if one.examination in names else 'a scrape'}"
        for one in traced.kept.ahead.learn[:MOST_LOOKS]
    )


def for_report(case: Case) -> OriginTold | None:
    """The trace of a case's cause as its report tells it."""
    traced = trace_of(case)
    if traced is None:
        return None
    shown = traced.kept.shown
    trust = shown.convergence.sentence
    if traced.stale:
        trust += " Something was entered in the room since: work it out again before relying on it."
    return OriginTold(
        record_of(traced.room, traced.condition).room,
        traced.condition,
        shown.condition_name,
        shown.verdict,
        shown.candidates,
        shown.routes,
        shown.tanks,
        trust,
        shown.shows_within_days,
        traced.made_on,
        cuts_of(traced),
        looks_of(traced),
        shown.earlier,
    )


def _named(tanks: list[str]) -> str:
    more = f" and {len(tanks) - NAMED} more" if len(tanks) > NAMED else ""
    return f"{', '.join(tanks[:NAMED])}{more}"
