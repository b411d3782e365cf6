"""What a tally says so far, in words: density with its interval, how sure "none" is, whether more fields pay."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from wetmount.counts import count_density, field_area_from_diameter_mm2, field_area_mm2, more_fields_worth, none_by_now
from wetmount.errors import InputError
from wetmount.reference import Reference

MOST_KINDS: Final = 8
MOST_FIELDS: Final = 2_000
MOST_IN_A_FIELD: Final = 100_000
OBJECTIVES: Final = ("4x", "10x", "20x", "40x", "60x", "100x")
MATTERS_PER_MM2: Final = 1.0
"""Density that "none" is judged against unless another is chosen (the project's choice)."""
MATTERS_PER_FIELD: Final = 0.1
"""The same where the area of a field is not known: one in ten fields (the project's choice)."""


@dataclass(frozen=True, slots=True)
class Microscope:
    """The practice's microscope: field number of the eyepiece (mm), tube factor, diameters read on a stage micrometer
    (mm, by objective), and the density that matters (per mm²)."""

    field_number_mm: float | None = None
    tube: float = 1.0
    diameters_mm: Mapping[str, float] | None = None
    matters_per_mm2: float = MATTERS_PER_MM2

    def area_mm2(self, objective: str) -> float | None:
        """Area of a field under this objective; None when nothing is known of it."""
        measured = (self.diameters_mm or {}).get(objective)
        if measured is not None:
            return field_area_from_diameter_mm2(measured)
        if self.field_number_mm is None or objective not in OBJECTIVES:
            return None
        return field_area_mm2(self.field_number_mm, float(objective.rstrip("x")), self.tube)


def tally_of(sent: Any, reference: Reference) -> dict[str, list[int]]:
    """A tally as a page sends it: finding id to the number in each field, all of one length. Raises InputError."""
    if not isinstance(sent, dict) or len(sent) > MOST_KINDS:
        raise InputError(f"a tally holds up to {MOST_KINDS} kinds, each with the number in every field", field="counts")
    lengths = set()
    tally: dict[str, list[int]] = {}
    for id, values in sent.items():
        row = reference.findings.get(id)
        if row is None or row.kind != "organism":
            raise InputError(f"{str(id)[:40]!r} is nothing that is counted; choose a kind of the list", field="counts")
        if not isinstance(values, list) or len(values) > MOST_FIELDS:
            raise InputError(f"accepted are the numbers in up to {MOST_FIELDS} fields", field="counts")
        for value in values:
            if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= MOST_IN_A_FIELD:
                raise InputError(
                    f"{str(value)[:40]!r} is no count; accepted are whole numbers from 0 to {MOST_IN_A_FIELD}",
                    field="counts",
                )
        lengths.add(len(values))
        tally[id] = values
    if len(lengths) > 1:
        raise InputError("the kinds are counted over different numbers of fields; every kind needs all", field="counts")
    return tally


def fields_of(tally: Mapping[str, Sequence[int]]) -> int:
    """Fields looked at."""
    return max((len(values) for values in tally.values()), default=0)


def told(
    tally: Mapping[str, Sequence[int]], area_mm2: float | None, microscope: Microscope, reference: Reference
) -> dict[str, Any]:
    """For the page: by kind its total and density in words; and what to say about "enough"."""
    kinds: dict[str, dict[str, Any]] = {}
    enough: list[str] = []
    not_yet: list[str] = []
    for id, values in tally.items():
        name = short_name(reference.findings[id].name)
        total = sum(values)
        density = "nothing counted yet"
        if values:
            found = count_density(list(values), area_mm2=area_mm2)
            scale, unit = (1.0, "a field") if area_mm2 is None else (area_mm2, "a mm²")
            matters = MATTERS_PER_FIELD if area_mm2 is None else microscope.matters_per_mm2
            if total:
                mean, low, high = (two(x / scale) for x in (found.mean, found.low, found.high))
                density = f"{mean} {unit} ({low} to {high})" + (", clumped" if found.k is not None else "")
                (enough if more_fields_worth(found) == 0 else not_yet).append(_worth(name, found))
            else:
                none = none_by_now(len(values), matters * scale, area_mm2=area_mm2)
                density = f"none; under {two(none.upper_per_field / scale)} {unit}"
                (enough if none.more_fields == 0 else not_yet).append(
                    f"{_first_upper(name)}: had there been {two(matters)} {unit}, you would have met one by now "
                    f"{chances(none.chance_met)}."
                    + (f" {_more_fields(none.more_fields)} would make it 95 in 100." if none.more_fields else "")
                )
        kinds[id] = {"total": total, "density": density}
    first = "" if not tally or not fields_of(tally) else "More fields pay." if not_yet else "Yes, this is enough."
    return {"kinds": kinds, "verdict": first, "enough": [*not_yet, *enough], "fields": fields_of(tally)}


def _worth(name: str, density: Any) -> str:
    more = more_fields_worth(density)
    if not more:
        return f"{_first_upper(name)}: known to within half as much again; more fields would change little."
    if more > MOST_FIELDS:
        return f"{_first_upper(name)}: too few to be known well on one slide; take it as few."
    return f"{_first_upper(name)}: {_more_fields(more)} would tell it to within half as much again."


def _more_fields(n: int) -> str:
    return f"{n} more field" if n == 1 else f"{n} more fields"


def chances(share: float) -> str:
    """A chance as counts: 'in 3 counts of 4'."""
    if share < 0.05:
        return "in fewer than 1 count of 20"
    if share > 0.995:
        return "in more than 99 counts of 100"
    if share >= 0.9:
        return f"in {math.floor(share * 100)} counts of 100"
    of = min((2, 3, 4, 5, 10), key=lambda n: (abs(round(share * n) / n - share) > 0.06, n))
    n = max(1, min(of - 1, round(share * of)))
    return f"in {n} count{'s' if n > 1 else ''} of {of}"


def two(value: float) -> str:
    """Two significant figures, without exponent."""
    if value <= 0:
        return "0"
    if math.isinf(value):
        return "any number"
    rounded = float(f"{value:.1e}")
    places = max(0, 1 - math.floor(math.log10(rounded)))
    return f"{rounded:.{places}f}"


def short_name(name: str) -> str:
    """The name of a finding without its place, which the head of the page says."""
    for place in (" on skin", " in skin", " on gill", " in gut", " in faeces", " in organ", " in organ stain"):
        if name.endswith(place):
            return name[: -len(place)]
    return name


def _first_upper(text: str) -> str:
    return text[:1].upper() + text[1:]
