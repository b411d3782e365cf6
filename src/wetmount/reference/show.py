"""Shows where a figure comes from: a row of any table, every row that points to it, basis, notes and full sources."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from wetmount.errors import InputError
from wetmount.reference.columns import Column, about, load_columns
from wetmount.reference.loader import Reference
from wetmount.reference.rows import TABLES, Source

_FIGURES = ("probability", "odds", "value", "detection_factor", "effect")
_ORIGIN = ("basis", "sources", "note")


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: column, its value in words with the unit, and what the column means."""

    column: str
    value: str
    meaning: str


@dataclass(frozen=True, slots=True)
class PointingRows:
    """Rows of `table` that name the shown row in `column`, largest figure first, each as its cells in words."""

    table: str
    column: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class ShownRow:
    """A row of `table` with what points to it and every source that it and they name. `str()` is plain text."""

    table: str
    about: str
    id: str
    cells: tuple[Cell, ...]
    pointing: tuple[PointingRows, ...]
    sources: tuple[Source, ...]

    def __str__(self) -> str:
        return "\n".join(_text(self))


@dataclass(frozen=True, slots=True)
class Shown:
    """The rows with one id: usually one, two when a finding and a red flag share their name."""

    rows: tuple[ShownRow, ...]

    def __str__(self) -> str:
        return "\n\n".join(map(str, self.rows))


def show_row(reference: Reference, id: str) -> Shown:
    """Every row with this id in the tables that have ids. Raises InputError with the nearest ids when there is none."""
    tables = [name for name, table in TABLES.items() if table.mapping]
    found = tuple(_shown(reference, name, id) for name in tables if id in getattr(reference, name))
    if not found:
        known = [key for name in tables for key in getattr(reference, name)]
        near = difflib.get_close_matches(id, known, n=3)
        raise InputError(
            f"no row has this id; {'nearest are ' + ', '.join(near) if near else 'see `wetmount reference check`'}",
            field=id,
        )
    return Shown(found)


def _shown(reference: Reference, table: str, id: str) -> ShownRow:
    columns = load_columns()[table]
    row = getattr(reference, table)[id]
    pointing = tuple(_pointing(reference, table, id))
    keys = [*getattr(row, "sources", ())]
    for rows in pointing:
        if "sources" in rows.header:
            at = rows.header.index("sources")
            keys += [key for cells in rows.rows for key in cells[at].split("; ") if key]
    return ShownRow(
        table=table,
        about=about(table),
        id=id,
        cells=tuple(
            Cell(name, _words(reference, row, name, column), column.meaning) for name, column in columns.items()
        ),
        pointing=pointing,
        sources=tuple(reference.sources[key] for key in dict.fromkeys(keys)),
    )


def _pointing(reference: Reference, table: str, id: str) -> Iterator[PointingRows]:
    for name, columns in load_columns().items():
        held = getattr(reference, name)
        rows = list(held.values() if TABLES[name].mapping else held)
        for column, meant in columns.items():
            if meant.join != table and (name, column) != ("cautions", "trigger"):
                continue
            hits = [row for row in rows if id in _parts(getattr(row, column))]
            if not hits:
                continue
            if table == "sources":
                yield PointingRows(name, column, ("rows",), ((str(len(hits)),),))
                continue
            shown = [
                *TABLES[name].key,
                *(c for c in (*_FIGURES, "unit", "rule", "limit", "text", *_ORIGIN) if c in columns),
            ]
            shown = [c for c in dict.fromkeys(shown) if c != column]
            figure = next((c for c in _FIGURES if c in columns), None)
            if figure is not None:
                hits.sort(key=lambda row: -(getattr(row, figure) or 0))
            yield PointingRows(
                name,
                column,
                tuple(shown),
                tuple(tuple(_words(reference, row, c, columns[c]) for c in shown) for row in hits),
            )


def _parts(value: Any) -> tuple[str, ...]:
    if isinstance(value, tuple):
        return value
    return tuple(part.strip() for part in str(value).split(";"))


def _words(reference: Reference, row: Any, name: str, column: Column) -> str:
    value = getattr(row, name)
    if value is None:
        return "not stated" if column.type in ("number", "text") else ""
    if column.type == "level":
        finding: str = row.from_finding if name == "from_level" else row.finding
        return reference.findings[finding].levels[int(value)]
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return "; ".join(f"{part:g}" if isinstance(part, float) else str(part) for part in value)
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return f"{text} {column.unit}" if column.unit and text else text


def _text(shown: ShownRow) -> Iterator[str]:
    yield f"{shown.id} in {shown.table}: {shown.about}"
    for cell in shown.cells:
        if cell.value:
            yield f"  {cell.column}: {cell.value}   ({cell.meaning})"
    for pointing in shown.pointing:
        yield f"{pointing.table}, {pointing.column} = {shown.id} ({', '.join(pointing.header)}):"
        for cells in pointing.rows:
            yield "  " + ", ".join(cell for cell in cells if cell)
    if shown.sources:
        yield "Sources:"
        for source in shown.sources:
            yield f"  {source.key} ({source.kind}): {source.citation}"
