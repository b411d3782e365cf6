"""The papers of a plan, to print: the keeper's page, the daily log, the calendar, the parcel, prevention."""

from __future__ import annotations

from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from wetmount.casebook import clock
from wetmount.casebook.access import case_or_404
from wetmount.casebook.models import Case, Look, Numbers
from wetmount.casebook.services.planning import coming
from wetmount.casebook.services.preferences import practice_reference, preferences
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.services.weighing import CannotWeigh
from wetmount.casebook.shell import case_context
from wetmount.casebook.tracing_told import prevention_lines
from wetmount.casebook.views.entry_places import chosen_look
from wetmount.casebook.views.plan import page_of
from wetmount.casebook.views.plan_telling import PlanPage
from wetmount.errors import InputError
from wetmount.hard_stops import THING_WORDS
from wetmount.plan.calendar import to_ical
from wetmount.plan.sheets import contact_words, daily_log, laboratory_parcel, prevention, sheet_lines
from wetmount.plan.tank import SAID

LOG_DAYS: Final = 14
LONGEST_LOG: Final = 28
MYCOBACTERIA: Final = ("mycobacteriosis",)


@require_GET
def keeper(request: HttpRequest, number: int) -> HttpResponse:
    """One page for the keeper: now, today, each day, stop if, the dates, from now on."""
    case, look, page = _planned(request, number)
    sheet, day = page.sheet, clock.today()
    parts = [(heading, lines) for heading, lines in sheet_lines(sheet) if heading != "Dates"]
    message = "\n\n".join("\n".join([heading, *(f"- {line}" for line in lines)]) for heading, lines in parts)
    due = [
        f"{one.name}: {one.amount or 'no amount yet, see below'}"
        for one in sheet.givings
        if day in one.days or not one.days
    ]
    context = _context(request, case, look, page) | {
        "sheet": sheet,
        "today_lines": [*due, *sheet.others],
        "dates": [
            (entry.when, entry.title, bool(getattr(entry.when, "hour", None))) for entry in coming(page.sheet)[:14]
        ],
        "more_dates": max(0, len(coming(page.sheet)) - 14),
        "message": message,
    }
    return render(request, "casebook/plan/keeper.html", context)


@require_GET
def log(request: HttpRequest, number: int) -> HttpResponse:
    """The daily log to fill in: `days` of it, 14 without."""
    case, look, page = _planned(request, number)
    text = request.GET.get("days", str(LOG_DAYS))
    if not (text.isascii() and text.isdecimal() and len(text) < 4 and 1 <= int(text) <= LONGEST_LOG):
        raise Refused(f"A log has 1 to {LONGEST_LOG} days.")
    table = daily_log(page.sheet, max(page.facts.first or clock.today(), clock.today()), int(text))
    context = _context(request, case, look, page) | {"log": table, "choices": (7, LOG_DAYS, LONGEST_LOG)}
    return render(request, "casebook/plan/log.html", context)


@require_GET
def calendar(request: HttpRequest, number: int) -> HttpResponse:
    """The dates that are still to come, as an iCalendar file."""
    case, look, page = _planned(request, number)
    dates = coming(page.sheet)
    if not dates:
        raise Refused("Every day of this plan is past; there is nothing to put into a calendar.")
    text = to_ical(dates, made=clock.now(), name=f"Case {case.number}: {case.title}"[:200], today=clock.today())
    response = HttpResponse(text, content_type="text/calendar; charset=utf-8")
    response.headers["Content-Disposition"] = f'attachment; filename="plan-case-{case.number}-{look.pk}.ics"'
    return response


@require_GET
def parcel(request: HttpRequest, number: int) -> HttpResponse:
    """What to send to the laboratory: `test` names the examinations, else those that were chosen, else all."""
    case, look, page = _page(request, number)
    tables = page.reference
    known = list(tables.laboratory_samples)
    asked = request.GET.getlist("test")[:10]
    if any(test not in known for test in asked):
        raise Http404
    chosen = [row.option.removeprefix("examine_") for row in page.rows if row.option.startswith("examine_lab_")]
    tests = asked or [test for test in chosen if test in known] or known
    numbers = Numbers.objects.filter(look=look).first()
    sick = max(1, (numbers.sick if numbers is not None else None) or 1)
    context = _context(request, case, look, page) | {
        "parcel": laboratory_parcel(tests, tables, sick_fish=sick),
        "tests": [(test, tables.examinations[test].name, test in tests) for test in known],
        "said": [
            (what, ", ".join(words for words, _ in facts))
            for what, facts in page.said
            if what not in THING_WORDS.values() or any(source != SAID for _, source in facts)
        ],
        "numbers": numbers,
        "leading": [page.short[id] for id in page.plan.leading[:4]],
        "zoonotic": [tables.conditions[id].name for id in page.plan.leading if tables.conditions[id].zoonotic],
        "given": [row.text for row in page.rows if row.kind == "treat"],
    }
    return render(request, "casebook/plan/parcel.html", context)


@require_GET
def prevent(request: HttpRequest, number: int) -> HttpResponse:
    """From now on: quarantine by source, one origin to a system, order of work, nets and contact times."""
    case, look, page = _page(request, number)
    mycobacteria = any(id in MYCOBACTERIA for id in page.plan.leading)
    context = _context(request, case, look, page) | {
        "prevention": prevention(page.reference, mycobacteria=mycobacteria),
        "contacts": [
            (row, contact_words(row)) for row in prevention(page.reference, mycobacteria=mycobacteria).disinfection
        ],
        "mycobacteria": mycobacteria,
        "lasting": page.sheet.from_now_on if page.is_chosen else (),
        "traced": prevention_lines(case),
    }
    return render(request, "casebook/plan/prevention.html", context)


def _page(request: HttpRequest, number: int) -> tuple[Case, Look, PlanPage]:
    case = case_or_404(number)
    look = chosen_look(request, case)
    try:
        page = page_of(case, look)
    except CannotWeigh as error:
        raise Refused(str(error)) from None
    except InputError as error:
        raise Refused(str(error)) from None
    if page is None:
        raise Refused("Nothing was looked at in this look yet, so there is nothing to plan from.")
    return case, look, page


def _planned(request: HttpRequest, number: int) -> tuple[Case, Look, PlanPage]:
    case, look, page = _page(request, number)
    if not page.is_chosen:
        raise Refused("Nothing was chosen yet. Choose first, and say why; the papers follow from it.")
    return case, look, page


def _context(request: HttpRequest, case: Case, look: Look, page: PlanPage) -> dict[str, Any]:
    return case_context(request, case, "plan", look) | {
        "page": page,
        "looks": [],
        "practice": preferences().practice,
        "today": clock.today(),
        "reference_version": practice_reference(preferences()).version,
    }
