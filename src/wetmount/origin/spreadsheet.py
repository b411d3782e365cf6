"""Rows of a spreadsheet (CSV or XLSX) for one table of a room: what would come in, and every bad row with its reason.

Nothing is taken over by looking. A bad row is one whose cells do not fit, or that cannot be so beside the room and the
other rows: an unknown tank, fish out of an empty one, more deaths than fish, a day outside the record.
"""

from __future__ import annotations

import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from wetmount.case_check import nearest, shorten
from wetmount.errors import InputError
from wetmount.origin.room import Room
from wetmount.origin.room_check import check_room
from wetmount.origin.room_file import MAX_BYTES, read_csv
from wetmount.origin.room_rows import TABLES, columns, fit_row, is_empty, required, rows_of, with_rows
from wetmount.reference import Reference

MOST_ROWS: Final = 20_000
MOST_UNPACKED: Final = 50_000_000
"""Bytes of an XLSX file once unpacked: a small file can be made to unfold into one that fills the memory."""
LAST_ROW: Final = 1_048_576
"""The last row that a sheet of that format can have."""

ALIASES: Final[Mapping[str, tuple[str, ...]]] = {
    "on": ("date", "day", "when"),
    "from_tank": ("from", "source", "out of"),
    "to_tank": ("to", "into", "destination"),
    "number": ("count", "number of fish", "how many"),
    "origin": ("supplier", "source of fish"),
    "id": ("name", "no", "nr"),
    "tank": ("tank id", "tank name"),
    "since": ("from date", "start"),
    "until": ("to date", "end"),
    "volume_l": ("volume", "litres", "liters"),
    "seen": ("result", "positive"),
    "fish": ("fish examined",),
    "species": ("fish species", "kind of fish"),
    "arrived": ("arrival", "arrival date"),
}
"""Headings that people write for a column, taken when the table has that column and no other heading claims it."""


