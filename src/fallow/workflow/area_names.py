"""The areas that a show names anywhere, and whether a new name is one of them in another spelling."""

from __future__ import annotations

from shlex import quote
from typing import Any

from fallow.errors import UsageError
from fallow.files.tables.scene_lists import spelt_alike
from fallow.files.wording import says_nothing
from fallow.showfile.kinds import AREA_PAIRS, FOREIGN, LINKS, STATIONS, SURVEYS, KindOfItem
from fallow.showfile.store import ShowFile

__all__ = ["areas_named", "check_area"]

_IN_AN_AREA: tuple[KindOfItem[Any], ...] = (LINKS, FOREIGN, STATIONS, SURVEYS)


def check_area(area: str, show: ShowFile, before: object | None = None) -> None:
    """Raise UsageError for an area as typed that the show spells otherwise: it would count as another place, without
    the losses, stations and surveys of the one that is meant.

    ``before``: the value that is changed, which may be spelt anew.
    """
    if area and says_nothing(area):
        raise UsageError(f"{area!r} is no area", hint="call it otherwise")
    other = spelt_alike(area, areas_named(show, before)) if area else None
    if other is not None:
        hint = f"write {quote(other)}; to spell it otherwise: fallow show areas {quote(other)} --rename {quote(area)}"
        raise UsageError(f"the show has an area {other!r}: {area!r} would count as another place", hint=hint)


def areas_named(show: ShowFile, before: object | None = None) -> set[str]:
    """The areas that anything in the show names, ``before`` aside."""
    named = {one.area for kind in _IN_AN_AREA for one in show.all(kind) if one != before}
    return named.union(*((pair.area, pair.other) for pair in show.all(AREA_PAIRS))) - {""}
