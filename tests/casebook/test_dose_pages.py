"""The pages of doses, volumes, courses, water changes and feed: what they work out, refuse, ask and write down.

What the core computes is tested in test_dose.py and its neighbours; here figures are held against hand arithmetic and
against the core, and every stop that a page can meet is met.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable
from html import unescape
from typing import Any
from urllib.parse import urlencode

import pytest
from django.test import Client

from wetmount.casebook.models import Act, Case, Device, Note, Tank, TaskDue
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, keeping, looking
from wetmount.casebook.views import dose as dose_view
from wetmount.casebook.views.dose_forms import agents_by_route, agents_without_sum, is_demonstration, row_link
from wetmount.casebook.views.room_keeping import _change_named
from wetmount.mixing import Water, mix
from wetmount.together import may_go_with
from wetmount.units import CACO3_MG_PER_L_PER_DEGREE
from wetmount.volume import SHAPES

pytestmark = pytest.mark.django_db

PAGES = ("/dose/", "/dose/with/", "/dose/volume/", "/dose/course/", "/dose/changes/", "/dose/feed/")
SALT = {
    "agent": "salt_indefinite", "dose": "3 g/L", "strength": "pure", "step": "1 g", "volume": "100 L",
    "standing": "measured", "water": "fresh", "kh": "8 dKH", "gh": "10 dGH", "host": "koi",
    "nothing_else": "yes", "go": "1",
}  # fmt: skip
FORMALIN = {
    "agent": "formalin_short", "strength": "37 % w/w", "lawful": "yes", "checked": ["aerated", "stock_clear"],
    "volume": "20 L", "standing": "measured", "temperature": "24 C", "oxygen": "7 mg/L", "water": "fresh",
    "kh": "6 dKH", "gh": "8 dGH", "host": "koi", "nothing_else": "yes", "go": "1",
}  # fmt: skip


PAPER = {"paper": "prescription", "prescriber": "Dr Hale"}


def text(response: Any) -> str:
    """A page as it is read: no tags, single blanks."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def ask(browser: Client, asked: dict[str, Any], page: str = "/dose/", **more: Any) -> str:
    return text(browser.get(page, asked | more))


# --- who, how, from where ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("page", PAGES)
def test_every_page_opens_with_and_without_a_case_and_for_nobody_else(
    browser: Client, stranger: Client, case: Case, page: str
) -> None:
    assert browser.get(page).status_code == 200
    within = text(browser.get(page, {"case": case.number}))
    assert case.title in within
    assert browser.get(page, {"case": 999}).status_code == 404
    assert browser.get(page, {"case": "x"}).status_code == 404
    assert stranger.get(page).status_code == 403
    assert browser.put(page).status_code == 405


def test_today_and_the_case_lead_to_the_pages(browser: Client, case: Case) -> None:
    assert 'href="/dose/"' in browser.get("/").content.decode()
    assert "not in the casebook yet" not in text(browser.get("/"))
    assert f'href="/dose/?case={case.number}"' in browser.get(f"/case/{case.number}/").content.decode()


def test_from_a_case_come_its_fish_its_water_and_its_readings(browser: Client, device: Device, case: Case) -> None:
    look = case.looks.get()
    keeping.set_reading(device, look, "temperature", "25.5 C")
    keeping.set_reading(device, look, "kh", "5 dKH")
    page = browser.get("/dose/", {"case": case.number, "agent": "copper_sulfate_fw"}).content.decode()
    assert 'value="Melanotaenia boesemani"' in page
    assert 'value="5 dKH"' in page
    assert 'value="25.5 C"' in page
    assert "Filled in: the readings of 3 October. Type what is so now." in unescape(re.sub(r"<[^>]+>", "", page))
    # a later look without them: what was read before does not count as the water now
    looking.begin_look(device, case, dt.date(2026, 10, 20))
    later = browser.get("/dose/", {"case": case.number, "agent": "copper_sulfate_fw"})
    assert 'value="5 dKH"' not in later.content.decode()
    # the tank stands on a rack: the water that is dosed is that of the rack
    assert re.search(r'<option value="system:\d+" selected>Rack A, 660 L</option>', page)


# --- amounts ----------------------------------------------------------------------------------------------------------


def test_an_amount_by_hand_arithmetic(browser: Client) -> None:
    """3 g/L of salt in 100 L are 300 g, in three parts of 100 g; 100 microlitres/L of stock in 20 L are 2 mL."""
    page = ask(browser, SALT)
    assert "Sodium chloride: 300 g of pure, in 3 parts of 100 g" in page
    assert "Dosed for 100 L" in page
    assert "Formalin (37 % stock): 2 mL of 37 % w/w" in ask(browser, FORMALIN, kh="10 dKH", gh="12 dGH")


def test_a_volume_that_nobody_measured_is_taken_wide_and_dosed_for_the_least(browser: Client) -> None:
    """Least: 100 x 0.75 x 0.80 = 60 L, so 180 g at 3 g/L; it says so."""
    for standing in ("guess", ""):
        page = ask(browser, SALT, standing=standing)
        assert "Dosed for 60 L, the least the water may be (60 L to 100 L)" in page
        assert "not measured: taken wide" in page
        assert "Sodium chloride: 180 g" in page
    assert "Dosed for 80 L, the least" in ask(browser, SALT, volume="80 L to 120 L")


def test_too_little_kills_so_the_most_water_counts_for_chlorine(browser: Client) -> None:
    """7.4 mg to the mg of chlorine (Piper et al. 1982): 1 mg/L in 120 L, the most of the range, need 888 mg."""
    asked = {"agent": "sodium_thiosulfate", "strength": "pure", "step": "1 mg", "volume": "100 L to 120 L",
             "chlorine": "1 mg/L", "ammonia": "0 mg/L N", "water": "fresh", "host": "koi", "go": "1"}  # fmt: skip
    page = ask(browser, asked)
    assert "Dosed for 120 L, the most the water may be" in page
    assert "888 mg of pure" in page


def test_the_rounding_error_is_shown(browser: Client) -> None:
    """2.9 g/L x 10 L = 29 g, in three parts of 9.67 g: to the gram 3 x 9 = 27 g, 6.9 % under."""
    page = ask(browser, SALT, dose="2.9 g/L", volume="10 L")
    assert "27 g of pure, in 3 parts of 9 g" in page
    assert "rounded down, 6.9 % under the exact amount" in page


