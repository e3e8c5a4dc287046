"""Two copies of the show that went different ways: side by side, and merged by one change that undo takes back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from shlex import quote

from fallow.errors import QuestionError, UsageError
from fallow.plan.wording import few
from fallow.showfile.changing import Said
from fallow.showfile.history import Nature
from fallow.showfile.kinds import LINKS, PLAN_ROWS, PLANS, parted
from fallow.showfile.merging import Copies, Part, Side, Unit, compare_copies, merge_copies
from fallow.showfile.renames import Renamed, names_in
from fallow.showfile.store import ShowFile
from fallow.workflow.show import Desk, FilePath, find_show, plan_in_force, rows_of_plan, wanted_of
from fallow.workflow.show_rows import rows_and_links
from fallow.workflow.show_tables import what_is_missing

__all__ = [
    "Choices",
    "ComparedCopies",
    "MergedCopies",
    "Part",
    "Side",
    "Unit",
    "compare_with",
    "loose_ends",
    "merge_show",
    "row_name",
]

OURS, THEIRS, APART = "ours", "theirs", "apart"
MOST_READINGS = 12


@dataclass(frozen=True)
class Choices:
    """What counts where both copies were changed differently: ``usual``, ``ours`` or ``theirs``, ``None``: ask.

    ``each``: what counts for one thing, by its name (``vox 1``) or kind and name (``link vox 1``), whatever is usual;
    for one row of a plan, by plan and link (``plan 1 / vox 1``). ``apart`` of ``area stage``: it was renamed in one
    copy, the other goes on using the old name, and two are meant.
    """

    usual: str | None = None
    each: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class ComparedCopies:
    """Two copies compared. ``shared``: so many changes both histories begin with. ``notes``: as of ``Copies``."""

    here: Path
    there: Path
    shared: int
    units: tuple[Unit, ...]
    events: int
    notes: tuple[str, ...]
    renamed: tuple[Renamed, ...] = ()

    @property
    def conflicts(self) -> tuple[Unit, ...]:
        """What was changed in both, differently."""
        return tuple(unit for unit in self.units if unit.side is Side.BOTH)


@dataclass(frozen=True)
class MergedCopies:
    """What a merge brought. ``change``: its number in the history, ``None`` where nothing was new.

    ``taken``: what is as there now; ``kept``: what differs and stays as it was here.
    """

    compared: ComparedCopies
    change: int | None
    taken: tuple[Unit, ...]
    kept: tuple[Unit, ...]
    notes: tuple[str, ...]


def compare_with(other: FilePath, desk: Desk) -> ComparedCopies:
    """The show and another copy of it, link by link and table by table.

    Raises UsageError where the two are no copies of one show, and what opening them raises.
    """
    with desk.looking() as here, ShowFile.open(other) as there:
        return _compared(here, there, compare_copies(here, there))


def merge_show(other: FilePath, choices: Choices, desk: Desk, *, unrelated: bool = False) -> MergedCopies:
    """Bring over what was changed in another copy, with its sweeps, as one change.

    ``unrelated``: although the two have no change in common. Raises QuestionError where both were changed differently
    and ``choices`` leave it open, UsageError for a choice about nothing; then nothing is changed.
    """
    if Path(other).resolve() == find_show(desk.path).resolve():
        raise UsageError("this is the show itself", path=other, hint="name another copy of it")
    with desk.writing() as here, ShowFile.open(other) as there:
        copies = compare_copies(here, there)
        compared = _compared(here, there, copies, unrelated=unrelated)
        taken, kept = _chosen(compared, choices)
        _check_one_name(compared, taken, choices)
        said = Said("" if here.writer is None else here.writer.who, desk.why, _told(there, taken), Nature.EDIT)
        number = merge_copies(here, there, copies, taken, said)
        loose = () if number is None else (*_put_together((*taken, *kept)), *loose_ends(here))
        return MergedCopies(compared, number, taken, kept, (*compared.notes, *loose))


def _compared(here: ShowFile, there: ShowFile, copies: Copies, *, unrelated: bool = False) -> ComparedCopies:
    if not (copies.common.shared or unrelated):
        hint = "if they belong together nevertheless: fallow show merge --unrelated, which asks about all that differs"
        raise UsageError("the two files have no change in common: they are no copies of one show", hint=hint)
    notes = (*there.notes, *copies.notes, *map(_renamed_told, copies.renamed))
    events = len(copies.events)
    return ComparedCopies(here.path, there.path, copies.common.shared, copies.units, events, notes, copies.renamed)


def _chosen(compared: ComparedCopies, choices: Choices) -> tuple[tuple[Unit, ...], tuple[Unit, ...]]:
    """What is taken from there, and what stays although it differs there."""
    said_each = {name: said for name, said in choices.each.items() if said != APART}
    rows = {row: said for name, said in said_each.items() for row in _rows_named(compared, name)}
    whole = [name for name in said_each if not _rows_named(compared, name)]
    each = {unit: said_each[name] for name in whole for unit in _named(compared, name)}
    usual = {Side.HERE: OURS, Side.THERE: THEIRS, Side.JOINED: THEIRS, Side.BOTH: choices.usual}
    decided: dict[Unit, str | None] = {}
    for unit in compared.units:
        said = each.get(unit, usual[unit.side])
        *singles, rest = unit.apart(row for row in unit.parts if row in rows)
        decided |= {single: rows[single.parts[0]] for single in singles}
        if singles and said is None and not rest.rows:  # all rows are chosen: the head goes with them
            said = THEIRS if all(decided[single] == THEIRS for single in singles) else OURS
        decided[rest] = said
    undecided = [unit for unit, said in decided.items() if said is None]
    if undecided:
        raise _question(undecided, compared.there)
    taken = tuple(unit for unit, said in decided.items() if said == THEIRS)
    return taken, tuple(unit for unit, said in decided.items() if said == OURS and unit.side is not Side.HERE)


def _check_one_name(compared: ComparedCopies, taken: Sequence[Unit], choices: Choices) -> None:
    """Raise QuestionError where a merge would let one area or type of radio go on under two names.

    ``taken``: what is taken from there. UsageError for a choice ``apart`` about what was not renamed.
    """
    apart = {name for name, said in choices.each.items() if said == APART}
    unknown = sorted(apart - {one.label for one in compared.renamed})
    if unknown:
        hint = "it is for areas and equipment that were renamed in one copy: --take 'area stage=apart'"
        raise UsageError(f"nothing called {unknown[0]!r} was renamed in one of the copies", hint=hint)
    chosen = set(taken)
    for one in compared.renamed:
        users: dict[str, list[str]] = {}
        for unit in compared.units:
            for part in unit.parts:
                image = part.here if unit not in chosen else unit.joined or part.there
                for name in names_in(one.sort, part.kind, image) & one.names:
                    users.setdefault(name, []).append(unit.label)
        if len(users) > 1 and one.label not in apart:
            raise _two_names(one, users, compared.there)


def _two_names(one: Renamed, users: Mapping[str, list[str]], there: Path) -> QuestionError:
    """Which of two names counts is to be decided where it is renamed, so that all follows."""
    told = {name: few(list(dict.fromkeys(labels))) for name, labels in users.items()}
    what = f"{_renamed_told(one)}: one {one.sort} would become two; nothing was merged"
    verb = "areas" if one.sort == "area" else "equipment"
    old, new, at = (
        (one.name, one.here, f" --show {quote(str(there))}")
        if one.there is None
        else (one.here or one.name, one.there, "")
    )
    rename = f"fallow show {verb} {quote(old)} --rename {quote(str(new))}{at}"
    hint = f"if one is meant: `{rename}`, and merge again; if two are meant: --take '{one.label}=apart'"
    readings = tuple(f"{name}: {labels}" for name, labels in sorted(told.items()))
    return QuestionError(what, readings=readings, path=there, hint=hint)


def _renamed_told(one: Renamed) -> str:
    sides = [f"{name!r} {side}" for side, name in (("here", one.here), ("there", one.there)) if name is not None]
    return f"{one.sort} {one.name!r} was renamed {' and '.join(sides)}"


def _rows_named(compared: ComparedCopies, name: str) -> list[Part]:
    """The row of a plan that a name means: plan and link; none where it means something else."""
    plans = [unit for unit in compared.units if unit.kind == PLANS.name]
    rows = [row for unit in plans for row in unit.rows]
    return [row for row in rows if name in (row_name(row), f"plan row {row_name(row)}")]


def row_name(row: Part) -> str:
    """A row of a plan by plan and link: ``plan 1 / vox 1``."""
    return Unit((row,), Side.BOTH).name


def _named(compared: ComparedCopies, name: str) -> tuple[Unit, ...]:
    """What a choice is about. Raises UsageError where that is nothing, QuestionError where it may be several things."""
    found = [unit for unit in compared.units if name == unit.label] or [u for u in compared.units if name == u.name]
    if not found:
        hint = f"fallow show compare {quote(str(compared.there))} lists what differs"
        raise UsageError(f"nothing called {name!r} differs between the copies", hint=hint)
    if len(found) > 1:
        readings = tuple(unit.label for unit in found)
        raise QuestionError(f"{name!r} may be several things", readings=readings, hint=f"say {readings[0]!r}")
    return tuple(found)


def _question(undecided: list[Unit], there: Path) -> QuestionError:
    count = len(undecided)
    what = f"{count} thing{' was' if count == 1 else 's were'} changed in both copies, differently; nothing was merged"
    labels = [_asked(unit) for unit in undecided]
    more = [f"and {count - MOST_READINGS} more"] if count > MOST_READINGS else []
    first = undecided[0]
    hint = (
        f"`fallow show compare {quote(str(there))}` shows them; say --ours, --theirs, or --take '{first.label}=theirs'"
    )
    rows = [row for unit in undecided if unit.kind == PLANS.name for row in unit.rows]
    if rows:
        hint += f"; link by link: --take '{row_name(rows[0])}=theirs'"
    new = {unit.kind: unit.name for unit in reversed(undecided) if not unit.parts[0].base}
    for kind, word in ((PLANS, "plans"), (LINKS, "links")):
        if kind.name in new:
            name = quote(new[kind.name])
            hint += f"; to keep both {word}, first rename yours: fallow show {word} {name} --rename NAME"
    return QuestionError(what, readings=(*labels[:MOST_READINGS], *more), path=there, hint=hint)


def _asked(unit: Unit) -> str:
    """What is asked about; of a plan, how many of its links."""
    if unit.kind != PLANS.name:
        return unit.label
    return f"{unit.label}: {len(unit.rows)} row{'' if len(unit.rows) == 1 else 's'}"


_WORDS = {  # what stands for # is the plural
    "setting": "setting#",
    "equipment": "type# of radio",
    "link": "link#",
    "area_pair": "pair# of areas",
    "foreign": "foreign carrier#",
    "station": "station#",
    "apart": "rule# about groups",
    "together": "rule# about groups",
    "chain_part": "part# of the chain",
    "plan": "plan#",
    "plan_row": "row# of plans",
    "survey": "survey#",
    "note": "note#",
}


def _told(there: ShowFile, taken: Iterable[Unit]) -> str:
    """What a merge brings, for the history."""
    counts = Counter(_WORDS.get(unit.kind, unit.kind.replace("_", " ")) for unit in taken)
    brought = ", ".join(f"{count} {word.replace('#', '' if count == 1 else 's')}" for word, count in counts.items())
    return f"merged with {there.path.name}: {brought or 'nothing was taken'}"


def _put_together(units: Sequence[Unit]) -> Iterator[str]:
    """Plans of which some links were chosen by themselves."""
    plans = {str(parted(unit.parts[0].key)[0]) for unit in units if unit.kind == PLAN_ROWS.name}
    for name in sorted(plans & {unit.name for unit in units if unit.kind == PLANS.name}):
        yield f"{name!r} was put together link by link: `fallow show audit '{name}'` tells what does not fit"


def loose_ends(show: ShowFile) -> tuple[str, ...]:
    """What no longer fits together after changes from elsewhere have met: names of nothing, a plan of other links."""
    notes = [*what_is_missing(show)]
    plan = plan_in_force(show)
    if plan is not None:
        fit = rows_and_links(rows_of_plan(show, plan), wanted_of(show))
        if fit.notes:
            notes.append(f"{plan!r}, which is in force, is not about the links of the show any more: plan again")
        notes += fit.notes
    return tuple(notes)
