"""A fish room of the casebook as the record of a room in time, to trace one condition in (`wetmount.origin.room`).

Everything that could not be used is told in a sentence, and so is what counted besides the room's own entries: cases.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

from wetmount.casebook import clock
from wetmount.casebook.fish_room import moves_of
from wetmount.casebook.models import (
    Batch,
    FishRoom,
    Move,
    System,
    Tank,
    TankCheck,
    TankGroup,
    TankInGroup,
    TankSign,
)
from wetmount.casebook.reference import reference
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.stock import Stock
from wetmount.casebook.tracing_cases import evidence_of_cases
from wetmount.origin import room as core
from wetmount.origin.room_check import check_room
from wetmount.origin.room_rows import LIST_MARK, LONGEST, with_rows
from wetmount.reference import Reference

REACH: Final = dt.timedelta(days=49)
"""How far back a record reaches, at least: fifty days with the last one."""
BEFORE_FIRST_SIGN: Final = dt.timedelta(days=28)
FARTHEST: Final = dt.timedelta(days=179)
"""How far back it reaches at most, unless asked: half a year."""
ROUNDS: Final = 6


@dataclass(frozen=True, slots=True)
class Record:
    """A room in time, as far as it could be used. Ids of tanks in it are their names, made plain."""

    room: core.Room
    tanks: dict[str, Tank]
    """Id in the record → the tank."""
    systems: dict[str, System]
    batches: dict[str, Batch]
    left_out: tuple[str, ...]
    counted: tuple[str, ...]
    """What counted besides what was entered for the room, and how what was not stated was taken."""
    others: dict[str, tuple[str, ...]]
    """Tank → conditions other than the one that is followed that spread, seen in it or the cause of a case of it."""
    impossible: dict[int, str]
    """Signs or deaths (key of the row) that cannot be so, and why."""

    def id_of(self, tank: Tank) -> str:
        """A tank's id in the record."""
        return next(id for id, one in self.tanks.items() if one.pk == tank.pk)


def traceable(tables: Reference) -> dict[str, str]:
    """Conditions that spread from tank to tank, by their names."""
    names = {id: tables.conditions[id].name for id in tables.incubations if id in tables.conditions}
    return dict(sorted(names.items(), key=lambda one: one[1].casefold()))


def record_of(
    room: FishRoom, condition: str | None, first: dt.date | None = None, last: dt.date | None = None
) -> Record:
    """The room from `first` to `last` as evidence about a condition (None: about none in particular).

    Without `first` the record reaches back 50 days, or 28 days before the first sign. A dozen queries at most,
    however large the room.
    """
    return _Gathering(room, condition, first, last or clock.today()).record()


def day_words(on: dt.date) -> str:
    """'3 October'."""
    return f"{on.day} {on:%B}"


@dataclass(slots=True)
class _Lot:
    """Fish of one batch of the casebook in one tank: ids of the record's batches, each with its number."""

    parts: dict[str, int | None] = field(default_factory=dict)