def test_formalin_is_measured_in_ml_though_its_label_counts_by_weight(browser: Client) -> None:
    assert "2.5 mL of 37 % w/w" in ask(browser, FORMALIN, kh="10 dKH", gh="12 dGH", volume="27 L", step="0.5 mL")
    assert "is no step here: this is measured with a syringe" in ask(browser, FORMALIN, step="0.1 g")


def test_a_stock_that_was_made_is_what_is_measured(browser: Client) -> None:
    """3 g made up to 750 mL are 4 mg/mL; 2 mg/L in 5 L are 10 mg: 2.5 mL."""
    asked = SALT | {"agent": "methylene_blue", "dose": "2 mg/L", "volume": "5 L", "stock": "3 g",
                    "stock_in": "750 mL", "step": "0.1 mL", "temperature": "24 C", "oxygen": "7 mg/L"}  # fmt: skip
    page = ask(browser, asked)
    assert "2.5 mL of 3 g of pure in 750 mL" in page


def test_feed_says_who_is_reached(browser: Client) -> None:
    asked = {"agent": "vitamin_c_feed", "strength": "pure", "step": "1 mg", "biomass": "850 g", "ration": "1",
             "eating": "60", "days": "10", "host": "koi", "go": "1"}  # fmt: skip
    page = ask(browser, asked)
    assert "40 % of the group does not eat and is not treated" in page
    # 850 g x 0.6 x 1 % = 5.1 g a day
    assert "5.1 g a day for 10 days" in page


def test_an_injection_only_from_a_prescription(browser: Client) -> None:
    """10 mg/kg into 1.5 kg at 50 mg/mL is 0.3 mL (the worked example of feed.injection_ml)."""
    asked = {"agent": "enrofloxacin_inject", "strength": "50 mg/mL", "step": "0.01 mL", "biomass": "1500 g",
             "dose": "10 mg/kg", "host": "koi", "go": "1"}  # fmt: skip
    assert "an amount is worked out only from a dose typed from a prescription or label" in ask(browser, asked)
    page = ask(browser, asked, paper="prescription", prescriber="Dr Hale")
    assert "0.3 mL of 50 mg/mL" in page


def test_every_sum_opens_to_its_rows(browser: Client) -> None:
    page = browser.get("/dose/", FORMALIN).content.decode()
    assert 'href="/reference/doses/formalin_short/"' in page
    assert 'href="/reference/treatments/formalin_short/"' in page
    assert "Amount = water × dose ÷ strength in hand" in page
    for address in set(re.findall(r'href="(/reference/[^"]+)"', page)):
        assert browser.get(unescape(address)).status_code == 200, address


@pytest.mark.parametrize(
    "address",
    [
        "/dose/feed/?species_1=koi&count_1=3&length_1=30+cm&species_2=goldfish&count_2=2&length_2=12+cm&temperature=20+C&go=1",
        "/dose/course/?agent=copper_ion_marine&dose=0.2+mg/L+Cu&go=1",
        "/dose/with/?agent=copper_sulfate_fw&that=soft_water",
        "/dose/?agent=copper_sulfate_fw&go=1",
        "/dose/",
    ],
)
def test_every_row_that_is_named_opens(browser: Client, address: str) -> None:
    page = browser.get(address).content.decode()
    links = set(re.findall(r'href="(/reference/[^"]{3,})"', page))
    assert links
    for link in links:
        assert browser.get(unescape(link)).status_code == 200, link


def test_every_agent_gives_an_amount_a_question_or_a_stated_refusal(browser: Client) -> None:
    """All of the table, in hard tropical water with common things in hand: no page breaks, none is silent."""
    asked = {
        "strength": "100 mg/mL", "volume": "1000 L", "standing": "measured", "water": "fresh", "temperature": "24 C",
        "oxygen": "7 mg/L", "ph": "7.6", "kh": "8 dKH", "gh": "10 dGH", "nitrite": "0.5 mg/L NO2",
        "chloride": "20 mg/L",
        "chlorine": "0.5 mg/L", "ammonia": "0 mg/L N", "rise": "1", "biomass": "2 kg", "ration": "1", "host": "koi",
        "lawful": "yes", "checked": ["aerated", "stock_clear", "copper_test", "buffered"], "nothing_else": "yes",
        "go": "1",
    }  # fmt: skip
    said = []
    for id, row in reference().doses.items():
        copper = " Cu" if row.substance == "copper" else " CuSO4" if row.substance.startswith("copper sul") else ""
        dose = (
            {"dose": f"{row.low:g} {row.unit}{copper}"}
            if row.low and not row.rule.startswith(("chlor", "thio"))
            else {}
        )
        on_paper = PAPER if dose else {}
        response = browser.get("/dose/", asked | {"agent": id} | dose | on_paper)
        page = text(response)
        assert response.status_code in (200, 422), id
        states = ["No amount:" in page, "Is this meant?" in page, "Measured to the step" in page, "is needed." in page]
        if response.status_code == 422:
            assert "wants another look" in page or "want another look" in page, id
        else:
            assert any(states), id
        said.append("amount" if states[2] else "not")
    assert said.count("amount") >= 30


def test_a_rule_of_the_water_opens_to_its_words() -> None:
    assert "alkalinity / 100" in row_link("dose_rules copper_by_alkalinity").says
    assert row_link("conflicts aldehyde, oxidiser").href == "/reference/conflicts/?of=aldehyde"
    assert row_link("dose_limits any_bath, scaleless_like").href.startswith("/reference/dose_limits/")


def test_cautions_of_the_agent_stand_beside_the_amount(browser: Client) -> None:
    page = ask(browser, FORMALIN)
    assert "Formalin causes cancer" in page
    assert "Treated water never reaches a pond" in page


def test_a_dose_goes_onto_today_and_to_its_course(browser: Client, case: Case) -> None:
    page = browser.get("/dose/", SALT).content.decode()
    assert "/dose/course/?agent=salt_indefinite&amp;dose=3+g%2FL&amp;volume=100+L+to+100+L" in page
    on = re.search(r'name="on" value="(\d{4}-\d\d-\d\d)"', page)
    assert on is not None
    sent = {"kind": "dose", "title": "Salt: 300 g", "detail": "x", "on": on[1], "back": "/"}
    assert browser.post(f"/dose/tasks/?case={case.number}", sent).status_code == 302
    task = TaskDue.objects.get()
    assert (task.kind, task.title, task.case_id) == ("dose", "Salt: 300 g", case.pk)


