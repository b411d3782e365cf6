"""The pages behind the first: the case, what was looked at, the weigh-up in full, what to look at next, cautions, sources."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from wetmount import charts
from wetmount.case_check import host_row
from wetmount.evidence import Observation
from wetmount.report.document import (
    Block,
    Cell,
    Drawing,
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
from wetmount.report.keeper import cause_bar, host_range
from wetmount.report.telling import Telling
from wetmount.report.words import (
    capital,
    counted,
    duration,
    factor,
    field_of,
    finding_words,
    firm_range_in_hundred,
    firmness_sentence,
    in_hundred,
    level_words,
    listed,
)
from wetmount.weighup.results import ConditionResult, NextExamination, Reason

CAUSES: Final = 8
CAUSE_FROM: Final = 0.03
WHY_FROM: Final = 0.15
"""Reasons are told for causes to blame with at least this chance, and always for the first."""
FOR: Final = 6
AGAINST: Final = 4
TELLING_WEIGHT: Final = math.log10(1.2)
"""Reasons told of one cause, if they move the odds by a fifth at least; the teaching edition tells all."""
EXPLANATIONS: Final = 5
EXAMINATIONS: Final = 6
FACTS: Final = 4
"""Causes whose facts the teaching edition tells."""


def plain(text: str, *, quiet: bool = False) -> Paragraph:
    """A paragraph without emphasis."""
    return Paragraph((Span(text),), quiet)


def the_case(telling: Telling) -> Section:
    """The fish, their numbers, where they came from, which were examined, and what the keeper answered."""
    case, evidence = telling.case, telling.weighup.evidence
    rows: list[tuple[str, str]] = [("Fish", capital(telling.host_name))]
    if words := host_range(telling):
        rows.append(("Kept at", words))
    numbers = telling.look.numbers
    if numbers is not None:
        said = (
            (numbers.total, "in all"),
            (numbers.sick, "ill"),
            (numbers.dead, "dead so far"),
            (numbers.dead_today, "dead today"),
        )
        known = [f"{number} {what}" for number, what in said if number is not None]
        if known:
            rows.append(("Numbers", ", ".join(known)))
    for place, batch in enumerate(case.batches):
        row = host_row(batch.species, telling.reference)
        species = row.common_name if row is not None else "" if telling.teaching else batch.species
        came = [str(batch.number) if batch.number is not None else "", species or "fish"]
        parts = [" ".join(part for part in came if part)]
        if batch.origin and not telling.teaching:
            parts.append(f"from {batch.origin}")
        if batch.arrived is not None:
            parts.append(f"arrived {'on ' if telling.teaching else ''}{telling.day(batch.arrived)}")
        if batch.note and not telling.teaching:
            parts.append(batch.note)
        rows.append(("Batches" if place == 0 else "", ", ".join(parts)))
    for place, fish in enumerate(case.fish):
        state = {"alive": "alive", "killed": "killed for examination", "found_dead": "found dead"}.get(
            fish.state or "", ""
        )
        if fish.hours_dead is not None:
            state += f" {fish.hours_dead:g} h before"
        if fish.state == "killed" and fish.killed_by and not telling.teaching:
            state += f" ({fish.killed_by})"
        parts = [state, fish.kept or "", fish.sex or "", fish.length or "", fish.weight or ""]
        if fish.note and not telling.teaching:
            parts.append(fish.note)
        words = f"Fish {telling.fish(fish.id)}: {', '.join(part for part in parts if part) or 'nothing noted'}"
        rows.append(("Fish examined" if place == 0 else "", words))
    if not telling.teaching:
        rows += [("Note", note) for note in (case.note, telling.look.note) if note]
    blocks: list[Block] = [Facts(tuple(rows))]
    if evidence.answers:
        asked: list[str] = []
        for id, yes in evidence.answers.items():
            answer = "yes" if yes else "no"
            how = telling.trace(evidence.answer_trace.get(id, ""))
            known = f" ({how})" if how not in ("", f"answered {answer}") else ""
            asked.append(f"{telling.reference.findings[id].name}: {answer}{known}")
        blocks += [Heading("What the keeper was asked"), Points(tuple(asked), columns=2)]
    else:
        blocks.append(
            plain("The keeper was asked nothing yet about what went before; not asked is not the same as no.")
        )
    return Section("case", "The case", tuple(blocks))


def looked_at(telling: Telling) -> Section:
    """Every observation: its level, how sure, how it came about; then what differed, what was left out, what was not looked at."""
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


def the_weighup(telling: Telling) -> Section:
    """The causes as a chart and figures, why and why not, explanations, what nothing explains, what opened the way."""
    result = telling.weighup
    causes = telling.shown_causes(CAUSES, CAUSE_FROM)
    blocks: list[Block] = [plain(firmness_sentence(result.firmness, telling.names))]
    if result.firmness is not None:
        held = round(100 * result.firmness.share)
        alternative = f"{held} of 100 ticks are tall: {telling.names[result.firmness.leading]} stays first in {held} of 100 redraws."
        blocks.append(Drawing(charts.firmness_ruling(result.firmness.share), alternative))
    if result.memory_share is not None:
        blocks.append(
            plain(f"{capital(in_hundred(result.memory_share))} parts of its weight rest on rows written from memory.")
        )
    blocks.append(_figures(telling, causes))
    rest = len(result.conditions) - len(causes)
    if rest > 0:
        most = max(cause.responsible for cause in result.conditions[len(causes) :])
        blocks.append(
            plain(f"The other {counted(rest, 'cause')} of the tables: {in_hundred(most)} or less each.", quiet=True)
        )
    blocks += _explanations(telling)
    for cause in _leading(telling):
        blocks += _why(telling, cause)
    blocks.append(Heading("What nothing explains"))
    if result.unexplained:
        for item in result.unexplained:
            words = listed(level_words(telling.reference.findings[id], item.level) for id in item.findings)
            blocks.append(
                plain(f"{capital(words)}: {in_hundred(item.probability)} that no cause of the tables brought it.")
            )
    else:
        blocks.append(plain("Every finding has a cause in the tables that brings it."))
    blocks.append(Heading("What opened the way"))
    opened: dict[str, list[str]] = {}
    there = {way.parent: way.probability for way in result.opened_the_way}
    for way in result.opened_the_way:
        opened.setdefault(way.parent, []).append(
            f"{telling.short_names[way.condition]} ({way.odds:.2g} times the odds)"
        )
    if opened:
        lines = (
            f"{telling.names[parent]}, there {in_hundred(there[parent])}, makes likelier: {listed(children)}."
            for parent, children in sorted(opened.items(), key=lambda item: -there[item[0]])
        )
        blocks.append(Points(tuple(lines)))
    else:
        blocks.append(plain("Nothing in the tables that would have opened the way is likely to be there."))
    return Section("weighup", "The weigh-up", tuple(blocks))


def _figures(telling: Telling, causes: tuple[ConditionResult, ...]) -> Table:
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            cause.name,
            cause_bar(telling, cause).drawing,
            in_hundred(cause.responsible),
            firm_range_in_hundred(cause),
            in_hundred(cause.probability),
            in_hundred(cause.prior),
        )
        for cause in causes
    )
    head = ("Cause", "0 to 10 in 10", "To blame", "Redrawn", "There", "Before looking")
    caption = "To blame: there, and brought at least one of the findings of illness. Redrawn: in 100, when the tables are redrawn."
    return Table(head, rows, (2.6, 2.6, 1.2, 1.1, 1.2, 1.2), caption)


def _explanations(telling: Telling) -> Iterator[Block]:
    result = telling.weighup
    yield Heading("Together these would explain it")
    rows: list[tuple[Cell, ...]] = [
        (listed(telling.names[id] for id in one.conditions) or "Causes outside the tables", in_hundred(one.probability))
        for one in result.explanations[:EXPLANATIONS]
    ]
    rest = result.remaining_probability + sum(one.probability for one in result.explanations[EXPLANATIONS:])
    rows.append(("Any other set of causes", in_hundred(rest)))
    yield Table(("Set of causes", "Chance"), tuple(rows), (6, 1.4))


def _leading(telling: Telling) -> list[ConditionResult]:
    """Causes whose reasons are told: those likely to blame and always the first, as far as reasons were worked out."""
    told = [
        cause
        for place, cause in enumerate(telling.weighup.conditions[:CAUSES])
        if cause.id in telling.weighup.reasons and (place == 0 or cause.responsible >= WHY_FROM or telling.teaching)
    ]
    return told[: 5 if telling.teaching else 4]


def _why(telling: Telling, cause: ConditionResult) -> Iterator[Block]:
    """Why and why not one cause, as bars on a scale of factors of ten."""
    reasons = telling.weighup.reasons[cause.id]
    speak_for = [reason for reason in reasons if reason.weight > 0]
    against = [reason for reason in reversed(reasons) if reason.weight < 0]
    chosen = [
        reason
        for side, most in ((speak_for, FOR), (against, AGAINST))
        for place, reason in enumerate(side)
        if telling.teaching or (place < most and abs(reason.weight) >= TELLING_WEIGHT)
    ]
    yield Heading(f"Why {cause.name}, and why not")
    if chosen:
        caption = (
            "Nothing speaks for it."
            if not speak_for
            else ""
            if against
            else "Nothing that was looked at speaks against it."
        )
        rows = tuple(_reason_row(telling, cause, reason) for reason in chosen)
        yield Table(("What was found", "Against | for", "Odds", "Sources"), rows, (4.2, 2.4, 0.9, 2), caption)
    else:
        yield plain("Nothing that was looked at moves it much either way.")
    if len(chosen) < len(reasons):
        yield plain(f"And {counted(len(reasons) - len(chosen), 'weaker reason')}.", quiet=True)


def _reason_row(telling: Telling, cause: ConditionResult, reason: Reason) -> tuple[Cell, ...]:
    words = _reason_words(telling, reason)
    side = "for" if reason.weight > 0 else "against"
    size = 10 ** abs(reason.weight)
    much = "over 1000" if size > 1000 else f"about {size:.2g}"
    drawing = Drawing(charts.reason_bar(reason.weight), f"{side}, a factor of {much}")
    return words, drawing, factor(reason.weight), telling.reason_sources(cause.id, reason)


def _reason_words(telling: Telling, reason: Reason) -> Cell:
    reference, evidence = telling.reference, telling.weighup.evidence
    if reason.findings == ("host",):
        return f"the kind of fish: {telling.host_name}"
    if reason.findings == ("temperature",):
        return (
            f"the temperature of the water: {evidence.temperature_c:g} °C"
            if evidence.temperature_c is not None
            else "the temperature"
        )
    rows = [reference.findings[id] for id in reason.findings]
    sureness = {one.finding: one for one in evidence.observations}
    if len(rows) > 1:
        seen = [row for row in rows if row.id in sureness and sureness[row.id].level > 0]
        if reason.level == 0 or not seen:
            return Field("clear", f"signs of feeling ill: looked, not seen ({', '.join(row.name for row in rows)})")
        strongest = "marked" if reason.level > 1 else "mild"
        return Field(strongest, f"feels ill: {listed(level_words(row, sureness[row.id].level) for row in seen)}")
    row = rows[0]
    if row.kind == "cause":
        return f"{row.name}: {'yes' if reason.level else 'no'}"
    sure = sureness[row.id].sure if row.id in sureness else "sure"
    return Field(field_of(row, reason.level, sure), level_words(row, reason.level, sure))


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
        shown = list(result.next_examinations[:EXAMINATIONS])
        laboratory = [one for one in result.next_examinations[EXAMINATIONS:] if one.laboratory]
        rows = tuple(_examination_row(one) for one in (*shown, *laboratory[:1]))
        head = ("Examination", "Time", "Money", "Fish given up", "Tells", "Advice")
        caption = "In order of information for its price. Money counts in cheap drop tests. No firmer than the weigh-up itself."
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
        "Each cause has a chance before looking, from how often it is met in sick fish, the kind of fish, the temperature and"
        " what went before. Each finding then moves it, by how often the cause brings that finding and how likely it was to be"
        " noticed.",
        exact,
        "Redrawn: the figures of the tables are moved at random within their own uncertainty and everything is worked out again.",
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


def reasoning(telling: Telling) -> Section:
    """For students: what each leading cause is, where its first chance comes from, and how looking changed it."""
    result, reference = telling.weighup, telling.reference
    blocks: list[Block] = [
        plain(
            "Cover the bars. From the findings alone, write down three causes and what speaks for and against each; then"
            " compare. Where you differ, find the row that makes the difference."
        ),
        Heading("Before and after looking"),
    ]
    moved = sorted(result.conditions, key=lambda one: one.probability - one.prior)
    most = [one for one in (*reversed(moved[-4:]), *moved[:4]) if abs(one.probability - one.prior) >= 0.01]
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            one.name,
            in_hundred(reference.conditions[one.id].rate),
            in_hundred(one.prior),
            in_hundred(one.probability),
            firm_range_in_hundred(one),
            telling.bibliography.cite(reference.conditions[one.id].sources),
        )
        for one in most
    )
    head = ("Cause", "In sick fish at large", "Before looking", "There, after", "To blame, redrawn", "Sources")
    caption = "The causes that looking raised most, then those it lowered most. Before looking counts host, temperature, history."
    blocks.append(Table(head, rows, (2.6, 1.4, 1.3, 1.3, 1.5, 1.5), caption))
    blocks.append(
        plain(
            "The bars of reasons show what each finding adds when it is put in last. Findings that say the same thing share"
            " their weight, so the factors of one cause do not multiply to the whole."
        )
    )
    blocks.append(Heading("The leading causes"))
    for cause in result.conditions[:FACTS]:
        row = reference.conditions[cause.id]
        warm = [f"{at:g}" for at in (row.temperature_low_c, row.temperature_high_c) if at is not None]
        at = f" Met at {' to '.join(warm)} °C, most at {row.temperature_peak} °C." if len(warm) == 2 else ""
        text = (
            f". {row.keeper_words} Agent: {row.agent}. Spread: {row.spread}.{at} From first signs to death or settling"
            f" {row.course_days_low:g} to {row.course_days_high:g} days. {telling.bibliography.cite(row.sources)}"
        )
        blocks.append(Paragraph((Span(row.name, strong=True), Span(text.rstrip()))))
    blocks.append(Heading("How the examinations are done"))
    done = [reference.examinations[id] for id in result.evidence.examinations_done]
    hows = tuple(f"{capital(row.name)}: {row.how}" for row in sorted(done, key=lambda row: row.order))
    blocks.append(Points(hows) if hows else plain("None was done."))
    return Section("reasoning", "The reasoning, for students", tuple(blocks))
