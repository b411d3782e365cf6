"""The weigh-up of a look, worked out in stages and kept: the ranking at once, what takes longer when it is asked for.

Each stage is the core's `weigh_up` with one of its parts switched on; since all draw on the same seed, the stages put
together are the weigh-up worked out whole. What is kept is named by a hash of the evidence and the reference's version,
so it is stale the moment an entry, a row or a cost changes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

import msgspec
from django.db import IntegrityError, transaction

from wetmount import case as core
from wetmount.case_check import check_content
from wetmount.casebook import clock
from wetmount.casebook.models import Case, FindingEntry, Look, WeighUpCache
from wetmount.casebook.services.records import case_record, look_index
from wetmount.evidence import Evidence, gather_evidence
from wetmount.reference import Reference
from wetmount.weighup import weigh_up
from wetmount.weighup.results import WeighUp

STAGES: Final = ("ranking", "firmness", "reasons", "next")
"""In the order in which they are read: each is one more part of the same weigh-up."""

_FORM = 1
"""Raised when what is kept changes its shape."""


class CannotWeigh(Exception):
    """A case that cannot be weighed up as it stands; `problems` are sentences that say why."""

    def __init__(self, problems: tuple[str, ...]) -> None:
        super().__init__("; ".join(problems))
        self.problems = problems


@dataclass(frozen=True, slots=True)
class Ready:
    """A look ready to be weighed: the case as a record, the place of the look in it, its evidence, the tables.

    `left_out` are entries of this look that the tables do not know (rows of the practice that are gone).
    """

    record: core.Case
    place: int
    evidence: Evidence
    reference: Reference
    left_out: tuple[str, ...]

    @property
    def nothing_entered(self) -> bool:
        """Whether there is nothing to weigh: no finding looked for, no answer."""
        return not self.evidence.observations and not self.evidence.answers

    @property
    def key(self) -> str:
        """What names this evidence under these tables."""
        said = msgspec.json.encode([_FORM, self.reference.version, self.evidence], order="deterministic")
        return hashlib.blake2b(said, digest_size=20).hexdigest()


@dataclass(frozen=True, slots=True)
class Standing:
    """A weigh-up as far as it was worked out."""

    weighup: WeighUp
    stages: frozenset[str]

    @property
    def complete(self) -> bool:
        return self.stages.issuperset(STAGES)


def ready(case: Case, look: Look, reference: Reference) -> Ready:
    """The evidence of a look. Raises `CannotWeigh` when the case says what cannot be so.

    A host that the reference does not know is no reason: such fish are weighed as any fish.
    """
    record, place = case_record(case), look_index(case, look)
    if record.host.group is not None and record.host.group not in reference.host_groups:
        record = msgspec.structs.replace(record, host=core.Host(species=record.host.species))
    wrong = tuple(
        f"{problem.field}: {problem.message}" if problem.field else problem.message
        for problem in check_content(record, "", reference)
        if problem.fatal and not (problem.field or "").startswith("host")
    )
    if wrong:
        raise CannotWeigh(wrong)
    evidence = gather_evidence(record, reference, place)
    return Ready(record, place, evidence, reference, tuple(_left_out(look, reference)))


def _left_out(look: Look, reference: Reference) -> Iterator[str]:
    """Entries that `case_record` leaves out because the tables do not have their finding or level."""
    entries = FindingEntry.objects.filter(examination__look=look).order_by("pk")
    for finding, level in entries.values_list("finding", "level"):
        row = reference.findings.get(finding)
        if row is None or level >= len(row.levels):
            yield finding if row is None else f"{row.name}, level {level}"


def weighed(look: Look, asked: Ready, *stages: str) -> Standing:
    """The weigh-up of a look with at least these stages beside the ranking, from what is kept as far as it goes."""
    key = asked.key
    standing = _kept(look, key)
    missing = [
        stage for stage in STAGES if stage in ("ranking", *stages) and not (standing and stage in standing.stages)
    ]
    for stage in missing:
        part = weigh_up(
            asked.evidence,
            asked.reference,
            reasons=stage == "reasons",
            firmness=stage == "firmness",
            examinations=stage == "next",
        )
        standing = _joined(standing, part, stage)
    assert standing is not None
    if missing:
        _keep(look, key, standing)
    return standing


def _joined(standing: Standing | None, part: WeighUp, stage: str) -> Standing:
    """A weigh-up with one more stage."""
    if standing is None:
        return Standing(part, frozenset({"ranking", stage}))
    taken: dict[str, dict[str, Any]] = {
        "ranking": {},
        "firmness": {"conditions": part.conditions, "firmness": part.firmness},
        "reasons": {"reasons": part.reasons, "memory_share": part.memory_share},
        "next": {"next_examinations": part.next_examinations, "unfinished": part.unfinished},
    }
    return Standing(replace(standing.weighup, **taken[stage]), standing.stages | {stage})


def _kept(look: Look, key: str) -> Standing | None:
    row = WeighUpCache.objects.filter(look=look, key=key).first()
    return None if row is None else _read(row)


def _read(row: WeighUpCache) -> Standing | None:
    try:
        weighup = msgspec.convert(row.result["weighup"], WeighUp)
        return Standing(weighup, frozenset(row.result["stages"]))
    except (KeyError, TypeError, msgspec.ValidationError):  # kept by another version of this program
        return None


def _keep(look: Look, key: str, standing: Standing) -> None:
    """Keep what was worked out, together with what another page worked out meanwhile."""
    try:
        with transaction.atomic():
            row = WeighUpCache.objects.select_for_update().filter(look=look).first()
            other = _read(row) if row is not None and row.key == key else None
            for stage in STAGES:
                if other is not None and stage in other.stages and stage not in standing.stages:
                    standing = _joined(standing, other.weighup, stage)
            kept = {
                "key": key,
                "result": {"weighup": msgspec.to_builtins(standing.weighup), "stages": sorted(standing.stages)},
                "complete": standing.complete,
                "made_at": clock.now(),
            }
            WeighUpCache.objects.update_or_create(look=look, defaults=kept)
            _note_leading(look, standing.weighup)
    except IntegrityError:  # two pages made the row at once, or the look was taken away: it is worked out again
        return


def _note_leading(look: Look, weighup: WeighUp) -> None:
    """What leads the last look stands beside the case, for lists."""
    last = Look.objects.filter(case=look.case_id).order_by("-on", "-id").values_list("pk", flat=True).first()
    if last != look.pk:
        return
    first = weighup.conditions[0]
    leads = first.responsible > 0
    Case.all_cases.filter(pk=look.case_id).update(
        leading=first.id if leads else "", leading_share=first.responsible if leads else None
    )
