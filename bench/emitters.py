"""How often noise alone makes an emitter, and how often what stands in it is found. Everything is invented.

Run: python bench/emitters.py [SURVEYS] [SEED]. A row for each kind of noise. Asked: at most 1 survey of noise in 20
with any emitter. A carrier is steady in one bin, so many dB above the mean noise; a burst is 15 dB above in 5 % of the
sweeps.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import judge
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Emitter

Levels = NDArray[np.float64]
Draw = Callable[[np.random.Generator, tuple[int, int]], Levels]
LOW_HZ, STEP_HZ = 500_000_000, 50_000
SHAPES = ((20, 1000), (60, 2000), (150, 1500), (300, 1000), (20, 5000))  # sweeps, bins
STANDING = (("6 dB", 6.0, 1.0), ("8 dB", 8.0, 1.0), ("10 dB", 10.0, 1.0), ("burst", 15.0, 0.05))


def averages(samples: int) -> Draw:
    """Means of exponential powers, in dB."""
    return lambda rng, shape: 10 * np.log10(rng.gamma(samples, 1 / samples, shape))


def highest(count: int) -> Draw:
    """The highest of so many exponential powers, in dB."""
    return lambda rng, shape: 10 * np.log10(-np.log1p(-(rng.random(shape) ** (1 / count))))


def even(sigma_db: float, drift_db: float = 0.0) -> Draw:
    """Even scatter in dB, with a gain that drifts from sweep to sweep."""
    return lambda rng, shape: rng.normal(0, sigma_db, shape) + rng.uniform(-drift_db, drift_db, (shape[0], 1))


def in_steps(draw: Draw) -> Draw:
    """Rounded to whole decibels."""
    return lambda rng, shape: np.round(draw(rng, shape))


KINDS: dict[str, Draw] = {
    "single samples": averages(1),
    "averages of 10": averages(10),
    "averages of 100": averages(100),
    "highest of 10": highest(10),
    "highest of 100": highest(100),
    **{f"even, {sigma} dB": even(sigma) for sigma in (1, 2, 3, 4)},
    "even, 2 dB, drift 2 dB": even(2, 2),
    "even, 3 dB, in steps": in_steps(even(3)),
    "single samples, in steps": in_steps(averages(1)),
}


def found_in(levels_db: Levels) -> tuple[Emitter, ...]:
    """The emitters of a survey that shows these levels."""
    axis = Axis.regular(LOW_HZ, STEP_HZ, levels_db.shape[1])
    levels = (levels_db - 100).astype(np.float32)
    return judge(Survey((Series(axis, levels, LevelUnit.DBM, rbw_hz=float(STEP_HZ)),))).emitters


def finds(rng: np.random.Generator, draw: Draw, height_db: float, share: float) -> bool:
    """Whether one that stands somewhere in noise is among the emitters."""
    power = 10 ** (draw(rng, (40, 1000)) / 10)
    on = rng.choice(40, max(1, round(40 * share)), replace=False)
    place = int(rng.integers(100, 900))
    power[on, place] += power.mean() * 10 ** (height_db / 10)
    at_hz = LOW_HZ + STEP_HZ * place
    return any(one.low_hz - STEP_HZ <= at_hz <= one.high_hz + STEP_HZ for one in found_in(10 * np.log10(power)))


def main(surveys: int, seed: int) -> None:
    """Print the table."""
    heads = "".join(f"{name:>8}" for name, _, _ in STANDING)
    print(f"{'noise':<26}{'surveys with any':>17}{'emitters':>10}{heads}")
    for name, draw in KINDS.items():
        rng = np.random.default_rng(seed)
        false = [len(found_in(draw(rng, SHAPES[trial % len(SHAPES)]))) for trial in range(surveys)]
        power = [sum(finds(rng, draw, height, share) for _ in range(surveys)) for _, height, share in STANDING]
        made = f"{sum(count > 0 for count in false)} of {surveys}"
        print(
            f"{name:<26}{made:>17}{sum(false):>10}" + "".join(f"{hits / surveys:>8.0%}" for hits in power), flush=True
        )


if __name__ == "__main__":
    main(*(int(word) for word in (sys.argv[1:3] + ["20", "1"][len(sys.argv[1:3]) :])))
