"""First aid: the table merges without conflict, and the ammonia that a pH rise frees is the published one."""

from itertools import combinations

import pytest

from wetmount.errors import InputError
from wetmount.first_aid import (
    NO_PH_RISE_ORDER,
    Step,
    ammonia_if_ph_rises,
    first_aid,
    not_if,
    red_flags,
)
from wetmount.reference import load_reference

REFERENCE = load_reference()
FLAGS = tuple(REFERENCE.red_flags)


def steps_of(*flags: str) -> tuple[Step, ...]:
    return first_aid(flags, REFERENCE)


# --- the table --------------------------------------------------------------------------------------------------------


def test_the_same_act_has_the_same_words_under_every_flag() -> None:
    acts: dict[int, set[tuple[str, str]]] = {}
    for row in REFERENCE.first_aid:
        acts.setdefault(row.order, set()).add((row.text, row.why))
    assert {order: len(words) for order, words in acts.items() if len(words) > 1} == {}
    assert len({text for words in acts.values() for text, _ in words}) == len(acts)


def test_every_flag_has_steps_and_every_step_a_flag() -> None:
    assert {row.flag for row in REFERENCE.first_aid} == set(FLAGS)
    assert {other for row in REFERENCE.first_aid for other in not_if(row)} <= set(FLAGS)


@pytest.mark.parametrize("flag", FLAGS)
def test_one_flag_gives_a_short_list(flag: str) -> None:
    steps = steps_of(flag)
    assert 3 <= len(steps) <= 7
    assert [step.order for step in steps] == list(range(1, len(steps) + 1))
    assert all(step.flags == (flag,) for step in steps)


@pytest.mark.parametrize("pair", list(combinations(FLAGS, 2)))
def test_two_flags_merge_without_repetition_or_conflict(pair: tuple[str, str]) -> None:
    steps = steps_of(*pair)
    texts = [step.text for step in steps]
    assert len(set(texts)) == len(texts) <= 10
    assert steps_of(*reversed(pair)) == steps
    forbidden = {row.text for row in REFERENCE.first_aid if not_if(row) & set(pair)}
    assert forbidden.isdisjoint(texts)
    # One way of giving air and one rule on new water: two would contradict each other.
    assert sum("air" in text.lower().split(":")[0].split() for text in texts) <= 2
    assert sum(text.startswith(("Change a third", "Change half", "No more new water")) for text in texts) <= 1


@pytest.mark.parametrize("flag", FLAGS)
def test_every_list_forbids_raising_ph_feeding_and_treating(flag: str) -> None:
    """A pH rise frees ammonia (Emerson et al. 1975), so every list says so, whatever else it holds."""
    texts = [step.text for step in steps_of(flag)]
    assert any("Nothing that raises pH" in text for text in texts)
    assert any("No food, and no medicine" in text for text in texts)


def test_new_water_is_conditioned_matched_and_stated_in_amount() -> None:
    changes = {row.text for row in REFERENCE.first_aid if row.text.startswith("Change ")}
    assert len(changes) == 2
    for text in changes:
        for words in ("conditioned", "within 1 °C", "pH not above"):
            assert words in text
        assert text.startswith(("Change a third", "Change half"))


def test_the_bag_fish_came_in_is_not_aerated() -> None:
    """Air drives carbon dioxide out of transport water and so its pH up; what that frees: Emerson et al. 1975."""
    texts = [step.text for step in steps_of("gasping_surface", "in_transport_water")]
    assert any(text.startswith("Do not bubble air into the bag water") for text in texts)
    assert not any(text.startswith("More air") for text in texts)
    assert not any(text.startswith("Change ") for text in texts)


def test_without_power_air_is_given_by_hand() -> None:
    texts = [step.text for step in steps_of("gasping_surface", "power_failure")]
    assert texts[0].startswith("Switch heater, pump and filter off at the wall")
    assert texts[1].startswith("Air by hand")
    assert not any(text.startswith("More air") for text in texts)


def test_water_that_may_hold_chlorine_is_conditioned_not_changed() -> None:
    texts = [step.text for step in steps_of("gasping_surface", "untreated_water")]
    assert "water conditioner" in texts[0]
    assert not any(text.startswith("Change ") for text in texts)


# --- red flags --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("flag", [flag for flag in FLAGS if REFERENCE.red_flags[flag].from_finding])
def test_a_finding_raises_its_flag_from_its_level(flag: str) -> None:
    row = REFERENCE.red_flags[flag]
    assert row.from_finding is not None
    assert row.from_level is not None
    seen = red_flags(REFERENCE, findings={row.from_finding: row.from_level})
    assert [one.id for one in seen] == [flag]
    assert red_flags(REFERENCE, findings={row.from_finding: row.from_level - 1}) == ()


