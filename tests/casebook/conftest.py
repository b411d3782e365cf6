"""What tests of the casebook share: a database that is like the real one, and a small cast.

The cast: `device` is this computer, `phone` a paired phone; `browser` and `phone_browser` are clients that were let in,
`stranger` one that was not. `case` is an open case of Harbour Row with one look, `scrape` a skin scrape in it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client

from wetmount.casebook import pairing, server
from wetmount.casebook.models import Case, Device, Examination, FishRoom, Look, Tank
from wetmount.casebook.services import cases, keeping, looking

PHONE_ADDRESS = "192.0.2.7"  # of the documentation range, RFC 5737


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Tests about one of the two databases are no part of the run on the other: nothing is left out by it."""
    foreign = [
        item for item in items if any(connection.vendor not in mark.args for mark in item.iter_markers("only_on"))
    ]
    if foreign:
        config.hook.pytest_deselected(items=foreign)
        items[:] = [item for item in items if item not in foreign]


@pytest.fixture(scope="session")
def django_db_modify_db_settings(tmp_path_factory: pytest.TempPathFactory) -> None:
    """SQLite on a file, as in use: in memory there is no WAL and no second connection. Only waiting for the disk is
    left out; what a killed process may lose is tested with real ones."""
    if connection.vendor == "sqlite":
        options = connection.settings_dict["OPTIONS"]
        options["init_command"] = options["init_command"].replace("synchronous=FULL", "synchronous=OFF")
        path = str(tmp_path_factory.mktemp("casebook") / "test.sqlite3")
        connection.settings_dict["TEST"]["NAME"] = path


@pytest.fixture(autouse=True, scope="session")
def _emptying_passes_the_guard() -> Iterator[None]:
    """Tests that commit empty all tables afterwards; the guard of the record of changes would refuse that on SQLite."""
    if connection.vendor != "sqlite":
        yield
        return
    plain = type(connection.ops).sql_flush

    def sql_flush(self: Any, *args: Any, **kwargs: Any) -> list[str]:
        with self.connection.cursor() as cursor:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name LIKE 'casebook_%'")
            triggers = [row for row in cursor.fetchall() if "casetext" not in row[0]]
        return [
            *(f"DROP TRIGGER {name}" for name, _ in triggers),
            *plain(self, *args, **kwargs),
            *(sql for _, sql in triggers),
        ]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(type(connection.ops), "sql_flush", sql_flush)
        yield


@pytest.fixture(autouse=True)
def files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of pictures and other files, empty."""
    folder = tmp_path / "files"
    folder.mkdir()
    monkeypatch.setattr(settings, "DATA_FOLDER", tmp_path)
    monkeypatch.setattr(settings, "FILES_FOLDER", folder)
    return folder


@pytest.fixture
def device(db: None) -> Device:
    return pairing.owner()


@pytest.fixture
def phone(db: None) -> Device:
    return pairing.pair(pairing.make_link(), "Tank phone")[0]


@pytest.fixture
def browser(device: Device) -> Client:
    """The owner's browser on this computer."""
    client = Client()
    client.cookies["wetmount_80"] = pairing.enter(pairing.make_link(for_owner=True))
    return client


@pytest.fixture
def phones_let_in(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """As if the server listened on a local network, without a network."""
    listener = object.__new__(server.Listener)
    listener.lan_host, listener.port = "192.0.2.1", 80
    listener.lan = type("Lan", (), {"close": lambda self: None})()
    monkeypatch.setattr(server, "current", listener)
    monkeypatch.setattr(settings, "ALLOWED_HOSTS", [*settings.ALLOWED_HOSTS, "192.0.2.1"])
    return


@pytest.fixture
def phone_browser(db: None, phones_let_in: None) -> Client:
    """A phone that was paired, on the local network."""
    client = Client(REMOTE_ADDR=PHONE_ADDRESS, HTTP_HOST="192.0.2.1")
    _, secret = pairing.pair(pairing.make_link(), "Tank phone")
    client.cookies["wetmount_80"] = f"d.{secret}"
    return client


@pytest.fixture
def stranger(db: None) -> Client:
    return Client()


@pytest.fixture
def room(device: Device) -> FishRoom:
    return keeping.add_room(device, "Harbour Row Fish Room")


@pytest.fixture
def tank(device: Device, room: FishRoom) -> Tank:
    rack = keeping.add_system(device, room, "Rack A", volume_l=660.0)
    return keeping.add_tank(device, room, "A4", rack, volume_l=55.0)


@pytest.fixture
def open_case(device: Device) -> Callable[..., Case]:
    """Opens a case; what is not said is filled in."""

    def open_one(**values: Any) -> Case:
        said = {"which_fish": "A4", "worries": "Rubbing, breathing fast", "opened": dt.date(2026, 10, 3)}
        return cases.open_case(device, **(said | values))

    return open_one


@pytest.fixture
def case(open_case: Callable[..., Case], tank: Tank) -> Case:
    return open_case(tank=tank, species="Melanotaenia boesemani", title="Rainbowfish rubbing, breathing fast")


@pytest.fixture
def scrape(device: Device, case: Case) -> Examination:
    look = case.looks.get()
    fish = looking.add_fish(device, case, state="alive")
    return looking.add_examination(device, look, "skin_scrape", fish=fish)


@pytest.fixture
def weighable(device: Device, case: Case) -> Look:
    """The look of `case` with something to weigh: rubbing, flickering flagellates, a few toothed discs, nitrite."""
    look: Look = case.looks.get()
    fish = looking.add_fish(device, case, state="alive")
    tank_look = looking.add_examination(device, look, "tank_look")
    for finding, level in (("flashing", 2), ("rapid_breathing", 1), ("loss_of_balance", 0)):
        looking.record_finding(device, tank_look, finding, level)
    scrape = looking.add_examination(device, look, "skin_scrape", fish=fish)
    looking.record_finding(device, scrape, "skin_costia", 2)
    looking.record_finding(device, scrape, "skin_trichodinid", 1, sure="doubtful")
    looking.sweep_rest(device, scrape)
    looking.answer_history(device, case, "recent_introduction", "yes")
    keeping.set_reading(device, look, "temperature", "25.5 C")
    keeping.set_reading(device, look, "nitrite", "0.8 mg/L NO2")
    return look
