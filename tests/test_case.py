"""The case file: what is read, what is refused and in which words, and that nothing is lost on the way back."""

# ruff: noqa: E501  (a table of inputs and messages is read across, one case a line)

from __future__ import annotations

import json
import re
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import wetmount
from wetmount.case import Case, looks_of
from wetmount.case_check import MAX_PROBLEMS, answerable, host_group_of
from wetmount.case_template import new_case_template
from wetmount.casefile import (
    MAX_BYTES,
    case_to_dict,
    check_case,
    check_case_text,
    json_schema,
    read_case,
    read_case_text,
    write_case_json,
)
from wetmount.errors import InputError
from wetmount.reference import load_reference

REFERENCE = load_reference()
EXAMPLES = sorted((Path(wetmount.__file__).parent / "examples").glob("*.toml"))
HEAD = 'format = 1\n[host]\ngroup = "koi"\n'


def toml(value: Any, top: bool = True) -> str:
    """A minimal TOML writer for tests: every table inline, so that it shares nothing with how people write."""
    if isinstance(value, dict):
        pairs = [f"{json.dumps(key, ensure_ascii=False)} = {toml(one, False)}" for key, one in value.items()]
        return "\n".join(pairs) if top else "{" + ", ".join(pairs) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml(one, False) for one in value) + "]"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def refused(text: str, kind: Any = "toml") -> str:
    with pytest.raises(InputError) as caught:
        read_case_text(text, kind, "pond.toml", REFERENCE)
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith("pond.toml: ")
    return message.removeprefix("pond.toml: ")


def test_the_smallest_file_is_one_look() -> None:
    case = read_case_text(
        'format = 1\n[host]\nspecies = "Koi"\n[findings]\nskin_costia = "few"\n'
        'flashing = {level = "frequent", sure = "doubtful"}\n[readings]\nnitrite = "0.3 mg/L NO2"\nph = 7.4\n',
        "toml", "k.toml", REFERENCE,
    )  # fmt: skip
    (look,) = looks_of(case)
    assert look.findings["skin_costia"] == "few"
    assert look.readings == {"nitrite": "0.3 mg/L NO2", "ph": 7.4}
    assert host_group_of(case, REFERENCE) == "koi"


@pytest.mark.parametrize("name", ["Paracheirodon innesi", "neon tetra", "NEON TETRA", "paracheirodon innesi"])
def test_species_by_scientific_or_common_name(name: str) -> None:
    case = read_case_text(f'format = 1\nhost = {{species = "{name}"}}', "toml", "t", REFERENCE)
    assert host_group_of(case, REFERENCE) == REFERENCE.hosts["Paracheirodon innesi"].host_group


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_examples_have_no_problem_and_follow_the_schema(path: Path) -> None:
    assert check_case(path, REFERENCE) == ()
    data = case_to_dict(read_case(path, REFERENCE))
    assert list(jsonschema.Draft202012Validator(json_schema(REFERENCE)).iter_errors(json.loads(json.dumps(data)))) == []


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_examples_survive_json_and_toml(path: Path, tmp_path: Path) -> None:
    case = read_case(path, REFERENCE)
    target = tmp_path / "case.json"
    write_case_json(case, target)
    assert read_case(target, REFERENCE) == case
    assert read_case_text(toml(case_to_dict(case)), "toml", "t", REFERENCE) == case
    assert [one.name for one in tmp_path.iterdir()] == ["case.json"]


# --- any case ---------------------------------------------------------------------------------------------------------

words = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=12)


@st.composite
def findings(draw: st.DrawFn, ids: list[str]) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for id in draw(st.lists(st.sampled_from(ids), unique=True, max_size=4)):
        levels = REFERENCE.findings[id].levels
        level = draw(st.sampled_from(levels))
        record: dict[str, Any] = {"level": level, "sure": draw(st.sampled_from([*REFERENCE.sureness]))}
        if draw(st.booleans()):
            of = draw(st.integers(1, 9))
            record["n_of"] = [0 if level == levels[0] else draw(st.integers(1, of)), of]
        table[id] = draw(st.sampled_from([level, record]))
    return table


