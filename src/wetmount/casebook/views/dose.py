"""Work out a dose: an amount to weigh or measure, or the reasons why there is none. And what may go with what."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any, Final

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from wetmount import dose_rules
from wetmount.case_check import host_names
from wetmount.casebook import clock
from wetmount.casebook.models import Case, System, Tank
from wetmount.casebook.reference import reference
from wetmount.casebook.services import keeping
from wetmount.casebook.services.entering import once
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.views.dose_forms import (
    Form,
    address,
    agent_name,
    agents_by_route,
    agents_without_sum,
    case_of,
    counted,
    diseases,
    framed,
    has_sum,
    is_demonstration,
    of_case,
    place_of,
    places,
    things_of_case,
)
from wetmount.casebook.views.dose_order import BEFORE, WATERS, needs, order_from
from wetmount.cautions import ANY, CautionShown, cautions_for, triggers_of
from wetmount.dose import LARGEST_RULES, DoseAnswer, Order, Override, dose
from wetmount.dose_writing import write_number, write_quantity
from wetmount.errors import InputError
from wetmount.hard_stops import CHECKS, THING_WORDS, THINGS, Stop, required_checks
from wetmount.reference.rows import DoseRow
from wetmount.together import may_go_with


@require_http_methods(["GET", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """The form, and above it the answer once it was sent. The address holds the whole order; an override is posted."""
    case = case_of(request)
    tables = reference()
    form = Form(request.GET, of_case(case))
    asked = form.text("agent")
    row = tables.doses.get(asked)
    found = things_of_case(case)
    known = {thing: one.words == "yes" for thing, one in found.items()}
    order = answer = None
    overrides = _overrides(request, form) if request.method == "POST" else ()
    if asked and row is None and asked not in tables.treatments:
        form.wrong["agent"] = "There is no such agent; choose one of the list."
    if row is not None and has_sum(row) and "go" in request.GET:
        order = order_from(form, row, known, overrides)
        if order is not None:
            try:
                answer = dose(order, tables)
                if answer.overridden:
                    _write_down(request, case, form, order, answer)
            except InputError as error:
                form.refuse(error)
    unknown = asked in tables.treatments and (row is None or not has_sum(row))
    context: dict[str, Any] = {
        "form": form, "agents": agents_by_route(), "without": agents_without_sum(), "row": row if row and has_sum(row)
        else None, "asked": asked, "refused": _refused(asked, row) if unknown else "", "name": agent_name(asked),
        "places": places(case), "waters": WATERS, "before": BEFORE, "all_agents": _all_agents(),
        "things": [(id, THING_WORDS[id], id in form.texts("thing") or known.get(id, False)) for id in THINGS],
        "found": found.values(), "hosts": form.texts("host"),
        "offers": _hosts_offered(), "version": tables.version,
    }  # fmt: skip
    if row is not None and has_sum(row):
        context |= _of_row(form, row)
    if answer is not None and order is not None and row is not None:
        context |= _shown(case, form, row, order, answer)
    context = framed(request, case, "dose") | context
    return render(request, "casebook/dose/dose.html", context, status=422 if form.wrong else 200)


def _all_agents() -> list[tuple[str, str]]:
    return sorted(((id, agent_name(id)) for id in reference().doses), key=lambda one: one[1])


def _hosts_offered() -> list[str]:
    return [*reference().host_groups, *host_names(reference())]


def _refused(id: str, row: DoseRow | None) -> str:
    if row is not None:
        return row.reason
    text = reference().treatments[id]
    return f"the table gives its dose as text, which no sum is made from: {text.dose_low} {text.unit}"


def _of_row(form: Form, row: DoseRow) -> dict[str, Any]:
    """What the row asks for and says before anything is worked out."""
    asked = needs(row)
    folded = [name for name in READINGS_SHOWN if name not in asked]
    checked = form.texts("checked")
    return {
        "facts": _facts(row), "fed": row.route == "feed", "injected": row.route == "injection",
        "bath": row.route not in ("feed", "injection"), "own_vessel": row.place == "container",
        "asked_readings": [(name, READINGS_SHOWN[name]) for name in READINGS_SHOWN if name in asked],
        "other_readings": [(name, READINGS_SHOWN[name]) for name in folded],
        "others_open": any(name in form.wrong for name in folded),
        "others_known": sum(bool(form.text(name)) for name in folded),
        "checks": [(id, CHECKS[id], id in checked) for id in required_checks(row)],
        "on_paper": row.supply in ("prescription", "unlicensed", "varies"), "by_law": row.supply == "varies",
        "rise": row.rule == "bicarbonate_per_dkh", "demand": row.rule == "permanganate_demand",
        "papers": [("prescription", "a prescription"), ("label", "the label")], "supply": row.supply,
        "against": diseases(row, reference()),
        "stock_open": bool(form.text("stock") or form.text("stock_in")),
        "before_open": any(form.text(f"before_{n}") for n in BEFORE),
        "treatment": reference().treatments.get(row.treatment), "counted": counted(row),
    }  # fmt: skip


READINGS_SHOWN: Final = {
    "temperature": ("Temperature", "25 °C"), "oxygen": ("Oxygen", "6.5 mg/L"), "ph": ("pH", "7.4"),
    "kh": ("Alkalinity, KH", "6 dKH"), "gh": ("Hardness, GH", "10 dGH"), "ammonia": ("Total ammonia", "0.5 mg/L N"),
    "nitrite": ("Nitrite", "0.3 mg/L NO2"), "chloride": ("Chloride", "30 mg/L"), "chlorine": ("Chlorine", "0.1 mg/L"),
}  # fmt: skip


def _facts(row: DoseRow) -> list[tuple[str, str]]:
    """The row in lines: what is usual, what is never passed, how long, how often."""
    facts = []
    if row.low is not None:
        upper = f" to {write_quantity(row.high, row.unit)}" if row.high is not None and row.high > row.low else ""
        first = write_number(row.low) if upper else write_quantity(row.low, row.unit)
        facts.append(("Usual dose", f"{first}{upper}, counted as {row.counted_as}"))
    if row.hard_max is not None:
        facts.append(("Never above", write_quantity(row.hard_max, row.unit)))
    if row.doses and row.doses > 1:
        every = f", every {row.interval_h_low:g} h" if row.interval_h_low is not None else ""
        facts.append(("Doses", f"{row.doses:g}{every}"))
    if row.spares:
        facts.append(("Spares", row.spares))
    return facts


# --- the answer -------------------------------------------------------------------------------------------------------


def _shown(case: Case | None, form: Form, row: DoseRow, order: Order, answer: DoseAnswer) -> dict[str, Any]:
    amount = answer.state == "amount"
    rule = [f"dose_rules {row.rule}"] if hasattr(dose_rules, row.rule or "-") else []
    rows = [*answer.rows, *(stop.row for stop in answer.stops), *rule]
    reached = answer.concentration
    cautions = [one for one in cautions_for(reference(), agents=(row.treatment,)) if one.because]
    volume = "" if order.volume is None else f"{order.volume.low_l:.6g} L to {order.volume.high_l:.6g} L"
    carried = {
        "agent": row.treatment, "dose": "" if answer.dose is None else _typed(answer), "volume": volume,
        "strength": form.text("strength"),
    }  # fmt: skip
    return {
        "answer": answer, "is_amount": amount, "volume": order.volume, "largest": row.rule in LARGEST_RULES,
        "main": answer.written[0] if amount and answer.written else "", "lines": answer.written[1:] if amount else (),
        "reached": reached,
        "reached_words": "" if reached is None else _range(reached.at_high_volume, reached.at_low_volume, answer.unit),
        "may_override": not is_demonstration() and _where(case, form) is not None, "demo": is_demonstration(),
        "stops": _offered(answer), "cautions": cautions,
        "first_cautions": _own(cautions), "rows": list(dict.fromkeys(rows)),
        "formulas": ["Amount = water × dose ÷ strength in hand"] if row.route not in ("feed", "injection") else
        ["Amount = weight of the fish × dose ÷ strength in hand"],
        "course_href": address("dose_course", case, **carried) if answer.unit in ("mg/L", "g/L", "uL/L") else "",
        "yes_href": _confirmed(form, answer), "task_title": answer.written[0] if amount and answer.written else "",
        "task_detail": " ".join(f"{line}." for line in (*answer.written[1:], *_by(order))),
        "tasks_href": address("dose_tasks", case), "today": clock.today().isoformat(), "by": _by(order),
        "keep_href": _keep_address(case, form) if amount and not order.overrides else "", "where": _where(case, form),
    }  # fmt: skip


def _own(cautions: Iterable[CautionShown]) -> list[CautionShown]:
    """The gravest that are this agent's own; those of every treatment stand in the list."""
    own = [one for one in cautions if ANY not in triggers_of(reference().cautions[one.id])]
    return [one for one in own if one.severity == "stop"]


