"""`wetmount report`: a case as a document to print, a page or a message to paste."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from wetmount.commands.common import look_option, overlay_option, seed_option
from wetmount.errors import InputError

if TYPE_CHECKING:
    from wetmount.commands.weighed import Weighed
    from wetmount.reference import Reference

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
@seed_option("the redraws behind firmness")
@overlay_option
def command(
    case: Path,
    output: Path,
    teaching: bool,
    paper: Literal["a4", "letter"],
    look_date: str | None,
    seed: int,
    overlay: Path | None,
) -> None:
    """Write the report on a case, to print, to show or to paste.

    What was seen, what it probably is and how sure, what to do now; then the evidence, with the source of every figure.
    """
    if output.suffix.lower() not in FORMATS:
        raise InputError(f"has an ending that is no report; use {', '.join(FORMATS)}", file=str(output))
    from wetmount.commands.weighed import weigh_file
    from wetmount.reference import load_reference

    reference = load_reference(overlay)
    weighed = weigh_file(case, reference, look_date=look_date, seed=seed)
    write(weighed, reference, output, teaching=teaching, paper=paper)
    click.echo(f"Written: {output}")


def write(
    weighed: Weighed, reference: Reference, path: Path, *, teaching: bool = False, paper: Literal["a4", "letter"] = "a4"
) -> None:
    """Write the report on a weighed case; the ending of `path` decides its kind.

    Raises InputError when the libraries of the extra `report` are not installed.
    """
    try:
        from wetmount.report import write_report

        write_report(weighed.case, weighed.weighup, reference, path, teaching=teaching, paper=paper)
    except ModuleNotFoundError as error:
        raise InputError(f"the report needs {error.name}, which is not installed; install wetmount[report]") from error
