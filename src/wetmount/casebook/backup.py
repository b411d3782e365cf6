"""Backup and restore of a whole casebook: the database and all files in one archive.

A backup is taken while the casebook runs: the database as it is at one moment, then the files it names, which are never
altered once they are kept. A restore checks everything before it touches anything; one renaming of the database
decides, so that what is there is either the old casebook or the restored one.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from django.db import connection
from django.db.migrations.loader import MigrationLoader

from wetmount import __version__
from wetmount.casebook import clock, configuration, postgresql, server
from wetmount.casebook.packing import Limits, Packer, Unpacker, sync_folder, unpacked
from wetmount.errors import InputError

FORMAT = 1
KIND = "backup"
SQLITE_ENTRY = configuration.DATABASE
LIMITS = Limits(entries=5_000_000, total_bytes=4_000_000_000_000, ratio=500)
"""A backup is one's own: what it may hold is bounded by the free disk, see `_check_space`."""

SPARE_BYTES = 50_000_000
"""Left free on the disk by a restore."""


@dataclass(frozen=True, slots=True)
class Made:
    """What a backup holds. `missing`: files that the casebook names and that were not on the disk."""

    cases: int
    files: int
    bytes: int
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Restored:
    """What was restored, and where the casebook that was there before lies now (None: there was none)."""

    cases: int
    files: int
    aside: Path | None


# --- backup -----------------------------------------------------------------------------------------------------------


def make_backup(target: Path, folder: Path) -> Made:
    """Write the casebook whose data folder is `folder` to the archive `target`, and read it back.

    Raises `InputError` when that cannot be done; then `target` is as it was.
    """
    with Packer(target) as packer, tempfile.TemporaryDirectory(dir=target.parent, prefix=".backup-") as scratch:
        before = _named_files()
        copy = Path(scratch) / _entry()
        try:
            cases = _copy_sqlite(copy) if connection.vendor == "sqlite" else postgresql.dump(copy)
        except sqlite3.Error as error:
            raise InputError(f"the database cannot be copied ({error})", file=str(folder)) from None
        packer.add_file(copy.name, copy)
        missing = []
        for name in sorted({*before, *_named_files()}):
            try:
                packer.add_file(f"{configuration.FILES}/{name}", folder / configuration.FILES / name)
            except FileNotFoundError:
                missing.append(name)
        files = len(packer.entries) - 1
        packer.finish(
            kind=f"wetmount {KIND}",
            format=FORMAT,
            wetmount=__version__,
            made=clock.now().isoformat(timespec="seconds"),
            database=connection.vendor,
            migrations=sorted(_applied()),
            cases=cases,
            missing=missing,
        )
        return Made(cases, files, target.stat().st_size, tuple(missing))


def _entry() -> str:
    return SQLITE_ENTRY if connection.vendor == "sqlite" else postgresql.ENTRY


def _named_files() -> set[str]:
    """Every file the casebook names, in words of SQL that an older casebook knows too."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT file, thumbnail FROM casebook_attachment")
        return {name for row in cursor.fetchall() for name in row if name}


def _applied() -> set[str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT name FROM django_migrations WHERE app = 'casebook'")
        return {str(name) for (name,) in cursor.fetchall()}


def _copy_sqlite(copy: Path) -> int:
    """The database at one moment, by SQLite's online backup; how many cases it holds."""
    connection.ensure_connection()
    # A connection of its own: a page may be in the middle of a transaction on Django's.
    source = sqlite3.connect(f"file:{_uri(Path(connection.settings_dict['NAME']))}?mode=ro", uri=True, timeout=30)
    target = sqlite3.connect(copy)
    with contextlib.closing(source), contextlib.closing(target):
        source.backup(target)
        target.execute("PRAGMA journal_mode=DELETE")
        _check_sqlite(target)
        return int(target.execute("SELECT count(*) FROM casebook_case WHERE deleted_at IS NULL").fetchone()[0])


def _uri(path: Path) -> str:
    return path.absolute().as_posix().replace("%", "%25").replace("?", "%3f").replace("#", "%23")


