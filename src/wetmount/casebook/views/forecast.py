"""The forecast: when to look again, the fan of the burden, what treating changes, and which days to treat on."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from wetmount.casebook import clock, working
from wetmount.casebook.access import case_or_404
from wetmount.casebook.models import Case, Numbers
from wetmount.casebook.reference import reference
from wetmount.casebook.services import keeping
from wetmount.casebook.services.preferences import preferences
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.views import count_forms, forecast_chart
from wetmount.casebook.views.count import frame
from wetmount.casebook.views.count_figures import two
from wetmount.casebook.views.pages import back
from wetmount.casebook.views.today import last_said
from wetmount.errors import InputError
from wetmount.forecast import MODELS, Forecast, LaterCount, Situation, Treatment, forecast, plan_treatments
from wetmount.forecast.project import MORE_WATER
from wetmount.forecast.situation import treatments_for
from wetmount.units import parse_quantity

COURSES: Final = 4_000
"""Courses drawn for a page, told on it: chances are good to within 2 points (1.96 sqrt(0.25 / 4000)). The command's
10,000 take longer than one waits for a page (docs/performance.md)."""
MOST_DOSES: Final = 12
WAIT_SECONDS: Final = 0.5
"""How long a part waits for the days before it shows how far they are."""
FIELDS: Final = (
    "burden", "low", "high", "fish", "volume", "temperature", "start", "change", "every", "uv", "filter", "harmful",
    "treat", "on", "later_day", "later_count", "later_fish",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be forecast."""

    model: str
    situation: Situation
    treatment: Treatment | None
    later: tuple[LaterCount, ...]


@require_GET
def page(request: HttpRequest, number: int | None = None) -> HttpResponse:
    """The form, and below it the forecast once a burden is given. The address holds all of it."""
    case = case_or_404(number) if number is not None else None
    given = request.GET
    typed = {name: count_forms.typed(given, name) for name in FIELDS}
    if case is not None:
        typed |= {name: value for name, value in _of_case(case).items() if name not in given}
    typed["start"] = typed["start"] or clock.today().isoformat()
    model = MODELS.get(given.get("parasite", "") or _suits(case))
    model = model or next(iter(MODELS.values()))
    wrong, found, asked = "", None, None
    if typed["burden"] and "asking" not in given:
        try:
            asked = asked_of(given)
            found = _forecast(asked, reference().version)
        except InputError as error:
            wrong = count_forms.sentence(error)
    chosen = preferences()
    context: dict[str, Any] = {
        "typed": typed, "models": MODELS.values(), "model": model, "wrong": wrong, "found": found, "asked": asked,
        "treatments": [(id, _words(id)) for id in treatments_for(model.condition, reference())],
        "units": {"volume": chosen.unit("volume"), "temperature": chosen.unit("temperature")},
        "last_said": last_said(request.device),
        "schedules": reverse("forecast_schedule_case", args=[case.number]) if case else reverse("forecast_schedule"),
        "timing": reverse("forecast_timing_case", args=[case.number]) if case else reverse("forecast_timing"),
        "more_open": any(typed[name] for name in ("change", "uv", "filter", "harmful", "later_day")),
    }  # fmt: skip
    if found is not None and asked is not None:
        context |= _told(found, asked)
    context = frame(request, case, None) | context
    if case is None:
        context["last"] = context["last_said"]
    return render(request, "casebook/count/forecast.html", context, status=422 if wrong else 200)


def _told(found: Forecast, asked: Asked) -> dict[str, Any]:
    start = asked.situation.start or clock.today()
    doses = asked.treatment.days if asked.treatment is not None else ()
    charts = [
        {
            "outlook": one,
            "fans": forecast_chart.fans(found, start, n, doses if one.id == "treatment" else ()),
            "told": forecast_chart.told(found, n),
        }
        for n, one in enumerate(found.outlooks)
        if one.id in ("nothing", "treatment")
    ]
    days = [day for day in (7, 14, 28) if day <= found.days]
    return {
        "charts": charts,
        "days": days,
        "rows": [(one, [one.harmful_by[day] for day in days], one.gone_by[max(one.gone_by)]) for one in found.outlooks],
        "hangs": found.hangs_on[:4],
        "within": f"{196 * math.sqrt(0.25 / (found.effective or found.trajectories)):.0f} points",
        "harmful": two(found.harmful_burden),
        "look_on": found.look_again.date or start + dt.timedelta(days=found.look_again.in_days),
        "water": f"{MORE_WATER[0]:.0%} every {MORE_WATER[1]:g} days",
    }


# --- what was asked ---------------------------------------------------------------------------------------------------


