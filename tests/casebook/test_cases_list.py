"""The case list: narrowed, searched, paged; and what has been seen, counted and told."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from wetmount.casebook import seen
from wetmount.casebook.models import Case, Device, FishRoom, Tank
from wetmount.casebook.services import cases, keeping

pytestmark = pytest.mark.django_db
HOSTILE = "<script>alert(1)</script>"
PATHS = ("/cases/", "/cases/seen/")


def text(response: Any) -> str:
    return response.content.decode()


def listed(browser: Client, query: str = "") -> list[int]:
    rows = browser.get(f"/cases/?{query}").context["rows"]
    return [row.case.number for row in rows]


@pytest.mark.parametrize("path", PATHS)
def test_pages_open_and_strangers_are_told_nothing(browser: Client, stranger: Client, case: Case, path: str) -> None:
    assert browser.get(path).status_code == 200
    assert "<html" not in text(browser.get(path, HTTP_HX_REQUEST="true"))
    assert browser.post(path).status_code == 405
    refused = stranger.get(path)
    assert refused.status_code == 403
    assert case.title not in text(refused)


@pytest.mark.parametrize("path", PATHS)
def test_an_empty_casebook_says_so(browser: Client, path: str) -> None:
    assert "No case yet" in text(browser.get(path))


@pytest.mark.parametrize("path", PATHS)
def test_hostile_text_is_text(browser: Client, device: Device, path: str) -> None:
    room = keeping.add_room(device, HOSTILE)
    cases.open_case(device, which_fish=HOSTILE, worries=HOSTILE, room=room, species=HOSTILE)
    for query in ("", f"?q={HOSTILE}&room={HOSTILE}&host={HOSTILE}&opened_from={HOSTILE}&before={HOSTILE}"):
        assert "<script>alert" not in text(browser.get(path + query))


def test_each_filter_narrows(browser: Client, device: Device, open_case: Callable[..., Case], tank: Tank) -> None:
    rainbow = open_case(tank=tank, species="Boeseman rainbowfish", opened=dt.date(2026, 3, 1))
    guppy = open_case(host_group="livebearer", opened=dt.date(2026, 4, 1))
    barb = open_case(species="Puntigrus tetrazona", opened=dt.date(2026, 5, 1))
    cases.set_cause(device, guppy, "ich", "confirmed")
    cases.set_cause(device, barb, "ich", "likely")
    cases.close_case(device, guppy, on=dt.date(2026, 4, 20))
    Case.objects.filter(pk=rainbow.pk).update(leading="ich", leading_share=0.7)
    assert listed(browser) == [barb.number, guppy.number, rainbow.number]
    assert listed(browser, "host=rainbowfish") == [rainbow.number], "by the species, where no group was entered"
    assert listed(browser, "host=barb") == [barb.number], "a true barb is a barb"
    assert listed(browser, "host=freshwater") == [barb.number, guppy.number, rainbow.number]
    assert listed(browser, "condition=ich") == [guppy.number, rainbow.number], "leading or confirmed, not merely likely"
    assert listed(browser, f"room={tank.room_id}") == [rainbow.number]
    assert listed(browser, "state=open") == [barb.number, rainbow.number]
    assert listed(browser, "state=closed") == [guppy.number]
    assert listed(browser, "opened_from=2026-04-01&opened_to=2026-04-30") == [guppy.number]
    assert listed(browser, "q=rubbing&state=closed") == [guppy.number]
    assert listed(browser, "q=nothing+like+that") == []
    assert "No case is like that." in text(browser.get("/cases/?q=nothing"))


@pytest.mark.parametrize(
    "query",
    [
        "host=unicorn",
        "condition=hunger",
        "room=x",
        "room=99999999999999",
        "state=lost",
        "opened_from=2026-02-30",
        "before=x",
    ],
)
def test_what_means_nothing_is_passed_over(browser: Client, case: Case, query: str) -> None:
    assert listed(browser, query) == [case.number]


def test_the_list_says_what_leads_and_what_it_was_put_down_to(
    browser: Client, device: Device, open_case: Callable[..., Case]
) -> None:
    one, two, three = open_case(), open_case(), open_case()
    Case.objects.filter(pk__in=[one.pk, two.pk]).update(leading="costia", leading_share=0.994)
    cases.set_cause(device, two, "velvet_freshwater", "confirmed")
    rows = {row.case.number: row.cause for row in browser.get("/cases/").context["rows"]}
    assert rows == {
        one.number: "Costia (ichthyobodosis) leads, over 99 %",
        two.number: "Put down to Freshwater velvet",
        three.number: "Not weighed yet",
    }


def test_deleted_cases_are_not_listed(browser: Client, device: Device, case: Case) -> None:
    cases.delete_case(device, case)
    assert listed(browser) == []


def test_paging_goes_on_where_it_stopped(browser: Client, open_case: Callable[..., Case]) -> None:
    numbers = sorted((open_case().number for _ in range(27)), reverse=True)
    first = browser.get("/cases/?q=rubbing")
    assert [row.case.number for row in first.context["rows"]] == numbers[:25]
    older = first.context["older"]
    assert f"q=rubbing&amp;before={older}" in text(first)
    open_case()  # a case that is opened meanwhile moves nothing
    assert listed(browser, f"q=rubbing&before={older}") == numbers[25:]
    assert "27 cases found" in text(first)


def test_queries_do_not_grow_with_cases(browser: Client, device: Device, open_case: Callable[..., Case]) -> None:
    def fill() -> dict[str, int]:
        for _ in range(10):
            cases.set_cause(device, open_case(species="guppy"), "ich", "confirmed")
        counted = {}
        for path in (*PATHS, "/cases/?q=rubbing&condition=ich"):
            with CaptureQueriesContext(connection) as run:
                browser.get(path)
            counted[path] = len(run)
        return counted

    assert fill() == fill()


# --- what has been seen -----------------------------------------------------------------------------------------------


def test_by_month_counts_every_month_and_only_those(open_case: Callable[..., Case]) -> None:
    for opened in ("2026-08-31", "2026-09-01", "2026-09-30", "2026-11-15", "2024-11-30"):
        open_case(opened=dt.date.fromisoformat(opened))
    counted = seen.by_month(Case.objects.all(), dt.date(2026, 11, 20))
    assert [(bar.label, bar.number) for bar in counted.bars] == [
        ("Aug 2026", 1), ("Sep 2026", 2), ("Oct 2026", 0), ("Nov 2026", 1)]  # fmt: skip
    assert counted.sentence == "4 cases opened in the last 4 months; most in Sep 2026, 2."
    assert [bar.share for bar in counted.bars] == [0.5, 1.0, 0.0, 0.5]


def test_by_cause_takes_the_confirmed_else_the_leading(device: Device, open_case: Callable[..., Case]) -> None:
    one, two, three, _ = (open_case() for _ in range(4))
    Case.objects.filter(pk__in=[one.pk, two.pk]).update(leading="costia")
    cases.set_cause(device, two, "ich", "confirmed")
    cases.set_cause(device, two, "velvet_freshwater", "confirmed")
    cases.set_cause(device, three, "ich", "confirmed")
    cases.set_cause(device, three, "columnaris", "ruled_out")
    counted = seen.by_cause(Case.objects.all())
    assert {bar.label: bar.number for bar in counted.bars} == {
        "White spot (ich)": 2, "Costia (ichthyobodosis)": 1, "Freshwater velvet": 1}  # fmt: skip
    assert counted.sentence == "White spot (ich) most often, 2 cases; 3 causes in all."


def test_by_host_counts_species_under_their_group(open_case: Callable[..., Case]) -> None:
    open_case(species="guppy")
    open_case(species="Poecilia reticulata")
    open_case(host_group="livebearer")
    open_case(species="axolotl")
    open_case()
    counted = {bar.label: bar.number for bar in seen.by_host(Case.objects.all()).bars}
    assert counted == {"guppies platies swordtails mollies": 3, "axolotl": 1, "not said": 1}


def test_the_charts_follow_the_filter(browser: Client, open_case: Callable[..., Case], room: FishRoom) -> None:
    open_case(room=room)
    open_case()
    assert "1 case opened" in text(browser.get(f"/cases/seen/?room={room.pk}"))
    assert "2 cases opened" in text(browser.get("/cases/seen/"))
