"""The database on a PostgreSQL server, written to a file and read back by the server's own programs."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

from django.db import connection

from wetmount.errors import InputError

ENTRY = "casebook.dump"


def dump(target: Path) -> int:
    """Write the database as it is at one moment; how many cases it holds. Raises `InputError` when that fails."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM casebook_case WHERE deleted_at IS NULL")
        cases = int(cursor.fetchone()[0])
    _run("pg_dump", "--format=custom", "--no-owner", "--no-privileges", f"--file={target}")
    return cases


def check_empty() -> None:
    """Raises `InputError` when the database holds anything: a restore never writes over a casebook."""
    with connection.cursor() as cursor:
        tables = connection.introspection.table_names(cursor)
    if tables:
        raise InputError(
            f"the database {connection.settings_dict['NAME']} is not empty; make an empty one and name it in "
            "WETMOUNT_DATABASE_URL, so that the casebook that is there stays as it is"
        )


def check_dump(path: Path, archive: Path) -> None:
    """Raises `InputError` when the file is no dump that can be read."""
    done = subprocess.run(
        [_program("pg_restore"), "--list", str(path)], capture_output=True, text=True, check=False, timeout=600
    )
    if done.returncode or "casebook_case" not in done.stdout:
        raise InputError(f"is damaged: its database cannot be read ({_last(done.stderr)})", file=str(archive))


def load(path: Path) -> None:
    """Read a dump into the empty database, all of it or nothing."""
    _run("pg_restore", "--no-owner", "--no-privileges", "--exit-on-error", "--single-transaction", str(path))


def _run(name: str, *arguments: str) -> None:
    given = connection.settings_dict
    connection.close()
    target = {f"PG{key}": given[key] for key in ("HOST", "PORT", "USER", "PASSWORD")}
    # The password goes by the surroundings: other users of the machine can read the words of a command.
    environment = os.environ | {key: value for key, value in target.items() if value}
    environment |= {f"PG{key.upper()}": str(value) for key, value in given["OPTIONS"].items() if key.startswith("ssl")}
    command = [_program(name), f"--dbname={given['NAME']}", *arguments]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    if done.returncode:
        raise InputError(f"{name} could not do it: {_last(done.stderr)}")


def _program(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        raise InputError(
            f"a casebook on PostgreSQL needs the program {name} for this, which is not installed; it comes with the "
            "client programs of PostgreSQL (Debian: postgresql-client)"
        )
    return found


def _last(text: str) -> str:
    return (text.strip().splitlines() or ["it says nothing"])[-1][:300]
