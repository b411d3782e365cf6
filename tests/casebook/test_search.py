"""Searching cases: every word, beginnings of words, accents and capitals aside; the same on both databases."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from wetmount.casebook.models import Case, CaseText, Device, Examination
from wetmount.casebook.search import searchable, with_words, words_of
from wetmount.casebook.services import cases, keeping, looking


def found(query: str) -> list[int]:
    return list(with_words(Case.objects.order_by("number"), query).values_list("number", flat=True))


def test_words_are_plain() -> None:
    # "é" as one sign and as e with a combining accent are the same letter (Unicode Standard Annex 15).
    assert words_of("Néon-tetras, Ne\u0301on") == ["neon", "tetras", "neon"]
    assert words_of("Weiße STRASSE") == ["weisse", "strasse"]
    assert searchable("0.8 mg/L NO2-N?") == "0 8 mg l no2 n"
    assert words_of("!?* – ''") == []


@pytest.mark.django_db
def test_every_word_must_occur_and_may_be_cut_short(open_case: Callable[..., Case]) -> None:
    one = open_case(worries="Flügel geklemmt, Neón blass", which_fish="Becken 7")
    two = open_case(worries="Neon tetras gasping", which_fish="B2")
    assert found("neon") == [one.number, two.number]
    assert found("NEÓN flugel") == [one.number]
    assert found("gasp neo") == [two.number]
    assert found("gasping blass") == []
    assert found("asping") == [], "a word is found by its beginning, not by its middle"


@pytest.mark.django_db
def test_everything_written_is_searched(device: Device, case: Case, scrape: Examination) -> None:
    fresh = {
        "Melanotaenia": None,  # species
        "harbour": None,  # room
        "a4": None,  # tank
        "flickering": lambda: looking.record_finding(device, scrape, "skin_costia", 2),
        "shimmering": lambda: keeping.add_note(device, "A shimmering film", case=case),
        "telephone": lambda: keeping.add_task(device, "news", "Telephone the keeper", case.opened, case=case),
        "columnaris": lambda: cases.set_cause(device, case, "columnaris", "likely"),
    }
    for word, write in fresh.items():
        if write is not None:
            assert found(word) == [], word
            write()
        assert found(word) == [case.number], word


@pytest.mark.django_db
def test_what_was_looked_for_and_not_seen_is_not_found_by_its_name(device: Device, scrape: Examination) -> None:
    looking.record_finding(device, scrape, "skin_costia", 0)
    assert found("flickering") == []


@pytest.mark.django_db
@pytest.mark.parametrize(
    "query", ['"', "a* OR b", "NEAR(", "'; DROP TABLE x", "& | !", "\\", "x:*", "(", "<->", "\x00"]
)
def test_no_query_is_an_error(case: Case, query: str) -> None:
    found(query)
    assert Case.objects.filter(pk=case.pk).exists()


@pytest.mark.django_db
def test_long_words_and_many_words(open_case: Callable[..., Case]) -> None:
    one = open_case(worries="x" * 3000 + " rubbing")
    assert found("x" * 3000) == [one.number]
    assert found("rubbing " * 500) == [one.number]


@pytest.mark.django_db
def test_no_word_finds_all_and_the_deleted_are_not_there(device: Device, case: Case) -> None:
    assert found("  ?! ") == [case.number]
    cases.delete_case(device, case)
    assert found("rubbing") == []
    assert CaseText.objects.filter(case=case.pk).exists(), "it can still be brought back"
