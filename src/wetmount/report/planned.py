"""What a report tells of the plan of its look: what was chosen and why, amounts, dates, and prevention from now on."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from wetmount.case import Case, Look, Plan, PlanStep
from wetmount.dose import DoseAnswer
from wetmount.evidence import Evidence
from wetmount.plan.amounts import amounts_for, open_points
from wetmount.plan.choose import left_open
from wetmount.plan.options import apart_words, plan_for
from wetmount.plan.record import agent_name, agent_words, cautions_of_days
from wetmount.plan.sheets import STOP_IF, amount_words, contact_words, prevention
from wetmount.plan.tank import KnownTank, tank_of
from wetmount.reference import Reference
from wetmount.report.document import Block, Facts, Heading, Points, Section, Table
from wetmount.report.pages import plain
from wetmount.report.telling import Telling
from wetmount.report.words import capital, listed, sentence, short

OWN_WORDS: Final = "A step in the practitioner's own words"
FIXED: Final = {
    "watch": "Watch: nothing but husbandry; count and write down each day",
    "refer": "Refer",
    "relieve": "Relieve suffering",
    "look": "Look again: the same examinations as before",
}
"""Steps whose words are always the same, as the teaching edition says them."""
KINDS: Final = {
    "husbandry": "Husbandry", "treat": "Agent", "examine": "Examine more", "watch": "Watch", "refer": "Refer",
    "relieve": "Relieve suffering", "look": "Look again", "own": "Own step",
}  # fmt: skip
STEP_LINE: Final = 160
"""Letters of a step on the first page at most."""
DAYS_SHOWN: Final = 8


@dataclass(frozen=True, slots=True)
class Planned:
    """The chosen plan of a look, the tank it is for, and the worked-out doses of its agents."""

    record: Plan
    tank: KnownTank
    answers: dict[str, DoseAnswer]

    @property
    def agents(self) -> tuple[str, ...]:
        """Treatments that were chosen."""
        return tuple(self.answers)

    @property
    def next_look(self) -> datetime.date | None:
        """The day to look again."""
        return next((step.days[-1] for step in reversed(self.record.steps) if step.kind == "look" and step.days), None)


def planned(case: Case, look: Look, evidence: Evidence, reference: Reference) -> Planned | None:
    """The plan of a look; None where nothing was chosen. InputError for a quantity of it that cannot be read."""
    if look.plan is None or not look.plan.steps:
        return None
    tank = tank_of(case, look, evidence, reference)
    return Planned(look.plan, tank, amounts_for(look.plan, tank.facts, reference))


def step_words(telling: Telling, step: PlanStep) -> str:
    """A step as this edition says it: the teaching edition has no free text, so it says what the tables say."""
    if not telling.teaching:
        return step.text
    reference, option = telling.reference, step.option or ""
    if step.kind == "treat" and option in reference.doses:
        return agent_words(option, reference)
    if step.kind == "husbandry":
        rows = [row for row in reference.husbandry if f"husbandry_{row.applies_to}_{row.order}" == option]
        return rows[0].text if rows else OWN_WORDS
    if step.kind == "examine":
        row = reference.examinations.get(option.removeprefix("examine_"))
        return f"Examine more: {row.name}" if row is not None else OWN_WORDS
    return FIXED.get(step.kind, OWN_WORDS)


def today_lines(telling: Telling, plan: Planned) -> list[str]:
    """What the plan asks for at once, each in a line: husbandry, what is referred, then doses of the first day."""
    first = plan.record.first
    lines = []
    for step in plan.record.steps:
        if step.kind == "treat":
            answer = plan.answers.get(step.option or "")
            if answer is None or (step.days and first is not None and first not in step.days):
                continue
            amount = amount_words(answer) or "no amount yet, see behind"
            lines.append(f"{agent_name(step.option or '', telling.reference)}: {amount}")
        elif step.kind in ("husbandry", "refer", "own") and step.urgency == "now" and not step.days:
            lines.append(step_words(telling, step))
    return [short(line, STEP_LINE) for line in lines]


def the_plan(telling: Telling, plan: Planned) -> Section:
    """What was chosen, by whom and why; each step with its days and its amount, or what is still open."""
    record, reference = plan.record, telling.reference
    blocks: list[Block] = []
    when = telling.day(record.date)
    if telling.teaching:
        blocks.append(plain(sentence(f"Chosen {f'on {when} ' if when else ''}by the practitioner")))
    else:
        blocks.append(plain(sentence(f"Chosen {f'on {when} ' if when else ''}by {record.by}: {record.why}")))
    rows = tuple(
        (KINDS[step.kind], step_words(telling, step), _days(telling, step), _amount(plan, step, reference))
        for step in record.steps
    )
    blocks.append(Table(("What", "To be done", "Days", "Amount, or what is open"), rows, (1, 3, 1.6, 3)))
    chosen = [step.option for step in record.steps if step.option is not None]
    names = telling.short_names
    open_ways = left_open(plan_for(telling.weighup, plan.tank.facts, reference), chosen)
    if open_ways:
        blocks.append(plain(sentence(f"Leaves what opened the way: {listed(names[one] for one in open_ways)}")))
    care = [*apart_words(plan.agents, reference), *cautions_of_days(record, reference)]
    blocks += [Heading("Between agents, and beyond the table"), Points(tuple(map(capital, care)))] if care else []
    blocks += [Heading("Stop at once if"), Points(STOP_IF)] if plan.agents else []
    blocks += [Heading("For this water and these fish"), Facts(tuple(_tank(plan)))]
    if plan.tank.missing:
        blocks.append(Points(tuple(f"Not known: {words}." for words in plan.tank.missing)))
    return Section("plan", "The plan", tuple(blocks))


def _days(telling: Telling, step: PlanStep) -> str:
    days = [telling.day(day) for day in step.days[:DAYS_SHOWN]]
    more = len(step.days) - len(days)
    if not days:
        return "at once" if step.urgency == "now" or step.kind not in ("husbandry", "own") else "from now on"
    return ", ".join(days) + (f" and {more} more" if more else "")


def _amount(plan: Planned, step: PlanStep, reference: Reference) -> str:
    answer = plan.answers.get(step.option or "") if step.kind == "treat" else None
    if answer is None:
        return ""
    if answer.state == "amount":
        return ". ".join(capital(line) for line in answer.written) + "."
    return "No amount. " + " ".join(sentence(point) for point in open_points(answer, reference))


def _tank(plan: Planned) -> Iterator[tuple[str, str]]:
    said: dict[str, list[str]] = {}
    for fact in plan.tank.said:
        said.setdefault(fact.what, []).append(f"{fact.words} ({fact.source})")
    for what, words in said.items():
        yield capital(what) if what != "pH" else what, "; ".join(words)


def from_now_on(telling: Telling, plan: Planned) -> Section:
    """Prevention: the rules of the room, quarantine by source, contact times; what works against mycobacteria alone
    where they lead."""
    leading = {result.id for result in telling.shown_causes(4, 0.2)}
    told = prevention(telling.reference, mycobacteria="mycobacteriosis" in leading)
    cite = telling.bibliography.cite
    lasting = (step for step in plan.record.steps if step.urgency == "lasting" and not step.days)
    own = [step_words(telling, step) for step in lasting if step.kind in ("husbandry", "own")]
    blocks: list[Block] = []
    if own:
        blocks += [Heading("For these fish"), Points(tuple(own))]
    blocks += [Heading("For the fish room"), Points(told.rules, numbered=True)]
    quarantines = tuple(
        (capital(row.by), row.subject, _span(row.days_low, row.days_high), f"{row.note} {cite(row.sources)}".strip())
        for row in told.quarantines
    )
    head = ("Who says so", "For", "Days", "Note")
    caption = (
        f"Quarantine: {told.quarantine_days:g} days unless another rule holds. The sources disagree; all are shown."
    )
    blocks.append(Table(head, quarantines, (2, 1.4, 1, 3), caption))
    contacts = tuple(
        (
            capital(row.material),
            row.agent if row.amount is None else f"{row.agent}, {row.amount:g} {row.unit}",
            contact_words(row),
            f"{row.note} {cite(row.sources)}".strip(),
        )
        for row in told.disinfection
    )
    blocks.append(
        Table(
            ("What", "With", "How long", "Note"),
            contacts,
            (1.4, 2, 1, 3),
            "Nets, tanks, hands: how long it has to act.",
        )
    )
    return Section("prevention", "From now on", tuple(blocks))


def _span(low: float | None, high: float | None) -> str:
    if low is None:
        return "no length suffices"
    return f"{low:g}" if high is None or high == low else f"{low:g} to {high:g}"
