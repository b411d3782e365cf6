"""The forms of a fish room: what there is in it, what went from tank to tank, what was seen, what tanks share."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import F

from wetmount.casebook.models import Batch, FishRoom, Move, System, Tank, TankGroup, TankSign
from wetmount.casebook.reference import reference
from wetmount.casebook.tracing import traceable


def text(
    label: str, *, required: bool = False, help_text: str = "", long: bool = False, offers: str = ""
) -> forms.CharField:
    typed = {"autocomplete": "off"} | ({"list": f"offers-{offers}"} if offers else {})
    widget = forms.Textarea(attrs={"rows": 3}) if long else forms.TextInput(attrs=typed)
    return forms.CharField(
        label=label, required=required, help_text=help_text, widget=widget, max_length=5000 if long else 200
    )


def count(label: str, *, help_text: str = "", low: int = 1, most: int = 1_000_000) -> forms.IntegerField:
    return forms.IntegerField(label=label, required=False, min_value=low, max_value=most, help_text=help_text)


def litres(label: str) -> forms.FloatField:
    return forms.FloatField(label=label, required=False, min_value=0.1, max_value=1e7)


def date(label: str, *, required: bool = True) -> forms.DateField:
    return forms.DateField(
        label=label, required=required, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )


class RoomForm(forms.Form):
    """Premises."""

    name = text("Name", required=True)
    keeper = text("Keeper", help_text="Whose fish they are.", offers="keeper")
    note = text("Note", long=True)


def _conditions() -> list[tuple[str, str]]:
    """Causes that spread from tank to tank first, then all others."""
    tables = reference()
    spreading = traceable(tables)
    others = {id: row.name for id, row in tables.conditions.items() if id not in spreading}
    return [("", "not put down to a cause"), *spreading.items(), *sorted(others.items(), key=lambda one: one[1])]


def _examinations() -> list[tuple[str, str]]:
    passed_over = ("asking", "counting_fish", "water_test")
    return [(id, row.name) for id, row in reference().examinations.items() if id not in passed_over]


_CHOICES = {"condition": _conditions, "examination": _examinations}
"""What is offered from the reference; read when a form is made, since a practice may overlay rows."""


class OfRoom(forms.Form):
    """A form that offers what there is in one room."""

    def __init__(self, *args: Any, room: FishRoom, row: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, label_suffix="", **kwargs)
        self.room, self.row = room, row
        rows = {"system": room.systems.all(), "batch": room.batches.all()}
        tanks = room.tanks.order_by(F("system__order").asc(nulls_last=True), "system__name", "order", "name")
        for name, one in self.fields.items():
            if isinstance(one, forms.ModelChoiceField):
                one.queryset = rows.get(name, tanks)
            elif name in _CHOICES and isinstance(one, forms.ChoiceField):
                one.choices = _CHOICES[name]()


class SystemForm(OfRoom):
    """A body of shared water."""

    name = text("Name", required=True)
    volume_l = litres("Water in all, L")
    order = count("Place in the room, from the left", low=0, most=10_000)
    note = text("Note", long=True)


class TankForm(OfRoom):
    """A container."""

    name = text("Name", required=True)
    system = forms.ModelChoiceField(
        System.objects.none(), required=False, label="On which system", empty_label="none, its water is its own"
    )
    volume_l = litres("Water in it, L")
    order = count("Place on the rack, from the top left", low=0, most=10_000)
    row = count("Shelf, from the top", most=100, help_text="With the place on it, the room is drawn as it stands.")
    place = count("Place on the shelf, from the left", most=100, help_text="Tanks side by side are neighbours.")
    turn = count("Turn in the order of work", low=0, most=10_000)
    since = date("Set up on", required=False)
    note = text("Note", long=True)


class NewTanksForm(TankForm):
    """Several tanks at once."""

    name = text("Name, or names", required=True, help_text="One name, names with commas, or a run: A1-A12.")


class BatchForm(OfRoom):
    """Fish that arrived together."""

    species = text("Species", required=True, offers="species")
    origin = text("From", help_text="Supplier, breeder or water they come from.")
    arrived = date("Arrived", required=False)
    number = count("How many")
    note = text("Note", long=True)


class MoveForm(OfRoom):
    """Fish from one tank to another."""

    batch = forms.ModelChoiceField(Batch.objects.none(), label="Which fish", empty_label="choose")
    number = count("How many", help_text="Empty: all of them that were there.")
    from_tank = forms.ModelChoiceField(Tank.objects.none(), required=False, label="From", empty_label="outside")
    to_tank = forms.ModelChoiceField(
        Tank.objects.none(), required=False, label="To", empty_label="gone (sold, dead, given up)"
    )
    on = date("Day")
    note = text("Note", long=True)


class ContactForm(OfRoom):
    """A net, a tool or water that went from one tank to another."""

    kind = forms.ChoiceField(choices=[one for one in Move.KINDS if one[0] != "fish"], label="What")
    from_tank = forms.ModelChoiceField(Tank.objects.none(), label="First in", empty_label="choose")
    to_tank = forms.ModelChoiceField(Tank.objects.none(), label="Then in", empty_label="choose")
    on = date("Day")
    note = text("Note", long=True)


class NoteForm(OfRoom):
    """Something that happened in the room, to a system or to a tank."""

    text = text("What happened", required=True, long=True)
    system = forms.ModelChoiceField(System.objects.none(), required=False, label="On which system", empty_label="none")
    tank = forms.ModelChoiceField(Tank.objects.none(), required=False, label="In which tank", empty_label="none")
    on = date("Day")


class SignForm(OfRoom):
    """Signs or deaths in a tank."""

    tank = forms.ModelChoiceField(Tank.objects.none(), label="In which tank", empty_label="choose")
    kind = forms.ChoiceField(choices=TankSign.KINDS, label="What")
    number = count("How many fish", help_text="Empty: not counted.")
    condition = forms.ChoiceField(required=False, label="Put down to")
    on = date("Day")
    not_before = date("Still well on", required=False)
    note = text("Note", long=True)


class CheckForm(OfRoom):
    """A deliberate look for a cause."""

    tank = forms.ModelChoiceField(Tank.objects.none(), label="Which tank", empty_label="choose")
    condition = forms.ChoiceField(required=False, label="Looked for")
    examination = forms.ChoiceField(label="How")
    fish = count("Fish examined")
    found = forms.ChoiceField(choices=[("no", "looked, not seen"), ("yes", "seen")], label="Result")
    on = date("Day")
    note = text("Note", long=True)


class GroupForm(OfRoom):
    """What several tanks share."""

    kind = forms.ChoiceField(choices=TankGroup.KINDS, label="What they share")
    name = text("Name", required=True, help_text="Green net, the evening help, frozen bloodworm, daily look.")
    tanks = forms.ModelMultipleChoiceField(
        Tank.objects.none(), label="Which tanks", widget=forms.CheckboxSelectMultiple
    )
    since = date("Since", required=False)
    until = date("Until", required=False)
    every_days = count("A watch looks every so many days", most=366)
    note = text("Note", long=True)
