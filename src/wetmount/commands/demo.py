"""`wetmount demo`: the demonstration case from first aid to the printed report."""

from __future__ import annotations

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
    """Weigh an invented case up and write its report: rainbowfish of Harbour Row that rub and breathe fast."""
