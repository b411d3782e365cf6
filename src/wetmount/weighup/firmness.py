"""How firm the answer is: the tables redrawn within their uncertainty, and the ranking seen again each time."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wetmount.weighup.pose import Posed, reduce_terms
from wetmount.weighup.sampled import Sampled, effective_size, log_prior, received_odds, responsible_given_set
from wetmount.weighup.steps import Floats
from wetmount.weighup.sweep import Posterior, sweep
from wetmount.weighup.terms import Term

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


def redraw(posed: Posed, sampled: Sampled, posterior: Posterior, seed: int, redraws: int = REDRAWS) -> Redrawn:
    """Redraw every strength, leak and prior `redraws` times and compute who is responsible each time.

    Samples of the tables as they stand are reweighted by the ratio of likelihoods; where too few of them carry the
    weight, the sweep is run again on the redrawn tables.
    """
    rng = np.random.default_rng(seed)
    network, problem = posed.network, posed.problem
    ill = bool(posterior.responsible.any())
    candidates = np.argsort(-(posterior.responsible if ill else posterior.present), kind="stable")[:CANDIDATES]
    plan = problem.steps()
    chosen, weight = np.unique(sampled.take(SETS, rng), return_counts=True)
    present = sampled.present[chosen]
    received = received_odds(network, present)
    before = _log_joint(posed.terms, present, problem.odds, received)
    prior_spread = np.where(network.rate >= COMMON_RATE, SPREAD_COMMON, SPREAD_RARE)
    score = np.zeros((redraws, len(network.conditions)))
    swept = 0
    for r in range(redraws):
        by_condition = rng.standard_normal(len(network.conditions))
        terms = tuple(_redrawn_term(term, by_condition, rng) for term in posed.terms)
        odds = problem.odds * np.exp(prior_spread * rng.standard_normal(len(network.conditions)))
        change = _log_joint(terms, present, odds, received) - before
        reweighted = Sampled(present, weight * np.exp(change - change.max()))
        if effective_size(reweighted.weight) < ENOUGH and posterior.state_bits <= SWEEP_BITS:
            again = sweep(reduce_terms(network, odds, terms).problem, plan)
            score[r] = again.responsible if ill else again.present
            swept += 1
        elif ill:
            values = responsible_given_set(replace(posed, terms=terms), present, candidates)
            score[r] = reweighted.mean(values)
        else:
            score[r] = reweighted.mean(present)
    return Redrawn(score, swept)


def _log_joint(terms: tuple[Term, ...], present: Floats, odds: Floats, received: Floats) -> Floats:
    """Log of prior times likelihood of each condition set; (s,)."""
    total = log_prior(present, odds, received)
    quiet = [np.log1p(-np.minimum(term.strength[:, 0], 1.0 - 1e-15)) for term in terms if term.level == 0]
    if quiet:
        total = total + present @ np.sum(quiet, axis=0)
    for term in terms:
        if term.level == 0:
            total = total + np.log1p(-term.leak[0])
        else:
            total = total + np.log(np.maximum(term.likelihood(present), 1e-300))
    return total


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
