"""Spread on a fixed graph: against EoN's event-driven simulation, networkx' shortest paths and known exact values."""

from __future__ import annotations

import warnings
from math import exp

import networkx as nx
import numpy as np
import pytest
from scipy.stats import ks_2samp

from wetmount.errors import InputError
from wetmount.origin.spread import Graph, _Paths, spread_from

with warnings.catch_warnings():
    # it imports a part of scipy under an old name
    warnings.simplefilter("ignore", DeprecationWarning)
    import EoN

BOTH = [(0, 1), (1, 0)]


def both_ways(edges: np.ndarray) -> np.ndarray:
    return np.concatenate((edges, edges[:, ::-1]))


def complete(nodes: int) -> Graph:
    return Graph.of(nodes, [(one, other) for one in range(nodes) for other in range(nodes) if one != other])


# --- exact values ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("rate", "recovery"), [(1.0, 1.0), (0.3, 1.0), (2.0, 0.5)])
def test_a_pair_passes_it_on_with_rate_over_rate_plus_recovery(rate: float, recovery: float) -> None:
    found = spread_from(
        Graph.of(2, BOTH), [0], rate=rate, recovery=recovery, runs=100_000, rng=np.random.default_rng(1)
    )
    assert np.isfinite(found.infected[:, 1]).mean() == pytest.approx(rate / (rate + recovery), abs=0.005)


def test_a_path_of_three() -> None:
    """A–B–C, rates 1: P(B) = 1/2, P(C) = 1/4, mean final size 1.75."""
    path = Graph.of(3, both_ways(np.array([[0, 1], [1, 2]])))
    found = spread_from(path, [0], rate=1, recovery=1, runs=100_000, rng=np.random.default_rng(2))
    assert np.isfinite(found.infected).mean(axis=0) == pytest.approx([1, 1 / 2, 1 / 4], abs=0.005)
    assert found.sizes().mean() == pytest.approx(1.75, abs=0.01)


def test_exposed_first_then_infectious() -> None:
    """No recovery: the second of a pair is infected after a latent time of mean 2 and a delay of mean 1/0.5."""
    found = spread_from(Graph.of(2, BOTH), [0], rate=0.5, latent=2, runs=100_000, rng=np.random.default_rng(3))
    assert found.infected[:, 1].mean() == pytest.approx(4, abs=0.05)
    assert found.infected[:, 1].std() == pytest.approx(8**0.5, abs=0.05)
    assert (found.infectious[:, 0] - found.infected[:, 0]).mean() == pytest.approx(2, abs=0.05)
    assert np.isinf(found.recovered).all()


def test_a_link_of_half_the_rate_and_an_end() -> None:
    found = spread_from(Graph.of(2, BOTH, [0.5, 1.0]), [0], rate=1, until=2, runs=100_000, rng=np.random.default_rng(4))
    assert np.isfinite(found.infected[:, 1]).mean() == pytest.approx(1 - exp(-1), abs=0.005)
    assert np.max(found.infected[np.isfinite(found.infected)]) <= 2


# Further cases in the chain binomial of Reed and Frost: susceptibles, chance p of each infective, P(0), P(1), …
# By the recursion of Lefèvre & Picard 1990 and by enumeration.
REED_FROST = [
    (2, 1 / 2, [1 / 4, 1 / 4, 1 / 2]),
    (2, 1 / 3, [4 / 9, 8 / 27, 7 / 27]),
    (3, 1 / 2, [1 / 8, 3 / 32, 3 / 16, 19 / 32]),
    (3, 1 / 4, [27 / 64, 243 / 1024, 405 / 2048, 293 / 2048]),
    (4, 0.2, [0.4096, 0.209715, 0.163578, 0.135161, 0.081945]),
    (10, 0.1, [0.348678, 0.150095, 0.100506, 0.081228, 0.072085, 0.066387, 0.060505, 0.051795, 0.038764, 0.022442]),
]


def open_links(graph: Graph, chance: float, runs: int, seed: int) -> np.ndarray:
    """Which nodes are reached from node 0, (runs, nodes), when each link is open by itself with a chance."""
    nodes, links = graph.nodes, len(graph.target)
    kept = np.flatnonzero(np.random.default_rng(seed).random(runs * links) < chance)
    first = np.searchsorted(kept, (np.arange(runs)[:, None] * links + graph.start[:-1]).ravel())
    run = kept // links
    paths = _Paths(
        first,
        np.diff(first, append=len(kept)),
        graph.target[kept - run * links] + run * nodes,
        np.ones(len(kept), np.float32),
    )
    found = paths.shortest(np.arange(runs) * nodes, runs * nodes, None)
    return np.isfinite(found).reshape(runs, nodes)


@pytest.mark.parametrize(("susceptible", "chance", "expected"), REED_FROST)
def test_reed_frost(susceptible: int, chance: float, expected: list[float]) -> None:
    further = open_links(complete(susceptible + 1), chance, 100_000, 10).sum(axis=1) - 1
    found = np.bincount(further, minlength=len(expected))[: len(expected)] / 100_000
    assert found == pytest.approx(expected, abs=0.005)


