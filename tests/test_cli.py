"""The command as a person or a script meets it: what is printed where, and with which exit status."""

from __future__ import annotations

import errno
import json
import subprocess
import sys
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from wetmount.cli import COMMANDS, cli
from wetmount.errors import InputError
from wetmount.files import write_whole

DEMONSTRATION = str(resources.files("wetmount") / "examples" / "harbour_row_rack_a.toml")
SMALLEST = 'format = 1\n[host]\nspecies = "Melanotaenia praecox"\n[findings]\nflashing = "frequent"\n'


def run(*arguments: str) -> Result:
    return CliRunner().invoke(cli, list(arguments))


@pytest.fixture
def case_file(tmp_path: Path) -> Path:
    path = tmp_path / "small.toml"
    path.write_text(SMALLEST, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def demonstration() -> dict[str, Any]:
    done = run("weigh", "--json", DEMONSTRATION)
    assert done.exit_code == 0, done.output
    data: dict[str, Any] = json.loads(done.stdout)
    return data


def test_help_lists_every_command_and_loads_no_numpy() -> None:
    code = (
        "import sys\nfrom wetmount.cli import cli\ncli(['--help'], standalone_mode=False)\nprint(sorted(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    for name in COMMANDS:
        assert f"\n  {name} " in done.stdout
    assert "'numpy'" not in done.stdout
    assert "'rich'" not in done.stdout


@pytest.mark.parametrize(
    "name", [*COMMANDS, "case new", "case check", "case schema", "reference check", "reference show"]
)
def test_every_command_has_help(name: str) -> None:
    done = run(*name.split(), "--help")
    assert done.exit_code == 0
    assert done.stdout.startswith("Usage: ")


def test_version() -> None:
    assert run("--version").stdout.startswith("wetmount 0.")


def test_an_unknown_command_is_refused() -> None:
    assert run("nonsense").exit_code == 2


def test_weigh_json_has_the_promised_shape(demonstration: dict[str, Any]) -> None:
    assert set(demonstration) >= {"schema", "cases"}
    (case,) = demonstration["cases"]
    keys = ["conditions", "explanations", "remaining_probability", "exact", "state_bits", "next_examinations"]
    keys += ["firmness", "unexplained", "warnings", "cautions", "reference_version"]
    assert [key for key in case if key in keys] == keys
    for condition in case["conditions"]:
        assert list(condition)[:5] == ["id", "name", "prior", "probability", "responsible"]
        assert 0 <= condition["responsible"] <= condition["probability"] + 1e-12 <= 1 + 2e-12
    for explanation in case["explanations"]:
        assert list(explanation) == ["conditions", "probability"]
    for examination in case["next_examinations"]:
        assert list(examination)[:4] == ["id", "name", "information_bits", "changes_leading"]


def test_weigh_json_holds_all_conditions_in_rank_order(demonstration: dict[str, Any]) -> None:
    from wetmount.reference import load_reference

    (case,) = demonstration["cases"]
    ids = [condition["id"] for condition in case["conditions"]]
    assert sorted(ids) == sorted(load_reference().conditions)
    responsible = [condition["responsible"] for condition in case["conditions"]]
    assert responsible == sorted(responsible, reverse=True)


def test_weigh_json_explanations_and_remainder_make_one(demonstration: dict[str, Any]) -> None:
    (case,) = demonstration["cases"]
    total = sum(one["probability"] for one in case["explanations"]) + case["remaining_probability"]
    assert total == pytest.approx(1, abs=1e-6)


def test_weigh_prints_tables() -> None:
    done = run("weigh", DEMONSTRATION)
    assert done.exit_code == 0, done.output
    from wetmount.commands.weigh_tables import HEADINGS

    for heading in ("firmness", "causes", "reasons", "explanations", "next", "cautions"):
        assert HEADINGS[heading] in done.stdout
    assert done.stdout.index(HEADINGS["firmness"]) < done.stdout.index(HEADINGS["causes"])


def test_weigh_same_seed_same_answer(case_file: Path) -> None:
    assert (
        run("weigh", "--json", "--seed", "7", str(case_file)).stdout
        == run("weigh", "--json", "--seed", "7", str(case_file)).stdout
    )


def test_one_bad_case_among_many_is_named_and_the_others_are_weighed(case_file: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text('format = 1\n[host]\nspecies = "Melanotaenia praecox"\n[findings]\nflashnig = "frequent"\n', "utf-8")
    done = run("weigh", "--json", "--quick", str(bad), str(case_file))
    assert done.exit_code == 2
    data = json.loads(done.stdout)
    assert [case["file"] for case in data["cases"]] == [str(case_file)]
    assert [failure["file"] for failure in data["failures"]] == [str(bad)]
    assert "bad.toml" in done.stderr
    assert "flashing" in done.stderr  # the id that was probably meant
    assert "1 of 2 cases" in done.stderr


def test_a_folder_and_a_pattern_name_the_cases_in_them(case_file: Path) -> None:
    (case_file.parent / "second.toml").write_text(SMALLEST, "utf-8")
    (case_file.parent / "notes.txt").write_text("no case", "utf-8")
    by_folder = json.loads(run("weigh", "--json", "--quick", str(case_file.parent)).stdout)
    by_pattern = json.loads(run("weigh", "--json", "--quick", str(case_file.parent / "*.toml")).stdout)
    assert len(by_folder["cases"]) == 2
    assert by_folder == by_pattern


@pytest.mark.parametrize(
    "arguments", [("weigh", "missing.toml"), ("weigh", "missing-*.toml"), ("report", "missing.toml", "-o", "x.pdf")]
)
def test_a_missing_file_is_one_sentence_and_status_2(
    arguments: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run(*arguments)
    assert done.exit_code == 2
    assert "missing" in done.stderr
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.iterdir())


def test_an_empty_folder_is_refused(tmp_path: Path) -> None:
    done = run("weigh", str(tmp_path))
    assert done.exit_code == 2
    assert "holds no case file" in done.stderr


@pytest.mark.parametrize(("date", "says"), [("3 October", "no date"), ("1999-01-01", "no look of 1999-01-01")])
def test_a_look_that_is_not_there_is_refused(date: str, says: str) -> None:
    done = run("weigh", "--look", date, DEMONSTRATION)
    assert done.exit_code == 2
    assert says in done.stderr


def test_verbose_says_on_standard_error_what_is_done(case_file: Path) -> None:
    done = run("--verbose", "weigh", "--json", "--quick", str(case_file))
    assert " info weighed file=" in done.stderr
    json.loads(done.stdout)


def test_case_new_is_a_case_that_check_accepts(tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    assert run("case", "new", "-o", str(path)).exit_code == 0
    assert path.read_text("utf-8") == run("case", "new").stdout
    done = run("case", "check", str(path))
    assert done.exit_code == 0, done.output
    again = run("case", "new", "-o", str(path))
    assert again.exit_code == 2
    assert "is there already" in again.stderr


def test_case_check_names_every_problem_and_exits_2(tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text('format = 1\n[host]\ngroup = "livebearre"\n[findings]\nflashing = "very"\n', "utf-8")
    done = run("case", "check", str(path))
    assert done.exit_code == 2
    assert "host" in done.stderr
    assert "flashing" in done.stderr


def test_case_schema_is_a_json_schema() -> None:
    import jsonschema

    schema = json.loads(run("case", "schema").stdout)
    jsonschema.Draft202012Validator.check_schema(schema)


def test_reference_check_passes() -> None:
    done = run("reference", "check")
    assert done.exit_code == 0, done.stderr


def test_reference_show_prints_a_row_with_its_sources() -> None:
    done = run("reference", "show", "flashing")
    assert done.exit_code == 0
    assert "flashing" in done.stdout


def test_reference_show_suggests_for_a_typo() -> None:
    done = run("reference", "show", "flashnig")
    assert done.exit_code == 2
    assert "flashing" in done.stderr


@pytest.mark.parametrize("name", ["report.docx", "report"])
def test_a_report_of_another_kind_is_refused(name: str, tmp_path: Path) -> None:
    done = run("report", DEMONSTRATION, "-o", str(tmp_path / name))
    assert done.exit_code == 2
    assert ".pdf, .html, .txt" in done.stderr
    assert not list(tmp_path.iterdir())


def test_a_report_into_a_missing_folder_is_refused(tmp_path: Path) -> None:
    done = run("report", DEMONSTRATION, "-o", str(tmp_path / "not there" / "report.txt"))
    assert done.exit_code == 2
    assert "no folder" in done.stderr


def test_a_failed_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full_disk(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    path = tmp_path / "report.txt"
    path.write_text("old", "utf-8")
    monkeypatch.setattr(Path, "replace", full_disk)
    with pytest.raises(InputError, match="No space left"):
        write_whole(path, "new")
    assert path.read_text("utf-8") == "old"
    assert [one.name for one in tmp_path.iterdir()] == ["report.txt"]


def test_demo_shows_the_weigh_up_and_writes_the_report(tmp_path: Path) -> None:
    out = tmp_path / "out"
    done = run("demo", "--out", str(out))
    assert done.exit_code == 0, done.output
    written = sorted(path.name for path in out.iterdir())
    assert written == ["harbour_row_rack_a.pdf", "harbour_row_rack_a.toml", "harbour_row_rack_a.txt"]
    assert (out / "harbour_row_rack_a.pdf").read_bytes().startswith(b"%PDF")
    for name in written:
        assert name in done.stdout


def test_first_aid_lists_the_red_flags() -> None:
    done = run("first-aid")
    assert done.exit_code == 0
    assert "gasping_surface" in done.stdout


def test_first_aid_needs_nothing_but_a_red_flag_and_no_numpy() -> None:
    code = "import sys\nfrom wetmount.cli import cli\ncli(['first-aid', 'gasping_surface'], standalone_mode=False)\n"
    done = subprocess.run(
        [sys.executable, "-c", code + "print('numpy' in sys.modules)"], capture_output=True, text=True, check=True
    )
    first, *_, numpy_loaded = done.stdout.strip().splitlines()
    assert "gasp" in first
    assert "1. " in done.stdout
    assert numpy_loaded == "False"


def test_first_aid_of_a_case_says_what_a_rise_of_ph_would_do() -> None:
    done = run("first-aid", "--case", DEMONSTRATION)
    assert done.exit_code == 0
    assert "Free ammonia is now" in " ".join(done.stdout.split())


def test_an_unknown_red_flag_is_answered_with_the_nearest() -> None:
    done = run("first-aid", "gasping")
    assert done.exit_code == 2
    assert "gasping_surface" in done.stderr


def test_water_gives_the_ammonia_of_the_published_formula() -> None:
    # Emerson, Russo, Lund and Thurston 1975, table of un-ionised ammonia: 25 °C, pH 8.0 -> 5.38 %. It was worked out
    # with 0 °C = 273.2 K, hence the tolerance of 0.5 % (value of the table from memory).
    done = run("water", "--json", "ph=8.0", "temperature=25 °C", "ammonia=1 mg/L N")
    assert done.exit_code == 0, done.stderr
    (water,) = json.loads(done.stdout)["waters"]
    values = {line["parameter"]: line["value"] for line in water["lines"]}
    assert values["un_ionised_ammonia"] == pytest.approx(0.0538, rel=0.005)


def test_water_of_a_case_warns_of_raising_ph() -> None:
    done = run("water", "--case", DEMONSTRATION)
    assert done.exit_code == 0, done.stderr
    assert "Do not raise the pH" in done.stdout


@pytest.mark.parametrize(
    ("reading", "says"),
    [
        ("nitrite=1", "has no unit"),
        ("nitrit=1 mg/L NO2", "nitrite"),
        ("ph", "NAME=VALUE"),
        ("ph=19", "ph"),
        ("temperature=-300 C", "temperature"),
    ],
)
def test_a_reading_that_cannot_be_is_one_sentence_and_status_2(reading: str, says: str) -> None:
    done = run("water", reading)
    assert done.exit_code == 2
    assert says in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_water_without_a_reading_is_refused() -> None:
    assert "no reading is given" in run("water").stderr


BAD_FILES = {
    "not-toml.toml": (b"format = = 1\n", "not-toml.toml"),
    "not-json.json": (b'{"format": 1,', "not-json.json"),
    "no-case.toml": (b'[tool]\nname = "something else"\n', "format"),
    "newer.toml": (b'format = 2\n[host]\ngroup = "rainbowfish"\n', "format"),
    "not-utf8.toml": (b'format = 1\ntitle = "caf\xe9"\n[host]\ngroup = "rainbowfish"\n', "UTF-8"),
    "twice.json": (b'{"format": 1, "host": {"group": "koi"}, "host": {"group": "koi"}}', "twice"),
    "unknown.toml": (b'format = 1\n[host]\ngroup = "rainbowfish"\n[findings]\nflashhing = "frequent"\n', "flashing"),
    "level.toml": (b'format = 1\n[host]\ngroup = "rainbowfish"\n[findings]\nflashing = "purple"\n', "frequent"),
    "unit.toml": (b'format = 1\n[host]\ngroup = "rainbowfish"\n[readings]\nnitrite = "1.6"\n', "no unit"),
    "range.toml": (b'format = 1\n[host]\ngroup = "rainbowfish"\n[readings]\nph = "19"\n', "ph"),
    "negative.toml": (b'format = 1\n[host]\ngroup = "rainbowfish"\n[numbers]\nsick = -3\n', "sick"),
    "huge.toml": (b"# " + b"x" * 50_000_000, "huge.toml"),
    "empty.toml": (b"", "format"),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_file_that_is_no_case_is_one_sentence_and_status_2(name: str, tmp_path: Path) -> None:
    content, says = BAD_FILES[name]
    path = tmp_path / name
    path.write_bytes(content)
    output = tmp_path / "report.txt"
    for arguments in (("weigh", str(path)), ("report", str(path), "-o", str(output)), ("case", "check", str(path))):
        done = run(*arguments)
        assert done.exit_code == 2, arguments
        assert name in done.stderr
        assert says in done.stderr
        assert len(done.stderr.strip().splitlines()) == 1
        assert "Traceback" not in done.output
    assert not output.exists()


def test_a_named_person_overrides_a_stop_of_a_dose_with_a_reason() -> None:
    """A warmer bath than the row allows is refused, gone against by name with a reason, and written down."""
    asked = (
        "dose", "formalin_short", "temperature=28C", "oxygen=8 mg/L", "kh=6 dKH", "gh=8 dGH", "--host", "goldfish",
        "--volume", "100 L", "--strength", "37 % w/w", "--lawful-here", "--checked", "aerated", "--checked",
        "stock_clear", "--fresh", "--without", "rest",
    )  # fmt: skip
    refused = run(*asked)
    assert refused.exit_code == 3
    assert "no amount" in refused.output
    assert "--override temperature" in refused.output
    against = ("--override", "temperature", "--override-by", "Dr Hale", "--because", "the room cannot be cooled today")
    used = run(*asked, *against)
    assert "Overridden: temperature, by Dr Hale, because: the room cannot be cooled today" in used.output
    assert "formalin (37 % stock):" in used.output
    for left_out in (against[:2], against[:4], against[2:]):
        wrong = run(*asked, *left_out)
        assert wrong.exit_code == 2
        assert "goes with --override-by NAME and --because TEXT" in wrong.output
