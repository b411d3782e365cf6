"""Posterior sampling of the transmission model: Gibbs over each tank's day of infection, many chains side by side.

Given the days of all other tanks, the conditional of one tank's day is computed exactly for every day, with its latent
time summed out, and drawn from: nothing is proposed and refused. Chains run as one leading axis of every array. Links
are held as segments, constant over a span of days, so that what a tank bears and gives is a cumulative sum over days.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.origin.model import RESIDENT, Model

Array = NDArray[np.float64]
Days = NDArray[np.int64]

TINY: Final = 1e-300
BOOST: Final = 12.0
"""Odds of deliveries and carriers bringing it, in the chains that explore."""
RATE_TURNS: Final = 4
"""Metropolis steps of every rate in a sweep."""
SWAPS: Final = 6
"""Times in a sweep that two tanks are offered each other's days."""


@dataclass(slots=True)
class State:
    """C chains: days of infection and of becoming infectious (C, n), log rates (C, K + 1)."""

    day: Days
    infectious: Days
    log_rates: Array


@dataclass(frozen=True, slots=True)
class Segments:
    """Links constant over days `first` to before `end`, by source, then target. S segments, K kinds."""

    source: Days
    target: Days
    first: Days
    end: Days
    strength: Array
    """(S, K)."""
    onto: Array
    """(S, n): 1 where the segment leads to the tank."""

    @classmethod
    def of(cls, model: Model) -> Segments:
        """From a model's links, from the day their target holds fish."""
        links, count = model.links, len(model.links.tanks)
        held_from = links.days - model.susceptible.sum(axis=1)
        found: dict[tuple[int, int, int, int], Array] = {}
        for piece in links.pieces:
            first, end = max(piece.first, int(held_from[piece.target])), piece.last + 1
            if first < end:
                row = found.setdefault((piece.source, piece.target, first, end), np.zeros(len(links.kinds)))
                row[links.kinds.index(piece.kind)] += piece.strength
        keys = sorted(found)
        columns = np.array(keys, dtype=np.int64).reshape(-1, 4).T
        strength = np.array([found[key] for key in keys]).reshape(-1, len(links.kinds))
        source, target, first_day, end_day = columns
        return cls(source, target, first_day, end_day, strength, np.eye(count)[target])


@dataclass(frozen=True, slots=True)
class Outgoing:
    """Segments that leave one tank, as a slice, and the tanks they lead to."""

    part: slice
    others: Days
    starts: Days
    """Place in the slice where each other tank's segments begin."""
    begins: Array
    """(segments, D + 1): 1 on the first day of each."""


