"""The water: every reading on its scale with the limits for this fish, and the findings that follow."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import structs

from wetmount import charts
from wetmount.case import Reading, readings_of
from wetmount.case_check import host_row
from wetmount.derived import rounds_of
from wetmount.evidence import Observation
from wetmount.findings import (
    Derived,
    GradedFinding,
    WaterState,
    grade_parameter,
    number,
    parameter_name,
    water_state,
)
from wetmount.reference.rows import Limit
from wetmount.report.document import Block, Cell, Drawing, Field, Fields, Heading, Section, Table
from wetmount.report.pages import observed, plain
from wetmount.report.telling import Telling
from wetmount.report.words import capital, level_word, listed, sentence


def water(telling: Telling) -> Section:
    """Readings with limits, what was worked out from them, and the findings of the water."""
    evidence, reference = telling.weighup.evidence, telling.reference
    rows, assumed = _rows(telling)
    blocks: list[Block] = []
    if rows:
        key = "Open point: the reading. Green: within limits. Hatched once: raised, hatched twice: dangerous."
        blocks.append(Table(("Water", "Reading", "On its scale", "Judged"), rows, (2.4, 2.6, 2.3, 3.4), key))
    else:
        blocks.append(
            plain("No reading of the water was entered: the water was not tested, which is not the same as sound.")
        )
    blocks += [plain(sentence(words), quiet=True) for words in assumed]
    own = [one for one in evidence.observations if reference.findings[one.finding].examination == "water_test"]
    if own:
        blocks.append(Heading("Findings of the water"))
        blocks.append(Fields(tuple(_findings(telling, own, told_above=bool(rows))), columns=2))
    return Section("water", "The water", tuple(blocks))


def _rows(telling: Telling) -> tuple[tuple[tuple[Cell, ...], ...], tuple[str, ...]]:
    """A row for each reading and each worked-out figure, tank by tank and round by round; and what was assumed."""
    group = telling.weighup.evidence.host_group or "fish"
    rows: dict[tuple[Cell, ...], None] = {}
    assumed: dict[str, None] = {}
    for tank, readings in rounds_of(telling.look.readings):
        state = water_state(readings, group, telling.reference)
        assumed |= dict.fromkeys(state.assumed)
        for derived in state.parameters.values():
            graded = _graded(telling, derived, state, group)
            written = _written(telling, derived, readings_of_parameter(telling, derived.parameter, tank))
            name = capital(parameter_name(derived.parameter))
            if tank is not None and not telling.teaching:
                name += f", tank {tank}"
            rows[name, written, _strip(derived, graded), _judged(telling, graded)] = None
        for why in state.missing.values():
            assumed[why] = None
    return tuple(rows), tuple(assumed)


def _findings(telling: Telling, own: list[Observation], *, told_above: bool) -> Iterator[Field]:
    """The findings of the water; how they came about is left to the table of readings where that tells it."""
    name = telling.reference.examinations["water_test"].name
    derived = {one.finding for one in own if told_above and not any(line.startswith(name) for line in one.trace)}
    for entry, one in zip(observed(telling, own), own, strict=False):
        yield structs.replace(entry, trace="") if one.finding in derived else entry


def readings_of_parameter(telling: Telling, parameter: str, tank: str | None) -> list[Reading]:
    """The readings of one parameter as they were written down."""
    return [
        reading
        for name, _, reading in readings_of(telling.look.readings)
        if name == parameter and reading.tank in (None, tank)
    ]


def _graded(telling: Telling, derived: Derived, state: WaterState, group: str) -> tuple[GradedFinding, ...]:
    # Oxygen is judged by its saturation where the temperature is known, as the findings do.
    if derived.parameter == "oxygen" and "oxygen_saturation" in state.parameters:
        return ()
    row = host_row(telling.case.host.species, telling.reference)
    species = row.scientific_name if row is not None else None
    return grade_parameter(derived.parameter, state, group, species, telling.reference)


def _written(telling: Telling, derived: Derived, readings: list[Reading]) -> str:
    """Value and unit; for a measured one also the time and, outside the teaching edition, kit and note."""
    value = f"{number(derived.value)} {derived.unit}".strip()
    if not derived.measured:
        how = telling.bibliography.cite_within(derived.how)
        return f"{value}, worked out{how[how.find(' from ') :] if ' from ' in how else ''}"
    notes = []
    for reading in readings:
        parts = [reading.time or ""]
        if not telling.teaching:
            parts += [reading.kit or "", reading.note or ""]
        if said := ", ".join(part for part in parts if part):
            notes.append(said)
    return f"{value}; {'; '.join(notes)}" if len(notes) == 1 else value


def _strip(derived: Derived, graded: tuple[GradedFinding, ...]) -> Cell:
    limits = [limit for one in graded for limit in one.limits]
    marks = list(
        dict.fromkeys(
            (limit.side, limit.value, limit.level) for limit in limits if not _no_floor(limit.side, limit.value)
        )
    )
    if not marks:
        return ""
    words = listed(f"{side} {number(value)} counts as level {level}" for side, value, level in marks)
    return Drawing(
        charts.reading_strip(derived.value, marks), f"Reading {number(derived.value)} {derived.unit}; {words}."
    )


def _no_floor(side: str, value: float) -> bool:
    return side == "below" and value <= 0


def _judged(telling: Telling, graded: tuple[GradedFinding, ...]) -> str:
    """Whether a reading is within limits, and the limits, in words."""
    parts = []
    for one in graded:
        finding = telling.reference.findings[one.finding]
        if one.level is None:
            parts.append("; ".join(one.trace))
        elif one.level:
            parts.append(f"{finding.name}, {level_word(finding, one.level)}".removesuffix(", present"))
    beyond = [one for one in graded if one.level]
    limits = [limit for one in (beyond or graded) for limit in one.limits if not _no_floor(limit.side, limit.value)]
    if not parts and limits:
        parts.append("within limits")
    words = _limit_words(telling, limits)
    more = [line for one in graded for line in one.trace[1:]]
    return capital("; ".join([*parts, *words, *map(telling.bibliography.cite_within, more)])) or "No limit of its own"


def _limit_words(telling: Telling, limits: list[Limit]) -> list[str]:
    """Limits in words: where the figure holds and its sources; two sides of one range as one."""
    words = []
    by_range: dict[tuple[str, tuple[str, ...]], list[Limit]] = {}
    for limit in dict.fromkeys(limits):
        if limit.note.startswith("range of"):
            whom = "the species"
        elif limit.note.startswith("worked out"):
            whom = limit.note
        else:
            whom = telling.reference.host_groups[limit.host_group].meaning
        by_range.setdefault((whom, limit.sources or (limit.basis,)), []).append(limit)
    for (whom, sources), many in by_range.items():
        unit = "" if many[0].unit == "pH" else f" {many[0].unit}"
        low = [limit.value for limit in many if limit.side == "below"]
        high = [limit.value for limit in many if limit.side == "above"]
        cite = telling.bibliography.cite(sources) or f"[{sources[0]}]"
        if low and high:
            figure = f"{number(max(low))} to {number(min(high))}"
        else:
            figure = f"at least {number(max(low))}" if low else f"at most {number(min(high))}"
        words.append(f"limit {figure}{unit}, {whom} {cite}")
    return words
