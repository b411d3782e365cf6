"""Chains: everything that could have reached a tank, and everything it could have reached, in the order of time.

A contact carries from its source to its goal on its day. Contacts of one day may follow one another, in any order;
later ones never go back in time. Ingoing and outgoing chain and degree as Nöremark M, Widgren S define them, BMC
Veterinary Research 10:71, 2014. Both chains take one pass over the contacts in the order of their days.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date as Date
from datetime import timedelta
from typing import Final, Literal

import numpy as np

from wetmount.case_check import nearest, shorten
from wetmount.errors import InputError
from wetmount.origin.room import Room, Tank

Ints = np.ndarray[tuple[int], np.dtype[np.int64]]
Direction = Literal["ingoing", "outgoing"]

KINDS: Final = ("fish", "net", "water", "plants", "other", "sump", "tool", "neighbour", "worker")
"""What can carry: moves of fish, single contacts, shared sumps, tools in use, places side by side, hands."""
USUAL: Final = ("fish", "net", "water", "plants", "other", "sump", "tool")
"""Those that are followed unless asked otherwise. Neighbours and workers tie nearly everything to everything."""


@dataclass(frozen=True, slots=True)
class Contacts:
    """Contacts between named nodes: parallel arrays of day (number), source and goal (places in `nodes`), kind (place
    in `kinds`). Nodes from `tanks` on are no tanks but what ties them together: a sump, a net, a person."""

    nodes: tuple[str, ...]
    day: Ints
    source: Ints
    goal: Ints
    kind: Ints
    kinds: tuple[str, ...] = KINDS
    tanks: int | None = None

    def place(self, node: str) -> int:
        """The place of a node. Raises InputError for one that is not there."""
        tanks = self.nodes[: self.tanks]
        if node not in tanks:
            guess = nearest(node, tanks) or f"there are {', '.join(tanks[:12])}{' …' if len(tanks) > 12 else ''}"
            raise InputError(f'"{shorten(node)}" is no tank of this room; {guess}', field="tank")
        return self.nodes.index(node)


@dataclass(frozen=True, slots=True)
class Step:
    """One contact of a path."""

    day: int
    source: str
    goal: str
    kind: str


@dataclass(frozen=True, slots=True)
class Chain:
    """What a root could have reached (outgoing) or have been reached by (ingoing) in a window of days.

    `when` is, for each node, the first day on which the root can have reached it (outgoing), or the last day on which
    it can have sent something that reached the root (ingoing); -1 where neither. `degree` counts the tanks of one
    contact only.
    """

    root: str
    direction: Direction
    first: int
    last: int
    reached: tuple[str, ...]
    degree: int
    when: Ints
    _contacts: Contacts
    _by: Ints
    """For each node the contact through which it was reached; -1 where none."""

    def day_of(self, node: str) -> int | None:
        """The node's day of `when`, or None when it is not in the chain."""
        day = int(self.when[self._contacts.place(node)])
        return None if node not in self.reached else day

    def path(self, node: str) -> tuple[Step, ...]:
        """One way between root and node, in the order of time: the earliest arrival, or the latest departure."""
        contacts, at = self._contacts, self._contacts.place(node)
        root = contacts.place(self.root)
        steps: list[Step] = []
        while at != root and self._by[at] >= 0:
            by = int(self._by[at])
            source, goal = int(contacts.source[by]), int(contacts.goal[by])
            kind = contacts.kinds[int(contacts.kind[by])]
            steps.append(Step(int(contacts.day[by]), contacts.nodes[source], contacts.nodes[goal], kind))
            at = source if self.direction == "outgoing" else goal
        return tuple(steps if self.direction == "ingoing" else reversed(steps))


def chain(
    contacts: Contacts, root: str, direction: Direction, first: int | None = None, last: int | None = None
) -> Chain:
    """The ingoing or outgoing chain of `root` over the days `first` to `last` (None: the whole record).

    Raises InputError when the root is unknown or the window ends before it begins.
    """
    if direction not in ("ingoing", "outgoing"):
        raise InputError(f"{direction!r} is no direction; accepted are ingoing and outgoing", field="direction")
    at = contacts.place(root)
    begin = (int(contacts.day.min()) if len(contacts.day) else 0) if first is None else first
    end = (int(contacts.day.max()) if len(contacts.day) else 0) if last is None else last
    if first is not None and last is not None and last < first:
        raise InputError("the window ends before it begins", field="last")
    inside = np.flatnonzero((contacts.day >= begin) & (contacts.day <= end))
    days = contacts.day[inside]
    if direction == "outgoing":
        inside = inside[np.argsort(days, kind="stable")]
        tail, head = contacts.source, contacts.goal
    else:  # the same search with time and contacts turned round
        inside = inside[np.argsort(-days, kind="stable")]
        tail, head = contacts.goal, contacts.source
    when, by = _search(inside, contacts.day[inside], tail[inside], head[inside], at, len(contacts.nodes))
    tanks = len(contacts.nodes) if contacts.tanks is None else contacts.tanks
    found = np.flatnonzero(by[:tanks] >= 0)
    found = found[found != at]
    found = found[np.lexsort((found, when[found] if direction == "outgoing" else -when[found]))]
    direct = np.unique(head[inside][tail[inside] == at])
    degree = int(np.count_nonzero((direct != at) & (direct < tanks)))
    reached = tuple(contacts.nodes[node] for node in found.tolist())
    return Chain(root, direction, begin, end, reached, degree, when, contacts, by)


