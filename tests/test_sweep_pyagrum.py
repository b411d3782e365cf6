"""The weigh-up against pyAgrum's exact inference (lazy propagation): an independent general library.

Restricted parts of the real reference: some conditions with all their rates, arcs, links, leaks, host, temperature and
history risks. The second model is written from the rows (`validation.rows_model`), the first is the package's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from msgspec import structs
from validation.enumeration import enumerate_model
from validation.rows_model import RowsModel, restricted, rows_model

from wetmount.evidence import Evidence, Observation
from wetmount.reference import Reference, load_reference
from wetmount.weighup import weigh_up
from wetmount.weighup.pose import network_of

# pyAgrum's wheel takes the OpenMP library of the system, which a bare Debian lacks.
agrum = pytest.importorskip("validation.agrum", reason="needs libgomp.so.1 (Debian: libgomp1)", exc_type=ImportError)


@cache
def random_part(seed: int, conditions: int = 9, findings: int = 14) -> Reference:
    """Conditions that are joined by arcs where possible, and findings that several of them can bring."""
    reference = load_reference()
    rng = np.random.default_rng(seed)
    kept: list[str] = []
    arcs = [arc for arc in reference.predispositions if arc.odds >= 2.0]
    while len(kept) < conditions:
        arc = arcs[rng.integers(len(arcs))]
        kept += [id for id in (arc.parent, arc.condition) if id not in kept]
        other = list(reference.conditions)[rng.integers(len(reference.conditions))]
        kept += [other] if other not in kept else []
    kept = kept[:conditions]
    linked: dict[str, int] = {}
    for link in reference.links:
        row = reference.findings[link.finding]
        if link.condition in kept and link.level == 1 and row.kind != "cause" and not row.unwell:
            linked[link.finding] = linked.get(link.finding, 0) + 1
    shared = sorted(linked, key=lambda id: (-linked[id], id))[: 2 * findings]
    chosen = set(rng.choice(shared, size=min(findings, len(shared)), replace=False))
    history = {id for id, row in reference.findings.items() if row.kind == "cause"}
    return restricted(reference, kept, chosen | history)


def random_evidence(reference: Reference, seed: int) -> Evidence:
    """3 to 8 findings seen at some level, more or less surely, and others looked for and not seen."""
    rng = np.random.default_rng(seed)
    open_to = [id for id, row in reference.findings.items() if row.kind != "cause"]
    order = [str(id) for id in rng.permutation(open_to)]
    positives = int(rng.integers(3, 9))
    observations = []
    for place, id in enumerate(order):
        levels = len(reference.findings[id].levels) - 1
        level = int(rng.integers(1, levels + 1)) if place < positives else 0
        sure = str(rng.choice(["sure", "sure", "fairly", "doubtful"]))
        detection = tuple(float(x) for x in np.sort(rng.uniform(0.3, 1.0, levels)))
        observations.append(Observation(id, level, sure, detection, ()))
    history = [id for id, row in reference.findings.items() if row.kind == "cause"]
    asked = rng.choice(history, size=4, replace=False)
    answers = {str(id): bool(rng.random() < 0.5) for id in asked}
    return evidence(
        observations,
        answers,
        host_group=str(rng.choice(["koi", "goldfish", "discus", "livebearer", "tetra", "corydoras", "marine"])),
        temperature_c=float(rng.uniform(8, 30)),
    )


def evidence(
    observations: list[Observation],
    answers: Mapping[str, bool] | None = None,
    host_group: str | None = None,
    temperature_c: float | None = None,
) -> Evidence:
    return Evidence(host_group, None, temperature_c, tuple(observations), answers or {}, (), (), {}, None)


def second_model(reference: Reference, looked: Evidence) -> RowsModel:
    network = network_of(reference)
    base = dict(zip(network.conditions, (float(odds) for odds in network.base_odds), strict=True))
    return rows_model(reference, looked, base)


@pytest.mark.parametrize("seed", range(12))
def test_equal_to_lazy_propagation_on_parts_of_the_reference(seed: int) -> None:
    reference = random_part(seed)
    looked = random_evidence(reference, seed)
    chances, total = agrum.posterior(second_model(reference, looked))
    weighed = weigh_up(looked, reference, firmness=False, examinations=False)
    assert weighed.exact
    assert weighed.log_evidence == pytest.approx(np.log(total), abs=1e-9)
    for result in weighed.conditions:
        assert result.probability == pytest.approx(chances[result.id], abs=1e-9), result.id


@pytest.mark.parametrize("seed", range(8))
def test_responsible_equal_to_enumeration_on_parts_of_the_reference(seed: int) -> None:
    """Two independent ways at once: enumeration from the rows, and pyAgrum from the same rows."""
    reference = random_part(100 + seed)
    looked = random_evidence(reference, seed)
    exact = enumerate_model(second_model(reference, looked))
    chances, _ = agrum.posterior(second_model(reference, looked), fold_negatives=True)
    weighed = weigh_up(looked, reference, firmness=False, examinations=False)
    assert weighed.log_evidence == pytest.approx(np.log(exact.evidence), abs=1e-10)
    for result in weighed.conditions:
        assert result.probability == pytest.approx(exact.present[result.id], abs=1e-10), result.id
        assert result.responsible == pytest.approx(exact.responsible[result.id], abs=1e-10), result.id
        assert chances[result.id] == pytest.approx(exact.present[result.id], abs=1e-9), result.id


def test_all_predisposing_arcs_of_the_reference_keep_the_rates() -> None:
    """pyAgrum on every condition and arc of the reference: with nothing known each marginal is its table's rate."""
    reference = load_reference()
    chances, _ = agrum.posterior(second_model(reference, evidence([])))
    for id, row in reference.conditions.items():
        assert chances[id] == pytest.approx(row.rate, abs=1e-9), id
    for result in weigh_up(evidence([]), reference, firmness=False, examinations=False).conditions:
        assert result.probability == pytest.approx(reference.conditions[result.id].rate, abs=1e-9)
        assert result.prior == pytest.approx(reference.conditions[result.id].rate, abs=1e-9)


