"""Quantities at the border, against pint (a general library of units) and published atomic weights."""

from __future__ import annotations

import math
import re

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wetmount.errors import InputError
from wetmount.units import KINDS, MOLAR_MASS_G, READINGS, Quantity, _fold, parse_quantity

UNITS = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)

# Written unit -> the same in pint. Only units without a substance; those are checked against atomic weights below.
PINT_NAMES = {
    ("temperature", "C"): ("degC", "degC"),
    ("temperature", "F"): ("degF", "degC"),
    ("temperature", "K"): ("kelvin", "degC"),
    ("length", "cm"): ("cm", "cm"),
    ("length", "mm"): ("mm", "cm"),
    ("length", "m"): ("m", "cm"),
    ("length", "um"): ("um", "cm"),
    ("length", "in"): ("inch", "cm"),
    ("length", "ft"): ("foot", "cm"),
    ("weight", "mg"): ("mg", "g"),
    ("weight", "ug"): ("ug", "g"),
    ("weight", "kg"): ("kg", "g"),
    ("weight", "oz"): ("ounce", "g"),
    ("weight", "lb"): ("pound", "g"),
    ("volume", "mL"): ("mL", "L"),
    ("volume", "m3"): ("m**3", "L"),
    ("volume", "US gal"): ("gallon", "L"),
    ("volume", "UK gal"): ("imperial_gallon", "L"),
    ("volume", "US fl oz"): ("fluid_ounce", "L"),
    ("volume", "UK fl oz"): ("imperial_fluid_ounce", "L"),
    ("concentration", "g/L"): ("g/L", "mg/L"),
    ("concentration", "ug/L"): ("ug/L", "mg/L"),
    ("concentration", "g/m3"): ("g/m**3", "mg/L"),
    ("duration", "min"): ("minute", "hour"),
    ("duration", "d"): ("day", "hour"),
    ("duration", "week"): ("week", "hour"),
    ("altitude", "ft"): ("foot", "m"),
    ("air_pressure", "hPa"): ("hPa", "mmHg"),
    ("air_pressure", "mbar"): ("mbar", "mmHg"),
    ("air_pressure", "kPa"): ("kPa", "mmHg"),
    ("air_pressure", "atm"): ("atm", "mmHg"),
    ("air_pressure", "inHg"): ("inHg", "mmHg"),
    ("conductivity", "mS/cm"): ("mS/cm", "uS/cm"),
    ("conductivity", "dS/m"): ("dS/m", "uS/cm"),
    ("conductivity", "S/m"): ("S/m", "uS/cm"),
}


@pytest.mark.parametrize(("kind", "unit"), PINT_NAMES, ids=lambda one: str(one))
def test_factor_equals_pint(kind: str, unit: str) -> None:
    """Source: pint's default registry. A value inside the physical range of the kind, so that nothing is refused."""
    ours, theirs = KINDS[kind], PINT_NAMES[kind, unit]
    for wanted in (ours.low + 0.3 * (ours.high - ours.low), ours.low + 0.41 * (ours.high - ours.low)):
        number = UNITS.Quantity(wanted, theirs[1]).to(theirs[0]).magnitude
        got = parse_quantity(f"{number!r} {unit}", kind)
        # pint holds mmHg through a density of mercury of 13.5951 g/cm3, the same figure as 133.322387415 Pa.
        assert got.value == pytest.approx(wanted, rel=1e-7)
        assert got.unit == ours.unit


def test_every_unit_without_substance_is_checked() -> None:
    """A unit added to the list without a check here fails."""
    chemical = {*READINGS} - {"temperature", "conductivity", "altitude", "air_pressure"}
    checked = {(kind, _fold(unit)) for kind, unit in PINT_NAMES}
    for kind in KINDS.values():
        if kind.name in chemical:
            continue
        for unit in kind.units:
            folded = _fold(unit.names[0])
            internal = unit.factor == 1.0 and unit.zero == 0.0
            assert internal or (kind.name, folded) in checked or folded == "ppb", (kind.name, unit.names[0])


def test_molar_masses_from_iupac_weights() -> None:
    """IUPAC 2021 abridged standard atomic weights (Prohaska et al. 2022, Pure Appl. Chem. 94:573), sums written out."""
    published = {
        "NH3": 17.031, "NH4": 18.039, "NO2": 46.005, "NO3": 62.004, "HCO3": 61.016, "CO2": 44.009,
        "CaCO3": 100.086, "CaO": 56.077, "Cl2": 70.90, "O2": 31.998,
    }  # fmt: skip
    for formula, mass in published.items():
        assert MOLAR_MASS_G[formula] == pytest.approx(mass, abs=0.0015), formula


