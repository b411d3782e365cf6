"""`wetmount volume`: how much water there is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from wetmount.errors import InputError

if TYPE_CHECKING:
    from wetmount.volume import Vessel, Volume

SCHEMA = "wetmount.volume/1"


@click.command(name="volume")
@click.argument("part", nargs=-1)
@click.option("--salt", metavar="WEIGHT", help="Measured by salt: the weight stirred in, with --before and --after.")
@click.option("--before", metavar="CONDUCTIVITY", help="Conductivity before the salt.")
@click.option("--after", metavar="CONDUCTIVITY", help="Conductivity after it.")
@click.option("--label", metavar="VOLUME", help="What the label says: a guess, or a check of the shape.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    part: tuple[str, ...], salt: str | None, before: str | None, after: str | None, label: str | None, as_json: bool
) -> None:
    """How much water there is: the least, the best figure, the most.

    PART is a shape and its inside dimensions with units, such as: box length=60cm width=30cm depth=33cm, with
    bed="sand 4cm" and rock=2kg where there is some. Several vessels of one system are joined by + and a canister is
    litres=8L.
    """
    from wetmount.units import parse_quantity
    from wetmount.volume import doubt_of_label, system_volume, volume_by_salt, volume_from_label

    question, error = None, None
    label_l = parse_quantity(label, "volume", field="--label").value if label else None
    if salt is not None:
        if before is None or after is None or part:
            raise InputError("needs --before and --after, and no shape", field="--salt")
        measured = volume_by_salt(
            parse_quantity(salt, "weight", field="--salt").value,
            parse_quantity(before, "conductivity", field="--before").value / 1000,
            parse_quantity(after, "conductivity", field="--after").value / 1000,
        )
        volume, error = measured.volume, measured.standard_error
    elif part:
        volume = system_volume(_parts(part))
    elif label_l is not None:
        volume = volume_from_label(label_l)
    else:
        raise InputError("give a shape, --salt or --label; see wetmount volume --help")
    if label_l is not None and (part or salt):
        question = doubt_of_label(volume, label_l)
    if as_json:
        _print_json(volume, error, question)
        return
    from wetmount.dose_writing import write_quantity

    for line in volume.how:
        click.echo(line)
    click.echo(
        f"{write_quantity(volume.best_l, 'L')}, plausibly {write_quantity(volume.low_l, 'L', direction='down')} to "
        f"{write_quantity(volume.high_l, 'L', direction='up')}"
    )
    if error is not None:
        click.echo(f"standard error {100 * error:.1f} %")
    if question is not None:
        click.echo(question)


def _print_json(volume: Volume, error: float | None, question: str | None) -> None:
    import json

    import msgspec

    data = msgspec.to_builtins(volume) | {"schema": SCHEMA, "standard_error": error, "question": question}
    click.echo(json.dumps(data))


def _parts(words: tuple[str, ...]) -> list[Vessel | Volume]:
    """The vessels of the argument list, joined by +."""
    parts: list[list[str]] = [[]]
    for word in words:
        if word == "+":
            parts.append([])
        else:
            parts[-1].append(word)
    return [_part(part) for part in parts]


def _part(words: list[str]) -> Vessel | Volume:
    from wetmount.units import parse_quantity
    from wetmount.volume import DENSITY, SHAPES, Vessel, exactly

    if not words:
        raise InputError("a vessel is missing before or after +", field="PART")
    if words[0].startswith("litres="):
        return exactly(parse_quantity(words[0].removeprefix("litres="), "volume", field="litres").value)
    shape, dimensions, bed, solids = words[0], {}, None, {}
    if shape not in SHAPES:
        raise InputError(f"no shape {shape!r}; accepted: {', '.join(SHAPES)}", field="PART")
    for word in words[1:]:
        name, equals, value = word.partition("=")
        if not equals:
            raise InputError(f"{word!r} is no dimension; write NAME=VALUE, such as depth=33cm", field="PART")
        if name == "bed":
            kind, _, depth = value.partition(" ")
            bed = (kind, parse_quantity(depth, "length", field="bed").value)
        elif name in DENSITY:
            solids[name] = parse_quantity(value, "weight", field=name).value / 1000
        else:
            dimensions[name] = parse_quantity(value, "length", field=name).value
    return Vessel(shape, dimensions, bed, solids)
