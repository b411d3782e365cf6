"""Why an act was not done: a sentence for the person who tried it, and a status for the page."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any


class Refused(Exception):
    """The act cannot be done; the message says why and what to do instead."""

    status = 422


class CaseClosed(Refused):
    """A closed case is locked."""

    status = 409

    def __init__(self) -> None:
        super().__init__("This case is closed and locked. Write an addendum instead.")


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two sides of a conflict."""

    values: dict[str, Any] | None  # None: not looked at, or not there
    who: str
    at: dt.datetime | None


class Conflict(Refused):
    """Two devices wrote one entry: what stands now, what was about to be written, and by whom."""

    status = 409

    def __init__(self, table: str, entry: int | None, now: Side, yours: Side, version: int) -> None:
        who = now.who or "another device"
        super().__init__(f"Changed meanwhile on {who}. Both are shown; choose which to keep.")
        self.table, self.entry, self.now, self.yours, self.version = table, entry, now, yours, version