def _by(order: Order) -> tuple[str, ...]:
    """Who stands for the dose, when it is from a prescription or label."""
    by = order.prescription
    if by is None:
        return ()
    return (f"From {'the label of' if by.kind == 'label' else 'a prescription by'} {by.prescriber}",)


def _keep_address(case: Case | None, form: Form) -> str:
    return f"{address('dose_keep', case)}{'&' if case is not None else '?'}{_rest(form.given)}"


def _typed(answer: DoseAnswer) -> str:
    """The dose as a field of the course takes it, with the word for what a formalin dose counts."""
    return (
        f"{answer.dose:.6g} {answer.unit}"
        + (" Cu" if "copper" in answer.substance and "sulphate" not in answer.substance else "")
        + (" CuSO4.5H2O" if answer.substance.startswith("copper sulphate") else "")
    )


def _range(low: float, high: float, unit: str) -> str:
    one, other = write_number(low), write_number(high)
    return write_quantity(high, unit) if one == other else f"{one} to {write_quantity(high, unit)}"


def _offered(answer: DoseAnswer) -> list[tuple[Stop, str]]:
    """Stops, with an id for the form that goes against one: an override goes against all that stand under its name."""
    seen: set[str] = set()
    shown = []
    for stop in answer.stops:
        shown.append((stop, uuid.uuid4().hex if stop.overridable and stop.id not in seen else ""))
        seen.add(stop.id)
    return shown


