"""Bring in sweeps and judge them: files to a survey, a survey to verdicts."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from os import PathLike, fspath
from pathlib import Path

from fallow.errors import FallowError, InputError, QuestionError, UsageError
from fallow.files import read_paths
from fallow.files.copies import same_sweeps
from fallow.files.readings import FileReading, FileRefusal, Telling, as_one
from fallow.files.same_looks import looks_once, looks_shared
from fallow.files.tables import read_chain, read_foreign, read_plan, read_stations
from fallow.files.territories import load_territory
from fallow.files.times import iso_text
from fallow.rules.territory import Territory
from fallow.show.link import Station
from fallow.spectrum.chain import Chain, combined_u_range_db
from fallow.spectrum.field import field_dbuvm
from fallow.spectrum.heard import is_absolute
from fallow.spectrum.instruments.instruments import Instruments
from fallow.spectrum.judging import ANTENNA_NOT_PROVEN, Air, stretch_of
from fallow.spectrum.judging import judge as judge_survey
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.spectrum.verdict import Emitter, JudgedSlice, Judging, Verdict
from fallow.units import Channel, Span
from fallow.workflow.instruments import instruments_named, told_apart
from fallow.workflow.listing import Listing, slices_of, unlisted

__all__ = [
    "Asked",
    "FileReading",
    "FileRefusal",
    "Instruments",
    "JudgedAir",
    "Listing",
    "TakenIn",
    "Telling",
    "announced_channels",
    "as_one",
    "channels_of",
    "check_reference",
    "iso_text",
    "judge",
    "judge_files",
    "open_sweeps",
    "read_sweeps",
    "take_in",
    "telling_from",
]

PREPARING_SHARE = 0.3  # of the time that judging takes
FilePath = str | PathLike[str]
FileProgress = Callable[[str, float], None]


@dataclass(frozen=True, eq=False)
class TakenIn:
    """Files brought in as one survey: the survey, how each file was understood, and which could not be read."""

    survey: Survey
    readings: tuple[FileReading, ...]
    refusals: tuple[FileRefusal, ...] = ()


@dataclass(frozen=True, eq=False)
class JudgedAir:
    """A survey judged: the slices that were asked for, and ``air``, which answers for any other window.

    ``emitters``: what was found on the air (in the span that was asked for, where one was), rising in frequency.
    ``tells_field``: whether levels are to be told as field strengths too. ``unlisted``: what of the data the slices
    leave out, and where there is none although it was asked for.
    """

    air: Air
    slices: tuple[JudgedSlice, ...]
    emitters: tuple[Emitter, ...] = ()
    notes: tuple[str, ...] = ()
    refusals: tuple[FileRefusal, ...] = ()
    tells_field: bool = False
    unlisted: tuple[str, ...] = ()

    @property
    def basis(self) -> str:
        """``absolute`` (dBm at the antenna) or ``relative`` (above the instrument's own floor)."""
        return self.air.basis

    @property
    def u_range_db(self) -> tuple[float, float]:
        """The combined standard uncertainty of the budget, dB: the smallest and the largest over frequency."""
        return combined_u_range_db(self.air.budget)

    def field_dbuvm(self, found: JudgedSlice | Emitter) -> float | None:
        """Field strength in dBµV/m of a slice (in the window that decided) or emitter; ``None`` without a level."""
        middle_hz = (
            found.centre_hz if isinstance(found, Emitter) else (found.at_hz or (found.low_hz + found.high_hz) / 2)
        )
        return None if found.level_dbm is None else field_dbuvm(found.level_dbm, middle_hz)


def read_sweeps(
    paths: Sequence[FilePath], telling: Telling | None = None, progress: FileProgress | None = None
) -> tuple[FileReading | FileRefusal, ...]:
    """How each file (of folders too) is understood; refusals and open questions are values here, not errors."""
    telling = telling or Telling()
    found = read_paths([fspath(path) for path in paths], telling, progress)
    return tuple(one if isinstance(one, FileRefusal) else instruments_named(one, telling.instruments) for one in found)


def open_sweeps(*paths: FilePath, telling: Telling | None = None) -> Survey:
    """Read files or folders as one survey. A reference among several files is left out with a note; alone it is taken.

    Raises InputError for a file that can't be read, QuestionError where a file leaves something open.
    """
    found = read_sweeps(paths, telling)
    for reading in found:
        if isinstance(reading, FileRefusal):
            raise reading.error
    _raise_questions(found)
    readings = [one for one in found if isinstance(one, FileReading) and one.series and not one.copy_of]
    if readings and all(reading.is_reference for reading in readings):
        return _survey_of(readings)
    return _sorted_out(paths, found, ()).survey


def take_in(
    paths: Sequence[FilePath],
    telling: Telling | None = None,
    *,
    besides: Sequence[FilePath] = (),
    progress: FileProgress | None = None,
) -> TakenIn:
    """Files to one survey of the air, without those in ``besides`` (the reference) and what seems to be one.

    Raises QuestionError where a file leaves something open or only references are left, InputError when nothing can be
    read.
    """
    return _sorted_out(paths, read_sweeps(paths, telling, progress), besides)


def _sorted_out(
    paths: Sequence[FilePath], found: Sequence[FileReading | FileRefusal], besides: Sequence[FilePath]
) -> TakenIn:
    """The sweeps of the air among what was read, as one survey."""
    _raise_questions(found)
    refusals = tuple(reading for reading in found if isinstance(reading, FileRefusal))
    used = {Path(path).resolve() for path in besides}
    copies = [one for one in found if isinstance(one, FileReading) and one.copy_of]
    originals = (one for one in found if isinstance(one, FileReading) and not one.copy_of)
    once = {Path(one.path).resolve(): one for one in originals}  # named twice, counted once
    readings = [reading for path, reading in once.items() if used.isdisjoint((path, *path.parents))]
    of_air = [reading for reading in readings if reading.series and not reading.is_reference]
    left_out = [reading for reading in readings if reading.series and reading.is_reference]
    if not of_air and not left_out and not refusals and len(readings) < len(once):
        raise UsageError(
            f"{_few([fspath(path) for path in paths])} is given as the reference too, so no sweep of the air is left",
            hint="give the sweeps of the air, and apart from them the reference, a load in place of the antenna",
        )
    if not of_air:
        raise _nothing_to_judge(paths, refusals, left_out)
    survey = _survey_of(of_air)
    notes = [
        f"{reading.path} seems to be a reference (a load in place of the antenna), so it was not taken for the air; "
        f"give it as --reference to use it"
        for reading in left_out
    ]
    notes += _copied(copies)
    notes += [f"not read: {refusal.error}" for refusal in refusals]
    return TakenIn(Survey(survey.series, (*survey.notes, *notes)), tuple(readings), refusals)


def take_in_reference(paths: Sequence[FilePath], telling: Telling | None = None) -> Survey:
    """Files to one survey of the instrument itself. Raises InputError or QuestionError as ``take_in`` does."""
    found = read_sweeps(paths, telling)
    _raise_questions(found)
    for reading in found:
        if isinstance(reading, FileRefusal):
            raise reading.error
    series = [one for one in found if isinstance(one, FileReading) and one.series and not one.copy_of]
    if not series:
        raise InputError("no reference sweep was found there", path=fspath(paths[0]))
    return _survey_of(series)


def check_reference(sweeps: Survey, reference: Survey | None) -> tuple[str, ...]:
    """Notes on a reference some of whose sweeps count as the air too. Raises UsageError where a series of it is one of
    the air, or where no sweep of it is anything else: it would explain away all that is on the air.
    """
    shared: list[str] = []
    for own in () if reference is None else reference.series:
        for air in sweeps.series:
            count = own.n_sweeps if same_sweeps(own, air) else looks_shared(own, air)
            if count == own.n_sweeps:
                raise _of_the_air(own, air)
            if count:
                shared.append(
                    f"{count} of {own.n_sweeps} sweeps of the reference {own.source} are sweeps of the air"
                    f"{_named(air)} too: what they show counts as the instrument's own"
                )
    return tuple(shared)


def _of_the_air(own: Series, air: Series) -> UsageError:
    return UsageError(
        f"the reference{_named(own)} holds the same sweeps as the air{_named(air)}, to the last digit that both tell: "
        "all that is on the air would count as the instrument's own",
        hint="a reference is swept with a load in place of the antenna; give the sweeps of the air apart",
    )


def _named(series: Series) -> str:
    return f" {series.source}" if series.source else ""


def judge(
    sweeps: Survey,
    *,
    region: str | None = None,
    span: Span | None = None,
    width_hz: int | None = None,
    limit_dbm: float | None = None,
    limit_above_floor_db: float | None = None,
    link_width_hz: int = 200_000,
    confidence_pct: float = 95.0,
    reference: Survey | None = None,
    chain: Chain | None = None,
    own: Sequence[Span] = (),
    stations: Sequence[Station] = (),
    progress: Callable[[float], None] | None = None,
) -> JudgedAir:
    """What is on the air: a verdict per TV channel of ``region``, or per window of ``width_hz`` side by side.

    ``own``: spans in which our own carriers were on. ``stations``: TV channels announced as on the air. Levels in dBm,
    widths in hertz. Raises UsageError for a limit that does not fit the survey, an unknown region or channel, and where
    windows are too many to be judged.
    """
    judging = Judging(limit_dbm, limit_above_floor_db, link_width_hz, confidence_pct)
    return judge_with(
        sweeps,
        judging,
        Listing(region, span, width_hz),
        reference=reference,
        chain=chain,
        own=own,
        stations=stations,
        progress=progress,
    )


def judge_with(
    sweeps: Survey,
    judging: Judging,
    listing: Listing,
    *,
    reference: Survey | None = None,
    chain: Chain | None = None,
    own: Sequence[Span] = (),
    stations: Sequence[Station] = (),
    known: Sequence[Channel] = (),
    progress: Callable[[float], None] | None = None,
) -> JudgedAir:
    """As ``judge``, with the options bundled. ``known``: emitters that are on the air there."""
    shared = check_reference(sweeps, reference)
    territory = None if listing.region is None else load_territory(listing.region)
    air = judge_survey(
        sweeps,
        judging,
        raster=() if territory is None else territory.channels,
        reference=reference,
        chain=chain,
        own=own,
        announced=announced_channels(stations, territory),
        known=known,
        progress=stretch_of(progress, 0.0, PREPARING_SHARE),
    )
    slices = slices_of(air, territory, listing)
    span = listing.span
    emitters = tuple(one for one in air.emitters if span is None or span.touches(one.low_hz, one.high_hz))
    judged = air.judge_slices(slices, stretch_of(progress, PREPARING_SHARE, 1.0))
    notes = (*sweeps.notes, *shared, *_on_scale(sweeps, chain), *_still_true(air.notes, judged))
    return JudgedAir(air, judged, emitters, notes, unlisted=unlisted(air, slices, listing))


@dataclass(frozen=True)
class Asked:
    """Files that say how a survey is to be judged, as the command line names them.

    ``known``: carriers known to be on the air there; with ``area``, those of that area and those heard everywhere.
    """

    judging: Judging = Judging()
    telling: Telling = Telling()
    reference: Sequence[FilePath] = ()
    chain: FilePath | None = None
    own: FilePath | None = None
    stations: FilePath | None = None
    known: FilePath | None = None
    area: str = ""
    announced: Sequence[Station] = ()
    field: bool = False


def judge_files(
    paths: Sequence[FilePath], listing: Listing, asked: Asked, progress: FileProgress | None = None
) -> JudgedAir:
    """Sweep files to verdicts, with the reference, chain, own carriers and announced stations from their files.

    Raises what ``take_in`` and ``judge`` raise, and UsageError where field strengths are asked for and can't be told.
    """
    chain = None if asked.chain is None else read_chain(asked.chain)
    own = () if asked.own is None else own_spans(asked.own, asked.judging.link_width_hz)
    taken = take_in(paths, asked.telling, besides=asked.reference, progress=progress)
    if asked.field:
        _check_field(taken.survey, chain)
    judged = judge_with(
        taken.survey,
        asked.judging,
        listing,
        reference=take_in_reference(asked.reference, asked.telling) if asked.reference else None,
        chain=chain,
        own=own,
        stations=(*asked.announced, *(() if asked.stations is None else read_stations(asked.stations))),
        known=() if asked.known is None else known_emitters(asked.known, asked.area),
        progress=None if progress is None else lambda share: progress("judging", share),
    )
    if asked.own is not None and not own:
        nothing = f"{fspath(asked.own)} names no frequency: nothing counts as our own"
        judged = replace(judged, notes=(*judged.notes, nothing))
    return replace(judged, refusals=taken.refusals, tells_field=asked.field)


def _still_true(notes: Sequence[str], judged: Sequence[JudgedSlice]) -> tuple[str, ...]:
    """The notes, without that on the antenna where something stands out in a slice (what is only announced does not),
    or where none is clean anyway, because deafness shows.
    """
    clean, deaf = any(part.verdict is Verdict.CLEAN for part in judged), any(part.deaf for part in judged)
    moot = any(part.stands_out for part in judged) or (deaf and not clean)
    return tuple(note for note in notes if not (moot and note == ANTENNA_NOT_PROVEN))


def _on_scale(survey: Survey, chain: Chain | None) -> tuple[str, ...]:
    """That a chain makes levels absolute that were not."""
    relative = any(series.unit is not LevelUnit.DBM for series in survey.series)
    states = chain is not None and chain.states_scale and relative
    return ("the chain states the instrument's scale, so the levels count as dBm",) if states else ()


def _check_field(survey: Survey, chain: Chain | None) -> None:
    """Refuse what would need the gain of the antenna, or an absolute scale, and has none."""
    if chain is None or not chain.states_antenna_gain:
        raise UsageError(
            "a field strength needs the gain of the antenna",
            hint="give a --chain with a row of kind antenna and its gain_db in dBi",
        )
    if not is_absolute(survey, chain):
        raise UsageError(
            "relative levels can't be told as field strengths",
            hint="add a row of kind instrument to the chain, which states the scale",
        )


def announced_channels(stations: Sequence[Station], territory: Territory | None) -> tuple[Channel, ...]:
    """The raster channels that ``stations`` name.

    Raises UsageError without a region, or for a channel that its raster does not have.
    """
    if not stations:
        return ()
    if territory is None:
        raise UsageError(
            "announced TV channels mean nothing without a region", hint="add --region, for example --region de"
        )
    by_name = {channel.name: channel for channel in territory.channels}
    for station in stations:
        if station.channel not in by_name:
            raise UsageError(
                f"the raster of {territory.name} has no TV channel {station.channel!r}",
                hint=f"it has {_first_and_last(territory.channels)}",
            )
    return tuple(by_name[station.channel] for station in stations)


def channels_of(judged: JudgedAir) -> tuple[Channel, ...]:
    """The slices that were judged, as named spans."""
    return tuple(Channel(part.name, part.low_hz, part.high_hz) for part in judged.slices)


def known_emitters(table: FilePath, area: str = "") -> tuple[Channel, ...]:
    """Carriers of a table as named spans: those of an area and those heard everywhere; all of them without an area."""
    carriers = [one for one in read_foreign(table) if not area or one.area in ("", area)]
    return tuple(
        Channel(one.name, one.frequency_hz - half_hz, one.frequency_hz + half_hz)
        for one in carriers
        for half_hz in (max(1, one.bandwidth_hz // 2),)
    )


def own_spans(plan: FilePath, width_hz: int) -> tuple[Span, ...]:
    """Where our own carriers stood, by a plan file: each frequency with the width of a link around it, in hertz."""
    half_hz = math.ceil(width_hz / 2)
    return tuple(Span(f - half_hz, f + half_hz) for row in read_plan(plan) if (f := row.frequency_hz) is not None)


def telling_from(
    unit: str | None,
    level_unit: str | None,
    decimal: str | None,
    delimiter: str | None,
    rbw_hz: float | None,
    detector: str | None,
    zone: str | None,
    recording: tuple[str | None, float | None, int | None] = (None, None, None),
    instruments: str | None = None,
) -> Telling:
    """The telling options as typed words. ``recording``: type of samples, rate and centre in hertz."""
    kind = None if detector is None else Detector(detector)
    return Telling(unit, level_unit, decimal, delimiter, rbw_hz, kind, zone, *recording, instruments)


def _survey_of(readings: Sequence[FileReading]) -> Survey:
    """One survey of several files. A note that several files share is said once."""
    readings, once = looks_once(readings)
    readings, apart = told_apart(readings)
    said: dict[str, list[str]] = {}
    for reading in readings:
        for note in reading.notes:
            said.setdefault(note, []).append(reading.path)
    notes = tuple(f"{_few(paths)}: {note}" for note, paths in said.items())
    return Survey(tuple(series for reading in readings for series in reading.series), (*notes, *once, *apart))


def _copied(copies: Sequence[FileReading]) -> list[str]:
    """Which files hold the very same sweeps as others, so that they count once."""
    by_original: dict[str, list[str]] = {}
    for copy in copies:
        by_original.setdefault(copy.copy_of, []).append(copy.path)
    return [
        f"{_few(paths)}: the same sweeps as in {original}, to the last digit: they count once"
        for original, paths in by_original.items()
    ]


def _few(paths: Sequence[str]) -> str:
    more = len(paths) - 1
    return paths[0] if not more else f"{paths[0]} and {more} more file{'' if more == 1 else 's'}"


def _raise_questions(found: Sequence[FileReading | FileRefusal]) -> None:
    for reading in found:
        if isinstance(reading, FileReading) and reading.needs:
            raise QuestionError(
                reading.needs[0], path=reading.path, hint=f"`fallow read {reading.path}` shows the readings"
            )


def _nothing_to_judge(
    paths: Sequence[FilePath], refusals: Sequence[FileRefusal], references: Sequence[FileReading]
) -> FallowError:
    if references:
        return QuestionError(
            "this seems to be a reference (a load in place of the antenna), and no sweep of the air is left",
            path=references[0].path,
            hint="give the sweeps of the air, and this file as --reference; if it is of the air, rename it",
        )
    if refusals:
        return as_one(refusals)
    return InputError("no sweep was found there", path=fspath(paths[0]) if paths else None)


def _first_and_last(channels: Sequence[Channel]) -> str:
    return f"{channels[0].name} to {channels[-1].name}" if channels else "none"
