"""Fish, looks and the head of the case: who is examined, when, and what is known of where."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from wetmount import units
from wetmount.casebook import clock
from wetmount.casebook.access import case_or_404, fish_or_404, look_or_404
from wetmount.casebook.models import Batch, Case, Fish, FishRoom, Keeper, System, Tank
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, keeping, looking
from wetmount.casebook.services.entering import once
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.shell import case_context
from wetmount.casebook.views.entry_forms import day, decimal, text, version
from wetmount.casebook.views.entry_places import after_entry
from wetmount.casebook.views.entry_rows import state_words
from wetmount.errors import InputError

KINDS_OF_TASK = ("look_again", "result", "news", "reading", "water_change", "dose", "quarantine")


# --- fish -------------------------------------------------------------------------------------------------------------


@require_POST
def add_fish(request: HttpRequest, number: int) -> HttpResponse:
    """Another fish to be examined, with the state it is in."""
    case = case_or_404(number)
    with once(request.POST.get("id", "")) as new:
        if not new:
            return after_entry(request, case)
        values = _fish_values(request, case)
        # The page did not know of a fish, but entries gave the case its first meanwhile: it is that one's state.
        begun = case.fish.filter(state="").first() if request.POST.get("first") else None
        if begun is not None:
            fish = looking.change_fish(request.device, begun, state=values["state"])
        else:
            fish = looking.add_fish(request.device, case, **values)
    target = request.POST.get("back", "").split("?")[0]
    if target.startswith(f"/case/{case.number}/"):
        look = request.POST.get("look", "")
        return redirect(f"{target}?fish={fish.pk}" + (f"&look={look}" if look.isdecimal() else ""))
    return redirect("fish", case.number, fish.pk)


@require_http_methods(["GET", "POST"])
def fish(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """What is known of one fish, and the state of its body when it was examined."""
    case = case_or_404(number)
    row = fish_or_404(case, pk)
    if request.method == "POST":
        values = _fish_values(request, case)
        if not values["name"]:
            raise Refused("The fish needs a name or a number.")
        looking.change_fish(request.device, row, seen=version(request), **values)
        return after_entry(request, case)
    context = case_context(request, case, None) | {
        "fish": row,
        "state_words": state_words(row),
        "states": Fish.STATES,
        "kepts": Fish.KEPT,
        "sexes": Fish.SEXES,
        "tanks": _tanks(case),
        "examined": row.examinations.select_related("look"),
        "back": request.GET.get("back", "") or reverse("case", args=[case.number]),
        "killing": [one for one in reference().cautions.values() if one.id == "humane_killing"],
    }
    return render(request, "casebook/entry/fish.html", context)


def _fish_values(request: HttpRequest, case: Case) -> dict[str, Any]:
    state = request.POST.get("state", "")
    values: dict[str, Any] = {
        "name": text(request, "name", 200),
        "species": text(request, "species", 200),
        "state": _one_of(state, Fish.STATES, "state"),
        "killed_by": text(request, "killed_by") if state == "killed" else "",
        "hours_dead": decimal(request, "hours_dead", "Hours since death", most=10_000) if state != "alive" else None,
        "kept": _one_of(request.POST.get("kept", ""), Fish.KEPT, "way of keeping") if state != "alive" else "",
        "length": _measured(request, "length"),
        "weight": _measured(request, "weight"),
        "sex": _one_of(request.POST.get("sex", ""), Fish.SEXES, "sex"),
        "note": text(request, "note"),
    }
    tank = request.POST.get("tank", "")
    values["tank_id"] = next((one.pk for one in _tanks(case) if str(one.pk) == tank), None)
    return values


def _one_of(sent: str, choices: list[tuple[str, str]], what: str) -> str:
    if sent and sent not in dict(choices):
        raise Refused(f"There is no {what} {sent[:40]!r}.")
    return sent


def _measured(request: HttpRequest, name: str) -> str:
    typed = text(request, name, 60)
    if typed:
        try:
            units.parse_quantity(typed, name)
        except InputError as error:
            raise Refused(error.message[:1].upper() + error.message[1:]) from None
    return typed


@require_POST
def remove_fish(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Take a fish off the case; its examinations stay, without a fish. Undo brings it back."""
    case = case_or_404(number)
    looking.remove_fish(request.device, fish_or_404(case, pk))
    return redirect("case", case.number)


# --- looks ------------------------------------------------------------------------------------------------------------


@require_POST
def begin_look(request: HttpRequest, number: int) -> HttpResponse:
    """A new visit: what is entered from now on belongs to it."""
    case = case_or_404(number)
    on = day(request, "on", "The day of the look") or clock.today()
    with once(request.POST.get("id", "")) as new:
        if not new:
            return redirect("case", case.number)
        if case.looks.filter(on=on).exists():
            raise Refused(f"There is a look of {on.day} {on:%B} already. Choose it, or another day.")
        look = looking.begin_look(request.device, case, on, text(request, "note"))
    return redirect(reverse("case_step", args=[case.number, "tank"]) + f"?look={look.pk}")


