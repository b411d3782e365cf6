"""The plan of a look: the water and fish it is for, what is in hand, what was chosen, and the tasks that come of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

import msgspec

from wetmount import case as core
from wetmount.casebook import clock
from wetmount.casebook.models import Device, Look, PlanChoice, PlanStep, TaskDue
from wetmount.casebook.reference import reference
from wetmount.casebook.services.acts import Writer, act
from wetmount.casebook.services.records import plan_record, step_columns, step_record
from wetmount.casebook.services.refusals import Refused
from wetmount.dose_typed import hosts_of, volume_of
from wetmount.dose_units import parse_dose, parse_strength
from wetmount.plan.calendar import CalendarEntry
from wetmount.plan.choose import choose
from wetmount.plan.options import Plan
from wetmount.plan.record import look_again, planned_days, record_of
from wetmount.plan.sheets import KeeperSheet
from wetmount.reference import Reference
from wetmount.units import parse_quantity

LONGEST_TEXT: Final = 2_000
MOST_DAYS: Final = 60
MOST_STEPS: Final = 60
FACTS: Final = ("volume", "water", "others", "living", "lawful_here", "given", "agents")


def plan_of(look: Look) -> PlanChoice | None:
    """The plan of a look, drafted or chosen."""
    return PlanChoice.objects.filter(look=look).prefetch_related("steps").first()


def kept_facts(look: Look) -> core.Plan:
    """What is known of water, fish and agents: of this look's plan, else of the last plan before it."""
    own = plan_of(look)
    if own is not None:
        return plan_record(own) or core.Plan()
    earlier = PlanChoice.objects.filter(look__case=look.case_id).exclude(look=look).order_by("-look__on", "-pk").first()
    record = plan_record(earlier)
    if record is None:
        return core.Plan()
    return core.Plan(**{name: getattr(record, name) for name in FACTS})


def _row(writer: Writer, look: Look) -> PlanChoice:
    """The plan's row, made with what is known from an earlier plan when there is none yet."""
    row = PlanChoice.objects.filter(look=look).first()
    if row is not None:
        return row
    known = kept_facts(look)
    return writer.make(
        PlanChoice,
        look_id=look.pk,
        volume=known.volume or "",
        water=known.water or "",
        others=list(known.others),
        living=dict(known.living),
        lawful_here=known.lawful_here,
        given=None if known.given is None else msgspec.to_builtins(known.given),
        agents={id: msgspec.to_builtins(agent) for id, agent in known.agents.items()},
    )


def set_facts(
    device: Device | None,
    look: Look,
    *,
    volume: str,
    water: str,
    others: Iterable[str],
    living: Mapping[str, str],
    lawful_here: bool | None,
    given: Iterable[core.PlanGiven] | None = None,
    seen: int | None = None,
) -> PlanChoice:
    """The water and fish of the plan. InputError for a volume that cannot be read, Refused for an unknown host."""
    if volume:
        volume_of(volume)
    if water not in ("", *dict(PlanChoice.WATERS)):
        raise Refused("The water is fresh or sea water.")
    names = [name.strip() for name in others if name.strip()]
    for name in names:
        hosts_of((name,), reference(), field="other fish")
    for thing, answer in living.items():
        if thing not in core.LIVING or answer not in ("yes", "no"):
            raise Refused(f"{thing.replace('_', ' ')[:60]}: yes or no goes here.")
    before = None if given is None else tuple(given)
    for one in before or ():
        if one.option not in reference().doses:
            raise Refused(f"There is no treatment {one.option[:60]!r} in the reference.")
        if one.date > clock.today():
            raise Refused(f"{one.date} has not come yet; write down what was given, and plan what is to be.")
    with act(device, "set_plan_water", "Plan: water and fish", case=look.case) as writer:
        row = _row(writer, look)
        writer.set(
            row,
            seen=seen if seen else None,
            volume=volume,
            water=water,
            others=names,
            living=dict(living),
            lawful_here=lawful_here,
            given=None if before is None else msgspec.to_builtins(before),
        )
    return row


