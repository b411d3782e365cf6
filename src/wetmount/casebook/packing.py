"""One archive file: entries with their checksums in a manifest. Written whole and read back; opened with suspicion.

An archive is a ZIP file. Its `manifest.json` says what kind of archive it is, in which format, and names every entry
with its size and SHA-256. What is not in the manifest must not be in the archive, and the other way round. Nothing is
unpacked by the names an archive gives: the caller says which entry goes to which file.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, NoReturn

from wetmount.errors import InputError

MANIFEST = "manifest.json"
MAX_MANIFEST_BYTES = 64_000_000
CHUNK = 1 << 20
Refuse = Callable[[str], NoReturn]
_NAME = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9._-]{0,99}(/[A-Za-z0-9_-][A-Za-z0-9._-]{0,99}){0,5}")
_COMPRESSED_ALREADY = (".jpg", ".png", ".m4a", ".mp3", ".aac", ".ogg", ".weba", ".webm", ".mp4", ".mov", ".dump")


@dataclass(frozen=True, slots=True)
class Limits:
    """What an archive may hold at most."""

    entries: int
    total_bytes: int
    ratio: float
    """Unpacked over packed size of an entry of more than a megabyte; deflate itself reaches about 1030."""


@dataclass(frozen=True, slots=True)
class Listed:
    """An entry as the manifest names it."""

    size: int
    sha256: str


# --- writing ----------------------------------------------------------------------------------------------------------


class Packer:
    """Writes an archive beside its target; `finish` reads it back and puts it in its place. Else nothing is left."""

    def __init__(self, target: Path) -> None:
        self.target = target
        self.entries: dict[str, Listed] = {}
        if not target.parent.is_dir():
            raise InputError(f"cannot be written: no folder {target.parent} is there; make it first", file=str(target))
        if target.is_dir():
            raise InputError("cannot be written: it is a folder; name a file in it", file=str(target))
        self.temporary = target.with_name(f".{target.name}.{os.getpid()}.part")

    def __enter__(self) -> Packer:
        with self._told():
            handle = os.open(self.temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            self._file = os.fdopen(handle, "wb")
            self._zip = zipfile.ZipFile(self._file, "w", zipfile.ZIP_DEFLATED)
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, at: TracebackType | None) -> None:
        with contextlib.suppress(OSError, ValueError):
            self._zip.close()
        with contextlib.suppress(OSError):
            self._file.close()
        self.temporary.unlink(missing_ok=True)

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise InputError(f"cannot be written: {error.strerror or error}", file=str(self.target)) from None

    def add(self, name: str, content: bytes) -> None:
        """Add an entry from memory."""
        with self._told():
            self._zip.writestr(self._info(name), content)
        self.entries[name] = Listed(len(content), hashlib.sha256(content).hexdigest())

    def add_file(self, name: str, path: Path) -> Listed:
        """Add an entry from a file. Raises `FileNotFoundError` when it is not there; then nothing was added."""
        digest, size = hashlib.sha256(), 0
        with path.open("rb") as source, self._told(), self._zip.open(self._info(name), "w", force_zip64=True) as out:
            while chunk := source.read(CHUNK):
                digest.update(chunk)
                size += len(chunk)
                out.write(chunk)
        self.entries[name] = Listed(size, digest.hexdigest())
        return self.entries[name]

    def _info(self, name: str) -> zipfile.ZipInfo:
        assert _NAME.fullmatch(name), name
        assert name not in self.entries, name
        info = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))  # when it was made stands in the manifest
        info.external_attr = (stat.S_IFREG | 0o600) << 16
        info.compress_type = zipfile.ZIP_STORED if name.endswith(_COMPRESSED_ALREADY) else zipfile.ZIP_DEFLATED
        return info

    def finish(self, **about: Any) -> None:
        """Write the manifest, read everything back from the disk, and put the archive in its place."""
        listed = {name: {"size": one.size, "sha256": one.sha256} for name, one in sorted(self.entries.items())}
        manifest = json.dumps(about | {"entries": listed}, ensure_ascii=False, indent=1).encode()
        with self._told():
            self._zip.writestr(self._info(MANIFEST), manifest)
            self._zip.close()
            self._file.flush()
            os.fsync(self._file.fileno())
            self._file.close()
            with zipfile.ZipFile(self.temporary) as written:
                for name, one in self.entries.items():
                    with written.open(name) as source:
                        if _digest(source) != (one.size, one.sha256):
                            raise InputError(
                                f"was not written as it should be ({name} reads back differently); the disk may be "
                                "failing, so write to another one",
                                file=str(self.target),
                            )
            self.temporary.replace(self.target)
            sync_folder(self.target.parent)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk, where the platform can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _digest(source: Any) -> tuple[int, str]:
    digest, size = hashlib.sha256(), 0
    while chunk := source.read(CHUNK):
        digest.update(chunk)
        size += len(chunk)
    return size, digest.hexdigest()


# --- reading ----------------------------------------------------------------------------------------------------------


class Unpacker:
    """An archive that was opened and whose shape is right. What an entry holds is compared as it is read."""

    def __init__(self, path: Path, zip: zipfile.ZipFile, manifest: dict[str, Any], entries: dict[str, Listed]) -> None:
        self.path, self._zip, self.manifest, self.entries = path, zip, manifest, entries

    @property
    def total_bytes(self) -> int:
        """Everything unpacked."""
        return sum(one.size for one in self.entries.values())

    def read(self, name: str, most: int) -> bytes:
        """An entry of at most `most` bytes. Raises `InputError` when it is larger or not what the manifest says."""
        self._check_size(name, most)
        return b"".join(self._chunks(name))

    def extract(self, name: str, target: Path) -> None:
        """An entry as a new file, on the disk when this returns. Raises `InputError` like `read`."""
        target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as out:
            for chunk in self._chunks(name):
                out.write(chunk)
            out.flush()
            os.fsync(out.fileno())

    @contextlib.contextmanager
    def opened(self, name: str, most: int) -> Iterator[BinaryIO]:
        """An entry as a file to read in, compared with its checksum before. Raises `InputError` like `read`."""
        self._check_size(name, most)
        with tempfile.TemporaryFile() as out:
            for chunk in self._chunks(name):
                out.write(chunk)
            out.seek(0)
            yield out

    def _check_size(self, name: str, most: int) -> None:
        if self.entries[name].size > most:
            self.refuse(f"holds a {name} of {self.entries[name].size / 1e6:.0f} MB; at most {most / 1e6:.0f} MB fit")

    def _chunks(self, name: str) -> Iterator[bytes]:
        listed, digest, size = self.entries[name], hashlib.sha256(), 0
        try:
            with self._zip.open(name) as source:
                while chunk := source.read(CHUNK):
                    size += len(chunk)
                    if size > listed.size:
                        break
                    digest.update(chunk)
                    yield chunk
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError):
            self.refuse(f"is damaged: {name} cannot be read")
        if (size, digest.hexdigest()) != (listed.size, listed.sha256):
            self.refuse(f"is damaged: {name} does not agree with its checksum")

    def refuse(self, why: str) -> NoReturn:
        """Raise the `InputError` that says why this archive is not taken."""
        raise InputError(why, file=str(self.path))


@contextlib.contextmanager
def unpacked(path: Path, kind: str, format: int, limits: Limits) -> Iterator[Unpacker]:
    """Open an archive of this kind. Raises `InputError`, naming the file, when it is not one or breaks a limit."""
    name = str(path)

    def refuse(why: str) -> NoReturn:
        raise InputError(why, file=name)

    if not path.is_file():
        refuse("is no file" if path.exists() else "there is no such file")
    with contextlib.ExitStack() as stack:
        try:
            file: BinaryIO = stack.enter_context(path.open("rb"))
            zip = stack.enter_context(zipfile.ZipFile(file))
        except OSError as error:
            refuse(f"cannot be read ({error.strerror})")
        except (zipfile.BadZipFile, NotImplementedError, ValueError, UnicodeDecodeError):
            refuse(f"is no archive of Wetmount, or is cut short; {kind}s are ZIP files")
        infos = _checked(zip, path, limits, refuse)
        manifest = _manifest(zip, infos, kind, format, refuse)
        listed = _entries(manifest, infos, refuse)
        yield Unpacker(path, zip, manifest, listed)


def _checked(zip: zipfile.ZipFile, path: Path, limits: Limits, refuse: Refuse) -> dict[str, zipfile.ZipInfo]:
    infos = zip.infolist()
    if len(infos) > limits.entries:
        refuse(f"holds {len(infos)} entries; at most {limits.entries} are accepted")
    by_name: dict[str, zipfile.ZipInfo] = {}
    for info in infos:
        shown = repr(info.orig_filename)[:80]
        if not _NAME.fullmatch(info.orig_filename) or info.orig_filename != info.filename:
            refuse(f"holds an entry {shown}; names are plain, within the archive, without .. or a drive")
        if info.filename.casefold() in by_name:
            refuse(f"holds the entry {shown} twice")
        mode = info.external_attr >> 16
        if mode and stat.S_IFMT(mode) not in (0, stat.S_IFREG):
            refuse(f"holds {shown}, which is a link or another special file; only plain files are accepted")
        if info.flag_bits & 0x1:
            refuse(f"holds {shown} encrypted; archives of Wetmount are not")
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            refuse(f"holds {shown} packed in a way Wetmount does not use")
        if info.file_size > 1_000_000 and info.file_size > limits.ratio * max(info.compress_size, 1):
            refuse(f"holds {shown}, which would unpack to {info.file_size / 1e6:.0f} MB from almost nothing")
        by_name[info.filename.casefold()] = info
    total = sum(info.file_size for info in infos)
    if total > limits.total_bytes:
        refuse(f"would unpack to {total / 1e9:.1f} GB; at most {limits.total_bytes / 1e9:.1f} GB are accepted here")
    if sum(info.compress_size for info in infos) > path.stat().st_size:
        refuse("is built to unpack the same bytes many times over")
    return {info.filename: info for info in infos}


def _manifest(
    zip: zipfile.ZipFile, infos: dict[str, zipfile.ZipInfo], kind: str, format: int, refuse: Refuse
) -> dict[str, Any]:
    if MANIFEST not in infos or infos[MANIFEST].file_size > MAX_MANIFEST_BYTES:
        refuse(f"is no {kind} of Wetmount: it has no {MANIFEST}")
    try:
        with zip.open(MANIFEST) as source:
            manifest = json.loads(source.read(MAX_MANIFEST_BYTES + 1))
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, ValueError,
            RecursionError):  # fmt: skip
        refuse(f"is damaged: its {MANIFEST} cannot be read")
    if not isinstance(manifest, dict) or manifest.get("kind") != f"wetmount {kind}":
        found = manifest.get("kind") if isinstance(manifest, dict) else None
        refuse(f"is no {kind} of Wetmount" + (f" but a {found[:60]}" if isinstance(found, str) else ""))
    stated = manifest.get("format")
    if type(stated) is not int or stated < 1:
        refuse(f"is damaged: its {MANIFEST} names no format")
    if stated > format:
        by = manifest.get("wetmount")
        by = f"Wetmount {by[:20]}" if isinstance(by, str) else "a newer Wetmount"
        refuse(f"was written by {by} in format {stated}; this Wetmount reads up to format {format}, so update it first")
    checked: dict[str, Any] = manifest
    return checked


def _entries(manifest: dict[str, Any], infos: dict[str, zipfile.ZipInfo], refuse: Refuse) -> dict[str, Listed]:
    stated = manifest.get("entries")
    if not isinstance(stated, dict):
        refuse(f"is damaged: its {MANIFEST} lists no entries")
    listed: dict[str, Listed] = {}
    for name, row in stated.items():
        size, sha256 = (row.get("size"), row.get("sha256")) if isinstance(row, dict) else (None, None)
        if type(size) is not int or not isinstance(sha256, str) or not re.fullmatch("[0-9a-f]{64}", sha256):
            refuse(f"is damaged: its {MANIFEST} gives {name[:60]!r} no size and checksum")
        listed[name] = Listed(size, sha256)
    for name in sorted(set(listed) ^ (set(infos) - {MANIFEST})):
        refuse(f"is damaged: {name[:60]!r} is " + ("missing" if name in listed else f"not in its {MANIFEST}"))
    for name, one in listed.items():
        if infos[name].file_size != one.size:
            refuse(f"is damaged: {name} has another size than its {MANIFEST} says")
    return listed
