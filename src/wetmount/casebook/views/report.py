"""The report of a look: the keeper's document, the message to copy, the teaching edition; on screen, as PDF or file."""

from __future__ import annotations

import msgspec
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_GET

from wetmount.casebook.access import case_or_404
from wetmount.casebook.models import Case, Look
from wetmount.casebook.services.cases import set_step
from wetmount.casebook.services.preferences import PAPERS, Preferences, practice_reference, preferences
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.services.weighing import STAGES, CannotWeigh, ready, weighed
from wetmount.casebook.shell import case_context
from wetmount.casebook.tracing_told import for_report
from wetmount.casebook.views.entry_places import chosen_look
from wetmount.report.composing import compose
from wetmount.report.document import Document, MessageLine
from wetmount.report.message import message_text
from wetmount.report.page import page_body
from wetmount.report.words import short
from wetmount.report.write import report_bytes

TYPES = {"pdf": "application/pdf", "html": "text/html; charset=utf-8", "txt": "text/plain; charset=utf-8"}
FROM = "from the bench."
"""How the document's head ends when no practice has a name."""


@require_GET
def report(request: HttpRequest, number: int) -> HttpResponse:
    """The report on screen; `edition=teaching` for the one without names."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    chosen = preferences()
    set_step(case, "report")
    teaching = request.GET.get("edition") == "teaching"
    context = case_context(request, case, "report", look)
    context |= {"looks": list(case.looks.all()), "teaching": teaching, "paper": chosen.paper, "papers": PAPERS}
    try:
        document = _document(case, look, chosen, teaching)
    except CannotWeigh as error:
        return render(request, "casebook/weigh/cannot.html", context | {"problems": error.problems})
    if document is None:
        return render(request, "casebook/report/nothing.html", context)
    context |= {
        "sheets": mark_safe(page_body(document)),
        "message": message_text(document),
        "practice": chosen.practice,
    }
    return render(request, "casebook/report/report.html", context)


@require_GET
def file(request: HttpRequest, number: int) -> HttpResponse:
    """The report as a file to keep or send: `as` pdf, html or txt; `paper` a4 or letter."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    chosen = preferences()
    kind = request.GET.get("as", "pdf")
    paper = request.GET.get("paper", chosen.paper)
    if kind not in TYPES or paper not in PAPERS:
        raise Http404
    teaching = request.GET.get("edition") == "teaching"
    try:
        document = _document(case, look, chosen, teaching)
    except CannotWeigh as error:
        raise Refused(str(error)) from None
    if document is None:
        raise Refused("Nothing was looked at in this look yet, so there is nothing to report.")
    try:
        content = report_bytes(document, f".{kind}", "letter" if paper == "letter" else "a4")
    except ModuleNotFoundError:
        raise Refused("The PDF needs one more package: pip install 'wetmount[report]'.") from None
    name = "-".join(
        part for part in ("teaching" if teaching else f"case-{number}", look.on.isoformat() if look.on else "") if part
    )
    response = HttpResponse(content, content_type=TYPES[kind])
    response.headers["Content-Disposition"] = f'attachment; filename="{name}.{kind}"'
    return response


def _document(case: Case, look: Look, chosen: Preferences, teaching: bool) -> Document | None:
    """The report on the look, signed with the practice's name; None when nothing was looked at."""
    tables = practice_reference(chosen)
    asked = ready(case, look, tables)
    if asked.nothing_entered:
        return None
    weighup = weighed(look, asked, *STAGES).weighup
    origin = None if teaching else for_report(case)
    document = compose(asked.record, weighup, tables, teaching=teaching, origin=origin)
    return document if teaching or not chosen.practice else _signed(document, chosen.practice)


def _signed(document: Document, practice: str) -> Document:
    """The document with the practice's name where "the bench" stands, and at the end of the message."""
    head = document.head
    below = head.below.removesuffix(FROM) + f"from {practice}."
    return msgspec.structs.replace(
        document,
        head=msgspec.structs.replace(head, below=below),
        message=(*document.message, MessageLine(0, "end", short(practice, 100))),
    )
