"""An outbreak drawn: the epidemic curve, and the lanes of a chain. As in `charts`, no letters: words stand beside.

Time runs to the right, a fixed width a day, with a tick each day and a long one each seventh from the first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from wetmount.charts import EDGE, INK, IODINE, STAIN, _hatch, _path, _rect, _svg
from wetmount.origin.chains import Chain
from wetmount.origin.curve import Curve
from wetmount.origin.illness import TankHealth
from wetmount.origin.room import Room

LEFT: Final = 4.0
LANE: Final = 28.0
"""Height of a lane: rows of words beside it are as tall."""
TALLEST: Final = 12
"""Blocks that a day's stack has at most; a taller one ends in a point, and the words say how many."""

Line = Literal["solid", "dashed", "dotted"]
_DASHES: Final[Mapping[str, str]] = {"solid": "", "dashed": "6 4", "dotted": "1.6 3"}


def day_width(days: int) -> float:
    """Points a day, so that a record of some weeks fills a page's width and a long one still shows its days."""
    return min(18.0, max(4.0, 640.0 / max(1, days)))


def curve_bars(first_seen: Sequence[int], window: tuple[int | None, int] | None = None) -> str:
    """One block for each tank on the day it was first seen ill; below the axis, hatched, the days on which a single
    exposure can explain all of them. `window` is (first day, last day) by number; None as its first: before the record.
    """
    step, days = day_width(len(first_seen)), len(first_seen)
    block = min(step - 1.0, 14.0)
    tall = max(1, min(TALLEST, max(first_seen, default=0)))
    axis = 6.0 + tall * (block + 1.5)
    parts = [_axis(days, step, axis)]
    for day, count in enumerate(first_seen):
        x = LEFT + day * step + (step - block) / 2
        parts += [
            _rect(x, axis - (k + 1) * (block + 1.5), block, block, fill=STAIN) for k in range(min(count, TALLEST))
        ]
        if count > TALLEST:
            top = axis - TALLEST * (block + 1.5)
            parts.append(
                f'<path d="M{x:.1f} {top}L{x + block / 2:.1f} {top - 5}L{x + block:.1f} {top}z" fill="{STAIN}"/>'
            )
    if window is not None:
        begin = max(0, window[0] or 0)
        end = min(days - 1, window[1])
        if begin <= end:
            x, width = LEFT + begin * step, (end - begin + 1) * step
            parts.append(_path(_hatch(x, axis + 10, width, 9, 4.5), IODINE, 1.0))
            parts.append(_rect(x, axis + 10, width, 9, stroke=IODINE, thick=1.2))
    return _svg(2 * LEFT + days * step, axis + 22, "".join(parts))


@dataclass(frozen=True, slots=True)
class Lane:
    """One tank of a chain: reached on day `reached` (None: the root, from the first day), ill from day `ill`."""

    name: str
    reached: int | None
    ill: int | None


@dataclass(frozen=True, slots=True)
class Link:
    """A contact between two lanes (their places) on a day."""

    day: int
    source: int
    goal: int
    line: Line


def chain_lanes(lanes: Sequence[Lane], links: Sequence[Link], days: int) -> str:
    """A lane for each tank, thin until it can have been reached, broad from the day it was first seen ill;
    upright lines with a point at their goal are contacts: solid for fish, dotted for shared water, else dashed.
    """
    step = day_width(days)
    width, axis = days * step, len(lanes) * LANE + 8
    parts = [_axis(days, step, axis)]
    for place, lane in enumerate(lanes):
        y = place * LANE + LANE / 2
        parts.append(_path(f"M{LEFT} {y}H{LEFT + width:.1f}", EDGE, 0.8))
        begin = LEFT + (lane.reached or 0) * step
        parts.append(_path(f"M{begin:.1f} {y}H{LEFT + width:.1f}", INK, 2.4))
        if lane.ill is not None:
            x = LEFT + lane.ill * step
            parts.append(_rect(x, y - 5, LEFT + width - x, 10, fill=STAIN))
    for link in links:
        x = LEFT + (link.day + 0.5) * step
        y1, y2 = (place * LANE + LANE / 2 for place in (link.source, link.goal))
        tip = 1 if y2 > y1 else -1
        parts.append(_path(f"M{x:.1f} {y1}V{y2}", INK, 1.8, dash=_DASHES[link.line]))
        parts.append(f'<path d="M{x - 4:.1f} {y2 - 7 * tip}L{x:.1f} {y2}L{x + 4:.1f} {y2 - 7 * tip}z" fill="{INK}"/>')
    return _svg(2 * LEFT + width, axis + 6, "".join(parts))


def _axis(days: int, step: float, y: float) -> str:
    ticks = "".join(f"M{LEFT + day * step:.1f} {y}v{6 if day % 7 == 0 else 3}" for day in range(days + 1))
    return _path(f"M{LEFT} {y}H{LEFT + days * step:.1f}{ticks}", EDGE, 1)


# --- from results -----------------------------------------------------------------------------------------------------


def draw_curve(found: Curve) -> str:
    """The drawing of an epidemic curve."""
    first = found.days[0].on
    shared = found.shared
    window = None
    if shared is not None:
        begin, end = shared
        window = (None if begin is None else (begin - first).days, (end - first).days)
    return curve_bars([len(day.first_seen) for day in found.days], window)


def draw_chain(found: Chain, room: Room, health: Mapping[str, TankHealth]) -> tuple[tuple[str, ...], str]:
    """Names of the lanes from the top, and their drawing: the root and every tank of its chain on the way to it.

    What ties tanks together (a sump, a net) has no lane: its contact is drawn from tank to tank.
    """
    names = _in_order(found)
    place = {name: index for index, name in enumerate(names)}
    lanes = [_lane(name, found, room, health) for name in names]
    links: dict[Link, None] = {}
    for name in found.reached:
        source = None
        for step in found.path(name):
            source = step.source if step.source in place else source
            if step.goal in place and source is not None:
                links[Link(step.day, place[source], place[step.goal], _line(step.kind))] = None
    return names, chain_lanes(lanes, tuple(links), room.days)


def _in_order(found: Chain) -> tuple[str, ...]:
    if found.direction == "outgoing":
        return (found.root, *found.reached)
    return (*reversed(found.reached), found.root)


def _lane(name: str, found: Chain, room: Room, health: Mapping[str, TankHealth]) -> Lane:
    first = health[name].first if name in health else None
    reached = found.day_of(name) if found.direction == "outgoing" and name != found.root else None
    return Lane(name, reached, None if first is None else room.day(first))


def _line(kind: str) -> Line:
    if kind == "fish":
        return "solid"
    return "dotted" if kind in ("sump", "water", "neighbour") else "dashed"
