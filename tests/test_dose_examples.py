"""Published worked examples of dosing, number by number, and every published slip as a case that must not come out.

Each line names its source. Sums go through the same parsers and the same rounding as an order does; a step of a
billionth stands for an exact scale. Examples that are arithmetic only (above our stops) are refused as doses below.
"""

from __future__ import annotations

import pytest

from wetmount import volume
from wetmount.changes import after_changes, single_change, steady_state
from wetmount.dose import Order, dose, measure_out
from wetmount.dose_rules import (
    BICARBONATE_MG_PER_L_PER_DKH,
    chloride_to_nitrite,
    copper_by_alkalinity,
    thiosulphate_to_chlorine,
)
from wetmount.dose_units import (
    CHLORIDE_SHARE,
    COPPER_SHARE,
    dose_in,
    parse_dose,
    parse_strength,
    stock_strength,
)
from wetmount.errors import InputError
from wetmount.feed import feed_g_per_kg, injection_ml, medicated_feed, oral_mg_per_kg_day
from wetmount.hard_stops import Life, Prescription, WaterState
from wetmount.reference import load_reference
from wetmount.units import CACO3_MG_PER_MEQ, US_GALLON_L, parse_quantity

REFERENCE = load_reference()
LB, OZ, FT3_L, ACRE_FT_L, M3 = 453.59237, 28.349523125, 28.316846592, 1_233_481.8, 1000.0
GAL = US_GALLON_L


def measured(litres: float, text: str, strength: str, substance: str = "", counted: str = "active") -> float:
    """g, mL or tablets of what is in hand for a dose in so many litres, by the parsers and `measure_out`."""
    typed = parse_dose(text)
    mg_per_l = dose_in(typed, typed.unit, substance, counted)
    return measure_out(mg_per_l * litres, parse_strength(strength), step=1e-9).value


def formalin_ml(litres: float, text: str) -> float:
    return dose_in(parse_dose(text), "uL/L", "formalin (37 % stock)", "product") * litres / 1000


def reached(strength: str, amount: float, litres: float) -> float:
    """mg/L from an amount in hand."""
    return amount * parse_strength(strength).mg_per_unit / litres


def g(text: str) -> float:
    return parse_quantity(text, "weight").value


def litres(text: str) -> float:
    return parse_quantity(text, "volume").value


