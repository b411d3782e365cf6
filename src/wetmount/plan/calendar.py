"""A plan as an iCalendar file (RFC 5545) that any calendar program reads.

Lines end in CRLF and are folded at 75 octets; commas, semicolons, backslashes and line ends in texts are escaped; times
are floating local time, as a keeper reads the clock at the tank; all-day events carry DATE values.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from wetmount.errors import InputError


@dataclass(frozen=True, slots=True)
class CalendarEntry:
    """One thing to do. A `date` is an all-day entry; a `datetime` lasts `minutes` and reminds before. `kind` is one of
    dose, water_change, look_again, plan."""

    when: date | datetime
    title: str
    text: str = ""
    minutes: int = 30
    alarm_minutes: int | None = None
    kind: str = "plan"


def to_ical(entries: Iterable[CalendarEntry], *, made: datetime, name: str, today: date | None = None) -> str:
    """The calendar as text, `made` in UTC. The same entries give the same UIDs, so that importing again replaces.

    InputError for no entries, an entry before `today`, or a time with a zone (floating times are meant).
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Wetmount//Plan//EN", "CALSCALE:GREGORIAN"]
    lines.append(f"X-WR-CALNAME:{_escape(name)}")
    count = 0
    for entry in entries:
        day = entry.when.date() if isinstance(entry.when, datetime) else entry.when
        if today is not None and day < today:
            raise InputError(f"{day.isoformat()} is in the past; a plan begins on {today.isoformat()} or later")
        lines += _event(entry, made)
        count += 1
    if not count:
        raise InputError("a calendar without entries")
    lines.append("END:VCALENDAR")
    return "".join(f"{part}\r\n" for line in lines for part in _fold(line))


def _event(entry: CalendarEntry, made: datetime) -> Iterator[str]:
    uid = hashlib.blake2b(f"{entry.when.isoformat()}|{entry.title}".encode(), digest_size=12).hexdigest()
    yield "BEGIN:VEVENT"
    yield f"UID:{uid}@wetmount"
    yield f"DTSTAMP:{made:%Y%m%dT%H%M%SZ}"
    if isinstance(entry.when, datetime):
        if entry.when.tzinfo is not None:
            raise InputError("times of a plan are local times without a zone")
        yield f"DTSTART:{entry.when:%Y%m%dT%H%M%S}"
        yield f"DTEND:{entry.when + timedelta(minutes=entry.minutes):%Y%m%dT%H%M%S}"
    else:
        yield f"DTSTART;VALUE=DATE:{entry.when:%Y%m%d}"
        yield f"DTEND;VALUE=DATE:{entry.when + timedelta(days=1):%Y%m%d}"
    yield f"SUMMARY:{_escape(entry.title)}"
    if entry.text:
        yield f"DESCRIPTION:{_escape(entry.text)}"
    if entry.alarm_minutes is not None:
        yield from ("BEGIN:VALARM", "ACTION:DISPLAY", f"DESCRIPTION:{_escape(entry.title)}")
        yield f"TRIGGER:-PT{entry.alarm_minutes}M"
        yield "END:VALARM"
    yield "END:VEVENT"


def _escape(text: str) -> str:
    plain = text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return plain.replace("\r\n", "\n").replace("\r", "\n").replace("\n", "\\n")


def _fold(line: str) -> Iterator[str]:
    """Parts of at most 75 octets, cut between characters; each but the first begins with a space."""
    part, size = "", 0
    for character in line:
        width = len(character.encode("utf-8"))
        if size + width > 75:
            yield part
            part, size = " ", 1
        part, size = part + character, size + width
    yield part
