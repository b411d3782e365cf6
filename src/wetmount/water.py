"""Water chemistry of a tank: ammonia, oxygen, carbon dioxide, salinity, nitrite and chloride, copper.

Pure functions of floats, the unit in the name. Every function states its equation, the range it holds in and its
source, and raises `InputError` outside that range instead of extrapolating. T is kelvin, t degrees Celsius, S practical
salinity (about g/kg), log is to base 10.
"""

from __future__ import annotations

import math
from typing import Final

from wetmount.errors import InputError
from wetmount.units import CACO3_MG_PER_MEQ, MOLAR_MASS_G

STANDARD_PRESSURE_MMHG: Final = 760.0
SALT_WATER_FROM_G_PER_KG: Final = 1.0
"""Salinity from which ammonia is worked out with the salt-water equation; the two differ there by under 1 %."""


def _require(value: float, low: float, high: float, what: str, unit: str) -> None:
    """Refuse a value outside the range a formula was made for. Not-a-number is outside every range."""
    if not low <= value <= high:
        accepted = f"{low:g} to {high:g} {unit}".strip()
        raise InputError(f"{what} {value:g} {unit}".strip() + f" is outside the range of the formula, {accepted}")


# --- ammonia --------------------------------------------------------------------------------------------------------


def ammonia_pka_fresh(temperature_c: float) -> float:
    """pKa of ammonium in fresh water: 0.09018 + 2729.92 / T; 0 to 50 °C, salinity nil.

    Emerson, Russo, Lund and Thurston 1975, Journal of the Fisheries Research Board of Canada 32:2379-2383. (2727.92,
    met in circulation, is a misprint and puts the ammonia 1.5 % too high.)

    >>> round(ammonia_pka_fresh(25), 3)
    9.246
    """
    _require(temperature_c, 0, 50, "temperature", "°C")
    return 0.09018 + 2729.92 / (temperature_c + 273.15)


def ammonia_pka_salt(temperature_c: float, salinity_g_per_kg: float) -> float:
    """pKa of ammonium in brackish and salt water on the free-hydrogen scale; S 0 to 40, -2 to 40 °C, better than 5 %.

    Clegg and Whitfield 1995, Geochimica et Cosmochimica Acta 59:2403-2421. Of their two scales this one fits a keeper's
    meter or kit: both are set on NBS buffers, which read close to the free scale in sea water; the oceanographers'
    total scale lies about 0.13 lower and would put the ammonia 20 to 30 % too high. Against the measurements of Bower
    and Bidwell 1978 it errs by 0 to 4 %, on the safe side, and unlike a fit to their table (10 to 25 °C, S 34) it
    holds at tropical temperatures and in brackish water.

    >>> round(ammonia_pka_salt(25, 35), 3)
    9.337
    """
    _require(temperature_c, -2, 40, "temperature", "°C")
    _require(salinity_g_per_kg, 0, 40, "salinity", "g/kg")
    t, s = temperature_c + 273.15, salinity_g_per_kg
    # Only the first line is multiplied by 2729.33: a code in circulation puts the salinity terms inside that bracket.
    return (
        9.244605
        - 2729.33 * (1 / 298.15 - 1 / t)
        + (0.0500616 - 9.412696 / t - 2.029559e-7 * t**2) * math.sqrt(s)
        + (-0.0142372 + 1.46041e-5 * t + 3.730005 / t) * s
        + (7.14045e-5 - 0.0229021 / t) * s**2
        + (-5.521278e-7 + 1.95413e-4 / t) * s**3
    )


def ammonia_pka(temperature_c: float, salinity_g_per_kg: float = 0.0) -> float:
    """pKa of ammonium by Emerson et al. 1975 in fresh water and by Clegg and Whitfield 1995 from 1 g/kg of salt."""
    if salinity_g_per_kg < SALT_WATER_FROM_G_PER_KG:
        _require(salinity_g_per_kg, 0, 40, "salinity", "g/kg")
        return ammonia_pka_fresh(temperature_c)
    return ammonia_pka_salt(temperature_c, salinity_g_per_kg)


