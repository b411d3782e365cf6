"""Tracing in a fish room: the record it rests on, what was entered by a tap, the pages, and what follows in a case."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import zipfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from msgspec import structs
from scipy import stats

from wetmount.casebook import clock, demo, tracing_run, working
from wetmount.casebook.models import (
    Act,
    Batch,
    Device,
    FishRoom,
    Move,
    System,
    Tank,
    TankCheck,
    TankGroup,
    TankSign,
    TraceCache,
)
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, keeping, looking, room_file, room_sheet, tracing
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.services.undo import undo_last
from wetmount.casebook.tracing import record_of
from wetmount.casebook.tracing_told import for_report, prevention_lines, trace_of
from wetmount.origin.room_check import check_room
from wetmount.origin.room_file import demo_room, read_room, write_room
from wetmount.origin.room_rows import TABLES, rows_of
from wetmount.origin.tracing import trace

pytestmark = pytest.mark.django_db
HOSTILE = "<script>alert(1)</script>"
HTMX = {"HTTP_HX_REQUEST": "true"}


def day(n: int) -> dt.date:
    return clock.today() + dt.timedelta(days=n)


def text(response: Any) -> str:
    return response.content.decode()


@pytest.fixture(autouse=True)
def nothing_under_way() -> Iterator[None]:
    working.forget()
    yield
    working.forget()


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """A trace of few sweeps: pages do not depend on how well it converged."""
    monkeypatch.setattr(tracing_run, "trace", partial(trace, pairs=4, most_sweeps=40))


@pytest.fixture
def tanks(device: Device, room: FishRoom) -> dict[str, Tank]:
    """Rack A with A1 to A3 on one sump, and Q1 on its own; guppies everywhere, new ones from North into Q1 and on."""
    rack = keeping.add_system(device, room, "Rack A")
    found = {f"A{n}": keeping.add_tank(device, room, f"A{n}", rack, order=n, row=1, place=n, turn=n) for n in (1, 2, 3)}
    found["Q1"] = keeping.add_tank(device, room, "Q1", turn=4)
    for name in ("A1", "A2", "A3"):
        old = keeping.add_batch(device, "guppy", room, origin="East", number=10, arrived=day(-200))
        keeping.move_fish(device, old, found[name], day(-200))
    new = keeping.add_batch(device, "platy", room, origin="North", number=12, arrived=day(-15))
    keeping.move_fish(device, new, found["Q1"], day(-15))
    keeping.move_fish(device, new, found["A2"], day(-12), from_tank=found["Q1"], number=4)
    return found


@pytest.fixture
def outbreak(device: Device, room: FishRoom, tanks: dict[str, Tank]) -> dict[str, Tank]:
    """Costia: signs in A2, then A1; Q1 scraped, not seen; rack A looked at every day."""
    tracing.note_sign(device, tanks["A2"], "signs", day(-5), number=2, not_before=day(-6), condition="costia")
    tracing.note_sign(device, tanks["A1"], "signs", day(-1), number=1, not_before=day(-2), condition="costia")
    tracing.note_check(device, tanks["Q1"], day(-3), found=False, examination="skin_scrape", fish=3, condition="costia")
    rack = [tanks["A1"], tanks["A2"], tanks["A3"]]
    tracing.set_group(device, room, "watch", "daily look", rack, since=day(-30), every_days=1)
    tracing.set_group(device, room, "tool", "green net", rack)
    return tanks


PAGES = ("exposures", "curve", "chains", "origin", "control", "round", "sheet")


# --- every page -------------------------------------------------------------------------------------------------------


def test_pages_open_and_strangers_are_told_nothing(
    browser: Client, stranger: Client, room: FishRoom, outbreak: dict[str, Tank], quick: None
) -> None:
    for page in (*PAGES, "sign/new", "check/new", "group/new", "origin/part"):
        path = f"/rooms/{room.pk}/{page}/"
        assert browser.get(path).status_code == 200, path
        assert "<html" not in text(browser.get(path, **HTMX)), path
        refused = stranger.get(path)
        assert refused.status_code == 403, path
        assert "A2" not in text(refused)


def test_wrong_ids_and_methods(browser: Client, device: Device, room: FishRoom, outbreak: dict[str, Tank]) -> None:
    for page in (*PAGES, "file"):
        assert browser.get(f"/rooms/999/{page}/").status_code == 404, page
        assert browser.get(f"/rooms/{room.pk}/{page}/?condition=nothing").status_code == (
            200 if page == "sheet" else 404
        ), page
        assert browser.put(f"/rooms/{room.pk}/{page}/").status_code == 405, page
    assert browser.get(f"/rooms/{room.pk}/seen/").status_code == 405
    assert browser.get(f"/rooms/{room.pk}/origin/stop/").status_code == 405
    assert browser.get(f"/rooms/{room.pk}/origin/part/?show=cat").status_code == 404
    elsewhere = keeping.add_room(device, "Elsewhere")
    assert browser.post(f"/rooms/{elsewhere.pk}/seen/", {"tank": outbreak["A1"].pk, "what": "signs"}).status_code == 404
    sign = TankSign.objects.first()
    assert sign is not None
    assert browser.get(f"/rooms/{elsewhere.pk}/sign/{sign.pk}/").status_code == 404
    assert browser.get(f"/rooms/{room.pk}/exposures/?exposure=origin:Mars&within=system").status_code == 404
    assert browser.get(f"/rooms/{room.pk}/chains/?tank=999&first=never").status_code == 200


def test_hostile_text_is_text(browser: Client, device: Device, quick: None) -> None:
    room = keeping.add_room(device, HOSTILE)
    system = keeping.add_system(device, room, HOSTILE)
    tank = keeping.add_tank(device, room, HOSTILE, system, row=1, place=1)
    other = keeping.add_tank(device, room, "B;\n2", system, row=1, place=2)
    batch = keeping.add_batch(device, HOSTILE, room, origin=f"{HOSTILE} 2026-02-31", number=5, arrived=day(-5))
    keeping.move_fish(device, batch, tank, day(-5), note=HOSTILE)
    keeping.add_contact(device, "plants", tank, other, day(-3), note=HOSTILE)
    tracing.note_sign(device, tank, "signs", day(-1), condition="costia", note=HOSTILE)
    tracing.set_group(device, room, "tool", HOSTILE, [tank, other], note=HOSTILE)
    sign, group = TankSign.objects.get(), TankGroup.objects.get()
    rest = [f"/rooms/{room.pk}/?tank={tank.pk}", f"/rooms/{room.pk}/set-up/", f"/rooms/{room.pk}/sign/{sign.pk}/"]
    rest += [f"/rooms/{room.pk}/group/{group.pk}/", f"/rooms/{room.pk}/chains/?tank={tank.pk}"]
    rest += [f"/rooms/{room.pk}/{page}/?wait=1" for page in PAGES]
    for path in rest:
        answer = browser.get(path)
        assert answer.status_code == 200, path
        assert "<script>alert" not in text(answer), path
    assert record_of(room, "costia").room.tanks[1].id == "B, 2"


def test_queries_do_not_grow_with_tanks_and_entries(browser: Client, device: Device, room: FishRoom) -> None:
    def fill(letter: str) -> list[int]:
        rows = []
        for n in range(8):
            rack = keeping.add_system(device, room, f"{letter}{n}")
            tank = keeping.add_tank(device, room, f"{letter}{n}", rack, row=1, place=1)
            rows.append(tank)
            fish = keeping.add_batch(device, "guppy", room, number=5)
            keeping.move_fish(device, fish, tank, day(-3))
            tracing.note_sign(device, tank, "signs", day(-2), condition="costia")
            tracing.note_check(device, tank, day(-1), found=False)
            cases.open_case(device, which_fish="x", worries="y", tank=tank)
        tracing.set_group(device, room, "tool", f"net {letter}", rows)
        counted = []
        for path in ("", "exposures/", "curve/", f"chains/?tank={rows[0].pk}", "set-up/", "sign/new/", "group/new/"):
            with CaptureQueriesContext(connection) as run:
                assert browser.get(f"/rooms/{room.pk}/{path}").status_code == 200
            counted.append(len(run))
        return counted

    assert fill("A") == fill("B")


# --- by a tap ---------------------------------------------------------------------------------------------------------


def tap(browser: Client, room: FishRoom, tank: Tank, what: str, **more: str) -> Any:
    sent = {"tank": tank.pk, "what": what, "on": day(0).isoformat(), "back": f"/rooms/{room.pk}/?tank={tank.pk}"}
    return browser.post(f"/rooms/{room.pk}/seen/", sent | more)


def test_one_tap_each_and_undo(browser: Client, device: Device, room: FishRoom, tanks: dict[str, Tank]) -> None:
    answer = tap(browser, room, tanks["A1"], "signs", condition="costia", number="2")
    assert answer.url == f"/rooms/{room.pk}/?tank={tanks['A1'].pk}"
    sign = TankSign.objects.get()
    assert (sign.tank, sign.on, sign.kind, sign.number, sign.condition) == (tanks["A1"], day(0), "signs", 2, "costia")
    tap(browser, room, tanks["A2"], "nothing")
    check = TankCheck.objects.get()
    assert (check.tank, check.found, check.condition) == (tanks["A2"], False, "")
    page = text(browser.get(f"/rooms/{room.pk}/?tank={tanks['A1'].pk}"))
    assert "A1: 2 with signs" in page
    assert "No signs in A2" in page
    assert f'class="tank is-ill" id="tank-{tanks["A1"].pk}"' in page
    tap(browser, room, tanks["A1"], "deaths", number="1")
    assert TankSign.objects.filter(kind="deaths", number=1, condition="").exists()
    for _ in range(3):
        undo_last(device, None)
    assert not TankSign.objects.exists()
    assert not TankCheck.objects.exists()


def test_no_signs_in_the_rest_of_the_rack_is_one_act(
    browser: Client, device: Device, room: FishRoom, tanks: dict[str, Tank]
) -> None:
    empty = keeping.add_tank(device, room, "A4", tanks["A1"].system)
    tap(browser, room, tanks["A1"], "signs")
    acts = Act.objects.count()
    tap(browser, room, tanks["A1"], "rack")
    assert set(TankCheck.objects.values_list("tank__name", flat=True)) == {"A2", "A3"}
    assert not empty.checks.exists()
    assert Act.objects.count() == acts + 1
    tap(browser, room, tanks["A1"], "rack")  # again: nothing new to write down
    assert TankCheck.objects.count() == 2
    undo_last(device, None)
    assert not TankCheck.objects.exists()


@pytest.mark.parametrize(
    ("sent", "why"),
    [
        ({"what": "deaths", "number": "11"}, "more than the 10 fish that A1 held"),
        ({"what": "signs", "number": "11"}, "That cannot be so"),
        ({"what": "signs", "number": "many"}, "The number of fish is a whole number"),
        ({"what": "signs", "on": "2999-01-01"}, "has not come yet"),
        ({"what": "signs", "on": "soon"}, "Say on which day"),
        ({"what": "signs", "condition": "gloom"}, "There is no cause"),
        ({"what": "cat"}, "What was seen is signs or deaths"),
    ],
)
def test_what_cannot_be_so_is_refused(
    browser: Client, room: FishRoom, tanks: dict[str, Tank], sent: dict[str, str], why: str
) -> None:
    answer = tap(browser, room, tanks["A1"], **sent)
    assert answer.status_code == 422
    assert why in text(answer)
    assert not TankSign.objects.exists()


def test_forms_of_signs_checks_and_groups(browser: Client, room: FishRoom, tanks: dict[str, Tank]) -> None:
    at = f"/rooms/{room.pk}"
    sign = {"tank": tanks["A1"].pk, "kind": "signs", "number": "3", "condition": "costia", "on": day(-2).isoformat(),
            "not_before": day(-4).isoformat(), "note": ""}  # fmt: skip
    assert browser.post(f"{at}/sign/new/", sign).url == f"{at}/?tank={tanks['A1'].pk}"
    row = TankSign.objects.get()
    assert row.not_before == day(-4)
    browser.post(f"{at}/sign/{row.pk}/", sign | {"number": "4", "seen": row.version})
    row.refresh_from_db()
    assert row.number == 4
    answer = browser.post(f"{at}/sign/{row.pk}/", sign | {"tank": tanks["A2"].pk, "seen": row.version})
    assert "This was seen in A1" in text(answer)
    answer = browser.post(f"{at}/sign/new/", sign | {"not_before": day(-1).isoformat()})
    assert "cannot have been well" in text(answer)

    check = {"tank": tanks["A2"].pk, "condition": "", "examination": "skin_scrape", "fish": "2", "found": "yes",
             "on": day(-1).isoformat(), "note": ""}  # fmt: skip
    assert "Say what was seen" in text(browser.post(f"{at}/check/new/", check))
    browser.post(f"{at}/check/new/", check | {"condition": "costia"})
    assert TankCheck.objects.get().found

    group = {"kind": "tool", "name": "green net", "tanks": [tanks["A1"].pk, tanks["A2"].pk], "since": "", "until": "",
             "every_days": "", "note": ""}  # fmt: skip
    browser.post(f"{at}/group/new/", group)
    made = TankGroup.objects.get()
    assert [tank.name for tank in made.tanks] == ["A1", "A2"]
    browser.post(f"{at}/group/{made.pk}/", group | {"tanks": [tanks["A2"].pk, tanks["A3"].pk], "seen": made.version})
    assert [tank.name for tank in made.tanks] == ["A2", "A3"]
    assert "There is already one named" in text(browser.post(f"{at}/group/new/", group))
    answer = browser.post(f"{at}/group/new/", group | {"name": "x", "since": day(0), "until": day(-1)})
    assert "It cannot end on" in text(answer)
    answer = browser.post(f"{at}/group/new/", group | {"name": "x", "kind": "watch"})
    assert "Say since when" in text(answer)
    browser.post(f"{at}/group/{made.pk}/", {"what": "remove"})
    assert not TankGroup.objects.exists()


def test_what_was_seen_keeps_its_tank(browser: Client, device: Device, room: FishRoom) -> None:
    tank = keeping.add_tank(device, room, "A1")
    tracing.note_check(device, tank, day(0), found=False)
    answer = browser.post(f"/rooms/{room.pk}/tank/{tank.pk}/", {"what": "remove"})
    assert "must stay known" in text(answer)
    assert Tank.objects.filter(pk=tank.pk).exists()


def test_what_connects_a_tank(browser: Client, device: Device, room: FishRoom, outbreak: dict[str, Tank]) -> None:
    tracing.set_group(device, room, "worker", "the keeper", list(outbreak.values()))
    keeping.add_contact(device, "water", outbreak["A2"], outbreak["A3"], day(-4))
    page = text(browser.get(f"/rooms/{room.pk}/?tank={outbreak['A2'].pk}"))
    for words in ("Rack A: A1, A3", "green net: A1, A3", "after A1 and before A3 in the order of work",
                  "beside A1 and A3", "moved, Q1 to A2", "Water carried from A2, then A3",
                  "To cut it: take the tank off the shared water"):  # fmt: skip
        assert words in page, words
    alone = text(browser.get(f"/rooms/{room.pk}/?tank={outbreak['Q1'].pk}"))
    assert "Rack A: " not in alone.split('id="h-links"')[1].split("</section>")[0]


def test_racks_are_drawn_as_they_stand(browser: Client, device: Device, room: FishRoom) -> None:
    rack = keeping.add_system(device, room, "Rack A")
    for name, row, place in (("low", 2, 1), ("left", 1, 1), ("right", 1, 3)):
        keeping.add_tank(device, room, name, rack, row=row, place=place)
    page = text(browser.get(f"/rooms/{room.pk}/"))
    shelves = re.findall(r'<div class="shelf shelf--3">(.*?)</div>', page, re.DOTALL)
    drawn = [re.findall(r">(\w+)</a>|<span></span>", shelf) for shelf in shelves]
    assert drawn == [["left", "", "right"], ["low", "", ""]]


# --- the record -------------------------------------------------------------------------------------------------------


def test_harbour_row_is_the_room_of_the_core(device: Device) -> None:
    """The demonstration says the same as `demo_room()`, moved to today: only what cases say is told by cases."""
    demo.fill(device)
    told = demo_room()
    shift = clock.today() - told.last
    for condition in ("costia", "camallanosis"):
        record = record_of(FishRoom.objects.get(name=demo.ROOM), condition)
        assert not [clash for clash in check_room(record.room, reference()) if clash.fatal]
        wanted = told.of(condition)
        assert record.room.days == wanted.days
        for table in ("moves", "departures", "contacts", "sightings", "watches", "workers", "feeds"):
            assert len(rows_of(record.room, table)) == len(rows_of(wanted, table)), table
        have = {(row.tank, row.on, row.kind, row.number, row.not_before) for row in record.room.sightings}
        assert have == {
            (row.tank, row.on + shift, row.kind, row.number, row.not_before and row.not_before + shift)
            for row in wanted.sightings
        }
        seen = {(row.tank, row.on, row.examination, row.seen) for row in record.room.checks}
        assert {(row.tank, row.on + shift, row.examination, row.seen) for row in wanted.checks} <= seen
        own = {(row.id, row.row, row.place, row.order, row.system and row.system.lower()) for row in record.room.tanks}
        assert own == {
            (row.id, row.row, row.place, row.order, row.system and row.system.lower()) for row in wanted.tanks
        }
        batches = {(row.id, row.origin, row.arrived) for row in record.room.batches}
        assert batches == {(row.id, row.origin, row.arrived and row.arrived + shift) for row in wanted.batches}
    assert any(one.startswith("Case 11, dissection, adult roundworms in gut") for one in record.counted)


def test_moves_before_the_record_are_where_fish_stood(device: Device, room: FishRoom, tanks: dict[str, Tank]) -> None:
    record = record_of(room, "costia", day(-13), day(0)).room
    assert {(batch.tank, batch.number) for batch in record.batches} == {
        ("A1", 10), ("A2", 10), ("A3", 10), ("Q1", 12),
    }  # fmt: skip
    assert [(move.from_tank, move.to_tank, move.number) for move in record.moves] == [("Q1", "A2", 4)]
    earlier = record_of(room, "costia", day(-30), day(0)).room
    platy = next(batch for batch in earlier.batches if batch.species == "platy")
    assert (platy.tank, platy.arrived, platy.delivery) == ("Q1", day(-15), f"North {day(-15).isoformat()}")
    later = record_of(room, "costia", day(-5), day(0)).room
    assert {(batch.tank, batch.number) for batch in later.batches if batch.species == "platy"} == {("Q1", 8), ("A2", 4)}


def test_what_cannot_be_used_is_told(device: Device, room: FishRoom, tanks: dict[str, Tank]) -> None:
    elsewhere = keeping.add_tank(device, keeping.add_room(device, "Elsewhere"), "Z1")
    keeping.add_contact(device, "net", tanks["A1"], elsewhere, day(-3))
    keeping.add_batch(device, "molly", room)
    late = keeping.add_tank(device, room, "A9", since=day(3))
    with_none = TankGroup.objects.create(room=room, kind="tool", name="lost net")
    gone = keeping.add_batch(device, "tetra", room, number=5)
    keeping.move_fish(device, gone, tanks["A3"], day(-9))
    tracing.note_sign(device, tanks["A3"], "deaths", day(-8), number=12, condition="costia")
    keeping.move_fish(device, gone, None, day(-8), from_tank=tanks["A3"])
    Move.objects.filter(batch=gone, to_tank=None).update(on=day(-8))
    record = record_of(room, "costia")
    said = " ".join(record.left_out)
    assert "one of the tanks stands in another room" in said
    assert "Molly were put into no tank" in said
    assert f"{late.name} is set up only on" in said
    assert f"{with_none.name} names no tank of this room" in said
    assert not [clash for clash in check_room(record.room, reference()) if clash.fatal]


def test_a_row_that_cannot_be_so_is_left_out_and_told(device: Device, room: FishRoom, tanks: dict[str, Tank]) -> None:
    tracing.note_sign(device, tanks["A1"], "deaths", day(-4), number=9, condition="costia")
    batch = Batch.objects.filter(moves__to_tank=tanks["A1"]).get()
    keeping.move_fish(device, batch, None, day(-6), from_tank=tanks["A1"], number=5)
    record = record_of(room, "costia")
    assert record.left_out == (
        f"Deaths in A1 on {day(-4).day} {day(-4):%B} is left out: number is 9 deaths, more than the 5 fish that A1 "
        f"held on {day(-4).isoformat()}.",
    )
    assert record.room.sightings == ()


def test_fish_from_another_room_are_a_delivery(device: Device, room: FishRoom, tanks: dict[str, Tank]) -> None:
    elsewhere = keeping.add_room(device, "Elsewhere")
    other = keeping.add_tank(device, elsewhere, "Z1")
    fish = keeping.add_batch(device, "tetra", elsewhere, origin="East", number=7)
    keeping.move_fish(device, fish, other, day(-20))
    keeping.move_fish(device, fish, tanks["A3"], day(-10), from_tank=other, number=3)
    record = record_of(room, "costia")
    tetra = next(batch for batch in record.room.batches if batch.species == "tetra")
    assert (tetra.tank, tetra.arrived, tetra.number) == ("A3", day(-10), 3)
    assert any("came from Z1 in another room" in one for one in record.counted)


def test_signs_without_a_cause_count_where_no_other_is_known(
    device: Device, room: FishRoom, tanks: dict[str, Tank]
) -> None:
    tracing.note_sign(device, tanks["A1"], "signs", day(-2))
    tracing.note_sign(device, tanks["A2"], "signs", day(-3), condition="camallanosis")
    tracing.note_sign(device, tanks["A2"], "signs", day(-2))
    record = record_of(room, "costia")
    assert {row.tank for row in record.room.sightings} == {"A1"}
    assert any(one.endswith("count here: A1.") for one in record.counted)
    assert any("left out where another cause is known: A2" in one for one in record.left_out)
    worms = record_of(room, "camallanosis")
    assert {row.tank for row in worms.room.sightings} == {"A1", "A2"}


def test_two_entries_of_one_day_are_one(device: Device, room: FishRoom, tanks: dict[str, Tank]) -> None:
    for number in (1, 2):
        tracing.note_sign(device, tanks["A1"], "deaths", day(-2), number=number, condition="costia")
        tracing.note_sign(device, tanks["A1"], "signs", day(-2), number=number, condition="costia")
    rows = {row.kind: row.number for row in record_of(room, "costia").room.sightings}
    assert rows == {"deaths": 3, "signs": 2}
    assert TankSign.objects.filter(number=3).count() == 0  # reading alters nothing


def test_cases_are_evidence(device: Device, room: FishRoom, tanks: dict[str, Tank]) -> None:
    case = cases.open_case(device, which_fish="A1", worries="rubbing", tank=tanks["A1"], opened=day(-6))
    look = case.looks.get()
    fish = [looking.add_fish(device, case, state="alive") for _ in range(2)]
    for one, level in zip(fish, (2, 0), strict=True):
        scrape = looking.add_examination(device, look, "skin_scrape", fish=one)
        looking.record_finding(device, scrape, "skin_costia", level)
    record = record_of(room, "costia")
    assert [(row.tank, row.on, row.kind) for row in record.room.sightings] == [("A1", day(-6), "signs")]
    check = record.room.checks[0]
    assert (check.tank, check.on, check.examination, check.seen, check.fish) == ("A1", look.on, "skin_scrape", True, 2)
    assert any(one.startswith(f"Case {case.number} (flickering flagellates") for one in record.counted)
    # an entry of the room's own on the day or before takes its place
    tracing.note_sign(device, tanks["A1"], "signs", day(-7), condition="costia")
    assert [row.on for row in record_of(room, "costia").room.sightings] == [day(-7)]
    cases.set_cause(device, case, "costia", "ruled_out")
    assert not any("counts as signs" in one for one in record_of(room, "costia").counted)


def test_a_further_tank_of_a_case_counts_from_the_day_it_was_added(
    device: Device, room: FishRoom, tanks: dict[str, Tank]
) -> None:
    case = cases.open_case(device, which_fish="A1", worries="rubbing", tank=tanks["A1"], opened=day(-6))
    cases.set_cause(device, case, "costia", "likely")
    cases.set_further_tanks(device, case, [tanks["A3"]])
    found = {row.tank: row.on for row in record_of(room, "costia").room.sightings}
    assert found == {"A1": day(-6), "A3": day(0)}


def test_glances_and_doubts_of_cases_do_not_count(device: Device, room: FishRoom, tanks: dict[str, Tank]) -> None:
    case = cases.open_case(device, which_fish="A1", worries="rubbing", tank=tanks["A1"], opened=day(-6))
    fish = looking.add_fish(device, case, state="alive")
    scrape = looking.add_examination(device, case.looks.get(), "skin_scrape", fish=fish)
    looking.record_finding(device, scrape, "skin_costia", 1, sure="doubtful")
    record = record_of(room, "costia")
    assert record.room.checks == ()
    assert record.room.sightings == ()
    assert f"Findings of case {case.number} are left out: doubtful." in record.left_out


# --- exposures, curve, chains -----------------------------------------------------------------------------------------


def test_exposures_stand_with_raw_and_adjusted_p(browser: Client, device: Device) -> None:
    """Fisher's p as scipy has it, for twelve tanks: of six from North five fell ill, of six from East one."""
    room = keeping.add_room(device, "Twelve")
    for n in range(13):
        tank = keeping.add_tank(device, room, f"T{n}")
        fish = keeping.add_batch(device, "guppy", room, origin="North" if n < 6 else "East", number=5)
        keeping.move_fish(device, fish, tank, day(-30))
        if n < 5 or n == 6:
            tracing.note_sign(device, tank, "signs", day(-3), number=2, condition="costia")
        elif n < 12:
            tracing.note_check(device, tank, day(-1), found=False)
    page = text(browser.get(f"/rooms/{room.pk}/exposures/"))
    assert "6 ill, 6 well, 1 never looked at" in page
    p = stats.fisher_exact([[5, 1], [1, 5]]).pvalue
    row = page.split("From supplier North")[1].split("</tr>")[0]
    cells = re.findall(r"<td[^>]*>(.*?)</td>", row)
    assert cells[0] == "5 of 6, 83 %"
    assert cells[1] == "1 of 6, 17 %"
    assert float(cells[4]) == pytest.approx(p, abs=0.0005)
    assert float(re.sub("<.*?>", "", cells[5])) == pytest.approx(min(1.0, p), abs=0.005)  # one distinct comparison
    assert "1 comparison<" in page
    within = text(browser.get(f"/rooms/{room.pk}/exposures/?exposure=origin:North&within=species"))
    assert "From supplier North, within each species" in within
    assert "5 of 6, 83 %" in within


