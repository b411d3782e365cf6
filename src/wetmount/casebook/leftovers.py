"""Files that no entry names: set aside first, removed for good a month later.

Such files come from a process that was killed between keeping a file and recording it, from a restore, or from a row
that was removed. They may also be wanted again: when another database was opened on the folder by mistake, every file
looks unwanted. So they are only moved, and come back by themselves when an entry names them.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Iterator
from pathlib import Path

from wetmount.casebook import clock
from wetmount.casebook.models import Attachment
from wetmount.casebook.services.undo import KEPT_FOR

ASIDE = "files-without-entry"
MIN_AGE_S = 24 * 3600.0
"""A younger file may be of an entry that is being recorded just now."""

_OURS = re.compile(r"[0-9a-f]{2}/[0-9a-f]{24}(-small)?\.[a-z0-9]{2,5}")


def set_aside(folder: Path, files: Path) -> tuple[int, int]:
    """Move files without an entry from `files` to a folder beside it, and wanted ones back; how many of each."""
    aside = folder / ASIDE
    now = clock.now().timestamp()
    named = {name for pair in Attachment.objects.values_list("file", "thumbnail") for name in pair if name}
    back = [name for name in _names(aside) if name in named and not (files / name).exists()]
    for name in back:
        _move(aside / name, files / name)
    gone = [name for name in _names(files) if name not in named and now - _touched(files / name, now) > MIN_AGE_S]
    for name in gone:
        _move(files / name, aside / name)
        os.utime(aside / name, (now, now))
    for name in _names(aside):
        if now - _touched(aside / name, now) > KEPT_FOR.total_seconds():
            with contextlib.suppress(OSError):
                (aside / name).unlink()
    return len(gone), len(back)


def _names(folder: Path) -> Iterator[str]:
    """The files that look like ours; whatever else lies there is not touched."""
    for path in sorted(folder.glob("*/*")):
        name = path.relative_to(folder).as_posix()
        if _OURS.fullmatch(name) and path.is_file() and not path.is_symlink():
            yield name


def _touched(path: Path, now: float) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return now


def _move(source: Path, target: Path) -> None:
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with contextlib.suppress(OSError):
        source.replace(target)
