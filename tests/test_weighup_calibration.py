"""Stated probabilities come true as often as they say: cases simulated from the tables of the reference, then weighed.

`validation/calibration.py` is the long run of the same, with its table in `validation/results/`.
"""

from __future__ import annotations

import numpy as np
import pytest
from validation.calibration import Outcome, simulate
from validation.simulate import Simulator, bins

from wetmount.reference import load_reference

CASES = 400


@pytest.fixture(scope="module")
def simulated() -> Outcome:
    reference = load_reference()
    return simulate(Simulator(reference, seed=20261124), CASES, [reference])[0]


@pytest.mark.parametrize("which", ["present", "responsible"])
def test_frequencies_match_within_binomial_error(simulated: Outcome, which: str) -> None:
    found = bins(getattr(simulated, which), getattr(simulated, f"is_{which}"))
    assert len(found) >= 7, "the bins must reach from the impossible to the near certain"
    for one in found:
        assert abs(one.z) < 3.5, one
    assert abs(np.mean([one.z for one in found])) < 1.5


def test_the_check_notices_overconfidence(simulated: Outcome) -> None:
    """The same cases with every finding counted one and a half times: the check above would fail."""
    odds = (simulated.present / (1 - simulated.present + 1e-12)) ** 1.5
    assert max(abs(one.z) for one in bins(odds / (1 + odds), simulated.is_present)) > 3.5
