"""What the ill tanks of a room had in common: every exposure compared, and one compared within strata of another."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from wetmount.casebook.views.count_figures import two
from wetmount.casebook.views.origin_frame import framed
from wetmount.origin.exposures import FACTORS, Exposure, ExposureTables, exposure_tables, stratified_exposure
from wetmount.origin.room import Room
from wetmount.origin.tables import ZERO_NOTE, Ratio, TwoByTwo

WORDS: Final = {
    "origin": "from supplier", "delivery": "of delivery", "species": "species", "system": "on system",
    "row": "stands on", "feed": "fed", "worker": "looked after by", "tool": "shares tool", "contact": "got",
    "neighbour": "stands",
}  # fmt: skip


SHOWN: Final = 12
"""Lines shown at once; the others are folded away."""


@dataclass(frozen=True, slots=True)
class Row:
    """An exposure as its line of the table says it."""

    name: str
    key: str
    exposed: str
    unexposed: str
    risk: str
    odds: str
    p: str
    holm: str
    share_false: str
    same_as: str
    fish: str
    notes: tuple[str, ...]


@require_GET
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """All exposures; `?exposure=` within the strata of `?within=`."""
    frame = framed(request, pk, "room_exposures")
    context = frame.context | {"factors": FACTORS}
    if frame.record is not None and frame.record.room.tanks:
        found = exposure_tables(frame.record.room)
        context |= {
            "found": found,
            "rows": [row_of(one) for one in found.rows],
            "parts": _parts([row_of(one) for one in found.rows]),
            "apart": [(name_of(factor, level), why) for factor, level, why in found.not_compared],
            "strata": _strata(request, frame.record.room, found),
            "exposure": request.GET.get("exposure", ""),
            "within": request.GET.get("within", ""),
        }
    return render(request, "casebook/origin/exposures.html", context)


def _parts(rows: list[Row]) -> list[tuple[str, list[Row]]]:
    """The lines to read, and those to unfold."""
    rest = rows[SHOWN:]
    return [("", rows[:SHOWN])] + ([(f"{len(rest)} more, all likelier by chance", rest)] if rest else [])


def name_of(factor: str, level: str) -> str:
    """'from supplier North'."""
    return f"{WORDS[factor]} {level}"


def row_of(one: Exposure) -> Row:
    """A line of the table."""
    fish = ""
    if one.fish is not None:
        with_it, without = one.fish.ill_exposed, one.fish.ill_unexposed
        fish = f"fish: {with_it} of {one.fish.exposed}, without {without} of {one.fish.unexposed}"
    notes = tuple(dict.fromkeys(note for note in (one.risk.note, one.odds.note) if note and note != ZERO_NOTE))
    if one.unknown:
        notes += (f"{one.unknown} tank{'s' if one.unknown > 1 else ''} left out: not known whether they had it",)
    return Row(
        name_of(one.factor, one.level),
        f"{one.factor}:{one.level}",
        _rate(one.table.a, one.table.exposed),
        _rate(one.table.c, one.table.unexposed),
        ratio(one.risk),
        ratio(one.odds),
        chance(one.p),
        chance(one.holm),
        chance(one.benjamini_hochberg),
        one.same_as or "",
        fish,
        notes,
    )


def _rate(ill: int, of: int) -> str:
    return f"{ill} of {of}, {100 * ill / of:.0f} %" if of else "none"


def ratio(one: Ratio) -> str:
    """'5.6 (1.9 to 16)'; what it is where it has no number."""
    if one.value is None:
        return "not to be had"
    star = "*" if one.note == ZERO_NOTE else ""
    value = f"{'infinite' if math.isinf(one.value) else two(one.value)}{star}"
    if one.low is None or one.high is None:
        return value
    return f"{value} ({_end(one.low)} to {_end(one.high)})"


def _end(value: float) -> str:
    """An end of an interval; beyond a thousand or below a hundredth it says no more than that."""
    return "over 1000" if value > 1000 else "under 0.01" if 0 < value < 0.01 else two(value)


def chance(p: float) -> str:
    """A p with two figures; the smallest are not told apart."""
    return "under 0.001" if p < 0.001 else f"{p:.3f}" if p < 0.1 else f"{p:.2f}"


# --- within strata ----------------------------------------------------------------------------------------------------


def _strata(request: HttpRequest, room: Room, found: ExposureTables) -> dict[str, Any] | None:
    """The exposure that was asked for, compared inside each level of another factor."""
    asked, within = request.GET.get("exposure", ""), request.GET.get("within", "")
    if not asked or not within:
        return None
    factor, _, level = asked.partition(":")
    known = {(one.factor, one.level) for one in found.rows}
    if (factor, level) not in known or within not in FACTORS:
        raise Http404
    one = stratified_exposure(room, factor, level, within)
    result = one.result
    return {
        "name": name_of(factor, level),
        "within": within,
        "rows": [(name, _rate(table.a, table.exposed), _rate(table.c, table.unexposed), _said(table))
                 for name, table in one.strata.items()],
        "risk": ratio(result.risk_ratio),
        "odds": ratio(result.odds_ratio),
        "p": chance(result.cmh[1]) if result.cmh else "not to be had",
        "corrected": chance(result.cmh_corrected[1]) if result.cmh_corrected else "",
        "alike": chance(result.breslow_day[1]) if result.breslow_day else "",
        "used": result.strata,
        "given": result.given,
        "note": result.odds_ratio.note,
        "crude": (_rate(result.crude.a, result.crude.exposed), _rate(result.crude.c, result.crude.unexposed)),
    }  # fmt: skip


def _said(table: TwoByTwo) -> str:
    return "" if table.comparable else "nothing to compare in it"