def set_agent(device: Device | None, look: Look, treatment: str, agent: core.PlanAgent) -> PlanChoice:
    """What is in hand of an agent, its dose and its days. InputError or Refused for what cannot be read."""
    row = reference().doses.get(treatment)
    if row is None:
        raise Refused(f"There is no treatment {treatment[:60]!r} in the reference.")
    if agent.strength is not None:
        parse_strength(agent.strength, field="strength")
    if agent.dose is not None:
        parse_dose(agent.dose)
    if agent.against is not None and agent.against not in reference().conditions:
        raise Refused(f"There is no cause {agent.against[:60]!r} in the reference.")
    if agent.prescriber is not None and agent.dose is None:
        raise Refused("A prescription goes with its dose: write both, or neither.")
    if agent.volume is not None:
        volume_of(agent.volume, field="water of the container")
    if agent.biomass is not None:
        parse_quantity(agent.biomass, "weight", field="weight of the fish")
    with act(device, "set_plan_agent", f"{row.substance}: what is in hand", case=look.case) as writer:
        plan = _row(writer, look)
        writer.set(plan, agents={**plan.agents, treatment: msgspec.to_builtins(agent)})
    return plan


def set_days(device: Device | None, look: Look, treatment: str, days: Sequence[int]) -> PlanChoice:
    """The days of an agent's givings, 0 its first, as a forecast found them; its step, when chosen, moves to them."""
    tables = reference()
    row = tables.doses.get(treatment)
    if row is None:
        raise Refused(
            f"There is no dose of {treatment.replace('_', ' ')[:60]} in the tables, so no plan takes its days."
        )
    with act(device, "set_plan_days", f"{row.substance}: days of the forecast", case=look.case) as writer:
        plan = _row(writer, look)
        planned_days([treatment], tables, first=clock.today(), schedules={treatment: days})  # whether they can be kept
        agent = {**plan.agents.get(treatment, {}), "days": list(days)}
        writer.set(plan, agents={**plan.agents, treatment: agent})
        if plan.steps.exists():
            _set_all_days(writer, plan, tables)
    return plan


def _set_all_days(writer: Writer, plan: PlanChoice, tables: Reference) -> None:
    """The days of all agents anew, one after the other, and the look after them."""
    steps = list(plan.steps.all())
    agents = [step.option for step in steps if step.kind == "treat" and step.option in tables.doses]
    timed = {id: plan.agents[id]["days"] for id in agents if plan.agents.get(id, {}).get("days")}
    first = plan.first or clock.today()
    days = planned_days(agents, tables, first=first, schedules=timed)
    for step in steps:
        if step.option in days:
            writer.set(step, days=[day.isoformat() for day in days[step.option]])
    looks = [step for step in steps if step.kind == "look"]
    if looks:
        again = look_again([step_record(step) for step in steps if step.kind != "look"], first)
        writer.set(looks[-1], days=[day.isoformat() for day in again.days])


def choose_options(
    device: Device | None,
    look: Look,
    plan: Plan,
    ids: Sequence[str],
    tables: Reference,
    *,
    by: str,
    why: str,
    first: dt.date,
    volume: str = "",
    others: Sequence[str] = (),
    seen: int | None = None,
) -> PlanChoice:
    """Record a choice: of `ids` of the options, in the plan's order. Steps that stay keep their words, own steps stay.
    `volume` and `others` are what the fish room knows of the water; they are written down where nobody typed them, so
    that the record says for which water the amounts are.

    InputError for what the core refuses: a stop, an antimicrobial first, no name, no reason; Refused for a first day in
    the past.
    """
    if first < clock.today():
        raise Refused(f"{first.isoformat()} is in the past; the plan begins on {clock.today().isoformat()} or later.")
    order = [option.id for option in plan.options]
    wanted = sorted(dict.fromkeys(ids), key=lambda id: order.index(id) if id in order else len(order))
    chosen = choose(plan, wanted, tables, by=by, why=why, at=clock.now().astimezone())
    known = kept_facts(look)
    timed = {id: agent.days for id, agent in known.agents.items() if agent.days and id in wanted}
    record = record_of(chosen, tables, first=first, schedules=timed, plan=known)
    with act(device, "choose_plan", "Plan chosen", case=look.case) as writer:
        row = _row(writer, look)
        writer.set(
            row,
            seen=seen if seen else None,
            by=by.strip()[:200],
            why=why.strip(),
            chosen_on=clock.today(),
            first=first,
            reference=chosen.reference_version[:200],
            volume=row.volume or volume,
            others=list(dict.fromkeys([*row.others, *others])),
        )
        _replace_steps(writer, row, record)
    return row


