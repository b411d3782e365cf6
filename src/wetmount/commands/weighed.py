"""From a case file to everything that is said about it."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

from wetmount.case import Case, looks_of
from wetmount.casefile import read_case
from wetmount.cautions import CautionShown, cautions_of
from wetmount.commands.common import log, look_index
from wetmount.evidence import gather_evidence
from wetmount.first_aid import RedFlagSeen, Step, first_aid_for_look
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
    shown = looks_of(case)[-1 if look is None else look]
    flags, steps = first_aid_for_look(case, shown, evidence, reference)
    return Weighed(str(path), case, result, cautions_of(result, reference), flags, steps)
