"""What a reader of margins has to know: what they are, what they assume, and which links have none."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import median

from fallow.plan.accounts import Accounts
from fallow.plan.footing import Footing
from fallow.plan.wording import counted, few

__all__ = ["notes_on_margins"]

MEANING = (
    "a margin is a link's own carrier at its worst (farthest away, behind a body, in a fade) less all that is unwanted "
    "less what it needs; blocking and transmitters' skirts are not counted, and the search goes by the survey instead: "
    "the limit less the level in the place"
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
    for equipment, assumed in accounts.assumed.items():
        mine = [footing.carrier.name for footing in footings if footing.equipment.name == equipment]
        u_db = [accounts.ledgers[name].u_db for name in mine if name in accounts.ledgers]
        if u_db:
            told = ", ".join(f"{name} {value}" for name, value, *_ in (one.split(" ") for one in assumed))
            yield f"{equipment}: margins are modelled from defaults, ± {median(u_db):.0f} dB ({told})"


def _on_what_lacks(accounts: Accounts) -> Iterator[str]:
    if accounts.without:
        yield f"no margin, because the power of their equipment is not stated: {few(accounts.without)}"
