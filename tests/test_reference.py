"""The reference: tables are consistent, every check can fail, overlays add and replace, figures are as stated."""

import csv
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wetmount.errors import InputError
from wetmount.reference import load_reference
from wetmount.reference.check import check_reference
from wetmount.reference.check_rules import RULES
from wetmount.reference.columns import load_columns
from wetmount.reference.loader import TABLES_DIR
from wetmount.reference.rows import TABLES
from wetmount.reference.show import show_row

REFERENCE = load_reference()


def packaged_rows(table: str) -> list[dict[str, str]]:
    with (TABLES_DIR / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def write_overlay(folder: Path, table: str, rows: list[dict[str, str]]) -> Path:
    folder.mkdir(exist_ok=True)
    with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return folder


def changed(table: str, find: dict[str, str], change: dict[str, str]) -> dict[str, str]:
    """The first packaged row with these cells, with some of them changed."""
    row = next(row for row in packaged_rows(table) if find.items() <= row.items())
    return row | change


def test_the_packaged_tables_are_consistent() -> None:
    assert check_reference() == []
    assert check_reference(REFERENCE) == []


def test_every_column_is_described_as_the_row_holds_it() -> None:
    held_as = {
        "str": {"text", "id", "ids", "texts"},
        "str | None": {"id", "text"},
        "float": {"number"},
        "float | None": {"number"},
        "int": {"whole"},
        "bool": {"flag"},
        "Level": {"level"},
        "Level | None": {"level"},
        "tuple[str, ...]": {"ids", "texts"},
        "tuple[float, ...]": {"numbers"},
    }
    columns = load_columns()
    for name, table in TABLES.items():
        for column, held in table.columns.items():
            assert columns[name][column].type in held_as[held], f"{name}.{column}"
        assert list(packaged_rows(name)[0]) == list(table.columns)


def test_a_row_is_immutable() -> None:
    with pytest.raises(AttributeError):
        REFERENCE.conditions["ich"].rate = 0.5  # type: ignore[misc]
    with pytest.raises(TypeError):
        REFERENCE.conditions["ich"] = REFERENCE.conditions["costia"]  # type: ignore[index]


# Each line: the rule (or "cells" for what columns.toml says), table, cells that find a row, cells to change,
# column and words of the problem that must come up.
BROKEN = [
    ("cells", "links", {"condition": "ich"}, {"condition": "itch"}, "condition", "not in conditions.csv"),
    ("cells", "links", {"condition": "ich"}, {"sources": "nobody_2000"}, "sources", "not in sources.csv"),
    ("cells", "links", {"condition": "ich"}, {"basis": "rumour"}, "basis", "not one of published"),
    ("cells", "links", {"condition": "ich"}, {"probability": "1"}, "probability", "not below 1"),
    ("cells", "links", {"condition": "ich"}, {"probability": "0"}, "probability", "not above 0"),
    ("cells", "host_risks", {"condition": "ich"}, {"odds": "-2"}, "odds", "not above 0"),
    ("cells", "conditions", {"id": "ich"}, {"name": ""}, "name", "is empty"),
    ("cells", "conditions", {"id": "ich"}, {"id": "White Spot"}, "id", "is no id"),
    ("cells", "conditions", {"id": "ich"}, {"temperature_low_c": "-40"}, "temperature_low_c", "below -2"),
    ("cells", "conditions", {"id": "ich"}, {"temperature_high_c": "80"}, "temperature_high_c", "above 45"),
    ("cells", "findings", {"id": "lethargy"}, {"examination": "x_ray"}, "examination", "not in examinations.csv"),
    (
        "cells",
        "hosts",
        {"scientific_name": "Betta splendens"},
        {"host_group": "bird"},
        "host_group",
        "not in host_groups.csv",
    ),
    (
        "cells",
        "examinations",
        {"id": "in_hand"},
        {"short_list": "lethargy;gloom"},
        "short_list",
        "'gloom' is not in findings",
    ),
    ("cells", "treats", {"treatment": "salt_dip"}, {"effect": "1.5"}, "effect", "above 1"),
    ("read", "links", {"condition": "ich"}, {"probability": "often"}, "probability", "a number is expected"),
    ("read", "links", {"condition": "ich"}, {"probability": "nan"}, "probability", "a number is expected"),
    ("read", "links", {"finding": "lethargy"}, {"level": "awful"}, "level", "absent, mild, marked"),
    ("read", "links", {"finding": "lethargy"}, {"finding": "gloom"}, "level", "a known finding is expected"),
    ("read", "conditions", {"id": "ich"}, {"zoonotic": "perhaps"}, "zoonotic", "yes or no is expected"),
    ("read", "examinations", {"id": "in_hand"}, {"order": "fifth"}, "order", "a whole number is expected"),
    (
        "read",
        "examinations",
        {"id": "in_hand"},
        {"detection": "a;b"},
        "detection",
        "a list of numbers separated by ; is expected",
    ),
    ("host_groups", "host_groups", {"id": "betta"}, {"parent": ""}, "parent", "fish alone has no parent"),
    ("host_groups", "host_groups", {"id": "labyrinth"}, {"parent": "betta"}, "parent", "in a circle"),
    ("scales", "findings", {"id": "lethargy"}, {"levels": "absent;mild;marked;marked"}, "levels", "all different"),
    ("scales", "findings", {"id": "lethargy"}, {"levels": "tiny;mild;marked"}, "levels", "looked and not seen"),
    ("scales", "findings", {"id": "lethargy"}, {"illness_from": "3"}, "illness_from", "above the top level 2"),
    ("scales", "findings", {"id": "crowded"}, {"illness_from": "1"}, "kind", "answered yes or no"),
    (
        "scales",
        "findings",
        {"id": "water_nitrate_high"},
        {"many_per_field": "5"},
        "many_per_field",
        "only for what is seen",
    ),
    ("links", "links", {"finding": "onset_slow"}, {"finding": "crowded"}, "finding", "counted twice"),
    ("links", "links", {"finding": "lethargy", "level": "mild"}, {"level": "absent"}, "level", "of its own"),
    (
        "links",
        "links",
        {"condition": "leeches", "finding": "lethargy"},
        {"finding": "spleen_granulomas", "level": "many"},
        "level",
        "a level below it has no row",
    ),
    (
        "links",
        "links",
        {"condition": "ich", "finding": "lethargy", "level": "marked"},
        {"probability": "0.99"},
        "probability",
        "of the level below",
    ),
    ("links", "conditions", {"id": "leeches"}, {"id": "new_condition"}, "id", "no link"),
    ("leaks", "findings", {"id": "lethargy"}, {"id": "gloom"}, "levels", "no leak for the level mild"),
    (
        "leaks",
        "leaks",
        {"finding": "lethargy", "level": "marked"},
        {"probability": "0.9"},
        "probability",
        "level below",
    ),
    (
        "history",
        "history_risks",
        {"finding": "crowded"},
        {"finding": "onset_slow"},
        "finding",
        "not a finding of kind cause",
    ),
    ("history", "history_risks", {"finding": "crowded"}, {"odds": "20"}, "odds", "is not below 1"),
    (
        "predispositions",
        "predispositions",
        {"condition": "ich", "parent": "immune_suppression"},
        {"condition": "immune_suppression", "parent": "ich"},
        "parent",
        "a circle: ",
    ),
    (
        "ranges",
        "hosts",
        {"scientific_name": "Betta splendens"},
        {"temperature_low_c": "40"},
        "temperature_low_c",
        "not below",
    ),
    ("ranges", "conditions", {"id": "ich"}, {"course_days_low": "90"}, "course_days_low", "not below course_days_high"),
    ("ranges", "temperature_risks", {"condition": "ich"}, {"low_c": "", "high_c": ""}, "low_c", "open on both sides"),
    (
        "ranges",
        "temperature_risks",
        {"condition": "ich"},
        {"low_c": "10", "high_c": "20"},
        "low_c",
        "overlaps another band",
    ),
    ("examinations", "examinations", {"id": "in_hand"}, {"order": "1"}, "order", "another examination has 1 too"),
    ("examinations", "examinations", {"id": "in_hand"}, {"detection": "0.9;0.5"}, "detection", "two chances"),
    ("examinations", "examinations", {"id": "in_hand"}, {"detection": "0.9"}, "detection", "two chances"),
    ("examinations", "examinations", {"id": "in_hand"}, {"short_list": "lethargy;lethargy"}, "short_list", "2 times"),
    (
        "limits",
        "limits",
        {"parameter": "nitrite"},
        {"finding": "lethargy", "level": "mild"},
        "finding",
        "not a finding of the",
    ),
    ("limits", "limits", {"parameter": "nitrite"}, {"level": "absent"}, "level", "looked and not seen"),
    ("limits", "limits", {"parameter": "nitrite"}, {"unit": "ppm"}, "unit", "elsewhere nitrite is in"),
    (
        "limits",
        "limits",
        {"parameter": "nitrite", "host_group": "freshwater", "level": "dangerous"},
        {"value": "0.1"},
        "value",
        "not above the 0.2 of the level below",
    ),
    ("cautions", "cautions", {"id": "hands_wounds"}, {"trigger": "ich"}, "trigger", "always needs no trigger"),
    ("cautions", "cautions", {"id": "spines"}, {"trigger": "x_ray"}, "trigger", "'x_ray' is no examination"),
    (
        "cautions",
        "cautions",
        {"id": "notifiable_woah"},
        {"trigger": "zoonotic:yes"},
        "notifiable",
        "to whom it is notified",
    ),
    ("cautions", "red_flags", {"id": "gasping_surface"}, {"from_level": ""}, "from_level", "a level its finding"),
    ("cautions", "red_flags", {"id": "gasping_surface"}, {"id": "new_flag"}, "id", "no first-aid step"),
    (
        "treatments",
        "treats",
        {"treatment": "salt_dip"},
        {"purpose": "refused"},
        "condition",
        "either a condition or a purpose",
    ),
    ("treatments", "sensitivities", {"thing": "fry"}, {"treatment": "moonlight"}, "treatment", "not in treatments.csv"),
    (
        "treatments",
        "sensitivities",
        {"thing": "plants"},
        {"host_group": "koi"},
        "host_group",
        "other things in the water none",
    ),
    ("doses", "treatments", {"id": "salt_dip"}, {"id": "new_dip"}, "id", "no row in doses.csv"),
    ("doses", "doses", {"supply": "refused"}, {"reason": ""}, "reason", "needs the reason"),
    ("doses", "doses", {"treatment": "salt_dip"}, {"hard_max": ""}, "low", "are needed for a sum"),
    ("doses", "doses", {"treatment": "salt_dip"}, {"hard_max": "25"}, "hard_max", "must rise"),
    ("doses", "doses", {"treatment": "salt_dip"}, {"basis": "memory"}, "basis", "not the basis of the row"),
    ("doses", "dose_limits", {"thing": "fry"}, {"treatment": "moonlight"}, "treatment", "not in doses.csv"),
    (
        "doses",
        "dose_limits",
        {"thing": "plants"},
        {"host_group": "koi"},
        "host_group",
        "other things in the water none",
    ),
    ("doses", "dose_limits", {"rule": "max"}, {"value": ""}, "value", "max and factor need a value"),
    ("doses", "dose_limits", {"rule": "factor"}, {"value": "2"}, "value", "a factor lowers the dose"),
    ("doses", "conflicts", {"first": "heat"}, {"first": "moonlight"}, "first", "no agent of doses.csv"),
    ("doses", "husbandry", {"order": "1"}, {"applies_to": "gloom"}, "applies_to", "neither a condition"),
    ("organisms", "organisms", {"id": "ich_trophont"}, {"outline": "round"}, "outline", "word=chance"),
    ("organisms", "organisms", {"id": "ich_trophont"}, {"hooks": "none=1.5"}, "hooks", "lie between 0 and 1"),
    ("organisms", "organisms", {"id": "rotifer"}, {"rate": ""}, "rate", "needed where no condition"),
    ("organisms", "organisms", {"id": "ich_trophont"}, {"findings": "skin=gloom"}, "findings", "not site=finding"),
    ("organisms", "stage_survival", {"condition": "ich"}, {"treatment": "moonlight"}, "treatment", "not in treatments"),
    ("organisms", "stage_survival", {"condition": "ich", "stage": "free"}, {"low": "1"}, "low", "must rise"),
    ("spreading", "link_rates", {"kind": "sump"}, {"rate": "0.05"}, "low", "not below rate"),
    ("spreading", "link_rates", {"kind": "sump"}, {"high": "0.2"}, "rate", "not below high"),
    ("spreading", "incubations", {"condition": "ich"}, {"latent_low_d": "9"}, "latent_low_d", "not below latent"),
    ("spreading", "incubations", {"condition": "ich"}, {"carried_early": "0.9"}, "carried_early", "more than"),
    ("sources", "links", {"basis": "published"}, {"sources": "memory"}, "sources", "needs a source that is not memory"),
    ("use_of_findings", "findings", {"id": "gut_packed_gas"}, {"id": "gloom"}, "id", "nothing in links"),
]


def test_every_rule_has_a_case_that_breaks_it() -> None:
    tried = {rule for rule, *_ in BROKEN} - {"cells", "read"}
    # sureness has four fixed words, and an overlay can add rows but take none away; its part of the rule is tried below
    assert tried == {rule.__name__ for rule in RULES}


@pytest.mark.parametrize(("rule", "table", "find", "change", "column", "words"), BROKEN)
def test_a_broken_row_is_named(
    rule: str, table: str, find: dict[str, str], change: dict[str, str], column: str, words: str, tmp_path: Path
) -> None:
    overlay = write_overlay(tmp_path / "overlay", table, [changed(table, find, change)])
    problems = check_reference(overlay)
    hit = [problem for problem in problems if problem.column == column and words in problem.message]
    assert hit, problems
    assert hit[0].file.endswith(".csv")
    assert hit[0].row.startswith("line ")


def test_a_broken_overlay_is_refused_in_one_sentence(tmp_path: Path) -> None:
    row = changed("links", {"condition": "ich"}, {"condition": "itch"})
    with pytest.raises(InputError, match="'itch' is not in conditions") as caught:
        load_reference(write_overlay(tmp_path / "overlay", "links", [row]))
    assert caught.value.field == "condition"
    assert "\n" not in str(caught.value)


def test_a_zoonosis_without_a_caution_is_named() -> None:
    cautions = {id: row for id, row in REFERENCE.cautions.items() if "mycobacteriosis" not in row.trigger.split(";")}
    del cautions["zoonotic_any"]
    problems = check_reference(replace(REFERENCE, cautions=cautions))
    assert [(p.row, p.column) for p in problems] == [("mycobacteriosis", "zoonotic")]


def test_missing_words_of_sureness_are_named() -> None:
    without = {id: row for id, row in REFERENCE.sureness.items() if id != "swept"}
    problems = check_reference(replace(REFERENCE, sureness=without))
    assert [problem.message for problem in problems] == ["no row for swept"]


def test_the_circle_is_named(tmp_path: Path) -> None:
    arc = changed("predispositions", {}, {"condition": "trauma", "parent": "immune_suppression"})
    overlay = write_overlay(tmp_path / "overlay", "predispositions", [arc])
    with pytest.raises(InputError, match="a circle") as caught:
        load_reference(overlay)
    # trauma opens the way for weak immunity in the packaged tables, alone or over starvation; each condition named
    # opens the way for the next, and the last is the first again
    circle = str(caught.value).rpartition("a circle: ")[2].split(" → ")
    arcs = {(row.parent, row.condition) for row in REFERENCE.predispositions} | {("immune_suppression", "trauma")}
    assert circle[0] == circle[-1]
    assert ("immune_suppression", "trauma") in pairwise(circle)
    assert set(pairwise(circle)) <= arcs


def test_a_key_stands_once_in_a_file(tmp_path: Path) -> None:
    row = changed("conditions", {"id": "ich"}, {})
    problems = check_reference(write_overlay(tmp_path / "overlay", "conditions", [row, row]))
    assert [(p.row, p.column) for p in problems] == [("line 3", "id")]


def test_a_short_line_is_named(tmp_path: Path) -> None:
    (tmp_path / "sureness.csv").write_text("id,name,false_seen\nsure,sure\n", encoding="utf-8")
    problems = check_reference(tmp_path)
    assert [p.row for p in problems] == ["line 2"]
    assert "2 cells where the header names 3 columns" in problems[0].message


def test_an_overlay_replaces_and_adds_rows(tmp_path: Path) -> None:
    replaced = changed(
        "links", {"condition": "ich", "finding": "flashing", "level": "frequent"}, {"probability": "0.123"}
    )
    added = changed(
        "links", {"condition": "ich"}, {"finding": "kidney_cystic", "level": "present", "probability": "0.011"}
    )
    overlay = write_overlay(tmp_path / "overlay", "links", [replaced, added])
    mine = load_reference(overlay)
    by_key = {(link.condition, link.finding, link.level): link.probability for link in mine.links}
    assert by_key["ich", "flashing", 2] == 0.123
    assert by_key["ich", "kidney_cystic", 1] == 0.011
    assert len(mine.links) == len(REFERENCE.links) + 1
    assert mine.version != REFERENCE.version
    assert load_reference() is REFERENCE


def test_a_condition_of_ones_own_can_be_added(tmp_path: Path) -> None:
    """A practice adds a condition with its link; nothing else is needed."""
    own = changed("conditions", {"id": "leeches"}, {"id": "house_leech", "name": "House leech"})
    overlay = write_overlay(tmp_path / "overlay", "conditions", [own])
    link = changed("links", {"condition": "leeches"}, {"condition": "house_leech"})
    link |= {"finding": "visible_parasite", "level": "few"}
    write_overlay(overlay, "links", [link])
    assert load_reference(overlay).conditions["house_leech"].name == "House leech"


def test_a_column_left_out_is_empty(tmp_path: Path) -> None:
    row = changed("sources", {"key": "memory"}, {"key": "our_practice", "citation": "Our own records."})
    overlay = write_overlay(tmp_path / "overlay", "sources", [row])
    assert "our_practice" in load_reference(overlay).sources
    (overlay / "links.csv").write_text(
        "condition,finding,level,probability,basis\nich,kidney_cystic,present,0.02,memory\n", encoding="utf-8"
    )
    assert load_reference(overlay).links[-1].sources == ()


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("remedies.csv", b"id\nx\n", "no table of this name"),
        ("links.txt", b"condition\n", "no table of this name"),
        ("links.csv", b"condition,finding,chance\nich,flashing,1\n", "unknown or repeated column"),
        ("links.csv", b"condition,condition\nich,ich\n", "unknown or repeated column"),
        ("links.csv", b"condition,note\nich,\xff\xfe\n", "not UTF-8"),
        ("links.csv", b'condition,note\nich,"open\n', "not a CSV file"),
    ],
)
def test_files_that_are_no_overlay_are_refused(name: str, content: bytes, words: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(content)
    for use in (load_reference, check_reference):
        with pytest.raises(InputError, match=words) as caught:
            use(tmp_path)
        assert name in str(caught.value)


def test_an_overlay_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such directory"):
        load_reference(tmp_path / "nowhere")


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    table=st.sampled_from(sorted(TABLES)),
    pick=st.integers(0, 10_000),
    column=st.integers(0, 30),
    junk=st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\r\n\0"), max_size=12),
)
def test_any_cell_may_hold_rubbish(table: str, pick: int, column: int, junk: str, tmp_path: Path) -> None:
    """Rubbish in any one cell is a problem or a refusal, or harmless text; it is never a crash."""
    rows = packaged_rows(table)
    row = rows[pick % len(rows)]
    name = list(row)[column % len(row)]
    overlay = tmp_path / "overlay"
    overlay.mkdir(exist_ok=True)
    for old in overlay.iterdir():
        old.unlink()
    write_overlay(overlay, table, [row | {name: junk}])
    try:
        problems = check_reference(overlay)
    except InputError:
        return
    assert all(problem.file and problem.column for problem in problems)