# name, computed, printed, relative tolerance (1 % unless the print is rounded harder, then said)
EXAMPLES = [
    # B. Simetric ppm table after Mississippi State University Extension; Virginia DWR; Piper et al. 1982, p 281; Merck
    ("B1 lb in an acre-foot", measured(ACRE_FT_L, "1 mg/L", "pure") / LB, 2.72, 0.001),
    ("B2 g in an acre-foot", measured(ACRE_FT_L, "1 mg/L", "pure"), 1233, 0.001),
    ("B3 g in a cubic foot", measured(FT3_L, "1 mg/L", "pure"), 0.0283, 0.001),
    ("B4 g in a US gallon", measured(litres("1 US gal"), "1 mg/L", "pure"), 0.0038, 0.005),
    ("B5 lb in a million US gallons", measured(litres("1000000 US gal"), "1 mg/L", "pure") / LB, 8.345, 0.001),
    ("B6 US gallons in an acre-foot", ACRE_FT_L / litres("1 US gal"), 325_850, 0.0001),
    ("B7 UK gallons in a cubic foot", FT3_L / litres("1 UK gal"), 6.24, 0.002),
    ("B8 lb of water in an acre-foot (1 kg to the litre, so 0.05 % over)", ACRE_FT_L * 1000 / LB, 2_718_144, 0.001),
    ("B9 g in a US gallon of 1 %", measured(GAL, "10 g/L", "pure"), 38, 0.005),
    ("B10 1 mg/L in 10 US gal", measured(10 * GAL, "1 mg/L", "pure"), 0.038, 0.005),
    ("B11 1 mg/L in 10 cubic feet", measured(10 * FT3_L, "1 mg/L", "pure"), 0.283, 0.001),
    ("B12 US gallons in a cubic foot", FT3_L / litres("1 US gal"), 7.481, 0.0001),
    # C. chemical amounts. C1 Aquatext bath tables: 200 microlitres to the litre
    ("C1 formalin", formalin_ml(volume.cylinder(750, 200), "200 uL/L"), 17_670, 0.001),
    ("C2 formalin by weight, Piper 1982", formalin_ml(10 * FT3_L, "167 mg/L formalin"), 43.8, 0.001),
    ("C3 formalin by weight, Piper 1982", formalin_ml(10 * GAL, "167 mg/L formalin"), 5.85, 0.001),
    ("C4 formalin drip for eggs", formalin_ml(75 * GAL, "1667 uL/L"), 472.6, 0.002),
    ("C5 1 mL in 10 US gal, UF/IFAS prints 25", 1000 * 1 / (10 * GAL), 25, 0.06),
    ("C6 pond rate", formalin_ml(volume.box(500, 1000, 30), "28 mL/m3"), 420, 1e-9),
    # Francis-Floyd and Klinger, UF/IFAS FA37
    ("C7 stock", stock_strength(parse_strength("pure"), 285, 1000 * GAL).mg_per_unit / (10 * GAL), 2, 0.01),
    ("C8 permanganate stock by drop of 0.05 mL", 0.05 * 285_000 / (1000 * GAL) / GAL, 1, 0.01),
    # Koi dips chart
    ("C9a", measured(1000 * GAL, "1 mg/L", "pure"), 3.785, 0.001),
    ("C9b", measured(1000 * GAL, "2 mg/L", "pure"), 7.570, 0.001),
    ("C9c", measured(1000 * GAL, "3 mg/L", "pure"), 11.355, 0.001),
    ("C9d", measured(1000 * GAL, "4 mg/L", "pure"), 15.140, 0.001),
    ("C10 8 g in 40 L", reached("pure", 8, 40), 200, 1e-9),
    ("C11 chloramine-T 1 g in 10 US gal", reached("pure", 1, 10 * GAL), 26.4, 0.001),
    # Environmental mathematics, examples 23.19 to 23.21
    ("C12 copper sulphate of 25 % copper", measured(15e6 * GAL, "0.5 mg/L", "25 % w/w") / LB, 250, 0.002),
    ("C13 by acre-foot", 0.9 * 35, 31.5, 1e-9),
    ("C15 alkalinity / 100, UF/IFAS FA008", copper_by_alkalinity(150, 150).most or 0, 1.5, 1e-9),
    ("C16 citrated stock", stock_strength(parse_strength("pure"), 3, 750).mg_per_unit * COPPER_SHARE, 1.018, 0.001),
    ("C17 trichlorfon, Piper 1982 p 283", measured(ACRE_FT_L, "0.25 mg/L", "80 % w/w") / LB, 0.84, 0.03),
    ("C18 Common Fish Farming Calculations", measured(12_000 * 1.5 * M3, "2 mg/L", "pure"), 36_000, 1e-9),
    ("C19 oxytetracycline bath", measured(volume.box(500, 200, 40), "40 g/m3", "pure"), 160, 1e-9),
    ("C20 of a 10 % product", measured(volume.box(500, 200, 40), "40 g/m3", "10 % w/w"), 1600, 1e-9),
    ("C21 methylene blue", reached("2.303 % w/v", 2.5, 5 * GAL), 3, 0.02),
    ("C22 methylene blue", reached("2.303 % w/v", 0.82, 5 * GAL), 1, 0.01),
    ("C23 methylene blue", reached("1 % w/v", 2, 10), 2, 1e-9),
    ("C24 lufenuron, Mayer et al. 2013: about 0.1", reached("409.8 mg a tablet", 1, 1000 * GAL), 0.108, 0.003),
    ("C25 emamectin", reached("10 mg/mL", 2, 100), 0.2, 1e-9),
    ("C26 emamectin", reached("10 mg/mL", 5, 1000), 0.05, 1e-9),
    ("C27 tricaine", reached("pure", 2, 5 * GAL), 105.7, 0.001),
    ("C28 clove oil, microlitres", stock_strength(parse_strength("100 mg/mL"), 1, 1).mg_per_unit * 2 / 5, 40, 1e-9),
    # D. feed and injection: Nigerian fish farmers association 2023; UF/IFAS VM-70; 21 CFR 558.261; UK data sheet
    ("D1 mg a day", medicated_feed(90_000, 1, 1, share_eating=1, mg_per_kg_day=75).substance_mg_a_day, 6750, 1e-9),
    ("D2 kg feed", medicated_feed(90_000, 1, 1, share_eating=1, mg_per_kg_day=75).feed_g_a_day / 1000, 0.9, 1e-9),
    ("D3 g/kg feed", feed_g_per_kg(75, 1), 7.5, 1e-9),
    ("D4 1 g to the lb at 3 %", oral_mg_per_kg_day(1000 / LB, 3), 66.1387, 1e-5),
    ("D5 mg to the teaspoon", 10_000 / 50, 200, 1e-9),
    ("D6 182 g to the US ton at 5 %", oral_mg_per_kg_day(182 / (2000 * LB / 1000), 5), 10, 0.005),
    ("D7 1,816 g to the US ton at 0.5 %", oral_mg_per_kg_day(1816 / (2000 * LB / 1000), 0.5), 10, 0.005),
    ("D8 kg/t at 0.5 %, of a 100 % active basis", feed_g_per_kg(75, 0.5), 15, 1e-9),
    ("D8 g to 25 kg", feed_g_per_kg(75, 0.5) * 25, 375, 1e-9),
    ("D9 kg/t at 1 %", feed_g_per_kg(75, 1), 7.5, 1e-9),
    ("D9 g to 25 kg", feed_g_per_kg(75, 1) * 25, 187.5, 1e-9),
    ("D10 kg/t at 2 %", feed_g_per_kg(75, 2), 3.75, 1e-9),
    ("D10 g to 5 kg", feed_g_per_kg(75, 2) * 5, 18.75, 1e-9),
    ("D11 g in 100 lb, Piper 1982", feed_g_per_kg(5000 / (100 * LB / 1000), 3) * 100 * LB / 1000, 167, 0.003),
    ("D12 US label, memory", 2500 / (100 * LB / 1000), 55.1, 0.001),
    ("D13 koi injection", injection_ml(10, 1500, parse_strength("5 % w/v").mg_per_unit), 0.3, 1e-9),
    ("D14 fenbendazole, Yanong UF/IFAS", 1.14 / (LB / 1000), 2.51, 0.002),
    ("D15 levamisole, Yanong UF/IFAS", 1.8 / (LB / 1000), 3.97, 0.001),
    ("D16 emamectin, Hakalahti et al. 2004, mg/kg feed", feed_g_per_kg(0.05, 1) * 1000, 5, 1e-9),
    # E. pond salt table; tilapia pond notes; nitrite note
    *((f"E{n} {n} lb in 100 US gal", n * LB / (100 * GAL), 1.2 * n, 0.002) for n in (1, 2, 3, 4, 5)),
    ("E6 120 P/T", 10 * LB / 1.2 / GAL, 1000, 0.002),
    ("E8 2.5 lb in 10 US gal, 3 %", 2.5 * LB / (10 * GAL), 30, 0.002),
    ("E9 1 lb in 10 US gal, 1.2 %", LB / (10 * GAL), 12, 0.002),
    ("E10 0.15 lb in 10 US gal, 0.18 %", 0.15 * LB / (10 * GAL), 1.8, 0.002),
    ("E11 chloride six times nitrite", (chloride_to_nitrite(3, 0, 6).target or 0) * 1000 * CHLORIDE_SHARE, 18, 1e-9),
    # F. Piper 1982 p 283; pond forum; Standard Methods bottle preservative
    ("F1 thiosulphate", GAL * (thiosulphate_to_chlorine(200).target or 0) / 1000, 5.6, 0.001),
    ("F2 ratio 7", 100 * GAL * (thiosulphate_to_chlorine(2, 7).target or 0) / 1000, 5.3, 0.001),
    ("F3 ratio of 0.1 mL of 10 % to 120 mL of 15 mg/L", 0.1 * 100 / (0.12 * 15), 5.56, 0.001),
    ("F4 ratio of 0.1 mL of 3 % to 120 mL of 5 mg/L", 0.1 * 30 / (0.12 * 5), 5.0, 1e-9),
    ("F5 chlorine after 10 % of new water", single_change(0, 0.5, 0.1), 0.05, 1e-9),
    # G. pond bicarbonate rule: 20 printed, 21.6 exactly; stoichiometry
    (
        "G1 1 lb in 3,300 US gal",
        LB * 1000 / (3300 * GAL) / BICARBONATE_MG_PER_L_PER_DKH * 17.848,
        21.6,
        0.002,
    ),
    ("G3 mg/L to the dKH", BICARBONATE_MG_PER_L_PER_DKH, 29.96, 0.0005),
    # H. aquarium water-change thread 2007; 25 % water changes 1996; aquatic plants list 2005
    ("H1", single_change(50, 0, 25 / 125), 40, 1e-9),
    ("H2 before the first change of 25 %", 50 * 14 / 700, 1, 1e-9),
    ("H2 after it", single_change(50 * 14 / 700, 0, 0.25), 0.75, 1e-9),
    ("H3 week 4 before", single_change(1, 0, 0.25) + 1, 1.75, 1e-9),
    ("H3 week 4 after", single_change(1.75, 0, 0.25), 1.31, 0.002),
    ("H4 steady before", steady_state(1, 0.25).before, 4.0, 1e-9),
    ("H5 weekly dose, half weekly: after dosing", steady_state(1, 0.5).before, 2, 1e-9),
    ("H6 weekly dose, half every four weeks: after dosing", steady_state(4, 0.5).before, 8, 1e-9),
    ("H7 two changes of 25 % remove", 1 - after_changes(1, 0, 0.25, 2), 0.4375, 1e-9),
]  # fmt: skip


