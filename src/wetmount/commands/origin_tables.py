"""Exposure tables, the epidemic curve and chains of a room, as tables or JSON."""

from __future__ import annotations

from datetime import date as Date
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wetmount.commands.common import console, lines, overlay_option
from wetmount.commands.origin_room import condition_option, day_of, json_option, room_about, until_option
from wetmount.errors import InputError

if TYPE_CHECKING:
    from wetmount.origin.chains import Chain
    from wetmount.origin.curve import Curve
    from wetmount.origin.exposures import Exposure, ExposureTables, StratifiedExposure
    from wetmount.origin.illness import TankHealth
    from wetmount.origin.room import Room
    from wetmount.origin.tables import Ratio
    from wetmount.reference import Reference

SHOWN = 12
"""Rows of the exposure table that are printed without --all."""


def _print_json(kind: str, room: Room, **parts: Any) -> None:
    """Print results as JSON; an open end of an interval becomes null."""
    import msgspec

    head = {"schema": f"wetmount.origin.{kind}/1", "room": room.name, "condition": room.condition}
    click.echo(msgspec.json.encode(head | parts))


def _about(room: Room, reference: Reference) -> str:
    name = "any illness" if room.condition is None else reference.conditions[room.condition].name
    return f"[bold]{room.name}[/]: {name}"


def _tanks(tanks: tuple[str, ...]) -> str:
    return f"{len(tanks)} ({', '.join(tanks)})" if tanks else "none"


def short_day(on: Date) -> str:
    """'3 October'."""
    return f"{on.day} {on:%B}"


# --- exposures --------------------------------------------------------------------------------------------------------


@click.command(name="exposures")
@click.argument("room")
@click.option("--by", "factors", multiple=True, metavar="FACTOR", help="Compare by this only; may be repeated.")
@click.option(
    "--of", "exposure", metavar="FACTOR=LEVEL", help="One exposure, held against --within: --of origin=North."
)
@click.option("--within", metavar="FACTOR", help="Hold this fixed (Mantel–Haenszel), for the exposure of --of.")
@click.option("--all", "everything", is_flag=True, help=f"Every comparison, not only the first {SHOWN}.")
@condition_option
@until_option
@json_option
@overlay_option
def exposures(
    room: str,
    factors: tuple[str, ...],
    exposure: str | None,
    within: str | None,
    everything: bool,
    condition: str | None,
    until: str | None,
    as_json: bool,
    overlay: Path | None,
) -> None:
    """What the ill tanks of ROOM had in common: attack rates, risk ratios, exact tests, how many were compared.

    FACTOR is one of origin, delivery, species, system, row, feed, worker, tool, contact, neighbour.
    """
    from wetmount.origin.exposures import FACTORS, exposure_tables, stratified_exposure

    found, reference = room_about(room, overlay, condition)
    day = day_of(until, "--until")
    if (exposure is None) != (within is None):
        raise InputError("go together: --of origin=North --within system", field="--of and --within")
    if exposure is not None and within is not None:
        factor, equals, level = exposure.partition("=")
        if not equals:
            raise InputError(f"{exposure!r} is no exposure; write FACTOR=LEVEL, such as origin=North", field="--of")
        held = stratified_exposure(found, factor.strip(), level.strip(), within, day)
        if as_json:
            _print_json("stratified", found, stratified=held)
        else:
            _print_stratified(held, found, reference)
        return
    tables = exposure_tables(found, factors or FACTORS, day)
    if as_json:
        _print_json("exposures", found, exposures=tables)
    else:
        _print_exposures(tables, found, reference, everything)