def test_an_amount_is_written_down_with_who_prescribed_it(browser: Client, case: Case, tank: Tank) -> None:
    asked = SALT | PAPER | {"agent": "praziquantel_bath", "dose": "2 mg/L", "step": "1 mg", "temperature": "24 C",
                            "case": case.number}  # fmt: skip
    page = browser.get("/dose/", asked)
    assert "From a prescription by Dr Hale" in text(page)
    keep = re.search(r'action="(/dose/keep/[^"]+)"', page.content.decode())
    assert keep is not None
    assert browser.post(unescape(keep[1])).status_code == 302
    note = Note.objects.get()
    assert note.case_id == case.pk
    assert "Praziquantel: 200 mg of pure" in note.text.replace("praziquantel", "Praziquantel")
    assert "From a prescription by Dr Hale." in note.text
    assert "Water: 100 to 100 L." in note.text
    # without a case, with a tank; without either, and without an amount, nowhere
    address = query(SALT, place=f"system:{tank.system_id}").replace("/dose/", "/dose/keep/")
    assert browser.post(address).status_code == 302
    assert Note.objects.filter(system=tank.system).count() == 1
    assert browser.post(query(SALT).replace("/dose/", "/dose/keep/")).status_code == 422
    too_much = query(SALT | {"dose": "50 g/L"}, case=case.number).replace("/dose/", "/dose/keep/")
    assert browser.post(too_much).status_code == 422
    assert browser.get("/dose/keep/").status_code == 405
    assert Note.objects.count() == 2


# --- agents without a sum ---------------------------------------------------------------------------------------------


def test_agents_without_a_sum_are_text_and_are_refused(browser: Client) -> None:
    offered = {id for _, rows in agents_by_route() for id, _ in rows}
    without = {id for id, _, _ in agents_without_sum()}
    assert offered | without == set(reference().treatments)
    assert not offered & without
    page = ask(browser, {})
    for id, name, why in agents_without_sum():
        assert f"{name} : {why}." in page
        refused = text(browser.get("/dose/", {"agent": id, "go": "1", "strength": "pure", "volume": "10 L"}))
        assert f"No amount: {name.lower()}" in refused, id


def test_no_row_for_the_skin_is_a_statement(browser: Client) -> None:
    routes = {row.route for row in reference().doses.values()} | {row.route for row in reference().treatments.values()}
    assert not [route for route in routes if "topical" in route]
    assert "On the skin: no row of the reference gives a substance painted on a fish" in ask(browser, {})


# --- every stop -------------------------------------------------------------------------------------------------------

COPPER = SALT | {
    "agent": "copper_sulfate_fw", "dose": "0.5 mg/L CuSO4", "lawful": "yes", "checked": "copper_test", "ph": "7.4",
}  # fmt: skip
STOPS: list[tuple[str, dict[str, Any], str]] = [
    ("food", SALT | {"food": "yes"}, "never for fish that people or animals may eat"),
    ("prescription", SALT | {"agent": "praziquantel_bath", "dose": "2 mg/L"}, "worked out only from a dose typed"),
    (
        "prescriber",
        SALT | {"agent": "praziquantel_bath", "dose": "2 mg/L", "paper": "label"},
        "the prescriber, or the name of the label",
    ),
    ("lawful", FORMALIN | {"lawful": ""}, "the law here is not stated"),
    ("antibiotic bath", SALT | {"agent": "kanamycin_bath", "dose": "50 mg/L"}, "an antibiotic bath does not reach"),
    ("salt or fresh", SALT | {"water": ""}, "not said whether the water is fresh or sea"),
    ("fresh only", SALT | {"water": "sea"}, "this dose is for fresh water only"),
    ("temperature unknown", FORMALIN | {"temperature": ""}, "temperature is not known"),
    ("too warm", FORMALIN | {"temperature": "29 C"}, "temperature 29 °C is above"),
    ("too cold", FORMALIN | {"temperature": "5 C"}, "temperature 5 °C is under"),
    ("oxygen unknown", FORMALIN | {"oxygen": ""}, "oxygen is not known"),
    ("little oxygen", FORMALIN | {"oxygen": "3 mg/L"}, "oxygen 3 mg/L is under"),
    ("pH unknown", SALT | {"agent": "malachite_green", "dose": "0.05 mg/L", **PAPER}, "pH is not known"),
    ("no aeration", FORMALIN | {"checked": ["stock_clear"]}, "strong aeration is running"),
    ("cloudy stock", FORMALIN | {"checked": ["aerated"]}, "the formalin stock is clear"),
    ("not 37 %", FORMALIN | {"strength": "10 % w/v"}, "the dose counts 37 % stock"),
    ("copper, alkalinity unknown", COPPER | {"kh": ""}, "alkalinity is not known"),
    ("copper in soft water", COPPER | {"kh": "1 dKH", "gh": "1 dGH"}, "free copper rises in soft water"),
    ("no copper test", COPPER | {"checked": ""}, "a copper test is at hand"),
    ("snails", COPPER | {"thing": "invertebrates"}, "not with invertebrates"),
    (
        "sensitive fish",
        SALT
        | {"agent": "malachite_green", "dose": "0.05 mg/L", "host": "loach", "temperature": "24 C", "ph": "7", **PAPER},
        "not with",
    ),
    (
        "meets permanganate",
        FORMALIN | {"before_1": "kmno4_short", "hours_1": "3", "changed_1": "0"},
        "formaldehyde and an oxidiser react",
    ),
    (
        "too soon",
        FORMALIN | {"before_1": "formalin_short", "hours_1": "3"},
        "given 3 h ago; the next dose is due after 48 h",
    ),
    ("ten times too much", SALT | {"dose": "50 g/L"}, "about tenfold: a decimal point?"),
    ("a thousand times too much", SALT | {"dose": "5000 g/L"}, "about thousandfold"),
    ("already there", SALT | {"dose": "3 g/L", "already": "3 g/L"}, "with 3 g/L already there"),
    ("too long", FORMALIN | {"minutes": "5 h"}, "300 min is longer than"),
    ("volume unknown", SALT | {"volume": ""}, "the volume of water is not known"),
    ("strength unknown", SALT | {"strength": ""}, "the strength of what is in hand is not known"),
    (
        "weight unknown",
        {"agent": "vitamin_c_feed", "strength": "pure", "ration": "1", "host": "koi", "go": "1"},
        "the weight of the fish is not known",
    ),
    (
        "too small for the scale",
        SALT
        | {
            "agent": "methylene_blue",
            "dose": "2 mg/L",
            "volume": "1 L",
            "step": "0.1 g",
            "temperature": "24 C",
            "oxygen": "7 mg/L",
            "kh": "8 dKH",
            "gh": "9 dGH",
        },
        "cannot be measured in steps of",
    ),
    (
        "volume too open",
        {
            "agent": "salt_nitrite",
            "strength": "pure",
            "nitrite": "1 mg/L NO2",
            "chloride": "0 mg/L",
            "volume": "100 L to 300 L",
            "water": "fresh",
            "host": "koi",
            "go": "1",
        },
        "the volume is too uncertain",
    ),
    (
        "nitrite unknown",
        {"agent": "salt_nitrite", "strength": "pure", "volume": "100 L", "water": "fresh", "host": "koi", "go": "1"},
        "nitrite is not known",
    ),
    (
        "chlorine unknown",
        {
            "agent": "sodium_thiosulfate",
            "strength": "pure",
            "volume": "100 L",
            "water": "fresh",
            "host": "koi",
            "go": "1",
        },
        "total chlorine is not known",
    ),
    (
        "ammonia unknown",
        {
            "agent": "sodium_bicarbonate",
            "strength": "pure",
            "volume": "100 L",
            "rise": "1",
            "water": "fresh",
            "host": "koi",
            "go": "1",
        },
        "total ammonia is not known",
    ),
]


