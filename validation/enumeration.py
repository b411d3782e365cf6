"""Posteriors by summing over every set of conditions: exact, plain, and only for small models."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain, combinations, product

import numpy as np

from validation.rows_model import RowsModel
from wetmount.weighup.sweep import Problem

Set = frozenset[str]


@dataclass(frozen=True)
class Enumerated:
    """Exact results of a small model."""

    evidence: float
    present: dict[str, float]
    responsible: dict[str, float]
    posterior: dict[Set, float]


def subsets(items: Set | tuple[str, ...]) -> Iterator[Set]:
    """Every subset."""
    listed = sorted(items)
    for chosen in chain.from_iterable(combinations(listed, size) for size in range(len(listed) + 1)):
        yield frozenset(chosen)


def enumerate_model(model: RowsModel) -> Enumerated:
    """P(evidence), present and responsible of every condition, and the posterior of every set."""
    joint = {
        present: model.prior(present) * math.prod(report.likelihood(present) for report in model.reports)
        for present in subsets(model.conditions)
    }
    total = math.fsum(joint.values())
    present, responsible = {}, {}
    for condition in model.conditions:
        with_it = [(d, weight) for d, weight in joint.items() if condition in d]
        present[condition] = math.fsum(weight for _, weight in with_it) / total
        idle = math.fsum(weight * brought_nothing(model, d, condition) for d, weight in with_it) / total
        responsible[condition] = present[condition] - idle
    return Enumerated(total, present, responsible, {d: weight / total for d, weight in joint.items()})


def brought_nothing(model: RowsModel, present: Set, condition: str) -> float:
    """P(condition brought none of the findings of illness | present conditions, reports)."""
    chance = 1.0
    for report in model.reports:
        if report.illness:
            chance *= report.only_from(present - {condition}, present) / report.likelihood(present)
    return chance


def explanation_masses(model: RowsModel) -> dict[Set, float]:
    """Posterior of the set of conditions that brought at least one of the positive findings.

    P(nobody outside S brought anything) is a product over reports; Möbius inversion over S gives P(exactly S).
    """
    masses: dict[Set, float] = {}
    positive = [report for report in model.reports if report.level]
    negative = [report for report in model.reports if not report.level]
    for present in subsets(model.conditions):
        weight = model.prior(present) * math.prod(report.likelihood(present) for report in negative)
        within = {s: math.prod(report.only_from(s, present) for report in positive) for s in subsets(present)}
        for exactly in within:
            mass = math.fsum((-1) ** (len(exactly) - len(s)) * within[s] for s in subsets(exactly))
            masses[exactly] = masses.get(exactly, 0.0) + weight * mass
    total = math.fsum(masses.values())
    return {s: mass / total for s, mass in masses.items()}


def enumerate_problem(problem: Problem) -> tuple[float, np.ndarray, np.ndarray]:
    """(P(evidence), present (n,), responsible (n,)) of a sweep's problem by enumeration over condition sets."""
    network, n, m = problem.network, len(problem.odds), len(problem.leak)
    total, present, idle = 0.0, np.zeros(n), np.zeros(n)
    for bits in product((0, 1), repeat=n):
        weight = math.exp(problem.log_constant)
        for i in range(n):
            received = math.prod(odds for parent, odds in network.parents[i] if bits[parent])
            odds = problem.odds[i] * min(network.cap, received)
            weight *= odds / (1.0 + odds) * problem.factor[i] if bits[i] else 1.0 / (1.0 + odds)
        unexplained = [
            (1.0 - problem.leak[j]) * math.prod(1.0 - problem.strength[i, j] for i in range(n) if bits[i])
            for j in range(m)
        ]
        like = [1.0 - (1.0 - problem.missed[j]) * unexplained[j] for j in range(m)]
        total += weight * math.prod(like)
        for i in range(n):
            if not bits[i]:
                continue
            present[i] += weight * math.prod(like)
            nothing = problem.bare[i]
            for j in range(m):
                if not problem.illness[j]:
                    nothing *= like[j]
                    continue
                others = (1.0 - problem.leak[j]) * math.prod(
                    1.0 - problem.strength[k, j] for k in range(n) if bits[k] and k != i
                )
                nothing *= (1.0 - problem.strength[i, j]) * (1.0 - (1.0 - problem.missed[j]) * others)
            idle[i] += weight * nothing
    return total, present / total, (present - idle) / total