@pytest.mark.parametrize(("name", "computed", "printed", "tolerance"), EXAMPLES, ids=[e[0] for e in EXAMPLES])
def test_published_worked_examples(name: str, computed: float, printed: float, tolerance: float) -> None:
    assert computed == pytest.approx(printed, rel=tolerance), name


def test_there_are_sixty_and_more() -> None:
    assert len({name.split()[0] for name, *_ in EXAMPLES}) >= 60


def test_ammonia_from_chloramine() -> None:
    """F6, pond list note: a fifth changed with 1 mg/L NH2Cl frees 0.06 mg/L NH3 (0.066 before it was cut off)."""
    nh3, nh2cl = 17.031, 51.476
    assert single_change(0, 1.0 * nh3 / nh2cl, 0.2) == pytest.approx(0.0662, abs=0.0001)


def test_bicarbonate_in_four_steps() -> None:
    """G2, pond rule: 20 to 100 mg/L in 3,300 US gal is 4 lb by it (1 lb raises 20), 3.7 lb exactly."""
    meq = 80 / CACO3_MG_PER_MEQ
    assert meq * 84.006 * 3300 * GAL / 1000 / LB == pytest.approx(4, rel=0.08)


# --- published slips --------------------------------------------------------------------------------------------------


def order(treatment: str, text: str | None, **more: object) -> Order:
    row = REFERENCE.doses[treatment]
    water = WaterState(18, 7.5, 150, 150, 8, row.water == "marine", 0.0, 0.0, 0.0, 0.0, 0.0)
    common: dict[str, object] = {
        "life": Life(("koi",)),
        "water": water,
        "volume": volume.exactly(1000),
        "strength": parse_strength("37 % w/w" if "formalin" in row.substance else "pure"),
        "lawful_here": True,
        "confirmed": frozenset({"aerated", "stock_clear", "copper_test", "buffered"}),
        "step": 1e-6,
    }
    if row.supply in ("prescription", "unlicensed"):
        common["prescription"] = Prescription(text or "", "the veterinarian")
    else:
        common["dose"] = text
    common.update(more)
    return Order(treatment, **common)  # type: ignore[arg-type]


