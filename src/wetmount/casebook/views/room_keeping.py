"""Setting a fish room up and keeping it: systems, tanks, batches, moves of fish, nets and water shared, notes."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import Count
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from wetmount.case_check import host_names, host_row
from wetmount.casebook import clock
from wetmount.casebook.models import (
    Batch,
    Case,
    Device,
    Entry,
    FishRoom,
    Keeper,
    Move,
    Note,
    System,
    Tank,
    TankCheck,
    TankGroup,
    TankSign,
)
from wetmount.casebook.reference import reference
from wetmount.casebook.services import keeping
from wetmount.casebook.services.refusals import Conflict, Refused
from wetmount.casebook.stock import check_moves, day, now_in
from wetmount.casebook.views import room_seen
from wetmount.casebook.views.room_forms import (
    BatchForm,
    CheckForm,
    ContactForm,
    GroupForm,
    MoveForm,
    NewTanksForm,
    NoteForm,
    OfRoom,
    RoomForm,
    SignForm,
    SystemForm,
    TankForm,
)
from wetmount.casebook.views.today import last_said

MOST_TANKS = 100
SHOWN_MOVES = 200


# --- what each form does ----------------------------------------------------------------------------------------------


def _add_system(device: Device, room: FishRoom, values: dict[str, Any]) -> None:
    keeping.add_system(device, room, **_plain(values))


def _change_named(device: Device, row: Entry, values: dict[str, Any], seen: int | None) -> None:
    plain = _plain(values)
    if "system" in plain:
        system = plain.pop("system")
        plain["system_id"] = system.pk if system is not None else None
    if "volume_l" in plain and plain["volume_l"] != getattr(row, "volume_l", None):
        plain |= {"volume_low_l": None, "volume_high_l": None}  # the range belonged to the old figure
    keeping.change_row(device, row, f"{values['name']} changed", seen=seen, **plain)


def _add_tanks(device: Device, room: FishRoom, values: dict[str, Any]) -> None:
    plain = _plain(values)
    runs = {name: plain.pop(name) for name in ("order", "place", "turn")}
    for n, name in enumerate(tank_names(plain.pop("name"))):
        on_from = {column: None if value is None else value + n for column, value in runs.items()}
        keeping.add_tank(device, room, name, **plain, **on_from)


def tank_names(text: str) -> list[str]:
    """'A1, A2' and runs such as 'A1-A12' as names. Refused when there are too many, or none."""
    names: list[str] = []
    for part in (one.strip() for one in text.split(",")):
        run = re.fullmatch(r"(.*?)(\d{1,4})\s*[-–]\s*(.*?)(\d{1,4})", part)
        if run and run[1].strip().casefold() == run[3].strip().casefold() and int(run[2]) < int(run[4]):
            if int(run[4]) - int(run[2]) >= MOST_TANKS:
                raise Refused(f"{part} would be more than {MOST_TANKS} tanks at once.")
            names += [f"{run[1]}{n}" for n in range(int(run[2]), int(run[4]) + 1)]
        elif part:
            names.append(part)
    if not names or len(names) > MOST_TANKS:
        raise Refused(f"Give from 1 to {MOST_TANKS} names.")
    return names


def _add_batch(device: Device, room: FishRoom, values: dict[str, Any]) -> None:
    keeping.add_batch(device, room=room, **_batch(values))


def _change_batch(device: Device, row: Entry, values: dict[str, Any], seen: int | None) -> None:
    keeping.change_row(device, row, f"Batch: {values['species']} changed", seen=seen, **_batch(values))
    check_moves(Batch.objects.get(pk=row.pk))


def _batch(values: dict[str, Any]) -> dict[str, Any]:
    known = host_row(values["species"], reference())
    return values | {"host_group": known.host_group if known is not None else ""}


def _add_move(device: Device, room: FishRoom, values: dict[str, Any]) -> None:
    _not_ahead(values)
    # All writers of moves of one batch wait for each other, so what is checked is what stands.
    batch = Batch.objects.select_for_update().get(pk=values["batch"].pk)
    keeping.move_fish(device, **values)
    check_moves(batch)


def _add_contact(device: Device, room: FishRoom, values: dict[str, Any]) -> None:
    _not_ahead(values)
    keeping.add_contact(device, **values)


def _add_note(device: Device, room: FishRoom, values: dict[str, Any]) -> None:
    _not_ahead(values)
    tank, system = values["tank"], values["system"]
    keeping.add_note(
        device, values["text"], on=values["on"], tank=tank, system=None if tank else system,
        room=None if tank or system else room,
    )  # fmt: skip


def _not_ahead(values: dict[str, Any]) -> None:
    if values["on"] > clock.today():
        raise Refused(
            f"{day(values['on'])} has not come yet; write down what happened, and set a task for what is to be."
        )


def _plain(values: dict[str, Any]) -> dict[str, Any]:
    """A number that was left empty is 0 for the order on the page and stays unknown elsewhere."""
    return values | {"order": values.get("order") or 0}


def _may_go(row: Any) -> str:
    """Refuse to take away what others stand on; the words for the undo bar otherwise."""
    if isinstance(row, System) and (n := row.tanks.count()):
        raise Refused(f"{row.name} has {n} tank{'s' if n > 1 else ''}. Put them on another system, or on none, first.")
    if isinstance(row, Tank):
        _tank_may_go(row)
    if isinstance(row, Batch) and row.moves.exists():
        raise Refused(
            f"{row} stand in the moves of this room. Take those moves away first, or record that they are gone."
        )
    if isinstance(row, Batch) and Case.all_cases.filter(batch=row).exists():
        raise Refused(f"{row} belong to a case, so the batch stays.")
    if isinstance(row, Move) and row.batch is not None:
        check_moves(row.batch, without=row)
    name = "Move" if isinstance(row, Move) else "Note" if isinstance(row, Note) else str(row)
    return f"{name[:1].upper()}{name[1:]} taken away"


def _tank_may_go(tank: Tank) -> None:
    if lots := now_in(tank, clock.today()):
        raise Refused(f"In {tank.name} are {', '.join(map(str, lots))}. Move them first.")
    if tank.signs.exists() or tank.checks.exists():
        raise Refused(f"Something was seen or looked for in {tank.name}, and that must stay known. Rename it instead.")
    if tank.moves_in.exists() or tank.moves_out.exists():
        raise Refused(
            f"Fish, nets or water went through {tank.name}, and that must stay known. Rename it if it is gone."
        )
    if Case.all_cases.filter(tank=tank).exists() or tank.further_cases.exists():
        raise Refused(f"{tank.name} belongs to a case, so it stays. Rename it if it is gone.")


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of thing in a room: its model, its forms, and what adding and changing do."""

    model: type[Entry]
    name: str
    add_form: type[OfRoom]
    add: Callable[[Device, FishRoom, dict[str, Any]], None]
    change: Callable[[Device, Entry, dict[str, Any], int | None], None] | None = None
    change_form: type[OfRoom] | None = None


