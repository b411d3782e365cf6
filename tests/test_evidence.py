"""From a look to evidence, one rule at a time. Chances are worked out here by hand from the rows of the reference."""

# ruff: noqa: E501  (tables of inputs are read across, one case a line)

from __future__ import annotations

import datetime
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wetmount.case import Batch, Fish, Numbers
from wetmount.casefile import read_case_text
from wetmount.derived import answers_of_batches, grade_numbers, rounds_of
from wetmount.errors import InputError
from wetmount.evidence import Evidence, Observation, gather_evidence
from wetmount.looking import body_state_of, noticed
from wetmount.reference import load_reference

REFERENCE = load_reference()
SCRAPE_1, SCRAPE_2 = REFERENCE.examinations["skin_scrape"].detection
SWEPT = REFERENCE.examinations["skin_scrape"].swept_detection


def evidence(text: str, look: int | None = None, group: str = "koi") -> Evidence:
    head = "" if "[host]" in text else f'format = 1\nhost = {{group = "{group}"}}\n'
    return gather_evidence(read_case_text(head + text, "toml", "t", REFERENCE), REFERENCE, look)


def observed(result: Evidence, finding: str) -> Observation:
    (one,) = [one for one in result.observations if one.finding == finding]
    return one


def scrape(fish: str = "", **tables: str) -> str:
    lines = ["[[looks.examinations]]", 'kind = "skin_scrape"', fish]
    if "rest" in tables:
        lines.append(f"rest_not_seen = {tables['rest']}")
    if "slides" in tables:
        lines.append(f"slides = [{tables['slides']}]")
    lines += ["[looks.examinations.findings]", tables.get("findings", "")]
    return "\n".join(lines) + "\n"


LOOK = "[[looks]]\ndate = 2026-10-03\n"
FISH = '[[fish]]\nid = "1"\nstate = "alive"\n[[fish]]\nid = "2"\nstate = "found_dead"\nhours_dead = 5\n'


# --- which look, which host -------------------------------------------------------------------------------------------


def test_the_last_look_unless_another_is_asked_for() -> None:
    text = '[[looks]]\ndate = 2026-09-01\n[looks.findings]\nlethargy = "mild"\n[[looks]]\ndate = 2026-09-08\n'
    assert evidence(text).date == "2026-09-08"
    assert evidence(text).observations == ()
    assert evidence(text, 0).date == "2026-09-01"
    assert observed(evidence(text, 0), "lethargy").level == 1
    for wrong in (2, -1):
        with pytest.raises(InputError, match=f"there is no look {wrong}; this case has 2, counted from 0"):
            evidence(text, wrong)


def test_the_species_gives_the_group_and_its_scientific_name() -> None:
    result = evidence('format = 1\n[host]\nspecies = "neon tetra"\n')
    assert (result.host_group, result.species) == ("tetra", "Paracheirodon innesi")
    result = evidence('format = 1\n[host]\nspecies = "Nannostomus beckfordi"\ngroup = "tetra"\n')
    assert (result.host_group, result.species) == ("tetra", "Nannostomus beckfordi")


# --- three different things: not looked at, looked and not seen, seen ------------------------------------------------


def test_what_was_not_looked_at_is_not_there() -> None:
    result = evidence('[findings]\nskin_costia = "absent"\nskin_trichodinid = "few"\n')
    assert [(one.finding, one.level) for one in result.observations] == [("skin_trichodinid", 1), ("skin_costia", 0)]
    assert result.answers == {}


def test_detection_is_the_examinations_own_one_figure_a_level() -> None:
    result = evidence('[findings]\nskin_costia = "many"\nclamped_fins = "absent"\n')
    assert observed(result, "skin_costia").detection == pytest.approx((SCRAPE_1, SCRAPE_2))
    assert observed(result, "clamped_fins").detection == pytest.approx(
        REFERENCE.examinations["tank_look"].detection[:1]
    )


