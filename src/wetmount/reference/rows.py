"""One row of each reference table, and which columns make its key.

Every table is a CSV of the same name under `tables/`, its columns named as the fields here and in the same order.
What each column means, its unit and its vocabulary stand in `columns.toml`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import msgspec

Level: TypeAlias = int
"""Place of a level in its finding's scale, 0 = looked and not seen. Tables write the word (`few`), rows the place."""


class Row(msgspec.Struct, frozen=True, gc=False):
    """A row of a table, immutable. A struct is made, and its class too, in a fraction of a dataclass's time."""


class Source(Row, frozen=True):
    """Where a figure comes from. `kind`: standard | peer-reviewed | extension | trade | forum | book | memory."""

    key: str
    kind: str
    citation: str


class HostGroup(Row, frozen=True):
    """A group of hosts. What holds for the parent holds for the child unless the child has its own row."""

    id: str
    parent: str | None
    meaning: str


class Host(Row, frozen=True):
    """A species with the water it is kept in and the length-weight relation W(g) = a L(cm)^b."""

    scientific_name: str
    host_group: str
    common_name: str
    kept_as: str
    temperature_low_c: float
    temperature_high_c: float
    ph_low: float
    ph_high: float
    gh_low_dgh: float | None
    gh_high_dgh: float | None
    max_length_cm: float | None
    length_weight_a: float | None
    length_weight_b: float | None
    length_type: str
    basis: str
    sources: tuple[str, ...]
    note: str


class Examination(Row, frozen=True):
    """One thing done once to a fish, a tank or a keeper.

    `detection` is the chance of noticing what is there at level 1 and at level 2 or more when it is done properly;
    `swept_detection` multiplies it after a quick sweep. `minutes` of work, `money` in units of one cheap test.
    """

    id: str
    name: str
    order: int
    subject: str
    needs: str
    minutes: float
    money: float
    gives_up_fish: bool
    short_list: tuple[str, ...]
    detection: tuple[float, ...]
    swept_detection: float
    cautions: tuple[str, ...]
    how: str
    basis: str
    sources: tuple[str, ...]
    note: str


class Finding(Row, frozen=True):
    """One ordered observation. `levels[0]` is always the level "looked, not seen".

    `kind`: cause (history that acts through risks) | effect (history and counts that act through links) | sign |
    organism | water | laboratory. `illness_from`: level from which it is a finding of illness of the fish (0 = never).
    `many_per_field`: mean number per low-power field from which an organism is at level 2.
    `unwell`: one of the signs of feeling ill that go together whatever the cause.
    """

    id: str
    examination: str
    name: str
    description: str
    levels: tuple[str, ...]
    kind: str
    illness_from: int
    many_per_field: float | None
    unwell: bool
    sources: tuple[str, ...]
    note: str


class Condition(Row, frozen=True):
    """A cause of ill health. `rate` is its share of sick-fish cases (0-1), alone or mixed with others."""

    id: str
    name: str
    agent: str
    group: str
    hosts: str
    spread: str
    temperature_low_c: float | None
    temperature_high_c: float | None
    temperature_peak: str
    rate: float
    notifiable: str
    zoonotic: bool
    course_days_low: float
    course_days_high: float
    immune_trigger: bool
    basis: str
    sources: tuple[str, ...]
    note: str
    keeper_words: str


class Link(Row, frozen=True):
    """P(this condition alone brings the finding to `level` or higher, when it is properly looked for)."""

    condition: str
    finding: str
    level: Level
    probability: float
    basis: str
    sources: tuple[str, ...]
    note: str


class Leak(Row, frozen=True):
    """P(finding at `level` or higher in a sick fish from causes outside the table).

    For a history finding of kind cause it is the background frequency of the answer yes.
    """

    finding: str
    level: Level
    probability: float
    basis: str
    sources: tuple[str, ...]
    note: str


class HistoryRisk(Row, frozen=True):
    """Odds of the condition when the answer to a history question is yes, relative to the case-mix average."""

    condition: str
    finding: str
    odds: float
    basis: str
    sources: tuple[str, ...]
    note: str


