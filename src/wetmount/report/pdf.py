"""The printed report: accessible PDF (PDF/UA-1) by Typst, in a font that comes with the package of its name."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import fontpkg_atkinson_hyperlegible
import msgspec
import typst

from wetmount import charts
from wetmount.report.document import Document

TEMPLATE: Final = Path(__file__).with_name("report.typ")
FONTS: Final = fontpkg_atkinson_hyperlegible.ROOT / "files"
STAND_IN: Final = "?"
"""Printed for a character that no font at hand has, rather than an empty box."""

_MISSING: Final = re.compile(r"the text `\"(.+?)\"` could not be displayed")


def pdf_bytes(document: Document, paper: str = "a4") -> bytes:
    """The document as PDF/UA-1 on `paper` (a4 or letter). The same document gives the same bytes."""
    data = msgspec.json.encode(document).decode()
    try:
        return _compile(data, paper)
    except typst.TypstError as error:
        # The standard refuses a character without a glyph; a name in a script the fonts lack must not cost the report.
        missing = set("".join(_MISSING.findall(error.diagnostic)))
        if not missing:
            raise
        return _compile(data.translate({ord(character): STAND_IN for character in missing}), paper)


def _compile(data: str, paper: str) -> bytes:
    compiled: bytes = _compiler().compile(
        format="pdf",
        pdf_standards=["ua-1"],
        sys_inputs={"document": data, "paper": {"a4": "a4", "letter": "us-letter"}[paper], "fields": _round_fields()},
    )
    return compiled


@lru_cache(maxsize=1)
def _round_fields() -> str:
    return msgspec.json.encode({kind: charts.field(kind) for kind in charts.FIELDS}).decode()


@lru_cache(maxsize=1)
def _compiler() -> Any:
    return typst.Compiler(str(TEMPLATE), font_paths=[str(FONTS)], ignore_system_fonts=True)
