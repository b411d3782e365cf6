"""A fish room on one day: every tank with its state, what it holds, and the contacts up to then."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Q
from django.utils import timezone

from wetmount.casebook import clock
from wetmount.casebook.models import (
    Case,
    CaseTank,
    FishRoom,
    Move,
    Note,
    System,
    Tank,
    TankCheck,
    TankSign,
    TaskDue,
)
from wetmount.casebook.reference import reference
from wetmount.casebook.stock import Lot, Stock, stock_after

AT_LEAST, AT_MOST = dt.timedelta(days=20), dt.timedelta(days=60)
"""How many days the slider reaches back: to the first thing noted, within these."""
DRAWN = 12
"""Contacts that are drawn between tanks, the latest; the list has all of them."""
MOST_ABREAST = 12
"""Tanks side by side that are drawn so; longer shelves run on in rows."""
QUARANTINE = "quarantine"
ILL, OTHER, GUARDED, EMPTY, WELL = "ill", "other", "guarded", "empty", "well"
WORDS = {
    ILL: "open case or signs", OTHER: "another cause", GUARDED: "in quarantine", EMPTY: "empty", WELL: "no open case",
}  # fmt: skip
CARRIED = {"net": "One net or tool used in", "water": "Water carried from", "plants": "Plants or stones moved from"}
SIGNS = "signs noted"


@dataclass(frozen=True, slots=True)
class Place:
    """A tank as it was on the day."""

    tank: Tank
    state: str
    lots: tuple[Lot, ...]
    cases: tuple[Case, ...]
    signs: tuple[TankSign, ...] = ()
    checks: tuple[TankCheck, ...] = ()

    @property
    def words(self) -> str:
        """'A4: open case, 20 Boeseman rainbowfish from North'."""
        held = ", ".join(str(lot) for lot in self.lots)
        state = WORDS[self.state]
        if self.state == ILL:
            state = "open case" if self.cases else SIGNS
        said = [state, held] if held or self.state == EMPTY else [state, "fish not noted"]
        return f"{self.tank.name}: {', '.join(one for one in said if one)}"

    @property
    def died(self) -> int:
        """Fish noted as dead in it by that day."""
        return sum(sign.number or 0 for sign in self.signs if sign.kind == "deaths")


@dataclass(frozen=True, slots=True)
class Rack:
    """Tanks on one system, or those with water of their own."""

    system: System | None
    places: tuple[Place, ...]

    @property
    def shelves(self) -> tuple[tuple[Place | None, ...], ...]:
        """Its tanks as they stand, shelf by shelf, None where none stands; empty where their places are not noted."""
        at = {(place.tank.row, place.tank.place): place for place in self.places}
        rows = [row for row, _ in at if row]
        columns = [column for _, column in at if column]
        if len(at) < len(self.places) or len(rows) < len(at) or len(columns) < len(at) or max(columns) > MOST_ABREAST:
            return ()
        return tuple(tuple(at.get((row, column)) for column in range(1, max(columns) + 1)) for row in sorted(set(rows)))

    @property
    def across(self) -> int:
        """How many stand side by side, or would."""
        return len(self.shelves[0]) if self.shelves else min(6, max(1, len(self.places)))

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


def room_on(room: FishRoom, day: dt.date | None, condition: str = "") -> RoomOnDay:
    """The room as it stood at the end of a day (None: today). A handful of queries, however large the room.

    With a condition, tanks with another cause alone are drawn apart from those with this one.
    """
    today = clock.today()
    tanks = list(Tank.objects.filter(room=room).select_related("system"))
    keys = [tank.pk for tank in tanks]
    moves = moves_of(keys)
    cases = _cases_of(keys, today - AT_MOST)
    signs = _by_tank(TankSign.objects.filter(tank__in=keys, on__gte=today - AT_MOST).select_related("tank"))
    checks = _by_tank(TankCheck.objects.filter(tank__in=keys, on__gte=today - AT_MOST).select_related("tank"))
    events = _events(room, keys, moves, cases, [*_rows(signs), *_rows(checks)])
    since = [event.on for event in events if event.on >= today - AT_MOST]
    first = min([*since, today - AT_LEAST])
    day = min(max(day or today, first), today)
    stock = stock_after(move for move in moves if move.on <= day)
    guarded = _guarded(keys, day)
    seen = {pk: (_up_to(signs[pk], day), _up_to(checks[pk], day)) for pk in keys}
    places = {
        tank.pk: _place(tank, day, stock, cases[tank.pk], tank.pk in guarded, seen[tank.pk], condition)
        for tank in tanks
    }
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


def _by_tank(rows: Iterable[Any]) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.tank_id].append(row)
    return found


def _rows(by_tank: dict[int, list[Any]]) -> list[Any]:
    return [row for rows in by_tank.values() for row in rows]


def _up_to(rows: list[Any], day: dt.date) -> tuple[Any, ...]:
    return tuple(row for row in rows if row.on <= day)


def _place(
    tank: Tank,
    day: dt.date,
    stock: Stock,
    cases: list[Case],
    guarded: bool,
    seen: tuple[tuple[TankSign, ...], tuple[TankCheck, ...]],
    condition: str,
) -> Place:
    standing = tuple(case for case in cases if case.opened <= day and (case.closed is None or case.closed > day))
    lots = tuple(stock.in_tank(tank.pk))
    signs, checks = seen
    causes = _causes(standing, signs, checks)
    ill = bool(standing) or bool(causes)
    if ill and condition and causes and not causes & {condition, ""}:
        state = OTHER
    else:
        state = ILL if ill else GUARDED if guarded else WELL if lots else EMPTY
    return Place(tank, state, lots, standing, signs, checks)


def _causes(cases: tuple[Case, ...], signs: tuple[TankSign, ...], checks: tuple[TankCheck, ...]) -> set[str]:
    """What a tank's illness is put down to, "" for nothing yet; none when it was looked at since and was well."""
    last_well = max((check.on for check in checks if not check.found and not check.condition), default=dt.date.min)
    causes = {sign.condition for sign in signs if sign.on >= last_well}
    causes |= {check.condition for check in checks if check.found}
    for case in cases:
        causes |= set(case.put_down_to.split(",")) if case.put_down_to else {case.leading}
    return causes


