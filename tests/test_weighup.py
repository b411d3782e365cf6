"""The weigh-up on the real reference: invariances, and every sample-based figure against an exact one."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import structs
from validation.enumeration import Enumerated, brought_nothing, enumerate_model, explanation_masses
from validation.rows_model import RowsModel, restricted, rows_model

from wetmount.evidence import Evidence, Observation
from wetmount.reference import Reference, load_reference
from wetmount.weighup import WeighUp, approximate, firmness, weigh_up, why
from wetmount.weighup.pose import network_of, pose
from wetmount.weighup.sampled import distinct
from wetmount.weighup.sweep import draw, sweep

SEEN = {
    "flashing": 2, "rapid_breathing": 1, "excess_mucus_skin": 1, "skin_costia": 2, "skin_trichodinid": 1,
    "skin_gyrodactylid": 0, "skin_ich_trophont": 0, "white_spots_discrete": 0, "water_nitrite_high": 1,
}  # fmt: skip
"""The case of DESIGN's demonstration scenario, in short."""


def observation(reference: Reference, finding: str, level: int, sure: str = "sure") -> Observation:
    """As the examination would show it, done properly."""
    row = reference.findings[finding]
    chance = reference.examinations[row.examination].detection
    return Observation(finding, level, sure, tuple(chance[min(k, 1)] for k in range(len(row.levels) - 1)), ())


def evidence(
    reference: Reference,
    seen: Mapping[str, int],
    answers: Mapping[str, bool] | None = None,
    host_group: str | None = "rainbowfish",
) -> Evidence:
    observations = tuple(observation(reference, finding, level) for finding, level in seen.items())
    return Evidence(host_group, None, 26.0, observations, answers or {}, (), (), {}, None)


def quick(looked: Evidence, reference: Reference | None = None) -> WeighUp:
    return weigh_up(looked, reference or load_reference(), firmness=False, examinations=False)


def chances(weighed: WeighUp) -> dict[str, tuple[float, float]]:
    return {result.id: (result.probability, result.responsible) for result in weighed.conditions}


def assert_same(one: WeighUp, other: WeighUp, tolerance: float = 1e-10) -> None:
    there = chances(other)
    for id, (present, responsible) in chances(one).items():
        assert there[id][0] == pytest.approx(present, abs=tolerance), id
        assert there[id][1] == pytest.approx(responsible, abs=tolerance), id


# --- invariances ------------------------------------------------------------------------------------------------------


@settings(max_examples=8, deadline=None)
@given(st.permutations(sorted(SEEN)))
def test_order_of_findings_does_not_matter(order: list[str]) -> None:
    reference = load_reference()
    shuffled = evidence(reference, {finding: SEEN[finding] for finding in order})
    one, other = quick(evidence(reference, SEEN)), quick(shuffled)
    assert_same(one, other)
    assert one.log_evidence == pytest.approx(other.log_evidence, abs=1e-10)


@settings(max_examples=4, deadline=None)
@given(st.randoms(use_true_random=False))
def test_order_of_the_tables_does_not_matter(random: object) -> None:
    reference = load_reference()
    conditions = list(reference.conditions.items())
    random.shuffle(conditions)  # type: ignore[attr-defined]
    shuffled = replace(
        reference,
        conditions=dict(conditions),
        links=tuple(reversed(reference.links)),
        predispositions=tuple(reversed(reference.predispositions)),
        findings=dict(reversed(reference.findings.items())),
    )
    assert_same(quick(evidence(reference, SEEN)), quick(evidence(reference, SEEN), shuffled))


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2), st.sampled_from(["sure", "doubtful"]))
def test_a_finding_that_nothing_brings_changes_only_the_log_evidence(level: int, sure: str) -> None:
    """Only its leak can bring it, so its report tells of no condition."""
    reference = load_reference()
    unlinked = replace(reference, links=tuple(link for link in reference.links if link.finding != "black_spots"))
    level = min(level, len(reference.findings["black_spots"].levels) - 1)
    plain = quick(evidence(unlinked, SEEN), unlinked)
    looked = evidence(unlinked, SEEN)
    more = replace(looked, observations=(*looked.observations, observation(unlinked, "black_spots", level, sure)))
    other = quick(more, unlinked)
    assert_same(plain, other)
    outside = next(leak.probability for leak in reference.leaks if leak.finding == "black_spots" and leak.level == 1)
    outside *= reference.examinations["in_hand"].detection[0]
    missed = reference.sureness[sure].false_seen
    noticing = reference.sureness[sure].noticing
    expected = outside + missed * (1 - outside) if level else 1 - outside * noticing
    assert other.log_evidence - plain.log_evidence == pytest.approx(math.log(expected), abs=1e-9)


