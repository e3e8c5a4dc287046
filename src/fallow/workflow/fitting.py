"""Does the gear that is booked fit into the spectrum of the site; and if not, what to exchange.

Each proposal is proven by planning with it. Exchanges of few pieces come first: the links that find no place are tried
with other types of their kind that are free, then what finds no place after that. Where the plan is known to hold as
many links as any can, no exchange of fewer pieces than links are left out could do. Where no exchange serves all links,
the one that serves most of those that were planned is kept: priority by priority, as a plan counts them.
"""

from __future__ import annotations

import heapq
import itertools
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from fallow.errors import UsageError
from fallow.files.tables import check_links_against_equipment
from fallow.plan.answer import Plan, Unplaced
from fallow.plan.places import Ground
from fallow.show.duplex import unfolded
from fallow.show.equipment import Equipment
from fallow.show.lending import Borrower
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.showfile.kinds import SURVEYS
from fallow.showfile.store import ShowFile
from fallow.workflow.coordinate import Making, make_plan
from fallow.workflow.lending import Stock, borrower_of, stock_of
from fallow.workflow.library import Library, open_library, site_file
from fallow.workflow.show import Desk, FilePath, wanted_of
from fallow.workflow.show_plan import airs_of, circumstances_of, region_of
from fallow.workflow.surroundings import areas_of, ground_under

__all__ = ["Exchange", "Fit", "Fitting", "Proposal", "fit"]

MOST_PROPOSALS = 3
MOST_BRANCHES = 8
NO_STOCK = "the library has no stock.csv: whether there are pieces enough, and what to exchange, was not looked at"
Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Fitting:
    """How it is asked. ``site``: of the library, ``None``: the show's own surveys and law.

    ``first``, ``last``: the days on which pieces must be free. ``seconds``: for each plan; ``patience_s``: for all.
    """

    library: FilePath
    site: str | None
    first: date
    last: date
    seconds: float = 3.0
    patience_s: float = 120.0
    seed: int = 1


@dataclass(frozen=True)
class Exchange:
    """These links are made of another type."""

    links: tuple[str, ...]
    old: str
    new: str


@dataclass(frozen=True, eq=False)
class Proposal:
    """Exchanges, and the plan that proves them. ``served``: so many links have a frequency and a piece with them."""

    exchanges: tuple[Exchange, ...]
    plan: Plan
    served: int

    @property
    def pieces(self) -> int:
        """How many pieces are exchanged."""
        return sum(len(one.links) for one in self.exchanges)


@dataclass(frozen=True, eq=False)
class Fit:
    """The answer. ``fits``: every link has a frequency and a piece as booked.

    ``short``: pieces wanted and free, where there are too few. ``fewest_proven``: no exchange of fewer pieces than the
    first proposal's can do. ``partial``: where none serves all links, the one found that serves most, if any serves
    more than the ``served`` of as booked. ``tried``: plans made.
    """

    fits: bool
    links: int
    placed: int
    served: int
    unplaced: tuple[Unplaced, ...]
    proposals: tuple[Proposal, ...]
    partial: Proposal | None
    short: Mapping[str, tuple[int, int]]
    fewest_proven: bool
    tried: int
    plan: Plan
    notes: tuple[str, ...]


def fit(fitting: Fitting, desk: Desk, progress: Progress | None = None) -> Fit:
    """Whether the show's links fit at the site, and what to exchange where they don't. Nothing is changed.

    Raises UsageError where the show has no links or the library lacks the site, and what reading the library raises.
    """
    library = open_library(fitting.library)
    with desk.looking() as show:
        wanted = wanted_of(show)
        if not wanted.links:
            raise UsageError("the show has no links", path=show.path, hint="fallow show add --links FILE")
        check_links_against_equipment(wanted.links, wanted.equipment, show.path)
        stock = _stock_for(fitting, library, borrower_of(show, desk))
        if fitting.site is None:
            wanted, ground, notes = _here(show, wanted, progress)
        else:
            wanted, ground, notes = _there(fitting.site, library, wanted, progress)
    if stock is None:
        notes = (NO_STOCK, *notes)
    else:
        wanted = replace(wanted, equipment={**stock.equipment, **wanted.equipment})
        notes = (*stock.notes, *notes)
    return _Search(wanted, ground, {} if stock is None else stock.free, fitting, notes, progress).answer()


def _stock_for(fitting: Fitting, library: Library, borrower: Borrower) -> Stock | None:
    """The stock; ``None`` where a site of a library without one is asked about."""
    if fitting.site is not None and not library.stock.exists():
        return None
    return stock_of(library, fitting.first, fitting.last, but=borrower)


def _here(show: ShowFile, wanted: Wanted, progress: Progress | None) -> tuple[Wanted, Ground, tuple[str, ...]]:
    airs = airs_of(show, None, wanted, areas_of(wanted), progress)
    return wanted, ground_under(region_of(show), circumstances_of(show), airs, wanted), ()


