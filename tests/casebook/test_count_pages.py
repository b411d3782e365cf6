"""The tap counter: choosing, tapping without a script, saving into a slide, two devices, what is refused."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client

from wetmount.casebook.models import Case, Device, Examination, Setting, Slide
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, looking
from wetmount.casebook.views.count_figures import Microscope, chances, tally_of, told, two
from wetmount.counts import poisson_interval
from wetmount.errors import InputError

pytestmark = pytest.mark.django_db
QUICK = "/count/slide/?examination=skin_scrape&objective=40x&kind=skin_costia&kind=skin_rods_gliding"
PIECES = {"HTTP_X_WETMOUNT": "pieces"}


def text(response: Any) -> str:
    return response.content.decode()


def path_of(case: Case, scrape: Examination) -> str:
    return f"/case/{case.number}/count/save/{scrape.pk}/"


def send(client: Client, path: str, counts: dict[str, list[int]], **more: Any) -> Any:
    return client.post(path, {"counts": json.dumps(counts)} | more, **PIECES)


# --- pages ------------------------------------------------------------------------------------------------------------


def test_pages_open_and_strangers_are_refused(
    browser: Client, stranger: Client, case: Case, scrape: Examination
) -> None:
    of = f"/case/{case.number}/count/"
    for path in ("/count/", QUICK, of, f"{of}?of={scrape.pk}", f"{of}new/{scrape.pk}/?kind=skin_costia"):
        assert browser.get(path).status_code == 200, path
        refused = stranger.get(path)
        assert refused.status_code == 403
        assert case.title not in text(refused)


def test_bad_ids_and_wrong_methods(browser: Client, case: Case, scrape: Examination) -> None:
    of = f"/case/{case.number}/count/"
    for path in (f"{of}?of=999", f"{of}?of=x", f"{of}new/999/?kind=skin_costia", f"{of}new/{scrape.pk}/",
                 f"{of}slide/999/", "/case/999/count/"):  # fmt: skip
        assert browser.get(path).status_code == 404, path
    assert browser.get(path_of(case, scrape)).status_code == 405
    assert browser.get("/count/tally/").status_code == 405
    assert browser.post(QUICK).status_code == 405


def test_choosing_keeps_the_microscope_and_goes_on_to_the_keys(
    browser: Client, case: Case, scrape: Examination
) -> None:
    form = {"of": scrape.pk, "objective": "40x", "kind": ["skin_costia"], "field_number": "20", "tube": "1"}
    answer = browser.post(f"/case/{case.number}/count/", form)
    assert answer.status_code == 302
    page = text(browser.get(answer.url))
    assert "Flickering flagellates" in page
    assert "0.196 mm² a field" in page  # 20 mm behind a 40x objective: pi/4 x 0.5² mm²
    assert Setting.objects.get(key="microscope").value["field_number"] == 20


@pytest.mark.parametrize(
    ("form", "sentence"),
    [
        ({}, "Choose at least one kind"),
        ({"kind": ["skin_costia"], "field_number": "1"}, "The field number, in mm: a number from 5 to 40"),
        ({"kind": ["skin_costia"], "diameter": "wide"}, "diameter"),
    ],
)
def test_what_cannot_be_is_told_in_a_sentence(browser: Client, form: dict[str, Any], sentence: str) -> None:
    answer = browser.post("/count/", {"examination": "skin_scrape", "objective": "10x"} | form)
    assert answer.status_code == 422
    assert sentence in text(answer)


# --- tapping ----------------------------------------------------------------------------------------------------------


def test_a_tally_goes_into_the_slide_of_the_case(browser: Client, case: Case, scrape: Examination) -> None:
    path = path_of(case, scrape)
    told_ = send(browser, path, {"skin_costia": [3]}, objective="40x").json()
    row = Slide.objects.get(examination=scrape)
    assert (told_["slide"], row.objective, row.fields, row.counts) == (row.pk, "40x", 1, {"skin_costia": [3]})
    told_ = send(browser, path, {"skin_costia": [3, 0]}, slide=row.pk, seen=told_["version"]).json()
    row.refresh_from_db()
    assert row.counts == {"skin_costia": [3, 0]}
    assert told_["fields"] == 2
    assert browser.get(f"/case/{case.number}/count/slide/{row.pk}/").status_code == 200
    assert "2 fields" in text(browser.get(f"/case/{case.number}/count/"))


def test_sent_again_after_a_lost_answer_it_makes_no_second_slide(
    browser: Client, case: Case, scrape: Examination
) -> None:
    id = "7c1a3c1e-2a64-4d0c-9a6a-0d7b0d3f0a11"
    for counts in ([1], [1], [1, 2]):
        assert send(browser, path_of(case, scrape), {"skin_costia": counts}, id=id).status_code == 200
    assert Slide.objects.get(examination=scrape).counts == {"skin_costia": [1, 2]}


def test_without_scripts_each_key_is_a_press(browser: Client, case: Case, scrape: Examination) -> None:
    form = {"counts": json.dumps({"skin_costia": [], "skin_rods_gliding": []}), "objective": "10x"}
    for press, field in (("skin_costia", 0), ("skin_costia", 0), ("next", 0), ("next", 1), ("skin_rods_gliding", 2)):
        answer = browser.post(path_of(case, scrape), form | {"press": press, "field": field})
        assert answer.status_code == 302
        page = browser.get(answer.url)
        row = Slide.objects.get(examination=scrape)
        form |= {"counts": json.dumps(row.counts), "slide": row.pk, "seen": row.version}
        assert page.status_code == 200
    assert row.counts == {"skin_costia": [2, 0, 0], "skin_rods_gliding": [0, 0, 1]}
    answer = browser.post(path_of(case, scrape), form | {"press": "skip", "field": 2})
    assert Slide.objects.get(pk=row.pk).counts == {"skin_costia": [2, 0], "skin_rods_gliding": [0, 0]}


def test_two_devices_never_overwrite_each_other_silently(
    browser: Client, phone: Device, case: Case, scrape: Examination
) -> None:
    path = path_of(case, scrape)
    first = send(browser, path, {"skin_costia": [1]}).json()
    row = Slide.objects.get(pk=first["slide"])
    looking.change_slide(phone, row, counts={"skin_costia": [9]}, fields=1)
    clash = send(browser, path, {"skin_costia": [2]}, slide=row.pk, seen=first["version"])
    assert clash.status_code == 409
    assert clash.json()["clash"] == {"skin_costia": [9]}
    row.refresh_from_db()
    assert row.counts == {"skin_costia": [9]}
    decided = send(browser, path, {"skin_costia": [2]}, slide=row.pk, seen=clash.json()["version"])
    assert decided.status_code == 200


def test_a_slide_of_another_case_and_a_closed_case(
    browser: Client, device: Device, case: Case, scrape: Examination, open_case: Any
) -> None:
    send(browser, path_of(case, scrape), {"skin_costia": [1]})
    row = Slide.objects.get()
    other = open_case()
    assert browser.get(f"/case/{other.number}/count/slide/{row.pk}/").status_code == 404
    assert send(browser, f"/case/{other.number}/count/save/{scrape.pk}/", {"skin_costia": [1]}).status_code == 404
    cases.close_case(device, case)
    assert send(browser, path_of(case, scrape), {"skin_costia": [2]}, slide=row.pk, seen=row.version).status_code == 409
    assert 'value="skin_costia" data-many' in text(browser.get(f"/case/{case.number}/count/slide/{row.pk}/"))


@pytest.mark.parametrize(
    "counts",
    ['{"skin_costia": [-1]}', '{"skin_costia": [1.5]}', '{"skin_costia": [true]}', '{"nothing": [1]}', "[1]", "{", "1",
     '{"skin_costia": [1], "skin_rods_gliding": []}', '{"skin_costia": "12"}', '{"flashing": [1]}'],
)  # fmt: skip
def test_a_tally_that_cannot_be_is_refused(browser: Client, case: Case, scrape: Examination, counts: str) -> None:
    for path in (path_of(case, scrape), "/count/tally/"):
        assert browser.post(path, {"counts": counts}, **PIECES).status_code == 422
    assert not Slide.objects.exists()


def test_quick_counting_keeps_nothing(browser: Client) -> None:
    answer = send(browser, "/count/tally/", {"skin_costia": [1, 0]}, examination="skin_scrape", objective="10x")
    assert answer.json()["kinds"]["skin_costia"]["total"] == 1
    page = browser.post("/count/tally/", {"counts": '{"skin_costia": [1]}', "press": "skin_costia", "field": 0})
    assert '<span class="count">2</span>' in text(page)
    assert not Slide.objects.exists()


# --- words and numbers ------------------------------------------------------------------------------------------------


def test_densities_are_those_of_the_core() -> None:
    scope = Microscope(field_number_mm=20)
    area = scope.area_mm2("40x")
    assert area == pytest.approx(0.19635, abs=1e-5)
    said = told({"skin_costia": [5, 4, 6, 5], "skin_rods_gliding": [0] * 4}, area, scope, reference())
    low, high = (two(x / 4 / area) for x in poisson_interval(20))
    assert said["kinds"]["skin_costia"]["density"] == f"{two(5 / area)} a mm² ({low} to {high})"
    # Rule of three: 2.9957 over the fields looked at (Hanley and Lippman-Hand, JAMA 249:1743-1745, 1983).
    assert said["kinds"]["skin_rods_gliding"]["density"] == f"none; under {two(2.9957 / 4 / area)} a mm²"
    assert "in 1 count of 2" in " ".join(said["enough"])  # 1 - exp(-4 x 0.196) = 0.54


def test_numbers_and_chances_in_words() -> None:
    assert [two(x) for x in (0, 0.034, 0.998, 2.345, 34.4, 123.4, float("inf"))] == [
        "0", "0.034", "1.0", "2.3", "34", "120", "any number"
    ]  # fmt: skip
    assert [chances(x) for x in (0.01, 0.5, 0.75, 0.957, 0.999)] == [
        "in fewer than 1 count of 20", "in 1 count of 2", "in 3 counts of 4", "in 95 counts of 100",
        "in more than 99 counts of 100",
    ]  # fmt: skip


def test_a_tally_has_a_most() -> None:
    with pytest.raises(InputError, match="up to 2000 fields"):
        tally_of({"skin_costia": [0] * 2001}, reference())
