"""All that is written in a case, as one text to search."""

from __future__ import annotations

from collections.abc import Iterator

from wetmount.casebook.models import (
    Attachment,
    Case,
    CaseText,
    Examination,
    FindingEntry,
    Look,
    Note,
    PlanChoice,
    PlanStep,
    Reading,
    Slide,
    TaskDue,
)
from wetmount.casebook.reference import reference
from wetmount.casebook.search import searchable


def reindex(case_pk: int) -> None:
    """Write the case's text anew."""
    case = Case.all_cases.select_related("keeper", "room", "system", "tank", "batch").get(pk=case_pk)
    body = searchable("\n".join(dict.fromkeys(one for one in _texts(case) if one)))
    CaseText.objects.update_or_create(case_id=case_pk, defaults={"body": body})


def _texts(case: Case) -> Iterator[str]:
    yield from (f"case {case.number}", case.own_number, case.title, case.worries, case.note, case.which_fish)
    yield case.outcome_note
    yield from (case.species, _name("host_groups", case.host_group))
    yield from (str(one) for one in (case.keeper, case.room, case.system, case.tank, case.batch) if one is not None)
    for batch in case.batches.all():
        yield from (batch.species, batch.origin, batch.note)
    for cause in case.causes.all():
        yield from (_name("conditions", cause.condition), cause.note)
    yield from case.addenda.values_list("text", flat=True)
    for fish in case.fish.all():
        yield from (fish.species, fish.killed_by, fish.note)
    yield from Look.objects.filter(case=case).values_list("note", flat=True)
    for kind, site, note in Examination.objects.filter(look__case=case).values_list("kind", "site", "note"):
        yield from (_name("examinations", kind), site, note)
    for finding, level, note in FindingEntry.objects.filter(examination__look__case=case).values_list(
        "finding", "level", "note"
    ):
        yield from (_name("findings", finding) if level else "", note)
    for site, note in Slide.objects.filter(examination__look__case=case).values_list("site", "note"):
        yield from (site, note)
    for kit, note in Reading.objects.filter(look__case=case).values_list("kit", "note"):
        yield from (kit, note)
    for name, caption in Attachment.objects.filter(case=case, deleted_at=None).values_list("original_name", "caption"):
        yield from (name, caption)
    yield from Note.objects.filter(case=case).values_list("text", flat=True)
    yield from PlanChoice.objects.filter(look__case=case).values_list("why", flat=True)
    yield from PlanStep.objects.filter(plan__look__case=case).values_list("text", flat=True)
    for title, detail, outcome in TaskDue.objects.filter(case=case).values_list("title", "detail", "outcome"):
        yield from (title, detail, outcome)
    for finding, answer in case.answers.values_list("finding", "answer"):
        yield _name("findings", finding) if answer == "yes" else ""


def _name(table: str, id: str) -> str:
    row = getattr(reference(), table).get(id)
    return str(getattr(row, "name", None) or getattr(row, "meaning", id)) if row is not None else id