@pytest.mark.parametrize(
    "finding", ["skin_ich_trophont", "skin_hyphae", "gill_dactylogyrid", "gut_nematodes", "brown_gills", "lump_tumour"]
)
def test_not_seen_lowers_what_would_have_shown_it(finding: str) -> None:
    """From the prior: conditions linked to a finding fall when it was looked for and not seen; nothing is a sure no."""
    reference = load_reference()
    before, after = chances(quick(evidence(reference, {}))), chances(quick(evidence(reference, {finding: 0})))
    linked = {link.condition for link in reference.links if link.finding == finding and link.probability > 0}
    assert linked
    for id in linked:
        assert after[id][0] < before[id][0], id
        assert after[id][0] > 0, id


@pytest.mark.parametrize("finding", ["skin_costia", "gill_dactylogyrid", "wasting", "acid_fast_rods"])
def test_a_chance_of_noticing_of_zero_is_not_looked_at(finding: str) -> None:
    reference = load_reference()
    looked = evidence(reference, SEEN)
    rest = tuple(o for o in looked.observations if o.finding != finding)
    levels = len(reference.findings[finding].levels) - 1
    blind = Observation(finding, 0, "sure", (0.0,) * levels, ())
    without = replace(looked, observations=rest)
    assert_same(quick(without), quick(replace(looked, observations=(*rest, blind))))


def test_a_hasty_no_counts_for_less_than_a_careful_one() -> None:
    """Not looked, swept, doubtful and sure "not seen" are four different things, in this order."""
    reference = load_reference()
    looked = evidence(reference, {"flashing": 2})

    def ich(level: int, sure: str, factor: float) -> float:
        one = observation(reference, "skin_ich_trophont", level, sure)
        one = replace(one, detection=tuple(chance * factor for chance in one.detection))
        return quick(replace(looked, observations=(*looked.observations, one))).condition("ich").probability

    unlooked = quick(looked).condition("ich").probability
    swept = ich(0, "swept", reference.examinations["skin_scrape"].swept_detection)
    assert unlooked > swept > ich(0, "sure", 1.0)
    assert unlooked > ich(0, "doubtful", 1.0) > ich(0, "sure", 1.0)


def test_a_doubtful_sighting_counts_for_less_than_a_sure_one() -> None:
    reference = load_reference()

    def ich(sure: str) -> float:
        looked = evidence(reference, {"flashing": 2})
        one = observation(reference, "skin_ich_trophont", 1, sure)
        return quick(replace(looked, observations=(*looked.observations, one))).condition("ich").probability

    unlooked = quick(evidence(reference, {"flashing": 2})).condition("ich").probability
    assert unlooked < ich("doubtful") < ich("fairly") < ich("sure")


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 10**6))
def test_figures_stay_in_their_range(seed: int) -> None:
    """Any case at all: 0 <= responsible <= present <= 1, and the masses of explanations add up."""
    reference = load_reference()
    rng = np.random.default_rng(seed)
    open_to = [id for id, row in reference.findings.items() if row.kind != "cause"]
    chosen = rng.choice(open_to, size=int(rng.integers(1, 14)), replace=False)
    seen = {str(id): int(rng.integers(0, len(reference.findings[id].levels))) for id in chosen}
    asked = rng.choice([id for id, row in reference.findings.items() if row.kind == "cause"], size=3, replace=False)
    answers = {str(id): bool(rng.random() < 0.5) for id in asked}
    host = str(rng.choice(list(reference.host_groups)))
    weighed = quick(evidence(reference, seen, answers, host))
    for result in weighed.conditions:
        assert 0 <= result.responsible <= result.probability + 1e-12
        assert result.probability <= 1 + 1e-12
        assert 0 <= result.prior <= 1
    mass = sum(e.probability for e in weighed.explanations) + weighed.remaining_probability
    assert mass == pytest.approx(1.0, abs=1e-9)
    assert [r.responsible for r in weighed.conditions] == sorted(
        (r.responsible for r in weighed.conditions), reverse=True
    )


def test_same_seed_same_result() -> None:
    reference = load_reference()
    looked = evidence(reference, SEEN)
    assert weigh_up(looked, reference, seed=7) == weigh_up(looked, reference, seed=7)


