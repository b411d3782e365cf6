"""What a case says without having stated it: levels from counts and numbers of fish, answers from batches, rounds of
readings. Each comes with the words that tell how it came about.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Sequence

from wetmount.case import Batch, Numbers, Readings, Slide, readings_of
from wetmount.reference import Reference
from wetmount.units import Quantity, parse_quantity

RECENT_DAYS = 28
"""`recent_introduction` asks for the last four weeks."""

SHARE_SOME, SHARE_MOST = 0.1, 0.5
"""`many_affected`: from a tenth of the fish "some", over half "most" (memory)."""
DEATHS_HIGH_SHARE, DEATHS_HIGH_FISH = 0.05, 2
"""`deaths_daily`: "high" from 5 % in a day and two fish (memory): one death is a large share of a small tank."""


def grade_counts(slides: Iterable[Slide], reference: Reference) -> dict[str, tuple[int, str]]:
    """Finding id → (level, how it came about), the worst over the slides.

    The mean over a slide's fields is compared with `many_per_field`: parasites lie in clusters, so one crowded
    field says little of the burden.
    """
    levels: dict[str, tuple[int, str]] = {}
    for slide in slides:
        for id, count in slide.counts.items():
            finding = reference.findings[id]
            listed = isinstance(count, tuple)
            per_field = count if isinstance(count, tuple) else (count,)
            total, fields = sum(per_field), len(per_field) if listed else slide.fields or 1
            mean, many = total / fields, finding.many_per_field
            words = f"{total} counted in {fields} field{'s' if fields > 1 else ''}"
            if listed:
                words += f" (in {sum(one > 0 for one in per_field)} of them)"
            if total == 0:
                level = 0
            elif many is None or len(finding.levels) < 3:
                level, words = 1, f"{words}; no number a field is set for more than {finding.levels[1]}"
            else:
                level = 2 if mean >= many else 1
                words += f", {mean:.3g} a field; {finding.levels[2]} from {many:g} a field"
            if id not in levels or level > levels[id][0]:
                levels[id] = (level, words)
    return levels


def grade_numbers(numbers: Numbers) -> Iterator[tuple[str, int, str]]:
    """(finding, level, words) for `many_affected` and `deaths_daily`, as far as the numbers say.

    Affected: sick and dead of all fish. Deaths: today's of the fish alive this morning.
    """
    total, sick, today = numbers.total, numbers.sick, numbers.dead_today
    dead = numbers.dead if numbers.dead is not None else today
    if sick is not None and total:
        affected = sick + (dead or 0)
        share = affected / total
        level = 2 if share > SHARE_MOST else 1 if share >= SHARE_SOME else 0
        yield "many_affected", level, f"{affected} of {total} fish sick or dead ({share:.0%})"
    if today == 0:
        yield "deaths_daily", 0, "no fish died today"
    elif today is not None and total:
        alive = total - (dead or 0) + today
        share = today / alive
        high = share >= DEATHS_HIGH_SHARE and today >= DEATHS_HIGH_FISH
        yield "deaths_daily", 2 if high else 1, f"{today} of {alive} fish died today ({share:.0%})"


def answers_of_batches(
    batches: Sequence[Batch], numbers: Numbers | None, date: datetime.date | None
) -> Iterator[tuple[str, bool, str]]:
    """(history finding, yes or no, words) that follow from the batches on record.

    A "no" follows only when the batches account for every fish: their numbers add up to the total.
    """
    if not batches:
        return
    total = numbers.total if numbers is not None else None
    known = [batch.number for batch in batches if batch.number is not None]
    complete = total is not None and len(known) == len(batches) and sum(known) == total
    species = {batch.species.casefold() for batch in batches}
    origins = {batch.origin.casefold() for batch in batches if batch.origin is not None}
    all_origins = all(batch.origin is not None for batch in batches)
    if len(species) > 1 or complete:
        yield "mixed_species", len(species) > 1, f"batches on record: {len(species)} species"
    if len(origins) > 1 or (complete and all_origins):
        yield "mixed_origin", len(origins) > 1, f"batches on record: {len(origins)} origin{'s' * (len(origins) > 1)}"
    for batch in batches:
        days = (date - batch.arrived).days if date is not None and batch.arrived is not None else None
        if days is not None and 0 <= days <= RECENT_DAYS:
            # Never a "no": plants and live food count as well, and no batch tells of them.
            yield "recent_introduction", True, f"a batch of {batch.species} arrived {days} days before"
            break


def rounds_of(readings: Readings) -> Iterator[tuple[str | None, dict[str, Quantity]]]:
    """(tank, parameter → quantity) for each round of measuring: readings that are judged together.

    The first readings of every parameter make the first round, the second ones the second; a parameter that was
    measured less often keeps its last value. Tanks are kept apart; a reading without a tank holds for all of them.
    """
    listed = [(parameter, reading) for parameter, _, reading in readings_of(readings)]
    tanks: list[str | None] = list(dict.fromkeys(one.tank for _, one in listed if one.tank is not None))
    for tank in tanks or [None]:
        values: dict[str, list[Quantity]] = {}
        for parameter, reading in listed:
            if reading.tank in (None, tank):
                values.setdefault(parameter, []).append(parse_quantity(reading.value, parameter, field=parameter))
        for index in range(max(map(len, values.values()), default=0)):
            yield tank, {name: many[min(index, len(many) - 1)] for name, many in values.items()}
