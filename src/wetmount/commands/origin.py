"""`wetmount origin`: a fish room in time, what its ill tanks had in common, and what can have reached what."""

from __future__ import annotations

import click

from wetmount.commands.origin_control import control, round_command
from wetmount.commands.origin_room import check, import_, new, stock
from wetmount.commands.origin_tables import chains, curve, exposures
from wetmount.commands.origin_trace import trace_command


class _InOrderOfWork(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)


@click.group(name="origin", cls=_InOrderOfWork)
def command() -> None:
    """Where it came from: what ill tanks had in common, when they caught it, what can have reached them.

    ROOM is a room file or folder; `demo` stands for the invented Harbour Row Fish Room.
    """


for _part in (new, check, import_, stock, exposures, curve, chains, trace_command, control, round_command):
    command.add_command(_part)
