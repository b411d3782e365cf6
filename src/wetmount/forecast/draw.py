"""Parameter sets drawn from the life-cycle table, and the rules of a run made from them.

Development times are drawn by set, everything else by trajectory, each as a lognormal around the table's figure; a
share is kept below 1. A forecast therefore carries what is not known about the parasite besides chance.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.errors import InputError
from wetmount.forecast.engine import QUANTILES, Event, Rules, Start, Window
from wetmount.forecast.lifecycle import (
    SPREAD_PER_DEGREE_OUTSIDE,
    Figure,
    Model,
    at_temperature,
    chilled_survival,
    development_rate,
    figure,
    zero_of,
)
from wetmount.forecast.situation import FILTER_CATCH, UV_KILL, Situation, StageEffect, fraction_of_day
from wetmount.reference import Reference
from wetmount.reference.rows import LifeCycle

Array = NDArray[np.float64]

STOCKING_OF_TABLE: Final = 0.2
"""Fish per litre at which the table's share that settles is meant."""
AGGREGATION: Final = (1.0, 0.7)
"""Median and sd of ln k between fish: 0.5 in a mixed tank, 1 to 3 early among equals (Shaw 1998; the guppy series)."""
HISTORY: Final = (0.3, 1.0)
"""Eggs and cysts at the start, as a share of what a burden that had long stood as counted would have laid."""
SHORT_BATH_DAYS: Final = 0.5
"""Below this a treatment is over within hours: it hits once and does not go on acting."""
STEP_ERROR: Final = 0.03
"""Largest relative error of an expected number on any day, against the continuous equations: measured in the tests."""
GROUPED: Final = 50
"""Fish over which the heaviest burden is drawn, at most."""


@dataclass(frozen=True, slots=True)
class Needed:
    """The figures of a model, the same for every draw."""

    figures: Mapping[str, Figure]
    zero_c: float
    cold_limit_c: float | None
    hot_limit_c: float | None

    @property
    def rows(self) -> tuple[LifeCycle, ...]:
        """The rows of the table that the forecast rests on."""
        return tuple(row for found in self.figures.values() for row in found.rows)


LAYER_NEEDS = ("hatch_share", "free_life_d", "settle_share", "harmful_burden", "crowding_burden")


def needed(model: Model, reference: Reference) -> Needed:
    """Look up what the model needs; InputError when the tables lack it (an overlay may have removed a row)."""
    found: dict[str, Figure] = {}

    def look(parameter: str, *alternatives: str) -> None:
        for name in (parameter, *alternatives):
            own = figure(reference, model.parasites, name, borrowed=model.borrowed)
            if own is not None:
                found[parameter] = own
                return
        raise InputError(f"the life-cycle table has no {parameter} for {model.name}", field="parasite")

    for stage in ("off", "on"):
        look(f"{stage}_first_d", f"{stage}_d")
        if found[f"{stage}_first_d"].parameter == f"{stage}_d":
            both = found.pop(f"{stage}_first_d")
            found[f"{stage}_first_d"], found[f"{stage}_last_d"] = _end(both, "low"), _end(both, "high")
        else:
            look(f"{stage}_last_d")
    for parameter in LAYER_NEEDS:
        look(parameter)
    if model.kind == "layer":
        look("offspring_per_day")
        look("adult_life_d")
    else:
        look("offspring_per_division")
    cold = figure(reference, model.parasites, "cold_limit_c")
    hot = figure(reference, model.parasites, "hot_limit_c")
    return Needed(
        found,
        zero_of(reference, model.parasites),
        None if cold is None else cold.values[0],
        None if hot is None else hot.values[0],
    )


def _end(both: Figure, end: str) -> Figure:
    """The first or the last day of a stage from rows that give both ends; a row with one figure is both."""
    values: dict[float | None, list[float]] = {}
    for row in both.rows:
        scale = 1 / 24 if row.unit == "h" else 1.0
        given = getattr(row, end)
        value = given if given is not None else row.value
        values.setdefault(row.temperature_c, []).append(scale * (value or 0.0))
    known = sorted((t, float(np.mean(v))) for t, v in values.items() if t is not None)
    if not known:
        return Figure(f"on_{end}", (), (float(np.mean(values[None])),), both.spread, both.rows, both.borrowed)
    # the two ends already hold the spread between individuals; the curve itself is unsure by half of it
    temperatures, days = tuple(t for t, _ in known), tuple(v for _, v in known)
    return Figure(both.parameter, temperatures, days, both.spread / 2, both.rows, both.borrowed)


