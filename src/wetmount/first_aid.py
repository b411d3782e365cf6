"""First aid: red flags → one short ordered list for the next ten minutes, before any ranking, with nothing else known.

The steps stand in the table `first_aid`, one row for each red flag that calls for them. The same act has the same place
in the order and the same words under every flag, so that lists of several flags merge without repetition; `not_if`
names the flags under which a step would do harm. Only one thing is computed: what free ammonia would become if pH rose.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from wetmount.derived import rounds_of
from wetmount.errors import InputError
from wetmount.water import SALT_WATER_FROM_G_PER_KG, un_ionised_ammonia_mg_n_per_l

if TYPE_CHECKING:
    from wetmount.case import Case, Look
    from wetmount.evidence import Evidence
    from wetmount.reference import Reference
    from wetmount.reference.rows import FirstAidStep

PH_RISES: Final = (0.5, 1.0)
"""Rises of pH for which free ammonia is worked out: half a unit is what driving out carbon dioxide easily does, a whole
one what bicarbonate or hard tap water does (memory)."""

AMMONIA_FINDING: Final = "water_ammonia_high"
NO_PH_RISE_ORDER: Final = 60
"""Place of the step "nothing that raises pH" in the table; the computed figures are added to it."""


@dataclass(frozen=True, slots=True)
class RedFlagSeen:
    """A red flag that is up, and what put it up."""

    id: str
    name: str
    because: str


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do now. `order` counts from 1; `flags` are the red flags that call for it."""

    order: int
    text: str
    why: str
    flags: tuple[str, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AmmoniaRise:
    """Free ammonia (mg/L as N) as the water is, and in `risen` as (pH, mg/L as N) at each higher pH; the limit is the
    figure of the limits table from which it counts as raised, None where the table has none."""

    ph: float
    temperature_c: float
    total_ammonia_mg_n_per_l: float
    now_mg_n_per_l: float
    risen: tuple[tuple[float, float], ...]
    limit_mg_n_per_l: float | None


def red_flags(
    reference: Reference,
    *,
    findings: Mapping[str, int] | None = None,
    answers: Mapping[str, bool] | None = None,
    named: Iterable[str] = (),
) -> tuple[RedFlagSeen, ...]:
    """Red flags that are up, in the order of the table.

    `findings` maps a finding to its level (0 = looked and not seen), `answers` a history question to yes or no; `named`
    are ids of red flags said outright. Raises InputError for a name that is no red flag, with the nearest ones.
    """
    levels = {**(findings or {}), **{finding: int(yes) for finding, yes in (answers or {}).items()}}
    said = frozenset(_known(named, reference))
    seen = []
    for flag in reference.red_flags.values():
        if flag.id in said:
            seen.append(RedFlagSeen(flag.id, flag.name, "said so"))
        elif flag.from_finding is not None and levels.get(flag.from_finding, 0) >= (flag.from_level or 1):
            finding = reference.findings[flag.from_finding]
            seen.append(RedFlagSeen(flag.id, flag.name, f"{finding.name}: {finding.levels[levels[finding.id]]}"))
    return tuple(seen)


def red_flags_of(evidence: Evidence, reference: Reference, named: Iterable[str] = ()) -> tuple[RedFlagSeen, ...]:
    """Red flags of a look: its findings (a doubtful one counts too, since waiting costs fish), its answers, and those
    said outright in the case file."""
    levels = {observation.finding: observation.level for observation in evidence.observations}
    return red_flags(reference, findings=levels, answers=evidence.answers, named=named)


def first_aid(
    flags: Iterable[str | RedFlagSeen],
    reference: Reference,
    *,
    ph: float | None = None,
    temperature_c: float | None = None,
    total_ammonia_mg_n_per_l: float | None = None,
    salinity_g_per_kg: float = 0.0,
    host_group: str | None = None,
) -> tuple[Step, ...]:
    """What to do in the next ten minutes, in order; empty without a red flag.

    Works with the flags alone. With pH, temperature (°C) and total ammonia (mg/L as N) the step against raising pH says
    what free ammonia would become, and holds it against the limit of `host_group` (else of fresh or sea water, by
    salinity in g/kg). Raises InputError for an unknown flag or a reading out of the range of the formula.
    """
    up = tuple(dict.fromkeys(flag.id if isinstance(flag, RedFlagSeen) else flag for flag in flags))
    up = _known(up, reference)
    merged: dict[int, Step] = {}
    for row in reference.first_aid:
        if row.flag not in up or not not_if(row).isdisjoint(up):
            continue
        other = merged.get(row.order)
        by = (*other.flags, row.flag) if other else (row.flag,)
        merged[row.order] = Step(row.order, row.text, row.why, by, row.sources)
    figures = _ammonia_words(reference, ph, temperature_c, total_ammonia_mg_n_per_l, salinity_g_per_kg, host_group)
    steps = []
    for place, order in enumerate(sorted(merged), start=1):
        step = merged[order]
        text = f"{step.text} {figures}" if order == NO_PH_RISE_ORDER and figures else step.text
        steps.append(Step(place, text, step.why, step.flags, step.sources))
    return tuple(steps)


def ammonia_if_ph_rises(
    reference: Reference,
    *,
    ph: float,
    temperature_c: float,
    total_ammonia_mg_n_per_l: float,
    salinity_g_per_kg: float = 0.0,
    host_group: str | None = None,
) -> AmmoniaRise:
    """Free ammonia now and after each of PH_RISES, by the equations of `wetmount.water`; temperature in °C, total
    ammonia in mg/L as N, salinity in g/kg. Raises InputError outside their range."""

    def free(at_ph: float) -> float:
        return un_ionised_ammonia_mg_n_per_l(total_ammonia_mg_n_per_l, at_ph, temperature_c, salinity_g_per_kg)

    higher = tuple(round(ph + rise, 2) for rise in PH_RISES if ph + rise <= 14)
    water = "freshwater" if salinity_g_per_kg < SALT_WATER_FROM_G_PER_KG else "marine"
    limit = {
        row.host_group: row.value
        for row in reference.limits
        if row.finding == AMMONIA_FINDING and row.level == 1 and row.side == "above"
    }
    nearest = next((group for group in reference.host_group_line(host_group or water) if group in limit), None)
    return AmmoniaRise(
        ph,
        temperature_c,
        total_ammonia_mg_n_per_l,
        free(ph),
        tuple((at_ph, free(at_ph)) for at_ph in higher),
        limit[nearest] if nearest is not None else None,
    )


def _ammonia_words(
    reference: Reference,
    ph: float | None,
    temperature_c: float | None,
    total: float | None,
    salinity_g_per_kg: float,
    host_group: str | None,
) -> str:
    """One or two sentences on free ammonia, as far as the readings go; empty when none was measured or none found."""
    if not total:
        return ""
    if ph is None or temperature_c is None:
        return f"Total ammonia is {total:g} mg/L: measure pH and temperature too, they decide how much is poisonous."
    rise = ammonia_if_ph_rises(
        reference,
        ph=ph,
        temperature_c=temperature_c,
        total_ammonia_mg_n_per_l=total,
        salinity_g_per_kg=salinity_g_per_kg,
        host_group=host_group,
    )
    at_higher = ", ".join(f"{free:.2g} mg/L at pH {at_ph:g}" for at_ph, free in rise.risen)
    words = f"Free ammonia is now {rise.now_mg_n_per_l:.2g} mg/L as nitrogen at pH {ph:g} and {temperature_c:g} °C"
    words += f"; it would be {at_higher}." if at_higher else "."
    limit = rise.limit_mg_n_per_l
    if limit is None:
        return words
    if rise.now_mg_n_per_l > limit:
        return f"{words} It is over the limit of {limit:g} mg/L already: test pH every ten minutes while you aerate."
    if rise.risen and rise.risen[-1][1] > limit:
        return f"{words} The limit is {limit:g} mg/L: test pH every ten minutes while you aerate."
    return words


def not_if(step: FirstAidStep) -> frozenset[str]:
    """Red flags under which the step would do harm."""
    return frozenset(part.strip() for part in step.not_if.split(";") if part.strip())


def _known(flags: Iterable[str], reference: Reference) -> tuple[str, ...]:
    names = tuple(flags)
    for name in names:
        if name not in reference.red_flags:
            near = difflib.get_close_matches(name, reference.red_flags, n=3)
            hint = f"did you mean {', '.join(near)}" if near else f"accepted are {', '.join(reference.red_flags)}"
            raise InputError(f"no red flag is called {name!r}; {hint}", field="red flag")
    return names


def first_aid_for_look(
    case: Case, look: Look, evidence: Evidence, reference: Reference, named: Iterable[str] = ()
) -> tuple[tuple[RedFlagSeen, ...], tuple[Step, ...]]:
    """The red flags of a look, of its case and of `named`, and the steps against them.

    Free ammonia is told from the round of readings that holds most of it, by the limits of the host.
    """
    flags = red_flags_of(evidence, reference, (*case.red_flags, *named))
    rounds = [readings for _, readings in rounds_of(look.readings)]
    worst = max(rounds, key=lambda one: one["ammonia"].value if "ammonia" in one else -1.0, default={})
    values = {name: quantity.value for name, quantity in worst.items()}
    try:
        steps = first_aid(
            flags,
            reference,
            ph=values.get("ph"),
            temperature_c=values.get("temperature"),
            total_ammonia_mg_n_per_l=values.get("ammonia"),
            salinity_g_per_kg=values.get("salinity", 0.0),
            host_group=evidence.host_group,
        )
    except InputError:  # a reading outside the range of the ammonia equations; the steps hold without its figure
        steps = first_aid(flags, reference)
    return flags, steps
