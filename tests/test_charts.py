"""Charts: what is drawn has the length of what is said, stays in its frame, and can be told apart without colour."""

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wetmount import charts

SVG = "{http://www.w3.org/2000/svg}"
CHANCE = st.floats(0, 1)


def parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def frame(svg: str) -> tuple[float, float]:
    _, _, width, height = map(float, parsed(svg).attrib["viewBox"].split())
    return width, height


def rects(svg: str, **wanted: str) -> list[dict[str, str]]:
    found = [dict(one.attrib) for one in parsed(svg).iter(f"{SVG}rect")]
    return [one for one in found if all(one.get(key) == value for key, value in wanted.items())]


def points(svg: str) -> list[tuple[float, float]]:
    """Corners of everything that is drawn with straight absolute strokes, and of every rectangle."""
    found: list[tuple[float, float]] = []
    for path in parsed(svg).iter(f"{SVG}path"):
        x = y = 0.0
        for letter, numbers in re.findall(r"([MLHV])([-0-9. ]+)", path.attrib["d"]):
            values = list(map(float, numbers.split()))
            if letter == "H":
                x = values[0]
            elif letter == "V":
                y = values[0]
            else:
                x, y = values
            found.append((x, y))
    for rect in parsed(svg).iter(f"{SVG}rect"):
        x, y, width, height = (float(rect.attrib[key]) for key in ("x", "y", "width", "height"))
        found += [(x, y), (x + width, y + height)]
    return found


@given(CHANCE, CHANCE, CHANCE, CHANCE, CHANCE)
def test_a_cause_bar_stays_in_its_frame(responsible: float, more: float, prior: float, a: float, b: float) -> None:
    present = responsible + (1 - responsible) * more
    svg = charts.cause_bar(responsible, present, prior, min(a, b), max(a, b))
    width, height = frame(svg)
    assert all(0 <= x <= width and 0 <= y <= height for x, y in points(svg))


@given(CHANCE)
def test_a_cause_bar_is_as_long_as_the_chance(responsible: float) -> None:
    svg = charts.cause_bar(responsible, 1.0, 0.1)
    filled = rects(svg, fill=charts.STAIN)
    whole = float(rects(charts.cause_bar(1.0, 1.0, 0.1), fill=charts.STAIN)[0]["width"])
    assert sum(float(one["width"]) for one in filled) == pytest.approx(responsible * whole, abs=0.01)


def test_responsible_is_filled_and_present_is_outlined() -> None:
    """Grey printing: the two differ in filling, so that colour is not the only means (WCAG 2.2, 1.4.1)."""
    svg = charts.cause_bar(0.3, 0.8, 0.1)
    assert rects(svg, fill=charts.STAIN)
    assert rects(svg, fill="none", stroke=charts.STAIN)


def test_a_cause_bar_has_a_tick_each_tenth_and_no_range_without_redraws() -> None:
    svg = charts.cause_bar(0.5, 0.5, 0.5)
    axis = next(one.attrib["d"] for one in parsed(svg).iter(f"{SVG}path") if "M2 31" in one.attrib["d"])
    assert len(re.findall(r"V31", axis)) == 11
    assert "19.5V24.5" not in svg
    assert charts.cause_bar(0.5, 0.5, 0.5, 0.2, 0.9).count("19.5V24.5") == 2


@given(st.floats(-6, 6))
def test_a_reason_points_right_when_it_speaks_for_and_left_when_against(weight: float) -> None:
    svg = charts.reason_bar(weight)
    width, height = frame(svg)
    assert all(0 <= x <= width and 0 <= y <= height for x, y in points(svg))
    drawn = rects(svg)
    for one in drawn if abs(weight) > 1e-3 else ():
        middle = float(one["x"]) + float(one["width"]) / 2
        assert (middle - width / 2) * weight > 0


def test_a_reason_for_is_filled_and_one_against_is_hatched() -> None:
    assert rects(charts.reason_bar(1.0), fill=charts.STAIN)
    against = charts.reason_bar(-1.0)
    assert not rects(against, fill=charts.STAIN)
    assert len(re.findall("L", against)) > 5


def test_a_reason_beyond_the_scale_ends_in_a_point() -> None:
    within, beyond = charts.reason_bar(charts.WEIGHT_SPAN), charts.reason_bar(charts.WEIGHT_SPAN + 0.1)
    assert "z" not in within
    assert "z" in beyond


@pytest.mark.parametrize(("share", "tall"), [(0.0, 0), (0.005, 0), (0.88, 88), (1.0, 100)])
def test_the_ruling_has_a_hundred_ticks(share: float, tall: int) -> None:
    svg = charts.firmness_ruling(share)
    assert len(re.findall(r"M\d+ 1V17", svg)) == tall
    assert len(re.findall(r"M\d+ 10V17", svg)) == 100 - tall


@given(
    st.floats(0, 1000),
    st.lists(st.tuples(st.sampled_from(["above", "below"]), st.floats(0, 1000), st.integers(1, 2)), max_size=4),
)
def test_a_reading_strip_stays_in_its_frame(value: float, limits: list[tuple[str, float, int]]) -> None:
    svg = charts.reading_strip(value, limits)
    width, height = frame(svg)
    assert all(-0.1 <= x <= width + 0.1 and -0.1 <= y <= height + 0.1 for x, y in points(svg))
    circle = next(parsed(svg).iter(f"{SVG}circle"))
    assert 0 < float(circle.attrib["cx"]) < width


def test_a_reading_stands_left_or_right_of_its_limit() -> None:
    def place(value: float) -> tuple[float, float]:
        svg = charts.reading_strip(value, [("above", 1.0, 1)])
        circle = next(parsed(svg).iter(f"{SVG}circle"))
        mark = next(d for d in re.findall(r"M([0-9.]+) 2.0V", svg))
        return float(circle.attrib["cx"]), float(mark)

    point, limit = place(0.4)
    assert point < limit
    point, limit = place(1.6)
    assert point > limit


@pytest.mark.parametrize("kind", charts.FIELDS)
def test_every_field_is_round_and_its_own(kind: str) -> None:
    svg = charts.field(kind)
    first = next(parsed(svg).iter(f"{SVG}circle"))
    assert first.attrib["r"] == "12"
    assert [other for other in charts.FIELDS if charts.field(other) == svg] == [kind]


def test_only_not_looked_at_is_dashed() -> None:
    assert [kind for kind in charts.FIELDS if "dasharray" in charts.field(kind)] == ["none"]


def luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.2 (definition of relative luminance)."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return sum(weight * c for weight, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize("colour", ["STAIN", "INK", "PENCIL", "IODINE", "FUCHSIN"])
def test_colours_of_words_and_fillings_stand_out_on_white(colour: str) -> None:
    """WCAG 2.2, 1.4.6: contrast of at least 7 to 1."""
    assert 1.05 / (luminance(getattr(charts, colour)) + 0.05) >= 7


def test_lines_of_axes_can_be_seen() -> None:
    """WCAG 2.2, 1.4.11: at least 3 to 1 for what is needed to understand a graphic."""
    assert 1.05 / (luminance(charts.EDGE) + 0.05) >= 3
