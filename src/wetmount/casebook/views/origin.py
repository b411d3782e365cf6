"""Where it came in: the candidates, the routes, and each tank's chance to have it, refined on the page as it runs."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from wetmount.casebook import clock, tracing_run
from wetmount.casebook.fish_room import room_on
from wetmount.casebook.models import FishRoom
from wetmount.casebook.reference import reference
from wetmount.casebook.templatetags.look import days_in_words, percent
from wetmount.casebook.tracing import Record, day_words
from wetmount.casebook.tracing_run import Ahead, Shown
from wetmount.casebook.views import count_forms
from wetmount.casebook.views.origin_frame import Framed, framed
from wetmount.casebook.views.origin_map import Cell, DrawnRack, drawn
from wetmount.origin.control import Cut
from wetmount.origin.results import Candidate, Route, TankState

WAIT_SECONDS: Final = 0.4
LISTED_FROM: Final = 0.01
"""Candidates below are listed together, except the one from outside the record, which always has its line."""
OUTSIDE: Final = "outside"
SHARE: Final = "trace-share"
"""The part of the page that asks how far it is."""
LEARN_LISTED: Final = 12


@dataclass(frozen=True, slots=True)
class Way:
    """A route in words."""

    tank: str
    words: str
    when: str
    chance: float


@dataclass(frozen=True, slots=True)
class Whence:
    """A candidate's line: its chance after and before looking, whether it is among the fewest that hold 90 %."""

    name: str
    when: str
    chance: float
    before: float
    credible: bool


@dataclass(frozen=True, slots=True)
class CutLine:
    """A link to cut, by the name people use for it."""

    name: str
    cut: Cut


@require_GET
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """The page; what is still being worked out comes in by parts. `?wait=1` waits for the end."""
    frame = framed(request, pk, "room_origin")
    return render(request, "casebook/origin/origin.html", frame.context | context_of(request, frame, "origin"))


@require_GET
def control(request: HttpRequest, pk: int) -> HttpResponse:
    """Which links to cut, alone and together, and whom to examine next."""
    frame = framed(request, pk, "room_control")
    return render(request, "casebook/origin/control.html", frame.context | context_of(request, frame, "control"))


@require_GET
def todays_round(request: HttpRequest, pk: int) -> HttpResponse:
    """The round for today, to print."""
    frame = framed(request, pk, "room_round")
    return render(request, "casebook/origin/round.html", frame.context | context_of(request, frame, "round"))


def context_of(request: HttpRequest, frame: Framed, show: str) -> dict[str, Any]:
    """The trace that is kept, or how far it is; `show` names the part of which page is asked for."""
    context = _empty(frame, show)
    record, condition = frame.record, frame.traced.condition
    if record is None or not frame.traced.spreads:
        return context
    key = tracing_run.key_of(record, reference())
    ways = {name: reverse(f"room_origin_{name}", args=[frame.room.pk]) for name in ("part", "stop")}
    context |= {name: f"{way}?condition={condition}&show={show}" for name, way in ways.items()}
    kept = tracing_run.kept_trace(frame.room, condition, key)
    if kept is not None and kept.fresh:
        return context | told(frame.room, record, kept.shown, kept.ahead) | {"made_at": kept.made_at}
    work = tracing_run.begun(frame.room, record, key, again=request.htmx.target != SHARE)
    waits = not request.htmx and request.GET.get("wait") == "1"
    if not work.ended(None if waits else WAIT_SECONDS):
        context |= {"working": work, "share": round(100 * work.share)}
        return context | (told(frame.room, record, work.part) if work.part is not None else {})
    return context | _ended(frame, record, key, work)


def _empty(frame: Framed, show: str) -> dict[str, Any]:
    """What every part has, before anything is known."""
    return {
        "show": show, "answer": f"casebook/origin/{show}_answer.html", "wrong": "", "shown": None, "working": None,
        "again": reverse(f"room_{show}", args=[frame.room.pk]) + f"?condition={frame.traced.condition}",
        "today": clock.today(),
    }  # fmt: skip


def _ended(frame: Framed, record: Record, key: str, work: Any) -> dict[str, Any]:
    if work.wrong is not None:
        return {"wrong": count_forms.sentence(work.wrong)}
    if work.answer is None:
        return {"stopped": True} | (told(frame.room, record, work.part) if work.part is not None else {})
    shown = tracing_run.shown_of(work.answer["trace"])
    if shown.convergence.stopped:
        return {"stopped": True} | told(frame.room, record, shown)
    tracing_run.keep(frame.room, frame.traced.condition, key, work.answer)
    return told(frame.room, record, shown, tracing_run.ahead_of(work.answer))


@require_GET
def part(request: HttpRequest, pk: int) -> HttpResponse:
    """What there is by now, asked for again and again while it is worked out."""
    return _part(request, framed(request, pk, "room_origin"))


