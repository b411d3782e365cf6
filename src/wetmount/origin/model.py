"""The transmission model: tanks are susceptible, exposed, infectious, in whole days.

    hazard of tank i on day d = outside + introductions on d + Σ over infectious tanks j of Σ over kinds k
                                rate_k · strength_kji(d)
    P(infected on day t) = exp(−hazards before t) · (1 − exp(−hazard on t))

A tank infected on day t passes it on from day t + latent time, at least one day, while its fish stand there; one that
was emptied and stocked again is two tanks, the second susceptible unless its fish bring it (`stockings.py`). Tanks
that stood there on the first day may have carried it before (`RESIDENT`). Introductions are independent and rare, so
several are possible. The infector does not appear: it is summed out by adding hazards, and given all days of infection
each infector has the share of its hazard (Kenah, Lipsitch & Robins 2008; as in Wallinga & Teunis 2004 with hazards).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.errors import InputError
from wetmount.origin.links import Links, chance_to_hazard, find_links, rate_prior
from wetmount.origin.observations import SignsTable, Watched, day_chances, find_watched, signs_table
from wetmount.origin.room import Batch, Room
from wetmount.origin.stockings import Places, Stocking, find_stockings
from wetmount.reference import Reference
from wetmount.reference.rows import Incubation

Array = NDArray[np.float64]
Days = NDArray[np.int64]

RESIDENT: Final = -1
"""Day of infection of a tank that carried it before the record."""
OUTSIDE: Final = "outside"
REACH: Final = 28
"""Days after the record for which first signs are foreseen."""
MOST_TANKS: Final = 400
"""Links are held for every pair of tanks, kind and day."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A candidate: a way in that can begin an outbreak."""

    key: str
    kind: str
    """delivery, resident or outside."""
    tank: int | None
    batch: Batch | None
    chance: float
    day: int | None
    """Day of a delivery."""


