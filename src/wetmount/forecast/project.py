"""The forecast: many possible courses of a burden, with and without what could be done, and when to look again."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date as Date
from datetime import timedelta
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from wetmount.errors import InputError
from wetmount.forecast import draw as drawing
from wetmount.forecast.engine import run
from wetmount.forecast.lifecycle import Figure, Model, model_of
from wetmount.forecast.livebearers import FOLLOWED, HostDay, flukes_of, run_flukes
from wetmount.forecast.situation import (
    LONGEST_DAYS,
    LaterCount,
    Situation,
    StageEffect,
    Treatment,
    check_counts,
    check_situation,
    check_treatment,
    effect_of,
)
from wetmount.reference import Reference

Array = NDArray[np.float64]
Progress = Callable[[float], bool]
"""Told the share done (0-1); answers False to stop."""

HORIZON_DAYS: Final = 28
TRAJECTORIES: Final = 10_000
SMALLEST_CHUNK: Final = 100
CHUNKS: Final = 2
REPORTED_DAYS: Final = (7, 14, 28)
FAN: Final = (0.05, 0.25, 0.5, 0.75, 0.95)
MORE_WATER: Final = (0.5, 2.0)
"""What "more water changes" means: this share every so many days (the project's choice)."""
LOOK_AT_RISK: Final = 0.05
"""Added chance of a harmful burden at which one should have looked (the project's choice)."""
LATEST_LOOK_DAYS: Final = 14
FEW_EFFECTIVE: Final = 100
FAR_BEYOND: Final = 5.0
"""Times the harmful burden from which a course is told to be a loss of fish (the project's choice)."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """One way of going on: chance of a harmful burden by day, the fan of the mean burden, the chance of being gone.

    `harmful_by` day -> chance that the heaviest fish has reached a harmful burden by then; `harmful_mean_by` the same
    for the mean over fish. `fan` holds quantiles FAN of parasites per fish by day.
    """

    id: str
    name: str
    harmful_by: Mapping[int, float]
    harmful_mean_by: Mapping[int, float]
    gone_by: Mapping[int, float]
    fan: tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class HangsOn:
    """A figure the answer hangs on: share of the variance of "harmful by the last reported day" that it explains,
    and that chance in the lowest and in the highest third of its draws."""

    parameter: str
    share: float
    chance_low: float
    chance_high: float


@dataclass(frozen=True, slots=True)
class LookAgain:
    """When to look again and why; `date` is None without a starting date."""

    in_days: int
    date: Date | None
    reason: str
    sooner_if: str
    harmful_by_then: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """A forecast with what it rests on."""

    model: str
    name: str
    days: int
    trajectories: int
    look_again: LookAgain
    outlooks: tuple[Outlook, ...]
    hangs_on: tuple[HangsOn, ...]
    harmful_burden: float
    steps_per_day: int
    step_error: float
    """Largest relative error of expected numbers from the steps; 0 for live-bearers, whose step is exact."""
    effective: float | None
    """Effective number of trajectories after later counts were weighed in; None without any."""
    warnings: tuple[str, ...]
    rows: tuple[str, ...]
    """Rows of the life-cycle table it rests on: parasite, quantity, basis."""
    memory_share: float
    """Share of those figures that rest on memory or on the project's own estimate."""
    seed: int
    reference_version: str


@dataclass(frozen=True, slots=True)
class _Course:
    """Trajectories of one way of going on, flat: on the fish by (day, trajectory), the heaviest, and whether gone."""

    mean: Array
    heaviest: Array
    gone: NDArray[np.bool_]
    harmful: Array
    parameters: Mapping[str, Array]
    aggregation: Array


def forecast(
    model_id: str,
    situation: Situation,
    reference: Reference,
    *,
    treatment: Treatment | None = None,
    later_counts: Sequence[LaterCount] = (),
    days: int = HORIZON_DAYS,
    trajectories: int = TRAJECTORIES,
    seed: int = 1,
    progress: Progress | None = None,
) -> Forecast:
    """Forecast a burden under nothing more, more water changes and a treatment (when one is given).

    The same draws of parameters and of the start are used for each, so that differences are those of the action.
    `progress` is told the share done and stops the forecast by answering False (InterruptedError).
    """
    model = model_of(model_id)
    check_situation(situation)
    if not 1 <= days <= LONGEST_DAYS:
        raise InputError(f"{days} days; accepted are 1 to {LONGEST_DAYS}", field="days")
    if not 10 <= trajectories <= 1_000_000:
        raise InputError(f"{trajectories} trajectories; accepted are 10 to 1000000", field="trajectories")
    check_counts(later_counts, days)
    plans: list[tuple[str, str, bool, StageEffect | None]] = [("nothing", "nothing more", False, None)]
    every = MORE_WATER[1]
    plans.append(("water", f"half the water changed every {every:g} days", True, None))
    effect = None
    if treatment is not None:
        check_treatment(treatment, days)
        effect = effect_of(treatment.treatment, model.condition, reference)
        on = ", ".join(str(day) for day in treatment.days)
        plans.append(("treatment", f"{treatment.treatment.replace('_', ' ')} on day {on}", False, effect))
    given = treatment.days if treatment is not None else ()
    outlooks, base, weights = [], None, None
    for number, (id, name, more_water, stages) in enumerate(plans):
        part = _part_of(progress, number, len(plans))
        course = _courses(model, situation, reference, more_water, stages, given, days, trajectories, seed, part)
        if base is None:
            base, weights = course, _weights(course, later_counts, situation)
        outlooks.append(_outlook(id, name, course, weights, days))
    assert base is not None
    figures, per_day, warnings = _basis(model, situation, reference, days, later_counts)
    if effect is not None and effect.worse:
        warnings.append(f"{effect.treatment.replace('_', ' ')} makes this parasite grow faster: do not use it for this")
    effective = None if weights is None else float(1 / (weights**2).sum())
    if outlooks[0].fan[-1][-1] > FAR_BEYOND * float(np.median(base.harmful)):
        warnings.append("the highest courses are beyond what fish survive: read them as losses, not as counts")
    if effective is not None and effective < FEW_EFFECTIVE:
        warnings.append(
            f"the later counts fit only {effective:.0f} of the courses: the forecast is unsure, count again"
        )
    doubtful = [row for found in figures for row in found.rows if row.basis != "published"]
    rows = [row for found in figures for row in found.rows]
    return Forecast(
        model.id,
        model.name,
        days,
        trajectories,
        _look_again(model, situation, outlooks[0], days),
        tuple(outlooks),
        _hangs_on(base, weights, days),
        float(np.median(base.harmful)),
        per_day,
        0.0 if model.kind == "live_bearer" else drawing.STEP_ERROR,
        effective,
        tuple(warnings),
        tuple(f"{row.parasite}: {row.quantity} ({row.basis})" for row in rows),
        len(doubtful) / len(rows),
        seed,
        reference.version,
    )


def _part_of(progress: Progress | None, number: int, of: int) -> Progress | None:
    return None if progress is None else lambda done: progress((number + done) / of)


def _basis(
    model: Model, situation: Situation, reference: Reference, days: int, later: Sequence[LaterCount]
) -> tuple[list[Figure], int, list[str]]:
    """Figures used, steps a day, and warnings."""
    warnings = []
    if model.kind == "live_bearer":
        figures, per_day = list(flukes_of(model, reference).figures.values()), 1
        temperatures = [situation.temperature_on(day) for day in range(days)]
        if any(figures[0].degrees_outside(t) > 0 for t in temperatures):
            ends = (figures[0].temperatures[0], figures[0].temperatures[-1])
            warnings.append(
                f"growth is published for {ends[0]:g} to {ends[1]:g} °C only: held level outside, less sure"
            )
        if situation.fish > FOLLOWED:
            warnings.append(f"{FOLLOWED} fish stand for all {situation.fish}")
    else:
        need = drawing.needed(model, reference)
        figures, per_day = list(need.figures.values()), drawing.steps_per_day(need, situation, days)
        warnings += drawing.outside_published(need, situation, days)
    if model.borrowed:
        warnings.append("no curve of this parasite is published: another species' is used, its uncertainty doubled")
    if not later:
        warnings.append("from one count: the share that settles in this tank is not known; a second count sharpens it")
    return figures, per_day, warnings


def _courses(
    model: Model,
    situation: Situation,
    reference: Reference,
    more_water: bool,
    effect: StageEffect | None,
    given: tuple[int, ...],
    days: int,
    trajectories: int,
    seed: int,
    progress: Progress | None,
) -> _Course:
    """Run all trajectories in chunks over two threads; the result does not depend on the number of threads."""
    chunks = min(CHUNKS, max(1, trajectories // SMALLEST_CHUNK))
    seeds = np.random.SeedSequence(seed).spawn(chunks)
    sizes = [trajectories // chunks + (part < trajectories % chunks) for part in range(chunks)]
    done = [0.0] * chunks

    def one(part: int) -> _Course:
        def told(day: int, of: int) -> bool:
            done[part] = day / of
            return progress is None or progress(sum(done) / chunks)

        worker = _flukes_chunk if model.kind == "live_bearer" else _stages_chunk
        return worker(model, situation, reference, more_water, effect, given, days, sizes[part], seeds[part], told)

    workers = min(chunks, os.cpu_count() or 1)
    if workers == 1:
        parts = [one(part) for part in range(chunks)]
    else:
        with ThreadPoolExecutor(workers) as pool:
            parts = list(pool.map(one, range(chunks)))
    joined: dict[str, Array] = {
        name: np.concatenate([np.broadcast_to(p.parameters[name].ravel(), p.mean.shape[1]) for p in parts])
        for name in parts[0].parameters
    }
    return _Course(
        np.concatenate([p.mean for p in parts], axis=1),
        np.concatenate([p.heaviest for p in parts], axis=1),
        np.concatenate([p.gone for p in parts], axis=1),
        np.concatenate([p.harmful for p in parts]),
        joined,
        np.concatenate([p.aggregation for p in parts]),
    )


def _stages_chunk(
    model: Model,
    situation: Situation,
    reference: Reference,
    more_water: bool,
    effect: StageEffect | None,
    given: tuple[int, ...],
    days: int,
    size: int,
    seed: np.random.SeedSequence,
    told: Callable[[int, int], bool],
) -> _Course:
    # parameters, events and chance each from their own stream, so that plans differ by what is done alone
    for_draw, for_event, for_run = (np.random.default_rng(child) for child in _children(seed))
    need = drawing.needed(model, reference)
    per_day = drawing.steps_per_day(need, situation, days)
    sets = max(1, math.isqrt(size) // 2)
    repeats = -(-size // sets)
    drawn = drawing.draw(model, need, reference, situation, days, per_day, sets, repeats, for_draw)
    events = drawing.water_changes(situation.water_change_share, situation.water_change_every_days, days, per_day)
    if more_water:
        events = drawing.water_changes(*MORE_WATER, days, per_day)
    if effect is not None:
        treated = drawing.treatment_events(effect, given, days, per_day, for_event, (sets, repeats))
        events = drawing.merged(events, treated)
    track = run(drawn.rules, drawn.start, days, events=events, rng=for_run, progress=told)

    def flat(values: Any) -> Any:
        return np.broadcast_to(values, (*np.shape(values)[:-2], sets, repeats)).reshape(*np.shape(values)[:-2], -1)

    on_fish = flat(track.on_fish)[:, :size].astype(np.float64)
    share = flat(drawn.heaviest_share)[:size]
    heaviest = np.maximum(on_fish * share, np.minimum(on_fish, 1))
    parameters = {name: flat(values)[:size] for name, values in drawn.parameters.items()}
    return _Course(
        on_fish / situation.fish,
        heaviest,
        flat(track.alive)[:, :size] == 0,
        flat(drawn.harmful)[:size].astype(np.float64),
        parameters,
        flat(drawn.aggregation)[:size].astype(np.float64),
    )


def _flukes_chunk(
    model: Model,
    situation: Situation,
    reference: Reference,
    more_water: bool,
    effect: StageEffect | None,
    given: tuple[int, ...],
    days: int,
    size: int,
    seed: np.random.SeedSequence,
    told: Callable[[int, int], bool],
) -> _Course:
    del more_water  # worms sit on the fish: changing water does not touch them
    _, for_event, for_run = (np.random.default_rng(child) for child in _children(seed))
    found = flukes_of(model, reference)

    def host_days(_: np.random.Generator, trajectories: int) -> Mapping[int, HostDay]:
        return {} if effect is None else _host_days(effect, given, days, for_event, trajectories)

    ran = run_flukes(model, found, situation, days, size, for_run, host_days=host_days, progress=told)
    worms = ran.worms.astype(np.float64)
    return _Course(
        worms.mean(axis=2),
        worms.max(axis=2),
        worms.sum(axis=2) == 0,
        np.broadcast_to(ran.harmful[:, 0], size).astype(np.float64),
        {name: np.broadcast_to(values[:, 0], size) for name, values in ran.parameters.items()},
        np.ones(size),
    )


def _host_days(
    effect: StageEffect, given: tuple[int, ...], days: int, rng: np.random.Generator, trajectories: int
) -> dict[int, HostDay]:
    """A treatment against live-bearers, day by day; births are multiplied for as long as it acts."""
    survival: Array | float = 1.0
    births: Array | float = 1.0
    lasting = 1
    for stage, (value, low, high, acts) in effect.stages.items():
        drawn = drawing.between(rng, low, value, high, (trajectories, 1))
        lasting = max(lasting, round(acts))
        if stage == "on_adult":
            survival = drawn
        elif stage == "growth":
            births = drawn
    daily = np.asarray(survival) ** (1 / lasting)
    return {day + more: HostDay(daily, births) for day in given for more in range(lasting) if day + more < days}


def _children(seed: np.random.SeedSequence) -> list[np.random.SeedSequence]:
    """Three streams of a chunk; made from its key, since spawning would give others the second time."""
    return [np.random.SeedSequence(seed.entropy, spawn_key=(*seed.spawn_key, stream)) for stream in range(3)]


# --- what the trajectories say --------------------------------------------------------------------------------------


def _weights(course: _Course, counts: Sequence[LaterCount], situation: Situation) -> Array | None:
    """Importance weights from later counts: negative binomial with the trajectory's own aggregation; None without."""
    if not counts:
        return None
    lgamma = np.vectorize(math.lgamma, otypes=[float])
    log_weight = np.zeros(course.mean.shape[1])
    for count in counts:
        if count.fish > situation.fish:
            raise InputError(f"{count.fish} fish counted of {situation.fish} in the tank", field="later count")
        expected = np.maximum(course.mean[count.day] * count.fish * count.detection, 1e-6)
        k = course.aggregation * count.fish
        log_weight += (
            lgamma(k + count.parasites)
            - lgamma(k)
            - k * np.log1p(expected / k)
            + count.parasites * np.log(expected / (expected + k))
        )
    weight = np.exp(log_weight - log_weight.max())
    normal: Array = weight / weight.sum()
    return normal


def _mean(values: NDArray[Any], weights: Array | None) -> float:
    return float(values.mean()) if weights is None else float((values * weights).sum())


def _quantiles(values: Array, weights: Array | None) -> tuple[float, ...]:
    if weights is None:
        return tuple(float(q) for q in np.quantile(values, FAN))
    order = np.argsort(values)
    return tuple(float(q) for q in np.interp(FAN, np.cumsum(weights[order]), values[order]))


def _outlook(id: str, name: str, course: _Course, weights: Array | None, days: int) -> Outlook:
    reported = [day for day in (*REPORTED_DAYS, days) if day <= days]
    reached = np.maximum.accumulate(course.heaviest, axis=0) >= course.harmful
    reached_mean = np.maximum.accumulate(course.mean, axis=0) >= course.harmful
    return Outlook(
        id,
        name,
        {day: _mean(reached[day], weights) for day in range(days + 1)},
        {day: _mean(reached_mean[day], weights) for day in reported},
        {day: _mean(course.gone[day], weights) for day in reported},
        tuple(_quantiles(course.mean[day], weights) for day in range(days + 1)),
    )


def _look_again(
    model: Model,
    situation: Situation,
    outlook: Outlook,
    days: int,
) -> LookAgain:
    """The earliest of: the added risk is spent, the middle course has doubled or halved, two weeks are over."""
    last = min(LATEST_LOOK_DAYS, days)
    now = outlook.harmful_by[0]
    middle = [row[2] for row in outlook.fan]
    if now >= 0.5:
        return _look(situation, 1, "the heaviest fish probably carries a harmful burden already", model, outlook)
    risky = next((day for day in range(1, last + 1) if outlook.harmful_by[day] - now >= LOOK_AT_RISK), None)
    moved = next(
        (
            day
            for day in range(1, last + 1)
            if middle[0] > 0 and (middle[day] >= 2 * middle[0] or middle[day] <= middle[0] / 2)
        ),
        None,
    )
    if risky is not None and (moved is None or risky <= moved):
        reason = f"by then {LOOK_AT_RISK:.0%} more of the courses have reached a harmful burden"
        return _look(situation, risky, reason, model, outlook)
    if moved is not None:
        way = "doubled" if middle[moved] > middle[0] else "halved"
        return _look(
            situation, moved, f"by then the middle course has {way}, and a count can tell which it is", model, outlook
        )
    return _look(
        situation, last, "nothing is expected sooner; two weeks are the longest to trust a forecast", model, outlook
    )


def _look(situation: Situation, day: int, reason: str, model: Model, outlook: Outlook) -> LookAgain:
    date = None if situation.start is None else situation.start + timedelta(days=day)
    return LookAgain(day, date, reason, model.sooner_if, outlook.harmful_by[day])


def _hangs_on(course: _Course, weights: Array | None, days: int) -> tuple[HangsOn, ...]:
    """First-order share of the variance of the outcome by thirds of each parameter, largest first."""
    outcome = (course.heaviest[: days + 1].max(axis=0) >= course.harmful).astype(float)
    w = np.full(outcome.size, 1 / outcome.size) if weights is None else weights
    mean = float((outcome * w).sum())
    variance = mean * (1 - mean)
    if variance < 1e-9:
        return ()
    found = []
    for name, values in course.parameters.items():
        order = np.argsort(values, kind="stable")
        thirds = np.minimum((np.cumsum(w[order]) * 3).astype(int), 2)
        means = [
            float(np.average(outcome[order][thirds == t], weights=w[order][thirds == t] + 1e-300)) for t in range(3)
        ]
        share = sum((m - mean) ** 2 for m in means) / 3 / variance
        found.append(HangsOn(name, share, means[0], means[2]))
    return tuple(sorted(found, key=lambda hangs: -hangs.share))
