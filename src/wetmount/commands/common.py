"""What several commands need: options, case files from arguments, and lines on a terminal."""

from __future__ import annotations

import glob
import logging
import sys
from collections.abc import Callable, Sequence
from datetime import date as Date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from wetmount.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

    from wetmount.case import Case

Command = TypeVar("Command", bound=Callable[..., Any])

CASE_SUFFIXES = (".toml", ".json")

overlay_option = click.option(
    "--overlay",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Folder of your own rows that add to the reference or replace rows of it.",
)
look_option = click.option(
    "--look",
    "look_date",
    metavar="DATE",
    help="Use the look of this date (2026-10-03) instead of the last one.",
)

with_option = click.option(
    "--with",
    "there",
    multiple=True,
    metavar="THING",
    help="What is there: eggs, fry, gravid, not_eating, gill_damage, ulcers, invertebrates, plants, filter_bacteria.",
)
without_option = click.option(
    "--without",
    "absent",
    multiple=True,
    metavar="THING",
    help="Of those, what was looked for and is not there; rest = all others. What is not said counts as there.",
)


def seed_option(drawn: str) -> Callable[[Command], Command]:
    """The option `--seed`, whose help says what is `drawn` from it."""
    return click.option(
        "--seed", type=click.IntRange(0), default=1, show_default=True, metavar="NUMBER", help=f"Seed of {drawn}."
    )


def log(event: str, **fields: object) -> None:
    """Record an event with its fields, shown with --verbose."""
    logging.getLogger("wetmount").info(event, extra={"fields": fields})


def case_paths(arguments: tuple[str, ...]) -> list[Path]:
    """The case files that the arguments name: files as they are, folders for the case files in them, patterns."""
    paths: list[Path] = []
    for argument in arguments:
        path = Path(argument)
        if path.is_dir():
            found = sorted(p for p in path.iterdir() if p.suffix in CASE_SUFFIXES and p.is_file())
            if not found:
                raise InputError("holds no case file; a case file ends in .toml or .json", file=argument)
            paths += found
        elif not path.exists() and glob.has_magic(argument):
            found = sorted(Path(name) for name in glob.glob(argument, recursive=True))
            if not found:
                raise InputError("no file matches this pattern", file=argument)
            paths += found
        else:
            paths.append(path)
    return paths


def look_index(case: Case, wanted: str | None) -> int | None:
    """The place of the look of date `wanted` among the looks of a case; None (the last one) when none is wanted."""
    from wetmount.case import looks_of

    if wanted is None:
        return None
    try:
        day = Date.fromisoformat(wanted)
    except ValueError:
        raise InputError(f"{wanted!r} is no date; write it as 2026-10-03", field="--look") from None
    dates = [look.date for look in looks_of(case)]
    if day not in dates:
        there = ", ".join(d.isoformat() for d in dates if d is not None) or "none with a date"
        raise InputError(f"the case has no look of {wanted}; its looks: {there}", field="--look")
    return len(dates) - 1 - dates[::-1].index(day)


def lines(out: Console, rows: Sequence[tuple[str, str]]) -> None:
    """Print rows of a mark (a number, a percentage, nothing) and a text in markup that wraps beside it."""
    from rich.text import Text

    indent = max((len(mark) for mark, _ in rows), default=0) + 2
    for mark, text in rows:
        before = f"{mark:>{indent}} "
        for part in Text.from_markup(text).wrap(out, out.width - len(before)):
            part.rstrip()
            out.print(Text(before) + part)
            before = " " * len(before)


def console() -> Console:
    """A terminal to print tables on. Where the output is no terminal it is 100 columns wide, the same everywhere."""
    from rich.console import Console

    return Console(highlight=False, width=None if sys.stdout.isatty() else 100)
