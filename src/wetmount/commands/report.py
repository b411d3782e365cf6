"""`wetmount report`: a case as a document to print, a page or a message to paste."""

from __future__ import annotations

from pathlib import Path

import click

from wetmount.commands.common import look_option, overlay_option, seed_option
from wetmount.errors import InputError

FORMATS = (".pdf", ".html", ".txt")


@click.command(name="report")
@click.argument("case", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="FILE",
    required=True,
    help="Where to write. The ending decides: .pdf to print, .html for a page, .txt for a message to paste.",
)
@click.option("--teaching", is_flag=True, help="The edition for teaching: no names, more of the reasoning.")
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of the PDF's pages."
)
@look_option
@seed_option
@overlay_option
def command(
    case: Path, output: Path, teaching: bool, paper: str, look_date: str | None, seed: int, overlay: Path | None
) -> None:
    """Write the report on a case: what was seen, what it probably is, what to do, and every figure with its source."""
    if output.suffix.lower() not in FORMATS:
        raise InputError(f"has an ending that is no report; use {', '.join(FORMATS)}", file=str(output))
    from wetmount.commands.weighed import weigh_file
    from wetmount.reference import load_reference

    reference = load_reference(overlay)
    weighed = weigh_file(case, reference, look_date=look_date, seed=seed)
    write(weighed, reference, output, teaching=teaching, paper=paper)
    click.echo(f"Written: {output}")
