"""The fish room in time: what cannot be so is said with its row, files come back as they went, no fish is lost."""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import structs

from wetmount.errors import InputError
from wetmount.origin.room import (
    Batch,
    Check,
    Contact,
    Departure,
    Move,
    Room,
    Sighting,
    System,
    Tank,
    Tool,
    Watch,
    Worker,
)
from wetmount.origin.room_check import check_room
from wetmount.origin.room_file import check_room_file, demo_room, read_room, write_room
from wetmount.origin.room_rows import TABLES, columns, required, rows_of
from wetmount.origin.spreadsheet import preview_sheet
from wetmount.origin.stock import Count, stock_in_time
from wetmount.reference import load_reference

DAY = dt.date(2026, 9, 1)


def day(number: int) -> dt.date:
    return DAY + dt.timedelta(days=number)


def room(**parts: Any) -> Room:
    """Three tanks: ten guppies in A1, five platies in A2, nothing in A3, which was set up on the fifth day."""
    return structs.replace(
        Room(
            "r",
            DAY,
            day(20),
            "ich",
            systems=(System("a"),),
            tanks=(Tank("A1", "a"), Tank("A2", "a"), Tank("A3", since=day(4))),
            batches=(Batch("g", "guppy", "A1", number=10), Batch("p", "platy", "A2", number=5)),
        ),
        **parts,
    )


def deaths(tank: str, on: int, number: int | None = None) -> Sighting:
    return Sighting(tank, day(on), "deaths", number)


def signs(tank: str, on: int, number: int | None = None, **more: Any) -> Sighting:
    return Sighting(tank, day(on), "signs", number, **more)


# --- stock in time ----------------------------------------------------------------------------------------------------


def test_stock_by_hand() -> None:
    made = room(
        moves=(Move(day(5), "A1", "A3", 4), Move(day(7), "A3", "A2", None), Move(day(9), "A2", "A1", 6)),
        departures=(Departure(day(8), "A1", 2),),
        sightings=(deaths("A2", 8, 1),),
    )
    stock = stock_in_time(made)
    assert stock.clashes == ()
    numbers = {tank: [stock.number(tank, day(n)) for n in (0, 4, 5, 6, 7, 8, 9, 20)] for tank in ("A1", "A2", "A3")}
    assert numbers == {
        "A1": [10, 10, 6, 6, 6, 4, 10, 10], "A2": [5, 5, 5, 5, 9, 8, 2, 2], "A3": [0, 0, 4, 4, 0, 0, 0, 0]}  # fmt: skip
    assert stock.held("A2", day(6)) == ("p",)
    assert set(stock.held("A2", day(7))) == {"p", "g"}
    # which of the two batches died, and which six went, nobody noted
    lots = stock.batches("A2", day(9))
    assert all(count.exact is None for count in lots.values())
    assert sum(count.low for count in lots.values()) <= 2 <= sum(count.high or 0 for count in lots.values())


def test_uncounted_fish_are_bounds() -> None:
    batches = (Batch("g", "guppy", "A1"), Batch("p", "platy", "A2", number=5))
    stock = stock_in_time(room(batches=batches, moves=(Move(day(3), "A1", "A2", 7),), sightings=(deaths("A2", 4),)))
    assert stock.clashes == ()
    assert stock.between("A1", day(1)) == Count(1, None)
    assert stock.number("A1", day(1)) is None
    assert stock.number("A2", day(3)) == 12
    assert stock.between("A2", day(4)) == Count(0, 11)
    assert str(stock.between("A2", day(4))) == "0 to 11"
    assert str(stock.between("A1", day(1))) == "at least 1"


def test_a_room_without_batches_knows_no_numbers() -> None:
    stock = stock_in_time(room(batches=(), moves=(Move(day(3), "A1", "A2", 7),)))
    assert (stock.counted, stock.clashes, stock.number("A1", day(5))) == (False, (), None)


def test_moves_of_one_day_follow_one_another_in_any_order() -> None:
    made = room(moves=(Move(day(5), "A3", "A2", 3), Move(day(5), "A1", "A3", 3)))
    stock = stock_in_time(made)
    assert stock.clashes == ()
    assert [stock.number(tank, day(5)) for tank in ("A1", "A2", "A3")] == [7, 8, 0]


def test_deaths_in_a_tank_emptied_on_the_day_come_first() -> None:
    made = room(moves=(Move(day(5), "A1", "A2", None),), sightings=(deaths("A1", 5, 3),))
    stock = stock_in_time(made)
    assert stock.clashes == ()
    assert stock.number("A2", day(5)) == 12