def stops(treatment: str, text: str | None, **more: object) -> dict[str, str]:
    answer = dose(order(treatment, text, **more), REFERENCE)
    assert answer.amount is None
    return {stop.id: stop.text for stop in answer.stops}


def test_x1_bleach_recipe() -> None:
    """Merck, older page: 35 mL to the gallon of 3 to 6 % is not 200 mg/L; 25.2 or 12.6 mL are."""
    assert reached("3 % w/v", 35, GAL) == pytest.approx(277, rel=0.01)
    assert reached("6 % w/v", 35, GAL) == pytest.approx(555, rel=0.01)
    assert measured(GAL, "200 mg/L", "3 % w/v") == pytest.approx(25.2, rel=0.01)
    assert measured(GAL, "200 mg/L", "6 % w/v") == pytest.approx(12.6, rel=0.01)


def test_x2_formalin_on_eggs_by_the_millilitre() -> None:
    """Merck 2019 table: 1,000 to 2,000 microlitres to the mL for to the litre."""
    found = stops("formalin_eggs", "1000 uL/mL")
    assert "thousandfold" in found["hard_max"]
    assert "hard_max" not in {s.id for s in dose(order("formalin_eggs", "1000 uL/L"), REFERENCE).stops}


def test_x3_clove_oil_by_the_millilitre() -> None:
    """BSAVA formulary page: 500 to 1,000 mg/mL for mg/L."""
    assert "hard_max" in stops("eugenol_euthanasia", "500 mg/mL")
    assert dose(order("eugenol_euthanasia", "500 mg/L"), REFERENCE).state == "amount"


