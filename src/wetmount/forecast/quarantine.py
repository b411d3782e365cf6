"""Ready to leave quarantine? And what to do with a bag of fish that has just come."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date as Date
from datetime import timedelta
from typing import Final

import numpy as np

from wetmount.distributions import binomial_pmf
from wetmount.errors import InputError
from wetmount.forecast.draw import needed
from wetmount.forecast.lifecycle import at_temperature, check_temperature, days_at, model_of
from wetmount.reference import Reference
from wetmount.sampling import clean_sample
from wetmount.water import un_ionised_ammonia_mg_n_per_l

LEAST_DAYS: Final = 21
"""Quarantine of new fish, at least (UF/IFAS leaflet on ich: three weeks advised)."""
ROUNDS_OF_CYCLE: Final = 2
"""Life cycles a batch should have had time for, so that a carried few have become enough to be found (the project's
choice, doubling a cycle as fallow times do)."""
LONGEST_ASKED_DAYS: Final = 45
"""A cycle longer than this cannot be waited out in quarantine; then the examination must carry the proof."""
DESIGN_PREVALENCE: Final = 0.1
CONFIDENCE: Final = 0.95
DEATHS_UNLIKELY: Final = 0.05
USUAL_DEATHS_PER_DAY: Final = 0.001
"""Deaths in a healthy batch, share a day, where the practice has no baseline of its own (memory: about 3 % a month)."""


@dataclass(frozen=True, slots=True)
class Batch:
    """A batch in quarantine. `examined`: fish examined in its last round, all clean unless `found`; `treatment_ends`:
    last day on which each treatment still acts; `temperatures_c`: one a day, the last holds on."""

    fish: int
    arrived: Date
    temperatures_c: tuple[float, ...]
    water: str = "fresh"
    examined: int = 0
    examined_on: Date | None = None
    sensitivity: float = 0.8
    found: tuple[str, ...] = ()
    deaths: int = 0
    baseline_deaths_per_day: float = USUAL_DEATHS_PER_DAY
    treatment_ends: tuple[Date, ...] = ()


@dataclass(frozen=True, slots=True)
class Readiness:
    """`ready`, or not yet because of `reasons`; the next look; days needed by parasite; what the sample proved."""

    ready: bool
    reasons: tuple[str, ...]
    next_look: Date
    days_in: int
    days_needed: Mapping[str, int]
    upper_prevalence: float | None
    deaths_probability: float
    warnings: tuple[str, ...]


QUARANTINE_MODELS: Final = {
    "fresh": ("ich", "velvet_freshwater", "gill_flukes", "skin_flukes", "anchor_worm"),
    "salt": ("marine_ich", "velvet_marine", "capsalid_flukes"),
}


def cycle_days(model_id: str, temperature_c: float, reference: Reference) -> float:
    """Longest life cycle at one temperature: last leaving of both timed stages and the free life between, days.

    Live-bearers: time to grow a hundredfold. Infinite where it does not develop or grow.
    """
    from wetmount.forecast.livebearers import flukes_of

    model = model_of(model_id)
    check_temperature(temperature_c)
    if model.kind == "live_bearer":
        growth = float(at_temperature(flukes_of(model, reference).growth, np.array([temperature_c]))[0])
        return math.log(100) / growth if growth > 0 else math.inf
    need = needed(model, reference)
    if need.cold_limit_c is not None and temperature_c <= need.cold_limit_c:
        return math.inf
    stages = sum(days_at(need.figures[f"{stage}_last_d"], temperature_c, need.zero_c) for stage in ("off", "on"))
    return stages + float(at_temperature(need.figures["free_life_d"], np.array([temperature_c]))[0])


def ready_to_leave(batch: Batch, today: Date, reference: Reference) -> Readiness:
    """Whether a batch may leave quarantine today.

    It has to have had time for two life cycles of each parasite of its water (three weeks at least), a clean
    examination that would have found one fish in ten infected with 95 %, no treatment that still acts or ended after
    that examination, and no more deaths than the baseline makes likely.
    """
    _check_batch(batch, today)
    days_in = (today - batch.arrived).days
    typical = float(np.mean(batch.temperatures_c))
    needed_days, warnings = {}, []
    for id in QUARANTINE_MODELS[batch.water]:
        cycle = cycle_days(id, typical, reference)
        if cycle * ROUNDS_OF_CYCLE > LONGEST_ASKED_DAYS:
            warnings.append(
                f"{model_of(id).name} would need longer than {LONGEST_ASKED_DAYS} days at {typical:g} °C: "
                "look for it at every visit"
            )
            continue
        needed_days[id] = max(LEAST_DAYS, math.ceil(cycle * ROUNDS_OF_CYCLE))
    reasons: list[str] = []
    looks: list[Date] = []
    wait = max(needed_days.values(), default=LEAST_DAYS)
    if days_in < wait:
        slow = [model_of(id).name for id, days in needed_days.items() if days == wait and wait > LEAST_DAYS]
        because = f"two life cycles of {' and '.join(slow)} at {typical:g} °C" if slow else "the least that is advised"
        reasons.append(f"{days_in} of {wait} days: {because}")
        looks.append(batch.arrived + timedelta(days=wait))
    if batch.found:
        reasons.append(f"found at the last examination: {', '.join(batch.found)}")
        looks.append(today + timedelta(days=1))
    upper = None
    if batch.examined:
        proof = clean_sample(batch.fish, batch.examined, sensitivity=batch.sensitivity, prevalence=DESIGN_PREVALENCE)
        upper = proof.upper_prevalence
        if (proof.chance_found or 0.0) < CONFIDENCE and batch.examined < batch.fish:
            reasons.append(
                f"{batch.examined} fish examined find one infected in ten with {proof.chance_found:.0%} only"
            )
            looks.append(today)
    else:
        reasons.append("no fish has been examined")
        looks.append(today)
    last = max(batch.treatment_ends, default=None)
    if last is not None and last >= today:
        reasons.append(f"a treatment acts until {last.isoformat()}")
        looks.append(last + timedelta(days=1))
    elif last is not None and batch.examined and (batch.examined_on is None or batch.examined_on <= last):
        reasons.append(f"not examined since the treatment ended on {last.isoformat()}")
        looks.append(today)
    expected = -math.expm1(max(days_in, 1) * math.log1p(-batch.baseline_deaths_per_day))
    unlikely = math.fsum(binomial_pmf(n, batch.fish, expected) for n in range(batch.deaths, batch.fish + 1))
    if unlikely < DEATHS_UNLIKELY:
        reasons.append(f"{batch.deaths} of {batch.fish} died, more than the baseline makes likely ({unlikely:.1%})")
        looks.append(today + timedelta(days=1))
    return Readiness(
        not reasons,
        tuple(reasons),
        max(looks, default=today),
        days_in,
        needed_days,
        upper,
        unlikely,
        tuple(warnings),
    )


def _check_batch(batch: Batch, today: Date) -> None:
    if batch.fish < 1 or not 0 <= batch.examined <= batch.fish or not 0 <= batch.deaths <= batch.fish:
        raise InputError(
            "fish examined and deaths lie between 0 and the fish that arrived, at least one", field="batch"
        )
    if batch.water not in QUARANTINE_MODELS:
        raise InputError(f"{batch.water!r} is no water; accepted are fresh, salt", field="water")
    if today < batch.arrived:
        raise InputError(f"the batch arrives on {batch.arrived.isoformat()}, after today", field="arrived")
    if not batch.temperatures_c:
        raise InputError("no temperature is given; one is enough", field="temperature")
    for temperature in batch.temperatures_c:
        check_temperature(temperature)
    if not 0 <= batch.baseline_deaths_per_day < 1:
        raise InputError("baseline deaths are a share of the fish a day, 0 to 1", field="baseline deaths")


# --- intake of a delivery -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Intake:
    """A delivery as it was opened: bag and tank water, total ammonia of the bag in mg/L N, fish and dead on arrival."""

    bag_temperature_c: float
    bag_ph: float
    bag_ammonia_mg_n_per_l: float
    tank_temperature_c: float
    tank_ph: float
    fish: int
    dead_on_arrival: int = 0
    salinity_g_per_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class IntakeAdvice:
    """Free ammonia of the bag as it is, and of the same water once its pH has risen to the tank's; what follows."""

    free_now_mg_n_per_l: float
    free_at_tank_ph_mg_n_per_l: float
    limit_mg_n_per_l: float
    dead_share: float
    temperature_step_c: float
    advice: tuple[str, ...]


