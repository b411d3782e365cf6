"""Ten of the simulated outbreaks of `validation/origins.py`: does what is stated of them come true?

The whole table is `validation/results/origins.md`. Here short runs of half the chains: enough to see a fault of
the model, not to measure its calibration.
"""

from __future__ import annotations

import numpy as np
import pytest
from validation.origins import SEED, Traced, judge
from validation.outbreaks import draw_outbreak

from wetmount.origin import trace
from wetmount.reference import load_reference

REFERENCE = load_reference()
OUTBREAKS = 10


@pytest.fixture(scope="module")
def traced() -> list[Traced]:
    found = []
    for number in range(OUTBREAKS):
        outbreak = draw_outbreak(np.random.default_rng([SEED, number]), REFERENCE)
        found.append(judge(outbreak, trace(outbreak.room, REFERENCE, seed=number, pairs=8, most_sweeps=100), 0.0))
    return found


def test_the_sets_hold_the_true_origin(traced: list[Traced]) -> None:
    """Of ten 90 % sets six or fewer hold the truth with a chance of 1.3 % when they are what they say."""
    assert sum(one.held for one in traced) >= 7
    assert all(0.9 <= one.mass <= 1 + 1e-9 for one in traced)


def test_the_true_origin_is_not_thought_less_of_than_stated(traced: list[Traced]) -> None:
    """The mean probability given to the truth is far above that of a guess among some 45 candidates."""
    assert np.mean([one.true_chance for one in traced]) > 0.4


def test_as_many_unseen_tanks_are_infected_as_stated(traced: list[Traced]) -> None:
    """Within four standard errors over outbreaks, whose tanks hang together."""
    surplus = [sum(one.was) - sum(one.stated) for one in traced]
    assert abs(np.mean(surplus)) < 4 * np.std(surplus, ddof=1) / np.sqrt(OUTBREAKS)


def test_a_day_of_arrival_outside_its_interval_is_the_exception(traced: list[Traced]) -> None:
    assert sum(one.start_held for one in traced) >= 7