def _print_exposures(tables: ExposureTables, room: Room, reference: Reference, everything: bool) -> None:
    from rich import box
    from rich.table import Table

    out = console()
    out.print(f"{_about(room, reference)}, by {tables.until}")
    out.print(
        f"{len(tables.ill)} tanks ill, {len(tables.well)} well. Left out, neither ill nor well: never looked at "
        f"{_tanks(tables.not_looked_at)}; without fish {len(tables.empty)}."
    )
    if not tables.rows:
        out.print("Nothing can be compared: it takes ill and well tanks, with and without an exposure.")
        return
    shown = tables.rows if everything else tables.rows[:SHOWN]
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, header_style="bold")
    for head in ("What", "ill with it", "ill without", "risk ratio (95 %)", "p exact", "Holm", "B-H"):
        table.add_column(head, justify="left" if head == "What" else "right")
    for row in shown:
        same = f" [dim](= {row.same_as})[/]" if row.same_as else ""
        table.add_row(
            f"{row.factor} {row.level}{same}",
            f"{row.table.a} of {row.table.exposed}",
            f"{row.table.c} of {row.table.unexposed}",
            _ratio(row.risk),
            f"{row.p:.2g}",
            f"{row.holm:.2g}",
            f"{row.benjamini_hochberg:.2g}",
        )
    out.print(table)
    if len(shown) < len(tables.rows):
        out.print(f"[dim]{len(tables.rows) - len(shown)} more with --all.[/]")
    out.print(
        f"{tables.comparisons} different comparisons: the smallest p of so many is small by chance too. Holm and "
        "Benjamini-Hochberg (B-H) count them in."
    )
    if any(row.risk.note for row in shown):
        out.print("* a cell is zero: for the interval a half was added to every cell.")
    fish = [row for row in shown[:3] if row.fish is not None]
    if fish:
        out.print("\n[bold]Fish, where they were counted[/] (fish of one tank share their fate: no test)")
        lines(out, [("", _fish(row)) for row in fish])
    out.print(
        "[dim]An exposure of an ill tank counts when it came by the day of its first sign. What always went together "
        "cannot be told apart by counting.[/]"
    )


def _fish(row: Exposure) -> str:
    fish = row.fish
    assert fish is not None, "only rows with fish come here"
    left = f"; {fish.tanks_left_out} tanks not counted" if fish.tanks_left_out else ""
    return (
        f"{row.factor} {row.level}: {fish.ill_exposed} of {fish.exposed} ({fish.ill_exposed / fish.exposed:.0%}), "
        f"without {fish.ill_unexposed} of {fish.unexposed} ({fish.ill_unexposed / fish.unexposed:.0%}){left}"
    )


def _ratio(ratio: Ratio) -> str:
    if ratio.value is None:
        return "none"
    star = "*" if ratio.note else ""
    value = _figure(ratio.value)
    if ratio.low is None or ratio.high is None:
        return value
    return f"{value} ({_figure(ratio.low)} to {_figure(ratio.high)}){star}"


def _figure(value: float) -> str:
    if value == float("inf"):
        return "∞"
    return f"{value:.0f}" if value >= 100 else f"{value:.2g}"


def _print_stratified(held: StratifiedExposure, room: Room, reference: Reference) -> None:
    out = console()
    result = held.result
    out.print(f"{_about(room, reference)}; {held.factor} {held.level}, with {held.within} held fixed")
    rows = [("all", result.crude), *held.strata.items()]
    lines(
        out,
        [
            (name, f"ill {table.a} of {table.exposed} with it, {table.c} of {table.unexposed} without")
            for name, table in rows
        ],
    )
    out.print(f"Risk ratio held fixed: {_ratio(result.risk_ratio)}. Odds ratio: {_ratio(result.odds_ratio)}.")
    for note in dict.fromkeys(note for note in (result.risk_ratio.note, result.odds_ratio.note) if note):
        out.print(f"{note[:1].upper()}{note[1:]}.")
    if result.cmh is not None and result.cmh_corrected is not None:
        out.print(
            f"No difference within strata: X² {result.cmh[0]:.3g}, p {result.cmh[1]:.2g} "
            f"(corrected {result.cmh_corrected[0]:.3g}, p {result.cmh_corrected[1]:.2g})."
        )
    if result.breslow_day is not None:
        out.print(
            f"The same in all strata (Breslow-Day): X² {result.breslow_day[0]:.3g}, p {result.breslow_day[1]:.2g}."
        )
    out.print(f"[dim]{result.strata} of {result.given} strata had anything to compare.[/]")


