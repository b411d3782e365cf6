"""The round for today: tanks in order clean, suspect, sick, with net, bucket, gloves and contact times."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from wetmount.origin.results import Status, Trace
from wetmount.origin.room import Room, Tank
from wetmount.reference import Reference
from wetmount.reference.rows import Disinfection

ORDER: Final[tuple[Status, ...]] = ("clean", "suspect", "sick")
COLOURS: Final[dict[Status, str]] = {"clean": "white", "suspect": "yellow", "sick": "red"}
"""Colour of net and bucket. A choice: any three that nobody mixes up."""
HARDY: Final = "mycobacteriosis"
"""What survives the usual disinfectants and has rows of its own in disinfection.csv."""
MATERIALS: Final = ("nets between tanks", "equipment", "hands")


@dataclass(frozen=True, slots=True)
class Stop:
    """One tank of the round."""

    turn: int
    tank: str
    status: Status
    infected: float
    """Chance of being infected."""
    net: str
    """Colour and number of net and bucket; nothing else goes into this tank, and they go nowhere else."""
    shared_with: tuple[str, ...]
    """Other tanks of the round with the same net: those on the same water, all clean or all sick."""
    gloves: str
    """What to do with gloves before this tank; empty = nothing."""
    also: tuple[str, ...] = ()
    """Other conditions that were seen in it, by name."""


@dataclass(frozen=True, slots=True)
class Contact:
    """A disinfectant and how long it has to act, from disinfection.csv."""

    material: str
    agent: str
    strength: str
    minutes_low: float
    minutes_high: float | None
    note: str
    basis: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Round:
    """Today's round, to be printed."""

    title: str
    stops: tuple[Stop, ...]
    rules: tuple[str, ...]
    contacts: tuple[Contact, ...]


def other_conditions(room: Room, condition: str) -> dict[str, tuple[str, ...]]:
    """Tank -> the conditions other than the one that is followed that were seen in it, by the whole record."""
    found: dict[str, list[str]] = {}
    seen = [(one.tank, one.condition) for one in room.sightings]
    seen += [(one.tank, one.condition) for one in room.checks if one.seen]
    for tank, named in seen:
        other = named or room.condition
        if other is not None and other != condition and other not in found.setdefault(tank, []):
            found[tank].append(other)
    return {tank: tuple(others) for tank, others in found.items() if others}


def plan_round(trace: Trace, reference: Reference, others: Mapping[str, Sequence[str]] | None = None) -> Round:
    """Order of work for today, from a traced outbreak; `others` as `other_conditions` gives them.

    Clean tanks first, then those with at least one chance in ten of being infected, then those in which it was seen;
    within each in the usual order of work, else as they stand. Clean tanks on one water share a net, sick ones on one
    water another; every suspect tank has its own, for it may be clean. A tank in which another condition was seen is
    sick too: it comes after the suspect ones, and its net is its own.
    """
    others = others or {}
    states = {state.tank: state for state in trace.tanks}
    taken: dict[str, Status] = {id: "sick" if others.get(id) else state.status for id, state in states.items()}

    def rank(tank: Tank) -> tuple[int, bool, tuple[float, str, int, int, str]]:
        return ORDER.index(taken[tank.id]), states[tank.id].status == "sick", _place(tank)

    tanks = sorted(trace.room.tanks, key=rank)
    nets: dict[tuple[Status, str], str] = {}
    members: dict[str, list[str]] = {}
    for tank in tanks:
        status = taken[tank.id]
        alone = status == "suspect" or tank.system is None or bool(others.get(tank.id))
        water = f" {tank.id}" if alone else str(tank.system)
        number = sum(colour == status for colour, _ in nets) + 1
        net = nets.setdefault((status, water), f"{COLOURS[status]} {number}")
        members.setdefault(net, []).append(tank.id)
    of_tank = {tank: net for net, own in members.items() for tank in own}
    stops, before = [], ""
    for turn, tank in enumerate(tanks, start=1):
        state = states[tank.id]
        gloves = ""
        status = taken[tank.id]
        if status != "clean":
            gloves = "fresh gloves"
        elif not before:
            gloves = "clean hands or gloves"
        before = status
        shared = tuple(other for other in members[of_tank[tank.id]] if other != tank.id)
        also = tuple(reference.conditions[id].name for id in others.get(tank.id, ()))
        stops.append(Stop(turn, tank.id, status, state.infected, of_tank[tank.id], shared, gloves, also))
    rules = (
        "Never back to a tank earlier in the list; what was forgotten there waits until tomorrow.",
        "Net and bucket go into the tanks named beside them and nowhere else.",
        "Into disinfectant for the full contact time after each suspect or sick tank, then rinse and dry.",
        "Wash hands and forearms with soap after the last tank.",
        "The label of the disinfectant holds where it asks for more; none of it may reach the fish.",
    )
    return Round(f"Round for {trace.room.name}", tuple(stops), rules, _contacts(trace.condition, reference))


def _place(tank: Tank) -> tuple[float, str, int, int, str]:
    last = float("inf")
    return (last if tank.order is None else tank.order, tank.rack or "~", tank.row or 0, tank.place or 0, tank.id)


def _contacts(condition: str, reference: Reference) -> tuple[Contact, ...]:
    """Rows that work: for what survives the usual agents its own, else those for nets, equipment and hands."""
    materials = ("surfaces against mycobacteria", "hands") if condition == HARDY else MATERIALS
    rows = [row for row in reference.disinfection if row.material in materials and row.works == "yes"]
    return tuple(
        Contact(
            row.material, row.agent, _strength(row), row.minutes_low, row.minutes_high, row.note, row.basis, row.sources
        )
        for row in sorted(rows, key=lambda row: materials.index(row.material))
    )


def _strength(row: Disinfection) -> str:
    return "" if row.amount is None else f"{row.amount:g} {row.unit}".strip()