@st.composite
def examinations(draw: st.DrawFn) -> dict[str, Any]:
    kind = draw(st.sampled_from([*REFERENCE.examinations]))
    ids = [f.id for f in REFERENCE.findings.values() if f.examination == kind] or ["lethargy"]
    record: dict[str, Any] = {"kind": kind, "findings": draw(findings(ids))}
    record["rest_not_seen"] = draw(st.sampled_from([True, False, "swept"]))
    counts = draw(st.dictionaries(st.sampled_from(["skin_costia", "gill_ich"]), st.integers(0, 500), max_size=2))
    record["slides"] = draw(
        st.sampled_from([[], [{"fields": 10, "counts": counts}], [{"counts": {"gill_ich": [0, 2]}}]])
    )
    if draw(st.booleans()):
        record["fish"] = "1"
    return record


@st.composite
def cases(draw: st.DrawFn) -> dict[str, Any]:
    look = {
        "date": draw(st.dates(date(2020, 1, 1), date(2030, 1, 1))).isoformat(),
        "note": draw(words),
        "findings": draw(findings([*REFERENCE.findings])),
        "readings": draw(
            st.sampled_from(
                [{}, {"ph": 7.1}, {"nitrite": ["0.1 mg/L NO2", {"value": "1 mg/L NO2-N", "time": "09:00"}]}]
            )
        ),
        "examinations": draw(st.lists(examinations(), max_size=3)),
        "numbers": {
            "total": draw(st.integers(10, 99)),
            "sick": draw(st.integers(0, 5)),
            "dead": draw(st.integers(0, 5)),
        },
    }
    return {
        "format": 1,
        "title": draw(words),
        "host": {"group": draw(st.sampled_from([*REFERENCE.host_groups]))},
        "history": draw(
            st.dictionaries(st.sampled_from([*answerable(REFERENCE)]), st.sampled_from(["yes", "no", "not asked"]))
        ),
        "fish": [{"id": "1", "state": "found_dead", "hours_dead": draw(st.floats(0, 99)), "weight": "3.1 g"}],
        "batches": [{"species": draw(words), "number": draw(st.integers(0, 50)), "arrived": "2026-01-01"}],
        "looks": [look],
    }


@settings(max_examples=60, deadline=None)
@given(cases())
def test_any_case_survives_json_and_toml_and_follows_the_schema(data: dict[str, Any]) -> None:
    text = json.dumps(data)
    case = read_case_text(text, "json", "c.json", REFERENCE)
    assert read_case_text(json.dumps(case_to_dict(case)), "json", "c.json", REFERENCE) == case
    assert read_case_text(toml(data), "toml", "c.toml", REFERENCE) == case
    assert read_case_text(toml(case_to_dict(case)), "toml", "c.toml", REFERENCE) == case
    jsonschema.Draft202012Validator(SCHEMA).validate(data)
    jsonschema.Draft202012Validator(SCHEMA).validate(json.loads(json.dumps(case_to_dict(case))))


SCHEMA = json_schema(REFERENCE)

