"""Drawings of an outbreak: a block for each ill tank on its day, lanes and contacts where the chain says."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wetmount.charts import IODINE, STAIN
from wetmount.charts_origin import LEFT, TALLEST, curve_bars, day_width, draw_chain, draw_curve
from wetmount.origin.chains import chain_of
from wetmount.origin.curve import epidemic_curve
from wetmount.origin.illness import tanks_health
from wetmount.origin.room_file import demo_room

SVG = "{http://www.w3.org/2000/svg}"


def rects(svg: str, **wanted: str) -> list[dict[str, str]]:
    found = [dict(one.attrib) for one in ElementTree.fromstring(svg).iter(f"{SVG}rect")]
    return [one for one in found if all(one.get(key) == value for key, value in wanted.items())]


@given(st.lists(st.integers(0, 20), min_size=1, max_size=90))
def test_a_block_for_each_tank_on_its_day(counts: list[int]) -> None:
    svg = curve_bars(counts)
    blocks = rects(svg, fill=STAIN)
    assert len(blocks) == sum(min(count, TALLEST) for count in counts)
    step = day_width(len(counts))
    for day, count in enumerate(counts):
        here = [one for one in blocks if LEFT + day * step <= float(one["x"]) + 0.01 < LEFT + (day + 1) * step]
        assert len(here) == min(count, TALLEST)
    width, height = (float(ElementTree.fromstring(svg).attrib[name]) for name in ("width", "height"))
    for one in blocks:
        assert 0 <= float(one["x"]) <= width
        assert 0 <= float(one["y"]) <= height
    assert "<text" not in svg


def test_the_shared_window_is_drawn_on_its_days() -> None:
    room = demo_room()
    found = epidemic_curve(room, 4, 14)
    assert found.shared is not None
    begin, end = found.shared
    assert begin is not None
    (strip,) = rects(draw_curve(found), stroke=IODINE)
    step = day_width(room.days)
    assert float(strip["x"]) == pytest.approx(LEFT + room.day(begin) * step, abs=0.01)
    assert float(strip["width"]) == pytest.approx((room.day(end) - room.day(begin) + 1) * step, abs=0.01)


def test_lanes_of_a_chain() -> None:
    room = demo_room()
    health = {one.tank: one for one in tanks_health(room)}
    names, svg = draw_chain(chain_of(room, "A9", "ingoing", kinds=["fish"]), room, health)
    assert names == ("Q2", "A4", "A9")
    assert len(rects(svg, fill=STAIN)) == 2  # A4 and A9 fell ill
    step = day_width(room.days)
    ends = {round(float(one["x"]) + float(one["width"]), 1) for one in rects(svg, fill=STAIN)}
    assert ends == {round(LEFT + room.days * step, 1)}
    # two moves: two upright lines, two points
    assert svg.count('z" fill=') == 2
    # a sump has no lane, its contact is dotted and goes from tank to tank
    names, svg = draw_chain(chain_of(room, "A9", "outgoing", kinds=["sump"]), room, health)
    assert len(names) == 12
    assert all(name.startswith("A") for name in names)
    assert svg.count('stroke-dasharray="1.6 3"') == 11