def _confirmed(form: Form, answer: DoseAnswer) -> str:
    given = form.given.copy()
    for question in answer.questions:
        given.appendlist("checked", question.id)
    return f"?{given.urlencode()}"


@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """What was worked out, written down in the case or with the tank; worked out anew from the address."""
    case = case_of(request)
    form = Form(request.GET, of_case(case))
    row, where = reference().doses.get(form.text("agent")), _where(case, form)
    known = {thing: one.words == "yes" for thing, one in things_of_case(case).items()}
    order = order_from(form, row, known) if row is not None and has_sum(row) else None
    answer = dose(order, reference()) if order is not None else None
    if answer is None or order is None or answer.state != "amount":
        raise Refused("There is no amount to write down.")
    if where is None:
        raise Refused("Open the dose from a case that is not closed, or choose a tank, so that it can be written down.")
    volume = () if order.volume is None else (f"Water: {order.volume.low_l:.4g} to {order.volume.high_l:.4g} L",)
    text = " ".join(f"{line}." for line in (*answer.written, *volume, *_by(order)))
    keeping.add_note(request.device, text, **_of(where))
    return redirect(f"{address('dose', case)}{'&' if case is not None else '?'}{_rest(request.GET)}")


def _rest(given: QueryDict) -> str:
    given = given.copy()
    given.pop("case", None)
    return given.urlencode()


def _of(where: Case | Tank | System) -> dict[str, Any]:
    """The place of a note."""
    return {"case": where if isinstance(where, Case) else None, "tank": where if isinstance(where, Tank) else None,
            "system": where if isinstance(where, System) else None}  # fmt: skip


# --- overrides --------------------------------------------------------------------------------------------------------


def _overrides(request: HttpRequest, form: Form) -> tuple[Override, ...]:
    """Those gone against before, as the page sends them again, and last the one that is sent now."""
    sent = [request.POST.getlist(name)[:20] for name in ("stop", "person", "reason")]
    if _where(case_of(request), form) is None:
        form.wrong["place"] = "An override is written down: choose the tank, or open the dose from its case."
        return ()
    return tuple(
        Override(*(one.replace("\x00", "").strip()[:500] for one in three)) for three in zip(*sent, strict=False)
    )


