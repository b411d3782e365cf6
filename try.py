#!/usr/bin/env python3
"""Set Wetmount up in this folder and show it working. Needs Python 3.11 or newer and pip, nothing else, and no root.

    python3 try.py         weigh the demonstration case up, and write its report to out/
    python3 try.py test    run the style, type and import checks and all tests

The environment is made in .venv with the exact, hash-checked packages of the constraints files, and is made anew
only when those files, pyproject.toml or the Python change.
"""

import hashlib
import importlib.util
import os
import subprocess
import sys
import venv
from pathlib import Path

HERE = Path(__file__).resolve().parent
ENVIRONMENT = HERE / ".venv"
SCRIPTS = ENVIRONMENT / ("Scripts" if os.name == "nt" else "bin")
PYTHON = SCRIPTS / ("python.exe" if os.name == "nt" else "python")
CONSTRAINTS = {"run": "constraints.txt", "test": "constraints-test.txt"}

# In this order, and all of them even when one fails; pytest last, so that its closing line is the last.
CHECKS = (
    ("style", ["-m", "ruff", "check", "."]),
    ("format", ["-m", "ruff", "format", "--check", "."]),
    ("types", ["-m", "mypy"]),
    ("import contract", ["-c", "from importlinter.cli import lint_imports_command as check; check()"]),
    ("tests", ["-m", "pytest", "-n", "2", "--dist", "loadfile", "--no-loadscope-reorder"]),
)


def main(arguments: list) -> int:
    """Do what the command line asks; returns the exit status."""
    if sys.version_info < (3, 11):  # noqa: UP036  (people start this with whatever Python they have)
        print(f"Wetmount needs Python 3.11 or newer; this is {sys.version.split()[0]}.", file=sys.stderr)
        return 1
    if arguments == []:
        set_up("run")
        return run("-m", "wetmount", "demo", "--out", "out")
    if arguments == ["test"]:
        set_up("test")
        failed = []
        for name, command in CHECKS:
            print(f"\n== {name}", flush=True)
            if run(*command) != 0:
                failed.append(name)
        if failed:
            print(f"Failed: {', '.join(failed)}.", file=sys.stderr)
        return 1 if failed else 0
    print(__doc__.strip(), file=sys.stderr)
    return 2


def run(*command: str) -> int:
    """Run the environment's Python in this folder and return its exit status."""
    return subprocess.run([str(PYTHON), *command], cwd=HERE, check=False).returncode


def set_up(purpose: str) -> None:
    """Make the environment if it is not there and install what `purpose` needs, unless that is done already."""
    wanted = HERE / CONSTRAINTS[purpose]
    stamp = ENVIRONMENT / f"{purpose}.stamp"
    digest = hashlib.sha256()
    for part in (wanted.read_bytes(), (HERE / "pyproject.toml").read_bytes(), sys.version.encode(), bytes(HERE)):
        digest.update(part)
    key = digest.hexdigest()
    if PYTHON.exists() and stamp.exists() and stamp.read_text() == key:
        return
    print(f"Setting up .venv from {wanted.name}; once, a minute or two.", flush=True)
    # Some systems ship pip but not the bundle that fills a new environment with it. This Python's own pip can fill
    # the environment from outside, so the environment needs none.
    own_pip = importlib.util.find_spec("pip") is not None
    if not own_pip and importlib.util.find_spec("ensurepip") is None:
        raise SystemExit("This Python has no pip. Install pip for it (on Debian: python3-pip), then try again.")
    if not PYTHON.exists():
        venv.create(ENVIRONMENT, with_pip=not own_pip)
    pip = [sys.executable, "-m", "pip", "--python", str(PYTHON)] if own_pip else [str(PYTHON), "-m", "pip"]
    quiet = ["--quiet", "--no-input", "--disable-pip-version-check"]
    for what in (["--require-hashes", "-r", str(wanted)], ["--no-deps", "--no-build-isolation", "-e", str(HERE)]):
        if subprocess.run([*pip, "install", *quiet, *what], check=False).returncode != 0:
            raise SystemExit(
                "The packages could not be installed; what pip said stands above. Nothing else was changed."
            )
    stamp.write_text(key)


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
