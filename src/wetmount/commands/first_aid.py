"""`wetmount first-aid`: what to do in the next ten minutes, before anything is weighed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wetmount.commands.common import console, lines, overlay_option

if TYPE_CHECKING:
    from rich.console import Console

    from wetmount.first_aid import RedFlagSeen, Step


@click.command(name="first-aid")
@click.argument("flag", nargs=-1)
@click.option(
    "--case",
    "case_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Take the red flags from a case file, together with those named.",
)
@overlay_option
def command(flag: tuple[str, ...], case_file: Path | None, overlay: Path | None) -> None:
    """Fish are dying now: what to do in the next ten minutes, in order.

    FLAG is one or more red flags, such as gasping_surface. Without any, the red flags are listed.
    """
    from wetmount.first_aid import first_aid, first_aid_for_look, red_flags
    from wetmount.reference import load_reference

    reference = load_reference(overlay)
    out = console()
    if not flag and case_file is None:
        out.print("Which of these are so? Name them: wetmount first-aid FLAG…\n")
        for row in reference.red_flags.values():
            out.print(f"  {row.id:<28} {row.name}")
        return
    if case_file is None:
        up = red_flags(reference, named=flag)
        steps = first_aid(up, reference)
    else:
        from wetmount.case import looks_of
        from wetmount.casefile import read_case
        from wetmount.evidence import gather_evidence

        case = read_case(case_file, reference)
        up, steps = first_aid_for_look(case, looks_of(case)[-1], gather_evidence(case, reference), reference, flag)
    if up:
        print_first_aid(out, up, steps)
    else:
        out.print("No red flag is up in this case: go on with the weigh-up.")


def print_first_aid(out: Console, flags: Sequence[RedFlagSeen], steps: Sequence[Step]) -> None:
    """The red flags that are up and the steps against them, numbered."""
    out.print(f"[red]{'; '.join(flag.name for flag in flags).capitalize()}.[/]")
    lines(out, [(f"{step.order}.", step.text) for step in steps])
