"""Results → simple drawings, as SVG text without letters in it: the words stand beside them.

Every drawing has a fixed size in points, colours as attributes (no style sheet is needed, so page and print take the
same drawing) and reads in grey: filled, outlined and hatched areas differ in more than their colour. Ticks stand only
where something is measured; only looking is round.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

STAIN: Final = "#4c2a85"
INK: Final = "#12201b"
PENCIL: Final = "#36453f"
EDGE: Final = "#5f736c"
HAIR: Final = "#bccac4"
IODINE: Final = "#6f3d00"
FUCHSIN: Final = "#8d0d38"
WORKS_WASH: Final = "#cfe8de"

WEIGHT_SPAN: Final = 2.0
"""A weight of evidence is drawn up to a factor of 100 (log10) either way; longer bars are cut and end in a point."""

FIELDS: Final = {
    "none": '<circle cx="16" cy="16" r="12" stroke-dasharray="3.6 3.9"/>',
    "clear": '<circle cx="16" cy="16" r="12"/><path d="M16 4v5M16 23v5M4 16h5M23 16h5"/>',
    "swept": '<circle cx="16" cy="16" r="12"/><path d="M9 23 23 9"/>',
    "few": '<circle cx="16" cy="16" r="12"/>{dots}',
    "many": '<circle cx="16" cy="16" r="12"/>{dots}',
    "present": '<circle cx="16" cy="16" r="12"/><circle cx="16" cy="16" r="6" fill="{c}" stroke="none"/>',
    "mild": '<circle cx="16" cy="16" r="12"/><path d="M5.3 20.5a12 12 0 0 0 21.4 0z" fill="{c}" stroke="none"/>',
    "marked": '<circle cx="16" cy="16" r="12"/><path d="M4.5 12.5a12 12 0 1 0 23 0z" fill="{c}" stroke="none"/>',
    "doubt": '<circle cx="16" cy="16" r="12"/><circle cx="12.5" cy="13.5" r="2.4"/><circle cx="19.5" cy="19" r="2.4"/>',
}
"""What looking gave, as one sees it down the tube: not looked at, looked and not seen, swept, and the kinds of seen."""

_DOTS: Final = {
    "few": ((12.5, 13.5), (19.5, 19)),
    "many": ((16, 9.5), (10, 13), (22, 13), (16, 16), (10.5, 20), (21.5, 20), (16, 22.8)),
}


def field(kind: str) -> str:
    """The round field of one finding; `kind` is a key of FIELDS. Violet where something was seen, ink where not."""
    colour = INK if kind in ("none", "clear", "swept") else STAIN
    dots = "".join(f'<circle cx="{x}" cy="{y}" r="2.6" fill="{colour}" stroke="none"/>' for x, y in _DOTS.get(kind, ()))
    inside = FIELDS[kind].format(c=colour, dots=dots)
    return _svg(32, 32, f'<g fill="none" stroke="{colour}" stroke-width="2">{inside}</g>')


def cause_bar(
    responsible: float, present: float, prior: float, low: float | None = None, high: float | None = None
) -> str:
    """One cause on a scale from 0 to 1 with a tick each tenth: filled to `responsible`, outlined to `present`, a line
    from `low` to `high` when the tables are redrawn, dots at `prior`. All are probabilities."""
    width, top, thick, axis = 288.0, 5.0, 12.0, 31.0

    def x(value: float) -> float:
        return 2 + width * min(1.0, max(0.0, value))

    ticks = "".join(f"M{x(k / 10):.1f} {axis - (6 if k % 5 == 0 else 3)}V{axis}" for k in range(11))
    parts = [
        _path(f"M2 {axis}H{2 + width}{ticks}", EDGE, 1),
        _rect(2, top, x(responsible) - 2, thick, fill=STAIN),
        _rect(2.75, top + 0.75, max(0.0, x(present) - 3.5), thick - 1.5, stroke=STAIN, thick=1.5),
    ]
    if low is not None and high is not None:
        parts.append(_path(f"M{x(low):.1f} 22H{x(high):.1f}M{x(low):.1f} 19.5V24.5M{x(high):.1f} 19.5V24.5", INK, 1.6))
    # The dots stand on a white ground so that they show on the filled part too.
    parts.append(_path(f"M{x(prior):.1f} 1V20", "#ffffff", 3.2))
    parts.append(_path(f"M{x(prior):.1f} 1V20", INK, 1.6, dash="1.8 1.8"))
    return _svg(width + 4, 34, "".join(parts))


def reason_bar(weight: float) -> str:
    """How much a finding speaks for a cause (right of the line, filled) or against it (left, hatched); `weight` is
    log10 of the factor on its odds. A tick each factor of ten, up to WEIGHT_SPAN either way."""
    half, middle, top, thick, axis = 84.0, 87.0, 2.5, 8.0, 15.0
    length = half * min(abs(weight), WEIGHT_SPAN) / WEIGHT_SPAN
    scale = range(-int(WEIGHT_SPAN), int(WEIGHT_SPAN) + 1)
    ticks = "".join(f"M{middle + half * k / WEIGHT_SPAN:.1f} {axis - 3}V{axis}" for k in scale)
    parts = [_path(f"M{middle - half} {axis}H{middle + half}{ticks}", EDGE, 0.9)]
    if weight > 0:
        parts.append(_rect(middle, top, length, thick, fill=STAIN))
    elif weight < 0:
        parts.append(_path(_hatch(middle - length, top, length, thick, 4), INK, 1.1))
        parts.append(_rect(middle - length + 0.5, top + 0.5, max(0.0, length - 1), thick - 1, stroke=INK, thick=1))
    if abs(weight) > WEIGHT_SPAN:
        side, colour = (1, STAIN) if weight > 0 else (-1, INK)
        tip, base = middle + side * (half + 2.5), middle + side * (half - 4)
        parts.append(f'<path d="M{base} {top - 2}L{tip} {top + thick / 2}L{base} {top + thick + 2}z" fill="{colour}"/>')
    parts.append(_path(f"M{middle} 1V{axis}", INK, 1.2))
    return _svg(2 * middle, 16, "".join(parts))


def firmness_ruling(share: float) -> str:
    """A hundred ticks, one for each hundredth of the redraws: tall and violet where the leading cause stays first,
    short where another leads. `share` is 0 to 1."""
    held = round(100 * share)
    on = "".join(f"M{2 + 3 * k} 1V17" for k in range(held))
    off = "".join(f"M{2 + 3 * k} 10V17" for k in range(held, 100))
    return _svg(302, 18, _path(on, STAIN, 1.7) + _path(off, EDGE, 1.1))


def reading_strip(value: float, limits: Iterable[tuple[str, float, int]]) -> str:
    """A reading (open point) on its scale. `limits` are (side, value, level): from a limit outward the strip is
    hatched, once for level 1 and crossed for level 2 and more; what is left is the safe range."""
    marks = sorted(limits, key=lambda mark: mark[2])
    low, high = _span(value, [mark[1] for mark in marks], any(side == "below" for side, _, _ in marks))
    left, width, top, thick = 8.0, 132.0, 5.0, 9.0

    def x(at: float) -> float:
        return left + width * min(1.0, max(0.0, (at - low) / (high - low)))

    parts = [_rect(left, top, width, thick, fill=WORKS_WASH if marks else "#ffffff")]
    for side, at, level in marks:
        start, end = (x(at), left + width) if side == "above" else (left, x(at))
        colour = IODINE if level < 2 else FUCHSIN
        parts.append(_rect(start, top, end - start, thick, fill="#ffffff"))
        parts.append(_path(_hatch(start, top, end - start, thick, 4.5), colour, 1.0))
        if level > 1:
            parts.append(_path(_hatch(start, top, end - start, thick, 4.5, falling=True), colour, 1.0))
        parts.append(_path(f"M{x(at):.1f} {top - 3}V{top + thick + 3}", colour, 1.6))
    parts.append(_rect(left, top, width, thick, stroke=EDGE, thick=0.9))
    parts.append(
        f'<circle cx="{x(value):.1f}" cy="{top + thick / 2}" r="4.2" fill="#ffffff" stroke="{INK}" stroke-width="2.2"/>'
    )
    return _svg(2 * left + width, 19, "".join(parts))


def _span(value: float, marks: Sequence[float], two_sided: bool) -> tuple[float, float]:
    """Ends of a strip's scale: from nought where only too much counts, else a margin around reading and limits."""
    everything = [value, *marks]
    high = max(everything)
    if not two_sided:
        return 0.0, 1.25 * high if high > 0 else 1.0
    low = min(everything)
    margin = 0.35 * (high - low) or 0.2 * abs(high) or 1.0
    return low - margin, high + margin


