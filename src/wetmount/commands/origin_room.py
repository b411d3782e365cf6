"""The room file on the command line: begin one, check it, look at a spreadsheet before it comes in."""

from __future__ import annotations

from datetime import date as Date
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wetmount.commands.common import overlay_option
from wetmount.errors import InputError

if TYPE_CHECKING:
    from wetmount.origin.room import Room
    from wetmount.origin.spreadsheet import Preview
    from wetmount.reference import Reference

DEMO = "demo"

condition_option = click.option(
    "--condition", metavar="ID", help="The condition that is followed, instead of the room's own."
)
until_option = click.option("--until", metavar="DATE", help="Only what was known by the end of this day.")
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


def filed_room(where: str, overlay: Path | None) -> tuple[Room, Reference]:
    """The room that an argument names, with what it says about every condition, and the reference."""
    from wetmount.origin.room_file import demo_room, read_room
    from wetmount.reference import load_reference

    reference = load_reference(overlay)
    if where == DEMO and not Path(where).exists():
        return demo_room(), reference
    return read_room(where, reference), reference


def room_about(where: str, overlay: Path | None, condition: str | None = None) -> tuple[Room, Reference]:
    """The room that an argument names, as evidence about one condition (None: the room's own), and the reference."""
    from wetmount.case_check import nearest

    room, reference = filed_room(where, overlay)
    wanted = condition or room.condition
    if wanted is None:
        return room, reference
    if wanted not in reference.conditions:
        guess = nearest(wanted, reference.conditions) or "`wetmount reference show conditions` lists them"
        raise InputError(f'"{wanted}" is no condition of the reference; {guess}', field="--condition")
    return room.of(wanted), reference


def day_of(text: str | None, option: str) -> Date | None:
    """A date from an option, or None without one."""
    if text is None:
        return None
    try:
        return Date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{text!r} is no date; write it as 2026-10-03", field=option) from None


@click.command(name="new")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--name", default="Fish room", show_default=True, help="What the room is called.")
@click.option("--demo", is_flag=True, help="Filled with the invented Harbour Row Fish Room, to look at and to change.")
def new(folder: Path, name: str, demo: bool) -> None:
    """Begin a room: a FOLDER with room.toml and a CSV file for each table, its columns in the first line."""
    from wetmount.origin.room import Room
    from wetmount.origin.room_file import demo_room, write_room

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError("is there already and not empty; name another folder", file=str(folder))
    today = Date.today()
    room = demo_room() if demo else Room(name, today - timedelta(days=28), today)
    for path in write_room(room, folder):
        click.echo(f"Written: {path}")


@click.command(name="check")
@click.argument("room")
@overlay_option
@click.pass_context
def check(ctx: click.Context, room: str, overlay: Path | None) -> None:
    """List everything that is wrong or doubtful in a room: each row with its reason.

    The exit status is 2 when the room cannot be used.
    """
    from wetmount.origin.room_file import check_room_file, demo_room, read_room
    from wetmount.reference import load_reference

    reference = load_reference(overlay)
    is_demo = room == DEMO and not Path(room).exists()
    problems = () if is_demo else check_room_file(room, reference)
    for problem in problems:
        click.echo(str(problem) if problem.fatal else f"{problem} (a note: the room can be used)", err=problem.fatal)
    if any(problem.fatal for problem in problems):
        ctx.exit(2)
    found = demo_room() if is_demo else read_room(room, reference)
    click.echo(
        f"{found.name}, {found.first} to {found.last}: {len(found.tanks)} tanks, {len(found.batches)} batches, "
        f"{len(found.moves)} moves, {len(found.contacts)} contacts, {len(found.sightings)} sightings, "
        f"{len(found.checks)} checks. Can be used."
    )


