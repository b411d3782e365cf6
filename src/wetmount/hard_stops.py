"""What refuses a dose: the agent, the law, the fish, the water, what else is in it. Unknown counts as dangerous.

`bounds_for` narrows a row of doses.csv to these fish in this water; `hard_stops` lists every reason why not. Each stop
names the table row it comes from, and says whether a named person may override it with a written reason.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from msgspec import structs

from wetmount.case import LIVING
from wetmount.dose_rules import (
    RuleAnswer,
    bicarbonate_per_dkh,
    chloramine_t_by_ph,
    chloride_to_nitrite,
    copper_by_alkalinity,
    is_soft,
    permanganate_demand,
    thiosulphate_to_chlorine,
)
from wetmount.dose_units import CHLORIDE_SHARE
from wetmount.dose_writing import write_quantity
from wetmount.reference import Reference
from wetmount.reference.rows import Conflict, DoseLimit, DoseRow

ANY_FISH: Final = ("fish", "freshwater", "marine", "other")
"""Groups that do not say which fish: the strictest row of any fish of that water holds."""
BATHS: Final = ("dip", "bath", "bath_indefinite", "egg_bath")
THINGS: Final = LIVING
THING_WORDS: Final[Mapping[str, str]] = {
    "eggs": "eggs",
    "fry": "fry",
    "gravid": "fish heavy with young or eggs",
    "not_eating": "fish that do not eat",
    "gill_damage": "damaged gills",
    "ulcers": "open sores",
    "invertebrates": "snails, shrimps or other invertebrates",
    "plants": "plants",
    "filter_bacteria": "a filter with living bacteria",
}
STAYING: Final = ("plants", "invertebrates", "filter_bacteria")
"""Those that stay in the tank when fish are treated in a container or injected."""

# What must have been looked at, by family; each is one tap.
CHECKS: Final = {
    "aerated": "strong aeration is running",
    "stock_clear": "the formalin stock is clear, never frozen, without white deposit",
    "copper_test": "a copper test is at hand and is read before every addition",
    "buffered": "the anaesthetic is buffered with sodium bicarbonate to pH 7 to 7.5",
    "handler": "nobody who is or may be pregnant handles it; gloves are worn and no powder is raised",
}


@dataclass(frozen=True, slots=True)
class WaterState:
    """The water at the time of the dose; None is not known. Alkalinity and hardness in mg/L CaCO3, ammonia as N,
    nitrite as NO2; `free_ammonia_after_mg_n_per_l` is the un-ionised ammonia after a rise of pH."""

    temperature_c: float | None = None
    ph: float | None = None
    alkalinity_mg_caco3_per_l: float | None = None
    hardness_mg_caco3_per_l: float | None = None
    oxygen_mg_per_l: float | None = None
    marine: bool | None = None
    total_ammonia_mg_n_per_l: float | None = None
    free_ammonia_after_mg_n_per_l: float | None = None
    nitrite_mg_no2_per_l: float | None = None
    chloride_mg_per_l: float | None = None
    chlorine_mg_per_l: float | None = None


@dataclass(frozen=True, slots=True)
class Life:
    """What lives in the water that is treated: host groups, which of THINGS are there, and the species where named.

    `unsaid` are those of THINGS that nobody looked for or spoke of: they are spared as if they were there. Sea fish are
    known as such only by species: without one the strictest sea fish is meant."""

    host_groups: tuple[str, ...]
    things: frozenset[str] = frozenset()
    for_food: bool = False
    species: tuple[str, ...] = ()
    unsaid: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Present:
    """An agent given before: hours since, and the share of the water changed since (0 to 1)."""

    treatment: str
    hours_ago: float
    changed: float = 0.0


@dataclass(frozen=True, slots=True)
class Prescription:
    """A dose typed from a prescription or label; `prescriber` is the veterinarian or the label's name, `against` the
    condition it is for."""

    dose: str
    prescriber: str
    kind: str = "prescription"
    against: str | None = None


@dataclass(frozen=True, slots=True)
class Stop:
    """A reason not to dose, the table row behind it, and whether a named person may override it."""

    id: str
    text: str
    row: str
    overridable: bool = False


@dataclass(frozen=True, slots=True)
class Bounds:
    """A row of doses.csv narrowed to these fish and this water. `target` is what the water's rule asks for."""

    low: float | None
    high: float | None
    most: float | None
    target: float | None
    unit: str
    minutes_max: float | None
    test_first: tuple[str, ...]
    second_step: bool
    words: tuple[str, ...]
    refusals: tuple[Stop, ...]


