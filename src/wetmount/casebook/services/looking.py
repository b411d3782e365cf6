"""What looking gives: looks, fish, examinations, findings, slides, history, numbers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import msgspec

from wetmount import case as core
from wetmount.case_check import answerable, body_states, check_content
from wetmount.casebook.models import (
    Case,
    Examination,
    FindingEntry,
    Fish,
    HistoryAnswer,
    Look,
    Numbers,
    Slide,
    Tank,
)
from wetmount.casebook.models import Device as Who
from wetmount.casebook.reference import reference
from wetmount.casebook.services.acts import Writer, act, conflict, values_of
from wetmount.casebook.services.refusals import Refused
from wetmount.reference.rows import Finding

SURE = ("sure", "fairly", "doubtful")


def begin_look(device: Who | None, case: Case, on: dt.date, note: str = "") -> Look:
    """A new visit. A case opens with its first look already made."""
    with act(device, "begin_look", f"Look of {on.isoformat()} begun", case=case) as writer:
        return writer.make(Look, case_id=case.pk, on=on, note=note)


def change_look(device: Who | None, look: Look, *, seen: int | None = None, **values: Any) -> Look:
    """The date (`on`) or note of a look."""
    with act(device, "change_look", "Look changed", case=look.case) as writer:
        row = Look.objects.get(pk=look.pk)
        writer.set(row, seen=seen, **values)
    return row


def add_fish(device: Who | None, case: Case, **values: Any) -> Fish:
    """A fish to be examined. Without a name it takes the next number."""
    with act(device, "add_fish", "Fish added", case=case) as writer:
        taken = set(Fish.objects.filter(case=case).values_list("name", flat=True))
        name = str(values.pop("name", "") or "").strip()
        name = name or next(str(n) for n in range(1, len(taken) + 2) if str(n) not in taken)
        if name in taken:
            raise Refused(f"There is a fish {name!r} in this case already.")
        _check_fish(values)
        return writer.make(Fish, case_id=case.pk, name=name, **values)


def change_fish(device: Who | None, fish: Fish, *, seen: int | None = None, **values: Any) -> Fish:
    """State of the body, size, sex, name, note of a fish."""
    if "name" in values and Fish.objects.filter(case=fish.case, name=values["name"]).exclude(pk=fish.pk).exists():
        raise Refused(f"There is a fish {values['name']!r} in this case already.")
    with act(device, "change_fish", f"Fish {fish.name} changed", case=fish.case) as writer:
        row = Fish.objects.get(pk=fish.pk)
        _check_fish({name: getattr(row, name) for name in _FISH} | values)
        writer.set(row, seen=seen, **values)
    return row


_FISH = ("species", "state", "killed_by", "hours_dead", "kept", "length", "weight", "sex", "note")


def _check_fish(values: dict[str, Any]) -> None:
    said = {name: values[name] for name in _FISH if values.get(name) not in (None, "")}
    _check({"fish": [{"id": "it", **said}]})


def _check(said: dict[str, Any]) -> None:
    """Refuse what the core would refuse in a case file: one rule for files and pages."""
    host = {"group": next(iter(reference().host_groups))}
    try:
        case = msgspec.convert({"format": 1, "host": host, **said}, core.Case)
    except msgspec.ValidationError as error:
        raise Refused(f"That cannot be: {error}.") from None
    for problem in check_content(case, "", reference()):
        if problem.fatal:
            what = (problem.field or "").rpartition(".")[2].replace("_", " ")
            raise Refused(f"{_first_upper(what)} {problem.message}.".strip())


def add_examination(
    device: Who | None, look: Look, kind: str, *, fish: Fish | None = None, tank: Tank | None = None, **values: Any
) -> Examination:
    """An examination of one fish or one tank (at, body_state, site, note)."""
    row = reference().examinations.get(kind)
    if row is None:
        raise Refused(f"There is no examination {kind!r} in the reference.")
    _check_body_state(values)
    of = f", fish {fish.name}" if fish is not None else f", {tank.name}" if tank is not None else ""
    with act(device, "add_examination", f"{_first_upper(row.name)}{of}: begun", case=look.case) as writer:
        values.setdefault("at", writer.at)
        return writer.make(
            Examination,
            look_id=look.pk,
            kind=kind,
            fish_id=fish.pk if fish else None,
            tank_id=tank.pk if tank else None,
            **values,
        )


def examination_for(device: Who | None, look: Look, kind: str, fish: Fish | None = None) -> Examination:
    """The latest examination of this kind and fish in the look; made when there is none yet."""
    found = Examination.objects.filter(look=look, kind=kind, fish=fish).order_by("-id").first()
    return found or add_examination(device, look, kind, fish=fish)


def change_examination(
    device: Who | None, examination: Examination, *, seen: int | None = None, **values: Any
) -> Examination:
    """Fish, tank, moment, body state, site or note of an examination (fish_id, tank_id, at, body_state, site, note)."""
    _check_body_state(values)
    with act(device, "change_examination", f"{title_of(examination)}: changed", case=examination.look.case) as writer:
        row = Examination.objects.get(pk=examination.pk)
        writer.set(row, seen=seen, **values)
    return row


def _check_body_state(values: dict[str, Any]) -> None:
    state, known = values.get("body_state"), body_states(reference())
    if state and state not in known:
        raise Refused(f"A body state is one of {', '.join(known)}, not {state!r}.")


def remove_examination(device: Who | None, examination: Examination) -> None:
    """Take an examination away with all it found. Undo brings it back."""
    with act(device, "remove_examination", f"{title_of(examination)}: deleted", case=examination.look.case) as writer:
        writer.take_away(Examination.objects.get(pk=examination.pk))


def remove_fish(device: Who | None, fish: Fish) -> None:
    """Take a fish off the case; its examinations stay, without a fish."""
    with act(device, "remove_fish", f"Fish {fish.name}: deleted", case=fish.case) as writer:
        writer.take_away(Fish.objects.get(pk=fish.pk))


def remove_look(device: Who | None, look: Look) -> None:
    """Take a look away with its examinations and readings. The last look of a case stays."""
    with act(device, "remove_look", "Look deleted", case=look.case) as writer:
        if Look.objects.filter(case=look.case_id).count() == 1:
            raise Refused("A case has at least one look.")
        writer.take_away(Look.objects.get(pk=look.pk))


# --- findings ---------------------------------------------------------------------------------------------------------


def record_finding(
    device: Who | None,
    examination: Examination,
    finding: str,
    level: int | None,
    *,
    sure: str = "sure",
    seen_in: int | None = None,
    looked_at: int | None = None,
    note: str | None = None,
    seen: int | None = None,
) -> FindingEntry | None:
    """Set a finding to a level; None sets it back to not looked at.

    `seen`: the version the page showed, 0 where it showed "not looked at". When another device wrote meanwhile and the
    two differ, `Conflict` says both. Returns the entry as it stands, None for not looked at.
    """
    row = known_finding(finding)
    if level is not None and not 0 <= level < len(row.levels):
        raise Refused(f"{_first_upper(row.name)} has the levels {', '.join(row.levels)}; there is no level {level}.")
    if sure not in SURE:
        raise Refused(f"How sure is one of {', '.join(SURE)}, not {sure!r}.")
    if seen_in is not None and looked_at is not None and seen_in > looked_at:
        raise Refused(f"Seen in {seen_in} of {looked_at}: more than were looked at.")
    said = say_finding(examination, row, level, sure)
    with act(device, "record_finding", said, case=examination.look.case) as writer:
        entry = FindingEntry.objects.filter(examination=examination.pk, finding=finding).first()
        if level is None:
            if entry is not None:
                if seen is not None and seen != entry.version:
                    raise conflict("findingentry", entry.pk, values_of(entry), {"level": None}, entry.version, writer)
                writer.take_away(entry)
            return None
        values: dict[str, Any] = {"level": level, "sure": sure, "seen_in": seen_in, "looked_at": looked_at}
        if note is not None:
            values["note"] = note
        if entry is None:
            return _new_finding(writer, examination, finding, values, seen)
        if all(getattr(entry, name) == value for name, value in values.items()):
            return entry
        writer.set(entry, seen=seen, at=writer.at, **values)
    return entry


def _new_finding(
    writer: Writer, examination: Examination, finding: str, values: dict[str, Any], seen: int | None
) -> FindingEntry:
    if seen:  # the page showed an entry that another device has taken away since
        raise conflict("findingentry", None, None, values, _last_touch(examination, finding), writer)
    return writer.make(FindingEntry, examination_id=examination.pk, finding=finding, at=writer.at, **values)


def _last_touch(examination: Examination, finding: str) -> int:
    """The act that took an entry away."""
    from wetmount.casebook.models import Change

    gone = Change.objects.filter(
        table="findingentry",
        after__isnull=True,
        act__case=examination.look.case_id,
        before__examination_id=examination.pk,
        before__finding=finding,
    ).order_by("-id")
    return gone.values_list("act_id", flat=True).first() or 0


def set_sure(device: Who | None, entry: FindingEntry, sure: str, *, seen: int | None = None) -> FindingEntry:
    """How sure one is of a finding that was seen."""
    if sure not in SURE:
        raise Refused(f"How sure is one of {', '.join(SURE)}, not {sure!r}.")
    if entry.swept:
        raise Refused("A swept finding was looked over at a glance; look for it properly first.")
    said = say_finding(entry.examination, known_finding(entry.finding), entry.level, sure)
    with act(device, "set_sure", said, case=entry.examination.look.case) as writer:
        row = FindingEntry.objects.get(pk=entry.pk)
        writer.set(row, seen=seen, sure=sure)
    return row


def to_sweep(examination: Examination) -> list[Finding]:
    """What the sweep would set: the short list without what has an entry or was counted, and without questions of the
    history, which only the keeper can answer."""
    tables = reference()
    done = set(FindingEntry.objects.filter(examination=examination).values_list("finding", flat=True))
    done |= {one for counts in examination.slides.values_list("counts", flat=True) for one in counts}
    listed = tables.examinations[examination.kind].short_list
    return [tables.findings[one] for one in listed if one not in done and tables.findings[one].kind != "cause"]


def sweep_rest(device: Who | None, examination: Examination) -> list[FindingEntry]:
    """The rest of the short list: looked over at a glance, not seen. Nothing beyond the list."""
    rest = to_sweep(examination)
    said = f"{title_of(examination)}: {len(rest)} swept, looked, not seen"
    with act(device, "sweep_rest", said, case=examination.look.case) as writer:
        return [
            writer.make(
                FindingEntry, examination_id=examination.pk, finding=row.id, level=0, sure="swept", at=writer.at
            )
            for row in to_sweep(examination)  # again, now that the case is locked
        ]


def take_sweep_back(device: Who | None, examination: Examination) -> int:
    """Set what was swept back to not looked at; how many that were."""
    with act(device, "take_sweep_back", f"{title_of(examination)}: sweep taken back", case=examination.look.case) as w:
        swept = list(FindingEntry.objects.filter(examination=examination, sure="swept"))
        for entry in swept:
            w.take_away(entry)
    return len(swept)


# --- slides, history, numbers -----------------------------------------------------------------------------------------


def add_slide(device: Who | None, examination: Examination, **values: Any) -> Slide:
    """A wet mount of an examination (objective, fields, counts, site, note)."""
    _check_slide(examination.kind, values)
    with act(device, "add_slide", f"{title_of(examination)}: slide", case=examination.look.case) as writer:
        return writer.make(Slide, examination_id=examination.pk, **values)


def change_slide(device: Who | None, slide: Slide, *, said: str = "", seen: int | None = None, **values: Any) -> Slide:
    """Counts or fields of a slide. `said` is the entry in words, for the undo bar."""
    examination = slide.examination
    with act(
        device, "change_slide", said or f"{title_of(examination)}: slide changed", case=examination.look.case
    ) as writer:
        row = Slide.objects.get(pk=slide.pk)
        _check_slide(examination.kind, {name: getattr(row, name) for name in _SLIDE} | values)
        writer.set(row, seen=seen, **values)
    return row


_SLIDE = ("objective", "fields", "counts", "site", "note")


def _check_slide(kind: str, values: dict[str, Any]) -> None:
    said = {name: values[name] for name in _SLIDE if values.get(name) not in (None, "", {})}
    _check({"looks": [{"examinations": [{"kind": kind, "slides": [said]}]}]})


def answer_history(
    device: Who | None, case: Case, finding: str, answer: str | None, *, seen: int | None = None
) -> HistoryAnswer | None:
    """yes, no, or "not asked"; None removes the answer."""
    if finding not in answerable(reference()):
        raise Refused(f"{finding!r} is no question of the history.")
    if answer is not None and answer not in dict(HistoryAnswer.ANSWERS):
        raise Refused(f"An answer is yes, no or not asked, not {answer!r}.")
    said = f"{_first_upper(known_finding(finding).name)}: {answer or 'no answer'}"
    with act(device, "answer_history", said, case=case) as writer:
        row = HistoryAnswer.objects.filter(case=case, finding=finding).first()
        if answer is None:
            if row is not None:
                writer.take_away(row)
            return None
        if row is None:
            return writer.make(HistoryAnswer, case_id=case.pk, finding=finding, answer=answer)
        writer.set(row, seen=seen, answer=answer)
    return row


def set_numbers(
    device: Who | None,
    look: Look,
    *,
    total: int | None,
    sick: int | None,
    dead: int | None,
    dead_today: int | None,
    seen: int | None = None,
) -> Numbers:
    """How many fish there were, counted on the day of the look."""
    if total is not None and (sick or 0) + (dead or 0) > total:
        raise Refused(f"{sick or 0} sick and {dead or 0} dead are more than the {total} kept.")
    if dead is not None and dead_today is not None and dead_today > dead:
        raise Refused(f"{dead_today} died today but {dead} in all; today's are counted in.")
    words = [f"{n} {what}" for n, what in ((total, "kept"), (sick, "sick"), (dead, "dead")) if n is not None]
    values = {"total": total, "sick": sick, "dead": dead, "dead_today": dead_today}
    with act(device, "set_numbers", "Numbers: " + (", ".join(words) or "none"), case=look.case) as writer:
        row = Numbers.objects.filter(look=look.pk).first()
        if row is None:
            return writer.make(Numbers, look_id=look.pk, **values)
        writer.set(row, seen=seen, **values)
    return row


# --- words ------------------------------------------------------------------------------------------------------------


def known_finding(finding: str) -> Finding:
    """The finding's row; `Refused` when there is none."""
    row = reference().findings.get(finding)
    if row is None:
        raise Refused(f"There is no finding {finding!r} in the reference.")
    return row


def title_of(examination: Examination) -> str:
    """'Skin scrape, fish 1'."""
    row = reference().examinations.get(examination.kind)
    name = _first_upper(row.name if row is not None else examination.kind)
    return f"{name}, fish {examination.fish.name}" if examination.fish is not None else name


def say_finding(examination: Examination, row: Finding, level: int | None, sure: str) -> str:
    """The entry in words, as the undo bar repeats it."""
    return f"{_first_upper(row.name)}: {say_level(row.levels, level, sure)}. {title_of(examination)}"


def say_level(levels: Sequence[str], level: int | None, sure: str = "sure") -> str:
    """'not looked at', 'looked, not seen', 'few', 'few, doubtful'."""
    if level is None:
        return "not looked at"
    if level == 0:
        return "swept: looked, not seen" if sure == "swept" else "looked, not seen"
    word = levels[level].replace("_", " ")
    return word if sure == "sure" else f"{word}, {'fairly sure' if sure == 'fairly' else sure}"


def _first_upper(text: str) -> str:
    return text[:1].upper() + text[1:]
