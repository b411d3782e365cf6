"""Stated probabilities come true as often as they say: cases simulated from the tables of the reference, then weighed.

`validation/calibration.py` is the long run of the same, with its table in `validation/results/`.
"""

from __future__ import annotations

import numpy as np
import pytest
from validation.calibration import simulate
from validation.simulate import bins

from wetmount.reference import load_reference

CASES = 500


@pytest.fixture(scope="module")
def simulated() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    return simulate(load_reference(), CASES, seed=20261124)


@pytest.mark.parametrize("which", ["present", "responsible"])
def test_frequencies_match_within_binomial_error(
    simulated: tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray], which: str
) -> None:
    stated, true = simulated[:2] if which == "present" else simulated[2:]
    found = bins(stated, true)
    assert len(found) >= 7, "the bins must reach from the impossible to the near certain"
    for one in found:
        assert abs(one.z) < 3.5, one
    assert abs(np.mean([one.z for one in found])) < 1.5


def test_the_check_notices_overconfidence(
    simulated: tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray],
) -> None:
    """The same cases with every finding counted one and a half times: the check above would fail."""
    stated, true = simulated[:2]
    odds = (stated / (1 - stated + 1e-12)) ** 1.5
    assert max(abs(one.z) for one in bins(odds / (1 + odds), true)) > 3.5
