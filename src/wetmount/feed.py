"""Feed: how much fish there is, how much they eat, and what is mixed in.

Biomass is counts times W = a L^b of hosts.csv. Medicated feed is arithmetic both ways: mg to the kg of fish a day is
g to the kg of feed times 1000 times the ration. Rations by temperature are common practice (rations.csv).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from wetmount.dose_writing import write_quantity
from wetmount.errors import InputError
from wetmount.reference import Reference
from wetmount.reference.rows import Ration

WET_FEED_BINDER_ML_PER_KG: Final = 50.0
"""Water or oil that coats a kilogram of dry feed: common practice, no source."""


@dataclass(frozen=True, slots=True)
class FishCounted:
    """So many fish of one species at one mean length, cm, of the type that hosts.csv takes."""

    species: str
    count: int
    length_cm: float


@dataclass(frozen=True, slots=True)
class Biomass:
    """Grams of fish, and where each figure comes from."""

    grams: float
    how: tuple[str, ...]


def fish_weight_g(species: str, length_cm: float, reference: Reference) -> float:
    """W = a L^b, g, of hosts.csv. InputError for an unknown species, one without a and b, or a length that no fish of
    the species reaches (half as much again as the greatest length).

    Length that spreads about its mean makes the mean weight larger than the weight at the mean length, by about
    b (b - 1)/2 times the squared spread: 3 % at a spread of 10 %.
    """
    host = reference.hosts.get(species)
    if host is None:
        raise InputError(f"no species {species!r} in hosts.csv; write its scientific name", field="species")
    if host.length_weight_a is None or host.length_weight_b is None:
        raise InputError(f"hosts.csv has no length-weight figures for {species}; weigh the fish", field="species")
    if not 0 < length_cm < math.inf:
        raise InputError(f"{length_cm:g} cm is no length", field="length")
    if host.max_length_cm is not None and length_cm > 1.5 * host.max_length_cm:
        raise InputError(
            f"{length_cm:g} cm is longer than {species} grows ({host.max_length_cm:g} cm); cm or mm?", field="length"
        )
    return float(host.length_weight_a * length_cm**host.length_weight_b)


def biomass(fish: tuple[FishCounted, ...], reference: Reference) -> Biomass:
    """Total weight of the fish counted, g."""
    total, how = 0.0, []
    for group in fish:
        if group.count < 1:
            raise InputError(f"{group.count} fish; count at least one", field="count")
        each = fish_weight_g(group.species, group.length_cm, reference)
        total += group.count * each
        host = reference.hosts[group.species]
        how.append(
            f"{group.count} {host.common_name} of {group.length_cm:g} cm: {each:.3g} g each "
            f"({host.length_weight_a:g} L^{host.length_weight_b:g}, {host.length_type})"
        )
    if not fish:
        raise InputError("no fish are counted", field="fish")
    return Biomass(total, tuple(how))


def ration_for(host_group: str, temperature_c: float, reference: Reference) -> Ration:
    """The row of rations.csv: pond for pond cyprinids, marine for sea fish, tropical for the rest."""
    line = reference.host_group_line(host_group)
    kept = (
        "pond"
        if {"cyprinid_pond", "salmonid", "sturgeon"} & set(line)
        else "marine"
        if "marine" in line
        else "tropical"
    )
    for row in reference.rations:
        if row.kept == kept and row.from_c <= temperature_c < row.to_c:
            return row
    raise InputError(f"{temperature_c:g} °C is no temperature for {kept} fish", field="temperature")


def oral_mg_per_kg_day(g_per_kg_feed: float, ration_percent: float) -> float:
    """mg/kg fish/day = g/kg feed x 1000 x ration / 100.

    >>> oral_mg_per_kg_day(2.5, 3)
    75.0
    """
    _ration(ration_percent)
    return g_per_kg_feed * 1000 * ration_percent / 100


def feed_g_per_kg(mg_per_kg_day: float, ration_percent: float) -> float:
    """g/kg feed that gives so many mg/kg fish/day at the ration.

    >>> feed_g_per_kg(75, 0.5)
    15.0
    """
    _ration(ration_percent)
    return mg_per_kg_day / (1000 * ration_percent / 100)


def _ration(percent: float) -> None:
    if not 0 < percent <= 10:
        raise InputError(
            f"a ration of {percent:g} % of body weight a day; accepted: more than 0 to 10 %", field="ration"
        )


@dataclass(frozen=True, slots=True)
class MedicatedFeed:
    """Feed and substance for the whole course; `reached` is the share of the group that eats and so is treated."""

    mg_per_kg_day: float
    g_per_kg_feed: float
    feed_g_a_day: float
    substance_mg_a_day: float
    days: float
    feed_g: float
    substance_mg: float
    reached: float
    words: tuple[str, ...]


def medicated_feed(
    biomass_g: float, ration_percent: float, days: float, *, share_eating: float, mg_per_kg_day: float
) -> MedicatedFeed:
    """What to mix for a group of `biomass_g` at a ration, for `days`; `share_eating` (0-1) of the fish still eat.

    Feed is reckoned for the fish that eat; what the others leave would be eaten by these as an overdose. InputError for
    impossible figures; nobody eating is refused, since feed then treats no fish.
    """
    _ration(ration_percent)
    if not 0 < biomass_g < math.inf:
        raise InputError(f"{biomass_g:g} g of fish", field="biomass")
    if not 0 < days <= 60:
        raise InputError(f"{days:g} days of medicated feed; accepted: more than 0 to 60", field="days")
    if not 0 <= share_eating <= 1:
        raise InputError("the share that eats is from 0 to 1", field="eating")
    if share_eating == 0:
        raise InputError("no fish eats: medicated feed treats none of them", field="eating")
    eaters_g = biomass_g * share_eating
    feed = eaters_g * ration_percent / 100
    substance = mg_per_kg_day * eaters_g / 1000
    missed = round(100 * (1 - share_eating))
    in_feed = feed_g_per_kg(mg_per_kg_day, ration_percent)
    words = [f"{write_quantity(mg_per_kg_day, 'mg/kg/day')}; {write_quantity(in_feed, 'g/kg feed')}"]
    words.append(
        f"{missed} % of the group does not eat and is not treated; the sickest fish eat least"
        if missed
        else "counted as if every fish ate: watch that each does"
    )
    return MedicatedFeed(
        mg_per_kg_day,
        in_feed,
        feed,
        substance,
        days,
        feed * days,
        substance * days,
        share_eating,
        tuple(words),
    )


def injection_ml(mg_per_kg: float, fish_g: float, mg_per_ml: float) -> float:
    """mL to inject: dose x weight / strength.

    >>> injection_ml(10, 1500, 50)
    0.3
    """
    if not (0 < fish_g < math.inf and mg_per_ml > 0):
        raise InputError("an injection needs the weight of the fish and the strength, both more than 0", field="weight")
    return mg_per_kg * fish_g / 1000 / mg_per_ml
