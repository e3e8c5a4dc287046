"""Who may not move in a re-plan: links that are on the air now, and who is let go all the same."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from fallow.errors import UsageError
from fallow.plan.wording import counted, few
from fallow.show.assignment import Assignment
from fallow.show.duplex import both_directions
from fallow.show.link import Link
from fallow.show.wanted import Wanted

__all__ = ["Locked", "lock_links", "notes_on_strays"]


@dataclass(frozen=True)
class Locked:
    """A show in which links that may not move are fixed where they are. ``keep``: hertz by link of the plan in force.

    ``on_air``: links that are fixed only because they are on the air now.
    """

    wanted: Wanted
    keep: Mapping[str, int]
    on_air: tuple[str, ...]
    notes: tuple[str, ...]


def lock_links(
    wanted: Wanted, keep: Mapping[str, int], *, scene: str | None = None, may_move: Collection[str] = ()
) -> Locked:
    """Fix the links that are on in the scene that runs now where the plan in force has them; let go ``may_move``,
    fixed or on the air, both directions of those that have two.

    Raises UsageError for a scene or a link that nobody knows.
    """
    _check(wanted, scene, may_move)
    may_move = {*may_move, *(partner for name in may_move for partner in both_directions(name, wanted))}
    freed = {link.name: link for link in wanted.links if link.name in may_move}
    homes = {name: link.frequency_hz for name, link in freed.items() if link.fixed and link.frequency_hz is not None}
    keep = {**homes, **keep}
    on_air = tuple(link.name for link in wanted.links if _is_locked(link, keep, scene) and link.name not in freed)
    links = [
        replace(link, fixed=True, frequency_hz=keep[link.name]) if link.name in on_air else _let_go(link, freed)
        for link in wanted.links
    ]
    return Locked(replace(wanted, links=tuple(links)), keep, on_air, tuple(_notes(scene, on_air, list(freed))))


def notes_on_strays(keep: Sequence[Assignment], wanted: Wanted) -> tuple[str, ...]:
    """What becomes of rows of the plan in force that are on a frequency and no links of the show."""
    listed = {link.name for link in wanted.links}
    strays = [row.link for row in keep if not (row.is_spare or row.frequency_hz is None or row.link in listed)]
    if not strays:
        return ()
    are, off = ("is no link", "it is") if len(strays) == 1 else ("are no links", "they are")
    return (
        f"{counted(len(strays), 'row')} of the plan in force {are} of this show ({few(strays)}): here "
        f"{off} off, switched off first where a move needs the place",
    )


def _is_locked(link: Link, keep: Mapping[str, int], scene: str | None) -> bool:
    on = scene is not None and (not link.scenes or scene in link.scenes)
    return on and link.planned and not link.fixed and link.name in keep


def _let_go(link: Link, freed: Mapping[str, Link]) -> Link:
    return replace(link, fixed=False, frequency_hz=None) if link.name in freed and link.fixed else link


def _check(wanted: Wanted, scene: str | None, may_move: Collection[str]) -> None:
    scenes = sorted(frozenset[str]().union(*(link.scenes for link in wanted.links)))
    if scene is not None and scene not in scenes:
        hint = f"the scenes are: {', '.join(scenes)}" if scenes else "no link has a scene: name none, all are on"
        raise UsageError(f"no link is on in a scene called {scene!r}", hint=hint)
    names = [link.name for link in wanted.links]
    for name in may_move:
        if name not in names:
            near = difflib.get_close_matches(name, names, 1)
            raise UsageError(f"no link is called {name!r}", hint=f"did you mean {near[0]!r}?" if near else None)


def _notes(scene: str | None, on_air: Sequence[str], freed: Sequence[str]) -> list[str]:
    notes = []
    if on_air:
        stay = "stays where it is" if len(on_air) == 1 else "stay where they are"
        notes.append(f"on the air in the scene {scene}, so {few(on_air)} {stay}; --may-move lets one go")
    if freed:
        notes.append(f"allowed to move: {few(freed)}")
    return notes
