"""Template tags of the look: icons, field glyphs, and values in words."""

from __future__ import annotations

import datetime as dt
import re

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from wetmount.casebook.models import FindingEntry
from wetmount.findings import number

register = template.Library()

GLYPHS = {
    "few": "few", "occasional": "few", "low": "few", "some": "few", "raised": "few",
    "many": "many", "very_many": "many", "frequent": "many", "most": "many",
    "mild": "mild", "clear": "mild",
    "marked": "marked", "high": "marked", "bloody": "marked", "very_high": "marked", "dangerous": "marked",
    "present": "present", "positive": "present",
}  # fmt: skip
"""Which field glyph draws a level. Level 0 is `clear` (or `swept`), not looked at is `none`, doubtful is `doubt`."""


def glyph_of(levels: tuple[str, ...], level: int | None, sure: str = "sure") -> str:
    """The name of the field glyph for a level of a finding."""
    if level is None:
        return "none"
    if level == 0:
        return "swept" if sure == "swept" else "clear"
    if sure == "doubtful":
        return "doubt"
    return GLYPHS.get(levels[level], "present") if level < len(levels) else "present"


@register.simple_tag
def icon(name: str, classes: str = "") -> SafeString:
    """A line icon. It never stands without a word beside it, so it is hidden from readers."""
    return format_html('<svg class="icon {}" aria-hidden="true"><use href="#i-{}"/></svg>', classes, name)


@register.simple_tag
def field(name: str, classes: str = "") -> SafeString:
    """The round field of view: none, clear, swept, few, many, mild, marked, present, doubt."""
    return format_html(
        '<svg class="field {}" viewBox="0 0 32 32" aria-hidden="true"><use href="#f-{}"/></svg>', classes, name
    )


@register.simple_tag
def glyph(levels: tuple[str, ...], level: int | None, sure: str = "sure") -> SafeString:
    """The field of view for a level of a finding."""
    return field(glyph_of(levels, level, sure))


@register.filter
def words(value: object) -> str:
    """An id as words: underscores as spaces."""
    return str(value).replace("_", " ")


@register.filter
def percent(value: float) -> str:
    """A probability (0-1) as a whole percentage; never 0 or 100 for what is not certain."""
    share = 100 * float(value)
    if 0 < share < 1:
        return "under 1 %"
    if 99 < share < 100:
        return "over 99 %"
    return f"{share:.0f} %"


@register.filter
def entry_glyph(entry: FindingEntry | None, levels: tuple[str, ...]) -> str:
    """The glyph name of an entry, which may be absent."""
    return glyph_of(levels, entry.level, entry.sure) if entry is not None else "none"


@register.filter
def short(value: float) -> str:
    """A measured or computed number as the core writes it."""
    return number(value)


@register.filter
def hundred(share: float) -> str:
    """A share (0-1) on a drawing 100 wide."""
    return f"{100 * float(share):.2f}"


@register.filter
def opening(text: str) -> str:
    """As a label begins: with a capital, but pH stays pH."""
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


@register.filter
def days_in_words(text: str) -> str:
    """A sentence of the core with its dates as people say them: 2026-10-03 as 3 October, from a day to itself as it."""

    def words(found: re.Match[str]) -> str:
        try:
            day = dt.date.fromisoformat(found.group())
        except ValueError:  # 31 February, in a name that somebody typed
            return found.group()
        return f"{day.day} {day:%B}"

    text = re.sub(r"\b(\d{4}-\d\d-\d\d) to \1\b", r"\1", text)
    return re.sub(r"\b\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])\b", words, text)
