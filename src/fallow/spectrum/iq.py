"""A recording of samples turned into sweeps: averaged periodograms of overlapping windowed segments.

The method is Welch's (P. D. Welch, IEEE Trans. Audio Electroacoust. AU-15, 1967): segments of ``points`` samples that
overlap by half, each weighted with a periodic Hann window, |FFT|² divided by (Σw)², and of the segments of one sweep
the mean (detector *average*), the highest (*peak*), or the first one alone (*sample*); *max-hold* is the highest of
the whole recording. A phasor that fills the scale reads 0 dB; white noise reads its power in the resolution bandwidth
RBW = ENBW · rate / points, with ENBW = 1.5 bins (F. J. Harris, Proc. IEEE 66, 1978, table 1).

What a receiver adds by itself is *not measured*: the bins that its DC offset reaches, and a tenth of the band at each
edge, where its filter falls off and its images fold in. Several tunings are stitched on one axis; a bin that two of
them measured is taken from the one in whose middle it lies.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import Detector, LevelUnit, Series

__all__ = ["ENBW_BINS", "INNER_SHARE", "Resolution", "Stretch", "resolution_for", "sweeps_of"]

ENBW_BINS = 1.5  # of a periodic Hann window; Harris 1978, table 1
INNER_SHARE = 0.8  # of the band is believed. Source: design decision, from a simulated tuner
BLOCK_SAMPLES = 2**18
DC_REACH_BINS = 2.0  # half width of the Hann window's main lobe
USUAL_RBW_HZ = 10e3  # common practice: resolves 200 kHz links, and a sweep stays small
FEWEST_POINTS, USUAL_POINTS, MOST_USUAL_POINTS = 16, 1024, 16384
MOST_POINTS = 2**20
SHORTEST_SWEEP_S, LONGEST_SWEEP_S = 0.010, 0.100  # bursts of links and phones last about as long. Common practice
USUAL_SWEEPS, FEW_SWEEPS, FEWEST_SEGMENTS = 100, 8, 4
MOST_LEVELS = 20_000_000  # of one recording; longer ones get longer sweeps
REAL_GAIN_DB = 20 * math.log10(2)  # a real sine puts half its amplitude at each of ±f


@dataclass(frozen=True)
class Resolution:
    """How finely samples are told apart in frequency and time.

    ``rate_hz``: samples per second. ``points``: samples per segment, even. ``segments``: per sweep.
    """

    rate_hz: Fraction
    points: int
    segments: int
    detector: Detector = Detector.AVERAGE

    @property
    def step_hz(self) -> Fraction:
        """Distance of the bins in hertz."""
        return self.rate_hz / self.points

    @property
    def rbw_hz(self) -> float:
        """Noise bandwidth of a bin in hertz."""
        return ENBW_BINS * float(self.step_hz)

    @property
    def hop(self) -> int:
        """Samples from one segment to the next."""
        return self.points // 2

    @property
    def sweep_s(self) -> float:
        """Time from one sweep to the next in seconds."""
        return self.segments * self.hop / float(self.rate_hz)

    def segments_in(self, samples: int) -> int:
        """How many whole segments so many samples hold."""
        return max((samples - self.points) // self.hop + 1, 0)


@dataclass(frozen=True, eq=False)
class Stretch:
    """Samples that follow each other on one tuning.

    ``blocks``: called once, gives complex64 arrays of shape (sample,), full scale ±1. ``start_s``: of the first
    sample in seconds since 1970, ``None`` where unknown.
    """

    centre_hz: Fraction
    n_samples: int
    blocks: Callable[[], Iterable[NDArray[np.complex64]]]
    start_s: float | None = None


def resolution_for(
    rate_hz: Fraction, lengths: Sequence[int], rbw_hz: float | None = None, detector: Detector = Detector.AVERAGE
) -> Resolution:
    """The resolution for stretches of so many samples each.

    Without ``rbw_hz``: the fewest points from 1,024 on (a power of two) that make the RBW 10 kHz or less, at most
    16,384. With it: the fewest points that make it no wider. A sweep takes a hundredth of the recording, within 10 to
    100 ms; less where that leaves fewer than eight sweeps; more where there would be too many levels; and at least
    four segments. Raises InputError when no stretch is long enough, or for an RBW that the rate can't give.
    """
    points = _usual_points(rate_hz, max(lengths, default=0)) if rbw_hz is None else _told_points(rate_hz, rbw_hz)
    if points > max(lengths, default=0):
        raise InputError(
            f"{max(lengths, default=0)} samples are too few for a sweep"
            + ("" if rbw_hz is None else f" with an RBW of {rbw_hz:g} Hz"),
            hint=None if rbw_hz is None else "say a wider --rbw",
        )
    bare = Resolution(rate_hz, points, 1, detector)
    held = [bare.segments_in(length) for length in lengths]
    if detector is Detector.MAX_HOLD:
        return Resolution(rate_hz, points, max(held), detector)
    total_s = sum(lengths) / float(rate_hz)
    sweep_s = min(max(total_s / USUAL_SWEEPS, SHORTEST_SWEEP_S), LONGEST_SWEEP_S, total_s / FEW_SWEEPS)
    sweep_s = max(sweep_s, total_s * points / MOST_LEVELS)
    segments = max(round(sweep_s * float(rate_hz) / bare.hop), FEWEST_SEGMENTS)
    shortest = min(count for count in held if count >= min(FEWEST_SEGMENTS, max(held)))
    return Resolution(rate_hz, points, min(segments, shortest), detector)


def sweeps_of(
    stretches: Sequence[Stretch], resolution: Resolution, *, real: bool = False, source: str = ""
) -> tuple[Series, ...]:
    """Sweeps of a recording [dB of full scale]: one series for each run of tunings whose bands touch.

    With several tunings, sweep *k* is made of the *k*-th sweep on each of them and starts with the earliest. ``real``:
    samples without an imaginary part, taken directly from the antenna: bins from 0 to half the rate, and a sine that
    fills the scale reads 0 dB. Stretches too short for a sweep give none. Raises InputError when all are.
    """
    grid = _Grid(stretches[0].centre_hz, resolution, real)
    hops: dict[int, _Hop] = {}
    for stretch in stretches:
        if resolution.segments_in(stretch.n_samples) < resolution.segments:
            continue
        place = grid.place(stretch.centre_hz)
        hop = hops.setdefault(place, _Hop(place, grid.believed(stretch.centre_hz)))
        levels = grid.levels_db(stretch)
        first_s = math.nan if stretch.start_s is None else stretch.start_s
        hop.levels.append(levels)
        hop.times.append(first_s + resolution.sweep_s * np.arange(levels.shape[0], dtype=np.float64))
    if not hops:
        raise InputError("it holds too few samples for a sweep")
    return tuple(_stitched(run, grid, source) for run in _runs(sorted(hops.values(), key=lambda hop: hop.place), grid))


@dataclass(eq=False)
class _Hop:
    """All sweeps on one tuning. ``place``: of its centre on the grid. ``believed``: which of its bins, shape (bin,)."""

    place: int
    believed: NDArray[np.bool_]

    def __post_init__(self) -> None:
        self.levels: list[NDArray[np.float32]] = []
        self.times: list[NDArray[np.float64]] = []


@dataclass(frozen=True)
class _Grid:
    """Bins of all tunings on one grid, whole steps from ``anchor_hz``; tunings between are shifted onto it."""

    anchor_hz: Fraction
    resolution: Resolution
    real: bool

    @property
    def offsets(self) -> NDArray[np.int64]:
        """Bins of one tuning in steps from its centre, shape (bin,)."""
        half = self.resolution.points // 2
        return np.arange(0 if self.real else -half, half)

    def place(self, centre_hz: Fraction) -> int:
        """The bin of the grid nearest to a tuning's centre."""
        return round((centre_hz - self.anchor_hz) / self.resolution.step_hz)

    def shift(self, centre_hz: Fraction) -> float:
        """How far a tuning's centre lies above its bin, in steps, -0.5 to 0.5."""
        steps = (centre_hz - self.anchor_hz) / self.resolution.step_hz
        return float(steps - round(steps))

    def believed(self, centre_hz: Fraction) -> NDArray[np.bool_]:
        """Which bins of a tuning show the air: neither reached by the DC offset nor near the edges."""
        beside = np.abs(self.offsets - self.shift(centre_hz))
        inside = (beside >= DC_REACH_BINS) & (beside <= INNER_SHARE * self.resolution.points / 2)
        return np.asarray(inside, dtype=np.bool_)

    def levels_db(self, stretch: Stretch) -> NDArray[np.float32]:
        """Levels of the sweeps of one stretch, shape (sweep, bin), rising in frequency, nothing left out yet."""
        blocks = _shifted(stretch.blocks(), self.shift(stretch.centre_hz) / self.resolution.points)
        folding = _Folding(self.resolution)
        for segments in _segments(blocks, self.resolution):
            folding.add(_powers(segments))
        levels = np.array(folding.done, dtype=np.float32).reshape(-1, self.resolution.points)
        if self.real:
            levels += np.float32(REAL_GAIN_DB)
        return np.fft.fftshift(levels, axes=1)[:, -self.offsets.size :]


