"""Where an entry belongs and where its page goes on: the look and fish of an address, the way back, the undo bar."""

from __future__ import annotations

from typing import Any

from django.db.models import F
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect

from wetmount.casebook.access import fish_or_404, look_or_404
from wetmount.casebook.models import Act, Case, FindingEntry, Fish, Look
from wetmount.casebook.services.looking import SURE
from wetmount.casebook.services.undo import last_act


def tray_context(request: HttpRequest, case: Case) -> dict[str, Any]:
    """What every answer to an entry says beside the entry: the undo bar and the last act of the case."""
    last = last_act(request.device, case)
    return {
        "case": case,
        "last": last,
        "sure_about": sure_about(last),
        "sure_words": SURE,
        "touched": latest_act(case),
        "here": request.POST.get("back", ""),
    }


def latest_act(case: Case) -> int:
    """The key of the last act in the case, by which a page learns that another device wrote."""
    return Act.objects.filter(case=case).order_by("-id").values_list("pk", flat=True).first() or 0


def sure_about(last: Act | None) -> FindingEntry | None:
    """The entry of which "How sure?" is asked: the last one, when something was seen and still stands."""
    if last is None or last.kind not in ("record_finding", "set_sure"):
        return None
    change = last.changes.filter(table="findingentry").first()
    if change is None or change.after is None:
        return None
    entry = FindingEntry.objects.select_related("examination").filter(pk=change.entry).first()
    return entry if entry is not None and entry.level > 0 else None


def chosen_look(request: HttpRequest, case: Case) -> Look:
    """The look named in the address, else the last one."""
    asked = request.GET.get("look", "") or request.POST.get("look", "")
    if asked:
        if not asked.isdecimal() or len(asked) > 12:
            raise Http404
        return look_or_404(case, int(asked))
    look = case.looks.order_by(F("on").desc(nulls_last=True), "-id").first()
    if look is None:
        raise Http404
    return look


def chosen_fish(request: HttpRequest, case: Case) -> Fish | None:
    """The fish named in the address, else the one that was examined last, else the first; None when there is none."""
    asked = request.GET.get("fish", "")
    if asked:
        if not asked.isdecimal() or len(asked) > 12:
            raise Http404
        return fish_or_404(case, int(asked))
    return case.fish.order_by("pk").last()


def after_entry(request: HttpRequest, case: Case, anchor: str = "") -> HttpResponse:
    """Back to the page that was written on (its field `back`), at the row in question."""
    target = request.POST.get("back", "")
    if not (target.startswith(f"/case/{case.number}/") and "\\" not in target):
        return redirect("case", case.number)
    return redirect(target.split("#")[0] + (f"#{anchor}" if anchor else ""))
