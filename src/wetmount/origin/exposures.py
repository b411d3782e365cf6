"""What the ill tanks had in common: every exposure of a room compared, the number of comparisons said.

The unit is the tank. Tanks that held no fish, and tanks that nobody looked at, are left out and counted as such.
For an ill tank an exposure counts when it came on or before the day of its first sign, for a well one at any time.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date as Date
from typing import Final

from wetmount.case_check import nearest, shorten
from wetmount.errors import InputError
from wetmount.origin.chains import neighbours
from wetmount.origin.illness import TankHealth, tanks_health
from wetmount.origin.room import Batch, Room, Tank
from wetmount.origin.stock import Stock, stock_in_time
from wetmount.origin.tables import (
    Ratio,
    Stratified,
    TwoByTwo,
    attack_rates,
    benjamini_hochberg,
    exact_odds_ratio,
    fisher_exact,
    holm,
    mantel_haenszel,
    odds_ratio,
    risk_ratio,
    two_by_two,
)

FACTORS: Final = (
    "origin",
    "delivery",
    "species",
    "system",
    "row",
    "feed",
    "worker",
    "tool",
    "contact",
    "neighbour",
)
"""What tanks can have in common. `contact` and `neighbour` ask for a tank that was ill before."""

Had = dict[str, bool | None]
"""Tank → whether it had the exposure; None = not known."""


@dataclass(frozen=True, slots=True)
class FishRates:
    """Fish ill of those at risk, in exposed and unexposed tanks whose fish were counted.

    Fish of one tank share their fate, so no test and no interval is given: both would look far too sure.
    """

    ill_exposed: int
    exposed: int
    ill_unexposed: int
    unexposed: int
    tanks_left_out: int


@dataclass(frozen=True, slots=True)
class Exposure:
    """One comparison: tanks with and without an exposure.

    `p` is Fisher's exact, two-sided; `holm` and `benjamini_hochberg` are p adjusted for all distinct comparisons.
    `same_as` names an earlier exposure that exactly the same tanks had ("not …": exactly the others): the two cannot be
    told apart.
    """

    factor: str
    level: str
    table: TwoByTwo
    tanks: tuple[str, ...]
    """Exposed tanks."""
    others: tuple[str, ...]
    """Unexposed tanks."""
    unknown: int
    """Tanks left out because it is not known whether they had it."""
    attack_exposed: float
    attack_unexposed: float
    risk: Ratio
    odds: Ratio
    odds_exact: Ratio
    """Conditional odds ratio with its exact interval: the one to trust with few tanks or a zero cell."""
    p: float
    holm: float
    benjamini_hochberg: float
    same_as: str | None
    fish: FishRates | None


@dataclass(frozen=True, slots=True)
class ExposureTables:
    """All comparisons of a room, those least likely by chance first."""

    condition: str | None
    until: Date
    ill: tuple[str, ...]
    well: tuple[str, ...]
    not_looked_at: tuple[str, ...]
    empty: tuple[str, ...]
    rows: tuple[Exposure, ...]
    comparisons: int
    """Distinct comparisons: exposures that part the tanks in the same way count once."""
    not_compared: tuple[tuple[str, str, str], ...]
    """(factor, level, why) of exposures that all tanks had, or none."""


def exposure_tables(room: Room, factors: Collection[str] = FACTORS, until: Date | None = None) -> ExposureTables:
    """Compare the ill with the well tanks by every level of the given factors. Raises InputError for unknown ones."""
    for factor in factors:
        _known(factor)
    groups = _Groups(room, until)
    rows: list[Exposure] = []
    not_compared: list[tuple[str, str, str]] = []
    for factor in [factor for factor in FACTORS if factor in factors]:
        for level, had in groups.levels(factor).items():
            row = groups.compare(factor, level, had)
            if row is None:
                some = any(had.get(one.tank) for one in groups.looked)
                why = "every tank looked at had it" if some else "no tank looked at had it"
                not_compared.append((factor, level, why if groups.ill and groups.well else "no tank ill, or none well"))
            else:
                rows.append(row)
    rows, comparisons = _adjusted(rows)
    health = groups.health
    return ExposureTables(
        room.condition,
        groups.until,
        groups.ill,
        groups.well,
        tuple(one.tank for one in health if one.state == "not looked at"),
        tuple(one.tank for one in health if one.state == "empty"),
        tuple(rows),
        comparisons,
        tuple(not_compared),
    )


@dataclass(frozen=True, slots=True)
class StratifiedExposure:
    """One exposure with another factor held fixed."""

    factor: str
    level: str
    within: str
    strata: dict[str, TwoByTwo]
    result: Stratified


def stratified_exposure(
    room: Room, factor: str, level: str, within: str, until: Date | None = None
) -> StratifiedExposure:
    """Compare by one exposure inside each stratum of another factor (Mantel–Haenszel).

    A tank that has several levels of `within` is a stratum with those that have the same ones. Raises InputError for
    an unknown factor or level.
    """
    _known(factor)
    _known(within)
    groups = _Groups(room, until)
    levels = groups.levels(factor)
    if level not in levels:
        guess = nearest(level, levels) or f"there are {', '.join(levels) or 'none'}"
        raise InputError(f'"{shorten(level)}" is no {factor} of this room; {guess}', field="level")
    had, others = levels[level], groups.levels(within)
    strata: dict[str, list[TankHealth]] = {}
    for one in groups.looked:
        name = " and ".join(sorted(other for other, has in others.items() if has.get(one.tank))) or "none noted"
        strata.setdefault(name, []).append(one)
    tables = {
        name: two_by_two([one.state == "ill" for one in tanks], [had.get(one.tank) for one in tanks])[0]
        for name, tanks in sorted(strata.items())
    }
    return StratifiedExposure(factor, level, within, tables, mantel_haenszel(list(tables.values())))


def _known(factor: str) -> None:
    if factor not in FACTORS:
        guess = nearest(factor, FACTORS) or f"accepted are {', '.join(FACTORS)}"
        raise InputError(f'"{shorten(factor)}" is nothing tanks are compared by; {guess}', field="factor")


class _Groups:
    """The tanks of a room by state, and who had what."""

    def __init__(self, room: Room, until: Date | None) -> None:
        self.room = room
        self.until = until or room.last
        self.stock: Stock = stock_in_time(room)
        self.health = tanks_health(room, until, self.stock)
        self.looked = [one for one in self.health if one.state in ("ill", "well")]
        self.ill = tuple(one.tank for one in self.looked if one.state == "ill")
        self.well = tuple(one.tank for one in self.looked if one.state == "well")
        self.first: dict[str, Date | None] = {one.tank: one.first for one in self.health}

    def cutoff(self, tank: str) -> Date:
        """The last day on which an exposure counts for a tank."""
        return self.first[tank] or self.until

    def compare(self, factor: str, level: str, had: Had) -> Exposure | None:
        """The row of one exposure, or None when there is nothing to compare."""
        table, unknown = two_by_two(
            [one.state == "ill" for one in self.looked], [had.get(one.tank) for one in self.looked]
        )
        if not table.comparable:
            return None
        exposed, unexposed = attack_rates(table)
        assert exposed is not None, "a comparable table has exposed units"
        assert unexposed is not None, "and unexposed ones"
        p = fisher_exact(table)
        return Exposure(
            factor,
            level,
            table,
            tuple(one.tank for one in self.looked if had.get(one.tank)),
            tuple(one.tank for one in self.looked if had.get(one.tank) is False),
            unknown,
            exposed,
            unexposed,
            risk_ratio(table),
            odds_ratio(table),
            exact_odds_ratio(table),
            p,
            p,
            p,
            None,
            self._fish(had),
        )

    def _fish(self, had: Had) -> FishRates | None:
        ill, at_risk, left_out = {True: 0, False: 0}, {True: 0, False: 0}, 0
        for one in self.looked:
            side = had.get(one.tank)
            if side is None or one.affected is None or not one.at_risk:
                left_out += 1
            else:
                ill[side] += min(one.affected, one.at_risk)
                at_risk[side] += one.at_risk
        if not at_risk[True] or not at_risk[False]:
            return None
        return FishRates(ill[True], at_risk[True], ill[False], at_risk[False], left_out)

    # --- who had what -------------------------------------------------------------------------------------------------

    def levels(self, factor: str) -> dict[str, Had]:
        """Every level of a factor with the tanks that had it."""
        if factor in ("origin", "delivery", "species"):
            return self._batch_levels(factor)
        if factor == "system":
            of = {tank.id: tank.system or "water of its own" for tank in self.room.tanks}
            return self._single(of)
        if factor == "row":
            return self._single({tank.id: _shelf(tank) for tank in self.room.tanks})
        if factor == "feed":
            return self._listed(dict(self.room.feeds))
        if factor == "worker":
            return self._listed({worker.id: worker.tanks for worker in self.room.workers})
        if factor == "tool":
            return {
                tool.id: {
                    one.tank: one.tank in tool.tanks and (tool.since is None or tool.since <= self.cutoff(one.tank))
                    for one in self.looked
                }
                for tool in self.room.tools
            }
        return self._from_ill_tanks() if factor == "contact" else self._beside_ill_tanks()

    def _batch_levels(self, factor: str) -> dict[str, Had]:
        def value(batch: Batch) -> str:
            said: str = getattr(batch, factor)
            return said

        batches = {batch.id: value(batch) for batch in self.room.batches}
        held = {
            one.tank: {batches[id] for id in self.stock.held(one.tank, self.cutoff(one.tank))} for one in self.looked
        }
        return {
            level: {
                tank: True if level in values else None if not values or "" in values else False
                for tank, values in held.items()
            }
            for level in dict.fromkeys(batches.values())
            if level
        }

    def _single(self, of: dict[str, str | None] | dict[str, str]) -> dict[str, Had]:
        levels = dict.fromkeys(level for level in of.values() if level is not None)
        return {
            level: {one.tank: None if of[one.tank] is None else of[one.tank] == level for one in self.looked}
            for level in levels
        }

    def _listed(self, lists: dict[str, tuple[str, ...]]) -> dict[str, Had]:
        """Exposures noted as lists of tanks; for a tank on none of the lists it is not known what it had."""
        noted = {tank for tanks in lists.values() for tank in tanks}
        return {
            level: {one.tank: one.tank in tanks if one.tank in noted else None for one in self.looked}
            for level, tanks in lists.items()
        }

    def _was_ill(self, tank: str, on: Date) -> bool:
        first = self.first[tank]
        return first is not None and first <= on

    def _from_ill_tanks(self) -> dict[str, Had]:
        carried = [("fish", move.on, move.from_tank, move.to_tank) for move in self.room.moves]
        carried += [(contact.kind, contact.on, contact.from_tank, contact.to_tank) for contact in self.room.contacts]
        found: dict[str, Had] = {}
        for kind in dict.fromkeys(one[0] for one in carried):
            reached = {
                goal
                for how, on, source, goal in carried
                if how == kind and self._was_ill(source, on) and on <= self.cutoff(goal)
            }
            found[f"{kind} from a tank already ill"] = {one.tank: one.tank in reached for one in self.looked}
        return found

    def _beside_ill_tanks(self) -> dict[str, Had]:
        beside: dict[str, list[str]] = {}
        for left, right in neighbours(self.room):
            beside.setdefault(left, []).append(right)
            beside.setdefault(right, []).append(left)
        if not beside:
            return {}
        placed = {tank.id for tank in self.room.tanks if tank.place is not None}
        had: Had = {}
        for one in self.looked:
            before = [self.first[other] for other in beside.get(one.tank, [])]
            ill_before = any(first is not None and first < self._end_of(one) for first in before)
            had[one.tank] = ill_before if one.tank in placed else None
        return {"beside a tank already ill": had}

    def _end_of(self, one: TankHealth) -> Date:
        """Neighbours must have been ill before an ill tank, and by the end for a well one."""
        return one.first if one.first is not None else Date.max


def _shelf(tank: Tank) -> str | None:
    """'rack A, row 2'; a rack may be called so already."""
    if tank.row is None or not tank.rack:
        return None if tank.row is None else f"row {tank.row}"
    rack = tank.rack if tank.rack.casefold().startswith("rack") else f"rack {tank.rack}"
    return f"{rack}, row {tank.row}"


def _adjusted(rows: list[Exposure]) -> tuple[list[Exposure], int]:
    """The rows with p adjusted for the distinct comparisons, in order of p."""
    first: dict[frozenset[tuple[str, ...]], Exposure] = {}
    for row in rows:
        first.setdefault(_split(row), row)
    p = [row.p for row in first.values()]
    adjusted = dict(zip(first, zip(holm(p), benjamini_hochberg(p), strict=True), strict=True))
    named = []
    for row in rows:
        same, (by_holm, by_bh) = first[_split(row)], adjusted[_split(row)]
        other = None
        if same is not row:
            other = f"{same.factor} {same.level}"
            other = other if same.tanks == row.tanks else f"not {other}"
        named.append(replace(row, holm=by_holm, benjamini_hochberg=by_bh, same_as=other))
    return sorted(named, key=lambda row: (row.p, -(row.risk.value or 0.0))), len(first)


def _split(row: Exposure) -> frozenset[tuple[str, ...]]:
    """How an exposure parts the tanks, whichever side is called exposed."""
    return frozenset((row.tanks, row.others))
