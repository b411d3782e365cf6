"""Tracing 42 tanks over 60 days until the chains agree, cutting links, and forward spread beside EoN.

python -m benchmarks.origin            own timings and the peer, as Markdown
python -m benchmarks.origin --write    also into docs/performance.md
"""

from __future__ import annotations

import sys
import time
import warnings
from collections.abc import Callable

import networkx as nx
import numpy as np
from validation.origins import SEED
from validation.outbreaks import draw_outbreak

from benchmarks.run import machine, write_section
from wetmount.origin import Trace, cut_links, demo_room, learn_next, trace
from wetmount.origin.spread import Graph, spread_from
from wetmount.reference import load_reference

REFERENCE = load_reference()
OUTBREAKS = 5
NODES, BEGIN, RATE, RECOVERY = 10_000, 50, 0.3, 1.0
SAID: list[str] = []


def say(line: str) -> None:
    print(line, flush=True)
    SAID.append(line)


def took(work: Callable[[], object], times: int = 1) -> tuple[float, float]:
    """Least seconds on the clock and of the processor."""
    best = (float("inf"), float("inf"))
    for _ in range(times):
        wall, processor = time.perf_counter(), time.process_time()
        work()
        best = min(best, (time.perf_counter() - wall, time.process_time() - processor))
    return best


def tracing() -> None:
    say("| work | s | s of processor | first shown after, s | sweeps | R-hat | target, s |")
    say("| --- | --- | --- | --- | --- | --- | --- |")
    rooms = [("the demonstration room, costia", demo_room(), 1)]
    rooms += [
        (
            f"simulated outbreak {number + 1}, 42 tanks × 60 days",
            draw_outbreak(np.random.default_rng([SEED, number]), REFERENCE).room,
            number,
        )
        for number in range(OUTBREAKS)
    ]
    found: Trace | None = None
    for what, room, seed in rooms:
        shown: list[float] = []
        wall, processor = time.perf_counter(), time.process_time()
        found = trace(
            room,
            REFERENCE,
            seed=seed,
            progress=lambda _, wall=wall, shown=shown: shown.append(time.perf_counter() - wall),
        )
        wall, processor = time.perf_counter() - wall, time.process_time() - processor
        agreed = found.convergence
        hat = f"{agreed.r_hat:.3f}" if agreed.converged else f"{agreed.r_hat:.3f}, not converged"
        say(f"| {what} | {wall:.1f} | {processor:.1f} | {shown[0]:.1f} | {agreed.sweeps} | {hat} | 10 |")
    assert found is not None
    for what, work in (
        ("cutting links, alone and together, after the last", lambda: cut_links(found, REFERENCE)),
        ("whom to examine next, after the last", lambda: learn_next(found, REFERENCE)),
    ):
        wall, processor = took(work)
        say(f"| {what} | {wall:.2f} | {processor:.2f} |  |  |  |  |")


def spreading() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        import EoN

    net = nx.fast_gnp_random_graph(NODES, 10 / (NODES - 1), seed=1)
    edges = np.array(net.edges)
    graph = Graph.of(NODES, np.concatenate((edges, edges[:, ::-1])))
    rng = np.random.default_rng(1)
    sizes: list[float] = []

    def theirs() -> None:
        sizes.append(float(EoN.fast_SIR(net, RATE, RECOVERY, initial_infecteds=range(BEGIN))[3][-1]))

    def ours(runs: int) -> Callable[[], None]:
        def work() -> None:
            sizes.append(
                float(spread_from(graph, range(BEGIN), rate=RATE, recovery=RECOVERY, runs=runs, rng=rng).sizes().mean())
            )

        return work

    say(f"\nOne random graph of {NODES:,} nodes and {len(edges):,} links both ways, {BEGIN} infected at the start,")
    say(f"rate {RATE:g}, recovery {RECOVERY:g}, until nobody is infectious. Processor time, least of several.\n")
    say("| forward spread | ms a run | times as fast | mean size |")
    say("| --- | --- | --- | --- |")
    peer = took(theirs, 8)[1]
    say(f"| EoN {peer_version()}, fast_SIR | {1000 * peer:.1f} | 1 | {np.mean(sizes):.0f} |")
    for runs in (1, 20):
        sizes.clear()
        own = took(ours(runs), 12)[1] / runs
        say(f"| own, {runs} at once | {1000 * own:.2f} | {peer / own:.0f} | {np.mean(sizes):.0f} |")


def peer_version() -> str:
    from importlib.metadata import version

    return version("EoN")


def main() -> None:
    say(f"{machine()}.\n")
    tracing()
    spreading()
    if "--write" in sys.argv:
        write_section("origin", "\n".join(SAID) + "\n")


if __name__ == "__main__":
    main()
