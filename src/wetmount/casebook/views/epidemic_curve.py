"""The epidemic curve of a room: tanks first seen ill by day, and when each can have been exposed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from wetmount.casebook.reference import reference
from wetmount.casebook.tracing import day_words
from wetmount.casebook.views import count_forms
from wetmount.casebook.views.count_figures import two
from wetmount.casebook.views.origin_frame import framed
from wetmount.errors import InputError
from wetmount.origin.curve import Curve, Window, epidemic_curve

BEFORE: Final = 7
"""Days drawn before the earliest window, as far as the record goes."""
ROW: Final = 22
TALLEST: Final = 110


@dataclass(frozen=True, slots=True)
class Bar:
    """A day on which tanks were first seen ill."""

    x: float
    y: float
    width: float
    height: float
    words: str


@dataclass(frozen=True, slots=True)
class Span:
    """The window of one tank: from `left` (open: it may be older) to `right`, its first sign at `first`."""

    tank: str
    left: float
    right: float
    open: bool
    first: float
    y: float

    @property
    def width(self) -> float:
        return round(max(3.0, self.right - self.left), 1)

    @property
    def base(self) -> float:
        """Foot of the letters."""
        return self.y + 5


@dataclass(frozen=True, slots=True)
class Drawing:
    """One drawing of the curve, in the units of its view box."""

    name: str
    width: int
    height: float
    left: int
    right: int
    foot: float
    bars: tuple[Bar, ...]
    counts: tuple[tuple[float, str], ...]
    days: tuple[tuple[float, str, str], ...]
    spans: tuple[Span, ...]
    shared: tuple[float, float] | None
    events: tuple[float, ...]

    @property
    def day_words(self) -> float:
        return self.foot + 20

    @property
    def event_row(self) -> float:
        return self.foot + 30

    @property
    def shared_height(self) -> float:
        return self.height - 8


@require_GET
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """The curve with the incubation of the reference, or with `?low=` and `?high=` days."""
    frame = framed(request, pk, "room_curve")
    condition = frame.traced.condition
    row = reference().incubations.get(condition)
    given, wrong = request.GET, ""
    usual = (row.incubation_low_d, row.incubation_high_d) if row is not None else (None, None)
    typed = {name: count_forms.typed(given, name) for name in ("low", "high")}
    context: dict[str, Any] = frame.context | {"incubation": row}
    try:
        low = count_forms.number(given, "low", "Shortest incubation", least=0, most=3660, otherwise=usual[0])
        high = count_forms.number(given, "high", "Longest incubation", least=0, most=3660, otherwise=usual[1])
        if frame.record is not None and low is not None and high is not None:
            context |= _told(epidemic_curve(frame.record.room, low, high))
            typed = {"low": two(low), "high": two(high)}
    except InputError as error:
        wrong = count_forms.sentence(error)
    context |= typed | {"wrong": wrong}
    return render(request, "casebook/origin/curve.html", context, status=422 if wrong else 200)


def _told(found: Curve) -> dict[str, Any]:
    drawings = [_draw("wide", 760, found), _draw("narrow", 350, found)] if found.windows else []
    ill_days = [day for day in found.days if day.first_seen or day.deaths]
    return {"found": found, "drawings": drawings, "ill_days": ill_days, "label": label(found)}


def label(found: Curve) -> str:
    """The chart in a sentence, for those who hear it."""
    if not found.windows:
        return "No tank was seen ill."
    first, last = found.windows[0], found.windows[-1]
    said = f"{len(found.windows)} tanks were first seen ill from {day_words(first.first)} to {day_words(last.first)}. "
    if found.shared is None:
        return said + "No single day of exposure fits all of them."
    begin, end = found.shared
    since = f"between {day_words(begin)} and {day_words(end)}" if begin is not None else f"by {day_words(end)}"
    return said + f"One exposure {since} fits all of them."


def _draw(name: str, width: int, found: Curve) -> Drawing:
    left, right = 46, width - 10
    record_first, last = found.days[0].on, found.days[-1].on
    starts = [window.earliest for window in found.windows if window.earliest is not None]
    begin = max(record_first, min([*starts, found.windows[0].latest]) - dt.timedelta(days=BEFORE))
    count = (last - begin).days + 1
    step = (right - left) / count

    def x(on: dt.date) -> float:
        return round(left + step * min(max((on - begin).days, 0), count), 1)

    most = max(len(day.first_seen) for day in found.days)
    foot = TALLEST + 16.0
    unit = TALLEST / most
    bars = tuple(
        Bar(
            round(x(day.on) + step * 0.1, 1),
            round(foot - unit * len(day.first_seen), 1),
            round(step * 0.8, 1),
            round(unit * len(day.first_seen), 1),
            ", ".join(day.first_seen),
        )
        for day in found.days
        if day.first_seen
    )
    top = foot + 56
    spans = tuple(_span(window, x, step, top + ROW * n, left) for n, window in enumerate(found.windows))
    shared = None
    if found.shared is not None:
        start = left if found.shared[0] is None else x(found.shared[0])
        shared = (start, round(x(found.shared[1]) + step - start, 1))
    ticks = _ticks(begin, last, 7 if name == "wide" else max(7, -(-count // 3)))
    return Drawing(
        name,
        width,
        top + ROW * len(spans) + 4,
        left,
        right,
        foot,
        bars,
        tuple((round(foot - unit * n, 1), str(n)) for n in _levels(most)),
        tuple((x(on), f"{on.day} {on:%b}", "start") for on in ticks),
        spans,
        shared,
        tuple(sorted({round(x(event.on) + step / 2, 1) for event in found.events if event.on >= begin})),
    )


def _span(window: Window, x: Any, step: float, y: float, left: int) -> Span:
    begin = window.earliest
    return Span(
        window.tank,
        left if begin is None else x(begin),
        round(x(window.latest) + step, 1),
        begin is None,
        round(x(window.first) + step / 2, 1),
        y,
    )


def _ticks(begin: dt.date, last: dt.date, every: int) -> Sequence[dt.date]:
    return [begin + dt.timedelta(days=n) for n in range(0, max(1, (last - begin).days - every // 2), every)]


def _levels(most: int) -> list[int]:
    every = max(1, -(-most // 4))
    return list(range(0, most + 1, every))
