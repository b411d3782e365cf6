"""The round for today: tanks in order clean, suspect, sick, with net, bucket, gloves and contact times."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from wetmount.origin.results import Status, Trace
from wetmount.origin.room import Tank
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


def plan_round(trace: Trace, reference: Reference) -> Round:
    """Order of work for today, from a traced outbreak.

    Clean tanks first, then those with at least one chance in ten of being infected, then those in which it was seen;
    within each in the usual order of work, else as they stand. Clean tanks on one water share a net, sick ones on one
    water another; every suspect tank has its own, for it may be clean.
    """
    states = {state.tank: state for state in trace.tanks}
    tanks = sorted(
        trace.room.tanks, key=lambda tank: (ORDER.index(states[tank.id].status), _place(tank), states[tank.id].infected)
    )
    nets: dict[tuple[Status, str], str] = {}
    members: dict[str, list[str]] = {}
    for tank in tanks:
        status = states[tank.id].status
        water = f" {tank.id}" if status == "suspect" or tank.system is None else tank.system
        number = sum(colour == status for colour, _ in nets) + 1
        net = nets.setdefault((status, water), f"{COLOURS[status]} {number}")
        members.setdefault(net, []).append(tank.id)
    of_tank = {tank: net for net, own in members.items() for tank in own}
    stops, before = [], ""
    for turn, tank in enumerate(tanks, start=1):
        state = states[tank.id]
        gloves = ""
        if state.status != "clean":
            gloves = "fresh gloves"
        elif not before:
            gloves = "clean hands or gloves"
        before = state.status
        others = tuple(other for other in members[of_tank[tank.id]] if other != tank.id)
        stops.append(Stop(turn, tank.id, state.status, state.infected, of_tank[tank.id], others, gloves))
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
