"""Reads the tables into one immutable reference; a practice may overlay its own rows."""

from __future__ import annotations

import csv
import hashlib
import io
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from operator import itemgetter
from pathlib import Path
from types import MappingProxyType
from typing import Any

from wetmount import __version__
from wetmount.errors import InputError
from wetmount.reference.rows import (
    TABLES,
    BodyState,
    Caution,
    Condition,
    Conflict,
    Disinfection,
    DoseLimit,
    DoseRow,
    Examination,
    Finding,
    FirstAidStep,
    HistoryRisk,
    Host,
    HostGroup,
    HostRisk,
    HusbandryStep,
    Incubation,
    LaboratorySample,
    Leak,
    LifeCycle,
    Limit,
    Link,
    LinkRate,
    Organism,
    Predisposition,
    Quarantine,
    Ration,
    RedFlag,
    Sensitivity,
    Source,
    StageSurvival,
    Sureness,
    Table,
    TemperatureRisk,
    Treatment,
    Treats,
)

TABLES_DIR = Path(__file__).parent / "tables"
_LIST_SEPARATOR = ";"


@dataclass(frozen=True, slots=True)
class Reference:
    """All tables. A mapping where rows have an id, else a tuple in the order of the file."""

    version: str
    sources: Mapping[str, Source]
    host_groups: Mapping[str, HostGroup]
    hosts: Mapping[str, Host]
    examinations: Mapping[str, Examination]
    findings: Mapping[str, Finding]
    conditions: Mapping[str, Condition]
    links: tuple[Link, ...]
    leaks: tuple[Leak, ...]
    history_risks: tuple[HistoryRisk, ...]
    host_risks: tuple[HostRisk, ...]
    temperature_risks: tuple[TemperatureRisk, ...]
    predispositions: tuple[Predisposition, ...]
    limits: tuple[Limit, ...]
    body_states: tuple[BodyState, ...]
    sureness: Mapping[str, Sureness]
    cautions: Mapping[str, Caution]
    red_flags: Mapping[str, RedFlag]
    first_aid: tuple[FirstAidStep, ...]
    treatments: Mapping[str, Treatment]
    treats: tuple[Treats, ...]
    sensitivities: tuple[Sensitivity, ...]
    doses: Mapping[str, DoseRow]
    dose_limits: tuple[DoseLimit, ...]
    conflicts: tuple[Conflict, ...]
    husbandry: tuple[HusbandryStep, ...]
    rations: tuple[Ration, ...]
    disinfection: tuple[Disinfection, ...]
    quarantines: tuple[Quarantine, ...]
    laboratory_samples: Mapping[str, LaboratorySample]
    organisms: Mapping[str, Organism]
    lifecycles: tuple[LifeCycle, ...]
    stage_survival: tuple[StageSurvival, ...]
    link_rates: Mapping[str, LinkRate]
    incubations: Mapping[str, Incubation]

    def host_group_line(self, host_group: str) -> tuple[str, ...]:
        """The group and its parents, narrowest first, so that a reader may take the first that has a row."""
        line: list[str] = []
        group: str | None = host_group
        while group is not None and group not in line:
            line.append(group)
            group = self.host_groups[group].parent
        return tuple(line)


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault in a table: the file, the line and key of the row, the column, and what is wrong."""

    file: str
    row: str
    column: str
    message: str

    def __str__(self) -> str:
        return f"{self.file}, {self.row}, column {self.column}: {self.message}"


Place = tuple[str, int]
"""File name and line number of a row."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A reference as read, with the place of every row by (table, key) and the cells that could not be read."""

    reference: Reference
    places: Mapping[tuple[str, object], Place]
    problems: tuple[Problem, ...]


def load_reference(overlay: Path | None = None) -> Reference:
    """The packaged tables, with the rows of `overlay`, a directory of files named alike, added or replaced by key.

    Raises InputError when the overlay holds an unknown file or column, or rows that `check_reference` refuses.
    The packaged tables alone are read once and kept; the project's tests check them.
    """
    if overlay is None:
        return _packaged()
    from wetmount.reference.check import check_reading

    reading = read_reference(overlay)
    problems = check_reading(reading)
    if problems:
        first, more = problems[0], len(problems) - 1
        ending = f" (and {more} more; see `wetmount reference check`)" if more else ""
        raise InputError(f"{first.row}: {first.message}{ending}", file=first.file, field=first.column)
    return reading.reference


