"""Writing a report to a file, whole or not at all; the ending of the file decides what it is."""

from __future__ import annotations

from pathlib import Path
from typing import Final, Literal

from wetmount.case import Case
from wetmount.errors import InputError
from wetmount.files import write_whole
from wetmount.reference import Reference
from wetmount.report.composing import compose
from wetmount.report.document import Document
from wetmount.report.message import message_text
from wetmount.weighup.results import WeighUp

Paper = Literal["a4", "letter"]
ENDINGS: Final = (".pdf", ".html", ".txt")


def write_report(
    case: Case,
    weighup: WeighUp,
    reference: Reference,
    path: str | Path,
    *,
    teaching: bool = False,
    paper: Paper = "a4",
) -> None:
    """Write the report on a weighed case to `path`: .pdf (accessible, on `paper`), .html (one file), .txt (a message).

    Raises InputError for another ending or when the file cannot be written, ModuleNotFoundError when a library of the
    extra `report` is not installed. A file of that name is replaced only by a whole new one.
    """
    path = Path(path)
    if path.suffix.lower() not in ENDINGS:
        raise InputError(f"has an ending that is no report; use {', '.join(ENDINGS)}", file=str(path))
    document = compose(case, weighup, reference, teaching=teaching)
    write_whole(path, report_bytes(document, path.suffix.lower(), paper))


def report_bytes(document: Document, ending: str, paper: Paper = "a4") -> bytes:
    """The document as a file of this ending holds it."""
    if ending == ".pdf":
        from wetmount.report.pdf import pdf_bytes

        return pdf_bytes(document, paper)
    if ending == ".html":
        from wetmount.report.page import page_html

        return page_html(document).encode("utf-8")
    return message_text(document).encode("utf-8")
