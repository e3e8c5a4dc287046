"""An air made of complex samples, and receivers that look at it through a window and an FFT. All of it is invented.

Nothing of fallow is used here, so that what judges the judge shares no idea with it: noise is Gaussian in time, signals
are added to it before the transform, a detector picks or averages powers, gain drifts, and levels are rounded last.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SPARE = 1.25  # bins that are worked with for each one shown, so that nothing folds over at the ends
AT_ONCE = 400_000  # samples


@dataclass(frozen=True)
class Sender:
    """A signal: ``kind`` (carrier, fm, digital, television), power while on and not faded, width for all but carriers.

    ``gain_db``: per sweep, 0 where it is fully on, -inf where it is off, shape (sweep,). ``notch``: depth of the dips
    of a second path and its delay in seconds.
    """

    kind: str
    centre_hz: float
    level_dbm: float
    width_hz: float = 0.0
    gain_db: NDArray[np.float64] | None = None
    notch: tuple[float, float] = (0.0, 0.0)

    def level_in(self, low_hz: float, high_hz: float) -> float:
        """Power in a window [dBm] while it is on: a carrier wholly or not at all, the rest by its spectrum."""
        if self.kind in ("carrier", "fm"):
            return self.level_dbm if low_hz <= self.centre_hz <= high_hz else -np.inf
        offsets = (np.arange(2000) + 0.5) / 2000 * self.width_hz - self.width_hz / 2
        density = np.square(np.abs(_two_paths(offsets, self.notch)))
        inside = (self.centre_hz + offsets >= low_hz) & (self.centre_hz + offsets <= high_hz)
        share = density[inside].sum() / density.sum()
        return self.level_dbm + 10.0 * np.log10(share) if share > 0 else -np.inf


@dataclass(frozen=True)
class Receiver:
    """A receiver. ``taper`` (hann, gauss, blackman-harris) and ``per_step`` (RBW over step) make its resolution.

    ``blocks``: transforms per reading; ``detector``: sample, average, peak, or max-hold over all sweeps.
    ``noise_dbm_hz``: density of its own noise, raised by ``floor_db`` per bin. ``gain_db``: error per bin, ``drift_db``
    per sweep. ``rounded_db``: step of the levels it tells, 0 for none.
    """

    low_hz: float
    step_hz: float
    bins: int
    per_step: float
    taper: str
    blocks: int
    sweeps: int
    detector: str
    noise_dbm_hz: float
    floor_db: NDArray[np.float64] | None = None
    gain_db: NDArray[np.float64] | float = 0.0
    drift_db: NDArray[np.float64] | None = None
    rounded_db: float = 0.0

    @property
    def transform(self) -> int:
        """Bins of the transform: more than are shown."""
        return 2 * round(SPARE * self.bins / 2)

    @property
    def window(self) -> NDArray[np.float64]:
        """The taper, scaled so that a carrier of 1 mW in a bin's middle reads 1 mW."""
        noise_bins = {"hann": 1.5, "gauss": 2.2568, "blackman-harris": 2.0044}[self.taper]  # Harris 1978; 8/(2√π)
        length = max(8, round(noise_bins * self.transform / self.per_step))
        t = (np.arange(length) + 0.5) / length
        weights = {
            "hann": lambda: 0.5 - 0.5 * np.cos(2 * np.pi * t),
            "gauss": lambda: np.exp(-0.5 * np.square(8 * (t - 0.5))),
            "blackman-harris": lambda: (
                0.35875
                - 0.48829 * np.cos(2 * np.pi * t)
                + 0.14128 * np.cos(4 * np.pi * t)
                - 0.01168 * np.cos(6 * np.pi * t)
            ),
        }[self.taper]()
        return np.asarray(weights / weights.sum())

    @property
    def rbw_hz(self) -> float:
        """Noise bandwidth: fs·Σw²/(Σw)²."""
        return float(self.step_hz * self.transform * np.square(self.window).sum())

    @property
    def centres_hz(self) -> NDArray[np.float64]:
        """Centres of the bins that are shown."""
        return self.low_hz + self.step_hz * np.arange(self.bins)


