"""The reference of this casebook: the shipped tables, and the practice's own rows over them."""

from __future__ import annotations

import os
from dataclasses import dataclass
from operator import attrgetter
from pathlib import Path
from typing import Any

from wetmount.errors import InputError
from wetmount.reference import Reference, load_reference
from wetmount.reference.loader import read_reference
from wetmount.reference.rows import TABLES


@dataclass(slots=True)
class _Chosen:
    """The folder of own rows that was chosen in the settings, and why it is not used if it is not."""

    folder: str = ""
    wrong: str = ""


_CHOSEN = _Chosen()
_LOADED: dict[str, Reference] = {}
_OWN: dict[str, frozenset[tuple[str, object]]] = {}


def reference() -> Reference:
    """The reference, loaded once."""
    overlay = overlay_folder()
    return _overlaid(overlay) if overlay else load_reference()


def overlay_folder() -> str:
    """The folder of own rows: as the environment says, else as was chosen in the settings; empty for none."""
    return os.environ.get("WETMOUNT_OVERLAY", "") or _CHOSEN.folder


def _overlaid(folder: str) -> Reference:
    if folder not in _LOADED:
        _LOADED.clear()
        _LOADED[folder] = load_reference(Path(folder))
    return _LOADED[folder]


def forget() -> None:
    """Read the overlay again on next use."""
    _LOADED.clear()
    _OWN.clear()


def use_overlay(folder: str) -> None:
    """Lay the rows of `folder` over the shipped ones from now on; empty for none.

    A folder that cannot be used is left out, and `overlay_problem` says why: cases must open whatever became of it.
    """
    _CHOSEN.folder, _CHOSEN.wrong = "", ""
    forget()
    if folder:
        try:
            load_reference(Path(folder))
        except (InputError, OSError) as error:
            _CHOSEN.wrong = str(error)
        else:
            _CHOSEN.folder = folder


def overlay_problem() -> str:
    """Why the chosen folder of own rows is not used; empty when it is, or when none was chosen."""
    return _CHOSEN.wrong


def is_own(table: str, row: Any) -> bool:
    """Whether a row of a table stands in the practice's own folder."""
    folder = overlay_folder()
    if not folder:
        return False
    if folder not in _OWN:
        _OWN.clear()
        places = read_reference(Path(folder).absolute()).places
        # a shipped table is named without a folder
        _OWN[folder] = frozenset(place for place, (file, _) in places.items() if Path(file).is_absolute())
    return (table, attrgetter(*TABLES[table].key)(row)) in _OWN[folder]