rows_of_moves = st.lists(
    st.tuples(st.integers(1, 20), st.sampled_from("ABCDE"), st.sampled_from("ABCDE"), st.integers(1, 12)), max_size=25
)


@settings(max_examples=150, deadline=None)
@given(rows_of_moves, st.lists(st.tuples(st.integers(1, 20), st.sampled_from("ABCDE"), st.integers(1, 9)), max_size=10))
def test_no_fish_are_made_or_lost(moves: list[tuple[int, str, str, int]], dead: list[tuple[int, str, int]]) -> None:
    """What is possible is applied, what is not is a clash; the fish of the room always add up."""
    made = Room(
        "r",
        DAY,
        day(20),
        tanks=tuple(Tank(name) for name in "ABCDE"),
        batches=tuple(Batch(name, "guppy", name, number=10) for name in "ABC"),
        moves=tuple(Move(day(on), source, goal, number) for on, source, goal, number in moves if source != goal),
        sightings=tuple(deaths(tank, on, number) for on, tank, number in dead),
    )
    stock = stock_in_time(made)
    refused = {(clash.table, clash.index) for clash in stock.clashes}
    moves_kept = tuple(row for index, row in enumerate(made.moves) if ("moves", index) not in refused)
    deaths_kept = tuple(row for index, row in enumerate(made.sightings) if ("sightings", index) not in refused)
    died = sum(row.number or 0 for row in deaths_kept)
    assert sum(stock.number(tank, day(20)) or 0 for tank in "ABCDE") == 30 - died
    assert all((stock.number(tank, day(n)) or 0) >= 0 for tank in "ABCDE" for n in range(21))
    again = stock_in_time(structs.replace(made, moves=moves_kept, sightings=deaths_kept))
    assert again.clashes == ()
    assert all(again.number(tank, day(n)) == stock.number(tank, day(n)) for tank in "ABCDE" for n in range(21))


# --- what cannot be so ------------------------------------------------------------------------------------------------

