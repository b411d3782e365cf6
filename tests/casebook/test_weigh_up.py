"""The weigh-up page: what it says is what `weigh_up` computes, in stages, kept until an entry changes."""

from __future__ import annotations

import re
from html import unescape

import pytest
from django.apps import apps
from django.test import Client

from wetmount.casebook.models import Case, Device, Examination, FindingEntry, Look, WeighUpCache
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, looking, weighing
from wetmount.casebook.services.records import case_record
from wetmount.casebook.services.weighing import STAGES, ready, weighed
from wetmount.casebook.templatetags.look import percent
from wetmount.cautions import cautions_of
from wetmount.evidence import gather_evidence
from wetmount.weighup import weigh_up
from wetmount.weighup.results import WeighUp

HTMX = {"HTTP_HX_REQUEST": "true"}


def text_of(html: str) -> str:
    """What a page says, without its markup."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def page_of(browser: Client, case: Case, query: str = "?whole") -> str:
    response = browser.get(f"/case/{case.number}/weigh-up/{query}")
    assert response.status_code == 200
    return response.content.decode()


@pytest.fixture
def computed(weighable: Look) -> WeighUp:
    """The same look weighed by the core, whole and without the casebook's stages."""
    return weigh_up(gather_evidence(case_record(weighable.case), reference()), reference())


def test_the_page_shows_what_the_core_computes(browser: Client, case: Case, computed: WeighUp) -> None:
    page = page_of(browser, case)
    said = text_of(page)
    rows = re.findall(r'<li class="slide slide--rank.*?</li>\s*(?=<li class="slide|</ol>)', page, re.S)
    assert len(rows) >= 3
    for row, result in zip(rows, computed.conditions, strict=False):
        words = text_of(row)
        assert result.name.split(" (")[0] in words
        assert f"{percent(result.responsible)} responsible {percent(result.probability)} present" in words
        assert f"{100 * result.low:.0f} to {100 * result.high:.0f} %" in words
        assert f"{percent(result.prior)} before" in words
        width = re.search(r'class="resp"[^>]* width="([0-9.]+)"', row)
        assert width is not None
        assert float(width[1]) == pytest.approx(100 * result.responsible, abs=0.01)
    firm = computed.firmness
    assert firm is not None
    assert f"stays first in {round(100 * firm.share)} of 100 redraws" in said
    assert f"{percent(computed.memory_share)} of the answer rests on rows written from memory" in said
    assert percent(computed.explanations[0].probability) in said
    first = next(one for one in computed.next_examinations if one.information_bits >= 0.02)
    option = text_of(re.search(r'<div class="option">.*?</div>\s*(?=<div|<details|<p)', page, re.S)[0])
    assert first.name.casefold() in option.casefold()
    assert f"{first.minutes:g} min" in option


def test_firmness_stands_before_any_percentage(browser: Client, case: Case, weighable: Look) -> None:
    waiting = text_of(page_of(browser, case, "").split('id="main"')[1])
    assert waiting.index("Still working it out") < waiting.index(" %")
    said = text_of(page_of(browser, case).split('id="main"')[1])
    assert said.index("of 100 redraws") < said.index(" %")


def test_the_ranking_comes_at_once_and_the_parts_after_it(
    browser: Client, case: Case, weighable: Look, computed: WeighUp
) -> None:
    page = page_of(browser, case, "")
    for stage in STAGES[1:]:
        assert f"part={stage}" in page
    assert page.count("till working it out") >= 3
    assert WeighUpCache.objects.get().result["stages"] == ["ranking"]
    address = f"/case/{case.number}/weigh-up/"
    firm = browser.get(address + "?part=firmness", **HTMX).content.decode()
    assert "<html" not in firm
    assert f"{round(100 * computed.firmness.share)} of 100" in text_of(firm)
    assert firm.count('hx-swap-oob="true"') >= 6, "bar and range of each cause shown"
    why = browser.get(address + "?part=reasons", **HTMX).content.decode()
    strongest = computed.reasons[computed.conditions[0].id][0]
    assert f"× {10**strongest.weight:.0f}" in why or "× over 1000" in why
    after = browser.get(address + "?part=next", **HTMX).content.decode()
    assert computed.next_examinations[0].name.casefold() in after.casefold()
    row = WeighUpCache.objects.get()
    assert row.complete
    assert "till working it out" not in page_of(browser, case, "")


def test_stages_put_together_are_the_weigh_up_worked_out_whole(weighable: Look, computed: WeighUp) -> None:
    asked = ready(weighable.case, weighable, reference())
    for stage in reversed(STAGES):
        weighed(weighable, asked, stage)
    assert weighed(weighable, asked, *STAGES).weighup == computed


