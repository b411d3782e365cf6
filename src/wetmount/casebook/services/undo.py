"""Taking back: the last act of a device in a case, in order; or one deletion, for 30 days."""

from __future__ import annotations

import datetime as dt

from django.db import IntegrityError, transaction

from wetmount.casebook import clock
from wetmount.casebook.models import Act, Case, Change, Device
from wetmount.casebook.services.acts import Writer, act, from_record, hangs_on, model_of, values_of
from wetmount.casebook.services.refusals import CaseClosed, Refused

KEPT_FOR = dt.timedelta(days=30)
"""How long a deletion can be taken back."""

NOT_IN_ORDER = ("undo", "open_case", "close_case", "import_case", "add_addendum")
"""Acts that the undo key passes over: they are not slips of a finger. `take_back` still reaches them by name."""


REACH_CLOSED = ("close_case", "delete_case", "add_task", "change_task", "finish_task")
"""Acts that can be taken back in a closed case: those that closed it, and tasks, which go on after it."""


def last_act(device: Device | None, case: Case | None) -> Act | None:
    """The act that Undo would take back: the device's latest in this case (or outside all cases) that still stands."""
    return (
        Act.objects.filter(case=case, device=device, undone_by=None, at__gt=clock.now() - KEPT_FOR)
        .exclude(kind__in=NOT_IN_ORDER)
        .order_by("-id")
        .first()
    )


def undo_last(device: Device | None, case: Case | None) -> Act | None:
    """Take the last act of this device back; the act taken back, or None when there is nothing to undo."""
    if case is not None and Case.objects.filter(pk=case.pk).exclude(closed=None).exists():
        raise CaseClosed
    last = last_act(device, case)
    if last is not None:
        take_back(device, last)
    return last


def take_back(device: Device | None, taken: Act) -> Act:
    """Take one act back as a whole. Refused when something it wrote was changed since, or after 30 days."""
    if Act.objects.filter(undoes=taken).exists():
        raise Refused("That was taken back already.")
    if taken.at < clock.now() - KEPT_FOR:
        raise Refused("That was more than 30 days ago and can no longer be taken back.")
    case = taken.case if taken.case_id else None
    said = f"Taken back: {taken.said}"
    closed_too = taken.kind in REACH_CLOSED
    with act(device, "undo", said, case=case, closed_too=closed_too, undoes=taken) as writer:
        for change in reversed(list(taken.changes.all())):
            _reverse(writer, change)
        done: Act = writer.act
    return done


def _reverse(writer: Writer, change: Change) -> None:
    model = model_of(change.table)
    if change.after is None:
        try:
            with transaction.atomic():
                writer.put_back(model, change.entry, change.before or {})
        except IntegrityError:
            raise Refused("It was entered again since, so the old entry cannot come back.") from None
        return
    entry = model._base_manager.filter(pk=change.entry).first()
    now = values_of(entry) if entry is not None else {}
    if entry is None or any(now.get(name) != value for name, value in change.after.items()):
        raise Refused("It was changed since, so it cannot be taken back; change it by hand.")
    if change.before is None:
        if hangs_on(entry):
            raise Refused("Something was added to it since; take that back first.")
        writer.take_away(entry)
    else:
        writer.set(entry, **from_record(model, change.before))
