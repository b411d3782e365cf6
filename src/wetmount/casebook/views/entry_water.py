"""The water: readings with their units, graded at once against the limits of the host."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_POST

from wetmount import units
from wetmount.case_check import host_group_of, host_row
from wetmount.casebook.access import case_or_404
from wetmount.casebook.models import Case, Look, Reading, Tank
from wetmount.casebook.reference import reference
from wetmount.casebook.services import keeping
from wetmount.casebook.services.entering import once
from wetmount.casebook.services.preferences import Preferences, preferences
from wetmount.casebook.services.records import case_record
from wetmount.casebook.services.refusals import Conflict, Refused
from wetmount.casebook.views.entry_forms import by_script, clock_time, text, version
from wetmount.casebook.views.entry_places import after_entry, chosen_look, tray_context
from wetmount.casebook.views.entry_rows import Answer, first_upper
from wetmount.errors import InputError
from wetmount.water_report import WaterLine, WaterReport, read_water

FIRST = ("temperature", "ph", "ammonia", "nitrite", "nitrate", "gh", "kh", "oxygen", "chlorine")
"""What a usual set of tests measures; the other parameters are folded away (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Line:
    """A parameter on the page: what was typed, in which unit, and what the limits of the host say."""

    id: str
    parameter: str
    name: str
    reading: Reading | None
    number: str
    unit: str
    units: tuple[str, ...]
    level: int | None
    level_word: str
    verdict: tuple[str, ...]
    hint: str
    wrong: str = ""
    asks: tuple[Answer, ...] = ()

    @property
    def version(self) -> int:
        """The version that the page shows."""
        return self.reading.version if self.reading is not None else 0


@dataclass(frozen=True, slots=True)
class Judged:
    """What the readings of the look say together, for one tank or all of them."""

    report: WaterReport | None
    why_not: str

    def line(self, parameter: str) -> WaterLine | None:
        """What is said of one parameter."""
        found = (one for one in self.report.lines if one.parameter == parameter) if self.report is not None else ()
        return next(iter(found), None)


def water_context(case: Case, look: Look) -> dict[str, Any]:
    """Lines with their keys, what was worked out, and what not to do about it."""
    readings = list(look.readings.select_related("tank"))
    judged = judge(case, readings)
    chosen = preferences()
    lines = [
        replace(line, verdict=tuple(chosen.beside(one) for one in line.verdict))
        for parameter in units.READINGS
        for line in _lines(parameter, readings, judged, chosen.units)
    ]
    usual = [one for one in lines if one.parameter in FIRST or one.reading is not None]
    return {
        "usual": sorted(usual, key=lambda one: FIRST.index(one.parameter) if one.parameter in FIRST else len(FIRST)),
        "further": [one for one in lines if one not in usual],
        "judged": judged,
        "host_words": _host_words(case),
        "tanks": tanks_of(case),
    } | _worked_out(judged, chosen)


def _worked_out(judged: Judged, chosen: Preferences) -> dict[str, Any]:
    report = judged.report
    derived = [one for one in report.lines if not one.measured] if report is not None else []
    return {
        "derived": [(replace(one, how=chosen.beside(one.how)), level_word(one)) for one in derived],
        "advice": [replace(one, text=chosen.beside(one.text)) for one in report.advice] if report is not None else (),
        "assumed": report.assumed if report is not None else (),
    }


def judge(case: Case, readings: list[Reading]) -> Judged:
    """The last reading of each parameter against the limits of the host."""
    tables, values = reference(), {}
    for one in readings:
        try:
            values[one.parameter] = units.parse_quantity(one.value, one.parameter)
        except (InputError, KeyError):
            continue  # of a case file of another version; the entry itself stays as it is
    if not values:
        return Judged(None, "")
    record = case_record(case)
    row = host_row(record.host.species, tables)
    try:
        group = host_group_of(record, tables)
        group = group if group in tables.host_groups else None
        return Judged(read_water(values, group, tables, row.scientific_name if row is not None else None), "")
    except InputError as error:
        return Judged(None, str(error))


def level_word(line: WaterLine) -> str:
    """'within limits', 'raised', 'dangerous', or nothing where no limit is known."""
    if line.level is None or line.finding is None:
        return "within limits" if line.level == 0 else ""
    if line.level == 0:
        return "within limits"
    words = reference().findings[line.finding].levels
    name = words[line.level] if line.level < len(words) else ""
    if name != "present":
        return name.replace("_", " ")
    side = line.limits[0].side if line.limits else "above"
    return "too low" if side == "below" else "too high"


def _lines(parameter: str, readings: list[Reading], judged: Judged, chosen: Mapping[str, str]) -> list[Line]:
    """The readings of one parameter, the last one graded; an empty line when there is none."""
    mine = [one for one in readings if one.parameter == parameter]
    blank = Judged(None, "")
    lines = [
        line_of(parameter, place, one, judged if one is mine[-1] else blank, chosen) for place, one in enumerate(mine)
    ]
    return lines or [line_of(parameter, 0, None, judged, chosen)]


def line_of(parameter: str, place: int, reading: Reading | None, judged: Judged, chosen: Mapping[str, str]) -> Line:
    """One line, as it stands; its id is the same before and after the reading. `chosen` are the units of the practice,
    by parameter."""
    kind = units.KINDS[parameter]
    number, unit = split(reading.value, parameter) if reading is not None else ("", unit_of_practice(parameter, chosen))
    graded = judged.line(parameter) if reading is not None else None
    choices = kind.accepted if unit in kind.accepted else (unit, *kind.accepted)
    return Line(
        id=f"reading-{parameter}-{place}",
        parameter=parameter,
        name="pH" if parameter == "ph" else first_upper(kind.meaning),
        reading=reading,
        number=number,
        unit=unit,
        units=choices if kind.unit else (),
        level=graded.level if graded is not None else None,
        level_word=level_word(graded) if graded is not None else "",
        verdict=_verdict(graded) if graded is not None else (),
        hint=kind.hint if parameter in ("ammonia", "nitrite", "nitrate") else "",
    )


def _verdict(line: WaterLine) -> tuple[str, ...]:
    """Why, without the word that stands before it already."""
    word = f"{level_word(line)}: "
    told = tuple(one.removeprefix(word) for one in line.verdict)
    return tuple(first_upper(one) for one in told)


def split(value: str, parameter: str) -> tuple[str, str]:
    """A reading as typed into its number and its unit: ("0.8", "mg/L NO2")."""
    end = next((place for place, sign in enumerate(value) if not (sign.isdecimal() or sign in "+-.")), len(value))
    unit = value[end:].strip()
    names = {name: one.names[0] for one in units.KINDS[parameter].units for name in one.names}
    return value[:end], names.get(unit, unit)


def unit_of_practice(parameter: str, chosen: Mapping[str, str]) -> str:
    """The unit that the practice measures in; where nothing is set, the first that the kind accepts."""
    kind = units.KINDS[parameter]
    for unit in kind.units:
        if chosen.get(parameter) in unit.names:
            return unit.names[0]
    return kind.accepted[0] if kind.accepted else ""


def tanks_of(case: Case) -> list[Tank]:
    """The tanks a reading of this case may be of."""
    further = [one.tank for one in case.further_tanks.select_related("tank")]
    return [*([case.tank] if case.tank is not None else []), *further]


def _host_words(case: Case) -> str:
    tables = reference()
    row = host_row(case.species or None, tables)
    if row is not None:
        return row.common_name or row.scientific_name
    group = tables.host_groups.get(case.host_group)
    return group.meaning if group is not None else ""


@require_POST
def reading(request: HttpRequest, number: int) -> HttpResponse:
    """One reading: field `parameter`, number and unit, and the row `reading` when one is changed. An empty number
    takes the reading away."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    parameter = request.POST.get("parameter", "")
    if parameter not in units.READINGS:
        raise Refused("There is no such water reading.")
    row = _row(request, look)
    typed, unit = text(request, "number", 40).replace(",", "."), text(request, "unit", 20)
    if "value" in request.POST:  # one of two answers that were shown as they stand
        typed, unit = text(request, "value", 60), ""
    try:
        with once(request.POST.get("id", "")) as new:
            if new:
                _save(request, case, look, parameter, row, typed, unit)
    except Conflict as clash:
        if not by_script(request):
            raise
        return _pieces(request, case, look, parameter, clash=clash)
    except Refused as error:
        again = row is None and Reading.objects.filter(look=look, parameter=parameter).exists()
        if not by_script(request) or again:  # measured again: there is no line of its own to say it on
            raise
        return _pieces(request, case, look, parameter, wrong=(row, typed, unit, str(error)))
    if not by_script(request):
        return after_entry(request, case, f"line-reading-{parameter}-0")
    return _pieces(request, case, look, parameter)


def _row(request: HttpRequest, look: Look) -> Reading | None:
    pk = request.POST.get("reading", "")
    if not pk:
        return None
    # One that another device took away meanwhile is entered anew: what was measured is not lost.
    known = pk.isdecimal() and len(pk) < 19
    return Reading.objects.select_related("look__case").filter(look=look, pk=int(pk)).first() if known else None


def _save(
    request: HttpRequest, case: Case, look: Look, parameter: str, row: Reading | None, typed: str, unit: str
) -> None:
    if not typed:
        if row is not None:
            keeping.remove_reading(request.device, row)
        return
    tank = next((one for one in tanks_of(case) if str(one.pk) == request.POST.get("tank", "")), None)
    more = "kit" in request.POST
    keeping.set_reading(
        request.device,
        look,
        parameter,
        f"{typed} {unit}".strip(),
        reading=row,
        seen=version(request) if row is not None else None,
        tank=tank if more else row.tank if row is not None else None,
        time=clock_time(request, "time") if more else row.time if row is not None else None,
        kit=text(request, "kit", 300) if more else row.kit if row is not None else "",
        note=row.note if row is not None else "",
    )


def _pieces(
    request: HttpRequest,
    case: Case,
    look: Look,
    parameter: str,
    *,
    clash: Conflict | None = None,
    wrong: tuple[Reading | None, str, str, str] | None = None,
) -> HttpResponse:
    """The lines of the water page anew: one reading changes what others mean (pH and ammonia)."""
    context = water_context(case, look) | {"look": look}
    if clash is not None:
        for name in ("usual", "further"):
            context[name] = [_asking(one, clash) if _is_of(one, clash) else one for one in context[name]]
    if wrong is not None:
        row, typed, unit, why = wrong
        for name in ("usual", "further"):
            context[name] = [
                _with_wrong(one, typed, unit, why) if (one.parameter, one.reading) == (parameter, row) else one
                for one in context[name]
            ]
    status = 409 if clash is not None else 422 if wrong is not None else 200
    return render(request, "casebook/entry/water_answer.html", tray_context(request, case) | context, status=status)


def _is_of(line: Line, clash: Conflict) -> bool:
    return line.reading is not None and line.reading.pk == clash.entry


def _asking(line: Line, clash: Conflict) -> Line:
    """A line that two devices entered differently: both, and the question."""
    asks = tuple(
        Answer(str((side.values or {}).get("value", "")), side.who, side.at, str(clash.version))
        for side in (clash.now, clash.yours)
    )
    return replace(line, asks=asks)


def _with_wrong(line: Line, typed: str, unit: str, why: str) -> Line:
    return replace(line, number=typed, unit=unit or line.unit, level=None, level_word="", verdict=(), wrong=why)
