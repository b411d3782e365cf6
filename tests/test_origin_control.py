"""Cutting links, whom to examine next, the round for today: against values worked out by hand on small rooms."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pytest

from wetmount.errors import InputError
from wetmount.origin import cut_links, learn_next, plan_round, trace
from wetmount.origin.ahead import Luck, live_links, spread_ahead
from wetmount.origin.model import build_model
from wetmount.origin.observations import fish_chances
from wetmount.origin.results import Draws, TankState, Trace
from wetmount.origin.room import Batch, Room, Sighting, System, Tank, Tool, Watch, Worker
from wetmount.reference import load_reference

REFERENCE = load_reference()
FIRST = datetime.date(2026, 9, 1)
LAST = datetime.date(2026, 9, 20)
FISH = "Poecilia reticulata"


def rack() -> Room:
    """Four tanks on a sump, one of them ill, and two that stand alone; a hose goes between the ill one and T5."""
    tanks = tuple(Tank(f"T{number}", "rack" if number < 4 else None) for number in range(6))
    names = tuple(tank.id for tank in tanks)
    return Room(
        "Harbour Row Fish Room",
        FIRST,
        LAST,
        "ich",
        systems=(System("rack"),),
        tanks=tanks,
        batches=tuple(Batch(f"old-{name}", FISH, name, number=10) for name in names),
        tools=(Tool("hose", ("T0", "T5")),),
        watches=(Watch(names, FIRST, LAST),),
        sightings=(Sighting("T0", datetime.date(2026, 9, 19), "signs"),),
    )


@pytest.fixture(scope="module")
def traced() -> Trace:
    return trace(rack(), REFERENCE)


def known(found: Trace, infected: int = 0, samples: int = 4000) -> Trace:
    """The same with one tank infectious for sure and the others clean for sure; rates at the table's figures."""
    model = build_model(found.room, REFERENCE)
    never = np.full((samples, 6), 10**6)
    day, ready = never.copy(), never.copy()
    day[:, infected], ready[:, infected] = 5, 10
    origin = np.zeros((samples, len(model.entries)))
    origin[:, -1] = 1.0
    draws = Draws(day, ready, never, np.tile(model.rate_mean, (samples, 1)), origin, np.full((samples, 6), -1))
    return replace(found, draws=draws)


def test_further_tanks_of_one_day_are_the_sums_of_their_hazards(traced: Trace) -> None:
    """One day: sump 0.3 over three tanks, hose 0.05 to one, outside 0.00003 to each (figures of link_rates.csv)."""
    found = known(traced)
    model = build_model(found.room, REFERENCE)
    luck = Luck.draw(model, 4000, np.random.default_rng(1))
    many = [
        spread_ahead(model, found.draws, live_links(model), 1, replace(luck, threshold=exponentials(seed)))[0]
        for seed in range(25)
    ]
    infected = np.mean([(day == 20).mean(axis=0) for day in many], axis=0)
    outside = 0.00003
    expected = [0] + [1 - np.exp(-(0.1 + outside))] * 3 + [1 - np.exp(-outside), 1 - np.exp(-(0.05 + outside))]
    assert infected == pytest.approx(expected, abs=0.003)


def exponentials(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).exponential(size=(4000, 6))


def test_cutting_a_link_spares_what_it_would_have_infected(traced: Trace) -> None:
    """With the rack's water cut only the hose is left: over two weeks 1 − exp(−14 · 0.05) of one tank."""
    found = cut_links(known(traced), REFERENCE, days=14)
    by_key = {one.key: one for one in found.alone}
    assert set(by_key) == {"sump:rack", "tool:hose"}
    assert by_key["sump:rack"].further == pytest.approx(1 - np.exp(-14 * 0.05), abs=0.08)
    assert by_key["tool:hose"].saved == pytest.approx(1 - np.exp(-14 * 0.05), abs=0.08)
    assert [one.key for one in found.alone] == ["sump:rack", "tool:hose"]
    assert found.together[-1].further == pytest.approx(0, abs=0.02)
    for one in found.alone:
        assert one.further + one.saved == pytest.approx(found.further)
        assert one.saved_per_hour == pytest.approx(one.saved * 60 / one.minutes)
    with pytest.raises(InputError, match="1 to 28"):
        cut_links(traced, REFERENCE, days=60)


def test_cuts_are_compared_on_the_same_chance(traced: Trace) -> None:
    """A cut never infects more in any single course."""
    assert all(one.low >= 0 for one in cut_links(traced, REFERENCE).alone)


