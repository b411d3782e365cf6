"""The weigh-up: from evidence to ranked conditions, explanations, reasons, firmness and the next examination."""

from wetmount.weighup.results import (
    ConditionResult,
    Explanation,
    Firmness,
    NextExamination,
    OpenedTheWay,
    Reason,
    Unexplained,
    Warning_,
    WeighUp,
)
from wetmount.weighup.weigh import weigh_up

__all__ = [
    "ConditionResult",
    "Explanation",
    "Firmness",
    "NextExamination",
    "OpenedTheWay",
    "Reason",
    "Unexplained",
    "Warning_",
    "WeighUp",
    "weigh_up",
]
