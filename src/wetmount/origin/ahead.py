"""What comes after the record: who else is infected and shows signs in the coming days, links as they are or cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.origin.model import REACH, Model
from wetmount.origin.observations import day_chances
from wetmount.origin.results import Draws

Array = NDArray[np.float64]
Days = NDArray[np.int64]

NEVER_SHOWS: Final = 10**6
"""Stands for a day of first signs that does not come."""


@dataclass(frozen=True, slots=True)
class LiveLink:
    """One link that still holds on the last day: a system, a tool, a person's round, splash."""

    kind: str
    through: str
    strength: Array
    """(n, n): from row to column, hazard a day for rate 1."""


@dataclass(frozen=True, slots=True)
class Luck:
    """Chance of one set of runs, drawn once, so that runs with and without a link differ by the link alone. (S, n)."""

    threshold: Array
    """Hazard at which a tank is infected."""
    latent: Days
    incubation: Days
    """Days from infection to signs, NEVER_SHOWS for tanks that never show any."""

    @classmethod
    def draw(cls, model: Model, samples: int, rng: np.random.Generator) -> Luck:
        """For so many samples of the posterior."""
        times, shape = model.times, (samples, len(model.links.tanks))
        latent, incubation = (
            rng.choice(len(chances), shape, p=chances / chances.sum())
            for chances in (
                day_chances(times.latent_low_d, times.latent_high_d, 1, 4 * REACH),
                day_chances(times.incubation_low_d, times.incubation_high_d, 1, 8 * REACH),
            )
        )
        shows = rng.random(shape) < times.shows
        return cls(rng.exponential(size=shape), latent, np.where(shows, incubation, NEVER_SHOWS))


def live_links(model: Model) -> tuple[LiveLink, ...]:
    """Links that hold on the last day of the record, each by its name."""
    count, last = len(model.links.tanks), model.links.days - 1
    found: dict[tuple[str, str], Array] = {}
    for piece in model.links.pieces:
        lasting = piece.kind in ("sump", "neighbour", "tool", "worker")
        if lasting and piece.last >= last:
            matrix = found.setdefault((piece.kind, piece.through), np.zeros((count, count)))
            matrix[piece.source, piece.target] += piece.strength
    return tuple(LiveLink(kind, through, matrix) for (kind, through), matrix in sorted(found.items()))


def spread_ahead(model: Model, draws: Draws, links: Sequence[LiveLink], days: int, luck: Luck) -> tuple[Days, Days]:
    """Day of infection and of first signs of every tank, (S, n), `days` after the record; beyond it as it was.

    Links act as on the last day; deliveries and moves to come are not known and not counted.
    """
    begin = model.links.days
    day, infectious, signs = draws.infected_day.copy(), draws.infectious_day.copy(), draws.signs_day.copy()
    rates = np.exp(draws.log_rates)
    by_kind = {
        kind: sum((link.strength for link in links if link.kind == kind), np.zeros(()))
        for kind in dict.fromkeys(link.kind for link in links)
    }
    held = model.susceptible[:, -1]
    borne = np.zeros(day.shape)
    for now in range(begin, begin + days):
        active = (infectious <= now).astype(float)
        hazard = np.repeat(rates[:, -1:], day.shape[1], axis=1)
        for kind, strength in by_kind.items():
            hazard += rates[:, model.kinds.index(kind), None] * (active @ strength)
        borne += hazard
        fresh = (day >= begin) & (day > now) & (borne > luck.threshold) & held
        day = np.where(fresh, now, day)
        infectious = np.where(fresh, now + luck.latent, infectious)
        signs = np.where(fresh, now + luck.incubation, signs)
    return day, signs
