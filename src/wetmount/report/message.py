"""The message: a keeper's essentials as plain text, to paste where only text goes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from wetmount.report.document import Document, MessageLine

LONGEST: Final = 1500
"""Characters of a message at most."""

GROUPS: Final = (
    ("head", ""),
    ("urgent", "DO NOW"),
    ("probably", "WHAT IT PROBABLY IS"),
    ("seen", "WHAT WE SAW"),
    ("today", "TODAY"),
    ("care", "TAKE CARE"),
    ("write", "WATCH AND WRITE"),
    ("end", ""),
)
"""The parts of a message in reading order, each with its heading."""


def message_text(document: Document) -> str:
    """The message of a report, at most LONGEST characters: lines are kept in the order of their rank while there is
    room, and what was left out is counted."""
    lines = sorted(enumerate(document.message), key=lambda item: (item[1].rank, item[0]))
    kept: list[int] = []
    for place, _ in lines:
        if len(_written(document.message, sorted([*kept, place]))) <= LONGEST:
            kept.append(place)
    return _written(document.message, sorted(kept))


def _written(lines: tuple[MessageLine, ...], kept: list[int]) -> str:
    parts = []
    for group, heading in GROUPS:
        own = [lines[place].text for place in kept if lines[place].group == group]
        left_out = sum(1 for line in lines if line.group == group) - len(own)
        if own and heading and left_out:
            own.append(f"(and {left_out} more in the report)")
        if own:
            parts.append("\n".join([heading, *own] if heading else own))
    return "\n\n".join(parts) + "\n"