KINDS = {
    "system": Kind(System, "system", SystemForm, _add_system, _change_named, SystemForm),
    "tank": Kind(Tank, "tank", NewTanksForm, _add_tanks, _change_named, TankForm),
    "batch": Kind(Batch, "batch", BatchForm, _add_batch, _change_batch, BatchForm),
    "move": Kind(Move, "move of fish", MoveForm, _add_move),
    "contact": Kind(Move, "net or water shared", ContactForm, _add_contact),
    "note": Kind(Note, "note", NoteForm, _add_note),
    "sign": Kind(TankSign, "signs or deaths", SignForm, room_seen.add_sign, room_seen.change_sign, SignForm),
    "check": Kind(TankCheck, "check", CheckForm, room_seen.add_check, room_seen.change_check, CheckForm),
    "group": Kind(
        TankGroup, "net, person, feed or watch", GroupForm, room_seen.add_group, room_seen.change_group, GroupForm
    ),
}
"""Moves, contacts and notes are taken away and written again rather than changed: they are what happened."""


# --- views ------------------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
def new_room(request: HttpRequest) -> HttpResponse:
    """A room; its systems and tanks come next."""
    return _room_form(request, None)


@require_http_methods(["GET", "POST"])
def change_room(request: HttpRequest, pk: int) -> HttpResponse:
    """Name, keeper and note of a room; or take it away while it is empty."""
    return _room_form(request, get_object_or_404(FishRoom.objects.select_related("keeper"), pk=pk))


