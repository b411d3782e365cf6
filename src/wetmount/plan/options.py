"""Options for a mixture of causes, compared alike: husbandry, agents, watch, examine more, refer, relieve suffering.

What an option is expected to cover is the belief in each explanation times the mean effect of the option on its causes
(effects of treats.csv, each with its row); what it risks are the refusals, cautions and the stages it spares.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import Final

from wetmount.case import PlanAgent
from wetmount.cautions import CautionShown, cautions_of, select_conditions
from wetmount.hard_stops import (
    STAYING,
    Life,
    Prescription,
    Present,
    Stop,
    WaterState,
    bounds_for,
    conflict_between,
    hard_stops,
    required_checks,
    stops_without_amount,
)
from wetmount.reference import Reference
from wetmount.reference.rows import DoseRow, HusbandryStep, Treats
from wetmount.volume import Volume
from wetmount.weighup.results import WeighUp

WATER_RULES: Final = ("chloride_to_nitrite", "thiosulphate_to_chlorine", "bicarbonate_per_dkh")
OPENED_FROM: Final = 0.1
"""Probability from which a predisposing condition calls for a step (judgement: a step of husbandry costs little)."""


@dataclass(frozen=True, slots=True)
class TankFacts:
    """The fish and the water the plan is for, what was given before, and what the law here allows if it is known."""

    life: Life
    water: WaterState = field(default_factory=WaterState)
    volume: Volume | None = None
    present: tuple[Present, ...] = ()
    confirmed: frozenset[str] = frozenset()
    lawful_here: bool | None = None
    prescriptions: dict[str, Prescription] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Cover:
    """One condition an option acts on: the chance that it is responsible, the effect (0-1, None: not in numbers), the
    kind of evidence, and the table row."""

    condition: str
    probability: float
    effect: float | None
    evidence: str
    row: str


@dataclass(frozen=True, slots=True)
class Option:
    """Something that can be done. `expected` is the share of the belief it is expected to cover, None where no number
    is known. `ready` is False while a stop stands; `not_first` says why it does not come first; `leaves_open` are the
    predisposing conditions that it does not change."""

    id: str
    kind: str
    title: str
    text: str
    covers: tuple[Cover, ...]
    expected: float | None
    risks: tuple[str, ...]
    spares: str
    stops: tuple[Stop, ...]
    not_first: str | None
    leaves_open: tuple[str, ...]
    urgency: str = "now"

    @property
    def ready(self) -> bool:
        """Whether no stop stands against it."""
        return not self.stops


@dataclass(frozen=True, slots=True)
class Plan:
    """Options in the order in which they would be taken. `statements` say which causes have no known agent; `apart`
    says how long between two agents; `opened` are the predisposing conditions that call for a step."""

    options: tuple[Option, ...]
    leading: tuple[str, ...]
    opened: tuple[str, ...]
    statements: tuple[str, ...]
    apart: tuple[str, ...]
    cautions: tuple[CautionShown, ...]
    reference_version: str

    def option(self, id: str) -> Option:
        """The option of an id; KeyError when there is none."""
        for one in self.options:
            if one.id == id:
                return one
        raise KeyError(id)


def agents_for(condition: str, reference: Reference) -> tuple[Treats, ...]:
    """Rows of treats.csv that act on a condition, the most effective first; rows without effect are left out."""
    rows = [row for row in reference.treats if row.condition == condition and row.effect and not row.target]
    return tuple(sorted(rows, key=lambda row: -(row.effect or 0)))


def none_known(condition: str, reference: Reference) -> str | None:
    """The statement that no agent of the tables treats a condition; None when one does."""
    if agents_for(condition, reference):
        return None
    return f"{reference.conditions[condition].name}: none known, no agent of the tables treats it"


def husbandry_for(condition: str, reference: Reference) -> tuple[HusbandryStep, ...]:
    """Steps without an agent: the condition's own rows, else those of its group."""
    own = [step for step in reference.husbandry if step.applies_to == condition]
    group = reference.conditions[condition].group
    return tuple(own or [step for step in reference.husbandry if step.applies_to == group])


