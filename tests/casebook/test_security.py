"""Every field that takes text against HTML, every page against its policy, every form against forgery and nonsense."""

from __future__ import annotations

import datetime as dt
import io
import sys
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent))  # the tests are no package

from crawl import Field, Form, Page, all_names, crawl, name_of

from wetmount.casebook import clock
from wetmount.casebook.models import Case, Device, Examination, Tank
from wetmount.casebook.services import cases, files, keeping, looking, planning, tracing
from wetmount.casebook.views.plan import page_of

pytestmark = pytest.mark.django_db

HOSTILE = """'"><x-hostile onx=1></textarea></title><script>hostile()</script>{{7*7}}"""
SHORT = """'"><x-hostile onx=1>"""
MARK = "x-hostile"

SET_APART = {
    "light", "undo", "undo_outside", "undo_said",  # write nothing of one's own
    "revoke", "shut_out", "make_link",  # would end this visit, or need a network
    "backup",  # needs a database of its own; see test_keep
    "delete_case", "close_case", "bring_back", "undelete", "mark_task", "finish_task",  # come last, below
}  # fmt: skip


def hostile_name(length: int | None = None) -> str:
    """A hostile text that differs each time, for names that must."""
    return f"{SHORT}{uuid.uuid4().hex[:6]}"


def filled(form: Form, free: Callable[[Field], str], *, everything: bool = False) -> dict[str, Any]:
    """What a browser would send: free text hostile, the rest as the page has it, or everything hostile."""
    sent: dict[str, Any] = {}
    for one in form.fields:
        if one.name == "csrfmiddlewaretoken":
            continue
        if one.kind == "file":
            if not everything:
                sent[one.name] = picture(f"{SHORT}.jpg")
        elif one.kind in ("text", "search", "textarea") or everything:
            sent[one.name] = free(one)
        elif one.kind == "select":
            sent[one.name] = one.value or next((option for option in one.options if option), "")
        elif one.kind == "date":
            sent[one.name] = one.value or "2026-10-14"
        elif one.kind in ("radio", "checkbox"):
            sent.setdefault(one.name, one.value or "on")
        elif one.kind == "number":
            sent[one.name] = one.value or "1"
        else:
            sent[one.name] = one.value
    for one in form.buttons:
        sent.setdefault(one.name, free(one) if everything else one.value)
    return sent


def picture(name: str) -> io.BytesIO:
    out = io.BytesIO()
    Image.new("RGB", (30, 20), "teal").save(out, "JPEG")
    out.seek(0)
    out.name = name
    return out


def check(page: Page, answer: Any) -> None:
    """Nothing hostile became part of the page, and the policy is strict."""
    to_keep = answer.headers.get("Content-Disposition", "").startswith("attachment")
    forbidden = [one for one in page.forbidden if not (to_keep and one == "<style>")]  # a report brings its own
    assert forbidden == [], (page.address, forbidden)
    policy = answer.headers.get("Content-Security-Policy", "")
    directives = {name: value for name, _, value in (part.strip().partition(" ") for part in policy.split(";"))}
    if answer.streaming and name_of(page.address) == "bytes_of":
        assert directives["default-src"] == "'none'", page.address
    else:
        assert directives["default-src"] == "'self'", page.address
        assert directives["frame-ancestors"] == "'none'"
        assert directives["base-uri"] == "'none'"
        assert directives["form-action"] == "'self'"
    assert "unsafe" not in policy
    assert "script-src" not in directives
    assert "style-src" not in directives
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["X-Frame-Options"] == "DENY"
    assert answer.headers["Referrer-Policy"] == "same-origin"
    assert answer.headers["Cache-Control"].startswith(("private", "no-store")), page.address


