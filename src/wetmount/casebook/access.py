"""Who may see what. Whoever was let in sees the whole casebook; what is not there and what is not theirs look alike."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.http import Http404

from wetmount.casebook.models import Case, Examination, Fish, Look

HEAD = ("keeper", "room", "system", "tank", "batch")


def case_or_404(number: int) -> Case:
    """The case of this number, with what its head shows."""
    case = Case.objects.select_related(*HEAD).filter(number=number).first()
    if case is None:
        raise Http404
    return case


def look_or_404(case: Case, pk: int) -> Look:
    """A look of this case."""
    return _one(Look.objects.filter(case=case, pk=pk))


def fish_or_404(case: Case, pk: int) -> Fish:
    """A fish of this case."""
    return _one(Fish.objects.filter(case=case, pk=pk))


def examination_or_404(case: Case, pk: int) -> Examination:
    """An examination of this case, with its look and fish."""
    return _one(Examination.objects.select_related("look__case", "fish", "tank").filter(look__case=case, pk=pk))


def _one(rows: QuerySet) -> Any:
    row = rows.first()
    if row is None:
        raise Http404
    return row
