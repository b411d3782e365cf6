"""`wetmount restore`: a backup back into a casebook."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(name="restore")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--data",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Folder of the casebook; made when it is not there.",
)
def command(file: Path, data: Path | None) -> None:
    """Put the casebook of a backup FILE back.

    Everything in FILE is checked before anything is touched. The casebook that lies in the folder is kept whole beside
    the restored one, in a folder named before-restore-….
    """
    from wetmount.casebook import terminal

    folder = terminal.use(data)
    from django.db import DatabaseError

    from wetmount.casebook import start
    from wetmount.casebook.backup import restore
    from wetmount.errors import InputError

    try:
        done = restore(file.expanduser(), folder)
    except DatabaseError as error:
        raise InputError(f"cannot be opened ({' '.join(str(error).split())})", file=start.whereabouts(folder)) from None
    click.echo(
        f"Restored {terminal.how_many(done.cases, 'case')} and {terminal.how_many(done.files, 'file')} to "
        f"{start.whereabouts(folder)}."
    )
    if done.aside is not None:
        click.echo(f"The casebook that was there before lies in {done.aside}")
