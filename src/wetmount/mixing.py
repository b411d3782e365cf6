"""Mixing two waters: temperature, salts and the carbonate system, and the ammonia that a new pH sets free.

Alkalinity and dissolved inorganic carbon mix by volume, pH does not: it is solved anew from the two. Fresh water (under
1 g/kg of salt, to 4 000 uS/cm): constants of Plummer and Busenberg 1982 with Davies activities, as in
`water.co2_mg_per_l`. Brackish and sea water: `sea_carbonate`, borate included, pH as a meter reads it (free scale).
Air takes carbon dioxide up or off afterwards: the pH at once and the pH in balance with air are both given, for free
ammonia follows the higher of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from wetmount.changes import check_fraction
from wetmount.dose_rules import BICARBONATE_MG_PER_L_PER_DKH, thiosulphate_to_chlorine
from wetmount.errors import InputError
from wetmount.sea_carbonate import sea_constants
from wetmount.units import CACO3_MG_PER_MEQ
from wetmount.water import SALT_WATER_FROM_G_PER_KG, carbonate_pk, un_ionised_ammonia_mg_n_per_l

AIR_CO2_ATM: Final = 420e-6
"""Carbon dioxide of outdoor air, about 420 ppm by volume in the 2020s (a room holds up to three times as much)."""
US_PER_CM_PER_G_PER_KG: Final = 2000.0
"""Conductivity of dilute sea salt, about, where only its salinity is known: it sets the activities of fresh water."""


@dataclass(frozen=True, slots=True)
class Water:
    """One water. Alkalinity as mg/L CaCO3, conductivity at 25 °C, total ammonia and nitrate as N and NO3, salinity
    about g/kg. Under 1 g/kg it is fresh water, and its salt counts as conductivity where none was measured."""

    temperature_c: float
    ph: float
    alkalinity_mg_caco3_per_l: float
    conductivity_us_per_cm: float = 0.0
    total_ammonia_mg_n_per_l: float = 0.0
    nitrate_mg_no3_per_l: float = 0.0
    salinity_g_per_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class Mixed:
    """The mixture at once, and in balance with the air; free ammonia, mg/L as N, is the greater of the two."""

    water: Water
    dissolved_carbon_mmol_per_l: float
    ph_in_air: float
    free_ammonia_mg_n_per_l: float


@dataclass(frozen=True, slots=True)
class _System:
    """A water's carbonate system with h = 10^-pH: what k1, k2, kw, kb and Henry's constant are against h, what acid
    stands behind h, borate, and the kilograms to the litre (1 in fresh water)."""

    k1: float
    k2: float
    kw: float
    kh: float
    acid: float
    borate: float = 0.0
    kb: float = 1.0
    kg_per_l: float = 1.0

    def rest(self, h: float) -> float:
        """Alkalinity that is no carbonate, mol/kg: hydroxide and borate less acid."""
        return self.kw / h - h * self.acid + self.borate / (1 + h / self.kb)


def _system(temperature_c: float, conductivity: float, salinity: float) -> _System:
    if salinity >= SALT_WATER_FROM_G_PER_KG:
        sea = sea_constants(temperature_c, salinity)
        return _System(
            sea.k1, sea.k2, sea.kw, sea.k0, sea.acid_per_hydrogen, sea.borate, sea.kb, sea.kg_per_l
        )  # fmt: skip
    conductivity = max(conductivity, salinity * US_PER_CM_PER_G_PER_KG)
    if not 0 <= conductivity <= 4000:
        raise InputError(
            f"conductivity {conductivity:g} uS/cm is salt water: say its salinity; fresh water is from 0 to 4 000"
        )
    pkh, pk1, pk2, pkw = carbonate_pk(temperature_c)
    strength = 1.6e-5 * conductivity
    g1 = 10 ** (-0.509 * (math.sqrt(strength) / (1 + math.sqrt(strength)) - 0.3 * strength))
    return _System(10**-pk1 / g1, 10**-pk2 * g1 / g1**4, 10**-pkw / g1, 10**-pkh, 1 / g1)


def dissolved_carbon(water: Water) -> float:
    """Dissolved inorganic carbon, mmol/L, from pH and alkalinity: HCO3 = (Alk - OH - B + H)/(1 + 2 K2/H)."""
    if not 4 <= water.ph <= 10.5 or not 0 <= water.alkalinity_mg_caco3_per_l <= 1000:
        raise InputError(f"pH {water.ph:g} with {water.alkalinity_mg_caco3_per_l:g} mg/L CaCO3 is outside the formula")
    one = _system(water.temperature_c, water.conductivity_us_per_cm, water.salinity_g_per_kg)
    h = 10**-water.ph
    alkalinity = water.alkalinity_mg_caco3_per_l / CACO3_MG_PER_MEQ / 1000 / one.kg_per_l
    bicarbonate = max(0.0, alkalinity - one.rest(h)) / (1 + 2 * one.k2 / h)
    return 1000 * one.kg_per_l * bicarbonate * (1 + h / one.k1 + one.k2 / h)


def ph_from(
    alkalinity_mg_caco3_per_l: float,
    carbon_mmol_per_l: float,
    temperature_c: float,
    conductivity: float,
    salinity_g_per_kg: float = 0.0,
) -> float:
    """pH at which alkalinity and dissolved carbon agree, by bisection between pH 2 and 12.

    >>> water = Water(25, 7.4, 100, 300)
    >>> round(ph_from(100, dissolved_carbon(water), 25, 300), 6)
    7.4
    """
    one = _system(temperature_c, conductivity, salinity_g_per_kg)
    alkalinity = alkalinity_mg_caco3_per_l / CACO3_MG_PER_MEQ / 1000 / one.kg_per_l
    carbon = carbon_mmol_per_l / 1000 / one.kg_per_l

    def excess(ph: float) -> float:
        h = 10**-ph
        bicarbonate = carbon / (1 + h / one.k1 + one.k2 / h)
        return bicarbonate * (1 + 2 * one.k2 / h) + one.rest(h) - alkalinity

    return _bisect(excess)


def ph_in_air(
    alkalinity_mg_caco3_per_l: float,
    temperature_c: float,
    conductivity: float,
    co2_atm: float = AIR_CO2_ATM,
    salinity_g_per_kg: float = 0.0,
) -> float:
    """pH in balance with air holding `co2_atm` of carbon dioxide.

    >>> round(ph_in_air(100, 25, 0), 1)
    8.5
    """
    one = _system(temperature_c, conductivity, salinity_g_per_kg)
    alkalinity, co2 = alkalinity_mg_caco3_per_l / CACO3_MG_PER_MEQ / 1000 / one.kg_per_l, one.kh * co2_atm

    def excess(ph: float) -> float:
        h = 10**-ph
        bicarbonate = one.k1 * co2 / h
        return bicarbonate * (1 + 2 * one.k2 / h) + one.rest(h) - alkalinity

    return _bisect(excess)


def _bisect(rising: Callable[[float], float]) -> float:
    low, high = 2.0, 12.0
    for _ in range(60):
        middle = (low + high) / 2
        if rising(middle) < 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def mix(tank: Water, new: Water, fraction: float) -> Mixed:
    """The tank after a change of a fraction for new water. InputError for a change of 100 % or water that no formula
    covers.

    Both waters' carbon is taken at their own temperature, and the mixture's pH at the mixed one.
    """
    check_fraction(fraction)

    def blend(a: float, b: float) -> float:
        return (1 - fraction) * a + fraction * b

    carbon = blend(dissolved_carbon(tank), dissolved_carbon(new))
    temperature = blend(tank.temperature_c, new.temperature_c)
    alkalinity = blend(tank.alkalinity_mg_caco3_per_l, new.alkalinity_mg_caco3_per_l)
    conductivity = blend(tank.conductivity_us_per_cm, new.conductivity_us_per_cm)
    ammonia = blend(tank.total_ammonia_mg_n_per_l, new.total_ammonia_mg_n_per_l)
    salinity = blend(tank.salinity_g_per_kg, new.salinity_g_per_kg)
    ph = ph_from(alkalinity, carbon, temperature, conductivity, salinity)
    aired = ph_in_air(alkalinity, temperature, conductivity, salinity_g_per_kg=salinity)
    free = un_ionised_ammonia_mg_n_per_l(ammonia, max(ph, aired), temperature, salinity)
    nitrate = blend(tank.nitrate_mg_no3_per_l, new.nitrate_mg_no3_per_l)
    return Mixed(Water(temperature, ph, alkalinity, conductivity, ammonia, nitrate, salinity), carbon, aired, free)


@dataclass(frozen=True, slots=True)
class Conditioning:
    """What goes into the new water before it goes in: thiosulphate for its chlorine, bicarbonate for its alkalinity."""

    thiosulphate_g: float
    bicarbonate_g: float
    ammonia_from_chloramine_mg_n_per_l: float


def conditioning(
    litres_new: float, total_chlorine_mg_per_l: float, combined_chlorine_mg_per_l: float, raise_dkh: float = 0.0
) -> Conditioning:
    """Grams for so many litres of new water; combined chlorine of 1 mg/L as Cl2 leaves 0.1976 mg/L ammonia-N
    (14.007 / 70.90)."""
    if not 0 < litres_new < math.inf or min(total_chlorine_mg_per_l, combined_chlorine_mg_per_l, raise_dkh) < 0:
        raise InputError("litres of new water are more than 0, chlorine and dKH at least 0")
    if combined_chlorine_mg_per_l > total_chlorine_mg_per_l:
        raise InputError("combined chlorine is part of the total chlorine and not more", field="chlorine")
    answer = thiosulphate_to_chlorine(total_chlorine_mg_per_l)
    return Conditioning(
        litres_new * (answer.target or 0.0) / 1000,
        litres_new * raise_dkh * BICARBONATE_MG_PER_L_PER_DKH / 1000,
        combined_chlorine_mg_per_l * 14.007 / 70.90,
    )
