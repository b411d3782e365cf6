"""The two-tier network as arrays: conditions above, findings below, predisposing arcs between conditions.

A present condition i alone brings finding j to level k or higher with probability strength[i, j, k-1]; causes outside
the table do so with leak[j, k-1]; levels combine as the maximum (noisy-MAX):

    P(level_j < k | D) = (1 - leak[j, k-1]) * prod over i in D of (1 - strength[i, j, k-1])

A present parent multiplies the odds of its children; the product of the multipliers that one child receives is capped.
Base odds are solved so that with nothing known every marginal is the table's rate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wetmount.weighup.steps import Floats, Parents, Step, Steps, compile_steps, elimination_order, merge_children

PREDISPOSING_CAP = 6.0
"""Most that predisposing conditions together multiply a child's odds by: they overlap (reference, predispositions)."""

KEPT_ODDS = 2.0
"""Arcs at or above this are kept in the network; weaker ones stand at their average inside the rate."""


@dataclass(frozen=True, slots=True)
class Network:
    """Conditions, findings and what joins them; build one with `build_network`.

    rate (n,), base_odds (n,), strength (n, f, K), leak (f, K), levels (f,), illness_from (f,); parents[i] lists
    (parent index, odds). `order` visits every parent before its children and is chosen to keep few parents open;
    `unseen` are the steps of that order when nothing was found.
    """

    conditions: tuple[str, ...]
    findings: tuple[str, ...]
    rate: Floats
    base_odds: Floats
    strength: Floats
    leak: Floats
    levels: NDArray[np.intp]
    illness_from: NDArray[np.intp]
    parents: Parents
    order: tuple[int, ...]
    unseen: Steps
    cap: float

    def condition_index(self) -> dict[str, int]:
        """Position of every condition id."""
        return {id: index for index, id in enumerate(self.conditions)}

    def finding_index(self) -> dict[str, int]:
        """Position of every finding id."""
        return {id: index for index, id in enumerate(self.findings)}


def build_network(
    conditions: Sequence[str],
    findings: Sequence[str],
    rate: Floats,
    strength: Floats,
    leak: Floats,
    levels: Sequence[int],
    illness_from: Sequence[int],
    arcs: Mapping[tuple[int, int], float],
    cap: float = PREDISPOSING_CAP,
) -> Network:
    """A network from its tables; `arcs` maps (parent, child) to an odds multiplier of at least 1.

    Raises ValueError when an arc is below 1 or the arcs run in a circle.
    """
    if any(odds < 1.0 for odds in arcs.values()):
        raise ValueError("a predisposing arc must not lower the odds of its child")
    parents: list[list[tuple[int, float]]] = [[] for _ in conditions]
    for (parent, child), odds in sorted(arcs.items()):
        parents[child].append((parent, odds))
    frozen = tuple(tuple(row) for row in parents)
    order = elimination_order(frozen)
    unseen = compile_steps(order, frozen, cap, np.zeros((len(rate), 0)))
    return Network(
        conditions=tuple(conditions),
        findings=tuple(findings),
        rate=rate,
        base_odds=solve_base_odds(rate, unseen),
        strength=strength,
        leak=leak,
        levels=np.asarray(levels, dtype=np.intp),
        illness_from=np.asarray(illness_from, dtype=np.intp),
        parents=frozen,
        order=order,
        unseen=unseen,
        cap=cap,
    )


def marginals(network: Network, odds: Floats) -> Floats:
    """Chance (n,) of every condition before anything is found, for odds (n,) that the parents then multiply."""
    chance = odds / (1.0 + odds)
    mass: Floats = np.ones((1,))
    for step in network.unseen.steps:
        full = odds[step.condition] * (1.0 if step.multipliers is None else step.multipliers)
        present = mass * (full / (1.0 + full))
        chance[step.condition] = present.sum()
        mass = merge_children(step, mass - present, present)
    return np.asarray(chance)


def solve_base_odds(rate: Floats, unseen: Steps) -> Floats:
    """Base odds (n,) such that, with nothing known, every condition's marginal equals its rate.

    Goes through the conditions in order with the exact joint distribution of the parents still open; for each child
    the one unknown is the root of a function that rises with it, found by Newton steps on the log odds.
    """
    base = rate / (1.0 - rate)
    mass: Floats = np.ones((1,))
    for step in unseen.steps:
        i = step.condition
        if step.multipliers is not None:
            base[i] = _root(rate[i], mass, step)
            odds = base[i] * step.multipliers
            present = odds / (1.0 + odds)
        else:
            present = np.asarray(rate[i])
        mass = merge_children(step, mass * (1.0 - present), mass * present)
    return base


def _root(rate: float, mass: Floats, step: Step) -> float:
    """The base odds b with sum over states of mass * b m / (1 + b m) = rate (mass sums to 1)."""
    assert step.multipliers is not None
    log_odds = float(np.log(rate / (1.0 - rate)))
    for _ in range(60):
        odds = np.exp(log_odds) * step.multipliers
        present = odds / (1.0 + odds)
        error = float(np.sum(mass * present)) - rate
        slope = float(np.sum(mass * present * (1.0 - present)))
        change = max(-2.0, min(2.0, error / slope))
        log_odds -= change
        if abs(change) < 1e-15:
            break
    return float(np.exp(log_odds))
