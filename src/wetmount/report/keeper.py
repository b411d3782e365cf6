"""The first page: what it probably is and how sure, what was seen, do today, watch for, when to write, take care."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Final

from wetmount import charts
from wetmount.case_check import host_row
from wetmount.findings import parameter_name
from wetmount.report.document import (
    Bar,
    Bars,
    Block,
    Drawing,
    Field,
    Fields,
    Head,
    Paragraph,
    Points,
    Section,
    Span,
)
from wetmount.report.telling import Telling
from wetmount.report.words import (
    CARRIED_FROM,
    HOW_LIKELY,
    capital,
    counted,
    duration,
    field_of,
    finding_words,
    firm_range,
    firmness_sentence,
    in_hundred,
    in_ten,
    listed,
    sentence,
)
from wetmount.weighup.results import ConditionResult

CAUSE_FROM: Final = 0.10
"""A cause stands on the first page from this chance of being to blame (the first two always)."""

ROOM: Final = {"causes": 5, "seen": 8, "not seen": 2, "not looked at": 3, "watch": 3}
ROOM_UNDER_FIRST_AID: Final = {"causes": 3, "seen": 4, "not seen": 1, "not looked at": 1, "watch": 1}
"""How much of each the first page holds; all of it stands on the pages behind. First aid takes room from the rest."""

FOR_TODAY: Final = ("no_move_no_sale", "net_hygiene", "dead_fish_out")
"""Cautions that say what to do with the tank; those of the water join them, the rest is about people and the law."""

AIR: Final = 20
TEST: Final = 40
"""Places of the steps "more air" and "test the water" in the first-aid table."""
BREATHING: Final = (
    "rapid_breathing",
    "gasping_surface",
    "water_oxygen_low",
    "water_nitrite_high",
    "water_ammonia_high",
)


def room(telling: Telling) -> dict[str, int]:
    """How much of each kind the first page holds."""
    return ROOM_UNDER_FIRST_AID if telling.first_aid else ROOM


def head(telling: Telling) -> Head:
    """The slide at the top of the page."""
    case, when = telling.case, telling.day(telling.date)
    if telling.teaching:
        above = ", ".join(
            part for part in ("Teaching sheet", telling.host_name, f"look of {when}" if when else "") if part
        )
        number = when.removeprefix("day ")
        return Head(
            number or "T", "day" if number else "teaching", above, title(telling), "For students, from the bench."
        )
    end, below = _frosted_end(telling)
    parts = [case.room, case.system, case.tank and f"tank {case.tank}" if _short(case.tank) else case.tank]
    parts += [case.id and f"case {case.id}", when and f"look of {when}"]
    above = ", ".join(part for part in parts if part) or "A case without number or date"
    return Head(end, below, capital(above), title(telling), f"For {case.keeper or 'the keeper'}, from the bench.")


def title(telling: Telling) -> str:
    """The case's own title; in the teaching edition, or without one, the fish and what speaks loudest."""
    if telling.case.title and not telling.teaching:
        return telling.case.title
    words = [telling.reference.findings[id].name for id in _by_weight(telling, seen=True)[:2]]
    host = capital(telling.host_name)
    return f"{host}: {listed(words)}" if words else f"{host}: nothing seen so far"


def _frosted_end(telling: Telling) -> tuple[str, str]:
    """A word of at most four letters that finds the slide in a tray, and what it is."""
    case = telling.case
    system = (case.system or "").split()
    if len(system) == 2 and _short(system[1]):
        return system[1], system[0]
    if _short(case.tank):
        return str(case.tank), "tank"
    if _short(case.id):
        return str(case.id), "case"
    if telling.date is not None:
        return str(telling.date.day), f"{telling.date:%B}"
    return "1st", "look"


def _short(text: str | None) -> bool:
    return text is not None and 0 < len(text) <= 4


def probably(telling: Telling) -> Section:
    """What it probably is, and how sure we are."""
    result = telling.weighup
    causes = telling.shown_causes(room(telling)["causes"], CAUSE_FROM)
    blocks: list[Block] = [
        Paragraph(tuple(_verdict(telling, causes))),
        Bars(tuple(cause_bar(telling, cause) for cause in causes)),
        Paragraph(
            (
                Span(firmness_sentence(result.firmness, telling.short_names), strong=True),
                Span(
                    " Filled: to blame. Outline: there, perhaps only carried. Line: how far our tables leave it open."
                    " Dots: before looking."
                ),
            ),
            quiet=True,
        ),
    ]
    return Section("probably", "What it probably is, and how sure we are", tuple(blocks))