MANY_DEAD: Final = 0.05
"""Share dead on arrival from which the delivery is questioned (common practice, no source)."""
LARGE_STEP_C: Final = 3.0
"""Difference of temperature from which the closed bag is floated first (common practice, no source)."""


def intake_advice(intake: Intake, reference: Reference) -> IntakeAdvice:
    """What to mind at opening. The danger of a bag is its ammonia: harmless at the low pH of a closed bag, it becomes
    free ammonia as carbon dioxide leaves the open bag or tank water raises the pH."""
    if intake.fish < 1 or not 0 <= intake.dead_on_arrival <= intake.fish:
        raise InputError(
            "dead on arrival lie between 0 and the fish of the delivery, at least one", field="dead on arrival"
        )
    if not 0 <= intake.bag_ammonia_mg_n_per_l <= 1000:
        raise InputError(f"{intake.bag_ammonia_mg_n_per_l:g} mg/L N; accepted are 0 to 1000", field="bag ammonia")
    check_temperature(intake.bag_temperature_c)
    check_temperature(intake.tank_temperature_c)
    salt, ammonia = intake.salinity_g_per_kg, intake.bag_ammonia_mg_n_per_l
    now = un_ionised_ammonia_mg_n_per_l(ammonia, intake.bag_ph, intake.bag_temperature_c, salt)
    later = un_ionised_ammonia_mg_n_per_l(
        ammonia, max(intake.tank_ph, intake.bag_ph), max(intake.tank_temperature_c, intake.bag_temperature_c), salt
    )
    limit = max(
        row.value
        for row in reference.limits
        if row.parameter == "un_ionised_ammonia" and row.host_group == "fish" and row.side == "above"
    )
    step = intake.tank_temperature_c - intake.bag_temperature_c
    dead = intake.dead_on_arrival / intake.fish
    advice = []
    if later > limit:
        advice.append(
            "do not drip tank water into the bag: at the tank's pH its free ammonia would be "
            f"{later:.2g} mg/L N, above {limit:g}; bring the closed bag to temperature, open it, "
            "lift the fish out at once, pour the bag water away"
        )
    elif later > limit / 2:
        advice.append(f"keep mixing short: free ammonia would reach {later:.2g} mg/L N at the tank's pH")
    if now > limit:
        advice.append(f"free ammonia in the bag is {now:.2g} mg/L N already: the fish leave this water first of all")
    if abs(step) >= LARGE_STEP_C:
        advice.append(f"float the closed bag first: the tank is {abs(step):g} °C {'warmer' if step > 0 else 'colder'}")
    if abs(intake.tank_ph - intake.bag_ph) >= 1 and later <= limit:
        advice.append(
            f"pH differs by {abs(intake.tank_ph - intake.bag_ph):.1f}: mix over half an hour, the bag aerated"
        )
    if dead >= MANY_DEAD:
        advice.append(f"{dead:.0%} dead on arrival: photograph and keep the dead chilled, tell the supplier today")
    advice.append("no bag water into the tank, into quarantine with its own nets")
    return IntakeAdvice(now, later, limit, dead, step, tuple(advice))


def explain(readiness: Readiness) -> Sequence[str]:
    """The answer in sentences, the first a verdict."""
    if readiness.ready:
        return ("Ready to leave quarantine.",)
    first = f"Not yet; next look on {readiness.next_look.isoformat()}."
    return (first, *(f"Because {reason}." for reason in readiness.reasons))
