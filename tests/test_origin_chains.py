"""Chains: published test cases, a hand example, and networkx on random temporal graphs."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import structs

from wetmount.errors import InputError
from wetmount.origin.chains import Chain, Contacts, chain, chain_of, neighbours, path_words, room_contacts
from wetmount.origin.room import Contact, Move, Room, System, Tank, Tool, Worker
from wetmount.origin.room_file import demo_room


def contacts(moves: list[tuple[str, str, int]]) -> Contacts:
    names = tuple(dict.fromkeys(name for source, goal, _ in moves for name in (source, goal)))
    place = {name: index for index, name in enumerate(names)}
    table = np.array([[day, place[source], place[goal], 0] for source, goal, day in moves]).T
    return Contacts(names, *table)


def ordinal(month_day: str) -> int:
    return dt.date.fromisoformat(f"2010-{month_day}").toordinal()


def published(text: str) -> Contacts:
    """'1>4 08-28; 2>5 08-25': moves as the published cases have them."""
    moves = []
    for move in text.split(";"):
        ends, *days = move.split()
        source, goal = ends.split(">")
        moves += [(source, goal, ordinal(day.rstrip(","))) for day in days]
    return contacts(moves)


# Six cases of the tests that the authors of the definitions publish with their package (stewid/EpiContactTrace,
# tests/contact-chain.R); definitions: Nöremark M, Widgren S, BMC Veterinary Research 10:71, 2014. Facts only.
CASES = [
    ("1>4 08-28; 2>5 08-25; 3>5 08-26; 4>6 08-29; 5>8 08-27; 6>8 08-30; 7>8 08-31", "8",
     ("08-22", "10-01", 7), ("08-01", "08-31", 0)),
    ("1>3 08-13; 2>3 08-17; 3>4 08-15 08-20", "4", ("07-22", "08-21", 3), ("08-01", "08-31", 0)),
    ("1>2 08-13; 2>1 08-13", "1", ("08-02", "09-01", 1), ("09-01", "10-01", 0)),
    ("1>2 08-13; 2>5 08-17; 2>6 08-15; 1>3 09-05; 3>7 09-08; 7>8 09-10; 1>4 10-02", "1",
     ("08-02", "09-01", 0), ("08-01", "11-09", 7)),
    ("1>2 08-13; 2>1 08-13", "1", ("07-02", "08-01", 0), ("08-01", "08-31", 1)),
    ("1>2 10-01 10-10 10-20 10-30; 2>3 10-05 10-15; 3>4 10-25", "1", ("10-10", "10-20", 0), ("10-10", "10-20", 2)),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=range(1, 7))
def test_published_chains(case: tuple[str, str, Any, Any]) -> None:
    moves, root, ingoing, outgoing = case
    graph = published(moves)
    found = chain(graph, root, "ingoing", ordinal(ingoing[0]), ordinal(ingoing[1]))
    assert len(found.reached) == ingoing[2]
    found = chain(graph, root, "outgoing", ordinal(outgoing[0]), ordinal(outgoing[1]))
    assert len(found.reached) == outgoing[2]


def test_published_degrees_of_the_sixth_case() -> None:
    graph = published(CASES[5][0])
    window = ordinal("10-10"), ordinal("10-20")
    assert chain(graph, "1", "ingoing", *window).degree == 0
    assert chain(graph, "1", "outgoing", *window).degree == 1


def test_hand_example() -> None:
    """Worked by hand; a graph without time would let S1 reach T2, and T4 reach T1 and T3: both wrong."""
    graph = contacts([("S1", "T1", 1), ("T1", "T3", 2), ("T2", "T1", 3), ("T4", "T2", 4), ("T1", "T4", 5)])
    outgoing = {root: set(chain(graph, root, "outgoing").reached) for root in graph.nodes}
    assert outgoing == {
        "S1": {"T1", "T3", "T4"}, "T1": {"T3", "T4"}, "T2": {"T1", "T4"}, "T3": set(), "T4": {"T2"}}  # fmt: skip
    ingoing = {root: set(chain(graph, root, "ingoing").reached) for root in graph.nodes}
    assert ingoing == {
        "S1": set(), "T1": {"S1", "T2"}, "T2": {"T4"}, "T3": {"T1", "S1"}, "T4": {"T1", "S1", "T2"}}  # fmt: skip
    found = chain(graph, "S1", "outgoing")
    assert [(step.source, step.goal, step.day) for step in found.path("T4")] == [("S1", "T1", 1), ("T1", "T4", 5)]
    assert (found.day_of("T4"), found.day_of("T2")) == (5, None)
    back = chain(graph, "T4", "ingoing")
    assert [(step.source, step.goal, step.day) for step in back.path("S1")] == [("S1", "T1", 1), ("T1", "T4", 5)]
    assert back.day_of("S1") == 1


def through_time(graph: Contacts, first: int, last: int) -> nx.DiGraph:
    """The same contacts for networkx: a node for each place and day, and an edge from each day to the next."""
    expanded = nx.DiGraph()
    for node in range(len(graph.nodes)):
        nx.add_path(expanded, [(node, day) for day in range(first, last + 1)])
        expanded.add_node((node, first))
    for day, source, goal in zip(graph.day, graph.source, graph.goal, strict=True):
        if first <= day <= last:
            expanded.add_edge((int(source), int(day)), (int(goal), int(day)))
    return expanded


def check_path(found: Chain, graph: Contacts, node: str) -> None:
    """A path runs from contact to contact, never back in time, and each is in the record and the window."""
    path = found.path(node)
    ends = (found.root, node) if found.direction == "outgoing" else (node, found.root)
    assert (path[0].source, path[-1].goal) == ends
    known = {
        (int(day), graph.nodes[source], graph.nodes[goal])
        for day, source, goal in zip(graph.day, graph.source, graph.goal, strict=True)
    }
    for step in path:
        assert (step.day, step.source, step.goal) in known
        assert found.first <= step.day <= found.last
    for one, then in pairwise(path):
        assert one.goal == then.source
        assert one.day <= then.day
    assert found.day_of(node) == (path[-1].day if found.direction == "outgoing" else path[0].day)


contact_lists = st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8), st.integers(0, 6)), min_size=1, max_size=40)


@settings(max_examples=200, deadline=None)
@given(contact_lists, st.integers(0, 8), st.integers(0, 6), st.integers(0, 6))
def test_random_temporal_graphs_are_networkx(
    rows: list[tuple[int, int, int]], root: int, one_day: int, other_day: int
) -> None:
    names = tuple(f"T{n}" for n in range(9))
    table = np.array([[day, source, goal, 0] for source, goal, day in rows]).T
    graph = Contacts(names, *table)
    first, last = sorted((one_day, other_day))
    expanded = through_time(graph, first, last)
    for direction, start, searched in (
        ("outgoing", (root, first), expanded),
        ("ingoing", (root, last), expanded.reverse()),
    ):
        found = chain(graph, names[root], direction, first, last)  # type: ignore[arg-type]
        reached = nx.descendants(searched, start)
        expected = {node for node, _ in reached if node != root}
        assert {names.index(name) for name in found.reached} == expected
        for name in found.reached:
            check_path(found, graph, name)
            days = [day for node, day in reached if names[node] == name]
            assert found.day_of(name) == (min(days) if direction == "outgoing" else max(days))


def test_the_way_of_a_day_is_the_shortest() -> None:
    graph = contacts([("A", "B", 1), ("B", "C", 1), ("C", "D", 1), ("A", "C", 1), ("D", "E", 2), ("A", "E", 3)])
    found = chain(graph, "A", "outgoing")
    assert [(step.source, step.goal) for step in found.path("D")] == [("A", "C"), ("C", "D")]
    # a longer way that arrives on an earlier day goes first
    assert [step.day for step in found.path("E")] == [1, 1, 2]
    back = chain(graph, "E", "ingoing")
    assert [step.day for step in back.path("A")] == [3]


def test_a_long_day_backwards() -> None:
    """A hundred thousand contacts of one day, each listed before the one that it follows."""
    count = 100_000
    source = np.arange(count)[::-1]
    graph = Contacts(
        tuple(map(str, range(count + 1))),
        np.zeros(count, dtype=np.int64),
        source,
        source + 1,
        np.zeros(count, dtype=int),
    )
    assert len(chain(graph, "0", "outgoing").reached) == count
    assert len(chain(graph, str(count), "ingoing").path("0")) == count


# --- rooms ------------------------------------------------------------------------------------------------------------

DAY = dt.date(2026, 9, 1)


def day(number: int) -> dt.date:
    return DAY + dt.timedelta(days=number)


def room(**parts: Any) -> Room:
    tanks = (
        Tank("A1", "a", "R", 1, 1), Tank("A2", "a", "R", 1, 2), Tank("B1", "b", "R", 2, 1),
        Tank("B2", "b", "R", 2, 2), Tank("Q", since=day(4)))  # fmt: skip
    return structs.replace(Room("r", DAY, day(9), systems=(System("a"), System("b")), tanks=tanks), **parts)


def test_sumps_and_tools_carry_both_ways_every_day() -> None:
    net = Tool("net", ("A2", "B1"), since=day(3), until=day(5))
    found = chain_of(room(tools=(net,)), "A1", "outgoing")
    assert found.reached == ("A2", "B1", "B2")
    assert found.degree == 0  # through the sump, not tank to tank
    assert [(step.goal, step.kind, step.day) for step in found.path("B2")] == [
        ("sump of a", "sump", 0), ("A2", "sump", 0), ("net", "tool", 3), ("B1", "tool", 3), ("sump of b", "sump", 3),
        ("B2", "sump", 3)]  # fmt: skip
    assert chain_of(room(tools=(net,)), "A1", "outgoing", last=day(2)).reached == ("A2",)
    assert chain_of(room(tools=(net,)), "A1", "outgoing", first=day(6)).reached == ("A2",)


def test_moves_and_contacts_have_one_direction() -> None:
    made = room(moves=(Move(day(5), "Q", "A1"),), contacts=(Contact(day(2), "B1", "A2", "water"),))
    assert chain_of(made, "Q", "ingoing").reached == ()
    assert set(chain_of(made, "Q", "outgoing").reached) == {"A1", "A2"}
    assert set(chain_of(made, "A1", "ingoing").reached) == {"A2", "B1", "B2", "Q"}
    assert chain_of(made, "A1", "ingoing", kinds=["fish"]).reached == ("Q",)
    assert chain_of(made, "B1", "outgoing", kinds=["water"]).reached == ("A2",)


def test_neighbours_and_workers_only_when_asked() -> None:
    made = room(workers=(Worker("the keeper", ("A1", "Q")),))
    assert neighbours(made) == (("A1", "A2"), ("B1", "B2"))
    assert chain_of(made, "Q", "outgoing").reached == ()
    assert chain_of(made, "Q", "outgoing", kinds=["worker"]).reached == ("A1",)
    assert chain_of(made, "Q", "outgoing", kinds=["worker"]).day_of("A1") == 4  # Q was set up on the fifth day
    assert chain_of(made, "B1", "outgoing", kinds=["neighbour"]).reached == ("B2",)


def test_harbour_row_by_its_own_account() -> None:
    """The net of 28 September and 1 October carries from C7 over C3 into rack B; nothing of rack A reaches there."""
    made = demo_room()
    assert chain_of(made, "B2", "ingoing", kinds=["net"]).reached == ("C3", "C7")
    words = path_words(chain_of(made, "A9", "ingoing", kinds=["fish"]).path("Q2"), made.first)
    assert words == "Q2 21 September (fish) → A4 24 September (fish) → A9"
    assert not set(chain_of(made, "A4", "outgoing").reached) & {"B2", "C7", "Q1"}


def test_bad_questions() -> None:
    made = room()
    with pytest.raises(InputError, match='"A9" is no tank of this room; there are A1, A2, B1, B2, Q'):
        chain_of(made, "A9", "ingoing")
    with pytest.raises(InputError, match="did you mean neighbour"):
        room_contacts(made, ["neighbor"])
    with pytest.raises(InputError, match="ends before it begins"):
        chain_of(made, "A1", "ingoing", first=day(5), last=day(4))
    with pytest.raises(InputError, match="no direction"):
        chain_of(made, "A1", "both")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="no tank"):
        chain_of(made, "sump of a", "outgoing")
    empty = Contacts(("A",), *np.zeros((4, 0), dtype=np.int64))
    assert chain(empty, "A", "outgoing").reached == ()
