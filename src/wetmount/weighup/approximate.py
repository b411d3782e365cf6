"""Beyond the exact limit: sweep the telling findings exactly, and reweight its samples by the others.

The answer is then an importance-sampling estimate. It is never silent: the weigh-up names the findings that were left
to reweighting, the effective sample, and a bound on the error of every probability.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wetmount.weighup.pose import Posed, without
from wetmount.weighup.sampled import Sampled, distinct, responsible_given_set
from wetmount.weighup.steps import Floats
from wetmount.weighup.sweep import Posterior, draw
from wetmount.weighup.terms import Term

EXACT_BITS = 20.0
"""Largest state that is swept exactly (log2 of the states open at once)."""

APPROXIMATE_SAMPLES = 40_000


@dataclass(frozen=True, slots=True)
class Solved:
    """The posterior, condition sets that stand for it, and in words how it was approximated (None if exact)."""

    posterior: Posterior
    sampled: Sampled
    approximation: str | None


def solve(posed: Posed, samples: int, seed: int) -> Solved:
    """The posterior of a problem: exact within the limit, beyond it a stated approximation."""
    kept, left = posed, []
    while (bits := float(np.log2((plan := kept.problem.steps()).peak))) > EXACT_BITS:
        term = _least_telling(kept)
        left.append(term)
        kept = without(kept, term)
    if not left:
        posterior, drawn = draw(posed.problem, samples, seed, plan)
        return Solved(posterior, distinct(drawn), None)
    posterior, drawn = draw(kept.problem, APPROXIMATE_SAMPLES, seed, plan)
    return _reweighted(posed, left, posterior, drawn, bits)


def _least_telling(posed: Posed) -> Term:
    """The open finding that the priors alone would explain most easily."""
    problem = posed.problem
    rate = problem.odds / (1.0 + problem.odds)
    unexplained = (1.0 - problem.leak) * np.exp(rate @ np.log1p(-np.minimum(problem.strength, 1.0 - 1e-12)))
    return posed.open_terms[int(np.argmin(unexplained * (1.0 - problem.missed)))]


def _reweighted(posed: Posed, left: list[Term], kept: Posterior, drawn: NDArray[np.bool_], bits: float) -> Solved:
    """Weigh exact samples of the kept problem by the likelihood of the findings left out of it."""
    sets = distinct(drawn)
    likelihood = np.ones(len(sets.weight))
    for term in left:
        likelihood = likelihood * term.likelihood(sets.present)
    weight = sets.weight * likelihood
    mean = float(weight.sum())
    sampled = Sampled(sets.present, weight / mean)
    responsible_each = responsible_given_set(posed, sets.present)
    present = sampled.mean(sets.present)
    responsible = sampled.mean(responsible_each)
    error = max(
        _largest_error(sets.weight, likelihood / mean, sets.present, present),
        _largest_error(sets.weight, likelihood / mean, responsible_each, responsible),
    )
    effective = APPROXIMATE_SAMPLES / float(np.sum(sets.weight * (likelihood / mean) ** 2))
    names = ", ".join(" and ".join(term.findings) for term in left)
    words = (
        f"{len(left)} findings ({names}) were weighed by {APPROXIMATE_SAMPLES} samples of the exact answer to the "
        f"others (effective sample {effective:.0f}): every probability is within {error:.3f} with 95 % confidence."
    )
    posterior = Posterior(present, responsible, kept.log_evidence + float(np.log(mean)), bits)
    return Solved(posterior, sampled, words)


def _largest_error(share: Floats, factor: Floats, values: Floats, mean: Floats) -> float:
    """1.96 standard errors of self-normalised weighted means, the largest of them (delta method)."""
    variance = np.einsum("s,sn->n", share * factor**2, (values - mean) ** 2) / APPROXIMATE_SAMPLES
    return float(1.96 * np.sqrt(variance.max()))