def probability(condition: str, finding: str, level: int) -> float:
    return next(
        link.probability
        for link in REFERENCE.links
        if (link.condition, link.finding, link.level) == (condition, finding, level)
    )


def test_published_figures_stand_as_published() -> None:
    # J Fish Dis 33:947-955, 2010 (abstract): acid-fast rods in 96 of 188 fish with granulomas
    assert probability("mycobacteriosis", "acid_fast_rods", 1) == pytest.approx(96 / 188, abs=0.005)
    # Armwood et al. 2021, J Fish Dis: fungal disease in 47 of 2250 aquarium submissions, 4 of the 47 in fresh water;
    # scaled to a case mix with a tenth marine it must lie below 47 in 2250
    assert REFERENCE.conditions["internal_mycosis"].rate < 47 / 2250
    # Merck Veterinary Manual, table of environmental hazards: gasping at the surface is the hallmark of low oxygen
    assert probability("low_oxygen", "gasping_surface", 1) == 0.95
    # Martins et al. 2001, Braz J Biol: of 45 fish with Piscinoodinium, 34 on gills only, 9 on both, 2 on skin only
    assert probability("velvet_freshwater", "gill_dinospore_cells", 1) > probability(
        "velvet_freshwater", "skin_dinospore_cells", 1
    )


