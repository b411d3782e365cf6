"""The explained-set sweep against pyAgrum's lazy propagation, side by side in one run.

    python -m benchmarks.posterior [--write]                    all rows; --write puts them into docs/performance.md
    python -m benchmarks.posterior one ENGINE TABLES K SEED     one case in this process (used by the former)

A case: K findings seen, 30 looked for and not seen. TABLES: `real`, the reference as it is; `flat`, the reference
without its predisposing arcs; `random`, 30 conditions and about 8 causes a finding, where a general engine does best.

pyAgrum gets every help. Findings not seen, and findings with one cause, are folded into soft evidence on the conditions
(exact; as plain evidence it fails at five). A seen finding with up to 12 causes is one table, with more a chain of OR
nodes (exact; one table over the sixty causes of a common sign cannot be held; joining causes in a balanced tree was
tried and is slower). Conditions that nothing touches are left out. Its time is that of inference and of reading all
posteriors, without building the network; the time of the sweep is everything after the evidence was posed.
"""

from __future__ import annotations

import itertools
import json
import math
import resource
import statistics
import sys
import time
from typing import Any

import numpy as np
from validation.simulate import Simulator

from benchmarks.run import machine, run, said, write_section
from wetmount.evidence import Evidence, Observation
from wetmount.reference import Reference, load_reference
from wetmount.weighup.network import build_network
from wetmount.weighup.pose import network_of, pose
from wetmount.weighup.sweep import Problem, sweep

NEGATIVES = 30
DIRECT = 12
LIMIT_S = 60.0
LIMIT_GIB = 8


def case(reference: Reference, positives: int, seed: int) -> Evidence:
    """A simulated case with exactly so many findings seen (not signs of being unwell) and 30 not seen."""
    examined = tuple(
        (id, 1.0) for id in ("tank_look", "in_hand", "skin_scrape", "gill_scrape", "dissection", "organ_squash")
    )
    simulator = Simulator(reference, seed, examined)
    while True:
        drawn = simulator.case().evidence.observations
        seen = [o for o in drawn if o.level]
        unseen = [o for o in drawn if not o.level]
        if len(seen) >= positives and len(unseen) >= NEGATIVES:
            return _evidence([*seen[:positives], *unseen[:NEGATIVES]])


def _evidence(observations: list[Observation]) -> Evidence:
    return Evidence("koi", None, None, tuple(observations), {}, (), (), {}, None)


def problem_of(tables: str, positives: int, seed: int) -> Problem:
    """The posed problem."""
    if tables == "random":
        return random_problem(positives, seed)
    reference = load_reference()
    problem = pose(case(reference, positives, seed), reference).problem
    if tables == "real":
        return problem
    net = network_of(reference)
    flat = build_network(
        net.conditions, net.findings, net.rate, net.strength, net.leak, net.levels, net.illness_from, {}
    )
    fields = {name: getattr(problem, name) for name in Problem.__slots__ if name not in ("network", "odds")}
    return Problem(network=flat, odds=problem.odds / net.base_odds * flat.base_odds, **fields)


def random_problem(positives: int, seed: int, conditions: int = 30, causes: float = 8.0) -> Problem:
    """Priors .01-.15, strengths .1-.9, leak .01, about 8 causes a finding (2 to 12); no arcs."""
    rng = np.random.default_rng(seed)
    rate = rng.uniform(0.01, 0.15, conditions)
    none = np.zeros((conditions, 0, 1))
    net = build_network([f"c{i}" for i in range(conditions)], [], rate, none, np.zeros((0, 1)), [], [], {})
    strength = np.zeros((conditions, positives + NEGATIVES))
    for j in range(positives + NEGATIVES):
        chosen = rng.choice(conditions, size=int(np.clip(rng.poisson(causes), 2, 12)), replace=False)
        strength[chosen, j] = rng.uniform(0.1, 0.9, len(chosen))
    return Problem(
        network=net,
        odds=net.base_odds,
        factor=np.prod(1 - strength[:, positives:], axis=1),
        bare=np.ones(conditions),
        strength=strength[:, :positives],
        leak=np.full(positives, 0.01),
        missed=np.zeros(positives),
        illness=np.ones(positives, dtype=bool),
        log_constant=0.0,
    )


def solve_here(problem: Problem) -> tuple[list[float], float, float]:
    """(posteriors, median seconds, state bits) of the sweep."""
    seconds = []
    for _ in range(5):
        begun = time.perf_counter()
        posterior = sweep(problem)
        seconds.append(time.perf_counter() - begun)
    return posterior.present.tolist(), statistics.median(seconds), posterior.state_bits