anything = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | words
    | st.sampled_from(["koi", "few", "skin_scrape", "1"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            words
            | st.sampled_from(
                ["host", "group", "looks", "findings", "kind", "examinations", "fields", "n_of", "level"]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@settings(max_examples=100, deadline=None)
@given(st.dictionaries(st.sampled_from([*Case.__struct_fields__]), anything, max_size=8), st.booleans())
def test_whatever_a_file_holds_is_answered_with_sentences(data: dict[str, Any], complete: bool) -> None:
    if complete:
        data = {"looks": [], **data, "format": 1, "host": {"group": "koi"}}
    problems = check_case_text(json.dumps(data), "json", "x.json", REFERENCE)
    for problem in problems:
        assert "\n" not in str(problem)
        assert len(str(problem)) < 2000
    fatal = [problem for problem in problems if problem.fatal]
    if fatal:
        with pytest.raises(InputError) as caught:
            read_case_text(json.dumps(data), "json", "x.json", REFERENCE)
        assert str(caught.value) == str(fatal[0])
    else:
        case = read_case_text(json.dumps(data), "json", "x.json", REFERENCE)
        assert read_case_text(json.dumps(case_to_dict(case)), "json", "x.json", REFERENCE) == case


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=60), st.sampled_from(["toml", "json"]))
def test_any_text_is_answered_with_sentences(text: str, kind: Any) -> None:
    for problem in check_case_text(text, kind, "x", REFERENCE):
        assert "\n" not in str(problem)


# --- bad input: file --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty; the smallest case is format = 1"),
        (b" \n\n", "is empty"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "is not text; a case is a TOML or JSON file in UTF-8"),
        (b"\xff\xd8\xff\xe0JFIF", "is not UTF-8 text (line 1); save it as UTF-8"),
        ('format = 1\ntitle = "Kärpfling"\n'.encode("latin-1"), "is not UTF-8 text (line 2)"),
        ("format = 1\n".encode("utf-16"), "is not text"),
        (b"format = 1\nhost = \n", "is not valid TOML (invalid value (at line 2, column 8))"),
        (b"format = 1\nformat = 1\n", "is not valid TOML (a key stands twice in the same table (at line 2"),
        (b"format = 1\n[host]\ngroup='koi'\n[host]\n", "the table 'host' stands twice"),
        (b"x = " + b"[" * 5000 + b"]" * 5000, "is nested too deeply; a case nests at most 24 levels"),
        (b"x = " + b"[" * 100 + b"]" * 100, "is nested too deeply"),
        (b"x = " + b"9" * 5000, "is not valid TOML"),
        (b"a." * 100_000 + b"a = 1", "is nested too deeply"),
        (b"x = { " + b"'a' . " * 100_000 + b"a = 1 }", "is nested too deeply"),
        (b"[" + b"a." * 100_000 + b"a]", "is nested too deeply"),
    ],
)
def test_files_that_are_no_case(content: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "pond.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_case(path, REFERENCE)
    assert str(caught.value).startswith(f"{path}: ")
    assert words in str(caught.value)
    (problem,) = check_case(path, REFERENCE)
    assert problem.fatal
    assert str(problem) == str(caught.value)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ('{"format": 1,\n "host": }', "is not valid JSON at line 2, column 10 (expecting value)"),
        ('{"format": 1, "format": 1}', "format: stands twice in the same table; each key is accepted once"),
        ('{"format": 1, "host": {"group": "koi", "group": "koi"}}', "group: stands twice"),
        ('{"format": 1, "x": NaN}', "holds NaN, which is no number of JSON"),
        ('{"format": 1, "x": -Infinity}', "holds -Infinity"),
        ("[1, 2]", "holds a list, not a case; the smallest case is"),
        ("3", "holds a number, not a case"),
        ("[" * 100_000, "is nested too deeply"),
        ('{"x":' * 100 + "1" + "}" * 100, "is nested too deeply"),
        ('{"format": ' + "9" * 5000 + "}", "is not valid JSON"),
    ],
)
def test_json_that_is_no_case(content: str, words: str) -> None:
    assert words in refused(content, "json")


def test_a_folder_a_missing_file_and_a_pipe_are_refused(tmp_path: Path) -> None:
    import os

    os.mkfifo(tmp_path / "pipe.toml")
    for name, words in (("", "is a folder"), ("none.toml", "there is no such file"), ("pipe.toml", "is not a regular")):
        with pytest.raises(InputError, match=words):
            read_case(tmp_path / name, REFERENCE)