class HostRisk(Row, frozen=True):
    """Odds of the condition in a host group, relative to the case-mix average."""

    condition: str
    host_group: str
    odds: float
    basis: str
    sources: tuple[str, ...]
    note: str


class TemperatureRisk(Row, frozen=True):
    """Odds of the condition when the water was at `low_c` to `high_c` over the last two weeks (None = open)."""

    condition: str
    low_c: float | None
    high_c: float | None
    odds: float
    basis: str
    sources: tuple[str, ...]
    note: str


class Predisposition(Row, frozen=True):
    """Odds of `condition` when the condition `parent` is present, relative to its absence."""

    condition: str
    parent: str
    odds: float
    basis: str
    sources: tuple[str, ...]
    note: str


class Limit(Row, frozen=True):
    """A reading of `parameter` beyond `value` (`side`: above | below) puts `finding` at `level` or higher."""

    parameter: str
    host_group: str
    finding: str
    level: Level
    side: str
    value: float
    unit: str
    basis: str
    sources: tuple[str, ...]
    note: str


class BodyState(Row, frozen=True):
    """How the state of the body lowers the chance of noticing what one `examination` would have shown."""

    state: str
    examination: str
    detection_factor: float
    basis: str
    sources: tuple[str, ...]
    note: str


class Sureness(Row, frozen=True):
    """`false_seen`: chance that "seen" is reported but not so; `noticing`: factor on detection of "not seen"."""

    id: str
    name: str
    false_seen: float
    noticing: float
    basis: str
    sources: tuple[str, ...]
    note: str


class Caution(Row, frozen=True):
    """A warning shown whenever its trigger is. `severity`: stop | care | note."""

    id: str
    trigger_kind: str
    trigger: str
    severity: str
    text: str
    sources: tuple[str, ...]
    note: str


class RedFlag(Row, frozen=True):
    """A sign of fish dying now; raised by a finding at a level, or asked directly when it has no finding."""

    id: str
    name: str
    from_finding: str | None
    from_level: Level | None
    sources: tuple[str, ...]
    note: str


class FirstAidStep(Row, frozen=True):
    """One step of the next ten minutes under a red flag, with when not to take it."""

    flag: str
    order: int
    text: str
    not_if: str
    why: str
    sources: tuple[str, ...]
    note: str


class Treatment(Row, frozen=True):
    """A way of giving one active substance, in the words of its sources; doses are prose for people, not for sums."""

    id: str
    agent: str
    form: str
    route: str
    purpose: str
    dose_low: str
    dose_high: str
    unit: str
    duration: str
    interval: str
    repeats: str
    temperature_note: str
    salinity_note: str
    water_half_life_h: str
    half_life_basis: str
    hard_stop_max: str
    contraindications: str
    interacts_with: str
    biofilter_effect: str
    plants_invertebrates_effect: str
    human_hazard: str
    legal_note: str
    basis: str
    sources: tuple[str, ...]
    note: str


class Treats(Row, frozen=True):
    """Share of the target removed by one full course of a treatment (`effect`, 0-1)."""

    treatment: str
    condition: str
    purpose: str
    target: str
    effect: float | None
    evidence: str
    sources: tuple[str, ...]
    note: str


class Sensitivity(Row, frozen=True):
    """A rule that limits a treatment for a host group, a life stage or another thing living in the water."""

    host_group: str | None
    thing: str
    treatment: str
    rule: str
    limit: str
    basis: str
    sources: tuple[str, ...]
    note: str


class DoseRow(Row, frozen=True):
    """The numbers of one treatment: doses of `unit`, a closed list, counted as the whole salt, the ion, the active
    substance or the product. `hard_max` holds for the running total. `supply`: general | varies (lawful only in some
    places) | prescription | unlicensed | refused | not_weighed; the last two are never worked out, for `reason`.
    `minutes_*` is one dose's contact, `doses` how many, `interval_h_*` between them; water outside the bounds of
    temperature, oxygen or pH is refused. `largest_volume` is asked of what kills by too little."""

    treatment: str
    supply: str
    reason: str
    substance: str
    families: tuple[str, ...]
    counted_as: str
    low: float | None
    high: float | None
    hard_max: float | None
    unit: str
    route: str
    place: str
    minutes_low: float | None
    minutes_high: float | None
    interval_h_low: float | None
    interval_h_high: float | None
    doses: float | None
    parts: int
    temperature_low_c: float | None
    temperature_high_c: float | None
    oxygen_min_mg_per_l: float | None
    ph_low: float | None
    ph_high: float | None
    water: str
    half_life_h: float | None
    oral_max_mg_per_kg: float | None
    rule: str
    spares: str
    basis: str
    sources: tuple[str, ...]
    note: str


