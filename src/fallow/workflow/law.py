"""What a region allows, as it is shown to people: its rows with the answer that today's circumstances give."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from fallow.errors import UsageError
from fallow.files.territories import load_territory, region_codes
from fallow.rules.permission import answer_for_row, rows_that_matter
from fallow.rules.territory import Answer, Circumstances, Rule, Territory
from fallow.units import Channel, Span

__all__ = ["RegionRules", "circumstances_from", "list_regions", "list_rules"]


@dataclass(frozen=True, eq=False)
class RegionRules:
    """A territory with the rows and TV channels that were asked for; each row with its answer."""

    territory: Territory
    rows: tuple[tuple[Rule, Answer], ...]
    channels: tuple[Channel, ...]


def list_regions() -> tuple[tuple[str, str], ...]:
    """Code and name of every region whose rules are shipped."""
    return region_codes()


def list_rules(region: str, circumstances: Circumstances, span: Span | None = None) -> RegionRules:
    """The rows of a region that touch ``span``, or all. Raises UsageError for an unknown region or licence."""
    territory = load_territory(region)
    territory.licences_held(circumstances.licence)  # raises for a name that nobody knows
    rows = tuple(
        (rule, answer_for_row(rule, circumstances))
        for rule in rows_that_matter(territory, circumstances)
        if span is None or span.touches(rule.low_hz, rule.high_hz)
    )
    channels = tuple(c for c in territory.channels if span is None or span.touches(c.low_hz, c.high_hz))
    return RegionRules(territory, rows, channels)


def circumstances_from(licence: str | None, place: str | None, on: str | None) -> Circumstances:
    """The law options as typed; ``on`` is a date like 2026-07-18, or else today. Raises UsageError for no date."""
    try:
        day = datetime.date.today() if on is None else datetime.date.fromisoformat(on)
    except ValueError as error:
        raise UsageError(f"{on!r} is not a date", hint="write it as 2026-07-18") from error
    return Circumstances(licence, place, day)
