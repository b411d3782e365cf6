"""The records of a case: one problem in one keeper's fish.

These structs are the only definition of the case file. The reader, the error messages, the JSON Schema and the
template are all made from them, so a field added here is read, checked, described and written everywhere.
They hold what was written down, unjudged: `casefile` checks ids and levels against the reference, `evidence` turns a
look into what the weigh-up needs.

*Not looked at* is the absence of an entry. *Looked and not seen* is an entry with the first level of the finding.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date as Date
from typing import Annotated, Literal

from msgspec import Meta, Struct, structs

FORMAT = 1

# A hundred million fish are more than anyone keeps; the bound exists to catch slips of the finger.
Count = Annotated[int, Meta(ge=0, le=100_000_000)]
Text = Annotated[str, Meta(max_length=20_000)]
Id = Annotated[str, Meta(min_length=1, max_length=200)]
Quantity = Annotated[str, Meta(min_length=1, max_length=60)]
# A bare number passes here so that the missing unit is what the message complains about; pH needs none.
Measured = Quantity | float
Answer = Literal["yes", "no", "not asked"]

LIVING = (
    "eggs", "fry", "gravid", "not_eating", "gill_damage", "ulcers", "invertebrates", "plants", "filter_bacteria",
)  # fmt: skip
"""What lives in the water of a plan, or is so of its fish, that an agent may harm."""


class Record(Struct, frozen=True, omit_defaults=True, forbid_unknown_fields=True):
    """Base of all records: immutable, written without its defaults, refusing keys it does not know."""


class Host(Record, frozen=True, kw_only=True):
    """The fish the case is about. One of the two is enough; a species that is not in the reference needs a group."""

    species: Annotated[Id | None, Meta(description="scientific or common name")] = None
    group: Annotated[Id | None, Meta(description="host group of the reference")] = None


class Numbers(Record, frozen=True, kw_only=True):
    """How many fish, counted on one day."""

    total: Annotated[Count | None, Meta(description="fish kept when the trouble began")] = None
    sick: Annotated[Count | None, Meta(description="alive and showing signs now")] = None
    dead: Annotated[Count | None, Meta(description="died since the trouble began, today included")] = None
    dead_today: Annotated[Count | None, Meta(description="died in the last 24 hours")] = None


class Fish(Record, frozen=True, kw_only=True):
    """An individual that was examined, and the state of its body when it was."""

    id: Annotated[Id, Meta(description="name of this fish within the case")]
    species: Annotated[Id | None, Meta(description="when it is not the host's species")] = None
    state: Annotated[Literal["alive", "killed", "found_dead"] | None, Meta(description="when it was examined")] = None
    killed_by: Annotated[Text | None, Meta(description="how it was killed for the examination")] = None
    hours_dead: Annotated[
        Annotated[float, Meta(ge=0, le=10_000)] | None,
        Meta(description="hours between death and examination, the longest it can be"),
    ] = None
    kept: Annotated[
        Literal["unchilled", "refrigerated", "frozen"] | None, Meta(description="how the body was kept until then")
    ] = None
    length: Annotated[Quantity | None, Meta(description='with unit, "6.2 cm"')] = None
    weight: Annotated[Quantity | None, Meta(description='with unit, "3.1 g"')] = None
    sex: Literal["female", "male", "unknown"] | None = None
    note: Text | None = None


class Batch(Record, frozen=True, kw_only=True):
    """Fish of one species from one origin that arrived together."""

    species: Id
    origin: Annotated[Id | None, Meta(description="supplier or water they came from")] = None
    arrived: Annotated[Date | None, Meta(description="day of arrival")] = None
    number: Annotated[Count | None, Meta(description="how many arrived")] = None
    note: Text | None = None


class FindingRecord(Record, frozen=True, kw_only=True):
    """A finding with more to say than its level."""

    level: Annotated[Id, Meta(description="one of the levels of this finding")]
    sure: Annotated[Id, Meta(description="how sure: sure, fairly, doubtful; or swept (at a glance)")] = "sure"
    n_of: Annotated[
        tuple[Count, Count] | None, Meta(description="[2, 3]: seen in 2 of the 3 fish looked at for it")
    ] = None
    note: Text | None = None


class Reading(Record, frozen=True, kw_only=True):
    """A measured number with its unit, and when and how it was measured."""

    value: Annotated[Measured, Meta(description='number and unit, "0.8 mg/L NO2"; pH without unit')]
    time: Annotated[
        Annotated[str, Meta(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")] | None, Meta(description='time of day, "14:10"')
    ] = None
    kit: Annotated[Text | None, Meta(description="test kit or meter")] = None
    tank: Annotated[Id | None, Meta(description="tank it was taken in, when there are several")] = None
    note: Text | None = None


class Slide(Record, frozen=True, kw_only=True):
    """One wet mount: how much of it was viewed and what was counted."""

    objective: Annotated[Id | None, Meta(description='"10x"')] = None
    fields: Annotated[
        Annotated[int, Meta(ge=1, le=10_000)] | None, Meta(description="fields of view looked through")
    ] = None
    counts: Annotated[
        dict[str, Count | tuple[Count, ...]],
        Meta(description="finding id: number over all the fields, or a list with the number in each field"),
    ] = {}
    site: Annotated[Text | None, Meta(description="where on the fish it was taken")] = None
    note: Text | None = None


class Photograph(Record, frozen=True, kw_only=True):
    """A picture that belongs to an examination."""

    file: Annotated[Id, Meta(description="path, relative to the case file")]
    caption: Text | None = None


FindingEntry = Id | FindingRecord
ReadingEntry = Quantity | float | Reading
Findings = Annotated[
    dict[str, FindingEntry],
    Meta(description='finding id: "level", or {level = "few", sure = "doubtful"}; what is left out was not looked at'),
]
Readings = Annotated[
    dict[str, ReadingEntry | tuple[ReadingEntry, ...]],
    Meta(description='parameter: "0.8 mg/L NO2", or a table with value, time, kit, tank, or a list of those'),
]


class ExaminationRecord(Record, frozen=True, kw_only=True):
    """One thing done once, to one fish or one tank."""

    kind: Annotated[Id, Meta(description="id of an examination of the reference")]
    fish: Annotated[Id | None, Meta(description="id of the fish")] = None
    tank: Annotated[Id | None, Meta(description="tank, when it was done to a tank")] = None
    findings: Findings = {}
    rest_not_seen: Annotated[
        bool | Literal["swept"],
        Meta(description="true: the rest of this examination's short list was looked over and not seen (swept)"),
    ] = False
    slides: tuple[Slide, ...] = ()
    body_state: Annotated[Id | None, Meta(description="state of the body, when the fish has no own entry")] = None
    photographs: tuple[Photograph, ...] = ()
    note: Text | None = None


class PlanAgent(Record, frozen=True, kw_only=True):
    """An agent as it is in hand, and what its amount is worked out from."""

    dose: Annotated[Quantity | None, Meta(description="of a prescription or label, with unit; else the table's")] = None
    prescriber: Annotated[Id | None, Meta(description="veterinarian, or the label the dose is on")] = None
    against: Annotated[Id | None, Meta(description="condition that a prescribed antibiotic bath is for")] = None
    strength: Annotated[Quantity | None, Meta(description='"37 % w/w", "50 mg/mL", "pure"')] = None
    step: Annotated[
        Annotated[float, Meta(ge=0.001, le=10_000)] | None,
        Meta(description="smallest step of scale (g), syringe (mL) or tablet"),
    ] = None
    volume: Annotated[Quantity | None, Meta(description="water of the container it is given in, if not the tank")] = (
        None
    )
    checked: Annotated[tuple[Id, ...], Meta(description="what was made sure of, such as aerated")] = ()
    biomass: Annotated[Quantity | None, Meta(description="weight of all fish it is given to")] = None
    ration_percent: Annotated[
        Annotated[float, Meta(ge=0.01, le=100)] | None, Meta(description="feed a day in % of the fishes' weight")
    ] = None
    eating_percent: Annotated[
        Annotated[float, Meta(ge=0.01, le=100)] | None, Meta(description="share of the fish that still eat, %")
    ] = None
    days: Annotated[
        tuple[Annotated[int, Meta(ge=0, le=365)], ...],
        Meta(description="days of its givings, 0 its first, as a forecast found them; else the table's"),
    ] = ()


class PlanStep(Record, frozen=True, kw_only=True):
    """Something that was chosen to be done."""

    text: Annotated[Text, Meta(min_length=1, description="what is to be done")]
    kind: Annotated[
        Literal["husbandry", "treat", "examine", "watch", "refer", "relieve", "look", "own"],
        Meta(description="look: look again; own: in the practitioner's own words"),
    ] = "own"
    option: Annotated[Id | None, Meta(description="option it was chosen from; of treat, the id of the treatment")] = (
        None
    )
    urgency: Annotated[Literal["now", "lasting"], Meta(description="at once, or from now on")] = "now"
    days: Annotated[tuple[Date, ...], Meta(description="the days it is done on")] = ()


class PlanGiven(Record, frozen=True, kw_only=True):
    """An agent that went into this water before the plan."""

    option: Annotated[Id, Meta(description="id of the treatment")]
    date: Annotated[Date, Meta(description="last day it was given")]
    changed_percent: Annotated[
        Annotated[float, Meta(ge=0, le=100)], Meta(description="share of the water changed since, %")
    ] = 0.0


class Plan(Record, frozen=True, kw_only=True):
    """What is to be done after a look: the water and the fish it is for, what was chosen, by whom and why."""

    by: Annotated[Id | None, Meta(description="who chose")] = None
    why: Annotated[Text | None, Meta(description="the reason")] = None
    date: Annotated[Date | None, Meta(description="day it was chosen")] = None
    first: Annotated[Date | None, Meta(description="first day of the plan")] = None
    reference: Annotated[Id | None, Meta(description="version of the tables it was chosen from")] = None
    volume: Annotated[Quantity | None, Meta(description='net water, "55 L" or "660 L to 780 L"')] = None
    water: Annotated[Literal["fresh", "sea"] | None, Meta(description="else told from the host")] = None
    others: Annotated[tuple[Id, ...], Meta(description="other fish in the same water: species or host groups")] = ()
    living: Annotated[
        dict[str, Answer], Meta(description='plants, invertebrates, filter_bacteria, fry …: "yes", "no" or "not asked"')
    ] = {}
    lawful_here: Annotated[
        bool | None, Meta(description="restricted agents may be used on ornamental fish here; left out: not known")
    ] = None
    given: Annotated[
        tuple[PlanGiven, ...] | None,
        Meta(description="what went into this water in the last weeks; [] = nothing; left out: not said"),
    ] = None
    agents: Annotated[dict[str, PlanAgent], Meta(description="id of a treatment: what is in hand of it")] = {}
    steps: tuple[PlanStep, ...] = ()


class Look(Record, frozen=True, kw_only=True):
    """The examinations of one visit. A weigh-up and a plan belong to a look."""

    date: Date | None = None
    note: Text | None = None
    numbers: Numbers | None = None
    findings: Findings = {}
    readings: Readings = {}
    examinations: tuple[ExaminationRecord, ...] = ()
    plan: Plan | None = None


class Case(Record, frozen=True, kw_only=True):
    """One problem in one keeper's fish, from intake to closure.

    Either `looks` holds the visits, or `findings`, `readings` and `numbers` at the top are short for a single one.
    """

    format: Annotated[Literal[1], Meta(description="version of this file format")]
    host: Host
    id: Annotated[Id | None, Meta(description="your number for the case")] = None
    title: Annotated[Text | None, Meta(description="one line: which fish, what trouble")] = None
    date: Annotated[Date | None, Meta(description="day the case was opened")] = None
    keeper: Annotated[Text | None, Meta(description="whose fish")] = None
    room: Annotated[Text | None, Meta(description="premises")] = None
    system: Annotated[Text | None, Meta(description="body of shared water")] = None
    tank: Annotated[Text | None, Meta(description="container on the system")] = None
    note: Text | None = None
    red_flags: Annotated[tuple[Id, ...], Meta(description="red flags of the reference that are so now")] = ()
    numbers: Numbers | None = None
    history: Annotated[dict[str, Answer], Meta(description='history finding id: "yes", "no" or "not asked"')] = {}
    fish: tuple[Fish, ...] = ()
    batches: tuple[Batch, ...] = ()
    findings: Findings = {}
    readings: Readings = {}
    looks: tuple[Look, ...] = ()
    plan: Annotated[Plan | None, Meta(description="short for the plan of the last look")] = None


def looks_of(case: Case) -> tuple[Look, ...]:
    """The looks of a case, oldest first; the shorthand at the top counts as one.

    A look without a date takes the date of the case when it is the only one; numbers of fish at the top hold for every
    look that has none of its own, and a plan at the top for the last one if it has none.
    """
    if not case.looks:
        return (
            Look(date=case.date, numbers=case.numbers, findings=case.findings, readings=case.readings, plan=case.plan),
        )
    only, last = len(case.looks) == 1, len(case.looks) - 1
    return tuple(
        structs.replace(
            look,
            date=look.date or (case.date if only else None),
            numbers=look.numbers or case.numbers,
            plan=look.plan or (case.plan if place == last else None),
        )
        for place, look in enumerate(case.looks)
    )


def finding_record(entry: str | FindingRecord) -> FindingRecord:
    """The entry of a findings table with its defaults filled in."""
    return entry if isinstance(entry, FindingRecord) else FindingRecord(level=entry)


def readings_of(
    readings: Mapping[str, str | float | Reading | tuple[str | float | Reading, ...]],
) -> Iterator[tuple[str, str, Reading]]:
    """(parameter, its place in the readings table, reading) for each reading; lists are unrolled in order."""
    for parameter, entry in readings.items():
        many = isinstance(entry, tuple)
        for index, one in enumerate(entry if isinstance(entry, tuple) else (entry,)):
            place = f"{parameter}[{index}]" if many else parameter
            yield parameter, place, one if isinstance(one, Reading) else Reading(value=one)


def findings_tables(look: Look) -> Iterator[tuple[ExaminationRecord | None, Mapping[str, str | FindingRecord]]]:
    """Each findings table of a look with the examination it belongs to (None for the look's own table)."""
    if look.findings:
        yield None, look.findings
    for examination in look.examinations:
        yield examination, examination.findings
