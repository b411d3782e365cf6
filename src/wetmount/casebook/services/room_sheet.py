"""Rows of a spreadsheet for one table of a fish room: looked over first, brought in only when that was confirmed."""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, Final

import msgspec
from django.core.files.uploadedfile import UploadedFile

from wetmount.case_check import host_row
from wetmount.casebook import clock
from wetmount.casebook.models import (
    Batch,
    Device,
    FishRoom,
    Move,
    System,
    Tank,
    TankCheck,
    TankGroup,
    TankInGroup,
    TankSign,
)
from wetmount.casebook.reference import reference
from wetmount.casebook.services.acts import Writer, act
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.stock import check_moves, day, now_in
from wetmount.casebook.tracing import REACH, Record, record_of
from wetmount.errors import InputError
from wetmount.origin import room as core
from wetmount.origin.room_check import check_room
from wetmount.origin.room_rows import TABLES, rows_of, with_rows
from wetmount.origin.spreadsheet import GoodRow, Preview, preview_sheet

FAR_BACK: Final = dt.timedelta(days=3650)
"""Rows of ten years are looked over against all that is known of the room."""
MOST_ROWS: Final = 1_000
MOST_BYTES: Final = 8_000_000
MOST_SMALL: Final = 10_000
WORDS: Final = {
    "systems": "systems", "tanks": "tanks", "batches": "batches", "moves": "moves of fish",
    "departures": "fish that left", "contacts": "nets, water and plants carried", "tools": "shared tools",
    "workers": "people and their tanks", "watches": "watches kept", "sightings": "signs and deaths",
    "checks": "checks", "feeds": "feeds",
}  # fmt: skip


def looked_over(room: FishRoom, table: str, upload: UploadedFile, sheet: str = "") -> Preview:
    """What a sheet would bring into a room; nothing is written. InputError when it cannot be read at all."""
    if table not in TABLES:
        raise Refused("Choose what the rows are.")
    if (upload.size or 0) > MOST_BYTES:
        raise InputError(f"the file is larger than {MOST_BYTES / 1e6:.0f} MB; cut it into parts", field="file")
    suffix = Path(upload.name or "").suffix.lower()
    if suffix not in (".xlsx", ".xlsm", ".xls", ".ods", ".numbers"):
        suffix = ".csv"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"sheet{suffix}"
        with path.open("wb") as target:
            for chunk in upload.chunks():
                target.write(chunk)
        found = preview_sheet(path, table, whole_record(room).room, sheet=sheet or None, reference=reference())
    if len(found.good) > MOST_ROWS:
        raise InputError(f"has {len(found.good)} good rows; at most {MOST_ROWS} come in at once, so cut it into parts")
    return found


def whole_record(room: FishRoom) -> Record:
    """The room with all its days, about no cause in particular."""
    return record_of(room, None, clock.today() - FAR_BACK)


def packed(rows: Iterable[GoodRow]) -> list[dict[str, Any]]:
    """Rows as plain values, to be confirmed."""
    return [msgspec.to_builtins(row.record) for row in rows]


def unpacked(table: str, rows: Any) -> list[Any]:
    """The records of plain values that were confirmed."""
    try:
        return [msgspec.convert(row, TABLES[table]) for row in rows]
    except (KeyError, TypeError, msgspec.ValidationError):
        raise Refused("Those rows can no longer be read. Look the sheet over again.") from None


def bring_in(device: Device | None, room: FishRoom, table: str, records: Sequence[Any]) -> int:
    """Write these rows, all or none, in one act that Undo takes back. Refused when one no longer fits the room."""
    if not records or table not in TABLES:
        raise Refused("There is no row to bring in.")
    plural = "s" if len(records) > 1 else ""
    with act(device, "bring_in_rows", f"{len(records)} row{plural} of {WORDS[table]} brought in") as writer:
        before = whole_record(room)
        known = rows_of(before.room, table)
        together = with_rows(before.room, table, (*known, *records))
        for clash in check_room(together, reference(), most=None):
            if clash.fatal and clash.table == table and clash.index is not None and clash.index >= len(known):
                said = f"{clash.column} {clash.message}" if clash.column else clash.message
                raise Refused(f"This no longer fits the room: {said}.")
        Writing(writer, room, before).write(table, records)
        after = whole_record(room)
        new = set(after.left_out) - set(before.left_out)
        if new:
            raise Refused(f"This no longer fits the room: {sorted(new)[0]}")
    return len(records)


