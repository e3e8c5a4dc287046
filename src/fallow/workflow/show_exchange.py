"""The show for other programs and places: export and import, the copy for the stick, whether it is whole, rescue."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from fallow.errors import InputError, OutputError, UsageError
from fallow.files.sums import SUMS, SumsCompared, compare_sums, write_sums
from fallow.files.sweep_parquet import SweepFile, write_sweeps
from fallow.files.tables import write_plan
from fallow.files.tables.foreign_table import write_foreign
from fallow.files.tables.writing import (
    write_areas,
    write_chain,
    write_equipment,
    write_groups,
    write_links,
    write_stations,
)
from fallow.show.grouping import Groupings
from fallow.showfile.checking import Checked, check
from fallow.showfile.copying import copy_show
from fallow.showfile.exchange import Document, document_of, restore
from fallow.showfile.kinds import APART, CHAIN, PLANS, TOGETHER
from fallow.showfile.mishaps import told
from fallow.showfile.opening import close_writing, connect_writing
from fallow.showfile.outside import put_right
from fallow.showfile.rescue import Rescued, rescue
from fallow.showfile.store import ShowFile, usual_name
from fallow.showfile.sweeps import begin_series, blocks, head_of, store_fold
from fallow.showfile.unfinished import discard, unfinished
from fallow.showfile.writer import Writer, left_behind, release
from fallow.workflow.show import SUFFIX, Desk, FilePath, find_show, rows_of_plan, wanted_of
from fallow.workflow.show_merge import loose_ends

__all__ = [
    "Checked",
    "Exported",
    "Imported",
    "Rescued",
    "check_show",
    "copy_to",
    "export_show",
    "free_show",
    "import_show",
    "rescue_show",
]

DOCUMENT = "show.json"
SERIES = "series-{}.parquet"
_MOST_NAMED = 3
Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Imported:
    """The new show file; ``notes``: what was not as it had been exported, and what was put right therefore."""

    path: Path
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Exported:
    """Where the show went, and the files that were written."""

    folder: Path
    files: tuple[Path, ...]


def export_show(folder: FilePath, desk: Desk, progress: Progress | None = None) -> Exported:
    """Write the show into a new folder: ``show.json``, its tables as CSV, its sweeps as Parquet, and ``SHA256SUMS``.

    Raises OutputError where the folder is there already or can't be written; then nothing is left behind.
    """
    folder = Path(folder)
    if folder.exists():
        raise OutputError(
            "there is something of this name already", path=folder, hint="name a folder that is not there"
        )
    part = unfinished(folder)
    try:
        with desk.looking() as show, show.snapshot():
            _write_export(part, show, progress)
        part.rename(folder)
    except OutputError as error:  # its path is that of a file which is gone
        raise OutputError(error.what, path=folder, hint=error.hint) from error
    except OSError as error:
        reason = (os.strerror(error.errno) if error.errno else "unknown reason").lower()
        raise OutputError(f"the show can't be exported ({reason}), and nothing was changed", path=folder) from error
    finally:
        discard(part)
    return Exported(folder, tuple(sorted(one for one in folder.rglob("*") if one.is_file())))


def _write_export(part: Path, show: ShowFile, progress: Progress | None) -> None:
    """The sums come last: a folder without them is not whole."""
    (part / "tables").mkdir(parents=True)
    (part / "sweeps").mkdir()
    document = document_of(show)
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    (part / DOCUMENT).write_text(text, encoding="utf-8")
    _write_tables(part / "tables", show)
    for count, number in enumerate(document["series"]):
        if progress is not None:
            progress("writing sweeps", count / len(document["series"]))
        _write_series(part / "sweeps" / SERIES.format(number), show, number)
    write_sums(part)


def import_show(
    folder: FilePath, to: FilePath, desk: Desk, progress: Progress | None = None, *, changed: bool = False
) -> Imported:
    """A new show file from an exported folder; equal to the one that was exported, with its history.

    ``changed``: although files of the folder are not as they were exported; what was edited in ``show.json`` is then
    one change more. Raises InputError where they are not, or the folder holds no such show or does not fit together,
    OutputError where the file can't be made.
    """
    folder, to = Path(folder), Path(to)
    to = to if to.suffix else to.with_name(to.name + SUFFIX)
    document = _document(folder / DOCUMENT)
    found = compare_sums(folder)
    if not changed:
        _check_as_exported(found, folder)
    if to.exists():
        raise OutputError("there is a file of this name already, and it was left as it is", path=to)
    edited: tuple[str, ...] = ()
    if changed:
        document, edited = put_right(document, desk.who or usual_name(), folder / DOCUMENT)
    part = unfinished(to, "-import")
    try:
        _restore(part, document, folder, desk, progress)
        _check_whole(part, folder)
        if edited:
            with ShowFile.open(part) as show:
                edited = (*edited, *loose_ends(show))
        copy_show(part, to)
    finally:
        discard(part)
    return Imported(to, (*_changes_told(found), *edited))


def _restore(part: Path, document: Document, folder: Path, desk: Desk, progress: Progress | None) -> None:
    with ShowFile.create(part, desk.who) as show:
        restore(show, document, folder / DOCUMENT)
        numbers = document.get("series", [])
        for count, number in enumerate(numbers):
            if progress is not None:
                progress("reading sweeps", count / len(numbers))
            _read_series(folder / "sweeps" / SERIES.format(number), show, number)


def _check_whole(part: Path, folder: Path) -> None:
    """Raise InputError with all that does not fit together, so that no damaged file is made."""
    damage = check(part).damage
    if damage:
        more = f"; and {len(damage) - _MOST_NAMED} more" if len(damage) > _MOST_NAMED else ""
        what = f"the folder does not fit together ({'; '.join(damage[:_MOST_NAMED])}{more}), and nothing was made"
        raise InputError(what, path=folder, hint="export it again, and edit only the values in show.json")


def _is_read_back(name: str) -> bool:
    """Whether a file of an export is read back; tables are not."""
    return not name.startswith("tables/")


def _check_as_exported(found: SumsCompared, folder: Path) -> None:
    """Raise InputError where what is read back is not as it was exported."""
    if not found.has_sums:
        what = f"the export is not whole: it has no {SUMS}, which is written last"
        raise InputError(what, path=folder, hint="copy or export it again; to take what is there: --changed")
    changed = [name for name in (*found.changed, *found.missing) if _is_read_back(name)]
    if changed:
        more = f" and {len(changed) - _MOST_NAMED} more" if len(changed) > _MOST_NAMED else ""
        verb = "is" if len(changed) == 1 else "are"
        what = f"{', '.join(changed[:_MOST_NAMED])}{more} {verb} not as exported"
        hint = "copy or export it again; if it was changed on purpose: --changed"
        raise InputError(what, path=folder, hint=hint)


def _changes_told(found: SumsCompared) -> Iterator[str]:
    if not found.has_sums:
        yield f"without {SUMS} nobody can tell whether all is as it was exported"
    for name in found.changed:
        more = "" if _is_read_back(name) else ", and is not read back: bring it in with `fallow show add`"
        yield f"{name} was changed after the export{more}"
    for name in found.missing:
        yield f"{name} is missing"
    for name in found.strange:
        yield f"{name} is no part of the export, and is not read"


def copy_to(to: FilePath, desk: Desk, *, replace: bool = False) -> Path:
    """A copy for the stick, whole by itself. Raises OutputError where it can't be made, or something is there."""
    return copy_show(find_show(desk.path), to, replace=replace)