@pytest.mark.parametrize(("asked", "sentence"), [one[1:] for one in STOPS], ids=[one[0] for one in STOPS])
def test_every_stop_stands_in_place_of_the_amount(browser: Client, asked: dict[str, Any], sentence: str) -> None:
    page = text(browser.get("/dose/", asked))
    assert re.search(r"No amount: \d+ things? stands? against it", page), page[:1500]
    assert sentence.casefold() in page.casefold()
    assert "Measured to the step" not in page
    assert "Put it on Today" not in page


def test_unnamed_fish_count_as_the_most_sensitive(browser: Client) -> None:
    """Malachite green is refused for scaleless fish, and fish that nobody named may be such."""
    asked = SALT | {
        "agent": "malachite_green",
        "dose": "0.05 mg/L",
        "temperature": "24 C",
        "ph": "7",
        "checked": "handler",
        **PAPER,
    }
    assert "No amount" not in ask(browser, asked | {"strength": "1 mg/mL", "step": "0.1 mL"})
    assert "Not with" in ask(browser, asked, host="")


def test_a_dose_far_too_small_is_asked_about_and_confirmed(browser: Client) -> None:
    page = browser.get("/dose/", SALT | {"dose": "2 mg/L", "step": "1 mg"})
    assert "Is this meant?" in text(page)
    assert "about thousandfold" not in text(page) or "g for mg" in text(page)
    assert "300 g" not in text(page)
    yes = re.search(r'<a class="btn" href="([^"]+checked=slip_low[^"]*)"', page.content.decode())
    assert yes is not None
    confirmed = text(browser.get("/dose/" + unescape(yes[1])))
    assert "Is this meant?" not in confirmed
    assert "Sodium chloride: 198 mg" in confirmed  # 2 mg/L x 100 L = 200 mg, three parts of 66 mg


# --- overrides --------------------------------------------------------------------------------------------------------


def warm() -> dict[str, Any]:
    return FORMALIN | {"temperature": "28 C"}


def go_against(browser: Client, address: str, **sent: str) -> Any:
    return browser.post(address, {"stop": "temperature", "person": "Dr Hale", "reason": "no way to cool it"} | sent)


def query(asked: dict[str, Any], **more: Any) -> str:
    return "/dose/?" + urlencode(asked | more, doseq=True)


def test_a_named_person_goes_against_a_stop_in_a_case_and_it_is_written_down(browser: Client, case: Case) -> None:
    address = query(warm(), case=case.number)
    assert "Go against it, by name" in text(browser.get(address))
    page = text(go_against(browser, address))
    assert "Formalin (37 % stock): " in page
    assert "Gone against: temperature, by Dr Hale, because: no way to cool it." in page
    note = Note.objects.get()
    assert note.case_id == case.pk
    assert "Dr Hale went against the stop (temperature), because: no way to cool it" in note.text
    # the address alone overrides nothing
    assert "No amount" in text(browser.get(address))


def test_an_override_without_a_case_is_written_down_with_the_tank(browser: Client, tank: Tank) -> None:
    assert "Go against it, by name" not in text(browser.get(query(warm())))
    refused = go_against(browser, query(warm()))
    assert refused.status_code == 422
    assert "An override is written down: choose the tank" in text(refused)
    page = text(go_against(browser, query(warm(), place=f"tank:{tank.pk}")))
    assert "Gone against" in page
    assert Note.objects.get().tank_id == tank.pk


@pytest.mark.parametrize("sent", [{"person": ""}, {"reason": ""}, {"reason": "because"}])
def test_an_override_needs_name_and_reason(browser: Client, case: Case, sent: dict[str, str]) -> None:
    refused = go_against(browser, query(warm(), case=case.number), **sent)
    assert refused.status_code == 422
    assert "An override needs the person's name and a written reason" in text(refused)
    assert "Measured to the step" not in text(refused)
    assert not Note.objects.exists()


def test_what_nobody_goes_against(browser: Client, case: Case) -> None:
    asked = query(SALT | {"dose": "50 g/L"}, case=case.number)
    assert "Go against it" not in text(browser.get(asked))
    refused = go_against(browser, asked, stop="hard_max")
    assert refused.status_code == 422
    assert "cannot be overridden" in text(refused)


def test_never_in_the_demonstration_and_never_in_a_closed_case(browser: Client, device: Device, case: Case) -> None:
    address = query(warm(), case=case.number)
    with pytest.MonkeyPatch.context() as patch:
        for module in ("wetmount.casebook.views.dose", "wetmount.casebook.views.dose_order"):
            patch.setattr(f"{module}.is_demonstration", lambda: True)
        assert "Nothing is overridden in the demonstration." in text(browser.get(address))
        refused = go_against(browser, address)
        assert refused.status_code == 422
        assert "nothing is overridden in the demonstration" in text(refused).casefold()
    cases.close_case(device, case, outcome="recovered", on=dt.date(2026, 10, 20))
    assert "Go against it, by name" not in text(browser.get(address))
    assert go_against(browser, address).status_code == 422
    assert not Note.objects.exists()


