"""How much water there is: by shape, by a pinch of salt, off the label; kept with a tank, or carried into a dose."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from wetmount.casebook.services import keeping
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.views.dose_forms import Form, address, case_of, framed, of_case, place_of, places
from wetmount.dose_writing import write_quantity
from wetmount.errors import InputError
from wetmount.units import parse_quantity
from wetmount.volume import (
    POROSITY,
    SHAPES,
    SaltMeasurement,
    Vessel,
    Volume,
    doubt_of_label,
    exactly,
    system_volume,
    volume_by_salt,
    volume_from_label,
)

MOST_VESSELS: Final = 8
HOWS: Final = (("shape", "By its shape"), ("salt", "By salt"), ("label", "Off the label"))
SHAPE_WORDS: Final = {
    "box": "Box", "bow_front": "Bow front", "cylinder": "Cylinder, standing", "hexagon": "Hexagon",
    "octagon": "Octagon", "corner_pentagon": "Corner, five sides", "half_cylinder": "Half a cylinder",
    "quarter_cylinder": "Quarter of a cylinder", "lying_cylinder": "Cylinder, lying", "bowl": "Bowl",
    "frustum": "Tub, round and sloping", "ellipse": "Pond, oval", "trapezoid": "Pond, one side longer",
    "triangle": "Pond, three sides", "pipe": "Pipe, full", "litres": "Filter or sump of known litres",
}  # fmt: skip
MEASURES: Final = {
    "length": "Length", "width": "Width", "depth": "Depth of the water", "diameter": "Diameter", "radius": "Radius",
    "side": "Side", "bulge": "Bulge of the front", "wall": "Wall", "short_side": "Short side",
    "top_diameter": "Diameter at the top", "bottom_diameter": "Diameter at the bottom", "other_side": "Other side",
    "base": "Base", "height": "Height of the triangle", "litres": "Litres",
}  # fmt: skip
BEDS: Final = {
    "gravel": "gravel", "sand": "sand", "mixed": "mixed grain", "coral": "coral sand", "clay": "baked clay",
    "bed": "a bed of unknown grain",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Asked:
    """A vessel of the form: its number from 1, its shape, the names of its fields with their words."""

    number: int
    shape: str
    measures: tuple[tuple[str, str], ...]

    def name(self, of: str) -> str:
        """The name of one of its fields."""
        return f"v{self.number}_{of}"

    @property
    def sample(self) -> str:
        """How a measure of it is typed."""
        return "8 L" if self.shape == "litres" else "60 cm"

    @property
    def has_depth(self) -> bool:
        """Whether a bed can lie in it."""
        return self.shape != "litres" and "depth" in SHAPES[self.shape][1]


@require_GET
def page(request: HttpRequest) -> HttpResponse:
    """One of three ways, and the answer with its range."""
    case = case_of(request)
    form = Form(request.GET, of_case(case))
    how = request.GET.get("how", "")
    how = how if how in dict(HOWS) else "shape"
    vessels = _vessels(form)
    found = worked_out(form, how, vessels) if "go" in request.GET else None
    context: dict[str, Any] = {
        "form": form, "how": how, "hows": [(id, words, address("dose_volume", case, how=id)) for id, words in HOWS],
        "vessels": vessels, "more": len(vessels) + 1 if len(vessels) < MOST_VESSELS else 0, "fewer": len(vessels) - 1,
        "shapes": list(SHAPE_WORDS.items()), "beds": list(BEDS.items()), "places": places(case), "found": found,
        "query": request.GET.urlencode(), "number": case.number if case is not None else "",
    }  # fmt: skip
    if found is not None:
        least = write_quantity(found.volume.low_l, "L", direction="down")
        most = write_quantity(found.volume.high_l, "L", direction="up")
        context |= {
            "least": least,
            "best": write_quantity(found.volume.best_l, "L"),
            "most": most,
            "dose_href": address("dose", case, volume=f"{least} to {most}".replace(",", "")),
            "keep_href": address("dose_volume_keep", case) + ("&" if case else "?") + _without_case(request.GET),
        }
    context = framed(request, case, "dose_volume") | context
    return render(request, "casebook/dose/volume.html", context, status=422 if form.wrong else 200)


def _without_case(given: QueryDict) -> str:
    given = given.copy()
    given.pop("case", None)
    return given.urlencode()


def _vessels(form: Form) -> list[Asked]:
    sent = form.given.get("vessels", "")
    asked = form.given.get("more", "") or form.given.get("fewer", "") or sent
    count = int(asked) if asked.isascii() and asked.isdecimal() and len(asked) < 3 else 1
    found = []
    for n in range(1, max(1, min(count, MOST_VESSELS)) + 1):
        shape = form.text(f"v{n}_shape")
        shape = shape if shape in SHAPE_WORDS else "box"
        names = ("litres",) if shape == "litres" else SHAPES[shape][1]
        found.append(Asked(n, shape, tuple((f"v{n}_{name}", MEASURES[name]) for name in names)))
    return found


@dataclass(frozen=True, slots=True)
class Found:
    """The answer, the standard error where it was measured, and a doubt where shape and label disagree."""

    volume: Volume
    error: float | None = None
    doubt: str | None = None
    formulas: tuple[str, ...] = ()


def worked_out(form: Form, how: str, vessels: list[Asked]) -> Found | None:
    """The volume by the chosen way; None when a field cannot be used."""
    if how == "salt":
        return _by_salt(form)
    label = form.quantity("label", "volume")
    if how == "label":
        if label is None:
            form.wrong.setdefault("label", "Type what the label says, with its unit, such as 120 L.")
            return None
        bare = form.text("decor") == "none"
        volume = form.read("label", lambda: volume_from_label(label, decorated=not bare))
        return Found(volume, formulas=("least: label × 0.75 × 0.80; best: × 0.88 × 0.875; most: × 1 (bed and decor "
                     "as in an ordinary tank, from memory)",)) if volume is not None else None  # fmt: skip
    parts = [_part(form, vessel) for vessel in vessels]
    if form.wrong:
        return None
    total = form.read("v1_shape", lambda: system_volume([part for part in parts if part is not None]))
    if total is None:
        return None
    formulas = tuple(dict.fromkeys(_formula(vessel.shape) for vessel in vessels))
    return Found(total, doubt=doubt_of_label(total, label) if label is not None else None, formulas=formulas)


def _formula(shape: str) -> str:
    if shape == "litres":
        return "Known litres: as they were typed"
    text = " ".join((SHAPES[shape][0].__doc__ or "").split(">>>")[0].split())
    return f"{SHAPE_WORDS[shape]}: {text}" if text else SHAPE_WORDS[shape]


def _by_salt(form: Form) -> Found | None:
    salt, before = form.quantity("salt", "weight"), form.quantity("before", "conductivity")
    after = form.quantity("after", "conductivity")
    needed = {"salt": (salt, "salt stirred in, such as 30 g"), "before": (before, "conductivity before it, in uS/cm "
              "or mS/cm"), "after": (after, "conductivity an hour after it, in uS/cm or mS/cm")}  # fmt: skip
    for name, (value, words) in needed.items():
        if value is None:
            form.wrong.setdefault(name, f"Type the {words}.")
    if form.wrong or salt is None or before is None or after is None:
        return None
    try:
        measured: SaltMeasurement = volume_by_salt(salt, before / 1000, after / 1000)
    except InputError as error:
        form.refuse(error)
        return None
    formulas = (
        "Volume = salt × 1.97 ÷ rise of conductivity in mS/cm at 25 °C",
        "Range: two standard errors, of the scale (1 %), the meter (2 %) and both readings (0.01 mS/cm)",
    )
    return Found(measured.volume, measured.standard_error, formulas=formulas)


def _part(form: Form, vessel: Asked) -> Vessel | Volume | None:
    if vessel.shape == "litres":
        name = vessel.name("litres")
        litres = form.quantity(name, "volume")
        if litres is None:
            form.wrong.setdefault(name, "Type the litres, with the unit, such as 8 L.")
            return None
        return form.read(name, lambda: exactly(litres, f"{litres:g} L as known"))
    sizes: dict[str, float] = {}
    for name, words in vessel.measures:
        value = form.quantity(name, "length")
        if value is None:
            form.wrong.setdefault(name, f"{words}: an inside measure with its unit goes here, such as 60 cm.")
        else:
            sizes[name.split("_", 1)[1]] = value
    below = form.quantity(vessel.name("below"), "length") if vessel.has_depth else None
    if below and "depth" in sizes:
        sizes["depth"] -= below
        if sizes["depth"] <= 0:
            form.wrong.setdefault(vessel.name("below"), "The water would stand under the floor.")
    bed = _bed(form, vessel) if vessel.has_depth else None
    solids = {}
    for kind in ("rock", "wood"):
        grams = form.quantity(vessel.name(kind), "weight")
        if grams:
            solids[kind] = grams / 1000
    if any(name.startswith(f"v{vessel.number}_") for name in form.wrong):
        return None
    made = Vessel(vessel.shape, sizes, bed, solids)
    try:
        return system_volume([made])
    except InputError as error:
        fields = {name.split("_", 1)[1] for name, _ in vessel.measures} | {"bed", "rock", "wood"}
        form.refuse(error, vessel.name(error.field if error.field in fields and error.field else "shape"))
        return None


def _bed(form: Form, vessel: Asked) -> tuple[str, float] | None:
    kind, depth = form.text(vessel.name("bed")), form.text(vessel.name("bed_depth"))
    if not kind and not depth:
        return None
    name = vessel.name("bed_depth")
    if not depth:
        form.wrong.setdefault(name, "Say how deep the bed is, such as 4 cm.")
        return None
    value = form.read(name, lambda: parse_quantity(depth, "length", field=name).value)
    return None if value is None else (kind if kind in POROSITY else "bed", value)


@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """What was worked out as the volume of a tank or a system; worked out anew from the address, never from figures
    that were sent."""
    case = case_of(request)
    form = Form(request.GET)
    how = request.GET.get("how", "")
    found = worked_out(form, how if how in dict(HOWS) else "shape", _vessels(form))
    if found is None:
        raise Refused("There is no volume to keep. " + " ".join(form.wrong.values()))
    row = place_of(request.POST.get("place", ""))
    if row is None:
        raise Refused("Choose the tank whose volume this is.")
    volume = found.volume
    said = f"{row.name}: {volume.best_l:.3g} L, between {volume.low_l:.3g} and {volume.high_l:.3g}"
    keeping.change_row(
        request.device, row, said, volume_l=_figures(volume.best_l), volume_low_l=_figures(volume.low_l),
        volume_high_l=_figures(volume.high_l),
    )  # fmt: skip
    return redirect(address("dose", case, place=request.POST.get("place", "")))


def _figures(litres: float) -> float:
    return float(f"{litres:.4g}")
