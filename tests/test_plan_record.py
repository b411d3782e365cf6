"""The plan of a case file: its water and fish, its amounts, what was chosen; read, checked, written, printed."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner
from msgspec import structs

from wetmount.case import LIVING, Case, Plan, PlanAgent, PlanStep, looks_of
from wetmount.casefile import case_to_dict, check_case_text, json_schema, read_case, read_case_text
from wetmount.cli import cli
from wetmount.errors import InputError
from wetmount.evidence import gather_evidence
from wetmount.hard_stops import THINGS, Prescription, Present
from wetmount.plan import choose, plan_for
from wetmount.plan.amounts import amounts_for, open_points
from wetmount.plan.courses import courses_of
from wetmount.plan.record import agent_name, record_of
from wetmount.plan.sheets import contact_words, sheet_lines, sheet_of
from wetmount.plan.tank import KnownTank, tank_of, things_found
from wetmount.reference import load_reference
from wetmount.reference.rows import Disinfection
from wetmount.volume import volume_from_label
from wetmount.weighup import weigh_up
from wetmount.weighup.results import Explanation, WeighUp

REFERENCE = load_reference()
FILE = resources.files("wetmount") / "examples" / "harbour_row_rack_a.toml"
PLAN = """
[plan]
volume = "660 L to 780 L"
living.plants = "no"
living.invertebrates = "no"
living.filter_bacteria = "yes"
living.eggs = "no"
living.fry = "no"
living.gravid = "no"
living.gill_damage = "no"
by = "the bench"
why = "nitrite first"
date = 2026-10-03
first = 2026-10-03
[plan.agents.salt_nitrite]
strength = "pure"
step = 1
[plan.agents.salt_dip]
strength = "pure"
step = 1
volume = "10 L"
[[plan.steps]]
kind = "husbandry"
option = "husbandry_nitrite_poisoning_1"
text = "Change a quarter of the water"
[[plan.steps]]
kind = "treat"
option = "salt_nitrite"
text = "Salt against nitrite"
days = [2026-10-03]
[[plan.steps]]
kind = "treat"
option = "salt_dip"
text = "Salt dip"
days = [2026-10-05, 2026-10-07]
[[plan.steps]]
kind = "look"
text = "Look again: skin and gill"
days = [2026-10-14]
"""


LIVING_SAID = PLAN.split("living", 1)[1].rsplit("by =", 1)[0]


def case_with(plan: str = PLAN) -> Case:
    return read_case_text(FILE.read_text(encoding="utf-8") + plan, "toml", "case.toml", REFERENCE)


def known(case: Case, **more: object) -> KnownTank:
    look = looks_of(case)[-1]
    return tank_of(case, look, gather_evidence(case, REFERENCE), REFERENCE, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def weighed() -> WeighUp:
    return weigh_up(gather_evidence(case_with(""), REFERENCE), REFERENCE, firmness=False)


# --- the water and the fish -------------------------------------------------------------------------------------------


def test_things_are_defined_once() -> None:
    assert THINGS is LIVING
    schema = json_schema(REFERENCE)["$defs"]["Plan"]["properties"]
    assert list(schema["living"]["properties"]) == list(LIVING)
    assert set(schema["agents"]["properties"]) == set(REFERENCE.doses)


def test_the_water_comes_from_the_case() -> None:
    tank = known(case_with(""))
    water = tank.facts.water
    assert (water.temperature_c, water.ph, water.oxygen_mg_per_l, water.marine) == (25.5, 7.4, 6.9, False)
    # 5 dKH and 9 dGH, 17.848 mg/L CaCO3 to the degree (DIN 38409-6)
    assert water.alkalinity_mg_caco3_per_l == pytest.approx(5 * 17.848, rel=1e-3)
    assert water.hardness_mg_caco3_per_l == pytest.approx(9 * 17.848, rel=1e-3)
    assert set(tank.facts.life.species) == {"Melanotaenia boesemani", "Puntigrus tetrazona"}, "both on one sump"
    assert "not_eating" in tank.facts.life.things, "off food was seen"
    assert tank.facts.life.unsaid == set(LIVING) - {"not_eating", "ulcers"}, "off food was seen, no sores were"
    assert tank.facts.volume is None
    text = " ".join(tank.missing)
    assert "volume" in text
    assert "restricted agents" in text


def test_the_plan_goes_before_what_is_known_otherwise() -> None:
    tank = known(case_with(), volume=volume_from_label(1000), readings={"temperature": "22 °C"})
    assert tank.facts.volume is not None
    assert (tank.facts.volume.low_l, tank.facts.volume.high_l) == (660, 780)
    assert tank.facts.water.temperature_c == 22
    assert tank.facts.life.unsaid == frozenset()
    assert "filter_bacteria" in tank.facts.life.things
    unknown = known(case_with('[plan]\nothers = ["unicorn"]\n'))
    assert any("counts as any fish" in fact.source for fact in unknown.said)
    assert "fish" in unknown.facts.life.host_groups


def test_the_last_reading_counts_and_that_of_the_own_tank() -> None:
    text = """format = 1
