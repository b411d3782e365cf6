"""A weighed case as a document to print, a page, or a message to paste; all three say the same.

Imports on first use: the tables of the command take their words from here and need no document.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from wetmount.report.composing import compose as compose
    from wetmount.report.write import write_report as write_report

_HOME = {"compose": "composing", "write_report": "write"}

__all__ = ["compose", "write_report"]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'wetmount.report' has no attribute {name!r}")
    return getattr(import_module(f"wetmount.report.{_HOME[name]}"), name)
