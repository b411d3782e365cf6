"""Published rules of repeat treatment, beside what the model finds: where they agree, where not, and why.

The rules are rows of the life-cycle table (stage `schedule`); here stands only what each one bears on. Their schedules
are measured together with the others, so that the comparison is of like with like.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from wetmount.forecast.draw import Needed
from wetmount.forecast.lifecycle import Model, at_temperature, days_at, middle
from wetmount.forecast.situation import StageEffect
from wetmount.reference import Reference
from wetmount.reference.rows import LifeCycle

RULE_WITHIN_C: Final = 3.0
"""A rule given for one temperature is held to speak within this of it (the project's choice)."""
SAME_DAY: Final = 1
"""Givings within this many days of each other count as the same day (counts are by day)."""
MOVE: Final = "clean_tank_move"
FLOOR_LEFT_BEHIND: Final = (MOVE, "hyposaline_bath")
"""Treatments that take away or kill what lies on the floor."""
LONG_FREE_LIFE_DAYS: Final = 7.0
"""Free life from which the window between hatch and laying says nothing: larvae wait it out (the project's choice)."""


def window_rule(last_hatch_days: float, first_laying_days: float) -> tuple[float, float] | None:
    """Days between which one repeat treatment clears an egg layer: after the last old egg has hatched and before the
    first new worm lays; None when no such day exists (Sparicotyle study; Zhang 2015; Brazenor 2015).

    >>> window_rule(9, 21), window_rule(6.5, 5)
    ((9, 21), None)
    """
    return (last_hatch_days, first_laying_days) if last_hatch_days <= first_laying_days else None


def treatments_by_rule(last_hatch_days: float, first_laying_days: float) -> int:
    """Treatments the window rule asks for, not more than the first laying apart: 1 + ceil(e_max / m_min).

    >>> treatments_by_rule(6.5, 5), treatments_by_rule(9, 21)
    (3, 2)
    """
    return 1 + math.ceil(last_hatch_days / first_laying_days)


def moves_by_rule(longest_on_fish_days: float, shortest_off_fish_days: float) -> int:
    """Moves to a clean tank, the shortest stage off the fish apart: 1 + ceil(longest on / shortest off). Colorni 1985.

    >>> moves_by_rule(7, 3)
    4
    """
    return 1 + math.ceil(longest_on_fish_days / shortest_off_fish_days)


@dataclass(frozen=True, slots=True)
class Rule:
    """What a row of the life-cycle table bears on: the model, the treatments (none named: any but a move to a clean
    tank), how many givings it speaks of, and why the model may put them sooner or later."""

    model: str
    parasite: str
    quantity: str
    givings: int
    treatments: tuple[str, ...] = ()
    sooner: str = ""
    later: str = ""


@dataclass(frozen=True, slots=True)
class Published:
    """A rule that speaks here: its days, in words, and where from."""

    days: tuple[int, ...]
    words: str
    source: str
    basis: str
    rule: Rule


_ICH_SOONER: Final = (
    "only swimmers are killed, an agent of the tables acts for about two days, and what leaves a cyst between two "
    "givings settles; a longer interval needs an agent that stays in the water"
)
RULES: Final = (
    Rule(
        "gill_flukes",
        "dactylogyrus_vastator",
        "second treatment after first",
        2,
        sooner="eggs are spared, the last of them hatch about when the first new worms begin to lay, and from then on "
        "new eggs lie on the floor; with baths that are short and perfect day 5 to 6 is best at 20 °C, and one that "
        "acts for two days begins earlier still",
    ),
    Rule(
        "capsalid_flukes",
        "neobenedenia",
        "two praziquantel 2 mg/L baths, interval; clear at day 7 scrape",
        2,
        ("praziquantel_bath",),
        later="after 4 days eggs have still to hatch: the scrape of day 7 found no worm, and eggs are not in a scrape",
    ),
    Rule(
        "marine_ich",
        "cryptocaryon_irritans",
        "four 3 h baths at 10 ppt, or four moves to clean tanks, spaced",
        4,
        FLOOR_LEFT_BEHIND,
    ),
    Rule("ich", "ichthyophthirius_multifiliis", "treat every other day, 3-5 times, near 24-26 C", 4),
    Rule("ich", "ichthyophthirius_multifiliis", "treat every 4-5 days near 60 F", 4, sooner=_ICH_SOONER),
    Rule("ich", "ichthyophthirius_multifiliis", "repeat interval, three treatments", 3, sooner=_ICH_SOONER),
    Rule(
        "fish_louse",
        "argulus_japonicus",
        "repeat treatment (eggs untouched)",
        2,
        later="eggs are spared and hatch over weeks: one repeat at two weeks comes before most of them have hatched",
    ),
    Rule(
        "anchor_worm",
        "lernaea_cyprinacea",
        "larvicide every 7 d for about 4 weeks in warm water",
        4,
        ("diflubenzuron_bath", "lufenuron_bath"),
        later="the females on the fish are spared and shed eggs for weeks: four givings in a row end before they do; "
        "the model spreads them over the females' life; weekly ones must go on until no female is left, or the females "
        "be taken off",
    ),
    Rule(
        "camallanus",
        "camallanus_cotti",
        "fenbendazole feed one week, repeat after",
        2,
        ("fenbendazole_feed",),
        later="larvae outside the fish are spared and live on for weeks: what is eaten after the second course begins "
        "again",
    ),
)


def rules_for(
    model: Model, effect: StageEffect, temperature_c: float, most: int, shortest: int, reference: Reference
) -> tuple[Published, ...]:
    """Rules that speak of this parasite, treatment and temperature, with no more givings than `most` and none closer
    than `shortest` days."""
    found = []
    for rule in RULES:
        treats = effect.treatment in rule.treatments if rule.treatments else effect.treatment != MOVE
        if rule.model != model.id or not treats or rule.givings > most:
            continue
        for row in reference.lifecycles:
            if row.parasite != rule.parasite or row.stage != "schedule" or row.quantity != rule.quantity:
                continue
            known = row.temperature_c
            if (known is None or abs(known - temperature_c) <= RULE_WITHIN_C) and middle(row) >= shortest:
                found.append(_published(rule, row, reference))
    return tuple(found)


def _published(rule: Rule, row: LifeCycle, reference: Reference) -> Published:
    every = middle(row)
    apart = f"{every:g}" if row.low is None or row.high is None else f"{row.low:g} to {row.high:g}"
    warmth = "" if row.temperature_c is None else f" at {row.temperature_c:g} °C"
    words = f"{rule.givings} givings {apart} days apart{warmth}"
    sources = [reference.sources[key].citation for key in row.sources if key != "memory"]
    return Published(
        tuple(round(n * every) for n in range(rule.givings)),
        words,
        "; ".join(sources) or "from memory, no source opened",
        row.basis,
        rule,
    )


def how_it_differs(published: tuple[int, ...], best: tuple[int, ...]) -> str:
    """agrees (every giving on the same day, give or take one), or the model's is sooner or later.

    >>> how_it_differs((0, 7), (0, 4)), how_it_differs((0, 3, 6, 9), (0, 3, 6, 10))
    ('sooner', 'agrees')
    """
    if all(abs(one - other) <= SAME_DAY for one, other in zip(published, best, strict=True)):
        return "agrees"
    return "sooner" if best[-1] < published[-1] else "later"


def rule_of_stages(model: Model, effect: StageEffect, need: Needed, temperature_c: float, lasting: int) -> str:
    """What the rule of the stages asks for at this temperature, in words; empty where no such rule holds. `lasting`:
    days for which one giving acts.

    Layers whose eggs are spared and whose larvae live for days, not weeks: the window between last hatch and first
    laying. Those that divide off the fish: moves at most the shortest floor stage apart, or an agent against swimmers
    without a gap, for as long as the longest stage on the fish and the longest off it together.
    """

    def days(name: str) -> float:
        return days_at(need.figures[name], temperature_c, need.zero_c)

    if model.kind == "layer":
        free = float(at_temperature(need.figures["free_life_d"], np.array([temperature_c]))[0])
        if effect.stages.get("off", (1.0,))[0] < 0.5 or free > LONG_FREE_LIFE_DAYS:
            return ""
        last, first = days("off_last_d"), days("on_first_d")
        seen = f"the last eggs hatch by day {last:.1f}, the first new worms lay from day {first:.1f}"
        window = window_rule(last, first)
        if window is not None and first - last >= 1:
            return f"{seen}: one repeat between these days clears"
        if window is not None:
            return f"{seen}: hardly a day lies between, so that a third giving is the safer"
        number = treatments_by_rule(last, first)
        return f"{seen}: no single day clears, {number} givings at most {first:.1f} days apart"
    apart, longest = days("off_first_d"), days("on_last_d")
    if effect.treatment in FLOOR_LEFT_BEHIND:
        number = moves_by_rule(longest, apart)
        return (
            f"the longest stage on the fish is {longest:.1f} days, the shortest off it {apart:.1f}: {number} givings "
            f"at most {apart:.1f} days apart"
        )
    total = longest + days("off_last_d")
    return (
        f"only swimmers are killed, and the longest stages on the fish and off it are {total:.1f} days together: no "
        f"gap for so long, a giving of this agent acts for {lasting} day{'s' if lasting != 1 else ''}"
    )
