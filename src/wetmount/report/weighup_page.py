"""The weigh-up on paper: causes as chart and figures, why and why not, what opened the way; and for students."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from wetmount import charts
from wetmount.report.document import (
    Block,
    Cell,
    Drawing,
    Field,
    Heading,
    Paragraph,
    Points,
    Section,
    Span,
    Table,
)
from wetmount.report.keeper import cause_bar
from wetmount.report.pages import plain
from wetmount.report.telling import Telling
from wetmount.report.words import (
    capital,
    counted,
    factor,
    field_of,
    firm_range_in_hundred,
    firmness_sentence,
    in_hundred,
    level_words,
    listed,
)
from wetmount.weighup.results import ConditionResult, Reason

CAUSES: Final = 8
CAUSE_FROM: Final = 0.03
WHY_FROM: Final = 0.15
"""Reasons are told for causes to blame with at least this chance, and always for the first."""
FOR: Final = 6
AGAINST: Final = 4
TELLING_WEIGHT: Final = math.log10(1.2)
STUDENT_WEIGHT: Final = math.log10(1.1)
"""Reasons told of one cause to a keeper, if they move the odds by a fifth at least; to students all from a tenth up."""
EXPLANATIONS: Final = 5
FACTS: Final = 4
"""Causes whose facts the teaching edition tells."""


def the_weighup(telling: Telling) -> Section:
    """The causes as a chart and figures, why and why not, explanations, what nothing explains, what opened the way."""
    result = telling.weighup
    causes = telling.shown_causes(CAUSES, CAUSE_FROM)
    blocks: list[Block] = [plain(firmness_sentence(result.firmness, telling.names))]
    if result.firmness is not None:
        held = round(100 * result.firmness.share)
        leader = telling.names[result.firmness.leading]
        alternative = f"{held} of 100 ticks are tall: {leader} comes first in {held} of 100 redraws."
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
    caption = (
        "To blame: there, and brought at least one of the findings of illness. Redrawn: how far the tables leave it."
    )
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
        if abs(reason.weight) >= (STUDENT_WEIGHT if telling.teaching else TELLING_WEIGHT)
        and (telling.teaching or place < most)
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


def reasoning(telling: Telling) -> Section:
    """For students: what each leading cause is, where its first chance comes from, and how looking changed it."""
    result, reference = telling.weighup, telling.reference
    blocks: list[Block] = [
        plain(
            "Cover the bars. From the findings alone, write down three causes and what speaks for and against each;"
            " then compare. Where you differ, find the row that makes the difference."
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
    caption = "The causes that looking raised most, then those it lowered most. Before: by host, temperature, history."
    blocks.append(Table(head, rows, (2.6, 1.4, 1.3, 1.3, 1.5, 1.5), caption))
    blocks.append(
        plain(
            "The bars of reasons show what each finding adds when it is put in last. Findings that say the same thing"
            " share their weight, so the factors of one cause do not multiply to the whole."
        )
    )
    blocks.append(Heading("The leading causes"))
    for cause in result.conditions[:FACTS]:
        row = reference.conditions[cause.id]
        warm = [f"{at:g}" for at in (row.temperature_low_c, row.temperature_high_c) if at is not None]
        peak = f", most at {row.temperature_peak} °C" if row.temperature_peak else ""
        at = f" Met at {' to '.join(warm)} °C{peak}." if len(warm) == 2 else ""
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
