"""What a set of water readings means for the fish kept in it: what is off, how far, and what not to do about it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from wetmount import water
from wetmount.errors import InputError
from wetmount.findings import (
    Derived,
    GradedFinding,
    WaterState,
    grade_parameter,
    grade_water,
    limits_for,
    number,
    parameter_name,
    water_state,
)
from wetmount.reference.loader import Reference
from wetmount.reference.rows import Limit
from wetmount.units import Quantity

PH_STEPS: Final = (6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0)
"""The pH values for which the report says what the same total ammonia would be."""
ALKALINITY_HOLDS_PH_DKH: Final = 2.8
"""Under this (50 mg/L CaCO3) a nitrifying filter can bring the pH down within days (memory)."""
CHLORINE_KIT_MG_PER_L: Final = 0.1
"""Lowest step of a usual chlorine kit (memory)."""
OXYGEN_TOO_FULL_PERCENT: Final = 140.0
"""Oxygen alone above this share of saturation can bring gas bubbles in fry (memory)."""


@dataclass(frozen=True, slots=True)
class WaterLine:
    """One parameter: its value, how it came about, and what the limits of the host say.

    `level` None = no limit for it; 0 = within limits. `verdict` holds the words, `limits` the rows behind them.
    """

    parameter: str
    name: str
    value: float
    unit: str
    measured: bool
    how: str
    finding: str | None
    level: int | None
    verdict: tuple[str, ...]
    limits: tuple[Limit, ...]


@dataclass(frozen=True, slots=True)
class AmmoniaAt:
    """The total ammonia of now at another pH: how much of it would be un-ionised, and the level that would be."""

    ph: float
    un_ionised_mg_n_per_l: float
    level: int
    level_name: str
    is_now: bool


@dataclass(frozen=True, slots=True)
class Advice:
    """`kind`: do_not (an act that would hurt) | know (what the figures do not show by themselves)."""

    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class WaterReport:
    """Readings of one water judged for one host.

    `lines` every parameter, measured or worked out; `findings` what a weigh-up takes from them (level None = cannot be
    graded, its trace says why); `ammonia_at` the total ammonia of now over the pH scale (empty without ammonia, pH and
    temperature); `assumed` what was taken for granted in the formulas.
    """

    host_group: str
    species: str | None
    lines: tuple[WaterLine, ...]
    findings: tuple[GradedFinding, ...]
    ammonia_at: tuple[AmmoniaAt, ...]
    advice: tuple[Advice, ...]
    assumed: tuple[str, ...]

    @property
    def off(self) -> tuple[WaterLine, ...]:
        """The lines beyond a limit, worst first."""
        return tuple(sorted((line for line in self.lines if line.level), key=lambda line: -(line.level or 0)))


def read_water(
    readings: Mapping[str, Quantity], host_group: str | None, reference: Reference, species: str | None = None
) -> WaterReport:
    """Judge the readings (keys of `units.READINGS`, values of `units.parse_quantity`) for a host; None = any fish.

    Raises `InputError` for an unknown host group, an unknown reading, or one in another unit.
    """
    group = host_group or "fish"
    if group not in reference.host_groups:
        raise InputError(f'unknown host group "{group}"; accepted: {", ".join(reference.host_groups)}', field="host")
    state = water_state(readings, group, reference)
    ammonia_at = tuple(_ammonia_at(state, group, species, reference))
    return WaterReport(
        host_group=group,
        species=species,
        lines=tuple(_line(known, state, group, species, reference) for known in state.parameters.values()),
        findings=grade_water(state, group, species, reference),
        ammonia_at=ammonia_at,
        advice=tuple(_advice(state, group, species, reference)),
        assumed=state.assumed,
    )


def _line(known: Derived, state: WaterState, group: str, species: str | None, reference: Reference) -> WaterLine:
    graded = grade_parameter(known.parameter, state, group, species, reference)
    worst = max(graded, key=lambda one: one.level or 0, default=None)
    # Within limits on both sides is told in full; beyond one of them, that one matters.
    told = [one for one in graded if one.level == (worst.level if worst else None)]
    return WaterLine(
        parameter=known.parameter,
        name=parameter_name(known.parameter),
        value=known.value,
        unit=known.unit,
        measured=known.measured,
        how=known.how,
        finding=worst.finding if worst else None,
        level=worst.level if worst else None,
        verdict=tuple(words for one in told for words in one.trace),
        limits=tuple(limit for one in told for limit in one.limits),
    )


def _ammonia_at(state: WaterState, group: str, species: str | None, reference: Reference) -> Iterator[AmmoniaAt]:
    now = _ammonia_now(state)
    if now is None:
        return
    total, ph_now, temperature_c = now
    limits = limits_for("un_ionised_ammonia", group, species, reference)
    for ph in sorted({*PH_STEPS, ph_now}):
        value = water.un_ionised_ammonia_mg_n_per_l(total, ph, temperature_c, state.salinity_g_per_kg)
        passed = next((limit for limit in limits if value > limit.value), None)
        level = passed.level if passed else 0
        name = reference.findings[limits[0].finding].levels[level] if limits else ""
        yield AmmoniaAt(ph, value, level, name, ph == ph_now)


def _ammonia_now(state: WaterState) -> tuple[float, float, float] | None:
    """Total ammonia, pH and temperature when un-ionised ammonia was worked out from them and is not nil."""
    known = state.parameters
    if known.get("un_ionised_ammonia") is None or not {"ammonia", "ph", "temperature"} <= known.keys():
        return None
    total = known["ammonia"].value
    return (total, known["ph"].value, known["temperature"].value) if total > 0 else None


# --- advice ----------------------------------------------------------------------------------------------------------


def _advice(state: WaterState, group: str, species: str | None, reference: Reference) -> Iterator[Advice]:
    known = {name: derived.value for name, derived in state.parameters.items()}
    yield from _on_ammonia(state, group, species, reference)
    yield from _on_nitrite(state, known, group, reference)
    if not state.is_marine and known.get("kh", ALKALINITY_HOLDS_PH_DKH) < ALKALINITY_HOLDS_PH_DKH:
        yield Advice(
            "know",
            f"An alkalinity of {number(known['kh'])} dKH holds the pH badly: a working filter can use it up and the pH "
            f"then falls within days; {number(ALKALINITY_HOLDS_PH_DKH)} dKH is the usual least.",
        )
    if known.get("chlorine", CHLORINE_KIT_MG_PER_L) < CHLORINE_KIT_MG_PER_L:
        yield Advice(
            "know",
            f"A usual chlorine kit reads from {number(CHLORINE_KIT_MG_PER_L)} mg/L, ten times what harms in days: no "
            "colour does not prove that there is none. Use the test for total chlorine.",
        )
    if known.get("oxygen_saturation", 0.0) > OXYGEN_TOO_FULL_PERCENT:
        yield Advice(
            "know",
            f"Oxygen at {number(known['oxygen_saturation'])} % of saturation can itself bring gas bubbles in fry: look "
            "for its source (strong light on plants, a feed of pure oxygen, air drawn into a pump).",
        )
    if "co2" in state.parameters and not state.parameters["co2"].measured:
        yield Advice(
            "know",
            "Carbon dioxide is an estimate: a pH wrong by 0.1 changes it by a quarter. Air a sample overnight: if its "
            "pH rises by 1 the tank held ten times what the air gives, about 6 mg/L; if it hardly rises, little.",
        )


def _on_ammonia(state: WaterState, group: str, species: str | None, reference: Reference) -> Iterator[Advice]:
    """The ammonia that a rise of pH sets free."""
    now = _ammonia_now(state)
    if now is None:
        return
    total, ph, temperature_c = now
    rises = []
    for limit in reversed(limits_for("un_ionised_ammonia", group, species, reference)):
        at = water.ph_at_limit(total, limit.value, temperature_c, state.salinity_g_per_kg)
        if at is not None and ph < at <= PH_STEPS[-1]:
            # Rounded down: the warning must not come after the fact.
            level = reference.findings[limit.finding].levels[limit.level]
            rises.append(f"{level} from pH {math.floor(at * 10) / 10:.1f}")
    free = state.parameters["un_ionised_ammonia"].value
    more = (
        water.un_ionised_ammonia_mg_n_per_l(total, min(ph + 1, 14.0), temperature_c, state.salinity_g_per_kg) / free
        if free > 0
        else 10.0
    )
    ahead = f": it would be {' and '.join(rises)}" if rises else ""
    yield Advice(
        "do_not",
        f"Do not raise the pH while there is ammonia (no buffer, no shell or lime, no large change with harder, more "
        f"alkaline water): one unit more makes {more:.2g} times the un-ionised ammonia of now{ahead}. Bring the "
        f"total of {number(total)} mg/L N down first.",
    )
    yield Advice("do_not", "Do not feed or warm the water while ammonia is above its limit: both make it worse.")


def _on_nitrite(state: WaterState, known: Mapping[str, float], group: str, reference: Reference) -> Iterator[Advice]:
    """How much chloride would keep the nitrite out."""
    nitrite = known.get("nitrite", 0.0)
    ratio = known.get("chloride_to_nitrite")
    for row in limits_for("chloride_to_nitrite", group, None, reference):
        if nitrite <= 0 or (ratio is not None and ratio >= row.value):
            continue
        needed = row.value * nitrite
        if ratio is None:
            text = f"Measure chloride: {number(needed)} mg/L would keep this nitrite out of the gill"
        else:
            more = needed - ratio * nitrite
            text = f"Chloride is {number(more)} mg/L short of the {number(needed)} mg/L that keeps this nitrite out"
        source = f"{number(row.value)} to 1; {'; '.join(row.sources)}"
        yield Advice("know", f"{text} ({source}). Mind fish and plants that bear no salt.")
