"""The explained-set sweep against summing over every set of conditions, and its invariances."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from validation.enumeration import enumerate_problem

from wetmount.reference import load_reference
from wetmount.weighup import sweep as sweep_module
from wetmount.weighup.network import Network, build_network
from wetmount.weighup.pose import network_of
from wetmount.weighup.steps import compile_steps
from wetmount.weighup.sweep import Problem, draw, sweep

seeds = st.integers(0, 2**32 - 1)


def random_arcs(rng: np.random.Generator, n: int, density: float) -> dict[tuple[int, int], float]:
    """Acyclic arcs in a random order of the conditions, so that parents need not come first in the table."""
    place = rng.permutation(n)
    return {
        (int(place[parent]), int(place[child])): float(rng.choice([2.0, 2.2, 2.5, 3.0, 4.0]))
        for child in range(n)
        for parent in range(child)
        if rng.random() < density
    }


def network(rate: np.ndarray, arcs: dict[tuple[int, int], float]) -> Network:
    """Only what the sweep reads of a network: its conditions, rates and arcs."""
    n = len(rate)
    names = [f"c{i}" for i in range(n)]
    return build_network(names, [], rate, np.zeros((n, 0, 1)), np.zeros((0, 1)), [], [], arcs)


def random_problem(seed: int, n: int = 8, most: int = 5, density: float | None = None) -> Problem:
    """Conditions with arcs, folded findings, and up to `most` open ones: sure or doubtful, of illness or not."""
    rng = np.random.default_rng(seed)
    m = int(rng.integers(0, most + 1))
    net = network(rng.uniform(0.005, 0.3, n), random_arcs(rng, n, rng.uniform(0, 0.5) if density is None else density))
    strength = rng.uniform(0.02, 0.95, (n, m)) * (rng.random((n, m)) < 0.5)
    strength[rng.integers(0, n, m), np.arange(m)] = 0.3
    folded = rng.random(n) < 0.5
    return Problem(
        network=net,
        odds=net.base_odds * rng.uniform(0.1, 10, n),
        factor=np.where(folded, rng.uniform(0.02, 20, n), 1.0),
        bare=np.where(folded, rng.uniform(0.05, 1.0, n), 1.0),
        strength=strength,
        leak=rng.uniform(0.001, 0.2, m),
        missed=rng.choice([0.0, 0.1, 0.35], m),
        illness=rng.random(m) < 0.7,
        log_constant=float(rng.uniform(-30, 0)),
    )


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_equal_to_enumeration(seed: int) -> None:
    problem = random_problem(seed)
    evidence, present, responsible = enumerate_problem(problem)
    posterior = sweep(problem)
    assert posterior.log_evidence == pytest.approx(np.log(evidence), abs=1e-10)
    np.testing.assert_allclose(posterior.present, present, rtol=1e-10, atol=1e-14)
    np.testing.assert_allclose(posterior.responsible, responsible, rtol=1e-9, atol=1e-12)


@settings(max_examples=20, deadline=None)
@given(seeds)
def test_many_arcs_share_carried_axes(seed: int) -> None:
    """One child with many parents that nobody else needs: multipliers are carried, not a bit a parent."""
    rng = np.random.default_rng(seed)
    n = 9
    arcs = {(i, n - 1): float(rng.choice([2.0, 2.5, 3.0])) for i in range(n - 1)} | {(0, 1): 2.0, (2, 3): 3.0}
    net = network(rng.uniform(0.01, 0.4, n), arcs)
    strength = rng.uniform(0.1, 0.9, (n, 3))
    problem = Problem(
        net, net.base_odds, np.ones(n), np.ones(n), strength, np.full(3, 0.01), np.zeros(3), np.ones(3, bool), 0.0
    )
    assert sweep(problem).state_bits < 3 + 5, "eight parents of one child must not take a bit each"
    evidence, present, responsible = enumerate_problem(problem)
    posterior = sweep(problem)
    assert np.exp(posterior.log_evidence) == pytest.approx(evidence, rel=1e-11)
    np.testing.assert_allclose(posterior.present, present, rtol=1e-10)
    np.testing.assert_allclose(posterior.responsible, responsible, rtol=1e-9)


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_rates_come_back_when_nothing_is_known(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 12))
    rate = rng.uniform(0.001, 0.6, n)
    net = network(rate, random_arcs(rng, n, 0.4))
    none = np.zeros(0)
    problem = Problem(net, net.base_odds, np.ones(n), np.ones(n), np.zeros((n, 0)), none, none, none.astype(bool), 0.0)
    posterior = sweep(problem)
    np.testing.assert_allclose(posterior.present, rate, rtol=1e-12)
    assert posterior.log_evidence == pytest.approx(0.0, abs=1e-12)
    assert not posterior.responsible.any()


@settings(max_examples=25, deadline=None)
@given(seeds)
def test_a_small_memory_gives_the_same(seed: int) -> None:
    """Messages recomputed block by block must not change a figure, nor a sample."""
    problem = random_problem(seed, n=9)
    whole, samples = draw(problem, 300, seed % 1000)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sweep_module, "MESSAGE_BYTES", 0)
        blocks, again = draw(problem, 300, seed % 1000)
    np.testing.assert_allclose(blocks.present, whole.present, rtol=1e-13)
    np.testing.assert_allclose(blocks.responsible, whole.responsible, rtol=1e-12, atol=1e-15)
    assert (samples == again).all()


@settings(max_examples=25, deadline=None)
@given(seeds)
def test_order_does_not_matter(seed: int) -> None:
    """The same conditions and findings in another order of the tables."""
    problem = random_problem(seed)
    rng = np.random.default_rng(seed + 1)
    n, m = problem.strength.shape
    rows, columns = rng.permutation(n), rng.permutation(m)
    new_place = np.argsort(rows)
    arcs = {
        (int(new_place[parent]), int(new_place[child])): odds
        for child, parents in enumerate(problem.network.parents)
        for parent, odds in parents
    }
    net = network(problem.network.rate[rows], arcs)
    np.testing.assert_allclose(net.base_odds, problem.network.base_odds[rows], rtol=1e-11)
    other = Problem(
        net, problem.odds[rows], problem.factor[rows], problem.bare[rows], problem.strength[rows][:, columns],
        problem.leak[columns], problem.missed[columns], problem.illness[columns], problem.log_constant,
    )  # fmt: skip
    here, there = sweep(problem), sweep(other)
    np.testing.assert_allclose(there.present, here.present[rows], rtol=1e-10)
    np.testing.assert_allclose(there.responsible, here.responsible[rows], rtol=1e-9, atol=1e-13)
    assert there.log_evidence == pytest.approx(here.log_evidence, abs=1e-10)


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_probabilities_are_probabilities(seed: int) -> None:
    posterior = sweep(random_problem(seed, n=14, most=8, density=0.2))
    assert (posterior.present >= 0).all()
    assert (posterior.present <= 1 + 1e-12).all()
    assert (posterior.responsible >= 0).all()
    assert (posterior.responsible <= posterior.present + 1e-12).all()


def test_rare_evidence_loses_no_digits() -> None:
    """P(evidence) near 1e-40: sums over subsets of positives with alternating signs would have nothing left."""
    n, m = 6, 7
    rng = np.random.default_rng(4)
    net = network(np.full(n, 1e-4), {(0, 1): 3.0})
    strength = rng.uniform(1e-4, 1e-3, (n, m))
    problem = Problem(
        net, net.base_odds, np.ones(n), np.ones(n), strength, np.full(m, 1e-6), np.zeros(m), np.ones(m, bool), 0.0
    )
    evidence, present, _ = enumerate_problem(problem)
    assert evidence < 1e-24
    posterior = sweep(problem)
    assert posterior.log_evidence == pytest.approx(np.log(evidence), abs=1e-10)
    np.testing.assert_allclose(posterior.present, present, rtol=1e-9)


def test_samples_are_exact() -> None:
    """Counts of whole condition sets against their exact probabilities: chi-square under its 0.1 % point."""
    problem = random_problem(20, n=6, most=4)
    size = 40_000
    _, samples = draw(problem, size, 5)
    n = samples.shape[1]
    codes = np.bincount(samples @ (1 << np.arange(n)), minlength=2**n)
    exact = np.array([_set_probability(problem, code) for code in range(2**n)])
    exact /= exact.sum()
    common = exact * size > 5
    expected = np.append(exact[common], exact[~common].sum()) * size
    counted = np.append(codes[common], codes[~common].sum())
    chi_square = float(np.sum((counted - expected) ** 2 / np.maximum(expected, 1e-9)))
    freedom = len(expected) - 1
    # Wilson and Hilferty 1931: the 99.9 % point of chi-square.
    limit = freedom * (1 - 2 / (9 * freedom) + 3.09 * np.sqrt(2 / (9 * freedom))) ** 3
    assert freedom > 10
    assert chi_square < limit


def _set_probability(problem: Problem, code: int) -> float:
    present = np.array([code >> i & 1 for i in range(len(problem.odds))], dtype=bool)
    chance = 1.0
    for i, here in enumerate(present):
        received = np.prod([odds for parent, odds in problem.network.parents[i] if present[parent]])
        odds = problem.odds[i] * min(problem.network.cap, received)
        chance *= odds / (1 + odds) * problem.factor[i] if here else 1 / (1 + odds)
    unexplained = (1 - problem.leak) * np.prod(1 - problem.strength[present], axis=0)
    return float(chance * np.prod(1 - (1 - problem.missed) * unexplained))


def test_real_network_gives_its_rates_back() -> None:
    net = network_of(load_reference())
    n = len(net.conditions)
    none = np.zeros(0)
    problem = Problem(net, net.base_odds, np.ones(n), np.ones(n), np.zeros((n, 0)), none, none, none.astype(bool), 0.0)
    np.testing.assert_allclose(sweep(problem).present, net.rate, rtol=0, atol=1e-9)


def test_real_arcs_leave_room_for_findings() -> None:
    """The real predisposing arcs alone must not eat up the states that findings need."""
    net = network_of(load_reference())
    steps = compile_steps(net.order, net.parents, net.cap, np.zeros((len(net.conditions), 0)))
    assert np.log2(steps.peak) <= 10


def test_arcs_in_a_circle_are_refused() -> None:
    with pytest.raises(ValueError, match="circle"):
        network(np.full(3, 0.1), {(0, 1): 2.0, (1, 2): 2.0, (2, 0): 2.0})


def test_arcs_that_lower_odds_are_refused() -> None:
    with pytest.raises(ValueError, match="lower"):
        network(np.full(2, 0.1), {(0, 1): 0.5})
