"""What the show wants, changed by hand, one value at a time: links, equipment, strangers, stations, rules, the chain.

What is said of a value goes through the reader of its table (``files.tables.one_row``), so that nothing can be typed
that a table could not say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from fallow.errors import QuestionError, UsageError
from fallow.files.tables import one_row
from fallow.files.tables.one_row import Cells, RowKind
from fallow.files.tables.scene_lists import scenes_in, spelt_alike
from fallow.files.wording import says_nothing
from fallow.show.equipment import Equipment
from fallow.show.grouping import Apart, Groupings, Together
from fallow.show.link import MOST_LOSS_DB, ForeignCarrier, Link, Station
from fallow.showfile.changing import Change
from fallow.showfile.kinds import (
    APART,
    AREA_PAIRS,
    CHAIN,
    EQUIPMENT,
    FOREIGN,
    LINKS,
    STATIONS,
    TOGETHER,
    KindOfItem,
)
from fallow.showfile.store import ShowFile
from fallow.showfile.values import AreaPair
from fallow.spectrum.chain import ChainPart, GainCurve
from fallow.workflow.area_names import check_area
from fallow.workflow.show import Desk
from fallow.workflow.show_around import raster_of
from fallow.workflow.show_renaming import check_name, check_type_name, renamed_equipment, renamed_link

__all__ = [
    "Edit",
    "PartSeen",
    "all_said",
    "can_be_tuned",
    "change_equipment",
    "change_foreign",
    "change_link",
    "change_part",
    "change_rule",
    "change_station",
    "drop_equipment",
    "drop_links",
    "drop_parts",
    "parts_of",
    "set_area_pair",
]

T = TypeVar("T")
_LOWEST_HZ = 20_000_000  # below it, a number was probably meant in MHz; common practice


@dataclass(frozen=True)
class Edit:
    """What is to be different about one value. ``cells``: by the columns of its table, as they would stand there, an
    empty one: nothing is stated; ``rename``: its new name.
    """

    cells: Cells = field(default_factory=dict)
    rename: str | None = None


@dataclass(frozen=True)
class _Known(Generic[T]):
    """Where a kind of value is kept, how its table says it, and in which column its name stands."""

    kind: KindOfItem[T]
    rows: RowKind[T]
    name: str
    word: str


_LINKS = _Known(LINKS, one_row.LINKS, "link", "link")
_EQUIPMENT = _Known(EQUIPMENT, one_row.EQUIPMENT, "equipment", "equipment")
_FOREIGN = _Known(FOREIGN, one_row.FOREIGN, "name", "foreign carrier")
_PARTS = _Known(CHAIN, one_row.CHAIN, "part", "part of the chain")


def change_link(name: str, edit: Edit, desk: Desk) -> Link:
    """Change a link of the show, or add one. A new name goes to the rows of all plans and to the notes about it.

    Raises UsageError for what can't be.
    """
    with desk.writing() as show:
        before = show.get(LINKS, name)
        after = _after(_LINKS, before, name, edit)
        _check_lists(edit.cells, after, show)
        _check_spelling(edit.cells, name, after, show)
        if "area" in edit.cells:
            check_area(after.area, show, before)
        if show.get(EQUIPMENT, after.equipment) is None:
            names = ", ".join(one.name for one in show.all(EQUIPMENT)) or "none"
            raise UsageError(f"the equipment {after.equipment!r} is not in the show", hint=f"the equipment is: {names}")
        if edit.cells.get("frequency_mhz"):
            _check_frequency(after, show)
        if before is None:
            check_name(show, after.name, is_link=True)
        with desk.change(show, _told(_LINKS, before, name, edit)) as change:
            if before is None or after.name == name:
                change.put(LINKS, after)
            else:
                renamed_link(change, show, name, after)
        return after


def change_equipment(name: str, edit: Edit, desk: Desk) -> Equipment:
    """Change a type of radio, or add one. A new name goes to links, plans and rules. Raises UsageError."""
    with desk.writing() as show:
        before = show.get(EQUIPMENT, name)
        after = _after(_EQUIPMENT, before, name, edit)
        if before is None or after.name != name:
            check_type_name(show, after.name, None if before is None else name)
        with desk.change(show, _told(_EQUIPMENT, before, name, edit)) as change:
            _store(change, EQUIPMENT, before, after)
            if before is not None and after.name != name:
                renamed_equipment(change, show, name, after.name)
        return after


def change_foreign(name: str, edit: Edit, desk: Desk) -> ForeignCarrier:
    """Change a carrier that is not ours, or add one. Raises UsageError for what can't be."""
    with desk.writing() as show:
        before = show.get(FOREIGN, name)
        after = _after(_FOREIGN, before, name, edit)
        if "area" in edit.cells:
            check_area(after.area, show, before)
        check_name(show, after.name, is_link=False)
        with desk.change(show, _told(_FOREIGN, before, name, edit)) as change:
            _store(change, FOREIGN, before, after)
        return after


