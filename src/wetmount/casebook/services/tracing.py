"""What was seen in the tanks of a fish room and what they share, written down; and rows of a spreadsheet brought in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any, Final

from django.db.models import F

from wetmount.casebook import clock
from wetmount.casebook.models import Device, FishRoom, System, Tank, TankCheck, TankGroup, TankInGroup, TankSign
from wetmount.casebook.reference import reference
from wetmount.casebook.services.acts import Writer, act
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.stock import day
from wetmount.casebook.tracing import record_of

LOOKED_AT_TANK: Final = "tank_look"
MOST_ACROSS: Final = 100


def note_sign(
    device: Device | None,
    tank: Tank,
    kind: str,
    on: dt.date,
    *,
    number: int | None = None,
    not_before: dt.date | None = None,
    condition: str = "",
    note: str = "",
    sign: TankSign | None = None,
    seen: int | None = None,
) -> TankSign:
    """Signs or deaths in a tank on a day; given `sign`, that entry is changed. More deaths than fish are refused."""
    words = dict(TankSign.KINDS).get(kind)
    if words is None:
        raise Refused("What was seen is signs or deaths.")
    _check_day(tank, on)
    _check_condition(condition)
    if not_before is not None and not_before > on:
        raise Refused(f"It cannot have been well on {day(not_before)}, after {day(on)}, when it was seen.")
    if number is not None and number < 1:
        raise Refused("Nothing seen is entered as a look that saw nothing; a number starts at 1.")
    count = f"{number} " if number is not None else ""
    with act(device, "note_sign", f"{tank.name}: {count}{_of_number(kind, number)}") as writer:
        values: dict[str, Any] = {
            "on": on, "kind": kind, "number": number, "not_before": not_before, "condition": condition, "note": note,
        }  # fmt: skip
        if sign is None:
            row = writer.make(TankSign, tank_id=tank.pk, **values)
        else:
            row = TankSign.objects.get(pk=sign.pk)
            writer.set(row, seen=seen, **values)
        _must_be_possible(row)
    return row


def _of_number(kind: str, number: int | None) -> str:
    if kind == "deaths":
        return "died" if number is not None else "deaths"
    return "with signs" if number is not None else "signs"


def note_check(
    device: Device | None,
    tank: Tank,
    on: dt.date,
    *,
    found: bool,
    examination: str = LOOKED_AT_TANK,
    fish: int | None = None,
    condition: str = "",
    note: str = "",
    check: TankCheck | None = None,
    seen: int | None = None,
) -> TankCheck:
    """A deliberate look at the fish of a tank and whether it was seen; `fish`: how many were examined."""
    tables = reference()
    if examination not in tables.examinations:
        raise Refused(f"There is no examination {examination[:60]!r} in the reference.")
    _check_day(tank, on)
    _check_condition(condition)
    if found and not condition:
        raise Refused("Say what was seen: which cause. Signs without a cause are entered as signs.")
    if fish is not None and fish < 1:
        raise Refused("Fish examined start at 1.")
    what = tables.conditions[condition].name if condition else "signs"
    said = f"{tank.name}: {what} {'seen' if found else 'looked for, not seen'}"
    values: dict[str, Any] = {
        "on": on, "found": found, "examination": examination, "fish": fish, "condition": condition, "note": note,
    }  # fmt: skip
    with act(device, "note_check", said) as writer:
        if check is None:
            return writer.make(TankCheck, tank_id=tank.pk, **values)
        row = TankCheck.objects.get(pk=check.pk)
        writer.set(row, seen=seen, **values)
    return row


def nothing_seen(device: Device | None, room: FishRoom, tanks: Iterable[Tank], on: dt.date) -> int:
    """These tanks were looked at on a day and showed no signs; how many were not noted so already. One act."""
    rows = list(tanks)
    for tank in rows:
        _check_day(tank, on)
    names = ", ".join(tank.name for tank in rows[:6]) + (" …" if len(rows) > 6 else "")
    with act(device, "note_check", f"{names}: looked at, no signs") as writer:
        known = set(
            TankCheck.objects.filter(
                tank__in=rows, on=on, found=False, condition="", examination=LOOKED_AT_TANK
            ).values_list("tank", flat=True)
        )
        new = [tank for tank in rows if tank.pk not in known]
        for tank in new:
            writer.make(TankCheck, tank_id=tank.pk, on=on, found=False, examination=LOOKED_AT_TANK)
    return len(new)


def set_group(
    device: Device | None,
    room: FishRoom,
    kind: str,
    name: str,
    tanks: Iterable[Tank],
    *,
    since: dt.date | None = None,
    until: dt.date | None = None,
    every_days: int | None = None,
    note: str = "",
    group: TankGroup | None = None,
    seen: int | None = None,
) -> TankGroup:
    """What tanks share: a tool, a person, a feed, a watch. Given `group`, that one is changed."""
    rows = {tank.pk: tank for tank in tanks}
    if kind not in dict(TankGroup.KINDS):
        raise Refused("Tanks share a net, bucket or hose, a person, a feed, or a watch kept on them.")
    if not name.strip():
        raise Refused("It needs a name.")
    if not rows or any(tank.room_id != room.pk for tank in rows.values()):
        raise Refused("Choose the tanks of this room that share it.")
    if since is not None and until is not None and until < since:
        raise Refused(f"It cannot end on {day(until)}, before it begins on {day(since)}.")
    if kind == "watch" and since is None:
        raise Refused("Say since when the watch was kept.")
    if every_days is not None and every_days < 1:
        raise Refused("A watch looks every day, or every so many days, from 1.")
    same = TankGroup.objects.filter(room=room, kind=kind, name=name.strip()).exclude(pk=group.pk if group else None)
    if same.exists():
        raise Refused(f"There is already one named {name.strip()!r}.")
    values: dict[str, Any] = {
        "kind": kind, "name": name.strip(), "since": since, "until": until, "note": note,
        "every_days": (every_days or 1) if kind == "watch" else None,
    }  # fmt: skip
    with act(device, "set_group", f"{name.strip()}: {len(rows)} tank{'s' if len(rows) > 1 else ''}") as writer:
        if group is None:
            row = writer.make(TankGroup, room_id=room.pk, **values)
        else:
            row = TankGroup.objects.get(pk=group.pk)
            writer.set(row, seen=seen, **values)
        _set_members(writer, row, set(rows))
    return row


def _set_members(writer: Writer, group: TankGroup, wanted: set[int]) -> None:
    there = {one.tank_id: one for one in TankInGroup.objects.filter(group=group)}
    for pk in sorted(wanted - set(there)):
        writer.make(TankInGroup, group_id=group.pk, tank_id=pk)
    for pk in set(there) - wanted:
        writer.take_away(there[pk])


def arrange(device: Device | None, room: FishRoom, system: System | None, across: int) -> int:
    """Stand the tanks of a system (None: those on their own) on shelves of so many, in their order; one act."""
    if not 1 <= across <= MOST_ACROSS:
        raise Refused(f"From 1 to {MOST_ACROSS} tanks stand side by side.")
    rows = list(Tank.objects.filter(room=room, system=system).order_by("order", "name"))
    where = system.name if system is not None else "Tanks on their own"
    with act(device, "arrange_rack", f"{where}: {across} side by side") as writer:
        for n, tank in enumerate(rows):
            writer.set(tank, row=n // across + 1, place=n % across + 1)
    return len(rows)


def work_in_order(device: Device | None, room: FishRoom) -> int:
    """The order of work is that in which the tanks stand, rack by rack; one act."""
    by_rack = (F("system__order").asc(nulls_last=True), "system__name", "row", "place", "order", "name")
    rows = list(Tank.objects.filter(room=room).order_by(*by_rack))
    with act(device, "order_of_work", "Order of work: as the tanks stand") as writer:
        for turn, tank in enumerate(rows, start=1):
            writer.set(tank, turn=turn)
    return len(rows)


# --- what cannot be so ------------------------------------------------------------------------------------------------


def _check_day(tank: Tank, on: dt.date) -> None:
    if on > clock.today():
        raise Refused(f"{day(on)} has not come yet; write down what was seen.")
    if tank.since is not None and on < tank.since:
        raise Refused(f"{tank.name} was set up on {day(tank.since)}, after {day(on)}.")


def _check_condition(condition: str) -> None:
    if condition and condition not in reference().conditions:
        raise Refused(f"There is no cause {condition[:60]!r} in the reference.")


def _must_be_possible(row: TankSign) -> None:
    """Refuse more fish ill or dead than there were. Within the transaction that wrote the row."""
    if row.number is None:
        return
    said = record_of(row.tank.room, row.condition or None, first=None).impossible.get(row.pk)
    if said is not None:
        raise Refused(f"That cannot be so: {said}.")