@dataclass(frozen=True, slots=True)
class Drawn:
    """Rules and start of a run with the parameters behind them, by (sets, repeats) or (sets, 1)."""

    rules: Rules
    start: Start
    parameters: Mapping[str, Array]
    harmful: Array
    heaviest_share: Array
    aggregation: Array
    generation_days: Array


def outside_published(need: Needed, situation: Situation, days: int) -> tuple[str, ...]:
    """Figures whose published temperatures do not cover the water, in words."""
    temperatures = [situation.temperature_on(day) for day in range(days)]
    low, high = min(temperatures), max(temperatures)
    words = []
    for name, found in need.figures.items():
        if name in ("off_first_d", "on_first_d") and max(found.degrees_outside(low), found.degrees_outside(high)) > 0:
            stage = "off the fish" if name.startswith("off") else "on the fish"
            span = " to ".join(f"{t:g}" for t in dict.fromkeys((found.temperatures[0], found.temperatures[-1])))
            words.append(f"time {stage} is published for {span} °C only: extrapolated, and held less sure")
    return tuple(words)


def steps_per_day(need: Needed, situation: Situation, days: int) -> int:
    """Steps a day so that the shortest stage spans at least two: 2, 4 or 8; see STEP_ERROR."""
    warmest = max(situation.temperature_on(day) for day in range(days))
    at = np.array([warmest])
    shortest = min(
        float(1 / development_rate(need.figures["off_first_d"], at, need.zero_c)[0]),
        float(1 / development_rate(need.figures["on_first_d"], at, need.zero_c)[0]),
        2 * float(at_temperature(need.figures["free_life_d"], at)[0]),
    )
    return 2 if shortest >= 1.5 else 4 if shortest >= 0.6 else 8


def draw(
    model: Model,
    need: Needed,
    reference: Reference,
    situation: Situation,
    days: int,
    per_day: int,
    sets: int,
    repeats: int,
    rng: np.random.Generator | None,
    *,
    expected_start: bool = False,
) -> Drawn:
    """Draw parameters and build the rules of a run; without a generator, the table's middle figures once.

    `expected_start`: expected instead of whole numbers at the start, and the count taken as it stands.
    """
    steps = days * per_day
    daily = np.array([situation.temperature_on(day) for day in range(days)], dtype=float)
    temperature = np.repeat(daily, per_day)
    typical = float(daily.mean())
    figures = need.figures
    parameters: dict[str, Array] = {}

    def factor(name: str, found: Figure, rows: int, columns: int) -> Array:
        if rng is None:
            return np.ones((1, 1))
        outside = found.degrees_outside(typical) * SPREAD_PER_DEGREE_OUTSIDE * (2 if found.borrowed else 1)
        drawn = np.exp(rng.normal(0, found.spread + outside, (rows, columns)))
        parameters[name] = drawn
        return drawn

    windows = {}
    for stage, name in (("off", "time off the fish"), ("on", "time to maturity on the fish")):
        first, last = figures[f"{stage}_first_d"], figures[f"{stage}_last_d"]
        slow = factor(name, first, sets, 1)[:, :, None]
        early = development_rate(first, temperature, need.zero_c)
        late = np.minimum(development_rate(last, temperature, need.zero_c), early)
        if stage == "off" and need.cold_limit_c is not None:
            early, late = (np.where(temperature <= need.cold_limit_c, 0.0, rate) for rate in (early, late))
        place = ((np.arange(QUANTILES) + 0.5) / QUANTILES)[:, None, None]
        rates = np.where(early > 0, early ** (1 - place) * late**place, 0.0)
        windows[stage] = (Window.of(rates / slow.transpose(1, 0, 2), 1 / per_day), early, late)
    per_trajectory = (sets, repeats)
    hatch = np.minimum(
        at_temperature(figures["hatch_share"], np.array([typical]))
        * factor("share that hatches", figures["hatch_share"], *per_trajectory),
        0.98,
    )
    hot = np.ones(steps) if need.hot_limit_c is None else (temperature <= need.hot_limit_c).astype(float)
    life = at_temperature(figures["free_life_d"], temperature)[:, None, None]
    life = life * factor("life while seeking a fish", figures["free_life_d"], *per_trajectory)
    settle = np.minimum(
        figures["settle_share"].values[0] * factor("share that settles", figures["settle_share"], *per_trajectory), 0.9
    )
    parameters["share that settles"] = settle
    stocking = situation.fish / situation.volume_l / STOCKING_OF_TABLE
    removal = situation.uv_turnovers_per_day * UV_KILL + situation.filter_turnovers_per_day * FILTER_CATCH
    crowding = figures["crowding_burden"].values[0] * factor("crowding", figures["crowding_burden"], *per_trajectory)
    divides = model.kind == "divider"
    if divides:
        many = figures["offspring_per_division"].values[0] * factor(
            "young per cyst", figures["offspring_per_division"], *per_trajectory
        )
        offspring, success, adult_death = many, hatch * float(hot.mean()), np.full((1, 1), 1.0)
    else:
        laid = at_temperature(figures["offspring_per_day"], temperature) * hot
        many = factor("laid per day", figures["offspring_per_day"], *per_trajectory)
        offspring = laid[:, None, None] * (many * hatch)
        success = np.ones((1, 1))
        adult_death = 1 / (
            figures["adult_life_d"].values[0] * factor("adult life", figures["adult_life_d"], *per_trajectory)
        )
    cold_days = _days_of_cold(daily, need.cold_limit_c)
    chill = chilled_survival(reference, model.parasites, cold_days) / chilled_survival(
        reference, model.parasites, np.maximum(cold_days - 1, 0)
    )
    rules = Rules(
        1 / per_day,
        windows["off"][0],
        windows["on"][0],
        divides,
        offspring,
        success,
        1 / life + removal,
        settle / (1 - settle) / life * stocking,
        adult_death,
        crowding * situation.fish,
        chill,
    )
    harmful = _harmful(figures["harmful_burden"], situation, rng, per_trajectory, parameters)
    share, k = _heaviest(situation.fish, rng, per_trajectory)
    on_days, off_days = (_mean_days(windows[stage][1], windows[stage][2]) for stage in ("on", "off"))
    start = _start(rules, situation, None if expected_start else rng, per_trajectory, on_days, off_days, parameters)
    generation = np.full((1, 1), 1 / windows["off"][1][0] + 1 / windows["on"][1][0] if windows["off"][1][0] else np.inf)
    return Drawn(rules, start, parameters, harmful, share, k, generation)


