"""Acts: saved whole, recorded, undone in order, refused on a closed case, never overwriting another device silently."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client

from wetmount.casebook import clock
from wetmount.casebook.models import (
    Act,
    Case,
    Change,
    Device,
    Examination,
    FindingEntry,
    FishRoom,
    Numbers,
    Reading,
    Tank,
)
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, keeping, looking, undo
from wetmount.casebook.services.refusals import CaseClosed, Conflict, Refused


@pytest.fixture
def organism() -> str:
    """A finding of the skin scrape's short list that has the levels absent, few, many."""
    tables = reference()
    short = tables.examinations["skin_scrape"].short_list
    return next(one for one in short if tables.findings[one].levels == ("absent", "few", "many"))


def states(scrape: Examination) -> dict[str, tuple[int, str]]:
    return {one.finding: (one.level, one.sure) for one in FindingEntry.objects.filter(examination=scrape)}


def test_a_case_needs_only_which_fish_and_what_worries(open_case: Callable[..., Case]) -> None:
    case = open_case(which_fish="platies in C7", worries="red worms at the vent")
    assert case.title == "red worms at the vent"
    assert case.number == 1
    assert open_case().number == 2
    assert case.looks.get().on == dt.date(2026, 10, 3)


@pytest.mark.parametrize("missing", ["which_fish", "worries"])
def test_a_case_without_either_is_refused_whole(open_case: Callable[..., Case], missing: str) -> None:
    with pytest.raises(Refused):
        open_case(**{missing: "  "})
    assert not Case.all_cases.exists()
    assert not Act.objects.filter(kind="open_case").exists()


def test_not_looked_at_not_seen_and_seen_are_three_things(device: Device, scrape: Examination, organism: str) -> None:
    assert organism not in states(scrape)
    looking.record_finding(device, scrape, organism, 0)
    assert states(scrape)[organism] == (0, "sure")
    looking.record_finding(device, scrape, organism, 2, sure="doubtful")
    assert states(scrape)[organism] == (2, "doubtful")
    looking.record_finding(device, scrape, organism, None)
    assert organism not in states(scrape)


def test_every_change_says_who_what_before_after_and_when(
    device: Device, phone: Device, scrape: Examination, organism: str
) -> None:
    before = clock.now()
    entry = looking.record_finding(device, scrape, organism, 1)
    assert entry is not None
    looking.record_finding(phone, scrape, organism, 2)
    looking.record_finding(phone, scrape, organism, None)
    made, changed, gone = Change.objects.filter(table="findingentry", entry=entry.pk)
    assert (made.before, made.after["level"], made.after["finding"]) == (None, 1, organism)
    assert (changed.before["level"], changed.after["level"]) == (1, 2)
    assert "finding" not in changed.after, "only what changed is in a change"
    assert (gone.before["level"], gone.after) == (2, None)
    assert [change.act.device for change in (made, changed, gone)] == [device, phone, phone]
    assert all(before <= change.act.at <= clock.now() for change in (made, changed, gone))
    assert {change.act.case_id for change in (made, changed, gone)} == {scrape.look.case_id}


def test_an_entry_that_changes_nothing_leaves_no_act(device: Device, scrape: Examination, organism: str) -> None:
    looking.record_finding(device, scrape, organism, 1)
    acts = Act.objects.count()
    looking.record_finding(device, scrape, organism, 1)
    assert Act.objects.count() == acts


