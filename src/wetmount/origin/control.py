"""What to do about an outbreak that was traced: which links to cut, and which tank to examine next.

Both rest on the posterior samples. Links: the spread of the coming days is run with and without each link on the same
chance, so that the difference is the link's alone. Examinations: the expected information of the outcome, in bits.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.errors import InputError
from wetmount.origin.ahead import LiveLink, Luck, live_links, spread_ahead
from wetmount.origin.model import REACH, Model, build_model
from wetmount.origin.observations import fish_chances
from wetmount.origin.results import Draws, Trace
from wetmount.origin.stock import stock_in_time
from wetmount.reference import Reference
from wetmount.reference.rows import Examination

Array = NDArray[np.float64]

RUNS: Final = 500
"""Posterior samples, each with one run of the coming days, on which cuts are compared."""
STEPS: Final = 5
"""Links cut together, at most."""
LEAST_SAVED: Final = 0.02
"""Tanks that a further cut has to save to be worth a line."""
FISH: Final = (1, 2, 3, 5, 8, 12, 20, 30)
"""Numbers of fish that are weighed."""
WORTH_A_FISH: Final = 0.03
"""Bits that each further fish has to add. A choice: more, and a tank is scraped empty for the last bit of certainty."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A link, or all links of a kind, cut from tomorrow on."""

    key: str
    """kind, or kind:name."""
    kind: str
    through: str
    """The system, tool or person; empty for all of a kind, and for splash."""
    how: str
    further: float
    """Expected number of further tanks infected within the days ahead when it is cut."""
    saved: float
    """Expected number that are spared."""
    low: float
    high: float
    """5 and 95 % of the number spared in one course."""
    minutes: float
    """Work a day."""
    saved_per_hour: float
    """Expected number spared for an hour of work a day."""


@dataclass(frozen=True, slots=True)
class Control:
    """Cuts alone, those that spare most first, and together, each the best next to those before it for its effort."""

    days: int
    further: float
    """Expected number of further tanks infected within so many days when nothing is cut."""
    alone: tuple[Cut, ...]
    together: tuple[Cut, ...]
    """`further` and `saved` hold for the cut with all before it; `minutes` is its own."""
    note: str


@dataclass(frozen=True, slots=True)
class Learn:
    """Examining fish of one tank: what the outcome is expected to tell."""

    tank: str
    examination: str
    """Examination id."""
    fish: int
    chance_found: float
    bits: float
    """Expected information about the whole course: who is infected, since when and from where."""
    origin_bits: float
    """The part of it that is about the origin."""
    minutes: float


def cut_links(trace: Trace, reference: Reference, *, days: int = 14, seed: int = 1) -> Control:
    """Expected further tanks within `days`, at most 28, with each link cut, alone and together.

    Raises InputError for a number of days outside 1 to 28.
    """
    if not 1 <= days <= REACH:
        raise InputError(f"{days} days ahead; accepted are 1 to {REACH}", field="days")
    model = build_model(trace.room, reference, trace.condition)
    draws = _thin(trace.draws, RUNS)
    links = live_links(model)
    luck = Luck.draw(model, len(draws.infected_day), np.random.default_rng([seed, 2]))
    end = model.links.days + days

    def further(kept: Sequence[LiveLink]) -> Array:
        day, _ = spread_ahead(model, draws, kept, days, luck)
        found: Array = ((day >= model.links.days) & (day < end)).sum(axis=1).astype(float)
        return found

    nothing = further(links)
    groups = {f"{link.kind}:{link.through}" if link.through else link.kind: [link] for link in links}
    single = dict(groups)
    for kind in dict.fromkeys(link.kind for link in links):
        own = [link for link in links if link.kind == kind]
        if len(own) > 1:
            groups[kind] = own
    alone = [
        _cut(key, own, nothing, further([one for one in links if one not in own]), reference)
        for key, own in groups.items()
    ]
    return Control(
        days,
        float(nothing.mean()),
        tuple(sorted(alone, key=lambda one: (-one.saved, one.key))),
        _together(links, single, nothing, further, reference),
        "Deliveries and moves to come are not counted: none are planned in the record.",
    )


def _together(
    links: tuple[LiveLink, ...],
    groups: dict[str, list[LiveLink]],
    nothing: Array,
    further: Callable[[Sequence[LiveLink]], Array],
    reference: Reference,
) -> tuple[Cut, ...]:
    """Cuts added one by one, each time the one that spares most for its minutes."""
    left, standing = dict(groups), list(links)
    chosen: list[Cut] = []
    before = nothing
    while left and len(chosen) < STEPS:
        tried = {}
        for key, own in left.items():
            after = further([one for one in standing if one not in own])
            tried[key] = ((before - after).mean() / _minutes(own, reference), after)
        best = max(tried, key=lambda key: tried[key][0])
        after = tried[best][1]
        if (before - after).mean() < LEAST_SAVED:
            break
        chosen.append(_cut(best, left[best], nothing, after, reference))
        standing = [one for one in standing if one not in left[best]]
        del left[best]
        before = after
    return tuple(chosen)


