"""What was chosen and why, and what a choice leaves open."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from wetmount.errors import InputError
from wetmount.plan.options import Option, Plan, apart_words
from wetmount.reference import Reference


@dataclass(frozen=True, slots=True)
class ChosenPlan:
    """The options a practitioner chose, in their order, edited texts included, by whom, why and when.

    `left_open` are predisposing conditions that no chosen step changes, `apart` the distances between chosen agents.
    """

    options: tuple[Option, ...]
    texts: Mapping[str, str]
    by: str
    why: str
    at: str
    left_open: tuple[str, ...]
    apart: tuple[str, ...]
    reference_version: str


def choose(
    plan: Plan,
    ids: Sequence[str],
    reference: Reference,
    *,
    by: str,
    why: str,
    at: datetime,
    edits: Mapping[str, str] | None = None,
) -> ChosenPlan:
    """Records a choice. InputError for an option that does not exist, one against which a stop stands, an antimicrobial
    before anything that samples or refers, or a choice without a name or a reason."""
    if not by.strip() or not why.strip():
        raise InputError("a choice needs who made it and why", field="why")
    known = {option.id: option for option in plan.options}
    for id in (*ids, *(edits or {})):
        if id not in known:
            raise InputError(f"no option {id!r} in this plan; its options: {', '.join(known)}", field="choose")
    if not ids:
        raise InputError("choose at least one option; `watch` is one", field="choose")
    chosen = tuple(known[id] for id in dict.fromkeys(ids))
    sampled = False
    for option in chosen:
        if option.stops:
            raise InputError(f"{option.title}: {option.stops[0].text}", field=option.id)
        if option.not_first is not None and not sampled:
            raise InputError(
                f"{option.title}: {option.not_first}; choose what samples or refers ahead of it", field=option.id
            )
        sampled = sampled or option.kind in ("examine", "refer")
    return ChosenPlan(
        chosen,
        dict(edits or {}),
        by.strip(),
        why.strip(),
        at.isoformat(timespec="minutes"),
        left_open(plan, ids),
        tuple(apart_words([option.id for option in chosen if option.kind == "treat"], reference)),
        plan.reference_version,
    )


def left_open(plan: Plan, ids: Iterable[str]) -> tuple[str, ...]:
    """The predisposing conditions that no option of `ids` changes."""
    wanted = set(ids)
    chosen = (option for option in plan.options if option.id in wanted and option.kind in ("husbandry", "treat"))
    changed = {cover.condition for option in chosen for cover in option.covers}
    return tuple(one for one in plan.opened if one not in changed)
