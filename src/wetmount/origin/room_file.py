"""The room file: one TOML file, or a folder with room.toml and a CSV file for each table.

In a folder a table stands in its CSV file or in room.toml, not in both. Reading reports every row it could not use;
`read_room` raises the first fatal one as an `InputError`, `check_room_file` gathers all of them, and notes besides.
"""

from __future__ import annotations

import csv
import io
import json
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from datetime import date as Date
from importlib import resources
from pathlib import Path
from typing import Any, Final

from wetmount.case_check import MAX_PROBLEMS, Problem, nearest, shorten
from wetmount.errors import InputError
from wetmount.files import write_whole
from wetmount.origin.room import Room
from wetmount.origin.room_check import check_room
from wetmount.origin.room_rows import TABLES, cell_text, columns, fit_row, rows_of, show, with_rows
from wetmount.origin.stock import Clash
from wetmount.reference import Reference

FORMAT: Final = 1
MAX_BYTES: Final = 8_000_000
"""A year of a room of a hundred tanks is under 1 MB."""
HEAD: Final = "room.toml"
_DEEP_KEY: Final = re.compile(
    r"""(?:^|[{,\[])[ \t]*(?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){8}""", re.MULTILINE
)
"""A dotted key of a room has one dot; the standard library's reader takes memory by the square of the dots."""
_HEAD_KEYS: Final = ("format", "name", "first", "last", "condition")


class _Source:
    """Where the rows of a table stand: a file, and the number by which a row is found in it."""

    def __init__(self, file: str, table: str, numbers: list[int] | None = None) -> None:
        self.file = file
        self.table = table
        self.numbers = numbers

    def field(self, index: int | None, column: str | None) -> str | None:
        """'row 7, to_tank' of a CSV file (its line); 'moves row 3, to_tank' of TOML (counted from 1)."""
        row = None
        if index is not None:
            row = f"{self.table} row {index + 1}" if self.numbers is None else f"row {self.numbers[index]}"
        elif self.numbers is None and self.table != "room":
            row = self.table
        return ", ".join(part for part in (row, column) if part) or None


def read_room(path: str | Path, reference: Reference | None = None) -> Room:
    """Read a room from its folder or TOML file. Raises `InputError` with the first problem found."""
    room, problems = _read(Path(path), reference)
    for problem in problems:
        if problem.fatal:
            raise problem.error()
    assert room is not None, "without a fatal problem there is a room"
    return room


def check_room_file(path: str | Path, reference: Reference | None = None) -> tuple[Problem, ...]:
    """All problems (fatal) and notes (not fatal) of a room file. Never raises `InputError`."""
    return _read(Path(path), reference)[1]


def demo_room() -> Room:
    """The invented Harbour Row Fish Room, as its files in the package tell it."""
    with resources.as_file(resources.files("wetmount.origin") / "harbour_row") as folder:
        return read_room(folder)


def write_room(room: Room, path: str | Path) -> tuple[Path, ...]:
    """Write a room to a TOML file (a name ending in .toml) or to a folder with every table, and say what was written.

    Raises `InputError`, before anything is written, for a room that would not come back as it is.
    """
    target = Path(path)
    for clash in check_room(room):
        if clash.fatal:
            raise InputError(clash.message, field=_Source("", clash.table).field(clash.index, clash.column))
    if target.suffix.lower() == ".toml":
        write_whole(target, _toml(room, tables=True))
        return (target,)
    if target.exists() and not target.is_dir():
        raise InputError("is a file; a room is written to a folder, or to a name ending in .toml", file=str(path))
    try:
        target.mkdir(exist_ok=True)
    except OSError as error:
        raise InputError(f"cannot be made: {error.strerror or error}", file=str(path)) from error
    written = []
    for table in TABLES:
        written.append(target / f"{table}.csv")
        write_whole(written[-1], table_csv(room, table))
    write_whole(target / HEAD, _toml(room, tables=False))
    return (target / HEAD, *written)


