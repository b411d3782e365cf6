"""Readings to graded findings: limits for every host, each rule as its source has it, traces that tell why."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wetmount import water
from wetmount.errors import InputError
from wetmount.findings import (
    HARDNESS_FAR,
    GradedFinding,
    grade_reading,
    grade_readings,
    limits_for,
    nitrite_cap,
    number,
    water_state,
)
from wetmount.reference import load_reference
from wetmount.units import KINDS, READINGS, Quantity, parse_quantity

REFERENCE = load_reference()
WATER_FINDINGS = [finding for finding in REFERENCE.findings.values() if finding.kind == "water"]
RANGES = {"temperature", "ph", "gh", "kh"}


def graded(host: str, species: str | None = None, **readings: str) -> dict[str, GradedFinding]:
    quantities = {name: parse_quantity(text, name) for name, text in readings.items()}
    return {one.finding: one for one in grade_readings(quantities, host, species, REFERENCE)}


def levels(host: str, species: str | None = None, **readings: str) -> dict[str, int | None]:
    return {name: one.level for name, one in graded(host, species, **readings).items()}


# --- the limits table ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("host", REFERENCE.host_groups)
def test_every_water_finding_has_every_level_for_every_host(host: str) -> None:
    parameters = {row.parameter for row in REFERENCE.limits}
    rows = [row for parameter in parameters for row in limits_for(parameter, host, None, REFERENCE)]
    for finding in WATER_FINDINGS:
        for level in range(1, len(finding.levels)):
            assert any(row.finding == finding.id and row.level == level for row in rows), (finding.id, level)


@pytest.mark.parametrize("host", REFERENCE.host_groups)
def test_a_higher_level_needs_a_worse_reading(host: str) -> None:
    for parameter in {row.parameter for row in REFERENCE.limits}:
        rows = limits_for(parameter, host, None, REFERENCE)
        for high in rows:
            for low in rows:
                same = (high.finding, high.side) == (low.finding, low.side)
                if same and high.level > low.level:
                    assert high.value > low.value if high.side == "above" else high.value < low.value


def test_units_are_those_of_the_readings() -> None:
    for row in REFERENCE.limits:
        if row.parameter in KINDS:
            assert row.unit == (KINDS[row.parameter].unit or "pH"), row


def test_fish_of_unknown_water_have_the_stricter_limit() -> None:
    for row in REFERENCE.limits:
        if row.host_group not in ("freshwater", "marine") or row.parameter in RANGES | {"oxygen"}:
            continue
        for any_fish in limits_for(row.parameter, "fish", None, REFERENCE):
            if (any_fish.finding, any_fish.level, any_fish.side) == (row.finding, row.level, row.side):
                assert any_fish.value <= row.value if row.side == "above" else any_fish.value >= row.value


@pytest.mark.parametrize(
    ("parameter", "low_field", "high_field", "factor"),
    [
        ("temperature", "temperature_low_c", "temperature_high_c", 1.0),
        ("ph", "ph_low", "ph_high", 1.0),
        ("gh", "gh_low_dgh", "gh_high_dgh", HARDNESS_FAR),
    ],
)
def test_the_range_of_a_group_is_the_widest_of_its_species(
    parameter: str, low_field: str, high_field: str, factor: float
) -> None:
    """Out of range is a fault of the water only when it is so for each species the group may stand for."""
    rows = [row for row in REFERENCE.limits if row.parameter == parameter and row.basis in ("estimated", "memory")]
    assert rows
    for row in rows:
        field = low_field if row.side == "below" else high_field
        values = [
            value
            for host in REFERENCE.hosts.values()
            if row.host_group in REFERENCE.host_group_line(host.host_group)
            and (value := getattr(host, field)) is not None
        ]
        expected = min(values) / factor if row.side == "below" else max(values) * factor
        assert row.value == pytest.approx(expected), row


# --- ammonia ---------------------------------------------------------------------------------------------------------


def test_ammonia_at_26_degrees_and_ph_7_8() -> None:
    """UF/IFAS Extension FA16: a fraction of 0.0370, so 1 mg/L N holds 0.037; the trade's ceiling is 0.016 mg/L N."""
    one = graded("rainbowfish", temperature="26 °C", ph="7.8", ammonia="1 mg/L N")["water_ammonia_high"]
    assert one.level == 1
    assert one.trace[0] == (
        "un-ionised ammonia 0.037 mg/L N from total ammonia 1 mg/L N at pH 7.8 and 26 °C (Emerson et al. 1975)"
    )
    assert one.trace[1].startswith("raised: above 0.016 mg/L N for fresh water (")
    assert [row.value for row in one.limits] == [0.016]


