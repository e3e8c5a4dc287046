"""What a region allows, as it is shown to people: its rows with the answer that today's circumstances give."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from fallow.errors import UsageError
from fallow.files.territories import load_territory, region_codes
from fallow.rules.permission import Answer, Circumstances, answer_for_row
from fallow.rules.territory import Rule, Territory
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
    check_licence(territory, circumstances)
    rows = tuple(
        (rule, answer_for_row(rule, circumstances))
        for rule in territory.rules
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


def check_licence(territory: Territory, circumstances: Circumstances) -> None:
    """Raise UsageError when the licence or place stated is none that the territory knows."""
    if circumstances.licence is not None and circumstances.licence not in territory.licences:
        known = ", ".join(territory.licences) or "none"
        raise UsageError(
            f"{territory.name} has no licence named {circumstances.licence!r}", hint=f"its licences: {known}"
        )
