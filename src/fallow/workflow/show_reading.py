"""Tables of others: how one is understood, before anything is written; and what is in it, brought into the show."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fallow.errors import UsageError
from fallow.files.tables.anybodys import ColumnRead, Doubt, TableRead, TableTelling, read_by_evidence
from fallow.showfile.images import Image, image_of
from fallow.showfile.kinds import AREA_PAIRS, EQUIPMENT, FOREIGN, LINKS, STATIONS, KindOfItem
from fallow.showfile.store import ShowFile
from fallow.showfile.values import AreaPair
from fallow.workflow.area_names import areas_named
from fallow.workflow.show import Desk, FilePath, wanted_of
from fallow.workflow.show_around import raster_of
from fallow.workflow.show_tables import Added, NamedPlan, store_values, what_is_missing

__all__ = ["AddedTable", "ColumnRead", "Doubt", "Preview", "TableTelling", "add_table", "preview_table"]

FIRST = 5  # values that a preview shows
_KINDS: Mapping[str, KindOfItem[Any]] = {
    "links": LINKS,
    "equipment": EQUIPMENT,
    "foreign": FOREIGN,
    "areas": AREA_PAIRS,
    "stations": STATIONS,
}


@dataclass(frozen=True, eq=False)
class Preview:
    """A table as it was understood. ``first``: images of the first values, by their lines."""

    read: TableRead
    first: tuple[tuple[int, Image], ...]
    notes: tuple[str, ...]

    @property
    def rows(self) -> int:
        """How many rows give a value."""
        return len(self.read.values)


@dataclass(frozen=True, eq=False)
class AddedTable:
    """What a table did to the show, and how it was understood."""

    preview: Preview
    added: tuple[Added, ...]


def preview_table(path: FilePath, kind: str, telling: TableTelling, desk: Desk) -> Preview:
    """How a table is understood; nothing is changed. Names of the show help, where there is one. Raises as
    ``read_by_evidence`` does.
    """
    with desk.looking() as show:
        return _preview(show, path, kind, telling)


def add_table(
    path: FilePath,
    kind: str,
    telling: TableTelling,
    desk: Desk,
    *,
    plan_name: str | None = None,
    replace_all: bool = False,
) -> AddedTable:
    """Bring a table into the show in one change. Raises UsageError where no row can be taken, then nothing is changed,
    and as ``read_by_evidence`` does.
    """
    with desk.writing() as show:
        found = _preview(show, path, kind, telling)
        if not found.read.values:
            hint = "--preview shows how it was understood"
            raise UsageError("no row of the table can be taken, so nothing was changed", path=path, hint=hint)
        if kind == "plan":
            plan = NamedPlan(plan_name or Path(path).stem, found.read.values, Path(path).name)
            return AddedTable(found, store_values(show, (), plan, desk))
        values = [_kept(value) for value in found.read.values]
        added = store_values(show, [(_KINDS[kind], values)], None, desk, replace_all=replace_all)
        missing = what_is_missing(show)
        return AddedTable(replace(found, notes=tuple(dict.fromkeys((*found.notes, *missing)))), added)


def _preview(show: ShowFile, path: FilePath, kind: str, telling: TableTelling) -> Preview:
    wanted = wanted_of(show)
    known: dict[str, tuple[str, ...]] = {
        "equipment": () if kind == "equipment" else tuple(wanted.equipment),
        "area": tuple(sorted(areas_named(show))),
        "group": tuple(sorted({*wanted.groupings.names, *(name for link in wanted.links for name in link.groups)})),
        "scenes": tuple(dict.fromkeys(scene for link in wanted.links for scene in sorted(link.scenes))),
        "link": () if kind == "links" else tuple(link.name for link in wanted.links),
    }
    raster = raster_of(show)
    if raster is not None:
        known["channel"] = raster
    rest = {
        link.name: {"equipment": link.equipment, "area": link.area, "scenes": ";".join(sorted(link.scenes))}
        for link in wanted.links
    }
    read = read_by_evidence(path, kind, replace(telling, known=known, rest=rest))
    first = tuple((line, _image(one)) for line, one in zip(read.lines[:FIRST], read.values[:FIRST], strict=True))
    return Preview(read, first, (*read.notes, *_unknown_equipment(read, known["equipment"])))


def _kept(value: Any) -> Any:
    """A value as the show keeps it: of two areas and a loss, a pair with its areas in order."""
    if not isinstance(value, tuple):
        return value
    area, other, loss_db = value
    return AreaPair(min(area, other), max(area, other), loss_db)


def _image(value: Any) -> Image:
    image: Image = image_of(_kept(value))
    return image


def _unknown_equipment(read: TableRead, known: tuple[str, ...]) -> list[str]:
    """Types of radio that the show does not have, with the nearest that it has."""
    if read.kind not in ("links", "plan") or not known:
        return []
    counts = Counter(one.equipment for one in read.values if one.equipment not in known)
    notes = []
    for name, count in counts.items():
        near = difflib.get_close_matches(name, known, 1, cutoff=0.5)
        rows = f"{count} row{'' if count == 1 else 's'}"
        more = f"; the nearest is {near[0]!r}" if near else ""
        notes.append(f"the equipment {name!r} of {rows} is not in the show{more}")
    return notes
