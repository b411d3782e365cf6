"""Settings: units, costs that next examinations go by, own rows that are checked, the practice's name."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from django.test import Client

from wetmount.casebook import reference as tables
from wetmount.casebook.models import Act, Case, Device, Look, Setting
from wetmount.casebook.reference import reference
from wetmount.casebook.services import keeping, preferences
from wetmount.casebook.services.preferences import Cost, Preferences, practice_reference
from wetmount.casebook.services.weighing import ready, weighed
from wetmount.units import KINDS, parse_quantity

UNITS = {"temperature": "F", "volume": "UK gal", "gh": "Clark", "kh": "meq/L"}


@pytest.fixture(autouse=True)
def _no_overlay_stays() -> Iterator[None]:
    yield
    tables.use_overlay("")


def test_name_paper_and_units_are_kept(browser: Client) -> None:
    response = browser.post("/settings/", {"practice": "  Quay   Fish Health ", "paper": "letter", **UNITS})
    assert response.status_code == 302
    kept = preferences.preferences()
    assert (kept.practice, kept.paper, dict(kept.units)) == ("Quay Fish Health", "letter", UNITS)
    page = browser.get("/settings/").content.decode()
    assert 'value="Quay Fish Health"' in page
    assert '<option value="Clark" selected>' in page
    assert not Act.objects.exists(), "no part of any record"


# Conversions as published: NIST SP 811 (F), Units of Measurement Regulations 1995 (UK gallon 4.54609 L), NIST HB 44
# (US gallon 231 cubic inches = 3.785411784 L); 1 dGH = 1.7848 fH = 1.2522 Clark = 17.848 mg/L CaCO3 and
# 1 dKH = 0.35664 meq/L follow from 10 mg/L CaO and the atomic weights (IUPAC 2021).
@pytest.mark.parametrize(
    ("kind", "unit", "value", "shown"),
    [
        ("temperature", "C", 25.5, "25.5 °C"),
        ("temperature", "F", 26.0, "78.8 °F"),
        ("volume", "US gal", 37.85411784, "10 US gal"),
        ("volume", "UK gal", 45.4609, "10 UK gal"),
        ("gh", "fH", 10.0, "17.8 fH"),
        ("gh", "Clark", 10.0, "12.5 Clark"),
        ("gh", "mg/L CaCO3", 10.0, "178 mg/L CaCO3"),
        ("kh", "meq/L", 10.0, "3.57 meq/L"),
    ],
)
def test_values_are_shown_in_the_chosen_unit(kind: str, unit: str, value: float, shown: str) -> None:
    assert Preferences(units={kind: unit}).show(value, kind) == shown


def test_every_choice_of_a_unit_is_one_the_core_reads() -> None:
    for kind, units in preferences.UNITS.items():
        for unit in units:
            there = Preferences(units={kind: unit}).show(10.0, kind)
            assert parse_quantity(there, kind).value == pytest.approx(10.0, rel=0.01)
        assert next(iter(units)) in {name for one in KINDS[kind].units for name in one.names}


def test_the_weigh_up_shows_temperature_in_the_chosen_unit(browser: Client, case: Case, weighable: Look) -> None:
    browser.post("/settings/", {"practice": "", "paper": "a4", **UNITS})
    assert "77.9 °F" in browser.get(f"/case/{case.number}/weigh-up/").content.decode()


# Worked by hand with the same factors: 25.5 °C = 77.9 °F, 18 to 24 °C = 64.4 to 75.2 °F, 4 dKH = 4 x 17.848 mg/L CaCO3.
@pytest.mark.parametrize(
    ("text", "beside"),
    [
        ("at pH 8.4 and 25.5 °C (measured)", "at pH 8.4 and 25.5 °C (77.9 °F) (measured)"),
        ("odds in water of 18 to 24 °C", "odds in water of 18 to 24 °C (64.4 to 75.2 °F)"),
        ("alkalinity 4 dKH, hardness 10 dGH", "alkalinity 4 dKH (71.4 mg/L CaCO3), hardness 10 dGH"),
        ("colder by 2 °C; 0.8 mg/L NO2", "colder by 2 °C; 0.8 mg/L NO2"),
    ],
)
def test_the_chosen_unit_stands_beside_that_of_the_core(text: str, beside: str) -> None:
    chosen = Preferences(units={"temperature": "F", "kh": "mg/L CaCO3"})
    assert chosen.beside(text) == beside
    assert Preferences().beside(text) == text


def test_what_came_of_a_reading_is_told_in_the_chosen_unit_too(
    browser: Client, device: Device, case: Case, weighable: Look
) -> None:
    for parameter, value in (("ph", "8.4"), ("ammonia", "2 mg/L N")):
        keeping.set_reading(device, weighable, parameter, value)
    link = next(one for one in reference().links if one.finding == "water_ammonia_high")
    pages = [f"/case/{case.number}/{one}" for one in ("water/", "weigh-up/", f"weigh-up/rows/{link.condition}/")]
    assert not any("(77.9 °F)" in browser.get(page).content.decode() for page in pages)
    browser.post("/settings/", {"practice": "", "paper": "a4", **UNITS})
    for page in pages:
        assert "25.5 °C (77.9 °F)" in browser.get(page).content.decode(), page


def test_own_costs_are_what_next_examinations_go_by(browser: Client, case: Case, weighable: Look) -> None:
    plain = weighed(weighable, ready(case, weighable, reference()), "next").weighup
    dear = plain.next_examinations[0]
    response = browser.post("/settings/costs/", {f"minutes-{dear.id}": "600", f"money-{dear.id}": " 99.5 "})
    assert response.status_code == 302
    assert preferences.preferences().costs == {dear.id: Cost(600.0, 99.5)}
    chosen = practice_reference(preferences.preferences())
    assert chosen.version != reference().version
    assert chosen.examinations[dear.id].minutes == 600
    assert reference().examinations[dear.id].minutes == dear.minutes, "the tables themselves stay"
    asked = ready(case, weighable, chosen)
    now = weighed(weighable, asked, "next").weighup
    mine = next(one for one in now.next_examinations if one.id == dear.id)
    assert (mine.minutes, mine.money) == (600, 99.5)
    assert mine.information_bits == dear.information_bits
    assert now.next_examinations[0].id != dear.id
    assert "10 h" in browser.get(f"/case/{case.number}/weigh-up/?whole").content.decode()
    browser.post("/settings/costs/", {})
    assert practice_reference(preferences.preferences()) is reference()


@pytest.mark.parametrize("wrong", ["-1", "nan", "inf", "1e9", "ten", "1,5"])
def test_a_cost_that_is_none_is_refused_and_stays_typed(browser: Client, wrong: str) -> None:
    response = browser.post("/settings/costs/", {"minutes-skin_scrape": "12", "money-skin_scrape": wrong})
    assert response.status_code == 422
    page = response.content.decode()
    assert f'value="{wrong}"' in page
    assert 'aria-invalid="true"' in page
    assert not Setting.objects.exists()


def test_own_rows_are_checked_kept_and_used(browser: Client, tmp_path: Path) -> None:
    (tmp_path / "sources.csv").write_text("key,kind,citation\nbench_2026,memory,The bench's own count\n")
    response = browser.post("/settings/rows/", {"overlay": str(tmp_path)})
    # the folder of tests holds a folder of files, which is no table
    assert response.status_code == 422
    folder = tmp_path / "own"
    folder.mkdir()
    (tmp_path / "sources.csv").rename(folder / "sources.csv")
    assert browser.post("/settings/rows/", {"overlay": str(folder)}).status_code == 302
    assert "bench_2026" in reference().sources
    tables.use_overlay("")
    preferences.use_kept_overlay()
    assert "bench_2026" in reference().sources, "used again when the casebook is started"
    browser.post("/settings/rows/", {"overlay": ""})
    assert "bench_2026" not in reference().sources


def test_wrong_own_rows_are_named_by_file_row_and_column(browser: Client, tmp_path: Path) -> None:
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / "links.csv").write_text(
        "condition,finding,level,probability,basis,sources,note\ncostia,skin_costia,few,<b>much</b>,memory,,\n"
    )
    response = browser.post("/settings/rows/", {"overlay": str(folder)})
    assert response.status_code == 422
    page = response.content.decode()
    assert "links.csv" in page
    assert "line 2" in page
    assert "probability" in page
    assert "<b>much" not in page
    assert preferences.preferences().overlay == ""
    assert tables.overlay_folder() == ""


@pytest.mark.parametrize("folder", ["own", "/no/such/folder"])
def test_a_folder_that_is_none(browser: Client, folder: str) -> None:
    assert browser.post("/settings/rows/", {"overlay": folder}).status_code == 422


def test_only_the_computer_itself_chooses_a_folder(phone_browser: Client, tmp_path: Path) -> None:
    assert phone_browser.get("/settings/").status_code == 200
    response = phone_browser.post("/settings/rows/", {"overlay": str(tmp_path)})
    assert response.status_code == 422
    assert "on the computer" in response.content.decode()
    assert not Setting.objects.exists()


def test_what_is_not_on_the_list_is_refused(browser: Client) -> None:
    assert browser.post("/settings/", {"practice": "", "paper": "a3", **UNITS}).status_code == 422
    assert browser.post("/settings/", {"practice": "", "paper": "a4", **UNITS, "gh": "stone"}).status_code == 422
    assert browser.post("/settings/", {"practice": "x" * 101, "paper": "a4", **UNITS}).status_code == 422
    assert not Setting.objects.exists()


def test_strangers_and_wrong_methods(browser: Client, stranger: Client) -> None:
    for address in ("/settings/", "/settings/costs/", "/settings/rows/"):
        assert stranger.post(address, {"practice": "x"}).status_code == 403
    assert browser.put("/settings/").status_code == 405
    assert browser.get("/settings/costs/").status_code == 405
    assert browser.get("/settings/rows/").status_code == 405


def test_the_name_is_text(browser: Client) -> None:
    browser.post("/settings/", {"practice": '"><script>alert(1)</script>', "paper": "a4", **UNITS})
    assert "<script>alert" not in browser.get("/settings/").content.decode()