def test_the_rest_of_the_short_list_is_swept_and_no_more_than_that() -> None:
    for rest in ("true", '"swept"'):
        result = evidence(LOOK + scrape(rest=rest, findings='skin_costia = "many"\nskin_hyphae = "absent"'))
        assert {one.finding for one in result.observations} == {*REFERENCE.examinations["skin_scrape"].short_list}
        swept = observed(result, "skin_trichodinid")
        assert (swept.level, swept.sure) == (0, "swept")
        assert swept.detection == pytest.approx((SCRAPE_1 * SWEPT, SCRAPE_2 * SWEPT))
        assert observed(result, "skin_hyphae").detection == pytest.approx((SCRAPE_1, SCRAPE_2))
        assert observed(result, "skin_hyphae").sure == "sure"
        assert result.examinations_done == {"skin_scrape": 1.0}
    result = evidence(LOOK + scrape(findings='skin_costia = "many"'))
    assert len(result.observations) == 1
    assert result.examinations_done["skin_scrape"] == pytest.approx(
        1 / len(REFERENCE.examinations["skin_scrape"].short_list)
    )


def test_an_examination_that_was_begun_counts_for_nothing_yet() -> None:
    assert evidence(LOOK + scrape()).examinations_done == {"skin_scrape": 0.0}


def test_a_doubtful_not_seen_keeps_its_doubt_for_the_reader() -> None:
    doubtful = observed(evidence('[findings]\nskin_costia = {level = "absent", sure = "doubtful"}\n'), "skin_costia")
    assert (doubtful.sure, doubtful.detection) == ("doubtful", pytest.approx((SCRAPE_1, SCRAPE_2)))


# --- worst over fish --------------------------------------------------------------------------------------------------


def test_the_level_is_the_worst_and_the_doubt_is_the_worsts() -> None:
    text = FISH + LOOK + scrape('fish = "1"', findings='skin_costia = "few"')
    text += scrape('body_state = "alive"', findings='skin_costia = {level = "many", sure = "doubtful"}')
    text += scrape('body_state = "alive"', findings='skin_costia = "absent"')
    one = observed(evidence(text), "skin_costia")
    assert (one.level, one.sure) == (2, "doubtful")
    assert "seen in 2 of 3" in one.trace[-1]
    assert one.detection == pytest.approx((1 - (1 - SCRAPE_1) ** 3, 1 - (1 - SCRAPE_2) ** 3))


def test_of_two_that_are_worst_the_surer_stands() -> None:
    text = LOOK + scrape(findings='skin_costia = {level = "few", sure = "doubtful"}')
    text += scrape(findings='skin_costia = {level = "few", sure = "fairly"}')
    assert observed(evidence(text), "skin_costia").sure == "fairly"


def test_a_fish_in_two_examinations_counts_once() -> None:
    text = FISH + LOOK + scrape('fish = "1"', findings='skin_costia = "few"')
    text += scrape('fish = "1"', findings='skin_costia = "absent"').replace("skin_scrape", "fin_clip")
    assert "seen in 1 of 1" in observed(evidence(text), "skin_costia").trace[-1]


def test_not_seen_on_two_fish_combines() -> None:
    text = LOOK + scrape(findings='skin_costia = "absent"') * 2
    one = observed(evidence(text), "skin_costia")
    assert (one.level, one.detection) == (0, pytest.approx((1 - (1 - SCRAPE_1) ** 2, 1 - (1 - SCRAPE_2) ** 2)))


def test_a_doubtful_not_seen_beside_a_sure_one_counts_for_less() -> None:
    text = LOOK + scrape(findings='skin_costia = "absent"')
    text += scrape(findings='skin_costia = {level = "absent", sure = "doubtful"}')
    one, noticing = observed(evidence(text), "skin_costia"), REFERENCE.sureness["doubtful"].noticing
    assert one.sure == "sure"
    assert one.detection[0] == pytest.approx(1 - (1 - SCRAPE_1) * (1 - SCRAPE_1 * noticing))


def test_a_sweep_beside_a_proper_look_adds_its_share() -> None:
    text = LOOK + scrape(rest="true") + scrape(findings='skin_costia = "absent"')
    one = observed(evidence(text), "skin_costia")
    assert one.sure == "sure"
    assert one.detection[0] == pytest.approx(1 - (1 - SCRAPE_1) * (1 - SCRAPE_1 * SWEPT))


