"""A case of the database as the core's record, and back. What the core computes, it computes from the record."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from typing import Any

import msgspec
from django.db import transaction
from django.db.models import Prefetch

from wetmount import case as core
from wetmount.case_check import check_content
from wetmount.casebook import clock
from wetmount.casebook.models import (
    Attachment,
    Case,
    CaseBatch,
    Device,
    Examination,
    FindingEntry,
    Fish,
    FishRoom,
    HistoryAnswer,
    Keeper,
    Look,
    Numbers,
    PlanChoice,
    PlanStep,
    Reading,
    Slide,
    System,
    Tank,
)
from wetmount.casebook.reference import reference
from wetmount.casebook.services.acts import Writer, act
from wetmount.casebook.services.cases import next_number

UNNAMED_ROOM = "Room without a name"


# --- database to record -----------------------------------------------------------------------------------------------


def case_record(case: Case) -> core.Case:
    """The case as `wetmount.case.Case`, looks oldest first. The number of queries does not grow with the case."""
    case = Case.all_cases.select_related("keeper", "room", "system", "tank", "batch").get(pk=case.pk)
    examinations = Examination.objects.select_related("fish", "tank").prefetch_related(
        "findings",
        "slides",
        Prefetch("attachments", Attachment.objects.filter(kind="photograph", deleted_at=None), to_attr="photographs"),
    )
    looks = (
        Look.objects.filter(case=case)
        .select_related("numbers", "plan")
        .prefetch_related(
            Prefetch("examinations", examinations),
            Prefetch("readings", Reading.objects.select_related("tank")),
            "plan__steps",
        )
    )
    told = [*case.batches.all(), *([case.batch] if case.batch is not None else [])]
    return core.Case(
        format=1,
        host=core.Host(species=case.species or None, group=case.host_group or None),
        id=case.own_number or str(case.number),
        title=case.title,
        date=case.opened,
        keeper=_name(case.keeper),
        room=_name(case.room),
        system=_name(case.system),
        tank=_name(case.tank),
        note="\n\n".join(text for text in (case.worries, case.note) if text) or None,
        red_flags=tuple(case.red_flags),
        history={row.finding: row.answer for row in case.answers.order_by("pk")},
        fish=tuple(_fish(fish) for fish in case.fish.all()),
        batches=tuple(
            core.Batch(
                species=one.species,
                origin=one.origin or None,
                arrived=one.arrived,
                number=one.number,
                note=one.note or None,
            )
            for one in told
        ),
        looks=tuple(_look(look) for look in looks),
    )


def look_index(case: Case, look: Look) -> int:
    """The place of a look among the looks of `case_record(case)`."""
    return list(Look.objects.filter(case=case).values_list("pk", flat=True)).index(look.pk)


def _fish(fish: Fish) -> core.Fish:
    return core.Fish(
        id=fish.name,
        species=fish.species or None,
        state=fish.state or None,
        killed_by=fish.killed_by or None,
        hours_dead=fish.hours_dead,
        kept=fish.kept or None,
        length=fish.length or None,
        weight=fish.weight or None,
        sex=fish.sex or None,
        note=fish.note or None,
    )


def _look(look: Look) -> core.Look:
    readings: dict[str, list[core.Reading]] = defaultdict(list)
    for one in look.readings.all():
        readings[one.parameter].append(
            core.Reading(
                value=one.value,
                time=one.time.strftime("%H:%M") if one.time else None,
                kit=one.kit or None,
                tank=_name(one.tank),
                note=one.note or None,
            )
        )
    counted = getattr(look, "numbers", None)
    return core.Look(
        date=look.on,
        note=look.note or None,
        numbers=counted
        and core.Numbers(total=counted.total, sick=counted.sick, dead=counted.dead, dead_today=counted.dead_today),
        readings={name: many[0] if len(many) == 1 else tuple(many) for name, many in readings.items()},
        examinations=tuple(_examination(one) for one in look.examinations.all()),
        plan=plan_record(getattr(look, "plan", None)),
    )


def plan_record(row: PlanChoice | None) -> core.Plan | None:
    """A plan as `wetmount.case.Plan`. An agent whose row is gone is left out; its step stays in words."""
    if row is None:
        return None
    known = reference().doses
    return core.Plan(
        by=row.by or None,
        why=row.why or None,
        date=row.chosen_on,
        first=row.first,
        reference=row.reference or None,
        volume=row.volume or None,
        water=row.water or None,
        others=tuple(row.others),
        living=dict(row.living),
        lawful_here=row.lawful_here,
        given=None
        if row.given is None
        else tuple(msgspec.convert(one, core.PlanGiven) for one in row.given if one["option"] in known),
        agents={id: msgspec.convert(agent, core.PlanAgent) for id, agent in row.agents.items() if id in known},
        steps=tuple(step_record(step) for step in row.steps.all()),
    )


def step_record(row: PlanStep) -> core.PlanStep:
    """A step as `wetmount.case.PlanStep`."""
    gone = row.kind == "treat" and row.option not in reference().doses
    return core.PlanStep(
        text=row.text,
        kind="own" if gone else row.kind,
        option=row.option or None,
        urgency=row.urgency,
        days=tuple(dt.date.fromisoformat(day) for day in row.days),
    )


def _examination(row: Examination) -> core.ExaminationRecord:
    known = reference().findings
    return core.ExaminationRecord(
        kind=row.kind,
        fish=row.fish.name if row.fish is not None else None,
        tank=_name(row.tank),
        # A level beyond an overlay that was taken off since cannot be weighed; the entry itself stays in the casebook.
        findings={
            one.finding: _finding(one, known[one.finding].levels)
            for one in row.findings.all()
            if one.finding in known and one.level < len(known[one.finding].levels)
        },
        slides=tuple(_slide(one) for one in row.slides.all()),
        body_state=row.body_state or None,
        photographs=tuple(core.Photograph(file=one.file, caption=one.caption or None) for one in row.photographs),
        note=row.note or None,
    )


def _finding(row: FindingEntry, levels: tuple[str, ...]) -> core.FindingRecord:
    n_of = None if row.seen_in is None or row.looked_at is None else (row.seen_in, row.looked_at)
    return core.FindingRecord(level=levels[row.level], sure=row.sure, n_of=n_of, note=row.note or None)


def _slide(row: Slide) -> core.Slide:
    return core.Slide(
        objective=row.objective or None,
        fields=row.fields,
        counts={name: tuple(n) if isinstance(n, list) else n for name, n in row.counts.items()},
        site=row.site or None,
        note=row.note or None,
    )


def _name(row: Keeper | FishRoom | System | Tank | None) -> str | None:
    return None if row is None else row.name


# --- record to database -----------------------------------------------------------------------------------------------


def import_case(device: Device | None, record: core.Case, *, any_host: bool = False) -> Case:
    """A new case from a record. Raises `InputError` when the record says what cannot be; then nothing is written.

    Places are found by name, or made. Pictures are named in a record, not held in it, and come by the archive.
    `any_host`: the host may be missing or unknown to the reference, as it may in a case that is being worked.
    """
    check_record(record, record.title or "case", any_host=any_host)
    with transaction.atomic():
        number = next_number()
        # An act of its own: keepers and tanks outlive the case, and so does the record of their making.
        with act(device, "add_places", f"Places of case {number}") as writer:
            places = _Places(writer, record)
        with act(device, "import_case", f"Case {number} brought in") as writer:
            return _Import(writer, record, places).case(number)


def check_record(record: core.Case, name: str, *, any_host: bool = False) -> None:
    """Raises `InputError`, naming the file `name`, for the first thing in the record that cannot be used."""
    for problem in check_content(record, name, reference()):
        if problem.fatal and not (any_host and (problem.field or "").startswith("host")):
            raise problem.error()


class _Places:
    """The keys of keeper, room, system and tanks that a record names; what is not there is made."""

    def __init__(self, writer: Writer, record: core.Case) -> None:
        self.writer = writer
        names = [record.tank]
        for look in core.looks_of(record):
            names += [examination.tank for examination in look.examinations]
            names += [reading.tank for _, _, reading in core.readings_of(look.readings)]
        tanks = list(dict.fromkeys(name for name in names if name))
        self.keeper = self._key(Keeper, record.keeper)
        self.room = self._key(FishRoom, record.room or (UNNAMED_ROOM if tanks or record.system else None))
        self.system = self._key(System, record.system, room_id=self.room)
        new = {"system_id": self.system}
        self.tanks = {name: self._key(Tank, name, new=new, room_id=self.room) for name in tanks}

    def _key(self, model: Any, name: str | None, *, new: dict[str, Any] | None = None, **where: Any) -> int | None:
        if not name:
            return None
        found = model.objects.filter(name=name[:200], **where).first()
        row = found or self.writer.make(model, name=name[:200], **where, **(new or {}))
        return int(row.pk)

    def tank(self, name: str | None) -> int | None:
        """The key of a tank by its name."""
        return self.tanks[name] if name else None


class _Import:
    """One record on its way into the database."""

    def __init__(self, writer: Writer, record: core.Case, places: _Places) -> None:
        self.writer, self.record, self.places = writer, record, places
        self.fish: dict[str, int] = {}

    def case(self, number: int) -> Case:
        record, places, looks = self.record, self.places, core.looks_of(self.record)
        opened = record.date or next((look.date for look in looks if look.date), None) or clock.today()
        case = self.writer.make(
            Case,
            number=number,
            own_number=(record.id or "")[:200],
            title=(record.title or record.host.species or record.host.group or "Case")[:300],
            note=record.note or "",
            keeper_id=places.keeper,
            room_id=places.room,
            system_id=places.system,
            tank_id=places.tank(record.tank),
            which_fish=(record.tank or record.host.species or record.host.group or "")[:300],
            species=record.host.species or "",
            host_group=record.host.group or "",
            red_flags=list(record.red_flags),
            opened=opened,
            touched_at=self.writer.at,
        )
        for finding, answer in record.history.items():
            self.writer.make(HistoryAnswer, case_id=case.pk, finding=finding, answer=answer)
        for batch in record.batches:
            self.writer.make(CaseBatch, case_id=case.pk, **_filled(batch))
        for fish in record.fish:
            values = _filled(fish)
            self.fish[fish.id] = self.writer.make(Fish, case_id=case.pk, name=values.pop("id"), **values).pk
        for look in looks:
            self._look(case, look)
        return case

    def _look(self, case: Case, record: core.Look) -> None:
        look = self.writer.make(Look, case_id=case.pk, on=record.date, note=record.note or "")
        if record.numbers is not None:
            self.writer.make(Numbers, look_id=look.pk, **_filled(record.numbers))
        for parameter, _, one in core.readings_of(record.readings):
            self.writer.make(
                Reading,
                look_id=look.pk,
                parameter=parameter,
                value=str(one.value),
                on=record.date,
                time=dt.time.fromisoformat(one.time) if one.time else None,
                kit=one.kit or "",
                note=one.note or "",
                tank_id=self.places.tank(one.tank),
            )
        if record.plan is not None:
            self._plan(look, record.plan)
        loose: dict[str, dict[str, str | core.FindingRecord]] = defaultdict(dict)
        for finding, entry in record.findings.items():
            loose[reference().findings[finding].examination][finding] = entry
        for kind, findings in loose.items():
            self._examination(look, core.ExaminationRecord(kind=kind, findings=findings))
        for examination in record.examinations:
            self._examination(look, examination)

    def _plan(self, look: Look, record: core.Plan) -> None:
        plan = self.writer.make(
            PlanChoice,
            look_id=look.pk,
            by=record.by or "",
            why=record.why or "",
            chosen_on=record.date,
            first=record.first,
            reference=record.reference or "",
            volume=record.volume or "",
            water=record.water or "",
            others=list(record.others),
            living=dict(record.living),
            lawful_here=record.lawful_here,
            given=None if record.given is None else msgspec.to_builtins(record.given),
            agents={id: msgspec.to_builtins(agent) for id, agent in record.agents.items()},
        )
        for place, step in enumerate(record.steps, 1):
            self.writer.make(PlanStep, plan_id=plan.pk, place=place, **step_columns(step))

    def _examination(self, look: Look, record: core.ExaminationRecord) -> None:
        row = self.writer.make(
            Examination,
            look_id=look.pk,
            kind=record.kind,
            fish_id=self.fish[record.fish] if record.fish else None,
            tank_id=self.places.tank(record.tank),
            body_state=record.body_state or "",
            note=record.note or "",
        )
        for slide in record.slides:
            self.writer.make(Slide, examination_id=row.pk, **_filled(slide))
        for finding, entry in record.findings.items():
            one = core.finding_record(entry)
            seen_in, looked_at = one.n_of or (None, None)
            level = reference().findings[finding].levels.index(one.level)
            self._finding(row, finding, level, one.sure, seen_in=seen_in, looked_at=looked_at, note=one.note or "")
        if record.rest_not_seen:
            counted = {finding for slide in record.slides for finding in slide.counts}
            for finding in reference().examinations[record.kind].short_list:
                if finding not in record.findings and finding not in counted:
                    self._finding(row, finding, 0, "swept")

    def _finding(self, row: Examination, finding: str, level: int, sure: str, **more: Any) -> None:
        self.writer.make(
            FindingEntry,
            examination_id=row.pk,
            finding=finding,
            level=level,
            sure=sure,
            at=self.writer.at,
            **more,
        )


def step_columns(step: core.PlanStep) -> dict[str, Any]:
    """A step as the columns of its row."""
    return {
        "kind": step.kind,
        "option": step.option or "",
        "text": step.text,
        "urgency": step.urgency,
        "days": [day.isoformat() for day in step.days],
    }


def _filled(record: core.Record) -> dict[str, Any]:
    """The fields of a record that say something, lists as JSON has them."""
    values = {name: getattr(record, name) for name in record.__struct_fields__}
    values = {name: value for name, value in values.items() if value is not None}
    if "counts" in values:
        values["counts"] = {k: list(v) if isinstance(v, tuple) else v for k, v in values["counts"].items()}
    return values
