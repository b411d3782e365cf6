"""Entering findings: one key, how sure, the sweep; and the examination they belong to with its slides."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from wetmount.case_check import body_states
from wetmount.casebook.access import case_or_404, examination_or_404, fish_or_404
from wetmount.casebook.models import Case, Examination, FindingEntry, Fish, Slide, Tank
from wetmount.casebook.reference import reference
from wetmount.casebook.services import keeping, looking
from wetmount.casebook.services.entering import examination_at, once
from wetmount.casebook.services.refusals import Conflict, Refused
from wetmount.casebook.shell import case_context
from wetmount.casebook.steps import step_for_examination
from wetmount.casebook.views.entry_forms import by_script, moment, text, version, whole
from wetmount.casebook.views.entry_places import after_entry, chosen_look, tray_context
from wetmount.casebook.views.entry_rows import STATE_WORDS, UNSET, asking_row, row_of, rows_of_kind, section_for

OBJECTIVES = ("4x", "10x", "20x", "40x", "60x", "100x")


# --- one key ----------------------------------------------------------------------------------------------------------


@require_POST
def finding(request: HttpRequest, number: int) -> HttpResponse:
    """One key of one row: field `set` holds the finding, the level (- for not looked at), how sure, and the version
    the page showed."""
    case = case_or_404(number)
    id, level, sure, seen = _pressed(request.POST.get("set", ""))
    try:
        with once(request.POST.get("id", "")) as new:
            examination = examination_of(request, case)
            if new and sure != "swept":  # a swept entry is kept by leaving it alone
                looking.record_finding(request.device, examination, id, level, sure=sure, seen=seen)
    except Conflict as clash:
        return _ask(request, case, id, clash)
    return answer(request, case, examination, [id])


def _pressed(sent: str) -> tuple[str, int | None, str, int]:
    parts = sent.split(" ")
    if len(parts) != 4 or not parts[3].isdecimal() or len(parts[3]) > 18:
        raise Refused("That key sent nothing that can be entered. Reload the page and press it again.")
    id, level, sure, seen = parts
    if level != UNSET and not (level.isdecimal() and len(level) < 4):
        raise Refused(f"{level!r} is no level.")
    return id, None if level == UNSET else int(level), sure, int(seen)


def examination_of(request: HttpRequest, case: Case) -> Examination:
    """The examination named in the form, or the one of its look, kind and fish, begun when there is none yet."""
    pk = request.POST.get("examination", "")
    if pk:
        if not pk.isdecimal() or len(pk) > 18:
            raise Http404
        return examination_or_404(case, int(pk))
    fish = request.POST.get("fish", "")
    if fish and (not fish.isdecimal() or len(fish) > 18):
        raise Http404
    whose = fish_or_404(case, int(fish)) if fish else None
    return examination_at(request.device, chosen_look(request, case), request.POST.get("kind", ""), whose)


def _ask(request: HttpRequest, case: Case, id: str, clash: Conflict) -> HttpResponse:
    """Two devices, one entry: the row with both, and the question."""
    examination = examination_of(request, case)
    section = section_for(examination)
    entry = FindingEntry.objects.filter(examination=examination, finding=id).first()
    row = asking_row(section.id, looking.known_finding(id), entry, clash)
    context: dict[str, Any] = {"case": case, "section": section, "rows": [row], "clash": clash}
    if by_script(request):
        return render(request, "casebook/entry/answer.html", tray_context(request, case) | context, status=clash.status)
    context |= case_context(request, case, None, examination.look) | {"back": request.POST.get("back", "")}
    return render(request, "casebook/entry/which.html", context, status=clash.status)


def answer(request: HttpRequest, case: Case, examination: Examination, findings: list[str]) -> HttpResponse:
    """What changed on the page, in pieces, for a script; the page again for a browser without."""
    if not by_script(request):
        section = section_for(examination)
        return after_entry(request, case, f"{section.id}-{findings[0]}" if len(findings) == 1 else section.id)
    section = section_for(examination)
    changed = set(findings)
    rows = [row for row in (*section.rows, *section.rest) if row.finding.id in changed]
    elsewhere = [
        row_of(section.id, looking.known_finding(one), None)
        for one in findings
        if one not in {row.finding.id for row in rows}
    ]
    context = {"case": case, "section": section, "rows": [*rows, *elsewhere]}
    response = render(request, "casebook/entry/answer.html", tray_context(request, case) | context)
    response.headers["X-Examination"] = str(examination.pk)
    return response


# --- the sweep --------------------------------------------------------------------------------------------------------


@require_POST
def sweep(request: HttpRequest, number: int) -> HttpResponse:
    """The rest of the short list: looked, not seen, at a glance."""
    case = case_or_404(number)
    with once(request.POST.get("id", "")) as new:
        examination = examination_of(request, case)
        if new:
            looking.sweep_rest(request.device, examination)
    return answer(request, case, examination, list(reference().examinations[examination.kind].short_list))


@require_POST
def unsweep(request: HttpRequest, number: int) -> HttpResponse:
    """The sweep taken back: what was swept is not looked at again."""
    case = case_or_404(number)
    with once(request.POST.get("id", "")) as new:
        examination = examination_of(request, case)
        if new:
            looking.take_sweep_back(request.device, examination)
    return answer(request, case, examination, list(reference().examinations[examination.kind].short_list))


# --- one entry, with all there is to say about it ---------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
def entry(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Level, how sure, seen in n of m, and a note of one entry."""
    case = case_or_404(number)
    row = (
        FindingEntry.objects.select_related("examination__look__case", "examination__fish")
        .filter(examination__look__case=case, pk=pk)
        .first()
    )
    if row is None:
        raise Http404
    known = looking.known_finding(row.finding)
    if request.method == "POST":
        level = whole(request, "level", "The level", most=len(known.levels) - 1)
        looking.record_finding(
            request.device,
            row.examination,
            row.finding,
            row.level if level is None else level,
            sure=text(request, "sure") or "sure",
            seen_in=whole(request, "seen_in", "Seen in"),
            looked_at=whole(request, "looked_at", "Looked at"),
            note=text(request, "note"),
            seen=version(request),
        )
        return after_entry(request, case)
    step = step_for_examination(row.examination.kind)
    context = case_context(request, case, step.id if step else None, row.examination.look)
    context |= {
        "entry": row,
        "finding": known,
        "title": looking.title_of(row.examination),
        "levels": [(k, word.replace("_", " ")) for k, word in enumerate(known.levels)],
        "sureness": looking.SURE,
        "back": request.GET.get("back", "") or _page_of(case, row.examination),
    }
    return render(request, "casebook/entry/one.html", context)


