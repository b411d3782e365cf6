"""Cautions: which warnings of the table belong to what is on the page.

`cautions_for` is the one way from triggers to cautions; page, report, message and JSON all go through it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from wetmount.reference import Reference
    from wetmount.reference.rows import Caution, Condition
    from wetmount.weighup.results import ConditionResult, WeighUp

SEVERITIES: Final = ("stop", "care", "note")
"""From "do not go on before this is settled" to "good to know"."""

WARN_FROM: Final = 0.05
"""Probability of being present from which a notifiable or zoonotic condition shows its cautions though it does not
lead. A judgement: nineteen needless calls to the authority weigh less than one that was not made."""
LEADING_FROM: Final = 0.2
"""Probability of being responsible from which any other condition shows its cautions, beside the first in rank
(judgement)."""

ANY: Final = "any"


@dataclass(frozen=True, slots=True)
class CautionShown:
    """A caution that applies. `headline` is the first sentence of `text` and stands alone where room is short;
    `because` are the ids that triggered it, empty for a caution that always stands."""

    id: str
    severity: str
    headline: str
    text: str
    because: tuple[str, ...]
    sources: tuple[str, ...]


def cautions_for(
    reference: Reference,
    *,
    conditions: Iterable[str] = (),
    examinations: Iterable[str] = (),
    agents: Iterable[str] = (),
    water: Iterable[str] = (),
    findings: Iterable[str] = (),
) -> tuple[CautionShown, ...]:
    """The cautions of these ids and those that always stand, each once, gravest first, then in the table's order.

    `conditions`, `examinations`, `findings` and `agents` (treatments) are ids of the reference; `water` are findings of
    the water that are seen. Ids without a caution of their own are accepted.
    """
    present: dict[str, tuple[str, ...]] = {
        "condition": tuple(conditions),
        "examination": tuple(examinations),
        "agent": tuple(agents),
        "water": tuple(water),
        "finding": tuple(findings),
    }
    shown = []
    for caution in reference.cautions.values():
        because = tuple(_triggered(caution, present, reference))
        if because or caution.trigger_kind == "always":
            headline = caution.text.split(". ")[0].removesuffix(".") + "."
            shown.append(CautionShown(caution.id, caution.severity, headline, caution.text, because, caution.sources))
    return tuple(sorted(shown, key=lambda one: SEVERITIES.index(one.severity)))


def select_conditions(
    results: Iterable[ConditionResult],
    reference: Reference,
    *,
    warn_from: float = WARN_FROM,
    leading_from: float = LEADING_FROM,
) -> tuple[str, ...]:
    """Conditions of a weigh-up, in its rank order, whose cautions are to be shown: the first in rank, those responsible
    with at least `leading_from`, the notifiable or zoonotic ones present with at least `warn_from` (probabilities)."""
    chosen = []
    for place, result in enumerate(results):
        row = reference.conditions[result.id]
        warns = row.notifiable != "no" or row.zoonotic
        if place == 0 or result.responsible >= leading_from or (warns and result.probability >= warn_from):
            chosen.append(result.id)
    return tuple(chosen)


def cautions_of(
    weigh_up: WeighUp,
    reference: Reference,
    *,
    proposed: Iterable[str] | None = None,
    agents: Iterable[str] = (),
    warn_from: float = WARN_FROM,
) -> tuple[CautionShown, ...]:
    """Every caution of a weigh-up: of its conditions as `select_conditions` says, of what was seen in fish and water,
    of the examinations done and of those `proposed` on the page (None: all that the weigh-up proposes), and of `agents`
    (treatments) on the page."""
    evidence = weigh_up.evidence
    seen = {observation.finding for observation in evidence.observations if observation.level > 0}
    seen |= {question for question, yes in evidence.answers.items() if yes}
    if proposed is None:
        proposed = (examination.id for examination in weigh_up.next_examinations or ())
    return cautions_for(
        reference,
        conditions=select_conditions(weigh_up.conditions, reference, warn_from=warn_from),
        examinations=dict.fromkeys((*evidence.examinations_done, *proposed)),
        agents=agents,
        water=(id for id in reference.findings if id in seen and reference.findings[id].kind == "water"),
        findings=(id for id in reference.findings if id in seen),
    )


def triggers_of(caution: Caution) -> tuple[str, ...]:
    """The triggers of a caution, of which any one shows it; none for a caution that always stands."""
    return tuple(part.strip() for part in caution.trigger.split(";") if part.strip())


def _triggered(caution: Caution, present: dict[str, tuple[str, ...]], reference: Reference) -> Iterator[str]:
    """Ids on the page that trigger the caution."""
    triggers = triggers_of(caution)
    for id in present.get(caution.trigger_kind, ()):
        words = {id, ANY}
        if caution.trigger_kind == "condition":
            words.update(_kinds(reference.conditions[id]))
        if not words.isdisjoint(triggers):
            yield id


def _kinds(condition: Condition) -> tuple[str, ...]:
    """What a caution may be triggered by beside the condition's own id."""
    return (condition.group, f"notifiable:{condition.notifiable}", *(("zoonotic:yes",) if condition.zoonotic else ()))
