"""Live-bearing skin flukes: a birth-death process on every fish, with the answer of the host.

Within a day rates are constant and the number at its end is drawn from the exact distribution of the linear
birth-death process (each lineage survives with 1 - α and then counts geometric), so that the step has no error of its
own. A fish answers once it has carried enough worm-days; then worms die fast and births halve. Worms move between fish.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from wetmount.errors import InputError
from wetmount.forecast.draw import starting_burden
from wetmount.forecast.lifecycle import SPREAD_PER_DEGREE_OUTSIDE, Figure, Model, at_temperature, figure
from wetmount.forecast.situation import Situation
from wetmount.reference import Reference

Array = NDArray[np.float64]

FOLLOWED: Final = 10
"""Fish that are followed one by one; a larger group is represented by them."""
RESPONSE_SPREAD: Final = 1.2
"""Spread (sd of ln) between fish of the worm-days they stand; set on the open guppy series with the median."""
RESPONSE_BIRTHS: Final = 0.4
"""Births on an answering fish, relative; set on the same series."""
LARGEST: Final = 1e7


@dataclass(frozen=True, slots=True)
class HostDay:
    """What happens on a day besides births and deaths: share of worms that live, factor on births."""

    survival: Array | float = 1.0
    births: Array | float = 1.0


@dataclass(frozen=True, slots=True)
class Flukes:
    """Figures of the model."""

    growth: Figure
    life: Figure
    response: Figure
    response_death: Figure
    spread: Figure
    move: Figure
    harmful: Figure

    @property
    def figures(self) -> dict[str, Figure]:
        """By the words of the sensitivity list."""
        return {
            "growth on naive fish": self.growth,
            "life of a worm": self.life,
            "worm-days a fish stands": self.response,
            "death on an answering fish": self.response_death,
            "difference between fish": self.spread,
            "moving between fish": self.move,
            "burden held harmful": self.harmful,
        }


def flukes_of(model: Model, reference: Reference) -> Flukes:
    """Look the figures up; InputError when the tables lack one."""
    found = []
    for parameter in (
        "growth_per_day",
        "adult_life_d",
        "response_worm_days",
        "response_death_per_day",
        "host_spread",
        "move_per_day",
        "harmful_burden",
    ):
        own = figure(reference, model.parasites, parameter, borrowed=model.borrowed)
        if own is None:
            raise InputError(f"the life-cycle table has no {parameter} for {model.name}", field="parasite")
        found.append(own)
    return Flukes(*found)


def birth_death_step(
    number: NDArray[Any], births: Array, deaths: Array, days: float, rng: np.random.Generator
) -> NDArray[Any]:
    """Exact draw of a linear birth-death process after `days` (Kendall DG, Annals of Mathematical Statistics 19:1-15,
    1948): α = d(E - 1)/(bE - d), β = b(E - 1)/(bE - d), E = exp((b - d) t); a lineage dies out with α."""
    births, deaths = np.broadcast_arrays(births, deaths)
    same = np.abs(births - deaths) < 1e-9
    grown = np.exp(np.clip((births - deaths) * days, -50, 50))
    with np.errstate(divide="ignore", invalid="ignore"):
        divisor = births * grown - deaths
        alpha = np.where(same, births * days / (1 + births * days), deaths * (grown - 1) / divisor)
        beta = np.where(same, births * days / (1 + births * days), births * (grown - 1) / divisor)
    living = rng.binomial(number, np.clip(1 - alpha, 0, 1))
    # the rest of each living lineage is geometric; their sum, negative binomial, is a Poisson of gamma mean
    beta = np.broadcast_to(np.clip(beta, 0, 1 - 1e-12), living.shape)
    more = rng.poisson(np.minimum(rng.standard_gamma(living) * (beta / (1 - beta)), LARGEST))
    return np.asarray(np.minimum(living + more, int(LARGEST)))


def extinction_chance(births: float, deaths: float, start: int) -> float:
    """Chance that a linear birth-death process from `start` ever dies out: (d/b)^start, 1 when d >= b.

    >>> round(extinction_chance(0.54, 0.19, 2), 2)
    0.12
    """
    return 1.0 if deaths >= births else (deaths / births) ** start


@dataclass(frozen=True, slots=True)
class FlukeRun:
    """Worms by (day, trajectory, fish), the parameters behind them, and the burden held harmful by trajectory."""

    worms: NDArray[Any]
    parameters: Mapping[str, Array]
    harmful: Array


def run_flukes(
    model: Model,
    found: Flukes,
    situation: Situation,
    days: int,
    trajectories: int,
    rng: np.random.Generator,
    *,
    host_days: Callable[[np.random.Generator, int], Mapping[int, HostDay]] | None = None,
    start_worms: int | None = None,
    progress: Callable[[int, int], bool] | None = None,
) -> FlukeRun:
    """Run the flukes of up to FOLLOWED fish. `start_worms` puts exactly so many on every fish instead of the count."""
    fish = min(situation.fish, FOLLOWED)
    shape = (trajectories, 1)
    typical = float(np.mean([situation.temperature_on(day) for day in range(days)]))
    parameters: dict[str, Array] = {}

    def factor(name: str, own: Figure) -> Array:
        outside = own.degrees_outside(typical) * SPREAD_PER_DEGREE_OUTSIDE * (2 if own.borrowed else 1)
        parameters[name] = np.exp(rng.normal(0, own.spread + outside, shape))
        return parameters[name]

    # growth may be negative, so its spread is that of births, a factor on birth = growth + death
    growth_spread = min(found.growth.spread, 0.6) * 0.5
    parameters["growth on naive fish"] = np.exp(rng.normal(0, growth_spread, shape))
    life = factor("life of a worm", found.life)
    stands = found.response.values[0] * factor("worm-days a fish stands", found.response)
    answer = found.response_death.values[0] * factor("death on an answering fish", found.response_death)
    between = found.spread.values[0] * factor("difference between fish", found.spread)
    moving = found.move.values[0] * factor("moving between fish", found.move)
    if situation.harmful is not None:
        harmful = np.full(shape, situation.harmful)
    else:
        harmful = found.harmful.values[0] * factor("burden held harmful", found.harmful)
    kind = np.exp(between * rng.standard_normal((trajectories, fish)))
    limit = stands * np.exp(RESPONSE_SPREAD * rng.standard_normal((trajectories, fish)))
    if start_worms is not None:
        worms = np.full((trajectories, fish), start_worms)
    else:
        burden = starting_burden(situation, rng, shape)
        parameters["burden at the start"] = burden
        worms = rng.poisson(burden * rng.standard_gamma(1.0, (trajectories, fish)))
    done = host_days(rng, trajectories) if host_days is not None else {}
    track = [worms]
    carried = np.zeros((trajectories, fish))
    for day in range(days):
        if progress is not None and not progress(day, days):
            raise InterruptedError("stopped")
        today = done.get(day, HostDay())
        if np.any(np.asarray(today.survival) < 1):
            worms = rng.binomial(worms, today.survival)
        temperature = np.array([situation.temperature_on(day)])
        death = 1 / at_temperature(found.life, temperature) / life
        growth = at_temperature(found.growth, temperature)
        born = np.maximum(growth + death, 0.0) * parameters["growth on naive fish"]
        death = np.maximum(death, -growth)  # where it cannot live, shrinking is faster than the usual death
        answering = carried > limit
        births = born * kind * today.births * np.where(answering, RESPONSE_BIRTHS, 1.0)
        deaths = death + np.where(answering, answer, 0.0)
        worms = birth_death_step(worms, births, np.broadcast_to(deaths, births.shape), 1.0, rng)
        if fish > 1:
            worms = _move(worms, moving, rng)
        carried += worms
        track.append(worms)
    if progress is not None:
        progress(days, days)
    return FlukeRun(np.stack(track), parameters, harmful)


def _move(worms: NDArray[Any], moving: Array, rng: np.random.Generator) -> NDArray[Any]:
    """Some worms leave their fish; all that left are dealt out over the fish evenly, the remainder at random."""
    leaving = rng.binomial(worms, -np.expm1(-np.broadcast_to(moving, worms.shape)))
    pool = leaving.sum(axis=1, keepdims=True)
    fish = worms.shape[1]
    turn = (np.arange(fish) + rng.integers(0, fish, (worms.shape[0], 1))) % fish
    return np.asarray(worms - leaving + (pool + turn) // fish)
