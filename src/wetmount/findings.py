"""Readings of the water → graded findings, each with the words that led to it.

A reading is compared with the limits of its host: the row of `limits` for the narrowest host group that has one, or the
range of the species itself for temperature, pH and hardness. What is not measured but follows from what was (un-ionised
ammonia, oxygen saturation, carbon dioxide) is worked out first. A reading within limits is a finding too: tested and
clean, level 0. What cannot be graded is said, not guessed.

Three rules are more than a comparison, each a function of its own: `nitrite_cap` (chloride keeps nitrite out),
`copper_limit` (soft water makes copper worse) and `species_limits` (hardness counts only when far outside).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from msgspec import structs

from wetmount import water
from wetmount.errors import InputError
from wetmount.reference.loader import Reference
from wetmount.reference.rows import Limit
from wetmount.units import CACO3_MG_PER_L_PER_DEGREE, KINDS, READINGS, Quantity

SEA_WATER_G_PER_KG: Final = 35.0
"""Salinity taken for marine hosts when none was measured."""
CHLORIDE_FROM_SALINITY_G_PER_KG: Final = 1.0
"""A salinity counts as salt, and so as chloride, from here up: hard tap water without salt reads up to 0.5 g/L."""
SALT_CONDUCTIVITY_US_PER_CM: Final = 3000.0
"""Conductivity from which the water of any host holds salt (memory: natural fresh water ends near 2 000)."""
HARDNESS_FAR: Final = 2.0
"""Hardness is off below 1/2 of the lower and above 2 times the upper end of a species' range (memory)."""

_WORKED_OUT: Final[Mapping[str, tuple[str, str]]] = {
    "un_ionised_ammonia": ("un-ionised ammonia", "mg/L N"),
    "chloride_to_nitrite": ("chloride to nitrite", "mg/mg"),
}
"""Name and unit of the parameters that are never measured, only worked out."""

_GRADED: Final = (
    "un_ionised_ammonia", "nitrite", "nitrate", "ph", "oxygen_saturation", "oxygen", "gas_pressure", "chlorine",
    "temperature", "gh", "kh", "turbidity", "bacteria", "copper", "co2",
)  # fmt: skip
"""Parameters that are compared with limits, in the order they are told."""


@dataclass(frozen=True, slots=True)
class GradedFinding:
    """A finding that follows from readings.

    `level` 0 = tested and within limits, None = cannot be graded (`trace` says why). `trace` tells in words which
    reading, formula and limit led to it; `limits` are the rows that were used.
    """

    finding: str
    level: int | None
    trace: tuple[str, ...]
    limits: tuple[Limit, ...] = ()


@dataclass(frozen=True, slots=True)
class Derived:
    """A parameter, measured or worked out, in the unit of its kind; `how` says in words where it came from."""

    parameter: str
    value: float
    unit: str
    how: str
    measured: bool


@dataclass(frozen=True, slots=True)
class WaterState:
    """All that is known of a water: parameters by name, and what could not be worked out (parameter → why)."""

    parameters: Mapping[str, Derived]
    missing: Mapping[str, str]
    salinity_g_per_kg: float
    air_pressure_mmhg: float
    is_marine: bool
    assumed: tuple[str, ...]


def number(value: float) -> str:
    """A value in at most three significant figures, without exponent and trailing zeros.

    >>> number(0.03699), number(100000), number(26.0)
    ('0.037', '100000', '26')
    """
    rounded = float(f"{value:.3g}")
    text = f"{rounded:.10f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def parameter_name(parameter: str) -> str:
    """The words for a parameter of the limits table."""
    return _WORKED_OUT[parameter][0] if parameter in _WORKED_OUT else KINDS[parameter].meaning


# --- what the readings say together ---------------------------------------------------------------------------------