def limits_that_hold(row: DoseRow, water: WaterState, life: Life, reference: Reference) -> tuple[DoseLimit, ...]:
    """Rows of dose_limits.csv for these fish and things in this water: the narrowest group that has rows, but for
    fish that are not named the rows of every group of that water."""
    classes = {row.treatment}
    if row.route in BATHS:
        classes.add("any_bath")
    if row.route == "feed":
        classes.add("any_feed")
    own = [limit for limit in reference.dose_limits if limit.treatment in classes and _warm(limit, water)]
    beside = row.place == "container" or row.route == "injection"
    # Whoever nets fish into a container sees whether eggs or fry go in as well.
    unsaid = life.unsaid.difference(STAYING, ("eggs", "fry")) if beside else life.unsaid
    things = set(life.things | unsaid)
    if water.marine is not True and is_soft(water.alkalinity_mg_caco3_per_l, water.hardness_mg_caco3_per_l):
        things.add("soft_water")
    if row.place == "container":
        things -= {"filter_bacteria"}
    if row.route in ("feed", "injection"):
        things -= {"filter_bacteria", "soft_water"}
    found = [limit for limit in own if limit.host_group is None and limit.thing in things]
    named = {reference.hosts[one].host_group for one in life.species if one in reference.hosts} & {"marine"}
    for group in life.host_groups:
        line = reference.host_group_line(group)
        for thing in ("", *sorted(things)):
            rows = [limit for limit in own if limit.host_group is not None and limit.thing == thing]
            if group in ANY_FISH and group not in named:
                found += [limit for limit in rows if _may_be(limit.host_group or "", group, reference)]
                continue
            for one in line:
                nearest = [limit for limit in rows if limit.host_group == one]
                found += nearest
                # "fish" rows bound the agent itself and hold beside those of a group
                if nearest:
                    found += [limit for limit in rows if limit.host_group == "fish" and one != "fish"]
                    break
    return tuple(dict.fromkeys(found))


def _may_be(group: str, named: str, reference: Reference) -> bool:
    """Whether fish known only as `named` may be of `group`, or are covered by it."""
    wider = "freshwater" if named == "other" else named
    return wider in reference.host_group_line(group) or group in reference.host_group_line(wider)


def _warm(limit: DoseLimit, water: WaterState) -> bool:
    """A limit above a temperature holds when it is warmer or the temperature is not known."""
    return limit.above_c is None or water.temperature_c is None or water.temperature_c > limit.above_c


