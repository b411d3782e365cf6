"""`wetmount plan`: the options for a case, compared; and the papers of what is chosen."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from datetime import date as Date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wetmount.commands.common import look_index, look_option, overlay_option, with_option, without_option
from wetmount.commands.dose import readings_of
from wetmount.errors import InputError
from wetmount.files import write_whole

if TYPE_CHECKING:
    from wetmount.case import Case, PlanAgent, PlanGiven
    from wetmount.case import Plan as PlanRecord
    from wetmount.plan import Plan
    from wetmount.plan.tank import KnownTank
    from wetmount.reference import Reference

SCHEMA = "wetmount.plan/1"


def _of_agent(name: str, metavar: str, help: str) -> Callable[[Any], Any]:
    """An option that says something of one agent."""
    return click.option(name, multiple=True, metavar=f"AGENT={metavar}", help=help)


@click.command(name="plan")
@click.argument("case_file", type=click.Path(path_type=Path))
@click.argument("reading", nargs=-1)
@click.option(
    "--volume",
    "volume_text",
    metavar="VOLUME",
    help="As measured, such as '120 L'; a guess as a range: '660 L to 780 L'.",
)
@click.option(
    "--host", multiple=True, metavar="NAME", help="Other fish in the same water, beside the host of the case."
)
@with_option
@without_option
@click.option(
    "--given",
    multiple=True,
    metavar="AGENT@DATE:CHANGED",
    help="What went into this water before, and the water changed since: salt_indefinite@2026-10-01:50%; or nothing.",
)
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
@_of_agent("--strength", "STRENGTH", "What is in hand of an agent: salt_dip=pure, formalin_short='37 % w/w'.")
@_of_agent("--step", "NUMBER", "Smallest step of scale (g) or syringe (mL).")
@_of_agent("--dose", "DOSE", "Its dose, from a prescription or label.")
@_of_agent("--prescriber", "NAME", "Who prescribed it, or the label.")
@_of_agent("--against", "CONDITION", "The disease that a prescribed antibiotic bath is for.")
@_of_agent("--container", "VOLUME", "Water of the container it is given in.")
@_of_agent("--checked", "CHECK", "What was made sure of: aerated, stock_clear, copper_test, buffered, handler.")
@click.option("--recorded", is_flag=True, help="The plan that the case file holds, instead of the options.")
@click.option(
    "--calendar", type=click.Path(path_type=Path), metavar="FILE", help="Write the dates as an iCalendar file."
)
@click.option("--save", type=click.Path(path_type=Path), metavar="FILE", help="Write the case with this plan, as JSON.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@look_option
@overlay_option
def command(
    case_file: Path,
    reading: tuple[str, ...],
    volume_text: str | None,
    host: tuple[str, ...],
    there: tuple[str, ...],
    absent: tuple[str, ...],
    given: tuple[str, ...],
    marine: bool | None,
    lawful_here: bool,
    chosen_ids: tuple[str, ...],
    by: str,
    why: str,
    first: str | None,
    schedules: tuple[str, ...],
    strength: tuple[str, ...],
    step: tuple[str, ...],
    dose: tuple[str, ...],
    prescriber: tuple[str, ...],
    against: tuple[str, ...],
    container: tuple[str, ...],
    checked: tuple[str, ...],
    recorded: bool,
    calendar: Path | None,
    save: Path | None,
    as_json: bool,
    look_date: str | None,
    overlay: Path | None,
) -> None:
    """What can be done for the fish of a case, compared; with --choose the keeper's page and the calendar.

    Water, fish and volume are those of the case file; READING is NAME=VALUE with its unit and goes before what the case
    says.
    """
    from msgspec import structs

    from wetmount.case import Plan as PlanRecord
    from wetmount.case import looks_of
    from wetmount.casefile import read_case
    from wetmount.dose_typed import things_of
    from wetmount.evidence import gather_evidence
    from wetmount.plan import choose, plan_for
    from wetmount.plan.record import record_of
    from wetmount.plan.tank import tank_of
    from wetmount.reference import load_reference
    from wetmount.weighup import weigh_up

    # What can be refused without weighing is refused at once.
    if recorded and chosen_ids:
        raise InputError("either a new choice or the one that is recorded", field="--choose")
    for option, asked in (("--calendar", calendar), ("--days", schedules), ("--save", save)):
        if asked and not chosen_ids and not (recorded and option == "--calendar"):
            raise InputError("is of what is chosen; add --choose", field=option)
    timed = dict(_schedule(one) for one in schedules)
    if chosen_ids and not (by.strip() and why.strip()):
        raise InputError("a choice needs who made it and why: --by and --why", field="--choose")
    today = Date.today()
    begin = _first_day(first, today)
    reference = load_reference(overlay)
    case = read_case(case_file, reference)
    place = look_index(case, look_date)
    place = len(looks_of(case)) - 1 if place is None else place
    look = looks_of(case)[place]
    evidence = gather_evidence(case, reference, place)
    kept = look.plan or PlanRecord()
    living = {**kept.living, **things_of(there, absent)}
    agents = _agents(kept.agents, reference, {
        "strength": strength, "step": step, "dose": dose, "prescriber": prescriber, "against": against,
        "volume": container,
        "checked": checked,
    })  # fmt: skip
    kept = structs.replace(
        kept,
        volume=volume_text or kept.volume,
        others=(*kept.others, *host),
        living=living,
        water=kept.water if marine is None else "sea" if marine else "fresh",
        lawful_here=True if lawful_here else kept.lawful_here,
        given=_given(given, today, reference) if given else kept.given,
        agents=agents,
    )
    look = structs.replace(look, plan=kept)
    known = tank_of(case, look, evidence, reference, readings=readings_of(reading), today=today)
    if recorded:
        if not kept.steps:
            raise InputError("holds no chosen plan; choose with --choose and --save", file=str(case_file))
        chosen_record = kept
    else:
        weighed = weigh_up(evidence, reference, firmness=False)
        plan = plan_for(weighed, known.facts, reference)
        if not chosen_ids:
            _show(plan, known, reference, as_json)
            return
        chosen = choose(plan, chosen_ids, reference, by=by, why=why, at=datetime.now())
        chosen_record = record_of(chosen, reference, first=begin, schedules=timed, plan=kept)
    _papers(chosen_record, known, reference, today, calendar, case_file.stem, as_json)
    if not recorded:
        if not as_json:
            for one in chosen.left_open:
                click.echo(f"Left open: {reference.conditions[one].name}")
            for words in chosen.apart:
                click.echo(words)
        if save is not None:
            _save(case, place, chosen_record, save)


def _papers(
    record: PlanRecord,
    known: KnownTank,
    reference: Reference,
    today: Date,
    calendar: Path | None,
    name: str,
    as_json: bool,
) -> None:
    """The keeper's page of a plan on the screen, and its dates as a file."""
    from wetmount.cautions import cautions_for
    from wetmount.plan.amounts import amounts_for
    from wetmount.plan.calendar import to_ical
    from wetmount.plan.sheets import sheet_lines, sheet_of

    treatments = [step.option for step in record.steps if step.kind == "treat" and step.option is not None]
    shown = cautions_for(reference, agents=treatments)
    stops = tuple(caution.headline for caution in shown if caution.severity == "stop")
    answers = amounts_for(record, known.facts, reference)
    sheet = sheet_of(record, answers, reference, today=today, cautions=stops)
    if calendar is not None:
        coming = [step for step in sheet.steps if _day(step.when) >= today]
        write_whole(calendar, to_ical(coming, made=datetime.now(UTC), name=f"Plan, {name}", today=today))
    if as_json:
        import json

        import msgspec

        data = {"plan": msgspec.to_builtins(record), "sheet": msgspec.to_builtins(sheet)}
        click.echo(json.dumps({"schema": SCHEMA, **data, "doses": msgspec.to_builtins(answers)}))
        return
    for heading, lines in sheet_lines(sheet):
        click.echo(f"\n{heading}")
        for line in lines:
            click.echo(f"  - {line}")


