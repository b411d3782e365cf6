"""The fish that stood in a tank from the day the first came until the day the last was moved or died.

A tank that was emptied and stocked again held two lots of fish that never met. Each is followed by itself: the first
passes nothing on once it is gone, and the second begins without it unless its own fish bring it. Where nobody counted
fish, a tank counts as held from the day it was set up.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date as Date
from datetime import timedelta

from wetmount.origin.room import Room, Tank
from wetmount.origin.stock import Count, Stock, stock_in_time


@dataclass(frozen=True, slots=True)
class Stocking:
    """One stocking of a tank, from day `first` to day `last` of the record, both counted."""

    tank: str
    name: str
    """The tank; with the day it ended when another followed: 'A4 until 2026-10-03'."""
    first: int
    last: int
    """Before `first` for a tank that never held any fish."""
    fish: float | None
    """Mean number over the days on which it is known; None when it never is."""

    def holds(self, day: int) -> bool:
        """Whether there were fish in it on a day."""
        return self.first <= day <= self.last


def find_stockings(room: Room, stock: Stock | None = None) -> tuple[Stocking, ...]:
    """The last stocking of every tank, in the order of the room, then all earlier ones by tank and time.

    A tank into which no fish came is empty, unless something was noted of its fish. Days on which it cannot be told
    whether the last fish are gone count as held.
    """
    stock = stock_in_time(room) if stock is None else stock
    found = [_of_tank(room, stock, tank) for tank in room.tanks]
    earlier = [_named(one, room.first) for lots in found for one in lots[:-1]]
    return (*(lots[-1] for lots in found), *earlier)


class Places:
    """Finds the stocking of a tank by the day, as its place in the list."""

    def __init__(self, held: Sequence[Stocking]) -> None:
        self.held = held
        self.of_tank: dict[str, list[int]] = defaultdict(list)
        """Places by tank, in the order of time."""
        for place in sorted(range(len(held)), key=lambda place: held[place].first):
            self.of_tank[held[place].tank].append(place)

    def on(self, tank: str, day: int) -> int | None:
        """The one that was there on a day; None when the tank was empty. A tank never stocked has one all the same."""
        own = self.of_tank[tank]
        return next((at for at in own if self.held[at].holds(day) or self.held[at].last < self.held[at].first), None)

    def nearest(self, tank: str, day: int) -> int:
        """The same; where the tank was empty the one before that day, else the one that came next."""
        own = self.of_tank[tank]
        found = self.on(tank, day)
        return found if found is not None else ([at for at in own if self.held[at].first <= day] or own[:1])[-1]


def _named(one: Stocking, start: Date) -> Stocking:
    return replace(one, name=f"{one.tank} until {start + timedelta(days=one.last)}")


def _of_tank(room: Room, stock: Stock, tank: Tank) -> list[Stocking]:
    """At least one; in the order of time."""
    since, last = 0 if tank.since is None else max(0, room.day(tank.since)), room.days - 1
    spans = list(_spans(room, stock, tank.id)) if stock.counted else []
    if not spans:
        noted = any(row.tank == tank.id for rows in (room.sightings, room.checks) for row in rows)
        first = since if noted or not stock.counted else room.days
        return [Stocking(tank.id, tank.id, min(first, room.days), last, None)]
    return [
        Stocking(tank.id, tank.id, max(first, since), end, _mean(room, stock.changes(tank.id), first, end))
        for first, end in spans
    ]


def _spans(room: Room, stock: Stock, tank: str) -> Iterator[tuple[int, int]]:
    """Days from which and to which a tank held fish. One emptied and stocked on the same day was never without."""
    wrong = {(clash.table, clash.index) for clash in stock.clashes}
    came = {room.day(row.on) for at, row in enumerate(room.moves) if row.to_tank == tank and ("moves", at) not in wrong}
    begun: int | None = None
    for on, count in stock.changes(tank):
        day = max(0, room.day(on))
        if day >= room.days:
            break
        if begun is None and (count.high != 0 or day in came):
            begun = day
        if begun is not None and count.high == 0:
            yield begun, day
            begun = None
    if begun is not None:
        yield begun, room.days - 1


def _mean(room: Room, changes: Sequence[tuple[Date, Count]], first: int, last: int) -> float | None:
    fish: dict[int, float] = defaultdict(float)
    days = [max(0, room.day(on)) for on, _ in changes]
    for (_, count), begin, end in zip(changes, days, [*days[1:], room.days], strict=True):
        held = min(end, last + 1) - max(begin, first)
        if held > 0 and count.exact:
            fish[count.exact] += held
    return sum(number * held for number, held in fish.items()) / sum(fish.values()) if fish else None
