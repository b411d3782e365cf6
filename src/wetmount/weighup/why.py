"""How much each finding and answer speaks for or against a condition: the weigh-up with it against without it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wetmount.evidence import Evidence
from wetmount.weighup.pose import Posed, history_product, without
from wetmount.weighup.results import Reason
from wetmount.weighup.sampled import Sampled, log_prior, received_odds
from wetmount.weighup.steps import Floats
from wetmount.weighup.sweep import Posterior, presence

RESWEEP_BITS, RESWEEP_TELLING_BITS = 13.0, 18.0
"""Up to the first state size every positive finding is left out by an exact sweep of its own, up to the second those
that tell much; the rest, and beyond, by reweighting the samples."""

TELLING = 0.3
"""A finding tells much when it changes some leading condition's odds about twofold (log10)."""

SMALLEST = 0.02
"""Reasons that change the odds by less than about 5 % are not listed (log10)."""


def reasons_for(
    posed: Posed, evidence: Evidence, posterior: Posterior, sampled: Sampled, leading: Sequence[int]
) -> dict[str, tuple[Reason, ...]]:
    """For each leading condition, its reasons from the strongest for to the strongest against.

    The weight is log10 of (odds of being present with everything) over (odds with this one left out), which is had by
    reweighting the exact samples with the inverse of its likelihood. A positive finding, for which few samples may
    stand for the rest, is left out by an exact sweep instead where that is quick or where it tells much.
    """
    chosen = list(leading)
    odds_now = _odds(posterior.present[chosen])
    found: list[tuple[tuple[str, ...], int, Floats]] = []
    here = sampled.mean(sampled.present[:, chosen])
    for term in posed.terms:
        change = _change(sampled, chosen, here, 1.0 / np.maximum(term.likelihood(sampled.present), 1e-300))
        limit = RESWEEP_TELLING_BITS if np.abs(change).max() >= TELLING else RESWEEP_BITS
        if term.level > 0 and posterior.state_bits <= limit:
            change = np.log10(odds_now / _odds(presence(without(posed, term).problem)[chosen]))
        found.append((term.findings, term.level, change))
    received = received_odds(posed.network, sampled.present)
    prior = log_prior(sampled.present, posed.problem.odds, received)
    base_history = history_product(posed.multipliers, posed.network)
    for key, values in posed.multipliers.items():
        if key in ("host", "temperature"):
            odds = posed.problem.odds / values
            level = 1
        else:
            others = {name: factor for name, factor in posed.multipliers.items() if name != key}
            odds = posed.problem.odds / base_history * history_product(others, posed.network)
            level = int(evidence.answers[key])
        factor = np.exp(log_prior(sampled.present, odds, received) - prior)
        found.append(((key,), level, _change(sampled, chosen, here, factor)))
    return {
        posed.network.conditions[i]: tuple(
            sorted(
                (Reason(ids, level, float(weight[k])) for ids, level, weight in found if abs(weight[k]) >= SMALLEST),
                key=lambda reason: -reason.weight,
            )
        )
        for k, i in enumerate(chosen)
    }


def _change(sampled: Sampled, chosen: list[int], here: Floats, factor: Floats) -> Floats:
    """log10 odds now minus log10 odds after reweighting by `factor`, from the same samples."""
    after = sampled.mean(sampled.present[:, chosen], factor)
    return np.asarray(np.log10(_odds(here)) - np.log10(_odds(after)))


def _odds(probability: Floats) -> Floats:
    held = np.clip(probability, 1e-6, 1.0 - 1e-6)
    return np.asarray(held / (1.0 - held))


def memory_share(posed: Posed, reasons_of: dict[str, tuple[Reason, ...]], responsible: dict[str, float]) -> float:
    """Share of the weight of evidence, over leading conditions by their responsibility, that rests on memory rows."""
    row = posed.network.condition_index()
    memory = {term.findings: term.memory for term in posed.terms}
    total, remembered = 0.0, 0.0
    for condition, listed in reasons_of.items():
        for reason in listed:
            if reason.findings in memory:
                size = abs(reason.weight) * responsible[condition]
                total += size
                remembered += size * bool(memory[reason.findings][row[condition]])
    return remembered / total if total else 0.0