def water_state(readings: Mapping[str, Quantity], host_group: str, reference: Reference) -> WaterState:
    """The readings (keys of `units.READINGS`, in the units of their kinds) and what follows from them.

    Raises `InputError` for an unknown reading or one in another unit.
    """
    values = _checked(readings)
    is_marine = "marine" in reference.host_group_line(host_group)
    salinity, assumed = _salinity(values, is_marine)
    pressure, pressure_words = _air_pressure(values)
    if pressure_words:
        assumed = (*assumed, pressure_words)
    known = {name: _measured(name, value) for name, value in values.items()}
    missing: dict[str, str] = {}
    for parameter, work_out in (
        ("un_ionised_ammonia", _un_ionised_ammonia),
        ("oxygen_saturation", _oxygen_saturation),
        ("co2", _co2),
    ):
        if parameter in known:
            continue
        try:
            derived = work_out(values, salinity, pressure, is_marine)
        except InputError as error:
            missing[parameter] = error.message
            continue
        if isinstance(derived, Derived):
            known[parameter] = derived
        elif derived is not None:
            missing[parameter] = derived
    ratio = _chloride_to_nitrite(values, salinity)
    if ratio is not None:
        known[ratio.parameter] = ratio
    return WaterState(known, missing, salinity, pressure, is_marine, assumed)


def _checked(readings: Mapping[str, Quantity]) -> dict[str, float]:
    for name, quantity in readings.items():
        if name not in READINGS:
            raise InputError(f'unknown reading "{name}"; accepted: {", ".join(READINGS)}', field=name)
        if quantity.unit != KINDS[name].unit:
            raise InputError(f'{quantity} is not in the unit used inside, "{KINDS[name].unit}"', field=name)
    return {name: readings[name].value for name in READINGS if name in readings}


def _measured(name: str, value: float) -> Derived:
    kind = KINDS[name]
    words = f"pH {number(value)}" if name == "ph" else f"{kind.meaning} {_with_unit(value, kind.unit)}"
    return Derived(name, value, kind.unit, words, True)


def _salinity(values: Mapping[str, float], is_marine: bool) -> tuple[float, tuple[str, ...]]:
    """Salinity in g/kg for the formulas, and what was assumed for it."""
    if "salinity" in values:
        return values["salinity"], ()
    conductivity = values.get("conductivity", 0.0)
    if conductivity >= SALT_CONDUCTIVITY_US_PER_CM or (is_marine and conductivity > 0):
        try:
            salinity = water.salinity_from_conductivity(conductivity / 1000)
        except InputError:
            pass
        else:
            return salinity, (f"salinity {number(salinity)} g/kg from the conductivity (PSS-78)",)
    if is_marine:
        return SEA_WATER_G_PER_KG, (f"salinity {number(SEA_WATER_G_PER_KG)} g/kg taken, as none was measured",)
    return 0.0, ()


def _air_pressure(values: Mapping[str, float]) -> tuple[float, str]:
    if "air_pressure" in values:
        return values["air_pressure"], ""
    if "altitude" in values:
        pressure = water.pressure_at_altitude_mmhg(values["altitude"])
        words = f"air pressure {number(pressure)} mmHg from the altitude (ICAO standard atmosphere)"
        return pressure, words
    return water.STANDARD_PRESSURE_MMHG, ""


def _un_ionised_ammonia(values: Mapping[str, float], salinity: float, _: float, __: bool) -> Derived | str | None:
    total = values.get("ammonia")
    if total is None:
        return None
    name, unit = _WORKED_OUT["un_ionised_ammonia"]
    if total == 0:
        return Derived("un_ionised_ammonia", 0.0, unit, "total ammonia 0 mg/L N, so no un-ionised ammonia", False)
    lacking = [KINDS[key].meaning for key in ("ph", "temperature") if key not in values]
    if lacking:
        return (
            f"total ammonia {number(total)} mg/L N cannot be judged without {' and '.join(lacking)}: "
            "they decide how much of it is un-ionised"
        )
    ph, temperature_c = values["ph"], values["temperature"]
    value = water.un_ionised_ammonia_mg_n_per_l(total, ph, temperature_c, salinity)
    salt = salinity >= water.SALT_WATER_FROM_G_PER_KG
    source = f"salinity {number(salinity)} g/kg; Clegg and Whitfield 1995" if salt else "Emerson et al. 1975"
    how = (
        f"{name} {number(value)} {unit} from total ammonia {number(total)} mg/L N at pH {number(ph)} and "
        f"{number(temperature_c)} °C ({source})"
    )
    return Derived("un_ionised_ammonia", value, unit, how, False)


