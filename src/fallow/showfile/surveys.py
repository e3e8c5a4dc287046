"""Surveys in the file: a head under the history, and the series that it names; sweeps that arrive one by one."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.errors import UsageError
from fallow.showfile.changing import Change
from fallow.showfile.kinds import SURVEYS
from fallow.showfile.mishaps import told
from fallow.showfile.store import ShowFile
from fallow.showfile.sweeps import (
    EVERYTHING,
    TILE_SWEEPS,
    Section,
    begin_series,
    fold,
    head_of,
    next_sweep,
    read_series,
    store_live,
    store_series,
    time_range,
)
from fallow.showfile.values import SurveyHead
from fallow.spectrum.sweep import Series, Survey

__all__ = ["Extent", "Recorder", "extent_of", "put_survey", "read_survey"]


def put_survey(change: Change, head: SurveyHead, survey: Survey) -> SurveyHead:
    """Store a survey with all its sweeps as a part of a change, behind what ``head`` has. Returns the new head."""
    numbers = tuple(store_series(change.connection, series) for series in survey.series)
    notes = (*head.notes, *(note for note in survey.notes if note not in head.notes))
    stored = replace(head, series=(*head.series, *numbers), notes=notes)
    change.put(SURVEYS, stored)
    return stored


def read_survey(show: ShowFile, head: SurveyHead, section: Section = EVERYTHING) -> Survey:
    """A survey, or a piece of it: series that have nothing in that piece of the spectrum are left out.

    Raises UsageError where none has anything there, InputError where the file is damaged.
    """
    found, missed = [], None
    with show.snapshot():
        for number in head.series:
            try:
                found.append(read_series(show.connection, number, show.path, section))
            except UsageError as error:
                missed = error
    if not found and missed is not None:
        raise missed
    return Survey(tuple(found), head.notes)


@dataclass(frozen=True)
class Extent:
    """How much a survey holds, told without unpacking a sweep. Times in seconds since 1970, ``None`` where unknown."""

    sweeps: int = 0
    points: int = 0
    low_hz: float | None = None
    high_hz: float | None = None
    from_s: float | None = None
    until_s: float | None = None
    zone_known: bool = False


def extent_of(show: ShowFile, head: SurveyHead) -> Extent:
    """What the survey holds. Raises InputError where its series are not in the file."""
    with show.snapshot():
        heads = {number: head_of(show.connection, number, show.path) for number in head.series}
        sweeps = sum(next_sweep(show.connection, number) for number in heads)
        times = [time_s for number in heads for time_s in time_range(show.connection, number)]
    axes = {one.axis for one in heads.values()}
    return Extent(
        sweeps,
        sum(axis.n for axis in axes),
        min((float(axis.centres_hz[0]) for axis in axes), default=None),
        max((float(axis.centres_hz[-1]) for axis in axes), default=None),
        min(times, default=None),
        max(times, default=None),
        all(one.zone_known for one in heads.values()),
    )


class Recorder:
    """Takes the sweeps of one instrument as they arrive: each is safe on the disk when ``append`` returns.

    ``number``: of the series, for the survey's head.
    """

    def __init__(self, show: ShowFile, number: int) -> None:
        self.number = number
        self._show = show
        with told(show.path):
            self._next = next_sweep(show.connection, number)
            live = "SELECT count(*) FROM sweep WHERE series = ?"
            self._live = int(show.connection.execute(live, (number,)).fetchone()[0])

    @staticmethod
    def begin(show: ShowFile, head: SurveyHead, like: Series, why: str = "") -> Recorder:
        """A new series in a survey: axis, unit, bandwidth and so on as ``like``, whose sweeps are not stored."""
        with show.change(why, f"survey {head.name!r} is recorded") as change:
            number = begin_series(change.connection, like)
            before = show.get(SURVEYS, head.name) or head
            change.put(SURVEYS, replace(before, series=(*before.series, number)))
        return Recorder(show, number)

    def append(self, levels_db: NDArray[np.float32], time_s: float = float("nan")) -> None:
        """Store one sweep [dB or dBm], shape (bin,), and its start [s since 1970]. Every 64 of them are folded.

        Raises UsageError where the file is only read, and what ``mishaps.told`` raises; then the sweep is not stored.
        """
        with self._show.sweeping() as connection:
            store_live(connection, self.number, self._next, levels_db, time_s)
            if self._live + 1 >= TILE_SWEEPS:
                fold(connection, self.number, self._show.path)
        self._next += 1
        self._live = 0 if self._live + 1 >= TILE_SWEEPS else self._live + 1