def solve_agrum(problem: Problem) -> tuple[list[float], float, float]:
    """(posteriors, seconds, 0) of pyAgrum's lazy propagation."""
    from validation.agrum import pyagrum  # here, so that the sweep's process does not hold it

    network, n = problem.network, len(problem.odds)
    wanted = _ancestors(problem)
    net = pyagrum.BayesNet()
    evidence: dict[str, object] = {}
    for i in sorted(wanted):
        net.add(pyagrum.LabelizedVariable(f"c{i}", "", ["no", "yes"]))
    for i in sorted(wanted):
        parents = network.parents[i]
        for parent, _ in parents:
            net.addArc(f"c{parent}", f"c{i}")
        for states in itertools.product((0, 1), repeat=len(parents)):
            received = math.prod(odds for (_, odds), state in zip(parents, states, strict=True) if state)
            odds = problem.odds[i] * min(network.cap, received)
            chosen = {f"c{parent}": state for (parent, _), state in zip(parents, states, strict=True)}
            net.cpt(f"c{i}")[chosen] = [1 / (1 + odds), odds / (1 + odds)]
        if problem.factor[i] != 1.0:
            largest = max(1.0, problem.factor[i])
            evidence[f"c{i}"] = [1.0 / largest, problem.factor[i] / largest]
    for j in range(len(problem.leak)):
        name = _finding(net, problem, j)
        evidence[name] = [problem.missed[j], 1.0] if problem.missed[j] else 1
    resource.setrlimit(resource.RLIMIT_AS, (LIMIT_GIB * 2**30, LIMIT_GIB * 2**30))
    begun = time.perf_counter()
    engine = pyagrum.LazyPropagation(net)
    engine.setEvidence(evidence)
    for i in wanted:
        engine.addTarget(f"c{i}")
    engine.makeInference()
    chances = {i: float(engine.posterior(f"c{i}")[1]) for i in wanted}
    seconds = time.perf_counter() - begun
    alone = problem.odds * problem.factor / (1 + problem.odds * problem.factor)
    return [chances.get(i, float(alone[i])) for i in range(n)], seconds, 0.0


def _finding(net: Any, problem: Problem, j: int) -> str:
    """Add a finding: one table where it has few causes, else pairs of causes joined by OR nodes up to one; its name."""
    from validation.agrum import pyagrum

    causes = np.flatnonzero(problem.strength[:, j])
    if len(causes) <= DIRECT:
        net.add(pyagrum.LabelizedVariable(f"f{j}", "", ["no", "yes"]))
        for i in causes:
            net.addArc(f"c{i}", f"f{j}")
        for states in itertools.product((0, 1), repeat=len(causes)):
            idle = 1 - problem.leak[j]
            for i, state in zip(causes, states, strict=True):
                idle *= 1 - problem.strength[i, j] * state
            net.cpt(f"f{j}")[{f"c{i}": state for i, state in zip(causes, states, strict=True)}] = [idle, 1 - idle]
        return f"f{j}"
    last = f"f{j}"
    net.add(pyagrum.LabelizedVariable(last, "", ["no", "yes"]))
    net.cpt(last).fillWith([1 - problem.leak[j], problem.leak[j]])
    for i in causes:
        step, q = f"f{j}_{i}", problem.strength[i, j]
        net.add(pyagrum.LabelizedVariable(step, "", ["no", "yes"]))
        net.addArc(last, step)
        net.addArc(f"c{i}", step)
        for before, here in itertools.product((0, 1), repeat=2):
            chance = 1.0 if before else q * here
            net.cpt(step)[{last: before, f"c{i}": here}] = [1 - chance, chance]
        last = step
    return last


def _ancestors(problem: Problem) -> set[int]:
    """Conditions that the seen findings or the arcs touch; all others stand alone."""
    wanted = set(np.flatnonzero(problem.strength.any(axis=1)).tolist())
    joined = {i for i, row in enumerate(problem.network.parents) if row}
    joined |= {parent for row in problem.network.parents for parent, _ in row}
    return wanted | joined


def one(engine: str, tables: str, positives: int, seed: int) -> None:
    """Solve one case in this process and print what it took."""
    problem = problem_of(tables, positives, seed)
    solve = solve_here if engine == "sweep" else solve_agrum
    chances, seconds, bits = solve(problem)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"chances": chances, "seconds": seconds, "bits": bits, "peak_mib": peak}))


def rows(seeds: range) -> list[str]:
    """A row for each case."""
    lines = [
        "| tables | seen | state bits | sweep | peak | pyAgrum, negatives folded | times slower | largest difference |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for tables in ("random", "flat", "real"):
        for positives in (5, 10, 15):
            lines += [_row(tables, positives, seed) for seed in seeds]
    return lines


def _row(tables: str, positives: int, seed: int) -> str:
    here, there = (
        run([sys.executable, "-m", "benchmarks.posterior", "one", engine, tables, str(positives), str(seed)], LIMIT_S)
        for engine in ("sweep", "pyagrum")
    )
    head = f"| {tables} | {positives} "
    if here.failed:
        return f"{head}| | {here.failed} | | | | |"
    mine = said(here)
    head += f"| {mine['bits']:.1f} | {_ms(mine['seconds'])} | {mine['peak_mib']:.0f} MiB "
    if there.failed:
        return f"{head}| fails: {there.failed} | | |"
    peer = said(there)
    ratio = float(peer["seconds"]) / float(mine["seconds"])  # type: ignore[arg-type]
    difference = float(np.max(np.abs(np.array(mine["chances"]) - np.array(peer["chances"]))))
    return f"{head}| {_ms(peer['seconds'])} | {ratio:.1f} | {difference:.0e} |"


def _ms(seconds: object) -> str:
    return f"{float(seconds) * 1000:.0f} ms"  # type: ignore[arg-type]


if __name__ == "__main__":
    if sys.argv[1:2] == ["one"]:
        _, _, name, kind, count, number = sys.argv
        one(name, kind, int(count), int(number))
    else:
        head = f"{machine()}; one thread each; at most {LIMIT_S:g} s and {LIMIT_GIB} GiB a case."
        text = f"{head}\n\n" + "\n".join(rows(range(1, 4))) + "\n"
        print(text)
        if "--write" in sys.argv:
            write_section("posterior", text)