@pytest.mark.parametrize("host", ["koi", "discus", "marine"])
def test_prior_of_host_water_and_history_equal_to_lazy_propagation(host: str) -> None:
    """Every condition of the reference with host, temperature and history, no finding yet."""
    reference = load_reference()
    answers = {"recent_introduction": True, "mixed_origin": False, "crowded": True, "new_system": False}
    looked = evidence([], answers, host, 12.0)
    chances, _ = agrum.posterior(second_model(reference, looked))
    for result in weigh_up(looked, reference, firmness=False, examinations=False).conditions:
        assert result.probability == pytest.approx(chances[result.id], abs=1e-9), result.id
        assert result.prior == pytest.approx(chances[result.id], abs=1e-9), result.id


@pytest.mark.parametrize("seed", range(6))
def test_equal_to_lazy_propagation_on_random_tables(seed: int) -> None:
    """Random rates, arcs, strengths and leaks in place of the reference's own."""
    real = random_part(seed, conditions=8)
    rng = np.random.default_rng(1000 + seed)

    def graded(rows: tuple) -> tuple:  # type: ignore[type-arg]
        """New probabilities that do not rise with the level."""
        top: dict[tuple[str, str], float] = {}
        new = []
        for row in sorted(rows, key=lambda r: r.level):
            key = (getattr(row, "condition", ""), row.finding)
            top[key] = float(rng.uniform(0.01, 0.9)) * top.get(key, 1.0)
            new.append(structs.replace(row, probability=top[key]))
        return tuple(new)

    conditions = {id: structs.replace(row, rate=float(rng.uniform(0.01, 0.4))) for id, row in real.conditions.items()}
    names = list(conditions)
    arc = load_reference().predispositions[0]
    arcs = tuple(
        structs.replace(arc, condition=names[child], parent=names[parent], odds=float(rng.uniform(2, 5)))
        for child in range(len(names))
        for parent in range(child)
        if rng.random() < 0.35
    )
    reference = replace(
        real, conditions=conditions, links=graded(real.links), leaks=graded(real.leaks), predispositions=arcs
    )
    looked = random_evidence(reference, seed)
    chances, total = agrum.posterior(second_model(reference, looked))
    weighed = weigh_up(looked, reference, firmness=False, examinations=False)
    assert weighed.log_evidence == pytest.approx(np.log(total), abs=1e-9)
    for result in weighed.conditions:
        assert result.probability == pytest.approx(chances[result.id], abs=1e-9), result.id