def test_information_of_an_examination_by_hand(traced: Trace) -> None:
    """T1 infected in half of the samples, and then from the first candidate, else from the second: one fish tells.

    With chance f of finding it in one fish of an infected tank before signs: I = h(f/2) − h(f)/2 bits, of the whole
    course and, as the origin hangs together with T1, of the origin alike.
    """
    base = known(traced, samples=1000)
    day, origin = base.draws.infected_day.copy(), np.zeros((1000, base.draws.origin.shape[1]))
    day[:500, 1] = 15
    origin[:500, 0], origin[500:, 1] = 1.0, 1.0
    found = learn_next(replace(base, draws=replace(base.draws, infected_day=day, origin=origin)), REFERENCE)
    first = found[0]
    early, _ = fish_chances(first.examination, REFERENCE, REFERENCE.incubations["ich"])
    chance = 1 - (1 - early) ** first.fish

    def entropy(p: float) -> float:
        return float(-(p * np.log2(p) + (1 - p) * np.log2(1 - p)))

    assert first.tank == "T1"
    assert first.chance_found == pytest.approx(chance / 2)
    assert first.bits == pytest.approx(entropy(chance / 2) - entropy(chance) / 2)
    assert first.origin_bits == pytest.approx(first.bits)
    # the others are clean for sure: nothing to learn
    assert [one.bits for one in found[1:]] == pytest.approx([0] * 4, abs=1e-12)
    assert "T0" not in [one.tank for one in found]


def test_more_fish_are_never_less_informative_and_unknown_examinations_are_refused(traced: Trace) -> None:
    for one in learn_next(traced, REFERENCE):
        assert 0 <= one.origin_bits <= one.bits + 1e-9
        assert one.fish <= 10
        assert REFERENCE.examinations[one.examination].subject == "fish"
    assert learn_next(traced, REFERENCE, examination="water_test") == ()
    with pytest.raises(InputError, match="no examination"):
        learn_next(traced, REFERENCE, examination="sniffing")


def states(found: Trace, **status: str) -> Trace:
    tanks = tuple(
        TankState(one.tank, status.get(one.tank, "clean"), True, False, 0.0, 0.0, 0.0, None, None, None)  # type: ignore[arg-type]
        for one in found.tanks
    )
    return replace(found, tanks=tanks)


def test_round_goes_from_clean_to_sick_and_no_net_crosses(traced: Trace) -> None:
    found = plan_round(states(traced, T0="sick", T3="sick", T1="suspect", T4="suspect"), REFERENCE)
    assert [(stop.tank, stop.status) for stop in found.stops] == [
        ("T2", "clean"),
        ("T5", "clean"),
        ("T1", "suspect"),
        ("T4", "suspect"),
        ("T0", "sick"),
        ("T3", "sick"),
    ]
    assert [stop.turn for stop in found.stops] == [1, 2, 3, 4, 5, 6]
    nets = {stop.tank: stop.net for stop in found.stops}
    assert nets == {"T2": "white 1", "T5": "white 2", "T1": "yellow 1", "T4": "yellow 2", "T0": "red 1", "T3": "red 1"}
    assert {stop.tank: stop.shared_with for stop in found.stops}["T0"] == ("T3",)
    assert all(stop.gloves == "fresh gloves" for stop in found.stops if stop.status != "clean")


def test_round_follows_the_order_of_work_within_a_status(traced: Trace) -> None:
    tanks = tuple(Tank(tank.id, tank.system, order=9 - place) for place, tank in enumerate(traced.room.tanks))
    room = Room("Harbour Row Fish Room", FIRST, LAST, "ich", tanks=tanks, workers=(Worker("keeper", ("T0", "T1")),))
    found = plan_round(states(replace(traced, room=room), T0="sick"), REFERENCE)
    assert [stop.tank for stop in found.stops] == ["T5", "T4", "T3", "T2", "T1", "T0"]


def test_contact_times_are_those_of_the_table_and_of_what_works(traced: Trace) -> None:
    found = {(one.material, one.agent): one for one in plan_round(traced, REFERENCE).contacts}
    assert found["nets between tanks", "iodophor"].minutes_low == 10
    assert found["nets between tanks", "iodophor"].strength == "225 mg/L"
    # mycobacteria outlive chlorine and peroxymonosulphate: Mainous & Smith 2005
    hardy = plan_round(replace(traced, condition="mycobacteriosis"), REFERENCE).contacts
    agents = {one.agent for one in hardy}
    assert "ethanol" in agents
    assert not agents & {"peroxymonosulphate", "available chlorine", "ethanol 30 %", "sodium hypochlorite"}
