"""What the tracing pages of a room share: the cause that is traced, the ways between them, the record."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Q
from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404

from wetmount.casebook.models import Case, FishRoom, TankCheck, TankSign
from wetmount.casebook.reference import reference
from wetmount.casebook.tracing import Record, record_of, traceable
from wetmount.casebook.views.today import last_said

PAGES: Final = (
    ("room", "Room"),
    ("room_exposures", "Exposures"),
    ("room_curve", "Curve"),
    ("room_chains", "Chains"),
    ("room_origin", "Origin"),
    ("room_control", "Control"),
    ("room_round", "Round"),
)
"""Address name and word of each page, in the order of work."""


@dataclass(frozen=True, slots=True)
class Traced:
    """The cause a page is about: id ("" for none yet), its name, and what may be chosen instead."""

    condition: str
    name: str
    here: tuple[tuple[str, str], ...]
    """Causes noted in this room, the one seen last first."""
    others: tuple[tuple[str, str], ...]
    spreads: bool


def traced_in(room: FishRoom, asked: str) -> Traced:
    """The cause asked for, else the one seen last in the room. Three queries; 404 for an unknown one."""
    tables = reference()
    if asked and asked not in tables.conditions:
        raise Http404
    latest: dict[str, dt.date] = {}
    often: Counter[str] = Counter()
    for id, on in _noted(room):
        often[id] += 1
        if id in tables.conditions and on >= latest.get(id, dt.date.min):
            latest[id] = on
    spreading = traceable(tables)
    here = sorted(latest, key=lambda id: (id not in spreading, -latest[id].toordinal(), -often[id], id))
    condition = asked or (here[0] if here else "")
    return Traced(
        condition,
        tables.conditions[condition].name if condition else "",
        tuple((id, tables.conditions[id].name) for id in here),
        tuple((id, name) for id, name in spreading.items() if id not in latest),
        condition in spreading,
    )


def _noted(room: FishRoom) -> Iterator[tuple[str, dt.date]]:
    yield from TankSign.objects.filter(tank__room=room).exclude(condition="").values_list("condition", "on")
    yield from TankCheck.objects.filter(tank__room=room, found=True).values_list("condition", "on")
    of_room = Case.objects.filter(Q(room=room) | Q(tank__room=room), closed=None)
    for leading, confirmed, opened in of_room.values_list("leading", "put_down_to", "opened"):
        for id in confirmed.split(",") if confirmed else [leading]:
            yield id, opened


@dataclass(frozen=True, slots=True)
class Framed:
    """A tracing page's room, cause and record, with the context its template needs."""

    room: FishRoom
    traced: Traced
    record: Record | None
    context: dict[str, Any]


def framed(request: HttpRequest, pk: int, page: str) -> Framed:
    """The room and its record about the cause of `?condition=`; no record without a cause."""
    room = get_object_or_404(FishRoom.objects.select_related("keeper"), pk=pk)
    traced = traced_in(room, request.GET.get("condition", ""))
    record = record_of(room, traced.condition) if traced.condition else None
    context = {
        "place": "rooms",
        "room": room,
        "traced": traced,
        "record": record,
        "pages": PAGES,
        "page": page,
        "last": last_said(request.device),
    }
    return Framed(room, traced, record, context)
