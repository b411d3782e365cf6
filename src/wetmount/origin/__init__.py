"""Where it came from: the fish room in time, exposures, chains, and who infected whom.

Imports on first use, so that a caller who wants one part does not load the rest.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from wetmount.origin.chains import chain_of as chain_of
    from wetmount.origin.control import cut_links as cut_links
    from wetmount.origin.control import learn_next as learn_next
    from wetmount.origin.curve import epidemic_curve as epidemic_curve
    from wetmount.origin.exposures import exposure_tables as exposure_tables
    from wetmount.origin.exposures import stratified_exposure as stratified_exposure
    from wetmount.origin.results import Trace as Trace
    from wetmount.origin.room import Room as Room
    from wetmount.origin.room_check import check_room as check_room
    from wetmount.origin.room_file import demo_room as demo_room
    from wetmount.origin.room_file import read_room as read_room
    from wetmount.origin.room_file import write_room as write_room
    from wetmount.origin.round_today import plan_round as plan_round
    from wetmount.origin.spreadsheet import preview_sheet as preview_sheet
    from wetmount.origin.stock import stock_in_time as stock_in_time
    from wetmount.origin.tracing import trace as trace

_HOME = {
    "Room": "room",
    "Trace": "results",
    "chain_of": "chains",
    "check_room": "room_check",
    "cut_links": "control",
    "demo_room": "room_file",
    "epidemic_curve": "curve",
    "exposure_tables": "exposures",
    "learn_next": "control",
    "plan_round": "round_today",
    "preview_sheet": "spreadsheet",
    "read_room": "room_file",
    "stock_in_time": "stock",
    "stratified_exposure": "exposures",
    "trace": "tracing",
    "write_room": "room_file",
}

__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'wetmount.origin' has no attribute {name!r}")
    return getattr(import_module(f"wetmount.origin.{_HOME[name]}"), name)
