"""Tracing in a room in a real browser: every page without faults at both widths and in every light, entering by a tap,
the trace as it refines, and the round on paper."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest

from wetmount.casebook import clock, tracing_run, working
from wetmount.casebook.models import Device, FishRoom, Tank, TankCheck, TankSign
from wetmount.casebook.services import keeping, tracing
from wetmount.origin.tracing import trace

pytestmark = pytest.mark.django_db(transaction=True)


SMALL = """() => [...document.querySelectorAll("main :is(a[href], button, input, select, summary)")]
    .filter(e => e.checkVisibility() && !e.matches("p a:not(.btn), [type=checkbox], [type=hidden]"))
    .map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 120)])
    .filter(([box]) => box.width < 47.9 || box.height < 47.9)
    .map(([box, html]) => `${box.width}x${box.height} ${html}`)"""
"""What is too small for a wet finger."""


def day(n: int) -> dt.date:
    return clock.today() + dt.timedelta(days=n)


@pytest.fixture
def outbreak(device: Device, room: FishRoom, monkeypatch: pytest.MonkeyPatch) -> dict[str, Tank]:
    """Six tanks on two shelves of a rack, one beside; costia in two of them."""
    working.forget()
    monkeypatch.setattr(tracing_run, "trace", partial(trace, pairs=4, most_sweeps=60))
    rack = keeping.add_system(device, room, "Rack A")
    found = {}
    for n in range(6):
        found[f"A{n + 1}"] = keeping.add_tank(
            device, room, f"A{n + 1}", rack, order=n, row=n // 3 + 1, place=n % 3 + 1, turn=n
        )
    found["Q1"] = keeping.add_tank(device, room, "Q1")
    for name in ("A1", "A2", "A3", "A5"):
        old = keeping.add_batch(device, "guppy", room, origin="East", number=10, arrived=day(-200))
        keeping.move_fish(device, old, found[name], day(-200))
    new = keeping.add_batch(device, "platy", room, origin="North", number=12, arrived=day(-15))
    keeping.move_fish(device, new, found["Q1"], day(-15))
    keeping.move_fish(device, new, found["A2"], day(-12), from_tank=found["Q1"], number=4)
    keeping.add_contact(device, "net", found["A2"], found["A5"], day(-8))
    tracing.note_sign(device, found["A2"], "signs", day(-5), number=2, not_before=day(-6), condition="costia")
    tracing.note_sign(device, found["A5"], "signs", day(-1), number=1, not_before=day(-2), condition="costia")
    tracing.note_sign(device, found["A3"], "signs", day(-1), number=1, condition="camallanosis")
    tracing.set_group(device, room, "watch", "daily look", list(found.values()), since=day(-30), every_days=1)
    tracing.set_group(device, room, "tool", "green net", [found["A1"], found["A2"], found["A5"]])
    return found


@pytest.mark.parametrize("width", [390, 1280])
def test_no_page_has_a_fault(
    visit: Callable[..., Any],
    axe_in_each_light: Callable[[Any], list[str]],
    room: FishRoom,
    outbreak: dict[str, Tank],
    width: int,
) -> None:
    at, page = f"/rooms/{room.pk}", None
    a2 = outbreak["A2"].pk
    for path in ("origin/?wait=1", f"?tank={a2}", "exposures/", "curve/", f"chains/?tank={a2}", "control/", "round/",
                 "sheet/", "sign/new/", "check/new/", "group/new/", "set-up/"):  # fmt: skip
        page = visit(f"{at}/{path}", width=width, page=page)
        page.wait_for_load_state("networkidle")
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        assert axe_in_each_light(page) == [], path
        small = page.evaluate(SMALL)
        assert small == [], path
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, path


@pytest.mark.parametrize("width", [390, 1280])
def test_two_taps_write_down_what_was_seen(
    visit: Callable[..., Any], room: FishRoom, outbreak: dict[str, Tank], width: int
) -> None:
    page = visit(f"/rooms/{room.pk}/", width=width)
    before = page.locator("#map .tanks").first.bounding_box()
    page.get_by_role("link", name="A1: ").first.click()
    page.locator(".chosen #h-chosen").wait_for()
    after = page.locator("#map .tanks").first.bounding_box()
    if width == 1280:
        assert after["y"] == before["y"]  # nothing moved under the finger
    else:  # what was chosen lies below the racks, and its head comes into view
        assert 0 <= page.locator("#h-chosen").bounding_box()["y"] < 400
    page.get_by_role("button", name="Signs in A1", exact=True).click()
    page.get_by_text("A1: signs").first.wait_for()
    sign = TankSign.objects.get(tank=outbreak["A1"])
    assert (sign.on, sign.condition) == (day(0), "costia")
    page.locator("a.tank", has_text="A5").first.click()
    page.get_by_role("button", name="No signs in A5").click()
    page.locator("#said", has_text="A5: looked at, no signs").wait_for()
    assert TankCheck.objects.filter(tank=outbreak["A5"], found=False).exists()
    page.locator("#tray .undo").click()
    page.locator("#said", has_text="A1: signs").wait_for()
    assert not TankCheck.objects.exists()


def test_the_trace_comes_in_by_itself(
    visit: Callable[..., Any], room: FishRoom, outbreak: dict[str, Tank], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The share first, then an answer, refined; Stop keeps the focus meanwhile and leaves a first idea."""
    monkeypatch.setattr(tracing_run, "trace", partial(trace, pairs=4, most_sweeps=10**6))
    monkeypatch.setattr("wetmount.origin.posterior.R_HAT_ENOUGH", 0.0)
    page = visit(f"/rooms/{room.pk}/origin/?condition=costia")
    stop = page.get_by_role("button", name="Stop working it out")
    stop.focus()
    page.get_by_text("A first answer, still being refined").wait_for(timeout=30_000)
    page.get_by_role("heading", name="Ways it can have come in").wait_for()
    page.wait_for_timeout(2_500)  # two rounds of asking
    assert page.evaluate("document.activeElement.textContent") == "Stop working it out"
    stop.click()
    page.get_by_text("a first idea only").first.wait_for()
    assert page.get_by_role("button", name="Stop working it out").count() == 0
    working.forget()


def test_the_round_prints_without_the_shell(
    visit: Callable[..., Any], room: FishRoom, outbreak: dict[str, Tank]
) -> None:
    page = visit(f"/rooms/{room.pk}/round/?wait=1")
    assert page.get_by_role("button", name="Print").is_visible()
    page.emulate_media(media="print")
    assert page.locator(".sheet").is_visible()
    for shell in (".frost", ".ways", ".cause", ".tray"):
        assert not page.locator(shell).first.is_visible(), shell
