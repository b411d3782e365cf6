"""Published case reports run through the weigh-up, beside two honest baselines.

    python -m validation.published [--write]      the figures and every case; --write renews validation/results

Rules, decided once before any figure was seen:
- what only a laboratory could tell is hidden: culture, PCR, histology, and signs that the report read on sections;
- a level that the report does not grade is entered as it stands in the table, with sure = "fairly": the weigh-up reads
  that as "this level or above, or else a false report", weighed by the row of the table `sureness`;
- a confirmed condition counts as found first when the leading cause is one of the confirmed, and among three when one
  of the first three is;
- the log score is the mean, over all confirmed conditions, of the natural log of the probability given to it.
"""

from __future__ import annotations

import csv
import datetime
import json
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wetmount.casefile import read_case_text
from wetmount.evidence import Evidence, gather_evidence
from wetmount.reference import Reference, load_reference
from wetmount.weighup.pose import pose, reduce_terms
from wetmount.weighup.sweep import sweep

TABLE = Path(__file__).parents[1] / "tests" / "data" / "published_cases.csv"
DOCS = Path(__file__).parents[1] / "docs" / "validation.md"
RESULTS = Path(__file__).parent / "results" / "published_cases.json"
SEED, RESAMPLES = 20261124, 5000
LEAST = 1e-4
"""Probabilities below this are scored as this, so that one miss does not decide the mean."""

Ranked = dict[str, float]
"""Condition id to the probability that ranks it."""


@dataclass(frozen=True)
class Published:
    """One case as published: facts only."""

    id: str
    source: str
    host_group: str
    temperature_c: float | None
    findings: Mapping[str, str]
    ungraded: frozenset[str]
    from_histology: frozenset[str]
    laboratory: Mapping[str, str]
    confirmed: frozenset[str]


def published_cases() -> list[Published]:
    """The test table."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return [
            Published(
                id=row["id"],
                source=row["source"],
                host_group=row["host_group"],
                temperature_c=float(row["temperature_c"]) if row["temperature_c"] else None,
                findings=_pairs(row["findings"]),
                ungraded=_listed(row["ungraded"]),
                from_histology=_listed(row["from_histology"]),
                laboratory=_pairs(row["laboratory"]),
                confirmed=_listed(row["confirmed"]),
            )
            for row in csv.DictReader(file)
        ]


def _pairs(text: str) -> dict[str, str]:
    return dict(part.split("=", 1) for part in text.split(";")) if text else {}


def _listed(text: str) -> frozenset[str]:
    return frozenset(part for part in text.split(";") if part)


def case_data(case: Published) -> dict[str, object]:
    """The case file that a practitioner without a laboratory would have written."""
    findings: dict[str, object] = {}
    for id, level in case.findings.items():
        if id not in case.from_histology:
            findings[id] = {"level": level, "sure": "fairly"} if id in case.ungraded else level
    data: dict[str, object] = {"format": 1, "host": {"group": case.host_group}, "findings": findings}
    if case.temperature_c is not None:
        data["readings"] = {"temperature": f"{case.temperature_c} C"}
    return data


def evidence_of(case: Published, reference: Reference) -> Evidence:
    """Its evidence, through the case file's own reader."""
    return gather_evidence(read_case_text(json.dumps(case_data(case)), "json", case.id, reference), reference)


def weighed(evidence: Evidence, reference: Reference) -> Ranked:
    """The weigh-up: probability of being present and responsible."""
    posed = pose(evidence, reference)
    posterior = sweep(posed.problem)
    score = posterior.responsible if posterior.responsible.any() else posterior.present
    return dict(zip(posed.network.conditions, map(float, score), strict=True))


def prior_only(evidence: Evidence, reference: Reference) -> Ranked:
    """Baseline: host, temperature and history, but no finding."""
    posed = pose(evidence, reference)
    posterior = sweep(reduce_terms(posed.network, posed.problem.odds, ()).problem)
    return dict(zip(posed.network.conditions, map(float, posterior.present), strict=True))


def one_cause(evidence: Evidence, reference: Reference) -> Ranked:
    """Baseline: exactly one condition is present; the same prior odds, strengths and leaks, findings independent."""
    posed = pose(evidence, reference)
    each = np.eye(len(posed.network.conditions))
    log_weight = np.log(posed.problem.odds)
    for term in posed.terms:
        log_weight = log_weight + np.log(np.maximum(term.likelihood(each), 1e-300))
    weight = np.exp(log_weight - log_weight.max())
    return dict(zip(posed.network.conditions, map(float, weight / weight.sum()), strict=True))


METHODS: dict[str, Callable[[Evidence, Reference], Ranked]] = {
    "weigh-up": weighed,
    "one-cause naive Bayes": one_cause,
    "prior only": prior_only,
}


