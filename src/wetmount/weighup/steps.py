"""The order of work of the sweep: which axis of the state opens, moves and closes at each condition.

The state is an array with one axis for everything that conditions still to come must know:

- a *finding* axis (size 2): is this positive finding already explained?
- a *parent* axis (size 2): is this predisposing condition present? It stays while two or more children are to come.
- a *carried* axis: the odds multiplier that one child has collected from parents that matter to nobody else any more;
  ten parents of one child then cost a handful of values instead of ten bits.

Axis 0 is a batch of independent problems of the same shape; every new axis opens at position 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import prod

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Parents = tuple[tuple[tuple[int, float], ...], ...]


@dataclass(frozen=True, slots=True)
class Fold:
    """Move a parent axis into a carried axis: value (present d, value v) goes to `target[d][v]` of `size` values."""

    parent_axis: int
    carried_axis: int
    target: tuple[tuple[int, ...], tuple[int, ...]]
    size: int


@dataclass(frozen=True, slots=True)
class Step:
    """One condition: open findings, visit it, merge present and absent, close what nobody needs any more.

    `shape` is the state at the visit without the batch axis. `shifts` and `closes` hold (axis, finding).
    """

    condition: int
    shape: tuple[int, ...]
    opens: tuple[int, ...]
    shifts: tuple[tuple[int, int], ...]
    multipliers: Floats | None
    keep: bool
    sums: tuple[int, ...]
    folds: tuple[Fold, ...]
    closes: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Steps:
    """All steps in order, the conditions that no evidence and no arc touches, and the peak number of states."""

    steps: tuple[Step, ...]
    loose: tuple[int, ...]
    peak: int


def elimination_order(parents: Parents) -> tuple[int, ...]:
    """An order in which parents come before children and few parents wait for a child (greedy, deterministic).

    Time and again it goes through the condition, with all ancestors still missing, that costs least for each condition
    done: the states open on the way, and four times those left open at the end. Conditions without arcs come last, when
    every predisposing condition is closed again. Raises ValueError when the arcs run in a circle.
    """
    n = len(parents)
    above = [sum(1 << parent for parent, _ in row) for row in parents]
    below = [sum(1 << child for child in range(n) if above[child] >> i & 1) for i in range(n)]
    joined = [i for i in range(n) if above[i] or below[i]]
    opening = [i for i in joined if below[i]]
    done = 0
    order: list[int] = []

    @cache
    def width(seen: int) -> float:
        """Open axes: one for a parent with two or more children left, about 1.5 for each child that collects."""
        waiting, collecting = 0, 0
        for i in opening:
            if seen >> i & 1:
                left = below[i] & ~seen
                if left & (left - 1):
                    waiting += 1
                else:
                    collecting |= left
        return waiting + 1.5 * collecting.bit_count()

    def way(target: int) -> tuple[list[int], float]:
        """The conditions to go through up to `target`, parents first, and what that costs for each of them."""
        missing, stack = 0, [target]
        while stack:
            node = stack.pop()
            if not (done | missing) >> node & 1:
                missing |= 1 << node
                stack.extend(parent for parent, _ in parents[node])
        sequence: list[int] = []
        seen, cost, last = done, 0.0, 0.0
        while missing:
            ready = [i for i in _bits(missing) if not above[i] & ~seen]
            if not ready:
                raise ValueError("the predisposing arcs run in a circle")
            last, chosen = min((width(seen | 1 << i), i) for i in ready)
            cost += 2.0**last
            seen |= 1 << chosen
            missing &= ~(1 << chosen)
            sequence.append(chosen)
        return sequence, (cost + 4.0 * 2.0**last) / len(sequence)

    while len(order) < len(joined):
        sequence, _ = min((way(i) for i in joined if not done >> i & 1), key=lambda found: (found[1], found[0][-1]))
        order.extend(sequence)
        done |= sum(1 << i for i in sequence)
    return (*order, *(i for i in range(n) if i not in set(joined)))


def _bits(mask: int) -> list[int]:
    """The positions of the ones in a mask, lowest first."""
    found = []
    while mask:
        found.append((mask & -mask).bit_length() - 1)
        mask &= mask - 1
    return found


def compile_steps(order: Sequence[int], parents: Parents, cap: float, strength: Floats) -> Steps:
    """The steps for these positive findings; strength (n, m) is above 0 where a condition can bring a finding.

    Every finding must have at least one possible condition.
    """
    n, m = strength.shape
    can = strength > 0.0
    odds = [dict(row) for row in parents]
    children: list[set[int]] = [set() for _ in range(n)]
    for child, row in enumerate(parents):
        for parent, _ in row:
            children[parent].add(child)
    touched = np.count_nonzero(can, axis=1) > 0
    joined = [i for i in order if odds[i] or children[i]]
    free = [i for i in order if not odds[i] and not children[i] and touched[i]]
    rank = np.argsort(np.argsort(np.count_nonzero(can, axis=0), kind="stable"), kind="stable")
    rarest = [int(rank[can[i]].min()) for i in free]
    sequence = joined + [i for _, i in sorted(zip(rarest, free, strict=True))]
    causes = can[sequence]
    first = {j: sequence[int(np.argmax(causes[:, j]))] for j in range(m)}
    last = {j: sequence[len(sequence) - 1 - int(np.argmax(causes[::-1, j]))] for j in range(m)}
    brings = {i: np.flatnonzero(can[i]).tolist() for i in sequence}

    axes: list[tuple[str, int]] = []
    carried: dict[int, tuple[float, ...]] = {}
    done: set[int] = set()
    peak = 1
    steps: list[Step] = []

    def size_of(axis: tuple[str, int]) -> int:
        return len(carried[axis[1]]) if axis[0] == "carried" else 2

    def position(axis: tuple[str, int]) -> int:
        return axes.index(axis) + 1

    for i in sequence:
        opens = tuple(j for j in brings[i] if first[j] == i)
        for j in opens:
            axes.insert(0, ("finding", j))
        shifts = tuple((position(("finding", j)), j) for j in brings[i])
        shape = tuple(size_of(axis) for axis in axes)
        multipliers = _multipliers(i, axes, carried, odds[i], cap)
        done.add(i)
        keep = bool(children[i])
        if keep:
            axes.insert(0, ("parent", i))
        peak = max(peak, prod(size_of(axis) for axis in axes))
        sums = []
        spent = [("carried", i)] + [("parent", p) for kind, p in axes if kind == "parent" and not children[p] - done]
        for axis in spent:
            if axis in axes:
                sums.append(position(axis))
                axes.remove(axis)
        folds = []
        for parent in [key for kind, key in axes if kind == "parent" and len(children[key] - done) == 1]:
            child = min(children[parent] - done)
            fold = _fold(parent, child, axes, carried, odds[child][parent], cap)
            if fold is not None:
                folds.append(fold)
        closes = []
        for j in brings[i]:
            if last[j] == i:
                closes.append((position(("finding", j)), j))
                axes.remove(("finding", j))
        steps.append(Step(i, shape, opens, shifts, multipliers, keep, tuple(sums), tuple(folds), tuple(closes)))
    loose = tuple(i for i in order if not odds[i] and not children[i] and not touched[i])
    return Steps(tuple(steps), loose, peak)


def _multipliers(
    condition: int,
    axes: Sequence[tuple[str, int]],
    carried: dict[int, tuple[float, ...]],
    odds: dict[int, float],
    cap: float,
) -> Floats | None:
    """What the open parents multiply the odds of `condition` by, in each state; None when no parent is open."""
    product: Floats = np.ones((1,) * (len(axes) + 1))
    for position, (kind, key) in enumerate(axes, start=1):
        if kind == "parent" and key in odds:
            values: tuple[float, ...] = (1.0, odds[key])
        elif kind == "carried" and key == condition:
            values = carried[key]
        else:
            continue
        shape = [1] * (len(axes) + 1)
        shape[position] = len(values)
        product = product * np.asarray(values).reshape(shape)
    return np.minimum(product, cap) if product.size > 1 else None


def _fold(
    parent: int,
    child: int,
    axes: list[tuple[str, int]],
    carried: dict[int, tuple[float, ...]],
    odds: float,
    cap: float,
) -> Fold | None:
    """Let the child's carried axis take over from a parent axis; changes `axes` and `carried`.

    The cap may be applied at once, since no arc lowers odds. None when the parent axis itself becomes the carried one.
    """
    here = axes.index(("parent", parent))
    if ("carried", child) not in axes:
        axes[here] = ("carried", child)
        carried[child] = (1.0, min(cap, odds))
        return None
    there = axes.index(("carried", child))
    old = carried[child]
    new = tuple(sorted({min(cap, value * factor) for value in old for factor in (1.0, odds)}))
    target = (
        tuple(new.index(min(cap, value)) for value in old),
        tuple(new.index(min(cap, value * odds)) for value in old),
    )
    carried[child] = new
    del axes[here]
    return Fold(here + 1, there + 1, target, len(new))


def merge_children(step: Step, absent: Floats, present: Floats) -> Floats:
    """The state after a visit: keep or forget whether the condition is present, then sum and fold axes."""
    mass = np.stack([absent, present], axis=1) if step.keep else absent + present
    for axis in step.sums:
        mass = mass.sum(axis=axis)
    for fold in step.folds:
        mass = _apply_fold(fold, mass)
    return mass


def split_children(step: Step, after: Floats, shape: tuple[int, ...]) -> tuple[Floats, Floats]:
    """The transpose of `merge_children`: values for absent and present, each of `shape` (the state at the visit)."""
    values = after
    for fold in reversed(step.folds):
        values = _spread_fold(fold, values)
    for axis in reversed(step.sums):
        values = np.expand_dims(values, axis)
    if step.keep:
        full = np.broadcast_to(values, (shape[0], 2, *shape[1:]))
        return full[:, 0], full[:, 1]
    full = np.broadcast_to(values, shape)
    return full, full


def _apply_fold(fold: Fold, mass: Floats) -> Floats:
    by_parent = np.moveaxis(mass, (fold.parent_axis, fold.carried_axis), (0, 1))
    out = np.zeros((fold.size, *by_parent.shape[2:]))
    for parent in (0, 1):
        for value, target in enumerate(fold.target[parent]):
            out[target] += by_parent[parent, value]
    return np.ascontiguousarray(np.moveaxis(out, 0, _carried_after(fold)))


def _spread_fold(fold: Fold, values: Floats) -> Floats:
    by_carried = np.moveaxis(values, _carried_after(fold), 0)
    spread = by_carried[np.asarray(fold.target)]
    return np.moveaxis(spread, (0, 1), (fold.parent_axis, fold.carried_axis))


def _carried_after(fold: Fold) -> int:
    """Where the carried axis stands once the parent axis is gone."""
    return fold.carried_axis - (fold.parent_axis < fold.carried_axis)
