"""The exact posterior by an explained-set sweep, and exact samples of condition sets from it.

Conditions are passed in an order with parents before children. The state is what conditions to come must know (see
`steps`): which positive findings are explained already, and which predisposing conditions are present. A present
condition moves each unexplained finding it can bring to "explained" with its strength; at the end every finding seen
for sure must be explained, a doubtful one may be left unexplained at a price. All terms are positive, so nothing
cancels, however rare the evidence.

One pass backward and one forward give every condition's probability of being present, and of being present and
responsible; samples follow the backward messages forward.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wetmount.weighup.network import Network
from wetmount.weighup.steps import Floats, Step, Steps, compile_steps, merge_children, split_children

MESSAGE_BYTES = 192 * 2**20
"""Backward messages are kept whole below this; above it, every few steps, and the rest computed again."""


@dataclass(frozen=True, slots=True)
class Problem:
    """Evidence on a network, reduced to what the sweep needs; n conditions, m open positive findings.

    odds (n,): base odds times host, temperature and history multipliers, without predisposing arcs.
    factor (n,): likelihood ratio present : absent from everything that involves one condition at a time: findings
    looked for and not seen, and positive findings that only this condition (or the leak) can have brought.
    bare (n,): the share of `factor` in which the condition brought none of those folded findings of illness.
    strength (n, m), leak (m,): chance that the condition, or a cause outside the table, brings finding j.
    missed (m,): weight of leaving finding j unexplained: 0 if it was seen for sure.
    illness (m,): whether j is a finding of illness. log_constant: log likelihood common to all condition sets.
    """

    network: Network
    odds: Floats
    factor: Floats
    bare: Floats
    strength: Floats
    leak: Floats
    missed: Floats
    illness: NDArray[np.bool_]
    log_constant: float

    def steps(self) -> Steps:
        """The order of work for this evidence."""
        network = self.network
        return compile_steps(network.order, network.parents, network.cap, self.strength)


@dataclass(frozen=True, slots=True)
class Posterior:
    """present and responsible (n,), the natural log of the probability of the evidence, and log2 of the peak state."""

    present: Floats
    responsible: Floats
    log_evidence: float
    state_bits: float


def sweep(problem: Problem, plan: Steps | None = None) -> Posterior:
    """Exact posterior of every condition; `plan` are the problem's steps, if known from one of the same shape."""
    return _Sweep(problem, plan or problem.steps()).run(0, None)[0]


def draw(problem: Problem, size: int, seed: int, plan: Steps | None = None) -> tuple[Posterior, NDArray[np.bool_]]:
    """Exact posterior, and `size` exact samples of which conditions are present, shape (size, n)."""
    return _Sweep(problem, plan or problem.steps()).run(size, np.random.default_rng(seed))


