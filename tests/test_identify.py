"""Identification: standard pictures of the trade come out first, the arithmetic is Bayes, the words are the table's."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wetmount.errors import InputError
from wetmount.identify import FEATURES, SITES, identify, vocabulary
from wetmount.reference import load_reference

REFERENCE = load_reference()
WORDS = vocabulary(REFERENCE)

# What the general teaching texts say settles each: UF/IFAS Circulars 716 and 920, FA28, FA164, FA184 and FA185 (text in
# the bibliography); where none is named, common practice, no source.
TEXTBOOK = [
    ("skin", "fresh", 400, {"movement": "rolling", "nucleus": "horseshoe"}, "ich_trophont", "skin_ich_trophont"),
    ("skin", "salt", 300, {"movement": "rolling", "nucleus": "four_lobed"}, "cryptocaryon", "skin_ich_trophont"),
    ("gill", None, 60, {"outline": "disc", "movement": "spinning"}, "trichodinid", "gill_trichodinid"),
    ("skin", None, 10, {"movement": "flickering"}, "costia", "skin_costia"),
    ("skin", "fresh", 50, {"outline": "heart", "movement": "gliding"}, "chilodonella", "skin_chilodonella"),
    ("gill", "fresh", 900, {"outline": "worm_flat", "eyespots": "four"}, "dactylogyrid", "gill_dactylogyrid"),
    ("skin", "fresh", 500, {"outline": "worm_flat", "eyespots": "none"}, "gyrodactylid", "skin_gyrodactylid"),
    ("skin", "salt", 4000, {"outline": "worm_flat", "attachment": "by_suckers"}, "capsalid", "skin_capsalid"),
    ("skin", "fresh", 60, {"movement": "still", "colour": "brown"}, "piscinoodinium", "skin_dinospore_cells"),
    ("skin", None, 6000, {"outline": "disc", "eyespots": "compound"}, "louse", "visible_parasite"),
    ("gut", None, 60, {"outline": "lemon"}, "nematode_egg", "faecal_nematode_eggs"),
    ("gut", None, 10, {"outline": "pear", "movement": "darting"}, "hexamitid", "faecal_flagellates"),
    ("skin", None, 8, {"outline": "rod", "movement": "bending"}, "gliding_rods", "skin_rods_gliding"),
    ("skin", "fresh", 1500, {"outline": "worm_flat", "movement": "gliding"}, "turbellarian", None),
]


@pytest.mark.parametrize(("site", "water", "size", "features", "first", "finding"), TEXTBOOK)
def test_textbook_descriptions(
    site: str, water: str | None, size: float, features: dict[str, str], first: str, finding: str | None
) -> None:
    found = identify(site, REFERENCE, size_um=size, water=water, features=features)
    assert found.candidates[0].id == first
    assert found.candidates[0].probability > 0.5
    assert found.finding == finding
    assert found.sure in ("fairly", "doubtful")  # fewer than four features are never sure


def test_probability_by_hand() -> None:
    # prior = rate of the condition × chance at the site; then × chance of the word; normalised over the table
    weights = {}
    for organism in REFERENCE.organisms.values():
        rate = organism.rate or REFERENCE.conditions[organism.condition or ""].rate
        sites = dict(cell.split("=") for cell in organism.sites)
        words = {word: float(p) for word, p in (cell.split("=") for cell in organism.movement)}
        others = len(WORDS["movement"]) - len(words)
        chance = words.get("spinning", max(0.02 / others, (1 - sum(words.values())) / others))
        weights[organism.id] = rate * float(sites.get("skin", 0.002)) * chance
    total = math.fsum(weights.values())
    found = identify("skin", REFERENCE, features={"movement": "spinning"})
    for candidate in found.candidates:
        assert candidate.probability == pytest.approx(weights[candidate.id] / total, rel=1e-9)


@given(
    st.sampled_from(SITES),
    st.fixed_dictionaries({}, optional={feature: st.sampled_from(WORDS[feature]) for feature in FEATURES}),
    st.one_of(st.none(), st.floats(0.5, 50_000)),
)
@settings(max_examples=40, deadline=None)
def test_probabilities_add_up_and_information_is_never_negative(
    site: str, features: dict[str, str], size: float | None
) -> None:
    found = identify(site, REFERENCE, size_um=size, features=features)
    assert math.fsum(candidate.probability for candidate in found.candidates) == pytest.approx(1)
    assert all(answer.bits > -1e-9 for answer in found.next_features)
    asked = {answer.feature for answer in found.next_features}
    assert asked == {*FEATURES, *(() if size is not None else ("size",))} - set(features)
    assert found.sure != "sure" or found.features_used >= 4


def test_the_next_feature_is_the_one_that_tells_the_leading_two_apart() -> None:
    # flat worm on the gill: eyespots part the two flukes (UF/IFAS FA28)
    found = identify("gill", REFERENCE, size_um=600, features={"outline": "worm_flat", "attachment": "by_hooks"})
    assert {c.id for c in found.candidates[:2]} == {"dactylogyrid", "gyrodactylid"}
    assert found.next_features[0].feature == "eyespots"
    assert dict(found.next_features[0].shows)["dactylogyrid"] == "four"
    # ich and its marine double differ by nucleus, at the high dry objective
    found = identify("skin", REFERENCE, features={"movement": "rolling", "outline": "round"})
    nucleus = next(answer for answer in found.next_features if answer.feature == "nucleus")
    assert nucleus.objective == 40
    assert any("fresh or salt" in words for words in found.warnings)


def test_four_features_can_be_sure_and_size_alone_is_not() -> None:
    seen = {"movement": "rolling", "outline": "round", "nucleus": "horseshoe"}
    assert identify("skin", REFERENCE, size_um=500, features=seen).sure == "sure"
    assert identify("skin", REFERENCE, size_um=500).sure == "doubtful"


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: identify("tail", REFERENCE), "is no site"),
        (lambda: identify("skin", REFERENCE, size_um=-4), "out of range"),
        (lambda: identify("skin", REFERENCE, water="brackish"), "is no water"),
        (lambda: identify("skin", REFERENCE, features={"smell": "sweet"}), "no such feature"),
        (lambda: identify("skin", REFERENCE, features={"movement": "dancing"}), "not in the table"),
    ],
)
def test_words_the_table_does_not_know_are_refused(call: object, words: str) -> None:
    with pytest.raises(InputError, match=words):
        call()  # type: ignore[operator]
