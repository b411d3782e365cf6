"""Where it came from: the fish room in time, exposures, chains, and who infected whom.

Imports on first use, so that a caller who wants one part does not load the rest.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from wetmount.origin.results import Trace as Trace
    from wetmount.origin.room import Room as Room
    from wetmount.origin.tracing import trace as trace

_HOME = {
    "Room": "room",
    "Trace": "results",
    "trace": "tracing",
}

__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'wetmount.origin' has no attribute {name!r}")
    return getattr(import_module(f"wetmount.origin.{_HOME[name]}"), name)