def _oxygen_saturation(values: Mapping[str, float], salinity: float, pressure: float, _: bool) -> Derived | str | None:
    oxygen = values.get("oxygen")
    if oxygen is None:
        return None
    if "temperature" not in values:
        return "the saturation cannot be worked out without the temperature; the limit in mg/L is used"
    temperature_c = values["temperature"]
    full = water.oxygen_saturation_mg_per_l(temperature_c, salinity, pressure)
    value = 100 * oxygen / full
    salt = f", salinity {number(salinity)} g/kg" if salinity else ""
    how = (
        f"oxygen {number(value)} % of saturation from {number(oxygen)} mg/L at {number(temperature_c)} °C{salt} and "
        f"{number(pressure)} mmHg, where water holds {number(full)} mg/L (Benson and Krause 1984)"
    )
    return Derived("oxygen_saturation", value, "%", how, False)


def _co2(values: Mapping[str, float], salinity: float, _: float, is_marine: bool) -> Derived | str | None:
    if not {"ph", "kh", "temperature"} <= values.keys():
        return None
    if is_marine or salinity >= water.SALT_WATER_FROM_G_PER_KG:
        return "carbon dioxide is not worked out in salt water: borate counts as alkalinity there"
    ph, kh, temperature_c = values["ph"], values["kh"], values["temperature"]
    alkalinity = kh * CACO3_MG_PER_L_PER_DEGREE
    value = water.co2_mg_per_l(ph, alkalinity, temperature_c, values.get("conductivity", 0.0))
    how = (
        f"carbon dioxide about {number(value)} mg/L from pH {number(ph)}, alkalinity {number(kh)} dKH and "
        f"{number(temperature_c)} °C (Plummer and Busenberg 1982); too high where humic water or phosphate lower the pH"
    )
    return Derived("co2", value, "mg/L", how, False)


def _chloride_to_nitrite(values: Mapping[str, float], salinity: float) -> Derived | None:
    nitrite = values.get("nitrite", 0.0)
    if nitrite == 0:
        return None
    if "chloride" in values:
        chloride, origin = values["chloride"], "measured"
    elif salinity >= CHLORIDE_FROM_SALINITY_G_PER_KG:
        chloride = water.chloride_from_salinity_mg_per_l(min(salinity, 42.0))
        origin = f"from salinity {number(salinity)} g/kg"
    else:
        return None
    ratio = water.chloride_to_nitrite(chloride, nitrite)
    how = f"chloride {number(chloride)} mg/L ({origin}) is {number(ratio)} times the nitrite"
    return Derived("chloride_to_nitrite", ratio, "mg/mg", how, False)


# --- limits ---------------------------------------------------------------------------------------------------------


def limits_for(parameter: str, host_group: str, species: str | None, reference: Reference) -> tuple[Limit, ...]:
    """The limits of a parameter that hold for a host, highest level first.

    For each finding, level and side the row of the narrowest host group that has one; the range of the species, where
    it is given and in the hosts table, takes the place of its group's.
    """
    line = reference.host_group_line(host_group)
    chosen: dict[tuple[str, int, str], Limit] = {}
    for row in reference.limits:
        if row.parameter != parameter or row.host_group not in line:
            continue
        key = (row.finding, row.level, row.side)
        if key not in chosen or line.index(row.host_group) < line.index(chosen[key].host_group):
            chosen[key] = row
    for row in species_limits(parameter, species, reference):
        chosen[row.finding, row.level, row.side] = row
    return tuple(sorted(chosen.values(), key=lambda row: -row.level))


