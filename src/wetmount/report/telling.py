"""What every part of a report needs to tell its share: the case, its look, the weigh-up, days and names as this edition
shows them, and one bibliography in which each source gets its number when it is first cited.
"""

from __future__ import annotations

import datetime
import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from wetmount.case import Case, Look, looks_of, readings_of
from wetmount.case_check import host_row
from wetmount.cautions import CautionShown, cautions_of
from wetmount.evidence import Observation
from wetmount.first_aid import RedFlagSeen, Step, first_aid_for_look
from wetmount.reference import Reference
from wetmount.reference.rows import HistoryRisk, HostRisk, Link, TemperatureRisk
from wetmount.report.words import body_words, day
from wetmount.weighup.results import ConditionResult, NextExamination, Reason, WeighUp

EXAMINATIONS = 6
"""Proposed examinations that are shown, beside the first of the laboratory's."""

MEMORY = "memory"
NOT_NAMES = ("the keeper", "keeper", "the bench")
"""What stands where a name would, and needs no hiding."""


class Bibliography:
    """Sources by the number under which the report cites them, in the order of first use."""

    def __init__(self, reference: Reference) -> None:
        self.reference = reference
        self.numbers: dict[str, int] = {}

    def cite(self, keys: Iterable[str]) -> str:
        """ "[2, 5]" for source keys; "[memory]" where a row has none but memory. Empty for no keys."""
        wanted = list(dict.fromkeys(keys))
        known = [key for key in wanted if key in self.reference.sources and key != MEMORY]
        numbers = sorted(self.numbers.setdefault(key, len(self.numbers) + 1) for key in known)
        parts = [str(number) for number in numbers]
        if MEMORY in wanted:
            parts.append(MEMORY)
        return f"[{', '.join(parts)}]" if parts else ""

    def cite_within(self, text: str) -> str:
        """The text with source keys in brackets, as traces hold them, turned into numbers."""

        def number(match: re.Match[str]) -> str:
            keys = match.group(1).split("; ")
            return self.cite(keys) if all(key in self.reference.sources for key in keys) else match.group(0)

        return re.sub(r"\(([a-z0-9_]+(?:; [a-z0-9_]+)*)\)", number, text)

    def entries(self) -> tuple[tuple[str, str], ...]:
        """(number, citation and kind of source), in order."""
        sources = self.reference.sources
        return tuple(
            (f"[{number}]", f"{sources[key].citation} ({sources[key].kind})") for key, number in self.numbers.items()
        )


