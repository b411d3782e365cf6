"""From the life-cycle table to curves over temperature: days of a stage, shares, lives, and how unsure each is.

Inside the published range the development rate 1/D is interpolated between the measured points; outside it the
degree-day line 1/D = (T - T0) / K through the nearest point goes on, is labelled and is held less sure. Figures without
a temperature hold for any. Low and high ends are read as 5 and 95 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wetmount.errors import InputError
from wetmount.reference import Reference
from wetmount.reference.rows import LifeCycle

Array = NDArray[np.float64]

COLDEST_C: Final = 0.0
WARMEST_C: Final = 40.0
SPREAD_BY_BASIS: Final = {"published": 0.08, "estimated": 0.25, "memory": 0.35}
"""Standard deviation of ln value where a row gives no ends (the project's own choice)."""
SPREAD_PER_DEGREE_OUTSIDE: Final = 0.05
"""Added standard deviation of ln value for each degree outside the published range (the project's own choice)."""
SLOWEST: Final = 0.02
"""Least development rate, as a share of that of the nearest measured point: cold slows, it seldom stops."""
DEFAULT_ZERO_C: Final = 5.0
"""Development threshold T0 where a parasite has none of its own (mid of the fitted ones, 2 to 11 °C)."""
_HARMONISE: Final = {"h": 1 / 24, "percent": 0.01}


@dataclass(frozen=True, slots=True)
class Figure:
    """One parameter of one parasite: points by temperature, spread of ln value, and the rows it rests on."""

    parameter: str
    temperatures: tuple[float, ...]
    values: tuple[float, ...]
    spread: float
    rows: tuple[LifeCycle, ...]
    borrowed: bool

    def inside(self, temperature_c: float) -> bool:
        """Whether the temperature lies in the published range; always when the figure knows no temperature."""
        return len(self.temperatures) < 2 or self.temperatures[0] <= temperature_c <= self.temperatures[-1]

    def degrees_outside(self, temperature_c: float) -> float:
        """Degrees by which the temperature is outside; a single point counts from 5 °C away."""
        if not self.temperatures:
            return 0.0
        slack = 5.0 if len(self.temperatures) == 1 else 0.0
        low, high = self.temperatures[0] - slack, self.temperatures[-1] + slack
        return max(low - temperature_c, temperature_c - high, 0.0)


@dataclass(frozen=True, slots=True)
class Model:
    """A parasite that can be forecast.

    `kind`: layer (adults on the fish lay or shed), divider (leaves the fish, divides in a cyst) or live_bearer.
    `parasites`: whose rows are read, nearest first; `borrowed` = the curve is another species', uncertainty doubled.
    """

    id: str
    name: str
    kind: str
    condition: str
    parasites: tuple[str, ...]
    borrowed: bool
    water: str
    counted: str
    sooner_if: str


_FLUKE_SIGNS = "fish flash, breathe fast, hold one gill shut or lose colour"
_SPOT_SIGNS = "spots grow in number, fish breathe fast or stop eating"
MODELS: Final[dict[str, Model]] = {
    model.id: model
    for model in (
        Model(
            "gill_flukes",
            "egg-laying gill flukes of carp and goldfish",
            "layer",
            "gill_flukes",
            ("dactylogyrus_vastator", "dactylogyrus"),
            False,
            "fresh",
            "worms per fish, all gills",
            _FLUKE_SIGNS,
        ),
        Model(
            "gill_flukes_other",
            "egg-laying gill flukes of other fish (discus, cichlids, catfish)",
            "layer",
            "gill_flukes",
            ("discus_dactylogyrids", "dactylogyrus_vastator", "dactylogyrus"),
            True,
            "fresh",
            "worms per fish, all gills",
            _FLUKE_SIGNS,
        ),
        Model(
            "capsalid_flukes",
            "large egg-laying skin flukes of marine fish",
            "layer",
            "capsalid_flukes",
            ("neobenedenia",),
            False,
            "salt",
            "worms per fish",
            _FLUKE_SIGNS,
        ),
        Model(
            "skin_flukes",
            "live-bearing skin flukes of warm water",
            "live_bearer",
            "skin_flukes",
            ("gyrodactylus_guppy_model", "gyrodactylus"),
            False,
            "fresh",
            "worms per fish, whole skin and fins",
            _FLUKE_SIGNS,
        ),
        Model(
            "skin_flukes_cool",
            "live-bearing skin flukes of cool water (goldfish, koi)",
            "live_bearer",
            "skin_flukes",
            ("gyrodactylus_salaris", "gyrodactylus_kobayashii", "gyrodactylus"),
            True,
            "fresh",
            "worms per fish, whole skin and fins",
            _FLUKE_SIGNS,
        ),
        Model(
            "ich",
            "white spot",
            "divider",
            "ich",
            ("ichthyophthirius_multifiliis",),
            False,
            "fresh",
            "spots per fish",
            _SPOT_SIGNS,
        ),
        Model(
            "marine_ich",
            "marine white spot",
            "divider",
            "marine_ich",
            ("cryptocaryon_irritans",),
            False,
            "salt",
            "spots per fish",
            _SPOT_SIGNS,
        ),
        Model(
            "velvet_freshwater",
            "freshwater velvet",
            "divider",
            "velvet_freshwater",
            ("piscinoodinium_pillulare",),
            False,
            "fresh",
            "cells per fish",
            "fish clamp their fins, flash, breathe fast or look dusted with gold",
        ),
        Model(
            "velvet_marine",
            "marine velvet",
            "divider",
            "velvet_marine",
            ("amyloodinium_ocellatum",),
            False,
            "salt",
            "cells per fish",
            "fish breathe fast or hang in the current: it kills within days",
        ),
        Model(
            "anchor_worm",
            "anchor worm",
            "layer",
            "anchor_worm",
            ("lernaea_cyprinacea",),
            False,
            "fresh",
            "females per fish",
            "new threads stand out of the skin, or sores redden",
        ),
        Model(
            "fish_louse",
            "fish louse",
            "layer",
            "fish_louse",
            ("argulus_japonicus",),
            False,
            "fresh",
            "lice per fish",
            "fish jump or rub, or lice are seen again",
        ),
        Model(
            "camallanus",
            "red gut worms straight from fish to fish",
            "layer",
            "camallanosis",
            ("camallanus_cotti",),
            False,
            "fresh",
            "female worms per fish",
            "red threads stand out of a vent, or fish thin",
        ),
        Model(
            "camallanus_copepods",
            "red gut worms with copepods in the tank or the food",
            "layer",
            "camallanosis",
            ("camallanus_cotti_copepod", "camallanus_cotti"),
            False,
            "fresh",
            "female worms per fish",
            "red threads stand out of a vent, or fish thin",
        ),
        Model(
            "capillaria",
            "hairworms of the gut",
            "layer",
            "capillariosis",
            ("pseudocapillaria_tomentosa",),
            False,
            "fresh",
            "worms per fish",
            "fish thin, or droppings turn white and stringy",
        ),
    )
}


def model_of(id: str) -> Model:
    """The model of this id; InputError names those that exist."""
    if id not in MODELS:
        raise InputError(f"{id!r} is no parasite to forecast; accepted are {', '.join(MODELS)}", field="parasite")
    return MODELS[id]


def check_temperature(temperature_c: float) -> float:
    """Refuse water in which no fish lives."""
    if not COLDEST_C <= temperature_c <= WARMEST_C:
        raise InputError(
            f"{temperature_c:g} °C is no water for fish; accepted are {COLDEST_C:g} to {WARMEST_C:g} °C",
            field="temperature",
        )
    return temperature_c


def figure(reference: Reference, parasites: Sequence[str], parameter: str, *, borrowed: bool = False) -> Figure | None:
    """The parameter from the first parasite of the list that has it; None when none has."""
    for parasite in parasites:
        rows = [row for row in reference.lifecycles if row.parasite == parasite and row.parameter == parameter]
        if rows:
            return _figure(parameter, rows, borrowed)
    return None


def _figure(parameter: str, rows: Sequence[LifeCycle], borrowed: bool) -> Figure:
    points: dict[float | None, list[float]] = {}
    spreads = []
    for row in rows:
        scale = _HARMONISE.get(row.unit, 1.0)
        points.setdefault(row.temperature_c, []).append(scale * middle(row))
        spreads.append(_spread(row))
    spread = float(np.mean(spreads)) * (2 if borrowed else 1)
    known = sorted((t, float(np.mean(values))) for t, values in points.items() if t is not None)
    if not known:
        return Figure(parameter, (), (float(np.mean(points[None])),), spread, tuple(rows), borrowed)
    return Figure(parameter, tuple(t for t, _ in known), tuple(v for _, v in known), spread, tuple(rows), borrowed)


def middle(row: LifeCycle) -> float:
    """The figure of a row in its own unit; the geometric mean of its ends where it gives only these."""
    if row.value is not None:
        return row.value
    if row.low is None or row.high is None:
        raise ValueError(f"{row.parasite}, {row.quantity}: neither a value nor two ends")
    return math.sqrt(row.low * row.high) if row.low > 0 else (row.low + row.high) / 2


def _spread(row: LifeCycle) -> float:
    if row.low is not None and row.high is not None and 0 < row.low < row.high:
        return math.log(row.high / row.low) / (2 * 1.6449)
    return SPREAD_BY_BASIS[row.basis]


def development_rate(points: Figure, temperature_c: Array, zero_c: float) -> Array:
    """1/D per day at each temperature from points of D in days: interpolated inside, degree-days outside."""
    rates = 1 / np.array(points.values)
    if not points.temperatures:
        return np.full(temperature_c.shape, rates[0])
    known = np.array(points.temperatures)
    rate: Array = np.interp(temperature_c, known, rates)
    cold, warm = temperature_c < known[0], temperature_c > known[-1]
    low_zero = min(zero_c, known[0] - 1)
    rate[cold] = rates[0] * np.maximum(SLOWEST, (temperature_c[cold] - low_zero) / (known[0] - low_zero))
    # above the measured points nothing is quicker than the line, and a stage that gained nothing lately gains nothing
    gained = len(rates) < 2 or rates[-1] > rates[-2] * 1.02
    if gained:
        rate[warm] = rates[-1] * (temperature_c[warm] - low_zero) / (known[-1] - low_zero)
    return rate


def at_temperature(points: Figure, temperature_c: Array) -> Array:
    """A share, count or rate at each temperature: interpolated between its points, held level outside."""
    if not points.temperatures:
        return np.full(temperature_c.shape, points.values[0])
    level: Array = np.interp(temperature_c, np.array(points.temperatures), np.array(points.values))
    return level


def days_at(points: Figure, temperature_c: float, zero_c: float) -> float:
    """Days of a stage at one temperature."""
    return float(1 / development_rate(points, np.array([check_temperature(temperature_c)]), zero_c)[0])


def degree_days(temperature_c: float, zero_c: float, constant: float) -> float:
    """Days of a stage by the degree-day line D = K / (T - T0); infinite at or below T0.

    >>> round(degree_days(20, 7.9, 40.5), 1)
    3.3
    """
    return math.inf if temperature_c <= zero_c else constant / (temperature_c - zero_c)


def belehradek_days(temperature_c: float, a: float, b: float, c: float) -> float:
    """Days of development D = a (T + b)^c. Sea lice: 17840, 7.439, -2.128 (Gislason 2018).

    >>> round(belehradek_days(8.5, 17840, 7.439, -2.128))
    49
    """
    return float(a * (temperature_c + b) ** c)


def zero_of(reference: Reference, parasites: Sequence[str]) -> float:
    """Development threshold T0 of the parasite, °C."""
    found = figure(reference, parasites, "development_zero_c")
    return DEFAULT_ZERO_C if found is None else found.values[0]


def chilled_survival(reference: Reference, parasites: Sequence[str], days: Array) -> Array:
    """Share of eggs that can still hatch after so many days at 5 °C, 1 where it was not measured.

    Weibull exp(-(d / τ)^c) through the two longest of the measured chillings; Zhang 2021 for D. vastator.
    """
    text = "hatching success after "
    rows = [row for row in reference.lifecycles if row.parasite in parasites and row.quantity.startswith(text)]
    measured = sorted((float(row.quantity[len(text) :].split()[0]), row.value or 0.0) for row in rows)
    if len(measured) < 3:
        return np.ones_like(days)
    (_, fresh), (d1, s1), (d2, s2) = measured[0], measured[-2], measured[-1]
    h1, h2 = -math.log(s1 / fresh), -math.log(s2 / fresh)
    shape = math.log(h2 / h1) / math.log(d2 / d1)
    scale = d2 / h2 ** (1 / shape)
    return np.asarray(np.exp(-((days / scale) ** shape)))