@pytest.mark.parametrize("what", ["UPDATE casebook_{} SET id = id", "DELETE FROM casebook_{}"])
@pytest.mark.parametrize("table", ["act", "change"])
def test_the_database_refuses_to_alter_the_record(case: Case, table: str, what: str) -> None:
    with pytest.raises(DatabaseError, match="only ever added to"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(what.format(table))


def test_an_unknown_level_finding_or_sureness_is_refused(device: Device, scrape: Examination, organism: str) -> None:
    for finding, level, sure in ((organism, 3, "sure"), ("no_such_finding", 1, "sure"), (organism, 1, "swept")):
        with pytest.raises(Refused):
            looking.record_finding(device, scrape, finding, level, sure=sure)
    assert states(scrape) == {}


# --- the sweep --------------------------------------------------------------------------------------------------------


def test_the_sweep_takes_the_rest_of_the_short_list_and_nothing_else(
    device: Device, scrape: Examination, organism: str
) -> None:
    short = reference().examinations["skin_scrape"].short_list
    looking.record_finding(device, scrape, organism, 2)
    named = [row.id for row in looking.to_sweep(scrape)]
    swept = looking.sweep_rest(device, scrape)
    assert [one.finding for one in swept] == named == [one for one in short if one != organism]
    assert states(scrape) == dict.fromkeys(named, (0, "swept")) | {organism: (2, "sure")}
    proper = looking.record_finding(device, scrape, named[0], 0)
    assert proper is not None
    assert not proper.swept, "pressing a swept key makes it a proper look"
    assert looking.take_sweep_back(device, scrape) == len(named) - 1
    assert states(scrape) == {organism: (2, "sure"), named[0]: (0, "sure")}


def test_undo_takes_a_sweep_back_in_one(device: Device, scrape: Examination) -> None:
    looking.sweep_rest(device, scrape)
    undo.undo_last(device, scrape.look.case)
    assert states(scrape) == {}


def test_history_is_asked_not_swept(device: Device, case: Case) -> None:
    asking = looking.add_examination(device, case.looks.get(), "asking")
    assert all(row.kind != "cause" for row in looking.to_sweep(asking))


# --- undo -------------------------------------------------------------------------------------------------------------


def test_undo_goes_back_in_order(device: Device, scrape: Examination, organism: str) -> None:
    case, tables = scrape.look.case, reference()
    other = next(one for one in tables.examinations["skin_scrape"].short_list if one != organism)
    looking.record_finding(device, scrape, organism, 1)
    looking.record_finding(device, scrape, organism, 2)
    looking.record_finding(device, scrape, other, 0)
    seen = []
    for _ in range(3):
        undo.undo_last(device, case)
        seen.append(states(scrape))
    assert seen == [{organism: (2, "sure")}, {organism: (1, "sure")}, {}]
    assert Act.objects.filter(kind="undo").count() == 3, "undoing is recorded too"


def test_undo_brings_a_removed_examination_back_with_all_it_found(
    device: Device, scrape: Examination, organism: str
) -> None:
    looking.record_finding(device, scrape, organism, 2, sure="fairly", note="dense at the fins")
    before = states(scrape)
    pk = scrape.pk
    looking.remove_examination(device, scrape)
    assert not Examination.objects.filter(pk=pk).exists()
    undo.undo_last(device, scrape.look.case)
    assert states(Examination.objects.get(pk=pk)) == before
    assert FindingEntry.objects.get(examination=pk).note == "dense at the fins"


def test_undo_leaves_what_another_device_wrote(
    device: Device, phone: Device, scrape: Examination, organism: str
) -> None:
    case = scrape.look.case
    looking.record_finding(device, scrape, organism, 1)
    looking.record_finding(phone, scrape, organism, 2)
    with pytest.raises(Refused, match="changed since"):
        undo.undo_last(device, case)
    assert states(scrape)[organism] == (2, "sure")
    undo.undo_last(phone, case)
    undo.undo_last(device, case)
    assert states(scrape) == {}


def test_an_act_is_taken_back_once(device: Device, scrape: Examination, organism: str) -> None:
    looking.record_finding(device, scrape, organism, 1)
    act = undo.last_act(device, scrape.look.case)
    assert act is not None
    undo.take_back(device, act)
    with pytest.raises(Refused, match="already"):
        undo.take_back(device, act)


def test_undo_does_not_close_open_or_import(device: Device, open_case: Callable[..., Case]) -> None:
    case = open_case()
    assert undo.undo_last(device, case) is None
    assert Case.objects.filter(pk=case.pk).exists()


def test_a_fish_taken_off_comes_back_with_its_examinations(device: Device, scrape: Examination) -> None:
    fish = scrape.fish
    looking.remove_fish(device, fish)
    scrape.refresh_from_db()
    assert scrape.fish is None
    undo.undo_last(device, scrape.look.case)
    scrape.refresh_from_db()
    assert scrape.fish == fish


# --- two devices ------------------------------------------------------------------------------------------------------


def test_two_devices_on_one_entry_never_overwrite_silently(
    device: Device, phone: Device, scrape: Examination, organism: str
) -> None:
    shown = looking.record_finding(device, scrape, organism, 1)
    assert shown is not None
    looking.record_finding(phone, scrape, organism, 2, seen=shown.version)
    with pytest.raises(Conflict) as caught:
        looking.record_finding(device, scrape, organism, 0, seen=shown.version)
    now, yours = caught.value.now, caught.value.yours
    assert (now.values["level"], now.who, yours.values["level"], yours.who) == (2, "Tank phone", 0, "this computer")
    assert states(scrape)[organism] == (2, "sure")
    kept = looking.record_finding(device, scrape, organism, 0, seen=caught.value.version)
    assert kept is not None
    assert states(scrape)[organism] == (0, "sure"), "having seen both, one may choose"


def test_both_looked_at_nothing_yet_and_both_wrote(
    device: Device, phone: Device, scrape: Examination, organism: str
) -> None:
    looking.record_finding(phone, scrape, organism, 2, seen=0)
    with pytest.raises(Conflict):
        looking.record_finding(device, scrape, organism, 1, seen=0)
    assert looking.record_finding(device, scrape, organism, 2, seen=0), "the same entry twice is no conflict"


def test_one_took_away_what_the_other_changes(
    device: Device, phone: Device, scrape: Examination, organism: str
) -> None:
    shown = looking.record_finding(device, scrape, organism, 1)
    assert shown is not None
    looking.record_finding(phone, scrape, organism, None, seen=shown.version)
    with pytest.raises(Conflict) as caught:
        looking.record_finding(device, scrape, organism, 2, seen=shown.version)
    assert caught.value.now.values is None
    assert caught.value.now.who == "Tank phone"


def test_the_head_of_a_case_has_a_version_too(device: Device, phone: Device, case: Case) -> None:
    seen = case.version
    cases.change_case(phone, case, seen=seen, title="Rainbowfish off food")
    with pytest.raises(Conflict):
        cases.change_case(device, case, seen=seen, title="Rainbowfish gasping")
    assert Case.objects.get(pk=case.pk).title == "Rainbowfish off food"


# --- closed, deleted --------------------------------------------------------------------------------------------------


def test_a_closed_case_is_locked_and_takes_addenda(device: Device, scrape: Examination, organism: str) -> None:
    case = scrape.look.case
    looking.record_finding(device, scrape, organism, 1)
    with pytest.raises(Refused, match="open"):
        cases.add_addendum(device, case, "Sent to the laboratory after all.")
    case = cases.close_case(device, case, on=dt.date(2026, 10, 20))
    tries = (
        lambda: looking.record_finding(device, scrape, organism, 2),
        lambda: looking.sweep_rest(device, scrape),
        lambda: cases.change_case(device, case, title="Other"),
        lambda: keeping.set_reading(device, scrape.look, "nitrite", "0.8 mg/L NO2"),
        lambda: keeping.add_note(device, "A note", case=case),
        lambda: undo.undo_last(device, case),
        lambda: looking.remove_examination(device, scrape),
    )
    for one in tries:
        with pytest.raises(CaseClosed):
            one()
    assert states(scrape) == {organism: (1, "sure")}
    addendum = cases.add_addendum(device, case, "Sent to the laboratory after all.")
    assert addendum.text == "Sent to the laboratory after all."


def test_closing_by_mistake_can_be_taken_back(device: Device, case: Case) -> None:
    cases.close_case(device, case, on=dt.date(2026, 10, 20))
    undo.take_back(device, Act.objects.get(kind="close_case"))
    assert not Case.objects.get(pk=case.pk).is_closed


def test_a_deleted_case_comes_back_within_30_days(device: Device, scrape: Examination) -> None:
    case = scrape.look.case
    act = cases.delete_case(device, case)
    assert not Case.objects.filter(pk=case.pk).exists()
    with pytest.raises(Refused, match="deleted"):
        keeping.add_note(device, "A note", case=case)
    assert cases.purge_deleted(clock.now() + dt.timedelta(days=29)) == []
    undo.take_back(device, act)
    assert Case.objects.filter(pk=case.pk).exists()


def test_after_30_days_it_is_gone_with_its_record(device: Device, scrape: Examination, open_case: Callable) -> None:
    case, other = scrape.look.case, open_case()
    keeping.attach(
        device, case=case, kind="photograph", file="a/1.jpg", thumbnail="a/1s.jpg", media_type="image/jpeg", size=9,
        sha256="0" * 64,
    )  # fmt: skip
    cases.delete_case(device, case)
    assert cases.purge_deleted(clock.now() + dt.timedelta(days=31)) == ["a/1.jpg", "a/1s.jpg"]
    assert not Case.all_cases.filter(pk=case.pk).exists()
    assert not Act.objects.filter(case_id=case.pk).exists()
    assert Act.objects.filter(case_id=other.pk).exists()


# --- readings, numbers, rooms -----------------------------------------------------------------------------------------


def test_readings_say_why_they_are_refused(device: Device, case: Case) -> None:
    look = case.looks.get()
    for parameter, value in (("nitrite", "0.8"), ("nitrite", "-1 mg/L NO2"), ("ph", "15"), ("colour", "1")):
        with pytest.raises(Refused):
            keeping.set_reading(device, look, parameter, value)
    reading = keeping.set_reading(device, look, "nitrite", "0.8 mg/L NO2", time=dt.time(14, 10))
    keeping.set_reading(device, look, "nitrite", "0.9 mg/L NO2", reading=reading, seen=reading.version)
    assert [one.value for one in Reading.objects.all()] == ["0.9 mg/L NO2"]


def test_a_reading_needs_no_case(device: Device, tank: Tank) -> None:
    reading = keeping.set_reading(device, None, "temperature", "25 °C", tank=tank, on=dt.date(2026, 10, 3))
    assert (reading.look, reading.tank, reading.on) == (None, tank, dt.date(2026, 10, 3))
    undo.undo_last(device, None)
    assert not Reading.objects.exists()


def test_numbers_that_cannot_be_are_refused(device: Device, case: Case) -> None:
    look = case.looks.get()
    with pytest.raises(Refused):
        looking.set_numbers(device, look, total=10, sick=11, dead=None, dead_today=None)
    with pytest.raises(Refused):
        looking.set_numbers(device, look, total=10, sick=1, dead=1, dead_today=2)
    looking.set_numbers(device, look, total=24, sick=6, dead=2, dead_today=1)
    looking.set_numbers(device, look, total=24, sick=7, dead=2, dead_today=1)
    assert Numbers.objects.get().sick == 7


def test_moves_and_nets_between_tanks(device: Device, room: FishRoom, tank: Tank) -> None:
    quarantine = keeping.add_tank(device, room, "Q2")
    batch = keeping.add_batch(device, "Melanotaenia boesemani", room, origin="North", number=24)
    keeping.move_fish(device, batch, quarantine, dt.date(2026, 9, 19), number=24)
    move = keeping.move_fish(device, batch, tank, dt.date(2026, 9, 21), from_tank=quarantine)
    keeping.add_contact(device, "net", tank, quarantine, dt.date(2026, 9, 28))
    with pytest.raises(Refused):
        keeping.move_fish(device, batch, tank, dt.date(2026, 9, 22), from_tank=tank)
    keeping.remove_row(device, move, "Move deleted")
    assert [one.kind for one in room.batches.get().moves.all()] == ["fish"]
    undo.undo_last(device, None)
    assert room.batches.get().moves.count() == 2


def test_two_tanks_of_a_room_do_not_share_a_name(device: Device, room: FishRoom, tank: Tank) -> None:
    with pytest.raises(Refused, match="already"):
        keeping.add_tank(device, room, "A4")
    assert keeping.add_tank(device, keeping.add_room(device, "Garden"), "A4").name == "A4"


def test_what_cannot_be_is_refused_as_in_a_case_file(device: Device, case: Case, scrape: Examination) -> None:
    tries = (
        lambda: looking.add_fish(device, case, state="alive", hours_dead=3.0),
        lambda: looking.add_fish(device, case, state="asleep"),
        lambda: looking.add_fish(device, case, length="6.2"),
        lambda: looking.change_fish(device, scrape.fish, killed_by="a blow to the head"),
        lambda: looking.add_slide(device, scrape, fields=2, counts={"skin_costia": [1, 2, 3]}),
        lambda: looking.add_slide(device, scrape, counts={"flashing": 3}, fields=1),
        lambda: looking.change_examination(device, scrape, body_state="pickled"),
        lambda: looking.set_numbers(device, scrape.look, total=10, sick=6, dead=5, dead_today=None),
    )
    acts = Act.objects.count()
    for one in tries:
        with pytest.raises(Refused):
            one()
    assert Act.objects.count() == acts


def test_undo_does_not_take_along_what_others_added(device: Device, phone: Device, room: FishRoom) -> None:
    tank = keeping.add_tank(device, room, "Q1")
    keeping.add_note(phone, "New heater", tank=tank)
    with pytest.raises(Refused, match="added to it since"):
        undo.undo_last(device, None)
    assert Tank.objects.filter(name="Q1").exists()


def test_a_deleted_picture_goes_after_30_days_and_its_record_stays(device: Device, case: Case) -> None:
    kept = {"kind": "photograph", "file": "a/1.jpg", "media_type": "image/jpeg", "size": 9, "sha256": "0" * 64}
    picture = keeping.attach(device, case=case, **kept)
    keeping.delete_attachment(device, picture)
    assert cases.purge_attachments(clock.now() + dt.timedelta(days=29)) == []
    assert cases.purge_attachments(clock.now() + dt.timedelta(days=31)) == ["a/1.jpg"]
    assert Change.objects.filter(table="attachment", entry=picture.pk, after__isnull=True).exists()


# --- two at the same moment -------------------------------------------------------------------------------------------


def at_once(works: list[Callable[[], object]]) -> list[object]:
    """Run all of these in threads of their own, each with its own connection, begun together."""
    barrier = threading.Barrier(len(works))

    def one(work: Callable[[], object]) -> object:
        try:
            barrier.wait(timeout=20)
            return work()
        except Refused as refused:
            return refused
        finally:
            connection.close()

    with ThreadPoolExecutor(len(works)) as pool:
        return list(pool.map(one, works))


@pytest.mark.django_db(transaction=True)
def test_of_two_first_entries_at_one_moment_one_is_asked(device: Device, phone: Device, scrape: Examination) -> None:
    def write(who: Device, level: int) -> Callable[[], object]:
        return lambda: looking.record_finding(who, scrape, "skin_costia", level, seen=0)

    results = at_once([write(device, 1), write(phone, 2)])
    assert sorted(type(one).__name__ for one in results) == ["Conflict", "FindingEntry"]
    assert FindingEntry.objects.filter(finding="skin_costia").count() == 1


@pytest.mark.django_db(transaction=True)
def test_numbers_of_cases_opened_at_one_moment_differ(device: Device) -> None:
    def open_one() -> object:
        return cases.open_case(device, which_fish="A4", worries="rubbing").number

    assert sorted(at_once([open_one] * 6)) == [1, 2, 3, 4, 5, 6]  # type: ignore[type-var]


@pytest.mark.django_db(transaction=True)
def test_many_writers_lose_nothing(device: Device, phone: Device, scrape: Examination) -> None:
    short = [row.id for row in looking.to_sweep(scrape)][:8]
    results = at_once([lambda one=one: looking.record_finding(device, scrape, one, 1, seen=0) for one in short])  # type: ignore[misc]
    assert all(isinstance(one, FindingEntry) for one in results)
    assert set(states(scrape)) == set(short)


# --- through a page ---------------------------------------------------------------------------------------------------


def test_the_undo_key_of_a_page(browser: Client, device: Device, scrape: Examination, organism: str) -> None:
    looking.record_finding(device, scrape, organism, 1)
    number = scrape.look.case.number
    answer = browser.post(f"/case/{number}/undo/", {"back": f"/case/{number}/skin/"})
    assert (answer.status_code, answer["Location"]) == (302, f"/case/{number}/skin/")
    assert states(scrape) == {}
    assert browser.post("/case/999/undo/").status_code == 404
    assert browser.get(f"/case/{number}/undo/").status_code == 405


@pytest.mark.parametrize("target", ["https://example.org/", "//example.org/", "javascript:alert(1)", ""])
def test_back_leads_only_to_our_own_pages(browser: Client, case: Case, target: str) -> None:
    assert browser.post(f"/case/{case.number}/undo/", {"back": target})["Location"] == "/"
