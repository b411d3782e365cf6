"""What if: a finding of the look changed, added or left out, and what moves. Nothing is saved, whatever is chosen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from wetmount.casebook.access import case_or_404
from wetmount.casebook.services.looking import say_level
from wetmount.casebook.services.preferences import practice_reference, preferences
from wetmount.casebook.services.weighing import CannotWeigh, ready, weighed
from wetmount.casebook.shell import case_context
from wetmount.casebook.views.entry_places import chosen_look
from wetmount.evidence import Evidence, Observation
from wetmount.reference import Reference
from wetmount.reference.rows import Finding
from wetmount.report.words import capital, field_of
from wetmount.weighup import weigh_up
from wetmount.weighup.results import WeighUp

SHOWN: Final = 8
MOVES: Final = 0.005
"""Below half a percentage point a cause is said not to move."""
NOT_LOOKED: Final = -1
"""Stands for "not looked at" where a level is chosen."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A finding as it stands in the look (`now`, None: not looked at) and as it was chosen (None: as it stands)."""

    row: Finding
    now: int | None
    chosen: int | None
    options: tuple[tuple[int, str], ...]
    glyph: str
    said: str


@dataclass(frozen=True, slots=True)
class Moved:
    """A cause before and after, as shares of responsibility."""

    id: str
    name: str
    before: float
    after: float

    @property
    def which(self) -> str:
        if abs(self.after - self.before) < MOVES:
            return "unmoved"
        return "up" if self.after > self.before else "down"


@require_GET
def what_if(request: HttpRequest, number: int) -> HttpResponse:
    """The weigh-up of a look as it would be. Each finding is a field of the address: a level, or -1: not looked at."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    tables = practice_reference(preferences())
    context = case_context(request, case, "weigh-up", look)
    try:
        asked = ready(case, look, tables)
    except CannotWeigh as error:
        return render(request, "casebook/weigh/cannot.html", context | {"problems": error.problems})
    now = _levels(asked.evidence)
    changed = _changed(request.GET, now, tables)
    before = weighed(look, asked).weighup
    after = before
    if changed:
        evidence = changed_evidence(asked.evidence, changed, tables)
        after = weigh_up(evidence, tables, reasons=False, firmness=False, examinations=False)
    choices = [_choice(row, now.get(row.id), changed.get(row.id), asked.evidence) for row in _askable(tables)]
    context |= {
        "groups": [
            (tables.examinations[id], rows, any(one.chosen is not None for one in rows))
            for id, rows in ((id, list(rows)) for id, rows in groupby(choices, key=lambda one: one.row.examination))
        ],
        "entered": _entered(choices),
        "changed": [one for one in choices if one.chosen is not None],
        "moved": _moved(before, after),
        "leads_before": before.conditions[0],
        "leads_after": after.conditions[0],
        "unexplained": after.unexplained,
    }
    return render(request, "casebook/weigh/what_if.html", context)


def changed_evidence(evidence: Evidence, changed: Mapping[str, int], reference: Reference) -> Evidence:
    """The evidence with these findings at other levels (NOT_LOOKED: left out). A new one is looked for properly, with
    its examination's own chance of noticing; one that stands keeps how hard was looked."""
    standing = {one.finding: one for one in evidence.observations}
    answers = dict(evidence.answers)
    for id, level in changed.items():
        finding = reference.findings[id]
        if finding.kind == "cause":
            answers.pop(id, None)
            if level != NOT_LOOKED:
                answers[id] = level > 0
        elif level == NOT_LOOKED:
            standing.pop(id, None)
        else:
            row = reference.examinations[finding.examination]
            own = tuple(row.detection[min(k, len(row.detection) - 1)] for k in range(len(finding.levels) - 1))
            kept = standing.get(id)
            swept = kept is not None and kept.sure == "swept"
            if kept is None or swept:
                standing[id] = Observation(id, level, "sure", own, ("what if",))
            else:
                standing[id] = replace(kept, level=level)
    order = [id for id in reference.findings if id in standing]
    return replace(evidence, observations=tuple(standing[id] for id in order), answers=answers)


def _levels(evidence: Evidence) -> dict[str, int]:
    return {one.finding: one.level for one in evidence.observations} | {
        id: int(yes) for id, yes in evidence.answers.items()
    }


def _changed(given: Mapping[str, Any], now: dict[str, int], reference: Reference) -> dict[str, int]:
    """What differs from the look; anything else in the address is passed over."""
    changed = {}
    for id, text in given.items():
        if id not in reference.findings or len(text) > 2 or not text.removeprefix("-").isdecimal():
            continue
        level = int(text)
        if NOT_LOOKED <= level < len(reference.findings[id].levels) and level != now.get(id, NOT_LOOKED):
            changed[id] = level
    return changed


def _entered(choices: list[Choice]) -> list[tuple[str, list[Choice], bool]]:
    """What was entered, in three lists, each with whether it stands open: what was seen does."""
    entered = [one for one in choices if one.now is not None]
    asked = [one for one in entered if one.row.kind == "cause"]
    seen = [one for one in entered if one.row.kind != "cause" and one.now]
    clear = [one for one in entered if one.row.kind != "cause" and not one.now]
    lists = [("Seen, measured, told", seen), ("Looked for, not seen", clear), ("Answers on the history", asked)]
    return [
        (title, rows, place == 0 or any(one.chosen is not None for one in rows))
        for place, (title, rows) in enumerate(lists)
        if rows
    ]


def _askable(reference: Reference) -> list[Finding]:
    order = {id: row.order for id, row in reference.examinations.items()}
    return sorted(reference.findings.values(), key=lambda row: order[row.examination])


def _choice(row: Finding, now: int | None, chosen: int | None, evidence: Evidence) -> Choice:
    sure = next((one.sure for one in evidence.observations if one.finding == row.id), "sure")
    shown = now if chosen is None else chosen
    glyph = (
        "none" if shown in (None, NOT_LOOKED) else field_of(row, int(shown or 0), sure if chosen is None else "sure")
    )
    stands = NOT_LOOKED if now is None else now
    levels = [(n, _level(row, n)) for n in range(len(row.levels))]
    options = tuple(one for one in [(NOT_LOOKED, "not looked at"), *levels] if one[0] != stands)
    said = dict([(NOT_LOOKED, "not looked at"), *levels])[stands]
    return Choice(row, now, chosen, options, glyph, said)


def _level(row: Finding, level: int) -> str:
    """A level as one chooses it: a question of history is answered, water is tested, everything else is looked for."""
    if row.kind in ("cause", "effect"):
        word = row.levels[level].replace("_", " ")
        return {"absent": "no", "present": "yes"}.get(word, word)
    if row.kind in ("water", "laboratory") and level == 0:
        return "tested, not so"
    return say_level(row.levels, level)


def _moved(before: WeighUp, after: WeighUp) -> list[Moved]:
    """The causes that are to blame most before or after, by what they are after."""
    was = {one.id: one for one in before.conditions}
    by_presence = not any(one.responsible > 0 for one in after.conditions)
    moved = [
        Moved(
            one.id,
            capital(one.name),
            was[one.id].probability if by_presence else was[one.id].responsible,
            one.probability if by_presence else one.responsible,
        )
        for one in after.conditions
    ]
    telling = sorted(moved, key=lambda one: -max(one.before, one.after))[:SHOWN]
    return sorted(telling, key=lambda one: -one.after)
