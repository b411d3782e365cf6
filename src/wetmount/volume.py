"""How much water there is: from the shape, the label, or a pinch of salt and a conductivity meter.

Dimensions are inside dimensions in cm with the depth of the water, volumes are litres. Every answer is a range, because
a dose goes by the smallest plausible volume (and by the largest where too little kills). Formulas of solids are
textbook geometry (bow front: a segment of a circle on the chord). Figures for beds and rock are ranges of
hydrogeology texts, from memory (Freeze and Cherry 1979).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from wetmount.dose_writing import write_mass, write_number, write_quantity
from wetmount.errors import InputError

LARGEST_L: Final = 5e8
"""A pond of half a million cubic metres: more is a slip."""
TAPE_CM: Final = 0.5
"""How far a dimension may be off: common practice, no source."""
LABEL_SHARE: Final = (0.75, 0.88, 1.0)
"""Water against the litres of the label for 13 standard tanks filled to 2.5 cm below the rim: least, mean, most
(computed from their outside dimensions, 6 or 10 mm glass)."""
DECOR_SHARE: Final = (0.80, 0.95)
"""Water left by bed and decor in an ordinary tank (memory)."""

# Void fraction of a bed, least and most.
POROSITY: Final[Mapping[str, tuple[float, float]]] = {
    "gravel": (0.38, 0.45),
    "sand": (0.38, 0.42),
    "mixed": (0.20, 0.35),
    "coral": (0.45, 0.55),
    "clay": (0.55, 0.65),
    "bed": (0.25, 0.65),
}
# Density, kg to the litre, least and most.
DENSITY: Final[Mapping[str, tuple[float, float]]] = {
    "rock": (2.6, 2.9),
    "quartz": (2.65, 2.65),
    "granite": (2.7, 2.7),
    "limestone": (2.7, 2.7),
    "basalt": (2.9, 2.9),
    "aragonite": (2.9, 2.9),
    "wood": (0.4, 1.2),
    "plants": (1.0, 1.05),
    "fish": (1.0, 1.05),
}


@dataclass(frozen=True, slots=True)
class Volume:
    """Net water in litres: the least and the most it may plausibly be, and the best figure; `how` says from what."""

    low_l: float
    best_l: float
    high_l: float
    how: tuple[str, ...] = ()

    def __add__(self, other: Volume) -> Volume:
        return Volume(
            self.low_l + other.low_l, self.best_l + other.best_l, self.high_l + other.high_l, self.how + other.how
        )


def exactly(litres: float, how: str = "as metered in") -> Volume:
    """A volume that is known; litres. InputError when it is nothing, negative or absurd."""
    _sound(litres)
    return Volume(litres, litres, litres, (how,))


# --- shapes (cm in, litres out) -------------------------------------------------------------------------------------


def box(length: float, width: float, depth: float) -> float:
    """L W h.

    >>> box(60, 30, 36)
    64.8
    """
    return length * width * depth / 1000


def cylinder(diameter: float, depth: float) -> float:
    """pi r² h, standing."""
    return math.pi * (diameter / 2) ** 2 * depth / 1000


def half_cylinder(radius: float, depth: float) -> float:
    """pi r² h / 2: a tank whose straight side is the diameter against a wall."""
    return math.pi * radius**2 * depth / 2000


def quarter_cylinder(radius: float, depth: float) -> float:
    """pi r² h / 4: a corner tank."""
    return math.pi * radius**2 * depth / 4000


def lying_cylinder(diameter: float, length: float, depth: float) -> float:
    """L (r² acos((r - h)/r) - (r - h) sqrt(2 r h - h²)), filled to a depth."""
    r = diameter / 2
    if depth > diameter:
        raise InputError(f"depth {depth:g} cm is more than the diameter {diameter:g} cm", field="depth")
    return length * (r**2 * math.acos((r - depth) / r) - (r - depth) * math.sqrt(2 * r * depth - depth**2)) / 1000


def bowl(diameter: float, depth: float) -> float:
    """pi h² (3 r - h) / 3: a sphere filled to a depth."""
    if depth > diameter:
        raise InputError(f"depth {depth:g} cm is more than the diameter {diameter:g} cm", field="depth")
    return math.pi * depth**2 * (1.5 * diameter - depth) / 3000


def frustum(top_diameter: float, bottom_diameter: float, depth: float) -> float:
    """pi h (r1² + r1 r2 + r2²) / 3: a tub."""
    r, s = top_diameter / 2, bottom_diameter / 2
    return math.pi * depth * (r**2 + r * s + s**2) / 3000


def tapered_box(top_area: float, bottom_area: float, depth: float) -> float:
    """h (A1 + A2 + sqrt(A1 A2)) / 3 with the areas of surface and floor in cm²."""
    return depth * (top_area + bottom_area + math.sqrt(top_area * bottom_area)) / 3000


def hexagon(side: float, depth: float) -> float:
    """6 s² h / (4 tan(pi/6)): regular, six sides."""
    return _polygon(6, side, depth)


def octagon(side: float, depth: float) -> float:
    """8 s² h / (4 tan(pi/8)): regular, eight sides."""
    return _polygon(8, side, depth)


def _polygon(sides: int, side: float, depth: float) -> float:
    return sides * side**2 * depth / (4 * math.tan(math.pi / sides)) / 1000


def corner_pentagon(wall: float, short_side: float, depth: float) -> float:
    """(a² - (a - b)²/2) h: two walls of length a, two short sides b, the front cut across."""
    if short_side > wall:
        raise InputError("the short side is longer than the wall", field="short_side")
    return (wall**2 - (wall - short_side) ** 2 / 2) * depth / 1000


def bow_front(length: float, width: float, bulge: float, depth: float) -> float:
    """(L W + segment) h; the segment of a circle with chord L and sagitta B has R = (L²/4 + B²)/(2 B),
    th = 2 asin(L/(2 R)) and the area R² (th - sin th)/2. `width` is that of the sides."""
    if bulge > length / 2:
        raise InputError("the bulge of a bow front is at most half its length", field="bulge")
    radius = (length**2 / 4 + bulge**2) / (2 * bulge)
    angle = 2 * math.asin(min(1.0, length / (2 * radius)))
    return (length * width + radius**2 * (angle - math.sin(angle)) / 2) * depth / 1000


def ellipse(length: float, width: float, depth: float, fullness: float = 1.0) -> float:
    """pi (a/2)(b/2) h k; k = 1 for upright sides, 0.75 to 0.85 for sloping ones (common practice)."""
    if not 0 < fullness <= 1:
        raise InputError("fullness is a share above 0 and at most 1", field="fullness")
    return math.pi * length * width / 4 * depth * fullness / 1000


def trapezoid(side: float, other_side: float, width: float, depth: float) -> float:
    """(a + b)/2 w h: a pond of trapezoid plan."""
    return (side + other_side) / 2 * width * depth / 1000


def triangle(base: float, height: float, depth: float) -> float:
    """b h/2 d: a pond of triangular plan."""
    return base * height / 2 * depth / 1000


def pipe(diameter: float, length: float) -> float:
    """pi r² L, full."""
    return math.pi * (diameter / 2) ** 2 * length / 1000


def strips(sections_cm2: Sequence[float], spacing_cm: float) -> float:
    """An irregular pond from its cross-sections (width times mean depth) at even spacing, by Simpson's rule; an odd
    number of sections, three or more, the ends included."""
    if len(sections_cm2) < 3 or len(sections_cm2) % 2 == 0:
        raise InputError("Simpson's rule needs an odd number of sections, three or more")
    if min(sections_cm2) < 0 or not math.isfinite(sum(sections_cm2)):
        raise InputError("a section is an area of at least 0 cm2")
    inner = 4 * sum(sections_cm2[1:-1:2]) + 2 * sum(sections_cm2[2:-1:2])
    litres = spacing_cm / 3 * (sections_cm2[0] + inner + sections_cm2[-1]) / 1000
    _sound(litres)
    return litres


SHAPES: Final[Mapping[str, tuple[Callable[..., float], tuple[str, ...]]]] = {
    "box": (box, ("length", "width", "depth")),
    "cylinder": (cylinder, ("diameter", "depth")),
    "half_cylinder": (half_cylinder, ("radius", "depth")),
    "quarter_cylinder": (quarter_cylinder, ("radius", "depth")),
    "lying_cylinder": (lying_cylinder, ("diameter", "length", "depth")),
    "bowl": (bowl, ("diameter", "depth")),
    "frustum": (frustum, ("top_diameter", "bottom_diameter", "depth")),
    "hexagon": (hexagon, ("side", "depth")),
    "octagon": (octagon, ("side", "depth")),
    "corner_pentagon": (corner_pentagon, ("wall", "short_side", "depth")),
    "bow_front": (bow_front, ("length", "width", "bulge", "depth")),
    "ellipse": (ellipse, ("length", "width", "depth")),
    "trapezoid": (trapezoid, ("side", "other_side", "width", "depth")),
    "triangle": (triangle, ("base", "height", "depth")),
    "pipe": (pipe, ("diameter", "length")),
}
"""Every shape that is asked by name, with its dimensions in cm."""


@dataclass(frozen=True, slots=True)
class Vessel:
    """One container of a system. `dimensions_cm` are named as the shape names them. `bed` is (kind of POROSITY, mean
    depth in cm), its area that of the water at the floor; `solids_kg` is by kind of DENSITY."""

    shape: str
    dimensions_cm: Mapping[str, float]
    bed: tuple[str, float] | None = None
    solids_kg: Mapping[str, float] = field(default_factory=dict)
    tape_cm: float = TAPE_CM


def vessel_volume(vessel: Vessel) -> Volume:
    """Net water of one vessel: its shape less what bed, rock and wood take.

    The range covers the tape (every dimension off by `tape_cm`, never by more than a tenth), porosity and density.
    """
    if vessel.shape not in SHAPES:
        raise InputError(f"no shape {vessel.shape!r}; accepted: {', '.join(SHAPES)}", field="shape")
    formula, names = SHAPES[vessel.shape]
    missing = [name for name in names if name not in vessel.dimensions_cm]
    unknown = [name for name in vessel.dimensions_cm if name not in names]
    if missing or unknown:
        raise InputError(f"a {vessel.shape} has {', '.join(names)}, each with its unit", field=(missing + unknown)[0])
    for name in names:
        value = vessel.dimensions_cm[name]
        if not 0 < value < math.inf:
            raise InputError(f"{value:g} cm is no dimension; it must be more than 0", field=name)
    sizes = [vessel.dimensions_cm[name] for name in names]
    best = formula(*sizes)
    ends = [(s - min(vessel.tape_cm, s / 10), s + min(vessel.tape_cm, s / 10)) for s in sizes]
    corners = [best]
    for corner in itertools.product(*ends):
        try:
            corners.append(formula(*corner))
        except (InputError, ValueError):
            continue  # such a corner would be filled above the brim: it is no plausible size
    taken, how = _displacement(vessel, best / vessel.dimensions_cm.get("depth", math.inf) * 1000)
    volume = Volume(
        min(corners) - taken[1],
        best - (taken[0] + taken[1]) / 2,
        max(corners) - taken[0],
        (f"{vessel.shape} {' x '.join(f'{s:g}' for s in sizes)} cm: {best:.4g} L gross", *how),
    )
    if volume.low_l <= 0:
        raise InputError("bed and decor take more room than the vessel has", field="bed")
    _sound(volume.best_l)
    return volume


def _displacement(vessel: Vessel, floor_cm2: float) -> tuple[tuple[float, float], tuple[str, ...]]:
    """Litres that bed and solids take, least and most, and the words for it."""
    low = high = 0.0
    how = []
    if vessel.bed is not None:
        kind, depth = vessel.bed
        if kind not in POROSITY:
            raise InputError(f"no bed {kind!r}; accepted: {', '.join(POROSITY)}", field="bed")
        if not 0 <= depth < vessel.dimensions_cm.get("depth", 0):
            raise InputError("the bed is deeper than the water", field="bed")
        loose, tight = POROSITY[kind][1], POROSITY[kind][0]
        bulk = floor_cm2 * depth / 1000
        low, high = bulk * (1 - loose), bulk * (1 - tight)
        how.append(f"{kind} {depth:g} cm deep takes {low:.3g} to {high:.3g} L")
    for kind, mass in vessel.solids_kg.items():
        if kind not in DENSITY:
            raise InputError(f"no solid {kind!r}; accepted: {', '.join(DENSITY)}", field=kind)
        if not 0 <= mass < math.inf:
            raise InputError(f"{mass:g} kg is no weight", field=kind)
        least, most = mass / DENSITY[kind][1], mass / DENSITY[kind][0]
        low, high = low + least, high + most
        how.append(f"{kind} {mass:g} kg takes {least:.3g} to {most:.3g} L")
    return (low, high), tuple(how)


def system_volume(parts: Iterable[Vessel | Volume]) -> Volume:
    """All vessels, sumps and pipes that share water, as one."""
    volumes = [vessel_volume(part) if isinstance(part, Vessel) else part for part in parts]
    if not volumes:
        raise InputError("no vessel is given")
    total = volumes[0]
    for volume in volumes[1:]:
        total = total + volume
    _sound(total.best_l)
    return total


def volume_from_label(label_l: float, *, decorated: bool = True) -> Volume:
    """A guess from the litres on the label alone: wide on purpose (`LABEL_SHARE`, `DECOR_SHARE`).

    >>> round(volume_from_label(208).low_l, 1)
    124.8
    """
    _sound(label_l)
    low, best, high = LABEL_SHARE
    if decorated:
        low, best = low * DECOR_SHARE[0], best * sum(DECOR_SHARE) / 2
    how = f"guessed from the label, {write_quantity(label_l, 'L')}"
    return Volume(label_l * low, label_l * best, label_l * high, (how,))


# --- measured by salt -----------------------------------------------------------------------------------------------

SALT_MS_PER_CM_PER_G_PER_L: Final = 1.97
"""Rise of conductivity at 25 °C by 1 g/L of sodium chloride in dilute water: molar conductivity 115.8 S cm²/mol at
0.02 mol/L (CRC Handbook of Chemistry and Physics) over 58.44 g/mol is 1.98; it falls slowly with strength."""
SIGMAS: Final = 2.0
"""Standard errors to each side that count as plausible."""


@dataclass(frozen=True, slots=True)
class SaltMeasurement:
    """A volume from salt: the range of two standard errors, and one standard error as a share."""

    volume: Volume
    rise_g_per_l: float
    standard_error: float


def volume_by_salt(
    salt_g: float,
    before_ms_per_cm: float,
    after_ms_per_cm: float,
    *,
    salt_error: float = 0.01,
    meter_error: float = 0.02,
    reading_ms_per_cm: float = 0.01,
) -> SaltMeasurement:
    """V = salt / rise, rise = (EC after - EC before) / 1.97, conductivities corrected to 25 °C by the meter.

    dV/V = sqrt((dm/m)² + gain² + 2 (reading/rise)²): errors of the scale and of the meter's gain as shares, and of each
    of its two readings in mS/cm. Plain dry sodium chloride, stirred in for an hour. InputError when the rise is not at
    least five times the reading error: then more salt is needed.

    >>> round(volume_by_salt(30, 0.35, 0.94).volume.best_l), round(volume_by_salt(30, 0.35, 0.94).standard_error, 3)
    (100, 0.033)
    """
    if not 0 < salt_g < math.inf:
        raise InputError(f"{salt_g:g} g of salt; it must be more than 0", field="salt")
    rise = after_ms_per_cm - before_ms_per_cm
    if not (before_ms_per_cm >= 0 and rise >= 5 * reading_ms_per_cm):
        raise InputError(
            f"conductivity rose by {rise:.3g} mS/cm, too little to tell a volume; add more salt or check the readings",
            field="after",
        )
    rise_g_per_l = rise / SALT_MS_PER_CM_PER_G_PER_L
    litres = salt_g / rise_g_per_l
    _sound(litres)
    error = math.sqrt(salt_error**2 + meter_error**2 + 2 * (reading_ms_per_cm / rise) ** 2)
    spread = min(SIGMAS * error, 0.9)
    volume = Volume(
        litres * (1 - spread),
        litres,
        litres * (1 + spread),
        (f"{write_mass(salt_g)} salt raised conductivity by {write_number(rise)} mS/cm",),
    )
    return SaltMeasurement(volume, rise_g_per_l, error)


def doubt_of_label(volume: Volume, label_l: float) -> str | None:
    """A question when the shape and the label differ by more than a tank and its label ever do; None when they agree.

    Tenfold differences are named as what they usually are, a slip of the decimal point or of the unit.
    """
    ratio = volume.best_l / label_l
    if 0.5 <= ratio <= 1.3:
        return None
    times = ratio if ratio > 1 else 1 / ratio
    slip = " That is about tenfold: a decimal point?" if 7 <= times <= 13 else ""
    ours, theirs = write_quantity(volume.best_l, "L"), write_quantity(label_l, "L")
    return f"It comes to {ours} and the label says {theirs}.{slip} Which is right?"


def _sound(litres: float) -> None:
    if not 0 < litres <= LARGEST_L:
        raise InputError(f"{litres:g} L is no volume to dose; accepted: more than 0 to {LARGEST_L:g} L", field="volume")
