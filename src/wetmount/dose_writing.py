"""How a dose is written so that it is not misread.

Rules of the Institute for Safe Medication Practices' list of error-prone abbreviations, symbols and dose designations:
a leading zero, no trailing zero, a space before the unit, no stop after it, L and mL with a capital, no micro sign,
thousands separated, the whole generic name and a space between name and dose. Added for fish: never "ppm".
"""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from typing import Final

_UNIT_WORDS: Final = {
    "uL/L": "microlitres/L",
    "mg/kg/day": "mg to the kg of fish a day",
    "mg/kg": "mg to the kg of fish",
    "mg/kg feed": "mg to the kg of feed",
    "g/kg feed": "g to the kg of feed",
    "ug": "micrograms",
    "uL": "microlitres",
}


def write_number(value: float, digits: int = 3, *, direction: str = "nearest") -> str:
    """A number to `digits` significant figures, never in powers of ten; `direction` is nearest, down or up.

    >>> write_number(0.5), write_number(1.0), write_number(12345.6, 5), write_number(9.28, 2, direction="down")
    ('0.5', '1', '12,346', '9.2')
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} is no number to write")
    if value == 0:
        return "0"
    rounding = {"nearest": ROUND_HALF_EVEN, "down": ROUND_FLOOR, "up": ROUND_CEILING}[direction]
    # Fifteen figures first: a sum of floats that is 0.3 but for the last bit is not to be rounded a step down.
    exact = Decimal(f"{value:.15g}")
    place = Decimal(1).scaleb(exact.adjusted() - digits + 1)
    text = f"{exact.quantize(place, rounding=rounding):,f}" if place < 1 else f"{_to_place(exact, place, rounding):,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _to_place(value: Decimal, place: Decimal, rounding: str) -> Decimal:
    return (value / place).to_integral_value(rounding=rounding) * place


def write_quantity(value: float, unit: str, *, digits: int = 3, direction: str = "nearest") -> str:
    """Number and unit, the unit in words where its sign is misread: `0.5 mg/L`, `25 microlitres/L`.

    Raises ValueError for "ppm", which says neither what is counted nor by what.
    """
    if "ppm" in unit.lower():
        raise ValueError("ppm is never written: name mg/L or microlitres/L")
    return f"{write_number(value, digits, direction=direction)} {_UNIT_WORDS.get(unit, unit)}".strip()


def write_mass(grams: float, *, digits: int = 3, direction: str = "nearest") -> str:
    """A mass in the unit in which its number is short: micrograms, mg, g or kg.

    >>> write_mass(0.0005), write_mass(0.5), write_mass(1), write_mass(2500)
    ('500 micrograms', '500 mg', '1 g', '2.5 kg')
    """
    size = abs(grams)
    if size >= 1000:
        return write_quantity(grams / 1000, "kg", digits=digits, direction=direction)
    if size >= 1:
        return write_quantity(grams, "g", digits=digits, direction=direction)
    if size >= 0.001 or size == 0:
        return write_quantity(grams * 1000, "mg", digits=digits, direction=direction)
    return write_quantity(grams * 1e6, "ug", digits=digits, direction=direction)


def write_volume(ml: float, *, digits: int = 3, direction: str = "nearest") -> str:
    """A volume in mL or L.

    >>> write_volume(9.2), write_volume(0.05), write_volume(17670, digits=4)
    ('9.2 mL', '0.05 mL', '17.67 L')
    """
    if abs(ml) >= 1000:
        return write_quantity(ml / 1000, "L", digits=digits, direction=direction)
    return write_quantity(ml, "mL", digits=digits, direction=direction)


def write_dose(substance: str, value: float, unit: str, *, digits: int = 3) -> str:
    """Whole name, then dose.

    >>> write_dose("praziquantel", 2.0, "mg/L")
    'praziquantel 2 mg/L'
    """
    return f"{substance} {write_quantity(value, unit, digits=digits)}"
