"""A treatment course: concentration over time under doses, decay, carbon, flow and water changes; exact between events.

Between events dC/dt = s + q (Cin - C) - (k + r) C with drip s, flow q, decay k and carbon r constant, so
C(t) is one exponential: no steps, no rounding. Two answers are always given: as it is expected to
decay, and as if nothing were lost (no half-life known, or doubted), which is what a hard stop is judged by.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from wetmount.changes import check_fraction
from wetmount.dose_writing import write_quantity
from wetmount.errors import InputError
from wetmount.reference.rows import DoseRow

LONGEST_H: Final = 24.0 * 366


@dataclass(frozen=True, slots=True)
class DoseEvent:
    """So much of the substance goes in, unit of the dose to the litre."""

    at_h: float
    adds: float


@dataclass(frozen=True, slots=True)
class TopUpEvent:
    """As much goes in as brings the expected concentration back to `to`, never above; nothing when it is there."""

    at_h: float
    to: float


@dataclass(frozen=True, slots=True)
class ChangeEvent:
    """A fraction of the water is changed for water holding `new`."""

    at_h: float
    fraction: float
    new: float = 0.0


@dataclass(frozen=True, slots=True)
class CarbonEvent:
    """From here on carbon takes `per_h` of the substance an hour (0: carbon out)."""

    at_h: float
    per_h: float


@dataclass(frozen=True, slots=True)
class FlowEvent:
    """From here on `per_h` of the volume is exchanged an hour for water holding `new`."""

    at_h: float
    per_h: float
    new: float = 0.0


Event: TypeAlias = DoseEvent | TopUpEvent | ChangeEvent | CarbonEvent | FlowEvent


@dataclass(frozen=True, slots=True)
class Piece:
    """One stretch between events: C(t) = begins + (source - rate begins)(1 - exp(-rate t))/rate.

    Written with expm1 and log1p, which hold to the last digit down to a rate of nothing.
    """

    from_h: float
    to_h: float
    begins: float
    rate: float
    source: float

    def at(self, t: float) -> float:
        """Concentration at a time inside the stretch."""
        since = t - self.from_h
        spent = -math.expm1(-self.rate * since) / self.rate if self.rate > 0 else since
        return self.begins + (self.source - self.rate * self.begins) * spent

    def when(self, level: float) -> float | None:
        """The time inside the stretch at which it crosses a level; None when it does not."""
        ends = self.at(self.to_h)
        if (self.begins - level) * (ends - level) > 0 or self.begins == ends:
            return None
        spent = (level - self.begins) / (self.source - self.rate * self.begins)
        since = -math.log1p(-self.rate * spent) / self.rate if self.rate > 0 else spent
        return self.from_h + since


@dataclass(frozen=True, slots=True)
class Course:
    """The pieces in order, and what each top-up added."""

    pieces: tuple[Piece, ...]
    added: tuple[tuple[float, float], ...]

    def at(self, t: float) -> float:
        """Concentration at time t, h; at an event, after it."""
        for piece in reversed(self.pieces):
            if t >= piece.from_h:
                return piece.at(t)
        raise InputError(f"{t:g} h is before the course begins")

    def curve(self, times_h: Sequence[float] | npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Concentrations at many times, for a chart."""
        return np.array([self.at(float(t)) for t in times_h])

    @property
    def highest(self) -> float:
        """The greatest concentration of the course: a piece is monotone, so it lies at an end of one."""
        return max(max(piece.begins, piece.at(piece.to_h)) for piece in self.pieces)

    def hours_above(self, level: float) -> float:
        """Time spent at or above a level, h, exact."""
        total = 0.0
        for piece in self.pieces:
            cross = piece.when(level)
            if cross is None:
                total += (piece.to_h - piece.from_h) * ((piece.begins + piece.at(piece.to_h)) / 2 >= level)
            else:
                falls = piece.at(piece.to_h) < piece.begins
                total += cross - piece.from_h if falls else piece.to_h - cross
        return total


def run_course(
    events: Iterable[Event],
    until_h: float,
    *,
    start: float = 0.0,
    half_life_h: float | None = None,
    drip_per_h: float = 0.0,
) -> Course:
    """The course of events up to `until_h`; `half_life_h` None is no decay. Events at one time go in the order given.

    InputError for times outside the course, negative doses, a change of 100 %, or a half-life of nothing.
    """
    if not 0 < until_h <= LONGEST_H:
        raise InputError(f"a course of {until_h:g} h; accepted: more than 0 h to a year", field="until")
    if half_life_h is not None and not half_life_h > 0:
        raise InputError("a half-life is more than 0 h", field="half-life")
    if start < 0 or drip_per_h < 0:
        raise InputError("a concentration and a drip are at least 0")
    ordered = _in_order(events)
    for one in ordered:
        _check(one, until_h)
    decay = 0.0 if half_life_h is None else math.log(2) / half_life_h
    carbon = flow = new = 0.0
    now, level = 0.0, start
    pieces: list[Piece] = []
    added: list[tuple[float, float]] = []
    for event in [*ordered, None]:
        to = until_h if event is None else event.at_h
        if to > now:
            rate, source = decay + carbon + flow, drip_per_h + flow * new
            piece = Piece(now, to, level, rate, source)
            pieces.append(piece)
            now, level = to, piece.at(to)
        match event:
            case DoseEvent(_, adds):
                level += adds
                added.append((now, adds))
            case TopUpEvent(_, target):
                adds = max(0.0, target - level)
                level += adds
                added.append((now, adds))
            case ChangeEvent(_, fraction, of):
                level = (1 - fraction) * level + fraction * of
            case CarbonEvent(_, per_h):
                carbon = per_h
            case FlowEvent(_, per_h, of):
                flow, new = per_h, of
    if pieces[-1].to_h == now and pieces[-1].at(now) != level:
        pieces.append(Piece(now, now, level, 0.0, 0.0))
    return Course(tuple(pieces), tuple(added))


