"""A look of a case → what the weigh-up needs: one level a finding, how sure, and how likely it was to be noticed.

Rules, each of which leaves a line in the trace of its observation:
- a finding's level is the worst over fish, slides and examinations of the look; in how many fish it was seen is kept;
- "not seen" stands only where somebody looked; what was not looked at is not here at all;
- the chance of noticing is the examination's own, moved by the fields viewed, the state of the body and the sweep, and
  two lookings for one finding combine as 1 - (1 - a)(1 - b);
- readings, counts and numbers of fish turn into graded findings; where a finding was also stated, the statement stands
  and the difference is reported, never overwritten;
- history that acts through risks becomes an answer yes or no instead.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from wetmount.case import (
    Case,
    ExaminationRecord,
    FindingRecord,
    Look,
    finding_record,
    looks_of,
)
from wetmount.case_check import host_group_of, host_row
from wetmount.derived import answers_of_batches, grade_counts, grade_numbers, rounds_of
from wetmount.errors import InputError
from wetmount.findings import GradedFinding, grade_readings
from wetmount.looking import STANDARD_FIELDS, STANDARD_FIELDS_ELSE, body_state_of, fields_viewed, noticed
from wetmount.reference import Reference
from wetmount.reference.rows import Finding

_ONE_SPECIES = ("one_species_only", "all_species")


@dataclass(frozen=True, slots=True)
class Observation:
    """A finding of one look.

    `level` 0 = looked and not seen. `detection[k - 1]` is the chance (0-1) that a true level k would have been noticed:
    examination, fields viewed, state of the body and sweep are in it. What `sure` itself means, the factors `noticing`
    and `false_seen` of its row in the reference, is not in it and is for the reader to apply.
    """

    finding: str
    level: int
    sure: str
    detection: tuple[float, ...]
    trace: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ignored:
    """Something stated that says nothing in this case."""

    finding: str
    why: str


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A stated level that differs from what readings, counts or numbers give. The stated one is used."""

    finding: str
    stated: int
    derived: int
    why: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that a look says, ready to be weighed.

    `species` is the scientific name when the reference knows the species, else as written; `temperature_c` the last one
    measured; `answers` cause-type history, finding id → yes (True) or no, and `answer_trace` where each came from;
    `examinations_done` the share (0-1) of each examination's short list that was looked at; `look` which look of the
    case it was, counted from 0, None when no case stands behind it.
    """

    host_group: str | None
    species: str | None
    temperature_c: float | None
    observations: tuple[Observation, ...]
    answers: Mapping[str, bool]
    ignored: tuple[Ignored, ...]
    contradictions: tuple[Contradiction, ...]
    examinations_done: Mapping[str, float]
    date: str | None
    answer_trace: Mapping[str, str] = field(default_factory=dict)
    look: int | None = None


@dataclass(frozen=True, slots=True)
class _Sighting:
    """One report of one finding: from one examination record, one table, or one derivation."""

    level: int
    sure: str
    detection: tuple[float, ...]
    examination: str
    fish: str | None
    n: int
    of: int
    trace: tuple[str, ...]


def gather_evidence(case: Case, reference: Reference, look: int | None = None) -> Evidence:
    """The evidence of one look of a checked case (`look` counts from 0; None = the last).

    Raises `InputError` when there is no such look. The case must have passed `check_content`.
    """
    looks = looks_of(case)
    if look is not None and not 0 <= look < len(looks):
        raise InputError(f"there is no look {look}; this case has {len(looks)}, counted from 0", field="look")
    place = len(looks) - 1 if look is None else look
    chosen = looks[place]
    date = chosen.date or case.date
    return replace(_Gathering(case, chosen, date, reference).evidence(), look=place)


class _Gathering:
    """Collects sightings by finding while a look is read, and joins them at the end."""

    def __init__(self, case: Case, look: Look, date: datetime.date | None, reference: Reference) -> None:
        self.case, self.look, self.date, self.reference = case, look, date, reference
        self.host_group = host_group_of(case, reference)
        host = host_row(case.host.species, reference)
        self.species = case.host.species if host is None else host.scientific_name
        self.fish = {one.id: one for one in case.fish}
        self.sightings: dict[str, list[_Sighting]] = {}
        self.answers: dict[str, bool] = {}
        self.answer_trace: dict[str, str] = {}
        self.looked: dict[str, set[str]] = {}
        self.ignored: list[Ignored] = []
        self.contradictions: list[Contradiction] = []

    def evidence(self) -> Evidence:
        self._history()
        for id, entry in self.look.findings.items():
            self._stated(self.reference.findings[id], finding_record(entry), None, "")
        for record in self.look.examinations:
            self._examination(record)
        self._batches()
        self._numbers()
        temperature_c = self._readings()
        self._one_species()
        order = self.reference.findings
        observations = tuple(self._joined(order[id], self.sightings[id]) for id in order if id in self.sightings)
        return Evidence(
            host_group=self.host_group,
            species=self.species,
            temperature_c=temperature_c,
            observations=observations,
            answers=dict(self.answers),
            ignored=tuple(self.ignored),
            contradictions=tuple(self.contradictions),
            examinations_done=self._examinations_done(),
            date=self.date.isoformat() if self.date else None,
            answer_trace=dict(self.answer_trace),
        )

    # --- what was stated ----------------------------------------------------------------------------------------------

    def _history(self) -> None:
        for id, answer in self.case.history.items():
            if answer == "not asked":
                continue
            finding = self.reference.findings[id]
            record = FindingRecord(level=finding.levels[1 if answer == "yes" else 0])
            self._stated(finding, record, None, f"answered {answer}")

    def _stated(self, finding: Finding, record: FindingRecord, place: ExaminationRecord | None, words: str) -> None:
        level = finding.levels.index(record.level)
        examination = place.kind if place is not None else finding.examination
        if finding.kind == "cause":
            self._answer(finding.id, level > 0, record.sure, words or f"stated: {record.level}")
            return
        n, of = record.n_of or (int(level > 0), 1)
        # A look at the tank is a look at all of its fish already; only what is done fish by fish is done more often.
        lookings = of if self.reference.examinations[examination].subject == "fish" else 1
        detection, why = self._detection(finding, examination, place, record.sure, level, lookings)
        counted = f", seen in {n} of {of} fish" if record.n_of else ""
        said = f"; {words}" if words else ""
        trace = f"{self._where(examination, place)}: {record.level} ({record.sure}){counted}{said}"
        fish = place.fish if place is not None and record.n_of is None else None
        self._add(finding.id, _Sighting(level, record.sure, detection, examination, fish, n, of, (trace, *why)))

    def _answer(self, id: str, yes: bool, sure: str, words: str) -> None:
        examination = self.reference.findings[id].examination
        self.looked.setdefault(examination, set()).add(id)
        if sure == "doubtful":
            self.ignored.append(Ignored(id, "a doubtful answer to a question of history is not counted"))
        elif id not in self.answers:
            self.answers[id] = yes
            self.answer_trace[id] = words
        elif self.answers[id] != yes:
            first = self.answers[id]
            why = f"answered {_yes(first)} ({self.answer_trace[id]}) and {_yes(yes)} ({words}); the first is used"
            self.contradictions.append(Contradiction(id, int(first), int(yes), why))

    def _add(self, id: str, sighting: _Sighting) -> None:
        self.sightings.setdefault(id, []).append(sighting)
        self.looked.setdefault(sighting.examination, set()).add(id)

    # --- examinations -------------------------------------------------------------------------------------------------

    def _examination(self, record: ExaminationRecord) -> None:
        self.looked.setdefault(record.kind, set())
        counts = grade_counts(record.slides, self.reference)
        for id, entry in record.findings.items():
            finding, stated = self.reference.findings[id], finding_record(entry)
            self._stated(finding, stated, record, "")
            if id in counts:
                self._compare(id, finding.levels.index(stated.level), *counts[id])
        for id, (level, words) in counts.items():
            if id not in record.findings:
                finding = self.reference.findings[id]
                self._stated(finding, FindingRecord(level=finding.levels[level]), record, words)
        if record.rest_not_seen:
            for id in self.reference.examinations[record.kind].short_list:
                if id not in record.findings and id not in counts:
                    finding = self.reference.findings[id]
                    nothing = FindingRecord(level=finding.levels[0], sure="swept")
                    self._stated(finding, nothing, record, "the rest of the short list, swept")

    def _compare(self, id: str, stated: int, derived: int, words: str) -> None:
        if stated != derived:
            levels = self.reference.findings[id].levels
            why = f"{levels[stated]} was stated, but {words} gives {levels[derived]}; the stated level is used"
            self.contradictions.append(Contradiction(id, stated, derived, why))

    def _detection(
        self, finding: Finding, examination: str, place: ExaminationRecord | None, sure: str, level: int, lookings: int
    ) -> tuple[tuple[float, ...], tuple[str, ...]]:
        """Chance that each true level would have been noticed, and what moved it from the examination's own."""
        row = self.reference.examinations[examination]
        default = [row.detection[min(k, len(row.detection) - 1)] for k in range(len(finding.levels) - 1)]
        why: list[str] = []
        power, factor = float(lookings), 1.0
        if place is not None:
            fields = fields_viewed(place, finding.id)
            if fields is not None:
                standard = STANDARD_FIELDS.get(examination, STANDARD_FIELDS_ELSE)
                power *= fields / standard
                if fields != standard:
                    why.append(f"{fields:g} fields viewed; {standard} are a proper look")
            state = place.body_state or body_state_of(self.fish.get(place.fish or ""))
            body = self._body_factor(state, examination)
            if body != 1:
                factor *= body
                why.append(f"body {state}: × {body:g}")
        if level == 0 and sure == "swept":
            factor *= row.swept_detection
            why.append(f"swept: × {row.swept_detection:g}")
        detection = tuple(noticed(chance, power) * factor for chance in default)
        if why:
            shown = " / ".join(f"{one:.3g}" for one in detection[:2])
            why = [f"chance of noticing {shown} ({'; '.join(why)})"]
        return detection, tuple(why)

    def _body_factor(self, state: str | None, examination: str) -> float:
        for row in self.reference.body_states:
            if row.state == state and row.examination == examination:
                return row.detection_factor
        return 1.0

    # --- what is derived ----------------------------------------------------------------------------------------------

    def _derived(self, id: str, level: int, words: str) -> None:
        """A level that follows from numbers; a stated one stands, and the difference is reported."""
        finding = self.reference.findings.get(id)
        if finding is None:
            return
        stated = self.sightings.get(id)
        if stated:
            self._compare(id, max(one.level for one in stated), level, words)
            return
        detection, why = self._detection(finding, finding.examination, None, "sure", level, 1)
        trace = (f"{words}: {finding.levels[level]}", *why)
        self._add(id, _Sighting(level, "sure", detection, finding.examination, None, int(level > 0), 1, trace))

    def _numbers(self) -> None:
        if self.look.numbers is None:
            return
        for id, level, words in grade_numbers(self.look.numbers):
            self._derived(id, level, words)

    def _batches(self) -> None:
        for id, yes, words in answers_of_batches(self.case.batches, self.look.numbers, self.date):
            if id not in self.reference.findings:
                continue
            stated = self.answers.get(id)
            if stated is None:
                self._answer(id, yes, "sure", words)
            elif stated != yes:
                why = f"answered {_yes(stated)}, but {words}; the answer is used"
                self.contradictions.append(Contradiction(id, int(stated), int(yes), why))

    def _readings(self) -> float | None:
        """Grade the readings; give back the temperature (°C) that stands last, if any."""
        worst: dict[str, GradedFinding] = {}
        temperature_c = None
        for tank, round_ in rounds_of(self.look.readings):
            if "temperature" in round_:
                temperature_c = round_["temperature"].value
            for graded in grade_readings(round_, self.host_group, self.species, self.reference):
                if tank is not None:
                    graded = replace(graded, trace=(f"tank {tank}", *graded.trace))
                before = worst.get(graded.finding)
                if before is None or _rank(graded) > _rank(before):
                    worst[graded.finding] = graded
        for id, graded in worst.items():
            words = "; ".join(graded.trace)
            if graded.level is not None:
                self._derived(id, graded.level, words)
            elif id not in self.sightings:
                self.ignored.append(Ignored(id, words))
        return temperature_c

    def _one_species(self) -> None:
        """Signs of "one species of several" say nothing where only one is kept."""
        if self.answers.get("mixed_species") is False:
            for id in _ONE_SPECIES:
                if self.sightings.pop(id, None):
                    self.ignored.append(Ignored(id, "only one species is kept, so it says nothing"))

    # --- joining ------------------------------------------------------------------------------------------------------

    def _joined(self, finding: Finding, sightings: Sequence[_Sighting]) -> Observation:
        level = max(one.level for one in sightings)
        worst = [one for one in sightings if one.level == level]
        sure = min((one.sure for one in worst), key=lambda id: self._doubt(id, level))
        # A "not seen" in doubt beside a surer one counts for less; the doubt of the surer one is the reader's to apply.
        noticing = self.reference.sureness[sure].noticing
        weights = [self.reference.sureness[one.sure].noticing / noticing if level == 0 else 1.0 for one in sightings]
        detection = tuple(
            1 - math.prod(1 - min(1.0, one.detection[k] * w) for one, w in zip(sightings, weights, strict=True))
            for k in range(len(finding.levels) - 1)
        )
        trace = [line for one in sightings for line in one.trace]
        if len(sightings) > 1:
            n, of = _fish_seen(sightings)
            trace.append(
                f"worst of {len(sightings)}: {finding.levels[level]} ({sure}), seen in {n} of {of}; "
                f"chance of noticing together {' / '.join(f'{one:.3g}' for one in detection[:2])}"
            )
        return Observation(finding.id, level, sure, detection, tuple(trace))

    def _doubt(self, id: str, level: int) -> tuple[bool, float]:
        row = self.reference.sureness[id]
        return (id == "swept", row.false_seen if level else 1 - row.noticing)

    def _examinations_done(self) -> dict[str, float]:
        done: dict[str, float] = {}
        for id, row in self.reference.examinations.items():
            if id in self.looked:
                listed = row.short_list
                done[id] = len(self.looked[id].intersection(listed)) / len(listed) if listed else 1.0
        return done

    def _where(self, examination: str, place: ExaminationRecord | None) -> str:
        name = self.reference.examinations[examination].name
        if place is not None and place.fish is not None:
            return f"{name}, fish {place.fish}"
        if place is not None and place.tank is not None:
            return f"{name}, tank {place.tank}"
        return name


def _fish_seen(sightings: Sequence[_Sighting]) -> tuple[int, int]:
    """In how many it was seen and in how many looked for: a fish named in several examinations counts once."""
    named: dict[str, bool] = {}
    n = of = 0
    for one in sightings:
        if one.fish is None:
            n, of = n + one.n, of + one.of
        else:
            named[one.fish] = named.get(one.fish, False) or one.level > 0
    return n + sum(named.values()), of + len(named)


def _rank(graded: GradedFinding) -> int:
    return -1 if graded.level is None else graded.level


def _yes(answer: bool) -> str:
    return "yes" if answer else "no"