def asked_of(given: QueryDict) -> Asked:
    """The form as the core wants it. Raises InputError in a sentence."""
    id = count_forms.typed(given, "parasite")
    if id not in MODELS:
        raise InputError(f"there is no forecast for {id[:40]!r}; choose a parasite of the list", field="parasite")
    read = count_forms.number
    burden = float(_needed(read(given, "burden", "Parasites a fish", least=0, most=1e6), "The burden"))
    low = read(given, "low", "The lower limit", least=0, most=1e6, otherwise=burden / 3)
    high = read(given, "high", "The upper limit", least=0, most=1e6, otherwise=burden * 3 if burden else 3.0)
    fish = count_forms.whole(given, "fish", "Fish in the tank", least=1, most=1_000_000)
    share = read(given, "change", "Water changed, in percent", least=0, most=95, otherwise=0.0)
    situation = Situation(
        fish=int(_needed(fish, "The number of fish in the tank")),
        volume_l=_quantities(given, "volume", "The water in the tank")[0],
        burden=burden,
        burden_low=low or 0.0,
        burden_high=high or 0.0,
        temperatures_c=_quantities(given, "temperature", "The temperature"),
        start=count_forms.day(given, "start", "The day of the count", clock.today()),
        water_change_share=(share or 0.0) / 100,
        water_change_every_days=read(given, "every", "Days between water changes", least=1, most=90, otherwise=7) or 7,
        uv_turnovers_per_day=read(given, "uv", "Tank volumes through the lamp", least=0, most=500, otherwise=0) or 0,
        filter_turnovers_per_day=read(given, "filter", "Tank volumes through floss", least=0, most=500, otherwise=0)
        or 0,
        harmful=read(given, "harmful", "The burden held harmful", least=0.01, most=1e6),
    )
    return Asked(id, situation, _treatment(given), _later(given))


def _needed(value: float | int | None, what: str) -> float | int:
    if value is None:
        raise InputError(f"{what} is missing; without it nothing can be worked out")
    return value


def _quantities(given: QueryDict, kind: str, what: str) -> tuple[float, ...]:
    """Numbers in the practice's unit, or each with its own; for temperatures one a day."""
    text = count_forms.typed(given, kind)
    if not text:
        raise InputError(f"{what} is missing; without it nothing can be worked out", field=kind)
    unit, values = preferences().unit(kind), []
    for part in text.split(";") if ";" in text else text.split(","):
        bare = part.strip().replace(".", "", 1).lstrip("+-").isdecimal()
        values.append(parse_quantity(f"{part.strip()} {unit}" if bare else part.strip(), kind, field=kind).value)
    if kind == "volume" and len(values) > 1:
        raise InputError("one volume goes here, with a point before decimals", field=kind)
    return tuple(values)


def _treatment(given: QueryDict) -> Treatment | None:
    id = count_forms.typed(given, "treat")
    if not id:
        return None
    days = count_forms.counts(given, "on", "Days of treatment") or [0]
    if len(days) > MOST_DOSES:
        raise InputError(f"{len(days)} days of treatment; at most {MOST_DOSES} go here", field="on")
    return Treatment(id, tuple(sorted(set(days))))


def _later(given: QueryDict) -> tuple[LaterCount, ...]:
    day = count_forms.whole(given, "later_day", "Days after the first count", least=1, most=28)
    if day is None:
        return ()
    parasites = count_forms.whole(given, "later_count", "Parasites in all", least=0, most=10_000_000)
    fish = count_forms.whole(given, "later_fish", "Fish counted then", least=1, most=1_000_000)
    return (
        LaterCount(
            day,
            int(_needed(parasites, "What the later count found")),
            int(_needed(fish, "The number of fish counted later")),
        ),
    )


@lru_cache(maxsize=32)
def _forecast(asked: Asked, version: str) -> Forecast:
    """`version` is that of the reference, which an overlay may change."""
    del version
    return forecast(
        asked.model, asked.situation, reference(), treatment=asked.treatment, later_counts=asked.later,
        trajectories=COURSES,
    )  # fmt: skip


# --- from the case ----------------------------------------------------------------------------------------------------


def _suits(case: Case | None) -> str:
    """The parasite that leads in the case, when it has a forecast."""
    return next((id for id, one in MODELS.items() if case is not None and one.condition == case.leading), "")


def _of_case(case: Case) -> dict[str, str]:
    """What the case says already: tank, fish, temperature."""
    values = {}
    look = case.looks.order_by("-on", "-id").first()
    numbers = Numbers.objects.filter(look__case=case).order_by("-look__on", "-pk").first()
    if numbers is not None and numbers.total:
        alive = numbers.total - (numbers.dead or 0)
        values["fish"] = str(max(alive, 1))
    if case.tank is not None and case.tank.volume_l:
        values["volume"] = f"{case.tank.volume_l:g} L"
    reading = look.readings.filter(parameter="temperature").last() if look is not None else None
    if reading is not None:
        values["temperature"] = reading.value
    return values


# --- which days to treat on -------------------------------------------------------------------------------------------


