"""The case list narrowed: by words, host, cause, room, state and dates. One place, for the list and for its charts."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, fields

from django.db.models import Q, QuerySet
from django.http import QueryDict
from django.utils.http import urlencode

from wetmount.casebook.models import Case, CaseCause
from wetmount.casebook.reference import reference
from wetmount.casebook.search import newest_with_words, with_words

STATES = (("", "open and closed"), ("open", "open"), ("closed", "closed"))


@dataclass(frozen=True, slots=True)
class CaseFilter:
    """What was chosen; "" and None narrow nothing. `condition` is a leading or a confirmed cause."""

    q: str = ""
    host: str = ""
    condition: str = ""
    room: str = ""
    state: str = ""
    opened_from: str = ""
    opened_to: str = ""

    @classmethod
    def of(cls, given: QueryDict) -> CaseFilter:
        """From an address; what means nothing there is passed over."""
        tables = reference()
        typed = {one.name: given.get(one.name, "").strip()[:300] for one in fields(cls)}
        known = {
            "host": typed["host"] in tables.host_groups,
            "condition": typed["condition"] in tables.conditions,
            "room": typed["room"].isdecimal() and len(typed["room"]) < 10,
            "state": typed["state"] in ("open", "closed"),
            "opened_from": _date(typed["opened_from"]) is not None,
            "opened_to": _date(typed["opened_to"]) is not None,
        }
        return cls(**{name: value if known.get(name, True) else "" for name, value in typed.items()})

    @property
    def narrowing(self) -> int:
        """How many filters narrow, the words aside."""
        return sum(bool(getattr(self, one.name)) for one in fields(self) if one.name != "q")

    @property
    def as_query(self) -> str:
        """As the end of an address."""
        return urlencode({one.name: value for one in fields(self) if (value := getattr(self, one.name))})

    def cases(self) -> QuerySet:
        """The cases that pass."""
        return with_words(self._narrowed(), self.q)

    def newest(self) -> QuerySet:
        """The cases that pass, the newest first, to be shown page by page; no part of another query."""
        return newest_with_words(self._narrowed(), self.q)

    def _narrowed(self) -> QuerySet:
        found = Case.objects.all()
        if self.host:
            found = found.filter(_of_host(self.host))
        if self.condition:
            confirmed = CaseCause.objects.filter(condition=self.condition, standing="confirmed").values("case")
            leading = Case.objects.filter(leading=self.condition).order_by().values("pk")
            found = found.filter(pk__in=leading.union(confirmed))  # with OR, SQLite goes through all cases
        if self.room:
            found = found.filter(room=int(self.room))
        if self.state:
            found = found.filter(closed__isnull=self.state == "open")
        if (first := _date(self.opened_from)) is not None:
            found = found.filter(opened__gte=first)
        if (last := _date(self.opened_to)) is not None:
            found = found.filter(opened__lte=last)
        return found


def _of_host(group: str) -> Q:
    """Cases of a host group or of one under it, by the group that was entered, else by the name of the species."""
    tables = reference()
    within = {group}
    while grown := {id for id, row in tables.host_groups.items() if row.parent in within} - within:
        within |= grown
    species = [
        name
        for row in tables.hosts.values()
        if row.host_group in within
        for name in (row.common_name, row.scientific_name)
    ]
    return Q(host_group__in=within) | Q(host_group="", species__in=species)


def _date(text: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        return None
