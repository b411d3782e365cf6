"""Quantities at the border: a number with its unit in, a float in one internal unit out.

People write `0.8 mg/L NO2`, `78.8 F` or `12 dGH`; the rest of the library works in one unit a kind. The list of units
is closed and every factor is exact or follows from standard atomic weights. A number without a unit is refused (only
pH has none), because a nitrite "of 1" may be 1 mg/L of the ion or 3.3 times as much, and a "gallon" 3.8 or 4.5 litres.

Sources of the factors:
- inch, foot, pound, ounce: international yard and pound agreement 1959 (0.9144 m and 0.45359237 kg exactly), in NIST
  Special Publication 811 (2008), appendix B.
- US gallon 231 cubic inches, US fluid ounce 1/128 of it: NIST Handbook 44, appendix C.
- UK gallon 4.54609 L, UK fluid ounce 1/160 of it: Units of Measurement Regulations 1995 (UK).
- millimetre of mercury 133.322387415 Pa and standard atmosphere 101 325 Pa: NIST Special Publication 811.
- atomic weights: IUPAC 2021, abridged (Prohaska et al. 2022, Pure and Applied Chemistry 94:573-600).
- degrees of hardness: German 10 mg CaO, French 10 mg CaCO3 to the litre; English (Clark) 1 grain CaCO3 to the UK
  gallon; American 1 grain CaCO3 to the US gallon; the grain is 64.79891 mg exactly.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from wetmount.errors import InputError

# Molar masses, g/mol, from the IUPAC 2021 abridged standard atomic weights.
_H, _C, _N, _O, _CL, _CA = 1.008, 12.011, 14.007, 15.999, 35.45, 40.078
MOLAR_MASS_G: Final[Mapping[str, float]] = {
    "N": _N,
    "NH3": _N + 3 * _H,
    "NH4": _N + 4 * _H,
    "NO2": _N + 2 * _O,
    "NO3": _N + 3 * _O,
    "HCO3": _H + _C + 3 * _O,
    "CO2": _C + 2 * _O,
    "CaO": _CA + _O,
    "CaCO3": _CA + _C + 3 * _O,
    "Cl": _CL,
    "Cl2": 2 * _CL,
    "O2": 2 * _O,
}

GRAIN_MG: Final = 64.79891
US_GALLON_L: Final = 3.785411784
UK_GALLON_L: Final = 4.54609
MMHG_PA: Final = 133.322387415

CACO3_MG_PER_MEQ: Final = MOLAR_MASS_G["CaCO3"] / 2
"""mg CaCO3 that make one milliequivalent of hardness or alkalinity (two charges to the formula unit)."""
CACO3_MG_PER_L_PER_DEGREE: Final = 10 * MOLAR_MASS_G["CaCO3"] / MOLAR_MASS_G["CaO"]
"""mg/L CaCO3 in one German degree (dGH, dKH), which is 10 mg/L CaO."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value in the internal unit of its kind."""

    value: float
    unit: str

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit a user may write. In the internal unit: (number - zero) * factor.

    Messages show the first name, and only of `listed` units, so that they stay short.
    """

    names: tuple[str, ...]
    factor: float
    zero: float = 0.0
    listed: bool = True


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity: its internal unit, the units it may be written in, and what is physically possible."""

    name: str
    meaning: str
    unit: str
    units: tuple[Unit, ...]
    low: float
    high: float
    example: str
    hint: str = ""

    @property
    def accepted(self) -> tuple[str, ...]:
        """The first name of every listed unit, as error messages give them."""
        return tuple(unit.names[0] for unit in self.units if unit.listed and unit.names[0])


_MG_PER_L = (("mg/L", 1.0), ("ppm", 1.0), ("g/m3", 1.0), ("ug/L", 1e-3), ("ppb", 1e-3), ("g/L", 1e3))


def _dissolved(bases: Mapping[str, float], *, molar_mass_g: float, bare: bool) -> tuple[Unit, ...]:
    """mg/L, ppm, ug/L ... of each basis (name -> mg of the internal basis in 1 mg), and umol/L and mmol/L.

    `bare` says whether the unit may stand without the substance. ppm is taken as mg/L: exact enough in fresh water,
    2.4 % low in sea water, where 1 L weighs 1.024 kg.
    """
    units: list[Unit] = []
    for basis, share in bases.items():
        for mass, factor in _MG_PER_L:
            names = (f"{mass} {basis}", f"{mass.split('/')[0]} {basis}/{mass.split('/')[-1]}")
            units.append(Unit(names, factor * share, listed=mass == "mg/L" and not bare))
    if bare:
        units = [*(Unit((mass,), factor) for mass, factor in _MG_PER_L), *units]
    for name, factor in (("umol/L", molar_mass_g / 1000), ("mmol/L", molar_mass_g)):
        units.append(Unit((name, *(f"{name} {basis}" for basis in bases)), factor))
    return tuple(units)


