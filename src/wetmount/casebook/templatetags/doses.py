"""Fields of the pages of doses: label, value, hint, and what is wrong with it, in one line of a template."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import template

from wetmount.casebook.templatetags.look import opening
from wetmount.casebook.views.dose_forms import Form, RowLink, row_link
from wetmount.dose_writing import write_number, write_quantity

register = template.Library()


@register.inclusion_tag("casebook/dose/entry.html")
def entry(form: Form, name: str, label: str, **more: Any) -> dict[str, Any]:
    """A field of text; `hint`, `sample` (a placeholder), `mode`, `offers` (a datalist), `kind` (the input's type)."""
    return more | {"name": name, "label": label, "value": form.text(name), "wrong": form.wrong.get(name, "")}


@register.inclusion_tag("casebook/dose/choice.html")
def choice(form: Form, name: str, label: str, options: Iterable[Any], **more: Any) -> dict[str, Any]:
    """A list to choose from; `options` are (value, words), or (group, options) with `grouped`; `empty` says none."""
    given = {"name": name, "label": label, "value": form.text(name), "wrong": form.wrong.get(name, "")}
    groups = options if more.get("grouped") else [("", options)]
    return more | given | {"groups": groups}


@register.filter
def sums(value: float) -> str:
    """A figure as doses are written: never in powers of ten, no trailing zero."""
    return write_number(float(value))


@register.filter
def litres(value: float) -> str:
    """A volume of water."""
    return write_quantity(float(value), "L")


@register.filter
def row_of(text: str) -> RowLink:
    """Where the row behind a figure opens."""
    return row_link(text)


@register.filter
def sentence(text: str) -> str:
    """Words as a sentence: a capital, and one stop unless it asks."""
    text = opening(text.strip())
    return text + ("" if text.endswith(("?", ".", "!")) else ".")