def test_a_large_file_is_refused_by_its_size_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "large.json"
    with path.open("wb") as file:
        file.truncate(50_000_000)  # sparse: were it read, the message would be about NUL bytes
    with pytest.raises(InputError, match=r"is too large \(50\.0 MB\); a case file has at most 4 MB"):
        read_case(path, REFERENCE)
    path.write_text("#" * MAX_BYTES)
    with pytest.raises(InputError, match="not valid JSON"):
        read_case(path, REFERENCE)


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_bytes(b"\xef\xbb\xbf" + HEAD.replace("\n", "\r\n").encode())
    assert read_case(path, REFERENCE).host.group == "koi"


def test_json_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    case = read_case_text(HEAD, "toml", "t", REFERENCE)
    with pytest.raises(InputError, match="cannot be written"):
        write_case_json(case, tmp_path / "no such folder" / "case.json")
    assert list(tmp_path.iterdir()) == []


# --- bad input: content -----------------------------------------------------------------------------------------------

LOOK = HEAD + "[[looks]]\n"
SCRAPE = LOOK + '[[looks.examinations]]\nkind = "skin_scrape"\n'


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[host]\ngroup = 'koi'", "format: is missing; a case file begins with format = 1"),
        ("format = 2\n", "format: is 2; this version of wetmount reads format 1: upgrade it"),
        ("format = 2\nfuture = 1\n[host]\nkind = 3", "format: is 2; this version of wetmount reads format 1: upgrade it"),
        ("format = '1'", 'format: is "1"; format = 1 is accepted'),
        ("format = true", "format: is true; format = 1 is accepted"),
        ("format = 0", "format: is 0; format = 1 is accepted"),
        ("format = 1", "host: is missing; accepted is a table"),
        ("format = 1\nhost = {}", 'host: names neither; accepted is species = "…" or group = "…"'),
        ("format = 1\nhost = 'koi'", 'host: is "koi"; accepted is a table'),
        ("format = 1\n[host]\ngruop = 'koi'", "host.gruop: is no key of a case file; did you mean group?"),
        ("format = 1\n[host]\ngroup = 'goldfsh'", 'host.group: "goldfsh" is no host group; did you mean goldfish?'),
        ("format = 1\n[host]\nspecies = 'neon tetr'", '"neon tetr" is not in the reference; did you mean neon tetra'),
        ("format = 1\n[host]\nspecies = 'zzzz'", 'host.species: "zzzz" is not in the reference; add group, one of fish'),
        ("format = 1\n[host]\nspecies = 'koi'\ngroup = 'discus'", 'host.group: is "discus", but koi belongs to koi'),
        (HEAD + "[findings]\nskin_costai = 'few'", 'findings.skin_costai: "skin_costai" is no finding; did you mean skin_costia'),
        (HEAD + "[findings]\nqqqqqq = 'few'", "findings.qqqqqq: \"qqqqqq\" is no finding; `wetmount case new` lists them"),
        (HEAD + "[findings]\nskin_costia = 'mild'", 'findings.skin_costia: is "mild"; accepted levels are absent, few, many'),
        (HEAD + "[findings]\nskin_costia = 2", "findings.skin_costia: is 2; accepted is text of at most 200 characters or a table"),
        (HEAD + "[findings]\nskin_costia = {level='few', sure='maybe'}", 'skin_costia.sure: is "maybe"; accepted are sure'),
        (HEAD + "[findings]\nskin_costia = {sure='sure'}", "findings.skin_costia.level: is missing; accepted is text"),
        (HEAD + "[findings]\nskin_costia = {level='few', n_of=[3, 2]}", "skin_costia.n_of: is [3, 2]; accepted is [fish it"),
        (HEAD + "[findings]\nskin_costia = {level='few', n_of=[0, 2]}", "n_of: says it was seen in 0 of 2 fish, but the level"),
        (HEAD + "[findings]\nskin_costia = {level='few', n_of=[1]}", "n_of: is a list; accepted is two whole numbers like [2, 3]"),
        (HEAD + "[history]\nnew_system = true", 'history.new_system: is true; accepted is "no" or "not asked" or "yes"'),
        (HEAD + "[history]\nnew_sistem = 'yes'", '"new_sistem" is no history question; did you mean new_system?'),
        (HEAD + "[history]\nlethargy = 'yes'", '"lethargy" is no history question'),
        (HEAD + "[numbers]\ntotal = -3", "numbers.total: is -3; accepted is a whole number from 0 to 100000000"),
        (HEAD + "[numbers]\ntotal = 3.5", "numbers.total: is 3.5; accepted is a whole number from 0"),
        (HEAD + "[numbers]\ntotal = 3\nsick = 4", "numbers.total: is 3, fewer than sick and dead together (4)"),
        (HEAD + "[numbers]\ndead = 1\ndead_today = 2", "numbers.dead_today: is 2, more than dead (1), which counts them too"),
        (HEAD + "[readings]\nnitrite = '0.8'", 'readings.nitrite: "0.8" has no unit'),
        (HEAD + "[readings]\nnitrite = 0.8", 'readings.nitrite: "0.8" has no unit'),
        (HEAD + "[readings]\nnitrite = '0.8 mg/L'", 'readings.nitrite: "0.8 mg/L" is not clear: say what the kit reports'),
        (HEAD + "[readings]\nph = '15'", 'readings.ph: "15" is not possible for pH; accepted: 0 to 14'),
        (HEAD + "[readings]\ntemperature = '80 C'", 'readings.temperature: "80 C" is not possible'),
        (HEAD + "[readings]\nnitrite = '-1 mg/L NO2'", "is not possible for nitrite; accepted: 0 to"),
        (HEAD + "[readings]\nph = nan", "readings.ph: is nan; accepted is text of at most 60 characters or a number or a table"),
        (HEAD + "[readings]\nph = [7.1, '70']", 'readings.ph[1]: "70" is not possible for pH'),
        (HEAD + "[readings]\nph = {value = 7.1, time = 'noon'}", 'readings.ph.time: is "noon"; accepted is a time of day like "14:10"'),
        (HEAD + "[readings]\nnitrit = '1 mg/L NO2'", '"nitrit" is no water parameter; did you mean nitrite'),
        (HEAD + "[[looks]]\n[findings]\nskin_costia = 'few'", "findings: stands beside looks; findings at the top are short for"),
        ("format = 1\ndate = 'yesterday'\nhost = {group='koi'}", 'date: is "yesterday"; accepted is a date like 2026-10-03'),
        ("format = 1\ndate = 2026-10-03T10:00:00\nhost = {group='koi'}", "date: is \"2026-10-03T10:00:00\"; accepted is a date"),
        (SCRAPE + "[looks.examinations.findings]\nskin_costai = 'few'", "looks[0].examinations[0].findings.skin_costai: "),
        (LOOK + "[[looks.examinations]]\nkind = 'skin_scrap'", 'kind: "skin_scrap" is no examination; did you mean skin_scrape?'),
        (SCRAPE + "fish = '1'", 'examinations[0].fish: "1" is no fish of this case; there is none yet'),
        (SCRAPE + "body_state = 'rotten'", 'body_state: "rotten" is no body state; accepted are alive, fresh_killed'),
        (SCRAPE + "rest_not_seen = 'yes'", 'rest_not_seen: is "yes"; accepted is'),
        (SCRAPE + "slides = [{fields = 0}]", "slides[0].fields: is 0; accepted is a whole number from 1 to 10000"),
        (SCRAPE + "slides = [{counts = {skin_costia = 3}}]", "slides[0].fields: is missing; accepted is the number of fields"),
        (SCRAPE + "slides = [{fields = 3, counts = {skin_costia = -1}}]", "counts.skin_costia: is -1; accepted is a whole number"),
        (SCRAPE + "slides = [{fields = 3, counts = {skin_costia = [1, 2]}}]", "counts.skin_costia: lists 2 fields, but fields = 3"),
        (SCRAPE + "slides = [{counts = {skin_costia = []}}]", "counts.skin_costia: is an empty list"),
        (SCRAPE + "slides = [{fields = 3, counts = {ulcers_skin = 1}}]", '"ulcers_skin" is no finding that is counted'),
        (HEAD + "[[fish]]\nid = '1'\nstate = 'alive'\nhours_dead = 2", "fish[0].hours_dead: is given for a fish that was alive"),
        (HEAD + "[[fish]]\nid = '1'\nstate = 'found_dead'\nkilled_by = 'x'", "fish[0].killed_by: is given for a fish that was not"),
        (HEAD + "[[fish]]\nid = '1'\n[[fish]]\nid = '1'", 'fish[1].id: "1" stands twice; each fish has its own id'),
        (HEAD + "[[fish]]\nid = '1'\nlength = '6'", 'fish[0].length: "6" has no unit'),
        (HEAD + "[[fish]]\nid = '1'\nhours_dead = -1", "fish[0].hours_dead: is -1; accepted is a number from 0 to 10000"),
        (HEAD + "[[fish]]\nid = '1'\nhours_dead = inf", "fish[0].hours_dead: is inf; accepted is a number from 0 to 10000"),
        (HEAD + "[[fish]]\nid = '1'\nstate = 'asleep'", 'fish[0].state: is "asleep"; accepted is "alive" or "found_dead" or "killed"'),
        ("format = 1\nred_flags = ['power_failur']\nhost = {group='koi'}", 'red_flags[0]: "power_failur" is no red flag; did you'),
        ("format = 1\nfish = 3\nhost = {group='koi'}", "fish: is 3; accepted is a list"),
    ],
)  # fmt: skip
def test_content_that_cannot_be_so(text: str, expected: str) -> None:
    assert expected in refused(text)


