"""`wetmount import`: cases of an archive into a casebook."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(name="import")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--data", type=click.Path(path_type=Path, file_okay=False), metavar="DIR", help="Folder of the casebook.")
def command(file: Path, data: Path | None) -> None:
    """Bring in the cases of an archive FILE that `wetmount export` wrote, all of them or none.

    Fish rooms and tanks are found by their names, or made.
    """
    from wetmount.casebook import start, terminal

    folder = terminal.use(data)
    terminal.check_there(folder)
    start.prepare(folder)
    from wetmount.casebook import pairing
    from wetmount.casebook.services.archive import import_cases

    cases = import_cases(pairing.owner(), file.expanduser())
    for case in cases:
        click.echo(f"Case {case.number}: {case.title}")
    click.echo(f"{terminal.how_many(len(cases), 'case')} brought in.")
