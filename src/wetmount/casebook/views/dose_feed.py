"""Feed: how much fish there is, what it eats, who still eats, and what is mixed in."""

from __future__ import annotations

from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from wetmount.case_check import host_names, host_row
from wetmount.casebook.models import Case, Numbers
from wetmount.casebook.reference import reference
from wetmount.casebook.views.dose_forms import SUPPLY, Form, address, agent_name, case_of, framed, has_sum, of_case
from wetmount.dose_writing import write_mass, write_number
from wetmount.errors import InputError
from wetmount.feed import Biomass, FishCounted, biomass, feed_g_per_kg, oral_mg_per_kg_day, ration_for
from wetmount.reference.rows import Ration

ROWS: Final = (1, 2, 3, 4)
MOST_FISH: Final = 1_000_000


@require_GET
def page(request: HttpRequest) -> HttpResponse:
    """Counts and lengths in; weight, ration and what carries over into a medicated feed out."""
    case = case_of(request)
    form = Form(request.GET, _first(case))
    context: dict[str, Any] = {
        "form": form, "counted": [(n, f"species_{n}", f"count_{n}", f"length_{n}") for n in ROWS],
        "offers": host_names(reference()), "version": reference().version, "more_open": bool(form.text("species_2")),
    }  # fmt: skip
    if "go" in request.GET:
        context |= _worked_out(form, case)
    context = framed(request, case, "dose_feed") | context
    return render(request, "casebook/dose/feed.html", context, status=422 if form.wrong else 200)


def _first(case: Case | None) -> dict[str, str]:
    values = of_case(case)
    if case is not None:
        values["species_1"] = case.species
        numbers = Numbers.objects.filter(look__case=case, total__isnull=False).order_by("-look__on", "-pk").first()
        if numbers is not None and numbers.total:
            values["count_1"] = str(max(1, numbers.total - (numbers.dead or 0)))
    return values


def _worked_out(form: Form, case: Case | None) -> dict[str, Any]:
    fish, typed = _fish(form), form.quantity("weight", "weight")
    temperature = form.quantity("temperature", "temperature")
    eating = form.number("eating", "Fish that still eat, in percent", 0, 100, 100.0)
    ration = form.number("ration", "Feed a day, in % of body weight", 0.01, 10)
    if form.wrong:
        return {}
    found: Biomass | None = None
    if typed is not None:
        found = Biomass(typed, (f"weighed: {write_mass(typed)}",))
    else:
        found = form.read("species_1", lambda: biomass(tuple(fish), reference()))
    if found is None or eating is None:
        return {}
    row = None
    if ration is None:
        if temperature is None:
            form.wrong["temperature"] = "The temperature decides how much they eat; or type the ration."
            return {}
        host = host_row(form.text("species_1"), reference())
        group = host.host_group if host is not None else "fish"
        row = form.read("temperature", lambda: ration_for(group, temperature, reference()))
        if row is None:
            return {}
    low, high = (ration, ration) if ration is not None else (_low(row), _high(row))
    if high <= 0:
        return {"found": found, "nothing": True, "row": row, "rows": _rows(form), "formulas": _formulas()}
    shown = _shown(form, case, found, row, low, high, eating / 100)
    return {} if form.wrong else shown


def _low(row: Ration | None) -> float:
    return row.percent_low if row is not None else 0.0


def _high(row: Ration | None) -> float:
    return row.percent_high if row is not None else 0.0


def _fish(form: Form) -> list[FishCounted]:
    counted = []
    for n in ROWS:
        name, number = form.text(f"species_{n}"), form.text(f"count_{n}")
        length = form.quantity(f"length_{n}", "length")
        if not (name and (number or form.text(f"length_{n}"))):
            if number or form.text(f"length_{n}"):
                form.wrong.setdefault(f"species_{n}", "Say which species these fish are.")
            continue
        host = host_row(name, reference())
        if host is None:
            form.wrong.setdefault(f"species_{n}", "The reference does not know this species; weigh the fish instead.")
            continue
        count = form.whole(f"count_{n}", "How many", 1, MOST_FISH)
        if count is None:
            form.wrong.setdefault(f"count_{n}", "Say how many fish there are.")
        if length is None:
            form.wrong.setdefault(
                f"length_{n}", f"Their length with its unit goes here, such as 6 cm ({host.length_type})."
            )
        if count is not None and length is not None:
            try:
                biomass((one := FishCounted(host.scientific_name, count, length),), reference())
                counted.append(one)
            except InputError as error:
                fields = {"length": f"length_{n}", "count": f"count_{n}"}
                form.refuse(error, fields.get(error.field or "", f"species_{n}"))
    return counted


def _shown(
    form: Form, case: Case | None, found: Biomass, row: Ration | None, low: float, high: float, share: float
) -> dict[str, Any]:
    """Feed of a day for those that eat, and the substances that go into feed, each with what carries over."""
    eaters = found.grams * share
    middle = (low + high) / 2
    tables = reference()
    carried = {"biomass": f"{found.grams:.6g} g", "ration": f"{middle:.3g}", "eating": f"{100 * share:g}"}
    agents = [
        (agent_name(id), SUPPLY.get(one.supply, ""), address("dose", case, agent=id, **carried))
        for id, one in tables.doses.items()
        if one.route == "feed" and has_sum(one)
    ]
    return {
        "found": found, "grams": write_mass(found.grams), "row": row, "missed": round(100 * (1 - share)),
        "feed": _span(eaters * low / 100, eaters * high / 100), "ration": f"{low:g} to {high:g} %" if low != high else
        f"{low:g} %", "middle": middle, "agents": sorted(agents, key=lambda one: (bool(one[1]), one[0])),
        "converted": _converted(form, middle), "rows": _rows(form), "formulas": _formulas(),
    }  # fmt: skip


def _span(low: float, high: float) -> str:
    if low == high:
        return write_mass(high)
    of, unit = (1000.0, "kg") if high >= 1000 else (1.0, "g") if high >= 1 else (0.001, "mg")
    return f"{write_number(low / of)} to {write_number(high / of)} {unit}"


def _converted(form: Form, ration: float) -> str:
    """mg to the kg of fish a day as g to the kg of feed, or the other way round."""
    per_fish = form.number("per_fish", "mg to the kg of fish a day", 0.001, 1e6)
    per_feed = form.number("per_feed", "g to the kg of feed", 0.0001, 1000)
    if per_fish is not None and per_feed is not None:
        form.wrong["per_feed"] = "One of the two goes here; the other follows."
    elif per_fish is not None:
        in_feed = write_number(feed_g_per_kg(per_fish, ration))
        return f"{write_number(per_fish)} mg to the kg of fish a day is {in_feed} g to the kg of feed"
    elif per_feed is not None:
        oral = write_number(oral_mg_per_kg_day(per_feed, ration))
        return f"{write_number(per_feed)} g to the kg of feed is {oral} mg to the kg of fish a day"
    return ""


def _rows(form: Form) -> list[str]:
    """The rows behind weight and ration."""
    hosts = [host_row(form.text(f"species_{n}"), reference()) for n in ROWS]
    named = [f"hosts {one.scientific_name}" for one in hosts if one is not None]
    return [*dict.fromkeys(named), *([] if form.text("ration") else ["rations"])]


def _formulas() -> list[str]:
    return [
        "Weight of a fish W = a L^b, a and b of hosts.csv, for the length it takes (total or standard).",
        "Feed = weight of the fish that eat × ration ÷ 100.",
        "mg to the kg of fish a day = g to the kg of feed × 1000 × ration ÷ 100.",
    ]