def _verdict(telling: Telling, causes: tuple[ConditionResult, ...]) -> Iterator[Span]:
    """The causes in sentences, likeliest first, each of the leading ones with what it is."""
    if telling.ranked_by_presence:
        yield Span("Nothing was entered that shows illness, so nothing is to blame yet. Likeliest to be there: ")
        yield Span(listed(telling.short_names[cause.id] for cause in causes[:2]), strong=True)
        yield Span(".")
        return
    leading = [cause for cause in causes if cause.responsible >= HOW_LIKELY[1][0]]
    yield Span(
        "No single cause stands out yet."
        if not leading
        else "One cause stands out."
        if len(leading) == 1
        else f"{('Two', 'Three', 'Four', 'Five')[len(leading) - 2]} causes at once, most likely."
    )
    names = telling.short_names
    told: set[str] = set()
    for least, words in HOW_LIKELY:
        group = [cause for cause in causes if cause.responsible >= least and cause.id not in told]
        told |= {cause.id for cause in group}
        if group:
            yield Span(f" {words}: ")
            yield Span(listed(names[cause.id] for cause in group), strong=True)
            yield Span(".")
        # What it is, in a sentence, for those that carry the answer; under first aid for the first alone.
        about = [cause for cause in group if least >= 0.4 and (not telling.first_aid or cause is causes[0])]
        for cause in about:
            named = f"{names[cause.id]}: " if len(group) > 1 else ""
            yield Span(f" {named}{telling.reference.conditions[cause.id].keeper_words}")
    carried = [c for c in causes if c.probability >= CARRIED_FROM and c.responsible < 0.5]
    if carried:
        yield Span(" There, but perhaps only carried: ")
        yield Span(listed(names[cause.id] for cause in carried), strong=True)
        yield Span(".")


def cause_bar(telling: Telling, cause: ConditionResult) -> Bar:
    """One cause as a bar with its words."""
    drawing = charts.cause_bar(cause.responsible, cause.probability, cause.prior, cause.low, cause.high)
    alternative = (
        f"{cause.name}: to blame {in_hundred(cause.responsible)}, there {in_hundred(cause.probability)},"
        f" before looking {in_hundred(cause.prior)}"
    )
    if cause.low is not None and cause.high is not None:
        alternative += f"; {round(100 * cause.low)} to {round(100 * cause.high)} in 100 when the tables are redrawn"
    if telling.ranked_by_presence:
        words = f"there: {in_ten(cause.probability)}"
    elif cause.probability >= CARRIED_FROM and cause.responsible < 0.5:
        words = f"there; to blame: {in_ten(cause.responsible)}"
    else:
        words = f"to blame: {in_ten(cause.responsible)}"
    return Bar(telling.short_names[cause.id], Drawing(drawing, f"{alternative}."), words, firm_range(cause))


def seen(telling: Telling) -> Section:
    """What we saw, what was looked for and not seen, and what was not looked at yet."""
    evidence, findings = telling.weighup.evidence, telling.reference.findings
    by_id = {observation.finding: observation for observation in evidence.observations}
    items: list[Field] = []
    shown = _by_weight(telling, seen=True)
    most = room(telling)
    for id in shown[: most["seen"]]:
        one = by_id[id]
        items.append(Field(field_of(findings[id], one.level, one.sure), finding_words(findings[id], one)))
    proper = [id for id in _by_weight(telling, seen=False) if by_id[id].sure != "swept"]
    swept = [id for id in by_id if by_id[id].level == 0 and by_id[id].sure == "swept"]
    items += [Field("clear", finding_words(findings[id], by_id[id])) for id in proper[: most["not seen"]]]
    if len(swept) == 1:
        items.append(Field("swept", finding_words(findings[swept[0]], by_id[swept[0]])))
    elif swept:
        items.append(Field("swept", f"{counted(len(swept), 'other thing')}, quick look, not seen"))
    items += [Field("none", words) for words in not_looked_at(telling)[: most["not looked at"]]]
    blocks: list[Block] = []
    if not shown:
        blocks.append(Paragraph((Span("Nothing out of the ordinary was seen so far."),)))
    if items:
        blocks.append(Fields(tuple(items)))
    left_seen = max(0, len(shown) - (most["seen"]))
    left_not = max(0, len(proper) - (most["not seen"]))
    if left_seen or left_not:
        rest = [f"{left_seen} more seen"] if left_seen else []
        rest += [f"{left_not} more looked for and not seen"] if left_not else []
        blocks.append(Paragraph((Span(f"And {listed(rest)}: listed behind."),), quiet=True))
    return Section("seen", "What we saw", tuple(blocks))


