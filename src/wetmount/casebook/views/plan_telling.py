"""A plan in the words and figures of its page: what is known of the tank, the options compared, what was chosen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Final
from urllib.parse import urlencode

from django.urls import reverse
from msgspec import structs

from wetmount import case as core
from wetmount.casebook import clock
from wetmount.casebook.models import Case, Look, PlanChoice, PlanStep, TaskDue
from wetmount.casebook.services.planning import kept_facts, plan_of
from wetmount.casebook.services.weighing import Ready
from wetmount.casebook.shared_water import shared_water
from wetmount.casebook.views import dose_chart
from wetmount.casebook.views.plan_timing import Counted, burdens
from wetmount.cautions import CautionShown, cautions_for
from wetmount.course import DoseEvent
from wetmount.dose import DoseAnswer
from wetmount.dose_writing import write_quantity
from wetmount.forecast import MODELS
from wetmount.forecast.situation import treatments_for
from wetmount.hard_stops import THING_WORDS, THINGS
from wetmount.plan import Option, Plan, plan_for
from wetmount.plan.amounts import amounts_for, open_points
from wetmount.plan.choose import left_open
from wetmount.plan.courses import courses_of
from wetmount.plan.options import Cover, apart_words
from wetmount.plan.record import agent_name, agent_words, cautions_of_days, words_of
from wetmount.plan.sheets import KeeperSheet, sheet_of
from wetmount.plan.tank import SAME_WATER, KnownTank, tank_of
from wetmount.reference import Reference
from wetmount.weighup.results import WeighUp

KIND_WORDS: Final = {
    "husbandry": "husbandry", "treat": "agent", "examine": "examine more", "watch": "watch", "refer": "refer",
    "relieve": "relieve suffering",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class CoverShown:
    """A cause an option acts on: its chance of being to blame, the effect, the basis, and where its row opens."""

    name: str
    probability: float
    effect: float | None
    basis: str
    href: str


@dataclass(frozen=True, slots=True)
class OptionShown:
    """One option as a card of the page."""

    option: Option
    title: str
    text: str
    chosen: bool
    covers: tuple[CoverShown, ...]
    leaves: tuple[str, ...]
    supply: str
    dose_href: str
    days_href: str
    days: tuple[int, ...]

    @property
    def can_choose(self) -> bool:
        """Whether no stop stands against it."""
        return self.option.ready


@dataclass(frozen=True, slots=True)
class StepShown:
    """One chosen step: its row, its days, the lines of its amount, and what stands against it by now."""

    row: PlanStep
    days: tuple[dt.date, ...]
    lines: tuple[str, ...]
    open_points: tuple[str, ...]
    refused: str
    edited: bool
    was: str
    first: bool
    last: bool


@dataclass(frozen=True, slots=True)
class CourseShown:
    """The course of an agent, drawn for wide and narrow screens, with the sentence that says the same."""

    name: str
    first: dt.date
    last: dt.date
    unit: str
    volume: str
    drawings: tuple[dose_chart.Drawing, dose_chart.Drawing]
    told: str
    safe: bool
    words: tuple[str, ...]


GIVEN_ROWS: Final = 3
"""Places for agents that were given before the plan."""


class PlanPage:
    """What the page of one look's plan says. InputError where what is kept cannot be read."""

    def __init__(self, case: Case, look: Look, asked: Ready, weighup: WeighUp) -> None:
        self.case, self.look, self.weighup = case, look, weighup
        self.reference: Reference = asked.reference
        self.row: PlanChoice | None = plan_of(look)
        self.facts: core.Plan = kept_facts(look)
        self.water = shared_water(case, look.on or clock.today())
        self.core_look = structs.replace(core.looks_of(asked.record)[asked.place], plan=self.facts)
        self.tank: KnownTank = tank_of(
            asked.record, self.core_look, asked.evidence, self.reference,
            volume=self.water.volume, others=self.water.species, today=clock.today(),
        )  # fmt: skip
        self.plan: Plan = plan_for(weighup, self.tank.facts, self.reference)
        self.short = {row.id: row.name for row in self.reference.conditions.values()}

    # --- what was chosen ----------------------------------------------------------------------------------------------

    @property
    def is_chosen(self) -> bool:
        """Whether something was chosen, by somebody, for a reason."""
        return self.row is not None and bool(self.row.by)

    @cached_property
    def rows(self) -> list[PlanStep]:
        """The chosen steps."""
        return list(self.row.steps.all()) if self.row is not None else []

    @property
    def treatments(self) -> list[str]:
        """Agents that were chosen."""
        return [row.option for row in self.rows if row.kind == "treat" and row.option in self.reference.doses]

    @cached_property
    def answers(self) -> dict[str, DoseAnswer]:
        """The worked-out dose of each chosen agent."""
        return amounts_for(self.facts, self.tank.facts, self.reference, self.treatments)

    @cached_property
    def sheet(self) -> KeeperSheet:
        """The keeper's page."""
        stops = tuple(caution.headline for caution in self.agent_cautions if caution.severity == "stop")
        return sheet_of(self.facts, self.answers, self.reference, today=clock.today(), cautions=stops)

    @property
    def steps(self) -> Iterator[StepShown]:
        """The chosen steps with their amounts."""
        options = {option.id: option for option in self.plan.options}
        for record, row in zip(self.facts.steps, self.rows, strict=True):
            answer = self.answers.get(row.option)
            lines: tuple[str, ...] = ()
            points: tuple[str, ...] = ()
            if answer is not None:
                lines = answer.written if answer.state == "amount" else ()
                points = open_points(answer, self.reference)
            option = options.get(row.option)
            stops = option.stops if option is not None else ()
            was = self._own_words(row, option)
            yield StepShown(
                row,
                record.days,
                lines,
                points if not stops else (),
                stops[0].text if stops else "",
                bool(was) and was != row.text,
                was,
                row.pk == self.rows[0].pk,
                row.pk == self.rows[-1].pk,
            )

    def _own_words(self, row: PlanStep, option: Option | None) -> str:
        """What the step says in the words of the tables; empty for own words."""
        if row.kind == "treat" and row.option in self.reference.doses:
            return agent_words(row.option, self.reference)
        return words_of(option, self.reference) if option is not None else ""

    @property
    def courses(self) -> Iterator[CourseShown]:
        """What is in the water from day to day, of each agent that is given into the tank."""
        for one in courses_of(self.facts, self.answers, self.reference):
            doses = sum(isinstance(event, DoseEvent) for event in one.events)
            volume = self.tank.facts.volume
            least, most = (write_quantity(x, "L") for x in (volume.low_l, volume.high_l)) if volume else ("", "")
            yield CourseShown(
                agent_name(one.treatment, self.reference),
                one.first,
                one.first + dt.timedelta(days=one.days),
                write_quantity(1, one.unit).partition(" ")[2],
                f"Dosed for {least}, the least it may hold." if least == most else
                f"For {least} to {most}, which it may hold.",
                dose_chart.drawings(one.report, one.weaker, one.events, one.unit, one.days),
                dose_chart.told(one.report, one.unit, one.days, doses),
                one.report.safe,
                one.report.words,
            )  # fmt: skip

    @property
    def left_open(self) -> list[str]:
        """What opened the way and no chosen step changes."""
        ids = [row.option for row in self.rows]
        return [self.short[id] for id in left_open(self.plan, ids)] if self.is_chosen else []

    @property
    def apart(self) -> list[str]:
        """Which of the chosen agents must not meet."""
        return list(apart_words(self.treatments, self.reference))

    @property
    def day_cautions(self) -> list[str]:
        """Where the days go beyond the table."""
        return list(cautions_of_days(self.facts, self.reference))

    @property
    def agent_cautions(self) -> list[CautionShown]:
        """Cautions of the chosen agents."""
        shown = cautions_for(self.reference, agents=self.treatments)
        return [one for one in shown if one.because]

    @property
    def further_cautions(self) -> list[CautionShown]:
        """Cautions of the chosen agents that are no stop; those stand at the head of the page."""
        return [one for one in self.agent_cautions if one.severity != "stop"]

    @property
    def tasks(self) -> tuple[int, int]:
        """Tasks on Today that came of this plan: how many, how many done."""
        states = list(TaskDue.objects.filter(plan=self.row).values_list("done_at", flat=True)) if self.row else []
        return len(states), sum(done is not None for done in states)

    # --- head ---------------------------------------------------------------------------------------------------------

    @property
    def place(self) -> str:
        """Where the fish are, for the title."""
        return self.water.name or str(self.case.which_fish or self.case.title)

    @property
    def leading(self) -> str:
        """What the plan is against, in a sentence."""
        names = [self.short[id] for id in self.plan.leading[:4]]
        words = f"Against {', '.join(names)}." if names else "No cause leads."
        opened = [self.short[id] for id in self.plan.opened if id not in self.plan.leading]
        return words + (f" What opened the way: {', '.join(opened)}." if opened else "")

    @property
    def notifiable(self) -> list[str]:
        """Causes among the leading ones that the law may want reported."""
        rows = [self.reference.conditions[id] for id in self.plan.leading]
        return [row.name for row in rows if row.notifiable != "no"]

    @property
    def first_day(self) -> str:
        """The first day of the plan, for its field."""
        kept = self.row.first if self.row is not None else None
        return max(kept or clock.today(), clock.today()).isoformat()

    # --- the form of water and fish -----------------------------------------------------------------------------------

    @property
    def said(self) -> list[tuple[str, list[tuple[str, str]]]]:
        """What is known of the tank: by what it is about, its words and where each is from."""
        about: dict[str, list[tuple[str, str]]] = {}
        for fact in self.tank.said:
            about.setdefault(fact.what, []).append((fact.words, fact.source))
        return list(about.items())

    @property
    def asked(self) -> list[tuple[str, str, str]]:
        """What is asked of the water: id, words, answer."""
        return [(thing, THING_WORDS[thing], self.facts.living.get(thing, "")) for thing in THINGS]

    @property
    def given(self) -> list[tuple[int, str, str, str]]:
        """Rows of what was given before, the kept ones and empty ones after: number, agent, day, water changed."""
        kept = [(one.option, one.date.isoformat(), f"{one.changed_percent:g}") for one in self.facts.given or ()]
        rows = (*kept, *[("", "", "")] * (GIVEN_ROWS - len(kept)))
        return [(n, *row) for n, row in enumerate(rows[:GIVEN_ROWS], 1)]

    @property
    def nothing_given(self) -> bool:
        """Whether it was said that nothing was given before."""
        return self.facts.given == ()

    @property
    def agents(self) -> list[tuple[str, str]]:
        """Every agent that may have been given."""
        named = ((id, agent_name(id, self.reference)) for id in self.reference.doses)
        return sorted(named, key=lambda one: one[1])

    @property
    def lawful(self) -> str:
        """Whether restricted agents are lawful here, for its field."""
        return {True: "yes", False: "no", None: ""}[self.facts.lawful_here]

    @property
    def volume_text(self) -> str:
        """The volume the options were compared for, as it is written down with a choice."""
        volume = self.tank.facts.volume
        if volume is None:
            return ""
        low, high = (f"{litres:.1f}".removesuffix(".0") + " L" for litres in (volume.low_l, volume.high_l))
        return low if low == high else f"{low} to {high}"

    @property
    def others_in_water(self) -> list[str]:
        """The other fish of the same water, as the fish room knows them."""
        return [fact.words for fact in self.tank.said if fact.what == "fish" and fact.source.startswith(SAME_WATER)]

    # --- options ------------------------------------------------------------------------------------------------------

    @cached_property
    def counted(self) -> dict[str, Counted]:
        """Burdens counted in the case, by the condition they belong to."""
        return burdens(self.case, self.reference)

    @cached_property
    def shown(self) -> list[OptionShown]:
        """Every option, in the order of the plan."""
        chosen = {row.option for row in self.rows}
        return [self._shown(option, option.id in chosen) for option in self.plan.options]

    def _of(self, *kinds: str, ready: bool = True, urgency: str | None = None) -> list[OptionShown]:
        return [
            one
            for one in self.shown
            if one.option.kind in kinds
            and (one.option.ready and one.option.not_first is None) == ready
            and urgency in (None, one.option.urgency)
        ]

    @property
    def groups(self) -> list[tuple[str, str, list[OptionShown]]]:
        """Options in groups with a heading and a line, the first to be done first."""
        first = self._of("refer", urgency="now")
        others = [one for one in self._of("watch", "examine", "refer", "relieve") if one not in first]
        told = [one for one in others if one.option.kind != "examine" or not _worthless(one.option)]
        groups = [
            ("Before anything else", "The law comes first.", first),
            ("Husbandry first", "Costs little and harms nobody; what it covers is not in numbers.",
             self._of("husbandry", urgency="now")),
            ("Agents", "In the order in which they would be taken: what mends the water, then what covers most.",
             self._of("treat")),
            ("From now on", "What keeps it from coming back.", self._of("husbandry", urgency="lasting")),
            ("Or: watch, examine more, refer, relieve",
             "Held against the same causes; by itself none covers what could be put in numbers.", told),
        ]  # fmt: skip
        return [group for group in groups if group[2]]

    @property
    def folded(self) -> list[tuple[str, list[OptionShown]]]:
        """What is refused here or must not come first, and examinations that would change little."""
        worthless = [one for one in self._of("examine") if _worthless(one.option)]
        refused = self._of("treat", ready=False)
        groups = [("refused here, or not first", refused), ("examinations that would change little", worthless)]
        return [(f"{len(rows)} {words}", rows) for words, rows in groups if rows]

    def _shown(self, option: Option, chosen: bool) -> OptionShown:
        row = self.reference.doses.get(option.id) if option.kind == "treat" else None
        dose = days = ""
        if row is not None:
            dose = f"{reverse('dose')}?{urlencode({'case': self.case.number, 'agent': option.id})}"
            days = self._days_href(option)
        agent = self.facts.agents.get(option.id)
        return OptionShown(
            option,
            option.title[:1].upper() + option.title[1:] if row is None else agent_name(option.id, self.reference),
            option.text if row is None else option.text[:1].upper() + option.text[1:],
            chosen,
            tuple(self._cover(option, cover) for cover in option.covers)
            if option.kind in ("husbandry", "treat")
            else (),
            tuple(self.short[id] for id in option.leaves_open) if option.kind == "treat" else (),
            row.supply if row is not None else "",
            dose,
            days,
            agent.days if agent is not None else (),
        )

    def _cover(self, option: Option, cover: Cover) -> CoverShown:
        if option.kind == "treat":
            href = reverse("reference_row", args=["treatments", option.id])
        else:
            table, _, rest = cover.row.partition(" ")
            href = f"{reverse('reference_table', args=[table])}?{urlencode({'of': rest.partition(',')[0]})}"
        name = self.short[cover.condition]
        return CoverShown(name, cover.probability, cover.effect, cover.evidence, href)

    def _days_href(self, option: Option) -> str:
        """The forecast of a burden that was counted, with this agent: it finds the days to give it on."""
        for model in MODELS.values():
            counted = self.counted.get(model.condition)
            covers = any(cover.condition == model.condition for cover in option.covers)
            if counted is None or not covers or option.id not in treatments_for(model.condition, self.reference):
                continue
            asked = {"parasite": model.id, "treat": option.id, "asking": "1", **counted.asked}
            return f"{reverse('forecast_case', args=[self.case.number])}?{urlencode(asked)}"
        return ""


def _worthless(option: Option) -> bool:
    """An examination that is advised against, or would hardly ever change the leading cause."""
    return option.text.startswith(
        ("Expected to tell next to nothing", "Not worth", "Would change the leading cause under")
    )
