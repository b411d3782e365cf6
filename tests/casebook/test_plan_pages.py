"""The plan of a case: its pages say what the core computes; a choice is recorded, undone, printed, put on Today."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from html import unescape
from typing import Any
from urllib.parse import parse_qs, urlsplit

import icalendar
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from wetmount.casebook import clock
from wetmount.casebook.models import Act, Case, Device, Look, PlanChoice, PlanStep, TaskDue
from wetmount.casebook.reference import reference
from wetmount.casebook.search import with_words
from wetmount.casebook.services import cases, keeping, looking
from wetmount.casebook.services.records import case_record, import_case
from wetmount.casebook.templatetags.look import percent
from wetmount.casebook.views.plan import page_of
from wetmount.casebook.views.plan_telling import PlanPage
from wetmount.plan import plan_for

pytestmark = pytest.mark.django_db

SAID = {
    "volume": "660 L to 780 L", "living_plants": "no", "living_invertebrates": "no", "living_filter_bacteria": "yes",
    "living_eggs": "no", "living_fry": "no", "living_gravid": "no", "living_gill_damage": "no", "living_ulcers": "no",
    "living_not_eating": "no",
}  # fmt: skip
CHOICE = {
    "option": ["husbandry_nitrite_poisoning_1", "salt_nitrite", "salt_dip"], "by": "the bench",
    "why": "Nitrite kills today", "first": "",
}  # fmt: skip


def text_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def at(case: Case, rest: str = "") -> str:
    return f"/case/{case.number}/plan/{rest}"


def shown(browser: Client, case: Case, rest: str = "") -> str:
    response = browser.get(at(case, rest))
    assert response.status_code == 200, response.content.decode()[:2000]
    return response.content.decode()


def telling(case: Case, look: Look) -> PlanPage:
    page = page_of(case, look)
    assert page is not None
    return page


def card(page: str, option: str) -> str:
    found = re.search(
        rf'<li class="choice[^"]*" id="option-{option}">.*?</li>\s*(?=<li class="choice|</ul>)', page, re.S
    )
    assert found is not None, option
    return found[0]


@pytest.fixture
def water(browser: Client, device: Device, case: Case, weighable: Look) -> Look:
    """The look with nitrite that poisons, and its water and fish said."""
    hand = looking.add_examination(device, weighable, "in_hand", fish=case.fish.first())
    looking.record_finding(device, hand, "brown_gills", 1)
    keeping.set_reading(device, weighable, "nitrite", "1.6 mg/L NO2")
    assert browser.post(at(case, "water/"), SAID).status_code == 302
    return weighable


@pytest.fixture
def chosen(browser: Client, case: Case, water: Look) -> PlanChoice:
    """Husbandry, salt against nitrite, a salt dip; what is in hand of both."""
    response = browser.post(at(case, "choose/"), CHOICE)
    assert response.status_code == 302, response.content.decode()[:2000]
    browser.post(at(case, "agent/salt_nitrite/"), {"strength": "pure", "step": "1"})
    browser.post(at(case, "agent/salt_dip/"), {"strength": "pure", "step": "1", "volume": "10 L"})
    return PlanChoice.objects.get(look=water)


# --- options ----------------------------------------------------------------------------------------------------------


def test_the_page_compares_what_the_core_computes(browser: Client, case: Case, water: Look) -> None:
    page, told = shown(browser, case), telling(case, water)
    expected = plan_for(told.weighup, told.tank.facts, reference())
    assert [option.id for option in told.plan.options] == [option.id for option in expected.options]
    places = []
    for option in expected.options:
        text = card(page, option.id)
        if option.expected is not None:
            assert f"Expected to cover {percent(option.expected)}" in text_of(text)
        for cover in option.covers:
            if cover.effect is not None:
                assert f"takes {percent(cover.effect)} of it" in text_of(text)
                assert f"basis: {cover.evidence}" in text_of(text)
        for stop in option.stops:
            assert stop.text in text_of(text)
        assert ('type="checkbox"' in text) == option.ready
        places.append(page.index(f'id="option-{option.id}"'))
    kinds = [option.kind for option in expected.options]
    assert {"husbandry", "treat", "watch", "examine", "refer", "relieve"} <= set(kinds)
    first_agent = next(n for n, option in enumerate(expected.options) if option.kind == "treat")
    husbandry = [
        n for n, option in enumerate(expected.options) if option.kind == "husbandry" and option.urgency == "now"
    ]
    assert husbandry
    assert max(places[n] for n in husbandry) < places[first_agent], "husbandry first"


def test_what_is_not_said_counts_as_dangerous_and_says_so(browser: Client, case: Case, weighable: Look) -> None:
    before = text_of(card(shown(browser, case), "formalin_indefinite"))
    assert "not with plants, and nobody has looked, or said, whether there are any" in before
    assert "oxygen is not known" in before
    page = text_of(shown(browser, case))
    assert "Not known: readings not taken: pH, KH, GH, oxygen, ammonia" in page
    assert "guessed from 660 L noted for Rack A" in page, "the rack is one water"
    browser.post(at(case, "water/"), SAID | {"living_plants": "yes"})
    after = text_of(card(shown(browser, case), "formalin_indefinite"))
    assert "Refused: not with plants" in after
    assert "nobody has looked" not in after
    # a dip is given in a container, where no plant is: it was never refused for them
    assert 'type="checkbox"' in card(shown(browser, case), "salt_dip")


def test_one_tick_says_that_the_rest_was_looked_for(browser: Client, case: Case, weighable: Look) -> None:
    browser.post(at(case, "water/"), {"living_plants": "yes", "living_rest": "no"})
    kept = PlanChoice.objects.get(look=weighable).living
    assert kept["plants"] == "yes"
    assert {kept[thing] for thing in ("invertebrates", "eggs", "fry", "gill_damage")} == {"no"}
    assert "nobody has looked" not in text_of(shown(browser, case))


def test_what_was_given_before_counts(browser: Client, case: Case, weighable: Look) -> None:
    browser.post(at(case, "water/"), SAID | {"given_1": "kmno4_short", "given_on_1": clock.today().isoformat()})
    page = shown(browser, case)
    assert "potassium permanganate on" in text_of(page)
    # cautions, refuse rules: formalin and permanganate within 24 hours
    assert "Refused" in text_of(card(page, "formalin_short"))
    assert "permanganate" in text_of(card(page, "formalin_short"))
    browser.post(at(case, "water/"), SAID | {"nothing_given": "yes"})
    assert "Given before nothing" in text_of(shown(browser, case))
    for wrong, words in (
        ({"given_1": "kmno4_short"}, "say on which day"),
        ({"given_1": "moonlight", "given_on_1": "2026-10-01"}, "no treatment"),
        ({"given_1": "kmno4_short", "given_on_1": "2999-10-01"}, "has not come yet"),
        ({"given_1": "kmno4_short", "given_on_1": "2026-10-01", "given_changed_1": "150"}, "percent"),
    ):
        answer = browser.post(at(case, "water/"), SAID | wrong)
        assert answer.status_code == 422
        assert words in text_of(answer.content.decode())


def test_fish_of_the_same_water_count(browser: Client, device: Device, case: Case, water: Look, tank: Any) -> None:
    other = keeping.add_tank(device, tank.room, "A5", tank.system)
    batch = keeping.add_batch(device, "bronze cory", tank.room, arrived=dt.date(2026, 9, 1), number=6)
    browser.post(at(case, "water/"), SAID)
    assert 'type="checkbox"' in card(shown(browser, case), "salt_dip")
    keeping.move_fish(device, batch, other, dt.date(2026, 9, 1))
    page = shown(browser, case)
    assert "bronze cory" in text_of(page)
    # Corydoras take no salt dip (dose_limits: salt_dip, corydoras, refuse)
    assert "not with corydoras" in text_of(card(page, "salt_dip"))


def test_a_burden_that_was_counted_leads_to_its_days(
    browser: Client, device: Device, case: Case, weighable: Look
) -> None:
    fish = [*case.fish.all(), looking.add_fish(device, case, state="alive")]
    for one, count in zip(fish, (2, 8), strict=True):
        scrape = looking.add_examination(device, weighable, "skin_scrape", fish=one)
        looking.add_slide(device, scrape, objective="10x", fields=1, counts={"skin_gyrodactylid": count})
        looking.record_finding(device, scrape, "skin_gyrodactylid", 2)
    page = shown(browser, case)
    link = next(
        unescape(href) for href in re.findall(r'href="(/case/\d+/forecast/[^"]*)"', page) if "praziquantel" in href
    )
    asked = parse_qs(urlsplit(link).query)
    assert asked["burden"] == ["5.0"], "ten parasites on two fish"
    assert asked["parasite"] == ["skin_flukes"]
    form = browser.get(link).content.decode()
    assert 'value="5.0"' in form
    assert re.search(r'name="temperature"[^>]* value="25.5 C"', form), "the tank is filled in beside it"


# --- choosing ---------------------------------------------------------------------------------------------------------


def test_a_choice_is_recorded_shown_and_undone(browser: Client, case: Case, chosen: PlanChoice) -> None:
    page = text_of(shown(browser, case))
    assert "Nitrite kills today" in page
    assert f"the bench, {clock.today().day} {clock.today():%B %Y}" in page
    assert [step.kind for step in chosen.steps.all()] == ["husbandry", "treat", "treat", "look"]
    acts = Act.objects.filter(case=case, kind="choose_plan")
    assert acts.get().device is not None
    for _ in range(3):  # two agents, then the choice
        browser.post(f"/case/{case.number}/undo/")
    assert not PlanStep.objects.exists()
    assert PlanChoice.objects.get().by == ""
    assert "What was chosen" not in shown(browser, case)
    record = text_of(browser.get(f"/case/{case.number}/record/").content.decode())
    assert "Nitrite kills today" in record
    assert "salt_nitrite" in record


def test_amounts_by_hand(browser: Client, case: Case, chosen: PlanChoice) -> None:
    """Ten times the nitrite as chloride (Durborow, Crosby and Brunson, SRAC 462, 1997): 1.6 mg/L NO2 asks for 16 mg/L
    chloride, as salt 16 / 0.6066 = 26.38 mg/L; in 780 L, the most there may be, 20.57 g, rounded up to 21 g. The dip:
    20 g/L in 10 L are 200 g."""
    page = text_of(shown(browser, case))
    assert "Sodium chloride: 21 g of pure" in page
    assert "Sodium chloride: 200 g of pure" in page
    keeper = text_of(shown(browser, case, "keeper/"))
    assert "21 g of pure" in keeper
    assert "200 g of pure" in keeper
    browser.post(at(case, "agent/salt_dip/"), {"strength": "pure", "step": "1"})
    assert "the water of the container is not known".capitalize() in text_of(shown(browser, case))
    assert "no amount" in text_of(shown(browser, case, "keeper/")).lower()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"by": " "}, "who made it and why"),
        ({"why": ""}, "who made it and why"),
        ({"option": []}, "at least one option"),
        ({"option": ["moonlight"]}, "no option"),
        ({"option": ["formalin_indefinite"]}, "restricted in some places"),
        ({"first": "2020-01-01"}, "in the past"),
        ({"first": "soon"}, "a date such as"),
    ],
)
def test_a_choice_that_can_not_be(browser: Client, case: Case, water: Look, change: dict[str, Any], words: str) -> None:
    response = browser.post(at(case, "choose/"), CHOICE | change)
    assert response.status_code == 422
    assert words in unescape(response.content.decode())
    assert not PlanStep.objects.exists()


def test_no_antimicrobial_first(browser: Client, device: Device, case: Case, water: Look) -> None:
    """Even with a prescription: what samples or refers comes ahead of it."""
    hand = looking.add_examination(device, water, "in_hand", fish=case.fish.first())
    for finding in ("ulcers_skin", "haemorrhage_skin", "fin_erosion"):
        if finding in reference().findings:
            looking.record_finding(device, hand, finding, len(reference().findings[finding].levels) - 1)
    told = telling(case, water)
    antimicrobial = next(
        option.id for option in told.plan.options if option.not_first is not None and option.id.endswith("_feed")
    )
    assert "no antimicrobial first" in text_of(card(shown(browser, case), antimicrobial))
    browser.post(at(case, f"agent/{antimicrobial}/"), {"dose": "10 mg/kg/day", "prescriber": "the veterinarian"})
    option = telling(case, water).plan.option(antimicrobial)
    if not option.ready:  # refused for what the fish are, not for want of a prescription
        assert option.stops[0].id != "prescription"
    response = browser.post(at(case, "choose/"), CHOICE | {"option": [antimicrobial]})
    assert response.status_code == 422


def test_what_opened_the_way_is_marked(browser: Client, case: Case, water: Look) -> None:
    told = telling(case, water)
    assert told.plan.opened, "the case has a predisposing condition"
    ready = next(option for option in told.plan.options if option.kind == "treat" and option.ready)
    leaves = [told.short[one] for one in ready.leaves_open]
    assert leaves
    assert f"Leaves what opened the way: {', '.join(leaves)}" in text_of(card(shown(browser, case), ready.id))
    browser.post(at(case, "choose/"), CHOICE | {"option": ["watch"]})
    assert "Leaves what opened the way: " in text_of(shown(browser, case).split("What can be done")[0])


def test_a_notifiable_disease_goes_to_the_authority_first(
    browser: Client, device: Device, open_case: Callable[..., Case]
) -> None:
    case = open_case(which_fish="koi", species="Cyprinus carpio", title="Koi dying")
    look: Look = case.looks.get()
    fish = looking.add_fish(device, case, state="killed", killed_by="overdose of anaesthetic")
    laboratory = looking.add_examination(device, look, "lab_pcr", fish=fish)
    looking.record_finding(device, laboratory, "pcr_khv", 1)
    page = shown(browser, case)
    head = text_of(page.split("What can be done")[0])
    assert "To be reported." in head
    assert "call the competent authority before anything is treated, moved or sold" in head
    assert page.index("option-refer_authority") < page.index("option-husbandry")


# --- steps ------------------------------------------------------------------------------------------------------------


def test_steps_are_edited_moved_added_and_taken_out(browser: Client, case: Case, chosen: PlanChoice) -> None:
    first, salt, dip, look = chosen.steps.all()
    day = clock.today() + dt.timedelta(days=3)
    browser.post(
        at(case, f"step/{first.pk}/"),
        {"text": "Change a fifth of the water", "days": day.isoformat(), "urgency": "now", "seen": first.version},
    )
    page = text_of(shown(browser, case))
    assert "Change a fifth of the water" in page
    assert "Changed. The tables say: Stop feeding" in page
    browser.post(at(case, "step/"), {"text": "Ask the neighbour for media", "days": "", "urgency": "lasting"})
    assert [step.kind for step in chosen.steps.all()] == ["husbandry", "treat", "treat", "own", "look"]
    before = [salt.days, dip.days]
    browser.post(at(case, f"step/{dip.pk}/"), {"move": "up"})
    assert [step.option for step in chosen.steps.all()][:3] == [first.option, "salt_dip", "salt_nitrite"]
    salt.refresh_from_db()
    dip.refresh_from_db()
    assert dip.days == before[0], "the agents change days with their places"
    assert salt.days > dip.days
    browser.post(at(case, f"step/{salt.pk}/remove/"))
    assert [step.kind for step in chosen.steps.all()] == ["husbandry", "treat", "own", "look"]
    browser.post(f"/case/{case.number}/undo/")
    assert chosen.steps.filter(option="salt_nitrite").exists()
    # choosing anew keeps own words and own steps
    browser.post(at(case, "choose/"), CHOICE | {"option": [first.option, "watch"]})
    texts = [step.text for step in chosen.steps.all()]
    assert texts[0] == "Change a fifth of the water"
    assert "Ask the neighbour for media" in texts
    assert chosen.steps.last().kind == "look"
    assert look.pk == chosen.steps.last().pk


def test_two_devices_on_one_step(browser: Client, phone_browser: Client, case: Case, chosen: PlanChoice) -> None:
    step = chosen.steps.first()
    asked = {"urgency": "now", "days": "", "seen": step.version}
    assert phone_browser.post(at(case, f"step/{step.pk}/"), asked | {"text": "On the phone"}).status_code == 302
    response = browser.post(at(case, f"step/{step.pk}/"), asked | {"text": "On the laptop"})
    assert response.status_code == 409
    assert PlanStep.objects.get(pk=step.pk).text == "On the phone"


@pytest.mark.parametrize(
    ("path", "sent", "words"),
    [
        ("step/", {"text": " ", "urgency": "now"}, "what is to be done"),
        ("step/", {"text": "x", "urgency": "never"}, "at once, or from now on"),
        ("step/", {"text": "x", "urgency": "now", "days": "tomorrow"}, "A day is written as"),
        ("step/", {"text": "x", "urgency": "now", "days": "2020-01-01"}, "before the first day"),
        ("water/", {"volume": "a lot"}, "a lot"),
        ("water/", {"volume": "780 L to 660 L"}, "no range"),
        ("water/", {"others": "unicorn"}, "no host 'unicorn'"),
        ("water/", {"living_plants": "perhaps"}, "yes or no"),
        ("agent/salt_dip/", {"strength": "strong"}, "strong"),
        ("agent/salt_dip/", {"volume": "0 L"}, "0 L"),
        ("agent/salt_dip/", {"step": "-1"}, "The step of scale or syringe"),
        ("agent/praziquantel_bath/", {"prescriber": "the veterinarian"}, "goes with its dose"),
        ("agent/praziquantel_bath/", {"dose": "2 ppm", "prescriber": "x"}, "not clear"),
        ("days/", {"agent": "salt_dip", "day": ["1", "4"]}, "begin with 0"),
        ("days/", {"agent": "moonlight", "day": ["0"]}, "no plan takes its days"),
        ("days/", {"agent": "salt_dip"}, "Say which days"),
    ],
)
def test_bad_input_is_a_sentence_and_nothing_is_written(
    browser: Client, case: Case, chosen: PlanChoice, path: str, sent: dict[str, Any], words: str
) -> None:
    acts = Act.objects.count()
    response = browser.post(at(case, path), sent)
    assert response.status_code == 422, response.content.decode()[:500]
    assert words in unescape(response.content.decode())
    assert Act.objects.count() == acts


def test_days_of_a_forecast_go_into_the_plan(browser: Client, case: Case, chosen: PlanChoice) -> None:
    response = browser.post(at(case, "days/"), {"agent": "salt_dip", "day": ["0", "4", "9"]})
    assert response.status_code == 302
    step = chosen.steps.get(option="salt_dip")
    days = [dt.date.fromisoformat(day) for day in step.days]
    assert [(day - days[0]).days for day in days] == [0, 4, 9]
    page = text_of(shown(browser, case))
    assert "3 givings where the table has 1" in page, "beyond the row, and it says so"
    look = chosen.steps.get(kind="look")
    assert dt.date.fromisoformat(look.days[0]) == days[-1] + dt.timedelta(days=7)
    # chosen anew, the days stay
    browser.post(at(case, "choose/"), CHOICE)
    assert chosen.steps.get(option="salt_dip").days == step.days


def test_the_days_that_were_searched_have_a_button_into_the_plan(
    browser: Client, case: Case, chosen: PlanChoice
) -> None:
    asked = {
        "parasite": "skin_flukes", "treat": "salt_dip", "burden": "5", "fish": "20", "volume": "660 L",
        "temperature": "25 C",
    }  # fmt: skip
    page = browser.get(f"/case/{case.number}/forecast/days/", asked).content.decode()
    form = re.search(r'<form method="post" action="/case/\d+/plan/days/">.*?</form>', page, re.S)
    assert form is not None
    days = re.findall(r'name="day" value="(\d+)"', form[0])
    assert days[0] == "0"
    browser.post(at(case, "days/"), {"agent": re.findall(r'name="agent" value="(\w+)"', form[0])[0], "day": days})
    begins = [dt.date.fromisoformat(day) for day in chosen.steps.get(option="salt_dip").days]
    assert [str((day - begins[0]).days) for day in begins] == days


def test_a_plan_is_found_by_its_words_and_goes_with_its_look(
    browser: Client, device: Device, case: Case, chosen: PlanChoice
) -> None:
    browser.post(at(case, "step/"), {"text": "Ask the neighbour for media", "urgency": "now"})
    assert case in with_words(Case.objects.all(), "neighbour")
    later = looking.begin_look(device, case, clock.today())
    browser.post(at(case, f"water/?look={later.pk}"), SAID)
    assert PlanChoice.objects.count() == 2
    looking.remove_look(device, later)
    assert PlanChoice.objects.get() == chosen
    browser.post(f"/case/{case.number}/undo/")
    assert PlanChoice.objects.filter(look__on=clock.today()).get().volume == "660 L to 780 L"


# --- papers -----------------------------------------------------------------------------------------------------------


def test_the_papers(browser: Client, case: Case, chosen: PlanChoice) -> None:
    keeper = text_of(shown(browser, case, "keeper/"))
    for heading in ("Now", "Today", "Doses", "Stop at once if", "Each day", "Dates", "Take care", "Message to copy"):
        assert heading in keeper
    assert "Treated water never reaches a pond" in keeper, "the caution of the agent"
    log = shown(browser, case, "log/?days=7")
    assert len(re.findall(r'<th scope="row">', log)) == 7
    assert "due: sodium chloride, dose 1 of 1" in text_of(log)
    assert "not looked at" in text_of(log)
    parcel = text_of(shown(browser, case, "parcel/"))
    assert parcel.count("Label: case, tank, species") == 3
    assert "10 volumes to one of tissue" in text_of(shown(browser, case, "parcel/?test=lab_histology"))
    assert browser.get(at(case, "parcel/?test=skin_scrape")).status_code == 404
    prevention = text_of(shown(browser, case, "prevention/"))
    assert "One origin to a system" in prevention
    assert "Mycobacteria are possible" in prevention
    assert "peroxymonosulphate" not in prevention, "it does nothing against them (Mainous and Smith 2005)"
    assert browser.get(at(case, "log/?days=99")).status_code == 422


def test_the_calendar_is_read_back_by_another_library(browser: Client, case: Case, chosen: PlanChoice) -> None:
    response = browser.get(at(case, "calendar/"))
    assert response["Content-Type"] == "text/calendar; charset=utf-8"
    assert response["Content-Disposition"].startswith("attachment")
    events = list(icalendar.Calendar.from_ical(response.content).walk("VEVENT"))
    days = {day for step in chosen.steps.all() for day in step.days}
    found = {getattr(event.decoded("dtstart"), "date", lambda e=event: e.decoded("dtstart"))() for event in events}
    assert {day.isoformat() for day in found} == days
    assert any("21 g of pure" in str(event.get("description", "")) for event in events)


def test_papers_need_a_choice(browser: Client, case: Case, water: Look) -> None:
    for path in ("keeper/", "log/", "calendar/"):
        response = browser.get(at(case, path))
        assert response.status_code == 422
        assert "Nothing was chosen yet" in response.content.decode()
    assert browser.get(at(case, "parcel/")).status_code == 200
    assert browser.get(at(case, "prevention/")).status_code == 200


def test_onto_today_once(browser: Client, device: Device, case: Case, chosen: PlanChoice) -> None:
    assert browser.post(at(case, "today/")).status_code == 302
    tasks = TaskDue.objects.filter(plan=chosen)
    kinds = sorted(tasks.values_list("kind", flat=True))
    assert kinds == ["dose", "dose", "look_again", "plan"]
    page = browser.get("/").content.decode()
    assert "Stop feeding" in text_of(page)
    assert f'href="{at(case)}?look={chosen.look_id}"' in page, "and lead back to the plan"
    keeping.finish_task(device, tasks.filter(kind="plan").get())
    browser.post(at(case, "today/"))
    assert sorted(tasks.values_list("kind", flat=True)) == kinds, "not doubled; what is done stays done"
    assert tasks.exclude(done_at=None).count() == 1
    browser.post(f"/case/{case.number}/undo/")
    assert tasks.count() == 4, "the first round is back"


# --- report, record, closed cases -------------------------------------------------------------------------------------


def test_the_report_has_the_plan_and_the_cautions_of_its_agents(
    browser: Client, case: Case, chosen: PlanChoice
) -> None:
    page = browser.get(f"/case/{case.number}/report/").content.decode()
    said = text_of(page)
    assert "The plan" in said
    assert "by the bench: Nitrite kills today" in said
    assert "21 g of pure" in said
    assert "One origin to a system" in said
    assert "Because of sodium chloride" in said
    teaching = text_of(
        browser.get(f"/case/{case.number}/report/?edition=teaching").content.decode().split('class="sheets"')[1]
    )
    assert "Nitrite kills today" not in teaching
    assert "21 g of pure" in teaching
    message = browser.get(f"/case/{case.number}/report/file/?as=txt").content.decode()
    assert "21 g of pure" in message


def test_the_plan_goes_out_and_in_with_the_case(
    browser: Client, device: Device, case: Case, chosen: PlanChoice
) -> None:
    browser.post(at(case, "step/"), {"text": "Ask the neighbour for media", "days": "", "urgency": "lasting"})
    record = case_record(case)
    plan = record.looks[0].plan
    assert plan is not None
    assert (plan.by, plan.volume, plan.living["plants"]) == ("the bench", "660 L to 780 L", "no")
    assert plan.agents["salt_dip"].volume == "10 L"
    assert case_record(import_case(device, record)).looks[0].plan == plan


def test_a_later_look_begins_with_what_is_known(
    browser: Client, device: Device, case: Case, chosen: PlanChoice
) -> None:
    later = looking.begin_look(device, case, clock.today())
    scrape = looking.add_examination(device, later, "skin_scrape", fish=case.fish.first())
    looking.record_finding(device, scrape, "skin_costia", 1)
    page = text_of(shown(browser, case, f"?look={later.pk}"))
    assert "660 L to 780 L" in page
    assert "What was chosen" not in page, "each look has its own plan"
    assert "What was chosen" in text_of(shown(browser, case, f"?look={chosen.look_id}"))


def test_a_closed_case_is_locked(browser: Client, device: Device, case: Case, chosen: PlanChoice) -> None:
    cases.close_case(device, case, outcome="recovered")
    page = shown(browser, case)
    assert "What was chosen" in page
    actions = set(re.findall(r'<form[^>]* action="([^"]*)"', page))
    assert actions <= {"/light/", f"/case/{case.number}/undo/"}
    for path, sent in (("choose/", CHOICE), ("water/", SAID), ("today/", {}), ("step/", {"text": "x"})):
        assert browser.post(at(case, path), sent).status_code == 409, path
    assert "21 g of pure" in text_of(shown(browser, case, "keeper/"))


def test_nothing_looked_at(browser: Client, case: Case) -> None:
    assert "Nothing was looked at in this look yet" in shown(browser, case)
    assert browser.post(at(case, "choose/"), CHOICE).status_code == 422


def test_strangers_wrong_methods_and_what_is_not_there(
    browser: Client, phone_browser: Client, stranger: Client, case: Case, chosen: PlanChoice
) -> None:
    step = chosen.steps.first()
    gets = ("", "keeper/", "log/", "calendar/", "parcel/", "prevention/", "agent/salt_dip/")
    posts = ("water/", "choose/", "step/", f"step/{step.pk}/", f"step/{step.pk}/remove/", "days/", "today/")
    for path in gets:
        assert phone_browser.get(at(case, path)).status_code == 200, path
        assert stranger.get(at(case, path)).status_code in (302, 403, 404), path
    for path in posts:
        assert browser.get(at(case, path)).status_code == 405, path
        assert stranger.post(at(case, path)).status_code in (302, 403, 404), path
    for path in ("step/999999/", "step/999999/remove/"):
        assert browser.post(at(case, path), {"text": "x"}).status_code == 404
    assert browser.get(at(case, "agent/moonlight/")).status_code == 404
    assert browser.get("/case/999/plan/").status_code == 404
    assert browser.get(at(case, "?look=999999")).status_code == 404


def test_more_steps_ask_no_more_of_the_database(browser: Client, case: Case, chosen: PlanChoice) -> None:
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as captured:
            shown(browser, case)
        return len(captured)

    queries()
    before = queries()
    for n in range(10):
        browser.post(at(case, "step/"), {"text": f"Step {n}", "urgency": "now"})
    assert queries() == before
