"""`wetmount origin` as a person or a script meets it: what is printed where, with which exit status."""

from __future__ import annotations

import csv
import datetime as dt
import json
import os
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner, Result
from msgspec import structs

from wetmount.cli import cli
from wetmount.commands import origin_trace
from wetmount.commands.origin_trace import stopping
from wetmount.origin.room_file import demo_room, read_room, write_room


def run(*arguments: str) -> Result:
    return CliRunner().invoke(cli, ["origin", *arguments])


def data(*arguments: str) -> dict[str, Any]:
    done = run(*arguments, "--json")
    assert done.exit_code == 0, done.output
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.fixture
def room(tmp_path: Path) -> str:
    write_room(demo_room(), tmp_path / "room")
    return str(tmp_path / "room")


@pytest.mark.parametrize(
    "name", ["new", "check", "import", "stock", "exposures", "curve", "chains", "trace", "control", "round"]
)
def test_every_part_has_help(name: str) -> None:
    done = run(name, "--help")
    assert done.exit_code == 0
    assert done.stdout.startswith("Usage: ")


def test_a_new_room_is_empty_and_usable(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    assert run("new", str(folder), "--name", "Shed").exit_code == 0
    made = read_room(folder)
    assert (made.name, made.tanks) == ("Shed", ())
    assert (folder / "moves.csv").read_text("utf-8") == "on,from_tank,to_tank,number,batch\n"
    again = run("new", str(folder))
    assert again.exit_code == 2
    assert "is there already and not empty" in again.stderr
    assert run("new", str(tmp_path / "demo"), "--demo").exit_code == 0
    assert read_room(tmp_path / "demo") == demo_room()


def test_check_names_every_bad_row(room: str) -> None:
    assert run("check", room).exit_code == 0
    path = Path(room) / "moves.csv"
    path.write_text(path.read_text("utf-8") + "2026-09-30,A8,A1,1,\n2026-09-30,A99,A1,1,\n", "utf-8")
    done = run("check", room)
    assert done.exit_code == 2
    assert "row 6, from_tank: is A8, which held no fish" in done.stderr
    assert 'row 7, from_tank: is "A99"' in done.stderr
    for part in (["exposures", room], ["curve", room], ["chains", room, "A4"]):
        refused = run(*part)
        assert refused.exit_code == 2
        assert refused.stderr.startswith("wetmount: ")
        assert refused.stderr.count("\n") == 1


def test_stock_of_a_day() -> None:
    """By hand: 24 arrived in Q2 on 19 September, all went to A4 on the 21st, four on to A9 on the 24th, one died."""
    for on, expected in (
        ("2026-09-20", {"Q2": 24, "A4": 0, "A9": 0}),
        ("2026-09-21", {"Q2": 0, "A4": 24, "A9": 0}),
        ("2026-10-03", {"Q2": 0, "A4": 19, "A9": 4}),
    ):
        found = {row["tank"]: row["fish"] for row in data("stock", "demo", "--on", on)["tanks"]}
        assert {tank: found[tank] for tank in expected} == {n: {"low": k, "high": k} for n, k in expected.items()}
    done = run("stock", "demo")
    assert "A4 19 Boeseman rainbowfish Q2" in done.stdout
    assert "Without fish: A8, A12" in " ".join(done.stdout.split())


def test_exposures_say_how_many_were_compared_and_who_was_left_out() -> None:
    done = run("exposures", "demo")
    assert done.exit_code == 0
    found = data("exposures", "demo")["exposures"]
    words = " ".join(done.stdout.split())
    assert f"{found['comparisons']} different comparisons" in words
    assert "never looked at 5 (B1, B2, B3, B12, C1)" in words
    assert "* a cell is zero" in words
    p = [row["p"] for row in found["rows"]]
    assert p == sorted(p)
    assert found["rows"][0]["risk"]["value"] is None  # an infinite ratio has no number in JSON
    assert "zero" in found["rows"][0]["risk"]["note"]


def test_exposures_by_one_factor_and_within_another() -> None:
    found = data("exposures", "demo", "--by", "origin")["exposures"]
    assert {row["factor"] for row in found["rows"]} == {"origin"}
    held = data("exposures", "demo", "--of", "origin=North", "--within", "system")["stratified"]
    assert held["strata"]["rack A"] == {"a": 2, "b": 0, "c": 1, "d": 7}
    assert "with system held fixed" in run("exposures", "demo", "--of", "origin=North", "--within", "system").stdout
    worms = data("exposures", "demo", "--condition", "camallanosis")
    assert (worms["condition"], worms["exposures"]["ill"]) == ("camallanosis", ["C3", "C7", "C8"])


def test_the_curve_takes_its_incubation_from_the_table_or_from_you() -> None:
    found = data("curve", "demo")
    assert found["curve"]["incubation_d"] == [4, 14]
    assert found["incubation_from"].startswith("incubations.csv")
    assert found["curve"]["shared"] == ["2026-09-18", "2026-09-25"]
    own = data("curve", "demo", "--incubation", "2-3")
    assert own["curve"]["incubation_d"] == [2, 3]
    assert own["curve"]["shared"] is None
    assert "No single day fits all of them" in run("curve", "demo", "--incubation", "2-3").stdout
    assert "One exposure can explain all" in run("curve", "demo").stdout


def test_chains_tell_the_way() -> None:
    found = data("chains", "demo", "A9", "--only", "fish")
    assert found["ingoing"]["direct"] == 1
    (away,) = [one for one in found["ingoing"]["tanks"] if one["tank"] == "Q2"]
    assert [(step["on"], step["from"], step["to"]) for step in away["path"]] == [
        ("2026-09-21", "Q2", "A4"), ("2026-09-24", "A4", "A9")]  # fmt: skip
    # followed up to the first sign, not beyond it
    assert found["ingoing"]["last"] == "2026-10-02"
    done = run("chains", "demo", "C3", "--also", "worker")
    assert "Can have been reached from it" in done.stdout
    assert "the evening help" in done.stdout


def test_a_room_in_which_nobody_is_ill(tmp_path: Path) -> None:
    healthy = structs.replace(demo_room(), sightings=(), checks=(), condition=None)
    write_room(healthy, tmp_path / "room.toml")
    path = str(tmp_path / "room.toml")
    assert "Nothing can be compared" in run("exposures", path).stdout
    assert "No tank was seen ill" in run("curve", path, "--incubation", "3").stdout
    refused = run("curve", path)
    assert refused.exit_code == 2
    assert "the room names no condition" in refused.stderr
    assert "any illness" in run("chains", path, "A4").stdout


def test_every_comparison_with_all() -> None:
    short, long = run("exposures", "demo").stdout, run("exposures", "demo", "--all").stdout
    assert "more with --all" in short
    assert "more with --all" not in long
    rows = data("exposures", "demo")["exposures"]["rows"]
    assert all(row["level"].split()[-1] in long for row in rows)


SHEET = [["date", "from", "to", "number"], [dt.date(2026, 9, 30), "C7", "C9", 2],
         [dt.date(2026, 9, 30), "C7", "C99", 2]]  # fmt: skip


def sheet(path: Path, rows: list[list[Any]]) -> str:
    book = openpyxl.Workbook()
    assert book.active is not None
    for row in rows:
        book.active.append(row)
    book.save(path)
    return str(path)


def test_import_shows_first_and_writes_only_when_asked(room: str, tmp_path: Path) -> None:
    table = Path(room) / "moves.csv"
    before = table.read_text("utf-8")
    path = sheet(tmp_path / "sheet.xlsx", SHEET)
    done = run("import", path, room, "--table", "moves")
    assert done.exit_code == 2
    assert 'row 3: to_tank is "C99"' in done.stderr
    assert "1 row can come into moves, 1 cannot" in done.stdout
    assert run("import", path, room, "--table", "moves", "--write").exit_code == 2
    assert table.read_text("utf-8") == before
    assert run("import", path, room, "--table", "moves", "--write", "--skip-bad").exit_code == 0
    assert list(csv.reader(table.read_text("utf-8").splitlines()))[-1] == ["2026-09-30", "C7", "C9", "2", ""]
    found = data_of_import(path, room)
    assert found["preview"]["bad"][0]["row"] == 3


def data_of_import(path: str, room: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(run("import", path, room, "--table", "moves", "--json").stdout)
    return found


def test_import_into_what_is_no_folder(tmp_path: Path) -> None:
    write_room(demo_room(), tmp_path / "room.toml")
    path = sheet(tmp_path / "sheet.xlsx", SHEET[:2])
    done = run("import", path, str(tmp_path / "room.toml"), "--table", "moves", "--write")
    assert done.exit_code == 2
    assert "is no folder" in done.stderr
    assert read_room(tmp_path / "room.toml") == demo_room()


BAD = [
    (["exposures", "nowhere"], "no such file"),
    (["exposures", "demo", "--by", "speceis"], "did you mean species"),
    (["exposures", "demo", "--of", "origin=North"], "go together"),
    (["exposures", "demo", "--of", "North", "--within", "system"], "write FACTOR=LEVEL"),
    (["exposures", "demo", "--of", "origin=Norht", "--within", "system"], "did you mean North"),
    (["exposures", "demo", "--condition", "cosita"], "did you mean costia"),
    (["exposures", "demo", "--until", "yesterday"], "write it as 2026-10-03"),
    (["exposures", "demo", "--until", "2027-01-01"], "outside the record"),
    (["curve", "demo", "--incubation", "long"], "write LOW-HIGH"),
    (["curve", "demo", "--incubation", "9-3"], "low first"),
    (["chains", "demo", "Z9"], "no tank of this room"),
    (["chains", "demo", "A4", "--only", "nets"], "did you mean net"),
    (["chains", "demo", "A4", "--since", "2020-01-01"], "outside the record"),
    (["chains", "demo", "A4", "--since", "2026-10-02", "--until", "2026-10-01"], "ends before it begins"),
    (["import", "nowhere.csv", "demo", "--table", "moves"], "no such file"),
    (["import", "nowhere.csv", "demo", "--table", "mov"], "no table of a room"),
    (["stock", "demo", "--on", "2020-01-01"], "outside the record"),
    (["trace", "nowhere"], "no such file"),
    (["control", "nowhere"], "no such file"),
    (["control", "demo", "--days", "0"], "accepted are 1 to 28"),
    (["control", "demo", "--examination", "skin_scarpe"], "did you mean skin_scrape"),
    (["round", "demo", "--condition", "cosita"], "did you mean costia"),
]  # fmt: skip


@pytest.mark.parametrize(("arguments", "words"), BAD, ids=lambda part: " ".join(part) if isinstance(part, list) else "")
def test_bad_input_is_one_sentence_and_status_2(arguments: list[str], words: str) -> None:
    done = run(*arguments)
    assert done.exit_code == 2, done.output
    assert words in done.stderr
    assert done.stderr.count("\n") == 1
    assert done.stdout == ""


def test_trace_tells_progress_on_standard_error_and_can_be_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = iter([False] * 20)

    @contextmanager
    def after_twenty(seconds: float | None) -> Iterator[Callable[[], bool]]:
        assert seconds == 600
        yield lambda: next(asked, True)

    monkeypatch.setattr(origin_trace, "stopping", after_twenty)
    done = run("trace", "demo", "--seconds", "600", "--json")
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert found["schema"] == "wetmount.origin.trace/1"
    assert "outside" in {one["key"] for one in found["candidates"]}
    assert sum(one["probability"] for one in found["candidates"]) == pytest.approx(1)
    assert found["convergence"]["stopped"]
    assert "sweeps: " in done.stderr
    words = " ".join(run("trace", "demo", "--seconds", "600").stdout.split())
    assert "Where it came in" in words
    assert "Stopped after" in words
    assert "Clean as far as can be judged: " in words


@pytest.fixture
def quickly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tracing that stops after 20 sweeps, whatever the time."""

    @contextmanager
    def after_twenty(seconds: float | None) -> Iterator[Callable[[], bool]]:
        asked = iter([False] * 20)
        yield lambda: next(asked, True)

    monkeypatch.setattr(origin_trace, "stopping", after_twenty)


@pytest.mark.usefixtures("quickly")
def test_control_tells_cuts_and_whom_to_examine() -> None:
    found = data("control", "demo", "--days", "10")
    cuts = found["control"]
    assert cuts["days"] == 10
    saved = [cut["saved"] for cut in cuts["alone"]]
    assert saved == sorted(saved, reverse=True)
    assert {one["tank"] for one in found["learn"]}.isdisjoint({"A4", "A5", "A9"})  # it was seen there
    assert {one["tank"] for one in found["learn"]}.isdisjoint({"A8", "A12", "Q2"})  # no fish are in them
    words = " ".join(run("control", "demo").stdout.split())
    assert "more tanks are expected to catch it in 14 days" in words
    assert "Examine next: " in words


@pytest.mark.usefixtures("quickly")
def test_the_round_goes_from_clean_to_sick_and_knows_of_other_problems() -> None:
    found = data("round", "demo")
    order = [stop["status"] for stop in found["round"]["stops"]]
    assert order == sorted(order, key=["clean", "suspect", "sick"].index)
    assert {stop["tank"] for stop in found["round"]["stops"]} == {tank.id for tank in demo_room().tanks}
    sick = {stop["tank"]: stop["also"] for stop in found["round"]["stops"] if stop["status"] == "sick"}
    worms = ["Camallanus red worm"]
    assert sick == {"C3": worms, "C7": worms, "C8": worms, "A4": [], "A5": [], "A9": []}
    assert list(sick) == ["C3", "C7", "C8", "A4", "A5", "A9"]  # the cause that is followed comes last
    nets = [stop["net"] for stop in found["round"]["stops"] if stop["also"]]
    assert len(set(nets)) == 3
    words = " ".join(run("round", "demo").stdout.split())
    assert words.count("Camallanus") == 3
    assert "Never back to a tank earlier in the list" in words


def test_the_time_to_refine_ends() -> None:
    with stopping(0.02) as stop:
        assert not stop()
        threading.Event().wait(0.03)
        assert stop()


def test_control_c_stops_once_and_the_handler_is_put_back() -> None:
    before = signal.getsignal(signal.SIGINT)
    with stopping(None) as stop:
        assert not stop()
        threading.Timer(0, os.kill, (os.getpid(), signal.SIGINT)).start()
        for _ in range(1000):
            if stop():
                break
            threading.Event().wait(0.005)
        assert stop()
    assert signal.getsignal(signal.SIGINT) is before