def test_the_curve_with_windows_and_a_table(browser: Client, room: FishRoom, outbreak: dict[str, Tank]) -> None:
    page = text(browser.get(f"/rooms/{room.pk}/curve/"))
    assert "2 tanks were first seen ill" in page
    incubation = reference().incubations["costia"]
    begin = day(-6) - dt.timedelta(days=int(incubation.incubation_high_d))
    row = re.search(r'<th scope="row">A2</th><td>(.*?)</td><td>(.*?)</td><td>(.*?)</td>', page)
    assert row is not None
    end = day(-5) - dt.timedelta(days=int(incubation.incubation_low_d))
    assert row.groups() == tuple(f"{one.day} {one:%B}" for one in (day(-5), begin, end))
    assert page.count('<svg class="chart') == 2
    assert browser.get(f"/rooms/{room.pk}/curve/?low=9&high=3").status_code == 422
    assert "goes here" in text(browser.get(f"/rooms/{room.pk}/curve/?low=x"))
    assert "no incubation" in text(browser.get(f"/rooms/{room.pk}/curve/?condition=trauma"))


def test_chains_both_ways_with_their_paths(browser: Client, room: FishRoom, outbreak: dict[str, Tank]) -> None:
    page = text(browser.get(f"/rooms/{room.pk}/chains/?tank={outbreak['Q1'].pk}"))
    assert "0 tanks can have reached Q1" in page
    assert "Q1 can have reached 3 tanks" in page
    moved = day(-12)
    assert f"{moved.day} {moved:%B}, Q1 to A2 by fish moved; {moved.day} {moved:%B}, A2 to A1 by sump of Rack A" in page
    only = text(browser.get(f"/rooms/{room.pk}/chains/?tank={outbreak['Q1'].pk}&by=fish"))
    assert "Q1 can have reached 1 tank<" in only
    before = f"first={day(-20).isoformat()}&last={day(-13).isoformat()}"
    assert "can have reached 0 tanks" in text(
        browser.get(f"/rooms/{room.pk}/chains/?tank={outbreak['Q1'].pk}&{before}")
    )
    wrong = f"first={day(-3).isoformat()}&last={day(-9).isoformat()}"
    assert browser.get(f"/rooms/{room.pk}/chains/?tank={outbreak['Q1'].pk}&{wrong}").status_code == 422


