"""What a verdict is: clean, doubtful, occupied or not measured, for a slice, against a limit, at a confidence.

Only the values live here; the arithmetic that finds them is in ``judging``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from fallow.errors import UsageError
from fallow.spectrum.found.on_air import OnAir

__all__ = ["Emitter", "JudgedSlice", "Judging", "Verdict", "WindowVerdicts"]

USUAL_LIMIT_DBM = -90.0  # common practice: 20 dB under a weak wanted level of -70 dBm, in the link's own width
USUAL_LIMIT_ABOVE_FLOOR_DB = 6.0  # common practice
USUAL_LINK_WIDTH_HZ = 200_000  # common practice, and the usual legal width (47 CFR 74.861(e)(5))
USUAL_CONFIDENCE_PCT = 95.0
LOWEST_LIMIT_DBM, HIGHEST_LIMIT_DBM = -200.0, 100.0  # common practice: nothing that a receiver shows lies beyond
HIGHEST_ABOVE_FLOOR_DB = 150.0  # common practice: no receiver spans more


class Verdict(IntEnum):
    """Four answers, ordered so that the worst place in a slice is the largest value."""

    CLEAN = 0
    DOUBTFUL = 1
    NOT_MEASURED = 2
    OCCUPIED = 3

    @property
    def word(self) -> str:
        """As it is said to people and in JSON: ``not measured``."""
        return self.name.lower().replace("_", " ")

    @property
    def mark(self) -> str:
        """One character that tells the verdict without colour: ``.`` ``?`` ``/`` ``#``."""
        return ".?/#"[self]


@dataclass(frozen=True)
class Judging:
    """What a survey is judged against: ``limit_dbm`` for absolute levels, ``limit_above_floor_db`` for relative ones.

    A limit is a level in ``link_width_hz``. ``None``: not stated by the user, so the usual one of the survey's basis.
    """

    limit_dbm: float | None = None
    limit_above_floor_db: float | None = None
    link_width_hz: int = USUAL_LINK_WIDTH_HZ
    confidence_pct: float = USUAL_CONFIDENCE_PCT

    def __post_init__(self) -> None:
        if not 50.0 <= self.confidence_pct <= 99.9:
            raise UsageError(f"a confidence of {self.confidence_pct:g} % is out of range", hint="give 50 to 99.9")
        if self.limit_dbm is not None and not LOWEST_LIMIT_DBM <= self.limit_dbm <= HIGHEST_LIMIT_DBM:
            hint = f"give {LOWEST_LIMIT_DBM:g} to {HIGHEST_LIMIT_DBM:g}; the usual one is {USUAL_LIMIT_DBM:g}"
            raise UsageError(f"a limit of {self.limit_dbm:g} dBm is out of range", hint=hint)
        if self.link_width_hz <= 0:
            raise UsageError("the width of a link must be more than nothing", hint="the usual one is 200 kHz")
        if self.limit_above_floor_db is not None and self.limit_above_floor_db <= 0:
            raise UsageError("a limit above the floor must be more than 0 dB", hint="the usual one is 6")
        if self.limit_above_floor_db is not None and not self.limit_above_floor_db <= HIGHEST_ABOVE_FLOOR_DB:
            what = f"a limit of {self.limit_above_floor_db:g} dB above the floor is out of range"
            raise UsageError(what, hint=f"give {HIGHEST_ABOVE_FLOOR_DB:g} at most; the usual one is 6")


@dataclass(frozen=True)
class JudgedSlice:
    """A slice with its worst verdict, why, and the numbers of the window that decided.

    ``level_dbm``, ``u_db`` (standard uncertainty) and ``floor_dbm`` are ``None`` where nothing was measured; with a
    relative survey they are in the source's own unit. ``shares``: how much of the slice each verdict covers, 0 to 1.
    ``at_hz``: the middle of the window that decided. ``deaf``: whether something shows in it that keeps a quiet place
    from being *clean*: the receiver could not have heard, was overloaded, or looked at too little. ``stands_out``:
    whether a level above the limit or a block in use was heard in it; an announcement alone is no such thing.
    """

    name: str
    low_hz: int
    high_hz: int
    verdict: Verdict
    reasons: tuple[str, ...]
    level_dbm: float | None
    u_db: float | None
    floor_dbm: float | None
    shares: Mapping[Verdict, float] = field(default_factory=dict)
    at_hz: float | None = None
    deaf: bool = False
    stands_out: bool = False


@dataclass(frozen=True)
class Emitter:
    """Something found on the air. ``looks_like`` is a class, never a denial; ``evidence`` says why.

    ``on_share`` with its two-sided limits at the confidence of the survey, each 0 to 1; they allow for the likeness of
    neighbouring sweeps. ``first_s``, ``last_s``: start of the sweeps in which it was seen first and last, seconds since
    1970 (UTC where ``zone_known``, else the source's wall clock); ``None`` without times. ``period_s``: it comes at
    this distance in seconds, which may be off by ``period_u_s``; ``None`` where no beat was proven, or without times.
    ``times``: when it was on in the series that shows it best; ``told_times``: what of the evidence says so.
    """

    low_hz: int
    high_hz: int
    centre_hz: int
    level_dbm: float
    looks_like: str
    evidence: tuple[str, ...]
    on_share: float
    on_share_low: float
    on_share_high: float
    first_s: float | None = None
    last_s: float | None = None
    period_s: float | None = None
    period_u_s: float | None = None
    zone_known: bool = False
    times: OnAir | None = None
    told_times: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class WindowVerdicts:
    """Verdicts of many windows at once, arrays of shape (window,).

    ``verdict``: uint8 codes of ``Verdict``. ``level_dbm``, ``u_db``, ``floor_dbm``: float64, NaN where not measured.
    ``margin_db``: limit minus level minus what the confidence costs, positive when clean; NaN where not measured.
    """

    verdict: NDArray[np.uint8]
    level_dbm: NDArray[np.float64]
    u_db: NDArray[np.float64]
    floor_dbm: NDArray[np.float64]
    margin_db: NDArray[np.float64]