class _Folding:
    """Segments folded into sweeps as the detector wants it. A segment with a number that is none is left out."""

    def __init__(self, resolution: Resolution) -> None:
        self.resolution = resolution
        self.done: list[NDArray[np.float32]] = []  # levels in dB, NaN for none, in the order of the FFT
        self._parts: list[NDArray[np.floating]] = []
        self._seen = 0

    def add(self, powers: NDArray[np.float32]) -> None:
        """The next segments, shape (segment, bin)."""
        while powers.shape[0]:
            taken = powers[: self.resolution.segments - self._seen]
            powers = powers[taken.shape[0] :]
            self._keep(taken)
            self._seen += taken.shape[0]
            if self._seen == self.resolution.segments:
                self._close()

    def _keep(self, powers: NDArray[np.float32]) -> None:
        if self.resolution.detector is Detector.SAMPLE:
            powers = powers[: max(1 - self._seen, 0)]
        valid = powers[np.isfinite(powers).all(axis=1)]
        if not valid.shape[0]:
            return
        if self.resolution.detector in (Detector.PEAK, Detector.MAX_HOLD):
            self._parts.append(valid.max(axis=0))
        else:
            self._parts.append(np.append(valid.sum(axis=0, dtype=np.float64), valid.shape[0]))

    def _close(self) -> None:
        points = self.resolution.points
        power = np.full(points, np.nan)
        if self._parts and self.resolution.detector in (Detector.PEAK, Detector.MAX_HOLD):
            power = np.max(self._parts, axis=0).astype(np.float64)
        elif self._parts:
            total = np.sum(self._parts, axis=0)
            power = total[:points] / total[points]
        power[power == 0.0] = np.nan
        self.done.append((10.0 * np.log10(power)).astype(np.float32))
        self._parts, self._seen = [], 0