class _Sweep:
    """One problem's steps and the two passes over them."""

    def __init__(self, problem: Problem, plan: Steps) -> None:
        self.problem = problem
        self.plan = plan

    def run(self, size: int, rng: np.random.Generator | None) -> tuple[Posterior, NDArray[np.bool_]]:
        problem, plan = self.problem, self.plan
        n = len(problem.odds)
        present, responsible = np.zeros(n), np.zeros(n)
        samples = np.zeros((size, n), dtype=bool)
        log_evidence = problem.log_constant
        for i in plan.loose:
            weight = problem.odds[i] * problem.factor[i]
            present[i] = weight / (1.0 + weight)
            responsible[i] = present[i] * (1.0 - problem.bare[i])
            log_evidence += float(np.log1p(weight) - np.log1p(problem.odds[i]))
            if rng is not None:
                samples[:, i] = rng.random(size) < present[i]
        mass: Floats = np.ones((1,))
        state = np.zeros(size, dtype=np.intp)
        for step, after in self._backward():
            mass = _open(step, mass, problem.leak)
            if rng is not None:
                state = _sample_opens(step, state, self._messages(step, after), problem.leak, rng)
            absent, there = self._weights(step)
            base = mass * there
            unmoved = self._shift(step, base, ~problem.illness)
            before, later = split_children(step, _reopen(step, after, problem.missed), mass.shape)
            none = float(np.vdot(unmoved, later)) * problem.bare[step.condition]
            for _, j in step.shifts:
                if problem.illness[j]:
                    none *= 1.0 - problem.strength[step.condition, j]
            moved = self._shift(step, unmoved, problem.illness)
            kept = mass * absent
            without, with_it = float(np.vdot(kept, before)), float(np.vdot(moved, later))
            total = without + with_it
            present[step.condition] = with_it / total
            responsible[step.condition] = max(0.0, with_it - none) / total
            if rng is not None:
                state, samples[:, step.condition] = self._sample_visit(step, state, before, later, rng)
            mass = _close(step, merge_children(step, kept, moved), problem.missed)
            scale = float(mass.max())
            mass /= scale
            log_evidence += float(np.log(scale))
        log_evidence += float(np.log(mass.sum()))
        return Posterior(present, responsible, log_evidence, float(np.log2(plan.peak))), samples

    def _weights(self, step: Step) -> tuple[Floats, Floats]:
        """Prior times folded likelihood for absent and present, scalar or one value a state of the parents."""
        i = step.condition
        odds = self.problem.odds[i] * (1.0 if step.multipliers is None else step.multipliers)
        absent = np.asarray(1.0 / (1.0 + odds))
        return absent, odds * absent * self.problem.factor[i]

    def _shift(self, step: Step, mass: Floats, which: NDArray[np.bool_]) -> Floats:
        """Let a present condition explain the findings in `which`; changes `mass` in place and returns it."""
        for axis, j in step.shifts:
            if which[j]:
                low, high = _halves(mass, axis)
                q = self.problem.strength[step.condition, j]
                high += q * low
                low *= 1.0 - q
        return mass

    def _pull(self, step: Step, later: Floats) -> Floats:
        """The transpose of `_shift` over all findings, on a copy."""
        pulled = np.array(later)
        for axis, j in step.shifts:
            low, high = _halves(pulled, axis)
            q = self.problem.strength[step.condition, j]
            low *= 1.0 - q
            low += q * high
        return pulled

    def _before(self, step: Step, after: Floats) -> Floats:
        """The backward message before a step, scaled to a largest value of 1."""
        message = self._messages(step, after)
        for j in reversed(step.opens):
            leak = self.problem.leak[j]
            message = (1.0 - leak) * message[:, 0] + leak * message[:, 1]
        return np.asarray(message / message.max())

    def _messages(self, step: Step, after: Floats) -> Floats:
        """The backward message at the visit, once the step's findings are open."""
        shape = (after.shape[0], *step.shape)
        absent_later, present_later = split_children(step, _reopen(step, after, self.problem.missed), shape)
        absent, there = self._weights(step)
        return np.asarray(absent * absent_later + there * self._pull(step, present_later))

    def _backward(self) -> Iterator[tuple[Step, Floats]]:
        """The steps first to last, each with the backward message that holds after it.

        Messages are kept whole while they are small; else only every few, and each block is computed a second time.
        """
        steps = self.plan.steps
        count = len(steps)
        size = sum(8 * int(np.prod(step.shape, dtype=np.int64)) for step in steps)
        block = count if size <= MESSAGE_BYTES else int(np.ceil(np.sqrt(count)))
        message: Floats = np.ones((1,))
        held = {count: message}
        if block < count:
            for t in range(count - 1, 0, -1):
                message = self._before(steps[t], message)
                if t % block == 0:
                    held[t] = message
        for start in range(0, count, max(1, block)):
            end = min(start + block, count)
            local = {end: held.pop(end)}
            for t in range(end - 1, start, -1):
                local[t] = self._before(steps[t], local[t + 1])
            for t in range(start, end):
                yield steps[t], local.pop(t + 1)

    def _sample_visit(
        self, step: Step, state: NDArray[np.intp], before: Floats, later: Floats, rng: np.random.Generator
    ) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
        """Draw presence and newly explained findings for each sample; returns the states after the step too."""
        stages = [np.ascontiguousarray(later)]
        for axis, j in step.shifts:
            stage = stages[-1].copy()
            low, high = _halves(stage, axis)
            q = self.problem.strength[step.condition, j]
            low *= 1.0 - q
            low += q * high
            stages.append(stage)
        absent, there = self._weights(step)
        weight_absent = (absent * before).reshape(-1)[state]
        weight_present = (there * stages[-1]).reshape(-1)[state]
        here = rng.random(len(state)) * (weight_absent + weight_present) < weight_present
        moving = state[here]
        for (axis, j), stage in zip(reversed(step.shifts), reversed(stages[:-1]), strict=True):
            stride = int(np.prod(step.shape[axis:], dtype=np.int64))
            waiting = np.flatnonzero(moving // stride % 2 == 0)
            q, flat, spot = self.problem.strength[step.condition, j], stage.reshape(-1), moving[waiting]
            explain, leave = q * flat[spot + stride], (1.0 - q) * flat[spot]
            moving[waiting[rng.random(len(spot)) * (explain + leave) < explain]] += stride
        state = state.copy()
        state[here] = moving
        return _state_after(step, state, here), here


def _halves(mass: Floats, axis: int) -> tuple[Floats, Floats]:
    """Views of the two halves along `axis`: not explained, explained."""
    front: Any = (slice(None),) * axis
    return mass[(*front, 0)], mass[(*front, 1)]


def _open(step: Step, mass: Floats, leak: Floats) -> Floats:
    """Give the step's findings an axis each; the leak explains them at once with its own strength."""
    for j in step.opens:
        mass = np.stack([(1.0 - leak[j]) * mass, leak[j] * mass], axis=1)
    return mass


def _close(step: Step, mass: Floats, missed: Floats) -> Floats:
    """Forget findings that no later condition can explain; unexplained ones count by their `missed` weight."""
    for axis, j in step.closes:
        low, high = _halves(mass, axis)
        mass = high + missed[j] * low if missed[j] else np.ascontiguousarray(high)
    return mass


def _reopen(step: Step, after: Floats, missed: Floats) -> Floats:
    """The transpose of `_close`."""
    for axis, j in reversed(step.closes):
        after = np.stack([missed[j] * after, after], axis=axis)
    return after


def _sample_opens(
    step: Step, state: NDArray[np.intp], message: Floats, leak: Floats, rng: np.random.Generator
) -> NDArray[np.intp]:
    """Draw for each sample whether the leak explains the findings that open, given the message at the visit."""
    messages = [message]
    for j in reversed(step.opens):
        messages.append((1.0 - leak[j]) * messages[-1][:, 0] + leak[j] * messages[-1][:, 1])
    for j, ahead in zip(step.opens, reversed(messages[:-1]), strict=True):
        size = ahead.size // 2
        flat = ahead.reshape(-1)
        explain, leave = leak[j] * flat[state + size], (1.0 - leak[j]) * flat[state]
        state = state + size * (rng.random(len(state)) * (explain + leave) < explain)
    return state


def _state_after(step: Step, state: NDArray[np.intp], here: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Flat state indices after the step's merging and closing."""
    if not (step.keep or step.sums or step.folds or step.closes):
        return state
    shape = list(step.shape)
    place = list(np.unravel_index(state, step.shape)) if shape else []
    if step.keep:
        shape.insert(0, 2)
        place.insert(0, here.astype(np.intp))
    for axis in step.sums:
        del shape[axis - 1], place[axis - 1]
    for fold in step.folds:
        parent, carried = fold.parent_axis - 1, fold.carried_axis - 1
        place[carried] = np.asarray(fold.target)[place[parent], place[carried]]
        shape[carried] = fold.size
        del shape[parent], place[parent]
    for axis, _ in step.closes:
        del shape[axis - 1], place[axis - 1]
    if not shape:
        return np.zeros_like(state)
    return np.asarray(np.ravel_multi_index(place, shape), dtype=np.intp)