def test_an_answer_and_a_name_raise_flags_too() -> None:
    seen = red_flags(REFERENCE, answers={"chemical_exposure": True, "new_system": True}, named=["power_failure"])
    assert [one.id for one in seen] == ["chemical_exposure", "power_failure"]
    assert red_flags(REFERENCE, answers={"chemical_exposure": False}) == ()
    assert first_aid(seen, REFERENCE) == steps_of("chemical_exposure", "power_failure")


def test_no_flag_no_list() -> None:
    assert red_flags(REFERENCE) == ()
    assert steps_of() == ()


def test_an_unknown_flag_is_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match="gasping_surface"):
        steps_of("gasping_surfac")
    with pytest.raises(InputError, match="accepted are"):
        red_flags(REFERENCE, named=["zzz"])


# --- ammonia ----------------------------------------------------------------------------------------------------------


def test_what_a_ph_rise_frees_is_the_published_share() -> None:
    """Trussell 1972, percent un-ionised at 20 °C: pH 7.5 1.24, pH 8.0 3.83, pH 8.5 11.18; slightly other pKa data, so
    within 2 %."""
    rise = ammonia_if_ph_rises(REFERENCE, ph=7.5, temperature_c=20, total_ammonia_mg_n_per_l=1)
    assert rise.now_mg_n_per_l == pytest.approx(0.0124, rel=0.02)
    assert [at_ph for at_ph, _ in rise.risen] == [8.0, 8.5]
    assert [free for _, free in rise.risen] == pytest.approx([0.0383, 0.1118], rel=0.02)


def test_worked_example_of_the_extension_table() -> None:
    """UF/IFAS FA16, fraction un-ionised: 0.0502 at pH 8.0 and 24 °C, 0.0998 at pH 8.2 and 28 °C."""
    for temperature_c, ph, published in ((24, 8.0, 0.0502), (28, 8.2, 0.0998)):
        rise = ammonia_if_ph_rises(REFERENCE, ph=ph - 1, temperature_c=temperature_c, total_ammonia_mg_n_per_l=1)
        assert rise.risen[-1] == (ph, pytest.approx(published, abs=6e-5))


def test_salt_water_holds_less_of_it_free() -> None:
    """Bower and Bidwell 1978, salinity 34, 25 °C: 1.39 % un-ionised at pH 7.5; the equation used errs by up to 4 %."""
    sea = ammonia_if_ph_rises(REFERENCE, ph=7.5, temperature_c=25, total_ammonia_mg_n_per_l=1, salinity_g_per_kg=34)
    assert sea.now_mg_n_per_l == pytest.approx(0.0139, rel=0.05)
    assert (
        sea.limit_mg_n_per_l
        != ammonia_if_ph_rises(REFERENCE, ph=7.5, temperature_c=25, total_ammonia_mg_n_per_l=1).limit_mg_n_per_l
    )


def test_the_step_against_raising_ph_carries_the_figures() -> None:
    plain = first_aid(["gasping_surface"], REFERENCE)
    told = first_aid(["gasping_surface"], REFERENCE, ph=7.0, temperature_c=24, total_ammonia_mg_n_per_l=2)
    changed = [(a.text, b.text) for a, b in zip(plain, told, strict=True) if a != b]
    assert len(changed) == 1
    before, after = changed[0]
    assert before == next(row.text for row in REFERENCE.first_aid if row.order == NO_PH_RISE_ORDER)
    # 2 mg/L at 24 °C holds twice the fraction of FA16's table, 0.0502 at pH 8.0.
    assert "0.1 mg/L at pH 8" in after
    assert "test pH every ten minutes" in after


def test_ammonia_over_the_limit_already_says_so() -> None:
    told = first_aid(["gasping_surface"], REFERENCE, ph=8.0, temperature_c=24, total_ammonia_mg_n_per_l=2)
    assert any("limit of 0.016 mg/L already" in step.text for step in told)


def test_the_limit_of_the_host_is_used() -> None:
    stricter = ammonia_if_ph_rises(REFERENCE, ph=7, temperature_c=28, total_ammonia_mg_n_per_l=1, host_group="discus")
    pond = ammonia_if_ph_rises(REFERENCE, ph=7, temperature_c=18, total_ammonia_mg_n_per_l=1, host_group="koi")
    assert stricter.limit_mg_n_per_l is not None
    assert pond.limit_mg_n_per_l is not None
    assert stricter.limit_mg_n_per_l < pond.limit_mg_n_per_l


def test_ammonia_without_ph_asks_for_it() -> None:
    told = first_aid(["gasping_surface"], REFERENCE, total_ammonia_mg_n_per_l=2)
    assert any("measure pH and temperature too" in step.text for step in told)


def test_no_ammonia_no_figures() -> None:
    assert first_aid(["gasping_surface"], REFERENCE, ph=7, temperature_c=24, total_ammonia_mg_n_per_l=0) == steps_of(
        "gasping_surface"
    )