def _hatch(x: float, y: float, width: float, height: float, step: float, *, falling: bool = False) -> str:
    """Slanting lines that fill a rectangle, each cut at its edges."""
    lines = []
    for k in range(math.floor((width + height) / step) + 1):
        reach = k * step
        x1, y1 = (reach, height) if reach <= width else (width, height - (reach - width))
        x2, y2 = (reach - height, 0.0) if reach >= height else (0.0, height - reach)
        if falling:
            x1, x2 = width - x1, width - x2
        if (x1, y1) != (x2, y2):
            lines.append(f"M{x + x1:.1f} {y + y1:.1f}L{x + x2:.1f} {y + y2:.1f}")
    return "".join(lines)


def _svg(width: float, height: float, inside: str) -> str:
    size = f'width="{width:g}" height="{height:g}" viewBox="0 0 {width:g} {height:g}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{inside}</svg>'


def _path(d: str, stroke: str, thick: float, dash: str = "") -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{d}" fill="none" stroke="{stroke}" stroke-width="{thick}"{dashed}/>' if d else ""


def _rect(
    x: float, y: float, width: float, height: float, *, fill: str = "none", stroke: str = "", thick: float = 0
) -> str:
    if width <= 0:
        return ""
    line = f' stroke="{stroke}" stroke-width="{thick}"' if stroke else ""
    return f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}" fill="{fill}"{line}/>'