# Figures of the fact sheets that the tables were built from, typed by hand; estimates unless a source is named.
RATES = {
    "ich": 0.13,
    "costia": 0.055,
    "gill_flukes": 0.18,  # 28.3 % of 1520 fish had monogeneans, most on gills (Thilakaratne 2003, Dis Aquat Org 54:157)
    "skin_flukes": 0.12,  # 14.5 % of shop fish in Muscat carried skin Gyrodactylus (J Agric Marine Sci, article 6803)
    "low_oxygen": 0.03,
    "trauma": 0.07,
}
LINKS = {
    ("skin_flukes", "skin_gyrodactylid", 1): 0.9,
    ("khv", "pcr_khv", 1): 0.95,
    ("svc", "swim_bladder_abnormal", 1): 0.5,
    ("ammonia_poisoning", "water_ammonia_high", 1): 0.97,
    ("neon_tetra_disease", "microsporidian_spores", 1): 0.95,
    ("motile_aeromonad", "ulcers_skin", 1): 0.45,
}


def test_a_sample_of_rows_carried_over_unchanged() -> None:
    assert {id: REFERENCE.conditions[id].rate for id in RATES} == RATES
    assert {key: probability(*key) for key in LINKS} == LINKS
    host = REFERENCE.hosts["Carassius auratus"]
    # FishBase, goldfish: to 48 cm total length; length-weight a = 0.01744 (species mean of its table)
    assert (host.max_length_cm, host.length_weight_a) == (48, 0.01744)
    odds = {(risk.condition, risk.host_group): risk.odds for risk in REFERENCE.host_risks}
    assert (odds["khv", "koi"], odds["khv", "goldfish"], odds["low_oxygen", "betta"]) == (10, 0.005, 0.1)
    bands = {(risk.condition, risk.low_c, risk.high_c): risk.odds for risk in REFERENCE.temperature_risks}
    # spring viraemia kills in cold water: most deaths at 8-18 °C (EAZWV Transmissible Disease Fact Sheet 58, 2004)
    assert (bands["svc", None, 18], bands["svc", 28, None]) == (4, 0.02)
    # columnaris is worse the warmer the water
    columnaris = [bands["columnaris", low, high] for low, high in ((None, 18), (18, 24), (24, 28), (28, None))]
    assert columnaris == [0.3, 0.8, 1.2, 2]