@lru_cache(maxsize=1)
def _packaged() -> Reference:
    reading = read_reference(None)
    for problem in reading.problems:
        raise InputError(f"{problem.row}: {problem.message}", file=problem.file, field=problem.column)
    cycle = predisposition_cycle(reading.reference.predispositions)
    if cycle:
        raise InputError(
            f"conditions open the way for each other in a circle: {' → '.join(cycle)}",
            file="predispositions.csv",
            field="parent",
        )
    return reading.reference


def read_reference(overlay: Path | None) -> Reading:
    """Reads without judging: what cannot be read is listed as a problem and left out."""
    if overlay is not None:
        _refuse_unknown_files(overlay)
    digest = hashlib.blake2b(digest_size=4)
    places: dict[tuple[str, object], Place] = {}
    problems: list[Problem] = []
    tables: dict[str, dict[object, Any]] = {}
    for name, table in TABLES.items():
        rows: dict[object, Any] = {}
        level_words = _LevelWords(tables.get("findings", {}).values())
        for folder in (TABLES_DIR, overlay):
            path = folder / f"{name}.csv" if folder is not None else None
            if path is None or not path.is_file():
                continue
            content = path.read_bytes()
            digest.update(content)
            found = _read_table(name, table, path, content, level_words, places, problems)
            rows.update(found)
        tables[name] = rows
    held = {
        name: MappingProxyType(rows) if TABLES[name].mapping else tuple(rows.values()) for name, rows in tables.items()
    }
    reference = Reference(version=f"{__version__}-{digest.hexdigest()}", **held)  # type: ignore[arg-type]
    return Reading(reference, places, tuple(problems))


def _refuse_unknown_files(overlay: Path) -> None:
    if not overlay.is_dir():
        raise InputError("no such directory; an overlay is a directory of CSV files", file=str(overlay))
    for path in sorted(overlay.iterdir()):
        if path.name.startswith("."):
            continue
        if path.suffix != ".csv" or path.stem not in TABLES:
            raise InputError(
                f"no table of this name; accepted are {', '.join(f'{name}.csv' for name in TABLES)}", file=str(path)
            )


