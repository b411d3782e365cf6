"""`wetmount reference`: verify the tables, and show where a row comes from."""

from __future__ import annotations

from pathlib import Path

import click

from wetmount.commands.common import overlay_option


@click.group(name="reference")
def command() -> None:
    """The tables that every figure comes from: verify them, show a row."""


@command.command(name="check")
@overlay_option
@click.pass_context
def check(ctx: click.Context, overlay: Path | None) -> None:
    """Verify every table, and your own rows with --overlay.

    Columns, ids, ranges, joins, order, cycles and sources; what is wrong is named by file, row and column.
    """
    from wetmount.reference.check import check_reference

    problems = check_reference(overlay)
    for problem in problems:
        click.echo(str(problem), err=True)
    if problems:
        ctx.exit(2)
    click.echo("The reference is consistent.")


@command.command(name="show")
@click.argument("id")
@overlay_option
def show(id: str, overlay: Path | None) -> None:
    """A row by its ID, with everything that points to it and its sources."""
    from wetmount.reference import load_reference
    from wetmount.reference.show import show_row

    click.echo(show_row(load_reference(overlay), id))