def _replace_steps(writer: Writer, row: PlanChoice, record: core.Plan) -> None:
    """Steps as chosen: those that were there keep their words, those in own words stay, before the look at the end."""
    there = list(row.steps.all())
    by_option = {step.option: step for step in there if step.option}
    looks = [step for step in there if step.kind == "look"]
    wanted = {step.option for step in record.steps if step.option}
    place = 0
    for step in record.steps:
        if step.kind == "look":
            for own in (one for one in there if one.kind == "own"):
                place += 1
                writer.set(own, place=place)
        place += 1
        old = looks[0] if step.kind == "look" and looks else by_option.get(step.option or "")
        columns = step_columns(step)
        if old is None:
            writer.make(PlanStep, plan_id=row.pk, place=place, **columns)
        else:
            writer.set(old, place=place, days=columns["days"])
    for old in there:
        if old.kind != "own" and old.kind != "look" and old.option not in wanted:
            writer.take_away(old)


def add_step(device: Device | None, look: Look, text: str, days: Sequence[dt.date], urgency: str) -> PlanStep:
    """A step in own words, ahead of the look at the end. Refused before anything was chosen, since it has no reason."""
    text, urgency = _checked(text, days, urgency)
    with act(device, "add_plan_step", f"Plan: {text[:80]}", case=look.case) as writer:
        row = PlanChoice.objects.filter(look=look).first()
        if row is None or not row.by:
            raise Refused("Choose first, and say why; then own steps can be added.")
        steps = list(row.steps.all())
        if len(steps) >= MOST_STEPS:
            raise Refused(f"A plan has at most {MOST_STEPS} steps.")
        ends = [step for step in steps if step.kind == "look"]
        place = ends[-1].place if ends else len(steps) + 1
        for step in ends[-1:]:
            writer.set(step, place=place + 1)
        return writer.make(
            PlanStep, plan_id=row.pk, place=place, kind="own", text=text, urgency=urgency, days=_iso(row, days)
        )


def change_step(
    device: Device | None, step: PlanStep, text: str, days: Sequence[dt.date], urgency: str, *, seen: int | None = None
) -> PlanStep:
    """Other words, days or urgency of a step."""
    text, urgency = _checked(text, days, urgency)
    with act(device, "change_plan_step", f"Plan: {text[:80]}", case=step.plan.look.case) as writer:
        row = PlanStep.objects.select_related("plan").get(pk=step.pk)
        writer.set(row, seen=seen, text=text, days=_iso(row.plan, days), urgency=urgency)
    return row


def move_step(device: Device | None, step: PlanStep, by: int) -> None:
    """Move a step one place up (-1) or down (1); an agent takes its days with it in the new order."""
    with act(device, "move_plan_step", f"Plan: {step.text[:60]} moved", case=step.plan.look.case) as writer:
        steps = list(PlanStep.objects.filter(plan=step.plan_id))
        at = next((n for n, one in enumerate(steps) if one.pk == step.pk), None)
        if at is None or not 0 <= at + by < len(steps):
            return
        steps[at], steps[at + by] = steps[at + by], steps[at]
        for place, one in enumerate(steps, 1):
            writer.set(one, place=place)
        moved, other = steps[at + by], steps[at]
        if moved.kind == other.kind == "treat":
            _set_all_days(writer, PlanChoice.objects.get(pk=step.plan_id), reference())


