"""PLACEHOLDER, to be removed when each helper's pages are in: an empty page in the shell."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from wetmount.casebook.access import case_or_404
from wetmount.casebook.shell import case_context
from wetmount.casebook.steps import STEPS


def placeholder(request: HttpRequest, place: str, number: int | None = None, step: str | None = None) -> HttpResponse:
    """The shell with nothing in it."""
    if number is None:
        return render(request, "casebook/placeholder.html", {"place": place})
    case = case_or_404(number)
    known = step if step in {one.id for one in STEPS} else case.step
    return render(request, "casebook/placeholder_case.html", case_context(request, case, known))
