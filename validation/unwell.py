"""Do the signs of being unwell (lethargy, off food, hiding, darkened, clamped fins) count once, or each on its own?

    python -m validation.unwell [CASES] [--write]     default 600 simulated cases in each of four tables

Published cases: the same scores under both rules. Simulated cases: signs drawn independently given the conditions, as
the links say, and drawn so that one draw decides them all, as when a fish that feels ill shows it in every way it can.
"""

from __future__ import annotations

import datetime
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from msgspec import structs

from validation.calibration import SEED, simulate
from validation.published import figures, run
from validation.simulate import EXAMINED, Examined, Simulator, bins
from wetmount.reference import Reference, load_reference

RESULTS = Path(__file__).parent / "results" / "unwell.md"


def each_on_its_own(reference: Reference) -> Reference:
    """The reference with no sign marked as one of being unwell."""
    return replace(
        reference, findings={id: structs.replace(row, unwell=False) for id, row in reference.findings.items()}
    )


def published(rules: dict[str, Reference]) -> list[str]:
    """Scores of the published cases under each rule, and of the weigh-up only."""
    lines = ["| rule | top-1 | top-3 | mean log score |", "| --- | --- | --- | --- |"]
    for name, reference in rules.items():
        found = figures(run(reference)["weigh-up"])
        lines.append(f"| {name} | {found['top-1']} | {found['top-3']} | {found['log score']} |")
    return lines


def log_score(stated: np.ndarray, true: np.ndarray) -> float:
    """Mean over cases of the summed natural log of the probability given to what was so (present or not)."""
    held = np.clip(stated, 1e-9, 1 - 1e-9)
    return float(np.mean(np.sum(np.where(true > 0, np.log(held), np.log1p(-held)), axis=1)))


SEEN_AT: dict[str, Examined] = {
    "at the tank only": (("tank_look", 1.0), ("counting_fish", 0.5)),
    "tank, water, hand and microscope": EXAMINED,
}


def simulated(rules: dict[str, Reference], cases: int) -> list[str]:
    """Log score and calibration in each cell; both rules weigh the same cases."""
    lines: list[str] = []
    for where, examined in SEEN_AT.items():
        for together in (False, True):
            how = "go together" if together else "independent given the conditions"
            lines += ["", f"### Simulated, {where}, signs {how}", ""]
            lines += ["| rule | mean log score | stated over 0.3 | came true | z | largest z of a bin |"]
            lines += ["| --- | --- | --- | --- | --- | --- |"]
            simulator = Simulator(load_reference(), SEED, examined, unwell=True, together=together)
            outcomes = simulate(simulator, cases, list(rules.values()))
            for name, one in zip(rules, outcomes, strict=True):
                high = one.present > 0.3
                off = np.where(high, one.is_present - one.present, 0.0).sum(axis=1)
                z = float(off.sum() / np.sqrt(np.sum(off**2)))
                worst = max((b.z for b in bins(one.present, one.is_present)), key=abs)
                lines.append(
                    f"| {name} | {log_score(one.present, one.is_present):.3f} | {one.present[high].mean():.3f} "
                    f"| {one.is_present[high].mean():.3f} | {z:+.1f} | {worst:+.1f} |"
                )
    return lines


def main() -> None:
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    reference = load_reference()
    rules = {"as one graded finding": reference, "each on its own": each_on_its_own(reference)}
    cases = numbers[0] if numbers else 600
    lines = ["# Signs of being unwell: one finding or five", ""]
    lines += [
        f"{datetime.date.today().isoformat()}. Reference {reference.version}, seed {SEED}, {cases} simulated cases."
    ]
    lines += ["", "### Published cases", "", *published(rules), *simulated(rules, cases)]
    text = "\n".join(lines) + "\n"
    print(text)
    if "--write" in sys.argv:
        RESULTS.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
