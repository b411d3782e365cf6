"""Today, the first screen: what is due, a new case, carry on; and tasks set, done, put off, called off."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.timezone import localdate
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from wetmount.casebook import clock
from wetmount.casebook.access import case_or_404
from wetmount.casebook.due import End, due, end_of_case, head_sentence, open_tasks, quiet_cases
from wetmount.casebook.models import Act, Case, Device, Examination, FindingEntry, Tank, TaskDue
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, keeping, looking
from wetmount.casebook.services.looking import title_of
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.services.undo import KEPT_FOR, NOT_IN_ORDER, take_back
from wetmount.casebook.steps import STEPS, Step, step_of
from wetmount.casebook.templatetags.look import glyph_of
from wetmount.casebook.views.pages import back
from wetmount.casebook.views.signs_chosen import chosen_signs
from wetmount.casebook.whom import of_tank, offers, whom

AHEAD = dt.timedelta(days=7)
"""How far ahead Today looks."""
SHOWN = 60
"""Tasks of one group that are listed; a longer list would not be read."""
PUT_OFF_DAYS = (1, 3, 7)
QUIET_SHOWN = 6
"""Cases without news that are listed, those heard of last first."""
TASK_ACTS = ("add_task", "change_task", "finish_task")


@dataclass(frozen=True, slots=True)
class Quiet:
    """An open case nobody wrote in, and for how many days."""

    case: Case
    end: End
    days: int


@require_GET
def today(request: HttpRequest) -> HttpResponse:
    """The first screen."""
    day = clock.today()
    tasks = open_tasks()
    late = list(tasks.filter(due_on__lt=day)[:SHOWN])
    now = list(tasks.filter(due_on=day)[:SHOWN])
    coming = list(tasks.filter(due_on__gt=day).filter(Q(due_on__lte=day + AHEAD) | Q(kind="result"))[:SHOWN])
    quiet = quiet_cases(day)[:QUIET_SHOWN]
    context = {
        "place": "today",
        "day": day,
        "sentence": head_sentence(len(now), len(late)),
        "late": [due(task, day) for task in late],
        "now": [due(task, day) for task in now],
        "quiet": [Quiet(case, end_of_case(case), (day - localdate(case.touched_at)).days) for case in quiet],
        "awaited": [due(task, day) for task in coming if task.kind in ("result", "news")],
        "coming": [due(task, day) for task in coming if task.kind not in ("result", "news")],
        "carry_on": carry_on(),
        "offers": offers(),
        "put_off_days": PUT_OFF_DAYS,
        "last": last_said(request.device),
    }
    return render(request, "casebook/today/today.html", context)


# --- carry on ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CarryOn:
    """The case that was worked on last, at its step, with the fields of the examination that was left."""

    case: Case
    end: End
    step: Step
    said: str
    trail: tuple[str, ...]
    looked: int


def carry_on() -> CarryOn | None:
    """The open case touched last."""
    case = Case.objects.filter(closed=None).select_related("tank").order_by("-touched_at").first()
    if case is None:
        return None
    step = step_of(case.step) if case.step in {one.id for one in STEPS} else STEPS[0]
    examination = (
        Examination.objects.filter(look__case=case, kind__in=step.examinations)
        .select_related("fish")
        .order_by("-id")
        .first()
        if step.examinations
        else None
    )
    if examination is None:
        return CarryOn(case, end_of_case(case), step, f"{step.name} is next.", (), 0)
    tables = reference()
    row = tables.examinations.get(examination.kind)
    listed = [one for one in (row.short_list if row is not None else ()) if one in tables.findings]
    entries = {one.finding: one for one in FindingEntry.objects.filter(examination=examination)}
    trail = tuple(_glyph(entries.get(one), tables.findings[one].levels) for one in listed)
    looked = sum(one in entries for one in listed)
    said = f"{title_of(examination)}: {looked} of {len(listed)} looked at." if listed else f"{title_of(examination)}."
    return CarryOn(case, end_of_case(case), step, said, trail, looked)


def _glyph(entry: FindingEntry | None, levels: tuple[str, ...]) -> str:
    return glyph_of(levels, entry.level, entry.sure) if entry is not None else "none"


# --- a new case -------------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
def new_case(request: HttpRequest) -> HttpResponse:
    """Which fish, and what worries you. `?tank=` comes from a tank, `flags` from first aid."""
    if request.method == "GET":
        tank = _tank(request.GET.get("tank", ""))
        which = _name(tank) if tank is not None else request.GET.get("which", "")
        return _new_case_page(request, {"which": which, "tank": tank}, "")
    which, worries = request.POST.get("which", "")[:300], request.POST.get("worries", "")
    tank = _tank(request.POST.get("tank", ""))
    # The tank one came from counts as long as its name still stands in the field.
    found = of_tank(tank) if tank is not None and which == _name(tank) else whom(which)
    try:
        with transaction.atomic():
            case = cases.open_case(request.device, which_fish=which, worries=worries, **found.values())
            if flags := request.POST.getlist("flag"):
                cases.set_red_flags(request.device, case, flags)
            _record_signs(request, case)
    except Refused as refused:
        return _new_case_page(request, {"which": which, "worries": worries, "tank": tank}, str(refused))
    return redirect("case_step", case.number, "first-aid")


def _new_case_page(request: HttpRequest, typed: dict[str, Any], wrong: str) -> HttpResponse:
    context: dict[str, Any] = {"place": "today", "typed": typed, "wrong": wrong, "offers": offers()}
    given = request.POST or request.GET
    context["flags"] = given.getlist("flag")
    context["signs"] = list(chosen_signs(given, reference().findings).items())
    return render(request, "casebook/today/new_case.html", context, status=422 if wrong else 200)


def _record_signs(request: HttpRequest, case: Case) -> None:
    """Keep with a new case the signs that were weighed before it; each belongs to the examination that shows it."""
    tables = reference()
    look = case.looks.get()
    fish = None
    for finding, level in chosen_signs(request.POST, tables.findings).items():
        kind = tables.findings[finding].examination
        if tables.examinations[kind].subject == "fish":
            fish = fish or looking.add_fish(request.device, case)
            examination = looking.examination_for(request.device, look, kind, fish)
        else:
            examination = looking.examination_for(request.device, look, kind)
        looking.record_finding(request.device, examination, finding, level)


def _tank(key: str) -> Tank | None:
    return Tank.objects.select_related("room", "system").filter(pk=key).first() if key.isdecimal() else None


def _name(tank: Tank) -> str:
    return f"{tank.name}, {tank.room.name}"


# --- tasks ------------------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
def new_task(request: HttpRequest) -> HttpResponse:
    """Set something for a day; `?case=` and `?tank=` say for whom."""
    given = request.POST if request.method == "POST" else request.GET
    case = case_or_404(int(given["case"])) if given.get("case", "").isdecimal() else None
    tank = _tank(given.get("tank", ""))
    typed = {name: given.get(name, "").strip() for name in ("kind", "title", "detail", "on", "at", "for")}
    wrong = ""
    if request.method == "POST":
        try:
            _set_task(request.device, typed, case, tank)
            return back(request)
        except Refused as refused:
            wrong = str(refused)
    typed["on"] = typed["on"] or clock.today().isoformat()
    context = {
        "place": "today", "kinds": TaskDue.KINDS, "typed": typed, "wrong": wrong, "for_case": case, "tank": tank,
        "back": given.get("back", ""), "offers": offers() if case is None and tank is None else (),
    }  # fmt: skip
    return render(request, "casebook/today/new_task.html", context, status=422 if wrong else 200)


def _set_task(device: Device, typed: dict[str, str], case: Case | None, tank: Tank | None) -> None:
    on = _day(typed["on"])
    if case is None and tank is None and typed["for"]:
        tank = whom(typed["for"]).tank
        if tank is None:
            raise Refused(f"There is no one tank named {typed['for']!r}; leave it empty for a task of no tank.")
    try:
        at = dt.time.fromisoformat(typed["at"]) if typed["at"] else None
    except ValueError:
        raise Refused(f"{typed['at']!r} is no time of day; write it as 18:00, or leave it empty.") from None
    title = typed["title"] or dict(TaskDue.KINDS).get(typed["kind"], "").capitalize()
    if len(title) > 300:
        raise Refused("What is to be done is one line of at most 300 letters; put the rest under Detail.")
    keeping.add_task(device, typed["kind"], title, on, case=case, tank=tank, detail=typed["detail"], due_at=at)


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise Refused(f"{text!r} is no date; write it as {clock.today().isoformat()}.") from None


@require_POST
def mark_task(request: HttpRequest, pk: int) -> HttpResponse:
    """Done, put off (`days` from today, or to the date `on`), or called off."""
    task = get_object_or_404(TaskDue.objects.filter(Q(case=None) | Q(case__deleted_at=None)), pk=pk)
    what = request.POST.get("what", "")
    seen = int(request.POST["seen"]) if request.POST.get("seen", "").isdecimal() else None
    if what == "done":
        keeping.finish_task(request.device, task, request.POST.get("outcome", ""))
    elif what == "called_off":
        keeping.finish_task(request.device, task, "called off")
    elif what == "put_off":
        keeping.change_task(request.device, task, seen=seen, due_on=_later(request))
    else:
        raise Refused("A task is marked done, put off or called off.")
    return back(request)


def _later(request: HttpRequest) -> dt.date:
    days, today_ = request.POST.get("days", ""), clock.today()
    on = today_ + dt.timedelta(days=int(days)) if days in map(str, PUT_OFF_DAYS) else _day(request.POST.get("on", ""))
    if on <= today_:
        raise Refused("Put it off to a day after today.")
    return on


# --- undo -------------------------------------------------------------------------------------------------------------


def last_said(device: Device) -> Act | None:
    """This device's last act outside the pages of a case: with tasks, tanks, batches, moves, quick readings."""
    return (
        Act.objects.filter(Q(case=None) | Q(kind__in=TASK_ACTS, case__deleted_at=None), device=device, undone_by=None)
        .filter(at__gt=clock.now() - KEPT_FOR)
        .exclude(kind__in=NOT_IN_ORDER)
        .order_by("-id")
        .first()
    )


@require_POST
def undo_said(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back the act that the undo bar of Today and of the rooms shows."""
    last = last_said(request.device)
    if last is None or last.pk != pk:
        if not Act.objects.filter(pk=pk, device=request.device).exists():
            raise Http404
        raise Refused("That is not the last entry of this device any more. Reload the page.")
    take_back(request.device, last)
    return back(request)