def _days_of_cold(daily: Array, limit_c: float | None) -> Array:
    """For each day, how many days running the water has been at or below the limit."""
    count, run = np.zeros(len(daily)), 0
    for day, temperature in enumerate(daily):
        run = run + 1 if limit_c is not None and temperature <= limit_c else 0
        count[day] = run
    return count


def _mean_days(early: Array, late: Array) -> float:
    """Mean days in a timed stage at the starting temperature; long, when nothing develops."""
    return float(2 / (early[0] + late[0])) if early[0] > 0 else 100.0


def _harmful(
    found: Figure,
    situation: Situation,
    rng: np.random.Generator | None,
    shape: tuple[int, int],
    parameters: dict[str, Array],
) -> Array:
    if situation.harmful is not None:
        return np.full((1, 1), situation.harmful)
    if rng is None:
        return np.full((1, 1), found.values[0])
    harmful: Array = found.values[0] * np.exp(rng.normal(0, found.spread, shape))
    parameters["burden held harmful"] = harmful
    return harmful


def _heaviest(fish: int, rng: np.random.Generator | None, shape: tuple[int, int]) -> tuple[Array, Array]:
    """Share of all parasites on the heaviest fish, with gamma weights of aggregation k; and k."""
    if rng is None:
        return np.full((1, 1), 1 / fish), np.full((1, 1), AGGREGATION[0])
    k = AGGREGATION[0] * np.exp(rng.normal(0, AGGREGATION[1], shape))
    some = min(fish, GROUPED)
    weights = rng.standard_gamma(np.broadcast_to(k[..., None], (*shape, some))) + 1e-12
    return weights.max(axis=-1) / weights.sum(axis=-1) * (some / fish), k


def _start(
    rules: Rules,
    situation: Situation,
    rng: np.random.Generator | None,
    shape: tuple[int, int],
    on_days: float,
    off_days: float,
    parameters: dict[str, Array],
) -> Start:
    """Parasites at the start: on the fish as counted, in the tank as such a burden would have laid by now."""
    burden = starting_burden(situation, rng, shape)
    if rng is not None:
        parameters["burden at the start"] = burden
    on_fish = burden * situation.fish
    settled = rules.free_settle[0] / (rules.free_settle[0] + rules.free_death[0])
    history = np.full((1, 1), np.mean(HISTORY)) if rng is None else rng.uniform(*HISTORY, shape)
    if rules.divides:
        young, adult = on_fish, np.zeros_like(on_fish)
        entering = on_fish / on_days * history
        off = entering * off_days
        free = entering * rules.cyst_success * rules.offspring / (rules.free_settle[0] + rules.free_death[0])
    else:
        # a burden that had long stood would hold young and adults in the ratio of their times on the fish
        adult_share = 1 / rules.adult_death / (1 / rules.adult_death + on_days)
        adult, young = on_fish * adult_share, on_fish * (1 - adult_share)
        entering = adult * rules.offspring[0] * history
        off = entering * off_days
        free = entering / (rules.free_settle[0] + rules.free_death[0])
    stocks = [np.minimum(stock, 1e9) for stock in np.broadcast_arrays(off, free * np.ones_like(settled), young, adult)]
    if rng is None:
        return Start(*stocks)
    drawn = [rng.poisson(stock) for stock in stocks]
    return Start(*drawn)