def change_part(name: str, edit: Edit, desk: Desk, before_part: str | None = None) -> ChainPart:
    """Change a part of the chain, or add one at its end. ``before_part``: the part that the signal passes after it.

    Raises UsageError for what can't be, InputError for a curve's file that can't be read.
    """
    with desk.writing() as show:
        before = show.get(CHAIN, name)
        is_moved = before is not None and before_part is not None and not edit.cells and edit.rename is None
        after = before if is_moved and before is not None else _after(_PARTS, before, name, edit)
        with desk.change(show, _told(_PARTS, before, name, edit)) as change:
            _store(change, CHAIN, before, after)
            if before_part is not None:
                _move_before(change, show.all(CHAIN), after, before_part)
        return after


def change_station(channel: str, area: str | None, edit: Edit, desk: Desk) -> Station:
    """Change an announced TV channel, or announce one. ``area``: of which one is meant, empty: everywhere.

    Raises UsageError for a channel that the region lacks, QuestionError where it is announced for several areas.
    """
    with desk.writing() as show:
        name = one_row.made(one_row.STATIONS, {"channel": channel}).channel
        found = [one for one in show.all(STATIONS) if one.channel == name and area in (None, one.area)]
        if len(found) > 1:
            areas = tuple(one.area or "everywhere" for one in found)
            raise QuestionError(
                f"TV channel {name!r} is announced for several areas", readings=areas, hint="say --area"
            )
        before = found[0] if found else None
        after = (
            one_row.made(one_row.STATIONS, {"channel": name, "area": area or "", **edit.cells})
            if before is None
            else one_row.edited(one_row.STATIONS, before, edit.cells)
        )
        check_area(after.area, show, before)
        raster = raster_of(show)
        if raster is not None and after.channel not in raster:
            hint = f"it has {raster[0]} to {raster[-1]}"
            raise UsageError(f"the raster of the region has no TV channel {after.channel!r}", hint=hint)
        with desk.change(show, f"station {name!r} {'added' if before is None else 'changed'}") as change:
            _store(change, STATIONS, before, after)
        return after


def change_rule(group: str, other: str | None, edit: Edit, desk: Desk) -> Apart | Together:
    """Change the rule about one or two groups, or add it. Raises UsageError, and QuestionError where two are meant."""
    cells = {"group": group, "from": other or "", **edit.cells}
    with desk.writing() as show:
        found: list[Apart | Together] = [one for one in show.all(APART) if other and one.pair == {group, other}]
        found += [one for one in show.all(TOGETHER) if not other and one.group == group]
        if len(found) > 1:
            readings = tuple("of all areas" if one.everywhere else "of each area" for one in found)
            hint = "fallow show groups lists them with their numbers; --drop takes one out"
            raise QuestionError("two rules are about these", readings=readings, hint=hint)
        before = found[0] if found else None
        after = (
            one_row.made(one_row.GROUPS, cells)
            if before is None
            else one_row.edited(one_row.GROUPS, before, edit.cells)
        )
        kind: KindOfItem[Any] = APART if isinstance(after, Apart) else TOGETHER
        told = " and ".join(after.names)
        with desk.change(show, f"rule about {told} {'added' if before is None else 'changed'}") as change:
            _store(change, kind, before, after)
        return after


