"""How many fish of which batch stood in each tank on each day, and which rows of the record cannot be so.

Numbers that nobody counted are kept as the least and most they can be. Of one day, arrivals come first, then moves in
any order in which they can have followed one another, then fish that left, then deaths; deaths come first in a tank
that was emptied that day ("all moved" means all that still lived).
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date as Date
from typing import Final

from wetmount.origin.room import Batch, Departure, Move, Room, Sighting


@dataclass(frozen=True, slots=True)
class Count:
    """A number of fish that is at least `low` and at most `high`; `high` is None when there is no bound."""

    low: int
    high: int | None

    @property
    def exact(self) -> int | None:
        """The number, when it is known."""
        return self.low if self.low == self.high else None

    def __str__(self) -> str:
        if self.exact is not None:
            return str(self.exact)
        return f"at least {self.low}" if self.high is None else f"{self.low} to {self.high}"


NONE: Final = Count(0, 0)


@dataclass(frozen=True, slots=True)
class Clash:
    """A row of the record that cannot be so. `index` counts the rows of `table` from 0; None is the table itself."""

    table: str
    index: int | None
    column: str | None
    message: str
    fatal: bool = True


@dataclass(frozen=True, slots=True)
class Stock:
    """The fish of a room in time.

    `counted` is False for a room without batches: then nothing is known of any tank's fish, and nothing can clash.
    """

    room: Room
    counted: bool
    clashes: tuple[Clash, ...]
    _days: dict[str, list[tuple[Date, Count, dict[str, Count]]]]

    def between(self, tank: str, on: Date) -> Count | None:
        """Least and most fish in a tank at the end of a day; None when the room's fish were not noted."""
        return self._at(tank, on)[0] if self.counted else None

    def number(self, tank: str, on: Date) -> int | None:
        """Fish in a tank at the end of a day; None when unknown."""
        count = self.between(tank, on)
        return None if count is None else count.exact

    def batches(self, tank: str, on: Date) -> dict[str, Count]:
        """Batches in a tank at the end of a day with the number of each."""
        return dict(self._at(tank, on)[1])

    def changes(self, tank: str) -> tuple[tuple[Date, Count], ...]:
        """Days on which fish came, left or died, in order, with the fish at the end of each."""
        return tuple((on, count) for on, count, _ in self._days.get(tank, []))

    def held(self, tank: str, until: Date) -> tuple[str, ...]:
        """Batches that were in a tank at any time up to the end of a day, the first one first."""
        seen: dict[str, None] = {}
        for on, _, lots in self._days.get(tank, []):
            if on > until:
                break
            seen.update(dict.fromkeys(lots))
        return tuple(seen)

    def _at(self, tank: str, on: Date) -> tuple[Count, dict[str, Count]]:
        days = self._days.get(tank, [])
        place = bisect_right(days, on, key=lambda one: one[0])
        return (NONE, {}) if not place else days[place - 1][1:]


def stock_in_time(room: Room, without: Collection[tuple[str, int]] = ()) -> Stock:
    """Go through a room's record day by day. Rows that cannot be so are passed over and told in `clashes`.

    `without` names rows, as (table, index), that are wrong for another reason and passed over from the start.
    """
    keeping = _Keeping(room, frozenset(without))
    if room.batches:
        keeping.run()
    return Stock(room, bool(room.batches), tuple(keeping.clashes), keeping.days)


class _ImpossibleError(Exception):
    """The row asks for fish that were not there; the message is the rest of the sentence."""

    def __init__(self, column: str, message: str) -> None:
        self.column = column
        super().__init__(message)


