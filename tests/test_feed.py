"""Feed: biomass, rations, medicated feed; published sums are in test_dose_examples."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wetmount.errors import InputError
from wetmount.feed import (
    FishCounted,
    biomass,
    feed_g_per_kg,
    fish_weight_g,
    injection_ml,
    medicated_feed,
    oral_mg_per_kg_day,
    ration_for,
)
from wetmount.reference import load_reference

REFERENCE = load_reference()


def test_weight_from_length_against_fishbase() -> None:
    """FishBase, Carassius auratus: a 0.0158 to 0.0245, b about 3 (memory), so 10 cm weigh 15 to 27 g."""
    assert 13 < fish_weight_g("Carassius auratus", 10, REFERENCE) < 30


def test_biomass_adds_up() -> None:
    got = biomass((FishCounted("Carassius auratus", 4, 10), FishCounted("Cyprinus rubrofuscus", 2, 30)), REFERENCE)
    one, other = fish_weight_g("Carassius auratus", 10, REFERENCE), fish_weight_g("Cyprinus rubrofuscus", 30, REFERENCE)
    assert got.grams == pytest.approx(4 * one + 2 * other)
    assert len(got.how) == 2


@given(st.sampled_from(sorted(REFERENCE.hosts)), st.floats(0.5, 1.0))
def test_every_host_that_has_figures_weighs_something(species: str, share: float) -> None:
    host = REFERENCE.hosts[species]
    if host.length_weight_a is None or host.max_length_cm is None:
        return
    grams = fish_weight_g(species, share * host.max_length_cm, REFERENCE)
    assert 0 < grams < 2e5


@pytest.mark.parametrize(
    ("group", "temperature", "kept"), [("koi", 12, "pond"), ("tetra", 25, "tropical"), ("seahorse", 25, "marine")]
)
def test_rations(group: str, temperature: float, kept: str) -> None:
    row = ration_for(group, temperature, REFERENCE)
    assert row.kept == kept
    assert row.percent_low <= row.percent_high


def test_rations_have_no_gap_and_pond_fish_get_none_in_the_cold() -> None:
    for kept in ("tropical", "pond", "marine"):
        bands = sorted((r.from_c, r.to_c) for r in REFERENCE.rations if r.kept == kept)
        assert all(a[1] == b[0] for a, b in pairwise(bands))
    assert ration_for("koi", 4, REFERENCE).percent_high == 0
    with pytest.raises(InputError):
        ration_for("koi", 60, REFERENCE)


def test_the_same_feed_is_a_threefold_overdose_at_three_per_cent() -> None:
    """2.5 g/kg feed at 1 % is 25 mg/kg/day, at 3 % 75; levamisole 4 g/kg at 3 % is 120."""
    assert oral_mg_per_kg_day(2.5, 1) == 25
    assert oral_mg_per_kg_day(2.5, 3) == 75
    assert oral_mg_per_kg_day(4, 3) == 120


def test_who_does_not_eat_is_not_treated_and_not_fed_for() -> None:
    whole = medicated_feed(1000, 1, 3, share_eating=1, mg_per_kg_day=50)
    part = medicated_feed(1000, 1, 3, share_eating=0.6, mg_per_kg_day=50)
    assert part.substance_mg == pytest.approx(0.6 * whole.substance_mg)
    assert part.g_per_kg_feed == whole.g_per_kg_feed == 5
    assert any("40 % of the group does not eat" in words for words in part.words)


@given(st.floats(0.1, 10), st.floats(0.1, 200))
def test_both_ways(ration: float, mg: float) -> None:
    assert oral_mg_per_kg_day(feed_g_per_kg(mg, ration), ration) == pytest.approx(mg)


@pytest.mark.parametrize(
    "make",
    [
        lambda: fish_weight_g("Nemo nemo", 10, REFERENCE),
        lambda: fish_weight_g("Carassius auratus", 0, REFERENCE),
        lambda: fish_weight_g("Carassius auratus", 1000, REFERENCE),
        lambda: biomass((), REFERENCE),
        lambda: biomass((FishCounted("Carassius auratus", 0, 10),), REFERENCE),
        lambda: medicated_feed(1000, 1, 3, share_eating=0, mg_per_kg_day=50),
        lambda: medicated_feed(1000, 0, 3, share_eating=1, mg_per_kg_day=50),
        lambda: medicated_feed(1000, 11, 3, share_eating=1, mg_per_kg_day=50),
        lambda: medicated_feed(math.nan, 1, 3, share_eating=1, mg_per_kg_day=50),
        lambda: medicated_feed(1000, 1, 90, share_eating=1, mg_per_kg_day=50),
        lambda: injection_ml(10, 0, 50),
    ],
)
def test_bad_input(make: object) -> None:
    with pytest.raises(InputError):
        make()  # type: ignore[operator]
