"""`wetmount demo`: the demonstration case from first aid to the printed report."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import click

DEMONSTRATION = "harbour_row_rack_a.toml"


@click.command(name="demo")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("out"),
    show_default=True,
    metavar="DIR",
    help="Folder for the case file and the report; made when it is not there.",
)
def command(out: Path) -> None:
    """Weigh an invented case up, rainbowfish that rub and breathe fast, and report on it."""
    from wetmount.commands.common import console
    from wetmount.commands.report import write
    from wetmount.commands.weigh_tables import print_weighed
    from wetmount.commands.weighed import weigh_file
    from wetmount.errors import InputError
    from wetmount.files import write_whole
    from wetmount.reference import load_reference

    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"the folder could not be made: {error.strerror}", file=str(out)) from error
    case = out / DEMONSTRATION
    write_whole(case, (resources.files("wetmount") / "examples" / DEMONSTRATION).read_bytes())
    reference = load_reference()
    weighed = weigh_file(case, reference)
    print_weighed(console(), weighed, reference)
    written = [case]
    for ending in (".pdf", ".txt"):
        written.append(case.with_suffix(ending))
        write(weighed, reference, written[-1])
    click.echo("\nAn invented case, weighed up. The case file, its report and a message to paste:")
    for path in written:
        click.echo(f"  {path}")