def test_n_of_m_fish_is_m_lookings_fish_by_fish_but_one_at_the_tank() -> None:
    result = evidence(
        '[findings]\nulcers_skin = {level = "absent", n_of = [0, 3]}\nflashing = {level = "occasional", n_of = [2, 9]}\n'
    )
    in_hand, tank = REFERENCE.examinations["in_hand"].detection, REFERENCE.examinations["tank_look"].detection
    assert observed(result, "ulcers_skin").detection == pytest.approx(tuple(1 - (1 - one) ** 3 for one in in_hand))
    assert observed(result, "flashing").detection == pytest.approx(tank)
    assert "seen in 2 of 9 fish" in observed(result, "flashing").trace[0]


# --- slides -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("slides", "level"),
    [
        ("{fields = 20, counts = {skin_costia = 0}}", 0),
        ("{fields = 20, counts = {skin_costia = 1}}", 1),
        ("{fields = 20, counts = {skin_costia = 199}}", 1),
        ("{fields = 20, counts = {skin_costia = 200}}", 2),  # 10 a field: the row's many_per_field
        ("{counts = {skin_costia = [0, 29, 0, 0]}}", 1),  # one crowded field is not many
        ("{counts = {skin_costia = [0, 40, 0, 0]}}", 2),
        ("{fields = 20, counts = {skin_costia = 3}}, {fields = 5, counts = {skin_costia = 60}}", 2),
    ],
)
def test_counts_become_levels_by_the_mean_of_the_worst_slide(slides: str, level: int) -> None:
    assert REFERENCE.findings["skin_costia"].many_per_field == 10
    assert observed(evidence(LOOK + scrape(slides=slides)), "skin_costia").level == level


@pytest.mark.parametrize("fields", [2, 10, 20, 60])
def test_none_in_n_fields_grows_with_the_fields_as_poisson_has_it(fields: int) -> None:
    """Against scipy's Poisson: the density at which 20 fields meet one with the row's chance, then n fields of it."""
    slides = f"{{fields = {fields}, counts = {{skin_costia = 0}}}}"
    one = observed(evidence(LOOK + scrape(slides=slides)), "skin_costia")
    for detection, standard in zip(one.detection, (SCRAPE_1, SCRAPE_2), strict=True):
        mean_per_field = -math.log(1 - standard) / 20
        assert detection == pytest.approx(1 - stats.poisson.pmf(0, fields * mean_per_field))
    assert one.level == 0


@pytest.mark.parametrize(("fields", "expected"), [(5, 0.2212), (10, 0.3935), (20, 0.6321)])
def test_detection_after_n_fields_of_mean_one_twentieth(fields: int, expected: float) -> None:
    """1 - exp(-n mu) for mu = 0.05: printed to four figures in any table of the exponential function."""
    assert noticed(1 - math.exp(-0.05), fields) == pytest.approx(expected, abs=5e-5)


def test_fields_count_for_what_is_stated_too_and_only_the_slides_that_count_it() -> None:
    slides = "{fields = 10, counts = {skin_trichodinid = 0}}, {fields = 30}"
    result = evidence(LOOK + scrape(slides=slides, findings='skin_costia = "absent"'))
    assert observed(result, "skin_costia").detection[0] == pytest.approx(1 - (1 - SCRAPE_1) ** 2)
    assert observed(result, "skin_trichodinid").detection[0] == pytest.approx(1 - (1 - SCRAPE_1) ** 0.5)


def test_a_stated_level_that_the_count_contradicts_stands_and_is_reported() -> None:
    result = evidence(
        LOOK + scrape(slides="{fields = 20, counts = {skin_costia = 400}}", findings='skin_costia = "few"')
    )
    assert observed(result, "skin_costia").level == 1
    (contradiction,) = result.contradictions
    assert (contradiction.finding, contradiction.stated, contradiction.derived) == ("skin_costia", 1, 2)
    assert (
        "400 counted in 20 fields, 20 a field; many from 10 a field gives many; the stated level is used"
        in contradiction.why
    )


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0.01, 50), st.floats(0.01, 50))
def test_more_looking_never_notices_less(a: float, b: float, m: float, n: float) -> None:
    assert 0 <= noticed(a, n) <= 1
    assert noticed(min(a, b), n) <= noticed(max(a, b), n) + 1e-12
    assert noticed(a, min(m, n)) <= noticed(a, max(m, n)) + 1e-12
    assert noticed(a, m + n) == pytest.approx(1 - (1 - noticed(a, m)) * (1 - noticed(a, n)), abs=1e-9)