def bounds_for(
    row: DoseRow,
    water: WaterState,
    life: Life,
    reference: Reference,
    *,
    dose: float | None = None,
    rise_dkh: float | None = None,
    demand: dict[float, float] | None = None,
) -> Bounds:
    """Dose range, greatest dose and contact for these fish in this water, with every refusal of fish and water."""
    limits = limits_that_hold(row, water, life, reference)
    halved = any(limit.rule == "factor" for limit in limits)
    answer = _rule(row, water, limits, halved=halved, rise_dkh=rise_dkh, demand=demand)
    unit = rule_unit(row)
    unsaid = life.unsaid - life.things
    stops = [_refusal(limit, unsaid) for limit in limits if limit.rule == "refuse"]
    low, high, most, target = row.low, row.high, row.hard_max, None
    words: list[str] = []
    if answer is not None:
        if answer.refused is not None:
            stops.append(Stop("water_rule", answer.refused, f"dose_rules {row.rule}"))
        else:
            words.append(answer.words)
        low, high, most, target = answer.target, answer.target, answer.most, answer.target
        if row.rule == "chloramine_t_by_ph" and answer.words.endswith("soft water") and (water.ph or 0.0) < 6.5:
            stops.append(Stop("soft_acid_water", "not under pH 6.5 in soft water", f"doses {row.treatment}", True))
        if row.rule == "chloride_to_nitrite" and answer.target is not None:
            stops += _salt_in_all(answer.target, water, life, reference)
        if row.rule in ("copper_by_alkalinity", "chloramine_t_by_ph", "permanganate_demand") and row.low is not None:
            low = min(row.low, answer.most) if answer.most is not None else row.low
            high = most = min(row.hard_max or 0, answer.most) if answer.most is not None else row.hard_max
    minutes = row.minutes_high
    # These two rules have already halved their answer for sensitive fish and soft water.
    ties_to_rule = row.rule == "copper_by_alkalinity" or (row.rule == "permanganate_demand" and answer is not None)
    factors = [limit.value for limit in limits if limit.rule == "factor" and limit.value is not None]
    if factors and not ties_to_rule:
        factor = min(factors)
        words.append(f"{factor:g} of the dose for these fish or this water")
        low, high, most = (None if x is None else x * factor for x in (low, high, most if most == high else high))
    for limit in limits:
        over = limit.above_dose is None or (dose is not None and dose > limit.above_dose)
        lowers = limit.value is not None and most is not None and limit.value < most and unit == row.unit
        if limit.rule == "max" and over and lowers:
            words.append(f"at most {write_quantity(limit.value or 0.0, row.unit)} ({_who(limit)})")
            most = limit.value
        if limit.minutes_max is not None and over and (minutes is None or limit.minutes_max < minutes):
            minutes = limit.minutes_max
    counted = dict.fromkeys(limit.thing for limit in limits if limit.rule != "refuse" and limit.thing in unsaid)
    if counted:
        words.append(f"counted as there, since it is not said: {', '.join(THING_WORDS[thing] for thing in counted)}")
    if most is not None:
        high = most if high is None else min(high, most)
        low = None if low is None else min(low, high)
        target = None if target is None else min(target, most)
    return Bounds(
        low,
        high,
        most,
        target,
        unit,
        minutes,
        tuple(limit_words(limit.note) for limit in limits if limit.rule == "test_first"),
        any(limit.rule == "second_step" for limit in limits),
        tuple(dict.fromkeys(words)),
        tuple(dict.fromkeys(stops)),
    )


def _salt_in_all(salt: float, water: WaterState, life: Life, reference: Reference) -> Iterator[Stop]:
    """Salt against nitrite, with what the chloride of the water stands for, stays within what these fish stand for
    weeks (row salt_nitrite: "within salt_indefinite for that host")."""
    lasting = bounds_for(reference.doses["salt_indefinite"], water, life, reference)
    total = salt + (water.chloride_mg_per_l or 0.0) / CHLORIDE_SHARE / 1000
    if salt > 0 and lasting.most is not None and total > lasting.most * (1 + 1e-9):
        text = (
            f"{write_quantity(total, 'g/L')} of sodium chloride in all would be needed and these fish stand "
            f"{write_quantity(lasting.most, 'g/L')}: bring nitrite down by changing water first"
        )
        yield Stop("salt_in_all", text, "doses salt_indefinite")
    if salt > 0:
        yield from lasting.refusals


def rule_unit(row: DoseRow) -> str:
    """The unit in which a rule answers: ratios become mg/L or g/L of water."""
    return {"mg Cl per mg NO2": "g/L", "mg per mg Cl2": "mg/L", "mg/L per dKH": "mg/L"}.get(row.unit, row.unit)


