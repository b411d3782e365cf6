"""Cautions: every trigger of the table brings its caution, and nothing dangerous is without one."""

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import pytest

from wetmount.casefile import read_case
from wetmount.cautions import SEVERITIES, cautions_for, cautions_of, select_conditions, triggers_of
from wetmount.evidence import gather_evidence
from wetmount.reference import load_reference
from wetmount.weighup import weigh_up

REFERENCE = load_reference()
ARGUMENT = {
    "condition": "conditions",
    "examination": "examinations",
    "agent": "agents",
    "water": "water",
    "finding": "findings",
}
KNOWN = {
    "condition": set(REFERENCE.conditions),
    "examination": set(REFERENCE.examinations),
    "agent": set(REFERENCE.treatments),
    "water": {finding.id for finding in REFERENCE.findings.values() if finding.kind == "water"},
    "finding": set(REFERENCE.findings),
}
GROUPS = {condition.group for condition in REFERENCE.conditions.values()}


def ids_meant(kind: str, trigger: str) -> set[str]:
    """The ids of the reference that a trigger of the table stands for, worked out here on its own."""
    if trigger == "any":
        return KNOWN[kind]
    if kind == "condition" and trigger.startswith("notifiable:"):
        status = trigger.removeprefix("notifiable:")
        return {row.id for row in REFERENCE.conditions.values() if row.notifiable == status}
    if kind == "condition" and trigger == "zoonotic:yes":
        return {row.id for row in REFERENCE.conditions.values() if row.zoonotic}
    if kind == "condition" and trigger in GROUPS:
        return {row.id for row in REFERENCE.conditions.values() if row.group == trigger}
    return {trigger} & KNOWN[kind]


ALL_TRIGGERS = [
    (caution.id, caution.trigger_kind, trigger)
    for caution in REFERENCE.cautions.values()
    for trigger in triggers_of(caution)
]


def shown(**triggers: list[str]) -> dict[str, tuple[str, ...]]:
    return {one.id: one.because for one in cautions_for(REFERENCE, **triggers)}


@pytest.mark.parametrize(("caution", "kind", "trigger"), ALL_TRIGGERS)
def test_every_trigger_of_the_table_brings_its_caution(caution: str, kind: str, trigger: str) -> None:
    meant = ids_meant(kind, trigger)
    assert meant, f"{trigger} is nothing in the reference"
    for id in meant:
        assert shown(**{ARGUMENT[kind]: [id]})[caution] == (id,)


def test_the_table_has_triggers_of_every_kind() -> None:
    assert {kind for _, kind, _ in ALL_TRIGGERS} == set(ARGUMENT)


def test_only_the_cautions_that_always_stand_need_no_trigger() -> None:
    always = {row.id for row in REFERENCE.cautions.values() if row.trigger_kind == "always"}
    assert set(shown()) == always
    assert all((row.trigger == "") == (row.id in always) for row in REFERENCE.cautions.values())


def test_a_trigger_brings_no_other_caution() -> None:
    """Each id brings exactly the cautions whose triggers name it: nothing is lost and nothing is added."""
    always = set(shown())
    for kind, ids in KNOWN.items():
        for id in ids:
            expected = {caution for caution, k, trigger in ALL_TRIGGERS if k == kind and id in ids_meant(kind, trigger)}
            assert set(shown(**{ARGUMENT[kind]: [id]})) - always == expected


@pytest.mark.parametrize("condition", [row.id for row in REFERENCE.conditions.values() if row.notifiable != "no"])
def test_a_notifiable_disease_points_to_the_authority(condition: str) -> None:
    """Reporting on suspicion: gov.uk, Report serious fish or shellfish diseases."""
    texts = [one.text for one in cautions_for(REFERENCE, conditions=[condition])]
    assert any("fish-health authority" in text for text in texts)


@pytest.mark.parametrize("condition", [row.id for row in REFERENCE.conditions.values() if row.zoonotic])
def test_a_zoonosis_tells_people_to_protect_themselves(condition: str) -> None:
    """Two cautions at least, one for all of them and one on this one (Haenen, Evans and Berthe 2013)."""
    own = [one for one in cautions_for(REFERENCE, conditions=[condition]) if one.because == (condition,)]
    assert any("pass to people" in one.text for one in own)
    assert any("people" in one.text and "pass to people" not in one.text for one in own)


def test_the_united_kingdom_list_of_koi_diseases_is_notifiable() -> None:
    """gov.uk names koi herpesvirus disease and spring viraemia of carp."""
    for condition in ("khv", "svc"):
        assert "notifiable_woah" in shown(conditions=[condition])


@pytest.mark.parametrize("examination", [row.id for row in REFERENCE.examinations.values() if row.gives_up_fish])
def test_giving_up_a_fish_says_how_to_kill_it_and_where_it_goes(examination: str) -> None:
    """AVMA Guidelines for the Euthanasia of Animals, 2020, S6.2: at least 30 minutes after the last gill movement, and
    two steps for fish that stand lack of oxygen."""
    by_id = {one.id: one for one in cautions_for(REFERENCE, examinations=[examination])}
    killing = by_id["humane_killing"]
    assert killing.severity == "stop"
    for words in ("30 minutes", "second step", "flushing"):
        assert words in killing.text
    assert {"carcass_disposal", "sharps"} <= set(by_id)


