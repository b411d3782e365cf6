"""The rules of single tables, each a generator of faults over a whole reference whose cells and joins are sound."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from operator import attrgetter
from typing import Any

from wetmount.reference.loader import Reference, predisposition_cycle
from wetmount.reference.rows import Leak, Limit, Link

NOT_SEEN = ("absent", "normal", "negative", "none", "few")
"""Words for "looked, not seen"; `few` only opens the scale of `many_affected`: a case has at least one sick fish."""
THINGS_THAT_ARE_NO_FISH = ("invertebrates", "plants", "filter_bacteria")
WITHOUT_A_TREATMENT_ROW = ("any_bath", "any_feed", "hyposalinity")
"""Whole classes of treatment, and sea water let down with fresh: no agent, so no row among the treatments."""
WITHOUT_A_SUBSTANCE = ("clean_tank_move", "hyposaline_bath")
"""What is done to a parasite with no agent: moving the fish to a clean tank, letting sea water down."""
SURENESS = ("sure", "fairly", "doubtful", "swept")


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault in one column of one row of a table."""

    table: str
    row: Any
    column: str
    message: str


def scales(reference: Reference) -> Iterator[Fault]:
    """The levels of a finding, and what is said of them."""
    for finding in reference.findings.values():
        top = len(finding.levels) - 1
        if top < 1 or len(set(finding.levels)) <= top:
            yield Fault("findings", finding, "levels", "a scale has at least two levels, all different")
        if finding.levels[0] not in NOT_SEEN:
            yield Fault(
                "findings",
                finding,
                "levels",
                f"the first level says looked and not seen ({', '.join(NOT_SEEN)}), not {finding.levels[0]!r}",
            )
        if finding.illness_from > top:
            yield Fault("findings", finding, "illness_from", f"{finding.illness_from} is above the top level {top}")
        if finding.kind == "cause" and (top > 1 or finding.illness_from):
            yield Fault("findings", finding, "kind", "a cause is answered yes or no and is no finding of illness")
        if finding.many_per_field is not None and (finding.kind not in ("organism", "sign") or top < 2):
            yield Fault("findings", finding, "many_per_field", "only for what is seen and has a second level")


def links(reference: Reference) -> Iterator[Fault]:
    """Causal strengths: not on causes, from level 1 up, not rising; every condition has one."""
    by_pair: dict[tuple[str, str], list[Link]] = defaultdict(list)
    for link in reference.links:
        by_pair[link.condition, link.finding].append(link)
        if reference.findings[link.finding].kind == "cause":
            yield Fault("links", link, "finding", "a cause acts through history_risks and would be counted twice")
    for steps in by_pair.values():
        yield from _steps("links", steps)
    linked = {condition for condition, _ in by_pair}
    for condition in reference.conditions.values():
        if condition.id not in linked:
            yield Fault("conditions", condition, "id", "no link: the condition brings no finding")


def leaks(reference: Reference) -> Iterator[Fault]:
    """Leaks: one for every level of every finding, not rising."""
    by_finding: dict[str, list[Leak]] = defaultdict(list)
    for leak in reference.leaks:
        by_finding[leak.finding].append(leak)
    for finding in reference.findings.values():
        steps = by_finding[finding.id]
        for level in range(1, len(finding.levels)):
            if level not in [step.level for step in steps]:
                yield Fault("findings", finding, "levels", f"no leak for the level {finding.levels[level]}")
        yield from _steps("leaks", steps)


def _steps(table: str, steps: Sequence[Link | Leak]) -> Iterator[Fault]:
    ordered = sorted(steps, key=attrgetter("level"))
    for place, step in enumerate(ordered, start=1):
        if step.level == 0:
            yield Fault(table, step, "level", "the level looked and not seen has no probability of its own")
            return
        if step.level != place:
            yield Fault(table, step, "level", "a level below it has no row")
            return
    for lower, higher in pairwise(ordered):
        if higher.probability > lower.probability:
            yield Fault(
                table,
                higher,
                "probability",
                f"{higher.probability:g} is more than the {lower.probability:g} of the level below",
            )


