"""`wetmount water`: what readings mean for these fish."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wetmount.commands.common import console, lines, look_index, look_option, overlay_option
from wetmount.errors import InputError

if TYPE_CHECKING:
    from wetmount.case import Case
    from wetmount.reference import Reference
    from wetmount.water_report import WaterLine, WaterReport

SCHEMA = "wetmount.water/1"

# Every heading of the answer, in order.
HEADINGS = {
    "off": "Beyond the limits",
    "within": "Within the limits",
    "unlimited": "No limit in the reference",
    "ungraded": "Cannot be judged",
    "ammonia": "The same total ammonia at another pH",
    "do_not": "Do not",
    "know": "Good to know",
}


@click.command(name="water")
@click.argument("reading", nargs=-1)
@click.option("--host", metavar="NAME", help="Species or host group whose limits apply; any fish without it.")
@click.option(
    "--case",
    "case_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Take host and readings from a case file instead.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
@look_option
@overlay_option
def command(
    reading: tuple[str, ...],
    host: str | None,
    case_file: Path | None,
    as_json: bool,
    look_date: str | None,
    overlay: Path | None,
) -> None:
    """What readings mean for these fish: what is off, and what not to do.

    READING is NAME=VALUE with its unit, such as ammonia="0.4 mg/L N" ph=7.4 temperature=25.5C. A name that does not
    exist is answered with those that do.
    """
    from wetmount.case import looks_of
    from wetmount.case_check import host_group_of, host_row
    from wetmount.casefile import read_case
    from wetmount.derived import rounds_of
    from wetmount.reference import load_reference
    from wetmount.water_report import read_water

    if case_file is not None and (reading or host is not None):
        raise InputError("takes host and readings from the file; leave out READING and --host", field="--case")
    reference = load_reference(overlay)
    case = _as_case(reading, host, reference) if case_file is None else read_case(case_file, reference)
    index = look_index(case, look_date)
    rounds = list(rounds_of(looks_of(case)[-1 if index is None else index].readings))
    if not rounds:
        raise InputError('no reading is given; name one, such as ammonia="0.4 mg/L N", or a case file that has some')
    row = host_row(case.host.species, reference)
    group, species = host_group_of(case, reference), row.scientific_name if row is not None else None
    reports = [(tank, read_water(readings, group, reference, species)) for tank, readings in rounds]
    if as_json:
        import json

        data = [{"tank": tank, **_data(report, reference)} for tank, report in reports]
        click.echo(json.dumps({"schema": SCHEMA, "waters": data, "reference_version": reference.version}))
        return
    for tank, report in reports:
        _print(report, tank, reference)


def _as_case(readings: tuple[str, ...], host: str | None, reference: Reference) -> Case:
    """The arguments as a case, so that they are read and checked by the same code as a case file."""
    import json

    from wetmount.casefile import read_case_text

    table: dict[str, str] = {}
    for one in readings:
        name, equals, value = one.partition("=")
        if not equals or not name.strip() or not value.strip():
            raise InputError(f'{one!r} is no reading; write NAME=VALUE, such as ammonia="0.4 mg/L N"', field="READING")
        table[name.strip()] = value.strip()
    host_table = {"group": host or "fish"} if host is None or host in reference.host_groups else {"species": host}
    text = json.dumps({"format": 1, "host": host_table, "readings": table})
    return read_case_text(text, "json", "command line", reference)


def _data(report: WaterReport, reference: Reference) -> dict[str, Any]:
    """One water as plain data; a level is its word."""
    import msgspec

    data: dict[str, Any] = msgspec.to_builtins(report)
    for entry in (*data["lines"], *data["findings"]):
        del entry["limits"]
        if entry["level"] is not None:
            entry["level"] = reference.findings[entry["finding"]].levels[entry["level"]]
    return data


def _print(report: WaterReport, tank: str | None, reference: Reference) -> None:
    from rich.markup import escape

    out = console()
    whom = report.species or reference.host_groups[report.host_group].meaning
    out.print(f"[bold reverse] {escape(', '.join(filter(None, [tank, f'water for {whom}'])))} [/]")
    for words in report.assumed:
        out.print(f"[dim]{escape(words)}[/]")
    rows = {
        "off": [("", _line(line, reference)) for line in report.off],
        "within": [("", _line(line, reference)) for line in report.lines if line.level == 0],
        "unlimited": [("", escape(line.how)) for line in report.lines if line.level is None],
        "ungraded": [("", escape("; ".join(one.trace))) for one in report.findings if one.level is None],
        "ammonia": [
            (
                f"pH {at.ph:g}",
                f"{at.un_ionised_mg_n_per_l:.2g} mg/L N un-ionised, {_level(at.level_name)}{' (now)' * at.is_now}",
            )
            for at in report.ammonia_at
        ],
        "do_not": [("", f"[red]{escape(one.text)}[/]") for one in report.advice if one.kind == "do_not"],
        "know": [("", escape(one.text)) for one in report.advice if one.kind == "know"],
    }
    for name, heading in HEADINGS.items():
        if rows[name]:
            out.print(f"\n[bold]{heading}[/]")
            lines(out, rows[name])
    out.print(f"\n[dim]Reference {reference.version}. The label, local rules and a licensed veterinarian come first.")


def _line(line: WaterLine, reference: Reference) -> str:
    from rich.markup import escape

    verdict = escape("; ".join(words.removeprefix("within limits: ") for words in line.verdict))
    if not line.level or line.finding is None:
        return f"{escape(line.how)}: {verdict}"
    return f"[bold]{escape(line.how)}[/]: {reference.findings[line.finding].name}; {verdict}"


def _level(name: str) -> str:
    return "within limits" if name == "absent" else name.replace("_", " ")