def test_all_problems_are_gathered_and_the_rest_is_still_checked() -> None:
    text = (
        'format = 1\ntitel = "x"\n[host]\ngroup = "koi"\n[numbers]\ntotal = -1\n[history]\nnew_system = "perhaps"\n'
        '[findings]\nskin_costai = "few"\nlethargy = "lots"\n[readings]\nnitrite = "1"\n'
    )
    problems = check_case_text(text, "toml", "k.toml", REFERENCE)
    assert all(problem.fatal for problem in problems)
    assert {problem.field for problem in problems} == {
        "titel", "numbers.total", "history.new_system", "findings.skin_costai", "findings.lethargy", "readings.nitrite",
    }  # fmt: skip


def test_so_many_problems_and_no_more() -> None:
    for wrong in ('lethargy{} = "mild"', "x{} = 3"):
        lines = "\n".join(wrong.format(number) for number in range(5000))
        problems = check_case_text(HEAD + "[findings]\n" + lines, "toml", "k.toml", REFERENCE)
        assert len(problems) == MAX_PROBLEMS + 1
        assert problems[-1].message == "may have more wrong than these 200 problems; mend them first"


def test_notes_do_not_stop_a_case() -> None:
    text = SCRAPE + '[looks.examinations.findings]\nspleen_enlarged = "mild"\n'
    (note,) = check_case_text(text, "toml", "k.toml", REFERENCE)
    assert not note.fatal
    assert note.message == "belongs to dissection and stands under skin_scrape"
    assert read_case_text(text, "toml", "k.toml", REFERENCE).looks


