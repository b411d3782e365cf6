"""Which days to treat on, given the stages an agent spares.

Each schedule is run with expected values (the engine without chance) under several draws of the life cycle. Schedules
are ranked by the parasites after the same time for all. Told besides is what a schedule leaves the day
after its last giving: on the fish, and still to come from eggs, cysts and swimmers before any lays again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.errors import InputError
from wetmount.forecast import draw as drawing
from wetmount.forecast.engine import Event, Rules, Start, Window, run
from wetmount.forecast.lifecycle import Model, at_temperature, model_of
from wetmount.forecast.livebearers import flukes_of
from wetmount.forecast.rules import Published, how_it_differs, rule_of_stages, rules_for
from wetmount.forecast.situation import Situation, StageEffect, check_situation, effect_of
from wetmount.reference import Reference

Array = NDArray[np.float64]
Progress = Callable[[float], bool]

STAGES: Final = ("off", "free", "young", "adult", "seeking")
SHORTEST_HORIZON_DAYS: Final = 40
DRAWS: Final = 12
LONGEST_PLAN_DAYS: Final = 90
INTERVALS: Final = 13
"""Different intervals tried; in cold water they are more than a day apart."""
CLEAR_CHANCE: Final = 0.9
"""Chance of leaving none from which more treatments are not advised (the project's choice)."""
UNCROWDED: Final = 1e30
AS_GOOD: Final = 0.05
"""Of schedules whose rank is within this of the best, the shortest is taken."""
SHORTEST_REPEAT_DAYS: Final = 2
"""Least days between two givings that are tried; the label decides."""


@dataclass(frozen=True, slots=True)
class Schedule:
    """Days from the first giving; parasites left per one before it, in all, and the chance that none is left."""

    days: tuple[int, ...]
    left_per_one: float
    left: float
    later_per_one: float
    """Parasites after the time over which all schedules are compared, per one at the start."""
    clear_chance: float
    rank: float
    """Mean over the draws of ln(1 + parasites at that time): the least is best."""


Measure = Callable[[Sequence[tuple[int, ...]], Progress | None], list[Schedule]]


@dataclass(frozen=True, slots=True)
class Missed:
    """What it costs to be late: every giving after the first by so many days, or only the last."""

    days_late: int
    which: str
    schedule: Schedule


@dataclass(frozen=True, slots=True)
class RuleBeside:
    """A published rule beside the model's best of as many givings. `how`: agrees, or the model's is sooner or later;
    `why` it differs so, empty where it agrees or no reason is known."""

    words: str
    source: str
    basis: str
    schedule: Schedule
    best: Schedule
    how: str
    why: str

    @property
    def verdict(self) -> str:
        """The comparison in a sentence or two."""
        if self.how == "agrees":
            return (
                "the model agrees."
                if self.schedule.days == self.best.days
                else (f"the model agrees, give or take a day ({_on(self.best)}).")
            )
        told = f"the model is {self.how}. Published {_on(self.schedule)}; the model's {_on(self.best)}."
        return f"{told} Why: {self.why}." if self.why else f"{told} Why is not known."


def _on(schedule: Schedule) -> str:
    on = ", ".join(map(str, schedule.days))
    return f"day {on}: {schedule.left_per_one:.2g} left for each one, none in {schedule.clear_chance:.0%}"


@dataclass(frozen=True, slots=True)
class Plan:
    """The best schedule of each number of treatments, the next best, the advice, the cost of being late, what the rule
    of the stages asks for (empty where none is), and published rules beside the model's answer."""

    model: str
    treatment: str
    temperature_c: float
    best: tuple[Schedule, ...]
    next_best: tuple[Schedule, ...]
    advised: Schedule
    missed: tuple[Missed, ...]
    tried: int
    reason: str
    warnings: tuple[str, ...]
    rule_of_stages: str
    rules: tuple[RuleBeside, ...]

    @property
    def for_plan(self) -> str:
        """The advised days as `wetmount plan --days` takes them."""
        return f"{self.treatment}@{','.join(map(str, self.advised.days))}"


def plan_treatments(
    model_id: str,
    treatment: str,
    situation: Situation,
    reference: Reference,
    *,
    most: int = 4,
    seed: int = 1,
    progress: Progress | None = None,
) -> Plan:
    """Search the schedules of 1 to `most` givings of a treatment for the one that leaves fewest parasites.

    Raises InputError for an agent that makes the parasite grow faster, and for one whose spared stages are not known.
    `progress` is told the share done; False stops with InterruptedError.
    """
    model = model_of(model_id)
    check_situation(situation)
    if not 1 <= most <= 4:
        raise InputError(f"{most} treatments; accepted are 1 to 4", field="most")
    effect = effect_of(treatment, model.condition, reference)
    if effect.worse:
        raise InputError(
            f"{treatment.replace('_', ' ')} makes {model.name} grow faster than plain water: no schedule is worked out",
            field="treatment",
        )
    measure, longest, shortest = _measure(model, effect, situation, reference, seed)
    warmth = situation.temperature_on(0)
    published = rules_for(model, effect, warmth, most, shortest, reference)
    candidates = list(dict.fromkeys([*_candidates(most, longest, shortest), *(rule.days for rule in published)]))
    results = measure(candidates, progress)
    best, second = [], []
    for count in range(1, most + 1):
        ranked = _ranked([schedule for schedule in results if len(schedule.days) == count])
        best.append(ranked[0])
        second += ranked[1:2]
    advised = next((schedule for schedule in best if schedule.clear_chance >= CLEAR_CHANCE), None)
    reason = f"the fewest givings that leave none in {CLEAR_CHANCE:.0%} of the draws"
    if advised is None:
        advised = min(best, key=lambda schedule: schedule.rank)
        reason = "none of the schedules clears with confidence: this one leaves fewest; count again after it"
    late = [
        (by, which, _late(advised.days, by, which))
        for by, which in product((1, 2), ("all after the first", "the last"))
    ]
    missed = []
    if len(advised.days) > 1:
        measured = measure([days for _, _, days in late], None)
        missed = [Missed(by, which, found) for (by, which, _), found in zip(late, measured, strict=True)]
    if progress is not None:
        progress(1.0)
    warnings = ["doses, intervals and the most givings on the label come first"]
    if model.borrowed:
        warnings.append("no curve of this parasite is published: another species' is used, its uncertainty doubled")
    return Plan(
        model.id,
        treatment,
        warmth,
        tuple(best),
        tuple(second),
        advised,
        tuple(missed),
        len(candidates),
        reason,
        tuple(warnings),
        _stages_say(model, effect, warmth, reference),
        tuple(_beside(rule, results, best) for rule in published),
    )


def _stages_say(model: Model, effect: StageEffect, temperature_c: float, reference: Reference) -> str:
    if model.kind == "live_bearer":
        return ""
    return rule_of_stages(model, effect, drawing.needed(model, reference), temperature_c, acting_days(effect))


def _beside(rule: Published, results: Sequence[Schedule], best: Sequence[Schedule]) -> RuleBeside:
    own = next(schedule for schedule in results if schedule.days == rule.days)
    ours = best[len(rule.days) - 1]
    how = "agrees" if own.rank <= ours.rank + AS_GOOD else how_it_differs(own.days, ours.days)
    why = {"sooner": rule.rule.sooner, "later": rule.rule.later}.get(how, "")
    return RuleBeside(rule.words, rule.source, rule.basis, own, ours, how, why)


def _ranked(schedules: Sequence[Schedule]) -> list[Schedule]:
    """Least left first; among those about as good, the shortest first."""
    least = min(schedule.rank for schedule in schedules)
    good = [schedule for schedule in schedules if schedule.rank <= least + AS_GOOD]
    rest = sorted((s for s in schedules if s.rank > least + AS_GOOD), key=lambda s: s.rank)
    return [*sorted(good, key=lambda schedule: (schedule.days[-1], schedule.rank)), *rest]


def _late(days: tuple[int, ...], by: int, which: str) -> tuple[int, ...]:
    if which == "the last":
        return (*days[:-1], days[-1] + by)
    return (days[0], *(day + by for day in days[1:]))


def _candidates(most: int, longest: float, shortest: int) -> list[tuple[int, ...]]:
    """Schedules from day 0: every interval for two givings, every pair for three, and a first and a later interval
    for four, out of INTERVALS intervals up to the longest that can matter."""
    step = max(1, math.ceil((longest - shortest) / (INTERVALS - 1)))
    intervals = [shortest + step * place for place in range(INTERVALS)]
    found: list[tuple[int, ...]] = [(0,)]
    if most >= 2:
        found += [(0, a) for a in intervals]
    if most >= 3:
        found += [(0, a, a + b) for a, b in product(intervals, intervals) if a + b <= LONGEST_PLAN_DAYS]
    if most >= 4:
        found += [(0, a, a + b, a + 2 * b) for a, b in product(intervals, intervals) if a + 2 * b <= LONGEST_PLAN_DAYS]
    return found


def _measure(
    model: Model, effect: StageEffect, situation: Situation, reference: Reference, seed: int
) -> tuple[Measure, float, int]:
    """A function that measures schedules; and the longest and shortest interval worth trying."""
    if model.kind == "live_bearer":
        return _measure_flukes(model, effect, situation, reference)
    need = drawing.needed(model, reference)
    per_day = drawing.steps_per_day(need, situation, LONGEST_PLAN_DAYS)
    middle = drawing.draw(model, need, reference, situation, LONGEST_PLAN_DAYS, per_day, 1, 1, None)
    generation = float(middle.generation_days[0, 0])
    longest = min(generation * 1.2, LONGEST_PLAN_DAYS / 3) if math.isfinite(generation) else LONGEST_PLAN_DAYS / 3
    lasting = acting_days(effect)

    def measure(schedules: Sequence[tuple[int, ...]], progress: Progress | None) -> list[Schedule]:
        days = max(SHORTEST_HORIZON_DAYS, *(schedule[-1] + lasting for schedule in schedules))
        rng = np.random.default_rng(seed)  # the same draws whatever is measured
        events = _events(effect, schedules, days, per_day)
        left, later = np.zeros((2, DRAWS, len(schedules)))
        at_start = 0.0
        for number in range(DRAWS):
            if progress is not None and not progress(number / DRAWS):
                raise InterruptedError("stopped")
            drawn = drawing.draw(model, need, reference, situation, days, per_day, 1, 1, rng, expected_start=True)
            left[number], later[number] = left_behind(drawn.rules, drawn.start, effect, schedules, days, events)
            at_start = float(drawn.start.young[0, 0] + drawn.start.adult[0, 0])
        return _schedules(schedules, left, later, at_start)

    return measure, max(longest, lasting + SHORTEST_REPEAT_DAYS), max(SHORTEST_REPEAT_DAYS, lasting)


def acting_days(effect: StageEffect) -> int:
    """Days for which one giving acts, whole."""
    return max(1, *(round(acts) for *_, acts in effect.stages.values()))


def _events(effect: StageEffect, schedules: Sequence[tuple[int, ...]], days: int, per_day: int) -> dict[int, Event]:
    """What each schedule does to each stage, by step; one row a schedule."""
    survival = {stage: share for stage, (share, *_) in effect.stages.items()}
    shares: dict[int, dict[str, Array]] = {}
    for row, schedule in enumerate(schedules):
        for step, event in drawing.acting(effect, survival, schedule, days, per_day).items():
            here = shares.setdefault(step, {stage: np.ones((len(schedules), 1)) for stage in STAGES})
            for stage in STAGES:
                here[stage][row] = getattr(event, stage)
    return {step: Event(**shares[step]) for step in sorted(shares)}


def left_behind(
    rules: Rules,
    start: Start,
    effect: StageEffect,
    schedules: Sequence[tuple[int, ...]],
    days: int,
    events: Mapping[int, Event] | None = None,
) -> tuple[Array, Array]:
    """Expected parasites that each schedule leaves: the day after its last giving stopped acting, and after `days`.

    Counted are those on the fish and those of the day's eggs, cysts and swimmers that will still settle. `rules` and
    `start` hold one set and one repeat; `events` are the schedules by step, when they are worked out already.
    """
    lasting, number = acting_days(effect), len(schedules)
    if events is None:
        events = _events(effect, schedules, days, round(1 / rules.dt))
    track = run(_tiled(rules, number), _tiled_start(start, number), days, events=events)
    settling = float(np.mean(rules.free_settle / (rules.free_settle + rules.free_death)))
    yields = float((rules.cyst_success * rules.offspring)[0, 0]) if rules.divides else 1.0
    alive: Array = (track.on_fish + settling * (track.free + yields * track.off))[..., 0]
    ends = np.minimum(np.array([schedule[-1] + lasting for schedule in schedules]), days)
    return alive[ends, np.arange(number)], alive[-1]


def _tiled(rules: Rules, number: int) -> Rules:
    """The rules of one set for several schedules side by side."""

    def wide(window: Window) -> Window:
        leaves, progress = window.leaves, window.progress
        return Window(
            np.broadcast_to(progress, (progress.shape[0], number, progress.shape[2])),
            np.broadcast_to(leaves, (leaves.shape[0], number, leaves.shape[2])),
        )

    # without crowding: where every schedule ends in a full tank, none would be better than another
    return replace(rules, off=wide(rules.off), young=wide(rules.young), crowding=np.full((1, 1), UNCROWDED))


def _tiled_start(start: Start, number: int) -> Start:
    return Start(*(np.repeat(stock, number, axis=0) for stock in (start.off, start.free, start.young, start.adult)))


def _schedules(schedules: Sequence[tuple[int, ...]], left: Array, later: Array, at_start: float) -> list[Schedule]:
    """Over the draws: middle figures, since one explosive draw would rule a mean; what is left being few and
    independent, none is left with exp(-expected)."""
    clear = np.exp(-left).mean(axis=0)
    middle, end, rank = np.median(left, axis=0), np.median(later, axis=0), np.log1p(later).mean(axis=0)
    per_one = max(at_start, 1e-9)
    return [
        Schedule(
            days, float(middle[i]) / per_one, float(middle[i]), float(end[i]) / per_one, float(clear[i]), float(rank[i])
        )
        for i, days in enumerate(schedules)
    ]


def _measure_flukes(
    model: Model, effect: StageEffect, situation: Situation, reference: Reference
) -> tuple[Measure, float, int]:
    """Live-bearers spare no stage: each giving leaves a share, which then grows until the next."""
    found = flukes_of(model, reference)
    growth = float(at_temperature(found.growth, np.array([situation.temperature_on(0)]))[0])
    survival = effect.stages["on_adult"][0]
    start = max(situation.burden, situation.burden_high / 3) * situation.fish
    lasting = acting_days(effect)

    def measure(schedules: Sequence[tuple[int, ...]], progress: Progress | None) -> list[Schedule]:
        horizon = max(SHORTEST_HORIZON_DAYS, *(days[-1] for days in schedules))
        left = [start * survival ** len(days) * math.exp(growth * days[-1]) for days in schedules]
        later = [start * survival ** len(days) * math.exp(growth * horizon) for days in schedules]
        return _schedules(schedules, np.array([left]), np.array([later]), start)

    return measure, SHORTEST_REPEAT_DAYS + INTERVALS - 1.0, max(SHORTEST_REPEAT_DAYS, lasting)
