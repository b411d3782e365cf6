"""Setting a fish room up and keeping it: systems, tanks, batches, moves of fish, nets and water shared, notes."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django import forms
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from wetmount.case_check import host_names, host_row
from wetmount.casebook import clock
from wetmount.casebook.models import Batch, Case, Device, Entry, FishRoom, Keeper, Move, Note, System, Tank
from wetmount.casebook.reference import reference
from wetmount.casebook.services import keeping
from wetmount.casebook.services.refusals import Conflict, Refused
from wetmount.casebook.stock import check_moves, day, now_in
from wetmount.casebook.views.today import last_said

MOST_TANKS = 100
SHOWN_MOVES = 200


# --- forms ------------------------------------------------------------------------------------------------------------


def _text(
    label: str, *, required: bool = False, help_text: str = "", long: bool = False, offers: str = ""
) -> forms.CharField:
    typed = {"autocomplete": "off"} | ({"list": f"offers-{offers}"} if offers else {})
    widget = forms.Textarea(attrs={"rows": 3}) if long else forms.TextInput(attrs=typed)
    return forms.CharField(
        label=label, required=required, help_text=help_text, widget=widget, max_length=5000 if long else 200
    )


def _count(label: str, *, help_text: str = "", low: int = 1) -> forms.IntegerField:
    return forms.IntegerField(label=label, required=False, min_value=low, max_value=1_000_000, help_text=help_text)


def _litres(label: str) -> forms.FloatField:
    return forms.FloatField(label=label, required=False, min_value=0.1, max_value=1e7)


def _date(label: str, *, required: bool = True) -> forms.DateField:
    return forms.DateField(
        label=label, required=required, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )


class RoomForm(forms.Form):
    """Premises."""

    name = _text("Name", required=True)
    keeper = _text("Keeper", help_text="Whose fish they are.", offers="keeper")
    note = _text("Note", long=True)


class OfRoom(forms.Form):
    """A form that offers what there is in one room."""

    def __init__(self, *args: Any, room: FishRoom, row: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, label_suffix="", **kwargs)
        self.room, self.row = room, row
        choices = {"system": room.systems.all(), "batch": room.batches.all()}
        for name, one in self.fields.items():
            if isinstance(one, forms.ModelChoiceField):
                one.queryset = choices.get(name, room.tanks.all())


class SystemForm(OfRoom):
    """A body of shared water."""

    name = _text("Name", required=True)
    volume_l = _litres("Water in all, L")
    order = _count("Place in the room, from the left", low=0)
    note = _text("Note", long=True)


class TankForm(OfRoom):
    """A container."""

    name = _text("Name", required=True)
    system = forms.ModelChoiceField(
        System.objects.none(), required=False, label="On which system", empty_label="none, its water is its own"
    )
    volume_l = _litres("Water in it, L")
    order = _count("Place on the rack, from the top left", low=0)
    note = _text("Note", long=True)


class NewTanksForm(TankForm):
    """Several tanks at once."""

    name = _text("Name, or names", required=True, help_text="One name, names with commas, or a run: A1-A12.")


class BatchForm(OfRoom):
    """Fish that arrived together."""

    species = _text("Species", required=True, offers="species")
    origin = _text("From", help_text="Supplier, breeder or water they come from.")
    arrived = _date("Arrived", required=False)
    number = _count("How many")
    note = _text("Note", long=True)


class MoveForm(OfRoom):
    """Fish from one tank to another."""

    batch = forms.ModelChoiceField(Batch.objects.none(), label="Which fish", empty_label="choose")
    number = _count("How many", help_text="Empty: all of them that were there.")
    from_tank = forms.ModelChoiceField(Tank.objects.none(), required=False, label="From", empty_label="outside")
    to_tank = forms.ModelChoiceField(
        Tank.objects.none(), required=False, label="To", empty_label="gone (sold, dead, given up)"
    )
    on = _date("Day")
    note = _text("Note", long=True)


class ContactForm(OfRoom):
    """A net, a tool or water that went from one tank to another."""

    kind = forms.ChoiceField(choices=[("net", "net or tool shared"), ("water", "water carried over")], label="What")
    from_tank = forms.ModelChoiceField(Tank.objects.none(), label="First in", empty_label="choose")
    to_tank = forms.ModelChoiceField(Tank.objects.none(), label="Then in", empty_label="choose")
    on = _date("Day")
    note = _text("Note", long=True)


class NoteForm(OfRoom):
    """Something that happened in the room, to a system or to a tank."""

    text = _text("What happened", required=True, long=True)
    system = forms.ModelChoiceField(System.objects.none(), required=False, label="On which system", empty_label="none")
    tank = forms.ModelChoiceField(Tank.objects.none(), required=False, label="In which tank", empty_label="none")
    on = _date("Day")


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
    first = plain.pop("order")
    for n, name in enumerate(tank_names(plain.pop("name"))):
        keeping.add_tank(device, room, name, **plain, order=first + n)


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
    """A number that was left empty is 0 for a place and stays unknown elsewhere."""
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
    return f"{name} taken away"


def _tank_may_go(tank: Tank) -> None:
    if lots := now_in(tank, clock.today()):
        raise Refused(f"In {tank.name} are {', '.join(map(str, lots))}. Move them first.")
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


_DATED = ("move", "contact", "note")


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
        first = {name: getattr(entry, name) for name in one.change_form.base_fields}
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
