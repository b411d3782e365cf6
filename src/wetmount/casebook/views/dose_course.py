"""A treatment course: the concentration over days under doses, loss, carbon, water changes and top-ups."""

from __future__ import annotations

import math
import re
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET
from msgspec import structs

from wetmount.casebook.models import Case
from wetmount.casebook.reference import reference
from wetmount.casebook.views import dose_chart
from wetmount.casebook.views.dose_forms import (
    Form,
    address,
    agent_name,
    agents_by_route,
    case_of,
    counted,
    framed,
    has_sum,
    of_case,
)
from wetmount.casebook.views.dose_order import water_from
from wetmount.course import (
    CarbonEvent,
    ChangeEvent,
    CourseReport,
    DoseEvent,
    Event,
    TopUpEvent,
    judge_course,
)
from wetmount.dose_typed import already_of, hosts_of, volume_of
from wetmount.dose_units import dose_in, parse_dose
from wetmount.dose_writing import write_quantity
from wetmount.errors import InputError
from wetmount.hard_stops import BATHS, Life, bounds_for
from wetmount.reference.rows import DoseRow
from wetmount.units import parse_quantity

IN_WATER: Final = ("mg/L", "g/L", "uL/L")
MOST_DOSES: Final = 60
LONGEST_DAYS: Final = 60.0
_CHANGE: Final = re.compile(r"(\d+(?:\.\d+)?)\s*(h|hours?|d|days?)\s+(\d+(?:\.\d+)?)\s*%")


@require_GET
def page(request: HttpRequest) -> HttpResponse:
    """The form, the drawing and the table that says the same. The address holds all of it."""
    case = case_of(request)
    form = Form(request.GET, of_case(case))
    row = reference().doses.get(form.text("agent"))
    if row is not None and not is_bath(row):
        form.wrong["agent"] = f"{agent_name(row.treatment)} makes no concentration in the tank; choose a bath."
        row = None
    elif row is None and form.text("agent"):
        form.wrong["agent"] = "There is no such agent; choose one of the list."
    agents = [(heading, [one for one in rows if is_bath(reference().doses[one[0]])])
              for heading, rows in agents_by_route()]  # fmt: skip
    context: dict[str, Any] = {
        "form": form, "row": row, "agents": [(heading, rows) for heading, rows in agents if rows],
        "version": reference().version, "name": agent_name(row.treatment) if row is not None else "",
        "usual": _usual(row) if row is not None else {}, "counted": counted(row) if row is not None else "",
    }  # fmt: skip
    if row is not None and "go" in request.GET:
        context |= _worked_out(form, row, case)
    elif not row and "go" in request.GET:
        form.wrong.setdefault("agent", "Choose the agent first.")
    context = framed(request, case, "dose_course") | context
    return render(request, "casebook/dose/course.html", context, status=422 if form.wrong else 200)


def is_bath(row: DoseRow) -> bool:
    """Whether it stands in the water in a unit of concentration."""
    return has_sum(row) and row.unit in IN_WATER and row.route in BATHS


def _usual(row: DoseRow) -> dict[str, str]:
    """What the row says of a course, as samples in the fields."""
    doses = row.doses or 1
    every = row.interval_h_low or 0
    hours = every * (doses - 1) + (row.minutes_high or 1440) / 60
    return {
        "dose": f"{row.low:g} {row.unit}" if row.low is not None else "", "times": f"{doses:g}",
        "every": f"{every:g} h" if every else "24 h", "until": f"{max(1, math.ceil(hours / 24))}",
    }  # fmt: skip


def _worked_out(form: Form, row: DoseRow, case: Case | None) -> dict[str, Any]:
    dose = form.read("dose", lambda: _dose(form, row))
    until = form.number("until", "Days shown", 0.1, LONGEST_DAYS, float(_usual(row)["until"]))
    events = _events(form, row, dose, until)
    text = form.text("start")
    start = (form.read("start", lambda: already_of(text, row, field="start")) if text else None) or 0.0
    volume = form.read("volume", lambda: volume_of(form.text("volume"))) if form.text("volume") else None
    held, narrowed = _narrowed(form, row, dose)
    if form.wrong or dose is None or until is None or events is None:
        return {}
    try:
        report = judge_course(held, events, until * 24, start=start)
        weaker = None
        if volume is not None and volume.low_l < volume.high_l:
            share = volume.low_l / volume.high_l
            weaker = judge_course(held, _scaled(events, share), until * 24, start=start * share)
    except InputError as error:
        form.refuse(error)
        return {}
    return {
        "report": report, "narrowed": narrowed,
        "drawings": dose_chart.drawings(report, weaker, events, row.unit, until),
        "told": dose_chart.told(report, row.unit, until, sum(isinstance(one, DoseEvent) for one in events)),
        "table": dose_chart.table(report, weaker, until), "unit": write_quantity(1, row.unit).partition(" ")[2],
        "has_weaker": weaker is not None, "volume": volume,
        "verdict": _verdict(report, until), "rows": [f"doses {row.treatment}", f"treatments {row.treatment}"],
        "decay": _decay(row), "tops": [(f"{hour / 24:.3g}", write_quantity(amount, row.unit)) for hour, amount in
        report.expected.added if amount], "dose_href": address("dose", case, agent=row.treatment),
        "formulas": ["Between events C(t) = C₀ e^(−rt), the rate r of loss, carbon and flow together; exact, no steps.",
                     "A dose adds to C, a change of the share f leaves (1 − f) C."],
    }  # fmt: skip


