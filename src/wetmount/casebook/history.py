"""The record of changes in words: who changed what and when, what it was before and what it became.

A change holds only what changed. What its entry is ("skin scrape of fish 1, flickering flagellates on skin") is read
from the entry, or, when that is gone, from the change that made or removed it.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db import models
from django.db.models import Q
from django.utils import timezone

from wetmount.casebook import clock
from wetmount.casebook.models import Act, Case, Change
from wetmount.casebook.reference import reference
from wetmount.casebook.services.acts import model_of, values_of
from wetmount.casebook.services.looking import say_level
from wetmount.casebook.services.undo import KEPT_FOR, REACH_CLOSED
from wetmount.findings import number

AT_ONCE = 40
"""Acts on one page."""

Values = dict[str, Any]
Key = tuple[str, int]

NOTHING = {"findingentry": "not looked at", "historyanswer": "no answer", "reading": "not measured"}
"""What an entry that is not there means; else it is "not there"."""

UNTOLD = frozenset({"uid", "at", "version", "sha256", "size", "media_type", "file", "thumbnail", "width", "height",
                    "order", "step", "case_id", "look_id", "examination_id", "plan_id"})  # fmt: skip
"""Columns that say nothing to a person, or are said by where the entry stands."""

FIELDS = {
    "on": "day", "n_of": "seen in", "seen_in": "seen in", "looked_at": "of fish looked at", "opened": "opened",
    "deleted_at": "deleted", "done_at": "done", "hours_dead": "hours since death", "killed_by": "killed how",
    "original_name": "name of the file", "volume_l": "volume in litres", "number": "number", "own_number": "own number",
    "volume_low_l": "least volume in litres", "volume_high_l": "greatest volume in litres",
    "lawful_here": "restricted agents lawful",
    "due_at": "time", "due_on": "due on", "set_on": "set on", "outcome_note": "on the outcome", "total": "kept",
    "dead_today": "died today", "chosen_on": "chosen on", "first": "first day", "others": "other fish",
    "from_tank_id": "from", "to_tank_id": "to", "not_before": "still well on", "every_days": "every so many days",
    "fish": "fish examined", "found": "seen", "row": "shelf", "turn": "turn in the order of work",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """One change: where, and from what to what."""

    where: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Told:
    """One act. `can_return`: it deleted or closed something that can still be brought back."""

    act: Act
    who: str
    lines: tuple[Line, ...]
    undone: bool
    can_return: bool


def told(case: Case | None, before: int | None = None) -> tuple[list[Told], int | None]:
    """The latest acts in a case (None: outside all cases), older than act `before`; and where the older ones begin.

    The number of queries does not grow with the record.
    """
    acts = Act.objects.filter(case=case).select_related("device", "undone_by").order_by("-id")
    if before is not None:
        acts = acts.filter(pk__lt=before)
    page = list(acts[: AT_ONCE + 1])
    older = page[AT_ONCE - 1].pk if len(page) > AT_ONCE else None
    page = page[:AT_ONCE]
    changes: dict[int, list[Change]] = defaultdict(list)
    for change in Change.objects.filter(act__in=page):
        changes[change.act_id].append(change)
    known = _Known(change for many in changes.values() for change in many)
    closed = case is not None and case.is_closed
    return [_told(act, changes[act.pk], known, closed) for act in page], older


def _told(act: Act, changes: list[Change], known: _Known, closed: bool) -> Told:
    undone = hasattr(act, "undone_by")
    deletes = act.kind.startswith("remove_") or act.kind in ("delete_attachment", "take_sweep_back")
    reach = act.kind in REACH_CLOSED if closed else deletes
    fresh = act.at > clock.now() - KEPT_FOR
    lines = tuple(line for change in changes for line in _lines(change, known))
    can_return = reach and (deletes or act.kind == "close_case") and fresh and not undone
    return Told(act, act.device.name if act.device else "Wetmount itself", lines, undone, can_return)


# --- what the changes are about ---------------------------------------------------------------------------------------


class _Known:
    """The last known values of the entries of a page of changes, and of what these point to."""

    def __init__(self, changes: Iterable[Change]) -> None:
        self.values: dict[Key, Values] = {}
        wanted: set[Key] = set()
        for change in changes:
            wanted.add((change.table, change.entry))
            for side in (change.before, change.after):
                wanted |= set(_links(change.table, side or {}))
        while wanted:  # an entry, its examination, that one's fish: four rounds at most
            self._load(wanted)
            wanted = {
                link for key in wanted for link in _links(key[0], self.values.get(key, {})) if link not in self.values
            }

    def _load(self, keys: set[Key]) -> None:
        by_table: dict[str, set[int]] = defaultdict(set)
        for table, pk in keys:
            by_table[table].add(pk)
        gone = Q()
        for table, pks in by_table.items():
            for row in model_of(table)._base_manager.filter(pk__in=pks):
                self.values[table, row.pk] = values_of(row)
            if missing := [pk for pk in pks if (table, pk) not in self.values]:
                gone |= Q(table=table, entry__in=missing)
        if gone:
            whole = Change.objects.filter(gone).filter(Q(before__isnull=True) | Q(after__isnull=True)).order_by("id")
            for change in whole:
                self.values[change.table, change.entry] = change.after or change.before or {}
        for key in keys:
            self.values.setdefault(key, {})

    def of(self, table: str, pk: Any) -> Values:
        """The values of an entry, none when nothing is known of it."""
        return self.values.get((table, pk), {}) if pk else {}


def _links(table: str, values: Values) -> Iterable[Key]:
    for field in model_of(table)._meta.concrete_fields:
        pk = values.get(field.attname) if field.is_relation else None
        if pk and field.related_model is not Case:
            yield field.related_model._meta.model_name, pk


# --- words ------------------------------------------------------------------------------------------------------------


def _lines(change: Change, known: _Known) -> Iterable[Line]:
    table, before, after = change.table, change.before, change.after
    where = _where(table, known.of(table, change.entry) | (before or {}) | (after or {}), known)
    if table == "findingentry":
        yield from _of_finding(where, before, after, known.of(table, change.entry))
        before, after = (_without(side, "level", "sure") for side in (before, after))
        if change.before is None or change.after is None:
            before, after = {}, before or after  # the rest of a new or removed entry is told field by field
            after = {name: value for name, value in (after or {}).items() if _filled(value)}
    elif before is None or after is None:
        nothing = NOTHING.get(table, "not there")
        yield Line(where, _sum(table, before, known) or nothing if before is not None else nothing,
                   _sum(table, after, known) or "noted" if after is not None else nothing)  # fmt: skip
        return
    for name in _in_order(table, after):
        if name not in UNTOLD and name not in _NAMED.get(table, ()):
            was, now = (_say(table, name, (side or {}).get(name), known) for side in (before, after))
            yield Line(f"{where}, {_field(name)}", was or "–", now or "–")


def _of_finding(where: str, before: Values | None, after: Values | None, entry: Values) -> Iterable[Line]:
    """The level and how sure, as one; what did not change of the two is taken from the entry."""
    changed = set(before or {}) | set(after or {})
    if not changed & {"level", "sure"}:
        return
    row = reference().findings.get(str(entry.get("finding")))

    def say(side: Values | None) -> str:
        if side is None:
            return NOTHING["findingentry"]
        level, sure = side.get("level", entry.get("level")), side.get("sure", "sure")
        if row is None or level is None or level >= len(row.levels):
            return f"level {level}"
        return say_level(row.levels, level, sure)

    yield Line(where, say(before), say(after))


_SHORT = {"ph": "pH", "kh": "KH", "gh": "GH"}

_NAMED = {
    "findingentry": ("finding",), "historyanswer": ("finding",), "casecause": ("condition",), "examination": ("kind",),
    "reading": ("parameter", "on"),
}  # fmt: skip
"""Columns that are said by the name of the entry."""


def _where(table: str, values: Values, known: _Known) -> str:
    """What an entry is, in words."""
    if table == "findingentry":
        return f"{_examination(values, known)}, {_name('findings', values.get('finding'))}"
    if table == "slide":
        return f"{_examination(values, known)}, a slide"
    if table == "examination":
        return _examined(values, known)
    if table == "attachment":
        return f"{values.get('kind') or 'file'} {values.get('original_name') or ''}".strip()
    if table in ("numbers", "reading"):
        day = _look(known.of("look", values.get("look_id")))
        parameter = str(values.get("parameter") or "reading").replace("_", " ")
        what = "numbers" if table == "numbers" else _SHORT.get(parameter, parameter)
        return f"{what}, {day}" if values.get("look_id") else what
    called = str(values.get("name") or "")
    kinds = {"net": "net or tool shared", "water": "water carried over"}
    named = {
        "case": "the case",
        "look": _look(values),
        "historyanswer": f"history, {_name('findings', values.get('finding'))}",
        "casecause": f"put down to {_name('conditions', values.get('condition'))}",
        "caseaddendum": "addendum",
        "casebatch": f"batch told of, {values.get('species', '')}",
        "casetank": "further tank",
        "taskdue": f"to do, {values.get('title', '')}",
        "planchoice": f"plan, {_look(known.of('look', values.get('look_id')))}",
        "planstep": f"step of the plan, {str(values.get('text', ''))[:60]}",
        "batch": f"batch of {values.get('species', '')}",
        "move": kinds.get(str(values.get("kind")), "fish moved"),
        "fishroom": f"fish room {called}",
        "tanksign": f"seen in {_tank(values, known)}",
        "tankcheck": f"check of {_tank(values, known)}",
        "tankgroup": f"shared by tanks, {called}",
        "tankingroup": f"{_tank(values, known)}, shared by {known.of('tankgroup', values.get('group_id')).get('name')}",
    }
    return named.get(table) or f"{table} {called}".strip()


def _examination(values: Values, known: _Known) -> str:
    return _examined(known.of("examination", values.get("examination_id")), known)


def _examined(values: Values, known: _Known) -> str:
    name = _name("examinations", values.get("kind")) if values.get("kind") else "an examination"
    fish = known.of("fish", values.get("fish_id")).get("name")
    return f"{name} of fish {fish}" if fish else name


def _tank(values: Values, known: _Known) -> str:
    return str(known.of("tank", values.get("tank_id")).get("name") or "a tank")


def _look(values: Values) -> str:
    return f"look of {_day(values['on'])}" if values.get("on") else "look"


def _name(table: str, id: Any) -> str:
    row = getattr(reference(), table).get(id)
    return str(getattr(row, "name", None) or getattr(row, "meaning", None) or id)


def _sum(table: str, values: Values | None, known: _Known) -> str:
    """An entry as a whole: its fields that say something."""
    parts = []
    for name in _in_order(table, values):
        value = (values or {})[name]
        if name in UNTOLD or name in _NAMED.get(table, ()) or not _filled(value):
            continue
        said = _say(table, name, value, known)
        parts.append(said if name in ("value", "answer", "text", "standing", "level") else f"{_field(name)} {said}")
    return "; ".join(parts)


def _in_order(table: str, values: Values | None) -> list[str]:
    """The columns in the order of the table: PostgreSQL keeps JSON in an order of its own."""
    return [field.attname for field in model_of(table)._meta.concrete_fields if field.attname in (values or {})]


def _field(name: str) -> str:
    return FIELDS.get(name, name.removesuffix("_id").replace("_", " "))


def _say(table: str, name: str, value: Any, known: _Known) -> str:
    """A value of a column in words; "" for none."""
    if not _filled(value):
        return ""
    field = next((one for one in model_of(table)._meta.concrete_fields if one.attname == name), None)
    if field is None:
        return str(value)
    if field.is_relation:
        there = known.of(field.related_model._meta.model_name, value)
        return str(there.get("name") or there.get("species") or "one that is gone")
    if field.choices:
        return str(dict(field.choices).get(value, value))
    if name in ("condition", "examination"):
        return _name(f"{name}s", value)
    if name == "host_group":
        return _name("host_groups", value)
    if name == "red_flags":
        return "; ".join(_name("red_flags", flag) for flag in value)
    if name == "agents":
        return "; ".join(f"{id}: {_in_hand(agent)}" for id, agent in value.items())
    if name == "living":
        return "; ".join(f"{thing.replace('_', ' ')} {answer}" for thing, answer in value.items())
    if name == "given":
        told = (f"{one['option']} on {one['date']}, {one.get('changed_percent', 0):g} % changed since" for one in value)
        return "; ".join(told) or "nothing"
    if name in ("others", "days"):
        return "; ".join(map(str, value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name == "counts":
        return "; ".join(f"{_name('findings', finding)} {_count(n)}" for finding, n in value.items())
    if isinstance(field, models.DateTimeField):
        moment = dt.datetime.fromisoformat(value)
        return f"{_day(timezone.localtime(moment).date().isoformat())}, {timezone.localtime(moment):%H:%M}"
    if isinstance(field, models.DateField):
        return _day(value)
    if isinstance(field, models.TimeField):
        return str(value)[:5]
    return number(value) if isinstance(value, float) else str(value)


def _in_hand(agent: Values) -> str:
    return ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in agent.items())


def _count(count: Any) -> str:
    return " + ".join(str(one) for one in count) if isinstance(count, list) else str(count)


def _day(iso: str) -> str:
    day = dt.date.fromisoformat(iso[:10])
    return f"{day.day} {day:%B} {day.year}"


def _filled(value: Any) -> bool:
    return value not in (None, "", [], {})


def _without(side: Values | None, *names: str) -> Values | None:
    return side and {name: value for name, value in side.items() if name not in names}
