"""The case file: TOML by hand, JSON to exchange, read into a `Case` and written back.

Reading goes in four steps, each of which reports in one sentence what it could not use:
bytes → text (size, encoding) → plain data (TOML or JSON) → records (`case_shape`) → ids, levels and quantities
(`case_check`).
`read_case` raises the first problem as an `InputError`; `check_case` gathers all of them, and notes besides.
"""

from __future__ import annotations

import datetime
import json
import os
import re
import tomllib
from pathlib import Path
from typing import Any, Literal

import msgspec

from wetmount.case import FORMAT, Case
from wetmount.case_check import Problem, check_content, shorten
from wetmount.case_schema import json_schema as json_schema
from wetmount.case_shape import fit_case, kind_word, lower_first
from wetmount.errors import InputError
from wetmount.files import write_whole
from wetmount.reference import Reference

MAX_BYTES = 4_000_000
"""A case of a year with hundreds of examinations is under 1 MB; pictures are named in a case, not held in it."""

MAX_DEPTH = 24
"""A case nests 6 deep. Deeper data is no case, and would only exhaust the reader."""

# A dotted key nests as deep as it has dots, and the reader of the standard library takes memory by its square.
_KEY_PART = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*"""
_DEEP_KEY = re.compile(rf"(?:^|[{{,\[])[ \t]*(?:{_KEY_PART}){{{MAX_DEPTH}}}", re.MULTILINE)

Kind = Literal["toml", "json"]


def read_case(path: str | Path, reference: Reference) -> Case:
    """Read one case file. Raises `InputError` with the first problem found."""
    return read_case_text(_text_of(Path(path)), kind_of(path), str(path), reference)


def read_case_text(text: str, kind: Kind, name: str, reference: Reference) -> Case:
    """Read a case from text; `name` stands for the file in messages. Raises `InputError` with the first problem."""
    case, problems = _read(text, kind, name, reference)
    for problem in problems:
        if problem.fatal:
            raise problem.error()
    assert case is not None, "without a fatal problem there is a case"
    return case


def check_case(path: str | Path, reference: Reference) -> tuple[Problem, ...]:
    """All problems (fatal) and notes (not fatal) of a case file. Never raises `InputError`."""
    try:
        text = _text_of(Path(path))
    except InputError as error:
        return (Problem(str(path), error.field, error.message),)
    return check_case_text(text, kind_of(path), str(path), reference)


def check_case_text(text: str, kind: Kind, name: str, reference: Reference) -> tuple[Problem, ...]:
    """As `check_case`, of text."""
    return _read(text, kind, name, reference)[1]


def case_to_dict(case: Case) -> dict[str, Any]:
    """The case as plain tables, lists, text and numbers, without what was left out: the shape of the file."""
    data: dict[str, Any] = msgspec.to_builtins(case)
    return {"format": FORMAT, **data}


def write_case_json(case: Case, path: str | Path) -> None:
    """Write the case as JSON (UTF-8, indented). The file appears whole or not at all."""
    write_whole(path, json.dumps(case_to_dict(case), ensure_ascii=False, indent=2) + "\n")


def kind_of(path: str | Path) -> Kind:
    """JSON for a name that ends in .json, else TOML."""
    return "json" if Path(path).suffix.lower() == ".json" else "toml"


def _read(text: str, kind: Kind, name: str, reference: Reference) -> tuple[Case | None, tuple[Problem, ...]]:
    try:
        data = _data_of(text, kind, name)
    except InputError as error:
        return None, (Problem(name, error.field, error.message),)
    case, problems = fit_case(data, name)
    if case is not None:
        problems += check_content(case, name, reference)
    return case, tuple(problems)


# --- bytes and text ---------------------------------------------------------------------------------------------------


def _text_of(path: Path) -> str:
    name = str(path)
    try:
        if path.is_dir():
            raise InputError("is a folder; a case is a TOML or JSON file", file=name)
        if not path.is_file() and path.exists():
            raise InputError("is not a regular file; a case is a TOML or JSON file", file=name)
        # The size is asked before anything is read, and the read is bounded in case the file grows meanwhile.
        with path.open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            raw = b"" if size > MAX_BYTES else file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise InputError("there is no such file", file=name) from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise InputError(f"cannot be read ({getattr(error, 'strerror', None) or error})", file=name) from None
    if max(size, len(raw)) > MAX_BYTES:
        raise InputError(
            f"is too large ({size / 1e6:.1f} MB); a case file has at most {MAX_BYTES / 1e6:.0f} MB "
            "and names its pictures instead of holding them",
            file=name,
        )
    if not raw.strip():
        raise InputError(f"is empty; the smallest case is {_SMALLEST}", file=name)
    if b"\x00" in raw:
        raise InputError("is not text; a case is a TOML or JSON file in UTF-8", file=name)
    try:
        return raw.decode("utf-8-sig")  # some editors put a byte order mark in front
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise InputError(f"is not UTF-8 text (line {line}); save it as UTF-8", file=name) from None


_SMALLEST = 'format = 1, [host] group = "…" and a [findings] table'


def _data_of(text: str, kind: Kind, name: str) -> dict[str, Any]:
    too_deep = InputError(f"is nested too deeply; a case nests at most {MAX_DEPTH} levels", file=name)
    if kind == "toml" and _DEEP_KEY.search(text):
        raise too_deep
    try:
        if kind == "toml":
            data: Any = tomllib.loads(text)
        else:
            data = json.loads(text, object_pairs_hook=_no_duplicates, parse_constant=_no_constant)
    except RecursionError:
        raise too_deep from None
    except InputError as error:
        raise InputError(error.message, file=name, field=error.field) from None
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise InputError(f"is not valid JSON at {where} ({lower_first(error.msg)})", file=name) from None
    except ValueError as error:  # tomllib's, and numbers of thousands of digits in either
        raise InputError(f"is not valid {kind.upper()} ({_toml_words(str(error))})", file=name) from None
    if not isinstance(data, dict):
        raise InputError(f"holds {kind_word(data)}, not a case; the smallest case is {_SMALLEST}", file=name)
    if not _shallow(data, MAX_DEPTH):
        raise too_deep
    plain: dict[str, Any] = _plain(data)
    return plain


def _no_duplicates(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for key, value in pairs:
        if key in table:
            raise InputError("stands twice in the same table; each key is accepted once", field=shorten(key))
        table[key] = value
    return table


def _no_constant(word: str) -> Any:
    raise InputError(f"holds {word}, which is no number of JSON; leave out what was not measured")


def _toml_words(message: str) -> str:
    """tomllib's message, with the two that puzzle people said plainly."""
    message = message.replace("Cannot overwrite a value", "a key stands twice in the same table")
    message = re.sub(r"Cannot declare \((.*?),?\) twice", r"the table \1 stands twice", message)
    return lower_first(shorten(message, 200))


def _shallow(data: Any, depth: int) -> bool:
    if not isinstance(data, dict | list):
        return True
    return depth > 0 and all(_shallow(one, depth - 1) for one in (data.values() if isinstance(data, dict) else data))


def _plain(data: Any) -> Any:
    """TOML's own dates and times as the text that JSON has for them, so that both formats meet one reader."""
    if isinstance(data, dict):
        return {key: _plain(value) for key, value in data.items()}
    if isinstance(data, list):
        return [_plain(value) for value in data]
    if isinstance(data, datetime.time):
        return data.isoformat(timespec="minutes")
    if isinstance(data, datetime.date):  # datetime.datetime too
        return data.isoformat()
    return data
