"""Fish rooms: tanks as they stood on a day, moves that can have been, and setting a room up."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from wetmount.casebook import clock
from wetmount.casebook.fish_room import room_on
from wetmount.casebook.models import Act, Batch, Case, Device, FishRoom, Move, Note, System, Tank
from wetmount.casebook.services import cases, keeping
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.stock import check_moves, now_in, stock_after
from wetmount.casebook.views.room_keeping import tank_names

pytestmark = pytest.mark.django_db
HOSTILE = "<script>alert(1)</script>"


def day(n: int) -> dt.date:
    return clock.today() + dt.timedelta(days=n)


def text(response: Any) -> str:
    return response.content.decode()


@pytest.fixture
def other_tank(device: Device, room: FishRoom) -> Tank:
    return keeping.add_tank(device, room, "Q2")


@pytest.fixture
def batch(device: Device, room: FishRoom, tank: Tank, other_tank: Tank) -> Batch:
    """24 from North: into Q2, all on to A4; 4 of them left."""
    batch = keeping.add_batch(device, "rainbowfish", room, origin="North", number=24, arrived=day(-14))
    keeping.move_fish(device, batch, other_tank, day(-14))
    keeping.move_fish(device, batch, tank, day(-12), from_tank=other_tank)
    keeping.move_fish(device, batch, None, day(-9), from_tank=tank, number=4)
    return batch


def forms(room: FishRoom) -> list[str]:
    kinds = ("system", "tank", "batch", "move", "contact", "note")
    return [f"/rooms/{room.pk}/{kind}/new/" for kind in kinds]


def pages(room: FishRoom) -> list[str]:
    return [
        "/rooms/",
        "/rooms/new/",
        f"/rooms/{room.pk}/",
        f"/rooms/{room.pk}/set-up/",
        f"/rooms/{room.pk}/change/",
        *forms(room),
    ]


def rows_of(room: FishRoom, tank: Tank, batch: Batch) -> list[str]:
    move = batch.moves.latest("id")
    rows = [("system", tank.system_id), ("tank", tank.pk), ("batch", batch.pk), ("move", move.pk)]
    return [f"/rooms/{room.pk}/{kind}/{pk}/" for kind, pk in rows]


# --- every page -------------------------------------------------------------------------------------------------------


def test_pages_open_and_strangers_are_told_nothing(
    browser: Client, stranger: Client, room: FishRoom, tank: Tank, batch: Batch
) -> None:
    for path in [*pages(room), *rows_of(room, tank, batch), f"/rooms/{room.pk}/?tank={tank.pk}"]:
        assert browser.get(path).status_code == 200, path
        assert "<html" not in text(browser.get(path, HTTP_HX_REQUEST="true")), path
        refused = stranger.get(path)
        assert refused.status_code == 403, path
        assert "rainbowfish" not in text(refused)


def test_wrong_ids_and_methods(browser: Client, device: Device, room: FishRoom, tank: Tank, batch: Batch) -> None:
    elsewhere = keeping.add_room(device, "Elsewhere")
    nowhere = ("", "set-up/", "change/", "tank/new/")
    wrong = [f"/rooms/999/{rest}" for rest in nowhere]
    wrong += [f"/rooms/{room.pk}/{rest}" for rest in ("cat/new/", "cat/1/", "tank/999/")]
    wrong += [f"/rooms/{elsewhere.pk}/{rest}" for rest in (f"tank/{tank.pk}/", f"batch/{batch.pk}/")]
    for path in wrong:
        assert browser.get(path).status_code == 404, path
    for path in ("/rooms/", f"/rooms/{room.pk}/", f"/rooms/{room.pk}/set-up/"):
        assert browser.post(path).status_code == 405, path
    assert browser.put(f"/rooms/{room.pk}/tank/{tank.pk}/").status_code == 405


def test_hostile_text_is_text(browser: Client, device: Device) -> None:
    room = keeping.add_room(device, HOSTILE, keeping.add_keeper(device, HOSTILE), HOSTILE)
    system = keeping.add_system(device, room, HOSTILE, note=HOSTILE)
    tank = keeping.add_tank(device, room, HOSTILE, system, note=HOSTILE)
    other = keeping.add_tank(device, room, "B", note=HOSTILE)
    batch = keeping.add_batch(device, HOSTILE, room, origin=HOSTILE, note=HOSTILE)
    keeping.move_fish(device, batch, tank, day(-2), note=HOSTILE)
    keeping.add_contact(device, "net", tank, other, day(-1), note=HOSTILE)
    note = keeping.add_note(device, HOSTILE, tank=tank)
    cases.open_case(device, which_fish="x", worries=HOSTILE, tank=tank)
    rest = [f"/rooms/{room.pk}/?tank={tank.pk}&day={HOSTILE}", f"/rooms/{room.pk}/note/{note.pk}/"]
    for path in [*pages(room), *rows_of(room, tank, batch), *rest]:
        assert "<script>alert" not in text(browser.get(path)), path


def test_queries_do_not_grow_with_tanks(browser: Client, device: Device, room: FishRoom) -> None:
    def fill(letter: str) -> list[int]:
        for n in range(10):
            rack = keeping.add_system(device, room, f"{letter}{n}")
            tank = keeping.add_tank(device, room, f"{letter}{n}", rack)
            fish = keeping.add_batch(device, "guppy", room, number=5)
            keeping.move_fish(device, fish, tank, day(-3))
            keeping.add_note(device, "Seen", tank=tank)
            cases.open_case(device, which_fish="x", worries="y", tank=tank)
        counted = []
        for path in ("/rooms/", f"/rooms/{room.pk}/", f"/rooms/{room.pk}/set-up/", f"/rooms/{room.pk}/move/new/"):
            with CaptureQueriesContext(connection) as run:
                assert browser.get(path).status_code == 200
            counted.append(len(run))
        return counted

    assert fill("A") == fill("B")


# --- fish in tanks ----------------------------------------------------------------------------------------------------


def test_the_stock_follows_the_moves(tank: Tank, other_tank: Tank, batch: Batch) -> None:
    assert [str(lot) for lot in now_in(other_tank, day(-13))] == ["24 rainbowfish from North"]
    assert now_in(other_tank, day(-12)) == []
    assert [(lot.number, lot.since) for lot in now_in(tank, day(-10))] == [(24, day(-12))]
    assert [lot.number for lot in now_in(tank, day(0))] == [20]


def test_uncounted_fish_stay_uncounted(device: Device, room: FishRoom, tank: Tank, other_tank: Tank) -> None:
    fry = keeping.add_batch(device, "guppy", room)
    keeping.move_fish(device, fry, tank, day(-3))
    keeping.move_fish(device, fry, other_tank, day(-2), from_tank=tank, number=5)
    assert [lot.number for lot in now_in(tank, day(0))] == [None]
    assert [lot.number for lot in now_in(other_tank, day(0))] == [5]


@pytest.mark.parametrize(
    ("sent", "why"),
    [
        ({"from_tank": "Q2", "to_tank": "A4", "on": -2}, "There were no rainbowfish from North in Q2 on"),
        ({"from_tank": "A4", "to_tank": "Q2", "on": -2, "number": 21}, "There were 20 rainbowfish from North in A4 on"),
        ({"from_tank": "A4", "to_tank": "Q2", "on": -13}, "There were no rainbowfish from North in A4 on"),
        ({"from_tank": "A4", "to_tank": "A4", "on": -2}, "From and to are the same tank."),
        ({"on": -2}, "Say from where or to where."),
        ({"to_tank": "Q2", "on": -2, "number": 1}, "24 rainbowfish from North arrived and 24 of them are in already"),
        ({"from_tank": "A4", "on": 1}, "has not come yet"),
        ({"from_tank": "A4", "to_tank": "Q2", "on": -11}, "There were no rainbowfish from North in A4 on"),
    ],
)
def test_moves_that_cannot_have_been_are_refused(
    browser: Client, room: FishRoom, tank: Tank, other_tank: Tank, batch: Batch, sent: dict[str, Any], why: str
) -> None:
    keys = {"A4": tank.pk, "Q2": other_tank.pk}
    form = {"batch": batch.pk, "from_tank": "", "to_tank": "", "number": "", "note": ""} | sent
    form |= {"from_tank": keys.get(form["from_tank"], ""), "to_tank": keys.get(form["to_tank"], "")}
    answer = browser.post(f"/rooms/{room.pk}/move/new/", form | {"on": day(sent["on"]).isoformat()})
    assert answer.status_code == 422
    assert why in text(answer)
    assert Move.objects.count() == 3


def test_a_move_is_written_and_taken_back(
    browser: Client, room: FishRoom, tank: Tank, other_tank: Tank, batch: Batch
) -> None:
    form = {
        "batch": batch.pk,
        "from_tank": tank.pk,
        "to_tank": other_tank.pk,
        "number": 6,
        "on": day(-1).isoformat(),
        "note": "",
    }
    assert browser.post(f"/rooms/{room.pk}/move/new/", form).url == f"/rooms/{room.pk}/?tank={other_tank.pk}"
    assert [lot.number for lot in now_in(other_tank, day(0))] == [6]
    browser.post(f"/undo/{Act.objects.latest('id').pk}/")
    assert now_in(other_tank, day(0)) == []


def test_a_move_on_which_others_rest_stays(browser: Client, room: FishRoom, batch: Batch) -> None:
    first, middle, last = batch.moves.all()
    for move in (first, middle):
        answer = browser.post(f"/rooms/{room.pk}/move/{move.pk}/", {"what": "remove"})
        assert answer.status_code == 422
        assert "none can leave it" in text(answer)
    assert browser.post(f"/rooms/{room.pk}/move/{last.pk}/", {"what": "remove"}).status_code == 302
    assert batch.moves.count() == 2


def test_a_batch_cannot_shrink_below_its_moves(browser: Client, room: FishRoom, batch: Batch) -> None:
    form = {"species": "rainbowfish", "origin": "North", "arrived": day(-14).isoformat(), "number": 3, "note": ""}
    answer = browser.post(f"/rooms/{room.pk}/batch/{batch.pk}/", form)
    assert answer.status_code == 422
    batch.refresh_from_db()
    assert batch.number == 24
    assert browser.post(f"/rooms/{room.pk}/batch/{batch.pk}/", form | {"number": 30}).status_code == 302
    batch.refresh_from_db()
    assert batch.number == 30


def test_stock_passes_over_what_cannot_have_been(device: Device, tank: Tank, other_tank: Tank, batch: Batch) -> None:
    keeping.move_fish(device, batch, tank, day(-5), from_tank=other_tank, number=3)
    moves = Move.objects.filter(batch=batch).select_related("batch", "from_tank").order_by("on", "id")
    assert [lot.number for lot in stock_after(moves).in_tank(tank.pk)] == [20]
    with pytest.raises(Refused):
        check_moves(batch)


# --- the map ----------------------------------------------------------------------------------------------------------


def states(room: FishRoom, on: dt.date) -> dict[str, str]:
    return {place.tank.name: place.state for place in room_on(room, on).places}


def test_tanks_have_their_state_on_each_day(
    device: Device, room: FishRoom, tank: Tank, other_tank: Tank, batch: Batch
) -> None:
    third = keeping.add_tank(device, room, "A5", tank.system)
    case = cases.open_case(device, which_fish="A4", worries="x", tank=tank, opened=day(-6))
    cases.set_further_tanks(device, case, [third])
    cases.close_case(device, case, on=day(-2))
    keeping.add_task(device, "quarantine", "End", day(14), tank=other_tank, set_on=day(-4))
    assert states(room, day(-13)) == {"A4": "empty", "A5": "empty", "Q2": "well"}
    assert states(room, day(-7)) == {"A4": "well", "A5": "empty", "Q2": "empty"}
    assert states(room, day(-6)) == {"A4": "ill", "A5": "ill", "Q2": "empty"}
    assert states(room, day(-4)) == {"A4": "ill", "A5": "ill", "Q2": "guarded"}
    assert states(room, day(-2)) == {"A4": "well", "A5": "empty", "Q2": "guarded"}


def test_the_list_says_what_the_map_draws(
    browser: Client, device: Device, room: FishRoom, tank: Tank, other_tank: Tank, batch: Batch
) -> None:
    keeping.add_contact(device, "net", other_tank, tank, day(-3))
    keeping.add_note(device, "Filter cleaned too hard", system=tank.system, on=day(-10))
    page = text(browser.get(f"/rooms/{room.pk}/?tank={tank.pk}"))
    for words in ("24 rainbowfish from North put into Q2", "All rainbowfish from North moved, Q2 to A4",
                  "4 rainbowfish from North left A4", "One net or tool used in Q2, then A4",
                  "Rack A: Filter cleaned too hard", 'aria-label="A4: no open case, 20 rainbowfish from North"',
                  "20 rainbowfish from North, since"):  # fmt: skip
        assert words in page, words
    assert page.count('marker-end="url(#arrow-fish)"') == 1
    assert page.count('marker-end="url(#arrow-net)"') == 1
    before = text(browser.get(f"/rooms/{room.pk}/?day={day(-12).isoformat()}"))
    assert "left A4" not in before
    assert "net or tool used" not in before


def test_the_day_stays_within_the_slider(browser: Client, room: FishRoom, tank: Tank) -> None:
    for asked, shown in (
        ("2001-01-01", day(-20)),
        ("2999-01-01", day(0)),
        ("soon", day(0)),
        (day(-3).isoformat(), day(-3)),
    ):
        assert browser.get(f"/rooms/{room.pk}/?day={asked}").context["shown"].day == shown
    ends = text(browser.get(f"/rooms/{room.pk}/?day={day(-20).isoformat()}"))
    assert f'href="/rooms/{room.pk}/?day={day(-19).isoformat()}"' in ends
    assert f"day={day(-21).isoformat()}" not in ends


def test_from_a_tank_to_a_new_case(browser: Client, room: FishRoom, tank: Tank) -> None:
    assert f'href="/new/?tank={tank.pk}"' in text(browser.get(f"/rooms/{room.pk}/?tank={tank.pk}"))


# --- setting up -------------------------------------------------------------------------------------------------------


def test_a_room_from_nothing(browser: Client) -> None:
    browser.post("/rooms/new/", {"name": "Back room", "keeper": "the keeper", "note": ""})
    room = FishRoom.objects.get()
    assert room.keeper is not None
    browser.post(f"/rooms/{room.pk}/system/new/", {"name": "Rack", "volume_l": "300", "order": "", "note": ""})
    rack = System.objects.get()
    form = {"name": "R1-R3, Spare", "system": rack.pk, "volume_l": "60", "order": "1", "note": ""}
    browser.post(f"/rooms/{room.pk}/tank/new/", form)
    assert list(Tank.objects.order_by("order").values_list("name", "order", "system")) == [
        ("R1", 1, rack.pk), ("R2", 2, rack.pk), ("R3", 3, rack.pk), ("Spare", 4, rack.pk)]  # fmt: skip
    assert browser.post(f"/rooms/{room.pk}/tank/new/", form | {"name": "R9, R3"}).status_code == 422
    assert Tank.objects.count() == 4, "all or none"
    browser.post(f"/rooms/{room.pk}/batch/new/", {"species": "guppy", "number": "8", "arrived": day(-1).isoformat()})
    assert Batch.objects.get().host_group == "livebearer"
    browser.post(f"/rooms/{room.pk}/note/new/", {"text": "Lamp failed", "on": day(0).isoformat()})
    assert Note.objects.get().room == room
    one, two = Tank.objects.order_by("order")[:2]
    browser.post(
        f"/rooms/{room.pk}/contact/new/",
        {"kind": "water", "from_tank": one.pk, "to_tank": two.pk, "on": day(0).isoformat()},
    )
    assert Move.objects.get().kind == "water"


@pytest.mark.parametrize(
    ("typed", "names"),
    [("A1", ["A1"]), ("A1, B2", ["A1", "B2"]), ("A9-A11", ["A9", "A10", "A11"]),
     ("Rack 1 - Rack 2", ["Rack 1", "Rack 2"]),
     ("A3-A1", ["A3-A1"]), ("left-right", ["left-right"])],
)  # fmt: skip
def test_runs_of_tank_names(typed: str, names: list[str]) -> None:
    assert tank_names(typed) == names


@pytest.mark.parametrize("typed", ["", " , ", "A1-A999", "A1-A60, B1-B60"])
def test_too_many_tanks_or_none(typed: str) -> None:
    with pytest.raises(Refused):
        tank_names(typed)


def test_changes_are_kept_and_names_are_once(browser: Client, device: Device, room: FishRoom, tank: Tank) -> None:
    other = keeping.add_tank(device, room, "A5")
    form = {"name": "A6", "system": "", "volume_l": "80", "order": "2", "note": "new glass", "seen": tank.version}
    assert browser.post(f"/rooms/{room.pk}/tank/{tank.pk}/", form).status_code == 302
    tank.refresh_from_db()
    assert (tank.name, tank.system, tank.volume_l, tank.note) == ("A6", None, 80.0, "new glass")
    assert browser.post(f"/rooms/{room.pk}/tank/{other.pk}/", form | {"seen": other.version}).status_code == 422
    assert browser.post(f"/rooms/{room.pk}/tank/{tank.pk}/", form | {"name": "A7"}).status_code == 409, "stale page"
    for wrong in ({"name": ""}, {"volume_l": "-1"}, {"system": "999"}, {"volume_l": "lots"}):
        assert browser.post(f"/rooms/{room.pk}/tank/{tank.pk}/", form | wrong).status_code == 422, wrong


@pytest.mark.parametrize(
    ("kind", "why"),
    [("system", "has 1 tank"), ("tank", "In A4 are 20 rainbowfish"), ("batch", "stand in the moves")],
)
def test_what_others_stand_on_is_not_taken_away(
    browser: Client, room: FishRoom, tank: Tank, batch: Batch, kind: str, why: str
) -> None:
    pk = {"system": tank.system_id, "tank": tank.pk, "batch": batch.pk}[kind]
    answer = browser.post(f"/rooms/{room.pk}/{kind}/{pk}/", {"what": "remove"})
    assert answer.status_code == 422
    assert why in text(answer)


def test_a_tank_with_a_past_or_a_case_stays(
    browser: Client, device: Device, room: FishRoom, other_tank: Tank, batch: Batch
) -> None:
    answer = browser.post(f"/rooms/{room.pk}/tank/{other_tank.pk}/", {"what": "remove"})
    assert "must stay known" in text(answer)
    third = keeping.add_tank(device, room, "Third")
    case = cases.open_case(device, which_fish="x", worries="y", tank=third)
    assert "belongs to a case" in text(browser.post(f"/rooms/{room.pk}/tank/{third.pk}/", {"what": "remove"}))
    assert Case.objects.get(pk=case.pk).tank == third
    fourth = keeping.add_tank(device, room, "Fourth")
    assert browser.post(f"/rooms/{room.pk}/tank/{fourth.pk}/", {"what": "remove"}).status_code == 302
    assert not Tank.objects.filter(pk=fourth.pk).exists()


def test_a_room_goes_only_when_it_is_empty(browser: Client, device: Device, room: FishRoom, tank: Tank) -> None:
    assert "has tanks, systems, so it stays" in text(browser.post(f"/rooms/{room.pk}/change/", {"what": "remove"}))
    empty = keeping.add_room(device, "Empty")
    assert browser.post(f"/rooms/{empty.pk}/change/", {"what": "remove"}).url == "/rooms/"
    assert not FishRoom.objects.filter(pk=empty.pk).exists()
