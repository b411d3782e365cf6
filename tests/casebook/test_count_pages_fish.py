"""Counts of several fish, how many to examine, quarantine and deliveries."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from wetmount.casebook import clock
from wetmount.casebook.models import Batch, Case, Device, Examination, FishRoom, TaskDue
from wetmount.casebook.reference import reference
from wetmount.casebook.services import keeping, looking

pytestmark = pytest.mark.django_db
BAG = {"bag_temperature": "19", "bag_ph": "6.4", "bag_ammonia": "8", "tank_temperature": "25", "tank_ph": "8.2",
       "fish": "40", "dead": "3"}  # fmt: skip


def text(response: Any) -> str:
    return response.content.decode()


def batch(days_ago: int, **more: str) -> dict[str, str]:
    arrived = clock.today() - dt.timedelta(days=days_ago)
    return {"name": "Tetras", "fish": "40", "arrived": arrived.isoformat(), "temperature": "25"} | more


def test_pages_open_and_strangers_are_refused(browser: Client, stranger: Client, case: Case) -> None:
    of = f"/case/{case.number}"
    for path in ("/count/fish/", f"{of}/count/fish/", "/sample/", f"{of}/sample/", "/quarantine/",
                 "/quarantine/delivery/"):  # fmt: skip
        assert browser.get(path).status_code == 200, path
        assert stranger.get(path).status_code == 403, path
        assert browser.post(path).status_code == 405, path
    for path in ("/case/999/count/fish/", "/case/999/sample/"):
        assert browser.get(path).status_code == 404, path
    assert browser.get("/quarantine/schedule/").status_code == 405


@pytest.mark.parametrize(
    ("path", "sentence"),
    [
        ("/count/fish/?before=1+two", "The count: whole numbers from 0 go here"),
        ("/count/fish/?before=0+0&after=1+2", "Nothing was counted before"),
        ("/sample/?prevalence=0", "The share to find, in percent: a number from 0.01 to 100"),
        ("/sample/?prevalence=10&group=10&clean=12", "Fish examined, all clean: a whole number from 1 to 10"),
        ("/sample/?prevalence=10&prior=20", "goes with fish examined"),
        ("/sample/?prevalence=10&pools=3", "how many fish were in a pool"),
        ("/quarantine/?fish=4&arrived=soon", "The day of arrival: a date such as"),
        ("/quarantine/?fish=4&arrived=2026-01-02", "The temperature is missing"),
        ("/quarantine/?fish=&arrived=2026-01-02&temperature=25", "The number of fish is missing"),
        ("/quarantine/?fish=4&arrived=2026-01-02&temperature=25&ends=soon", "Treatments end on dates"),
        ("/quarantine/?fish=4&arrived=2026-01-02&temperature=25&water=beer", "is no water"),
        ("/quarantine/delivery/?bag_ph=2&fish=9&bag_temperature=20", "The pH of the bag: a number from 4 to 10"),
    ],
)
def test_what_cannot_be_is_told_in_a_sentence(browser: Client, path: str, sentence: str) -> None:
    answer = browser.get(path)
    assert answer.status_code == 422
    assert sentence in text(answer)


def test_counts_of_several_fish(browser: Client) -> None:
    page = text(browser.get("/count/fish/?before=0+3+1+0+12+2"))
    assert "Counted: 4 of 6 fish" in page
    assert "4.5 (" in page  # 18 parasites on 4 carrying fish
    after = text(browser.get("/count/fish/?before=10+20+10&after=0+0+0"))
    assert "100% of them are gone" in after
    same = text(browser.get("/count/fish/?before=10+20+10&after=1+3+1&same=yes"))
    assert "bootstrap over fish" in same


def test_counts_come_from_the_slides_of_the_case(browser: Client, device: Device, scrape: Examination) -> None:
    case = scrape.look.case
    looking.add_slide(device, scrape, objective="10x", fields=2, counts={"skin_costia": [3, 4]})
    second = looking.add_fish(device, case)
    other = looking.add_examination(device, scrape.look, "skin_scrape", fish=second)
    looking.add_slide(device, other, objective="10x", fields=1, counts={"skin_costia": [0]})
    page = text(browser.get(f"/case/{case.number}/count/fish/?finding=skin_costia"))
    assert 'value="7 0"' in page
    assert "Counted: 1 of 2 fish" in page


def test_how_many_fish_to_examine(browser: Client) -> None:
    # 45 of 100 fish for 5 % at 95 % with a perfect test: the exact detection-sample table of Cannon and Roe 1982,
    # as printed in many manuals.
    page = text(browser.get("/sample/?group=100&prevalence=5&sensitivity=100"))
    assert "Examine 45 fish of 100" in page
    clean = text(browser.get("/sample/?prevalence=10&sensitivity=100&clean=30&prior=50&pool=5&pools=10&positive=1"))
    assert "What 30 clean fish prove" in clean
    assert "10 %" in clean  # 1 - 0.05^(1/30) = 0.095
    assert "The pools tested speak for 2 %" in clean  # 1 - 0.9^(1/5) = 0.021
    assert "Not reachable" in text(browser.get("/sample/?group=30&prevalence=10&sensitivity=50"))


def test_not_yet_out_of_quarantine_goes_onto_today(browser: Client) -> None:
    page = text(browser.get("/quarantine/", batch(10)))
    assert "Not yet; next look on" in page
    assert "No fish has been examined." in page
    form = {"on": "2026-12-07", "name": "Tetras", "detail": "10 of 27 days", "back": "/quarantine/"}
    assert browser.post("/quarantine/schedule/", form).url == "/quarantine/"
    task = TaskDue.objects.get()
    assert (task.kind, task.title) == ("quarantine", "Quarantine: look at Tetras")
    assert browser.post("/quarantine/schedule/", {"on": "soon"}).status_code == 422


def test_ready_to_leave(browser: Client) -> None:
    examined = (clock.today() - dt.timedelta(days=1)).isoformat()
    page = text(browser.get("/quarantine/", batch(60, examined="40", examined_on=examined)))
    assert "Ready to leave quarantine" in page
    assert "Put this look on Today" not in page


def test_a_known_batch_fills_in(browser: Client, device: Device, room: Any) -> None:
    kept = keeping.add_batch(device, species="cherry barb", room=room, arrived=dt.date(2026, 11, 2), number=30)
    page = text(browser.get(f"/quarantine/?batch={kept.pk}"))
    assert 'value="2026-11-02"' in page
    assert 'value="30"' in page


def test_a_delivery_is_warned_about_free_ammonia(browser: Client) -> None:
    page = text(browser.get("/quarantine/delivery/", BAG))
    # 8 mg/L N at pH 8.2 and 25 °C: 8.3 % un-ionised (Emerson et al. 1975), far above the limit.
    assert "Do not drip tank water into the bag" in page
    assert "Float the closed bag first" in page
    assert "8 %" in page
    mild = text(browser.get("/quarantine/delivery/", BAG | {"bag_ammonia": "0.2", "dead": "0"}))
    assert "Do not drip" not in mild


# --- a batch of the fish room -----------------------------------------------------------------------------------------


@pytest.fixture
def kept(device: Device, room: FishRoom) -> Batch:
    arrived = clock.today() - dt.timedelta(days=40)
    return keeping.add_batch(device, room=room, species="Paracheirodon innesi", number=40, arrived=arrived)


def value(page: str, name: str) -> str:
    found = re.search(rf'<input id="{name}"[^>]* value="([^"]*)"', page)
    assert found is not None, name
    return found[1]


def test_a_batch_brings_what_its_cases_say(
    browser: Client, device: Device, kept: Batch, open_case: Callable[..., Case]
) -> None:
    day = clock.today() - dt.timedelta(days=9)
    case = open_case(batch=kept, title="Neons thin", opened=day)
    other = open_case(batch=kept, title="Neons spotted", opened=day - dt.timedelta(days=9))
    unrelated = open_case(title="Others", opened=clock.today())
    for one, dead in ((case, 3), (other, 2), (unrelated, 30)):
        looking.set_numbers(device, one.looks.get(), total=40, sick=4, dead=dead, dead_today=0)
    for level in (0, 1):
        fish = looking.add_fish(device, case, state="alive")
        scrape = looking.add_examination(device, case.looks.get(), "skin_scrape", fish=fish)
        looking.record_finding(device, scrape, "skin_costia", level)
    begun = looking.add_examination(device, case.looks.get(), "gill_scrape", fish=looking.add_fish(device, case))
    assert not begun.findings.exists()  # begun, nothing entered: not examined
    keeping.set_reading(device, case.looks.get(), "temperature", "25.5 C")
    page = text(browser.get(f"/quarantine/?batch={kept.pk}"))
    assert (value(page, "examined"), value(page, "examined_on")) == ("2", day.isoformat())
    assert value(page, "deaths") == "5"
    assert value(page, "temperature") == "25.5 C"
    assert value(page, "found") == reference().findings["skin_costia"].name
    assert f'href="/case/{case.number}/"' in page
    assert f'href="/case/{unrelated.number}/"' not in page
    # written over, it is what was written that counts
    clean = text(browser.get("/quarantine/", batch(40, examined="40", examined_on=clock.today().isoformat())))
    assert "Ready to leave quarantine</h2>" in clean


def test_a_batch_without_cases_says_so(browser: Client, kept: Batch) -> None:
    page = text(browser.get(f"/quarantine/?batch={kept.pk}"))
    assert "No case belongs to this batch" in page
    assert (value(page, "examined"), value(page, "deaths"), value(page, "fish")) == ("", "", "40")


def test_the_page_of_a_batch_leads_to_its_quarantine(browser: Client, room: FishRoom, kept: Batch) -> None:
    page = text(browser.get(reverse("room_change", args=[room.pk, "batch", kept.pk])))
    assert f'href="/quarantine/?batch={kept.pk}"' in page
