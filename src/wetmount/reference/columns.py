"""The description of every column (`columns.toml`): what it means, its unit, type, vocabulary and join."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from wetmount.reference.rows import TABLES

_FILE = Path(__file__).parent / "columns.toml"


@dataclass(frozen=True, slots=True)
class Column:
    """One column. `type`: text | id | number | whole | flag | level, or the lists texts | ids | numbers."""

    meaning: str
    type: str
    unit: str = ""
    join: str = ""
    vocabulary: tuple[str, ...] = field(default=())
    optional: bool = False
    required: bool = False
    at_least: float | None = None
    at_most: float | None = None
    above: float | None = None
    below: float | None = None


@lru_cache(maxsize=1)
def load_columns() -> dict[str, dict[str, Column]]:
    """Table → column → its description, in the order of the row's fields; KeyError when a column is not described."""
    described = _described()
    shared = described["shared"]
    return {
        name: {column: _column((shared | described[name])[column]) for column in table.columns}
        for name, table in TABLES.items()
    }


def about(table: str) -> str:
    """One sentence on what a table holds."""
    sentence: str = _described()[table]["about"]
    return sentence


@lru_cache(maxsize=1)
def _described() -> dict[str, Any]:
    """The file of descriptions, read once."""
    return tomllib.loads(_FILE.read_text(encoding="utf-8"))


def _column(entry: dict[str, Any]) -> Column:
    return Column(**(entry | {"vocabulary": tuple(entry.get("vocabulary", ()))}))
