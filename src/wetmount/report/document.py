"""What a report says, before it is a page, a print or a message: sections of a few kinds of blocks.

All three writers print this one structure, so that they say the same. Drawings carry their words: whoever cannot see
one reads them instead.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeAlias

from msgspec import Struct


class Block(Struct, frozen=True, tag_field="kind", tag=str.lower):
    """A part of a section. In JSON its kind is the class name in lower case."""


class Span(Struct, frozen=True):
    """A run of words, strong or not."""

    text: str
    strong: bool = False


class Paragraph(Block, frozen=True):
    """Running words; `quiet` for the second voice."""

    spans: tuple[Span, ...]
    quiet: bool = False


class Heading(Block, frozen=True):
    """A heading within a section."""

    text: str


class Points(Block, frozen=True):
    """A list, numbered when its order matters; short lines may stand two and two (`columns`)."""

    items: tuple[str, ...]
    numbered: bool = False
    columns: int = 1


class Field(Block, frozen=True):
    """One finding: the kind of round field (see `charts.FIELDS`), its words, and how it came about."""

    field: str
    text: str
    trace: str = ""


class Fields(Block, frozen=True):
    """A list of findings, one below the other or two and two."""

    items: tuple[Field, ...]
    columns: int = 1


class Drawing(Block, frozen=True):
    """A drawing as SVG, and the words that say the same."""

    svg: str
    words: str


class Bar(Struct, frozen=True):
    """One cause: name, drawing, its chance in words, and below it how far the tables leave it open."""

    name: str
    drawing: Drawing
    words: str
    firm: str


class Bars(Block, frozen=True):
    """Causes in rank order."""

    items: tuple[Bar, ...]


Cell: TypeAlias = str | Field | Drawing


class Table(Block, frozen=True):
    """A table with a heading a column; `shares` are the widths of the columns relative to each other."""

    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    shares: tuple[float, ...]
    caption: str = ""


class Warn(Struct, frozen=True):
    """A caution: severity (stop | care | note), its text, why it is here, and the numbers of its sources."""

    severity: str
    text: str
    because: str
    sources: str


class Warns(Block, frozen=True):
    """Cautions, the gravest first."""

    items: tuple[Warn, ...]


class Facts(Block, frozen=True):
    """Labelled facts: (label, words); an empty label goes on with the one above."""

    items: tuple[tuple[str, str], ...]


class Entries(Block, frozen=True):
    """Labelled lines, such as the bibliography: (label, text)."""

    items: tuple[tuple[str, str], ...]


class Section(Struct, frozen=True):
    """A part of the report with a heading. `key` names it for writers and tests."""

    key: str
    title: str
    blocks: tuple[Block, ...]


class Head(Struct, frozen=True):
    """The slide at the top: its frosted end (`end`, `end_below`), the title, and the lines above and below it."""

    end: str
    end_below: str
    above: str
    title: str
    below: str


class Document(Struct, frozen=True):
    """A whole report.

    `urgent` is first aid, before everything else. `probably` takes the width of the first page; the `four` that follow
    (seen, today, watch, write) stand two and two; `care` closes it. `pages` come after.
    """

    language: str
    title: str
    description: str
    teaching: bool
    head: Head
    urgent: Section | None
    probably: Section
    four: tuple[Section, Section, Section, Section]
    care: Section
    footer: str
    running: str
    pages: tuple[Section, ...]
    message: tuple[MessageLine, ...]

    def sections(self) -> Iterator[Section]:
        """Every section in reading order."""
        if self.urgent is not None:
            yield self.urgent
        yield self.probably
        yield from self.four
        yield self.care
        yield from self.pages


class MessageLine(Struct, frozen=True):
    """A line of the message: lower `rank` is kept first when room is short; lines of one `group` stand together."""

    rank: int
    group: str
    text: str
