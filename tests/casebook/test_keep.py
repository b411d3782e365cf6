"""The record in words, closing with what it was, deleting and bringing back, the pages of keeping."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from wetmount.casebook import clock, history
from wetmount.casebook.history import told
from wetmount.casebook.models import Act, Case, Device, Examination, Look, Tank
from wetmount.casebook.services import cases, files, keeping, looking
from wetmount.casebook.services.archive import export_cases
from wetmount.casebook.services.refusals import CaseClosed
from wetmount.casebook.services.undo import undo_last
from wetmount.reference import load_reference

pytestmark = pytest.mark.django_db


def lines(case: Case | None) -> list[str]:
    """The record, latest act first, each line as 'where: before → after'."""
    return [f"{line.where}: {line.before} → {line.after}" for one in told(case)[0] for line in one.lines]


def latest(case: Case | None) -> list[str]:
    return [f"{line.where}: {line.before} → {line.after}" for line in told(case)[0][0].lines]


# --- the record in words ----------------------------------------------------------------------------------------------


def test_a_finding_from_not_looked_at_to_many(device: Device, phone: Device, case: Case, scrape: Examination) -> None:
    looking.record_finding(phone, scrape, "skin_costia", 2)
    where = "skin scrape of fish 1, flickering flagellates on skin"
    assert latest(case) == [f"{where}: not looked at → many"]
    (one, *_), _ = told(case)
    assert one.who == "Tank phone"
    looking.record_finding(device, scrape, "skin_costia", 1, sure="doubtful")
    assert latest(case) == [f"{where}: many → few, doubtful"]
    looking.record_finding(device, scrape, "skin_costia", 0)
    assert latest(case) == [f"{where}: few, doubtful → looked, not seen"]
    looking.record_finding(device, scrape, "skin_costia", None)
    assert latest(case) == [f"{where}: looked, not seen → not looked at"]


def test_how_sure_and_how_many_fish(device: Device, case: Case, scrape: Examination) -> None:
    entry = looking.record_finding(device, scrape, "skin_costia", 2)
    assert entry is not None
    looking.set_sure(device, entry, "fairly")
    where = "skin scrape of fish 1, flickering flagellates on skin"
    assert latest(case) == [f"{where}: many → many, fairly sure"]
    looking.record_finding(device, scrape, "skin_costia", 2, sure="fairly", seen_in=2, looked_at=3, note="at the fins")
    assert latest(case) == [
        f"{where}, seen in: – → 2", f"{where}, of fish looked at: – → 3", f"{where}, note: – → at the fins"
    ]  # fmt: skip


def test_a_sweep_says_each_finding(device: Device, case: Case, scrape: Examination) -> None:
    swept = looking.sweep_rest(device, scrape)
    said = latest(case)
    assert len(said) == len(swept) > 3
    assert all(line.endswith(": not looked at → swept: looked, not seen") for line in said)


def test_every_other_clinical_entry(device: Device, case: Case, scrape: Examination, tank: Tank) -> None:
    look = case.looks.get()
    looking.answer_history(device, case, "recent_introduction", "yes")
    name = load_reference().findings["recent_introduction"].name
    assert latest(case) == [f"history, {name}: no answer → yes"]
    looking.answer_history(device, case, "recent_introduction", "no")
    assert latest(case) == [f"history, {name}, answer: yes → no"]
    reading = keeping.set_reading(device, look, "nitrite", "1.6 mg/L NO2", tank=tank)
    assert latest(case) == ["nitrite, look of 3 October 2026: not measured → tank A4; 1.6 mg/L NO2"]
    keeping.set_reading(device, look, "nitrite", "0.8 mg/L NO2", tank=tank, reading=reading)
    assert latest(case) == ["nitrite, look of 3 October 2026, value: 1.6 mg/L NO2 → 0.8 mg/L NO2"]
    looking.set_numbers(device, look, total=24, sick=6, dead=1, dead_today=None)
    assert latest(case) == ["numbers, look of 3 October 2026: not there → kept 24; sick 6; dead 1"]
    looking.change_fish(device, scrape.fish, state="killed", killed_by="overdose of clove oil, then pithed")
    assert "fish 1, state: alive → killed for the examination" in latest(case)
    cases.set_cause(device, case, "costia", "confirmed")
    assert latest(case) == ["put down to Costia (ichthyobodosis): not there → confirmed"]
    looking.add_slide(device, scrape, objective="10x", fields=3, counts={"skin_costia": [1, 0, 2]})
    assert "flickering flagellates on skin 1 + 0 + 2" in latest(case)[0]
    cases.set_red_flags(device, case, [next(iter(load_reference().red_flags))])
    assert latest(case) == [f"the case, red flags: – → {next(iter(load_reference().red_flags.values())).name}"]
    cases.change_case(device, case, tank_id=None)
    assert "the case, tank: A4 → –" in latest(case)


def test_what_was_removed_is_still_named(device: Device, case: Case, scrape: Examination) -> None:
    looking.record_finding(device, scrape, "skin_costia", 2)
    looking.remove_examination(device, scrape)
    looking.remove_fish(device, scrape.fish)
    said = lines(case)
    where = "skin scrape of fish 1, flickering flagellates on skin"
    assert f"{where}: many → not looked at" in said
    assert f"{where}: not looked at → many" in said, "the earlier act is still told in the same words"
    assert "fish 1: name 1; state alive → not there" in said


def test_an_act_taken_back_says_so(device: Device, case: Case, scrape: Examination) -> None:
    looking.record_finding(device, scrape, "skin_costia", 2)
    undo_last(device, case)
    (undo, done, *_), _ = told(case)
    assert done.undone
    assert undo.act.said == "Taken back: Flickering flagellates on skin: many. Skin scrape, fish 1"
    assert undo.lines[0].after == "not looked at"


SAMPLES: dict[str, Any] = {
    "DateField": "2026-10-03",
    "DateTimeField": "2026-10-03T09:40:00+00:00",
    "TimeField": "09:40:00",
    "FloatField": 1.5,
    "JSONField": {},
}


def test_every_field_of_every_recorded_row_can_be_told(device: Device, case: Case) -> None:
    """No column of the record makes the page fail, whatever it holds: each is put through."""
    from django.apps import apps
    from django.db.models import BooleanField

    from wetmount.casebook.models import Entry
    from wetmount.casebook.services.acts import values_of

    known = history._Known([])
    tables = [m for m in apps.get_app_config("casebook").get_models() if issubclass(m, Entry)]
    assert len(tables) > 15
    for model in tables:
        blank: dict[str, Any] = values_of(model())
        for field in model._meta.concrete_fields:
            if field.attname in blank and not isinstance(field, BooleanField):
                sample = SAMPLES.get(field.get_internal_type(), 1)
                history._say(model._meta.model_name or "", field.attname, sample, known)
        assert history._where(model._meta.model_name or "", blank, known)


def test_the_number_of_queries_does_not_grow(
    device: Device, case: Case, scrape: Examination, django_assert_max_num_queries: Any
) -> None:
    for level in (1, 2, 0, 1, 2, 0):
        looking.record_finding(device, scrape, "skin_costia", level)
    looking.sweep_rest(device, scrape)
    with django_assert_max_num_queries(14):
        assert len(told(case)[0]) > 5


def test_the_page_is_paged(browser: Client, device: Device, case: Case, scrape: Examination) -> None:
    for number in range(history.AT_ONCE + 5):
        keeping.add_note(device, f"note {number}", case=case)
    first = browser.get(f"/case/{case.number}/record/").content.decode()
    assert first.count('class="act"') == history.AT_ONCE
    assert f"note {history.AT_ONCE + 4}" in first
    _, older = told(case)
    second = browser.get(f"/case/{case.number}/record/?before={older}").content.decode()
    assert "note 0" in second
    assert "Older" not in second
    for wrong in ("x", "-1", "9" * 30, "1;--"):
        assert browser.get(f"/case/{case.number}/record/", {"before": wrong}).status_code == 200


def test_the_page_tells_day_time_and_device(
    phone: Device, browser: Client, case: Case, scrape: Examination, monkeypatch: pytest.MonkeyPatch
) -> None:
    moment = dt.datetime(2026, 10, 3, 9, 40, tzinfo=clock.LOCAL)
    monkeypatch.setattr(clock, "now", lambda: moment.astimezone(dt.UTC))
    looking.record_finding(phone, scrape, "skin_costia", 2)
    page = browser.get(f"/case/{case.number}/record/").content.decode()
    assert "3 October 2026" in page
    assert ">09:40<" in page
    assert "<b>Tank phone</b>" in page
    assert timezone.localtime(moment, clock.LOCAL).hour == 9


def test_outside_cases(browser: Client, device: Device, tank: Tank) -> None:
    page = browser.get("/keeping/record/").content.decode()
    assert "tank A4" in page
    assert "volume in litres 55" in page


# --- closing ----------------------------------------------------------------------------------------------------------


def close(browser: Client, case: Case, **values: Any) -> Any:
    said = {"outcome": "recovered", "outcome_note": "All but one", "on": "2026-10-20"}
    return browser.post(f"/case/{case.number}/close/", said | values)


def test_closing_asks_what_it_was_and_what_became_of_the_fish(browser: Client, device: Device, case: Case) -> None:
    cases.set_cause(device, case, "costia", "likely", note="seen twice")
    cause = case.causes.get()
    page = browser.get(f"/case/{case.number}/close/").content.decode()
    for word in ("What it was", "What became of the fish", "Costia", "not known", "can be taken back"):
        assert word.lower() in page.lower(), word
    assert close(browser, case, **{f"standing-{cause.pk}": "confirmed", "condition": "columnaris"}).status_code == 302
    case = Case.objects.get(pk=case.pk)
    assert (case.closed, case.outcome, case.outcome_note) == (dt.date(2026, 10, 20), "recovered", "All but one")
    assert {(one.condition, one.standing, one.note) for one in case.causes.all()} == {
        ("costia", "confirmed", "seen twice"), ("columnaris", "confirmed", "")
    }  # fmt: skip


@pytest.mark.parametrize("wrong", [
    {"outcome": ""}, {"outcome": "splendid"}, {"on": "2026-10-01"}, {"on": "soon"}, {"condition": "dragons"},
    {"condition": "costia", "standing": "sworn"}, {"outcome_note": "x" * 20_001},
])  # fmt: skip
def test_a_closing_that_cannot_be_leaves_the_case_open_and_whole(
    browser: Client, device: Device, case: Case, wrong: dict[str, str]
) -> None:
    cases.set_cause(device, case, "costia", "likely")
    cause = case.causes.get()
    answer = close(browser, case, **{f"standing-{cause.pk}": "ruled_out"}, **wrong)
    assert answer.status_code == 422
    assert not Case.objects.get(pk=case.pk).is_closed
    assert case.causes.get().standing == "likely", "all of it or nothing"


def test_a_closed_case_is_locked_and_takes_addenda(
    browser: Client, device: Device, case: Case, scrape: Examination
) -> None:
    close(browser, case)
    with pytest.raises(CaseClosed):
        looking.record_finding(device, scrape, "skin_costia", 2)
    assert browser.post(f"/case/{case.number}/addendum/", {"text": "No relapse."}).status_code == 302
    page = browser.get(f"/case/{case.number}/").content.decode()
    assert "No relapse." in page
    assert "recovered" in page
    assert 'name="outcome"' not in browser.get(f"/case/{case.number}/close/").content.decode()


def test_a_closing_by_mistake_is_taken_back_in_the_record(browser: Client, device: Device, case: Case) -> None:
    close(browser, case)
    act = Act.objects.get(case=case, kind="close_case")
    assert "Take the closing back" in browser.get(f"/case/{case.number}/record/").content.decode()
    cases.add_addendum(device, case, "No relapse.")
    browser.post(f"/case/{case.number}/record/{act.pk}/back/")
    case = Case.objects.get(pk=case.pk)
    assert (case.closed, case.outcome) == (None, "")
    assert case.addenda.count() == 1, "what was added stays"


def test_after_a_month_it_stays_closed(browser: Client, case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    close(browser, case)
    act = Act.objects.get(case=case, kind="close_case")
    later = clock.now() + dt.timedelta(days=31)
    monkeypatch.setattr(clock, "now", lambda: later)
    assert "Take the closing back" not in browser.get(f"/case/{case.number}/record/").content.decode()
    assert browser.post(f"/case/{case.number}/record/{act.pk}/back/").status_code == 422
    assert Case.objects.get(pk=case.pk).is_closed


# --- deleting and bringing back ---------------------------------------------------------------------------------------


def test_deleting_asks_and_can_be_undone(browser: Client, case: Case) -> None:
    before = Case.objects.values().get(pk=case.pk)
    asked = browser.get(f"/case/{case.number}/delete/").content.decode()
    assert "30 days" in asked
    assert Case.objects.filter(pk=case.pk).exists(), "asking deletes nothing"
    assert browser.post(f"/case/{case.number}/delete/").url == "/keeping/deleted/"
    assert browser.get(f"/case/{case.number}/").status_code == 404
    assert case.title not in browser.get("/cases/").content.decode()
    assert case.title in browser.get("/keeping/deleted/").content.decode()
    assert browser.post(f"/keeping/deleted/{case.number}/back/").url == f"/case/{case.number}/"
    after = Case.objects.values().get(pk=case.pk)
    assert after | {"version": 0, "touched_at": 0} == before | {"version": 0, "touched_at": 0}


def test_a_deleted_case_cannot_be_brought_back_after_a_month(
    browser: Client, case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    browser.post(f"/case/{case.number}/delete/")
    later = clock.now() + dt.timedelta(days=30, seconds=1)
    monkeypatch.setattr(clock, "now", lambda: later)
    assert browser.post(f"/keeping/deleted/{case.number}/back/").status_code == 422
    assert cases.purge_deleted(later) == []
    assert not Case.all_cases.filter(pk=case.pk).exists()
    assert browser.post(f"/keeping/deleted/{case.number}/back/").status_code == 404


def test_what_was_deleted_in_a_case_is_brought_back_in_the_record(
    browser: Client, device: Device, case: Case, scrape: Examination
) -> None:
    looking.record_finding(device, scrape, "skin_costia", 2)
    picture = io.BytesIO()
    from PIL import Image

    Image.new("RGB", (10, 10)).save(picture, "JPEG")
    photograph = files.keep(device, picture, name="x.jpg", examination=scrape)
    second = looking.begin_look(device, case, dt.date(2026, 10, 10))
    keeping.delete_attachment(device, photograph)
    looking.remove_look(device, second)
    looking.remove_examination(device, scrape)
    for act in Act.objects.filter(case=case, kind__in=("remove_examination", "remove_look", "delete_attachment")):
        assert f"/record/{act.pk}/back/" in browser.get(f"/case/{case.number}/record/").content.decode()
    for act in Act.objects.filter(
        case=case, kind__in=("remove_examination", "remove_look", "delete_attachment")
    ).order_by("-id"):
        assert browser.post(f"/case/{case.number}/record/{act.pk}/back/").status_code == 302
    assert scrape.findings.get().level == 2
    assert Look.objects.filter(case=case).count() == 2
    photograph.refresh_from_db()
    assert photograph.deleted_at is None
    assert photograph.examination_id == scrape.pk


def test_acts_of_another_case_are_not_reached(browser: Client, device: Device, case: Case, open_case: Any) -> None:
    other = open_case()
    keeping.add_note(device, "x", case=other)
    act = Act.objects.filter(case=other).latest("pk")
    assert browser.post(f"/case/{case.number}/record/{act.pk}/back/").status_code == 404
    opened = Act.objects.get(case=case, kind="open_case")
    assert browser.post(f"/case/{case.number}/record/{opened.pk}/back/").status_code == 404


# --- backup and archives from the page --------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_the_button_gives_a_backup(browser: Client, case: Case, tmp_path: Path) -> None:
    answer = browser.post("/keeping/backup/")
    assert answer.status_code == 200
    assert "attachment" in answer.headers["Content-Disposition"]
    content = b"".join(answer.streaming_content)
    answer.close()
    assert zipfile.ZipFile(io.BytesIO(content)).testzip() is None
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == [], "nothing is left behind"


def test_backup_and_import_only_on_the_computer_itself(phone_browser: Client) -> None:
    assert phone_browser.post("/keeping/backup/").status_code == 422
    assert phone_browser.post("/keeping/import/").status_code == 422
    page = phone_browser.get("/keeping/").content.decode()
    assert "on the computer itself" in page
    assert "/keeping/backup/" not in page


@pytest.mark.django_db(transaction=True)
def test_a_case_goes_out_and_in_by_the_pages(browser: Client, case: Case, scrape: Examination, tmp_path: Path) -> None:
    answer = browser.get(f"/case/{case.number}/export/")
    content = b"".join(answer.streaming_content)
    answer.close()
    Case.all_cases.filter(pk=case.pk).update(uid="00000000-0000-4000-8000-000000000000")
    upload = io.BytesIO(content)
    upload.name = "from a colleague.zip"
    answer = browser.post("/keeping/import/", {"archive": upload})
    assert answer.url == f"/case/{case.number + 1}/"
    assert Examination.objects.filter(look__case__number=case.number + 1).count() == 1


def test_what_is_wrong_with_an_archive_is_told_by_its_name(browser: Client, case: Case, tmp_path: Path) -> None:
    export_cases([case], tmp_path / "x.zip")
    with (tmp_path / "x.zip").open("rb") as file:
        answer = browser.post("/keeping/import/", {"archive": file})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "x.zip" in page
    assert f"already, as case {case.number}" in page
    assert "/tmp" not in page.replace(str(tmp_path), ""), "no folder of the computer is shown"
    assert browser.post("/keeping/import/").status_code == 422


def test_the_table_goes_by_the_filter(browser: Client, case: Case, open_case: Any) -> None:
    open_case(title="Koi in early spring")
    whole = b"".join(browser.get("/cases/table/").streaming_content).decode()
    some = b"".join(browser.get("/cases/table/", {"q": "koi"}).streaming_content).decode()
    assert whole.count("\r\n") == 3
    assert some.count("\r\n") == 2
    assert "Koi" in some
