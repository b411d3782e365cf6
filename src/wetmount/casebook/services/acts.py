"""Acts: how everything that is written is written, with what it was before, in one transaction."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from django.apps import apps
from django.db import models, transaction

from wetmount.casebook import clock
from wetmount.casebook.models import Act, Case, CaseCause, Change, Device, Entry
from wetmount.casebook.services.refusals import CaseClosed, Conflict, Refused, Side
from wetmount.casebook.services.text import reindex

E = TypeVar("E", bound=Entry)

UNRECORDED = frozenset({"id", "version", "touched_at", "leading", "leading_share", "put_down_to"})
"""Columns that are no part of the record: keys, and what is made anew from the record."""


class Writer:
    """Writes entries within one act and records each. Made by `act`."""

    def __init__(self, device: Device | None, kind: str, said: str, case: Case | None, undoes: Act | None) -> None:
        self.device, self.kind, self.said, self.case, self.undoes = device, kind, said, case, undoes
        self.at = clock.now()
        self._act: Act | None = None
        self._words_changed = False
        self._causes_changed = False

    @property
    def act(self) -> Act:
        """The row of this act; an act that changes nothing leaves none."""
        if self._act is None:
            self._act = Act.objects.create(
                case=self.case, device=self.device, at=self.at, kind=self.kind, said=self.said, undoes=self.undoes
            )
        return self._act

    @property
    def wrote(self) -> Act | None:
        """The row of this act, None while nothing was changed."""
        return self._act

    def make(self, model: type[E], **values: Any) -> E:
        """Add an entry."""
        entry = model(**values)
        if isinstance(entry, Case):
            self.case = entry
            entry.save(force_insert=True)  # before the act, which belongs to it
        entry.version = self.act.pk
        entry.save()
        self._record(entry, None, values_of(entry))
        return entry

    def set(self, entry: E, *, seen: int | None = None, **values: Any) -> bool:
        """Change fields of an entry that was read within this act; False when all of them stood so already.

        `seen`: the version the writer had before them. Where that is not the one that stands and the values differ,
        `Conflict` is raised with both.
        """
        for name, value in values.items():
            if isinstance(value, models.Model):
                raise TypeError(f"give {name}_id, not the row")
        old = values_of(entry)
        for name, value in values.items():
            setattr(entry, name, value)
        new = values_of(entry)
        changed = [name for name in new if new[name] != old[name]]
        if not changed:
            return False
        if seen is not None and seen != entry.version:
            raise conflict(entry._meta.model_name or "", entry.pk, old, {n: new[n] for n in new}, entry.version, self)
        entry.version = self.act.pk
        entry.save()
        self._record(entry, {n: old[n] for n in changed}, {n: new[n] for n in changed})
        return True

    def take_away(self, entry: Entry) -> None:
        """Remove an entry and what hangs on it, deepest first; its record keeps all of it."""
        for child, column in _hanging_on(entry, models.SET_NULL):
            self.set(child, **{column: None})
        for child, _ in _hanging_on(entry, models.CASCADE):
            self.take_away(child)
        self._record(entry, values_of(entry), None)
        entry.delete()

    def put_back(self, model: type[Entry], pk: int, values: dict[str, Any]) -> Entry:
        """Add an entry that was taken away, as it was and under its old key."""
        entry = model(pk=pk, **from_record(model, values))
        entry.version = self.act.pk
        entry.save(force_insert=True)
        self._record(entry, None, values_of(entry))
        return entry

    def _record(self, entry: Entry, before: dict[str, Any] | None, after: dict[str, Any] | None) -> None:
        table = entry._meta.model_name or ""
        Change.objects.create(act=self.act, table=table, entry=entry.pk, before=before, after=after)
        self._causes_changed |= table == "casecause"
        words = _WORDS.get(table, ())
        self._words_changed |= any(side.get(name) for side in (before or {}, after or {}) for name in words)

    def finish(self) -> None:
        """Bring what is made from the record up to date."""
        if self._act is None or self.case is None or self.case.pk is None:
            return
        Case.all_cases.filter(pk=self.case.pk).update(touched_at=self.at)
        self.case.touched_at = self.at
        if self._causes_changed:
            confirmed = CaseCause.objects.filter(case=self.case, standing="confirmed").order_by("pk")
            self.case.put_down_to = ",".join(confirmed.values_list("condition", flat=True))
            Case.all_cases.filter(pk=self.case.pk).update(put_down_to=self.case.put_down_to)
        if self._words_changed:
            reindex(self.case.pk)


_WORDS: dict[str, tuple[str, ...]] = {
    "case": ("title", "own_number", "worries", "note", "which_fish", "species", "host_group", "keeper_id", "room_id",
             "system_id", "tank_id", "batch_id", "outcome_note"),
    "casebatch": ("species", "origin", "note"),
    "casecause": ("condition", "note"),
    "caseaddendum": ("text",),
    "historyanswer": ("answer",),
    "fish": ("species", "killed_by", "note"),
    "look": ("note",),
    "examination": ("kind", "site", "note"),
    "findingentry": ("level", "note"),
    "slide": ("site", "note"),
    "reading": ("kit", "note"),
    "attachment": ("original_name", "caption", "deleted_at"),
    "note": ("text",),
    "taskdue": ("title", "detail", "outcome"),
    "planchoice": ("why",),
    "planstep": ("text",),
}  # fmt: skip
"""The columns whose change alters what a search of the case finds. A finding is found by its name once it was seen."""


@contextmanager
def act(
    device: Device | None,
    kind: str,
    said: str,
    *,
    case: Case | None = None,
    closed_too: bool = False,
    undoes: Act | None = None,
) -> Iterator[Writer]:
    """One transaction in which `device` does one thing, told in words by `said`.

    The case is locked against other writers and must be open, except where `closed_too` is given.
    """
    with transaction.atomic():
        if case is not None:
            case = Case.all_cases.select_for_update().get(pk=case.pk)
            if case.deleted_at is not None and kind not in ("undo", "delete_case"):
                raise Refused("This case was deleted. Take the deletion back first.")
            if case.is_closed and not closed_too:
                raise CaseClosed
        writer = Writer(device, kind, said, case, undoes)
        yield writer
        writer.finish()


def conflict(
    table: str, pk: int | None, now: dict[str, Any] | None, yours: dict[str, Any], version: int, writer: Writer
) -> Conflict:
    """The conflict between what stands (last touched by act `version`) and what `writer` was about to write."""
    last = Act.objects.select_related("device").filter(pk=version).first()
    standing = Side(now, last.device.name if last and last.device else "", last.at if last else None)
    mine = Side(yours, writer.device.name if writer.device else "", writer.at)
    return Conflict(table, pk, standing, mine, version)


# --- rows to records and back -----------------------------------------------------------------------------------------


def values_of(entry: models.Model) -> dict[str, Any]:
    """The recorded columns of a row as JSON knows them; links as the key of the row they point to."""
    return {
        field.attname: _plain(getattr(entry, field.attname))
        for field in entry._meta.concrete_fields
        if field.name not in UNRECORDED
    }


def from_record(model: type[models.Model], values: dict[str, Any]) -> dict[str, Any]:
    """The columns of a record as the model wants them."""
    fields = {field.attname: field for field in model._meta.concrete_fields}
    return {name: fields[name].to_python(value) for name, value in values.items() if name in fields}


def _plain(value: Any) -> Any:
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, uuid.UUID):
        return str(value)
    if isinstance(value, tuple | list):
        return [_plain(one) for one in value]
    if isinstance(value, dict):
        return {str(key): _plain(one) for key, one in value.items()}
    return value


def model_of(table: str) -> type[Entry]:
    """The model of a table named in a change."""
    model: type[Entry] = apps.get_model("casebook", table)
    return model


def _hanging_on(entry: Entry, rule: Any) -> Iterator[tuple[Entry, str]]:
    """Recorded rows that point to this one with this rule, each with the column that does."""
    for relation in entry._meta.related_objects:
        model = relation.related_model
        if isinstance(model, type) and issubclass(model, Entry) and relation.on_delete is rule:
            for row in model._base_manager.filter(**{relation.field.name: entry.pk}).order_by("pk"):
                yield row, relation.field.attname


def hangs_on(entry: Entry) -> bool:
    """Whether any recorded row points to this one."""
    return any(next(_hanging_on(entry, rule), None) is not None for rule in (models.CASCADE, models.SET_NULL))
