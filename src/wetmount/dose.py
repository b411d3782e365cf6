"""The dose: from an order to an amount to weigh or measure, or the reasons why there is none.

The order names the treatment, the water, what lives in it, what is in hand and how finely it can be measured. The
answer holds an amount only when no stop stands and no question is open. Amounts are rounded down to what the scale or
syringe can show (up where too little kills), for the smallest plausible volume (the largest there), and the rounding
error is shown. Arithmetic: amount = volume x dose / strength.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

from wetmount.dose_rules import THIOSULPHATE_LEAST
from wetmount.dose_units import Strength, counted_share, dose_in, parse_dose
from wetmount.dose_writing import write_dose, write_mass, write_number, write_quantity, write_volume
from wetmount.errors import InputError
from wetmount.feed import WET_FEED_BINDER_ML_PER_KG, MedicatedFeed, injection_ml, medicated_feed, oral_mg_per_kg_day
from wetmount.hard_stops import BATHS, Bounds, Life, Prescription, Present, Stop, WaterState, bounds_for, hard_stops
from wetmount.reference import Reference
from wetmount.reference.rows import DoseRow
from wetmount.volume import Volume

LARGEST_RULES: Final = ("chloride_to_nitrite", "thiosulphate_to_chlorine")
"""Where too little kills: the largest plausible volume, rounded up."""
FINE_ENOUGH: Final = 0.10
"""Greatest rounding error with which an amount is still shown (judgement); beyond it a stock is diluted first."""
LOW_SLIP: Final = 5.0
"""A dose under a fifth of the usual low end is asked about (judgement)."""
SMALL_L: Final = 0.1
LARGE_L: Final = 1e6
"""Volumes outside are asked about (judgement): under 100 mL is a mL for an L, over 1,000 m3 is no fish room's water."""
QUESTIONS: Final = ("slip_low", "slip_volume", "free_chlorine")
"""Ids of the questions, by which they are confirmed."""
_STEP: Final = {"g": 0.1, "mL": 0.1, "tablet": 0.25}
_IN_MG_PER_L: Final = {"g/L": 1000.0}
PLAIN_SALT: Final = "Plain sodium chloride only: no iodine, and no anti-caking agent such as a ferrocyanide"
"""Form of the salt rows of treatments.csv."""


@dataclass(frozen=True, slots=True)
class Override:
    """A named person goes against one stop, with a written reason."""

    stop: str
    person: str
    reason: str


@dataclass(frozen=True, slots=True)
class Order:
    """Everything that is asked of one dose. `dose` is typed with its unit; without one the low end is taken.

    `step` is the smallest difference that scale or syringe shows, in g, mL or tablets as the strength is given.
    `already` is what is already there of the same substance, in the unit of the row (salt by conductivity); None is not
    said, and after an earlier dose of it that counts as all that may have been left.
    """

    treatment: str
    life: Life
    water: WaterState = field(default_factory=WaterState)
    volume: Volume | None = None
    dose: str | None = None
    strength: Strength | None = None
    step: float | None = None
    minutes: float | None = None
    already: float | None = None
    present: tuple[Present, ...] = ()
    confirmed: frozenset[str] = frozenset()
    lawful_here: bool | None = None
    prescription: Prescription | None = None
    rise_dkh: float | None = None
    demand: dict[float, float] | None = None
    biomass_g: float | None = None
    ration_percent: float | None = None
    share_eating: float = 1.0
    days: float | None = None
    overrides: tuple[Override, ...] = ()
    demo: bool = False


@dataclass(frozen=True, slots=True)
class Question:
    """Something to be answered before an amount is shown; confirmed by its id."""

    id: str
    text: str


@dataclass(frozen=True, slots=True)
class Amount:
    """What to measure: `value` of `unit` (g, mL or tablet) of what is in hand; `error` is the rounding as a share
    (negative: too little). `parts` are the amounts of each part, and `active_mg` the substance in all."""

    value: float
    unit: str
    exact: float
    error: float
    parts: tuple[float, ...]
    active_mg: float


@dataclass(frozen=True, slots=True)
class Concentration:
    """What results in the water, unit of the dose, if the volume is the least, the best and the greatest plausible."""

    at_low_volume: float
    at_best_volume: float
    at_high_volume: float


