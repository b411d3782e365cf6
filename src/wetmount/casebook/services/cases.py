"""Cases: opened, described, closed, added to, deleted."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.db import connection, transaction
from django.db.models import Max

from wetmount.casebook import clock
from wetmount.casebook.models import (
    Act,
    Attachment,
    Batch,
    Case,
    CaseAddendum,
    CaseBatch,
    CaseCause,
    CaseTank,
    Change,
    Device,
    FishRoom,
    Keeper,
    Look,
    System,
    Tank,
)
from wetmount.casebook.reference import reference
from wetmount.casebook.services.acts import act
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.services.undo import KEPT_FOR

CASE_FIELDS = frozenset(
    {
        "own_number", "title", "worries", "note", "keeper_id", "room_id", "system_id", "tank_id", "batch_id",
        "which_fish", "species", "host_group", "opened",
    }
)  # fmt: skip
"""What `change_case` may change."""


def open_case(
    device: Device | None,
    *,
    which_fish: str,
    worries: str,
    title: str = "",
    keeper: Keeper | None = None,
    room: FishRoom | None = None,
    system: System | None = None,
    tank: Tank | None = None,
    batch: Batch | None = None,
    species: str = "",
    host_group: str = "",
    opened: dt.date | None = None,
) -> Case:
    """Open a case with its first look. Which fish and what worries is all it needs; the rest may come later."""
    which_fish, worries = which_fish.strip(), worries.strip()
    if not which_fish:
        raise Refused("Say which fish: a tank, a species or a batch.")
    if not worries:
        raise Refused("Say what worries you, in your own words.")
    if tank is not None:
        room, system = tank.room, tank.system
    elif batch is not None and batch.room is not None:
        room = room or batch.room
    if batch is not None:
        species, host_group = species or batch.species, host_group or batch.host_group
    day = opened or clock.today()
    with transaction.atomic():
        number = next_number()
        with act(device, "open_case", f"Case {number} opened") as writer:
            case = writer.make(
                Case,
                number=number,
                title=_short(title.strip() or worries, 300),
                which_fish=_short(which_fish, 300),
                worries=worries,
                keeper_id=_key(keeper) or (room.keeper_id if room is not None else None),
                room_id=_key(room),
                system_id=_key(system),
                tank_id=_key(tank),
                batch_id=_key(batch),
                species=species,
                host_group=host_group,
                opened=day,
                touched_at=writer.at,
            )
            writer.make(Look, case_id=case.pk, on=day)
    return case


def next_number() -> int:
    """The next case number. Within a transaction; on a shared database other openers wait."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("LOCK TABLE casebook_case IN SHARE ROW EXCLUSIVE MODE")
    return (Case.all_cases.aggregate(last=Max("number"))["last"] or 0) + 1


def change_case(device: Device | None, case: Case, *, seen: int | None = None, **values: Any) -> Case:
    """Change what stands in the head of the case (`CASE_FIELDS`)."""
    if unknown := set(values) - CASE_FIELDS:
        raise TypeError(f"no fields of a case: {', '.join(sorted(unknown))}")
    if "title" in values and not values["title"].strip():
        raise Refused("A case needs a title.")
    if values.get("tank_id"):
        tank = Tank.objects.get(pk=values["tank_id"])
        values |= {"room_id": tank.room_id, "system_id": tank.system_id}
    with act(device, "change_case", f"Case {case.number}: {_names(values)} changed", case=case) as writer:
        writer.set(_own(writer.case), seen=seen, **values)
    return _own(writer.case)


def set_step(case: Case, step: str) -> None:
    """Remember where the case was left, for Carry on. A place, no record of it."""
    Case.objects.filter(pk=case.pk, closed=None).exclude(step=step).update(step=step, touched_at=clock.now())


def set_red_flags(device: Device | None, case: Case, flags: Iterable[str], *, seen: int | None = None) -> Case:
    """What first aid asks and is so now (ids of red flags, in the order of the reference)."""
    known = reference().red_flags
    wanted = set(flags)
    if unknown := wanted - set(known):
        raise Refused(f"There is no red flag {sorted(unknown)[0]!r}.")
    ordered = [flag for flag in known if flag in wanted]
    said = "First aid: " + ("; ".join(known[flag].name for flag in ordered) or "none of these")
    with act(device, "set_red_flags", said, case=case) as writer:
        writer.set(_own(writer.case), seen=seen, red_flags=ordered)
    return _own(writer.case)


def set_further_tanks(device: Device | None, case: Case, tanks: Iterable[Tank]) -> None:
    """The tanks of a case beside its first."""
    wanted = {tank.pk: tank for tank in tanks if tank.pk != case.tank_id}
    said = "Further tanks: " + (", ".join(tank.name for tank in wanted.values()) or "none")
    with act(device, "set_further_tanks", said, case=case) as writer:
        for row in CaseTank.objects.filter(case=case):
            if wanted.pop(row.tank_id, None) is None:
                writer.take_away(row)
        for pk in wanted:
            writer.make(CaseTank, case_id=case.pk, tank_id=pk)


