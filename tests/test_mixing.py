"""The carbonate system of mixed waters against PyCO2SYS, limiting cases and properties."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wetmount.errors import InputError
from wetmount.mixing import AIR_CO2_ATM, Water, conditioning, dissolved_carbon, mix, ph_from, ph_in_air
from wetmount.sea_carbonate import sea_constants
from wetmount.units import CACO3_MG_PER_MEQ
from wetmount.water import un_ionised_ammonia_mg_n_per_l


def pyco2sys(**known: Any) -> dict[str, Any]:
    """PyCO2SYS in pure water (constants of Millero 1979 for S = 0; no borate, phosphate or silicate)."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import PyCO2SYS

        return dict(PyCO2SYS.sys(salinity=0, opt_k_carbonic=8, opt_pH_scale=3, **known))


def meq(alkalinity: float) -> float:
    return alkalinity / CACO3_MG_PER_MEQ * 1000  # umol to the kg, a kg taken as a litre


def test_dissolved_carbon() -> None:
    """2 %: Plummer and Busenberg 1982 and Millero 1979 differ by about 0.01 in pK1."""
    waters = [Water(t, ph, a) for t in (5, 15, 25, 30) for ph in (6.2, 7.0, 7.6, 8.2, 9.0) for a in (20, 80, 200)]
    theirs = pyco2sys(
        par1=np.array([meq(w.alkalinity_mg_caco3_per_l) for w in waters]),
        par1_type=1,
        par2=np.array([w.ph for w in waters]),
        par2_type=3,
        temperature=np.array([float(w.temperature_c) for w in waters]),
    )["dic"]
    assert [1000 * dissolved_carbon(w) for w in waters] == pytest.approx(list(theirs), rel=0.02)


@pytest.mark.parametrize(
    ("tank", "new", "fraction"),
    [
        (Water(25, 6.4, 30), Water(25, 8.1, 220), 0.25),
        (Water(25, 6.4, 30), Water(12, 7.6, 180), 0.5),
        (Water(27, 7.8, 120), Water(24, 6.6, 15), 0.3),
        (Water(10, 7.2, 90), Water(10, 8.4, 60), 0.1),
        (Water(22, 6.0, 10), Water(22, 7.9, 250), 0.2),
    ],
)
def test_ph_of_a_mixture(tank: Water, new: Water, fraction: float) -> None:
    """Alkalinity and carbon blended by PyCO2SYS, pH solved by it: within 0.02."""
    carbon = alkalinity = 0.0
    for water, share in ((tank, 1 - fraction), (new, fraction)):
        known = pyco2sys(
            par1=meq(water.alkalinity_mg_caco3_per_l),
            par1_type=1,
            par2=water.ph,
            par2_type=3,
            temperature=water.temperature_c,
        )
        carbon += share * known["dic"]
        alkalinity += share * meq(water.alkalinity_mg_caco3_per_l)
    temperature = (1 - fraction) * tank.temperature_c + fraction * new.temperature_c
    theirs = pyco2sys(par1=alkalinity, par1_type=1, par2=carbon, par2_type=2, temperature=temperature)["pH"]
    mixed = mix(tank, new, fraction)
    assert mixed.water.ph == pytest.approx(theirs, abs=0.02)
    # and it is not the mean of the two pH values
    naive = (1 - fraction) * tank.ph + fraction * new.ph
    assert abs(mixed.water.ph - theirs) < abs(naive - theirs)


def test_ph_in_balance_with_air() -> None:
    """PyCO2SYS from alkalinity and the fugacity of carbon dioxide in outdoor air."""
    cases = [(t, a) for t in (10, 20, 28) for a in (25, 100, 250)]
    theirs = pyco2sys(
        par1=np.array([meq(a) for _, a in cases]),
        par1_type=1,
        par2=AIR_CO2_ATM * 1e6,
        par2_type=5,
        temperature=np.array([float(t) for t, _ in cases]),
    )["pH"]
    assert [ph_in_air(a, t, 0) for t, a in cases] == pytest.approx(list(theirs), abs=0.02)


def test_ammonia_after_a_change_to_hard_water() -> None:
    """Old acid water with ammonia takes hard tap water: the pH rises and frees ammonia, twenty times and more once
    aerated; both figures are by the same Emerson equation as `water`."""
    tank = Water(25, 6.5, 20, 200, total_ammonia_mg_n_per_l=2.0)
    mixed = mix(tank, Water(25, 7.8, 200, 500), 0.3)
    before = un_ionised_ammonia_mg_n_per_l(2.0, 6.5, 25)
    assert mixed.water.total_ammonia_mg_n_per_l == pytest.approx(1.4)
    assert mixed.ph_in_air > mixed.water.ph > 6.5
    assert mixed.free_ammonia_mg_n_per_l == pytest.approx(un_ionised_ammonia_mg_n_per_l(1.4, mixed.ph_in_air, 25))
    assert mixed.free_ammonia_mg_n_per_l > 20 * before


