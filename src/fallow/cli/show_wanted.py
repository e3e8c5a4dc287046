"""``fallow show links``, ``equipment`` and ``areas``: what the show is made of, listed and changed by hand."""

from __future__ import annotations

from argparse import Namespace
from typing import TYPE_CHECKING, Any

from fallow.cli import documents, show_cells
from fallow.cli import show_documents as told
from fallow.cli.lettering import say
from fallow.cli.screens import show as screen
from fallow.cli.show_cells import cells_of
from fallow.errors import UsageError
from fallow.units import format_mhz
from fallow.workflow.show_by_hand import (
    Edit,
    all_said,
    can_be_tuned,
    change_equipment,
    change_link,
    drop_equipment,
    drop_links,
    set_area_pair,
)
from fallow.workflow.show_overview import areas_in, show_wanted
from fallow.workflow.show_renaming import rename_area

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fallow.show.link import Link
    from fallow.workflow.show import Desk

__all__ = ["areas", "edit_of", "equipment", "links"]

DONE = 0
Document = dict[str, Any]


def edit_of(typed: Namespace, options: Sequence[show_cells.Option], verb: str) -> Edit | None:
    """What is to be different about the one that is named; ``None``: nothing was said, or nothing is named.

    Raises UsageError where something was said and nothing is named.
    """
    edit = Edit(cells_of(typed, options), getattr(typed, "rename", None))
    if edit == Edit():
        return None
    if typed.name is None:
        raise UsageError("which one is meant is not said", hint=f"name it: fallow show {verb} NAME --option VALUE")
    if typed.drop:
        raise UsageError("--drop takes out, and the rest changes", hint="one after the other")
    return edit


def links(typed: Namespace, desk: Desk) -> int:
    """The links, listed, changed, added, taken out."""
    edit = edit_of(typed, show_cells.LINKS, "links")
    if typed.fixed is not None:
        edit = edit or Edit()
        edit = Edit({**edit.cells, "fixed": "yes" if typed.fixed else "no"}, edit.rename)
        if typed.name is None:
            raise UsageError("which link is meant", hint="name it: fallow show links LINK --fixed")
    if typed.drop:
        drop_links(typed.drop, desk)
    found: Sequence[Link]
    if typed.name is not None and edit is not None:
        found = [change_link(typed.name, edit, desk)]
        _say_where(found[0], desk)
    else:
        found = _named(show_wanted(desk).links, typed.name, "link")
    if typed.json:
        documents.print_json({"links": [told.link_document(link) for link in found]})
    else:
        screen.show_links(found)
        if typed.name is not None:
            screen.show_cells(all_said(found[0]))
    return DONE


def _named(found: Sequence[Any], name: str | None, word: str) -> Sequence[Any]:
    """Those of that name, or all. Raises UsageError where there is none."""
    chosen = [one for one in found if name in (None, one.name)]
    if name is not None and not chosen:
        hint = "say --equipment to add it" if word == "link" else "say --kind, --bandwidth and --spacing to add it"
        raise UsageError(f"there is no {word} {name!r}", hint=hint)
    return chosen


def _say_where(link: Link, desk: Desk) -> None:
    """Say on stderr that a link's frequency is none that its radio can be tuned to."""
    radio = show_wanted(desk).equipment.get(link.equipment)
    at_hz = link.frequency_hz
    if at_hz is not None and radio is not None and not can_be_tuned(radio, at_hz):
        say(f"note: {format_mhz(at_hz)} MHz is none that {radio.name!r} can be tuned to")


def equipment(typed: Namespace, desk: Desk) -> int:
    """The equipment, listed, changed, added, taken out."""
    edit = edit_of(typed, show_cells.EQUIPMENT, "equipment")
    if typed.drop:
        drop_equipment(typed.drop, desk)
    if typed.name is not None and edit is not None:
        found: Sequence[Any] = [change_equipment(typed.name, edit, desk)]
        if edit.cells.keys() & {"tuning_mhz", "presets_mhz"} and not (found[0].tuning or found[0].presets_hz):
            say(f"note: {found[0].name!r} can be tuned nowhere now: it has neither tuning range nor presets")
    else:
        found = _named(tuple(show_wanted(desk).equipment.values()), typed.name, "equipment")
    if typed.json:
        documents.print_json({"equipment": [told.equipment_document(radio) for radio in found]})
    else:
        screen.show_equipment(found)
        if typed.name is not None:
            screen.show_cells(all_said(found[0]))
    return DONE


def areas(typed: Namespace, desk: Desk) -> int:
    """What areas lose between them, listed and said; an area renamed."""
    if typed.rename is not None:
        if typed.area is None or typed.other is not None:
            raise UsageError("one area gets one new name", hint="fallow show areas AREA --rename NEW")
        rename_area(typed.area, typed.rename, desk)
    else:
        _set_pair(typed, desk)
    wanted = show_wanted(desk)
    if typed.json:
        documents.print_json(told.areas_document(wanted.losses))
    else:
        screen.show_areas(areas_in(wanted), wanted.losses)
    return DONE


def _set_pair(typed: Namespace, desk: Desk) -> None:
    said = typed.loss if typed.loss is not None else "apart" if typed.apart else "full" if typed.full else None
    if (said is None) != (typed.other is None) or (typed.area is None) != (typed.other is None):
        hint = "fallow show areas AREA OTHER --loss DB, or --apart, or --full"
        raise UsageError("two areas and what they lose belong together", hint=hint)
    if said is not None:
        set_area_pair(typed.area, typed.other, said, desk)
