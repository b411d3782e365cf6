"""Identify: questions, candidates as the core ranks them, drawings, entering the answer as a finding."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.test import Client

from wetmount.casebook import views
from wetmount.casebook.models import Case, Device, Examination, FindingEntry
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases
from wetmount.casebook.views.identify import DRAWN
from wetmount.identify import identify, vocabulary

pytestmark = pytest.mark.django_db
COSTIA = {"site": "skin", "water": "fresh", "movement": "flickering", "outline": "comma", "size": "12",
          "attachment": "free"}  # fmt: skip


def text(response: Any) -> str:
    return response.content.decode()


def test_pages_open_and_strangers_are_refused(browser: Client, stranger: Client, case: Case) -> None:
    for path in ("/identify/", f"/case/{case.number}/identify/"):
        assert browser.get(path).status_code == 200
        assert stranger.get(path).status_code == 403
        assert browser.post(path).status_code == 405
    assert browser.get("/case/999/identify/").status_code == 404
    assert browser.get(f"/case/{case.number}/identify/enter/").status_code == 405


def test_candidates_are_ranked_as_the_core_ranks_them(browser: Client) -> None:
    asked = {"site": "gill", "movement": "leech_like", "water": "fresh"}
    page = text(browser.get("/identify/", asked))
    found = identify("gill", reference(), water="fresh", features={"movement": "leech_like"})
    shown = [one.name for one in found.candidates if one.probability >= 0.005][:6]
    places = [page.index(f"<h3>{name}</h3>") for name in shown]
    assert places == sorted(places)
    assert "What would tell them apart" in page
    assert f"{found.next_features[0].objective}×" in page


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"site": "moon"}, "is no site; accepted are skin"),
        ({"site": "skin", "size": "huge"}, "The size, in µm: a number"),
        ({"site": "skin", "movement": "teleporting"}, "is not in the table"),
        ({"site": "skin", "water": "beer"}, "is no water"),
    ],
)
def test_what_cannot_be_is_told_in_a_sentence(browser: Client, asked: dict[str, str], sentence: str) -> None:
    answer = browser.get("/identify/", asked)
    assert answer.status_code == 422
    assert sentence in text(answer)


def test_the_answer_enters_as_a_finding_with_its_sureness(browser: Client, case: Case, scrape: Examination) -> None:
    answer = browser.post(f"/case/{case.number}/identify/enter/", COSTIA | {"level": "2", "fish": scrape.fish_id})
    assert answer.status_code == 302
    entry = FindingEntry.objects.get()
    sure = identify(
        "skin", reference(), size_um=12, water="fresh",
        features={"movement": "flickering", "outline": "comma", "attachment": "free"},
    ).sure  # fmt: skip
    assert (entry.finding, entry.level, entry.sure, entry.examination) == ("skin_costia", 2, sure, scrape)


def test_what_cannot_be_entered_is_refused(browser: Client, device: Device, case: Case, open_case: Any) -> None:
    path = f"/case/{case.number}/identify/enter/"
    assert browser.post(path, {}).status_code == 422
    assert browser.post(path, {"site": "skin", "outline": "round", "movement": "still", "attachment": "free",
                               "colour": "green"}).status_code == 422  # fmt: skip
    assert browser.post(path, COSTIA | {"level": "7"}).status_code == 422
    assert browser.post(path, COSTIA | {"fish": "999"}).status_code == 422
    cases.close_case(device, case)
    assert browser.post(path, COSTIA).status_code == 409
    assert not FindingEntry.objects.exists()


def test_every_outline_and_every_organism_has_a_drawing() -> None:
    folder = Path(views.__file__).parents[1] / "templates" / "casebook" / "count"
    drawn = set(re.findall(r'id="d-([a-z_]+)"', (folder / "drawings.html").read_text(encoding="utf-8")))
    assert set(vocabulary(reference())["outline"]) <= drawn
    assert drawn >= DRAWN
    assert set(reference().organisms) <= drawn
