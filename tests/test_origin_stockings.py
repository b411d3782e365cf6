"""Tanks that were emptied and stocked again: two lots of fish that never met. Against every course, enumerated here."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterator
from dataclasses import replace
from math import exp, log, log1p

import numpy as np
import pytest

from wetmount.origin import learn_next, plan_round, trace
from wetmount.origin.links import find_links
from wetmount.origin.model import Model, build_model, log_density
from wetmount.origin.recorder import Recorder
from wetmount.origin.room import Batch, Departure, Move, Room, Sighting, System, Tank, Tool, Watch
from wetmount.origin.sampler import Sampler
from wetmount.origin.stockings import Places, find_stockings
from wetmount.reference import load_reference

REFERENCE = load_reference()
FIRST = datetime.date(2026, 9, 1)
FISH = "Poecilia reticulata"
DAYS = 6
NONE = log(1e-300)


def day(number: int) -> datetime.date:
    return FIRST + datetime.timedelta(days=number)


def room(**more: object) -> Room:
    """A and B on a sump, ten fish each. All of A leave on day 2; ten new ones come into it on day 4."""
    fields: dict[str, object] = {
        "systems": (System("rack"),),
        "tanks": (Tank("A", "rack"), Tank("B", "rack")),
        "batches": (
            Batch("old", FISH, "A", number=10),
            Batch("other", FISH, "B", number=10),
            Batch("new", FISH, "A", "East", "", day(4), 10),
        ),
        "departures": (Departure(day(2), "A"),),
        "sightings": (Sighting("A", day(1), "signs"),),
    }
    return Room("Harbour Row Fish Room", FIRST, day(DAYS - 1), "columnaris", **(fields | more))  # type: ignore[arg-type]


def spans(one: Room) -> list[tuple[str, int, int, float | None]]:
    return [(held.name, held.first, held.last, held.fish) for held in find_stockings(one)]


# --- what stood where -------------------------------------------------------------------------------------------------


def test_a_tank_stocked_again_is_two_stockings_the_last_in_the_order_of_tanks() -> None:
    assert spans(room()) == [("A", 4, 5, 10), ("B", 0, 5, 10), ("A until 2026-09-03", 0, 2, 10)]


def test_deaths_empty_a_tank_too_and_a_doubtful_count_does_not() -> None:
    dead = room(departures=(), sightings=(Sighting("A", day(1), "deaths", 10),))
    assert spans(dead)[2] == ("A until 2026-09-02", 0, 1, 10)
    doubtful = room(departures=(), sightings=(Sighting("A", day(1), "deaths"),))
    assert [one[:3] for one in spans(doubtful)] == [("A", 0, 5), ("B", 0, 5)]


def test_a_tank_emptied_and_stocked_on_one_day_was_never_without() -> None:
    again = room(departures=(Departure(day(2), "A", batch="old"),), moves=(Move(day(2), "B", "A", 3),))
    assert [one[:3] for one in spans(again)] == [("A", 0, 5), ("B", 0, 5)]


def test_fish_that_only_passed_through_stood_there_for_a_day() -> None:
    tanks = (Tank("A", "rack"), Tank("B", "rack"), Tank("C"), Tank("D"))
    through = room(tanks=tanks, departures=(), moves=(Move(day(3), "A", "C", 4), Move(day(3), "C", "D", 4)))
    assert ("C", 3, 3, None) in spans(through)
    assert ("D", 3, 5, 4) in spans(through)


def test_without_counted_fish_and_without_any_fish() -> None:
    uncounted = room(batches=(), departures=())
    assert spans(uncounted) == [("A", 0, 5, None), ("B", 0, 5, None)]
    empty = room(tanks=(Tank("A", "rack"), Tank("B", "rack"), Tank("C", since=day(3))))
    assert spans(empty)[2] == ("C", DAYS, DAYS - 1, None)


def test_what_is_noted_goes_to_the_fish_that_were_there() -> None:
    lots = Places(find_stockings(room()))
    assert [lots.on("A", on) for on in range(DAYS)] == [2, 2, 2, None, 0, 0]
    assert lots.nearest("A", 3) == 2
    seen = room(
        sightings=(Sighting("A", day(1), "signs"), Sighting("A", day(5), "signs")),
        watches=(Watch(("A",), FIRST, day(5)),),
    )
    again, _, before = build_model(seen, REFERENCE).watched
    assert (before.looks, before.first_seen) == ((0, 1, 2), 1)
    assert (again.looks, again.first_seen) == ((4, 5), 5)


# --- links ------------------------------------------------------------------------------------------------------------


def test_links_hold_while_both_ends_hold_fish() -> None:
    links = find_links(room(tools=(Tool("net", ("A", "B")),)), REFERENCE)
    for kind in ("sump", "tool"):
        held = {
            (links.tanks[source], links.tanks[target]): links.strength[links.kinds.index(kind), pair]
            .nonzero()[0]
            .tolist()
            for pair, (source, target) in enumerate(zip(links.source, links.target, strict=True))
        }
        old = "A until 2026-09-03"
        assert held == {(old, "B"): [0, 1, 2], ("B", old): [0, 1, 2], ("A", "B"): [4, 5], ("B", "A"): [4, 5]}


def test_rates_scale_with_the_fish_that_stood_there_and_not_with_those_delivered() -> None:
    """Forty fish came into A; thirty went on to B on the first day: ten and forty, median 25, root of the ratio."""
    batches = (Batch("old", FISH, "A", number=40), Batch("other", FISH, "B", number=10))
    moved = room(batches=batches, departures=(), moves=(Move(FIRST, "A", "B", 30),))
    assert [one[3] for one in spans(moved)] == [10, 40]
    links = find_links(moved, REFERENCE)
    sump = links.strength[links.kinds.index("sump"), :, 0]
    by_source = {links.tanks[source]: float(value) for source, value in zip(links.source, sump, strict=True)}
    assert by_source == pytest.approx({"A": (10 / 25) ** 0.5, "B": (40 / 25) ** 0.5})


def test_a_move_of_all_fish_counts_those_that_stood_there() -> None:
    """Of forty delivered thirty were left when all went on."""
    batches = (Batch("old", FISH, "A", number=40), Batch("other", FISH, "B", number=10))
    gone = room(batches=batches, departures=(Departure(day(1), "A", 10),), moves=(Move(day(3), "A", "B"),))
    (move,) = (piece for piece in find_links(gone, REFERENCE).pieces if piece.kind == "move")
    assert (move.strength, move.first) == (30, 3)


# --- every course enumerated ------------------------------------------------------------------------------------------

SUMP, RESIDENT, DELIVERY, OUTSIDE = 0.6, 0.05, 0.1, 0.01
LATENT = {1: 0.5, 2: 0.3, 3: 0.2}
HELD = {"A": (4, 5), "B": (0, 5), "old A": (0, 2)}
PLACES = tuple(HELD)
SEEN = ("A", "old A")
Course = tuple[tuple[int | None, int], ...]


def model() -> Model:
    """Seen in both stockings of A, on which day is not known; nobody looked at B."""
    built = build_model(room(), REFERENCE)
    pulse, likelihood = np.zeros((3, DAYS)), np.zeros((3, DAYS + 2))
    pulse[0, 4] = -log1p(-DELIVERY)
    likelihood[[0, 2], -1] = NONE
    latent = np.array([LATENT.get(lag, 0.0) for lag in range(DAYS + 1)])
    return replace(
        built,
        pulse=pulse,
        likelihood=likelihood,
        latent=latent,
        resident=np.array([0.0, RESIDENT, RESIDENT]),
        rate_mean=np.log([SUMP, OUTSIDE]),
        rate_sd=np.full(2, 1e-9),
        watched=tuple(
            replace(one, first_seen=5 if name in SEEN else None)
            for name, one in zip(PLACES, built.watched, strict=True)
        ),
    )


def courses() -> Iterator[Course]:
    """Every combination of days of infection (−1 before, None never) and of becoming infectious."""
    one: list[tuple[int | None, int]] = [(-1, 0), (None, DAYS)]
    one += [(on, ready) for on in range(DAYS) for ready in range(on + 1, DAYS + 1)]
    yield from itertools.product(one, repeat=3)


def ways(course: Course, name: str, on: int) -> dict[str, float]:
    """Hazards on the fish of a stocking by where they come from."""
    if not HELD[name][0] <= on <= HELD[name][1]:
        return {}
    found = {"outside": OUTSIDE} | ({"delivery:new": -log1p(-DELIVERY)} if (name, on) == ("A", 4) else {})
    for other, (_, ready) in zip(PLACES, course, strict=True):
        if other != name and ready <= on and HELD[other][0] <= on <= HELD[other][1]:
            found[other] = SUMP
    return found


def probability(course: Course) -> float:
    """Of the course and of what was seen."""
    found = 1.0
    for name, (infected, ready) in zip(PLACES, course, strict=True):
        carries = 0.0 if name == "A" else RESIDENT
        found *= carries if infected == -1 else 1 - carries
        for on in range(DAYS if infected is None else max(infected, 0)):
            found *= exp(-sum(ways(course, name, on).values()))
        if infected is not None and infected >= 0:
            found *= 1 - exp(-sum(ways(course, name, infected).values()))
            lag = ready - infected
            found *= LATENT.get(lag, 0.0) if ready < DAYS else sum(p for one, p in LATENT.items() if one >= lag)
        elif infected is None and name in SEEN:
            return 0.0
    return found


def origins(course: Course, name: str) -> dict[str, float]:
    """Chance of each way in to have begun what reached a stocking."""
    infected = course[PLACES.index(name)][0]
    assert infected is not None
    if infected == -1:
        return {f"resident:{name[-1]}": 1.0}
    hazard, found = ways(course, name, infected), dict[str, float]()
    for way, size in hazard.items():
        for key, chance in (origins(course, way) if way in PLACES else {way: 1.0}).items():
            found[key] = found.get(key, 0.0) + chance * size / sum(hazard.values())
    return found


def test_density_equals_the_probability_of_every_course() -> None:
    every = list(courses())
    days = np.array([[DAYS if one is None else one for one, _ in course] for course in every])
    ready = np.array([[one for _, one in course] for course in every])
    built = model()
    found = log_density(built, days, ready, np.tile(built.rate_mean, (len(every), 1)))
    expected = np.array([probability(course) for course in every])
    possible = expected > 0
    assert possible.sum() > 500
    assert found[possible] == pytest.approx(np.log(expected[possible]), abs=1e-9)
    # what cannot be so lies far below: fish that were not there were not infected
    assert (found[~possible] < -100).all()


def test_sampler_equals_enumeration() -> None:
    by_key: dict[str, float] = {}
    b_infected = total = 0.0
    for course in courses():
        chance = probability(course)
        if chance > 0:
            total += chance
            b_infected += chance * (course[1][0] is not None)
            # the fish that left were infected before the new ones came
            for key, share in origins(course, "old A").items():
                by_key[key] = by_key.get(key, 0.0) + share * chance
    sampler = Sampler(model(), 64, np.random.default_rng(3))
    recorder = Recorder(sampler)
    for _ in range(400):
        sampler.sweep()
        recorder.record()
    kept = recorder.kept.settled()
    origin = np.concatenate(kept.origin).mean(axis=0)
    found = {entry.key: float(chance) for entry, chance in zip(sampler.model.entries, origin, strict=True)}
    assert found.keys() == by_key.keys() | {"delivery:new"}
    for key, chance in found.items():
        assert chance == pytest.approx(by_key.get(key, 0.0) / total, abs=0.012), key
    infected = (np.concatenate(kept.day) < DAYS).mean(axis=0)
    assert infected == pytest.approx([1.0, b_infected / total, 1.0], abs=0.012)


# --- the whole --------------------------------------------------------------------------------------------------------


def alone(**more: object) -> Room:
    """Costia in A, whose fish all died; on its own water, new fish from the start of October."""
    tanks = (Tank("A"), Tank("B"), Tank("C"))
    watch = Watch(("A", "B", "C"), FIRST, day(39))
    fields: dict[str, object] = {
        "batches": (
            Batch("old", FISH, "A", "North", "", day(2), 10),
            Batch("other", FISH, "B", number=10),
            Batch("third", FISH, "C", number=10),
            Batch("new", FISH, "A", "East", "", day(30), 10),
        ),
        "departures": (Departure(day(12), "C"),),
        "sightings": (Sighting("A", day(9), "signs"), Sighting("A", day(14), "deaths", 10)),
        "watches": (watch,),
    }
    return Room("Harbour Row Fish Room", FIRST, day(39), "costia", tanks=tanks, **(fields | more))  # type: ignore[arg-type]


def test_new_fish_in_an_emptied_tank_are_told_apart_from_the_old() -> None:
    found = trace(alone(), REFERENCE)
    assert found.candidates[0].key == "delivery:old"
    again, other, gone = found.tanks
    (before,) = found.earlier
    assert (again.tank, before.tank) == ("A", "A until 2026-09-15")
    assert before.seen
    assert before.infected == 1.0
    assert not again.seen
    # one delivery in ten brings it; ten days of looks without signs speak against that
    assert again.infected < 0.1
    assert again.status == "suspect", "nobody wrote that it was disinfected"
    assert other.status == "clean"
    assert (gone.shows, gone.status) == (0.0, "clean")
    assert any("Emptied and stocked again: A until 2026-09-15" in note for note in found.notes)
    assert any("C (2026-09-13)" in note for note in found.notes)
    assert {stop.tank: stop.status for stop in plan_round(found, REFERENCE).stops}["A"] == "suspect"
    assert {one.tank for one in learn_next(found, REFERENCE)} == {"A", "B"}


def test_the_same_without_the_stock_taken_says_that_it_is_there_still() -> None:
    """Where nobody counted the fish A is one tank, ill to the end."""
    found = trace(alone(batches=(), departures=(), sightings=(Sighting("A", day(9), "signs"),)), REFERENCE)
    assert found.earlier == ()
    assert found.tanks[0].status == "sick"
