"""A whole fish room as one room file, to hand on, and such a file as a new room of the casebook."""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from msgspec import structs

from wetmount.casebook import clock
from wetmount.casebook.models import Device, FishRoom
from wetmount.casebook.reference import reference
from wetmount.casebook.services.acts import act
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.services.room_sheet import Writing, whole_record
from wetmount.casebook.stock import day
from wetmount.origin import room as core
from wetmount.origin.room_file import read_room, write_room
from wetmount.origin.room_rows import TABLES, rows_of

LONGEST_NAME: Final = 200
MOST_ROWS: Final = 20_000
DAYS: Final = ("arrived", "on", "since", "not_before")
"""Columns of a row that hold a day on which something was so."""


def room_text(room: FishRoom) -> str:
    """All that was entered for a room, from its first day on, as one TOML file. What cases say stays with them."""
    found = whole_record(room).room
    first = min([day for table in TABLES for row in rows_of(found, table) for day in _days(row)], default=found.last)
    found = structs.replace(found, first=max(found.first, first))
    with tempfile.TemporaryDirectory() as folder:
        (path,) = write_room(found, Path(folder) / "room.toml")
        return path.read_text(encoding="utf-8")


def _days(row: object) -> Iterator[dt.date]:
    for name in DAYS:
        value = getattr(row, name, None)
        if value is not None:
            yield value


def bring_in_room(device: Device | None, path: Path) -> FishRoom:
    """A room file or folder as a new room, all of it or nothing, in one act that Undo takes back.

    Raises InputError for a file that cannot be so, Refused when a room of that name is there already, when it tells of
    days to come, or when a row has no place in the casebook.
    """
    found = read_room(path, reference())
    name = found.name.strip()[:LONGEST_NAME]
    if FishRoom.objects.filter(name=name).exists():
        raise Refused(f"There is a room called {name} already. Give one of the two another name, then bring it in.")
    if (rows := sum(len(rows_of(found, table)) for table in TABLES)) > MOST_ROWS:
        raise Refused(f"The file has {rows} rows; at most {MOST_ROWS} come in at once.")
    if found.last > clock.today():
        raise Refused(f"The record of {name} ends on {day(found.last)}, which is still to come.")
    with act(device, "bring_in_room", f"{name} brought in") as writer:
        made = writer.make(FishRoom, name=name)
        writing = Writing(writer, made, start=found.first)
        for table in TABLES:
            if table not in ("moves", "departures"):
                writing.write(table, [_put_down(row, found.condition) for row in rows_of(found, table)])
            elif table == "moves":
                out: list[core.Move | core.Departure] = [*found.moves, *found.departures]
                writing.write("moves", sorted(out, key=lambda one: one.on))
    return made


def _put_down(row: Any, condition: str | None) -> Any:
    """A sighting or check with the cause it is put down to, which may stand in the head of the file."""
    if isinstance(row, core.Sighting | core.Check) and row.condition is None:
        return structs.replace(row, condition=condition)
    return row
