"""Simulated outbreaks in a room of 42 tanks: 36 on three racks and six that stand alone, as in the demonstration.

Everything is drawn from the priors that `wetmount.origin` states: rates of links, latent times, incubations, ways in.
With `other` it is not: each outbreak has a pace of its own, which makes all its latent times and incubations longer or
shorter together, every tank catches it more or less readily, signs are noticed less or more, and links were forgotten
in the record. The record (looks, deliveries, moves, tools, contacts) is drawn here, and the course is run tank by tank
and day by day in plain Python, apart from the sampler's arrays.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace

import msgspec
import numpy as np

from wetmount.origin.links import KINDS, find_links, rate_prior
from wetmount.origin.observations import day_chances, fish_chances, residual_chances
from wetmount.origin.room import Batch, Check, Contact, Move, Room, Sighting, System, Tank, Tool, Watch, Worker
from wetmount.origin.stockings import Places, find_stockings
from wetmount.reference import Reference

FIRST = datetime.date(2026, 9, 1)
SPECIES = ("Melanotaenia lacustris", "Poecilia reticulata", "Puntigrus tetrazona", "Trichogaster lalius")


@dataclass(frozen=True)
class Outbreak:
    """A room as the keeper wrote it down, and what was so."""

    room: Room
    infected: tuple[int | None, ...]
    """Day of infection by tank; −1 = before the record, None = not."""
    roots: tuple[str | None, ...]
    """Key of the introduction each infected tank descends from."""
    origin: str
    """Key of the introduction of the first infected of the tanks in which it was seen."""
    began: int
    """Day on which that introduction came in; −1 = before the record."""


def _day(number: int) -> datetime.date:
    return FIRST + datetime.timedelta(days=number)


def draw_record(rng: np.random.Generator, condition: str, days: int) -> Room:
    """A room with its links and looks, nothing seen yet."""
    tanks = [
        Tank(f"{rack}{place + 1}", rack, rack, place // 4 + 1, place % 4 + 1, order=12 * number + place + 1)
        for number, rack in enumerate("ABC")
        for place in range(12)
    ]
    tanks += [Tank(f"Q{place + 1}", order=37 + place) for place in range(6)]
    names = [tank.id for tank in tanks]
    racks, alone = names[:36], names[36:]
    batches = [
        Batch(f"old-{name}", str(rng.choice(SPECIES)), name, number=int(rng.integers(6, 30)))
        for name in racks
        if rng.random() < 0.85
    ]
    held = [batch.tank for batch in batches]
    for number in range(int(rng.integers(5, 10))):
        tank = str(rng.choice(alone if rng.random() < 0.5 else racks))
        on = _day(int(rng.integers(0, days - 10)))
        origin = str(rng.choice(["North", "East", "Pond Lane"]))
        batches.append(
            Batch(f"batch-{number + 1}", str(rng.choice(SPECIES)), tank, origin, "", on, int(rng.integers(6, 40)))
        )
        held.append(tank)
    moves = [
        Move(_day(int(rng.integers(5, days))), str(rng.choice(held)), str(rng.choice(racks)), int(rng.integers(1, 6)))
        for _ in range(int(rng.integers(3, 12)))
    ]
    contacts = [
        Contact(
            _day(int(rng.integers(0, days))), str(pair[0]), str(pair[1]), str(rng.choice(["net", "water", "plants"]))
        )  # type: ignore[arg-type]
        for pair in (rng.choice(names, 2, replace=False) for _ in range(int(rng.integers(10, 40))))
    ]
    tools = [
        Tool(
            f"net-{rack}",
            tuple(name for name in racks if name[0] == rack),
            None,
            None if rng.random() < 0.5 else _day(30),
        )
        for rack in "ABC"
        if rng.random() < 0.5
    ]
    tools.append(Tool("hose", tuple(str(name) for name in rng.choice(names, 6, replace=False))))
    unseen = set(rng.choice(names, 4, replace=False))
    watches = tuple(
        Watch(tuple(name for name in names if name[0] == group and name not in unseen), FIRST, _day(days - 1), every)
        for group, every in zip("ABCQ", rng.choice([1, 2, 3, 7], 4), strict=True)
    )
    return Room(
        "Harbour Row Fish Room",
        FIRST,
        _day(days - 1),
        condition,
        tuple(System(rack) for rack in "ABC"),
        tuple(tanks),
        tuple(batches),
        tuple(move for move in moves if move.from_tank != move.to_tank),
        contacts=tuple(contacts),
        tools=tuple(tools),
        workers=(Worker("keeper", tuple(names)),),
        watches=watches,
    )


def draw_outbreak(
    rng: np.random.Generator,
    reference: Reference,
    condition: str = "ich",
    days: int = 60,
    least_seen: int = 2,
    *,
    other: bool = False,
) -> Outbreak:
    """An outbreak seen in at least so many tanks; what is less is drawn again, record and all."""
    while True:
        found = _run(rng, reference, draw_record(rng, condition, days), other)
        if len({sighting.tank for sighting in found.room.sightings}) >= least_seen:
            return found


def _run(rng: np.random.Generator, reference: Reference, room: Room, other: bool) -> Outbreak:
    assert room.condition is not None
    stockings = find_stockings(room)
    times, days, count = reference.incubations[room.condition], room.days, len(stockings)
    links, lots = find_links(room, reference, stockings), Places(stockings)
    by_kind = {}
    for kind in KINDS:
        mean, sd = rate_prior(reference.link_rates[kind], times.spread)
        by_kind[kind] = float(np.exp(mean + sd * rng.standard_normal()))
    mean, sd = rate_prior(reference.link_rates["outside"], times.spread)
    outside = float(np.exp(mean + sd * rng.standard_normal()))
    pace = float(np.exp(0.35 * rng.standard_normal())) if other else 1.0
    catches = np.exp(0.7 * rng.standard_normal(count)) if other else np.ones(count)
    latent = day_chances(pace * times.latent_low_d, pace * times.latent_high_d, 1, days)
    incubation = day_chances(pace * times.incubation_low_d, pace * times.incubation_high_d, 1, days + 2)
    infected: list[int | None] = [None] * count
    first_tank = list(range(count))
    passes: list[int] = [days] * count
    roots: list[str | None] = [None] * count
    brought: dict[tuple[int, int], list[str]] = {}
    first_fish_arrive = {
        tank
        for tank in lots.of_tank
        if any(batch.tank == tank for batch in room.batches)
        and all(batch.arrived is not None for batch in room.batches if batch.tank == tank)
    }
    for place, one in enumerate(stockings):
        carried = one.first == 0 <= one.last and one.tank not in first_fish_arrive
        if carried and rng.random() < reference.link_rates["resident"].rate:
            infected[place], passes[place], roots[place] = -1, 0, f"resident:{one.tank}"
    for batch in room.batches:
        if batch.arrived is not None:
            on = room.day(batch.arrived)
            brought.setdefault((lots.nearest(batch.tank, on), on), []).append(batch.id)
    sources: list[list[tuple[int, int]]] = [[] for _ in stockings]
    for pair, (source, target) in enumerate(zip(links.source, links.target, strict=True)):
        sources[target].append((int(source), pair))
    by_delivery = -float(np.log1p(-reference.link_rates["delivery"].rate))
    rates = np.array([by_kind[kind] for kind in links.kinds])
    for day in range(days):
        for place in range(count):
            if infected[place] is not None or not stockings[place].holds(day):
                continue
            ways: list[tuple[float, str | None, int | None]] = [(outside, "outside", None)]
            ways += [(by_delivery, f"delivery:{batch_id}", None) for batch_id in brought.get((place, day), ())]
            for source, pair in sources[place]:
                if passes[source] <= day:
                    ways.append((catches[place] * float(rates @ links.strength[:, pair, day]), None, source))
            total = sum(way[0] for way in ways)
            if rng.random() < -np.expm1(-total):
                _, key, source_tank = ways[int(rng.choice(len(ways), p=[way[0] / total for way in ways]))]
                infected[place] = day
                passes[place] = min(days, day + int(rng.choice(days + 1, p=latent)))
                roots[place] = key if source_tank is None else roots[source_tank]
                first_tank[place] = place if source_tank is None else first_tank[source_tank]
    noticed = times.noticed * (rng.uniform(0.4, 1.4) if other else 1.0)
    found = _look(rng, reference, room, infected, roots, first_tank, incubation, noticed)
    return _forget(rng, found) if other else found


def _look(
    rng: np.random.Generator,
    reference: Reference,
    room: Room,
    infected: list[int | None],
    roots: list[str | None],
    first_tank: list[int],
    incubation: np.ndarray,
    notices: float,
) -> Outbreak:
    assert room.condition is not None
    times = reference.incubations[room.condition]
    sightings, checks, seen = [], [], []
    every = {tank: watch.every_days for watch in room.watches for tank in watch.tanks}
    early, late = fish_chances("skin_scrape", reference, times)
    carried = residual_chances(times.incubation_low_d, times.incubation_high_d)
    for place, held in enumerate(find_stockings(room)):
        tank, day = held.tank, infected[place]
        shows = day is not None and rng.random() < times.shows
        if not shows or day is None:
            signs = room.days * 9
        elif day < 0:
            signs = int(rng.choice(len(carried), p=carried))
        else:
            signs = day + int(rng.choice(len(incubation), p=incubation))
        looks = [look for look in range(0, room.days, every.get(tank, room.days)) if tank in every and held.holds(look)]
        noticed = next((look for look in looks if look >= signs and rng.random() < notices), None)
        if noticed is not None:
            sightings.append(Sighting(tank, _day(noticed), "signs"))
        found = False
        last = min(held.last, room.days - 1)
        if held.first <= last >= room.days // 2 and rng.random() < 0.2:  # an empty tank has no fish to scrape
            on, fish = int(rng.integers(max(held.first, room.days // 2), last + 1)), int(rng.integers(1, 4))
            chance = 0.0 if day is None or day > on else 1 - (1 - (late if signs <= on else early)) ** fish
            found = bool(rng.random() < chance)
            checks.append(Check(tank, _day(on), found, "skin_scrape", fish))
        if noticed is not None or found:
            seen.append(place)
    room = msgspec.structs.replace(room, sightings=tuple(sightings), checks=tuple(checks))
    if not seen:
        return Outbreak(room, tuple(infected), tuple(roots), "", 0)
    first = min(seen, key=lambda place: (infected[place], rng.random()))  # type: ignore[arg-type, return-value]
    began = infected[first_tank[first]]
    assert began is not None
    return Outbreak(room, tuple(infected), tuple(roots), str(roots[first]), began)


def _forget(rng: np.random.Generator, outbreak: Outbreak) -> Outbreak:
    """A keeper who wrote down three of four contacts and moves."""
    room = outbreak.room
    kept = msgspec.structs.replace(
        room,
        moves=tuple(move for move in room.moves if rng.random() < 0.75),
        contacts=tuple(contact for contact in room.contacts if rng.random() < 0.75),
    )
    return replace(outbreak, room=kept)
