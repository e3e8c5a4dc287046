"""The plan as an answer: which link stands where and why, which does not and why, spares, moves, conflicts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fallow.plan.advice.advice import Advice
from fallow.plan.judge.audit import Audit, Conflict, audit_of
from fallow.plan.judge.carriers import Carrier, Company
from fallow.plan.judge.explain import because, stands_against, why
from fallow.plan.judge.footing import Footing
from fallow.plan.judge.group_rules import Unkept
from fallow.plan.judge.stage import Stage
from fallow.plan.ledger.accounts import Accounts, accounts_of
from fallow.plan.ledger.ledger import Figure, Ledger, Risk
from fallow.plan.ledger.ledger_notes import notes_on_margins
from fallow.plan.places import Ground
from fallow.plan.wording import few, mhz
from fallow.show.assignment import Assignment
from fallow.show.link import Link
from fallow.show.wanted import Wanted

if TYPE_CHECKING:
    from fallow.plan.search.bounds import Bound
    from fallow.plan.search.search import Solution

__all__ = ["Move", "PlacedLink", "Plan", "Spare", "Unplaced", "compose_plan", "moves_of", "rows_of_solution"]

MOST_EXPLAINED = 40
_ASK = (
    "more sorts of links are without a frequency than are explained one by one; the reasons of the more important ones "
    "hold here too, or ask: --why '{0.name}'"
)


@dataclass(frozen=True)
class PlacedLink:
    """A planned link. ``frequency_hz`` ``None``: none was found. ``verdict``: ``None`` without surveys.

    ``decided_by``: the survey that gave the verdict, by its name; ``None`` where none holds there. ``ledger``: its
    account in decibels; ``None`` where its power is not known.
    """

    link: str
    frequency_hz: int | None
    verdict: str | None
    reasons: tuple[str, ...]
    decided_by: str | None = None
    ledger: Ledger | None = None

    @property
    def margin_db(self) -> float | None:
        """What is wanted less all that is unwanted less what is needed; negative means trouble; ``None`` without a
        ledger.
        """
        return None if self.ledger is None else self.ledger.margin_db

    @property
    def why(self) -> str:
        """The reasons in one sentence."""
        return "; ".join(self.reasons)


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
    make. ``unkept``: wishes about groups of links that it does not keep.
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
    risks: tuple[Risk, ...] = ()
    assumed: Mapping[str, tuple[Figure, ...]] = field(default_factory=dict)
    advice: Advice = Advice()
    unkept: tuple[Unkept, ...] = ()


def compose_plan(
    best: Solution,
    wanted: Wanted,
    ground: Ground,
    *,
    keep: Mapping[str, int] | None = None,
    bound: Bound | None = None,
    seed: int = 1,
    measured: Mapping[str, float] | None = None,
) -> Plan:
    """Audit a solution of the search, draw up its ledgers and put it all into words. ``keep``: hertz by link of the
    plan in force. ``measured``: levels [dBm] of carriers by name, see ``accounts_of``.

    ``seconds`` is left at 0 for the caller, who holds the clock. Raises UsageError for equipment that is not known.
    """
    links = [link for link in wanted.links if link.planned]
    stage = Stage.of(rows_of_solution(links, best), wanted, ground)
    judged = audit_of(stage)
    accounts = accounts_of(stage, measured)
    telling = _Telling(stage, wanted, ground, keep or {}, accounts)
    return Plan(
        links={link.name: telling.placed(link) for link in links},
        unplaced=telling.unplaced([link for link in links if link.name not in best.frequencies_hz]),
        spares=tuple(Spare(one.name, one.equipment, one.area, one.frequency_hz) for one in best.spares),
        most=bound,
        moved=tuple(moves_of(best, keep or {})),
        conflicts=judged.conflicts,
        notes=(*_notes(wanted, judged), *notes_on_margins(accounts, stage.footings)),
        seed=seed,
        seconds=0.0,
        risks=accounts.risks_of({link.name for link in links}),
        assumed=accounts.assumed,
        unkept=judged.unkept,
    )


def rows_of_solution(links: Sequence[Link], best: Solution) -> list[Assignment]:
    """A solution as rows of a plan: those links that are placed, then spares."""
    placed = [link for link in links if link.name in best.frequencies_hz]
    rows = [
        Assignment(link.name, link.equipment, link.area, link.scenes, best.frequencies_hz[link.name]) for link in placed
    ]
    return rows + [Assignment(one.name, one.equipment, one.area, frozenset(), one.frequency_hz) for one in best.spares]


def moves_of(best: Solution, keep: Mapping[str, int]) -> Iterator[Move]:
    """Links that have another frequency than in the plan to keep (hertz by link)."""
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
        self, stage: Stage, wanted: Wanted, ground: Ground, keep: Mapping[str, int], accounts: Accounts
    ) -> None:
        self._stage, self._wanted, self._ground, self._keep, self._accounts = stage, wanted, ground, keep, accounts
        self._position = {footing.carrier.name: i for i, footing in enumerate(stage.footings)}
        self._because: dict[tuple[str, str, frozenset[str], frozenset[str]], tuple[str, ...]] = {}

    def placed(self, link: Link) -> PlacedLink:
        """A link with its frequency and the reason for it."""
        position = self._position.get(link.name)
        if position is None:
            return PlacedLink(link.name, None, None, ("no place was found for it",))
        footing = self._stage.footings[position]
        verdict = None if footing.judged is None else footing.judged.verdict.word
        reasons = why(footing, self._stage.company, position, self._standing(link, position))
        ledger = self._accounts.ledgers.get(link.name)
        return PlacedLink(link.name, footing.carrier.frequency_hz, verdict, reasons, footing.survey or None, ledger)

    def unplaced(self, links: Sequence[Link]) -> tuple[Unplaced, ...]:
        """Links without a frequency and what stands in their way, told for the most important ``MOST_EXPLAINED`` sorts
        of them; spares do not stand in the way, for they yield to links.
        """
        for link in sorted(links, key=lambda link: link.priority):
            alike = _alike(link)
            if alike not in self._because:
                self._because[alike] = self._told(link) if len(self._because) < MOST_EXPLAINED else (_ASK.format(link),)
        return tuple(Unplaced(link.name, self._because[_alike(link)]) for link in links)

    def _told(self, link: Link) -> tuple[str, ...]:
        names = {one.name for one in self._wanted.links}
        others = [one for one in self._stage.company.carriers if not one.ours or one.name in names]
        return because(self._company((*others, self._carrier(link, 0))), self._ground)

    def _standing(self, link: Link, position: int) -> str:
        """How a link came to its place: fixed, kept, moved, as wished or not."""
        at_hz, home_hz = self._stage.footings[position].carrier.frequency_hz, self._keep.get(link.name)
        if link.fixed:
            return "fixed where it was" if home_hz == at_hz else "fixed"
        if home_hz is not None:
            return "kept where it was" if home_hz == at_hz else f"moved from {self._left(link, position, home_hz)}"
        if link.frequency_hz is None:
            return ""
        if link.frequency_hz == at_hz:
            return "as wished"
        return f"not as wished at {self._left(link, position, link.frequency_hz)}"

    def _left(self, link: Link, position: int, from_hz: int) -> str:
        """A place that a link does not have, and what stands against it with all others where they are."""
        carriers = list(self._stage.company.carriers)
        carriers[position] = self._carrier(link, from_hz)
        company = self._company(carriers)
        footing = Footing.of(carriers[position], self._wanted.equipment[link.equipment], self._ground)
        against = stands_against(footing, company, position)
        return f"{mhz(from_hz)}, which {against}" if against else f"{mhz(from_hz)}, for the whole plan"

    def _carrier(self, link: Link, frequency_hz: int) -> Carrier:
        equipment = self._wanted.equipment[link.equipment]
        return Carrier.of_ours(link.name, equipment, link.area, link.scenes, frequency_hz, link.groups)

    def _company(self, carriers: Sequence[Carrier]) -> Company:
        return Company(carriers, self._wanted.losses, self._wanted.groupings)


def _alike(link: Link) -> tuple[str, str, frozenset[str], frozenset[str]]:
    """What links that are explained in the same words share."""
    return link.equipment, link.area, link.scenes, link.groups