# --- examinations -----------------------------------------------------------------------------------------------------


@require_POST
def begin_examination(request: HttpRequest, number: int) -> HttpResponse:
    """Another examination of a kind (a second scrape), or one with its site and slide before the first finding."""
    case = case_or_404(number)
    with once(request.POST.get("id", "")) as new:
        if new and request.POST.get("another"):
            model = examination_of(request, case)
            made = looking.add_examination(request.device, model.look, model.kind, fish=model.fish, tank=model.tank)
        else:
            made = examination_of(request, case)
    return redirect("examination", case.number, made.pk)


@require_http_methods(["GET", "POST"])
def examination(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Which fish, where on it, when, in which state; and the slides."""
    case = case_or_404(number)
    row = examination_or_404(case, pk)
    if request.method == "POST":
        looking.change_examination(
            request.device,
            row,
            seen=version(request),
            fish_id=_key(request, "fish", case.fish.all()),
            tank_id=_key(request, "tank", _tanks(case)),
            at=moment(request, "at"),
            site=text(request, "site", 300),
            body_state=text(request, "body_state", 200),
            note=text(request, "note"),
        )
        return redirect(_page_of(case, row))
    step = step_for_examination(row.kind)
    context = case_context(request, case, step.id if step else None, row.look)
    short, rest = rows_of_kind(reference().examinations[row.kind])
    context |= {
        "examination": row,
        "kind": reference().examinations[row.kind],
        "title": looking.title_of(row),
        "at": timezone.localtime(row.at).strftime("%Y-%m-%dT%H:%M") if row.at else "",
        "all_fish": case.fish.all(),
        "tanks": _tanks(case),
        "body_states": [(one, STATE_WORDS.get(one, one)) for one in body_states(reference())],
        "slides": [(slide, _counted(slide)) for slide in row.slides.all()],
        "countable": [one for one in (*short, *rest) if one.kind == "organism"],
        "objectives": OBJECTIVES,
        "page": _page_of(case, row),
    }
    return render(request, "casebook/entry/examination.html", context)


@require_POST
def remove_examination(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Take an examination away with all it found; Undo brings it back."""
    case = case_or_404(number)
    row = examination_or_404(case, pk)
    looking.remove_examination(request.device, row)
    step = step_for_examination(row.kind)
    return redirect("case_step", case.number, step.id) if step else redirect("case", case.number)


@require_POST
def add_slide(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """A wet mount: objective, fields looked through, and what was counted in them."""
    case = case_or_404(number)
    row = examination_or_404(case, pk)
    short, rest = rows_of_kind(reference().examinations[row.kind])
    counts = {}
    for one in (*short, *rest):
        number_seen = whole(request, f"count-{one.id}", looking.known_finding(one.id).name, most=100_000_000)
        if number_seen is not None and one.kind == "organism":
            counts[one.id] = number_seen
    objective = text(request, "objective", 20)
    if objective and objective not in OBJECTIVES:
        raise Refused(f"The objective is one of {', '.join(OBJECTIVES)}.")
    with once(request.POST.get("id", "")) as new:
        if new:
            looking.add_slide(
                request.device,
                row,
                objective=objective,
                fields=whole(request, "fields", "Fields", most=10_000, least=1),
                counts=counts,
                site=text(request, "site", 300),
            )
    return redirect("examination", case.number, row.pk)


@require_POST
def remove_slide(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Take a slide away with its counts."""
    case = case_or_404(number)
    slide = Slide.objects.select_related("examination__look__case").filter(examination__look__case=case, pk=pk).first()
    if slide is None:
        raise Http404
    keeping.remove_row(request.device, slide, f"{looking.title_of(slide.examination)}: slide deleted")
    return redirect("examination", case.number, slide.examination_id)


def _counted(slide: Slide) -> list[tuple[str, Any]]:
    known = reference().findings
    return [(known[id].name if id in known else id, sum(n) if isinstance(n, list) else n)
            for id, n in slide.counts.items()]  # fmt: skip


def _tanks(case: Case) -> list[Tank]:
    """The tanks of the case, its first one first."""
    further = [one.tank for one in case.further_tanks.select_related("tank")]
    return [*([case.tank] if case.tank is not None else []), *further]


def _key(request: HttpRequest, name: str, rows: Any) -> int | None:
    sent = request.POST.get(name, "")
    known = {str(row.pk): int(row.pk) for row in rows}
    if sent and sent not in known:
        raise Refused(f"There is no such {name} in this case.")
    return known.get(sent)


def _page_of(case: Case, examination: Examination) -> str:
    step = step_for_examination(examination.kind)
    if step is None:
        return reverse("case", args=[case.number])
    fish = f"&fish={examination.fish_id}" if isinstance(examination.fish, Fish) else ""
    return reverse("case_step", args=[case.number, step.id]) + f"?look={examination.look_id}{fish}"
