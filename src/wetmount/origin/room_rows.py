"""The tables of a room file and how one row of them is read, whether it came from TOML, CSV or a spreadsheet.

A row is a mapping of column to cell. Cells of TOML and of spreadsheets have types; cells of CSV are text, in which
yes and no, ISO dates, and lists with ";" between their entries are understood. An empty cell is one left out.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from typing import Any, Final

import msgspec
from msgspec import inspect, structs

from wetmount.case_check import nearest, shorten
from wetmount.origin.room import (
    Batch,
    Check,
    Contact,
    Departure,
    Move,
    Room,
    Sighting,
    System,
    Tank,
    Tool,
    Watch,
    Worker,
)


class Feed(msgspec.Struct, frozen=True):
    """A feed and the tanks that got it: a row of `feeds`, which a `Room` holds as a mapping."""

    id: str
    tanks: tuple[str, ...]


TABLES: Final[dict[str, type[msgspec.Struct]]] = {
    "systems": System,
    "tanks": Tank,
    "batches": Batch,
    "moves": Move,
    "departures": Departure,
    "contacts": Contact,
    "tools": Tool,
    "workers": Worker,
    "watches": Watch,
    "sightings": Sighting,
    "checks": Check,
    "feeds": Feed,
}
"""Table name → record of one row, in the order of the file."""

LIST_MARK: Final = ";"
LONGEST: Final = 200
_YES: Final = ("yes", "true", "seen", "positive")
_NO: Final = ("no", "false", "not seen", "negative")


def columns(table: str) -> tuple[str, ...]:
    """Column names of a table, in order."""
    return tuple(field.name for field in structs.fields(TABLES[table]))


def required(table: str) -> tuple[str, ...]:
    """Columns of a table that every row needs."""
    return tuple(field.name for field in structs.fields(TABLES[table]) if field.required)


def rows_of(room: Room, table: str) -> tuple[Any, ...]:
    """The rows of one table of a room."""
    if table == "feeds":
        return tuple(Feed(id, tanks) for id, tanks in room.feeds.items())
    rows: tuple[Any, ...] = getattr(room, table)
    return rows


def with_rows(room: Room, table: str, rows: tuple[Any, ...]) -> Room:
    """The room with other rows in one table."""
    if table == "feeds":
        return structs.replace(room, feeds={feed.id: feed.tanks for feed in rows})
    return structs.replace(room, **{table: rows})


def fit_row(table: str, cells: Mapping[str, Any]) -> tuple[Any, list[tuple[str | None, str]]]:
    """The record of one row, or None, and what did not fit as (column, sentence)."""
    info = inspect.type_info(TABLES[table])
    assert isinstance(info, inspect.StructType), "every table is a struct"
    fields = {field.name: field for field in info.fields}
    faults: list[tuple[str | None, str]] = []
    values: dict[str, Any] = {}
    for column, cell in cells.items():
        if column not in fields:
            faults.append((shorten(column), f"is no column of {table}; {known_columns(column, table)}"))
        elif not is_empty(cell):
            try:
                values[column] = _read(cell, fields[column].type)
            except ValueError as error:
                faults.append((column, f"is {show(cell)}; accepted is {error}"))
    named = {column for column, _ in faults}
    for name, field in fields.items():
        if field.required and name not in values and name not in named:
            faults.append((name, f"is missing; accepted is {_accepted(field.type)}"))
    return (None if faults else TABLES[table](**values)), faults


def known_columns(column: str, table: str) -> str:
    """'did you mean …', or the columns there are."""
    return nearest(column, columns(table)) or f"its columns are {', '.join(columns(table))}"


def is_empty(cell: Any) -> bool:
    """Whether a cell says nothing."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def show(cell: Any) -> str:
    """A cell as it stands in the file, cut short."""
    if isinstance(cell, str):
        return f'"{shorten(cell)}"'
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, dict | list):
        return "a table" if isinstance(cell, dict) else "a list"
    return shorten(str(cell))