@dataclass(frozen=True, slots=True)
class DoseAnswer:
    """An amount, or why not. `written` are the lines to print; `rows` the table rows behind them."""

    treatment: str
    substance: str
    dose: float | None
    unit: str
    bounds: Bounds | None
    stops: tuple[Stop, ...]
    overridden: tuple[Override, ...]
    questions: tuple[Question, ...]
    amount: Amount | None = None
    feed: MedicatedFeed | None = None
    concentration: Concentration | None = None
    minutes_max: float | None = None
    written: tuple[str, ...] = ()
    rows: tuple[str, ...] = field(default=())

    @property
    def state(self) -> str:
        """refused | question | amount."""
        return "refused" if self.stops else "question" if self.questions else "amount"


def dose(order: Order, reference: Reference) -> DoseAnswer:
    """Works an order out. InputError when the treatment is unknown or a typed dose cannot be read."""
    row = reference.doses.get(order.treatment)
    if row is None:
        raise InputError(
            f"no treatment {order.treatment!r}; `wetmount reference show treatments` lists them", field="agent"
        )
    unknown = [group for group in order.life.host_groups if group not in reference.host_groups]
    if unknown or not order.life.host_groups:
        raise InputError(
            f"no host group {unknown[0]!r}" if unknown else "say which fish; `fish` when it is not known", field="host"
        )
    _sound(order)
    typed = None
    text = order.prescription.dose if order.prescription is not None else order.dose
    bounds = None
    if row.supply not in ("refused", "not_weighed"):
        plain = _bounds(row, order, reference, None)
        if text is not None:
            typed = dose_in(parse_dose(text), plain.unit, row.substance, row.counted_as)
        chosen = typed if typed is not None else plain.target if plain.target is not None else plain.low
        bounds = _bounds(row, order, reference, chosen)
    else:
        chosen = None
    nothing = Bounds(None, None, None, None, row.unit, None, (), False, (), ())
    stops = hard_stops(
        row,
        order.water,
        order.life,
        reference,
        bounds=bounds or nothing,
        present=order.present,
        confirmed=order.confirmed,
        lawful_here=order.lawful_here,
        prescription=order.prescription,
    )
    questions: list[Question] = []
    if bounds is not None and chosen is not None:
        stops += tuple(_dose_stops(row, bounds, chosen, order, reference))
        questions += _slips(row, bounds, chosen, order)
    stops, overridden = _override(stops, order)
    answer = DoseAnswer(
        row.treatment,
        row.substance,
        chosen,
        bounds.unit if bounds else row.unit,
        bounds,
        stops,
        overridden,
        tuple(questions),
        minutes_max=bounds.minutes_max if bounds else row.minutes_high,
        rows=(f"doses {row.treatment}", f"treatments {row.treatment}"),
    )
    if stops or questions or bounds is None or chosen is None:
        return answer
    return _with_amount(answer, row, bounds, chosen, order)


def _sound(order: Order) -> None:
    """InputError for numbers that cannot be: nothing is counted from them."""
    if order.already is not None and not 0 <= order.already < math.inf:
        raise InputError(f"{order.already:g} is no amount that is already there", field="already")
    for one in order.present:
        if not 0 <= one.hours_ago < math.inf:
            raise InputError(
                f"{one.hours_ago:g} h ago is no time since {one.treatment}; accepted: 0 or more", field="after"
            )
        if not 0 <= one.changed <= 1:
            share = 100 * one.changed
            raise InputError(f"{share:g} % is no share of the water changed; accepted: 0 to 100 %", field="after")


def _bounds(row: DoseRow, order: Order, reference: Reference, dose: float | None) -> Bounds:
    return bounds_for(row, order.water, order.life, reference, dose=dose, rise_dkh=order.rise_dkh, demand=order.demand)


