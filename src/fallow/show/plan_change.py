"""Two plans compared: which links moved, came, went, or changed what they are."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fallow.show.assignment import Assignment

__all__ = ["Altered", "PlanChange", "Shifted", "compare_plans"]


@dataclass(frozen=True)
class Shifted:
    """A link (or spare) on another frequency [Hz]; ``None`` where a plan has none for it."""

    link: str
    from_hz: int | None
    to_hz: int | None


@dataclass(frozen=True)
class Altered:
    """A link of which something else changed: ``what`` is ``equipment``, ``area`` or ``scenes``; both as words."""

    link: str
    what: str
    before: str
    after: str


@dataclass(frozen=True)
class PlanChange:
    """Two plans compared, in the order of the new one. ``kept``: how many rows are alike."""

    moved: tuple[Shifted, ...]
    added: tuple[Assignment, ...]
    removed: tuple[Assignment, ...]
    changed: tuple[Altered, ...]
    kept: int
    notes: tuple[str, ...] = ()


def compare_plans(old: Sequence[Assignment], new: Sequence[Assignment]) -> PlanChange:
    """What changed from one plan to another. Links are known by their names (capitals and blanks don't matter when only
    one name fits), spares by equipment, area and frequency, because their names are mere numbers.
    """
    couples, removed, added = _matched([row for row in old if not row.is_spare], [r for r in new if not r.is_spare])
    spares = _matched_spares([row for row in old if row.is_spare], [row for row in new if row.is_spare])
    everyone = [*couples, *spares[0]]
    moved = tuple(
        Shifted(after.link, before.frequency_hz, after.frequency_hz)
        for before, after in everyone
        if before.frequency_hz != after.frequency_hz
    )
    changed = tuple(change for before, after in couples for change in _altered(before, after))
    touched = {one.link for one in moved} | {one.link for one in changed}
    return PlanChange(
        moved=moved,
        added=(*added, *spares[2]),
        removed=(*removed, *spares[1]),
        changed=changed,
        kept=sum(after.link not in touched for _, after in everyone),
        notes=(*_renamed(removed, added), *_spelled(couples)),
    )


Couples = list[tuple[Assignment, Assignment]]
Rows = list[Assignment]


def _matched(old: Rows, new: Rows) -> tuple[Couples, Rows, Rows]:
    """Rows of one name in both, in the order of the new plan; rows of the old one alone; rows of the new one alone."""
    exact = {row.link: row for row in old}
    names = {row.link for row in new}
    loose = _unique(row for row in old if row.link not in names)
    wanted = _unique(row for row in new if row.link not in exact)
    couples, added = [], []
    used = set()
    for row in new:
        folded = _folded(row.link)
        before = exact.get(row.link) or (loose.get(folded) if folded in wanted else None)
        if before is None:
            added.append(row)
        else:
            couples.append((before, row))
            used.add(before.link)
    return couples, [row for row in old if row.link not in used], added


def _unique(rows: Iterable[Assignment]) -> dict[str, Assignment]:
    """Rows by their folded names, without those that share one."""
    rows = list(rows)
    count = Counter(_folded(row.link) for row in rows)
    return {_folded(row.link): row for row in rows if count[_folded(row.link)] == 1}


def _folded(name: str) -> str:
    return " ".join(name.casefold().split())


def _matched_spares(old: Rows, new: Rows) -> tuple[Couples, Rows, Rows]:
    """Spares of one equipment and area: those on the same frequency are the same, the rest is paired as it stands."""
    groups: dict[tuple[str, str], tuple[Rows, Rows]] = defaultdict(lambda: ([], []))
    for side, rows in enumerate((old, new)):
        for row in rows:
            groups[row.equipment, row.area][side].append(row)
    couples: Couples = []
    removed: Rows = []
    added: Rows = []
    for before, after in groups.values():
        same, before, after = _same_frequency(before, after)
        couples += same + list(zip(before, after, strict=False))
        removed += before[len(after) :]
        added += after[len(before) :]
    return couples, removed, added


def _same_frequency(old: Rows, new: Rows) -> tuple[Couples, Rows, Rows]:
    same: Couples = []
    rest_of_new = list(new)
    rest_of_old: Rows = []
    for row in old:
        twin = next((other for other in rest_of_new if other.frequency_hz == row.frequency_hz), None)
        if twin is None:
            rest_of_old.append(row)
        else:
            rest_of_new.remove(twin)
            same.append((row, twin))
    return same, rest_of_old, rest_of_new


def _altered(before: Assignment, after: Assignment) -> Iterable[Altered]:
    if before.equipment != after.equipment:
        yield Altered(after.link, "equipment", before.equipment, after.equipment)
    if before.area != after.area:
        yield Altered(after.link, "area", before.area, after.area)
    if before.scenes != after.scenes:
        yield Altered(after.link, "scenes", ";".join(sorted(before.scenes)), ";".join(sorted(after.scenes)))


def _renamed(removed: Rows, added: Rows) -> list[str]:
    """What went and what came in the same place: perhaps only the name changed."""
    places = {(row.frequency_hz, row.equipment, row.area): row.link for row in removed if row.frequency_hz is not None}
    return [
        f"{places[key]!r} and {row.link!r} have the same equipment, area and frequency: perhaps only renamed"
        for row in added
        if (key := (row.frequency_hz, row.equipment, row.area)) in places
    ]


def _spelled(couples: Couples) -> list[str]:
    return [f"{a.link!r} and {b.link!r} are taken for one link" for a, b in couples if a.link != b.link]
