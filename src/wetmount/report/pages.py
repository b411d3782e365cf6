"""The pages behind the first: the case, what was looked at, the weigh-up in full, what to look at next, cautions."""

from __future__ import annotations

from collections.abc import Iterator

from wetmount.case import Batch, Fish, Numbers
from wetmount.case_check import host_row
from wetmount.evidence import Observation
from wetmount.report.document import (
    Block,
    Cell,
    Entries,
    Facts,
    Field,
    Fields,
    Heading,
    Paragraph,
    Points,
    Section,
    Span,
    Table,
    Warn,
    Warns,
)
from wetmount.report.keeper import host_range
from wetmount.report.telling import Telling, shown_examinations
from wetmount.report.words import (
    capital,
    duration,
    field_of,
    finding_words,
    firm_range_in_hundred,
    in_hundred,
    listed,
)
from wetmount.weighup.results import NextExamination


def plain(text: str, *, quiet: bool = False) -> Paragraph:
    """A paragraph without emphasis."""
    return Paragraph((Span(text),), quiet)


def the_case(telling: Telling) -> Section:
    """The fish, their numbers, where they came from, which were examined, and what the keeper answered."""
    case, evidence = telling.case, telling.weighup.evidence
    rows: list[tuple[str, str]] = [("Fish", capital(telling.host_name))]
    if kept_at := host_range(telling):
        rows.append(("Kept at", kept_at))
    if numbers := _numbers_words(telling.look.numbers):
        rows.append(("Numbers", numbers))
    for label, lines in (
        ("Batches", [_batch_words(telling, batch) for batch in case.batches]),
        ("Fish examined", [_fish_words(telling, fish) for fish in case.fish]),
        ("Notes", [] if telling.teaching else [note for note in (case.note, telling.look.note) if note]),
    ):
        rows += [(label if place == 0 else "", line) for place, line in enumerate(lines)]
    blocks: list[Block] = [Facts(tuple(rows))]
    if evidence.answers:
        questions: list[str] = []
        for id, yes in evidence.answers.items():
            answer = "yes" if yes else "no"
            how = telling.trace(evidence.answer_trace.get(id, ""))
            told = f" ({how})" if how not in ("", f"answered {answer}") else ""
            questions.append(f"{telling.reference.findings[id].name}: {answer}{told}")
        blocks += [Heading("What the keeper was asked"), Points(tuple(questions), columns=2)]
    else:
        words = "The keeper was asked nothing yet about what went before; not asked is not the same as no."
        blocks.append(plain(words))
    return Section("case", "The case", tuple(blocks))


def _numbers_words(numbers: Numbers | None) -> str:
    if numbers is None:
        return ""
    said = (
        (numbers.total, "in all"),
        (numbers.sick, "ill"),
        (numbers.dead, "dead so far"),
        (numbers.dead_today, "dead today"),
    )
    return ", ".join(f"{number} {what}" for number, what in said if number is not None)


def _batch_words(telling: Telling, batch: Batch) -> str:
    """A batch in words; the teaching edition leaves out the supplier and what was written freely."""
    row = host_row(batch.species, telling.reference)
    species = row.common_name if row is not None else "fish" if telling.teaching else batch.species
    parts = [species if batch.number is None else f"{batch.number} {species}"]
    if batch.origin and not telling.teaching:
        parts.append(f"from {batch.origin}")
    if batch.arrived is not None:
        parts.append(f"arrived on {telling.day(batch.arrived)}")
    if batch.note and not telling.teaching:
        parts.append(batch.note)
    return ", ".join(parts)


def _fish_words(telling: Telling, fish: Fish) -> str:
    """An examined fish in words: state of the body, sex, length, weight."""
    states = {"alive": "alive", "killed": "killed for examination", "found_dead": "found dead"}
    state = states.get(fish.state or "", "")
    if fish.hours_dead is not None:
        state += f" {fish.hours_dead:g} h before"
    if fish.state == "killed" and fish.killed_by and not telling.teaching:
        state += f" ({fish.killed_by})"
    note = None if telling.teaching else fish.note
    parts = [part for part in (state, fish.kept, fish.sex, fish.length, fish.weight, note) if part]
    return f"Fish {telling.fish(fish.id)}: {', '.join(parts) or 'nothing noted'}"