def _minutes(links: Sequence[LiveLink], reference: Reference) -> float:
    return sum(reference.link_rates[link.kind].minutes for link in links)


def _cut(key: str, links: Sequence[LiveLink], nothing: Array, after: Array, reference: Reference) -> Cut:
    kind, through = links[0].kind, links[0].through if len(links) == 1 else ""
    spared = nothing - after
    minutes = _minutes(links, reference)
    low, high = np.quantile(spared, (0.05, 0.95))
    return Cut(
        key,
        kind,
        through,
        reference.link_rates[kind].cut,
        float(after.mean()),
        float(spared.mean()),
        float(low),
        float(high),
        minutes,
        float(spared.mean() * 60 / minutes),
    )


def _thin(draws: Draws, most: int) -> Draws:
    count = len(draws.infected_day)
    rows = np.linspace(0, count - 1, min(most, count)).astype(int)
    return Draws(*(getattr(draws, name)[rows] for name in Draws.__dataclass_fields__))


# --- whom to examine next -------------------------------------------------------------------------------------------


def learn_next(trace: Trace, reference: Reference, *, examination: str | None = None) -> tuple[Learn, ...]:
    """Tanks in which it was not seen yet, by what examining some of their fish today is expected to tell.

    `examination`: id; None = of those done on a living fish without a laboratory, the one that finds it best. Empty
    when no such examination can show this condition. Fish are added while
    each is expected to tell at least WORTH_A_FISH. Raises InputError for an unknown examination.
    """
    model = build_model(trace.room, reference, trace.condition)
    row = _examination(model, reference, examination)
    if row is None:
        return ()
    early, late = fish_chances(row.id, reference, model.times)
    last = model.links.days - 1
    draws = trace.draws
    stock = stock_in_time(trace.room)
    origin = draws.origin / draws.origin.sum(axis=1, keepdims=True)
    found = []
    for place, tank in enumerate(trace.room.tanks):
        if model.watched[place].seen or not model.susceptible[place, -1]:
            continue
        infected = draws.infected_day[:, place] <= last
        by_fish = np.where(infected, np.where(draws.signs_day[:, place] <= last, late, early), 0.0)
        held = stock.between(tank.id, trace.room.last)
        if held is not None and held.high == 0:
            continue  # an empty tank has no fish to examine
        numbers = [number for number in FISH if held is None or held.high is None or number <= held.high]
        outcomes = [1 - (1 - by_fish) ** number for number in numbers]
        bits = [_information(chance) for chance in outcomes]
        pick = 0
        while pick + 1 < len(numbers):
            step = numbers[pick + 1] - numbers[pick]
            if bits[pick + 1] - bits[pick] < WORTH_A_FISH * step:
                break
            pick += 1
        chance, number = outcomes[pick], numbers[pick]
        about_origin = _origin_information(chance, origin)
        found.append(
            Learn(tank.id, row.id, number, float(chance.mean()), bits[pick], about_origin, number * row.minutes)
        )
    return tuple(sorted(found, key=lambda one: (-one.bits, one.tank)))


def _examination(model: Model, reference: Reference, named: str | None) -> Examination | None:
    if named is not None:
        if named not in reference.examinations:
            accepted = ", ".join(reference.examinations)
            raise InputError(f"{named!r} is no examination; accepted are {accepted}", field="examination")
        return reference.examinations[named] if fish_chances(named, reference, model.times)[1] > 0 else None
    usable = [
        row
        for row in reference.examinations.values()
        if row.subject == "fish" and not row.gives_up_fish and row.short_list
    ]
    best = max(usable, key=lambda row: (fish_chances(row.id, reference, model.times)[0], -row.minutes), default=None)
    return best if best is not None and fish_chances(best.id, reference, model.times)[0] > 0 else None


def _entropy(chance: Array) -> Array:
    """Of yes or no, in bits."""
    inside = np.clip(chance, 1e-300, 1.0)
    outside = np.clip(1 - chance, 1e-300, 1.0)
    found: Array = -(chance * np.log2(inside) + (1 - chance) * np.log2(outside))
    return found


def _information(chance: Array) -> float:
    """Bits that an outcome with these chances, one a sample, tells of the sample."""
    return float(_entropy(chance.mean(keepdims=True))[0] - _entropy(chance).mean())


def _origin_information(chance: Array, origin: Array) -> float:
    """Bits that the outcome tells of the origin."""

    def spread(weights: Array) -> float:
        total = weights.sum()
        if total <= 0:
            return 0.0
        share = weights / total
        share = share[share > 0]
        return float(-(share * np.log2(share)).sum())

    yes = float(chance.mean())
    after = yes * spread(chance @ origin) + (1 - yes) * spread((1 - chance) @ origin)
    # rounding may leave a trace below zero where nothing is told
    return max(0.0, spread(origin.sum(axis=0)) - after)