# --- origin, control, round -------------------------------------------------------------------------------------------


def test_the_origin_is_kept_until_something_is_entered(
    browser: Client, device: Device, room: FishRoom, outbreak: dict[str, Tank], quick: None
) -> None:
    page = text(browser.get(f"/rooms/{room.pk}/origin/?wait=1"))
    assert "Ways it can have come in" in page
    assert "From outside the record" in page
    assert "R-hat, worst of all quantities" in page
    assert "Who has it already, who is next" in page
    kept = TraceCache.objects.get()
    assert kept.condition == "costia"
    shares = [one["probability"] for one in kept.result["trace"]["candidates"]]
    assert sum(shares) == pytest.approx(1.0, abs=1e-6)
    working.forget()
    again = text(browser.get(f"/rooms/{room.pk}/origin/"))
    assert "Still working it out" not in again  # the kept one
    assert "Where it came in" in text(browser.get(f"/rooms/{room.pk}/"))
    tracing.note_sign(device, outbreak["A3"], "signs", day(0), condition="costia")
    record = record_of(room, "costia")
    found = tracing_run.kept_trace(room, "costia", tracing_run.key_of(record, reference()))
    assert found is not None
    assert not found.fresh


def test_every_figure_of_the_page_is_the_core_s(
    browser: Client, room: FishRoom, outbreak: dict[str, Tank], quick: None
) -> None:
    record = record_of(room, "costia")
    direct = trace(record.room, reference(), seed=tracing_run.SEED, pairs=4, most_sweeps=40)
    page = text(browser.get(f"/rooms/{room.pk}/origin/?wait=1"))
    leading = direct.candidates[0]
    assert f"{100 * leading.probability:.0f} %" in page.split('class="whence"')[1]
    for state in direct.tanks:
        if not state.seen and state.infected >= 0.01:
            assert f"{state.tank}: {100 * state.infected:.0f} % infected already" in page