def _after(known: _Known[T], before: T | None, name: str, edit: Edit) -> T:
    """The value as it is to be. Raises UsageError for a cell that is wrong, or one that is lacking."""
    if edit.cells.get(known.name, name) != name:
        raise UsageError(f"{known.name}={edit.cells[known.name]} gives no new name", hint="say --rename NEW")
    cells = {**edit.cells, known.name: name if edit.rename is None else edit.rename}
    if not cells[known.name].strip():
        raise UsageError(f"a {known.word} needs a name")
    if before is not None:
        return one_row.edited(known.rows, before, cells)
    lacking = [
        f"--{column.words[0].replace('_', '-')}"
        for column in known.rows.columns
        if column.required and column.name not in cells
    ]
    if lacking or edit.rename is not None:
        hint = f"to add it, say {' and '.join(lacking)}" if lacking else None
        raise UsageError(f"there is no {known.word} {name!r}", hint=hint)
    return one_row.made(known.rows, cells)


def _told(known: _Known[Any], before: object | None, name: str, edit: Edit) -> str:
    """What was changed, for the history."""
    if edit.rename is not None and edit.rename != name:
        return f"{known.word} {name!r} renamed: {edit.rename!r}"
    if before is None:
        return f"{known.word} {name!r} added"
    units = ("_mhz", "_khz", "_mw", "_db", "_dbm", "_dbi")
    words = (next((cell.removesuffix(unit) for unit in units if cell.endswith(unit)), cell) for cell in edit.cells)
    about = ", ".join(word.replace("_", " ") for word in words)
    return f"{known.word} {name!r} changed{f': {about}' if about else ''}"


def _store(change: Change, kind: KindOfItem[T], before: T | None, after: T) -> None:
    if before is None:
        change.put(kind, after)
    else:
        change.rename(kind, kind.key(before), after)


def _move_before(change: Change, parts: Sequence[ChainPart], moved: ChainPart, name: str) -> None:
    """Let a part stand before another one: those from there on are put again behind it."""
    rest = [one for one in parts if one.part != moved.part]
    at = next((at for at, one in enumerate(rest) if one.part == name), None)
    if at is None:
        raise UsageError(f"there is no part of the chain {name!r}", hint="fallow show chain lists them")
    change.drop(CHAIN, moved.part, *(one.part for one in rest[at:]))
    change.put(CHAIN, moved, *rest[at:])


def _check_lists(cells: Cells, link: Link, show: ShowFile) -> None:
    """Raise UsageError for scenes or groups as typed that may be several: links would count as never together."""
    links = show.all(LINKS)
    groups = Groupings(show.all(APART), show.all(TOGETHER)).names.union(*(one.groups for one in links))
    scenes = {scene for one in links for scene in one.scenes}
    for noun, typed, known in (("scene", link.scenes, scenes), ("group", link.groups, groups)):
        for item in sorted(typed) if cells.keys() & {noun, f"{noun}s"} else ():
            if says_nothing(item):
                raise UsageError(f"{item!r} is no {noun}", hint=f"it stands alone where there is no {noun}")
            found = scenes_in([item], known - {item}, is_ours=True, noun=noun)
            parts = found.names.get(item, (item,))
            if item not in known and (found.still_open is not None or len(parts) > 1):
                hint = f"write a semicolon between {noun}s: '{';'.join(parts)}'" if len(parts) > 1 else None
                raise UsageError(
                    f"{item!r} may be one {noun} or several", hint=hint or "write a semicolon between them"
                )


def _check_spelling(cells: Cells, name: str, link: Link, show: ShowFile) -> None:
    """Raise UsageError for scenes or groups as typed that other links spell otherwise: they would count as others.

    ``name``: of the link until now.
    """
    others = [one for one in show.all(LINKS) if one.name != name]
    groups = Groupings(show.all(APART), show.all(TOGETHER)).names.union(*(one.groups for one in others))
    scenes = {scene for one in others for scene in one.scenes}
    for noun, typed, known in (("scene", link.scenes, scenes), ("group", link.groups, groups)):
        for item in sorted(typed) if cells.keys() & {noun, f"{noun}s"} else ():
            if (other := spelt_alike(item, known)) is not None:
                hint = f"write {other!r}; to spell it otherwise, change it where it stands first"
                raise UsageError(f"the show has a {noun} {other!r}: {item!r} would count as another one", hint=hint)


def _check_frequency(link: Link, show: ShowFile) -> None:
    """Raise UsageError for a frequency below all of links', which the radio can't be tuned to: the unit is missing."""
    at_hz, radio = link.frequency_hz, show.get(EQUIPMENT, link.equipment)
    if at_hz is not None and at_hz < _LOWEST_HZ and radio is not None and not can_be_tuned(radio, at_hz):
        hint = "write the unit: --frequency 510.1M (a number without one is in hertz)"
        raise UsageError(f"the frequency {at_hz} Hz is none that {radio.name!r} can be tuned to", hint=hint)