def test_reference_order_of_sureness() -> None:
    """The words mean what they say: a sure report is never false, a doubtful one more often than a fair one."""
    rows = load_reference().sureness
    assert 0.0 == rows["sure"].false_seen < rows["fairly"].false_seen < rows["doubtful"].false_seen < 1.0
    assert 1.0 == rows["sure"].noticing > rows["fairly"].noticing > rows["doubtful"].noticing > 0.0


# --- a light burden ---------------------------------------------------------------------------------------------------


def test_a_light_burden_is_present_but_hardly_responsible() -> None:
    """A few flukes that a fish merely carries: present is near certain, responsible is not."""
    weighed = quick(evidence(load_reference(), {"skin_gyrodactylid": 1, "wasting": 2, "spleen_granulomas": 2}))
    flukes = weighed.condition("skin_flukes")
    assert flukes.probability > 0.8
    assert flukes.responsible < 0.3 * flukes.probability


# --- samples against exact figures on small parts of the reference --------------------------------------------------

PART = ("ich", "costia", "trichodinosis", "ammonia_poisoning", "motile_aeromonad", "immune_suppression")
PART_SEEN = {"flashing": 2, "rapid_breathing": 1, "excess_mucus_scrape": 1, "skin_costia": 1, "skin_ich_trophont": 0}


@cache
def part() -> tuple[Reference, Evidence, RowsModel, Enumerated]:
    reference = restricted(load_reference(), PART)
    looked = evidence(reference, PART_SEEN, {"crowded": True}, "koi")
    network = network_of(reference)
    base = dict(zip(network.conditions, (float(odds) for odds in network.base_odds), strict=True))
    model = rows_model(reference, looked, base)
    return reference, looked, model, enumerate_model(model)


def test_explanations_equal_to_enumerated_masses() -> None:
    """Each shown mass within four standard errors of the exact one."""
    reference, looked, model, _ = part()
    exact = explanation_masses(model)
    weighed = quick(looked, reference)
    assert len(weighed.explanations) >= 5
    for explanation in weighed.explanations:
        mass = exact[frozenset(explanation.conditions)]
        # 4,000 condition sets are drawn; draws of who acted that share a set count as one here.
        assert explanation.probability == pytest.approx(mass, abs=4 * math.sqrt(mass * (1 - mass) / 4000))
    shown = sum(exact[frozenset(e.conditions)] for e in weighed.explanations)
    assert weighed.remaining_probability == pytest.approx(1 - shown, abs=0.03)


def test_likeliest_explanations_are_the_exact_ones() -> None:
    reference, looked, model, _ = part()
    exact = sorted(explanation_masses(model).items(), key=lambda item: -item[1])
    weighed = quick(looked, reference)
    assert frozenset(weighed.explanations[0].conditions) == exact[0][0]


def test_unexplained_equals_enumeration() -> None:
    """A finding whose only linked condition here is next to impossible: the leak brought it."""
    reference, _, _, _ = part()
    looked = evidence(reference, {"brown_gills": 1, "flashing": 1, "skin_costia": 2}, None, "koi")
    network = network_of(reference)
    base = dict(zip(network.conditions, (float(odds) for odds in network.base_odds), strict=True))
    model = rows_model(reference, looked, base)
    exact = enumerate_model(model)
    weighed = quick(looked, reference)
    said = {item.findings: item.probability for item in weighed.unexplained}
    for report in model.reports:
        chance = math.fsum(
            weight * report.only_from((), present) / report.likelihood(present)
            for present, weight in exact.posterior.items()
        )
        if chance > 0.55:
            assert said[report.findings] == pytest.approx(chance, abs=0.03)
        if chance < 0.45:
            assert report.findings not in said
    assert said


def test_reasons_by_reweighting_equal_exact_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    """log10 odds with everything minus log10 odds with one thing left out, each by enumeration."""
    reference, looked, model, exact = part()
    monkeypatch.setattr(why, "SMALLEST", 0.0)
    for limit, tolerance in ((why.RESWEEP_BITS, 1e-6), (0.0, 0.12)):
        monkeypatch.setattr(why, "RESWEEP_BITS", limit)
        monkeypatch.setattr(why, "RESWEEP_TELLING_BITS", limit)
        weighed = quick(looked, reference)
        for condition, listed in weighed.reasons.items():
            for reason in listed:
                after = _left_out(model, reference, looked, reason.findings)
                weight = _log_odds(exact.present[condition]) - _log_odds(after.present[condition])
                positive = reason.findings[0] in PART_SEEN and reason.level > 0
                allowed = tolerance if positive else 0.06
                assert reason.weight == pytest.approx(weight, abs=allowed), (condition, reason)