def test_diseases_listed_by_the_world_organisation() -> None:
    # World Organisation for Animal Health, Aquatic Animal Health Code, chapter 1.3 (from memory): koi herpesvirus,
    # spring viraemia of carp, Aphanomyces invadans (EUS), red sea bream iridovirus group (megalocytivirus), tilapia
    # lake virus, epizootic haematopoietic necrosis virus (a ranavirus)
    listed = {id for id, row in REFERENCE.conditions.items() if row.notifiable == "woah"}
    assert listed == {"khv", "svc", "eus", "megalocytivirus", "tilv", "ranavirus"}


def test_bacteria_that_people_catch_are_marked() -> None:
    # Haenen, Evans & Berthe 2013, Rev sci tech OIE 32:497-507: contact zoonoses from fish
    for condition in (
        "mycobacteriosis",
        "streptococcosis",
        "edwardsiellosis",
        "motile_aeromonad",
        "vibrio_pseudomonas",
    ):
        assert REFERENCE.conditions[condition].zoonotic, condition


def test_history_is_cause_or_effect_and_never_both() -> None:
    effects = {finding.id for finding in REFERENCE.findings.values() if finding.kind == "effect"}
    assert effects == {"onset_sudden", "onset_slow", "one_species_only", "all_species", "many_affected", "deaths_daily"}
    assert effects.isdisjoint(risk.finding for risk in REFERENCE.history_risks)
    causes = {finding.id for finding in REFERENCE.findings.values() if finding.kind == "cause"}
    assert causes.isdisjoint(link.finding for link in REFERENCE.links)


