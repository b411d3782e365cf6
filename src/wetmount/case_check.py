"""Whether what a case says can be so: ids and levels against the reference, quantities against physics, counts against
each other. Shape (keys, types) is `casefile`'s work and is already right here.
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from wetmount import units
from wetmount.case import (
    LIVING,
    Case,
    ExaminationRecord,
    FindingRecord,
    Fish,
    Look,
    Numbers,
    Plan,
    Reading,
    Slide,
    finding_record,
    readings_of,
)
from wetmount.errors import InputError
from wetmount.reference import Reference
from wetmount.reference.rows import Host


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing about a case file. Fatal: the case cannot be used. Not fatal: a note, worth a second look."""

    file: str
    field: str | None
    message: str
    fatal: bool = True

    def error(self) -> InputError:
        return InputError(self.message, file=self.file, field=self.field)

    def __str__(self) -> str:
        return str(self.error())


ReadingTable = Mapping[str, str | float | Reading | tuple[str | float | Reading, ...]]
MAX_PROBLEMS = 200
"""More would be read by nobody, and each costs a search for the nearest name."""

Found = Iterator[tuple[str, str, bool]]
"""(field, message, fatal) of each problem."""


def check_content(case: Case, file: str, reference: Reference) -> list[Problem]:
    """Every problem and note of a case whose shape is right, in the order of the file."""
    problems: list[Problem] = []
    wrong = 0
    for field, message, fatal in _case(case, reference):
        problems.append(Problem(file, shorten(field, 200), shorten(message, 1000), fatal))
        wrong += fatal
        if wrong == MAX_PROBLEMS:
            problems.append(more_is_wrong(file))
            break
    return problems


def more_is_wrong(file: str) -> Problem:
    """The last problem of a file in which `MAX_PROBLEMS` were found."""
    return Problem(file, None, f"may have more wrong than these {MAX_PROBLEMS} problems; mend them first")


def shorten(text: str, length: int = 60) -> str:
    """One line, printable, not too long: what a file holds must not break up the message about it."""
    text = "".join(c if c.isprintable() else " " for c in text)
    return text if len(text) <= length else text[: length - 1] + "…"


def nearest(word: str, known: Collection[str]) -> str | None:
    """'did you mean …' with up to three known words spelled much like this one, or None."""
    lower = {one.lower(): one for one in known}
    guesses = [lower[match] for match in difflib.get_close_matches(word.lower()[:100], lower, 3, 0.72)]
    if not guesses:
        return None
    return "did you mean " + (guesses[0] if len(guesses) == 1 else f"{', '.join(guesses[:-1])} or {guesses[-1]}") + "?"


def host_group_of(case: Case, reference: Reference) -> str | None:
    """The host group: the species' own when the reference knows it, else the group that is stated."""
    row = host_row(case.host.species, reference)
    return row.host_group if row is not None else case.host.group


def host_row(species: str | None, reference: Reference) -> Host | None:
    """The row of a species by its scientific or common name (letter case does not matter), or None."""
    if species is None:
        return None
    if species in reference.hosts:
        return reference.hosts[species]
    wanted = species.strip().casefold()
    for host in reference.hosts.values():
        if wanted in (host.scientific_name.casefold(), host.common_name.casefold()):
            return host
    return None


def host_names(reference: Reference) -> list[str]:
    """Every name by which a species may be given."""
    return [name for row in reference.hosts.values() for name in (row.scientific_name, row.common_name)]


def answerable(reference: Reference) -> dict[str, str]:
    """The findings that `history` may answer with yes or no: id → the examination they belong to."""
    return {
        finding.id: finding.examination
        for finding in reference.findings.values()
        if finding.kind == "cause" or (finding.kind == "effect" and len(finding.levels) == 2)
    }


def body_states(reference: Reference) -> tuple[str, ...]:
    """The states of a body that the reference knows, in the order of its table."""
    return tuple(dict.fromkeys(row.state for row in reference.body_states))


def _case(case: Case, reference: Reference) -> Found:
    yield from _host(case, reference)
    if case.numbers is not None:
        yield from _numbers(case.numbers, "numbers")
    for index, flag in enumerate(case.red_flags):
        yield from _known(flag, reference.red_flags, "red flag", f"red_flags[{index}]")
    for finding in case.history:
        yield from _known(finding, answerable(reference), "history question", f"history.{finding}")
    yield from _fish(case, reference)
    for index, batch in enumerate(case.batches):
        if case.date is not None and batch.arrived is not None and batch.arrived > case.date:
            yield f"batches[{index}].arrived", f"is {batch.arrived}, after the case was opened ({case.date})", False
    if case.looks and (case.findings or case.readings):
        which = "findings" if case.findings else "readings"
        yield which, f"stands beside looks; {which} at the top are short for a single look, so move them into one", True
    yield from _findings(case.findings, None, "findings", reference)
    yield from _readings(case.readings, "readings")
    if case.plan is not None:
        yield from _plan(case.plan, "plan", reference)
    for index, look in enumerate(case.looks):
        yield from _look(look, case, f"looks[{index}]", reference)
    dates = [look.date for look in case.looks if look.date is not None]
    if dates != sorted(dates):
        yield "looks", "are not in the order of their dates; the last one is taken as the present", False


