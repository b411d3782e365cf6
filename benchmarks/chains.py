"""Contact chains: a million contacts, against a plain search and against networkx on the graph unrolled in time.

python -m benchmarks.chains            own timings, as Markdown
python -m benchmarks.chains --write    also into docs/performance.md

networkx has no search in the order of time; its graph has a node for each tank and day and is built once, outside the
timing of its search. Every chain must come out the same.
"""

from __future__ import annotations

import sys
import time
from collections import defaultdict
from collections.abc import Callable

import networkx as nx
import numpy as np

from benchmarks.run import machine, write_section
from wetmount.origin.chains import Contacts, chain


def random_contacts(count: int, tanks: int, days: int) -> Contacts:
    rng = np.random.default_rng(1)
    names = tuple(map(str, range(tanks)))
    day, source, goal = rng.integers(0, days, count), rng.integers(0, tanks, count), rng.integers(0, tanks, count)
    return Contacts(names, day, source, goal, np.zeros(count, dtype=np.int64))


def one_long_day(count: int) -> Contacts:
    """The worst order: on a single day, each contact listed before the one that it follows."""
    source = np.arange(count)[::-1].astype(np.int64)
    zeros = np.zeros(count, dtype=np.int64)
    return Contacts(tuple(map(str, range(count + 1))), zeros, source, source + 1, zeros)


def plain(contacts: Contacts, root: str) -> set[int]:
    """Outgoing chain as one writes it down first: the contacts of each day over and over until nothing is new."""
    by_day: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for day, source, goal in zip(contacts.day.tolist(), contacts.source.tolist(), contacts.goal.tolist(), strict=True):
        by_day[day].append((source, goal))
    start = contacts.place(root)
    reached = {start}
    for day in sorted(by_day):
        grown = True
        while grown:
            before = len(reached)
            reached.update(goal for source, goal in by_day[day] if source in reached)
            grown = len(reached) > before
    return reached - {start}


def unrolled(contacts: Contacts, days: int) -> nx.DiGraph:
    graph = nx.DiGraph()
    for tank in range(len(contacts.nodes)):
        nx.add_path(graph, [(tank, day) for day in range(days)])
    graph.add_edges_from(
        ((source, day), (goal, day))
        for day, source, goal in zip(
            contacts.day.tolist(), contacts.source.tolist(), contacts.goal.tolist(), strict=True
        )
    )
    return graph


def took(work: Callable[[], object], times: int = 3) -> float:
    """Least seconds on the clock of some runs."""
    best = float("inf")
    for _ in range(times):
        begun = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - begun)
    return best


SAID: list[str] = []


def say(line: str) -> None:
    print(line, flush=True)
    SAID.append(line)


def compare(what: str, contacts: Contacts, days: int, target: str = "", *, by_networkx: bool = False) -> None:
    own = set(map(int, chain(contacts, "0", "outgoing").reached))
    seconds = took(lambda: chain(contacts, "0", "outgoing"))
    back = took(lambda: chain(contacts, "0", "ingoing"))
    assert plain(contacts, "0") == own, "the plain search disagrees"
    peer = took(lambda: plain(contacts, "0"), 1)
    other = ""
    if by_networkx:
        graph = unrolled(contacts, days)
        assert {tank for tank, _ in nx.descendants(graph, (0, 0))} - {0} == own, "networkx disagrees"
        other = f"{took(lambda: nx.descendants(graph, (0, 0)), 1):.2f}"
    say(f"| {what} | {len(own):,} | {seconds:.2f} | {back:.2f} | {target} | {peer:.2f} | {other} |")


def main() -> None:
    say(f"{machine()}, networkx {nx.__version__}; one thread.\n")
    say("| contacts | reached | outgoing, s | ingoing, s | target, s | plain search, s | networkx, s |")
    say("| --- | --- | --- | --- | --- | --- | --- |")
    compare("100,000 between 2,000 tanks in 60 days", random_contacts(100_000, 2_000, 60), 60, by_networkx=True)
    compare("1,000,000 between 10,000 tanks in 365 days", random_contacts(10**6, 10_000, 365), 365, "2")
    compare("1,000,000 between 100,000 tanks in 30 days", random_contacts(10**6, 100_000, 30), 30, "2")
    count = 10**6
    worst = one_long_day(count)
    assert len(chain(worst, "0", "outgoing").reached) == count
    out = took(lambda: chain(worst, "0", "outgoing"))
    back = took(lambda: chain(worst, str(count), "ingoing"))
    say(f"| 1,000,000 of one day, each before the one it follows | {count:,} | {out:.2f} | {back:.2f} | 2 | | |")
    if "--write" in sys.argv:
        write_section("chains", "\n".join(SAID) + "\n")


if __name__ == "__main__":
    main()
