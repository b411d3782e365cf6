"""Writing a file whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from wetmount.errors import InputError


def write_whole(path: str | Path, content: str | bytes) -> None:
    """Write `content` (text as UTF-8) beside `path` and rename, so that nobody ever meets half a file.

    Raises InputError, naming the file, when it cannot be written; what was there before is then still there.
    """
    target = Path(path)
    if not target.parent.is_dir():
        raise InputError(f"cannot be written: no folder {target.parent} is there; make it first", file=str(path))
    if target.is_dir():
        raise InputError("cannot be written: it is a folder", file=str(path))
    temporary = target.with_name(f".{target.stem}.{os.getpid()}{target.suffix}")
    try:
        temporary.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
        temporary.replace(target)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", file=str(path)) from error
    finally:
        temporary.unlink(missing_ok=True)