# --- state of the body ------------------------------------------------------------------------------------------------


def test_the_state_of_the_body_takes_its_share() -> None:
    (factor,) = [
        row.detection_factor
        for row in REFERENCE.body_states
        if (row.state, row.examination) == ("dead_2_12h", "skin_scrape")
    ]
    assert 0 < factor < 0.5
    dead = observed(evidence(FISH + LOOK + scrape('fish = "2"', findings='skin_costia = "absent"')), "skin_costia")
    assert dead.detection == pytest.approx((SCRAPE_1 * factor, SCRAPE_2 * factor))
    assert "body dead_2_12h" in dead.trace[-1]
    alive = observed(evidence(FISH + LOOK + scrape('fish = "1"', findings='skin_costia = "absent"')), "skin_costia")
    assert alive.detection == pytest.approx((SCRAPE_1, SCRAPE_2))
    swept = observed(evidence(FISH + LOOK + scrape('fish = "2"', rest="true")), "skin_costia")
    assert swept.detection == pytest.approx((SCRAPE_1 * factor * SWEPT, SCRAPE_2 * factor * SWEPT))


@pytest.mark.parametrize(
    ("fish", "state"),
    [
        ({}, None),
        ({"state": "alive"}, "alive"),
        ({"state": "killed"}, "fresh_killed"),
        ({"state": "killed", "hours_dead": 3.0}, "dead_2_12h"),
        ({"state": "killed", "kept": "frozen", "hours_dead": 50.0}, "frozen"),
        ({"state": "found_dead", "hours_dead": 2.0}, "dead_0_2h"),
        ({"state": "found_dead", "hours_dead": 12.0}, "dead_2_12h"),
        ({"state": "found_dead", "hours_dead": 12.5}, "dead_over_12h"),
        ({"state": "found_dead"}, "dead_over_12h"),
        ({"state": "found_dead", "kept": "refrigerated", "hours_dead": 1.0}, "refrigerated"),
        ({"state": "found_dead", "kept": "unchilled", "hours_dead": 1.0}, "dead_0_2h"),
    ],
)
def test_states_of_the_body(fish: dict[str, Any], state: str | None) -> None:
    assert body_state_of(Fish(id="1", **fish)) == state
    assert state is None or state in {row.state for row in REFERENCE.body_states}


# --- history ----------------------------------------------------------------------------------------------------------


def test_history_becomes_answers_when_it_is_a_cause_and_observations_when_it_is_an_effect() -> None:
    result = evidence(
        '[history]\nnew_system = "yes"\ncrowded = "no"\npoor_diet = "not asked"\nonset_sudden = "yes"\nonset_slow = "no"\n'
    )
    assert result.answers == {"new_system": True, "crowded": False}
    assert [(one.finding, one.level) for one in result.observations] == [("onset_sudden", 1), ("onset_slow", 0)]


def test_a_cause_stated_as_a_finding_is_an_answer_unless_doubtful() -> None:
    result = evidence(
        '[findings]\ncrowded = "present"\nnew_system = "absent"\npoor_diet = {level = "present", sure = "doubtful"}\n'
    )
    assert result.answers == {"crowded": True, "new_system": False}
    assert [one.finding for one in result.ignored] == ["poor_diet"]


def test_two_answers_that_differ_are_reported_and_the_first_stands() -> None:
    result = evidence('[history]\ncrowded = "no"\n[findings]\ncrowded = "present"\n')
    assert result.answers == {"crowded": False}
    assert [(one.finding, one.stated, one.derived) for one in result.contradictions] == [("crowded", 0, 1)]


@pytest.mark.parametrize("finding", ["one_species_only", "all_species"])
def test_signs_of_one_species_say_nothing_where_one_is_kept(finding: str) -> None:
    kept = evidence(f'[history]\nmixed_species = "no"\n{finding} = "yes"\n')
    assert kept.observations == ()
    assert [one.finding for one in kept.ignored] == [finding]
    for mixed in ('mixed_species = "yes"\n', "", 'mixed_species = "not asked"\n'):
        assert observed(evidence(f'[history]\n{mixed}{finding} = "yes"\n'), finding).level == 1


# --- batches ----------------------------------------------------------------------------------------------------------