@require_GET
def timing(request: HttpRequest, number: int | None = None) -> HttpResponse:
    """The schedule that leaves fewest, the next best, the cost of being late.

    Some seconds of work: a part shows how far it is and asks again; a page of its own waits.
    """
    case = case_or_404(number) if number is not None else None
    plan, wrong, asked = None, "", None
    try:
        asked = asked_of(request.GET)
        if asked.treatment is None:
            raise InputError("choose a treatment; then its days can be worked out", field="treatment")
        done = _worked(asked, asked.treatment.treatment)
        ended = done.ended(WAIT_SECONDS if request.htmx else None)
        if not ended:
            return _working(request, number, done)
        if done.wrong is not None:
            raise done.wrong
        plan = done.answer
    except InputError as error:
        wrong = count_forms.sentence(error)
    if asked is not None and plan is None and not wrong:
        return _given_up(request, number)
    start = asked.situation.start if asked is not None and asked.situation.start else clock.today()
    context: dict[str, Any] = {"plan": plan, "wrong": wrong, "request_query": request.GET.urlencode()}
    if plan is not None:
        given = request.GET.copy()
        given["on"] = ", ".join(map(str, plan.advised.days))
        context |= {
            "name": _words(plan.treatment),
            "advised_on": _dates(start, plan.advised.days),
            "rows": [
                (best, _dates(start, best.days), other, best.days == plan.advised.days)
                for best, other in zip(plan.best, [None, *plan.next_best], strict=False)
            ],
            "with_these": given.urlencode(),
            "schedules": reverse("forecast_schedule_case", args=[case.number])
            if case
            else reverse("forecast_schedule"),
            "page_of": reverse("forecast_case", args=[case.number]) if case else reverse("forecast"),
            "into_plan": case is not None and plan.treatment in reference().doses,
        }
    context = frame(request, case, None) | context
    if case is None:
        context["last"] = last_said(request.device)
    template = "casebook/count/timing_part.html" if request.htmx else "casebook/count/timing.html"
    # A part is put in whatever it says; htmx shows 422 as well, but a refusal here is an answer, not a failed form.
    answer = render(request, template, context, status=422 if wrong and not request.htmx else 200)
    if request.htmx:
        answer["HX-Retarget"], answer["HX-Reswap"] = "#timing", "outerHTML"
    return answer


@require_POST
def stop_timing(request: HttpRequest, number: int | None = None) -> HttpResponse:
    """Give the search of treatment days up."""
    if number is not None:
        case_or_404(number)
    asked = asked_of(request.GET)
    if asked.treatment is not None:
        working.stop(_key(asked, asked.treatment.treatment))
    return _given_up(request, number)


def _key(asked: Asked, treatment: str) -> tuple[str, str, Situation, str]:
    return asked.model, treatment, asked.situation, reference().version


def _worked(asked: Asked, treatment: str) -> working.Work:
    tables = reference()
    return working.work(
        _key(asked, treatment),
        lambda told: plan_treatments(asked.model, treatment, asked.situation, tables, progress=told),
    )


def _working(request: HttpRequest, number: int | None, done: working.Work) -> HttpResponse:
    """How far it is: the whole part at first, later the share alone, so that the button to stop keeps the focus."""
    again = request.htmx.target == "timing-share"
    template = "casebook/count/timing_share.html" if again else "casebook/count/timing_working.html"
    return render(request, template, _ways(request, number) | {"share": round(100 * done.share)})


def _given_up(request: HttpRequest, number: int | None) -> HttpResponse:
    template = "casebook/count/timing_stopped.html"
    answer = render(request, template, _ways(request, number))
    answer["HX-Retarget"], answer["HX-Reswap"] = "#timing", "outerHTML"
    return answer


def _ways(request: HttpRequest, number: int | None) -> dict[str, str]:
    of = [] if number is None else [number]
    end = "" if number is None else "_case"
    return {
        "asked": request.GET.urlencode(),
        "timing": reverse(f"forecast_timing{end}", args=of),
        "stop": reverse(f"forecast_timing_stop{end}", args=of),
    }


def _dates(start: dt.date, days: Sequence[int]) -> list[dt.date]:
    return [start + dt.timedelta(days=day) for day in days]


_SPELT: Final = {"kmno4": "potassium permanganate", "h2o2": "hydrogen peroxide"}


def _words(id: str) -> str:
    """A treatment of the table in words."""
    words = " ".join(_SPELT.get(part, part) for part in id.split("_"))
    return words[:1].upper() + words[1:]


# --- onto Today -------------------------------------------------------------------------------------------------------


@require_POST
def schedule(request: HttpRequest, number: int | None = None) -> HttpResponse:
    """The next look, or the days of a treatment, as tasks on Today."""
    case = case_or_404(number) if number is not None else None
    kind = request.POST.get("kind", "")
    if kind not in ("look_again", "dose"):
        raise Refused("Either the next look or the days of a treatment are set for a day.")
    title, detail = request.POST.get("title", "").strip()[:300], request.POST.get("detail", "").strip()[:2000]
    days = request.POST.getlist("on")
    if not 1 <= len(days) <= MOST_DOSES:
        raise Refused(f"Say which day; at most {MOST_DOSES}.")
    try:
        dates = [dt.date.fromisoformat(day) for day in days]
    except ValueError:
        raise Refused(f"A date is written as {clock.today().isoformat()}.") from None
    for n, on in enumerate(dates, 1):
        words = f"{title} ({n} of {len(dates)})" if len(dates) > 1 else title
        keeping.add_task(request.device, kind, words, on, case=case, detail=detail)
    return back(request)
