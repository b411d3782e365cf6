"""Calibration by simulation from the network: stated probabilities against what came true.

python -m validation.calibration [CASES]      default 20,000; about 15 minutes on one core
"""

from __future__ import annotations

import datetime
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from validation.simulate import Bin, Simulator, bins
from wetmount.reference import Reference, load_reference
from wetmount.weighup.pose import network_of, pose
from wetmount.weighup.sweep import sweep

RESULTS = Path(__file__).parent / "results" / "calibration.md"
SEED = 20261124
MOST_BITS = 16.0
"""Cases with a larger state are drawn again, to save time; leaving cases out by what was reported biases nothing."""


@dataclass(frozen=True)
class Outcome:
    """What was stated and what was so, each (cases, conditions)."""

    present: np.ndarray
    is_present: np.ndarray
    responsible: np.ndarray
    is_responsible: np.ndarray


def simulate(simulator: Simulator, cases: int, rules: Sequence[Reference]) -> list[Outcome]:
    """The same simulated cases, weighed with each of the references."""
    ids = network_of(rules[0]).conditions
    rows: list[list[list[np.ndarray]]] = [[] for _ in rules]
    while len(rows[0]) < cases:
        case = simulator.case()
        problems = [pose(case.evidence, reference).problem for reference in rules]
        if any(np.log2(problem.steps().peak) > MOST_BITS for problem in problems):
            continue
        present = np.array([id in case.present for id in ids], dtype=float)
        responsible = np.array([id in case.responsible for id in ids], dtype=float)
        for row, problem in zip(rows, problems, strict=True):
            posterior = sweep(problem)
            row.append([posterior.present, present, posterior.responsible, responsible])
    return [Outcome(*(np.array(column) for column in zip(*row, strict=True))) for row in rows]


def table(found: list[Bin]) -> str:
    """Markdown."""
    lines = ["| stated | came true | number | z |", "| --- | --- | --- | --- |"]
    lines += [f"| {one.stated:.3f} | {one.true:.3f} | {one.count} | {one.z:+.1f} |" for one in found]
    return "\n".join(lines)


def main() -> None:
    """Print the tables, and write them when asked to."""
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    cases, reference = (numbers[0] if numbers else 3_000), load_reference()
    (outcome,) = simulate(Simulator(reference, SEED), cases, [reference])
    today = datetime.date.today().isoformat()
    lines = ["# Calibration by simulation", ""]
    lines += [f"{today}. Reference {reference.version}, {cases} simulated cases, seed {SEED}."]
    lines += ["", "## Present", "", table(bins(outcome.present, outcome.is_present))]
    lines += ["", "## Responsible", "", table(bins(outcome.responsible, outcome.is_responsible))]
    text = "\n".join(lines) + "\n"
    print(text)
    if "--write" in sys.argv:
        RESULTS.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