DAY = datetime.date(2026, 10, 3)


def answers(*batches: Batch, total: int | None = None) -> dict[str, bool]:
    return {id: yes for id, yes, _ in answers_of_batches(batches, Numbers(total=total), DAY)}


def test_batches_answer_what_was_not_asked() -> None:
    koi = Batch(species="koi", origin="North", number=5)
    assert answers() == {}
    assert answers(koi) == {}  # there may be others that nobody wrote down
    assert answers(koi, total=6) == {}
    assert answers(koi, total=5) == {"mixed_species": False, "mixed_origin": False}
    assert answers(koi, Batch(species="orfe", number=1)) == {"mixed_species": True}
    assert answers(koi, Batch(species="Koi", origin="East")) == {"mixed_origin": True}
    assert answers(koi, Batch(species="koi", number=1), total=6) == {"mixed_species": False}


@pytest.mark.parametrize(("days", "recent"), [(-1, False), (0, True), (28, True), (29, False)])
def test_an_arrival_in_the_last_four_weeks_is_recent(days: int, recent: bool) -> None:
    found = answers(Batch(species="koi", arrived=DAY - datetime.timedelta(days=days)))
    assert found == ({"recent_introduction": True} if recent else {})


def test_an_answer_stands_against_the_batches_and_is_reported() -> None:
    text = '[history]\nrecent_introduction = "no"\n[[batches]]\nspecies = "koi"\narrived = 2026-09-30\n' + LOOK
    result = evidence(text)
    assert result.answers == {"recent_introduction": False}
    assert [(one.finding, one.stated, one.derived) for one in result.contradictions] == [("recent_introduction", 0, 1)]
    derived = evidence(text.replace('recent_introduction = "no"', ""))
    assert derived.answers == {"recent_introduction": True}
    assert derived.answer_trace["recent_introduction"] == "a batch of koi arrived 3 days before"


# --- numbers of fish --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("numbers", "levels"),
    [
        ({}, {}),
        ({"total": 40}, {}),
        ({"sick": 4}, {}),  # of how many?
        ({"total": 40, "sick": 3}, {"many_affected": 0}),
        ({"total": 40, "sick": 4}, {"many_affected": 1}),
        ({"total": 40, "sick": 20}, {"many_affected": 1}),
        ({"total": 40, "sick": 11, "dead": 10}, {"many_affected": 2}),
        ({"dead_today": 0}, {"deaths_daily": 0}),
        ({"dead_today": 1}, {}),
        ({"total": 5, "dead_today": 1}, {"deaths_daily": 1}),  # a fifth, but one fish
        ({"total": 100, "dead_today": 4}, {"deaths_daily": 1}),
        ({"total": 100, "dead_today": 5}, {"deaths_daily": 2}),
        ({"total": 100, "dead": 62, "dead_today": 2}, {"deaths_daily": 2}),  # 2 of the 40 alive this morning
        ({"total": 0, "sick": 0}, {}),
    ],
)
def test_numbers_of_fish_become_levels(numbers: dict[str, int], levels: dict[str, int]) -> None:
    assert {id: level for id, level, _ in grade_numbers(Numbers(**numbers))} == levels


def test_a_stated_share_stands_against_the_numbers_and_is_reported() -> None:
    result = evidence('[numbers]\ntotal = 20\nsick = 15\n[findings]\nmany_affected = "some"\n')
    assert observed(result, "many_affected").level == 1
    assert [(one.finding, one.stated, one.derived) for one in result.contradictions] == [("many_affected", 1, 2)]


def test_numbers_at_the_top_hold_for_a_look_without_its_own() -> None:
    text = "[numbers]\ntotal = 20\nsick = 15\n"
    assert observed(evidence(text + LOOK), "many_affected").level == 2
    assert observed(evidence(text + LOOK + "numbers = {total = 20, sick = 0}\n"), "many_affected").level == 0


# --- readings ---------------------------------------------------------------------------------------------------------


def test_readings_become_findings_with_their_trace() -> None:
    result = evidence('[readings]\nnitrite = "1.6 mg/L NO2"\ntemperature = "77 F"\n', group="rainbowfish")
    nitrite = observed(result, "water_nitrite_high")
    assert nitrite.level == 2
    assert "nitrite 1.6 mg/L NO2" in nitrite.trace[0]
    assert result.temperature_c == pytest.approx(25)
    assert result.examinations_done["water_test"] > 0


