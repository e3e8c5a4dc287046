"""What one copy of a show knows of, and which values each of its places held, one after another.

A copy knows its own changes and, after each merge, all that the other copy knew then. Each value has an *origin*, the
change that made it, in whichever copy: a merge that only brings a value along keeps its origin, one that chooses among
two gives it a new one. So two copies that learned of a value by different ways, over a third one too, know that it is
the same; and whichever copy knows the origin of the other's value has seen it, and its own is the later one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter

from fallow.showfile.history import Happened, Nature
from fallow.showfile.holding import value_of
from fallow.showfile.kinds import MERGES
from fallow.showfile.store import ShowFile

__all__ = ["CHOICE", "Knowledge", "Name", "Step", "knowledge_of"]

CHOICE = "choice "  # so begins the origin of a value that a merge chose or put together
Name = tuple[str, str]
Touched = tuple[int, str, str, str | None]


@dataclass(frozen=True)
class Step:
    """A value that stood at one place: its image, the ``uid`` of the change of this copy that put it there, and its
    origin. ``is_withdrawn``: it came by a merge that is undone, so that this copy does not know of it any more.
    """

    uid: str
    origin: str
    image: str | None
    is_withdrawn: bool = False

    def is_known(self, copy: Knowledge) -> bool:
        """Whether a copy knows of this value. Of one that was withdrawn, only where the same merge is its own, too."""
        if self.is_withdrawn:
            return self.uid in copy.own
        return self.uid in copy.uids or self.origin in copy.uids


NOTHING = Step("", "", None)  # before the first change, which everybody knows of


@dataclass(frozen=True)
class Knowledge:
    """What a copy knows. ``uids``: of changes and of decisions; ``steps``: what each place held, the oldest first;
    ``own``: the changes of its own history.
    """

    uids: frozenset[str]
    steps: Mapping[Name, Sequence[Step]]
    own: frozenset[str]

    def now(self, name: Name) -> Step:
        """What stands there at present, with the origin that it has without the merges that are undone."""
        return next((step for step in reversed(self.steps.get(name, ())) if not step.is_withdrawn), NOTHING)

    def last_known(self, name: Name, other: Knowledge) -> Step:
        """The last that stood there and that another copy knows of."""
        return next((step for step in reversed(self.steps.get(name, ())) if step.is_known(other)), NOTHING)

    def was_chosen_since(self, name: Name, earlier: Step) -> bool:
        """Whether somebody chose what stands there after an earlier step, so that it was changed whatever it is."""
        steps = self.steps.get(name, ())
        later = steps[steps.index(earlier) + 1 :] if earlier in steps else steps
        return any(step.origin.startswith(CHOICE) and not step.is_withdrawn for step in later)


def knowledge_of(show: ShowFile, others: Sequence[Happened]) -> Knowledge:
    """What a copy knows. ``others``: the history of the other one. Raises InputError for damage."""
    own = show.changes()
    return Knowledge(frozenset(_known(show, own, others)), _steps(show, own), frozenset(one.uid for one in own))


def _known(show: ShowFile, own: Iterable[Happened], others: Sequence[Happened]) -> set[str]:
    known = {one.uid for one in own}
    numbers = {one.uid: number for number, one in enumerate(others, 1)}
    for merge in show.all(MERGES):
        known |= {merge.until, *merge.known}
        known |= {one.uid for one in others[: numbers.get(merge.until, 0)]}
    return known


def _steps(show: ShowFile, own: Iterable[Happened]) -> Mapping[Name, Sequence[Step]]:
    happened = {one.number: one for one in own}
    steps: dict[Name, list[Step]] = defaultdict(list)
    rows = show.connection.execute("SELECT change, kind, key, after FROM change_row ORDER BY change, id")
    for number, of_change in groupby(rows, itemgetter(0)):
        one = happened[number]
        touched: list[Touched] = list(of_change)
        origins = _origins(show, touched)
        merge = happened[one.of] if one.nature is Nature.REDO and one.of is not None else one
        is_withdrawn = origins is not None and merge.undone
        left = dict(origins or {})
        for _, kind, key, image in touched:
            if kind != MERGES.name:
                origin = left.pop((kind, key), one.uid)
                steps[kind, key].append(Step(one.uid, origin, image, is_withdrawn))
        for name, origin in left.items():  # what a merge left as it was
            image = steps[name][-1].image if steps[name] else None
            steps[name].append(Step(one.uid, origin, image, is_withdrawn))
    return steps


def _origins(show: ShowFile, touched: Iterable[Touched]) -> dict[Name, str] | None:
    """The origins that the merges of a change tell; ``None``: it was none."""
    merges = [
        value_of(MERGES, key, after, show.path) for _, kind, key, after in touched if kind == MERGES.name and after
    ]
    if not merges:
        return None
    return {name: origin for merge in merges for origin, names in merge.origins.items() for name in names}