def test_what_is_kept_is_used_again(weighable: Look, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = ready(weighable.case, weighable, reference())
    first = weighed(weighable, asked, *STAGES)

    def never(*args: object, **kwargs: object) -> None:
        raise AssertionError("worked out again")

    monkeypatch.setattr(weighing, "weigh_up", never)
    again = weighed(weighable, ready(weighable.case, weighable, reference()), *STAGES)
    assert again.weighup == first.weighup


@pytest.mark.parametrize("how", ["level", "doubt", "taken away", "answer"])
def test_an_entry_that_changes_makes_it_stale(device: Device, weighable: Look, how: str) -> None:
    case = weighable.case
    weighed(weighable, ready(case, weighable, reference()))
    before = WeighUpCache.objects.get().key
    scrape = Examination.objects.get(look=weighable, kind="skin_scrape")
    if how == "level":
        looking.record_finding(device, scrape, "skin_costia", 1)
    elif how == "doubt":
        looking.set_sure(device, FindingEntry.objects.get(finding="skin_costia"), "doubtful")
    elif how == "taken away":
        looking.record_finding(device, scrape, "skin_costia", None)
    else:
        looking.answer_history(device, case, "recent_introduction", "no")
    asked = ready(case, weighable, reference())
    assert asked.key != before
    fresh = weigh_up(asked.evidence, reference(), reasons=False, firmness=False, examinations=False)
    assert weighed(weighable, asked).weighup.conditions == fresh.conditions
    assert WeighUpCache.objects.get().key == asked.key


def test_a_note_does_not_make_it_stale(device: Device, weighable: Look) -> None:
    before = ready(weighable.case, weighable, reference()).key
    cases.change_case(device, weighable.case, worries="They still rub")
    assert ready(weighable.case, weighable, reference()).key == before


def test_what_leads_stands_beside_the_case_for_lists(
    browser: Client, case: Case, weighable: Look, computed: WeighUp
) -> None:
    page_of(browser, case, "")
    case.refresh_from_db()
    assert case.leading == computed.conditions[0].id
    assert case.leading_share == pytest.approx(computed.conditions[0].responsible)


def test_first_aid_stands_on_top_when_a_red_flag_is_set(
    browser: Client, device: Device, case: Case, weighable: Look
) -> None:
    assert "Before anything else" not in page_of(browser, case, "")
    flag = next(one for one in reference().red_flags.values() if one.from_finding is None)
    cases.set_red_flags(device, case, [flag.id])
    page = page_of(browser, case, "")
    assert page.index("Before anything else") < page.index("What it adds up to")
    step = next(one for one in reference().first_aid if one.flag == flag.id)
    assert step.text in text_of(page)


def test_every_caution_of_the_weigh_up_is_on_the_page(
    browser: Client, case: Case, weighable: Look, computed: WeighUp
) -> None:
    page = text_of(page_of(browser, case))
    shown = [one.id for one in (*computed.unfinished, *computed.next_examinations[:3])]
    for caution in cautions_of(computed, reference(), proposed=shown):
        assert " ".join(caution.text.split()) in page, caution.id
    for warning in computed.warnings:
        assert warning.text in page


def test_a_look_without_findings_says_where_to_begin(browser: Client, case: Case) -> None:
    page = page_of(browser, case, "")
    assert "Nothing was looked at" in page
    assert f"/case/{case.number}/skin/" in page
    assert not WeighUpCache.objects.exists()
    assert " % " not in text_of(page.split('id="main"')[1])


def test_findings_of_rows_that_are_gone_are_named(browser: Client, case: Case, weighable: Look) -> None:
    FindingEntry.objects.filter(finding="skin_trichodinid").update(finding="of_another_table")
    FindingEntry.objects.filter(finding="flashing").update(level=9)
    said = text_of(page_of(browser, case))
    assert "of_another_table left out: the reference has no such row" in said
    assert f"{reference().findings['flashing'].name}, level 9 left out" in said


@pytest.mark.parametrize("host", [{"species": "Fish nobody named"}, {"host_group": "of_another_table"}, {}])
def test_fish_of_a_kind_that_is_not_known_are_weighed_as_any_fish(
    browser: Client, device: Device, case: Case, weighable: Look, host: dict[str, str]
) -> None:
    Case.objects.filter(pk=case.pk).update(**{"species": "", "host_group": ""} | host)
    assert "weighed as any fish" in page_of(browser, case, "")
    assert browser.get(f"/case/{case.number}/report/").status_code == 200


def test_a_case_that_cannot_be_weighed_says_why(browser: Client, case: Case, weighable: Look) -> None:
    weighable.readings.filter(parameter="nitrite").update(value="much")
    page = page_of(browser, case)
    assert "cannot be weighed up" in page
    assert "nitrite" in page
    for address in ("weigh-up/what-if/", "report/"):
        assert "cannot be weighed up" in browser.get(f"/case/{case.number}/{address}").content.decode()
    assert browser.get(f"/case/{case.number}/weigh-up/rows/costia/").status_code == 302
    assert browser.get(f"/case/{case.number}/report/file/").status_code == 422


def test_each_figure_opens_to_its_rows(browser: Client, case: Case, weighable: Look, computed: WeighUp) -> None:
    page = page_of(browser, case)
    leading = computed.conditions[0].id
    for about in (leading, "firmness", "next"):
        address = f"/case/{case.number}/weigh-up/rows/{about}/?look={weighable.pk}"
        assert address in page
        assert browser.get(address).status_code == 200
    rows = text_of(browser.get(f"/case/{case.number}/weigh-up/rows/costia/").content.decode())
    links = [one for one in reference().links if (one.condition, one.finding) == ("costia", "skin_costia")]
    for link in links:
        assert percent(link.probability) in rows
        for key in link.sources:
            assert reference().sources[key].citation[:40] in rows
    assert percent(reference().conditions["costia"].rate) in rows
    count = re.search(r"Rows and sources, (\d+)", page)
    assert count is not None
    assert int(count[1]) == browser.get(f"/case/{case.number}/weigh-up/rows/{leading}/").content.decode().count(
        'class="figure-line"'
    )


# --- what if ----------------------------------------------------------------------------------------------------------


def rows_in_all_tables() -> dict[str, int]:
    return {model.__name__: model._base_manager.count() for model in apps.get_app_config("casebook").get_models()}


def test_what_if_moves_and_saves_nothing(browser: Client, device: Device, case: Case, weighable: Look) -> None:
    page_of(browser, case, "")
    before = rows_in_all_tables()
    kept = list(FindingEntry.objects.order_by("pk").values())
    response = browser.get(f"/case/{case.number}/weigh-up/what-if/?skin_costia=0&cotton_tufts=1")
    said = text_of(response.content.decode())
    assert "would lead instead of" in said
    assert rows_in_all_tables() == before
    assert list(FindingEntry.objects.order_by("pk").values()) == kept


def test_what_if_is_the_weigh_up_of_the_changed_case(browser: Client, device: Device, weighable: Look) -> None:
    case = weighable.case
    response = browser.get(f"/case/{case.number}/weigh-up/what-if/?flashing=0&skin_costia=1&gasping_surface=1")
    scrape = Examination.objects.get(look=weighable, kind="skin_scrape")
    tank_look = Examination.objects.get(look=weighable, kind="tank_look")
    looking.record_finding(device, scrape, "skin_costia", 1)
    looking.record_finding(device, tank_look, "flashing", 0)
    looking.record_finding(device, tank_look, "gasping_surface", 1)
    evidence = gather_evidence(case_record(case), reference())
    really = {one.id: one for one in weigh_up(evidence, reference(), firmness=False, examinations=False).conditions}
    assert response.context["moved"]
    for one in response.context["moved"]:
        assert one.after == pytest.approx(really[one.id].responsible, abs=1e-12), one.id


def test_what_if_passes_over_what_makes_no_sense(browser: Client, case: Case, weighable: Look) -> None:
    odd = "?skin_costia=9&flashing=two&nothing_such=1&rapid_breathing=--1&look=" + str(weighable.pk)
    response = browser.get(f"/case/{case.number}/weigh-up/what-if/{odd}")
    assert response.status_code == 200
    assert response.context["changed"] == []


# --- who may, and what is not there -----------------------------------------------------------------------------------

ADDRESSES = ("weigh-up/", "weigh-up/what-if/", "weigh-up/rows/costia/")


@pytest.mark.parametrize("address", ADDRESSES)
def test_a_colleague_may_and_a_stranger_may_not(
    phone_browser: Client, stranger: Client, case: Case, weighable: Look, address: str
) -> None:
    assert phone_browser.get(f"/case/{case.number}/{address}").status_code == 200
    refused = stranger.get(f"/case/{case.number}/{address}")
    assert refused.status_code == 403
    assert b"Costia" not in refused.content


@pytest.mark.parametrize("address", ADDRESSES)
def test_what_is_not_there_and_wrong_methods(
    browser: Client, open_case: object, case: Case, weighable: Look, address: str
) -> None:
    assert browser.get(f"/case/77/{address}").status_code == 404
    assert browser.get(f"/case/{case.number}/{address}?look=99999").status_code == 404
    assert browser.get(f"/case/{case.number}/{address}?look=1%27").status_code == 404
    assert browser.post(f"/case/{case.number}/{address}").status_code == 405
    other = open_case(which_fish="C7")  # type: ignore[operator]
    assert browser.get(f"/case/{other.number}/{address}?look={weighable.pk}").status_code == 404


def test_rows_of_no_cause(browser: Client, case: Case, weighable: Look) -> None:
    assert browser.get(f"/case/{case.number}/weigh-up/rows/no_such/").status_code == 404


def test_what_was_typed_is_text(browser: Client, device: Device, case: Case, weighable: Look) -> None:
    cases.change_case(device, case, title="<b onmouseover=alert(1)>", species="<i>Fish")
    page = page_of(browser, case, "")
    assert "<b onmouseover" not in page
    assert "<i>Fish" not in page


def test_queries_do_not_grow_with_findings(
    browser: Client, device: Device, case: Case, weighable: Look, django_assert_max_num_queries
) -> None:  # type: ignore[no-untyped-def]
    page_of(browser, case)
    for name in ("2", "3", "4", "5"):
        fish = looking.add_fish(device, case, name=name)
        for kind in ("skin_scrape", "gill_scrape", "in_hand"):
            looking.sweep_rest(device, looking.add_examination(device, weighable, kind, fish=fish))
    with django_assert_max_num_queries(45):
        page_of(browser, case)
    with django_assert_max_num_queries(35):
        page_of(browser, case)
