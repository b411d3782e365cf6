"""Reading forms: what was typed, checked and said back in words."""

from __future__ import annotations

import datetime as dt

from django.http import HttpRequest
from django.utils import timezone

from wetmount.casebook.services.refusals import Refused


def by_script(request: HttpRequest) -> bool:
    """Whether the page's script asks, which wants pieces of the page instead of the page."""
    return request.headers.get("X-Wetmount") == "pieces"


def text(request: HttpRequest, name: str, most: int = 20_000) -> str:
    """What was typed, without blanks at its ends."""
    typed = request.POST.get(name, "").replace("\x00", "").strip()
    if len(typed) > most:
        raise Refused(f"That is {len(typed)} characters; at most {most} fit here.")
    return typed


def whole(request: HttpRequest, name: str, what: str, *, most: int = 100_000_000, least: int = 0) -> int | None:
    """A whole number, None for an empty field."""
    typed = request.POST.get(name, "").strip()
    if not typed:
        return None
    if not (typed.isascii() and typed.isdecimal() and len(typed) < 12 and least <= int(typed) <= most):
        raise Refused(f"{what}: a whole number from {least} to {most} goes here, not {typed[:40]!r}.")
    return int(typed)


def decimal(request: HttpRequest, name: str, what: str, *, most: float) -> float | None:
    """A number that is not negative, with a point or a comma; None for an empty field."""
    typed = request.POST.get(name, "").strip().replace(",", ".")
    if not typed:
        return None
    try:
        number = float(typed)
    except ValueError:
        number = -1.0
    if not 0 <= number <= most:
        raise Refused(f"{what}: a number from 0 to {most:g} goes here, not {typed[:40]!r}.")
    return number


def day(request: HttpRequest, name: str, what: str) -> dt.date | None:
    """A date, None for an empty field."""
    typed = request.POST.get(name, "").strip()
    if not typed:
        return None
    try:
        return dt.date.fromisoformat(typed)
    except ValueError:
        raise Refused(f"{what}: a date such as 2026-10-03 goes here, not {typed[:40]!r}.") from None


def moment(request: HttpRequest, name: str) -> dt.datetime | None:
    """A moment on this machine's clock, None for an empty field."""
    typed = request.POST.get(name, "").strip()
    if not typed:
        return None
    try:
        read = dt.datetime.fromisoformat(typed)
        return read if read.tzinfo is not None else timezone.make_aware(read)
    except (ValueError, OverflowError):
        raise Refused(f"A moment such as 2026-10-03 14:02 goes here, not {typed[:40]!r}.") from None


def clock_time(request: HttpRequest, name: str) -> dt.time | None:
    """A time of day, None for an empty field."""
    typed = request.POST.get(name, "").strip()
    if not typed:
        return None
    try:
        return dt.time.fromisoformat(typed).replace(second=0, microsecond=0, tzinfo=None)
    except ValueError:
        raise Refused(f"A time such as 14:10 goes here, not {typed[:40]!r}.") from None


def version(request: HttpRequest, name: str = "seen") -> int | None:
    """The version of an entry that the page showed; None when the form did not say."""
    sent = request.POST.get(name, "")
    return int(sent) if sent.isascii() and sent.isdecimal() and len(sent) < 19 else None