def _dose_stops(row: DoseRow, bounds: Bounds, chosen: float, order: Order, reference: Reference) -> list[Stop]:
    """What the size of the dose, its time and its volume refuse."""
    at = f"doses {row.treatment}"
    stops = [*_running_total(row, bounds, chosen, order, reference)]
    total = chosen + (order.already or 0.0)
    most = bounds.most
    if most is not None and total > most * (1 + 1e-9):
        there = f" with {write_quantity(order.already, bounds.unit)} already there" if order.already else ""
        stops.append(
            Stop(
                "hard_max",
                f"{write_dose(row.substance, chosen, bounds.unit)}{there} is above the hard stop of "
                f"{write_quantity(most, bounds.unit)}{_times(total / most)}",
                at,
            )
        )
    if row.rule == "thiosulphate_to_chlorine" and order.water.chlorine_mg_per_l:
        ratio = chosen / order.water.chlorine_mg_per_l
        if ratio < THIOSULPHATE_LEAST * (1 - 1e-9):
            text = f"{ratio:.2g} mg to the mg of chlorine leaves chlorine: at least {THIOSULPHATE_LEAST:g} are needed"
            stops.append(Stop("too_little", text, f"dose_rules {row.rule}"))
    if row.oral_max_mg_per_kg is not None and order.ration_percent is not None:
        oral = _oral(row, chosen, order.ration_percent)
        if oral is not None and oral > row.oral_max_mg_per_kg * (1 + 1e-9):
            stops.append(
                Stop(
                    "oral_max",
                    f"at {order.ration_percent:g} % feed a day this gives {write_quantity(oral, 'mg/kg/day')}, above "
                    f"{write_quantity(row.oral_max_mg_per_kg, 'mg/kg/day')}",
                    at,
                )
            )
    if order.minutes is not None and bounds.minutes_max is not None and order.minutes > bounds.minutes_max:
        stops.append(
            Stop("too_long", f"{order.minutes:g} min is longer than {bounds.minutes_max:g} min", at, overridable=True)
        )
    longest = bounds.minutes_max
    if row.route == "feed" and order.days is not None and longest is not None and order.days * 1440 > longest:
        text = f"{order.days:g} days of this feed are longer than {_time(longest)}"
        stops.append(Stop("too_long", text, at, overridable=True))
    if row.route in ("feed", "injection"):
        if order.biomass_g is None:
            stops.append(Stop("biomass", "the weight of the fish is not known: count, measure and use hosts.csv", at))
    elif order.volume is None:
        stops.append(Stop("volume", "the volume of water is not known: measure it, `wetmount volume`", "rules"))
    if order.strength is None:
        stops.append(
            Stop(
                "strength", "the strength of what is in hand is not known: read it off the label, with % w/w or w/v", at
            )
        )
    elif "formalin" in row.substance and not _is_formalin_stock(order.strength):
        stops.append(Stop("strength", f"the dose counts 37 % stock and {order.strength.text} is not that", at))
    return stops


def _running_total(row: DoseRow, bounds: Bounds, chosen: float, order: Order, reference: Reference) -> Iterator[Stop]:
    """The hard stop holds for all that is in the water. Where the same substance was given before and nobody says what
    is left, the most that may have been given counts, less the water changed; nothing counts as lost."""
    if row.place != "tank" or row.route not in BATHS or order.already is not None or bounds.most is None:
        return
    for one in order.present:
        theirs = reference.doses[one.treatment]
        same = theirs.substance == row.substance and theirs.route in BATHS and theirs.place == "tank"
        if not same or one.changed == 1:
            continue
        text = f"{row.substance} was given {one.hours_ago:g} h ago and it is not said how much is left"
        if theirs.unit == bounds.unit and theirs.hard_max is not None:
            left = theirs.hard_max * (1 - one.changed)
            if left + chosen <= bounds.most * (1 + 1e-9):
                continue
            text += f": up to {write_quantity(left, bounds.unit)}, which with this dose would pass the hard stop"
        yield Stop("running_total", f"{text}. Say what is already there", f"doses {row.treatment}")


def _is_formalin_stock(strength: Strength) -> bool:
    """37 % w/w, said as such (36 to 40 % is sold as the same stock); by volume 37 % w/w is 400 g/L."""
    share = strength.mg_per_unit / 1000 if strength.per == "g" else strength.mg_per_unit / 1080
    return 0.36 <= share <= 0.405


def _oral(row: DoseRow, chosen: float, ration: float) -> float | None:
    if row.unit == "mg/kg/day":
        return chosen
    if row.unit in ("g/kg feed", "mg/kg feed"):
        return oral_mg_per_kg_day(chosen if row.unit == "g/kg feed" else chosen / 1000, ration)
    return None


def _times(ratio: float) -> str:
    """Words that name a tenfold or thousandfold slip; nothing for an ordinary excess."""
    for times, word in ((1e3, "thousandfold: mg for micrograms, or g for mg"), (10.0, "tenfold: a decimal point")):
        if times / 2.5 <= ratio <= times * 2.5:
            return f"; about {word}?"
    return f"; {write_number(ratio, 2)} times: is the unit right?" if ratio > 2.5 else ""


