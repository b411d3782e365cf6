"""The pages of doses in a browser: from Today to an amount and its course, room on a phone, axe in the lights."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from wetmount.casebook.models import Case, Tank

expect = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.django_db(transaction=True)

FORMALIN = (
    "agent=formalin_short&strength=37+%25+w/w&lawful=yes&checked=aerated&checked=stock_clear&volume=20+L&temperature=24+C"
    "&oxygen=7+mg/L&water=fresh&kh=8+dKH&gh=10+dGH&host=koi&nothing_else=yes&go=1"
)
COURSE = "agent=salt_indefinite&dose=1+g/L&times=3&every=48+h&until=6&before=50&volume=80+L+to+100+L&go=1"
CHANGES = (
    "what=nitrate&now=80+mg/L+NO3&target=20+mg/L+NO3&new_value=5+mg/L+NO3&fraction=30&volume=120+L&tank_temperature=25+C"
    "&tank_ph=6.4&tank_kh=2+dKH&tank_ammonia=1+mg/L+N&new_temperature=24+C&new_ph=7.8&new_kh=8+dKH&chlorine=1+mg/L"
    "&combined=0.8+mg/L&go=1"
)
BOX = "v1_shape=box&v1_length=60+cm&v1_width=30+cm&v1_depth=33+cm&vessels=2&v2_shape=litres&v2_litres=8+L&go=1"
PATHS = (
    "/dose/", f"/dose/?{FORMALIN}", "/dose/?agent=salt_dip&volume=20&go=1", "/dose/?agent=ivermectin_caution",
    "/dose/with/", "/dose/with/?agent=formalin_short&that=plants", f"/dose/volume/?{BOX}", "/dose/volume/?how=salt",
    f"/dose/course/?{COURSE}", f"/dose/changes/?{CHANGES}", "/dose/changes/?fraction=100&go=1",
    "/dose/feed/?species_1=koi&count_1=5&length_1=30+cm&temperature=20+C&eating=60&go=1",
)  # fmt: skip


def test_from_today_to_an_amount_its_course_and_back_onto_today(visit: Callable[..., Any]) -> None:
    page = visit("/", width=390)
    page.get_by_role("link", name="Work out a dose").click()
    page.get_by_label("Agent", exact=True).select_option("salt_indefinite")
    page.get_by_role("button", name="Go on").click()
    page.get_by_label("Dose, with its unit").fill("3 g/L")
    page.get_by_label("Strength in hand").fill("pure")
    page.get_by_label("Volume, with its unit").fill("100")
    page.get_by_role("button", name="Work it out").click()
    expect(page.get_by_role("alert")).to_contain_text("has no unit")
    assert page.get_by_label("Strength in hand").input_value() == "pure"
    page.get_by_label("Volume, with its unit").fill("100 L")
    page.get_by_label("measured", exact=True).check()
    page.get_by_label("Kind of water").select_option("fresh")
    page.get_by_text("Other readings").click()
    page.get_by_label("Alkalinity, KH").fill("8 dKH")
    page.get_by_label("Hardness, GH").fill("10 dGH")
    page.get_by_label("Fish, by species or group").fill("koi")
    page.get_by_label("looked: nothing else of these").check()
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("#answer h2")).to_have_text("Sodium chloride: 300 g of pure, in 3 parts of 100 g")
    page.get_by_role("button", name="Put it on Today").click()
    expect(page.locator("#said")).to_contain_text("Set for")
    page.get_by_role("link", name="The course of it").click()
    page.get_by_role("button", name="Draw it").click()
    expect(page.locator("svg.narrow-only.chart")).to_be_visible()
    expect(page.locator("svg.wide-only.chart")).to_be_hidden()


def test_an_override_is_asked_for_by_name_and_is_in_the_case(visit: Callable[..., Any], case: Case) -> None:
    page = visit(f"/dose/?case={case.number}&{FORMALIN.replace('24+C', '28+C')}")
    expect(page.locator("#answer h2")).to_contain_text("No amount: 1 thing stands against it")
    page.get_by_text("Go against it, by name").click()
    page.get_by_label("Who goes against it").fill("Dr Hale")
    page.get_by_label("Why, in words").fill("the room cannot be cooled today")
    page.get_by_role("button", name="Go against this stop").click()
    expect(page.locator(".note--harm")).to_contain_text("by Dr Hale, because: the room cannot be cooled today")
    assert "Dr Hale" in case.notes.get().text


def test_shapes_change_their_measures_and_the_tank_keeps_its_water(visit: Callable[..., Any], tank: Tank) -> None:
    page = visit("/dose/volume/", width=390)
    page.get_by_label("Shape").select_option("cylinder")
    page.get_by_role("button", name="Its measures").click()
    page.get_by_label("Diameter").fill("40 cm")
    page.get_by_label("Depth of the water").fill("30 cm")
    page.get_by_role("button", name="How much?").click()
    expect(page.locator(".verdict h2")).to_have_text("37.7 L")
    page.get_by_label("Keep it as the water of").select_option(f"tank:{tank.pk}")
    page.get_by_role("button", name="Keep").click()
    page.wait_for_url("**/dose/?place=*")
    tank.refresh_from_db()
    assert tank.volume_l == 37.7


@pytest.mark.parametrize(("width", "light"), [(390, "bench"), (390, "microscope"), (1280, "dark")])
def test_nothing_that_axe_finds_and_nothing_runs_over(
    visit: Callable[..., Any], axe: Callable[[Any], list[str]], case: Case, width: int, light: str
) -> None:
    page = visit("/", width=width, light=light)
    for path in (*PATHS, f"/dose/?case={case.number}&agent=salt_indefinite&go=1"):
        page = visit(path, page=page)
        assert axe(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_what_is_pressed_is_large_enough(visit: Callable[..., Any]) -> None:
    """48 px, as the look asks; links inside a sentence are the exception."""
    page = visit(f"/dose/?{FORMALIN}", width=390)
    for path in (f"/dose/?{FORMALIN}", "/dose/with/?agent=formalin_short", f"/dose/course/?{COURSE}"):
        page = visit(path, page=page)
        small = page.evaluate(
            """() => [...document.querySelectorAll('main a.btn, main button, main select, main .meeting, main summary, '
              + 'main .entry input, main .pick')]
              .filter(one => one.offsetParent && one.getBoundingClientRect().height < 47.5)
              .map(one => one.outerHTML.slice(0, 90))"""
        )
        assert small == [], path
