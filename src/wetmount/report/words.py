"""Chances, findings, prices and days in plain words.

Chances to a keeper are "9 in 10", never percent; on the pages behind "91 in 100". Neither ever says never or always.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from wetmount.evidence import Observation
    from wetmount.reference.rows import Finding
    from wetmount.weighup.results import ConditionResult, Firmness

FIRM: Final = ((0.95, "firm"), (0.80, "fairly firm"), (0.50, "not very firm"), (0.0, "open"))
"""Word for the share of redraws in which the leading cause stays first."""

HOW_LIKELY: Final = (
    (0.85, "Almost surely to blame"),
    (0.60, "Probably to blame"),
    (0.40, "As likely to blame as not"),
    (0.15, "Possibly to blame"),
)
"""Words for the chance of being to blame, from it upwards."""

BODY: Final = {
    "fresh_killed": "just killed",
    "dead_0_2h": "dead up to 2 h",
    "dead_2_12h": "dead 2 to 12 h",
    "dead_over_12h": "dead over 12 h",
}
"""States of a body as a person writes them."""

CARRIED_FROM: Final = 0.6
"""A cause this likely to be there, but less than half likely to be to blame, is said to be perhaps only carried."""


def in_ten(chance: float) -> str:
    """A chance (0-1) in tenths: "9 in 10", "under 1 in 20", "over 19 in 20"."""
    if chance < 0.05:
        return "under 1 in 20"
    if chance > 0.95:
        return "over 19 in 20"
    return f"{tenths(chance)} in 10"


def in_hundred(chance: float) -> str:
    """A chance (0-1) in hundredths: "91 in 100", "under 1 in 100", "over 99 in 100"."""
    if chance < 0.005:
        return "under 1 in 100"
    if chance > 0.995:
        return "over 99 in 100"
    return f"{round(100 * chance)} in 100"


def tenths(chance: float) -> int:
    """A chance (0-1) as a number of tenths, half a tenth rounded up."""
    return int(10 * chance + 0.5)


def firm_range(result: ConditionResult) -> str:
    """How far the tables leave open whether a condition is to blame, in tenths; says so when it was not worked out."""
    if result.low is None or result.high is None:
        return "how firm: not worked out"
    low, high = tenths(result.low), tenths(result.high)
    return f"redrawn: about {low} in 10" if low == high else f"redrawn: {low} to {high} in 10"


def firm_range_in_hundred(result: ConditionResult) -> str:
    """As `firm_range`, in hundredths."""
    if result.low is None or result.high is None:
        return "not worked out"
    return f"{round(100 * result.low)} to {round(100 * result.high)}"


def firmness_sentence(firmness: Firmness | None, name_of: Mapping[str, str]) -> str:
    """How firm the order of the causes is, in one sentence."""
    if firmness is None:
        return "How firm this order is was not worked out: read it as a first look."
    word = next(word for share, word in FIRM if firmness.share >= share)
    held = round(100 * firmness.share)
    text = f"{name_of[firmness.leading]}: first in {held} of 100 redraws of the tables, {word}."
    second = round(100 * firmness.runner_up_share)
    if firmness.runner_up is not None and second > 0:
        text += f" {name_of[firmness.runner_up]}: first in {second}."
    return text


def factor(weight: float) -> str:
    """The factor on the odds whose log10 is `weight`: "40 times likelier", "a third as likely"."""
    size = 10 ** abs(weight)
    if size > 1000:
        number = "over 1000"
    elif size >= 9.5:
        number = f"{round(size)}"
    else:
        number = f"{size:.1f}".removesuffix(".0")
    return f"× {number}" if weight >= 0 else f"÷ {number}"


def level_word(finding: Finding, level: int) -> str:
    """The word of a level, as a person writes it."""
    return finding.levels[level].replace("_", " ")


def finding_words(finding: Finding, observation: Observation) -> str:
    """An observation in words. Looked and not seen, swept, and seen never read alike."""
    return level_words(finding, observation.level, observation.sure)


def level_words(finding: Finding, level: int, sure: str = "sure") -> str:
    """A finding at a level in words: "flickering flagellates on skin, many"."""
    word = level_word(finding, level)
    if finding.kind in ("effect", "cause"):
        return f"{finding.name}: {_yes_or_level(word)}"
    if level == 0:
        return f"{finding.name}: {_not_seen(finding, word, sure)}"
    words = finding.name if word in ("present", "positive") else f"{finding.name}, {word}"
    if finding.kind == "laboratory":
        words += ": found"
    return words + {"sure": "", "fairly": " (fairly sure)"}.get(sure, f" ({sure})")


def _yes_or_level(word: str) -> str:
    return {"present": "yes", "absent": "no"}.get(word, word)


def _not_seen(finding: Finding, word: str, sure: str) -> str:
    if finding.kind == "water":
        return "tested, not so"
    if finding.kind == "laboratory":
        return "tested, not found"
    words = {"swept": "quick look, not seen", "doubtful": "looked, not seen, in doubt"}.get(sure, "looked, not seen")
    return f"{words} ({word})" if word not in ("absent", "none") else words


def field_of(finding: Finding, level: int, sure: str) -> str:
    """Which round field stands for an observation (a key of `charts.FIELDS`)."""
    if level == 0:
        return "swept" if sure == "swept" else "clear"
    if sure == "doubtful":
        return "doubt"
    if len(finding.levels) == 2:
        return "present"
    counted = finding.levels[1] == "few" or finding.levels[2].endswith("many")
    return (("few", "many") if counted else ("mild", "marked"))[min(level, 2) - 1]


def body_words(text: str) -> str:
    """The text with the reference's words for the state of a body written out."""
    for id, words in BODY.items():
        text = text.replace(id, words)
    return text


def listed(items: Iterable[str], last: str = "and") -> str:
    """Items as one phrase: "a, b and c"."""
    words = list(items)
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}" if words else ""


def counted(number: int, one: str, many: str | None = None) -> str:
    """A number with its noun in the right number: "1 fish", "3 looks"."""
    return f"{number} {one if number == 1 else (many or one + 's')}"


def sentence(text: str) -> str:
    """The text with a capital at its start and a full stop at its end."""
    text = capital(text.strip())
    return text + ("" if not text or text[-1] in ".!?:" else ".")


def capital(text: str) -> str:
    """The text with a capital at its start, but pH stays pH."""
    return text if text[1:2].isupper() else text[:1].upper() + text[1:]


def duration(minutes: float) -> str:
    """A time of work: minutes up to an hour and a half, then hours."""
    return f"{minutes:g} min" if minutes <= 90 else f"{minutes / 60:.1f} h".replace(".0 h", " h")


def day(date: datetime.date) -> str:
    """A day written out: 3 October 2026."""
    return f"{date.day} {_MONTHS[date.month - 1]} {date.year}"


def whole(text: str, length: int) -> str:
    """As many whole sentences of the text as fit in `length` characters; the first is cut when it alone is too long."""
    text = re.sub(r"\s+", " ", text).strip()
    while len(text) > length and ". " in text:
        text = text.rsplit(". ", 1)[0] + "."
    return short(text, length)


def short(text: str, length: int) -> str:
    """The text cut at a word to at most `length` characters, with a mark where it was cut."""
    text = re.sub(r"\s+", " ", text).strip()
    if len(text) <= length:
        return text
    return text[: length - 1].rsplit(" ", 1)[0].rstrip(" ,;:") + "…"


_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
