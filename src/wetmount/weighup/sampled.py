"""Condition sets with weights, on which explanations, reasons, firmness and the next examination are computed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wetmount.weighup.network import Network
from wetmount.weighup.pose import Posed
from wetmount.weighup.steps import Floats


@dataclass(frozen=True, slots=True)
class Sampled:
    """Different condition sets, present (s, n) of zeros and ones, with weights (s,) that sum to 1."""

    present: Floats
    weight: Floats

    def take(self, size: int, rng: np.random.Generator) -> NDArray[np.intp]:
        """Positions of `size` sets in proportion to their weights (systematic resampling, in no particular order)."""
        steps = (np.arange(size) + rng.random()) / size
        return np.minimum(np.searchsorted(np.cumsum(self.weight), steps), len(self.weight) - 1)

    def mean(self, values: Floats, factor: Floats | None = None) -> Floats:
        """Weighted mean of values (s, ...) under the weights, each first multiplied by factor (s,) if given."""
        weight = self.weight if factor is None else self.weight * factor
        return np.asarray(np.tensordot(weight / weight.sum(), values, axes=(0, 0)))


def distinct(samples: NDArray[np.bool_], weight: Floats | None = None) -> Sampled:
    """Samples (s, n) with equal condition sets put together."""
    if weight is None:
        weight = np.full(len(samples), 1.0 / len(samples))
    packed = np.packbits(np.ascontiguousarray(samples), axis=1)
    words = np.zeros((len(packed), -(-packed.shape[1] // 8)), dtype=np.uint64)
    words.view(np.uint8)[:, : packed.shape[1]] = packed
    order = np.lexsort(words.T)
    new = np.ones(len(words), dtype=bool)
    new[1:] = (words[order[1:]] != words[order[:-1]]).any(axis=1)
    place = np.empty(len(words), dtype=np.intp)
    place[order] = np.cumsum(new) - 1
    first = order[new]
    merged = np.bincount(place, weights=weight)
    return Sampled(samples[first].astype(np.float64), merged / merged.sum())


def effective_size(weight: Floats) -> float:
    """Kish's effective sample size of unnormalised weights."""
    return float(weight.sum() ** 2 / np.sum(weight**2))


def received_odds(network: Network, present: Floats) -> Floats:
    """What present parents multiply each condition's odds by, capped; (s, n)."""
    product = np.ones_like(present)
    for child, row in enumerate(network.parents):
        for parent, odds in row:
            product[:, child] *= np.where(present[:, parent] > 0.0, odds, 1.0)
    return np.minimum(product, network.cap)


def log_prior(present: Floats, odds: Floats, received: Floats) -> Floats:
    """Log prior probability of each condition set (s,) for odds (n,) and the multipliers received from parents."""
    full = odds * received
    return np.asarray(np.sum(present * np.log(full) - np.log1p(full), axis=1))


def responsible_given_set(posed: Posed, present: Floats, columns: NDArray[np.intp] | None = None) -> Floats:
    """Chance that each condition is present and itself brought a finding of illness, given the set; (s, n).

    Only the conditions of `columns` are worked out if given; the others are 0.
    """
    chosen = np.arange(present.shape[1]) if columns is None else columns
    nothing = np.ones((len(present), len(chosen)))
    for term in posed.terms:
        if term.illness:
            nothing *= term.brought_nothing(present, chosen)
    responsible = np.zeros_like(present)
    responsible[:, chosen] = present[:, chosen] * (1.0 - nothing)
    return responsible
