"""Who is let in. Tried as somebody would who should not be."""

from __future__ import annotations

import datetime as dt
import re
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from wetmount.casebook import clock, pairing, server
from wetmount.casebook.models import Case, Device, PairingLink
from wetmount.casebook.services.refusals import Refused
from wetmount.errors import InputError

LAN = {"REMOTE_ADDR": "192.0.2.7", "HTTP_HOST": "192.0.2.1"}  # documentation range, RFC 5737
REFUSAL = "does not know this device"


def addresses() -> list[str]:
    """Every address of the casebook, with something in its gaps, and some that are not there."""
    found: list[str] = []

    def walk(patterns: list[URLPattern | URLResolver], before: str) -> None:
        for one in patterns:
            route = before + str(one.pattern)
            if isinstance(one, URLResolver):
                walk(one.url_patterns, route)
            else:
                found.append("/" + re.sub(r"<(?:(\w+):)?\w+>", lambda m: "1" if m[1] == "int" else "x", route))

    walk(get_resolver().url_patterns, "")
    files = ["/static/casebook/ground.css", "/static/casebook/casebook.js", "/static/django_htmx/htmx-2.min.js"]
    return sorted({*found, *files, "/nothing/here", "/files/../secret", "//", "/static/", "/pair", "/favicon.ico"})


def refused(response) -> bool:  # type: ignore[no-untyped-def]
    return (
        response.status_code == 403
        and REFUSAL in response.content.decode()
        and response["Content-Type"] == "text/plain; charset=utf-8"
    )


# --- strangers --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("method", ["get", "post", "head", "options", "put", "delete"])
def test_a_stranger_is_refused_everywhere(stranger: Client, phones_let_in: None, case: Case, method: str) -> None:
    for where in ({}, LAN):
        for address in addresses():
            response = getattr(stranger, method)(address, **where)
            assert response.status_code in (403, 405), (address, where, response.status_code)
            if method != "head" and response.status_code == 403:
                assert refused(response), address
            assert not response.cookies, address


def test_what_strangers_are_told_does_not_depend_on_what_is_there(stranger: Client, case: Case) -> None:
    assert stranger.get(f"/case/{case.number}/").content == stranger.get("/case/999/").content
    assert stranger.get("/pair/nothing/").content == stranger.get("/case/999/").content


def test_without_a_listening_network_not_even_a_paired_phone_is_answered(phone_browser: Client, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    assert phone_browser.get("/").status_code == 200
    monkeypatch.setattr(server, "current", None)
    settings.ALLOWED_HOSTS.append("192.0.2.1")
    try:
        assert refused(phone_browser.get("/"))
    finally:
        settings.ALLOWED_HOSTS.remove("192.0.2.1")


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "192.0.2.99", "testserver.evil", "", "a b"])
def test_another_name_for_this_address_is_refused(browser: Client, phone_browser: Client, host: str) -> None:
    """A page elsewhere may point a name of its own at 127.0.0.1 (DNS rebinding); its requests carry that name."""
    assert browser.get("/", HTTP_HOST=host).status_code == 400
    assert phone_browser.get("/", HTTP_HOST=host).status_code == 400


def test_a_forwarded_address_is_not_believed(stranger: Client, phones_let_in: None) -> None:
    link = f"/enter/{pairing.make_link(for_owner=True)}/"
    response = stranger.get(link, **LAN, HTTP_X_FORWARDED_FOR="127.0.0.1", HTTP_X_REAL_IP="127.0.0.1")
    assert refused(response)


# --- the owner --------------------------------------------------------------------------------------------------------


def test_the_owners_link_lets_one_browser_in_once(stranger: Client, device: Device) -> None:
    link = f"/enter/{pairing.make_link(for_owner=True)}/"
    response = stranger.get(link)
    assert response.status_code == 200
    cookie = response.cookies["wetmount_80"]
    assert (cookie["httponly"], cookie["samesite"], cookie["path"]) == (True, "Strict", "/")
    assert response["Referrer-Policy"] == "no-referrer", "the link must not travel on"
    assert stranger.get("/").status_code == 200
    assert refused(Client().get(link)), "used up"


def test_the_owners_cookie_is_no_good_from_elsewhere(browser: Client, phones_let_in: None) -> None:
    assert browser.get("/").status_code == 200
    assert refused(browser.get("/", **LAN))


