"""What every page's frame needs: the light, the device, the layout, and within a case its head, steps and undo bar."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from wetmount.casebook import server
from wetmount.casebook.models import Case, Look
from wetmount.casebook.services.undo import last_act
from wetmount.casebook.steps import STEPS, states_of, step_of

LIGHTS = ("bench", "dark", "microscope")
LIGHT_COOKIE = "wetmount_light"


def shell(request: HttpRequest) -> dict[str, Any]:
    """Context of every template. `layout` is what a page extends: the whole page, or only its main part for htmx."""
    htmx = getattr(request, "htmx", None)
    part = htmx is not None and bool(htmx) and not (htmx.boosted or htmx.history_restore_request)
    light = request.COOKIES.get(LIGHT_COOKIE, "")
    return {
        "layout": "casebook/part.html" if part else "casebook/base.html",
        "case_layout": "casebook/part.html" if part else "casebook/base_case.html",
        "light": light if light in LIGHTS else "",
        "device": getattr(request, "device", None),
        "phones_let_in": server.phones_are_let_in(),
    }


def case_context(request: HttpRequest, case: Case, step: str | None, look: Look | None = None) -> dict[str, Any]:
    """Context of a page of a case: `case`, `look`, `steps` with their states, `step`, `last` act, `place`."""
    look = look or case.looks.order_by("-on", "-id").first()
    current = step_of(step) if step else None
    return {
        "case": case,
        "look": look,
        "place": "cases",
        "steps": states_of(case, look),
        "step": current,
        "step_place": STEPS.index(current) + 1 if current is not None else None,
        "step_count": len(STEPS),
        "last": None if case.is_closed else last_act(getattr(request, "device", None), case),
    }
