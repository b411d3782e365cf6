"""The command `wetmount`. Each subcommand lives in its own module under `commands` and is imported when it is named."""

from __future__ import annotations

import logging
import os
import sys
import time
from importlib import import_module
from typing import Any

import click

import wetmount
from wetmount.errors import InputError

# In the order of the work. Command name -> module under wetmount.commands that holds a click command named `command`.
COMMANDS = {
    "first-aid": "first_aid",
    "water": "water",
    "count": "count",
    "identify": "identify",
    "sample": "sample",
    "weigh": "weigh",
    "forecast": "forecast",
    "volume": "volume",
    "dose": "dose",
    "plan": "plan",
    "origin": "origin",
    "report": "report",
    "case": "case",
    "reference": "reference",
    "open": "open",
    "backup": "backup",
    "restore": "restore",
    "export": "export",
    "import": "import_",
    "demo": "demo",
}


class LazyGroup(click.Group):
    """Subcommands that are imported on demand; bad input becomes one sentence and exit status 2."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"wetmount.commands.{COMMANDS[cmd_name]}").command
        return command

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except InputError as error:
            click.echo(f"wetmount: {error}", err=True)
            ctx.exit(2)


class _KeyValues(logging.Formatter):
    """One line an event: time, level, event and its fields as key=value, to read or to grep."""

    def format(self, record: logging.LogRecord) -> str:
        stamp = time.strftime("%Y-%m-%dT%H:%M:%S", time.localtime(record.created))
        fields = "".join(f" {key}={value!r}" for key, value in getattr(record, "fields", {}).items())
        return f"{stamp} {record.levelname.lower()} {record.getMessage()}{fields}"


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(wetmount.__version__, "--version", message="wetmount %(version)s")
@click.option("-v", "--verbose", is_flag=True, help="Say on standard error what is done and how long it takes.")
def cli(verbose: bool) -> None:
    """A workbench for the ornamental-fish health practitioner: from what was found to a cause that can be defended.

    Fish dying now? Begin with: wetmount first-aid
    """
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_KeyValues())
    logger = logging.getLogger("wetmount")
    logger.handlers[:] = [handler]
    logger.setLevel(logging.INFO if verbose else logging.WARNING)


def main() -> None:
    """Entry point of the installed command."""
    # The weigh-up's matrices are small: threads of the linear algebra cost more than they bring (1.3 s against 2.1 s).
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    cli(prog_name="wetmount")