def un_ionised_fraction(ph: float, temperature_c: float, salinity_g_per_kg: float = 0.0) -> float:
    """Share of total ammonia that is un-ionised NH3, the toxic form: 1 / (1 + 10^(pKa - pH)).

    pH as a meter set on NBS buffers reads it; ranges as in `ammonia_pka_fresh` and `ammonia_pka_salt`.

    >>> round(un_ionised_fraction(7.8, 26), 4)
    0.037
    """
    _require(ph, 0, 14, "pH", "")
    return float(1 / (1 + 10 ** (ammonia_pka(temperature_c, salinity_g_per_kg) - ph)))


def un_ionised_ammonia_mg_n_per_l(
    total_ammonia_mg_n_per_l: float, ph: float, temperature_c: float, salinity_g_per_kg: float = 0.0
) -> float:
    """Un-ionised ammonia, mg/L as N: total ammonia (as N) times `un_ionised_fraction`.

    >>> round(un_ionised_ammonia_mg_n_per_l(1.0, 8.0, 24), 4)
    0.0502
    """
    _require(total_ammonia_mg_n_per_l, 0, math.inf, "total ammonia", "mg/L N")
    return total_ammonia_mg_n_per_l * un_ionised_fraction(ph, temperature_c, salinity_g_per_kg)


def total_ammonia_at_limit_mg_n_per_l(
    limit_mg_n_per_l: float, ph: float, temperature_c: float, salinity_g_per_kg: float = 0.0
) -> float:
    """Total ammonia (mg/L as N) at which un-ionised ammonia just reaches `limit_mg_n_per_l`.

    >>> round(total_ammonia_at_limit_mg_n_per_l(0.016, 7.0, 25), 1)
    2.8
    """
    _require(limit_mg_n_per_l, 0, math.inf, "limit", "mg/L N")
    return limit_mg_n_per_l / un_ionised_fraction(ph, temperature_c, salinity_g_per_kg)


def ph_at_limit(
    total_ammonia_mg_n_per_l: float, limit_mg_n_per_l: float, temperature_c: float, salinity_g_per_kg: float = 0.0
) -> float | None:
    """pH at which un-ionised ammonia reaches the limit, pKa - log(total / limit - 1); None when the total never can.

    >>> round(ph_at_limit(2.0, 0.2, 25), 2)
    8.29
    """
    _require(total_ammonia_mg_n_per_l, 0, math.inf, "total ammonia", "mg/L N")
    if not 0 < limit_mg_n_per_l < total_ammonia_mg_n_per_l:
        return None
    return ammonia_pka(temperature_c, salinity_g_per_kg) - math.log10(total_ammonia_mg_n_per_l / limit_mg_n_per_l - 1)


# --- dissolved oxygen -----------------------------------------------------------------------------------------------


def pressure_at_altitude_mmhg(altitude_m: float) -> float:
    """Mean air pressure at an altitude, 760 (1 - 2.25577e-5 h)^5.25588 mmHg; -450 to 6 000 m.

    International standard atmosphere (ICAO Doc 7488). For use when no barometer is at hand: the pressure a weather
    service reports is corrected to sea level and must not be used above it.

    >>> round(pressure_at_altitude_mmhg(1000))
    674
    """
    _require(altitude_m, -450, 6000, "altitude", "m")
    return float(STANDARD_PRESSURE_MMHG * (1 - 2.25577e-5 * altitude_m) ** 5.25588)


def oxygen_saturation_mg_per_l(
    temperature_c: float, salinity_g_per_kg: float = 0.0, air_pressure_mmhg: float = STANDARD_PRESSURE_MMHG
) -> float:
    """Oxygen in water in equilibrium with moist air, mg/L; 0 to 40 °C, S 0 to 40, 380 to 836 mmHg (0.5 to 1.1 atm).

    ln C = -139.34411 + 1.575701e5/T - 6.642308e7/T² + 1.2438e10/T³ - 8.621949e11/T⁴, times
    exp(-S (0.017674 - 10.754/T + 2140.7/T²)), times P (1 - Pwv/P)(1 - θP) / ((1 - Pwv)(1 - θ)) with P in atm,
    ln Pwv = 11.8571 - 3840.70/T - 216961/T² and θ = 0.000975 - 1.426e-5 t + 6.436e-8 t².

    Benson and Krause 1984, Limnology and Oceanography 29:620-632; the same set in Standard Methods 4500-O.

    >>> round(oxygen_saturation_mg_per_l(25), 2), round(oxygen_saturation_mg_per_l(25, 35), 2)
    (8.26, 6.77)
    """
    _require(temperature_c, 0, 40, "temperature", "°C")
    _require(salinity_g_per_kg, 0, 40, "salinity", "g/kg")
    _require(air_pressure_mmhg, 380, 836, "air pressure", "mmHg")
    t = temperature_c + 273.15
    p = air_pressure_mmhg / STANDARD_PRESSURE_MMHG
    ln_c = -139.34411 + 1.575701e5 / t - 6.642308e7 / t**2 + 1.243800e10 / t**3 - 8.621949e11 / t**4
    salt = math.exp(-salinity_g_per_kg * (0.017674 - 10.754 / t + 2140.7 / t**2))
    vapour = math.exp(11.8571 - 3840.70 / t - 216961 / t**2)
    theta = 0.000975 - 1.426e-5 * temperature_c + 6.436e-8 * temperature_c**2
    pressure = p * (1 - vapour / p) * (1 - theta * p) / ((1 - vapour) * (1 - theta))
    return math.exp(ln_c) * salt * pressure


