"""Water changes: to a target, within what fish bear in a day, what mixing does, and what no schedule does."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET, require_POST

from wetmount.casebook import clock
from wetmount.casebook.services import keeping
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.views import count_forms
from wetmount.casebook.views.dose_forms import Form, address, case_of, framed, of_case, places, volume_asked
from wetmount.casebook.views.pages import back
from wetmount.changes import (
    ChangePlan,
    WaterProperties,
    changes_needed,
    check_fraction,
    largest_change,
    plan_changes,
    settled_load,
    transmission_left,
)
from wetmount.dose_writing import write_mass, write_number, write_quantity
from wetmount.errors import InputError
from wetmount.mixing import US_PER_CM_PER_G_PER_KG, Conditioning, Mixed, Water, conditioning, mix
from wetmount.units import CACO3_MG_PER_L_PER_DEGREE
from wetmount.water import un_ionised_ammonia_mg_n_per_l

SUBSTANCES: Final = {
    "nitrate": ("Nitrate", "nitrate", "mg/L NO3", "80 mg/L NO3"),
    "organics": ("Organics, colour or smell", "", "% of now", "100"),
    "salt": ("Salt", "salinity", "g/L", "3 g/L"),
    "other": ("An agent or another substance", "concentration", "mg/L", "25 mg/L"),
}  # fmt: skip
"""What is brought to a target: words, kind of quantity (none: relative to what is there), unit, a sample."""
SIDES: Final = ("tank", "new")
PROPERTIES: Final = (
    ("temperature", "Temperature", "25 °C"), ("ph", "pH", "7.4"), ("kh", "Alkalinity, KH", "6 dKH"),
    ("gh", "Hardness, GH", "12 dGH"),
    ("conductivity", "Conductivity", "350 uS/cm"), ("salinity", "Salt, in brackish or sea water", "35 ppt"),
    ("ammonia", "Total ammonia", "0.5 mg/L N"),
)  # fmt: skip
LIMIT_WORDS: Final = {
    "temperature_c": "temperature (2 °C a day, 1 °C colder)", "ph": "pH (0.3 a day)",
    "alkalinity_mg_caco3_per_l": "alkalinity (20 mg/L CaCO3 a day)",
    "hardness_mg_caco3_per_l": "hardness (20 mg/L CaCO3 a day)", "conductivity_us_per_cm": "conductivity (a fifth)",
}  # fmt: skip
EXAMPLE: Final = (0.5, 24.0, 24.0, 3.0)
"""Half the water every day against a swimmer that lives a day and finds a host in three hours."""
MOST_TASKS: Final = 60


@require_GET
def page(request: HttpRequest) -> HttpResponse:
    """The form; the dates, the mixture, the conditioner; and an honest sentence."""
    case = case_of(request)
    form = Form(request.GET, _first(of_case(case)))
    today = clock.today()
    what = form.text("what") if form.text("what") in SUBSTANCES else "nitrate"
    context: dict[str, Any] = {
        "form": form, "what": what, "substance": SUBSTANCES[what], "places": places(case),
        "substances": [(id, row[0]) for id, row in SUBSTANCES.items()], "today": today.isoformat(),
        "sides": [(side, [(f"{side}_{id}", words, sample) for id, words, sample in PROPERTIES]) for side in SIDES],
        "tasks_href": address("dose_tasks", case), "honest": _honest(*EXAMPLE), "example": True,
    }  # fmt: skip
    if "go" in request.GET:
        context |= _worked_out(form, what, today)
    context = framed(request, case, "dose_changes") | context
    return render(request, "casebook/dose/changes.html", context, status=422 if form.wrong else 200)


def _first(known: dict[str, str]) -> dict[str, str]:
    """Readings of the case stand for the tank's water."""
    for id, _, _ in PROPERTIES:
        if id in known:
            known[f"tank_{id}"] = known[id]
    if "nitrate" in known:
        known["now"] = known["nitrate"]
    return known


