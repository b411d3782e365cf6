"""The order of work. Any step can come first, be left and resumed; `Case.step` keeps where it was left."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count

from wetmount.casebook.models import Case, Look, Numbers


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
    entries: dict[str, int] = {}
    if look is not None:
        counted = look.examinations.values("kind").annotate(n=Count("findings"))
        entries = {row["kind"]: row["n"] for row in counted}
        entries["water_test"] = entries.get("water_test", 0) + look.readings.count()
        if Numbers.objects.filter(look=look).exists():
            entries["counting_fish"] = entries.get("counting_fish", 0) + 1
    entries["asking"] = entries.get("asking", 0) + case.answers.count()
    words: list[StepState] = []
    for step in STEPS:
        n = sum(entries.get(kind, 0) for kind in step.examinations)
        word = f"{n} in" if n else "–"
        if step.id == "first-aid":
            word = f"{len(case.red_flags)} so" if case.red_flags else "–"
        elif not step.examinations:
            word = ""
        words.append(StepState(step, word))
    return words