class DoseLimit(Row, frozen=True):
    """A sensitivity or a bound of a treatment in numbers: `value` is a dose (max) or a factor on the dose (factor)."""

    treatment: str
    host_group: str | None
    thing: str
    above_c: float | None
    above_dose: float | None
    rule: str
    value: float | None
    minutes_max: float | None
    basis: str
    sources: tuple[str, ...]
    note: str


class Conflict(Row, frozen=True):
    """Two families of agents: never together, off meanwhile, wait between, cancels the other, or allow."""

    first: str
    second: str
    verdict: str
    hours: float
    changed: float
    why: str
    basis: str
    sources: tuple[str, ...]
    note: str


class HusbandryStep(Row, frozen=True):
    """What changes a condition, or a group of them, without an agent."""

    applies_to: str
    order: int
    urgency: str
    text: str
    why: str
    basis: str
    sources: tuple[str, ...]
    note: str


class Ration(Row, frozen=True):
    """Feed a day as a percentage of body weight in a band of temperature."""

    kept: str
    from_c: float
    to_c: float
    percent_low: float
    percent_high: float
    basis: str
    sources: tuple[str, ...]
    note: str


class Disinfection(Row, frozen=True):
    """A contact time: what, with what, how strong, how many minutes, and whether it works."""

    material: str
    agent: str
    amount: float | None
    unit: str
    minutes_low: float
    minutes_high: float | None
    works: str
    basis: str
    sources: tuple[str, ...]
    note: str


class Quarantine(Row, frozen=True):
    """How many days a source asks for; none means that no length of time suffices."""

    by: str
    subject: str
    days_low: float | None
    days_high: float | None
    basis: str
    sources: tuple[str, ...]
    note: str


class LaboratorySample(Row, frozen=True):
    """What to send for one laboratory examination, in what and how cold."""

    examination: str
    fish: str
    tissue: str
    container: str
    fixative: str
    volumes_of_fixative: float | None
    cold: str
    within_h: float
    fish_count: int
    basis: str
    sources: tuple[str, ...]
    note: str


class Organism(Row, frozen=True):
    """What a thing under the microscope looks like. Cells of features hold word=chance of being described so.

    `sites` and `findings` are keyed by where it was found; `rate` is asked for only where no condition has one.
    """

    id: str
    name: str
    group: str
    condition: str | None
    rate: float | None
    water: str
    sites: tuple[str, ...]
    findings: tuple[str, ...]
    size_low_um: float
    size_high_um: float
    outline: tuple[str, ...]
    movement: tuple[str, ...]
    attachment: tuple[str, ...]
    colour: tuple[str, ...]
    nucleus: tuple[str, ...]
    hooks: tuple[str, ...]
    eyespots: tuple[str, ...]
    basis: str
    sources: tuple[str, ...]
    look_for: str
    note: str


class LifeCycle(Row, frozen=True):
    """One figure of a parasite's life cycle; `parameter` names what a forecast takes from it, empty when nothing."""

    parasite: str
    stage: str
    quantity: str
    temperature_c: float | None
    value: float | None
    low: float | None
    high: float | None
    unit: str
    parameter: str
    basis: str
    sources: tuple[str, ...]
    note: str


class StageSurvival(Row, frozen=True):
    """Share of a life stage that lives through one giving of a treatment, which goes on acting for `days`.

    `stage`: on_adult | on_young (on or in the fish) | off (eggs, cysts) | free (what seeks a fish) | growth, where the
    figure multiplies births instead and is above 1 for an agent that makes things worse.
    """

    treatment: str
    condition: str
    stage: str
    survival: float
    low: float
    high: float
    days: float
    basis: str
    sources: tuple[str, ...]
    note: str