@pytest.mark.parametrize(
    ("host", "ammonia", "level"),
    [
        ("rainbowfish", "0.2 mg/L N", 0),
        ("rainbowfish", "1 mg/L N", 1),
        ("rainbowfish", "6 mg/L N", 2),
        ("discus", "0.2 mg/L N", 1),
        ("goldfish", "1 mg/L N", 0),
        ("goldfish", "6 mg/L N", 2),
    ],
)
def test_ammonia_levels_by_host(host: str, ammonia: str, level: int) -> None:
    assert levels(host, temperature="26 °C", ph="7.8", ammonia=ammonia)["water_ammonia_high"] == level


def test_same_ammonia_is_harmless_in_acid_and_deadly_in_alkaline_water() -> None:
    """Common practice, no source: a total ammonia says nothing without the pH."""
    for ph, level in (("6.2", 0), ("8.6", 2)):
        assert levels("tetra", temperature="26 °C", ph=ph, ammonia="3 mg/L N")["water_ammonia_high"] == level


@pytest.mark.parametrize("lacking", ["ph", "temperature"])
def test_ammonia_without_ph_or_temperature_is_not_guessed(lacking: str) -> None:
    readings = {"temperature": "26 °C", "ph": "7.8", "ammonia": "1 mg/L N"}
    del readings[lacking]
    one = graded("tetra", **readings)["water_ammonia_high"]
    assert one.level is None
    assert KINDS[lacking].meaning in one.trace[0]


def test_no_ammonia_at_all_needs_neither() -> None:
    assert levels("tetra", ammonia="0 mg/L N") == {"water_ammonia_high": 0}


def test_ammonia_outside_the_formula_is_said_not_guessed() -> None:
    one = graded("tetra", temperature="55 °C", ph="7.8", ammonia="1 mg/L N")["water_ammonia_high"]
    assert one.level is None
    assert "outside the range of the formula" in one.trace[0]


def test_sea_water_equation_for_marine_hosts() -> None:
    """Bower and Bidwell 1978: 6.61 % at pH 8.2 and 25 °C, S 34; the equation used is within 4.5 % above it."""
    one = graded("marine", temperature="25 °C", ph="8.2", ammonia="1 mg/L N")["water_ammonia_high"]
    assert "Clegg and Whitfield 1995" in one.trace[0]
    state = water_state(
        {"ammonia": Quantity(1, "mg/L N"), "ph": Quantity(8.2, ""), "temperature": Quantity(25, "°C")},
        "marine",
        REFERENCE,
    )
    assert 0.0661 <= state.parameters["un_ionised_ammonia"].value <= 1.045 * 0.0661
    assert any("35 g/kg taken" in words for words in state.assumed)


def test_basis_matters() -> None:
    """1 mg/L as NH3 is 0.822 mg/L as N (atomic weights): the same number lies on both sides of a limit."""
    as_n = levels("rainbowfish", temperature="26 °C", ph="7.8", ammonia="0.45 mg/L N")["water_ammonia_high"]
    as_nh3 = levels("rainbowfish", temperature="26 °C", ph="7.8", ammonia="0.45 mg/L NH3")["water_ammonia_high"]
    assert (as_n, as_nh3) == (1, 0)


@given(st.floats(0, 20), st.floats(0, 20), st.floats(5, 9.5), st.floats(5, 35))
def test_more_ammonia_is_never_better(first: float, second: float, ph: float, temperature_c: float) -> None:
    found = []
    for total in sorted((first, second)):
        readings = {
            "ammonia": Quantity(total, "mg/L N"),
            "ph": Quantity(ph, ""),
            "temperature": Quantity(temperature_c, "°C"),
        }
        found.append({one.finding: one.level for one in grade_readings(readings, "tetra", None, REFERENCE)})
    assert (found[0]["water_ammonia_high"] or 0) <= (found[1]["water_ammonia_high"] or 0)