def test_host_odds_are_relative_to_the_case_mix() -> None:
    """Over the assumed case mix the odds of a condition average to about 1: its rate stays what the table says."""
    mix = {
        "goldfish": 14,
        "koi": 10,
        "livebearer": 12,
        "tetra": 10,
        "barb": 8,
        "cichlid": 10,
        "angelfish": 5,
        "discus": 5,
    }
    mix |= {"gourami": 5, "betta": 5, "catfish": 7, "loach": 3, "killifish": 3, "other": 3, "marine": 10}
    rows: dict[str, dict[str, float]] = {}
    for risk in REFERENCE.host_risks:
        rows.setdefault(risk.condition, {})[risk.host_group] = risk.odds
    for condition, odds in rows.items():
        mean = sum(share * nearest(group, odds) for group, share in mix.items()) / sum(mix.values())
        assert 0.7 < mean < 1.4, (condition, mean)


def nearest(group: str, odds: dict[str, float]) -> float:
    return next((odds[wider] for wider in REFERENCE.host_group_line(group) if wider in odds), 1.0)


def test_every_source_cited_is_used_and_tells_its_kind() -> None:
    cited: set[str] = set()
    for name, table in TABLES.items():
        held: Any = getattr(REFERENCE, name)
        for row in held.values() if table.mapping else held:
            cited.update(getattr(row, "sources", ()))
    assert cited == set(REFERENCE.sources)
    # sellers, makers and calculators are no sources: such pages were replaced or marked memory
    for source in REFERENCE.sources.values():
        assert "/shop" not in source.citation
        assert "product" not in source.citation.lower() or source.kind in ("peer-reviewed", "trade"), source


def test_showing_a_condition_goes_both_ways() -> None:
    shown = str(show_row(REFERENCE, "khv"))
    assert "links, condition = khv" in shown
    assert "pcr_khv, positive, 0.95, memory" in shown
    assert "predispositions, parent = khv" in shown
    assert "predispositions, condition = ich" not in shown
    assert REFERENCE.sources["naca_field_guide_khv"].citation in shown


def test_showing_a_finding_names_what_brings_it_most_likely_first() -> None:
    (row, flag) = show_row(REFERENCE, "gasping_surface").rows
    assert (row.table, flag.table) == ("findings", "red_flags")
    brought = next(rows for rows in row.pointing if rows.table == "links")
    assert brought.rows[0][:3] == ("low_oxygen", "present", "0.95")
    assert any(rows.table == "examinations" for rows in row.pointing)


def test_showing_what_is_not_there_names_the_nearest() -> None:
    with pytest.raises(InputError, match="nearest are ich"):
        show_row(REFERENCE, "ichh")
