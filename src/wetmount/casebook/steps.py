"""The order of work. Any step can come first, be left and resumed; `Case.step` keeps where it was left."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count

from wetmount.casebook.models import Case, Look, Numbers, PlanChoice
from wetmount.casebook.reference import reference


@dataclass(frozen=True, slots=True)
class Step:
    """One step: its name on screen, and the examinations of the reference that are done in it."""

    id: str
    name: str
    examinations: tuple[str, ...] = ()


STEPS: tuple[Step, ...] = (
    Step("first-aid", "First aid"),
    Step("history", "History and numbers", ("asking", "counting_fish")),
    Step("tank", "At the tank", ("tank_look",)),
    Step("water", "Water", ("water_test",)),
    Step("hand", "In the hand", ("in_hand",)),
    Step("skin", "Skin scrape", ("skin_scrape", "fin_clip")),
    Step("gill", "Gill scrape", ("gill_scrape",)),
    Step("faeces", "Faeces", ("faecal_wet_mount",)),
    Step("opened", "Opened up", ("swab", "dissection", "organ_squash", "stain")),
    Step("laboratory", "Laboratory", ("lab_culture", "lab_pcr", "lab_histology")),
    Step("weigh-up", "Weigh-up"),
    Step("plan", "Plan"),
    Step("follow-up", "Follow-up"),
    Step("report", "Report"),
)


@dataclass(frozen=True, slots=True)
class StepState:
    """A step of one case with a word on how far it is."""

    step: Step
    word: str


def step_of(id: str) -> Step:
    """The step of this id. Raises `KeyError` when there is none."""
    return {step.id: step for step in STEPS}[id]


def step_for_examination(kind: str) -> Step | None:
    """The step in which an examination is done."""
    return next((step for step in STEPS if kind in step.examinations), None)


def states_of(case: Case, look: Look | None) -> list[StepState]:
    """How far each step is in this look: a few queries, however large the case is."""
    entered: dict[str, int] = {}
    readings = 0
    if look is not None:
        counted = look.examinations.values("kind").annotate(n=Count("findings"))
        entered = {row["kind"]: row["n"] for row in counted}
        readings = look.readings.count()
        if Numbers.objects.filter(look=look).exists():
            entered["counting_fish"] = entered.get("counting_fish", 0) + 1
    answers = case.answers.count()
    if answers:
        entered["asking"] = entered.get("asking", 0) + answers
    plan = PlanChoice.objects.filter(look=look).values_list("by", flat=True).first() if look is not None else None
    planned = "–" if plan is None else "chosen" if plan else "begun"
    return [StepState(step, planned if step.id == "plan" else _word(step, case, entered, readings)) for step in STEPS]


def _word(step: Step, case: Case, entered: dict[str, int], readings: int) -> str:
    if step.id == "first-aid":
        return f"{len(case.red_flags)} so" if case.red_flags else "–"
    if step.id == "water" and readings:
        return f"{readings} read"
    if not step.examinations:
        return ""
    begun = [kind for kind in step.examinations if kind in entered]
    # Done: a short list of the step is through; more can always be entered.
    lists = {kind: len(row.short_list) for kind, row in reference().examinations.items()}
    if any(entered[kind] >= max(lists.get(kind, 1), 1) for kind in begun):
        return "done"
    return "begun" if begun else "–"