class Writing:
    """Rows of a record as rows of the casebook, beside those of `record`, which are there already.

    Fish of which no day of arrival is known came before `start`.
    """

    def __init__(
        self, writer: Writer, room: FishRoom, record: Record | None = None, start: dt.date | None = None
    ) -> None:
        self.writer, self.room = writer, room
        self.tanks = dict(record.tanks) if record is not None else {}
        self.systems = dict(record.systems) if record is not None else {}
        self.batches = dict(record.batches) if record is not None else {}
        self.before = (start or clock.today() - REACH) - dt.timedelta(days=1)  # before a usual record begins

    def write(self, table: str, records: Sequence[Any]) -> None:
        ways: dict[str, Callable[[Any], None]] = {
            "systems": self._system,
            "tanks": self._tank,
            "batches": self._batch,
            "moves": self._moved,
            "departures": self._moved,
            "contacts": self._contact,
            "tools": lambda row: self._group("tool", row, since=row.since, until=row.until),
            "workers": lambda row: self._group("worker", row),
            "watches": self._watch,
            "sightings": self._sign,
            "checks": self._check,
            "feeds": lambda row: self._group("feed", row),
        }
        for record in records:
            ways[table](record)

    def _at(self, id: str) -> int:
        tank = self.tanks.get(id)
        if tank is None:
            raise Refused(f"There is no tank {id[:60]} any more. Look the sheet over again.")
        return tank.pk

    def _system(self, row: core.System) -> None:
        note = row.name if row.name != row.id else ""
        self.systems[row.id] = self.writer.make(System, room_id=self.room.pk, name=row.id, note=note)

    def _tank(self, row: core.Tank) -> None:
        system = self.systems.get(row.system or "")
        self.tanks[row.id] = self.writer.make(
            Tank,
            room_id=self.room.pk,
            name=row.id,
            system_id=system.pk if system is not None else None,
            volume_l=row.volume_l,
            row=_small(row.row),
            place=_small(row.place),
            order=min(row.place or 0, 99) + 100 * min(row.row or 0, 99),
            turn=_small(row.order),
            since=row.since,
        )

    def _batch(self, row: core.Batch) -> None:
        known = host_row(row.species, reference())
        batch = self.writer.make(
            Batch,
            room_id=self.room.pk,
            species=row.species,
            host_group=known.host_group if known is not None else "",
            origin=row.origin,
            arrived=row.arrived,
            number=row.number,
            note=row.id if row.id != row.species else "",
        )
        self.batches[row.id] = batch
        on = row.arrived or self.before
        self.writer.make(Move, kind="fish", on=on, batch_id=batch.pk, to_tank_id=self._at(row.tank))

    def _moved(self, row: core.Move | core.Departure) -> None:
        source = row.from_tank if isinstance(row, core.Move) else row.tank
        goal = self._at(row.to_tank) if isinstance(row, core.Move) else None
        for batch, number in self._of_batches(row, source):
            self.writer.make(
                Move, kind="fish", on=row.on, batch_id=batch.pk, number=number, from_tank_id=self._at(source),
                to_tank_id=goal,
            )  # fmt: skip
            check_moves(batch)

    def _of_batches(self, row: core.Move | core.Departure, source: str) -> list[tuple[Batch, int | None]]:
        """Which fish were meant: the batch that is named, else those that were there."""
        if row.batch is not None:
            return [(self.batches[row.batch], row.number)]
        tank = self.tanks[source]
        lots = now_in(tank, row.on)
        if not lots:
            raise Refused(f"There were no fish in {tank.name} on {day(row.on)}, so none can leave it.")
        if len(lots) > 1 and row.number is not None:
            held = ", ".join(str(lot.batch) for lot in lots)
            raise Refused(f"{tank.name} held {held} on {day(row.on)}; say in the sheet which of them were moved.")
        return [(lot.batch, row.number) for lot in lots]

    def _contact(self, row: core.Contact) -> None:
        keys = {"from_tank_id": self._at(row.from_tank), "to_tank_id": self._at(row.to_tank)}
        self.writer.make(Move, kind=row.kind, on=row.on, **keys)

    def _group(self, kind: str, row: Any, **values: Any) -> None:
        group = self.writer.make(TankGroup, room_id=self.room.pk, kind=kind, name=row.id, **values)
        for tank in dict.fromkeys(row.tanks):
            self.writer.make(TankInGroup, group_id=group.pk, tank_id=self._at(tank))

    def _watch(self, row: core.Watch) -> None:
        group = self.writer.make(
            TankGroup, room_id=self.room.pk, kind="watch", since=row.since, until=row.until,
            every_days=_small(row.every_days), name=f"{row.tanks[0]} to {row.tanks[-1]}"[:200],
        )  # fmt: skip
        for tank in dict.fromkeys(row.tanks):
            self.writer.make(TankInGroup, group_id=group.pk, tank_id=self._at(tank))

    def _sign(self, row: core.Sighting) -> None:
        self.writer.make(
            TankSign, tank_id=self._at(row.tank), on=row.on, kind=row.kind, number=row.number,
            not_before=row.not_before, condition=row.condition or "",
        )  # fmt: skip

    def _check(self, row: core.Check) -> None:
        self.writer.make(
            TankCheck, tank_id=self._at(row.tank), on=row.on, found=row.seen, examination=row.examination,
            fish=row.fish, condition=row.condition or "",
        )  # fmt: skip


def _small(value: int | None) -> int | None:
    """A shelf, a place, a turn or days between looks, as a database column of small numbers takes it."""
    if value is not None and value > MOST_SMALL:
        raise Refused(f"{value} is too large for a shelf, a place, a turn or days between looks; at most {MOST_SMALL}.")
    return value