tank = "A4"
[host]
group = "freshwater"
[readings]
temperature = [{ value = "24 °C", tank = "A4" }, { value = "26 °C", tank = "A4" }, { value = "30 °C", tank = "A9" }]
"""
    case = read_case_text(text, "toml", "case.toml", REFERENCE)
    assert known(case).facts.water.temperature_c == 26


def test_unsaid_is_not_said_to_be_there(weighed: WeighUp) -> None:
    facts = known(case_with("[plan]\nlawful_here = true\n")).facts
    option = plan_for(weighed, facts, REFERENCE).option("formalin_indefinite")
    ids = [stop.id for stop in option.stops]
    assert {"unsaid_plants", "unsaid_invertebrates"} <= set(ids)
    said = known(case_with('[plan]\nlawful_here = true\nliving = { plants = "yes", invertebrates = "no" }\n')).facts
    ids = [stop.id for stop in plan_for(weighed, said, REFERENCE).option("formalin_indefinite").stops]
    assert "sensitive_plants" in ids
    assert "unsaid_invertebrates" not in ids
    # what is given in a container does not meet the plants of the tank; the gills go with the fish
    dip = plan_for(weighed, facts, REFERENCE).option("salt_dip")
    assert [stop.id for stop in dip.stops] == ["unsaid_gill_damage"]
    sound = known(case_with('[plan]\nliving = { gill_damage = "no" }\n')).facts
    assert plan_for(weighed, sound, REFERENCE).option("salt_dip").ready


def test_not_looked_at_is_not_looked_and_not_seen() -> None:
    """Damaged gills are refused formalin (dose_limits.csv, its sources): nobody looked, looked and sound, or seen are
    three answers. Gills judged by eye alone do not say no."""

    def gills(findings: str) -> str | None:
        text = f'format = 1\n[host]\ngroup = "koi"\n[findings]\nflashing = "frequent"\n{findings}'
        case = read_case_text(text, "toml", "case.toml", REFERENCE)
        said = things_found(gather_evidence(case, REFERENCE), REFERENCE).get("gill_damage")
        return None if said is None else said.words

    assert gills("") is None
    assert gills('mottled_gills = "absent"\nswollen_gills = "absent"\n') is None
    assert gills('gill_hyperplasia = "absent"\ngill_necrosis = "absent"\n') == "no"
    assert gills('gill_hyperplasia = "marked"\n') == "yes"


def test_what_was_given_before_is_held_against_the_plan(weighed: WeighUp) -> None:
    """Formalin and permanganate within 24 h are refused (cautions, refuse rules: takes up oxygen, violent reaction);
    praziquantel's running total stops at 10 mg/L, nothing counting as lost (worked examples, section J)."""

    def stops(given: str, agent: str) -> set[str]:
        text = "[plan]\nlawful_here = true\nfirst = 2026-10-03\n" + given + "living" + LIVING_SAID
        facts = known(case_with(text)).facts
        return {stop.id for stop in plan_for(weighed, facts, REFERENCE).option(agent).stops}

    assert "meets_kmno4_short" not in stops("", "formalin_indefinite")
    before = 'given = [{ option = "kmno4_short", date = 2026-10-03 }]\n'
    assert "meets_kmno4_short" in stops(before, "formalin_indefinite")
    long_ago = 'given = [{ option = "kmno4_short", date = 2026-07-03 }]\n'
    assert "meets_kmno4_short" not in stops(long_ago, "formalin_indefinite")
    salted = '{ option = "salt_indefinite", date = 2026-10-01, changed_percent = 50 }'
    tank = known(case_with(f"[plan]\nfirst = 2026-10-03\ngiven = [{salted}]\n"))
    assert tank.facts.present == (Present("salt_indefinite", 48 - 15, 0.5),)
    assert any("sodium chloride on 2026-10-01" in fact.words for fact in tank.said)
    unsaid = " ".join(known(case_with("[plan]\n")).missing)
    assert "whether anything was given" in unsaid
    nothing = known(case_with("[plan]\ngiven = []\n"))
    assert "whether anything was given" not in " ".join(nothing.missing)
    assert nothing.facts.present == ()