def _rule(
    row: DoseRow,
    water: WaterState,
    limits: tuple[DoseLimit, ...],
    *,
    halved: bool,
    rise_dkh: float | None,
    demand: dict[float, float] | None,
) -> RuleAnswer | None:
    alkalinity, hardness = water.alkalinity_mg_caco3_per_l, water.hardness_mg_caco3_per_l
    if row.rule == "copper_by_alkalinity":
        return copper_by_alkalinity(alkalinity, hardness, halved=halved)
    if row.rule == "chloramine_t_by_ph":
        return chloramine_t_by_ph(water.ph, hardness)
    if row.rule == "permanganate_demand" and row.place == "tank":
        return permanganate_demand(demand, clean_soft=is_soft(alkalinity, hardness) or halved)
    if row.rule == "chloride_to_nitrite":
        return chloride_to_nitrite(water.nitrite_mg_no2_per_l, water.chloride_mg_per_l)
    if row.rule == "thiosulphate_to_chlorine":
        return thiosulphate_to_chlorine(water.chlorine_mg_per_l)
    if row.rule == "bicarbonate_per_dkh":
        return bicarbonate_per_dkh(
            rise_dkh,
            free_ammonia_after_mg_n_per_l=water.free_ammonia_after_mg_n_per_l,
            total_ammonia_mg_n_per_l=water.total_ammonia_mg_n_per_l,
        )
    return None


_SHORTHAND: Final = (("0: ", ""), ("0 (", "none of it ("))


def limit_words(note: str) -> str:
    """A note of dose_limits.csv as a sentence says it.

    >>> limit_words("0 (0.5x only with a test fish)"), limit_words("0: very sensitive at 12.5-25")
    ('none of it (half the dose only with a test fish)', 'very sensitive at 12.5-25')
    """
    for short, long in _SHORTHAND:
        if note.startswith(short):
            note = long + note.removeprefix(short)
    return note.replace("0.5x", "half the dose").replace("<=", "at most ").replace("uL/L", "microlitres/L")


def _who(limit: DoseLimit) -> str:
    who = ", ".join(part.replace("_", " ") for part in (limit.host_group or "", limit.thing) if part)
    return who + (f" above {limit.above_c:g} °C" if limit.above_c is not None else "")


def _refusal(limit: DoseLimit, unsaid: frozenset[str]) -> Stop:
    at = f"dose_limits {limit.treatment}, {_who(limit)}"
    if limit.thing in unsaid:
        text = f"not with {THING_WORDS[limit.thing]}, and nobody has looked, or said, whether there are any"
        return Stop(f"unsaid_{limit.thing}", text, at, overridable=True)
    why = f": {limit_words(limit.note)}" if limit.note else ""
    return Stop(
        f"sensitive_{limit.host_group or limit.thing}" if not limit.thing else f"sensitive_{limit.thing}",
        f"not with {_who(limit)}{why}",
        at,
        overridable=True,
    )


def hard_stops(
    row: DoseRow,
    water: WaterState,
    life: Life,
    reference: Reference,
    *,
    bounds: Bounds,
    present: tuple[Present, ...] = (),
    confirmed: frozenset[str] = frozenset(),
    lawful_here: bool | None = None,
    prescription: Prescription | None = None,
) -> tuple[Stop, ...]:
    """Every reason of this agent, law, fish, water and company not to dose; the dose itself is judged in `dose`."""
    stops = [*_agent(row, life, lawful_here, prescription, reference)]
    if row.supply in ("refused", "not_weighed"):
        return tuple(stops)
    stops += _water(row, water)
    stops += bounds.refusals
    stops += _checks(row, confirmed)
    stops += _company(row, present, reference)
    return tuple(dict.fromkeys(stops))


def stops_without_amount(
    row: DoseRow,
    water: WaterState,
    life: Life,
    reference: Reference,
    *,
    bounds: Bounds,
    present: tuple[Present, ...] = (),
) -> tuple[Stop, ...]:
    """Reasons not to use what is set rather than weighed, such as heat: fish, water, company, and for heat the upper
    temperature of every species (hosts.csv); fish that are not named by species count as too cool for it."""
    stops = [*_water(row, water), *bounds.refusals, *_company(row, present, reference)]
    if row.route == "heat" and row.low is not None:
        if not life.species:
            text = "the species is not named, so its upper temperature is not known"
            stops.append(Stop("upper_temperature", text, "hosts"))
        for species in life.species:
            host = reference.hosts.get(species)
            if host is not None and host.temperature_high_c < row.low:
                text = f"{host.common_name} are kept at up to {host.temperature_high_c:g} °C; {row.low:g} °C is needed"
                stops.append(Stop("upper_temperature", text, f"hosts {species}"))
    return tuple(dict.fromkeys(stops))


