"""Who may come in: this computer's owner, and phones that were paired. See `middleware.Door`.

A link lets one browser in, once, within ten minutes. What the browser keeps afterwards is a cookie:
- the owner's holds for this run of the program and from this computer only;
- a phone's holds until it is revoked. The database keeps a hash of it, never the token.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import ipaddress
import secrets

from django.db import transaction
from django.http import HttpRequest, HttpResponse

from wetmount.casebook import clock
from wetmount.casebook.models import Device, PairingLink
from wetmount.casebook.services.refusals import Refused

VALID_FOR = dt.timedelta(minutes=10)
COOKIE_AGE_S = 400 * 24 * 3600  # browsers keep no cookie longer
SEEN_EVERY = dt.timedelta(minutes=1)
"""`last_seen` is written at most this often: reading a page should not cost a write."""

PLAIN_HTTP_RISK = (
    "Pages go over your local network unencrypted: someone else on the same network could read along. "
    "Use it on a network you trust, and switch it off when you are done."
)

_START_SECRET = secrets.token_bytes(32)
"""Drawn when the program starts; the owner's cookie is good for this run."""


def is_loopback(request: HttpRequest) -> bool:
    """Whether the request came over this computer's own loopback."""
    try:
        return ipaddress.ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


# --- links ------------------------------------------------------------------------------------------------------------


def make_link(*, for_owner: bool = False) -> str:
    """The token of a new link. A new link for a phone ends the ones that were not used."""
    token, now = secrets.token_urlsafe(24), clock.now()
    with transaction.atomic():
        PairingLink.objects.filter(for_owner=for_owner, used_at=None, expires_at__gt=now).update(expires_at=now)
        PairingLink.objects.create(
            for_owner=for_owner, token_hash=_hash(token), made_at=now, expires_at=now + VALID_FOR
        )
    return token


def link_is_open(token: str, *, for_owner: bool = False) -> bool:
    """Whether the link would still let a browser in. Looking does not use it up."""
    return PairingLink.objects.filter(
        token_hash=_hash(token), for_owner=for_owner, used_at=None, expires_at__gt=clock.now()
    ).exists()


def _use(token: str, *, for_owner: bool) -> None:
    # One UPDATE decides: of two browsers with the same link exactly one finds it unused.
    used = PairingLink.objects.filter(
        token_hash=_hash(token), for_owner=for_owner, used_at=None, expires_at__gt=clock.now()
    ).update(used_at=clock.now())
    if not used:
        raise Refused("This link was used already, or is older than ten minutes. Make a new one on the computer.")


def pair(token: str, name: str) -> tuple[Device, str]:
    """Let a phone in by a link: the device, and the token for its cookie."""
    name = " ".join(name.split())[:200] or "Phone"
    secret = secrets.token_urlsafe(32)
    with transaction.atomic():
        _use(token, for_owner=False)
        now = clock.now()
        device = Device.objects.create(kind="paired", name=name, token_hash=_hash(secret), paired_at=now, last_seen=now)
    return device, secret


def enter(token: str) -> str:
    """Let the owner's browser in by the link of this start: the value for its cookie."""
    with transaction.atomic():
        _use(token, for_owner=True)
    owner()
    return _owner_value()


def revoke(device: Device) -> None:
    """Shut a phone out, at once. What it wrote stays under its name."""
    if device.kind != "paired":
        raise Refused("Only a paired device can be shut out.")
    Device.objects.filter(pk=device.pk, revoked_at=None).update(revoked_at=clock.now(), token_hash="")


def rename(device: Device, name: str) -> None:
    """Another name for a device."""
    name = " ".join(name.split())[:200]
    if not name:
        raise Refused("A device needs a name.")
    Device.objects.filter(pk=device.pk).update(name=name)


# --- devices ----------------------------------------------------------------------------------------------------------


def owner() -> Device:
    """The device that stands for this computer."""
    found = Device.objects.filter(kind="owner").order_by("pk").first()
    return found or Device.objects.create(kind="owner", name="this computer", paired_at=clock.now())


def _owner_value() -> str:
    return "o." + hmac.new(_START_SECRET, b"owner", hashlib.sha256).hexdigest()


def cookie_name(request: HttpRequest) -> str:
    """Cookies know no port: without it two casebooks on one computer would overwrite each other's."""
    return f"wetmount_{request.META.get('SERVER_PORT', '')}"


def device_of(request: HttpRequest) -> Device | None:
    """The device that sends this request, None for a stranger."""
    value = request.COOKIES.get(cookie_name(request), "")
    if value.startswith("o."):
        known = is_loopback(request) and hmac.compare_digest(value.encode(), _owner_value().encode())
        return owner() if known else None
    if not value.startswith("d."):
        return None
    device = Device.objects.filter(kind="paired", revoked_at=None, token_hash=_hash(value[2:])).first()
    if device is not None and (device.last_seen is None or clock.now() - device.last_seen > SEEN_EVERY):
        Device.objects.filter(pk=device.pk).update(last_seen=clock.now())
    return device


def set_cookie(request: HttpRequest, response: HttpResponse, value: str, *, lasting: bool) -> None:
    """Hand the browser its cookie: unreadable for scripts, and sent along from our own pages only."""
    response.set_cookie(
        cookie_name(request), value, max_age=COOKIE_AGE_S if lasting else None, httponly=True, samesite="Strict"
    )
