"""The racks of a fish room as a drawing without letters: which tank has it, may have it, or was never looked at."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from wetmount.charts import EDGE, STAIN, _hatch, _path, _rect, _svg

CELL: Final = (22.0, 15.0)
GAP: Final = 3.0
ACROSS: Final = 480.0
"""Width of the page's text; racks that do not fit beside each other go on below."""
MOST_COLUMNS: Final = 24


def room_map(racks: Sequence[Sequence[Sequence[str]]]) -> str:
    """Racks as rows of tanks from above; a tank is sick (filled), suspect (hatched), clean or unlooked (dashed).

    An empty text is a place where no tank stands. Tanks are open at the top, as a tank is.
    """
    width, height = CELL
    parts, x, y, tallest, widest = [], 0.0, 0.0, 0.0, 0.0
    for rack in racks:
        columns = max((len(row) for row in rack), default=0)
        if not columns:
            continue
        across = min(columns, MOST_COLUMNS) * (width + GAP)
        if x and x + across > ACROSS:
            x, y, tallest = 0.0, y + tallest + 2 * GAP, 0.0
        lines = [row[at : at + MOST_COLUMNS] for row in rack for at in range(0, max(len(row), 1), MOST_COLUMNS)]
        for down, line in enumerate(lines):
            for along, state in enumerate(line):
                if state:
                    parts.append(_tank(x + along * (width + GAP) + 1, y + down * (height + GAP) + 1, state))
        tallest = max(tallest, len(lines) * (height + GAP))
        widest = max(widest, x + across)
        x += across + 3 * GAP
    return _svg(widest + 2, y + tallest + 2, "".join(parts))


def _tank(x: float, y: float, state: str) -> str:
    width, height = CELL
    walls = f"M{x:.1f} {y:.1f}V{y + height:.1f}H{x + width:.1f}V{y:.1f}"
    if state == "sick":
        return _rect(x, y, width, height, fill=STAIN) + _path(walls, STAIN, 1.6)
    if state == "suspect":
        return _path(_hatch(x, y, width, height, 4), STAIN, 1.0) + _path(walls, STAIN, 1.6)
    return _path(walls, EDGE, 1.2, dash="2.2 2.2" if state == "unlooked" else "")
