"""What is this moving thing? From what was seen to ranked candidates, and what would tell them apart.

A naive Bayes model over the table of organisms: prior = how often the organism is met (the rate of its condition among
sick fish, or its own) × the chance of being met at this site; each feature multiplies by the table's chance of that
word, words that a row does not name sharing the rest. What was not looked at does not enter. Features are taken as
independent given the organism, which makes the answer firmer than it is: a top candidate is never called more than
"fairly" on fewer than four features. It is no match of photographs and no proof.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from wetmount.distributions import normal_cdf
from wetmount.errors import InputError
from wetmount.reference import Reference
from wetmount.reference.rows import Organism

SITES: Final = ("skin", "gill", "gut", "blood", "organ", "muscle", "eye")
FEATURES: Final = ("outline", "movement", "attachment", "colour", "nucleus", "hooks", "eyespots")
OBJECTIVE: Final[Mapping[str, int]] = {
    "size": 10,
    "outline": 10,
    "movement": 10,
    "colour": 10,
    "eyespots": 10,
    "attachment": 20,
    "nucleus": 40,
    "hooks": 40,
}
"""Objective at which a feature is judged on most of these organisms (memory: common practice)."""
SMALL_UM: Final = 30.0
"""Below this size every feature needs at least the ×40 objective (common practice, no source)."""
UNLISTED: Final = 0.02
"""Least chance that an organism is described by a word its row does not name: people err."""
SIZE_ERROR: Final = 0.15
"""Standard deviation of ln size from measuring by eye against a scale."""
SURE_FROM: Final = 0.95
FAIRLY_FROM: Final = 0.75
FEW_FEATURES: Final = 4


@dataclass(frozen=True, slots=True)
class Candidate:
    """An organism with its probability; the features that speak for it and against it, strongest first."""

    id: str
    name: str
    probability: float
    condition: str | None
    speaks: tuple[str, ...]
    against: tuple[str, ...]
    look_for: str
    basis: str


@dataclass(frozen=True, slots=True)
class NextFeature:
    """A feature not yet judged: what it would tell in bits, at which objective, what each leading candidate shows."""

    feature: str
    bits: float
    objective: int
    shows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Identification:
    """Candidates by probability; what to look at next; the finding it enters as, with its sureness.

    `finding` is None when the leading candidates are harmless or have no finding at this site.
    """

    site: str
    candidates: tuple[Candidate, ...]
    next_features: tuple[NextFeature, ...]
    finding: str | None
    finding_probability: float
    sure: str
    features_used: int
    warnings: tuple[str, ...]


def vocabulary(reference: Reference) -> dict[str, tuple[str, ...]]:
    """The words of each feature, as the table uses them."""
    words: dict[str, set[str]] = {feature: set() for feature in FEATURES}
    for organism in reference.organisms.values():
        for feature in FEATURES:
            words[feature].update(_chances(organism, feature))
    return {feature: tuple(sorted(found)) for feature, found in words.items()}


def identify(
    site: str,
    reference: Reference,
    *,
    size_um: float | None = None,
    water: str | None = None,
    features: Mapping[str, str] | None = None,
) -> Identification:
    """Rank the organisms by what was seen.

    `site` is one of SITES; `size_um` the longest measure in micrometres; `water` fresh or salt; `features` holds words
    of `vocabulary`. Raises InputError for words that the table does not know and impossible sizes.
    """
    if site not in SITES:
        raise InputError(f"{site!r} is no site; accepted are {', '.join(SITES)}", field="site")
    if water not in (None, "fresh", "salt"):
        raise InputError(f"{water!r} is no water; accepted are fresh, salt", field="water")
    if size_um is not None and not 0.2 <= size_um <= 200_000:
        raise InputError(f"{size_um:g} µm is out of range; accepted are 0.2 to 200000 µm", field="size")
    words = vocabulary(reference)
    seen = dict(features or {})
    for feature, word in seen.items():
        if feature not in FEATURES:
            raise InputError(f"no such feature; accepted are {', '.join(FEATURES)}", field=feature)
        if word not in words[feature]:
            raise InputError(f"{word!r} is not in the table; accepted are {', '.join(words[feature])}", field=feature)
    scores: dict[str, float] = {}
    weights: dict[str, dict[str, float]] = {}
    for id, organism in reference.organisms.items():
        prior = _prior(organism, reference) * _chances(organism, "sites").get(site, 0.002)
        if water is not None and organism.water not in (water, "both"):
            prior *= 0.002  # wrong water: not impossible, the answer may be mistyped
        parts = {feature: math.log(_word_chance(organism, feature, seen[feature], words)) for feature in seen}
        if size_um is not None:
            parts["size"] = math.log(_size_density(organism, size_um))
        weights[id] = parts
        scores[id] = math.log(prior) + math.fsum(parts.values())
    top = max(scores.values())
    total = math.fsum(math.exp(score - top) for score in scores.values())
    probabilities = {id: math.exp(score - top) / total for id, score in scores.items()}
    average = {
        feature: math.log(math.fsum(probabilities[id] * math.exp(weights[id][feature]) for id in weights))
        for feature in (*seen, *(("size",) if size_um is not None else ()))
    }
    ranked = sorted(probabilities, key=lambda id: -probabilities[id])
    candidates = tuple(_candidate(reference.organisms[id], probabilities[id], weights[id], average) for id in ranked)
    finding, mass = _finding(site, probabilities, reference)
    used = len(seen) + (size_um is not None)
    sure = "sure" if mass >= SURE_FROM and used >= FEW_FEATURES else "fairly" if mass >= FAIRLY_FROM else "doubtful"
    warnings = []
    if used < FEW_FEATURES:
        warnings.append(f"only {used} features are given: at most fairly sure")
    if size_um is not None and all(_size_density(o, size_um) < 0.02 for o in reference.organisms.values()):
        warnings.append(f"nothing in the table is {size_um:g} µm long: check the scale")
    leading = {reference.organisms[id].water for id in ranked[:2] if probabilities[id] > 0.05} - {"both"}
    if water is None and len(leading) > 1:
        warnings.append("whether the water is fresh or salt would tell the leading two apart")
    return Identification(
        site,
        candidates,
        _next_features(probabilities, seen, size_um, reference, words),
        finding,
        mass,
        sure,
        used,
        tuple(warnings),
    )


def _prior(organism: Organism, reference: Reference) -> float:
    if organism.rate is not None:
        return organism.rate
    return reference.conditions[organism.condition or ""].rate


def _chances(organism: Organism, column: str) -> dict[str, float]:
    pairs = (cell.partition("=") for cell in getattr(organism, column))
    return {word.strip(): float(chance) for word, _, chance in pairs}


def _word_chance(organism: Organism, feature: str, word: str, words: Mapping[str, tuple[str, ...]]) -> float:
    """Chance that this organism is described by the word: the row's figure, else an equal share of the rest."""
    named = _chances(organism, feature)
    if word in named:
        return named[word]
    others = len(words[feature]) - len(named)
    return max(UNLISTED / max(others, 1), (1 - math.fsum(named.values())) / max(others, 1))


