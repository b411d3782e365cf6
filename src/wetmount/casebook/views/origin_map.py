"""The racks of a room drawn small, each tank with a mark and a word: for chains and for where it came in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wetmount.casebook.fish_room import Place, RoomOnDay


@dataclass(frozen=True, slots=True)
class Cell:
    """A tank on the drawing: `mark` is its class, `line` the few letters in it, `words` what it says aloud."""

    pk: int
    name: str
    mark: str
    line: str
    words: str
    link: str = ""


@dataclass(frozen=True, slots=True)
class DrawnRack:
    """A rack with its shelves; cells where no tank stands are None."""

    name: str
    shared: bool
    width: int
    shelves: tuple[tuple[Cell | None, ...], ...]


IN_A_ROW = 6
"""Tanks in a row where places on the shelves are not noted."""


def drawn(shown: RoomOnDay, cells: Mapping[int, Cell]) -> list[DrawnRack]:
    """The racks of the room with these cells; a tank without one is drawn plain."""

    def cell(place: Place | None) -> Cell | None:
        if place is None:
            return None
        plain = Cell(place.tank.pk, place.tank.name, "plain", "", place.tank.name)
        return cells.get(place.tank.pk, plain)

    racks = []
    for rack in shown.racks:
        rows = rack.shelves or tuple(rack.places[at : at + IN_A_ROW] for at in range(0, len(rack.places), IN_A_ROW))
        width = len(rows[0]) if rack.shelves else IN_A_ROW
        name = rack.system.name if rack.system is not None else "On their own"
        racks.append(DrawnRack(name, rack.system is not None, width, tuple(tuple(map(cell, row)) for row in rows)))
    return racks