# --- curve ------------------------------------------------------------------------------------------------------------


@click.command(name="curve")
@click.argument("room")
@click.option("--incubation", metavar="LOW-HIGH", help="Days from exposure to signs, 4-14, instead of the table's.")
@condition_option
@until_option
@json_option
@overlay_option
def curve(
    room: str, incubation: str | None, condition: str | None, until: str | None, as_json: bool, overlay: Path | None
) -> None:
    """When tanks fell ill, day by day, and when each can have been exposed, by the incubation of the condition."""
    from wetmount.origin.curve import epidemic_curve

    found, reference = room_about(room, overlay, condition)
    low, high, basis = _incubation(incubation, found, reference)
    result = epidemic_curve(found, low, high, day_of(until, "--until"))
    if as_json:
        _print_json("curve", found, incubation_from=basis, curve=result)
    else:
        _print_curve(result, found, reference, basis)


def _incubation(text: str | None, room: Room, reference: Reference) -> tuple[float, float, str]:
    """Shortest and longest incubation in days, and where they are from."""
    if text is not None:
        low, dash, high = text.partition("-")
        try:
            return float(low), float(high if dash else low), "as given"
        except ValueError:
            raise InputError(
                f"{text!r} is no incubation; write LOW-HIGH in days, such as 4-14", field="--incubation"
            ) from None
    row = None if room.condition is None else reference.incubations.get(room.condition)
    if row is None:
        what = "the room names no condition" if room.condition is None else f"the table has none for {room.condition}"
        raise InputError(f"is needed, since {what}; write LOW-HIGH in days, such as 4-14", field="--incubation")
    return row.incubation_low_d, row.incubation_high_d, f"incubations.csv, {row.basis}"


def _print_curve(found: Curve, room: Room, reference: Reference, basis: str) -> None:
    out = console()
    low, high = found.incubation_d
    out.print(f"{_about(room, reference)}; {low:g} to {high:g} days from exposure to signs ({basis})")
    if not found.windows:
        out.print("No tank was seen ill. Never looked at: " + _tanks(found.not_looked_at) + ".")
        return
    lines(
        out,
        [
            (
                short_day(day.on),
                f"{'█' * len(day.first_seen)} {', '.join(day.first_seen) or 'no new tank'}; {day.ill_by_then} ill"
                + (f"; deaths {'not counted' if day.deaths is None else day.deaths}" if day.deaths != 0 else ""),
            )
            for day in found.days
            if day.first_seen or day.deaths != 0
        ],
    )
    out.print("\n[bold]When each can have been exposed[/]")
    lines(
        out,
        [
            (
                window.tank,
                ("any day" if window.earliest is None else short_day(window.earliest))
                + f" to {short_day(window.latest)}",
            )
            for window in found.windows
        ],
    )
    if found.shared is None:
        out.print("No single day fits all of them: it went on from tank to tank, or came in more than once.")
    else:
        begin, end = found.shared
        out.print(
            f"One exposure can explain all: {'any day' if begin is None else short_day(begin)} to {short_day(end)}."
        )
    if found.events:
        out.print(f"\n[bold]In the window of the first, {found.windows[0].tank}[/]")
        lines(out, [(short_day(event.on), event.text) for event in found.events])
    if found.before_record:
        out.print(f"That window reaches back before the record, which begins on {room.first}.")
    if found.not_looked_at:
        out.print(f"[dim]Never looked at, so not in the curve: {_tanks(found.not_looked_at)}.[/]")


# --- chains -----------------------------------------------------------------------------------------------------------