class _Gathering:
    """Rows of a room, turned into a record step by step."""

    def __init__(self, room: FishRoom, condition: str | None, first: dt.date | None, last: dt.date) -> None:
        self.row, self.condition, self.last = room, condition, last
        self.tables = reference()
        self.left_out: list[str] = []
        self.counted: list[str] = []
        self.rows: dict[str, list[tuple[Any, str]]] = defaultdict(list)
        self.sign_keys: dict[Any, list[int]] = defaultdict(list)
        self.impossible: dict[int, str] = {}
        self.systems: dict[str, System] = {}
        self.batches: dict[str, Batch] = {}
        self.by_cases: dict[int, set[str]] = {}
        self.tank_rows = sorted(Tank.objects.filter(room=room).select_related("system"), key=_as_they_stand)
        self.names = _Names()
        self.tanks = {tank.pk: self.names.take(tank.name) for tank in self.tank_rows}
        keys = list(self.tanks)
        self.signs = list(TankSign.objects.filter(tank__in=keys, on__lte=last))
        self.checks = list(TankCheck.objects.filter(tank__in=keys, on__lte=last))
        about = [one.on for one in self.signs if one.condition in ("", condition or "")]
        self.first = first or self._reach(about)
        self.first = min(self.first, last)

    def _reach(self, days: list[dt.date]) -> dt.date:
        first = min([self.last - REACH, *(day - BEFORE_FIRST_SIGN for day in days)])
        return max(first, self.last - FARTHEST)

    def record(self) -> Record:
        self._tanks()
        self._fish()
        self._groups()
        self._seen()
        room = core.Room(
            name=_plain(self.row.name) or "room",
            first=self.first,
            last=self.last,
            condition=self.condition,
            **{name: tuple(row for row, _ in self.rows[name]) for name in _TABLES},
            feeds={row.id: row.tanks for row, _ in self.rows["feeds"]},
        )
        room = self._without_clashes(room)
        tanks = {self.tanks[tank.pk]: tank for tank in self.tank_rows if self.tanks[tank.pk] in _ids(room.tanks)}
        left_out, counted = (tuple(dict.fromkeys(said)) for said in (self.left_out, self.counted))
        return Record(room, tanks, self.systems, self.batches, left_out, counted, self._others(), self.impossible)

    # --- tanks and fish ---------------------------------------------------------------------------------------------

    def _tanks(self) -> None:
        self.systems = {self.names.take(row.name, of="system"): row for row in System.objects.filter(room=self.row)}
        systems = {row.pk: id for id, row in self.systems.items()}
        for id in self.systems:
            self.rows["systems"].append((core.System(id), f"System {id}"))
        for tank in self.tank_rows:
            id = self.tanks[tank.pk]
            system = systems.get(tank.system_id or 0)
            made = core.Tank(
                id=id,
                system=system,
                rack=system or "own water",
                row=tank.row or None,
                place=tank.place or None,
                volume_l=tank.volume_l if tank.volume_l and tank.volume_l > 0 else None,
                order=tank.turn,
                since=tank.since if tank.since and tank.since > self.first else None,
            )
            if tank.since is not None and tank.since > self.last:
                self.left_out.append(f"{id} is set up only on {day_words(tank.since)}, after this record.")
                continue
            self.rows["tanks"].append((made, f"Tank {id}"))

    def _fish(self) -> None:
        """Moves up to the first day give what stood there; later ones are the record's own."""
        moves = [move for move in moves_of(list(self.tanks)) if move.on <= self.last]
        stock = Stock()
        lots: dict[tuple[int, int], _Lot] = defaultdict(_Lot)
        began = False
        for move in sorted(moves, key=lambda one: (one.on, one.from_tank_id is not None, one.pk)):
            if not began and move.on >= self.first:
                self._standing(stock, lots)
                began = True
            if move.kind != "fish":
                if move.on >= self.first:
                    self._contact(move)
                continue
            before = stock.arrived.get(move.batch_id or 0, 0)
            try:
                stock.apply(move)
            except Refused as refused:
                self.left_out.append(f"A move on {day_words(move.on)} is left out. {refused}")
                continue
            if move.on >= self.first and move.batch is not None:
                self._moved(move, move.batch, before, lots)
        if not began:
            self._standing(stock, lots)
        placed = {move.batch_id for move in moves if move.kind == "fish"}
        for batch in Batch.objects.filter(room=self.row).exclude(pk__in=[pk for pk in placed if pk]):
            self.left_out.append(f"{_opening(str(batch))} were put into no tank, so they are left out.")

    def _standing(self, stock: Stock, lots: dict[tuple[int, int], _Lot]) -> None:
        died = dict.fromkeys(self.tanks, 0)
        for sign in self.signs:
            if sign.kind == "deaths" and sign.on < self.first:
                died[sign.tank_id] += sign.number or 0
        for pk in self.tanks:
            held = stock.in_tank(pk)
            for lot in held:
                number = lot.number
                if number is not None and len(held) == 1:
                    number = max(1, number - died[pk])  # fish were seen in it since, so one is left at least
                self._batch(lot.batch, pk, lot.since, number, lots)

    def _batch(self, row: Batch, pk: int, on: dt.date, number: int | None, lots: dict[tuple[int, int], _Lot]) -> None:
        arrived = on if on >= self.first else row.arrived or on
        origin = _plain(row.origin)
        id = self.names.take(f"{row.species} {self.tanks[pk]}", of="batch")
        made = core.Batch(
            id=id,
            species=_plain(row.species) or "not stated",
            tank=self.tanks[pk],
            origin=origin,
            delivery=f"{origin} {(row.arrived or arrived).isoformat()}" if origin else "",
            arrived=arrived,
            number=number or None,
        )
        self.rows["batches"].append((made, f"{_opening(str(row))} in {self.tanks[pk]}"))
        self.batches[id] = row
        lots[pk, row.pk].parts[id] = number

    def _moved(self, move: Move, batch: Batch, arrived_before: int, lots: dict[tuple[int, int], _Lot]) -> None:
        source, goal = (self.tanks.get(pk or 0) for pk in (move.from_tank_id, move.to_tank_id))
        number = move.number
        if source is None and goal is not None and move.to_tank_id is not None:
            if move.from_tank is not None:
                self.counted.append(
                    f"{_opening(str(batch))} came from {move.from_tank.name} in another room: they count as a delivery."
                )
            elif number is None and batch.number is not None:
                number = max(0, batch.number - arrived_before)
            self._batch(batch, move.to_tank_id, move.on, number, lots)
            return
        if source is None or move.from_tank_id is None:
            return
        lot = lots[move.from_tank_id, batch.pk]
        for id, taken in _taken(lot.parts, number):
            words = f"{_opening(str(batch))} out of {source} on {day_words(move.on)}"
            if goal is None:
                made: Any = core.Departure(on=move.on, tank=source, number=taken, batch=id)
                self.rows["departures"].append((made, words))
            else:
                made = core.Move(on=move.on, from_tank=source, to_tank=goal, number=taken, batch=id)
                self.rows["moves"].append((made, words))
                there = lots[move.to_tank_id or 0, batch.pk].parts
                left = lot.parts[id] if taken is None else taken
                known = there.get(id, 0)
                there[id] = None if left is None or known is None else known + left
            _lessen(lot.parts, id, taken)

    def _contact(self, move: Move) -> None:
        source, goal = (self.tanks.get(pk or 0) for pk in (move.from_tank_id, move.to_tank_id))
        words = f"{move.get_kind_display().capitalize()} on {day_words(move.on)}"
        if source is None or goal is None:
            self.left_out.append(f"{words} is left out: one of the tanks stands in another room.")
            return
        kind: Any = move.kind
        self.rows["contacts"].append((core.Contact(on=move.on, from_tank=source, to_tank=goal, kind=kind), words))

    # --- what tanks share, and what was seen ------------------------------------------------------------------------

    def _groups(self) -> None:
        members: dict[int, list[str]] = defaultdict(list)
        for one in TankInGroup.objects.filter(group__room=self.row).order_by("tank__order", "tank__name"):
            if one.tank_id in self.tanks:
                members[one.group_id].append(self.tanks[one.tank_id])
        for group in TankGroup.objects.filter(room=self.row):
            tanks, words = tuple(members[group.pk]), _opening(f"{group.get_kind_display()} {group.name}".strip())
            if not tanks:
                self.left_out.append(f"{words} names no tank of this room.")
                continue
            self._group(group, tanks, words)

    def _group(self, group: TankGroup, tanks: tuple[str, ...], words: str) -> None:
        since, until = group.since, group.until
        outside = (since is not None and since > self.last) or (until is not None and until < self.first)
        if outside and group.kind != "feed":
            self.left_out.append(f"{words} lies outside this record, {_span(self.first, self.last)}.")
        elif group.kind == "tool":
            id = self.names.take(group.name, of="tool")
            self.rows["tools"].append((core.Tool(id=id, tanks=tanks, since=since, until=until), words))
        elif group.kind == "worker":
            self.rows["workers"].append((core.Worker(id=self.names.take(group.name, of="worker"), tanks=tanks), words))
        elif group.kind == "feed":
            self.rows["feeds"].append((_Feed(self.names.take(group.name, of="feed"), tanks), words))
        else:
            begin, end = max(since or self.first, self.first), min(until or self.last, self.last)
            every = group.every_days or 1
            if since is not None and since < begin:  # the rhythm of the watch goes on from its own first day
                begin += dt.timedelta(days=-(begin - since).days % every)
            if begin <= end:
                watch = core.Watch(tanks=tanks, since=begin, until=end, every_days=every)
                self.rows["watches"].append((watch, words))

    def _seen(self) -> None:
        cases = evidence_of_cases(list(self.tanks), self.condition, self.first, self.last, self.tables)
        self.left_out += cases.left_out
        other = {one.tank_id for one in self.signs if one.condition and one.condition != self.condition}
        self.by_cases = cases.other_causes
        other |= {pk for pk, causes in self.by_cases.items() if causes}
        this = {one.tank_id for one in self.signs if one.condition and one.condition == self.condition}
        this |= {one.tank_id for one in self.checks if one.found and one.condition == self.condition}
        elsewhere = other - this if self.condition else set()
        self._own_signs(elsewhere)
        self._own_checks()
        had = {sighting.tank: sighting.on for sighting, _ in reversed(self.rows["sightings"])}
        for found in cases.signs:
            id = self.tanks[found.tank]
            if (found.further and id in had) or (id in had and had[id] <= found.on):
                continue
            made = core.Sighting(tank=id, on=found.on, kind="signs")
            self.rows["sightings"].append((made, found.words))
            had[id] = found.on
            self.counted.append(f"{found.words} counts as signs in {id} from {day_words(found.on)}.")
        checked = {(check.tank, check.on, check.examination) for check, _ in self.rows["checks"]}
        for look in cases.checks:
            id = self.tanks[look.tank]
            if (id, look.on, look.examination) in checked:
                continue
            made_check = core.Check(
                tank=id, on=look.on, seen=look.seen, examination=look.examination, fish=look.fish or None
            )
            self.rows["checks"].append((made_check, look.words))
            self.counted.append(f"{look.words} counts as a check of {id} on {day_words(look.on)}.")

    def _others(self) -> dict[str, tuple[str, ...]]:
        """Other conditions by tank: of signs and checks, and of cases that are open."""
        found: dict[int, set[str]] = defaultdict(set)
        for pk, causes in self.by_cases.items():
            found[pk] |= causes
        seen = [*self.signs, *(check for check in self.checks if check.found)]
        for row in seen:
            if row.on >= self.first and row.condition:
                found[row.tank_id].add(row.condition)
        for causes in found.values():
            causes.discard(self.condition or "")
            causes &= set(self.tables.incubations)
        return {self.tanks[pk]: tuple(sorted(causes)) for pk, causes in found.items() if causes}

    def _own_signs(self, elsewhere: set[int]) -> None:
        merged: dict[tuple[int, dt.date, str, str], TankSign] = {}
        unnamed, passed = set(), set()
        for sign in sorted(self.signs, key=lambda one: (one.on, one.pk)):
            if sign.on < self.first or (sign.condition and self.condition and sign.condition != self.condition):
                continue
            if not sign.condition and sign.tank_id in elsewhere:
                passed.add(self.tanks[sign.tank_id])
                continue
            if not sign.condition:
                unnamed.add(self.tanks[sign.tank_id])
            key = (sign.tank_id, sign.on, sign.kind, self._cause(sign))
            self.sign_keys[self.tanks[sign.tank_id], sign.on, sign.kind].append(sign.pk)
            if key in merged:
                _merge(merged[key], sign)
            else:
                merged[key] = sign
        for sign in merged.values():
            tank: str = self.tanks[sign.tank_id]
            kind: Any = sign.kind
            made = core.Sighting(
                tank=tank,
                on=sign.on,
                kind=kind,
                number=sign.number or None,
                not_before=sign.not_before,
                condition=self._cause(sign) or None,
            )
            self.rows["sightings"].append((made, f"{sign.get_kind_display().capitalize()} in {tank} on "
                                                 f"{day_words(sign.on)}"))  # fmt: skip
        if unnamed and self.condition:
            self.counted.append(f"Signs put down to no cause count here: {', '.join(sorted(unnamed))}.")
        if passed:
            self.left_out.append(
                f"Signs put down to no cause are left out where another cause is known: {', '.join(sorted(passed))}."
            )

    def _cause(self, row: TankSign | TankCheck) -> str:
        """What a row is put down to, where no condition is followed; else all that is left is of that one."""
        return "" if self.condition else row.condition

    def _own_checks(self) -> None:
        merged: dict[tuple[int, dt.date, str, str], TankCheck] = {}
        for check in sorted(self.checks, key=lambda one: (one.on, one.pk)):
            if check.on < self.first or (check.condition and self.condition and check.condition != self.condition):
                continue
            known = merged.setdefault((check.tank_id, check.on, check.examination, self._cause(check)), check)
            if known is not check:
                known.found = known.found or check.found
                known.fish = max(known.fish or 1, check.fish or 1)
        for check in merged.values():
            tank = self.tanks[check.tank_id]
            made = core.Check(
                tank=tank,
                on=check.on,
                seen=check.found,
                examination=check.examination,
                fish=check.fish or None,
                condition=self._cause(check) or None,
            )
            self.rows["checks"].append((made, f"The check of {tank} on {day_words(check.on)}"))

    # --- what cannot be so ------------------------------------------------------------------------------------------

    def _without_clashes(self, room: core.Room) -> core.Room:
        """The room without rows that cannot be so, each told; a row left out can make another one impossible."""
        for _ in range(ROUNDS):
            fatal = [clash for clash in check_room(room, self.tables, most=None) if clash.fatal]
            wrong: dict[str, dict[int, str]] = defaultdict(dict)
            for clash in fatal:
                if clash.index is not None:
                    said = f"{clash.column} {clash.message}" if clash.column else clash.message
                    wrong[clash.table].setdefault(clash.index, said)
            if not wrong:
                return room
            for table, rows in wrong.items():
                if table == "sightings":
                    self._impossible(rows)
                kept = [one for index, one in enumerate(self.rows[table]) if index not in rows]
                self.left_out += [
                    f"{self.rows[table][index][1]} is left out: {said.replace('_', ' ')}."
                    for index, said in sorted(rows.items())
                ]
                self.rows[table] = kept
                room = with_rows(room, table, tuple(row for row, _ in kept))
        raise Refused("This room's record contradicts itself in too many places to be used; mend its moves first.")

    def _impossible(self, rows: dict[int, str]) -> None:
        for index, said in rows.items():
            sighting = self.rows["sightings"][index][0]
            for key in self.sign_keys[sighting.tank, sighting.on, sighting.kind]:
                self.impossible[key] = said


