"""First aid: are fish dying now, and what to do in the next ten minutes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_POST

from wetmount.case import looks_of
from wetmount.casebook.access import case_or_404
from wetmount.casebook.models import Case, Look
from wetmount.casebook.reference import reference
from wetmount.casebook.services.entering import once, set_red_flag
from wetmount.casebook.services.records import case_record, look_index
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.views.entry_forms import by_script
from wetmount.casebook.views.entry_places import after_entry, chosen_look, tray_context
from wetmount.casebook.views.entry_rows import UNSET, first_upper
from wetmount.errors import InputError
from wetmount.evidence import gather_evidence
from wetmount.first_aid import Step, first_aid, first_aid_for_look


@dataclass(frozen=True, slots=True)
class Flag:
    """A red flag on the page: said to be so, or raised by what was entered (`by` says by what)."""

    id: str
    name: str
    is_so: bool
    by: str


def aid_context(case: Case, look: Look) -> dict[str, Any]:
    """The red flags and the steps that follow from those that are up."""
    up, steps, why_not = _aid(case, look)
    said = set(case.red_flags)
    flags = [
        Flag(row.id, first_upper(row.name), row.id in said, up.get(row.id, "") if row.id not in said else "")
        for row in reference().red_flags.values()
    ]
    return {"flags": flags, "aid": steps, "aid_why_not": why_not, "aid_flags": len(up)}


def _aid(case: Case, look: Look) -> tuple[dict[str, str], tuple[Step, ...], str]:
    tables = reference()
    named = [flag for flag in case.red_flags if flag in tables.red_flags]
    try:
        record, position = case_record(case), look_index(case, look)
        evidence = gather_evidence(record, tables, position)
        flags, steps = first_aid_for_look(record, looks_of(record)[position], evidence, tables)
        up = {one.id: one.because for one in flags}
    except InputError as error:  # a case that cannot be weighed yet has fish that can be helped
        return dict.fromkeys(named, "said so"), first_aid(named, tables), str(error)
    return up, steps, ""


@require_POST
def red_flag(request: HttpRequest, number: int) -> HttpResponse:
    """One answer of first aid: field `set` holds the flag and yes, no or nothing."""
    case = case_or_404(number)
    parts = request.POST.get("set", "").split(" ")
    if len(parts) < 2 or parts[1] not in ("yes", "no", UNSET):
        raise Refused("That key sent nothing that can be entered. Reload the page and press it again.")
    with once(request.POST.get("id", "")) as new:
        if new:
            set_red_flag(request.device, case, parts[0], parts[1] == "yes")
    if not by_script(request):
        return after_entry(request, case, f"flag-{parts[0]}")
    case = case_or_404(number)
    context = tray_context(request, case) | aid_context(case, chosen_look(request, case))
    return render(request, "casebook/entry/aid_answer.html", context)
