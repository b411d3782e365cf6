"""Cases with their pictures as one archive, to hand on and to bring in.

Each case has a folder: `case.json`, the case file of the core (format 1), readable by every command; `more.json`, what
the casebook knows beyond it; and its files, named by their checksums. An archive may come from anywhere: every entry is
checked, every picture is read and every id compared with the reference before the first row is written, and all cases
come in within one transaction.
"""

from __future__ import annotations

import datetime as dt
import json
import uuid
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any, NoReturn

import msgspec
from django.conf import settings
from django.db import transaction
from msgspec import Meta, Struct, structs

from wetmount import __version__
from wetmount import case as core
from wetmount.case_shape import fit_case
from wetmount.casebook import clock
from wetmount.casebook.models import (
    Attachment,
    Case,
    CaseAddendum,
    CaseCause,
    CaseTank,
    Device,
    Examination,
    Fish,
    FishRoom,
    Look,
    Note,
    Tank,
    TaskDue,
)
from wetmount.casebook.packing import Limits, Packer, Unpacker, unpacked
from wetmount.casebook.reference import reference
from wetmount.casebook.services import files
from wetmount.casebook.services.acts import Writer, act
from wetmount.casebook.services.records import UNNAMED_ROOM, case_record, check_record, import_case
from wetmount.casebook.services.refusals import Refused
from wetmount.casefile import MAX_BYTES, MAX_DEPTH, case_to_dict
from wetmount.errors import InputError

FORMAT = 1
KIND = "cases"
LIMITS = Limits(entries=20_000, total_bytes=8_000_000_000, ratio=200)
"""The text of a case packs to about a tenth; pictures do not pack at all."""

MAX_CASES = 1_000
MAX_PICTURES = 2_000
"""Of one case. A long case has a few dozen."""

Text = Annotated[str, Meta(max_length=20_000)]
Line = Annotated[str, Meta(max_length=300)]
Place = Annotated[int, Meta(ge=0, le=100_000)]


# --- what a case file does not hold -----------------------------------------------------------------------------------


class More(Struct, frozen=True, forbid_unknown_fields=True):
    """Base: immutable, refusing keys it does not know."""


class Cause(More, frozen=True, kw_only=True):
    condition: Line
    standing: Line
    note: Text = ""


class Addendum(More, frozen=True, kw_only=True):
    text: Text
    at: dt.datetime


class Written(More, frozen=True, kw_only=True):
    """A note; `look` is its place among the looks."""

    on: dt.date
    text: Text
    look: Place | None = None


class Due(More, frozen=True, kw_only=True):
    kind: Line
    title: Line
    detail: Text = ""
    set_on: dt.date
    due_on: dt.date
    due_at: dt.time | None = None
    done_at: dt.datetime | None = None
    outcome: Text = ""


class File(More, frozen=True, kw_only=True):
    """A picture, voice note or clip: its entry in the case's folder, and where it belongs."""

    file: Line
    kind: Line
    name: Line = ""
    caption: Text = ""
    look: Place | None = None
    examination: Place | None = None


class Done(More, frozen=True, kw_only=True):
    """What an examination of the case file does not say of itself; in the order of its look."""

    at: dt.datetime | None = None
    site: Line = ""


class Rest(More, frozen=True, kw_only=True):
    """`more.json`: everything in the casebook about a case that its case file has no place for."""

    format: Annotated[int, Meta(ge=1)]
    uid: uuid.UUID
    own_number: Line = ""
    title: Line
    which_fish: Line = ""
    worries: Text = ""
    note: Text = ""
    species: Line = ""
    host_group: Line = ""
    opened: dt.date
    closed: dt.date | None = None
    outcome: Line = ""
    outcome_note: Text = ""
    causes: list[Cause] = []
    addenda: list[Addendum] = []
    notes: list[Written] = []
    tasks: list[Due] = []
    files: list[File] = []
    examinations: list[list[Done]] = []
    fish_tanks: dict[str, Line] = {}
    further_tanks: list[Line] = []


# --- out --------------------------------------------------------------------------------------------------------------


def export_cases(cases: Iterable[Case], target: Path) -> int:
    """Write cases with their pictures to the archive `target`; how many. When it raises `InputError` there is none."""
    chosen = list(cases)
    if not chosen:
        raise InputError("there is no case to export")
    if len(chosen) > MAX_CASES:
        raise InputError(f"{len(chosen)} cases are too many for one archive; it holds {MAX_CASES}. Make several")
    with Packer(target) as packer:
        for number, case in enumerate(chosen, 1):
            _export(packer, case, f"{number:04d}")
        packer.finish(
            kind=f"wetmount {KIND}",
            format=FORMAT,
            wetmount=__version__,
            reference=reference().version,
            made=clock.now().isoformat(timespec="seconds"),
            cases=len(chosen),
        )
    return len(chosen)


