"""The reference to browse: every table, every row with its basis and sources, and what points to it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter
from typing import Any, Final

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from wetmount.casebook.reference import is_own, overlay_folder, overlay_problem
from wetmount.casebook.services.preferences import Preferences, practice_reference, preferences
from wetmount.reference import Reference
from wetmount.reference.columns import Column, about, load_columns
from wetmount.reference.rows import TABLES
from wetmount.reference.show import PointingRows, ShownRow, show_row
from wetmount.report.words import capital

PAGE: Final = 60
HITS: Final = 60
FIRST: Final = ("conditions", "findings", "examinations", "treatments", "hosts", "organisms", "sources")
"""Tables that stand first in the list; the others follow in the order of the tables."""
_NAMES: Final = ("name", "common_name", "meaning", "agent", "title", "citation", "text")


@dataclass(frozen=True, slots=True)
class Part:
    """A piece of a cell: its text, and where it leads."""

    text: str
    href: str = ""


@dataclass(frozen=True, slots=True)
class CellShown:
    """One cell: its column in words, what the column means, and the pieces of its value."""

    label: str
    meaning: str
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Listed:
    """A row in a list."""

    name: str
    id: str
    beside: str
    href: str
    own: bool


@dataclass(frozen=True, slots=True)
class Pointing:
    """Rows of another table that name the shown one."""

    table: str
    column: str
    header: tuple[str, ...]
    rows: tuple[tuple[CellShown, ...], ...]
    href: str
    own: int


@require_GET
def index(request: HttpRequest) -> HttpResponse:
    """The tables, and what a search finds in them."""
    tables = practice_reference(preferences())
    query = request.GET.get("q", "").strip()[:100]
    hits = list(_search(tables, query)) if query else []
    rest = [name for name in TABLES if name not in FIRST]
    context = {
        "place": "reference",
        "query": query,
        "hits": hits[:HITS],
        "found": len(hits),
        "tables": [(name, _title(name), about(name), len(getattr(tables, name))) for name in (*FIRST, *rest)],
        "version": tables.version,
        "overlay": overlay_folder(),
        "overlay_problem": overlay_problem(),
    }
    return render(request, "casebook/reference/index.html", context)


@require_GET
def table(request: HttpRequest, table: str) -> HttpResponse:
    """One table: conditions by kind, findings by examination, others as they stand; `of` keeps rows that name it."""
    if table not in TABLES:
        raise Http404
    tables = practice_reference(preferences())
    of = request.GET.get("of", "").strip()[:200]
    held = getattr(tables, table)
    rows = [row for row in (held.values() if TABLES[table].mapping else held) if not of or _names(table, row, of)]
    context: dict[str, Any] = {
        "place": "reference",
        "table": table,
        "title": _title(table),
        "about": about(table),
        "count": len(rows),
        "of": of,
    }
    if table in ("conditions", "findings"):
        context["groups"] = _grouped(table, rows, tables)
        return render(request, "casebook/reference/table.html", context)
    page = Paginator(rows, PAGE).get_page(request.GET.get("page"))
    context["page"] = page
    if TABLES[table].mapping:
        context["listed"] = [_listed(table, row) for row in page]
    else:
        context["header"] = [_label(column) for column in load_columns()[table] if column != "note"]
        context["rows"] = [(_cells(table, row, tables), is_own(table, row)) for row in page]
    return render(request, "casebook/reference/table.html", context)


@require_GET
def row(request: HttpRequest, table: str, id: str) -> HttpResponse:
    """One row, every row that points to it, and the sources of all of them."""
    chosen = preferences()
    tables = practice_reference(chosen)
    if table not in TABLES or not TABLES[table].mapping or id not in getattr(tables, table):
        raise Http404
    shown = next(one for one in show_row(tables, id).rows if one.table == table)
    context = {
        "place": "reference",
        "table": table,
        "table_title": _title(table),
        "about": shown.about,
        "name": capital(_name(getattr(tables, table)[id])),
        "id": id,
        "cells": _shown_cells(shown, tables),
        "pointing": [_pointing(one, id, tables) for one in shown.pointing],
        "sources": [] if table == "sources" else shown.sources,
        "own": is_own(table, getattr(tables, table)[id]),
        "own_cost": table == "examinations" and _has_own_cost(id, chosen),
        "version": tables.version,
    }
    return render(request, "casebook/reference/row.html", context)


# --- rows in words ----------------------------------------------------------------------------------------------------


def _shown_cells(shown: ShownRow, tables: Reference) -> list[CellShown]:
    columns = load_columns()[shown.table]
    return [
        CellShown(_label(cell.column), cell.meaning, _parts(cell.value, columns[cell.column], tables))
        for cell in shown.cells
        if cell.value
    ]


def _pointing(one: PointingRows, id: str, tables: Reference) -> Pointing:
    columns = load_columns()[one.table]
    href = f"{reverse('reference_table', args=[one.table])}?of={id}"
    held = getattr(tables, one.table)
    naming = (row for row in (held.values() if TABLES[one.table].mapping else held) if _names(one.table, row, id))
    own = sum(is_own(one.table, row) for row in naming) if overlay_folder() else 0
    if one.header == ("rows",):  # of a source only the number of its rows is told
        counted = CellShown("", "", (Part(f"{one.rows[0][0]} rows", href),))
        return Pointing(one.table, _label(one.column), (), ((counted,),), href, own)
    rows = tuple(
        tuple(
            CellShown(_label(column), "", _parts(value, columns[column], tables))
            for column, value in zip(one.header, cells, strict=True)
        )
        for cells in one.rows
    )
    return Pointing(one.table, _label(one.column), tuple(map(_label, one.header)), rows, href, own)


def _cells(table: str, row: Any, tables: Reference) -> list[CellShown]:
    """The cells of a row that has no id, in words."""
    shown = []
    for name, column in load_columns()[table].items():
        if name == "note":
            continue
        value = getattr(row, name)
        if value is None:
            text = ""
        elif column.type == "level":
            text = tables.findings[row.finding].levels[int(value)]
        elif isinstance(value, bool):
            text = "yes" if value else "no"
        elif isinstance(value, tuple):
            text = "; ".join(f"{one:g}" if isinstance(one, float) else str(one) for one in value)
        else:
            text = f"{value:g}" if isinstance(value, float) else str(value)
            text = f"{text} {column.unit}" if column.unit and text else text
        shown.append(CellShown(_label(name), column.meaning, _parts(text, column, tables)))
    return shown


def _parts(value: str, column: Column, tables: Reference) -> tuple[Part, ...]:
    """A value in pieces, each leading to the row it names where the column names rows."""
    if not value:
        return ()
    known = getattr(tables, column.join) if column.join else {}
    if not known or not TABLES[column.join].mapping:
        return (Part(value),)
    pieces = [piece.strip() for piece in value.split(";")]
    return tuple(
        Part(piece, reverse("reference_row", args=[column.join, piece])) if piece in known else Part(piece)
        for piece in pieces
        if piece
    )


def _grouped(table: str, rows: Iterable[Any], tables: Reference) -> list[tuple[str, list[Listed]]]:
    if table == "conditions":
        ranked = sorted(rows, key=lambda row: (row.group, -row.rate))
        return [
            (capital(group.replace("_", " ")), [_listed(table, row) for row in held])
            for group, held in groupby(ranked, key=attrgetter("group"))
        ]
    order = {id: one.order for id, one in tables.examinations.items()}
    ranked = sorted(rows, key=lambda row: order[row.examination])
    return [
        (capital(tables.examinations[id].name), [_listed(table, row) for row in held])
        for id, held in groupby(ranked, key=attrgetter("examination"))
    ]


def _listed(table: str, row: Any) -> Listed:
    key = getattr(row, TABLES[table].key[0])
    beside = getattr(row, "basis", "")
    if table == "conditions":
        beside = f"{100 * row.rate:g} % of cases"
    elif table == "findings":
        beside = ", ".join(row.levels).replace("_", " ")
    elif table == "examinations":
        beside = f"{row.minutes:g} min"
    elif table == "sources":
        beside = row.kind
    return Listed(capital(_name(row)), key, beside, reverse("reference_row", args=[table, key]), is_own(table, row))


def _name(row: Any) -> str:
    for column in _NAMES:
        if text := getattr(row, column, ""):
            return str(text)
    return str(getattr(row, "id", None) or getattr(row, "key", None) or getattr(row, "treatment", None) or "row")


def _names(table: str, row: Any, id: str) -> bool:
    """Whether a row names this id in a column that joins tables."""
    for name, column in load_columns()[table].items():
        if column.join or (table, name) == ("cautions", "trigger"):
            value = getattr(row, name)
            parts = value if isinstance(value, tuple) else tuple(one.strip() for one in str(value or "").split(";"))
            if id in parts:
                return True
    return False


def _search(tables: Reference, query: str) -> Iterator[tuple[str, Listed]]:
    """Rows with an id in which every word occurs; those whose name has them first."""
    words = query.casefold().split()
    late: list[tuple[str, Any]] = []
    for table in dict.fromkeys(name for name in (*FIRST, *TABLES) if TABLES[name].mapping):
        for id, row in getattr(tables, table).items():
            name = f"{_name(row)} {id}".casefold()
            if all(word in name for word in words):
                yield table, _listed(table, row)
            else:
                text = " ".join(str(getattr(row, column)) for column in load_columns()[table]).casefold()
                if all(word in text for word in words):
                    late.append((table, row))
    for table, row in late:
        yield table, _listed(table, row)


def _title(table: str) -> str:
    return capital(table.replace("_", " "))


def _label(column: str) -> str:
    """A column's name in words; its unit stands with the value."""
    for unit in ("_c", "_h", "_cm", "_um", "_dgh"):
        column = column.removesuffix(unit)
    return column.replace("_", " ")


def _has_own_cost(id: str, chosen: Preferences) -> bool:
    return id in chosen.costs
