"""The pages of a case in the order of work. What is entered on them goes to the other `entry_*` modules."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from wetmount.casebook.access import case_or_404
from wetmount.casebook.models import Attachment, Case, CaseCause, Look
from wetmount.casebook.reference import reference
from wetmount.casebook.services.cases import set_step
from wetmount.casebook.services.looking import SURE
from wetmount.casebook.shell import case_context
from wetmount.casebook.steps import STEPS, Step, step_of
from wetmount.casebook.tracing_told import whence_of
from wetmount.casebook.views.entry_aid import aid_context
from wetmount.casebook.views.entry_history import history_context
from wetmount.casebook.views.entry_places import chosen_fish, chosen_look, latest_act, sure_about
from wetmount.casebook.views.entry_rows import fish_of, sections_of
from wetmount.casebook.views.entry_water import water_context

STEP_CONTEXT: dict[str, Callable[[Case, Look], dict[str, Any]]] = {
    "first-aid": aid_context,
    "history": history_context,
    "water": water_context,
}
"""What a step shows beside findings."""

TEMPLATES = {
    "first-aid": "first_aid",
    "history": "history",
    "water": "water",
    "laboratory": "laboratory",
    "follow-up": "follow_up",
}
"""Steps with a page of their own; all others are pages of findings."""


@require_GET
def case(request: HttpRequest, number: int) -> HttpResponse:
    """The case at a glance: what is known, its looks, its fish, its pictures; and on from where it was left."""
    row = case_or_404(number)
    looks = list(row.looks.prefetch_related("examinations__findings", "examinations__fish", "readings"))
    context = case_context(request, row, None)
    context |= {
        "left_at": _step_or_first(row.step),
        "looks": [(look, [_told(one) for one in look.examinations.all()]) for look in reversed(looks)],
        "fish_shown": fish_of(row, None),
        "notes": row.notes.select_related("look"),
        "files": Attachment.objects.filter(case=row, deleted_at=None),
        "addenda": row.addenda.all(),
        "causes": _causes(row),
        "host_group_row": reference().host_groups.get(row.host_group),
        "told_batches": row.batches.all(),
        "whence": whence_of(row),
    }
    return render(request, "casebook/entry/case.html", context)


def _told(examination: Any) -> dict[str, Any]:
    kind = reference().examinations.get(examination.kind)
    levels = [(one.level, one.swept) for one in examination.findings.all()]
    return {
        "row": examination,
        "name": kind.name if kind is not None else examination.kind,
        "seen": sum(level > 0 for level, _ in levels),
        "clear": sum(level == 0 and not swept for level, swept in levels),
        "swept": sum(swept for _, swept in levels),
        "step": next((step.id for step in STEPS if examination.kind in step.examinations), None),
    }


def _causes(case: Case) -> list[tuple[CaseCause, str]]:
    known = reference().conditions
    return [(one, known[one.condition].name if one.condition in known else one.condition) for one in case.causes.all()]


def _step_or_first(id: str) -> Step:
    try:
        return step_of(id)
    except KeyError:
        return STEPS[0]


@require_GET
def case_step(request: HttpRequest, number: int, step: str) -> HttpResponse:
    """One step of a case, in one of its looks."""
    row = case_or_404(number)
    try:
        current = step_of(step)
    except KeyError:
        raise Http404 from None
    if step in ("weigh-up", "plan", "report"):
        raise Http404  # pages of another part, or not there
    look = chosen_look(request, row)
    set_step(row, step)
    return render(request, template_of(step), step_context(request, row, current, look))


def template_of(step: str) -> str:
    """The template of a step's page."""
    return f"casebook/entry/{TEMPLATES.get(step, 'findings')}.html"


def step_context(request: HttpRequest, case: Case, step: Step, look: Look) -> dict[str, Any]:
    """Everything a step's page shows."""
    context = case_context(request, case, step.id, look)
    place = STEPS.index(step)
    context |= {
        "following": STEPS[place + 1] if place + 1 < len(STEPS) else None,
        "looks": list(case.looks.all()),
        "here": request.path + (f"?{request.GET.urlencode()}" if request.GET else ""),
        "touched": latest_act(case),
        "sure_about": sure_about(context["last"]),
        "sure_words": SURE,
        "files": [],
    }
    kinds = [one for one in step.examinations if one != "asking"]
    tables = reference().examinations
    if any(tables[one].subject == "fish" for one in kinds if one in tables):
        context["fish"] = chosen_fish(request, case)
        context["fish_shown"] = fish_of(case, context["fish"])
    if kinds:
        context["sections"] = sections_of(look, kinds, context.get("fish"))
        first = tables[kinds[0]].name if kinds[0] in tables else ""
        context["one_head"] = len(kinds) == 1 or first == step.name.lower()
    if step.id in STEP_CONTEXT:
        context |= STEP_CONTEXT[step.id](case, look)
    if step.id == "follow-up":
        context |= {
            "tasks": case.tasks.filter(done_at=None),
            "causes": _causes(case),
            "conditions": sorted(reference().conditions.values(), key=lambda one: one.name.casefold()),
            "standings": CaseCause.STANDINGS,
            "notes": case.notes.select_related("look"),
        }
    return context


@require_GET
def touched(request: HttpRequest, number: int) -> HttpResponse:
    """The key of the last act in the case, as text: asked by open pages."""
    return HttpResponse(str(latest_act(case_or_404(number))), content_type="text/plain; charset=utf-8")