def _powers(segments: NDArray[np.complex64]) -> NDArray[np.float32]:
    """|FFT|²/(Σw)² of windowed segments, shape (segment, bin), in the order of the FFT."""
    from scipy.fft import fft  # heavy, and needed for recordings only

    with np.errstate(over="ignore", invalid="ignore"):  # segments with samples that are no numbers are left out
        spectra = fft(segments * _hann(segments.shape[1]), axis=1, overwrite_x=True)
        powers: NDArray[np.float32] = spectra.real**2 + spectra.imag**2
    return powers


def _hann(points: int) -> NDArray[np.float32]:
    """A periodic Hann window whose sum is 1."""
    window = 1.0 - np.cos(2.0 * np.pi * np.arange(points) / points)
    return (window / points).astype(np.float32)


def _segments(blocks: Iterable[NDArray[np.complex64]], resolution: Resolution) -> Iterator[NDArray[np.complex64]]:
    """All whole segments, many at a time, shape (segment, sample)."""
    rest = np.empty(0, dtype=np.complex64)
    for block in blocks:
        samples = np.concatenate((rest, block))
        count = resolution.segments_in(samples.size)
        if count:
            view = np.lib.stride_tricks.sliding_window_view(samples, resolution.points)
            yield view[: count * resolution.hop : resolution.hop]
        rest = samples[count * resolution.hop :]


