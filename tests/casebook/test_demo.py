"""The demonstration casebook: Harbour Row as the design tells it, filled once, quickly, all of today."""

from __future__ import annotations

import datetime as dt
import io
import time
from typing import Any

import pytest
from django.test import Client
from PIL import Image

from wetmount.casebook import clock, demo, demo_pictures
from wetmount.casebook.fish_room import room_on
from wetmount.casebook.models import Attachment, Batch, Case, Device, FishRoom, Move, System, Tank, TaskDue
from wetmount.casebook.services.undo import last_act

LIMIT_S = 20.0


@pytest.fixture(scope="module")
def filled_in(django_db_setup: Any, django_db_blocker: Any) -> Any:
    """Filled once for this module; `fill` writes in one transaction, which is undone at the end."""
    from django.db import transaction

    from wetmount.casebook import pairing

    with django_db_blocker.unblock(), transaction.atomic():
        begun = time.process_time()  # of this process alone: tests share the machine
        demo.fill(pairing.owner())
        yield time.process_time() - begun
        transaction.set_rollback(True)


@pytest.fixture
def files(tmp_path_factory: pytest.TempPathFactory) -> None:
    """The files folder of the module's own; the one of each test would be too late."""


@pytest.fixture(scope="module", autouse=True)
def folder(tmp_path_factory: pytest.TempPathFactory) -> Any:
    from django.conf import settings

    path = tmp_path_factory.mktemp("demo")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "DATA_FOLDER", path)
        patch.setattr(settings, "FILES_FOLDER", path)
        yield path


@pytest.fixture
def filled(folder: Any, filled_in: float, db: None) -> float:
    return filled_in


def test_it_is_quick_and_done_once(filled: float, device: Device) -> None:
    assert filled < LIMIT_S
    before = (Case.all_cases.count(), Tank.objects.count(), TaskDue.objects.count(), Attachment.objects.count())
    demo.fill(device)
    assert (Case.all_cases.count(), Tank.objects.count(), TaskDue.objects.count(), Attachment.objects.count()) == before


def test_the_room_is_that_of_the_design(filled: float) -> None:
    room = FishRoom.objects.get(name="Harbour Row Fish Room")
    racks = {rack.name: rack.tanks.count() for rack in System.objects.filter(room=room)}
    assert racks == {"Rack A": 12, "Rack B": 12, "Rack C": 12}
    assert Tank.objects.filter(room=room, system=None).count() == 6
    assert set(Batch.objects.filter(room=room).values_list("origin", flat=True)) == {"North", "East", "Pond Lane"}
    assert Move.objects.filter(kind="net").count() == 2
    shown = room_on(room, None)
    assert {place.tank.name for place in shown.in_state("ill")} >= {"A4", "C7", "B9", "Q3"}
    assert shown.in_state("guarded")
    assert shown.in_state("empty")
    lots = {place.tank.name: [str(lot) for lot in place.lots] for place in shown.places}
    assert lots["A4"] == ["20 Boeseman rainbowfish from North"]
    assert lots["A9"] == ["4 Boeseman rainbowfish from North"]


def test_cases_stand_at_different_stages(filled: float) -> None:
    assert Case.objects.count() == 14
    still_open = Case.objects.filter(closed=None)
    assert len(set(still_open.values_list("step", flat=True))) == still_open.count() == 6
    closed = Case.objects.exclude(closed=None)
    assert all(case.causes.filter(standing="confirmed").exists() for case in closed)
    assert all(case.leading for case in still_open)
    mixture = Case.objects.get(title__startswith="Cherry barbs")
    assert mixture.causes.filter(standing="confirmed").count() == 3


def test_things_are_due_today_and_late_whatever_day_it_is(filled: float) -> None:
    today = clock.today()
    left = TaskDue.objects.filter(done_at=None)
    assert left.filter(due_on=today).count() == 4
    assert left.filter(due_on__lt=today).count() == 2
    assert left.filter(kind="result", due_on__gt=today).count() == 1
    assert Case.objects.latest("number").opened == today
    assert Case.objects.filter(opened__gt=today).count() == 0


def test_dates_in_words_move_with_the_days(device: Device) -> None:
    teller = demo._Demo(device)
    teller.shift = dt.timedelta(days=30)
    assert teller.told("On 18 September, after 2026-09-18, 24 fish.") == "On 18 October, after 2026-10-18, 24 fish."


def test_what_was_shown_is_never_undone_by_accident(filled: float, device: Device) -> None:
    assert last_act(device, None) is None
    assert last_act(device, Case.objects.latest("number")) is None


def test_pages_show_it(filled: float, browser: Client) -> None:
    room = FishRoom.objects.get(name=demo.ROOM)
    for path in ("/", "/cases/", "/cases/seen/", "/rooms/", f"/rooms/{room.pk}/", f"/rooms/{room.pk}/set-up/"):
        assert browser.get(path).status_code == 200, path
    today = browser.get("/").content.decode()
    assert "Four things are for today. Two more are late." in today
    assert "Gill scrape, fish 1: 2 of 14 looked at." in today


def test_pictures_are_drawn(filled: float) -> None:
    assert Attachment.objects.count() == len(demo.PICTURES) == len(demo_pictures.DRAWINGS)
    for name in demo_pictures.DRAWINGS:
        first, second = demo_pictures.draw(name).getvalue(), demo_pictures.draw(name).getvalue()
        with Image.open(io.BytesIO(first)) as picture:
            assert picture.size == (960, 720)
            assert len(picture.convert("L").resize((48, 36)).getcolors() or ()) > 20, f"{name} shows something"
        assert first == second, f"{name} is the same every time"