def _export(packer: Packer, case: Case, folder: str) -> None:
    case = Case.all_cases.get(pk=case.pk)
    names: dict[str, str] = {}  # file of the casebook -> name in the archive
    kept = list(Attachment.objects.filter(case=case, deleted_at=None))
    for one in kept:
        names[one.file] = _pack(packer, case, folder, one)
    record = case_record(case)
    looks = tuple(
        structs.replace(look, examinations=tuple(_renamed(one, names) for one in look.examinations))
        for look in record.looks
    )
    record = structs.replace(record, looks=looks)
    if len(record.note or "") > 20_000:  # the worries and the note joined; both stand in `more.json` too
        record = structs.replace(record, note=None)
    check_record(record, f"case {case.number}", any_host=True)
    packer.add(f"{folder}/case.json", _json(case_to_dict(record)))
    packer.add(f"{folder}/more.json", msgspec.json.format(msgspec.json.encode(_rest(case, kept, names)), indent=2))


def _pack(packer: Packer, case: Case, folder: str, one: Attachment) -> str:
    """The name of a file in the archive, in which it is put."""
    name = f"files/{one.sha256}{Path(one.file).suffix}"
    if f"{folder}/{name}" in packer.entries:
        return name  # the same picture twice
    try:
        listed = packer.add_file(f"{folder}/{name}", settings.FILES_FOLDER / one.file)
    except FileNotFoundError:
        raise InputError(
            f"case {case.number}: its {one.kind} {one.file} is not on the disk; restore it from a backup, or delete it "
            "in the case, then export again"
        ) from None
    if listed.sha256 != one.sha256:
        raise InputError(f"case {case.number}: its {one.kind} {one.file} was altered or damaged on the disk")
    return name


def _renamed(record: core.ExaminationRecord, names: dict[str, str]) -> core.ExaminationRecord:
    return structs.replace(
        record, photographs=tuple(structs.replace(one, file=names[one.file]) for one in record.photographs)
    )


def _json(data: Any) -> bytes:
    return (json.dumps(data, ensure_ascii=False, indent=2) + "\n").encode()


def _rest(case: Case, kept: list[Attachment], names: dict[str, str]) -> Rest:
    looks = list(Look.objects.filter(case=case).prefetch_related("examinations"))
    place = {look.pk: index for index, look in enumerate(looks)}
    examined = {
        one.pk: (at, index) for at, look in enumerate(looks) for index, one in enumerate(look.examinations.all())
    }
    fish = case.fish.exclude(tank=None).select_related("tank")
    return Rest(
        format=FORMAT,
        uid=case.uid,
        **{name: getattr(case, name) for name in _OF_CASE},
        causes=[
            Cause(condition=one.condition, standing=one.standing, note=one.note) for one in case.causes.order_by("pk")
        ],
        addenda=[Addendum(text=one.text, at=one.at) for one in case.addenda.all()],
        notes=[
            Written(on=one.on, text=one.text, look=place.get(one.look_id) if one.look_id else None)
            for one in case.notes.all()
        ],
        tasks=[
            Due(**{field: getattr(one, field) for field in Due.__struct_fields__}) for one in case.tasks.order_by("pk")
        ],
        files=[_file(one, names, examined) for one in kept],
        examinations=[[Done(at=one.at, site=one.site) for one in look.examinations.all()] for look in looks],
        fish_tanks={one.name: one.tank.name for one in fish if one.tank is not None},
        further_tanks=[one.tank.name for one in case.further_tanks.select_related("tank").order_by("pk")],
    )


_OF_CASE = ("own_number", "title", "which_fish", "worries", "note", "species", "host_group", "opened", "closed",
            "outcome", "outcome_note")  # fmt: skip


def _file(one: Attachment, names: dict[str, str], examined: dict[int, tuple[int, int]]) -> File:
    look, examination = examined.get(one.examination_id or 0, (None, None))
    return File(
        file=names[one.file],
        kind=one.kind,
        name=one.original_name,
        caption=one.caption,
        look=look,
        examination=examination,
    )


# --- in ---------------------------------------------------------------------------------------------------------------