@dataclass(frozen=True, slots=True)
class GoodRow:
    """A row that can come in; `row` is its number in the sheet."""

    row: int
    record: Any


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that cannot come in, its cells, and one sentence for each reason."""

    row: int
    cells: dict[str, str]
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Preview:
    """What a sheet would bring into a table of a room.

    `taken` says which heading was read as which column, `passed_over` the headings that are no column of the table.
    """

    file: str
    table: str
    good: tuple[GoodRow, ...]
    bad: tuple[BadRow, ...]
    notes: tuple[str, ...]
    taken: dict[str, str]
    passed_over: tuple[str, ...]

    def into(self, room: Room) -> Room:
        """The room with the good rows added."""
        return with_rows(room, self.table, (*rows_of(room, self.table), *(row.record for row in self.good)))


def preview_sheet(
    path: str | Path,
    table: str,
    room: Room,
    *,
    sheet: str | None = None,
    reference: Reference | None = None,
) -> Preview:
    """Read a sheet as rows of `table` for `room`; the first row that is not empty names the columns.

    `sheet` names one of an XLSX file (None: the first). Raises InputError when the file or the table cannot be read at
    all, or lacks a column that every row needs.
    """
    if table not in TABLES:
        guess = nearest(table, TABLES) or f"accepted are {', '.join(TABLES)}"
        raise InputError(f'"{shorten(table)}" is no table of a room; {guess}', field="table")
    source = Path(path)
    if source.suffix.lower() in (".xlsx", ".xlsm"):
        numbers, rows = _read_xlsx(source, sheet)
    elif source.suffix.lower() in (".xls", ".ods", ".numbers"):
        raise InputError(f"is a {source.suffix[1:]} file; save the sheet as XLSX or CSV", file=str(path))
    else:
        if sheet is not None:
            raise InputError("names a sheet, which only an XLSX file has", field="sheet")
        numbers, rows = read_csv(source)
    if len(rows) > MOST_ROWS:
        raise InputError(f"has {len(rows)} rows; accepted are at most {MOST_ROWS}", file=str(path))
    heads = list(rows[0]) if rows else []
    taken = _taken(heads, table, str(path)) if rows else {}
    return _preview(str(path), table, room, numbers, rows, taken, reference)


def _preview(
    file: str,
    table: str,
    room: Room,
    numbers: list[int],
    rows: list[dict[str, Any]],
    taken: dict[str, str],
    reference: Reference | None,
) -> Preview:
    why: dict[int, list[str]] = {}
    fitted: list[tuple[int, Any]] = []
    for index, row in enumerate(rows):
        record, faults = fit_row(table, {column: row.get(head) for head, column in taken.items()})
        if record is None:
            why[index] = [_sentence(column, text) for column, text in faults]
        else:
            fitted.append((index, record))
    before = rows_of(room, table)
    if table == "feeds":  # a room holds them by name, so that a second one would silently replace the first
        taken_names = {feed.id for feed in before}
        for index, feed in fitted:
            if feed.id in taken_names:
                why[index] = [f'id is "{feed.id}", which is taken already; each has a name of its own']
            taken_names.add(feed.id)
        fitted = [(index, feed) for index, feed in fitted if index not in why]
    whole = with_rows(room, table, (*before, *(record for _, record in fitted)))
    notes: list[str] = []
    for clash in check_room(whole, reference, most=None):
        if clash.table == table and clash.index is not None and clash.index >= len(before):
            index = fitted[clash.index - len(before)][0]
            sentence = _sentence(clash.column, clash.message)
            if clash.fatal:
                why.setdefault(index, []).append(sentence)
            else:
                notes.append(f"row {numbers[index]}: {sentence}")
        elif clash.fatal:
            # The new rows can make an old one impossible: a move of all fish leaves none for an older death.
            at = "" if clash.index is None else f" row {clash.index + 1}"
            notes.append(f"{clash.table}{at} of the room: {_sentence(clash.column, clash.message)}")
    return Preview(
        file,
        table,
        tuple(GoodRow(numbers[index], record) for index, record in fitted if index not in why),
        tuple(BadRow(numbers[index], _shown(rows[index]), tuple(why[index])) for index in sorted(why)),
        tuple(notes),
        taken,
        tuple(head for head in (rows[0] if rows else {}) if head not in taken and head),
    )


def _sentence(column: str | None, message: str) -> str:
    return message if column is None else f"{column} {message}"


def _shown(row: Mapping[str, Any]) -> dict[str, str]:
    return {head: shorten(str(cell)) for head, cell in row.items() if not is_empty(cell)}


def _taken(heads: list[str], table: str, file: str) -> dict[str, str]:
    """Which heading stands for which column: by its name, else by what people call it."""
    known = columns(table)
    plain = {head: " ".join(head.casefold().replace("_", " ").split()) for head in heads}
    taken = {head: column for column in known for head in heads if plain[head] == column.replace("_", " ")}
    for column in known:
        if column not in taken.values():
            by_alias = [head for head in heads if head not in taken and plain[head] in ALIASES.get(column, ())]
            if by_alias:
                taken[by_alias[0]] = column
    lacking = [column for column in required(table) if column not in taken.values()]
    if lacking:
        raise InputError(
            f"has no column {' and no column '.join(lacking)}; {table} has the columns {', '.join(known)}",
            file=file,
            field="row 1",
        )
    return taken


# --- XLSX -------------------------------------------------------------------------------------------------------------


def _read_xlsx(path: Path, sheet: str | None) -> tuple[list[int], list[dict[str, Any]]]:
    """Rows of a sheet as heading → cell with their row numbers; formulas count as what they last came to."""
    name = str(path)
    _refuse_bombs(path)
    try:
        import openpyxl
    except ImportError:
        raise InputError(
            "is an XLSX file, and what reads those is not installed; pip install 'wetmount[xlsx]', or save it as CSV",
            file=name,
        ) from None
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except Exception as error:  # the library raises whatever the damage brings about
        raise InputError(f"is no XLSX file that can be read ({shorten(str(error), 100)})", file=name) from None
    try:
        if sheet is not None and sheet not in book.sheetnames:
            guess = nearest(sheet, book.sheetnames) or f"there are {', '.join(book.sheetnames)}"
            raise InputError(f'has no sheet "{shorten(sheet)}"; {guess}', file=name, field="sheet")
        page = book[sheet] if sheet is not None else book.worksheets[0]
        page.reset_dimensions()  # what the file says of its own size may be a million empty columns
        return _rows_of_sheet(page.iter_rows(values_only=True), name)
    finally:
        book.close()


def _refuse_bombs(path: Path) -> None:
    name = str(path)
    if not path.is_file():
        raise InputError("there is no such file", file=name)
    if path.stat().st_size > MAX_BYTES:
        raise InputError(f"is too large; a sheet has at most {MAX_BYTES / 1e6:.0f} MB", file=name)
    try:
        with zipfile.ZipFile(path) as packed:
            size = sum(one.file_size for one in packed.infolist())
    except (zipfile.BadZipFile, OSError):
        raise InputError("is no XLSX file; save the sheet as XLSX or CSV", file=name) from None
    if size > MOST_UNPACKED:
        raise InputError(f"unpacks to more than {MOST_UNPACKED / 1e6:.0f} MB; save the sheet as CSV", file=name)


def _rows_of_sheet(sheet: Any, name: str) -> tuple[list[int], list[dict[str, Any]]]:
    heads: list[str] | None = None
    numbers: list[int] = []
    rows: list[dict[str, Any]] = []
    for number, cells in enumerate(sheet, start=1):
        if number > LAST_ROW:
            break
        if all(is_empty(cell) for cell in cells):
            continue
        if heads is None:
            heads = ["" if cell is None else str(cell).strip() for cell in cells]
            for head in heads:
                if head and heads.count(head) > 1:
                    raise InputError(f'names the column "{shorten(head)}" twice', file=name, field=f"row {number}")
            continue
        numbers.append(number)
        rows.append({head: cell for head, cell in zip(heads, cells, strict=False) if head})
        if len(rows) > MOST_ROWS:
            break
    if heads is None:
        raise InputError("is empty; its first row names the columns", file=name)
    return numbers, rows
