"""A plan whose distances come from levels, and what that gains over the distances of the table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from fallow.plan.answer import Plan
from fallow.plan.judge.stage import Stage
from fallow.plan.ledger.accounts import accounts_of
from fallow.plan.ledger.level_distances import by_levels
from fallow.plan.places import Ground
from fallow.show.assignment import Assignment
from fallow.show.wanted import Wanted

__all__ = ["plan_by_levels"]

SHARE_FOR_TABLE = 0.3  # of the time: how many links the table's distances hold, to be compared with

Make = Callable[[Wanted, float], tuple[Plan, bool]]


def plan_by_levels(make: Make, wanted: Wanted, ground: Ground) -> tuple[Plan, bool]:
    """The plan by levels with a warning and its gain in its notes; and whether the search was stopped.

    ``make``: a plan of a show in a share of the time. Where the search for the table's plan was stopped, that
    is the answer. Raises UsageError where a figure that this rests on is not stated.
    """
    levelled = by_levels(wanted)
    by_table, stopped = make(wanted, SHARE_FOR_TABLE)
    if stopped:
        note = "stopped before distances came from levels: this plan keeps those of the table"
        return replace(by_table, notes=(*by_table.notes, note)), True
    plan, stopped = make(levelled.wanted, 1 - SHARE_FOR_TABLE)
    notes = (*levelled.notes, _gain(plan, by_table), *_strictest(plan, wanted, ground), *plan.notes)
    return replace(plan, notes=notes, seconds=by_table.seconds + plan.seconds), stopped


def _gain(plan: Plan, by_table: Plan) -> str:
    now, before = (len(one.links) - len(one.unplaced) for one in (plan, by_table))
    if now == before == len(plan.links):
        return f"levels gain no link: the table's distances hold all {before} as well, so rather plan without --levels"
    return f"places {now} of {len(plan.links)} links instead of {before} by the table's distances"


def _strictest(plan: Plan, wanted: Wanted, ground: Ground) -> tuple[str, ...]:
    """The thinnest margin were everything as near as it ever comes, at once."""
    by_name = {link.name: link for link in wanted.links}
    links = [(by_name[one.link], one.frequency_hz) for one in plan.links.values() if one.frequency_hz is not None]
    rows = [Assignment(link.name, link.equipment, link.area, link.scenes, hz) for link, hz in links]
    rows += [Assignment(one.spare, one.equipment, one.area, frozenset(), one.frequency_hz) for one in plan.spares]
    risks = accounts_of(Stage.of(rows, wanted, ground), at_nearest=True).risks_of(by_name)
    if not risks:
        return ()
    thinnest = risks[0]
    told = f"{thinnest.margin_db:.0f} ± {thinnest.u_db:.0f} dB ({thinnest.link}: {thinnest.text})"
    return (f"with all other transmitters at their nearest at once the thinnest margin would be {told}",)