WATERS = st.builds(
    Water,
    st.floats(2, 34),
    st.floats(5.5, 9.2),
    st.floats(5, 400),
    st.floats(0, 2000),
    st.floats(0, 5),
    st.floats(0, 200),
)


@settings(deadline=None)
@given(WATERS)
def test_ph_comes_back(water: Water) -> None:
    back = ph_from(
        water.alkalinity_mg_caco3_per_l, dissolved_carbon(water), water.temperature_c, water.conductivity_us_per_cm
    )
    assert back == pytest.approx(water.ph, abs=1e-6)


@settings(deadline=None)
@given(WATERS, st.floats(0.01, 0.9))
def test_mixing_a_water_with_itself_changes_nothing(water: Water, fraction: float) -> None:
    mixed = mix(water, water, fraction).water
    assert mixed.ph == pytest.approx(water.ph, abs=1e-6)
    assert mixed.nitrate_mg_no3_per_l == pytest.approx(water.nitrate_mg_no3_per_l)


@settings(deadline=None)
@given(WATERS, WATERS, st.floats(0.01, 0.9))
def test_what_mixes_lies_between(one: Water, other: Water, fraction: float) -> None:
    mixed = mix(one, other, fraction).water
    for name in ("temperature_c", "alkalinity_mg_caco3_per_l", "conductivity_us_per_cm", "total_ammonia_mg_n_per_l"):
        low, high = sorted((getattr(one, name), getattr(other, name)))
        assert low - 1e-9 <= getattr(mixed, name) <= high + 1e-9


def test_conditioning() -> None:
    """Fish Hatchery Management 1982: 7.4 mg to the mg; 1 mg/L combined chlorine gives 0.197 mg/L ammonia-N."""
    got = conditioning(100, 2.0, 1.0, raise_dkh=1)
    assert got.thiosulphate_g == pytest.approx(1.48)
    assert got.ammonia_from_chloramine_mg_n_per_l == pytest.approx(0.197, abs=0.001)
    assert got.bicarbonate_g == pytest.approx(2.996, abs=0.002)


@pytest.mark.parametrize(
    "make",
    [
        lambda: mix(Water(25, 7, 50), Water(25, 7, 50), 1.0),
        lambda: mix(Water(25, 3, 50), Water(25, 7, 50), 0.5),
        lambda: mix(Water(25, 7, 50, 50_000), Water(25, 7, 50), 0.5),
        lambda: mix(Water(25, 7, -5), Water(25, 7, 50), 0.5),
        lambda: conditioning(0, 1, 0),
        lambda: conditioning(10, 1, 2),
        lambda: conditioning(10, -1, 0),
    ],
)
def test_bad_waters(make: object) -> None:
    with pytest.raises(InputError):
        make()  # type: ignore[operator]


# --- brackish and sea water -------------------------------------------------------------------------------------------