def remove_step(device: Device | None, step: PlanStep) -> None:
    """Take a step out of the plan."""
    with act(device, "remove_plan_step", f"Plan: {step.text[:60]} taken out", case=step.plan.look.case) as writer:
        writer.take_away(PlanStep.objects.get(pk=step.pk))


def _checked(text: str, days: Sequence[dt.date], urgency: str) -> tuple[str, str]:
    text = text.strip()
    if not text:
        raise Refused("Say what is to be done.")
    if len(text) > LONGEST_TEXT:
        raise Refused(f"That is {len(text)} characters; a step has at most {LONGEST_TEXT}.")
    if len(days) > MOST_DAYS:
        raise Refused(f"{len(days)} days; a step has at most {MOST_DAYS}.")
    if urgency not in dict(PlanStep.URGENCIES):
        raise Refused("A step is done at once, or from now on.")
    return text, urgency


def _iso(plan: PlanChoice, days: Sequence[dt.date]) -> list[str]:
    early = [day for day in days if plan.first is not None and day < plan.first]
    if early:
        raise Refused(f"{early[0].isoformat()} is before the first day of the plan, {plan.first}.")
    return [day.isoformat() for day in sorted(set(days))]


# --- onto Today -------------------------------------------------------------------------------------------------------


def to_today(device: Device | None, look: Look, sheet: KeeperSheet) -> int:
    """The steps of the chosen plan as tasks; how many. Tasks that came of it before and are not done are replaced,
    those that are done stay and are not set again."""
    with act(device, "plan_to_today", "Plan put on Today", case=look.case) as writer:
        row = PlanChoice.objects.filter(look=look).first()
        if row is None or not row.by:
            raise Refused("Nothing was chosen yet.")
        for task in TaskDue.objects.filter(plan=row, done_at=None):
            writer.take_away(task)
        done = set(TaskDue.objects.filter(plan=row).values_list("title", "due_on"))
        made = 0
        for values in _tasks(row, sheet):
            if (values["title"], values["due_on"]) not in done:
                writer.make(TaskDue, case_id=look.case_id, plan_id=row.pk, set_on=clock.today(), **values)
                made += 1
    return made


def _tasks(row: PlanChoice, sheet: KeeperSheet) -> Iterable[dict[str, Any]]:
    """Steps with days on those days; the others on the first day, those from now on with the look at the end."""
    first = max(row.first or clock.today(), clock.today())
    ends = [_day(entry.when) for entry in sheet.steps if entry.kind == "look_again"]
    for step in row.steps.all():
        if step.days or step.kind in ("watch", "relieve", "treat"):
            continue
        on = first if step.urgency == "now" or step.kind in ("examine", "refer") else max([*ends, first])
        title, detail = _title(step.text)
        yield {"kind": "plan", "title": title, "detail": detail, "due_on": on}
    for entry in sheet.steps:
        when = entry.when
        yield {
            "kind": entry.kind if entry.kind in dict(TaskDue.KINDS) else "plan",
            "title": entry.title[:300],
            "detail": entry.text,
            "due_on": _day(when),
            "due_at": when.time() if isinstance(when, dt.datetime) else None,
        }


def _title(text: str) -> tuple[str, str]:
    head, stop, rest = text.partition(": ")
    if stop and len(head) <= 80:
        return head, rest[:1].upper() + rest[1:]
    first, stop, rest = text.partition("; ")
    if stop and len(first) <= 120:
        return first, rest[:1].upper() + rest[1:]
    return (text, "") if len(text) <= 120 else (text[:117].rsplit(" ", 1)[0] + " …", text)


def _day(when: dt.date | dt.datetime) -> dt.date:
    return when.date() if isinstance(when, dt.datetime) else when


def coming(sheet: KeeperSheet) -> list[CalendarEntry]:
    """The dates of a page that are not over."""
    return [entry for entry in sheet.steps if _day(entry.when) >= clock.today()]
