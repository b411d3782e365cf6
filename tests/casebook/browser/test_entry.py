"""A case entered as it is entered: by taps on a phone, by keys at the bench, without a connection, by two at once."""

from __future__ import annotations

import io
import re
import time
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image

from wetmount.casebook.models import (
    Act,
    Attachment,
    Case,
    Device,
    Examination,
    FindingEntry,
    HistoryAnswer,
    Numbers,
    Reading,
)
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, keeping, looking

pytestmark = pytest.mark.needs("chromium")

PHONE, LAPTOP = 390, 1280


def until(true: Callable[[], bool], seconds: float = 10, page: Any = None) -> None:
    """Wait for what the page does by itself; with `page`, what it asks of this test is answered meanwhile."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not come true"
        page.wait_for_timeout(50) if page is not None else time.sleep(0.05)


def row(page: Any, finding: str) -> Any:
    return page.locator(f'.find[data-finding="{finding}"]:visible').first


def key(page: Any, finding: str, level: int) -> Any:
    return row(page, finding).locator(f'.level[data-level="{level}"]')


def levels() -> dict[str, tuple[int, str]]:
    return {one.finding: (one.level, one.sure) for one in FindingEntry.objects.all()}


def settled(page: Any) -> None:
    """Everything that was entered has been sent."""
    until(lambda: page.evaluate("wetmountKept.all().filter(one => !one.asks).length === 0"))


def places(page: Any) -> list[tuple[float, float]]:
    """Where each row stands and how high it is."""
    return page.evaluate(
        "[...document.querySelectorAll('.find')].filter(one => one.checkVisibility()).map(one => "
        "[Math.round(one.getBoundingClientRect().top + scrollY), Math.round(one.offsetHeight)])"
    )


# --- taps -------------------------------------------------------------------------------------------------------------


def test_a_whole_scrape_by_taps_and_nothing_moves(visit: Callable[..., Any], device: Device, case: Case) -> None:
    looking.add_fish(device, case, state="alive")
    page = visit(f"/case/{case.number}/skin/", width=PHONE)
    before = places(page)
    said = page.locator("#said")
    for finding, level in (("excess_mucus_scrape", 2), ("skin_costia", 2), ("skin_trichodinid", 1),
                           ("skin_chilodonella", 0), ("skin_gyrodactylid", 0)):  # fmt: skip
        key(page, finding, level).click()
        assert "Skin scrape, fish 1" in said.inner_text()
        assert places(page) == before, f"something moved on {finding}"
    settled(page)
    assert places(page) == before
    row(page, "skin_trichodinid").scroll_into_view_if_needed()
    key(page, "skin_trichodinid", 1).click()  # the same again: not looked at
    key(page, "skin_trichodinid", 1).click()
    assert "few" in said.inner_text()
    assert "How sure?" in said.inner_text()
    page.get_by_role("group", name="How sure?").get_by_role("button", name="fairly").click()
    settled(page)
    assert levels() == {
        "excess_mucus_scrape": (2, "sure"), "skin_costia": (2, "sure"), "skin_trichodinid": (1, "fairly"),
        "skin_chilodonella": (0, "sure"), "skin_gyrodactylid": (0, "sure"),
    }  # fmt: skip
    assert "fairly sure" in row(page, "skin_trichodinid").inner_text()
    assert "All 5 saved" in page.locator("[data-saved]").first.inner_text()

    page.get_by_role("button", name="Rest of the short list").click()
    settled(page)
    short = reference().examinations["skin_scrape"].short_list
    assert {finding for finding, entry in levels().items() if entry == (0, "swept")} == {
        one for one in short if one not in
        ("excess_mucus_scrape", "skin_costia", "skin_trichodinid", "skin_chilodonella", "skin_gyrodactylid")
    }  # fmt: skip
    assert row(page, "skin_hyphae").locator(".level--swept").count() == 1
    assert "You swept" in page.locator(".sweeping").first.inner_text()
    key(page, "skin_hyphae", 0).click()  # a hatched key that is pressed: looked for properly
    settled(page)
    assert levels()["skin_hyphae"] == (0, "sure")
    page.get_by_role("button", name="Take the sweep back").click()
    settled(page)
    assert not [one for one in levels().values() if one[1] == "swept"]

    taken = page.locator("#tray .undo")
    taken.click()  # the sweep's taking back
    until(lambda: any(one[1] == "swept" for one in levels().values()))
    until(lambda: page.evaluate("document.querySelectorAll('.level--swept').length > 0"))
    assert "Taken back" in said.inner_text()
    page.reload()
    assert row(page, "skin_costia").get_attribute("data-level") == "2"


def test_what_is_not_on_the_list_is_reached_by_typing(visit: Callable[..., Any], case: Case) -> None:
    page = visit(f"/case/{case.number}/gill/", width=PHONE)
    seek = page.get_by_label("Something else?").first
    assert not page.locator('.find[data-finding="gill_copepod"]').first.is_visible()
    seek.fill("egg")
    assert page.locator('.find[data-finding="gill_copepod"]').first.is_visible()
    assert not page.locator('.find[data-finding="gill_gas_emboli"]').first.is_visible()
    assert "fluke eggs." in page.locator(".seek .above").first.inner_text()
    key(page, "gill_copepod", 1).click()
    settled(page)
    assert levels() == {"gill_copepod": (1, "sure")}
    seek.fill("")
    until(lambda: not page.locator('.find[data-finding="gill_gas_emboli"]').first.is_visible())


# --- keys -------------------------------------------------------------------------------------------------------------


def test_keyboard_only(visit: Callable[..., Any], device: Device, case: Case) -> None:
    looking.add_fish(device, case, state="alive")
    page = visit(f"/case/{case.number}/skin/", width=LAPTOP)
    press = page.keyboard.press
    short = reference().examinations["skin_scrape"].short_list
    press("ArrowDown")
    press("2")
    press("ArrowDown")
    press("1")
    press("ArrowDown")
    press("0")
    press("ArrowDown")
    press("1")
    press("Backspace")
    settled(page)
    assert levels() == {short[0]: (2, "sure"), short[1]: (1, "sure"), short[2]: (0, "sure")}
    focused = page.evaluate("document.activeElement.closest('.find').dataset.finding")
    assert focused == short[3], "the focus stayed on its row while answers came"
    press("z")
    until(lambda: short[3] in levels())
    until(lambda: page.evaluate("document.getElementById('said').textContent.startsWith('Taken back')"))
    press("/")
    page.keyboard.type("larvae")
    press("ArrowDown")
    press("2")
    settled(page)
    assert levels()["skin_metacercaria"] == (2, "sure")
    # on to the next step without a mouse
    page.locator(".onward a").first.focus()
    press("Enter")
    page.wait_for_url(re.compile("/gill/"))


# --- without a connection ---------------------------------------------------------------------------------------------


def test_offline_and_back(visit: Callable[..., Any], device: Device, case: Case) -> None:
    looking.add_fish(device, case, state="alive")
    page = visit(f"/case/{case.number}/skin/", width=PHONE)
    key(page, "skin_costia", 1).click()
    settled(page)
    before = places(page)
    page.context.set_offline(True)
    key(page, "skin_trichodinid", 2).click()
    key(page, "skin_chilodonella", 0).click()
    key(page, "skin_gyrodactylid", 1).click()
    key(page, "skin_gyrodactylid", 2).click()
    line = page.locator("#connection")
    line.wait_for(state="visible")
    until(lambda: "3 entries are kept on this device" in line.inner_text())
    assert places(page)[1][1] == before[1][1], "marked without growing"
    assert "kept on this device" in row(page, "skin_trichodinid").inner_text()
    assert "3 not sent yet" in page.locator("[data-saved]").first.inner_text()
    page.locator("#tray .undo").click()  # what was not sent is taken back here
    until(lambda: "2 entries are kept" in line.inner_text())
    assert row(page, "skin_gyrodactylid").get_attribute("data-level") == ""
    assert set(levels()) == {"skin_costia"}
    page.context.set_offline(False)
    line.wait_for(state="hidden")
    settled(page)
    assert levels() == {"skin_costia": (1, "sure"), "skin_trichodinid": (2, "sure"), "skin_chilodonella": (0, "sure")}
    assert "kept on this device" not in row(page, "skin_trichodinid").inner_text()
    assert "All 3 saved" in page.locator("[data-saved]").first.inner_text()


def test_kept_entries_survive_and_go_over(visit: Callable[..., Any], device: Device, case: Case) -> None:
    looking.add_fish(device, case, state="alive")
    address = f"/case/{case.number}/skin/"
    page = visit(address, width=PHONE)
    page.route("**/finding/", lambda route: route.abort())
    key(page, "skin_costia", 2).click()
    page.locator("#connection").wait_for(state="visible")
    assert not FindingEntry.objects.exists()
    page.reload()  # the entry lies on the device, not in the page
    assert row(page, "skin_costia").get_attribute("data-level") == "2"
    page.unroute("**/finding/")
    settled(page)
    assert levels() == {"skin_costia": (2, "sure")}
    page.locator("#connection").wait_for(state="hidden")
    assert "All 1" not in page.locator("[data-saved]").first.inner_text()
    assert "1 saved" in page.locator("[data-saved]").first.inner_text()


def test_an_answer_that_is_lost_leaves_one_entry(visit: Callable[..., Any], device: Device, case: Case) -> None:
    looking.add_fish(device, case, state="alive")
    page = visit(f"/case/{case.number}/skin/", width=PHONE)
    lost: list[str] = []

    def lose(route: Any) -> None:
        """The request arrives; its answer does not."""
        if not lost:
            route.fetch()
            lost.append(route.request.post_data)
            route.abort()
        else:
            lost.append(route.request.post_data)
            route.continue_()

    page.route("**/finding/", lose)
    key(page, "skin_costia", 1).click()
    key(page, "skin_costia", 2).click()
    until(lambda: len(lost) >= 3, 15, page)
    settled(page)
    ids = [re.search(r"(?:^|&)id=([^&]+)", one)[1] for one in lost]  # type: ignore[index]
    assert ids[0] == ids[1] != ids[2]
    assert levels() == {"skin_costia": (2, "sure")}
    assert Act.objects.filter(case=case, kind="record_finding").count() == 2
    assert row(page, "skin_costia").locator(".asks").count() == 0, "one device does not argue with itself"


# --- entries that overtake one another --------------------------------------------------------------------------------


def numbers_of(case: Case) -> tuple[int | None, ...] | None:
    row = Numbers.objects.filter(look__case=case).values_list("total", "sick", "dead", "dead_today").first()
    return tuple(row) if row else None


def test_fields_of_one_form_typed_faster_than_they_are_answered(visit: Callable[..., Any], case: Case) -> None:
    page = visit(f"/case/{case.number}/history/", width=PHONE)
    held: list[Any] = []
    page.route("**/numbers/", lambda route: held.append(route))
    total, sick = page.get_by_label("Kept when it began"), page.get_by_label("Sick now")
    dead, today = page.get_by_label("Dead in all"), page.get_by_label("of them today")

    def let_one_go() -> None:
        until(lambda: bool(held), page=page)
        with page.expect_response("**/numbers/"):
            held.pop(0).continue_()

    total.fill("24")
    sick.focus()
    let_one_go()
    until(lambda: page.locator("#numbers input[name=seen]").input_value() != "0", page=page)
    sick.fill("6")
    dead.fill("2")  # while the number of the sick is on its way
    today.focus()
    let_one_go()
    let_one_go()
    until(lambda: page.evaluate("wetmountKept.all().length === 0"), page=page)
    assert numbers_of(case) == (24, 6, 2, None)
    # An answer comes while a number stands in its field and was not left yet.
    total.fill("25")
    today.press_sequentially("1")
    let_one_go()
    until(lambda: page.evaluate("wetmountKept.all().length === 0"), page=page)
    page.wait_for_timeout(300)  # the page asks how it stands as a whole
    assert today.input_value() == "1"
    total.focus()
    let_one_go()
    until(lambda: page.evaluate("wetmountKept.all().length === 0"), page=page)
    assert numbers_of(case) == (25, 6, 2, 1)


def test_what_waits_stands_in_its_form_when_the_page_is_opened_again(visit: Callable[..., Any], case: Case) -> None:
    page = visit(f"/case/{case.number}/history/", width=PHONE)
    page.route("**/numbers/", lambda route: route.abort())
    page.get_by_label("Kept when it began").fill("24")
    page.get_by_label("Sick now").focus()
    page.locator("#connection").wait_for(state="visible")
    page.reload()
    assert page.get_by_label("Kept when it began").input_value() == "24"
    page.get_by_label("Sick now").fill("6")
    page.get_by_label("Dead in all").focus()
    page.unroute("**/numbers/")
    until(lambda: page.evaluate("wetmountKept.all().length === 0"))
    assert numbers_of(case) == (24, 6, None, None)


def test_a_reading_corrected_before_it_was_answered_is_one_reading(visit: Callable[..., Any], case: Case) -> None:
    page = visit(f"/case/{case.number}/water/", width=PHONE)
    held: list[Any] = []
    page.route("**/reading/", lambda route: held.append(route))
    field = page.get_by_label("Nitrite", exact=True)
    for typed in ("1.6", "1.8", "0.8"):
        field.fill(typed)
        page.get_by_label("Nitrate", exact=True).focus()
    for _ in range(3):
        until(lambda: bool(held), page=page)
        held.pop(0).continue_()
    until(lambda: page.evaluate("wetmountKept.all().length === 0"), page=page)
    assert [one.value for one in Reading.objects.all()] == ["0.8 mg/L NO2"]


def test_numbers_of_two_devices_ask_which_hold(visit: Callable[..., Any], case: Case, phone: Device) -> None:
    page = visit(f"/case/{case.number}/history/", width=PHONE)
    looking.set_numbers(phone, case.looks.get(), total=30, sick=3, dead=None, dead_today=None)
    page.evaluate("document.querySelector('#n-total').focus()")
    page.get_by_label("Kept when it began").fill("24")
    page.get_by_label("Sick now").focus()
    asks = page.locator("#numbers .asks")
    asks.wait_for()
    assert "30 kept, 3 sick" in asks.inner_text()
    assert "24 kept" in asks.inner_text()
    assert numbers_of(case) == (30, 3, None, None), "nothing was overwritten"
    asks.locator("button").nth(1).click()
    until(lambda: page.evaluate("wetmountKept.all().length === 0"))
    assert numbers_of(case) == (24, None, None, None)
    # A case that was closed meanwhile takes nothing, and says so, whether the page was sent or made anew first; the
    # entry is not kept for ever.
    page.get_by_label("Sick now").fill("5")
    cases.close_case(phone, case, outcome="recovered")
    page.evaluate("document.activeElement.blur()")
    until(lambda: "Not saved" in page.locator("#said").inner_text())
    until(lambda: page.evaluate("wetmountKept.all().length === 0"))


# --- two at once ------------------------------------------------------------------------------------------------------


def test_two_browsers_on_one_case(visit: Callable[..., Any], scrape: Examination) -> None:
    case = scrape.look.case
    address = f"/case/{case.number}/skin/"
    tank, bench = visit(address, width=PHONE), visit(address, width=LAPTOP)
    key(tank, "skin_costia", 1).click()
    settled(tank)
    before = places(bench)
    key(bench, "skin_costia", 2).click()
    asks = row(bench, "skin_costia").locator(".asks")
    asks.wait_for()
    assert "which holds?" in row(bench, "skin_costia").inner_text()
    assert places(bench) == before, "the question takes the place of the keys"
    assert levels() == {"skin_costia": (1, "sure")}, "nothing was overwritten"
    bench.set_viewport_size({"width": PHONE, "height": 844})
    assert places(bench)[1][1] == places(tank)[1][1], "nor does it on a phone"
    bench.reload()
    row(bench, "skin_costia").locator(".asks").wait_for()  # asked until it is answered
    row(bench, "skin_costia").locator('[data-keeps="mine"]').click()
    settled(bench)
    assert levels() == {"skin_costia": (2, "sure")}
    until(lambda: row(tank, "skin_costia").get_attribute("data-level") == "2", 15)  # the other page learns of it
    key(tank, "skin_hyphae", 0).click()
    settled(tank)
    until(lambda: row(bench, "skin_hyphae").get_attribute("data-level") == "0", 15)


# --- history, first aid, water, files ---------------------------------------------------------------------------------


def test_history_first_aid_and_water_save_as_they_are_entered(visit: Callable[..., Any], case: Case) -> None:
    page = visit(f"/case/{case.number}/history/", width=PHONE)
    row(page, "crowded").get_by_role("button", name="yes").click()
    page.get_by_label("Kept when it began").fill("24")
    page.get_by_label("Sick now").fill("9")
    page.get_by_label("Dead in all").focus()
    settled(page)
    until(lambda: "9 of 24 fish sick or dead" in page.locator("#numbers").inner_text())
    assert HistoryAnswer.objects.get().answer == "yes"
    page.get_by_label("What else the keeper says").fill("Filter cleaned on Monday <b>")
    page.get_by_role("button", name="Keep the note").click()
    until(lambda: case.notes.count() == 1)
    until(lambda: "Filter cleaned on Monday <b>" in page.locator("#notes").inner_text())
    visit(f"/case/{case.number}/first-aid/", page=page)
    row(page, "gasping_surface").get_by_role("button").click()
    page.locator(".counted").wait_for()
    visit(f"/case/{case.number}/water/", page=page)
    page.get_by_label("Nitrite", exact=True).fill("1.6")
    page.get_by_label("Nitrate", exact=True).focus()
    page.locator(".off--2").first.wait_for()
    assert Reading.objects.get().value == "1.6 mg/L NO2"
    page.get_by_label("Nitrate", exact=True).fill("plenty")
    page.get_by_label("pH", exact=True).focus()
    page.locator(".wrong").first.wait_for()
    assert page.get_by_label("Nitrate", exact=True).input_value() == "plenty"


def test_a_photograph_from_the_phone(visit: Callable[..., Any], scrape: Examination) -> None:
    page = visit(f"/case/{scrape.look.case.number}/skin/", width=PHONE)
    out = io.BytesIO()
    Image.new("RGB", (300, 200), "teal").save(out, "PNG")
    chooser = page.locator("section.exam").first.locator("input[type=file]")
    chooser.set_input_files({"name": "a.png", "mimeType": "image/png", "buffer": out.getvalue()})
    page.locator(".pictures img").wait_for()
    page.locator(".pictures img").scroll_into_view_if_needed()
    until(lambda: page.evaluate("document.querySelector('.pictures img').naturalWidth > 0"))
    assert Attachment.objects.get().examination == scrape
    chooser = page.locator("section.exam").first.locator("input[type=file]")
    chooser.set_input_files({"name": "b.jpg", "mimeType": "image/jpeg", "buffer": b"\xff\xd8\xff broken"})
    until(lambda: page.evaluate("document.querySelector('.progress').textContent.includes('damaged')"))


def test_a_photograph_without_a_connection_is_kept_over_a_reload(
    visit: Callable[..., Any], scrape: Examination
) -> None:
    page = visit(f"/case/{scrape.look.case.number}/skin/", width=PHONE)
    page.route("**/files/", lambda route: route.abort())
    out = io.BytesIO()
    Image.new("RGB", (300, 200), "teal").save(out, "PNG")
    chooser = page.locator("section.exam").first.locator("input[type=file]")
    chooser.set_input_files({"name": "a.png", "mimeType": "image/png", "buffer": out.getvalue()})
    line, progress = page.locator("#connection"), page.locator("section.exam .progress").first
    for _ in range(2):
        line.wait_for(state="visible")
        until(lambda: "1 entry is kept on this device" in line.inner_text())
        until(lambda: progress.inner_text() == "1 file kept on this device, not sent yet.")
        assert not Attachment.objects.exists()
        page.reload()
    page.goto(page.url.split("/case/")[0])  # it goes over from any page of the casebook
    page.unroute("**/files/")
    until(lambda: Attachment.objects.exists(), page=page)
    until(lambda: page.evaluate("wetmountFiles.waiting().length === 0"))
    line.wait_for(state="hidden")
    page.goto(f"{page.url}case/{scrape.look.case.number}/skin/")
    page.locator(".pictures img").wait_for()
    assert Attachment.objects.get().examination == scrape


def test_without_scripts(
    chromium: Any, visit: Callable[..., Any], case: Case, device: Device, live_server: Any
) -> None:
    looking.add_fish(device, case, state="alive")
    with_script = visit(f"/case/{case.number}/skin/")
    context = chromium.new_context(java_script_enabled=False, storage_state=with_script.context.storage_state())
    page = context.new_page()
    page.goto(f"{live_server.url}/case/{case.number}/skin/")
    key(page, "skin_costia", 2).click()
    assert levels() == {"skin_costia": (2, "sure")}
    assert row(page, "skin_costia").get_attribute("data-level") == "2"
    page.get_by_role("button", name="doubtful").click()
    assert levels() == {"skin_costia": (2, "doubtful")}
    page.get_by_role("button", name="Rest of the short list").click()
    assert len(levels()) == len(reference().examinations["skin_scrape"].short_list)
    page.get_by_role("button", name="Undo").click()
    assert len(levels()) == 1
    page.goto(f"{live_server.url}/case/{case.number}/water/")
    page.get_by_label("pH", exact=True).fill("7.4")
    page.get_by_label("pH", exact=True).press("Enter")
    assert Reading.objects.get().value == "7.4"
    context.close()


# --- legible and reachable --------------------------------------------------------------------------------------------


@pytest.fixture
def full(device: Device, scrape: Examination) -> Case:
    """A case with something of everything."""
    case = scrape.look.case
    looking.record_finding(device, scrape, "skin_costia", 2, sure="doubtful")
    looking.record_finding(device, scrape, "skin_trichodinid", 0)
    looking.sweep_rest(device, scrape)
    looking.add_slide(device, scrape, objective="10x", fields=20, counts={"skin_costia": 12})
    looking.answer_history(device, case, "crowded", "yes")
    looking.answer_history(device, case, "mixed_origin", "not asked")
    looking.set_numbers(device, scrape.look, total=24, sick=9, dead=1, dead_today=0)
    for parameter, value in (
        ("ph", "8.4"),
        ("ammonia", "2 mg/L N"),
        ("temperature", "26 C"),
        ("nitrite", "1.6 mg/L NO2"),
    ):
        keeping.set_reading(device, scrape.look, parameter, value)
    keeping.add_note(device, "The filter was cleaned too hard.", case=case)
    return case


@pytest.mark.parametrize(
    ("width", "light"), [(PHONE, "bench"), (PHONE, "microscope"), (LAPTOP, "bench"), (LAPTOP, "dark")]
)
def test_every_page_for_everyone(
    visit: Callable[..., Any], axe: Callable[[Any], list[str]], full: Case, width: int, light: str
) -> None:
    fish, scrape, entry = full.fish.get(), Examination.objects.get(), FindingEntry.objects.get(finding="skin_costia")
    steps = (
        "first-aid",
        "history",
        "tank",
        "water",
        "hand",
        "skin",
        "gill",
        "faeces",
        "opened",
        "laboratory",
        "follow-up",
    )
    paths = [f"{step}/" for step in steps]
    paths += ["", f"fish/{fish.pk}/", f"examination/{scrape.pk}/", f"entry/{entry.pk}/", "head/",
              f"look/{scrape.look_id}/"]  # fmt: skip
    if (width, light) not in ((PHONE, "bench"), (LAPTOP, "dark")):
        paths = ["skin/", "water/", "history/", ""]
    page, wrong = None, []
    for path in paths:
        page = visit(f"/case/{full.number}/{path}", width=width, light=light, page=page)
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        wrong += [f"{path}: {one}" for one in axe(page)]
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if wide > 0:
            wrong.append(f"{path}: {wide} px too wide")
        # a link inside a sentence is the one exception (LOOK)
        small = page.evaluate(
            "[...document.querySelectorAll('main a, main button, main input:not([type=hidden]), main select, "
            ".tray button, .tray a, summary')].filter(one => one.checkVisibility() && !one.closest('p') && "
            "!one.matches('[type=file], .skip, :disabled') && getComputedStyle(one).visibility === 'visible' && "
            "one.getBoundingClientRect().height < 47.5).map(one => one.outerHTML.slice(0, 120))"
        )
        wrong += [f"{path}: too small: {one}" for one in small]
    assert wrong == []