def test_messages_stay_on_one_line_and_short() -> None:
    message = refused(HEAD + '[findings]\n"a\\nb' + "c" * 5000 + '" = "few"')
    assert len(message) < 400


def test_null_of_json_leaves_a_key_out() -> None:
    text = '{"format": 1, "title": null, "host": {"group": "koi", "species": null}, "numbers": {"total": null}}'
    case = read_case_text(text, "json", "k.json", REFERENCE)
    assert case.title is None
    assert "title" not in case_to_dict(case)


# --- schema and template ----------------------------------------------------------------------------------------------


def test_the_schema_is_one_and_refuses_what_the_reader_refuses() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    validator = jsonschema.Draft202012Validator(SCHEMA)
    good: dict[str, Any] = {"format": 1, "host": {"group": "koi"}}
    assert validator.is_valid(good)
    for bad in (
        {"host": {"group": "koi"}},
        {"format": 2, "host": {"group": "koi"}},
        {"format": 1, "host": {}},
        {"format": 1, "host": {"group": "goldfsh"}},
        {**good, "titel": "x"},
        {**good, "findings": {"skin_costai": "few"}},
        {**good, "findings": {"skin_costia": "mild"}},
        {**good, "findings": {"skin_costia": {"level": "mild"}}},
        {**good, "findings": {"skin_costia": {"level": "few", "sure": "maybe"}}},
        {**good, "history": {"new_system": True}},
        {**good, "history": {"lethargy": "yes"}},
        {**good, "readings": {"nitrit": "1 mg/L NO2"}},
        {**good, "numbers": {"total": -1}},
        {**good, "red_flags": ["power_failur"]},
        {**good, "looks": [{"examinations": [{"kind": "skin_scrap"}]}]},
        {**good, "looks": [{"examinations": [{"kind": "skin_scrape", "body_state": "rotten"}]}]},
        {**good, "looks": [{"examinations": [{"kind": "skin_scrape", "slides": [{"counts": {"lethargy": 1}}]}]}]},
    ):
        assert not validator.is_valid(bad), bad
        with pytest.raises(InputError):
            read_case_text(json.dumps(bad), "json", "x.json", REFERENCE)