def _where(case: Case | None, form: Form) -> Case | Tank | System | None:
    """Where an override is written down."""
    if case is not None:
        return None if case.is_closed else case
    try:
        return place_of(form.text("place"))
    except InputError:
        return None


def _write_down(request: HttpRequest, case: Case | None, form: Form, order: Order, answer: DoseAnswer) -> None:
    """The last override into the case, or about the tank; once, though the page may be sent again."""
    used = order.overrides[-1]
    if used not in answer.overridden:
        return
    where = _where(case, form)
    assert where is not None  # without one no override is taken
    amount = f" {answer.written[0]}." if answer.written and answer.state == "amount" else ""
    stop = used.stop.replace("_", " ")
    text = f"{answer.substance}: {used.person} went against the stop ({stop}), because: {used.reason}.{amount}"
    with once(request.POST.get("id", "")) as is_new:
        if is_new:
            keeping.add_note(request.device, text, **_of(where))


# --- may this go with that --------------------------------------------------------------------------------------------

VERDICTS: Final = {
    "no": ("No", "stop"), "cancels": ("They cancel each other", "stop"), "wait": ("Not yet: wait between", "care"),
    "off": ("One is switched off meanwhile", "care"), "less": ("Less of it", "care"),
    "test first": ("Test a few fish first", "care"), "yes": ("Nothing in the tables speaks against it", "yes"),
}  # fmt: skip


@require_GET
def together(request: HttpRequest) -> HttpResponse:
    """One tap for the agent, one for what it is to go with."""
    case = case_of(request)
    tables = reference()
    form = Form(request.GET)
    agent, that = form.text("agent"), form.text("that")
    if agent and agent not in tables.doses:
        form.wrong["agent"] = "There is no such agent; choose one of the list."
        agent = ""
    meeting = None
    if agent and that:
        try:
            meeting = may_go_with(agent, that, tables)
        except InputError:
            form.wrong["that"] = f"There is no {that[:40]!r} in the tables; choose from below."
    context: dict[str, Any] = {
        "form": form, "agent": agent, "name": agent_name(agent), "that_name": _that(that), "meeting": meeting,
        "by_route": agents_by_route(), "others": agents_without_sum(), "version": tables.version,
        "verdict": VERDICTS[meeting.verdict] if meeting else None, "rows": [meeting.row] if meeting else [],
        "dose_href": address("dose", case, agent=agent),
        "number": case.number if case is not None else "",
    }  # fmt: skip
    if agent:
        context["groups"] = _all_meetings(agent, case)
    context = framed(request, case, "dose_with") | context
    return render(request, "casebook/dose/with.html", context, status=422 if form.wrong else 200)


BY_ID: Final = ("discus", "angelfish", "jewel_cichlid", "dwarf_marine_angel")
"""Groups whose meaning is a genus; their id says more."""
WATER_WORDS: Final = {"soft_water": "soft water", "warm_water": "warm water"}


def _that(id: str) -> str:
    group = reference().host_groups.get(id)
    if group is not None:
        return id.replace("_", " ") if id in BY_ID else group.meaning.split(":")[0]
    return THING_WORDS.get(id) or WATER_WORDS.get(id) or agent_name(id).lower()


def _all_meetings(agent: str, case: Case | None) -> list[tuple[str, list[tuple[str, str, str, str]]]]:
    """Everything it could meet, with the verdict in a word: heading, then (id, words, verdict, kind)."""
    tables = reference()
    hosts = [one for one in tables.host_groups if one not in ("fish", "freshwater", "marine", "other")]
    if case is not None and case.host_group in hosts:
        hosts = [case.host_group, *(one for one in hosts if one != case.host_group)]
    agents = [id for id, _ in _all_agents() if id != agent]
    headings = (("What else is in the water", [*THINGS, *WATER_WORDS]), ("Fish", hosts), ("Other agents", agents))
    found = []
    for heading, ids in headings:
        met = [(id, _that(id), may_go_with(agent, id, tables).verdict) for id in ids]
        found.append((heading, [(id, words, *VERDICTS[verdict]) for id, words, verdict in met]))
    return found