def history(reference: Reference) -> Iterator[Fault]:
    """History risks act on causes only, and the answer no must keep odds above 0: frequency of yes x odds < 1."""
    background = {leak.finding: leak.probability for leak in reference.leaks if leak.level == 1}
    for risk in reference.history_risks:
        if reference.findings[risk.finding].kind != "cause":
            yield Fault("history_risks", risk, "finding", "not a finding of kind cause: it acts through links")
        elif background.get(risk.finding, 0) * risk.odds >= 1:
            yield Fault(
                "history_risks",
                risk,
                "odds",
                f"{risk.odds:g} x the background {background[risk.finding]:g} of the answer yes is not below 1",
            )


def predispositions(reference: Reference) -> Iterator[Fault]:
    """No condition opens the way for itself, by whatever round."""
    cycle = predisposition_cycle(reference.predispositions)
    if cycle:
        row = next(row for row in reference.predispositions if (row.parent, row.condition) == cycle[:2])
        yield Fault("predispositions", row, "parent", f"a circle: {' → '.join(cycle)}")


def ranges(reference: Reference) -> Iterator[Fault]:
    """What has a low and a high end has them in order; bands of temperature do not overlap."""
    for host in reference.hosts.values():
        yield from _ordered("hosts", host, "temperature_low_c", "temperature_high_c")
        yield from _ordered("hosts", host, "ph_low", "ph_high")
        yield from _ordered("hosts", host, "gh_low_dgh", "gh_high_dgh")
    for condition in reference.conditions.values():
        yield from _ordered("conditions", condition, "temperature_low_c", "temperature_high_c")
        yield from _ordered("conditions", condition, "course_days_low", "course_days_high")
    bands = defaultdict(list)
    for band in reference.temperature_risks:
        if band.low_c is None and band.high_c is None:
            yield Fault("temperature_risks", band, "low_c", "a band open on both sides says nothing")
        yield from _ordered("temperature_risks", band, "low_c", "high_c")
        bands[band.condition].append(band)
    for own in bands.values():
        own.sort(key=lambda band: float("-inf") if band.low_c is None else band.low_c)
        for lower, upper in pairwise(own):
            if lower.high_c is None or upper.low_c is None or upper.low_c < lower.high_c:
                yield Fault("temperature_risks", upper, "low_c", "overlaps another band of the same condition")


def _ordered(table: str, row: Any, low: str, high: str) -> Iterator[Fault]:
    below, above = getattr(row, low), getattr(row, high)
    if below is not None and above is not None and below >= above:
        yield Fault(table, row, low, f"{below:g} is not below {high} {above:g}")


def host_groups(reference: Reference) -> Iterator[Fault]:
    """One root, and every group comes down from it."""
    for group in reference.host_groups.values():
        if (group.parent is None) != (group.id == "fish"):
            yield Fault("host_groups", group, "parent", "fish alone has no parent")
        elif reference.host_group_line(group.id)[-1] != "fish":
            yield Fault("host_groups", group, "parent", "the parents run in a circle")


def examinations(reference: Reference) -> Iterator[Fault]:
    """Order of work, detection and short lists; states of the body and words of sureness."""
    order = Counter(examination.order for examination in reference.examinations.values())
    for examination in reference.examinations.values():
        if order[examination.order] > 1:
            yield Fault("examinations", examination, "order", f"another examination has {examination.order} too")
        if len(examination.detection) != 2 or examination.detection[0] > examination.detection[1]:
            yield Fault(
                "examinations",
                examination,
                "detection",
                "two chances: at level 1, and at level 2 and more, not smaller",
            )
        for finding, times in Counter(examination.short_list).items():
            if times > 1:
                yield Fault("examinations", examination, "short_list", f"{finding} stands there {times} times")
    for word in SURENESS:
        if word not in reference.sureness:
            yield Fault("sureness", next(iter(reference.sureness.values())), "id", f"no row for {word}")


def limits(reference: Reference) -> Iterator[Fault]:
    """Limits act on findings of the water, in one unit a parameter and side, harder at each level."""
    by_kind: dict[tuple[str, str, str, str], list[Limit]] = defaultdict(list)
    units: dict[str, str] = {}
    for limit in reference.limits:
        by_kind[limit.parameter, limit.host_group, limit.finding, limit.side].append(limit)
        if reference.findings[limit.finding].kind != "water":
            yield Fault("limits", limit, "finding", "not a finding of the water")
        if limit.level == 0:
            yield Fault("limits", limit, "level", "no reading leads to the level looked and not seen")
        if units.setdefault(limit.parameter, limit.unit) != limit.unit:
            yield Fault("limits", limit, "unit", f"elsewhere {limit.parameter} is in {units[limit.parameter]}")
    for own in by_kind.values():
        own.sort(key=lambda limit: limit.level)
        for milder, harder in pairwise(own):
            if harder.value <= milder.value if harder.side == "above" else harder.value >= milder.value:
                yield Fault("limits", harder, "value", f"not {harder.side} the {milder.value:g} of the level below")


