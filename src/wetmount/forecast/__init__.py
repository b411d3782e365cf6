"""Burden forecasts and treatment timing: stage-structured, driven by temperature, with what is not known carried along.

Imports on first use, so that a caller who wants one part does not load the rest.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from wetmount.forecast.lifecycle import MODELS as MODELS
    from wetmount.forecast.project import Forecast as Forecast
    from wetmount.forecast.project import forecast as forecast
    from wetmount.forecast.quarantine import Batch as Batch
    from wetmount.forecast.quarantine import Intake as Intake
    from wetmount.forecast.quarantine import intake_advice as intake_advice
    from wetmount.forecast.quarantine import ready_to_leave as ready_to_leave
    from wetmount.forecast.situation import LaterCount as LaterCount
    from wetmount.forecast.situation import Situation as Situation
    from wetmount.forecast.situation import Treatment as Treatment
    from wetmount.forecast.timing import Plan as Plan
    from wetmount.forecast.timing import plan_treatments as plan_treatments

_HOME = {
    "MODELS": "lifecycle",
    "Batch": "quarantine",
    "Forecast": "project",
    "Intake": "quarantine",
    "LaterCount": "situation",
    "Plan": "timing",
    "Situation": "situation",
    "Treatment": "situation",
    "forecast": "project",
    "intake_advice": "quarantine",
    "plan_treatments": "timing",
    "ready_to_leave": "quarantine",
}

__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'wetmount.forecast' has no attribute {name!r}")
    return getattr(import_module(f"wetmount.forecast.{_HOME[name]}"), name)
