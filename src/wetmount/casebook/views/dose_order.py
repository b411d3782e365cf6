"""From the form of a dose to the order that the core works out; every wrong field keeps its sentence."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from wetmount.casebook.reference import reference
from wetmount.casebook.views.dose_forms import Form, is_demonstration, readings_typed, volume_asked
from wetmount.dose import QUESTIONS, Order, Override
from wetmount.dose_typed import READINGS, already_of, hosts_of
from wetmount.dose_units import Strength, parse_strength, stock_strength
from wetmount.errors import InputError
from wetmount.hard_stops import CHECKS, THINGS, Life, Prescription, Present, WaterState
from wetmount.reference.rows import DoseRow
from wetmount.units import parse_quantity

WATERS: Final = (("fresh", "fresh water"), ("sea", "sea water"))
BEFORE: Final = (1, 2)
"""Places for agents that were given before."""


def order_from(
    form: Form, row: DoseRow, known: Mapping[str, bool], overrides: tuple[Override, ...] = ()
) -> Order | None:
    """The order; None when a field cannot be used. `known` is what the case says of the fish an agent may harm."""
    strength = _strength(form)
    fed = row.route in ("feed", "injection")
    order = Order(
        row.treatment,
        _life(form, known),
        water_from(form),
        volume=None if fed else volume_asked(form),
        dose=form.text("dose") or None,
        strength=strength,
        step=_step(form, row, strength),
        minutes=_minutes(form),
        already=_already(form, row),
        present=_before(form),
        confirmed=frozenset(one for one in form.texts("checked") if one in CHECKS or one in QUESTIONS),
        lawful_here=True if form.text("lawful") == "yes" else None,
        prescription=_prescription(form),
        rise_dkh=form.number("rise", "The rise of alkalinity, in dKH", 0, 100),
        demand=_demand(form),
        biomass_g=form.quantity("biomass", "weight"),
        ration_percent=form.number("ration", "Feed a day, in % of body weight", 0.01, 10),
        share_eating=(form.number("eating", "The share that eats, in percent", 0, 100, 100.0) or 0.0) / 100,
        days=form.number("days", "Days of feeding", 0.5, 60),
        overrides=overrides,
        demo=is_demonstration(),
    )
    return None if form.wrong else order


def _already(form: Form, row: DoseRow) -> float | None:
    text = form.text("already")
    return form.read("already", lambda: already_of(text, row)) if text else None


def _life(form: Form, known: Mapping[str, bool]) -> Life:
    """What lives there. A tick says that it does, "nothing else" that the rest was looked for and does not; what
    neither they nor the case say is not known."""
    named = form.read("host", lambda: hosts_of(form.texts("host"), reference()))
    groups, species = named if named is not None else (("fish",), ())
    ticked = {one for one in form.texts("thing") if one in THINGS}
    nothing_else = form.text("nothing_else") == "yes"
    things = ticked if nothing_else else ticked | {thing for thing, there in known.items() if there}
    unsaid = set() if nothing_else else set(THINGS) - ticked - known.keys()
    if form.text("eating"):
        unsaid.discard("not_eating")  # how many do not eat is said, and nothing is weighed for them
    food = form.text("food") == "yes"
    return Life(groups, frozenset(things), for_food=food, species=species, unsaid=frozenset(unsaid))


def water_from(form: Form) -> WaterState:
    """The water as it was measured; what was not is not known."""
    known: dict[str, float | bool | None] = {}
    for name, text in readings_typed(form, READINGS).items():
        column, factor = READINGS[name]
        known[column] = parse_quantity(text, name, field=name).value * factor
    marine = {"sea": True, "fresh": False}.get(form.text("water"))
    after = form.quantity("free_after", "ammonia")
    return WaterState(marine=marine, free_ammonia_after_mg_n_per_l=after, **known)


def _strength(form: Form) -> Strength | None:
    text = form.text("strength")
    strength = form.read("strength", lambda: parse_strength(text)) if text else None
    amount, made = form.text("stock"), form.text("stock_in")
    if strength is None or not (amount or made):
        return strength
    if not (amount and made):
        form.wrong.setdefault("stock", "A stock needs both: how much went in, and what it was made up to.")
        return strength

    def diluted() -> Strength:
        kind, factor = {"g": ("weight", 1.0), "mL": ("volume", 1000.0)}.get(strength.per, ("", 1.0))
        taken = parse_quantity(amount, kind, field="stock").value * factor if kind else _tablets(amount, "stock")
        return stock_strength(strength, taken, parse_quantity(made, "volume", field="stock_in").value * 1000)

    return form.read("stock", diluted)


def _tablets(text: str, field: str) -> float:
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?:tablets?)?\s*", text)
    if match is None:
        raise InputError(f'"{text}" is no number of tablets', field=field)
    return float(match[1])


def _step(form: Form, row: DoseRow, strength: Strength | None) -> float | None:
    """The step in g, mL or tablets; formalin is measured in mL, though its label counts by weight."""
    text = form.text("step")
    if not text or strength is None:
        return None

    def read() -> float:
        per = "mL" if "formalin" in row.substance else strength.per
        if per == "tablet":
            return _tablets(text, "step")
        kind, factor = ("weight", 1.0) if per == "g" else ("volume", 1000.0)
        try:
            return parse_quantity(text, kind, field="step").value * factor
        except InputError:
            tool = "a scale, such as 0.1 g" if kind == "weight" else "a syringe, such as 0.2 mL"
            raise InputError(f'"{text[:40]}" is no step here: this is measured with {tool}', field="step") from None

    return form.read("step", read)


def _minutes(form: Form) -> float | None:
    hours = form.quantity("minutes", "duration")
    return None if hours is None else hours * 60


def _before(form: Form) -> tuple[Present, ...]:
    found = []
    for n in BEFORE:
        agent = form.text(f"before_{n}")
        if not agent:
            continue
        if agent not in reference().doses:
            form.wrong.setdefault(f"before_{n}", "There is no such agent; choose one of the list.")
            continue
        hours = form.number(f"hours_{n}", "Hours since", 0, 10_000)
        changed = form.number(f"changed_{n}", "Water changed since, in percent", 0, 100, 0.0)
        if hours is None:
            form.wrong.setdefault(f"hours_{n}", "Say how many hours ago it was given.")
            continue
        found.append(Present(agent, hours, (changed or 0.0) / 100))
    return tuple(found)


def _prescription(form: Form) -> Prescription | None:
    by, kind = form.text("prescriber"), form.text("paper")
    if not by and kind not in ("prescription", "label"):
        return None
    if not form.text("dose"):
        form.wrong.setdefault("dose", "Type the dose as the prescription or label has it, with its unit.")
        return None
    against = form.text("against") or None
    return Prescription(form.text("dose"), by, kind if kind == "label" else "prescription", against)


def _demand(form: Form) -> dict[float, float] | None:
    """`1: 2, 2: 5` as mg/L and the hours it stayed pink."""
    text = form.text("demand")
    if not text:
        return None

    def read() -> dict[float, float]:
        found = {}
        for part in re.split(r"[,;]", text):
            match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?:mg/L)?\s*:\s*(\d+(?:\.\d+)?)\s*h?\s*", part)
            if match is None:
                raise InputError(
                    f'"{part.strip()[:40]}" is no test; write mg/L and the hours it stayed pink: 1: 2, 2: 5',
                    field="demand",
                )
            found[float(match[1])] = float(match[2])
        return found

    return form.read("demand", read)


def needs(row: DoseRow) -> frozenset[str]:
    """Which readings and answers decide about this agent, so that the page asks for them first."""
    asked = {
        "copper_by_alkalinity": {"kh", "gh"}, "chloramine_t_by_ph": {"ph", "gh"}, "permanganate_demand": {"kh", "gh"},
        "chloride_to_nitrite": {"nitrite", "chloride"}, "thiosulphate_to_chlorine": {"chlorine", "ammonia", "ph"},
        "bicarbonate_per_dkh": {"ammonia"},
    }.get(row.rule, set())  # fmt: skip
    if row.temperature_low_c is not None or row.temperature_high_c is not None:
        asked |= {"temperature"}
    if row.oxygen_min_mg_per_l is not None:
        asked |= {"oxygen"}
    if row.ph_low is not None or row.ph_high is not None:
        asked |= {"ph"}
    return frozenset(asked)
