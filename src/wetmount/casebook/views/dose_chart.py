"""The drawing of a course: where its lines, bands, words and events lie; and the table that says the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wetmount.course import ChangeEvent, Course, CourseReport, DoseEvent, Event, TopUpEvent
from wetmount.dose_writing import write_number, write_quantity

POINTS = 240
"""Points to a line; the jumps at events lie on points of their own."""


@dataclass(frozen=True, slots=True)
class Word:
    """A word at a place of the drawing."""

    x: float
    y: float
    text: str
    anchor: str = "middle"


@dataclass(frozen=True, slots=True)
class Drawing:
    """One drawing, in the units of its view box. `works` and `stop` are heights, None where the table has none."""

    name: str
    width: int
    height: int
    left: int
    right: int
    top: int
    bottom: int
    expected: str
    none_lost: str
    band: str
    works: float | None
    stop: float | None
    stop_words: str
    works_words: str
    rows: tuple[Word, ...]
    days: tuple[Word, ...]
    doses: tuple[float, ...]
    changes: tuple[float, ...]

    @property
    def across(self) -> int:
        """Width of the field."""
        return self.right - self.left

    @property
    def band_top(self) -> float:
        """Where the band that works and is safe begins."""
        return self.stop if self.stop is not None else self.top

    @property
    def band_height(self) -> float:
        """Height of the band that works and is safe."""
        return max(0.0, (self.works or self.bottom) - self.band_top)

    @property
    def above(self) -> float:
        """Height of what is over the stop."""
        return max(0.0, (self.stop or self.top) - self.top)

    @property
    def event_row(self) -> int:
        """Where the events stand."""
        return self.bottom + 34

    @property
    def change_row(self) -> int:
        """Where the changes stand."""
        return self.bottom + 52

    @property
    def works_at(self) -> float:
        """Foot of the words of what works: under its line when the band is narrow."""
        low = self.works or 0.0
        return low - 7 if self.band_height > 26 else low + 17

    @property
    def stop_at(self) -> float:
        """Foot of the words of the stop."""
        return (self.stop or 0.0) - 7


def drawings(
    report: CourseReport, weaker: CourseReport | None, events: Sequence[Event], unit: str, days: float
) -> tuple[Drawing, Drawing]:
    """For a wide and a narrow screen, so that words stay as large on both."""
    return (
        _drawing("wide", 1000, 360, report, weaker, events, unit, days),
        _drawing("narrow", 350, 330, report, weaker, events, unit, days),
    )


def _points(course: Course, until_h: float) -> list[tuple[float, float]]:
    """The course with both sides of every jump."""
    points: list[tuple[float, float]] = []
    for piece in course.pieces:
        steps = max(1, round(POINTS * (piece.to_h - piece.from_h) / until_h))
        points.append((piece.from_h, piece.begins))
        for n in range(1, steps + 1):
            t = piece.from_h + (piece.to_h - piece.from_h) * n / steps
            points.append((t, piece.at(t)))
    return points


def _drawing(
    name: str, width: int, height: int, report: CourseReport, weaker: CourseReport | None, events: Sequence[Event],
    unit: str, days: float,
) -> Drawing:  # fmt: skip
    left, right, top, bottom = 52, width - 8, 12, height - 82
    until = days * 24
    highest = max(report.none_lost.highest, report.expected.highest)
    if report.hard_max is not None and report.hard_max < highest * 4:
        highest = max(highest, report.hard_max * 1.02)
    if report.effective is not None:
        highest = max(highest, report.effective)
    scale = highest * 1.12 or 1.0

    def x(hour: float) -> float:
        return round(left + (right - left) * hour / until, 1)

    def y(level: float) -> float:
        return round(bottom - (bottom - top) * min(level, scale) / scale, 1)

    def line(points: Sequence[tuple[float, float]]) -> str:
        return "M" + "L".join(f"{x(hour)} {y(level)}" for hour, level in points)

    expected, lost = _points(report.expected, until), _points(report.none_lost, until)
    lower = _points((weaker or report).expected, until)
    band = line(lost) + "L" + "L".join(f"{x(hour)} {y(level)}" for hour, level in reversed(lower)) + "Z"
    tick = _step(scale)
    levels = [n * tick for n in range(int(scale / tick) + 1)]
    stop, works = report.hard_max, report.effective
    shown_stop = stop is not None and stop <= scale
    return Drawing(
        name, width, height, left, right, top, bottom, line(expected), line(lost), band,
        y(works) if works is not None else None,
        y(stop) if shown_stop and stop is not None else None,
        f"stop: never above {write_quantity(stop, unit)}" if shown_stop and stop is not None else "",
        f"works from {write_quantity(works, unit)}" if works is not None else "",
        tuple(Word(left - 8, y(level), write_number(level), "end") for level in levels),
        _days(days, x, bottom, 9 if name == "wide" else 5),
        tuple(x(one.at_h) for one in events if isinstance(one, (DoseEvent, TopUpEvent))),
        tuple(x(one.at_h) for one in events if isinstance(one, ChangeEvent)),
    )  # fmt: skip


def _step(highest: float) -> float:
    """A round step that gives three to six lines."""
    power = 10.0 ** (len(str(int(highest))) - 1) if highest >= 1 else 10.0**-6
    while True:
        for factor in (1, 2, 5):
            if highest / (power * factor) <= 6:
                if highest < 1 and highest / (power * factor) < 2 and power > 1e-9:
                    break
                return power * factor
        power *= 10


def _days(days: float, x: object, bottom: int, most: int) -> tuple[Word, ...]:
    every = next(one for one in (0.25, 0.5, 1, 2, 3, 5, 7, 10, 14, 30, 60) if days / one <= most)
    count = int(days / every + 1e-9)
    words = []
    for n in range(count + 1):
        day = n * every
        anchor = "start" if n == 0 else "end" if day >= days - 1e-9 else "middle"
        text = f"day {day:g}" if n in (0, count) else f"{day:g}"
        words.append(Word(x(day * 24), bottom, text, anchor))  # type: ignore[operator]
    return tuple(words)


def table(report: CourseReport, weaker: CourseReport | None, days: float) -> list[tuple[str, str, str, str]]:
    """Day by day (twice a day for short courses): as expected, if none is lost, in the most water."""
    every = 6.0 if days <= 2 else 12.0 if days <= 7 else 24.0 if days <= 31 else 48.0
    least = max(report.none_lost.highest, report.expected.highest) / 1000
    rows = []
    hour = 0.0
    while hour <= days * 24 + 1e-9:
        thin = _shown(weaker.expected.at(hour), least) if weaker is not None else ""
        when = f"day {hour / 24:g}" if every >= 12 else f"hour {hour:g}"
        rows.append((when, _shown(report.expected.at(hour), least), _shown(report.none_lost.at(hour), least), thin))
        hour += every
    return rows


def _shown(value: float, least: float) -> str:
    """A concentration; what is under a thousandth of the highest is as good as gone."""
    return write_number(value) if value >= least or value == 0 else f"under {write_number(least, 1)}"


def told(report: CourseReport, unit: str, days: float, doses: int) -> str:
    """The drawing in a sentence, for those who hear it."""
    stop = "" if report.hard_max is None else f" The hard stop is {write_quantity(report.hard_max, unit)}."
    works = "" if report.effective is None else f" It works from {write_quantity(report.effective, unit)}."
    return (
        f"Concentration over {days:g} days under {doses} dose{'' if doses == 1 else 's'}: highest "
        f"{write_quantity(report.expected.highest, unit)} as expected and "
        f"{write_quantity(report.none_lost.highest, unit)} if none is lost; at the end "
        f"{_shown(report.expected.at(days * 24), report.none_lost.highest / 1000)}.{works}{stop}"
    )