def _nitrogen(internal: str, bases: Mapping[str, str]) -> tuple[Unit, ...]:
    """Units of a nitrogen compound; `bases` maps what is written after mg/L to the formula that is weighed."""
    molar_mass = MOLAR_MASS_G[internal]
    shares = {name: molar_mass / MOLAR_MASS_G[formula] for name, formula in bases.items()}
    return _dissolved(shares, molar_mass_g=molar_mass, bare=False)


_DEGREE = 1 / CACO3_MG_PER_L_PER_DEGREE
_MEQ = CACO3_MG_PER_MEQ * _DEGREE


def _degrees(name: str, *, mmol: float, more: tuple[Unit, ...] = ()) -> tuple[Unit, ...]:
    """Units of hardness or alkalinity in German degrees; `mmol` is what one mmol/L counts for."""
    return (
        Unit((name, "dH", "°dH", "°d", f"°{name}", f"°{name[1:]}"), 1.0),
        Unit(("mg/L CaCO3", "mg CaCO3/L"), _DEGREE),
        Unit(("ppm CaCO3",), _DEGREE),
        Unit(("meq/L", "mval/L"), _MEQ),
        Unit(("mmol/L",), mmol),
        Unit(("fH", "°fH", "°f"), 10 * _DEGREE),
        Unit(("Clark", "°Clark", "°e"), GRAIN_MG / UK_GALLON_L * _DEGREE),
        Unit(("gpg", "US gpg"), GRAIN_MG / US_GALLON_L * _DEGREE),
        *more,
    )


_AMMONIA_BASES = {"N": "N", "NH3": "NH3", "NH4": "NH4", "NH3-N": "N", "NH4-N": "N", "TAN": "N", "TAN-N": "N"}
_HCO3_PER_DEGREE = 1 / MOLAR_MASS_G["HCO3"] * _MEQ

