"""Doses: hard stops, overrides, rounding, prescriptions, and the exhaustive run of every agent, fish and water."""

from __future__ import annotations

import csv
import math
import re
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wetmount.dose import DoseAnswer, Order, Override, dose, measure_out, round_to_step
from wetmount.dose_rules import (
    bicarbonate_per_dkh,
    chloramine_t_by_ph,
    chloride_to_nitrite,
    copper_by_alkalinity,
    permanganate_demand,
)
from wetmount.dose_units import parse_dose, parse_strength
from wetmount.dose_writing import write_mass, write_number, write_quantity
from wetmount.errors import InputError
from wetmount.hard_stops import (
    CHECKS,
    THINGS,
    Life,
    Prescription,
    Present,
    WaterState,
    acts_on,
    conflict_between,
)
from wetmount.reference import load_reference
from wetmount.reference.loader import TABLES_DIR
from wetmount.together import may_go_with
from wetmount.units import US_GALLON_L
from wetmount.volume import Volume, exactly

REFERENCE = load_reference()
GOOD = WaterState(20, 7.5, 150, 180, 8, False, 0.0, 0.0, 2.0, 0.0, 1.0)
SALT_WATER = WaterState(25, 8.2, 130, 6000, 7, True, 0.0, 0.0, 0.0, 0.0, 0.0)
ALL_CHECKED = frozenset(CHECKS)
CLOWNFISH = Life(("marine",), species=("Amphiprion ocellaris",))


def order(treatment: str, **more: object) -> Order:
    """An order in which everything is known and good, for koi (or sea fish)."""
    row = REFERENCE.doses[treatment]
    marine = row.water == "marine"
    strength = "10 mg/mL" if row.route == "injection" else "37 % w/w" if "formalin" in row.substance else "pure"
    strength = "1000 mg/g Cu" if "copper" in row.families and row.water == "marine" else strength
    life = CLOWNFISH if marine else Life(("koi",), frozenset({"eggs"} if row.route == "egg_bath" else ()))
    known: dict[str, object] = {
        "life": life,
        "water": SALT_WATER if marine else GOOD,
        "volume": exactly(1000),
        "strength": parse_strength(strength),
        "step": 1e-9,
        "lawful_here": True,
        "confirmed": ALL_CHECKED,
        "biomass_g": 2000.0,
        "ration_percent": 1.0,
        "rise_dkh": 1.0,
    }
    if row.supply in ("prescription", "unlicensed"):
        counted = " Cu" if "copper" in row.substance else ""
        text = f"{row.low:g} {row.unit}{counted}"
        known["prescription"] = Prescription(
            text, "the veterinarian", against=next(iter(acts_on(treatment, REFERENCE)), None)
        )
    return Order(treatment, **(known | more))  # type: ignore[arg-type]


def ask(treatment: str, **more: object) -> DoseAnswer:
    return dose(order(treatment, **more), REFERENCE)


def why_not(treatment: str, **more: object) -> set[str]:
    answer = ask(treatment, **more)
    assert answer.amount is None
    return {stop.id for stop in answer.stops}


# --- the table is the prose in numbers --------------------------------------------------------------------------------


