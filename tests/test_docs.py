"""The documentation says what is there: generated pages are fresh, every command and file that is named exists."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

from wetmount.cli import COMMANDS

ROOT = Path(__file__).resolve().parents[1]
WRITTEN = [ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted((ROOT / "docs").glob("*.md"))]


def _make_docs() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_docs", ROOT / "tools" / "make_docs.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _without_figures(text: str) -> str:
    """Text with its numbers and spacing levelled: the sample's last digits may differ between processors."""
    return re.sub(r"\s+", " ", re.sub(r"\d+(\.\d+)?", "0", text))


def test_generated_pages_are_fresh() -> None:
    for page, text in _make_docs().pages().items():
        assert page.exists(), f"run tools/make_docs.py: {page.name} is not there"
        there, wanted = page.read_text("utf-8"), text
        if page.name == "README.md":
            there, wanted = _without_figures(there), _without_figures(wanted)
        assert there == wanted, f"run tools/make_docs.py: {page.name} is stale"


@pytest.mark.parametrize("page", WRITTEN, ids=lambda page: page.name)
def test_named_commands_exist(page: Path) -> None:
    """Each `wetmount word` in code on a page is a command."""
    code = re.findall(r"```.*?```|`[^`]+`|^    .+$", page.read_text("utf-8"), re.DOTALL | re.MULTILINE)
    named = {word for part in code for word in re.findall(r"(?<!from )\bwetmount ([a-z][a-z-]+)\b", part)}
    assert named <= set(COMMANDS), named - set(COMMANDS)


@pytest.mark.parametrize("page", WRITTEN, ids=lambda page: page.name)
def test_linked_files_exist(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text("utf-8")):
        assert (page.parent / target).exists(), f"{page.name} links to {target}"


def test_readme_names_the_job_and_the_two_commands_first() -> None:
    readme = (ROOT / "README.md").read_text("utf-8")
    assert readme.index("python3 try.py\n") < readme.index("python3 try.py test\n") < 1600


def _toml_examples() -> list[tuple[str, str]]:
    pages = [ROOT / "README.md", ROOT / "docs" / "case-file.md"]
    return [
        (page.name, text)
        for page in pages
        for text in re.findall(r"```toml\n(.*?)```", page.read_text("utf-8"), re.DOTALL)
    ]


@pytest.mark.parametrize(("page", "text"), _toml_examples())
def test_example_cases_are_accepted(page: str, text: str) -> None:
    """Every case file shown can be used, and nothing in it is doubtful."""
    from wetmount.casefile import check_case_text
    from wetmount.reference import load_reference

    assert [str(problem) for problem in check_case_text(text, "toml", page, load_reference())] == []
