"""Quarantine: ready to leave or not yet because of what; and a delivery as it is opened."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.views.decorators.http import require_GET, require_POST

from wetmount.casebook import clock
from wetmount.casebook.batch_so_far import BatchSoFar, batch_so_far
from wetmount.casebook.models import Batch as KeptBatch
from wetmount.casebook.reference import reference
from wetmount.casebook.services import keeping
from wetmount.casebook.services.preferences import preferences
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.views import count_forms
from wetmount.casebook.views.count import frame
from wetmount.casebook.views.pages import back
from wetmount.casebook.views.today import last_said
from wetmount.errors import InputError
from wetmount.forecast import MODELS, Batch, Intake, intake_advice, ready_to_leave
from wetmount.units import parse_quantity

FIELDS = (
    "name", "fish", "arrived", "temperature", "examined", "examined_on", "sensitivity", "found", "deaths", "baseline",
    "ends",
)  # fmt: skip
BAG = ("bag_temperature", "bag_ph", "bag_ammonia", "tank_temperature", "tank_ph", "fish", "dead", "salinity")


# --- ready to leave ---------------------------------------------------------------------------------------------------


@require_GET
def leave(request: HttpRequest) -> HttpResponse:
    """A batch against the life cycles, the examination, treatments and deaths. `?batch=` fills in a known one and what
    its cases say; all of it can be written over."""
    given = request.GET
    typed = {name: count_forms.typed(given, name) for name in FIELDS}
    water = given.get("water", "fresh")
    batch = given.get("batch", "")
    kept = KeptBatch.objects.filter(pk=int(batch)).first() if batch.isdecimal() and len(batch) < 18 else None
    gathered = None
    if kept is not None and "arrived" not in given:
        typed |= {
            "name": str(kept), "fish": str(kept.number or ""),
            "arrived": kept.arrived.isoformat() if kept.arrived else "",
        }  # fmt: skip
        gathered = batch_so_far(kept, reference())
        typed |= _from_cases(gathered)
    wrong, verdict = "", None
    try:
        if typed["arrived"] and "fish" in given:
            verdict = ready_to_leave(_batch(given), clock.today(), reference())
    except InputError as error:
        wrong = count_forms.sentence(error)
    context: dict[str, Any] = {
        "place": "rooms", "typed": typed, "water": water, "wrong": wrong, "verdict": verdict,
        "needs": [(MODELS[id].name, days) for id, days in verdict.days_needed.items()] if verdict else (),
        "gathered": gathered, "batches": KeptBatch.objects.exclude(arrived=None)[:12],
        "unit": preferences().unit("temperature"),
        "last": last_said(request.device),
    }  # fmt: skip
    page = "casebook/count/quarantine.html"
    return render(request, page, frame(request, None, None) | context, status=422 if wrong else 200)


def _from_cases(gathered: BatchSoFar) -> dict[str, str]:
    """The fields that cases of a batch fill in; what none of them says stays empty."""
    filled = {"temperature": gathered.temperature, "found": ", ".join(gathered.found)}
    if gathered.examined_on is not None:
        filled |= {"examined": str(gathered.examined), "examined_on": gathered.examined_on.isoformat()}
    if gathered.deaths is not None:
        filled["deaths"] = str(gathered.deaths)
    return filled


def _batch(given: QueryDict) -> Batch:
    whole, day = count_forms.whole, count_forms.day
    arrived = count_forms.needed(day(given, "arrived", "The day of arrival"), "The day of arrival")
    fish = count_forms.needed(whole(given, "fish", "Fish that arrived", least=1, most=1_000_000), "The number of fish")
    assert isinstance(arrived, dt.date)
    assert isinstance(fish, int)
    percent = count_forms.number(
        given, "sensitivity", "Carriers that the look finds, in percent", least=1, most=100, otherwise=80
    )
    baseline = count_forms.number(given, "baseline", "Usual deaths, percent a month", least=0, most=90, otherwise=3)
    ends = [part for part in count_forms.typed(given, "ends").replace(",", " ").split() if part]
    try:
        treated = tuple(dt.date.fromisoformat(part) for part in ends)
    except ValueError:
        raise InputError("treatments end on dates such as 2026-10-03, with blanks between", field="ends") from None
    return Batch(
        fish=fish,
        arrived=arrived,
        temperatures_c=_temperatures(given, "temperature", "The temperature"),
        water=given.get("water", "fresh"),
        examined=whole(given, "examined", "Fish examined", least=0, most=fish, otherwise=0) or 0,
        examined_on=day(given, "examined_on", "The day of the examination"),
        sensitivity=(percent or 80) / 100,
        found=tuple(part.strip() for part in count_forms.typed(given, "found").split(",") if part.strip()),
        deaths=whole(given, "deaths", "Deaths", least=0, most=fish, otherwise=0) or 0,
        baseline_deaths_per_day=(3.0 if baseline is None else baseline) / 100 / 30,
        treatment_ends=treated,
    )


def _temperatures(given: QueryDict, name: str, what: str) -> tuple[float, ...]:
    text = count_forms.typed(given, name)
    if not text:
        raise InputError(f"{what} is missing; without it nothing can be worked out", field=name)
    unit = preferences().unit("temperature")
    return tuple(
        parse_quantity(
            f"{part.strip()} {unit}" if part.strip().replace(".", "", 1).isdecimal() else part.strip(),
            "temperature",
            field=name,
        ).value
        for part in text.split(",")
    )


@require_POST
def schedule(request: HttpRequest) -> HttpResponse:
    """The next look at a batch, as a task on Today."""
    try:
        on = dt.date.fromisoformat(request.POST.get("on", ""))
    except ValueError:
        raise Refused(f"A date is written as {clock.today().isoformat()}.") from None
    name = request.POST.get("name", "").strip()[:200]
    detail = request.POST.get("detail", "").strip()[:2000]
    keeping.add_task(request.device, "quarantine", f"Quarantine: look at {name or 'the batch'}", on, detail=detail)
    return back(request)


# --- a delivery -------------------------------------------------------------------------------------------------------


@require_GET
def delivery(request: HttpRequest) -> HttpResponse:
    """A bag as it was opened: what to mind, the free ammonia of drip acclimatisation first of all."""
    given = request.GET
    typed = {name: count_forms.typed(given, name) for name in BAG}
    wrong, advice = "", None
    try:
        if typed["bag_ph"] or typed["bag_ammonia"]:
            advice = intake_advice(_intake(given), reference())
    except InputError as error:
        wrong = count_forms.sentence(error)
    context = {
        "place": "rooms", "typed": typed, "wrong": wrong, "advice": advice,
        "unit": preferences().unit("temperature"), "last": last_said(request.device),
    }  # fmt: skip
    page = "casebook/count/delivery.html"
    return render(request, page, frame(request, None, None) | context, status=422 if wrong else 200)


def _intake(given: QueryDict) -> Intake:
    def measured(name: str, what: str, least: float, most: float) -> float:
        value = count_forms.needed(count_forms.number(given, name, what, least=least, most=most), what)
        assert not isinstance(value, dt.date)
        return value

    fish = count_forms.needed(count_forms.whole(given, "fish", "Fish", least=1, most=1_000_000), "The number of fish")
    assert isinstance(fish, int)
    return Intake(
        bag_temperature_c=_temperatures(given, "bag_temperature", "The temperature of the bag")[0],
        bag_ph=measured("bag_ph", "The pH of the bag", 4, 10),
        bag_ammonia_mg_n_per_l=measured("bag_ammonia", "Total ammonia of the bag, in mg/L N", 0, 1000),
        tank_temperature_c=_temperatures(given, "tank_temperature", "The temperature of the tank")[0],
        tank_ph=measured("tank_ph", "The pH of the tank", 4, 10),
        fish=fish,
        dead_on_arrival=count_forms.whole(given, "dead", "Dead on arrival", least=0, most=fish, otherwise=0) or 0,
        salinity_g_per_kg=count_forms.number(given, "salinity", "Salinity, in g/kg", least=0, most=45, otherwise=0)
        or 0,
    )
