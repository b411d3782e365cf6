"""Doses that must not come out: each a way to an overdose, an underdose that kills, or a line that is misread."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import date

import pytest
from click.testing import CliRunner

from wetmount.case import Plan, PlanAgent, PlanStep
from wetmount.cli import cli
from wetmount.dose import DoseAnswer, Order, dose, three_figures
from wetmount.dose_rules import bicarbonate_per_dkh
from wetmount.dose_typed import already_of
from wetmount.dose_units import COPPER_SHARE, counted_share, parse_strength, stock_strength
from wetmount.errors import InputError
from wetmount.hard_stops import CHECKS, Life, Prescription, Present, WaterState, acts_on
from wetmount.plan import TankFacts
from wetmount.plan.amounts import amounts_for
from wetmount.plan.record import planned_days
from wetmount.plan.sheets import sheet_of
from wetmount.reference import load_reference
from wetmount.volume import exactly

REFERENCE = load_reference()
KOI = Life(("koi",))
GOOD = WaterState(20, 7.5, 150, 180, 8, False, 0.0, 0.0, 2.0, 0.0, 1.0)
SALT_WATER = WaterState(25, 8.2, 130, 6000, 7, True, 0.0, 0.0, 0.0, 0.0, 0.0)
CLOWNFISH = Life(("marine",), species=("Amphiprion ocellaris",))


def ask(treatment: str, **more: object) -> DoseAnswer:
    """The answer to an order in which everything is known and good but for what is given."""
    row = REFERENCE.doses[treatment]
    marine = row.water == "marine"
    known: dict[str, object] = {
        "life": CLOWNFISH if marine else KOI,
        "water": SALT_WATER if marine else GOOD,
        "volume": exactly(1000),
        "strength": parse_strength("10 mg/mL" if row.route == "injection" else "pure"),
        "step": 1e-9,
        "lawful_here": True,
        "confirmed": frozenset(CHECKS),
        "biomass_g": 2000.0,
        "ration_percent": 1.0,
    }
    if "formalin" in row.substance:
        known["strength"] = parse_strength("37 % w/w")
    if row.supply in ("prescription", "unlicensed"):
        counted = " Cu" if "copper" in row.substance else ""
        text = f"{row.low:g} {row.unit}{counted}"
        known["prescription"] = Prescription(
            text, "the veterinarian", against=next(iter(acts_on(treatment, REFERENCE)), None)
        )
    return dose(Order(treatment, **(known | more)), REFERENCE)  # type: ignore[arg-type]


def why_not(treatment: str, **more: object) -> set[str]:
    answer = ask(treatment, **more)
    assert answer.amount is None
    return {stop.id for stop in answer.stops}


# --- the strength in hand ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["1 mg/mL", "25 % w/w", "2 % w/v", "4 g/L"])
@pytest.mark.parametrize("treatment", ["copper_sulfate_fw", "copper_ion_marine"])
def test_a_strength_of_copper_says_what_it_counts(treatment: str, text: str) -> None:
    """Metal and pentahydrate are 3.93 apart (molar masses): a copper label read as salt is a fourfold overdose."""
    with pytest.raises(InputError, match="four times apart"):
        ask(treatment, strength=parse_strength(text))


def test_both_labels_of_copper_bring_the_same_copper() -> None:
    """0.2545 of the pentahydrate is copper (molar masses)."""
    metal = ask("copper_sulfate_fw", strength=parse_strength("1 mg/mL Cu"))
    salt = ask("copper_sulfate_fw", strength=parse_strength(f"{1 / COPPER_SHARE:.6f} mg/mL CuSO4.5H2O"))
    powder = ask("copper_sulfate_fw", strength=parse_strength("25.45 % w/w Cu"))
    assert metal.amount is not None
    assert salt.amount is not None
    assert powder.amount is not None
    # alkalinity 150 allows 1.5 mg/L of the salt in 1,000 L: 1.5 g, which hold 382 mg of copper
    assert metal.amount.value == pytest.approx(381.7, rel=1e-3)
    assert salt.amount.value == pytest.approx(metal.amount.value, rel=1e-5)
    assert powder.amount.value == pytest.approx(1.5, rel=1e-3)


def test_crystals_and_a_stock_of_them_are_the_salt() -> None:
    """Citrated stock, 3 g of the pentahydrate in 750 mL: 1.018 mg/mL of copper (Tilapia pond notes, worked example)."""
    stock = stock_strength(parse_strength("pure"), 3, 750)
    assert counted_share(stock, "copper_sulfate_fw", "copper sulphate pentahydrate") == 1.0
    assert counted_share(parse_strength("99 % w/w"), "copper_sulfate_fw", "copper sulphate pentahydrate") == 1.0
    with pytest.raises(InputError, match="four times apart"):
        counted_share(stock, "copper_ion_marine", "copper")
    said = replace(stock, counted="CuSO4.5H2O")
    assert stock.mg_per_unit * counted_share(said, "copper_ion_marine", "copper") == pytest.approx(1.018, abs=0.001)


@pytest.mark.parametrize("text", ["10 mg/mL", "10 mg/mL CuSO4", "pure"])
def test_a_chelated_product_is_never_another_form_of_copper(text: str) -> None:
    """Row copper_chelated: never convert a free-ion target to a chelated product or the reverse."""
    with pytest.raises(InputError, match="total copper"):
        ask("copper_chelated", strength=parse_strength(text))


@pytest.mark.parametrize(
    ("typed", "written"),
    [
        (".5 mg/mL", "0.5 mg/mL"),
        ("5.0 µg/mL", "5 micrograms/mL"),
        ("2.0%w/v", "2 % w/v"),
        ("2.0 % W/V", "2 % w/v"),
        ("37.0 % w/w density 1.080", "37 % w/w, density 1.08"),
        ("100mg/ml", "100 mg/mL"),
        ("409.8 mg per tablet", "409.8 mg a tablet"),
        ("1.0 mg/mL cu", "1 mg/mL Cu"),
    ],
)
def test_a_strength_is_written_by_the_rules_however_it_was_typed(typed: str, written: str) -> None:
    """Institute for Safe Medication Practices: leading zero, no trailing zero, a space, mL, no micro sign."""
    assert parse_strength(typed).text == written


# --- what is in the water already -------------------------------------------------------------------------------------


def test_the_hard_stop_holds_for_the_running_total() -> None:
    """Table of refusals: praziquantel running total over 10 mg/L, metronidazole over 25; nothing counts as lost
    (worked examples, section J: a hard stop applies to the running total)."""

    def again(treatment: str, dose: str, changed: float, already: float | None = None) -> set[str]:
        by = Prescription(dose, "the veterinarian", against="spironucleosis")
        before = (Present(treatment, 500, changed),)
        return {stop.id for stop in ask(treatment, prescription=by, present=before, already=already).stops}

    assert again("praziquantel_bath", "10 mg/L", 0) == {"running_total"}
    assert again("praziquantel_bath", "2 mg/L", 0.5) == set()  # 10 x 0.5 + 2
    assert again("praziquantel_bath", "10 mg/L", 1) == set()
    assert again("praziquantel_bath", "8 mg/L", 0, already=2.0) == set()
    assert again("praziquantel_bath", "8 mg/L", 0, already=2.1) == {"hard_max"}
    assert again("metronidazole_bath", "10 mg/L", 0.25) == {"running_total"}  # 25 x 0.75 + 10
    assert again("metronidazole_bath", "10 mg/L", 0.5) == set()


def test_copper_is_never_dosed_again_by_the_clock() -> None:
    """Row copper_sulfate_fw: never re-dose by the clock, only by a copper test (UF/IFAS FA008)."""
    before = (Present("copper_sulfate_fw", 100, 0.5),)
    assert why_not("copper_sulfate_fw", present=before) == {"running_total"}
    assert ask("copper_sulfate_fw", present=before, dose="0.9 mg/L CuSO4.5H2O", already=0.6).state == "amount"


def test_a_week_after_permanganate_however_it_was_given() -> None:
    """Row kmno4_short: any permanganate in the last week (UF/IFAS FA37)."""
    assert "too_soon" in why_not("kmno4_short", present=(Present("kmno4_indefinite", 48, 1.0),))
    assert "too_soon" in why_not("kmno4_indefinite", present=(Present("kmno4_short", 48, 1.0),))
    assert ask("kmno4_short", present=(Present("kmno4_indefinite", 170, 1.0),)).state == "amount"


@pytest.mark.parametrize(("hours", "changed"), [(math.nan, 0.5), (-1, 0.5), (math.inf, 0.5), (30, 5), (30, math.nan)])
def test_time_and_change_since_an_agent_are_possible_ones(hours: float, changed: float) -> None:
    with pytest.raises(InputError):
        ask("kmno4_indefinite", present=(Present("kmno4_indefinite", hours, changed),))


def test_what_is_there_is_typed_with_its_unit() -> None:
    salt, copper = REFERENCE.doses["salt_indefinite"], REFERENCE.doses["copper_sulfate_fw"]
    assert already_of("500 mg/L", salt) == 0.5
    assert already_of("0", salt) == 0
    assert already_of("0.1 mg/L Cu", copper) == pytest.approx(0.1 / COPPER_SHARE)
    for bad in ("3", "3 ppm", "-1 g/L", "nan", "1 uL/L"):
        with pytest.raises(InputError):
            already_of(bad, salt)


# --- what is bathed, and for how long ---------------------------------------------------------------------------------


@pytest.mark.parametrize("treatment", ["formalin_eggs", "h2o2_eggs"])
def test_a_bath_for_eggs_is_never_for_fish(treatment: str) -> None:
    """Rows formalin_eggs, h2o2_eggs: eggs only, fry die (Merck Veterinary Manual, table of 2014)."""
    assert "eggs_only" in why_not(treatment, life=KOI)
    assert "eggs_only" in why_not(treatment, life=Life(("koi",), frozenset({"eggs", "fry"})))
    assert ask(treatment, life=Life(("koi",), frozenset({"eggs"}))).state == "amount"


@pytest.mark.parametrize(
    ("treatment", "group", "thing"),
    [
        ("flubendazole_bath", "elasmobranch", ""),
        ("flubendazole_bath", "koi", "fry"),
        ("flubendazole_bath", "koi", "eggs"),
        ("fenbendazole_feed", "koi", "fry"),
        ("fenbendazole_feed", "koi", "gravid"),
        ("fenbendazole_bath", "elasmobranch", ""),
    ],
)
def test_benzimidazoles(treatment: str, group: str, thing: str) -> None:
    """Table of refusals: eggs, fry, sharks and rays (Carlsson et al., embryo EC50 0.024 mg/L; the class by memory)."""
    life = Life((group,), frozenset({thing} if thing else ()))
    assert any(stop.startswith("sensitive_") for stop in why_not(treatment, life=life))


def test_copper_on_koi_and_goldfish_goes_to_test_fish_first() -> None:
    """Row copper_sulfate_fw: koi, goldfish and salmonids test first."""
    for group in ("koi", "goldfish", "salmonid"):
        bounds = ask("copper_sulfate_fw", life=Life((group,))).bounds
        assert bounds is not None
        assert bounds.test_first


def test_medicated_feed_no_longer_than_its_row() -> None:
    """Table of refusals: metronidazole in feed no longer than 5 days."""
    assert "too_long" in why_not("metronidazole_feed", days=6.0)
    assert ask("metronidazole_feed", days=5.0).state == "amount"


# --- too little kills -------------------------------------------------------------------------------------------------


def test_a_typed_dose_that_leaves_chlorine_is_refused() -> None:
    """Worked examples X19: 2 mg to the mg leaves seven tenths of the chlorine; 7.0 by the reaction to tetrathionate."""
    water = replace(GOOD, chlorine_mg_per_l=2.0)
    assert why_not("sodium_thiosulfate", water=water, dose="4 mg/L") == {"too_little"}
    assert ask("sodium_thiosulfate", water=water, dose="14 mg/L").state == "amount"


@pytest.mark.parametrize(
    ("ammonia", "ph", "asked"),
    [(1.0, 8.4, True), (None, 8.4, True), (1.0, None, True), (0.0, 8.4, False), (1, 7, False)],
)
def test_chloramine_with_ammonia_at_a_high_ph_is_asked_about(
    ammonia: float | None, ph: float | None, asked: bool
) -> None:
    """Table of refusals: chloramine with measurable ammonia and pH above 7.5."""
    water = replace(GOOD, total_ammonia_mg_n_per_l=ammonia, ph=ph)
    answer = ask("sodium_thiosulfate", water=water)
    assert (answer.state == "question") == asked
    assert [question.id for question in answer.questions] == (["free_chlorine"] if asked else [])


def test_salt_against_nitrite_stays_within_the_salt_these_fish_stand() -> None:
    """Row salt_nitrite: total salt within salt_indefinite for that host, 2 g/L for characins; nitrite 300 mg/L needs
    4.95 g/L and is brought down by changes first."""
    tetra = Life(("tetra",))
    assert "salt_in_all" in why_not("salt_nitrite", life=tetra, water=replace(GOOD, nitrite_mg_no2_per_l=300.0))
    assert ask("salt_nitrite", life=tetra, water=replace(GOOD, nitrite_mg_no2_per_l=3.0)).state == "amount"


def test_a_rise_without_end_is_no_rise() -> None:
    for rise in (math.inf, math.nan, -1.0, 0.0):
        rule = bicarbonate_per_dkh(rise, free_ammonia_after_mg_n_per_l=0.0, total_ammonia_mg_n_per_l=0.0)
        assert rule.refused


# --- slips that are asked about ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("litres", "asked"), [(0.05, True), (0.2, False), (9e5, False), (2e6, True)])
def test_an_unusual_volume_is_asked_about(litres: float, asked: bool) -> None:
    answer = ask("salt_indefinite", volume=exactly(litres))
    assert ("slip_volume" in {question.id for question in answer.questions}) == asked


def test_a_tenfold_slip_of_copper_down_is_asked_about() -> None:
    answer = ask("copper_sulfate_fw", dose="0.05 mg/L CuSO4.5H2O")
    assert [question.id for question in answer.questions] == ["slip_low"]
    assert "tenfold" in answer.questions[0].text


# --- what is written --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "down", "up"), [(1236, 1230, 1240), (0.5, 0.5, 0.5), (99.96, 99.9, 100), (12, 12, 12)]
)
def test_three_figures_never_over(value: float, down: float, up: float) -> None:
    """Cautions, section 6: round down (up where too little kills), to no more than three figures."""
    assert three_figures(value) == down
    assert three_figures(value, up=True) == up


def test_the_written_amount_is_never_over_the_exact_one() -> None:
    answer = ask("salt_indefinite", volume=exactly(1236.7), dose="1 g/L", step=0.1)
    assert answer.written[0].startswith("sodium chloride: 1.23 kg of pure")
    assert "rounded down, 0.54 % under" in answer.written[1]


def test_feed_and_injection_have_their_cross_check_and_hard_stop() -> None:
    """Worked example D13: 10 mg/kg, 1.5 kg, 50 mg/mL, 0.3 mL; cautions, section 6: the 3-number cross-check."""
    injected = ask(
        "oxytetracycline_inject", biomass_g=1500.0, strength=parse_strength("50 mg/mL"),
        prescription=Prescription("10 mg/kg", "the veterinarian"), step=0.01,
    )  # fmt: skip
    assert injected.written[0] == "oxytetracycline: 0.3 mL of 50 mg/mL"
    assert "1.5 kg of fish in all x 10 mg to the kg of fish = 15 mg of oxytetracycline" in injected.written[2]
    assert "Hard stop: oxytetracycline 50 mg to the kg of fish" in injected.written
    fed = ask("metronidazole_feed", prescription=Prescription("50 mg/kg/day", "the veterinarian"), share_eating=0.5)
    # 2 kg, half of it eating, 50 mg/kg/day, 5 days: 250 mg
    assert any("2 kg of fish, 50 % of them eating, x 50 mg" in line and "= 250 mg" in line for line in fed.written)


def test_an_antibiotic_bath_is_for_a_named_disease_that_it_reaches() -> None:
    """Table of refusals: not for septicaemia or another internal disease, mycobacteriosis or a virus."""

    def bath(against: str | None) -> set[str]:
        by = Prescription("10 mg/L", "the veterinarian", against=against)
        return {stop.id for stop in ask("oxytetracycline_bath", prescription=by).stops}

    assert bath(None) == {"against"}
    assert bath("columnaris") == set()
    for internal in ("motile_aeromonad", "mycobacteriosis", "khv"):
        assert bath(internal) == {"antibiotic_bath"}
    assert ask("oxytetracycline_bath", prescription=None).amount is None


def test_refusals_of_malachite_salt_and_metronidazole() -> None:
    """Table of refusals: no pregnant handler (malachite green); no anti-caking ferrocyanide (salt); metronidazole in
    feed at most 5 days, at 100 mg/kg at most 3."""
    assert "handler" in why_not("malachite_green", confirmed=frozenset(CHECKS) - {"handler"})
    assert any("ferrocyanide" in line for line in ask("salt_indefinite").written)

    def fed(dose: str, days: float) -> set[str]:
        by = Prescription(dose, "the veterinarian")
        return {stop.id for stop in ask("metronidazole_feed", prescription=by, days=days).stops}

    assert fed("50 mg/kg/day", 5) == set()
    assert fed("50 mg/kg/day", 6) == {"too_long"}
    assert fed("100 mg/kg/day", 3) == set()
    assert fed("100 mg/kg/day", 4) == {"too_long"}


# --- the command ------------------------------------------------------------------------------------------------------

FORMALIN = (
    "dose", "formalin_short", "temperature=25C", "oxygen=8mg/L", "--host", "koi", "--volume", "200 L", "--fresh",
    "--strength", "37 % w/w", "--lawful-here", "--checked", "aerated", "--checked", "stock_clear", "--without", "rest",
)  # fmt: skip


def test_fish_that_may_be_eaten() -> None:
    assert "20 mL of 37 % w/w" in CliRunner().invoke(cli, FORMALIN).output
    eaten = CliRunner().invoke(cli, (*FORMALIN, "--for-food")).output
    assert "never for fish that people or animals may eat" in eaten
    assert "20 mL" not in eaten


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--dose", "100 ppm"), "ppm"),
        (("--dose", "100 mg/L"), "not clear"),
        (("--already", "3"), "has no unit"),
        (("--after", "kmno4_short:nan:50%"), "no time since"),
        (("--after", "kmno4_short:-30:50%"), "no time since"),
        (("--after", "kmno4_short:30:500%"), "no share of the water"),
        (("--checked", "everything"), "no 'everything'"),
        (("--volume", "100 gal"), "US or UK"),
        (("--override", "lawful"), "all three"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(more: tuple[str, ...], words: str) -> None:
    result = CliRunner().invoke(cli, (*FORMALIN, *more))
    assert result.exit_code == 2
    assert words in result.output
    assert "mL of" not in result.output


def test_sea_water_copper_by_hand() -> None:
    """0.15 mg/L Cu in 1,000 L is 150 mg; a stock with 4 mg/mL of the salt holds 1.018 mg/mL: 147.3 mL."""
    answer = ask("copper_ion_marine", water=SALT_WATER, strength=parse_strength("4 mg/mL CuSO4.5H2O"), step=0.1)
    assert answer.amount is not None
    assert answer.amount.value == pytest.approx(147.3, abs=0.15)
    assert re.fullmatch(r"copper: 147 mL of 4 mg/mL CuSO4.5H2O, in 3 parts of 49(\.\d)? mL", answer.written[0])


# --- what ends a bath -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("treatment", "group", "second"),
    [
        ("ms222_euthanasia", "goldfish", True),
        ("ms222_euthanasia", "koi", True),
        ("ms222_euthanasia", "tetra", False),
        ("eugenol_euthanasia", "tetra", True),
    ],
)
def test_a_bath_that_kills_does_not_end_at_distress(treatment: str, group: str, second: bool) -> None:
    """AVMA 2020: 30 minutes beyond the last gill movement; one-step tricaine failed for goldfish; eugenol is always
    followed by a second step (AVMA 2013)."""
    written = ask(treatment, life=Life((group,))).written
    assert any("30 minutes after the last gill movement" in line for line in written)
    assert any("second step" in line for line in written) == second
    assert not any("clean matched water" in line or "distress" in line for line in written)


def test_tricaine_comes_with_its_buffer() -> None:
    """Worked example C27: 2 g with 4 g of bicarbonate, 2 to 1; the row says equal to double weight."""
    by = Prescription("100 mg/L", "the veterinarian")
    answer = ask("ms222_anaesthesia", volume=exactly(20), prescription=by)
    assert "Buffer: sodium bicarbonate 2 g to 4 g, to pH 7 to 7.5" in answer.written


def test_chloramine_t_in_soft_acid_water() -> None:
    """Row chloramine_t: not under pH 6.5 in soft water, though its table has a figure for pH 6."""
    assert "soft_acid_water" in why_not("chloramine_t", water=replace(GOOD, ph=6.2, hardness_mg_caco3_per_l=40))
    assert ask("chloramine_t", water=replace(GOOD, ph=6.2, hardness_mg_caco3_per_l=200)).state == "amount"


def test_the_unit_stands_behind_its_amount() -> None:
    """Cautions, section 6: 5 g, never g 5; one day, two days."""
    by = Prescription("4 g/kg feed", "the veterinarian")
    written = ask("levamisole_feed", prescription=by).written
    assert "40 mg to the kg of fish a day; 4 g to the kg of feed" in written
    assert any(line.endswith("a day for 1 day") for line in written)


# --- plans ------------------------------------------------------------------------------------------------------------

FIRST = date(2026, 10, 3)
TANK = TankFacts(KOI, GOOD, exactly(1000), lawful_here=True)
FORMALIN_25 = PlanAgent(dose="25 uL/L", strength="37 % w/w", checked=("aerated", "stock_clear"))


def plan_of(*ids: str, **agents: PlanAgent) -> Plan:
    days = planned_days(ids, REFERENCE, first=FIRST)
    steps = tuple(PlanStep(text=id, kind="treat", option=id, days=days[id]) for id in ids)
    return Plan(steps=steps, agents=agents)


def test_further_doses_of_a_plan_stay_under_the_hard_stop() -> None:
    """25 microlitres/L three times with half the water changed between: 43.75 when nothing is lost (Bills 1974), the
    stop is 25; at 12.5 it is 21.9 (formula of worked examples, section J)."""
    over = amounts_for(plan_of("formalin_indefinite", formalin_indefinite=FORMALIN_25), TANK, REFERENCE)
    answer = over["formalin_indefinite"]
    assert answer.amount is None
    assert not answer.written
    assert [stop.id for stop in answer.stops] == ["repeats"]
    assert "43.8 microlitres/L" in answer.stops[0].text
    lower = PlanAgent(strength="37 % w/w", checked=("aerated", "stock_clear"))
    under = amounts_for(plan_of("formalin_indefinite", formalin_indefinite=lower), TANK, REFERENCE)
    assert under["formalin_indefinite"].state == "amount"


@pytest.mark.parametrize(
    ("first", "second", "hours"),
    [
        ("trichlorfon_caution", "levamisole_bath", 336),
        ("kmno4_indefinite", "kmno4_short", 168),
        ("formalin_indefinite", "kmno4_indefinite", 24),
    ],
)
def test_agents_of_a_plan_are_as_far_apart_as_their_row_says(first: str, second: str, hours: float) -> None:
    """conflicts.csv: two weeks after an organophosphate (memory), a week after permanganate (UF/IFAS FA37)."""
    days = planned_days([first, second], REFERENCE, first=FIRST)
    contact = (REFERENCE.doses[first].minutes_high or 0) / 60
    assert (days[second][0] - days[first][-1]).days * 24 >= hours + contact


def test_half_the_water_goes_before_an_agent_that_must_not_meet_the_last() -> None:
    """Table of refusals: two agents less than 24 h and a 50 % change apart; formalin and permanganate above all."""
    sheet = sheet_of(plan_of("formalin_indefinite", "kmno4_indefinite"), {}, REFERENCE, today=FIRST)
    permanganate = next(step.when for step in sheet.steps if step.title.startswith("potassium"))
    changed = [step.when for step in sheet.steps if step.title == "Change half the water"]
    assert any(when.date() == permanganate.date() and when < permanganate for when in changed)  # type: ignore[attr-defined,operator]