def _left_out(model: RowsModel, reference: Reference, looked: Evidence, findings: tuple[str, ...]) -> Enumerated:
    if findings[0] in PART_SEEN:
        return enumerate_model(replace(model, reports=tuple(r for r in model.reports if r.findings != findings)))
    network = network_of(reference)
    base = dict(zip(network.conditions, (float(odds) for odds in network.base_odds), strict=True))
    if findings == ("host",):
        looked = replace(looked, host_group=None)
    elif findings == ("temperature",):
        looked = replace(looked, temperature_c=None)
    else:
        looked = replace(looked, answers={id: yes for id, yes in looked.answers.items() if id not in findings})
    return enumerate_model(rows_model(reference, looked, base))


def _log_odds(chance: float) -> float:
    return math.log10(chance / (1 - chance))


def test_redraws_by_weights_equal_redraws_swept_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """Firmness reweights samples; the same redraws of the tables, each swept exactly, must give the same figures."""
    reference, looked, _, _ = part()
    posed = pose(looked, reference)
    posterior, drawn = draw(posed.problem, 4000, 1)
    sampled = distinct(drawn)
    monkeypatch.setattr(firmness, "ENOUGH", 1e9)
    exact = firmness.redraw(posed, sampled, posterior, 3)
    assert exact.swept == firmness.REDRAWS
    monkeypatch.setattr(firmness, "ENOUGH", 0.0)
    weighted = firmness.redraw(posed, sampled, posterior, 3)
    assert weighted.swept == 0
    assert np.abs(exact.score - weighted.score).mean() < 0.01
    assert np.quantile(np.abs(exact.score - weighted.score), 0.99) < 0.1
    np.testing.assert_allclose(
        np.percentile(weighted.score, [5, 95], axis=0), np.percentile(exact.score, [5, 95], axis=0), atol=0.06
    )


def test_redrawn_tables_scatter_around_the_tables() -> None:
    reference, looked, _, _ = part()
    weighed = weigh_up(looked, reference, examinations=False)
    for result in weighed.conditions:
        assert result.low is not None
        assert result.high is not None
        assert 0 <= result.low <= result.high <= 1
    leading = weighed.conditions[0]
    assert leading.low < leading.responsible < leading.high  # type: ignore[operator]
    assert weighed.firmness is not None
    assert 0 < weighed.firmness.share <= 1


def test_information_of_an_examination_equal_to_enumeration() -> None:
    """Expected bits about who is to blame, and how often another condition leads, by summing over every outcome."""
    reference = load_reference()
    history = {id for id, row in reference.findings.items() if row.kind == "cause"}
    small = {"gill_costia", "gill_ich", "gill_trichodinid", "gill_hyperplasia"}
    kept = history | set(PART_SEEN) | small
    reference = restricted(reference, PART, kept)
    examinations = {
        id: structs.replace(row, short_list=tuple(f for f in row.short_list if f in kept))
        for id, row in reference.examinations.items()
        if id in ("gill_scrape", "skin_scrape")
    }
    reference = replace(reference, examinations={**reference.examinations, **examinations})
    looked = evidence(reference, PART_SEEN, {"crowded": True}, "koi")
    network = network_of(reference)
    base = dict(zip(network.conditions, (float(odds) for odds in network.base_odds), strict=True))
    model = rows_model(reference, looked, base)
    exact = enumerate_model(model)
    bits, changes = _exact_information(reference, model, exact, "gill_scrape", sorted(small))
    said = [
        next(
            n
            for n in weigh_up(looked, reference, seed=seed, firmness=False).next_examinations or ()
            if n.id == "gill_scrape"
        )
        for seed in range(12)
    ]
    assert bits > 0.05
    assert np.mean([n.information_bits for n in said]) == pytest.approx(bits, abs=0.025)
    assert np.mean([n.changes_leading for n in said]) == pytest.approx(changes, abs=0.03)
    assert max(abs(n.information_bits - bits) for n in said) < 0.12