@pytest.fixture
def furnished(device: Device, case: Case, scrape: Examination, tank: Tank) -> Case:
    """A case with something of everything, so that every page and form is there."""
    looking.record_finding(device, scrape, "skin_costia", 2)
    looking.sweep_rest(device, scrape)
    looking.add_slide(device, scrape, objective="10x", fields=3, counts={"skin_costia": [1, 0, 2]})
    looking.begin_look(device, case, dt.date(2026, 10, 10))
    keeping.set_reading(device, case.looks.first(), "nitrite", "1.6 mg/L NO2")
    keeping.add_note(device, "x", case=case)
    keeping.add_task(device, "news", "Ask", dt.date(2026, 10, 12), case=case)
    cases.add_case_batch(device, case, species="Melanotaenia boesemani")
    cases.set_cause(device, case, "costia", "likely")
    cases.set_red_flags(device, case, ["nitrite_dangerous"])
    batch = keeping.add_batch(device, "Melanotaenia boesemani", tank.room)
    other = keeping.add_tank(device, tank.room, "A5", tank.system)
    keeping.move_fish(device, batch, tank, dt.date(2026, 10, 1))
    keeping.add_contact(device, "net", tank, other, dt.date(2026, 10, 2))
    tracing.note_sign(device, tank, "signs", dt.date(2026, 10, 3), condition="costia")
    tracing.note_check(device, other, dt.date(2026, 10, 3), found=False)
    tracing.set_group(device, tank.room, "tool", "net", [tank, other])
    keeping.add_keeper(device, "the keeper")
    files.keep(device, picture("x.jpg"), name="x.jpg", examination=scrape)
    planning.set_facts(
        device, scrape.look, volume="100 L", water="fresh", others=[], living={"gill_damage": "no"}, lawful_here=None
    )
    shown = page_of(case, scrape.look)
    assert shown is not None
    planning.choose_options(
        device, scrape.look, shown.plan, ["salt_dip", "watch"], shown.reference, by="x", why="x", first=clock.today()
    )
    return case


SALT = "agent=salt_indefinite&strength=pure&volume=100+L&water=fresh&kh=8+dKH&gh=9+dGH&host=koi&nothing_else=yes&go=1"
BOX = "v1_shape=box&v1_length=60+cm&v1_width=30+cm&v1_depth=33+cm&go=1"
CHANGES = "what=nitrate&now=80+mg/L+NO3&target=20+mg/L+NO3&fraction=30&go=1"
STARTS = [
    "/", "/cases/", "/rooms/", "/reference/", "/settings/", "/devices/", "/keeping/", "/new/", "/forecast/",
    "/dose/?agent=formalin_short&volume=20+L&go=1", f"/dose/volume/?{BOX}", f"/dose/changes/?{CHANGES}",
    "/dose/course/?agent=salt_indefinite&go=1", "/dose/feed/?weight=100+g&ration=1&go=1",
]  # fmt: skip


def starts(case: Case) -> list[str]:
    """Where the crawl begins: the places, and pages that are reached by pressing keys."""
    at = f"/case/{case.number}"
    scrape = Examination.objects.filter(look__case=case, kind="skin_scrape").first()
    if scrape is None:
        return [f"{at}/", *STARTS]
    slide, entry = scrape.slides.first(), scrape.findings.first()
    kind = "kind=skin_costia"
    counting = [f"{at}/count/new/{scrape.pk}/?{kind}", f"/count/slide/?examination=skin_scrape&{kind}"]
    return [
        f"{at}/",
        *([f"{at}/entry/{entry.pk}/"] if entry else []),
        *([f"{at}/count/slide/{slide.pk}/?kind=skin_costia"] if slide else []),
        *counting,
        f"{at}/forecast/",
        f"/dose/?case={case.number}&{SALT}",
        *STARTS,
    ]


