"""Wetmount: a workbench for the ornamental-fish health practitioner.

The public names below are loaded when they are first used, so that `import wetmount` costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from wetmount.case import Case as Case
    from wetmount.casefile import read_case as read_case
    from wetmount.cautions import cautions_of as cautions_of
    from wetmount.errors import InputError as InputError
    from wetmount.evidence import Evidence as Evidence
    from wetmount.evidence import gather_evidence as gather_evidence
    from wetmount.reference import Reference as Reference
    from wetmount.reference import load_reference as load_reference
    from wetmount.weighup import weigh_up as weigh_up
    from wetmount.weighup.results import WeighUp as WeighUp

__version__ = "0.1.0"

# Every public name, once, with the module that holds it.
_HOME = {
    "Case": "wetmount.case",
    "Evidence": "wetmount.evidence",
    "InputError": "wetmount.errors",
    "Reference": "wetmount.reference",
    "WeighUp": "wetmount.weighup.results",
    "cautions_of": "wetmount.cautions",
    "gather_evidence": "wetmount.evidence",
    "load_reference": "wetmount.reference",
    "read_case": "wetmount.casefile",
    "weigh_up": "wetmount.weighup",
}

__all__ = [*sorted(_HOME), "__version__"]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'wetmount' has no attribute {name!r}")
    value = getattr(import_module(_HOME[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME})
