"""The plan in the report: all three writers print it, with the cautions of its agents; without one nothing is new."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest
from msgspec import structs

sys.path.insert(0, str(Path(__file__).parent))  # the tests are no package

from test_plan_record import FILE, PLAN, REFERENCE
from test_report import flat, html_words, pdf_of, pdf_text
from wetmount.case import Case, Plan, PlanStep, looks_of
from wetmount.casefile import read_case_text
from wetmount.cautions import triggers_of
from wetmount.evidence import gather_evidence
from wetmount.report import compose
from wetmount.report.document import Document
from wetmount.report.message import LONGEST, message_text
from wetmount.weighup import weigh_up
from wetmount.weighup.results import WeighUp


@pytest.fixture(scope="module")
def case() -> Case:
    return read_case_text(FILE.read_text(encoding="utf-8") + PLAN, "toml", "case.toml", REFERENCE)


@pytest.fixture(scope="module")
def weighed(case: Case) -> WeighUp:
    return weigh_up(gather_evidence(case, REFERENCE), REFERENCE, firmness=False, examinations=False)


@pytest.fixture(scope="module")
def document(case: Case, weighed: WeighUp) -> Document:
    return compose(case, weighed, REFERENCE)


def test_page_print_and_message_say_the_plan(document: Document) -> None:
    page, printed = html_words(document), flat(pdf_text(pdf_of(document)))
    for words in (
        "Chosen on 3 October 2026 by the bench: nitrite first.",
        "Change a quarter of the water",
        "21 g of pure",
        "5 October 2026, 7 October 2026",
        "2 givings where the table has 1",
        "One origin to a system",
        "1 to 2 days",
        "Because of sodium chloride",
    ):
        assert flat(words) in flat(page), words
        assert flat(words) in printed, words
    message = message_text(document)
    assert len(message) <= LONGEST
    assert "21 g of pure" in message
    assert "Change a quarter of the water" in message
    assert "14 October 2026, as planned" in page


def test_the_keeper_still_has_one_page(document: Document) -> None:
    reader = pdf_of(document)
    first = reader.pages[0].extract_text()
    assert "21 g" in first
    assert "Take care of yourself" in first, "all of the first page is on the first page"


def test_without_a_choice_there_is_no_plan(case: Case, weighed: WeighUp, document: Document) -> None:
    bare = structs.replace(case, plan=Plan(volume="660 L"))
    without = compose(bare, weighed, REFERENCE)
    keys = [section.key for section in without.sections()]
    assert "plan" not in keys
    assert "prevention" not in keys
    assert "No medicine on the word of this sheet" in html_words(without)
    assert "No medicine on the word of this sheet" not in html_words(document)


def test_the_teaching_edition_has_no_free_text_of_the_plan(case: Case, weighed: WeighUp) -> None:
    own = PlanStep(text="Ask Mr Smith of Pond Lane", urgency="lasting")
    plan = structs.replace(
        looks_of(case)[-1].plan, why="as Mr Smith wants", by="Mr Smith", steps=(*case.plan.steps, own)
    )  # type: ignore[union-attr]
    teaching = html_words(compose(structs.replace(case, plan=plan), weighed, REFERENCE, teaching=True))
    assert "Smith" not in teaching
    assert "Change a quarter of the water" not in teaching, "the edit is free text; the table's words stand instead"
    assert "bring chloride to ten times the nitrite" in teaching
    assert "own words" in teaching
    assert "day 0" in teaching


AGENTS = sorted(
    trigger
    for caution in REFERENCE.cautions.values()
    if caution.trigger_kind == "agent"
    for trigger in triggers_of(caution)
    if trigger in REFERENCE.doses
)


@pytest.mark.parametrize("agent", AGENTS)
def test_every_agent_brings_its_cautions(agent: str, case: Case, weighed: WeighUp) -> None:
    step = PlanStep(text="x", kind="treat", option=agent)
    plan = Plan(by="the bench", why="a test", steps=(step,))
    words = flat(html_words(compose(structs.replace(case, plan=plan), weighed, REFERENCE)))
    wanted = [
        caution
        for caution in REFERENCE.cautions.values()
        if caution.trigger_kind == "agent" and {agent, "any"} & set(triggers_of(caution))
    ]
    assert wanted
    for caution in wanted:
        assert flat(caution.text) in words, caution.id
    assert "Noamount" in words or re.search(r"\d(g|mL)of", words)
