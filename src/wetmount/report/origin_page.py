"""What a report tells of where a condition came into the fish room: the verdict, the map, the curve, the chain."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from wetmount.charts_origin import draw_chain, draw_curve
from wetmount.errors import InputError
from wetmount.origin.chains import chain_of
from wetmount.origin.curve import epidemic_curve
from wetmount.origin.illness import tanks_health
from wetmount.origin.results import Candidate, Route, TankState
from wetmount.origin.room import Room, Tank
from wetmount.report.document import Block, Drawing, Heading, Points, Section, Table
from wetmount.report.pages import plain
from wetmount.report.room_map import room_map
from wetmount.report.telling import Telling
from wetmount.report.words import capital, in_hundred, listed

LISTED_FROM: Final = 0.01
MOST_ROUTES: Final = 8
LANES_FROM: Final = 0.5
"""A chain is drawn only from a tank into which it came with at least this chance."""
MOST_LANES: Final = 24
OUTSIDE: Final = "outside"


@dataclass(frozen=True, slots=True)
class OriginTold:
    """A finished trace (`wetmount.origin.results.Trace`) as far as a report tells it.

    `cuts` are the links to cut and `next_looks` the tanks to examine, in words; `made_on` the day it was worked out.
    """

    room: Room
    condition: str
    condition_name: str
    verdict: str
    candidates: tuple[Candidate, ...]
    routes: tuple[Route, ...]
    tanks: tuple[TankState, ...]
    trust: str
    within_days: int
    made_on: datetime.date
    cuts: tuple[str, ...] = ()
    next_looks: tuple[str, ...] = ()
    earlier: tuple[TankState, ...] = ()
    """Fish that stood in a tank before it was emptied and stocked again."""


def where_it_came_in(telling: Telling, told: OriginTold) -> Section:
    """The section; for the teaching edition nothing is told, since all of it is names of tanks and suppliers."""
    blocks: list[Block] = [plain(f"{capital(told.condition_name)}. {_dates(telling, told.verdict)}")]
    blocks.append(
        Table(
            ("Way it can have come in", "Chance that it began so", "When"),
            tuple(_candidates(telling, told)),
            (3, 1.4, 1.6),
        )
    )
    if chain := list(_chain(telling, told)):
        blocks += [Heading("How it reached the tanks in which it was seen"), Points(tuple(chain))]
    blocks += [Heading("Who has it already, who is next"), _map(told)]
    blocks += [plain(line) for line in _states(telling, told)]
    blocks += _curve(telling, told)
    blocks += _lanes(told)
    if told.cuts:
        blocks += [Heading("What to cut first"), Points(told.cuts, numbered=True)]
    if told.next_looks:
        blocks += [Heading("Whom to examine next"), Points(told.next_looks)]
    blocks.append(plain(f"Worked out on {telling.day(told.made_on)}. {told.trust}", quiet=True))
    return Section("origin", "Where it came in", tuple(blocks))


def _dates(telling: Telling, text: str) -> str:
    def words(found: re.Match[str]) -> str:
        try:
            return telling.day(datetime.date.fromisoformat(found.group()))
        except ValueError:  # no day, in a name that somebody typed
            return found.group()

    text = re.sub(r"\b(\d{4}-\d\d-\d\d) to \1\b", r"\1", text)  # from a day to itself
    return re.sub(r"\d{4}-\d\d-\d\d", words, text)


def _candidates(telling: Telling, told: OriginTold) -> Iterator[tuple[str, str, str]]:
    rest: list[Candidate] = []
    for one in told.candidates:
        if one.probability < LISTED_FROM and one.key != OUTSIDE:
            rest.append(one)
            continue
        yield (
            capital(_dates(telling, one.name)),
            in_hundred(one.probability),
            _when(telling, one.start_low, one.start_high),
        )
    if rest:
        chance = sum(one.probability for one in rest)
        yield f"{len(rest)} other ways together", in_hundred(chance), ""


def _when(telling: Telling, low: datetime.date | None, high: datetime.date | None) -> str:
    if high is None:
        return "before the record began"
    if low == high:
        return telling.day(high)
    return f"{'before the record' if low is None else telling.day(low)} to {telling.day(high)}"


def _chain(telling: Telling, told: OriginTold) -> Iterator[str]:
    """The likeliest way to each tank in which it was seen."""
    seen = {state.tank for state in (*told.tanks, *told.earlier) if state.seen}
    told_of: set[str] = set()
    for route in told.routes:
        if route.to_tank not in seen or route.to_tank in told_of:
            continue
        told_of.add(route.to_tank)
        row = telling.reference.link_rates.get(route.kind)
        kind = row.name if row is not None else route.kind
        through = f" ({route.through})" if route.through else ""
        how = f"came in: {kind}{through}" if route.from_tank is None else f"from {route.from_tank} by {kind}{through}"
        way = _dates(telling, f"{route.to_tank}: {how}")
        yield f"{way}, {_when(telling, route.low, route.high)}; {in_hundred(route.probability)}"
        if len(told_of) == MOST_ROUTES:
            return


def _map(told: OriginTold) -> Drawing:
    states = {state.tank: _drawn(state) for state in told.tanks}
    racks: dict[str, list[Tank]] = {}
    for tank in told.room.tanks:
        racks.setdefault(tank.rack or "", []).append(tank)
    drawn = [_rows(tanks, states) for tanks in racks.values()]
    names = listed(racks) if len(racks) < 8 else f"{len(racks)} racks"
    words = (
        f"{names}, tank by tank: filled where it was seen, hatched where it is suspected, dashed where nobody looked."
    )
    return Drawing(room_map(drawn), words)


def _drawn(state: TankState) -> str:
    return state.status if state.status != "clean" or state.looked_at else "unlooked"


def _rows(tanks: list[Tank], states: dict[str, str]) -> list[list[str]]:
    """The shelves of a rack from above; without noted places one row of all."""
    if any(tank.row is None or tank.place is None for tank in tanks):
        return [[states.get(tank.id, "") for tank in tanks]]
    at = {(tank.row, tank.place): states.get(tank.id, "") for tank in tanks}
    across = max(tank.place or 1 for tank in tanks)
    shelves = sorted({tank.row or 1 for tank in tanks})
    return [[at.get((row, place), "") for place in range(1, across + 1)] for row in shelves]


def _states(telling: Telling, told: OriginTold) -> Iterator[str]:
    seen = [state.tank for state in told.tanks if state.seen]
    suspect = sorted((one for one in told.tanks if one.status == "suspect"), key=lambda one: -one.infected)
    yield f"Filled, it was seen: {listed(seen)}." if seen else "It was seen in no tank of the record."
    if suspect:
        named = [f"{one.tank} {in_hundred(one.infected)}" for one in suspect[:12]]
        more = f" and {len(suspect) - 12} more" if len(suspect) > 12 else ""
        yield f"Hatched, infected already with a chance of: {listed(named)}{more}."
        shows = [one for one in suspect if one.shows >= 0.05][:6]
        if shows:
            named = [f"{one.tank} {in_hundred(one.shows)}" for one in shows]
            yield f"Shows signs within {told.within_days} days: {listed(named)}."
    gone = [one.tank if one.seen else f"{one.tank} {in_hundred(one.infected)}" for one in told.earlier]
    if gone:
        yield f"Gone, and others stand there since: {_dates(telling, listed(gone))}. Seen where no chance is given."
    unlooked = [one.tank for one in told.tanks if not one.looked_at]
    if unlooked:
        yield f"Dashed, never looked at: {listed(unlooked)}."


def _curve(telling: Telling, told: OriginTold) -> list[Block]:
    """Tanks first seen ill by day, and below the days on which one exposure can explain all of them."""
    row = telling.reference.incubations.get(told.condition)
    if row is None:
        return []
    found = epidemic_curve(told.room, row.incubation_low_d, row.incubation_high_d)
    if not found.windows:
        return []
    firsts = [window.first for window in found.windows]
    said = listed(f"{firsts.count(day)} on {telling.day(day)}" for day in sorted(set(firsts)))
    words = f"Tanks first seen ill, from {telling.day(told.room.first)} to {telling.day(told.room.last)}: {said}."
    if found.shared is None:
        words += " No single day of exposure fits all of them."
    else:
        begin, end = found.shared
        since = f"from {telling.day(begin)} to" if begin is not None else "up to"
        words += f" Hatched: one exposure {since} {telling.day(end)} fits all of them."
    return [Heading("When it was first seen"), Drawing(draw_curve(found), words), plain(words)]


def _lanes(told: OriginTold) -> list[Block]:
    """What the tank it most likely came into can have reached, in the order of time."""
    root = next((one.tank for one in told.candidates if one.tank is not None and one.probability >= LANES_FROM), None)
    if root is None:
        return []
    try:
        found = chain_of(told.room, root, "outgoing")
    except InputError:  # a tank that has gone since
        return []
    if not found.reached or len(found.reached) > MOST_LANES:
        return []
    health = {one.tank: one for one in tanks_health(told.room)}
    names, drawing = draw_chain(found, told.room, health)
    words = f"What {root} can have reached. Lanes from the top: {listed(names)}. Broad from the day it was seen ill."
    return [Heading(f"What can have gone out from {root}"), Drawing(drawing, words), plain(words)]
