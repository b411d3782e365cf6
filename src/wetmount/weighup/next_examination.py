"""Which examination next: what each is expected to tell, whether it could change the answer, and its price."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wetmount.evidence import Evidence
from wetmount.reference import Reference
from wetmount.reference.rows import Examination
from wetmount.weighup.pose import Posed
from wetmount.weighup.results import NextExamination
from wetmount.weighup.sampled import Sampled
from wetmount.weighup.steps import Floats
from wetmount.weighup.terms import noticed

SETS = 700
"""Condition sets an examination is judged on, one simulated outcome from each; standard error about 0.03 bits."""

COST_START, COST_MINUTE, COST_FISH = 4.0, 0.5, 30.0
"""Cost of beginning at all, of a minute and of a fish given up, in the money units of the examinations (judgement)."""

BASE_LOOKS = frozenset({"asking", "counting_fish", "tank_look", "in_hand"})
"""Questions and eyes: every examination with an instrument supposes them."""

DONE_SHARE = 0.5
"""An examination counts as done when at least this share of its short list was looked at."""

LABORATORY_WORTH_CHANGE = 0.10
"""A laboratory test is worth its price from this chance of changing the leading answer (judgement)."""

LIKE_NOTHING = 0.02
"""Below this many bits an examination is expected to tell next to nothing."""


def cost_of(examination: Examination) -> float:
    """Time, money and a fish given up, as one figure in the money units of the examinations table."""
    fish = COST_FISH if examination.gives_up_fish else 0.0
    return COST_START + COST_MINUTE * examination.minutes + examination.money + fish


def next_examinations(
    posed: Posed, sampled: Sampled, blame: Floats, evidence: Evidence, reference: Reference, leading: int, seed: int
) -> tuple[tuple[NextExamination, ...], tuple[NextExamination, ...]]:
    """Examinations not done yet, by expected information per cost.

    The information is about who is to blame: blame (s, n) is, for each sampled set, the chance that each condition is
    responsible. Outcomes are simulated from the sampled sets; the likelihood of every outcome under every set gives
    the expected mutual information with the pattern of blame over the leading conditions, and how often another
    condition would lead.
    """
    rng = np.random.default_rng(seed)
    chosen = sampled.take(SETS, rng)
    present, blame = sampled.present[chosen], blame[chosen]
    focus = np.argsort(-blame.mean(axis=0), kind="stable")[:8]
    pattern = (rng.random((SETS, len(focus))) < blame[:, focus]) @ (1 << np.arange(len(focus)))
    looked = {observation.finding for observation in evidence.observations}
    found = []
    for examination in sorted(reference.examinations.values(), key=lambda e: e.order):
        if evidence.examinations_done.get(examination.id, 0.0) >= DONE_SHARE:
            continue
        columns = _columns(examination, looked, posed, reference)
        if columns:
            bits, changes = _judge(examination, columns, posed, present, blame, pattern, leading, rng)
            found.append((examination, bits, changes))
    with_instruments = _ranked([item for item in found if item[0].id not in BASE_LOOKS])
    return with_instruments, _ranked([item for item in found if item[0].id in BASE_LOOKS])


def _columns(examination: Examination, looked: set[str], posed: Posed, reference: Reference) -> list[int]:
    """The findings that this examination could still show."""
    own = {id for id, finding in reference.findings.items() if finding.examination == examination.id}
    wanted = (own | set(examination.short_list)) - looked
    return [j for j, id in enumerate(posed.network.findings) if id in wanted]


def _judge(
    examination: Examination,
    columns: Sequence[int],
    posed: Posed,
    present: Floats,
    blame: Floats,
    pattern: NDArray[np.intp],
    leading: int,
    rng: np.random.Generator,
) -> tuple[float, float]:
    """(bits of information about the pattern of blame, chance that another condition leads)."""
    network = posed.network
    outcomes = np.arange(SETS)
    shown, drawn = [], []
    for j in columns:
        levels = int(network.levels[j])
        detection = np.asarray([*examination.detection, *[examination.detection[-1]] * levels])[:levels]
        strength = np.minimum(noticed(network.strength[:, j, :levels], detection), 1.0 - 1e-9)
        leak = noticed(network.leak[j, :levels], detection)
        acting = strength[:, 0] > 0.0
        below = (1.0 - leak) * np.exp(present[:, acting] @ np.log1p(-strength[acting]))
        edges = np.concatenate([np.zeros((SETS, 1)), below, np.ones((SETS, 1))], axis=1)
        level = (rng.random(SETS)[:, None] > below[outcomes]).sum(axis=1)
        shown.append(np.log(np.maximum(np.diff(edges, axis=1), 1e-12)))
        drawn.append(np.arange(levels + 1)[:, None] == level)
    log_likelihood = np.concatenate(shown, axis=1) @ np.concatenate(drawn).astype(np.float64)
    likelihood = np.exp(log_likelihood - log_likelihood.max(axis=0))
    groups, member = np.unique(pattern, return_inverse=True)
    belongs = (np.arange(len(groups))[:, None] == member.reshape(-1)).astype(np.float64)
    share = belongs.mean(axis=1, keepdims=True)
    told = belongs @ likelihood
    told /= told.sum(axis=0)
    bits = float(np.mean(np.sum(told * np.log2(np.maximum(told, 1e-300) / share), axis=0)))
    after = likelihood.T @ blame
    return max(0.0, bits), float(np.mean(np.argmax(after, axis=1) != leading))


def _ranked(found: list[tuple[Examination, float, float]]) -> tuple[NextExamination, ...]:
    """Ordered by information per cost, each with its sentence of advice."""
    found = sorted(found, key=lambda item: -item[1] / cost_of(item[0]))
    at_hand = [item for item in found if item[0].subject != "laboratory" and item[1] >= LIKE_NOTHING]
    result = []
    for examination, bits, changes in found:
        laboratory = examination.subject == "laboratory"
        worth = bits / cost_of(examination)
        better = next((item[0] for item in at_hand if item[1] / cost_of(item[0]) > worth), None)
        result.append(
            NextExamination(
                id=examination.id,
                name=examination.name,
                information_bits=bits,
                changes_leading=changes,
                minutes=examination.minutes,
                money=examination.money,
                gives_up_fish=examination.gives_up_fish,
                laboratory=laboratory,
                worth=worth,
                advice=_advice(bits, changes, laboratory, better),
            )
        )
    return tuple(result)


def _advice(bits: float, changes: float, laboratory: bool, better: Examination | None) -> str:
    """One sentence on whether to do it now."""
    times = "under 1 time" if changes < 0.01 else f"about {changes * 100:.0f} time{'s' if changes >= 0.015 else ''}"
    change = f"would change the leading cause {times} in 100"
    if not laboratory:
        return "Expected to tell next to nothing now." if bits < LIKE_NOTHING else f"{change[0].upper()}{change[1:]}."
    if changes < LABORATORY_WORTH_CHANGE:
        return f"Not worth its price now: it {change}."
    if better is not None:
        return f"Not worth its price before this: {better.name}. It {change}."
    return f"Worth its price: it {change}."
