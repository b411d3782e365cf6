"""What is this moving thing? Questions by taps, ranked candidates, and what would tell them apart."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from wetmount.casebook.access import case_or_404
from wetmount.casebook.reference import reference
from wetmount.casebook.services import looking
from wetmount.casebook.services.entering import examination_at
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.views import count_forms
from wetmount.casebook.views.count import findings_page, frame
from wetmount.casebook.views.entry_forms import whole
from wetmount.casebook.views.entry_places import chosen_fish, chosen_look
from wetmount.errors import InputError
from wetmount.identify import SITES, Identification, identify, vocabulary
from wetmount.reference.rows import Organism

ASKED: Final = {
    "movement": "How does it move?",
    "outline": "What outline has it?",
    "attachment": "How does it hold on?",
    "colour": "What colour is it?",
    "nucleus": "What is its nucleus like?",
    "hooks": "Hooks or hard parts?",
    "eyespots": "Eyespots?",
}
"""Features in the order in which they are seen, low power first."""
SHOWN: Final = 6
WORTH_A_LOOK_BITS: Final = 0.01


@dataclass(frozen=True, slots=True)
class Question:
    """A feature with the words of the table; `bits` tells how much it would settle now."""

    id: str
    words: str
    options: tuple[tuple[str, bool], ...]
    chosen: str

    @property
    def drawn(self) -> bool:
        """Whether its words are drawn."""
        return self.id == "outline"


@require_GET
def page(request: HttpRequest, number: int | None = None) -> HttpResponse:
    """The questions and, beside them, the candidates. The address holds all answers."""
    case = case_or_404(number) if number is not None else None
    given = request.GET
    found, wrong = None, ""
    site, water = given.get("site", ""), given.get("water", "")
    try:
        found = _found(given)
    except InputError as error:
        wrong = count_forms.sentence(error)
    words = _words(reference().version)
    context: dict[str, Any] = {
        "sites": SITES, "site": site, "water": water, "size": count_forms.typed(given, "size"), "wrong": wrong,
        "questions": [
            Question(
                id, text, tuple((word, word == given.get(id)) for word in words[id]),
                given.get(id, "") if given.get(id, "") in words[id] else "",
            )
            for id, text in ASKED.items()
        ],
        "found": found, "path": request.path,
    }  # fmt: skip
    if found is not None:
        context |= _told(found)
    if case is not None:
        context |= {"fish": chosen_fish(request, case), "all_fish": list(case.fish.order_by("pk")),
                    "enters": reverse("identify_enter", args=[case.number])}  # fmt: skip
    status = 422 if wrong else 200
    return render(request, "casebook/count/identify.html", frame(request, case, None) | context, status=status)


def _found(given: QueryDict) -> Identification | None:
    """The answer, None before a site is chosen. Raises InputError in a sentence."""
    site = given.get("site", "")
    if not site:
        return None
    size = count_forms.number(given, "size", "The size, in µm", least=0.2, most=200_000)
    seen = {id: given[id] for id in ASKED if given.get(id)}
    return identify(site, reference(), size_um=size, water=given.get("water") or None, features=seen)


@lru_cache(maxsize=2)
def _words(version: str) -> dict[str, tuple[str, ...]]:
    del version
    return vocabulary(reference())


def _told(found: Identification) -> dict[str, Any]:
    tables = reference()
    rows = [(one, tables.organisms[one.id]) for one in found.candidates[:SHOWN] if one.probability >= 0.005]
    return {
        "candidates": [
            (one, row, f"{row.size_low_um:g} to {row.size_high_um:g} µm", _drawing(row)) for one, row in rows
        ],
        "leading": found.candidates[0],
        "finding": tables.findings[found.finding] if found.finding is not None else None,
        "apart": [
            (ask, [(tables.organisms[id].name, word.replace("_", " ")) for id, word in ask.shows])
            for ask in found.next_features
            if ask.bits >= WORTH_A_LOOK_BITS
        ][:3],
    }


def _drawing(row: Organism) -> str:
    return row.id if row.id in DRAWN else row.outline[0].partition("=")[0].strip()


DRAWN: Final = frozenset((
    "ich_trophont", "ich_theront", "trichodinid", "chilodonella", "brooklynella", "costia", "tetrahymena", "uronema",
    "sessile_ciliate", "piscinoodinium", "amyloodinium", "cryptocaryon", "gyrodactylid", "dactylogyrid", "fluke_egg",
    "capsalid", "metacercaria", "hexamitid", "cryptobia_gut", "gut_ciliate", "nematode_egg", "camallanus_larva",
    "camallanus_adult", "capillarid_adult", "tapeworm", "coccidia", "trypanosome", "myxozoan_spore",
    "microsporidian_spore", "louse", "anchor_worm", "gill_copepod", "leech", "gliding_rods", "motile_rods", "hyphae",
    "rotifer", "free_nematode", "water_flea_copepod", "turbellarian", "free_ciliate", "alga", "bubble_or_fat",
))  # fmt: skip
"""Organisms with a drawing of their own; another is drawn as its outline."""


@require_POST
def enter(request: HttpRequest, number: int) -> HttpResponse:
    """The answer as a finding of the case, with its sureness. It is worked out again here: a page is not believed."""
    case = case_or_404(number)
    found = _found(request.POST)
    if found is None or found.finding is None:
        raise Refused("There is no finding to enter: what is most likely is harmless, or has none at this site.")
    row = looking.known_finding(found.finding)
    level = whole(request, "level", "How many", least=1, most=len(row.levels) - 1)
    sent = request.POST.get("fish", "")
    fish = next((one for one in case.fish.all() if str(one.pk) == sent), None)
    if sent and fish is None:
        raise Refused("There is no such fish in this case.")
    examination = examination_at(request.device, chosen_look(request, case), row.examination, fish)
    looking.record_finding(request.device, examination, row.id, 1 if level is None else level, sure=found.sure)
    return redirect(findings_page(case, examination))
