"""Invented noise as real instruments show it: Fourier bins with a window, averaged, held, rounded. Known truth.

Shares nothing with fallow's own arithmetic: complex Gaussian noise, its spectrum, and what a trace makes of many.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Trace:
    """How readings come about: ``kind`` (sample, average, log average, max-hold), of how many spectra, each the mean of
    ``samples``; ``sweeps`` of ``bins``; a Hann window or none; levels rounded to ``step_db``; a ripple in the floor.
    """

    kind: str
    of: int = 1
    samples: int = 1
    sweeps: int = 1
    bins: int = 401
    hann: bool = True
    step_db: float = 0.0
    carriers: int = 0
    ripple_db: float = 2.0

    @property
    def rbw_bins(self) -> float:
        """Noise bandwidth in bins. Source: Harris, Proc. IEEE 66 (1978): 1.5 for Hann, 1 for none."""
        return 1.5 if self.hann else 1.0


def levels_of(rng: np.random.Generator, trace: Trace) -> NDArray[np.float32]:
    """Levels in dB of shape (sweep, bin): a floor with a ripple, and the gain drifts by 0.3 dB."""
    readings = np.array([_reading(rng, trace) for _ in range(trace.sweeps)])
    ripple = trace.ripple_db * np.sin(
        np.arange(trace.bins) / trace.bins * rng.uniform(3.0, 20.0) + rng.uniform(0.0, 6.0)
    )
    levels = 10.0 * np.log10(readings) - 100.0 + ripple + rng.uniform(-0.3, 0.3, (trace.sweeps, 1))
    return (np.round(levels / trace.step_db) * trace.step_db if trace.step_db else levels).astype(np.float32)


def _reading(rng: np.random.Generator, trace: Trace) -> NDArray[np.float64]:
    steady = np.zeros(trace.bins)
    steady[rng.integers(trace.bins, size=trace.carriers)] = 10.0 ** rng.uniform(0.0, 1.5, trace.carriers)
    if trace.kind == "max-hold":
        held = np.zeros(trace.bins)
        for _ in range(trace.of):
            np.maximum(held, _spectra(rng, trace, trace.samples, steady).mean(axis=0), out=held)
        return held
    spectra = _spectra(rng, trace, trace.of, steady)
    return 10.0 ** np.log10(spectra).mean(axis=0) if trace.kind == "log average" else spectra.mean(axis=0)


def _spectra(rng: np.random.Generator, trace: Trace, count: int, steady: NDArray[np.float64]) -> NDArray[np.float64]:
    """Power spectra of noise with mean 1 and of carriers, shape (count, bin); the window's response along frequency."""
    noise = (rng.standard_normal((count, trace.bins)) + 1j * rng.standard_normal((count, trace.bins))) / np.sqrt(2.0)
    lines = np.sqrt(steady) * np.exp(2j * np.pi * rng.random((count, trace.bins)))
    if trace.hann:
        noise = (noise - (np.roll(noise, 1, axis=1) + np.roll(noise, -1, axis=1)) / 2.0) / np.sqrt(1.5)
        lines = lines - (np.roll(lines, 1, axis=1) + np.roll(lines, -1, axis=1)) / 2.0
    return np.square(np.abs(noise + lines))