def not_looked_at(telling: Telling) -> list[str]:
    """Examinations that were not done, the most useful first."""
    result, done = telling.weighup, telling.weighup.evidence.examinations_done
    if result.next_examinations is not None:
        wanted = [one.id for one in (*result.unfinished, *result.next_examinations) if not one.laboratory]
        fish_spared = [id for id in wanted if not telling.reference.examinations[id].gives_up_fish]
    else:
        ordered = sorted(telling.reference.examinations.values(), key=lambda row: row.order)
        fish_spared = [
            row.id
            for row in ordered
            if not row.gives_up_fish and row.subject != "laboratory" and done.get(row.id, 0) < 0.5
        ]
    return [
        f"{telling.reference.examinations[id].name}: {'begun, not finished' if done.get(id) else 'not done yet'}"
        for id in fish_spared
    ]


def _by_weight(telling: Telling, *, seen: bool) -> list[str]:
    """Findings seen (or looked for and not seen), those that move the leading causes most first; history answers,
    numbers of fish that are sound and clean water are left to the pages behind."""
    weights: dict[str, float] = {}
    for cause in telling.weighup.conditions[: ROOM["causes"]]:
        for reason in telling.weighup.reasons.get(cause.id, ()):
            for id in reason.findings:
                weights[id] = max(weights.get(id, 0.0), abs(reason.weight) * max(cause.responsible, 0.05))
    order = {id: place for place, id in enumerate(telling.reference.findings)}
    wanted = [
        one.finding
        for one in telling.weighup.evidence.observations
        if (one.level > 0) == seen and telling.reference.findings[one.finding].examination != "asking"
    ]
    if not seen:
        wanted = [id for id in wanted if telling.reference.findings[id].kind in ("sign", "organism", "laboratory")]
    return sorted(wanted, key=lambda id: (-weights.get(id, 0.0), order[id]))


def urgent(telling: Telling) -> Section | None:
    """First aid; None without a red flag."""
    if not telling.red_flags:
        return None
    flags = "; ".join(flag.name for flag in telling.red_flags)
    blocks: list[Block] = [
        Paragraph((Span(sentence(f"Because: {flags}")),)),
        Points(tuple(step.text for step in telling.first_aid), numbered=True),
    ]
    return Section("urgent", "First aid, in the next ten minutes", tuple(blocks))


def today(telling: Telling, planned: Sequence[str] | None = None) -> Section:
    """What to do with the tank today: as the plan says (`planned`), where one was chosen. Without one no medicine and
    no amount: that is for a plan and a veterinarian."""
    seen_now = {one.finding for one in telling.weighup.evidence.observations if one.level > 0}
    items: list[str] = []
    items += planned or ()
    if not telling.first_aid and not planned:
        if seen_now & set(BREATHING):
            items.append(_step(telling, AIR))
        if not telling.weighup.evidence.examinations_done.get("water_test"):
            items.append(_step(telling, TEST))
    kinds = telling.reference.cautions
    items += [
        caution.headline
        for caution in telling.cautions
        if kinds[caution.id].trigger_kind == "water" or caution.id in FOR_TODAY
    ]
    if planned is None:
        items.append("No medicine on the word of this sheet: a licensed veterinarian decides which, how much, or none.")
    else:
        items.append(
            "Nothing but what the plan behind says: a licensed veterinarian, the label and the law come first."
        )
    return Section("today", "Do today", (Points(tuple(item for item in items if item), numbered=True),))


def _step(telling: Telling, order: int) -> str:
    return next((row.text for row in telling.reference.first_aid if row.order == order), "")