def oxygen_percent(
    oxygen_mg_per_l: float,
    temperature_c: float,
    salinity_g_per_kg: float = 0.0,
    air_pressure_mmhg: float = STANDARD_PRESSURE_MMHG,
) -> float:
    """Dissolved oxygen as a percentage of `oxygen_saturation_mg_per_l` (its ranges hold).

    >>> round(oxygen_percent(4.5, 26))
    55
    """
    _require(oxygen_mg_per_l, 0, math.inf, "oxygen", "mg/L")
    return 100 * oxygen_mg_per_l / oxygen_saturation_mg_per_l(temperature_c, salinity_g_per_kg, air_pressure_mmhg)


# --- carbon dioxide -------------------------------------------------------------------------------------------------


def carbonate_pk(temperature_c: float) -> tuple[float, float, float, float]:
    """pKH, pK1, pK2 and pKw of the carbonate system at zero ionic strength; used here from 0 to 50 °C.

    Plummer and Busenberg 1982, Geochimica et Cosmochimica Acta 46:1011-1040 (0 to 90 °C); Kw Harned and Owen (0 to
    60 °C; constants from memory).

    >>> [round(pk, 2) for pk in carbonate_pk(25)]
    [1.47, 6.35, 10.33, 13.99]
    """
    _require(temperature_c, 0, 50, "temperature", "°C")
    t = temperature_c + 273.15
    log_t = math.log10(t)
    log_kh = 108.3865 + 0.01985076 * t - 6919.53 / t - 40.45154 * log_t + 669365 / t**2
    log_k1 = -356.3094 - 0.06091964 * t + 21834.37 / t + 126.8339 * log_t - 1684915 / t**2
    log_k2 = -107.8871 - 0.03252849 * t + 5151.79 / t + 38.92561 * log_t - 563713.9 / t**2
    log_kw = -4470.99 / t + 6.0875 - 0.01706 * t
    return -log_kh, -log_k1, -log_k2, -log_kw


def co2_mg_per_l(
    ph: float, alkalinity_mg_caco3_per_l: float, temperature_c: float, conductivity_us_per_cm: float = 0.0
) -> float:
    """Dissolved carbon dioxide from pH and alkalinity, mg/L; fresh water, pH 4 to 10, 0 to 50 °C, to 4 000 uS/cm.

    HCO3 = (Alk - OH + H) / (1 + 2 K2'/H) and CO2 = HCO3 H / K1', with the constants of `carbonate_pk`, activity
    coefficients by Davies and an ionic strength of 1.6e-5 mol/L for each uS/cm. Carbonate must be the only base that
    counts: phosphate, humic water, or old water low in alkalinity make it read too high. A pH wrong by 0.1 changes the
    answer by a quarter.

    The hobby rule 3 KH 10^(7-pH) gives 8 to 20 % less, which errs against the fish.

    >>> round(co2_mg_per_l(7.0, 100, 20), 1)
    21.2
    """
    _require(ph, 4, 10, "pH", "")
    _require(alkalinity_mg_caco3_per_l, 0, 1000, "alkalinity", "mg/L CaCO3")
    _require(conductivity_us_per_cm, 0, 4000, "conductivity", "uS/cm")
    _, pk1, pk2, pkw = carbonate_pk(temperature_c)
    strength = 1.6e-5 * conductivity_us_per_cm
    log_g1 = -0.509 * (math.sqrt(strength) / (1 + math.sqrt(strength)) - 0.3 * strength)
    g1 = 10**log_g1
    k1 = 10**-pk1 / g1
    k2 = 10**-pk2 * g1 / g1**4
    h = 10**-ph
    hydroxide = 10**-pkw / h / g1
    alkalinity_eq_per_l = alkalinity_mg_caco3_per_l / (1000 * CACO3_MG_PER_MEQ)
    # With next to no alkalinity a high pH leaves nothing for bicarbonate: then there is no carbon dioxide either.
    bicarbonate = max(0.0, (alkalinity_eq_per_l - hydroxide + h / g1) / (1 + 2 * k2 / h))
    return float(1000 * MOLAR_MASS_G["CO2"] * bicarbonate * h / k1)


