"""What the cases of a batch say for its quarantine: fish under the microscope, what was found, deaths, temperature."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

from django.db.models import Max

from wetmount.casebook.models import Batch, Case, Examination, FindingEntry, Numbers, Reading
from wetmount.reference import Reference

UNDER_THE_MICROSCOPE: Final = ("skin_scrape", "fin_clip", "gill_scrape", "faecal_wet_mount")
"""Examinations that show whether a fish carries parasites and that do not take it apart."""


@dataclass(frozen=True, slots=True)
class BatchSoFar:
    """The last day on which fish of a batch were examined, how many, the organisms seen that day; the dead of its
    cases, None where none of them says; the last temperature as typed; and the cases it rests on."""

    cases: tuple[Case, ...]
    examined: int
    examined_on: dt.date | None
    found: tuple[str, ...]
    deaths: int | None
    temperature: str


def batch_so_far(batch: Batch, reference: Reference) -> BatchSoFar:
    """Gathered from the batch's cases that are not deleted.

    A fish counts as examined once a finding was entered, seen or not. The dead are the most that each case says, added
    up: fish that stand in two cases count twice.
    """
    cases = tuple(Case.objects.filter(batch=batch).order_by("number"))
    looked = (
        Examination.objects.filter(look__case__in=cases, kind__in=UNDER_THE_MICROSCOPE, findings__isnull=False)
        .select_related("look__case")
        .distinct()
    )
    on: dict[dt.date, list[Examination]] = {}
    for one in looked:
        on.setdefault(one.look.on or one.look.case.opened, []).append(one)
    last = max(on, default=None)
    last_round = on[last] if last is not None else []
    seen = FindingEntry.objects.filter(examination__in=last_round, level__gt=0).values_list("finding", flat=True)
    rows = [reference.findings[id] for id in dict.fromkeys(seen) if id in reference.findings]
    most = Numbers.objects.filter(look__case__in=cases, dead__isnull=False).values("look__case").annotate(Max("dead"))
    deaths = [row["dead__max"] for row in most.order_by("look__case")]
    reading = Reading.objects.filter(look__case__in=cases, parameter="temperature").order_by("look__on", "id").last()
    return BatchSoFar(
        cases,
        len({(one.look.case_id, one.fish_id) for one in last_round}),
        last,
        tuple(row.name.replace(",", " and") for row in rows if row.kind == "organism"),
        sum(deaths) if deaths else None,
        reading.value if reading is not None else "",
    )
