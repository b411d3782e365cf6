"""How hard one looked: what the fields viewed and the state of the body do to the chance of noticing."""

from __future__ import annotations

import math
from collections.abc import Mapping

from wetmount.case import ExaminationRecord, Fish

STANDARD_FIELDS: Mapping[str, int] = {"organ_squash": 10, "stain": 50}
"""Fields of view for which the examination's chance of noticing is meant. As its row in the reference asks for the two
named here; 20 for scrapes and droppings (memory: a cover slip looked over once at low power)."""
STANDARD_FIELDS_ELSE = 20


def noticed(chance: float, lookings: float) -> float:
    """Chance of noticing after `lookings` times the proper look, each of which has `chance` (0-1): 1 - (1 - c)^n.

    This is Poisson meeting: with a mean of m a proper look, c = 1 - exp(-m) and n looks give 1 - exp(-n m). Clusters
    make it slower (negative binomial), so it is an upper bound for many fields of one slide.

    >>> round(noticed(0.85, 0.5), 3), round(noticed(0.85, 2), 4)
    (0.613, 0.9775)
    """
    return 1.0 if chance >= 1 else -math.expm1(lookings * math.log1p(-chance))


def body_state_of(fish: Fish | None) -> str | None:
    """The reference's state of the body of a fish; None when nothing is known (then nothing is taken off)."""
    if fish is None or fish.state is None:
        return None
    if fish.state == "alive":
        return "alive"
    if fish.kept in ("frozen", "refrigerated"):
        return fish.kept
    if fish.state == "killed" and not fish.hours_dead:
        return "fresh_killed"
    hours = math.inf if fish.hours_dead is None else fish.hours_dead  # found dead, nobody knows when
    return "dead_0_2h" if hours <= 2 else "dead_2_12h" if hours <= 12 else "dead_over_12h"


def fields_viewed(place: ExaminationRecord, id: str) -> float | None:
    """Fields looked through for a finding: of the slides that count it, else of all slides; None when not noted."""
    slides = [slide for slide in place.slides if id in slide.counts] or list(place.slides)
    viewed = [
        slide.fields or max((len(count) for count in slide.counts.values() if isinstance(count, tuple)), default=0)
        for slide in slides
    ]
    if not any(viewed):
        return None
    standard = STANDARD_FIELDS.get(place.kind, STANDARD_FIELDS_ELSE)
    return float(sum(fields or standard for fields in viewed))
