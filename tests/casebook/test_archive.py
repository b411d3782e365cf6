"""Cases out and in again: equal; and what an archive from anywhere can try."""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import json
import stat
import struct
import uuid
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest
from PIL import Image

from wetmount import case as core
from wetmount.casebook import case_table, clock, packing
from wetmount.casebook.models import Act, Attachment, Case, Device, Examination, Tank
from wetmount.casebook.reference import reference
from wetmount.casebook.services import archive, cases, files, keeping, looking, planning
from wetmount.casebook.services.archive import export_cases, import_cases
from wetmount.casebook.services.records import case_record
from wetmount.casebook.services.weighing import ready, weighed
from wetmount.casebook.views.plan_telling import PlanPage
from wetmount.casefile import read_case
from wetmount.errors import InputError
from wetmount.reference import load_reference

pytestmark = pytest.mark.django_db


def picture(colour: str = "teal", format: str = "JPEG", **more: Any) -> io.BytesIO:
    out = io.BytesIO()
    Image.new("RGB", (60, 40), colour).save(out, format, **more)
    return out


def wav() -> io.BytesIO:
    sound = bytes(200)
    form = struct.pack("<IHHIIHH", 16, 1, 1, 8000, 8000, 1, 8)
    head = b"RIFF" + struct.pack("<I", 36 + len(sound)) + b"WAVEfmt " + form
    return io.BytesIO(head + b"data" + struct.pack("<I", len(sound)) + sound)


@pytest.fixture
def whole(device: Device, case: Case, scrape: Examination, tank: Tank) -> Case:
    """A case in which everything that can be said is said."""
    cases.change_case(device, case, note="Second opinion asked", own_number="HR-7")
    quarantine = keeping.add_tank(device, tank.room, "Q1")
    cases.set_further_tanks(device, case, [quarantine])
    cases.set_red_flags(device, case, [next(iter(load_reference().red_flags))])
    looking.change_fish(device, scrape.fish, tank_id=quarantine.pk, length="6.2 cm")
    looking.record_finding(device, scrape, "skin_costia", 2, sure="doubtful", seen_in=2, looked_at=3, note="fins")
    looking.sweep_rest(device, scrape)
    looking.change_examination(device, scrape, site="left flank", at=dt.datetime(2026, 10, 3, 9, 40, tzinfo=dt.UTC))
    looking.answer_history(device, case, "recent_introduction", "yes")
    looking.set_numbers(device, case.looks.get(), total=24, sick=6, dead=1, dead_today=1)
    keeping.set_reading(device, case.looks.get(), "nitrite", "1.6 mg/L NO2", tank=quarantine, kit="strips")
    second = looking.begin_look(device, case, dt.date(2026, 10, 10))
    water = looking.add_examination(device, second, "tank_look", tank=tank)
    looking.sweep_rest(device, water)
    keeping.add_note(device, "They eat again: “greedily”", look=second, on=dt.date(2026, 10, 10))
    keeping.add_note(device, "Filter cleaned too hard", case=case, on=dt.date(2026, 10, 1))
    cases.add_case_batch(device, case, species="Melanotaenia boesemani", origin="North", number=12)
    cases.set_cause(device, case, "costia", "confirmed", note="seen twice")
    keeping.add_task(device, "look_again", "Look again", dt.date(2026, 10, 17), case=case, due_at=dt.time(18, 0))
    keeping.finish_task(device, keeping.add_task(device, "news", "Ask", dt.date(2026, 10, 12), case=case), "all well")
    files.keep(device, picture(), name="flank.jpg", examination=scrape, caption="left flank")
    files.keep(device, picture("navy", "PNG"), name="tank.png", case=case)
    files.keep(device, wav(), name="said.wav", declared="audio/wav", case=case)
    plan_of(device, scrape)
    cases.close_case(device, case, on=dt.date(2026, 10, 20), outcome="recovered", outcome_note="All but one")
    cases.add_addendum(device, case, "No relapse.")
    return Case.objects.get(pk=case.pk)