LONG_NAME = "x" * 201
CLASHES: list[tuple[str, dict[str, Any], str, int | None, str | None, str]] = [
    # name, parts of the room, table, row (from 0), column, words of the sentence
    ("a move out of an empty tank", {"moves": (Move(day(6), "A3", "A1", 2),)}, "moves", 0, "from_tank", "held no fish"),
    ("the second of two moves", {"moves": (Move(day(1), "A1", "A2", 8), Move(day(2), "A1", "A2", 3))},
     "moves", 1, "number", "more than the 2 fish that A1 held on 2026-09-03"),
    ("more moved than there are", {"moves": (Move(day(1), "A1", "A2", 11),)}, "moves", 0, "number", "more than the 10"),
    ("a batch that is elsewhere", {"moves": (Move(day(1), "A1", "A2", 1, "p"),)}, "moves", 0, "batch", "it held g"),
    ("a move to the same tank", {"moves": (Move(day(1), "A1", "A1", 1),)}, "moves", 0, "to_tank", "comes from"),
    ("a move before the tank existed", {"moves": (Move(day(3), "A1", "A3", 1),)}, "moves", 0, "to_tank",
     "was set up on 2026-09-05, after 2026-09-04"),
    ("a move before the record", {"moves": (Move(day(-1), "A1", "A2", 1),)}, "moves", 0, "on", "outside the record"),
    ("a move after the record", {"moves": (Move(day(21), "A1", "A2", 1),)}, "moves", 0, "on", "outside the record"),
    ("an unknown tank", {"moves": (Move(day(1), "A1", "A9", 1),)}, "moves", 0, "to_tank", "no tank of this room"),
    ("an unknown batch", {"moves": (Move(day(1), "A1", "A2", 1, "guppies"),)}, "moves", 0, "batch", "no batch"),
    ("no fish moved", {"moves": (Move(day(1), "A1", "A2", 0),)}, "moves", 0, "number", "accepted is 1 or more"),
    ("a batch before it came", {"batches": (Batch("g", "guppy", "A1", arrived=day(9), number=3),),
     "moves": (Move(day(6), "A1", "A2", 1, "g"),)}, "moves", 0, "batch", "arrived on 2026-09-10, after 2026-09-07"),
    ("more gone than there are", {"departures": (Departure(day(2), "A2", 6),)}, "departures", 0, "number", "5 fish"),
    ("gone from an empty tank", {"departures": (Departure(day(6), "A3"),)}, "departures", 0, "tank", "held no fish"),
    ("more deaths than fish", {"sightings": (deaths("A2", 3, 4), deaths("A2", 5, 2))}, "sightings", 1, "number",
     "2 deaths, more than the 1 fish that A2 held"),
    ("deaths in an empty tank", {"sightings": (deaths("A3", 6, 1),)}, "sightings", 0, "tank", "held no fish"),
    ("more ill than fish", {"sightings": (signs("A2", 3, 6),)}, "sightings", 0, "number", "6 fish with signs"),
    ("signs in an empty tank", {"sightings": (signs("A3", 6),)}, "sightings", 0, "tank", "held no fish"),
    ("signs before the tank existed", {"sightings": (signs("A3", 2),)}, "sightings", 0, "tank", "was set up on"),
    ("the same signs twice", {"sightings": (signs("A1", 3, 1), signs("A1", 3, 2))}, "sightings", 1, "on", "second"),
    ("signs well after they were seen", {"sightings": (signs("A1", 3, not_before=day(4)),)}, "sightings", 0,
     "not_before", "after on"),
    ("an unknown condition of signs", {"sightings": (signs("A1", 3, condition="itch"),)}, "sightings", 0, "condition",
     "did you mean ich"),
    ("an unknown examination", {"checks": (Check("A1", day(3), True, "skin_scrap"),)}, "checks", 0, "examination",
     "did you mean skin_scrape"),
    ("more examined than fish", {"checks": (Check("A2", day(3), False, "skin_scrape", 9),)}, "checks", 0, "fish",
     "9 fish examined"),
    ("a check twice", {"checks": (Check("A1", day(3), True), Check("A1", day(3), False))}, "checks", 1, "on",
     "another result"),
    ("an unknown condition of a check", {"checks": (Check("A1", day(3), True, condition="xx"),)}, "checks", 0,
     "condition", "no condition"),
    ("a tank name twice", {"tanks": (Tank("A1"), Tank("A2"), Tank("A1"))}, "tanks", 2, "id", "taken already"),
    ("an unknown system", {"tanks": (Tank("A1", "b"), Tank("A2"))}, "tanks", 0, "system", "no system"),
    ("two tanks in one place", {"tanks": (Tank("A1", place=1), Tank("A2", place=1))}, "tanks", 1, "place", "A1 stands"),
    ("no volume", {"tanks": (Tank("A1", volume_l=0.0), Tank("A2"))}, "tanks", 0, "volume_l", "more than 0"),
    ("place 0", {"tanks": (Tank("A1", place=0), Tank("A2"))}, "tanks", 0, "place", "1 or more"),
    ("a tank set up after the record", {"tanks": (Tank("A1"), Tank("A2"), Tank("Q", since=day(30)))}, "tanks", 2,
     "since", "after the end"),
    ("a batch name twice", {"batches": (Batch("g", "x", "A1"), Batch("g", "y", "A2"))}, "batches", 1, "id", "taken"),
    ("a batch in an unknown tank", {"batches": (Batch("g", "x", "A7"),)}, "batches", 0, "tank", "no tank"),
    ("a batch after the record", {"batches": (Batch("g", "x", "A1", arrived=day(21)),)}, "batches", 0, "arrived",
     "after the end"),
    ("a batch in a tank to come", {"batches": (Batch("g", "x", "A3", arrived=day(2)),)}, "batches", 0, "tank",
     "was set up on"),
    ("a batch of none", {"batches": (Batch("g", "x", "A1", number=0),)}, "batches", 0, "number", "1 or more"),
    ("a system twice", {"systems": (System("a"), System("a"))}, "systems", 1, "id", "taken already"),
    ("a contact within a tank", {"contacts": (Contact(day(1), "A1", "A1"),)}, "contacts", 0, "to_tank", "comes from"),
    ("a tool in an unknown tank", {"tools": (Tool("net", ("A1", "B7")),)}, "tools", 0, "tanks", "B7"),
    ("a tool backwards", {"tools": (Tool("net", ("A1", "A2"), day(5), day(4)),)}, "tools", 0, "until", "before since"),
    ("a worker of no tanks", {"workers": (Worker("w", ()),)}, "workers", 0, "tanks", "at least one"),
    ("a watch outside the record", {"watches": (Watch(("A1",), day(-3), day(4)),)}, "watches", 0, "since", "outside"),
    ("a watch backwards", {"watches": (Watch(("A1",), day(5), day(4)),)}, "watches", 0, "until", "before since"),
    ("a watch every 0 days", {"watches": (Watch(("A1",), day(5), day(6), 0),)}, "watches", 0, "every_days", "or more"),
    ("a feed for nobody", {"feeds": {"flakes": ("A8",)}}, "feeds", 0, "tanks", "no tank"),
    ("a name with a semicolon", {"systems": (System("a"), System("b;c"))}, "systems", 1, "id", 'no ";"'),
    ("a name of two lines", {"tanks": (Tank("A1"), Tank("A2"), Tank("A\n3"))}, "tanks", 2, "id", "single line"),
    ("an endless name", {"systems": (System("a", LONG_NAME),)}, "systems", 0, "name", "at most 200"),
    ("a record that ends before it begins", {"last": day(-1)}, "room", None, "last", "before first"),
    ("a record of a century", {"last": dt.date(2126, 9, 1)}, "room", None, "last", "at most 3660"),
    ("a record in antiquity", {"first": dt.date(1, 1, 1)}, "room", None, "first", "1900"),
    ("a room without a name", {"name": ""}, "room", None, "name", "single line"),
    ("an unknown condition", {"condition": "whitespot"}, "room", None, "condition", "no condition of the reference"),
]  # fmt: skip


