"""One look's evidence, weighed: the public entry of the package."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wetmount.evidence import Evidence
from wetmount.reference import Reference
from wetmount.weighup import firmness as firm
from wetmount.weighup.approximate import solve
from wetmount.weighup.explain import explanations, opened_the_way, unexplained
from wetmount.weighup.network import marginals
from wetmount.weighup.next_examination import next_examinations
from wetmount.weighup.pose import Posed, pose
from wetmount.weighup.results import ConditionResult, Firmness, Warning_, WeighUp
from wetmount.weighup.sampled import responsible_given_set
from wetmount.weighup.steps import Floats
from wetmount.weighup.sweep import Posterior
from wetmount.weighup.why import memory_share, reasons_for

SAMPLES = 4000
LEADING = 6
"""Reasons, redraws of rank and what opened the way are given for this many leading conditions."""
LEADING_FROM = 0.02
WARN_FROM = 0.05
"""Notifiable and zoonotic conditions are named from this probability on, leading or not."""


def weigh_up(
    evidence: Evidence,
    reference: Reference,
    *,
    seed: int = 1,
    reasons: bool = True,
    firmness: bool = True,
    examinations: bool = True,
) -> WeighUp:
    """Rank every condition of the reference by how probably it is responsible for what was found in one look.

    `reasons`, `firmness` and `examinations` may be switched off for speed; the rest is always there.
    Same evidence, reference and seed give the same result.
    """
    posed = pose(evidence, reference)
    solved = solve(posed, SAMPLES, seed)
    posterior, sampled = solved.posterior, solved.sampled
    prior = marginals(posed.network, posed.problem.odds)
    order = np.lexsort((-posterior.present, -posterior.responsible))
    leading = [int(i) for i in order[:LEADING] if _score(posterior)[i] >= LEADING_FROM] or [int(order[0])]
    why = reasons_for(posed, evidence, posterior, sampled, leading) if reasons else {}
    sets, remaining = explanations(posed, sampled, seed)
    results = _results(posed, reference, posterior, prior, order)
    responsible = {result.id: result.responsible for result in results}
    weighed = WeighUp(
        conditions=results,
        explanations=sets,
        remaining_probability=remaining,
        exact=solved.approximation is None,
        approximation=solved.approximation,
        state_bits=posterior.state_bits,
        log_evidence=posterior.log_evidence,
        reasons=why,
        unexplained=unexplained(posed, sampled, reference),
        opened_the_way=opened_the_way(posed, sampled, leading),
        firmness=None,
        memory_share=memory_share(posed, why, responsible) if reasons else None,
        next_examinations=None,
        unfinished=(),
        warnings=_warnings(results, reference),
        evidence=evidence,
        reference_version=reference.version,
    )
    if firmness:
        redrawn = firm.redraw(posed, sampled, posterior, seed)
        weighed = _with_firmness(weighed, posed, redrawn, leading)
    if examinations:
        blame = responsible_given_set(posed, sampled.present) if posterior.responsible.any() else sampled.present
        proposed, base = next_examinations(posed, sampled, blame, evidence, reference, leading[0], seed)
        weighed = replace(weighed, next_examinations=proposed, unfinished=base)
    return weighed


def _score(posterior: Posterior) -> Floats:
    """What conditions are ranked by: responsible, or present where no finding of illness was entered."""
    return posterior.responsible if posterior.responsible.any() else posterior.present


def _results(
    posed: Posed, reference: Reference, posterior: Posterior, prior: Floats, order: NDArray[np.intp]
) -> tuple[ConditionResult, ...]:
    ids = posed.network.conditions
    return tuple(
        ConditionResult(
            id=ids[i],
            name=reference.conditions[ids[i]].name,
            prior=float(prior[i]),
            probability=float(posterior.present[i]),
            responsible=float(posterior.responsible[i]),
        )
        for i in order
    )


def _with_firmness(weighed: WeighUp, posed: Posed, redrawn: firm.Redrawn, leading: list[int]) -> WeighUp:
    """Add ranges and the share of redraws in which the leading condition stays first."""
    shares = firm.leaders(redrawn)
    first = leading[0]
    others = sorted(((share, i) for i, share in shares.items() if i != first), key=lambda item: (-item[0], item[1]))
    ids = posed.network.conditions
    low, high = firm.percentile(redrawn, 5.0), firm.percentile(redrawn, 95.0)
    row = posed.network.condition_index()
    return replace(
        weighed,
        conditions=tuple(
            replace(result, low=float(low[row[result.id]]), high=float(high[row[result.id]]))
            for result in weighed.conditions
        ),
        firmness=Firmness(
            leading=ids[first],
            share=shares.get(first, 0.0),
            redraws=len(redrawn.score),
            runner_up=ids[others[0][1]] if others else None,
            runner_up_share=others[0][0] if others else 0.0,
        ),
    )


def _warnings(results: tuple[ConditionResult, ...], reference: Reference) -> tuple[Warning_, ...]:
    """Notifiable and zoonotic conditions over the threshold, most probable first within each kind."""
    found = []
    for result in sorted(results, key=lambda r: -r.probability):
        if result.probability < WARN_FROM:
            continue
        condition = reference.conditions[result.id]
        if condition.notifiable != "no":
            where = (
                "to the World Organisation for Animal Health" if condition.notifiable == "woah" else "in some countries"
            )
            text = (
                f"{result.name} must be reported {where}. Speak to the competent authority for fish health before "
                "moving, selling or treating fish."
            )
            found.append(Warning_("notifiable", result.id, result.probability, text))
        if condition.zoonotic:
            text = (
                f"{result.name} can infect people through wounds or by mouth: cover cuts, wear gloves, wash afterwards."
            )
            found.append(Warning_("zoonotic", result.id, result.probability, text))
    return tuple(sorted(found, key=lambda w: (w.kind, -w.probability)))