_KINDS = (
    Kind(
        "temperature",
        "water temperature",
        "°C",
        (Unit(("°C", "C", "deg C"), 1.0), Unit(("°F", "F", "deg F"), 5 / 9, 32.0), Unit(("K",), 1.0, 273.15)),
        -3,
        60,
        "26 °C",
    ),
    Kind("ph", "pH", "", (Unit(("", "pH"), 1.0),), 0, 14, "7.4"),
    Kind(
        "ammonia",
        "total ammonia (NH3 + NH4)",
        "mg/L N",
        _nitrogen("N", _AMMONIA_BASES),
        0,
        2000,
        "0.5 mg/L N",
        "say what the kit reports, N, NH3 or NH4 (see its leaflet)",
    ),
    Kind(
        "nitrite",
        "nitrite",
        "mg/L NO2",
        _nitrogen("NO2", {"NO2": "NO2", "NO2-N": "N", "N": "N"}),
        0,
        5000,
        "0.3 mg/L NO2",
        "say what the kit reports, NO2 or NO2-N (see its leaflet)",
    ),
    Kind(
        "nitrate",
        "nitrate",
        "mg/L NO3",
        _nitrogen("NO3", {"NO3": "NO3", "NO3-N": "N", "N": "N"}),
        0,
        20000,
        "40 mg/L NO3",
        "say what the kit reports, NO3 or NO3-N (see its leaflet)",
    ),
    # One mmol/L of Ca and Mg carries two charges; one mmol/L of acid capacity (alkalinity) carries one.
    Kind("gh", "total hardness", "dGH", _degrees("dGH", mmol=2 * _MEQ), 0, 1500, "12 dGH", "ppm needs CaCO3 after it"),
    Kind(
        "kh",
        "alkalinity (carbonate hardness)",
        "dKH",
        _degrees("dKH", mmol=_MEQ, more=(Unit(("mg/L HCO3", "ppm HCO3", "mg HCO3/L"), _HCO3_PER_DEGREE),)),
        0,
        300,
        "4 dKH",
        "ppm needs CaCO3 after it",
    ),
    Kind(
        "oxygen",
        "dissolved oxygen",
        "mg/L",
        _dissolved({"O2": 1.0}, molar_mass_g=MOLAR_MASS_G["O2"], bare=True),
        0,
        60,
        "6.5 mg/L",
    ),
    Kind("oxygen_saturation", "dissolved oxygen", "%", (Unit(("%", "% sat", "percent"), 1.0),), 0, 500, "85 %"),
    # Grams to the kilogram and to the litre are taken as one: 3 % apart at most, less than a hydrometer can tell.
    Kind(
        "salinity",
        "salinity",
        "g/L",
        (Unit(("g/L",), 1.0), Unit(("ppt", "‰", "g/kg", "PSU", "psu"), 1.0), Unit(("mg/L",), 1e-3), Unit(("%",), 10.0)),
        0,
        60,
        "35 ppt",
    ),
    Kind(
        "conductivity",
        "electrical conductivity at 25 °C",
        "uS/cm",
        (Unit(("uS/cm", "uS"), 1.0), Unit(("mS/cm", "mS"), 1e3), Unit(("dS/m",), 1e3), Unit(("S/m",), 1e4)),
        0,
        120_000,
        "350 uS/cm",
    ),
    Kind(
        "chlorine",
        "total chlorine",
        "mg/L",
        _dissolved({"Cl2": 1.0}, molar_mass_g=MOLAR_MASS_G["Cl2"], bare=True),
        0,
        100,
        "0.1 mg/L",
    ),
    Kind("copper", "copper", "mg/L", _dissolved({"Cu": 1.0}, molar_mass_g=63.546, bare=True), 0, 100, "0.05 mg/L"),
    Kind(
        "co2",
        "carbon dioxide",
        "mg/L",
        _dissolved({"CO2": 1.0}, molar_mass_g=MOLAR_MASS_G["CO2"], bare=True),
        0,
        2000,
        "15 mg/L",
    ),
    Kind(
        "chloride",
        "chloride",
        "mg/L",
        _dissolved({"Cl": 1.0}, molar_mass_g=MOLAR_MASS_G["Cl"], bare=True),
        0,
        40_000,
        "30 mg/L",
    ),
    Kind(
        "gas_pressure", "total gas pressure relative to the air", "%", (Unit(("%", "percent"), 1.0),), 50, 300, "102 %"
    ),
    Kind("turbidity", "turbidity", "NTU", (Unit(("NTU", "FNU", "FTU"), 1.0),), 0, 4000, "5 NTU"),
    Kind("bacteria", "bacteria count of the water", "CFU/mL", (Unit(("CFU/mL",), 1.0),), 0, 1e10, "1000 CFU/mL"),
    Kind(
        "air_pressure",
        "barometric pressure at the place itself, not corrected to sea level",
        "mmHg",
        (
            Unit(("mmHg", "mm Hg", "Torr"), 1.0),
            Unit(("hPa", "mbar"), 100 / MMHG_PA),
            Unit(("kPa",), 1000 / MMHG_PA),
            Unit(("atm",), 101_325 / MMHG_PA),
            Unit(("inHg", "in Hg"), 25.4),
        ),
        300,
        850,
        "1013 hPa",
    ),
    Kind("altitude", "altitude", "m", (Unit(("m",), 1.0), Unit(("ft",), 0.3048)), -450, 6000, "300 m"),
    Kind(
        "length",
        "length",
        "cm",
        (
            Unit(("cm",), 1.0),
            Unit(("mm",), 0.1),
            Unit(("m",), 100.0),
            Unit(("um",), 1e-4),
            Unit(("in", '"', "inch", "inches"), 2.54),
            Unit(("ft", "foot", "feet"), 30.48),
        ),
        0,
        1e5,
        "6.2 cm",
    ),
    Kind(
        "weight",
        "weight",
        "g",
        (
            Unit(("g", "gram", "grams"), 1.0),
            Unit(("mg",), 1e-3),
            Unit(("ug",), 1e-6),
            Unit(("kg",), 1e3),
            Unit(("oz", "ounce", "ounces"), 28.349523125),
            Unit(("lb", "lbs", "pound", "pounds"), 453.59237),
        ),
        0,
        1e9,
        "3.1 g",
    ),
    Kind(
        "volume",
        "volume",
        "L",
        (
            Unit(("L", "litre", "litres", "liter", "liters"), 1.0),
            Unit(("mL",), 1e-3),
            Unit(("m3",), 1e3),
            Unit(("US gal", "US gallon", "US gallons"), US_GALLON_L),
            Unit(("UK gal", "UK gallon", "UK gallons", "imp gal", "imperial gallons"), UK_GALLON_L),
            Unit(("US fl oz",), US_GALLON_L / 128),
            Unit(("UK fl oz", "imp fl oz"), UK_GALLON_L / 160),
        ),
        0,
        1e9,
        "120 L",
        "a gallon needs US or UK before it",
    ),
    Kind(
        "concentration",
        "concentration",
        "mg/L",
        tuple(Unit((name,), factor) for name, factor in _MG_PER_L),
        0,
        1e6,
        "25 mg/L",
    ),
    Kind(
        "duration",
        "length of time",
        "h",
        (
            Unit(("h", "hour", "hours"), 1.0),
            Unit(("min", "minute", "minutes"), 1 / 60),
            Unit(("d", "day", "days"), 24.0),
            Unit(("week", "weeks"), 168.0),
        ),
        0,
        1e6,
        "30 min",
    ),
)

