"""The list of cases as a table for spreadsheets (CSV, RFC 4180, UTF-8)."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from typing import Any

from django.db.models import Prefetch, QuerySet

from wetmount.casebook.models import CaseCause
from wetmount.casebook.reference import reference

COLUMNS = ("case", "own number", "title", "which fish", "species", "host group", "keeper", "room", "system", "tank",
           "opened", "closed", "outcome", "leading cause", "confirmed causes")  # fmt: skip

_BEGINS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""As in "CSV Injection" of OWASP: what makes a spreadsheet calculate a cell instead of showing it."""

AT_ONCE = 500


def safe(text: str) -> str:
    """A text that no spreadsheet takes for a formula: an apostrophe is put before one."""
    return f"'{text}" if text.lstrip(" ").startswith(_BEGINS_A_FORMULA) else text


def lines(cases: QuerySet) -> Iterator[str]:
    """The table line by line, its heading first, the newest case first."""
    # Excel takes a file for UTF-8 only with a byte order mark in front.
    yield "\ufeff" + _line(COLUMNS)
    confirmed = Prefetch("causes", CaseCause.objects.filter(standing="confirmed").order_by("pk"), to_attr="confirmed")
    rows = cases.select_related("keeper", "room", "system", "tank").prefetch_related(confirmed).order_by("-number")
    known = reference().conditions
    for case in rows.iterator(AT_ONCE):
        places = [str(row) if row is not None else "" for row in (case.keeper, case.room, case.system, case.tank)]
        causes = "; ".join(_name(one.condition, known) for one in case.confirmed)
        texts = [case.own_number, case.title, case.which_fish, case.species, case.host_group, *places]
        yield _line(
            [
                str(case.number),
                *texts,
                case.opened.isoformat(),
                case.closed.isoformat() if case.closed else "",
                case.get_outcome_display(),
                _name(case.leading, known),
                causes,
            ]
        )


def _name(condition: str, known: Any) -> str:
    return known[condition].name if condition in known else condition


class _Echo:
    """A file that hands back what is written to it."""

    def write(self, text: str) -> str:
        return text


def _line(cells: Any) -> str:
    return str(csv.writer(_Echo(), quoting=csv.QUOTE_ALL).writerow([safe(cell) for cell in cells]))
