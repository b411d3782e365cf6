"""Amounts of the agents of a plan, worked out from what is in hand of each; or what is still open."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from wetmount.case import Plan, PlanAgent
from wetmount.dose import DoseAnswer, Order, dose
from wetmount.dose_typed import volume_of
from wetmount.dose_units import parse_strength
from wetmount.dose_writing import write_quantity
from wetmount.hard_stops import BATHS, CHECKS, Stop, required_checks
from wetmount.plan.options import WATER_RULES, TankFacts, life_beside, prescription_of
from wetmount.reference import Reference
from wetmount.reference.rows import DoseRow
from wetmount.units import parse_quantity

CHANGED_BEFORE: Final = 0.5
"""Share of the water changed in the hour before each further dose, as the keeper's page has it."""
CONTAINER: Final = "the water of the container is not known: say how much goes into it"


def order_for(treatment: str, agent: PlanAgent, tank: TankFacts, reference: Reference) -> Order:
    """The order of an agent: for the water of the tank, or of the container where it is given in one.

    InputError, naming the field, for a quantity, strength or dose that cannot be read.
    """
    row, field = reference.doses[treatment], f"plan.agents.{treatment}"
    life = life_beside(row, tank.life)
    volume = tank.volume if row.place != "container" else None
    if agent.volume is not None:
        volume = volume_of(agent.volume, field=f"{field}.volume")
    weight = agent.biomass
    return Order(
        treatment,
        life,
        tank.water,
        volume=volume,
        dose=agent.dose,
        strength=parse_strength(agent.strength, field=f"{field}.strength") if agent.strength is not None else None,
        step=agent.step,
        present=tank.present,
        confirmed=tank.confirmed | frozenset(agent.checked),
        lawful_here=tank.lawful_here,
        prescription=prescription_of(agent),
        biomass_g=parse_quantity(weight, "weight", field=f"{field}.biomass").value if weight is not None else None,
        ration_percent=agent.ration_percent,
        share_eating=(agent.eating_percent or 100.0) / 100,
    )


def amounts_for(
    plan: Plan, tank: TankFacts, reference: Reference, treatments: Iterable[str] | None = None
) -> dict[str, DoseAnswer]:
    """The worked-out dose of each agent that the plan chose (or of `treatments`); none where its further doses would
    bring what is in the water over the hard stop."""
    days = {step.option: len(step.days) for step in plan.steps if step.kind == "treat" and step.option is not None}
    answers = {}
    for id in dict.fromkeys(days if treatments is None else treatments):
        if id in reference.doses:
            answer = dose(order_for(id, plan.agents.get(id, PlanAgent()), tank, reference), reference)
            answers[id] = _within_repeats(answer, days.get(id, 1), reference.doses[id])
    return answers


def _within_repeats(answer: DoseAnswer, givings: int, row: DoseRow) -> DoseAnswer:
    """A dose into the tank is given again after half the water was changed, and nothing counts as lost (worked
    examples, section J: a hard stop applies to the running total)."""
    most = answer.bounds.most if answer.bounds is not None else None
    reached = answer.concentration
    if most is None or reached is None or row.place != "tank" or row.route not in BATHS or row.rule in WATER_RULES:
        return answer
    highest = reached.at_low_volume * sum((1 - CHANGED_BEFORE) ** n for n in range(givings))
    if highest <= most * (1 + 1e-9):
        return answer
    words = (
        f"{givings} doses of {write_quantity(reached.at_low_volume, answer.unit)}, half the water changed between, "
        f"reach {write_quantity(highest, answer.unit)} with nothing lost, above the hard stop of "
        f"{write_quantity(most, answer.unit)}: give less, or once"
    )
    stop = Stop("repeats", words, f"doses {answer.treatment}")
    return replace(answer, stops=(*answer.stops, stop), amount=None, concentration=None, written=())


def open_points(answer: DoseAnswer, reference: Reference) -> tuple[str, ...]:
    """Why there is no amount, in sentences; empty when there is one."""
    row = reference.doses[answer.treatment]
    points = []
    for stop in answer.stops:
        container = stop.id == "volume" and row.place == "container"
        points.append(CONTAINER if container else stop.text)
    return (*points, *(question.text for question in answer.questions))


def checks_of(treatment: str, reference: Reference) -> tuple[tuple[str, str], ...]:
    """What has to be made sure of before an amount is given: (id, words)."""
    return tuple((id, CHECKS[id]) for id in required_checks(reference.doses[treatment]))
