"""A plan as rows: which link has which frequency. What a plan file holds, ours or somebody else's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["Assignment"]

SPARE_PREFIX = "spare"


@dataclass(frozen=True)
class Assignment:
    """One row of a plan. ``frequency_hz`` ``None``: the link has none. A spare's name begins with ``spare``."""

    link: str
    equipment: str
    area: str = ""
    scenes: frozenset[str] = frozenset()
    frequency_hz: int | None = None
    verdict: str | None = None
    margin_db: float | None = None
    note: str = ""
    line: int | None = None
    extra: Mapping[str, str] = field(default_factory=dict, compare=False)

    @property
    def is_spare(self) -> bool:
        """Whether the row is a frequency kept free rather than a link."""
        return self.link.lower().startswith(SPARE_PREFIX)
