"""R-hat and effective sample sizes against arviz (the package arviz-stats) and against what they must do."""

from __future__ import annotations

import numpy as np
import pytest
from arviz_stats.base import array_stats
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from wetmount.origin.diagnostics import ess_bulk, ess_tail, normal_scores, r_hat

AXES = {"chain_axis": 0, "draw_axis": 1}


def chains(count: int, draws: int, memory: float, seed: int, *, shift: float = 0.0, whole: bool = False) -> np.ndarray:
    """Chains that remember; the first may lie elsewhere; ties when whole."""
    found = np.random.default_rng(seed).standard_normal((count, draws))
    for place in range(1, draws):
        found[:, place] += memory * found[:, place - 1]
    found[0] += shift
    return np.round(found) if whole else found


@settings(max_examples=60, deadline=None)
@given(
    count=st.integers(2, 33),
    draws=st.integers(5, 300),
    memory=st.sampled_from([-0.6, 0.0, 0.5, 0.95, 1.0]),
    seed=st.integers(0, 10_000),
    shift=st.sampled_from([0.0, 3.0]),
    whole=st.booleans(),
)
def test_equal_to_arviz(count: int, draws: int, memory: float, seed: int, shift: float, whole: bool) -> None:
    values = chains(count, draws, memory, seed, shift=shift, whole=whole)
    assert r_hat(values) == pytest.approx(float(array_stats.rhat(values, **AXES)), rel=1e-5)
    assert ess_bulk(values) == pytest.approx(float(array_stats.ess(values, method="bulk", **AXES)), rel=1e-4)
    half = draws // 2
    halves = np.concatenate((values[:, :half], values[:, -half:]))
    below = [halves <= np.quantile(values, share) for share in (0.05, 0.95)]
    # where all or none lie below a quantile arviz counts every draw, here that tail is left out
    if all(one.any() and not one.all() for one in below):
        theirs = float(array_stats.ess(values, method="tail", prob=(0.05, 0.95), **AXES))
        assert ess_tail(values) == pytest.approx(theirs, rel=1e-4)


def test_normal_scores_are_those_of_scipy() -> None:
    p = np.concatenate((np.linspace(1e-6, 1 - 1e-6, 5001), [1e-9, 1 - 1e-9]))
    assert normal_scores(p) == pytest.approx(norm.ppf(p), abs=1e-6)


def test_chains_apart_are_told() -> None:
    assert r_hat(chains(4, 200, 0.0, 1)) < 1.02
    assert r_hat(chains(4, 200, 0.0, 1, shift=3.0)) > 1.2


def test_a_chain_of_another_width_is_told() -> None:
    """The case of Vehtari et al. 2021 that the older R-hat misses: same centre, other spread."""
    values = chains(4, 500, 0.0, 2)
    values[0] *= 4
    assert r_hat(values) > 1.1


@pytest.mark.parametrize("values", [np.zeros((4, 100)), np.ones((4, 3))])
def test_nothing_to_judge_gives_nan(values: np.ndarray) -> None:
    assert np.isnan([r_hat(values), ess_bulk(values), ess_tail(values)]).all()