@require_POST
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Give it up; what there is stays on the page, marked as a first idea."""
    frame = framed(request, pk, "room_origin")
    if frame.record is None:
        raise Http404
    key = tracing_run.key_of(frame.record, reference())
    tracing_run.stop(frame.room, key)
    if request.htmx:
        return HttpResponse(status=204)  # the part that asks how far it is finds it stopped
    work = tracing_run.begun(frame.room, frame.record, key, again=False)
    work.ended(3.0)
    show = _show(request)
    context = frame.context | _empty(frame, show) | {"stopped": True} | _ended(frame, frame.record, key, work)
    return _answer(request, context)


def _part(request: HttpRequest, frame: Framed) -> HttpResponse:
    return _answer(request, frame.context | context_of(request, frame, _show(request)))


def _show(request: HttpRequest) -> str:
    show = request.GET.get("show", "origin")
    if show not in ("origin", "control", "round"):
        raise Http404
    return show


def _answer(request: HttpRequest, context: dict[str, Any]) -> HttpResponse:
    """The page, or its part. While it is refined only the share is put in, so that the button to stop keeps the focus,
    and beside it the answer when there is a newer one."""
    if not request.htmx:
        return render(request, f"casebook/origin/{context['show']}.html", context)
    if request.htmx.target == SHARE and context["working"] is not None:
        shown, known = context["shown"], request.GET.get("sweeps", "0")
        context["newer"] = shown is not None and str(shown.convergence.sweeps) != known
        return render(request, "casebook/origin/refined.html", context)
    answer = render(request, "casebook/origin/part.html", context)
    answer["HX-Retarget"], answer["HX-Reswap"] = "#trace", "outerHTML"
    return answer


# --- words ------------------------------------------------------------------------------------------------------------


def told(room: FishRoom, record: Record, shown: Shown, ahead: Ahead | None = None) -> dict[str, Any]:
    """A trace as the page tells it, with what follows from it once it is done."""
    listed = [one for one in shown.candidates if one.probability >= LISTED_FROM or one.key == OUTSIDE]
    rest = [one for one in shown.candidates if one not in listed]
    ways = [_way(route) for route in shown.routes]
    seen = {days_in_words(state.tank) for state in (*shown.tanks, *shown.earlier) if state.seen}
    return {
        "shown": shown,
        "verdict": days_in_words(shown.verdict),
        "whence": [_whence(one, shown) for one in listed],
        "rest": (len(rest), sum(one.probability for one in rest)),
        "ways_seen": [way for way in ways if way.tank in seen],
        "ways_other": [way for way in ways if way.tank not in seen],
        "racks": racks(room, record, shown),
        "gone": [(days_in_words(one.tank), one) for one in shown.earlier],
        "notes": [days_in_words(note) for note in shown.notes],
        "next": sorted((one for one in shown.tanks if not one.seen), key=lambda one: -one.infected),
    } | (_ahead(record, ahead) if ahead is not None else {})


def _ahead(record: Record, ahead: Ahead) -> dict[str, Any]:
    """Links to cut, whom to examine next, the round."""
    tables = reference()
    names = {kind: row.name for kind, row in tables.link_rates.items()}

    def line(cut: Cut) -> CutLine:
        several = ":" not in cut.key and not cut.through
        through = f": {cut.through}" if cut.through else ", all of them" if several and cut.kind != "neighbour" else ""
        return CutLine(f"{names.get(cut.kind, cut.kind)}{through}", cut)

    return {
        "control": ahead.control,
        "alone": [line(cut) for cut in ahead.control.alone],
        "together": [line(cut) for cut in ahead.control.together],
        "learn": [
            (one, tables.examinations[one.examination].name, record.tanks.get(one.tank))
            for one in ahead.learn[:LEARN_LISTED]
        ],
        "learn_more": max(0, len(ahead.learn) - LEARN_LISTED),
        "round": ahead.round,
    }


def _whence(one: Candidate, shown: Shown) -> Whence:
    return Whence(days_in_words(one.name), when(one.start_low, one.start, one.start_high), one.probability, one.prior,
                  one.key in shown.credible)  # fmt: skip


def when(low: dt.date | None, middle: dt.date | None, high: dt.date | None) -> str:
    """'11 November', 'about 7 November (21 October to 14 November)', 'before the record began'."""
    if high is None:
        return "before the record began"
    if low == high:
        return day_words(high)
    begin = "before the record" if low is None else day_words(low)
    about = "before the record" if middle is None else f"about {day_words(middle)}"
    return f"{about} ({begin} to {day_words(high)})"


def _way(route: Route) -> Way:
    row = reference().link_rates.get(route.kind)
    kind = row.name if row is not None else route.kind
    through = f" ({route.through})" if route.through else ""
    words = f"came in: {kind}{through}" if route.from_tank is None else f"from {route.from_tank} by {kind}{through}"
    return Way(days_in_words(route.to_tank), days_in_words(words), span(route.low, route.high), route.probability)


def span(low: dt.date | None, high: dt.date | None) -> str:
    """'13 November', '16 to 25 November', 'before the record began'."""
    if high is None:
        return "before the record began"
    if low == high:
        return day_words(high)
    return f"{'before the record' if low is None else day_words(low)} to {day_words(high)}"


def racks(room: FishRoom, record: Record, shown: Shown) -> list[DrawnRack]:
    """The room with each tank's chance to have it already."""
    at = reverse("room", args=[room.pk])
    cells = {}
    for state in shown.tanks:
        tank = record.tanks.get(state.tank)
        if tank is not None:
            link = f"{at}?tank={tank.pk}&condition={shown.condition}#chosen"
            cells[tank.pk] = Cell(tank.pk, tank.name, _mark(state), _line(state), _words(state, shown), link)
    return drawn(room_on(room, None), cells)


def _mark(state: TankState) -> str:
    if state.seen:
        return "ill"
    return "next" if state.status == "suspect" else "unlooked" if not state.looked_at else "clean"


def _line(state: TankState) -> str:
    return "seen" if state.seen else percent(state.infected).replace("under 1 %", "<1 %")


def _words(state: TankState, shown: Shown) -> str:
    if state.seen:
        return f"{state.tank}: seen, since {when(state.low, state.day, state.high)}"
    looked = "" if state.looked_at else ", never looked at"
    return (
        f"{state.tank}: {percent(state.infected)} infected already, {percent(state.shows)} shows signs within "
        f"{shown.shows_within_days} days{looked}"
    )
