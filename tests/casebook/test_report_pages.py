"""The report on screen and as a file: the document the core composes, signed by the practice, safe to send."""

from __future__ import annotations

import re
from html import unescape

import pytest
from django.test import Client

from wetmount.casebook.models import Case, Device, Look
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, preferences
from wetmount.casebook.services.records import case_record
from wetmount.evidence import gather_evidence
from wetmount.report.composing import compose
from wetmount.report.document import Document
from wetmount.report.message import LONGEST, message_text
from wetmount.weighup import weigh_up


@pytest.fixture
def document(weighable: Look) -> Document:
    record = case_record(weighable.case)
    return compose(record, weigh_up(gather_evidence(record, reference()), reference()), reference())


def text_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def test_the_page_holds_the_document_and_the_message(browser: Client, case: Case, document: Document) -> None:
    page = browser.get(f"/case/{case.number}/report/").content.decode()
    said = text_of(page)
    for section in document.sections():
        assert section.title in said
    area = re.search(r"<textarea[^>]*>(.*?)</textarea>", page, re.S)
    assert area is not None
    assert unescape(area[1]) == message_text(document)
    assert "style=" not in page.split('<div class="sheets">')[1]


def test_the_practice_signs_the_keepers_document_and_not_the_teaching_edition(
    browser: Client, case: Case, document: Document
) -> None:
    preferences.keep(practice="Quay & <Sons>")
    page = browser.get(f"/case/{case.number}/report/").content.decode()
    assert "from Quay &amp; &lt;Sons&gt;." in page
    assert "from the bench." not in page
    message = browser.get(f"/case/{case.number}/report/file/?as=txt").content.decode()
    assert message.rstrip().endswith("Quay & <Sons>")
    assert len(message) <= LONGEST
    teaching = browser.get(f"/case/{case.number}/report/?edition=teaching").content.decode()
    assert "Quay" not in teaching.split('<div class="sheets">')[1]
    assert "Harbour Row" not in teaching.split('<div class="sheets">')[1]
    whole = browser.get(f"/case/{case.number}/report/file/?as=txt&edition=teaching").content.decode()
    assert "Quay" not in whole


@pytest.mark.parametrize(("paper", "points"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_the_pdf_is_on_the_paper_asked_for(
    browser: Client, case: Case, weighable: Look, paper: str, points: tuple[int, int]
) -> None:
    from io import BytesIO

    from pypdf import PdfReader

    preferences.keep(paper=paper)
    response = browser.get(f"/case/{case.number}/report/file/")
    assert response["Content-Type"] == "application/pdf"
    assert response["Content-Disposition"] == f'attachment; filename="case-{case.number}-2026-10-03.pdf"'
    first = PdfReader(BytesIO(response.content)).pages[0]
    # A4 is 210 by 297 mm (ISO 216), US Letter 8.5 by 11 inches (ANSI/ASME Y14.1)
    assert (round(float(first.mediabox.width)), round(float(first.mediabox.height))) == points
    assert "Rainbowfish rubbing" in first.extract_text()


def test_one_page_to_send_holds_everything(browser: Client, case: Case, weighable: Look) -> None:
    response = browser.get(f"/case/{case.number}/report/file/?as=html")
    assert response["Content-Disposition"].startswith("attachment")
    assert "<script" not in response.content.decode()


def test_a_look_without_findings_has_no_report(browser: Client, case: Case) -> None:
    assert "nothing to report" in browser.get(f"/case/{case.number}/report/").content.decode()
    assert browser.get(f"/case/{case.number}/report/file/").status_code == 422


def test_what_is_not_there_strangers_and_wrong_methods(
    browser: Client, phone_browser: Client, stranger: Client, case: Case, weighable: Look
) -> None:
    for address in ("report/", "report/file/?as=txt"):
        assert phone_browser.get(f"/case/{case.number}/{address}").status_code == 200
        assert stranger.get(f"/case/{case.number}/{address}").status_code == 403
        assert browser.get(f"/case/77/{address}").status_code == 404
        assert browser.post(f"/case/{case.number}/{address}").status_code == 405
    for wrong in ("?as=exe", "?as=pdf&paper=a3", "?look=9999"):
        assert browser.get(f"/case/{case.number}/report/file/{wrong}").status_code == 404


def test_what_was_typed_is_text(browser: Client, device: Device, case: Case, weighable: Look) -> None:
    cases.change_case(device, case, title="</textarea><script>alert(1)</script>")
    page = browser.get(f"/case/{case.number}/report/").content.decode()
    assert "<script>alert" not in page
    assert page.count("</textarea>") == 1


def test_queries(browser: Client, case: Case, weighable: Look, django_assert_max_num_queries) -> None:  # type: ignore[no-untyped-def]
    browser.get(f"/case/{case.number}/report/")
    with django_assert_max_num_queries(35):
        browser.get(f"/case/{case.number}/report/")
