"""Single facts of the trade, one a test.

Every one of them is common practice, no source: what one who has long looked at sick fish would say without looking it
up. A test that fails here points at a row of the tables, not at the test.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

import pytest

from wetmount.casefile import read_case_text
from wetmount.evidence import gather_evidence
from wetmount.reference import load_reference
from wetmount.weighup import WeighUp, weigh_up

PARASITIC = (
    "protozoan", "monogenean", "nematode", "cestode", "digenean", "crustacean", "leech", "myxozoan", "microsporidian",
)  # fmt: skip
INFECTIOUS = (*PARASITIC, "bacterial", "viral", "fungal")
SYSTEMIC_BACTERIAL = (
    "motile_aeromonad", "atypical_aeromonas", "edwardsiellosis", "streptococcosis", "vibrio_pseudomonas",
    "mycobacteriosis", "nocardiosis", "francisellosis",
)  # fmt: skip
SYSTEMIC_VIRAL = ("khv", "cyhv2", "svc", "cev", "megalocytivirus", "ranavirus", "angelfish_virus", "tilv")
SYSTEMIC = (*SYSTEMIC_BACTERIAL, *SYSTEMIC_VIRAL)
SURFACE_ONLY = (
    "ich", "costia", "trichodinosis", "chilodonellosis", "sessile_ciliates", "velvet_freshwater", "skin_flukes",
    "gill_flukes", "fin_rot", "fish_louse", "anchor_worm", "leeches", "lymphocystis", "carp_pox", "saprolegniosis",
)  # fmt: skip
"""Causes that live on skin, fins and gills and leave the organs alone."""


def weigh(
    group: str,
    findings: Mapping[str, str],
    history: Mapping[str, str] | None = None,
    readings: Mapping[str, str] | None = None,
    examinations: bool = False,
) -> WeighUp:
    """One look through the case file's own reader."""
    data = {
        "format": 1,
        "host": {"group": group},
        "history": dict(history or {}),
        "findings": dict(findings),
        "readings": dict(readings or {}),
    }
    reference = load_reference()
    case = read_case_text(json.dumps(data), "json", "fact", reference)
    return weigh_up(gather_evidence(case, reference), reference, firmness=False, examinations=examinations)


def of_groups(*groups: str) -> tuple[str, ...]:
    return tuple(id for id, row in load_reference().conditions.items() if row.group in groups)


def blame(weighed: WeighUp, conditions: Iterable[str]) -> float:
    """Summed responsibility of some conditions: the expected number of them to blame."""
    return sum(weighed.condition(id).responsible for id in conditions)


def present(weighed: WeighUp, *conditions: str) -> float:
    return sum(weighed.condition(id).probability for id in conditions)


def ranking(weighed: WeighUp) -> list[str]:
    return [result.id for result in weighed.conditions]


def raised(weighed: WeighUp, condition: str) -> float:
    """Probability now over the prior of this host and history."""
    result = weighed.condition(condition)
    return result.probability / result.prior


# --- mucus, surface, gills --------------------------------------------------------------------------------------------


def test_mucus_in_excess_on_skin_and_gills_raises_irritant_causes() -> None:
    """Common practice, no source: slime is the answer of skin and gill to anything that irritates them."""
    slimy = weigh("goldfish", {"excess_mucus_skin": "marked", "excess_mucus_gill": "marked"})
    for irritant in ("costia", "trichodinosis", "chilodonellosis", "skin_flukes", "gill_flukes", "ammonia_poisoning"):
        assert raised(slimy, irritant) > 1.2, irritant
    for quiet in ("neoplasia_internal", "egg_binding", "tapeworm", "fatty_liver"):
        assert raised(slimy, quiet) < 1.2, quiet


