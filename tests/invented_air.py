"""Invented airs and instruments with known truth, for judging the judge. Everything here is made up.

A reading is the mean of K samples |s + n|²: a non-central chi-square variate with 2K degrees of freedom (Urkowitz
1967), so steady carriers, noise-like signals and noise itself scatter as they do behind a real averaging detector.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey


@dataclass(frozen=True)
class Signal:
    """A signal: centre, width (0: a steady carrier, else noise-like), power while on, share of sweeps it is on."""

    centre_hz: float
    width_hz: float
    level_dbm: float
    on: NDArray[np.bool_] | None = None


@dataclass(frozen=True)
class Instrument:
    """An instrument: grid, resolution, samples per reading, sweeps, its noise in dBm per RBW, its error in dB."""

    low_hz: int = 470_000_000
    step_hz: int = 25_000
    bins: int = 321
    rbw_hz: float = 25_000.0
    samples: int = 10
    sweeps: int = 10
    noise_dbm: float = -125.0
    error_db: float = 0.0
    detector: Detector | None = None
    unit: LevelUnit = LevelUnit.DBM
    noise_shape_db: NDArray[np.float64] | None = field(default=None)


def budget_error_db(rng: np.random.Generator) -> float:
    """An error drawn from the default budget: its lines with their stated distributions."""
    angle = rng.uniform(0, 2 * np.pi)
    return float(
        rng.uniform(-2, 2)
        + rng.uniform(-1.5, 1.5)
        + rng.uniform(-3, 3)
        + rng.uniform(-0.5, 0.5)
        + 0.685 * np.sqrt(2) * np.cos(angle)
        + rng.normal(0, 0.5)
    )


def sweep_over(rng: np.random.Generator, instrument: Instrument, signals: list[Signal]) -> Survey:
    """What the instrument shows of these signals."""
    axis = Axis.regular(instrument.low_hz, instrument.step_hz, instrument.bins)
    shape = (instrument.sweeps, instrument.bins)
    noise = np.full(shape, 10 ** (instrument.noise_dbm / 10))
    if instrument.noise_shape_db is not None:
        noise *= 10 ** (instrument.noise_shape_db / 10)
    steady = np.zeros(shape)
    for signal in signals:
        on = np.ones(instrument.sweeps, dtype=bool) if signal.on is None else signal.on
        power = 10 ** (signal.level_dbm / 10) * _caught(axis, instrument, signal)
        (noise if signal.width_hz > 0 else steady)[on] += power
    k = instrument.samples
    readings = noise * rng.noncentral_chisquare(2 * k, 2 * k * steady / noise) / (2 * k)
    levels = (10 * np.log10(readings) + instrument.error_db).astype(np.float32)
    return Survey((Series(axis, levels, instrument.unit, rbw_hz=instrument.rbw_hz, detector=instrument.detector),))


def _caught(axis: Axis, instrument: Instrument, signal: Signal) -> NDArray[np.float64]:
    """Share of the signal's power that each bin shows: a Gaussian filter, or the cell where steps are as wide as the
    RBW.
    """
    centres = axis.centres_hz
    if signal.width_hz > 0:
        overlap = np.minimum(centres + instrument.step_hz / 2, signal.centre_hz + signal.width_hz / 2)
        overlap = overlap - np.maximum(centres - instrument.step_hz / 2, signal.centre_hz - signal.width_hz / 2)
        per_cell = np.maximum(overlap, 0) / signal.width_hz
        return per_cell * max(1.0, instrument.rbw_hz / instrument.step_hz)
    if instrument.step_hz >= instrument.rbw_hz:
        return (np.abs(centres - signal.centre_hz) <= instrument.step_hz / 2).astype(float)
    return np.exp(-np.pi * ((centres - signal.centre_hz) / instrument.rbw_hz) ** 2)
