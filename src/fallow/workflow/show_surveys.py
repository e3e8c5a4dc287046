"""Surveys of the show: sweep files brought in, and what is there."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from os import fspath
from pathlib import Path

from fallow.errors import UsageError
from fallow.files.readings import FileRefusal, Telling
from fallow.showfile.kinds import NOTES, SURVEYS
from fallow.showfile.store import ShowFile
from fallow.showfile.surveys import Extent, extent_of, put_survey
from fallow.showfile.values import SourceFile, SurveyHead
from fallow.spectrum.sweep import Survey
from fallow.workflow.area_names import check_area
from fallow.workflow.show import Desk, survey_head
from fallow.workflow.survey import FilePath, FileProgress, take_in, take_in_reference

__all__ = ["AddedSweeps", "Adding", "SurveySeen", "add_sweeps", "change_survey", "drop_surveys", "list_surveys"]


@dataclass(frozen=True)
class Adding:
    """How sweep files come into the show. ``name``: of the survey, else that of the first file; a survey of that name
    grows. ``area``: where they were taken. ``again``: although the show has them already.
    """

    name: str | None = None
    area: str | None = None
    is_reference: bool = False
    again: bool = False
    telling: Telling = Telling()


@dataclass(frozen=True)
class SurveySeen:
    """A survey of the show and how much it holds."""

    head: SurveyHead
    extent: Extent


@dataclass(frozen=True)
class AddedSweeps:
    """The survey as it is now, and the files that could not be read."""

    survey: SurveySeen
    refusals: tuple[FileRefusal, ...]


def add_sweeps(
    paths: Sequence[FilePath], adding: Adding, desk: Desk, progress: FileProgress | None = None
) -> AddedSweeps:
    """Bring sweep files into the show as a survey, in one change.

    Raises UsageError where a file is in the show already, and what ``take_in`` raises; then nothing is changed.
    """
    with desk.writing() as show:
        survey, files, refusals = _read(paths, adding, progress)
        survey = _without_folders(survey, files)
        sources = _sources(files)
        if not adding.again:
            _check_new(show, sources)
        head = _head(show, adding, paths, sources)
        with desk.change(show, f"survey {head.name!r}: {_count(survey.n_sweeps, 'sweep')} added") as change:
            stored = put_survey(change, head, survey)
        return AddedSweeps(SurveySeen(stored, extent_of(show, stored)), refusals)


def _read(
    paths: Sequence[FilePath], adding: Adding, progress: FileProgress | None
) -> tuple[Survey, list[Path], tuple[FileRefusal, ...]]:
    """The sweeps, the files that they came from, and those that could not be read."""
    if adding.is_reference:
        reference = take_in_reference(paths, adding.telling)
        return reference, [Path(series.source) for series in reference.series], ()
    taken = take_in(paths, adding.telling, progress=progress)
    used = [Path(reading.path) for reading in taken.readings if reading.series and not reading.is_reference]
    return taken.survey, used, taken.refusals


def _without_folders(survey: Survey, files: Sequence[Path]) -> Survey:
    """The same with files told by their names alone, where these differ: her folders mean nothing to others."""
    names = {str(file): _plain(file.name) for file in files}
    if len(set(names.values())) < len(names):
        return survey
    notes = []
    for note in survey.notes:
        for path, name in names.items():
            note = note.replace(path, name)
        notes.append(note)
    series = tuple(
        replace(one, source=names.get(one.source, one.source), instrument=names.get(one.instrument, one.instrument))
        for one in survey.series
    )
    return Survey(series, tuple(notes))


def list_surveys(desk: Desk) -> tuple[SurveySeen, ...]:
    """The surveys of the show, in the order in which they came."""
    with desk.looking() as show:
        return seen_surveys(show)


def seen_surveys(show: ShowFile) -> tuple[SurveySeen, ...]:
    """The surveys of a show that is open."""
    return tuple(SurveySeen(head, extent_of(show, head)) for head in show.all(SURVEYS))


def change_survey(
    name: str, desk: Desk, *, rename: str | None = None, area: str | None = None, is_reference: bool | None = None
) -> None:
    """Give a survey another name, area (empty: it holds for all) or purpose; ``None``: as it is. Notes about it follow.

    Raises UsageError where it is not there, the name is taken, the show spells the area otherwise, or a reference would
    have one.
    """
    with desk.writing() as show:
        before = survey_head(show, name)
        after = replace(
            before,
            name=before.name if rename is None else rename.strip(),
            area=before.area if area is None else area,
            is_reference=before.is_reference if is_reference is None else is_reference,
        )
        if not after.name:
            raise UsageError("a survey needs a name")
        if after.is_reference and after.area:
            raise UsageError(f"{name!r} has an area, and a reference holds for all", hint="say --area none as well")
        check_area(area or "", show, before)
        told = "changed" if after.name == name else f"renamed: {after.name!r}"
        with desk.change(show, f"survey {name!r} {told}") as change:
            change.rename(SURVEYS, name, after)
            change.put(NOTES, *(replace(note, about=after.name) for note in show.all(NOTES) if note.about == name))


def drop_surveys(names: Sequence[str], desk: Desk) -> None:
    """Take surveys out of the show; undo brings them back. Raises UsageError where one is not there."""
    with desk.writing() as show:
        for name in names:
            survey_head(show, name)
        with desk.change(show, f"surveys taken out: {', '.join(names)}") as change:
            change.drop(SURVEYS, *names)


def _head(show: ShowFile, adding: Adding, paths: Sequence[FilePath], sources: tuple[SourceFile, ...]) -> SurveyHead:
    """The head of the survey: a new one, or the one that grows."""
    name = adding.name or Path(fspath(paths[0])).stem or "survey"
    before = show.get(SURVEYS, name)
    if before is None:
        check_area(adding.area or "", show)
        added = datetime.now(UTC).isoformat(timespec="seconds")
        return SurveyHead(name, (), adding.is_reference, adding.area or "", added, (), sources)
    if adding.area not in (None, before.area) or adding.is_reference != before.is_reference:
        kind = (
            "a reference" if before.is_reference else f"of the area {before.area!r}" if before.area else "of all areas"
        )
        raise UsageError(
            f"the survey {name!r} is {kind}", hint="give the new sweeps a name of their own: --survey NAME"
        )
    return replace(before, sources=(*before.sources, *sources))


def _sources(paths: Sequence[Path]) -> tuple[SourceFile, ...]:
    """Each file once, by its name and the bytes in it; of a member of an archive, the archive."""
    files = dict.fromkeys(file for path in paths if (file := _existing(path)) is not None)
    return tuple(SourceFile(_plain(file.name), _sha256(file)) for file in files)


def _plain(name: str) -> str:
    """A file's name with a question mark for each byte that is no letter."""
    return name.encode("utf-8", "replace").decode("utf-8")


def _existing(path: Path) -> Path | None:
    return next((one for one in (path, *path.parents) if one.is_file()), None)


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _check_new(show: ShowFile, sources: Sequence[SourceFile]) -> None:
    known = {source.sha256: head.name for head in show.all(SURVEYS) for source in head.sources}
    for source in sources:
        if source.sha256 in known:
            what = f"{source.name} is in the survey {known[source.sha256]!r} already, byte for byte"
            raise UsageError(what, hint="to add it nevertheless, say --again")


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"
