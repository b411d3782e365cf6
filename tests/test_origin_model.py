"""The transmission model and its sampler against exact enumeration, and against published shares of infectors.

Exact sources: four tanks with five dated contacts (every one of 2^5 outcomes counted by hand), and a small room whose
every course is enumerated here in plain Python, apart from the arrays of the model.
"""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterator
from dataclasses import replace
from math import exp, log, log1p

import msgspec
import numpy as np
import pytest

from wetmount.errors import InputError
from wetmount.origin import learn_next, trace
from wetmount.origin.links import Links, Piece, find_links
from wetmount.origin.model import Model, build_model, hazards, log_density
from wetmount.origin.observations import day_chances
from wetmount.origin.recorder import Recorder
from wetmount.origin.room import (
    Batch,
    Check,
    Contact,
    Move,
    Room,
    Sighting,
    System,
    Tank,
    Tool,
    Watch,
    Worker,
)
from wetmount.origin.sampler import Sampler
from wetmount.reference import load_reference

REFERENCE = load_reference()
FIRST = datetime.date(2026, 9, 1)
NONE = log(1e-300)


def day(number: int) -> datetime.date:
    return FIRST + datetime.timedelta(days=number)


def room_of(names: str, days: int, **fields: object) -> Room:
    fields = {"tanks": tuple(Tank(name) for name in names), "condition": "columnaris"} | fields
    return Room("Harbour Row Fish Room", FIRST, day(days - 1), **fields)  # type: ignore[arg-type]


# --- four tanks, contacts that pass with chance 1/2 -----------------------------------------------------------------

CONTACTS = [("A", "B", 1), ("B", "C", 2), ("C", "D", 3), ("A", "C", 4), ("B", "D", 5)]

# Posterior over the four sources, by hand from all 2^5 outcomes.
OBSERVED = [
    ("infected exactly B and C", [0, 1 / 3, 2 / 3, 0], {"B": "yes", "C": "yes", "A": "no", "D": "no"}),
    ("D infected, A clean", [0, 7 / 41, 10 / 41, 24 / 41], {"D": "yes", "A": "no"}),
    ("all infected", [8 / 31, 11 / 31, 8 / 31, 4 / 31], {"A": "yes", "B": "yes", "C": "yes", "D": "yes"}),
    ("D on day 3, B infected", [1 / 6, 1 / 3, 1 / 2, 0], {"D": "day 3", "B": "yes"}),
]


def four_tanks(seen: dict[str, str], resident: float) -> Model:
    contacts = tuple(Contact(day(on), *ends) for one, other, on in CONTACTS for ends in ((one, other), (other, one)))
    room = room_of("ABCD", 6, contacts=contacts, sightings=(Sighting("A", day(5), "signs"),))
    model = build_model(room, REFERENCE)
    likelihood = np.zeros((4, 8))
    for name, what in seen.items():
        place = "ABCD".index(name)
        if what == "yes":
            likelihood[place, -1] = NONE
        elif what == "no":
            likelihood[place, :-1] = NONE
        else:
            likelihood[place] = NONE
            likelihood[place, 1 + 3] = 0.0
    latent = np.zeros(7)
    latent[1] = 1.0
    return replace(
        model,
        likelihood=likelihood,
        latent=latent,
        resident=np.full(4, resident),
        rate_mean=np.array([log(log(2)), log(1e-12)]),
        rate_sd=np.full(2, 1e-9),
    )


@pytest.mark.parametrize(("what", "expected", "seen"), OBSERVED)
def test_density_gives_the_exact_source_of_four_tanks(what: str, expected: list[float], seen: dict[str, str]) -> None:
    model = four_tanks(seen, 1e-6)
    days = np.array([one for one in itertools.product(range(-1, 7), repeat=4) if one.count(-1) == 1])
    infectious = np.where(days == -1, 0, np.minimum(days + 1, 6))
    log_rates = np.tile(model.rate_mean, (len(days), 1))
    chance = np.exp(log_density(model, days, infectious, log_rates))
    found = [chance[days[:, tank] == -1].sum() for tank in range(4)]
    assert np.array(found) / sum(found) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("what", "expected", "seen"), OBSERVED)