class _Water:
    """What stands in one tank: the number of each batch and of all together."""

    def __init__(self) -> None:
        self.total = NONE
        self.lots: dict[str, Count] = {}

    def put(self, fish: dict[str, Count], total: Count) -> None:
        for batch, count in fish.items():
            self.lots[batch] = _plus(self.lots.get(batch, NONE), count)
        self.total = _plus(self.total, total)
        self._tighten()

    def take(self, number: int | None, batch: str | None) -> tuple[dict[str, Count], Count]:
        """Fish out, of one batch or of whatever there is; None takes all. The caller has asked `lack` before."""
        if batch is None and number is None:
            lots, total = self.lots, self.total
            self.lots, self.total = {}, NONE
            return lots, total
        if batch is None:
            assert number is not None
            taken = {one: Count(0, _least(count.high, number)) for one, count in self.lots.items()}
            if len(taken) == 1:
                taken = {one: Count(number, number) for one in taken}
            self.lots = {one: _minus(count, taken[one]) for one, count in self.lots.items()}
        else:
            lot = self.lots.pop(batch)
            taken = {batch: lot if number is None else Count(number, number)}
            left = _minus(lot, taken[batch]) if number is not None else NONE
            if left != NONE:
                self.lots[batch] = left
        whole = Count(number, number) if number is not None else next(iter(taken.values()))
        self.total = _minus(self.total, whole)
        self._tighten()
        return taken, whole

    def die(self, number: int | None) -> None:
        dead = Count(1, self.total.high) if number is None else Count(number, number)
        each = dead if len(self.lots) == 1 else Count(0, dead.high)
        self.lots = {one: _minus(count, each) for one, count in self.lots.items()}
        self.total = _minus(self.total, dead)
        self._tighten()

    def _tighten(self) -> None:
        """The total and its parts bound each other; a batch of which none can be left is gone."""
        lots = self.lots
        for _ in range(2):
            low = max(self.total.low, sum(count.low for count in lots.values()))
            high = _least(self.total.high, _sum_high(lots.values()))
            self.total = Count(low if high is None else min(low, high), high)
            for one in list(lots):
                others = [count for other, count in lots.items() if other != one]
                rest = _sum_high(others)
                least = 0 if rest is None else max(0, self.total.low - rest)
                top = self.total.high
                most = _least(lots[one].high, None if top is None else top - sum(count.low for count in others))
                most = None if most is None else max(0, most)
                low = max(lots[one].low, least)
                lots[one] = Count(low if most is None else min(low, most), most)
        self.lots = {one: count for one, count in lots.items() if count != NONE}


_Event = tuple[str, int, Batch | Move | Departure | Sighting]
"""A row of the record with its table and index."""


