"""How many fish to examine, what a clean sample proves, and pooled tests."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.views.decorators.http import require_GET

from wetmount.casebook.access import case_or_404
from wetmount.casebook.models import Case, Numbers
from wetmount.casebook.views import count_forms
from wetmount.casebook.views.count import frame
from wetmount.errors import InputError
from wetmount.sampling import LARGEST_GROUP, clean_sample, fish_to_sample, pools_needed, prevalence_from_pools

FIELDS = (
    "group",
    "prevalence",
    "confidence",
    "sensitivity",
    "specificity",
    "clean",
    "prior",
    "pool",
    "pools",
    "positive",
)
USUAL = {"prevalence": "10", "confidence": "95", "sensitivity": "80", "specificity": "100"}


@require_GET
def sample(request: HttpRequest, number: int | None = None) -> HttpResponse:
    """The form with its answer; the address holds all of it."""
    case = case_or_404(number) if number is not None else None
    given = request.GET
    typed = USUAL | {name: count_forms.typed(given, name) for name in FIELDS if given.get(name)}
    if case is not None and "prevalence" not in given:
        typed["group"] = _group(case)
    told: dict[str, Any] = {}
    wrong = ""
    try:
        if "prevalence" in given:
            told = _told(given)
    except InputError as error:
        wrong = count_forms.sentence(error)
    context = {"typed": typed, "wrong": wrong} | told
    status = 422 if wrong else 200
    return render(request, "casebook/count/sample.html", frame(request, case, None) | context, status=status)


def _group(case: Case) -> str:
    numbers = Numbers.objects.filter(look__case=case, total__isnull=False).order_by("-look__on", "-pk").first()
    return str(max(1, (numbers.total or 0) - (numbers.dead or 0))) if numbers is not None else ""


def _share(given: QueryDict, name: str, what: str, least: float, most: float) -> float | None:
    usual = float(USUAL[name]) if name in USUAL else None
    percent = count_forms.number(given, name, f"{what}, in percent", least=least, most=most, otherwise=usual)
    return None if percent is None else percent / 100


def _told(given: QueryDict) -> dict[str, Any]:
    whole = count_forms.whole
    group = whole(given, "group", "Fish in the group", least=1, most=LARGEST_GROUP)
    prevalence = _share(given, "prevalence", "The share to find", 0.01, 100) or 0.1
    confidence = _share(given, "confidence", "The confidence", 50, 99.99) or 0.95
    sensitivity = _share(given, "sensitivity", "Carriers found", 1, 100) or 1.0
    specificity = _share(given, "specificity", "Free fish left free", 50, 100) or 1.0
    needed = fish_to_sample(group, prevalence, confidence=confidence, sensitivity=sensitivity, specificity=specificity)
    told: dict[str, Any] = {"needed": needed, "group": group, "prevalence": prevalence, "confidence": confidence}
    clean = whole(given, "clean", "Fish examined, all clean", least=1, most=group or LARGEST_GROUP)
    prior = _share(given, "prior", "The chance held before", 0, 99.9)
    if prior is not None and clean is None:
        raise InputError("the chance held before goes with fish examined; say how many were clean", field="prior")
    if clean is not None:
        told["proof"] = clean_sample(
            group, clean, sensitivity=sensitivity, confidence=confidence, prevalence=prevalence, prior_infected=prior
        )
    pool = whole(given, "pool", "Fish in a pool", least=1, most=1000)
    pools = whole(given, "pools", "Pools tested", least=1, most=100_000)
    positive = whole(given, "positive", "Pools positive", least=0, most=100_000)
    if pool is not None:
        told["pool"] = pool
        told["pools"] = pools_needed(prevalence, pool, pool_sensitivity=sensitivity, confidence=confidence)
        if pools is not None and positive is not None:
            told["from_pools"] = prevalence_from_pools(positive, pools, pool, sensitivity=sensitivity)
    elif pools is not None or positive is not None:
        raise InputError("say how many fish were in a pool", field="pool")
    return told
