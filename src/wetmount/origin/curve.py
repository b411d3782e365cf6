"""The epidemic curve of a room by day, and when the ill tanks can have been exposed.

A tank first seen ill on day t, and still well on day s, was exposed between s - (longest incubation) and
t - (shortest incubation). Where one window is left that all ill tanks share, a single exposure can explain them all;
where none is, it went on from tank to tank or came in more than once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date as Date
from datetime import datetime, timedelta
from statistics import median

from wetmount.errors import InputError
from wetmount.origin.illness import tanks_health
from wetmount.origin.room import Room


def count_by(times: Sequence[datetime], start: datetime, step: timedelta, bins: int) -> list[int]:
    """How many of `times` fall into each of `bins` steps from `start`; those outside are not counted.

    >>> evening = [datetime(1940, 4, 18, 21, 30), datetime(1940, 4, 18, 22, 15), datetime(1940, 4, 18, 22, 30)]
    >>> count_by(evening, datetime(1940, 4, 18, 21), timedelta(hours=1), 3)
    [1, 2, 0]
    """
    counts = [0] * bins
    for time in times:
        place = (time - start) // step
        if 0 <= place < bins:
            counts[place] += 1
    return counts


@dataclass(frozen=True, slots=True)
class CurveDay:
    """One day: tanks first seen ill on it, all tanks ill by then, and fish that died (None: some were not counted)."""

    on: Date
    first_seen: tuple[str, ...]
    ill_by_then: int
    deaths: int | None


@dataclass(frozen=True, slots=True)
class Window:
    """The days on which a tank can have been exposed.

    `earliest` is None when nobody saw the tank well before: then it can have been exposed at any time before `latest`.
    """

    tank: str
    first: Date
    earliest: Date | None
    latest: Date


@dataclass(frozen=True, slots=True)
class Event:
    """Something that came in or moved, in words."""

    on: Date
    text: str


@dataclass(frozen=True, slots=True)
class Curve:
    """The curve of a room, the exposure windows of its ill tanks, and what they say together."""

    condition: str | None
    days: tuple[CurveDay, ...]
    incubation_d: tuple[float, float]
    windows: tuple[Window, ...]
    shared: tuple[Date | None, Date] | None
    """The days on which one exposure can explain every ill tank; None when there are none such, or no tank is ill."""
    median_first: Date | None
    events: tuple[Event, ...]
    """Arrivals, moves and contacts inside the window of the first ill tank, earliest first."""
    before_record: bool
    """Whether that window begins before the record does."""
    not_looked_at: tuple[str, ...]


def epidemic_curve(room: Room, incubation_low_d: float, incubation_high_d: float, until: Date | None = None) -> Curve:
    """The curve up to a day (None: the end of the record) with windows from the shortest and longest incubation, days.

    Raises InputError when the incubation is negative or its ends are the wrong way round.
    """
    if not 0 <= incubation_low_d <= incubation_high_d <= 3660:
        raise InputError(
            f"{incubation_low_d:g} to {incubation_high_d:g} days is no incubation; accepted are days from 0, low first",
            field="incubation",
        )
    health = tanks_health(room, until)
    last = until or room.last
    about = room if room.condition is None else room.of(room.condition)
    deaths: dict[Date, list[int | None]] = {}
    for sighting in about.sightings:
        if sighting.kind == "deaths":
            deaths.setdefault(sighting.on, []).append(sighting.number)
    days, ill = [], 0
    for day in range((last - room.first).days + 1):
        on = room.first + timedelta(days=day)
        first_seen = tuple(one.tank for one in health if one.first == on)
        ill += len(first_seen)
        died = deaths.get(on, [])
        days.append(CurveDay(on, first_seen, ill, None if None in died else sum(n for n in died if n is not None)))
    short, long = timedelta(days=int(incubation_low_d)), timedelta(days=-int(-incubation_high_d // 1))
    windows = tuple(
        sorted(
            (
                Window(
                    one.tank, one.first, None if one.not_before is None else one.not_before - long, one.first - short
                )
                for one in health
                if one.first is not None
            ),
            key=lambda window: (window.first, window.tank),
        )
    )
    firsts = [window.first.toordinal() for window in windows]
    begin = windows[0].earliest if windows else None
    return Curve(
        room.condition,
        tuple(days),
        (incubation_low_d, incubation_high_d),
        windows,
        _shared(windows),
        Date.fromordinal(int(median(firsts))) if firsts else None,
        _events(room, begin, windows[0].latest) if windows else (),
        bool(windows) and (begin is None or begin < room.first),
        tuple(one.tank for one in health if one.state == "not looked at"),
    )


def _shared(windows: Sequence[Window]) -> tuple[Date | None, Date] | None:
    if not windows:
        return None
    begin = max((window.earliest for window in windows if window.earliest is not None), default=None)
    end = min(window.latest for window in windows)
    return None if begin is not None and begin > end else (begin, end)


def _events(room: Room, begin: Date | None, end: Date) -> tuple[Event, ...]:
    batches = {batch.id: batch for batch in room.batches}
    found: list[Event] = []
    for batch in room.batches:
        if batch.arrived is not None:
            number = "" if batch.number is None else f"{batch.number} "
            origin = f" from {batch.origin}" if batch.origin else ""
            found.append(Event(batch.arrived, f"{number}{batch.species}{origin} into {batch.tank}"))
    for move in room.moves:
        of = batches.get(move.batch or "")
        what = of.species if of is not None else "fish"
        number = "all" if move.number is None else str(move.number)
        found.append(Event(move.on, f"{number} {what} moved, {move.from_tank} to {move.to_tank}"))
    found += [
        Event(contact.on, f"{contact.kind} used in {contact.from_tank}, then in {contact.to_tank}")
        for contact in room.contacts
    ]
    inside = [event for event in found if (begin is None or begin <= event.on) and event.on <= end]
    return tuple(sorted(inside, key=lambda event: event.on))
