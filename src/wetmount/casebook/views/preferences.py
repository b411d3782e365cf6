"""Settings of the practice: its name and paper, units, what examinations cost it, its own rows of the reference."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from wetmount.casebook.reference import overlay_folder, overlay_problem, reference, use_overlay
from wetmount.casebook.services import preferences as kept
from wetmount.casebook.services.preferences import LONGEST_NAME, PAPERS, UNITS, Cost
from wetmount.casebook.services.refusals import Refused
from wetmount.errors import InputError
from wetmount.reference.check import check_reading
from wetmount.reference.loader import Problem, read_reference
from wetmount.units import KINDS

MOST_PROBLEMS = 50


@dataclass(frozen=True, slots=True)
class CostRow:
    """An examination with the reference's price and what was typed for this practice."""

    id: str
    name: str
    minutes: str
    money: str
    own_minutes: str
    own_money: str
    wrong: tuple[str, ...] = ()


@require_http_methods(["GET", "POST"])
def settings(request: HttpRequest) -> HttpResponse:
    """All choices on one page; a POST keeps name, paper and units."""
    if request.method == "POST":
        practice = " ".join(request.POST.get("practice", "").split())
        paper = request.POST.get("paper", "")
        units = {kind: request.POST.get(kind, "") for kind in UNITS}
        if len(practice) > LONGEST_NAME:
            return _page(
                request, wrong_name=f"At most {LONGEST_NAME} characters; these are {len(practice)}.", status=422
            )
        if paper not in PAPERS or any(unit not in UNITS[kind] for kind, unit in units.items()):
            raise Refused("A paper or unit was sent that is not on the list. Reload the page and choose again.")
        kept.keep(practice=practice, paper=paper, units=units)
        return redirect(f"{reverse('settings')}?kept=practice#practice")
    return _page(request)


@require_POST
def costs(request: HttpRequest) -> HttpResponse:
    """Keep what examinations cost this practice; an empty field stands for the reference's figure."""
    costs: dict[str, Cost] = {}
    wrong: dict[str, tuple[str, ...]] = {}
    for id in reference().examinations:
        read: dict[str, float | None] = {}
        for name in ("minutes", "money"):
            try:
                read[name] = kept.read_cost(request.POST.get(f"{name}-{id}", ""))
            except ValueError:
                wrong[id] = (*wrong.get(id, ()), name)
        if any(value is not None for value in read.values()):
            costs[id] = Cost(read.get("minutes"), read.get("money"))
    if wrong:
        return _page(request, wrong_costs=wrong, status=422)
    kept.keep(costs=costs)
    return redirect(f"{reverse('settings')}?kept=costs#costs")


@require_POST
def own_rows(request: HttpRequest) -> HttpResponse:
    """Keep the folder of own rows, if every row in it can be used."""
    if request.device.kind != "owner":
        raise Refused("The folder of own rows lies on the computer of the casebook and is chosen there.")
    if os.environ.get("WETMOUNT_OVERLAY"):
        raise Refused("The folder of own rows is set by WETMOUNT_OVERLAY where the casebook was started.")
    typed = request.POST.get("overlay", "").strip()
    if typed:
        problems = check_folder(typed)
        if problems:
            return _page(request, typed=typed, problems=problems, status=422)
    folder = str(Path(typed).expanduser()) if typed else ""
    kept.keep(overlay=folder)
    use_overlay(folder)
    return redirect(f"{reverse('settings')}?kept=rows#rows")


def check_folder(typed: str) -> list[Problem]:
    """What keeps the rows of a folder from being used, each with file, row and column."""
    folder = Path(typed).expanduser()
    if not folder.is_absolute():
        return [Problem(typed, "", "", "write the whole path, from the root of the disk")]
    try:
        return check_reading(read_reference(folder))
    except InputError as error:
        return [Problem(error.file or typed, "", error.field or "", error.message)]
    except OSError as error:
        return [Problem(typed, "", "", error.strerror or "cannot be read")]


def _page(
    request: HttpRequest,
    *,
    wrong_name: str = "",
    wrong_costs: dict[str, tuple[str, ...]] | None = None,
    typed: str | None = None,
    problems: list[Problem] | None = None,
    status: int = 200,
) -> HttpResponse:
    chosen = kept.preferences()
    tables = reference()
    context = {
        "place": "settings",
        "chosen": chosen,
        "practice": request.POST.get("practice", chosen.practice) if wrong_name else chosen.practice,
        "wrong_name": wrong_name,
        "papers": PAPERS,
        "units": [(kind, _unit_title(kind), words, chosen.unit(kind)) for kind, words in UNITS.items()],
        "costs": [_cost_row(request, id, chosen, wrong_costs) for id in tables.examinations],
        "wrong_costs": wrong_costs or {},
        "overlay": chosen.overlay if typed is None else typed,
        "overlay_used": overlay_folder(),
        "overlay_problem": overlay_problem(),
        "by_environment": bool(os.environ.get("WETMOUNT_OVERLAY")),
        "is_owner": request.device.kind == "owner",
        "problems": (problems or [])[:MOST_PROBLEMS],
        "problem_count": len(problems or []),
        "kept": request.GET.get("kept", ""),
        "version": kept.practice_reference(chosen).version,
    }
    return render(request, "casebook/preferences/settings.html", context, status=status)


def _unit_title(kind: str) -> str:
    meaning = {"gh": "total hardness", "kh": "alkalinity"}.get(kind, KINDS[kind].meaning)
    return meaning[:1].upper() + meaning[1:]


def _cost_row(
    request: HttpRequest, id: str, chosen: kept.Preferences, wrong: dict[str, tuple[str, ...]] | None
) -> CostRow:
    row = reference().examinations[id]
    own = chosen.costs.get(id, Cost())
    minutes, money = _shown(own.minutes), _shown(own.money)
    if wrong is not None:  # what was typed stays in the fields
        minutes, money = request.POST.get(f"minutes-{id}", ""), request.POST.get(f"money-{id}", "")
    name = row.name[:1].upper() + row.name[1:]
    return CostRow(id, name, f"{row.minutes:g}", f"{row.money:g}", minutes, money, (wrong or {}).get(id, ()))


def _shown(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