def _day(when: Date | datetime) -> Date:
    return when.date() if isinstance(when, datetime) else when


def _save(case: Case, place: int, record: PlanRecord, path: Path) -> None:
    from msgspec import structs

    from wetmount.casefile import write_case_json

    if not case.looks:
        write_case_json(structs.replace(case, plan=record), path)
        return
    looks = [structs.replace(look, plan=record) if n == place else look for n, look in enumerate(case.looks)]
    top = None if place == len(looks) - 1 else case.plan
    write_case_json(structs.replace(case, looks=tuple(looks), plan=top), path)


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


def _given(texts: tuple[str, ...], today: Date, reference: Reference) -> tuple[PlanGiven, ...]:
    """What was given before the plan; `nothing` alone says that nothing was."""
    from wetmount.case import PlanGiven

    if texts == ("nothing",):
        return ()
    found = []
    for text in texts:
        agent, at, rest = text.partition("@")
        day, _, changed = rest.partition(":")
        try:
            one = PlanGiven(
                option=agent, date=Date.fromisoformat(day), changed_percent=float(changed.removesuffix("%") or 0)
            )
        except ValueError:
            at = ""
        if not at or not 0 <= one.changed_percent <= 100:
            raise InputError(
                f"{text!r} is no giving; write AGENT@DATE:CHANGED, such as salt_indefinite@2026-10-01:50%, or nothing",
                field="--given",
            )
        if agent not in reference.doses:
            raise InputError(f"no treatment {agent!r}; `wetmount plan` lists them", field="--given")
        if one.date > today:
            raise InputError(f"{one.date} has not come yet", field="--given")
        found.append(one)
    return tuple(found)