def test_the_demonstration_is_known_by_who_wrote_it(device: Device) -> None:
    assert not is_demonstration()
    Device.objects.create(kind="import", name="demonstration", paired_at=device.paired_at)
    assert is_demonstration()


# --- bad input --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("page", "asked", "sentence"),
    [
        ("/dose/", SALT | {"volume": "100"}, "has no unit"),
        ("/dose/", SALT | {"volume": "0 L"}, "0 L is no volume to dose"),
        ("/dose/", SALT | {"volume": "9e9 L"}, "volume"),
        ("/dose/", SALT | {"volume": "780 L to 660 L"}, "is no range"),
        ("/dose/", SALT | {"volume": "50 gallons"}, "US or UK"),
        ("/dose/", SALT | {"dose": "3"}, "has no unit"),
        ("/dose/", SALT | {"dose": "3 ppm"}, "ppm is 1 mg/L"),
        ("/dose/", SALT | {"dose": "3 uL/L"}, "does not fit"),
        ("/dose/", SALT | {"strength": "50 %"}, "is not clear"),
        ("/dose/", SALT | {"strength": "120 % w/w"}, "over 100 %"),
        ("/dose/", SALT | {"step": "0.1 mL"}, "is no step here"),
        ("/dose/", SALT | {"host": "unicorn"}, "No host 'unicorn'"),
        ("/dose/", SALT | {"temperature": "25"}, "has no unit"),
        ("/dose/", SALT | {"stock": "3 g"}, "A stock needs both"),
        ("/dose/", SALT | {"place": "tank:99", "volume": ""}, "There is no such tank"),
        ("/dose/", SALT | {"before_1": "formalin_short"}, "Say how many hours ago"),
        (
            "/dose/",
            SALT | PAPER | {"agent": "praziquantel_bath", "dose": ""},
            "Type the dose as the prescription or label has it",
        ),
        ("/dose/", {"agent": "prayer"}, "There is no such agent"),
        ("/dose/with/", {"agent": "prayer"}, "There is no such agent"),
        ("/dose/with/", {"agent": "salt_dip", "that": "prayer"}, "There is no 'prayer' in the tables"),
        (
            "/dose/volume/",
            {"how": "salt", "salt": "0 g", "before": "350 uS/cm", "after": "940 uS/cm", "go": "1"},
            "more than 0",
        ),
        (
            "/dose/volume/",
            {"how": "salt", "salt": "30 g", "before": "350 uS/cm", "after": "351 uS/cm", "go": "1"},
            "too little to tell a volume",
        ),
        ("/dose/volume/", {"how": "label", "go": "1"}, "Type what the label says"),
        (
            "/dose/volume/",
            {"v1_shape": "box", "v1_length": "60", "v1_width": "30 cm", "v1_depth": "33 cm", "go": "1"},
            "has no unit",
        ),
        (
            "/dose/volume/",
            {"v1_shape": "box", "v1_length": "0 cm", "v1_width": "30 cm", "v1_depth": "33 cm", "go": "1"},
            "must be more than 0",
        ),
        (
            "/dose/volume/",
            {
                "v1_shape": "box",
                "v1_length": "60 cm",
                "v1_width": "30 cm",
                "v1_depth": "33 cm",
                "v1_below": "40 cm",
                "go": "1",
            },
            "under the floor",
        ),
        (
            "/dose/volume/",
            {
                "v1_shape": "box",
                "v1_length": "60 cm",
                "v1_width": "30 cm",
                "v1_depth": "33 cm",
                "v1_rock": "900 kg",
                "go": "1",
            },
            "take more room than the vessel has",
        ),
        ("/dose/course/", {"agent": "praziquantel_feed", "go": "1"}, "makes no concentration in the tank"),
        ("/dose/course/", {"agent": "salt_indefinite", "changes": "24 h 100 %", "go": "1"}, "a change of 100 %"),
        ("/dose/course/", {"agent": "salt_indefinite", "changes": "tomorrow", "go": "1"}, "is no change"),
        ("/dose/course/", {"agent": "salt_indefinite", "carbon": "24 h", "go": "1"}, "Carbon wants both"),
        ("/dose/course/", {"agent": "copper_sulfate_fw", "dose": "0.5 mg/L", "go": "1"}, "say what is counted"),
        ("/dose/changes/", {"fraction": "100", "go": "1"}, "a change of 100 %"),
        (
            "/dose/changes/",
            {"now": "80 mg/L NO3", "target": "20 mg/L NO3", "first": "2020-01-01", "go": "1"},
            "is in the past",
        ),
        ("/dose/changes/", {"now": "80 mg/L NO3", "go": "1"}, "A target wants both"),
        ("/dose/changes/", {"now": "80", "target": "20 mg/L NO3", "go": "1"}, "has no unit"),
        ("/dose/changes/", {"chlorine": "1 mg/L", "go": "1"}, "Amounts want the volume"),
        ("/dose/course/", {"agent": "praziquantel_bath", "dose": "2 mg/L", "start": "3", "go": "1"}, "has no unit"),
        (
            "/dose/changes/",
            {"chlorine": "1 mg/L", "combined": "2 mg/L", "volume": "10 L", "go": "1"},
            "combined chlorine is part of the total",
        ),
        (
            "/dose/feed/",
            {"species_1": "unicorn", "count_1": "3", "length_1": "4 cm", "go": "1"},
            "does not know this species",
        ),
        ("/dose/feed/", {"species_1": "koi", "count_1": "3", "length_1": "4 m", "go": "1"}, "is longer than"),
        ("/dose/feed/", {"weight": "100 g", "go": "1"}, "The temperature decides how much they eat"),
        ("/dose/feed/", {"weight": "100 g", "ration": "40", "go": "1"}, "from 0.01 to 10"),
        (
            "/dose/feed/",
            {"weight": "100 g", "ration": "1", "per_fish": "5", "per_feed": "1", "go": "1"},
            "One of the two",
        ),
    ],
)
def test_bad_input_has_its_sentence_and_keeps_what_was_typed(
    browser: Client, page: str, asked: dict[str, Any], sentence: str
) -> None:
    response = browser.get(page, asked)
    assert response.status_code == 422
    assert sentence.casefold() in text(response).casefold(), text(response)[:3000]
    whole = unescape(response.content.decode())
    assert 'role="alert"' in whole
    for name, value in asked.items():
        if name not in ("go", "agent", "that", "how", "place", "water", "standing", "paper") and "shape" not in name:
            assert f'value="{value}"' in whole or f'value="{value}" selected' in whole, name
    assert "Put it on Today" not in whole