def _worked_out(form: Form, what: str, today: dt.date) -> dict[str, Any]:
    volume = volume_asked(form)
    tank, new = (_properties(form, side) for side in SIDES)
    percent = form.number("fraction", "Water changed at once, in percent", 0, 100)
    context: dict[str, Any] = {}
    fraction = percent / 100 if percent is not None else None
    if fraction is not None:
        form.read("fraction", lambda: check_fraction(fraction, field="fraction"))
    if form.wrong:
        return {}
    mixed, bears = None, None
    if tank is not None and new is not None:
        at = fraction if fraction is not None else 0.5
        mixed = _mixed(form, at)
        half = _mixed(form, 0.5) if mixed is not None else None
        bears = largest_change(tank, new, ph_after=half.water.ph if half is not None else None)
    if form.wrong:
        return {}
    chosen = fraction if fraction is not None else bears.fraction if bears is not None else 0.25
    context |= {
        "fraction": chosen, "was_chosen": fraction is None, "volume": volume, "bears": bears,
        "too_much": bears is not None and chosen > bears.fraction * (1 + 1e-9),
        "set_by": LIMIT_WORDS.get(bears.set_by, bears.set_by) if bears is not None else "",
        "not_judged": [LIMIT_WORDS[one] for one in bears.unknown] if bears is not None else [],
    }  # fmt: skip
    if mixed is not None:
        context |= _mixture(form, mixed)
    context |= _to_target(form, what, chosen, volume.high_l if volume is not None else None, today)
    context |= _conditioner(form, chosen, volume.high_l if volume is not None else None)
    context |= _waterborne(form, chosen, volume.best_l if volume is not None else None)
    return {} if form.wrong else context | {"done": True}


# --- the dates --------------------------------------------------------------------------------------------------------


def _value(form: Form, name: str, what: str) -> float | None:
    words, kind, _, _ = SUBSTANCES[what]
    if kind:
        return form.quantity(name, kind)
    return form.number(name, f"{words}, in percent of what is there now", 0, 1e6)


def _to_target(form: Form, what: str, fraction: float, litres: float | None, today: dt.date) -> dict[str, Any]:
    now, target = _value(form, "now", what), _value(form, "target", what)
    if what == "organics" and now is None and target is not None:
        now = 100.0
    if now is None and target is None:
        return {}
    if now is None or target is None:
        name = "now" if now is None else "target"
        form.wrong.setdefault(name, "A target wants both: what is there now, and where it is to come to.")
        return {}
    new = _value(form, "new_value", what) or 0.0
    each = _value(form, "gain", what) or 0.0
    every = form.whole("every", "Days between changes", 1, 60, 1) or 1
    first = form.read("first", lambda: count_forms.day(form.given, "first", "The first day", today))
    if form.wrong or first is None:
        return {}
    unit = SUBSTANCES[what][2]
    raising = target > now
    try:
        if raising:
            need = changes_needed(now, target, new, fraction)
            return {"needed": need, "raising": True, "unit": unit, "target": target}
        plan = plan_changes(
            now, target, new, litres=litres or 1.0, fraction=fraction, first=first, today=today, every_days=every,
            input_a_day=each,
        )  # fmt: skip
    except InputError as error:
        form.refuse(error)
        return {}
    return {"plan": plan, "unit": unit, "target": target, "new": new, "knows_litres": litres is not None,
            "dates": [(one, write_quantity(one.litres, "L") if litres else "") for one in plan.changes],
            "needed": len(plan.changes), "reached_words": _quantity(plan.reached, unit),
            "task_title": f"Change {100 * fraction:.0f} % of the water" + _each(plan, litres)}  # fmt: skip


def _each(plan: ChangePlan, litres: float | None) -> str:
    return f", {write_quantity(plan.changes[0].litres, 'L')}" if litres and plan.changes else ""


def _quantity(value: float, unit: str) -> str:
    return f"{write_number(value)} {unit}"


# --- limits and mixing ------------------------------------------------------------------------------------------------


