"""Papers of a plan: the keeper's page, the daily log, the laboratory parcel, and prevention. Data, not layout."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import Final

from wetmount.dose import DoseAnswer
from wetmount.errors import InputError
from wetmount.plan.calendar import CalendarEntry
from wetmount.plan.choose import ChosenPlan
from wetmount.plan.options import Option
from wetmount.reference import Reference
from wetmount.reference.rows import Disinfection, DoseRow, LaboratorySample, Quarantine

# What ends a treatment at once (standing lines of every plan).
STOP_IF: Final = (
    "fish gasp, roll, crash about or lose balance: change half the water for clean matched water at once",
    "oxygen falls under 5 mg/L, or the temperature leaves the range of the species",
    "you can not stay with a bath that has to be watched",
)
EACH_DAY: Final = (
    "count the fish, and the dead; take dead fish out at once",
    "test temperature, pH, ammonia and nitrite, and write them down",
    "look who eats, and who breathes fast",
    "own net, hose and bucket for this tank, worked last; wash hands after",
)
LOG_COLUMNS: Final = (
    "date", "time", "fish", "dead", "temperature °C", "pH", "ammonia", "nitrite", "oxygen", "eating", "given", "by",
)  # fmt: skip
LONGEST_SCHEDULE_DAYS: Final = 90
FOLLOW_UP_DAYS: Final = 7
"""Days after the last dose to look again (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class KeeperSheet:
    """One page: what to do now, today, each day, when to stop, and what must not be forgotten. `steps` are dated."""

    now: tuple[str, ...]
    today: tuple[str, ...]
    each_day: tuple[str, ...]
    stop_if: tuple[str, ...]
    from_now_on: tuple[str, ...]
    cautions: tuple[str, ...]
    steps: tuple[CalendarEntry, ...]


def dose_days(row: DoseRow, first: date, schedule: Sequence[int] | None = None) -> tuple[date, ...]:
    """The days of a course: its doses at the shortest interval of the row; a feed course every day it lasts.

    `schedule`: givings on these days after the first instead, 0 the first, as the timing of a treatment found them
    (`wetmount.forecast.Schedule.days`); each giving of feed then lasts its days. InputError for a schedule that can
    not be kept.
    """
    lasts = max(1, round((row.minutes_low or 1440) / 1440)) if row.route == "feed" else 1
    if schedule is not None:
        begins = _kept(row, schedule, lasts)
    elif row.route == "feed":
        begins = [0]
    else:
        every = row.interval_h_low or 24.0
        begins = [round(n * every / 24) for n in range(int(row.doses or 1))]
    return tuple(first + timedelta(days=begin + n) for begin in begins for n in range(lasts))


def _kept(row: DoseRow, schedule: Sequence[int], lasts: int) -> list[int]:
    days = list(schedule)
    if not days or days[0] != 0 or days[-1] > LONGEST_SCHEDULE_DAYS:
        raise InputError(
            f"{row.substance}: the days of a schedule begin with 0 and end by day {LONGEST_SCHEDULE_DAYS}, "
            f"not {', '.join(map(str, days)) or 'empty'}",
            field=row.treatment,
        )
    if any(after - before < lasts for before, after in pairwise(days)):
        words = f"rise by at least {lasts}, the days of one course" if lasts > 1 else "rise"
        raise InputError(
            f"{row.substance}: the days of a schedule {words}, not {', '.join(map(str, days))}", field=row.treatment
        )
    return days


def schedule_cautions(row: DoseRow, schedule: Sequence[int]) -> tuple[str, ...]:
    """Where a schedule goes beyond the row of its agent: more givings than it has, or closer ones."""
    beyond = []
    if row.doses is not None and len(schedule) > row.doses:
        beyond.append(f"{len(schedule)} givings where the table has {row.doses:g}")
    closest = min((after - before for before, after in pairwise(schedule)), default=None)
    if closest is not None and row.interval_h_low is not None and 24 * closest < row.interval_h_low:
        beyond.append(f"{closest} days apart where the table has {row.interval_h_low / 24:g}")
    ask = "ask the label and a veterinarian before the second"
    return (f"{row.substance}: {', '.join(beyond)}; {ask}",) if beyond else ()


def keeper_sheet(
    chosen: ChosenPlan,
    answers: Mapping[str, DoseAnswer],
    reference: Reference,
    *,
    first: date,
    today: date,
    cautions: Sequence[str] = (),
    schedules: Mapping[str, Sequence[int]] | None = None,
) -> KeeperSheet:
    """The page for a chosen plan. `answers` are the worked-out doses of its agents; one that is missing or has no
    amount prints what is still open. `schedules` holds the days of an agent's givings, 0 its first, instead of those
    of its row (`forecast.plan_treatments(...).advised.days`); where they go beyond the row, a caution says so.
    InputError for a first day in the past, and for a schedule of an agent that is not chosen.

    Agents that must not meet are put one after the other, the second begun after the first has ended and half the
    water is changed.
    """
    if first < today:
        raise InputError(f"{first.isoformat()} is in the past; begin on {today.isoformat()} or later", field="first")
    timed = schedules or {}
    agents = [option.id for option in chosen.options if option.kind == "treat"]
    for id in timed:
        if id not in agents:
            raise InputError(
                f"days are given for {id!r}, which is not chosen; agents chosen: {', '.join(agents) or 'none'}",
                field="schedules",
            )
    text = {option.id: chosen.texts.get(option.id, option.text) for option in chosen.options}
    steps: list[CalendarEntry] = []
    today_lines: list[str] = []
    start = first
    for option in chosen.options:
        if option.kind != "treat":
            continue
        row = reference.doses[option.id]
        lines = _dose_lines(option, answers.get(option.id))
        days = dose_days(row, start, timed.get(option.id))
        for n, day in enumerate(days):
            if n and row.route not in ("feed", "injection") and row.place == "tank":
                change = f"Before {row.substance}: change half the water, matched and conditioned"
                steps.append(CalendarEntry(datetime.combine(day, time(9, 0)), "Change half the water", change))
            steps.append(
                CalendarEntry(
                    datetime.combine(day, time(10, 0)),
                    f"{row.substance}, {'day' if row.route == 'feed' else 'dose'} {n + 1} of {len(days)}",
                    "\n".join(lines),
                    alarm_minutes=30,
                )
            )
        if start == today:
            today_lines += lines
        start = days[-1] + timedelta(days=max(1, round(_contact_days(row))) + 1)
    last = max((s.when.date() if isinstance(s.when, datetime) else s.when for s in steps), default=first)
    look = last + timedelta(days=FOLLOW_UP_DAYS)
    steps.append(CalendarEntry(look, "Look again", "The same examinations as before; compare and write down"))
    now = [text[o.id] for o in chosen.options if o.kind in ("husbandry", "refer") and o.urgency == "now"]
    lasting = [text[o.id] for o in chosen.options if o.kind == "husbandry" and o.urgency != "now"]
    others = [text[o.id] for o in chosen.options if o.kind in ("examine", "watch", "relieve")]
    others += [text[o.id] for o in chosen.options if o.kind == "refer" and o.urgency != "now"]
    return KeeperSheet(
        tuple(now),
        (*today_lines, *others),
        EACH_DAY,
        STOP_IF,
        tuple(lasting),
        (*cautions, *(line for id, days in timed.items() for line in schedule_cautions(reference.doses[id], days))),
        tuple(sorted(steps, key=_moment)),
    )


def _moment(entry: CalendarEntry) -> str:
    return entry.when.isoformat()


def _contact_days(row: DoseRow) -> float:
    return 1.0 if row.route == "feed" else (row.minutes_high or 0.0) / 1440


def _dose_lines(option: Option, answer: DoseAnswer | None) -> tuple[str, ...]:
    if answer is not None and answer.state == "amount":
        return answer.written
    open_points: Iterable[str] = ("the amount is not worked out yet",)
    if answer is not None:
        open_points = [stop.text for stop in answer.stops] + [question.text for question in answer.questions]
    return tuple(f"{option.title}: no amount. {point}" for point in open_points)


@dataclass(frozen=True, slots=True)
class DailyLog:
    """A table to print and fill in: one row a day, the columns of LOG_COLUMNS, and what is due that day."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, str], ...]


def daily_log(sheet: KeeperSheet, first: date, days: int) -> DailyLog:
    """The log for so many days from the first; 1 to 60."""
    if not 1 <= days <= 60:
        raise InputError(f"a log of {days} days; accepted: 1 to 60", field="days")
    due: dict[date, list[str]] = {}
    for step in sheet.steps:
        due.setdefault(step.when.date() if isinstance(step.when, datetime) else step.when, []).append(step.title)
    dates = [first + timedelta(days=n) for n in range(days)]
    return DailyLog(LOG_COLUMNS, tuple((day.isoformat(), "; ".join(due.get(day, ()))) for day in dates))


@dataclass(frozen=True, slots=True)
class ParcelLine:
    """One laboratory test of a parcel, in words to tick off."""

    examination: str
    name: str
    lines: tuple[str, ...]
    sample: LaboratorySample


def laboratory_parcel(examinations: Iterable[str], reference: Reference, *, sick_fish: int) -> tuple[ParcelLine, ...]:
    """What to send for each laboratory test. InputError for a test without a row, or no fish to send."""
    parcel = []
    for id in examinations:
        sample = reference.laboratory_samples.get(id)
        if sample is None:
            known = ", ".join(reference.laboratory_samples)
            raise InputError(f"no parcel for {id!r}; accepted: {known}", field="examination")
        if sick_fish < 1:
            raise InputError("a parcel needs at least one fish", field="fish")
        lines = [
            f"Fish: {min(sick_fish, sample.fish_count)} of {sick_fish}, {sample.fish}",
            f"Tissue: {sample.tissue}",
            f"In: {sample.container}",
        ]
        if sample.fixative:
            lines.append(f"Fixative: {sample.fixative}, {sample.volumes_of_fixative:g} volumes to one of tissue")
        lines += [f"Cold: {sample.cold}", f"At the laboratory within {sample.within_h:g} h"]
        if sample.note:
            lines.append(sample.note[0].upper() + sample.note[1:])
        lines.append("Label: case, tank, species, tissue, fixative, date and time; call the laboratory first")
        parcel.append(ParcelLine(id, reference.examinations[id].name, tuple(lines), sample))
    return tuple(parcel)


@dataclass(frozen=True, slots=True)
class Prevention:
    """From now on: rules, how long sources ask for quarantine (they disagree, all are shown), contact times."""

    rules: tuple[str, ...]
    quarantine_days: float
    quarantines: tuple[Quarantine, ...]
    disinfection: tuple[Disinfection, ...]


def prevention(reference: Reference, *, mycobacteria: bool = False) -> Prevention:
    """Prevention for a fish room. With mycobacteria only what works against them is offered for surfaces."""
    default = next(row for row in reference.quarantines if row.by == "default")
    contacts = [row for row in reference.disinfection if row.works != "no"]
    if mycobacteria:
        contacts = [row for row in contacts if "mycobacteria" in row.material or row.material == "hands"]
    else:
        contacts = [row for row in contacts if "mycobacteria" not in row.material]
    return Prevention(
        (
            "One body of water is one unit: what one tank has, every tank on that sump has met.",
            "One origin to a system; all in, all out; the clock of quarantine starts again with each arrival.",
            "Order of work: eggs and fry, healthy stock, observation, quarantine, sick; never back without washing.",
            "Nets, hoses and buckets belong to one system; two nets in turn, one always in disinfectant.",
            "Nothing goes upstream: no fish, water, plant, ornament or filter media.",
            "Sick and dead fish out at once, sealed and dated.",
            "Write down every move of a fish and every shared tool.",
        ),
        default.days_low or 30.0,
        reference.quarantines,
        tuple(contacts),
    )


def sheet_lines(sheet: KeeperSheet) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Headings and lines of the keeper's page in reading order, empty ones left out."""
    dated = tuple(
        f"{step.when:%Y-%m-%d %H:%M} {step.title}" if isinstance(step.when, datetime) else f"{step.when} {step.title}"
        for step in sheet.steps
    )
    for heading, lines in (
        ("Now", sheet.now),
        ("Today", sheet.today),
        ("Each day", sheet.each_day),
        ("Stop at once if", sheet.stop_if),
        ("Dates", dated),
        ("From now on", sheet.from_now_on),
        ("Take care", sheet.cautions),
    ):
        if lines:
            yield heading, lines
