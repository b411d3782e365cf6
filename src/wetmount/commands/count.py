"""`wetmount count`: what a slide, or several fish, prove."""

from __future__ import annotations

from typing import Any

import click

from wetmount.commands.common import console, lines, seed_option
from wetmount.errors import InputError

SCHEMA = "wetmount.count/1"


@click.command(name="count")
@click.argument("number", nargs=-1, required=True)
@click.option("--fields", type=int, metavar="N", help="Fields looked at, when NUMBER is one total.")
@click.option("--fish", "per_fish", is_flag=True, help="NUMBERs are parasites on each fish, not in each field.")
@click.option("--field-number", type=float, metavar="MM", help="Field number on the eyepiece.")
@click.option("--objective", type=float, metavar="X", help="Magnification of the objective.")
@click.option("--tube", type=float, default=1.0, show_default=True, metavar="X", help="Factor of an intermediate tube.")
@click.option("--diameter", type=float, metavar="MM", help="Diameter of the field by stage micrometer.")
@click.option("--matters", type=float, metavar="MEAN", help='Mean per field that would matter, to judge "none".')
@click.option("--after", metavar="NUMBERS", help="Second count, comma separated: how much is gone.")
@seed_option("the bootstrap")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    number: tuple[str, ...],
    fields: int | None,
    per_fish: bool,
    field_number: float | None,
    objective: float | None,
    tube: float,
    diameter: float | None,
    matters: float | None,
    after: str | None,
    seed: int,
    as_json: bool,
) -> None:
    """What a count proves: density with its interval, prevalence and intensity, how sure "none" is, what changed.

    NUMBER is a total (with --fields), the number in each field, or with --fish on each fish: 0 3 1 0 2
    """
    counts = whole_numbers(number, "NUMBER")
    data: dict[str, Any] = {"schema": SCHEMA}
    out: list[tuple[str, str]] = []
    if per_fish:
        _fish(counts, seed, data, out)
    else:
        _slide(counts, fields, _area(field_number, objective, tube, diameter), matters, data, out)
    if after is not None:
        _change(counts, whole_numbers(after.split(","), "--after"), per_fish, fields, seed, data, out)
    if as_json:
        import msgspec.json

        click.echo(msgspec.json.encode(data))  # an open end of an interval becomes null
        return
    lines(console(), out)


def whole_numbers(texts: Any, field: str) -> list[int]:
    """Counts as typed; InputError for what is none."""
    found = []
    for text in texts:
        try:
            value = int(str(text).strip())
        except ValueError:
            raise InputError(f"{text!r} is no count; accepted are whole numbers from 0", field=field) from None
        if value < 0:
            raise InputError(f"{value} is negative; a count is a whole number from 0", field=field)
        found.append(value)
    return found


def _area(field_number: float | None, objective: float | None, tube: float, diameter: float | None) -> float | None:
    from wetmount.counts import field_area_from_diameter_mm2, field_area_mm2

    if diameter is not None:
        return field_area_from_diameter_mm2(diameter)
    if (field_number is None) != (objective is None):
        raise InputError("the area of a field needs both --field-number and --objective")
    return None if field_number is None or objective is None else field_area_mm2(field_number, objective, tube)


def _slide(
    counts: list[int],
    fields: int | None,
    area: float | None,
    matters: float | None,
    data: dict[str, Any],
    out: list[tuple[str, str]],
) -> None:
    import msgspec

    from wetmount.counts import count_density, more_fields_worth, none_by_now

    single = fields is not None and len(counts) == 1
    density = count_density(counts[0] if single else counts, fields, area_mm2=area)
    data["density"] = msgspec.to_builtins(density)
    out.append(
        (
            "",
            f"[bold]{density.total} in {density.fields} fields[/]: {density.mean:.3g} a field, "
            f"95 % between {density.low:.3g} and {density.high:.3g} ({density.model})",
        )
    )
    if density.per_mm2 is not None:
        mean, low, high = density.per_mm2
        data["per_mm2"] = [mean, low, high]
        out.append(("", f"{mean:.3g} a mm², between {low:.3g} and {high:.3g}; a field is {area:.4g} mm²"))
    out += [("", f"[yellow]{warning}[/]") for warning in density.warnings]
    if density.total:
        more = more_fields_worth(density)
        data["more_fields"] = more
        words = f"{more} more fields would be worth it" if more else "enough: more fields would change little"
        out.append(("", words))
    elif matters is None:
        out.append(("", 'name with --matters how many a field would matter, to see how sure this "none" is'))
    if matters is not None:
        none = none_by_now(density.fields, matters, area_mm2=area, k=density.k)
        data["none_by_now"] = msgspec.to_builtins(none)
        out.append(
            (
                "",
                f"had there been {matters:g} a field, you would have met one by now in "
                f"{none.chance_met:.0%} of counts; {none.more_fields} more fields make it 95 %",
            )
        )


def _fish(counts: list[int], seed: int, data: dict[str, Any], out: list[tuple[str, str]]) -> None:
    import msgspec

    from wetmount.burden import burden_of

    burden = burden_of(counts, seed=seed)
    data["burden"] = msgspec.to_builtins(burden)
    low, high = burden.blaker
    out.append(
        (
            "",
            f"[bold]{burden.infected} of {burden.examined} fish infected[/]: prevalence {burden.prevalence:.0%}, "
            f"95 % between {low:.1%} and {high:.1%} (Blaker; Wilson {burden.wilson[0]:.1%} to "
            f"{burden.wilson[1]:.1%}; Clopper-Pearson {burden.clopper_pearson[0]:.1%} to "
            f"{burden.clopper_pearson[1]:.1%})",
        )
    )
    out.append(
        (
            "",
            f"mean abundance {burden.abundance.value:.3g} a fish, {burden.abundance.low:.3g} to "
            f"{burden.abundance.high:.3g}",
        )
    )
    if burden.intensity is not None:
        out.append(
            (
                "",
                f"mean intensity {burden.intensity.value:.3g} an infected fish, {burden.intensity.low:.3g} to "
                f"{burden.intensity.high:.3g}; median {burden.median_intensity:g}, most {burden.largest}",
            )
        )
    if burden.k is not None and burden.k_interval is not None:
        out.append(
            (
                "",
                f"aggregation k {burden.k:.2g}, {burden.k_interval[0]:.2g} to {burden.k_interval[1]:.2g}; "
                "small = few fish carry most",
            )
        )


def _change(
    before: list[int],
    after: list[int],
    per_fish: bool,
    fields: int | None,
    seed: int,
    data: dict[str, Any],
    out: list[tuple[str, str]],
) -> None:
    import msgspec

    from wetmount.burden import change_between_groups, change_in_same_fish, change_in_totals

    if per_fish:
        same = len(before) == len(after)
        change = change_in_same_fish(before, after, seed=seed) if same else change_between_groups(before, after)
    else:
        first = fields if fields is not None and len(before) == 1 else len(before)
        second = fields if fields is not None and len(after) == 1 else len(after)
        change = change_in_totals(sum(before), sum(after), effort_before=first, effort_after=second)
    data["change"] = msgspec.to_builtins(change)
    out.append(
        (
            "",
            f"[bold]{change.reduction:.0%} gone[/], 95 % between {change.low:.0%} and {change.high:.0%} "
            f"({change.method})",
        )
    )
