"""Constants of the carbonate system in salt water, from brackish (1 g/kg) to the sea.

pH is on the free-hydrogen scale, which a keeper's meter or kit set on NBS buffers reads closely in salt water, as in
`water.ammonia_pka_salt`. Stoichiometric constants in mol/kg of solution, at the surface; temperature in °C, salinity
about g/kg.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from wetmount.errors import InputError

SALTIEST_G_PER_KG: Final = 45.0
_CHLORINITY: Final = 1.80655
"""Salinity to the chlorinity of sea water."""


@dataclass(frozen=True, slots=True)
class SeaConstants:
    """Dissociation of carbonic acid (k1, k2), water (kw) and boric acid (kb), solubility of carbon dioxide k0 (mol/kg
    and atm), total borate, and how much acid stands behind each free hydrogen ion (with sulphate and fluoride)."""

    k1: float
    k2: float
    kw: float
    kb: float
    k0: float
    borate: float
    acid_per_hydrogen: float
    kg_per_l: float


def sea_constants(temperature_c: float, salinity_g_per_kg: float) -> SeaConstants:
    """The constants at a temperature of 0 to 40 °C and a salinity of 1 to 45. InputError outside.

    k1, k2: Millero 2010, Marine and Freshwater Research 61:139-142 (real sea water, estuaries included); kw: Millero
    1995, Geochimica et Cosmochimica Acta 59:661-677; kb: Dickson 1990, Deep-Sea Research 37:755-766; k0: Weiss 1974,
    Marine Chemistry 2:203-215. Borate: Uppstrom 1974; sulphate: Morris and Riley 1966 with Dickson 1990, Journal of
    Chemical Thermodynamics 22:113-127; fluoride: Riley 1965 with Dickson and Riley 1979.
    """
    if not 0 <= temperature_c <= 40:
        raise InputError(f"{temperature_c:g} °C; the pH of salt water is worked out from 0 to 40 °C")
    if not 1 <= salinity_g_per_kg <= SALTIEST_G_PER_KG:
        raise InputError(f"salinity {salinity_g_per_kg:g} g/kg; salt water is from 1 to {SALTIEST_G_PER_KG:g} g/kg")
    t, s = temperature_c + 273.15, salinity_g_per_kg
    log_t, root = math.log(t), math.sqrt(s)
    pk1 = -126.34048 + 6320.813 / t + 19.568224 * log_t
    pk1 += 13.4038 * root + 0.03206 * s - 5.242e-5 * s**2 - (530.659 * root + 5.8210 * s) / t - 2.0664 * root * log_t
    pk2 = -90.18333 + 5143.692 / t + 14.613358 * log_t
    pk2 += 21.3728 * root + 0.1218 * s - 3.688e-4 * s**2 - (788.289 * root + 19.189 * s) / t - 3.374 * root * log_t
    ln_kw = 148.9802 - 13847.26 / t - 23.6521 * log_t
    ln_kw += (-5.977 + 118.67 / t + 1.0495 * log_t) * root - 0.01615 * s
    ln_kb = (-8966.9 - 2890.53 * root - 77.942 * s + 1.728 * root * s - 0.0996 * s**2) / t
    ln_kb += 148.0248 + 137.1942 * root + 1.62142 * s
    ln_kb += (-24.4344 - 25.085 * root - 0.2474 * s) * log_t + 0.053105 * root * t
    hundred = t / 100
    ln_k0 = -60.2409 + 93.4517 / hundred + 23.3585 * math.log(hundred)
    ln_k0 += s * (0.023517 - 0.023656 * hundred + 0.0047036 * hundred**2)
    with_sulphate, with_all = _acid_per_hydrogen(t, s)
    # k1, k2 and kw are published on the sea-water scale and kb on the total scale; both are brought to the free one.
    return SeaConstants(
        10**-pk1 / with_all,
        10**-pk2 / with_all,
        math.exp(ln_kw) / with_all,
        math.exp(ln_kb) / with_sulphate,
        math.exp(ln_k0),
        0.0004157 * s / 35,
        with_all,
        0.997 + 0.00075 * s,
    )


def _acid_per_hydrogen(t: float, s: float) -> tuple[float, float]:
    """Acid to the free hydrogen ion, with bisulphate, and with hydrogen fluoride too."""
    strength = 19.924 * s / (1000 - 1.005 * s)
    root, log_t = math.sqrt(strength), math.log(t)
    ln_bisulphate = -4276.1 / t + 141.328 - 23.093 * log_t + (-13856 / t + 324.57 - 47.986 * log_t) * root
    ln_bisulphate += (35474 / t - 771.54 + 114.723 * log_t) * strength - 2698 / t * root * strength
    ln_bisulphate += 1776 / t * strength**2
    to_solution = 1 - 0.001005 * s
    bisulphate = math.exp(ln_bisulphate) * to_solution
    fluoride = math.exp(1590.2 / t - 12.641 + 1.525 * root) * to_solution
    with_sulphate = 1 + 0.14 / 96.062 * s / _CHLORINITY / bisulphate
    return with_sulphate, with_sulphate + 0.000067 / 18.998 * s / _CHLORINITY / fluoride
