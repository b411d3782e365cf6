"""Forecasts beside what was published: the open guppy series, and published schedules of repeat treatment.

    python -m validation.forecasts [--write]

The series is 152 guppies with two worms each, counted every second day to day 17 (Twumasi et al. 2024; the file belongs
to a GPL-3.0 repository and is not kept here: its figures are rows of the life-cycle table). Growth, the worm's life,
the host's answer and the spread between fish were set with this series in view, so the comparison shows that the model
can follow it, not that it would have foretold it.
"""

from __future__ import annotations

import datetime
import re
import sys
from pathlib import Path

import numpy as np

from wetmount.counts import negative_binomial_k
from wetmount.forecast import MODELS, Situation, plan_treatments
from wetmount.forecast.livebearers import flukes_of, run_flukes
from wetmount.reference import load_reference

RESULTS = Path(__file__).parent / "results" / "forecasts.md"
REFERENCE = load_reference()
SEED = 3
FISH = 4000
FOR_K = 1500
"""Fish from which k is found: the search for it is slow."""
DAYS = tuple(range(1, 18, 2))
POOLED = "gyrodactylus_guppy_pooled"
TRAP = (
    "Trap of the series: for one strain on one stock (Gt3 on OS) all 14 counts of day 7 repeat those of day 5, so that "
    "visit looks filled forward. Its mean of day 7 is left out here; the pooled figures of day 7 contain it."
)

SCHEDULES = (
    ("gill_flukes", "praziquantel_bath", 20.0),
    ("capsalid_flukes", "praziquantel_bath", 25.0),
    ("marine_ich", "clean_tank_move", 25.0),
    ("marine_ich", "hyposaline_bath", 25.0),
    ("ich", "formalin_malachite", 25.0),
    ("ich", "formalin_malachite", 18.0),
    ("ich", "formalin_malachite", 15.5),
    ("ich", "formalin_malachite", 10.0),
    ("anchor_worm", "diflubenzuron_bath", 27.0),
    ("fish_louse", "diflubenzuron_bath", 25.0),
    ("camallanus", "fenbendazole_feed", 25.0),
)


def published(start: str, parasite: str = POOLED) -> dict[int, tuple[float, float | None, str]]:
    """Figures of a series by day: value, its upper end, and the words of the row."""
    found = {}
    for row in REFERENCE.lifecycles:
        day = re.match(rf"{start} (\d+)", row.quantity)
        if row.parasite == parasite and day is not None and row.value is not None:
            found[int(day[1])] = (row.value, row.high, row.quantity)
    return found


def guppies() -> list[str]:
    """The series beside the model, both over fish alive: the model loses none, which is why late days part."""
    model = MODELS["skin_flukes"]
    situation = Situation(1, 1, 2, 1, 4, (25.0,))
    ran = run_flukes(
        model, flukes_of(model, REFERENCE), situation, 16, FISH, np.random.default_rng(SEED), start_worms=2
    )
    worms = ran.worms[:, :, 0]
    means = [
        published("mean worms per live guppy on day", name)
        for name in ("gyrodactylus_turnbulli_gt3", "gyrodactylus_turnbulli_gt", "gyrodactylus_bullatarudis_gb")
    ]
    medians, ks = published("median count of live fish on day"), published("negative binomial k on day")
    lines = [
        "| day | mean by strain, published | mean | median, published | median | largest, published "
        "| largest of as many fish, middle | at zero, published | at zero | k, published | k |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for day in DAYS:
        own = worms[day - 1]
        middle, largest, _ = medians[day]
        seen = [f"{series[day][0]:.1f}" for series in means if day in series]
        k_seen, zero_seen, alive = "", "", 152
        if day in ks:
            value, _, words = ks[day]
            counted = re.search(r"n=(\d+) live, (\d+) at zero", words)
            assert counted is not None
            alive = int(counted[1])
            k_seen, zero_seen = f"{value:g}", f"{int(counted[2]) / alive:.2f}"
        tops = [own[start : start + alive].max() for start in range(0, FISH - alive, alive)]
        k = negative_binomial_k(own[:FOR_K].tolist()) if day > 1 else None
        k_own = "" if k is None else f"{k:.2f}"
        lines.append(
            f"| {day} | {', '.join(seen)} | {own.mean():.1f} | {middle:g} | {np.median(own):g} | {largest:g} | "
            f"{np.median(tops):g} | {zero_seen} | {np.mean(own == 0):.2f} | {k_seen} | {k_own} |"
        )
    return lines


def schedules() -> list[str]:
    """Published schedules beside the model's best of as many givings."""
    lines = [
        "| parasite, treatment, °C | published rule | its days: left for each one, none left in "
        "| the model's best of as many | verdict |",
        "| --- | --- | --- | --- | --- |",
    ]
    whys: dict[str, str] = {}
    for id, treatment, temperature in SCHEDULES:
        plan = plan_treatments(id, treatment, Situation(12, 120, 6, 3, 12, (temperature,)), REFERENCE)
        for rule in plan.rules:
            told = [
                f"{', '.join(map(str, one.days))}: {one.left_per_one:.2g}, {one.clear_chance:.0%}"
                for one in (rule.schedule, rule.best)
            ]
            verdict = rule.how if rule.how == "agrees" else f"the model is {rule.how}"
            lines.append(
                f"| {MODELS[id].name}, {treatment.replace('_', ' ')}, {temperature:g} | {rule.words} ({rule.basis}) | "
                f"{told[0]} | {told[1]} | {verdict} |"
            )
            if rule.why:
                whys.setdefault(f"{MODELS[id].name}, {rule.how}", rule.why)
    return [*lines, "", "Why:", "", *(f"- {where}: {why}." for where, why in whys.items())]


def main() -> None:
    text = "\n".join(
        [
            "# Forecasts beside what was published",
            "",
            f"{datetime.date.today().isoformat()}. Reference {REFERENCE.version}.",
            "`python -m validation.forecasts --write`",
            "",
            "## Two worms on a guppy",
            "",
            *guppies(),
            "",
            f"152 guppies, 25 °C from memory; {FISH} simulated, seed {SEED}. {TRAP}",
            "",
            "Growth, the worm's life, the host's answer and the spread between fish were set with this series in view:",
            "it shows that the model can follow it and is no independent check. The series loses 89 of its 152 fish by",
            "day 17 and counts the living; the model loses none, so the late days are not the same fish.",
            "",
            "## Published schedules",
            "",
            "12 fish in 120 L with 6 (3 to 12) parasites a fish. Left for each one: the day after the last giving.",
            "",
            *schedules(),
            "",
        ]
    )
    print(text)
    if "--write" in sys.argv:
        RESULTS.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
