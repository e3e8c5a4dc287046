"""One signal in one series, weighed: is something there, how strong is it while on, how often, and how sure is that.

What counts is the signal without the noise around it. Its uncertainty holds the noise of the readings and how far the
level wandered from sweep to sweep; what the instrument itself may be off is the budget's. Noise may have a heavy end:
so what only the highest of several sweeps hold up is not steady, and what as many show together needs no far end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.instruments.two_samples import lowest_mean, mean_u_db
from fallow.spectrum.noise.upper_tail import UpperTail
from fallow.spectrum.verdicts.evidence import Evidence
from fallow.spectrum.verdicts.window_levels import geometry_of, powers_in

__all__ = ["Weighed", "powers_over", "weigh"]

LEAST_PRESENT_DB = 1.5  # above its surroundings: design decision, what surroundings are known to
STEADY_SHARE = 0.9
SURROUNDINGS_U_DB = 0.3  # design decision: how well the level around a signal is known
CLEAR_U = 4.0  # or so many times its uncertainty above the noise
MOST_U_DB = 3.0  # of a signal that is there: design decision; beyond that the noise under it decides
MUCH_SCATTER = 2.0  # times what noise alone scatters from sweep to sweep
RARE = 0.05  # chance from which on the far end of noise is asked
LED_SHARE = 0.25  # of the sweeps, the highest ones: what they alone hold up is not steady
MOST_NUMBERS = 3_000_000  # levels worked on at once: about 25 MB an array


@dataclass(frozen=True)
class Weighed:
    """One series' account of a span.

    ``level_db``: mean power while on, ``core_db`` without the highest quarter of its sweeps; ``signal_db``: the level
    without the noise, NaN where nothing is; ``noise_db``;
    ``u_db``: standard uncertainty of ``signal_db`` by noise and wandering; ``spread_db`` and ``wandering_db``: of
    ``level_db``, by the noise in it and by what the level does from sweep to sweep. ``on`` of ``looks`` sweeps
    showed it; sweeps that show the same noise are one.
    """

    level_db: float
    core_db: float
    signal_db: float
    noise_db: float
    u_db: float
    spread_db: float
    wandering_db: float
    on: int
    looks: int
    steady: bool

    @property
    def present(self) -> bool:
        """Whether something is there, and more of it than its noise leaves open."""
        return math.isfinite(self.signal_db) and self.u_db <= max(MOST_U_DB, (self.signal_db - self.noise_db) / CLEAR_U)

    @property
    def repeated(self) -> bool:
        """Whether it was on in as many sweeps as chance does not lift together; in all where they are few."""
        return self.on >= min(self.looks, _together(self.looks))


def weigh(
    evidence: Evidence, span_hz: tuple[float, float], noise_db: float, tail: float, crowding: float = 1.0
) -> Weighed:
    """Weigh a span [Hz] whose noise is ``noise_db``. ``tail``: chance that noise alone is taken for a signal.

    ``crowding``: how many neighbouring readings show the same noise.
    """
    low_hz, high_hz = span_hz
    each, filled = powers_over(evidence, low_hz, high_hz)
    powers = _looks(each, evidence.heard.alike_sweeps)
    noise = 10.0 ** (noise_db / 10.0)
    if powers.size == 0:
        return Weighed(math.nan, math.nan, math.nan, noise_db, math.nan, math.nan, math.nan, 0, 0, steady=True)
    coarsest = max(evidence.heard.rbw_hz, float(evidence.heard.axis.step_hz))
    upper = evidence.heard.upper_tail
    under = _Under(noise, max(1.0, (high_hz - low_hz) / coarsest / crowding), tail, upper)
    on = under.shows(powers)
    steady = under.shows_throughout(powers) and not _comes_and_goes(powers, on, float(upper.spread_db(under.cells)))
    held = powers if steady or not on.any() else powers[on]
    level = float(held.mean())
    spread = float(upper.spread_db(min(under.cells, filled) * held.size))
    present = steady or bool(on.any())
    signal = max(level - noise, 1e-3 * level)
    amplified = level / signal
    wandered = mean_u_db(10.0 * np.log10(np.maximum(held, 1e-300)))
    u_db = math.hypot(max(spread, wandered) * amplified, SURROUNDINGS_U_DB * noise / signal)
    return Weighed(
        level_db=10.0 * math.log10(level),
        core_db=10.0 * math.log10(max(float(_without_highest(held).mean()), 1e-300)),
        signal_db=10.0 * math.log10(signal) if present else math.nan,
        noise_db=noise_db,
        u_db=u_db if present else math.nan,
        spread_db=spread,
        wandering_db=wandered,
        on=powers.size if steady else int(on.sum()),
        looks=int(powers.size),
        steady=steady,
    )


@dataclass(frozen=True)
class _Under:
    """The noise under a signal: its mean power, in ``cells`` independent readings a sweep. ``tail``: chance to err."""

    noise: float
    cells: float
    tail: float
    upper: UpperTail

    def shows(self, powers: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Which sweeps show more than noise: each by itself or, if its far end is heavy, a quarter of them together."""
        half_way = math.sqrt(self.noise * float(powers.max()))
        by_itself = self._above(float(self.upper.exceeded_db(self.tail / powers.size, self.cells)))
        again = _together(powers.size)
        if self.upper.heavy is None or powers.max() >= by_itself or again > powers.size:
            return np.asarray(powers >= max(by_itself, half_way))
        together = powers >= max(self._above(self._reached_again_db(again, powers.size)), half_way)
        return np.asarray(together & (together.sum() >= again))

    def shows_throughout(self, powers: NDArray[np.float64]) -> bool:
        """Whether the mean is more than noise, and still so without the highest quarter of the sweeps."""
        if powers.size == 1:
            return bool(powers[0] > self._above(float(self.upper.exceeded_db(self.tail, self.cells))))
        usual = replace(self.upper, heavy=None)  # what most sweeps show needs no far end
        core = _without_highest(powers)
        of_noise = lowest_mean(usual.shape * self.cells, core.size, powers.size)
        return all(
            mean > self._above(float(usual.exceeded_db(self.tail, self.cells * count)))
            for mean, count in ((powers.mean(), powers.size), (core.mean() / of_noise, core.size))
        )

    def _reached_again_db(self, again: int, looks: int) -> float:
        """What so many of some sweeps reach with the chance ``tail``, dB: binomial distribution."""
        from scipy import special  # heavy, so only where it is used

        each = float(special.betaincinv(again, looks - again + 1, self.tail))
        return float(self.upper.exceeded_db(min(each, RARE), self.cells))

    def _above(self, by_db: float) -> float:
        return float(self.noise * 10.0 ** (max(LEAST_PRESENT_DB, by_db) / 10.0))