def test_what_was_typed_anywhere_is_text_everywhere(
    browser: Client, device: Device, phone: Device, furnished: Case
) -> None:
    """Hostile text through every form that any page shows, then every page is looked at again."""
    forms: dict[tuple[str, ...], Form] = {}
    visited: set[str] = set()
    for page, answer in crawl(browser, starts(furnished)):
        assert answer.status_code == 200, page.address
        check(page, answer)
        visited.add(name_of(page.address) or "")
        for form in page.forms:
            forms.setdefault(form.key, form)
    posted: set[str] = set()
    taken: list[str] = []
    for form in forms.values():
        name = name_of(form.action) or ""
        if name in SET_APART or name.startswith("remove"):
            continue
        posted.add(name)
        for free in (lambda one: HOSTILE, lambda one: hostile_name()):
            answer = send(browser, form, filled(form, free))
            if answer.redirect_chain or answer.status_code == 200:
                taken.append(name)
        answer = send(browser, form, filled(form, lambda one: HOSTILE, everything=True))
        if any(one.name == "seen" for one in form.fields):  # another device wrote meanwhile: both are shown
            send(browser, form, filled(form, lambda one: hostile_name()) | {"seen": "1"})
    assert len(set(taken)) > 25, sorted(set(taken))
    shown = look_again(browser, furnished, visited)
    assert len(shown) > 12, shown
    # What is done last: finish, close, delete.
    number = furnished.number
    sent = {"kind": "look_again", "title": HOSTILE, "detail": HOSTILE, "on": "2026-10-30"}
    for address in ("/forecast/schedule/", f"/case/{number}/forecast/schedule/", "/quarantine/schedule/"):
        assert browser.post(address, sent | {"name": HOSTILE}).status_code < 500
    sent = {"fish": HOSTILE, "finding": HOSTILE, "level": HOSTILE, "sure": HOSTILE, "examination": HOSTILE}
    assert browser.post(f"/case/{number}/identify/enter/", sent).status_code < 500
    assert browser.post(f"/case/{number}/plan/days/", {"agent": HOSTILE, "day": HOSTILE}).status_code < 500
    at = f"/rooms/{furnished.room_id}"
    for address in (f"{at}/origin/stop/", f"{at}/sheet/take/", f"{at}/origin/part/?show={SHORT}&sweeps={SHORT}"):
        assert browser.post(address, {"rows": HOSTILE}).status_code < 500
    for task in furnished.tasks.filter(done_at=None)[:1]:
        browser.post(f"/case/{number}/task/{task.pk}/", {"outcome": HOSTILE})
    sent = {"outcome": "lost", "outcome_note": HOSTILE, "on": "2026-10-20", "condition": "columnaris", "note": HOSTILE}
    browser.post(f"/case/{number}/close/", sent)
    furnished.refresh_from_db()
    assert furnished.outcome_note == HOSTILE
    browser.post(f"/case/{number}/addendum/", {"text": HOSTILE})
    look_again(browser, furnished, visited)
    browser.post(f"/case/{number}/delete/")
    gone = browser.get("/keeping/deleted/")
    check(Page("/keeping/deleted/", gone.content.decode()), gone)
    seldom = all_names() - visited - posted - SET_APART
    # Reached by scripts, in another browser, or by answers of forms; each has tests of its own.
    assert " ".join(sorted(seldom - SELDOM)) == ""


SELDOM = {
    "enter", "pair", "pair_stylesheet", "alive", "touched",  # scripts and strangers
    "sweep", "unsweep", "remove_examination", "remove_file", "remove_fish", "remove_look", "remove_slide",
    "remove_told_batch",  # take keys of rows and nothing else
    "addendum", "forecast_schedule", "forecast_schedule_case", "identify_enter", "quarantine_schedule",  # sent above
    "plan_days",  # sent above
    "forecast_timing_stop", "forecast_timing_stop_case",  # take the key of a search and nothing else
    "forecast_timing", "forecast_timing_case",  # figures, when a forecast compares treatments
    "room_origin_part", "room_origin_stop", "room_sheet_take",  # asked by scripts; rows that were signed; sent above
}  # fmt: skip


def send(browser: Client, form: Form, values: dict[str, Any]) -> Any:
    """Send a form; whatever comes back is no failure of ours and holds nothing hostile."""
    if form.method == "get":
        answer = browser.get(form.action, values, follow=True)
    else:
        answer = browser.post(form.action, values, follow=True)
    assert answer.status_code < 500, (form.action, values)
    if answer.headers.get("Content-Type", "").startswith("text/html"):
        check(Page(form.action, answer.content.decode()), answer)
    return answer


def look_again(browser: Client, case: Case, visited: set[str]) -> set[str]:
    """Look at every page again; the names of those on which the hostile text can be read."""
    shown = set()
    for page, answer in crawl(browser, starts(case)):
        assert answer.status_code == 200, page.address
        check(page, answer)
        name = name_of(page.address) or ""
        visited.add(name)
        if not answer.streaming and MARK.encode() in answer.content:
            shown.add(name)
    return shown


def test_the_check_finds_what_it_looks_for() -> None:
    """Each thing forbidden is found in a page that has it."""
    for bad in (
        '<p onclick="x()">', "<style>p{}</style>", '<p style="x">', "<script>x()</script>", "<x-hostile>", "<iframe>",
        '<script src="//evil.example/x.js"></script>', '<a href=" javascript:x()">', '<a href="java\nscript:x()">',
        '<form action="http://evil.example/">', '<p hx-on:click="x()">', '<base href="/">',
    ):  # fmt: skip
        assert Page("/", f"<main>{bad}</main>").forbidden, bad
    assert not Page("/", "<p>&lt;x-hostile&gt;</p><script src='/static/x.js'></script>").forbidden


