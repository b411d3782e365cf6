"""Which tank can infect which, by what kind of link, on which days.

A tank that was emptied and stocked again counts as two (`stockings.py`); links hold while both ends hold fish.

Shared things (a sump, a tool, a person's round) divide the rate of one infectious tank over all that share them, so
that a larger system dilutes. What happened once (a move, a wet net) counts on its day. Rates themselves come later:
a strength is what a rate is multiplied by to give the hazard, −log of the chance to escape, of one tank for another
on one day.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from math import log1p
from statistics import median
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.errors import InputError
from wetmount.origin.room import Move, Room
from wetmount.origin.stock import Stock, stock_in_time
from wetmount.origin.stockings import Places, Stocking, find_stockings
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
    """Names of stockings: as many as tanks, in their order, then those before the last one of each."""
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


def find_links(room: Room, reference: Reference, held: Sequence[Stocking] | None = None) -> Links:
    """All links of a room by pair, kind and day, between stockings (`find_stockings`): last ones in the order of tanks.

    Raises InputError for a tank that the room does not list.
    """
    held = find_stockings(room) if held is None else held
    found = tuple(_pieces(room, reference.link_rates, held))
    days = room.days
    pairs = sorted({(piece.target, piece.source) for piece in found})
    place = {pair: index for index, pair in enumerate(pairs)}
    kinds = tuple(kind for kind in KINDS if any(piece.kind == kind for piece in found))
    strength = np.zeros((len(kinds), len(pairs), days))
    for piece in found:
        strength[kinds.index(piece.kind), place[piece.target, piece.source], piece.first : piece.last + 1] += (
            piece.strength
        )
    targets, sources = (np.array([pair[side] for pair in pairs], dtype=np.intp) for side in (0, 1))
    return Links(tuple(one.name for one in held), days, kinds, sources, targets, strength, found)


def _pieces(room: Room, rates: Mapping[str, LinkRate], held: Sequence[Stocking]) -> Iterator[Piece]:
    """Links between stockings, on the days on which both hold fish."""
    size = _sizes(held)
    places = Places(held).of_tank
    of_tank = [places[tank.id] for tank in room.tanks]
    for piece in _between_tanks(room):
        for source in of_tank[piece.source]:
            strength = piece.strength * float(size[source] ** rates[piece.kind].size_power)
            for target in of_tank[piece.target]:
                first = max(piece.first, held[source].first, held[target].first)
                last = min(piece.last, held[source].last, held[target].last)
                if first <= last:
                    yield Piece(piece.kind, piece.through, source, target, strength, first, last)


def _between_tanks(room: Room) -> Iterator[Piece]:
    """Links between tanks as places of the room's list, sources all of one size."""
    places, last = tank_places(room), room.days - 1

    def place(tank: str, where: str) -> int:
        if tank not in places:
            raise InputError(f"{tank!r} is not a tank of the room; accepted are {', '.join(places)}", field=where)
        return places[tank]

    for kind, name, members, first, end in _shared(room):
        inside = [place(tank, f"{kind}.tanks") for tank in members]
        for source in inside:
            for target in inside:
                if source != target:
                    yield Piece(kind, name, source, target, 1 / (len(inside) - 1), first, end)
    for name, members, ordered in _rounds(room):
        inside = [place(tank, "worker.tanks") for tank in members]
        for turn, source in enumerate(inside):
            after = inside[turn + 1 : turn + 1 + ROUND_REACH] if ordered else [one for one in inside if one != source]
            for gap, target in enumerate(after):
                yield Piece("worker", name, source, target, 0.5 ** (gap + 1) if ordered else 1 / len(after), 0, last)
    for first_tank, second_tank in _neighbours(room):
        for source, target in ((first_tank, second_tank), (second_tank, first_tank)):
            yield Piece("neighbour", "", source, target, 1.0, 0, last)
    stock = stock_in_time(room)
    for move in room.moves:
        day = room.day(move.on)
        if 0 <= day <= last:
            ends = place(move.from_tank, "move.from_tank"), place(move.to_tank, "move.to_tank")
            yield Piece("move", move.batch or "", *ends, float(_moved(move, stock)), day, day)
    for contact in room.contacts:
        day = room.day(contact.on)
        if 0 <= day <= last:
            source, target = place(contact.from_tank, "contact.from_tank"), place(contact.to_tank, "contact.to_tank")
            yield Piece(contact.kind, "", source, target, 1.0, day, day)


def _moved(move: Move, stock: Stock) -> int:
    """Fish of a move; of one of all fish, those that stood there the evening before or that day; 1 when unknown."""
    if move.number:
        return move.number
    for on in (move.on - timedelta(days=1), move.on):
        there = stock.batches(move.from_tank, on).get(move.batch) if move.batch else stock.between(move.from_tank, on)
        if there is not None and there.exact:
            return there.exact
    return 1


def _sizes(held: Sequence[Stocking]) -> NDArray[np.float64]:
    """Fish of every stocking over the median of all, 1 where it is not known."""
    known = [one.fish for one in held if one.fish is not None]
    middle = median(known) if known else 1.0
    return np.clip([(one.fish or middle) / middle for one in held], *SIZE_RANGE)


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
