"""What a reader of margins has to know: what they are, what they assume, and which links have none."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import median

from fallow.plan.judge.footing import Footing
from fallow.plan.ledger.accounts import Accounts
from fallow.plan.wording import counted, few

__all__ = ["notes_on_margins"]

MEANING = (
    "a margin is a link's own carrier at its worst (farthest away, behind a body, in a fade) less all that is unwanted "
    "less what it needs; products count as lines, of the third and fifth order, whether a distance from them is asked "
    "or not; blocking and transmitters' skirts are not counted, and the search goes by the survey instead: the limit "
    "less the level in the place"
)


def notes_on_margins(accounts: Accounts, footings: Sequence[Footing]) -> tuple[str, ...]:
    """The notes on the ledgers of a plan, each one sentence. ``footings``: of its carriers."""
    meaning = (MEANING,) if accounts.ledgers else ()
    return (*meaning, *_on_trouble(accounts), *_on_what_is_assumed(accounts, footings), *_on_what_lacks(accounts))


def _on_trouble(accounts: Accounts) -> Iterator[str]:
    thin = [one for one in accounts.ledgers.values() if one.margin_db < 0]
    deaf = [one.link for one in thin if one.if_quiet_db >= 0]
    loud = [one.link for one in thin if one.if_quiet_db < 0]
    if loud:
        yield f"{counted(len(loud), 'margin')} below 0 dB: {few(loud)}"
    if deaf:
        yield (
            f"{counted(len(deaf), 'margin')} below 0 dB only because the survey could not hear below its own floor: "
            f"{few(deaf)}"
        )


def _on_what_is_assumed(accounts: Accounts, footings: Sequence[Footing]) -> Iterator[str]:
    """One note for all types of radio that assume the same; a selectivity goes with the width of each."""
    alike: dict[tuple[str, ...], list[str]] = {}
    for equipment, figures in accounts.assumed.items():
        told = tuple(f"{one.name} {one.shown}" for one in figures if one.name != "selectivity_db")
        mask = ("selectivity_db by width",) if len(told) < len(figures) else ()
        alike.setdefault((*told, *mask), []).append(equipment)
    for assumed, names in alike.items():
        mine = [one.carrier.name for one in footings if one.equipment.name in names]
        u_db = [accounts.ledgers[name].u_db for name in mine if name in accounts.ledgers]
        if u_db:
            yield f"{few(names)}: margins are modelled from defaults, ± {median(u_db):.0f} dB ({', '.join(assumed)})"


def _on_what_lacks(accounts: Accounts) -> Iterator[str]:
    deaf = [one.link for one in accounts.ledgers.values() if one.is_deaf]
    if deaf:
        yield f"{counted(len(deaf), 'margin')} without what is on the air, of which nothing is known there: {few(deaf)}"
    if accounts.without:
        yield f"no margin, because the power of their equipment is not stated: {few(accounts.without)}"
