"""What an audit says beside its conflicts: what was not judged, what needs asking, what is doubtful; in groups."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from fallow.plan.carriers import Carrier, Company
from fallow.plan.footing import Footing
from fallow.plan.wording import counted, few, mhz
from fallow.rules.territory import Answer
from fallow.spectrum.verdict import Verdict

__all__ = ["SortedRows", "notes_on"]


@dataclass
class SortedRows:
    """The rows of a plan, sorted: carriers of ours to judge, and names of rows about which something has to be said."""

    ours: list[Carrier] = field(default_factory=list)
    unplanned: list[str] = field(default_factory=list)
    without_frequency: list[str] = field(default_factory=list)
    different: list[str] = field(default_factory=list)


def notes_on(rows: SortedRows, company: Company, footings: Sequence[Footing]) -> tuple[str, ...]:
    """The notes of an audit, each one sentence, the weightiest last."""
    return (
        *_on_rows(rows),
        *_on_law(footings),
        *_on_air(footings),
        *_on_strangers_products(company),
    )


def _on_rows(rows: SortedRows) -> Iterator[str]:
    if rows.unplanned:
        names = few(rows.unplanned)
        yield f"not judged, because they choose their own channels: {names}"
    if rows.without_frequency:
        yield f"not judged, because they have no frequency: {few(rows.without_frequency)}"
    if rows.different:
        names = few(rows.different)
        yield f"the plan and the list of links differ in equipment, area or scenes, and the list was believed: {names}"


def _on_law(footings: Sequence[Footing]) -> Iterator[str]:
    if any(footing.permission is None for footing in footings):
        yield "no region was given, so the law was not asked: every place counts as allowed"
    asking: dict[str, list[str]] = {}
    for footing in footings:
        if footing.permission is not None and footing.is_told(Answer.ASK):
            asking.setdefault(footing.permission.text, []).append(footing.carrier.name)
    for text, names in asking.items():
        yield f"ask before use ({counted(len(names), 'carrier')}: {few(names)}): {text}"


def _on_air(footings: Sequence[Footing]) -> Iterator[str]:
    if any(footing.judged is None for footing in footings):
        yield "no sweeps were given, so nothing is known of what is on the air"
    for verdict in (Verdict.DOUBTFUL, Verdict.NOT_MEASURED):
        names = [footing.carrier.name for footing in footings if footing.is_judged(verdict)]
        if names:
            yield f"on {verdict.word} places stand {counted(len(names), 'carrier')}: {few(names)}"


def _on_strangers_products(company: Company) -> Iterator[str]:
    for victim, form, makers in company.product_hits(by_ours=False):
        for row in makers[:1].tolist():
            names = [company.carriers[i].name for i in row]
            product_hz = form.at_hz([company.carriers[i].frequency_hz for i in row])
            more = f" and {len(makers) - 1} more of this form" if len(makers) > 1 else ""
            yield (
                f"{company.carriers[victim].placed} is hit by {form.worded(names)} at {mhz(product_hz)}{more}: "
                "foreign carriers alone make it, so only another place for the link mends it"
            )
