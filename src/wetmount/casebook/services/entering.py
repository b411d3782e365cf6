"""What entering needs beside the acts themselves: entries that come twice, and examinations that begin with the first
entry."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from contextlib import contextmanager

from django.db import transaction

from wetmount.casebook import clock
from wetmount.casebook.models import Case, Device, Examination, Fish, Look, Received
from wetmount.casebook.reference import reference
from wetmount.casebook.services.cases import set_red_flags
from wetmount.casebook.services.looking import add_examination, add_fish
from wetmount.casebook.services.refusals import Refused

REMEMBERED_FOR = dt.timedelta(days=400)
"""How long the id of an entry is kept: longer than any device holds an entry back (judgement)."""


@contextmanager
def once(id: str) -> Iterator[bool]:
    """One transaction for the entry a page sent as `id`: True when it is new, False when it was written already.

    An entry that is refused within leaves no trace, so that it may be sent again. Without an id every entry is new.
    """
    with transaction.atomic():
        yield _is_new(id) if id else True


def _is_new(id: str) -> bool:
    try:
        key = uuid.UUID(id)
    except ValueError:
        raise Refused("This entry has no valid id. Reload the page and enter it again.") from None
    now = clock.now()
    _, new = Received.objects.get_or_create(id=key, defaults={"at": now})
    return new


def forget_old(now: dt.datetime | None = None) -> int:
    """Drop the ids that no device sends any more; how many."""
    return Received.objects.filter(at__lt=(now or clock.now()) - REMEMBERED_FOR).delete()[0]


def examination_at(device: Device | None, look: Look, kind: str, fish: Fish | None) -> Examination:
    """The examination an entry belongs to: the latest of this kind and fish in the look, begun with its first entry.

    An examination of a fish without a fish is of the first one of the case; a case without one gets fish 1.
    """
    row = reference().examinations.get(kind)
    if row is None:
        raise Refused(f"There is no examination {kind!r} in the reference.")
    with transaction.atomic():
        # Two devices may begin at once: the second waits here and finds what the first began.
        case = Case.objects.select_for_update().get(pk=look.case_id)
        if row.subject == "fish" and fish is None:
            fish = case.fish.order_by("pk").first() or add_fish(device, case)
        found = Examination.objects.filter(look=look, kind=kind)
        if row.subject == "fish":
            found = found.filter(fish=fish)
        latest = found.select_related("look__case", "fish", "tank").order_by("-pk").first()
        if latest is not None:
            return latest
        tank = case.tank if row.subject == "tank" else None
        begun = add_examination(device, look, kind, fish=fish, tank=tank)
        return Examination.objects.select_related("look__case", "fish", "tank").get(pk=begun.pk)


def set_red_flag(device: Device | None, case: Case, flag: str, is_so: bool) -> Case:
    """One answer of first aid; the others stay as they are, whoever gave them."""
    with transaction.atomic():
        now = Case.objects.select_for_update().get(pk=case.pk)
        flags = {*now.red_flags, flag} if is_so else {*now.red_flags} - {flag}
        known = set(reference().red_flags)
        if flag not in known:
            raise Refused(f"There is no red flag {flag!r}.")
        # A flag of an overlay that was taken off since would block every other answer.
        return set_red_flags(device, now, flags & known)
