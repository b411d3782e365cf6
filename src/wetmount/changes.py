"""Water changes: what a schedule does to a substance, how many it takes, and what no schedule does.

Mass balance of a mixed tank: one change of a fraction f leaves (1 - f) C + f Cin; n of them leave
Cin + (1 - f)^n (C - Cin). With an input P between changes it settles at Cin + P/f before and Cin + P (1 - f)/f after.
Limits on the change of one day are common practice except where a row is named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from wetmount.errors import InputError

MOST_AT_ONCE: Final = 0.9
"""A change of more is a move to another tank and is refused."""
# Greatest change in a day by property (up and down); common practice, no source, but for temperature and alkalinity.
# Total hardness takes the figure of alkalinity, whose degrees are of the same size: a judgement, no source.
DAY_LIMITS: Final = {
    "temperature_c": 2.0,
    "ph": 0.3,
    "alkalinity_mg_caco3_per_l": 20.0,
    "hardness_mg_caco3_per_l": 20.0,
}
COOLING_C: Final = 1.0
CONDUCTIVITY_SHARE: Final = 0.2
"""Greatest change of conductivity in one change, as a share of the reading."""


def check_fraction(fraction: float, *, field: str = "change") -> None:
    """InputError unless 0 < fraction <= 0.9."""
    if not 0 < fraction <= MOST_AT_ONCE:
        raise InputError(
            f"a change of {100 * fraction:g} % is not possible with fish in the tank; accepted: more than 0 to 90 %",
            field=field,
        )


def single_change(value: float, new: float, fraction: float) -> float:
    """What one change leaves of anything that mixes: (1 - f) C + f Cin; 0 <= f <= 0.9.

    >>> single_change(50, 0, 0.2)
    40.0
    """
    check_fraction(fraction)
    return (1 - fraction) * value + fraction * new


def after_changes(value: float, new: float, fraction: float, times: int) -> float:
    """What n equal changes leave: Cin + (1 - f)^n (C - Cin)."""
    check_fraction(fraction)
    return float(new + (1 - fraction) ** times * (value - new))


def changes_needed(value: float, target: float, new: float, fraction: float) -> int | None:
    """How many equal changes bring a value to the target; None when new water alone is already past it.

    >>> changes_needed(100, 10, 0, 0.5)
    4
    """
    check_fraction(fraction)
    if value == target or (value - target) * (value - new) <= 0:
        return 0
    if (target - new) * (value - new) <= 0:
        return None
    return math.ceil(math.log((target - new) / (value - new)) / math.log(1 - fraction) - 1e-9)


@dataclass(frozen=True, slots=True)
class Settled:
    """Where a substance settles under a repeated change: just before it and just after it."""

    before: float
    after: float


def steady_state(
    input_per_interval: float, fraction: float, *, new: float = 0.0, decay_per_h: float = 0.0, interval_h: float = 168.0
) -> Settled:
    """Limit of regular changes of a fraction with a steady input between them, decay included.

    With a = exp(-k T) and g = (P/T)(1 - a)/k (P without decay): after = ((1 - f) g + f Cin)/(1 - (1 - f) a).

    >>> steady_state(5, 0.25, new=10)
    Settled(before=30.0, after=25.0)
    """
    check_fraction(fraction)
    if decay_per_h < 0 or not interval_h > 0:
        raise InputError("decay is at least 0 and the interval more than 0 h")
    kept = math.exp(-decay_per_h * interval_h)
    gained = input_per_interval * (1.0 if decay_per_h == 0 else (1 - kept) / (decay_per_h * interval_h))
    after = ((1 - fraction) * gained + fraction * new) / (1 - (1 - fraction) * kept)
    return Settled(after * kept + gained, after)


@dataclass(frozen=True, slots=True)
class WaterProperties:
    """What a change moves; None is not known. Alkalinity and hardness as mg/L CaCO3, conductivity at 25 °C."""

    temperature_c: float | None = None
    ph: float | None = None
    alkalinity_mg_caco3_per_l: float | None = None
    conductivity_us_per_cm: float | None = None
    hardness_mg_caco3_per_l: float | None = None


@dataclass(frozen=True, slots=True)
class LargestChange:
    """The greatest fraction within the limits of one day, and what sets it; `unknown` could not be judged."""

    fraction: float
    set_by: str
    unknown: tuple[str, ...]


def largest_change(tank: WaterProperties, new: WaterProperties, *, ph_after: float | None = None) -> LargestChange:
    """f = limit / |new - old| for every property that mixes; the least of them, at most a half.

    pH does not mix as a number: it counts only with `ph_after`, the pH of a full mixing sum at a half change. Its
    change is taken as proportional to the fraction, which is cautious for buffered water. InputError for none known.
    """
    best, by = 0.5, "half the water, as much as is usual at once"
    unknown = []
    for name, limit in DAY_LIMITS.items():
        old, other = getattr(tank, name), getattr(new, name)
        if old is None or other is None:
            unknown.append(name)
            continue
        if name == "ph":
            if ph_after is None:
                unknown.append(name)
                continue
            difference = abs(ph_after - old) / 0.5
        else:
            difference = abs(other - old)
        if name == "temperature_c" and other < old:
            limit = COOLING_C
        if difference > 0 and limit / difference < best:
            best, by = limit / difference, name
    old, other = tank.conductivity_us_per_cm, new.conductivity_us_per_cm
    if old is None or other is None:
        unknown.append("conductivity_us_per_cm")
    elif abs(other - old) > 0 and CONDUCTIVITY_SHARE * old / abs(other - old) < best:
        best, by = CONDUCTIVITY_SHARE * old / abs(other - old), "conductivity_us_per_cm"
    return LargestChange(best, by, tuple(unknown))


@dataclass(frozen=True, slots=True)
class PlannedChange:
    """One change of the calendar: litres of new water and what it leaves of the substance."""

    on: date
    fraction: float
    litres: float
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class ChangePlan:
    """Changes that bring a substance to its target, or as near as new water lets them; `words` says what not."""

    changes: tuple[PlannedChange, ...]
    reached: float
    words: tuple[str, ...]


def plan_changes(
    value: float,
    target: float,
    new: float,
    *,
    litres: float,
    fraction: float,
    first: date,
    today: date | None = None,
    every_days: int = 1,
    input_a_day: float = 0.0,
    most: int = 60,
) -> ChangePlan:
    """Equal changes every so many days until a substance is at its target, its input meanwhile counted.

    InputError for a first day in the past, a change of 100 %, or an interval under a day.
    """
    check_fraction(fraction)
    if today is not None and first < today:
        raise InputError(f"{first.isoformat()} is in the past; begin on {today.isoformat()} or later", field="first")
    if every_days < 1 or not 0 < litres < math.inf:
        raise InputError("changes are at least a day apart and the volume is more than 0 L")
    changes: list[PlannedChange] = []
    now = value
    for n in range(most):
        if now <= target:
            break
        if n:
            now += input_a_day * every_days
        after = single_change(now, new, fraction)
        changes.append(PlannedChange(first + timedelta(days=n * every_days), fraction, fraction * litres, now, after))
        if after >= now - 1e-12 or (n and after >= changes[-2].after - 1e-12):
            break
        now = after
    words = []
    if now > target:
        floor = steady_state(input_a_day * every_days, fraction, new=new).after
        words.append(
            f"these changes do not reach the target: they settle at {floor:.3g}. Better new water, a larger share, or "
            "less input is needed"
        )
    return ChangePlan(tuple(changes), now, tuple(words))


def transmission_left(
    fraction: float, every_h: float, *, death_per_h: float, finds_host_per_h: float, uv_per_h: float = 0.0
) -> float:
    """Share of a waterborne parasite's transmission that a schedule leaves: (bN + m)/(bN + m + D + u), with the
    washout D = -ln(1 - f)/T. `finds_host_per_h` is 1 over the mean time to find a host.

    >>> round(transmission_left(0.5, 24, death_per_h=1 / 24, finds_host_per_h=1 / 3), 3)
    0.928
    """
    check_fraction(fraction)
    rest = finds_host_per_h + death_per_h
    return rest / (rest - math.log(1 - fraction) / every_h + uv_per_h)


def settled_load(shed_per_h: float, litres: float, *, fraction: float, every_h: float, removal_per_h: float) -> Settled:
    """Organisms to the litre under steady shedding, death or filtration `removal_per_h`, and regular changes."""
    if not 0 < litres < math.inf or shed_per_h < 0:
        raise InputError("shedding is at least 0 and the volume more than 0 L")
    return steady_state(shed_per_h * every_h / litres, fraction, decay_per_h=removal_per_h, interval_h=every_h)
