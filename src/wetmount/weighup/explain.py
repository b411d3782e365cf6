"""Explanations, what remains unexplained, and what opened the way."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wetmount.reference import Reference
from wetmount.weighup.pose import Posed
from wetmount.weighup.results import Explanation, OpenedTheWay, Unexplained
from wetmount.weighup.sampled import Sampled, distinct
from wetmount.weighup.steps import Floats
from wetmount.weighup.terms import Term

SHOWN_EXPLANATIONS = 8
DRAWS = 4000
OPENED_FROM = 0.05
UNEXPLAINED_FROM = 0.5
"""A finding is called unexplained when causes outside the tables more probably than not brought it."""


def explanations(posed: Posed, sampled: Sampled, seed: int) -> tuple[tuple[Explanation, ...], float]:
    """The likeliest sets of conditions that brought the positive findings, and the mass of all others.

    Condition sets are taken in proportion to their weight; which of their conditions acted is drawn each time from its
    exact distribution given the findings.
    """
    rng = np.random.default_rng(seed)
    brought = _brought(posed, sampled.present, sampled.take(DRAWS, rng), rng)
    told = distinct(brought)
    heaviest = np.argsort(-told.weight, kind="stable")[:SHOWN_EXPLANATIONS]
    shown = tuple(
        Explanation(tuple(posed.network.conditions[i] for i in np.flatnonzero(told.present[k])), float(told.weight[k]))
        for k in heaviest
    )
    return shown, max(0.0, 1.0 - sum(e.probability for e in shown))


def _brought(posed: Posed, present: Floats, taken: NDArray[np.intp], rng: np.random.Generator) -> NDArray[np.bool_]:
    """Draw which conditions of the sets `taken` (s,) from `present` brought at least one positive finding; (s, n)."""
    having = [column[taken].nonzero()[0] for column in np.ascontiguousarray(present.T > 0.0)]
    brought = np.zeros((len(having), len(taken)), dtype=bool)
    for term in posed.terms:
        if term.level > 0:
            _draw_causes(term, having, brought, rng)
    return brought.T


def _draw_causes(
    term: Term, having: Sequence[NDArray[np.intp]], brought: NDArray[np.bool_], rng: np.random.Generator
) -> None:
    """Mark in `brought` (n, s) the conditions that brought one report; `having[i]` are the sets that have condition i.

    They are drawn one after another, given that the report was made.
    """
    q, leak, _, _ = term.reduced()
    causes = [i for i in np.flatnonzero(q).tolist() if len(having[i])]
    # Chance that nothing from here on makes the report: neither a cause still to come nor anything outside.
    nothing = np.full(brought.shape[1], (1.0 - leak) * (1.0 - term.missed))
    made_from = []
    for i in reversed(causes):
        nothing[having[i]] *= 1.0 - q[i]
        made_from.append(1.0 - nothing[having[i]])
    made = np.zeros(brought.shape[1], dtype=bool)
    for i in causes:
        sets = having[i]
        bound = np.where(made[sets], 1.0, made_from.pop())
        acting = sets[rng.random(len(sets)) * bound < q[i]]
        made[acting] = True
        brought[i, acting] = True


def unexplained(posed: Posed, sampled: Sampled, reference: Reference) -> tuple[Unexplained, ...]:
    """Positive findings that more probably than not no condition of the tables brought, most so first.

    Water findings are left out: a reading off its limits is a fact of the tank that needs no disease to explain it.
    """
    found = []
    for term in posed.terms:
        if term.level > 0 and reference.findings[term.findings[0]].kind != "water":
            chance = float(sampled.mean(term.only_leak(sampled.present)))
            if chance > UNEXPLAINED_FROM:
                found.append(Unexplained(term.findings, term.level, chance))
    return tuple(sorted(found, key=lambda item: -item.probability))


def opened_the_way(posed: Posed, sampled: Sampled, leading: Sequence[int]) -> tuple[OpenedTheWay, ...]:
    """Predisposing conditions of the leading ones, with their chance of being present where the child is.

    In the order of the leading conditions, the likeliest parent first; those under `OPENED_FROM` are left out.
    """
    network = posed.network
    found = []
    for child in leading:
        with_child = sampled.weight * sampled.present[:, child]
        total = float(with_child.sum())
        opened = []
        for parent, odds in network.parents[child]:
            chance = float(with_child @ sampled.present[:, parent]) / total if total > 0.0 else 0.0
            if chance >= OPENED_FROM:
                opened.append(OpenedTheWay(network.conditions[child], network.conditions[parent], chance, odds))
        found.extend(sorted(opened, key=lambda item: -item.probability))
    return tuple(found)
