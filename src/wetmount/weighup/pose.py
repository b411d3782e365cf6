"""From the reference to a network, and from a case's evidence to the problem that the sweep solves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wetmount.evidence import Evidence, Observation
from wetmount.reference import Reference
from wetmount.weighup.network import KEPT_ODDS, Network, build_network
from wetmount.weighup.steps import Floats
from wetmount.weighup.sweep import Problem
from wetmount.weighup.terms import Term, noticed

HISTORY_CAP = 10.0
"""Most (and, inverted, least) that all history answers together multiply a condition's odds by: they overlap."""

SEVERAL_SIGNS = 3
"""This many signs of being unwell count as the marked level (judgement)."""

_networks: dict[int, tuple[Reference, Network]] = {}


def network_of(reference: Reference) -> Network:
    """The network of a reference; built once for each loaded reference."""
    held = _networks.get(id(reference))
    if held is None or held[0] is not reference:
        held = (reference, _build(reference))
        _networks[id(reference)] = held
    return held[1]


def network_findings(reference: Reference) -> list[str]:
    """Ids of the findings that act through strengths, in the order of the network's columns."""
    return [id for id, finding in reference.findings.items() if finding.kind != "cause"]


def _build(reference: Reference) -> Network:
    conditions = list(reference.conditions)
    findings = network_findings(reference)
    row = {id: i for i, id in enumerate(conditions)}
    column = {id: j for j, id in enumerate(findings)}
    levels = [len(reference.findings[id].levels) - 1 for id in findings]
    strength = np.zeros((len(conditions), len(findings), max(levels)))
    leak = np.zeros((len(findings), max(levels)))
    for link in reference.links:
        strength[row[link.condition], column[link.finding], link.level - 1] = link.probability
    for leak_row in reference.leaks:
        if leak_row.finding in column:
            leak[column[leak_row.finding], leak_row.level - 1] = leak_row.probability
    arcs = {
        (row[arc.parent], row[arc.condition]): arc.odds for arc in reference.predispositions if arc.odds >= KEPT_ODDS
    }
    rate = np.array([condition.rate for condition in reference.conditions.values()])
    illness = [reference.findings[id].illness_from for id in findings]
    return build_network(conditions, findings, rate, strength, leak, levels, illness, arcs)


@dataclass(frozen=True, slots=True)
class Posed:
    """A problem with what it came from: the network, every term, and the terms that stayed open (one a column)."""

    problem: Problem
    terms: tuple[Term, ...]
    open_terms: tuple[Term, ...]
    multipliers: Mapping[str, Floats]

    @property
    def network(self) -> Network:
        return self.problem.network


def pose(evidence: Evidence, reference: Reference) -> Posed:
    """The problem of one look: priors of this host, water and history, and a term for each observation."""
    network = network_of(reference)
    multipliers = prior_multipliers(evidence, reference, network)
    odds = network.base_odds * history_product(multipliers, network)
    for key in ("host", "temperature"):
        if key in multipliers:
            odds = odds * multipliers[key]
    return reduce_terms(network, odds, terms_of(evidence, reference, network), multipliers)


def prior_multipliers(evidence: Evidence, reference: Reference, network: Network) -> dict[str, Floats]:
    """Odds multipliers (n,) by what they come from: "host", "temperature", and each history answer's finding id.

    An answer of no lowers what yes raises: with b the background frequency of yes and M its multiplier relative to
    the average, no has (1 - b M) / (1 - b), so that the average over answers stays 1.
    """
    row = network.condition_index()
    found: dict[str, Floats] = {}
    if evidence.host_group is not None:
        found["host"] = np.ones(len(row))
        by_group: dict[str, dict[str, float]] = {}
        for host_risk in reference.host_risks:
            by_group.setdefault(host_risk.host_group, {})[host_risk.condition] = host_risk.odds
        for group in reversed(_lineage(evidence.host_group, reference)):
            for condition, odds in by_group.get(group, {}).items():
                found["host"][row[condition]] = odds
    if evidence.temperature_c is not None:
        found["temperature"] = np.ones(len(row))
        for band in reference.temperature_risks:
            low = -np.inf if band.low_c is None else band.low_c
            high = np.inf if band.high_c is None else band.high_c
            if low <= evidence.temperature_c < high:
                found["temperature"][row[band.condition]] = band.odds
    background = {leak.finding: leak.probability for leak in reference.leaks if leak.level == 1}
    for finding, yes in evidence.answers.items():
        found[finding] = np.ones(len(row))
        b = background[finding]
        for risk in reference.history_risks:
            if risk.finding == finding:
                odds = risk.odds if yes else max(0.0, 1.0 - b * risk.odds) / (1.0 - b)
                found[finding][row[risk.condition]] = max(odds, 1.0 / HISTORY_CAP)
    return found


def history_product(multipliers: Mapping[str, Floats], network: Network) -> Floats:
    """The product of the history multipliers, held within the cap."""
    product = np.ones(len(network.conditions))
    for key, values in multipliers.items():
        if key not in ("host", "temperature"):
            product = product * values
    return np.clip(product, 1.0 / HISTORY_CAP, HISTORY_CAP)


def _lineage(group: str, reference: Reference) -> list[str]:
    """A host group with its parents, nearest first."""
    line = [group]
    while (parent := reference.host_groups[line[-1]].parent) is not None:
        line.append(parent)
    return line


def terms_of(evidence: Evidence, reference: Reference, network: Network) -> tuple[Term, ...]:
    """A term for each observation; the signs of being unwell together make one."""
    unwell = [o for o in evidence.observations if reference.findings[o.finding].unwell]
    single = [o for o in evidence.observations if not reference.findings[o.finding].unwell]
    terms = [_term((o,), o.level, reference, network) for o in single]
    if unwell:
        terms.append(_unwell_term(unwell, reference, network))
    return tuple(terms)