def test_many_motile_bacteria_among_the_scales_of_a_live_fish_are_abnormal() -> None:
    """Common practice, no source: a few bacteria are always there, a swarm on a living fish is not."""
    bacterial = of_groups("bacterial")
    none, few, many = (
        weigh("koi", {"skin_bacteria_general": level, "lethargy": "mild"}) for level in ("absent", "few", "many")
    )
    assert blame(many, bacterial) > 1.3 * blame(few, bacterial)
    assert blame(many, bacterial) > 1.5 * blame(none, bacterial)
    assert ranking(many)[0] in bacterial


def test_a_few_flukes_are_not_a_heavy_burden() -> None:
    """Common practice, no source: most goldfish carry some; a few explain nothing."""
    few = weigh("goldfish", {"skin_gyrodactylid": "few", "swollen_belly": "marked", "raised_scales": "present"})
    many = weigh("goldfish", {"skin_gyrodactylid": "many", "swollen_belly": "marked", "raised_scales": "present"})
    assert present(few, "skin_flukes") > 0.8, "they are there"
    assert few.condition("skin_flukes").responsible < 0.3, "but not to blame"
    assert ranking(few)[0] != "skin_flukes"
    assert many.condition("skin_flukes").responsible > 0.8


def test_gold_dust_is_velvet() -> None:
    """Common practice, no source: fine gold dust in raking light."""
    assert ranking(weigh("gourami", {"dust_gold_grey": "present", "flashing": "occasional"}))[0] == "velvet_freshwater"
    assert ranking(weigh("marine", {"dust_gold_grey": "present", "rapid_breathing": "marked"}))[0] == "velvet_marine"


def test_salt_grains_and_rubbing_after_new_fish_are_white_spot() -> None:
    """Common practice, no source."""
    weighed = weigh("tetra", {"white_spots_discrete": "many", "flashing": "frequent"}, {"recent_introduction": "yes"})
    assert ranking(weighed)[0] == "ich"
    assert weighed.condition("ich").responsible > 0.7


def test_white_spot_of_fresh_water_is_not_one_of_sea_fish() -> None:
    """Common practice, no source: salt grains on a reef fish are another parasite."""
    reef = weigh("marine", {"white_spots_discrete": "many"})
    assert present(reef, "ich") < 0.05
    assert ranking(reef)[0] == "marine_ich"


def test_cotton_wool_is_fungus_and_asks_for_what_opened_the_way() -> None:
    """Common practice, no source: Saprolegnia grows where something else has broken the skin."""
    weighed = weigh("goldfish", {"cotton_growth": "present", "skin_hyphae": "many"}, {"temperature_drop": "yes"})
    assert ranking(weighed)[0] == "saprolegniosis"
    assert any(way.condition == "saprolegniosis" for way in weighed.opened_the_way)


def test_pale_saddle_and_mouth_in_warm_water_are_columnaris() -> None:
    """Common practice, no source: not fungus, whatever it is called at the counter."""
    weighed = weigh(
        "livebearer", {"saddle_patch": "present", "jaw_mouth_erosion": "present"}, readings={"temperature": "27 C"}
    )
    assert ranking(weighed)[0] == "columnaris"
    assert present(weighed, "columnaris") > 2 * present(weighed, "saprolegniosis")


# --- inside the fish --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "findings",
    [
        pytest.param({"spleen_enlarged": "marked", "gut_inflamed": "mild"}, id="large red spleen"),
        pytest.param({"mmc_spleen": "very_many", "mmc_liver_kidney": "very_many"}, id="melanomacrophage centres"),
        pytest.param({"visceral_haemorrhage": "marked"}, id="clots in the mesentery"),
        pytest.param({"kidney_dark": "marked"}, id="misshapen pigmented kidney"),
    ],
)
def test_organ_signs_raise_systemic_infection_over_surface_causes(findings: dict[str, str]) -> None:
    """Common practice, no source: bacterial first, a virus still possible."""
    weighed = weigh("gourami", findings)
    assert blame(weighed, SYSTEMIC) > 2 * blame(weighed, SURFACE_ONLY)
    assert blame(weighed, SYSTEMIC_BACTERIAL) > blame(weighed, SYSTEMIC_VIRAL)
    assert ranking(weighed)[0] in SYSTEMIC_BACTERIAL
    assert blame(weighed, SYSTEMIC_VIRAL) > 0.02
    for surface in ("costia", "trichodinosis", "fin_rot"):  # flukes do open the way to bacteria
        assert raised(weighed, surface) < 1.3, surface


