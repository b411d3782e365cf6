"""The fish and the water of a plan, from the case: what it says, and what it does not, which counts as dangerous."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date as Date
from typing import Final

from wetmount.case import Case, Look, Plan, PlanGiven, looks_of, readings_of
from wetmount.dose_typed import READINGS, hosts_of, volume_of
from wetmount.dose_writing import write_number, write_volume
from wetmount.errors import InputError
from wetmount.evidence import Evidence
from wetmount.hard_stops import BATHS, THING_WORDS, THINGS, Life, Present, WaterState
from wetmount.plan.options import TankFacts, prescription_of
from wetmount.reference import Reference
from wetmount.units import parse_quantity
from wetmount.volume import Volume

REMEMBERED_DAYS: Final = 60
"""An agent given longer ago than this is not held against a plan: repeats of doses.csv are days to weeks apart."""
SHORTEST_NIGHT_H: Final = 15.0
"""From nine in the morning, when a plan's day begins, to midnight, when a dose of a day was given at the latest."""
SAME_WATER: Final = "the same water"
SAID: Final = "said in the plan"
FROM_FINDINGS: Final[Mapping[str, tuple[str, ...]]] = {
    "not_eating": ("anorexia",),
    "ulcers": ("ulcers_skin",),
    "gill_damage": ("gill_hyperplasia", "gill_necrosis", "gill_telangiectasia", "mottled_gills", "swollen_gills"),
}
"""Findings that say of the fish what an agent may harm; one of them seen says yes."""
SAY_NO: Final[Mapping[str, tuple[str, ...]]] = {
    "not_eating": ("anorexia",),
    "ulcers": ("ulcers_skin",),
    "gill_damage": ("gill_hyperplasia", "gill_necrosis"),
}
"""Those that must all have been looked for, and none seen, to say no: gills look sound by eye that are not."""
NAMES: Final[Mapping[str, str]] = {"ph": "pH", "kh": "KH", "gh": "GH"}
WANTED: Final = ("temperature", "ph", "kh", "gh", "oxygen", "ammonia", "nitrite")
"""Readings without which some agent is refused."""


@dataclass(frozen=True, slots=True)
class Said:
    """One fact of the tank: what, its words, and where it is from."""

    what: str
    words: str
    source: str


@dataclass(frozen=True, slots=True)
class KnownTank:
    """The facts, what they are from, and what is not said."""

    facts: TankFacts
    said: tuple[Said, ...]
    missing: tuple[str, ...]


def tank_of(
    case: Case,
    look: Look,
    evidence: Evidence,
    reference: Reference,
    *,
    volume: Volume | None = None,
    others: Iterable[str] = (),
    readings: Mapping[str, str] | None = None,
    today: Date | None = None,
) -> KnownTank:
    """The water and fish of a look. What its plan says goes before what is known otherwise: `volume` and `others` of
    the tank's water, `readings` typed just now. Fish that came in batches of the case count as in this water. What was
    given before is reckoned to the plan's first day, else to `today`, else to the look.

    InputError for a quantity that cannot be read.
    """
    plan = look.plan or Plan()
    said: list[Said] = []
    groups, species = _hosts(case, plan, evidence, reference, others, said)
    values = dict(_last_readings(case, look))
    for name, text in (readings or {}).items():
        values[name] = (text, "typed")
    columns = {}
    for name, (text, source) in values.items():
        column, factor = READINGS[name]
        columns[column] = parse_quantity(text, name, field=name).value * factor
        said.append(Said(NAMES.get(name, name), text, source))
    marine = _marine(plan, groups, reference, said)
    if plan.volume is not None:
        volume = volume_of(plan.volume)
        said.append(Said("volume", plan.volume, SAID))
    elif volume is not None:
        said.append(Said("volume", _volume_words(volume), "; ".join(volume.how)))
    things, unsaid = _living(plan, evidence, reference, said)
    water = WaterState(marine=marine, **columns)
    present = tuple(_given_before(case, look, plan, plan.first or today or look.date, reference, said))
    facts = TankFacts(
        Life(groups, things, species=species, unsaid=unsaid),
        water,
        volume,
        present=present,
        lawful_here=plan.lawful_here,
        prescriptions={
            id: prescribed for id, agent in plan.agents.items() if (prescribed := prescription_of(agent)) is not None
        },
    )
    return KnownTank(facts, tuple(said), tuple(_missing(facts, values, plan, reference)))