@require_http_methods(["GET", "POST"])
def look(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """The day and note of a look, and the way to delete it."""
    case = case_or_404(number)
    row = look_or_404(case, pk)
    if request.method == "POST":
        on = day(request, "on", "The day of the look")
        if on is None:
            raise Refused("A look needs its day.")
        looking.change_look(request.device, row, seen=version(request), on=on, note=text(request, "note"))
        return redirect("case", case.number)
    context = case_context(request, case, None, row)
    context |= {"chosen": row, "only": case.looks.count() == 1, "examined": row.examinations.count()}
    return render(request, "casebook/entry/look.html", context)


@require_POST
def remove_look(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Take a look away with what it found; Undo brings it back."""
    case = case_or_404(number)
    looking.remove_look(request.device, look_or_404(case, pk))
    return redirect("case", case.number)


# --- the head of the case ---------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
def head(request: HttpRequest, number: int) -> HttpResponse:
    """Title, host, keeper and place of the case."""
    case = case_or_404(number)
    if request.method == "POST":
        cases.change_case(request.device, case, seen=version(request), **_head_values(request))
        further = list(Tank.objects.filter(pk__in=_keys(request, "further")))
        cases.set_further_tanks(request.device, case_or_404(number), further)
        return redirect("case", case.number)
    tables = reference()
    context = case_context(request, case, None) | {
        "keepers": Keeper.objects.order_by("name"),
        "rooms": FishRoom.objects.all(),
        "systems": System.objects.select_related("room"),
        "all_tanks": Tank.objects.select_related("room"),
        "batches": Batch.objects.all()[:200],
        "hosts": [(row.scientific_name, row.common_name) for row in tables.hosts.values()],
        "host_groups": [(row.id, row.meaning) for row in tables.host_groups.values()],
        "further": {one.tank_id for one in case.further_tanks.all()},
    }
    return render(request, "casebook/entry/head.html", context)


def _head_values(request: HttpRequest) -> dict[str, Any]:
    group = text(request, "host_group", 200)
    if group and group not in reference().host_groups:
        raise Refused("There is no such host group in the reference.")
    opened = day(request, "opened", "Opened")
    if opened is None:
        raise Refused("A case needs the day on which it was opened.")
    lengths = {"title": 300, "own_number": 200, "which_fish": 300, "species": 200, "worries": 20_000, "note": 20_000}
    values: dict[str, Any] = {name: text(request, name, most) for name, most in lengths.items()}
    values |= {"host_group": group, "opened": opened}
    for name, model in (("keeper", Keeper), ("room", FishRoom), ("system", System), ("tank", Tank), ("batch", Batch)):
        sent = request.POST.get(name, "")
        key = int(sent) if sent.isdecimal() and len(sent) < 18 else None
        if sent and (key is None or not model.objects.filter(pk=key).exists()):
            raise Refused(f"There is no such {name}.")
        values[f"{name}_id"] = key
    return values


def _keys(request: HttpRequest, name: str) -> list[int]:
    return [int(one) for one in request.POST.getlist(name) if one.isdecimal() and len(one) < 18]


def _tanks(case: Case) -> list[Tank]:
    further = [one.tank for one in case.further_tanks.select_related("tank")]
    return [*([case.tank] if case.tank is not None else []), *further]


# --- following up -----------------------------------------------------------------------------------------------------


@require_POST
def add_task(request: HttpRequest, number: int) -> HttpResponse:
    """Something to do on a day: look again, a result that is awaited, news from the keeper."""
    case = case_or_404(number)
    kind = request.POST.get("kind", "")
    due = day(request, "due_on", "The day")
    if due is None:
        raise Refused("Say on which day.")
    with once(request.POST.get("id", "")) as new:
        if new:
            title = text(request, "title", 300)
            keeping.add_task(request.device, kind, title, due, case=case, detail=text(request, "detail"))
    return after_entry(request, case, "due")


@require_POST
def finish_task(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Done."""
    case = case_or_404(number)
    task = case.tasks.filter(pk=pk).first()
    if task is not None:
        keeping.finish_task(request.device, task, text(request, "outcome"))
    return after_entry(request, case, "due")


@require_POST
def set_cause(request: HttpRequest, number: int) -> HttpResponse:
    """What the case is put down to, in the practitioner's judgement."""
    case = case_or_404(number)
    cases.set_cause(
        request.device,
        case,
        text(request, "condition", 200),
        text(request, "standing", 20) or None,
        note=text(request, "note"),
    )
    return after_entry(request, case, "causes")


@require_POST
def addendum(request: HttpRequest, number: int) -> HttpResponse:
    """Add to a closed case."""
    case = case_or_404(number)
    with once(request.POST.get("id", "")) as new:
        if new:
            cases.add_addendum(request.device, case, text(request, "text"))
    return after_entry(request, case, "addenda")
