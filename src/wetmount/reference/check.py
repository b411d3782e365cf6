"""Verifies everything about the tables that can be verified, and names file, row and column of each fault.

Here every cell is held against what `columns.toml` says of its column; `check_rules` has the rules of single tables.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from operator import attrgetter
from pathlib import Path
from typing import Any

from wetmount.reference.check_rules import RULES, Fault
from wetmount.reference.columns import Column, load_columns
from wetmount.reference.loader import Problem, Reading, Reference, read_reference
from wetmount.reference.rows import TABLES

_ID = re.compile(r"[a-z][a-z0-9_]*")


def check_reference(reference_or_overlay: Reference | Path | None = None) -> list[Problem]:
    """Faults of the packaged tables (None), of them with an overlay directory (Path), or of a reference in memory.

    Raises InputError when an overlay holds a file or column that no table has.
    """
    if isinstance(reference_or_overlay, Reference):
        return check_reading(Reading(reference_or_overlay, {}, ()))
    return check_reading(read_reference(reference_or_overlay))


def check_reading(reading: Reading) -> list[Problem]:
    """Faults of tables as read.

    When cells could not be read, only those are told: the rest would repeat that their rows are missing.
    """
    if reading.problems:
        return list(reading.problems)
    cells = [fault for name, columns in load_columns().items() for fault in _cells(reading.reference, name, columns)]
    if cells:
        # the rules follow joins and would stumble over ids that do not exist
        return [_placed(reading, fault) for fault in cells]
    return [_placed(reading, fault) for rule in RULES for fault in rule(reading.reference)]


def _cells(reference: Reference, name: str, columns: Mapping[str, Column]) -> Iterator[Fault]:
    rows = getattr(reference, name)
    for row in rows.values() if TABLES[name].mapping else rows:
        for column, meant in columns.items():
            for message in _cell(reference, meant, getattr(row, column)):
                yield Fault(name, row, column, message)


def _cell(reference: Reference, column: Column, value: Any) -> Iterator[str]:
    if value is None or value == "" or value == ():
        if not column.optional and (column.type != "text" or column.required) and "" not in column.vocabulary:
            yield "is empty"
        return
    parts = value.split(";") if column.type in ("ids", "texts") and isinstance(value, str) else value
    for part in parts if isinstance(parts, tuple | list) else (parts,):
        if column.type in ("id", "ids") and not column.join and not _ID.fullmatch(part):
            yield f"{part!r} is no id: lower-case letters, figures and _, a letter first"
        if column.join and part not in getattr(reference, column.join):
            yield f"{part!r} is not in {column.join}.csv"
        if column.vocabulary and part not in column.vocabulary:
            yield f"{part!r} is not one of {', '.join(word for word in column.vocabulary if word)}"
        if isinstance(part, int | float) and not isinstance(part, bool):
            yield from _bounds(column, part)


def _bounds(column: Column, value: float) -> Iterator[str]:
    if column.at_least is not None and value < column.at_least:
        yield f"{value:g} is below {column.at_least:g}"
    if column.at_most is not None and value > column.at_most:
        yield f"{value:g} is above {column.at_most:g}"
    if column.above is not None and value <= column.above:
        yield f"{value:g} is not above {column.above:g}"
    if column.below is not None and value >= column.below:
        yield f"{value:g} is not below {column.below:g}"


def _placed(reading: Reading, fault: Fault) -> Problem:
    table = TABLES[fault.table]
    key = attrgetter(*table.key)(fault.row)
    file, line = reading.places.get((fault.table, key), (f"{fault.table}.csv", 0))
    words = _words(reading.reference, fault)
    return Problem(file, f"line {line} ({words})" if line else words, fault.column, fault.message)


def _words(reference: Reference, fault: Fault) -> str:
    """The key of a row as the tables write it, levels as words."""
    words = []
    for column in TABLES[fault.table].key:
        value = getattr(fault.row, column)
        finding = reference.findings.get(getattr(fault.row, "finding", ""))
        if column == "level" and finding is not None:
            value = finding.levels[value]
        words.append("open" if value is None else str(value))
    return ", ".join(words)
