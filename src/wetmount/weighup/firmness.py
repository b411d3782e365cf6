"""How firm the answer is: the tables redrawn within their uncertainty, and the ranking seen again each time."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wetmount.weighup.network import Floats
from wetmount.weighup.pose import Posed, reduce_terms
from wetmount.weighup.sampled import Sampled, effective_size, log_prior, received_odds, responsible_given_set
from wetmount.weighup.sweep import sweep
from wetmount.weighup.terms import Term

REDRAWS = 100
ENOUGH = 60.0
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


def redraw(posed: Posed, sampled: Sampled, state_bits: float, seed: int, redraws: int = REDRAWS) -> Redrawn:
    """Redraw every strength, leak and prior `redraws` times and compute who is responsible each time.

    Samples of the tables as they stand are reweighted by the ratio of likelihoods; where too few of them carry the
    weight, the sweep is run again on the redrawn tables.
    """
    rng = np.random.default_rng(seed)
    network, problem = posed.network, posed.problem
    received = received_odds(network, sampled.present)
    before = log_prior(sampled.present, problem.odds, received)
    for term in posed.terms:
        before = before + np.log(np.maximum(term.likelihood(sampled.present), 1e-300))
    prior_spread = np.where(network.rate >= COMMON_RATE, SPREAD_COMMON, SPREAD_RARE)
    ill = any(term.illness for term in posed.terms)
    result = np.zeros((redraws, len(network.conditions)))
    swept = 0
    for r in range(redraws):
        by_condition = rng.standard_normal(len(network.conditions))
        terms = [_redrawn_term(term, by_condition, rng) for term in posed.terms]
        odds = problem.odds * np.exp(prior_spread * rng.standard_normal(len(network.conditions)))
        other = replace(posed, terms=tuple(terms))
        after = log_prior(sampled.present, odds, received)
        for term in terms:
            after = after + np.log(np.maximum(term.likelihood(sampled.present), 1e-300))
        change = after - before
        weight = sampled.weight * np.exp(change - change.max())
        if effective_size(weight) < ENOUGH and state_bits <= SWEEP_BITS:
            posterior = sweep(reduce_terms(network, odds, terms).problem)
            result[r] = posterior.responsible if ill else posterior.present
            swept += 1
        else:
            held = weight > weight.max() * 1e-6
            present = sampled.present[held]
            values = responsible_given_set(other, present) if ill else present
            result[r] = Sampled(present, weight[held]).mean(values)
    return Redrawn(result, swept)


def _redrawn_term(term: Term, by_condition: Floats, rng: np.random.Generator) -> Term:
    """A term with strengths and leak moved on the logit scale; levels of one strength move together."""
    by_finding = rng.standard_normal()
    own = rng.standard_normal(len(by_condition))
    move = np.sqrt(SHARED) * (by_condition + by_finding) + np.sqrt(1.0 - 2.0 * SHARED) * own
    leak_move = np.sqrt(SHARED) * by_finding + np.sqrt(1.0 - SHARED) * rng.standard_normal()
    return replace(
        term,
        strength=_moved(term.strength, (term.spread * move)[:, None]),
        leak=_moved(term.leak, np.asarray(term.leak_spread * leak_move)),
    )


def _moved(probability: Floats, step: Floats) -> Floats:
    """Probabilities moved by `step` on the logit scale; 0 stays 0."""
    grown = probability * np.exp(step)
    return np.asarray(grown / (1.0 - probability + grown))


def leaders(redrawn: Redrawn) -> dict[int, float]:
    """How often each condition comes first, as a share of the redraws; only those that ever do."""
    first, times = np.unique(np.argmax(redrawn.score, axis=1), return_counts=True)
    return {int(i): float(count) / len(redrawn.score) for i, count in zip(first, times, strict=True)}
