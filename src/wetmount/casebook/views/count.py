"""The tap counter at the microscope: choosing what to count, the keys, saving a tally into the slides of a case."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from wetmount.casebook.access import case_or_404, examination_or_404
from wetmount.casebook.models import Act, Case, Examination, Setting, Slide
from wetmount.casebook.reference import reference
from wetmount.casebook.services import looking, preferences
from wetmount.casebook.services.entering import examination_at, once
from wetmount.casebook.services.refusals import Conflict, Refused
from wetmount.casebook.shell import case_context, shell
from wetmount.casebook.steps import step_for_examination
from wetmount.casebook.views import count_forms
from wetmount.casebook.views.count_figures import (
    MATTERS_PER_MM2,
    MOST_KINDS,
    OBJECTIVES,
    Microscope,
    fields_of,
    short_name,
    tally_of,
    told,
)
from wetmount.casebook.views.entry_forms import by_script, version
from wetmount.casebook.views.entry_places import chosen_fish, chosen_look
from wetmount.errors import InputError
from wetmount.looking import STANDARD_FIELDS, STANDARD_FIELDS_ELSE
from wetmount.reference.rows import Finding

COUNTED: Final = ("skin_scrape", "fin_clip", "gill_scrape", "faecal_wet_mount", "organ_squash", "stain")
USUAL_OBJECTIVE: Final = "10x"
SHOWN_FIELDS: Final = 20


# --- what is counted and where ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Kind:
    """A key of the counter."""

    finding: Finding
    total: int
    density: str

    @property
    def name(self) -> str:
        """As the key says it."""
        return short_name(self.finding.name)

    @property
    def many(self) -> float:
        """Number in a field from which it is drawn as many."""
        return self.finding.many_per_field or 5.0


def countable(examination: str) -> list[Finding]:
    """Organisms that are counted in an examination, those of its short list first."""
    tables = reference()
    row = tables.examinations[examination]
    listed = [tables.findings[id] for id in row.short_list if id in tables.findings]
    own = [one for one in tables.findings.values() if one.examination == examination and one not in listed]
    return [one for one in (*listed, *own) if one.kind == "organism"]


def microscope() -> Microscope:
    """What the practice said about its microscope."""
    kept = Setting.objects.filter(key="microscope").values_list("value", flat=True).first() or {}
    return Microscope(
        kept.get("field_number"), kept.get("tube", 1.0), kept.get("diameters"), kept.get("matters", MATTERS_PER_MM2)
    )


def _keep_microscope(given: QueryDict, objective: str) -> None:
    now = microscope()
    field_number = count_forms.number(given, "field_number", "The field number, in mm", least=5, most=40)
    tube = count_forms.number(given, "tube", "The tube factor", least=0.1, most=10, otherwise=1.0)
    diameter = count_forms.number(given, "diameter", "The field's diameter, in mm", least=0.005, most=100)
    matters = count_forms.number(
        given, "matters", "The density that matters, a mm²", least=0.001, most=1e6, otherwise=MATTERS_PER_MM2
    )
    diameters = {key: value for key, value in (now.diameters_mm or {}).items() if key != objective}
    if diameter is not None:
        diameters[objective] = diameter
    preferences.keep(
        microscope={"field_number": field_number, "tube": tube, "diameters": diameters, "matters": matters}
    )


def _kinds(asked: Iterable[str], examination: str) -> list[Finding]:
    """The kinds of an address, in its order; anything that is not counted there is passed over."""
    known = {one.id: one for one in countable(examination)}
    return [known[id] for id in dict.fromkeys(asked) if id in known][:MOST_KINDS]


def _examination(asked: str) -> str:
    return asked if asked in COUNTED and asked in reference().examinations else COUNTED[0]


def _objective(asked: str) -> str:
    return asked if asked in OBJECTIVES else USUAL_OBJECTIVE


# --- choosing ---------------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
def choose(request: HttpRequest, number: int | None = None) -> HttpResponse:
    """Which slide, objective and kinds; goes on to the counter."""
    case = case_or_404(number) if number is not None else None
    given = request.POST if request.method == "POST" else request.GET
    begun = _begun(case, given)
    examination = begun.kind if begun is not None else _examination(given.get("examination", ""))
    objective = _objective(given.get("objective", ""))
    kinds = _kinds(given.getlist("kind"), examination)
    wrong = ""
    if request.method == "POST":
        if not kinds:
            wrong = f"Choose at least one kind to count, at most {MOST_KINDS}."
        elif len(given.getlist("kind")) > MOST_KINDS:
            wrong = f"At most {MOST_KINDS} kinds fit the keys; you chose {len(given.getlist('kind'))}."
        else:
            try:
                _keep_microscope(given, objective)
                return redirect(_counter_address(request, case, begun, examination, objective, kinds))
            except InputError as error:
                wrong = count_forms.sentence(error)
    now = microscope()
    context = {
        "page": "choose", "examinations": [reference().examinations[id] for id in COUNTED], "examination": examination,
        "begun": begun, "objective": objective, "objectives": OBJECTIVES, "most": MOST_KINDS, "wrong": wrong,
        "offered": [(one, short_name(one.name), one in kinds) for one in countable(examination)],
        "scope": {
            "field_number": given.get("field_number", _plain(now.field_number_mm)),
            "tube": given.get("tube", _plain(now.tube)),
            "diameter": given.get("diameter", _plain((now.diameters_mm or {}).get(objective))),
            "matters": given.get("matters", _plain(now.matters_per_mm2)),
        },
        "fish": chosen_fish(request, case) if case is not None else None,
        "all_fish": list(case.fish.order_by("pk")) if case is not None else (),
        "slides": _slides_of(case) if case is not None else (),
    }  # fmt: skip
    page = "casebook/count/choose.html"
    return render(request, page, frame(request, case, examination, begun) | context, status=422 if wrong else 200)


def _begun(case: Case | None, given: QueryDict) -> Examination | None:
    sent = given.get("of", "")
    if case is None or not sent:
        return None
    if not sent.isdecimal() or len(sent) > 18:
        raise Http404
    found = examination_or_404(case, int(sent))
    if found.kind not in COUNTED:
        raise Http404
    return found


def _counter_address(
    request: HttpRequest, case: Case | None, begun: Examination | None, examination: str, objective: str,
    kinds: list[Finding],
) -> str:  # fmt: skip
    ids = [one.id for one in kinds]
    if case is None:
        asked = urlencode({"examination": examination, "objective": objective, "kind": ids}, doseq=True)
        return f"{reverse('count_quick')}?{asked}"
    if begun is None:
        sent = request.POST.get("fish", "")
        fish = next((one for one in case.fish.all() if str(one.pk) == sent), None)
        begun = examination_at(request.device, chosen_look(request, case), examination, fish)
    asked = urlencode({"objective": objective, "kind": ids}, doseq=True)
    return f"{reverse('count_new', args=[case.number, begun.pk])}?{asked}"


def _plain(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _slides_of(case: Case) -> list[tuple[Slide, str, int]]:
    """Slides of the case that were counted field by field, latest first."""
    slides = Slide.objects.filter(examination__look__case=case).select_related("examination__fish").order_by("-pk")
    return [
        (one, looking.title_of(one.examination), sum(map(sum, one.counts.values())))
        for one in slides
        if one.counts and all(isinstance(values, list) for values in one.counts.values())
    ][:10]


# --- the keys ---------------------------------------------------------------------------------------------------------


@require_GET
def quick(request: HttpRequest) -> HttpResponse:
    """The counter without a case; the tally stays on this device."""
    examination = _examination(request.GET.get("examination", ""))
    kinds = _kinds(request.GET.getlist("kind"), examination)
    if not kinds:
        return redirect("count")
    objective = _objective(request.GET.get("objective", ""))
    return _counter(request, None, examination, objective, {one.id: [] for one in kinds})


@require_GET
def new(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """The counter on a new slide of an examination; the slide is made with its first tap."""
    case = case_or_404(number)
    examination = examination_or_404(case, pk)
    kinds = _kinds(request.GET.getlist("kind"), examination.kind) if examination.kind in COUNTED else []
    if not kinds:
        raise Http404
    objective = _objective(request.GET.get("objective", ""))
    return _counter(request, case, examination.kind, objective, {one.id: [] for one in kinds}, of=examination)


@require_GET
def slide(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """The counter on a slide that was begun; `kind` adds keys, for kinds that were looked for from the first field."""
    case = case_or_404(number)
    row = _slide_or_404(case, pk)
    tally = tally_of(row.counts, reference())
    fields = fields_of(tally)
    for one in _kinds(request.GET.getlist("kind"), row.examination.kind):
        if len(tally) < MOST_KINDS:
            tally.setdefault(one.id, [0] * fields)
    return _counter(request, case, row.examination.kind, row.objective, tally, of=row.examination, row=row)


def _slide_or_404(case: Case, pk: int) -> Slide:
    rows = Slide.objects.select_related("examination__look__case", "examination__fish")
    row = rows.filter(examination__look__case=case, pk=pk).first()
    if row is None or not row.counts or not all(isinstance(values, list) for values in row.counts.values()):
        raise Http404
    return row


def _counter(
    request: HttpRequest, case: Case | None, examination: str, objective: str, tally: dict[str, list[int]], *,
    of: Examination | None = None, row: Slide | None = None, at: int | None = None, wrong: str = "",
) -> HttpResponse:  # fmt: skip
    tables, scope = reference(), microscope()
    area = scope.area_mm2(objective)
    figures = told(tally, area, scope, tables)
    fields = fields_of(tally)
    asked = count_forms.typed(request.GET, "field")
    if at is None:
        at = int(asked) if asked.isdecimal() and len(asked) < 5 and int(asked) < fields else fields
    kinds = [Kind(tables.findings[id], one["total"], one["density"]) for id, one in figures["kinds"].items()]
    others = [(one, short_name(one.name)) for one in countable(examination) if one.id not in tally]
    standard = STANDARD_FIELDS.get(examination, STANDARD_FIELDS_ELSE)
    if case is None:
        saves, kept = reverse("count_tally"), f"quick.{examination}.{objective}"
        again = f"{reverse('count')}?{urlencode({'examination': examination, 'objective': objective})}"
    else:
        assert of is not None
        saves = reverse("count_save", args=[case.number, of.pk])
        kept = f"slide.{row.pk}" if row is not None else f"new.{of.pk}"
        again = f"{reverse('count_case', args=[case.number])}?{urlencode({'of': of.pk, 'objective': objective})}"
    context = {
        "page": "counter", "kinds": kinds, "figures": figures, "fields": fields, "at": at, "number": at + 1,
        "standard": standard, "squares": _squares(tally, kinds, at, standard), "objective": objective,
        "examination_row": tables.examinations[examination], "area": area, "of": of, "row": row, "saves": saves,
        "kept": kept, "again": again, "others": others if len(tally) < MOST_KINDS else (), "wrong": wrong,
        "tally": json.dumps(tally, separators=(",", ":")), "closed": case is not None and case.is_closed,
        "scope": scope, "examination": examination,
        "findings_page": findings_page(case, of) if case is not None and of is not None else "",
    }  # fmt: skip
    page = "casebook/count/counter.html"
    return render(request, page, frame(request, case, examination, of) | context, status=422 if wrong else 200)


def findings_page(case: Case, examination: Examination) -> str:
    """Where the findings of an examination are entered."""
    step = step_for_examination(examination.kind)
    if step is None:
        return reverse("case", args=[case.number])
    fish = f"&fish={examination.fish_id}" if examination.fish_id else ""
    return f"{reverse('case_step', args=[case.number, step.id])}?look={examination.look_id}{fish}"


def _squares(tally: Mapping[str, list[int]], kinds: list[Kind], at: int, standard: int) -> list[tuple[str, str]]:
    """The row of round fields: glyph and class; twenty at a time, those under the lens among them."""
    fields = fields_of(tally)
    first = max(0, (max(at, fields - 1) // SHOWN_FIELDS) * SHOWN_FIELDS)
    many = {one.finding.id: one.many for one in kinds}
    drawn = []
    for place in range(first, first + SHOWN_FIELDS):
        seen = [(values[place], many[id]) for id, values in tally.items() if place < len(values)]
        glyph = "none" if not seen else "clear"
        if any(n for n, _ in seen):
            glyph = "many" if any(n >= limit for n, limit in seen) else "few"
        here = " now" if place == at else ""
        if not seen and place != at and place >= standard:
            here = " spare"
        drawn.append((glyph, ("on" if seen else "") + here))
    return drawn


# --- taps -------------------------------------------------------------------------------------------------------------


@require_POST
def tally(request: HttpRequest) -> HttpResponse:
    """What a tally without a case says; nothing is kept here."""
    examination = _examination(request.POST.get("examination", ""))
    objective = _objective(request.POST.get("objective", ""))
    counted, at = _pressed(request)
    if by_script(request):
        scope = microscope()
        return JsonResponse(told(counted, scope.area_mm2(objective), scope, reference()))
    return _counter(request, None, examination, objective, counted, at=at)


@require_POST
def save(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """The whole tally into the slide; the first one makes it. Sent again it changes nothing."""
    case = case_or_404(number)
    examination = examination_or_404(case, pk)
    counted, at = _pressed(request)
    sent = request.POST.get("slide", "")
    if sent and (not sent.isdecimal() or len(sent) > 18):
        raise Http404
    row = _slide_or_404(case, int(sent)) if sent else None
    if row is not None and row.examination_id != examination.pk:
        raise Http404
    objective = row.objective if row is not None else _objective(request.POST.get("objective", ""))
    fields = fields_of(counted)
    try:
        if row is None and fields:
            row = _begin(request, examination, objective, counted, fields)
        elif row is not None:
            row = _change(request, row, counted, fields)
    except Conflict as clash:
        if by_script(request) and row is not None:
            now = (clash.now.values or {}).get("counts", {})
            return JsonResponse({"clash": now, "who": clash.now.who, "version": clash.version}, status=clash.status)
        raise
    if by_script(request):
        scope = microscope()
        answer = told(counted, scope.area_mm2(objective), scope, reference())
        if row is not None:
            answer |= {
                "slide": row.pk, "version": row.version, "page": reverse("count_slide", args=[case.number, row.pk])
            }  # fmt: skip
        return JsonResponse(answer)
    if row is None:
        kinds = urlencode({"objective": objective, "kind": list(counted)}, doseq=True)
        return redirect(f"{reverse('count_new', args=[case.number, examination.pk])}?{kinds}")
    kinds = urlencode({"field": at, "kind": list(counted)}, doseq=True)
    return redirect(f"{reverse('count_slide', args=[case.number, row.pk])}?{kinds}")


def _begin(
    request: HttpRequest, examination: Examination, objective: str, counted: dict[str, list[int]], fields: int
) -> Slide:
    with once(request.POST.get("id", "")) as is_new:
        if not is_new:  # its answer was lost on the way: it is the slide that was made then
            made = Slide.objects.filter(examination=examination).select_related("examination__look__case").last()
            if made is not None:
                return _change(request, made, counted, fields)
        return looking.add_slide(request.device, examination, objective=objective, fields=fields, counts=counted)


def _change(request: HttpRequest, row: Slide, counted: dict[str, list[int]], fields: int) -> Slide:
    """A device that counts on does not clash with itself: an answer may have been lost on the way."""
    if not fields:
        raise Refused("The slide would be left without a field. Delete it at its examination instead.")
    seen = version(request)
    last = Act.objects.filter(pk=row.version).values_list("device", flat=True).first()
    if seen is not None and last is not None and last == request.device.pk:
        seen = row.version
    total = sum(map(sum, counted.values()))
    said = f"{looking.title_of(row.examination)}: {total} counted in {fields} field{'s' if fields != 1 else ''}"
    return looking.change_slide(request.device, row, said=said, seen=seen, counts=counted, fields=fields)


def _pressed(request: HttpRequest) -> tuple[dict[str, list[int]], int]:
    """The tally as sent, with the one key pressed that a page without scripts sends; and the field under the lens."""
    try:
        sent = json.loads(request.POST.get("counts", "") or "{}")
    except (ValueError, RecursionError):
        raise InputError("the tally could not be read; reload the page and count on", field="counts") from None
    counted = {id: list(values) for id, values in tally_of(sent, reference()).items()}
    fields = fields_of(counted)
    press = request.POST.get("press", "")
    typed_at = count_forms.whole(request.POST, "field", "The field under the lens", least=0, most=fields)
    at = fields if typed_at is None else typed_at
    if press in counted or press == "next":
        if at == fields:
            for values in counted.values():
                values.append(0)
        if press in counted:
            counted[press][at] += 1
        else:
            at += 1
    elif press == "skip" and at < fields:
        for values in counted.values():
            del values[at]
    return tally_of(counted, reference()), at


def frame(
    request: HttpRequest, case: Case | None, examination: str | None, of: Examination | None = None
) -> dict[str, Any]:
    """What the frame of a page with and without a case needs."""
    layouts = shell(request)
    if case is None:
        return {"place": "today", "page_layout": layouts["layout"]}
    step = step_for_examination(examination) if examination is not None else None
    context = case_context(request, case, step.id if step else None, of.look if of is not None else None)
    return context | {"page_layout": layouts["case_layout"]}
