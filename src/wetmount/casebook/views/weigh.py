"""The weigh-up of a look: the ranking at once, then how firm it is, why, and what to look at next."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from wetmount.casebook.access import case_or_404
from wetmount.casebook.services.cases import set_step
from wetmount.casebook.services.preferences import practice_reference, preferences
from wetmount.casebook.services.weighing import STAGES, CannotWeigh, ready, weighed
from wetmount.casebook.shell import case_context
from wetmount.casebook.views.entry_places import chosen_look
from wetmount.casebook.views.weigh_telling import WeighUpPage

PARTS = {"firmness": "firm_part", "reasons": "reasons_part", "next": "next_part"}
"""What a page asks for after it is there, and the template that answers."""


@require_GET
def weigh_up(request: HttpRequest, number: int) -> HttpResponse:
    """What the findings of a look add up to. `part` names a stage that is to be worked out, `whole` asks for all."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    chosen = preferences()
    part = request.GET.get("part", "")
    part = part if part in PARTS else ""
    if not part:
        set_step(case, "weigh-up")
    context = case_context(request, case, "weigh-up", look) | {"looks": list(case.looks.all())}
    try:
        asked = ready(case, look, practice_reference(chosen))
    except CannotWeigh as error:
        return render(request, "casebook/weigh/cannot.html", context | {"problems": error.problems})
    if asked.nothing_entered:
        return render(request, "casebook/weigh/nothing.html", context)
    stages = STAGES if "whole" in request.GET else (part,) if part else ()
    standing = weighed(look, asked, *stages)
    context["page"] = WeighUpPage(asked, standing, chosen)
    if part and request.htmx:
        return render(request, f"casebook/weigh/{PARTS[part]}.html", context)
    return render(request, "casebook/weigh/weigh.html", context)