def _host(case: Case, reference: Reference) -> Found:
    host = case.host
    if host.species is None and host.group is None:
        yield "host", 'names neither; accepted is species = "…" or group = "…"', True
        return
    if host.group is not None:
        yield from _known(host.group, reference.host_groups, "host group", "host.group")
    if host.species is None:
        return
    row = host_row(host.species, reference)
    if row is None and host.group is None:
        guess = nearest(host.species, host_names(reference)) or f"add group, one of {', '.join(reference.host_groups)}"
        yield "host.species", f'"{shorten(host.species)}" is not in the reference; {guess}', True
    elif row is not None and host.group in reference.host_groups:
        line = reference.host_group_line(row.host_group)
        if host.group not in line:
            yield "host.group", f'is "{host.group}", but {host.species} belongs to {", ".join(line)}', True


def _numbers(numbers: Numbers, path: str) -> Found:
    total, sick, dead, today = numbers.total, numbers.sick, numbers.dead, numbers.dead_today
    if today is not None and dead is not None and today > dead:
        yield f"{path}.dead_today", f"is {today}, more than dead ({dead}), which counts them too", True
    gone = dead if dead is not None else today or 0
    if total is not None and (sick or 0) + gone > total:
        yield f"{path}.total", f"is {total}, fewer than sick and dead together ({(sick or 0) + gone})", True


def _fish(case: Case, reference: Reference) -> Found:
    seen: set[str] = set()
    for index, fish in enumerate(case.fish):
        path = f"fish[{index}]"
        if fish.id in seen:
            yield f"{path}.id", f'"{fish.id}" stands twice; each fish has its own id', True
        seen.add(fish.id)
        if fish.state == "alive":
            for key in ("hours_dead", "kept", "killed_by"):
                if getattr(fish, key) is not None:
                    yield f"{path}.{key}", "is given for a fish that was alive; leave it out or change state", True
        elif fish.killed_by is not None and fish.state != "killed":
            yield f"{path}.killed_by", 'is given for a fish that was not killed; accepted with state = "killed"', True
        elif fish.state == "found_dead" and fish.hours_dead is None and fish.kept is None:
            yield f"{path}.hours_dead", "is not given for a fish found dead; the longest it can be is assumed", False
        yield from _quantity(fish.length, "length", f"{path}.length")
        yield from _quantity(fish.weight, "weight", f"{path}.weight")


def _look(look: Look, case: Case, path: str, reference: Reference) -> Found:
    if look.numbers is not None:
        yield from _numbers(look.numbers, f"{path}.numbers")
    yield from _findings(look.findings, None, f"{path}.findings", reference)
    yield from _readings(look.readings, f"{path}.readings")
    fish = {one.id: one for one in case.fish}
    for index, examination in enumerate(look.examinations):
        yield from _examination(examination, fish, f"{path}.examinations[{index}]", reference)
    if look.plan is not None:
        yield from _plan(look.plan, f"{path}.plan", reference)


def _plan(plan: Plan, path: str, reference: Reference) -> Found:
    if plan.steps and not ((plan.by or "").strip() and (plan.why or "").strip()):
        yield f"{path}.{'why' if plan.by else 'by'}", "is missing; accepted is who chose these steps, and why", True
    for part in (plan.volume or "").split(" to ") if plan.volume else ():
        yield from _quantity(part, "volume", f"{path}.volume")
    for index, name in enumerate(plan.others):
        if name not in reference.host_groups and host_row(name, reference) is None:
            yield (
                f"{path}.others[{index}]",
                f'"{shorten(name)}" is no host of the reference; it counts as any fish',
                False,
            )
    for thing in plan.living:
        yield from _known(thing, LIVING, "thing that lives in the water", f"{path}.living.{thing}")
    for index, given in enumerate(plan.given or ()):
        yield from _known(given.option, reference.doses, "treatment", f"{path}.given[{index}].option")
        if plan.first is not None and given.date > plan.first:
            yield f"{path}.given[{index}].date", f"is after the first day of the plan ({plan.first})", True
    for id, agent in plan.agents.items():
        yield from _known(id, reference.doses, "treatment", f"{path}.agents.{id}")
        if agent.against is not None:
            yield from _known(agent.against, reference.conditions, "condition", f"{path}.agents.{id}.against")
        yield from _quantity(agent.volume, "volume", f"{path}.agents.{id}.volume")
        yield from _quantity(agent.biomass, "weight", f"{path}.agents.{id}.biomass")
        if agent.prescriber is not None and agent.dose is None:
            yield f"{path}.agents.{id}.dose", "is missing; a prescriber is given, so accepted is the dose with it", True
        if agent.days and (agent.days[0] != 0 or list(agent.days) != sorted(set(agent.days))):
            yield f"{path}.agents.{id}.days", "begin with 0, the first giving, and rise", True
    for index, step in enumerate(plan.steps):
        if step.kind == "treat":
            yield from _known(step.option or "", reference.doses, "treatment", f"{path}.steps[{index}].option")
        if not step.text.strip():
            yield f"{path}.steps[{index}].text", "is empty; accepted is what is to be done", True
        if plan.first is not None and any(day < plan.first for day in step.days):
            yield f"{path}.steps[{index}].days", f"holds a day before the first of the plan ({plan.first})", True