def test_a_stated_water_finding_stands_against_its_reading_and_is_reported() -> None:
    result = evidence('[readings]\nnitrite = "0.05 mg/L NO2"\n[findings]\nwater_nitrite_high = "dangerous"\n')
    assert observed(result, "water_nitrite_high").level == 2
    (contradiction,) = result.contradictions
    assert (contradiction.finding, contradiction.stated, contradiction.derived) == ("water_nitrite_high", 2, 0)
    agree = evidence('[readings]\nnitrite = "9 mg/L NO2"\n[findings]\nwater_nitrite_high = "dangerous"\n')
    assert agree.contradictions == ()


def test_what_cannot_be_graded_is_said_and_not_guessed() -> None:
    result = evidence('[readings]\nammonia = "1 mg/L N"\n')
    assert "water_ammonia_high" not in {one.finding for one in result.observations}
    (ignored,) = result.ignored
    assert ignored.finding == "water_ammonia_high"
    assert "pH" in ignored.why


def test_of_several_rounds_and_tanks_the_worst_stands() -> None:
    text = '[readings]\nnitrite = ["0.05 mg/L NO2", {value = "3 mg/L NO2", time = "18:00"}, "0.3 mg/L NO2"]\n'
    assert observed(evidence(text, group="rainbowfish"), "water_nitrite_high").level == 2
    tanks = '[readings]\nnitrite = [{value = "0 mg/L NO2", tank = "A1"}, {value = "3 mg/L NO2", tank = "A4"}]\n'
    one = observed(evidence(tanks, group="rainbowfish"), "water_nitrite_high")
    assert one.level == 2
    assert one.trace[0].startswith("tank A4; ")


def test_readings_of_one_round_and_one_tank_are_judged_together() -> None:
    """A pH of the evening must not meet the ammonia of the morning, nor one tank's pH another's ammonia."""
    rounds = [
        (tank, {name: one.value for name, one in readings.items()})
        for tank, readings in rounds_of({"ph": (7.0, 9.0), "ammonia": ("1 mg/L N", "0 mg/L N"), "temperature": "25 C"})
    ]
    assert rounds == [
        (None, {"ph": 7.0, "ammonia": 1.0, "temperature": 25.0}),
        (None, {"ph": 9.0, "ammonia": 0.0, "temperature": 25.0}),
    ]
    text = (
        '[readings]\ntemperature = "25 C"\nph = [{value = 6.5, tank = "A"}, {value = 9.0, tank = "B"}]\n'
        'ammonia = [{value = "2 mg/L N", tank = "A"}, {value = "0 mg/L N", tank = "B"}]\n'
    )
    assert observed(evidence(text), "water_ammonia_high").level == 0


def test_no_reading_no_temperature() -> None:
    assert evidence('[findings]\nlethargy = "mild"\n').temperature_c is None


# --- the whole --------------------------------------------------------------------------------------------------------


def test_observations_come_in_the_order_of_the_reference_and_are_complete() -> None:
    result = evidence(LOOK + "readings = {ph = 7.5}\n" + scrape(rest="true"))
    order = [*REFERENCE.findings]
    places = [order.index(one.finding) for one in result.observations]
    assert places == sorted(places)
    for one in result.observations:
        assert len(one.detection) == len(REFERENCE.findings[one.finding].levels) - 1
        assert all(0 <= chance <= 1 for chance in one.detection)
        assert one.trace
        assert one.sure in REFERENCE.sureness


def test_evidence_does_not_depend_on_the_order_of_examinations() -> None:
    parts = [
        scrape('fish = "1"', findings='skin_costia = "few"'),
        scrape('fish = "2"', findings='skin_costia = {level = "many", sure = "fairly"}'),
        scrape(rest="true"),
    ]
    forth, back = evidence(FISH + LOOK + "".join(parts)), evidence(FISH + LOOK + "".join(reversed(parts)))
    for one, other in zip(forth.observations, back.observations, strict=True):
        assert (one.finding, one.level, one.sure) == (other.finding, other.level, other.sure)
        assert one.detection == pytest.approx(other.detection)