def test_a_prescribed_antibiotic_bath_says_what_it_is_for() -> None:
    """Table of refusals: not for septicaemia or another internal disease, mycobacteriosis or a virus."""

    def stops(against: str) -> set[str]:
        agent = f'[plan.agents.oxytetracycline_bath]\ndose = "20 mg/L"\nprescriber = "the veterinarian"\n{against}'
        case = case_with("[plan]\n" + agent)
        plan = looks_of(case)[-1].plan
        assert plan is not None
        answer = amounts_for(plan, known(case).facts, REFERENCE, ["oxytetracycline_bath"])["oxytetracycline_bath"]
        return {stop.id for stop in answer.stops} & {"against", "antibiotic_bath"}

    assert stops("") == {"against"}
    assert stops('against = "columnaris"\n') == set()
    assert stops('against = "mycobacteriosis"\n') == {"antibiotic_bath"}


def test_a_plan_of_an_earlier_look_counts_as_given() -> None:
    text = """format = 1
[host]
group = "koi"
[[looks]]
date = 2026-10-01
findings = { flashing = "frequent" }
[looks.plan]
by = "the bench"
why = "a trial"
[[looks.plan.steps]]
kind = "treat"
option = "formalin_indefinite"
text = "Formalin"
days = [2026-10-02]
[[looks]]
date = 2026-10-04
findings = { flashing = "frequent" }
"""
    case = read_case_text(text, "toml", "case.toml", REFERENCE)
    tank = known(case)
    assert [one.treatment for one in tank.facts.present] == ["formalin_indefinite"]
    assert any("plan of an earlier look" in fact.source for fact in tank.said)


# --- amounts ----------------------------------------------------------------------------------------------------------


def test_amounts_by_hand() -> None:
    """Ten times the nitrite as chloride (Durborow, Crosby and Brunson, SRAC 462, 1997): 1.6 mg/L NO2 asks for 16 mg/L
    chloride, as salt 16 / 0.6066 = 26.38 mg/L; in 780 L, the most there may be, 20.57 g, rounded up to 21 g. The dip is
    for its own 10 L, 20 g/L: 200 g."""
    case = case_with()
    plan = looks_of(case)[-1].plan
    assert plan is not None
    answers = amounts_for(plan, known(case).facts, REFERENCE)
    assert answers["salt_nitrite"].amount is not None
    assert answers["salt_nitrite"].amount.value == 21
    assert answers["salt_nitrite"].amount.exact == pytest.approx(20.57, abs=0.01)
    assert answers["salt_dip"].amount is not None
    assert answers["salt_dip"].amount.value == 200
    bare = structs.replace(plan, agents={})
    answers = amounts_for(bare, known(case).facts, REFERENCE)
    assert any("strength" in point for point in open_points(answers["salt_nitrite"], REFERENCE))
    assert any("container" in point for point in open_points(answers["salt_dip"], REFERENCE))


