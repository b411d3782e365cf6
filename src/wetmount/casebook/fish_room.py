"""A fish room on one day: every tank with its state, what it holds, and the contacts up to then."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from django.db.models import Q
from django.utils import timezone

from wetmount.casebook import clock
from wetmount.casebook.models import Case, CaseTank, FishRoom, Move, Note, System, Tank, TaskDue
from wetmount.casebook.stock import Lot, Stock, stock_after

AT_LEAST, AT_MOST = dt.timedelta(days=20), dt.timedelta(days=60)
"""How many days the slider reaches back: to the first thing noted, within these."""
DRAWN = 12
"""Contacts that are drawn between tanks, the latest; the list has all of them."""
QUARANTINE = "quarantine"
ILL, GUARDED, EMPTY, WELL = "ill", "guarded", "empty", "well"
WORDS = {ILL: "open case", GUARDED: "in quarantine", EMPTY: "empty", WELL: "no open case"}


@dataclass(frozen=True, slots=True)
class Place:
    """A tank as it was on the day."""

    tank: Tank
    state: str
    lots: tuple[Lot, ...]
    cases: tuple[Case, ...]

    @property
    def words(self) -> str:
        """'A4: open case, 20 Boeseman rainbowfish from North'."""
        held = ", ".join(str(lot) for lot in self.lots)
        said = [WORDS[self.state], held] if held or self.state == EMPTY else [WORDS[self.state], "fish not noted"]
        return f"{self.tank.name}: {', '.join(one for one in said if one)}"


@dataclass(frozen=True, slots=True)
class Rack:
    """Tanks on one system, or those with water of their own."""

    system: System | None
    places: tuple[Place, ...]

    @property
    def kept(self) -> str:
        """The species on it, in short."""
        species = dict.fromkeys(lot.batch.species for place in self.places for lot in place.lots)
        return ", ".join(list(species)[:2])


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened, in words; `link` is drawn between two tanks."""

    on: dt.date
    text: str
    kind: str
    link: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class RoomOnDay:
    """Everything the page of a room shows for one day."""

    room: FishRoom
    day: dt.date
    first: dt.date
    last: dt.date
    racks: tuple[Rack, ...]
    events: tuple[Event, ...]

    @property
    def places(self) -> list[Place]:
        return [place for rack in self.racks for place in rack.places]

    @property
    def links(self) -> list[dict[str, Any]]:
        """The latest contacts, for the drawing."""
        drawn = [event for event in self.events if event.link is not None][-DRAWN:]
        return [{"kind": event.kind, "from": event.link[0], "to": event.link[1]} for event in drawn if event.link]

    def in_state(self, state: str) -> list[Place]:
        """The tanks in a state."""
        return [place for place in self.places if place.state == state]


def room_on(room: FishRoom, day: dt.date | None) -> RoomOnDay:
    """The room as it stood at the end of a day (None: today). A handful of queries, however large the room."""
    today = clock.today()
    tanks = list(Tank.objects.filter(room=room).select_related("system"))
    keys = [tank.pk for tank in tanks]
    moves = moves_of(keys)
    cases = _cases_of(keys, today - AT_MOST)
    events = _events(room, keys, moves, cases)
    since = [event.on for event in events if event.on >= today - AT_MOST]
    first = min([*since, today - AT_LEAST])
    day = min(max(day or today, first), today)
    stock = stock_after(move for move in moves if move.on <= day)
    guarded = _guarded(keys, day)
    places = {tank.pk: _place(tank, day, stock, cases[tank.pk], tank.pk in guarded) for tank in tanks}
    return RoomOnDay(
        room, day, first, today, _racks(room, tanks, places), tuple(e for e in events if first <= e.on <= day)
    )


def moves_of(keys: list[int]) -> list[Move]:
    """Every move of the batches that were ever here, and every contact, oldest first."""
    touching = Q(from_tank__in=keys) | Q(to_tank__in=keys)
    here = Move.objects.filter(touching, kind="fish").values("batch")
    return list(
        Move.objects.filter(touching | Q(batch__in=here))
        .select_related("batch", "from_tank", "to_tank")
        .distinct()
        .order_by("on", "id")
    )