def test_control_and_round_follow_from_the_trace(
    browser: Client, room: FishRoom, outbreak: dict[str, Tank], quick: None
) -> None:
    control = text(browser.get(f"/rooms/{room.pk}/control/?wait=1"))
    assert "Together, each the best next for its work" in control
    assert "Shared sump: Rack A" in control
    assert "Whom to examine next" in control
    order = text(browser.get(f"/rooms/{room.pk}/round/"))
    stops = re.findall(r'data-column="Tank"><b>(\w+)</b>', order)
    assert sorted(stops) == ["A1", "A2", "A3", "Q1"]
    assert set(stops[-2:]) == {"A1", "A2"}  # sick ones last
    for words in ("Round for today", "red 1", "gloves", "How long it has to act", "Never back to a tank"):
        assert words in order, words


def test_a_tank_ill_of_something_else_is_no_clean_tank_of_the_round(
    browser: Client, device: Device, room: FishRoom, outbreak: dict[str, Tank], quick: None
) -> None:
    """Worms in Q1: for the round of costia it comes among the ill, with their name beside it."""
    tracing.note_sign(device, outbreak["Q1"], "signs", day(-2), condition="camallanosis")
    page = text(browser.get(f"/rooms/{room.pk}/round/?condition=costia&wait=1"))
    ill = page.split(" sick</h2>")[1]
    assert "<b>Q1</b>" in ill
    assert reference().conditions["camallanosis"].name in ill
    record = record_of(room, "costia")
    assert record.others == {"Q1": ("camallanosis",)}
    case = cases.open_case(device, which_fish="A3", worries="thin", tank=outbreak["A3"])
    cases.set_cause(device, case, "ich", "likely")
    cases.set_cause(device, case, "trauma", "likely")
    assert record_of(room, "costia").others == {"A3": ("ich",), "Q1": ("camallanosis",)}


