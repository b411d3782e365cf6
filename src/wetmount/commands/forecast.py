"""`wetmount forecast`: what a burden will be, when to look again, and which days to treat on."""

from __future__ import annotations

from datetime import date as Date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wetmount.commands.common import console, lines, overlay_option, seed_option
from wetmount.errors import InputError

if TYPE_CHECKING:
    from wetmount.forecast import Forecast, Plan

SCHEMA = "wetmount.forecast/1"
DAYS_SHOWN = (0, 7, 14, 21, 28)


@click.command(name="forecast")
@click.argument("parasite")
@click.option("--burden", type=float, required=True, metavar="N", help="Parasites per fish, whole fish, as counted.")
@click.option("--low", type=float, metavar="N", help="Lower limit of the burden; a third of it without.")
@click.option("--high", type=float, metavar="N", help="Upper limit of the burden; three times it without.")
@click.option("--fish", type=int, required=True, metavar="N", help="Fish in the tank.")
@click.option("--volume", type=float, required=True, metavar="L", help="Water in the tank, litres.")
@click.option("--temperature", required=True, metavar="C", help="Temperature, or one a day: 24 or 24,24,26,28")
@click.option("--start", metavar="DATE", help="Day of the count; today without.")
@click.option("--change", metavar="SHARE/DAYS", help="Water changed as it is: 0.25/7 = a quarter every 7 days.")
@click.option(
    "--uv", type=float, default=0.0, metavar="N", help="Tank volumes a day through a fitting ultraviolet lamp."
)
@click.option("--filter", "fine", type=float, default=0.0, metavar="N", help="Tank volumes a day through fine floss.")
@click.option("--harmful", type=float, metavar="N", help="Burden held harmful, instead of the table's.")
@click.option("--treat", metavar="TREATMENT@DAYS", help="A treatment to compare: praziquantel_bath@0,5,8")
@click.option("--plan", "plan_for", metavar="TREATMENT", help="Which days to give a treatment on.")
@click.option("--later", multiple=True, metavar="DAY:COUNT/FISH", help="A later count: 7:120/5; may be repeated.")
@click.option("--days", type=int, default=28, show_default=True, metavar="N", help="How far to look.")
@click.option("--courses", type=int, default=10_000, show_default=True, metavar="N", help="Courses drawn.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@seed_option("the courses drawn")
@overlay_option
def command(
    parasite: str,
    burden: float,
    low: float | None,
    high: float | None,
    fish: int,
    volume: float,
    temperature: str,
    start: str | None,
    change: str | None,
    uv: float,
    fine: float,
    harmful: float | None,
    treat: str | None,
    plan_for: str | None,
    later: tuple[str, ...],
    days: int,
    courses: int,
    as_json: bool,
    seed: int,
    overlay: Path | None,
) -> None:
    """What a counted burden will be: when to look again, the chance of harm, what treating changes.

    A PARASITE that does not exist is answered with those that do.
    """
    import msgspec

    from wetmount.forecast import Situation, forecast, plan_treatments
    from wetmount.reference import load_reference

    share, every = _change(change)
    situation = Situation(
        fish,
        volume,
        burden,
        burden / 3 if low is None else low,
        (burden * 3 if burden > 0 else 3.0) if high is None else high,
        _numbers(temperature, "--temperature"),
        _date(start),
        share,
        every,
        uv,
        fine,
        harmful,
    )
    reference = load_reference(overlay)
    found = forecast(
        parasite,
        situation,
        reference,
        treatment=_treatment(treat),
        later_counts=[_later(one) for one in later],
        days=days,
        trajectories=courses,
        seed=seed,
    )
    plan = None if plan_for is None else plan_treatments(parasite, plan_for, situation, reference, seed=seed)
    if as_json:
        import msgspec.json

        data: dict[str, Any] = {"schema": SCHEMA, "forecast": msgspec.to_builtins(found)}
        data["plan"] = None if plan is None else msgspec.to_builtins(plan)
        click.echo(msgspec.json.encode(data))  # an open end of an interval becomes null
        return
    _print(found)
    if plan is not None:
        _print_plan(plan)


def _numbers(text: str, field: str) -> tuple[float, ...]:
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise InputError(f"{text!r} is no number; accepted are numbers, comma separated", field=field) from None


def _date(text: str | None) -> Date:
    if text is None:
        return Date.today()
    try:
        return Date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{text!r} is no date; write it as 2026-10-03", field="--start") from None


def _change(text: str | None) -> tuple[float, float]:
    if text is None:
        return 0.0, 7.0
    share, slash, every = text.partition("/")
    numbers = _numbers(f"{share},{every if slash else '7'}", "--change")
    return numbers[0], numbers[1]


def _treatment(text: str | None) -> Any:
    from wetmount.forecast import Treatment

    if text is None:
        return None
    name, at, days = text.partition("@")
    numbers = _numbers(days if at else "0", "--treat")
    if any(day != int(day) for day in numbers):
        raise InputError("treatment days are whole numbers from 0, the day of the count", field="--treat")
    return Treatment(name.strip(), tuple(int(day) for day in numbers))


def _later(text: str) -> Any:
    from wetmount.forecast import LaterCount

    day, colon, rest = text.partition(":")
    count, slash, fish = rest.partition("/")
    try:
        if not colon or not slash:
            raise ValueError
        return LaterCount(int(day), int(count), int(fish))
    except ValueError:
        raise InputError(
            f"{text!r} is no later count; write DAY:COUNT/FISH, such as 7:120/5", field="--later"
        ) from None


def _print(found: Forecast) -> None:
    out = console()
    look = found.look_again
    out.print(
        f"[bold reverse] Look again on {look.date or f'day {look.in_days}'}, sooner if {look.sooner_if} [/]",
        f"\nChance of a harmful burden by then: [bold]{look.harmful_by_then:.0%}[/]; {look.reason}.",
    )
    out.print(
        f"\n[bold]{found.name.capitalize()}[/], parasites a fish, middle course (half of the courses; nine in ten)"
    )
    fan = found.outlooks[0].fan
    lines(
        out,
        [
            (
                f"day {day}",
                f"{fan[day][2]:.3g} ({fan[day][1]:.3g} to {fan[day][3]:.3g}; {fan[day][0]:.3g} to {fan[day][4]:.3g})",
            )
            for day in DAYS_SHOWN
            if day <= found.days
        ],
    )
    out.print(f"\n[bold]Chance that the heaviest fish reaches a harmful burden[/] (about {found.harmful_burden:.3g})")
    rows = []
    for outlook in found.outlooks:
        by = ", ".join(f"{outlook.harmful_by[day]:.0%} by day {day}" for day in (7, 14, 28) if day <= found.days)
        last = max(outlook.gone_by)
        rows.append(("", f"{outlook.name}: {by}; gone by day {last}: {outlook.gone_by[last]:.0%}"))
    lines(out, rows)
    if found.hangs_on:
        out.print("\n[bold]What the answer hangs on[/]")
        lines(
            out,
            [
                (
                    f"{hangs.share:.0%}",
                    f"{hangs.parameter}: {hangs.chance_low:.0%} in the low third, {hangs.chance_high:.0%} in the high",
                )
                for hangs in found.hangs_on[:3]
            ],
        )
    for warning in found.warnings:
        out.print(f"[yellow]{warning}[/]")
    out.print(
        f"[dim]{found.trajectories} courses, {found.steps_per_day} steps a day (error within {found.step_error:.0%}), "
        f"seed {found.seed}; {found.memory_share:.0%} of the figures are estimates or memory. "
        f"Reference {found.reference_version}."
    )


def _print_plan(plan: Plan) -> None:
    out = console()
    name = plan.treatment.replace("_", " ")
    out.print(f"\n[bold]{name.capitalize()}: give on day {', '.join(map(str, plan.advised.days))}[/], {plan.reason}")
    rows = []
    for schedule in plan.best:
        on = ", ".join(map(str, schedule.days))
        rows.append(
            (
                f"{len(schedule.days)}",
                f"day {on}: {schedule.left_per_one:.2g} left for each one, none in {schedule.clear_chance:.0%}",
            )
        )
    lines(out, rows)
    for missed in plan.missed:
        rows = [("", f"{missed.which} {missed.days_late} d late: {missed.schedule.left_per_one:.2g} left for each one")]
        lines(out, rows)
    if plan.rule_of_stages or plan.rules:
        out.print("\n[bold]Published rules beside it[/]")
    if plan.rule_of_stages:
        out.print(f"By the stages at {plan.temperature_c:g} °C: {plan.rule_of_stages}.")
    for rule in plan.rules:
        out.print(f"{rule.words.capitalize()} ({rule.source}; {rule.basis}): {rule.verdict}")
    for warning in plan.warnings:
        out.print(f"[yellow]{warning}[/]")
    out.print(
        f"[dim]Onto the calendar of a plan: wetmount plan CASE --choose {plan.treatment} --days {plan.for_plan}[/]"
    )
