"""What is kept of every sweep: days, rates, who infected whom, and the chance of each candidate to have begun it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wetmount.origin.links import chance_to_hazard
from wetmount.origin.model import RESIDENT
from wetmount.origin.sampler import Sampler, pick

Array = NDArray[np.float64]


@dataclass(slots=True)
class Kept:
    """One entry a sweep, each with the chains as first axis."""

    day: list[NDArray[np.int64]] = field(default_factory=list)
    infectious: list[NDArray[np.int64]] = field(default_factory=list)
    log_rates: list[Array] = field(default_factory=list)
    origin: list[Array] = field(default_factory=list)
    """Chance of each entry of the model to be the origin, given the days."""
    infector: list[NDArray[np.int64]] = field(default_factory=list)
    """Drawn infector of every tank: a tank, or n + entry; −1 where it was not infected."""
    root: list[NDArray[np.int64]] = field(default_factory=list)
    """The tank in which the infection of each tank came in, −1 where it was not infected."""
    first: list[NDArray[np.int64]] = field(default_factory=list)
    """The tank in which the infection of the first seen tank came in."""

    def settled(self) -> Kept:
        """Without the first third, in which the chains find their place."""
        names = ("day", "infectious", "log_rates", "origin", "infector", "root", "first")
        return Kept(*(getattr(self, name)[len(self.day) // 3 :] for name in names))


class Recorder:
    """Records a sampler."""

    def __init__(self, sampler: Sampler) -> None:
        self.sampler, self.kept = sampler, Kept()
        model = sampler.model
        self.seen = np.array([watched.seen for watched in model.watched])
        seg = sampler.segments
        pairs, self.pair_starts = np.unique(seg.source * sampler.count + seg.target, return_index=True)
        self.pair_source, self.pair_target = np.divmod(pairs, sampler.count)
        self.deliveries = [
            (place, entry.tank, entry.day, chance_to_hazard(entry.chance))
            for place, entry in enumerate(model.entries)
            if entry.tank is not None and entry.day is not None
        ]
        self.residents = [
            (place, entry.tank)
            for place, entry in enumerate(model.entries)
            if entry.tank is not None and entry.day is None
        ]

    def shares(self) -> Array:
        """Who infected each tank, given all days: (C, n, n + entries), each row of an infected tank adding up to 1.

        The share of a tank or way in is its hazard on the day of infection over the whole hazard of that day.
        """
        sampler = self.sampler
        days, count, plain = sampler.days, sampler.count, sampler.plain
        day = sampler.state.day[:, plain].T
        weight = np.zeros((len(plain), count, count + len(sampler.model.entries)))
        live = (sampler.by_segment * sampler.live(sampler.state.day, sampler.state.infectious))[:, plain].T
        if live.shape[1]:
            weight[:, self.pair_target, self.pair_source] = np.add.reduceat(live, self.pair_starts, axis=1)
        inside = (day >= 0) & (day < days)
        weight[:, :, -1] = np.where(inside, np.exp(sampler.state.log_rates[-1, plain])[:, None], 0.0)
        for place, tank, came, hazard in self.deliveries:
            weight[:, tank, count + place] = np.where(day[:, tank] == came, hazard, 0.0)
        for place, tank in self.residents:
            weight[:, tank, count + place] = day[:, tank] == RESIDENT
        total = weight.sum(axis=2, keepdims=True)
        found: Array = np.divide(weight, total, out=weight, where=total > 0)
        return found

    def record(self) -> None:
        """Keep what the chains hold now."""
        sampler, kept = self.sampler, self.kept
        count, plain = sampler.count, sampler.plain
        day, chains = sampler.state.day[:, plain].T.copy(), len(plain)
        share = self.shares()
        early = np.where(self.seen, day, np.iinfo(np.int64).max)
        # of tanks infected on the same first day each may be called the first
        tied = early == early.min(axis=1, keepdims=True)
        first_seen = (tied * sampler.rng.random(tied.shape)).argmax(axis=1)
        begin = (tied / tied.sum(axis=1, keepdims=True))[:, :, None]
        # chance that each tank is an ancestor of the first seen tank, or that tank itself
        passed = np.eye(count) - share[:, :, :count].transpose(0, 2, 1)
        ancestor = np.linalg.solve(passed, begin)[:, :, 0]
        origin = np.einsum("cn,cne->ce", ancestor, share[:, :, count:])
        rows = share.reshape(chains * count, -1)
        infected = day < sampler.days
        picked = pick(rows.T, sampler.rng).reshape(chains, count)
        infector = np.where(infected, picked, -1)
        tanks = np.arange(count)
        above = np.where(infected & (infector < count), infector, tanks)
        for _ in range(max(1, count).bit_length()):
            above = np.take_along_axis(above, above, axis=1)
        kept.day.append(day)
        kept.infectious.append(sampler.state.infectious[:, plain].T.copy())
        kept.log_rates.append(sampler.state.log_rates[:, plain].T.copy())
        kept.origin.append(origin)
        kept.infector.append(infector)
        kept.root.append(np.where(infected, above, -1))
        kept.first.append(above[np.arange(chains), first_seen])
