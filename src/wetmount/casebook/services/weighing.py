"""The weigh-up of a look, worked out in stages and kept: the ranking at once, what takes longer when it is asked for.

Each stage is the core's `weigh_up` with one of its parts switched on; since all draw on the same seed, the stages put
together are the weigh-up worked out whole. What is kept is named by a hash of the evidence and the reference's version,
so it is stale the moment an entry, a row or a cost changes.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from typing import Any, Final

import msgspec
from django.db import IntegrityError, transaction

from wetmount import case as core
from wetmount.case_check import check_content
from wetmount.casebook import clock
from wetmount.casebook.models import Case, Look, WeighUpCache
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
    """A look ready to be weighed: the case as a record, the place of the look in it, its evidence, the tables."""

    record: core.Case
    place: int
    evidence: Evidence
    reference: Reference

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
    """The evidence of a look. Raises `CannotWeigh` when the case says what the reference does not know."""
    record, place = case_record(case), look_index(case, look)
    wrong = tuple(str(problem) for problem in check_content(record, "this case", reference) if problem.fatal)
    if wrong:
        raise CannotWeigh(wrong)
    return Ready(record, place, gather_evidence(record, reference, place), reference)


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
    taken: dict[str, Any] = {
        "ranking": {},
        "firmness": {"conditions": part.conditions, "firmness": part.firmness},
        "reasons": {"reasons": part.reasons, "memory_share": part.memory_share},
        "next": {"next_examinations": part.next_examinations, "unfinished": part.unfinished},
    }[stage]
    return Standing(replace(standing.weighup, **taken), standing.stages | {stage})


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