def add_case_batch(device: Device | None, case: Case, *, species: str, **values: Any) -> CaseBatch:
    """A batch the keeper tells of (origin, arrived, number, note)."""
    if not species.strip():
        raise Refused("Say which species arrived.")
    with act(device, "add_case_batch", f"Batch: {species.strip()}", case=case) as writer:
        return writer.make(CaseBatch, case_id=case.pk, species=species.strip(), **values)


def set_cause(
    device: Device | None, case: Case, condition: str, standing: str | None, *, note: str = "", seen: int | None = None
) -> CaseCause | None:
    """What the case is put down to: confirmed, likely, ruled_out; None takes the condition off the list."""
    row = reference().conditions.get(condition)
    if row is None:
        raise Refused(f"There is no cause {condition!r} in the reference.")
    if standing is not None and standing not in dict(CaseCause.STANDINGS):
        raise Refused(f"A cause is confirmed, likely or ruled_out, not {standing!r}.")
    said = f"{row.name}: {dict(CaseCause.STANDINGS)[standing] if standing else 'not put down to it'}"
    with act(device, "set_cause", said, case=case) as writer:
        cause = CaseCause.objects.filter(case=case, condition=condition).first()
        if standing is None:
            if cause is not None:
                writer.take_away(cause)
            return None
        if cause is None:
            return writer.make(CaseCause, case_id=case.pk, condition=condition, standing=standing, note=note)
        writer.set(cause, seen=seen, standing=standing, note=note)
    return cause


def close_case(
    device: Device | None, case: Case, *, on: dt.date | None = None, outcome: str = "", outcome_note: str = ""
) -> Case:
    """Close and lock a case, with what became of the fish. Tasks that are still open stay on Today until done."""
    day = on or clock.today()
    if outcome and outcome not in dict(Case.OUTCOMES):
        raise Refused(f"An outcome is one of {', '.join(dict(Case.OUTCOMES))}, not {outcome!r}.")
    with act(device, "close_case", f"Case {case.number} closed", case=case) as writer:
        opened = _own(writer.case).opened
        if day < opened:
            raise Refused(f"The case was opened on {opened.isoformat()} and cannot be closed before that.")
        writer.set(_own(writer.case), closed=day, outcome=outcome, outcome_note=outcome_note.strip())
    return _own(writer.case)


def add_addendum(device: Device | None, case: Case, text: str) -> CaseAddendum:
    """Add to a closed case. What stands in it stays as it is, and the addendum too."""
    if not text.strip():
        raise Refused("The addendum is empty.")
    with act(device, "add_addendum", f"Addendum to case {case.number}", case=case, closed_too=True) as writer:
        if not _own(writer.case).is_closed:
            raise Refused("This case is open: change the entry itself, or write a note.")
        return writer.make(CaseAddendum, case_id=case.pk, text=text.strip(), at=writer.at)


def delete_case(device: Device | None, case: Case) -> Act:
    """Put a case away. It can be taken back for 30 days (`undo.take_back` on the act returned)."""
    with act(device, "delete_case", f"Case {case.number} deleted", case=case, closed_too=True) as writer:
        if not writer.set(_own(writer.case), deleted_at=writer.at):
            raise Refused("This case is deleted already.")
        deleted: Act = writer.act
    return deleted


def purge_deleted(now: dt.datetime | None = None) -> list[str]:
    """Remove for good what was deleted more than 30 days ago, with its record; the files that belonged to it."""
    limit = (now or clock.now()) - KEPT_FOR
    files: list[str] = []
    for case in Case.all_cases.filter(deleted_at__lt=limit):
        with transaction.atomic():
            files += _files(Attachment.objects.filter(case=case))
            acts = list(Act.objects.filter(case_id=case.pk).values_list("pk", flat=True))
            case.delete()
            # The database lets the record of a case go only when the case is gone.
            Change.objects.filter(act_id__in=acts)._raw_delete("default")
            Act.objects.filter(pk__in=acts)._raw_delete("default")
    return files


def purge_attachments(now: dt.datetime | None = None) -> list[str]:
    """Remove for good the rows of files deleted more than 30 days ago from cases that stay; the names of the files."""
    limit = (now or clock.now()) - KEPT_FOR
    files: list[str] = []
    for one in Attachment.objects.select_related("case").filter(deleted_at__lt=limit, case__deleted_at=None):
        with act(None, "purge_attachment", "Deleted file removed", case=one.case, closed_too=True) as writer:
            files += _files([one])
            writer.take_away(one)
    return files


def _files(attachments: Iterable[Attachment]) -> list[str]:
    return [name for one in attachments for name in (one.file, one.thumbnail) if name]


def _own(case: Case | None) -> Case:
    assert case is not None
    return case


def _key(row: Any) -> int | None:
    return None if row is None else int(row.pk)


def _short(text: str, length: int) -> str:
    """One line of at most `length` characters."""
    line = " ".join(text.split())
    return line if len(line) <= length else line[: length - 1] + "…"


def _names(values: dict[str, Any]) -> str:
    return ", ".join(sorted(name.removesuffix("_id").replace("_", " ") for name in values))
