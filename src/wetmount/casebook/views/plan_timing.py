"""Burdens counted in a case, by the condition they belong to: from them the forecast finds the days to treat on."""

from __future__ import annotations

from dataclasses import dataclass

from wetmount.burden import burden_of
from wetmount.casebook.models import Case, Slide
from wetmount.casebook.views.count_figures import two
from wetmount.forecast import MODELS
from wetmount.reference import Reference


@dataclass(frozen=True, slots=True)
class Counted:
    """What was counted last: the finding, on how many fish, and what a forecast is asked with."""

    finding: str
    fish: int
    asked: dict[str, str]


def burdens(case: Case, reference: Reference) -> dict[str, Counted]:
    """The burden of each parasite that has a forecast, from the slides of the last look it was counted in; one query.

    Totals of the slides of each fish are taken, as on the page of counts; of one fish alone the mean has no range and
    the forecast takes its own.
    """
    conditions = {model.condition for model in MODELS.values()}
    belongs: dict[str, set[str]] = {}
    for link in reference.links:
        if link.condition in conditions and reference.findings[link.finding].kind == "organism":
            belongs.setdefault(link.finding, set()).add(link.condition)
    slides = Slide.objects.filter(examination__look__case=case, examination__fish__isnull=False)
    totals: dict[str, dict[int, dict[int, int]]] = {}
    for slide in slides.select_related("examination").order_by("examination__look__on", "examination__look_id", "pk"):
        look, fish = slide.examination.look_id, slide.examination.fish_id or 0
        for finding, values in slide.counts.items():
            if finding in belongs:
                by_fish = totals.setdefault(finding, {}).setdefault(look, {})
                by_fish[fish] = by_fish.get(fish, 0) + (sum(values) if isinstance(values, list) else values)
    found: dict[str, Counted] = {}
    for finding, looks in totals.items():
        counts = list(list(looks.values())[-1].values())
        if not any(counts):
            continue
        mean = burden_of(counts).abundance if len(counts) > 1 else None
        asked = {"burden": two(sum(counts) / len(counts))}
        if mean is not None:
            asked |= {"low": two(mean.low), "high": two(mean.high)}
        for condition in belongs[finding]:
            if condition not in found or float(asked["burden"]) > float(found[condition].asked["burden"]):
                found[condition] = Counted(finding, len(counts), asked)
    return found
