"""``fallow show``: each verb calls one step of the workflow with what was typed and prints the answer."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields

from fallow.cli import documents, screens
from fallow.cli import show_documents as told
from fallow.cli.lettering import say
from fallow.cli.progress import progress_bar
from fallow.cli.screens import show as screen
from fallow.cli.show_around import chain, foreign, groups, stations
from fallow.cli.show_copies import compare_copies, merge
from fallow.cli.show_library import fit, site, stock
from fallow.cli.show_reading import add_anybodys_table
from fallow.cli.show_wanted import areas, equipment, links
from fallow.errors import UsageError
from fallow.pictures import check_picture, draw_air
from fallow.workflow.show import WAIT_S, Desk, change_settings, new_show
from fallow.workflow.show_exchange import check_show, copy_to, export_show, free_show, import_show, rescue_show
from fallow.workflow.show_history import compare_in_show, mark, note, redo, show_history, undo
from fallow.workflow.show_overview import show_at_a_glance
from fallow.workflow.show_plan import ShowMaking, air_of_show, audit_show, drop_plans, list_plans, plan_of, plan_show
from fallow.workflow.show_renaming import rename_plan
from fallow.workflow.show_surveys import Adding, add_sweeps, change_survey, drop_surveys, list_surveys
from fallow.workflow.show_tables import (
    Tables,
    add_tables,
    check_tables,
    sort_files,
)
from fallow.workflow.survey import Listing, Telling, channels_of

__all__ = ["show"]

DONE, BAD_NEWS = 0, 1
Document = dict[str, object]


def show(typed: Namespace, telling: Callable[[Namespace], Telling]) -> int:
    """``fallow show VERB``. ``telling``: makes the telling options a value, as for other commands."""
    _check_words(typed)
    if typed.verb == "add":
        return _add(typed, telling(typed))
    return _VERBS[typed.verb](typed)


def _check_words(typed: Namespace) -> None:
    """Refuse bytes that are no letters, which a shell may hand over, where they would go into the show."""
    for name in _WORDS:
        said = getattr(typed, name, None) or ()
        for word in [said] if isinstance(said, str) else said:
            if isinstance(word, str) and any("\ud800" <= letter <= "\udfff" for letter in word):
                raise UsageError(f"{word!a} holds bytes that are no letters", hint="type it in UTF-8")


_WORDS = (
    *("name", "settings", "who", "why", "survey", "area", "other", "scenes", "drop", "text", "about", "old", "new"),
    *("keep", "plan_name", "take", "column", "fill", "group", "equipment", "rename", "set", "remark", "source"),
    "serials",
)


def _desk(typed: Namespace) -> Desk:
    return Desk(typed.show, getattr(typed, "who", None), getattr(typed, "why", ""), getattr(typed, "wait", WAIT_S))


def _answer(typed: Namespace, document: Document, lines: Iterable[str]) -> int:
    """The document, or some lines for people."""
    if typed.json:
        documents.print_json(document)
    else:
        screen.show_lines(lines)
    return DONE


def _new(typed: Namespace) -> int:
    path = new_show(typed.name, typed.settings, _desk(typed))
    return _answer(typed, {"show": str(path)}, [f"made {path}"])


def _set(typed: Namespace) -> int:
    settings = change_settings(typed.settings, _desk(typed))
    lines = [f"{name}: {value}" for name, value in settings.items()] or ["nothing is set"]
    return _answer(typed, {"settings": settings}, lines)


def _list(typed: Namespace) -> int:
    found = show_at_a_glance(_desk(typed))
    if typed.json:
        documents.print_json(told.overview_document(found))
    else:
        screen.show_overview(found)
    _say(found.notes)
    return DONE


def _add(typed: Namespace, telling: Telling) -> int:
    """1 when one file of several could not be read, or a cell of a table."""
    if getattr(typed, "as") is not None:
        return add_anybodys_table(typed, _desk(typed))
    if typed.preview or typed.column or typed.fill or typed.scenes or typed.encoding:
        what = "--preview, --column, --fill, --scenes and --encoding speak of a table"
        raise UsageError(what, hint="say what it is: --as links")
    said = Tables(**{field.name: getattr(typed, field.name) for field in fields(Tables)})
    if not typed.files and not said.any_given:
        raise UsageError("nothing to add was named", hint="name sweep files, or a table: --links FILE")
    found = sort_files(typed.files, said)
    tables = found.tables
    if not found.sweeps and (typed.survey or typed.area or typed.reference):
        raise UsageError("a survey needs sweep files", hint="name them: fallow show add FILE --survey NAME")
    sweeps = None
    if found.sweeps:
        check_tables(tables, _desk(typed))  # so that nothing is stored where one of them can't be read
        adding = Adding(typed.survey, typed.area, typed.reference, typed.again, telling)
        with progress_bar() as progress:
            sweeps = add_sweeps(found.sweeps, adding, _desk(typed), progress)
    counts, notes = add_tables(tables, _desk(typed), replace_all=typed.replace) if tables.any_given else ((), ())
    refusals = () if sweeps is None else sweeps.refusals
    survey = None if sweeps is None else sweeps.survey
    if typed.json:
        documents.print_json(
            told.added_document(counts, survey, [str(one.error) for one in refusals], (*found.notes, *notes))
        )
    else:
        screen.show_lines(str(count) for count in counts)
        if survey is not None:
            screen.show_surveys([survey])
    _say((*found.notes, *notes))
    screens.complain_of(refusals)
    return BAD_NEWS if refusals else DONE


def _links(typed: Namespace) -> int:
    return links(typed, _desk(typed))


def _equipment(typed: Namespace) -> int:
    return equipment(typed, _desk(typed))


def _areas(typed: Namespace) -> int:
    return areas(typed, _desk(typed))


def _foreign(typed: Namespace) -> int:
    return foreign(typed, _desk(typed))


def _stations(typed: Namespace) -> int:
    return stations(typed, _desk(typed))


def _groups(typed: Namespace) -> int:
    return groups(typed, _desk(typed))


def _chain(typed: Namespace) -> int:
    return chain(typed, _desk(typed))


def _survey(typed: Namespace) -> int:
    said = {name: value for name in ("rename", "area", "reference") if (value := getattr(typed, name)) is not None}
    if typed.drop:
        drop_surveys(typed.drop, _desk(typed))
    elif said and typed.name is None:
        raise UsageError("which survey is meant is not said", hint="name it: fallow show survey NAME --area AREA")
    elif said:
        is_reference = None if typed.reference is None else typed.reference == "yes"
        change_survey(typed.name, _desk(typed), rename=typed.rename, area=typed.area, is_reference=is_reference)
    name = typed.name if typed.rename is None else typed.rename.strip()
    found = [seen for seen in list_surveys(_desk(typed)) if name in (None, seen.head.name)]
    if name is not None and not found:
        raise UsageError(f"there is no survey {name!r}", hint="fallow show survey lists them")
    if typed.json:
        documents.print_json({"surveys": [told.survey_document(seen) for seen in found]})
    else:
        screen.show_surveys(found)
    return DONE


def _plan(typed: Namespace) -> int:
    """1 when a link is left without a frequency or a conflict stands."""
    making = ShowMaking(
        typed.name, typed.spares, typed.keep, typed.seconds, typed.seed, typed.survey, typed.levels
    )  # fmt: skip
    with progress_bar() as progress:
        made = plan_show(making, _desk(typed), progress)
    if typed.json:
        documents.print_json({**documents.plan_document(made.plan), "plan": made.name})
    else:
        screens.show_plan(made.plan)
        screen.show_lines(["", f"stored in the show as {made.name!r}, which is in force"])
    if made.stopped:
        raise KeyboardInterrupt
    return BAD_NEWS if made.plan.conflicts or made.plan.unplaced else DONE


def _plans(typed: Namespace) -> int:
    if typed.drop:
        drop_plans(typed.drop, _desk(typed))
    if typed.rename is not None:
        if typed.name is None:
            raise UsageError("which plan is meant is not said", hint="fallow show plans PLAN --rename NEW")
        rename_plan(typed.name, typed.rename, _desk(typed))
    if typed.name is not None:
        plan = plan_of(_desk(typed), typed.name if typed.rename is None else typed.rename)
        if typed.json:
            documents.print_json(told.plan_seen_document(plan))
        else:
            screen.show_plan_rows(plan)
        return DONE
    found = list_plans(_desk(typed))
    if typed.json:
        documents.print_json({"plans": [told.plan_head_document(plan) for plan in found]})
    else:
        screen.show_plans(found)
    return DONE


def _audit(typed: Namespace) -> int:
    """1 when a conflict was found."""
    with progress_bar() as progress:
        name, found = audit_show(_desk(typed), typed.name, progress)
    if typed.json:
        documents.print_json({**documents.audit_document(found), "plan": name})
    else:
        screen.show_lines([name])
        screens.show_audit(found)
    return BAD_NEWS if found.conflicts else DONE


def _air(typed: Namespace) -> int:
    if typed.picture is not None:
        check_picture(typed.picture)
    listing = Listing(None, typed.span, typed.width)
    with progress_bar() as progress:
        judged = air_of_show(_desk(typed), listing, typed.survey, progress)
    if typed.picture is not None:
        draw_air(judged.air, typed.picture, channels=channels_of(judged), span=listing.span)
    if typed.json:
        documents.print_json(documents.air_document(judged))
    else:
        screens.show_air(judged)
    return DONE


def _history(typed: Namespace) -> int:
    found = show_history(_desk(typed))
    changes = found.changes if typed.last is None else found.changes[max(0, len(found.changes) - typed.last) :]
    if typed.json:
        documents.print_json(told.history_document(changes, found.marks))
    else:
        screen.show_history(changes, found.marks)
    return DONE


def _undo(typed: Namespace) -> int:
    done = undo(_desk(typed), typed.steps)
    document: Document = {"undone": [told.change_document(one) for one in done]}
    return _answer(typed, document, [f"taken back: {one.what}" for one in done] or ["there is nothing to take back"])


def _redo(typed: Namespace) -> int:
    done = redo(_desk(typed), typed.steps)
    document: Document = {"redone": [told.change_document(one) for one in done]}
    return _answer(typed, document, [f"done again: {one.what}" for one in done] or ["there is nothing to do again"])


def _mark(typed: Namespace) -> int:
    made = mark(typed.name, _desk(typed))
    return _answer(typed, told.mark_document(made), [f"{made.name}: the show after change {made.change}"])


def _note(typed: Namespace) -> int:
    made = note(typed.text, typed.about, _desk(typed))
    return _answer(typed, {"at": made.at, "text": made.text, "about": made.about or None}, ["written down"])


def _compare(typed: Namespace) -> int:
    if typed.new is None:
        return compare_copies(typed, _desk(typed))
    found = compare_in_show(typed.old, typed.new, _desk(typed))
    if typed.json:
        document = {} if found.compared == type(found.compared)() else documents.compare_document(found.compared)
        values = {} if found.values is None else {"values": told.values_document(found.values)}
        documents.print_json({**document, **values})
        return DONE
    if found.values is not None:
        screen.show_values(found.values)
        screen.show_lines(["", "the plans in force:"] if found.compared.plans is not None else [])
    screens.show_comparison(found.compared)
    return DONE


def _merge(typed: Namespace) -> int:
    return merge(typed, _desk(typed))


def _site(typed: Namespace) -> int:
    return site(typed, _desk(typed))


def _stock(typed: Namespace) -> int:
    return stock(typed, _desk(typed))


def _fit(typed: Namespace) -> int:
    return fit(typed, _desk(typed))


def _check(typed: Namespace) -> int:
    """1 when the file is damaged."""
    if typed.release:
        writer = free_show(_desk(typed))
        line = "nobody was writing" if writer is None else f"{writer} has no claim to the file any more"
        return _answer(typed, {"released": None if writer is None else str(writer)}, [line])
    with progress_bar() as progress:
        found = check_show(_desk(typed), progress)
    rescued = None if typed.rescue is None else rescue_show(typed.rescue, _desk(typed))
    if typed.json:
        more = {} if rescued is None else told.rescue_document(rescued)
        documents.print_json({**told.check_document(found), **more})
    else:
        screen.show_check(found)
        if rescued is not None:
            screen.show_rescued(rescued)
        elif not found.is_whole:
            screen.show_lines(["--rescue OUT reads around the damage and writes what is left to a new file"])
    return DONE if found.is_whole else BAD_NEWS


def _copy(typed: Namespace) -> int:
    to = copy_to(typed.to, _desk(typed), replace=typed.replace)
    return _answer(typed, {"copy": str(to)}, [f"copied to {to}, whole by itself"])


def _export(typed: Namespace) -> int:
    with progress_bar() as progress:
        made = export_show(typed.folder, _desk(typed), progress)
    document: Document = {"folder": str(made.folder), "files": [str(file) for file in made.files]}
    return _answer(typed, document, [f"wrote {len(made.files)} files to {made.folder}"])


def _import(typed: Namespace) -> int:
    with progress_bar() as progress:
        made = import_show(typed.folder, typed.name, _desk(typed), progress, changed=typed.changed)
    _say(made.notes)
    return _answer(typed, {"show": str(made.path), "notes": list(made.notes)}, [f"made {made.path}"])


_VERBS: Mapping[str, Callable[[Namespace], int]] = {
    "new": _new,
    "set": _set,
    "list": _list,
    "links": _links,
    "equipment": _equipment,
    "areas": _areas,
    "foreign": _foreign,
    "stations": _stations,
    "groups": _groups,
    "chain": _chain,
    "survey": _survey,
    "plan": _plan,
    "plans": _plans,
    "audit": _audit,
    "air": _air,
    "history": _history,
    "undo": _undo,
    "redo": _redo,
    "mark": _mark,
    "note": _note,
    "compare": _compare,
    "merge": _merge,
    "check": _check,
    "copy": _copy,
    "export": _export,
    "import": _import,
    "site": _site,
    "stock": _stock,
    "fit": _fit,
}


def _say(notes: Iterable[str]) -> None:
    """Notes for people on stderr, beside the answer."""
    for line in notes:
        say(f"note: {line}")
