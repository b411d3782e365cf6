"""A weigh-up as tables for a terminal, in the order in which it is used: first aid, firmness, causes, why, next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

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
    "readings": "Readings and notes on the case file",
}


SEVERITY_WORDS = {"stop": "[red]Stop:[/] ", "care": "", "note": "[dim]Note:[/] "}


def print_weighed(out: Console, weighed: Weighed, reference: Reference, *, show_all: bool = False) -> None:
    """Print everything that a weigh-up says."""
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
    _readings(out, result, reference)
    out.print(
        f"[dim]Reference {result.reference_version}. Probabilities, not a verdict; a licensed veterinarian decides."
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
    if known[0].kind == "cause":
        return f"{names}: {'yes' if level else 'no'}"
    word = known[0].levels[level].replace("_", " ") if len(known) == 1 else ""
    if level == 0:
        return f"{names}: looked, not seen"
    return f"{names}, {word}" if word and word not in ("present", "yes", "positive") else names


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
    out.print(f"[bold reverse] {case.title or weighed.file} [/]")
    where = [part for part in (case.room, case.system, case.tank) if part]
    parts = [
        *(["case " + case.id] if case.id else []),
        *where,
        *([f"look of {evidence.date}"] if evidence.date else []),
        *([evidence.species or reference.host_groups[evidence.host_group].meaning] if evidence.host_group else []),
        *([f"{evidence.temperature_c:g} °C"] if evidence.temperature_c is not None else []),
    ]
    if parts:
        out.print(", ".join(parts))
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
    for step in steps:
        out.print(f"  {step.order}. {step.text}")


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
        out.print(f"{cause.name}")
        _one_way(out, "for", [r for r in sorted(reasons, key=lambda r: -r.weight) if r.weight > 0], reference)
        _one_way(out, "against", [r for r in sorted(reasons, key=lambda r: r.weight) if r.weight < 0], reference)


def _one_way(out: Console, which: str, reasons: list[Reason], reference: Reference) -> None:
    # A factor between 0.95 and 1.05 says nothing worth a line.
    telling = [reason for reason in reasons if abs(reason.weight) >= 0.02][:REASONS_EACH_WAY]
    if telling:
        said = "; ".join(f"{finding_words(r.findings, r.level, reference)} ({times(r.weight)})" for r in telling)
        out.print(f"  [bold]{which}:[/] {said}", soft_wrap=False)


def _explanations(out: Console, result: WeighUp, reference: Reference) -> None:
    heading(out, "explanations")
    for explanation in result.explanations[:EXPLANATIONS]:
        out.print(f"  {percent(explanation.probability):>9}  {_names(explanation.conditions, reference)}")
    left = result.remaining_probability + sum(e.probability for e in result.explanations[EXPLANATIONS:])
    out.print(f"  {percent(left):>9}  any other set")


def _opened(out: Console, result: WeighUp, reference: Reference) -> None:
    if not result.opened_the_way:
        return
    heading(out, "opened")
    for way in result.opened_the_way:
        out.print(
            f"  {reference.conditions[way.parent].name} ({percent(way.probability)}) makes"
            f" {reference.conditions[way.condition].name} likelier ({way.odds:g} times the odds)."
        )


def _unexplained(out: Console, result: WeighUp, reference: Reference) -> None:
    if not result.unexplained:
        return
    heading(out, "unexplained")
    for item in result.unexplained:
        out.print(
            f"  {finding_words(item.findings, item.level, reference)}:"
            f" {percent(item.probability)} chance that no cause of the tables brought it."
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
    for one in shown:
        if one.advice:
            out.print(f"  {one.name}: {one.advice}")
    laboratory = [one for one in examinations[EXAMINATIONS:] if one.laboratory]
    for one in laboratory[:1]:
        out.print(f"  {one.name}: {one.advice}")


def _warnings(out: Console, result: WeighUp) -> None:
    if not result.warnings:
        return
    heading(out, "warnings")
    for warning in result.warnings:
        out.print(f"  [yellow]{warning.text}[/] ({percent(warning.probability)})")


def _cautions(out: Console, weighed: Weighed) -> None:
    if not weighed.cautions:
        return
    heading(out, "cautions")
    for caution in weighed.cautions:
        out.print(f"  {SEVERITY_WORDS[caution.severity]}{caution.text}")


def _readings(out: Console, result: WeighUp, reference: Reference) -> None:
    evidence = result.evidence
    traced = [observation for observation in evidence.observations if observation.trace]
    if not (traced or evidence.contradictions or evidence.ignored):
        return
    heading(out, "readings")
    for observation in traced:
        out.print(
            f"  {finding_words([observation.finding], observation.level, reference)}: {'; '.join(observation.trace)}"
        )
    for contradiction in evidence.contradictions:
        out.print(f"  [yellow]{reference.findings[contradiction.finding].name}:[/] {contradiction.why}")
    for ignored in evidence.ignored:
        out.print(f"  {reference.findings[ignored.finding].name} was left out: {ignored.why}")
