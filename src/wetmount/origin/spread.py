"""Forward spread on a fixed graph, many runs at once: susceptible, exposed, infectious, recovered in continuous time.

Given when each node would recover and how long each link would take, times of infection are shortest paths from the
nodes infected at the start: an event-driven simulation without an event queue (Kiss, Miller & Simon, Mathematics of
Epidemics on Networks, Springer 2017, appendix A). Paths are relaxed window of time by window (Meyer & Sanders,
Δ-stepping, Journal of Algorithms 49:114-152, 2003), all runs side by side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.errors import InputError

Array = NDArray[np.float64]
Places = NDArray[np.int64]

CELLS: Final = 400_000
"""Links times runs handled together, so that the arrays stay within the processor's cache."""
WINDOW: Final = 2.0
"""Width of a window of time, in mean delays of the links that pass it on. Any width gives the same answer."""


@dataclass(frozen=True, slots=True)
class Graph:
    """Links by source: those of node i lead to `target[start[i] : start[i + 1]]`."""

    start: Places
    target: Places
    factor: Array | None
    """Multiplies the rate of each link; None = 1 everywhere."""

    @classmethod
    def of(cls, nodes: int, links: Sequence[tuple[int, int]] | Places, factor: Sequence[float] | None = None) -> Graph:
        """From (source, target) pairs; a link that works both ways stands in both directions.

        Raises InputError for a node outside 0 … nodes − 1, or a factor that is not positive.
        """
        pairs = np.asarray(links, dtype=np.int64).reshape(-1, 2)
        if pairs.size and not 0 <= pairs.min() <= pairs.max() < nodes:
            raise InputError(f"a link leads outside the {nodes} nodes", field="links")
        order = np.argsort(pairs[:, 0], kind="stable")
        start = np.searchsorted(pairs[order, 0], np.arange(nodes + 1))
        scaled = None
        if factor is not None:
            scaled = np.asarray(factor, dtype=float)[order]
            if not (scaled > 0).all():
                raise InputError("factors of links are above 0", field="factor")
        return cls(start, pairs[order, 1], scaled)

    @property
    def nodes(self) -> int:
        """Number of nodes."""
        return len(self.start) - 1


@dataclass(frozen=True, slots=True)
class Spread:
    """Times of every node in every run, (runs, nodes); inf = never."""

    infected: Array
    infectious: Array
    recovered: Array

    def sizes(self) -> Places:
        """Nodes infected in each run, those at the start included."""
        found: Places = np.isfinite(self.infected).sum(axis=1)
        return found


def spread_from(
    graph: Graph,
    begin: Sequence[int],
    *,
    rate: float,
    recovery: float = 0.0,
    latent: float = 0.0,
    until: float = np.inf,
    runs: int = 1,
    rng: np.random.Generator,
) -> Spread:
    """Runs from the nodes `begin`, infected at time 0.

    `rate`: at which an infectious node infects each neighbour, 1/time; `recovery`: rate of recovering (0 = never);
    `latent`: mean time from infection to being infectious, exponential (0 = none); what would happen after `until`
    does not. Raises InputError for a rate that is not positive or a negative time.
    """
    if not rate > 0 or recovery < 0 or latent < 0 or runs < 1:
        raise InputError("rate is above 0; recovery, latent and runs are not negative", field="rate")
    chunk = max(1, min(runs, CELLS // max(1, len(graph.target))))
    parts = [
        _together(graph, begin, rate, recovery, latent, until, min(chunk, runs - done), rng)
        for done in range(0, runs, chunk)
    ]
    return Spread(*(np.concatenate([getattr(part, name) for part in parts]) for name in Spread.__dataclass_fields__))


def _together(
    graph: Graph,
    begin: Sequence[int],
    rate: float,
    recovery: float,
    latent: float,
    until: float,
    runs: int,
    rng: np.random.Generator,
) -> Spread:
    nodes, links = graph.nodes, len(graph.target)
    waits = latent * rng.standard_exponential(runs * nodes, dtype=np.float32) if latent else None
    stays = rng.standard_exponential(runs * nodes, dtype=np.float32)
    stays = np.divide(stays, recovery, out=stays) if recovery else np.full_like(stays, np.inf)
    delay = rng.standard_exponential((runs, links), dtype=np.float32)
    delay *= np.float32(1 / rate) if graph.factor is None else (1 / (rate * graph.factor)).astype(np.float32)
    # links that would pass it on only after their source has recovered, or after the end, are left out at once
    passes = delay < np.repeat(np.minimum(stays, until).reshape(runs, nodes), np.diff(graph.start), axis=1)
    kept = np.flatnonzero(passes)
    first = np.searchsorted(kept, (np.arange(runs)[:, None] * links + graph.start[:-1]).ravel())
    number = np.diff(first, append=len(kept))
    run = kept // links if links else kept
    paths = _Paths(first, number, graph.target[kept - run * links] + run * nodes, delay.ravel()[kept])
    begin_at = (np.arange(runs)[:, None] * nodes + np.asarray(begin, dtype=np.int64)).ravel()
    infected = paths.shortest(begin_at, runs * nodes, waits)
    infected[infected > until] = np.inf
    infectious = infected if waits is None else infected + waits
    found = (infected, infectious, infectious + stays)
    return Spread(*(times.astype(np.float64).reshape(runs, nodes) for times in found))


@dataclass(frozen=True, slots=True)
class _Paths:
    """Links that pass it on, those of cell i from `first[i]`, `number[i]` of them."""

    first: Places
    number: Places
    target: Places
    delay: NDArray[np.float32]

    def shortest(self, begin: Places, cells: int, waits: NDArray[np.float32] | None) -> NDArray[np.float32]:
        """Time at which each cell is reached from `begin`, waiting `waits` in every cell on the way."""
        reached = np.full(cells, np.inf, np.float32)
        reached[begin] = 0.0
        to_do = np.zeros(cells, bool)
        to_do[begin] = True
        width = np.float32(WINDOW * self.delay.mean()) if self.delay.size else np.float32(0)
        while (cell := np.flatnonzero(to_do)).size:
            since = reached[cell]
            within = since <= since.min() + width
            cell, since = cell[within], since[within]
            to_do[cell] = False
            number = self.number[cell]
            ends = np.cumsum(number)
            link = np.repeat(self.first[cell] - ends + number, number) + np.arange(ends[-1])
            if waits is not None:
                since = since + waits[cell]
            then = np.repeat(since, number) + self.delay[link]
            target = self.target[link]
            sooner = then < reached[target]
            target = target[sooner]
            np.minimum.at(reached, target, then[sooner])
            to_do[target] = True
        return reached
