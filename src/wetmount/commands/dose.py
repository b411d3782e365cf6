"""`wetmount dose`: an amount to weigh or measure, or the reason why there is none."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wetmount.commands.common import overlay_option, with_option, without_option
from wetmount.errors import InputError

if TYPE_CHECKING:
    from wetmount.dose import DoseAnswer
    from wetmount.reference import Reference

SCHEMA = "wetmount.dose/1"
NO_AMOUNT = 3
"""Exit status where the dose is refused, or something is asked first."""


@click.command(name="dose")
@click.argument("treatment")
@click.argument("reading", nargs=-1)
@click.option("--host", multiple=True, metavar="NAME", help="Species or host group; may be given several times.")
@click.option(
    "--volume",
    "volume_text",
    metavar="VOLUME",
    help="As measured, such as '120 L'; a guess as a range: '660 L to 780 L'.",
)
@click.option("--dose", "dose_text", metavar="DOSE", help="The dose with its unit; the low end without it.")
@click.option("--strength", metavar="STRENGTH", help="What is in hand: '37 % w/w', '2.3 % w/v', '50 mg/mL', pure.")
@click.option("--step", type=float, metavar="NUMBER", help="Smallest step of scale (g) or syringe (mL).")
@click.option("--already", metavar="AMOUNT", help="What is there of it before, with its unit: '0.5 g/L', or 0.")
@with_option
@without_option
@click.option("--for-food", is_flag=True, help="People or animals may eat these fish, now or later.")
@click.option(
    "--after", "before", multiple=True, metavar="AGENT:HOURS:CHANGED", help="Given before: formalin_short:30:50%."
)
@click.option("--sea/--fresh", "marine", default=None, help="Sea water or fresh water.")
@click.option("--lawful-here", is_flag=True, help="You state that it may be used on ornamental fish here.")
@click.option(
    "--checked",
    multiple=True,
    metavar="CHECK",
    help="aerated, stock_clear, copper_test, buffered, handler, slip_low, slip_volume, free_chlorine.",
)
@click.option("--prescriber", metavar="NAME", help="Who prescribed the --dose, or the label it is on.")
@click.option("--against", metavar="CONDITION", help="The disease that a prescribed antibiotic bath is for.")
@click.option("--biomass", metavar="WEIGHT", help="Weight of the fish, for feed and injection.")
@click.option("--ration", type=float, metavar="PERCENT", help="Feed a day in % of body weight.")
@click.option("--eating", type=float, metavar="PERCENT", help="Share of the fish that still eat.")
@click.option("--raise-dkh", type=float, metavar="NUMBER", help="By how many dKH alkalinity is to rise.")
@click.option(
    "--override", "stops", multiple=True, metavar="STOP", help="A stop, by its id, that a person goes against."
)
@click.option("--override-by", metavar="NAME", help="The person who does.")
@click.option("--because", metavar="TEXT", help="The reason, in words.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@overlay_option
def command(
    treatment: str,
    reading: tuple[str, ...],
    host: tuple[str, ...],
    volume_text: str | None,
    dose_text: str | None,
    strength: str | None,
    step: float | None,
    already: str | None,
    there: tuple[str, ...],
    absent: tuple[str, ...],
    for_food: bool,
    before: tuple[str, ...],
    marine: bool | None,
    lawful_here: bool,
    checked: tuple[str, ...],
    prescriber: str | None,
    against: str | None,
    biomass: str | None,
    ration: float | None,
    eating: float | None,
    raise_dkh: float | None,
    stops: tuple[str, ...],
    override_by: str | None,
    because: str | None,
    as_json: bool,
    overlay: Path | None,
) -> None:
    """An amount to weigh or measure, or why there is none.

    Baths, feed and injections; no row of the reference gives a substance painted on a fish, so none is worked out for
    the skin. TREATMENT is an id of the reference, such as salt_indefinite. READING is NAME=VALUE with its unit, such as
    temperature=25C kh="6 dKH"; what is not known counts as dangerous. The exit status is 3 where there is no amount.
    """
    from wetmount.dose import QUESTIONS, Order, Override, dose
    from wetmount.dose_typed import already_of, hosts_of, things_of, volume_of, water_of
    from wetmount.dose_units import parse_strength
    from wetmount.hard_stops import CHECKS, THINGS, Life, Prescription
    from wetmount.reference import load_reference
    from wetmount.units import parse_quantity

    reference = load_reference(overlay)
    for check in checked:
        if check not in (*CHECKS, *QUESTIONS):
            raise InputError(f"no {check!r}; accepted: {', '.join((*CHECKS, *QUESTIONS))}", field="--checked")
    said = things_of(there, absent)
    if eating is not None:
        said.setdefault("not_eating", "no")  # how many do not eat is said, and nothing is weighed for them
    things = frozenset(thing for thing, answer in said.items() if answer == "yes")
    if prescriber is not None and dose_text is None:
        raise InputError("a prescription needs its --dose", field="--prescriber")
    if bool(stops) != bool(override_by or because) or bool(stops) != bool(override_by and because):
        raise InputError("goes with --override-by NAME and --because TEXT, all three", field="--override")
    if against is not None and against not in reference.conditions:
        raise InputError(f"no condition {against!r}; `wetmount reference show ID` prints one", field="--against")
    groups, species = hosts_of(host, reference, field="--host")
    row = reference.doses.get(treatment)
    order = Order(
        treatment,
        Life(groups, things, for_food=for_food, species=species, unsaid=frozenset(THINGS) - said.keys()),
        water_of(readings_of(reading), marine),
        volume=volume_of(volume_text, field="--volume") if volume_text else None,
        dose=dose_text,
        strength=parse_strength(strength, field="--strength") if strength else None,
        step=step,
        already=already_of(already, row, field="--already") if already is not None and row is not None else None,
        present=tuple(_given(text, reference) for text in before),
        confirmed=frozenset(checked),
        lawful_here=True if lawful_here else None,
        prescription=Prescription(dose_text or "", prescriber, against=against) if prescriber is not None else None,
        rise_dkh=raise_dkh,
        biomass_g=parse_quantity(biomass, "weight", field="--biomass").value if biomass else None,
        ration_percent=ration,
        share_eating=1.0 if eating is None else eating / 100,
        overrides=tuple(Override(stop, override_by or "", because or "") for stop in stops),
    )
    answer = dose(order, reference)
    if as_json:
        import json

        import msgspec

        data: dict[str, Any] = msgspec.to_builtins(answer)
        click.echo(json.dumps(data | {"schema": SCHEMA, "state": answer.state, "reference_version": reference.version}))
    else:
        _print(answer, reference)
    if answer.state != "amount":
        click.get_current_context().exit(NO_AMOUNT)


def _print(answer: DoseAnswer, reference: Reference) -> None:
    from wetmount.cautions import cautions_for

    if answer.stops:
        click.echo(f"{answer.substance}: no amount.")
    for stop in answer.stops:
        may = f" A named person may go against it: --override {stop.id}" if stop.overridable else ""
        click.echo(f"  Refused: {stop.text} [{stop.row}]{may}")
    for used in answer.overridden:
        click.echo(f"  Overridden: {used.stop}, by {used.person}, because: {used.reason}")
    for question in answer.questions:
        click.echo(f"  Asked: {question.text} If so, add --checked {question.id}")
    for line in answer.written:
        click.echo(line)
    if answer.concentration is not None and answer.state == "amount":
        from wetmount.dose_writing import write_number, write_quantity

        reached = answer.concentration
        click.echo(
            f"Then in the water: {write_number(reached.at_high_volume)} to "
            f"{write_quantity(reached.at_low_volume, answer.unit)}"
        )
    if answer.bounds is not None:
        for note in answer.bounds.test_first:
            click.echo(f"Test fish first: {note}")
    click.echo("")
    for caution in cautions_for(reference, agents=(answer.treatment,)):
        if caution.because:
            click.echo(f"{caution.severity.upper()}: {caution.headline}")
    click.echo(f"Reference {reference.version}. The label, local rules and a licensed veterinarian come first.")


def readings_of(words: tuple[str, ...]) -> dict[str, str]:
    """Arguments NAME=VALUE by their names."""
    from wetmount.dose_typed import READINGS

    known = {}
    for text in words:
        name, equals, value = text.partition("=")
        if not equals or name not in READINGS:
            raise InputError(
                f"{text!r} is no reading; write NAME=VALUE, NAME one of {', '.join(READINGS)}", field="READING"
            )
        known[name] = value
    return known


def _given(text: str, reference: Reference) -> Any:
    from wetmount.hard_stops import Present

    treatment, _, rest = text.partition(":")
    hours, _, changed = rest.partition(":")
    try:
        share = float(changed.removesuffix("%") or 0) / 100
        when = float(hours)
    except ValueError:
        raise InputError(
            f'"{text}" is not AGENT:HOURS:CHANGED, such as formalin_short:30:50%', field="--after"
        ) from None
    if treatment not in reference.doses:
        raise InputError(f"no treatment {treatment!r}", field="--after")
    return Present(treatment, when, share)
