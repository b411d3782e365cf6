"""`wetmount export`: cases with their pictures as one archive, or the list of cases as a table."""

from __future__ import annotations

from pathlib import Path

import click

from wetmount.errors import InputError


@click.command(name="export")
@click.argument("cases", nargs=-1, metavar="CASE…")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--all", "every", is_flag=True, help="All cases that are not deleted.")
@click.option("--table", is_flag=True, help="Write only the list of cases, as CSV for a spreadsheet.")
@click.option("--room", metavar="NAME", help="A whole fish room instead, as one room file ending in .toml.")
@click.option("--data", type=click.Path(path_type=Path, file_okay=False), metavar="DIR", help="Folder of the casebook.")
def command(cases: tuple[str, ...], file: Path, every: bool, table: bool, room: str | None, data: Path | None) -> None:
    """Write cases, by their numbers, with their pictures to the archive FILE.

    Each is in it as a case file that every command reads, with what else the casebook knows beside it. A fish room
    goes by itself, with --room, as a room file that `wetmount origin` reads.
    """
    if room is not None:
        if cases or every or table:
            raise InputError("a room is written by itself; leave out cases, --all and --table", field="--room")
        _write_room(room, file.expanduser(), data)
        return
    numbers = [_number(one) for one in cases]
    if every == bool(numbers):
        raise InputError("name the numbers of cases, or --all", field="CASE")
    from wetmount.casebook import start, terminal

    folder = terminal.use(data)
    terminal.check_there(folder)
    start.prepare(folder)
    from wetmount.casebook import case_table
    from wetmount.casebook.models import Case
    from wetmount.casebook.services.archive import export_cases
    from wetmount.files import write_whole

    found = Case.objects.all() if every else Case.objects.filter(number__in=numbers)
    there = set(found.values_list("number", flat=True))
    for number in numbers:
        if number not in there:
            raise InputError(f"there is no case {number}", field="CASE")
    if table:
        write_whole(file.expanduser(), "".join(case_table.lines(found)))
        click.echo(f"{file}: {terminal.how_many(len(there), 'case')}.")
        return
    done = export_cases(found.order_by("number"), file.expanduser().absolute())
    click.echo(f"{file}: {terminal.how_many(done, 'case')}, written and read back.")


def _write_room(name: str, file: Path, data: Path | None) -> None:
    if file.suffix.lower() != ".toml":
        raise InputError("a room is written to a name ending in .toml", file=str(file))
    from wetmount.casebook import start, terminal

    folder = terminal.use(data)
    terminal.check_there(folder)
    start.prepare(folder)
    from wetmount.casebook.models import FishRoom
    from wetmount.casebook.services.room_file import room_text
    from wetmount.files import write_whole

    room = FishRoom.objects.filter(name=name).first()
    if room is None:
        there = ", ".join(FishRoom.objects.values_list("name", flat=True)[:20]) or "none"
        raise InputError(f"there is no room {name!r}; there are: {there}", field="--room")
    write_whole(file, room_text(room))
    click.echo(f"{file}: {room.name}. `wetmount import --room` brings it into another casebook.")


def _number(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) < 10):
        raise InputError(f"{text!r} is no number of a case, such as 12", field="CASE")
    return int(text)