KINDS: Final[Mapping[str, Kind]] = {kind.name: kind for kind in _KINDS}
"""Every kind by its name."""

READINGS: Final[tuple[str, ...]] = (
    "temperature", "ph", "ammonia", "nitrite", "nitrate", "gh", "kh", "oxygen", "oxygen_saturation", "salinity",
    "conductivity", "chlorine", "copper", "co2", "chloride", "gas_pressure", "turbidity", "bacteria", "air_pressure",
    "altitude",
)  # fmt: skip
"""Kinds that are readings of water: the keys of the readings of a case file and the options of `wetmount water`."""

_FOLD = str.maketrans(
    {"µ": "u", "μ": "u", "º": "°", "˚": "°", "−": "-", "–": "-", "₂": "2", "₃": "3", "₄": "4"}
    | {"³": "3", "⁺": "+", "⁻": "-"}
)
_QUANTITY = re.compile(r"([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)(.*)", re.DOTALL)


def _fold(name: str) -> str:
    """The name of a unit as it is compared: without blanks, case, degree signs, charges and the word "as"."""
    words = [word for word in name.translate(_FOLD).casefold().split() if word != "as"]
    return "".join(words).replace("°", "").rstrip("+-")


_UNITS: Final[Mapping[str, Mapping[str, Unit]]] = {
    kind.name: {_fold(name): unit for unit in kind.units for name in unit.names} for kind in _KINDS
}


def parse_quantity(text: str | float, kind: str, *, field: str | None = None, file: str | None = None) -> Quantity:
    """The quantity written in `text`, in the internal unit of `kind` (a key of `KINDS`).

    Raises `InputError` naming `field` (and `file`) for a number without unit (unless pH), a unit that is not on the
    list of the kind, a decimal comma, a number that is not finite, or a value that is physically impossible.

    >>> parse_quantity("78.8 F", "temperature")
    Quantity(value=26.0, unit='°C')
    >>> print(parse_quantity("0.5 mg/L NO2-N", "nitrite"))
    1.64221 mg/L NO2
    >>> parse_quantity("1 mg/L", "nitrite", field="nitrite")
    Traceback (most recent call last):
    ...
    wetmount.errors.InputError: nitrite: "1 mg/L" is not clear: say what the kit reports, NO2 or NO2-N (see its \
leaflet), for example "0.3 mg/L NO2"
    """
    what = KINDS[kind]

    def refuse(why: str) -> InputError:
        return InputError(why, field=field, file=file)

    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise refuse(f'{what.meaning} must be a number with its unit, for example "{what.example}"')
    shown = _shown(text)
    match = _QUANTITY.fullmatch(str(text).strip().translate(_FOLD))
    if match is None:
        if re.fullmatch(r"[+-]?(nan|inf|infinity)\b.*", str(text).strip().casefold()):
            raise refuse(f'"{shown}" is not a finite number; write {what.meaning} for example as "{what.example}"')
        raise refuse(f'"{shown}" does not begin with a number; write {what.meaning} for example as "{what.example}"')
    number, unit_text = match.groups()
    if re.match(r"\s*,\s*\d", unit_text):
        raise refuse(f'"{shown}" has a comma in its number; write decimals with a point and thousands without a sign')
    unit = _UNITS[kind].get(_fold(unit_text))
    if unit is None:
        raise refuse(_unknown_unit(what, shown, unit_text.strip()))
    value = (float(number) - unit.zero) * unit.factor
    if not math.isfinite(value):
        raise refuse(f'"{shown}" is not a finite number; write {what.meaning} for example as "{what.example}"')
    if not what.low <= value <= what.high:
        limits = f"{what.low:g} to {what.high:g} {what.unit}".strip()
        raise refuse(f'"{shown}" is not possible for {what.meaning}; accepted: {limits}')
    return Quantity(value, what.unit)


def _shown(text: str | float) -> str:
    """The input as an error sentence quotes it: on one line and not endless."""
    line = " ".join(str(text).split())
    return line if len(line) <= 60 else line[:57] + "..."


def _unknown_unit(kind: Kind, shown: str, unit_text: str) -> str:
    """Why the unit was refused, and what is accepted."""
    if not unit_text:
        return f'"{shown}" has no unit; write {kind.meaning} for example as "{kind.example}" ({_listed(kind)})'
    if kind.hint and _fold(unit_text) in {"mg/l", "ppm", "g/m3", "ug/l", "ppb", "g/l", "gal", "gallon", "gallons"}:
        return f'"{shown}" is not clear: {kind.hint}, for example "{kind.example}"'
    return f'the unit "{_shown(unit_text)}" is not known for {kind.meaning}; {_listed(kind)}'


def _listed(kind: Kind) -> str:
    return "accepted: " + ", ".join(kind.accepted) if kind.accepted else "accepted: a number without unit"