def _search(order: Ints, days: Ints, tails: Ints, heads: Ints, root: int, nodes: int) -> tuple[Ints, Ints]:
    """Day and contact of first arrival at each node from the root, over contacts sorted by day.

    Within a day the search goes outward from what is reached already, so that the way found has the fewest contacts of
    that day. The contacts of a day that leave a node form a list through `after`, begun at `leaving[node]` and valid on
    the day `since[node]`; each is looked at twice.
    """
    if not len(order):
        return np.full(nodes, -1), np.full(nodes, -1)
    when, by = [-1] * nodes, [-1] * nodes
    leaving, after = [-1] * nodes, [-1] * len(order)
    since: list[int | None] = [None] * nodes
    got = bytearray(nodes)
    got[root] = 1
    tail_of, head_of = tails.tolist(), heads.tolist()
    ends = [*(np.flatnonzero(np.diff(days)) + 1).tolist(), len(order)]
    start = 0
    for end in ends:
        day = int(days[start])
        reached: list[int] = []
        for at in range(end - 1, start - 1, -1):  # backwards, so that each list is in the order of the record
            if not got[head_of[at]]:
                tail = tail_of[at]
                if since[tail] != day:
                    since[tail], leaving[tail] = day, -1
                    if got[tail]:
                        reached.append(tail)
                after[at], leaving[tail] = leaving[tail], at
        for tail in reached:  # grows while it is gone through
            contact = leaving[tail]
            while contact >= 0:
                head = head_of[contact]
                if not got[head]:
                    got[head], when[head], by[head] = 1, day, contact
                    if since[head] == day:
                        reached.append(head)
                contact = after[contact]
        start = end
    found = np.array(by, dtype=np.int64)
    return np.array(when, dtype=np.int64), np.where(found < 0, -1, order[found])


# --- the contacts of a room -------------------------------------------------------------------------------------------


def room_contacts(room: Room, kinds: Collection[str] = USUAL) -> Contacts:
    """Everything in a room that can carry something from tank to tank, day by day.

    A sump, a tool in use and a worker are nodes of their own, tied both ways to their tanks on every day, so that the
    path says what it went through. A tank has no contacts before the day it was set up. Raises InputError for an
    unknown kind.
    """
    for kind in kinds:
        if kind not in KINDS:
            guess = nearest(kind, KINDS) or f"accepted are {', '.join(KINDS)}"
            raise InputError(f'"{shorten(kind)}" is no kind of contact; {guess}', field="kind")
    names = [tank.id for tank in room.tanks]
    place = {id: index for index, id in enumerate(names)}
    rows: list[tuple[int, int, int, int]] = []
    if "fish" in kinds:
        at = KINDS.index("fish")
        rows += [(room.day(move.on), place[move.from_tank], place[move.to_tank], at) for move in room.moves]
    rows += [
        (room.day(contact.on), place[contact.from_tank], place[contact.to_tank], KINDS.index(contact.kind))
        for contact in room.contacts
        if contact.kind in kinds
    ]
    hubs: list[str] = []
    since = {tank.id: 0 if tank.since is None else max(0, room.day(tank.since)) for tank in room.tanks}
    for kind, name, tanks, begin, end in _shared(room):
        if kind in kinds and len(tanks) > 1:
            hub, at = len(names) + len(hubs), KINDS.index(kind)
            hubs.append(name)
            for tank in tanks:
                for day in range(max(begin, since[tank]), end + 1):
                    rows += [(day, place[tank], hub, at), (day, hub, place[tank], at)]
    if "neighbour" in kinds:
        at = KINDS.index("neighbour")
        for one, other in neighbours(room):
            for day in range(max(since[one], since[other]), room.days):
                rows += [(day, place[one], place[other], at), (day, place[other], place[one], at)]
    table = np.array(rows, dtype=np.int64).reshape(-1, 4).T
    return Contacts((*names, *hubs), table[0], table[1], table[2], table[3], KINDS, len(names))


def _shared(room: Room) -> Iterator[tuple[str, str, tuple[str, ...], int, int]]:
    """What ties several tanks together: kind, name, tanks, first and last day number."""
    last = room.days - 1
    for system in room.systems:
        tanks = tuple(tank.id for tank in room.tanks if tank.system == system.id)
        yield "sump", f"sump of {system.id}", tanks, 0, last
    for tool in room.tools:
        begin = 0 if tool.since is None else max(0, room.day(tool.since))
        end = last if tool.until is None else min(last, room.day(tool.until))
        yield "tool", tool.id, tuple(dict.fromkeys(tool.tanks)), begin, end
    for worker in room.workers:
        yield "worker", worker.id, tuple(dict.fromkeys(worker.tanks)), 0, last


def neighbours(room: Room) -> tuple[tuple[str, str], ...]:
    """Tanks that stand side by side on one shelf."""
    at: dict[tuple[str | None, int | None, int], Tank] = {
        (tank.rack, tank.row, tank.place): tank for tank in room.tanks if tank.place is not None
    }
    pairs = [(tank, at.get((rack, row, place + 1))) for (rack, row, place), tank in at.items()]
    return tuple((tank.id, beside.id) for tank, beside in pairs if beside is not None)


def chain_of(
    room: Room,
    tank: str,
    direction: Direction,
    *,
    first: Date | None = None,
    last: Date | None = None,
    kinds: Collection[str] = USUAL,
) -> Chain:
    """The chain of a tank of a room between two days (None: the ends of the record)."""
    begin, end = first or room.first, last or room.last
    return chain(room_contacts(room, kinds), tank, direction, room.day(begin), room.day(end))


def path_words(path: Sequence[Step], start: Date) -> str:
    """'Q2, fish 21 September to A4, sump of rack A, 21 September to A9': a path for a reader."""
    if not path:
        return ""
    parts = [path[0].source]
    for step in path:
        on = start + timedelta(days=step.day)
        how = f" ({step.kind})" if step.kind not in ("sump", "tool", "worker") else ""
        parts.append(f"{on.day} {on:%B}{how} → {step.goal}")
    return " ".join(parts)