@pytest.mark.parametrize("case", CLASHES, ids=lambda case: case[0])
def test_what_cannot_be_so_is_said_with_its_row(case: tuple[Any, ...]) -> None:
    _, parts, table, index, column, words = case
    fatal = [clash for clash in check_room(room(**parts), load_reference()) if clash.fatal]
    assert len(fatal) == 1, [clash.message for clash in fatal]
    clash = fatal[0]
    assert (clash.table, clash.index, clash.column) == (table, index, column)
    assert words in clash.message
    assert "\n" not in clash.message


def test_what_is_doubtful_is_a_note() -> None:
    move = Move(day(1), "A1", "A2", 1)
    clashes = check_room(room(moves=(move, move), tools=(Tool("net", ("A1", "A1", "A2")),)))
    assert [(clash.table, clash.index, clash.fatal) for clash in clashes] == [("moves", 1, False), ("tools", 0, False)]


def test_a_wrong_row_is_told_once_and_not_also_for_its_fish() -> None:
    clashes = check_room(room(moves=(Move(day(30), "A9", "A2", 50),)))
    assert {clash.column for clash in clashes} == {"on", "from_tank"}


def test_a_wrong_row_does_not_make_others_wrong() -> None:
    """Fish that a wrong row moved, and deaths it told of, are still there for the rows after it."""
    made = room(
        moves=(Move(day(1), "A1", "A9", 9), Move(day(30), "A1", "A2", 9), Move(day(2), "A1", "A2", 8)),
        sightings=(deaths("A2", 1, 4), deaths("A2", 1, 5), deaths("A2", 2, 9), deaths("A7", 1, 2)),
    )
    fatal = {(clash.table, clash.index) for clash in check_room(made) if clash.fatal}
    assert fatal == {("moves", 0), ("moves", 1), ("sightings", 1), ("sightings", 3)}


def test_the_demonstration_is_as_it_should_be() -> None:
    made = demo_room()
    assert check_room(made, load_reference()) == ()
    assert len(made.tanks) == 42
    assert [sum(tank.system == system.id for tank in made.tanks) for system in made.systems] == [12, 12, 12]
    stock = stock_in_time(made)
    assert [stock.number(tank, made.last) for tank in ("A4", "A9", "Q2", "C7")] == [19, 4, 0, 22]


# --- files ------------------------------------------------------------------------------------------------------------

text = st.text(st.characters(categories=("L", "N", "P", "S"), exclude_characters=";"), min_size=1, max_size=8) | (
    st.sampled_from(["tank 7", "0", "yes", "2026-10-03", 'a "b"', "a,b", "a\\nb", "#1", "=1+1", "µ", "1.50", "鱼"])
)


