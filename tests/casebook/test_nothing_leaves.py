"""A whole case is worked, page by page and act by act, while every socket beyond loopback is blocked."""

from __future__ import annotations

import datetime as dt
import ipaddress
import socket
from typing import Any

import pytest
from django.test import Client

from wetmount.casebook.models import Case, Device
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, keeping, looking
from wetmount.casebook.services.records import case_record
from wetmount.casebook.steps import STEPS
from wetmount.evidence import gather_evidence
from wetmount.weighup import weigh_up


def _loopback(host: object) -> bool:
    try:
        return ipaddress.ip_address(str(host)).is_loopback
    except ValueError:
        return host in ("localhost", "testserver")


@pytest.fixture
def blocked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Notes and refuses every use of a socket, and every question to a name server, beyond loopback."""
    tried: list[str] = []

    def guard(name: str, place: int) -> None:
        plain = getattr(socket.socket, name)

        def guarded(self: socket.socket, *args: Any, **kwargs: Any) -> Any:
            address = args[place] if len(args) > place else None
            if self.family != socket.AF_UNIX and isinstance(address, tuple) and not _loopback(address[0]):
                tried.append(f"{name} {address}")
                raise OSError(f"blocked: {name} {address}")
            return plain(self, *args, **kwargs)

        monkeypatch.setattr(socket.socket, name, guarded)

    for name in ("connect", "connect_ex", "bind"):
        guard(name, 0)
    for place in (1, 2):
        guard("sendto", place)
    asked = socket.getaddrinfo

    def getaddrinfo(host: Any, *args: Any, **kwargs: Any) -> Any:
        if host is not None and not _loopback(host):
            tried.append(f"getaddrinfo {host}")
            raise OSError(f"blocked: getaddrinfo {host}")
        return asked(host, *args, **kwargs)

    monkeypatch.setattr(socket, "getaddrinfo", getaddrinfo)
    return tried


def test_the_block_blocks(blocked: list[str]) -> None:
    with pytest.raises(OSError, match="blocked"):
        socket.create_connection(("192.0.2.1", 80))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one, pytest.raises(OSError, match="blocked"):
        one.sendto(b"x", ("192.0.2.1", 53))
    assert len(blocked) == 2


def test_a_whole_case(blocked: list[str], browser: Client, device: Device) -> None:
    case = cases.open_case(device, which_fish="rainbowfish in A4", worries="rubbing", opened=dt.date(2026, 10, 3))
    cases.change_case(device, case, species="Melanotaenia boesemani")
    look = case.looks.get()
    cases.set_red_flags(device, case, ["nitrite_dangerous"])
    looking.answer_history(device, case, "recent_introduction", "yes")
    looking.set_numbers(device, look, total=24, sick=6, dead=0, dead_today=0)
    keeping.set_reading(device, look, "nitrite", "1.6 mg/L NO2")
    fish = looking.add_fish(device, case, state="alive")
    for kind in ("tank_look", "in_hand", "skin_scrape", "gill_scrape"):
        examination = looking.add_examination(device, look, kind, fish=fish)
        first = reference().examinations[kind].short_list[0]
        looking.record_finding(device, examination, first, 1)
        looking.sweep_rest(device, examination)
    for step in STEPS:
        assert browser.get(f"/case/{case.number}/{step.id}/", follow=True).status_code == 200, step.id
    for address in ("/", "/cases/", "/rooms/", "/reference/", "/settings/", "/devices/"):
        assert browser.get(address).status_code == 200, address
    weighed = weigh_up(gather_evidence(case_record(case), reference()), reference())
    assert weighed.conditions
    cases.set_cause(device, case, weighed.conditions[0].id, "likely")
    keeping.add_task(device, "look_again", "Look again", dt.date(2026, 10, 10), case=case)
    cases.close_case(device, case, on=dt.date(2026, 10, 20))
    cases.add_addendum(device, case, "No relapse.")
    assert Case.objects.get(pk=case.pk).is_closed
    assert blocked == []
