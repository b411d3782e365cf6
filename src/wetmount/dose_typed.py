"""What was typed about fish, water and volume, as an order takes it: for the command and for the pages alike."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from wetmount.case_check import host_row
from wetmount.dose_units import dose_in, parse_dose
from wetmount.errors import InputError
from wetmount.hard_stops import THINGS, WaterState, rule_unit
from wetmount.reference import Reference
from wetmount.reference.rows import DoseRow
from wetmount.units import CACO3_MG_PER_L_PER_DEGREE, parse_quantity
from wetmount.volume import Volume, exactly

READINGS: Final[Mapping[str, tuple[str, float]]] = {
    "temperature": ("temperature_c", 1.0),
    "ph": ("ph", 1.0),
    "kh": ("alkalinity_mg_caco3_per_l", CACO3_MG_PER_L_PER_DEGREE),
    "gh": ("hardness_mg_caco3_per_l", CACO3_MG_PER_L_PER_DEGREE),
    "oxygen": ("oxygen_mg_per_l", 1.0),
    "ammonia": ("total_ammonia_mg_n_per_l", 1.0),
    "nitrite": ("nitrite_mg_no2_per_l", 1.0),
    "chloride": ("chloride_mg_per_l", 1.0),
    "chlorine": ("chlorine_mg_per_l", 1.0),
}
"""Readings that decide about a dose: name -> field of WaterState, and what the reading is multiplied by."""


def hosts_of(
    names: Iterable[str], reference: Reference, *, field: str = "host"
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Host groups and species of what was named; any fish when nothing was. InputError for an unknown name."""
    groups, species = [], []
    for name in tuple(names) or ("fish",):
        if name in reference.host_groups:
            groups.append(name)
            continue
        host = host_row(name, reference)
        if host is None:
            raise InputError(f"no host {name!r}; write a scientific or common name, or a host group", field=field)
        groups.append(host.host_group)
        species.append(host.scientific_name)
    return tuple(groups), tuple(species)


REST: Final = "rest"
"""Said instead of all that was not named."""


def things_of(there: Iterable[str], absent: Iterable[str]) -> dict[str, str]:
    """ "yes" or "no" to each of THINGS that was said to be there or not; `rest` among the absent stands for all others.
    InputError for an unknown name and for one that is said to be both."""
    answers: dict[str, str] = {}
    absent = tuple(absent)
    for field, answer, names in (("--with", "yes", tuple(there)), ("--without", "no", absent)):
        for name in names:
            if name == REST and answer == "no":
                continue
            if name not in THINGS:
                more = f" and {REST} for all others" if answer == "no" else ""
                raise InputError(f"no {name!r}; accepted: {', '.join(THINGS)}{more}", field=field)
            if answers.setdefault(name, answer) != answer:
                raise InputError(f"{name} cannot be both there and not there", field=field)
    if REST in absent:
        answers = dict.fromkeys(THINGS, "no") | answers
    return answers


def water_of(readings: Mapping[str, str], marine: bool | None) -> WaterState:
    """Readings, each with its unit, as the water of an order; KH and GH become mg/L CaCO3."""
    known: dict[str, Any] = {"marine": marine}
    for name, text in readings.items():
        column, factor = READINGS[name]
        known[column] = parse_quantity(text, name, field=name).value * factor
    return WaterState(**known)


def volume_of(text: str, *, field: str = "volume") -> Volume:
    """A volume, or a range `660 L to 780 L`."""
    parts = [parse_quantity(part, "volume", field=field).value for part in text.split(" to ")]
    low, high = parts[0], parts[-1]
    if len(parts) > 2 or high < low:
        raise InputError(f'"{text}" is no range; write it as "660 L to 780 L"', field=field)
    try:
        exactly(low)
        exactly(high)
    except InputError as error:
        raise InputError(error.message, field=field) from None
    return Volume(low, (low + high) / 2, high, (text,))


def already_of(text: str, row: DoseRow, *, field: str = "already") -> float:
    """What is there of the agent before the dose, typed with its unit (`0.5 g/L`), in the unit in which the row's dose
    is worked out; `0` needs no unit. InputError for a bare number or a unit that does not fit."""
    if text.strip() in ("0", "none"):
        return 0.0
    return dose_in(parse_dose(text, field=field), rule_unit(row), row.substance, row.counted_as, field=field)