def test_a_prescribed_dose_needs_its_prescriber() -> None:
    agent = PlanAgent(dose="2 mg/L", strength="pure", step=0.1)
    facts = known(case_with()).facts
    alone = amounts_for(Plan(agents={"praziquantel_bath": agent}), facts, REFERENCE, ["praziquantel_bath"])
    assert alone["praziquantel_bath"].state == "refused"
    agent = structs.replace(agent, prescriber="the veterinarian")
    case = case_with()
    look = looks_of(case)[-1]
    assert look.plan is not None
    plan = structs.replace(look.plan, agents={"praziquantel_bath": agent})
    look = structs.replace(look, plan=plan)
    facts = tank_of(case, look, gather_evidence(case, REFERENCE), REFERENCE).facts
    answer = amounts_for(plan, facts, REFERENCE, ["praziquantel_bath"])["praziquantel_bath"]
    # for the smallest plausible volume: 2 mg/L in 660 L are 1.32 g, by 0.1 g 1.3 g
    assert answer.amount is not None
    assert answer.amount.value == pytest.approx(1.3)


@pytest.mark.parametrize(
    ("agent", "field"),
    [
        (PlanAgent(strength="strong"), "plan.agents.salt_dip.strength"),
        (PlanAgent(volume="a bucket"), "plan.agents.salt_dip.volume"),
    ],
)
def test_what_can_not_be_read_names_its_field(agent: PlanAgent, field: str) -> None:
    with pytest.raises(InputError) as caught:
        amounts_for(Plan(agents={"salt_dip": agent}), known(case_with("")).facts, REFERENCE, ["salt_dip"])
    assert caught.value.field == field


def test_the_course_by_hand() -> None:
    """Formalin, three doses of d into the tank, half the water changed before each further one, nothing lost: d, then
    d/2 + d = 1.5 d, then 0.75 d + d = 1.75 d. In more water everything is as much weaker."""
    case = case_with()
    look = looks_of(case)[-1]
    first = dt.date(2026, 10, 3)
    days = tuple(first + dt.timedelta(days=n) for n in (0, 3, 6))
    step = PlanStep(text="x", kind="treat", option="formalin_indefinite", days=days)
    agent = PlanAgent(strength="37 % w/w", step=0.2, checked=("aerated", "stock_clear"))
    assert look.plan is not None
    plan = structs.replace(look.plan, lawful_here=True, agents={"formalin_indefinite": agent}, steps=(step,))
    facts = tank_of(case, structs.replace(look, plan=plan), gather_evidence(case, REFERENCE), REFERENCE).facts
    answers = amounts_for(plan, facts, REFERENCE)
    (course,) = courses_of(plan, answers, REFERENCE)
    reached = answers["formalin_indefinite"].concentration
    assert reached is not None
    d = reached.at_low_volume
    levels = [course.report.none_lost.at(24 * day + 1e-6) for day in (0, 3, 6)]
    assert levels == pytest.approx([d, 1.5 * d, 1.75 * d])
    assert course.weaker is not None
    assert course.weaker.none_lost.highest == pytest.approx(1.75 * d * 660 / 780)
    assert course.days == 13
    assert course.report.safe
    assert course.report.hard_max == 25
    # what is given in a container makes no course in the tank
    assert look.plan.steps[2].option == "salt_dip"
    kept = courses_of(look.plan, amounts_for(look.plan, facts, REFERENCE), REFERENCE)
    assert [one.treatment for one in kept] == ["salt_nitrite"]


# --- the record -------------------------------------------------------------------------------------------------------


