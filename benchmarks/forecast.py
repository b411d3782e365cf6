"""Forecasts: trajectories, schedules, step size, and a general stochastic simulator on the same model.

python -m benchmarks.forecast                 own timings, as Markdown
python -m benchmarks.forecast --write         also into docs/performance.md
python -m benchmarks.forecast --peer          also the PyPI package gillespie (0.0.3), which is no dependency

The shared model has no windows, since a general simulator knows only exponential stages: on the fish, cyst, swimming
(100 a cyst), 0.9 new for each old. Bias is told as the share extinct at day 90, against exact event simulation.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np

from benchmarks.run import machine, write_section
from wetmount.forecast import Situation, Treatment, forecast, plan_treatments
from wetmount.forecast.lifecycle import MODELS
from wetmount.forecast.project import _courses
from wetmount.reference import load_reference

REFERENCE = load_reference()
SITUATION = Situation(12, 120.0, 6, 3, 12, (24.0,))
ON, CYST, FREE, YOUNG, NEW = 1 / 5, 1.0, 1 / 1.5, 100, 0.9
"""Rates a day of leaving each stage; a cyst gives YOUNG swimmers; NEW reach a fish for each that was on one."""


def took(work: Callable[[], object], times: int = 3) -> tuple[float, float]:
    """Least seconds on the clock and of the processor, after a run to warm up."""
    work()
    best = (float("inf"), float("inf"))
    for _ in range(times):
        wall, processor = time.perf_counter(), time.process_time()
        work()
        best = min(best, (time.perf_counter() - wall, time.process_time() - processor))
    return best


SAID: list[str] = []


def say(line: str) -> None:
    print(line, flush=True)
    SAID.append(line)


def row(what: str, work: Callable[[], object], times: int = 3, target: str = "") -> None:
    wall, processor = took(work, times)
    say(f"| {what} | {wall:.2f} | {processor:.2f} | {target} |")


def courses(model: str, trajectories: int, days: int) -> object:
    return _courses(MODELS[model], SITUATION, REFERENCE, False, None, (), days, trajectories, 1, None)


def main() -> None:
    say(f"{machine()}.\n")
    say("| work | s | s of processor | target, s |\n| --- | --- | --- | --- |")
    for model in ("gill_flukes", "ich", "skin_flukes"):
        row(
            f"{model}, 10,000 trajectories × 90 days",
            lambda model=model: courses(model, 10_000, 90),  # type: ignore[misc]
            target="1",
        )
    for trajectories, days in ((5_000, 90), (20_000, 90), (10_000, 45), (10_000, 180)):
        row(f"gill_flukes, {trajectories:,} × {days} days", lambda t=trajectories, d=days: courses("gill_flukes", t, d))  # type: ignore[misc]
    bath = Treatment("praziquantel_bath", (0, 5))
    for trajectories in (4_000, 10_000):
        row(
            f"gill_flukes, whole forecast of 28 days with a treatment, {trajectories:,}",
            lambda t=trajectories: forecast("gill_flukes", SITUATION, REFERENCE, treatment=bath, trajectories=t),  # type: ignore[misc]
        )
    for model, treatment in (
        ("gill_flukes", "praziquantel_bath"),
        ("ich", "formalin_malachite"),
        ("anchor_worm", "diflubenzuron_bath"),
        ("camallanus", "levamisole_bath"),
        ("camallanus", "fenbendazole_feed"),
    ):
        tried = plan_treatments(model, treatment, SITUATION, REFERENCE).tried
        row(
            f"{tried} treatment schedules, {model} with {treatment}",
            lambda m=model, t=treatment: plan_treatments(m, t, SITUATION, REFERENCE),  # type: ignore[misc]
            1,
            target="10",
        )
    shared("--peer" in sys.argv)
    if "--write" in sys.argv:
        write_section("forecast", "\n".join(SAID) + "\n")


# --- the shared exponential model -----------------------------------------------------------------------------------


def exact(count: int, seed: int) -> tuple[float, float]:
    """Event by event in plain Python: share extinct at day 90 and seconds a trajectory."""
    rng = np.random.default_rng(seed)
    begun, gone = time.perf_counter(), 0
    settle = NEW / YOUNG
    for _ in range(count):
        on, cyst, free, now = 10, 0, 0, 0.0
        while on + cyst + free:
            rate = on * ON + cyst * CYST + free * FREE
            now += rng.exponential(1 / rate)
            if now > 90:
                break
            pick = rng.random() * rate
            if pick < on * ON:
                on, cyst = on - 1, cyst + 1
            elif pick < on * ON + cyst * CYST:
                cyst, free = cyst - 1, free + YOUNG
            else:
                free -= 1
                on += rng.random() < settle
        gone += not on + cyst + free
    return gone / count, (time.perf_counter() - begun) / count


def stepped(count: int, per_day: int, seed: int) -> tuple[float, float]:
    """The engine's draws on the same model: competing risks within a step, what enters counted half."""
    from wetmount.forecast.engine import _Luck

    luck = _Luck(np.random.default_rng(seed))
    begun = time.perf_counter()
    shape = (count, 1)
    on, cyst, free = np.full(shape, 10), np.zeros(shape, np.int64), np.zeros(shape, np.int64)
    leave = [-np.expm1(-rate / per_day) for rate in (ON, CYST, FREE)]
    for _ in range(90 * per_day):
        off = luck.share(on, leave[0])
        opened = luck.share(cyst + luck.parts(off, 2)[0], leave[1])
        born = opened * YOUNG
        ended = luck.share(free + luck.parts(born, 2)[0], leave[2])
        settled = luck.share(ended, NEW / YOUNG)
        on, cyst, free = on - off + settled, cyst + off - opened, free + born - ended
    return float(np.mean(on + cyst + free == 0)), (time.perf_counter() - begun) / count


def peer(count: int) -> tuple[float, float]:
    """The same model in the PyPI package gillespie."""
    import gillespie

    rates = [
        lambda on, cyst, free: on * ON,
        lambda on, cyst, free: cyst * CYST,
        lambda on, cyst, free: free * FREE * NEW / YOUNG,
        lambda on, cyst, free: free * FREE * (1 - NEW / YOUNG),
    ]
    changes = [[-1, 1, 0], [0, -1, YOUNG], [1, 0, -1], [0, 0, -1]]
    begun, gone = time.perf_counter(), 0
    for _ in range(count):
        _, states = gillespie.simulate([10, 0, 0], rates, changes, 90)
        gone += not sum(states[-1])
    return gone / count, (time.perf_counter() - begun) / count


def shared(with_peer: bool) -> None:
    say("\n| shared exponential model | extinct at day 90 (standard error) | ms a trajectory |\n| --- | --- | --- |")

    def line(what: str, count: int, found: tuple[float, float]) -> None:
        error = (found[0] * (1 - found[0]) / count) ** 0.5
        say(f"| {what} | {found[0]:.3f} ({error:.3f}) | {1000 * found[1]:.3f} |")

    line("exact events, plain Python", 500, exact(500, 1))
    for per_day in (1, 2, 4, 8, 16):
        line(f"own draws, {per_day} steps a day", 10_000, stepped(10_000, per_day, 2))
    if with_peer:
        line("gillespie", 100, peer(100))


if __name__ == "__main__":
    main()
