"""Template filters of the weigh-up's pages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import template

if TYPE_CHECKING:
    from wetmount.casebook.views.weigh_telling import WeighUpPage
    from wetmount.casebook.views.what_if import Choice

register = template.Library()


@register.filter
def has(page: WeighUpPage, stage: str) -> bool:
    """Whether a stage of the weigh-up was worked out."""
    return page.has(stage)


@register.filter
def whole(share: float) -> str:
    """A share (0-1) in whole hundredths, without the sign, for "74 to 96 %"."""
    return f"{100 * share:.0f}"


@register.filter
def chosen_words(choice: Choice) -> str:
    """What was chosen for a finding, in words."""
    return dict(choice.options).get(choice.chosen, "") if choice.chosen is not None else ""