class _LevelWords(dict[tuple[str, str], int]):
    """(finding, word) → place of the word in the finding's scale."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        super().__init__(((f.id, word), place) for f in findings for place, word in enumerate(f.levels))


def _read_table(
    name: str,
    table: Table,
    path: Path,
    content: bytes,
    level_words: _LevelWords,
    places: dict[tuple[str, object], Place],
    problems: list[Problem],
) -> dict[object, Any]:
    """Rows of one file by key. Works column by column, which is several times faster than cell by cell."""
    file = path.name if path.parent == TABLES_DIR else str(path)
    columns = table.columns.items()
    lines, cells = _raw_columns(file, content, [*table.columns], problems)
    values: list[list[Any]] = []
    bad: set[int] = set()
    by_name = {column: texts for (column, _), texts in zip(columns, cells, strict=True)}
    finding_column = by_name.get("finding", by_name.get("from_finding", ()))
    for (column, kind), texts in zip(columns, cells, strict=True):
        convert = _CONVERTERS.get(kind)
        try:
            if convert is not None:
                values.append(list(map(convert, texts)))
            else:
                optional = kind.endswith("| None")
                pairs = zip(finding_column, texts, strict=True)
                values.append([level_words[pair] if pair[1] or not optional else None for pair in pairs])
        except (ValueError, KeyError):
            values.append(_cell_by_cell(file, lines, column, kind, texts, finding_column, level_words, problems, bad))
    keys = itemgetter(*(i for i, (column, _) in enumerate(columns) if column in table.key))
    rows: dict[object, Any] = {}
    for index, row in enumerate(zip(*values, strict=True)):
        if index in bad:
            continue
        key = keys(row)
        if key in rows:
            problems.append(
                Problem(
                    file,
                    f"line {lines[index]}",
                    ", ".join(table.key),
                    f"the same key as line {places[name, key][1]}; a key stands once in a file",
                )
            )
            continue
        rows[key] = table.row(*row)
        places[name, key] = (file, lines[index])
    return rows


def _raw_columns(
    file: str, content: bytes, columns: list[str], problems: list[Problem]
) -> tuple[list[int], list[tuple[str, ...]]]:
    """Line numbers and, for each column in turn, the texts of its cells; a column that the file lacks is empty."""
    try:
        reader = csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True)
        records = [(reader.line_num, record) for record in reader if record and not record[0].startswith("#")]
    except UnicodeDecodeError as error:
        raise InputError("not UTF-8 text; a table is a UTF-8 CSV file", file=file) from error
    except csv.Error as error:
        raise InputError(f"not a CSV file ({error})", file=file) from error
    if not records:
        return [], [() for _ in columns]
    header = records.pop(0)[1]
    for column in header:
        if column not in columns or header.count(column) > 1:
            raise InputError(f"unknown or repeated column; accepted are {', '.join(columns)}", file=file, field=column)
    whole = []
    for line, record in records:
        if len(record) == len(header):
            whole.append((line, record))
        else:
            problems.append(
                Problem(
                    file,
                    f"line {line}",
                    header[-1],
                    f"{len(record)} cells where the header names {len(header)} columns",
                )
            )
    by_name = dict(zip(header, zip(*(record for _, record in whole), strict=True), strict=True)) if whole else {}
    return [line for line, _ in whole], [by_name.get(column, ("",) * len(whole)) for column in columns]


def _cell_by_cell(
    file: str,
    lines: list[int],
    column: str,
    kind: str,
    texts: Iterable[str],
    finding_column: Iterable[str],
    level_words: _LevelWords,
    problems: list[Problem],
    bad: set[int],
) -> list[Any]:
    """The slow way round, taken only for a column with a fault, to name each cell that is wrong."""
    values: list[Any] = []
    findings = list(finding_column)
    for index, text in enumerate(texts):
        value: Any = None
        try:
            if kind in _CONVERTERS:
                value = _CONVERTERS[kind](text)
            elif text or not kind.endswith("| None"):
                value = level_words[findings[index], text]
        except (ValueError, KeyError):
            bad.add(index)
            accepted = _ACCEPTED.get(kind.removesuffix(" | None"))
            if accepted is None:
                words = [word for finding, word in level_words if finding == findings[index]]
                accepted = f"a level of {findings[index]} ({', '.join(words)})" if words else "a known finding"
            problems.append(Problem(file, f"line {lines[index]}", column, f"{text!r} where {accepted} is expected"))
        values.append(value)
    return values


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _flag(text: str) -> bool:
    return {"yes": True, "no": False}[text]


def _optional(convert: Callable[[str], Any]) -> Callable[[str], Any]:
    return lambda text: convert(text) if text else None


@cache
def _texts(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(_LIST_SEPARATOR) if part.strip())


def _numbers(text: str) -> tuple[float, ...]:
    return tuple(map(_number, _texts(text)))


_CONVERTERS: dict[str, Callable[[str], Any]] = {
    "str": str.strip,
    "str | None": _optional(str.strip),
    "float": _number,
    "float | None": _optional(_number),
    "int": int,
    "bool": _flag,
    "tuple[str, ...]": _texts,
    "tuple[float, ...]": _numbers,
}
_ACCEPTED = {
    "float": "a number",
    "int": "a whole number",
    "bool": "yes or no",
    "tuple[float, ...]": "a list of numbers separated by ;",
}


def predisposition_cycle(predispositions: Iterable[Predisposition]) -> tuple[str, ...]:
    """A circle of conditions each opening the way for the next, first repeated at the end; empty when there is none."""
    parents: dict[str, list[str]] = {}
    for row in predispositions:
        parents.setdefault(row.condition, []).append(row.parent)
    clear: set[str] = set()
    for start in parents:
        path: list[str] = []
        stack: list[Iterator[str]] = [iter((start,))]
        while stack:
            condition = next(stack[-1], None)
            if condition is None:
                stack.pop()
                if path:
                    clear.add(path.pop())
            elif condition in path:
                return tuple(reversed([*path[path.index(condition) :], condition]))
            elif condition not in clear:
                path.append(condition)
                stack.append(iter(parents.get(condition, ())))
    return ()