def _properties(form: Form, side: str) -> WaterProperties | None:
    """What was typed of one water; None when nothing was. Salt stands for conductivity where only it was measured: the
    limit is a share of it, so the factor between them falls out."""
    kh, gh, salt = (form.quantity(f"{side}_{id}", kind) for id, kind in (("kh", "kh"), ("gh", "gh"), ("salinity",) * 2))
    properties = WaterProperties(
        form.quantity(f"{side}_temperature", "temperature"),
        form.quantity(f"{side}_ph", "ph"),
        None if kh is None else kh * CACO3_MG_PER_L_PER_DEGREE,
        form.quantity(f"{side}_conductivity", "conductivity") or (salt * US_PER_CM_PER_G_PER_KG if salt else None),
        None if gh is None else gh * CACO3_MG_PER_L_PER_DEGREE,
    )
    return None if properties == WaterProperties() else properties


def _water(form: Form, side: str) -> Water | None:
    one = _properties(form, side)
    if one is None or one.temperature_c is None or one.ph is None or one.alkalinity_mg_caco3_per_l is None:
        return None
    ammonia = form.quantity(f"{side}_ammonia", "ammonia") or 0.0
    conductivity = form.quantity(f"{side}_conductivity", "conductivity") or 0.0
    salt = form.quantity(f"{side}_salinity", "salinity") or 0.0
    return Water(
        one.temperature_c, one.ph, one.alkalinity_mg_caco3_per_l, conductivity, ammonia, salinity_g_per_kg=salt
    )


def _mixed(form: Form, fraction: float) -> Mixed | None:
    tank, new = _water(form, "tank"), _water(form, "new")
    if tank is None or new is None:
        return None
    try:
        return mix(tank, new, fraction)
    except InputError as error:
        form.wrong.setdefault("tank_ph", count_forms.sentence(error))
        return None


def _mixture(form: Form, mixed: Mixed) -> dict[str, Any]:
    water, tank = mixed.water, _water(form, "tank")
    assert tank is not None
    before = un_ionised_ammonia_mg_n_per_l(
        tank.total_ammonia_mg_n_per_l, tank.ph, tank.temperature_c, tank.salinity_g_per_kg
    )
    tested = bool(form.text("tank_ammonia"))
    return {
        "mixed": [
            ("Temperature", f"{tank.temperature_c:.3g} °C", f"{water.temperature_c:.3g} °C"),
            ("pH at once", f"{tank.ph:.3g}", f"{water.ph:.3g}"),
            ("pH when air has settled it", "", f"{mixed.ph_in_air:.3g}"),
            ("Alkalinity", f"{tank.alkalinity_mg_caco3_per_l / CACO3_MG_PER_L_PER_DEGREE:.3g} dKH",
             f"{water.alkalinity_mg_caco3_per_l / CACO3_MG_PER_L_PER_DEGREE:.3g} dKH"),
            *([("Salt", f"{tank.salinity_g_per_kg:.3g} g/kg", f"{water.salinity_g_per_kg:.3g} g/kg")]
              if water.salinity_g_per_kg else []),
            *([("Free ammonia", f"{write_number(before, 2)} mg/L N",
                f"{write_number(mixed.free_ammonia_mg_n_per_l, 2)} mg/L N")] if tested else []),
        ],
        "ammonia_tested": tested,
        "ammonia_rises": tested and mixed.free_ammonia_mg_n_per_l > before * 1.05 + 1e-4,
        "ammonia_harms": tested and mixed.free_ammonia_mg_n_per_l > 0.02,
    }  # fmt: skip


