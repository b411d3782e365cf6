"""The model written a second time, straight from the rows of the reference, to be slow and plain.

Nothing here is shared with `wetmount.weighup`: rows and evidence go in, and what the rows say about one set of present
conditions comes out. `validation.enumeration` and `validation.agrum` compute posteriors from it in two other ways.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from wetmount.evidence import Evidence
from wetmount.reference import Reference

KEPT_ODDS = 2.0  # predisposing arcs below this stand inside the rate (DESIGN, Methods)
PREDISPOSING_CAP = 6.0  # most that the parents of one condition multiply its odds by
HISTORY_CAP = 10.0  # most that all history answers multiply the odds of one condition by


@dataclass(frozen=True)
class Report:
    """One finding as reported: chance that each condition makes it be noticed at level k or higher, and so the leak."""

    findings: tuple[str, ...]
    level: int
    missed: float
    illness: bool
    strength: Mapping[str, tuple[float, ...]]
    leak: tuple[float, ...]

    def below(self, present: Iterable[str], level: int) -> float:
        """P(noticed at less than `level` | present conditions): noisy-MAX."""
        if level > len(self.leak):
            return 1.0
        chance = 1.0 - self.leak[level - 1]
        for condition in present:
            chance *= 1.0 - self.strength[condition][level - 1]
        return chance

    def likelihood(self, present: Iterable[str]) -> float:
        """P(this report | present conditions)."""
        present = tuple(present)
        if self.missed > 0.0:  # a doubtful "seen": of the level or above, or else a false one
            under = self.below(present, self.level)
            return (1.0 - under) + self.missed * under
        return self.below(present, self.level + 1) - (self.below(present, self.level) if self.level else 0.0)

    def only_from(self, acting: Iterable[str], present: Iterable[str]) -> float:
        """P(this report, and no present condition outside `acting` brought it): the others stayed below its level."""
        acting = set(acting)
        idle = 1.0
        for condition in present:
            if condition not in acting:
                idle *= 1.0 - self.strength[condition][self.level - 1]
        return idle * self.likelihood(acting)


@dataclass(frozen=True)
class RowsModel:
    """Prior odds, parents and reports of one case."""

    conditions: tuple[str, ...]
    odds: Mapping[str, float]
    parents: Mapping[str, Mapping[str, float]]
    reports: tuple[Report, ...]

    def prior(self, present: frozenset[str]) -> float:
        """P(exactly these conditions are present) before any finding."""
        chance = 1.0
        for condition in self.conditions:
            odds = self.odds[condition] * self.received(condition, present)
            chance *= odds / (1.0 + odds) if condition in present else 1.0 / (1.0 + odds)
        return chance

    def received(self, condition: str, present: Iterable[str]) -> float:
        """What present parents multiply the odds of a condition by, capped."""
        mine = self.parents[condition]
        return min(PREDISPOSING_CAP, math.prod(mine[parent] for parent in present if parent in mine))


def restricted(reference: Reference, conditions: Iterable[str], findings: Iterable[str] | None = None) -> Reference:
    """The part of a reference that concerns some conditions (and findings); rates, links, leaks and arcs unchanged."""
    kept = set(conditions)
    columns = set(reference.findings if findings is None else findings)
    return replace(
        reference,
        conditions={id: row for id, row in reference.conditions.items() if id in kept},
        findings={id: row for id, row in reference.findings.items() if id in columns},
        links=tuple(row for row in reference.links if row.condition in kept and row.finding in columns),
        leaks=tuple(row for row in reference.leaks if row.finding in columns),
        history_risks=tuple(row for row in reference.history_risks if row.condition in kept),
        host_risks=tuple(row for row in reference.host_risks if row.condition in kept),
        temperature_risks=tuple(row for row in reference.temperature_risks if row.condition in kept),
        predispositions=tuple(row for row in reference.predispositions if row.condition in kept and row.parent in kept),
    )


def rows_model(reference: Reference, evidence: Evidence, base_odds: Mapping[str, float]) -> RowsModel:
    """The model of one case. `base_odds` are the odds with no parent present (they are checked on their own)."""
    parents: dict[str, dict[str, float]] = {id: {} for id in reference.conditions}
    for arc in reference.predispositions:
        if arc.odds >= KEPT_ODDS:
            parents[arc.condition][arc.parent] = arc.odds
    odds = {id: base_odds[id] * _multiplier(id, reference, evidence) for id in reference.conditions}
    return RowsModel(tuple(reference.conditions), odds, parents, _reports(reference, evidence))


def _multiplier(condition: str, reference: Reference, evidence: Evidence) -> float:
    """Host (the narrowest group that has a row), temperature band, and history capped in product."""
    product = 1.0
    if evidence.host_group is not None:
        rows = {row.host_group: row.odds for row in reference.host_risks if row.condition == condition}
        product *= next((rows[group] for group in reference.host_group_line(evidence.host_group) if group in rows), 1.0)
    if evidence.temperature_c is not None:
        for band in reference.temperature_risks:
            low = -math.inf if band.low_c is None else band.low_c
            high = math.inf if band.high_c is None else band.high_c
            if band.condition == condition and low <= evidence.temperature_c < high:
                product *= band.odds
    background = {row.finding: row.probability for row in reference.leaks if row.level == 1}
    history = 1.0
    for row in reference.history_risks:
        if row.condition == condition and row.finding in evidence.answers:
            share = background[row.finding]
            no = max(0.0, 1.0 - share * row.odds) / (1.0 - share)
            history *= max(1.0 / HISTORY_CAP, row.odds if evidence.answers[row.finding] else no)
    return product * min(HISTORY_CAP, max(1.0 / HISTORY_CAP, history))


def _reports(reference: Reference, evidence: Evidence) -> tuple[Report, ...]:
    """A report for each observation. Signs of being unwell must not be more than one here: how several of them join
    is a rule of the project, not of the tables."""
    assert sum(reference.findings[o.finding].unwell for o in evidence.observations) <= 1
    true = {(row.condition, row.finding, row.level): row.probability for row in reference.links}
    outside = {(row.finding, row.level): row.probability for row in reference.leaks}
    found = []
    for o in evidence.observations:
        row, sureness = reference.findings[o.finding], reference.sureness[o.sure]
        levels = range(1, len(row.levels))
        chance = [d * (sureness.noticing if o.level == 0 else 1.0) for d in o.detection]
        strength = {
            condition: _noticed([true.get((condition, o.finding, k), 0.0) for k in levels], chance)
            for condition in reference.conditions
        }
        leak = _noticed([outside[o.finding, k] for k in levels], chance)
        missed = sureness.false_seen if o.level else 0.0
        illness = bool(row.illness_from and o.level >= row.illness_from)
        found.append(Report((o.finding,), o.level, missed, illness, strength, leak))
    return tuple(found)


def _noticed(true: list[float], chance: list[float]) -> tuple[float, ...]:
    """What is truly at level t is noticed, as t, with chance[t - 1]; else not at all. P(noticed at k or higher)."""
    exactly = [here - above for here, above in zip(true, [*true[1:], 0.0], strict=True)]
    return tuple(sum(e * c for e, c in zip(exactly[k:], chance[k:], strict=True)) for k in range(len(true)))
