"""Today, the case list and the fish rooms in a real browser."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest

from wetmount.casebook import clock
from wetmount.casebook.models import Case, Device, FishRoom, TaskDue
from wetmount.casebook.services import cases, keeping

PHONE, LAPTOP = 390, 1280


def day(n: int) -> dt.date:
    return clock.today() + dt.timedelta(days=n)


@pytest.fixture
def harbour_row(transactional_db: None, device: Device, room: FishRoom) -> FishRoom:
    """A rack of six, one tank of quarantine; fish that moved on, a shared net, an open and a closed case, tasks."""
    rack = keeping.add_system(device, room, "Rack A", volume_l=330.0)
    tanks = {f"A{n}": keeping.add_tank(device, room, f"A{n}", rack, order=n, volume_l=55.0) for n in range(1, 7)}
    tanks["Q1"] = keeping.add_tank(device, room, "Q1")
    batch = keeping.add_batch(device, "Boeseman rainbowfish", room, origin="North", number=24)
    keeping.move_fish(device, batch, tanks["Q1"], day(-14))
    keeping.move_fish(device, batch, tanks["A4"], day(-2), from_tank=tanks["Q1"])
    keeping.add_contact(device, "net", tanks["A4"], tanks["A2"], day(-1))
    keeping.add_note(device, "Filter cleaned too hard", system=rack, on=day(-5))
    keeping.set_reading(device, None, "nitrite", "1.6 mg/L NO2", tank=tanks["A4"])
    case = cases.open_case(device, which_fish="A4", worries="Rubbing, breathing fast", tank=tanks["A4"], opened=day(-1))
    old = cases.open_case(device, which_fish="A2", worries="White spots", species="guppy", opened=day(-90))
    cases.set_cause(device, old, "ich", "confirmed")
    cases.close_case(device, old, on=day(-60))
    keeping.add_task(device, "look_again", "Scrape again", day(-1), case=case, detail="Fish 1 and 2")
    keeping.add_task(device, "water_change", "Change a quarter", day(0), system=rack, due_at=dt.time(18))
    keeping.add_task(device, "quarantine", "End of quarantine?", day(4), tank=tanks["Q1"], set_on=day(-14))
    return room


def pages(room: FishRoom) -> list[str]:
    a4 = room.tanks.get(name="A4").pk
    return [
        "/",
        "/new/",
        f"/task/new/?tank={a4}",
        "/quick/water/?ph=8.2&temperature=26&ammonia=0.6&nitrite=1,2",
        "/quick/signs/?host=guppy&skin_ich_trophont=2&flashing=0",
        "/quick/first-aid/?flag=gasping_surface",
        "/cases/",
        "/cases/?state=open&q=rubbing",
        "/cases/seen/",
        "/rooms/",
        f"/rooms/{room.pk}/?tank={a4}",
        f"/rooms/{room.pk}/set-up/",
        f"/rooms/{room.pk}/move/new/",
        f"/rooms/{room.pk}/tank/{a4}/",
    ]


@pytest.mark.parametrize("width", [PHONE, LAPTOP])
def test_axe_finds_nothing_and_nothing_is_small_or_wide(
    visit: Callable[..., Any], axe_in_each_light: Callable[[Any], list[str]], harbour_row: FishRoom, width: int
) -> None:
    page = None
    for path in pages(harbour_row):
        page = visit(path, width=width, page=page)
        page.wait_for_load_state("networkidle")
        assert axe_in_each_light(page) == [], path
        small = page.evaluate(
            """() => [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, summary")]
                .filter(e => e.checkVisibility() && !e.matches(".skip, p a:not(.btn), .tick input"))
                .map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 120)])
                .filter(([box]) => box.width < 47.9 || box.height < 47.9)
                .map(([box, html]) => `${box.width}x${box.height} ${html}`)"""
        )
        assert small == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_put_off_done_and_undone_by_hand(visit: Callable[..., Any], harbour_row: FishRoom) -> None:
    page = visit("/", width=PHONE)
    late = page.get_by_role("region", name="Late")
    late.locator("summary").click()
    late.get_by_role("button", name="3 days").click()
    assert page.get_by_text("3 days to go").count() == 1
    page.get_by_role("button", name="Done: Change a quarter").click()
    assert page.locator("#said").inner_text() == "Change a quarter: done"
    page.keyboard.press("z")
    page.get_by_role("button", name="Done: Change a quarter").wait_for()
    assert TaskDue.objects.filter(done_at=None).count() == 3


def test_a_case_is_started_from_today(visit: Callable[..., Any], harbour_row: FishRoom) -> None:
    page = visit("/", width=PHONE)
    page.get_by_label("Which fish?").fill("A4")
    page.get_by_label("What worries you?").fill("One gasps")
    page.get_by_role("button", name="Start the case").click()
    page.wait_for_url("**/first-aid/")
    assert Case.objects.latest("number").tank == harbour_row.tanks.get(name="A4")


def test_the_list_follows_the_typing(visit: Callable[..., Any], harbour_row: FishRoom) -> None:
    page = visit("/cases/")
    page.locator("#seen-charts table").first.wait_for(state="attached")
    search = page.get_by_label("Search everything written")
    search.press_sequentially("rubb", delay=10)
    page.get_by_text("1 case found").wait_for()
    assert page.locator(".case-row").count() == 1
    assert search.evaluate("e => e === document.activeElement")
    assert "q=rubb" in page.url


def test_the_room_follows_slider_step_and_tank(visit: Callable[..., Any], harbour_row: FishRoom) -> None:
    page = visit(f"/rooms/{harbour_row.pk}/", width=PHONE)
    assert page.locator(".links path[d]").count() == 2, "one move and one net are drawn"
    slider = page.get_by_label("Day:")
    slider.focus()
    slider.press("ArrowLeft")
    slider.press("ArrowLeft")
    page.locator("#map[data-day-number='18']").wait_for()
    assert page.get_by_text("One net or tool used").count() == 0
    assert page.locator(".tank.is-ill").count() == 1, "only the one of the key"
    page.get_by_role("link", name="The day before").click()
    page.locator("#map[data-day-number='17']").wait_for()
    assert page.locator(".links path[d]").count() == 0
    page.get_by_role("link", name="Q1: in quarantine").first.click()
    page.get_by_role("heading", name="24 Boeseman rainbowfish from North").wait_for()
    assert page.evaluate("document.activeElement.id").startswith("tank-")
    page.get_by_role("link", name="The day after").click()
    page.locator("#map[data-day-number='18']").wait_for()
    assert "tank=" in page.url
    page.get_by_role("heading", name="Empty on this day").or_(
        page.get_by_role("heading", name="Fish not noted")
    ).wait_for()
    assert "day=" in page.url


def test_a_few_signs_weigh_as_they_are_chosen(visit: Callable[..., Any], harbour_row: FishRoom) -> None:
    page = visit("/quick/signs/")
    page.get_by_label("Find a sign").fill("flickering skin")
    assert page.locator(".sign:visible").count() == 1
    page.get_by_label("Flickering flagellates on skin").select_option(label="many")
    page.get_by_role("heading", name="Costia (ichthyobodosis)").wait_for()
    assert page.url.endswith("skin_costia=2&host=") or "skin_costia=2" in page.url
    assert "lethargy" not in page.url
