"""A weigh-up in the words and figures of its page: nothing is worked out here but how to say it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from wetmount.casebook.services.preferences import Preferences
from wetmount.casebook.services.weighing import Ready, Standing
from wetmount.casebook.steps import step_for_examination
from wetmount.casebook.templatetags.look import percent
from wetmount.casebook.views.weigh_figures import groups_of_cause
from wetmount.cautions import CautionShown
from wetmount.reference import Reference
from wetmount.report.telling import Telling, begin
from wetmount.report.words import FIRM, capital, duration, factor, field_of, level_words, listed
from wetmount.weighup.next_examination import DONE_SHARE, LIKE_NOTHING
from wetmount.weighup.results import ConditionResult, NextExamination, Reason, WeighUp

SHOWN: Final = 6
"""Causes that stand as rows of their own: the first three, and further ones from `SHOWN_FROM`."""
SHOWN_FROM: Final = 0.05
FOR: Final = 5
AGAINST: Final = 3
NOT_LOOKED: Final = 3
"""Reasons shown each way, and findings that were not looked at."""
TELLING_FROM: Final = 0.08
"""In log10 of a factor: between 0.83 and 1.2 it says nothing worth a line."""
EXPLANATIONS: Final = 4
OPENED: Final = 4
OPTIONS: Final = 3
"""Examinations that stand open; the others are folded."""


@dataclass(frozen=True, slots=True)
class Line:
    """A reason: its round field, its words, its factor, and the factor as a length on the log scale (0 to 46)."""

    glyph: str
    words: str
    factor: str
    length: float
    left: float


@dataclass(frozen=True, slots=True)
class Unlooked:
    """A finding that was not looked at: how often this cause brings it, and how often something outside the tables."""

    words: str
    where: str
    with_cause: str
    without: str


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause as a row; `lead` is the figure it is ranked by."""

    rank: int
    id: str
    name: str
    what: str
    lead: float
    result: ConditionResult
    speaks_for: tuple[Line, ...]
    speaks_against: tuple[Line, ...]
    not_looked: tuple[Unlooked, ...]
    rows: int


@dataclass(frozen=True, slots=True)
class Option:
    """An examination that could come next, with its price and where it is done."""

    id: str
    name: str
    time: str
    money: str
    fish: str
    says: str
    step: str
    begun: bool
    own_cost: bool


@dataclass(frozen=True, slots=True)
class Used:
    """One finding or answer that was weighed, and how it came about."""

    glyph: str
    words: str
    trace: str