def test_a_wrong_field_is_tied_to_its_sentence(browser: Client) -> None:
    page = browser.get("/dose/", SALT | {"volume": "100", "temperature": "25"}).content.decode()
    assert "2 fields want another look." in page
    for name in ("volume", "temperature"):
        assert re.search(rf'id="{name}"[^>]* aria-invalid="true" aria-describedby="{name}-wrong ', page)
        assert f'class="wrong" id="{name}-wrong"' in page


# --- may this go with that --------------------------------------------------------------------------------------------


def test_two_taps_from_agent_to_answer(browser: Client) -> None:
    first = browser.get("/dose/with/").content.decode()
    assert 'href="?agent=formalin_short"' in first
    second = browser.get("/dose/with/?agent=formalin_short").content.decode()
    assert 'href="?agent=formalin_short&amp;that=kmno4_short"' in second
    page = ask(browser, {"agent": "formalin_short", "that": "kmno4_short"}, "/dose/with/")
    assert "Formalin short with potassium permanganate short: no" in page
    assert "formaldehyde and an oxidiser react" in page.casefold()


@pytest.mark.parametrize("agent", ["copper_sulfate_fw", "malachite_green", "salt_dip", "ozone"])
def test_what_the_page_says_is_what_the_core_says(browser: Client, agent: str) -> None:
    for _, those in dose_view._all_meetings(agent, None):
        for id, _, verdict, _ in those:
            assert verdict == dose_view.VERDICTS[may_go_with(agent, id, reference()).verdict][0]
    page = browser.get("/dose/with/", {"agent": agent}).content.decode()
    for id in ("plants", "invertebrates", "filter_bacteria", "soft_water", "warm_water", "loach", "formalin_short"):
        assert f"that={id}" in page, id


# --- volumes ----------------------------------------------------------------------------------------------------------

BOX = {"v1_shape": "box", "v1_length": "60 cm", "v1_width": "30 cm", "v1_depth": "36 cm", "go": "1"}


def test_a_box_by_hand(browser: Client) -> None:
    """60 x 30 x 36 cm hold 64.8 L; 3 cm below the rim 59.4 L; inches are 2.54 cm."""
    page = ask(browser, BOX, "/dose/volume/")
    assert "64.8 L" in page
    assert "Box: L W h." in page
    assert "59.4 L" in ask(browser, BOX, "/dose/volume/", v1_below="3 cm")
    inches = {"v1_length": "23.622 in", "v1_width": "11.811 in", "v1_depth": "14.173 in"}
    assert "64.8 L" in ask(browser, BOX | inches, "/dose/volume/")


def test_several_vessels_are_one_water_and_a_label_is_a_check(browser: Client) -> None:
    more = {"vessels": "2", "v2_shape": "litres", "v2_litres": "8 L"}
    assert "72.8 L" in ask(browser, BOX | more, "/dose/volume/")
    assert "Which is right?" in ask(browser, BOX, "/dose/volume/", label="650 L")
    grown = browser.get("/dose/volume/", BOX | {"vessels": "1", "more": "2"}).content.decode()
    assert 'name="v2_shape"' in grown
    assert 'value="60 cm"' in grown


@pytest.mark.parametrize("shape", list(SHAPES))
def test_every_shape_can_be_asked(browser: Client, shape: str) -> None:
    formula, names = SHAPES[shape]
    sizes = {name: {"depth": 20.0, "bulge": 5.0, "short_side": 20.0}.get(name, 40.0) for name in names}
    asked = {"v1_shape": shape, "go": "1"} | {f"v1_{name}": f"{value:g} cm" for name, value in sizes.items()}
    page = ask(browser, asked, "/dose/volume/")
    best = re.search(r"(\d[\d.,]*) L Plausibly", page)
    assert best is not None, page[:1500]
    assert math.isclose(float(best[1].replace(",", "")), formula(*sizes.values()), rel_tol=5e-3)


def test_salt_measures_with_its_error(browser: Client) -> None:
    """30 g that raise conductivity from 0.35 to 0.94 mS/cm: about 100 L, within 3.3 % (one standard error)."""
    asked = {"how": "salt", "salt": "30 g", "before": "350 uS/cm", "after": "0.94 mS/cm", "go": "1"}
    page = ask(browser, asked, "/dose/volume/")
    assert "100 L Plausibly" in page
    assert "Standard error 3 %" in page


def test_what_was_worked_out_is_kept_with_the_tank_and_dosed(browser: Client, tank: Tank) -> None:
    address = "/dose/volume/keep/?" + urlencode(BOX)
    answer = browser.post(address, {"place": f"tank:{tank.pk}"})
    assert answer.status_code == 302
    tank.refresh_from_db()
    assert tank.volume_l == 64.8
    assert tank.volume_low_l is not None
    assert tank.volume_high_l is not None
    assert tank.volume_low_l < 64.8 < tank.volume_high_l
    assert Act.objects.filter(kind="change_tank").exists()
    page = ask(browser, SALT, volume="", place=f"tank:{tank.pk}", standing="")
    assert f"Dosed for {tank.volume_low_l:.3g} L, the least" in page


def test_a_figure_typed_in_the_room_ends_the_range(device: Device, tank: Tank) -> None:
    keeping.change_row(device, tank, "A4", volume_l=64.8, volume_low_l=60.0, volume_high_l=70.0)
    values = {"name": "A4", "system": tank.system, "volume_l": 64.8, "order": 0, "note": ""}
    _change_named(device, Tank.objects.get(pk=tank.pk), values, None)
    tank.refresh_from_db()
    assert tank.volume_low_l == 60.0
    _change_named(device, Tank.objects.get(pk=tank.pk), values | {"volume_l": 50.0}, None)
    tank.refresh_from_db()
    assert (tank.volume_l, tank.volume_low_l, tank.volume_high_l) == (50.0, None, None)


