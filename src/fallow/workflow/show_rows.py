"""The rows of a plan beside the links of the show: who has no row, which row nobody stands behind, who stands twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from fallow.plan.judge.conflicts import Conflict
from fallow.plan.wording import few
from fallow.show.assignment import Assignment
from fallow.show.duplex import return_name
from fallow.show.link import Link
from fallow.show.wanted import Wanted

__all__ = ["RowsAndLinks", "rows_and_links", "twice_in_plan"]


@dataclass(frozen=True)
class RowsAndLinks:
    """Names, in the order of the links or rows. ``without_row``: links, and their ways back, that the plan does not
    know; ``without_link``: rows of which the show has no link; ``twice``: links with more than one row; ``elsewhere``:
    links that may not move, and their ways back, whose row has another place than the link.
    """

    without_row: tuple[str, ...] = ()
    without_link: tuple[str, ...] = ()
    twice: tuple[str, ...] = ()
    elsewhere: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """What does not fit, in sentences."""
        return tuple(self._sentences())

    def _sentences(self) -> Iterator[str]:
        if self.without_row:
            yield f"links without a row in this plan: {few(self.without_row)}"
        if self.without_link:
            yield f"rows of this plan that are of no link of the show: {few(self.without_link)}"
        if self.twice:
            yield f"links with two rows in this plan: {few(self.twice)}"
        if self.elsewhere:
            yield f"links that are fixed elsewhere than this plan has them: {few(self.elsewhere)}"


def rows_and_links(rows: Iterable[Assignment], wanted: Wanted) -> RowsAndLinks:
    """What of a plan and the links of the show does not fit. Spares are nobody's; who chooses its own channels needs
    no row.
    """
    rows = [row for row in rows if not row.is_spare]
    counts = Counter(row.link for row in rows)
    fixed_hz = {name: at_hz for link in wanted.links if link.fixed for name, at_hz in _places(link)}
    known = {name: link.planned for link in wanted.links for name in _directions(link, wanted)}
    return RowsAndLinks(
        tuple(name for name, is_planned in known.items() if is_planned and name not in counts),
        tuple(name for name in counts if name not in known),
        tuple(name for name, count in counts.items() if count > 1 and name in known),
        tuple(row.link for row in rows if fixed_hz.get(row.link, row.frequency_hz) != row.frequency_hz),
    )


def twice_in_plan(name: str) -> Conflict:
    """A link with more than one row: nobody can tell which frequency is meant."""
    text = f"{name} stands in the plan more than once, and its rows may say different things: plan again"
    return Conflict("twice", name, (), None, None, None, text)


def _places(link: Link) -> Iterator[tuple[str, int]]:
    """Where a link and its way back are, as far as that is stated, by the names of their rows."""
    for name, at_hz in ((link.name, link.frequency_hz), (return_name(link.name), link.return_hz)):
        if at_hz is not None:
            yield name, at_hz


def _directions(link: Link, wanted: Wanted) -> Iterator[str]:
    """What the rows of a link are called: its name, and that of its way back where it has one."""
    yield link.name
    radio = wanted.equipment.get(link.equipment)
    if radio is not None and radio.duplex is not None and link.planned:
        yield return_name(link.name)
