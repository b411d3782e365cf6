"""Several fish: prevalence, intensity, abundance, and what changed between two counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from wetmount.burden import Burden, Change, burden_of, change_between_groups, change_in_same_fish
from wetmount.casebook.access import case_or_404
from wetmount.casebook.models import Case, Slide
from wetmount.casebook.reference import reference
from wetmount.casebook.views import count_forms
from wetmount.casebook.views.count import frame
from wetmount.casebook.views.count_figures import two
from wetmount.errors import InputError

MOST_FISH: Final = 500


@dataclass(frozen=True, slots=True)
class Told:
    """The burden of one count, its means in words, and where its bars lie (largest fish = 100)."""

    title: str
    burden: Burden
    abundance: str
    intensity: str
    bars: tuple[float, ...]

    @property
    def drawn(self) -> list[tuple[float, float, float, float]]:
        """The bars, most first, on a drawing of 100 by 40: x, y, width, height."""
        step = 100 / len(self.bars)
        return [
            (round(n * step, 2), round(39.5 - 0.38 * bar, 2), round(step * 0.8, 2), round(0.38 * bar, 2))
            for n, bar in enumerate(self.bars)
        ]


@require_GET
def results(request: HttpRequest, number: int | None = None) -> HttpResponse:
    """Parasites on each fish, typed or from the slides of the case; and the same after a treatment."""
    case = case_or_404(number) if number is not None else None
    given = request.GET
    typed = {name: count_forms.typed(given, name) for name in ("before", "after", "finding")}
    same = given.get("same", "") == "yes"
    wrong, first, second, change = "", None, None, None
    counted = _counted(case) if case is not None else {}
    if typed["finding"] in counted and not typed["before"]:
        looks = counted[typed["finding"]]
        typed["before"] = " ".join(map(str, looks[0][1]))
        typed["after"] = " ".join(map(str, looks[-1][1])) if len(looks) > 1 else ""
    try:
        before = _fish(given, "before", typed["before"], "The count")
        after = _fish(given, "after", typed["after"], "The second count")
        if before:
            first = _told("Counted" if not after else "Before", before)
        if before and after:
            second = _told("After", after)
            change = change_in_same_fish(before, after) if same else change_between_groups(before, after)
    except InputError as error:
        wrong = count_forms.sentence(error)
    context: dict[str, Any] = {
        "typed": typed, "same": same, "wrong": wrong, "first": first, "second": second, "change": change,
        "gone": _gone(change) if change is not None else "",
        "findings": [(id, reference().findings[id].name, looks) for id, looks in counted.items()],
    }  # fmt: skip
    status = 422 if wrong else 200
    return render(request, "casebook/count/results.html", frame(request, case, None) | context, status=status)


def _fish(given: Any, name: str, text: str, what: str) -> list[int]:
    given = given.copy()
    given[name] = text
    values = count_forms.counts(given, name, what)
    if len(values) > MOST_FISH:
        raise InputError(f"{what}: {len(values)} fish; at most {MOST_FISH} go here", field=name)
    return values


def _told(title: str, counts: Sequence[int]) -> Told:
    burden = burden_of(counts)
    most = max([*counts, 1])
    mean = burden.intensity
    return Told(
        title,
        burden,
        f"{two(burden.abundance.value)} ({two(burden.abundance.low)} to {two(burden.abundance.high)})",
        "none infected" if mean is None else f"{two(mean.value)} ({two(mean.low)} to {two(mean.high)})",
        tuple(round(100 * n / most, 1) for n in sorted(counts, reverse=True)),
    )


def _gone(change: Change) -> str:
    """The change as a sentence, with its range."""
    low, high = (f"{100 * max(share, -99):.0f}" for share in (change.low, change.high))
    if change.low > 0:
        return f"{change.reduction:.0%} of them are gone; between {low} and {high} % with 95 in 100."
    if change.high < 0:
        return f"There are more than before: {-change.reduction:.0%} more; the change lies between {low} and {high} %."
    return f"Whether they went down cannot be told: {change.reduction:.0%} gone, between {low} and {high} %."


def _counted(case: Case) -> dict[str, list[tuple[Any, list[int]]]]:
    """What was counted in the case: finding, then by look the parasites on the slides of each fish."""
    found: dict[str, dict[Any, dict[int, int]]] = {}
    slides = Slide.objects.filter(examination__look__case=case, examination__fish__isnull=False)
    for slide in slides.select_related("examination__look").order_by("examination__look__on", "pk"):
        look, fish = slide.examination.look, slide.examination.fish_id
        for id, values in slide.counts.items():
            if id in reference().findings:
                total = sum(values) if isinstance(values, list) else values
                by_fish = found.setdefault(id, {}).setdefault(look, {})
                by_fish[fish] = by_fish.get(fish, 0) + total
    return {id: [(look, list(fish.values())) for look, fish in looks.items()] for id, looks in found.items()}
