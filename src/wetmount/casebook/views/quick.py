"""Quick work without a case: a water reading, a few signs weighed, first aid. Nothing is kept unless one says so."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import Any
from urllib.parse import urlencode

from django.db import transaction
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from wetmount.case import Case, Host, Look
from wetmount.case_check import host_row
from wetmount.casebook.models import Tank
from wetmount.casebook.reference import reference
from wetmount.casebook.services.keeping import set_reading
from wetmount.casebook.services.looking import say_level
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.views.signs_chosen import chosen_signs
from wetmount.casebook.views.today import last_said
from wetmount.casebook.whom import whom
from wetmount.errors import InputError
from wetmount.evidence import gather_evidence
from wetmount.findings import parameter_name
from wetmount.first_aid import first_aid, red_flags
from wetmount.reference.rows import Finding
from wetmount.units import KINDS, READINGS, Quantity, parse_quantity
from wetmount.water_report import read_water
from wetmount.weighup import weigh_up

USUAL = ("temperature", "ph", "ammonia", "nitrite", "nitrate", "gh", "kh", "oxygen")
"""Readings that are shown at once; the others are folded."""
RANKED = 6


# --- water ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Field:
    """A reading to type: as it was typed, with the unit chosen beside it."""

    name: str
    label: str
    value: str
    unit: str
    units: tuple[str, ...]
    wrong: str = ""

    @property
    def text(self) -> str:
        """With its unit, as it is kept."""
        return f"{self.value} {self.unit}".strip()


@require_http_methods(["GET", "POST"])
def water(request: HttpRequest) -> HttpResponse:
    """Readings and what they mean for these fish; kept with a tank when that is asked for."""
    given = request.POST if request.method == "POST" else request.GET
    read, fields = _read(given)
    wrong = [field for field in fields if field.wrong]
    host, group, species, unknown = _host(given.get("host", ""))
    tank_text = given.get("tank", "").strip()
    problem = f"There is no species or host group {host!r} in the reference; judged for any fish." if unknown else ""
    keep = request.method == "POST" and given.get("what") == "keep"
    if keep and not wrong:
        try:
            kept = _keep(request, tank_text, [field for field in fields if field.value])
            return redirect(f"{reverse('room', args=[kept.room_id])}?tank={kept.pk}")
        except Refused as refused:
            problem = str(refused)
    report = None
    if read:
        try:
            report = read_water(read, group, reference(), species)
        except InputError as error:
            problem = error.message
    context = {
        "place": "today",
        "usual": [field for field in fields if field.name in USUAL],
        "others": [field for field in fields if field.name not in USUAL],
        "others_open": any(field.value for field in fields if field.name not in USUAL),
        "report": report,
        "lines": [(line, _how_bad(line.finding, line.level)) for line in report.lines] if report else (),
        "judged_for": (host if species else "") or reference().host_groups[group or "fish"].meaning,
        "host": host,
        "hosts": host_names(),
        "tank": tank_text,
        "tanks": Tank.objects.values_list("name", "room__name")[:300],
        "problem": problem,
        "last": last_said(request.device),
    }
    status = 422 if wrong or (problem and keep) else 200
    return render(request, "casebook/today/water.html", context, status=status)


def _read(given: QueryDict) -> tuple[dict[str, Quantity], list[Field]]:
    """The readings that can be read, and every field with what is wrong in it."""
    read: dict[str, Quantity] = {}
    fields = []
    for name in READINGS:
        kind, value = KINDS[name], given.get(name, "").strip()
        unit = given.get(f"{name}_unit", "")
        unit = unit if unit in kind.accepted else (kind.accepted or ("",))[0]
        wrong = ""
        if value:
            bare = value.replace(".", "", 1).lstrip("+-").isdecimal()
            try:
                read[name] = parse_quantity(f"{value} {unit}".strip() if bare else value, name)
                unit = unit if bare else ""
            except InputError as error:
                wrong = error.message[:1].upper() + error.message[1:]
        fields.append(Field(name, parameter_name(name), value, unit, kind.accepted, wrong))
    return read, fields


def _keep(request: HttpRequest, tank_text: str, fields: list[Field]) -> Tank:
    """Keep readings with a tank, all or none."""
    if not fields:
        raise Refused("There is no reading to keep yet.")
    tank = whom(tank_text).tank if tank_text else None
    if tank is None:
        raise Refused(f"There is no one tank named {tank_text!r}." if tank_text else "Say which tank they are of.")
    with transaction.atomic():
        for field in fields:
            set_reading(request.device, None, field.name, field.text, tank=tank)
    return tank


def _how_bad(finding: str | None, level: int | None) -> str:
    """'' within limits or without any, 'off' beyond one, 'harm' at the top level of several."""
    if not level or finding is None:
        return ""
    levels = reference().findings[finding].levels
    return "harm" if len(levels) > 2 and level == len(levels) - 1 else "off"


def _host(text: str) -> tuple[str, str | None, str | None, bool]:
    """What was typed, host group, scientific name, and whether it is unknown."""
    text = text.strip()
    row = host_row(text, reference()) if text else None
    if row is not None:
        return text, row.host_group, row.scientific_name, False
    for group in reference().host_groups.values():
        if text and text.casefold() in (group.id.casefold(), group.meaning.casefold()):
            return text, group.id, None, False
    return text, None, None, bool(text)


def host_names() -> list[str]:
    """Species and host groups, as one may type them."""
    tables = reference()
    return [*(row.common_name for row in tables.hosts.values()), *(row.meaning for row in tables.host_groups.values())]


# --- a few signs ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Sign:
    """A finding with what was chosen for it (None: not looked at)."""

    row: Finding
    chosen: int | None
    options: tuple[tuple[int, str], ...]


@require_GET
def signs(request: HttpRequest) -> HttpResponse:
    """A host and a few findings, weighed. Kept nowhere; the address holds all of it."""
    tables = reference()
    host, group, species, unknown = _host(request.GET.get("host", ""))
    chosen = chosen_signs(request.GET, tables.findings)
    weighed = None
    if chosen and (group or not unknown):
        case = Case(
            format=1,
            host=Host(species=species, group=None if species else group or "fish"),
            looks=(Look(findings={one: tables.findings[one].levels[level] for one, level in chosen.items()}),),
        )
        weighed = weigh_up(gather_evidence(case, tables), tables, reasons=False, examinations=False)
    groups = [
        (tables.examinations[id], [_sign(row, chosen) for row in rows])
        for id, rows in groupby(_askable(tables.findings.values()), key=lambda row: row.examination)
    ]
    context: dict[str, Any] = {
        "place": "today",
        "host": host,
        "unknown": unknown,
        "hosts": host_names(),
        "groups": [(exam, rows, sum(row.chosen is not None for row in rows)) for exam, rows in groups],
        "chosen": [(tables.findings[one].name, say_level(tables.findings[one].levels, n)) for one, n in chosen.items()],
        "seen": sum(level > 0 for level in chosen.values()),
        "weighed": weighed,
        "firm": round(weighed.firmness.share * weighed.firmness.redraws) if weighed and weighed.firmness else None,
        "ranked": weighed.conditions[:RANKED] if weighed else (),
        "carried": urlencode({"which": host, **chosen}),
    }
    return render(request, "casebook/today/signs.html", context)


def _askable(findings: Iterable[Finding]) -> list[Finding]:
    """What is seen on fish and under the microscope, by examination in the order of work."""
    order = {id: row.order for id, row in reference().examinations.items()}
    asked = [row for row in findings if row.kind in ("sign", "organism")]
    return sorted(asked, key=lambda row: order[row.examination])


def _sign(row: Finding, chosen: dict[str, int]) -> Sign:
    options = tuple((n, say_level(row.levels, n)) for n in range(len(row.levels)))
    return Sign(row, chosen.get(row.id), options)


# --- fish dying now ---------------------------------------------------------------------------------------------------


@require_GET
def dying_now(request: HttpRequest) -> HttpResponse:
    """First aid before anything else is known."""
    tables = reference()
    named = [flag for flag in request.GET.getlist("flag") if flag in tables.red_flags]
    up = red_flags(tables, named=named)
    context = {"place": "today", "flags": tables.red_flags.values(), "named": named, "up": up}
    context["steps"] = first_aid(up, tables) if up else ()
    return render(request, "casebook/today/dying_now.html", context)