def _shifted(blocks: Iterable[NDArray[np.complex64]], cycles: float) -> Iterator[NDArray[np.complex64]]:
    """Blocks moved up in frequency by so many cycles per sample, without their mean (else it would leak)."""
    done = 0
    for block in blocks:
        if cycles and block.size:
            turns = cycles * (done + np.arange(block.size, dtype=np.float64))
            numbers = np.isfinite(block)
            offset = block.mean(where=numbers) if numbers.any() else 0.0
            with np.errstate(over="ignore", invalid="ignore"):  # samples that are no numbers stay none
                yield ((block - offset) * np.exp(2j * np.pi * (turns % 1.0))).astype(np.complex64)
        else:
            yield block
        done += block.size


def _runs(hops: Sequence[_Hop], grid: _Grid) -> Iterator[list[_Hop]]:
    """Tunings, rising, in groups whose bands touch."""
    run: list[_Hop] = []
    for hop in hops:
        if run and hop.place - run[-1].place > grid.offsets.size:
            yield run
            run = []
        run.append(hop)
    yield run


def _stitched(hops: Sequence[_Hop], grid: _Grid, source: str) -> Series:
    """One series of several tunings; each bin from the tuning that measured it and whose centre is nearest."""
    offsets, resolution = grid.offsets, grid.resolution
    first = hops[0].place + int(offsets[0])
    n = hops[-1].place + int(offsets[-1]) + 1 - first
    sweeps = max(sum(part.shape[0] for part in hop.levels) for hop in hops)
    levels = np.full((sweeps, n), np.nan, dtype=np.float32)
    nearest = np.full(n, np.iinfo(np.int64).max)
    starts = np.full(sweeps, np.inf)
    for hop in hops:
        part, times = np.concatenate(hop.levels), np.concatenate(hop.times)
        bins = hop.place - first + offsets
        better = hop.believed & (np.abs(offsets) < nearest[bins])
        nearest[bins[better]] = np.abs(offsets[better])
        levels[:, bins[better]] = np.nan
        levels[: part.shape[0], bins[better]] = part[:, better]
        starts[: times.size] = np.fmin(starts[: times.size], times)
    axis = Axis.regular(grid.anchor_hz + first * resolution.step_hz, resolution.step_hz, n)
    real_ones = slice(max(math.ceil(-axis.start_hz / axis.step_hz), 0), n)  # below 0 Hz there is nothing
    known = bool(np.isfinite(starts).all())
    return Series(
        axis.cut(real_ones),
        levels[:, real_ones],
        LevelUnit.DB,
        times_s=starts if known else None,
        zone_known=known,
        rbw_hz=resolution.rbw_hz,
        detector=resolution.detector,
        source=source,
        from_samples=True,
    )


def _usual_points(rate_hz: Fraction, longest: int) -> int:
    points = USUAL_POINTS
    while points < MOST_USUAL_POINTS and ENBW_BINS * float(rate_hz) / points > USUAL_RBW_HZ:
        points *= 2
    while points > max(longest, FEWEST_POINTS):
        points //= 2
    return points


def _told_points(rate_hz: Fraction, rbw_hz: float) -> int:
    from scipy.fft import next_fast_len  # heavy, and needed for recordings only

    wanted = ENBW_BINS * float(rate_hz) / rbw_hz
    if not FEWEST_POINTS <= wanted <= MOST_POINTS:
        low_hz, high_hz = (ENBW_BINS * float(rate_hz) / points for points in (MOST_POINTS, FEWEST_POINTS))
        raise InputError(
            f"samples at {float(rate_hz):g} Hz can't be turned into sweeps with an RBW of {rbw_hz:g} Hz",
            hint=f"say an --rbw from {math.ceil(low_hz)} to {math.floor(high_hz)} Hz, or none",
        )
    return 2 * int(next_fast_len(math.ceil(wanted / 2)))