def test_sampler_gives_the_exact_source_of_four_tanks(what: str, expected: list[float], seen: dict[str, str]) -> None:
    sampler = Sampler(four_tanks(seen, 0.2), 64, np.random.default_rng(7))
    kept = []
    for sweep in range(400):
        sampler.sweep()
        if sweep >= 40:
            kept.append(sampler.state.day[:, sampler.plain].T.copy())
    days = np.concatenate(kept)
    one = days[(days == -1).sum(axis=1) == 1]
    assert len(one) > 4000
    # neighbouring sweeps hang together: a few thousand of them are worth about a thousand
    assert (one == -1).mean(axis=0) == pytest.approx(expected, abs=0.035)


# --- a small room, every course enumerated --------------------------------------------------------------------------

SMALL_DAYS = 5
SUMP, MOVE = 0.6, 0.4
"""Hazard of one infectious tank for both others on its sump together; of one moved fish."""
SIZE = {0: ((10 + 10 + 8 + 8 + 8) / 5 / 10) ** 0.5, 1: 1.0}
"""Factor on what A and B shed: root of their mean fish over the median of 8.8, 10 and 19.2 (A gave two to C)."""


def small_room() -> Room:
    """Tanks A and B on a sump, C alone; two fish go from A to C on day 2; a batch comes into C on day 1."""
    return room_of(
        "ABC",
        SMALL_DAYS,
        systems=(System("rack"),),
        tanks=(Tank("A", "rack"), Tank("B", "rack"), Tank("C")),
        batches=(
            Batch("old", "Poecilia reticulata", "A", number=10),
            Batch("older", "Poecilia reticulata", "B", number=10),
            Batch("oldest", "Poecilia reticulata", "C", number=10),
            Batch("new", "Poecilia reticulata", "C", "East", "", day(1), 10),
        ),
        moves=(Move(day(2), "A", "C", 2),),
        watches=(Watch(("A", "C"), FIRST, day(4)),),
        sightings=(Sighting("A", day(3), "signs", not_before=day(0)),),
        checks=(Check("B", day(4), False, "skin_scrape", 2), Check("C", day(4), True, "skin_scrape", 3)),
    )


RESIDENT, DELIVERY, OUTSIDE = 0.05, 0.1, 0.01


def small_model() -> Model:
    model = build_model(small_room(), REFERENCE)
    assert model.kinds == ("sump", "move", "outside")
    pulse = np.zeros((3, SMALL_DAYS))
    pulse[2, 1] = -log1p(-DELIVERY)
    return replace(
        model,
        rate_mean=np.log([SUMP, MOVE, OUTSIDE]),
        rate_sd=np.full(3, 1e-9),
        resident=np.full(3, RESIDENT),
        pulse=pulse,
    )


def seen_given(tank: str, infected: int | None) -> float:
    """Probability of what was seen in a tank, all days of first signs summed; columnaris, by the table's figures."""
    times = REFERENCE.incubations["columnaris"]
    if infected is None:
        return 0.0 if tank in "AC" else 1.0
    incubation = day_chances(times.incubation_low_d, times.incubation_high_d, 1, 400)
    link = max(
        row.probability
        for row in REFERENCE.links
        if row.condition == "columnaris"
        and row.level == 1
        and row.finding in REFERENCE.examinations["skin_scrape"].short_list
        and REFERENCE.findings[row.finding].kind == "organism"
    )
    detection = REFERENCE.examinations["skin_scrape"].detection
    early, late = times.carried_early * link * detection[0], times.carried_late * link * detection[1]
    total = 0.0
    if infected == -1:
        # infected on any day of the past alike, signs not begun before the record
        ahead = np.array([incubation[left + 1 :].sum() for left in range(400)])
        signs = list(enumerate(times.shows * ahead / ahead.sum()))
    else:
        signs = [(infected + lag, times.shows * share) for lag, share in enumerate(incubation)]
    for begins, chance in [*signs, (1000, 1 - times.shows)]:
        miss = 1 - times.noticed
        if tank == "A":
            # looked at on days 0 to 4, signs noticed on day 3
            fits = miss ** sum(begins <= look for look in range(3)) * times.noticed if begins <= 3 else 0.0
        elif tank == "C":
            looked = miss ** sum(begins <= look for look in range(5))
            found = 1 - (1 - (late if begins <= 4 else early)) ** 3
            fits = looked * (found if infected <= 4 else 0.0)
        else:
            fits = (1 - (late if begins <= 4 else early)) ** 2
        total += chance * fits
    return total