def watch(telling: Telling) -> Section:
    """Signs that would change what to do: red flags that are not up, and what the leading causes bring next."""
    reference, result = telling.reference, telling.weighup
    up = {flag.id for flag in telling.red_flags}
    signs = [
        flag.name
        for flag in reference.red_flags.values()
        if flag.id not in up and flag.from_finding and reference.findings[flag.from_finding].kind in ("sign", "effect")
    ]
    items = [f"Worse: {'; '.join(signs)}. Then more air, and write at once."] if signs else []
    levels = {one.finding: one.level for one in result.evidence.observations}
    for cause in telling.shown_causes(2, 0.3):
        likely = sorted(
            (
                link
                for link in reference.links
                if link.condition == cause.id and link.level == 1 and link.probability >= 0.3
            ),
            key=lambda link: -link.probability,
        )
        at_tank = [
            reference.findings[link.finding].name
            for link in likely
            if reference.findings[link.finding].examination == "tank_look" and not levels.get(link.finding)
        ]
        if at_tank:
            items.append(sentence(f"What {telling.short_names[cause.id]} may bring next: {'; '.join(at_tank[:3])}"))
    ill = [id for id in _by_weight(telling, seen=True) if reference.findings[id].kind == "sign"]
    if ill:
        items.append(sentence(f"More fish with: {'; '.join(reference.findings[id].name for id in ill[:2])}"))
    return Section("watch", "Watch for", (Points(tuple(items[: room(telling)["watch"]])),))


def write(telling: Telling, next_look: date | None = None) -> Section:
    """When to write back, and what; `next_look` is the day a plan has for it."""
    result, reference = telling.weighup, telling.reference
    water = listed(_raised(telling)) or "temperature, pH, ammonia and nitrite"
    tomorrow = telling.day(telling.date, offset=1) or "Tomorrow"
    items = [
        "At once: anything under Watch for.",
        sentence(f"{tomorrow}: how many are ill, how many have died, and the water again ({water})"),
    ]
    leader = result.conditions[0]
    row = reference.conditions[leader.id]
    if next_look is not None:
        items.append(f"Next look on {telling.day(next_look)}, as planned.")
    elif not telling.ranked_by_presence and leader.responsible >= 0.4:
        days = min(14, max(1, round(row.course_days_low)))
        by = telling.day(telling.date, offset=days)
        within = f"by {by}" if by else f"within {counted(days, 'day')}"
        course = f"{row.course_days_low:g} to {row.course_days_high:g} days from first signs to death or settling"
        items.append(f"Next look {within} ({telling.short_names[leader.id]}: {course}).")
    wanted = [one for one in result.next_examinations or () if not one.laboratory and not one.gives_up_fish]
    if wanted:
        items.append(f"We would do this next: {wanted[0].name}, {duration(wanted[0].minutes)}.")
    return Section("write", "When to write to us", (Points(tuple(items)),))


def _raised(telling: Telling) -> list[str]:
    """What to measure again: the readings behind the findings of the water that are seen."""
    seen_now = {one.finding for one in telling.weighup.evidence.observations if one.level > 0}
    again = {limit.parameter: None for limit in telling.reference.limits if limit.finding in seen_now}
    again.pop("chloride_to_nitrite", None)  # protects from nitrite; it is no reading of its own
    names = {"un_ionised_ammonia": "ammonia and pH", "oxygen_saturation": "oxygen"}
    return list(dict.fromkeys(names.get(parameter, parameter_name(parameter)) for parameter in again))


def care(telling: Telling) -> Section:
    """Cautions for people and the law, in a sentence each; the whole of each stands behind."""
    kinds = telling.reference.cautions
    notifiable = [warning.text for warning in telling.weighup.warnings if warning.kind == "notifiable"]
    spans = [Span(f"{text} ", strong=True) for text in notifiable]
    for caution in telling.cautions:
        said = notifiable and caution.id.startswith("notifiable_")  # by name, just now
        about_people = kinds[caution.id].trigger_kind in ("always", "condition", "finding", "agent")
        if about_people and not said and caution.id not in (*FOR_TODAY, "veterinarian_first"):
            spans.append(Span(f"{caution.headline} ", strong=caution.severity == "stop"))
    return Section("care", "Take care of yourself and of others", (Paragraph(tuple(spans)),))


def host_range(telling: Telling) -> str:
    """The range of temperature and pH the species is kept in; empty for a group."""
    row = host_row(telling.case.host.species, telling.reference)
    if row is None:
        return ""
    words = f"{row.common_name} ({row.scientific_name}) is kept at {row.temperature_low_c:g} to"
    words += f" {row.temperature_high_c:g} °C and pH {row.ph_low:g} to {row.ph_high:g}"
    return f"{words} {telling.bibliography.cite(row.sources)}".strip()
