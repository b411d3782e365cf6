"""Calibration by simulation from the network: stated probabilities against what came true.

python -m validation.calibration [CASES]      default 20,000; about 15 minutes on one core
"""

from __future__ import annotations

import sys

import numpy as np

from validation.simulate import Bin, Simulator, bins
from wetmount.reference import Reference, load_reference
from wetmount.weighup.pose import network_of, pose
from wetmount.weighup.sweep import sweep

MOST_BITS = 16.0
"""Cases with a larger state are drawn again, to save time; leaving cases out by what was reported biases nothing."""


def simulate(
    reference: Reference, cases: int, seed: int, unwell: bool = False, together: bool = False
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(stated present, truly present, stated responsible, truly responsible), each (cases, conditions)."""
    simulator = Simulator(reference, seed, unwell, together)
    ids = network_of(reference).conditions
    stated, true = np.zeros((cases, len(ids))), np.zeros((cases, len(ids)))
    blamed, guilty = np.zeros((cases, len(ids))), np.zeros((cases, len(ids)))
    done = 0
    while done < cases:
        case = simulator.case()
        problem = pose(case.evidence, reference).problem
        plan = problem.steps()
        if np.log2(plan.peak) > MOST_BITS:
            continue
        posterior = sweep(problem)
        stated[done], blamed[done] = posterior.present, posterior.responsible
        true[done] = [id in case.present for id in ids]
        guilty[done] = [id in case.responsible for id in ids]
        done += 1
    return stated, true, blamed, guilty


def table(found: list[Bin]) -> str:
    """Markdown."""
    lines = ["| stated | came true | number | z |", "| --- | --- | --- | --- |"]
    lines += [f"| {one.stated:.3f} | {one.true:.3f} | {one.count} | {one.z:+.1f} |" for one in found]
    return "\n".join(lines)


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    loaded = load_reference()
    present, is_present, responsible, is_responsible = simulate(loaded, number, 20261124)
    print(f"Reference {loaded.version}, {number} simulated cases, seed 20261124.\n\nPresent:\n")
    print(table(bins(present, is_present)))
    print("\nResponsible:\n")
    print(table(bins(responsible, is_responsible)))