# --- nitrite and chloride --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("host", "readings", "level"),
    [
        ("livebearer", {"nitrite": "0.1 mg/L NO2"}, 0),
        ("livebearer", {"nitrite": "0.4 mg/L NO2"}, 1),
        ("livebearer", {"nitrite": "2 mg/L NO2"}, 2),
        ("tetra", {"nitrite": "0.8 mg/L NO2"}, 2),
        ("livebearer", {"nitrite": "0.8 mg/L NO2"}, 1),
        # 10 to 1, chloride to nitrite, keeps nitrite out: Durborow, Crosby and Brunson 1997, SRAC 462.
        ("livebearer", {"nitrite": "2 mg/L NO2", "chloride": "20 mg/L"}, 1),
        ("livebearer", {"nitrite": "2 mg/L NO2", "chloride": "19 mg/L"}, 2),
        ("livebearer", {"nitrite": "0.1 mg/L NO2", "chloride": "20 mg/L"}, 0),
        # salt in the water is chloride; hard tap water read as a little salt is not
        ("livebearer", {"nitrite": "2 mg/L NO2", "salinity": "1 g/L"}, 1),
        ("livebearer", {"nitrite": "2 mg/L NO2", "salinity": "0.5 g/L"}, 2),
        ("livebearer", {"nitrite": "2 mg/L NO2", "conductivity": "900 uS/cm"}, 2),
        # the ratio is to the ion: 2 mg/L NO2-N are 6.6 mg/L NO2
        ("livebearer", {"nitrite": "2 mg/L NO2-N", "chloride": "20 mg/L"}, 2),
        # sea water holds 19 g/L chloride
        ("marine", {"nitrite": "20 mg/L NO2"}, 1),
        ("marine", {"nitrite": "0.1 mg/L NO2"}, 0),
        ("marine", {"nitrite": "3000 mg/L NO2"}, 2),
    ],
)
def test_nitrite_levels(host: str, readings: dict[str, str], level: int) -> None:
    assert levels(host, **readings)["water_nitrite_high"] == level


def test_nitrite_trace_says_what_chloride_does() -> None:
    protected = graded("livebearer", nitrite="2 mg/L NO2", chloride="20 mg/L")["water_nitrite_high"].trace[-1]
    assert protected.startswith("chloride to nitrite 10 to 1 and so not dangerous")
    assert "not measured" in graded("livebearer", nitrite="2 mg/L NO2")["water_nitrite_high"].trace[-1]
    short = graded("livebearer", nitrite="2 mg/L NO2", chloride="6 mg/L")["water_nitrite_high"].trace[-1]
    assert short.startswith("chloride to nitrite only 3 to 1")


@given(st.integers(0, 2), st.floats(0, 1e6))
def test_chloride_never_makes_nitrite_worse(level: int, ratio: float) -> None:
    capped, _ = nitrite_cap(level, ratio, "tetra", REFERENCE)
    assert capped == (min(level, 1) if ratio >= 10 else level)


# --- oxygen, gas, carbon dioxide, copper -----------------------------------------------------------------------------


def test_oxygen_is_judged_by_saturation() -> None:
    """EN 25814: 8.26 mg/L at 25 °C, so 5.2 mg/L are 63 % and 4.8 mg/L 58 %; at 10 °C (11.3 mg/L) 6 mg/L are 53 %."""
    assert levels("barb", temperature="25 °C", oxygen="5.2 mg/L")["water_oxygen_low"] == 0
    assert levels("barb", temperature="25 °C", oxygen="4.8 mg/L")["water_oxygen_low"] == 1
    assert levels("koi", temperature="10 °C", oxygen="6 mg/L")["water_oxygen_low"] == 1


def test_oxygen_on_a_mountain() -> None:
    """At 2 000 m water holds a fifth less, so the same mg/L is a higher share (ICAO standard atmosphere)."""
    assert levels("barb", temperature="25 °C", oxygen="4.8 mg/L", altitude="2000 m")["water_oxygen_low"] == 0
    assert levels("barb", temperature="25 °C", oxygen="4.8 mg/L", air_pressure="596 mmHg")["water_oxygen_low"] == 0


def test_oxygen_without_temperature_is_judged_in_mg_per_l() -> None:
    one = graded("barb", oxygen="4.5 mg/L")["water_oxygen_low"]
    assert one.level == 1
    assert "5 mg/L" in one.trace[1]


def test_a_measured_saturation_goes_before_a_worked_out_one() -> None:
    one = graded("barb", temperature="25 °C", oxygen="4 mg/L", oxygen_saturation="85 %")["water_oxygen_low"]
    assert one.level == 0


def test_labyrinth_fish_bear_less_oxygen() -> None:
    """Common practice, no source: bettas and gouramis breathe air."""
    assert levels("betta", temperature="27 °C", oxygen="4 mg/L")["water_oxygen_low"] == 0
    assert levels("tetra", temperature="27 °C", oxygen="4 mg/L")["water_oxygen_low"] == 1


