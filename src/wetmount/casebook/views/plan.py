"""The plan of a look: options compared, what is chosen and why, its steps, and what is in hand of an agent."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from wetmount import case as core
from wetmount.casebook import clock
from wetmount.casebook.access import case_or_404
from wetmount.casebook.models import Case, Look, PlanStep
from wetmount.casebook.services import planning
from wetmount.casebook.services.cases import set_step
from wetmount.casebook.services.preferences import practice_reference, preferences
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.services.weighing import CannotWeigh, ready, weighed
from wetmount.casebook.shell import case_context
from wetmount.casebook.views import entry_forms as forms
from wetmount.casebook.views.dose_forms import diseases
from wetmount.casebook.views.entry_places import chosen_look
from wetmount.casebook.views.plan_telling import GIVEN_ROWS, PlanPage
from wetmount.errors import InputError
from wetmount.plan.amounts import checks_of

MOST_IDS: Final = 80


@require_GET
def page(request: HttpRequest, number: int) -> HttpResponse:
    """The plan: what was chosen, the water and fish it is for, and every option compared."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    set_step(case, "plan")
    context = case_context(request, case, "plan", look) | {"looks": list(case.looks.all())}
    try:
        context["page"] = page_of(case, look)
    except CannotWeigh as error:
        return render(request, "casebook/weigh/cannot.html", context | {"problems": error.problems})
    except InputError as error:
        return render(request, "casebook/weigh/cannot.html", context | {"problems": (str(error),)})
    template = "casebook/plan/plan.html" if context["page"] is not None else "casebook/plan/nothing.html"
    return render(request, template, context)


def page_of(case: Case, look: Look) -> PlanPage | None:
    """The plan of a look; None when nothing was looked at."""
    asked = ready(case, look, practice_reference(preferences()))
    if asked.nothing_entered:
        return None
    return PlanPage(case, look, asked, weighed(look, asked, "next").weighup)


def _back(case: Case, look: Look, anchor: str = "") -> HttpResponse:
    return redirect(f"{reverse('plan', args=[case.number])}?look={look.pk}{f'#{anchor}' if anchor else ''}")


@require_POST
def water(request: HttpRequest, number: int) -> HttpResponse:
    """Volume, water, other fish and what lives there."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    living = {thing: request.POST.get(f"living_{thing}", "") for thing in core.LIVING}
    if request.POST.get("living_rest") == "no":
        page = page_of(case, look)
        unsaid = page.tank.facts.life.unsaid if page is not None else set(core.LIVING)
        living |= {thing: "no" for thing in unsaid if not living[thing]}
    planning.set_facts(
        request.device,
        look,
        volume=forms.text(request, "volume", 60),
        water=forms.text(request, "water", 5),
        others=forms.text(request, "others", 2000).replace("\n", ";").split(";"),
        living={thing: answer for thing, answer in living.items() if answer},
        given=_given(request),
        lawful_here={"yes": True, "no": False}.get(request.POST.get("lawful", "")),
        seen=forms.version(request),
    )
    return _back(case, look, "water")


def _given(request: HttpRequest) -> list[core.PlanGiven] | None:
    """What was given before: the filled rows, nothing, or not said."""
    found = []
    for n in range(1, GIVEN_ROWS + 1):
        agent = forms.text(request, f"given_{n}", 60)
        on = forms.day(request, f"given_on_{n}", "Given on")
        changed = forms.decimal(request, f"given_changed_{n}", "Water changed since, in percent", most=100)
        if not agent:
            continue
        if on is None:
            raise Refused("Given on: say on which day it was given last.")
        found.append(core.PlanGiven(option=agent, date=on, changed_percent=changed or 0.0))
    return found or ([] if request.POST.get("nothing_given") == "yes" else None)


@require_POST
def choose(request: HttpRequest, number: int) -> HttpResponse:
    """Record which options are taken, by whom and why."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    shown = page_of(case, look)
    if shown is None:
        raise Refused("Nothing was looked at in this look yet, so there is nothing to plan from.")
    ids = request.POST.getlist("option")
    if len(ids) > MOST_IDS:
        raise Refused(f"At most {MOST_IDS} options go into a plan.")
    planning.choose_options(
        request.device,
        look,
        shown.plan,
        ids,
        shown.reference,
        by=forms.text(request, "by", 200),
        why=forms.text(request, "why", 2000),
        first=forms.day(request, "first", "First day") or clock.today(),
        volume=shown.volume_text,
        others=shown.others_in_water,
        seen=forms.version(request),
    )
    return _back(case, look, "chosen")