def pyco2sys_sea(salinity: Any, **known: Any) -> dict[str, Any]:
    """PyCO2SYS with Millero 2010 (1 to 50 g/kg), borate of Uppstrom 1974, on the free scale; surface water."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import PyCO2SYS

        options = {"opt_k_carbonic": 14, "opt_pH_scale": 3, "opt_total_borate": 1, "opt_k_bisulfate": 1}
        return dict(PyCO2SYS.sys(salinity=salinity, opt_k_fluoride=1, **options, **known))


def umol_per_kg(alkalinity: float, salinity: float) -> float:
    return alkalinity / CACO3_MG_PER_MEQ * 1000 / (0.997 + 0.00075 * salinity)


def test_constants_of_salt_water() -> None:
    """Every constant within a thousandth of a pK, borate within 1 in 1000."""
    waters = [(t, s) for t in (0, 10, 25, 32, 40) for s in (1, 5, 12, 25, 35, 45)]
    ours = [sea_constants(t, s) for t, s in waters]
    theirs = pyco2sys_sea(
        np.array([float(s) for _, s in waters]),
        par1=2300,
        par1_type=1,
        par2=8.1,
        par2_type=3,
        temperature=np.array([float(t) for t, _ in waters]),
    )
    names = {"k1": "k_carbonic_1", "k2": "k_carbonic_2", "kw": "k_water", "kb": "k_borate", "k0": "k_CO2"}
    for mine, other in names.items():
        logs = [np.log10(getattr(one, mine)) for one in ours]
        assert logs == pytest.approx(list(np.log10(theirs[other])), abs=1e-3), mine
    assert [1e6 * one.borate for one in ours] == pytest.approx(list(theirs["total_borate"]), rel=1e-3)


def test_dissolved_carbon_of_salt_water() -> None:
    waters = [
        Water(t, ph, a, salinity_g_per_kg=s)
        for t in (10, 25, 30)
        for ph in (7.2, 7.9, 8.3, 8.7)
        for a in (60, 125, 250)
        for s in (1.0, 10.0, 20.0, 35.0)
    ]
    salinity = np.array([w.salinity_g_per_kg for w in waters])
    theirs = pyco2sys_sea(
        salinity,
        par1=np.array([umol_per_kg(w.alkalinity_mg_caco3_per_l, w.salinity_g_per_kg) for w in waters]),
        par1_type=1,
        par2=np.array([w.ph for w in waters]),
        par2_type=3,
        temperature=np.array([float(w.temperature_c) for w in waters]),
    )["dic"] * (0.997 + 0.00075 * salinity)
    assert [1000 * dissolved_carbon(w) for w in waters] == pytest.approx(list(theirs), rel=2e-3)


@pytest.mark.parametrize(
    ("tank", "new", "fraction"),
    [
        (Water(25, 8.2, 140, salinity_g_per_kg=35), Water(25, 8.0, 110, salinity_g_per_kg=34), 0.2),
        (Water(26, 7.8, 90, salinity_g_per_kg=35), Water(22, 8.4, 200, salinity_g_per_kg=30), 0.5),
        (Water(24, 7.6, 100, salinity_g_per_kg=12), Water(24, 8.1, 180, salinity_g_per_kg=20), 0.3),
        (Water(18, 8.3, 125, salinity_g_per_kg=33), Water(18, 7.9, 60, salinity_g_per_kg=5), 0.4),
    ],
)
def test_ph_of_a_mixture_of_salt_waters(tank: Water, new: Water, fraction: float) -> None:
    """Carbon, alkalinity and salt blended litre by litre, pH solved by PyCO2SYS: within 0.005."""
    carbon = alkalinity = salinity = 0.0
    for water, share in ((tank, 1 - fraction), (new, fraction)):
        s = water.salinity_g_per_kg
        known = pyco2sys_sea(
            s,
            par1=umol_per_kg(water.alkalinity_mg_caco3_per_l, s),
            par1_type=1,
            par2=water.ph,
            par2_type=3,
            temperature=water.temperature_c,
        )
        carbon += share * known["dic"] * (0.997 + 0.00075 * s)
        alkalinity += share * water.alkalinity_mg_caco3_per_l
        salinity += share * s
    temperature = (1 - fraction) * tank.temperature_c + fraction * new.temperature_c
    theirs = pyco2sys_sea(
        salinity,
        par1=umol_per_kg(alkalinity, salinity),
        par1_type=1,
        par2=carbon / (0.997 + 0.00075 * salinity),
        par2_type=2,
        temperature=temperature,
    )["pH"]
    mixed = mix(tank, new, fraction)
    assert mixed.water.salinity_g_per_kg == pytest.approx(salinity)
    assert mixed.water.ph == pytest.approx(theirs, abs=0.005)


def test_ph_of_salt_water_in_balance_with_air() -> None:
    cases = [(t, a, s) for t in (10, 25, 30) for a in (80, 125, 220) for s in (2.0, 15.0, 35.0)]
    theirs = pyco2sys_sea(
        np.array([s for _, _, s in cases]),
        par1=np.array([umol_per_kg(a, s) for _, a, s in cases]),
        par1_type=1,
        par2=AIR_CO2_ATM * 1e6,
        par2_type=5,
        temperature=np.array([float(t) for t, _, _ in cases]),
    )["pH"]
    ours = [ph_in_air(a, t, 0, salinity_g_per_kg=s) for t, a, s in cases]
    assert ours == pytest.approx(list(theirs), abs=0.005)


def test_fresh_and_brackish_meet_where_one_set_of_constants_gives_way_to_the_other() -> None:
    """Just under and at 1 g/kg the carbon of one water differs by less than 4 %, whichever constants are used."""
    for ph in (7.2, 7.8, 8.3):
        under = dissolved_carbon(Water(25, ph, 100, salinity_g_per_kg=0.999))
        above = dissolved_carbon(Water(25, ph, 100, salinity_g_per_kg=1.0))
        assert under == pytest.approx(above, rel=0.04)


def test_ammonia_of_the_sea_is_by_its_own_constants() -> None:
    tank = Water(25, 8.0, 120, total_ammonia_mg_n_per_l=0.5, salinity_g_per_kg=35)
    mixed = mix(tank, Water(25, 8.3, 150, salinity_g_per_kg=35), 0.2)
    higher = max(mixed.water.ph, mixed.ph_in_air)
    assert mixed.free_ammonia_mg_n_per_l == pytest.approx(un_ionised_ammonia_mg_n_per_l(0.4, higher, 25, 35))


@pytest.mark.parametrize("water", [Water(45, 8, 100, salinity_g_per_kg=35), Water(25, 8, 100, salinity_g_per_kg=60)])
def test_salt_water_outside_the_constants(water: Water) -> None:
    with pytest.raises(InputError):
        dissolved_carbon(water)
