"""The package as a whole: what it exports, what it loads, what it weighs, and that its files agree with each other."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import tomllib
from importlib import resources
from pathlib import Path

import pytest

import wetmount

ROOT = Path(__file__).resolve().parents[1]
DEMONSTRATION = resources.files("wetmount") / "examples" / "harbour_row_rack_a.toml"

PUBLIC = [
    "Case",
    "Evidence",
    "InputError",
    "Reference",
    "WeighUp",
    "__version__",
    "cautions_of",
    "gather_evidence",
    "load_reference",
    "read_case",
    "weigh_up",
]


def _python(code: str, *arguments: str) -> str:
    """What a fresh Python prints after running `code`."""
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True, timeout=120
    )
    return done.stdout.strip()


def _loaded_by(code: str, *arguments: str) -> set[str]:
    """The packages that a fresh Python holds after running `code`."""
    end = "\nimport sys; print('MODULES', *sorted({name.partition('.')[0] for name in sys.modules}))"
    return set(_python(code + end, *arguments).rpartition("MODULES ")[2].split())


def test_the_public_names_are_these() -> None:
    assert sorted(wetmount.__all__) == sorted(PUBLIC)


@pytest.mark.parametrize("name", PUBLIC)
def test_a_public_name_loads(name: str) -> None:
    assert getattr(wetmount, name) is not None
    assert name in dir(wetmount)


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = wetmount.nonsense


def test_import_loads_no_library() -> None:
    heavy = {"numpy", "msgspec", "click", "rich", "scipy", "altair", "typst", "vl_convert"}
    assert not _loaded_by("import wetmount") & heavy


def test_import_takes_at_most_150_ms() -> None:
    # DESIGN's target. The best of five, since the machine may be busy with other tests.
    code = "import time; a = time.perf_counter(); import wetmount; print(time.perf_counter() - a)"
    assert min(float(_python(code)) for _ in range(5)) <= 0.150


def test_weighing_loads_numpy_and_no_heavier_library() -> None:
    code = "import sys; from wetmount.cli import cli; cli(['weigh', '--json', sys.argv[1]], standalone_mode=False)"
    loaded = _loaded_by(code, str(DEMONSTRATION))
    assert "numpy" in loaded
    assert not loaded & {"scipy", "altair", "typst", "vl_convert", "pandas", "narwhals"}


def test_versions_agree() -> None:
    citation = (ROOT / "CITATION.cff").read_text("utf-8")
    changelog = (ROOT / "CHANGELOG.md").read_text("utf-8")
    assert f"version: {wetmount.__version__}" in citation
    assert f"## {wetmount.__version__}" in changelog


def _pins(name: str) -> dict[str, set[str]]:
    """Package -> pinned versions (several where they differ between Pythons)."""
    pins: dict[str, set[str]] = {}
    for package, version in re.findall(r"^([a-z0-9-]+)==(\S+)", (ROOT / name).read_text("utf-8"), re.MULTILINE):
        pins.setdefault(package, set()).add(version)
    return pins


def test_every_dependency_is_pinned_and_the_two_pin_files_agree() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    run, test = _pins("constraints.txt"), _pins("constraints-test.txt")
    wanted = [*project["project"]["dependencies"], *project["project"]["optional-dependencies"]["report"]]
    names = {re.split(r"[<>=!~\[ ]", line)[0] for line in wanted}
    assert names <= set(run)
    assert run.items() <= test.items()


@pytest.mark.parametrize("name", ["constraints.txt", "constraints-test.txt"])
def test_pins_are_hashed_and_name_no_index(name: str) -> None:
    text = (ROOT / name).read_text("utf-8")
    assert "://" not in text
    blocks = [block for block in re.split(r"\n(?=[a-z0-9])", text) if "==" in block]
    assert blocks
    assert all("--hash=sha256:" in block for block in blocks)


def test_no_committed_file_names_a_path_of_one_machine() -> None:
    listed = subprocess.run(["git", "-C", str(ROOT), "ls-files", "-z"], capture_output=True, check=False)
    if listed.returncode:
        pytest.skip("the checkout has no git to list its files")
    pattern = re.compile(rb"/(?:root|work|farm)/|--(?:extra-)?index-url|/tmp/\w")
    this = Path(__file__).relative_to(ROOT)
    for name in filter(None, listed.stdout.split(b"\0")):
        path = ROOT / name.decode()
        if path.is_file() and path != ROOT / this:
            found = pattern.search(path.read_bytes())
            assert found is None, f"{path.name}: {found.group().decode() if found else ''}"


def test_the_licence_texts_are_there() -> None:
    assert "Apache License" in (ROOT / "LICENSE").read_text("utf-8")
    assert "Attribution 4.0" in (ROOT / "LICENSE-TABLES").read_text("utf-8")


def _pytest_with_a_missing_program(folder: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run this project's conftest on two tests, one of which needs a program that no machine has."""
    (folder / "conftest.py").write_text((ROOT / "tests" / "conftest.py").read_text("utf-8"), "utf-8")
    (folder / "pytest.ini").write_text("[pytest]\nmarkers =\n    needs(program): as in pyproject\n", "utf-8")
    (folder / "test_two.py").write_text(
        "import pytest\n@pytest.mark.needs('no-such-program')\ndef test_one(): ...\ndef test_other(): ...\n", "utf-8"
    )
    ours = ("CI", "WETMOUNT_ALL", "PYTEST_ADDOPTS", "DJANGO_SETTINGS_MODULE")
    clean = {key: value for key, value in os.environ.items() if key not in ours}
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:django", str(folder)]
    return subprocess.run(
        command, cwd=folder, env={**clean, **environment}, capture_output=True, text=True, check=False, timeout=120
    )


def test_what_cannot_run_is_listed_with_its_reason(tmp_path: Path) -> None:
    done = _pytest_with_a_missing_program(tmp_path)
    assert done.returncode == 0
    assert "test_two.py::test_one: needs no-such-program, which is not installed" in done.stdout
    assert "1 passed, 1 skipped" in done.stdout


@pytest.mark.parametrize("name", ["CI", "WETMOUNT_ALL"])
def test_where_everything_must_run_what_cannot_is_a_failure(tmp_path: Path, name: str) -> None:
    done = _pytest_with_a_missing_program(tmp_path, **{name: "true" if name == "CI" else "1"})
    assert done.returncode == 1
    assert "here everything must run" in done.stdout


def test_a_test_cannot_reach_beyond_this_machine() -> None:
    with socket.socket() as outgoing, pytest.raises(AssertionError, match="sends nothing anywhere"):
        outgoing.connect(("192.0.2.1", 9))  # an address for documentation, RFC 5737