@st.composite
def rooms(draw: st.DrawFn) -> Room:
    """Rooms in which nothing is impossible, with odd names and everything optional left out or there."""
    names = draw(st.lists(text, min_size=2, max_size=5, unique=True))
    maybe_day = st.none() | st.dates(DAY, day(20))
    number = st.none() | st.integers(1, 99)
    tank = st.sampled_from(names)
    some_tanks = st.lists(tank, min_size=1, max_size=3, unique=True).map(tuple)
    return Room(
        draw(text),
        DAY,
        day(20),
        draw(st.none() | st.just("ich")),
        systems=(System("s", draw(text | st.just(""))),),
        tanks=tuple(
            Tank(name, draw(st.sampled_from(["s", None])), draw(st.none() | text), draw(number), None, draw(volumes))
            for name in names
        ),
        batches=tuple(
            Batch(f"b{name}", draw(text), name, draw(text | st.just("")), "", draw(maybe_day)) for name in names
        ),
        contacts=(Contact(draw(st.dates(DAY, day(20))), names[0], names[1], draw(st.sampled_from(["net", "other"]))),),
        tools=(Tool(draw(text), draw(some_tanks), draw(maybe_day)),),
        workers=(Worker(draw(text), draw(some_tanks)),),
        watches=(Watch(draw(some_tanks), day(2), day(9), draw(st.integers(1, 7))),),
        checks=(Check(names[0], day(20), draw(st.booleans()), "skin_scrape", draw(number)),),
        feeds=draw(st.dictionaries(text, some_tanks, max_size=2)),
    )


volumes = st.none() | st.floats(0.1, 1e6)


@settings(max_examples=40, deadline=None)
@given(made=rooms())
def test_a_room_comes_back_as_it_was_written(tmp_path_factory: pytest.TempPathFactory, made: Room) -> None:
    folder = tmp_path_factory.mktemp("room")
    for target in (folder / "room.toml", folder / "tables"):
        write_room(made, target)
        assert read_room(target) == made
    assert {one.name for one in (folder / "tables").iterdir()} == {"room.toml", *(f"{table}.csv" for table in TABLES)}


def test_writing_again_replaces_what_was_there(tmp_path: Path) -> None:
    write_room(demo_room(), tmp_path / "r")
    smaller = structs.replace(demo_room(), contacts=(), checks=())
    write_room(smaller, tmp_path / "r")
    assert read_room(tmp_path / "r") == smaller


def test_what_cannot_be_so_is_not_written(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="moves row 1, number: is 11"):
        write_room(room(moves=(Move(day(1), "A1", "A2", 11),)), tmp_path / "r")
    assert not (tmp_path / "r").exists()
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="is a file"):
        write_room(room(), tmp_path / "file")


HEAD = 'format = 1\nname = "r"\nfirst = 2026-09-01\nlast = 2026-09-21\n'
TANKS = '[[tanks]]\nid = "A1"\n[[tanks]]\nid = "A2"\n'

BAD_TOML = [
    ("", "room.toml: format: is missing"),
    ("format = 2", "format: is 2"),
    ("format = 1\nname", "is not valid TOML"),
    ("format = 1\nformat = 1", "stands twice"),
    ("a." * 3000 + "b = 1", "nested too deeply"),
    ('format = 1\nname = "r"\nfirst = "2026-09-01"\nlast = 2026-09-21', "first: is \"2026-09-01\"; accepted is a date"),
    ('format = 1\nname = "r"\nfirst = 2026-09-01T10:00:00\nlast = 2026-09-21', "first: is 2026-09-01"),
    ("format = 1\nfirst = 2026-09-01\nlast = 2026-09-21", "name: is missing"),
    (HEAD + "contacs = []", "contacs: is no key of a room file; did you mean contacts?"),
    (HEAD + 'tanks = "A1"', "tanks: is \"A1\"; accepted are rows"),
    (HEAD + "condition = 3", "condition: is 3"),
    (HEAD + TANKS + '[[moves]]\non = "soon"\nfrom_tank = "A1"\nto_tank = "A2"', "moves row 1, on: is \"soon\""),
    (HEAD + TANKS + "[[moves]]\non = 2026-09-02\nfrom_tank = 'A1'", "moves row 1, to_tank: is missing"),
    (HEAD + TANKS + "[[moves]]\non = 2026-09-02\nfrom_tank = 'A1'\nto_tank = 'A2'\nhow = 'net'",
     "moves row 1, how: is no column of moves"),
    (HEAD + "[[tanks]]\nid = 'A1'\nvolume_l = nan", "tanks row 1, volume_l: is nan"),
    (HEAD + "[[tanks]]\nid = 'A1'\nrow = 1.5", "tanks row 1, row: is 1.5; accepted is a whole number"),
    (HEAD + TANKS + "[[tools]]\nid = 'n'\ntanks = 'A1;A3'", "tools row 1, tanks: is \"A3\""),
    (HEAD + TANKS + "[[feeds]]\nid = 'f'\ntanks = ['A1']\n[[feeds]]\nid = 'f'\ntanks = ['A2']",
     "feeds row 2, id: is \"f\", which is taken already"),
]  # fmt: skip


