"""Doses and strengths as people type them, in a closed list of units; no number without a unit is ever dosed.

"ppm" is refused: of formalin alone it has three meanings, and 1 ppt is a thousand times 1 mg/L (a carp manual prints
them as equal). Molar masses are the IUPAC 2021 abridged weights.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

from wetmount.dose_writing import write_number
from wetmount.errors import InputError

_H, _C, _N, _O, _NA, _S, _CL, _CU = 1.008, 12.011, 14.007, 15.999, 22.990, 32.06, 35.45, 63.546
COPPER_SULPHATE_G: Final = _CU + _S + 4 * _O + 5 * (2 * _H + _O)
COPPER_SHARE: Final = _CU / COPPER_SULPHATE_G
"""Copper in CuSO4·5H2O, 0.2545."""
CHLORIDE_SHARE: Final = _CL / (_NA + _CL)
"""Chloride in sodium chloride, 0.6066."""
BICARBONATE_MG_PER_MEQ: Final = _NA + _H + _C + 3 * _O
"""Sodium bicarbonate that makes one milliequivalent of alkalinity, mg."""
THIOSULPHATE_ANHYDROUS_SHARE: Final = (2 * _NA + 2 * _S + 3 * _O) / (2 * _NA + 2 * _S + 8 * _O + 10 * _H)
"""Anhydrous sodium thiosulphate in the pentahydrate, 0.637."""
FORMALIN_DENSITY_G_PER_ML: Final = 1.08
FORMALDEHYDE_SHARE: Final = 0.37
"""Formalin, 37 % w/w formaldehyde, density 1.08 (Piper et al., Fish Hatchery Management, 1982)."""

# Unit as written, folded -> (dimension, factor to the first unit of the dimension).
_DIMENSIONS: Final[dict[str, dict[str, float]]] = {
    "mg/L": {"mg/l": 1, "g/l": 1e3, "g/m3": 1, "ug/l": 1e-3, "mcg/l": 1e-3, "micrograms/l": 1e-3, "mg/ml": 1e3}
    | {"kg/m3": 1e3, "g/1000l": 1, "mg/m3": 1e-3},
    "uL/L": {"ul/l": 1, "ml/m3": 1, "ml/l": 1e3, "ml/1000l": 1, "microlitres/l": 1, "microliters/l": 1}
    | {"mcl/l": 1, "ul/ml": 1e3, "mcl/ml": 1e3},
    "mg/kg/day": {"mg/kg/day": 1, "mg/kg/d": 1, "ug/kg/day": 1e-3, "mcg/kg/day": 1e-3, "g/kg/day": 1e3}
    | {"mgtothekgoffishaday": 1},
    "mg/kg": {"mg/kg": 1, "ug/kg": 1e-3, "g/kg": 1e3},
    "g/kg feed": {"g/kgfeed": 1, "mg/kgfeed": 1e-3, "%feed": 10},
}
# The unit in which a row of doses.csv counts -> dimension and factor.
_ROW_UNITS: Final = {
    "mg/L": ("mg/L", 1.0),
    "g/L": ("mg/L", 1e3),
    "uL/L": ("uL/L", 1.0),
    "mg/kg/day": ("mg/kg/day", 1.0),
    "mg/kg": ("mg/kg", 1.0),
    "g/kg feed": ("g/kg feed", 1.0),
    "mg/kg feed": ("g/kg feed", 1e-3),
}
_NUMBER = re.compile(r"\s*(\d+(?:\.\d+)?|\.\d+)\s*(.*)", re.DOTALL)
FORMALIN_BASES: Final = ("microlitres/L of the 37 % stock", "mg/L formalin (by weight)", "mg/L formaldehyde")


@dataclass(frozen=True, slots=True)
class TypedDose:
    """A dose as typed: value in `unit` (first unit of its dimension) and the substance named after it, if any."""

    value: float
    unit: str
    counted: str
    text: str


def parse_dose(text: str, *, field: str = "dose") -> TypedDose:
    """Reads `2 mg/L`, `25 uL/L`, `10 mg/kg/day`, `0.2 mg/L Cu`, `2.5 g/kg feed`. InputError for anything else.

    >>> parse_dose("2.5 g/L").value
    2500.0
    """
    match = _NUMBER.fullmatch(text.replace("µ", "u").replace("μ", "u"))
    if match is None:
        raise InputError(f'"{text}" is no dose; write for example "2 mg/L" or "25 uL/L"', field=field)
    number, rest = match.groups()
    if re.search(r"\bpp[mtb]\b", rest.lower()):
        meanings = "; for formalin say " + ", or ".join(FORMALIN_BASES)
        raise InputError(
            f'"{text}" is not clear: ppm is 1 mg/L, ppt is 1 g/L and of a liquid it may be microlitres; write mg/L, '
            f"g/L or uL/L{meanings}",
            field=field,
        )
    folded = re.sub(r"\s+", "", rest.lower()).replace("litre", "l").replace("liter", "l")
    for dimension, units in _DIMENSIONS.items():
        for unit in sorted(units, key=len, reverse=True):
            if folded == unit or (folded.startswith(unit) and dimension in ("mg/L", "uL/L")):
                counted = folded[len(unit) :]
                if counted and not counted[0].isalpha():
                    continue
                value = float(number) * units[unit]
                if not 0 < value < math.inf:
                    raise InputError(f'"{text}" is no dose; it must be more than 0', field=field)
                return TypedDose(value, dimension, counted, text.strip())
    named = "mg/L, g/L, ug/L, uL/L, mL/m3, mg/kg/day, mg/kg, g/kg feed"
    what = f'the unit "{rest.strip()}" is not known' if rest.strip() else f'"{text}" has no unit'
    raise InputError(f"{what} for a dose; accepted: {named}", field=field)


def dose_in(typed: TypedDose, unit: str, substance: str, counted_as: str, *, field: str = "dose") -> float:
    """The typed dose in the unit of a row and counted as the row counts. InputError when the two do not go together.

    Copper is converted between metal and sulphate, chloride and salt too, formalin between its three bases.

    >>> round(dose_in(parse_dose("0.2 mg/L Cu"), "mg/L", "copper sulphate pentahydrate", "salt"), 3)
    0.786
    """
    dimension, factor = _ROW_UNITS.get(unit, (unit, 1.0))
    if "formalin" in substance:
        return _formalin(typed, field)
    if typed.unit != dimension:
        raise InputError(
            f'"{typed.text}" does not fit: {substance} is dosed in {unit}, counted as the {counted_as}', field=field
        )
    share = _share(typed.counted, substance, field)
    return typed.value * share / factor


def _share(counted: str, substance: str, field: str) -> float:
    """Factor from what was typed after the unit to what the row counts."""
    if not counted:
        if "copper" in substance:
            raise InputError(
                "say what is counted: mg/L Cu (the metal) or mg/L CuSO4.5H2O (the salt, four times as much)",
                field=field,
            )
        return 1.0
    row_is_salt = substance.startswith("copper sulphate")
    if "copper" in substance and counted in ("cu", "copper", "cu2+", "freecu", "totalcu"):
        return 1 / COPPER_SHARE if row_is_salt else 1.0
    if "copper" in substance and counted.startswith(("cuso4", "coppersul")):
        if "chelated" in substance:
            raise InputError("a chelated target is never converted from copper sulphate or the reverse", field=field)
        return 1.0 if row_is_salt else COPPER_SHARE
    words = re.sub(r"[^a-z]", "", substance.lower())
    if counted in ("active", "product") or words.startswith(re.sub(r"[^a-z]", "", counted)[:5]):
        return 1.0
    raise InputError(f'"{counted}" is not what this dose counts, which is {substance}', field=field)


def _formalin(typed: TypedDose, field: str) -> float:
    """Microlitres of 37 % stock to the litre from any of the three meanings of a formalin dose."""
    if typed.unit == "uL/L" and typed.counted in ("", "formalin", "stock", "of37%stock"):
        return typed.value
    if typed.unit == "mg/L" and typed.counted == "formalin":
        return typed.value / FORMALIN_DENSITY_G_PER_ML
    if typed.unit == "mg/L" and typed.counted == "formaldehyde":
        return typed.value / (FORMALIN_DENSITY_G_PER_ML * FORMALDEHYDE_SHARE)
    raise InputError(f'"{typed.text}" of formalin is not clear; say ' + ", or ".join(FORMALIN_BASES), field=field)


# --- strength in hand -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Strength:
    """What is in the bottle: active substance in mg to one `per` (g, mL or tablet), and how it is measured out.

    `text` is written by the rules of dose_writing, however it was typed; `counted` is what the label counts (Cu)."""

    mg_per_unit: float
    per: str
    text: str
    counted: str = ""


def parse_strength(text: str, *, field: str = "strength") -> Strength:
    """Reads `100 %` or `pure` (a powder), `37 % w/w`, `37 % w/w density 1.08` (a liquid), `2.3 % w/v`, `50 mg/mL`,
    `10 g/L`, `409.8 mg a tablet`, `200 mg/g`, each with what the label counts behind it where that is not the whole
    (`25 % w/w Cu`). InputError for nothing, zero, over 100 %, or an unlabelled tablet.

    >>> parse_strength("2.303 % w/v").mg_per_unit, parse_strength("25 % w/w").mg_per_unit
    (23.03, 250.0)
    >>> parse_strength(".50 µg/mL").text
    '0.5 micrograms/mL'
    """
    shown = " ".join(text.split())
    words = shown.lower().replace("µ", "u").replace("μ", "u").replace("litre", "l").replace("liter", "l")
    if words in ("pure", "crystals", "undiluted"):
        return Strength(1000.0, "g", words)
    match = _NUMBER.fullmatch(words)
    if match is None:
        raise InputError(
            f'"{shown}" is no strength; write for example "80 % w/w", "2.3 % w/v", "50 mg/mL"', field=field
        )
    value, rest = float(match.group(1)), match.group(2).strip()
    if not 0 < value < math.inf:
        raise InputError(f'"{shown}" is no strength; it must be more than 0', field=field)
    percent = re.fullmatch(
        r"%\s*(w/w|w/v|v/v)?(?:\s*,?\s*(?:density|d)\s*(\d+(?:\.\d+)?))?(?:\s+([a-z][a-z0-9·.+ ]*))?", rest
    )
    if percent is not None:
        return _percent(value, percent.group(1), percent.group(2), percent.group(3) or "", shown, field)
    rest = rest.replace(" per ", "/").replace(" a ", "/").replace(" / ", "/").replace(" in each ", "/")
    units = {"mg/ml": (1.0, "mL"), "g/l": (1.0, "mL"), "g/ml": (1e3, "mL"), "ug/ml": (1e-3, "mL"), "mg/l": (1e-3, "mL")}
    units |= {"mg/g": (1.0, "g"), "g/kg": (1.0, "g"), "mg/tablet": (1.0, "tablet"), "g/tablet": (1e3, "tablet")}
    unit, _, counted = rest.partition(" ")
    if unit not in units:
        raise InputError(f'"{shown}" is no strength; accepted: % w/w, % w/v, mg/mL, g/L, mg/g, mg/tablet', field=field)
    factor, per = units[unit]
    strength = Strength(value * factor, per, _said(value, _STRENGTH_WORDS[unit], counted), counted.strip())
    if per == "g" and strength.mg_per_unit > 1000:
        raise InputError(f'"{shown}" is more substance than there is product', field=field)
    return strength


_STRENGTH_WORDS: Final = {
    "mg/ml": "mg/mL", "g/l": "g/L", "g/ml": "g/mL", "ug/ml": "micrograms/mL", "mg/l": "mg/L", "mg/g": "mg/g",
    "g/kg": "g/kg", "mg/tablet": "mg a tablet", "g/tablet": "g a tablet",
}  # fmt: skip
_COUNTED_WORDS: Final = {"cu": "Cu", "cuso4": "CuSO4", "cuso4.5h2o": "CuSO4.5H2O", "cuso4·5h2o": "CuSO4.5H2O"}


def _said(value: float, unit: str, counted: str = "") -> str:
    """A strength as it is written on paper: leading zero, no trailing zero, the unit in its own letters."""
    counted = counted.strip()
    return f"{write_number(value, 6)} {unit} {_COUNTED_WORDS.get(counted, counted)}".strip()


def _percent(value: float, kind: str | None, density: str | None, counted: str, shown: str, field: str) -> Strength:
    if value > 100:
        raise InputError(f'"{shown}" is over 100 %', field=field)
    if kind == "v/v":
        raise InputError(f'"{shown}": give a liquid as % w/v, mg/mL, or % w/w with its density', field=field)
    if kind == "w/v":
        return Strength(value * 10, "mL", _said(value, "% w/v", counted), counted)
    if density is not None:
        if not 0.5 <= float(density) <= 2.5:
            raise InputError(f"a density of {density} g/mL is not possible for such a stock", field=field)
        said = _said(value, f"% w/w, density {write_number(float(density), 6)}", counted)
        return Strength(value * 10 * float(density), "mL", said, counted)
    if kind == "w/w" or value == 100:
        return Strength(value * 10, "g", _said(value, "% w/w" if kind else "%", counted), counted)
    raise InputError(
        f'"{shown}" is not clear: % w/w of a powder, % w/v of a liquid, or % w/w with density', field=field
    )


def stock_strength(parent: Strength, amount: float, made_up_to_ml: float, *, field: str = "stock") -> Strength:
    """A dilution: `amount` (g, mL or tablets) of `parent` made up to `made_up_to_ml`.

    >>> round(stock_strength(parse_strength("pure"), 3, 750).mg_per_unit, 2)
    4.0
    """
    if not (0 < amount < math.inf and 0 < made_up_to_ml < math.inf):
        raise InputError("a stock needs an amount and a volume, both more than 0", field=field)
    if parent.per == "mL" and amount > made_up_to_ml:
        raise InputError("more stock than the volume it is made up to", field=field)
    mg_per_ml = amount * parent.mg_per_unit / made_up_to_ml
    into = f"{write_number(amount, 6)} {parent.per} of {parent.text} in {write_number(made_up_to_ml, 6)} mL"
    return Strength(mg_per_ml, "mL", into, parent.counted)


_WHOLE: Final = ("pure", "crystals", "undiluted")
"""Nothing but the substance itself."""
_THE_METAL: Final = ("cu", "copper", "cu2+", "totalcu", "freecu", "totalcopper")


def counted_share(strength: Strength, treatment: str, substance: str, *, field: str = "strength") -> float:
    """What the dose counts in 1 mg of what the strength counts: copper as metal or as sulphate, thiosulphate with or
    without water. InputError where a strength of copper does not say which: the two are four times apart, and a
    chelated product is never taken for another form of copper.
    """
    word = re.sub(r"[\s·]", "", strength.counted.lower())
    as_salt, as_metal = word.startswith(("cuso4", "coppersul")), word in _THE_METAL
    if "copper" in substance:
        # No salt of copper sulphate holds more than 255 mg/g of the metal: a stronger powder is counted as the salt.
        strong = strength.per == "g" and strength.mg_per_unit > 1000 * COPPER_SHARE * 1.01
        crystals = strong or strength.text.partition(" of ")[2].startswith(_WHOLE)
        if treatment == "copper_chelated":
            if as_salt or not as_metal:
                raise InputError(
                    f'"{strength.text}": say the total copper of the chelated product, such as "10 mg/mL Cu"',
                    field=field,
                )
            return 1.0
        if not (as_salt or as_metal or (crystals and treatment == "copper_sulfate_fw")):
            raise InputError(
                f'"{strength.text}" does not say what it counts: write Cu (the metal) or CuSO4.5H2O (the salt) behind '
                "it, four times apart",
                field=field,
            )
        if treatment == "copper_ion_marine":
            return COPPER_SHARE if as_salt else 1.0
        return 1 / COPPER_SHARE if as_metal else 1.0
    if treatment == "sodium_thiosulfate" and "anhydrous" in word:
        return 1 / THIOSULPHATE_ANHYDROUS_SHARE
    return 1.0