class _Keeping:
    """The tanks of a room while its record is gone through."""

    def __init__(self, room: Room, without: frozenset[tuple[str, int]]) -> None:
        self.room = room
        self.without = without
        self.tanks: dict[str, _Water] = defaultdict(_Water)
        self.days: dict[str, list[tuple[Date, Count, dict[str, Count]]]] = defaultdict(list)
        self.clashes: list[Clash] = []
        self.batches: dict[str, Batch] = {batch.id: batch for batch in room.batches}

    def run(self) -> None:
        room = self.room
        events: dict[Date, list[_Event]] = defaultdict(list)
        coming_and_going: list[tuple[str, int, Batch | Move | Departure]] = [
            *(("batches", index, batch) for index, batch in enumerate(room.batches)),
            *(("moves", index, move) for index, move in enumerate(room.moves)),
            *(("departures", index, gone) for index, gone in enumerate(room.departures)),
        ]
        for table, index, row in coming_and_going:
            events[self._day_of(row)].append((table, index, row))
        for index, sighting in enumerate(room.sightings):
            if sighting.kind == "deaths":
                events[sighting.on].append(("sightings", index, sighting))
        for day, found in events.items():
            events[day] = [event for event in found if event[:2] not in self.without]
        for day in sorted(events):
            self._day(day, events[day])

    def _day_of(self, row: Batch | Move | Departure) -> Date:
        if isinstance(row, Batch):
            return self.room.first if row.arrived is None else max(row.arrived, self.room.first)
        return row.on

    def _day(self, day: Date, events: list[_Event]) -> None:
        touched: dict[str, None] = {}
        for _, _, row in events:
            if isinstance(row, Batch):
                count = Count(1, None) if row.number is None else Count(row.number, row.number)
                self.tanks[row.tank].put({row.id: count}, count)
            touched.update(dict.fromkeys([row.from_tank, row.to_tank] if isinstance(row, Move) else [row.tank]))
        emptied = {_tank_of(row) for _, _, row in events if isinstance(row, Move | Departure) and row.number is None}
        deaths = [(index, row) for _, index, row in events if isinstance(row, Sighting)]
        for index, row in deaths:
            if row.tank in emptied:
                self._deaths(index, row)
        waiting = [event for event in events if isinstance(event[2], Move)]
        waiting += [event for event in events if isinstance(event[2], Departure)]
        while waiting:
            later = [event for event in waiting if not self._out(event, day, last=False)]
            if len(later) == len(waiting):
                for event in later:
                    self._out(event, day, last=True)
                break
            waiting = later
        for index, row in deaths:
            if row.tank not in emptied:
                self._deaths(index, row)
        for tank in touched:
            water = self.tanks[tank]
            self.days[tank].append((day, water.total, dict(water.lots)))

    def _out(self, event: _Event, day: Date, *, last: bool) -> bool:
        """Move fish, or let them leave; False when they are not there. `last` makes a clash of that."""
        table, index, row = event
        assert isinstance(row, Move | Departure)
        source = _tank_of(row)
        try:
            self._must_have(source, row.number, row.batch, day)
        except _ImpossibleError as lack:
            if last:
                column = "tank" if lack.column == "from_tank" and isinstance(row, Departure) else lack.column
                self.clashes.append(Clash(table, index, column, str(lack)))
            return False
        fish, total = self.tanks[source].take(row.number, row.batch)
        if isinstance(row, Move):
            self.tanks[row.to_tank].put(fish, total)
        return True

    def _must_have(self, tank: str, number: int | None, batch: str | None, day: Date) -> None:
        water = self.tanks[tank]
        if not water.lots:
            raise _ImpossibleError("from_tank", f"is {tank}, which held no fish on {day}, so none can have left it")
        if batch is None:
            there, what = water.total, "fish"
        elif batch in water.lots:
            there, what = water.lots[batch], f"fish of {batch}"
        else:
            held = ", ".join(water.lots)
            raise _ImpossibleError("batch", f"is {batch}, of which none were in {tank} on {day}; it held {held}")
        if number is not None and there.high is not None and number > there.high:
            most = "at most " if there.exact is None else ""
            raise _ImpossibleError(
                "number", f"is {number}, more than the {most}{there.high} {what} that {tank} held on {day}"
            )

    def _deaths(self, index: int, row: Sighting) -> None:
        water = self.tanks[row.tank]
        if not water.lots:
            message = f"is {row.tank}, which held no fish on {row.on}, so none can have died in it"
            self.clashes.append(Clash("sightings", index, "tank", message))
        elif row.number is not None and water.total.high is not None and row.number > water.total.high:
            most = "at most " if water.total.exact is None else ""
            held = f"the {most}{water.total.high} fish that {row.tank} held on {row.on}"
            message = f"is {row.number} deaths, more than {held}"
            self.clashes.append(Clash("sightings", index, "number", message))
        else:
            water.die(row.number)


def _tank_of(row: Move | Departure) -> str:
    return row.from_tank if isinstance(row, Move) else row.tank


def _plus(a: Count, b: Count) -> Count:
    return Count(a.low + b.low, None if a.high is None or b.high is None else a.high + b.high)


def _minus(a: Count, b: Count) -> Count:
    """What is left of `a` fish when `b` of them are gone."""
    low = 0 if b.high is None else max(0, a.low - b.high)
    return Count(low, None if a.high is None else max(0, a.high - b.low))


def _least(a: int | None, b: int | None) -> int | None:
    known = [value for value in (a, b) if value is not None]
    return min(known) if known else None


def _sum_high(counts: Iterable[Count]) -> int | None:
    total = 0
    for count in counts:
        if count.high is None:
            return None
        total += count.high
    return total
