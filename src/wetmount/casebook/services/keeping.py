"""What is not looking: readings, notes, tasks, keepers, rooms with their systems, tanks, batches and moves, files."""

from __future__ import annotations

import datetime as dt
from typing import Any, TypeVar

from django.db import models

from wetmount import units
from wetmount.casebook import clock
from wetmount.casebook.models import (
    Attachment,
    Batch,
    Case,
    Device,
    Entry,
    Examination,
    FishRoom,
    Keeper,
    Look,
    Move,
    Note,
    Reading,
    System,
    Tank,
    TaskDue,
)
from wetmount.casebook.services.acts import act
from wetmount.casebook.services.refusals import Refused
from wetmount.errors import InputError

E = TypeVar("E", bound=Entry)


# --- readings ---------------------------------------------------------------------------------------------------------


def set_reading(
    device: Device | None,
    look: Look | None,
    parameter: str,
    value: str,
    *,
    tank: Tank | None = None,
    on: dt.date | None = None,
    time: dt.time | None = None,
    kit: str = "",
    note: str = "",
    reading: Reading | None = None,
    seen: int | None = None,
) -> Reading:
    """A measured number with its unit ("0.8 mg/L NO2"). Given `reading`, that one is changed, else one is added.

    Without a look it is quick work and belongs to a tank or to nothing. Values that cannot be are refused with the
    reason.
    """
    text = value.strip()
    if parameter not in units.READINGS:
        raise Refused(f"There is no water reading {parameter!r}; there are {', '.join(units.READINGS)}.")
    try:
        units.parse_quantity(text, parameter)
    except InputError as error:
        raise Refused(error.message[:1].upper() + error.message[1:]) from None
    said = f"{parameter.replace('_', ' ').capitalize()}: {text}"
    values: dict[str, Any] = {
        "value": text,
        "time": time,
        "kit": kit,
        "note": note,
        "tank_id": tank.pk if tank else None,
    }
    with act(device, "set_reading", said, case=look.case if look else None) as writer:
        if reading is not None:
            row = Reading.objects.get(pk=reading.pk)
            writer.set(row, seen=seen, **values)
            return row
        day = on or (look.on if look is not None else None) or clock.today()
        return writer.make(Reading, look_id=look.pk if look else None, parameter=parameter, on=day, **values)


def remove_reading(device: Device | None, reading: Reading) -> None:
    """Take a reading away."""
    case = reading.look.case if reading.look is not None else None
    with act(device, "remove_reading", f"{reading.parameter.capitalize()}: deleted", case=case) as writer:
        writer.take_away(Reading.objects.get(pk=reading.pk))


# --- notes and tasks --------------------------------------------------------------------------------------------------


def add_note(
    device: Device | None,
    text: str,
    *,
    case: Case | None = None,
    look: Look | None = None,
    room: FishRoom | None = None,
    system: System | None = None,
    tank: Tank | None = None,
    on: dt.date | None = None,
) -> Note:
    """Write something down in a case, or about a room, system or tank on a day."""
    if not text.strip():
        raise Refused("The note is empty.")
    case = look.case if look is not None else case
    places = {"look_id": look, "room_id": room, "system_id": system, "tank_id": tank}
    keys = {name: row.pk if row is not None else None for name, row in places.items()}
    with act(device, "add_note", "Note written", case=case) as writer:
        return writer.make(Note, case_id=case.pk if case else None, text=text.strip(), on=on or clock.today(), **keys)


def change_note(device: Device | None, note: Note, text: str, *, seen: int | None = None) -> Note:
    """Rewrite a note; what it said before stays in the record."""
    if not text.strip():
        raise Refused("The note is empty.")
    with act(device, "change_note", "Note changed", case=note.case) as writer:
        row = Note.objects.get(pk=note.pk)
        writer.set(row, seen=seen, text=text.strip())
    return row


