"""What reading a file gives: how it was understood, the sweeps in it, and what is odd, missing or left open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fallow.errors import FallowError, InputError, UsageError
from fallow.spectrum.sweep import Detector, Series

__all__ = ["FileReading", "FileRefusal", "NotASweepError", "Telling", "as_one"]


@dataclass(frozen=True)
class Telling:
    """What the user says about files; it beats whatever fallow would conclude.

    ``unit``: of the frequencies, Hz, kHz, MHz or GHz. ``level_unit``: dBm, dB, dBuV or linear. ``decimal``: ``,`` or
    ``.``. ``delimiter``: one character, or ``tab``. ``zone``: an IANA name or an offset such as ``+02:00``.
    Of recordings: ``samples``, their type (u8, i16, f32, c64 ..., ``-be`` behind it for big endian), ``rate_hz``,
    samples per second, and ``centre_hz``, the frequency that the receiver was tuned to.
    ``instruments``: files or folders, where each was taken by an instrument of its own, or one for all.
    """

    unit: str | None = None
    level_unit: str | None = None
    decimal: str | None = None
    delimiter: str | None = None
    rbw_hz: float | None = None
    detector: Detector | None = None
    zone: str | None = None
    samples: str | None = None
    rate_hz: float | None = None
    centre_hz: int | None = None
    instruments: str | None = None

    def __post_init__(self) -> None:
        """Raises UsageError for what can't be meant."""
        _one_of("a unit of frequency", self.unit, ("Hz", "kHz", "MHz", "GHz"))
        _one_of("a unit of levels", self.level_unit, ("dBm", "dB", "dBuV", "dBµV", "linear"))
        _one_of("a way to tell instruments apart", self.instruments, ("files", "folders", "one"))
        _one_of("a decimal mark", self.decimal, (",", ".", "٫"))
        if self.delimiter is not None and len(self.delimiter) != 1 and self.delimiter not in ("tab", "space"):
            raise UsageError(f"{self.delimiter!r} is no delimiter", hint="give one character, or tab")
        if self.rbw_hz is not None and not 0 < self.rbw_hz < 1e9:
            raise UsageError(
                f"a resolution bandwidth of {self.rbw_hz:g} Hz can't be", hint="give it in hertz, for example 3000"
            )


def _one_of(what: str, value: str | None, known: tuple[str, ...]) -> None:
    if value is not None and value.lower() not in {name.lower() for name in known}:
        raise UsageError(f"{value!r} is not {what}", hint=f"give one of {', '.join(known)}")


@dataclass(frozen=True)
class FileReading:
    """One file as it was understood.

    ``level_unit`` is what the file's levels were taken for: dBm, dB, dBuV or linear; the series hold dBm or dB.
    ``needs``: questions without whose answer the file is not judged; ``series`` may then be empty.
    ``stated_span_hz``: lower and upper edge where the file states cells with edges rather than points.
    ``size_bytes``: how long the file is. ``copy_of``: the path of an earlier one that holds the very same sweeps.
    """

    path: str
    layout: str
    encoding: str | None
    delimiter: str | None
    decimal: str | None
    level_unit: str
    series: tuple[Series, ...]
    is_reference: bool
    start: str | None
    start_local: str | None
    notes: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    stated_span_hz: tuple[int, int] | None = None
    size_bytes: int = 0
    copy_of: str = ""

    @property
    def sweeps(self) -> int:
        """Passes over the air; traces of the same pass count once."""
        per_trace: dict[str, int] = {}
        for series in self.series:
            per_trace[series.trace] = per_trace.get(series.trace, 0) + series.n_sweeps
        return max(per_trace.values(), default=0)

    @property
    def points(self) -> int:
        """Bins of all the different axes together."""
        return sum(axis.n for axis in {series.axis for series in self.series})

    @property
    def low_hz(self) -> int | None:
        """Lowest frequency in hertz: the lower edge where the file states edges, else the centre of the first bin."""
        if self.stated_span_hz is not None:
            return self.stated_span_hz[0]
        return min((round(float(series.axis.centres_hz[0])) for series in self.series), default=None)

    @property
    def high_hz(self) -> int | None:
        """Highest frequency in hertz: the upper edge where the file states edges, else the centre of the last bin."""
        if self.stated_span_hz is not None:
            return self.stated_span_hz[1]
        return max((round(float(series.axis.centres_hz[-1])) for series in self.series), default=None)

    @property
    def rbw_hz(self) -> float | None:
        """Resolution bandwidth in hertz where all series agree on one."""
        stated = {series.rbw_hz for series in self.series}
        return stated.pop() if len(stated) == 1 else None

    @property
    def detector(self) -> Detector | None:
        """Detector where all series agree on one."""
        stated = {series.detector for series in self.series}
        return stated.pop() if len(stated) == 1 else None

    @property
    def instrument(self) -> str | None:
        """The instrument where all series agree on one."""
        named = {series.instrument for series in self.series}
        return (named.pop() or None) if len(named) == 1 else None


@dataclass(frozen=True)
class FileRefusal:
    """A file or folder that was named and could not be read, with the reason."""

    path: str
    error: FallowError


def as_one(refusals: Sequence[FileRefusal]) -> FallowError:
    """One error for several files that could not be read: the first one's, which says how many more there are."""
    first, more = refusals[0].error, len(refusals) - 1
    if not more:
        return first
    what = f"{first.what} (and {more} more file{'' if more == 1 else 's'} could not be read)"
    return InputError(what, path=first.path, line=first.line, column=first.column, hint=first.hint)


class NotASweepError(InputError):
    """The file is no sweep at all, rather than a broken one: a picture, a program, prose."""
