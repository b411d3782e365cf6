"""The forecast page: its first line, the fan, what treating changes, tasks on Today; what is refused."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from threading import Event
from threading import enumerate as threads
from typing import Any
from urllib.parse import urlencode

import pytest
from django.test import Client

from wetmount.casebook import working
from wetmount.casebook.models import Case, Device, TaskDue
from wetmount.casebook.reference import reference
from wetmount.casebook.services import keeping, looking
from wetmount.casebook.views import forecast, forecast_chart
from wetmount.forecast import Situation, plan_treatments
from wetmount.forecast import forecast as core_forecast

pytestmark = pytest.mark.django_db
FLUKES = {
    "parasite": "gill_flukes", "burden": "6", "low": "3", "high": "12", "fish": "18", "volume": "120",
    "temperature": "25", "start": "2026-10-03",
}  # fmt: skip


@pytest.fixture(autouse=True)
def few_courses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(forecast, "COURSES", 200)
    forecast._forecast.cache_clear()


def text(response: Any) -> str:
    return response.content.decode()


def test_the_form_opens_and_strangers_are_refused(browser: Client, stranger: Client, case: Case) -> None:
    for path in ("/forecast/", "/forecast/days/", f"/case/{case.number}/forecast/"):
        assert browser.get(path).status_code == (422 if "days" in path else 200), path
        assert stranger.get(path).status_code == 403
    assert browser.get("/case/999/forecast/").status_code == 404


def test_wrong_methods(browser: Client) -> None:
    assert browser.post("/forecast/").status_code == 405
    assert browser.get("/forecast/schedule/").status_code == 405


def test_the_first_line_says_when_to_look_again_as_the_core_says(browser: Client) -> None:
    page = text(browser.get("/forecast/", FLUKES))
    situation = Situation(18, 120.0, 6.0, 3.0, 12.0, (25.0,), dt.date(2026, 10, 3), water_change_every_days=7)
    found = core_forecast("gill_flukes", situation, reference(), trajectories=200)
    assert found.look_again.date is not None
    on = f"{found.look_again.date:%-d %B}"
    assert f"Look again on <strong>{on}</strong>, sooner if {found.look_again.sooner_if}" in page
    assert f'<b class="big">{found.look_again.harmful_by_then * 100:.0f} %</b>' in page
    assert "Half the water changed every 2 days" in page
    assert "What the answer hangs on" in page


def test_numbers_may_carry_the_units_one_has(browser: Client) -> None:
    metric = text(browser.get("/forecast/", FLUKES))
    other = text(browser.get("/forecast/", FLUKES | {"volume": "31.7006 US gal", "temperature": "77 F"}))
    line = '<b class="big">'
    assert metric.split(line)[1][:6] == other.split(line)[1][:6]


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"burden": "many"}, "Parasites a fish: a number from 0 to"),
        ({"fish": ""}, "The number of fish in the tank is missing"),
        ({"volume": ""}, "The water in the tank is missing"),
        ({"temperature": "95"}, "95"),
        ({"low": "20"}, "must rise"),
        ({"parasite": "unicorns"}, "There is no forecast for"),
        ({"treat": "prayer"}, "is not in the tables"),
        ({"treat": "praziquantel_bath", "on": "x"}, "Days of treatment"),
        ({"start": "soon"}, "a date such as 2026-10-03"),
        ({"later_day": "7"}, "What the later count found is missing"),
    ],
)
def test_what_cannot_be_is_told_in_a_sentence(browser: Client, more: dict[str, str], sentence: str) -> None:
    answer = browser.get("/forecast/", FLUKES | more)
    assert answer.status_code == 422
    assert sentence in text(answer).replace("&#x27;", "'")


def test_a_treatment_is_compared_and_drawn(browser: Client) -> None:
    page = text(browser.get("/forecast/", FLUKES | {"treat": "praziquantel_bath", "on": "0, 5"}))
    assert "Praziquantel bath on day 0, 5" in page
    assert page.count("mark mark--solid") == 4  # two days, each in the wide and in the narrow drawing
    assert 'hx-trigger="load"' in page


def test_which_days_to_treat_on(browser: Client) -> None:
    asked = {"parasite": "skin_flukes", "burden": "10", "fish": "8", "volume": "60", "temperature": "25",
             "start": "2026-10-03", "treat": "praziquantel_bath"}  # fmt: skip
    page = text(browser.get("/forecast/days/", asked))
    assert "Praziquantel bath: give on 3 October" in page
    part = text(browser.get("/forecast/days/", asked, HTTP_HX_REQUEST="true"))
    assert part.lstrip().startswith('<section id="timing"')
    # Salt at 3 g/L multiplies these flukes (Schelkle, Doetjes and Cable, Parasitology 138:1778-1786, 2011).
    refused = browser.get("/forecast/days/", asked | {"treat": "salt_indefinite"})
    assert refused.status_code == 422
    assert "grow faster than plain water" in text(refused)


def test_the_look_and_the_doses_go_onto_today(browser: Client, case: Case) -> None:
    path = f"/case/{case.number}/forecast/schedule/"
    form = {"kind": "look_again", "title": "Count again", "on": "2026-10-09", "back": f"/case/{case.number}/forecast/"}
    assert browser.post(path, form).url == form["back"]
    assert TaskDue.objects.get().case == case
    browser.post("/forecast/schedule/", {"kind": "dose", "title": "Bath", "on": ["2026-10-03", "2026-10-08"]})
    doses = TaskDue.objects.filter(kind="dose").order_by("due_on")
    assert [(one.title, one.due_on.day) for one in doses] == [("Bath (1 of 2)", 3), ("Bath (2 of 2)", 8)]


@pytest.mark.parametrize(
    "form", [{"kind": "party", "on": "2026-10-09"}, {"kind": "dose"}, {"kind": "dose", "title": "x", "on": "soon"}]
)
def test_tasks_that_cannot_be_are_refused(browser: Client, form: dict[str, str]) -> None:
    assert browser.post("/forecast/schedule/", form).status_code == 422
    assert not TaskDue.objects.exists()


def test_a_case_fills_in_what_it_says(browser: Client, device: Device, case: Case) -> None:
    look = case.looks.get()
    looking.set_numbers(device, look, total=24, sick=3, dead=2, dead_today=0)
    keeping.set_reading(device, look, "temperature", "25.5 C")
    case.leading = "gill_flukes"
    case.save()
    page = text(browser.get(f"/case/{case.number}/forecast/"))
    for filled in ('name="fish" inputmode="numeric" autocomplete="off" value="22"', 'value="55 L"', 'value="25.5 C"'):
        assert filled in page
    assert '<option value="gill_flukes" selected>' in page


def test_the_drawing_keeps_within_its_frame() -> None:
    situation = Situation(18, 120.0, 6.0, 3.0, 12.0, (25.0,))
    found = core_forecast("gill_flukes", situation, reference(), trajectories=200)
    for fan in forecast_chart.fans(found, dt.date(2026, 10, 3), 0, (0, 5)):
        places = [pair.split() for pair in fan.outer.strip("MZ").split("L")]
        assert all(fan.left <= float(x) <= fan.right and fan.top <= float(y) <= fan.bottom for x, y in places)
        assert fan.top < fan.harmful < fan.bottom


# --- days take a while: how far, and stopping -------------------------------------------------------------------------

SLOW = FLUKES | {"treat": "praziquantel_bath"}


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> Iterator[Event]:
    """A search of days that stands at 40 % until it is let go or stopped."""
    go = Event()

    def search(*given: Any, progress: Callable[[float], bool], **more: Any) -> Any:
        while not go.wait(0.01):
            if not progress(0.4):
                raise InterruptedError
        return plan_treatments(*given, progress=progress, **more)

    working.forget()
    monkeypatch.setattr(forecast, "plan_treatments", search)
    monkeypatch.setattr(forecast, "WAIT_SECONDS", 0.2)
    yield go
    go.set()
    working.forget()


def still_at_work() -> list[str]:
    """Threads at work that do not end within seconds."""
    at_work = [one for one in threads() if one.name == "wetmount-work"]
    for one in at_work:
        one.join(5)
    return [one.name for one in at_work if one.is_alive()]


def test_the_search_of_days_shows_how_far_it_is(browser: Client, held: Event, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = text(browser.get("/forecast/days/", SLOW, HTTP_HX_REQUEST="true", HTTP_HX_TARGET="timing"))
    assert "Still working it out: 40 %" in whole
    assert "Stop working it out" in whole
    asked = {"HTTP_HX_REQUEST": "true", "HTTP_HX_TARGET": "timing-share"}
    share = text(browser.get("/forecast/days/", SLOW, **asked))
    assert share.lstrip().startswith('<p id="timing-share"')
    assert "Stop working it out" not in share  # the button stays as it is, with the focus on it
    held.set()
    monkeypatch.setattr(forecast, "WAIT_SECONDS", 120)
    done = browser.get("/forecast/days/", SLOW, **asked)
    assert done["HX-Retarget"] == "#timing"
    assert "Praziquantel bath: give on 3 October" in text(done)
    assert "Published rules beside it" in text(done)


def test_the_search_of_days_can_be_stopped_and_begun_again(browser: Client, held: Event) -> None:
    asked = {"HTTP_HX_REQUEST": "true", "HTTP_HX_TARGET": "timing"}
    browser.get("/forecast/days/", SLOW, **asked)
    stopped = browser.post("/forecast/days/stop/?" + urlencode(SLOW), **asked)
    assert "Stopped before an answer was found" in text(stopped)
    assert [
        one.name for one in threads() if one.name == "wetmount-work" and one.join(5) is None and one.is_alive()
    ] == []
    assert "Still working it out" in text(browser.get("/forecast/days/", SLOW, **asked))


def test_work_nobody_asks_after_stops(held: Event, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(working, "FORGOTTEN_SECONDS", 0.0)
    left = working.work("left alone", lambda told: held.wait(0.05) or told(0.5) or None)
    assert not still_at_work()
    assert left.stopped
    assert left.answer is None