def _check_sqlite(database: sqlite3.Connection) -> None:
    """Raises `sqlite3.DatabaseError` when the database is damaged."""
    found = database.execute("PRAGMA integrity_check(1)").fetchone()[0]
    if found != "ok":
        raise sqlite3.DatabaseError(f"the database is damaged: {found}")
    if database.execute("PRAGMA foreign_key_check").fetchone() is not None:
        raise sqlite3.DatabaseError("the database is damaged: rows point to nothing")


# --- restore ----------------------------------------------------------------------------------------------------------


def restore(archive: Path, folder: Path) -> Restored:
    """Put the casebook of a backup into the data folder `folder`, made when it is not there.

    The casebook that lies there is kept whole in a folder of its own within it. Raises `InputError` when the backup is
    damaged or newer, when it is for another database, or while the casebook is open; then nothing was changed.
    """
    with unpacked(archive, KIND, FORMAT, LIMITS) as pack:
        made = _check_manifest(pack)
        if server.running_port(folder) is not None:
            raise InputError("is open in a running casebook; end that one with Ctrl-C first", file=str(folder))
        with _folder(folder), _staging(folder) as staging:
            _check_space(pack, folder)
            for name in pack.entries:
                pack.extract(name, staging / name)
            if connection.vendor == "sqlite":
                cases = _check_copy(staging / SQLITE_ENTRY, pack)
                aside = _swap_sqlite(staging, folder)
            else:
                aside, cases = None, made
                postgresql.check_empty()
                postgresql.check_dump(staging / postgresql.ENTRY, archive)
                _place_files(staging, folder)
                postgresql.load(staging / postgresql.ENTRY)
        return Restored(cases, len(pack.entries) - 1, aside)


def _check_manifest(pack: Unpacker) -> int:
    """The number of cases it states."""
    stated, entry = pack.manifest.get("database"), _entry()
    if stated != connection.vendor:
        words = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}
        pack.refuse(
            f"is a backup of a casebook on {words.get(str(stated), 'another database')}, but this one is on "
            f"{words[connection.vendor]}; WETMOUNT_DATABASE_URL says which is used"
        )
    if entry not in pack.entries:
        pack.refuse(f"is damaged: it has no {entry}")
    for name in pack.entries:
        if name != entry and not name.startswith(f"{configuration.FILES}/"):
            pack.refuse(f"is damaged: {name[:60]!r} belongs to no backup")
    applied, cases = pack.manifest.get("migrations"), pack.manifest.get("cases")
    if not isinstance(applied, list) or not all(isinstance(one, str) for one in applied) or type(cases) is not int:
        pack.refuse("is damaged: its manifest is not complete")
    _check_not_newer(pack, set(applied))
    return cases


def _check_not_newer(pack: Unpacker, applied: set[str]) -> None:
    known = {name for app, name in MigrationLoader(None).graph.nodes if app == "casebook"}
    if unknown := sorted(applied - known):
        by = str(pack.manifest.get("wetmount", ""))[:20]
        pack.refuse(f"was written by Wetmount {by}, which is newer than this one (it knows {unknown[-1][:60]}); "
                    "update Wetmount, then restore it")  # fmt: skip


def _check_space(pack: Unpacker, folder: Path) -> None:
    free = shutil.disk_usage(folder).free
    if pack.total_bytes + SPARE_BYTES > free:
        pack.refuse(f"unpacks to {pack.total_bytes / 1e6:.0f} MB, but only {free / 1e6:.0f} MB are free on the disk")


def _check_copy(copy: Path, pack: Unpacker) -> int:
    """Check the unpacked database by itself; how many cases it holds."""
    missing = pack.manifest.get("missing")
    there = set(pack.entries) | {f"{configuration.FILES}/{name}" for name in missing or [] if isinstance(name, str)}
    try:
        with contextlib.closing(sqlite3.connect(f"file:{_uri(copy)}?mode=ro", uri=True)) as database:
            _check_sqlite(database)
            applied = database.execute("SELECT name FROM django_migrations WHERE app = 'casebook'").fetchall()
            named = database.execute("SELECT file, thumbnail FROM casebook_attachment").fetchall()
            cases = database.execute("SELECT count(*) FROM casebook_case WHERE deleted_at IS NULL").fetchone()[0]
    except sqlite3.Error as error:
        pack.refuse(f"is damaged: its database cannot be used ({error})")
    _check_not_newer(pack, {str(name) for (name,) in applied})
    for name in sorted({f"{configuration.FILES}/{name}" for row in named for name in row if name}):
        if name not in there:
            pack.refuse(f"is damaged: its database names {name[:80]}, which is not in it")
    return int(cases)


