"""What has been seen: cases counted by month, by cause and by host, ready to draw."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, QuerySet

from wetmount.case_check import host_row
from wetmount.casebook.reference import reference

MONTHS = 24
BARS = 10


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar: its words, its number, and its length as a share (0-1) of the longest."""

    label: str
    number: int
    share: float


@dataclass(frozen=True, slots=True)
class Seen:
    """One chart with the sentence that says what it shows."""

    title: str
    sentence: str
    bars: tuple[Bar, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of the drawing by month; only the tallest carries its number, only the first and last their month."""

    x: str
    y: str
    width: str
    height: str
    mid: str
    edge: str
    above: str
    number: int | None
    label: str
    anchor: str


WIDE, HIGH, TALLEST = 340.0, 120.0, 95.0


def columns(months: Seen) -> tuple[Column, ...]:
    """The bars of `by_month` as columns, 340 wide and 120 high."""
    count = max(len(months.bars), 1)
    step = min(WIDE / count, 40.0)
    tallest = max(range(len(months.bars)), key=lambda n: months.bars[n].number, default=0)
    drawn = []
    for n, bar in enumerate(months.bars):
        height = TALLEST * bar.share
        first, last = n == 0, n == len(months.bars) - 1
        drawn.append(
            Column(
                x=f"{n * step + 1:.1f}", y=f"{HIGH - height:.1f}", width=f"{step - 2:.1f}", height=f"{height:.1f}",
                mid=f"{n * step + step / 2:.1f}",
                edge=f"{n * step if first else (n + 1) * step:.1f}",
                above=f"{HIGH - height - 5:.1f}",
                number=bar.number if n == tallest and bar.number else None,
                label=bar.label if first or last else "",
                anchor="start" if first else "end",
            )
        )  # fmt: skip
    return tuple(drawn)


def by_month(cases: QuerySet, today: dt.date) -> Seen:
    """Cases opened in each of the last 24 months, or fewer when the first was later."""
    first = _months_before(today, MONTHS - 1)
    rows = cases.filter(opened__gte=first, opened__lte=today).order_by().values("opened").annotate(n=Count("*"))
    counted: Counter[str] = Counter()
    for row in rows:
        counted[f"{row['opened']:%Y-%m}"] += row["n"]
    start = min(counted, default=f"{today:%Y-%m}")
    months = [one for n in range(MONTHS) if f"{(one := _months_before(today, MONTHS - 1 - n)):%Y-%m}" >= start]
    pairs = [(f"{one:%b} {one.year}", counted.get(f"{one:%Y-%m}", 0)) for one in months]
    total = sum(counted.values())
    most = max(pairs, key=lambda pair: pair[1])
    span = "month" if len(months) == 1 else f"{len(months)} months"
    said = f"{_cases(total)} opened in the last {span}; most in {most[0]}, {most[1]}." if total else "No case yet."
    return Seen("By month", said, _bars(pairs))


def by_cause(cases: QuerySet) -> Seen:
    """Cases by the cause they were put down to; where none was confirmed, by the cause that leads the weigh-up."""
    counted: Counter[str] = Counter()
    for row in cases.order_by().values("put_down_to", "leading").annotate(n=Count("*")):
        for condition in filter(None, (row["put_down_to"] or row["leading"]).split(",")):
            counted[condition] += row["n"]
    known = reference().conditions
    pairs = [(known[id].name if id in known else id, n) for id, n in counted.most_common()]
    return _ranked("By cause", pairs, "No case has a leading or confirmed cause yet.", "cause", "causes")


def by_host(cases: QuerySet) -> Seen:
    """Cases by host group: the one entered, else that of the species."""
    tables = reference()
    counted: Counter[str] = Counter()
    for row in cases.order_by().values("host_group", "species").annotate(n=Count("*")):
        known = None if row["host_group"] else host_row(row["species"], tables)
        group = tables.host_groups.get(row["host_group"] or (known.host_group if known else ""))
        counted[group.meaning if group is not None else row["species"] or "not said"] += row["n"]
    return _ranked("By host", counted.most_common(), "No case yet.", "host group", "host groups")


def _ranked(title: str, pairs: list[tuple[str, int]], nothing: str, one: str, many: str) -> Seen:
    if not pairs:
        return Seen(title, nothing, ())
    number = f"{len(pairs)} {one if len(pairs) == 1 else many}"
    shown = f"; the {BARS} most frequent are shown" if len(pairs) > BARS else ""
    first = pairs[0][0][:1].upper() + pairs[0][0][1:]
    return Seen(title, f"{first} most often, {_cases(pairs[0][1])}; {number} in all{shown}.", _bars(pairs[:BARS]))


def _bars(pairs: Iterable[tuple[str, int]]) -> tuple[Bar, ...]:
    pairs = list(pairs)
    most = max((n for _, n in pairs), default=0) or 1
    return tuple(Bar(label, n, n / most) for label, n in pairs)


def _cases(n: int) -> str:
    return f"{n} case{'' if n == 1 else 's'}"


def _months_before(day: dt.date, months: int) -> dt.date:
    """The first of the month so many months before."""
    count = day.year * 12 + day.month - 1 - months
    return dt.date(count // 12, count % 12 + 1, 1)
