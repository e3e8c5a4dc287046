"""Groups of links that keep away from each other in frequency, or stay together: rules of a show, as plain values.

A group is named by the column ``group`` of the table of links, by a type of equipment, or by a kind (``in-ear``).
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from fallow.errors import UsageError
from fallow.show.equipment import Equipment, Kind

__all__ = ["USUAL", "Apart", "Groupings", "Together", "check_groups", "groups_of", "same_area"]


@dataclass(frozen=True)
class Apart:
    """Links of ``group`` keep at least ``distance_hz`` [Hz, centre to centre] from those of ``other`` that are on with
    them. The two may be one group.

    ``everywhere``: in all areas that hear each other; else only where the area is the same. ``hard``: a plan that
    breaks it has a conflict; else it is a wish. ``source``: where the figure is from. ``line``: in its file.
    """

    group: str
    other: str
    distance_hz: int
    everywhere: bool = False
    hard: bool = False
    source: str = ""
    line: int | None = None

    @property
    def pair(self) -> frozenset[str]:
        """The groups that it is about, in no order."""
        return frozenset((self.group, self.other))

    @property
    def names(self) -> tuple[str, ...]:
        """The groups that it names."""
        return (self.group, self.other)


@dataclass(frozen=True)
class Together:
    """The carriers of ``group`` lie within ``within_hz`` [Hz, from the lowest to the highest], whenever they are on.

    ``everywhere``: those of all areas; else those of each area by themselves. The rest as in ``Apart``.
    """

    group: str
    within_hz: int
    everywhere: bool = False
    hard: bool = False
    source: str = ""
    line: int | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """The group that it names."""
        return (self.group,)


@dataclass(frozen=True)
class Groupings:
    """All rules about groups in force. A distance of 0 Hz asks for nothing."""

    apart: tuple[Apart, ...] = ()
    together: tuple[Together, ...] = ()

    @property
    def rules(self) -> tuple[Apart | Together, ...]:
        """Those of both kinds."""
        return (*self.apart, *self.together)

    @property
    def names(self) -> frozenset[str]:
        """All groups that a rule names."""
        return frozenset(name for rule in self.rules for name in rule.names)

    @classmethod
    def of(cls, rules: Iterable[Apart | Together]) -> Groupings:
        """Rules of both kinds, sorted."""
        rules = tuple(rules)
        apart = tuple(rule for rule in rules if isinstance(rule, Apart))
        return cls(apart, tuple(rule for rule in rules if isinstance(rule, Together)))

    def with_usual(self) -> Groupings:
        """These rules, and the usual ones about groups of which nothing is said here."""
        said = {rule.pair for rule in self.apart}
        usual = tuple(rule for rule in USUAL.apart if rule.pair not in said)
        return Groupings((*self.apart, *usual), self.together)

    def of_strength(self, *, hard: bool) -> Groupings:
        """Those that must be kept, or those that are wishes."""
        return Groupings(
            tuple(rule for rule in self.apart if rule.hard == hard),
            tuple(rule for rule in self.together if rule.hard == hard),
        )

    def __bool__(self) -> bool:
        return bool(self.apart or self.together)


USUAL = Groupings((Apart(Kind.IN_EAR.value, Kind.MICROPHONE.value, 4_000_000, source="common practice"),))
"""In-ears 4 to 8 MHz from the microphones of the same area (common practice); the lower figure, as a wish."""


def groups_of(names: Collection[str], equipment: Equipment) -> frozenset[str]:
    """The groups that a link is in: those that its row names, its equipment and its kind."""
    return frozenset((*names, equipment.name, equipment.kind.value))


def same_area(one: str, other: str) -> bool:
    """Whether two links count as in one area; what has no area is everywhere."""
    return one == other or not one or not other


def check_groups(groupings: Groupings, known: Iterable[str], path: str | None = None) -> None:
    """Raise UsageError for a group that nothing is in: a slip of the pen would silently switch a rule off.

    ``known``: groups of links, and names of equipment; kinds are always known.
    """
    names = sorted({*known, *(kind.value for kind in Kind)})
    for rule in groupings.rules:
        for name in rule.names:
            if name not in names:
                raise UsageError(
                    f"no link, equipment or kind is called {name!r}",
                    path=path,
                    line=rule.line,
                    hint=_meant(name, names),
                )


def _meant(name: str, names: Sequence[str]) -> str:
    near = difflib.get_close_matches(name, names, 1)
    return f"did you mean {near[0]!r}?" if near else f"there are {', '.join(names[:12])}"
