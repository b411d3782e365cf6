"""`wetmount backup`: the whole casebook into one file, also while it is open."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(name="backup")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--data", type=click.Path(path_type=Path, file_okay=False), metavar="DIR", help="Folder of the casebook.")
def command(file: Path, data: Path | None) -> None:
    """Write the whole casebook, with its pictures, to FILE and read it back.

    The casebook may be open meanwhile. The file is not encrypted: keep it where only you can read it.
    """
    from wetmount.casebook import terminal

    folder = terminal.use(data)
    terminal.check_there(folder)
    from wetmount.casebook.backup import make_backup

    made = make_backup(file.expanduser().absolute(), folder)
    click.echo(
        f"{file}: {terminal.how_many(made.cases, 'case')} and {terminal.how_many(made.files, 'file')}, "
        f"{made.bytes / 1e6:.1f} MB, written and read back."
    )
    for name in made.missing:
        click.echo(f"wetmount: the casebook names {name}, which is not on the disk and so not in the backup", err=True)