# Stoichiometric factors printed in water test leaflets, to the digits given there; each follows from atomic weights.
NITROGEN = [
    ("1 mg/L NH3", "ammonia", 0.8224),
    ("1 mg/L NH4", "ammonia", 0.7765),
    ("1.216 mg/L NH3", "ammonia", 1.000),
    ("1.288 mg/L NH4+", "ammonia", 1.000),
    ("1 mg/L N", "ammonia", 1.0),
    ("1 ppm NH3-N", "ammonia", 1.0),
    ("1 mg/L TAN", "ammonia", 1.0),
    ("1 mg/L as N", "ammonia", 1.0),
    ("1 mg N/L", "ammonia", 1.0),
    ("100 umol/L", "ammonia", 1.4007),
    ("0.30 mg/L NO2-N", "nitrite", 0.985),
    ("1 mg/L NO2-N", "nitrite", 3.2844),
    ("1 mg/L NO2", "nitrite", 1.0),
    ("1 mg/L NO₂⁻", "nitrite", 1.0),
    ("11.3 mg/L NO3-N", "nitrate", 50.0),
    ("1 mg/L NO3-N", "nitrate", 4.4266),
    ("50 mg/L NO3", "nitrate", 50.0),
]


@pytest.mark.parametrize(("text", "kind", "expected"), NITROGEN)
def test_nitrogen_species_and_basis(text: str, kind: str, expected: float) -> None:
    assert parse_quantity(text, kind).value == pytest.approx(expected, rel=5e-4)


# Hardness units as printed in kit leaflets and in ISO, DIN and national definitions (rounded there; memory):
# 1 dGH = 17.848 mg/L CaCO3, 1 meq/L = 2.8039 dH, 1 fH = 0.5603 dH, 1 Clark = 0.7986 dH, 1 gpg = 0.9591 dH.
HARDNESS = [
    ("17.848 mg/L CaCO3", 1.0),
    ("100 ppm CaCO3", 5.6029),
    ("1 meq/L", 2.8039),
    ("1 fH", 0.5603),
    ("1 Clark", 0.7986),
    ("1 gpg", 0.9591),
    ("12 °dH", 12.0),
    ("12 dGH", 12.0),
]


@pytest.mark.parametrize(("text", "degrees"), HARDNESS)
def test_hardness_units(text: str, degrees: float) -> None:
    assert parse_quantity(text, "gh").value == pytest.approx(degrees, rel=2e-4)
    if "dGH" not in text:
        assert parse_quantity(text, "kh").value == pytest.approx(degrees, rel=2e-4)


def test_a_millimole_has_two_charges_in_hardness_and_one_in_alkalinity() -> None:
    """1 mmol/L Ca is 5.6077 dGH; 1 mmol/L of acid capacity is 2.8039 dKH (definitions)."""
    assert parse_quantity("1 mmol/L", "gh").value == pytest.approx(5.6077, rel=2e-4)
    assert parse_quantity("1 mmol/L", "kh").value == pytest.approx(2.8039, rel=2e-4)


def test_bicarbonate() -> None:
    """21.8 mg/L HCO3 make one dKH (kit leaflets, memory)."""
    assert parse_quantity("21.76 mg/L HCO3", "kh").value == pytest.approx(1.0, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("26 °C", "temperature", 26.0),
        ("78.8 F", "temperature", 26.0),
        ("78.8°f", "temperature", 26.0),
        ("−1.5 °C", "temperature", -1.5),
        ("7.4", "ph", 7.4),
        ("pH", "ph", None),
        ("7.4 pH", "ph", 7.4),
        ("35 ppt", "salinity", 35.0),
        ("3.5 %", "salinity", 35.0),
        ("1.2 g/L", "salinity", 1.2),
        ("350 µS/cm", "conductivity", 350.0),
        ("53 mS/cm", "conductivity", 53_000.0),
        ("10 US gal", "volume", 37.85411784),
        ("20 UK gal", "volume", 90.9218),
        ("6 in", "length", 15.24),
        ("3 oz", "weight", 85.048569375),
        ("1e3 mg/L", "concentration", 1000.0),
        (".5 mg/L", "concentration", 0.5),
    ],
)
def test_ways_people_write_it(text: str, kind: str, value: float | None) -> None:
    if value is None:
        with pytest.raises(InputError, match="does not begin with a number"):
            parse_quantity(text, kind)
    else:
        assert parse_quantity(text, kind).value == pytest.approx(value, rel=1e-12)


