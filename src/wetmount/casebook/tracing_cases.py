"""What the cases of a fish room say of where a condition was: a case with its finding in a tank is a sighting.

A case counts for a condition that was confirmed or held likely in it, that leads its weigh-up while it is open, or
whose own organism was seen. Findings that many causes bring say nothing here.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from typing import Final

from django.db.models import Q
from django.utils import timezone

from wetmount.casebook.models import Act, Case, CaseCause, CaseTank, FindingEntry
from wetmount.reference import Reference

FEW_CAUSES: Final = 3
"""A finding brought by more conditions than this does not say which one it was."""


@dataclass(frozen=True, slots=True)
class CaseSign:
    """A case that counts as signs in a tank."""

    tank: int
    on: dt.date
    words: str
    further: bool


@dataclass(frozen=True, slots=True)
class CaseCheck:
    """An examination of a case in which the condition's own findings were looked for."""

    tank: int
    on: dt.date
    examination: str
    seen: bool
    fish: int
    words: str


@dataclass(slots=True)
class CaseEvidence:
    """What cases say; `other_causes` of a tank: what its open cases are put down to when that is something else."""

    signs: list[CaseSign] = field(default_factory=list)
    checks: list[CaseCheck] = field(default_factory=list)
    other_causes: dict[int, set[str]] = field(default_factory=lambda: defaultdict(set))
    left_out: list[str] = field(default_factory=list)


def telling(condition: str, tables: Reference) -> frozenset[str]:
    """Findings that say this condition rather than many: its organisms and laboratory results."""
    brought_by = Counter(link.finding for link in tables.links if link.level == 1)
    kinds = ("organism", "laboratory")
    return frozenset(
        link.finding
        for link in tables.links
        if link.condition == condition
        and link.level == 1
        and tables.findings[link.finding].kind in kinds
        and brought_by[link.finding] <= FEW_CAUSES
    )


def evidence_of_cases(
    tanks: list[int], condition: str | None, first: dt.date, last: dt.date, tables: Reference
) -> CaseEvidence:
    """What the cases in these tanks say of a condition between two days. Five queries."""
    found = CaseEvidence()
    if condition is None:
        return found
    going_on = Q(closed=None) | Q(closed__gte=first)
    here = Q(tank__in=tanks) | Q(further_tanks__tank__in=tanks)
    cases = {case.pk: case for case in Case.objects.filter(going_on, here, opened__lte=last).distinct()}
    if not cases:
        return found
    standing: dict[int, dict[str, str]] = defaultdict(dict)
    for cause in CaseCause.objects.filter(case__in=cases):
        standing[cause.case_id][cause.condition] = cause.standing
    seen = _looked_for(found, cases, set(tanks), condition, first, last, tables)
    because = {pk: _why(case, standing[pk], condition, seen.get(pk), tables) for pk, case in cases.items()}
    for pk, case in cases.items():
        if because[pk] and case.tank_id in tanks and case.tank_id is not None:
            on = max(first, case.opened)
            found.signs.append(CaseSign(case.tank_id, on, f"Case {case.number} ({because[pk]})", False))
        elif not because[pk] and case.tank_id in tanks and case.tank_id is not None and case.closed is None:
            found.other_causes[case.tank_id] |= _other(case, standing[pk], condition)
    _further(found, cases, because, set(tanks), first, last)
    found.signs.sort(key=lambda one: (one.further, one.on))
    return found


def _why(case: Case, standing: dict[str, str], condition: str, seen: str | None, tables: Reference) -> str:
    """Why a case counts for the condition; "" when it does not."""
    judged = standing.get(condition)
    if judged == "ruled_out":
        return ""
    name = tables.conditions[condition].name
    if judged == "confirmed":
        return f"{name} confirmed"
    if judged == "likely":
        return f"{name} held most likely"
    if seen is not None:
        return seen
    if case.closed is None and case.leading == condition and "confirmed" not in standing.values():
        return f"{name} leads its weigh-up"
    return ""


def _other(case: Case, standing: dict[str, str], condition: str) -> set[str]:
    """What else a case is put down to: what was judged, else what leads."""
    judged = {id for id, one in standing.items() if one != "ruled_out"}
    return (judged or ({case.leading} if case.leading else set())) - {condition}


def _looked_for(
    found: CaseEvidence,
    cases: dict[int, Case],
    tanks: set[int],
    condition: str,
    first: dt.date,
    last: dt.date,
    tables: Reference,
) -> dict[int, str]:
    """Checks of the cases; the name of the finding by which each case saw it."""
    entries = FindingEntry.objects.filter(finding__in=telling(condition, tables), examination__look__case__in=cases)
    rows = entries.select_related("examination__look", "examination__fish").order_by("pk")
    fish: dict[tuple[int, dt.date, str, int], set[int]] = defaultdict(set)
    seen: dict[tuple[int, dt.date, str, int], str] = {}
    by_case: dict[int, str] = {}
    glances: set[int] = set()
    doubts: set[int] = set()
    for entry in rows:
        look = entry.examination.look
        case, on = cases[look.case_id], look.on or cases[look.case_id].opened
        own = entry.examination.fish.tank_id if entry.examination.fish is not None else None
        tank = entry.examination.tank_id or own or case.tank_id
        if tank not in tanks or tank is None or not first <= on <= last:
            continue
        if entry.sure == "swept" or entry.sure == "doubtful":
            (glances if entry.sure == "swept" else doubts).add(case.number)
            continue
        key = (tank, on, entry.examination.kind, case.number)
        fish[key].add(entry.examination.fish_id or 0)
        if entry.level:
            name = tables.findings[entry.finding].name
            seen.setdefault(key, name)
            by_case.setdefault(case.pk, name)
    for (tank, on, kind, number), of in fish.items():
        what = seen.get((tank, on, kind, number))
        examined = tables.examinations[kind].name
        words = f"Case {number}, {examined}, {what or 'not seen'},"
        found.checks.append(CaseCheck(tank, on, kind, what is not None, len(of), words))
    for numbers, why in ((glances, "only swept over at a glance"), (doubts, "doubtful")):
        if numbers:
            found.left_out.append(f"Findings of case {', '.join(map(str, sorted(numbers)))} are left out: {why}.")
    return by_case


def _further(
    found: CaseEvidence,
    cases: dict[int, Case],
    because: dict[int, str],
    tanks: set[int],
    first: dt.date,
    last: dt.date,
) -> None:
    """Further tanks of cases that count, from the day on which they were added to the case."""
    further = [row for row in CaseTank.objects.filter(case__in=cases, tank__in=tanks) if because.get(row.case_id)]
    added = dict(Act.objects.filter(pk__in=[row.version for row in further]).values_list("pk", "at"))
    for row in further:
        case, at = cases[row.case_id], added.get(row.version)
        on = timezone.localtime(at).date() if at is not None else case.opened
        on = min(max(on, first), last)
        found.signs.append(CaseSign(row.tank_id, on, f"Case {case.number}, a further tank of it", True))