def _agent(
    row: DoseRow, life: Life, lawful_here: bool | None, prescription: Prescription | None, reference: Reference
) -> Iterator[Stop]:
    at = f"doses {row.treatment}"
    if life.for_food:
        yield Stop("food", "never for fish that people or animals may eat, now or later", "cautions no_food_after")
    if row.supply == "refused":
        yield Stop("refused_agent", row.reason, at)
    elif row.supply == "not_weighed":
        yield Stop("not_weighed", row.reason, at)
    elif row.supply in ("prescription", "unlicensed") and prescription is None:
        kind = "on prescription" if row.supply == "prescription" else "not licensed for fish in many places"
        yield Stop(
            "prescription",
            f"{row.substance} is {kind}: an amount is worked out only from a dose typed from a prescription or label, "
            "with the prescriber",
            at,
        )
    elif row.supply == "varies" and lawful_here is not True and prescription is None:
        yield Stop(
            "lawful",
            f"{row.substance} is restricted in some places and the law here is not stated: say that it is lawful for "
            "ornamental fish here, or type a prescription",
            at,
        )
    if prescription is not None and not prescription.prescriber.strip():
        yield Stop("prescriber", "the prescriber, or the name of the label, is not given", at)
    if row.route == "egg_bath" and "eggs" not in life.things:
        yield Stop("eggs_only", "this is a bath for eggs, many times what fish stand: say that eggs are bathed", at)
    if row.route == "egg_bath" and "fry" in life.things:
        yield Stop("eggs_only", "this is a bath for eggs and kills fry: it ends 24 h before they hatch", at)
    if "avermectin" in row.families and row.route != "feed":
        yield Stop("avermectin", "no avermectin as a bath or an injection: micrograms to the litre kill", at)
    if "antibacterial" in row.families and row.route in BATHS:
        yield from _antibiotic_bath(row, prescription, reference)


def acts_on(treatment: str, reference: Reference) -> tuple[str, ...]:
    """Conditions on which a treatment is known to act (rows of treats.csv with an effect)."""
    return tuple(dict.fromkeys(row.condition for row in reference.treats if row.treatment == treatment and row.effect))


def _antibiotic_bath(row: DoseRow, prescription: Prescription | None, reference: Reference) -> Iterator[Stop]:
    """Refuse rules of cautions: septicaemia or another internal disease, mycobacteriosis, any viral disease."""
    why = "an antibiotic bath does not reach an internal disease and feeds resistance"
    if prescription is None:
        yield Stop("antibiotic_bath", why, f"doses {row.treatment}")
        return
    reached = acts_on(row.treatment, reference)
    if prescription.against in reached:
        return
    known = ", ".join(reference.conditions[one].name for one in reached)
    if prescription.against is None:
        text = f"it is not said which disease this is against; this bath acts on {known} ({', '.join(reached)})"
        yield Stop("against", text, f"treats {row.treatment}")
    else:
        condition = reference.conditions.get(prescription.against)
        name = condition.name if condition is not None else prescription.against
        yield Stop("antibiotic_bath", f"not against {name}: {why}; this one acts on {known}", f"treats {row.treatment}")


def _water(row: DoseRow, water: WaterState) -> Iterator[Stop]:
    """Bounds of temperature, oxygen and pH; a bath in a separate container is judged by that container's water."""
    if row.route in ("feed", "injection", "none"):
        return
    at = f"doses {row.treatment}"
    if row.water != "any":
        if water.marine is None:
            yield Stop("salt_or_fresh", "it is not said whether the water is fresh or sea water", at)
        elif water.marine != (row.water == "marine"):
            yield Stop(
                "salt_or_fresh", f"this dose is for {'sea' if row.water == 'marine' else 'fresh'} water only", at
            )
    readings = (
        ("temperature", water.temperature_c, row.temperature_low_c, row.temperature_high_c, "°C"),
        ("oxygen", water.oxygen_mg_per_l, row.oxygen_min_mg_per_l, None, "mg/L"),
        ("ph", water.ph, row.ph_low, row.ph_high, ""),
    )
    for name, value, low, high, unit in readings:
        if low is None and high is None:
            continue
        shown = "pH" if name == "ph" else name
        if value is None:
            yield Stop(name, f"{shown} is not known, and it decides whether this kills", at, overridable=False)
        elif low is not None and value < low:
            yield Stop(name, f"{shown} {value:g} {unit}".strip() + f" is under {low:g} {unit}".rstrip(), at, True)
        elif high is not None and value > high:
            yield Stop(name, f"{shown} {value:g} {unit}".strip() + f" is above {high:g} {unit}".rstrip(), at, True)


