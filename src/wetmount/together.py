"""May this go with that? An agent against another, fish, plants, invertebrates, the filter, soft or warm water."""

from __future__ import annotations

from dataclasses import dataclass

from wetmount.errors import InputError
from wetmount.hard_stops import THINGS, Life, WaterState, conflict_between, limit_words, limits_that_hold
from wetmount.reference import Reference

SOFT_WATER = WaterState(alkalinity_mg_caco3_per_l=10, hardness_mg_caco3_per_l=10)
HARD_WATER = WaterState(alkalinity_mg_caco3_per_l=150, hardness_mg_caco3_per_l=150)


@dataclass(frozen=True, slots=True)
class Meeting:
    """`verdict`: no | less (a lower dose or shorter time) | test first | wait | off | cancels | yes; the words why, and
    the table row. A yes only says that no row of the tables speaks against it."""

    verdict: str
    why: str
    row: str


def may_go_with(treatment: str, that: str, reference: Reference) -> Meeting:
    """Whether `treatment` may meet `that`: a treatment, a host group, one of THINGS, `soft_water`, or `warm_water`.

    InputError for a name that is none of these.
    """
    if treatment not in reference.doses:
        raise InputError(f"no treatment {treatment!r}", field="treatment")
    row = reference.doses[treatment]
    if that in reference.doses:
        conflict = conflict_between(row, reference.doses[that], reference)
        words = {"never": "no", "allow": "yes"}
        apart = f"; {conflict.hours:g} h and {100 * conflict.changed:g} % of the water changed between"
        why = conflict.why + (apart if conflict.verdict in ("never", "wait") else "")
        at = f"conflicts {conflict.first}, {conflict.second}"
        return Meeting(words.get(conflict.verdict, conflict.verdict), why, at)
    if that == "warm_water":
        if row.temperature_high_c is not None:
            return Meeting("no", f"not above {row.temperature_high_c:g} °C", f"doses {treatment}")
        hot = [limit for limit in reference.dose_limits if limit.treatment == treatment and limit.above_c is not None]
        if hot:
            return Meeting("less", limit_words(hot[0].note), f"dose_limits {treatment}, above {hot[0].above_c:g} °C")
        return Meeting("yes", "no row of the tables speaks against it", f"doses {treatment}")
    # A pond carp stands for fish of no special sensitivity when a thing is asked about.
    if that == "soft_water":
        life, water, thing = Life(("koi",)), SOFT_WATER, "soft_water"
    elif that in THINGS:
        life, water, thing = Life(("koi",), frozenset({that})), HARD_WATER, that
    elif that in reference.host_groups:
        life, water, thing = Life((that,)), HARD_WATER, ""
    else:
        raise InputError(f"{that!r} is no treatment, host group or thing ({', '.join(THINGS)}, soft_water, warm_water)")
    found = [limit for limit in limits_that_hold(row, water, life, reference) if limit.thing == thing]
    ranks = (("refuse", "no"), ("max", "less"), ("factor", "less"), ("test_first", "test first"))
    for rule, verdict in ranks:
        for limit in found:
            if limit.rule == rule and limit.above_c is None and limit.above_dose is None:
                who = limit.host_group or limit.thing
                return Meeting(
                    verdict, limit_words(limit.note) or f"{rule} for {who}", f"dose_limits {limit.treatment}, {who}"
                )
    return Meeting("yes", "no row of the tables speaks against it", f"doses {treatment}")