def test_gas_pressure() -> None:
    assert levels("koi", gas_pressure="102 %")["water_gas_supersaturated"] == 0
    assert levels("koi", gas_pressure="106 %")["water_gas_supersaturated"] == 1


def test_carbon_dioxide_is_worked_out_in_fresh_water_only() -> None:
    """KH 4 and pH 6.4 give 52 mg/L at 25 °C and 300 uS/cm (Plummer and Busenberg 1982; the hobby table says 47)."""
    one = graded("angelfish", temperature="25 °C", ph="6.4", kh="4 dKH", conductivity="300 uS/cm")["water_co2_high"]
    assert one.level == 1
    assert "about 52" in one.trace[0]
    assert levels("angelfish", temperature="25 °C", ph="7.2", kh="4 dKH")["water_co2_high"] == 0
    assert "water_co2_high" not in levels("marine", temperature="25 °C", ph="8.2", kh="8 dKH")
    assert "water_co2_high" not in levels("angelfish", ph="6.4", kh="4 dKH")


def test_a_measured_carbon_dioxide_goes_first() -> None:
    assert levels("angelfish", temperature="25 °C", ph="6.4", kh="4 dKH", co2="12 mg/L")["water_co2_high"] == 0


def test_copper_is_worse_in_soft_water() -> None:
    """Washington Administrative Code 173-201A-240: 11.4 ug/L at 100 mg/L CaCO3, less in softer water."""
    assert levels("tetra", copper="0.01 mg/L")["water_metal_high"] == 0
    assert levels("tetra", copper="0.01 mg/L", gh="2 dGH")["water_metal_high"] == 1
    assert levels("tetra", copper="0.02 mg/L", gh="15 dGH")["water_metal_high"] == 0
    assert "hardness of 15 dGH" in graded("tetra", copper="0.02 mg/L", gh="15 dGH")["water_metal_high"].trace[1]
    assert levels("marine", copper="0.15 mg/L", gh="15 dGH")["water_metal_high"] == 0


def test_any_chlorine_a_kit_can_show_is_too_much() -> None:
    """Common practice, no source: a kit that shows chlorine at all shows too much."""
    for host in REFERENCE.host_groups:
        assert levels(host, chlorine="0.1 mg/L")["water_chlorine"] == 1
        assert levels(host, chlorine="0 mg/L")["water_chlorine"] == 0


# --- ranges of the host ----------------------------------------------------------------------------------------------


def test_the_species_goes_before_its_group() -> None:
    """FishBase by way of hosts.csv: cardinal tetras from 23 °C, neon tetras from 20 °C."""
    assert levels("tetra", temperature="21 °C")["water_temp_low"] == 0
    assert levels("tetra", "Paracheirodon innesi", temperature="21 °C")["water_temp_low"] == 0
    one = graded("tetra", "Paracheirodon axelrodi", temperature="21 °C")["water_temp_low"]
    assert one.level == 1
    assert "range of Paracheirodon axelrodi" in one.trace[1]


def test_a_species_not_in_the_table_has_the_range_of_its_group() -> None:
    assert levels("tetra", "Paracheirodon nobody", temperature="21 °C")["water_temp_low"] == 0


def test_within_limits_is_a_finding_on_both_sides() -> None:
    assert levels("discus", temperature="29 °C") == {"water_temp_low": 0, "water_temp_high": 0}
    assert levels("discus", temperature="20 °C") == {"water_temp_low": 1, "water_temp_high": 0}
    assert levels("discus", temperature="36 °C") == {"water_temp_low": 0, "water_temp_high": 1}


def test_ph_by_host() -> None:
    """Common practice, no source: pH 6 suits tetras and harms mollies; 8.2 suits rift-lake cichlids, not rasboras."""
    assert levels("tetra", ph="6.0")["water_ph_low"] == 0
    assert levels("livebearer", ph="6.0")["water_ph_low"] == 1
    assert levels("rift_cichlid", ph="8.2")["water_ph_high"] == 0
    assert levels("rasbora", ph="8.2")["water_ph_high"] == 1


def test_hardness_is_off_only_when_far_outside() -> None:
    """Common practice, no source: neon tetras live in tap water of 15 degrees; guppies do badly at 3."""
    assert levels("tetra", "Paracheirodon innesi", gh="15 dGH")["water_hardness_off"] == 0
    assert levels("tetra", "Paracheirodon innesi", gh="30 dGH")["water_hardness_off"] == 1
    assert levels("livebearer", "Poecilia reticulata", gh="3 dGH")["water_hardness_off"] == 1