def add_task(
    device: Device | None,
    kind: str,
    title: str,
    due_on: dt.date,
    *,
    case: Case | None = None,
    room: FishRoom | None = None,
    system: System | None = None,
    tank: Tank | None = None,
    detail: str = "",
    due_at: dt.time | None = None,
    set_on: dt.date | None = None,
) -> TaskDue:
    """Something to do on a day: look_again, dose, water_change, reading, result, news, quarantine."""
    if kind not in dict(TaskDue.KINDS):
        raise Refused(f"There is no task {kind!r}; a task is one of {', '.join(dict(TaskDue.KINDS))}.")
    if not title.strip():
        raise Refused("Say what is to be done.")
    places = {"room_id": room, "system_id": system, "tank_id": tank}
    keys = {name: row.pk if row is not None else None for name, row in places.items()}
    with act(
        device, "add_task", f"Set for {due_on.isoformat()}: {title.strip()}", case=case, closed_too=True
    ) as writer:
        return writer.make(
            TaskDue,
            kind=kind,
            title=title.strip(),
            detail=detail,
            due_on=due_on,
            due_at=due_at,
            set_on=set_on or clock.today(),
            case_id=case.pk if case else None,
            **keys,
        )


def change_task(device: Device | None, task: TaskDue, *, seen: int | None = None, **values: Any) -> TaskDue:
    """Another day, title or detail."""
    with act(device, "change_task", f"{task.title}: changed", case=task.case, closed_too=True) as writer:
        row = TaskDue.objects.get(pk=task.pk)
        writer.set(row, seen=seen, **values)
    return row


def finish_task(device: Device | None, task: TaskDue, outcome: str = "") -> TaskDue:
    """Done, or no longer needed (say so in `outcome`)."""
    said = f"{task.title}: {outcome.strip() or 'done'}"
    with act(device, "finish_task", said, case=task.case, closed_too=True) as writer:
        row = TaskDue.objects.get(pk=task.pk)
        if row.done_at is None:
            writer.set(row, done_at=writer.at, outcome=outcome.strip())
    return row


# --- keepers, rooms, tanks, batches, moves ----------------------------------------------------------------------------


def add_row(device: Device | None, model: type[E], said: str, **values: Any) -> E:
    """Add a keeper, room, system, tank or batch; a name that is taken is refused."""
    if "name" in values and not str(values["name"]).strip():
        raise Refused("It needs a name.")
    with act(device, f"add_{model._meta.model_name}", said) as writer:
        _name_free(model, values, None)
        return writer.make(model, **values)


def change_row(device: Device | None, row: E, said: str, /, *, seen: int | None = None, **values: Any) -> E:
    """Change a keeper, room, system, tank or batch."""
    with act(device, f"change_{row._meta.model_name}", said) as writer:
        fresh = type(row)._base_manager.get(pk=row.pk)
        _name_free(type(row), {"room_id": getattr(fresh, "room_id", None)} | values, row.pk)
        writer.set(fresh, seen=seen, **values)
    return fresh


def _name_free(model: type[models.Model], values: dict[str, Any], pk: int | None) -> None:
    if "name" not in values:
        return
    same = model._base_manager.filter(name=values["name"]).exclude(pk=pk)
    if model in (System, Tank):
        same = same.filter(room=values.get("room_id"))
    if same.exists():
        raise Refused(f"There is already one named {values['name']!r}.")


def add_keeper(device: Device | None, name: str, **values: Any) -> Keeper:
    """Whose fish they are (contact, note)."""
    return add_row(device, Keeper, f"Keeper {name} added", name=name.strip(), **values)


def add_room(device: Device | None, name: str, keeper: Keeper | None = None, note: str = "") -> FishRoom:
    """Premises."""
    return add_row(
        device, FishRoom, f"{name} added", name=name.strip(), keeper_id=keeper.pk if keeper else None, note=note
    )


def add_system(device: Device | None, room: FishRoom, name: str, **values: Any) -> System:
    """A body of shared water (volume_l, order, note)."""
    return add_row(device, System, f"{name} added", room_id=room.pk, name=name.strip(), **values)


def add_tank(device: Device | None, room: FishRoom, name: str, system: System | None = None, **values: Any) -> Tank:
    """A container (volume_l, order, note), on a system or on its own."""
    key = system.pk if system else None
    return add_row(device, Tank, f"{name} added", room_id=room.pk, system_id=key, name=name.strip(), **values)