def table_csv(room: Room, table: str) -> str:
    """One table of a room as CSV, its columns in the first line."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns(table))
    for row in rows_of(room, table):
        writer.writerow([cell_text(getattr(row, column)) for column in columns(table)])
    return text.getvalue()


# --- writing TOML -----------------------------------------------------------------------------------------------------


def _toml(room: Room, *, tables: bool) -> str:
    lines = [f"format = {FORMAT}", f"name = {_value(room.name)}", f"first = {room.first}", f"last = {room.last}"]
    if room.condition is not None:
        lines.append(f"condition = {_value(room.condition)}")
    for table in TABLES if tables else ():
        for row in rows_of(room, table):
            lines.append(f"\n[[{table}]]")
            named = {column: getattr(row, column) for column in columns(table)}
            lines += [f"{column} = {_value(value)}" for column, value in named.items() if value not in (None, "")]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Date):
        return value.isoformat()
    if isinstance(value, tuple):
        return f"[{', '.join(map(_value, value))}]"
    return json.dumps(value, ensure_ascii=False)  # text and numbers of JSON are those of TOML too


# --- reading ----------------------------------------------------------------------------------------------------------


def _read(path: Path, reference: Reference | None) -> tuple[Room | None, tuple[Problem, ...]]:
    problems: list[Problem] = []
    try:
        head_path = path / HEAD if path.is_dir() else path
        head = _head_data(head_path, in_folder=path.is_dir())
        room = _head_of(head, str(head_path), problems)
        tables = list(_tables(path, head, str(head_path), problems))
    except InputError as error:
        return None, (Problem(error.file or str(path), error.field, error.message),)
    sources = {"room": _Source(str(head_path), "room")}
    for table, source, rows in tables:
        sources[table] = source
        if room is not None:
            room = with_rows(room, table, rows)
    if room is None or any(problem.fatal for problem in problems):
        return None, _few(problems)
    clashes = check_room(room, reference)
    problems += [_problem(clash, sources.get(clash.table, sources["room"])) for clash in clashes]
    return room, _few(problems)


def _problem(clash: Clash, source: _Source) -> Problem:
    field = source.field(clash.index, clash.column)
    if field is None and clash.table not in ("room", source.table):
        field = clash.table
    return Problem(source.file, field, clash.message, clash.fatal)


def _few(problems: list[Problem]) -> tuple[Problem, ...]:
    if len(problems) <= MAX_PROBLEMS:
        return tuple(problems)
    more = f"has more wrong than these {MAX_PROBLEMS} problems; mend them first"
    return (*problems[:MAX_PROBLEMS], Problem(problems[0].file, None, more))


def read_text(path: Path, what: str = "a room file") -> str:
    """The text of a file. Raises InputError when it cannot be read, is too large or is no text."""
    name = str(path)
    try:
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise InputError("there is no such file", file=name) from None
    except (OSError, ValueError) as error:
        raise InputError(f"cannot be read ({getattr(error, 'strerror', None) or error})", file=name) from None
    if len(raw) > MAX_BYTES:
        raise InputError(f"is too large; {what} has at most {MAX_BYTES / 1e6:.0f} MB", file=name)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise InputError(f"is not UTF-8 text (line {line}); save it as UTF-8", file=name) from None
    if "\x00" in text:
        raise InputError(f"is not text; {what} is TOML or CSV in UTF-8", file=name)
    return text


def _head_data(path: Path, *, in_folder: bool) -> dict[str, Any]:
    name = str(path)
    if in_folder and not path.exists():
        raise InputError(f"there is no {HEAD} in it; a room folder holds one, with name, first and last", file=name)
    text, too_deep = read_text(path), InputError("is nested too deeply; a room nests two levels", file=name)
    if _DEEP_KEY.search(text):
        raise too_deep
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise too_deep from None
    except ValueError as error:
        message = shorten(str(error), 200).replace("Cannot overwrite a value", "a key stands twice in the same table")
        raise InputError(f"is not valid TOML ({message[:1].lower()}{message[1:]})", file=name) from None


def _head_of(data: Mapping[str, Any], file: str, problems: list[Problem]) -> Room | None:
    """The room without its tables; None when its name or days do not fit."""
    version = data.get("format")
    if version != FORMAT or isinstance(version, bool):
        what = "is missing" if version is None else f"is {show(version)}"
        raise InputError(f"{what}; a room file begins with format = {FORMAT}", file=file, field="format")
    for key in data:
        if key not in (*_HEAD_KEYS, *TABLES):
            guess = nearest(key, (*_HEAD_KEYS, *TABLES)) or f"its keys are {', '.join((*_HEAD_KEYS, *TABLES))}"
            problems.append(Problem(file, shorten(key), f"is no key of a room file; {guess}"))
    a_date = (Date, "a date such as 2026-09-01, without quotation marks")
    wanted: dict[str, tuple[type, str]] = {"name": (str, "one line of text"), "first": a_date, "last": a_date}
    good: dict[str, Any] = {}
    for key, (kind, words) in wanted.items():
        value = data.get(key)
        # a TOML date-time is a Date too
        if type(value) is kind and (kind is Date or _one_line(value)):
            good[key] = value
        else:
            what = "is missing" if value is None else f"is {show(value)}"
            problems.append(Problem(file, key, f"{what}; accepted is {words}"))
    condition = data.get("condition")
    if condition is not None and not (isinstance(condition, str) and condition):
        problems.append(Problem(file, "condition", f"is {show(condition)}; accepted is a condition id"))
        condition = None
    return Room(**good, condition=condition) if len(good) == len(wanted) else None


def _one_line(text: Any) -> bool:
    return isinstance(text, str) and text == text.strip() and text.isprintable() and 0 < len(text) <= 200


def _tables(
    path: Path, head: Mapping[str, Any], head_file: str, problems: list[Problem]
) -> Iterator[tuple[str, _Source, tuple[Any, ...]]]:
    """Each table with where it stands and its rows; rows that do not fit are reported and left out."""
    for table in TABLES:
        sheet = path / f"{table}.csv"
        if path.is_dir() and sheet.exists():
            if table in head:
                raise InputError(f"stands here and in {sheet.name}; keep one of them", file=head_file, field=table)
            numbers, lines = read_csv(sheet, table)
            cells: Sequence[Mapping[str, Any]] = lines
            source = _Source(str(sheet), table, numbers)
        else:
            cells = _toml_rows(table, head.get(table, []), head_file)
            source = _Source(head_file, table)
        rows = []
        for index, row in enumerate(cells):
            fitted, faults = fit_row(table, row)
            problems += [Problem(source.file, source.field(index, column), text) for column, text in faults]
            if fitted is not None:
                rows.append(fitted)
        yield table, source, _feeds_once(rows, source, problems) if table == "feeds" else tuple(rows)
    if path.is_dir():
        known = {f"{table}.csv" for table in TABLES}
        for stray in sorted(one.name for one in path.glob("*.csv") if one.name not in known):
            guess = nearest(stray, known) or f"its tables are {', '.join(TABLES)}"
            problems.append(Problem(str(path / stray), None, f"is no table of a room; {guess}", fatal=False))


def _feeds_once(rows: list[Any], source: _Source, problems: list[Problem]) -> tuple[Any, ...]:
    """A room holds feeds by their names, so that a second one would silently replace the first."""
    seen: set[str] = set()
    for index, feed in enumerate(rows):
        if feed.id in seen:
            problems.append(Problem(source.file, source.field(index, "id"), f'is "{feed.id}", which is taken already'))
        seen.add(feed.id)
    return tuple(rows)


def _toml_rows(table: str, value: Any, file: str) -> list[Mapping[str, Any]]:
    if table == "feeds" and isinstance(value, dict):  # [feeds] flakes = ["A1"], the short form
        value = [{"id": id, "tanks": tanks} for id, tanks in value.items()]
    if not isinstance(value, list) or not all(isinstance(row, dict) for row in value):
        raise InputError(f"is {show(value)}; accepted are rows, each under [[{table}]]", file=file, field=table)
    return value


_DELIMITERS: Final = (",", ";", "\t")


def read_csv(path: Path, table: str | None = None) -> tuple[list[int], list[dict[str, str]]]:
    """Rows of a CSV file as column → cell, with the line each begins on; the first line names the columns.

    Comma, semicolon or tab part the cells, whichever the first line has most of. Empty lines are passed over. With
    `table` the column names must be its columns; otherwise they are taken as they are.
    """
    text, name = read_text(path, "a table"), str(path)
    first = text.split("\n", 1)[0]
    reader = csv.reader(io.StringIO(text), delimiter=max(_DELIMITERS, key=first.count), strict=True)
    numbers: list[int] = []
    rows: list[dict[str, str]] = []
    try:
        heads = [head.strip() for head in next(reader, [])]
        _check_heads(heads, name, table)
        begun = reader.line_num + 1
        for cells in reader:
            if any(cell.strip() for cell in cells):
                if any(cell.strip() for cell in cells[len(heads) :]):
                    raise InputError(
                        f"has {len(cells)} cells for {len(heads)} columns; quote a cell that holds the delimiter",
                        file=name,
                        field=f"row {begun}",
                    )
                numbers.append(begun)
                rows.append({head: cell for head, cell in zip(heads, cells, strict=False) if head})
            begun = reader.line_num + 1
    except csv.Error as error:
        raise InputError(f"is not valid CSV ({error})", file=name, field=f"row {reader.line_num}") from None
    return numbers, rows


def _check_heads(heads: list[str], file: str, table: str | None) -> None:
    if not any(heads):
        raise InputError("is empty; its first line names the columns", file=file)
    for head in heads:
        if head and heads.count(head) > 1:
            raise InputError(f'names the column "{shorten(head)}" twice', file=file, field="row 1")
        if table is not None and head not in columns(table):
            guess = nearest(head, columns(table)) or f"its columns are {', '.join(columns(table))}"
            raise InputError(f'"{shorten(head)}" is no column of {table}; {guess}', file=file, field="row 1")