@pytest.mark.parametrize(("content", "words"), BAD_TOML, ids=range(len(BAD_TOML)))
def test_bad_room_files_name_file_row_and_field(tmp_path: Path, content: str, words: str) -> None:
    path = tmp_path / "room.toml"
    path.write_text(content, "utf-8")
    with pytest.raises(InputError) as refused:
        read_room(path, load_reference())
    assert words in str(refused.value)
    assert str(path) in str(refused.value)
    assert "\n" not in str(refused.value)


def test_the_short_form_of_feeds(tmp_path: Path) -> None:
    path = tmp_path / "room.toml"
    path.write_text(HEAD + TANKS + '[feeds]\nflakes = ["A1", "A2"]\n', "utf-8")
    assert read_room(path).feeds == {"flakes": ("A1", "A2")}


def folder(tmp_path: Path, **tables: str) -> Path:
    target = tmp_path / "room"
    target.mkdir()
    (target / "room.toml").write_text(HEAD, "utf-8")
    (target / "tanks.csv").write_text("id\nA1\nA2\n", "utf-8")
    for name, content in tables.items():
        (target / f"{name}.csv").write_text(content, "utf-8")
    return target


def test_every_bad_row_of_a_folder_is_told_by_its_line(tmp_path: Path) -> None:
    target = folder(
        tmp_path,
        batches="id,species,tank,number\ng,guppy,A1,10\n\np,platy,A5,3\n",
        moves="on,from_tank,to_tank,number\n2026-09-02,A1,A2,4\n2026-09-02,A1,A2,7\n2 Sept,A1,A2,1\n",
    )
    problems = [str(problem) for problem in check_room_file(target)]
    assert problems == [f'{target / "moves.csv"}: row 4, on: is "2 Sept"; accepted is a date such as 2026-10-03']
    (target / "moves.csv").write_text("on,from_tank,to_tank,number\n2026-09-02,A1,A2,4\n2026-09-02,A1,A2,7\n")
    problems = [str(problem) for problem in check_room_file(target)]
    assert problems[0].startswith(f'{target / "batches.csv"}: row 4, tank: is "A5", which is no tank of this room')
    assert problems[1].startswith(f"{target / 'moves.csv'}: row 3, number: is 7, more than the 6 fish")
    assert len(problems) == 2


BAD_CSV = [
    ("", "is empty"),
    ("on,from,to_tank\n", 'row 1: "from" is no column of moves; its columns are on, from_tank'),
    ("on,on,to_tank\n", 'names the column "on" twice'),
    ("on,from_tank,to_tank\n2026-09-02,A1,A2,,x\n", "row 2: has 5 cells for 3 columns"),
    ('on,from_tank,to_tank\n"2026', "is not valid CSV"),
    ("on,from_tank,to_tank\n2026-09-02,A1,\n", "row 2, to_tank: is missing"),
]


@pytest.mark.parametrize(("content", "words"), BAD_CSV, ids=range(len(BAD_CSV)))
def test_bad_csv(tmp_path: Path, content: str, words: str) -> None:
    with pytest.raises(InputError) as refused:
        read_room(folder(tmp_path, moves=content))
    assert words in str(refused.value)
    assert "moves.csv" in str(refused.value)


