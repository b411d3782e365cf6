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
from math import prod
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
    return _Sweep(problem, plan or problem.steps(), 0).run(None)[0]


def presence(problem: Problem) -> Floats:
    """Exact chance (n,) that each condition is present, without asking which of them is responsible."""
    return _Sweep(problem, problem.steps(), 0, blame=False).run(None)[0].present


def draw(problem: Problem, size: int, seed: int, plan: Steps | None = None) -> tuple[Posterior, NDArray[np.bool_]]:
    """Exact posterior, and `size` exact samples of which conditions are present, shape (size, n)."""
    return _Sweep(problem, plan or problem.steps(), size).run(np.random.default_rng(seed))


@dataclass(frozen=True, slots=True)
class _Visit:
    """Backward messages at one step: what follows if the condition is absent, and what follows if it is present.

    `present` holds the second as it stands after the step and, last, as it stands before, pulled back through the
    findings that the condition may explain; between these one after another of the findings, if samples want it.
    """

    absent: Floats
    present: tuple[Floats, ...]


class _Sweep:
    """One problem's steps and the two passes over them."""

    def __init__(self, problem: Problem, plan: Steps, samples: int, *, blame: bool = True) -> None:
        self.problem = problem
        self.plan = plan
        self.samples = samples
        self.blame = blame
        self.acts = problem.illness if blame else np.ones_like(problem.illness)
        self.weights = {step.condition: self._weights(step) for step in plan.steps}
        states = [8 * prod(step.shape) for step in plan.steps]
        staged = sum(size * len(step.shifts) for size, step in zip(states, plan.steps, strict=True))
        self.whole = 3 * sum(states) <= MESSAGE_BYTES
        self.stages = samples > 0 and staged <= MESSAGE_BYTES

    def run(self, rng: np.random.Generator | None) -> tuple[Posterior, NDArray[np.bool_]]:
        """The posterior, and samples (samples, n), drawn with `rng`."""
        problem, plan, size = self.problem, self.plan, self.samples
        n = len(problem.odds)
        present, responsible = np.zeros(n), np.zeros(n)
        samples = np.zeros((n, size), dtype=bool)
        log_evidence = problem.log_constant
        for i in plan.loose:
            weight = problem.odds[i] * problem.factor[i]
            present[i] = weight / (1.0 + weight)
            responsible[i] = present[i] * (1.0 - problem.bare[i])
            log_evidence += float(np.log1p(weight) - np.log1p(problem.odds[i]))
            if rng is not None:
                samples[i] = rng.random(size) < present[i]
        mass: Floats = np.ones((1,))
        state = np.zeros(size, dtype=np.intp)
        for step, visit in self._backward():
            mass = _open(step, mass, problem.leak)
            if rng is not None:
                if step.opens:
                    state = _sample_opens(step, state, self._message(step, visit), problem.leak, rng)
                state, samples[step.condition] = self._sample_visit(step, state, visit, rng)
            absent, there = self.weights[step.condition]
            later, none = visit.present[0], 0.0
            unmoved = self._shift(step, mass * there, ~self.acts)
            if self.blame:
                none = float(np.vdot(unmoved, later)) * problem.bare[step.condition]
                for _, j in step.shifts:
                    if problem.illness[j]:
                        none *= 1.0 - problem.strength[step.condition, j]
            moved = self._shift(step, unmoved, self.acts)
            kept = mass * absent
            without, with_it = float(np.vdot(kept, visit.absent)), float(np.vdot(moved, later))
            total = without + with_it
            present[step.condition] = with_it / total
            responsible[step.condition] = max(0.0, with_it - none) / total
            mass = _close(step, merge_children(step, kept, moved), problem.missed)
            scale = float(mass.max())
            mass /= scale
            log_evidence += float(np.log(scale))
        log_evidence += float(np.log(mass.sum()))
        return Posterior(present, responsible, log_evidence, float(np.log2(plan.peak))), samples.T

    def _weights(self, step: Step) -> tuple[Floats, Floats]:
        """Prior times folded likelihood for absent and present, scalar or one value a state of the parents."""
        i = step.condition
        odds = self.problem.odds[i] * (1.0 if step.multipliers is None else step.multipliers)
        absent = np.asarray(1.0 / (1.0 + odds))
        return absent, odds * absent * self.problem.factor[i]

    def _shift(self, step: Step, mass: Floats, which: NDArray[np.bool_]) -> Floats:
        """Let a present condition explain the findings in `which`; may change `mass` in place, and returns it."""
        mass = np.ascontiguousarray(mass)
        for axis, j in step.shifts:
            if which[j]:
                low, high = _flat_halves(step, mass, axis)
                q = self.problem.strength[step.condition, j]
                high += q * low
                low *= 1.0 - q
        return mass

    def _pull(self, step: Step, later: Floats, stages: bool) -> tuple[Floats, ...]:
        """The transpose of `_shift`: `later`, and what it becomes by one finding after another, or by all at once."""
        pulled = [later]
        for number, (axis, j) in enumerate(step.shifts):
            if stages or number == 0:
                pulled.append(np.array(pulled[-1], order="C"))
            low, high = _flat_halves(step, pulled[-1], axis)
            q = self.problem.strength[step.condition, j]
            low *= 1.0 - q
            low += q * high
        return tuple(pulled)

    def _visit(self, step: Step, after: Floats) -> _Visit:
        """The backward messages at a step, given the one that holds after it."""
        shape = (after.shape[0], *step.shape)
        absent, present = split_children(step, _reopen(step, after, self.problem.missed), shape)
        return _Visit(absent, self._pull(step, present, self.stages))

    def _message(self, step: Step, visit: _Visit) -> Floats:
        """The backward message at the visit, once the step's findings are open."""
        absent, there = self.weights[step.condition]
        return np.asarray(absent * visit.absent + there * visit.present[-1])

    def _before(self, step: Step, visit: _Visit) -> Floats:
        """The backward message before a step, scaled to a largest value of 1."""
        message = self._message(step, visit)
        for j in reversed(step.opens):
            leak = self.problem.leak[j]
            message = (1.0 - leak) * message[:, 0] + leak * message[:, 1]
        return np.asarray(message / message.max())

    def _backward(self) -> Iterator[tuple[Step, _Visit]]:
        """The steps first to last, each with its backward messages.

        Messages are kept whole while they are small; else only every few, and each block is computed a second time.
        """
        steps = self.plan.steps
        count = len(steps)
        block = count if self.whole else int(np.ceil(np.sqrt(count)))
        after: Floats = np.ones((1,))
        held = {count: after}
        if block < count:
            for t in range(count - 1, 0, -1):
                after = self._before(steps[t], self._visit(steps[t], after))
                if t % block == 0:
                    held[t] = after
        for start in range(0, count, max(1, block)):
            end = min(start + block, count)
            after = held.pop(end)
            visits = []
            for t in range(end - 1, start - 1, -1):
                visits.append(self._visit(steps[t], after))
                if t > start:
                    after = self._before(steps[t], visits[-1])
            for t in range(start, end):
                yield steps[t], visits.pop()

    def _sample_visit(
        self, step: Step, state: NDArray[np.intp], visit: _Visit, rng: np.random.Generator
    ) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
        """Draw presence and newly explained findings for each sample; returns the states after the step too."""
        here = rng.random(len(state)) < self._chance(step, state, visit)
        (who,) = here.nonzero()
        if len(who) and step.shifts:
            moving = state[who]
            stages = visit.present if self.stages else self._pull(step, visit.present[0], stages=True)
            for (axis, j), stage in zip(reversed(step.shifts), reversed(stages[:-1]), strict=True):
                stride = prod(step.shape[axis:])
                (waiting,) = (moving // stride % 2 == 0).nonzero()
                q, flat, spot = self.problem.strength[step.condition, j], stage.reshape(-1), moving[waiting]
                explain, leave = q * flat[spot + stride], (1.0 - q) * flat[spot]
                moving[waiting[rng.random(len(spot)) * (explain + leave) < explain]] += stride
            state = state.copy()
            state[who] = moving
        return _state_after(step, state, here), here

    def _chance(self, step: Step, state: NDArray[np.intp], visit: _Visit) -> Floats:
        """Chance that the condition is present in each sample, given the sample's state; states that no sample can be
        in may come out as nan, and are never looked up."""
        absent, there = self.weights[step.condition]
        weight_absent, weight_present = (absent * visit.absent).reshape(-1), (there * visit.present[-1]).reshape(-1)
        few = weight_absent.size <= len(state)
        if not few:
            weight_absent, weight_present = weight_absent[state], weight_present[state]
        with np.errstate(invalid="ignore"):
            chance = np.asarray(weight_present / (weight_absent + weight_present))
        return chance[state] if few else chance


def _halves(mass: Floats, axis: int) -> tuple[Floats, Floats]:
    """Views of the two halves along `axis`: not explained, explained."""
    front: Any = (slice(None),) * axis
    return mass[(*front, 0)], mass[(*front, 1)]


def _flat_halves(step: Step, mass: Floats, axis: int) -> tuple[Floats, Floats]:
    """As `_halves` at the visit of a contiguous `mass`, but with the axes before and after put together: NumPy goes
    through three long axes several times faster than through many of two."""
    halves = mass.reshape(-1, 2, prod(step.shape[axis:]))
    return halves[:, 0], halves[:, 1]


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
    states = prod(step.shape)
    if step.keep:
        state = state + states * here
        states *= 2
    if not (step.sums or step.folds or step.closes):
        return state
    if states <= len(state):
        return _renumbered(step, np.arange(states))[state]
    return _renumbered(step, state)


def _renumbered(step: Step, state: NDArray[np.intp]) -> NDArray[np.intp]:
    """Flat indices after summing, folding and closing, from those at the visit with the kept axis in front."""
    shape = [2, *step.shape] if step.keep else list(step.shape)
    place = list(np.unravel_index(state, shape))
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