def species_limits(parameter: str, species: str | None, reference: Reference) -> Iterator[Limit]:
    """The range of a species as limits of temperature, pH or hardness; hardness only when `HARDNESS_FAR` outside."""
    host = reference.hosts.get(species or "")
    if host is None:
        return
    low: float | None
    high: float | None
    match parameter:
        case "temperature":
            low, high, findings = host.temperature_low_c, host.temperature_high_c, ("water_temp_low", "water_temp_high")
        case "ph":
            low, high, findings = host.ph_low, host.ph_high, ("water_ph_low", "water_ph_high")
        case "gh":
            low = None if host.gh_low_dgh is None else host.gh_low_dgh / HARDNESS_FAR
            high = None if host.gh_high_dgh is None else host.gh_high_dgh * HARDNESS_FAR
            findings = ("water_hardness_off", "water_hardness_off")
        case _:
            return
    for value, side, finding in ((low, "below", findings[0]), (high, "above", findings[1])):
        if value is not None:
            unit = "pH" if parameter == "ph" else KINDS[parameter].unit
            note = f"range of {host.scientific_name} in hosts.csv"
            yield Limit(parameter, host.host_group, finding, 1, side, value, unit, host.basis, host.sources, note)


def copper_limit(limit: Limit, gh_dgh: float | None, host_group: str, reference: Reference) -> Limit:
    """The copper limit: in fresh water of known hardness the criterion worked out for it, else the row as it is."""
    if gh_dgh is None or "freshwater" not in reference.host_group_line(host_group):
        return limit
    value = water.copper_criterion_mg_per_l(gh_dgh * CACO3_MG_PER_L_PER_DEGREE)
    return structs.replace(limit, value=value, note=f"worked out for a hardness of {number(gh_dgh)} dGH")


def nitrite_cap(level: int, ratio: float | None, host_group: str, reference: Reference) -> tuple[int, str]:
    """Nitrite is dangerous only while chloride does not outnumber it: (level, the words for it).

    At or above the ratio of the `chloride_to_nitrite` row (10 mg/L chloride to 1 mg/L NO2: Durborow, Crosby and Brunson
    1997) nitrite stays out of the gill and the level stops below that of the row. With the ratio unknown nothing is
    taken off. In sea water the ratio is above 10 up to a nitrite of 1 900 mg/L.
    """
    if level == 0:
        return level, ""
    for row in limits_for("chloride_to_nitrite", host_group, None, reference):
        if ratio is None:
            return level, "chloride was not measured; at ten times the nitrite it would protect"
        protects = f"{number(row.value)} to 1 keeps nitrite out of the gill ({'; '.join(row.sources)})"
        if ratio >= row.value:
            calmer = " and so not dangerous" if level >= row.level else ""
            return min(level, row.level - 1), f"chloride to nitrite {number(ratio)} to 1{calmer}: {protects}"
        return level, f"chloride to nitrite only {number(ratio)} to 1; {protects}"
    return level, ""


# --- grading --------------------------------------------------------------------------------------------------------


def grade_reading(
    parameter: str, value: float, host_group: str, species: str | None, reference: Reference
) -> tuple[GradedFinding, ...]:
    """One value (in the unit of its kind, or mg/L N of un-ionised ammonia) against the limits of the host alone."""
    found: dict[str, list[Limit]] = {}
    for limit in limits_for(parameter, host_group, species, reference):
        found.setdefault(limit.finding, []).append(limit)
    return tuple(_graded(finding, value, limits, reference) for finding, limits in found.items())


def _graded(finding: str, value: float, limits: list[Limit], reference: Reference) -> GradedFinding:
    """The highest level whose limit is passed; else within the lowest."""
    levels = reference.findings[finding].levels
    for limit in limits:
        if value > limit.value if limit.side == "above" else value < limit.value:
            words = f"{levels[limit.level]}: {limit.side} {limit_words(limit, reference)}"
            return GradedFinding(finding, limit.level, (words,), (limit,))
    # A row "below 0" says that the host has no floor there: nothing to tell.
    lowest = [one for one in limits if one.level == limits[-1].level and not (one.side == "below" and one.value <= 0)]
    words = " and ".join(f"not {limit.side} {limit_words(limit, reference)}" for limit in lowest)
    return GradedFinding(finding, 0, (f"within limits: {words or 'no limit for this host'}",), tuple(lowest))