def _term(observations: Sequence[Observation], level: int, reference: Reference, network: Network) -> Term:
    """One term from observations of one finding, or of several that count as their strongest."""
    column = network.finding_index()
    top = max(int(network.levels[column[o.finding]]) for o in observations)
    strength, leak = np.zeros((len(network.conditions), top)), np.zeros(top)
    for o in observations:
        j = column[o.finding]
        levels = int(network.levels[j])
        sureness = reference.sureness[o.sure]
        detection = np.asarray(o.detection) * (sureness.noticing if o.level == 0 else 1.0)
        own = noticed(network.strength[:, j, :levels], detection)
        strength[:, :levels] = np.maximum(strength[:, :levels], own)
        leak[:levels] = np.maximum(leak[:levels], noticed(network.leak[j, :levels], detection))
    telling = [o for o in observations if o.level > 0]
    missed = min((reference.sureness[o.sure].false_seen for o in telling), default=0.0)
    first = reference.findings[observations[0].finding].illness_from
    ids = tuple(o.finding for o in (telling or observations))
    spread, leak_spread, memory = _basis(ids, reference, network)
    return Term(ids, level, strength, leak, missed, level >= first > 0, spread, leak_spread, memory)


def _unwell_term(observations: Sequence[Observation], reference: Reference, network: Network) -> Term:
    """Lethargy, loss of appetite, hiding and the like go together whatever the cause: they count once.

    Marked when one of them is, or when several are seen at once.
    """
    seen = [o for o in observations if o.level > 0]
    marked = any(o.level > 1 for o in seen) or len(seen) >= SEVERAL_SIGNS
    top = max(len(reference.findings[o.finding].levels) - 1 for o in observations)
    level = 0 if not seen else min(2 if marked else 1, top)
    return _term(observations, level, reference, network)


def reduce_terms(
    network: Network, odds: Floats, terms: Iterable[Term], multipliers: Mapping[str, Floats] | None = None
) -> Posed:
    """Fold what involves one condition at a time into factors; keep a column for each other positive finding."""
    n = len(network.conditions)
    terms = tuple(terms)
    factor, bare, constant = np.ones(n), np.ones(n), 0.0
    columns: list[tuple[Term, Floats, float]] = []
    for term in terms:
        if term.level == 0:
            factor = factor * (1.0 - term.strength[:, 0])
            constant += float(np.log1p(-term.leak[0]))
            continue
        q, leak, exceed, exceed_leak = term.reduced()
        factor = factor * (1.0 - exceed)
        constant += float(np.log1p(-exceed_leak))
        causes = np.flatnonzero(q)
        unexplained = leak + (1.0 - leak) * term.missed
        if len(causes) > 1:
            columns.append((term, q, leak))
            continue
        constant += float(np.log(unexplained))
        for i in causes:
            explained = leak + (1.0 - leak) * (q[i] + (1.0 - q[i]) * term.missed)
            factor[i] *= explained / unexplained
            if term.illness:
                bare[i] *= (1.0 - q[i]) * unexplained / explained
    problem = Problem(
        network=network,
        odds=odds,
        factor=factor,
        bare=bare,
        strength=np.stack([q for _, q, _ in columns], axis=1) if columns else np.zeros((n, 0)),
        leak=np.array([leak for _, _, leak in columns]),
        missed=np.array([term.missed for term, _, _ in columns]),
        illness=np.array([term.illness for term, _, _ in columns], dtype=bool),
        log_constant=constant,
    )
    return Posed(problem, terms, tuple(term for term, _, _ in columns), multipliers or {})


def without(posed: Posed, term: Term) -> Posed:
    """The same problem without one term."""
    rest = [other for other in posed.terms if other is not term]
    return replace(reduce_terms(posed.network, posed.problem.odds, rest), multipliers=posed.multipliers)


SPREAD = {"published": 0.25, "estimated": 0.5, "memory": 1.0}
"""Standard deviation on the logit scale of a figure by its basis (judgement; a published one stands for n near 60)."""


def _basis(findings: Sequence[str], reference: Reference, network: Network) -> tuple[Floats, float, NDArray[np.bool_]]:
    """spread (n,), leak spread and memory (n,) of the rows behind a term; the widest where several findings join."""
    of_finding = _bases_of(reference, network)
    spreads, leak_spreads, memories = zip(*(of_finding[id] for id in findings), strict=True)
    return np.max(spreads, axis=0), max(leak_spreads), np.any(memories, axis=0)


_bases: dict[int, tuple[Network, dict[str, tuple[Floats, float, NDArray[np.bool_]]]]] = {}


def _bases_of(reference: Reference, network: Network) -> dict[str, tuple[Floats, float, NDArray[np.bool_]]]:
    """For each finding: spread (n,) of its strengths, spread of its leak, and which strengths rest on memory."""
    held = _bases.get(id(network))
    if held is not None and held[0] is network:
        return held[1]
    row = network.condition_index()
    spread = {id: np.zeros(len(row)) for id in network.findings}
    memory = {id: np.zeros(len(row), dtype=bool) for id in network.findings}
    leak_spread = dict.fromkeys(network.findings, 0.0)
    for link in reference.links:
        if link.level == 1:
            spread[link.finding][row[link.condition]] = SPREAD[link.basis]
            memory[link.finding][row[link.condition]] = link.basis == "memory"
    for leak in reference.leaks:
        if leak.finding in leak_spread:
            leak_spread[leak.finding] = max(leak_spread[leak.finding], SPREAD[leak.basis])
    found = {id: (spread[id], leak_spread[id], memory[id]) for id in network.findings}
    _bases[id(network)] = (network, found)
    return found