def plan_for(weigh_up: WeighUp, tank: TankFacts, reference: Reference) -> Plan:
    """The options for a weigh-up in this tank, in order: refer where the law may ask, husbandry, agents by what they
    are expected to cover, what is left. Nothing is chosen here."""
    leading = select_conditions(weigh_up.conditions, reference)
    opened = tuple(
        dict.fromkeys(
            way.parent
            for way in weigh_up.opened_the_way
            if way.probability >= OPENED_FROM and (way.condition in leading or way.parent in leading)
        )
    )
    husbandry = list(_husbandry((*opened, *leading), weigh_up, reference, opened))
    agents = sorted(_agents(leading, weigh_up, tank, reference, opened), key=_order(reference))
    others = list(_others(leading, weigh_up, reference, opened))
    refer = [one for one in others if one.kind == "refer"]
    first = [one for one in refer if one.urgency == "now"]
    rest = [one for one in others if one not in first]
    options = (
        *first,
        *(one for one in husbandry if one.urgency == "now"),
        *(one for one in agents if one.ready and one.not_first is None),
        *(one for one in husbandry if one.urgency != "now"),
        *rest,
        *(one for one in agents if not (one.ready and one.not_first is None)),
    )
    statements = [text for text in (none_known(one, reference) for one in leading) if text is not None]
    treatments = [one.id for one in options if one.kind == "treat"]
    return Plan(
        options,
        leading,
        opened,
        tuple(statements),
        tuple(apart_words([one.id for one in agents if one.ready], reference)),
        cautions_of(weigh_up, reference, agents=treatments),
        reference.version,
    )


def apart_words(treatments: Iterable[str], reference: Reference) -> Iterator[str]:
    """For each pair of agents, whether they may meet and how far apart they go."""
    ids = list(treatments)
    for place, one in enumerate(ids):
        for other in ids[place + 1 :]:
            first, second = reference.doses[one], reference.doses[other]
            row = conflict_between(first, second, reference)
            if first.substance == second.substance:
                continue
            if row.verdict in ("never", "wait"):
                word = "never together" if row.verdict == "never" else "not together"
                yield (
                    f"{first.substance} and {second.substance}: {word}; {row.hours:g} h and {100 * row.changed:g} % of "
                    f"the water changed between ({row.why})"
                )


def expected_cover(effects: dict[str, float], weigh_up: WeighUp) -> float:
    """Belief covered: over the explanations, probability times the mean effect on their causes."""
    total = 0.0
    for explanation in weigh_up.explanations:
        if explanation.conditions:
            share = sum(effects.get(one, 0.0) for one in explanation.conditions) / len(explanation.conditions)
            total += explanation.probability * share
    return total


def _responsible(weigh_up: WeighUp) -> dict[str, float]:
    return {result.id: result.responsible for result in weigh_up.conditions}


def _husbandry(
    conditions: Iterable[str], weigh_up: WeighUp, reference: Reference, opened: tuple[str, ...]
) -> Iterator[Option]:
    chance = {result.id: result.probability for result in weigh_up.conditions}
    seen: set[str] = set()
    for condition in dict.fromkeys(conditions):
        for step in husbandry_for(condition, reference):
            id = f"husbandry_{step.applies_to}_{step.order}"
            if id in seen:
                continue
            seen.add(id)
            cover = Cover(
                condition, chance.get(condition, 0.0), None, step.basis, f"husbandry {step.applies_to}, {step.order}"
            )
            yield Option(
                id,
                "husbandry",
                reference.conditions[condition].name,
                step.text,
                (cover,),
                None,
                (),
                "",
                (),
                None,
                tuple(one for one in opened if one != condition),
                step.urgency,
            )


def _agents(
    leading: tuple[str, ...], weigh_up: WeighUp, tank: TankFacts, reference: Reference, opened: tuple[str, ...]
) -> Iterator[Option]:
    chance = _responsible(weigh_up)
    by_treatment: dict[str, list[Treats]] = {}
    for condition in leading:
        for row in agents_for(condition, reference):
            by_treatment.setdefault(row.treatment, []).append(row)
    for treatment, rows in by_treatment.items():
        dose = reference.doses[treatment]
        life = life_beside(dose, tank.life)
        covers = tuple(
            Cover(
                row.condition,
                chance.get(row.condition, 0.0),
                row.effect,
                row.evidence,
                f"treats {treatment}, {row.condition}",
            )
            for row in rows
            if row.condition is not None
        )
        bounds = bounds_for(dose, tank.water, life, reference, rise_dkh=1.0)
        if dose.supply == "not_weighed":
            stops = _columnaris(dose, weigh_up) + stops_without_amount(
                dose, tank.water, life, reference, bounds=bounds, present=tank.present
            )
        else:
            stops = hard_stops(
                dose,
                tank.water,
                life,
                reference,
                bounds=bounds,
                present=tank.present,
                confirmed=tank.confirmed | frozenset(required_checks(dose)),
                lawful_here=tank.lawful_here,
                prescription=tank.prescriptions.get(treatment),
            )
        effects = {cover.condition: cover.effect or 0.0 for cover in covers}
        risks = [*bounds.words, *(f"test fish first: {note}" for note in bounds.test_first)]
        low = [cover for cover in covers if (cover.effect or 0) < 0.5]
        risks += [f"leaves most of {reference.conditions[cover.condition].name}" for cover in low]
        if dose.reason:
            risks.append(f"no amount: {dose.reason}")
        missed = [one for one in leading if one not in effects]
        risks += [f"does nothing against {reference.conditions[one].name}" for one in missed]
        unproven = None
        if "antibacterial" in dose.families and not any(_proven(one, weigh_up, reference) for one in effects):
            unproven = "no antimicrobial first for an infection that no laboratory has shown: sample before"
        yield Option(
            treatment,
            "treat",
            dose.substance,
            reference.treatments[treatment].purpose,
            covers,
            expected_cover(effects, weigh_up),
            tuple(risks),
            dose.spares,
            stops,
            unproven,
            tuple(one for one in opened if one not in effects),
        )


