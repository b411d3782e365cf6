"""Choices of the practice: its name, units, paper, what its examinations cost, its own rows of the reference.

They are kept in `Setting`, one row a choice, and are no part of any case's record.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from django.db import transaction
from msgspec import structs

from wetmount.casebook.models import Setting
from wetmount.casebook.reference import reference, use_overlay
from wetmount.findings import number
from wetmount.reference import Reference
from wetmount.units import KINDS

UNITS: Final[Mapping[str, Mapping[str, str]]] = {
    "temperature": {"C": "°C", "F": "°F"},
    "volume": {"L": "litres", "US gal": "US gallons", "UK gal": "UK gallons"},
    "gh": {
        "dGH": "German degrees (dGH)",
        "mg/L CaCO3": "mg/L as CaCO3",
        "fH": "French degrees (fH)",
        "Clark": "English degrees (Clark)",
        "gpg": "grains per US gallon (gpg)",
    },
    "kh": {"dKH": "German degrees (dKH)", "mg/L CaCO3": "mg/L as CaCO3", "meq/L": "meq/L"},
}
"""Kinds of quantity for which the practice has a choice, and the units it may choose, each with its words."""

UNIT_LABELS: Final = {"C": "°C", "F": "°F"}
_CORE_UNITS: Final = {"°C": "temperature", "dGH": "gh", "dKH": "kh"}
_IN_CORE_UNITS: Final = re.compile(
    # "by 2 °C" is a difference, which has no zero to move
    r"(?<![\w.])(?<!by )(?:(?P<low>-?\d+(?:\.\d+)?) to )?(?P<high>-?\d+(?:\.\d+)?) (?P<unit>°C|dGH|dKH)(?!\w)"
)

PAPERS: Final = {"a4": "A4", "letter": "US Letter"}
HIGHEST_COST: Final = 100_000.0
LONGEST_NAME: Final = 100


@dataclass(frozen=True, slots=True)
class Cost:
    """What an examination costs this practice where it is not what the reference says: minutes of work, and money in
    the unit of the reference (one cheap water test is 1). None: as the reference has it."""

    minutes: float | None = None
    money: float | None = None


@dataclass(frozen=True, slots=True)
class Preferences:
    """All choices; what was not chosen has its default."""

    practice: str = ""
    paper: str = "a4"
    units: Mapping[str, str] = field(default_factory=dict)
    costs: Mapping[str, Cost] = field(default_factory=dict)
    overlay: str = ""

    def unit(self, kind: str) -> str:
        """The unit in which quantities of this kind are shown and asked for."""
        return self.units.get(kind) or next(iter(UNITS[kind]))

    def show(self, value: float, kind: str) -> str:
        """A value in the internal unit of its kind (°C, L, dGH, dKH) as this practice reads it, unit included."""
        chosen = self.unit(kind)
        unit = next(one for one in KINDS[kind].units if chosen in one.names)
        return f"{number(value / unit.factor + unit.zero)} {UNIT_LABELS.get(chosen, chosen)}"

    def beside(self, text: str) -> str:
        """A text of the core, which speaks in its own units (°C, dGH, dKH), with the chosen unit beside each of them.

        >>> Preferences(units={"temperature": "F"}).beside("measured 25.5 °C")
        'measured 25.5 °C (77.9 °F)'
        """

        def with_own(found: re.Match[str]) -> str:
            kind = _CORE_UNITS[found["unit"]]
            if self.unit(kind) == next(iter(UNITS[kind])):
                return found[0]
            shown = [self.show(float(found[name]), kind) for name in ("low", "high") if found[name]]
            label = shown[-1].partition(" ")[2]
            return f"{found[0]} ({' to '.join(one.removesuffix(f' {label}') for one in shown)} {label})"

        return _IN_CORE_UNITS.sub(with_own, text)


def preferences() -> Preferences:
    """The choices as they stand; one query."""
    kept: dict[str, Any] = dict(Setting.objects.values_list("key", "value"))
    units = kept.get("units", {})
    return Preferences(
        practice=kept.get("practice", ""),
        paper=kept.get("paper", "a4"),
        units={kind: units[kind] for kind in UNITS if units.get(kind) in UNITS[kind]},
        costs={id: Cost(one.get("minutes"), one.get("money")) for id, one in kept.get("costs", {}).items()},
        overlay=kept.get("overlay", ""),
    )


def keep(**choices: Any) -> None:
    """Keep choices (`practice`, `paper`, `units`, `costs`, `overlay`), all or none."""
    with transaction.atomic():
        for key, value in choices.items():
            if key == "costs":
                value = {
                    id: {name: getattr(cost, name) for name in ("minutes", "money") if getattr(cost, name) is not None}
                    for id, cost in value.items()
                }
            Setting.objects.update_or_create(key=key, defaults={"value": value})


def use_kept_overlay() -> None:
    """Lay the kept folder of own rows over the reference; done when the casebook is started."""
    use_overlay(preferences().overlay)


def read_cost(text: str) -> float | None:
    """A typed cost; None for an empty field. Raises `ValueError` for what is no number from 0 upwards."""
    if not text.strip():
        return None
    value = float(text)
    if not (math.isfinite(value) and 0 <= value <= HIGHEST_COST):
        raise ValueError(text)
    return value


_COSTED: dict[tuple[str, str], Reference] = {}


def practice_reference(chosen: Preferences) -> Reference:
    """The reference with the practice's own costs of examinations in place of the tables'; its version says so."""
    tables = reference()
    costs = {id: cost for id, cost in chosen.costs.items() if id in tables.examinations}
    if not costs:
        return tables
    key = json.dumps({id: [cost.minutes, cost.money] for id, cost in sorted(costs.items())})
    if (tables.version, key) not in _COSTED:
        _COSTED.clear()
        examinations = dict(tables.examinations)
        for id, cost in costs.items():
            row = examinations[id]
            examinations[id] = structs.replace(
                row,
                minutes=row.minutes if cost.minutes is None else cost.minutes,
                money=row.money if cost.money is None else cost.money,
            )
        version = f"{tables.version}+costs-{hashlib.blake2b(key.encode(), digest_size=3).hexdigest()}"
        _COSTED[tables.version, key] = replace(tables, version=version, examinations=examinations)
    return _COSTED[tables.version, key]
