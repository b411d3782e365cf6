"""History and numbers: what the keeper says, how many fish, which batches, and notes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_POST

from wetmount import case as core
from wetmount.case_check import answerable
from wetmount.casebook.access import case_or_404
from wetmount.casebook.models import Case, CaseBatch, HistoryAnswer, Look, Note, Numbers
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, keeping, looking
from wetmount.casebook.services.entering import once
from wetmount.casebook.services.refusals import Conflict, Refused, Side
from wetmount.casebook.views.entry_forms import by_script, day, text, version, whole
from wetmount.casebook.views.entry_places import after_entry, chosen_look, tray_context
from wetmount.casebook.views.entry_rows import UNSET, Answer, first_upper
from wetmount.derived import grade_numbers
from wetmount.reference.rows import Finding

NUMBERS = {
    "total": ("Kept", "kept"),
    "sick": ("Sick", "sick"),
    "dead": ("Dead", "dead"),
    "dead_today": ("Dead today", "of them today"),
}
"""Fields of the numbers, each as a refusal names it and as it is told in a list."""
ANSWERS = (("no", "no"), ("yes", "yes"), ("not asked", "not asked"))


@dataclass(frozen=True, slots=True)
class QuestionKey:
    """One answer on its key."""

    level: str
    word: str
    pressed: bool
    sends: str


@dataclass(frozen=True, slots=True)
class Question:
    """A question of the history with its answer."""

    id: str
    finding: Finding
    name: str
    answer: str
    version: int
    keys: tuple[QuestionKey, ...]
    asks: tuple[Answer, ...] = ()

    @property
    def look(self) -> str:
        """The class of the row."""
        return {"yes": "is-seen", "no": "is-clear"}.get(self.answer, "")


@dataclass(frozen=True, slots=True)
class NumbersAnswer(Answer):
    """One of two entries of the numbers, with the fields that keeping it sends."""

    fields: Mapping[str, int | None]


def history_context(case: Case, look: Look) -> dict[str, Any]:
    """The questions, the short list first; the numbers with what they come to; batches and notes."""
    tables = reference()
    answers = {row.finding: row for row in case.answers.all()}
    asked = tables.examinations["asking"].short_list if "asking" in tables.examinations else ()
    ids = [one for one in asked if one in tables.findings]
    ids += [one for one in answerable(tables) if one not in ids]
    numbers = Numbers.objects.filter(look=look).first()
    return {
        "questions": [question(tables.findings[id], answers.get(id)) for id in ids],
        "answered": sum(row.answer != "not asked" for row in answers.values()),
        "numbers": numbers,
        "graded_numbers": graded_numbers(numbers),
        "told_batches": case.batches.all(),
        "notes": case.notes.select_related("look"),
        "asking": tables.examinations.get("asking"),
    }


def question(finding: Finding, row: HistoryAnswer | None, asks: tuple[Answer, ...] = ()) -> Question:
    """One question as its row."""
    answer, seen = (row.answer, row.version) if row is not None else ("", 0)
    keys = tuple(
        QuestionKey(
            value, word, answer == value,
            f"{finding.id} {UNSET if answer == value else value.replace(' ', '_')} sure {seen}",
        )
        for value, word in ANSWERS
    )  # fmt: skip
    return Question(f"asking-{finding.id}", finding, first_upper(finding.name), answer, seen, keys, asks)


def graded_numbers(numbers: Numbers | None) -> list[str]:
    """What the numbers come to, in words."""
    if numbers is None:
        return []
    record = core.Numbers(total=numbers.total, sick=numbers.sick, dead=numbers.dead, dead_today=numbers.dead_today)
    known = reference().findings
    return [
        f"{words[:1].upper()}{words[1:]}: {known[id].levels[level]}"
        for id, level, words in grade_numbers(record)
        if id in known
    ]


@require_POST
def history(request: HttpRequest, number: int) -> HttpResponse:
    """One answer: field `set` holds the question, the answer (- for none), and the version the page showed."""
    case = case_or_404(number)
    parts = request.POST.get("set", "").split(" ")
    if len(parts) != 4 or not parts[3].isdecimal() or len(parts[3]) > 18:
        raise Refused("That key sent nothing that can be entered. Reload the page and press it again.")
    id, sent, seen = parts[0], parts[1].replace("_", " "), int(parts[3])
    asks: tuple[Answer, ...] = ()
    try:
        with once(request.POST.get("id", "")) as new:
            if new:
                answer = None if sent == UNSET else sent
                looking.answer_history(request.device, case, id, answer, seen=seen)
    except Conflict as clash:
        if not by_script(request):
            raise
        asks = tuple(
            Answer(
                str((side.values or {}).get("answer") or "no answer"), side.who, side.at,
                f"{id} {str((side.values or {}).get('answer') or UNSET).replace(' ', '_')} sure {clash.version}",
            )
            for side in (clash.now, clash.yours)
        )  # fmt: skip
    if not by_script(request):
        return after_entry(request, case, f"asking-{id}")
    row = HistoryAnswer.objects.filter(case=case, finding=id).first()
    context = {
        "question": question(looking.known_finding(id), row, asks),
        "answered": HistoryAnswer.objects.filter(case=case).exclude(answer="not asked").count(),
    }
    return render(
        request,
        "casebook/entry/history_answer.html",
        tray_context(request, case) | context,
        status=409 if asks else 200,
    )


@require_POST
def numbers(request: HttpRequest, number: int) -> HttpResponse:
    """How many fish: kept, sick, dead, dead today."""
    case = case_or_404(number)
    look = chosen_look(request, case)
    values = {name: whole(request, name, words) for name, (words, _) in NUMBERS.items()}
    asks: tuple[NumbersAnswer, ...] = ()
    try:
        with once(request.POST.get("id", "")) as new:
            if new and (any(v is not None for v in values.values()) or Numbers.objects.filter(look=look).exists()):
                looking.set_numbers(request.device, look, seen=version(request), **values)
    except Conflict as clash:
        if not by_script(request):
            raise
        asks = tuple(_numbers_of(side, clash.version) for side in (clash.now, clash.yours))
    if not by_script(request):
        return after_entry(request, case, "numbers")
    row = Numbers.objects.filter(look=look).first()
    context = {
        "look": look,
        "numbers": row,
        "graded_numbers": graded_numbers(row),
        "asks": asks,
    }
    status = 409 if asks else 200
    return render(request, "casebook/entry/numbers_answer.html", tray_context(request, case) | context, status=status)


def _numbers_of(side: Side, version: int) -> NumbersAnswer:
    fields = {name: (side.values or {}).get(name) for name in NUMBERS}
    words = ", ".join(f"{fields[name]} {short}" for name, (_, short) in NUMBERS.items() if fields[name] is not None)
    return NumbersAnswer(words or "none", side.who, side.at, str(version), fields)


@require_POST
def told_batch(request: HttpRequest, number: int) -> HttpResponse:
    """A batch the keeper tells of."""
    case = case_or_404(number)
    with once(request.POST.get("id", "")) as new:
        if new:
            cases.add_case_batch(
                request.device,
                case,
                species=text(request, "species", 200),
                origin=text(request, "origin", 200),
                arrived=day(request, "arrived", "Arrived"),
                number=whole(request, "number", "How many"),
            )
    return after_entry(request, case, "batches")


@require_POST
def remove_told_batch(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Take a batch off the case; Undo brings it back."""
    case = case_or_404(number)
    row = CaseBatch.objects.filter(case=case, pk=pk).first()
    if row is not None:
        keeping.remove_row(request.device, row, f"Batch of {row.species}: deleted")
    return after_entry(request, case, "batches")


@require_POST
def note(request: HttpRequest, number: int) -> HttpResponse:
    """Something written down, in a look or about the case."""
    case = case_or_404(number)
    look = chosen_look(request, case) if request.POST.get("look") else None
    with once(request.POST.get("id", "")) as new:
        if new:
            keeping.add_note(request.device, text(request, "text"), case=case, look=look)
    return after_entry(request, case, "notes")


@require_POST
def change_note(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Rewrite a note, or take it away when nothing is left in it."""
    case = case_or_404(number)
    row = Note.objects.filter(case=case, pk=pk).first()
    if row is not None and request.POST.get("remove"):
        keeping.remove_row(request.device, row, "Note deleted")
    elif row is not None:
        keeping.change_note(request.device, row, text(request, "text"), seen=version(request))
    return after_entry(request, case, "notes")