@contextlib.contextmanager
def _folder(folder: Path) -> Iterator[None]:
    """The data folder; when it was made for this and nothing came of it, it goes again."""
    new = not folder.exists()
    configuration.make_folder(folder)
    try:
        yield
    except BaseException:
        if new:
            shutil.rmtree(folder, ignore_errors=True)
        raise


@contextlib.contextmanager
def _staging(folder: Path) -> Iterator[Path]:
    """A folder on the same disk to unpack into, gone afterwards."""
    staging = Path(tempfile.mkdtemp(dir=folder, prefix=".restoring-"))
    try:
        yield staging
    except OSError as error:
        raise InputError(f"cannot be written to ({error.strerror or error})", file=str(folder)) from None
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def _swap_sqlite(staging: Path, folder: Path) -> Path | None:
    """Set the old casebook aside, put the files in, and then, with one renaming, the database."""
    connection.close()
    old = folder / configuration.DATABASE
    aside = None
    if old.exists():
        _alone_with(old)
        aside = _new_folder(folder, f"before-restore-{clock.now().astimezone(clock.LOCAL):%Y-%m-%d-%H%M}")
        _link(old, aside / configuration.DATABASE)
        for suffix in ("-wal", "-shm", "-journal"):  # only of a database that could not be opened
            with contextlib.suppress(FileNotFoundError):
                (folder / f"{configuration.DATABASE}{suffix}").replace(aside / f"{configuration.DATABASE}{suffix}")
        for path in _files_in(folder / configuration.FILES):
            _link(path, aside / configuration.FILES / path.relative_to(folder / configuration.FILES))
        sync_folder(aside)
    _place_files(staging, folder)
    if server.running_port(folder) is not None:
        raise InputError("was opened meanwhile in a running casebook; end that one first", file=str(folder))
    (staging / SQLITE_ENTRY).replace(old)
    sync_folder(folder)
    return aside


def _new_folder(folder: Path, name: str) -> Path:
    number = 1
    while (path := folder / (name if number == 1 else f"{name}-{number}")).exists():
        number += 1
    path.mkdir(mode=0o700)
    return path


def _alone_with(database: Path) -> None:
    """Fold what waits beside the database into it; refused while any other program has it open.

    Leaving WAL needs the whole file to oneself (SQLite, "Write-Ahead Logging", section 8), which makes it the test.
    """
    with database.open("rb") as file:
        if file.read(16) != b"SQLite format 3\0":
            return  # damaged: a reason to restore, and nobody else can be using it; opening it would clean up beside it
    try:
        with contextlib.closing(sqlite3.connect(database, timeout=3, isolation_level=None)) as own:
            if own.execute("PRAGMA journal_mode=DELETE").fetchone()[0] != "delete":
                raise sqlite3.OperationalError("database is locked")
            own.execute("BEGIN EXCLUSIVE")
            own.execute("COMMIT")
    except sqlite3.OperationalError:
        raise InputError("is used by another program just now; end that first", file=str(database)) from None
    except sqlite3.DatabaseError:
        pass  # damaged elsewhere


def _place_files(staging: Path, folder: Path) -> None:
    """Put the files in beside the old ones: names are drawn at random, and what has one name is never altered."""
    for path in _files_in(staging / configuration.FILES):
        target = folder / configuration.FILES / path.relative_to(staging / configuration.FILES)
        target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        path.replace(target)


def _files_in(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file() and not path.is_symlink()]


def _link(source: Path, target: Path) -> None:
    """The same file under a second name, or a copy where the disk knows no second names."""
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    try:
        os.link(source, target)
    except OSError:
        shutil.copy2(source, target)
