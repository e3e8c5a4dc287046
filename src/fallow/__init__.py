"""fallow: what is on the air, what is allowed, and a frequency for every radio link.

The public names are listed here and loaded when first used, so that ``import fallow`` and ``fallow --help`` stay
quick.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fallow.errors import FallowError, InputError, OutputError, QuestionError, UsageError
    from fallow.files.tables import (
        read_areas,
        read_chain,
        read_equipment,
        read_foreign,
        read_groups,
        read_links,
        read_plan,
        read_stations,
        write_plan,
    )
    from fallow.workflow.coordinate import audit, coordinate
    from fallow.workflow.survey import judge, open_sweeps
    from fallow.workflow.why import what_if, why

__version__ = "0.1.0"

_HOMES = {
    "FallowError": "fallow.errors",
    "InputError": "fallow.errors",
    "OutputError": "fallow.errors",
    "QuestionError": "fallow.errors",
    "UsageError": "fallow.errors",
    "audit": "fallow.workflow.coordinate",
    "coordinate": "fallow.workflow.coordinate",
    "judge": "fallow.workflow.survey",
    "open_sweeps": "fallow.workflow.survey",
    "read_areas": "fallow.files.tables",
    "read_chain": "fallow.files.tables",
    "read_equipment": "fallow.files.tables",
    "read_foreign": "fallow.files.tables",
    "read_groups": "fallow.files.tables",
    "read_links": "fallow.files.tables",
    "read_plan": "fallow.files.tables",
    "read_stations": "fallow.files.tables",
    "what_if": "fallow.workflow.why",
    "why": "fallow.workflow.why",
    "write_plan": "fallow.files.tables",
}

__all__ = [
    "FallowError",
    "InputError",
    "OutputError",
    "QuestionError",
    "UsageError",
    "audit",
    "coordinate",
    "judge",
    "open_sweeps",
    "read_areas",
    "read_chain",
    "read_equipment",
    "read_foreign",
    "read_groups",
    "read_links",
    "read_plan",
    "read_stations",
    "what_if",
    "why",
    "write_plan",
]


def __getattr__(name: str) -> Any:
    """Load a public name from its home on first use (PEP 562)."""
    if name not in _HOMES:
        raise AttributeError(f"module 'fallow' has no attribute {name!r}")
    value = getattr(importlib.import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
