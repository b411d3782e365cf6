"""What the pages of doses share: fields with their errors beside them, agents, tanks, the case that is taken along."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar
from urllib.parse import quote, urlencode

from django.db.models import F
from django.http import HttpRequest, QueryDict
from django.urls import reverse

from wetmount import dose_rules
from wetmount.case_check import host_row
from wetmount.casebook.access import case_or_404
from wetmount.casebook.models import Case, Device, Look, System, Tank
from wetmount.casebook.reference import reference
from wetmount.casebook.services.planning import kept_facts
from wetmount.casebook.services.weighing import CannotWeigh, ready
from wetmount.casebook.views import count_forms
from wetmount.casebook.views.count import frame
from wetmount.casebook.views.today import last_said
from wetmount.dose_typed import READINGS, volume_of
from wetmount.errors import InputError
from wetmount.hard_stops import BATHS, THING_WORDS
from wetmount.plan.tank import SAID, Said, things_found
from wetmount.reference import Reference
from wetmount.reference.rows import TABLES, DoseRow
from wetmount.units import parse_quantity
from wetmount.volume import Volume, exactly, volume_from_label

T = TypeVar("T")
OFFERED: Final = 300
"""Tanks offered in a list; the water of any other is typed."""
ROUTES: Final[Mapping[str, str]] = {
    "dip": "Dips", "bath": "Baths of hours", "bath_indefinite": "Baths that stay in", "egg_bath": "Baths of eggs",
    "feed": "In the feed", "injection": "Injections", "anaesthesia": "To calm fish", "euthanasia": "To put fish down",
    "water": "For the water",
}  # fmt: skip
"""Routes of agents with a sum, in the order in which they are offered."""
SUPPLY: Final[Mapping[str, str]] = {"prescription": "on prescription", "unlicensed": "not licensed in many places"}
_SPELT: Final = {
    "kmno4": "potassium permanganate", "h2o2": "hydrogen peroxide", "ms222": "tricaine", "fw": "in fresh water",
    "inject": "injection", "caution": "", "ion": "", "feed": "in feed", "sulfa": "sulphonamide", "eggs": "for eggs",
    "sulfate": "sulphate", "thiosulfate": "thiosulphate", "marine": "in sea water", "anaesthesia": "to calm",
    "euthanasia": "to put down", "nitrite": "against nitrite", "uv": "ultraviolet light against", "protozoa":
    "protozoa and", "c": "C", "immunostim": "for immunity", "peat": "and peat",
}  # fmt: skip
_NAMED: Final = {
    "chloramine_t": "Chloramine-T", "heat_ich": "Heat against white spot", "beta_glucan_feed": "Beta-glucan in feed",
    "formalin_malachite": "Formalin with malachite green", "sulfadimethoxine_ormetoprim": "Sulphadimethoxine with "
    "ormetoprim in feed", "trimethoprim_sulfa_feed": "Trimethoprim with a sulphonamide in feed", "formalin_indefinite":
    "Formalin that stays in", "kmno4_indefinite": "Potassium permanganate that stays in", "salt_indefinite":
    "Salt that stays in",
}  # fmt: skip


@dataclass(slots=True)
class Form:
    """A form as it was sent: what stands in each field, and the sentence beside a field that cannot be used."""

    given: QueryDict
    first: Mapping[str, str] = field(default_factory=dict)
    wrong: dict[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """What was typed, or what the case says when the field was not on the page."""
        return count_forms.typed(self.given, name) if name in self.given else self.first.get(name, "")

    def texts(self, name: str) -> list[str]:
        """All that was typed in fields of one name, empty ones left out."""
        if name not in self.given:
            return [one for one in (self.first.get(name, ""),) if one]
        return [one.replace("\x00", "").strip()[:200] for one in self.given.getlist(name)[:20] if one.strip()]

    def read(self, name: str, make: Callable[[], T]) -> T | None:
        """The value of a field, or None with its sentence kept for the page."""
        try:
            return make()
        except InputError as error:
            self.refuse(error, name)
            return None

    def refuse(self, error: InputError, name: str = "") -> None:
        """Keep what is wrong for its field; the first sentence of a field stands."""
        self.wrong.setdefault(name or error.field or "", count_forms.sentence(error))

    def number(self, name: str, what: str, least: float, most: float, otherwise: float | None = None) -> float | None:
        """A number; None when empty or wrong."""
        sent = QueryDict(mutable=True)
        sent[name] = self.text(name)
        return self.read(
            name, lambda: count_forms.number(sent, name, what, least=least, most=most, otherwise=otherwise)
        )

    def whole(self, name: str, what: str, least: int, most: int, otherwise: int | None = None) -> int | None:
        """A whole number; None when empty or wrong."""
        sent = QueryDict(mutable=True)
        sent[name] = self.text(name)
        return self.read(name, lambda: count_forms.whole(sent, name, what, least=least, most=most, otherwise=otherwise))

    def quantity(self, name: str, kind: str) -> float | None:
        """A number with its unit, in the internal unit of its kind; None when empty or wrong."""
        text = self.text(name)
        return self.read(name, lambda: parse_quantity(text, kind, field=name).value) if text else None

    @property
    def sum(self) -> str:
        """How many fields want another look, in words; empty when none does."""
        n = len(self.wrong)
        return "" if not n else "One field wants another look." if n == 1 else f"{n} fields want another look."


# --- the frame --------------------------------------------------------------------------------------------------------


def case_of(request: HttpRequest) -> Case | None:
    """The case that the page was opened from (`?case=NUMBER`). 404 when there is none with the number."""
    text = request.GET.get("case", "")
    return case_or_404(int(text) if text.isascii() and text.isdecimal() and len(text) < 9 else 0) if text else None


def framed(request: HttpRequest, case: Case | None, here: str) -> dict[str, Any]:
    """Context of a page of doses: its frame, and the ways to its neighbours."""
    context = frame(request, case, None) | {"here": here, "ways": ways(case)}
    if case is None:
        context["last"] = last_said(request.device)
    else:
        look = last_look(case)
        context["read_on"] = look.on if look is not None and look.readings.exists() else None
    return context


def ways(case: Case | None) -> list[tuple[str, str, str]]:
    """The pages of doses: id, words, address."""
    names = (("dose", "Dose"), ("dose_with", "May it go with"), ("dose_volume", "Volume"), ("dose_course", "Course"),
             ("dose_changes", "Water changes"), ("dose_feed", "Feed"))  # fmt: skip
    return [(id, words, address(id, case)) for id, words in names]


def address(name: str, case: Case | None, **more: str) -> str:
    """A page of doses with the case and values taken along."""
    asked = ({"case": str(case.number)} if case is not None else {}) | {key: text for key, text in more.items() if text}
    return reverse(name) + (f"?{urlencode(asked)}" if asked else "")


def is_demonstration() -> bool:
    """Whether this casebook is the one that was filled to be shown."""
    return Device.objects.filter(kind="import", name="demonstration").exists()


# --- agents -----------------------------------------------------------------------------------------------------------


def agent_name(id: str) -> str:
    """A treatment in words."""
    if id in _NAMED:
        return _NAMED[id]
    words = " ".join(filter(None, (_SPELT.get(part, part) for part in id.split("_"))))
    return words[:1].upper() + words[1:]


def has_sum(row: DoseRow) -> bool:
    """Whether amounts are worked out for a row at all."""
    return row.supply not in ("refused", "not_weighed")


def counted(row: DoseRow) -> str:
    """What a typed dose has to say beside its unit; nothing for most."""
    if "copper" in row.substance:
        return "Say what is counted: mg/L Cu, or mg/L CuSO4.5H2O."
    return "In microlitres of the 37 % stock to the litre: 25 uL/L." if "formalin" in row.substance else ""


def agents_by_route() -> list[tuple[str, list[tuple[str, str]]]]:
    """What can be worked out, by route."""
    groups: dict[str, list[tuple[str, str]]] = {route: [] for route in ROUTES}
    for id, row in reference().doses.items():
        if has_sum(row):
            beside = f", {SUPPLY[row.supply]}" if row.supply in SUPPLY else ""
            groups.setdefault(row.route, []).append((id, agent_name(id) + beside))
    return [(ROUTES.get(route, route), sorted(rows, key=lambda one: one[1])) for route, rows in groups.items() if rows]


def agents_without_sum() -> list[tuple[str, str, str]]:
    """What is never worked out: id, name, why; a treatment without a row of numbers is one of them."""
    tables = reference()
    refused = [(id, agent_name(id), row.reason) for id, row in tables.doses.items() if not has_sum(row)]
    bare = [
        (id, agent_name(id), f"the table gives it as text only: {row.dose_low} {row.unit}".rstrip(": "))
        for id, row in tables.treatments.items()
        if id not in tables.doses
    ]
    return sorted(refused + bare, key=lambda one: one[1])


def diseases(row: DoseRow, tables: Reference) -> list[tuple[str, str]]:
    """What an antibiotic bath may be said to be against; empty for other agents, of which it is not asked."""
    if "antibacterial" not in row.families or row.route not in BATHS:
        return []
    return sorted(((id, one.name) for id, one in tables.conditions.items()), key=lambda one: one[1])


# --- water and fish of a case -----------------------------------------------------------------------------------------


def of_case(case: Case | None) -> dict[str, str]:
    """What the case says already: its fish, its water, the readings of its last look as they were typed. Those of
    earlier looks are not taken: what is not known of the water now counts as dangerous."""
    if case is None:
        return {}
    values = {"host": case.species or case.host_group}
    row = host_row(case.species, reference())
    if row is not None:
        values["water"] = "sea" if "marine" in reference().host_group_line(row.host_group) else "fresh"
    system = case.system or (case.tank.system if case.tank is not None else None)
    if system is not None:
        values["place"] = f"system:{system.pk}"
    elif case.tank is not None:
        values["place"] = f"tank:{case.tank.pk}"
    look = last_look(case)
    if look is not None:
        values |= {reading.parameter: reading.value for reading in look.readings.order_by("pk")}
    return {name: text for name, text in values.items() if text}


def things_of_case(case: Case | None) -> dict[str, Said]:
    """What the last look says of the fish and the water that an agent may harm: its plan, else its findings."""
    look = None if case is None else last_look(case)
    if case is None or look is None:
        return {}
    try:
        asked = ready(case, look, reference())
    except CannotWeigh:
        return {}
    found = things_found(asked.evidence, asked.reference)
    for thing, answer in kept_facts(look).living.items():
        if answer in ("yes", "no"):
            found[thing] = Said(THING_WORDS[thing], answer, SAID)
    return found


def last_look(case: Case) -> Look | None:
    """The last look of a case."""
    return case.looks.order_by(F("on").desc(nulls_last=True), "-id").first()


def places(case: Case | None = None) -> list[tuple[str, list[tuple[str, str]]]]:
    """Systems and tanks by room, each with the water it is known to hold."""
    groups: dict[str, list[tuple[str, str]]] = {}
    systems = System.objects.select_related("room").order_by("room__name", "order", "name")[:OFFERED]
    tanks = Tank.objects.select_related("room", "system").order_by("room__name", "order", "name")[:OFFERED]
    for kind, rows in (("system", systems), ("tank", tanks)):
        for row in rows:
            on = f" on {row.system}" if isinstance(row, Tank) and row.system_id else ""
            groups.setdefault(row.room.name, []).append((f"{kind}:{row.pk}", f"{row.name}{on}, {_holds(row)}"))
    return list(groups.items())


def _holds(row: Tank | System) -> str:
    if row.volume_l is None:
        return "volume not known"
    if row.volume_low_l is not None and row.volume_high_l is not None:
        return f"{row.volume_l:.4g} L ({row.volume_low_l:.4g} to {row.volume_high_l:.4g})"
    return f"{row.volume_l:.4g} L"


def place_of(text: str, *, name: str = "place") -> Tank | System | None:
    """The tank or system that was chosen; None for no choice. InputError for one that is not there."""
    if not text:
        return None
    kind, _, pk = text.partition(":")
    model = {"tank": Tank, "system": System}.get(kind)
    if model is not None and pk.isascii() and pk.isdecimal() and len(pk) < 18:
        row: Tank | System | None = model._default_manager.select_related("room").filter(pk=int(pk)).first()
        if row is not None:
            return row
    raise InputError("there is no such tank; choose one of the list or type the volume", field=name)


def volume_asked(form: Form) -> Volume | None:
    """The water: typed, else that of the chosen tank. A figure that nobody measured is taken as a guess, and wide."""
    text, row = form.text("volume"), form.read("place", lambda: place_of(form.text("place")))
    if text:
        volume = form.read("volume", lambda: volume_of(text))
        how = "as typed"
    elif row is None:
        return None
    elif row.volume_l is None:
        form.wrong.setdefault("place", f"No volume is known of {row.name}; work it out, or type it.")
        return None
    elif row.volume_low_l is not None and row.volume_high_l is not None:
        return Volume(row.volume_low_l, row.volume_l, row.volume_high_l, (f"{row.name} as it was worked out",))
    else:
        litres = row.volume_l
        volume, how = form.read("place", lambda: exactly(litres)), f"of {row.name}"
    if volume is None or volume.low_l < volume.high_l:
        return volume
    if form.text("standing") == "measured":
        return Volume(volume.best_l, volume.best_l, volume.best_l, (f"{volume.best_l:g} L {how}, measured",))
    guess = volume_from_label(volume.best_l)
    return Volume(guess.low_l, guess.best_l, guess.high_l, (f"{volume.best_l:g} L {how}, not measured: taken wide",))


def readings_typed(form: Form, names: Iterable[str]) -> dict[str, str]:
    """Readings that were typed, each checked by itself, so that every wrong one has its sentence."""
    known = {}
    for name in names:
        if name in READINGS and (text := form.text(name)) and form.quantity(name, name) is not None:
            known[name] = text
    return known


# --- where a figure is from -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RowLink:
    """A row of the reference, or a rule, with where it opens and what it says when it has no page."""

    words: str
    href: str = ""
    says: str = ""


def row_link(text: str) -> RowLink:
    """`doses formalin_short`, `conflicts aldehyde, oxidiser` or `dose_rules copper_by_alkalinity` as a link."""
    table, _, rest = text.partition(" ")
    words = " ".join(filter(None, (table.replace("_", " "), rest.replace("_", " "))))
    first = re.split(r", ", rest)[0]
    if table in TABLES:
        if TABLES[table].mapping and rest in getattr(reference(), table):
            return RowLink(words, reverse("reference_row", args=[table, rest]))
        return RowLink(words, reverse("reference_table", args=[table]) + (f"?of={quote(first)}" if first else ""))
    rule = getattr(dose_rules, rest, None) if table == "dose_rules" else None
    if rule is not None:
        return RowLink(words, says=" ".join((inspect.getdoc(rule) or "").split(">>>")[0].split()))
    return RowLink("A rule of the sum", says="What is not known, or cannot be measured out, is never dosed.")
