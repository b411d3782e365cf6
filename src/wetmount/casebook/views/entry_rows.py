"""What a page of findings shows: examinations as sections, findings as rows of keys."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from django.db.models import Prefetch
from django.utils import timezone

from wetmount import case as core
from wetmount.casebook.models import Attachment, Case, Examination, FindingEntry, Fish, Look
from wetmount.casebook.reference import reference
from wetmount.casebook.services.looking import say_level
from wetmount.casebook.services.refusals import Conflict
from wetmount.casebook.templatetags.look import glyph_of
from wetmount.cautions import CautionShown, cautions_for
from wetmount.derived import grade_counts
from wetmount.looking import body_state_of
from wetmount.reference.rows import Examination as Kind
from wetmount.reference.rows import Finding

KEY_WORDS = {"absent": "not seen", "present": "seen", "very_many": "very many", "very_high": "very high"}
"""A level on its key, where the word of the table says it less well to the eye."""

SAID_BY_THE_HEADING = {
    "skin_scrape": (" on skin", " in skin", " in skin scrape"),
    "fin_clip": (" on skin", " in skin"),
    "gill_scrape": (" on gill",),
    "faecal_wet_mount": (" in faeces",),
}
"""Ends of names that a row leaves to the name of its examination."""

UNSET = "-"
"""Stands for "not looked at" in what a key sends."""


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a row. `sends` is what pressing it sends: finding, level, how sure, the version that was shown."""

    level: int
    word: str
    glyph: str
    pressed: bool
    sends: str


@dataclass(frozen=True, slots=True)
class Answer:
    """One of two answers between which a row asks: its value in words, who gave it, when, and what keeping it sends."""

    word: str
    who: str
    at: dt.datetime | None
    sends: str


@dataclass(frozen=True, slots=True)
class Row:
    """A finding and what was entered for it. `slot` is the line under the name: a state, else the description."""

    id: str
    finding: Finding
    name: str
    level: int | None
    sure: str
    version: int
    glyph: str
    keys: tuple[Key, ...]
    said: str
    state: str
    asks: tuple[Answer, ...] = ()

    @property
    def look(self) -> str:
        """The class that colours the row's field of view."""
        return "" if self.level is None else "is-clear" if self.level == 0 else "is-seen"


@dataclass(slots=True)
class Section:
    """An examination on the page: of one fish or tank, begun or not yet."""

    id: str
    kind: Kind
    look: Look
    record: Examination | None
    fish: Fish | None
    rows: tuple[Row, ...]
    rest: tuple[Row, ...]
    sweeps: tuple[str, ...]
    swept: int
    looked_one_by_one: int
    saved: int
    saved_at: dt.datetime | None
    meta: str
    cautions: tuple[CautionShown, ...]
    photographs: tuple[Attachment, ...] = ()
    others: tuple[Attachment, ...] = ()
    open: bool = True

    @property
    def entered_beyond(self) -> int:
        """How many of the folded rows have an entry."""
        return sum(row.level is not None for row in self.rest)


def first_upper(text: str) -> str:
    """With a capital at the beginning, the rest as it is."""
    return text[:1].upper() + text[1:]


def rows_of_kind(kind: Kind) -> tuple[list[Finding], list[Finding]]:
    """The findings of an examination: its short list, and the rest that is folded away.

    An examination without findings of its own (a fin clip shows what a scrape does) folds the rest of the examination
    that most of its list comes from.
    """
    tables = reference()
    short = [tables.findings[id] for id in kind.short_list]
    owners = [kind.id] if any(one.examination == kind.id for one in tables.findings.values()) else []
    if not owners:
        owners = [owner for owner, _ in Counter(one.examination for one in short).most_common(1)]
    listed = set(kind.short_list)
    rest = [one for one in tables.findings.values() if one.examination in owners and one.id not in listed]
    return short, rest


# --- one row ----------------------------------------------------------------------------------------------------------


def row_of(section: str, finding: Finding, entry: FindingEntry | None, counted: str = "") -> Row:
    """The row of a finding in a section; `counted` are the words of its count on the slides."""
    level = entry.level if entry is not None else None
    sure = entry.sure if entry is not None else "sure"
    version = entry.version if entry is not None else 0
    return Row(
        id=f"{section}-{finding.id}",
        finding=finding,
        name=first_upper(_short_name(section.split("-")[0], finding.name)),
        level=level,
        sure=sure,
        version=version,
        glyph=glyph_of(finding.levels, level, sure),
        keys=tuple(_keys(finding, level, version)),
        said=say_level(finding.levels, level, sure),
        state=_state(entry, counted),
    )


