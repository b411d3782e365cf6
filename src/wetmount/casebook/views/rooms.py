"""Fish rooms: the list, and one room drawn as it stood on a day."""

from __future__ import annotations

import datetime as dt

from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from wetmount.casebook.fish_room import EMPTY, GUARDED, ILL, OTHER, Place, room_on
from wetmount.casebook.models import FishRoom, Reading
from wetmount.casebook.tank_links import connections
from wetmount.casebook.tracing_run import kept_trace
from wetmount.casebook.views.origin_frame import PAGES, traced_in
from wetmount.casebook.views.today import last_said

LATEST_READINGS = 6
WAYS_SHOWN = 3


@require_GET
def rooms(request: HttpRequest) -> HttpResponse:
    """Every room with how many tanks it has and how many cases are open in it."""
    still_open = Q(cases__closed=None, cases__deleted_at=None)
    found = FishRoom.objects.select_related("keeper").annotate(
        tank_count=Count("tanks", distinct=True),
        system_count=Count("systems", distinct=True),
        open_cases=Count("cases", filter=still_open, distinct=True),
    )
    return render(request, "casebook/rooms/rooms.html", {"place": "rooms", "found": found})


@require_GET
def room(request: HttpRequest, pk: int) -> HttpResponse:
    """The racks of a room on the day `?day=`, with the tank `?tank=` chosen."""
    row = get_object_or_404(FishRoom.objects.select_related("keeper"), pk=pk)
    traced = traced_in(row, request.GET.get("condition", ""))
    shown = room_on(row, _day(request.GET.get("day", "")), traced.condition)
    chosen = next((place for place in shown.places if str(place.tank.pk) == request.GET.get("tank", "")), None)
    kept = kept_trace(row, traced.condition) if traced.condition else None
    context = {
        "place": "rooms",
        "room": row,
        "shown": shown,
        "kept": kept,
        "whence": kept.shown.candidates[:WAYS_SHOWN] if kept is not None else (),
        "next": {one.tank for one in kept.shown.tanks if one.status == "suspect"} if kept is not None else (),
        "days": (shown.last - shown.first).days,
        "day_number": (shown.day - shown.first).days,
        "marks": _marks(shown.first, shown.last),
        "chosen": chosen,
        "sharing": _sharing(chosen, shown.places),
        "readings": _latest_readings(chosen),
        "traced": traced,
        "pages": PAGES,
        "page": "room",
        "keep": f"&condition={traced.condition}" if request.GET.get("condition") else "",
        "links": connections(shown, chosen),
        "states": [(name, shown.in_state(state)) for name, state in (
            ("Open case or signs", ILL), ("Another cause", OTHER), ("In quarantine", GUARDED), ("Empty", EMPTY))],
        "before": shown.day - dt.timedelta(days=1) if shown.day > shown.first else None,
        "after": shown.day + dt.timedelta(days=1) if shown.day < shown.last else None,
        "last": last_said(request.device),
    }  # fmt: skip
    return render(request, "casebook/rooms/room.html", context)


def _day(text: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        return None


def _marks(first: dt.date, last: dt.date) -> list[tuple[str, bool]]:
    """A tick a day on a rule 1000 wide, Mondays long."""
    days = max((last - first).days, 1)
    return [
        (f"{1000 * n / days:.1f}", (first + dt.timedelta(days=n)).weekday() == 0)
        for n in range((last - first).days + 1)
    ]


def _sharing(chosen: Place | None, places: list[Place]) -> int:
    """How many other tanks share its water."""
    if chosen is None or chosen.tank.system_id is None:
        return 0
    return sum(place.tank.system_id == chosen.tank.system_id for place in places) - 1


def _latest_readings(chosen: Place | None) -> list[Reading]:
    if chosen is None:
        return []
    return list(Reading.objects.filter(tank=chosen.tank, look=None).order_by("-on", "-id")[:LATEST_READINGS])