def cautions(reference: Reference) -> Iterator[Fault]:
    """Every trigger exists; notifiable and zoonotic conditions have their cautions; every red flag has steps."""
    groups = {condition.group for condition in reference.conditions.values()}
    water = {finding.id for finding in reference.findings.values() if finding.kind == "water"}
    accepted: dict[str, set[str]] = {
        "condition": {*reference.conditions, *groups, "notifiable:woah", "notifiable:national", "zoonotic:yes"},
        "examination": set(reference.examinations),
        "agent": {*reference.treatments, "any"},
        "water": water,
        "finding": set(reference.findings),
        "always": set(),
    }
    triggers = set()
    for caution in reference.cautions.values():
        named = [part.strip() for part in caution.trigger.split(";") if part.strip()]
        triggers.update(named)
        if bool(named) == (caution.trigger_kind == "always"):
            yield Fault("cautions", caution, "trigger", "always needs no trigger, every other kind needs one")
        for part in named:
            if part not in accepted[caution.trigger_kind]:
                yield Fault("cautions", caution, "trigger", f"{part!r} is no {caution.trigger_kind}")
    for condition in reference.conditions.values():
        if condition.notifiable != "no" and not {condition.id, f"notifiable:{condition.notifiable}"} & triggers:
            yield Fault("conditions", condition, "notifiable", "no caution says to whom it is notified")
        if condition.zoonotic and not {condition.id, "zoonotic:yes"} & triggers:
            yield Fault("conditions", condition, "zoonotic", "no caution says that people can catch it")
    with_steps = {step.flag for step in reference.first_aid}
    for flag in reference.red_flags.values():
        if (flag.from_finding is None) != (flag.from_level is None):
            yield Fault("red_flags", flag, "from_level", "a finding needs its level, and a level its finding")
        if flag.id not in with_steps:
            yield Fault("red_flags", flag, "id", "no first-aid step")


def treatments(reference: Reference) -> Iterator[Fault]:
    """What a treatment treats and who does not stand it."""
    for row in reference.treats:
        if bool(row.condition) == bool(row.purpose):
            yield Fault("treats", row, "condition", "either a condition or a purpose")
    for rule in reference.sensitivities:
        if rule.treatment not in reference.treatments and rule.treatment not in WITHOUT_A_TREATMENT_ROW:
            yield Fault("sensitivities", rule, "treatment", f"{rule.treatment!r} is not in treatments.csv")
        if bool(rule.host_group) == (rule.thing in THINGS_THAT_ARE_NO_FISH):
            yield Fault("sensitivities", rule, "host_group", "fish have a host group, other things in the water none")


def doses(reference: Reference) -> Iterator[Fault]:
    """Every treatment has its row of numbers or the reason why not; low, high and stop in order; limits act on some."""
    for id, treatment in reference.treatments.items():
        if id not in reference.doses:
            yield Fault("treatments", treatment, "id", "no row in doses.csv says its numbers, or why there are none")
    for row in reference.doses.values():
        never = row.supply in ("refused", "not_weighed")
        if never != bool(row.reason):
            yield Fault("doses", row, "reason", "what is never worked out needs the reason, the rest none")
        if not never and (row.low is None or row.high is None or row.hard_max is None or not row.unit):
            yield Fault("doses", row, "low", "low, high, hard_max and unit are needed for a sum")
        steps = [value for value in (row.low, row.high, row.hard_max) if value is not None]
        if steps != sorted(steps):
            yield Fault("doses", row, "hard_max", "low, high and hard_max must rise")
        if row.basis != reference.treatments[row.treatment].basis:
            yield Fault("doses", row, "basis", "not the basis of the row in treatments.csv")
    for limit in reference.dose_limits:
        if limit.treatment not in reference.doses and limit.treatment not in WITHOUT_A_TREATMENT_ROW:
            yield Fault("dose_limits", limit, "treatment", f"{limit.treatment!r} is not in doses.csv")
        if bool(limit.host_group) == (limit.thing in THINGS_THAT_ARE_NO_FISH):
            yield Fault("dose_limits", limit, "host_group", "fish have a host group, other things in the water none")
        if (limit.value is None) == (limit.rule in ("max", "factor")):
            yield Fault("dose_limits", limit, "value", "max and factor need a value, the other rules none")
        if limit.rule == "factor" and limit.value is not None and limit.value >= 1:
            yield Fault("dose_limits", limit, "value", "a factor lowers the dose: below 1")
    families = {"any"} | {family for row in reference.doses.values() for family in row.families}
    for conflict in reference.conflicts:
        for column in ("first", "second"):
            if getattr(conflict, column) not in families:
                yield Fault("conflicts", conflict, column, "no agent of doses.csv is of this family")
    groups = {condition.group for condition in reference.conditions.values()}
    for step in reference.husbandry:
        if step.applies_to not in reference.conditions and step.applies_to not in groups:
            yield Fault("husbandry", step, "applies_to", "neither a condition nor a group of conditions")