def add_batch(device: Device | None, species: str, room: FishRoom | None = None, **values: Any) -> Batch:
    """Fish of one species from one origin that arrived together (host_group, origin, arrived, number, note)."""
    if not species.strip():
        raise Refused("Say which species arrived.")
    key = room.pk if room else None
    return add_row(device, Batch, f"Batch: {species}", species=species.strip(), room_id=key, **values)


def move_fish(
    device: Device | None,
    batch: Batch,
    to_tank: Tank | None,
    on: dt.date,
    *,
    from_tank: Tank | None = None,
    number: int | None = None,
    note: str = "",
) -> Move:
    """Fish of a batch went from one tank (None: from outside) to another (None: left) on a day."""
    if to_tank is None and from_tank is None:
        raise Refused("Say from where or to where.")
    if to_tank is not None and from_tank is not None and to_tank.pk == from_tank.pk:
        raise Refused("From and to are the same tank.")
    way = f"{from_tank.name if from_tank else 'outside'} to {to_tank.name if to_tank else 'outside'}"
    with act(device, "move_fish", f"{number or 'All'} {batch.species}: {way}") as writer:
        return writer.make(
            Move,
            kind="fish",
            on=on,
            batch_id=batch.pk,
            number=number,
            from_tank_id=from_tank.pk if from_tank else None,
            to_tank_id=to_tank.pk if to_tank else None,
            note=note,
        )


def add_contact(device: Device | None, kind: str, from_tank: Tank, to_tank: Tank, on: dt.date, note: str = "") -> Move:
    """A net or tool (`net`), `water`, `plants` or something `other` that was wet went from one tank to another."""
    words = {id: words for id, words in Move.KINDS if id != "fish"}
    if kind not in words:
        raise Refused(f"What went from tank to tank is one of: {', '.join(words.values())}.")
    if from_tank.pk == to_tank.pk:
        raise Refused("From and to are the same tank.")
    said = f"{words[kind].split(' ')[0].capitalize()}: {from_tank.name}, then {to_tank.name}"
    with act(device, "add_contact", said) as writer:
        return writer.make(Move, kind=kind, on=on, from_tank_id=from_tank.pk, to_tank_id=to_tank.pk, note=note)


def remove_row(device: Device | None, row: Entry, said: str) -> None:
    """Take a move, a note, a task, a slide, a case batch, a batch, a tank … away, and what hangs on it."""
    owner = getattr(row, "case", None) or getattr(getattr(row, "examination", None), "look", None)
    case = owner if isinstance(owner, Case) else getattr(owner, "case", None)
    with act(device, f"remove_{row._meta.model_name}", said, case=case) as writer:
        writer.take_away(type(row)._base_manager.get(pk=row.pk))


# --- files ------------------------------------------------------------------------------------------------------------


def attach(
    device: Device | None,
    *,
    kind: str,
    file: str,
    media_type: str,
    size: int,
    sha256: str,
    case: Case | None = None,
    examination: Examination | None = None,
    **values: Any,
) -> Attachment:
    """Record a file that lies under the data folder already (thumbnail, original_name, width, height, caption)."""
    case = examination.look.case if examination is not None else case
    word = dict(Attachment.KINDS)[kind].capitalize()
    with act(device, "attach", f"{word} kept", case=case) as writer:
        return writer.make(
            Attachment,
            kind=kind,
            file=file,
            media_type=media_type,
            size=size,
            sha256=sha256,
            case_id=case.pk if case else None,
            examination_id=examination.pk if examination else None,
            at=writer.at,
            **values,
        )


def change_attachment(
    device: Device | None, attachment: Attachment, *, seen: int | None = None, **values: Any
) -> Attachment:
    """Caption or examination of a file."""
    with act(device, "change_attachment", "Caption changed", case=attachment.case) as writer:
        row = Attachment.objects.get(pk=attachment.pk)
        writer.set(row, seen=seen, **values)
    return row


def delete_attachment(device: Device | None, attachment: Attachment) -> None:
    """Put a file away; Undo, or taking the act back within 30 days, brings it back."""
    word = dict(Attachment.KINDS)[attachment.kind].capitalize()
    with act(device, "delete_attachment", f"{word} deleted", case=attachment.case) as writer:
        row = Attachment.objects.get(pk=attachment.pk)
        if row.deleted_at is None:
            writer.set(row, deleted_at=writer.at)
