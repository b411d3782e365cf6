"""The judgement of a set of readings: what is off, what another pH would make of the ammonia, what not to do."""

from __future__ import annotations

import pytest

from wetmount.errors import InputError
from wetmount.findings import grade_readings
from wetmount.reference import load_reference
from wetmount.units import parse_quantity
from wetmount.water_report import WaterReport, read_water

REFERENCE = load_reference()


def report(host: str | None, species: str | None = None, **readings: str) -> WaterReport:
    quantities = {name: parse_quantity(text, name) for name, text in readings.items()}
    return read_water(quantities, host, REFERENCE, species)


def advice(one: WaterReport, kind: str) -> str:
    return " ".join(each.text for each in one.advice if each.kind == kind)


def test_findings_are_those_of_grade_readings() -> None:
    readings = {"temperature": "26 °C", "ph": "7.8", "ammonia": "1 mg/L N", "nitrite": "1.5 mg/L NO2"}
    quantities = {name: parse_quantity(text, name) for name, text in readings.items()}
    assert report("discus", **readings).findings == grade_readings(quantities, "discus", None, REFERENCE)


def test_every_reading_has_its_line() -> None:
    one = report("discus", temperature="26 °C", ph="7.8", ammonia="1 mg/L N", conductivity="300 uS/cm")
    assert [line.parameter for line in one.lines] == [
        "temperature", "ph", "ammonia", "conductivity", "un_ionised_ammonia"
    ]  # fmt: skip
    by_name = {line.parameter: line for line in one.lines}
    assert by_name["temperature"].level == 0
    assert len(by_name["temperature"].verdict) == 2
    assert by_name["ph"].finding == "water_ph_high"
    assert by_name["conductivity"].level is None
    assert not by_name["un_ionised_ammonia"].measured
    assert by_name["un_ionised_ammonia"].limits[0].host_group == "discus"


def test_what_is_off_comes_worst_first() -> None:
    one = report("tetra", temperature="26 °C", ph="8.8", ammonia="3 mg/L N", nitrate="80 mg/L NO3")
    assert {line.parameter for line in one.off} == {"un_ionised_ammonia", "ph", "nitrate"}
    levels = [line.level or 0 for line in one.off]
    assert levels == sorted(levels, reverse=True)
    assert one.off[0].parameter == "un_ionised_ammonia"
    assert one.off[0].level == 2


def test_the_same_ammonia_at_another_ph() -> None:
    """UF/IFAS Extension FA16 at 28 °C: 1 mg/L N holds 0.0173 at pH 7.4 and 0.0654 at pH 8.0."""
    one = report("rainbowfish", temperature="28 °C", ph="7.4", ammonia="1 mg/L N")
    by_ph = {at.ph: at for at in one.ammonia_at}
    assert by_ph[7.4].is_now
    assert by_ph[7.4].un_ionised_mg_n_per_l == pytest.approx(0.0173, abs=0.00005)
    assert by_ph[8.0].un_ionised_mg_n_per_l == pytest.approx(0.0654, abs=0.00005)
    assert [at.ph for at in one.ammonia_at] == sorted(by_ph)
    levels = [at.level for at in one.ammonia_at]
    assert levels == sorted(levels)
    assert by_ph[6.5].level_name == "absent"
    assert by_ph[9.0].level_name == "dangerous"


def test_do_not_raise_the_ph_while_there_is_ammonia() -> None:
    """Common practice, no source. UF/IFAS FA16 puts 0.0370 at pH 7.8 and 26 °C, so 4 mg/L N reach 0.2 soon."""
    one = report("tetra", temperature="26 °C", ph="6.4", ammonia="4 mg/L N")
    assert {line.level for line in one.lines if line.parameter == "un_ionised_ammonia"} == {0}
    said = advice(one, "do_not")
    assert "Do not raise the pH while there is ammonia" in said
    assert "raised from pH 6.8" in said
    assert "dangerous from pH 7.9" in said
    assert "one unit more makes 9.9" in said


def test_no_ammonia_no_such_warning() -> None:
    one = report("tetra", temperature="26 °C", ph="6.4", ammonia="0 mg/L N")
    assert one.ammonia_at == ()
    assert advice(one, "do_not") == ""


def test_ammonia_that_cannot_be_judged_is_said() -> None:
    one = report("tetra", ammonia="1 mg/L N")
    (finding,) = one.findings
    assert finding.level is None
    assert one.ammonia_at == ()


def test_chloride_that_would_protect() -> None:
    """Durborow, Crosby and Brunson 1997, SRAC 462: ten times the nitrite; 5 mg/L with 20 there want 30 more."""
    said = advice(report("livebearer", nitrite="5 mg/L NO2", chloride="20 mg/L"), "know")
    assert "30 mg/L short of the 50 mg/L" in said
    assert "Measure chloride: 50 mg/L" in advice(report("livebearer", nitrite="5 mg/L NO2"), "know")
    assert "hloride" not in advice(report("livebearer", nitrite="5 mg/L NO2", chloride="60 mg/L"), "know")


def test_what_figures_do_not_show() -> None:
    assert "holds the pH badly" in advice(report("barb", kh="1.5 dKH"), "know")
    assert "holds the pH badly" not in advice(report("barb", kh="4 dKH"), "know")
    assert "does not prove" in advice(report("barb", chlorine="0 mg/L"), "know")
    assert "gas bubbles" in advice(report("barb", oxygen_saturation="160 %"), "know")
    assert "is an estimate" in advice(report("barb", ph="6.8", kh="4 dKH", temperature="24 °C"), "know")


def test_host_group_that_does_not_exist() -> None:
    with pytest.raises(InputError, match='unknown host group "dragon"; accepted: fish'):
        report("dragon", ph="7")


def test_any_fish_when_no_host_is_named() -> None:
    assert report(None, chlorine="0.2 mg/L").host_group == "fish"


@pytest.mark.parametrize("host", REFERENCE.host_groups)
def test_any_host_reads(host: str) -> None:
    one = report(
        host, temperature="24 °C", ph="7.2", ammonia="0.5 mg/L N", nitrite="0.5 mg/L NO2", kh="4 dKH", gh="8 dGH",
        oxygen="6 mg/L", copper="0.05 mg/L",
    )  # fmt: skip
    assert all(line.verdict or line.level is None for line in one.lines)