_TABLES: Final = ("systems", "tanks", "batches", "moves", "departures", "contacts", "tools", "workers", "watches",
                  "sightings", "checks")  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Feed:
    id: str
    tanks: tuple[str, ...]


class _Names:
    """Ids for the record: names on one line, without the mark that parts lists, each once in its table."""

    def __init__(self) -> None:
        self.taken: dict[str, set[str]] = defaultdict(set)

    def take(self, name: str, *, of: str = "tank") -> str:
        plain = _plain(name) or of
        id, n = plain, 1
        while id in self.taken[of]:
            n += 1
            id = f"{plain} {n}"
        self.taken[of].add(id)
        return id


def _as_they_stand(tank: Tank) -> tuple[bool, int, str, int, str]:
    """Rack by rack, those without a system last."""
    system = tank.system
    order, name = (system.order, system.name) if system is not None else (0, "")
    return system is None, order, name, tank.order, tank.name


def _plain(text: str) -> str:
    kept = "".join(one if one.isprintable() else " " for one in text.replace(LIST_MARK, ","))
    return " ".join(kept.split())[: LONGEST - 10].strip()


def _ids(rows: Iterable[core.Tank]) -> set[str]:
    return {row.id for row in rows}


def _opening(text: str) -> str:
    return _plain(text[:1].upper() + text[1:])


def _span(first: dt.date, last: dt.date) -> str:
    return f"{day_words(first)} to {day_words(last)}"


def _taken(parts: dict[str, int | None], number: int | None) -> list[tuple[str, int | None]]:
    """Of which of the record's batches so many fish were: those that were there longest first."""
    if number is None:
        return [(id, None) for id in parts]
    if len(parts) < 2 or None in parts.values():
        return [(id, number) for id in list(parts)[:1]]
    found: list[tuple[str, int | None]] = []
    for id, there in parts.items():
        if number and there:
            found.append((id, min(there, number)))
            number -= min(there, number)
    return found


def _lessen(parts: dict[str, int | None], id: str, taken: int | None) -> None:
    there = parts.get(id)
    if taken is None or there == taken:
        parts.pop(id, None)
    elif there is not None:
        parts[id] = there - taken


def _merge(known: TankSign, also: TankSign) -> None:
    """Two entries of one day: deaths add up, of signs the greater number stands."""
    if known.kind == "deaths":
        known.number = None if known.number is None or also.number is None else known.number + also.number
    elif also.number is not None:
        known.number = max(known.number or 0, also.number)
    if also.not_before is not None:
        known.not_before = max(known.not_before or also.not_before, also.not_before)