def plan_of(device: Device, scrape: Examination) -> None:
    """A plan with all that one can say."""
    look = scrape.look
    living = {"plants": "no", "fry": "yes"}
    planning.set_facts(
        device, look, volume="660 L to 780 L", water="fresh", others=["tiger barb"], living=living, lawful_here=False,
        given=[core.PlanGiven(option="salt_indefinite", date=dt.date(2026, 10, 1), changed_percent=50)],
    )  # fmt: skip
    planning.set_agent(
        device, look, "salt_prolonged", core.PlanAgent(strength="pure", step=1, volume="10 L", days=(0, 4))
    )
    asked = ready(look.case, look, reference())
    page = PlanPage(look.case, look, asked, weighed(look, asked).weighup)
    first = clock.today()
    planning.choose_options(device, look, page.plan, ["watch"], reference(), by="the bench", why="well", first=first)
    planning.add_step(device, look, "Ask “North” for the invoice", [first], "lasting")


@pytest.fixture
def exported(whole: Case, tmp_path: Path) -> Path:
    path = tmp_path / "cases.zip"
    assert export_cases([whole], path) == 1
    return path


def as_elsewhere(case: Case) -> None:
    """Make room for the same case, as if the archive came to another casebook."""
    Case.all_cases.filter(pk=case.pk).update(uid=uuid.uuid4())


