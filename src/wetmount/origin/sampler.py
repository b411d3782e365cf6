"""Posterior sampling of the transmission model: Gibbs over each tank's day of infection, many chains side by side.

Given the days of all other tanks, the conditional of one tank's day is computed exactly for every day, with its latent
time summed out, and drawn from: nothing is proposed and refused. Chains run as the last axis of every array. Links
are held as segments, constant over a span of days, so that what a tank bears and gives is a cumulative sum over days.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.origin.model import RESIDENT, Model

Array = NDArray[np.float64]
Days = NDArray[np.int64]

TINY: Final = 1e-300
BOOST: Final = 4.0
"""Times the odds of carriers and the hazards of deliveries and outside, in the chains that explore. Tried on six runs:
with 12 chains agree after 280 to 520 sweeps, with 6 after 160 to 280, with 4 within the 160 that are always made."""
RATE_TURNS: Final = 4
"""Metropolis steps of every rate in a sweep."""
SWAPS: Final = 6
"""Times in a sweep that two tanks are offered each other's days."""


@dataclass(slots=True)
class State:
    """C chains: days of infection and of becoming infectious (n, C), log rates (K + 1, C)."""

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
    """(S, 1) the last two, to stand beside chains."""
    strength: Array
    """(S, K)."""
    onto: Array
    """(n, S): 1 where the segment leads to the tank."""

    @classmethod
    def of(cls, model: Model) -> Segments:
        """From a model's links."""
        links, count = model.links, len(model.links.tanks)
        found: dict[tuple[int, int, int, int], Array] = {}
        for piece in links.pieces:
            span = piece.source, piece.target, piece.first, piece.last + 1
            row = found.setdefault(span, np.zeros(len(links.kinds)))
            row[links.kinds.index(piece.kind)] += piece.strength
        keys = sorted(found)
        source, target, begins, ends = np.array(keys, dtype=np.int64).reshape(-1, 4).T
        strength = np.array([found[key] for key in keys]).reshape(len(keys), len(links.kinds))
        return cls(source, target, begins[:, None], ends[:, None], strength, np.eye(count)[:, target])


@dataclass(frozen=True, slots=True)
class Around:
    """Segments into and out of one tank."""

    into: Days
    into_source: Days
    into_first: Days
    brief: Days
    """Places in `into` of segments that end before the record does."""
    brief_end: Days
    out: slice
    out_target: Days
    out_first: Days
    out_end: Days
    out_begins: Array
    """(D + 1, segments): 1 on the first day of each."""
    others: Days
    """The tanks that it leads to."""
    starts: Days
    """Place in `out` where each other tank's segments begin."""

    @classmethod
    def of(cls, seg: Segments, tank: int, days: int) -> Around:
        """For one tank of the segments."""
        into = np.flatnonzero(seg.target == tank)
        brief = np.flatnonzero(seg.end[into, 0] < days)
        low, high = np.searchsorted(seg.source, (tank, tank + 1))
        out = slice(int(low), int(high))
        others, starts = np.unique(seg.target[out], return_index=True)
        return cls(
            into,
            seg.source[into],
            seg.first[into],
            brief,
            seg.end[into[brief]],
            out,
            seg.target[out],
            seg.first[out],
            seg.end[out],
            np.eye(days + 1)[:, seg.first[out, 0]],
            others,
            starts,
        )


