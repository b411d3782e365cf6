"""The fish room in time: what stood where, what arrived and moved, what was shared, and what was seen when.

Three things stay apart. A tank without a row in `checks`, `sightings` or `watches` was not looked at; a check with
`seen=False`, or a watch without a sighting, looked and did not see; a sighting, or a check with `seen=True`, saw.
"""

from __future__ import annotations

from datetime import date as Date
from typing import Literal

import msgspec
from msgspec import structs


class System(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A body of shared water: the tanks on one sump."""

    id: str
    name: str = ""


class Tank(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A container. Without a system its water is its own."""

    id: str
    system: str | None = None
    rack: str | None = None
    row: int | None = None
    """Shelf, counted from the top."""
    place: int | None = None
    """Place on the shelf, counted from the left; neighbours differ by one."""
    volume_l: float | None = None
    order: int | None = None
    """Its turn in the order of work; None when nobody keeps one."""
    since: Date | None = None
    """Day it was set up, when that is within the record."""


class Batch(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Fish of one species from one origin that arrived together in one tank.

    Without `arrived`, or with a day before the record, they were there from the start.
    """

    id: str
    species: str
    tank: str
    origin: str = ""
    delivery: str = ""
    arrived: Date | None = None
    number: int | None = None


class Move(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Fish moved from one tank to another."""

    on: Date
    from_tank: str
    to_tank: str
    number: int | None = None
    """Fish moved; None is all of that batch, or of the tank without one."""
    batch: str | None = None


class Departure(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Fish that left the room alive: sold, given away, given up."""

    on: Date
    tank: str
    number: int | None = None
    """Fish gone; None is all of that batch, or of the tank without one."""
    batch: str | None = None


class Contact(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Something wet that went from one tank to another on a day."""

    on: Date
    from_tank: str
    to_tank: str
    kind: Literal["net", "water", "plants", "other"] = "net"


class Tool(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A net, bucket or hose used in several tanks over a time, without being disinfected in between."""

    id: str
    tanks: tuple[str, ...]
    since: Date | None = None
    until: Date | None = None


class Worker(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A person and the tanks they look after."""

    id: str
    tanks: tuple[str, ...]


class Watch(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Somebody looked at these tanks every so many days and would have noted signs."""

    tanks: tuple[str, ...]
    since: Date
    until: Date
    every_days: int = 1


class Sighting(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Signs or deaths in a tank on a day, as the keeper noted them."""

    tank: str
    on: Date
    kind: Literal["signs", "deaths"]
    number: int | None = None
    not_before: Date | None = None
    """First signs fell between this day, when it was still seen well, and `on`."""
    condition: str | None = None
    """Condition id it is put down to; None is the one the room traces."""


class Check(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A deliberate examination of a tank's fish for the condition, positive or negative."""

    tank: str
    on: Date
    seen: bool
    examination: str = "tank_look"
    """Examination id of the reference."""
    fish: int | None = None
    """Fish examined."""
    condition: str | None = None
    """Condition id that was looked for; None is the one the room traces."""


class Room(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A fish room over the days `first` to `last`."""

    name: str
    first: Date
    last: Date
    condition: str | None = None
    """Condition id of the reference that is traced."""
    systems: tuple[System, ...] = ()
    tanks: tuple[Tank, ...] = ()
    batches: tuple[Batch, ...] = ()
    moves: tuple[Move, ...] = ()
    departures: tuple[Departure, ...] = ()
    contacts: tuple[Contact, ...] = ()
    tools: tuple[Tool, ...] = ()
    workers: tuple[Worker, ...] = ()
    watches: tuple[Watch, ...] = ()
    sightings: tuple[Sighting, ...] = ()
    checks: tuple[Check, ...] = ()
    feeds: dict[str, tuple[str, ...]] = {}
    """Feed -> the tanks that got it."""

    @property
    def days(self) -> int:
        """Days in the record, both ends counted."""
        return (self.last - self.first).days + 1

    def day(self, on: Date) -> int:
        """Day number of a date; the first day is 0."""
        return (on - self.first).days

    def of(self, condition: str) -> Room:
        """The room as evidence about one condition: sightings and checks of others left out, the rest unmarked."""

        def about(row: Sighting | Check) -> bool:
            return (row.condition or self.condition or condition) == condition

        sightings = tuple(structs.replace(row, condition=None) for row in self.sightings if about(row))
        checks = tuple(structs.replace(row, condition=None) for row in self.checks if about(row))
        return structs.replace(self, condition=condition, sightings=sightings, checks=checks)