def _room_form(request: HttpRequest, row: FishRoom | None) -> HttpResponse:
    first = {"name": row.name, "keeper": row.keeper.name if row.keeper else "", "note": row.note} if row else None
    form = RoomForm(request.POST or None, initial=first, label_suffix="")
    wrong = ""
    if request.method == "POST":
        try:
            if row is not None and request.POST.get("what") == "remove":
                _room_may_go(row)
                keeping.remove_row(request.device, row, f"{row.name} taken away")
                return redirect("rooms")
            if form.is_valid():
                with transaction.atomic():
                    saved = _save_room(request.device, row, form.cleaned_data, _seen(request))
                return redirect("room_set_up", saved.pk)
        except Conflict:
            raise
        except Refused as refused:
            wrong = str(refused)
    keepers = Keeper.objects.values_list("name", flat=True)
    context = {"place": "rooms", "form": form, "row": row, "wrong": wrong, "title": row.name if row else "New room",
               "offers": {"keeper": keepers}, "back": reverse("room", args=[row.pk]) if row else reverse("rooms"),
               "what": "room"}  # fmt: skip
    return render(request, "casebook/rooms/form.html", context, status=422 if request.method == "POST" else 200)


def _save_room(device: Device, row: FishRoom | None, values: dict[str, Any], seen: int | None) -> FishRoom:
    name = values["keeper"].strip()
    keeper = (Keeper.objects.filter(name=name).first() or keeping.add_keeper(device, name)) if name else None
    if row is None:
        return keeping.add_room(device, values["name"], keeper, values["note"])
    keys = {"name": values["name"], "note": values["note"], "keeper_id": keeper.pk if keeper else None}
    return keeping.change_row(device, row, f"{values['name']} changed", seen=seen, **keys)


def _seen(request: HttpRequest) -> int | None:
    """The version the form was filled in over."""
    text = request.POST.get("seen", "")
    return int(text) if text.isdecimal() and len(text) < 18 else None


def _room_may_go(room: FishRoom) -> None:
    held = {
        "tanks": room.tanks.exists(), "systems": room.systems.exists(), "batches": room.batches.exists(),
        "cases": Case.all_cases.filter(room=room).exists(),
    }  # fmt: skip
    inside = [word for word, there in held.items() if there]
    if inside:
        raise Refused(f"{room.name} has {', '.join(inside)}, so it stays.")