def test_dark_hidden_off_food_and_wasting_raise_internal_disease() -> None:
    """Common practice, no source: the quiet dark thin fish in the corner is ill inside."""
    internal = (
        *SYSTEMIC, "spironucleosis", "capillariosis", "camallanosis", "tapeworm", "cryptobiosis_gut", "coccidiosis",
        "ichthyophonosis", "neoplasia_internal", "fatty_liver",
    )  # fmt: skip
    weighed = weigh(
        "cichlid",
        {"darkened": "marked", "hiding_isolating": "present", "anorexia": "marked", "wasting": "marked"},
    )
    assert blame(weighed, internal) > 3 * blame(weighed, SURFACE_ONLY)
    assert ranking(weighed)[0] in internal


def test_pine_cone_scales_and_bulging_eyes_are_no_surface_disease() -> None:
    """Common practice, no source: dropsy is kidneys and blood, most often with bacteria."""
    weighed = weigh("goldfish", {"raised_scales": "present", "swollen_belly": "marked", "exophthalmia": "marked"})
    assert ranking(weighed)[0] == "motile_aeromonad"
    assert blame(weighed, SYSTEMIC) > 2 * blame(weighed, SURFACE_ONLY)


def test_red_worms_at_the_vent_of_livebearers_are_camallanus() -> None:
    """Common practice, no source."""
    weighed = weigh("livebearer", {"worms_from_vent": "present", "wasting": "mild"})
    assert ranking(weighed)[0] == "camallanosis"
    assert weighed.condition("camallanosis").responsible > 0.8


def test_a_neon_with_pale_muscle_has_neon_tetra_disease() -> None:
    """Common practice, no source: seen through the skin as a faded stretch of the blue line, kept apart, restless."""
    weighed = weigh("tetra", {"muscle_lesion": "present", "pale_skin": "marked", "hiding_isolating": "present"})
    assert ranking(weighed)[0] == "neon_tetra_disease"


def test_an_old_thin_fish_with_nodules_in_spleen_and_kidney_has_mycobacteriosis() -> None:
    """Common practice, no source: and it can infect people, which must be said."""
    weighed = weigh(
        "gourami",
        {"spleen_granulomas": "many", "kidney_granulomas": "many", "wasting": "marked", "onset_slow": "present"},
    )
    assert ranking(weighed)[0] == "mycobacteriosis"
    assert any(warning.kind == "zoonotic" and warning.condition == "mycobacteriosis" for warning in weighed.warnings)


# --- water ------------------------------------------------------------------------------------------------------------


def test_sudden_deaths_of_all_species_after_untreated_tap_water_are_chlorine() -> None:
    """Common practice, no source: all species alike and within hours means water, not germs."""
    weighed = weigh(
        "goldfish",
        {"all_species": "present", "onset_sudden": "present", "deaths_daily": "high", "rapid_breathing": "marked"},
        {"chemical_exposure": "yes", "mixed_species": "yes", "recent_introduction": "no"},
    )
    water = of_groups("environmental")
    assert ranking(weighed)[0] in ("chlorine_toxicity", "toxic_chemical")
    assert raised(weighed, "chlorine_toxicity") > 2
    assert blame(weighed, water) > blame(weighed, of_groups(*INFECTIOUS))
    tested = weigh(
        "goldfish",
        {"all_species": "present", "onset_sudden": "present", "deaths_daily": "high", "water_chlorine": "present"},
        {"chemical_exposure": "yes", "mixed_species": "yes"},
    )
    assert ranking(tested)[0] == "chlorine_toxicity"


