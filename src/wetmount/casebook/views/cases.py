"""All cases: searched, narrowed, paged; and what has been seen in them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from wetmount.casebook import clock
from wetmount.casebook.case_filter import STATES, CaseFilter
from wetmount.casebook.due import End, end_of_case
from wetmount.casebook.models import Case, FishRoom
from wetmount.casebook.reference import reference
from wetmount.casebook.seen import by_cause, by_host, by_month, columns
from wetmount.casebook.templatetags.look import percent

PAGE = 25
COUNTED_TO = 1000
"""Counting stops here: the list says "more than 1000"."""


@dataclass(frozen=True, slots=True)
class Row:
    """A case in the list, with the words on its cause."""

    case: Case
    end: End
    cause: str


@require_GET
def cases(request: HttpRequest) -> HttpResponse:
    """The list, newest first. Pages go on from the number of the last case shown."""
    chosen = CaseFilter.of(request.GET)
    found = chosen.newest()
    before = request.GET.get("before", "")
    page = found.filter(number__lt=int(before)) if before.isdecimal() and len(before) < 10 else found
    rows = list(page.select_related("tank")[: PAGE + 1])
    total = found.order_by()[: COUNTED_TO + 1].count()
    context = {
        "place": "cases",
        "chosen": chosen,
        "rows": [Row(case, end_of_case(case), _cause(case)) for case in rows[:PAGE]],
        "older": rows[PAGE - 1].number if len(rows) > PAGE else None,
        "first_page": page is found,
        "said": _said(total, chosen),
        **_choices(),
    }
    return render(request, "casebook/cases/cases.html", context)


@require_GET
def seen(request: HttpRequest) -> HttpResponse:
    """Charts of the cases that pass the filter."""
    chosen = CaseFilter.of(request.GET)
    found = chosen.cases()
    charts = (by_cause(found), by_host(found))
    months = by_month(found, clock.today())
    context = {"place": "cases", "chosen": chosen, "months": months, "drawn": columns(months), "charts": charts}
    return render(request, "casebook/cases/seen.html", context | _choices())


def _choices() -> dict[str, Any]:
    tables = reference()
    return {
        "states": STATES,
        "rooms": FishRoom.objects.all(),
        "host_groups": sorted(tables.host_groups.values(), key=lambda row: row.meaning.casefold()),
        "conditions": sorted(tables.conditions.values(), key=lambda row: row.name.casefold()),
    }


def _cause(case: Case) -> str:
    """What it was put down to, else what leads."""
    known = reference().conditions
    if case.put_down_to:
        names = [known[id].name if id in known else id for id in case.put_down_to.split(",")]
        return f"Put down to {', '.join(names)}"
    if case.leading:
        name = known[case.leading].name if case.leading in known else case.leading
        return f"{name} leads" + (f", {percent(case.leading_share)}" if case.leading_share is not None else "")
    return "Not weighed yet"


def _said(total: int, chosen: CaseFilter) -> str:
    number = f"More than {COUNTED_TO}" if total > COUNTED_TO else str(total) if total else "No"
    what = f"case{'' if total == 1 else 's'}"
    if chosen.q or chosen.narrowing:
        return f"{number} {what} found, newest first." if total else "No case is like that."
    return f"{number} {what}, newest first." if total else "No case yet. Start one on Today."
