"""Published rules of repeat treatment beside the model: which speak, where the model agrees, where not and why."""

from __future__ import annotations

from datetime import date

import pytest
from click.testing import CliRunner

from wetmount.cli import cli
from wetmount.forecast import MODELS, Plan, Situation, plan_treatments
from wetmount.forecast.rules import RULES
from wetmount.reference import load_reference

REFERENCE = load_reference()


def timed(model: str, treatment: str, temperature_c: float) -> Plan:
    situation = Situation(12, 120, 6, 3, 12, (temperature_c,), date(2026, 10, 3))
    return plan_treatments(model, treatment, situation, REFERENCE)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{rule.parasite}-{rule.givings}")
def test_every_rule_is_a_row_of_the_table(rule: object) -> None:
    assert rule.model in MODELS  # type: ignore[attr-defined]
    rows = [row for row in REFERENCE.lifecycles if row.stage == "schedule" and row.quantity == rule.quantity]  # type: ignore[attr-defined]
    assert rows
    assert all(row.sources for row in rows)


@pytest.mark.parametrize(
    ("model", "treatment", "temperature_c", "published", "how"),
    [
        # Zhang X-P et al. 2015, a week later: worms of eggs laid before the first bath lay before then
        ("gill_flukes", "praziquantel_bath", 20, (0, 7), "sooner"),
        # Colorni 1985: four moves or baths at 10 ppt or less, three days apart
        ("marine_ich", "clean_tank_move", 25, (0, 3, 6, 9), "agrees"),
        ("marine_ich", "hyposaline_bath", 25, (0, 3, 6, 9), "agrees"),
        # UF/IFAS leaflet (memory): every other day in warm water
        ("ich", "formalin_malachite", 25, (0, 2, 4, 6), "agrees"),
        # a dealer's page: every 6 days at 18 °C
        ("ich", "formalin_malachite", 18, (0, 6, 12), "sooner"),
        # weekly larvicide (memory)
        ("anchor_worm", "diflubenzuron_bath", 27, (0, 7, 14, 21), "later"),
        # again at two weeks, eggs untouched (encyclopaedia)
        ("fish_louse", "diflubenzuron_bath", 25, (0, 14), "later"),
    ],
)
def test_where_the_model_agrees_and_where_not(
    model: str, treatment: str, temperature_c: float, published: tuple[int, ...], how: str
) -> None:
    plan = timed(model, treatment, temperature_c)
    rule = next(one for one in plan.rules if one.schedule.days == published)
    assert rule.how == how
    assert bool(rule.why) == (how != "agrees")
    assert rule.best == plan.best[len(published) - 1]
    assert rule.best.rank <= rule.schedule.rank
    assert (how == "agrees") == rule.verdict.startswith("the model agrees")


def test_the_rule_of_the_stages() -> None:
    # Colorni 1985: 1 + ceil(7/3); hatch and laying of D. vastator at 20 °C, Zhang et al. 2015: 5 d and 5 d
    assert "4 givings at most 3.0 days apart" in timed("marine_ich", "clean_tank_move", 25).rule_of_stages
    assert "hardly a day lies between" in timed("gill_flukes", "praziquantel_bath", 20).rule_of_stages
    assert timed("skin_flukes", "praziquantel_bath", 25).rule_of_stages == ""


def test_rules_far_from_their_temperature_are_silent() -> None:
    assert not timed("gill_flukes", "praziquantel_bath", 27).rules
    assert {rule.schedule.days for rule in timed("ich", "formalin_malachite", 22).rules} == {(0, 2, 4, 6), (0, 4, 8)}


def test_the_command_says_it_and_hands_the_days_on() -> None:
    given = ["--burden", "6", "--fish", "12", "--volume", "120", "--temperature", "18", "--courses", "100"]
    said = CliRunner().invoke(cli, ["forecast", "ich", *given, "--plan", "formalin_malachite"])
    assert said.exit_code == 0, said.output
    words = " ".join(said.output.split())
    plan = timed("ich", "formalin_malachite", 18)
    for rule in plan.rules:
        assert " ".join(rule.verdict.split()[:12]) in words
    assert f"--days {plan.for_plan}" in words