def _check(event: Event, until_h: float) -> None:
    if not 0 <= event.at_h <= until_h:
        raise InputError(f"an event at {event.at_h:g} h is outside the course of {until_h:g} h", field="at")
    match event:
        case DoseEvent(_, value) | TopUpEvent(_, value) | CarbonEvent(_, value) | FlowEvent(_, value, _):
            if not 0 <= value < math.inf:
                raise InputError(f"{value:g} is no dose or rate; it is at least 0")
        case ChangeEvent(_, fraction, _):
            check_fraction(fraction)


@dataclass(frozen=True, slots=True)
class CourseReport:
    """The course as expected and as if nothing were lost, judged against what works and the hard stop.

    `hours_effective` at or above `effective` as expected; `safe` says whether even without loss the stop is never
    passed. `words` say when it is not inside the band.
    """

    expected: Course
    none_lost: Course
    effective: float | None
    hard_max: float | None
    hours_effective: float | None
    safe: bool
    words: tuple[str, ...]


def judge_course(row: DoseRow, events: Sequence[Event], until_h: float, *, start: float = 0.0) -> CourseReport:
    """A course of one treatment against its row: decay by the row's half-life, and none for the stop.

    Top-ups are worked out as expected to decay and what they add is then also run without loss, so that a top-up made
    for a loss that did not happen shows as the overdose it is. An unknown half-life counts as no loss in both.
    """
    expected = run_course(events, until_h, start=start, half_life_h=row.half_life_h)
    # What the top-ups added as expected is put in again as plain doses where nothing is lost.
    tops = iter([amount for (_, amount), was in zip(expected.added, _givers(events), strict=True) if was])
    plain = [DoseEvent(e.at_h, next(tops)) if isinstance(e, TopUpEvent) else e for e in _in_order(events)]
    none_lost = run_course(plain, until_h, start=start)
    words = []
    if row.half_life_h is None:
        words.append("no half-life is known: none is taken as lost, so a course that works may still fade sooner")
    safe = row.hard_max is None or none_lost.highest <= row.hard_max * (1 + 1e-9)
    if not safe:
        passed = next(p.from_h for p in none_lost.pieces if max(p.begins, p.at(p.to_h)) > (row.hard_max or 0))
        words.append(
            f"passes the hard stop of {write_quantity(row.hard_max or 0, row.unit)} from hour {passed:g} if none is "
            f"lost: {write_quantity(none_lost.highest, row.unit)}"
        )
    hours = None
    if row.low is not None:
        hours = expected.hours_above(row.low * (1 - 1e-9))
        if hours < until_h * (1 - 1e-9):
            words.append(
                f"under the effective {write_quantity(row.low, row.unit)} for {until_h - hours:.3g} of {until_h:.3g} h"
            )
    return CourseReport(expected, none_lost, row.low, row.hard_max, hours, safe, tuple(words))


def _in_order(events: Iterable[Event]) -> list[Event]:
    return sorted(events, key=lambda event: event.at_h)


def _givers(events: Iterable[Event]) -> list[bool]:
    """For each event that adds something, in order, whether it is a top-up."""
    return [isinstance(e, TopUpEvent) for e in _in_order(events) if isinstance(e, (DoseEvent, TopUpEvent))]


def top_up_after_change(dose: float, left: float, fraction: float) -> float:
    """What to add, unit to the litre, to bring back the dose after a change, from what is `left` before it.

    Without a test nothing is taken as lost: `left` is then the dose itself.

    >>> top_up_after_change(25, 25, 0.25)
    6.25
    """
    check_fraction(fraction)
    return max(0.0, dose - left * (1 - fraction))


def repeated_doses(dose: float, *, times: int, every_h: float, change_before: float = 0.0) -> list[Event]:
    """Events of a course of equal doses, each but the first after a change of `change_before` of the water."""
    if times < 1 or not every_h > 0:
        raise InputError("a course has at least one dose, and more than 0 h between doses")
    events: list[Event] = []
    for n in range(times):
        if n and change_before:
            events.append(ChangeEvent(n * every_h, change_before))
        events.append(DoseEvent(n * every_h, dose))
    return events