def test_x4_parts_are_not_mixed_up() -> None:
    """A carp manual: 1 ppm = 1 mg/m3, 1 ppt = 1 mg/L, 1 % = 10 mg/L; right are 1 g/m3, 1 g/L, 10 g/L."""
    assert parse_dose("1 mg/m3").value == pytest.approx(1e-3)
    assert parse_dose("1 g/m3").value == 1
    assert parse_quantity("1 ppt", "salinity").value == 1
    assert parse_quantity("1 %", "salinity").value == 10
    for text in ("1 ppm", "1 ppt", "5ppm", "25 ppm formalin"):
        with pytest.raises(InputError, match="not clear"):
            parse_dose(text)


def test_x5_diflubenzuron_thousands_of_milligrams() -> None:
    """A stingray page prints 2,650 mg/L."""
    assert "hard_max" in stops("diflubenzuron_bath", "2650 mg/L")


def test_x6_change_with_some_nitrate() -> None:
    """Printed 44 mg/L for 25 of 125 gal at 50 mg/L with new water of 10 mg/L: it is 42."""
    assert single_change(50, 10, 0.2) == pytest.approx(42)


def test_x10_salt_in_ten_gallons() -> None:
    """0.25 lb in 10 US gal is 0.30 %, not 0.18 %."""
    assert pytest.approx(3.0, rel=0.01) == 0.25 * LB / (10 * GAL)


def test_x11_bicarbonate_by_the_teaspoon() -> None:
    """4 g raise 100 L by 1.33 dKH, not by 1; 50 US gal by 2 dKH need 11.3 g, not 15.2."""
    assert pytest.approx(1.33, rel=0.01) == 4000 / 100 / BICARBONATE_MG_PER_L_PER_DKH
    assert pytest.approx(11.3, rel=0.01) == 2 * BICARBONATE_MG_PER_L_PER_DKH * 50 * GAL / 1000


def test_x12_drops_are_no_dose() -> None:
    """Two drops are 0.1 mL, not 0.5; we take no drops and no spoons at all."""
    for text in ("2 drops", "2 drops/L", "1 teaspoon"):
        with pytest.raises(InputError, match="unit"):
            parse_dose(text)


def test_x14_a_weekly_tenth_settles() -> None:
    """The series was said to grow without end: it settles at ten times the dose."""
    assert steady_state(1, 0.1).before == pytest.approx(10)
    assert after_changes(0, 1 / 0.1, 0.1, 500) == pytest.approx(10)


def test_x15_trichlorfon_in_grams() -> None:
    """Printed 0.25 g/L for g/m3."""
    assert "hard_max" in stops("trichlorfon_caution", "0.25 g/L")
    assert parse_dose("0.25 g/m3").value == 0.25


def test_x16_hectares_to_acres() -> None:
    """1,000 to 2,000 kg/ha are 892 to 1,784 lb/acre, not 181 to 363."""
    acre_m2 = 4046.8564224
    assert 1000 * acre_m2 / 10_000 * 1000 / LB == pytest.approx(892, rel=0.001)


def test_x17_chelated_target_on_ionic_copper() -> None:
    """2 mg/L total copper is ten times the ionic target, and a chelated target is not converted."""
    found = stops("copper_ion_marine", "2 mg/L Cu", life=Life(("marine",)))
    assert "tenfold" in found["hard_max"]
    with pytest.raises(InputError, match="never converted"):
        dose_in(parse_dose("2 mg/L CuSO4.5H2O"), "mg/L", REFERENCE.doses["copper_chelated"].substance, "product")


