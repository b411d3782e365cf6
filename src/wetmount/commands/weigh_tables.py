"""A weigh-up as tables for a terminal, in the order in which it is used: first aid, firmness, causes, why, next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from rich.markup import escape

from wetmount.commands.common import lines

if TYPE_CHECKING:
    from rich.console import Console

    from wetmount.commands.weighed import Weighed
    from wetmount.first_aid import RedFlagSeen, Step
    from wetmount.reference import Reference
    from wetmount.weighup.results import Firmness, NextExamination, Reason, WeighUp

# A cause is shown from this chance of being responsible (but always the first three); its reasons from the second.
SHOWN_FROM = 0.05
REASONS_FROM = 0.20
REASONS_EACH_WAY = 6
# In log10 of a factor: one between 0.83 and 1.2 says nothing worth a line.
TELLING_FROM = 0.08
EXPLANATIONS = 5
EXAMINATIONS = 5

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


# What level 0 is called where nobody looks at a fish.
NOT_SEEN = {"cause": "no", "effect": "no", "water": "tested, not so", "laboratory": "tested, negative"}


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
    _next(out, result.next_examinations)
    _warnings(out, result)
    _cautions(out, weighed)
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


def one_in(probability: float) -> str:
    """A chance in words a keeper uses: 1 in 3."""
    if probability <= 0.005:
        return "hardly ever"
    if probability > 0.75:
        return f"{min(9, round(10 * probability))} in 10"
    if probability > 0.4:
        return "1 in 2" if probability < 0.6 else "2 in 3"
    return f"1 in {round(1 / probability)}"


def times(weight: float) -> str:
    """The factor on the odds whose log10 is `weight`, in words."""
    factor = 10**weight
    if factor >= 1000:
        return "over 1000 times"
    if factor >= 9.5:
        return f"{factor:.0f} times"
    if factor >= 0.1:
        return f"{factor:.1f} times"
    return f"1/{1 / factor:.0f}" if factor >= 0.001 else "under 1/1000"


def finding_words(findings: Sequence[str], level: int, reference: Reference) -> str:
    """Findings at a level as words: `flickering flagellates on skin, many`; level 0 is `looked, not seen`."""
    if list(findings) == ["host"]:
        return "the kind of fish"
    if list(findings) == ["temperature"]:
        return "the temperature"
    known = [reference.findings[id] for id in findings]
    names = " + ".join(finding.name for finding in known)
    if level == 0:
        return f"{names}: {NOT_SEEN.get(known[0].kind, 'looked, not seen')}"
    if known[0].kind == "cause":
        return f"{names}: yes"
    # A finding with one level beside "not seen" needs no word for it.
    graded = len(known) == 1 and len(known[0].levels) > 2
    return f"{names}, {known[0].levels[level].replace('_', ' ')}" if graded else names


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


def print_first_aid(out: Console, flags: Sequence[RedFlagSeen], steps: Sequence[Step]) -> None:
    """The red flags that are up and the steps against them, numbered."""
    out.print(f"[red]{'; '.join(flag.name for flag in flags).capitalize()}.[/]")
    lines(out, [(f"{step.order}.", step.text) for step in steps])


def firmness_words(firmness: Firmness, names: Any) -> str:
    """How firm, in a sentence: the figures come first, the word follows from the share."""
    share = firmness.share
    word = "Firm" if share >= 0.95 else "Fairly firm" if share >= 0.8 else "Not very firm" if share >= 0.5 else "Open"
    text = f"{word}: {names(firmness.leading)} stays first in {round(100 * share)} of 100 redraws of the tables"
    if firmness.runner_up and firmness.runner_up_share >= 0.005:
        text += f", {names(firmness.runner_up)} comes first in {round(100 * firmness.runner_up_share)}"
    return text + "."


def _firmness(out: Console, result: WeighUp, reference: Reference) -> None:
    if result.firmness is None and result.memory_share is None and result.approximation is None:
        return
    heading(out, "firmness")
    if result.firmness is not None:
        out.print(firmness_words(result.firmness, lambda id: reference.conditions[id].name))
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
    said = "; ".join(f"{finding_words(r.findings, r.level, reference)} ({times(r.weight)})" for r in telling)
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
            for way in result.opened_the_way
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
                f"{finding_words(one.findings, one.level, reference)}: no cause of the tables brought it",
            )
            for one in result.unexplained
        ],
    )


def duration(minutes: float) -> str:
    """A time of work or waiting in its natural unit: min, h or days."""
    if minutes < 90:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.0f} h" if minutes < 48 * 60 else f"{minutes / 1440:.0f} days"


def _next(out: Console, examinations: tuple[NextExamination, ...] | None) -> None:
    if not examinations:
        return
    heading(out, "next")
    table = _table(
        ("", {"justify": "right"}),
        ("examination", {"ratio": 3}),
        ("time", {"justify": "right", "no_wrap": True}),
        ("money", {"justify": "right", "no_wrap": True}),
        ("fish given up", {"no_wrap": True}),
        ("changes the leader", {"no_wrap": True}),
        ("bits", {"justify": "right", "no_wrap": True}),
    )
    shown = examinations[:EXAMINATIONS]
    for rank, one in enumerate(shown, start=1):
        table.add_row(
            str(rank),
            one.name,
            duration(one.minutes),
            f"{one.money:.2f}" if one.money else "none",
            "one" if one.gives_up_fish else "none",
            one_in(one.changes_leading),
            f"{one.information_bits:.2f}",
        )
    out.print(table)
    # Whether a laboratory is worth its price is said even when its test is far down the list.
    laboratory = [one for one in examinations[EXAMINATIONS:] if one.laboratory][:1]
    lines(out, [("", f"{one.name}: {one.advice}") for one in (*shown, *laboratory) if one.advice])


def _warnings(out: Console, result: WeighUp) -> None:
    if result.warnings:
        heading(out, "warnings")
        lines(out, [(percent(one.probability), f"[yellow]{one.text}[/]") for one in result.warnings])


def _cautions(out: Console, weighed: Weighed) -> None:
    if weighed.cautions:
        heading(out, "cautions")
        lines(out, [("", SEVERITY_WORDS[one.severity] + one.text) for one in weighed.cautions])


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
    evidence = result.evidence
    heading(out, "evidence")
    rows = [
        ("", f"[bold]{finding_words([one.finding], one.level, reference)}[/]: {escape('; '.join(one.trace))}")
        for one in evidence.observations
    ]
    for finding, yes in evidence.answers.items():
        why = escape(evidence.answer_trace.get(finding, ""))
        rows.append(("", f"[bold]{finding_words([finding], int(yes), reference)}[/]: {why}"))
    lines(out, rows)