def shown(rng: np.random.Generator, receiver: Receiver, senders: list[Sender]) -> NDArray[np.float32]:
    """What the receiver tells of these signals, dBm, shape (sweep, bin); one row for max-hold."""
    powers = np.empty((receiver.sweeps, receiver.bins))
    rows = max(1, AT_ONCE // (receiver.blocks * receiver.window.size))
    for begin in range(0, receiver.sweeps, rows):
        which = slice(begin, min(receiver.sweeps, begin + rows))
        powers[which] = _detected(rng, receiver, senders, which)
    if receiver.drift_db is not None:
        powers *= 10 ** (receiver.drift_db[:, None] / 10)
    if receiver.detector == "max-hold":
        powers = powers.max(axis=0, keepdims=True)
    levels = 10 * np.log10(powers) + receiver.gain_db
    if receiver.rounded_db:
        levels = np.round(levels / receiver.rounded_db) * receiver.rounded_db
    return levels.astype(np.float32)


def _detected(rng: np.random.Generator, receiver: Receiver, senders: list[Sender], which: slice) -> NDArray[np.float64]:
    shape = (which.stop - which.start, receiver.blocks, receiver.window.size)
    rate = receiver.step_hz * receiver.transform
    spectrum = _transformed(receiver, _gaussian(rng, shape) * np.sqrt(10 ** (receiver.noise_dbm_hz / 10) * rate))
    if receiver.floor_db is not None:
        spectrum *= 10 ** (receiver.floor_db / 20)
    middle = receiver.low_hz + receiver.step_hz * (receiver.bins // 2)
    on_air = np.zeros(shape, dtype=complex)
    for sender in senders:
        gain = np.zeros(receiver.sweeps) if sender.gain_db is None else sender.gain_db
        heard = np.flatnonzero(np.isfinite(gain[which]))
        if heard.size:
            amplitude = 10 ** ((sender.level_dbm + gain[which][heard]) / 20)
            waves = _waves(rng, sender, (heard.size, *shape[1:]), rate, sender.centre_hz - middle)
            on_air[heard] += amplitude[:, None, None] * waves
    power = np.square(np.abs(spectrum + (_transformed(receiver, on_air) if senders else 0.0)))
    return np.asarray(power.max(axis=1) if receiver.detector == "peak" else power.mean(axis=1))


def _transformed(receiver: Receiver, samples: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Windowed, folded to the transform's length, and the shown bins of its spectrum."""
    size = receiver.transform
    tapered = samples * receiver.window
    short = -tapered.shape[-1] % size
    tapered = np.concatenate([tapered, np.zeros((*tapered.shape[:-1], short))], axis=-1)
    folded = tapered.reshape(*tapered.shape[:-1], -1, size).sum(axis=-2)
    around = np.arange(receiver.bins) - receiver.bins // 2
    return np.asarray(np.fft.fft(folded, axis=-1)[..., around % size])


def _gaussian(rng: np.random.Generator, shape: tuple[int, ...]) -> NDArray[np.complex128]:
    """Complex noise of power 1."""
    return np.asarray(rng.standard_normal((*shape, 2)).view(complex)[..., 0] * np.sqrt(0.5))


def _two_paths(offsets_hz: NDArray[np.float64], notch: tuple[float, float]) -> NDArray[np.complex128]:
    return np.asarray(1.0 + notch[0] * np.exp(2j * np.pi * offsets_hz * notch[1]))


def _waves(
    rng: np.random.Generator, sender: Sender, shape: tuple[int, ...], rate: float, offset_hz: float
) -> NDArray[np.complex128]:
    """Samples of the signal with power 1, each block at another moment."""
    t = np.arange(shape[-1]) / rate
    turned = np.exp(2j * np.pi * (offset_hz * t + rng.random((*shape[:-1], 1))))
    if sender.kind == "carrier":
        return np.asarray(turned)
    if sender.kind == "fm":  # Carson: a tone of 5 kHz, deviation so that width = 2(Δf + f)
        tone = 5e3
        index = max(0.0, sender.width_hz / 2 - tone) / tone
        return np.asarray(turned * np.exp(1j * index * np.sin(2 * np.pi * (tone * t + rng.random((*shape[:-1], 1))))))
    long = 4 * shape[-1]  # finer in frequency than the block, so that any width is met
    offsets = np.fft.fftfreq(long, 1 / rate)
    density = np.clip((sender.width_hz / 2 - np.abs(offsets)) * long / rate + 0.5, 0.0, 1.0)
    density *= np.square(np.abs(_two_paths(offsets, sender.notch)))
    amplitude = np.sqrt(density / density.sum()) * long
    filled = np.flatnonzero(amplitude)
    spectrum = np.zeros((*shape[:-1], long), dtype=complex)
    spectrum[..., filled] = _gaussian(rng, (*shape[:-1], filled.size)) * amplitude[filled]
    return np.asarray(np.fft.ifft(spectrum, axis=-1)[..., : shape[-1]] * turned)
