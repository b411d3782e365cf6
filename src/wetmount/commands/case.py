"""`wetmount case`: begin a case file, check case files, and the file's schema."""

from __future__ import annotations

from pathlib import Path

import click

from wetmount.commands.common import case_paths, overlay_option
from wetmount.files import write_whole


@click.group(name="case")
def command() -> None:
    """Begin a case file, check it, or print the schema that it follows."""


@command.command(name="new")
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Write here instead of the screen."
)
@click.option("--host", metavar="NAME", help="Species or host group to begin with.")
def new(output: Path | None, host: str | None) -> None:
    """A commented case file to fill in: every part, with what is accepted."""
    from wetmount.case_template import new_case_template
    from wetmount.errors import InputError
    from wetmount.reference import load_reference

    text = new_case_template(load_reference(), host)
    if output is None:
        click.echo(text, nl=False)
        return
    if output.exists():
        raise InputError("is there already; name another file, or remove it first", file=str(output))
    write_whole(output, text)
    click.echo(f"Written: {output}")


@command.command(name="check")
@click.argument("file", nargs=-1, required=True)
@overlay_option
@click.pass_context
def check(ctx: click.Context, file: tuple[str, ...], overlay: Path | None) -> None:
    """List everything that is wrong or doubtful in case files.

    The exit status is 2 when one of them cannot be used.
    """
    from wetmount.casefile import check_case
    from wetmount.reference import load_reference

    reference = load_reference(overlay)
    usable = True
    for path in case_paths(file):
        problems = check_case(path, reference)
        fatal = any(problem.fatal for problem in problems)
        usable = usable and not fatal
        for problem in problems:
            click.echo(
                str(problem) if problem.fatal else f"{problem} (a note: the file can be used)", err=problem.fatal
            )
        if not fatal:
            click.echo(f"{path}: can be weighed up")
    if not usable:
        ctx.exit(2)


@command.command(name="schema")
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Write here instead of the screen."
)
def schema(output: Path | None) -> None:
    """The JSON Schema of a case file, TOML or JSON alike."""
    import json

    from wetmount.casefile import json_schema
    from wetmount.reference import load_reference

    text = json.dumps(json_schema(load_reference()), indent=2, ensure_ascii=False) + "\n"
    if output is None:
        click.echo(text, nl=False)
    else:
        write_whole(output, text)
        click.echo(f"Written: {output}")