def _short_name(kind: str, name: str) -> str:
    ends = (end for end in SAID_BY_THE_HEADING.get(kind, ()) if name.endswith(end))
    return name.removesuffix(next(ends, ""))


def _keys(finding: Finding, level: int | None, version: int) -> Iterable[Key]:
    for k, word in enumerate(finding.levels):
        pressed = level == k
        sends = f"{finding.id} {UNSET if pressed else k} sure {version}"
        shown = KEY_WORDS.get(word, word.replace("_", " "))
        yield Key(k, shown, glyph_of(finding.levels, k), pressed, sends)


def _state(entry: FindingEntry | None, counted: str) -> str:
    if entry is None:
        return f"counted: {counted}" if counted else ""
    words = [{"fairly": "fairly sure", "doubtful": "doubtful"}.get(entry.sure, "")] if entry.level else []
    if entry.seen_in is not None and entry.looked_at is not None:
        words.append(f"in {entry.seen_in} of {entry.looked_at}")
    if entry.note:
        words.append(entry.note if len(entry.note) <= 60 else entry.note[:59] + "…")
    return " · ".join(word for word in words if word)


def asking_row(section: str, finding: Finding, entry: FindingEntry | None, clash: Conflict) -> Row:
    """The row of a finding that two devices entered differently: it shows both and asks."""
    row = row_of(section, finding, entry)
    asks = []
    for side in (clash.now, clash.yours):
        level = side.values.get("level") if side.values else None
        sure = str(side.values.get("sure", "sure")) if side.values else "sure"
        word = say_level(finding.levels, level, sure)
        # What was swept stays so when it is kept; keeping is then to send nothing new.
        sends = f"{finding.id} {UNSET if level is None else level} {sure} {clash.version if entry is not None else 0}"
        asks.append(Answer(word, side.who, side.at, sends))
    return replace(row, asks=tuple(asks))


# --- sections ---------------------------------------------------------------------------------------------------------


def examinations_of(look: Look, kinds: Sequence[str]) -> list[Examination]:
    """The examinations of these kinds in a look with all that hangs on them: five queries, however many rows."""
    files = Attachment.objects.filter(deleted_at=None).order_by("pk")
    rows = Examination.objects.filter(look=look, kind__in=kinds).select_related("fish", "tank").order_by("pk")
    return list(rows.prefetch_related("findings", "slides", Prefetch("attachments", files, to_attr="files")))


def sections_of(look: Look, kinds: Sequence[str], fish: Fish | None) -> list[Section]:
    """The sections of a step: each examination that was begun, and an empty one for each that was not."""
    tables, begun = reference(), examinations_of(look, kinds)
    order = list(Fish.objects.filter(case=look.case_id).order_by("pk").values_list("pk", flat=True))
    sections: list[Section] = []
    for id in kinds:
        kind = tables.examinations.get(id)
        if kind is None:
            continue
        of_fish = kind.subject == "fish"
        records = [one for one in begun if one.kind == id and (not of_fish or one.fish_id in (None, fish and fish.pk))]
        ours = [one for one in records if not of_fish or fish is None or one.fish_id == fish.pk]
        places = Counter[str]()
        for record in [*records, *([] if ours else [None])]:
            whose = whose_of(kind, record.fish_id if record is not None else fish and fish.pk, record is None, order)
            places[whose] += 1
            sections.append(section_of(look, kind, record, fish if of_fish else None, f"{whose}-{places[whose]}"))
    for place, section in enumerate(sections):
        section.open = place == 0 or section.saved > 0 or bool(section.record)
    return sections


def whose_of(kind: Kind, fish: int | None, is_blank: bool, order: Sequence[int]) -> str:
    """The part of a section's id that says whose it is: the place of the fish in the case, so that nothing changes when
    a first entry gives a case its first fish; "none" for an examination of a fish that names none."""
    if kind.subject != "fish" or (fish is None and is_blank):
        return "0"
    return str(order.index(fish)) if fish in order else "none"


