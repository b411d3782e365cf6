"""The weigh-up, the report, the reference and the settings in a real browser: parts arrive, nothing jumps, axe."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from wetmount.casebook.models import Case, Look, WeighUpCache

PHONE, LAPTOP = 390, 1280
WAIT = 120_000  # a weigh-up takes a second or two, and many times that on a busy machine


def done(page: Any) -> None:
    """Wait until every part of the weigh-up is there."""
    for part in ("firmness", "reasons", "next"):
        page.locator(f"[hx-get*='part={part}']").wait_for(state="detached", timeout=WAIT)


def test_parts_arrive_and_nothing_jumps(visit: Callable[..., Any], case: Case, weighable: Look) -> None:
    page = visit(f"/case/{case.number}/weigh-up/", width=PHONE)
    page.evaluate("window.shift = 0; new PerformanceObserver(list => {"
                  "for (const one of list.getEntries()) window.shift += one.value;"
                  "}).observe({type: 'layout-shift', buffered: true})")  # fmt: skip
    second = page.locator(".slide--rank").nth(1)
    before = second.bounding_box()["y"]
    done(page)
    assert abs(second.bounding_box()["y"] - before) < 1
    # "good" is below 0.1 (Web Vitals, cumulative layout shift)
    assert page.evaluate("window.shift") < 0.1
    assert "of 100 redraws" in page.locator("#firm").inner_text()
    assert page.locator("#next .option").count() > 0
    assert WeighUpCache.objects.get().complete
    page.locator(".fold--why summary").first.click()
    page.get_by_text("Speaks for it").first.wait_for(state="visible")
    page.reload()
    assert page.locator("[aria-busy]").count() == 0, "kept"


def test_what_if_answers_as_one_chooses(visit: Callable[..., Any], case: Case, weighable: Look) -> None:
    page = visit(f"/case/{case.number}/weigh-up/what-if/", width=PHONE)
    with page.expect_response(lambda response: "skin_costia=0" in response.url, timeout=WAIT):
        page.get_by_label("Flickering flagellates on skin").select_option("0")
    page.get_by_text("would lead instead of").wait_for(state="visible", timeout=WAIT)
    page.get_by_label("Nitrite too high").evaluate("field => field.scrollIntoView()")
    assert 0 <= page.locator("#moved").bounding_box()["y"] < 844 / 2, "what moves is in sight while one chooses"
    field, moved = page.get_by_label("Nitrite too high").bounding_box(), page.locator("#moved").bounding_box()
    assert field["y"] >= moved["y"] + moved["height"], "and does not cover what one chooses"


def test_the_message_is_copied_without_a_secure_context(visit: Callable[..., Any], case: Case, weighable: Look) -> None:
    page = visit(f"/case/{case.number}/report/", width=PHONE)
    page.evaluate("Object.defineProperty(navigator, 'clipboard', {value: undefined})")
    page.evaluate("document.addEventListener('copy', () => { window.copied = document.getSelection().toString(); })")
    page.get_by_role("button", name="Copy the message").click()
    assert "Copied" in page.locator("#copied").inner_text()
    area = page.locator("#message")
    assert area.evaluate("a => a.value.slice(a.selectionStart, a.selectionEnd) === a.value")
    assert page.evaluate("window.copied") is not None


@pytest.mark.parametrize("width", [PHONE, LAPTOP])
def test_axe_finds_nothing(
    visit: Callable[..., Any], axe_in_each_light: Callable[[Any], list[str]], case: Case, weighable: Look, width: int
) -> None:
    of_case = ("weigh-up/?whole", "weigh-up/what-if/?skin_costia=0", "weigh-up/rows/costia/", "report/")
    paths = [f"/case/{case.number}/{path}" for path in of_case]
    paths += ["/reference/?q=costia", "/reference/conditions/costia/", "/reference/links/", "/settings/"]
    page = None
    for path in paths:
        page = visit(path, width=width, page=page)
        page.evaluate("document.querySelectorAll('main details').forEach(one => { one.open = true; })")
        assert axe_in_each_light(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
