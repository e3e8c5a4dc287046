"""Surveys of areas: whose files they are, each judged, and their names for people.

``--air AREA=FILE…`` is a survey of an area, ``--air FILE…`` one that holds for all; what is given together for one area
is one survey.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from os import PathLike, fspath
from pathlib import Path

from fallow.errors import UsageError
from fallow.plan.surveys import AreaAir
from fallow.plan.wording import few
from fallow.show.link import Station
from fallow.workflow.survey import Asked, FileRefusal, JudgedAir, Listing, judge_files

__all__ = [
    "AirFiles",
    "AirGiven",
    "JudgedArea",
    "air_files",
    "air_notes",
    "area_airs",
    "check_area",
    "judge_areas",
    "named_airs",
    "refusals_of",
]

FilePath = str | PathLike[str]
AirGiven = JudgedAir | Sequence[JudgedAir] | Mapping[str, JudgedAir | Sequence[JudgedAir]] | None
"""Judged surveys as Python gives them: one or several for all areas, or by area (the empty one: for all)."""


@dataclass(frozen=True)
class AirFiles:
    """The files of one survey, and the area it was taken in; empty: it holds for all."""

    area: str
    paths: tuple[FilePath, ...]


@dataclass(frozen=True, eq=False)
class JudgedArea:
    """A survey judged, its area, and its name for people."""

    area: str
    name: str
    judged: JudgedAir


def air_files(given: Iterable[Sequence[FilePath]], known: Collection[str] | None = None) -> tuple[AirFiles, ...]:
    """The surveys that options ``--air`` name, in their order.

    A word ``AREA=FILE`` begins the survey of an area, unless a file or folder of that whole name is there; the words
    behind it belong to it. ``known``: the areas that there are; ``None``: anything goes. Raises UsageError for an
    area that is not known, and where no file follows.
    """
    found: list[AirFiles] = []
    for words in given:
        together: dict[str, list[FilePath]] = {}
        area = ""
        for word in words:
            named, path = _split(word)
            area = area if named is None else named
            together.setdefault(area, []).extend([path] if fspath(path) else [])
        _check(together, known)
        found += [AirFiles(of, tuple(paths)) for of, paths in together.items()]
    return tuple(found)


def _split(word: FilePath) -> tuple[str | None, FilePath]:
    """The area that a word names, ``None`` where it names none, and the file."""
    text = fspath(word)
    area, equals, path = text.partition("=")
    if not equals or Path(text).exists():
        return None, word
    return area.strip(), path


def _check(together: Mapping[str, Sequence[FilePath]], known: Collection[str] | None) -> None:
    for area, paths in together.items():
        check_area(area, known, "--air")
        if not paths:
            raise UsageError(f"no file follows --air {area}=", hint=f"write --air {area}=FILE")


def check_area(area: str, known: Collection[str] | None, path: FilePath | None) -> None:
    """Raise UsageError for an area that nobody knows: a slip of the pen would silently switch its row off.

    ``path``: the table or option that names it.
    """
    if area and known is not None and area not in known:
        areas = ", ".join(sorted(set(known) - {""})) or "none"
        hint = f"the areas known are: {areas}"
        raise UsageError(f"no link and no row of areas has the area {area!r}", path=path, hint=hint)


def judge_areas(
    files: Sequence[AirFiles],
    asked: Asked,
    region: str | None,
    stations: Sequence[Station],
    progress: Callable[[str, float], None] | None = None,
) -> tuple[JudgedArea, ...]:
    """Each survey judged; stations announced everywhere show whether a survey is deaf."""
    everywhere = [station for station in stations if not station.area]
    asked = replace(asked, stations=None, announced=everywhere)
    judged = [judge_files(one.paths, Listing(region), asked, progress) for one in files]
    return tuple(_named((one.area, _of_files(one), each) for one, each in zip(files, judged, strict=True)))


def named_airs(given: AirGiven, known: Collection[str] | None = None) -> tuple[JudgedArea, ...]:
    """Judged surveys by area. ``known``: the areas that there are. Raises UsageError for another one."""
    by_area = given if isinstance(given, Mapping) else {"": () if given is None else given}
    for area in by_area:
        check_area(area, known, None)
    return tuple(
        _named(
            (area, area or "all areas", one)
            for area, several in by_area.items()
            for one in ([several] if isinstance(several, JudgedAir) else several)
        )
    )


def area_airs(judged: Iterable[JudgedArea]) -> tuple[AreaAir, ...]:
    """Surveys as the plan is asked over them."""
    return tuple(AreaAir(one.judged.air, one.area, one.name) for one in judged)


def air_notes(airs: Sequence[JudgedArea]) -> tuple[str, ...]:
    """What the surveys say of themselves, each with its name where there are several; once what several say."""
    if len(airs) == 1:
        return tuple(f"the air: {note}" for note in airs[0].judged.notes)
    said: dict[str, list[str]] = {}
    for one in airs:
        for note in dict.fromkeys(one.judged.notes):
            said.setdefault(note, []).append(one.name)
    return tuple(f"{_surveys(names, len(airs))}: {note}" for note, names in said.items())


def _surveys(names: Sequence[str], number: int) -> str:
    if len(names) == 1:
        return f"survey {names[0]}"
    return f"all {number} surveys" if len(names) == number else f"surveys {few(names)}"


def refusals_of(airs: Sequence[JudgedArea]) -> tuple[FileRefusal, ...]:
    """The sweep files that could not be read."""
    return tuple(refusal for one in airs for refusal in one.judged.refusals)


def _of_files(files: AirFiles) -> str:
    first, more = Path(files.paths[0]).name or fspath(files.paths[0]), len(files.paths) - 1
    told = first + (f" and {more} more" if more else "")
    return f"{files.area}: {told}" if files.area else told


def _named(airs: Iterable[tuple[str, str, JudgedAir]]) -> Iterator[JudgedArea]:
    """Names that differ: the second of one name gets a number."""
    taken: dict[str, int] = {}
    for area, name, judged in airs:
        taken[name] = taken.get(name, 0) + 1
        yield JudgedArea(area, name if taken[name] == 1 else f"{name} ({taken[name]})", judged)
