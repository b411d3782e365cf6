"""A whole case as it is worked, from first aid to the report and closed: once on a phone, once on a laptop."""

from __future__ import annotations

import io
import re
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from wetmount.casebook.models import Case, FindingEntry, HistoryAnswer, Reading
from wetmount.casebook.reference import reference
from wetmount.casebook.services.records import case_record
from wetmount.casefile import case_to_dict

pytestmark = pytest.mark.needs("chromium")

PHONE, LAPTOP = 390, 1280
WAIT = 120_000  # a weigh-up takes a second or two, and many times that on a busy machine
CONDITION = "costia"


def until(true: Callable[[], bool], seconds: float = 30) -> None:
    """Wait for what the page does by itself."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not come true"
        time.sleep(0.05)


def settled(page: Any) -> None:
    """Everything that was entered has been sent."""
    until(lambda: page.evaluate("wetmountKept.all().length === 0"))


def press(page: Any, finding: str, level: str) -> None:
    """One key of one row; rows that are folded away are found by typing their name."""
    row = page.locator(f'.find[data-finding="{finding}"]').first
    row.locator(f'.level[data-level="{level}"]').click()


def sound(page: Any) -> None:
    """Nothing reaches beyond the screen sideways, and there is one heading."""
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), page.url
    assert page.locator("h1:visible").count() == 1, page.url


def onward(page: Any, name: str) -> None:
    """To the next step by the button at the foot of the page."""
    settled(page)
    page.locator("nav.onward .btn--main").click()
    page.wait_for_load_state()
    assert name in page.locator("h1").first.inner_text(), page.url
    sound(page)


@pytest.mark.parametrize("width", [PHONE, LAPTOP])
def test_from_first_aid_to_the_report(
    visit: Callable[..., Any], axe: Callable[[Any], list[str]], device: Any, tank: Any, tmp_path: Path, width: int
) -> None:
    # Today: which fish, and what worries.
    page = visit("/new/", width=width)
    page.get_by_label("Which fish?").fill("rainbowfish in A4")
    page.get_by_label("What worries you?").fill("They rub and breathe fast since Tuesday")
    page.get_by_role("button", name="Start the case").click()
    page.wait_for_url(re.compile(r"/case/\d+/first-aid/"))
    case = Case.objects.get()
    at = f"/case/{case.number}"
    sound(page)

    # What is known of the fish.
    page = visit(f"{at}/head/", page=page)
    page.get_by_label("Species", exact=True).fill("Melanotaenia boesemani")
    page.get_by_label("Tank", exact=True).select_option(label="A4, Harbour Row Fish Room")
    page.get_by_role("button", name="Save").click()
    page.wait_for_load_state()

    # First aid: one key, and what to do stands there.
    page = visit(f"{at}/first-aid/", page=page)
    press(page, "nitrite_dangerous", "yes")
    settled(page)
    until(lambda: Case.objects.get().red_flags == ["nitrite_dangerous"])
    wanted = [one.text for one in reference().first_aid if one.flag == "nitrite_dangerous"]
    page.locator("#aid-steps").get_by_text(wanted[0][:40]).first.wait_for()

    # History and numbers.
    onward(page, "History")
    press(page, "recent_introduction", "yes")
    press(page, "new_system", "yes")
    page.get_by_label("Kept when it began").fill("24")
    page.get_by_label("Sick now").fill("6")
    page.get_by_label("Dead in all").fill("0")
    page.keyboard.press("Tab")
    settled(page)
    until(lambda: HistoryAnswer.objects.count() == 2)

    # At the tank, then the water.
    onward(page, "tank")
    press(page, "flashing", "2")
    press(page, "rapid_breathing", "2")
    onward(page, "Water")
    page.get_by_label("Nitrite", exact=True).fill("1.6")
    page.keyboard.press("Tab")
    settled(page)
    until(lambda: Reading.objects.filter(parameter="nitrite").exists())

    # In the hand, then the scrape: what was seen, the rest swept, a photograph.
    onward(page, "hand")
    onward(page, "Skin scrape")
    press(page, "skin_costia", "2")
    press(page, "skin_trichodinid", "2")
    press(page, "skin_gyrodactylid", "0")
    settled(page)
    page.get_by_role("button", name="Rest of the short list").click()
    page.get_by_text(re.compile("You swept")).wait_for()
    settled(page)
    picture = io.BytesIO()
    Image.new("RGB", (640, 480), "teal").save(picture, "JPEG")
    page.locator('input[type="file"]').first.set_input_files(
        {"name": "scrape.jpg", "mimeType": "image/jpeg", "buffer": picture.getvalue()}
    )
    until(lambda: case.attachments.count() == 1)
    entries = {one.finding: (one.level, one.sure) for one in FindingEntry.objects.all()}
    assert entries["skin_costia"] == (2, "sure")
    assert entries["skin_gyrodactylid"] == (0, "sure")
    assert (0, "swept") in entries.values()
    sound(page)

    # A slip is undone.
    press(page, "skin_costia", "1")
    settled(page)
    page.get_by_role("button", name="Undo").click()
    until(lambda: FindingEntry.objects.get(finding="skin_costia").level == 2)

    # What it adds up to.
    page = visit(f"{at}/weigh-up/", page=page)
    for part in ("firmness", "reasons", "next"):
        page.locator(f"[hx-get*='part={part}']").wait_for(state="detached", timeout=WAIT)
    ranked = [one.inner_text() for one in page.locator(".slide--rank").all()[:3]]
    assert any("Costia" in text for text in ranked), ranked
    assert page.locator("h1:visible").count() == 1
    sound(page)

    # The report.
    page = visit(f"{at}/report/", page=page)
    assert "Costia" in page.locator("main").inner_text()
    sound(page)
    with page.expect_download(timeout=WAIT) as pdf:
        page.locator(".downloads a").first.click()
    assert Path(pdf.value.path()).read_bytes()[:5] == b"%PDF-"

    # Closed, with what it was and what became of the fish.
    page = visit(f"{at}/close/", page=page)
    assert axe(page) == []
    sound(page)
    page.get_by_label("The cause").select_option(CONDITION)
    page.get_by_label("Recovered", exact=True).check()
    page.get_by_label("In a few words").fill("All eat again after three days.")
    page.get_by_role("button", name="Close and lock").click()
    page.wait_for_url(re.compile(rf"{at}/$"))
    case = Case.objects.get()
    assert (case.is_closed, case.outcome) == (True, "recovered")
    assert (case.causes.get().condition, case.causes.get().standing) == (CONDITION, "confirmed")
    page.get_by_label("Add to the closed case").fill("No relapse.")
    page.get_by_role("button", name="Add", exact=True).click()
    page.get_by_text("No relapse.").first.wait_for()

    # The record tells it all; the archive takes it along.
    page = visit(f"{at}/record/", page=page)
    told = " ".join(page.locator("main").inner_text().split())
    assert re.search(r"skin scrape of fish 1, flickering flagellates on skin: not looked at .{0,8}many", told), told
    assert axe(page) == []
    sound(page)
    page = visit(f"{at}/", page=page)
    sound(page)
    with page.expect_download(timeout=WAIT) as archive:
        page.get_by_role("link", name="Hand it on as an archive").click()
    with zipfile.ZipFile(archive.value.path()) as zip:
        assert any(name.endswith(".jpg") for name in zip.namelist())
    assert case_to_dict(case_record(case))["looks"][0]["examinations"]


@pytest.mark.parametrize("width", [PHONE, LAPTOP])
def test_the_pages_of_keeping_have_no_barriers(
    visit: Callable[..., Any],
    axe_in_each_light: Callable[[Any], list[str]],
    case: Case,
    scrape: Any,
    device: Any,
    width: int,
) -> None:
    from wetmount.casebook.services import cases, looking

    looking.record_finding(device, scrape, "skin_costia", 2)
    looking.remove_examination(device, scrape)
    cases.set_cause(device, case, CONDITION, "likely")
    page = None
    at = f"/case/{case.number}"
    for address in (f"{at}/", f"{at}/record/", f"{at}/close/", f"{at}/delete/", "/keeping/", "/keeping/record/"):
        page = visit(address, width=width, page=page)
        assert axe_in_each_light(page) == [], address
        sound(page)
        small = page.evaluate(
            "[...document.querySelectorAll('main a, main button, main input, main select, main summary')]"
            ".filter(one => one.checkVisibility() && !one.closest('p:not(:has(.btn))') && !one.closest('label'))"
            ".filter(one => one.getBoundingClientRect().height < 47.5)"
            ".map(one => one.outerHTML.slice(0, 80))"
        )
        assert small == [], address
    cases.delete_case(device, case)
    page = visit("/keeping/deleted/", width=width, page=page)
    assert axe_in_each_light(page) == []
    sound(page)