@dataclass(frozen=True, slots=True)
class Model:
    """All that the posterior needs, as arrays. n stockings of tanks, D days, K kinds of link."""

    room: Room
    condition: str
    times: Incubation
    stockings: tuple[Stocking, ...]
    """The last of every tank, in the order of the room, then earlier ones; called tanks below."""
    links: Links
    watched: tuple[Watched, ...]
    entries: tuple[Entry, ...]
    """Deliveries, residents, then outside, always the last."""
    pulse: Array
    """(n, D): hazard from deliveries on their day."""
    susceptible: NDArray[np.bool_]
    """(n, D): whether the tank holds fish."""
    resident: Array
    """(n,): chance of having carried it before the record."""
    rate_mean: Array
    rate_sd: Array
    """(K + 1,): prior of the log rates of `links.kinds`, then of outside."""
    latent: Array
    """(D + 1,): chance of each latent time, the last holding all longer ones."""
    likelihood: Array
    """(n, D + 2): log of what was seen given the day of infection, from day −1; the last is never."""

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds with a rate: links, then outside."""
        return (*self.links.kinds, OUTSIDE)

    def signs(self, tank: int) -> SignsTable:
        """Weights of days of first signs up to REACH days after the record."""
        return signs_table(self.watched[tank], self.times, self.links.days, self.links.days + REACH)


def build_model(room: Room, reference: Reference, condition: str | None = None) -> Model:
    """From the records of a room to the arrays of the model.

    Raises InputError when no condition is named or it does not spread between tanks, when it was seen nowhere, when
    the room is too large, or when a record names an unknown tank.
    """
    condition = condition or room.condition
    if condition is None:
        raise InputError("no condition to trace; name one, or set it in the room", field="condition")
    times = reference.incubations.get(condition)
    if times is None:
        accepted = ", ".join(reference.incubations)
        raise InputError(
            f"{condition!r} is not known to spread between tanks; accepted are {accepted}", field="condition"
        )
    if not 1 <= len(room.tanks) <= MOST_TANKS:
        raise InputError(f"{len(room.tanks)} tanks; accepted are 1 to {MOST_TANKS}", field="tanks")
    held = find_stockings(room)
    links = find_links(room, reference, held)
    watched = find_watched(room, reference, condition, held)
    if not any(one.seen for one in watched):
        raise InputError("it was seen in no tank: there is no outbreak to trace", field="sightings")
    entries = _entries(room, reference, held)
    days, count = room.days, len(held)
    pulse, resident = np.zeros((count, days)), np.zeros(count)
    for entry in entries:
        if entry.tank is not None and entry.day is not None:
            pulse[entry.tank, entry.day] += chance_to_hazard(entry.chance)
        elif entry.tank is not None:
            resident[entry.tank] = entry.chance
    rows = [reference.link_rates[kind] for kind in (*links.kinds, OUTSIDE)]
    priors = [rate_prior(row, times.spread) for row in rows]
    latent = day_chances(times.latent_low_d, times.latent_high_d, 1, days)
    likelihood = [signs_table(one, times, days, days).log_likelihood for one in watched]
    return Model(
        room,
        condition,
        times,
        held,
        links,
        watched,
        entries,
        pulse,
        np.array([[one.holds(day) for day in range(days)] for one in held]),
        resident,
        np.array([mean for mean, _ in priors]),
        np.array([sd for _, sd in priors]),
        latent,
        np.array(likelihood),
    )


def _entries(room: Room, reference: Reference, held: Sequence[Stocking]) -> tuple[Entry, ...]:
    """Every delivery within the record, every tank with fish on its first day, and outside."""
    tanks, rates = [tank.id for tank in room.tanks], reference.link_rates
    entries, lots = [], Places(held)
    for batch in room.batches:
        if batch.arrived is not None and batch.arrived >= room.first:
            if batch.tank not in tanks:
                accepted = ", ".join(tanks)
                raise InputError(
                    f"{batch.tank!r} is not a tank of the room; accepted are {accepted}", field="batch.tank"
                )
            day = room.day(batch.arrived)
            if day < room.days:
                place = lots.nearest(batch.tank, day)
                entries.append(Entry(f"delivery:{batch.id}", "delivery", place, batch, rates["delivery"].rate, day))
    entries += [
        Entry(f"resident:{one.tank}", "resident", place, None, rates["resident"].rate, None)
        for place, one in enumerate(held)
        if one.first == 0 <= one.last and not _arrives_first(room, one.tank)
    ]
    weeks = rates[OUTSIDE].rate * len(room.tanks) * room.days
    return (*entries, Entry(OUTSIDE, OUTSIDE, None, None, float(-np.expm1(-weeks)), None))


def _arrives_first(room: Room, tank: str) -> bool:
    """Whether the first fish of a tank are a delivery on the first day."""
    batches = [batch for batch in room.batches if batch.tank == tank]
    return bool(batches) and all(batch.arrived is not None and batch.arrived >= room.first for batch in batches)


# --- the density, plainly -------------------------------------------------------------------------------------------


def hazards(model: Model, infectious_day: Days, log_rates: Array) -> Array:
    """Hazard of every tank on every day, (C, n, D), for C settings of days and rates."""
    links, rates = model.links, np.exp(log_rates)
    by_pair = np.tensordot(rates[:, :-1], links.strength, axes=1)
    active = np.arange(links.days) >= infectious_day[:, links.source, None]
    found = np.zeros((len(rates), len(links.tanks), links.days))
    for pair, target in enumerate(links.target):
        found[:, target] += by_pair[:, pair] * active[:, pair]
    return np.where(model.susceptible, found + model.pulse + rates[:, -1, None, None], 0.0)


def log_density(model: Model, day: Days, infectious_day: Days, log_rates: Array) -> Array:
    """Log of prior times likelihood of C settings, up to a constant: days (C, n), log rates (C, K + 1).

    A tank infected before the record is infectious on its first day; one that is not infectious within it, and one not
    infected, has `days` as its infectious day. Any other setting has probability 0.
    """
    days = model.links.days
    hazard = hazards(model, infectious_day, log_rates)
    before = np.concatenate((np.zeros((*hazard.shape[:2], 1)), np.cumsum(hazard, axis=2)), axis=2)
    in_record = (day >= 0) & (day < days)
    hit = np.take_along_axis(hazard, np.clip(day, 0, days - 1)[:, :, None], axis=2)[:, :, 0]
    escaped = np.take_along_axis(before, np.clip(day, 0, days)[:, :, None], axis=2)[:, :, 0]
    tail = model.latent[::-1].cumsum()[::-1]
    lag = infectious_day - day
    with np.errstate(divide="ignore"):
        own = np.where(in_record, np.log(-np.expm1(-hit)) - escaped, -escaped) + np.log1p(-model.resident)
        own = np.where(day == RESIDENT, np.log(model.resident), own)
        latent = np.where(
            infectious_day < days, model.latent[np.clip(lag, 0, days)], tail[np.clip(days - day, 0, days)]
        )
        own += np.where(in_record, np.log(np.where(lag > 0, latent, 0.0)), 0.0)
        own = np.where(~in_record & (infectious_day != np.where(day == RESIDENT, 0, days)), -np.inf, own)
    seen = model.likelihood[np.arange(day.shape[1]), np.clip(day, RESIDENT, days) + 1]
    priors = -(((log_rates - model.rate_mean) / model.rate_sd) ** 2).sum(axis=1) / 2
    found: Array = (own + seen).sum(axis=1) + priors
    return found
