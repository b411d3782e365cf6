"""From a case file to everything that is said about it."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

from wetmount.case import Case, looks_of
from wetmount.casefile import read_case
from wetmount.cautions import CautionShown, cautions_of
from wetmount.commands.common import log, look_index
from wetmount.derived import rounds_of
from wetmount.errors import InputError
from wetmount.evidence import Evidence, gather_evidence
from wetmount.first_aid import RedFlagSeen, Step, first_aid, red_flags_of
from wetmount.reference import Reference
from wetmount.weighup import weigh_up
from wetmount.weighup.results import WeighUp


@dataclass(frozen=True, slots=True)
class Weighed:
    """A case with its weigh-up, its cautions and, where a red flag is up, its first aid."""

    file: str
    case: Case
    weighup: WeighUp
    cautions: tuple[CautionShown, ...]
    red_flags: tuple[RedFlagSeen, ...]
    first_aid: tuple[Step, ...]


def weigh_file(
    path: Path, reference: Reference, *, look_date: str | None = None, seed: int = 1, quick: bool = False
) -> Weighed:
    """Read a case file and weigh it up; `quick` leaves out reasons, firmness and the next examinations.

    Raises InputError when the file is no case that can be used.
    """
    began = time.perf_counter()
    case = read_case(path, reference)
    look = look_index(case, look_date)
    evidence = gather_evidence(case, reference, look)
    full = not quick
    result = weigh_up(evidence, reference, seed=seed, reasons=full, firmness=full, examinations=full)
    log("weighed", file=str(path), ms=round(1000 * (time.perf_counter() - began)), state_bits=result.state_bits)
    flags, steps = first_aid_for_look(case, look, evidence, reference)
    return Weighed(str(path), case, result, cautions_of(result, reference), flags, steps)


def first_aid_for_look(
    case: Case, look: int | None, evidence: Evidence, reference: Reference, named: tuple[str, ...] = ()
) -> tuple[tuple[RedFlagSeen, ...], tuple[Step, ...]]:
    """The red flags of a look and of `named`, and the steps against them with what its readings say of ammonia."""
    flags = red_flags_of(evidence, reference, (*case.red_flags, *named))
    rounds = [readings for _, readings in rounds_of(looks_of(case)[-1 if look is None else look].readings)]
    worst = max(rounds, key=lambda one: one["ammonia"].value if "ammonia" in one else -1.0, default={})

    def value(name: str) -> float | None:
        return worst[name].value if name in worst else None

    try:
        steps = first_aid(
            flags,
            reference,
            ph=value("ph"),
            temperature_c=value("temperature"),
            total_ammonia_mg_n_per_l=value("ammonia"),
            salinity_g_per_kg=value("salinity") or 0.0,
        )
    except InputError:  # a reading outside the range of the ammonia equations; the steps hold without its figure
        steps = first_aid(flags, reference)
    return flags, steps