def _slips(row: DoseRow, bounds: Bounds, chosen: float, order: Order) -> list[Question]:
    """What looks like a slip and is no overdose is asked about; doses over the stop are refused elsewhere."""
    asked = []
    low = bounds.low
    if low is not None and low > 0 and chosen < low / LOW_SLIP:
        usual = f"{write_number(low)} to " if bounds.high is not None and low < bounds.high else ""
        text = (
            f"{write_dose(row.substance, chosen, bounds.unit)} is far under the usual "
            f"{usual}{write_quantity(bounds.high or low, bounds.unit)}{_times(low / chosen)} Is it meant?"
        )
        asked.append(Question("slip_low", text))
    if order.volume is not None and row.route not in ("feed", "injection"):
        low_l, high_l = order.volume.low_l, order.volume.high_l
        if low_l < SMALL_L or high_l > LARGE_L:
            text = f"{write_number(low_l if low_l < SMALL_L else high_l)} L is an unusual volume: is the unit right?"
            asked.append(Question("slip_volume", text))
    if row.rule == "thiosulphate_to_chlorine" and _may_free_ammonia(order):
        text = (
            "Chloramine sets ammonia free, 0.197 mg/L N to each mg/L, and ammonia and pH here are not both known to be "
            "harmless. Is it free chlorine, or were both tested?"
        )
        asked.append(Question("free_chlorine", text))
    return [question for question in asked if question.id not in order.confirmed]


def _may_free_ammonia(order: Order) -> bool:
    """Whether ammonia out of chloramine may kill: some is there (or may be) at a pH above 7.5 (or unknown)."""
    ammonia, ph = order.water.total_ammonia_mg_n_per_l, order.water.ph
    return (ammonia is None or ammonia > 0) and (ph is None or ph > 7.5)


def _override(stops: tuple[Stop, ...], order: Order) -> tuple[tuple[Stop, ...], tuple[Override, ...]]:
    """Stops less those that a named person overrides; an override without name or reason, or in a demonstration, is
    refused."""
    used = []
    left = list(stops)
    for override in order.overrides:
        if order.demo:
            raise InputError("nothing is overridden in the demonstration", field="override")
        if not override.person.strip() or len(override.reason.split()) < 2:
            raise InputError("an override needs the person's name and a written reason", field="override")
        matching = [stop for stop in left if stop.id == override.stop]
        if any(not stop.overridable for stop in matching):
            raise InputError(f"the stop {override.stop!r} cannot be overridden", field="override")
        if matching:
            left = [stop for stop in left if stop.id != override.stop]
            used.append(override)
    return tuple(left), tuple(used)


# --- amounts --------------------------------------------------------------------------------------------------------


def round_to_step(exact: float, step: float, *, up: bool = False) -> float:
    """The multiple of the step at or below (`up`: at or above) an exact amount.

    >>> round_to_step(9.28, 0.2), round_to_step(9.28, 0.2, up=True), round_to_step(0.3, 0.1)
    (9.2, 9.4, 0.3)
    """
    if not 0 < step < math.inf:
        raise InputError(f"{step:g} is no step of a scale or syringe", field="step")
    steps = exact / step
    nearest = round(steps)
    whole = nearest if math.isclose(steps, nearest, rel_tol=1e-9) else math.ceil(steps) if up else math.floor(steps)
    return float(f"{whole * step:.12g}")


def measure_out(
    active_mg: float, strength: Strength, *, step: float | None = None, parts: int = 1, up: bool = False
) -> Amount:
    """How much of what is in hand holds `active_mg`, rounded to the step of scale or syringe, in equal parts.

    Each part is rounded, so that the sum is never above (`up`: below) the exact amount.
    """
    exact = active_mg / strength.mg_per_unit
    each = round_to_step(exact / parts, step if step is not None else _STEP[strength.per], up=up)
    value = float(f"{each * parts:.12g}")
    error = value / exact - 1 if exact > 0 else 0.0
    return Amount(value, strength.per, exact, error, (each,) * parts, value * strength.mg_per_unit)


