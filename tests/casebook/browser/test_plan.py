"""The plan in a real browser: chosen with the keyboard, every page in every light with axe, papers on their paper."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pypdf
import pytest

from wetmount.casebook.models import Case, Device, Look, PlanChoice
from wetmount.casebook.services import keeping, looking

PHONE, LAPTOP = 390, 1280
WAIT = 120_000


@pytest.fixture
def poisoned(device: Device, case: Case, weighable: Look) -> Look:
    """The look with nitrite that poisons, so that salt is an option."""
    hand = looking.add_examination(device, weighable, "in_hand", fish=case.fish.first())
    looking.record_finding(device, hand, "brown_gills", 1)
    keeping.set_reading(device, weighable, "nitrite", "1.6 mg/L NO2")
    return weighable


def fits(page: Any) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"))


def test_from_options_to_papers(
    visit: Callable[..., Any],
    axe: Callable[[Any], list[str]],
    axe_in_each_light: Callable[[Any], list[str]],
    case: Case,
    poisoned: Look,
) -> None:
    at = f"/case/{case.number}/plan/"
    page = visit(at, width=PHONE)
    page.set_default_timeout(WAIT)
    assert axe(page) == []
    page.fill("#volume", "660 L to 780 L")
    for thing in ("plants", "invertebrates", "fry", "eggs", "gravid", "gill_damage", "ulcers", "not_eating"):
        page.select_option(f"#living-{thing}", "no")
    page.select_option("#living-filter_bacteria", "yes")
    page.click("#water .btn--main")
    page.wait_for_load_state()
    for option in ("husbandry_nitrite_poisoning_1", "salt_nitrite"):
        box = page.locator(f"input[value={option}]")
        box.focus()
        page.keyboard.press("Space")
        assert box.is_checked()
    page.fill("#by", "the bench")
    page.fill("#why", "Nitrite kills today")
    page.get_by_role("button", name="Record the choice").click()
    page.get_by_role("heading", name="What was chosen").wait_for()
    page.get_by_role("link", name="Work out the amount").click()
    page.fill("#strength", "pure")
    page.fill("#step", "1")
    page.get_by_role("button", name="Keep it").click()
    page.get_by_text("21 g of pure").first.wait_for()
    page.get_by_role("button", name="Put it on Today").click()
    page.get_by_text("came of this plan").wait_for()
    assert PlanChoice.objects.get().tasks.count() == 3
    papers = ("", "keeper/", "log/", "parcel/", "prevention/", "agent/salt_nitrite/")
    for width in (PHONE, LAPTOP):
        for path in papers:
            visit(at + path, width=width, page=page)
            page.set_viewport_size({"width": width, "height": 900})
            assert axe_in_each_light(page) == [], (path, width)
            assert fits(page), (path, width)
    visit(at + "keeper/", light="microscope", page=page)
    assert page.get_by_role("button", name="Print").is_visible()
    for path, most in (("keeper/", 1), ("log/", 1), ("parcel/", 2), ("prevention/", 2)):
        visit(at + path, page=page)
        printed = pypdf.PdfReader(io.BytesIO(page.pdf(format="A4", prefer_css_page_size=True)))
        assert len(printed.pages) <= most, path
        assert "Undo" not in printed.pages[0].extract_text()