Course = tuple[tuple[int | None, int], ...]


def courses() -> Iterator[Course]:
    """Every combination of days of infection (−1 before, None never) and of becoming infectious."""
    one = [(-1, 0), (None, SMALL_DAYS)]
    one += [(on, ready) for on in range(SMALL_DAYS) for ready in range(on + 1, SMALL_DAYS + 1)]
    yield from itertools.product(one, repeat=3)


def ways(course: Course, tank: int, on: int) -> dict[object, float]:
    """Hazards on a tank by where they come from."""
    found: dict[object, float] = {"outside": OUTSIDE}
    if tank == 2 and on == 1:
        found["delivery:new"] = -log1p(-DELIVERY)
    if tank < 2 and course[1 - tank][1] <= on:
        found[1 - tank] = SUMP * SIZE[1 - tank]
    if tank == 2 and on == 2 and course[0][1] <= 2:
        found[0] = 2 * MOVE
    return found


def probability(course: Course) -> float:
    """Of the course and of what was seen."""
    times = REFERENCE.incubations["columnaris"]
    latent = day_chances(times.latent_low_d, times.latent_high_d, 1, 60)
    found = 1.0
    for tank, (infected, ready) in enumerate(course):
        found *= RESIDENT if infected == -1 else 1 - RESIDENT
        for on in range(SMALL_DAYS if infected is None else max(infected, 0)):
            found *= exp(-sum(ways(course, tank, on).values()))
        if infected is not None and infected >= 0:
            found *= 1 - exp(-sum(ways(course, tank, infected).values()))
            lag = ready - infected
            found *= latent[lag] if ready < SMALL_DAYS else latent[lag:].sum()
        found *= seen_given("ABC"[tank], infected)
    return found


def origins(course: Course, tank: int) -> dict[str, float]:
    """Chance of each way in to have begun what reached a tank."""
    infected = course[tank][0]
    assert infected is not None
    if infected == -1:
        return {f"resident:{'ABC'[tank]}": 1.0}
    hazard = ways(course, tank, infected)
    found: dict[str, float] = {}
    for way, size in hazard.items():
        share = size / sum(hazard.values())
        above = origins(course, way) if isinstance(way, int) else {str(way): 1.0}
        for key, chance in above.items():
            found[key] = found.get(key, 0.0) + share * chance
    return found


@pytest.fixture(scope="module")
def enumerated() -> tuple[dict[str, float], list[float], float]:
    """Origin of the first infected of A and C, chance that each tank is infected, probability of what was seen."""
    by_key: dict[str, float] = {}
    infected, total = [0.0, 0.0, 0.0], 0.0
    for course in courses():
        chance = probability(course)
        if chance == 0:
            continue
        total += chance
        days = [one[0] for one in course]
        earliest = min(days[0], days[2])  # type: ignore[type-var]
        firsts = [tank for tank in (0, 2) if days[tank] == earliest]
        for first in firsts:
            for key, share in origins(course, first).items():
                by_key[key] = by_key.get(key, 0.0) + share * chance / len(firsts)  # type: ignore[operator]
        for tank in range(3):
            infected[tank] += chance * (days[tank] is not None)
    return {key: chance / total for key, chance in by_key.items()}, [one / total for one in infected], total


def test_density_equals_the_probability_of_every_course() -> None:
    model = small_model()
    every = list(courses())
    days = np.array([[SMALL_DAYS if one is None else one for one, _ in course] for course in every])
    ready = np.array([[one for _, one in course] for course in every])
    found = log_density(model, days, ready, np.tile(model.rate_mean, (len(every), 1)))
    expected = np.array([probability(course) for course in every])
    possible = expected > 0
    assert found[possible] == pytest.approx(np.log(expected[possible]), abs=1e-9)
    assert (found[~possible] < -600).all()