def cell_text(value: Any) -> str:
    """A value as a cell of CSV; `fit_row` reads it back as the same value."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return LIST_MARK.join(value)
    if isinstance(value, float):
        return repr(value)
    return str(value)


# --- one cell ---------------------------------------------------------------------------------------------------------


def _read(cell: Any, kind: inspect.Type) -> Any:
    """The value of a cell. Raises ValueError with what is accepted."""
    kind = _bare(kind)
    value: Any = _REFUSED
    if isinstance(kind, inspect.StrType):
        value = _text(cell)
    elif isinstance(kind, inspect.BoolType):
        value = _yes_or_no(cell)
    elif isinstance(kind, inspect.IntType):
        value = _number(cell, whole=True)
    elif isinstance(kind, inspect.FloatType):
        value = _number(cell, whole=False)
    elif isinstance(kind, inspect.DateType):
        value = _date(cell)
    elif isinstance(kind, inspect.LiteralType):
        text = cell.strip().casefold() if isinstance(cell, str) else cell
        value = text if text in kind.values else _REFUSED
    elif isinstance(kind, inspect.VarTupleType):
        value = _list(cell)
    if value is _REFUSED:
        raise ValueError(_accepted(kind))
    return value


_REFUSED: Final[Any] = object()


def _text(cell: Any) -> Any:
    if isinstance(cell, int | float) and not isinstance(cell, bool) and math.isfinite(cell) and cell == int(cell):
        cell = str(int(cell))  # spreadsheets turn the tank "7" into a number
    if not isinstance(cell, str):
        return _REFUSED
    text = cell.strip()
    return text if len(text) <= LONGEST and text.isprintable() else _REFUSED


def _yes_or_no(cell: Any) -> Any:
    if isinstance(cell, bool):
        return cell
    word = cell.strip().casefold() if isinstance(cell, str) else ""
    return word in _YES if word in (*_YES, *_NO) else _REFUSED


def _number(cell: Any, *, whole: bool) -> Any:
    if isinstance(cell, bool) or not isinstance(cell, str | int | float):
        return _REFUSED
    try:
        value = float(cell)
    except (ValueError, OverflowError):
        return _REFUSED
    if not math.isfinite(value) or abs(value) > 1e9 or (whole and value != int(value)):
        return _REFUSED
    return int(value) if whole else value


def _date(cell: Any) -> Any:
    if isinstance(cell, datetime.datetime):
        return cell.date()
    if isinstance(cell, datetime.date):
        return cell
    try:
        day = datetime.date.fromisoformat(cell.strip()) if isinstance(cell, str) else _REFUSED
    except ValueError:
        return _REFUSED
    # fromisoformat takes 20261003 too, which in a table is more likely a number in the wrong column
    return day if day is not _REFUSED and day.isoformat() == cell.strip() else _REFUSED


def _list(cell: Any) -> Any:
    parts = cell.split(LIST_MARK) if isinstance(cell, str) else cell
    if not isinstance(parts, list | tuple):
        parts = [cell]
    texts = [_text(part) for part in parts if not is_empty(part)]
    return _REFUSED if _REFUSED in texts else tuple(texts)


def _bare(kind: inspect.Type) -> inspect.Type:
    """The type of a value that is there: `X | None` as X."""
    if isinstance(kind, inspect.UnionType):
        (kind,) = [one for one in kind.types if not isinstance(one, inspect.NoneType)]
    return kind


def _accepted(kind: inspect.Type) -> str:
    """What a cell of this kind looks like, for the end of a sentence."""
    kind = _bare(kind)
    if isinstance(kind, inspect.LiteralType):
        return " or ".join(str(value) for value in kind.values)
    words: dict[type[inspect.Type], str] = {
        inspect.StrType: f"one line of text, at most {LONGEST} characters",
        inspect.BoolType: "yes or no",
        inspect.IntType: "a whole number",
        inspect.FloatType: "a number, such as 54.5",
        inspect.DateType: "a date such as 2026-10-03",
        inspect.VarTupleType: f'tank names with "{LIST_MARK}" between them',
    }
    return words[type(kind)]
