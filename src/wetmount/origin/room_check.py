"""Whether what a room says can be so: ids that exist, dates within the record, fish where fish are taken from.

Every clash is one sentence about one row. Fatal: the room cannot be used. Not fatal: a note, worth a second look.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from datetime import date as Date
from datetime import timedelta
from typing import Any, Final

from msgspec import structs

from wetmount.case_check import MAX_PROBLEMS, nearest, shorten
from wetmount.origin.room import Room, Tank
from wetmount.origin.room_rows import LIST_MARK, LONGEST, TABLES, rows_of
from wetmount.origin.stock import Clash, Stock, stock_in_time
from wetmount.reference import Reference

MOST_DAYS: Final = 3660
"""Ten years. An outbreak is weeks; a record of centuries is a slip of the pen that would only keep the machine busy."""
EARLIEST, LATEST = 1900, 2200
"""Years of a record."""

Found = Iterator[tuple[int | None, str | None, str, bool]]
"""(row index, column, sentence, fatal) of each clash of one table."""


def check_room(room: Room, reference: Reference | None = None, *, most: int | None = MAX_PROBLEMS) -> tuple[Clash, ...]:
    """The clashes and notes of a room, in the order of its tables, up to `most` (None: all of them).

    Ids of conditions and examinations are checked only when the reference is given.
    """
    clashes = list(_room(room, reference))
    if any(clash.column in ("first", "last") for clash in clashes):
        return tuple(clashes)  # without its days nothing else can be judged
    known = _Known(room, reference)
    checks = {
        "systems": _systems,
        "tanks": _tanks,
        "batches": _batches,
        "moves": _moves,
        "departures": _departures,
        "contacts": _contacts,
        "tools": _tools,
        "workers": _of_tanks,
        "watches": _watches,
        "sightings": _sightings,
        "checks": _checks,
        "feeds": _of_tanks,
    }
    found: dict[str, list[Clash]] = {}
    for table in TABLES:
        rows = rows_of(room, table)
        found[table] = [Clash(table, index, column, message) for index, column, message in _texts(rows)]
        found[table] += [Clash(table, *one) for one in checks[table](rows, known, table)]
    # What is wrong in itself takes part in no further sum, and is not told a second time for its fish.
    wrong = {
        (table, clash.index) for table in TABLES for clash in found[table] if clash.fatal and clash.index is not None
    }
    stock = stock_in_time(room, wrong)
    for clash in (*stock.clashes, *_too_many(room, stock, wrong)):
        found[clash.table].append(clash)
    for table in TABLES:
        clashes += sorted(found[table], key=lambda clash: -1 if clash.index is None else clash.index)
    if most is not None and len(clashes) > most:
        more = f"has more wrong than these {most} problems; mend them first"
        return (*clashes[:most], Clash(clashes[most].table, None, None, more))
    return tuple(clashes)


class _Known:
    """What rows may refer to."""

    def __init__(self, room: Room, reference: Reference | None) -> None:
        self.room = room
        self.tanks: dict[str, Tank] = {tank.id: tank for tank in room.tanks}
        self.systems = {system.id for system in room.systems}
        self.batches = {batch.id: batch for batch in room.batches}
        self.conditions = None if reference is None else reference.conditions
        self.examinations = None if reference is None else reference.examinations

    def tank(self, index: int, column: str, id: str, on: Date | None = None) -> Found:
        """A tank that exists, and did on the day."""
        if id not in self.tanks:
            yield index, column, f'is "{shorten(id)}", which is no tank of this room; {_guess(id, self.tanks)}', True
            return
        since = self.tanks[id].since
        if on is not None and since is not None and on < since:
            yield index, column, f"is {id}, which was set up on {since}, after {on}", True

    def listed(self, index: int, ids: tuple[str, ...]) -> Found:
        """A list of tanks that exist, each once."""
        if not ids:
            yield index, "tanks", "is empty; name at least one tank", True
        for id in dict.fromkeys(ids):
            yield from self.tank(index, "tanks", id)
            if ids.count(id) > 1:
                yield index, "tanks", f"names {id} {ids.count(id)} times; once is enough", False

    def day(self, index: int, on: Date, column: str = "on") -> Found:
        """A day within the record."""
        room = self.room
        if not room.first <= on <= room.last:
            yield index, column, f"is {on}, outside the record ({room.first} to {room.last})", True

    def batch(self, index: int, id: str | None, on: Date) -> Found:
        if id is None:
            return
        if id not in self.batches:
            yield (
                index,
                "batch",
                f'is "{shorten(id)}", which is no batch of this room; {_guess(id, self.batches)}',
                True,
            )
            return
        arrived = self.batches[id].arrived
        if arrived is not None and on < arrived:
            yield index, "batch", f"is {id}, which arrived on {arrived}, after {on}", True

    def condition(self, index: int, id: str | None) -> Found:
        if id is not None and self.conditions is not None and id not in self.conditions:
            yield index, "condition", _no_condition(id, self.conditions), True


# --- the room and its texts -------------------------------------------------------------------------------------------


def _room(room: Room, reference: Reference | None) -> Iterator[Clash]:
    if not room.name or room.name != room.name.strip() or not room.name.isprintable() or len(room.name) > LONGEST:
        yield Clash("room", None, "name", f"is no single line of 1 to {LONGEST} characters without space around it")
    for column, day in (("first", room.first), ("last", room.last)):
        if not EARLIEST <= day.year <= LATEST:
            yield Clash("room", None, column, f"is {day}; accepted are the years {EARLIEST} to {LATEST}")
            return
    if room.last < room.first:
        yield Clash("room", None, "last", f"is {room.last}, before first ({room.first})")
    elif room.days > MOST_DAYS:
        yield Clash("room", None, "last", f"makes {room.days} days from first; accepted are at most {MOST_DAYS}")
    if not room.tanks:
        yield Clash("tanks", None, None, "are none yet; a room needs them before anything else", fatal=False)
    if room.condition is not None and reference is not None and room.condition not in reference.conditions:
        yield Clash("room", None, "condition", _no_condition(room.condition, reference.conditions))


def _no_condition(id: str, conditions: Collection[str]) -> str:
    guess = nearest(id, conditions) or "`wetmount reference show conditions` lists them"
    return f'is "{shorten(id)}", which is no condition of the reference; {guess}'


def _texts(rows: Iterable[Any]) -> Iterator[tuple[int, str, str]]:
    """Texts that would not come back from a file as they are."""
    for index, row in enumerate(rows):
        for column, value in structs.asdict(row).items():
            texts = value if isinstance(value, tuple) else (value,)
            for text in texts:
                if not isinstance(text, str):
                    continue
                if text != text.strip() or not text.isprintable() or len(text) > LONGEST:
                    yield index, column, f"is no single line of at most {LONGEST} characters without space around it"
                elif (column == "id" or isinstance(value, tuple)) and (not text or LIST_MARK in text):
                    yield index, column, f'is "{shorten(text)}"; a name has at least one character and no "{LIST_MARK}"'


def _guess(id: str, known: Collection[str]) -> str:
    if not known:
        return "there is none yet"
    return nearest(id, known) or f"there are {', '.join(list(known)[:12])}{' …' if len(known) > 12 else ''}"


# --- one table each ---------------------------------------------------------------------------------------------------


def _once(rows: tuple[Any, ...]) -> Found:
    seen: dict[str, int] = {}
    for index, row in enumerate(rows):
        if row.id in seen:
            yield index, "id", f'is "{shorten(row.id)}", which is taken already; each has a name of its own', True
        seen.setdefault(row.id, index)


def _twice(rows: tuple[Any, ...]) -> Found:
    """Rows that say the same again, which for moves and contacts may be meant."""
    seen: set[Any] = set()
    for index, row in enumerate(rows):
        if row in seen:
            yield index, None, "says the same as a row before it; take it out unless it happened twice", False
        seen.add(row)


def _at_least(index: int, column: str, value: float | None, least: float) -> Found:
    if value is not None and value < least:
        yield index, column, f"is {value:g}; accepted is {least:g} or more", True


def _systems(rows: tuple[Any, ...], known: _Known, table: str) -> Found:
    yield from _once(rows)


def _tanks(rows: tuple[Any, ...], known: _Known, table: str) -> Found:
    yield from _once(rows)
    places: dict[tuple[str | None, int | None, int], str] = {}
    for index, tank in enumerate(rows):
        if tank.system is not None and tank.system not in known.systems:
            guess = _guess(tank.system, known.systems)
            yield index, "system", f'is "{shorten(tank.system)}", which is no system of this room; {guess}', True
        for column, least in (("row", 1), ("place", 1), ("order", 0)):
            yield from _at_least(index, column, getattr(tank, column), least)
        if tank.volume_l is not None and not 0 < tank.volume_l <= 1e7:
            yield index, "volume_l", f"is {tank.volume_l:g} L; accepted is more than 0 and at most 10000000 L", True
        if tank.since is not None and tank.since > known.room.last:
            yield index, "since", f"is {tank.since}, after the end of the record ({known.room.last})", True
        if tank.place is not None:
            taken = places.setdefault((tank.rack, tank.row, tank.place), tank.id)
            if taken != tank.id:
                yield index, "place", f"is {tank.place}, where {taken} stands", True


def _batches(rows: tuple[Any, ...], known: _Known, table: str) -> Found:
    yield from _once(rows)
    for index, batch in enumerate(rows):
        room = known.room
        arrived = batch.arrived or room.first
        yield from known.tank(index, "tank", batch.tank, max(arrived, room.first))
        yield from _at_least(index, "number", batch.number, 1)
        if arrived > room.last:
            yield index, "arrived", f"is {arrived}, after the end of the record ({room.last})", True


def _moves(rows: tuple[Any, ...], known: _Known, table: str) -> Found:
    for index, move in enumerate(rows):
        yield from _from_to(index, move, known)
        yield from _at_least(index, "number", move.number, 1)
        yield from known.batch(index, move.batch, move.on)
    yield from _twice(rows)


def _from_to(index: int, row: Any, known: _Known) -> Found:
    yield from known.day(index, row.on)
    yield from known.tank(index, "from_tank", row.from_tank, row.on)
    yield from known.tank(index, "to_tank", row.to_tank, row.on)
    if row.from_tank == row.to_tank:
        yield index, "to_tank", f"is {row.to_tank}, the tank it comes from", True


def _departures(rows: tuple[Any, ...], known: _Known, table: str) -> Found:
    for index, gone in enumerate(rows):
        yield from known.day(index, gone.on)
        yield from known.tank(index, "tank", gone.tank, gone.on)
        yield from _at_least(index, "number", gone.number, 1)
        yield from known.batch(index, gone.batch, gone.on)
    yield from _twice(rows)


def _contacts(rows: tuple[Any, ...], known: _Known, table: str) -> Found:
    for index, contact in enumerate(rows):
        yield from _from_to(index, contact, known)
    yield from _twice(rows)


def _tools(rows: tuple[Any, ...], known: _Known, table: str) -> Found:
    yield from _of_tanks(rows, known, table)
    for index, tool in enumerate(rows):
        if tool.since is not None and tool.until is not None and tool.until < tool.since:
            yield index, "until", f"is {tool.until}, before since ({tool.since})", True


def _of_tanks(rows: tuple[Any, ...], known: _Known, table: str) -> Found:
    yield from _once(rows)
    for index, row in enumerate(rows):
        yield from known.listed(index, row.tanks)


def _watches(rows: tuple[Any, ...], known: _Known, table: str) -> Found:
    for index, watch in enumerate(rows):
        yield from known.listed(index, watch.tanks)
        yield from known.day(index, watch.since, "since")
        yield from known.day(index, watch.until, "until")
        if watch.until < watch.since:
            yield index, "until", f"is {watch.until}, before since ({watch.since})", True
        yield from _at_least(index, "every_days", watch.every_days, 1)
        for id in dict.fromkeys(watch.tanks):
            if id in known.tanks:
                yield from known.tank(index, "tanks", id, watch.until)


def _sightings(rows: tuple[Any, ...], known: _Known, table: str) -> Found:
    seen: dict[tuple[Any, ...], int] = {}
    for index, sighting in enumerate(rows):
        yield from known.day(index, sighting.on)
        yield from known.tank(index, "tank", sighting.tank, sighting.on)
        yield from known.condition(index, sighting.condition)
        yield from _at_least(index, "number", sighting.number, 1)
        if sighting.not_before is not None and sighting.not_before > sighting.on:
            yield index, "not_before", f"is {sighting.not_before}, after on ({sighting.on})", True
        key = (sighting.tank, sighting.on, sighting.kind, sighting.condition)
        if key in seen:
            yield index, "on", f"has {sighting.kind} in {sighting.tank} on {sighting.on} a second time", True
        seen.setdefault(key, index)


def _checks(rows: tuple[Any, ...], known: _Known, table: str) -> Found:
    seen: dict[tuple[Any, ...], bool] = {}
    for index, check in enumerate(rows):
        yield from known.day(index, check.on)
        yield from known.tank(index, "tank", check.tank, check.on)
        yield from known.condition(index, check.condition)
        yield from _at_least(index, "fish", check.fish, 1)
        if known.examinations is not None and check.examination not in known.examinations:
            guess = nearest(check.examination, known.examinations) or f"there are {', '.join(known.examinations)}"
            yield index, "examination", f'is "{shorten(check.examination)}", which is no examination; {guess}', True
        key = (check.tank, check.on, check.examination, check.condition)
        if key in seen:
            again = "a second time" if seen[key] == check.seen else "with another result too"
            yield index, "on", f"has {check.examination} of {check.tank} on {check.on} {again}; one row is enough", True
        seen.setdefault(key, check.seen)


# --- numbers of fish --------------------------------------------------------------------------------------------------


def _too_many(room: Room, stock: Stock, wrong: Collection[tuple[str, int]]) -> Iterator[Clash]:
    """No more fish ill or examined than there were, and none in an empty tank."""
    counted = [
        ("sightings", index, "number", row.tank, row.on, row.number, "with signs")
        for index, row in enumerate(room.sightings)
        if row.kind == "signs"
    ]
    counted += [
        ("checks", index, "fish", row.tank, row.on, row.fish, "examined") for index, row in enumerate(room.checks)
    ]
    for table, index, column, tank, on, number, done in counted:
        most = None if (table, index) in wrong else _most(stock, tank, on)
        if most == 0:
            yield Clash(table, index, "tank", f"is {tank}, which held no fish on {on}; add the batch that was in it")
        elif most is not None and number is not None and number > most:
            yield Clash(table, index, column, f"is {number} fish {done}, more than the {most} that {tank} held on {on}")


def _most(stock: Stock, tank: str, on: Date) -> int | None:
    """Most fish that can have been in a tank in the morning or evening of a day; None without a bound."""
    before = on if on <= stock.room.first else on - timedelta(days=1)
    counts = [stock.between(tank, day) for day in (before, on)]
    highs = [count.high for count in counts if count is not None and count.high is not None]
    return max(highs) if len(highs) == len(counts) else None
