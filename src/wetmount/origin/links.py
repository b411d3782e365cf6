"""Which tank can infect which, by what kind of link, on which days.

Shared things (a sump, a tool, a person's round) divide the rate of one infectious tank over all that share them, so
that a larger system dilutes. What happened once (a move, a wet net) counts on its day. Rates themselves come later:
a strength is what a rate is multiplied by to give the hazard, −log of the chance to escape, of one tank for another
on one day.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from math import inf, log1p
from statistics import median
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.errors import InputError
from wetmount.origin.room import Room
from wetmount.reference import Reference
from wetmount.reference.rows import LinkRate

KINDS: Final = ("sump", "neighbour", "tool", "worker", "move", "net", "water", "plants", "other")
"""Kinds of link between tanks, ids of link_rates.csv; outside, delivery and resident are ways in."""
ROUND_REACH: Final = 5
"""Tanks after the infectious one to which a person's hands still carry it; each gets half as much as the one before."""
SIZE_RANGE: Final = (0.25, 4.0)
"""However few or many fish a tank holds, it counts within these bounds of the room's median."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One link from one tank to another over a span of days, both ends counted."""

    kind: str
    through: str
    source: int
    target: int
    strength: float
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Links:
    """All links of a room, summed by pair of tanks, kind and day."""

    tanks: tuple[str, ...]
    days: int
    kinds: tuple[str, ...]
    """Kinds that occur."""
    source: NDArray[np.intp]
    target: NDArray[np.intp]
    """(pairs,), in the order of target, then source."""
    strength: NDArray[np.float64]
    """(kinds, pairs, days)."""
    pieces: tuple[Piece, ...]

    def through(self, kind: str, source: int, target: int, day: int | None = None) -> str:
        """Names of what connects two tanks by this kind of link, on a day or at any time."""
        names = {
            piece.through
            for piece in self.pieces
            if (piece.kind, piece.source, piece.target) == (kind, source, target)
            and piece.through
            and (day is None or piece.first <= day <= piece.last)
        }
        return ", ".join(sorted(names))


def tank_places(room: Room) -> dict[str, int]:
    """Place of every tank in the room's list."""
    return {tank.id: place for place, tank in enumerate(room.tanks)}


def fish_in(room: Room) -> dict[str, int]:
    """Fish a tank was given in all, by batches whose number is known; tanks without are left out."""
    held: dict[str, int] = {}
    for batch in room.batches:
        if batch.number:
            held[batch.tank] = held.get(batch.tank, 0) + batch.number
    return held


def chance_to_hazard(chance: float) -> float:
    """Hazard of an event with this chance: −log(1 − chance)."""
    return -log1p(-chance)


def spread_factor(row: LinkRate, spread: str) -> float:
    """Factor on the rate for an infection that goes with the water (1), by touch, or from gut to mouth."""
    return {"water": 1.0, "contact": row.contact, "gut": row.gut}[spread]


def rate_prior(row: LinkRate, spread: str) -> tuple[float, float]:
    """Mean and standard deviation of the natural log of a rate, as a hazard.

    The table's figure is the median, and the wider of its two sides gives the spread, 1.645 standard deviations.
    """
    low, rate, high = (
        value if row.unit == "tanks/day" else chance_to_hazard(value) for value in (row.low, row.rate, row.high)
    )
    factor = spread_factor(row, spread)
    return float(np.log(rate * factor)), float(max(np.log(rate / low), np.log(high / rate)) / 1.645)


def find_links(room: Room, reference: Reference) -> Links:
    """All links of a room by pair, kind and day.

    Raises InputError for a tank that the room does not list.
    """
    found = tuple(_pieces(room, reference.link_rates))
    days = room.days
    pairs = sorted({(piece.target, piece.source) for piece in found})
    place = {pair: index for index, pair in enumerate(pairs)}
    kinds = tuple(kind for kind in KINDS if any(piece.kind == kind for piece in found))
    strength = np.zeros((len(kinds), len(pairs), days))
    for piece in found:
        strength[kinds.index(piece.kind), place[piece.target, piece.source], max(piece.first, 0) : piece.last + 1] += (
            piece.strength
        )
    targets, sources = (np.array([pair[side] for pair in pairs], dtype=np.intp) for side in (0, 1))
    return Links(tuple(tank.id for tank in room.tanks), days, kinds, sources, targets, strength, found)


