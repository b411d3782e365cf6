"""`wetmount weigh`: case files in, causes out, as tables or as JSON."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wetmount.commands.common import case_paths, console, look_option, overlay_option, seed_option
from wetmount.errors import InputError

if TYPE_CHECKING:
    from wetmount.commands.weighed import Weighed
    from wetmount.reference import Reference

PROGRESS_EVERY = 100


@click.command(name="weigh")
@click.argument("case", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Print JSON, all causes in rank order, instead of tables.")
@click.option("--all", "show_all", is_flag=True, help="Show every cause in the table, however unlikely.")
@click.option("--evidence", "show_evidence", is_flag=True, help="List every finding used and how it came about.")
@click.option("--quick", is_flag=True, help="Causes and explanations only: no reasons, firmness or next examinations.")
@look_option
@seed_option("the redraws behind firmness")
@overlay_option
@click.pass_context
def command(
    ctx: click.Context,
    case: tuple[str, ...],
    as_json: bool,
    show_all: bool,
    show_evidence: bool,
    quick: bool,
    look_date: str | None,
    seed: int,
    overlay: Path | None,
) -> None:
    """Weigh cases up: the probable causes, how firm, why, what to examine next.

    CASE is a case file (TOML or JSON), a folder of them or a pattern. One that cannot be used is reported, the others
    are still weighed, and the exit status is then 2.
    """
    from wetmount.commands.weigh_json import document, encode_case
    from wetmount.commands.weighed import weigh_file
    from wetmount.reference import load_reference

    reference = load_reference(overlay)
    tell = None if as_json else _teller(reference, show_all, show_evidence)
    encoded: list[bytes] = []
    failures: list[dict[str, str]] = []
    paths = case_paths(case)
    for path in _with_progress(paths):
        try:
            weighed = weigh_file(path, reference, look_date=look_date, seed=seed, quick=quick)
        except InputError as error:
            click.echo(f"wetmount: {error}", err=True)
            failures.append({"file": str(path), "message": str(error)})
            continue
        if tell is None:
            encoded.append(encode_case(weighed))
        else:
            tell(weighed)
    if as_json:
        click.echo(document(encoded, failures))
    if len(paths) > 1:
        click.echo(f"{len(paths) - len(failures)} of {len(paths)} cases weighed up.", err=True)
    if failures:
        ctx.exit(2)


def _teller(reference: Reference, show_all: bool, show_evidence: bool) -> Callable[[Weighed], None]:
    """Prints one weighed case as tables; what that takes is loaded only for people, not for JSON."""
    from wetmount.commands.weigh_tables import print_weighed

    out = console()
    return lambda weighed: print_weighed(out, weighed, reference, show_all=show_all, show_evidence=show_evidence)


def _with_progress(paths: list[Path]) -> Iterator[Path]:
    """The paths in turn, with progress on standard error: a bar for someone who watches, else a line now and then."""
    if len(paths) < 2 or not sys.stderr.isatty():
        for done, path in enumerate(paths):
            if done and done % PROGRESS_EVERY == 0:
                click.echo(f"{done} of {len(paths)} cases", err=True)
            yield path
        return
    from rich.console import Console
    from rich.progress import track

    yield from track(paths, description="Weighing up", console=Console(stderr=True), transient=True)