@dataclass(frozen=True)
class Telling:
    """One report in the making. `teaching` hides names and places and counts days from the first look."""

    case: Case
    weighup: WeighUp
    reference: Reference
    teaching: bool
    look: Look
    cautions: tuple[CautionShown, ...]
    red_flags: tuple[RedFlagSeen, ...]
    first_aid: tuple[Step, ...]
    bibliography: Bibliography = field(repr=False)

    @property
    def date(self) -> datetime.date | None:
        """The day of the look."""
        return self.look.date or self.case.date

    @property
    def names(self) -> dict[str, str]:
        """Condition id → name."""
        return {id: row.name for id, row in self.reference.conditions.items()}

    @property
    def short_names(self) -> dict[str, str]:
        """Condition id → name without what stands in brackets, as far as that tells conditions apart."""
        short = {id: name.split(" (")[0] for id, name in self.names.items()}
        twice = Counter(short.values())
        return {id: name if twice[name] == 1 else self.names[id] for id, name in short.items()}

    @property
    def host_name(self) -> str:
        """The fish in the trade's words."""
        row = host_row(self.case.host.species, self.reference)
        if row is not None:
            return row.common_name
        group = self.weighup.evidence.host_group
        if self.teaching or self.case.host.species is None:
            return self.reference.host_groups[group].meaning if group else "fish"
        return self.case.host.species

    @property
    def ranked_by_presence(self) -> bool:
        """True when no finding of illness was entered: then nothing can be to blame, and rank is by being there."""
        return not any(result.responsible > 0 for result in self.weighup.conditions)

    def day(self, date: datetime.date | None, *, offset: int = 0) -> str:
        """A day written out; in the teaching edition days from the first look. "" without a date."""
        if date is None:
            return ""
        then = date + datetime.timedelta(days=offset)
        if not self.teaching:
            return day(then)
        first = min((look.date for look in looks_of(self.case) if look.date is not None), default=self.date or date)
        return f"day {(then - first).days}".replace("-", "−")

    def fish(self, id: str) -> str:
        """What an examined fish is called: its own id, in the teaching edition a letter."""
        if not self.teaching:
            return id
        place = next((place for place, one in enumerate(self.case.fish) if one.id == id), len(self.case.fish))
        return chr(ord("A") + place % 26)

    def came_about(self, observation: Observation) -> str:
        """How an observation came about, without what its heading and its level say already."""
        lines = [self.trace(line) for line in observation.trace]
        finding = self.reference.findings[observation.finding]
        stated = f"{finding.levels[observation.level]} ({observation.sure})"
        heading = self.reference.examinations[finding.examination].name
        said = []
        for line in lines:
            where, colon, rest = line.partition(": ")
            if colon and (where == heading or where.startswith(f"{heading}, ")):
                where = where.removeprefix(heading).removeprefix(", ")
                alone = len(lines) == 1 or not lines[-1].startswith("worst of")
                rest = rest.removeprefix(stated).removeprefix(", ").removeprefix("; ") if alone else rest
                rest = "" if rest in ("answered yes", "answered no") else rest
                line = ": ".join(part for part in (where, rest) if part)
            said.append(line)
        return "; ".join(line for line in said if line)

    def trace(self, line: str) -> str:
        """A line of a trace: sources as numbers, and in the teaching edition no tank and no fish's own name."""
        if self.teaching:
            ids = {one.id for one in self.case.fish} | {one.fish for one in self.look.examinations if one.fish}
            for id in sorted(ids, key=len, reverse=True):
                line = line.replace(f", fish {id}:", f", fish {self.fish(id)}:")
            for tank in self._tanks():
                line = line.replace(f", tank {tank}:", ":").removeprefix(f"tank {tank}; ")
            if names := self._names():
                line = re.sub(rf"(?<!\w)(?:{'|'.join(map(re.escape, names))})(?!\w)", "(left out)", line)
        return self.bibliography.cite_within(body_words(line.replace(" in hosts.csv", "")))

    def _tanks(self) -> set[str]:
        tanks = {one.tank for one in self.look.examinations}
        tanks |= {reading.tank for _, _, reading in readings_of(self.look.readings)}
        return {tank for tank in tanks if tank}

    def _names(self) -> list[str]:
        """Names and places of the case, longest first, should one stand in a trace by a way that was not thought of."""
        case = self.case
        unknown = (b.species for b in case.batches if host_row(b.species, self.reference) is None)
        said = {
            case.keeper,
            case.room,
            case.system,
            case.tank,
            *self._tanks(),
            *(b.origin for b in case.batches),
            *unknown,
        }
        names = {name.strip() for name in said if name and name.strip().casefold() not in NOT_NAMES}
        return sorted(names, key=lambda name: (-len(name), name))

    def reason_sources(self, condition: str, reason: Reason) -> str:
        """The sources of the rows behind a reason, as numbers; where the tables have no row that joins the two, the
        finding speaks by way of the other causes that bring it or do not."""
        rows = list(self._reason_rows(condition, reason))
        if not rows:
            return "by way of other causes"
        cited = self.bibliography.cite(key for row in rows for key in row.sources)
        return cited or f"[{rows[0].basis}]"

    def _reason_rows(self, condition: str, reason: Reason) -> Iterator[HostRisk | TemperatureRisk | HistoryRisk | Link]:
        """The rows of the reference that join a condition with what a reason is about."""
        reference, evidence = self.reference, self.weighup.evidence
        if reason.findings == ("host",):
            groups = {row.host_group: row for row in reference.host_risks if row.condition == condition}
            line = reference.host_group_line(evidence.host_group or "fish")
            yield from [groups[group] for group in line if group in groups][:1]
        elif reason.findings == ("temperature",):
            at = evidence.temperature_c if evidence.temperature_c is not None else math.nan
            for row in reference.temperature_risks:
                low, high = row.low_c, row.high_c
                if row.condition == condition and (low is None or low <= at) and (high is None or at <= high):
                    yield row
        else:
            for risk in reference.history_risks:
                if risk.condition == condition and risk.finding in reason.findings:
                    yield risk
            for link in reference.links:
                if (
                    link.condition == condition
                    and link.finding in reason.findings
                    and link.level == max(1, reason.level)
                ):
                    yield link

    def shown_causes(self, at_most: int, least: float) -> tuple[ConditionResult, ...]:
        """The first causes in rank: at least two, then those from `least` upwards."""
        ranked = self.weighup.conditions
        by_presence = self.ranked_by_presence
        enough = [
            result
            for place, result in enumerate(ranked[:at_most])
            if place < 2 or (result.probability if by_presence else result.responsible) >= least
        ]
        return tuple(enough)


def begin(case: Case, weighup: WeighUp, reference: Reference, *, teaching: bool) -> Telling:
    """Gather what a report tells: of the look that was weighed, else of the last one."""
    looks = looks_of(case)
    weighed = weighup.evidence.look
    look = looks[-1 if weighed is None or weighed >= len(looks) else weighed]
    flags, steps = first_aid_for_look(case, look, weighup.evidence, reference)
    proposed = [one.id for one in (*weighup.unfinished, *shown_examinations(weighup))]
    agents = [step.option for step in look.plan.steps if step.kind == "treat" and step.option] if look.plan else []
    cautions = cautions_of(weighup, reference, proposed=proposed, agents=agents)
    return Telling(case, weighup, reference, teaching, look, cautions, flags, steps, Bibliography(reference))


def shown_examinations(weighup: WeighUp) -> tuple[NextExamination, ...]:
    """The proposed examinations that the report shows: the first by worth, and the first of the laboratory's."""
    proposed = weighup.next_examinations or ()
    rest = [one for one in proposed[EXAMINATIONS:] if one.laboratory]
    return (*proposed[:EXAMINATIONS], *rest[:1])