def _with_amount(answer: DoseAnswer, row: DoseRow, bounds: Bounds, chosen: float, order: Order) -> DoseAnswer:
    assert order.strength is not None
    if row.route == "feed":
        return _fed(answer, row, bounds, chosen, order)
    if row.route == "injection":
        assert order.biomass_g is not None
        if order.strength.per != "mL":
            raise InputError("an injection is measured in mL; give the strength in mg/mL", field="strength")
        exact = injection_ml(chosen, order.biomass_g, order.strength.mg_per_unit)
        active = exact * order.strength.mg_per_unit
        done = _measured(answer, row, active, order.strength, order.step, parts=1, up=False)
        if done.amount is None:
            return done
        weight = write_mass(order.biomass_g)
        check = f"Check: {weight} of fish in all x {write_quantity(chosen, row.unit)} = {write_mass(active / 1000)}"
        lines = (*done.written, f"{check} of {row.substance}", "Each fish gets its own share by its own weight")
        return replace(done, written=(*lines, *_stop_line(row, bounds)))
    assert order.volume is not None
    volume, strength, formalin = order.volume, order.strength, "formalin" in row.substance
    up = row.rule in LARGEST_RULES
    litres = volume.high_l if up else volume.low_l
    # A litre of formalin stock is a million microlitres of stock, whatever its label says in per cent.
    held = Strength(1000.0, "mL", strength.text) if formalin else strength
    factor = 1.0 if formalin else counted_share(strength, row.treatment, row.substance)
    per_litre = _IN_MG_PER_L.get(bounds.unit, 1.0)
    counted = chosen * litres * per_litre
    done = _measured(answer, row, counted / factor, held, order.step, parts=row.parts, up=up)
    if done.amount is None:
        return done
    given = done.amount.active_mg * factor / per_litre
    reached = Concentration(*(given / v + (order.already or 0.0) for v in (volume.low_l, volume.best_l, volume.high_l)))
    if bounds.most is not None and reached.at_low_volume > bounds.most * (1 + 1e-9):
        text = "the volume is too uncertain for a dose that must not be too small: measure it"
        return replace(answer, stops=(*answer.stops, Stop("volume_range", text, "rules")))
    in_all = write_volume(counted / 1000) if formalin else write_mass(counted / 1000)
    check = (
        f"Check: {write_number(litres)} L ({'largest' if up else 'smallest'} plausible) x "
        f"{write_quantity(chosen, bounds.unit)} = {in_all} of {row.substance}"
    )
    buffer = _buffer(row, done.amount.active_mg)
    plain = (PLAIN_SALT,) if row.substance == "sodium chloride" else ()
    written = (*done.written, *buffer, *plain, check, *_contact(row, bounds), *_stop_line(row, bounds))
    return replace(done, concentration=reached, written=written)


def _stop_line(row: DoseRow, bounds: Bounds) -> tuple[str, ...]:
    """The hard stop next to the dose; in water it holds for all that is there."""
    if bounds.most is None:
        return ()
    there = ", what is already there included" if row.route not in ("feed", "injection") else ""
    return (f"Hard stop: {write_dose(row.substance, bounds.most, bounds.unit)}{there}",)


def _measured(
    answer: DoseAnswer, row: DoseRow, active_mg: float, strength: Strength, step: float | None, *, parts: int, up: bool
) -> DoseAnswer:
    if active_mg <= 0:
        return replace(answer, written=(f"No {row.substance} is needed.",))
    amount = measure_out(active_mg, strength, step=step, parts=parts, up=up)
    if abs(amount.error) > FINE_ENOUGH:
        smallest = step if step is not None else _STEP[strength.per]
        text = (
            f"{_shown(amount.exact / parts, amount.unit)} cannot be measured in steps of "
            f"{_shown(smallest, amount.unit)} to within 10 %: {_stock_advice(amount.exact, smallest, strength)}"
        )
        return replace(answer, stops=(*answer.stops, Stop("too_small_to_measure", text, "rules")))
    told = three_figures(amount.value, up=up)
    first = f"{row.substance}: {_shown(told, amount.unit)} of {strength.text}"
    if parts > 1:
        first += f", in {parts} parts of {_shown(three_figures(amount.parts[0], up=up), amount.unit)}"
    off = told / amount.exact - 1
    how = f"rounded {'up' if up else 'down'}, {write_number(abs(100 * off), 2)} % {'over' if up else 'under'}"
    error = "the exact amount" if abs(off) < 5e-5 else f"{how} the exact amount"
    return replace(answer, amount=amount, written=(first, f"Measured to the step: {error}"))


