"""The same model as a plain Bayesian network, solved by pyAgrum (Gonzales, Torti, Wuillemin: aGrUM/pyAgrum, a general
library for probabilistic graphical models, https://pyagrum.gitlab.io)."""

from __future__ import annotations

import itertools
import warnings

from validation.rows_model import Report, RowsModel

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # of the generated bindings, on import
    import pyagrum


def network(model: RowsModel, fold_negatives: bool = False) -> tuple[pyagrum.BayesNet, dict[str, object]]:
    """(network, evidence). Conditions are binary nodes whose tables hold the capped odds; every report is a node with
    one state a level, its table the noisy-MAX of its parents; a doubtful report is soft evidence.

    With `fold_negatives` reports of "not seen" become soft evidence on the conditions, which a general engine needs
    to get through at all.
    """
    net = pyagrum.BayesNet()
    evidence: dict[str, object] = {}
    soft = dict.fromkeys(model.conditions, 1.0)
    for condition in model.conditions:
        net.add(pyagrum.LabelizedVariable(condition, "", ["no", "yes"]))
    for condition in model.conditions:
        for parent in model.parents[condition]:
            net.addArc(parent, condition)
        for states in itertools.product((0, 1), repeat=len(model.parents[condition])):
            chosen = dict(zip(model.parents[condition], states, strict=True))
            odds = model.odds[condition] * model.received(condition, [p for p, s in chosen.items() if s])
            net.cpt(condition)[chosen] = [1.0 / (1.0 + odds), odds / (1.0 + odds)]
    for report in model.reports:
        if fold_negatives and report.level == 0:
            for condition in model.conditions:
                soft[condition] *= 1.0 - report.strength[condition][0]
            continue
        _add_report(net, evidence, model, report)
    for condition, factor in soft.items():
        if factor != 1.0:
            evidence[condition] = [1.0, factor]
    return net, evidence


def _add_report(net: pyagrum.BayesNet, evidence: dict[str, object], model: RowsModel, report: Report) -> None:
    name = "+".join(report.findings)
    levels = len(report.leak)
    net.add(pyagrum.RangeVariable(name, "", 0, levels))
    causes = [condition for condition in model.conditions if any(report.strength[condition])]
    for condition in causes:
        net.addArc(condition, name)
    for states in itertools.product((0, 1), repeat=len(causes)):
        chosen = dict(zip(causes, states, strict=True))
        present = [condition for condition, state in chosen.items() if state]
        under = [0.0, *(report.below(present, level) for level in range(1, levels + 1)), 1.0]
        net.cpt(name)[chosen] = [high - low for low, high in itertools.pairwise(under)]
    if report.missed > 0.0:
        evidence[name] = [report.missed if level < report.level else 1.0 for level in range(levels + 1)]
    else:
        evidence[name] = report.level


def posterior(model: RowsModel, fold_negatives: bool = False) -> tuple[dict[str, float], float]:
    """(probability of each condition, probability of the evidence) by pyAgrum's exact lazy propagation."""
    net, evidence = network(model, fold_negatives)
    engine = pyagrum.LazyPropagation(net)
    engine.setEvidence(evidence)
    engine.makeInference()
    chances = {condition: float(engine.posterior(condition)[1]) for condition in model.conditions}
    return chances, float(engine.evidenceProbability())