def _examination(record: ExaminationRecord, fish: Mapping[str, Fish], path: str, reference: Reference) -> Found:
    yield from _known(record.kind, reference.examinations, "examination", f"{path}.kind")
    if record.fish is not None:
        yield from _known(record.fish, fish, "fish of this case", f"{path}.fish")
    if record.body_state is not None:
        yield from _known(record.body_state, body_states(reference), "body state", f"{path}.body_state")
    yield from _findings(record.findings, record.kind, f"{path}.findings", reference)
    for index, slide in enumerate(record.slides):
        yield from _slide(slide, record, f"{path}.slides[{index}]", reference)


def _findings(findings: Mapping[str, str | FindingRecord], kind: str | None, path: str, reference: Reference) -> Found:
    for id, entry in findings.items():
        yield from _known(id, reference.findings, "finding", f"{path}.{id}")
        if id not in reference.findings:
            continue
        finding, record = reference.findings[id], finding_record(entry)
        if record.level not in finding.levels:
            yield f"{path}.{id}", f'is "{record.level}"; accepted levels are {", ".join(finding.levels)}', True
        if record.sure not in reference.sureness:
            yield f"{path}.{id}.sure", f'is "{record.sure}"; accepted are {", ".join(reference.sureness)}', True
        if record.n_of is not None:
            yield from _n_of(record.n_of, record.level != finding.levels[0], f"{path}.{id}.n_of")
        if kind is not None and kind in reference.examinations and kind != finding.examination:
            if id in reference.examinations[kind].short_list:
                continue  # a fin clip shows much of what a skin scrape does
            yield f"{path}.{id}", f"belongs to {finding.examination} and stands under {kind}", False


def _n_of(n_of: tuple[int, int], seen: bool, path: str) -> Found:
    n, of = n_of
    if of == 0 or n > of:
        yield path, f"is [{n}, {of}]; accepted is [fish it was seen in, fish looked at for it]", True
    elif (n > 0) != seen:
        yield path, f"says it was seen in {n} of {of} fish, but the level says {'seen' if seen else 'not seen'}", True


def _slide(slide: Slide, record: ExaminationRecord, path: str, reference: Reference) -> Found:
    countable = {f.id: f for f in reference.findings.values() if f.kind == "organism"}
    for id, count in slide.counts.items():
        yield from _known(id, countable, "finding that is counted", f"{path}.counts.{id}")
        if isinstance(count, int):
            if slide.fields is None:
                yield f"{path}.fields", f"is missing; accepted is the number of fields that {id} was counted in", True
        elif not count:
            yield f"{path}.counts.{id}", "is an empty list; accepted is a number, or a list of one a field", True
        elif slide.fields is not None and len(count) != slide.fields:
            yield f"{path}.counts.{id}", f"lists {len(count)} fields, but fields = {slide.fields}", True


def _readings(readings: ReadingTable, path: str) -> Found:
    for parameter in readings:
        yield from _known(parameter, units.READINGS, "water parameter", f"{path}.{parameter}")
    for parameter, place, reading in readings_of(readings):
        if parameter in units.READINGS:
            yield from _quantity(reading.value, parameter, f"{path}.{place}")


def _quantity(text: str | float | None, kind: str, path: str) -> Found:
    if text is None:
        return
    try:
        units.parse_quantity(text, kind)
    except InputError as error:
        yield path, error.message, True


def _known(id: str, known: Collection[str], what: str, path: str) -> Found:
    if id in known:
        return
    guess = nearest(id, known)
    if guess is None:
        if not known:
            guess = "there is none yet"
        else:
            guess = f"accepted are {', '.join(known)}" if len(known) <= 30 else "`wetmount case new` lists them"
    yield path, f'"{shorten(id)}" is no {what}; {guess}', True