def test_the_owners_cookie_ends_with_the_run(browser: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pairing, "_START_SECRET", b"drawn at the next start")
    assert refused(browser.get("/"))


def test_the_owners_link_does_not_pair_and_a_pairing_link_does_not_enter(stranger: Client, device: Device) -> None:
    owners, phones = pairing.make_link(for_owner=True), pairing.make_link()
    assert refused(stranger.get(f"/pair/{owners}/"))
    assert refused(stranger.post(f"/pair/{owners}/", {"name": "x"}))
    assert refused(stranger.get(f"/enter/{phones}/"))
    assert pairing.link_is_open(phones)


@pytest.mark.parametrize("value", ["", "o.", "d.", "o.0", "x", "o.ü", "d.ü", "d." + "0" * 4000])
def test_invented_cookies(stranger: Client, phone: Device, value: str) -> None:
    stranger.cookies["wetmount_80"] = value
    assert refused(stranger.get("/"))


def test_a_revoked_or_owner_row_has_no_token_to_guess(stranger: Client, device: Device, phone: Device) -> None:
    pairing.revoke(phone)
    stranger.cookies["wetmount_80"] = "d."
    assert refused(stranger.get("/"))


# --- pairing ----------------------------------------------------------------------------------------------------------


def test_a_phone_pairs_with_a_link_and_stays(phones_let_in: None, device: Device) -> None:
    token = pairing.make_link()
    phone = Client(**LAN)
    page = phone.get(f"/pair/{token}/")
    assert page.status_code == 200
    assert pairing.PLAIN_HTTP_RISK in page.content.decode()
    assert phone.get(f"/pair/{token}/look.css").status_code == 200
    assert refused(phone.get("/")), "looking at the link is not using it"
    response = phone.post(f"/pair/{token}/", {"name": "  Tank   phone "})
    assert (response.status_code, response["Location"]) == (302, "/")
    assert phone.get("/").status_code == 200
    paired = Device.objects.get(kind="paired")
    assert (paired.name, paired.revoked_at) == ("Tank phone", None)
    assert phone.cookies["wetmount_80"].value[2:] not in str(Device.objects.values()), "only its hash is kept"


def test_a_link_works_once(phones_let_in: None, device: Device) -> None:
    token = pairing.make_link()
    assert Client(**LAN).post(f"/pair/{token}/", {"name": "first"}).status_code == 302
    for again in (Client(**LAN), Client()):
        assert refused(again.post(f"/pair/{token}/", {"name": "second"}))
        assert refused(again.get(f"/pair/{token}/"))
        assert refused(again.get(f"/pair/{token}/look.css"))
    with pytest.raises(Refused):
        pairing.pair(token, "third")
    assert Device.objects.filter(kind="paired").count() == 1


@pytest.mark.django_db(transaction=True)
def test_of_many_at_one_moment_one_gets_in(db: None) -> None:
    token, barrier = pairing.make_link(), threading.Barrier(6)

    def one(n: int) -> bool:
        try:
            barrier.wait(timeout=20)
            pairing.pair(token, f"phone {n}")
            return True
        except Refused:
            return False
        finally:
            connection.close()

    with ThreadPoolExecutor(6) as pool:
        assert sum(pool.map(one, range(6))) == 1
    assert Device.objects.filter(kind="paired").count() == 1


def test_a_link_ends_after_ten_minutes(phones_let_in: None, device: Device, monkeypatch: pytest.MonkeyPatch) -> None:
    token, now = pairing.make_link(), clock.now()
    assert PairingLink.objects.get().expires_at - PairingLink.objects.get().made_at == dt.timedelta(minutes=10)
    monkeypatch.setattr(clock, "now", lambda: now + dt.timedelta(minutes=9, seconds=50))
    assert pairing.link_is_open(token)
    monkeypatch.setattr(clock, "now", lambda: now + dt.timedelta(minutes=10, seconds=1))
    assert refused(Client(**LAN).post(f"/pair/{token}/", {"name": "late"}))


def test_a_new_link_ends_the_one_before(phones_let_in: None, device: Device) -> None:
    old, new = pairing.make_link(), pairing.make_link()
    assert refused(Client(**LAN).get(f"/pair/{old}/"))
    assert Client(**LAN).get(f"/pair/{new}/").status_code == 200


