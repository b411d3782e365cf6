"""`wetmount import`: cases of an archive into a casebook."""

from __future__ import annotations

from pathlib import Path

import click

from wetmount.errors import InputError


@click.command(name="import")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--room", is_flag=True, help="FILE is a room file or folder; it becomes a new fish room.")
@click.option("--data", type=click.Path(path_type=Path, file_okay=False), metavar="DIR", help="Folder of the casebook.")
def command(file: Path, room: bool, data: Path | None) -> None:
    """Bring in the cases of an archive FILE that `wetmount export` wrote, all of them or none.

    Fish rooms and tanks are found by their names, or made. With --room a whole fish room comes in, from a room file
    as `wetmount export --room` and `wetmount origin` write it; bring it in before cases that lie in it.
    """
    from wetmount.casebook import start, terminal

    folder = terminal.use(data)
    terminal.check_there(folder)
    start.prepare(folder)
    from wetmount.casebook import pairing
    from wetmount.casebook.services.archive import import_cases
    from wetmount.casebook.services.refusals import Refused
    from wetmount.casebook.services.room_file import bring_in_room

    if room:
        try:
            made = bring_in_room(pairing.owner(), file.expanduser())
        except Refused as refused:
            raise InputError(str(refused).rstrip("."), file=str(file)) from None
        click.echo(f"{made.name}: {terminal.how_many(made.tanks.count(), 'tank')} brought in.")
        return
    cases = import_cases(pairing.owner(), file.expanduser())
    for case in cases:
        click.echo(f"Case {case.number}: {case.title}")
    click.echo(f"{terminal.how_many(len(cases), 'case')} brought in.")
