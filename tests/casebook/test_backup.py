"""Backup and restore: what was there is there again, entry by entry; what cannot be trusted changes nothing."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.db import connection

from wetmount.casebook import backup, leftovers, packing, server
from wetmount.casebook.backup import make_backup, restore
from wetmount.casebook.models import Act, Attachment, Case, Device, Examination, Note
from wetmount.casebook.services import cases, keeping, looking
from wetmount.errors import InputError

sqlite_only = pytest.mark.only_on("sqlite")
pytestmark = pytest.mark.django_db(transaction=True)

PICTURE = b"\xff\xd8\xff the bytes of a picture"


def tables(path: Path) -> dict[str, list[tuple[Any, ...]]]:
    """All rows of all tables of a database file, in the order of their keys."""
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as database:
        names = [name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        rows = {name: sorted(database.execute(f'SELECT * FROM "{name}"').fetchall(), key=repr) for name in names}
    database.close()
    return rows


def everything() -> dict[str, list[dict[str, Any]]]:
    """All rows of all models of the casebook."""
    models = apps.get_app_config("casebook").get_models()
    return {m.__name__: list(m._base_manager.order_by("pk").values()) for m in models}  # type: ignore[attr-defined]


def keep_picture(device: Device, case: Case, folder: Path, number: int = 1, content: bytes = PICTURE) -> Attachment:
    name = f"ab/{number:024x}.jpg"
    (folder / "ab").mkdir(exist_ok=True)
    (folder / name).write_bytes(content)
    return keeping.attach(
        device,
        kind="photograph",
        file=name,
        media_type="image/jpeg",
        size=len(content),
        sha256=hashlib.sha256(content).hexdigest(),
        case=case,
    )


@pytest.fixture
def filled(device: Device, case: Case, scrape: Examination, files: Path) -> Case:
    looking.record_finding(device, scrape, "skin_costia", 2)
    keeping.add_note(device, "Fins clamped, “rubbing” since Tuesday; 26 °C", case=case)
    keep_picture(device, case, files)
    return case


@pytest.fixture
def archive(filled: Case, tmp_path: Path) -> Path:
    path = tmp_path / "casebook.zip"
    make_backup(path, tmp_path)
    return path


def altered(source: Path, target: Path, change: Callable[[dict[str, bytes], dict[str, Any]], None]) -> Path:
    """A copy of an archive of which entries or manifest were changed; checksums are made to fit unless changed too."""
    with zipfile.ZipFile(source) as zip:
        contents = {name: zip.read(name) for name in zip.namelist() if name != "manifest.json"}
        manifest = json.loads(zip.read("manifest.json"))
    change(contents, manifest)
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as zip:
        for name, content in contents.items():
            zip.writestr(name, content)
        zip.writestr("manifest.json", json.dumps(manifest))
    return target


# --- backup -----------------------------------------------------------------------------------------------------------


def test_a_backup_holds_the_database_and_the_files(archive: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(archive) as zip:
        assert zip.testzip() is None
        manifest = json.loads(zip.read("manifest.json"))
        assert zip.read(f"files/ab/{1:024x}.jpg") == PICTURE
        for name, listed in manifest["entries"].items():
            content = zip.read(name)
            assert (len(content), hashlib.sha256(content).hexdigest()) == (listed["size"], listed["sha256"])
    assert manifest["cases"] == 1
    assert manifest["missing"] == []
    assert "secret" not in manifest["entries"], "what cookies are signed with stays on the computer"
    assert archive.stat().st_mode & 0o077 == 0, "for the owner's eyes only"
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == [], "no half file is left"


@sqlite_only
def test_the_copy_has_every_row(archive: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(archive) as zip:
        zip.extract("casebook.sqlite3", tmp_path / "copy")
    connection.close()
    assert tables(tmp_path / "copy" / "casebook.sqlite3") == tables(Path(connection.settings_dict["NAME"]))


def test_a_backup_is_one_moment_while_entries_are_saved(filled: Case, device: Device, tmp_path: Path) -> None:
    """Notes are written in the middle of a backup: each note is there with its act and its change, or not at all."""
    plain = packing.Packer.add_file

    def slow(self: packing.Packer, name: str, path: Path) -> packing.Listed:
        keeping.add_note(device, f"written while {name} is packed", case=filled)
        return plain(self, name, path)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(packing.Packer, "add_file", slow)
        make_backup(tmp_path / "one.zip", tmp_path)
    if connection.vendor == "sqlite":
        connection.close()
        target = tmp_path / "there"
        restore(tmp_path / "one.zip", target)
        rows = tables(target / "casebook.sqlite3")
        assert len(rows["casebook_note"]) == 1, "the copy was taken before any of them"
        with sqlite3.connect(target / "casebook.sqlite3") as copy:
            lonely = "SELECT count(*) FROM casebook_note WHERE version NOT IN (SELECT act_id FROM casebook_change)"
            assert copy.execute(lonely).fetchone() == (0,)
        copy.close()
    assert Note.objects.count() > 1, "they were written"


def test_a_file_that_is_gone_is_told(filled: Case, device: Device, files: Path, tmp_path: Path) -> None:
    keep_picture(device, filled, files, 2)
    (files / f"ab/{2:024x}.jpg").unlink()
    made = make_backup(tmp_path / "one.zip", tmp_path)
    assert (made.files, made.missing) == (1, (f"ab/{2:024x}.jpg",))


@pytest.mark.parametrize("where", ["nowhere/one.zip", "a folder"])
def test_where_it_cannot_be_written_is_told(filled: Case, tmp_path: Path, where: str) -> None:
    (tmp_path / "a folder").mkdir()
    with pytest.raises(InputError, match="cannot be written"):
        make_backup(tmp_path / where, tmp_path)


def test_what_reads_back_differently_is_no_backup(
    filled: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "one.zip").write_bytes(b"the backup of yesterday")
    monkeypatch.setattr(packing, "_digest", lambda source: (1, "0" * 64))
    with pytest.raises(InputError, match="reads back differently"):
        make_backup(tmp_path / "one.zip", tmp_path)
    assert (tmp_path / "one.zip").read_bytes() == b"the backup of yesterday"


# --- restore ----------------------------------------------------------------------------------------------------------


def state_of(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@sqlite_only
def test_a_restored_casebook_is_the_one_that_was_backed_up(archive: Path, tmp_path: Path) -> None:
    before = everything()
    done = restore(archive, tmp_path / "new")
    assert (done.cases, done.files, done.aside) == (1, 1, None)
    assert (tmp_path / "new" / "files" / f"ab/{1:024x}.jpg").read_bytes() == PICTURE
    assert before["Case"]
    assert before["Change"]
    restored = tables(tmp_path / "new" / "casebook.sqlite3")
    connection.close()
    assert restored == tables(Path(connection.settings_dict["NAME"]))
    assert not [path for path in (tmp_path / "new").iterdir() if path.name.startswith(".")]


@sqlite_only
def test_what_was_there_before_is_kept_whole(archive: Path, tmp_path: Path) -> None:
    folder = tmp_path / "there"
    restore(archive, folder)
    with sqlite3.connect(folder / "casebook.sqlite3") as other:
        other.execute("UPDATE casebook_case SET title = 'of the old casebook'")
    other.close()
    (folder / "files" / "cd").mkdir()
    (folder / "files" / "cd" / f"{3:024x}.jpg").write_bytes(b"an old picture")
    old = tables(folder / "casebook.sqlite3")
    done = restore(archive, folder)
    assert done.aside is not None
    assert tables(done.aside / "casebook.sqlite3") == old
    assert (done.aside / "files" / "cd" / f"{3:024x}.jpg").read_bytes() == b"an old picture"
    assert tables(folder / "casebook.sqlite3") != old
    back = restore(archive, folder)  # and again
    assert back.aside is not None
    assert back.aside != done.aside


def _damage_checksum(contents: dict[str, bytes], manifest: dict[str, Any]) -> None:
    name = f"files/ab/{1:024x}.jpg"
    contents[name] = contents[name][:-1] + b"!"


def _listed(manifest: dict[str, Any], name: str, content: bytes) -> None:
    manifest["entries"][name] = {"size": len(content), "sha256": hashlib.sha256(content).hexdigest()}


def _put(name: str, content: bytes) -> Callable[[dict[str, bytes], dict[str, Any]], None]:
    def change(contents: dict[str, bytes], manifest: dict[str, Any]) -> None:
        contents[name] = content
        _listed(manifest, name, content)

    return change


def _take(name: str) -> Callable[[dict[str, bytes], dict[str, Any]], None]:
    def change(contents: dict[str, bytes], manifest: dict[str, Any]) -> None:
        del contents[name]
        del manifest["entries"][name]

    return change


def _say(**about: Any) -> Callable[[dict[str, bytes], dict[str, Any]], None]:
    return lambda contents, manifest: manifest.update(about)


HARMS = {
    "a changed byte": (_damage_checksum, "checksum"),
    "an entry that is not listed": (lambda c, m: c.update({"files/ab/x.jpg": b""}), "not in its manifest"),
    "an entry that is missing": (lambda c, m: c.pop(f"files/ab/{1:024x}.jpg"), "missing"),
    "a picture the database names": (_take(f"files/ab/{1:024x}.jpg"), "which is not in it"),
    "a foreign entry": (_put("start.sh", b"#!"), "belongs to no backup"),
    "no database": (_take("casebook.sqlite3"), "has no casebook.sqlite3"),
    "a database that is none": (_put("casebook.sqlite3", b"x" * 5000), "its database cannot be used"),
    "a newer format": (_say(format=2), "update it first"),
    "a newer casebook": (_say(migrations=["0001_tables", "0999_more"]), "newer than this one"),
    "cases, not a backup": (_say(kind="wetmount cases"), "but a wetmount cases"),
    "another database": (_say(database="postgresql"), "PostgreSQL"),
    "way out": (_put("../outside.txt", b"!"), "names are plain"),
    "way out on Windows": (_put("files\\..\\..\\outside.txt", b"!"), "names are plain"),
    "from the root": (_put("/outside.txt", b"!"), "names are plain"),
    "a drive": (_put("C:/outside.txt", b"!"), "names are plain"),
}


@sqlite_only
@pytest.mark.parametrize("harm", HARMS)
def test_what_cannot_be_trusted_changes_nothing(harm: str, archive: Path, tmp_path: Path) -> None:
    change, why = HARMS[harm]
    folder = tmp_path / "there"
    restore(archive, folder)
    before = state_of(folder)
    wrong = altered(archive, tmp_path / "wrong.zip", change)
    with pytest.raises(InputError, match=why) as told:
        restore(wrong, folder)
    assert str(wrong) in str(told.value)
    assert state_of(folder) == before
    with pytest.raises(InputError, match=why):
        restore(wrong, tmp_path / "new")
    assert not (tmp_path / "new").exists(), "and no folder is begun"
    assert not list(tmp_path.glob("**/outside.txt"))


@sqlite_only
@pytest.mark.parametrize("length", [0, 10, 1000, -1, -30])
def test_a_backup_that_is_cut_short(archive: Path, tmp_path: Path, length: int) -> None:
    whole = archive.read_bytes()
    archive.write_bytes(whole[:length])
    with pytest.raises(InputError, match=r"no archive of Wetmount|damaged"):
        restore(archive, tmp_path / "new")
    assert not (tmp_path / "new").exists()


@sqlite_only
def test_any_damaged_byte_is_found_or_harmless(archive: Path, tmp_path: Path) -> None:
    """Either the damage is told, or what is restored is what was backed up (some bytes of a ZIP file mean nothing)."""
    whole = archive.read_bytes()
    restore(archive, tmp_path / "right")
    right = tables(tmp_path / "right" / "casebook.sqlite3")
    told = 0
    for at in range(0, len(whole), max(len(whole) // 40, 1)):
        archive.write_bytes(whole[:at] + bytes([whole[at] ^ 0x55]) + whole[at + 1 :])
        new = tmp_path / f"new-{at}"
        try:
            restore(archive, new)
        except InputError:
            told += 1
            assert not new.exists()
        else:
            assert tables(new / "casebook.sqlite3") == right
    assert told > 30


@sqlite_only
def test_not_while_the_casebook_is_open(archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "there"
    restore(archive, folder)
    before = state_of(folder)
    with monkeypatch.context() as patch:
        patch.setattr(server, "running_port", lambda folder: 8377)
        with pytest.raises(InputError, match="open in a running casebook"):
            restore(archive, folder)
    other = sqlite3.connect(folder / "casebook.sqlite3", isolation_level=None)
    other.execute("PRAGMA journal_mode=WAL")
    other.execute("BEGIN")
    other.execute("SELECT count(*) FROM casebook_case").fetchall()
    with pytest.raises(InputError, match="used by another program"):
        restore(archive, folder)
    other.close()
    assert {name for name in state_of(folder) if "-wal" not in name and "-shm" not in name} == set(before)
    restore(archive, folder)


@sqlite_only
@pytest.mark.parametrize("at", ["link", "place", "replace"])
def test_stopped_in_the_middle_it_is_the_old_casebook(archive: Path, tmp_path: Path, at: str) -> None:
    """Whatever is the last thing a restore gets done, short of its one renaming, the old casebook is there."""
    folder = tmp_path / "there"
    restore(archive, folder)
    with sqlite3.connect(folder / "casebook.sqlite3") as other:
        other.execute("UPDATE casebook_case SET title = 'of the old casebook'")
    other.close()
    old = tables(folder / "casebook.sqlite3")

    class Killed(BaseException):
        pass

    def die(*args: Any, **kwargs: Any) -> None:
        raise Killed

    with pytest.MonkeyPatch.context() as patch:
        if at == "link":
            patch.setattr(backup, "_link", die)
        elif at == "place":
            patch.setattr(backup, "_place_files", die)
        else:
            plain = Path.replace
            patch.setattr(Path, "replace", lambda s, t: die() if str(t).endswith("casebook.sqlite3") else plain(s, t))
        with pytest.raises(Killed):
            restore(archive, folder)
    assert tables(folder / "casebook.sqlite3") == old


@sqlite_only
def test_a_damaged_casebook_can_be_replaced(archive: Path, tmp_path: Path) -> None:
    folder = tmp_path / "there"
    restore(archive, folder)
    (folder / "casebook.sqlite3").write_bytes(b"not a database any more, and long enough to be looked at" * 100)
    (folder / "casebook.sqlite3-wal").write_bytes(b"rest of it")
    done = restore(archive, folder)
    assert done.aside is not None
    assert (done.aside / "casebook.sqlite3-wal").read_bytes() == b"rest of it"
    assert not (folder / "casebook.sqlite3-wal").exists(), "nothing of the old database is left beside the new one"
    assert tables(folder / "casebook.sqlite3")["casebook_case"]


@sqlite_only
def test_too_little_room_is_told_before(archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    usage = type("Usage", (), {"free": 1000})
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: usage)
    with pytest.raises(InputError, match="free on the disk"):
        restore(archive, tmp_path / "new")
    assert not (tmp_path / "new").exists()


# --- PostgreSQL -------------------------------------------------------------------------------------------------------


@pytest.mark.only_on("postgresql")
def test_on_postgresql_into_an_empty_database(archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="not empty"):
        restore(archive, tmp_path / "new")
    assert not (tmp_path / "new").exists()
    before = everything()
    with connection.cursor() as cursor:
        cursor.execute("CREATE DATABASE restored")
    name = connection.settings_dict["NAME"]
    connection.close()
    connection.settings_dict["NAME"] = "restored"
    try:
        done = restore(archive, tmp_path / "new")
        assert (done.cases, done.files) == (1, 1)
        assert everything() == before
        with pytest.raises(Exception, match="only ever added to"), connection.cursor() as cursor:
            cursor.execute("DELETE FROM casebook_act")  # the guard came with it
    finally:
        connection.close()
        connection.settings_dict["NAME"] = name
        with connection.cursor() as cursor:
            cursor.execute("DROP DATABASE restored")


@pytest.mark.only_on("postgresql")
def test_without_its_programs_a_sentence_says_what_to_install(
    filled: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(InputError, match="postgresql-client"):
        make_backup(tmp_path / "one.zip", tmp_path)
    assert not (tmp_path / "one.zip").exists()


# --- files without an entry -------------------------------------------------------------------------------------------


def test_files_without_an_entry_are_set_aside_and_come_back(filled: Case, files: Path, tmp_path: Path) -> None:
    wanted, young, orphan = (f"ab/{number:024x}.jpg" for number in (1, 8, 9))
    (files / young).write_bytes(b"being recorded just now")
    (files / orphan).write_bytes(b"of a save that was killed")
    (files / "ab" / "letter.txt").write_bytes(b"not ours")
    (tmp_path / "outside.jpg").write_bytes(b"not ours either")
    (files / "cd").mkdir()
    (files / "cd" / f"{7:024x}.jpg").symlink_to(tmp_path / "outside.jpg")
    for name in (wanted, orphan, "ab/letter.txt"):
        os.utime(files / name, (0, 0))
    assert leftovers.set_aside(tmp_path, files) == (1, 0)
    assert (tmp_path / leftovers.ASIDE / orphan).read_bytes() == b"of a save that was killed"
    assert {p.name for p in files.glob("*/*")} == {Path(wanted).name, Path(young).name, "letter.txt", f"{7:024x}.jpg"}
    # Now an entry names it after all, as when the right database is opened again.
    Attachment.objects.filter(file=wanted).update(thumbnail=orphan)
    assert leftovers.set_aside(tmp_path, files) == (0, 1)
    assert (files / orphan).exists()


def test_after_a_month_they_are_gone(filled: Case, files: Path, tmp_path: Path) -> None:
    orphan = f"ab/{9:024x}.jpg"
    (files / orphan).write_bytes(b"of a save that was killed")
    os.utime(files / orphan, (0, 0))
    leftovers.set_aside(tmp_path, files)
    leftovers.set_aside(tmp_path, files)
    kept = tmp_path / leftovers.ASIDE / orphan
    assert kept.exists(), "the month begins when it is set aside"
    long_ago = kept.stat().st_mtime - 31 * 24 * 3600
    os.utime(kept, (long_ago, long_ago))
    leftovers.set_aside(tmp_path, files)
    assert not kept.exists()


def test_a_purge_leaves_no_files(filled: Case, device: Device, files: Path, tmp_path: Path) -> None:
    from wetmount.casebook import clock, start
    from wetmount.casebook.services.undo import KEPT_FOR

    cases.delete_case(device, filled)
    assert cases.purge_deleted() == []
    later = clock.now() + KEPT_FOR + KEPT_FOR / 30
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(clock, "now", lambda: later)
        start.prepare(Path(settings.DATA_FOLDER))
    assert not Case.all_cases.exists()
    assert not Act.objects.filter(case_id=filled.pk).exists()
    assert not [path for path in files.rglob("*") if path.is_file()]
