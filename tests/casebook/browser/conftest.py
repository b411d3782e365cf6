"""Headless Chromium on the casebook: a phone and a laptop, in each light, with axe.

`visit(path, width=..., light=...)` opens a page as the owner and gives the page of playwright. At the end of a test no
page may have logged an error or broken the content-security policy.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from wetmount.casebook import pairing

# playwright's loop runs in this thread; Django would refuse the database beside it.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

PHONE, LAPTOP = 390, 1280
SIZES = {PHONE: 844, LAPTOP: 900}
LIGHTS = ("bench", "dark", "microscope")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One browser for all tests."""
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("needs chromium, which is not installed")
    from playwright.sync_api import sync_playwright

    options = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=options)
        yield browser
        browser.close()


@pytest.fixture
def visit(chromium: Any, live_server: Any, device: Any) -> Iterator[Callable[..., Any]]:
    """Opens a page of the casebook on this computer, in a browser of its own unless `page` is given."""
    complaints: list[str] = []
    contexts: list[Any] = []

    def heard(message: Any) -> None:
        # An answer of 4xx is logged as an error too, and tests ask for some on purpose.
        if message.type == "error" and "Failed to load resource" not in message.text:
            complaints.append(message.text)

    def open_one(path: str, *, width: int = LAPTOP, light: str | None = None, page: Any = None) -> Any:
        if page is None:
            context = chromium.new_context(viewport={"width": width, "height": SIZES[width]})
            contexts.append(context)
            page = context.new_page()
            page.on("console", heard)
            page.on("pageerror", lambda error: complaints.append(str(error)))
            page.goto(f"{live_server.url}/enter/{pairing.make_link(for_owner=True)}/")
            page.wait_for_url(f"{live_server.url}/")
        if light is not None:
            page.context.add_cookies([{"name": "wetmount_light", "value": light, "url": live_server.url}])
        page.goto(live_server.url + path)
        return page

    yield open_one
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.fixture
def axe() -> Callable[[Any], list[str]]:
    """What axe finds wrong on a page against WCAG 2.2 A and AA, one line each."""
    from axe_playwright_python.sync_playwright import Axe

    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    # Every rule is run on everything; only what passed is not listed, which takes longer than finding what did not.
    options = {"runOnly": {"type": "tag", "values": tags}, "resultTypes": ["violations"]}
    reader = Axe()

    def check(page: Any) -> list[str]:
        found = reader.run(page, options=options).response["violations"]
        return [f"{one['id']}: {node['html'][:150]}" for one in found for node in one["nodes"]]

    return check


@pytest.fixture
def axe_in_each_light(axe: Callable[[Any], list[str]]) -> Callable[[Any], list[str]]:
    """What axe finds wrong in any of the lights. They differ by one attribute and the colours that hang on it, so the
    page is opened once (that the choice comes with the page is tested in `test_frame`)."""

    def check(page: Any) -> list[str]:
        page.emulate_media(reduced_motion="reduce")  # no colour on its way from one light to the next
        wrong = []
        for light in LIGHTS:
            page.evaluate("light => { document.documentElement.dataset.light = light; }", light)
            wrong += [f"{light}: {one}" for one in axe(page)]
        return wrong

    return check