def _there(
    name: str, library: Library, wanted: Wanted, progress: Progress | None
) -> tuple[Wanted, Ground, tuple[str, ...]]:
    """The links among what the site has: stations, strangers, areas, surveys and law."""
    with ShowFile.open(site_file(name, library)) as site:
        of_site = wanted_of(site)
        ours = {one.name for one in wanted.foreign}
        losses = wanted.losses if wanted.losses.pairs else of_site.losses
        foreign = (*wanted.foreign, *(one for one in of_site.foreign if one.name not in ours))
        stations = tuple(dict.fromkeys((*wanted.stations, *of_site.stations)))
        wanted = replace(wanted, losses=losses, foreign=foreign, stations=stations)
        areas = areas_of(wanted)
        heads = [head for head in site.all(SURVEYS) if not head.is_reference]
        used = [head.name for head in heads if head.area in areas]
        notes = [f"the survey {head.name!r} of {head.area!r} is left out: no link is there" for head in heads
                 if head.area not in areas]  # fmt: skip
        if not used:
            notes.append("the site has no survey of the air that holds here: every place counts as not looked at")
        airs = airs_of(site, used, wanted, areas, progress)
        ground = ground_under(region_of(site), circumstances_of(site), airs, wanted)
    return wanted, ground, tuple(notes)


Types = Mapping[str, str]  # the type of each exchanged link, by its name


