"""The same tests on a real PostgreSQL server."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent


@pytest.mark.only_on("sqlite")
def test_the_same_tests_on_postgresql() -> None:
    if not any(Path("/usr/lib/postgresql").glob("*/bin/postgres")):
        pytest.skip("needs the PostgreSQL server's programs, which are not installed")
    # What starts a server of its own, or a browser, says nothing more on another database.
    left_out = ["test_on_postgresql.py", "test_open.py", "browser"]
    command = [sys.executable, HERE / "postgresql.py", HERE, "-q", "-p", "no:cacheprovider"]
    command += [f"--ignore={HERE / name}" for name in left_out]
    done = subprocess.run(command, capture_output=True, text=True, timeout=1500, check=False)
    print(done.stdout[-8000:])
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
    assert " passed" in done.stdout
