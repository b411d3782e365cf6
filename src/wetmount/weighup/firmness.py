"""How firm the answer is: the tables redrawn within their uncertainty, and the ranking seen again each time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wetmount.weighup.pose import Posed, reduce_terms
from wetmount.weighup.sampled import Sampled, effective_size, received_odds
from wetmount.weighup.steps import Floats
from wetmount.weighup.sweep import Posterior, sweep
from wetmount.weighup.terms import Term, log_not, none_acts, split

REDRAWS = 100
CANDIDATES = 20
"""Conditions whose responsibility is followed through reweighted redraws, the most responsible as the tables stand."""
SETS = 1500
"""Condition sets that are reweighted."""
ENOUGH = 40.0
"""Effective sample below which a redraw is swept anew instead of reweighted."""
SWEEP_BITS = 15.0
"""A redraw is swept anew only up to this state size; beyond it the reweighted figure stands."""

COMMON_RATE = 0.02
SPREAD_COMMON = float(np.log(2.0) / 1.645)
SPREAD_RARE = float(np.log(5.0) / 1.645)
"""Priors are known within a factor of 2 if common and 5 if rare, read as 90 % ranges."""

SHARED = 0.25
"""Share of a strength's variance common to its condition, and again to its finding; half is the row's own."""


@dataclass(frozen=True, slots=True)
class Redrawn:
    """score (r, n): responsible, or present where no illness was entered, under each redraw; redraws swept anew."""

    score: Floats
    swept: int


@dataclass(frozen=True, slots=True)
class _Drawn:
    """One term under r redraws: strength (r, c, K) of the `causes` (c,) that have one, and leak (r, K)."""

    term: Term
    causes: NDArray[np.intp]
    strength: Floats
    leak: Floats

    def reduced(self) -> tuple[Floats, Floats, Floats, Floats]:
        """`Term.reduced` for each redraw: q (r, c), leak (r,), exceed (r, c), exceed_leak (r,)."""
        q, exceed = split(self.strength, self.term.level, self.term.missed)
        leak, exceed_leak = split(self.leak, self.term.level, self.term.missed)
        return q, leak, exceed, exceed_leak

    def as_term(self, r: int) -> Term:
        """The term as redraw `r` has it."""
        strength = np.zeros_like(self.term.strength)
        strength[self.causes] = self.strength[r]
        return replace(self.term, strength=strength, leak=self.leak[r])


def redraw(posed: Posed, sampled: Sampled, posterior: Posterior, seed: int, redraws: int = REDRAWS) -> Redrawn:
    """Redraw every strength, leak and prior `redraws` times and compute who is responsible each time.

    Samples of the tables as they stand are reweighted by the ratio of likelihoods; where too few of them carry the
    weight, the sweep is run again on the redrawn tables.
    """
    rng = np.random.default_rng(seed)
    network, problem = posed.network, posed.problem
    n = len(network.conditions)
    ill = bool(posterior.responsible.any())
    candidates = np.argsort(-(posterior.responsible if ill else posterior.present), kind="stable")[:CANDIDATES]
    chosen, weight = np.unique(sampled.take(SETS, rng), return_counts=True)
    present = sampled.present[chosen]
    prior_spread = np.where(network.rate >= COMMON_RATE, SPREAD_COMMON, SPREAD_RARE)
    odds = problem.odds * np.exp(prior_spread * rng.standard_normal((redraws, n)))
    by_condition = rng.standard_normal((redraws, n))
    drawn = [_redrawn(term, by_condition, rng) for term in posed.terms]
    as_they_stand = [_unmoved(term) for term in posed.terms]
    received = received_odds(network, present)
    change = _log_joint(drawn, present, odds, received)
    change -= _log_joint(as_they_stand, present, problem.odds[None], received)
    weights = weight[:, None] * np.exp(change - change.max(axis=0))
    if ill:
        score = _responsible(drawn, present, weights, candidates)
    else:
        score = weights.T @ present / weights.sum(axis=0)[:, None]
    again = np.zeros(redraws, dtype=bool)
    if posterior.state_bits <= SWEEP_BITS:
        again = np.array([effective_size(column) < ENOUGH for column in weights.T])
        plan = problem.steps() if again.any() else None
        for r in np.flatnonzero(again):
            terms = (one.as_term(int(r)) for one in drawn)
            swept = sweep(reduce_terms(network, odds[r], terms).problem, plan)
            score[r] = swept.responsible if ill else swept.present
    return Redrawn(score, int(again.sum()))


def _log_joint(drawn: Sequence[_Drawn], present: Floats, odds: Floats, received: Floats) -> Floats:
    """Log of prior times likelihood of each condition set under each redraw; (s, r)."""
    each = np.log(odds)
    constant = np.zeros(len(odds))
    curved = _log_normaliser(odds, received)
    for one in drawn:
        if one.term.level == 0:
            each[:, one.causes] += log_not(one.strength[:, :, 0])
            constant += np.log1p(-one.leak[:, 0])
            continue
        q, leak, exceed, exceed_leak = one.reduced()
        each[:, one.causes] += log_not(exceed)
        constant += np.log1p(-exceed_leak)
        unexplained = none_acts(present[:, one.causes], q, leak) * (1.0 - one.term.missed)
        curved += np.log(np.maximum(1.0 - unexplained, 1e-300))
    return np.asarray(present @ each.T + curved + constant)


def _log_normaliser(odds: Floats, received: Floats) -> Floats:
    """Minus the sum over conditions of log(1 + odds received); (s, r).

    Most conditions receive nothing, and the others one of a few multipliers: each is worked out once.
    """
    total = np.tile(-np.log1p(odds).sum(axis=1), (len(received), 1))
    for i in np.flatnonzero((received != 1.0).any(axis=0)):
        values, which = np.unique(received[:, i], return_inverse=True)
        raised = np.log1p(odds[:, i]) - np.log1p(values[:, None] * odds[:, i])
        total += raised[which.reshape(-1)]
    return total


def _responsible(drawn: Sequence[_Drawn], present: Floats, weights: Floats, candidates: NDArray[np.intp]) -> Floats:
    """Weighted chance that each candidate itself brought a finding of illness, under each redraw; (r, n).

    As `Term.brought_nothing`, worked out only where the candidate is present. The others are 0.
    """
    score = np.zeros((weights.shape[1], present.shape[1]))
    having = {int(i): np.flatnonzero(present[:, i]) for i in candidates}
    nothing = {i: np.ones((len(sets), weights.shape[1])) for i, sets in having.items()}
    for one in drawn:
        if not one.term.illness:
            continue
        q, leak, _, _ = one.reduced()
        without_cause = none_acts(present[:, one.causes], q, leak) * (1.0 - one.term.missed)
        for column, i in enumerate(one.causes.tolist()):
            if i in having and len(having[i]):
                here = without_cause[having[i]]
                nothing[i] *= np.clip((1.0 - q[:, column] - here) / (1.0 - here), 0.0, 1.0)
    for i, sets in having.items():
        score[:, i] = np.sum(weights[sets] * (1.0 - nothing[i]), axis=0)
    return np.asarray(score / weights.sum(axis=0)[:, None])


def _redrawn(term: Term, by_condition: Floats, rng: np.random.Generator) -> _Drawn:
    """A term with strengths and leak moved on the logit scale; levels of one strength move together."""
    redraws = len(by_condition)
    causes = np.flatnonzero(term.strength[:, 0])
    by_finding = rng.standard_normal((redraws, 1))
    own = rng.standard_normal((redraws, len(causes)))
    move = np.sqrt(SHARED) * (by_condition[:, causes] + by_finding) + np.sqrt(1.0 - 2.0 * SHARED) * own
    leak_move = np.sqrt(SHARED) * by_finding + np.sqrt(1.0 - SHARED) * rng.standard_normal((redraws, 1))
    return _Drawn(
        term,
        causes,
        _moved(term.strength[causes], (term.spread[causes] * move)[:, :, None]),
        _moved(term.leak, term.leak_spread * leak_move),
    )


def _unmoved(term: Term) -> _Drawn:
    """The term as the tables have it, as if it were one redraw."""
    causes = np.flatnonzero(term.strength[:, 0])
    return _Drawn(term, causes, term.strength[None, causes], term.leak[None])


def _moved(probability: Floats, step: Floats) -> Floats:
    """Probabilities moved by `step` on the logit scale; 0 stays 0."""
    grown = probability * np.exp(step)
    return np.asarray(grown / (1.0 - probability + grown))


def leaders(redrawn: Redrawn) -> dict[int, float]:
    """How often each condition comes first, as a share of the redraws; only those that ever do."""
    first, times = np.unique(np.argmax(redrawn.score, axis=1), return_counts=True)
    return {int(i): float(count) / len(redrawn.score) for i, count in zip(first, times, strict=True)}


def percentile(redrawn: Redrawn, percent: float) -> Floats:
    """What `percent` of the redraws stay below, for each condition (n,), between the nearest two as in `np.percentile`
    (which loads all of `numpy.ma` for it)."""
    score = np.sort(redrawn.score, axis=0)
    place = percent / 100.0 * (len(score) - 1)
    below = min(int(place), len(score) - 2)
    return np.asarray(score[below] + (place - below) * (score[below + 1] - score[below]))
