"""The frame of every page: one address for page and part, nothing inline, the light, the undo bar, refusals."""

from __future__ import annotations

import datetime as dt
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone

from wetmount.casebook import clock, shell
from wetmount.casebook.models import Case, Device, Examination
from wetmount.casebook.services import cases, looking
from wetmount.casebook.templatetags.look import glyph_of, percent

CASEBOOK = Path(shell.__file__).parent
HTMX = {"HTTP_HX_REQUEST": "true"}


class Inline(HTMLParser):
    """Collects what a strict policy would block."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = dict(attrs)
        if tag == "style" or (tag == "script" and not names.get("src")):
            self.found.append(tag)
        self.found += [f"{tag} {name}" for name in names if name == "style" or name.startswith(("on", "hx-on"))]
        self.found += [f"{tag} {name}" for name, value in attrs if value and value.strip().startswith("javascript:")]


def test_every_page_is_free_of_inline_script_and_style(browser: Client, case: Case) -> None:
    for address in (
        "/",
        "/cases/",
        "/rooms/",
        "/reference/",
        "/settings/",
        "/devices/",
        "/nothing/",
        f"/case/{case.number}/",
    ):
        response = browser.get(address)
        parser = Inline()
        parser.feed(response.content.decode())
        assert parser.found == [], address
        policy = response["Content-Security-Policy"]
        assert "default-src 'self'" in policy
        assert "unsafe" not in policy


def test_templates_and_scripts_hold_nothing_the_policy_forbids() -> None:
    for file in CASEBOOK.rglob("templates/**/*.html"):
        text = file.read_text(encoding="utf-8")
        assert not re.search(r"\sstyle=|<style|\son[a-z]+=|hx-on|<script(?![^>]*\bsrc=)", text), file.name
    for file in (CASEBOOK / "static").rglob("*.js"):
        assert not re.search(r"\beval\(|new Function|innerHTML|\.style\.|cssText", file.read_text(encoding="utf-8")), (
            file
        )


def test_one_address_is_page_and_part(browser: Client, case: Case) -> None:
    address = f"/case/{case.number}/"
    page, part = browser.get(address).content.decode(), browser.get(address, **HTMX).content.decode()
    assert "<html" in page
    assert "<html" not in part
    assert "<h1" in part
    assert 'id="tray"' in part
    assert 'hx-swap-oob="true"' in part
    for whole in ({"HTTP_HX_BOOSTED": "true"}, {"HTTP_HX_HISTORY_RESTORE_REQUEST": "true"}):
        assert "<html" in browser.get(address, **HTMX, **whole).content.decode()


@pytest.mark.parametrize("light", shell.LIGHTS)
def test_the_light_is_remembered_on_the_device(browser: Client, light: str) -> None:
    browser.post("/light/", {"light": light, "back": "/"})
    assert f'data-light="{light}"' in browser.get("/").content.decode()


def test_an_invented_light_is_none(browser: Client) -> None:
    browser.cookies["wetmount_light"] = '"><script>alert(1)</script>'
    page = browser.get("/").content.decode()
    assert "data-light" not in page
    assert "alert(1)" not in page


def test_the_undo_bar_repeats_the_last_entry_of_this_device(
    browser: Client, device: Device, phone: Device, scrape: Examination
) -> None:
    looking.record_finding(device, scrape, "skin_costia", 2, sure="doubtful")
    looking.record_finding(phone, scrape, "skin_chilodonella", 1)
    page = browser.get(f"/case/{scrape.look.case.number}/").content.decode()
    said = re.search(r'id="said">(.*?)</p>', page, re.S)
    assert said is not None
    assert "many, doubtful" in said[1]
    assert "fish 1" in said[1]


def test_a_closed_case_says_so_where_undo_stands(browser: Client, device: Device, case: Case) -> None:
    cases.close_case(device, case, on=dt.date(2026, 10, 20))
    page = browser.get(f"/case/{case.number}/").content.decode()
    assert "Closed and locked" in page
    assert re.search(r'class="undo" disabled', page)
    response = browser.post(f"/case/{case.number}/undo/")
    assert response.status_code == 409
    assert "addendum" in response.content.decode()


def test_what_was_typed_is_text(browser: Client, device: Device, case: Case) -> None:
    cases.change_case(device, case, title='<img src=x onerror="alert(1)">')
    page = browser.get(f"/case/{case.number}/").content.decode()
    assert "<img src=x" not in page
    assert "&lt;img src=x" in page


def test_what_is_not_there(browser: Client) -> None:
    response = browser.get("/case/77/")
    assert response.status_code == 404
    assert "no such page" in response.content.decode()


def test_frame_queries_do_not_grow(
    browser: Client, device: Device, scrape: Examination, django_assert_max_num_queries
) -> None:  # type: ignore[no-untyped-def]
    address = f"/case/{scrape.look.case.number}/"
    looking.sweep_rest(device, scrape)
    for _ in range(4):
        fish = looking.add_fish(device, scrape.look.case)
        looking.sweep_rest(device, looking.add_examination(device, scrape.look, "gill_scrape", fish=fish))
    with django_assert_max_num_queries(20):  # the frame and what the case page itself shows
        assert browser.get(address).status_code == 200


def test_every_level_of_the_reference_has_a_glyph() -> None:
    from wetmount.casebook.reference import reference

    drawn = set(re.findall(r'id="f-(\w+)"', (CASEBOOK / "templates/casebook/parts/symbols.html").read_text()))
    for row in reference().findings.values():
        glyphs = [glyph_of(row.levels, level) for level in range(len(row.levels))]
        assert set(glyphs) <= drawn
        assert len(set(glyphs)) == len(glyphs), f"{row.id}: two levels look alike"
    assert (glyph_of(("absent", "few"), None), glyph_of(("absent", "few"), 0, "swept")) == ("none", "swept")


def test_a_percentage_never_claims_certainty() -> None:
    assert [percent(p) for p in (0, 0.004, 0.5, 0.996, 1)] == ["0 %", "under 1 %", "50 %", "over 99 %", "100 %"]


def test_the_clock_is_the_machines() -> None:
    for moment in (dt.datetime(2026, 1, 15, 12, tzinfo=dt.UTC), dt.datetime(2026, 7, 15, 12, tzinfo=dt.UTC)):
        with timezone.override(clock.LOCAL):
            shown = timezone.localtime(moment)
        assert shown == moment
        assert shown.replace(tzinfo=None) == moment.astimezone().replace(tzinfo=None)  # the platform's own conversion
