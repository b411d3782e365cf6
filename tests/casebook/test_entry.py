"""The pages of a case: every step is there, in any order, on any look; each entry goes where it should, and is said."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext

from wetmount.casebook.models import (
    Act,
    Case,
    Device,
    Examination,
    FindingEntry,
    Fish,
    HistoryAnswer,
    Look,
    Numbers,
    Reading,
    Received,
    Slide,
)
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, entering, looking
from wetmount.casebook.services.records import case_record
from wetmount.casebook.steps import STEPS
from wetmount.casebook.views.entry_rows import rows_of_kind
from wetmount.evidence import gather_evidence

OURS = [step.id for step in STEPS if step.id not in ("weigh-up", "plan", "report")]
PIECES = {"HTTP_X_WETMOUNT": "pieces"}
UNITS_OF_NITRITE = "mg/L NO2"


def press(client: Client, case: Case, row: str, *, script: bool = False, id: str = "", **fields: Any) -> HttpResponse:
    """Press one key: `row` is "finding level sure version"."""
    data = {"set": row, "id": id, "back": f"/case/{case.number}/skin/", **fields}
    return client.post(f"/case/{case.number}/finding/", data, **(PIECES if script else {}))


def skin(case: Case, fish: Fish | None = None) -> dict[str, Any]:
    """The fields of a skin scrape that was not begun."""
    return {"kind": "skin_scrape", "look": case.looks.get().pk, "fish": fish.pk if fish else ""}


# --- pages ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("step", OURS)
def test_every_step_opens_first_on_an_empty_case(browser: Client, case: Case, step: str) -> None:
    page = browser.get(f"/case/{case.number}/{step}/")
    assert page.status_code == 200
    text = page.content.decode()
    assert 'id="entry"' in text
    assert " style=" not in text
    assert "<script>" not in text
    assert "onclick" not in text
    case.refresh_from_db()
    assert case.step == step
    assert Act.objects.filter(case=case).count() == 1, "opening a page writes nothing"


@pytest.mark.parametrize(
    "path",
    ["nothing/", "skin/?look=999999", "skin/?look=x", "skin/?fish=999999", "skin/?fish=-1", "skin/?look=" + "9" * 40,
     "fish/999999/", "examination/999999/", "entry/999999/", "look/999999/", "file/999999/"],
)  # fmt: skip
def test_what_is_not_there_is_said(browser: Client, case: Case, path: str) -> None:
    assert browser.get(f"/case/{case.number}/{path}").status_code == 404
    assert browser.get(f"/case/999999/{path}").status_code == 404


def test_the_look_of_another_case_is_not_there(browser: Client, case: Case, open_case: Callable[..., Case]) -> None:
    other = open_case().looks.get()
    assert browser.get(f"/case/{case.number}/skin/?look={other.pk}").status_code == 404
    sent = press(browser, case, "skin_costia 1 sure 0", kind="skin_scrape", look=other.pk, fish="")
    assert sent.status_code == 404
    assert not FindingEntry.objects.exists()


@pytest.mark.parametrize(
    "path",
    ["finding/", "sweep/", "unsweep/", "examination/", "red-flag/", "answer/", "numbers/", "batch/", "note/",
     "reading/", "fish/", "look/", "task/", "cause/", "files/", "addendum/"],
)  # fmt: skip
def test_addresses_that_take_entries_take_nothing_else(
    browser: Client, stranger: Client, case: Case, path: str
) -> None:
    assert browser.get(f"/case/{case.number}/{path}").status_code == 405
    assert stranger.post(f"/case/{case.number}/{path}").status_code == 403
    assert browser.post(f"/case/999999/{path}").status_code == 404


def test_a_form_from_elsewhere_is_refused(browser: Client, scrape: Examination) -> None:
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = browser.cookies
    number = scrape.look.case.number
    sent = strict.post(f"/case/{number}/finding/", {"examination": scrape.pk, "set": "skin_costia 1 sure 0"})
    assert sent.status_code == 403
    assert not FindingEntry.objects.exists()


def test_the_short_list_is_shown_and_everything_else_can_be_reached(browser: Client, case: Case) -> None:
    shown: set[str] = set()
    for step in STEPS:
        if step.examinations and step.id in OURS:
            text = browser.get(f"/case/{case.number}/{step.id}/").content.decode()
            shown |= set(re.findall(r'data-finding="(\w+)"', text))
    assert shown >= set(reference().findings), set(reference().findings) - shown


def test_a_fin_clip_folds_what_a_scrape_shows() -> None:
    clip, scrape_kind = reference().examinations["fin_clip"], reference().examinations["skin_scrape"]
    short, rest = rows_of_kind(clip)
    assert [one.id for one in short] == list(clip.short_list)
    assert {one.id for one in rest} == {
        one.id for one in reference().findings.values() if one.examination == scrape_kind.id
    } - set(clip.short_list)


def test_typed_text_is_text(browser: Client, device: Device, case: Case) -> None:
    evil = '<script>alert("x")</script>"\'><img src=x onerror=alert(1)>'
    fish = looking.add_fish(device, case, name=evil[:60], note=evil, species=evil)
    browser.post(f"/case/{case.number}/note/", {"text": evil, "look": case.looks.get().pk})
    press(browser, case, "skin_costia 1 sure 0", **skin(case, fish))
    entry = FindingEntry.objects.get()
    browser.post(f"/case/{case.number}/entry/{entry.pk}/", {"level": 1, "sure": "sure", "note": evil})
    browser.post(f"/case/{case.number}/batch/", {"species": evil, "origin": evil})
    cases.change_case(device, case, title=evil, worries=evil, note=evil)
    paths = [f"/case/{case.number}/{step}/" for step in OURS] + [
        f"/case/{case.number}/", f"/case/{case.number}/fish/{fish.pk}/", f"/case/{case.number}/entry/{entry.pk}/",
        f"/case/{case.number}/examination/{entry.examination_id}/", f"/case/{case.number}/head/",
    ]  # fmt: skip
    for path in paths:
        text = browser.get(path).content.decode()
        assert "<script>alert" not in text, path
        assert "<img src=x" not in text, path
    assert "&lt;script&gt;" in browser.get(f"/case/{case.number}/").content.decode()


# --- one key ----------------------------------------------------------------------------------------------------------


def test_one_key_begins_the_examination_and_goes_back_to_its_row(browser: Client, device: Device, case: Case) -> None:
    fish = looking.add_fish(device, case, state="alive")
    answer = press(browser, case, "skin_costia 2 sure 0", **skin(case, fish))
    entry = FindingEntry.objects.get()
    assert (entry.finding, entry.level, entry.sure, entry.examination.fish) == ("skin_costia", 2, "sure", fish)
    assert answer.status_code == 302
    row = "skin_scrape-0-1-skin_costia"
    assert answer["Location"] == f"/case/{case.number}/skin/#{row}"
    text = browser.get(f"/case/{case.number}/skin/").content.decode()
    assert f'id="{row}"' in text
    assert f"skin_costia - sure {entry.version}" in text, "the pressed key sets back to not looked at"
    assert "Flickering flagellates on skin: many. Skin scrape, fish 1." in text


def test_the_first_entry_gives_a_case_without_fish_its_first(browser: Client, case: Case) -> None:
    for row in ("skin_costia 1 sure 0", "skin_trichodinid 0 sure 0"):
        assert press(browser, case, row, script=True, **skin(case)).status_code == 200
    assert Examination.objects.get().fish == case.fish.get()
    assert FindingEntry.objects.count() == 2


def test_a_tank_is_looked_at_once_and_needs_no_fish(browser: Client, case: Case) -> None:
    for row in ("flashing 1 sure 0", "lethargy 0 sure 0"):
        press(browser, case, row, kind="tank_look", look=case.looks.get().pk)
    look = Examination.objects.get()
    assert (look.fish, look.tank) == (None, case.tank)
    assert not case.fish.exists()


def test_the_same_key_again_is_not_looked_at(browser: Client, scrape: Examination) -> None:
    case = scrape.look.case
    press(browser, case, "skin_costia 0 sure 0", examination=scrape.pk)
    version = FindingEntry.objects.get().version
    press(browser, case, f"skin_costia - sure {version}", examination=scrape.pk)
    assert not FindingEntry.objects.exists()
    assert "skin_costia" not in {one.finding for one in gather_evidence(case_record(case), reference()).observations}


@pytest.mark.parametrize(
    "sent",
    ["", "skin_costia", "skin_costia 1 sure", "skin_costia 9 sure 0", "skin_costia 1 certain 0", "no_such 1 sure 0",
     "skin_costia -1 sure 0", "skin_costia 1 sure x", "skin_costia 1 sure " + "9" * 30, "skin_costia ٣ sure 0"],
)  # fmt: skip
def test_a_key_that_cannot_be_is_refused_in_words(browser: Client, scrape: Examination, sent: str) -> None:
    answer = press(browser, scrape.look.case, sent, examination=scrape.pk)
    assert answer.status_code == 422, sent
    assert 'role="alert"' in answer.content.decode()
    assert not FindingEntry.objects.exists()


def test_the_answer_to_a_script_is_pieces_of_the_page(browser: Client, scrape: Examination) -> None:
    case = scrape.look.case
    answer = press(browser, case, "skin_costia 2 sure 0", script=True, examination=scrape.pk)
    text = answer.content.decode()
    section = "skin_scrape-0-1"
    ids = re.findall(r'id="([^"]+)"(?: role="region" aria-label="Last entry")? data-live', text)
    assert ids == [f"{section}-skin_costia", f"{section}-saved", f"{section}-head", f"{section}-sweep", "tray"]
    page = browser.get(f"/case/{case.number}/skin/").content.decode()
    for id in ids:
        assert page.count(f'id="{id}"') == 1
    assert "How sure?" in text
    assert answer["X-Examination"] == str(scrape.pk)


def test_how_sure_is_asked_only_of_what_was_seen(browser: Client, scrape: Examination) -> None:
    case = scrape.look.case
    assert "How sure?<" not in press(browser, case, "skin_costia 0 sure 0", script=True, examination=scrape.pk
                                     ).content.decode().split('id="said"')[1].split("</p>")[0]  # fmt: skip
    version = FindingEntry.objects.get().version
    press(browser, case, f"skin_costia 1 sure {version}", examination=scrape.pk)
    version = FindingEntry.objects.get().version
    answer = press(browser, case, f"skin_costia 1 doubtful {version}", script=True, examination=scrape.pk)
    assert FindingEntry.objects.get().sure == "doubtful"
    text = answer.content.decode()
    assert '<use href="#f-doubt"/>' in text
    assert re.search(r'data-sure="doubtful" aria-pressed="true"', text)
    assert "few, doubtful" in text


def test_a_closed_case_takes_no_entry(browser: Client, device: Device, scrape: Examination) -> None:
    case = scrape.look.case
    cases.close_case(device, case)
    assert press(browser, case, "skin_costia 1 sure 0", examination=scrape.pk).status_code == 409
    assert not FindingEntry.objects.exists()
    text = browser.get(f"/case/{case.number}/skin/").content.decode()
    assert re.search(r'class="level[^>]*disabled', text)
    assert "Rest of the short list" not in text


# --- twice, and two devices -------------------------------------------------------------------------------------------


def test_an_entry_that_comes_twice_is_written_once(browser: Client, scrape: Examination) -> None:
    case, id = scrape.look.case, str(uuid.uuid4())
    first = press(browser, case, "skin_costia 1 sure 0", script=True, id=id, examination=scrape.pk)
    version = FindingEntry.objects.get().version
    press(browser, case, f"skin_costia 2 sure {version}", examination=scrape.pk)
    again = press(browser, case, "skin_costia 1 sure 0", script=True, id=id, examination=scrape.pk)
    assert (first.status_code, again.status_code) == (200, 200)
    assert FindingEntry.objects.get().level == 2, "the later entry stands"
    assert 'data-level="2"' in again.content.decode(), "and is what the page is told"
    for _ in range(2):
        browser.post(f"/case/{case.number}/note/", {"text": "Filter cleaned too hard", "id": id[:-4] + "aaaa"})
    assert case.notes.count() == 1


def test_an_entry_that_was_refused_may_come_again(browser: Client, scrape: Examination) -> None:
    case, id = scrape.look.case, str(uuid.uuid4())
    assert press(browser, case, "skin_costia 9 sure 0", id=id, examination=scrape.pk).status_code == 422
    assert not Received.objects.exists()
    assert press(browser, case, "skin_costia 1 sure 0", id=id, examination=scrape.pk).status_code == 302
    assert press(browser, case, "skin_costia 1 sure 0", id="1; drop", examination=scrape.pk).status_code == 422


def test_old_ids_are_forgotten(browser: Client, scrape: Examination) -> None:
    press(browser, scrape.look.case, "skin_costia 1 sure 0", id=str(uuid.uuid4()), examination=scrape.pk)
    later = Received.objects.get().at + entering.REMEMBERED_FOR
    assert entering.forget_old(later) == 0
    assert entering.forget_old(later + dt.timedelta(days=1)) == 1


def test_two_devices_are_asked_which_holds(
    browser: Client, phone_browser: Client, phone: Device, scrape: Examination
) -> None:
    case = scrape.look.case
    press(phone_browser, case, "skin_costia 1 sure 0", examination=scrape.pk)
    stands = FindingEntry.objects.get()
    answer = press(browser, case, "skin_costia 2 doubtful 0", script=True, examination=scrape.pk)
    assert answer.status_code == 409
    assert FindingEntry.objects.get().level == 1, "nothing was overwritten"
    text = answer.content.decode()
    assert "which holds?" in text
    assert "Tank phone" in text
    theirs, mine = re.findall(r'value="(skin_costia [^"]+)" data-keeps', text)
    assert theirs == f"skin_costia 1 sure {stands.version}"
    assert mine == f"skin_costia 2 doubtful {stands.version}"
    assert press(browser, case, theirs, examination=scrape.pk).status_code == 302
    assert FindingEntry.objects.get().level == 1
    assert press(browser, case, mine, examination=scrape.pk).status_code == 302
    assert (FindingEntry.objects.get().level, FindingEntry.objects.get().sure) == (2, "doubtful")


def test_without_a_script_the_question_is_a_page(browser: Client, phone_browser: Client, scrape: Examination) -> None:
    case = scrape.look.case
    press(phone_browser, case, "skin_costia 1 sure 0", examination=scrape.pk)
    answer = press(browser, case, "skin_costia 0 sure 0", examination=scrape.pk)
    assert answer.status_code == 409
    text = answer.content.decode()
    assert "Changed meanwhile" in text
    assert text.count("data-keeps") == 2
    assert "<!doctype html>" in text


def test_what_another_device_took_away_is_asked_about_too(
    browser: Client, phone_browser: Client, scrape: Examination
) -> None:
    case = scrape.look.case
    press(browser, case, "skin_costia 1 sure 0", examination=scrape.pk)
    version = FindingEntry.objects.get().version
    press(phone_browser, case, f"skin_costia - sure {version}", examination=scrape.pk)
    answer = press(browser, case, f"skin_costia 2 sure {version}", script=True, examination=scrape.pk)
    assert answer.status_code == 409
    theirs, mine = re.findall(r'value="(skin_costia [^"]+)" data-keeps', answer.content.decode())
    assert theirs == "skin_costia - sure 0"
    assert press(browser, case, mine, examination=scrape.pk).status_code == 302
    assert FindingEntry.objects.get().level == 2


def test_an_open_page_learns_that_another_device_wrote(
    browser: Client, phone_browser: Client, scrape: Examination
) -> None:
    case = scrape.look.case
    shown = re.search(r'data-touched="(\d+)"', browser.get(f"/case/{case.number}/skin/").content.decode())
    assert shown is not None
    asked = f"/case/{case.number}/touched/"
    assert browser.get(asked).content.decode() == shown[1]
    press(phone_browser, case, "skin_costia 1 sure 0", examination=scrape.pk)
    assert browser.get(asked).content.decode() != shown[1]


# --- the sweep --------------------------------------------------------------------------------------------------------


def test_the_sweep_names_what_it_sweeps_and_stays_on_the_list(browser: Client, scrape: Examination) -> None:
    case = scrape.look.case
    short = reference().examinations["skin_scrape"].short_list
    press(browser, case, "skin_costia 2 sure 0", examination=scrape.pk)
    press(browser, case, "skin_trichodinid 0 sure 0", examination=scrape.pk)
    page = browser.get(f"/case/{case.number}/skin/").content.decode()
    assert f"Sweeps {len(short) - 2}:" in page
    answer = browser.post(f"/case/{case.number}/sweep/", {"examination": scrape.pk}, **PIECES)
    swept = FindingEntry.objects.filter(sure="swept")
    assert {one.finding for one in swept} == set(short) - {"skin_costia", "skin_trichodinid"}
    assert {one.level for one in swept} == {0}
    text = answer.content.decode()
    assert text.count("level--swept") == len(short) - 2
    assert "You swept" in text
    assert "than the 1 you looked for one by one" in text
    observed = {one.finding: one for one in gather_evidence(case_record(case), reference()).observations}
    assert observed["skin_chilodonella"].detection < observed["skin_trichodinid"].detection, "swept counts for less"
    # a hatched key that is pressed becomes a proper look
    one = swept.get(finding="skin_chilodonella")
    press(browser, case, f"skin_chilodonella 0 sure {one.version}", examination=scrape.pk)
    assert FindingEntry.objects.get(finding="skin_chilodonella").sure == "sure"
    browser.post(f"/case/{case.number}/unsweep/", {"examination": scrape.pk, "back": f"/case/{case.number}/skin/"})
    assert {one.finding for one in FindingEntry.objects.all()} == {
        "skin_costia", "skin_trichodinid", "skin_chilodonella"
    }  # fmt: skip


def test_undo_takes_the_whole_sweep_back_and_then_the_entry_before(browser: Client, scrape: Examination) -> None:
    case = scrape.look.case
    press(browser, case, "skin_costia 2 sure 0", examination=scrape.pk)
    browser.post(f"/case/{case.number}/sweep/", {"examination": scrape.pk})
    browser.post(f"/case/{case.number}/undo/")
    assert [one.finding for one in FindingEntry.objects.all()] == ["skin_costia"]
    browser.post(f"/case/{case.number}/undo/")
    assert not FindingEntry.objects.exists()


def test_a_sweep_may_come_first_and_twice(browser: Client, case: Case) -> None:
    id = str(uuid.uuid4())
    for _ in range(2):
        assert browser.post(f"/case/{case.number}/sweep/", skin(case) | {"id": id}, **PIECES).status_code == 200
    assert Examination.objects.count() == 1
    assert FindingEntry.objects.count() == len(reference().examinations["skin_scrape"].short_list)


# --- fish, examinations, slides ---------------------------------------------------------------------------------------


def test_fish_and_the_state_of_their_bodies(browser: Client, case: Case) -> None:
    browser.post(f"/case/{case.number}/fish/", {"state": "found_dead"})
    fish = case.fish.get()
    values = {"name": "1", "state": "found_dead", "hours_dead": "5", "kept": "unchilled", "length": "6.2 cm"}
    assert browser.post(f"/case/{case.number}/fish/{fish.pk}/", values | {"seen": fish.version}).status_code == 302
    fish.refresh_from_db()
    assert (fish.hours_dead, fish.length) == (5.0, "6.2 cm")
    press(browser, case, "skin_costia 0 sure 0", **skin(case, fish))
    text = browser.get(f"/case/{case.number}/skin/").content.decode()
    assert "dead, 2 to 12 h" in text
    observed = gather_evidence(case_record(case), reference()).observations
    proper = reference().examinations["skin_scrape"].detection[0]
    assert next(one for one in observed if one.finding == "skin_costia").detection[0] < proper


@pytest.mark.parametrize(
    ("field", "value"),
    [("hours_dead", "-1"), ("hours_dead", "nan"), ("length", "6"), ("weight", "6 cm"), ("state", "asleep"),
     ("kept", "pickled"), ("name", "")],
)  # fmt: skip
def test_a_fish_that_cannot_be_is_refused(browser: Client, device: Device, case: Case, field: str, value: str) -> None:
    fish = looking.add_fish(device, case)
    values = {"name": "1", "state": "found_dead"} | {field: value}
    assert browser.post(f"/case/{case.number}/fish/{fish.pk}/", values).status_code == 422
    assert browser.get(f"/case/{case.number}/fish/{fish.pk}/").status_code == 200


def test_several_fish_each_with_their_own_scrape(browser: Client, device: Device, case: Case) -> None:
    first, second = looking.add_fish(device, case), looking.add_fish(device, case)
    press(browser, case, "skin_costia 1 sure 0", **skin(case, first))
    press(browser, case, "skin_costia 0 sure 0", **skin(case, second))
    assert {one.examination.fish: one.level for one in FindingEntry.objects.all()} == {first: 1, second: 0}
    for place, (fish, level) in enumerate(((first, "1"), (second, "0"))):
        text = browser.get(f"/case/{case.number}/skin/?fish={fish.pk}").content.decode()
        row = re.search(rf'id="skin_scrape-{place}-1-skin_costia"[^>]*data-level="(\d)"', text)
        assert row is not None
        assert row[1] == level


def test_a_second_scrape_of_the_same_fish(browser: Client, scrape: Examination) -> None:
    case = scrape.look.case
    answer = browser.post(f"/case/{case.number}/examination/", {"another": 1, "examination": scrape.pk})
    assert answer.status_code == 302
    assert Examination.objects.count() == 2
    text = browser.get(f"/case/{case.number}/skin/").content.decode()
    for place in (1, 2):
        assert f'id="skin_scrape-0-{place}-skin_costia"' in text


def test_slides_say_how_much_was_viewed(browser: Client, scrape: Examination) -> None:
    case = scrape.look.case
    url = f"/case/{case.number}/examination/{scrape.pk}/slide/"
    values = {"objective": "10x", "fields": "20", "count-skin_costia": "12", "site": "right flank"}
    assert browser.post(url, values).status_code == 302
    slide = Slide.objects.get()
    assert (slide.objective, slide.fields, slide.counts) == ("10x", 20, {"skin_costia": 12})
    text = browser.get(f"/case/{case.number}/skin/").content.decode()
    assert "20 fields at 10×" in text
    assert "counted: 12 counted in 20 fields" in text or "12 counted in 20 fields" in text
    assert browser.get(f"/case/{case.number}/examination/{scrape.pk}/").status_code == 200
    for wrong in ({"fields": "0"}, {"objective": "12x"}, {"count-skin_costia": "-3"}, {"fields": "many"}):
        assert browser.post(url, {"objective": "10x"} | wrong).status_code == 422
    browser.post(f"/case/{case.number}/slide/{slide.pk}/remove/")
    assert not Slide.objects.exists()


def test_an_examination_can_be_corrected_and_taken_away(browser: Client, device: Device, scrape: Examination) -> None:
    case = scrape.look.case
    other = looking.add_fish(device, case)
    values = {"fish": other.pk, "at": "2026-10-03T14:02", "site": "left side", "seen": scrape.version}
    assert browser.post(f"/case/{case.number}/examination/{scrape.pk}/", values).status_code == 302
    scrape.refresh_from_db()
    assert (scrape.fish, scrape.site) == (other, "left side")
    assert browser.post(f"/case/{case.number}/examination/{scrape.pk}/", {"fish": 999999}).status_code == 422
    press(browser, case, "skin_costia 1 sure 0", examination=scrape.pk)
    browser.post(f"/case/{case.number}/examination/{scrape.pk}/remove/")
    assert not FindingEntry.objects.exists()
    browser.post(f"/case/{case.number}/undo/")
    assert FindingEntry.objects.get().level == 1


def test_one_entry_with_its_note_and_numbers(browser: Client, scrape: Examination) -> None:
    case = scrape.look.case
    press(browser, case, "skin_costia 1 sure 0", examination=scrape.pk)
    entry = FindingEntry.objects.get()
    url = f"/case/{case.number}/entry/{entry.pk}/"
    assert browser.get(url).status_code == 200
    values = {"level": 2, "sure": "fairly", "seen_in": 2, "looked_at": 3, "note": "most near the tail"}
    assert browser.post(url, values | {"seen": entry.version}).status_code == 302
    entry.refresh_from_db()
    assert (entry.level, entry.sure, entry.seen_in, entry.note) == (2, "fairly", 2, "most near the tail")
    assert browser.post(url, values | {"seen_in": 4}).status_code == 422
    assert "in 2 of 3" in browser.get(f"/case/{case.number}/skin/").content.decode()


# --- history, numbers, first aid, water -------------------------------------------------------------------------------


def test_history_has_three_answers(browser: Client, case: Case) -> None:
    url = f"/case/{case.number}/answer/"
    for answer, stands in (("yes", "yes"), ("no", "no"), ("not_asked", "not asked")):
        version = HistoryAnswer.objects.values_list("version", flat=True).first() or 0
        sent = browser.post(url, {"set": f"crowded {answer} sure {version}"}, **PIECES)
        assert sent.status_code == 200
        assert HistoryAnswer.objects.get().answer == stands
    browser.post(url, {"set": f"crowded - sure {HistoryAnswer.objects.get().version}"})
    assert not HistoryAnswer.objects.exists()
    assert browser.post(url, {"set": "crowded perhaps sure 0"}).status_code == 422
    assert browser.post(url, {"set": "skin_costia yes sure 0"}).status_code == 422


def test_two_devices_on_one_answer(browser: Client, phone_browser: Client, case: Case) -> None:
    url = f"/case/{case.number}/answer/"
    phone_browser.post(url, {"set": "crowded yes sure 0"})
    answer = browser.post(url, {"set": "crowded no sure 0"}, **PIECES)
    assert answer.status_code == 409
    assert HistoryAnswer.objects.get().answer == "yes"
    assert "Tank phone" in answer.content.decode()
    mine = re.findall(r'value="(crowded [^"]+)" data-keeps="mine"', answer.content.decode())[0]
    browser.post(url, {"set": mine})
    assert HistoryAnswer.objects.get().answer == "no"


def test_numbers_are_graded_at_once(browser: Client, case: Case) -> None:
    url, look = f"/case/{case.number}/numbers/", case.looks.get()
    values = {"look": look.pk, "total": "24", "sick": "9", "dead": "1", "dead_today": "0"}
    text = browser.post(url, values, **PIECES).content.decode()
    assert "10 of 24 fish sick or dead (42%): some" in text
    assert Numbers.objects.get().total == 24
    assert browser.post(url, values | {"dead_today": "2"}).status_code == 422
    assert browser.post(url, values | {"total": "a few"}).status_code == 422


def test_first_aid_answers_at_once_and_keeps_the_other_answers(
    browser: Client, phone_browser: Client, case: Case
) -> None:
    url = f"/case/{case.number}/red-flag/"
    assert "no first aid is called for" in browser.get(f"/case/{case.number}/first-aid/").content.decode()
    text = browser.post(url, {"set": "gasping_surface yes sure 0"}, **PIECES).content.decode()
    assert 'class="counted"' in text
    phone_browser.post(url, {"set": "power_failure yes sure 0"})
    browser.post(url, {"set": "gasping_surface no sure 0"})
    case.refresh_from_db()
    assert case.red_flags == ["power_failure"]
    assert browser.post(url, {"set": "no_such yes sure 0"}).status_code == 422
    # what was entered raises a flag by itself
    press(browser, case, "gasping_surface 1 sure 0", kind="tank_look", look=case.looks.get().pk)
    assert "from what was entered" in browser.get(f"/case/{case.number}/first-aid/").content.decode()


def test_readings_are_graded_for_the_host_with_their_unit(browser: Client, case: Case) -> None:
    url, look = f"/case/{case.number}/reading/", case.looks.get()
    base = {"look": look.pk, "parameter": "nitrite"}
    text = browser.post(url, base | {"number": "1.6", "unit": UNITS_OF_NITRITE}, **PIECES).content.decode()
    reading = Reading.objects.get()
    assert (reading.value, reading.on) == ("1.6 mg/L NO2", look.on)
    assert "off--2" in text, "dangerous for fresh water, by the limits of the reference"
    changed = base | {"reading": reading.pk, "seen": reading.version}
    browser.post(url, changed | {"number": "0,02", "unit": "mg/L NO2"}, **PIECES)
    reading.refresh_from_db()
    assert reading.value == "0.02 mg/L NO2"
    refused = browser.post(url, changed | {"number": "lots", "unit": "mg/L NO2", "seen": reading.version}, **PIECES)
    assert refused.status_code == 422
    assert 'value="lots"' in refused.content.decode(), "what was typed is still there"
    assert 'aria-invalid="true"' in refused.content.decode()
    assert browser.post(url, base | {"number": "9 apples"}, **PIECES).status_code == 422
    browser.post(url, changed | {"seen": reading.version, "number": ""})
    assert not Reading.objects.exists()


def test_ammonia_is_judged_with_ph_and_temperature(browser: Client, case: Case) -> None:
    url, look = f"/case/{case.number}/reading/", case.looks.get()
    for parameter, number, unit in (("ammonia", "1", "mg/L N"), ("ph", "8.5", ""), ("temperature", "77", "°F")):
        text = browser.post(
            url, {"look": look.pk, "parameter": parameter, "number": number, "unit": unit}, **PIECES
        ).content.decode()
    assert "Un-ionised ammonia" in text
    # Emerson et al. 1975: pKa = 0.09018 + 2729.92 / T, so at 25 °C and pH 8.5 15.2 % of total ammonia is un-ionised
    share = 1 / (1 + 10 ** (0.09018 + 2729.92 / 298.15 - 8.5))
    assert f"{share:.3f} mg/L N" in text


def test_two_devices_on_one_reading(browser: Client, phone_browser: Client, case: Case) -> None:
    url, base = f"/case/{case.number}/reading/", {"look": case.looks.get().pk, "parameter": "ph"}
    browser.post(url, base | {"number": "7.0"})
    reading = Reading.objects.get()
    both = base | {"reading": reading.pk, "seen": reading.version}
    phone_browser.post(url, both | {"number": "7.4"})
    answer = browser.post(url, both | {"number": "7.8"}, **PIECES)
    assert answer.status_code == 409
    reading.refresh_from_db()
    assert reading.value == "7.4"
    text = answer.content.decode()
    assert "which holds?" in text
    version = re.findall(r'name="value" value="7.8"><input type="hidden" name="seen" value="(\d+)"', text)[0]
    browser.post(url, both | {"value": "7.8", "seen": version})
    reading.refresh_from_db()
    assert reading.value == "7.8"


def test_each_line_of_water_asks_in_the_unit_of_the_practice(browser: Client, case: Case) -> None:
    from wetmount.casebook.models import Setting

    Setting.objects.create(key="units", value={"temperature": "F", "gh": "mg/L CaCO3"})
    text = browser.get(f"/case/{case.number}/water/").content.decode()
    assert "<option selected>°F</option>" in text
    assert "<option selected>mg/L CaCO3</option>" in text


# --- looks, head, following up ----------------------------------------------------------------------------------------


def test_a_new_look_begins_empty_and_leaves_the_old_one(browser: Client, scrape: Examination) -> None:
    case = scrape.look.case
    press(browser, case, "skin_costia 2 sure 0", examination=scrape.pk)
    answer = browser.post(f"/case/{case.number}/look/", {"on": "2026-10-10"})
    new = Look.objects.latest("id")
    assert answer["Location"].endswith(f"?look={new.pk}")
    for look, level in ((new, ""), (scrape.look, "2")):
        text = browser.get(f"/case/{case.number}/skin/?look={look.pk}").content.decode()
        row = re.search(r'id="skin_scrape-\d+-1-skin_costia"[^>]*data-level="(\d?)"', text)
        assert row is not None
        assert row[1] == level
        assert f'href="/case/{case.number}/gill/?look={look.pk}"' in text, "the other steps stay in the look"
    assert browser.post(f"/case/{case.number}/look/", {"on": "2026-10-10"}).status_code == 422
    assert browser.post(f"/case/{case.number}/look/", {"on": "tomorrow"}).status_code == 422
    browser.post(f"/case/{case.number}/look/{new.pk}/", {"on": "2026-10-11", "note": "calmer"})
    new.refresh_from_db()
    assert (new.on.isoformat(), new.note) == ("2026-10-11", "calmer")
    browser.post(f"/case/{case.number}/look/{new.pk}/remove/")
    assert case.looks.count() == 1


def test_the_head_of_the_case(browser: Client, case: Case) -> None:
    assert browser.get(f"/case/{case.number}/head/").status_code == 200
    values = {"title": "Rainbowfish", "which_fish": "A4", "species": "Melanotaenia boesemani", "worries": "Rubbing",
              "opened": "2026-10-02", "tank": case.tank_id}  # fmt: skip
    assert browser.post(f"/case/{case.number}/head/", values).status_code == 302
    case.refresh_from_db()
    assert (case.title, case.opened.isoformat(), case.room_id) == ("Rainbowfish", "2026-10-02", case.tank.room_id)
    for wrong in ({"title": " "}, {"opened": ""}, {"host_group": "whales"}, {"tank": "999999"}, {"keeper": "x"}):
        assert browser.post(f"/case/{case.number}/head/", values | wrong).status_code == 422, wrong


def test_following_up_and_back_again(browser: Client, case: Case) -> None:
    task = {"kind": "look_again", "title": "Look again", "due_on": "2026-10-07"}
    assert browser.post(f"/case/{case.number}/task/", task).status_code == 302
    assert browser.post(f"/case/{case.number}/task/", task | {"due_on": ""}).status_code == 422
    row = case.tasks.get()
    browser.post(f"/case/{case.number}/task/{row.pk}/")
    row.refresh_from_db()
    assert row.done_at is not None
    cause = {"condition": "costia", "standing": "confirmed"}
    known = next(id for id in reference().conditions)
    browser.post(f"/case/{case.number}/cause/", cause | {"condition": known})
    assert case.causes.get().standing == "confirmed"
    target = {"set": "flashing 1 sure 0", "kind": "tank_look", "look": case.looks.get().pk}
    for away in ("https://evil.example/", "//evil.example", "/case/999/", "\\\\evil", f"/case/{case.number}/\\x"):
        answer = browser.post(f"/case/{case.number}/finding/", target | {"back": away})
        assert answer["Location"] == f"/case/{case.number}/"


# --- the number of queries does not grow with what is on a page -------------------------------------------------------


def queries(client: Client, path: str) -> int:
    client.get(path)
    with CaptureQueriesContext(
        connection,
    ) as caught:
        assert client.get(path).status_code == 200
    return len(caught)


def test_query_counts_do_not_grow_with_rows(browser: Client, device: Device, scrape: Examination) -> None:
    case = scrape.look.case
    paths = [f"/case/{case.number}/", *(f"/case/{case.number}/{step}/" for step in OURS)]
    before = {path: queries(browser, path) for path in paths}
    for kind in ("skin_scrape", "gill_scrape", "in_hand", "tank_look", "dissection", "lab_pcr", "water_test"):
        row = reference().examinations[kind]
        for _ in range(2):
            examination = looking.add_examination(device, scrape.look, kind, fish=scrape.fish)
            looking.sweep_rest(device, examination)
            looking.add_slide(device, examination, objective="10x", fields=20)
            looking.record_finding(device, examination, row.short_list[0], 1)
    for finding in ("crowded", "mixed_origin", "new_system"):
        looking.answer_history(device, case, finding, "yes")
    for parameter, number in (("ph", "7.4"), ("ph", "7.2"), ("nitrite", "0.3 mg/L NO2"), ("temperature", "25 C")):
        browser.post(f"/case/{case.number}/reading/", {"look": scrape.look.pk, "parameter": parameter, "value": number})
    for number in range(3):
        browser.post(f"/case/{case.number}/note/", {"text": f"note {number}", "look": scrape.look.pk})
    after = {path: queries(browser, path) for path in paths}
    # A page with entries asks for its undo bar and the record of the case, some queries whatever their number.
    for path in paths:
        assert after[path] <= before[path] + 20, path
    for kind in ("skin_scrape", "gill_scrape", "in_hand", "tank_look", "dissection", "lab_pcr", "water_test"):
        examination = looking.add_examination(device, scrape.look, kind, fish=scrape.fish)
        looking.sweep_rest(device, examination)
    for number in range(5):
        browser.post(f"/case/{case.number}/note/", {"text": f"more {number}", "look": scrape.look.pk})
        browser.post(f"/case/{case.number}/reading/", {"look": scrape.look.pk, "parameter": "gh", "value": "8 dGH"})
    assert {path: queries(browser, path) for path in paths} == after
