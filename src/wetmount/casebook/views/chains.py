"""Chains: what can have reached a tank, and what it can have reached, in the order of time, with the way it went."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from wetmount.casebook.fish_room import RoomOnDay, room_on
from wetmount.casebook.models import Tank
from wetmount.casebook.tracing import Record, day_words, record_of
from wetmount.casebook.views.origin_frame import framed
from wetmount.casebook.views.origin_map import Cell, drawn
from wetmount.errors import InputError
from wetmount.origin.chains import KINDS, USUAL, Chain, Step, chain, room_contacts
from wetmount.origin.illness import tanks_health

WORDS: Final = {
    "fish": "fish moved", "net": "a net used in both", "water": "water carried", "plants": "plants or stones",
    "other": "something else wet", "sump": "a shared sump", "tool": "a shared tool", "neighbour": "tanks side by side",
    "worker": "hands and the order of work",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reached:
    """A tank of a chain: since when, by which way, and whether it was seen ill."""

    tank: str
    on: str
    way: str
    steps: int
    ill: bool


@require_GET
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """Both chains of `?tank=` by the kinds of link `?by=`, over the days from `?first=` to `?last=`."""
    frame = framed(request, pk, "room_chains")
    record = frame.record or record_of(frame.room, None)
    asked = [kind for kind in request.GET.getlist("by") if kind in KINDS]
    kinds = tuple(asked or USUAL)
    tank = _tank(record, request.GET["tank"]) if "tank" in request.GET else _first_ill(record)
    context: dict[str, Any] = frame.context | {
        "record": record,
        "kinds": [(kind, WORDS[kind], kind in kinds) for kind in KINDS],
        "tanks": list(record.tanks.values()),
        "chosen": tank,
        "first": record.room.first,
        "last_day": record.room.last,
    }
    if tank is not None:
        context |= _chains(request, record, tank, kinds, room_on(frame.room, None))
    return render(request, "casebook/origin/chains.html", context, status=422 if context.get("wrong") else 200)


def _chains(
    request: HttpRequest, record: Record, tank: Tank, kinds: tuple[str, ...], shown: RoomOnDay
) -> dict[str, Any]:
    room = record.room
    first, last = (_day(request.GET.get(name, "")) for name in ("first", "last"))
    begin, end = max(first or room.first, room.first), min(last or room.last, room.last)
    contacts, id = room_contacts(room, kinds), record.id_of(tank)
    ill = {one.tank for one in tanks_health(room) if one.state == "ill"} if room.condition else set()
    try:
        into = chain(contacts, id, "ingoing", room.day(begin), room.day(end))
        out = chain(contacts, id, "outgoing", room.day(begin), room.day(end))
    except InputError as error:
        return {"wrong": f"{error.message[:1].upper()}{error.message[1:]}."}
    rows_in, rows_out = _reached(into, room.first, ill), _reached(out, room.first, ill)
    at = f"{reverse('room_chains', args=[shown.room.pk])}?{_kept(request)}tank="
    return {
        "into": rows_in,
        "out": rows_out,
        "into_degree": sum(row.steps == 1 for row in rows_in),
        "out_degree": sum(row.steps == 1 for row in rows_out),
        "ill_into": sum(row.ill for row in rows_in),
        "racks": drawn(shown, _cells(record, id, into, out, at)),
        "from_day": begin,
        "to_day": end,
        "span": f"{day_words(begin)} to {day_words(end)}",
    }


def _first_ill(record: Record) -> Tank | None:
    """The tank first seen ill of what is traced, to begin with."""
    if not record.room.condition:
        return None
    ill = [one for one in tanks_health(record.room) if one.state == "ill" and one.first is not None]
    first = min(ill, key=lambda one: one.first or record.room.last, default=None)
    return None if first is None else record.tanks.get(first.tank)


def _reached(found: Chain, start: dt.date, ill: set[str]) -> list[Reached]:
    rows = []
    for tank in found.reached:
        at, path = found.day_of(tank), found.path(tank)
        on = day_words(start + dt.timedelta(days=at)) if at is not None else ""
        legs = _legs(path, set(found.reached) | {found.root})
        way = "; ".join(
            f"{day_words(start + dt.timedelta(days=leg[0]))}, {leg[1]} to {leg[2]} by {leg[3]}" for leg in legs
        )
        rows.append(Reached(tank, on, way, len(legs), tank in ill))
    return rows


def _legs(path: Sequence[Step], tanks: set[str]) -> list[tuple[int, str, str, str]]:
    """Day, from, to and means of each leg from tank to tank; a sump, a tool or a person is a means, no stop."""
    legs: list[tuple[int, str, str, str]] = []
    source, means = "", ""
    for step in path:
        source = source or step.source
        if step.goal in tanks:
            legs.append((step.day, source, step.goal, means or WORDS[step.kind]))
            source, means = "", ""
        else:
            means = step.goal
    return legs


def _cells(record: Record, id: str, into: Chain, out: Chain, at: str) -> dict[int, Cell]:
    cells = {}
    for name, tank in record.tanks.items():
        reaches, reached = name in into.reached, name in out.reached
        if name == id:
            mark, line, words = "root", "chosen", f"{name}, the chosen tank"
        elif reaches and reached:
            mark, line, words = "both", "both", f"{name}: can have reached it, and be reached by it"
        elif reaches:
            mark, line, words = "in", "into", f"{name}: can have reached it"
        elif reached:
            mark, line, words = "out", "out of", f"{name}: can have been reached by it"
        else:
            mark, line, words = "plain", "", f"{name}: neither"
        cells[tank.pk] = Cell(tank.pk, tank.name, mark, line, words, f"{at}{tank.pk}")
    return cells


def _kept(request: HttpRequest) -> str:
    """The rest of the address, for the same page about another tank."""
    given = request.GET.copy()
    given.pop("tank", None)
    return f"{given.urlencode()}&" if given else ""


def _tank(record: Record, text: str) -> Tank | None:
    return next((tank for tank in record.tanks.values() if str(tank.pk) == text), None)


def _day(text: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        return None
