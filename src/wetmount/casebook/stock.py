"""Which fish are in which tank: the moves of a fish room, gone through in order of their dates."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field

from wetmount.casebook.models import Batch, Move, Tank
from wetmount.casebook.services.refusals import Refused


@dataclass(slots=True)
class Lot:
    """Fish of one batch in one tank. `number` None: some, nobody counted."""

    batch: Batch
    number: int | None
    since: dt.date

    def __str__(self) -> str:
        return f"{self.number} {self.batch}" if self.number is not None else str(self.batch)


@dataclass(slots=True)
class Stock:
    """What stands in each tank (key of the tank, then of the batch), and how many of each batch came in."""

    tanks: dict[int, dict[int, Lot]] = field(default_factory=dict)
    arrived: dict[int, int] = field(default_factory=dict)

    def in_tank(self, tank_pk: int) -> list[Lot]:
        """The lots in a tank, the longest there first."""
        return sorted(self.tanks.get(tank_pk, {}).values(), key=lambda lot: lot.since)

    def apply(self, move: Move) -> None:
        """Take a move of fish into account. Raises `Refused` when there were no such fish to move."""
        batch = move.batch
        if move.kind != "fish" or batch is None:
            return
        moved = self._out(batch, move) if move.from_tank_id else self._arrival(batch, move)
        if move.to_tank_id:
            lots = self.tanks.setdefault(move.to_tank_id, {})
            lot = lots.setdefault(batch.pk, Lot(batch, 0, move.on))
            lot.number = None if moved is None or lot.number is None else lot.number + moved

    def _arrival(self, batch: Batch, move: Move) -> int | None:
        if batch.arrived is not None and move.on < batch.arrived:
            raise Refused(f"{batch} arrived on {day(batch.arrived)} and cannot have been put in before that.")
        before = self.arrived.get(batch.pk, 0)
        left = None if batch.number is None else batch.number - before
        moved = left if move.number is None else move.number
        if left is not None and (moved or 0) > left:
            raise Refused(
                f"{batch.number} {batch} arrived and {before} of them are in already; {moved} more cannot be."
            )
        self.arrived[batch.pk] = before + (moved or 0)
        return moved

    def _out(self, batch: Batch, move: Move) -> int | None:
        lots = self.tanks.get(move.from_tank_id, {})
        lot = lots.get(batch.pk)
        where = move.from_tank.name
        if lot is None:
            raise Refused(f"There were no {batch} in {where} on {day(move.on)}, so none can leave it.")
        moved = lot.number if move.number is None else move.number
        if lot.number is not None and moved is not None and moved > lot.number:
            raise Refused(f"There were {lot} in {where} on {day(move.on)}, so {moved} cannot leave it.")
        if move.number is None or lot.number == moved:
            del lots[batch.pk]
        elif lot.number is not None and moved is not None:
            lot.number -= moved
        return moved


def day(date: dt.date) -> str:
    """'3 October 2026'."""
    return f"{date.day} {date:%B %Y}"


def stock_after(moves: Iterable[Move]) -> Stock:
    """The stock after these moves, oldest first. A move that cannot have been is passed over."""
    stock = Stock()
    for move in moves:
        try:
            stock.apply(move)
        except Refused:
            continue
    return stock


def check_moves(batch: Batch, *, without: Move | None = None) -> None:
    """Refuse when the moves of a batch (without one of them) take fish from where none were. Within a transaction."""
    moves = list(Move.objects.filter(batch=batch, kind="fish").select_related("batch", "from_tank", "to_tank"))
    moves = [move for move in moves if without is None or move.pk != without.pk]
    # Of one day, arrivals come first, then in the order in which they were written down.
    moves.sort(key=lambda move: (move.on, move.from_tank_id is not None, move.pk))
    stock = Stock()
    for move in moves:
        stock.apply(move)


def now_in(tank: Tank, on: dt.date) -> list[Lot]:
    """The fish in one tank at the end of a day."""
    batches = Move.objects.filter(kind="fish", to_tank=tank, on__lte=on).values("batch")
    moves = Move.objects.filter(kind="fish", batch__in=batches, on__lte=on).select_related("batch", "from_tank")
    return stock_after(moves).in_tank(tank.pk)