def contents(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as zip:
        return {name: zip.read(name) for name in zip.namelist() if name != "manifest.json"}


def manifest(path: Path) -> dict[str, Any]:
    with zipfile.ZipFile(path) as zip:
        said: dict[str, Any] = json.loads(zip.read("manifest.json"))
    return said


# --- round trip -------------------------------------------------------------------------------------------------------


def test_out_and_in_again_is_equal_byte_for_byte(whole: Case, exported: Path, device: Device, tmp_path: Path) -> None:
    as_elsewhere(whole)
    (new,) = import_cases(device, exported)
    assert new.pk != whole.pk
    export_cases([new], tmp_path / "again.zip")
    first, again = contents(exported), contents(tmp_path / "again.zip")
    assert set(first) == set(again)
    for name in first:
        assert again[name] == first[name], name
    assert case_record(new).looks[0].examinations[0].findings == case_record(whole).looks[0].examinations[0].findings


def test_the_rows_say_the_same(whole: Case, exported: Path, device: Device) -> None:
    as_elsewhere(whole)
    (new,) = import_cases(device, exported)
    for name in ("title", "worries", "note", "own_number", "which_fish", "closed", "outcome", "outcome_note"):
        assert getattr(new, name) == getattr(whole, name), name
    assert new.is_closed
    assert [one.text for one in new.addenda.all()] == ["No relapse."]
    assert [(one.kind, one.original_name, one.caption) for one in new.attachments.all()] == [
        ("photograph", "flank.jpg", "left flank"), ("photograph", "tank.png", ""), ("voice", "said.wav", "")
    ]  # fmt: skip
    assert new.attachments.first().examination.site == "left flank"
    assert [one.tank.name for one in new.further_tanks.all()] == ["Q1"]
    assert {act.device for act in Act.objects.filter(case=new)} == {device}, "who brought it in is recorded"


def test_the_plan_comes_along(whole: Case, exported: Path, device: Device) -> None:
    as_elsewhere(whole)
    (new,) = import_cases(device, exported)
    plan, kept = case_record(new).looks[0].plan, case_record(whole).looks[0].plan
    assert plan == kept
    assert plan is not None
    assert plan.lawful_here is False
    assert plan.agents["salt_prolonged"].days == (0, 4)
    assert [step.kind for step in plan.steps] == ["watch", "own", "look"]
    assert plan.steps[1].text == "Ask “North” for the invoice"


def test_the_case_file_in_it_is_read_by_the_core(exported: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(exported) as zip:
        zip.extractall(tmp_path / "out")
    record = read_case(tmp_path / "out" / "0001" / "case.json", load_reference())
    (photograph,) = record.looks[0].examinations[0].photographs
    assert (tmp_path / "out" / "0001" / photograph.file).is_file(), "pictures are found from the case file"


def test_a_case_of_which_little_is_known_goes_out_and_in(device: Device, open_case: Any, tmp_path: Path) -> None:
    """No host, no tank: what a new case needs is which fish and what worries you."""
    case = open_case(which_fish="the blue one", worries="hangs at the top")
    export_cases([case], tmp_path / "one.zip")
    as_elsewhere(case)
    (new,) = import_cases(device, tmp_path / "one.zip")
    assert (new.which_fish, new.worries, new.species, new.host_group) == ("the blue one", "hangs at the top", "", "")


def test_worries_and_note_too_long_for_one_field(device: Device, open_case: Any, tmp_path: Path) -> None:
    case = open_case(worries="a" * 15_000)
    cases.change_case(device, case, note="b" * 15_000)
    export_cases([case], tmp_path / "one.zip")
    as_elsewhere(case)
    (new,) = import_cases(device, tmp_path / "one.zip")
    assert (len(new.worries), len(new.note)) == (15_000, 15_000)


def test_a_case_that_is_there_is_not_doubled(whole: Case, exported: Path, device: Device) -> None:
    with pytest.raises(InputError, match=f"already, as case {whole.number}"):
        import_cases(device, exported)
    cases.delete_case(device, whole)
    with pytest.raises(InputError, match=f"as the deleted case {whole.number}"):
        import_cases(device, exported)


def test_a_picture_that_is_gone_or_altered_is_not_exported(whole: Case, files: Path, tmp_path: Path) -> None:
    path = files / whole.attachments.first().file
    content = path.read_bytes()
    path.write_bytes(content[:-3])
    with pytest.raises(InputError, match="altered or damaged"):
        export_cases([whole], tmp_path / "one.zip")
    path.unlink()
    with pytest.raises(InputError, match="not on the disk"):
        export_cases([whole], tmp_path / "one.zip")
    assert not (tmp_path / "one.zip").exists()


def test_the_place_in_a_picture_does_not_come_in(whole: Case, exported: Path, device: Device, tmp_path: Path) -> None:
    """A picture from another hand, with a place in it: the pixels are kept, the place is not."""
    exif = Image.Exif()
    exif[0x010F] = "camera"
    exif.get_ifd(0x8825)[1] = "N"
    located = picture("teal", exif=exif.tobytes()).getvalue()

    def change(entries: dict[str, bytes], about: dict[str, Any]) -> None:
        (old,) = [name for name in entries if name.endswith(".jpg")]
        entries[old] = located

    as_elsewhere(whole)
    (new,) = import_cases(device, rebuilt(exported, tmp_path / "x.zip", change))
    kept = files.path_of(new.attachments.first().file).read_bytes()
    assert b"camera" in located
    assert b"camera" not in kept
    assert not Image.open(io.BytesIO(kept)).getexif()


# --- what an archive can try ------------------------------------------------------------------------------------------

Change = Callable[[dict[str, bytes], dict[str, Any]], None]


def rebuilt(source: Path, target: Path, change: Change, *, fit: bool = True) -> Path:
    """A copy of an archive with entries or manifest changed; with checksums that fit, unless told otherwise."""
    entries, about = contents(source), manifest(source)
    change(entries, about)
    if fit:
        about["entries"] = {
            name: {"size": len(content), "sha256": hashlib.sha256(content).hexdigest()}
            for name, content in entries.items()
        }
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as zip:
        for name, content in entries.items():
            zip.writestr(name, content)
        zip.writestr("manifest.json", json.dumps(about))
    return target


def in_json(name: str, edit: Callable[[Any], Any]) -> Change:
    def change(entries: dict[str, bytes], about: dict[str, Any]) -> None:
        data = json.loads(entries[f"0001/{name}"])
        edit(data)
        entries[f"0001/{name}"] = json.dumps(data).encode()

    return change


def put(name: str, content: bytes) -> Change:
    return lambda entries, about: entries.update({name: content})


def every_picture(content: bytes) -> Change:
    return lambda entries, about: entries.update({name: content for name in entries if name.endswith(".jpg")})


def small_gif() -> bytes:
    return picture(format="GIF").getvalue()


def huge_png() -> bytes:
    """A PNG that says it has 60,000 by 60,000 pixels."""
    import zlib

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def finding(level: str, id: str = "skin_costia") -> Callable[[Any], Any]:
    return lambda data: data["looks"][0]["examinations"][0].update(findings={id: level})


TRIES: dict[str, tuple[Change, str]] = {
    "way out": (put("0001/../../../outside.txt", b"!"), "names are plain"),
    "way out on Windows": (put("0001\\..\\outside.txt", b"!"), "names are plain"),
    "from the root": (put("/outside.txt", b"!"), "names are plain"),
    "a drive": (put("C:outside.txt", b"!"), "names are plain"),
    "an empty part": (put("0001//outside.txt", b"!"), "names are plain"),
    "a hidden file": (put("0001/.profile", b"!"), "names are plain"),
    "a loose file": (put("outside.txt", b"!"), "has no case.json"),
    "a file nobody names": (put("0001/files/more.jpg", b"!"), "named nowhere"),
    "a case without its file": (lambda e, a: e.pop("0001/case.json"), "has no case.json"),
    "a newer format": (lambda e, a: a.update(format=2), "reads up to format 1, so update it"),
    "a newer case file": (in_json("case.json", lambda d: d.update(format=2)), "reads format 1: upgrade"),
    "a newer more.json": (in_json("more.json", lambda d: d.update(format=2)), "of format 2"),
    "an unknown finding": (in_json("case.json", finding("few", "skin_dragons")), "skin_dragons"),
    "an unknown level": (in_json("case.json", finding("galore")), "galore"),
    "an unknown condition": (in_json("more.json", lambda d: d["causes"][0].update(condition="x")), "condition 'x'"),
    "an unknown standing": (in_json("more.json", lambda d: d["causes"][0].update(standing="x")), "standing 'x'"),
    "an unknown task": (in_json("more.json", lambda d: d["tasks"][0].update(kind="x")), "task 'x'"),
    "an unknown outcome": (in_json("more.json", lambda d: d.update(outcome="x")), "outcome 'x'"),
    "an unknown host group": (in_json("more.json", lambda d: d.update(host_group="x")), "host group 'x'"),
    "an unknown key": (in_json("more.json", lambda d: d.update(colour="x")), "colour"),
    "an unknown key of a case": (in_json("case.json", lambda d: d.update(colour="x")), "colour"),
    "a look that is not there": (in_json("more.json", lambda d: d["files"][0].update(look=9)), "does not have"),
    "a title that is none": (in_json("more.json", lambda d: d.update(title=" ")), "no title"),
    "a text too long": (in_json("more.json", lambda d: d.update(worries="x" * 20_001)), "worries"),
    "NUL": (in_json("more.json", lambda d: d.update(worries="a\0b")), "NUL"),
    "half a surrogate": (put("0001/more.json", b'{"format": 1, "title": "\\ud800"}'), "more.json"),
    "no JSON": (put("0001/case.json", b"{"), "no JSON"),
    "a list": (put("0001/case.json", b"[]"), "no case"),
    "nested deep": (put("0001/case.json", b'{"a":' * 90_000), "case.json"),
    "nested deep, whole": (put("0001/case.json", b'{"a":' * 400 + b"1" + b"}" * 400), "case.json"),
    "closed before opened": (in_json("more.json", lambda d: d.update(closed="2020-01-01")), "before it was opened"),
    "a page as a picture": (every_picture(b"<html><script>hostile()</script></html>"), "no photograph"),
    "a picture of another kind": (every_picture(small_gif()), "no photograph"),
    "a picture that is a bomb": (every_picture(huge_png()), "60000 × 60000|more than can be held"),
    "a picture cut short": (every_picture(picture().getvalue()[:300]), "damaged or cut short"),
    "sound that says it is a picture": (every_picture(wav().getvalue()), "voice"),
}  # fmt: skip


@pytest.mark.parametrize("what", TRIES)
def test_what_cannot_be_trusted_brings_nothing_in(
    what: str, whole: Case, exported: Path, device: Device, tmp_path: Path
) -> None:
    change, why = TRIES[what]
    as_elsewhere(whole)
    wrong = rebuilt(exported, tmp_path / "wrong.zip", change)
    refused(wrong, why, device, tmp_path)


def refused(wrong: Path, why: str, device: Device, tmp_path: Path) -> None:
    """The archive is refused in one sentence that names it, and nothing of it is in the casebook or on the disk."""
    rows, kept = Case.all_cases.count(), sorted((tmp_path / "files").rglob("*.*"))
    with pytest.raises(InputError, match=why) as told:
        import_cases(device, wrong)
    assert "wrong.zip" in str(told.value)
    assert "\n" not in str(told.value)
    assert len(str(told.value)) < 700
    assert Case.all_cases.count() == rows
    assert sorted((tmp_path / "files").rglob("*.*")) == kept
    assert not list(tmp_path.rglob("outside*"))


def test_of_two_cases_with_one_wrong_none_comes_in(whole: Case, exported: Path, device: Device, tmp_path: Path) -> None:
    def change(entries: dict[str, bytes], about: dict[str, Any]) -> None:
        for name in list(entries):
            entries[name.replace("0001", "0002")] = entries[name]
        data = json.loads(entries["0002/more.json"])
        data["uid"] = str(uuid.uuid4())
        entries["0002/more.json"] = json.dumps(data).encode()
        entries.update({n: b"<html>" for n in entries if n.startswith("0002/files") and n.endswith(".jpg")})

    as_elsewhere(whole)
    refused(rebuilt(exported, tmp_path / "wrong.zip", change), "0002: .*no photograph", device, tmp_path)


def test_the_same_case_twice(whole: Case, exported: Path, device: Device, tmp_path: Path) -> None:
    def change(entries: dict[str, bytes], about: dict[str, Any]) -> None:
        entries.update({name.replace("0001", "0002"): content for name, content in list(entries.items())})

    as_elsewhere(whole)
    refused(rebuilt(exported, tmp_path / "wrong.zip", change), "same case twice", device, tmp_path)


def test_checksums_that_do_not_fit(whole: Case, exported: Path, device: Device, tmp_path: Path) -> None:
    as_elsewhere(whole)
    name = next(name for name in contents(exported) if name.endswith(".jpg"))

    def flip(entries: dict[str, bytes], about: dict[str, Any]) -> None:
        entries[name] = entries[name][:-1] + b"\0"

    refused(rebuilt(exported, tmp_path / "wrong.zip", flip, fit=False), "checksum", device, tmp_path)


def special(exported: Path, target: Path, name: str, content: bytes, mode: int) -> Path:
    """An archive with one more entry that is no plain file."""
    entries, about = contents(exported), manifest(exported)
    about["entries"][name] = {"size": len(content), "sha256": hashlib.sha256(content).hexdigest()}
    with zipfile.ZipFile(target, "w") as zip:
        for one, inside in entries.items():
            zip.writestr(one, inside)
        info = zipfile.ZipInfo(name)
        info.create_system, info.external_attr = 3, mode << 16
        zip.writestr(info, content)
        zip.writestr("manifest.json", json.dumps(about))
    return target


@pytest.mark.parametrize("kind", [stat.S_IFLNK, stat.S_IFDIR, stat.S_IFIFO, stat.S_IFCHR])
def test_links_and_other_special_files(kind: int, whole: Case, exported: Path, device: Device, tmp_path: Path) -> None:
    as_elsewhere(whole)
    wrong = special(exported, tmp_path / "wrong.zip", "0001/files/x.jpg", b"/etc/passwd", kind | 0o777)
    refused(wrong, "a link or another special file", device, tmp_path)


def test_a_nul_in_a_name(whole: Case, exported: Path, device: Device, tmp_path: Path) -> None:
    """Some readers end a name there, so that another file is checked than is written."""
    as_elsewhere(whole)
    made = rebuilt(exported, tmp_path / "made.zip", put("0001/files/xN.jpg", b"!"))
    (tmp_path / "wrong.zip").write_bytes(made.read_bytes().replace(b"xN.jpg", b"x\0.jpg"))
    refused(tmp_path / "wrong.zip", "names are plain", device, tmp_path)


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_name_twice(whole: Case, exported: Path, device: Device, tmp_path: Path) -> None:
    as_elsewhere(whole)
    wrong = special(exported, tmp_path / "wrong.zip", "0001/case.json", b"{}", stat.S_IFREG | 0o600)
    refused(wrong, "twice", device, tmp_path)
    wrong = special(exported, tmp_path / "wrong.zip", "0001/CASE.JSON", b"{}", stat.S_IFREG | 0o600)
    refused(wrong, "twice", device, tmp_path)


def test_a_bomb_of_zeros(whole: Case, exported: Path, device: Device, tmp_path: Path) -> None:
    """50 MB of zeros pack to 50 kB."""
    as_elsewhere(whole)
    wrong = rebuilt(exported, tmp_path / "wrong.zip", put("0001/files/zeros.jpg", bytes(50_000_000)))
    assert wrong.stat().st_size < 100_000
    refused(wrong, "from almost nothing", device, tmp_path)


def test_too_many_entries_and_too_much_in_all(
    whole: Case, exported: Path, device: Device, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    as_elsewhere(whole)
    (tmp_path / "wrong.zip").write_bytes(exported.read_bytes())
    with monkeypatch.context() as patch:
        patch.setattr(archive, "LIMITS", packing.Limits(entries=3, total_bytes=10**9, ratio=200))
        refused(tmp_path / "wrong.zip", "at most 3 are accepted", device, tmp_path)
        patch.setattr(archive, "LIMITS", packing.Limits(entries=300, total_bytes=1000, ratio=200))
        refused(tmp_path / "wrong.zip", "would unpack to", device, tmp_path)
        patch.setattr(archive, "LIMITS", packing.Limits(entries=300, total_bytes=10**9, ratio=200))
        patch.setattr(archive, "MAX_PICTURES", 1)
        refused(tmp_path / "wrong.zip", "at most 1", device, tmp_path)
    assert import_cases(device, tmp_path / "wrong.zip"), "within the limits it comes in"


def test_the_same_bytes_many_times_over(whole: Case, exported: Path, device: Device, tmp_path: Path) -> None:
    """Entries whose headers all point to one body, so that a small file unpacks to much (an overlapping ZIP)."""
    as_elsewhere(whole)
    entries, about = contents(exported), manifest(exported)
    body = bytes(range(256)) * 2000
    names = [f"0001/files/{number}.jpg" for number in range(20)]
    for name in names:
        about["entries"][name] = {"size": len(body), "sha256": hashlib.sha256(body).hexdigest()}
    wrong = tmp_path / "wrong.zip"
    with zipfile.ZipFile(wrong, "w") as zip:
        for one, inside in entries.items():
            zip.writestr(one, inside)
        zip.writestr(names[0], body)
        first = zip.getinfo(names[0])
        for name in names[1:]:
            info = zipfile.ZipInfo(name)
            info.header_offset, info.CRC = first.header_offset, first.CRC
            info.file_size, info.compress_size = first.file_size, first.compress_size
            zip.filelist.append(info)
            zip.NameToInfo[name] = info
        zip.writestr("manifest.json", json.dumps(about))
    refused(wrong, "many times over", device, tmp_path)


def test_a_size_that_is_a_lie(whole: Case, exported: Path, device: Device, tmp_path: Path) -> None:
    """The archive says an entry is small; unpacking stops there."""
    as_elsewhere(whole)
    data = bytearray(rebuilt(exported, tmp_path / "big.zip", put("0001/files/x.jpg", bytes(3_000_000))).read_bytes())
    for signature, at in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        place = 0
        while (place := data.find(signature, place)) != -1:
            if struct.unpack_from("<I", data, place + at)[0] == 3_000_000:
                struct.pack_into("<I", data, place + at, 100)
            place += 4
    (tmp_path / "wrong.zip").write_bytes(bytes(data))
    refused(tmp_path / "wrong.zip", "another size", device, tmp_path)


def test_what_is_no_archive(device: Device, db: None, tmp_path: Path, files: Path) -> None:
    wrong = tmp_path / "wrong.zip"
    for content in (b"", b"PK\x05\x06" + bytes(18), b"%PDF-1.7", b"PK\x03\x04" + bytes(100)):
        wrong.write_bytes(content)
        refused(wrong, "archive of Wetmount|no cases of Wetmount", device, tmp_path)
    with pytest.raises(InputError, match="no such file"):
        import_cases(device, tmp_path / "nowhere.zip")
    with pytest.raises(InputError, match="is no file"):
        import_cases(device, tmp_path)


def test_a_backup_is_no_archive_of_cases(exported: Path, whole: Case, device: Device, tmp_path: Path) -> None:
    wrong = rebuilt(exported, tmp_path / "wrong.zip", lambda e, a: a.update(kind="wetmount backup"))
    refused(wrong, "but a wetmount backup", device, tmp_path)


def test_any_damaged_byte_is_told_or_means_nothing(whole: Case, exported: Path, device: Device, tmp_path: Path) -> None:
    as_elsewhere(whole)
    intact, right = exported.read_bytes(), contents(exported)
    wrong = tmp_path / "wrong.zip"
    told = 0
    for at in range(7, len(intact), max(len(intact) // 60, 1)):
        wrong.write_bytes(intact[:at] + bytes([intact[at] ^ 0x41]) + intact[at + 1 :])
        try:
            (new,) = import_cases(device, wrong)
        except InputError:
            told += 1
            continue
        export_cases([new], tmp_path / "again.zip")
        assert contents(tmp_path / "again.zip") == right, at
        as_elsewhere(new)
    assert told > 45


# --- the list for a spreadsheet ---------------------------------------------------------------------------------------

FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "＝1", "＋1", "－1", "＠x", "  =cmd|' /C calc'!A0",
            '=HYPERLINK("http://evil.example")', '"=1', "ordinary, \"quoted\"\nand long"]  # fmt: skip


def test_no_cell_of_the_table_is_a_formula(device: Device, tank: Tank, open_case: Any) -> None:
    for text in FORMULAS:
        case = open_case(title=f"{text}", which_fish=text, species=text)
        Case.all_cases.filter(pk=case.pk).update(title=text, which_fish=text, own_number=text)
    made = "".join(case_table.lines(Case.objects.all()))
    assert made.startswith("\ufeff")
    head, *rows = list(csv.reader(io.StringIO(made[1:], newline="")))
    assert tuple(head) == case_table.COLUMNS
    assert len(rows) == len(FORMULAS)
    for row, text in zip(rows, reversed(FORMULAS), strict=True):
        assert row[2].removeprefix("'") == text, "nothing is lost"
        for cell in row:
            assert cell.lstrip(" ")[:1] not in set("=+-@\t\r\n＝＋－＠"), cell


def test_the_table_says_what_the_cases_say(whole: Case, django_assert_max_num_queries: Any, open_case: Any) -> None:
    for _ in range(5):
        open_case()
    with django_assert_max_num_queries(4):
        rows = list(csv.DictReader(io.StringIO("".join(case_table.lines(Case.objects.all()))[1:], newline="")))
    row = rows[-1]
    assert row["case"] == str(whole.number)
    assert (row["room"], row["system"], row["tank"]) == ("Harbour Row Fish Room", "Rack A", "A4")
    assert (row["opened"], row["closed"], row["outcome"]) == ("2026-10-03", "2026-10-20", "recovered")
    assert row["confirmed causes"] == load_reference().conditions["costia"].name


def test_msgspec_refuses_what_json_allows() -> None:
    """What this module relies on: unknown keys and half surrogates are refused by the reader itself."""
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({"on": "2026-10-03", "text": "x", "else": 1}, archive.Written)
    with pytest.raises(msgspec.DecodeError):
        msgspec.json.decode(b'"\\ud800"')
    assert Attachment._meta.get_field("original_name").max_length == 300