def test_x18_formalin_250_in_warm_water() -> None:
    """250 microlitres/L for 60 min at 26 °C: 150 is the most above 21 °C (UF/IFAS VM-77)."""
    warm = WaterState(26, 7.5, 150, 150, 8, False, 0.0)
    assert "temperature" in stops("formalin_short_cool", "250 uL/L", water=warm, life=Life(("koi",)))
    assert "hard_max" in stops("formalin_short", "151 uL/L", water=warm, life=Life(("koi",)))
    assert dose(order("formalin_short", "150 uL/L", water=warm, life=Life(("koi",))), REFERENCE).state == "amount"
    assert dose(order("formalin_short_cool", "250 uL/L", life=Life(("koi",))), REFERENCE).state == "amount"


def test_x19_thiosulphate_two_to_one() -> None:
    """2 mg to the mg leaves seven tenths of the chlorine: refused."""
    assert thiosulphate_to_chlorine(2, 2).refused is not None


def test_x20_chlorine_in_grams() -> None:
    """Municipal chlorine of 0.5 to 3 g/L: impossible as a reading."""
    with pytest.raises(InputError, match="not possible"):
        parse_quantity("500 mg/L", "chlorine")
    assert parse_quantity("0.5 mg/L", "chlorine").value == 0.5


def test_x21_salt_dip_in_milligrams() -> None:
    """Salt 10 to 15 ppm against gill flukes: 1,000 times too little. The unit is refused, and mg/L are asked about."""
    with pytest.raises(InputError, match="not clear"):
        parse_dose("10 ppm")
    answer = dose(order("salt_dip", "15 mg/L"), REFERENCE)
    assert answer.state == "question"
    assert "thousandfold" in answer.questions[0].text


def test_x22_micrograms_for_microlitres() -> None:
    """Formalin LC50 printed in micrograms/L for microlitres/L: a dose of formalin by weight must say of what."""
    with pytest.raises(InputError, match="37 % stock"):
        dose_in(parse_dose("134 ug/L"), "uL/L", "formalin (37 % stock)", "product")


# Arithmetic that sources print and that as a dose must be refused.
@pytest.mark.parametrize(
    ("treatment", "text"),
    [
        ("formalin_indefinite", "28 mL/m3"),  # C6
        ("kmno4_short", "200 mg/L"),  # C10
        ("chloramine_t", "26.4 mg/L"),  # C11
        ("levamisole_feed", "6 g/kg feed"),
        ("malachite_green", "0.2 mg/L"),
        ("salt_dip", "40 g/L"),
    ],
)
def test_arithmetic_only_is_refused_as_a_dose(treatment: str, text: str) -> None:
    assert "hard_max" in stops(treatment, text, life=Life(("koi",)))


def test_emamectin_is_never_a_bath() -> None:
    """C25, C26: there is no bath row, and a bath dose does not fit the feed row."""
    assert [t for t in REFERENCE.doses if t.startswith("emamectin")] == ["emamectin_feed"]
    with pytest.raises(InputError, match="does not fit"):
        dose(order("emamectin_feed", "0.2 mg/L"), REFERENCE)


# --- the three meanings of a formalin dose, and other conversions -----------------------------------------------------


def test_the_three_meanings_of_25_for_formalin() -> None:
    """25 microlitres/L; 25 mg/L by weight is 23.1; 25 mg/L formaldehyde is 62.6 (density 1.08, 37 %)."""
    to_ul = lambda text: dose_in(parse_dose(text), "uL/L", "formalin", "product")  # noqa: E731
    assert to_ul("25 uL/L") == 25
    assert to_ul("25 mg/L formalin") == pytest.approx(23.1, abs=0.05)
    assert to_ul("25 mg/L formaldehyde") == pytest.approx(62.6, abs=0.05)
    assert "hard_max" in stops("formalin_indefinite", "25 mg/L formaldehyde", life=Life(("koi",)))


def test_conversions() -> None:
    """0.20 mg/L Cu is 0.786 of the salt, 2.5 of the salt 0.636 of the metal; NaCl is 60.66 % chloride."""
    assert pytest.approx(0.786, abs=0.001) == 0.20 / COPPER_SHARE
    assert pytest.approx(0.636, abs=0.001) == 2.5 * COPPER_SHARE
    assert pytest.approx(0.6066, abs=0.0001) == CHLORIDE_SHARE
    assert pytest.approx(2.804, abs=0.001) == CACO3_MG_PER_MEQ / 17.848
