"""The plan as an answer: which link stands where and why, which does not and why, spares, moves, conflicts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fallow.plan.audit import Audit, Conflict, audit
from fallow.plan.carriers import Carrier, Company
from fallow.plan.explain import because, stands_against, why
from fallow.plan.footing import Footing
from fallow.plan.places import Ground
from fallow.plan.wording import few, mhz
from fallow.show.assignment import Assignment
from fallow.show.equipment import Equipment
from fallow.show.link import Link
from fallow.show.wanted import Wanted

if TYPE_CHECKING:
    from fallow.plan.bounds import Bound
    from fallow.plan.search import Solution, SpareAt

__all__ = ["Move", "PlacedLink", "Plan", "Spare", "Unplaced", "compose_plan"]


@dataclass(frozen=True)
class PlacedLink:
    """A planned link. ``frequency_hz`` ``None``: none was found. ``verdict``: ``None`` without surveys.

    ``margin_db``: by how much the link's worst trouble stays below what it bears; ``None`` until a ledger counts it.
    """

    link: str
    frequency_hz: int | None
    verdict: str | None
    margin_db: float | None
    why: str


@dataclass(frozen=True)
class Unplaced:
    """A link without a frequency, and what stands in its way."""

    link: str
    because: tuple[str, ...]


@dataclass(frozen=True)
class Spare:
    """A frequency kept free for any link of one equipment in one area."""

    spare: str
    equipment: str
    area: str
    frequency_hz: int


@dataclass(frozen=True)
class Move:
    """A link that has another frequency than in the plan that was to be kept."""

    link: str
    from_hz: int
    to_hz: int


@dataclass(frozen=True)
class Plan:
    """A frequency plan with its reasons.

    ``links``: all planned links by name, in the order of their table. ``most``: a bound that no plan can pass, where
    one is known. ``conflicts``: what the audit finds, such as between fixed links. ``seconds``: how long it took to
    make.
    """

    links: Mapping[str, PlacedLink]
    unplaced: tuple[Unplaced, ...]
    spares: tuple[Spare, ...]
    most: Bound | None
    moved: tuple[Move, ...]
    conflicts: tuple[Conflict, ...]
    notes: tuple[str, ...]
    seed: int
    seconds: float


def compose_plan(
    best: Solution,
    wanted: Wanted,
    ground: Ground,
    *,
    keep: Mapping[str, int] | None = None,
    bound: Bound | None = None,
    seed: int = 1,
) -> Plan:
    """Audit a solution of the search and put it into words. ``keep``: hertz by link of the plan in force.

    ``seconds`` is left at 0 for the caller, who holds the clock. Raises UsageError for equipment that is not known.
    """
    links = [link for link in wanted.links if link.planned]
    judged = audit(_rows(links, best), wanted, ground)
    telling = _Telling(links, best, wanted, ground, keep or {})
    return Plan(
        links={link.name: telling.placed(link) for link in links},
        unplaced=tuple(telling.unplaced(link) for link in links if link.name not in best.frequencies_hz),
        spares=tuple(Spare(one.name, one.equipment, one.area, one.frequency_hz) for one in best.spares),
        most=bound,
        moved=tuple(_moves(best, keep or {})),
        conflicts=judged.conflicts,
        notes=tuple(_notes(wanted, judged)),
        seed=seed,
        seconds=0.0,
    )


def _rows(links: Sequence[Link], best: Solution) -> list[Assignment]:
    placed = [link for link in links if link.name in best.frequencies_hz]
    rows = [
        Assignment(link.name, link.equipment, link.area, link.scenes, best.frequencies_hz[link.name]) for link in placed
    ]
    return rows + [Assignment(one.name, one.equipment, one.area, frozenset(), one.frequency_hz) for one in best.spares]


def _moves(best: Solution, keep: Mapping[str, int]) -> Iterator[Move]:
    for name, to_hz in best.frequencies_hz.items():
        if keep.get(name, to_hz) != to_hz:
            yield Move(name, keep[name], to_hz)


def _notes(wanted: Wanted, judged: Audit) -> Iterator[str]:
    choosing = [link.name for link in wanted.links if not link.planned]
    if choosing:
        yield f"not planned, because they choose their own channels: {few(choosing)}"
    yield from judged.notes


class _Telling:
    """Puts the links of one solution into words; links that are alike share what is found out for them."""

    def __init__(
        self, links: Sequence[Link], best: Solution, wanted: Wanted, ground: Ground, keep: Mapping[str, int]
    ) -> None:
        self._wanted, self._ground, self._keep = wanted, ground, keep
        self._hz = best.frequencies_hz
        placed = [self._carrier(link, self._hz[link.name]) for link in links if link.name in self._hz]
        strangers = [Carrier.of_stranger(foreign) for foreign in wanted.foreign]
        self._links_and_strangers = (*placed, *strangers)
        self._company = Company((*placed, *map(self._spare, best.spares), *strangers), wanted.losses)
        self._position = {carrier.name: i for i, carrier in enumerate(placed)}
        self._because: dict[tuple[str, str, frozenset[str]], tuple[str, ...]] = {}

    def placed(self, link: Link) -> PlacedLink:
        """A link with its frequency and the reason for it."""
        if link.name not in self._hz:
            return PlacedLink(link.name, None, None, None, "no place was found for it")
        position = self._position[link.name]
        footing = self._footing(link, self._company.carriers[position])
        verdict = None if footing.judged is None else footing.judged.verdict.word
        text = why(footing, self._company, position, self._standing(link))
        return PlacedLink(link.name, self._hz[link.name], verdict, None, text)

    def unplaced(self, link: Link) -> Unplaced:
        """A link without a frequency and what stands in its way; spares do not, for they yield to links."""
        alike = link.equipment, link.area, link.scenes
        if alike not in self._because:
            company = Company((*self._links_and_strangers, self._carrier(link, 0)), self._wanted.losses)
            self._because[alike] = because(company, self._ground)
        return Unplaced(link.name, self._because[alike])

    def _standing(self, link: Link) -> str:
        """How a link came to its place: fixed, kept, moved, as wished or not."""
        at_hz = self._hz[link.name]
        if link.fixed:
            return "fixed"
        home_hz = self._keep.get(link.name)
        if home_hz is not None:
            return "kept where it was" if home_hz == at_hz else self._moved(link, home_hz, "moved from")
        if link.frequency_hz is None:
            return ""
        return "as wished" if link.frequency_hz == at_hz else self._moved(link, link.frequency_hz, "not as wished at")

    def _moved(self, link: Link, from_hz: int, words: str) -> str:
        carriers, position = list(self._company.carriers), self._position[link.name]
        carriers[position] = self._carrier(link, from_hz)
        company = Company(carriers, self._wanted.losses)
        against = stands_against(self._footing(link, carriers[position]), company, position)
        return f"{words} {mhz(from_hz)}, where {against}" if against else f"{words} {mhz(from_hz)}, for the whole plan"

    def _footing(self, link: Link, carrier: Carrier) -> Footing:
        return Footing.of(carrier, self._equipment(link.equipment), self._ground)

    def _carrier(self, link: Link, frequency_hz: int) -> Carrier:
        return Carrier.of_ours(link.name, self._equipment(link.equipment), link.area, link.scenes, frequency_hz)

    def _spare(self, spare: SpareAt) -> Carrier:
        return Carrier.of_ours(
            spare.name, self._equipment(spare.equipment), spare.area, frozenset(), spare.frequency_hz
        )

    def _equipment(self, name: str) -> Equipment:
        return self._wanted.equipment[name]
