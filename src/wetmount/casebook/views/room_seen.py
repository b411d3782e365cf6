"""What was seen in a room's tanks, from a form or by one tap on the chosen tank; and what tanks share."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_POST

from wetmount.casebook import clock
from wetmount.casebook.fish_room import EMPTY, room_on
from wetmount.casebook.models import Device, Entry, FishRoom, System, Tank, TankCheck, TankGroup, TankSign
from wetmount.casebook.services import tracing
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.views.pages import back

# --- from forms -------------------------------------------------------------------------------------------------------


def in_form(value: Any) -> Any:
    """A value of a row as its field in a form starts with it."""
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else value


def add_sign(device: Device, room: FishRoom, values: dict[str, Any]) -> None:
    """Signs or deaths."""
    rest = {name: value for name, value in values.items() if name != "tank"}
    tracing.note_sign(device, values["tank"], **rest)


def change_sign(device: Device, row: Entry, values: dict[str, Any], seen: int | None) -> None:
    """Correct signs or deaths; the tank stays, a wrong one is taken away and entered again."""
    assert isinstance(row, TankSign)
    tracing.note_sign(device, _same_tank(row.tank, values), **values, sign=row, seen=seen)


def add_check(device: Device, room: FishRoom, values: dict[str, Any]) -> None:
    """A check, whatever it gave."""
    rest = {name: value for name, value in values.items() if name not in ("tank", "found")}
    tracing.note_check(device, values["tank"], found=values["found"] == "yes", **rest)


def change_check(device: Device, row: Entry, values: dict[str, Any], seen: int | None) -> None:
    """Correct a check."""
    assert isinstance(row, TankCheck)
    tank, found = _same_tank(row.tank, values), values.pop("found") == "yes"
    tracing.note_check(device, tank, found=found, **values, check=row, seen=seen)


def _same_tank(tank: Tank, values: dict[str, Any]) -> Tank:
    if values.pop("tank").pk != tank.pk:
        raise Refused(f"This was seen in {tank.name}. If that is wrong, take it away and enter it for the other tank.")
    return tank


def add_group(device: Device, room: FishRoom, values: dict[str, Any]) -> None:
    """Something tanks share."""
    tracing.set_group(device, room, **values)


def change_group(device: Device, row: Entry, values: dict[str, Any], seen: int | None) -> None:
    """Correct what tanks share."""
    assert isinstance(row, TankGroup)
    tracing.set_group(device, row.room, **values, group=row, seen=seen)


# --- by one tap -------------------------------------------------------------------------------------------------------


@require_POST
def enter(request: HttpRequest, pk: int) -> HttpResponse:
    """One tap: `what` is nothing (no signs), rack (none in the whole rack), signs or deaths; `number` if counted."""
    room = get_object_or_404(FishRoom, pk=pk)
    text = request.POST.get("tank", "")
    tank = get_object_or_404(Tank, room=room, pk=int(text) if text.isdecimal() and len(text) < 18 else 0)
    on = _day(request.POST.get("on", ""))
    what, condition = request.POST.get("what", ""), request.POST.get("condition", "")
    if what == "nothing":
        tracing.nothing_seen(request.device, room, [tank], on)
    elif what == "rack":
        tracing.nothing_seen(request.device, room, _well_on_rack(room, tank, on), on)
    else:
        tracing.note_sign(
            request.device, tank, what, on, number=_number(request.POST.get("number", "")), condition=condition
        )
    return back(request, "rooms")


@require_POST
def arrange(request: HttpRequest, pk: int) -> HttpResponse:
    """Stand a rack's tanks `across` side by side (`system` empty: those on their own), or set the order of work."""
    room = get_object_or_404(FishRoom, pk=pk)
    if request.POST.get("what") == "order":
        tracing.work_in_order(request.device, room)
    else:
        text = request.POST.get("system", "")
        number = int(text) if text.isdecimal() and len(text) < 18 else 0
        system = get_object_or_404(System, room=room, pk=number) if text else None
        tracing.arrange(request.device, room, system, _number(request.POST.get("across", "")) or 0)
    return back(request, "rooms")


def _well_on_rack(room: FishRoom, tank: Tank, on: dt.date) -> list[Tank]:
    """The tanks on the same rack that hold fish and in which nothing was noted that day."""
    shown = room_on(room, on)
    signs = set(TankSign.objects.filter(tank__room=room, on=on).values_list("tank", flat=True))
    found = [
        place.tank
        for place in shown.places
        if place.tank.system_id == tank.system_id and place.state != EMPTY and place.tank.pk not in signs
    ]
    if not found:
        raise Refused("No tank of this rack is without signs on that day.")
    return found


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text) if text else clock.today()
    except ValueError:
        raise Refused("Say on which day, such as 2026-10-03.") from None


def _number(text: str) -> int | None:
    text = text.strip()
    if not text:
        return None
    if not text.isdecimal() or not 1 <= int(text[:9]) <= 1_000_000 or len(text) > 7:
        raise Refused("The number of fish is a whole number from 1, or nothing.")
    return int(text)
