"""The frame in a real browser: reachable, legible, remembered."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from wetmount.casebook.models import Case, Device, Examination, FindingEntry
from wetmount.casebook.services import looking

PHONE, LAPTOP = 390, 1280
FRAME = ("/devices/", "/nothing/")


@pytest.mark.parametrize("width", [PHONE, LAPTOP])
def test_axe_finds_nothing(
    visit: Callable[..., Any], axe_in_each_light: Callable[[Any], list[str]], case: Case, width: int
) -> None:
    page = None
    for path in (*FRAME, f"/case/{case.number}/"):
        page = visit(path, width=width, page=page)
        assert axe_in_each_light(page) == [], path


@pytest.mark.parametrize("width", [PHONE, LAPTOP])
def test_everything_to_press_is_48_px_and_nothing_scrolls_sideways(
    visit: Callable[..., Any], case: Case, width: int
) -> None:
    page = None
    for path in (*FRAME, f"/case/{case.number}/"):
        page = visit(path, width=width, page=page)
        small = page.evaluate(
            """() => [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, summary")]
                .filter(e => e.checkVisibility() && !e.matches(".skip, p a"))
                .map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 120)])
                .filter(([box]) => box.width < 48 || box.height < 48)
                .map(([box, html]) => `${box.width}x${box.height} ${html}`)"""
        )
        assert small == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_dim_is_remembered_on_this_device(visit: Callable[..., Any], case: Case) -> None:
    page = visit(f"/case/{case.number}/", width=PHONE)
    page.get_by_role("button", name="Dim").click()
    assert page.evaluate("document.documentElement.dataset.light") == "microscope"
    page.reload()
    assert page.evaluate("document.documentElement.dataset.light") == "microscope"
    page.get_by_role("button", name="Dim").click()
    page.reload()
    assert page.evaluate("document.documentElement.dataset.light") == "bench"


@pytest.mark.parametrize("how", ["press", "key"])
def test_undo_stands_bottom_left_and_works(
    visit: Callable[..., Any], device: Device, scrape: Examination, how: str
) -> None:
    looking.record_finding(device, scrape, "skin_costia", 2)
    page = visit(f"/case/{scrape.look.case.number}/", width=PHONE)
    undo = page.get_by_role("button", name="Undo")
    box = undo.bounding_box()
    assert (box["x"], round(box["y"] + box["height"])) == (0, 844)
    assert "many" in page.locator("#said").inner_text()
    undo.click() if how == "press" else page.keyboard.press("z")
    page.get_by_text("Taken back:").wait_for()
    assert not FindingEntry.objects.exists()
    page.reload()
    assert "Skin scrape, fish 1: begun" in page.locator("#said").inner_text(), "the entry before it is next"


def test_the_keyboard_reaches_everything_and_shows_where_it_is(visit: Callable[..., Any], case: Case) -> None:
    page = visit(f"/case/{case.number}/")
    wanted = page.evaluate(
        """() => [...document.querySelectorAll("a[href], button:not([disabled]), summary, input:not([type=hidden])")]
            .filter(e => e.checkVisibility()).length"""
    )
    seen = set()
    for _ in range(wanted + 20):  # a field for a date stops at its day, month, year and calendar
        page.keyboard.press("Tab")
        seen.add(page.evaluate("document.activeElement.outerHTML + document.activeElement.getBoundingClientRect().y"))
        width = page.evaluate("parseFloat(getComputedStyle(document.activeElement).outlineWidth)")
        assert width >= 3, page.evaluate("document.activeElement.outerHTML")
    assert len(seen) >= wanted


def test_a_lost_connection_is_said_and_its_return_too(visit: Callable[..., Any], case: Case) -> None:
    page = visit(f"/case/{case.number}/", width=PHONE)
    line = page.locator("#connection")
    assert line.is_hidden()
    page.context.set_offline(True)
    line.wait_for(state="visible")
    assert "No connection" in line.inner_text()
    page.context.set_offline(False)
    line.wait_for(state="hidden", timeout=10_000)