def test_folders_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no room\.toml in it"):
        read_room(tmp_path)
    with pytest.raises(InputError, match="no such file"):
        read_room(tmp_path / "nowhere")
    target = folder(tmp_path)
    (target / "room.toml").write_text(HEAD + TANKS, "utf-8")
    with pytest.raises(InputError, match=r"tanks: stands here and in tanks\.csv"):
        read_room(target)
    (target / "room.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match="UTF-8"):
        read_room(target)
    (target / "room.toml").write_text(HEAD, "utf-8")
    (target / "move.csv").write_text("x\n", "utf-8")
    (note,) = check_room_file(target)
    assert "did you mean moves.csv" in str(note)
    assert not note.fatal


def test_hundreds_of_problems_end_with_saying_so(tmp_path: Path) -> None:
    lines = "".join(f"2026-09-02,A1,B{n}\n" for n in range(300))
    problems = check_room_file(folder(tmp_path, moves="on,from_tank,to_tank\n" + lines))
    assert len(problems) == 201
    assert "more wrong than these 200" in problems[-1].message
    many = check_room(room(moves=tuple(Move(day(1), "A1", f"B{n}") for n in range(300))))
    assert "more wrong than these 200" in many[-1].message


def test_files_that_are_too_large_or_no_text(tmp_path: Path) -> None:
    target = folder(tmp_path, moves="on,from_tank,to_tank\n" + "\n" * 8_100_000)
    with pytest.raises(InputError, match="too large; a table has at most 8 MB"):
        read_room(target)
    (target / "moves.csv").write_bytes(b"on\x00")
    with pytest.raises(InputError, match="is not text"):
        read_room(target)


# --- spreadsheets -----------------------------------------------------------------------------------------------------

SHEET = [
    ["Date", "From", "To", "Number", "Batch", "Remark"],
    [dt.datetime(2026, 9, 30), "C7", "C9", 2.0, None, "fine"],
    [dt.datetime(2026, 9, 30), "C77", "C9", 2, None, None],
    [dt.date(2026, 9, 30), "A8", "A1", 1, None, None],
    [None, None, None, None, None, None],
    ["30.9.2026", "C7", "C9", 1, None, None],
    [dt.date(2026, 9, 30), "C7", "C9", 40, None, None],
    [dt.date(2026, 8, 1), "C7", "C9", "two", None, None],
]
EXPECTED = {3: "C77", 4: "held no fish", 6: "30.9.2026", 7: "40, more than the", 8: '"two"'}


def write_xlsx(path: Path, rows: list[list[Any]], title: str = "moves") -> Path:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active.title = title
    for row in rows:
        book.active.append(row)
    book.save(path)
    return path


def test_a_sheet_is_looked_at_row_by_row(tmp_path: Path) -> None:
    before = demo_room()
    path = write_xlsx(tmp_path / "sheet.xlsx", SHEET)
    seen = preview_sheet(path, "moves", before, reference=load_reference())
    assert [row.row for row in seen.good] == [2]
    assert {row.row for row in seen.bad} == set(EXPECTED)
    for row in seen.bad:
        assert EXPECTED[row.row] in " ".join(row.why)
    assert seen.passed_over == ("Remark",)
    assert seen.taken["From"] == "from_tank"
    after = seen.into(before)
    assert after.moves[-1] == Move(dt.date(2026, 9, 30), "C7", "C9", 2)
    assert len(rows_of(after, "moves")) == len(before.moves) + 1
    assert check_room(after) == ()


def test_csv_and_xlsx_say_the_same(tmp_path: Path) -> None:
    lines = ["Date;From;To;Number;Batch;Remark"]
    for row in SHEET[1:]:
        cells = [cell.date() if isinstance(cell, dt.datetime) else cell for cell in row]
        lines.append(";".join("" if cell is None else str(cell) for cell in cells))
    path = tmp_path / "sheet.csv"
    path.write_text("\n".join(lines), "utf-8-sig")
    made = demo_room()
    by_csv = preview_sheet(path, "moves", made)
    by_xlsx = preview_sheet(write_xlsx(tmp_path / "sheet.xlsx", SHEET), "moves", made)
    assert by_csv.good == by_xlsx.good
    assert [(row.row, row.why) for row in by_csv.bad] == [(row.row, row.why) for row in by_xlsx.bad]


def test_more_deaths_than_fish_and_events_before_the_tank(tmp_path: Path) -> None:
    made = room()
    rows = [["tank", "on", "kind", "number"], ["A2", day(6), "deaths", 3], ["A2", day(7), "deaths", 3],
            ["A3", day(2), "signs", None], ["A1", day(3), "Signs", 1]]  # fmt: skip
    seen = preview_sheet(write_xlsx(tmp_path / "s.xlsx", rows), "sightings", made)
    assert {row.row: row.why[0] for row in seen.bad} == {
        3: "number is 3 deaths, more than the 2 fish that A2 held on 2026-09-08",
        4: "tank is A3, which was set up on 2026-09-05, after 2026-09-03",
    }
    assert [row.row for row in seen.good] == [2, 5]


def test_hundreds_of_bad_rows_are_all_named(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    path.write_text("date,from,to\n" + "2026-09-03,A1,B1\n" * 500, "utf-8")
    seen = preview_sheet(path, "moves", room())
    assert (len(seen.bad), seen.good) == (500, ())


def test_a_feed_comes_in_once(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    path.write_text("name,tanks\nflakes,A1\npeas,A1;A2\npeas,A2\ncress,A9\n", "utf-8")
    seen = preview_sheet(path, "feeds", room(feeds={"flakes": ("A2",)}))
    assert [row.row for row in seen.good] == [3]
    assert [(row.row, row.why[0].split(",")[0]) for row in seen.bad] == [
        (2, 'id is "flakes"'), (4, 'id is "peas"'), (5, 'tanks is "A9"')]  # fmt: skip


def test_new_rows_that_make_old_ones_impossible_are_noted(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    path.write_text("date,from,to\n2026-09-03,A1,A2\n", "utf-8")
    seen = preview_sheet(path, "moves", room(sightings=(deaths("A1", 5, 2),)))
    assert "sightings row 1 of the room" in seen.notes[0]


def test_sheets_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = demo_room()
    path = write_xlsx(tmp_path / "sheet.xlsx", SHEET)
    with pytest.raises(InputError, match="did you mean moves"):
        preview_sheet(path, "move", made)
    with pytest.raises(InputError, match="did you mean moves"):
        preview_sheet(path, "moves", made, sheet="move")
    with pytest.raises(InputError, match="no column tank"):
        preview_sheet(path, "sightings", made)
    with pytest.raises(InputError, match="no such file"):
        preview_sheet(tmp_path / "none.xlsx", "moves", made)
    (tmp_path / "text.xlsx").write_text("no zip")
    with pytest.raises(InputError, match="no XLSX file"):
        preview_sheet(tmp_path / "text.xlsx", "moves", made)
    with zipfile.ZipFile(tmp_path / "zip.xlsx", "w") as packed:
        packed.writestr("x", "y")
    with pytest.raises(InputError, match="no XLSX file that can be read"):
        preview_sheet(tmp_path / "zip.xlsx", "moves", made)
    with zipfile.ZipFile(tmp_path / "bomb.xlsx", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b"0" * 60_000_000)
    with pytest.raises(InputError, match="unpacks to more than"):
        preview_sheet(tmp_path / "bomb.xlsx", "moves", made)
    with pytest.raises(InputError, match="save the sheet as XLSX or CSV"):
        preview_sheet(tmp_path / "old.xls", "moves", made)
    with pytest.raises(InputError, match="only an XLSX file has"):
        preview_sheet(tmp_path / "s.csv", "moves", made, sheet="moves")
    write_xlsx(tmp_path / "empty.xlsx", [])
    with pytest.raises(InputError, match="is empty; its first row names the columns"):
        preview_sheet(tmp_path / "empty.xlsx", "moves", made)
    write_xlsx(tmp_path / "twice.xlsx", [["date", "date", "from", "to"]])
    with pytest.raises(InputError, match='names the column "date" twice'):
        preview_sheet(tmp_path / "twice.xlsx", "moves", made)
    (tmp_path / "long.csv").write_text("date,from,to\n" + "2026-09-03,A1,A2\n" * 20_001, "utf-8")
    with pytest.raises(InputError, match="accepted are at most 20000"):
        preview_sheet(tmp_path / "long.csv", "moves", made)
    monkeypatch.setitem(__import__("sys").modules, "openpyxl", None)
    with pytest.raises(InputError, match=r"pip install 'wetmount\[xlsx\]'"):
        preview_sheet(path, "moves", made)


# --- its page ---------------------------------------------------------------------------------------------------------

PAGE = (Path(__file__).parents[1] / "docs" / "room-file.md").read_text("utf-8")


@pytest.mark.parametrize("table", TABLES)
def test_the_page_names_every_column(table: str) -> None:
    (row,) = [line for line in PAGE.splitlines() if line.startswith(f"| `{table}` |")]
    said = re.sub(r"\([^)]*\)", "", row.split("|")[3])
    named = [part.strip() for part in said.split(",")]
    assert named == [f"**{column}**" if column in required(table) else column for column in columns(table)]


def test_the_head_on_the_page_is_that_of_the_demonstration(tmp_path: Path) -> None:
    (head,) = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    (tmp_path / "room.toml").write_text(head, "utf-8")
    made, demo = read_room(tmp_path, load_reference()), demo_room()
    assert (made.name, made.first, made.last, made.condition) == (demo.name, demo.first, demo.last, demo.condition)