def looked_at(telling: Telling) -> Section:
    """Every observation: its level, how sure, how it came about; then what differed, and what was not looked at."""
    evidence, reference = telling.weighup.evidence, telling.reference
    blocks: list[Block] = []
    if evidence.observations:
        blocks.append(
            plain(
                "Every finding is sure unless it says otherwise. Swept: looked over at a glance, so it counts for less."
            )
        )
    for examination in sorted(reference.examinations.values(), key=lambda row: row.order):
        own = [one for one in evidence.observations if reference.findings[one.finding].examination == examination.id]
        if own and examination.id != "water_test":
            blocks.append(Heading(capital(examination.name)))
            blocks.append(Fields(tuple(observed(telling, own)), columns=2))
    if not evidence.observations:
        blocks.append(plain("Nothing was looked at yet: no finding was entered."))
    for contradiction in evidence.contradictions:
        finding = reference.findings[contradiction.finding]
        blocks.append(plain(f"{capital(finding.name)}: {telling.trace(contradiction.why)}."))
    for ignored in evidence.ignored:
        name = reference.findings[ignored.finding].name
        blocks.append(plain(f"Left out: {name}, because {telling.trace(ignored.why)}."))
    if not telling.teaching:
        pictures = [one for record in telling.look.examinations for one in record.photographs]
        blocks += [Heading("Photographs")] if pictures else []
        blocks += [Points(tuple(f"{one.caption or 'No caption'} ({one.file})" for one in pictures))] if pictures else []
        notes = [
            f"{reference.examinations[record.kind].name}{f', fish {record.fish}' if record.fish else ''}: {record.note}"
            for record in telling.look.examinations
            if record.note
        ]
        blocks += [Heading("Notes from the bench"), Points(tuple(notes))] if notes else []
    undone = [row for row in reference.examinations.values() if not evidence.examinations_done.get(row.id)]
    begun = [row for row in reference.examinations.values() if 0 < evidence.examinations_done.get(row.id, 0) < 0.5]
    blocks.append(Heading("Not looked at yet"))
    if begun:
        blocks.append(plain(f"Begun, less than half of its short list looked at: {listed(row.name for row in begun)}."))
    names = listed(row.name for row in sorted(undone, key=lambda row: row.order))
    blocks.append(plain(f"Not done: {names}." if undone else "Every examination was at least begun."))
    return Section("evidence", "What was looked at, and what was found", tuple(blocks))


def observed(telling: Telling, own: list[Observation]) -> Iterator[Field]:
    """An entry for each finding; those swept alike share one, since they say the same."""
    findings = telling.reference.findings
    for one in own:
        if one.level > 0 or one.sure != "swept":
            finding = findings[one.finding]
            yield Field(field_of(finding, one.level, one.sure), finding_words(finding, one), telling.came_about(one))
    swept: dict[str, list[str]] = {}
    for one in own:
        if one.level == 0 and one.sure == "swept":
            swept.setdefault(telling.came_about(one), []).append(findings[one.finding].name)
    for trace, names in swept.items():
        yield Field("swept", f"quick look, not seen: {'; '.join(names)}", trace)


def next_examination(telling: Telling) -> Section:
    """What to look at next, with its price in time, money and fish."""
    result, reference = telling.weighup, telling.reference
    blocks: list[Block] = []
    if result.unfinished:
        blocks.append(
            plain(f"First, since they cost next to nothing: {listed(one.name for one in result.unfinished)}.")
        )
        blocks += [
            Points(tuple(f"{capital(one.name)}: {reference.examinations[one.id].how}" for one in result.unfinished))
        ]
    if result.next_examinations is None:
        blocks.append(plain("What to look at next was not worked out."))
    elif not result.next_examinations:
        blocks.append(plain("Every examination in the tables was done; none is left to propose."))
    else:
        shown = shown_examinations(result)
        rows = tuple(_examination_row(one) for one in shown)
        head = ("Examination", "Time", "Money", "Fish given up", "Tells", "Advice")
        caption = (
            "In order of information for its price. Money: in cheap drop tests. No firmer than the weigh-up itself."
        )
        blocks.append(Table(head, rows, (2, 0.9, 0.9, 1.2, 1, 4.4), caption))
        first = reference.examinations[shown[0].id]
        cite = telling.bibliography.cite(first.sources)
        blocks.append(plain(f"How: {first.how} {cite}".strip()))
    return Section("next", "What to look at next", tuple(blocks))


