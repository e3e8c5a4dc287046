"""The account of one link in decibels: what it wants to hear, all that is unwanted, and the margin between.

Each entry says how it moves with the inputs that the entries share: the path model, intercept points, selectivity and
so on. The margin's uncertainty is worked out by moving every input by its own standard uncertainty (JCGM 100, 5.1.3
note 2, the larger of both directions), so that what is common to wanted and unwanted cancels as far as it is common.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fallow.plan.ledger.product_levels import power_sum_dbm
from fallow.show.receiver import Figure

__all__ = ["Entry", "Figure", "Ledger", "Risk", "balance"]


@dataclass(frozen=True)
class Entry:
    """One line of a ledger, at the receiver's input.

    ``kind``: ``wanted``, ``noise``, ``air``, ``neighbours``, or the form of products. ``made_in``: ``receiver`` or
    ``transmitters`` for products. ``carriers``: who makes the strongest part of it; ``distance_hz``: how far from the
    link's carrier that falls. ``is_bound``: it can't be more, and may be much less. ``effects``: dB per unit of each
    input that it depends on.
    """

    kind: str
    level_dbm: float
    text: str
    made_in: str | None = None
    carriers: tuple[str, ...] = ()
    distance_hz: int | None = None
    is_bound: bool = False
    effects: Mapping[str, float] = field(default_factory=dict, repr=False)
    u_db: float = 0.0

    @property
    def title(self) -> str:
        """What it is, for people: ``2A-B made in the receiver``."""
        return self.kind if self.made_in is None else f"{self.kind} made in the {self.made_in}"

    @property
    def sentence(self) -> str:
        """``noise -113 dBm (the receiver's own, in 200 kHz)``."""
        return f"{self.title} {self.level_dbm:.0f} dBm ({self.text})"


@dataclass(frozen=True)
class Ledger:
    """The account of one link in its worst scene (empty: outside all of them, or the show has none).

    ``margin_db``: wanted less the sum of the unwanted less what is needed; negative means trouble. ``u_db``: its
    standard uncertainty. ``if_quiet_db``: the margin without the entries that are only bounds, which is what it is
    where the air is as quiet as the receiver. ``rests_on``: the input that makes it most uncertain. ``is_deaf``: there
    are surveys, and none tells a level in the link's window.
    """

    link: str
    scene: str
    wanted: Entry
    unwanted: tuple[Entry, ...]
    unwanted_dbm: float
    needed_db: float
    margin_db: float
    u_db: float
    if_quiet_db: float
    rests_on: str
    is_deaf: bool = False

    @property
    def driver(self) -> Entry:
        """The strongest of what is unwanted."""
        return max(self.unwanted, key=lambda entry: entry.level_dbm)

    @property
    def because(self) -> str:
        """What makes the margin as thin as it is, in words; where that is only a bound, what comes next as well."""
        said = self.driver.sentence
        known = [entry for entry in self.unwanted if not entry.is_bound]
        if self.driver.is_bound and known:
            said += f"; then {max(known, key=lambda entry: entry.level_dbm).sentence}"
        return f"{said}; of the air there nothing is known" if self.is_deaf else said


@dataclass(frozen=True)
class Risk:
    """One line of the risk list: a link, its margin with standard uncertainty, and what drives it."""

    link: str
    margin_db: float
    u_db: float
    if_quiet_db: float
    text: str


def balance(
    link: str, scene: str, wanted: Entry, unwanted: Sequence[Entry], needed_db: float, u_of: Mapping[str, float]
) -> Ledger:
    """Close the account of a link. ``u_of``: standard uncertainty of every input that the entries name, and of
    ``needed``.
    """
    inputs = list(u_of)
    levels = np.array([entry.level_dbm for entry in unwanted])
    effects = np.array([[entry.effects.get(name, 0.0) for name in inputs] for entry in unwanted])
    on_wanted = np.array([wanted.effects.get(name, 0.0) - (name == "needed") for name in inputs])
    sum_dbm = power_sum_dbm(levels)
    margin_db = wanted.level_dbm - sum_dbm - needed_db
    moved = _moved_db(levels, effects, on_wanted, np.array(list(u_of.values())))
    quiet_dbm = power_sum_dbm(levels[[not entry.is_bound for entry in unwanted]])
    return Ledger(
        link,
        scene,
        wanted,
        tuple(unwanted),
        sum_dbm,
        needed_db,
        margin_db,
        float(np.sqrt((moved**2).sum())),
        wanted.level_dbm - quiet_dbm - needed_db,
        inputs[int(np.argmax(moved))],
    )


def _moved_db(
    levels: NDArray[np.float64], effects: NDArray[np.float64], on_wanted: NDArray[np.float64], u: NDArray[np.float64]
) -> NDArray[np.float64]:
    """By how much the margin moves with each input, shape (input,): the larger of up and down by its uncertainty."""
    loudest = levels.max()
    usual = 10 ** ((levels - loudest) / 10)
    moves = []
    for sign in (1.0, -1.0):
        moved = usual[:, None] * 10 ** (sign * effects * u / 10)
        louder_db = 10 * np.log10(moved.sum(axis=0) / usual.sum())
        moves.append(np.abs(sign * on_wanted * u - louder_db))
    return np.asarray(np.maximum(*moves))
