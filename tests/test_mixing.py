"""The carbonate system of mixed waters against PyCO2SYS, limiting cases and properties."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wetmount.errors import InputError
from wetmount.mixing import AIR_CO2_ATM, Water, conditioning, dissolved_carbon, mix, ph_from, ph_in_air
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
