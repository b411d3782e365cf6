"""A throw-away PostgreSQL server, and the tests of the casebook on it:

    python tests/casebook/postgresql.py [arguments of pytest]

Needs the server's programs (Debian: postgresql), no set-up of it and no network: it listens on a socket in a folder of
its own and is gone afterwards.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any


def program(name: str) -> str | None:
    """Where a program of the server is: on the path, or where Debian puts it."""
    places = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return shutil.which(name) or (str(places[-1]) if places else None)


@contextmanager
def server(*, safe: bool = False) -> Iterator[str]:
    """A running server; the value for WETMOUNT_DATABASE_URL. It does not wait for the disk unless `safe`."""
    initdb, postgres = program("initdb"), program("postgres")
    if initdb is None or postgres is None:
        raise FileNotFoundError("PostgreSQL's initdb and postgres are not installed (Debian: postgresql)")
    # The server refuses to run as root; the package made a user for it.
    user: dict[str, Any] = {"user": "postgres", "group": "postgres"} if os.geteuid() == 0 else {}
    folder = Path(tempfile.mkdtemp(prefix="pg"))
    if user:
        shutil.chown(folder, "postgres", "postgres")
    data = folder / "data"
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "cwd": folder, **user}
    try:
        subprocess.run([initdb, "-D", data, "-U", "wetmount", "-A", "trust", "-E", "UTF8", "-N"], check=True, **quiet)
        options = ["-c", "listen_addresses=", *([] if safe else ["-c", "fsync=off", "-c", "full_page_writes=off"])]
        with (folder / "log").open("w") as log:
            running = subprocess.Popen([postgres, "-D", data, "-k", folder, *options], stderr=log, **quiet)
        try:
            _wait_for(folder / ".s.PGSQL.5432", folder / "log", running)
            yield f"postgresql://wetmount@/postgres?host={folder}"
        finally:
            running.terminate()
            running.wait(timeout=30)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _wait_for(socket: Path, log: Path, running: subprocess.Popen[bytes]) -> None:
    for _ in range(300):
        if socket.exists() and "ready to accept connections" in log.read_text():
            return
        if running.poll() is not None:
            break
        time.sleep(0.1)
    raise RuntimeError(f"PostgreSQL did not start:\n{log.read_text()}")


def main(arguments: list[str]) -> int:
    """Run the casebook's tests on a server of their own."""
    here = Path(__file__).parent
    with server() as url:
        environment = os.environ | {"WETMOUNT_DATABASE_URL": url}
        command = [sys.executable, "-m", "pytest", *(arguments or [str(here)])]
        return subprocess.run(command, env=environment, cwd=here.parent.parent, check=False).returncode


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