def sources(reference: Reference) -> Iterator[Fault]:
    """A published figure names a source that was published."""
    for table in (
        "conditions",
        "links",
        "leaks",
        "history_risks",
        "host_risks",
        "temperature_risks",
        "predispositions",
        "limits",
        "treatments",
        "sensitivities",
        "doses",
        "dose_limits",
        "conflicts",
        "husbandry",
        "examinations",
        "link_rates",
        "incubations",
    ):
        rows = getattr(reference, table)
        for row in rows.values() if hasattr(rows, "values") else rows:
            if row.basis == "published" and all(reference.sources[key].kind == "memory" for key in row.sources):
                yield Fault(table, row, "sources", "a published figure needs a source that is not memory")


def organisms(reference: Reference) -> Iterator[Fault]:
    """Chances of a feature's words add up to no more than 1; findings exist; sizes and stages are in order."""
    for organism in reference.organisms.values():
        if organism.condition is None and organism.rate is None:
            yield Fault("organisms", organism, "rate", "needed where no condition has one")
        yield from _ordered("organisms", organism, "size_low_um", "size_high_um")
        for column in ("sites", "outline", "movement", "attachment", "colour", "nucleus", "hooks", "eyespots"):
            try:
                chances = [float(cell.partition("=")[2]) for cell in getattr(organism, column)]
            except ValueError:
                yield Fault("organisms", organism, column, "every entry is word=chance")
                continue
            if not chances or min(chances) <= 0 or max(chances) >= 1 or (column != "sites" and sum(chances) > 1):
                yield Fault("organisms", organism, column, "chances lie between 0 and 1 and add up to 1 at most")
        for cell in organism.findings:
            if cell.partition("=")[2] not in reference.findings:
                yield Fault("organisms", organism, "findings", f"{cell!r}: not site=finding")
    for row in reference.stage_survival:
        if row.treatment not in reference.treatments and row.treatment not in WITHOUT_A_SUBSTANCE:
            yield Fault("stage_survival", row, "treatment", f"{row.treatment!r} is not in treatments.csv")
        if not row.low <= row.survival <= row.high:
            yield Fault("stage_survival", row, "low", "low, survival and high must rise")


def spreading(reference: Reference) -> Iterator[Fault]:
    """Rates of links and times of incubation: the figure between its ends, the low end first."""
    for row in reference.link_rates.values():
        yield from _ordered("link_rates", row, "low", "rate")
        yield from _ordered("link_rates", row, "rate", "high")
    for times in reference.incubations.values():
        yield from _ordered("incubations", times, "latent_low_d", "latent_high_d")
        yield from _ordered("incubations", times, "incubation_low_d", "incubation_high_d")
        if times.carried_early > times.carried_late:
            yield Fault("incubations", times, "carried_early", "more than carried_late")


def use_of_findings(reference: Reference) -> Iterator[Fault]:
    """Every finding weighs: a condition links to it, or it is a cause and acts on some risk."""
    used = {link.finding for link in reference.links} | {risk.finding for risk in reference.history_risks}
    for finding in reference.findings.values():
        if finding.id not in used:
            yield Fault("findings", finding, "id", "nothing in links or history_risks uses it")


RULES: tuple[Callable[[Reference], Iterator[Fault]], ...] = (
    host_groups,
    scales,
    links,
    leaks,
    history,
    predispositions,
    ranges,
    examinations,
    limits,
    cautions,
    treatments,
    doses,
    organisms,
    spreading,
    sources,
    use_of_findings,
)
