"""A weighed case → the document that page, print and message are written from."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Final

import msgspec

from wetmount.case import Case
from wetmount.reference import Reference
from wetmount.report import keeper, pages, weighup_page
from wetmount.report.document import Bars, Document, Fields, MessageLine, Points, Section
from wetmount.report.origin_page import OriginTold, where_it_came_in
from wetmount.report.planned import from_now_on, planned, the_plan, today_lines
from wetmount.report.telling import Telling, begin
from wetmount.report.water_page import water
from wetmount.report.words import firm_range, firmness_sentence, in_ten, sentence, short, whole
from wetmount.weighup.results import WeighUp

FOOTER: Final = (
    "This is arithmetic on published figures and on what was seen. It is not a prescription: a licensed veterinarian"
    " decides on medicines. Every figure has its source on the pages behind."
)
MESSAGE_END: Final = (
    "Arithmetic on published figures, not a prescription. A licensed veterinarian decides on medicines."
)

SEVERITY_RANK: Final = {"stop": 2, "care": 3, "note": 4}
"""Rank in the message of the cautions that the case itself brought; those that always stand, and those of the
bench, come after what to do and when to write."""

MESSAGE_LINE: Final = 200
"""Characters of one line of the message at most, so that no single line crowds out the rest."""


def compose(
    case: Case,
    weighup: WeighUp,
    reference: Reference,
    *,
    teaching: bool = False,
    origin: OriginTold | None = None,
) -> Document:
    """Everything the report on a weighed case says, for all writers alike; `origin`: where it came into the fish room.

    The teaching edition has no name of a person, room, tank or supplier and no free text, counts days from the first
    look, leaves the origin out (it is all names of tanks and suppliers), and adds the reasoning for students.
    """
    telling = begin(case, weighup, reference, teaching=teaching)
    plan = planned(case, telling.look, weighup.evidence, reference)
    lines = today_lines(telling, plan) if plan is not None else None
    probably = keeper.probably(telling)
    four = (
        keeper.seen(telling),
        keeper.today(telling, lines),
        keeper.watch(telling),
        keeper.write(telling, plan.next_look if plan is not None else None),
    )
    care = keeper.care(telling)
    urgent = keeper.urgent(telling)
    behind = [
        pages.the_case(telling),
        pages.looked_at(telling),
        water(telling),
        weighup_page.the_weighup(telling),
        *([weighup_page.reasoning(telling)] if teaching else []),
        pages.next_examination(telling),
        *([where_it_came_in(telling, origin)] if origin is not None and not teaching else []),
        *([the_plan(telling, plan), from_now_on(telling, plan)] if plan is not None else []),
        pages.law(telling),
        pages.all_cautions(telling),
        pages.method(telling),
    ]
    behind.append(pages.bibliography(telling))
    head = keeper.head(telling)
    when = telling.day(telling.date)
    running = [part for part in (case.id and not teaching and f"case {case.id}", when, telling.host_name) if part]
    document = Document(
        language="en",
        title=head.title,
        description=f"Report on a case of {telling.host_name}" + (f", look of {when}" if when else ""),
        teaching=teaching,
        head=head,
        urgent=urgent,
        probably=probably,
        four=four,
        care=care,
        footer=FOOTER,
        running=sentence(", ".join(running))[:-1],
        pages=tuple(behind),
        message=(),
    )
    return msgspec.structs.replace(document, message=tuple(_message(telling, document, lines or ())))


def _message(telling: Telling, document: Document, planned: Collection[str]) -> Iterator[MessageLine]:
    """The lines of the message with their rank; every one stands in the report too, there perhaps in more words. What a
    plan asks for at once (`planned`) is kept before what was seen."""
    head = document.head
    seen, today, watch, write = document.four
    where = [telling.case.id and not telling.teaching and f"case {telling.case.id}", telling.day(telling.date)]
    about = ", ".join(part for part in where if part)
    yield MessageLine(0, "head", short(f"{head.title} ({about})" if about else head.title, MESSAGE_LINE))
    yield MessageLine(0, "end", MESSAGE_END)
    if document.urgent is not None:
        for place, step in enumerate(_items(document.urgent), start=1):
            yield MessageLine(1, "urgent", f"{place}. {whole(step, MESSAGE_LINE)}")
    by_presence, names = telling.ranked_by_presence, telling.short_names
    for place, cause in enumerate(telling.shown_causes(4, 0.15)):
        chance = f"there {in_ten(cause.probability)}" if by_presence else f"to blame {in_ten(cause.responsible)}"
        text = f"{names[cause.id]}: {chance} ({firm_range(cause)})"
        yield MessageLine(0 if place < 2 else 4, "probably", short(text, MESSAGE_LINE))
    yield MessageLine(0, "probably", short(firmness_sentence(telling.weighup.firmness, names), MESSAGE_LINE))
    for place, item in enumerate(_items(seen)):
        yield MessageLine(3 if place < 2 else 5 if place < 4 else 8, "seen", short(f"- {item}", MESSAGE_LINE))
    kinds = telling.reference.cautions
    own = [one for one in telling.cautions if kinds[one.id].trigger_kind in ("condition", "finding", "water", "agent")]
    brought = {one.headline: SEVERITY_RANK[one.severity] for one in own}
    said = _items(today)
    for item in said:
        yield MessageLine(1 if item in planned else brought.get(item, 4), "today", f"- {whole(item, MESSAGE_LINE)}")
    for caution in telling.cautions:
        if caution.headline not in said:
            always = kinds[caution.id].trigger_kind == "always"
            rank = brought.get(caution.headline, 6 if always else 7)
            yield MessageLine(rank, "care", f"- {caution.headline}")
    for item in _items(watch)[:1]:
        yield MessageLine(2, "write", f"- {whole(item, MESSAGE_LINE)}")
    for item in _items(write)[1:3]:
        yield MessageLine(5, "write", f"- {whole(item, MESSAGE_LINE)}")


def _items(section: Section) -> list[str]:
    """The lines of a section's lists."""
    items: list[str] = []
    for block in section.blocks:
        if isinstance(block, Points):
            items += block.items
        elif isinstance(block, Fields):
            items += [one.text for one in block.items]
        elif isinstance(block, Bars):
            items += [one.name for one in block.items]
    return items