def _examination_row(one: NextExamination) -> tuple[Cell, ...]:
    money = f"{one.money:g}" if one.money else "none"
    fish = "one" if one.gives_up_fish else "none"
    return capital(one.name), duration(one.minutes), money, fish, f"{one.information_bits:.2f} bits", one.advice


def law(telling: Telling) -> Section:
    """Notifiable and zoonotic conditions that are not excluded, leading or not."""
    warnings = telling.weighup.warnings
    blocks: list[Block] = []
    by_id = {result.id: result for result in telling.weighup.conditions}
    for warning in warnings:
        result = by_id[warning.condition]
        words = (
            f"There: {in_hundred(warning.probability)}; to blame when redrawn, in 100: {firm_range_in_hundred(result)}."
        )
        cite = telling.bibliography.cite(telling.reference.conditions[warning.condition].sources)
        label = "Must be reported. " if warning.kind == "notifiable" else "Can pass to people. "
        blocks.append(Paragraph((Span(label, strong=True), Span(f"{warning.text} {words} {cite}".strip()))))
    if not warnings:
        blocks.append(
            plain("No cause that must be reported, or that passes to people, is likely enough to warn of by name.")
        )
    return Section("law", "The law and your health", tuple(blocks))


def all_cautions(telling: Telling) -> Section:
    """Every caution that applies, whole, with what brought it here."""
    items = []
    for caution in telling.cautions:
        row = telling.reference.cautions[caution.id]
        names = [_trigger_name(telling, row.trigger_kind, id) for id in caution.because]
        because = listed(dict.fromkeys(names)) if names else ""
        items.append(Warn(caution.severity, caution.text, because, telling.bibliography.cite(caution.sources)))
    return Section("cautions", "Cautions", (Warns(tuple(items)),))


def _trigger_name(telling: Telling, kind: str, id: str) -> str:
    reference = telling.reference
    if kind == "condition":
        return reference.conditions[id].name
    if kind == "examination":
        return reference.examinations[id].name
    if kind == "agent" and id in reference.doses:
        return reference.doses[id].substance
    return reference.findings[id].name if id in reference.findings else id


def method(telling: Telling) -> Section:
    """How the figures came about, from which tables, and what they are not."""
    result = telling.weighup
    exact = (
        "The sum over all sets of causes is exact."
        if result.exact
        else f"The sum over all sets of causes is approximate: {result.approximation}."
    )
    words = [
        "Each cause has a chance before looking, from how often it is met in sick fish, the kind of fish, the"
        " temperature and what went before. Each finding then moves it, by how often the cause brings that finding and"
        " how likely it was to be noticed.",
        exact,
        "Redrawn: the figures of the tables are moved at random within their own uncertainty, and everything is worked"
        " out again.",
        f"Reference {result.reference_version}.",
        "This is arithmetic on published figures and on what was seen. It is not a prescription, and no diagnosis by a"
        " veterinarian: a licensed veterinarian decides on medicines, within the law of the place.",
    ]
    return Section("method", "How this was worked out", tuple(plain(text) for text in words))


def bibliography(telling: Telling) -> Section:
    """Every source that was cited, in the order of its number. Made last, when all numbers are given."""
    entries = telling.bibliography.entries()
    blocks: list[Block] = [Entries(entries)] if entries else [plain("No published source stands behind what is shown.")]
    blocks.append(plain("[memory]: written from the authors' own knowledge, no source looked up.", quiet=True))
    return Section("sources", "Sources", tuple(blocks))