def test_nothing_is_kept_of_a_wrong_sum(browser: Client, tank: Tank) -> None:
    before = tank.volume_l
    for address, place in (("/dose/volume/keep/?v1_length=60&go=1", f"tank:{tank.pk}"),
                           ("/dose/volume/keep/?how=label&label=60+L", "tank:999"),
                           ("/dose/volume/keep/?how=label&label=60+L", "")):  # fmt: skip
        assert browser.post(address, {"place": place}).status_code == 422
    assert browser.get("/dose/volume/keep/").status_code == 405
    tank.refresh_from_db()
    assert tank.volume_l == before


# --- the course -------------------------------------------------------------------------------------------------------


def test_a_course_without_loss_adds_up_to_what_arithmetic_says(browser: Client) -> None:
    """1 g/L of salt three times with half the water changed between: 1, 1.5, 1.75 g/L; inside 1 to 5."""
    asked = {"agent": "salt_indefinite", "dose": "1 g/L", "times": "3", "every": "48 h", "until": "6", "before": "50",
             "go": "1"}  # fmt: skip
    page = ask(browser, asked, "/dose/course/")
    assert "Inside the band that works and is safe" in page
    assert re.search(r"day 0 1 1 .*day 2 1\.5 1\.5 .*day 4 1\.75 1\.75 ", page)
    drawn = browser.get("/dose/course/", asked).content.decode()
    assert drawn.count('class="chart ') == 2
    assert "stop: never above 5 g/L" in drawn
    assert 'aria-label="Concentration over 6 days under 3 doses: highest 1.75 g/L' in drawn


def test_a_course_that_decays_is_exact(browser: Client) -> None:
    """Half is lost in each half-life of the row: the table of the page against 2^(-t/h)."""
    lost = [one for one in reference().doses.values() if one.half_life_h and one.unit == "mg/L" and one.low]
    row = max(lost, key=lambda one: one.half_life_h or 0)
    asked = {"agent": row.treatment, "dose": f"{row.low:g} mg/L", "times": "1", "until": "2", "go": "1"}
    page = ask(browser, asked, "/dose/course/")
    found = dict(re.findall(r"hour (\d+) ([\d.]+)", page))
    assert row.low is not None
    assert row.half_life_h is not None
    assert len(found) > 2
    for hour, value in found.items():
        expected = row.low * 2 ** (-float(hour) / row.half_life_h)
        assert math.isclose(float(value), expected, rel_tol=6e-3), hour


def test_a_course_that_passes_the_stop_or_falls_short_says_so(browser: Client) -> None:
    over = {"agent": "salt_indefinite", "dose": "3 g/L", "times": "3", "every": "24 h", "until": "5", "go": "1"}
    page = ask(browser, over, "/dose/course/")
    assert "This course passes the hard stop." in page
    assert "Passes the hard stop of 5 g/L from hour 24" in page
    short = ask(browser, over | {"dose": "0.5 g/L", "times": "1"}, "/dose/course/")
    assert "Under the hard stop." in short
    assert "Under the effective 1 g/L for 120 of 120 h" in short


def test_top_ups_carbon_and_an_open_volume(browser: Client) -> None:
    """After 50 % at day 1 a top-up of 1 g/L brings 2 g/L back; carbon that takes half in 24 h leaves half a day on."""
    asked = {"agent": "salt_indefinite", "dose": "2 g/L", "times": "1", "until": "4", "changes": "1 day 50 %",
             "top_up": "yes", "volume": "80 L to 100 L", "carbon": "48 h", "carbon_half": "24 h",
             "go": "1"}  # fmt: skip
    page = ask(browser, asked, "/dose/course/")
    assert "Day 1 1 g/L" in page
    assert re.search(r"day 2 2 2 1\.6 ", page)
    assert re.search(r"day 3 1 2? ?", page)


def test_a_stop_that_is_lower_for_these_fish_holds_for_the_course(browser: Client) -> None:
    asked = {"agent": "formalin_indefinite", "dose": "20 uL/L", "times": "1", "until": "3", "go": "1", "kh": "8 dKH",
             "gh": "10 dGH", "temperature": "24 C"}  # fmt: skip
    assert "This course passes the hard stop" not in ask(browser, asked, "/dose/course/", host="koi")
    assert "This course passes the hard stop" in ask(browser, asked, "/dose/course/", host="clown loach")


# --- water changes ----------------------------------------------------------------------------------------------------


def test_changes_to_a_target_with_their_days(browser: Client, case: Case) -> None:
    """80 mg/L, 30 % for water with 5: 57.5, 41.75, 30.7, 23.0, 17.6; five changes to come under 20."""
    start = dt.date.today() + dt.timedelta(days=400)
    asked = {"what": "nitrate", "now": "80 mg/L NO3", "target": "20 mg/L NO3", "new_value": "5 mg/L NO3",
             "fraction": "30", "volume": "120 L", "standing": "measured", "first": start.isoformat(), "every": "2",
             "go": "1"}  # fmt: skip
    response = browser.get("/dose/changes/", asked | {"case": case.number})
    page = text(response)
    assert "5 changes of 30 %" in page
    for value in ("57.5", "41.8", "30.7", "23", "17.6"):
        assert value in page
    assert "36 L" in page
    days = re.findall(r'name="on" value="([\d-]+)"', response.content.decode())
    assert days == [(start + dt.timedelta(days=2 * n)).isoformat() for n in range(5)]
    sent = {"kind": "water_change", "title": "Change 30 %", "detail": "", "on": days, "back": "/"}
    assert browser.post(f"/dose/tasks/?case={case.number}", sent).status_code == 302
    assert TaskDue.objects.filter(kind="water_change", case=case).count() == 5


def test_changes_that_never_reach_the_target_say_where_they_settle(browser: Client) -> None:
    asked = {"what": "nitrate", "now": "80 mg/L NO3", "target": "20 mg/L NO3", "new_value": "25 mg/L NO3",
             "fraction": "30", "go": "1"}  # fmt: skip
    page = ask(browser, asked, "/dose/changes/")
    assert "The target is not reached" in page
    assert "these changes do not reach the target" in page.casefold()


