"""What looks, sightings and checks say of the day on which a tank was infected.

First signs begin `incubation` days after infection, or never; each look notices them with a chance; a check of fish
finds the infection by the share of fish that carry it, before or after signs. A tank nobody looked at says nothing.
Every day of infection gets the probability of what was seen and not seen, all days of first signs summed out.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date as Date
from math import erf, log, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.errors import InputError
from wetmount.origin.room import Check, Room
from wetmount.origin.stockings import Places, Stocking, find_stockings
from wetmount.reference import Reference
from wetmount.reference.rows import Incubation

Array = NDArray[np.float64]

NEVER: Final = 1e-300
"""Stands for probability 0 where a logarithm follows."""


def day_chances(low: float, high: float, least: int, longest: int) -> Array:
    """Chance of each whole number of days from 0 to `longest`, the last holding all that is longer.

    A lognormal with 90 % between `low` and `high`, rounded to days, at least `least`.
    """
    centre, spread = log(sqrt(low * high)), log(high / low) / (2 * 1.645)
    below = np.array([_normal((log(day + 0.5) - centre) / spread) for day in range(longest)])
    chances = np.diff(np.concatenate(([0.0], below, [1.0])))
    chances[least] += chances[:least].sum()
    chances[:least] = 0.0
    return chances


def residual_chances(low: float, high: float) -> Array:
    """Chance of each number of days, from 0, that is left of such a time when it began at an unknown day in the past.

    P(k left) = P(time > k) / mean time: every day of the past is as likely, and it is not over yet.
    """
    chances = day_chances(low, high, 1, int(20 * high) + 2)
    longer = 1 - np.cumsum(chances)
    found: Array = np.maximum(longer, 0.0) / np.maximum(longer, 0.0).sum()
    return found


def _normal(z: float) -> float:
    return (1 + erf(z / sqrt(2))) / 2


@dataclass(frozen=True, slots=True)
class Watched:
    """Days on which somebody looked at a tank, its first signs, and the checks of its fish."""

    looks: tuple[int, ...]
    """Days, in order, on which signs would have been noticed."""
    first_seen: int | None
    checks: tuple[tuple[int, bool, float, float], ...]
    """Day, outcome, and the chance to find it in an infected tank before and after signs began."""

    @property
    def looked_at(self) -> bool:
        """Whether anybody looked at all."""
        return bool(self.looks or self.checks) or self.first_seen is not None

    @property
    def seen(self) -> bool:
        """Whether it was seen, as signs or by a check."""
        return self.first_seen is not None or any(found for _, found, _, _ in self.checks)


def find_watched(
    room: Room, reference: Reference, condition: str, held: Sequence[Stocking] | None = None
) -> tuple[Watched, ...]:
    """What was looked at in every stocking (`find_stockings`), for this condition; looks at empty tanks are left out.

    Raises InputError for an unknown tank or examination, or a day outside the record.
    """
    tanks, last = [tank.id for tank in room.tanks], room.days - 1
    times = reference.incubations[condition]
    held = find_stockings(room) if held is None else held
    lots = Places(held)
    looks: list[set[int]] = [set() for _ in held]
    seen: list[set[int]] = [set() for _ in held]
    checks: list[list[tuple[int, bool, float, float]]] = [[] for _ in held]

    def known(tank: str, where: str) -> str:
        if tank not in lots.of_tank:
            raise InputError(f"{tank!r} is not a tank of the room; accepted are {', '.join(tanks)}", field=where)
        return tank

    def look(tank: str, day: int) -> None:
        place = lots.on(tank, day)
        if place is not None:
            looks[place].add(day)

    def within(on: Date, where: str) -> int:
        day = room.day(on)
        if not 0 <= day <= last:
            raise InputError(f"{on} is not within the record, {room.first} to {room.last}", field=where)
        return day

    def meant(named: str | None) -> bool:
        return (named or room.condition) == condition

    for watch in room.watches:
        days = range(room.day(watch.since), min(last, room.day(watch.until)) + 1, max(1, watch.every_days))
        for tank in watch.tanks:
            for day in days[bisect_left(days, 0) :]:
                look(known(tank, "watch.tanks"), day)
    for sighting in room.sightings:
        if meant(sighting.condition):
            day = within(sighting.on, "sighting.on")
            seen[lots.nearest(known(sighting.tank, "sighting.tank"), day)].add(day)
            if sighting.not_before is not None:
                look(sighting.tank, room.day(sighting.not_before))
    for check in room.checks:
        if not meant(check.condition):
            continue
        day = within(check.on, "check.on")
        where = lots.nearest(known(check.tank, "check.tank"), day)
        examination = reference.examinations.get(check.examination)
        if examination is None:
            accepted = ", ".join(reference.examinations)
            raise InputError(f"{check.examination!r} is no examination; accepted are {accepted}", field="check")
        if examination.subject == "tank":
            (seen if check.seen else looks)[where].add(day)
            continue
        early, late = check_chances(check, reference, times)
        if late > 0:
            checks[where].append((day, check.seen, early, late))
    return tuple(
        Watched(tuple(sorted(looks[one])), min(seen[one], default=None), tuple(checks[one])) for one in range(len(held))
    )


def check_chances(check: Check, reference: Reference, times: Incubation) -> tuple[float, float]:
    """Chance that a check finds it in an infected tank, before and after signs: of `check.fish` fish, else of one.

    Each fish carries it with the share of incubations.csv; a carrier is found by the best of the examination's
    findings that the condition brings, times the chance of noticing. 0 when the examination cannot show it.
    """
    fish_early, fish_late = fish_chances(check.examination, reference, times)
    fish = max(1, check.fish or 1)
    return 1 - (1 - fish_early) ** fish, 1 - (1 - fish_late) ** fish


def fish_chances(examination: str, reference: Reference, times: Incubation) -> tuple[float, float]:
    """Chance that one fish of an infected tank is found, before and after signs began."""
    row = reference.examinations[examination]
    brought = [
        link.probability
        for link in reference.links
        if link.condition == times.condition
        and link.level == 1
        and link.finding in row.short_list
        and reference.findings[link.finding].kind in ("organism", "laboratory")
    ]
    strength = max(brought, default=0.0)
    return times.carried_early * strength * row.detection[0], times.carried_late * strength * row.detection[1]


@dataclass(frozen=True, slots=True)
class SignsTable:
    """For one tank: weight of each day of first signs (columns) for each day of infection (rows).

    Rows: −1 (before the record), 0 … days − 1, never. Columns: day 0 … `reach` − 1, then never or later. A weight is
    the chance of that day times the probability of all that was seen and not seen.
    """

    weight: Array

    @property
    def log_likelihood(self) -> Array:
        """By day of infection, first row −1."""
        found: Array = np.log(np.maximum(self.weight.sum(axis=1), NEVER))
        return found


def signs_table(watched: Watched, times: Incubation, days: int, reach: int) -> SignsTable:
    """Weights of days of infection and of first signs up to day `reach`, which is at least `days`.

    A tank infected before the record was so since an unknown day, and its signs had not begun.
    """
    chances = day_chances(times.incubation_low_d, times.incubation_high_d, 1, reach + 2)
    begins = np.zeros((days + 2, reach + 1))
    carried = residual_chances(times.incubation_low_d, times.incubation_high_d)[:reach]
    begins[0, : len(carried)] = times.shows * carried
    begins[0, reach] = 1 - begins[0, :reach].sum()
    for row, day in enumerate(range(days), start=1):
        ahead = reach - day
        begins[row, day + 1 : reach] = times.shows * chances[1:ahead]
        begins[row, reach] = 1 - begins[row, :reach].sum()
    begins[days + 1, reach] = 1.0
    signs = np.arange(reach + 1)
    fitting = np.ones(reach + 1)
    looks = np.array(watched.looks, dtype=np.int64)
    first = watched.first_seen
    if first is not None:
        missed = ((looks[None, :] >= signs[:, None]) & (looks[None, :] < first)).sum(axis=1)
        fitting = np.where(signs <= first, (1 - times.noticed) ** missed, 0.0)
        fitting[reach] = 0.0
        if first in watched.looks:
            fitting *= times.noticed
    elif looks.size:
        missed = (looks[None, :] >= signs[:, None]).sum(axis=1)
        fitting = (1 - times.noticed) ** missed
        fitting[reach] = 1.0
    weight = begins * fitting
    infected = np.arange(-1, days + 1)[:, None]
    for day, found, early, late in watched.checks:
        chance = np.where(infected > day, 0.0, np.where(signs[None, :] <= day, late, early))
        chance[-1] = 0.0
        weight = weight * (chance if found else 1 - chance)
    return SignsTable(weight)
