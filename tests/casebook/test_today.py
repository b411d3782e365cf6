"""Today: what is due, marking it, a new case, carrying on; and the quick pages."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from wetmount.casebook import clock
from wetmount.casebook.due import head_sentence
from wetmount.casebook.models import Act, Case, Device, Examination, FindingEntry, FishRoom, Reading, Tank, TaskDue
from wetmount.casebook.services import cases, keeping, looking

HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>"
PAGES = ("/", "/new/", "/task/new/", "/quick/water/", "/quick/signs/", "/quick/first-aid/")
pytestmark = pytest.mark.django_db


def day(n: int) -> dt.date:
    return clock.today() + dt.timedelta(days=n)


@pytest.fixture
def task(device: Device, case: Case) -> TaskDue:
    return keeping.add_task(device, "look_again", "Scrape again", day(-2), case=case, detail="Fish 1")


def text(response: Any) -> str:
    return response.content.decode()


# --- every page -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", PAGES)
def test_pages_open_and_strangers_are_told_nothing(browser: Client, stranger: Client, case: Case, path: str) -> None:
    assert browser.get(path).status_code == 200
    assert "<html" not in text(browser.get(path, HTTP_HX_REQUEST="true"))
    refused = stranger.get(path)
    assert refused.status_code == 403
    assert case.title not in text(refused)


def test_wrong_methods(browser: Client, task: TaskDue) -> None:
    for path in ("/", "/quick/signs/", "/quick/first-aid/"):
        assert browser.post(path).status_code == 405, path
    for path in (f"/task/{task.pk}/", "/undo/1/"):
        assert browser.get(path).status_code == 405, path


def test_an_empty_casebook(browser: Client) -> None:
    page = text(browser.get("/"))
    assert "Nothing is due today." in page
    assert "No case is open." in page


def test_hostile_text_is_text(browser: Client, device: Device, room: FishRoom) -> None:
    tank = keeping.add_tank(device, room, HOSTILE[:60])
    case = cases.open_case(device, which_fish=HOSTILE, worries=HOSTILE, tank=tank, species=HOSTILE[:80])
    keeping.add_batch(device, HOSTILE, room, origin=HOSTILE)
    keeping.add_task(device, "news", HOSTILE, day(0), case=case, detail=HOSTILE)
    pages = [*PAGES, f"/new/?tank={tank.pk}", f"/new/?which={HOSTILE}", f"/quick/signs/?host={HOSTILE}",
             f"/task/new/?case={case.number}", f"/task/new/?title={HOSTILE}"]  # fmt: skip
    for path in pages:
        page = text(browser.get(path))
        assert "<script>alert" not in page, path
        assert "<img" not in page, path
    for path in ("/quick/water/", "/task/new/"):
        shown = text(
            browser.post(path, {"host": HOSTILE, "ph": HOSTILE, "tank": HOSTILE, "what": "keep", "title": HOSTILE})
        )
        assert "<script>alert" not in shown, path


# --- what is due ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("now", "late", "said"),
    [
        (0, 0, "Nothing is due today."),
        (4, 2, "Four things are for today. Two more are late."),
        (1, 0, "One thing is for today."),
        (0, 1, "One is late."),
        (13, 0, "13 things are for today."),
    ],
)
def test_the_sentence_at_the_head(now: int, late: int, said: str) -> None:
    assert head_sentence(now, late) == said


def test_late_today_awaited_and_ahead(browser: Client, device: Device, case: Case, tank: Tank, task: TaskDue) -> None:
    keeping.add_task(device, "water_change", "Change a quarter", day(0), system=tank.system, due_at=dt.time(18))
    keeping.add_task(device, "result", "Culture", day(30), case=case)
    keeping.add_task(device, "quarantine", "End of quarantine", day(3), tank=tank)
    keeping.add_task(device, "dose", "Far ahead", day(12), tank=tank)
    page = text(browser.get("/"))
    assert "One thing is for today. One more is late." in page
    for words in ("2 days late", "at 18:00", "30 days to go", "3 days to go", "In the next 7 days", "Awaited"):
        assert words in page
    assert "<strong>Far ahead" not in page


def test_tasks_of_a_deleted_case_are_gone(browser: Client, device: Device, case: Case, task: TaskDue) -> None:
    cases.delete_case(device, case)
    assert "Scrape again" not in text(browser.get("/"))
    assert browser.post(f"/task/{task.pk}/", {"what": "done"}).status_code == 404


def test_done_and_taken_back(browser: Client, device: Device, task: TaskDue) -> None:
    assert browser.post(f"/task/{task.pk}/", {"what": "done"}).status_code == 302
    task.refresh_from_db()
    assert task.done_at is not None
    page = text(browser.get("/"))
    assert "Scrape again: done" in page
    last = Act.objects.latest("id")
    browser.post(f"/undo/{last.pk}/")
    task.refresh_from_db()
    assert task.done_at is None


def test_put_off_by_days_and_to_a_date(browser: Client, task: TaskDue) -> None:
    browser.post(f"/task/{task.pk}/", {"what": "put_off", "days": "3", "seen": task.version})
    task.refresh_from_db()
    assert task.due_on == day(3)
    browser.post(f"/task/{task.pk}/", {"what": "put_off", "on": day(20).isoformat(), "seen": task.version})
    task.refresh_from_db()
    assert task.due_on == day(20)
    for wrong in ({"on": day(0).isoformat()}, {"on": "soon"}, {"days": "2"}, {}):
        assert browser.post(f"/task/{task.pk}/", {"what": "put_off", **wrong}).status_code == 422, wrong
    task.refresh_from_db()
    assert task.due_on == day(20)


def test_putting_off_what_another_device_put_off(browser: Client, phone: Device, task: TaskDue) -> None:
    shown = task.version
    keeping.change_task(phone, task, due_on=day(9))
    assert browser.post(f"/task/{task.pk}/", {"what": "put_off", "days": "1", "seen": shown}).status_code == 409


def test_called_off_says_so(browser: Client, task: TaskDue) -> None:
    browser.post(f"/task/{task.pk}/", {"what": "called_off"})
    task.refresh_from_db()
    assert task.done_at is not None
    assert task.outcome == "called off"
    assert "Scrape again: called off" in text(browser.get("/"))


def test_a_task_of_a_closed_case_can_be_done_and_taken_back(
    browser: Client, device: Device, case: Case, task: TaskDue
) -> None:
    cases.close_case(device, case)
    browser.post(f"/task/{task.pk}/", {"what": "done"})
    browser.post(f"/undo/{Act.objects.latest('id').pk}/")
    task.refresh_from_db()
    assert task.done_at is None


def test_no_such_task_and_no_such_mark(browser: Client, task: TaskDue) -> None:
    assert browser.post("/task/999999/", {"what": "done"}).status_code == 404
    assert browser.post(f"/task/{task.pk}/", {"what": "eaten"}).status_code == 422


def test_undo_takes_back_only_what_is_shown(browser: Client, phone: Device, task: TaskDue) -> None:
    first = Act.objects.latest("id")
    other = keeping.add_task(phone, "dose", "By the phone", day(0))
    assert browser.post(f"/undo/{other.version}/").status_code == 404, "an act of another device"
    browser.post(f"/task/{task.pk}/", {"what": "done"})
    assert browser.post(f"/undo/{first.pk}/").status_code == 422, "no longer the last"
    assert browser.post("/undo/999999/").status_code == 404


def test_a_task_is_set(browser: Client, case: Case, tank: Tank) -> None:
    sent = {"kind": "dose", "title": "", "on": day(1).isoformat(), "at": "18:30", "for": "A4"}
    assert browser.post("/task/new/", sent).status_code == 302
    task = TaskDue.objects.get()
    assert (task.title, task.tank, task.due_at) == ("Dose", tank, dt.time(18, 30))
    browser.post("/task/new/", sent | {"for": "", "case": str(case.number), "title": "Again"})
    assert case.tasks.get().title == "Again"
    for wrong in ({"on": "x"}, {"at": "25:99"}, {"for": "Z9"}, {"kind": "eat"}, {"title": "x" * 301}):
        assert browser.post("/task/new/", sent | wrong).status_code == 422, wrong
    assert browser.get("/task/new/?case=999").status_code == 404
    assert TaskDue.objects.count() == 2


# --- a new case, carry on ---------------------------------------------------------------------------------------------


def test_a_case_needs_which_fish_and_what_worries(browser: Client) -> None:
    assert browser.post("/new/", {"which": "the red ones", "worries": "They rub"}).status_code == 302
    case = Case.objects.get()
    assert (case.which_fish, case.title, case.tank, case.species) == ("the red ones", "They rub", None, "")
    for sent in ({"which": "x"}, {"worries": "x"}, {"which": " ", "worries": " "}):
        assert browser.post("/new/", sent).status_code == 422
    assert Case.objects.count() == 1


def test_a_tank_brings_its_room_and_its_fish(browser: Client, device: Device, tank: Tank) -> None:
    batch = keeping.add_batch(device, "Boeseman rainbowfish", tank.room, origin="North", number=20)
    keeping.move_fish(device, batch, tank, day(-5))
    page = browser.get(f"/new/?tank={tank.pk}")
    assert 'value="A4, Harbour Row Fish Room"' in text(page)
    browser.post("/new/", {"which": "A4, Harbour Row Fish Room", "worries": "Rubbing", "tank": tank.pk})
    case = Case.objects.get()
    assert (case.tank, case.room, case.system, case.batch) == (tank, tank.room, tank.system, batch)
    assert (case.species, case.host_group) == ("Boeseman rainbowfish", "rainbowfish")


@pytest.mark.parametrize(
    ("which", "species", "group"),
    [("a4", "", ""), ("Neon Tetra", "neon tetra", "tetra"), ("Paracheirodon innesi", "neon tetra", "tetra"),
     ("guppy from East", "guppy", "livebearer")],
)  # fmt: skip
def test_what_was_typed_is_recognised(
    browser: Client, device: Device, tank: Tank, which: str, species: str, group: str
) -> None:
    keeping.add_batch(device, "guppy", tank.room, origin="East")
    browser.post("/new/", {"which": which, "worries": "Dull"})
    case = Case.objects.get()
    assert (case.species, case.host_group) == (species, group)
    assert (case.tank == tank) is (which == "a4")


def test_a_name_that_two_rooms_use_needs_its_room(browser: Client, device: Device, tank: Tank) -> None:
    other = keeping.add_tank(device, keeping.add_room(device, "Other room"), "A4")
    browser.post("/new/", {"which": "A4", "worries": "Dull"})
    browser.post("/new/", {"which": "A4, Other room", "worries": "Dull"})
    assert list(Case.objects.order_by("number").values_list("tank", flat=True)) == [None, other.pk]


def test_first_aid_flags_go_into_the_case(browser: Client) -> None:
    browser.post("/new/", {"which": "A4", "worries": "Gasping", "flag": ["gasping_surface", "pump_failure"]})
    assert set(Case.objects.get().red_flags) == {"gasping_surface", "pump_failure"}
    assert browser.post("/new/", {"which": "B", "worries": "x", "flag": "hunger"}).status_code == 422
    assert Case.objects.count() == 1


def test_carry_on_is_the_case_touched_last_at_its_step(
    browser: Client, device: Device, open_case: Callable[..., Case], case: Case, scrape: Examination
) -> None:
    other = open_case(title="Another one")
    looking.record_finding(device, scrape, "skin_costia", 2)
    looking.record_finding(device, scrape, "skin_chilodonella", 0)
    cases.set_step(case, "skin")
    page = text(browser.get("/"))
    assert f'href="/case/{case.number}/skin/"' in page
    assert "Skin scrape, fish 1: 2 of 12 looked at." in page
    cases.close_case(device, case)
    page = text(browser.get("/"))
    assert f'href="/case/{other.number}/first-aid/"' in page


def test_queries_do_not_grow_with_tasks(browser: Client, device: Device, open_case: Callable[..., Case]) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            browser.get("/")
        return len(seen)

    for n in range(10):
        keeping.add_task(device, "dose", f"Task {n}", day(n % 5 - 2), case=open_case())
    ten = queries()
    for n in range(10):
        keeping.add_task(device, "dose", f"Task {n}", day(n % 5 - 2), case=open_case())
    assert queries() == ten


# --- quick work -------------------------------------------------------------------------------------------------------


def test_water_is_judged_and_not_kept(browser: Client) -> None:
    sent = {
        "host": "discus",
        "temperature": "28",
        "ph": "8.2",
        "ammonia": "1.0",
        "ammonia_unit": "mg/L N",
        "what": "judge",
    }
    page = text(browser.post("/quick/water/", sent))
    # Emerson et al. 1975: pKa = 0.09018 + 2729.92 / 301.15 K = 9.155; 1 / (1 + 10 ** (9.155 - 8.2)) = 0.0998.
    assert "Do not raise the pH" in page
    assert "<b>0.0998 mg/L N</b>" in page
    assert Reading.objects.count() == 0


def test_a_unit_typed_with_the_number_counts(browser: Client) -> None:
    page = text(browser.post("/quick/water/", {"temperature": "77 F", "temperature_unit": "K"}))
    assert "<b>25 °C</b>" in page


def test_what_cannot_be_is_said_at_its_field(browser: Client) -> None:
    answer = browser.post("/quick/water/", {"ph": "74", "nitrite": "1,5"})
    assert answer.status_code == 422
    page = text(answer)
    assert 'aria-describedby="ph-wrong"' in page
    assert 'id="nitrite-wrong"' in page
    assert "judged for any fish" in text(browser.post("/quick/water/", {"ph": "7", "host": "unicorn"}))


def test_readings_are_kept_with_a_tank_all_or_none(browser: Client, tank: Tank) -> None:
    sent = {"nitrite": "0.8", "nitrite_unit": "mg/L NO2", "ph": "7.4", "tank": "A4", "what": "keep"}
    assert browser.post("/quick/water/", sent).url == f"/rooms/{tank.room_id}/?tank={tank.pk}"
    assert set(Reading.objects.values_list("parameter", "value", "tank")) == {
        ("nitrite", "0.8 mg/L NO2", tank.pk), ("ph", "7.4", tank.pk)}  # fmt: skip
    for wrong in ({"tank": ""}, {"tank": "Z9"}, {"ph": "99"}, {"ph": "", "nitrite": ""}):
        assert browser.post("/quick/water/", sent | wrong).status_code == 422, wrong
    assert Reading.objects.count() == 2


def test_a_few_signs_are_weighed_as_the_core_does(browser: Client) -> None:
    from wetmount.case import Case as Record
    from wetmount.case import Host, Look
    from wetmount.evidence import gather_evidence
    from wetmount.reference import load_reference
    from wetmount.weighup import weigh_up

    page = text(browser.get("/quick/signs/?host=guppy&skin_ich_trophont=2&white_spots_discrete=2&flashing=0&worms=x"))
    looks = (Look(findings={"skin_ich_trophont": "many", "white_spots_discrete": "many", "flashing": "absent"}),)
    record = Record(format=1, host=Host(species="Poecilia reticulata"), looks=looks)
    first = weigh_up(gather_evidence(record, load_reference()), load_reference()).conditions[0]
    assert first.id == "ich"
    assert page.index(first.name) < page.index("What was weighed")
    assert "2 seen, 3 looked for in all, in guppy." in page
    assert "redraws of the tables" in page
    assert "White spot (ich) stays first" in page


def test_nothing_said_is_not_weighed(browser: Client) -> None:
    assert "redraws" not in text(browser.get("/quick/signs/?flashing=&lethargy=9&host="))
    assert "There is no species or host group" in text(browser.get("/quick/signs/?host=unicorn&flashing=1"))


def test_first_aid_without_a_case(browser: Client) -> None:
    page = text(browser.get("/quick/first-aid/?flag=gasping_surface&flag=nothing"))
    assert "Do this now" in page
    assert "/new/?flag=gasping_surface" in page
    assert "Do this now" not in text(browser.get("/quick/first-aid/"))


# --- no news, and signs weighed before there was a case --------------------------------------------------------------


def test_an_open_case_without_news_is_asked_after(browser: Client, device: Device, case: Case) -> None:
    """Common practice, no source: two weeks without a word, and nobody waiting for any."""
    assert "No news" not in text(browser.get("/"))
    Case.objects.filter(pk=case.pk).update(touched_at=clock.now() - dt.timedelta(days=18))
    page = text(browser.get("/"))
    assert "Nothing written for 18 days" in page
    keeping.add_task(device, "news", "Ask how they are", day(3), case=case)
    Case.objects.filter(pk=case.pk).update(touched_at=clock.now() - dt.timedelta(days=18))
    assert "Nothing written" not in text(browser.get("/"))


def test_signs_weighed_go_into_a_new_case(browser: Client) -> None:
    """A level seen and one looked for and not seen are kept as such; what was not looked at stays so."""
    signs = {"flashing": "2", "skin_costia": "0", "no_such_finding": "1", "lethargy": ""}
    page = text(browser.get("/quick/signs/", {"host": "platy", **signs}))
    assert "New case with these" in page
    form = text(browser.get("/new/", {"which": "platy", **signs}))
    assert "With the 2 signs you weighed" in form
    answer = browser.post("/new/", {"which": "platy", "worries": "rubbing", **signs})
    assert answer.status_code == 302
    case = Case.objects.get()
    kept = {
        (one.examination.kind, one.finding): one.level
        for one in FindingEntry.objects.filter(examination__look__case=case)
    }
    assert kept == {("tank_look", "flashing"): 2, ("skin_scrape", "skin_costia"): 0}
    assert case.fish.count() == 1
    assert Examination.objects.get(kind="skin_scrape").fish == case.fish.get()