@pytest.mark.parametrize("examination", [row.id for row in REFERENCE.examinations.values() if row.subject == "fish"])
def test_handling_a_fish_always_has_a_caution_of_its_own(examination: str) -> None:
    assert any(examination in one.because for one in cautions_for(REFERENCE, examinations=[examination]))


def test_fixative_and_stain_are_named_where_they_are_used() -> None:
    assert {"fixative", "stain_dyes"} <= set(shown(examinations=["stain"]))
    assert "fixative" in shown(examinations=["lab_histology"])


def test_the_examinations_table_names_the_same_cautions() -> None:
    for examination in REFERENCE.examinations.values():
        here = ("examination", examination.id)
        named = {caution for caution, kind, trigger in ALL_TRIGGERS if (kind, trigger) == here}
        assert set(examination.cautions) == named


@pytest.mark.parametrize("agent", sorted(REFERENCE.treatments))
def test_no_agent_without_food_and_open_water(agent: str) -> None:
    assert {"no_food_after", "treated_water", "test_fish_first"} <= set(shown(agents=[agent]))


@pytest.mark.parametrize(
    "agent", sorted(row.id for row in REFERENCE.treatments.values() if "ntimicrobial" in row.legal_note)
)
def test_an_antimicrobial_needs_a_prescription(agent: str) -> None:
    by_id = {one.id: one for one in cautions_for(REFERENCE, agents=[agent])}
    assert by_id["antimicrobial_prescription"].severity == "stop"


@pytest.mark.parametrize(
    "agent",
    sorted(
        row.id
        for row in REFERENCE.treatments.values()
        if any(word in row.legal_note for word in ("rescription", "off-label", "banned", "unlicensed"))
    ),
)
def test_what_the_law_restricts_says_so(agent: str) -> None:
    stops = {
        "antimicrobial_prescription",
        "prescription_antiparasitic",
        "unapproved_agent",
        "anaesthetic_person",
        "killing_agent",
    }
    assert stops & set(shown(agents=[agent]))


def test_ammonia_warns_of_a_ph_rise() -> None:
    """Emerson et al. 1975: about ten times the free ammonia for each unit of pH."""
    assert "ph_frees_ammonia" in shown(water=["water_ammonia_high"])
    assert "raises_ph" in shown(agents=["sodium_bicarbonate"])


def test_each_caution_once_and_the_gravest_first() -> None:
    everything = cautions_for(REFERENCE, **{ARGUMENT[kind]: sorted(ids) for kind, ids in KNOWN.items()})
    assert [one.id for one in everything].count("sharps") == 1
    assert {one.id for one in everything} == set(REFERENCE.cautions)
    grave = [SEVERITIES.index(one.severity) for one in everything]
    assert grave == sorted(grave)


def test_headlines_are_short_and_whole() -> None:
    for one in cautions_for(REFERENCE, **{ARGUMENT[kind]: sorted(ids) for kind, ids in KNOWN.items()}):
        assert one.text.startswith(one.headline.removesuffix("."))
        assert 20 < len(one.headline) <= 125


@dataclass(frozen=True)
class Ranked:
    """What `select_conditions` reads of a condition's result."""

    id: str
    probability: float
    responsible: float


def test_selection_takes_the_leader_and_the_dangerous() -> None:
    ranked = [
        Ranked("costia", 0.6, 0.5),
        Ranked("trichodinosis", 0.5, 0.19),
        Ranked("columnaris", 0.3, 0.2),
        Ranked("khv", 0.05, 0.01),
        Ranked("mycobacteriosis", 0.06, 0.0),
        Ranked("svc", 0.049, 0.049),
    ]
    assert select_conditions(ranked, REFERENCE) == ("costia", "columnaris", "khv", "mycobacteriosis")
    assert select_conditions([], REFERENCE) == ()
    assert select_conditions(ranked, REFERENCE, warn_from=0.01)[-1] == "svc"


def test_a_weigh_up_shows_what_its_findings_water_and_examinations_trigger() -> None:
    case = read_case(Path(str(files("wetmount") / "examples" / "harbour_row_rack_a.toml")), REFERENCE)
    result = weigh_up(gather_evidence(case, REFERENCE), REFERENCE, firmness=False)
    everything = {one.id: one.because for one in cautions_of(result, REFERENCE)}
    assert everything["nitrite_kit"] == ("water_nitrite_high",)
    assert "skin_scrape" in everything["glass_blades"]
    assert result.next_examinations
    assert {one.id for one in result.next_examinations if one.gives_up_fish} <= set(everything["humane_killing"])
    # What the page does not propose and nobody did brings no caution; what is on it does.
    narrow = {one.id: one.because for one in cautions_of(result, REFERENCE, proposed=["gill_scrape"])}
    assert "humane_killing" not in narrow
    assert "gill_scrape" in narrow["live_biopsy"]
    treated = {one.id for one in cautions_of(result, REFERENCE, proposed=[], agents=["formalin_short"])}
    assert {"formalin_person", "treated_water"} <= treated
