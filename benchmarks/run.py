"""Run something in a process of its own, with a limit, and say how long it took and how much memory it held."""

from __future__ import annotations

import datetime
import json
import os
import platform
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

PERFORMANCE = Path(__file__).parents[1] / "docs" / "performance.md"
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


@dataclass(frozen=True)
class Ran:
    """Wall seconds of the whole process and its output; `failed` says why there is none."""

    seconds: float
    output: str
    failed: str | None


def run(command: Sequence[str], limit_s: float = 120.0, threads: int = 1) -> Ran:
    """Run a command in a process of its own; it is killed at the limit."""
    environment = dict(os.environ) | (ONE_THREAD if threads == 1 else {})
    begun = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)
    try:
        output, errors = process.communicate(timeout=limit_s)
    except subprocess.TimeoutExpired:
        process.kill()
        process.communicate()
        return Ran(limit_s, "", f"over {limit_s:g} s")
    seconds = time.perf_counter() - begun
    if process.returncode:
        last = (errors.strip().splitlines() or [f"exit status {process.returncode}"])[-1]
        return Ran(seconds, output, "out of memory" if "bad_alloc" in last else last[:80])
    return Ran(seconds, output, None)


def peak_mib(command: Sequence[str]) -> float:
    """Peak resident MiB of a command, by the kernel's accounting, asked of a parent that has only this child."""
    asker = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, check=True); "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    asked = subprocess.run([sys.executable, "-c", asker, *command], capture_output=True, text=True, check=True)
    return int(asked.stdout) / (1024 * 1024 if sys.platform == "darwin" else 1024)


def machine() -> str:
    """Date, processor count and load, versions of Python and libraries: the head of a table."""
    load = os.getloadavg()[0]
    parts = [datetime.date.today().isoformat(), f"{os.cpu_count()} cores, load {load:.1f} before the run"]
    parts += [f"Python {platform.python_version()}"]
    for name in ("numpy", "pyagrum", "msgspec"):
        try:
            parts.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            parts.append(f"{name} not installed")
    return ", ".join(parts)


def said(ran: Ran) -> dict[str, object]:
    """The JSON object that a child printed last."""
    return dict(json.loads(ran.output.strip().splitlines()[-1]))


def write_section(name: str, text: str) -> None:
    """Put text between the markers of that name in docs/performance.md."""
    before, rest = PERFORMANCE.read_text(encoding="utf-8").split(f"<!-- {name} -->\n", 1)
    after = rest.split("<!-- end -->", 1)[1]
    PERFORMANCE.write_text(f"{before}<!-- {name} -->\n{text}\n<!-- end -->{after}", encoding="utf-8")
