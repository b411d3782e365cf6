"""The engine of egg layers and cyst formers: four stages in a ring, counted in whole parasites.

    off the fish (egg, cyst) → free (seeking a fish) → young on the fish → adult → off the fish

Timed stages (off, young) are kept as queues of leaving times, so that hatching has its true narrow window; a chain of
exponential stages would let far too many hatch early. What enters in one step is divided over quarters of the window,
and the place within each quarter goes round with the steps. Free and adult stages leave by competing risks. A divider
has no adult: what leaves the fish enters the cyst, and each cyst gives many.

Arrays are (parameter sets, repeats). With a random generator the parasites are whole and chance acts; without one the
same code carries expected values, which the search for treatment days and the tests use.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Stock = NDArray[Any]

QUANTILES: Final = 8
"""Places in the window from first to last leaving at which leaving times are kept."""
PARTS: Final = 4
"""Parts into which what enters a timed stage in one step is divided; QUANTILES / PARTS places per part."""
SPLIT_START: Final = 64
"""Parts of a timed stage at the start: every place in its window at QUANTILES ages."""
GAUSSIAN_FROM: Final = 12.0
"""Variance from which a draw is a rounded normal; below it, where dying out is decided, draws are exact."""
LARGEST: Final = 2e9
"""A stage never holds more than this in one trajectory; whole numbers would overflow far beyond any tank."""


@dataclass(frozen=True, slots=True)
class Window:
    """When a timed stage is left: cumulative development by (quantile, set, step boundary), 1 = done."""

    progress: Array
    leaves: NDArray[np.intp]
    """Step of leaving by (quantile, set, step of entry); the number of steps = not within the horizon."""

    @classmethod
    def of(cls, rates: Array, dt: float) -> Window:
        """From development rates per day by (quantile, set, step)."""
        steps = rates.shape[-1]
        progress = np.concatenate((np.zeros((*rates.shape[:-1], 1)), np.cumsum(rates * dt, axis=-1)), axis=-1)
        # entering at the middle of a step and leaving within the step in which development is complete is unbiased
        done = (progress[..., :-1] + progress[..., 1:]) / 2 + 1
        return cls(progress, _first_step(progress, done, steps))

    def leaves_from(self, share_done: float, quantile: int) -> NDArray[np.intp]:
        """Step of leaving, by set, of what had this share of its development behind it at the start."""
        rows = self.progress[quantile]
        wanted = np.full((rows.shape[0], 1), 1 - share_done)
        return _first_step(rows, wanted, rows.shape[-1] - 1)[:, 0]


def _first_step(progress: Array, wanted: Array, steps: int) -> NDArray[np.intp]:
    """For each row of rising `progress`, the interval in which each wanted value is reached; `steps` when never."""
    rows = progress.reshape(-1, progress.shape[-1])
    asked = wanted.reshape(rows.shape[0], -1)
    # rows laid end to end, each lifted above the last, can be searched in one call
    lift = (max(float(rows[:, -1].max()), float(asked.max())) + 1) * np.arange(rows.shape[0])[:, None]
    found = np.searchsorted((rows + lift).ravel(), (asked + lift).ravel(), side="right").reshape(asked.shape)
    place = found - rows.shape[-1] * np.arange(rows.shape[0])[:, None] - 1
    first: NDArray[np.intp] = np.minimum(place, steps).reshape(wanted.shape)
    return first


@dataclass(frozen=True, slots=True)
class Rules:
    """All that a run needs; arrays are (sets, repeats) or broadcast to it, hazards are per day."""

    dt: float
    off: Window
    young: Window
    divides: bool
    offspring: Array
    """Layers: hatching offspring per adult per day by (step, sets, 1); dividers: free parasites per cyst (sets, 1)."""
    cyst_success: Array
    """Dividers: share of cysts that divide; 1 for layers, whose hatching share is within `offspring`."""
    free_death: Array
    """Hazard by (step, sets, 1)."""
    free_settle: Array
    adult_death: Array
    crowding: Array
    """Parasites on all fish together at which settling is halved."""
    off_daily_survival: Array
    """Share of the off stage that lives through each day (chilling), by day."""


@dataclass(frozen=True, slots=True)
class Event:
    """At the start of a step: share of each stage that lives on. Arrays are (sets, repeats) or broadcast to it.

    `seeking` acts through the whole step: share of the settling that still comes about in treated water.
    """

    off: Array | float = 1.0
    free: Array | float = 1.0
    young: Array | float = 1.0
    adult: Array | float = 1.0
    seeking: Array | float = 1.0


UNTOUCHED: Final = Event()
LEAST_SEEKING: Final = 1e-4


@dataclass(slots=True)
class State:
    """What is alive, and what will leave the timed stages when."""

    off_queue: Stock
    young_queue: Stock
    free: Stock
    adult: Stock
    off: Stock
    young: Stock


@dataclass(frozen=True, slots=True)
class Start:
    """Parasites at the start, by (sets, repeats)."""

    off: Stock
    free: Stock
    young: Stock
    adult: Stock


@dataclass(frozen=True, slots=True)
class Track:
    """Stages at the start of every day and at the end: (days + 1, sets, repeats)."""

    off: Stock
    free: Stock
    young: Stock
    adult: Stock

    @property
    def on_fish(self) -> Stock:
        """Parasites on all fish together."""
        return self.young + self.adult

    @property
    def alive(self) -> Stock:
        """All stages together: 0 = the parasite is gone from the tank."""
        return self.off + self.free + self.young + self.adult


@dataclass(slots=True)
class _Luck:
    """Draws whole numbers, or passes expected values through when there is no generator."""

    rng: np.random.Generator | None
    spin: int = field(default=0)

    def share(self, number: Stock, chance: Array | float) -> Stock:
        """Binomial: exact while few, rounded normal from a variance of GAUSSIAN_FROM, which is several times faster."""
        mean = number * chance
        if self.rng is None:
            return mean
        variance = mean * (1 - chance)
        drawn = np.zeros(mean.shape, np.int64)
        many = variance > GAUSSIAN_FROM
        few = np.flatnonzero(~many & (mean > 0))
        if few.size < mean.size:
            where = np.flatnonzero(many)
            centre = mean.ravel()[where]
            noise = np.sqrt(variance.ravel()[where]) * self.rng.standard_normal(where.size, dtype=np.float32)
            drawn.ravel()[where] = np.clip(np.rint(centre + noise), 0, number.ravel()[where])
        if few.size:
            chances = chance if np.ndim(chance) == 0 else np.broadcast_to(chance, mean.shape).ravel()[few]
            drawn.ravel()[few] = self.rng.binomial(number.ravel()[few], chances)
        return drawn

    def born(self, mean: Array) -> Stock:
        """Poisson, in the same way exact while few."""
        if self.rng is None:
            return mean
        drawn = np.zeros(mean.shape, np.int64)
        many = mean > GAUSSIAN_FROM
        few, where = np.flatnonzero(~many & (mean > 0)), np.flatnonzero(many)
        if where.size:
            centre = np.minimum(mean.ravel()[where], LARGEST)
            noise = np.sqrt(centre) * self.rng.standard_normal(where.size, dtype=np.float32)
            drawn.ravel()[where] = np.rint(centre + noise)
        if few.size:
            drawn.ravel()[few] = self.rng.poisson(mean.ravel()[few])
        return drawn

    def whole(self, number: Array) -> Stock:
        """Rounded at random so that the mean is kept."""
        if self.rng is None:
            return number
        return np.floor(np.minimum(number, LARGEST) + self.rng.random(np.shape(number))).astype(np.int64)

    def parts(self, number: Stock, parts: int) -> list[Stock]:
        """Nearly equal parts that add up; who gets the remainder is drawn, so that single parasites may go anywhere."""
        if self.rng is None:
            return [number / parts] * parts
        # parts is a power of two: masks and shifts are several times faster than remainders and divisions
        offset = self.rng.integers(0, parts, number.shape, dtype=np.int8)
        return [(number + ((offset + part) & (parts - 1))) >> (parts.bit_length() - 1) for part in range(parts)]


def run(
    rules: Rules,
    start: Start,
    days: int,
    *,
    events: Mapping[int, Event] | None = None,
    rng: np.random.Generator | None = None,
    progress: Callable[[int, int], bool] | None = None,
) -> Track:
    """Run all trajectories for `days`. `events` by step; `progress(done, of)` is asked once a day, False stops.

    Raises InterruptedError when stopped.
    """
    per_day = round(1 / rules.dt)
    steps = days * per_day
    luck = _Luck(rng)
    state = _begin(rules, start, steps, luck)
    track: list[list[Stock]] = [[], [], [], []]
    todo = events or {}
    for step in range(steps + 1):
        if step % per_day == 0:
            for kept, now in zip(track, (state.off, state.free, state.young, state.adult), strict=True):
                kept.append(now.copy())
            if progress is not None and not progress(step // per_day, days):
                raise InterruptedError("stopped")
            chill = float(rules.off_daily_survival[min(step // per_day, days - 1)])
            if chill < 1 and step < steps:
                _strike(state, Event(off=chill), step, luck)
        if step == steps:
            break
        event = todo.get(step, UNTOUCHED)
        _strike(state, event, step, luck)
        _advance(rules, state, step, luck, event.seeking)
    return Track(*(np.stack(kept) for kept in track))


def _begin(rules: Rules, start: Start, steps: int, luck: _Luck) -> State:
    kind = np.float64 if luck.rng is None else np.int64
    shape = start.off.shape
    off, free, young, adult = (
        np.asarray(stock, kind).copy() for stock in (start.off, start.free, start.young, start.adult)
    )
    off_queue, young_queue = np.zeros((steps + 1, *shape), kind), np.zeros((steps + 1, *shape), kind)
    for queue, stock, window in ((off_queue, off, rules.off), (young_queue, young, rules.young)):
        sets = np.arange(shape[0])
        for part, number in enumerate(luck.parts(stock, SPLIT_START)):
            place, age = part % QUANTILES, part // QUANTILES
            # ages spread evenly, a little apart at each place so that no two parts leave together
            when = window.leaves_from((age + (place * 5 % QUANTILES + 0.5) / QUANTILES) / QUANTILES, place)
            queue[np.minimum(when, steps), sets] += number
    return State(off_queue, young_queue, free, adult, off, young)


def _enter(queue: Stock, window: Window, number: Stock, step: int, luck: _Luck) -> None:
    """Queue what enters a timed stage in this step."""
    sets = np.arange(number.shape[0])
    # the Thue-Morse sequence uses the places equally often with no beat that a daily reading could fall in with
    turn = step.bit_count() % (QUANTILES // PARTS)
    for part, share in enumerate(luck.parts(number, PARTS)):
        # the rules may reach beyond this run: what leaves later than its end is still there at the end
        when = np.minimum(window.leaves[part * (QUANTILES // PARTS) + turn, :, step], queue.shape[0] - 1)
        queue[when, sets] += share


def _advance(rules: Rules, state: State, step: int, luck: _Luck, seeking_share: Array | float) -> None:
    """One step: leave the timed stages, settle or die, lay or divide."""
    hatched, matured = state.off_queue[step], state.young_queue[step]
    state.off = state.off - hatched
    state.young = state.young - matured
    on_fish = state.young + state.adult
    settle = rules.free_settle[step] / (1 + on_fish / rules.crowding)
    # dying faster by 1/share leaves about that share of the settling
    hazard = settle + rules.free_death[step] / np.maximum(seeking_share, LEAST_SEEKING)
    leaving = -np.expm1(-hazard * rules.dt)
    born = luck.whole(luck.share(hatched, rules.cyst_success) * rules.offspring) if rules.divides else hatched
    # half of the newly free count as free from the start of the step, half from its end: on average from its middle
    seeking = state.free + luck.parts(born, 2)[0]
    settling = leaving * settle / hazard
    settled = luck.share(seeking, settling)
    lost = luck.share(seeking - settled, (leaving - settling) / (1 - settling))
    if rules.divides:
        new_off = matured
    else:
        exposed = state.adult + luck.parts(matured, 2)[0]
        dead = luck.share(exposed, -np.expm1(-rules.adult_death * rules.dt))
        after = state.adult - dead + matured
        # those that die or mature within the step lay for half of it
        mean = rules.offspring[step] * rules.dt * (state.adult + after) / 2
        new_off = luck.born(mean)
        state.adult = after
    free = state.free - settled - lost + born
    state.free = free if luck.rng is None else np.minimum(free, int(LARGEST))
    _enter(state.off_queue, rules.off, new_off, step, luck)
    _enter(state.young_queue, rules.young, settled, step, luck)
    state.off = state.off + new_off
    state.young = state.young + settled


def _strike(state: State, event: Event, step: int, luck: _Luck) -> None:
    """Thin the stages by an event; queues are thinned slot by slot, so that every age is hit alike."""
    for name, survival in (("off", event.off), ("young", event.young)):
        if np.all(np.asarray(survival) >= 1):
            continue
        queue: Stock = getattr(state, f"{name}_queue")
        ahead = np.flatnonzero(queue[step:].reshape(queue.shape[0] - step, -1).any(axis=1)) + step
        for slot in ahead:
            queue[slot] = luck.share(queue[slot], survival)
        setattr(state, name, queue[step:].sum(axis=0))
    for name, survival in (("free", event.free), ("adult", event.adult)):
        if not np.all(np.asarray(survival) >= 1):
            setattr(state, name, luck.share(getattr(state, name), survival))