def test_the_limits_of_a_day_and_the_ammonia_that_a_new_ph_frees(browser: Client) -> None:
    """20 mg/L CaCO3 a day against a difference of 6 dKH (107 mg/L): 19 %. Un-ionised ammonia rises with pH."""
    asked = {"fraction": "30", "tank_temperature": "25 C", "tank_ph": "6.4", "tank_kh": "2 dKH",
             "tank_conductivity": "600 uS/cm", "tank_ammonia": "1 mg/L N", "new_temperature": "25 C", "new_ph": "7.8",
             "new_kh": "8 dKH", "new_conductivity": "500 uS/cm", "go": "1"}  # fmt: skip
    page = ask(browser, asked, "/dose/changes/")
    assert "More than fish bear in a day: at most 19 %, set by alkalinity" in page
    assert "Free ammonia would stand above 0.02 mg/L N, more than before." in page
    assert "3.8 dKH" in page  # 0.7 x 2 + 0.3 x 8
    untested = ask(browser, asked | {"tank_ammonia": ""}, "/dose/changes/")
    assert "Total ammonia was not typed" in untested


def test_a_mixture_of_sea_water_by_its_own_constants(browser: Client) -> None:
    """Held against the core, which is held against PyCO2SYS in test_mixing; a fifth of the salt sets 41 %: 0.2 x 35 /
    (35 - 18)."""
    asked = {"fraction": "20", "tank_temperature": "25 C", "tank_ph": "8.2", "tank_kh": "8 dKH",
             "tank_salinity": "35 ppt", "tank_ammonia": "0.2 mg/L N", "new_temperature": "25 C", "new_ph": "8.2",
             "new_kh": "8 dKH", "new_salinity": "18 ppt", "go": "1"}  # fmt: skip
    page = ask(browser, asked, "/dose/changes/")
    alkalinity = 8 * CACO3_MG_PER_L_PER_DEGREE
    tank = Water(25, 8.2, alkalinity, 0, 0.2, salinity_g_per_kg=35)
    mixed = mix(tank, Water(25, 8.2, alkalinity, salinity_g_per_kg=18), 0.2)
    assert f"pH at once 8.2 {mixed.water.ph:.3g}" in page
    assert "Salt 35 g/kg 31.6 g/kg" in page
    assert "At most 41 % in a day, set by conductivity" in page


def test_conditioner_and_buffer(browser: Client) -> None:
    """36 L with 1 mg/L chlorine: 36 x 7.4 mg = 266.4 mg; 1 dKH in 36 L: 36 x 29.96 mg = 1.08 g; 0.8 mg/L combined
    chlorine leaves 0.8 x 14.007/70.90 = 0.158 mg/L N."""
    asked = {"fraction": "30", "volume": "120 L", "standing": "measured", "chlorine": "1 mg/L", "combined": "0.8 mg/L",
             "rise": "1", "go": "1"}  # fmt: skip
    page = ask(browser, asked, "/dose/changes/")
    assert "Sodium thiosulphate pentahydrate 267 mg" in page
    assert "Sodium bicarbonate 1.08 g" in page
    assert "Chloramine leaves 0.16 mg/L N of ammonia" in page


def test_what_changes_can_not_do_is_said_always_and_for_ones_own_figures(browser: Client) -> None:
    """(1/3 + 1/24) / (1/3 + 1/24 + ln 2/24) = 0.928; a lamp of one volume an hour: 0.267."""
    page = ask(browser, {}, "/dose/changes/")
    assert "50 % of the water changed every day leaves 93 % of the transmission" in page
    own = {"fraction": "50", "lives": "24 h", "finds": "3 h", "lamp": "1", "volume": "100 L", "standing": "measured",
           "shed": "1000", "go": "1"}  # fmt: skip
    page = ask(browser, own, "/dose/changes/")
    assert "leaves 27 % of the transmission" in page
    # shed 1000 an hour into 100 L, gone at ln 2/24 + 1 an hour: 10 / 1.0289 = 9.72 to the litre
    assert "9.72" in page


# --- feed -------------------------------------------------------------------------------------------------------------


def test_weight_from_counts_and_lengths(browser: Client) -> None:
    """W = a L^b with the row of hosts.csv, counted by hand."""
    host = reference().hosts["Melanotaenia boesemani"]
    assert host.length_weight_a is not None
    assert host.length_weight_b is not None
    grams = 18 * host.length_weight_a * 7**host.length_weight_b
    asked = {"species_1": "Boeseman rainbowfish", "count_1": "18", "length_1": "7 cm", "temperature": "25 C",
             "eating": "60", "go": "1"}  # fmt: skip
    page = ask(browser, asked, "/dose/feed/")
    assert f"Fish in all {grams:.0f} g" in page
    row = next(one for one in reference().rations if one.kept == "tropical" and one.from_c <= 25 < one.to_c)
    assert f"{row.percent_low:g} to {row.percent_high:g} %" in page
    assert "40 % of the group does not eat and is not reached" in page
    assert f"{grams * 0.6 * row.percent_high / 100:.2f} g of feed a day" in page


def test_feed_carries_into_the_dose_and_converts(browser: Client) -> None:
    """75 mg to the kg of fish a day at 0.5 % is 15 g to the kg of feed (worked example of feed.feed_g_per_kg)."""
    asked = {"weight": "850 g", "ration": "0.5", "per_fish": "75", "go": "1"}
    response = browser.get("/dose/feed/", asked)
    assert "75 mg to the kg of fish a day is 15 g to the kg of feed" in text(response)
    assert "/dose/?agent=vitamin_c_feed&amp;biomass=850+g&amp;ration=0.5&amp;eating=100" in response.content.decode()
    back = ask(browser, {"weight": "850 g", "ration": "3", "per_feed": "2.5", "go": "1"}, "/dose/feed/")
    assert "2.5 g to the kg of feed is 75 mg to the kg of fish a day" in back


# --- tasks ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "sent",
    [
        {"kind": "news", "title": "x", "on": "2999-01-01"},
        {"kind": "dose", "title": "x"},
        {"kind": "dose", "title": "x", "on": "tomorrow"},
        {"kind": "dose", "title": "x", "on": "2020-01-01"},
        {"kind": "dose", "title": "", "on": "2999-01-01"},
    ],
)
def test_tasks_that_are_refused(browser: Client, sent: dict[str, str]) -> None:
    assert browser.post("/dose/tasks/", sent).status_code == 422
    assert not TaskDue.objects.exists()


def test_pages_cost_the_same_with_more_tanks(
    browser: Client, device: Device, tank: Tank, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    for n in range(10):
        keeping.add_tank(device, tank.room, f"B{n}", tank.system, volume_l=50.0)
    with django_assert_max_num_queries(16):
        browser.get("/dose/", SALT)