def starting_burden(situation: Situation, rng: np.random.Generator | None, shape: tuple[int, int]) -> Array:
    """Parasites per fish: lognormal, the limits of the count as 95 %; with none seen, exponential below the upper."""
    low, middle, high = situation.burden_low, situation.burden, situation.burden_high
    if rng is None:
        return np.full((1, 1), middle if middle > 0 else high / 3)
    if middle <= 0:
        return rng.exponential(high / 3.0, shape)
    up, down = np.log(high / middle) / 1.96, np.log(middle / max(low, middle / 20)) / 1.96
    z = rng.standard_normal(shape)
    drawn: Array = middle * np.exp(np.where(z > 0, up, down) * z)
    return drawn


# --- what is done, as events ----------------------------------------------------------------------------------------


def water_changes(share: float, every_days: float, days: int, per_day: int) -> dict[int, Event]:
    """Events of changing this share of the water regularly: what is free goes with it; eggs and cysts stick."""
    if share <= 0:
        return {}
    times = np.arange(every_days, days, every_days)
    return {fraction_of_day(float(time), per_day): Event(free=1 - share) for time in times}


def treatment_events(
    effect: StageEffect,
    days_given: tuple[int, ...],
    days: int,
    per_day: int,
    rng: np.random.Generator | None,
    shape: tuple[int, int],
) -> dict[int, Event]:
    """Events of a treatment: the survival of a giving is spread over the days it acts; the free are hit each day."""
    survival: dict[str, Array | float] = {}
    for stage, (value, low, high, _) in effect.stages.items():
        survival[stage] = value if rng is None else between(rng, low, value, high, shape)
    return acting(effect, survival, days_given, days, per_day)


def acting(
    effect: StageEffect,
    survival: Mapping[str, Array | float],
    days_given: tuple[int, ...],
    days: int,
    per_day: int,
) -> dict[int, Event]:
    """Events of a treatment given on these days, with the survival of each stage over one giving.

    What sits, in eggs or on the fish, is hit once a day while the treatment acts, and the survival is spread over those
    days. What is free is hit at the start and, in water that goes on acting, that share of the settling is left.
    """
    plans: list[dict[int, Event]] = []
    whole_days = max(1, *(round(acts) for *_, acts in effect.stages.values()))
    acts_free = effect.stages["free"][3] if "free" in effect.stages else 0.0
    steps_acting = round(acts_free * per_day) if acts_free >= SHORT_BATH_DAYS else 0
    daily = {stage: np.asarray(share) ** (1 / whole_days) for stage, share in survival.items()}
    sitting = Event(off=daily.get("off", 1.0), young=daily.get("on_young", 1.0), adult=daily.get("on_adult", 1.0))
    free = survival.get("free", 1.0)
    for day in days_given:
        plans.append({(day + more) * per_day: sitting for more in range(whole_days) if day + more < days})
        steps = range(day * per_day, min(day * per_day + steps_acting, days * per_day))
        plans.append({day * per_day: Event(free=free)})
        plans.append(dict.fromkeys(steps, Event(seeking=free)))
    return merged(*plans)


def between(rng: np.random.Generator, low: float, value: float, high: float, shape: tuple[int, int]) -> Array:
    """Half of the draws below the figure, half above, evenly to the ends."""
    u = rng.random(shape) * 2 - 1
    return np.where(u < 0, value + u * (value - low), value + u * (high - value))


def merged(*plans: Mapping[int, Event]) -> dict[int, Event]:
    """Several plans as one; what falls on the same step multiplies."""
    together: dict[int, Event] = {}
    for plan in plans:
        for step, event in plan.items():
            old = together.get(step, Event())
            together[step] = Event(
                old.off * event.off,
                old.free * event.free,
                old.young * event.young,
                old.adult * event.adult,
                np.minimum(old.seeking, event.seeking),
            )
    return together