def test_gasping_in_a_crowded_warm_tank_is_want_of_oxygen() -> None:
    """Common practice, no source: worst towards morning, the largest fish first."""
    weighed = weigh(
        "goldfish",
        {"gasping_surface": "present", "rapid_breathing": "marked", "all_species": "present"},
        {"crowded": "yes", "mixed_species": "yes", "chemical_exposure": "no", "recent_introduction": "no"},
        {"temperature": "30 C"},
    )
    assert ranking(weighed)[0] == "low_oxygen"


def test_brown_gills_behind_a_new_filter_are_nitrite() -> None:
    """Common practice, no source."""
    weighed = weigh("tetra", {"brown_gills": "present", "rapid_breathing": "marked"}, {"new_system": "yes"})
    assert ranking(weighed)[0] == "nitrite_poisoning"
    assert weighed.condition("nitrite_poisoning").responsible > 0.8


def test_dangerous_ammonia_in_a_new_tank_is_to_blame_for_gasping_goldfish() -> None:
    """Common practice, no source."""
    weighed = weigh(
        "goldfish",
        {"water_ammonia_high": "dangerous", "gasping_surface": "present", "rapid_breathing": "marked"},
        {"new_system": "yes"},
    )
    assert ranking(weighed)[0] == "ammonia_poisoning"


def test_labyrinth_fish_are_spared_by_want_of_oxygen() -> None:
    """Common practice, no source: they breathe air at the surface anyway."""
    for air_breather in ("gourami", "betta", "labyrinth"):
        assert present(weigh("koi", {}), "low_oxygen") > 3 * present(weigh(air_breather, {}), "low_oxygen"), (
            air_breather
        )


# --- history ----------------------------------------------------------------------------------------------------------


def test_fish_of_several_origins_are_at_more_risk_than_of_one() -> None:
    """Common practice, no source: every origin brings its own germs to fish that have never met them."""
    several = weigh("koi", {}, {"mixed_origin": "yes"})
    one = weigh("koi", {}, {"mixed_origin": "no"})
    assert present(several, *of_groups(*INFECTIOUS)) > 1.1 * present(one, *of_groups(*INFECTIOUS))
    for contagious in ("khv", "cev", "ich", "skin_flukes", "atypical_aeromonas"):
        assert present(several, contagious) > present(one, contagious), contagious


def test_failed_immunity_raises_bacterial_viral_and_parasitic_infections_alike() -> None:
    """Common practice, no source: stress and a crash of defence open the door to all of them."""
    reference = load_reference()
    arcs = {arc.condition: arc.odds for arc in reference.predispositions if arc.parent == "immune_suppression"}
    for group in ("bacterial", "viral", "protozoan", "monogenean", "fungal"):
        members = of_groups(group)
        open_to = [id for id in members if arcs.get(id, 1.0) >= 2.0]
        assert len(open_to) >= len(members) / 3, group
    # And through the whole weigh-up: an infection of any kind raises the suspicion of failed immunity behind it.
    for host, sign in (("koi", "skin_costia"), ("koi", "ulcers_skin"), ("gourami", "white_nodules_cluster")):
        weighed = weigh(host, {sign: "present" if sign == "white_nodules_cluster" else "many"})
        assert raised(weighed, "immune_suppression") > 1.1, sign


def test_koi_at_20_c_with_dying_gills_after_new_koi_warn_of_herpesvirus() -> None:
    """Common practice, no source: 16 to 28 degrees, mottled gills, sunken eyes, newcomers; it is notifiable."""
    weighed = weigh(
        "koi",
        {"mottled_gills": "marked", "sunken_eye": "present", "lethargy": "marked", "many_affected": "most"},
        {"recent_introduction": "yes", "mixed_origin": "yes"},
        {"temperature": "20 C"},
    )
    assert "khv" in ranking(weighed)[:2]
    assert any(warning.kind == "notifiable" and warning.condition == "khv" for warning in weighed.warnings)