def test_a_choice_becomes_a_record(weighed: WeighUp) -> None:
    case = case_with()
    look = looks_of(case)[-1]
    plan = plan_for(weighed, known(case).facts, REFERENCE)
    at = dt.datetime(2026, 10, 3, 12)
    ids = ["husbandry_nitrite_poisoning_1", "salt_nitrite", "salt_dip", "examine_gill_scrape"]
    chosen = choose(plan, ids, REFERENCE, by="the bench", why="nitrite first", at=at, edits={ids[0]: "Change a fifth"})
    record = record_of(chosen, REFERENCE, first=at.date(), schedules={"salt_dip": (0, 3)}, plan=look.plan)
    assert [step.kind for step in record.steps] == ["husbandry", "treat", "treat", "examine", "look"]
    assert record.steps[0].text == "Change a fifth"
    assert record.steps[3].text.startswith("Gill scrape: ")
    assert record.volume == "660 L to 780 L"
    assert record.reference == REFERENCE.version
    dip = record.steps[2].days
    assert (dip[1] - dip[0]).days == 3
    assert dip[0] > record.steps[1].days[-1], "one agent after the other"
    assert (record.steps[-1].days[0] - dip[-1]).days == 7
    sheet = sheet_of(record, amounts_for(record, known(case).facts, REFERENCE), REFERENCE, today=at.date())
    parts = dict(sheet_lines(sheet))
    assert "21 g of pure" in parts["Today"][0]
    assert any("200 g of pure" in line for line in parts[f"{agent_name('salt_dip', REFERENCE)}, on {dip[0]}, {dip[1]}"])
    assert any("2 givings where the table has 1" in line for line in parts["Take care"])


def test_an_antimicrobial_comes_after_what_samples_or_refers(weighed: WeighUp) -> None:
    results = [replace(one, responsible=float(one.id == "motile_aeromonad")) for one in weighed.conditions]
    sick = replace(
        weighed,
        conditions=tuple(sorted(results, key=lambda one: -one.responsible)),
        explanations=(Explanation(("motile_aeromonad",), 1.0),),
    )
    facts = known(case_with()).facts
    facts = replace(
        facts,
        life=replace(facts.life, things=frozenset()),
        prescriptions={"florfenicol_feed": Prescription("10 mg/kg/day", "the veterinarian")},
    )
    plan = plan_for(sick, facts, REFERENCE)
    option = plan.option("florfenicol_feed")
    assert option.ready
    assert option.not_first is not None
    at = dt.datetime(2026, 10, 3, 12)
    with pytest.raises(InputError, match="samples or refers ahead"):
        choose(plan, ["watch", "florfenicol_feed"], REFERENCE, by="x", why="y", at=at)
    with pytest.raises(InputError, match="samples or refers ahead"):
        choose(plan, ["florfenicol_feed", "refer"], REFERENCE, by="x", why="y", at=at)
    chosen = choose(plan, ["refer", "florfenicol_feed"], REFERENCE, by="x", why="y", at=at)
    assert [one.id for one in chosen.options] == ["refer", "florfenicol_feed"]


