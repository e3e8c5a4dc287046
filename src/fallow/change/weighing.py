"""One place in two surveys, weighed: is something there, how strong is it while on, how often, and did that change.

What is compared is the signal without the noise around it. Its uncertainty holds the noise of the readings, how far
the level wandered from sweep to sweep, and what two readings of one set-up (or of two) do not share.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fallow.change.values import What
from fallow.spectrum.instruments.two_samples import fisher_mid_p, student_factor
from fallow.spectrum.instruments.weighed import Weighed
from fallow.spectrum.statistics import DB_PER_NEPER_OF_POWER, normal_quantile

__all__ = ["FALSE_CHANGES", "Outcome", "Place", "Sureness", "compare_weighed", "threshold_db"]

FALSE_CHANGES = 0.01  # noise alone may make a change in one comparison of a hundred: the brief of this project
BY_CHANCE = 0.05  # of shares of sweeps so different: common practice
LEAST_SHOWN_DB = 1.0  # by which the levels themselves must differ: the noise under a signal is known less well
FEWEST_WANDERING = 3  # sweeps that tell how far a signal wanders
CLEAR_DB = 10.0  # above the noise: worth a remark even where it proves nothing


@dataclass(frozen=True)
class Place:
    """A span in hertz and the level of noise (or of whatever a signal there stands on) in each survey, in its width.

    ``parts``: where a lower and a higher neighbour changed in opposite ways, as when a signal shifts a little.
    """

    low_hz: float
    high_hz: float
    old_noise_db: float
    new_noise_db: float
    parts: tuple[Place, ...] = ()


@dataclass(frozen=True)
class Sureness:
    """``u_db``: what two readings do not share [dB]; ``places``: how many were looked at, for chances that add up."""

    u_db: float
    places: int = 1

    @property
    def tail(self) -> float:
        """Two-sided chance of an error at one place."""
        return FALSE_CHANGES / max(1, self.places)


@dataclass(frozen=True)
class Outcome:
    """What became of a place: a change, or a remark why none can be told."""

    what: What | None
    from_db: float = math.nan
    to_db: float = math.nan
    u_db: float = math.nan
    because: str = ""


def compare_weighed(old: Weighed, new: Weighed, sure: Sureness) -> Outcome:
    """What became of a place between the two surveys."""
    if old.looks == 0 or new.looks == 0 or not (old.present or new.present):
        return Outcome(None)
    came = new.present and not (old.present and old.signal_db > new.signal_db)
    if old.present and new.present:
        outcome = _both_there(old, new, sure)
        if outcome.what is None or (old if came else new).repeated:  # else a few high readings, not the same signal
            return outcome
    return _one_there(new, old, sure, What.APPEARED) if came else _one_there(old, new, sure, What.VANISHED)


def threshold_db(sure: Sureness, u_db: float, degrees: float) -> float:
    """By how much levels must differ: the common part at one place's chance, the rest at all places' chance together.

    ``u_db``: standard uncertainty by noise and wandering; ``degrees`` of freedom behind it.
    """
    common = normal_quantile(1.0 - FALSE_CHANGES / 2.0) * sure.u_db
    return math.hypot(common, student_factor(sure.tail, degrees) * u_db)


def _both_there(old: Weighed, new: Weighed, sure: Sureness) -> Outcome:
    difference = new.signal_db - old.signal_db
    u_noise = math.hypot(old.u_db, new.u_db)
    u_db = math.hypot(sure.u_db, u_noise)
    degrees = max(old.on + new.on - 2, 3)
    shares = f"on in {new.on} of {new.looks} sweeps, was in {old.on} of {old.looks}"
    sign = math.copysign(1.0, difference)
    shown = min((new.level_db - old.level_db) * sign, (new.core_db - old.core_db) * sign)
    if abs(difference) <= threshold_db(sure, u_noise, degrees) or shown < _least_shown_db(old, new, sure):
        if fisher_mid_p(old.on, old.looks, new.on, new.looks) < BY_CHANCE:
            often = "more" if new.on * old.looks > old.on * new.looks else "less"
            return Outcome(None, because=f"as strong as before while on, but {often} often: {shares}")
        return Outcome(None)
    what = What.LOUDER if difference > 0 else What.QUIETER
    told = "" if old.steady and new.steady else f"; {shares}"
    because = f"there in both; {abs(difference):.1f} dB are beyond both uncertainties{told}"
    return Outcome(what, old.signal_db, new.signal_db, u_db, because)


def _least_shown_db(old: Weighed, new: Weighed, sure: Sureness) -> float:
    """By how much the levels themselves must differ, whatever the noise under the signals is taken for."""
    return max(LEAST_SHOWN_DB, student_factor(sure.tail, 100.0) * math.hypot(old.spread_db, new.spread_db))


def _one_there(there: Weighed, away: Weighed, sure: Sureness, what: What) -> Outcome:
    """Something that only one survey shows: a change if the other would have shown it, too."""
    expected = 10.0 * math.log10(10.0 ** (there.signal_db / 10.0) + 10.0 ** (away.noise_db / 10.0))
    would = expected - away.level_db
    noise = math.hypot(there.u_db, away.spread_db)
    here, other = ("the new", "the old") if what is What.APPEARED else ("the old", "the new")
    shown = there.level_db - away.level_db
    if min(would, shown) <= threshold_db(sure, noise, _degrees(there, away)):
        if there.signal_db < there.noise_db + CLEAR_DB:
            return Outcome(None)
        return Outcome(None, because=f"only {here} survey shows it, and the noise of {other} one may hide it")
    also_on = away.on if away.present else 0
    shares = f"on in {there.on} of {there.looks} sweeps of {here} survey and in {also_on or 'none'} of {away.looks} of "
    shares += f"{other} one"
    if not there.steady and fisher_mid_p(there.on, there.looks, also_on, away.looks) > BY_CHANCE:
        return Outcome(None, because=f"comes and goes: {shares}, which may have missed it")
    because = f"{shares}, which would have shown it {would:.0f} dB above what it shows"
    if max(there.looks, away.looks) == 1:
        because += "; one sweep each, so it may only come and go"
    levels = (away.level_db, there.level_db) if what is What.APPEARED else (there.level_db, away.level_db)
    return Outcome(what, *levels, math.hypot(sure.u_db, there.u_db, away.spread_db), because)


def _degrees(there: Weighed, away: Weighed) -> float:
    """Degrees of freedom behind the uncertainty of two levels: of the sweeps, where the signal wanders more than the
    noise in it explains, or where too few tell whether it does; else of the noise powers, two for each (χ²
    distribution), by their scatter in decibels.
    """
    of_sweeps = float(max(there.on - 1, 3))
    if there.wandering_db > there.spread_db or there.on < FEWEST_WANDERING:
        return of_sweeps
    return max(of_sweeps, 2.0 * (DB_PER_NEPER_OF_POWER / max(there.spread_db, away.spread_db)) ** 2)