def _racks(room: FishRoom, tanks: list[Tank], places: dict[int, Place]) -> tuple[Rack, ...]:
    on: dict[int | None, list[Place]] = defaultdict(list)
    for tank in tanks:
        on[tank.system_id].append(places[tank.pk])
    racks = [Rack(system, tuple(on[system.pk])) for system in System.objects.filter(room=room)]
    alone = [Rack(None, tuple(on[None]))] if on[None] else []
    return (*racks, *alone)


def _events(
    room: FishRoom, keys: list[int], moves: list[Move], cases: dict[int, list[Case]], seen: list[TankSign | TankCheck]
) -> list[Event]:
    """What happened, oldest first: moves, contacts, notes, cases opened and closed, what was seen and looked for."""
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
    events += _seen(seen)
    return sorted(events, key=lambda event: event.on)


def _seen(rows: list[TankSign | TankCheck]) -> list[Event]:
    """Signs, deaths and checks in words; looks that saw nothing are one line a day."""
    tables = reference()
    events, nothing = [], defaultdict(list)
    for row in rows:
        cause = tables.conditions[row.condition].name if row.condition in tables.conditions else ""
        if isinstance(row, TankSign):
            of = f", {cause}" if cause else ""
            many = f"{row.number} " if row.number is not None else ""
            what = f"{many}died" if row.kind == "deaths" else f"{many}with signs"
            events.append(Event(row.on, f"{row.tank.name}: {what}{of}", "seen"))
        elif not row.found and not cause:
            nothing[row.on].append(row.tank)
        else:
            examination = tables.examinations.get(row.examination)
            how = examination.name if examination is not None else row.examination
            result = "seen" if row.found else "not seen"
            events.append(Event(row.on, f"{row.tank.name}: {cause or 'signs'} {result}, {how}", "seen"))
    for on, tanks in nothing.items():
        names = [tank.name for tank in sorted(tanks, key=lambda one: (one.order, one.name))]
        more = f" and {len(names) - 8} more" if len(names) > 8 else ""
        events.append(Event(on, f"No signs in {', '.join(names[:8])}{more}", "seen"))
    return events


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
        word = CARRIED.get(move.kind, "Something wet went from")
        text = f"{word} {source.name if source else ''}, then {goal.name if goal else ''}"
    return Event(move.on, text + more, move.kind, link)
