"""Names that are perhaps slips of the pen: spellings that differ only in capitals or blanks, areas without anybody."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from fallow.errors import UsageError
from fallow.show.assignment import Assignment
from fallow.show.grouping import USUAL, check_groups, groups_of
from fallow.show.link import Link
from fallow.show.wanted import Wanted

__all__ = ["check_group_names", "check_names", "look_alikes", "notes_on_names"]


def check_names(wanted: Wanted, rows: Sequence[Assignment] = (), path: str | None = None) -> None:
    """Raise UsageError for a foreign carrier that is called like a link: conflicts would not tell them apart.

    ``path``: where the foreign carriers were read, for the message.
    """
    ours = {link.name for link in wanted.links} | {row.link for row in rows}
    for stranger in wanted.foreign:
        if stranger.name in ours:
            what = f"a link and a foreign carrier are both called {stranger.name!r}"
            raise UsageError(what, path=path, hint="give the foreign carrier another name")


def check_group_names(wanted: Wanted, path: str | None = None) -> None:
    """Raise UsageError for a rule about a group that nobody is in. ``path``: where the rules were read."""
    known = frozenset(wanted.equipment).union(*(link.groups for link in wanted.links))
    check_groups(wanted.groupings, known, path)


def notes_on_names(wanted: Wanted, rows: Sequence[Assignment] = ()) -> tuple[str, ...]:
    """Areas and scenes of a show, and of the rows of a plan, that are perhaps slips of the pen; in sentences."""
    placed: tuple[Link | Assignment, ...] = (*wanted.links, *rows)
    areas = [area for pair in wanted.losses.pairs for area in pair]
    areas += [one.area for one in placed]
    areas += [one.area for one in wanted.foreign] + [one.area for one in wanted.stations]
    scenes = [scene for one in placed for scene in one.scenes]
    told = [_told(alike, "area") for alike in look_alikes(areas)]
    told += [_told(alike, "scene") for alike in look_alikes(scenes)]
    return (*told, *_areas_without_anybody(wanted, placed), *_said_in_vain(wanted))


def _said_in_vain(wanted: Wanted) -> Iterator[str]:
    """Ways back of links that have none, and rules about groups that no link is in."""
    radios = wanted.equipment
    known = [link for link in wanted.links if link.equipment in radios]
    for link in known:
        if link.return_hz is not None and radios[link.equipment].duplex is None:
            yield f"return_mhz of {link.name!r} counts for nothing: {link.equipment} has no way back"
    peopled = frozenset[str]().union(*(groups_of(link.groups, radios[link.equipment]) for link in known))
    named = {name for rule in wanted.groupings.rules if rule not in USUAL.rules for name in rule.names}
    if known:
        for name in sorted(named - peopled):
            yield f"a rule is about {name!r}, and no link of the show is that: it asks for nothing"


def _areas_without_anybody(wanted: Wanted, placed: Sequence[Link | Assignment]) -> Iterator[str]:
    """Areas whose losses are stated although nothing is in them: perhaps a slip that leaves another area open."""
    peopled = {one.area for one in (*placed, *wanted.foreign)}
    for area in sorted({area for pair in wanted.losses.pairs for area in pair} - peopled):
        yield f"losses are stated for the area {area!r}, in which no link and no foreign carrier is: is it spelt right?"


def look_alikes(names: Iterable[str]) -> Iterator[tuple[str, ...]]:
    """Groups of different names that differ only in capitals or blanks, each sorted."""
    groups: dict[str, set[str]] = {}
    for name in names:
        groups.setdefault("".join(name.casefold().split()), set()).add(name)
    return (tuple(sorted(group)) for group in groups.values() if len(group) > 1)


def _told(alike: Sequence[str], what: str) -> str:
    quoted = [repr(name) for name in alike]
    count = "two" if len(alike) == 2 else str(len(alike))
    return f"{', '.join(quoted[:-1])} and {quoted[-1]} are taken as {count} {what}s: if one is meant, spell it alike"