def _size_density(organism: Organism, size_um: float) -> float:
    """Density of ln size: the table's 5 and 95 % ends as a normal of ln size, widened by the error of measuring."""
    low, high = math.log(organism.size_low_um), math.log(organism.size_high_um)
    spread = math.hypot((high - low) / (2 * 1.6449), SIZE_ERROR)
    z = (math.log(size_um) - (low + high) / 2) / spread
    return max(math.exp(-z * z / 2) / (spread * math.sqrt(2 * math.pi)), 1e-4)


def _candidate(
    organism: Organism, probability: float, parts: Mapping[str, float], average: Mapping[str, float]
) -> Candidate:
    weight = {feature: parts[feature] - average[feature] for feature in parts}
    speaks = sorted((f for f in weight if weight[f] > 0.1), key=lambda f: -weight[f])
    against = sorted((f for f in weight if weight[f] < -0.7), key=lambda f: weight[f])
    return Candidate(
        organism.id,
        organism.name,
        probability,
        organism.condition,
        tuple(speaks),
        tuple(against),
        organism.look_for,
        organism.basis,
    )


def _finding(site: str, probabilities: Mapping[str, float], reference: Reference) -> tuple[str | None, float]:
    """The finding that the most probability enters as; several organisms may share one."""
    mass: dict[str | None, float] = {}
    for id, probability in probabilities.items():
        pairs = dict(cell.split("=") for cell in reference.organisms[id].findings)
        finding = pairs.get(site)
        mass[finding] = mass.get(finding, 0.0) + probability
    best = max(mass, key=lambda finding: mass[finding])
    return best, mass[best]


def _next_features(
    probabilities: Mapping[str, float],
    seen: Mapping[str, str],
    size_um: float | None,
    reference: Reference,
    words: Mapping[str, tuple[str, ...]],
) -> tuple[NextFeature, ...]:
    """Expected information of every feature not yet judged, in bits: mutual information of word and organism."""
    leaders = sorted(probabilities, key=lambda id: -probabilities[id])[:3]
    small = size_um is not None and size_um < SMALL_UM
    answers = []
    for feature in FEATURES:
        if feature in seen:
            continue
        bits = 0.0
        for word in words[feature]:
            chances = {id: _word_chance(reference.organisms[id], feature, word, words) for id in probabilities}
            marginal = math.fsum(probabilities[id] * chances[id] for id in probabilities)
            bits += math.fsum(
                p * chances[id] * math.log2(chances[id] / marginal) for id, p in probabilities.items() if p > 1e-12
            )
        shows = tuple((id, _typical(reference.organisms[id], feature)) for id in leaders)
        answers.append(NextFeature(feature, bits, max(OBJECTIVE[feature], 40 if small else 0), shows))
    if size_um is None:
        shows = tuple(
            (id, f"{reference.organisms[id].size_low_um:g} to {reference.organisms[id].size_high_um:g} µm")
            for id in leaders
        )
        answers.append(NextFeature("size", _size_bits(probabilities, reference), OBJECTIVE["size"], shows))
    return tuple(sorted(answers, key=lambda answer: -answer.bits))


def _typical(organism: Organism, feature: str) -> str:
    chances = _chances(organism, feature)
    return max(chances, key=lambda word: chances[word])


def _size_bits(probabilities: Mapping[str, float], reference: Reference) -> float:
    """Information of a size, in bits, with sizes sorted into classes a factor 1.6 wide."""
    edges = [math.log(1.0) + 0.47 * i for i in range(27)]

    def shares(organism: Organism) -> list[float]:
        low, high = math.log(organism.size_low_um), math.log(organism.size_high_um)
        spread = math.hypot((high - low) / (2 * 1.6449), SIZE_ERROR)
        below = [0.0, *(normal_cdf((edge - (low + high) / 2) / spread) for edge in edges), 1.0]
        return [max(after - before, 1e-9) for before, after in pairwise(below)]

    table = {id: shares(reference.organisms[id]) for id in probabilities}
    bits = 0.0
    for place in range(len(edges) + 1):
        marginal = math.fsum(p * table[id][place] for id, p in probabilities.items())
        bits += math.fsum(
            p * table[id][place] * math.log2(table[id][place] / marginal) for id, p in probabilities.items()
        )
    return bits
