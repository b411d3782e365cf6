"""The fan chart of a forecast: where its lines, bands and words lie. The drawing itself is a template."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

from wetmount.casebook.views.count_figures import two
from wetmount.forecast import Forecast

CAP = 5.0
"""Times the harmful burden above which courses are not drawn: fish do not live to be counted there."""


@dataclass(frozen=True, slots=True)
class Words:
    """A word at a place of the drawing: its line at `y`, the foot of its letters at `base`."""

    x: float
    y: float
    base: float
    text: str


@dataclass(frozen=True, slots=True)
class Fan:
    """One drawing, in the units of its view box."""

    name: str
    width: int
    height: int
    left: int
    right: int
    top: int
    bottom: int
    outer: str
    inner: str
    middle: str
    harmful: float
    rows: tuple[Words, ...]
    days: tuple[Words, ...]
    look: float
    look_anchor: str
    doses: tuple[float, ...]

    @property
    def across(self) -> int:
        """Width of the field."""
        return self.right - self.left

    @property
    def above(self) -> float:
        """Height of what is harmful."""
        return round(self.harmful - self.top, 1)

    @property
    def harmful_words(self) -> float:
        """Where "harmful" stands: below its line when there is no room above."""
        return self.harmful - 6 if self.above > 30 else self.harmful + 16

    @property
    def look_words(self) -> float:
        """Where "look again" stands, beside its line."""
        return self.look + (6 if self.look_anchor == "start" else -6)

    @property
    def look_height(self) -> int:
        """Its height: near the foot, clear of "harmful"."""
        return self.bottom - 8

    @property
    def event_row(self) -> int:
        """Height of the row of treatments."""
        return self.bottom + 32


def fans(found: Forecast, start: dt.date, outlook: int, doses: Sequence[int]) -> tuple[Fan, Fan]:
    """The drawings for a wide and for a narrow screen, so that words stay as large on both."""
    return (
        _fan("wide", 760, 330, found, start, outlook, doses, 7),
        _fan("narrow", 350, 300, found, start, outlook, doses, 14),
    )


def _fan(
    name: str, width: int, height: int, found: Forecast, start: dt.date, outlook: int, doses: Sequence[int], every: int
) -> Fan:
    left, right, top, bottom = 52, width - 12, 16, height - 52
    fan = found.outlooks[outlook].fan
    highest = max(found.harmful_burden * 1.6, min(max(row[-1] for row in fan), found.harmful_burden * CAP), 2.0)

    def x(day: float) -> float:
        return round(left + (right - left) * day / found.days, 1)

    def y(burden: float) -> float:
        # log(1 + n): none has a place of its own, and a doubling looks alike at every height
        share = math.log1p(min(burden, highest)) / math.log1p(highest)
        return round(bottom - (bottom - top) * share, 1)

    def band(low: int, high: int) -> str:
        up = [f"{x(day)} {y(row[high])}" for day, row in enumerate(fan)]
        down = [f"{x(day)} {y(row[low])}" for day, row in reversed(list(enumerate(fan)))]
        return "M" + "L".join(up + down) + "Z"

    ticks = [0.0, *(10.0**n for n in range(7) if 10.0**n <= highest)]
    if len(ticks) < 4:
        ticks += [value for value in (3.0, 5.0, 30.0) if value <= highest]
    return Fan(
        name,
        width,
        height,
        left,
        right,
        top,
        bottom,
        band(0, 4),
        band(1, 3),
        "M" + "L".join(f"{x(day)} {y(row[2])}" for day, row in enumerate(fan)),
        y(found.harmful_burden),
        tuple(Words(left - 8, y(value), y(value) + 5, two(value)) for value in sorted(ticks)),
        tuple(
            Words(x(day), bottom, bottom + 22, f"{(start + dt.timedelta(days=day)):%-d %b}")
            for day in range(0, found.days + 1, max(every, -(-found.days // (4 if name == "wide" else 2))))
        ),
        x(found.look_again.in_days),
        "start" if found.look_again.in_days < found.days * 0.6 else "end",
        tuple(x(day) for day in doses),
    )


def told(found: Forecast, outlook: int) -> str:
    """The chart in a sentence, for those who hear it."""
    fan = found.outlooks[outlook].fan
    first, last = fan[0], fan[-1]
    return (
        f"Parasites a fish under {found.outlooks[outlook].name}: about {two(first[2])} now; by day {found.days} "
        f"the middle course is {two(last[2])}, half of the courses lie between {two(last[1])} and {two(last[3])}, "
        f"nine in ten between {two(last[0])} and {two(last[4])}. A harmful burden is about {two(found.harmful_burden)}."
    )
