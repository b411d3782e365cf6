"""What a forecast starts from: the tank, the counted burden, the temperatures, what is done; checked once, here."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date as Date
from typing import Final

from wetmount.errors import InputError
from wetmount.forecast.lifecycle import check_temperature
from wetmount.reference import Reference

LONGEST_DAYS: Final = 400
MOST_FISH: Final = 1_000_000
UV_KILL: Final = 0.9
"""Share of free stages killed on one pass through a lamp that suits the flow (the project's assumption)."""
FILTER_CATCH: Final = 0.2
"""Share of free stages caught on one pass through fine floss (the project's assumption)."""


@dataclass(frozen=True, slots=True)
class Situation:
    """The tank and the count.

    `burden` with its limits is parasites per fish, whole fish, as counted (0 with an upper limit when none was seen).
    `temperatures_c`: one a day from the start, the last holds on. Turnovers are tank volumes per day through the lamp
    or the fine filter. `harmful`: parasites per fish held harmful, instead of the table's.
    """

    fish: int
    volume_l: float
    burden: float
    burden_low: float
    burden_high: float
    temperatures_c: tuple[float, ...]
    start: Date | None = None
    water_change_share: float = 0.0
    water_change_every_days: float = 7.0
    uv_turnovers_per_day: float = 0.0
    filter_turnovers_per_day: float = 0.0
    harmful: float | None = None

    def temperature_on(self, day: int) -> float:
        """Temperature of a day, °C."""
        return self.temperatures_c[min(day, len(self.temperatures_c) - 1)]


def check_situation(situation: Situation) -> Situation:
    """The situation, or InputError in a sentence."""
    s = situation
    if not 1 <= s.fish <= MOST_FISH:
        raise InputError(f"{s.fish} fish; accepted are 1 to {MOST_FISH}", field="fish")
    if not 0.1 <= s.volume_l <= 1e9:
        raise InputError(f"{s.volume_l:g} L is no tank; accepted are 0.1 to 1e9 L", field="volume")
    for name, value in (("burden", s.burden), ("burden low", s.burden_low), ("burden high", s.burden_high)):
        if not 0 <= value <= 1e6:
            raise InputError(f"{value:g} parasites per fish; accepted are 0 to 1000000", field=name)
    if not s.burden_low <= s.burden <= s.burden_high or not s.burden_high:
        raise InputError("low, burden and high must rise, and high be above 0", field="burden")
    if not s.temperatures_c:
        raise InputError("no temperature is given; one is enough", field="temperature")
    for temperature in s.temperatures_c:
        check_temperature(temperature)
    if not 0 <= s.water_change_share <= 1:
        raise InputError(
            f"{s.water_change_share:g} is no share of the water; accepted are 0 to 1", field="water change"
        )
    if not 0.25 <= s.water_change_every_days <= LONGEST_DAYS:
        raise InputError("water is changed every quarter of a day to every 400 days", field="water change")
    for name, value in (("ultraviolet", s.uv_turnovers_per_day), ("filter", s.filter_turnovers_per_day)):
        if not 0 <= value <= 1000:
            raise InputError(f"{value:g} turnovers a day; accepted are 0 to 1000", field=name)
    if s.harmful is not None and not 0 < s.harmful <= 1e6:
        raise InputError(f"{s.harmful:g} parasites per fish; accepted are above 0 to 1000000", field="harmful")
    return s


@dataclass(frozen=True, slots=True)
class Treatment:
    """A treatment given on days from the start (0 = the day of the count)."""

    treatment: str
    days: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class LaterCount:
    """A count after the start: `parasites` in all on `fish` fish; `detection` = share of them that it shows."""

    day: int
    parasites: int
    fish: int
    detection: float = 1.0


@dataclass(frozen=True, slots=True)
class StageEffect:
    """What one giving of a treatment does: survival with its ends by stage, and for how many days each acts."""

    treatment: str
    stages: dict[str, tuple[float, float, float, float]] = field(default_factory=dict)
    worse: bool = False
    """The agent makes this parasite grow faster."""


def effect_of(treatment: str, condition: str, reference: Reference) -> StageEffect:
    """The table's rows of a treatment against a condition; InputError names the treatments that have some."""
    rows = [row for row in reference.stage_survival if row.treatment == treatment and row.condition == condition]
    if not rows:
        known = ", ".join(treatments_for(condition, reference)) or "none"
        raise InputError(
            f"what {treatment!r} spares of this parasite is not in the tables; those that are: {known}",
            field="treatment",
        )
    stages = {row.stage: (row.survival, row.low, row.high, row.days) for row in rows}
    return StageEffect(treatment, stages, any(row.stage == "growth" and row.survival > 1 for row in rows))


def treatments_for(condition: str, reference: Reference) -> tuple[str, ...]:
    """Treatments whose stages are known for a condition, in the order of the table."""
    return tuple(dict.fromkeys(row.treatment for row in reference.stage_survival if row.condition == condition))


def check_treatment(treatment: Treatment, days: int) -> Treatment:
    """Days within the forecast, rising."""
    if not treatment.days:
        raise InputError("no day is given for the treatment", field="treatment")
    if any(not 0 <= day < days for day in treatment.days) or list(treatment.days) != sorted(set(treatment.days)):
        raise InputError(f"treatment days must rise and lie between 0 and {days - 1}", field="treatment")
    return treatment


def check_counts(counts: Sequence[LaterCount], days: int) -> Sequence[LaterCount]:
    """Later counts that can be used, or InputError."""
    for count in counts:
        if count.parasites < 0:
            raise InputError(f"{count.parasites} is negative; a count is a whole number from 0", field="later count")
        if count.fish < 1 or not 0 < count.detection <= 1:
            raise InputError(
                "a later count needs at least one fish and a detection above 0, up to 1", field="later count"
            )
        if not 0 < count.day <= days:
            raise InputError(f"day {count.day} of a later count is outside 1 to {days}", field="later count")
    return counts


def fraction_of_day(days: float, per_day: int) -> int:
    """A time in days as whole steps."""
    return math.floor(days * per_day + 0.5)