def test_sampler_equals_enumeration(enumerated: tuple[dict[str, float], list[float], float]) -> None:
    by_key, infected, _ = enumerated
    model = small_model()
    sampler = Sampler(model, 64, np.random.default_rng(3))
    recorder = Recorder(sampler)
    for _ in range(500):
        sampler.sweep()
        recorder.record()
    kept = recorder.kept.settled()
    origin = np.concatenate(kept.origin).mean(axis=0)
    found = {entry.key: float(chance) for entry, chance in zip(model.entries, origin, strict=True)}
    assert found.keys() == by_key.keys() | {"resident:B"}
    for key, chance in found.items():
        assert chance == pytest.approx(by_key.get(key, 0.0), abs=0.012), key
    assert (np.concatenate(kept.day) < SMALL_DAYS).mean(axis=0) == pytest.approx(infected, abs=0.012)


def test_the_drawn_infectors_follow_the_shares() -> None:
    """Roots from drawn infectors, and chances of candidates summed over all infectors, agree."""
    model = small_model()
    sampler = Sampler(model, 64, np.random.default_rng(5))
    recorder = Recorder(sampler)
    for _ in range(300):
        sampler.sweep()
        recorder.record()
    kept = recorder.kept.settled()
    infector, first = np.concatenate(kept.infector), np.concatenate(kept.first)
    drawn = np.bincount(infector[np.arange(len(first)), first] - 3, minlength=len(model.entries)) / len(first)
    assert drawn == pytest.approx(np.concatenate(kept.origin).mean(axis=0), abs=0.01)


# --- who infected whom ----------------------------------------------------------------------------------------------

# Wallinga & Teunis 2004 (from memory); inputs of the first from the manual of the R package IDSpatialStats, worked by
# hand: onset days, weight by lag, shares of infectors, individual reproduction numbers.
WHO = [
    ([1, 2, 2, 3, 3], {1: 2 / 3, 2: 1 / 3}, [2.4, 0.8, 0.8, 0.0, 0.0]),
    ([0, 1, 2, 3, 3], {1: 1 / 2, 2: 3 / 10, 3: 1 / 5}, [1.775, 1.225, 1.0, 0.0, 0.0]),
]


@pytest.mark.parametrize(("onsets", "weights", "numbers"), WHO)
def test_shares_are_those_of_wallinga_and_teunis(
    onsets: list[int], weights: dict[int, float], numbers: list[float]
) -> None:
    room = room_of("ABCDE", 5, sightings=(Sighting("A", day(0), "signs"),))
    pieces = tuple(
        Piece("other", "", one, other, weights[later - earlier], later, later)
        for (one, earlier), (other, later) in itertools.permutations(enumerate(onsets), 2)
        if later - earlier in weights
    )
    model = build_model(room, REFERENCE)
    strength = np.zeros((1, 0, 5))
    links = Links(model.links.tanks, 5, ("other",), np.array([], int), np.array([], int), strength, pieces)
    sampler = Sampler(
        replace(model, links=links, rate_mean=np.array([0.0, -60.0]), rate_sd=np.ones(2)), 1, np.random.default_rng(1)
    )
    sampler.state.day[:] = np.array(onsets)[:, None]
    sampler.state.infectious[:] = np.array(onsets)[:, None] + 1
    sampler.state.log_rates[:] = [[0.0], [-60.0]]
    sampler._lay_out()
    shares = Recorder(sampler).shares()[0]
    assert shares[:, :5].sum(axis=0) == pytest.approx(numbers, abs=1e-9)


# --- links ----------------------------------------------------------------------------------------------------------