def test_every_number_of_the_table_stands_in_the_prose() -> None:
    """Low, high and stop of each row of doses.csv against the words of treatments.csv, the reason where they differ."""
    differ = {
        ("bronopol_bath", "hard_max"),  # 50 is for eggs; the prose itself gives 20 for fish
        *((f"{a}_euthanasia", "hard_max") for a in ("ms222", "eugenol", "benzocaine")),  # no stop in the prose
    }
    names = {"low": "dose_low", "high": "dose_high", "hard_max": "hard_stop_max"}
    with (TABLES_DIR / "doses.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            prose = REFERENCE.treatments[row["treatment"]]
            for column, word in names.items():
                if (row["treatment"], column) in differ or row["supply"] == "refused":
                    continue
                text = getattr(prose, word)
                numbers = {float(n) for n in re.findall(r"\d+(?:\.\d+)?", text)}
                assert (row[column] == "" and not numbers) or float(row[column]) in numbers, (row["treatment"], column)


def test_every_agent_joins_to_a_condition_or_a_purpose() -> None:
    joined = {row.treatment for row in REFERENCE.treats if row.condition or row.purpose}
    assert joined == set(REFERENCE.treatments)


def test_every_sensitivity_has_its_number() -> None:
    """Every row of sensitivities.csv is in dose_limits.csv but for three that bind nothing there: a salinity floor that
    has no dosing row, and soft-water notes that the rules of chloramine-T and bicarbonate hold."""
    held = {(row.host_group, row.thing, row.treatment) for row in REFERENCE.dose_limits}
    missing = [row for row in REFERENCE.sensitivities if (row.host_group, row.thing, row.treatment) not in held]
    assert {(row.thing, row.treatment) for row in missing} == {
        ("", "hyposalinity"),
        ("soft_water", "chloramine_t"),
        ("soft_water", "sodium_bicarbonate"),
    }


# --- rules ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("alkalinity", "most"), [(50, 0.5), (80, 0.8), (150, 1.5), (250, 2.5), (300, 2.5)])
def test_copper_by_alkalinity(alkalinity: float, most: float) -> None:
    """UF/IFAS FA008: alkalinity / 100, never above 2.5 mg/L."""
    assert copper_by_alkalinity(alkalinity, 150).most == pytest.approx(most)
    assert ask("copper_sulfate_fw", water=good_with(alkalinity=alkalinity)).bounds.most == pytest.approx(most)  # type: ignore[union-attr]


def good_with(*, alkalinity: float | None = 150, hardness: float | None = 180, ph: float | None = 7.5) -> WaterState:
    return WaterState(20, ph, alkalinity, hardness, 8, False, 0.0, 0.0)


@pytest.mark.parametrize(("alkalinity", "hardness"), [(49, 150), (None, 150), (150, None), (150, 40)])
def test_copper_is_refused_in_soft_or_unknown_water(alkalinity: float | None, hardness: float | None) -> None:
    assert copper_by_alkalinity(alkalinity, hardness).refused
    assert "water_rule" in why_not("copper_sulfate_fw", water=good_with(alkalinity=alkalinity, hardness=hardness))


def test_copper_is_refused_in_acid_water_and_without_a_test() -> None:
    assert "ph" in why_not("copper_sulfate_fw", water=good_with(ph=7.0))
    assert "ph" in why_not("copper_sulfate_fw", water=good_with(ph=None))
    assert "copper_test" in why_not("copper_sulfate_fw", confirmed=frozenset())


def test_copper_is_halved_for_livebearers_and_danios() -> None:
    """96 h LC50 in soft water 0.05 and 0.13 mg/L copper sulphate (row of sensitivities.csv): half, none under 100."""
    for group in ("livebearer", "danio"):
        answer = ask("copper_sulfate_fw", life=Life((group,)))
        assert answer.bounds is not None
        assert answer.bounds.most == pytest.approx(0.75)
        assert answer.bounds.test_first
        assert "water_rule" in why_not("copper_sulfate_fw", life=Life((group,)), water=good_with(alkalinity=90))


# The table of the row chloramine_t: pH, hardness, greatest dose.
@pytest.mark.parametrize(
    ("ph", "hardness", "most"),
    [
        (6, 40, 2.5),
        (6.5, 40, 5),
        (7, 40, 10),
        (7.5, 40, 18),
        (8, 40, 20),
        (6, 200, 7),
        (6.5, 200, 10),
        (7, 200, 15),
        (7.5, 200, 18),
        (8, 200, 20),
        (7.4, 40, 10),
        (9, 40, 20),
    ],
)
def test_chloramine_t_by_ph(ph: float, hardness: float, most: float) -> None:
    assert chloramine_t_by_ph(ph, hardness).most == most


def test_chloramine_t_stops() -> None:
    assert chloramine_t_by_ph(5.9, 200).refused
    assert "water_rule" in why_not("chloramine_t", water=good_with(hardness=None))
    goldfish = ask("chloramine_t", life=Life(("goldfish",)))
    assert goldfish.bounds is not None
    assert goldfish.bounds.most == 15  # 24 h LC50 24.3 mg/L, Aquaculture 239:47, 2004


def test_permanganate_demand() -> None:
    """UF/IFAS FA37: the least tested dose that stays pink for 4 h."""
    assert permanganate_demand({1: 1, 1.5: 4.5, 2: 6}, clean_soft=False).target == 1.5
    assert permanganate_demand({1: 1, 2: 2, 3: 6}, clean_soft=False).refused
    assert permanganate_demand({1: 1, 2: 2}, clean_soft=False).refused
    assert permanganate_demand(None, clean_soft=True).most == 1.0
    assert ask("kmno4_indefinite", demand={1.0: 2.0, 2.0: 5.0}).dose == 2.0


def test_nitrite_needs_its_basis_and_counts_chloride_already_there() -> None:
    """SRAC 462: ten times the nitrite."""
    assert chloride_to_nitrite(None, 0).refused
    none, some = chloride_to_nitrite(2, 0).target, chloride_to_nitrite(2, 15).target
    assert none is not None
    assert some is not None
    assert (none - some) * 606.6 == pytest.approx(15, rel=1e-3)
    assert chloride_to_nitrite(2, 30).target == 0


def test_bicarbonate_waits_for_ammonia() -> None:
    assert bicarbonate_per_dkh(1, free_ammonia_after_mg_n_per_l=0.03, total_ammonia_mg_n_per_l=0.5).refused
    assert bicarbonate_per_dkh(1, free_ammonia_after_mg_n_per_l=None, total_ammonia_mg_n_per_l=0.5).refused
    assert bicarbonate_per_dkh(1, free_ammonia_after_mg_n_per_l=0.0, total_ammonia_mg_n_per_l=None).refused
    assert bicarbonate_per_dkh(1.5, free_ammonia_after_mg_n_per_l=0.01, total_ammonia_mg_n_per_l=0.2).refused
    assert bicarbonate_per_dkh(1, free_ammonia_after_mg_n_per_l=0.01, total_ammonia_mg_n_per_l=0.2).target


# --- stops ------------------------------------------------------------------------------------------------------------


def test_a_good_order_of_every_agent_that_can_be_weighed_gives_an_amount() -> None:
    for id, row in REFERENCE.doses.items():
        answer = ask(id)
        if row.supply in ("refused", "not_weighed"):
            assert answer.state == "refused"
            assert answer.stops[0].text == row.reason
        elif id == "malachite_green":
            assert answer.state == "amount"
        else:
            assert answer.state == "amount", (id, [stop.text for stop in answer.stops])
            assert answer.written
            assert answer.rows


@pytest.mark.parametrize(
    ("treatment", "more", "stop"),
    [
        ("salt_indefinite", {"volume": None}, "volume"),
        ("salt_indefinite", {"strength": None}, "strength"),
        ("salt_indefinite", {"life": Life(("koi",), for_food=True)}, "food"),
        ("praziquantel_bath", {"prescription": None}, "prescription"),
        ("malachite_green", {"prescription": None}, "prescription"),
        ("formalin_indefinite", {"lawful_here": None}, "lawful"),
        ("formalin_indefinite", {"lawful_here": False}, "lawful"),
        ("praziquantel_bath", {"prescription": Prescription("2 mg/L", " ")}, "prescriber"),
        ("ivermectin_caution", {}, "refused_agent"),
        ("gentamicin_caution", {}, "refused_agent"),
        ("formalin_indefinite", {"confirmed": frozenset({"aerated"})}, "stock_clear"),
        ("formalin_indefinite", {"confirmed": frozenset({"stock_clear"})}, "aerated"),
        ("formalin_indefinite", {"strength": parse_strength("10 % w/w")}, "strength"),
        ("formalin_indefinite", {"water": WaterState(20, 7.5, 150, 180, 4.9, False)}, "oxygen"),
        ("formalin_short", {"water": WaterState(20, 7.5, 150, 180, 5.9, False)}, "oxygen"),
        ("formalin_short", {"water": WaterState(20, 7.5, 150, 180, None, False)}, "oxygen"),
        ("formalin_short", {"water": WaterState(28, 7.5, 150, 180, 8, False)}, "temperature"),
        ("formalin_short", {"life": Life(("koi",), frozenset({"gill_damage"}))}, "sensitive_gill_damage"),
        ("formalin_short", {"life": Life(("koi",), frozenset({"ulcers"}))}, "sensitive_ulcers"),
        ("formalin_short", {"life": Life(("striped_bass",))}, "sensitive_striped_bass"),
        ("kmno4_indefinite", {"water": good_with(ph=8.1)}, "ph"),
        ("kmno4_indefinite", {"water": WaterState(29, 7.5, 150, 180, 8, False)}, "temperature"),
        ("kmno4_indefinite", {"life": Life(("danio",))}, "sensitive_danio"),
        ("kmno4_indefinite", {"water": SALT_WATER}, "salt_or_fresh"),
        ("trichlorfon_caution", {"water": good_with(ph=7.6)}, "ph"),
        ("trichlorfon_caution", {"life": Life(("cichlid",))}, "sensitive_cichlid_any"),
        ("malachite_green", {"life": Life(("tetra",))}, "sensitive_tetra"),
        ("malachite_green", {"life": Life(("koi",), frozenset({"eggs"}))}, "sensitive_eggs"),
        ("h2o2_bath", {"life": Life(("gourami",))}, "sensitive_labyrinth"),
        ("h2o2_bath", {"life": Life(("loricariid",))}, "sensitive_loricariid"),
        ("copper_ion_marine", {"life": Life(("seahorse",))}, "sensitive_seahorse"),
        ("copper_ion_marine", {"life": Life(("marine",), frozenset({"invertebrates"}))}, "sensitive_invertebrates"),
        ("copper_sulfate_fw", {"minutes": 600}, "too_long"),
        ("fenbendazole_bath", {"prescription": Prescription("25 mg/L", "V"), "minutes": 800}, "too_long"),
        ("fenbendazole_feed", {"life": Life(("elasmobranch",))}, "sensitive_elasmobranch"),
        ("fenbendazole_feed", {"life": Life(("koi",), frozenset({"not_eating"}))}, "sensitive_not_eating"),
        ("fenbendazole_feed", {"biomass_g": None}, "biomass"),
        ("levamisole_feed", {"ration_percent": 3.0}, "oral_max"),
        ("sodium_thiosulfate", {"water": WaterState(20)}, "water_rule"),
        ("salt_indefinite", {"already": 4.5}, "hard_max"),
        ("praziquantel_bath", {"already": 9.0}, "hard_max"),
        ("salt_prolonged", {"life": Life(("corydoras",))}, "sensitive_corydoras"),
    ],
)
def test_hard_stops(treatment: str, more: dict[str, object], stop: str) -> None:
    assert stop in why_not(treatment, **more)


@pytest.mark.parametrize(
    ("treatment", "before", "hours", "changed", "meets"),
    [
        ("formalin_short", "kmno4_short", 23, 1.0, True),
        ("formalin_short", "kmno4_short", 30, 0.4, True),
        ("formalin_short", "kmno4_short", 30, 0.5, False),
        ("kmno4_short", "formalin_short", 2, 0, True),
        ("kmno4_short", "malachite_green", 2, 0, True),
        ("levamisole_bath", "trichlorfon_caution", 300, 1.0, True),
        ("levamisole_bath", "trichlorfon_caution", 340, 0.5, False),
        ("copper_sulfate_fw", "sodium_bicarbonate", 2, 0, True),
        ("salt_indefinite", "formalin_indefinite", 2, 0, False),
        ("praziquantel_bath", "levamisole_bath", 2, 0, True),
        ("formalin_indefinite", "heat_ich", 0, 0, True),
        ("methylene_blue", "uv_bacteria", 0, 0, True),
    ],
)
def test_agents_that_must_not_meet(treatment: str, before: str, hours: float, changed: float, meets: bool) -> None:
    answer = ask(treatment, present=(Present(before, hours, changed),))
    assert any(stop.id == f"meets_{before}" for stop in answer.stops) == meets


def test_conflicts_are_symmetrical() -> None:
    rows = list(REFERENCE.doses.values())
    for one, other in product(rows, rows):
        assert conflict_between(one, other, REFERENCE) == conflict_between(other, one, REFERENCE)


def test_a_dose_too_soon() -> None:
    assert "too_soon" in why_not("kmno4_short", present=(Present("kmno4_short", 100, 1.0),))


# --- overrides --------------------------------------------------------------------------------------------------------


def test_a_named_person_with_a_reason_overrides() -> None:
    life = Life(("loach",))
    by = Override("sensitive_scaleless_like", "Dr Hale", "test fish stood it for a day")
    answer = ask("malachite_green", life=life, overrides=(by,))
    assert answer.state == "amount"
    assert answer.overridden == (by,)
    assert "sensitive_scaleless_like" in why_not("malachite_green", life=life)


@pytest.mark.parametrize(
    ("override", "more"),
    [
        (Override("sensitive_scaleless_like", "", "test fish stood it"), {}),
        (Override("sensitive_scaleless_like", "Dr Hale", "because"), {}),
        (Override("sensitive_scaleless_like", "Dr Hale", "test fish stood it"), {"demo": True}),
    ],
)
def test_an_override_without_name_or_reason_or_in_the_demonstration(
    override: Override, more: dict[str, object]
) -> None:
    with pytest.raises(InputError):
        ask("malachite_green", life=Life(("loach",)), overrides=(override,), **more)


@pytest.mark.parametrize(
    ("treatment", "stop", "more"),
    [
        ("salt_indefinite", "hard_max", {"dose": "6 g/L"}),
        ("salt_indefinite", "food", {"life": Life(("koi",), for_food=True)}),
        ("ivermectin_caution", "refused_agent", {}),
        ("praziquantel_bath", "prescription", {"prescription": None}),
        ("formalin_short", "meets_kmno4_short", {"present": (Present("kmno4_short", 1),)}),
        ("salt_indefinite", "volume", {"volume": None}),
    ],
)
def test_what_nobody_overrides(treatment: str, stop: str, more: dict[str, object]) -> None:
    with pytest.raises(InputError, match="cannot be overridden"):
        ask(treatment, overrides=(Override(stop, "Dr Hale", "I know better"),), **more)


# --- rounding and measuring -------------------------------------------------------------------------------------------


def test_rounding_is_down_and_shown() -> None:
    answer = ask("formalin_indefinite", volume=Volume(733, 780, 850), step=0.5)
    assert answer.amount is not None
    assert answer.amount.exact == pytest.approx(9.1625)
    assert answer.amount.value == 9.0
    assert answer.amount.error == pytest.approx(-0.0177, abs=1e-4)
    assert "1.8 % under" in answer.written[1]


def test_the_smallest_volume_but_the_largest_where_too_little_kills() -> None:
    wide = Volume(600, 700, 800)
    salt = ask("salt_indefinite", volume=wide, step=1)
    assert salt.amount is not None
    assert salt.amount.value == 600 - 600 % 3
    thiosulphate = ask("sodium_thiosulfate", volume=wide, step=0.1)
    assert thiosulphate.amount is not None
    assert thiosulphate.amount.value == pytest.approx(6.0)  # 7.4 mg/L x 800 L = 5.92 g, up
    assert "largest" in " ".join(thiosulphate.written)


def test_what_can_not_be_measured_is_diluted_first() -> None:
    answer = ask("malachite_green", volume=exactly(60), step=0.1)
    assert answer.state == "refused"
    assert answer.stops[0].id == "too_small_to_measure"
    assert "make 10 g up to 1 L" not in answer.stops[0].text or "take" in answer.stops[0].text


def test_strengths() -> None:
    assert parse_strength("37 % w/w density 1.08").mg_per_unit == pytest.approx(399.6)
    assert parse_strength("409.8 mg a tablet").per == "tablet"
    assert parse_strength("3 % w/v").mg_per_unit == 30
    for bad in ("", "37 %", "120 % w/w", "0 % w/w", "5", "1 tablet", "2000 mg/g", "5 % v/v", "a pinch"):
        with pytest.raises(InputError):
            parse_strength(bad)


@pytest.mark.parametrize("bad", ["", "2", "two mg/L", "0 mg/L", "-1 mg/L", "2 mg", "1,5 mg/L", "2 drops/L", "nan mg/L"])
def test_doses_that_can_not_be_read(bad: str) -> None:
    with pytest.raises(InputError):
        parse_dose(bad)


def test_copper_says_what_is_counted() -> None:
    with pytest.raises(InputError, match="four times as much"):
        ask("copper_sulfate_fw", dose="0.5 mg/L")
    answer = ask("copper_ion_marine", dose="0.15 mg/L Cu")
    assert answer.amount is not None


def test_copper_from_sulphate_in_hand() -> None:
    """0.20 mg/L Cu needs 0.786 mg/L of the salt (molar masses)."""
    answer = ask("copper_ion_marine", dose="0.2 mg/L Cu", strength=parse_strength("1000 mg/g CuSO4.5H2O"))
    assert answer.amount is not None
    assert answer.amount.value == pytest.approx(0.786, abs=0.001)


# --- writing ----------------------------------------------------------------------------------------------------------


def test_written_by_the_published_rules() -> None:
    """Institute for Safe Medication Practices, list of error-prone dose designations."""
    assert write_number(0.5) == "0.5"
    assert write_number(1.0) == "1"
    assert write_number(1234.5, 5) == "1,234.5"
    assert write_quantity(25, "uL/L") == "25 microlitres/L"
    assert write_mass(0.00005) == "50 micrograms"
    with pytest.raises(ValueError, match="ppm"):
        write_quantity(2, "ppm")


def test_every_written_line_of_every_agent() -> None:
    for id in REFERENCE.doses:
        answer = ask(id, step=0.01)
        for line in (*answer.written, *(stop.text for stop in answer.stops)):
            assert "ppm" not in line.lower()
            assert "µ" not in line
            assert not re.search(r"(?<![\d.])\.\d", line), line  # a leading zero
            assert not re.search(r"\d\.\d*0(?!\d)", line), line  # no trailing zero
            assert not re.search(r"\d(mg|g|mL|L)\b", line), line  # a space before the unit
        if answer.amount is not None:
            assert answer.substance in answer.written[0]


@given(st.floats(1e-6, 1e6), st.integers(1, 6), st.sampled_from(["nearest", "down", "up"]))
def test_a_written_number_reads_back(value: float, digits: int, direction: str) -> None:
    text = write_number(value, digits, direction=direction)
    back = float(text.replace(",", ""))
    assert back == pytest.approx(value, rel=10.0 ** (1 - digits) * 1.01)
    assert direction != "down" or back <= value * (1 + 1e-12)
    assert direction != "up" or back >= value * (1 - 1e-12)


@pytest.mark.parametrize(
    ("written", "theirs", "unit"),
    [
        ("3 mg/L", "mg/L", "mg/L"), ("3 g/L", "g/L", "mg/L"), ("3 g/m3", "g/m**3", "mg/L"), ("3 ug/L", "ug/L", "mg/L"),
        ("3 mg/m3", "mg/m**3", "mg/L"), ("3 mg/mL", "mg/mL", "mg/L"), ("3 kg/m3", "kg/m**3", "mg/L"),
        ("3 uL/L", "uL/L", "uL/L"), ("3 mL/m3", "mL/m**3", "uL/L"), ("3 mL/L", "mL/L", "uL/L"),
        ("3 uL/mL", "uL/mL", "uL/L"), ("3 mcg/kg/day", "ug/kg/day", "mg/kg/day"),
        ("3 g/kg/day", "g/kg/day", "mg/kg/day"),
        ("3 ug/kg", "ug/kg", "mg/kg"),
    ],
)  # fmt: skip
def test_units_of_a_dose_against_pint(written: str, theirs: str, unit: str) -> None:
    import pint

    registry = pint.UnitRegistry(cache_folder=None)
    assert parse_dose(written).value == pytest.approx(registry.Quantity(3, theirs).to(unit).magnitude)


# --- properties -------------------------------------------------------------------------------------------------------

BATHS = sorted(
    id
    for id, row in REFERENCE.doses.items()
    if row.supply not in ("refused", "not_weighed") and row.route not in ("feed", "injection") and row.rule == ""
)


@settings(deadline=None)
@given(st.sampled_from(BATHS), st.floats(20, 1e5), st.floats(1.5, 20))
def test_linear_in_volume(treatment: str, litres: float, factor: float) -> None:
    asked = {"confirmed": ALL_CHECKED | {"slip_volume"}}  # more than 1,000 m3 is asked about
    one, more = (ask(treatment, volume=exactly(v), **asked) for v in (litres, litres * factor))
    assert one.amount is not None
    assert more.amount is not None
    assert more.amount.exact == pytest.approx(factor * one.amount.exact, rel=1e-9)


@settings(deadline=None, max_examples=300)
@given(
    st.sampled_from(sorted(REFERENCE.doses)),
    st.floats(0.001, 1e4),
    st.sampled_from(sorted(REFERENCE.host_groups)),
    st.floats(5, 34),
    st.floats(5.5, 9),
    st.floats(10, 400),
    st.floats(0, 5),
    st.floats(0.001, 5),
)
def test_never_over_the_hard_maximum(
    treatment: str,
    asked: float,
    group: str,
    temperature: float,
    ph: float,
    alkalinity: float,
    already: float,
    step: float,
) -> None:
    """Whatever is asked, an amount that is shown leaves at most the stop in the smallest plausible volume."""
    row = REFERENCE.doses[treatment]
    if row.route in ("feed", "injection") or not row.unit or row.supply in ("refused", "not_weighed"):
        return
    unit = {"mg Cl per mg NO2": "g/L", "mg per mg Cl2": "mg/L", "mg/L per dKH": "mg/L"}.get(row.unit, row.unit)
    counted = " Cu" if row.treatment != "copper_sulfate_fw" and "copper" in row.substance else ""
    counted = " CuSO4.5H2O" if row.treatment == "copper_sulfate_fw" else counted
    text = f"{asked:.6f} {unit}{counted}"
    water = WaterState(temperature, ph, alkalinity, alkalinity, 8, row.water == "marine", 0.0, 0.0, 2.0, 0.0, 1.0)
    more: dict[str, object] = {"dose": text, "water": water, "already": already, "step": step}
    more |= {"life": Life((group,)), "volume": Volume(90, 100, 120)}
    if row.supply in ("prescription", "unlicensed"):
        by = Prescription(text, "the veterinarian", against=next(iter(acts_on(row.treatment, REFERENCE)), None))
        more["prescription"] = by
    answer = ask(treatment, **more)
    if answer.amount is not None:
        assert answer.concentration is not None
        assert answer.bounds is not None
        assert answer.bounds.most is not None
        assert answer.concentration.at_low_volume <= answer.bounds.most * (1 + 1e-6)
        assert row.hard_max is None or unit != row.unit or answer.bounds.most <= row.hard_max * (1 + 1e-9)


@settings(deadline=None)
@given(st.floats(0.5, 3), st.floats(50, 5000))
def test_unit_invariant(grams_per_l: float, litres: float) -> None:
    ways = [
        ask("salt_indefinite", dose=text, volume=exactly(v))
        for text in (f"{grams_per_l:.9f} g/L", f"{grams_per_l * 1000:.6f} mg/L", f"{grams_per_l * 1000:.6f} g/m3")
        for v in (litres, litres / US_GALLON_L * US_GALLON_L)
    ]
    amounts = [way.amount.exact for way in ways if way.amount is not None]
    assert len(amounts) == 6
    assert max(amounts) == pytest.approx(min(amounts), rel=1e-6)


@given(st.floats(1, 100), st.floats(20, 1000))
def test_half_the_strength_is_twice_the_amount(percent: float, mg: float) -> None:
    whole = measure_out(mg, parse_strength(f"{percent:.6f} % w/w"), step=1e-9).exact
    half = measure_out(mg, parse_strength(f"{percent / 2:.6f} % w/w"), step=1e-9).exact
    assert half == pytest.approx(2 * whole, rel=1e-4)


@given(st.floats(1e-3, 1e6), st.sampled_from([0.001, 0.01, 0.05, 0.1, 0.5, 1, 5]))
def test_rounding_to_a_step(exact: float, step: float) -> None:
    down, up = round_to_step(exact, step), round_to_step(exact, step, up=True)
    assert down <= exact * (1 + 1e-9)
    assert up >= exact * (1 - 1e-9)
    assert up - down <= step * (1 + 1e-6)
    assert math.isclose(down / step, round(down / step), rel_tol=1e-9, abs_tol=1e-9)


# --- everything with everything ---------------------------------------------------------------------------------------

CORNERS = [
    WaterState(),
    *(
        WaterState(t, ph, alkalinity, alkalinity, oxygen, marine, ammonia, ammonia / 50, 1.0, 0.0, 0.5)
        for t, ph, alkalinity, oxygen, marine, ammonia in (
            (4, 7.5, 120, 10, False, 0.0),
            (20, 7.5, 150, 8, False, 0.0),
            (20, 5.5, 10, 8, False, 0.0),
            (27, 8.6, 300, 6, False, 2.0),
            (32, 7.5, 150, 5, False, 0.0),
            (25, 7.2, 60, 3, False, 0.5),
            (25, 8.2, 130, 7, True, 0.0),
        )
    ),
]


@pytest.mark.parametrize("treatment", sorted(REFERENCE.doses))
def test_every_agent_every_host_every_water(treatment: str) -> None:
    """An amount within its stops, or refusals that say why: nothing in between, and nothing raises."""
    for group, water in product(REFERENCE.host_groups, CORNERS):
        answer = ask(treatment, life=Life((group,)), water=water)
        if answer.state == "amount":
            assert answer.written
            if answer.concentration is not None:
                assert answer.bounds is not None
                assert answer.bounds.most is not None
                assert answer.concentration.at_low_volume <= answer.bounds.most * (1 + 1e-9)
        else:
            assert all(one.text for one in (*answer.stops, *answer.questions))
            assert answer.amount is None


@pytest.mark.parametrize("thing", THINGS)
def test_every_thing_stops_or_limits_something(thing: str) -> None:
    changed = 0
    for treatment in REFERENCE.doses:
        plain, with_it = ask(treatment), ask(treatment, life=Life(("koi",), frozenset({thing})))
        changed += (plain.stops, plain.bounds) != (with_it.stops, with_it.bounds)
    assert changed


def test_fish_that_are_not_named_get_the_strictest_row() -> None:
    assert "sensitive_tetra" in why_not("malachite_green", life=Life(("fish",)))
    assert "sensitive_tetra" in why_not("malachite_green", life=Life(("other",)))
    assert "sensitive_seahorse" in why_not("copper_ion_marine", life=Life(("marine",)))
    assert "sensitive_tetra" not in {stop.id for stop in ask("malachite_green", life=Life(("koi",))).stops}


def test_a_mixed_tank_is_dosed_for_its_weakest() -> None:
    mixed = ask("formalin_short", life=Life(("koi", "livebearer")))
    assert mixed.bounds is not None
    assert mixed.bounds.most == 100  # livebearers: 100 microlitres/L for 1 h (Tancredo et al. 2019)


@pytest.mark.parametrize("bad", ["moonlight", ""])
def test_unknown_treatment_or_fish(bad: str) -> None:
    with pytest.raises(InputError):
        dose(Order(bad, Life(("koi",))), REFERENCE)
    with pytest.raises(InputError):
        dose(Order("salt_dip", Life((bad,) if bad else ())), REFERENCE)


# --- may this go with that --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("treatment", "that", "verdict"),
    [
        ("formalin_short", "kmno4_short", "no"),  # UF/IFAS FA37: explosive
        ("formalin_short", "salt_dip", "yes"),
        ("praziquantel_bath", "metronidazole_bath", "wait"),
        ("methylene_blue", "uv_bacteria", "off"),
        ("kmno4_indefinite", "sodium_thiosulfate", "cancels"),
        ("malachite_green", "tetra", "no"),
        ("malachite_green", "koi", "yes"),
        ("formalin_indefinite", "loach", "less"),
        ("copper_sulfate_fw", "livebearer", "less"),
        ("copper_sulfate_fw", "invertebrates", "no"),
        ("copper_sulfate_fw", "plants", "no"),
        ("copper_sulfate_fw", "soft_water", "no"),
        ("formalin_short_cool", "warm_water", "no"),
        ("methylene_blue", "warm_water", "less"),
        ("salt_indefinite", "warm_water", "yes"),
        ("levamisole_bath", "invertebrates", "test first"),
        ("kmno4_indefinite", "filter_bacteria", "test first"),
    ],
)
def test_may_this_go_with_that(treatment: str, that: str, verdict: str) -> None:
    meeting = may_go_with(treatment, that, REFERENCE)
    assert (meeting.verdict, bool(meeting.why), bool(meeting.row)) == (verdict, True, True)


def test_everything_may_be_asked_of_everything() -> None:
    others = (*REFERENCE.doses, *REFERENCE.host_groups, *THINGS, "soft_water", "warm_water")
    for treatment, that in product(REFERENCE.doses, others):
        assert may_go_with(treatment, that, REFERENCE).why
    with pytest.raises(InputError):
        may_go_with("salt_dip", "moonlight", REFERENCE)