@click.command(name="stock")
@click.argument("room")
@click.option("--on", "on", metavar="DATE", help="At the end of this day; the last of the record without.")
@json_option
@overlay_option
def stock(room: str, on: str | None, as_json: bool, overlay: Path | None) -> None:
    """Which fish stand in which tank on a day, by everything that arrived, moved, died and left."""
    from wetmount.commands.common import console, lines
    from wetmount.origin.stock import stock_in_time

    found, _ = filed_room(room, overlay)
    day = day_of(on, "--on") or found.last
    if not found.first <= day <= found.last:
        raise InputError(f"{day} is outside the record ({found.first} to {found.last})", field="--on")
    held = stock_in_time(found)
    tanks = [tank.id for tank in found.tanks]
    if as_json:
        import msgspec

        rows = [{"tank": tank, "fish": held.between(tank, day), "batches": held.batches(tank, day)} for tank in tanks]
        head = {"schema": "wetmount.origin.stock/1", "room": found.name, "on": day, "counted": held.counted}
        click.echo(msgspec.json.encode(head | {"tanks": rows}))
        return
    out = console()
    out.print(f"[bold]{found.name}[/], {day}")
    if not held.counted:
        out.print("The room names no batches, so that nothing is known of its fish.")
        return
    lots = {tank: held.batches(tank, day) for tank in tanks}
    lines(
        out,
        [(tank, ", ".join(f"{count} {batch}" for batch, count in lots[tank].items())) for tank in tanks if lots[tank]],
    )
    empty = [tank for tank in tanks if not lots[tank]]
    if empty:
        out.print(f"Without fish: {', '.join(empty)}.")


@click.command(name="import")
@click.argument("sheet", type=click.Path(path_type=Path))
@click.argument("room")
@click.option("--table", required=True, metavar="NAME", help="The table its rows belong to: tanks, moves, …")
@click.option("--sheet", "page", metavar="NAME", help="The sheet of an XLSX file; the first one without.")
@click.option("--write", is_flag=True, help="Add the rows to the room's folder, when none of them is bad.")
@click.option("--skip-bad", is_flag=True, help="With --write: add the good rows and leave the bad ones out.")
@json_option
@overlay_option
@click.pass_context
def import_(
    ctx: click.Context,
    sheet: Path,
    room: str,
    table: str,
    page: str | None,
    write: bool,
    skip_bad: bool,
    as_json: bool,
    overlay: Path | None,
) -> None:
    """What a spreadsheet (CSV or XLSX) would bring into a table of a room, and every bad row with its reasons.

    Nothing is written without --write. The exit status is 2 when rows are bad and were not left out on purpose.
    """
    from wetmount.files import write_whole
    from wetmount.origin.room_check import check_room
    from wetmount.origin.room_file import table_csv
    from wetmount.origin.spreadsheet import preview_sheet

    found, reference = filed_room(room, overlay)
    seen = preview_sheet(sheet, table, found, sheet=page, reference=reference)
    if as_json:
        import msgspec

        click.echo(msgspec.json.encode({"schema": "wetmount.origin.import/1", "preview": seen}))
    else:
        _say(seen)
    if write and (skip_bad or not seen.bad):
        target = _table_file(room, table, found)
        whole = seen.into(found)
        for clash in check_room(whole, reference):
            if clash.fatal:
                raise InputError(f"would no longer fit together: {clash.table}, {clash.message}", file=room)
        write_whole(target, table_csv(whole, table))
        click.echo(f"Written: {target}; rows added: {len(seen.good)}", err=as_json)
    if seen.bad and not (write and skip_bad):
        ctx.exit(2)


def _table_file(room: str, table: str, found: Room) -> Path:
    """The CSV file of a table in a room's folder. Raises InputError when the table stands elsewhere."""
    from wetmount.origin.room_rows import rows_of

    folder = Path(room)
    target = folder / f"{table}.csv"
    if not folder.is_dir():
        raise InputError("is no folder; rows are added to the CSV files of a folder only", file=room)
    if not target.exists() and rows_of(found, table):
        raise InputError(f"keeps {table} in room.toml; move them to {target.name}, then add rows", file=room)
    return target


def _say(seen: Preview) -> None:
    said = ", ".join(f"{head} as {column}" for head, column in seen.taken.items() if head != column)
    rows = "1 row" if len(seen.good) == 1 else f"{len(seen.good)} rows"
    click.echo(f"{seen.file}: {rows} can come into {seen.table}, {len(seen.bad)} cannot.")
    if said:
        click.echo(f"Read {said}.")
    if seen.passed_over:
        click.echo(f"Passed over: {', '.join(seen.passed_over)}.")
    for row in seen.bad:
        for why in row.why:
            click.echo(f"row {row.row}: {why}", err=True)
    for note in seen.notes:
        click.echo(f"{note} (a note)")