def test_ph_may_be_a_bare_number() -> None:
    assert parse_quantity(7.4, "ph") == Quantity(7.4, "")


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("26", "temperature", "has no unit"),
        (26, "temperature", "has no unit"),
        ("26 m", "temperature", "not known for water temperature; accepted: °C, °F, K"),
        ("1 mg/L", "ammonia", "say what the kit reports, N, NH3 or NH4"),
        ("1 ppm", "nitrite", "say what the kit reports, NO2 or NO2-N"),
        ("1 mg/L NH3", "nitrite", "not known for nitrite"),
        ("10 gal", "volume", "a gallon needs US or UK"),
        ("0,8 mg/L N", "ammonia", "comma"),
        ("1,200 mg/L", "concentration", "comma"),
        ("nan mg/L", "concentration", "not a finite number"),
        ("inf", "ph", "not a finite number"),
        ("1e999 °C", "temperature", "not a finite number"),
        ("-1 mg/L N", "ammonia", "not possible"),
        ("15", "ph", "accepted: 0 to 14"),
        ("200 °C", "temperature", "accepted: -3 to 60 °C"),
        ("", "ph", "does not begin with a number"),
        ("about 7", "ph", "does not begin with a number"),
        ("7.4.1", "ph", "not known for pH"),
        ("< 0.1 mg/L", "chlorine", "does not begin with a number"),
        (True, "ph", "must be a number"),
        (None, "ph", "must be a number"),
    ],
)
def test_refusals_are_one_sentence_naming_the_field(text: object, kind: str, said: str) -> None:
    with pytest.raises(InputError, match=re.escape(said)) as caught:
        parse_quantity(text, kind, field="readings.x", file="case.toml")  # type: ignore[arg-type]
    message = str(caught.value)
    assert message.startswith("case.toml: readings.x: ")
    assert "\n" not in message
    assert len(message) < 400


def test_no_two_units_of_a_kind_share_a_name() -> None:
    """Case, blanks and degree signs are folded away; two units must not become one by it."""
    for kind in KINDS.values():
        seen: dict[str, float] = {}
        for unit in kind.units:
            for name in unit.names:
                assert seen.setdefault(_fold(name), unit.factor) == pytest.approx(unit.factor), (kind.name, name)


def test_examples_and_accepted_names_are_accepted() -> None:
    for kind in KINDS.values():
        assert parse_quantity(kind.example, kind.name).unit == kind.unit
        middle = (kind.low + kind.high) / 2
        for unit in kind.units:
            for name in unit.names:
                text = f"{middle / unit.factor + unit.zero!r} {name}"
                assert parse_quantity(text, kind.name).value == pytest.approx(middle, rel=1e-9), text


def test_readings_are_kinds() -> None:
    assert set(READINGS) <= set(KINDS)


def _read(text: str, kind: str) -> Quantity | InputError:
    try:
        return parse_quantity(text, kind)
    except InputError as error:
        return error


NUMBERS = st.floats().map(repr) | st.integers().map(str) | st.text(max_size=6)
WRITTEN = st.sampled_from(sorted({name for kind in KINDS.values() for unit in kind.units for name in unit.names}))


@given(NUMBERS, WRITTEN | st.text(max_size=10), st.sampled_from(sorted(KINDS)))
def test_any_text_gives_a_possible_quantity_or_a_sentence(number: str, unit: str, kind: str) -> None:
    got = _read(f"{number} {unit}", kind)
    if isinstance(got, InputError):
        assert "\n" not in got.message
    else:
        assert math.isfinite(got.value)
        assert KINDS[kind].low <= got.value <= KINDS[kind].high


@given(st.floats(min_value=-2, max_value=59))
def test_fahrenheit_and_celsius_agree(temperature_c: float) -> None:
    fahrenheit = parse_quantity(f"{temperature_c * 9 / 5 + 32!r} F", "temperature").value
    assert fahrenheit == pytest.approx(temperature_c, abs=1e-9)


# NIST Special Publication 811 (2008), appendix B.8, to the figures printed there; from memory. Written quantity, kind,
# the value in the unit kept inside, and half of the last printed figure.
NIST_FACTORS = (
    ("1 US gal", "volume", 3.785412, 5e-7),
    ("1 UK gal", "volume", 4.54609, 5e-6),
    ("1 in", "length", 2.54, 1e-12),
    ("1 ft", "length", 30.48, 1e-11),
    ("1 lb", "weight", 453.59237, 1e-9),
    ("1 oz", "weight", 28.34952, 5e-6),
    ("77 F", "temperature", 25.0, 1e-12),
)


@pytest.mark.parametrize(("text", "kind", "value", "within"), NIST_FACTORS)
def test_factor_equals_the_printed_one(text: str, kind: str, value: float, within: float) -> None:
    assert parse_quantity(text, kind).value == pytest.approx(value, abs=within)
