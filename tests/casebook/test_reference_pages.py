"""The reference to browse: every table and row is reached, rows lead both ways, own rows are marked."""

from __future__ import annotations

import os
import random
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from wetmount.casebook import reference as tables
from wetmount.casebook.reference import reference
from wetmount.reference.rows import TABLES


def text_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


@pytest.fixture
def own_folder(tmp_path: Path) -> Iterator[Path]:
    """A folder with a source and a shipped link laid over with another figure."""
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / "sources.csv").write_text("key,kind,citation\nbench_2026,memory,The bench's own count of 2026\n")
    (folder / "links.csv").write_text(
        "condition,finding,level,probability,basis,sources,note\n"
        "costia,skin_costia,few,0.97,memory,bench_2026,counted here\n"
    )
    yield folder
    tables.use_overlay("")


def test_every_table_is_listed_and_opens(browser: Client) -> None:
    page = browser.get("/reference/").content.decode()
    for name in TABLES:
        address = reverse("reference_table", args=[name])
        assert f'href="{address}"' in page
        response = browser.get(address)
        assert response.status_code == 200, name
        assert f"{len(getattr(reference(), name))} row" in text_of(response.content.decode()), name


def test_rows_of_every_table_open_with_their_cells(browser: Client) -> None:
    rng = random.Random(1)
    for name, table in TABLES.items():
        if not table.mapping:
            continue
        held = getattr(reference(), name)
        for id in rng.sample(list(held), min(3, len(held))):
            response = browser.get(reverse("reference_row", args=[name, id]))
            assert response.status_code == 200, (name, id)
            row = held[id]
            if getattr(row, "basis", ""):
                assert f"basis--{row.basis}" in response.content.decode()


def test_links_lead_both_ways(browser: Client) -> None:
    costia = browser.get("/reference/conditions/costia/").content.decode()
    finding = browser.get("/reference/findings/skin_costia/").content.decode()
    assert 'href="/reference/findings/skin_costia/"' in costia
    assert 'href="/reference/conditions/costia/"' in finding
    key = reference().conditions["costia"].sources[0]
    assert f'href="/reference/sources/{key}/"' in costia
    assert reference().sources[key].citation[:40] in text_of(costia)
    source = browser.get(f"/reference/sources/{key}/").content.decode()
    assert f"/reference/conditions/?of={key}" in source
    named = browser.get(f"/reference/conditions/?of={key}").content.decode()
    assert 'href="/reference/conditions/costia/"' in named


def test_a_link_shows_its_figure_basis_and_source(browser: Client) -> None:
    link = next(one for one in reference().links if one.condition == "costia" and one.finding == "skin_costia")
    page = text_of(browser.get("/reference/conditions/costia/").content.decode())
    assert f"{link.probability:g}" in page
    assert link.basis in page


def test_conditions_stand_by_kind_and_findings_by_examination(browser: Client) -> None:
    conditions = text_of(browser.get("/reference/conditions/").content.decode())
    for group in {row.group for row in reference().conditions.values()}:
        assert group.replace("_", " ").capitalize()[1:] in conditions
    findings = text_of(browser.get("/reference/findings/").content.decode())
    for row in reference().findings.values():
        assert row.name[1:] in findings


def test_long_tables_come_in_pages(browser: Client) -> None:
    first = browser.get("/reference/links/").content.decode()
    assert 'rel="next"' in first
    assert browser.get("/reference/links/?page=9999").status_code == 200
    assert browser.get("/reference/links/?page=x").status_code == 200


def test_search_finds_by_name_and_by_words_of_the_row(browser: Client) -> None:
    page = browser.get("/reference/?q=costia").content.decode()
    assert 'href="/reference/conditions/costia/"' in page
    assert (
        page.index("/reference/conditions/costia/") < page.index("/reference/cautions/")
        if ("/reference/cautions/" in page.split("h-tables")[0])
        else True
    )
    agent = reference().conditions["costia"].agent.split()[0].lower()
    assert 'href="/reference/conditions/costia/"' in browser.get(f"/reference/?q={agent}").content.decode()
    nothing = browser.get("/reference/?q=zzzz+zzzz").content.decode()
    assert "No row has" in nothing


def test_search_words_are_text(browser: Client) -> None:
    page = browser.get("/reference/?q=<script>alert(1)</script>").content.decode()
    assert "<script>alert" not in page


def test_own_rows_are_marked(browser: Client, own_folder: Path) -> None:
    tables.use_overlay(str(own_folder))
    assert tables.overlay_problem() == ""
    page = browser.get("/reference/links/?of=skin_costia").content.decode()
    marked = [row for row in page.split("<tr>") if "own row" in row]
    assert len(marked) == 1
    assert "0.97" in marked[0]
    assert "counted here" not in browser.get("/reference/sources/").content.decode()
    assert "own row" in browser.get("/reference/sources/bench_2026/").content.decode()
    assert "own row" in browser.get("/reference/conditions/costia/").content.decode()
    assert "own row" not in browser.get("/reference/findings/skin_chilodonella/").content.decode()
    assert "with your own rows" in browser.get("/reference/").content.decode()


def test_a_folder_that_is_gone_is_said_and_the_shipped_rows_are_used(browser: Client, tmp_path: Path) -> None:
    tables.use_overlay(str(tmp_path / "gone"))
    assert not os.environ.get("WETMOUNT_OVERLAY")
    page = browser.get("/reference/").content.decode()
    assert "Your own rows are not used" in page
    assert reference().version in page
    tables.use_overlay("")


def test_what_is_not_there_strangers_and_wrong_methods(
    browser: Client, phone_browser: Client, stranger: Client
) -> None:
    for address in ("/reference/", "/reference/links/", "/reference/conditions/costia/"):
        assert phone_browser.get(address).status_code == 200
        assert stranger.get(address).status_code == 403
        assert browser.post(address).status_code == 405
    for wrong in ("/reference/nothing/", "/reference/conditions/nothing/", "/reference/links/costia/"):
        assert browser.get(wrong).status_code == 404


def test_queries_do_not_grow(browser: Client, django_assert_max_num_queries) -> None:  # type: ignore[no-untyped-def]
    for address in ("/reference/", "/reference/sources/", "/reference/conditions/costia/"):
        with django_assert_max_num_queries(5):
            browser.get(address)
