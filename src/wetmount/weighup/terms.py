"""One observation as the likelihood of its report, given which conditions are present."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wetmount.weighup.steps import Floats


@dataclass(frozen=True, slots=True)
class Term:
    """A report on one finding (or on several that count as one), with how well one looked already in the strengths.

    strength (n, K): chance that the condition alone makes the finding be noticed at level k or higher; leak (K,) the
    same for causes outside the table. `level` is what was reported, 0 for looked and not seen. `missed` is the weight
    of the report when the finding is in truth below that level: 0 for a sure one. `illness` says whether the report
    counts as a finding of illness. spread (n,) and leak_spread are the standard deviations on the logit scale of what
    the tables say; memory (n,) is true where the strength rests on a memory row.
    """

    findings: tuple[str, ...]
    level: int
    strength: Floats
    leak: Floats
    missed: float
    illness: bool
    spread: Floats
    leak_spread: float
    memory: NDArray[np.bool_]

    def reduced(self) -> tuple[Floats, float, Floats, float]:
        """Split a positive report into (q (n,), leak, exceed (n,), exceed_leak).

        A sure report of a level says two things: nothing brought it higher (the `exceed` strengths, which act like a
        finding not seen), and something brought it there (q, given that it went no higher). A doubtful report says
        only the second, of the level or above.
        """
        q, exceed = split(self.strength, self.level, self.missed)
        leak, exceed_leak = split(self.leak, self.level, self.missed)
        return q, float(leak), exceed, float(exceed_leak)

    def likelihood(self, present: Floats) -> Floats:
        """Probability of the report for each condition set; present (s, n) of zeros and ones, result (s,)."""
        if self.level == 0:
            return none_acts(present, self.strength[:, 0], float(self.leak[0]))
        q, leak, exceed, exceed_leak = self.reduced()
        below = none_acts(present, exceed, exceed_leak)
        unexplained = none_acts(present, q, leak)
        return below * (1.0 - unexplained * (1.0 - self.missed))

    def brought_nothing(self, present: Floats, columns: NDArray[np.intp]) -> Floats:
        """Chance that each condition of `columns`, being present, did not itself bring a positive report; (s, c).

        With u the chance that nothing brought it and w the weight of a report without cause, given the report:
        (1 - q_i - u (1 - w)) / (1 - u (1 - w)).
        """
        q, leak, _, _ = self.reduced()
        without_cause = (none_acts(present, q, leak) * (1.0 - self.missed))[:, None]
        return np.asarray(np.clip((1.0 - q[columns] - without_cause) / (1.0 - without_cause), 0.0, 1.0))

    def only_leak(self, present: Floats) -> Floats:
        """Chance that no present condition brought a positive report: the leak did, or it is a false report; (s,)."""
        q, leak, _, _ = self.reduced()
        untouched = none_acts(present, q, 0.0)
        without_cause = untouched * (leak + (1.0 - leak) * self.missed)
        return np.asarray(without_cause / (1.0 - untouched * (1.0 - leak) * (1.0 - self.missed)))


def split(strength: Floats, level: int, missed: float) -> tuple[Floats, Floats]:
    """Strengths (..., K) of a positive report as (bringing it there, bringing it higher), each (...); see `reduced`."""
    there = strength[..., level - 1]
    if missed > 0.0 or level >= strength.shape[-1]:
        return there, np.zeros_like(there)
    exceed = strength[..., level]
    return (there - exceed) / (1.0 - exceed), exceed


def none_acts(present: Floats, strength: Floats, leak: Floats | float) -> Floats:
    """Probability that neither the leak nor any present condition acts, for strength (n,) or r of them (r, n).

    present (s, n) of zeros and ones; result (s,) or (s, r).
    """
    return np.asarray((1.0 - leak) * np.exp(present @ log_not(strength).T))


def log_not(probability: Floats) -> Floats:
    """log(1 - p), finite at 1."""
    return np.asarray(np.log1p(-np.minimum(probability, 1.0 - 1e-15)))


def noticed(strength: Floats, detection: Floats) -> Floats:
    """Strengths of being noticed at level k or higher, from true strengths (..., K) and the chance to notice (K,).

    What is truly at level t is noticed (as t) with chance detection[t-1]:
    noticed_k = sum over t >= k of detection_t * (strength_t - strength_(t+1)).
    """
    higher = np.concatenate([strength[..., 1:], np.zeros_like(strength[..., :1])], axis=-1)
    at_level = (strength - higher) * detection
    return np.asarray(np.cumsum(at_level[..., ::-1], axis=-1)[..., ::-1])
