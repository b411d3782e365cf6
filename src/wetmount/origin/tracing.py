"""From a fish room to where an outbreak came from: builds the model, samples it, and says what was found."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date as Date
from datetime import timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.origin.ahead import NEVER_SHOWS, Luck, live_links, spread_ahead
from wetmount.origin.model import REACH, Entry, Model, build_model
from wetmount.origin.observations import day_chances
from wetmount.origin.posterior import MOST_SWEEPS, PAIRS, sample
from wetmount.origin.recorder import Kept
from wetmount.origin.results import (
    Candidate,
    Convergence,
    Draws,
    RateFound,
    Route,
    StartDay,
    Status,
    TankState,
    Trace,
)
from wetmount.origin.room import Room
from wetmount.origin.sampler import pick
from wetmount.reference import Reference

Array = NDArray[np.float64]
Days = NDArray[np.int64]

SAMPLES: Final = 2000
"""Posterior samples kept for what follows."""
PART_SAMPLES: Final = 400
"""The same while the result is still being refined."""
SHOWS_WITHIN_DAYS: Final = 14
CREDIBLE: Final = 0.9
SUSPECT_FROM: Final = 0.1
"""Chance of being infected from which a tank without signs is treated as suspect. A choice, not a measurement."""
ROUTE_FROM: Final = 0.05
"""Routes with at least this chance are listed."""
LEADS_FROM, LEADS_BY = 0.5, 2.0
"""The data can tell when the leading candidate has this probability and so many times that of the next."""


def trace(
    room: Room,
    reference: Reference,
    *,
    seed: int = 1,
    condition: str | None = None,
    progress: Callable[[Trace], object] | None = None,
    cancel: Callable[[], bool] | None = None,
    pairs: int = PAIRS,
    most_sweeps: int = MOST_SWEEPS,
) -> Trace:
    """Where an outbreak came from, by what routes, who else has it.

    `condition`: id to trace; None = the one the room names. `progress` is given a partial Trace within about a second
    and again as it refines; `cancel`, asked often, stops by answering True, and what there is comes back, marked as
    not converged. `pairs` and `most_sweeps` bound the sampling; the same seed gives the same result.

    Raises InputError when there is nothing to trace, or the records do not fit together.
    """
    model = build_model(room, reference, condition)

    def partly(kept: Kept, convergence: Convergence) -> object:
        assert progress is not None
        return progress(summarise(model, reference, kept, convergence, seed, partial=True))

    kept, convergence = sample(
        model,
        seed=seed,
        pairs=pairs,
        most_sweeps=most_sweeps,
        on_part=None if progress is None else partly,
        cancel=cancel,
    )
    return summarise(model, reference, kept, convergence, seed)


def summarise(
    model: Model, reference: Reference, kept: Kept, convergence: Convergence, seed: int, *, partial: bool = False
) -> Trace:
    """What the samples say. Frequencies use all of them; what needs simulation, a thinned part."""
    room = model.room
    rng = np.random.default_rng([seed, 1])
    day, infector, root = (np.concatenate(part) for part in (kept.day, kept.infector, kept.root))
    first, origin = np.concatenate(kept.first), np.concatenate(kept.origin)
    draws = _draws(model, kept, PART_SAMPLES if partial else SAMPLES, rng)
    began = day[np.arange(len(day)), first]
    candidates = _candidates(model, reference, origin.mean(axis=0), infector, first, began)
    seen = np.array([watched.seen for watched in model.watched])
    same = (root == first[:, None]) | (root < 0)
    states = _tanks(model, day, root, first, draws, rng)
    can_tell, verdict = _verdict(candidates, began, room)
    return Trace(
        room=room,
        condition=model.condition,
        condition_name=reference.conditions[model.condition].name,
        candidates=candidates,
        credible=_credible(candidates),
        start_days=_start_days(began, room),
        routes=_routes(model, day, infector, np.concatenate(kept.log_rates), seen),
        tanks=states[: len(room.tanks)],
        earlier=states[len(room.tanks) :],
        more_than_one=float(1 - same[:, seen].all(axis=1).mean()),
        rates=_rates(model, reference, np.concatenate(kept.log_rates)),
        can_tell=can_tell,
        verdict=verdict,
        notes=_notes(model),
        shows_within_days=SHOWS_WITHIN_DAYS,
        convergence=convergence,
        partial=partial,
        seed=seed,
        reference_version=reference.version,
        draws=draws,
    )


def _date(room: Room, day: float) -> Date | None:
    return None if day < 0 else room.first + timedelta(days=int(day))


def _span(room: Room, days: Days) -> tuple[Date | None, Date | None, Date | None]:
    """5 %, median and 95 % of days, as dates."""
    low, middle, high = np.quantile(days, (0.05, 0.5, 0.95), method="inverted_cdf")
    return _date(room, low), _date(room, middle), _date(room, high)


def _draws(model: Model, kept: Kept, most: int, rng: np.random.Generator) -> Draws:
    """Samples thinned evenly, with what the sampler left open: days beyond the record, days of first signs."""
    day, infectious = np.concatenate(kept.day), np.concatenate(kept.infectious)
    chosen = np.linspace(0, len(day) - 1, min(most, len(day))).astype(int)
    day, infectious = day[chosen], infectious[chosen]
    days = model.links.days
    times = model.times
    latent = day_chances(times.latent_low_d, times.latent_high_d, 1, days + 4 * REACH)
    late = np.nonzero((day < days) & (infectious >= days))
    lag = np.arange(len(latent))[None, :]
    least = (days - day[late])[:, None]
    infectious[late] = day[late] + pick(np.where(lag >= least, latent, 0.0).T, rng)
    infected = np.where(day < days, day, NEVER_SHOWS)
    infectious = np.where(day < days, infectious, NEVER_SHOWS)
    signs = np.empty_like(day)
    for tank in range(day.shape[1]):
        weight = model.signs(tank).weight[day[:, tank] + 1]
        picked = pick(weight.T, rng)
        signs[:, tank] = np.where(picked < weight.shape[1] - 1, picked, NEVER_SHOWS)
    return Draws(
        infected,
        infectious,
        signs,
        np.concatenate(kept.log_rates)[chosen],
        np.concatenate(kept.origin)[chosen],
        np.concatenate(kept.infector)[chosen],
    )


def _name(entry: Entry, model: Model) -> str:
    tank = None if entry.tank is None else model.stockings[entry.tank].tank
    if entry.batch is not None:
        origin = f" from {entry.batch.origin}" if entry.batch.origin else ""
        return f"{entry.batch.species}{origin}, delivered {entry.batch.arrived} into {tank}"
    if tank is not None:
        return f"fish that stood in {tank} on the first day"
    return "from outside the record"


def _candidates(
    model: Model, reference: Reference, share: Array, infector: Days, first: Days, began: Days
) -> tuple[Candidate, ...]:
    count = len(model.links.tanks)
    entry_of_first = infector[np.arange(len(first)), first] - count
    found = []
    for place, entry in enumerate(model.entries):
        own = began[entry_of_first == place]
        if entry.day is not None:
            own = np.array([entry.day])
        low, middle, high = _span(model.room, own) if own.size else (None, None, None)
        tank = None if entry.tank is None else model.stockings[entry.tank].tank
        batch = None if entry.batch is None else entry.batch.id
        found.append(
            Candidate(
                entry.key,
                entry.kind,  # type: ignore[arg-type]
                _name(entry, model),
                tank,
                batch,
                entry.chance,
                float(share[place]),
                low,
                middle,
                high,
            )
        )
    return tuple(sorted(found, key=lambda one: (-one.probability, one.key)))


def _credible(candidates: tuple[Candidate, ...]) -> tuple[str, ...]:
    held, keys = 0.0, []
    for one in candidates:
        keys.append(one.key)
        held += one.probability
        if held >= CREDIBLE - 1e-9:
            break
    return tuple(keys)


def _start_days(began: Days, room: Room) -> tuple[StartDay, ...]:
    days, times = np.unique(began, return_counts=True)
    return tuple(
        StartDay(_date(room, day), float(number / len(began))) for day, number in zip(days, times, strict=True)
    )


def _routes(model: Model, day: Days, infector: Days, log_rates: Array, seen: NDArray[np.bool_]) -> tuple[Route, ...]:
    """How each tank that more likely than not is infected came to it, most probable first."""
    links, room, count = model.links, model.room, len(model.links.tanks)
    found = []
    infected = (day < links.days).mean(axis=0)
    for tank in np.flatnonzero(seen | (infected > 0.5)):
        ways, times = np.unique(infector[:, tank], return_counts=True)
        for way, number in zip(ways, times, strict=True):
            if way < 0 or number / len(day) < ROUTE_FROM:
                continue
            rows = np.flatnonzero(infector[:, tank] == way)
            low, _, high = _span(room, day[rows, tank])
            if way >= count:
                entry = model.entries[way - count]
                through = "" if entry.batch is None else entry.batch.id
                found.append(Route(links.tanks[tank], None, entry.kind, through, float(number / len(day)), low, high))
                continue
            pair = np.flatnonzero((links.target == tank) & (links.source == way))[0]
            hazard = np.exp(log_rates[rows, :-1]) * links.strength[:, pair, day[rows, tank]].T
            share = (hazard / hazard.sum(axis=1, keepdims=True)).sum(axis=0) / len(day)
            for kind, part in zip(links.kinds, share, strict=True):
                if part >= ROUTE_FROM:
                    through = links.through(kind, int(way), int(tank))
                    found.append(Route(links.tanks[tank], links.tanks[way], kind, through, float(part), low, high))
    return tuple(sorted(found, key=lambda one: (-one.probability, one.to_tank)))


def _tanks(
    model: Model, day: Days, root: Days, first: Days, draws: Draws, rng: np.random.Generator
) -> tuple[TankState, ...]:
    room, end = model.room, model.links.days + SHOWS_WITHIN_DAYS
    count = len(room.tanks)
    # nothing says that a tank was disinfected before it was stocked again
    seen_before = {
        one.tank for one, own in zip(model.stockings[count:], model.watched[count:], strict=True) if own.seen
    }
    luck = Luck.draw(model, len(draws.infected_day), rng)
    _, signs = spread_ahead(model, draws, live_links(model), SHOWS_WITHIN_DAYS, luck)
    found = []
    for tank, watched in enumerate(model.watched):
        had = day[:, tank] < model.links.days
        chance = float(had.mean())
        suspect = chance >= SUSPECT_FROM or (tank < len(room.tanks) and model.stockings[tank].tank in seen_before)
        status: Status = "sick" if watched.seen else "suspect" if suspect else "clean"
        low, middle, high = _span(room, day[had, tank]) if had.any() else (None, None, None)
        from_outbreak = float((root[had, tank] == first[had]).mean()) if had.any() else 0.0
        gone = not model.susceptible[tank, -1]
        shows = 0.0 if watched.seen or gone else float((signs[:, tank] < end).mean())
        name = model.links.tanks[tank]
        found.append(
            TankState(name, status, watched.looked_at, watched.seen, chance, shows, from_outbreak, low, middle, high)
        )
    return tuple(found)


def _rates(model: Model, reference: Reference, log_rates: Array) -> tuple[RateFound, ...]:
    found = []
    for place, kind in enumerate(model.kinds):
        row = reference.link_rates[kind]
        mean, sd = model.rate_mean[place], model.rate_sd[place]
        hazards = (
            np.exp(mean + sd * np.array([-1.645, 0.0, 1.645])),
            np.exp(np.quantile(log_rates[:, place], (0.05, 0.5, 0.95))),
        )
        # chances are held as hazards; the table has them as chances
        prior, after = (one if row.unit == "tanks/day" else -np.expm1(-one) for one in hazards)
        found.append(
            RateFound(kind, row.name, row.unit, tuple(map(float, prior)), tuple(map(float, after)))  # type: ignore[arg-type]
        )
    return tuple(found)


def _verdict(candidates: tuple[Candidate, ...], began: Days, room: Room) -> tuple[bool, str]:
    """Whether the data can tell, and a sentence."""
    leading, *others = candidates
    second = others[0].probability if others else 0.0
    low, middle, high = _span(room, began)
    earliest = "before the record" if low is None else low
    if middle is None:
        when = "before the record begins"
    else:
        when = f"on {middle}" if low == high else f"about {middle} (90 %: {earliest} to {high})"
    if leading.probability >= LEADS_FROM and leading.probability >= LEADS_BY * second:
        next_best = f"; next, {_with_chance(others[0])}" if second >= ROUTE_FROM else ""
        return True, f"Most likely {_with_chance(leading)}, {when}{next_best}."
    close = [one for one in candidates if one.probability >= max(ROUTE_FROM, leading.probability / 4)]
    named = "; ".join(map(_with_chance, close[:4])) + (f" and {len(close) - 4} more" if len(close) > 4 else "")
    return False, f"The record cannot tell where it began: {named} explain it about as well. It came in {when}."


def _with_chance(candidate: Candidate) -> str:
    return f"{candidate.name} ({100 * candidate.probability:.0f} %)"


def _notes(model: Model) -> tuple[str, ...]:
    """What was taken as it is, for want of a record."""
    room, notes = model.room, []
    held = tuple(zip(model.stockings, model.watched, strict=True))
    unseen = [one.name for one, watched in held if not watched.looked_at and one.first <= one.last]
    if unseen:
        notes.append(f"Nobody looked at {', '.join(unseen)}: they are judged by their links alone.")
    silent = [one.name for one, watched in held if watched.first_seen is not None and not watched.looks]
    if silent:
        notes.append(
            f"No looks are written down for {', '.join(silent)}: the first signs there may be older than the day noted."
        )
    again = model.stockings[len(room.tanks) :]
    if again:
        notes.append(
            f"Emptied and stocked again: {', '.join(one.name for one in again)}. The fish before and those after are "
            "followed apart. What wet glass, filter and gravel keep is not reckoned with."
        )
    gone = [one for one in model.stockings[: len(room.tanks)] if one.first <= one.last < room.days - 1]
    if gone:
        named = ", ".join(f"{one.tank} ({room.first + timedelta(days=one.last)})" for one in gone)
        notes.append(
            f"Empty since their last fish went: {named}. They pass nothing on from then; what is said is of those fish."
        )
    if not room.workers and all(tank.order is None for tank in room.tanks):
        notes.append("No order of work is written down: nothing is taken to pass by hands.")
    if any(entry.tank is not None and entry.day is None for entry in model.entries):
        notes.append("Tanks held from the first day may have carried it before: when is not estimated.")
    return tuple(notes)