def test_what_the_sampler_keeps_up_equals_the_hazards_worked_out_afresh() -> None:
    room = msgspec.structs.replace(
        small_room(),
        tools=(Tool("hose", ("A", "B", "C"), day(1), day(3)),),
        workers=(Worker("keeper", ("A", "B", "C")),),
        contacts=(Contact(day(3), "C", "B", "water"),),
    )
    model = build_model(room, REFERENCE)
    sampler = Sampler(model, 8, np.random.default_rng(2))
    for _ in range(20):
        sampler.sweep()
    plain = sampler.plain
    days, infectious, log_rates = (
        part[:, plain].T for part in (sampler.state.day, sampler.state.infectious, sampler.state.log_rates)
    )
    fresh = hazards(model, infectious, log_rates)
    inside = (days >= 0) & (days < SMALL_DAYS)
    hit = np.take_along_axis(fresh, np.clip(days, 0, SMALL_DAYS - 1)[:, :, None], axis=2)[:, :, 0]
    assert sampler.hit[:, plain].T[inside] == pytest.approx(hit[inside], rel=1e-9)
    for tank in range(3):
        borne = sampler.borne(tank)[:, plain].T
        assert borne == pytest.approx(fresh[:, tank], rel=1e-9)


def test_shared_things_divide_the_rate_and_dated_ones_count_on_their_day() -> None:
    room = room_of(
        "ABCD",
        4,
        systems=(System("rack"),),
        tanks=tuple(Tank(name, "rack", "rack", 1, place + 1, order=place + 1) for place, name in enumerate("ABCD")),
        contacts=(Contact(day(2), "A", "C", "plants"),),
        moves=(Move(day(1), "B", "A", 3),),
        workers=(Worker("keeper", ("D", "C", "B", "A")),),
    )
    links = find_links(room, REFERENCE)
    assert links.kinds == ("sump", "neighbour", "worker", "move", "plants")

    def strength(kind: str, source: str, target: str) -> list[float]:
        rows = (links.source == "ABCD".index(source)) & (links.target == "ABCD".index(target))
        return links.strength[links.kinds.index(kind), rows][0].tolist()

    assert strength("sump", "A", "C") == pytest.approx([1 / 3] * 4)
    assert strength("neighbour", "A", "B") == [1, 1, 1, 1]
    assert strength("neighbour", "A", "C") == [0, 0, 0, 0]
    assert strength("plants", "A", "C") == [0, 0, 1, 0]
    assert strength("plants", "C", "A") == [0, 0, 0, 0]
    assert strength("move", "B", "A") == [0, 3, 0, 0]
    # hands reach the next tank in the order of work, half as far each one after it, and nobody before
    assert [strength("worker", "A", other)[0] for other in "BCD"] == [0.5, 0.25, 0.125]
    assert strength("worker", "D", "A") == [0, 0, 0, 0]


def test_a_tank_that_nobody_looked_at_says_nothing() -> None:
    model = build_model(small_room(), REFERENCE)
    alone = msgspec.structs.replace(small_room(), watches=(), checks=())
    silent = build_model(alone, REFERENCE)
    assert np.ptp(silent.likelihood[1]) == pytest.approx(0, abs=1e-12)
    assert np.ptp(silent.likelihood[2]) == pytest.approx(0, abs=1e-12)
    assert np.ptp(model.likelihood[1]) > 0.1


def test_looks_without_signs_speak_against_an_early_infection() -> None:
    room = room_of("AB", 30, watches=(Watch(("B",), FIRST, day(29)),), sightings=(Sighting("A", day(20), "signs"),))
    never, early = build_model(room, REFERENCE).likelihood[1, [-1, 5]]
    times = REFERENCE.incubations["columnaris"]
    # 20 looks after signs notice nearly all that show: what is left are the tanks that never do
    assert exp(early - never) == pytest.approx(1 - times.shows, abs=0.01)


# --- the whole ------------------------------------------------------------------------------------------------------


