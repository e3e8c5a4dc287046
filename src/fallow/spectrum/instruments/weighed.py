"""One signal in one series, weighed: is something there, how strong is it while on, how often, and how sure is that.

What counts is the signal without the noise around it. Its uncertainty holds the noise of the readings and how far the
level wandered from sweep to sweep; what the instrument itself may be off is the budget's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.instruments.two_samples import mean_u_db
from fallow.spectrum.verdicts.evidence import Evidence
from fallow.spectrum.verdicts.window_levels import geometry_of, powers_in

__all__ = ["Weighed", "powers_over", "weigh"]

LEAST_PRESENT_DB = 1.5  # above its surroundings: design decision, what surroundings are known to
STEADY_SHARE = 0.9
SURROUNDINGS_U_DB = 0.3  # design decision: how well the level around a signal is known
MOST_U_DB = 3.0  # of a signal that is there: design decision; beyond that the noise under it decides
MUCH_SCATTER = 2.0  # times what noise alone scatters from sweep to sweep
MOST_NUMBERS = 3_000_000  # levels worked on at once: about 25 MB an array


@dataclass(frozen=True)
class Weighed:
    """One series' account of a span.

    ``level_db``: mean power while on; ``signal_db``: the same without the noise, NaN where nothing is; ``noise_db``;
    ``u_db``: standard uncertainty of ``signal_db`` by noise and wandering; ``spread_db`` and ``wandering_db``: of
    ``level_db``, by the noise in it and by what the level does from sweep to sweep. ``on`` of ``looks`` sweeps
    showed it.
    """

    level_db: float
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
        return math.isfinite(self.signal_db) and self.u_db <= MOST_U_DB


def weigh(
    evidence: Evidence, span_hz: tuple[float, float], noise_db: float, tail: float, crowding: float = 1.0
) -> Weighed:
    """Weigh a span [Hz] whose noise is ``noise_db``. ``tail``: chance that noise alone is taken for a signal.

    ``crowding``: how many neighbouring readings show the same noise.
    """
    low_hz, high_hz = span_hz
    powers, filled = powers_over(evidence, low_hz, high_hz)
    noise = 10.0 ** (noise_db / 10.0)
    if powers.size == 0:
        return Weighed(math.nan, math.nan, noise_db, math.nan, math.nan, math.nan, 0, 0, steady=True)
    coarsest = max(evidence.heard.rbw_hz, float(evidence.heard.axis.step_hz))
    cells = max(1.0, (high_hz - low_hz) / coarsest / crowding)
    upper = evidence.heard.upper_tail
    of_single = float(upper.exceeded_db(tail / powers.size, cells))
    single = noise * 10.0 ** (max(LEAST_PRESENT_DB, of_single) / 10.0)
    of_mean = float(upper.exceeded_db(tail, cells * powers.size))
    in_mean = powers.mean() > noise * 10.0 ** (max(LEAST_PRESENT_DB, of_mean) / 10.0)
    on = powers >= max(single, math.sqrt(noise * float(powers.max())))
    steady = bool(in_mean) and not _comes_and_goes(powers, on, float(upper.spread_db(cells)))
    held = powers if steady or not on.any() else powers[on]
    level = float(held.mean())
    spread = float(upper.spread_db(min(cells, filled) * held.size))
    present = steady or bool(on.any())
    signal = max(level - noise, 1e-3 * level)
    amplified = level / signal
    wandered = mean_u_db(10.0 * np.log10(np.maximum(held, 1e-300)))
    u_db = math.hypot(max(spread, wandered) * amplified, SURROUNDINGS_U_DB * noise / signal)
    return Weighed(
        level_db=10.0 * math.log10(level),
        signal_db=10.0 * math.log10(signal) if present else math.nan,
        noise_db=noise_db,
        u_db=u_db if present else math.nan,
        spread_db=spread,
        wandering_db=wandered,
        on=powers.size if steady else int(on.sum()),
        looks=int(powers.size),
        steady=steady,
    )


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


def _comes_and_goes(powers: NDArray[np.float64], on: NDArray[np.bool_], by_noise_db: float) -> bool:
    """Whether the level changes from sweep to sweep by far more than noise does, and is away in some sweeps."""
    if not on.any() or on.mean() >= STEADY_SHARE:
        return False
    scatter_db = float(np.std(10.0 * np.log10(np.maximum(powers, 1e-300)), ddof=1)) if powers.size > 1 else 0.0
    return powers.size < 3 or scatter_db > MUCH_SCATTER * by_noise_db
