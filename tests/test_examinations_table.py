"""The tables of the work itself: examinations, state of the body, sureness."""

from wetmount.reference import load_reference

REFERENCE = load_reference()


def test_the_order_of_work_is_the_one_of_the_trade() -> None:
    """Living fish before dead, scrapes before gills, gills before opening, the laboratory last: common practice, no
    source."""
    order = {row.id: row.order for row in REFERENCE.examinations.values()}
    work = [
        "asking", "tank_look", "water_test", "in_hand", "skin_scrape", "fin_clip", "gill_scrape", "faecal_wet_mount",
        "swab", "dissection", "organ_squash", "stain", "lab_culture",
    ]  # fmt: skip
    assert [order[id] for id in work] == sorted(order[id] for id in work)
    assert len(set(order.values())) == len(order)


def test_every_finding_belongs_to_an_examination_and_short_lists_are_short() -> None:
    assert {row.examination for row in REFERENCE.findings.values()} <= set(REFERENCE.examinations)
    for row in REFERENCE.examinations.values():
        assert set(row.short_list) <= set(REFERENCE.findings)
        assert len(row.short_list) <= 14
    assert [row.id for row in REFERENCE.examinations.values() if not row.short_list] == ["swab"]


def test_the_skin_scrape_looks_for_the_usual_organisms() -> None:
    """Costia, trichodinids, Chilodonella, white spot, flukes and gliding rods: common practice, no source."""
    usual = {
        "skin_costia",
        "skin_trichodinid",
        "skin_chilodonella",
        "skin_ich_trophont",
        "skin_gyrodactylid",
        "skin_rods_gliding",
    }
    assert usual <= set(REFERENCE.examinations["skin_scrape"].short_list)


def test_a_dead_fish_shows_less_the_longer_it_lay() -> None:
    """Parasites leave a dead fish and organs autolyse: common practice, no source; the figures are from memory."""
    factor = {(row.state, row.examination): row.detection_factor for row in REFERENCE.body_states}
    for examination in {row.examination for row in REFERENCE.body_states}:
        lain = [factor[state, examination] for state in ("fresh_killed", "dead_0_2h", "dead_2_12h", "dead_over_12h")]
        assert lain[0] == 1
        assert lain == sorted(lain, reverse=True)
        assert lain[-1] < lain[0]
    assert factor["dead_2_12h", "skin_scrape"] < factor["dead_2_12h", "dissection"]


def test_doubt_costs_more_the_greater_it_is() -> None:
    sureness = REFERENCE.sureness
    assert (sureness["sure"].false_seen, sureness["sure"].noticing) == (0, 1)
    assert sureness["sure"].false_seen < sureness["fairly"].false_seen < sureness["doubtful"].false_seen < 0.5
    assert sureness["sure"].noticing > sureness["fairly"].noticing > sureness["doubtful"].noticing