def section_of(look: Look, kind: Kind, record: Examination | None, fish: Fish | None, place: str) -> Section:
    """One section. Its id is the same before and after its first entry."""
    id = f"{kind.id}-{place}"
    entries = {one.finding: one for one in record.findings.all()} if record is not None else {}
    counts = _counts(record)
    short, rest = rows_of_kind(kind)
    known = {one.id for one in (*short, *rest)}
    # What was entered here though it belongs elsewhere (by a case file) is shown as well.
    rest += [reference().findings[one] for one in entries if one not in known and one in reference().findings]
    entered = list(entries.values())
    sweeps = [
        _short_name(kind.id, one.name)
        for one in short
        if one.id not in entries and one.id not in counts and one.kind != "cause"
    ]
    files = list(getattr(record, "files", ())) if record is not None else []
    return Section(
        id=id,
        kind=kind,
        look=look,
        record=record,
        fish=record.fish if record is not None else fish,
        rows=tuple(row_of(id, one, entries.get(one.id), counts.get(one.id, "")) for one in short),
        rest=tuple(row_of(id, one, entries.get(one.id), counts.get(one.id, "")) for one in rest),
        sweeps=tuple(sweeps),
        swept=sum(one.swept for one in entered),
        looked_one_by_one=sum(one.level == 0 and not one.swept for one in entered),
        saved=len(entered),
        saved_at=max((one.at for one in entered), default=None),
        meta=_meta(record),
        cautions=tuple(one for one in cautions_for(reference(), examinations=[kind.id]) if one.because),
        photographs=tuple(one for one in files if one.kind == "photograph"),
        others=tuple(one for one in files if one.kind != "photograph"),
    )


def section_for(record: Examination) -> Section:
    """The section of one examination as it stands on its page."""
    kind = reference().examinations[record.kind]
    same = Examination.objects.filter(look=record.look_id, kind=record.kind).order_by("pk")
    if kind.subject == "fish":
        same = same.filter(fish=record.fish_id)
    place = list(same.values_list("pk", flat=True)).index(record.pk) + 1
    order = list(Fish.objects.filter(case=record.look.case_id).order_by("pk").values_list("pk", flat=True))
    whose = whose_of(kind, record.fish_id, False, order)
    fresh = next(one for one in examinations_of(record.look, [record.kind]) if one.pk == record.pk)
    return section_of(record.look, kind, fresh, fresh.fish, f"{whose}-{place}")


def _counts(record: Examination | None) -> dict[str, str]:
    """Finding → what its count says, for what was counted on the slides."""
    known = reference().findings
    slides = [
        core.Slide(
            fields=slide.fields,
            counts={id: tuple(n) if isinstance(n, list) else n for id, n in slide.counts.items() if id in known},
        )
        for slide in (record.slides.all() if record is not None else ())
    ]
    return {id: words for id, (_, words) in grade_counts(slides, reference()).items()}


def _meta(record: Examination | None) -> str:
    """'Fish 1, right flank, 14:02. 20 fields at 10x and 40x'."""
    if record is None:
        return ""
    parts = [str(record.fish) if record.fish is not None else "", str(record.tank or ""), record.site]
    parts.append(timezone.localtime(record.at).strftime("%H:%M") if record.at is not None else "")
    words = first_upper(", ".join(part for part in parts if part))
    slides = list(record.slides.all())
    fields = sum(slide.fields or max((len(n) for n in slide.counts.values() if isinstance(n, list)), default=0)
                 for slide in slides)  # fmt: skip
    if slides:
        objectives = " and ".join(
            dict.fromkeys(slide.objective.replace("x", "×") for slide in slides if slide.objective)
        )
        viewed = f"{fields} field{'s' if fields != 1 else ''}" if fields else f"{len(slides)} slides"
        words += f". {viewed}{' at ' + objectives if objectives else ''}"
    return words


# --- the fish ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FishShown:
    """A fish of the case with its state in words."""

    row: Fish
    state: str
    chosen: bool


STATE_WORDS = {
    "alive": "alive",
    "fresh_killed": "just killed",
    "dead_0_2h": "dead, under 2 h",
    "dead_2_12h": "dead, 2 to 12 h",
    "dead_over_12h": "dead, over 12 h",
    "refrigerated": "dead, refrigerated",
    "frozen": "dead, frozen",
}
"""States of a body in words; one of an overlay stands by its id."""


def state_words(fish: Fish) -> str:
    """The state of the body in words, as the weigh-up takes it; empty when nothing is known."""
    state = body_state_of(
        core.Fish(
            id=fish.name,
            state=fish.state or None,
            killed_by=fish.killed_by or None,
            hours_dead=fish.hours_dead,
            kept=fish.kept or None,
        )
    )
    return "" if state is None else STATE_WORDS.get(state, state.replace("_", " "))


def fish_of(case: Case, chosen: Fish | None) -> list[FishShown]:
    """The fish of a case, the chosen one marked."""
    return [FishShown(one, state_words(one), chosen is not None and one.pk == chosen.pk) for one in case.fish.all()]
