"""Rows and sources: what a figure of the weigh-up rests on."""

from __future__ import annotations

from dataclasses import replace

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from wetmount.casebook.access import case_or_404
from wetmount.casebook.services.preferences import Preferences, practice_reference, preferences
from wetmount.casebook.services.weighing import CannotWeigh, ready, weighed
from wetmount.casebook.shell import case_context
from wetmount.casebook.views.entry_places import chosen_look
from wetmount.casebook.views.weigh_figures import Group, groups_of_cause, groups_of_examinations, groups_of_memory
from wetmount.reference.rows import Source

SPECIAL = {
    "firmness": ("reasons", "How firm: the rows that are redrawn"),
    "next": ("next", "What to look at next: prices and expectations"),
}
"""What is asked about beside a cause: the stage it needs, and its title."""


@require_GET
def rows(request: HttpRequest, number: int, about: str) -> HttpResponse:
    """The rows behind one cause, behind the firmness, or behind what is proposed to look at next."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    chosen = preferences()
    tables = practice_reference(chosen)
    if about not in SPECIAL and about not in tables.conditions:
        raise Http404
    try:
        asked = ready(case, look, tables)
    except CannotWeigh:
        return redirect(f"{reverse('weigh_up', args=[number])}?look={look.pk}")
    stage, title = SPECIAL.get(about, ("ranking", ""))
    weighup = weighed(look, asked, stage).weighup
    if about == "firmness":
        groups = groups_of_memory(weighup, tables)
    elif about == "next":
        groups = groups_of_examinations(weighup, tables)
    else:
        groups = groups_of_cause(about, weighup, tables)
        title = tables.conditions[about].name
    groups = tuple(_in_own_units(group, chosen) for group in groups)
    keys = dict.fromkeys(key for group in groups for figure in group.figures for key in figure.sources)
    cited = {key: place for place, key in enumerate(keys, start=1)}
    context = case_context(request, case, "weigh-up", look)
    context |= {
        "title": title,
        "about": about,
        "is_cause": about not in SPECIAL,
        "result": weighup.condition(about) if about not in SPECIAL else None,
        "groups": [(group, [(one, [cited[key] for key in one.sources]) for one in group.figures]) for group in groups],
        "sources": [(place, _source(tables.sources.get(key), key)) for key, place in cited.items()],
        "version": weighup.reference_version,
    }
    return render(request, "casebook/weigh/rows.html", context)


def _source(source: Source | None, key: str) -> Source:
    return source or Source(key, "memory", "own knowledge, no source seen")


def _in_own_units(group: Group, chosen: Preferences) -> Group:
    figures = tuple(replace(one, says=chosen.beside(one.says)) for one in group.figures)
    return Group(chosen.beside(group.title), figures, tuple(chosen.beside(line) for line in group.trace))
