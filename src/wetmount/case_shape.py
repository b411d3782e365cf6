"""Whether plain data has the shape of a case: keys and types, against the records of `case`.

`fit_case` tries the quick way first, which only says yes or no. When it says no, the slow way walks the data beside
the types of the records, gathers every fault with its place, drops what does not fit and keeps the rest, so that the
ids and levels of the rest can still be checked.
"""

from __future__ import annotations

import datetime
import json
import math
import re
from typing import Any

import msgspec
from msgspec import inspect

from wetmount.case import FORMAT, Case
from wetmount.case_check import MAX_PROBLEMS, Problem, more_is_wrong, nearest, shorten


def fit_case(data: dict[str, Any], file: str) -> tuple[Case | None, list[Problem]]:
    """The case in `data`, or as much of one as fits (None when too little does), and what did not fit."""
    version = _version_problem(data, file)
    if version is not None:
        return None, [version]
    try:
        case = msgspec.convert(data, Case)
        _refuse_infinite(data)
        return case, []
    except (msgspec.ValidationError, OverflowError) as error:
        problems: list[Problem] = []
        try:
            fitted = _fit(data, inspect.type_info(Case), "", file, problems)
        except _EnoughError:
            return None, problems
        if not problems:  # the two readings of the records disagree; say what the stricter one says
            return None, [Problem(file, None, lower_first(shorten(str(error), 200)))]
        return None if fitted is _DROPPED else msgspec.convert(fitted, Case), problems


def _version_problem(data: dict[str, Any], name: str) -> Problem | None:
    if "format" not in data:
        return Problem(name, "format", f"is missing; a case file begins with format = {FORMAT}")
    version = data["format"]
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        return Problem(name, "format", f"is {_show(version)}; format = {FORMAT} is accepted")
    if version > FORMAT:
        return Problem(name, "format", f"is {version}; this version of wetmount reads format {FORMAT}: upgrade it")
    return None


def _refuse_infinite(data: Any) -> None:
    """TOML can write inf and nan, which no quantity of a case can be."""
    values = data.values() if isinstance(data, dict) else data if isinstance(data, list) else ()
    for value in values:
        if isinstance(value, float) and not math.isfinite(value):
            raise msgspec.ValidationError("not finite")
        _refuse_infinite(value)


_DROPPED: Any = object()


class _EnoughError(Exception):
    """So much is wrong that the rest may wait."""


def _report(problems: list[Problem], file: str, field: str | None, message: str) -> None:
    problems.append(Problem(file, field, message))
    if len(problems) == MAX_PROBLEMS:
        problems.append(more_is_wrong(file))
        raise _EnoughError


def _fit(value: Any, kind: inspect.Type, path: str, file: str, problems: list[Problem]) -> Any:
    """`value` cut down to what fits `kind`; every piece that does not is reported and dropped."""
    if isinstance(kind, inspect.Metadata):
        return _fit(value, kind.type, path, file, problems)
    if isinstance(kind, inspect.UnionType):
        return _fit_union(value, kind, path, file, problems)
    if isinstance(kind, inspect.StructType) and isinstance(value, dict):
        return _fit_struct(value, kind, path, file, problems)
    if isinstance(kind, inspect.DictType) and isinstance(value, dict):
        entries = {k: _fit(v, kind.value_type, _join(path, k), file, problems) for k, v in value.items()}
        return {key: entry for key, entry in entries.items() if entry is not _DROPPED}
    if isinstance(kind, inspect.VarTupleType) and isinstance(value, list):
        items = [_fit(v, kind.item_type, f"{path}[{i}]", file, problems) for i, v in enumerate(value)]
        return [item for item in items if item is not _DROPPED]
    if _leaf_fits(value, kind):
        return value
    _report(problems, file, path or None, f"is {_show(value)}; accepted is {_accepted(kind)}")
    return _DROPPED


def _fit_union(value: Any, kind: inspect.UnionType, path: str, file: str, problems: list[Problem]) -> Any:
    if value is None and any(isinstance(choice, inspect.NoneType) for choice in kind.types):
        return None  # JSON's way to leave an entry out; never offered as a choice in messages
    choices = [_bare(choice) for choice in kind.types if not isinstance(choice, inspect.NoneType)]
    for choice in choices:
        if isinstance(choice, inspect.StructType | inspect.DictType) and isinstance(value, dict):
            return _fit(value, choice, path, file, problems)
        if isinstance(choice, inspect.VarTupleType) and isinstance(value, list):
            return _fit(value, choice, path, file, problems)
        if _leaf_fits(value, choice):
            return value
    accepted = " or ".join(_accepted(choice) for choice in choices)
    _report(problems, file, path or None, f"is {_show(value)}; accepted is {accepted}")
    return _DROPPED