def required_checks(row: DoseRow) -> tuple[str, ...]:
    """Ids of CHECKS that must be confirmed before an amount is shown."""
    checks = []
    if "formalin" in row.substance:
        checks += ["aerated", "stock_clear"]
    if "copper" in row.families:
        checks.append("copper_test")
    if "buffered" in row.substance:
        checks.append("buffered")
    if "malachite" in f"{row.treatment} {row.substance}":
        checks.append("handler")
    return tuple(checks)


def _checks(row: DoseRow, confirmed: frozenset[str]) -> Iterator[Stop]:
    for check in required_checks(row):
        if check not in confirmed:
            yield Stop(check, f"not confirmed: {CHECKS[check]}", "cautions, refuse rules")


def conflict_between(first: DoseRow, second: DoseRow, reference: Reference) -> Conflict:
    """The row of conflicts.csv for two agents: the gravest of their families' rows, else that of "any"."""
    grave = ("never", "off", "cancels", "allow", "wait")
    pairs = {(a, b) for a in first.families for b in second.families}
    pairs |= {(b, a) for a, b in pairs}
    own = [row for row in reference.conflicts if (row.first, row.second) in pairs]
    if own:
        return min(own, key=lambda row: grave.index(row.verdict))
    families = {*first.families, *second.families}
    anyone = [row for row in reference.conflicts if row.second == "any" and row.first in families]
    return anyone[0] if anyone else next(row for row in reference.conflicts if row.first == row.second == "any")


def hours_apart(before: DoseRow, after: DoseRow, reference: Reference) -> float:
    """Hours that must lie between two agents, one given after the other; 0 where they may meet. One substance in
    two kinds of bath waits the longer interval of its rows: skin and gills need it however it was given."""
    if before.treatment == after.treatment:
        return after.interval_h_low or 0.0
    conflict = conflict_between(after, before, reference)
    fed = before.route == after.route == "feed"
    if not (conflict.verdict == "never" or (conflict.verdict == "wait" and not fed)):
        return 0.0
    if before.substance == after.substance and before.route in BATHS and after.route in BATHS:
        return max(conflict.hours, before.interval_h_low or 0.0, after.interval_h_low or 0.0)
    return conflict.hours


def _company(row: DoseRow, present: tuple[Present, ...], reference: Reference) -> Iterator[Stop]:
    """Agents given before that must not be met, or not yet."""
    for other in present:
        theirs = reference.doses[other.treatment]
        if theirs.substance == row.substance:
            hours = hours_apart(theirs, row, reference)
            if other.hours_ago < hours:
                yield Stop(
                    "too_soon",
                    f"{row.substance} was given {other.hours_ago:g} h ago; the next dose is due after {hours:g} h",
                    f"doses {row.treatment}",
                    overridable=True,
                )
            if theirs.treatment == row.treatment:
                continue
        conflict = conflict_between(row, theirs, reference)
        if row.route == "feed" and theirs.route == "feed":
            conflict = structs.replace(conflict, verdict="never" if conflict.verdict == "never" else "allow")
        apart = other.hours_ago >= conflict.hours and other.changed >= conflict.changed
        at = f"conflicts {conflict.first}, {conflict.second}"
        if conflict.verdict in ("never", "wait") and not apart:
            yield Stop(
                f"meets_{other.treatment}",
                f"{theirs.substance} was given {other.hours_ago:g} h ago: {conflict.why}; at least "
                f"{conflict.hours:g} h and {conflict.changed * 100:g} % of the water changed between",
                at,
                overridable=False,
            )
        elif conflict.verdict == "off" and other.hours_ago < 1e-9:
            yield Stop(f"meets_{other.treatment}", conflict.why, at)