class WeighUpPage:
    """What the page of one look's weigh-up says."""

    def __init__(self, ready: Ready, standing: Standing, chosen: Preferences) -> None:
        self.ready, self.standing, self.chosen = ready, standing, chosen
        self.reference: Reference = ready.reference
        self.weighup: WeighUp = standing.weighup
        self.telling: Telling = begin(ready.record, standing.weighup, ready.reference, teaching=False)
        self.by_presence = self.telling.ranked_by_presence
        self.names = self.telling.short_names

    def has(self, stage: str) -> bool:
        """Whether a stage was worked out."""
        return stage in self.standing.stages

    # --- head ---------------------------------------------------------------------------------------------------------

    @property
    def entered(self) -> str:
        """How much was entered, in a sentence."""
        evidence = self.weighup.evidence
        clear = [one for one in evidence.observations if not one.level]
        swept = sum(one.sure == "swept" for one in clear)
        text = f"{_count(len(evidence.observations), 'finding')}, {len(clear)} of them looked for and not seen"
        text += f" ({swept} at a glance)" if swept else ""
        return text + (f"; {_count(len(evidence.answers), 'answer')} of the history." if evidence.answers else ".")

    @property
    def about(self) -> str:
        """Which fish and water it was weighed for."""
        evidence = self.weighup.evidence
        group = self.reference.host_groups.get(evidence.host_group or "")
        host = self.telling.host_name if group else "Fish of a kind that was not said: weighed as any fish"
        if evidence.temperature_c is None:
            return f"{capital(host)}, temperature not measured."
        return f"{capital(host)}, water at {self.chosen.show(evidence.temperature_c, 'temperature')}."

    # --- firmness -----------------------------------------------------------------------------------------------------

    @property
    def firm_word(self) -> str:
        """How firm the answer is, in a word or two."""
        firm = self.weighup.firmness
        return capital(next(word for share, word in FIRM if firm.share >= share)) if firm else ""

    @property
    def firm_ticks(self) -> tuple[tuple[int, bool], ...]:
        """A hundred ticks: place, and whether the leading cause stays first in that hundredth of the redraws."""
        held = round(100 * self.weighup.firmness.share) if self.weighup.firmness else 0
        return tuple((2 + 4 * k, k < held) for k in range(100))

    @property
    def held(self) -> int:
        """In how many of a hundred redraws the leading cause stays first."""
        return round(100 * self.weighup.firmness.share) if self.weighup.firmness else 0

    @property
    def leading(self) -> str:
        return self.names[self.weighup.conditions[0].id]

    @property
    def runner_up(self) -> str:
        """Who leads in the other redraws, in a sentence; empty when nobody does."""
        firm = self.weighup.firmness
        if firm is None or firm.runner_up is None or round(100 * firm.runner_up_share) == 0:
            return ""
        return f"{self.names[firm.runner_up]} leads in {round(100 * firm.runner_up_share)}."

    # --- causes -------------------------------------------------------------------------------------------------------

    @property
    def causes(self) -> tuple[Cause, ...]:
        """The causes that stand as rows."""
        return tuple(self.cause(place) for place in range(self._shown()))

    @property
    def others(self) -> tuple[tuple[str, str, float], ...]:
        """(id, name, figure) of every other cause, in rank order."""
        return tuple((one.id, one.name, self._lead(one)) for one in self.weighup.conditions[self._shown() :])

    @property
    def others_at_most(self) -> float:
        return max((lead for _, _, lead in self.others), default=0.0)

    def cause(self, place: int) -> Cause:
        """One cause in words; `place` counts from 0."""
        result = self.weighup.conditions[place]
        condition = self.reference.conditions[result.id]
        reasons = self.weighup.reasons.get(result.id, ())
        return Cause(
            rank=place + 1,
            id=result.id,
            name=self.names[result.id],
            what=condition.agent or condition.group.replace("_", " "),
            lead=self._lead(result),
            result=result,
            speaks_for=self._lines([one for one in reasons if one.weight >= TELLING_FROM][:FOR]),
            speaks_against=self._lines([one for one in reversed(reasons) if one.weight <= -TELLING_FROM][:AGAINST]),
            not_looked=self._not_looked(result.id),
            rows=sum(len(group.figures) for group in groups_of_cause(result.id, self.weighup, self.reference)),
        )

    def _shown(self) -> int:
        ranked = self.weighup.conditions
        return sum(1 for k, one in enumerate(ranked[:SHOWN]) if k < 3 or self._lead(one) >= SHOWN_FROM)

    def _lead(self, result: ConditionResult) -> float:
        return result.probability if self.by_presence else result.responsible

    def _lines(self, reasons: Iterable[Reason]) -> tuple[Line, ...]:
        lines = []
        for reason in reasons:
            length = 46 * min(abs(reason.weight), 2.0) / 2.0
            left = 48.0 if reason.weight > 0 else 48.0 - length
            lines.append(Line(self._glyph(reason), self.reason_words(reason), factor(reason.weight), length, left))
        return tuple(lines)

    def reason_words(self, reason: Reason) -> str:
        """What a reason rests on, in words."""
        return reason_words(reason.findings, reason.level, self.reference)

    def _glyph(self, reason: Reason) -> str:
        findings, level = reason.findings, reason.level
        if findings in (("host",), ("temperature",)) or self.reference.findings[findings[0]].kind in (
            "cause",
            "effect",
        ):
            return ""
        seen = {one.finding: one for one in self.weighup.evidence.observations}
        sure = seen[findings[0]].sure if findings[0] in seen else "sure"
        return field_of(self.reference.findings[findings[0]], level, sure)

    def _not_looked(self, condition: str) -> tuple[Unlooked, ...]:
        """What was not looked at and this cause would most often bring, against what comes from elsewhere anyway."""
        looked = {one.finding for one in self.weighup.evidence.observations}
        leaks = {row.finding: row.probability for row in self.reference.leaks if row.level == 1}
        found = [
            (row.probability / max(leaks.get(row.finding, 1.0), 1e-6), row)
            for row in self.reference.links
            if row.condition == condition and row.level == 1 and row.finding not in looked and row.probability >= 0.2
        ]
        told = []
        for _, row in sorted(found, key=lambda one: -one[0])[:NOT_LOOKED]:
            finding = self.reference.findings[row.finding]
            where = self.reference.examinations[finding.examination].name
            told.append(Unlooked(finding.name, where, percent(row.probability), percent(leaks[row.finding])))
        return tuple(told)

    # --- together -----------------------------------------------------------------------------------------------------

    @property
    def explanations(self) -> tuple[tuple[str, float], ...]:
        """(conditions in words, share) of the likeliest sets."""
        return tuple(
            (" + ".join(self.names[id] for id in one.conditions) or "causes outside the tables", one.probability)
            for one in self.weighup.explanations[:EXPLANATIONS]
        )

    @property
    def other_explanations(self) -> float:
        """Share of all other sets."""
        shown = self.weighup.explanations[EXPLANATIONS:]
        return self.weighup.remaining_probability + sum(one.probability for one in shown)

    @property
    def opened(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """(what opened the way, for each cause: its name with the chance that this is there and the odds it brings)."""
        by_parent: dict[str, list[str]] = {}
        for one in self.weighup.opened_the_way:
            words = f"{self.names[one.condition]} (there {percent(one.probability)}, odds × {one.odds:g})"
            by_parent.setdefault(one.parent, []).append(words)
        return tuple((self.names[parent], tuple(words)) for parent, words in list(by_parent.items())[:OPENED])

    @property
    def unexplained(self) -> tuple[tuple[str, float], ...]:
        """(finding in words, chance that no cause of the tables brought it)."""
        return tuple(
            (reason_words(one.findings, one.level, self.reference), one.probability) for one in self.weighup.unexplained
        )

    # --- next ---------------------------------------------------------------------------------------------------------

    @property
    def options(self) -> tuple[Option, ...]:
        """What to look at next, best for its price first; those that would tell next to nothing are left out."""
        telling = [one for one in self.weighup.next_examinations or () if one.information_bits >= LIKE_NOTHING]
        return tuple(self._option(one) for one in telling)

    @property
    def unfinished(self) -> tuple[Option, ...]:
        """Asking, counting, looking: what comes before any instrument and was not done."""
        return tuple(self._option(one) for one in self.weighup.unfinished if one.information_bits >= LIKE_NOTHING)

    @property
    def first_option(self) -> str:
        return self.options[0].id if self.options else ""

    @property
    def open_options(self) -> tuple[Option, ...]:
        """The first few, and the best laboratory test if it is not among them."""
        return self.options[:OPTIONS]

    @property
    def folded_options(self) -> tuple[Option, ...]:
        return self.options[OPTIONS:]

    def _option(self, one: NextExamination) -> Option:
        step = step_for_examination(one.id)
        own = self.chosen.costs.get(one.id)
        return Option(
            id=one.id,
            name=capital(one.name),
            time=duration(one.minutes),
            money=f"{one.money:.2f}" if one.money else "none",
            fish="one" if one.gives_up_fish else "none",
            says=_says(one),
            step=step.id if step is not None else "laboratory" if one.laboratory else "hand",
            begun=0 < self.weighup.evidence.examinations_done.get(one.id, 0.0) < DONE_SHARE,
            own_cost=own is not None,
        )

    @property
    def stops(self) -> tuple[CautionShown, ...]:
        """The cautions that come before everything else."""
        return tuple(one for one in self.telling.cautions if one.severity == "stop")

    @property
    def other_cautions(self) -> tuple[CautionShown, ...]:
        return tuple(one for one in self.telling.cautions if one.severity != "stop")

    # --- what was used ------------------------------------------------------------------------------------------------

    @property
    def used(self) -> tuple[Used, ...]:
        """Every finding and answer that was weighed."""
        evidence, findings = self.weighup.evidence, self.reference.findings
        seen = [
            Used(
                field_of(findings[one.finding], one.level, one.sure),
                capital(level_words(findings[one.finding], one.level, one.sure)),
                self.chosen.beside("; ".join(one.trace)),
            )
            for one in evidence.observations
        ]
        answers = [
            Used("", capital(level_words(findings[id], int(yes))), evidence.answer_trace.get(id, ""))
            for id, yes in evidence.answers.items()
        ]
        return (*seen, *answers)

    @property
    def notes(self) -> tuple[tuple[str, str], ...]:
        """What was entered and not used, or contradicts a reading: (finding, why)."""
        evidence, findings = self.weighup.evidence, self.reference.findings
        gone = [(one, "left out: the reference has no such row") for one in self.ready.left_out]
        contradicted = [(capital(findings[one.finding].name), one.why) for one in evidence.contradictions]
        ignored = [(capital(findings[one.finding].name), f"left out: {one.why}") for one in evidence.ignored]
        return tuple((name, self.chosen.beside(why)) for name, why in (*gone, *contradicted, *ignored))


def reason_words(findings: Sequence[str], level: int, reference: Reference) -> str:
    """What a reason rests on, in words: a finding at its level, several as one, the host or the temperature."""
    if list(findings) == ["host"]:
        return "the kind of fish"
    if list(findings) == ["temperature"]:
        return "the temperature of the water"
    if len(findings) == 1:
        return level_words(reference.findings[findings[0]], level)
    names = listed(reference.findings[id].name for id in findings)
    return names if level else f"{names}: looked, not seen"


def _says(one: NextExamination) -> str:
    if not one.laboratory and one.changes_leading < 0.005:
        return "Hardly ever changes which cause leads; it tells about the others."
    return one.advice


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