def can_be_tuned(radio: Equipment, at_hz: int) -> bool:
    """Whether a carrier [Hz] is one of the presets, or without presets in a tuning range, edges included."""
    in_range = any(span.low_hz <= at_hz <= span.high_hz for span in radio.tuning)
    return at_hz in radio.presets_hz if radio.presets_hz else in_range


@dataclass(frozen=True)
class PartSeen:
    """A part of the chain for faces. ``gain_db`` ``None``: it varies, and ``curve`` has pairs of Hz and dB."""

    part: str
    kind: str
    gain_db: float | None
    u_db: float
    curve: tuple[tuple[float, float], ...] = ()


def parts_of(desk: Desk) -> tuple[PartSeen, ...]:
    """The parts of the chain, in the order in which the signal passes them."""
    with desk.looking() as show:
        return tuple(map(_seen, show.all(CHAIN)))


def _seen(part: ChainPart) -> PartSeen:
    if not isinstance(part.gain_db, GainCurve):
        return PartSeen(part.part, part.kind, part.gain_db, part.u_db)
    points = zip(part.gain_db.frequencies_hz.tolist(), part.gain_db.gains_db.tolist(), strict=True)
    return PartSeen(part.part, part.kind, None, part.u_db, tuple(points))


def all_said(value: Link | Equipment) -> Cells:
    """Everything that is said of a link or a type of radio, as its table says it."""
    cells = one_row.LINKS.cells(value) if isinstance(value, Link) else one_row.EQUIPMENT.cells(value)
    return {name: text for name, text in cells.items() if text}


def drop_parts(names: Sequence[str], desk: Desk) -> None:
    """Take parts of the chain out of the show. Raises UsageError where one is not there."""
    with desk.writing() as show, desk.change(show, f"parts of the chain taken out: {', '.join(names)}") as change:
        change.drop(CHAIN, *names)


def drop_links(names: Sequence[str], desk: Desk) -> None:
    """Take links out of the show. Raises UsageError where one is not there."""
    with desk.writing() as show, desk.change(show, f"links taken out: {', '.join(names)}") as change:
        change.drop(LINKS, *names)


def drop_equipment(names: Sequence[str], desk: Desk) -> None:
    """Take equipment out of the show. Raises UsageError where it is not there, or a link is made of it."""
    with desk.writing() as show:
        for link in show.all(LINKS):
            if link.equipment in names:
                hint = f"take the link out first: fallow show links --drop '{link.name}'"
                raise UsageError(f"the link {link.name!r} is made of {link.equipment!r}", hint=hint)
        with desk.change(show, f"equipment taken out: {', '.join(names)}") as change:
            change.drop(EQUIPMENT, *names)


def set_area_pair(area: str, other: str, loss: float | str, desk: Desk) -> None:
    """Say what two areas lose between them: decibels, ``apart``, or ``full`` (they hear each other fully).

    Raises UsageError for anything else.
    """
    if not (area.strip() and other.strip()):
        raise UsageError("an area needs a name", hint="fallow show areas AREA OTHER --loss DB")
    if area == other:
        raise UsageError("an area always hears itself", hint="name another area")
    if isinstance(loss, float) and loss < 0:
        raise UsageError(f"the loss {loss:g} is negative", hint="write how many dB are lost, without a sign")
    if isinstance(loss, float) and loss > MOST_LOSS_DB:
        raise UsageError(f"the loss {loss:g} is out of range", hint=f"give {MOST_LOSS_DB:g} dB at most, or --apart")
    pair = AreaPair(min(area, other), max(area, other), None if isinstance(loss, str) else loss)
    with desk.writing() as show:
        for one in (area, other) if loss != "full" else ():
            check_area(one, show)
        told = loss if isinstance(loss, str) else f"{loss:g} dB"
        with desk.change(show, f"areas {area!r} and {other!r}: {told}") as change:
            if loss == "full":
                change.drop(AREA_PAIRS, AREA_PAIRS.key(pair))
            else:
                change.put(AREA_PAIRS, pair)