def _hosts(
    case: Case, plan: Plan, evidence: Evidence, reference: Reference, others: Iterable[str], said: list[Said]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    own = evidence.species or evidence.host_group
    names = {own or "fish": "the case" if own else "not said: any fish"}
    for name, source in (
        *((batch.species, "batches of the case") for batch in case.batches),
        *((name, SAME_WATER) for name in others),
        *((name, SAID) for name in plan.others),
    ):
        names.setdefault(name, source)
    groups: list[str] = []
    species: list[str] = []
    for name, source in names.items():
        try:
            of_group, of_species = hosts_of((name,), reference)
            if any(one in species for one in of_species):
                continue  # the same fish under another of its names
        except InputError:
            of_group, of_species, source = ("fish",), (), f"{source}; not in the tables: counts as any fish"
        groups += of_group
        species += of_species
        said.append(Said("fish", name, source))
    return tuple(dict.fromkeys(groups)), tuple(dict.fromkeys(species))


def _last_readings(case: Case, look: Look) -> Iterator[tuple[str, tuple[str, str]]]:
    """The last reading of each parameter that decides about a dose, of the case's tank where several were tested."""
    found: dict[str, tuple[str, str]] = {}
    for parameter, _, reading in readings_of(look.readings):
        if parameter not in READINGS:
            continue
        if reading.tank is not None and case.tank is not None and reading.tank != case.tank and parameter in found:
            continue
        where = ", ".join(part for part in (reading.tank and f"tank {reading.tank}", reading.time) if part)
        found[parameter] = (str(reading.value), f"reading{f', {where}' if where else ''}")
    yield from found.items()


def _marine(plan: Plan, groups: Iterable[str], reference: Reference, said: list[Said]) -> bool | None:
    if plan.water is not None:
        said.append(Said("water", f"{plan.water} water", SAID))
        return plan.water == "sea"
    lines = [set(reference.host_group_line(group)) for group in groups]
    fresh, sea = (any(kind in line for line in lines) for kind in ("freshwater", "marine"))
    if fresh == sea:
        return None
    said.append(Said("water", "sea water" if sea else "fresh water", "told from the fish"))
    return sea


def _volume_words(volume: Volume) -> str:
    low, high = write_volume(volume.low_l * 1000), write_volume(volume.high_l * 1000)
    return low if low == high else f"{low} to {high}"


def _given_before(
    case: Case, look: Look, plan: Plan, begins: Date | None, reference: Reference, said: list[Said]
) -> Iterator[Present]:
    """Agents that may still be in this water: what the plan says was given; where it says nothing, what plans of
    earlier looks put into the tank, as if it had been given and no water changed since."""
    given = [(one, SAID) for one in plan.given or ()]
    if plan.given is None:
        for earlier in looks_of(case):
            if earlier.plan is None or earlier.date is None or look.date is None or earlier.date >= look.date:
                continue
            for step in earlier.plan.steps:
                row = reference.doses.get(step.option or "") if step.kind == "treat" else None
                days = [day for day in step.days if begins is None or day <= begins]
                if row is not None and days and row.place == "tank" and row.route in BATHS:
                    given.append((PlanGiven(option=row.treatment, date=days[-1]), "plan of an earlier look"))
    elif not plan.given:
        said.append(Said("given before", "nothing", SAID))
    for one, source in given:
        days_ago = 0 if begins is None else (begins - one.date).days
        if one.option not in reference.doses or days_ago > REMEMBERED_DAYS:
            continue
        words = f"{reference.doses[one.option].substance} on {one.date}"
        if one.changed_percent:
            words += f", {write_number(one.changed_percent)} % of the water changed since"
        said.append(Said("given before", words, source))
        # The hour is not known: the shortest that it can be ago, from the end of its day to the morning of the plan.
        yield Present(one.option, max(0.0, 24.0 * days_ago - SHORTEST_NIGHT_H), one.changed_percent / 100)


def things_found(evidence: Evidence, reference: Reference) -> dict[str, Said]:
    """What the findings say of the fish that an agent may harm: there when one of its findings was seen, not there when
    those of SAY_NO were looked for and not seen; else nothing is said of it."""
    levels = {one.finding: one.level for one in evidence.observations}
    found = {}
    for thing, findings in FROM_FINDINGS.items():
        seen = [id for id in findings if levels.get(id, 0) > 0]
        if seen or all(id in levels for id in SAY_NO[thing]):
            names = ", ".join(reference.findings[id].name for id in seen or SAY_NO[thing])
            found[thing] = Said(
                THING_WORDS[thing], "yes" if seen else "no", f"{'finding' if seen else 'looked for, not seen'}: {names}"
            )
    return found


def _living(
    plan: Plan, evidence: Evidence, reference: Reference, said: list[Said]
) -> tuple[frozenset[str], frozenset[str]]:
    """What is there, and what nobody looked for or spoke of. What is said in the plan goes before the findings."""
    found = things_found(evidence, reference)
    typed = {thing: answer for thing, answer in plan.living.items() if answer in ("yes", "no")}
    found |= {thing: Said(THING_WORDS[thing], answer, SAID) for thing, answer in typed.items()}
    said.extend(found.values())
    return frozenset(thing for thing, one in found.items() if one.words == "yes"), frozenset(THINGS) - found.keys()


def _missing(
    facts: TankFacts, readings: Mapping[str, tuple[str, str]], plan: Plan, reference: Reference
) -> Iterator[str]:
    if facts.volume is None:
        yield "the volume of water: without it nothing is dosed into the tank"
    elif facts.volume.high_l > 1.15 * facts.volume.low_l:
        share = write_number(100 * (facts.volume.high_l / facts.volume.low_l - 1), 2)
        yield f"the volume is a guess ({share} % between least and most): measured by salt it is safer"
    if facts.water.marine is None:
        yield "whether it is fresh or sea water"
    absent = [NAMES.get(name, name) for name in WANTED if name not in readings]
    if absent:
        yield f"readings not taken: {', '.join(absent)}; what depends on them is refused"
    if facts.life.unsaid:
        words = ", ".join(THING_WORDS[thing] for thing in THINGS if thing in facts.life.unsaid)
        yield f"whether there are {words}: until it is said or looked at, what would harm them is refused"
    if plan.given is None:
        yield "whether anything was given into this water in the last weeks (plans of earlier looks count as given)"
    if plan.lawful_here is None:
        yield "whether restricted agents may be used on ornamental fish here: not known counts as no"
    if not facts.life.species:
        yield "the species: bounds of the whole group are used"