class LinkRate(Row, frozen=True):
    """How readily a kind of link between tanks carries an infection that goes with the water, by `unit`.

    tanks/day: tanks that one infectious tank gives it to a day; a contact, a fish, a batch, a tank: chance. `contact`
    and `gut` multiply it for infections that pass by touch, and from gut to mouth. It grows with the fish in the
    infectious tank to `size_power`. `low` to `high` hold 90 %. `minutes` a day of work to cut one such link.
    """

    kind: str
    name: str
    unit: str
    rate: float
    low: float
    high: float
    contact: float
    gut: float
    size_power: float
    cut: str
    minutes: float
    basis: str
    sources: tuple[str, ...]
    note: str


class Incubation(Row, frozen=True):
    """A condition as it passes between tanks. From infection of a tank: days until it gives it on, until first signs.

    Low to high hold 90 % of tanks. `shows`: share of infected tanks that ever show signs; `noticed`: chance that one
    look notices the signs of a tank; `carried_early`, `carried_late`: share of its fish infected before, after signs.
    """

    condition: str
    spread: str
    latent_low_d: float
    latent_high_d: float
    incubation_low_d: float
    incubation_high_d: float
    shows: float
    noticed: float
    carried_early: float
    carried_late: float
    basis: str
    sources: tuple[str, ...]
    note: str


@dataclass(frozen=True, slots=True)
class Table:
    """How a table is held: its row class, its key columns, and whether as a mapping by its one key or a tuple."""

    row: type[Row]
    key: tuple[str, ...]
    mapping: bool

    @property
    def columns(self) -> dict[str, str]:
        """Each column with its type as it is written above."""
        return self.row.__annotations__


TABLES: dict[str, Table] = {
    "sources": Table(Source, ("key",), True),
    "host_groups": Table(HostGroup, ("id",), True),
    "hosts": Table(Host, ("scientific_name",), True),
    "examinations": Table(Examination, ("id",), True),
    "findings": Table(Finding, ("id",), True),
    "conditions": Table(Condition, ("id",), True),
    "links": Table(Link, ("condition", "finding", "level"), False),
    "leaks": Table(Leak, ("finding", "level"), False),
    "history_risks": Table(HistoryRisk, ("condition", "finding"), False),
    "host_risks": Table(HostRisk, ("condition", "host_group"), False),
    "temperature_risks": Table(TemperatureRisk, ("condition", "low_c", "high_c"), False),
    "predispositions": Table(Predisposition, ("condition", "parent"), False),
    "limits": Table(Limit, ("parameter", "host_group", "finding", "level", "side"), False),
    "body_states": Table(BodyState, ("state", "examination"), False),
    "sureness": Table(Sureness, ("id",), True),
    "cautions": Table(Caution, ("id",), True),
    "red_flags": Table(RedFlag, ("id",), True),
    "first_aid": Table(FirstAidStep, ("flag", "order"), False),
    "treatments": Table(Treatment, ("id",), True),
    "treats": Table(Treats, ("treatment", "condition", "purpose", "target"), False),
    "sensitivities": Table(Sensitivity, ("host_group", "thing", "treatment"), False),
    "doses": Table(DoseRow, ("treatment",), True),
    "dose_limits": Table(DoseLimit, ("treatment", "host_group", "thing", "above_c", "above_dose", "rule"), False),
    "conflicts": Table(Conflict, ("first", "second"), False),
    "husbandry": Table(HusbandryStep, ("applies_to", "order"), False),
    "rations": Table(Ration, ("kept", "from_c"), False),
    "disinfection": Table(Disinfection, ("material", "agent"), False),
    "quarantines": Table(Quarantine, ("by", "subject"), False),
    "laboratory_samples": Table(LaboratorySample, ("examination",), True),
    "organisms": Table(Organism, ("id",), True),
    "lifecycles": Table(LifeCycle, ("parasite", "stage", "quantity", "temperature_c", "low", "sources"), False),
    "stage_survival": Table(StageSurvival, ("treatment", "condition", "stage"), False),
    "link_rates": Table(LinkRate, ("kind",), True),
    "incubations": Table(Incubation, ("condition",), True),
}
