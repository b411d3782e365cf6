"""The doses that the water decides, each a named rule: copper, chloramine-T, permanganate, nitrite, chlorine, KH.

Every rule takes what was measured, None where it was not, and gives the greatest dose it allows with its words, or a
refusal. What is not known counts as the dangerous value.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from wetmount.dose_units import BICARBONATE_MG_PER_MEQ, CHLORIDE_SHARE
from wetmount.units import CACO3_MG_PER_L_PER_DEGREE, CACO3_MG_PER_MEQ

SOFT_MG_CACO3_PER_L: Final = 50.0
"""Alkalinity or hardness under which water counts as soft here."""
COPPER_TOP_MG_PER_L: Final = 2.5
CHLORAMINE_T_MG_PER_L: Final = {
    "soft": ((6.0, 2.5), (6.5, 5.0), (7.0, 10.0), (7.5, 18.0), (8.0, 20.0)),
    "hard": ((6.0, 7.0), (6.5, 10.0), (7.0, 15.0), (7.5, 18.0), (8.0, 20.0)),
}
"""Greatest dose by pH, soft and hard water (row chloramine_t of treatments.csv)."""
PERMANGANATE_DEMAND: Final = (0.5, 1.0, 2.0, 3.0)
CHLORIDE_TO_NITRITE: Final = 10.0
THIOSULPHATE_LEAST: Final = 7.0
"""mg pentahydrate to the mg of chlorine by the reaction to tetrathionate; below it chlorine stays."""
DKH_A_DAY: Final = 1.0
BICARBONATE_MG_PER_L_PER_DKH: Final = CACO3_MG_PER_L_PER_DEGREE / CACO3_MG_PER_MEQ * BICARBONATE_MG_PER_MEQ
"""29.96 mg/L of NaHCO3 raise alkalinity by one German degree."""


@dataclass(frozen=True, slots=True)
class RuleAnswer:
    """What a rule allows: `target` is the dose it asks for and `most` the greatest, in the unit it names. `refused`
    is the reason when it allows nothing."""

    target: float | None
    most: float | None
    words: str
    refused: str | None = None


def _no(reason: str) -> RuleAnswer:
    return RuleAnswer(None, None, "", reason)


def is_soft(alkalinity_mg_caco3_per_l: float | None, hardness_mg_caco3_per_l: float | None) -> bool:
    """Soft when alkalinity or hardness is under 50 mg/L CaCO3; unknown counts as soft."""
    known = [value for value in (alkalinity_mg_caco3_per_l, hardness_mg_caco3_per_l) if value is not None]
    return len(known) == 0 or min(known) < SOFT_MG_CACO3_PER_L


def copper_by_alkalinity(
    alkalinity_mg_caco3_per_l: float | None, hardness_mg_caco3_per_l: float | None, *, halved: bool = False
) -> RuleAnswer:
    """Copper sulphate pentahydrate, mg/L: total alkalinity / 100 and never above 2.5 (UF/IFAS FA008).

    Refused under 50 mg/L CaCO3 or where alkalinity or hardness is not known; `halved` for livebearers and danios, and
    then refused under 100.

    >>> copper_by_alkalinity(150, 180).most, copper_by_alkalinity(300, 300).most
    (1.5, 2.5)
    """
    if alkalinity_mg_caco3_per_l is None:
        return _no("alkalinity is not known: copper is never dosed without it")
    if hardness_mg_caco3_per_l is None:
        return _no("hardness is not known: copper is never dosed without it")
    floor = 100.0 if halved else SOFT_MG_CACO3_PER_L
    if alkalinity_mg_caco3_per_l < floor:
        return _no(f"alkalinity is under {floor:g} mg/L CaCO3: free copper rises in soft water")
    if hardness_mg_caco3_per_l < SOFT_MG_CACO3_PER_L:
        return _no("hardness is under 50 mg/L CaCO3: free copper rises in soft water")
    most = min(alkalinity_mg_caco3_per_l / 100, COPPER_TOP_MG_PER_L) * (0.5 if halved else 1.0)
    return RuleAnswer(most, most, f"alkalinity {alkalinity_mg_caco3_per_l:.3g} mg/L CaCO3 / 100, at most 2.5 mg/L")


def chloramine_t_by_ph(ph: float | None, hardness_mg_caco3_per_l: float | None) -> RuleAnswer:
    """Chloramine-T, mg/L, by pH and hardness; between the steps of the table the lower step is taken.

    Hard is 150 mg/L CaCO3 and more (judgement: between, the soft column holds). Refused under pH 6 or unknown.

    >>> chloramine_t_by_ph(7.2, 40).most, chloramine_t_by_ph(8.4, 200).most
    (10.0, 20.0)
    """
    if ph is None or hardness_mg_caco3_per_l is None:
        return _no("pH and hardness must both be known: chloramine-T is several times more toxic in soft acid water")
    if ph < 6:
        return _no("pH is under 6: chloramine-T is not used in acid water")
    column = "hard" if hardness_mg_caco3_per_l >= 150 else "soft"
    step = max((at, dose) for at, dose in CHLORAMINE_T_MG_PER_L[column] if at <= ph)
    return RuleAnswer(step[1], step[1], f"table of pH and hardness: pH {step[0]:g}, {column} water")


def permanganate_demand(hours_until_brown: dict[float, float] | None, *, clean_soft: bool) -> RuleAnswer:
    """Permanganate, mg/L, by a demand test: the least of the tested doses that stays pink for 4 h (UF/IFAS FA37), at
    most 2 mg/L. `hours_until_brown` maps each tested dose (mg/L) to the hours it stayed pink. Without a test 1 mg/L is
    where to begin, in clean soft water half.

    >>> permanganate_demand({1: 2, 2: 5, 3: 8}, clean_soft=False).target
    2.0
    """
    most = 1.0 if clean_soft else 2.0
    if not hours_until_brown:
        return RuleAnswer(most / 2, most, "no demand test: begin at the low end and watch the colour")
    held = sorted(dose for dose, hours in hours_until_brown.items() if hours >= 4)
    if not held:
        return _no("no tested dose stayed pink for 4 h: clean the system rather than chase the colour")
    if held[0] > most:
        return _no(f"{held[0]:g} mg/L would be needed and {most:g} mg/L is the most: clean the system instead")
    return RuleAnswer(float(held[0]), most, f"the least tested dose that stayed pink for 4 h is {held[0]:g} mg/L")


def chloride_to_nitrite(
    nitrite_mg_no2_per_l: float | None, chloride_mg_per_l: float | None, ratio: float = CHLORIDE_TO_NITRITE
) -> RuleAnswer:
    """Sodium chloride, g/L, that brings chloride to `ratio` times the nitrite ion (Durborow, Crosby and Brunson 1997,
    SRAC 462); chloride already there is counted, unknown as none. Nothing is needed without nitrite.

    >>> round(chloride_to_nitrite(3, 0, 6).target * 1000 * 0.6066, 1)
    18.0
    """
    if nitrite_mg_no2_per_l is None:
        return _no("nitrite is not known; say on which basis the kit reads, NO2 or NO2-N (factor 3.28)")
    need = max(0.0, ratio * nitrite_mg_no2_per_l - (chloride_mg_per_l or 0.0))
    salt = need / CHLORIDE_SHARE / 1000
    most = 20.0 * nitrite_mg_no2_per_l / CHLORIDE_SHARE / 1000
    return RuleAnswer(salt, most, f"chloride {ratio:g} times the nitrite: {need:.3g} mg/L more, as sodium chloride")


def thiosulphate_to_chlorine(total_chlorine_mg_per_l: float | None, ratio: float = 7.4) -> RuleAnswer:
    """Sodium thiosulphate pentahydrate, mg/L: 7.4 mg to the mg of total chlorine (Piper et al. 1982). A ratio under 7
    leaves chlorine and is refused.

    >>> thiosulphate_to_chlorine(2).target
    14.8
    """
    if total_chlorine_mg_per_l is None:
        return _no("total chlorine is not known; test free and combined chlorine together")
    if ratio < THIOSULPHATE_LEAST:
        return _no(f"a ratio of {ratio:g} leaves chlorine: at least 7 mg to the mg are needed, 7.4 are used")
    return RuleAnswer(
        ratio * total_chlorine_mg_per_l, 20 * total_chlorine_mg_per_l, f"{ratio:g} mg to the mg of total chlorine"
    )


def bicarbonate_per_dkh(
    rise_dkh: float | None,
    *,
    free_ammonia_after_mg_n_per_l: float | None,
    total_ammonia_mg_n_per_l: float | None,
) -> RuleAnswer:
    """Sodium bicarbonate, mg/L, to raise alkalinity by `rise_dkh`; at most 1 dKH a day, 2 with ammonia tested to
    nothing (common practice, no source). Refused while total ammonia is unknown, or free ammonia would pass 0.02 mg/L
    N after the change or is not worked out.

    >>> round(bicarbonate_per_dkh(1, free_ammonia_after_mg_n_per_l=0, total_ammonia_mg_n_per_l=0).target, 2)
    29.96
    """
    if rise_dkh is None or not 0 < rise_dkh < math.inf:
        return _no("say by how many dKH alkalinity is to rise")
    if total_ammonia_mg_n_per_l is None:
        return _no("total ammonia is not known: raising pH frees ammonia, test first")
    none_there = total_ammonia_mg_n_per_l == 0
    if not none_there and (free_ammonia_after_mg_n_per_l is None or free_ammonia_after_mg_n_per_l > 0.02):
        return _no("free ammonia would pass 0.02 mg/L N, or is not worked out: bring ammonia down first")
    most = (2 if none_there else 1) * DKH_A_DAY * BICARBONATE_MG_PER_L_PER_DKH
    target = rise_dkh * BICARBONATE_MG_PER_L_PER_DKH
    if target > most * (1 + 1e-9):
        days = math.ceil(target / most - 1e-9)
        return _no(f"{rise_dkh:g} dKH at once is too much: spread it over {days} days or more")
    return RuleAnswer(target, most, f"{BICARBONATE_MG_PER_L_PER_DKH:.2f} mg/L to the dKH")