def _verdict(report: CourseReport, days: float) -> tuple[str, str]:
    if not report.safe:
        return "stop", "This course passes the hard stop."
    if report.hours_effective is None:
        return "care", "Under the hard stop; the table gives no level that works to hold it against."
    if report.hours_effective < days * 24 * (1 - 1e-9):
        share = report.hours_effective / 24
        return "care", f"Under the hard stop. At or above what works for {share:.2g} of {days:g} days."
    return "yes", "Inside the band that works and is safe, from the first dose to the last day."


def _decay(row: DoseRow) -> str:
    if row.half_life_h is None:
        return ""  # the report of the course says so itself
    basis = reference().treatments[row.treatment].half_life_basis
    return f"Half is lost in {row.half_life_h:g} h{f' ({basis})' if basis else ''}; for the stop nothing is."


def _dose(form: Form, row: DoseRow) -> float:
    text = form.text("dose")
    if not text:
        if row.low is None:
            raise InputError("type the dose, with its unit", field="dose")
        return row.low
    return dose_in(parse_dose(text), row.unit, row.substance, row.counted_as)


def _narrowed(form: Form, row: DoseRow, dose: float | None) -> tuple[DoseRow, tuple[str, ...]]:
    """The row with the bounds of these fish in this water where fish are named, so that a course is held against the
    same stop as a dose; and the words for it."""
    names = form.texts("host")
    if not names:
        return row, ("no fish are named: held against the stop of the agent alone",)
    named = form.read("host", lambda: hosts_of(names, reference()))
    water = water_from(form)
    if named is None:
        return row, ()
    bounds = bounds_for(row, water, Life(named[0], species=named[1]), reference(), dose=dose)
    words = (*bounds.words, *(f"a dose is refused here: {one.text}" for one in bounds.refusals))
    if bounds.most is None or bounds.unit != row.unit:
        return row, words
    return structs.replace(row, low=bounds.low, hard_max=bounds.most), words


def _events(form: Form, row: DoseRow, dose: float | None, until: float | None) -> list[Event] | None:
    usual = _usual(row)
    times = form.whole("times", "Number of doses", 1, MOST_DOSES, int(float(usual["times"])))
    text = form.text("every") or usual["every"]
    every = form.read("every", lambda: parse_quantity(text, "duration", field="every").value)
    before = form.number("before", "Water changed before each dose, in percent", 0, 100, 0.0)
    changes = form.read("changes", lambda: _changes(form.text("changes")))
    carbon = form.quantity("carbon", "duration")
    half = form.quantity("carbon_half", "duration")
    if (carbon is None) != (half is None):
        name = "carbon_half" if half is None else "carbon"
        form.wrong.setdefault(name, "Carbon wants both: from which hour, and in how many hours it takes half.")
    if form.wrong or dose is None or until is None or times is None or not every or changes is None:
        return None
    events: list[Event] = []
    for n in range(times):
        at = n * every
        if at > until * 24:
            break
        if n and before:
            events.append(ChangeEvent(at, before / 100))
        events.append(DoseEvent(at, dose))
    for hour, share in changes:
        events.append(ChangeEvent(hour, share))
        if form.text("top_up") == "yes":
            events.append(TopUpEvent(hour, dose))
    if carbon is not None and half:
        events.append(CarbonEvent(carbon, math.log(2) / half))
    return events


def _changes(text: str) -> list[tuple[float, float]]:
    """`24 h 50 %, 3 days 30 %` as hours and shares."""
    found = []
    for part in filter(None, (one.strip() for one in re.split(r"[,;\n]", text))):
        match = _CHANGE.fullmatch(part)
        if match is None:
            raise InputError(
                f'"{part[:40]}" is no change; write when and how much: 24 h 50 %, 72 h 30 %', field="changes"
            )
        hours = float(match[1]) * (24 if (match[2] or "").startswith("d") else 1)
        found.append((hours, float(match[3]) / 100))
    return found


def _scaled(events: list[Event], share: float) -> list[Event]:
    """The same amounts in more water."""
    scaled: list[Event] = []
    for one in events:
        match one:
            case DoseEvent(at, adds):
                scaled.append(DoseEvent(at, adds * share))
            case TopUpEvent(at, to):
                scaled.append(TopUpEvent(at, to * share))
            case _:
                scaled.append(one)
    return scaled