def _agents(
    kept: Mapping[str, PlanAgent], reference: Reference, said: Mapping[str, tuple[str, ...]]
) -> dict[str, PlanAgent]:
    """What is in hand of the agents: what the case holds, then what was said by AGENT=…"""
    from msgspec import structs

    from wetmount.case import PlanAgent

    agents = dict(kept)
    for column, texts in said.items():
        option = "--container" if column == "volume" else f"--{column}"
        for text in texts:
            id, equals, value = text.partition("=")
            if not equals or id not in reference.doses or not value.strip():
                raise InputError(f"{text!r} is not AGENT=…, such as salt_dip=pure", field=option)
            new: Any = value.strip()
            agent = agents.get(id, PlanAgent())
            if column == "step":
                try:
                    new = float(value)
                except ValueError:
                    raise InputError(f"{value!r} is no number", field=option) from None
                if not 0 < new <= 10_000:
                    raise InputError(f"{value} is no step of a scale or syringe", field=option)
            elif column == "against" and new not in reference.conditions:
                raise InputError(f"no condition {new!r}; `wetmount reference show ID` prints one", field=option)
            elif column == "checked":
                new = (*agent.checked, new)
            agents[id] = structs.replace(agent, **{column: new})
    return agents


def _show(plan: Plan, known: KnownTank, reference: Reference, as_json: bool) -> None:
    if as_json:
        import json

        import msgspec

        data: dict[str, Any] = msgspec.to_builtins(plan)
        tank = {"said": msgspec.to_builtins(known.said), "missing": list(known.missing)}
        click.echo(json.dumps(data | {"schema": SCHEMA, "tank": tank}))
        return
    for fact in known.said:
        click.echo(f"{fact.what[:1].upper()}{fact.what[1:]}: {fact.words} ({fact.source})")
    for missing in known.missing:
        click.echo(f"Not known: {missing}")
    click.echo("")
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