def powers_over(evidence: Evidence, low_hz: float, high_hz: float) -> tuple[NDArray[np.float64], float]:
    """Power in one window for each sweep that measured it [mW or the source's linear unit], shape (sweep,); and over
    how many cells it is spread, (Σp)²/Σp²: a window that one strong cell fills scatters like that cell.
    """
    heard = evidence.heard
    geometry = geometry_of(heard, np.array([low_hz]), np.array([high_hz]))
    rows = max(1, MOST_NUMBERS // max(1, int(geometry.last[0] - geometry.first[0])))
    nothing = np.zeros(heard.axis.n, dtype=bool)
    found, squares = [], 0.0
    for begin in range(0, heard.n_sweeps, rows):  # a long survey must not be taken whole
        part = replace(heard, levels_db=heard.levels_db.sweeps(begin, begin + rows))
        powers = powers_in(part, geometry, evidence.floor.noise_db, nothing)
        valid = powers.valid[:, 0]
        found.append(powers.least[valid, 0])
        squares += float(powers.squares[valid, 0].sum())
    together = np.concatenate(found)
    cells = float(np.square(together).sum()) / squares if squares > 0.0 else 1.0
    return together, max(1.0, cells * (1.0 + 1.0 / heard.noise.shape))  # noise by itself makes Σp² larger by 1 + 1/K


def _looks(powers: NDArray[np.float64], alike_sweeps: float) -> NDArray[np.float64]:
    """The mean power of as many sweeps that follow each other as show the same noise, shape (look,)."""
    if alike_sweeps == 1.0 or powers.size < 2:
        return powers
    parts = np.array_split(powers, max(1, round(powers.size / alike_sweeps)))
    return np.array([part.mean() for part in parts])


def _comes_and_goes(powers: NDArray[np.float64], on: NDArray[np.bool_], by_noise_db: float) -> bool:
    """Whether the level changes from sweep to sweep by far more than noise does, and is away in some sweeps."""
    if not on.any() or on.mean() >= STEADY_SHARE:
        return False
    scatter_db = float(np.std(10.0 * np.log10(np.maximum(powers, 1e-300)), ddof=1)) if powers.size > 1 else 0.0
    return powers.size < 3 or scatter_db > MUCH_SCATTER * by_noise_db


def _without_highest(powers: NDArray[np.float64]) -> NDArray[np.float64]:
    """All but the highest quarter of the sweeps; a single one stays."""
    led = math.ceil(LED_SHARE * powers.size) if powers.size > 1 else 0
    return np.sort(powers)[: powers.size - led]


def _together(looks: int) -> int:
    """How many of some sweeps must show something, so that it is no matter of the highest few."""
    return max(2, math.ceil(LED_SHARE * looks))