def test_the_policy_is_on_refusals_too(browser: Client, stranger: Client, case: Case) -> None:
    for client, address in ((browser, "/nowhere/"), (browser, "/case/999/"), (stranger, "/"), (stranger, "/pair/x/")):
        answer = client.get(address)
        assert "default-src 'self'" in answer.headers["Content-Security-Policy"], address
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "localhost@evil.example", "192.0.2.1",
                                  "127.0.0.1:80@evil.example", "[::ffff:192.0.2.1]", ""])  # fmt: skip
def test_other_hosts_are_refused_on_every_kind_of_address(browser: Client, case: Case, host: str) -> None:
    for address in ("/", f"/case/{case.number}/", "/static/casebook/ground.css", "/alive/", "/keeping/", "/nowhere/"):
        assert browser.get(address, HTTP_HOST=host).status_code == 400, address
    assert browser.post("/undo/", HTTP_HOST=host).status_code == 400


def test_a_kept_file_is_never_a_page(browser: Client, device: Device, case: Case) -> None:
    """A picture in which a page hides is written anew from its pixels, and given out as a picture, not sniffed."""
    inside = picture("x.jpg").getvalue()
    script = b"<script>hostile()</script>"
    hiding = inside[:2] + b"\xff\xfe\x00\x22" + script + b"<!-- x" + inside[2:] + script
    row = files.keep(device, io.BytesIO(hiding), name="../../<script>.html", case=case)
    assert b"hostile" not in files.path_of(row.file).read_bytes()
    assert row.file.endswith(".jpg")
    assert "/" not in row.original_name
    for which in ("whole", "small", "save"):
        answer = browser.get(f"/file/{row.pk}/{which}/")
        if answer.status_code == 200:
            assert b"hostile" not in b"".join(answer.streaming_content)
            assert answer.headers["Content-Type"] == "image/jpeg"
            assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize("file", ["../../secret", "/etc/passwd", "..\\secret", "ab/../../casebook.sqlite3", ""])
def test_no_row_leads_out_of_the_folder_of_files(browser: Client, device: Device, case: Case, file: str) -> None:
    """Even a row that was tampered with gives out nothing beyond the folder."""
    row = files.keep(device, picture("x.jpg"), name="x.jpg", case=case)
    type(row).objects.filter(pk=row.pk).update(file=file, thumbnail=file)
    for which in ("whole", "small", "save"):
        assert browser.get(f"/file/{row.pk}/{which}/").status_code in (404, 410, 422)


def test_uploads_that_are_not_what_they_say(browser: Client, case: Case, files: Path) -> None:
    """Through the page: refused with the reason, and nothing is left behind."""
    from test_archive import huge_png

    for name, content in {
        "x.jpg": b"<html><script>hostile()</script></html>",
        "x.svg": b"<svg xmlns='http://www.w3.org/2000/svg'><script>hostile()</script></svg>",
        "x.png": huge_png(),
        "x.jpeg": b"\xff\xd8\xff\xe0 cut short",
        "x.zip": b"PK\x03\x04",
        "x.exe": b"MZ",
        "x": b"",
    }.items():
        upload = io.BytesIO(content)
        upload.name = name
        answer = browser.post(f"/case/{case.number}/files/", {"files": upload, "file": upload})
        assert answer.status_code in (302, 400, 422), name
        assert not case.attachments.exists(), name
        assert not [path for path in files.rglob("*") if path.is_file()], name


def test_numbers_beyond_what_a_database_holds(browser: Client, case: Case) -> None:
    big = "9" * 40
    at = f"/case/{case.number}"
    for address in (
        f"/case/{big}/", f"{at}/record/?before={big}", f"{at}/fish/{big}/", f"/cases/?before={big}", f"/rooms/{big}/",
        f"/file/{big}/whole/", f"/case/{big}/close/", f"{at}/tank/?look={big}", f"{at}/skin/?fish={big}",
        f"/cases/?room={big}", "/cases/?opened_from=9999999-99-99", "/cases/?q=%00", "/cases/?q=" + "a" * 9000,
    ):  # fmt: skip
        assert browser.get(address).status_code in (200, 404), address