def test_the_schema_knows_every_finding_with_its_levels() -> None:
    validator = jsonschema.Draft202012Validator(SCHEMA)
    every = {id: row.levels[-1] for id, row in REFERENCE.findings.items()}
    validator.validate({"format": 1, "host": {"group": "koi"}, "findings": every})


def test_the_template_is_valid_as_it_stands_and_with_every_line_in_use() -> None:
    template = new_case_template(REFERENCE)
    assert check_case_text(template, "toml", "t", REFERENCE) == ()
    assert tomllib.loads(template) == {"format": 1, "host": {"group": "freshwater"}}
    in_use = re.sub(r"^# ", "", template, flags=re.MULTILINE)
    assert check_case_text(in_use, "toml", "t", REFERENCE) == ()
    data = tomllib.loads(in_use)
    assert {*data} == {*Case.__struct_fields__} - {"note", "findings", "readings"}  # the last two are the shorthand


def test_the_template_names_every_finding_and_keeps_the_order_of_work() -> None:
    template = new_case_template(REFERENCE)
    assert all(re.search(rf"\b{id}\b", template) for id in REFERENCE.findings)
    kinds = re.findall(r'kind = "(\w+)"', template)
    orders = [REFERENCE.examinations[kind].order for kind in kinds]
    assert orders == sorted(orders)
    assert len(kinds) >= 10
    for row in REFERENCE.examinations.values():
        for id in row.short_list:
            assert re.search(rf"^# {id} = ", template, flags=re.MULTILINE), id


@pytest.mark.parametrize(
    ("host", "line"),
    [("koi", 'group = "koi"'), ("neon tetra", 'species = "neon tetra"'), (None, 'group = "freshwater"')],
)
def test_the_template_for_a_host(host: str | None, line: str) -> None:
    template = new_case_template(REFERENCE, host)
    assert f"[host]\n{line}\n" in template
    assert check_case_text(template, "toml", "t", REFERENCE) == ()


def test_the_template_of_an_unknown_host_is_refused() -> None:
    with pytest.raises(InputError, match='"goldfsh" is no host of the reference; did you mean goldfish'):
        new_case_template(REFERENCE, "goldfsh")
