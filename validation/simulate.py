"""Cases drawn from the tables: conditions from the priors, findings from the strengths, and what is noticed of them.

Used to see whether stated probabilities come true as often as they say. Nothing of the inference is used, only the base
odds of the network, which other tests check against pyAgrum.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from validation.rows_model import RowsModel, rows_model
from wetmount.evidence import Evidence, Observation
from wetmount.reference import Reference
from wetmount.weighup.pose import network_of

Examined = tuple[tuple[str, float], ...]

EXAMINED: Examined = (
    ("tank_look", 0.9), ("counting_fish", 0.5), ("water_test", 0.5), ("in_hand", 0.6), ("skin_scrape", 0.6),
    ("gill_scrape", 0.4), ("faecal_wet_mount", 0.25), ("dissection", 0.15),
)  # fmt: skip
"""Examinations and how often a simulated practitioner does them: chosen without regard to what is wrong."""

LOOKED = 0.6
"""Share of an examination's findings that are looked for when it is done, likewise by chance."""

HOSTS = ("koi", "goldfish", "livebearer", "discus", "tetra", "rainbowfish", "gourami", "catfish", "marine")


@dataclass(frozen=True)
class Simulated:
    """What is truly there, who brought a finding of illness, and what was reported."""

    present: frozenset[str]
    responsible: frozenset[str]
    evidence: Evidence


class Simulator:
    """Draws cases; with `together` one draw decides all signs of being unwell, so that they come and go as one."""

    def __init__(
        self,
        reference: Reference,
        seed: int,
        examined: Examined = EXAMINED,
        unwell: bool = False,
        together: bool = False,
    ) -> None:
        self.reference, self.rng = reference, np.random.default_rng(seed)
        self.examined, self.together = examined, together
        network = network_of(reference)
        self.base = dict(zip(network.conditions, map(float, network.base_odds), strict=True))
        self.links: dict[str, dict[str, dict[int, float]]] = {}
        for link in reference.links:
            self.links.setdefault(link.finding, {}).setdefault(link.condition, {})[link.level] = link.probability
        self.leaks: dict[str, dict[int, float]] = {}
        for leak in reference.leaks:
            self.leaks.setdefault(leak.finding, {})[leak.level] = leak.probability
        self.models: dict[str, RowsModel] = {}
        self.shows: dict[str, list[str]] = {}
        for id, finding in reference.findings.items():
            if finding.kind != "cause" and (unwell or not finding.unwell):
                self.shows.setdefault(finding.examination, []).append(id)

    def case(self) -> Simulated:
        """One case with at least one positive finding that was looked for."""
        while True:
            host = str(self.rng.choice(HOSTS))
            present = self._conditions(self._prior(host))
            observations, responsible = self._findings(present)
            if any(o.level for o in observations):
                looked = Evidence(host, None, None, tuple(observations), {}, (), (), {}, None)
                return Simulated(present, responsible, looked)

    def _prior(self, host: str) -> RowsModel:
        if host not in self.models:
            nothing = Evidence(host, None, None, (), {}, (), (), {}, None)
            self.models[host] = rows_model(self.reference, nothing, self.base)
        return self.models[host]

    def _conditions(self, model: RowsModel) -> frozenset[str]:
        """Ancestral sampling along the predisposing arcs."""
        present: set[str] = set()
        drawn: set[str] = set()
        waiting = list(model.conditions)
        while waiting:
            later = []
            for condition in waiting:
                if any(parent not in drawn for parent in model.parents[condition]):
                    later.append(condition)
                    continue
                odds = model.odds[condition] * model.received(condition, present)
                drawn.add(condition)
                if self.rng.random() < odds / (1.0 + odds):
                    present.add(condition)
            waiting = later
        return frozenset(present)

    def _findings(self, present: frozenset[str]) -> tuple[list[Observation], frozenset[str]]:
        """Each present condition, and the leak, brings a level or not; the report is the highest that is noticed."""
        observations, responsible = [], set()
        shared = self.rng.random()
        for examination, often in self.examined:
            if self.rng.random() >= often:
                continue
            row = self.reference.examinations[examination]
            for id in self.shows[examination]:
                if self.rng.random() >= LOOKED:
                    continue
                finding = self.reference.findings[id]
                levels = len(finding.levels) - 1
                detection = tuple(row.detection[min(k, 1)] for k in range(levels))
                if finding.unwell and self.together:
                    level, causes = self._joined(id, present, detection, shared), {}
                else:
                    level, causes = self._noticed(id, present, detection)
                if level and finding.illness_from and level >= finding.illness_from:
                    responsible |= {condition for condition, own in causes.items() if own == level}
                observations.append(Observation(id, level, "sure", detection, ()))
        return observations, frozenset(responsible)

    def _noticed(
        self, finding: str, present: frozenset[str], detection: tuple[float, ...]
    ) -> tuple[int, dict[str, int]]:
        causes: dict[str, int] = {}
        linked = self.links.get(finding, {})
        highest = self._level(self.leaks[finding], detection)
        for condition in sorted(present):  # in a fixed order, so that a seed gives the same case in every process
            if condition in linked:
                causes[condition] = self._level(linked[condition], detection)
                highest = max(highest, causes[condition])
        return highest, causes

    def _level(self, chances: Mapping[int, float], detection: tuple[float, ...]) -> int:
        draw = self.rng.random()
        true = max((level for level in range(1, len(detection) + 1) if draw < chances.get(level, 0.0)), default=0)
        return true if true and self.rng.random() < detection[true - 1] else 0

    def _joined(self, finding: str, present: frozenset[str], detection: tuple[float, ...], draw: float) -> int:
        """The level at which one draw, shared by all signs of being unwell, falls for this sign."""
        level = 0
        for k in range(1, len(detection) + 1):
            idle = 1.0 - self.leaks[finding].get(k, 0.0) * detection[k - 1]
            for condition in present:
                idle *= 1.0 - self.links.get(finding, {}).get(condition, {}).get(k, 0.0) * detection[k - 1]
            if draw < 1.0 - idle:
                level = k
        return level


@dataclass(frozen=True)
class Bin:
    """Stated probabilities of one range against what came true; z is their difference in standard errors."""

    low: float
    high: float
    stated: float
    true: float
    count: int
    z: float


EDGES = (0.0, 0.01, 0.03, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1.0 + 1e-9)


def bins(stated: np.ndarray, true: np.ndarray) -> list[Bin]:
    """Calibration by bins; stated (cases, conditions) probabilities, true (cases, conditions) zeros and ones.

    The standard error is binomial, or that of the scatter of whole cases where it is larger: cases are independent,
    conditions of one case are not.
    """
    found = []
    for low, high in itertools.pairwise(EDGES):
        inside = (stated >= low) & (stated < high)
        count = int(inside.sum())
        if count < 30:
            continue
        off = np.where(inside, true - stated, 0.0).sum(axis=1)
        chances = stated[inside]
        variance = max(float(np.sum(chances * (1.0 - chances))), float(np.sum(off**2)))
        z = float(off.sum()) / math.sqrt(variance)
        found.append(Bin(low, high, float(stated[inside].mean()), float(true[inside].mean()), count, z))
    return found
