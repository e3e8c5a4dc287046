"""A library beside the shows: its folder, and the sites in it with their air and law.

A folder: ``sites/NAME.fallow`` (show files without links and plans), ``equipment.csv``, ``stock.csv`` and ``out.csv``.
What the last two are for is in ``lending``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fallow.errors import InputError, OutputError, QuestionError, UsageError
from fallow.showfile.carrying import Carried, carry, to_carry
from fallow.showfile.kinds import AREA_PAIRS, CHAIN, FOREIGN, NOTES, SETTINGS, STATIONS, SURVEYS
from fallow.showfile.store import ShowFile
from fallow.showfile.values import Note, Setting
from fallow.workflow.show import IN_FORCE, SUFFIX, Desk, FilePath, settings_of
from fallow.workflow.site_differences import Replaced, replaced_by

__all__ = ["Brought", "Library", "SiteSeen", "list_sites", "open_library", "save_site", "site_file", "use_site"]

_OF_A_SITE = (SETTINGS, AREA_PAIRS, FOREIGN, STATIONS, CHAIN, SURVEYS, NOTES)
_SITE, _MOST_TOLD = "site", 12
_OF_A_SHOW = {"name", "on", IN_FORCE}  # settings that a site has no part in
_NAME = re.compile(r"[^\\/:*?\"<>|\x00-\x1f.][^\\/:*?\"<>|\x00-\x1f]{0,99}")


@dataclass(frozen=True)
class Library:
    """A folder of sites and stock."""

    folder: Path

    def site(self, name: str) -> Path:
        """The file of a site. Raises UsageError for a name that no file can have."""
        if not _NAME.fullmatch(name):
            raise UsageError(f"{name!r} is no name for a site", hint="leave out signs that file names can't have")
        return self.folder / "sites" / f"{name}{SUFFIX}"

    @property
    def sites(self) -> tuple[str, ...]:
        """The names of all sites, sorted."""
        return tuple(sorted(one.stem for one in (self.folder / "sites").glob(f"*{SUFFIX}") if one.is_file()))

    @property
    def stock(self) -> Path:
        """The table of what there is."""
        return self.folder / "stock.csv"

    @property
    def out(self) -> Path:
        """The table of what is out."""
        return self.folder / "out.csv"


@dataclass(frozen=True)
class SiteSeen:
    """A site: its settings, and how much of what it holds, by the word for it."""

    name: str
    settings: Mapping[str, Any]
    counts: Mapping[str, int]


@dataclass(frozen=True)
class Brought:
    """What was brought. ``counts``: what is new there, by kind. ``replaced``: figures that took another one's place;
    ``kept``: those that stayed as they were although they differ.
    """

    counts: Mapping[str, int]
    replaced: tuple[Replaced, ...] = ()
    kept: tuple[Replaced, ...] = ()


def open_library(folder: FilePath) -> Library:
    """The library in a folder. Raises InputError where there is none."""
    folder = Path(folder)
    if not folder.is_dir():
        raise InputError("there is no such folder", path=folder, hint="a library is a folder: make it first")
    return Library(folder)


def list_sites(library: Library) -> tuple[SiteSeen, ...]:
    """Every site of the library."""
    return tuple(_seen(name, library) for name in library.sites)


def _seen(name: str, library: Library) -> SiteSeen:
    with ShowFile.open(site_file(name, library)) as site:
        counts = {kind.word: site.count(kind) for kind in _OF_A_SITE if kind is not SETTINGS}
        return SiteSeen(name, settings_of(site), counts)


def site_file(name: str, library: Library) -> Path:
    """The file of a site. Raises UsageError where the library has none of that name."""
    path = library.site(name)
    if not path.is_file():
        hint = f"the sites are: {', '.join(library.sites) or 'none'}; `fallow show site save NAME` makes one"
        raise UsageError(f"the library has no site {name!r}", path=library.folder, hint=hint)
    return path


def save_site(name: str, library: Library, desk: Desk, *, replace: bool | None = None) -> Brought:
    """Put what a show knows of its site into the library: law, areas, stations, strangers, chain, surveys, notes.

    A site that is there already is brought up to date, with its history. ``replace``: whether what the library has
    otherwise is replaced; ``None``: it is asked. Raises QuestionError then, OutputError where it can't be written.
    """
    path = library.site(name)
    is_new = not path.exists()
    with ExitStack() as until_saved, desk.looking() as show:
        _make_folder(path.parent, until_saved)
        with _writing(path, desk, is_new=is_new) as site:
            if is_new:
                until_saved.callback(path.unlink, missing_ok=True)
            with show.snapshot():
                chosen = _chosen(_Two(show, site, "the library"), _is_of_any_site, replace)
                with desk.change(site, f"from {show.path.name}") as change:
                    carry(show, change, chosen.carried)
                    change.put(SETTINGS, Setting(_SITE, name))
        until_saved.pop_all()
    return chosen.brought


def _make_folder(folder: Path, until_saved: ExitStack) -> None:
    """Make the folder of sites; it goes again where nothing is saved."""
    if folder.is_dir():
        return
    try:
        folder.mkdir()
    except OSError as error:
        raise OutputError("the folder of sites can't be made", path=folder) from error
    until_saved.callback(folder.rmdir)


def _writing(path: Path, desk: Desk, *, is_new: bool) -> ShowFile:
    return ShowFile.create(path, desk.who) if is_new else ShowFile.open(path, write=True, who=desk.who, wait_s=2.0)


def use_site(name: str, library: Library, desk: Desk, *, replace: bool | None = None) -> Brought:
    """Bring a site of the library into the show, as one change.

    ``replace``: whether what the show has otherwise is replaced; ``None``: it is asked. Raises QuestionError then.
    """
    what = f"site {name!r} from the library"
    with ShowFile.open(site_file(name, library)) as site, desk.writing() as show, site.snapshot():
        chosen = _chosen(_Two(site, show, "the show"), _is_of_the_site, replace)
        with desk.change(show, what) as change:
            carry(site, change, chosen.carried)
    return chosen.brought


@dataclass(frozen=True)
class _Two:
    """Where it is brought from, and to; ``place``: what the latter is."""

    source: ShowFile
    to: ShowFile
    place: str


@dataclass(frozen=True)
class _Chosen:
    carried: Sequence[Carried]
    brought: Brought


def _chosen(two: _Two, wanted: Callable[[Any], bool], replace: bool | None) -> _Chosen:
    """What is to be brought. Raises QuestionError where the other file has something otherwise and nothing is said."""
    found = to_carry(two.source, two.to, _OF_A_SITE, wanted)
    differing = tuple(each for one in found for each in replaced_by(one))
    if differing and replace is None:
        raise _question(differing, two)
    new = [one for one in found if one.there is None]
    counts = {kind.name: sum(one.kind is kind for one in new) for kind in _OF_A_SITE}
    brought = Brought(counts, differing if replace else (), () if replace else differing)
    return _Chosen(found if replace else new, brought)


def _question(differing: Sequence[Replaced], two: _Two) -> QuestionError:
    count = len({(each.kind, each.name) for each in differing})
    more = [f"and {len(differing) - _MOST_TOLD} more"] if len(differing) > _MOST_TOLD else []
    return QuestionError(
        f"{two.place} has {count} thing{'' if count == 1 else 's'} otherwise; nothing was brought",
        readings=(*map(str, differing[:_MOST_TOLD]), *more),
        path=two.source.path,
        hint=f"--replace: in place of what {two.place} has; --keep: only what {two.place} lacks",
    )


def _is_of_the_site(value: Any) -> bool:
    """Whether a value says something of the place, not of the production; a note about one link does not."""
    if isinstance(value, Setting):
        return value.name not in _OF_A_SHOW
    return not (isinstance(value, Note) and value.about)


def _is_of_any_site(value: Any) -> bool:
    """The same, but for the name of the site: what is saved has its own."""
    return _is_of_the_site(value) and not (isinstance(value, Setting) and value.name == _SITE)
