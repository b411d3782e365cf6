"""`wetmount identify`: what is this moving thing?"""

from __future__ import annotations

from pathlib import Path

import click

from wetmount.commands.common import console, lines, overlay_option
from wetmount.errors import InputError

SCHEMA = "wetmount.identify/1"
SHOWN = 5


@click.command(name="identify")
@click.argument("site")
@click.argument("feature", nargs=-1)
@click.option("--size", type=float, metavar="UM", help="Longest measure in micrometres.")
@click.option("--water", type=click.Choice(["fresh", "salt"]), help="Water the fish lives in.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON, every candidate.")
@overlay_option
def command(
    site: str, feature: tuple[str, ...], size: float | None, water: str | None, as_json: bool, overlay: Path | None
) -> None:
    """What is this moving thing: ranked candidates, and what would tell them apart.

    SITE is skin, gill, gut, blood, organ, muscle or eye. FEATURE is NAME=WORD: movement=rolling nucleus=horseshoe; a
    word that does not exist is answered with those that do.
    """
    import msgspec

    from wetmount.identify import identify
    from wetmount.reference import load_reference

    reference = load_reference(overlay)
    seen = {}
    for one in feature:
        name, equals, word = one.partition("=")
        if not equals:
            raise InputError(f"{one!r} is no feature; write NAME=WORD, such as movement=rolling", field="FEATURE")
        seen[name.strip()] = word.strip()
    found = identify(site, reference, size_um=size, water=water, features=seen)
    if as_json:
        import msgspec.json

        data = {"schema": SCHEMA, **msgspec.to_builtins(found), "reference_version": reference.version}
        click.echo(msgspec.json.encode(data))  # an open end of an interval becomes null
        return
    out = console()
    rows = []
    for candidate in found.candidates[:SHOWN]:
        why = f"; speaks for it: {', '.join(candidate.speaks)}" if candidate.speaks else ""
        against = f"; against: {', '.join(candidate.against)}" if candidate.against else ""
        rows.append((f"{candidate.probability:.0%}", f"[bold]{candidate.name}[/]: {candidate.look_for}{why}{against}"))
    lines(out, rows)
    if found.finding is not None:
        name = reference.findings[found.finding].name
        out.print(f"\nEnters as [bold]{found.finding}[/] ({name}), {found.sure}.")
    else:
        out.print("\nEnters as no finding: most likely harmless, or without a finding at this site.")
    out.print("\n[bold]What would tell them apart[/]")
    telling = [ask for ask in found.next_features if ask.bits > 0.005][:3]
    rows = []
    for ask in telling:
        shows = "; ".join(f"{reference.organisms[id].name}: {word.replace('_', ' ')}" for id, word in ask.shows)
        rows.append((f"×{ask.objective}", f"[bold]{ask.feature}[/] ({ask.bits:.2f} bits): {shows}"))
    lines(out, rows or [("", "nothing more in the table: it is settled as far as words go")])
    for warning in found.warnings:
        out.print(f"[yellow]{warning}[/]")
    out.print(f"[dim]Reference {reference.version}. From words, not from a picture; a stain or a laboratory proves.")