def test_triangle_with_open_links_of_one_half() -> None:
    """Directed links each open with 1/2: P(B reached from A) = 1/2 + 1/2 · 1/4 = 5/8."""
    assert open_links(complete(3), 0.5, 100_000, 11)[:, 1].mean() == pytest.approx(5 / 8, abs=0.005)


# Final size z = 1 − exp(−R z) of a large population, Kermack & McKendrick 1927; chance of a large outbreak from one
# case 1 − 1/R with exponential infectious periods. Both from memory.
@pytest.mark.parametrize(("number", "size"), [(1.5, 0.582812), (2.0, 0.796812), (3.0, 0.940480)])
def test_large_population(number: float, size: float) -> None:
    nodes = 250
    found = spread_from(
        complete(nodes), [0], rate=number / (nodes - 1), recovery=1, runs=1_500, rng=np.random.default_rng(5)
    )
    share = found.sizes() / nodes
    large = share > size / 3
    assert large.mean() == pytest.approx(1 - 1 / number, abs=0.05)
    assert share[large].mean() == pytest.approx(size, abs=0.025)


# --- against other programs -----------------------------------------------------------------------------------------


def test_paths_are_the_shortest() -> None:
    """Arrival times equal Dijkstra's of networkx on the same delays."""
    rng = np.random.default_rng(6)
    graph = nx.gnp_random_graph(300, 0.02, seed=1, directed=True)
    for one, other in graph.edges:
        graph[one][other]["delay"] = float(np.float32(rng.exponential()))
    waits = rng.exponential(size=300).astype(np.float32)
    links = sorted(graph.edges)
    source, target = np.array(links).T
    paths = _Paths(
        np.searchsorted(source, np.arange(300)),
        np.bincount(source, minlength=300),
        target,
        np.array([graph[one][other]["delay"] for one, other in links], np.float32),
    )
    found = paths.shortest(np.array([0]), 300, waits)
    for one, other in graph.edges:
        graph[one][other]["whole"] = graph[one][other]["delay"] + float(waits[one])
    expected = nx.single_source_dijkstra_path_length(graph, 0, weight="whole")
    assert np.isfinite(found).sum() == len(expected) > 250
    for node, time in expected.items():
        assert found[node] == pytest.approx(time, rel=1e-5, abs=1e-5)


def test_sizes_and_times_are_distributed_as_in_eon() -> None:
    """EoN 2.0, fast_SIR on the same random graph: distribution of final sizes and of when half were infected."""
    graph = nx.gnp_random_graph(400, 0.015, seed=3)
    rng = np.random.default_rng(7)
    ours = spread_from(
        Graph.of(400, both_ways(np.array(graph.edges))), range(5), rate=0.4, recovery=1, runs=2_000, rng=rng
    )
    theirs_size, theirs_half = [], []
    np.random.seed(1)  # noqa: NPY002
    for _ in range(250):
        infected = EoN.fast_SIR(graph, 0.4, 1.0, initial_infecteds=range(5), return_full_data=True)
        at = sorted(infected.node_history(node)[0][1] for node in graph if "I" in infected.node_history(node)[1][1:])
        theirs_size.append(len(at) + 5)
        theirs_half.append(at[len(at) // 2] if at else 0.0)
    later = np.where(np.isfinite(ours.infected) & (ours.infected > 0), ours.infected, np.nan)
    ordered = np.sort(later, axis=1)
    number = np.isfinite(later).sum(axis=1)
    half = np.where(number > 0, ordered[np.arange(len(ordered)), np.minimum(number // 2, 399)], 0.0)
    assert ours.sizes().mean() == pytest.approx(np.mean(theirs_size), abs=6)
    assert ks_2samp(ours.sizes(), theirs_size).pvalue > 0.001
    assert ks_2samp(half, theirs_half).pvalue > 0.001


# --- the rest -------------------------------------------------------------------------------------------------------


def test_many_runs_in_parts_and_the_same_seed() -> None:
    graph = complete(60)
    first, again = (
        spread_from(graph, [0, 1], rate=0.05, recovery=1, runs=300, rng=np.random.default_rng(8)) for _ in range(2)
    )
    assert first.infected.shape == (300, 60)
    assert np.array_equal(first.infected, again.infected)
    assert len(np.unique(first.sizes())) > 10


def test_no_links_at_all() -> None:
    found = spread_from(Graph.of(3, []), [1], rate=1, rng=np.random.default_rng(9))
    assert found.sizes().tolist() == [1]


def test_what_makes_no_sense_is_refused() -> None:
    with pytest.raises(InputError, match="outside the 2 nodes"):
        Graph.of(2, [(0, 2)])
    with pytest.raises(InputError, match="above 0"):
        Graph.of(2, BOTH, [1.0, 0.0])
    with pytest.raises(InputError, match="rate is above 0"):
        spread_from(Graph.of(2, BOTH), [0], rate=0, rng=np.random.default_rng(1))
