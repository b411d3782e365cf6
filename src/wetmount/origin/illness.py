"""Which tanks fell ill and when, which were looked at and well, and which nobody looked at.

A tank is ill from the first sign, death or positive check that is put down to the room's condition. It counts as well
only when somebody looked while it held fish; a tank that was never looked at is neither.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date as Date
from datetime import timedelta
from typing import Literal

from wetmount.errors import InputError
from wetmount.origin.room import Check, Room, Sighting, Watch
from wetmount.origin.stock import Stock, stock_in_time

State = Literal["ill", "well", "not looked at", "empty"]


@dataclass(frozen=True, slots=True)
class TankHealth:
    """What is known of one tank up to a day.

    `first` is the day it was first seen ill, `not_before` the last day on which it was still seen well (None: never).
    `affected` and `at_risk` are numbers of fish, None when they were not all counted: those with signs or dead by the
    worst day, and those in it the day before it fell ill (or at the end, when well).
    """

    tank: str
    state: State
    first: Date | None
    not_before: Date | None
    affected: int | None
    at_risk: int | None


def tanks_health(room: Room, until: Date | None = None, stock: Stock | None = None) -> tuple[TankHealth, ...]:
    """The state of every tank at the end of day `until` (None: the end of the record), in the order of the room.

    Sightings and checks of conditions other than the room's are passed over.
    """
    last = room.last if until is None else until
    if not room.first <= last <= room.last:
        raise InputError(f"{last} is outside the record ({room.first} to {room.last})", field="until")
    if room.condition is not None:
        room = room.of(room.condition)
    stock = stock_in_time(room) if stock is None else stock
    sightings: dict[str, list[Sighting]] = {tank.id: [] for tank in room.tanks}
    checks: dict[str, list[Check]] = {tank.id: [] for tank in room.tanks}
    watches: dict[str, list[Watch]] = {tank.id: [] for tank in room.tanks}
    for sighting in room.sightings:
        if sighting.on <= last:
            sightings[sighting.tank].append(sighting)
    for check in room.checks:
        if check.on <= last:
            checks[check.tank].append(check)
    for watch in room.watches:
        for tank in dict.fromkeys(watch.tanks):
            watches[tank].append(watch)
    return tuple(
        _health(tank.id, sightings[tank.id], checks[tank.id], watches[tank.id], last, stock) for tank in room.tanks
    )


def _health(
    tank: str, sightings: list[Sighting], checks: list[Check], watches: list[Watch], last: Date, stock: Stock
) -> TankHealth:
    ill_on = [one.on for one in sightings] + [one.on for one in checks if one.seen]
    looked = set(_watched(watches, last)) | {one.on for one in checks if not one.seen}
    looked = {day for day in looked if _may_hold(stock, tank, day)}
    if ill_on:
        first = min(ill_on)
        stated = [one.not_before for one in sightings if one.on == first and one.not_before is not None]
        well_on = max([day for day in looked if day < first], default=None)
        return TankHealth(
            tank,
            "ill",
            first,
            max(stated) if stated else well_on,
            _affected(sightings),
            _at_risk(stock, tank, first),
        )
    if stock.counted and not stock.held(tank, last):
        return TankHealth(tank, "empty", None, None, None, None)
    if not looked:
        return TankHealth(tank, "not looked at", None, None, None, stock.number(tank, last))
    return TankHealth(tank, "well", None, max(looked), 0, stock.number(tank, max(looked)))


def _may_hold(stock: Stock, tank: str, on: Date) -> bool:
    count = stock.between(tank, on)
    return count is None or count.high != 0


def _watched(watches: list[Watch], last: Date) -> Iterator[Date]:
    for watch in watches:
        until = min(watch.until, last)
        for day in range(0, (until - watch.since).days + 1, watch.every_days):
            yield watch.since + timedelta(days=day)


def _affected(sightings: list[Sighting]) -> int | None:
    """Most fish that were ill or dead by any one day; None when that was never counted."""
    deaths = [(one.on, one.number) for one in sightings if one.kind == "deaths"]
    if any(number is None for _, number in deaths):
        return None
    found = [sum(number or 0 for _, number in deaths)]
    found += [
        one.number + sum(number or 0 for on, number in deaths if on <= one.on)
        for one in sightings
        if one.kind == "signs" and one.number is not None
    ]
    return max(found) or None


def _at_risk(stock: Stock, tank: str, first: Date) -> int | None:
    before = stock.number(tank, first - timedelta(days=1)) if first > stock.room.first else None
    return before or stock.number(tank, first)