@dataclass(frozen=True)
class Scored:
    """One case under one method: place of the best-placed confirmed condition (1 = first), the log scores of the
    confirmed, and the probability stated for the leading condition."""

    place: int
    logs: tuple[float, ...]
    leading: float


def score(ranked: Ranked, confirmed: frozenset[str]) -> Scored:
    """Places are counted pessimistically: a tie goes to the others."""
    best = max(ranked[id] for id in confirmed)
    place = 1 + sum(chance >= best for id, chance in ranked.items() if id not in confirmed)
    logs = tuple(float(np.log(max(LEAST, ranked[id]))) for id in sorted(confirmed))
    return Scored(place, logs, max(ranked.values()))


@dataclass(frozen=True)
class Figure:
    """A mean over cases with its 95 % percentile bootstrap interval over cases."""

    value: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.value:.2f} ({self.low:.2f} to {self.high:.2f})"


def figures(scores: Sequence[Scored]) -> dict[str, Figure]:
    """top-1, top-3, mean log score over all confirmed causes, over the cases with one confirmed cause only, and the
    mean probability stated for the leading cause (to hold against top-1)."""
    picks = np.random.default_rng(SEED).integers(0, len(scores), (RESAMPLES, len(scores)))
    place = np.array([one.place for one in scores])
    sums = np.array([sum(one.logs) for one in scores])
    sizes = np.array([len(one.logs) for one in scores])
    alone = np.flatnonzero(sizes == 1)
    single = np.random.default_rng(SEED).choice(alone, (RESAMPLES, len(alone)))
    stated = np.array([one.leading for one in scores])
    return {
        "top-1": _figure((place <= 1).mean(), (place <= 1)[picks].mean(axis=1)),
        "top-3": _figure((place <= 3).mean(), (place <= 3)[picks].mean(axis=1)),
        "log score": _figure(sums.sum() / sizes.sum(), sums[picks].sum(axis=1) / sizes[picks].sum(axis=1)),
        "log score, one cause": _figure(sums[alone].mean(), sums[single].mean(axis=1)),
        "stated for the leading": _figure(stated.mean(), stated[picks].mean(axis=1)),
    }


def _figure(value: float, resampled: np.ndarray) -> Figure:
    low, high = np.percentile(resampled, [2.5, 97.5])
    return Figure(float(value), float(low), float(high))


def run(reference: Reference) -> dict[str, list[Scored]]:
    """Every case under every method."""
    cases = published_cases()
    looked = [evidence_of(case, reference) for case in cases]
    return {
        name: [score(method(e, reference), case.confirmed) for e, case in zip(looked, cases, strict=True)]
        for name, method in METHODS.items()
    }


def tables(reference: Reference) -> str:
    """The figures and the cases, in Markdown."""
    scored = run(reference)
    names = list(figures(next(iter(scored.values()))))
    lines = [f"| method | {' | '.join(names)} |", "| --- " * (len(names) + 1) + "|"]
    for name, scores in scored.items():
        lines.append(f"| {name} | {' | '.join(str(figure) for figure in figures(scores).values())} |")
    lines += ["", "| case | confirmed | place of the best confirmed | its probability | leading | of |"]
    lines += ["| --- | --- | --- | --- | --- | --- |"]
    for case, one in zip(published_cases(), scored["weigh-up"], strict=True):
        ranked = weighed(evidence_of(case, reference), reference)
        first = max(ranked, key=lambda id: ranked[id])
        chances = ", ".join(f"{ranked[id]:.2f}" for id in sorted(case.confirmed))
        names = ", ".join(sorted(case.confirmed))
        lines.append(f"| {case.id} | {names} | {one.place} | {chances} | {first} | {ranked[first]:.2f} |")
    return "\n".join(lines)


def main() -> None:
    """Print the report, and write it when asked to."""
    reference = load_reference()
    head = f"Reference {reference.version}, {len(published_cases())} cases, bootstrap seed {SEED}."
    text = f"{head}\n\n{tables(reference)}\n"
    print(text)
    if "--write" in sys.argv:
        methods = {
            name: {key: [round(f.value, 4), round(f.low, 4), round(f.high, 4)] for key, f in figures(scores).items()}
            for name, scores in run(reference).items()
        }
        stored = {"reference": reference.version, "seed": SEED, "methods": methods}
        RESULTS.write_text(json.dumps(stored, indent=2) + "\n", encoding="utf-8")
        today = datetime.date.today().isoformat()
        RESULTS.with_suffix(".md").write_text(f"# Published cases\n\n{today}. {text}", encoding="utf-8")
        before, rest = DOCS.read_text(encoding="utf-8").split("<!-- published -->\n", 1)
        figures_only = text.split("\n\n| case |")[0]
        after = rest.split("<!-- end -->", 1)[1]
        DOCS.write_text(f"{before}<!-- published -->\n{today}. {figures_only}\n<!-- end -->{after}", encoding="utf-8")


if __name__ == "__main__":
    main()
