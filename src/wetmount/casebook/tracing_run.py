"""Tracing a condition in a room beside the requests: begun once, shown as it refines, kept when it is done.

A kept trace belongs to the record it was made from: when an entry of the room or a table of the reference changes, it
is worked out again.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass
from typing import Any, Final

import msgspec
from django.db import IntegrityError, transaction

from wetmount.casebook import clock, working
from wetmount.casebook.models import FishRoom, TraceCache
from wetmount.casebook.reference import reference
from wetmount.casebook.tracing import Record
from wetmount.origin.control import Control, Learn, cut_links, learn_next
from wetmount.origin.diagnostics import ESS_GOOD
from wetmount.origin.posterior import R_HAT_ENOUGH
from wetmount.origin.results import Told, Trace
from wetmount.origin.round_today import Round, plan_round
from wetmount.origin.tracing import trace
from wetmount.reference import Reference

SEED: Final = 1


@dataclass(frozen=True, slots=True)
class Shown(Told):
    """A trace as pages show it."""

    @property
    def share(self) -> float:
        """How far the sampling is: the effective samples there are of those it takes, never quite all."""
        effective = min(self.convergence.ess_bulk, self.convergence.ess_tail)
        return min(0.98, max(0.0, effective / ESS_GOOD)) if effective == effective else 0.0

    @property
    def r_hat_enough(self) -> float:
        """R-hat taken as agreement."""
        return R_HAT_ENOUGH

    @property
    def samples_enough(self) -> int:
        """Effective samples it takes."""
        return int(ESS_GOOD)


@dataclass(frozen=True, slots=True)
class Ahead:
    """What follows from a trace: links to cut, whom to examine next, the round for today."""

    control: Control
    learn: tuple[Learn, ...]
    round: Round


@dataclass(frozen=True, slots=True)
class Kept:
    """A finished trace and when it was made; `fresh` while nothing in the record has changed since."""

    shown: Shown
    ahead: Ahead | None
    made_at: dt.datetime
    fresh: bool


def key_of(record: Record, tables: Reference) -> str:
    """Names the record and the tables a trace is made from."""
    whole = msgspec.json.encode((msgspec.to_builtins(record.room), record.others, tables.version, SEED))
    return hashlib.sha256(whole).hexdigest()


def kept_trace(room: FishRoom, condition: str, key: str | None = None) -> Kept | None:
    """The trace kept of a condition in a room, if there is one that can still be read."""
    row = TraceCache.objects.filter(room=room, condition=condition).first()
    if row is None:
        return None
    try:
        shown, ahead = shown_of(row.result["trace"]), ahead_of(row.result)
        return Kept(shown, ahead, row.made_at, key is None or row.key == key)
    except (KeyError, TypeError, msgspec.ValidationError):  # kept by another version of this program
        return None


def begun(room: FishRoom, record: Record, key: str, *, again: bool = True) -> working.Work:
    """The tracing of this record, begun unless it is under way or done; one that was stopped only `again`."""
    known = None if again else working.find(("trace", room.pk, key))
    if known is not None:
        return known
    tables = reference()
    return working.work(("trace", room.pk, key), lambda told: _trace(record, tables, told))


def stop(room: FishRoom, key: str) -> None:
    """Give it up."""
    working.stop(("trace", room.pk, key))


def _trace(record: Record, tables: Reference, told: working.Told) -> dict[str, Any]:
    share = [0.0]

    def progress(part: Trace) -> None:
        shown = shown_of(part.as_data())
        share[0] = shown.share
        told(shown.share, shown)

    found = trace(record.room, tables, seed=SEED, progress=progress, cancel=lambda: not told(share[0]))
    result: dict[str, Any] = {"trace": found.as_data()}
    if not found.convergence.stopped:
        todays = plan_round(found, tables, record.others)
        ahead = Ahead(cut_links(found, tables, seed=SEED), learn_next(found, tables), todays)
        result["ahead"] = msgspec.to_builtins(ahead)
    return result


def shown_of(data: dict[str, Any]) -> Shown:
    """A trace's data as pages show it."""
    return msgspec.convert(data, Shown)


def ahead_of(result: dict[str, Any]) -> Ahead | None:
    """What follows from a finished trace."""
    return msgspec.convert(result["ahead"], Ahead) if "ahead" in result else None


def keep(room: FishRoom, condition: str, key: str, result: dict[str, Any]) -> None:
    """Keep a finished trace; one that was stopped is not."""
    try:
        with transaction.atomic():
            TraceCache.objects.update_or_create(
                room=room, condition=condition, defaults={"key": key, "result": result, "made_at": clock.now()}
            )
    except IntegrityError:  # two pages kept it at once, or the room was taken away
        return