def _exact_information(
    reference: Reference, model: RowsModel, exact: Enumerated, examination: str, findings: list[str]
) -> tuple[float, float]:
    """Mutual information (bits) between the pattern of blame and the outcome, and P(another condition leads)."""
    looked = Evidence(None, None, None, tuple(observation(reference, id, 0) for id in findings), {}, (), (), {}, None)
    shown = rows_model(reference, looked, dict.fromkeys(model.conditions, 1.0)).reports
    outcomes = list(itertools.product(*(range(len(report.leak) + 1) for report in shown)))
    ids = model.conditions
    patterns: dict[tuple[bool, ...], np.ndarray] = {}
    blamed = np.zeros((len(outcomes), len(ids)))
    for present, weight in exact.posterior.items():
        like = np.array(
            [
                math.prod(
                    replace(report, level=level).likelihood(present)
                    for report, level in zip(shown, outcome, strict=True)
                )
                for outcome in outcomes
            ]
        )
        blame = [1 - brought_nothing(model, present, id) if id in present else 0.0 for id in ids]
        blamed += weight * like[:, None] * np.array(blame)
        for pattern in itertools.product((False, True), repeat=len(ids)):
            chance = math.prod(b if bit else 1 - b for b, bit in zip(blame, pattern, strict=True))
            if chance:
                patterns[pattern] = patterns.get(pattern, 0.0) + weight * chance * like
    joint = np.array(list(patterns.values()))
    outcome_chance, pattern_chance = joint.sum(axis=0), joint.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.log2(joint / (pattern_chance[:, None] * outcome_chance))
    bits = float(np.sum(np.where(joint > 0, joint * ratio, 0.0)))
    leading = int(np.argmax([exact.responsible[id] for id in ids]))
    changes = float(outcome_chance[np.argmax(blamed, axis=1) != leading].sum())
    return bits, changes


# --- beyond the exact limit -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("limit", [12.0, 10.0])
def test_approximation_is_within_its_stated_bound(limit: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where both can run: the approximation agrees with the exact sweep within the bound that it states itself."""
    reference = load_reference()
    seen = {**SEEN, "mottled_gills": 1, "haemorrhage_skin": 1, "fin_erosion": 1, "excess_mucus_gill": 1}
    looked = evidence(reference, seen)
    exact = quick(looked)
    assert exact.exact
    assert exact.approximation is None
    monkeypatch.setattr(approximate, "EXACT_BITS", limit)
    near = quick(looked)
    assert not near.exact
    assert near.approximation is not None
    bound = float(near.approximation.split("within ")[1].split()[0])
    assert 0 < bound < 0.1
    there = chances(near)
    for id, (present, responsible) in chances(exact).items():
        assert there[id][0] == pytest.approx(present, abs=1.5 * bound), id
        assert there[id][1] == pytest.approx(responsible, abs=1.5 * bound), id
    assert near.log_evidence == pytest.approx(exact.log_evidence, abs=0.3)


def test_approximation_is_never_silent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(approximate, "EXACT_BITS", 11.0)
    near = quick(evidence(load_reference(), {**SEEN, "mottled_gills": 1, "fin_erosion": 1}))
    assert near.approximation is not None
    for word in ("samples", "effective sample", "within"):
        assert word in near.approximation


# --- warnings ---------------------------------------------------------------------------------------------------------


def test_notifiable_and_zoonotic_conditions_are_named_below_the_lead() -> None:
    reference = load_reference()
    weighed = quick(evidence(reference, {"mottled_gills": 2, "sunken_eye": 1, "many_affected": 2}, None, "koi"))
    named = {(w.kind, w.condition) for w in weighed.warnings}
    for result in weighed.conditions:
        row = reference.conditions[result.id]
        assert (("notifiable", result.id) in named) == (result.probability >= 0.05 and row.notifiable != "no")
        assert (("zoonotic", result.id) in named) == (result.probability >= 0.05 and row.zoonotic)


def test_prior_counts_host_and_history_but_no_finding() -> None:
    reference = load_reference()
    with_findings = quick(evidence(reference, SEEN, {"crowded": True}, "koi"))
    without = quick(evidence(reference, {}, {"crowded": True}, "koi"))
    posterior = sweep(pose(evidence(reference, {}, {"crowded": True}, "koi"), reference).problem)
    assert posterior.log_evidence == pytest.approx(0.0, abs=1e-9)
    there = {result.id: result.probability for result in without.conditions}
    for result in with_findings.conditions:
        assert result.prior == pytest.approx(there[result.id], abs=1e-12)
