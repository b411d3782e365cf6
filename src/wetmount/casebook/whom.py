"""Which fish: what was typed, found among the tanks, the batches and the species the reference knows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from wetmount.case_check import host_row
from wetmount.casebook import clock
from wetmount.casebook.models import Batch, Tank
from wetmount.casebook.reference import reference
from wetmount.casebook.stock import now_in

OFFERED = 300
"""Tanks and batches offered while typing; any other can still be typed."""


@dataclass(frozen=True, slots=True)
class Whom:
    """What was recognised; nothing at all is fine, the words stand as they are."""

    tank: Tank | None = None
    batch: Batch | None = None
    species: str = ""
    host_group: str = ""

    def values(self) -> dict[str, Any]:
        """As `open_case` takes them."""
        return {"tank": self.tank, "batch": self.batch, "species": self.species, "host_group": self.host_group}


def whom(text: str) -> Whom:
    """A tank ("A4", or "A4, Harbour Row" where the name is taken twice), a batch, a species; in this order."""
    name, _, room = (part.strip() for part in text.partition(","))
    tanks = Tank.objects.filter(name__iexact=name).select_related("room", "system")
    if room:
        tanks = tanks.filter(room__name__icontains=room)
    if len(found := list(tanks[:2])) == 1:
        return of_tank(found[0])
    wanted = text.strip().casefold()
    for batch in Batch.objects.select_related("room").order_by("-id")[:OFFERED]:
        if str(batch).casefold() == wanted:
            return Whom(batch=batch, species=batch.species, host_group=batch.host_group or _group(batch.species))
    row = host_row(text.strip(), reference())
    return Whom(species=row.common_name, host_group=row.host_group) if row is not None else Whom()


def of_tank(tank: Tank) -> Whom:
    """A tank with the fish that are in it now, when they are of one batch."""
    lots = now_in(tank, clock.today())
    if len(lots) != 1:
        return Whom(tank=tank)
    batch = lots[0].batch
    return Whom(tank, batch, batch.species, batch.host_group or _group(batch.species))


def offers() -> list[str]:
    """What is offered while typing: tanks, batches, species."""
    tanks = list(Tank.objects.values_list("name", "room__name")[:OFFERED])
    names = [name for name, _ in tanks]
    twice = {name for name in names if names.count(name) > 1}
    shown = [f"{name}, {room}" if name in twice else name for name, room in tanks]
    batches = [str(batch) for batch in Batch.objects.order_by("-id")[:OFFERED]]
    return list(dict.fromkeys([*shown, *batches, *(row.common_name for row in reference().hosts.values())]))


def _group(species: str) -> str:
    row = host_row(species, reference())
    return row.host_group if row is not None else ""
