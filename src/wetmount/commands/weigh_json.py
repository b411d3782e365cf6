"""A weigh-up as JSON, to exchange with other programs. Lists are in rank order; probabilities are 0 to 1."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import msgspec

from wetmount.commands.weighed import Weighed

SCHEMA = "wetmount.weigh/1"


def document(cases: Sequence[bytes], failures: Sequence[dict[str, str]]) -> bytes:
    """The whole document around cases that are encoded already; `failures` are the files that could not be weighed."""
    head = b'{"schema":' + msgspec.json.encode(SCHEMA)
    return head + b',"cases":[' + b",\n".join(cases) + b'],"failures":' + msgspec.json.encode(failures) + b"}"


def encode_case(weighed: Weighed) -> bytes:
    """One case, encoded."""
    return msgspec.json.encode(case_data(weighed))


def case_data(weighed: Weighed) -> dict[str, Any]:
    """One case as plain data."""
    result = weighed.weighup
    return {
        "file": weighed.file,
        "id": weighed.case.id,
        "title": weighed.case.title,
        "date": result.evidence.date,
        "conditions": plain(result.conditions),
        "explanations": plain(result.explanations),
        "remaining_probability": result.remaining_probability,
        "exact": result.exact,
        "approximation": result.approximation,
        "state_bits": result.state_bits,
        "next_examinations": None if result.next_examinations is None else plain(result.next_examinations),
        "firmness": None if result.firmness is None else plain([result.firmness])[0],
        "memory_share": result.memory_share,
        "unexplained": plain(result.unexplained),
        "reasons": {condition: plain(reasons) for condition, reasons in result.reasons.items()},
        "opened_the_way": plain(result.opened_the_way),
        "warnings": plain(result.warnings),
        "cautions": plain(weighed.cautions),
        "red_flags": plain(weighed.red_flags),
        "first_aid": plain(weighed.first_aid),
        "evidence": plain([result.evidence])[0],
        "reference_version": result.reference_version,
    }


def plain(rows: Iterable[Any]) -> list[Any]:
    """Records as plain data, fields in their order."""
    built: list[Any] = msgspec.to_builtins(list(rows))
    return built