def test_a_plain_case_is_told_with_its_route() -> None:
    """A delivery into an empty quarantine tank falls ill, and so does the tank that its fish were moved to."""
    names = [f"T{number}" for number in range(8)]
    room = Room(
        "Harbour Row Fish Room",
        FIRST,
        day(29),
        "ich",
        systems=(System("rack"),),
        tanks=(*(Tank(name) for name in (*names, "Q1")), Tank("empty", "rack"), Tank("Q2", "rack")),
        batches=(
            Batch("guppies", "Poecilia reticulata", "Q2", number=6),
            *(Batch(f"old-{name}", "Poecilia reticulata", name, number=12) for name in names),
            Batch("rainbows", "Melanotaenia boesemani", "Q1", "North", "", day(4), 20),
        ),
        moves=(Move(day(12), "Q1", "T3", 5),),
        watches=(Watch((*names, "Q1"), FIRST, day(29)),),
        sightings=(Sighting("Q1", day(10), "signs"), Sighting("T3", day(18), "signs")),
    )
    parts: list[float] = []
    found = trace(room, REFERENCE, progress=lambda part: parts.append(part.candidates[0].probability))
    assert found.convergence.converged
    assert parts
    assert found.candidates[0].key == "delivery:rainbows"
    assert found.candidates[0].probability > 0.95
    assert found.can_tell
    assert found.credible == ("delivery:rainbows",)
    assert found.candidates[0].start == day(4)
    route = next(one for one in found.routes if one.to_tank == "T3")
    assert (route.from_tank, route.kind, route.low) == ("Q1", "move", day(12))
    assert sum(one.probability for one in found.candidates) == pytest.approx(1, abs=1e-6)
    assert "outside" in [one.key for one in found.candidates]
    states = {one.tank: one for one in found.tanks}
    assert states["Q1"].status == states["T3"].status == "sick"
    assert states["T1"].status == "clean"
    # no fish ever came into it, so it cannot have caught anything, and nobody is sent to examine it
    assert states["empty"].infected == states["empty"].shows == 0
    assert "empty" not in {one.tank for one in learn_next(found, REFERENCE)}
    msgspec.json.encode(found.as_data())


def test_the_same_seed_gives_the_same_and_candidates_alike_are_not_told_apart() -> None:
    """Two tanks on one sump, both from the start, signs on the same day: nobody can say which."""
    room = room_of(
        "AB",
        20,
        condition="ich",
        systems=(System("rack"),),
        tanks=(Tank("A", "rack"), Tank("B", "rack")),
        watches=(Watch(("A", "B"), FIRST, day(19)),),
        sightings=(Sighting("A", day(9), "signs"), Sighting("B", day(9), "signs")),
    )
    found, again = (trace(room, REFERENCE, seed=4) for _ in range(2))
    assert [one.probability for one in found.candidates] == [one.probability for one in again.candidates]
    by_key = {one.key: one.probability for one in found.candidates}
    assert by_key["resident:A"] == pytest.approx(by_key["resident:B"], abs=0.09)
    assert not found.can_tell
    assert "cannot tell" in found.verdict


def test_cancelled_at_once_it_says_so() -> None:
    found = trace(small_room(), REFERENCE, cancel=lambda: True)
    assert found.convergence.stopped
    assert not found.convergence.converged
    assert "first idea only" in found.convergence.sentence


def test_chains_cut_short_are_called_not_converged() -> None:
    found = trace(small_room(), REFERENCE, most_sweeps=16)
    assert not found.convergence.converged
    assert found.convergence.sentence.startswith("Not converged")


REFUSED: list[tuple[str, dict[str, object], str]] = [
    ("no condition", {"condition": None}, "no condition to trace"),
    ("one that does not spread", {"condition": "ammonia_poisoning"}, "not known to spread"),
    ("seen nowhere", {"sightings": (), "checks": ()}, "seen in no tank"),
    ("unknown tank", {"moves": (Move(FIRST, "A", "Z"),)}, "'Z' is not a tank"),
    ("unknown examination", {"checks": (Check("A", FIRST, True, "sniffing"),)}, "no examination"),
    ("a day outside", {"sightings": (Sighting("A", day(40), "signs"),)}, "not within the record"),
    ("no tanks", {"tanks": ()}, "0 tanks"),
]


@pytest.mark.parametrize(("what", "fields", "words"), REFUSED)
def test_what_cannot_be_traced_is_refused_in_a_sentence(what: str, fields: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        trace(msgspec.structs.replace(small_room(), **fields), REFERENCE)