def import_cases(device: Device | None, source: Path) -> list[Case]:
    """Bring the cases of an archive in, all or none. Raises `InputError`, naming the archive, with the reason."""
    with unpacked(source, KIND, FORMAT, LIMITS) as pack:
        folders = sorted({name.split("/")[0] for name in pack.entries})
        if not folders:
            pack.refuse("holds no case")
        if len(folders) > MAX_CASES:
            pack.refuse(f"holds {len(folders)} cases; at most {MAX_CASES} are accepted in one archive")
        read = [_Read(pack, folder) for folder in folders]
        if len({one.rest.uid for one in read}) < len(read):
            pack.refuse("holds the same case twice")
        kept: list[str] = []
        try:
            with transaction.atomic():
                return [one.write(device, kept) for one in read]
        except BaseException:
            for name in kept:
                files.path_of(name).unlink(missing_ok=True)
            raise


class _Read:
    """One case of an archive, read and checked; `write` brings it in."""

    def __init__(self, pack: Unpacker, folder: str) -> None:
        self.pack, self.folder = pack, folder
        self.record = self._case_file()
        self.rest = self._more()
        self._check_ids()
        self._check_files()

    def _refuse(self, why: str) -> NoReturn:
        self.pack.refuse(f"{self.folder}: {why}")

    def _bytes(self, name: str) -> bytes:
        if f"{self.folder}/{name}" not in self.pack.entries:
            self._refuse(f"has no {name}")
        return self.pack.read(f"{self.folder}/{name}", MAX_BYTES)

    def _case_file(self) -> core.Case:
        name = f"{self.pack.path}: {self.folder}/case.json"
        data = self._plain("case.json")
        case, problems = fit_case(data, name)
        for problem in problems:
            raise problem.error()
        assert case is not None, "without a problem there is a case"
        check_record(case, name, any_host=True)
        return case

    def _plain(self, name: str) -> dict[str, Any]:
        """An entry as the data of JSON, nested no deeper than a case is."""
        raw = self._bytes(name)
        if b"\\u0000" in raw:
            self._refuse(f"{name} holds the character NUL, which no database keeps")
        try:
            data = msgspec.json.decode(raw)
        except (msgspec.DecodeError, RecursionError, UnicodeDecodeError) as error:
            self._refuse(f"{name} is no JSON ({error})")
        if not isinstance(data, dict) or not _shallow(data, MAX_DEPTH):
            self._refuse(f"{name} is no case")
        return data

    def _more(self) -> Rest:
        data = self._plain("more.json")
        if isinstance(data.get("format"), int) and data["format"] > FORMAT:
            self._refuse(f"more.json is of format {data['format']}; this Wetmount reads up to {FORMAT}, so update it")
        try:
            return msgspec.convert(data, Rest)
        except (msgspec.ValidationError, OverflowError) as error:
            self._refuse(f"more.json cannot be used ({str(error)[:200]})")

    def _check_ids(self) -> None:
        rest, tables = self.rest, reference()
        known: list[tuple[str, str, Any]] = [("condition", one.condition, tables.conditions) for one in rest.causes]
        known += [("standing", one.standing, dict(CaseCause.STANDINGS)) for one in rest.causes]
        known += [("task", one.kind, dict(TaskDue.KINDS)) for one in rest.tasks]
        known += [("kind of file", one.kind, dict(Attachment.KINDS)) for one in rest.files]
        known += [("outcome", rest.outcome, dict(Case.OUTCOMES))] if rest.outcome else []
        known += [("host group", rest.host_group, tables.host_groups)] if rest.host_group else []
        for what, id, rows in known:
            if id not in rows:
                self._refuse(f"more.json names the {what} {id[:60]!r}, which is not known here")
        if len({one.condition for one in rest.causes}) < len(rest.causes):
            self._refuse("more.json names a condition twice")
        if not rest.title.strip():
            self._refuse("more.json gives no title")
        if rest.closed is not None and rest.closed < rest.opened:
            self._refuse("the case was closed before it was opened")
        if any(len(name) > 200 for name in [*rest.further_tanks, *rest.fish_tanks.values(), rest.own_number,
                                            rest.species, rest.host_group]):  # fmt: skip
            self._refuse("more.json holds a name of more than 200 characters")
        looks = core.looks_of(self.record)
        counts = [len(look.examinations) for look in looks]
        for at, index in [(one.look, one.examination) for one in rest.files] + [(one.look, None) for one in rest.notes]:
            if at is not None and (at >= len(looks) or (index is not None and index >= counts[at])):
                self._refuse("more.json names a look or an examination that the case does not have")
        if [len(done) for done in rest.examinations] not in ([], counts):
            self._refuse("more.json and case.json do not have the same examinations")
        found = Case.all_cases.filter(uid=rest.uid).first()
        if found is not None:
            where = f"case {found.number}" if found.deleted_at is None else f"the deleted case {found.number}"
            self._refuse(f"“{rest.title[:60]}” is in this casebook already, as {where}")

    def _check_files(self) -> None:
        rest = self.rest
        if len(rest.files) > MAX_PICTURES:
            self._refuse(f"has {len(rest.files)} files; a case has at most {MAX_PICTURES}")
        wanted = {f"{self.folder}/{one.file}" for one in rest.files}
        there = {name for name in self.pack.entries if name.startswith(f"{self.folder}/")}
        there -= {f"{self.folder}/case.json", f"{self.folder}/more.json"}
        for name in sorted(wanted ^ there):
            self._refuse(f"{name[:80]} is " + ("missing" if name in wanted else "named nowhere in the case"))

    def write(self, device: Device | None, kept: list[str]) -> Case:
        """The case as rows; the names of the files written are added to `kept`."""
        try:
            case = import_case(device, self.record, any_host=True)
            looks = list(Look.objects.filter(case=case))
            examined = [list(Examination.objects.filter(look=look).order_by("pk")) for look in looks]
            for one in self.rest.files:
                self._keep(device, case, one, examined, kept)
            with act(device, "add_places", f"Places of case {case.number}") as writer:
                tanks = _tanks(writer, case, [*self.rest.fish_tanks.values(), *self.rest.further_tanks])
            said = f"Case {case.number}: notes, causes and tasks brought in"
            with act(device, "import_case", said, case=case) as writer:
                assert writer.case is not None
                self._write_rest(writer, writer.case, looks, examined, tanks)
        except Refused as error:
            self._refuse(str(error))
        return Case.all_cases.get(pk=case.pk)

    def _keep(
        self, device: Device | None, case: Case, one: File, examined: list[list[Examination]], kept: list[str]
    ) -> None:
        examination = None
        if one.look is not None and one.examination is not None:
            examination = examined[one.look][one.examination]
        limit = max(files.MAX_PHOTOGRAPH_BYTES, files.MAX_SOUND_BYTES, files.MAX_CLIP_BYTES)
        with self.pack.opened(f"{self.folder}/{one.file}", limit) as upload:
            row = files.keep_as_sent(
                device,
                upload,
                kind=one.kind,
                name=one.name,
                caption=one.caption,
                case=case,
                examination=examination,
            )
        kept += [name for name in (row.file, row.thumbnail) if name]

    def _write_rest(
        self, writer: Writer, case: Case, looks: list[Look], examined: list[list[Examination]], tanks: dict[str, int]
    ) -> None:
        rest = self.rest
        for cause in rest.causes:
            writer.make(CaseCause, case_id=case.pk, **structs.asdict(cause))
        for note in rest.notes:
            look = looks[note.look].pk if note.look is not None else None
            writer.make(Note, case_id=case.pk, on=note.on, text=note.text, look_id=look)
        for due in rest.tasks:
            writer.make(TaskDue, case_id=case.pk, **(structs.asdict(due) | {"done_at": _aware(due.done_at)}))
        for done_of, rows in zip(rest.examinations, examined, strict=False):
            for done, row in zip(done_of, rows, strict=True):
                writer.set(row, at=_aware(done.at), site=done.site)
        for fish in Fish.objects.filter(case=case, name__in=rest.fish_tanks):
            writer.set(fish, tank_id=tanks[rest.fish_tanks[fish.name]])
        for tank in dict.fromkeys(tanks[name] for name in rest.further_tanks):
            if tank != case.tank_id:
                writer.make(CaseTank, case_id=case.pk, tank_id=tank)
        for addendum in rest.addenda:
            writer.make(CaseAddendum, case_id=case.pk, text=addendum.text, at=_aware(addendum.at))
        writer.set(case, uid=rest.uid, **{name: getattr(rest, name) for name in _OF_CASE})


def _tanks(writer: Writer, case: Case, names: list[str]) -> dict[str, int]:
    """Keys of tanks by their names, in the room of the case; made where they are not there."""
    room, keys = case.room_id, {}
    for name in dict.fromkeys(names):
        if room is None:
            unnamed = FishRoom.objects.filter(name=UNNAMED_ROOM).first()
            room = (unnamed or writer.make(FishRoom, name=UNNAMED_ROOM)).pk
        found = Tank.objects.filter(room_id=room, name=name).first()
        keys[name] = int((found or writer.make(Tank, room_id=room, name=name)).pk)
    return keys


def _aware(moment: dt.datetime | None) -> dt.datetime | None:
    """A moment with its zone; one without counts as UTC."""
    return moment if moment is None or moment.tzinfo is not None else moment.replace(tzinfo=dt.UTC)


def _shallow(data: Any, depth: int) -> bool:
    if not isinstance(data, dict | list):
        return True
    return depth > 0 and all(_shallow(one, depth - 1) for one in (data.values() if isinstance(data, dict) else data))
