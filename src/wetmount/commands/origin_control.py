"""What to do about an outbreak on the command line: links to cut, tanks to examine next, the round for today."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wetmount.commands.common import console, lines, overlay_option, seed_option
from wetmount.commands.origin_room import condition_option, filed_room, json_option, room_about
from wetmount.commands.origin_trace import seconds_option, traced
from wetmount.errors import InputError

if TYPE_CHECKING:
    from wetmount.origin.control import Control, Cut, Learn
    from wetmount.origin.results import Trace
    from wetmount.origin.round_today import Contact, Round
    from wetmount.reference import Reference

SHOWN = 8
"""Cuts and examinations that are printed without --all."""


@click.command(name="control")
@click.argument("room")
@click.option("--days", type=int, default=14, show_default=True, metavar="N", help="How many days ahead.")
@click.option("--examination", metavar="ID", help="Weigh this examination, instead of the one that finds it best.")
@click.option("--all", "everything", is_flag=True, help=f"Every cut and examination, not only the first {SHOWN}.")
@condition_option
@seconds_option
@json_option
@seed_option("the sampling")
@overlay_option
def control(
    room: str,
    days: int,
    examination: str | None,
    everything: bool,
    condition: str | None,
    seconds: float | None,
    as_json: bool,
    seed: int,
    overlay: Path | None,
) -> None:
    """Which links to cut to spare most tanks, alone and together, and whose fish to examine next to learn most."""
    from wetmount.case_check import nearest
    from wetmount.origin.control import cut_links, learn_next
    from wetmount.origin.model import REACH

    found, reference = room_about(room, overlay, condition)
    # asked before the trace, which takes its time
    if not 1 <= days <= REACH:
        raise InputError(f"{days} days ahead; accepted are 1 to {REACH}", field="--days")
    if examination is not None and examination not in reference.examinations:
        guess = nearest(examination, reference.examinations) or f"accepted are {', '.join(reference.examinations)}"
        raise InputError(f"{examination!r} is no examination; {guess}", field="--examination")
    trace = traced(found, reference, seed, seconds)
    cuts = cut_links(trace, reference, days=days, seed=seed)
    learn = learn_next(trace, reference, examination=examination)
    if as_json:
        import msgspec

        head = {"schema": "wetmount.origin.control/1", "room": found.name, "condition": trace.condition}
        parts = {"control": cuts, "learn": learn, "convergence": trace.convergence, "seed": seed}
        click.echo(msgspec.json.encode(head | parts))
    else:
        _print_control(cuts, learn, trace, reference, None if everything else SHOWN)


def _print_control(
    cuts: Control, learn: tuple[Learn, ...], trace: Trace, reference: Reference, most: int | None
) -> None:
    out = console()
    out.print(f"[bold]{trace.room.name}[/]: {trace.condition_name}. {trace.verdict}")
    out.print(
        f"\nIf nothing is cut, [bold]{cuts.further:.1f}[/] more tanks are expected to catch it in {cuts.days} days."
    )
    useful = [cut for cut in cuts.alone if cut.saved >= 0.005]
    if useful:
        out.print("\n[bold]Cut alone[/] (tanks spared on average; in nine courses of ten)")
        lines(out, [(f"{cut.saved:.1f}", _cut(cut, reference)) for cut in useful[:most]])
    if cuts.together:
        out.print("\n[bold]Cut together, in this order[/] (spared by this and all before it)")
        lines(out, [(f"{cut.saved:.1f}", _cut(cut, reference)) for cut in cuts.together])
    if learn:
        named = reference.examinations[learn[0].examination].name
        out.print(f"\n[bold]Examine next: {named}[/] (bits expected; of them about the origin)")
        lines(out, [(one.tank, _learn(one)) for one in learn[:most]])
    else:
        out.print("\nNo examination of a living fish at the bench can show it in the tanks that are left.")
    out.print(f"[dim]{cuts.note}[/]")
    _print_trust(trace)


def _cut(cut: Cut, reference: Reference) -> str:
    name = reference.link_rates[cut.kind].name
    through = f" ({cut.through})" if cut.through else ""
    return (
        f"{name}{through}: {cut.how}; {cut.low:.0f} to {cut.high:.0f}, {cut.minutes:.0f} min a day, "
        f"{cut.saved_per_hour:.1f} spared for an hour of it"
    )


def _learn(one: Learn) -> str:
    fish = "1 fish" if one.fish == 1 else f"{one.fish} fish"
    return (
        f"{fish}, {one.minutes:.0f} min: found with a chance of {one.chance_found:.0%}; {one.bits:.2f} bits, "
        f"{one.origin_bits:.2f} about the origin"
    )


def _print_trust(trace: Trace) -> None:
    colour = "dim" if trace.convergence.converged else "yellow"
    console().print(
        f"[{colour}]{trace.convergence.sentence}[/]\n[dim]Seed {trace.seed}. Reference {trace.reference_version}.[/]"
    )


@click.command(name="round")
@click.argument("room")
@condition_option
@seconds_option
@json_option
@seed_option("the sampling")
@overlay_option
def round_command(
    room: str, condition: str | None, seconds: float | None, as_json: bool, seed: int, overlay: Path | None
) -> None:
    """The round for today, to print: tanks from clean to sick, with net, bucket, gloves and contact times."""
    from wetmount.origin.round_today import other_conditions, plan_round

    found, reference = room_about(room, overlay, condition)
    trace = traced(found, reference, seed, seconds)
    today = plan_round(trace, reference, other_conditions(filed_room(room, overlay)[0], trace.condition))
    if as_json:
        import msgspec

        head = {"schema": "wetmount.origin.round/1", "room": found.name, "condition": trace.condition}
        parts = {"round": today, "convergence": trace.convergence, "seed": seed}
        click.echo(msgspec.json.encode(head | parts))
    else:
        _print_round(today, trace)


def _print_round(today: Round, trace: Trace) -> None:
    from rich import box
    from rich.table import Table

    out = console()
    out.print(f"[bold]{today.title}[/], {trace.room.last}: {trace.condition_name}")
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, header_style="bold")
    table.add_column("turn", justify="right")
    for head in ("tank", "taken as", "net and bucket", "the same net also in", "before it", "done"):
        table.add_column(head)
    said: set[str] = set()
    for stop in today.stops:
        # once for each net is enough on paper
        shared = "" if stop.net in said else ", ".join(stop.shared_with)
        said.add(stop.net)
        taken = f"{stop.status}: {', '.join(stop.also)}" if stop.also else stop.status
        table.add_row(f"{stop.turn}", stop.tank, taken, stop.net, shared, stop.gloves, "☐")
    out.print(table)
    lines(out, [("", rule) for rule in today.rules])
    if today.contacts:
        out.print("\n[bold]Disinfectants and how long they have to act[/]")
        lines(out, [("", _contact(one)) for one in today.contacts])
    _print_trust(trace)


def _contact(one: Contact) -> str:
    strength = f" {one.strength}" if one.strength else ""
    span = f"{one.minutes_low:g}"
    if one.minutes_high is not None and one.minutes_high != one.minutes_low:
        span += f" to {one.minutes_high:g}"
    note = f"; {one.note}" if one.note else ""
    return f"{one.material}: {one.agent}{strength}, {span} min{note} ({one.basis})"
