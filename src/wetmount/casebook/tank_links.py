"""What connects tanks, in words: shared water, tools, people and their round, neighbours, what was moved or carried."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass

from wetmount.casebook.fish_room import Place, RoomOnDay
from wetmount.casebook.models import TankGroup, TankInGroup
from wetmount.casebook.reference import reference

NAMED = 8
"""Tanks that are named in a line; of more, the number is said."""
KIND_OF = {"fish": "move", "net": "net", "water": "water", "plants": "plants", "other": "other"}
"""Kind of a contact → kind of link in the reference (link_rates)."""


@dataclass(frozen=True, slots=True)
class Connection:
    """One thing that ties tanks together. `kind` is a link of the reference; `cut` how it is cut."""

    kind: str
    name: str
    words: str
    cut: str


@dataclass(frozen=True, slots=True)
class Shared:
    """A group with its tanks, in the order of the room."""

    group: TankGroup
    tanks: tuple[int, ...]


def shared_in(shown: RoomOnDay) -> list[Shared]:
    """What the tanks of a room share on the day shown. Two queries."""
    members: dict[int, list[int]] = defaultdict(list)
    for row in TankInGroup.objects.filter(group__room=shown.room):
        members[row.group_id].append(row.tank_id)
    order = [place.tank.pk for place in shown.places]
    return [
        Shared(group, tuple(pk for pk in order if pk in members[group.pk]))
        for group in TankGroup.objects.filter(room=shown.room)
        if (group.since is None or group.since <= shown.day) and (group.until is None or group.until >= shown.day)
    ]


def connections(shown: RoomOnDay, chosen: Place | None) -> list[Connection]:
    """What connects the chosen tank with others on the day shown, or, without one, what connects tanks at all."""
    names = {place.tank.pk: place.tank.name for place in shown.places}
    found = _water(shown, chosen, names) + _groups(shown, chosen, names)
    if chosen is not None:
        found += _neighbours(shown, chosen) + _carried(shown, chosen, names)
    return found


def _connection(kind: str, words: str) -> Connection:
    row = reference().link_rates[kind]
    return Connection(kind, row.name, words, row.cut)


def _water(shown: RoomOnDay, chosen: Place | None, names: dict[int, str]) -> list[Connection]:
    found = []
    for rack in shown.racks:
        if rack.system is None or len(rack.places) < 2:
            continue
        tanks = [place.tank.pk for place in rack.places]
        if chosen is None or chosen.tank.pk in tanks:
            found.append(_connection("sump", f"{rack.system.name}: {_listed(tanks, chosen, names)}"))
    return found


def _groups(shown: RoomOnDay, chosen: Place | None, names: dict[int, str]) -> list[Connection]:
    found = []
    for one in shared_in(shown):
        if one.group.kind not in ("tool", "worker") or len(one.tanks) < 2:
            continue
        if chosen is not None and chosen.tank.pk not in one.tanks:
            continue
        words = f"{one.group.name}: {_listed(one.tanks, chosen, names)}"
        if one.group.kind == "worker" and chosen is not None:
            words += _round(shown, chosen, set(one.tanks))
        found.append(_connection(one.group.kind, words))
    return found


def _round(shown: RoomOnDay, chosen: Place, tanks: set[int]) -> str:
    """Which tank comes before and after it in the order of work."""
    turns = [place.tank for place in shown.places if place.tank.pk in tanks and place.tank.turn is not None]
    turns.sort(key=lambda tank: (tank.turn or 0, tank.name))
    at = next((n for n, tank in enumerate(turns) if tank.pk == chosen.tank.pk), None)
    if at is None:
        return ""
    said = [f"after {turns[at - 1].name}"] if at else []
    said += [f"before {turns[at + 1].name}"] if at + 1 < len(turns) else []
    return f"; {' and '.join(said)} in the order of work" if said else ""


def _neighbours(shown: RoomOnDay, chosen: Place) -> list[Connection]:
    tank = chosen.tank
    if tank.place is None:
        return []
    beside = [
        place.tank.name
        for place in shown.places
        if place.tank.system_id == tank.system_id
        and place.tank.row == tank.row
        and place.tank.place is not None
        and abs(place.tank.place - tank.place) == 1
    ]
    return [_connection("neighbour", f"beside {' and '.join(beside)}")] if beside else []


def _carried(shown: RoomOnDay, chosen: Place, names: dict[int, str]) -> list[Connection]:
    pk = chosen.tank.pk
    return [
        _connection(KIND_OF[event.kind], f"{_day(event.on)}: {event.text}")
        for event in shown.events
        if event.link is not None and pk in event.link and set(event.link) <= set(names)
    ]


def _listed(tanks: list[int] | tuple[int, ...], chosen: Place | None, names: dict[int, str]) -> str:
    others = [names[pk] for pk in tanks if chosen is None or pk != chosen.tank.pk]
    if len(others) > NAMED:
        return f"{len(others)} {'tanks' if chosen is None else 'other tanks'}"
    return ", ".join(others)


def _day(on: dt.date) -> str:
    return f"{on.day} {on:%b}"