@click.command(name="chains")
@click.argument("room")
@click.argument("tank")
@click.option("--since", metavar="DATE", help="Contacts from this day on; the whole record without.")
@until_option
@click.option("--only", multiple=True, metavar="KIND", help="Follow this kind of contact only; may be repeated.")
@click.option("--also", multiple=True, metavar="KIND", help="Follow neighbour or worker too.")
@condition_option
@json_option
@overlay_option
def chains(
    room: str,
    tank: str,
    since: str | None,
    until: str | None,
    only: tuple[str, ...],
    also: tuple[str, ...],
    condition: str | None,
    as_json: bool,
    overlay: Path | None,
) -> None:
    """Everything that can have reached TANK, and everything it can have reached, in the order of time.

    KIND is one of fish, net, water, plants, other, sump, tool, neighbour, worker. What reached a tank is followed up to
    the day it was first seen ill, unless --until says otherwise.
    """
    from wetmount.origin.chains import USUAL, chain_of
    from wetmount.origin.illness import tanks_health

    found, reference = room_about(room, overlay, condition)
    first, last = day_of(since, "--since"), day_of(until, "--until")
    for option, day in (("--since", first), ("--until", last)):
        if day is not None and not found.first <= day <= found.last:
            raise InputError(f"{day} is outside the record ({found.first} to {found.last})", field=option)
    kinds = (*(only or USUAL), *also)
    health = {one.tank: one for one in tanks_health(found, last)}
    ill_on = health[tank].first if tank in health else None
    ingoing = chain_of(found, tank, "ingoing", first=first, last=last or ill_on, kinds=kinds)
    outgoing = chain_of(found, tank, "outgoing", first=first, last=last, kinds=kinds)
    if as_json:
        _print_json(
            "chains",
            found,
            tank=tank,
            kinds=kinds,
            ingoing=_chain_data(ingoing, found, health),
            outgoing=_chain_data(outgoing, found, health),
        )
        return
    out = console()
    out.print(f"{_about(found, reference)}; tank {tank}, {_said(health[tank])}")
    _print_chain(ingoing, found, health)
    _print_chain(outgoing, found, health)
    out.print(f"[dim]Followed: {', '.join(kinds)}. Contacts of one day may follow one another.[/]")


def _said(one: TankHealth) -> str:
    return one.state if one.first is None else f"ill since {short_day(one.first)}"


def _chain_data(chain: Chain, room: Room, health: dict[str, TankHealth]) -> dict[str, Any]:
    def on(day: int) -> Date:
        return room.first + timedelta(days=day)

    tanks = []
    for tank in chain.reached:
        day = chain.day_of(tank)
        assert day is not None, "a tank of the chain has its day"
        steps = [
            {"on": on(step.day), "from": step.source, "to": step.goal, "kind": step.kind} for step in chain.path(tank)
        ]
        tanks.append({"tank": tank, "state": health[tank].state, "on": on(day), "path": steps})
    return {"first": on(chain.first), "last": on(chain.last), "direct": chain.degree, "tanks": tanks}


def _print_chain(chain: Chain, room: Room, health: dict[str, TankHealth]) -> None:
    from wetmount.origin.chains import path_words

    out = console()
    first, last = (room.first + timedelta(days=day) for day in (chain.first, chain.last))
    what = "Can have reached it" if chain.direction == "ingoing" else "Can have been reached from it"
    span = f"{short_day(first)} to {short_day(last)}; {chain.degree} directly"
    tanks = "1 tank" if len(chain.reached) == 1 else f"{len(chain.reached)} tanks"
    out.print(f"\n[bold]{what}: {tanks}[/] ({span})")
    rows = []
    for tank in chain.reached:
        mark = "" if health[tank].state == "well" else f" [bold]{_said(health[tank])}[/];"
        rows.append((tank, f"{mark} {path_words(chain.path(tank), room.first)}".strip()))
    lines(out, rows)
