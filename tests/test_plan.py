"""The plan across a mixture, what is chosen, and its papers; calendars are parsed back by the icalendar library."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date, datetime
from importlib import resources
from itertools import pairwise, product
from pathlib import Path

import icalendar
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from wetmount.casefile import read_case
from wetmount.cautions import triggers_of
from wetmount.cli import cli
from wetmount.dose import Order, dose
from wetmount.dose_units import parse_strength
from wetmount.errors import InputError
from wetmount.evidence import Observation, gather_evidence
from wetmount.hard_stops import CHECKS, Life, Prescription, WaterState
from wetmount.plan import Plan, TankFacts, choose, plan_for
from wetmount.plan.calendar import CalendarEntry, to_ical
from wetmount.plan.options import agents_for, expected_cover, husbandry_for, none_known
from wetmount.plan.sheets import daily_log, keeper_sheet, laboratory_parcel, prevention, sheet_lines
from wetmount.reference import load_reference
from wetmount.volume import Volume
from wetmount.weighup import weigh_up
from wetmount.weighup.results import Explanation, OpenedTheWay, WeighUp

REFERENCE = load_reference()
CASE = Path(str(resources.files("wetmount") / "examples" / "harbour_row_rack_a.toml"))
GOOD = WaterState(25, 7.4, 120, 150, 7, False, 0.1, 0.002, 1.2, 5.0, 0.0)
TANK = TankFacts(Life(("rainbowfish",)), GOOD, Volume(660, 720, 780), lawful_here=True)
NOW = datetime(2026, 10, 3, 14, 30)


@pytest.fixture(scope="module")
def weighed() -> WeighUp:
    return weigh_up(gather_evidence(read_case(CASE, REFERENCE), REFERENCE), REFERENCE, firmness=False)


@pytest.fixture(scope="module")
def plan(weighed: WeighUp) -> Plan:
    return plan_for(weighed, TANK, REFERENCE)


def of(
    weighed: WeighUp, *conditions: str, ways: tuple[tuple[str, str], ...] = (), seen: tuple[str, ...] = ()
) -> WeighUp:
    """A weigh-up that says that these conditions, and no other, are responsible."""
    ranks = dict.fromkeys(conditions, 1.0)
    results = [
        replace(one, probability=ranks.get(one.id, 0.0), responsible=ranks.get(one.id, 0.0))
        for one in weighed.conditions
    ]
    results.sort(key=lambda one: -one.responsible)
    observations = tuple(Observation(finding, 1, "sure", (1.0,), ()) for finding in seen)
    return replace(
        weighed,
        conditions=tuple(results),
        explanations=(Explanation(conditions, 1.0),),
        opened_the_way=tuple(OpenedTheWay(child, parent, 0.9, 2.0) for child, parent in ways),
        evidence=replace(weighed.evidence, observations=observations),
    )


# --- options ----------------------------------------------------------------------------------------------------------


def test_every_kind_of_option_is_there_and_husbandry_comes_first(plan: Plan) -> None:
    kinds = [option.kind for option in plan.options]
    assert {"husbandry", "treat", "examine", "watch", "refer", "relieve"} <= set(kinds)
    first_agent = kinds.index("treat")
    assert "husbandry" in kinds[:first_agent]
    assert all(kind in ("husbandry", "refer") for kind in kinds[:first_agent])


def test_nitrite_before_costia(plan: Plan) -> None:
    """In the demonstration case the water is mended before the parasites are treated."""
    agents = [option.id for option in plan.options if option.kind == "treat"]
    assert agents[0] == "salt_nitrite"
    assert agents[1] == "formalin_short"


def test_ready_agents_come_by_what_they_cover(plan: Plan) -> None:
    ready = [option for option in plan.options if option.kind == "treat" and option.ready and not option.not_first]
    covers = [option.expected or 0.0 for option in ready if option.id != "salt_nitrite"]
    assert covers == sorted(covers, reverse=True)


def test_what_an_agent_covers_by_hand(weighed: WeighUp) -> None:
    """Costia and nitrite together, 60 and 40 %: 0.6 x 0.95 alone plus 0.4 x the half of the pair."""
    mixture = replace(
        of(weighed, "costia", "nitrite_poisoning"),
        explanations=(Explanation(("costia",), 0.6), Explanation(("costia", "nitrite_poisoning"), 0.4)),
    )
    effect = next(row.effect for row in agents_for("costia", REFERENCE) if row.treatment == "formalin_short")
    assert effect == 0.95
    option = plan_for(mixture, TANK, REFERENCE).option("formalin_short")
    assert option.expected == pytest.approx(0.6 * 0.95 + 0.4 * 0.95 / 2)
    assert expected_cover({}, mixture) == 0
    assert {cover.row for cover in option.covers} == {"treats formalin_short, costia"}


def test_a_refused_agent_comes_last_with_its_reason(plan: Plan) -> None:
    cool = plan.option("formalin_short_cool")
    assert not cool.ready
    assert "temperature" in cool.stops[0].id
    assert plan.options.index(cool) > plan.options.index(plan.option("watch"))


def test_stages_spared_and_what_is_left_are_said(plan: Plan) -> None:
    assert "eggs" in plan.option("formalin_short").spares
    assert any("does nothing against Nitrite" in risk for risk in plan.option("formalin_short").risks)


@pytest.mark.parametrize("parent", sorted({row.parent for row in REFERENCE.predispositions}))
def test_every_predisposing_condition_has_a_step_that_changes_it(parent: str, weighed: WeighUp) -> None:
    child = next(row.condition for row in REFERENCE.predispositions if row.parent == parent)
    made = plan_for(of(weighed, child, ways=((child, parent),)), TANK, REFERENCE)
    assert parent in made.opened
    steps = [o for o in made.options if o.kind == "husbandry" and any(c.condition == parent for c in o.covers)]
    shared = husbandry_for(parent, REFERENCE)
    ids = {f"husbandry_{step.applies_to}_{step.order}" for step in shared}
    assert steps or ids & {option.id for option in made.options}


def test_an_agent_that_leaves_the_way_open_is_marked(weighed: WeighUp) -> None:
    made = plan_for(of(weighed, "costia", ways=(("costia", "temp_shock"),)), TANK, REFERENCE)
    assert made.option("formalin_short").leaves_open == ("temp_shock",)
    alone = choose(made, ["formalin_short"], REFERENCE, by="the bench", why="costia seen", at=NOW)
    assert alone.left_open == ("temp_shock",)
    both = choose(
        made, ["husbandry_temp_shock_1", "formalin_short"], REFERENCE, by="the bench", why="costia seen", at=NOW
    )
    assert both.left_open == ()


@pytest.mark.parametrize(
    ("life", "oxygen", "others", "stop"),
    [
        (Life(("discus",), species=("Symphysodon aequifasciatus",)), 7.0, (), None),
        (Life(("discus",), species=("Symphysodon aequifasciatus",)), 5.0, (), "oxygen"),
        (Life(("discus",), species=("Symphysodon aequifasciatus",)), 7.0, ("columnaris",), "columnaris"),
        (Life(("discus",)), 7.0, (), "upper_temperature"),
        (Life(("koi",), species=("Cyprinus rubrofuscus",)), 7.0, (), "sensitive_koi"),
    ],
)
def test_heat_is_an_option_only_where_every_fish_stands_it(
    weighed: WeighUp, life: Life, oxygen: float, others: tuple[str, ...], stop: str | None
) -> None:
    tank = replace(TANK, life=life, water=replace(GOOD, oxygen_mg_per_l=oxygen))
    heat = plan_for(of(weighed, "ich", *others), tank, REFERENCE).option("heat_ich")
    assert heat.ready == (stop is None)
    assert stop is None or stop in {one.id for one in heat.stops}


ANTIMICROBIAL = {id for id, row in REFERENCE.doses.items() if "antibacterial" in row.families}


@pytest.mark.parametrize(
    "condition", sorted({r.condition for r in REFERENCE.treats if r.treatment in ANTIMICROBIAL and r.effect})
)
def test_no_antimicrobial_first_for_an_unproven_infection(condition: str, weighed: WeighUp) -> None:
    prescribed = {id: Prescription("1 mg/L", "the veterinarian") for id in ANTIMICROBIAL}
    tank = replace(TANK, prescriptions=prescribed)
    unproven = plan_for(of(weighed, condition), tank, REFERENCE)
    for option in unproven.options:
        if option.id in ANTIMICROBIAL:
            assert option.not_first
            assert unproven.options.index(option) > unproven.options.index(unproven.option("refer"))
    proof = [
        link.finding
        for link in REFERENCE.links
        if link.condition == condition and REFERENCE.findings[link.finding].kind == "laboratory"
    ]
    if proof:
        proven = plan_for(of(weighed, condition, seen=(proof[0],)), tank, REFERENCE)
        assert not any(option.not_first for option in proven.options)


def test_none_known_is_a_statement(weighed: WeighUp) -> None:
    for condition in REFERENCE.conditions:
        words = none_known(condition, REFERENCE)
        assert (words is None) == bool(agents_for(condition, REFERENCE))
    made = plan_for(of(weighed, "khv"), TANK, REFERENCE)
    assert any("none known" in words for words in made.statements)


@pytest.mark.parametrize("condition", sorted(id for id, row in REFERENCE.conditions.items() if row.notifiable != "no"))
def test_a_notifiable_condition_refers_first(condition: str, weighed: WeighUp) -> None:
    made = plan_for(of(weighed, condition), TANK, REFERENCE)
    assert made.options[0].id == "refer_authority"


@pytest.mark.parametrize("condition", sorted(REFERENCE.conditions))
def test_every_condition_in_every_water_gives_a_plan(condition: str, weighed: WeighUp) -> None:
    """Something to do is always there, nothing that is refused stands before what is not, and every agent's cautions
    are on the plan."""
    waters = (WaterState(), GOOD, WaterState(30, 6.0, 10, 10, 4, False), WaterState(25, 8.2, 130, 6000, 7, True))
    for group, water in product(("fish", "goldfish", "tetra", "marine"), waters):
        made = plan_for(of(weighed, condition), replace(TANK, life=Life((group,)), water=water), REFERENCE)
        assert {"watch", "refer", "relieve"} <= {option.id for option in made.options}
        assert any(option.ready for option in made.options)
        agents = {option.id for option in made.options if option.kind == "treat"}
        shown = {caution.id for caution in made.cautions}
        for caution in REFERENCE.cautions.values():
            triggers = set(triggers_of(caution))
            if caution.trigger_kind == "agent" and (triggers & agents or ("any" in triggers and agents)):
                assert caution.id in shown


BEHIND_A_STOP = {"doses", "dose_limits", "dose_rules", "conflicts", "hosts", "treats", "cautions"}
WATERS = {
    "soft and acid": WaterState(25, 6.0, 10, 15, 7, False, 0.0, 0.0, 0.0, 5.0, 0.0),
    "hard": WaterState(25, 8.0, 220, 300, 7, False, 0.0, 0.0, 0.0, 30.0, 0.0),
    "brackish, not said": WaterState(25, 8.0, 130, 1500, 7, None, 0.0, 0.0, 0.0, None, 0.0),
    "sea": WaterState(25, 8.2, 130, 6000, 7, True, 0.0, 0.0, 0.0, None, 0.0),
    "cold": WaterState(8, 7.4, 120, 150, 10, False, 0.0, 0.0, 0.0, 5.0, 0.0),
}


@pytest.mark.parametrize("water", WATERS)
def test_every_group_of_fish_has_a_plan_and_every_agent_a_word(water: str, weighed: WeighUp) -> None:
    """Each agent that treats a cause is offered with what it risks, or refused with the table row behind each stop; in
    no group is one offered that a row of dose_limits.csv for that group refuses."""
    for condition in ("ich", "gill_flukes", "skin_flukes", "camallanus", "motile_aeromonad", "velvet_marine"):
        mixture = of(weighed, condition)
        for group in REFERENCE.host_groups:
            made = plan_for(mixture, replace(TANK, life=Life((group,)), water=WATERS[water]), REFERENCE)
            assert {"watch", "refer", "relieve"} <= {option.id for option in made.options}, (condition, group)
            agents = [option for option in made.options if option.kind == "treat"]
            assert {option.id for option in agents} >= {row.treatment for row in agents_for(condition, REFERENCE)}
            for option in agents:
                for stop in option.stops:
                    assert stop.text
                    assert stop.row.split()[0].rstrip(",") in BEHIND_A_STOP, stop
                refused = [
                    row
                    for row in REFERENCE.dose_limits
                    if row.treatment == option.id and row.rule == "refuse" and row.host_group == group
                    and not row.thing and row.above_c is None and row.above_dose is None
                ]  # fmt: skip
                assert not (refused and option.ready), (option.id, group)


# --- choosing ---------------------------------------------------------------------------------------------------------


def test_a_choice_is_recorded(plan: Plan) -> None:
    chosen = choose(
        plan,
        ["husbandry_nitrite_poisoning_1", "formalin_short", "salt_dip"],
        REFERENCE,
        by=" the bench ",
        why="nitrite first",
        at=NOW,
        edits={"formalin_short": "In the green tub."},
    )
    assert (chosen.by, chosen.why, chosen.at) == ("the bench", "nitrite first", "2026-10-03T14:30")
    assert chosen.options[0].id == "husbandry_nitrite_poisoning_1"
    assert chosen.texts["formalin_short"] == "In the green tub."
    assert chosen.reference_version == REFERENCE.version


@pytest.mark.parametrize(
    ("ids", "by", "why"),
    [
        ([], "x", "y"),
        (["watch"], "", "y"),
        (["watch"], "x", " "),
        (["moonlight"], "x", "y"),
        (["formalin_short_cool"], "x", "y"),
    ],
)
def test_bad_choices(plan: Plan, ids: list[str], by: str, why: str) -> None:
    with pytest.raises(InputError):
        choose(plan, ids, REFERENCE, by=by, why=why, at=NOW)


# --- papers -----------------------------------------------------------------------------------------------------------


def sheet_of(plan: Plan, *ids: str) -> object:
    chosen = choose(plan, ids, REFERENCE, by="the bench", why="as talked over", at=NOW)
    formalin = Order(
        "formalin_indefinite",
        TANK.life,
        GOOD,
        TANK.volume,
        strength=parse_strength("37 % w/w"),
        lawful_here=True,
        confirmed=frozenset(CHECKS),
    )
    answers = {"formalin_indefinite": dose(formalin, REFERENCE)}
    return keeper_sheet(chosen, answers, REFERENCE, first=NOW.date(), today=NOW.date(), cautions=("Gloves.",))


def test_the_keepers_page(plan: Plan) -> None:
    sheet = sheet_of(plan, "husbandry_nitrite_poisoning_1", "formalin_indefinite", "salt_dip", "watch")
    parts = dict(sheet_lines(sheet))  # type: ignore[arg-type]
    assert list(parts) == ["Now", "Today", "Each day", "Stop at once if", "Dates", "Take care"]
    text = "\n".join(line for lines in parts.values() for line in lines)
    assert "8.2 mL" in text
    assert "salt" not in parts["Now"][0] or "chloride" in parts["Now"][0]
    assert "ppm" not in text
    assert not re.search(r"(?<![\d.])\.\d|\d\.\d*0(?!\d)", re.sub(r"\d\d:\d\d|\d{4}-\d\d-\d\d", "", text))
    days = [step.when for step in sheet.steps]  # type: ignore[attr-defined]
    assert days == sorted(days, key=lambda when: when.isoformat())


def test_two_agents_are_put_apart(plan: Plan) -> None:
    sheet = sheet_of(plan, "formalin_indefinite", "salt_dip")
    formalin = [s.when for s in sheet.steps if "formalin" in s.title]  # type: ignore[attr-defined]
    salt = [s.when for s in sheet.steps if "sodium" in s.title]  # type: ignore[attr-defined]
    assert len(formalin) == 3
    assert [(b - a).days for a, b in pairwise(formalin)] == [3, 3]
    assert min(salt) - max(formalin) >= (datetime(2026, 1, 2) - datetime(2026, 1, 1))
    changes = [s.when.date() for s in sheet.steps if s.title == "Change half the water"]  # type: ignore[attr-defined]
    assert changes == [when.date() for when in formalin[1:]]


def test_an_amount_that_is_not_worked_out_is_not_printed(plan: Plan) -> None:
    sheet = sheet_of(plan, "salt_dip")
    assert "no amount" in " ".join(sheet.today)  # type: ignore[attr-defined]


def test_a_page_in_the_past(plan: Plan) -> None:
    chosen = choose(plan, ["watch"], REFERENCE, by="x", why="y", at=NOW)
    with pytest.raises(InputError, match="in the past"):
        keeper_sheet(chosen, {}, REFERENCE, first=date(2026, 10, 2), today=date(2026, 10, 3))


def test_the_daily_log(plan: Plan) -> None:
    log = daily_log(sheet_of(plan, "formalin_indefinite"), NOW.date(), 14)  # type: ignore[arg-type]
    assert len(log.rows) == 14
    assert log.rows[0][0] == "2026-10-03"
    assert "dose 1 of 3" in log.rows[0][1]
    assert log.rows[1][1] == ""
    assert "dose 2 of 3" in log.rows[3][1]
    with pytest.raises(InputError):
        daily_log(sheet_of(plan, "watch"), NOW.date(), 0)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "examination", sorted(id for id, row in REFERENCE.examinations.items() if row.subject == "laboratory")
)
def test_the_laboratory_parcel(examination: str) -> None:
    (line,) = laboratory_parcel([examination], REFERENCE, sick_fish=5)
    text = "\n".join(line.lines)
    for word in ("Fish: ", "Tissue: ", "In: ", "Cold: ", "within", "Label: "):
        assert word in text
    assert ("Fixative" in text) == bool(line.sample.fixative)


def test_parcel_bad_input() -> None:
    with pytest.raises(InputError):
        laboratory_parcel(["skin_scrape"], REFERENCE, sick_fish=2)
    with pytest.raises(InputError):
        laboratory_parcel(["lab_pcr"], REFERENCE, sick_fish=0)


def test_prevention_never_offers_what_fails() -> None:
    """Mainous and Smith 2005: ethanol 30 % and peroxymonosulphate 1 % do nothing against mycobacteria."""
    assert prevention(REFERENCE).quarantine_days == 30
    against = prevention(REFERENCE, mycobacteria=True).disinfection
    assert any(row.agent == "ethanol" for row in against)
    assert all("30" not in row.agent and row.agent != "peroxymonosulphate" for row in against)
    assert len(prevention(REFERENCE).quarantines) > 5


# --- calendar ---------------------------------------------------------------------------------------------------------


def test_the_calendar_is_read_back(plan: Plan) -> None:
    sheet = sheet_of(plan, "formalin_indefinite", "salt_dip")
    text = to_ical(sheet.steps, made=NOW, name="Rack A", today=NOW.date())  # type: ignore[attr-defined]
    calendar = icalendar.Calendar.from_ical(text)
    assert calendar["version"] == "2.0"
    assert str(calendar["x-wr-calname"]) == "Rack A"
    events = list(calendar.walk("VEVENT"))
    assert len(events) == len(sheet.steps)  # type: ignore[attr-defined]
    for event, step in zip(events, sheet.steps, strict=True):  # type: ignore[attr-defined]
        assert event.decoded("dtstart") == step.when
        assert str(event["summary"]) == step.title
        assert str(event.get("description", "")) == step.text
    assert len({str(event["uid"]) for event in events}) == len(events)


TEXT = st.text(st.characters(blacklist_categories=("Cs", "Cc"), whitelist_characters="\n"), min_size=1, max_size=200)


@settings(deadline=None)
@given(
    TEXT.filter(lambda t: t.strip() == t and "\x85" not in t),
    st.one_of(st.dates(date(2020, 1, 1), date(2090, 1, 1)), st.datetimes(datetime(2020, 1, 1), datetime(2090, 1, 1))),
    st.integers(1, 600),
)
def test_any_entry_is_read_back(title: str, when: date | datetime, minutes: int) -> None:
    if isinstance(when, datetime):
        when = when.replace(microsecond=0)
    text = to_ical([CalendarEntry(when, title, title, minutes, 15)], made=NOW, name="x")
    for line in text.split("\r\n"):
        assert len(line.encode()) <= 75
    (event,) = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert event.decoded("dtstart") == when
    assert str(event["summary"]) == title
    assert str(event["description"]) == title
    assert len(event.subcomponents) == 1


def test_bad_calendars() -> None:
    with pytest.raises(InputError):
        to_ical([], made=NOW, name="x")
    with pytest.raises(InputError, match="in the past"):
        to_ical([CalendarEntry(date(2026, 10, 2), "x")], made=NOW, name="x", today=date(2026, 10, 3))


# --- commands ---------------------------------------------------------------------------------------------------------


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(cli, list(arguments))
    return result.exit_code, result.output


def test_command_volume() -> None:
    code, out = run(
        "volume", "box", "length=100cm", "width=40cm", "depth=45cm", "bed=sand 5cm", "rock=8kg", "+", "litres=8L"
    )
    assert code == 0
    assert "173 L" in out
    code, out = run("volume", "--salt", "30g", "--before", "0.35 mS/cm", "--after", "0.94 mS/cm", "--json")
    assert code == 0
    assert json.loads(out)["best_l"] == pytest.approx(100.2, abs=0.1)
    code, out = run("volume", "box", "length=100cm", "width=40cm", "depth=45cm", "--label", "18 L")
    assert "tenfold" in out


def test_command_dose() -> None:
    code, out = run(
        "dose", "salt_indefinite", "temperature=25C", "kh=6dKH", "gh=8dGH", "--host", "livebearer", "--volume",
        "660 L to 780 L", "--strength", "pure", "--step", "1", "--fresh", "--without", "rest",
    )  # fmt: skip
    assert code == 0
    assert "660 g of pure, in 3 parts of 220 g" in out
    assert "Never for fish that people" in out
    code, out = run("dose", "ivermectin_caution")
    assert code == 3
    assert "no amount" in out


def test_command_plan(tmp_path: Path) -> None:
    readings = ["temperature=25C", "oxygen=7mg/L", "ph=7.4", "kh=7dKH", "gh=8dGH", "nitrite=1.2 mg/L NO2", "--fresh"]
    code, out = run("plan", str(CASE), *readings, "--lawful-here")
    assert code == 0
    assert "formalin_short:" in out
    ics = tmp_path / "plan.ics"
    code, out = run(
        "plan", str(CASE), *readings, "--without", "rest", "--choose", "husbandry_nitrite_poisoning_1", "--choose",
        "salt_dip",
        "--by", "the bench", "--why", "gentlest first", "--calendar", str(ics),
    )  # fmt: skip
    assert code == 0, out
    assert "Left open" not in out, "both leading causes are covered"
    assert len(icalendar.Calendar.from_ical(ics.read_bytes()).walk("VEVENT")) >= 2
    case = tmp_path / "ragged.toml"
    case.write_text(
        'format = 1\n[host]\ngroup = "goldfish"\n[findings]\nfin_erosion = "marked"\n'
        'water_ammonia_high = "dangerous"\nlethargy = "mild"\n',
        encoding="utf-8",
    )
    code, out = run(
        "plan", str(case), *readings[:-2], "--choose", "watch", "--by", "the bench", "--why", "a first look"
    )
    assert code == 0, out
    assert "Left open: Ammonia poisoning" in out


@pytest.mark.parametrize(
    "arguments",
    [
        ("volume",),
        ("volume", "cube", "side=3cm"),
        ("volume", "box", "length=60", "width=30cm", "depth=30cm"),
        ("volume", "box", "length=0cm", "width=30cm", "depth=30cm"),
        ("volume", "--salt", "3g"),
        ("volume", "--label", "55 gallons"),
        ("dose", "moonlight"),
        ("dose", "salt_dip", "--host", "unicorn"),
        ("dose", "salt_dip", "--volume", "100"),
        ("dose", "salt_dip", "--volume", "0 L"),
        ("dose", "salt_dip", "--volume", "10 L", "--dose", "20 ppt"),
        ("dose", "salt_dip", "--volume", "10 L", "--strength", "5"),
        ("dose", "salt_dip", "mood=5"),
        ("dose", "salt_dip", "--after", "formalin_short"),
        ("dose", "salt_dip", "--with", "ghosts"),
        ("plan", "nowhere.toml"),
        ("plan", str(CASE), "--choose", "watch"),
        ("plan", str(CASE), "--choose", "watch", "--by", "x", "--why", "y", "--first", "2020-01-01"),
        ("plan", str(CASE), "--choose", "watch", "--by", "x", "--why", "y", "--first", "yesterday"),
        ("plan", str(CASE), "--calendar", "x.ics"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(arguments: tuple[str, ...]) -> None:
    code, out = run(*arguments)
    assert code == 2
    assert out.startswith("wetmount: ")
    assert len(out.strip().splitlines()) == 1


def test_a_calendar_is_not_half_written(tmp_path: Path) -> None:
    ics = tmp_path / "plan.ics"
    code, _ = run(
        "plan",
        str(CASE),
        "--choose",
        "watch",
        "--by",
        "x",
        "--why",
        "y",
        "--first",
        "2020-01-01",
        "--calendar",
        str(ics),
    )
    assert code == 2
    assert list(tmp_path.iterdir()) == []


def test_results_are_plain_data(plan: Plan) -> None:
    import msgspec

    assert json.loads(msgspec.json.encode(plan))["leading"][0] == plan.leading[0]
    assert isinstance(plan.options[0].covers[0].condition, str)