class Sampler:
    """Runs chains over a model. `state` is what they hold now, `boost` what each multiplies the ways in by.

    Half of the chains are as the model says (boost 1) and are recorded; the others let introductions in more readily
    and so pass from one candidate to another. The two halves exchange places (Geyer 1991, parallel tempering).
    """

    def __init__(self, model: Model, pairs: int, rng: np.random.Generator) -> None:
        self.model, self.rng, self.chains = model, rng, 2 * pairs
        self.days, self.count = model.links.days, len(model.links.tanks)
        self.segments = Segments.of(model)
        self.around = [Around.of(self.segments, tank, self.days) for tank in range(self.count)]
        self.latent = _latent_table(model.latent, self.days)
        self.latent_to = np.ascontiguousarray(self.latent.T)
        self.from_day = np.triu(np.ones((self.days + 1, self.days + 1)))
        """A sum over all days from one on, as a matrix product, faster than sums in order."""
        self.pulse_before = np.concatenate((np.zeros((self.count, 1)), model.pulse.cumsum(axis=1)), axis=1)
        self.held_before = np.concatenate((np.zeros((self.count, 1)), model.susceptible.cumsum(axis=1)), axis=1)
        self.log_likelihood = np.ascontiguousarray(model.likelihood[:, :, None])
        self.log_carried = np.log(model.resident / (1 - model.resident) + TINY)
        self.chain = np.arange(self.chains)
        self.tanks = np.arange(self.count)[:, None]
        self.boost = np.repeat([1.0, BOOST], pairs)
        self.plain = np.arange(pairs)
        """Chains that are as the model says, one for each place of the record."""
        self.state = self._start()
        self._lay_out()

    def _start(self) -> State:
        """Spread wide: days of seen tanks drawn from what their signs allow, each chain with a random way in."""
        model, rng, days = self.model, self.rng, self.days
        shape = (len(model.rate_mean), self.chains)
        rates = model.rate_mean[:, None] + model.rate_sd[:, None] * rng.standard_normal(shape)
        day = np.full((self.count, self.chains), days)
        for tank, watched in enumerate(model.watched):
            if watched.seen:
                # a tank whose days are all unlikely still starts somewhere
                chance = (np.exp(model.likelihood[tank, 1:-1]) + 1e-12) * model.susceptible[tank] + TINY
                day[tank] = pick(np.repeat(chance[:, None], self.chains, axis=1), rng)
        entries = [entry for entry in model.entries if entry.tank is not None]
        for chain in range(self.chains if entries else 0):
            entry = entries[int(rng.integers(len(entries)))]
            begin = RESIDENT if entry.day is None else entry.day
            if entry.tank is not None and model.likelihood[entry.tank, begin + 1] > -100:
                day[entry.tank, chain] = begin
        drawn = pick(self.latent_to[:, np.clip(day, 0, days - 1).ravel()], rng).reshape(day.shape)
        infectious = np.where(day == RESIDENT, 0, np.where(day < days, drawn, days))
        return State(day, infectious, rates)

    # --- what follows from the state --------------------------------------------------------------------------------

    def _lay_out(self) -> None:
        """Hazard of every segment (S, C), and of every tank on the day of its infection (n, C)."""
        rates = np.exp(self.state.log_rates)
        self.by_segment = self.segments.strength @ rates[:-1]
        self.outside = self.boost * rates[-1]
        self.hit = self._hit(self.state.day, self.state.infectious)

    def inside(self, day: Days) -> NDArray[np.bool_]:
        """Which tanks were infected within the record, (n, C)."""
        return (day >= 0) & (day < self.days)

    def _row(self, day: Days) -> Days:
        """Days as places in arrays over the days of the record."""
        found: Days = np.minimum(np.maximum(day, 0), self.days - 1)
        return found

    def live(self, day: Days, infectious: Days) -> NDArray[np.bool_]:
        """Segments that carried hazard to their target on the day of its infection, (S, C)."""
        seg = self.segments
        on = day[seg.target]
        return (on < seg.end) & (on >= np.maximum(seg.first, infectious[seg.source]))

    def overlap(self, day: Days, infectious: Days) -> Days:
        """Days on which each segment carried hazard to a tank not yet infected, (S, C)."""
        seg = self.segments
        until = np.minimum(seg.end, day[seg.target])
        found: Days = np.maximum(until - np.maximum(seg.first, infectious[seg.source]), 0)
        return found

    def _pulse(self, day: Days) -> Array:
        """Hazard of deliveries on the day of infection, (n, C)."""
        found: Array = self.boost * self.model.pulse[self.tanks, self._row(day)]
        return found

    def _hit(self, day: Days, infectious: Days) -> Array:
        """Hazard of every tank on the day of its infection, (n, C)."""
        given = self.segments.onto @ (self.by_segment * self.live(day, infectious))
        found: Array = given + self.outside + self._pulse(day)
        return found

    def _log_chance(self, day: Days, infectious: Days) -> tuple[Array, Array]:
        """Log of the probability of days and of what was seen, latent times left out, (C,); with it `_hit`."""
        model = self.model
        hit = self._hit(day, infectious)
        until = np.maximum(day, 0)
        held = model.susceptible[self.tanks, self._row(day)]
        log = np.where(self.inside(day), np.where(held, log_hit(hit), np.log(TINY)), 0.0).sum(axis=0)
        log -= np.einsum("sc,sc->c", self.by_segment, self.overlap(day, infectious))
        log -= self.outside * self.held_before[self.tanks, until].sum(axis=0)
        log -= self.boost * self.pulse_before[self.tanks, until].sum(axis=0)
        log += np.where(day == RESIDENT, self.log_carried[:, None] + np.log(self.boost), 0.0).sum(axis=0)
        log += model.likelihood[self.tanks, day + 1].sum(axis=0)
        return log, hit

    # --- one sweep --------------------------------------------------------------------------------------------------

    def sweep(self) -> None:
        """Every tank's day once, in random order; then rates, swaps and exchange."""
        for tank in self.rng.permutation(self.count):
            self._tank(int(tank))
        self._rates()
        self._lay_out()
        self._swap()
        self._exchange()

    def _sums(self, place: Days, weight: Array) -> Array:
        """Weights summed by place on D + 1 days, (D + 1, C); both (any, C)."""
        cells = (place * self.chains + self.chain).ravel()
        found = np.bincount(cells, weight.ravel(), (self.days + 1) * self.chains)
        return np.asarray(found, dtype=float).reshape(-1, self.chains)

    def borne(self, tank: int) -> Array:
        """Hazard of a tank on every day, (D, C)."""
        model, around = self.model, self.around[tank]
        ways_in = model.susceptible[tank, :, None] * (self.boost * model.pulse[tank, :, None] + self.outside)
        if not around.into.size:
            return np.asarray(ways_in)
        weight = self.by_segment[around.into]
        begin = np.maximum(around.into_first, self.state.infectious[around.into_source])
        steps = self._sums(begin, weight)
        if around.brief.size:
            stop = np.maximum(around.brief_end, begin[around.brief])
            steps -= self._sums(stop, weight[around.brief])
        # steps up and down may leave a trace below zero
        found: Array = np.maximum(np.cumsum(steps[:-1], axis=0), 0.0) + ways_in
        return found

    def _given(self, tank: int) -> tuple[Array, Array, Days]:
        """Log of the others' probability by the day this tank becomes infectious, (D + 1, C), against never.

        Also its share in the hazard of each of the others on the day of their infection, and those days.
        """
        around = self.around[tank]
        if not around.others.size:
            nobody = np.zeros((0, self.chains))
            return np.zeros((self.days + 1, self.chains)), nobody, nobody.astype(np.int64)
        weight, first, end = self.by_segment[around.out], around.out_first, around.out_end
        on = self.state.day[around.out_target]
        stop = np.maximum(np.minimum(end, on), first)
        steps = around.out_begins @ weight - self._sums(stop, weight)
        given = np.where((first <= on) & (on < end), weight, 0.0)
        share = given if len(around.others) == len(given) else np.add.reduceat(given, around.starts, axis=0)
        hit_day = self.state.day[around.others]
        rest = self.hit[around.others] - np.where(self.state.infectious[tank] <= hit_day, share, 0.0)
        rest = np.maximum(rest, 0.0)
        gain = np.where(share > 0, log_hit(rest + share) - log_hit(rest), 0.0)
        # a share, and so a gain, is zero unless the day lies in the record
        ahead = self._sums(np.maximum(hit_day, 0), gain) - np.cumsum(steps, axis=0)
        ahead[-1] = 0.0
        return self.from_day @ ahead, share, hit_day

    def _tank(self, tank: int) -> None:
        state, days = self.state, self.days
        later, share, hit_day = self._given(tank)
        hazard = self.borne(tank)
        most = later.max(axis=0)
        scaled = np.exp(later - most)
        escaped = np.cumsum(hazard, axis=0)
        log = np.empty((days + 2, self.chains))
        log[0] = self.log_carried[tank] + np.log(self.boost) + later[0]
        log[1:-1] = log_hit(hazard) - (escaped - hazard) + np.log(self.latent @ scaled + TINY) + most
        log[-1] = -escaped[-1]
        log += self.log_likelihood[tank]
        log -= log.max(axis=0)
        day = pick(np.exp(log), self.rng) - 1
        row = self._row(day)
        drawn = pick(self.latent_to[:, row] * scaled + TINY, self.rng)
        infectious = np.where(day == RESIDENT, 0, np.where(day < days, drawn, days))
        if share.size:
            now, was = infectious <= hit_day, state.infectious[tank] <= hit_day
            self.hit[self.around[tank].others] += share * (now.astype(float) - was)
        self.hit[tank] = hazard[row, self.chain]
        state.day[tank] = day
        state.infectious[tank] = infectious

    def _rates(self) -> None:
        """Random-walk Metropolis on each log rate, given the days: cheap, since only sums are needed."""
        state, model, rng, seg = self.state, self.model, self.rng, self.segments
        live = self.live(state.day, state.infectious)
        borne = np.empty_like(state.log_rates)
        borne[:-1] = seg.strength.T @ self.overlap(state.day, state.infectious)
        borne[-1] = self.held_before[self.tanks, np.maximum(state.day, 0)].sum(axis=0)
        borne[-1] *= self.boost
        at_hit = np.tile(self.boost, (len(model.rate_mean), self.count, 1))
        for kind in range(len(model.rate_mean) - 1):
            used = np.flatnonzero(seg.strength[:, kind])
            at_hit[kind] = seg.onto[:, used] @ (live[used] * seg.strength[used, kind, None])
        # tanks not infected within the record count as certain, so that they add nothing
        inside = self.inside(state.day)
        hit = np.where(inside, np.einsum("kc,knc->nc", np.exp(state.log_rates), at_hit), np.inf) + self._pulse(
            state.day
        )
        now = log_hit(hit).sum(axis=0)
        for turn in range(RATE_TURNS):
            for kind in range(len(model.rate_mean)):
                mean, sd, old = model.rate_mean[kind], model.rate_sd[kind], state.log_rates[kind]
                new = old + sd * (1.2 if turn % 2 else 0.4) * rng.standard_normal(self.chains)
                change = np.exp(new) - np.exp(old)
                hit_then = hit + change * at_hit[kind]
                then = log_hit(hit_then).sum(axis=0)
                gain = then - now - change * borne[kind] + ((old - mean) ** 2 - (new - mean) ** 2) / (2 * sd**2)
                taken = np.log(rng.random(self.chains)) < gain
                state.log_rates[kind] = np.where(taken, new, old)
                hit = np.where(taken, hit_then, hit)
                now = np.where(taken, then, now)

    def _swap(self) -> None:
        """Two tanks change places in time: the first infected, or any, and another; refused where it does not fit."""
        state, rng = self.state, self.rng
        if self.count < 2:
            return
        now, _ = self._log_chance(state.day, state.infectious)
        for turn in range(SWAPS):
            luck = rng.random(state.day.shape)
            # of tanks infected on the same first day any may be meant; there are as many of them after the change
            one = luck.argmax(axis=0) if turn % 3 == 2 else (state.day + luck).argmin(axis=0)
            other = (one + rng.integers(1, self.count, self.chains)) % self.count
            day, infectious = state.day.copy(), state.infectious.copy()
            for values, old in ((day, state.day), (infectious, state.infectious)):
                values[one, self.chain], values[other, self.chain] = old[other, self.chain], old[one, self.chain]
            then, hit = self._log_chance(day, infectious)
            taken = np.log(rng.random(self.chains)) < then - now
            now = np.where(taken, then, now)
            state.day = np.where(taken, day, state.day)
            state.infectious = np.where(taken, infectious, state.infectious)
            self.hit = np.where(taken, hit, self.hit)

    def _exchange(self) -> None:
        """Offer each plain chain the place of an exploring one, by the odds of their introductions."""
        state, model = self.state, self.model
        outside, until = np.exp(state.log_rates[-1]), np.maximum(state.day, 0)
        ways_in = model.pulse[self.tanks, self._row(state.day)] + outside
        rest = np.maximum(self.hit - self.boost * ways_in, 0.0)
        gain = log_hit(rest + BOOST * ways_in) - log_hit(rest + ways_in)
        gain = np.where(self.inside(state.day), gain, 0.0).sum(axis=0)
        borne = self.pulse_before[self.tanks, until] + outside * self.held_before[self.tanks, until]
        gain += np.log(BOOST) * (state.day == RESIDENT).sum(axis=0) - (BOOST - 1) * borne.sum(axis=0)
        exploring = np.setdiff1d(self.chain, self.plain)
        self.rng.shuffle(exploring)
        taken = np.log(self.rng.random(len(self.plain))) < gain[self.plain] - gain[exploring]
        self.boost[self.plain[taken]], self.boost[exploring[taken]] = BOOST, 1.0
        self.plain = np.where(taken, exploring, self.plain)
        self.outside = self.boost * outside
        self.hit = rest + self.boost * ways_in


def _latent_table(latent: Array, days: int) -> Array:
    """(D, D + 1): chance to be infectious from each day, given the day of infection; the last = not by the end."""
    found = np.zeros((days, days + 1))
    for day in range(days):
        found[day, day:days] = latent[: days - day]
        found[day, days] = latent[days - day :].sum()
    return found


def log_hit(hazard: Array) -> Array:
    """Log of the chance not to escape a hazard; infinite hazard gives 0, none the log of nearly nothing."""
    found: Array = np.log(np.maximum(-np.expm1(-hazard), TINY))
    return found


def pick(weights: Array, rng: np.random.Generator) -> Days:
    """One row for each column, with chances in proportion to the weights."""
    sums = np.cumsum(weights, axis=0)
    found: Days = np.minimum((sums <= rng.random(weights.shape[1]) * sums[-1]).sum(axis=0), len(weights) - 1)
    return found