def check_show(desk: Desk, progress: Progress | None = None) -> Checked:
    """Whether the file is whole, and what is damaged. Raises InputError for what is no show file."""
    return check(find_show(desk.path), progress)


def rescue_show(to: FilePath, desk: Desk) -> Rescued:
    """Write what can be read of a damaged file to a new one. Raises InputError where nothing can."""
    return rescue(find_show(desk.path), to, desk.who)


def free_show(desk: Desk) -> Writer | None:
    """Take away the claim of a writer on a computer that is gone; returns whose it was.

    Raises UsageError where that program runs on this computer: then it is not gone.
    """
    path = find_show(desk.path)
    connection = connect_writing(path)
    try:
        with told(path):
            writer = left_behind(connection)
            if writer is not None and writer.is_here and writer.is_alive:
                raise UsageError(
                    f"{writer} is writing to the file, and its program runs", path=path, hint="end it there"
                )
            release(connection)
            return writer
    finally:
        close_writing(connection)


def _write_tables(folder: Path, show: ShowFile) -> None:
    """The tables that hold anything, and each plan."""
    wanted = wanted_of(show)
    if wanted.links:
        write_links(folder / "links.csv", wanted.links)
    if wanted.equipment:
        write_equipment(folder / "equipment.csv", wanted.equipment.values())
    if wanted.losses.pairs:
        write_areas(folder / "areas.csv", wanted.losses)
    if wanted.foreign:
        write_foreign(folder / "foreign.csv", wanted.foreign)
    if wanted.stations:
        write_stations(folder / "stations.csv", wanted.stations)
    if groupings := Groupings(show.all(APART), show.all(TOGETHER)):
        write_groups(folder / "groups.csv", groupings.rules)
    if parts := show.all(CHAIN):
        write_chain(folder / "chain.csv", parts)
    for number, plan in enumerate(show.all(PLANS), 1):
        name = re.sub(r"[^\w-]+", "-", plan.name).strip("-") or "plan"
        write_plan(folder / f"{number:02d}-{name}.csv", rows_of_plan(show, plan.name))


def _write_series(path: Path, show: ShowFile, number: int) -> None:
    head = head_of(show.connection, number, show.path)
    found = blocks(show.connection, number, show.path, slice(0, head.axis.n))
    write_sweeps(path, head, ((block.times_s, block.levels_db) for block in found))


def _read_series(path: Path, show: ShowFile, number: int) -> None:
    """Bring one series back under its number."""
    file = SweepFile(path)
    try:
        with show.sweeping() as connection:
            begin_series(connection, file.head, number)
            at = 0
            for times_s, levels_db in file.blocks():
                store_fold(connection, number, at, levels_db, None if file.head.times_s is None else times_s)
                at += levels_db.shape[0]
    finally:
        file.close()


def _document(path: Path) -> Document:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        hint = "name the folder that `fallow show export` made"
        raise InputError(f"the exported show can't be opened ({reason})", path=path, hint=hint) from error
    except ValueError as error:
        raise InputError(f"this is no JSON ({error})", path=path) from error
    if not isinstance(found, dict):
        raise InputError("this is no show as fallow exports it", path=path)
    return found