def _cases_of(keys: list[int], since: dt.date) -> dict[int, list[Case]]:
    """Cases by tank, the further tanks of a case too; those that were closed before `since` are passed over."""
    found: dict[int, list[Case]] = defaultdict(list)
    for case in Case.objects.filter(Q(closed=None) | Q(closed__gte=since), tank__in=keys).order_by("number"):
        found[case.tank_id].append(case)
    still = Q(case__closed=None) | Q(case__closed__gte=since)
    further = CaseTank.objects.filter(still, tank__in=keys, case__deleted_at=None).select_related("case")
    for row in further.order_by("case__number"):
        found[row.tank_id].append(row.case)
    return found


def _guarded(keys: list[int], day: dt.date) -> set[int]:
    """Tanks whose quarantine was set by then and not ended."""
    tasks = TaskDue.objects.filter(kind=QUARANTINE, tank__in=keys, set_on__lte=day)
    return {
        task.tank_id
        for task in tasks
        if task.tank_id and (task.done_at is None or timezone.localtime(task.done_at).date() > day)
    }


def _place(tank: Tank, day: dt.date, stock: Stock, cases: list[Case], guarded: bool) -> Place:
    standing = tuple(case for case in cases if case.opened <= day and (case.closed is None or case.closed > day))
    lots = tuple(stock.in_tank(tank.pk))
    state = ILL if standing else GUARDED if guarded else WELL if lots else EMPTY
    return Place(tank, state, lots, standing)


def _racks(room: FishRoom, tanks: list[Tank], places: dict[int, Place]) -> tuple[Rack, ...]:
    on: dict[int | None, list[Place]] = defaultdict(list)
    for tank in tanks:
        on[tank.system_id].append(places[tank.pk])
    racks = [Rack(system, tuple(on[system.pk])) for system in System.objects.filter(room=room)]
    alone = [Rack(None, tuple(on[None]))] if on[None] else []
    return (*racks, *alone)


def _events(room: FishRoom, keys: list[int], moves: list[Move], cases: dict[int, list[Case]]) -> list[Event]:
    """What happened, oldest first: moves, contacts, notes, cases opened and closed."""
    here = set(keys)
    events = [_moved(move) for move in moves if {move.from_tank_id, move.to_tank_id} & here]
    where = Q(room=room) | Q(system__room=room) | Q(tank__room=room)
    notes = Note.objects.filter(where, case=None).select_related("system", "tank")
    for note in notes:
        at = note.tank or note.system
        events.append(Event(note.on, f"{at.name}: {note.text}" if at is not None else note.text, "note"))
    for case in {case.pk: case for found in cases.values() for case in found}.values():
        events.append(Event(case.opened, f"Case {case.number} opened: {case.title}", "case"))
        if case.closed is not None:
            events.append(Event(case.closed, f"Case {case.number} closed", "case"))
    return sorted(events, key=lambda event: event.on)


def _moved(move: Move) -> Event:
    source, goal = move.from_tank, move.to_tank
    link = (source.pk, goal.pk) if source is not None and goal is not None else None
    more = f". {move.note}" if move.note else ""
    if move.kind == "fish":
        number = move.number if move.number is not None or source is not None else move.batch.number
        count = str(number) if number is not None else "All"
        what = f"{count} {move.batch}"
        if source is None:
            text = f"{what} put into {goal.name if goal else ''}"
        elif goal is None:
            text = f"{what} left {source.name}"
        else:
            text = f"{what} moved, {source.name} to {goal.name}"
    else:
        word = "One net or tool used in" if move.kind == "net" else "Water carried from"
        text = f"{word} {source.name if source else ''}, then {goal.name if goal else ''}"
    return Event(move.on, text + more, move.kind, link)