def test_a_revoked_phone_is_out_at_once_and_its_cookie_stays_dead(phone_browser: Client, browser: Client) -> None:
    phone = Device.objects.get(kind="paired")
    assert phone_browser.get("/").status_code == 200
    assert browser.post(f"/devices/{phone.pk}/revoke/").status_code == 302
    assert refused(phone_browser.get("/"))
    assert refused(phone_browser.get("/", REMOTE_ADDR="127.0.0.1", HTTP_HOST="127.0.0.1"))
    assert Device.objects.get(pk=phone.pk).name == "Tank phone", "what it wrote keeps its name"


def test_only_the_computer_itself_lets_devices_in_and_out(phone_browser: Client, browser: Client) -> None:
    phone = Device.objects.get(kind="paired")
    for address in (f"/devices/{phone.pk}/revoke/", f"/devices/{phone.pk}/rename/", "/devices/link/", "/devices/shut/"):
        assert phone_browser.post(address, {"name": "x"}).status_code == 422, address
    assert phone_browser.get("/devices/").status_code == 200
    assert Device.objects.get(pk=phone.pk).revoked_at is None
    assert browser.post(f"/devices/{pairing.owner().pk}/revoke/").status_code == 422, "not this computer"


def test_the_devices_page_shows_a_code_and_the_risk(browser: Client, phones_let_in: None) -> None:
    page = browser.post("/devices/link/").content.decode()
    link = re.search(r"http://192\.0\.2\.1:80/pair/([\w-]+)/", page)
    assert link is not None
    assert pairing.link_is_open(link[1])
    assert "<svg" in page
    assert "style=" not in page
    assert pairing.PLAIN_HTTP_RISK in page


def test_a_device_name_is_text(phones_let_in: None, browser: Client) -> None:
    pairing.pair(pairing.make_link(), "<script>alert(1)</script>")
    page = browser.get("/devices/").content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_last_seen_is_kept_without_a_write_a_page(phone_browser: Client, django_assert_num_queries) -> None:  # type: ignore[no-untyped-def]
    first = Device.objects.get(kind="paired").last_seen
    phone_browser.get("/")
    assert Device.objects.get(kind="paired").last_seen == first
    Device.objects.update(last_seen=clock.now() - dt.timedelta(minutes=2))
    phone_browser.get("/")
    assert clock.now() - Device.objects.get(kind="paired").last_seen < dt.timedelta(seconds=30)


# --- requests that others send in our name ----------------------------------------------------------------------------


def test_a_form_from_elsewhere_is_refused(device: Device, case: Case) -> None:
    client = Client(enforce_csrf_checks=True)
    client.cookies["wetmount_80"] = pairing.enter(pairing.make_link(for_owner=True))
    assert client.post(f"/case/{case.number}/undo/").status_code == 403
    page = client.get(f"/case/{case.number}/").content.decode()
    token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)
    assert token is not None
    good = {"csrfmiddlewaretoken": token[1]}
    assert client.post(f"/case/{case.number}/undo/", good).status_code == 302
    assert client.post(f"/case/{case.number}/undo/", good, HTTP_ORIGIN="http://evil.example").status_code == 403


def test_every_address_but_reading_ones_wants_the_token(device: Device, case: Case) -> None:
    client = Client(enforce_csrf_checks=True)
    client.cookies["wetmount_80"] = pairing.enter(pairing.make_link(for_owner=True))
    for address in addresses():
        if address.startswith(("/static", "/files")):
            continue
        for method in ("post", "put", "delete"):
            status = getattr(client, method)(address).status_code
            assert status in (403, 404, 405), (method, address, status)


# --- the server -------------------------------------------------------------------------------------------------------


def test_without_a_network_the_phone_button_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(server, "lan_host", lambda: None)
    listener = server.Listener(lambda environ, start: [], 0 or None)
    try:
        with pytest.raises(InputError, match="no address on a local network"):
            listener.let_phones_in()
    finally:
        listener.local.close()


def test_a_port_that_is_taken(tmp_path: Path) -> None:
    first = server.Listener(lambda environ, start: [], None)
    try:
        assert first.local.socket.getsockname()[0] == "127.0.0.1", "loopback only"
        with pytest.raises(InputError, match="taken by another program"):
            server.Listener(lambda environ, start: [], first.port)
        second = server.Listener(lambda environ, start: [], None)
        assert second.port != first.port
        second.local.close()
    finally:
        first.local.close()
