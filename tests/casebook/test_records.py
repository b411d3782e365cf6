"""The case in the database and the core's record say the same to the weigh-up."""

from __future__ import annotations

from importlib import resources
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from wetmount import case as core
from wetmount.casebook import clock
from wetmount.casebook.models import Act, Case, Change, Device, FindingEntry
from wetmount.casebook.reference import reference
from wetmount.casebook.services import keeping, looking
from wetmount.casebook.services.records import case_record, import_case, look_index
from wetmount.casefile import read_case_text
from wetmount.errors import InputError
from wetmount.evidence import gather_evidence

EXAMPLES = sorted(
    one.name for one in (resources.files("wetmount") / "examples").iterdir() if one.name.endswith(".toml")
)


def example(name: str) -> core.Case:
    text = (resources.files("wetmount") / "examples" / name).read_text(encoding="utf-8")
    return read_case_text(text, "toml", name, reference())


def said(case: core.Case, look: int) -> dict[str, Any]:
    """What a look says to the weigh-up; traces name the table a finding stood in, which may differ."""
    evidence = gather_evidence(case, reference(), look)
    return {
        "host": (evidence.host_group, evidence.species),
        "temperature": evidence.temperature_c,
        "observations": {(one.finding, one.level, one.sure, one.detection) for one in evidence.observations},
        "answers": dict(evidence.answers),
        "done": dict(evidence.examinations_done),
        "contradictions": {(one.finding, one.stated, one.derived) for one in evidence.contradictions},
        # A file may leave all dates out; in the casebook the case was opened on some day.
        "date": evidence.date or clock.today().isoformat(),
    }


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_case_file_goes_in_and_says_the_same(device: Device, name: str) -> None:
    before = example(name)
    after = case_record(import_case(device, before))
    assert len(after.looks) == len(core.looks_of(before))
    for look in range(len(after.looks)):
        assert said(after, look) == said(before, look)
    assert (after.title, after.red_flags, after.keeper) == (
        before.title or after.title,
        before.red_flags,
        before.keeper,
    )


def test_bringing_a_case_in_is_recorded(device: Device) -> None:
    case = import_case(device, example(EXAMPLES[0]))
    act = Act.objects.get(case=case)
    assert (act.kind, act.device) == ("import_case", device)
    assert Change.objects.filter(act=act, table="findingentry").count() == FindingEntry.objects.count() > 0


def test_a_case_that_cannot_be_leaves_nothing(device: Device) -> None:
    wrong = core.Case(format=1, host=core.Host(group="livebearer"), findings={"flashing": "very much"})
    with pytest.raises(InputError):
        import_case(device, wrong)
    assert not Case.all_cases.exists()
    assert not Act.objects.filter(kind="import_case").exists()


def test_what_is_entered_reaches_the_weigh_up(device: Device, case: Case) -> None:
    look = case.looks.get()
    tank_look = looking.add_examination(device, look, "tank_look")
    looking.record_finding(device, tank_look, "flashing", 2)
    looking.record_finding(device, tank_look, "clamped_fins", 0)
    looking.answer_history(device, case, "recent_introduction", "yes")
    looking.answer_history(device, case, "crowded", "not asked")
    keeping.set_reading(device, look, "temperature", "78.8 F")
    keeping.set_reading(device, look, "nitrite", "0.8 mg/L NO2")
    evidence = gather_evidence(case_record(case), reference(), look_index(case, look))
    levels = {one.finding: one.level for one in evidence.observations}
    assert (levels["flashing"], levels["clamped_fins"]) == (2, 0)
    assert "lethargy" not in levels, "not looked at"
    assert evidence.answers == {"recent_introduction": True}
    assert evidence.temperature_c == pytest.approx(26.0)  # (78.8 - 32) / 1.8, the definition of the scale


def test_the_number_of_queries_does_not_grow(device: Device, scrape: Any) -> None:
    case = scrape.look.case

    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            case_record(case)
        return len(seen)

    looking.sweep_rest(device, scrape)
    keeping.set_reading(device, scrape.look, "ph", "7.4")
    looking.add_slide(device, scrape, fields=20, counts={})
    before = queries()
    for n in range(6):
        fish = looking.add_fish(device, case)
        more = looking.add_examination(device, scrape.look, "skin_scrape", fish=fish)
        looking.sweep_rest(device, more)
        looking.add_slide(device, more, fields=20, counts={})
        keeping.set_reading(device, scrape.look, "ph", f"7.{n}")
    assert queries() == before
