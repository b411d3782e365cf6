"""Reading what was typed on the pages of counting and forecasting; what is wrong is told in one sentence."""

from __future__ import annotations

import datetime as dt
import math

from django.http import QueryDict

from wetmount.errors import InputError


def typed(given: QueryDict, name: str) -> str:
    """What was typed, without blanks at its ends."""
    return given.get(name, "").replace("\x00", "").strip()[:2000]


def number(
    given: QueryDict, name: str, what: str, *, least: float, most: float, otherwise: float | None = None
) -> float | None:
    """A number with a point or a comma; `otherwise` for an empty field."""
    text = typed(given, name).replace(",", ".")
    if not text:
        return otherwise
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not least <= value <= most:
        raise InputError(f"{what}: a number from {least:g} to {most:g} goes here, not {text[:40]!r}", field=name)
    return value


def whole(given: QueryDict, name: str, what: str, *, least: int, most: int, otherwise: int | None = None) -> int | None:
    """A whole number; `otherwise` for an empty field."""
    text = typed(given, name)
    if not text:
        return otherwise
    if not (text.isascii() and text.isdecimal() and len(text) < 12 and least <= int(text) <= most):
        raise InputError(f"{what}: a whole number from {least} to {most} goes here, not {text[:40]!r}", field=name)
    return int(text)


def day(given: QueryDict, name: str, what: str, otherwise: dt.date | None = None) -> dt.date | None:
    """A date; `otherwise` for an empty field."""
    text = typed(given, name)
    if not text:
        return otherwise
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{what}: a date such as 2026-10-03 goes here, not {text[:40]!r}", field=name) from None


def counts(given: QueryDict, name: str, what: str) -> list[int]:
    """Whole numbers with blanks or commas between them."""
    found = []
    for part in typed(given, name).replace(",", " ").replace(";", " ").split():
        if not (part.isascii() and part.isdecimal() and len(part) < 9):
            raise InputError(f"{what}: whole numbers from 0 go here, such as 0 3 1 12, not {part[:40]!r}", field=name)
        found.append(int(part))
    return found


def needed(value: float | int | dt.date | None, what: str) -> float | int | dt.date:
    """The value, or a sentence that it is missing."""
    if value is None:
        raise InputError(f"{what} is missing; without it nothing can be worked out")
    return value


def sentence(error: InputError) -> str:
    """The error as it stands on a page."""
    return error.message[:1].upper() + error.message[1:].rstrip(".") + "."