def prescription_of(agent: PlanAgent) -> Prescription | None:
    """The prescription or label of an agent of a plan."""
    if agent.dose is None or not agent.prescriber:
        return None
    return Prescription(agent.dose, agent.prescriber, against=agent.against)


def life_beside(row: DoseRow, life: Life) -> Life:
    """What a treatment meets of what lives there: plants, invertebrates and the filter stay in the tank when fish are
    treated in a container, and when they are fed or injected."""
    staying = frozenset(STAYING) if row.place == "container" or row.route == "injection" else frozenset()
    return replace(life, things=life.things - staying, unsaid=life.unsaid - staying)


def _columnaris(row: DoseRow, weigh_up: WeighUp) -> tuple[Stop, ...]:
    """Heat is refused while columnaris is possible: it feeds it."""
    if row.route != "heat":
        return ()
    possible = any(one.id == "columnaris" and one.probability >= OPENED_FROM for one in weigh_up.conditions)
    return (
        (Stop("columnaris", "columnaris is possible and heat feeds it", "cautions, refuse rules"),) if possible else ()
    )


def _order(reference: Reference) -> Callable[[Option], tuple[bool, bool, float]]:
    """What mends the water comes first (salt against nitrite, thiosulphate, bicarbonate), then what covers most."""

    def key(option: Option) -> tuple[bool, bool, float]:
        mends_water = reference.doses[option.id].rule in WATER_RULES
        return option.not_first is not None, not mends_water, -(option.expected or 0.0)

    return key


def _proven(condition: str, weigh_up: WeighUp, reference: Reference) -> bool:
    """Whether a laboratory finding of this condition was seen."""
    seen = {one.finding for one in weigh_up.evidence.observations if one.level > 0}
    return any(
        link.condition == condition and link.finding in seen and reference.findings[link.finding].kind == "laboratory"
        for link in reference.links
    )


def _others(
    leading: tuple[str, ...], weigh_up: WeighUp, reference: Reference, opened: tuple[str, ...]
) -> Iterator[Option]:
    chance = _responsible(weigh_up)

    def of(id: str, kind: str, title: str, text: str, risks: Iterable[str], urgency: str = "lasting") -> Option:
        covers = tuple(Cover(one, chance.get(one, 0.0), None, "", f"conditions {one}") for one in leading)
        return Option(id, kind, title, text, covers, None, tuple(risks), "", (), None, opened, urgency)

    rows = [reference.conditions[one] for one in leading]
    listed = [row for row in rows if row.notifiable != "no"]
    if listed:
        names = ", ".join(row.name for row in listed)
        text = f"Call the fish-health authority before anything is treated, moved or sold; to be reported: {names}."
        yield of("refer_authority", "refer", "refer to the authority", text, (), "now")
    for examination in weigh_up.next_examinations or ():
        price = " and costs a fish" if examination.gives_up_fish else ""
        yield of(
            f"examine_{examination.id}",
            "examine",
            f"examine more: {examination.name}",
            f"{examination.advice} {examination.information_bits:.2f} bits for {examination.minutes:g} min{price}.",
            (f"changes the leading cause in {100 * examination.changes_leading:.0f} % of outcomes",),
        )
    days = [f"{row.name}: {row.course_days_low:g} to {row.course_days_high:g} days" for row in rows]
    yield of(
        "watch",
        "watch",
        "watch",
        "Do nothing but husbandry, count and write down each day, and look again on a set day.",
        (f"what untreated fish may have left: {'; '.join(days)}",) if days else (),
    )
    yield of(
        "refer",
        "refer",
        "refer to a veterinarian",
        "A licensed veterinarian may sample, prescribe and certify; take the report along.",
        ("takes days and money",),
    )
    yield of(
        "relieve",
        "relieve",
        "relieve suffering",
        "A fish that cannot keep upright, eat or breathe freely is killed humanely rather than treated: buffered "
        "anaesthetic overdose, at least 30 minutes after the last gill movement, a second step for goldfish and koi.",
        ("the fish is lost; examined at once it may save the others",),
    )
