"""A weigh-up as tables for a terminal, in the order in which it is used: first aid, firmness, causes, why, next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from rich.markup import escape

from wetmount.cautions import cautions_of
from wetmount.commands.common import lines
from wetmount.commands.first_aid import print_first_aid
from wetmount.report.words import duration, factor, finding_words, firmness_sentence, in_hundred, level_words
from wetmount.weighup.next_examination import LIKE_NOTHING

if TYPE_CHECKING:
    from rich.console import Console

    from wetmount.commands.weighed import Weighed
    from wetmount.reference import Reference
    from wetmount.weighup.results import NextExamination, Reason, WeighUp

# A cause is shown from this chance of being responsible (but always the first three); its reasons from the second.
SHOWN_FROM = 0.05
REASONS_FROM = 0.20
REASONS_EACH_WAY = 6
# In log10 of a factor: one between 0.83 and 1.2 says nothing worth a line.
TELLING_FROM = 0.08
EXPLANATIONS = 5
EXAMINATIONS = 5
OPENED = 5

# Every heading of the weigh-up, in order.
HEADINGS = {
    "first_aid": "Before anything else",
    "firmness": "How firm this is",
    "causes": "Causes, by how far they are to blame",
    "reasons": "Why, and why not",
    "explanations": "Together these would explain it",
    "opened": "What opened the way",
    "unexplained": "Nothing explains",
    "next": "Look at this next",
    "warnings": "Mind the law and yourself",
    "cautions": "Cautions",
    "notes": "Notes on the case file",
    "evidence": "What was used, and how it came about",
}


SEVERITY_WORDS = {"stop": "[red]Stop:[/] ", "care": "", "note": "[dim]Note:[/] "}


def print_weighed(
    out: Console, weighed: Weighed, reference: Reference, *, show_all: bool = False, show_evidence: bool = False
) -> None:
    """Print what a weigh-up says; `show_all` every cause, `show_evidence` every finding with its trace."""
    result = weighed.weighup
    _head(out, weighed, reference)
    _first_aid(out, weighed)
    _firmness(out, result, reference)
    _causes(out, result, show_all)
    _reasons(out, result, reference)
    _explanations(out, result, reference)
    _opened(out, result, reference)
    _unexplained(out, result, reference)
    _next(out, result)
    _warnings(out, result)
    _cautions(out, result, reference)
    _notes(out, result, reference)
    if show_evidence:
        _evidence(out, result, reference)
    out.print(
        f"\n[dim]Reference {result.reference_version}. Probabilities, not a verdict; a licensed veterinarian decides."
    )


def heading(out: Console, name: str) -> None:
    """A blank line and a heading."""
    out.print(f"\n[bold]{HEADINGS[name]}[/]")


def percent(probability: float) -> str:
    """A probability for a screen, never rounded to certain or impossible."""
    if 0 < probability < 0.005:
        return "under 1 %"
    if 0.995 <= probability < 1:
        return "over 99 %"
    return f"{100 * probability:.0f} %"


def reason_words(findings: Sequence[str], level: int, reference: Reference) -> str:
    """What a reason rests on, in words: a finding at its level, several as one, the host or the temperature."""
    if list(findings) == ["host"]:
        return "the kind of fish"
    if list(findings) == ["temperature"]:
        return "the temperature"
    if len(findings) == 1:
        return level_words(reference.findings[findings[0]], level)
    names = " + ".join(reference.findings[id].name for id in findings)
    return names if level else f"{names}: looked, not seen"


def _names(ids: Sequence[str], reference: Reference) -> str:
    return " + ".join(reference.conditions[id].name for id in ids) if ids else "causes outside the tables"


def _table(*columns: tuple[str, dict[str, Any]]) -> Any:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, header_style="bold")
    for title, settings in columns:
        table.add_column(title, **settings)
    return table


def _head(out: Console, weighed: Weighed, reference: Reference) -> None:
    evidence = weighed.weighup.evidence
    case = weighed.case
    out.print(f"[bold reverse] {escape(case.title or weighed.file)} [/]")
    where = [part for part in (case.room, case.system, case.tank) if part]
    parts = [
        *(["case " + case.id] if case.id else []),
        *where,
        *([f"look of {evidence.date}"] if evidence.date else []),
        *([evidence.species or reference.host_groups[evidence.host_group].meaning] if evidence.host_group else []),
        *([f"{evidence.temperature_c:g} °C"] if evidence.temperature_c is not None else []),
    ]
    if parts:
        out.print(escape(", ".join(parts)))
    seen = sum(1 for observation in evidence.observations if observation.level)
    not_seen = len(evidence.observations) - seen
    out.print(
        f"{seen + not_seen} findings, {not_seen} of them looked for and not seen;"
        f" {len(evidence.answers)} answers on history."
    )


def _first_aid(out: Console, weighed: Weighed) -> None:
    if weighed.red_flags:
        heading(out, "first_aid")
        print_first_aid(out, weighed.red_flags, weighed.first_aid)


def _firmness(out: Console, result: WeighUp, reference: Reference) -> None:
    if result.firmness is None and result.memory_share is None and result.approximation is None:
        return
    heading(out, "firmness")
    if result.firmness is not None:
        out.print(firmness_sentence(result.firmness, {cause.id: cause.name for cause in result.conditions}))
    if result.memory_share is not None:
        out.print(f"{percent(result.memory_share)} of the answer rests on rows written from memory.")
    if result.approximation is not None:
        out.print(f"[yellow]Not exact:[/] {result.approximation}")


def _causes(out: Console, result: WeighUp, show_all: bool) -> None:
    heading(out, "causes")
    table = _table(
        ("", {"justify": "right"}),
        ("cause", {"ratio": 1}),
        ("responsible", {"justify": "right", "no_wrap": True}),
        ("when redrawn", {"justify": "right", "no_wrap": True}),
        ("present", {"justify": "right", "no_wrap": True}),
        ("before looking", {"justify": "right", "no_wrap": True}),
    )
    shown = [
        cause
        for rank, cause in enumerate(result.conditions)
        if show_all or rank < 3 or (cause.responsible >= SHOWN_FROM and rank < 12)
    ]
    for rank, cause in enumerate(shown, start=1):
        between = (
            "" if cause.low is None or cause.high is None else f"{100 * cause.low:.0f} to {100 * cause.high:.0f} %"
        )
        leading = cause.responsible >= REASONS_FROM
        table.add_row(
            str(rank),
            f"[bold]{cause.name}[/]" if leading else cause.name,
            f"[bold]{percent(cause.responsible)}[/]" if leading else percent(cause.responsible),
            between,
            percent(cause.probability),
            percent(cause.prior),
        )
    out.print(table)
    rest = result.conditions[len(shown) :]
    if rest:
        out.print(f"[dim]The other {len(rest)} causes, each {percent(max(c.responsible for c in rest))} or less.")
    out.print(
        "[dim]Responsible: there, and brought at least one finding of illness. Present: there, perhaps only carried."
    )


def _reasons(out: Console, result: WeighUp, reference: Reference) -> None:
    leading = [cause for cause in result.conditions[:4] if cause.responsible >= REASONS_FROM] or result.conditions[:1]
    if not any(result.reasons.get(cause.id) for cause in leading):
        return
    heading(out, "reasons")
    for cause in leading:
        reasons = result.reasons.get(cause.id, ())
        strongest = sorted(reasons, key=lambda reason: -abs(reason.weight))
        out.print(f"  [bold]{cause.name}[/]")
        rows = _one_way("for", (reason for reason in strongest if reason.weight > 0), reference)
        lines(out, rows + _one_way("against", (reason for reason in strongest if reason.weight < 0), reference))


def _one_way(which: str, reasons: Iterable[Reason], reference: Reference) -> list[tuple[str, str]]:
    """The strongest reasons one way, as at most one row."""
    telling = [reason for reason in reasons if abs(reason.weight) >= TELLING_FROM][:REASONS_EACH_WAY]
    said = "; ".join(
        f"{reason_words(r.findings, r.level, reference)} ({factor(r.weight).replace(' ', '')})" for r in telling
    )
    return [(which, said)] if said else []


def _explanations(out: Console, result: WeighUp, reference: Reference) -> None:
    heading(out, "explanations")
    shown, folded = result.explanations[:EXPLANATIONS], result.explanations[EXPLANATIONS:]
    rows = [(percent(one.probability), _names(one.conditions, reference)) for one in shown]
    left = result.remaining_probability + sum(one.probability for one in folded)
    lines(out, [*rows, (percent(left), "any other set")])


def _opened(out: Console, result: WeighUp, reference: Reference) -> None:
    if not result.opened_the_way:
        return
    heading(out, "opened")
    causes = reference.conditions
    lines(
        out,
        [
            (
                percent(way.probability),
                f"{causes[way.parent].name}: multiplies the odds of {causes[way.condition].name} by {way.odds:g}",
            )
            for way in result.opened_the_way[:OPENED]
        ],
    )


def _unexplained(out: Console, result: WeighUp, reference: Reference) -> None:
    if not result.unexplained:
        return
    heading(out, "unexplained")
    lines(
        out,
        [
            (
                percent(one.probability),
                f"{reason_words(one.findings, one.level, reference)}: no cause of the tables brought it",
            )
            for one in result.unexplained
        ],
    )


def _worth_showing(result: WeighUp) -> list[NextExamination]:
    """The examinations that would tell something, best for their price first, and the best laboratory test."""
    telling = [one for one in result.next_examinations or () if one.information_bits >= LIKE_NOTHING]
    shown = telling[:EXAMINATIONS]
    return shown + [one for one in telling[EXAMINATIONS:] if one.laboratory][:1]


def _next(out: Console, result: WeighUp) -> None:
    if result.next_examinations is None:
        return
    heading(out, "next")
    shown = _worth_showing(result)
    if not shown:
        out.print("Nothing that is left to examine would tell much.")
        return
    table = _table(
        ("", {"justify": "right"}),
        ("examination", {"ratio": 3}),
        ("time", {"justify": "right", "no_wrap": True}),
        ("money", {"justify": "right", "no_wrap": True}),
        ("fish given up", {"no_wrap": True}),
        ("changes the leading cause", {"no_wrap": True, "justify": "right"}),
        ("bits", {"justify": "right", "no_wrap": True}),
    )
    for rank, one in enumerate(shown, start=1):
        table.add_row(
            str(rank),
            one.name,
            duration(one.minutes),
            f"{one.money:.2f}" if one.money else "none",
            "one" if one.gives_up_fish else "none",
            in_hundred(one.changes_leading),
            f"{one.information_bits:.2f}",
        )
    out.print(table)
    lines(out, [("", f"{one.name}: {one.advice}") for one in shown if one.laboratory])


def _warnings(out: Console, result: WeighUp) -> None:
    if result.warnings:
        heading(out, "warnings")
        lines(out, [(percent(one.probability), f"[yellow]{one.text}[/]") for one in result.warnings])


def _cautions(out: Console, result: WeighUp, reference: Reference) -> None:
    """The cautions of what stands above: of examinations only those that are proposed here."""
    proposed = [examination.id for examination in _worth_showing(result)]
    heading(out, "cautions")
    cautions = cautions_of(result, reference, proposed=proposed)
    lines(out, [("", SEVERITY_WORDS[one.severity] + one.text) for one in cautions])


def _notes(out: Console, result: WeighUp, reference: Reference) -> None:
    """What was stated and not used, and what contradicts a reading."""
    evidence, findings = result.evidence, reference.findings
    rows = [("", f"{findings[one.finding].name}: [yellow]{escape(one.why)}[/]") for one in evidence.contradictions]
    rows += [("", f"{findings[one.finding].name} is left out: {escape(one.why)}") for one in evidence.ignored]
    if rows:
        heading(out, "notes")
        lines(out, rows)


def _evidence(out: Console, result: WeighUp, reference: Reference) -> None:
    """Every finding and answer that was used, with how it came about."""
    evidence, findings = result.evidence, reference.findings
    heading(out, "evidence")
    rows = [
        ("", f"[bold]{finding_words(findings[one.finding], one)}[/]: {escape('; '.join(one.trace))}")
        for one in evidence.observations
    ]
    for finding, yes in evidence.answers.items():
        why = escape(evidence.answer_trace.get(finding, ""))
        rows.append(("", f"[bold]{level_words(findings[finding], int(yes))}[/]: {why}"))
    lines(out, rows)