def _fit_struct(value: dict[str, Any], kind: inspect.StructType, path: str, file: str, problems: list[Problem]) -> Any:
    fields = {field.name: field for field in kind.fields}
    kept: dict[str, Any] = {}
    for key, entry in value.items():
        if key not in fields:
            guess = nearest(key, fields) or f"accepted keys here are {', '.join(fields)}"
            _report(problems, file, _join(path, key), f"is no key of a case file; {guess}")
            continue
        fitted = _fit(entry, fields[key].type, _join(path, key), file, problems)
        if fitted is not _DROPPED:
            kept[key] = fitted
    complete = True
    for name, field in fields.items():
        if field.required and name not in kept:
            complete = False
            if name not in value:
                _report(problems, file, _join(path, name), f"is missing; accepted is {_accepted(field.type)}")
    return kept if complete else _DROPPED


def _leaf_fits(value: Any, kind: inspect.Type) -> bool:
    kind = _bare(kind)
    if isinstance(kind, inspect.StrType):
        return (
            isinstance(value, str)
            and (kind.min_length or 0) <= len(value) <= (kind.max_length or len(value))
            and (kind.pattern is None or re.search(kind.pattern, value) is not None)
        )
    if isinstance(kind, inspect.BoolType):
        return isinstance(value, bool)
    if isinstance(kind, inspect.IntType | inspect.FloatType):
        return (
            isinstance(value, int if isinstance(kind, inspect.IntType) else int | float)
            and not isinstance(value, bool)
            and _finite(value)
            and (kind.ge is None or value >= kind.ge)
            and (kind.le is None or value <= kind.le)
        )
    if isinstance(kind, inspect.LiteralType):
        return any(value == one and type(value) is type(one) for one in kind.values)
    if isinstance(kind, inspect.DateType):
        return isinstance(value, str) and _is_date(value)
    if isinstance(kind, inspect.TupleType):
        return (
            isinstance(value, list)
            and len(value) == len(kind.item_types)
            and all(_leaf_fits(one, item) for one, item in zip(value, kind.item_types, strict=True))
        )
    return False


def _finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number too large for a float
        return False


def _is_date(text: str) -> bool:
    try:
        return datetime.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


# --- words ------------------------------------------------------------------------------------------------------------


def _accepted(kind: inspect.Type) -> str:
    """What a value of this kind looks like, for the end of a sentence."""
    kind = _bare(kind)
    if isinstance(kind, inspect.UnionType):
        return " or ".join(_accepted(one) for one in kind.types if not isinstance(one, inspect.NoneType))
    if isinstance(kind, inspect.StrType):
        if kind.pattern:
            return 'a time of day like "14:10"'
        return f"text of at most {kind.max_length} characters" if kind.max_length else "text"
    if isinstance(kind, inspect.IntType | inspect.FloatType):
        noun = "a whole number" if isinstance(kind, inspect.IntType) else "a number"
        return noun if kind.ge is None else f"{noun} from {kind.ge} to {kind.le}"
    if isinstance(kind, inspect.BoolType):
        return "true or false"
    if isinstance(kind, inspect.LiteralType):
        return " or ".join(_show(one) for one in kind.values)
    if isinstance(kind, inspect.DateType):
        return "a date like 2026-10-03"
    if isinstance(kind, inspect.TupleType):
        return "two whole numbers like [2, 3]"
    if isinstance(kind, inspect.VarTupleType):
        return "a list"
    return "a table"


def _bare(kind: inspect.Type) -> inspect.Type:
    while isinstance(kind, inspect.Metadata):
        kind = kind.type
    return kind


def _show(value: Any) -> str:
    """A value as it stands in the file, cut short."""
    if isinstance(value, dict | list):
        return kind_word(value)
    if isinstance(value, bool) or value is None:
        return json.dumps(value)
    if isinstance(value, str):
        return f'"{shorten(value)}"'
    if isinstance(value, int) and value.bit_length() > 200:
        return "a very large number"
    return str(value)


def kind_word(value: Any) -> str:
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    return {str: "text", bool: "true or false", type(None): "null"}.get(type(value), "a number")


def lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]


def _join(path: str, key: str) -> str:
    key = shorten(key)
    return f"{path}.{key}" if path else key