class _Search:
    """Exchanges tried, few pieces first."""

    def __init__(
        self,
        wanted: Wanted,
        ground: Ground,
        free: Mapping[str, int],
        fitting: Fitting,
        notes: tuple[str, ...],
        progress: Progress | None,
    ) -> None:
        self.wanted, self.ground, self.free, self.fitting = wanted, ground, free, fitting
        self.notes, self.progress = notes, progress
        self.links = {link.name: link for link in wanted.links}
        self.until_s = time.monotonic() + fitting.patience_s
        self.tried = 0
        self.best: tuple[Types, Plan] | None = None

    def answer(self) -> Fit:
        """The plan as booked and, where it leaves links out, proposals."""
        plan = self._plan({})
        short, lacking = self._short({}), self._lacking(plan, {})
        proposals = tuple(self._proposals(lacking)) if lacking else ()
        placed = sum(one.frequency_hz is not None for one in plan.links.values())
        proven = bool(proposals) and self._is_fewest(plan, short, proposals[0])
        notes = self.notes
        if lacking and len(proposals) < MOST_PROPOSALS and time.monotonic() >= self.until_s:
            notes = (*notes, "the time was up before all exchanges were tried: more of it may find more")
        return Fit(
            fits=not lacking and not short,
            links=len(plan.links),
            placed=placed,
            served=sum(self._served({}, plan)),
            unplaced=plan.unplaced,
            proposals=proposals,
            partial=None if proposals else self._partial(plan),
            short=short,
            fewest_proven=proven,
            tried=self.tried,
            plan=plan,
            notes=notes,
        )

    def _partial(self, plan: Plan) -> Proposal | None:
        """The exchange that serves most links of those tried, where that is more than without any."""
        if self.best is None or self._served(*self.best) <= self._served({}, plan):
            return None
        types, better = self.best
        return Proposal(self._told(types), better, sum(self._served(types, better)))

    def _served(self, types: Types, plan: Plan) -> tuple[int, ...]:
        """How many links of each priority, the first one first, have a frequency and a piece."""
        counts: Counter[int] = Counter()
        left = dict(self.free)
        for link in sorted(self.wanted.links, key=lambda one: one.priority):
            name = types.get(link.name, link.equipment)
            place = plan.links.get(link.name)
            has_place = place is not None and place.frequency_hz is not None
            if (has_place or not link.planned) and left.get(name, 1) > 0:
                counts[link.priority] += link.planned
                if name in left:
                    left[name] -= 1
        return tuple(counts[priority] for priority in range(1, 6))

    def _plan(self, types: Types) -> Plan:
        self.tried += 1
        links = tuple(self._exchanged(link, types) for link in self.wanted.links)
        making = Making(0, None, self.fitting.seconds, self.fitting.seed, failures=False)
        show = unfolded(replace(self.wanted, links=links))
        plan, stopped = make_plan(show, self.ground, making, None, self.progress, levels=False)
        if stopped:
            raise KeyboardInterrupt
        return plan

    def _unplaced(self, plan: Plan) -> tuple[str, ...]:
        """The links without a frequency; ways back go with their links."""
        return tuple(one.link for one in plan.unplaced if one.link in self.links)

    def _exchanged(self, link: Link, types: Types) -> Link:
        if link.name not in types:
            return link
        return replace(link, equipment=types[link.name], frequency_hz=None)

    def _short(self, types: Types) -> dict[str, tuple[int, int]]:
        """Types of which more are wanted than are free: so many wanted, so many free."""
        counts = Counter(types.get(link.name, link.equipment) for link in self.wanted.links)
        free = self.free
        return {name: (count, free[name]) for name, count in counts.items() if free.get(name, count) < count}

    def _lacking(self, plan: Plan, types: Types) -> tuple[str, ...]:
        """The links that have to be made of something else: without a frequency, or without a piece."""
        lacking = list(self._unplaced(plan))
        for name, (count, free) in self._short(types).items():
            of_type = [link for link in self.wanted.links if types.get(link.name, link.equipment) == name]
            gone = sum(link.name in lacking for link in of_type)
            last = sorted((link for link in of_type if not link.fixed), key=lambda link: link.priority, reverse=True)
            lacking += [link.name for link in last if link.name not in lacking][: max(count - free - gone, 0)]
        return tuple(lacking)

    def _proposals(self, lacking: tuple[str, ...]) -> Iterator[Proposal]:
        """Exchanges that a plan proves, few pieces first, until the time is up."""
        order = itertools.count()
        queue: list[tuple[int, int, dict[str, str]]] = []
        seen: set[frozenset[tuple[str, str, int]]] = set()

        def branch(types: Types, of: tuple[str, ...]) -> None:
            for child in self._children(types, of):
                if (shape := self._shape(child)) not in seen:
                    seen.add(shape)
                    heapq.heappush(queue, (len(child), next(order), child))

        branch({}, lacking)
        found = 0
        while queue and found < MOST_PROPOSALS and time.monotonic() < self.until_s:
            _, _, types = heapq.heappop(queue)
            plan = self._plan(types)
            self._keep(types, plan)
            if lacks := self._lacking(plan, types):
                branch(types, lacks)
            elif not self._short(types):
                found += 1
                yield Proposal(self._told(types), plan, sum(self._served(types, plan)))

    def _keep(self, types: Types, plan: Plan) -> None:
        """Remember the exchange that serves most; of equals the first, which exchanges fewest pieces."""
        if self.best is None or self._served(types, plan) > self._served(*self.best):
            self.best = types, plan

    def _children(self, types: Types, lacking: tuple[str, ...]) -> Iterator[dict[str, str]]:
        """Further exchanges of the links that lack a place: each of the types among them for one that is free."""
        groups: dict[str, list[str]] = {}
        for name in lacking:
            if self.links[name].planned and not self.links[name].fixed:
                groups.setdefault(types.get(name, self.links[name].equipment), []).append(name)
        choices = [[(old, new) for new in self._others(old)] for old in groups]
        for chosen in list(itertools.product(*(one for one in choices if one)))[:MOST_BRANCHES] if any(choices) else []:
            child = dict(types)
            for old, new in chosen:
                room = self._left(new, child)
                child |= dict.fromkeys(groups[old][: max(room, 0)], new)
            if child != types:
                yield child

    def _others(self, old: str) -> list[str]:
        """Types of the same kind that are in stock, those with most free pieces first."""
        kind = self.wanted.equipment[old].kind
        free = self.free
        fits = [name for name in free if name != old and _may(self.wanted.equipment.get(name), kind) and free[name] > 0]
        return sorted(fits, key=lambda name: -free[name])

    def _left(self, name: str, types: Types) -> int:
        """How many pieces of a type nobody has yet, the show included."""
        used = Counter(types.get(link.name, link.equipment) for link in self.wanted.links)
        return self.free[name] - used[name]

    def _shape(self, types: Types) -> frozenset[tuple[str, str, int]]:
        """How many of which type for which: which of like links they are matters little."""
        counts = Counter((self.links[name].equipment, new) for name, new in types.items())
        return frozenset((old, new, number) for (old, new), number in counts.items())

    def _told(self, types: Types) -> tuple[Exchange, ...]:
        by_types: dict[tuple[str, str], list[str]] = {}
        for name, new in types.items():
            by_types.setdefault((self.links[name].equipment, new), []).append(name)
        return tuple(Exchange(tuple(names), old, new) for (old, new), names in by_types.items())

    def _is_fewest(self, plan: Plan, short: Mapping[str, tuple[int, int]], proposal: Proposal) -> bool:
        """Fewer exchanged pieces would leave more of the old links than any plan can hold, or than there are pieces."""
        placed = sum(one.frequency_hz is not None for one in plan.links.values())
        by_stock = sum(count - free for count, free in short.values())
        is_bound = plan.most is not None and plan.most.links == placed and plan.links.keys() <= self.links.keys()
        by_plan = len(plan.unplaced) if is_bound else 0
        return proposal.pieces <= max(by_stock, by_plan)


def _may(radio: Equipment | None, kind: object) -> bool:
    return radio is not None and radio.kind == kind and bool(radio.tuning or radio.presets_hz)