def test_it_refines_and_can_be_stopped(
    browser: Client, room: FishRoom, outbreak: dict[str, Tank], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A trace that never ends of itself: first the share, then a first answer, then it is stopped."""
    monkeypatch.setattr(tracing_run, "trace", partial(trace, pairs=4, most_sweeps=10**6))
    monkeypatch.setattr("wetmount.origin.posterior.R_HAT_ENOUGH", 0.0)
    at = f"/rooms/{room.pk}/origin"
    key = tracing_run.key_of(record_of(room, "costia"), reference())
    work = tracing_run.begun(room, record_of(room, "costia"), key)
    for _ in range(200):
        if work.part is not None or work.ended(0.1):
            break
    assert work.part is not None
    page = text(browser.get(f"{at}/"))
    assert "A first answer, still being refined" in page
    assert "The chains do not agree yet" in page
    share = browser.get(f"{at}/part/?sweeps=0", **HTMX, HTTP_HX_TARGET="trace-share")
    assert text(share).lstrip().startswith('<div id="trace-share"')
    assert "Stop working it out" not in text(share)  # the button stays, with the focus on it
    assert 'id="trace-answer"' in text(share)
    assert browser.post(f"{at}/stop/?show=origin", **HTMX).status_code == 204
    work.ended(20)
    stopped = browser.get(f"{at}/part/?sweeps=0", **HTMX, HTTP_HX_TARGET="trace-share")
    assert stopped["HX-Retarget"] == "#trace"
    assert "a first idea only" in text(stopped)
    assert not TraceCache.objects.exists()


def test_nothing_to_trace_is_said(browser: Client, device: Device, room: FishRoom, tanks: dict[str, Tank]) -> None:
    assert "Choose a cause" in text(browser.get(f"/rooms/{room.pk}/origin/"))
    nowhere = text(browser.get(f"/rooms/{room.pk}/origin/?condition=costia&wait=1"))
    assert "It was seen in no tank" in nowhere
    assert "is not known to spread" in text(browser.get(f"/rooms/{room.pk}/control/?condition=trauma"))


# --- in the case, the plan and the report -----------------------------------------------------------------------------


def test_a_trace_stands_in_the_case_its_plan_and_its_report(
    browser: Client, device: Device, room: FishRoom, outbreak: dict[str, Tank], quick: None
) -> None:
    case = cases.open_case(
        device, which_fish="A2", worries="rubbing", tank=outbreak["A2"], species="Poecilia reticulata", room=room
    )
    fish = looking.add_fish(device, case, state="alive")
    scrape = looking.add_examination(device, case.looks.get(), "skin_scrape", fish=fish)
    looking.record_finding(device, scrape, "skin_costia", 2)
    cases.set_cause(device, case, "costia", "confirmed")
    at = f"/case/{case.number}"
    assert "Trace it in Harbour Row Fish Room" in text(browser.get(f"{at}/"))
    assert prevention_lines(case) == []
    assert for_report(case) is None
    assert "Where it came in" not in text(browser.get(f"{at}/report/"))
    browser.get(f"/rooms/{room.pk}/origin/?wait=1")
    case.refresh_from_db()
    traced = trace_of(case)
    assert traced is not None
    assert not traced.stale
    whole = text(browser.get(f"{at}/"))
    assert "Worked out on" in whole
    lines = prevention_lines(case)
    assert lines[0].startswith(("Work first in the clean tanks", "Then in those suspected", "Last in those"))
    assert "last in those that are ill: A1, A2" in lines[0].replace("Last", "last")
    assert traced.kept.ahead is not None
    cuts = traced.kept.ahead.control.together[:3]
    assert sum("further tanks in 14 days" in line for line in lines) == len(cuts)
    assert all(f"{cut.further:.1f} further tanks" in line for cut, line in zip(cuts, lines[1:], strict=False))
    assert lines[-1] in text(browser.get(f"{at}/plan/prevention/")).replace("&#x27;", "'")
    report = text(browser.get(f"{at}/report/"))
    section = report.split("Where it came in")[1]
    assert "From outside the record" in section
    assert "Filled, it was seen: A1 and A2." in section
    assert section.count("<svg") >= 2
    assert "Where it came in" not in text(browser.get(f"{at}/report/?edition=teaching"))
    tracing.note_sign(device, outbreak["A3"], "signs", day(0), condition="costia")
    told = for_report(case)
    assert told is not None
    assert "entered in the room since" in told.trust


# --- a whole room -----------------------------------------------------------------------------------------------------


def room_upload(text: str) -> SimpleUploadedFile:
    return SimpleUploadedFile("room.toml", text.encode())


def test_a_whole_room_leaves_and_comes_back_the_same(
    browser: Client, device: Device, room: FishRoom, outbreak: dict[str, Tank]
) -> None:
    tracing.note_sign(device, outbreak["A3"], "signs", day(-4), number=1, condition="ich")
    batch = Batch.objects.get(species="platy")
    keeping.move_fish(device, batch, None, day(-2), from_tank=outbreak["Q1"], number=2)
    before = room_sheet.whole_record(room).room
    assert {one.condition for one in before.sightings} == {"costia", "ich"}
    answer = browser.get(f"/rooms/{room.pk}/whole/")
    assert "room-" in answer["Content-Disposition"]
    told = text(answer)
    again = browser.post("/rooms/bring-in/", {"file": room_upload(told)})
    assert again.status_code == 422
    assert "already" in text(again)
    assert FishRoom.objects.count() == 1
    moved = told.replace(f'name = "{room.name}"', 'name = "Elsewhere"')
    answer = browser.post("/rooms/bring-in/", {"file": room_upload(moved)})
    made = FishRoom.objects.get(name="Elsewhere")
    assert answer.url == f"/rooms/{made.pk}/"
    after = room_sheet.whole_record(made).room
    assert structs.replace(after, name=room.name) == before
    assert "Elsewhere" in text(browser.get("/rooms/"))
    undo_last(device, None)
    assert not FishRoom.objects.filter(name="Elsewhere").exists()
    assert Tank.objects.count() == len(outbreak)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ("format = 1\nname = 'R'\nfirst = 2026-01-01\nlast = 2999-01-01\n", "Last is 2999-01-01"),
        ("\0\0", "not text"),
        ("format = 9\n", "format"),
        ("[[tanks]]\nid = 'A1'\n", "format"),
        ("format = 1\nname = 'R'\nfirst = 2026-01-01\nlast = 2026-02-01\n[[tanks]]\nid = 'A1'\n[[batches]]\nid = 'b'\n"
         "species = 'guppy'\ntank = 'A1'\nnumber = 2\n[[sightings]]\ntank = 'A1'\non = 2026-01-05\nkind = 'deaths'\n"
         "number = 3\n", "more than the 2 fish"),
        ("format = 1\nname = 'R'\nfirst = 2026-01-01\nlast = 2026-02-01\n[[tanks]]\nid = '../../x'\nsize = 1\n",
         "Tanks row 1, size is no"),
    ],
)  # fmt: skip
def test_a_room_file_that_cannot_be_is_refused_whole(browser: Client, wrong: str, words: str) -> None:
    answer = browser.post("/rooms/bring-in/", {"file": room_upload(wrong)})
    assert answer.status_code == 422
    assert words in text(answer)
    assert "/tmp" not in text(answer)
    assert not FishRoom.objects.exists()


def test_the_demonstration_comes_in_as_a_room_of_its_own(device: Device, tmp_path: Path) -> None:
    """Moves of fish that were there from the start, and every kind of row."""
    path = tmp_path / "room.toml"
    write_room(structs.replace(demo_room(), name="Demonstration"), path)
    made = room_file.bring_in_room(device, path)
    told, known = room_sheet.whole_record(made).room, demo_room()
    for table in TABLES:
        assert len(rows_of(told, table)) == len(rows_of(known, table)), table
    assert {(one.tank, one.on, one.condition) for one in told.sightings} == {
        (one.tank, one.on, one.condition or known.condition) for one in known.sightings
    }


# --- a spreadsheet ----------------------------------------------------------------------------------------------------


def sheet(rows: list[list[str]], name: str = "rows.csv") -> SimpleUploadedFile:
    if name.endswith(".xlsx"):
        book = openpyxl.Workbook()
        page = book.active
        for row in rows:
            page.append(row)
        out = io.BytesIO()
        book.save(out)
        return SimpleUploadedFile(name, out.getvalue())
    lines = io.StringIO()
    csv.writer(lines).writerows(rows)
    return SimpleUploadedFile(name, lines.getvalue().encode())


def send(browser: Client, room: FishRoom, table: str, rows: list[list[str]], name: str = "rows.csv") -> Any:
    return browser.post(f"/rooms/{room.pk}/sheet/", {"table": table, "file": sheet(rows, name), "sheet": ""})


def signed(page: str) -> str:
    found = re.search(r'name="rows" value="([^"]+)"', page)
    assert found is not None
    return found[1]


@pytest.mark.parametrize("name", ["rows.csv", "rows.xlsx"])
def test_a_sheet_is_looked_over_and_comes_in_on_confirmation(
    browser: Client, device: Device, room: FishRoom, tanks: dict[str, Tank], name: str
) -> None:
    rows = [
        ["tank", "date", "kind", "count"],
        ["A1", day(-2).isoformat(), "signs", "2"],
        ["A7", day(-2).isoformat(), "signs", "2"],
        ["A1", day(-1).isoformat(), "deaths", "99"],
        ["A2", "yesterday", "signs", ""],
        ["Q1", day(-2).isoformat(), "deaths", "1"],
    ]
    page = text(send(browser, room, "sightings", rows, name))
    assert "2 rows of signs and deaths can come in, 3 cannot" in page
    for words in ("Row 3", "no tank of this room", "Row 4", "99 deaths, more than", "Row 5", "a date such as"):
        assert words in page, words
    assert not TankSign.objects.exists()
    answer = browser.post(f"/rooms/{room.pk}/sheet/take/", {"rows": signed(page)})
    assert answer.url == f"/rooms/{room.pk}/set-up/"
    assert {(one.tank.name, one.kind, one.number) for one in TankSign.objects.all()} == {
        ("A1", "signs", 2), ("Q1", "deaths", 1),
    }  # fmt: skip
    last = undo_last(device, None)
    assert last is not None
    assert last.said == "2 rows of signs and deaths brought in"
    assert not TankSign.objects.exists()


def test_a_whole_room_comes_in_from_the_tables_of_a_room_file(browser: Client, device: Device, tmp_path: Path) -> None:
    """Every table of the core's Harbour Row through the page, in order; the record is then the same room."""
    told = demo_room()
    shift = clock.today() - told.last
    room = keeping.add_room(device, "Brought in")
    folder = Path(demo_room.__code__.co_filename).parent / "harbour_row"
    for table in TABLES:
        lines = list(csv.reader(io.StringIO((folder / f"{table}.csv").read_text(encoding="utf-8"))))
        moved = [[re.sub(r"^\d{4}-\d\d-\d\d$", lambda one: str(dt.date.fromisoformat(one[0]) + shift), cell)
                  for cell in line] for line in lines]  # fmt: skip
        if "condition" in lines[0]:  # in the file an empty one is the cause the room traces
            place = lines[0].index("condition")
            moved = [[*line[:place], line[place] or str(told.condition), *line[place + 1 :]] for line in moved]
        page = text(send(browser, room, table, moved))
        assert f"{len(moved) - 1} row" in page, (table, page[:2000])
        assert "0 cannot" in page.replace(" cannot<", " cannot<"), table
        assert browser.post(f"/rooms/{room.pk}/sheet/take/", {"rows": signed(page)}).status_code == 302, table
    record = record_of(room, "camallanosis", told.first + shift)
    wanted = told.of("camallanosis")
    for table in ("systems", "tanks", "batches", "moves", "departures", "contacts", "tools", "workers", "watches",
                  "sightings", "checks", "feeds"):  # fmt: skip
        assert len(rows_of(record.room, table)) == len(rows_of(wanted, table)), table
    assert {tank.id for tank in record.room.tanks} == {tank.id for tank in told.tanks}


def test_sheets_that_can_not_be_read(browser: Client, room: FishRoom, tanks: dict[str, Tank]) -> None:
    at = f"/rooms/{room.pk}/sheet/"
    assert "Choose a file first" in text(browser.post(at, {"table": "tanks"}))
    assert "Choose what the rows are" in text(send(browser, room, "cats", [["id"]]))
    assert "no column" in text(send(browser, room, "moves", [["x"], ["1"]]))
    bomb = SimpleUploadedFile("x.xlsx", b"PK\x03\x04 not one")
    answer = browser.post(at, {"table": "tanks", "file": bomb})
    assert answer.status_code == 422
    assert "is no XLSX file" in text(answer).replace("Is no", "is no")
    assert "/tmp" not in text(answer)
    old = SimpleUploadedFile("x.xls", b"x")
    assert "save the sheet as XLSX or CSV" in text(browser.post(at, {"table": "tanks", "file": old}))


def test_only_rows_that_were_shown_come_in(browser: Client, device: Device, room: FishRoom) -> None:
    page = text(send(browser, room, "systems", [["id"], ["Rack B"]]))
    at = f"/rooms/{room.pk}/sheet/take/"
    assert browser.post(at, {"rows": signed(page)[:-2] + "xx"}).status_code == 422
    other = keeping.add_room(device, "Other")
    assert browser.post(f"/rooms/{other.pk}/sheet/take/", {"rows": signed(page)}).status_code == 422
    assert not System.objects.exists()
    assert browser.post(at, {"rows": signed(page)}).status_code == 302
    again = browser.post(at, {"rows": signed(page)})  # it is there already
    assert again.status_code == 422
    assert System.objects.filter(name="Rack B").count() == 1


def test_a_row_that_no_longer_fits_brings_nothing_in(device: Device, room: FishRoom, tanks: dict[str, Tank]) -> None:
    rows = room_sheet.unpacked("sightings", [{"tank": "A1", "on": day(-1).isoformat(), "kind": "deaths", "number": 9}])
    fish = Batch.objects.filter(moves__to_tank=tanks["A1"]).get()
    keeping.move_fish(device, fish, None, day(-3), from_tank=tanks["A1"], number=5)
    with pytest.raises(Refused, match="no longer fits the room"):
        room_sheet.bring_in(device, room, "sightings", rows)
    assert not TankSign.objects.exists()


def test_the_room_as_a_file_is_read_by_the_core(
    browser: Client, room: FishRoom, outbreak: dict[str, Tank], tmp_path: Path
) -> None:
    answer = browser.get(f"/rooms/{room.pk}/file/")
    assert answer["Content-Disposition"].startswith("attachment")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as packed:
        packed.extractall(tmp_path)
    assert read_room(tmp_path / "room", reference()) == record_of(room, "costia").room


def test_a_check_is_corrected_and_that_is_taken_back(
    browser: Client, device: Device, room: FishRoom, tanks: dict[str, Tank]
) -> None:
    row = tracing.note_check(device, tanks["A1"], day(-1), found=False, condition="costia")
    sent = {"tank": tanks["A1"].pk, "condition": "costia", "examination": "skin_scrape", "fish": "2", "found": "yes",
            "on": day(-1).isoformat(), "note": "", "seen": row.version}  # fmt: skip
    assert browser.post(f"/rooms/{room.pk}/check/{row.pk}/", sent).status_code == 302
    row.refresh_from_db()
    assert row.found
    assert browser.post(f"/rooms/{room.pk}/check/{row.pk}/", sent | {"fish": "3", "seen": 1}).status_code == 409
    undo_last(device, None)
    row.refresh_from_db()
    assert not row.found


def test_racks_are_arranged_and_the_order_of_work_follows(browser: Client, device: Device, room: FishRoom) -> None:
    rack = keeping.add_system(device, room, "Rack A")
    for n in range(5):
        keeping.add_tank(device, room, f"A{n + 1}", rack, order=n)
    alone = keeping.add_tank(device, room, "Q1")
    at = f"/rooms/{room.pk}/arrange/"
    assert (
        browser.post(at, {"system": rack.pk, "across": "3", "back": f"/rooms/{room.pk}/"}).url == f"/rooms/{room.pk}/"
    )
    stands = Tank.objects.filter(system=rack).order_by("order").values_list("name", "row", "place")
    assert list(stands) == [("A1", 1, 1), ("A2", 1, 2), ("A3", 1, 3), ("A4", 2, 1), ("A5", 2, 2)]
    browser.post(at, {"what": "order"})
    assert list(Tank.objects.order_by("turn").values_list("name", flat=True)) == ["A1", "A2", "A3", "A4", "A5", "Q1"]
    undo_last(device, None)
    undo_last(device, None)
    assert not Tank.objects.exclude(turn=None, row=None, place=None).exists()
    browser.post(at, {"system": "", "across": "4"})
    alone.refresh_from_db()
    assert (alone.row, alone.place) == (1, 1)
    for wrong in ({"system": rack.pk, "across": "0"}, {"system": rack.pk, "across": "many"}, {"system": rack.pk}):
        assert browser.post(at, wrong).status_code == 422, wrong
    assert browser.post(at, {"system": "999", "across": "3"}).status_code == 404
    assert browser.get(at).status_code == 405
