"""What tracing an outbreak gives: candidates, routes, the state of every tank, and how far to trust the sampling.

Probabilities are means over posterior samples. Dates are those of the room's record; `None` as a day of infection
means before its first day.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from datetime import date as Date
from typing import Any, Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from wetmount.origin.room import Room

CandidateKind = Literal["delivery", "resident", "outside"]
Status = Literal["clean", "suspect", "sick"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """One way in which the outbreak may have begun.

    delivery: a batch brought it; resident: fish that stood in `tank` on the first day carried it; outside: it came
    into some tank from outside the record.
    """

    key: str
    """delivery:<batch>, resident:<tank> or outside."""
    kind: CandidateKind
    name: str
    tank: str | None
    batch: str | None
    prior: float
    """Chance that this introduction happens at all, before anything was seen; several may."""
    probability: float
    """Chance that the outbreak began with it: the first infected of the tanks in which it was seen descends from it."""
    start_low: Date | None
    start: Date | None
    start_high: Date | None
    """5 %, median and 95 % of the day it came in, given that it was this one; None = before the first day."""


@dataclass(frozen=True, slots=True)
class StartDay:
    """Chance that the infection came in on a day; `on` None = before the first day of the record."""

    on: Date | None
    probability: float


@dataclass(frozen=True, slots=True)
class Route:
    """How a tank got it: from which tank by which kind of link, or by an introduction (`from_tank` None)."""

    to_tank: str
    from_tank: str | None
    kind: str
    """Id of a link kind of link_rates.csv."""
    through: str
    """The system, tool or worker that connects them, or the batch; empty when nothing has a name."""
    probability: float
    """Chance that the tank was infected in this way."""
    low: Date | None
    high: Date | None
    """5 and 95 % of the day, given this way."""


@dataclass(frozen=True, slots=True)
class TankState:
    """What is known of the fish that stand in one tank at the end of the record, or were the last to stand there."""

    tank: str
    """Of fish that were followed by others, with the day they were gone: 'A4 until 2026-10-03'."""
    status: Status
    looked_at: bool
    """Whether anybody looked at all."""
    seen: bool
    infected: float
    """Chance of being infected by the last day."""
    shows: float
    """Chance of showing signs by `shows_within_days` after the last day; 0 for a tank in which it was seen."""
    from_outbreak: float
    """Chance, given that it is infected, that it descends from the same introduction as the first tank seen."""
    low: Date | None
    day: Date | None
    high: Date | None
    """5 %, median and 95 % of the day of infection given that it is infected; None = before the first day."""


@dataclass(frozen=True, slots=True)
class RateFound:
    """A link's rate: as the table has it and after the outbreak was seen, 5 %, median, 95 %."""

    kind: str
    name: str
    unit: str
    prior: tuple[float, float, float]
    found: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Convergence:
    """Whether the chains agree. R-hat and effective sizes after Vehtari et al. 2021, the worst of all quantities."""

    chains: int
    sweeps: int
    r_hat: float
    ess_bulk: float
    ess_tail: float
    worst: str
    """The quantity with the largest R-hat."""
    converged: bool
    stopped: bool
    """Stopped by the caller before convergence."""
    sentence: str


@dataclass(frozen=True, slots=True)
class Draws:
    """Posterior samples, kept for control and for choosing the next examination. S samples, n tanks."""

    infected_day: NDArray[np.int64]
    """(S, n): day number of infection; −1 = before the record, a large number = not within it."""
    infectious_day: NDArray[np.int64]
    """(S, n): first day on which the tank passes it on."""
    signs_day: NDArray[np.int64]
    """(S, n): day on which signs begin; a large number = never."""
    log_rates: NDArray[np.float64]
    """(S, kinds)."""
    origin: NDArray[np.float64]
    """(S, candidates): chance of each candidate given the days of infection."""
    infector: NDArray[np.int64]
    """(S, n): drawn infector of every tank: a tank, or n + candidate; −1 where it was not infected."""


@dataclass(frozen=True, slots=True)
class Told:
    """What is told of the origin of an outbreak: all but the room and the samples.

    Candidates and routes most probable first; tanks in the order of the room.
    """

    condition: str
    condition_name: str
    candidates: tuple[Candidate, ...]
    credible: tuple[str, ...]
    """Keys of the fewest candidates that together hold 90 %."""
    start_days: tuple[StartDay, ...]
    routes: tuple[Route, ...]
    tanks: tuple[TankState, ...]
    more_than_one: float
    """Chance that the tanks in which it was seen go back to more than one introduction."""
    rates: tuple[RateFound, ...]
    can_tell: bool
    verdict: str
    """One or two sentences: what leads and how far, or that the data cannot tell."""
    notes: tuple[str, ...]
    """What was taken as it is, for want of a record: a sentence each."""
    shows_within_days: int
    convergence: Convergence
    partial: bool
    """A refined result follows."""
    seed: int
    reference_version: str
    earlier: tuple[TankState, ...] = field(default=(), kw_only=True)
    """Fish that stood in a tank before it was emptied and stocked again."""

    def as_data(self) -> dict[str, Any]:
        """As plain values for JSON."""
        return {one.name: msgspec.to_builtins(getattr(self, one.name)) for one in fields(Told)}


@dataclass(frozen=True, slots=True)
class Trace(Told):
    """The origin of an outbreak, with the room it was traced in and the samples behind it."""

    room: Room
    draws: Draws = field(repr=False, compare=False)
