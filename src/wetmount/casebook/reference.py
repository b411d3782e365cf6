"""The reference of this casebook: the shipped tables, and the practice's own rows over them."""

from __future__ import annotations

import os
from pathlib import Path

from wetmount.reference import Reference, load_reference


def reference() -> Reference:
    """The reference, loaded once."""
    overlay = os.environ.get("WETMOUNT_OVERLAY", "")
    return _overlaid(overlay) if overlay else load_reference()


_LOADED: dict[str, Reference] = {}


def _overlaid(folder: str) -> Reference:
    if folder not in _LOADED:
        _LOADED.clear()
        _LOADED[folder] = load_reference(Path(folder))
    return _LOADED[folder]


def forget() -> None:
    """Read the overlay again on next use."""
    _LOADED.clear()