# --- conductivity and salinity --------------------------------------------------------------------------------------

_PSS_A = (0.0080, -0.1692, 25.3851, 14.0941, -7.0261, 2.7081)
_PSS_B = (0.0005, -0.0056, -0.0066, -0.0375, 0.0636, -0.0144)
_PSS_C = (0.6766097, 2.00564e-2, 1.104259e-4, -6.9698e-7, 1.0031e-9)
_SEA_WATER_MS_PER_CM = 42.914  # conductivity of standard sea water, S 35 at 15 °C (IPTS-68)


def salinity_from_ratio(conductivity_ratio: float, temperature_c: float) -> float:
    """Practical salinity from the conductivity relative to standard sea water at the same temperature; S 0 to 42.

    PSS-78: S = Σ a_i R^(i/2) + k Σ b_i R^(i/2), k = (t - 15)/(1 + 0.0162 (t - 15)), t on IPTS-68 = 1.00024 t90,
    -2 to 35 °C (UNESCO Technical Papers in Marine Science 44, 1983). Below S 2 the extension of Hill, Dauphinee and
    Woods 1986, IEEE Journal of Oceanic Engineering 11:109-112, blended in as TEOS-10 does so that no step is left at 2.

    >>> round(salinity_from_ratio(1.0, 15 / 1.00024), 6)
    35.0
    """
    _require(temperature_c, -2, 40, "temperature", "°C")
    _require(conductivity_ratio, 0, 1.3, "conductivity ratio", "")
    t68 = 1.00024 * temperature_c
    k = (t68 - 15) / (1 + 0.0162 * (t68 - 15))
    salinity, _ = _practical_salinity(math.sqrt(conductivity_ratio), k)
    if salinity >= 2:
        return salinity
    return _hill(salinity, conductivity_ratio, k) * 2 / _hill_at_2(k)


def _practical_salinity(root: float, k: float) -> tuple[float, float]:
    """PSS-78 as a polynomial of the root of the conductivity ratio, and its slope."""
    salinity = slope = 0.0
    for a, b in zip(reversed(_PSS_A), reversed(_PSS_B), strict=True):
        slope = slope * root + salinity
        salinity = salinity * root + a + k * b
    return salinity, slope


def _hill(salinity: float, ratio: float, k: float) -> float:
    """The correction of Hill et al. 1986 taken off a practical salinity under 2."""
    x, y = 400 * ratio, 100 * ratio
    return salinity - 0.0080 / (1 + 1.5 * x + x**2) - 0.0005 * k / (1 + math.sqrt(y) + y + y * math.sqrt(y))


def _hill_at_2(k: float) -> float:
    """What the correction leaves of S = 2, the conductivity ratio there found by a few Newton steps."""
    root = math.sqrt(0.07)
    for _ in range(20):
        salinity, slope = _practical_salinity(root, k)
        root -= (salinity - 2) / slope
    return _hill(2.0, root**2, k)


