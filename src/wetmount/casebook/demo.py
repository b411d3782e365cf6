"""PLACEHOLDER, to be replaced by the helper "today": fills the demonstration casebook."""

from __future__ import annotations

from importlib import resources

from wetmount.casebook.models import Device
from wetmount.casebook.reference import reference
from wetmount.casebook.services.records import import_case
from wetmount.casefile import read_case_text


def fill(device: Device) -> None:
    """Bring the demonstration case of the package in."""
    name = "harbour_row_rack_a.toml"
    text = (resources.files("wetmount") / "examples" / name).read_text(encoding="utf-8")
    import_case(device, read_case_text(text, "toml", name, reference()))
