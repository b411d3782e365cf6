"""The report as one HTML file: no script, nothing fetched, readable on a phone and a wide screen, and it prints."""

from __future__ import annotations

from base64 import b64encode
from functools import lru_cache
from html import escape
from pathlib import Path
from typing import Final

import fontpkg_atkinson_hyperlegible

from wetmount import charts
from wetmount.report.document import (
    Bar,
    Bars,
    Block,
    Cell,
    Document,
    Drawing,
    Entries,
    Facts,
    Field,
    Fields,
    Heading,
    Paragraph,
    Points,
    Section,
    Span,
    Table,
    Warn,
    Warns,
)

STYLE: Final = Path(__file__).with_name("page.css")
FONTS: Final = {400: "AtkinsonHyperlegible-Regular.ttf", 700: "AtkinsonHyperlegible-Bold.ttf"}
SEVERITY: Final = {"stop": "Stop", "care": "Care", "note": "Note"}
# Only what the file itself holds may load: a name of a fish cannot smuggle anything in.
POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; font-src data:"


def page_html(document: Document) -> str:
    """The document as one self-contained HTML file."""
    return f"""<!doctype html>
<html lang="{escape(document.language)}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{POLICY}">
<meta name="description" content="{escape(document.description)}">
<title>{escape(document.title)}</title>
<style>
{_font_faces()}
{STYLE.read_text(encoding="utf-8")}</style>
</head>
<body>
<main>
{page_body(document)}
</main>
</body>
</html>
"""


def page_body(document: Document) -> str:
    """The document's sheets as HTML without a page around them; nothing in it needs a style or script of its own."""
    head = document.head
    four = "\n".join(_section(section) for section in document.four)
    urgent = _urgent(document.urgent) if document.urgent is not None else ""
    behind = "\n".join(_section(section) for section in document.pages)
    return f"""<article class="sheet first">
<header class="slide">
<p class="end"><b>{escape(head.end)}</b> <span>{escape(head.end_below)}</span></p>
<div class="body">
<p>{escape(head.above)}</p>
<h1>{escape(head.title)}</h1>
<p>{escape(head.below)}</p>
</div>
</header>
{urgent}
{_section(document.probably)}
<div class="four">
{four}
</div>
{_section(document.care)}
<p class="foot">{escape(document.footer)}</p>
</article>
<article class="sheet">
{behind}
</article>"""


def _section(section: Section, kind: str = "") -> str:
    name = f"s-{section.key}"
    blocks = "\n".join(_block(block) for block in section.blocks)
    return (
        f'<section class="{escape(f"{kind} {section.key}".strip())}" aria-labelledby="{name}">\n'
        f'<h2 id="{name}">{escape(section.title)}</h2>\n{blocks}\n</section>'
    )


def _urgent(section: Section) -> str:
    return _section(section, "aid")


def _block(block: Block) -> str:
    match block:
        case Paragraph(spans, quiet):
            opening = '<p class="quiet">' if quiet else "<p>"
            return f"{opening}{_spans(spans)}</p>"
        case Heading(text):
            return f"<h3>{escape(text)}</h3>"
        case Points(items, numbered, columns):
            tag, wide = "ol" if numbered else "ul", ' data-columns="2"' if columns > 1 else ""
            return f"<{tag}{wide}>{''.join(f'<li><span>{escape(item)}</span></li>' for item in items)}</{tag}>"
        case Fields(items, columns):
            wide = ' data-columns="2"' if columns > 1 else ""
            return f'<ul class="fields"{wide}>{"".join(f"<li>{_field(item)}</li>" for item in items)}</ul>'
        case Drawing():
            return f'<p class="drawing">{_drawing(block)}</p>'
        case Bars(items):
            return f'<ul class="bars">{"".join(_bar(item) for item in items)}</ul>'
        case Table():
            return _table(block)
        case Warns(items):
            return f'<ul class="warns">{"".join(_warn(item) for item in items)}</ul>'
        case Facts(items):
            lines = "".join(f"<dt>{escape(label)}</dt><dd>{escape(text)}</dd>" for label, text in items)
            return f'<dl class="facts">{lines}</dl>'
        case Entries(items):
            lines = "".join(f"<dt>{escape(label)}</dt><dd>{escape(text)}</dd>" for label, text in items)
            return f'<dl class="entries">{lines}</dl>'
    raise TypeError(f"no way to write a {type(block).__name__} as HTML")


def _spans(spans: tuple[Span, ...]) -> str:
    return "".join(f"<b>{escape(span.text)}</b>" if span.strong else escape(span.text) for span in spans)


def _field(item: Field) -> str:
    trace = f'. <span class="trace">{escape(item.trace)}</span>' if item.trace else ""
    return f'<span class="field">{_hidden_svg(charts.field(item.field))}</span><span>{escape(item.text)}{trace}</span>'


def _drawing(drawing: Drawing) -> str:
    return drawing.svg.replace("<svg ", f'<svg role="img" aria-label="{escape(drawing.words)}" ', 1)


def _hidden_svg(svg: str) -> str:
    """A drawing whose words stand beside it."""
    return svg.replace("<svg ", '<svg aria-hidden="true" ', 1)


def _bar(bar: Bar) -> str:
    words = f'<span class="chance">{escape(bar.words)} <small>{escape(bar.firm)}</small></span>'
    return f"<li><b>{escape(bar.name)}</b>{_drawing(bar.drawing)}{words}</li>"


def _table(table: Table) -> str:
    caption = f"<caption>{escape(table.caption)}</caption>" if table.caption else ""
    head = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in table.head)
    # On a phone each row becomes a block and each cell says its column.
    rows = "".join(
        "<tr>"
        + "".join(
            f'<td data-column="{escape(name)}" class="{"rest" if place else "lead"}">{_cell(cell)}</td>'
            for place, (name, cell) in enumerate(zip(table.head, row, strict=True))
        )
        + "</tr>"
        for row in table.rows
    )
    return f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _cell(cell: Cell) -> str:
    if isinstance(cell, str):
        return f"<span>{escape(cell)}</span>" if cell else ""
    return f'<span class="with-field">{_field(cell)}</span>' if isinstance(cell, Field) else _drawing(cell)


def _warn(warn: Warn) -> str:
    because = f' <span class="quiet">Because of {escape(warn.because)}.</span>' if warn.because else ""
    words = f"<b>{SEVERITY[warn.severity]}.</b> {escape(warn.text)}{because} {escape(warn.sources)}"
    return f'<li class="{warn.severity}"><p>{words}</p></li>'


@lru_cache(maxsize=1)
def _font_faces() -> str:
    faces = []
    for weight, name in FONTS.items():
        data = b64encode((fontpkg_atkinson_hyperlegible.ROOT / "files" / name).read_bytes()).decode()
        source = f'src: url("data:font/ttf;base64,{data}") format("truetype")'
        faces.append(f'@font-face {{ font-family: "Report"; font-weight: {weight}; {source}; }}')
    return "\n".join(faces)
