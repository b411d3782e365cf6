"""Signs in the address of a page: each finding with the level that was chosen for it."""

from __future__ import annotations

from collections.abc import Mapping

from django.http import QueryDict

from wetmount.reference.rows import Finding

MOST_SIGNS = 60


def chosen_signs(given: QueryDict, known: Mapping[str, Finding]) -> dict[str, int]:
    """Findings with a level that exists; anything else in the address is passed over."""
    levels = {one: given[one] for one in given if one in known and known[one].kind in ("sign", "organism")}
    fit = {one: int(n) for one, n in levels.items() if n.isdecimal() and len(n) < 3 and int(n) < len(known[one].levels)}
    return dict(list(fit.items())[:MOST_SIGNS])
