"""The tap counter and its neighbours in a browser: keys, a lost connection, room on a phone, axe in the lights."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from wetmount.casebook.models import Case, Examination, Slide

expect = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.django_db(transaction=True)
KINDS = "objective=40x&kind=skin_costia&kind=skin_trichodinid&kind=skin_rods_gliding"


def counter(case: Case, scrape: Examination) -> str:
    return f"/case/{case.number}/count/new/{scrape.pk}/?{KINDS}"


def test_counting_by_keys_saves_every_tap_and_takes_back(
    visit: Callable[..., Any], case: Case, scrape: Examination
) -> None:
    page = visit(counter(case, scrape), width=390)
    for key in ("1", "1", "2", "Space", "1", "Space"):
        page.keyboard.press(key)
    assert page.locator(".key .count").all_inner_texts() == ["3", "1", "0"]
    expect(page.locator(".key small").first).to_contain_text("a field")
    page.keyboard.press("z")
    page.keyboard.press("z")
    expect(page.locator("#said")).to_contain_text("Taken back")
    expect(page.locator("#saved")).to_contain_text("Saved after every tap", timeout=15_000)
    assert Slide.objects.get().counts == {"skin_costia": [2], "skin_trichodinid": [1], "skin_rods_gliding": [0]}
    # one screen: the keys, Next field and the row below lie above the tray
    tray = page.locator("#tray").bounding_box()
    below = page.locator(".counter .pair").bounding_box()
    assert below["y"] + below["height"] <= tray["y"]
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_lost_connection_loses_no_tap(visit: Callable[..., Any], case: Case, scrape: Examination) -> None:
    page = visit(counter(case, scrape), width=390)
    page.keyboard.press("1")
    page.wait_for_url("**/count/slide/**")
    page.context.set_offline(True)
    page.keyboard.press("1")
    page.keyboard.press("Space")
    expect(page.locator("#saved")).to_contain_text("Not saved yet, kept on this device", timeout=15_000)
    assert Slide.objects.get().counts["skin_costia"] == [1]
    page.context.set_offline(False)
    expect(page.locator("#saved")).to_contain_text("Saved after every tap", timeout=15_000)
    assert Slide.objects.get().counts["skin_costia"] == [2]
    page.reload()
    assert page.locator(".key .count").first.inner_text() == "2"


def test_keys_can_be_reassigned_and_are_remembered(visit: Callable[..., Any]) -> None:
    path = f"/count/slide/?examination=skin_scrape&{KINDS}"
    page = visit(path)
    page.get_by_role("button", name="Change the keys").click()
    page.locator("#key-list button").first.click()
    page.keyboard.press("b")
    page.locator("#key-list button").nth(1).evaluate("one => one.blur()")
    page.keyboard.press("b")
    assert page.locator(".key .count").first.inner_text() == "1"
    page.reload()
    assert page.locator(".key kbd").first.inner_text() == "B"
    assert page.locator(".key .count").first.inner_text() == "1"  # without a case, kept on this device


@pytest.mark.parametrize(("width", "light"), [(390, "bench"), (390, "microscope"), (1280, "dark")])
def test_nothing_that_axe_finds(
    visit: Callable[..., Any], axe: Callable[[Any], list[str]], case: Case, scrape: Examination, width: int, light: str
) -> None:
    page = visit(counter(case, scrape), width=width, light=light)
    page.keyboard.press("1")
    assert axe(page) == []
    for path in (
        "/count/", "/identify/?site=skin&movement=leech_like", "/count/fish/?before=0+3+1&after=0+1+0",
        "/forecast/?parasite=skin_flukes&burden=5&fish=6&volume=60&temperature=25", "/sample/?prevalence=10&clean=9",
        "/quarantine/?fish=9&arrived=2026-01-02&temperature=25",
        "/quarantine/delivery/?bag_temperature=19&bag_ph=6&bag_ammonia=4&tank_temperature=25&tank_ph=8&fish=9",
    ):  # fmt: skip
        page = visit(path, page=page)
        assert axe(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