def test_it_is_written_and_read_back() -> None:
    case = case_with()
    text = json.dumps(case_to_dict(case))
    assert read_case_text(text, "json", "case.json", REFERENCE) == case
    assert looks_of(case)[-1].plan == case.plan, "at the top it is short for the last look"
    assert check_case_text(text, "json", "case.json", REFERENCE) == ()


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        ('[plan]\n[[plan.steps]]\ntext = "x"', "plan.by: is missing"),
        ('[plan]\nby = "x"\n[[plan.steps]]\ntext = "x"', "plan.why: is missing"),
        ('[plan]\nvolume = "660"', "plan.volume: "),
        ('[plan]\nvolume = "1 L to much"', "plan.volume: "),
        ('[plan]\nwater = "brackish"', 'plan.water: is "brackish"; accepted is "fresh" or "sea"'),
        ('[plan]\nliving = { plnts = "yes" }', "did you mean plants"),
        ('[plan]\nliving = { plants = "some" }', "plan.living.plants: "),
        ("[plan.agents.salt_dpi]\nstep = 1", "did you mean salt_dip"),
        ("[plan.agents.salt_dip]\nstep = 0", "plan.agents.salt_dip.step: "),
        ('[plan.agents.salt_dip]\nprescriber = "x"', "plan.agents.salt_dip.dose: is missing"),
        ("[plan.agents.salt_dip]\ndays = [0, 4, 4]", "plan.agents.salt_dip.days: begin with 0"),
        ('[plan.agents.salt_dip]\nbiomass = "heavy"', "plan.agents.salt_dip.biomass: "),
        ('[plan]\nby = "x"\nwhy = "y"\n[[plan.steps]]\nkind = "treat"\ntext = "x"', "plan.steps[0].option: "),
        ('[plan]\nby = "x"\nwhy = "y"\n[[plan.steps]]\nkind = "dance"\ntext = "x"', "plan.steps[0].kind: "),
        ('[plan]\nby = "x"\nwhy = "y"\n[[plan.steps]]\ntext = " "', "plan.steps[0].text: is empty"),
        (
            '[plan]\nby = "x"\nwhy = "y"\nfirst = 2026-10-04\n[[plan.steps]]\ntext = "x"\ndays = [2026-10-03]',
            "plan.steps[0].days: holds a day before",
        ),
    ],
)
def test_what_is_wrong_in_a_plan(plan: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        case_with("\n" + plan)
    assert words in str(caught.value)
    assert str(caught.value).startswith("case.toml: ")


@pytest.mark.parametrize(
    ("minutes", "words"),
    [((30, 60), "30 to 60 minutes"), ((1440, 2880), "1 to 2 days"), ((1, None), "1 minute"), ((180, 180), "3 hours")],
)
def test_contact_times_as_they_are_counted(minutes: tuple[float, float | None], words: str) -> None:
    row = Disinfection("nets", "sun", None, "", *minutes, "yes", "memory", (), "")
    assert contact_words(row) == words


# --- the command and the report ---------------------------------------------------------------------------------------


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(cli, list(arguments))
    return result.exit_code, result.output


def test_the_command_takes_the_water_of_the_file_and_saves_the_plan(tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    case.write_text(FILE.read_text(encoding="utf-8"), encoding="utf-8")
    saved = tmp_path / "planned.json"
    code, out = run(
        "plan", str(case), "--volume", "660 L to 780 L", "--without", "rest", "--with", "filter_bacteria",
        "--choose", "salt_nitrite", "--choose", "salt_dip", "--strength",
        "salt_nitrite=pure", "--step", "salt_nitrite=1", "--strength", "salt_dip=pure", "--container", "salt_dip=10 L",
        "--by", "the bench", "--why", "nitrite first", "--save", str(saved),
    )  # fmt: skip
    assert code == 0, out
    assert "21 g of pure" in out, "nitrite is that of the file"
    assert "200 g of pure" in out
    plan = looks_of(read_case(saved, REFERENCE))[-1].plan
    assert plan is not None
    assert (plan.by, plan.volume, plan.living["plants"]) == ("the bench", "660 L to 780 L", "no")
    code, again = run("plan", str(saved), "--recorded")
    assert code == 0
    assert "21 g of pure" in again
    code, listed = run("plan", str(case))
    assert code == 0
    assert "Nitrite: 1.6 mg/L NO2 (reading, 09:45)" in listed
    assert "Not known: the volume of water" in listed
    assert "nobody has looked, or said, whether there are any" in listed
    code, out = run("report", str(saved), "-o", str(tmp_path / "report.txt"))
    assert code == 0, out
    assert "21 g of pure" in (tmp_path / "report.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "arguments",
    [
        ("--recorded",),
        ("--save", "x.json"),
        ("--recorded", "--choose", "watch"),
        ("--strength", "salt_dip"),
        ("--strength", "moonlight=pure"),
        ("--step", "salt_dip=small"),
        ("--step", "salt_dip=0"),
        ("--without", "ghosts"),
        ("--against", "oxytetracycline_bath=moonlight"),
        ("--given", "salt_indefinite"),
        ("--given", "salt_indefinite@yesterday"),
        ("--given", "salt_indefinite@2026-10-01:lots"),
        ("--given", "salt_indefinite@2026-10-01:150%"),
        ("--given", "moonlight@2026-10-01"),
        ("--given", "salt_indefinite@2999-10-01"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(arguments: tuple[str, ...]) -> None:
    with resources.as_file(FILE) as path:
        code, out = run("plan", str(path), *arguments)
    assert code == 2
    assert out.startswith("wetmount: ")
    assert len(out.strip().splitlines()) == 1