@require_GET
def set_up(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything in a room as lists, each with the way to add, change and take away."""
    room = get_object_or_404(FishRoom.objects.select_related("keeper"), pk=pk)
    in_room = Move.objects.filter(to_tank__room=room) | Move.objects.filter(from_tank__room=room)
    moves = in_room.select_related("batch", "from_tank", "to_tank").distinct().order_by("-on", "-id")
    notes = Note.objects.filter(case=None).select_related("system", "tank")
    notes = notes.filter(room=room) | notes.filter(system__room=room) | notes.filter(tank__room=room)
    context = {
        "place": "rooms",
        "room": room,
        "systems": room.systems.all(),
        "tanks": room.tanks.select_related("system").order_by("system__order", "system__name", "order", "name"),
        "batches": room.batches.all(),
        "groups": room.groups.annotate(tank_count=Count("members")),
        "signs": TankSign.objects.filter(tank__room=room).select_related("tank").order_by("-on", "-id")[:SHOWN_MOVES],
        "checks": TankCheck.objects.filter(tank__room=room).select_related("tank").order_by("-on", "-id")[:SHOWN_MOVES],
        "moves": moves[:SHOWN_MOVES],
        "notes": notes.order_by("-on", "-id")[:SHOWN_MOVES],
        "last": last_said(request.device),
    }
    return render(request, "casebook/rooms/set_up.html", context)


@require_http_methods(["GET", "POST"])
def add(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    """Add to a room. The address may fill fields in (`?from_tank=`)."""
    room, one = _room_and_kind(pk, kind)
    first = request.GET.dict() | ({"on": request.GET.get("on") or clock.today().isoformat()} if kind in _DATED else {})
    form = one.add_form(request.POST or None, room=room, initial=first)
    wrong = ""
    if request.method == "POST" and form.is_valid():
        try:
            with transaction.atomic():
                one.add(request.device, room, form.cleaned_data)
            return redirect(_then(room, kind, form.cleaned_data))
        except Conflict:
            raise
        except Refused as refused:
            wrong = str(refused)
    return _form_page(request, room, kind, form, wrong, title=f"New {one.name}")


_DATED = ("move", "contact", "note", "sign", "check")


def _then(room: FishRoom, kind: str, values: dict[str, Any]) -> str:
    """Back to the map after something happened, to the set-up after something was set up."""
    if kind in _DATED:
        tank = values.get("to_tank") or values.get("from_tank") or values.get("tank")
        return reverse("room", args=[room.pk]) + (f"?tank={tank.pk}" if tank else "")
    return reverse("room_set_up", args=[room.pk])


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, pk: int, kind: str, row: int) -> HttpResponse:
    """Change something of a room, or take it away (`what` = remove)."""
    room, one = _room_and_kind(pk, kind)
    entry = _row(room, one, row)
    form = None
    if one.change_form is not None:
        first = {name: room_seen.in_form(getattr(entry, name)) for name in one.change_form.base_fields}
        form = one.change_form(request.POST or None, room=room, row=entry, initial=first)
    wrong = ""
    if request.method == "POST":
        try:
            with transaction.atomic():
                if request.POST.get("what") == "remove":
                    keeping.remove_row(request.device, entry, _may_go(entry))
                    return redirect("room_set_up", room.pk)
                if form is not None and one.change is not None and form.is_valid():
                    one.change(request.device, entry, form.cleaned_data, _seen(request))
                    return redirect("room_set_up", room.pk)
        except Conflict:
            raise
        except Refused as refused:
            wrong = str(refused)
    return _form_page(request, room, kind, form, wrong, title=_title(entry), row=entry)


def _title(entry: Any) -> str:
    if isinstance(entry, Note):
        return f"Note of {day(entry.on)}"
    if isinstance(entry, TankSign | TankCheck):
        said = str(entry)
        return f"{said[:1].upper()}{said[1:]} on {day(entry.on)}"
    return f"{entry.get_kind_display().capitalize()} on {day(entry.on)}" if isinstance(entry, Move) else str(entry)


def _form_page(
    request: HttpRequest, room: FishRoom, kind: str, form: OfRoom | None, wrong: str, *, title: str, row: Any = None
) -> HttpResponse:
    context = {
        "place": "rooms", "room": room, "form": form, "wrong": wrong, "title": title, "row": row,
        "what": KINDS[kind].name,
        "back": reverse("room_set_up", args=[room.pk]), "move": row if isinstance(row, Move) else None,
        "offers": {"species": host_names(reference())} if kind == "batch" else {},
    }  # fmt: skip
    return render(request, "casebook/rooms/form.html", context, status=422 if request.method == "POST" else 200)


def _room_and_kind(pk: int, kind: str) -> tuple[FishRoom, Kind]:
    if kind not in KINDS:
        raise Http404
    return get_object_or_404(FishRoom, pk=pk), KINDS[kind]


def _row(room: FishRoom, kind: Kind, pk: int) -> Any:
    """A row of this kind in this room; that of another room is not there."""
    row = get_object_or_404(kind.model, pk=pk)
    homes = [getattr(row, name, None) for name in ("system", "tank", "from_tank", "to_tank")]
    rooms = {getattr(row, "room_id", None), *(home.room_id for home in homes if home is not None)}
    if room.pk not in rooms or getattr(row, "case_id", None):
        raise Http404
    return row
