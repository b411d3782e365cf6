"""Tracing on the command line: where it came from, who has it, progress on standard error."""

from __future__ import annotations

import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date as Date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wetmount.commands.common import console, lines, overlay_option, seed_option
from wetmount.commands.origin_room import condition_option, json_option, room_about

if TYPE_CHECKING:
    from wetmount.origin.results import Candidate, Route, TankState, Trace
    from wetmount.origin.room import Room
    from wetmount.reference import Reference

SHOWN = 6
"""Candidates and routes that are printed without --all."""

seconds_option = click.option(
    "--seconds",
    type=click.FloatRange(min=0, min_open=True),
    metavar="S",
    help="Stop refining after so long; Ctrl-C stops it too, and what there is by then is shown.",
)


@contextmanager
def stopping(seconds: float | None) -> Iterator[Callable[[], bool]]:
    """A question, answered yes once the time is over or Ctrl-C was pressed; a second Ctrl-C ends the program."""
    ends = None if seconds is None else time.monotonic() + seconds
    pressed: list[bool] = []

    def press(number: int, frame: object) -> None:
        if pressed:
            raise KeyboardInterrupt
        pressed.append(True)
        click.echo("Stopping; what there is by now follows.", err=True)

    before = signal.signal(signal.SIGINT, press)
    try:
        yield lambda: bool(pressed) or (ends is not None and time.monotonic() >= ends)
    finally:
        signal.signal(signal.SIGINT, before)


def traced(room: Room, reference: Reference, seed: int, seconds: float | None) -> Trace:
    """The trace of a room, told on standard error while it is refined."""
    from wetmount.origin.tracing import trace

    def progress(part: Trace) -> None:
        leading = part.candidates[0]
        click.echo(
            f"{part.convergence.sweeps} sweeps: {leading.name} {leading.probability:.0%}, still refining", err=True
        )

    with stopping(seconds) as stop:
        return trace(room, reference, seed=seed, progress=progress, cancel=stop)


@click.command(name="trace")
@click.argument("room")
@click.option("--all", "everything", is_flag=True, help=f"Every candidate and route, not only the first {SHOWN}.")
@condition_option
@seconds_option
@json_option
@seed_option("the sampling")
@overlay_option
def trace_command(
    room: str,
    everything: bool,
    condition: str | None,
    seconds: float | None,
    as_json: bool,
    seed: int,
    overlay: Path | None,
) -> None:
    """Which delivery or resident fish brought it into ROOM, by which routes, and who has it already.

    "From outside the record" is always a candidate. Where the record cannot tell, that is said.
    """
    found, reference = room_about(room, overlay, condition)
    result = traced(found, reference, seed, seconds)
    if as_json:
        import msgspec

        click.echo(msgspec.json.encode({"schema": "wetmount.origin.trace/1", "room": found.name} | result.as_data()))
    else:
        _print(result, everything)


def _day(on: Date | None) -> str:
    return "before the record" if on is None else f"{on.day} {on:%B}"


def _print(found: Trace, everything: bool) -> None:
    out = console()
    out.print(f"[bold]{found.room.name}[/]: {found.condition_name}\n[bold]{found.verdict}[/]")
    most = None if everything else SHOWN
    out.print("\n[bold]Where it came in[/] (chance; the fewest that hold 90 % are marked *)")
    lines(out, [(_mark(one, found), _candidate(one)) for one in found.candidates[:most]])
    if found.more_than_one >= 0.005:
        out.print(f"It came in more than once: {found.more_than_one:.0%}.")
    if found.routes:
        out.print("\n[bold]How each tank got it[/]")
        lines(out, [(f"{one.probability:.0%}", _route(one)) for one in found.routes[:most]])
    out.print("\n[bold]Tanks[/] (has it; shows it first within " + f"{found.shows_within_days} days)")
    order = {"sick": 0, "suspect": 1, "clean": 2}
    tanks = sorted(found.tanks, key=lambda one: (order[one.status], -one.infected, -one.shows))
    lines(out, [(one.tank, _tank(one)) for one in tanks if everything or one.status != "clean"])
    clean = [one.tank for one in tanks if one.status == "clean"]
    if clean and not everything:
        out.print(f"Clean as far as can be judged: {', '.join(clean)}.")
    if found.earlier:
        out.print("\n[bold]Fish that are gone[/], followed by others in the same tank (had it)")
        lines(out, [(one.tank, "seen" if one.seen else f"{one.infected:.0%}") for one in found.earlier])
    for note in found.notes:
        out.print(f"[dim]{note}[/]")
    colour = "dim" if found.convergence.converged else "yellow"
    out.print(f"[{colour}]{found.convergence.sentence}[/]")
    out.print(f"[dim]Seed {found.seed}. Reference {found.reference_version}.[/]")


def _mark(one: Candidate, found: Trace) -> str:
    return f"{'*' if one.key in found.credible else ''}{one.probability:.0%}"


def _candidate(one: Candidate) -> str:
    if one.start is None and one.start_low is None:
        return one.name
    span = _day(one.start) if one.start_low == one.start_high else f"{_day(one.start_low)} to {_day(one.start_high)}"
    return f"{one.name}; {span}"


def _route(one: Route) -> str:
    source = one.from_tank or "came in"
    through = f", {one.through}" if one.through else ""
    when = _day(one.low) if one.low == one.high else f"{_day(one.low)} to {_day(one.high)}"
    return f"{source} → {one.to_tank} ({one.kind}{through}), {when}"


def _tank(one: TankState) -> str:
    if one.seen:
        return f"{one.status}; {_day(one.low)} to {_day(one.high)}"
    looked = "" if one.looked_at else "; nobody looked"
    return f"{one.status}: {one.infected:.0%}; {one.shows:.0%}{looked}"