def salinity_from_conductivity(conductivity_ms_per_cm: float, temperature_c: float = 25.0) -> float:
    """Practical salinity of sea water from its conductivity at the temperature it was measured at.

    A meter that corrects to 25 °C reads the conductivity at 25 °C: leave the temperature at that. For diluted sea
    water; fresh water has other ions (`dissolved_solids_mg_per_l`). Equations of `salinity_from_ratio` with
    rt = 0.6766097 + 2.00564e-2 t + 1.104259e-4 t² - 6.9698e-7 t³ + 1.0031e-9 t⁴ at the surface.

    >>> round(salinity_from_conductivity(53.07), 1)
    35.0
    """
    _require(conductivity_ms_per_cm, 0, 80, "conductivity", "mS/cm")
    _require(temperature_c, -2, 40, "temperature", "°C")
    t68 = 1.00024 * temperature_c
    rt = 0.0
    for c in reversed(_PSS_C):
        rt = rt * t68 + c
    return salinity_from_ratio(conductivity_ms_per_cm / _SEA_WATER_MS_PER_CM / rt, temperature_c)


def conductivity_at_25_us_per_cm(conductivity_us_per_cm: float, temperature_c: float) -> float:
    """Conductivity of fresh water corrected to 25 °C: EC / (1 + 0.0191 (t - 25)); 0 to 40 °C.

    Standard Methods 2510 B (factor from memory).

    >>> round(conductivity_at_25_us_per_cm(320, 20))
    354
    """
    _require(conductivity_us_per_cm, 0, math.inf, "conductivity", "uS/cm")
    _require(temperature_c, 0, 40, "temperature", "°C")
    return conductivity_us_per_cm / (1 + 0.0191 * (temperature_c - 25))


def dissolved_solids_mg_per_l(conductivity_us_per_cm: float, factor: float = 0.65) -> float:
    """Dissolved solids of fresh water from its conductivity at 25 °C: factor times EC; an estimate.

    The factor is 0.50 for sodium chloride to 0.70 for bicarbonate water, 0.64 to 0.67 commonly taken (memory).

    >>> round(dissolved_solids_mg_per_l(400))
    260
    """
    _require(conductivity_us_per_cm, 0, 10_000, "conductivity", "uS/cm")
    _require(factor, 0.5, 0.9, "factor", "")
    return factor * conductivity_us_per_cm


# --- nitrite and chloride, copper -----------------------------------------------------------------------------------


def chloride_from_salinity_mg_per_l(salinity_g_per_kg: float) -> float:
    """Chloride of diluted sea water, mg/L: 1000 S / 1.80655, the definition of salinity by chlorinity; S 0 to 42.

    Joint Panel on Oceanographic Tables and Standards, UNESCO 1966. A litre is taken as a kilogram, which is up to 3 %
    low in sea water. Plain sodium chloride gives more (607 mg from a gram), so this is the cautious figure for either.

    >>> round(chloride_from_salinity_mg_per_l(35))
    19374
    """
    _require(salinity_g_per_kg, 0, 42, "salinity", "g/kg")
    return 1000 * salinity_g_per_kg / 1.80655


def chloride_to_nitrite(chloride_mg_per_l: float, nitrite_mg_per_l: float) -> float:
    """Ratio of chloride to nitrite, mg/L to mg/L of the ion NO2 (not of NO2-N); infinite without nitrite.

    Chloride competes with nitrite for the same carrier in the gill; ten to one keeps nitrite out (Durborow, Crosby and
    Brunson 1997, Southern Regional Aquaculture Center publication 462).

    >>> chloride_to_nitrite(20, 5)
    4.0
    """
    _require(chloride_mg_per_l, 0, math.inf, "chloride", "mg/L")
    _require(nitrite_mg_per_l, 0, math.inf, "nitrite", "mg/L NO2")
    return chloride_mg_per_l / nitrite_mg_per_l if nitrite_mg_per_l > 0 else math.inf


def copper_criterion_mg_per_l(hardness_mg_caco3_per_l: float) -> float:
    """Dissolved copper that fresh-water life stands for four days, mg/L: 0.960 exp(0.8545 ln H - 1.465) / 1000.

    United States criterion as in Washington Administrative Code 173-201A-240; H 25 to 400 mg/L CaCO3. Outside it the
    nearest end is used, as the criterion is by regulation (40 CFR 131.36(c)(4)).

    >>> round(copper_criterion_mg_per_l(100), 4)
    0.0114
    """
    _require(hardness_mg_caco3_per_l, 0, 10_000, "hardness", "mg/L CaCO3")
    hardness = min(max(hardness_mg_caco3_per_l, 25.0), 400.0)
    return 0.960e-3 * math.exp(0.8545 * math.log(hardness) - 1.465)