class Sampler:
    """Runs chains over a model. `state` is what they hold now, `boost` what each multiplies the ways in by.

    Half of the chains are as the model says (boost 1) and are recorded; the others let introductions in more readily
    and so pass from one candidate to another. The two halves exchange places (Geyer 1991, parallel tempering).
    """

    def __init__(self, model: Model, pairs: int, rng: np.random.Generator) -> None:
        self.model, self.rng, self.chains = model, rng, 2 * pairs
        self.days, self.count = model.links.days, len(model.links.tanks)
        self.segments = seg = Segments.of(model)
        bounds = np.searchsorted(seg.source, np.arange(self.count + 1))
        self.out = [_outgoing(seg, int(low), int(high), self.days) for low, high in pairwise(bounds)]
        self.into = [np.flatnonzero(seg.target == tank) for tank in range(self.count)]
        self.latent = _latent_table(model.latent, self.days)
        later = np.arange(self.days + 1)
        self.from_day = (later[:, None] >= later).astype(float)
        """(D + 1, D + 1): a sum over all days from one on, as a matrix product, faster than sums in order."""
        self.pulse_before = np.concatenate((np.zeros((self.count, 1)), model.pulse.cumsum(axis=1)), axis=1)
        self.held_before = np.concatenate((np.zeros((self.count, 1)), model.susceptible.cumsum(axis=1)), axis=1)
        self.chain = np.arange(self.chains)[:, None]
        self.offset = self.chain * (self.days + 1)
        self.tanks = np.arange(self.count)
        self.boost = np.repeat([1.0, BOOST], pairs)
        self.plain = np.arange(pairs)
        """Chains that are as the model says, one for each place of the record."""
        self.state = self._start()
        self._lay_out()

    def _start(self) -> State:
        """Spread wide: days of seen tanks drawn from what their signs allow, each chain with a random way in."""
        model, rng, days = self.model, self.rng, self.days
        rates = model.rate_mean + model.rate_sd * rng.standard_normal((self.chains, len(model.rate_mean)))
        day = np.full((self.chains, self.count), days)
        for tank, watched in enumerate(model.watched):
            if watched.seen:
                chance = np.exp(model.likelihood[tank, 1:-1]) * model.susceptible[tank]
                # a tank whose days are all unlikely still starts somewhere
                chance = chance + 1e-12 * model.susceptible[tank] + TINY
                day[:, tank] = _pick(np.broadcast_to(chance, (self.chains, days)), rng)
        entries = [entry for entry in model.entries if entry.tank is not None]
        for chain in range(self.chains if entries else 0):
            entry = entries[int(rng.integers(len(entries)))]
            begin = RESIDENT if entry.day is None else entry.day
            if entry.tank is not None and model.likelihood[entry.tank, begin + 1] > -100:
                day[chain, entry.tank] = begin
        drawn = _pick(self.latent[np.clip(day, 0, days - 1)].reshape(-1, days + 1), rng).reshape(day.shape)
        infectious = np.where(day == RESIDENT, 0, np.where(day < days, drawn, days))
        return State(day, infectious, rates)

    # --- what follows from the state --------------------------------------------------------------------------------

    def _lay_out(self) -> None:
        """Hazard of every segment (C, S), and of every tank on the day of its infection (C, n)."""
        rates = np.exp(self.state.log_rates)
        self.by_segment = rates[:, :-1] @ self.segments.strength.T
        self.outside = rates[:, -1:]
        self.hit = self._hit(self.state.day, self.state.infectious)

    def inside(self) -> NDArray[np.bool_]:
        """Which tanks were infected within the record, (C, n)."""
        return (self.state.day >= 0) & (self.state.day < self.days)

    def live(self, day: Days, infectious: Days) -> NDArray[np.bool_]:
        """Segments that carried hazard to their target on the day of its infection, (C, S)."""
        seg = self.segments
        on = day[:, seg.target]
        return (on < seg.end) & (on >= np.maximum(seg.first, infectious[:, seg.source]))

    def overlap(self, day: Days, infectious: Days) -> Days:
        """Days on which each segment carried hazard to a tank not yet infected, (C, S)."""
        seg = self.segments
        until = np.minimum(seg.end, day[:, seg.target])
        found: Days = np.maximum(until - np.maximum(seg.first, infectious[:, seg.source]), 0)
        return found

    def _hit(self, day: Days, infectious: Days) -> Array:
        """Hazard of every tank on the day of its infection, (C, n)."""
        pulse = self.model.pulse[self.tanks, np.minimum(np.maximum(day, 0), self.days - 1)]
        given = (self.by_segment * self.live(day, infectious)) @ self.segments.onto
        found: Array = given + self.outside + self.boost[:, None] * pulse
        return found

    def _log_chance(self, day: Days, infectious: Days) -> tuple[Array, Array]:
        """Log of the probability of days and of what was seen, latent times left out, (C,); with it `_hit`."""
        model = self.model
        hit = self._hit(day, infectious)
        until = np.maximum(day, 0)
        log = np.where((day >= 0) & (day < self.days), self._held_log_hit(day, hit), 0.0).sum(axis=1)
        log -= (self.by_segment * self.overlap(day, infectious)).sum(axis=1)
        log -= self.outside[:, 0] * self.held_before[self.tanks, until].sum(axis=1)
        log -= self.boost * self.pulse_before[self.tanks, until].sum(axis=1)
        carried = np.log(self.boost[:, None] * (model.resident / (1 - model.resident)) + TINY)
        log += np.where(day == RESIDENT, carried, 0.0).sum(axis=1)
        log += model.likelihood[self.tanks, day + 1].sum(axis=1)
        return log, hit

    def _held_log_hit(self, day: Days, hit: Array) -> Array:
        """Log of the chance of infection on the day; next to nothing where the tank held no fish yet."""
        held = self.model.susceptible[self.tanks, np.minimum(np.maximum(day, 0), self.days - 1)]
        found: Array = np.where(held, _log_hit(hit), np.log(TINY))
        return found

    # --- one sweep --------------------------------------------------------------------------------------------------

    def sweep(self) -> None:
        """Every tank's day once, in random order; then rates, swaps and exchange."""
        for tank in self.rng.permutation(self.count):
            self._tank(int(tank))
        self._rates()
        self._lay_out()
        self._swap()
        self._exchange()

    def _borne(self, tank: int) -> Array:
        """Hazard of a tank on every day, (C, D)."""
        seg, model, days, into = self.segments, self.model, self.days, self.into[tank]
        width = days + 1
        ways_in = model.susceptible[tank] * (self.boost[:, None] * model.pulse[tank] + self.outside)
        if not into.size:
            return np.asarray(ways_in)
        weight = self.by_segment[:, into]
        begin = np.maximum(seg.first[into], self.state.infectious[:, seg.source[into]])
        steps = np.bincount((self.offset + begin).ravel(), weight.ravel(), self.chains * width)
        brief = np.flatnonzero(seg.end[into] < days)
        if brief.size:
            stop = np.maximum(seg.end[into[brief]], begin[:, brief])
            steps -= np.bincount((self.offset + stop).ravel(), weight[:, brief].ravel(), self.chains * width)
        summed = np.cumsum(steps.reshape(self.chains, width)[:, :days], axis=1)
        # steps up and down may leave a trace below zero
        found: Array = np.maximum(summed, 0.0) + ways_in
        return found

    def _given(self, tank: int) -> tuple[Array, Array, Days]:
        """Log of the others' probability by the day this tank becomes infectious, (C, D + 1), against never.

        Also its share in the hazard of each of `others` on the day of their infection, and those days.
        """
        seg, days, out = self.segments, self.days, self.out[tank]
        width = days + 1
        found = np.zeros((self.chains, width))
        if not out.others.size:
            return found, np.zeros((self.chains, 0)), np.zeros((self.chains, 0), dtype=np.int64)
        weight, first, end = self.by_segment[:, out.part], seg.first[out.part], seg.end[out.part]
        on = self.state.day[:, seg.target[out.part]]
        stop = np.maximum(np.minimum(end, on), first)
        ended = np.bincount((self.offset + stop).ravel(), weight.ravel(), self.chains * width)
        steps = weight @ out.begins - ended.reshape(self.chains, width)
        given = np.where((first <= on) & (on < end), weight, 0.0)
        share = given if len(out.others) == given.shape[1] else np.add.reduceat(given, out.starts, axis=1)
        hit_day = self.state.day[:, out.others]
        rest = self.hit[:, out.others] - np.where(self.state.infectious[:, tank, None] <= hit_day, share, 0.0)
        rest = np.maximum(rest, 0.0)
        gain = np.where(share > 0, _log_hit(rest + share) - _log_hit(rest), 0.0)
        # a share, and so a gain, is zero unless the day lies in the record
        cells = (self.offset + np.maximum(hit_day, 0)).ravel()
        gains = np.bincount(cells, gain.ravel(), self.chains * width).reshape(self.chains, width)
        ahead = gains - np.cumsum(steps, axis=1)
        ahead[:, days] = 0.0
        return ahead @ self.from_day, share, hit_day

    def _tank(self, tank: int) -> None:
        state, model, days = self.state, self.model, self.days
        later, share, hit_day = self._given(tank)
        hazard = self._borne(tank)
        most = later.max(axis=1, keepdims=True)
        scaled = np.exp(later - most)
        escaped = np.cumsum(hazard, axis=1)
        log = np.empty((self.chains, days + 2))
        carried = self.boost * (model.resident[tank] / (1 - model.resident[tank]))
        log[:, 0] = np.log(carried + TINY) + later[:, 0]
        log[:, 1:-1] = _log_hit(hazard) - (escaped - hazard) + np.log(scaled @ self.latent.T + TINY) + most
        log[:, -1] = -escaped[:, -1]
        log += model.likelihood[tank]
        log -= log.max(axis=1, keepdims=True)
        day = _pick(np.exp(log), self.rng) - 1
        row = np.minimum(np.maximum(day, 0), days - 1)
        drawn = _pick(self.latent[row] * scaled + TINY, self.rng)
        infectious = np.where(day == RESIDENT, 0, np.where(day < days, drawn, days))
        if share.size:
            now, was = infectious[:, None] <= hit_day, state.infectious[:, tank, None] <= hit_day
            self.hit[:, self.out[tank].others] += share * (now.astype(float) - was)
        self.hit[:, tank] = hazard[self.chain[:, 0], row]
        state.day[:, tank] = day
        state.infectious[:, tank] = infectious

    def _rates(self) -> None:
        """Random-walk Metropolis on each log rate, given the days: cheap, since only sums are needed."""
        state, model, rng, seg = self.state, self.model, self.rng, self.segments
        inside = self.inside()
        live = self.live(state.day, state.infectious)
        borne = np.empty((self.chains, len(model.rate_mean)))
        borne[:, :-1] = self.overlap(state.day, state.infectious) @ seg.strength
        borne[:, -1] = self.held_before[self.tanks, np.maximum(state.day, 0)].sum(axis=1)
        at_hit = np.empty((len(model.rate_mean), self.chains, self.count))
        for kind in range(len(model.rate_mean) - 1):
            used = np.flatnonzero(seg.strength[:, kind])
            at_hit[kind] = (live[:, used] * seg.strength[used, kind]) @ seg.onto[used]
        at_hit[-1] = 1.0
        # tanks not infected within the record count as certain, so that they add nothing
        hit = np.where(inside, (np.exp(state.log_rates).T[:, :, None] * at_hit).sum(axis=0), np.inf)
        at = np.minimum(np.maximum(state.day, 0), self.days - 1)
        hit += self.boost[:, None] * model.pulse[self.tanks, at]
        now = _log_hit(hit).sum(axis=1)
        for turn in range(RATE_TURNS):
            for kind in range(len(model.rate_mean)):
                mean, sd, old = model.rate_mean[kind], model.rate_sd[kind], state.log_rates[:, kind]
                new = old + sd * (1.2 if turn % 2 else 0.4) * rng.standard_normal(self.chains)
                change = np.exp(new) - np.exp(old)
                hit_then = hit + change[:, None] * at_hit[kind]
                then = _log_hit(hit_then).sum(axis=1)
                gain = then - now - change * borne[:, kind] + ((old - mean) ** 2 - (new - mean) ** 2) / (2 * sd**2)
                taken = np.log(rng.random(self.chains)) < gain
                state.log_rates[:, kind] = np.where(taken, new, old)
                hit = np.where(taken[:, None], hit_then, hit)
                now = np.where(taken, then, now)

    def _swap(self) -> None:
        """Two tanks change places in time: the first infected, or any, and another; refused where it does not fit."""
        state, rng = self.state, self.rng
        if self.count < 2:
            return
        every = self.chain[:, 0]
        now, _ = self._log_chance(state.day, state.infectious)
        for turn in range(SWAPS):
            luck = rng.random(state.day.shape)
            # of tanks infected on the same first day any may be meant; there are as many of them after the change
            one = luck.argmax(axis=1) if turn % 3 == 2 else (state.day + luck).argmin(axis=1)
            other = (one + rng.integers(1, self.count, self.chains)) % self.count
            day, infectious = state.day.copy(), state.infectious.copy()
            for values, old in ((day, state.day), (infectious, state.infectious)):
                values[every, one], values[every, other] = old[every, other], old[every, one]
            then, hit = self._log_chance(day, infectious)
            taken = np.log(rng.random(self.chains)) < then - now
            now = np.where(taken, then, now)
            state.day[taken], state.infectious[taken], self.hit[taken] = day[taken], infectious[taken], hit[taken]

    def _exchange(self) -> None:
        """Offer each plain chain the place of an exploring one, by the odds of their introductions."""
        state, model = self.state, self.model
        pulse = model.pulse[self.tanks, np.minimum(np.maximum(state.day, 0), self.days - 1)]
        rest = np.maximum(self.hit - self.boost[:, None] * pulse, 0.0)
        came = self.inside() & (pulse > 0)
        gain = np.where(came, _log_hit(rest + BOOST * pulse) - _log_hit(rest + pulse), 0.0).sum(axis=1)
        borne = self.pulse_before[self.tanks, np.maximum(state.day, 0)].sum(axis=1)
        gain += np.log(BOOST) * (state.day == RESIDENT).sum(axis=1) - (BOOST - 1) * borne
        exploring = np.setdiff1d(np.arange(self.chains), self.plain)
        self.rng.shuffle(exploring)
        taken = np.log(self.rng.random(len(self.plain))) < gain[self.plain] - gain[exploring]
        self.boost[self.plain[taken]], self.boost[exploring[taken]] = BOOST, 1.0
        self.plain = np.where(taken, exploring, self.plain)
        self.hit = np.where(came, rest + self.boost[:, None] * pulse, self.hit)


def _outgoing(seg: Segments, low: int, high: int, days: int) -> Outgoing:
    others, starts = np.unique(seg.target[low:high], return_index=True)
    return Outgoing(slice(low, high), others, starts, np.eye(days + 1)[seg.first[low:high]])


def _latent_table(latent: Array, days: int) -> Array:
    """(D, D + 1): chance to be infectious from each day, given the day of infection; the last = not by the end."""
    found = np.zeros((days, days + 1))
    for day in range(days):
        found[day, day:days] = latent[: days - day]
        found[day, days] = latent[days - day :].sum()
    return found


def _log_hit(hazard: Array) -> Array:
    """Log of the chance not to escape a hazard; infinite hazard gives 0, none the log of nearly nothing."""
    found: Array = np.log(np.maximum(-np.expm1(-hazard), TINY))
    return found


def _pick(weights: Array, rng: np.random.Generator) -> Days:
    """One column of each row, with chances in proportion to the weights."""
    sums = np.cumsum(weights, axis=1)
    wanted = rng.random(len(weights))[:, None] * sums[:, -1:]
    found: Days = np.minimum((sums <= wanted).sum(axis=1), weights.shape[1] - 1)
    return found
