"""Papers of a plan: the keeper's page, the daily log, the laboratory parcel, and prevention. Data, not layout."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final

from wetmount.case import Plan, PlanStep
from wetmount.dose import DoseAnswer
from wetmount.errors import InputError
from wetmount.hard_stops import BATHS, hours_apart
from wetmount.plan.amounts import checks_of, open_points
from wetmount.plan.calendar import CalendarEntry
from wetmount.plan.choose import ChosenPlan
from wetmount.plan.record import WAYS, agent_name, agent_words, cautions_of_days, record_of
from wetmount.reference import Reference
from wetmount.reference.rows import Disinfection, DoseRow, LaboratorySample, Quarantine

# What ends a treatment at once (standing lines of every plan).
STOP_IF: Final = (
    "fish gasp, roll, crash about or lose balance: change half the water for clean matched water at once",
    "oxygen falls under 5 mg/L, or the temperature leaves the range of the species",
    "you cannot stay with a bath that has to be watched",
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
TITLE: Final = 70
"""Letters of a title at most."""


@dataclass(frozen=True, slots=True)
class Giving:
    """An agent of the plan: its name, the days it is given on, its lines (the amount, or what is still open), and the
    amount alone, empty when there is none."""

    name: str
    days: tuple[date, ...]
    lines: tuple[str, ...]
    amount: str


@dataclass(frozen=True, slots=True)
class KeeperSheet:
    """One page: what to do now, today, each day, when to stop, and what must not be forgotten. `steps` are dated;
    `today` holds the doses due today and the `others` of the day, `givings` every agent."""

    now: tuple[str, ...]
    today: tuple[str, ...]
    each_day: tuple[str, ...]
    stop_if: tuple[str, ...]
    from_now_on: tuple[str, ...]
    cautions: tuple[str, ...]
    steps: tuple[CalendarEntry, ...]
    others: tuple[str, ...] = ()
    givings: tuple[Giving, ...] = ()


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
    """The page for a choice just made: `sheet_of` of its record (`record_of`, which says what `schedules` are).

    InputError for a first day in the past, and for a schedule of an agent that is not chosen.
    """
    if first < today:
        raise InputError(f"{first.isoformat()} is in the past; begin on {today.isoformat()} or later", field="first")
    plan = record_of(chosen, reference, first=first, schedules=schedules)
    return sheet_of(plan, answers, reference, today=today, cautions=cautions)


def sheet_of(
    plan: Plan,
    answers: Mapping[str, DoseAnswer],
    reference: Reference,
    *,
    today: date,
    cautions: Sequence[str] = (),
) -> KeeperSheet:
    """The page of a recorded plan. `answers` are the worked-out doses of its agents; one that is missing or has no
    amount prints what is still open. Before each further dose into the tank half the water is changed. Where the days
    go beyond the row of their agent, a caution says so."""
    entries: list[CalendarEntry] = []
    doses: list[str] = []
    now: list[str] = []
    others: list[str] = []
    lasting: list[str] = []
    givings: list[Giving] = []
    treated: list[DoseRow] = []
    for step in plan.steps:
        row = reference.doses.get(step.option or "") if step.kind == "treat" else None
        if row is not None:
            answer = answers.get(row.treatment)
            lines = dose_lines(step, answer, reference)
            entries += _doses(row, step.days, lines, change_first=_left_to_meet(treated, row, reference))
            treated.append(row)
            amount = amount_words(answer) if answer is not None else ""
            givings.append(Giving(agent_name(row.treatment, reference), step.days, lines, amount))
            doses += lines if today in step.days or not step.days else ()
            continue
        entries += [_entry(step, day) for day in step.days]
        if today in step.days and step.kind != "look":
            others.append(step.text)
        elif step.days:
            continue
        elif step.kind in ("examine", "watch", "relieve") or (step.kind == "refer" and step.urgency != "now"):
            others.append(step.text)
        else:
            (now if step.urgency == "now" else lasting).append(step.text)
    return KeeperSheet(
        tuple(now),
        (*doses, *others),
        EACH_DAY,
        STOP_IF,
        tuple(lasting),
        (*cautions, *cautions_of_days(plan, reference)),
        tuple(sorted(entries, key=_moment)),
        tuple(others),
        tuple(givings),
    )


def _left_to_meet(treated: Sequence[DoseRow], row: DoseRow, reference: Reference) -> bool:
    """Whether an agent of the tank from before may be left, which this one must not meet: half the water goes first."""
    stayed = (one for one in treated if one.place == "tank" and one.route in BATHS)
    return any(hours_apart(one, row, reference) > 0 for one in stayed)


def _doses(
    row: DoseRow, days: Sequence[date], lines: Sequence[str], *, change_first: bool = False
) -> Iterator[CalendarEntry]:
    way = f", {WAYS[row.route]}" if row.route in WAYS and row.route != "feed" else ""
    for n, day in enumerate(days):
        further = n > 0 and row.route not in ("feed", "injection") and row.place == "tank"
        if further or (n == 0 and change_first):
            change = f"Before {row.substance}: change half the water, matched and conditioned"
            when = datetime.combine(day, time(9, 0))
            yield CalendarEntry(when, "Change half the water", change, kind="water_change")
        yield CalendarEntry(
            datetime.combine(day, time(10, 0)),
            f"{row.substance}, {'day' if row.route == 'feed' else 'dose'} {n + 1} of {len(days)}{way}",
            "\n".join(lines),
            alarm_minutes=30,
            kind="dose",
        )


def _entry(step: PlanStep, day: date) -> CalendarEntry:
    """A step on a day of its own: its first words are the title when they stand before a colon."""
    head, colon, rest = step.text.partition(": ")
    kind = "look_again" if step.kind == "look" else "plan"
    if colon and len(head) <= TITLE:
        return CalendarEntry(day, head, rest[:1].upper() + rest[1:], kind=kind)
    title = step.text if len(step.text) <= TITLE else step.text[: TITLE - 1].rsplit(" ", 1)[0] + " …"
    return CalendarEntry(day, title, step.text if title != step.text else "", kind=kind)


def _moment(entry: CalendarEntry) -> str:
    return entry.when.isoformat()


def amount_words(answer: DoseAnswer) -> str:
    """The amount of a worked-out dose without the substance before it; empty when there is none."""
    if answer.state != "amount" or not answer.written:
        return ""
    return answer.written[0].removeprefix(f"{answer.substance}: ")


def dose_lines(step: PlanStep, answer: DoseAnswer | None, reference: Reference) -> tuple[str, ...]:
    """What a giving of an agent says: the practitioner's own words where they were changed, then the amount, or what
    is still open."""
    treatment = step.option or ""
    edited = (step.text,) if step.text != agent_words(treatment, reference) else ()
    if answer is not None and answer.state == "amount":
        checks = tuple(f"Only if {words}" for _, words in checks_of(treatment, reference))
        return (*edited, *answer.written[:1], *checks, *answer.written[1:])
    points = open_points(answer, reference) if answer is not None else ("the amount is not worked out yet",)
    return (*edited, *(f"{reference.doses[treatment].substance}: no amount. {point}" for point in points))


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


def contact_words(row: Disinfection) -> str:
    """How long it has to act, as it is counted: 10 to 15 minutes, 1 to 2 days."""
    low, high = row.minutes_low, row.minutes_high
    unit, word = (1440.0, "day") if low >= 1440 else (60.0, "hour") if low >= 120 else (1.0, "minute")
    top = f" to {high / unit:g}" if high is not None and high != low else ""
    return f"{low / unit:g}{top} {word}{'' if low == unit and not top else 's'}"


def sheet_lines(sheet: KeeperSheet) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Headings and lines of the keeper's page in reading order, empty ones left out."""
    dated = tuple(
        f"{step.when:%Y-%m-%d %H:%M} {step.title}" if isinstance(step.when, datetime) else f"{step.when} {step.title}"
        for step in sheet.steps
    )
    later = tuple(
        (f"{giving.name}, on {', '.join(day.isoformat() for day in giving.days)}", giving.lines)
        for giving in sheet.givings
        if giving.amount and not set(giving.lines) <= set(sheet.today)
    )
    for heading, lines in (
        ("Now", sheet.now),
        ("Today", sheet.today),
        *later,
        ("Each day", sheet.each_day),
        ("Stop at once if", sheet.stop_if),
        ("Dates", dated),
        ("From now on", sheet.from_now_on),
        ("Take care", sheet.cautions),
    ):
        if lines:
            yield heading, lines
