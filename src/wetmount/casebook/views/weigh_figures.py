"""Figures of a weigh-up with the rows of the reference they come from."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from wetmount.casebook.templatetags.look import percent
from wetmount.reference import Reference
from wetmount.report.words import capital, level_word, level_words
from wetmount.weighup.next_examination import COST_FISH, COST_MINUTE, COST_START
from wetmount.weighup.results import WeighUp


@dataclass(frozen=True, slots=True)
class Figure:
    """One row in words: what it says, its figure, and where it stands. `table` and `id` lead to it in the reference."""

    says: str
    value: str
    basis: str
    sources: tuple[str, ...]
    note: str
    table: str
    id: str


@dataclass(frozen=True, slots=True)
class Group:
    """Figures about one thing, with how that thing came about in this case (`trace`)."""

    title: str
    figures: tuple[Figure, ...]
    trace: tuple[str, ...] = ()


def groups_of_cause(condition: str, weighup: WeighUp, reference: Reference) -> tuple[Group, ...]:
    """Every row that a cause's figures rest on in this look: how common it is, host, water and history, what opens the
    way to it, and for each finding what it brings and what comes from elsewhere."""
    row = reference.conditions[condition]
    common = Figure(
        "share of sick-fish cases in which it has a part", percent(row.rate), row.basis, row.sources, row.note,
        "conditions", condition,
    )  # fmt: skip
    before = [common, *_host(condition, weighup, reference), *_temperature(condition, weighup, reference)]
    before += _history(condition, weighup, reference)
    opens = tuple(
        Figure(
            f"odds when this is there: {reference.conditions[one.parent].name}", f"× {one.odds:g}", one.basis,
            one.sources, one.note, "conditions", one.parent,
        )
        for one in reference.predispositions
        if one.condition == condition
    )  # fmt: skip
    groups = [Group("Before looking", tuple(before)), Group("What opens the way to it", opens)]
    groups += _findings(condition, weighup, reference)
    return tuple(group for group in groups if group.figures)


def _host(condition: str, weighup: WeighUp, reference: Reference) -> Iterator[Figure]:
    group = weighup.evidence.host_group
    if group is None:
        return
    by_group = {row.host_group: row for row in reference.host_risks if row.condition == condition}
    for one in reference.host_group_line(group):
        if one in by_group:
            row = by_group[one]
            meaning = reference.host_groups[one].meaning
            yield Figure(f"odds in {meaning}", f"× {row.odds:g}", row.basis, row.sources, row.note, "host_groups", one)
            return


def _temperature(condition: str, weighup: WeighUp, reference: Reference) -> Iterator[Figure]:
    at = weighup.evidence.temperature_c
    if at is None:
        return
    for row in reference.temperature_risks:
        low = -math.inf if row.low_c is None else row.low_c
        high = math.inf if row.high_c is None else row.high_c
        if row.condition == condition and low <= at <= high:
            band = (
                f"{row.low_c:g} to {row.high_c:g} °C"
                if row.low_c is not None and row.high_c is not None
                else f"up to {row.high_c:g} °C"
                if row.high_c is not None
                else f"from {row.low_c:g} °C"
                if row.low_c is not None
                else "any temperature"
            )
            says = f"odds in water of {band}"
            yield Figure(says, f"× {row.odds:g}", row.basis, row.sources, row.note, "conditions", condition)


def _history(condition: str, weighup: WeighUp, reference: Reference) -> Iterator[Figure]:
    answers = weighup.evidence.answers
    for row in reference.history_risks:
        if row.condition == condition and row.finding in answers:
            name = reference.findings[row.finding].name
            answer = "yes" if answers[row.finding] else "no"
            says = f"odds when “{name}” is yes (answered {answer})"
            yield Figure(says, f"× {row.odds:g}", row.basis, row.sources, row.note, "findings", row.finding)


def _findings(condition: str, weighup: WeighUp, reference: Reference) -> Iterator[Group]:
    links: dict[str, list[Any]] = {}
    for link in reference.links:
        if link.condition == condition:
            links.setdefault(link.finding, []).append(link)
    leaks: dict[str, list[Any]] = {}
    for leak in reference.leaks:
        leaks.setdefault(leak.finding, []).append(leak)
    for one in weighup.evidence.observations:
        if one.finding not in links:
            continue
        finding = reference.findings[one.finding]

        def level(of: Any) -> str:
            word = level_word(finding, of.level)  # noqa: B023
            return word if len(finding.levels) == 2 or of.level == len(finding.levels) - 1 else f"{word} or more"  # noqa: B023

        brought = [
            Figure(
                f"this cause alone brings it: {level(row)}", percent(row.probability), row.basis, row.sources,
                row.note, "findings", one.finding,
            )
            for row in links[one.finding]
        ]  # fmt: skip
        outside = [
            Figure(
                f"something outside the tables brings it: {level(row)}", percent(row.probability), row.basis,
                row.sources, row.note, "findings", one.finding,
            )
            for row in leaks.get(one.finding, ())
        ]  # fmt: skip
        sure = reference.sureness.get(one.sure)
        how_sure = (
            [
                Figure(
                    f"reported {sure.name}: chance that it was not so, factor on noticing",
                    f"{percent(sure.false_seen)}, × {sure.noticing:g}", sure.basis, sure.sources, sure.note,
                    "sureness", sure.id,
                )
            ]
            if sure is not None and one.sure != "sure"
            else []
        )  # fmt: skip
        noticed = " / ".join(percent(chance) for chance in one.detection[: len(finding.levels) - 1])
        trace = (*one.trace, f"chance of noticing what is there, by level: {noticed}")
        title = capital(level_words(finding, one.level, one.sure))
        yield Group(title, (*brought, *outside, *how_sure), trace)


def groups_of_memory(weighup: WeighUp, reference: Reference) -> tuple[Group, ...]:
    """The rows of the leading causes, those written from memory first: what a redraw of the tables moves."""
    groups = []
    for id in weighup.reasons or {weighup.conditions[0].id: ()}:
        figures = [figure for group in groups_of_cause(id, weighup, reference) for figure in group.figures]
        order = {"memory": 0, "estimated": 1, "published": 2}
        figures.sort(key=lambda one: order.get(one.basis, 3))
        groups.append(Group(capital(reference.conditions[id].name), tuple(figures)))
    return tuple(groups)


def groups_of_examinations(weighup: WeighUp, reference: Reference) -> tuple[Group, ...]:
    """The proposed examinations with what each is expected to tell, its price, and how well it notices."""
    groups = []
    for one in (*weighup.unfinished, *(weighup.next_examinations or ())):
        row = reference.examinations[one.id]
        cost = COST_START + COST_MINUTE * one.minutes + one.money + (COST_FISH if one.gives_up_fish else 0)
        detection = " / ".join(percent(chance) for chance in row.detection)
        figures = (
            Figure("minutes of work", f"{one.minutes:g} min", row.basis, row.sources, row.note, "examinations", one.id),
            Figure("money, in cheap tests", f"{one.money:.2f}", row.basis, row.sources, "", "examinations", one.id),
            Figure(
                "chance of noticing what is there, by level", detection, row.basis, row.sources, "",
                "examinations", one.id,
            ),
        )  # fmt: skip
        trace = (
            f"expected to tell {one.information_bits:.2f} bits about who is to blame",
            f"another cause would lead afterwards in {percent(one.changes_leading)} of outcomes",
            f"cost {cost:.1f}: {COST_START:g} to begin, {COST_MINUTE:g} a minute, its money"
            + (f", {COST_FISH:g} for a fish given up" if one.gives_up_fish else ""),
        )
        groups.append(Group(capital(one.name), figures, trace))
    return tuple(groups)