def _pieces(room: Room, rates: Mapping[str, LinkRate]) -> Iterator[Piece]:
    places, last = tank_places(room), room.days - 1
    size = _sizes(room)

    def place(tank: str, where: str) -> int:
        if tank not in places:
            raise InputError(f"{tank!r} is not a tank of the room; accepted are {', '.join(places)}", field=where)
        return places[tank]

    def scaled(kind: str, source: int, strength: float) -> float:
        return strength * float(size[source] ** rates[kind].size_power)

    for kind, name, members, first, end in _shared(room):
        inside = [place(tank, f"{kind}.tanks") for tank in members]
        for source in inside:
            for target in inside:
                if source != target:
                    yield Piece(kind, name, source, target, scaled(kind, source, 1 / (len(inside) - 1)), first, end)
    for name, members, ordered in _rounds(room):
        inside = [place(tank, "worker.tanks") for tank in members]
        for turn, source in enumerate(inside):
            after = inside[turn + 1 : turn + 1 + ROUND_REACH] if ordered else [one for one in inside if one != source]
            for gap, target in enumerate(after):
                strength = 0.5 ** (gap + 1) if ordered else 1 / len(after)
                yield Piece("worker", name, source, target, scaled("worker", source, strength), 0, last)
    for first_tank, second_tank in _neighbours(room):
        for source, target in ((first_tank, second_tank), (second_tank, first_tank)):
            yield Piece("neighbour", "", source, target, scaled("neighbour", source, 1.0), 0, last)
    held = fish_in(room)
    for move in room.moves:
        day = room.day(move.on)
        fish = move.number or held.get(move.from_tank) or 1
        if 0 <= day <= last:
            ends = place(move.from_tank, "move.from_tank"), place(move.to_tank, "move.to_tank")
            yield Piece("move", move.batch or "", *ends, float(fish), day, day)
    for contact in room.contacts:
        day = room.day(contact.on)
        if 0 <= day <= last:
            source, target = place(contact.from_tank, "contact.from_tank"), place(contact.to_tank, "contact.to_tank")
            yield Piece(contact.kind, "", source, target, scaled(contact.kind, source, 1.0), day, day)


def _sizes(room: Room) -> NDArray[np.float64]:
    """Fish of every tank over the room's median, 1 where it is not known."""
    held = fish_in(room)
    middle = median(held.values()) if held else 1.0
    return np.clip([held.get(tank.id, middle) / middle for tank in room.tanks], *SIZE_RANGE)


def _shared(room: Room) -> Iterator[tuple[str, str, tuple[str, ...], int, int]]:
    """What several tanks share alike: kind, name, tanks, first and last day."""
    last = room.days - 1
    for system in room.systems:
        yield "sump", system.id, tuple(tank.id for tank in room.tanks if tank.system == system.id), 0, last
    for tool in room.tools:
        first = 0 if tool.since is None else max(0, room.day(tool.since))
        end = last if tool.until is None else min(last, room.day(tool.until))
        if first <= end:
            yield "tool", tool.id, tuple(dict.fromkeys(tool.tanks)), first, end


def _rounds(room: Room) -> Iterator[tuple[str, tuple[str, ...], bool]]:
    """Whoever works, the tanks in the order of work, and whether an order is kept at all."""
    order = {tank.id: tank.order for tank in room.tanks if tank.order is not None}
    if not room.workers and order:
        yield "order of work", tuple(sorted(order, key=lambda tank: order[tank] or 0)), True
    for worker in room.workers:
        tanks = tuple(dict.fromkeys(worker.tanks))
        ordered = bool(tanks) and all(tank in order for tank in tanks)
        yield worker.id, tuple(sorted(tanks, key=lambda tank: order.get(tank) or 0) if ordered else tanks), ordered


def _neighbours(room: Room) -> Iterator[tuple[int, int]]:
    """Pairs of tanks side by side on one shelf."""
    shelf: dict[tuple[str, int], list[tuple[int, int]]] = {}
    for index, tank in enumerate(room.tanks):
        if tank.rack is not None and tank.row is not None and tank.place is not None:
            shelf.setdefault((tank.rack, tank.row), []).append((tank.place, index))
    for tanks in shelf.values():
        tanks.sort()
        for (place, index), (next_place, next_index) in pairwise(tanks):
            if next_place - place == 1:
                yield index, next_index


def occupied_from(room: Room) -> NDArray[np.int64]:
    """Day from which each tank holds fish, 0 when it did from the start, `room.days` when it never does.

    Where the record has batches, a tank into which none came is empty, unless something was noted of its fish; where it
    has none, every tank counts as held.
    """
    places = tank_places(room)
    noted = {row.tank for row in room.sightings} | {row.tank for row in room.checks}
    first = np.full(len(places), inf)
    for batch in room.batches:
        if batch.tank in places:
            day = 0 if batch.arrived is None else max(0, room.day(batch.arrived))
            first[places[batch.tank]] = min(first[places[batch.tank]], day)
    for move in room.moves:
        if move.to_tank in places:
            first[places[move.to_tank]] = min(first[places[move.to_tank]], max(0, room.day(move.on)))
    for index, tank in enumerate(room.tanks):
        since = 0 if tank.since is None else max(0, room.day(tank.since))
        if first[index] == inf:
            first[index] = room.days if room.batches and tank.id not in noted else since
        else:
            first[index] = max(first[index], since)
    found: NDArray[np.int64] = np.minimum(first, room.days).astype(np.int64)
    return found