@require_POST
def add_step(request: HttpRequest, number: int) -> HttpResponse:
    """A step in own words."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    text, days, urgency = _step_form(request)
    step = planning.add_step(request.device, look, text, days, urgency)
    return _back(case, look, f"step-{step.pk}")


@require_POST
def step(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Other words or days for a step, or another place for it."""
    case, row = _step_or_404(number, pk)
    move = request.POST.get("move", "")
    if move in ("up", "down"):
        planning.move_step(request.device, row, -1 if move == "up" else 1)
    else:
        text, days, urgency = _step_form(request)
        planning.change_step(request.device, row, text, days, urgency, seen=forms.version(request))
    return _back(case, row.plan.look, f"step-{row.pk}")


@require_POST
def remove_step(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Take a step out."""
    case, row = _step_or_404(number, pk)
    look = row.plan.look
    planning.remove_step(request.device, row)
    return _back(case, look, "chosen")


def _step_or_404(number: int, pk: int) -> tuple[Case, PlanStep]:
    case = case_or_404(number)
    row = PlanStep.objects.select_related("plan__look__case").filter(pk=pk, plan__look__case=case).first()
    if row is None:
        raise Http404
    return case, row


def _step_form(request: HttpRequest) -> tuple[str, list[dt.date], str]:
    days = []
    for part in forms.text(request, "days", 2000).replace(",", " ").replace(";", " ").split():
        try:
            days.append(dt.date.fromisoformat(part))
        except ValueError:
            raise Refused(f"A day is written as {clock.today().isoformat()}, not {part[:40]!r}.") from None
    return forms.text(request, "text"), days, request.POST.get("urgency", "now")


@require_http_methods(["GET", "POST"])
def agent(request: HttpRequest, number: int, treatment: str) -> HttpResponse:
    """What is in hand of an agent, and the dose it is given at: the form, and keeping it."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    tables = practice_reference(preferences())
    row = tables.doses.get(treatment)
    if row is None:
        raise Http404
    if request.method == "POST":
        kept = planning.kept_facts(look).agents.get(treatment, core.PlanAgent())
        planning.set_agent(request.device, look, treatment, _agent_form(request, kept))
        return _back(case, look, "chosen" if "chosen" in request.POST else f"option-{treatment}")
    context: dict[str, Any] = case_context(request, case, "plan", look)
    context |= {
        "row": row,
        "treatment": tables.treatments[treatment],
        "agent": planning.kept_facts(look).agents.get(treatment, core.PlanAgent()),
        "checks": checks_of(treatment, tables),
        "diseases": diseases(row, tables),
        "fed": row.route in ("feed", "injection"),
    }
    return render(request, "casebook/plan/agent.html", context)


def _agent_form(request: HttpRequest, kept: core.PlanAgent) -> core.PlanAgent:
    def number(name: str, what: str, most: float) -> float | None:
        return forms.decimal(request, name, what, most=most) or None

    return core.PlanAgent(
        dose=forms.text(request, "dose", 60) or None,
        prescriber=forms.text(request, "prescriber", 200) or None,
        against=forms.text(request, "against", 60) or None,
        strength=forms.text(request, "strength", 60) or None,
        step=number("step", "The step of scale or syringe", 10_000),
        volume=forms.text(request, "volume", 60) or None,
        checked=tuple(one[:60] for one in request.POST.getlist("checked")[:20]),
        biomass=forms.text(request, "biomass", 60) or None,
        ration_percent=number("ration", "Feed a day", 100),
        eating_percent=number("eating", "The share that eats", 100),
        days=() if "no_days" in request.POST else kept.days,
    )


@require_POST
def days(request: HttpRequest, number: int) -> HttpResponse:
    """The days that a forecast found for an agent, into the plan."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    sent = request.POST.getlist("day")
    if not 1 <= len(sent) <= planning.MOST_DAYS or not all(one.isascii() and one.isdecimal() for one in sent):
        raise Refused("Say which days, 0 the first.")
    planning.set_days(request.device, look, request.POST.get("agent", ""), [int(one) for one in sent])
    return _back(case, look, "chosen")


@require_POST
def today(request: HttpRequest, number: int) -> HttpResponse:
    """The chosen steps as tasks on Today."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    shown = page_of(case, look)
    if shown is None:
        raise Refused("Nothing was looked at in this look yet, so there is nothing to plan from.")
    planning.to_today(request.device, look, shown.sheet)
    return _back(case, look, "chosen")
