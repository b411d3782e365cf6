"""`wetmount plan`: the options for a case, compared; and the papers of what is chosen."""

from __future__ import annotations

from datetime import UTC, datetime
from datetime import date as Date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wetmount.commands.common import look_index, look_option, overlay_option
from wetmount.commands.dose import readings_of
from wetmount.errors import InputError
from wetmount.files import write_whole

if TYPE_CHECKING:
    from wetmount.plan import Plan
    from wetmount.reference import Reference

SCHEMA = "wetmount.plan/1"


@click.command(name="plan")
@click.argument("case_file", type=click.Path(path_type=Path))
@click.argument("reading", nargs=-1)
@click.option("--volume", "volume_text", metavar="VOLUME", help="Litres, or a range such as '660 L to 780 L'.")
@click.option(
    "--host", multiple=True, metavar="NAME", help="Other fish in the same water, beside the host of the case."
)
@click.option("--with", "things", multiple=True, metavar="THING", help="fry, eggs, plants, invertebrates and others.")
@click.option("--sea/--fresh", "marine", default=None, help="Sea water or fresh water.")
@click.option("--lawful-here", is_flag=True, help="You state that restricted agents may be used on these fish here.")
@click.option("--choose", "chosen_ids", multiple=True, metavar="OPTION", help="An option that is taken, in order.")
@click.option("--by", default="", metavar="NAME", help="Who chooses.")
@click.option("--why", default="", metavar="TEXT", help="Why.")
@click.option("--first", metavar="DATE", help="First day of the plan; today without it.")
@click.option(
    "--days",
    "schedules",
    multiple=True,
    metavar="AGENT@DAYS",
    help="Days of an agent's givings, 0 its first, as `wetmount forecast --plan` found them: praziquantel_bath@0,5,10",
)
@click.option(
    "--calendar", type=click.Path(path_type=Path), metavar="FILE", help="Write the dates as an iCalendar file."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@look_option
@overlay_option
def command(
    case_file: Path,
    reading: tuple[str, ...],
    volume_text: str | None,
    host: tuple[str, ...],
    things: tuple[str, ...],
    marine: bool | None,
    lawful_here: bool,
    chosen_ids: tuple[str, ...],
    by: str,
    why: str,
    first: str | None,
    schedules: tuple[str, ...],
    calendar: Path | None,
    as_json: bool,
    look_date: str | None,
    overlay: Path | None,
) -> None:
    """What can be done for the fish of a case, compared; with --choose the keeper's page and the calendar.

    READING is NAME=VALUE with its unit and stands for what is in the water today.
    """
    from wetmount.casefile import read_case
    from wetmount.dose_typed import hosts_of, volume_of, water_of
    from wetmount.evidence import gather_evidence
    from wetmount.hard_stops import Life
    from wetmount.plan import TankFacts, choose, plan_for
    from wetmount.plan.calendar import to_ical
    from wetmount.plan.sheets import keeper_sheet, sheet_lines
    from wetmount.reference import load_reference
    from wetmount.weighup import weigh_up

    # What can be refused without weighing is refused at once.
    if calendar is not None and not chosen_ids:
        raise InputError("a calendar is of what is chosen; add --choose", field="--calendar")
    if schedules and not chosen_ids:
        raise InputError("days are those of what is chosen; add --choose", field="--days")
    timed = dict(_schedule(one) for one in schedules)
    if chosen_ids and not (by.strip() and why.strip()):
        raise InputError("a choice needs who made it and why: --by and --why", field="--choose")
    today = Date.today()
    begin = _first_day(first, today)
    reference = load_reference(overlay)
    case = read_case(case_file, reference)
    evidence = gather_evidence(case, reference, look_index(case, look_date))
    weighed = weigh_up(evidence, reference, firmness=False)
    own = (evidence.species or evidence.host_group or "fish",)
    groups, species = hosts_of((*own, *host), reference, field="--host")
    water = water_of(readings_of(reading), marine)
    tank = TankFacts(
        Life(groups, frozenset(things), species=species),
        water,
        volume_of(volume_text, field="--volume") if volume_text else None,
        lawful_here=True if lawful_here else None,
    )
    plan = plan_for(weighed, tank, reference)
    if not chosen_ids:
        _show(plan, reference, as_json)
        return
    now = datetime.now()
    chosen = choose(plan, chosen_ids, reference, by=by, why=why, at=now)
    cautions = tuple(caution.headline for caution in plan.cautions if caution.severity == "stop")
    sheet = keeper_sheet(chosen, {}, reference, first=begin, today=today, cautions=cautions, schedules=timed)
    if calendar is not None:
        write_whole(calendar, to_ical(sheet.steps, made=datetime.now(UTC), name=f"Plan, {case_file.stem}", today=today))
    if as_json:
        import json

        import msgspec

        click.echo(
            json.dumps({"schema": SCHEMA, "chosen": msgspec.to_builtins(chosen), "sheet": msgspec.to_builtins(sheet)})
        )
        return
    for one in chosen.left_open:
        click.echo(f"Left open: {reference.conditions[one].name}")
    for words in chosen.apart:
        click.echo(words)
    for heading, lines in sheet_lines(sheet):
        click.echo(f"\n{heading}")
        for line in lines:
            click.echo(f"  - {line}")


def _first_day(text: str | None, today: Date) -> Date:
    try:
        day = Date.fromisoformat(text) if text else today
    except ValueError:
        raise InputError(f"{text!r} is no date; write it as 2026-10-03", field="--first") from None
    if day < today:
        raise InputError(f"{text} is in the past; begin on {today.isoformat()} or later", field="--first")
    return day


def _schedule(text: str) -> tuple[str, tuple[int, ...]]:
    agent, at, days = text.partition("@")
    try:
        if not at:
            raise ValueError
        return agent.strip(), tuple(int(day) for day in days.split(","))
    except ValueError:
        raise InputError(
            f"{text!r} is no schedule; write AGENT@DAYS, such as praziquantel_bath@0,5,10", field="--days"
        ) from None


def _show(plan: Plan, reference: Reference, as_json: bool) -> None:
    if as_json:
        import json

        import msgspec

        data: dict[str, Any] = msgspec.to_builtins(plan)
        click.echo(json.dumps(data | {"schema": SCHEMA}))
        return
    for option in plan.options:
        cover = "" if option.expected is None else f" (expected to cover {100 * option.expected:.0f} %)"
        click.echo(f"{option.id}: {option.title}{cover}")
        click.echo(f"    {option.text}")
        for one in option.covers:
            if one.effect is not None:
                name = reference.conditions[one.condition].name
                click.echo(f"    {name}: {100 * one.effect:.0f} % ({one.evidence}) [{one.row}]")
        for stop in option.stops:
            click.echo(f"    Refused: {stop.text} [{stop.row}]")
        if option.not_first:
            click.echo(f"    Not first: {option.not_first}")
        if option.spares:
            click.echo(f"    Spares: {option.spares}")
        if option.kind == "treat" and option.leaves_open:
            names = ", ".join(reference.conditions[one].name for one in option.leaves_open)
            click.echo(f"    Leaves open what let it in: {names}")
        for risk in option.risks:
            click.echo(f"    {risk[0].upper()}{risk[1:]}")
    click.echo("")
    for line in plan.statements:
        click.echo(line)
    for caution in plan.cautions:
        if caution.severity == "stop":
            click.echo(f"STOP: {caution.headline}")
    click.echo(f"Reference {plan.reference_version}. The label, local rules and a licensed veterinarian come first.")