def test_one_fish_with_a_lump_is_no_epidemic() -> None:
    """Common practice, no source: a solid lump that grew over months on one fish of many is a tumour."""
    weighed = weigh(
        "koi",
        {"lump_tumour": "present", "onset_slow": "present", "many_affected": "few", "deaths_daily": "none"},
        {"recent_introduction": "no"},
    )
    assert ranking(weighed)[0] in of_groups("neoplastic")
    for infection in of_groups(*INFECTIOUS):
        assert blame(weighed, of_groups("neoplastic")) > 3 * blame(weighed, [infection]), infection


def test_koi_with_ulcers_in_spring_have_a_bacterial_ulcer_disease() -> None:
    """Common practice, no source: and one looks for the parasite or the wound that began it."""
    weighed = weigh("koi", {"ulcers_skin": "many", "scale_loss": "present"}, readings={"temperature": "12 C"})
    assert ranking(weighed)[0] in ("atypical_aeromonas", "motile_aeromonad")
    parents = {way.parent for way in weighed.opened_the_way}
    assert parents & {"trauma", "skin_flukes", "fish_louse", "anchor_worm", "immune_suppression"}


def test_onset_over_weeks_and_onset_in_a_day_point_apart() -> None:
    """Common practice, no source: sudden means water or poison; slow means worms, tumours, chronic germs."""
    fast = weigh("discus", {"onset_sudden": "present", "onset_slow": "absent"})
    slow = weigh("discus", {"onset_slow": "present", "onset_sudden": "absent"})
    for quick in ("chlorine_toxicity", "toxic_chemical", "low_oxygen"):
        assert present(fast, quick) > present(slow, quick), quick
    for chronic in ("mycobacteriosis", "capillariosis", "neoplasia_internal"):
        assert present(slow, chronic) > present(fast, chronic), chronic


# --- the order of work ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("host", "findings"),
    [
        ("koi", {"flashing": "frequent", "rapid_breathing": "mild"}),
        ("goldfish", {"flashing": "occasional", "excess_mucus_skin": "mild", "clamped_fins": "present"}),
        ("rainbowfish", {"rapid_breathing": "marked", "flashing": "occasional", "lethargy": "mild"}),
        ("livebearer", {"clamped_fins": "present", "shimmying": "present"}),
    ],
)
def test_with_scrapes_not_yet_done_they_are_proposed_first(host: str, findings: dict[str, str]) -> None:
    """Common practice, no source: a skin and a gill scrape before anything is put into the water."""
    proposed = [one.id for one in weigh(host, findings, examinations=True).next_examinations or ()]
    assert {"skin_scrape", "gill_scrape"} <= set(proposed[:3])
    assert proposed[0] in ("skin_scrape", "gill_scrape")


def test_an_answer_never_needs_a_laboratory() -> None:
    """Common practice, no source: most of the trade works without one."""
    reference = load_reference()
    bench = {id for id, row in reference.findings.items() if row.kind != "laboratory"}
    for condition in reference.conditions:
        strongest = max(
            link.probability for link in reference.links if link.condition == condition and link.finding in bench
        )
        assert strongest >= 0.3, f"{condition} shows itself nowhere at the tank or the bench"
    for host, findings in (
        ("koi", {"mottled_gills": "marked", "sunken_eye": "present"}),
        ("gourami", {"wasting": "marked", "darkened": "mild"}),
        ("goldfish", {"swollen_belly": "marked", "raised_scales": "present"}),
    ):
        weighed = weigh(host, findings, examinations=True)
        assert weighed.conditions[0].responsible > 0.15
        assert weighed.next_examinations
        assert not weighed.next_examinations[0].laboratory