def three_figures(value: float, *, up: bool = False) -> float:
    """An amount as it is written: three figures at most, and these never above (`up`: below) it.

    >>> three_figures(1236), three_figures(1236, up=True), three_figures(0.5)
    (1230.0, 1240.0, 0.5)
    """
    return float(write_number(value, 3, direction="up" if up else "down").replace(",", ""))


def _shown(value: float, unit: str) -> str:
    if unit == "g":
        return write_mass(value)
    if unit == "mL":
        return write_volume(value)
    return f"{write_number(value)} tablet" + ("" if value == 1 else "s")


def _stock_advice(exact: float, step: float, strength: Strength) -> str:
    """A litre of stock from a hundred steps of what is in hand, of which a measurable volume holds the exact amount."""
    ml = exact / (100 * step) * 1000
    if ml < 1:
        return "a finer scale, or a solution of known strength, is needed"
    made = _shown(100 * step, strength.per)
    return f"make {made} up to 1 L with water, mark it, and take {write_volume(ml, direction='down')} of that stock"


def _contact(row: DoseRow, bounds: Bounds) -> list[str]:
    if row.route == "euthanasia":
        lines = ["In a separate container, until 30 minutes after the last gill movement; the fish does not go back"]
        if bounds.second_step:
            lines.append("Then a second step without fail, such as pithing: the bath alone is not sure to kill")
        return lines
    lines = []
    if bounds.minutes_max is not None:
        low = f"{_time(row.minutes_low)} to " if row.minutes_low and row.minutes_low < bounds.minutes_max else ""
        end = "" if row.route in ("anaesthesia", "egg_bath") else ", ended at the first distress"
        lines.append(f"Contact: {low}{_time(bounds.minutes_max)}{end}")
    if row.place == "container":
        lines.append("In a separate container, then clean matched water")
    return lines


def _buffer(row: DoseRow, active_mg: float) -> tuple[str, ...]:
    """Bicarbonate for tricaine, equal to double its weight (rows ms222_euthanasia and ms222_anaesthesia)."""
    if not row.substance.startswith("tricaine"):
        return ()
    least, most = (write_mass(active_mg * share / 1000) for share in (1, 2))
    return (f"Buffer: sodium bicarbonate {least} to {most}, to pH 7 to 7.5",)


def _time(minutes: float) -> str:
    for size, unit, above in ((1440.0, "day", 2880), (60.0, "hour", 120), (1.0, "minute", 1)):
        if minutes >= above:
            return f"{write_number(minutes / size)} {unit}{'' if minutes == size else 's'}"
    return f"{write_number(minutes * 60)} seconds"


def _fed(answer: DoseAnswer, row: DoseRow, bounds: Bounds, chosen: float, order: Order) -> DoseAnswer:
    assert order.biomass_g is not None
    assert order.strength is not None
    if order.ration_percent is None:
        raise InputError("medicated feed needs the ration in % of body weight a day", field="ration")
    oral = _oral(row, chosen, order.ration_percent)
    assert oral is not None
    days = order.days if order.days is not None else max(1.0, (row.minutes_low or 1440) / 1440)
    feed = medicated_feed(
        order.biomass_g, order.ration_percent, days, share_eating=order.share_eating, mg_per_kg_day=oral
    )
    done = _measured(answer, row, feed.substance_mg, order.strength, order.step, parts=1, up=False)
    if done.amount is None:
        return done
    weight = f"{write_mass(order.biomass_g)} of fish"
    eat = "" if order.share_eating == 1 else f", {write_number(100 * order.share_eating)} % of them eating,"
    all_days = f"{write_number(days)} day{'' if days == 1 else 's'}"
    check = (
        f"Check: {weight}{eat} x {write_quantity(oral, 'mg/kg/day')} x {all_days} = "
        f"{write_mass(feed.substance_mg / 1000)} of {row.substance}"
    )
    lines = (
        *done.written,
        check,
        f"In {write_mass(feed.feed_g)} of feed: {write_mass(feed.feed_g_a_day)} a day for {all_days}",
        f"Coat the feed with it in {write_volume(WET_FEED_BINDER_ML_PER_KG * feed.feed_g / 1000)} of water or oil",
        *feed.words,
        *_stop_line(row, bounds),
    )
    return replace(done, feed=feed, written=lines)
