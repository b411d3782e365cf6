"""The stage engine: against a delay equation solved by scipy, conservation, limits, steps."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from wetmount.forecast.draw import STEP_ERROR
from wetmount.forecast.engine import QUANTILES, Event, Rules, Start, Window, run

PLACES = (np.arange(QUANTILES) + 0.5) / QUANTILES


def window(first: float, last: float, days: int, per_day: int, sets: int = 1) -> Window:
    delays = first + (last - first) * PLACES
    rates = (1 / delays)[:, None, None] * np.ones((QUANTILES, sets, days * per_day))
    return Window.of(rates, 1 / per_day)


def layer(
    days: int, per_day: int, *, sets: int = 1, laid: float = 4.2, settle: float = 0.03, adult_life: float = 15
) -> Rules:
    steps = days * per_day
    ones = np.ones((steps, sets, 1))
    one = np.ones((sets, 1))
    return Rules(
        1 / per_day,
        window(3.2, 5.5, days, per_day, sets),
        window(5, 8, days, per_day, sets),
        False,
        laid * ones,
        one,
        1.0 * ones,
        settle * ones,
        one / adult_life,
        one * 1e12,
        np.ones(days),
    )


def adults_by_delay_equation(
    days: int, adults: float, laid: float, settle: float, adult_life: float
) -> tuple[np.ndarray, np.ndarray]:
    """Adults and free larvae by day: A' = M - A/life, L' = H - (σ + 1) L with H and M the laying and settling of each
    delay ago, solved by scipy in pieces shorter than the shortest delay."""
    hatch_delays, mature_delays = 3.2 + 2.3 * PLACES, 5 + 3 * PLACES
    pieces: list[tuple[float, object]] = []

    def past(time: float, which: int) -> float:
        if time < 0:
            return 0.0
        piece = pieces[min(int(time), len(pieces) - 1)][1]
        return float(piece(time)[which])  # type: ignore[operator]

    def slope(time: float, state: np.ndarray) -> list[float]:
        hatching = laid * np.mean([past(time - delay, 0) for delay in hatch_delays])
        maturing = settle * np.mean([past(time - delay, 1) for delay in mature_delays])
        return [maturing - state[0] / adult_life, hatching - (settle + 1.0) * state[1]]

    state, found = np.array([adults, 0.0]), [np.array([adults, 0.0])]
    for day in range(days):
        solved = solve_ivp(slope, (day, day + 1), state, dense_output=True, max_step=0.1, rtol=1e-7, atol=1e-9)
        pieces.append((day, solved.sol))
        state = solved.y[:, -1]
        found.append(state)
    return np.array(found)[:, 0], np.array(found)[:, 1]


def start(adults: float, shape: tuple[int, int] = (1, 1), kind: type = float) -> Start:
    zero = np.zeros(shape, kind)
    return Start(zero, zero.copy(), zero.copy(), np.full(shape, adults).astype(kind))


def test_expected_values_against_scipy_and_the_step_error() -> None:
    days = 60
    adults, free = adults_by_delay_equation(days, 100, 4.2, 0.03, 15)
    errors = {}
    for per_day in (1, 2, 4):
        track = run(layer(days, per_day), start(100), days)
        errors[per_day] = np.max(np.abs(track.adult[:, 0, 0] / adults - 1))
    # cohorts hatch at eight places in the window, so larvae come in small lumps: compared over a week
    assert track.free[-7:, 0, 0].mean() == pytest.approx(free[-7:].mean(), rel=0.03)
    # two steps a day, the fewest that a forecast uses, are as near the continuous solution on any day as it says
    assert errors[2] < STEP_ERROR
    assert errors[4] < errors[2]


def test_ensemble_mean_against_the_deterministic_solution() -> None:
    days, sets, repeats = 60, 20, 100
    rules = layer(days, 2, sets=sets)
    track = run(rules, start(100, (sets, repeats), int), days, rng=np.random.default_rng(2))
    adults, _ = adults_by_delay_equation(days, 100, 4.2, 0.03, 15)
    for day in (10, 30, 60):
        each = track.adult[day].ravel()
        assert each.mean() == pytest.approx(adults[day], abs=4 * each.std() / np.sqrt(each.size) + 0.01 * adults[day])


def test_extinction_of_a_ring_with_one_stage_alive() -> None:
    # adults that lay nothing die as independent exponentials: all of n gone by t with (1 - exp(-t/life))^n
    days, sets, repeats = 30, 40, 100
    rules = layer(days, 2, sets=sets, laid=0.0)
    track = run(rules, start(3, (sets, repeats), int), days, rng=np.random.default_rng(5))
    for day in (10, 20, 30):
        expected = (1 - np.exp(-day / 15)) ** 3
        error = np.sqrt(expected * (1 - expected) / (sets * repeats))
        assert np.mean(track.alive[day] == 0) == pytest.approx(expected, abs=4 * error)


@given(st.integers(0, 400), st.floats(0, 8), st.floats(0.001, 2), st.floats(2, 60), st.integers(0, 1000))
@settings(max_examples=25, deadline=None)
def test_whole_numbers_stay_whole_and_never_negative(
    adults: int, laid: float, settle: float, life: float, seed: int
) -> None:
    rules = layer(20, 2, sets=3, laid=laid, settle=settle, adult_life=life)
    track = run(rules, start(adults, (3, 4), int), 20, rng=np.random.default_rng(seed))
    for stage in (track.off, track.free, track.young, track.adult):
        assert stage.dtype == np.int64
        assert stage.min() >= 0
    if not adults or not laid:
        assert track.adult.max() <= adults


def test_conservation_without_births_and_deaths() -> None:
    # nobody dies, nobody lays: eggs hatch, larvae settle, young mature, and all are there at the end
    days, shape = 40, (5, 20)
    rules = layer(days, 2, sets=5, laid=0.0, settle=5.0, adult_life=1e12)
    rules = Rules(**{**{f: getattr(rules, f) for f in rules.__slots__}, "free_death": rules.free_death * 0})
    begin = Start(np.full(shape, 137), np.full(shape, 20), np.full(shape, 41), np.full(shape, 3))
    track = run(rules, begin, days, rng=np.random.default_rng(3))
    assert np.all(track.alive == 201)
    assert np.all(track.adult[-1] == 201)


def test_nothing_hatches_before_the_first_day_and_all_after_the_last() -> None:
    days = 30
    rules = layer(days, 4, laid=1.0, adult_life=1e12)
    track = run(rules, start(1), days, events={4: Event(adult=0.0)})  # one adult lays for a day and is taken out
    assert track.off[1, 0, 0] == pytest.approx(1.0)
    assert track.off[3, 0, 0] == pytest.approx(1.0)
    assert track.off[7, 0, 0] == pytest.approx(0.0)


def test_a_divider_gives_many_and_an_event_takes_its_share() -> None:
    days, per_day = 12, 4
    steps = days * per_day
    ones, one = np.ones((steps, 1, 1)), np.ones((1, 1))
    rules = Rules(
        1 / per_day,
        window(1, 1.5, days, per_day),
        window(4, 6, days, per_day),
        True,
        one * 300,
        one * 0.5,
        ones * 1.0,
        ones * 1e-9,
        one,
        one * 1e12,
        np.ones(days),
    )
    zero = np.zeros((1, 1))
    begin = Start(zero, zero, one * 8.0, zero)
    track = run(rules, begin, days)
    assert track.young[-1, 0, 0] == pytest.approx(0, abs=1e-4)
    # all of eight trophonts left, half of the cysts divide, 300 each: swimmers that ever lived
    lived = np.trapezoid(track.free[:, 0, 0])
    assert lived == pytest.approx(8 * 0.5 * 300, rel=0.1)
    halved = run(rules, begin, days, events={0: Event(young=0.5)})
    assert np.trapezoid(halved.free[:, 0, 0]) == pytest.approx(lived / 2, rel=1e-6)


def test_stopping_by_the_callback() -> None:
    told: list[int] = []

    def progress(done: int, of: int) -> bool:
        told.append(done)
        return done < 5

    with pytest.raises(InterruptedError):
        run(layer(30, 2), start(10), 30, progress=progress)
    assert told == [0, 1, 2, 3, 4, 5]