def test_hardness_and_alkalinity_make_one_finding() -> None:
    one = graded("livebearer", gh="12 dGH", kh="0.5 dKH")["water_hardness_off"]
    assert one.level == 1
    assert any("total hardness 12 dGH" in words for words in one.trace)
    assert any("0.5 dKH" in words for words in one.trace)
    assert levels("discus", gh="1 dGH", kh="0 dKH")["water_hardness_off"] == 0


def test_dirty_water() -> None:
    assert levels("koi", turbidity="40 NTU")["water_organics_high"] == 1
    assert levels("koi", turbidity="2 NTU", bacteria="1e6 CFU/mL")["water_organics_high"] == 1


# --- all of it -------------------------------------------------------------------------------------------------------

EVERYTHING = {
    "temperature": "26 °C", "ph": "7.4", "ammonia": "0.5 mg/L N", "nitrite": "0.3 mg/L NO2", "nitrate": "60 mg/L NO3",
    "gh": "8 dGH", "kh": "5 dKH", "oxygen": "7 mg/L", "salinity": "0.2 g/L", "conductivity": "400 uS/cm",
    "chlorine": "0 mg/L", "copper": "0 mg/L", "chloride": "30 mg/L", "gas_pressure": "101 %", "turbidity": "2 NTU",
    "bacteria": "1000 CFU/mL", "air_pressure": "1010 hPa", "altitude": "50 m",
}  # fmt: skip


@pytest.mark.parametrize("host", REFERENCE.host_groups)
def test_all_readings_for_any_host(host: str) -> None:
    found = grade_readings(
        {name: parse_quantity(text, name) for name, text in EVERYTHING.items()}, host, None, REFERENCE
    )
    order = [finding for finding in REFERENCE.findings if finding in {one.finding for one in found}]
    assert [one.finding for one in found] == order
    for one in found:
        assert one.level in range(len(REFERENCE.findings[one.finding].levels))
        assert all(words == words.strip() and words for words in one.trace)
        assert len(one.trace) >= 2


def test_every_reading_is_used_or_serves_another() -> None:
    """A reading that could change nothing should not be asked for."""
    serves = {"salinity", "conductivity", "chloride", "air_pressure", "altitude", "ammonia"}
    compared = {row.parameter for row in REFERENCE.limits}
    assert set(READINGS) <= compared | serves


def test_no_host_is_any_fish() -> None:
    readings = {"chlorine": parse_quantity("0.2 mg/L", "chlorine")}
    assert grade_readings(readings, None, None, REFERENCE) == grade_readings(readings, "fish", None, REFERENCE)


def test_nothing_measured_nothing_found() -> None:
    assert grade_readings({}, "tetra", None, REFERENCE) == ()


def test_unknown_reading_and_wrong_unit_are_refused() -> None:
    with pytest.raises(InputError, match='unknown reading "amonia"; accepted: temperature'):
        grade_readings({"amonia": Quantity(1, "mg/L N")}, "tetra", None, REFERENCE)
    with pytest.raises(InputError, match='not in the unit used inside, "°C"'):
        grade_readings({"temperature": Quantity(78, "°F")}, "tetra", None, REFERENCE)


def test_one_value_against_its_limits() -> None:
    (one,) = grade_reading("nitrate", 60.0, "livebearer", None, REFERENCE)
    assert (one.finding, one.level) == ("water_nitrate_high", 1)
    assert grade_reading("salinity", 5.0, "livebearer", None, REFERENCE) == ()


def test_salinity_from_conductivity_in_salt_water() -> None:
    """53.07 mS/cm at 25 °C is S 35 (PSS-78); fresh water of 400 uS/cm is fresh."""
    salt = {"conductivity": parse_quantity("53.07 mS/cm", "conductivity")}
    assert water_state(salt, "marine", REFERENCE).salinity_g_per_kg == pytest.approx(35, abs=0.01)
    fresh = {"conductivity": parse_quantity("400 uS/cm", "conductivity")}
    assert water_state(fresh, "tetra", REFERENCE).salinity_g_per_kg == 0
    assert water_state({}, "marine", REFERENCE).air_pressure_mmhg == water.STANDARD_PRESSURE_MMHG


@pytest.mark.parametrize(
    ("value", "words"), [(0.0369717, "0.037"), (1e5, "100000"), (26.0, "26"), (-0.0, "0"), (7.25, "7.25")]
)
def test_numbers_in_words(value: float, words: str) -> None:
    assert number(value) == words