def limit_words(limit: Limit, reference: Reference) -> str:
    """A limit as a trace tells it: value, unit, for whom, and where the figure is from."""
    unit = "" if limit.unit == "pH" else limit.unit
    own = limit.note if limit.note.startswith(("range of", "worked out")) else ""
    whom = f"({own})" if own else f"for {reference.host_groups[limit.host_group].meaning}"
    sources = "; ".join(limit.sources) or limit.basis
    return f"{_with_unit(limit.value, unit)} {whom} ({sources})"


def grade_readings(
    readings: Mapping[str, Quantity], host_group: str | None, species: str | None, reference: Reference
) -> tuple[GradedFinding, ...]:
    """The graded findings of a set of readings taken together, in the order of the findings table.

    `readings`: keys of `units.READINGS`, values as `units.parse_quantity` gives them. `host_group` None = any fish.
    A finding that two readings speak to (hardness and alkalinity) has the worse level and both traces.
    Raises `InputError` for an unknown reading, or one in another unit.
    """
    group = host_group or "fish"
    return grade_water(water_state(readings, group, reference), group, species, reference)


def grade_water(
    state: WaterState, host_group: str, species: str | None, reference: Reference
) -> tuple[GradedFinding, ...]:
    """The graded findings of a water as `water_state` gives it; see `grade_readings`."""
    graded: dict[str, GradedFinding] = {}
    for parameter in _GRADED:
        if parameter not in state.parameters or (parameter == "oxygen" and "oxygen_saturation" in state.parameters):
            continue
        for one in grade_parameter(parameter, state, host_group, species, reference):
            told = replace(one, trace=(state.parameters[parameter].how, *one.trace))
            before = graded.get(one.finding)
            graded[one.finding] = told if before is None else _worse(before, told)
    why = state.missing.get("un_ionised_ammonia")
    if why is not None:
        graded["water_ammonia_high"] = GradedFinding("water_ammonia_high", None, (why,))
    return tuple(graded[finding] for finding in reference.findings if finding in graded)


def grade_parameter(
    parameter: str, state: WaterState, host_group: str, species: str | None, reference: Reference
) -> tuple[GradedFinding, ...]:
    """One parameter of a water: `grade_reading`, with the rules for copper and nitrite that look at other readings."""
    value = state.parameters[parameter].value
    if parameter == "chloride_to_nitrite":
        return ()  # speaks only through `nitrite_cap`
    if parameter == "copper":
        gh = state.parameters.get("gh")
        rows = limits_for(parameter, host_group, species, reference)
        fitted = (copper_limit(row, gh.value if gh else None, host_group, reference) for row in rows)
        return tuple(_graded(row.finding, value, [row], reference) for row in fitted)
    graded = grade_reading(parameter, value, host_group, species, reference)
    if parameter != "nitrite":
        return graded
    known = state.parameters.get("chloride_to_nitrite")
    return tuple(_capped(one, known.value if known else None, host_group, reference) for one in graded)


def _capped(one: GradedFinding, ratio: float | None, host_group: str, reference: Reference) -> GradedFinding:
    """A nitrite finding with `nitrite_cap` laid over it."""
    level, words = nitrite_cap(one.level or 0, ratio, host_group, reference)
    return replace(one, level=level, trace=(*one.trace, words)) if words else one


def _worse(first: GradedFinding, second: GradedFinding) -> GradedFinding:
    """Two gradings of one finding as one: the higher level, both traces."""
    level = max(first.level or 0, second.level or 0)
    return GradedFinding(first.finding, level, first.trace + second.trace, first.limits + second.limits)


def _with_unit(value: float, unit: str) -> str:
    return f"{number(value)} {unit}".strip()