def _conditioner(form: Form, fraction: float, litres: float | None) -> dict[str, Any]:
    total, combined = form.quantity("chlorine", "chlorine"), form.quantity("combined", "chlorine")
    rise = form.number("rise", "The rise of alkalinity, in dKH", 0, 30)
    if total is None and not rise:
        if combined is not None:
            form.wrong.setdefault("chlorine", "Say the total chlorine; the combined is a part of it.")
        return {}
    if litres is None:
        form.wrong.setdefault("volume", "Amounts want the volume: type it, or choose the tank.")
        return {}
    new = litres * fraction
    try:
        found: Conditioning = conditioning(new, total or 0.0, combined or 0.0, rise or 0.0)
    except InputError as error:
        form.refuse(error)
        return {}
    lines = []
    if total:
        lines.append(("Sodium thiosulphate pentahydrate", write_mass(found.thiosulphate_g, direction="up")))
    if rise:
        lines.append(("Sodium bicarbonate", write_mass(found.bicarbonate_g)))
    ammonia = found.ammonia_from_chloramine_mg_n_per_l
    return {"conditioner": lines, "for_litres": write_quantity(new, "L"), "rise": rise,
            "from_chloramine": f"{write_number(ammonia, 2)} mg/L N" if ammonia else ""}  # fmt: skip


# --- what changes cannot do ------------------------------------------------------------------------------------------


def _waterborne(form: Form, fraction: float, litres: float | None) -> dict[str, Any]:
    lives, finds = form.quantity("lives", "duration"), form.quantity("finds", "duration")
    every = form.quantity("load_every", "duration") or 24.0
    shed = form.number("shed", "Shed an hour, in all", 0, 1e15)
    lamp = form.number("lamp", "Tank volumes an hour through a lamp", 0, 100, 0.0) or 0.0
    if lives is None and finds is None and shed is None:
        return {}
    if not lives or not finds:
        name = "lives" if not lives else "finds"
        form.wrong.setdefault(name, "A waterborne stage wants both: how long it lives, and how soon it finds a fish.")
        return {}
    context: dict[str, Any] = {"honest": _honest(fraction, every, lives, finds, lamp), "example": False}
    if shed is not None:
        if litres is None:
            form.wrong.setdefault("volume", "A load wants the volume: type it, or choose the tank.")
            return {}
        gone = math.log(2) / lives + lamp
        settled = settled_load(shed, litres, fraction=fraction, every_h=every, removal_per_h=gone)
        without = shed / (gone * litres)
        context["load"] = (write_number(without), write_number(settled.after), write_number(settled.before))
    return context


def _honest(fraction: float, every_h: float, lives_h: float, finds_h: float, lamp: float = 0.0) -> str:
    left = transmission_left(fraction, every_h, death_per_h=1 / lives_h, finds_host_per_h=1 / finds_h, uv_per_h=lamp)
    each = "every day" if every_h == 24 else f"every {every_h:g} h"
    lamp_words = f", with a lamp of {lamp:g} tank volumes an hour," if lamp else ""
    return (
        f"{100 * fraction:.0f} % of the water changed {each}{lamp_words} leaves {100 * left:.0f} % of the transmission "
        f"of a parasite whose swimmer lives {lives_h:g} h and finds a fish within {finds_h:g} h."
    )


# --- onto Today -------------------------------------------------------------------------------------------------------


@require_POST
def tasks(request: HttpRequest) -> HttpResponse:
    """A dose, or the days of water changes, as tasks on Today."""
    case = case_of(request)
    kind = request.POST.get("kind", "")
    if kind not in ("dose", "water_change"):
        raise Refused("Either a dose or water changes are set for a day.")
    title, detail = count_forms.typed(request.POST, "title")[:300], count_forms.typed(request.POST, "detail")
    days = request.POST.getlist("on")
    if not 1 <= len(days) <= MOST_TASKS:
        raise Refused(f"Say which day; at most {MOST_TASKS}.")
    try:
        dates = [dt.date.fromisoformat(day) for day in days]
    except ValueError:
        raise Refused(f"A date is written as {clock.today().isoformat()}.") from None
    if min(dates) < clock.today():
        raise Refused(f"{min(dates).isoformat()} is in the past; begin on {clock.today().isoformat()} or later.")
    for n, on in enumerate(dates, 1):
        words = f"{title} ({n} of {len(dates)})" if len(dates) > 1 else title
        keeping.add_task(request.device, kind, words, on, case=case, detail=detail)
    return back(request)
