"""Published case reports: the weigh-up against prior only and against one-cause naive Bayes.

The reports and the facts taken from them stand in `tests/data/published_cases.csv`. What only a laboratory could tell
is hidden. The figures are what they are (`docs/validation.md`): the tables are not fitted to these sixteen cases.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from validation.published import METHODS, RESULTS, Scored, evidence_of, figures, published_cases, run

from wetmount.reference import load_reference


@pytest.fixture(scope="module")
def scored() -> dict[str, list[Scored]]:
    return run(load_reference())


def test_every_case_stands_in_the_vocabulary() -> None:
    reference = load_reference()
    cases = published_cases()
    assert len(cases) == 16
    for case in cases:
        assert case.confirmed <= set(reference.conditions), case.id
        assert case.host_group in reference.host_groups
        assert case.ungraded | case.from_histology <= set(case.findings)


def test_laboratory_and_histology_are_hidden() -> None:
    reference = load_reference()
    hidden = 0
    for case in published_cases():
        used = {o.finding for o in evidence_of(case, reference).observations}
        assert not any(reference.findings[id].kind == "laboratory" for id in used)
        assert not used & (case.from_histology | set(case.laboratory))
        hidden += len(case.from_histology) + len(case.laboratory)
    assert hidden > 10


def test_better_than_prior_only(scored: dict[str, list[Scored]]) -> None:
    """Findings must help, clearly: the intervals of top-1 and top-3 do not touch those of the prior."""
    weighed, prior = figures(scored["weigh-up"]), figures(scored["prior only"])
    for figure in ("top-1", "top-3", "log score"):
        assert weighed[figure].value > prior[figure].value
    assert weighed["top-3"].low > prior["top-3"].high


@pytest.mark.parametrize("method", list(METHODS))
def test_figures_are_the_published_ones(method: str, scored: dict[str, list[Scored]]) -> None:
    """The figures in `validation/results` are those of these tables; refresh them with
    `python -m validation.published --write` when rows change, never by hand."""
    stored = json.loads(Path(RESULTS).read_text(encoding="utf-8"))["methods"][method]
    for name, figure in figures(scored[method]).items():
        tolerance = 0.001 if name.startswith("top") else 0.05
        assert figure.value == pytest.approx(stored[name][0], abs=tolerance), name
