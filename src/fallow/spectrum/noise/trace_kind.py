"""What kind of trace the data are: single samples, averages, or the highest of many (peak detector, max-hold).

Noise tells it. A reading of noise is the largest of J means of K exponential powers; in decibels single samples scatter
by 5.57 dB with a long lower tail, averages less and nearly evenly, the largest of many less and with a long *upper*
tail. The scatter alone leaves a line of pairs (J, K) open, so the shape is asked: the likelihood of every pair on that
line, over a histogram of what is left when the floor is taken off. Sources: order statistics, F(x)^J; the gamma
distribution of averaged powers (Urkowitz, Proc. IEEE 55 (1967) 523-531); limits from the profile of the likelihood
(Wilks, Ann. Math. Stat. 9 (1938) 60-62).

Sweeps of a running max-hold need no shape: their levels never fall, and those of a running min-hold never rise. One
min-hold trace alone looks like single samples, for the smallest of exponentials is an exponential: that can't be told.
Nor can averages of decibels be told from averages of powers. Readings that scatter evenly in decibels by more than a
little (a receiver that smooths, adds errors of its own or compresses) are neither: a normal distribution is tried
beside all pairs, and where it explains the readings better, no kind is told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.scatter import Scatter, find_scatter, level_step_db, some_rows
from fallow.spectrum.sweep import Detector

__all__ = ["Highest", "Range", "TraceKind", "contradicts_hold", "estimate_kind", "told_contradiction", "told_kind"]

Values = NDArray[np.float64]
COUNTS = np.geomspace(1.0, 1e5, 51)  # J
SAMPLES = np.geomspace(1.0, 3000.0, 60)  # K
SCALES = (0.91, 0.94, 0.97, 1.0, 1.03, 1.06, 1.09)  # of the scatter, around the one that is seen
STRANGE = (0.0005, 0.005, 0.02, 0.06)  # shares of readings that are no noise, anywhere above the middle
LOW, HIGH = 0.16, 0.84  # the shares between which the scatter is taken: a standard deviation to each side
CELLS_PER_SIGMA = 8
REACH_SIGMAS = 7
SHIFTS = 4  # cells by which the middle may be off
FEWEST_INDEPENDENT = 100.0
FINEST_DB = 0.12  # below that an instrument's own unrest decides, not noise. Common practice
COARSEST_STEP = 1.1  # of the readings, in standard deviations
MISFIT = 0.012  # distance of the distributions that is still called noise, where readings are many
MANY_READINGS = 15_000  # independent ones: from there on a hold that is one fits better than even scatter does
EVEN = 8.0  # of the log-likelihood: even scatter explains the readings better than noise does; by luck e^-8
FALL = 1.92  # of the log-likelihood at the limits: half of chi-square with one degree of freedom, 95 %
BIAS_STEP_DB = 0.15  # half the distance of neighbouring counts J that are tried, as the bias shows it
NO_BIAS_DB = 1.5  # by which noise may read high and the trace still be an average
SINGLE_SAMPLES = 1.35
MOST_PAIRS = 16  # of sweeps that are asked whether levels ever fall
FEWEST_CHANGES = 20
MOST_RECORDS = 0.6  # of the readings of a running hold at most differ from the sweep before
FALLS = 0.02
RUNNING_CHANCE = 1e-3
OF_ONE = 1.5  # the highest of fewer than so many is the highest of one; the fewest that a hold can be of are two
CONTRADICTED = 1e-3  # chance of an error at which the data are believed against what was stated


@dataclass(frozen=True)
class Range:
    """A best value and its limits (95 %)."""

    best: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{_told(self.best)} ({_told(self.low)} to {_told(self.high)})"


def _told(value: float) -> str:
    return f"{float(f'{value:.2g}'):g}"  # two digits, and no power of ten for a hundred


@dataclass(frozen=True)
class Highest:
    """A reading of noise as the highest of ``peak_of`` (J) means of ``samples`` (K) powers, each with its limits.

    ``bias_db``: by how much it reads too high on average.
    """

    peak_of: Range
    samples: Range
    bias_db: Range


@dataclass(frozen=True)
class TraceKind:
    """What the data say.

    ``detector``: ``None`` where it can't be told (``why_not``); MAX_HOLD stands for a peak detector too where there is
    one sweep. ``noise``: how readings of noise come about, ``None`` where not even that can be told. ``running``:
    levels never fall (or rise) from sweep to sweep. ``chance``: that the kind is wrong, at most.
    """

    detector: Detector | None
    noise: Highest | None = None
    running: bool = False
    chance: float = 1.0
    why_not: str = ""


def estimate_kind(levels: Levels, rbw_bins: float, alike_sweeps: float = 1.0) -> TraceKind:
    """The trace kind of levels of shape (sweep, bin). ``rbw_bins``: resolution bandwidth in bins (1 where unknown);
    ``alike_sweeps``: over how many neighbouring sweeps noise says one thing.
    """
    held = _running(levels)
    if held is Detector.MIN_HOLD:
        return TraceKind(held, running=True, chance=RUNNING_CHANCE)
    rows = some_rows(levels.sweeps(len(levels) - 1, len(levels)) if held else levels, alike_sweeps)
    found = _from_scatter(find_scatter(rows, rbw_bins, level_step_db(rows)))
    if held:
        return replace(found, detector=held, running=True, chance=RUNNING_CHANCE)
    if found.detector is Detector.MAX_HOLD and len(levels) > 1:
        return replace(found, detector=Detector.PEAK)
    return found


def _running(levels: Levels) -> Detector | None:
    """Max-hold where levels never fall from sweep to sweep, min-hold where they never rise.

    The J-th sweep of a hold is a record with the chance 1/J: never do most bins move at once, as a gain does.
    """
    pairs = np.unique(np.linspace(0, len(levels) - 2, min(len(levels) - 1, MOST_PAIRS)).round().astype(int))
    changes = [np.diff(levels[int(pair) : int(pair) + 2], axis=0)[0] for pair in pairs]
    known = [change[np.isfinite(change)] for change in changes]
    moves = sum(np.count_nonzero(change) for change in known)
    if moves < FEWEST_CHANGES or any(np.count_nonzero(change) > MOST_RECORDS * change.size for change in known):
        return None
    falls = sum(np.count_nonzero(change < 0) for change in known) / moves
    return Detector.MAX_HOLD if falls <= FALLS else Detector.MIN_HOLD if falls >= 1.0 - FALLS else None


def _from_scatter(scatter: Scatter | None) -> TraceKind:
    if scatter is None or scatter.independent < FEWEST_INDEPENDENT:
        return TraceKind(None, why_not="too few readings of noise")
    low, high = np.quantile(scatter.residuals_db, (LOW, HIGH))
    sigma_db = float(high - low) / 2.0
    if sigma_db < FINEST_DB:
        return TraceKind(None, why_not="the readings scatter less than instruments repeat")
    # of one reading of noise alone: without what the steps and the floor that was taken off add
    alone_db = math.sqrt(max(1e-4, sigma_db**2 - scatter.step_db**2 / 6.0) / (1.0 + scatter.centring))
    if scatter.step_db > COARSEST_STEP * alone_db:
        return TraceKind(None, why_not=f"the readings' steps of {scatter.step_db:g} dB are too coarse")
    profile = _profile(scatter, sigma_db, alone_db)
    if profile is None:
        return TraceKind(None, why_not="the readings scatter by more than noise does")
    return _decided(profile, scatter)


@dataclass(frozen=True, eq=False)
class _Profile:
    """Pairs of J and K, each with its log-likelihood, the distance of its distribution, and its bias: shape (pair,).

    ``even_fit``: the log-likelihood of the normal distribution in decibels that fits best.
    """

    peak_of: Values
    samples: Values
    fit: Values
    misfit: Values
    bias_db: Values
    even_fit: float


def _decided(profile: _Profile, scatter: Scatter) -> TraceKind:
    """A kind where all pairs that fit agree on it."""
    best = int(np.argmax(profile.fit))
    if profile.misfit[best] > MISFIT + 1.5 / math.sqrt(scatter.independent):
        return TraceKind(None, why_not="the readings scatter unlike noise")
    if profile.even_fit > profile.fit[best] + EVEN:
        return TraceKind(None, why_not="the readings scatter evenly in decibels, as noise of no trace kind does")
    fallen = profile.fit[best] - profile.fit
    peak_of = _limits(profile.peak_of, best, fallen, float(COUNTS[1] / COUNTS[0]))
    samples = _limits(profile.samples, best, fallen, (SCALES[1] / SCALES[0]) ** 2)
    noise = Highest(peak_of, samples, _bias_limits(profile, best, fallen))
    lifted = profile.bias_db > NO_BIAS_DB
    apart = abs(float(profile.fit[lifted].max(initial=-1e9) - profile.fit[~lifted].max(initial=-1e9)))
    chance = math.erfc(math.sqrt(apart)) / 2.0  # one side of a normal variate whose square is twice the fall
    alike = profile.even_fit > profile.fit[best] - FALL and scatter.independent >= MANY_READINGS
    if lifted[best] and alike:
        return TraceKind(None, why_not="a hold and readings that scatter evenly in decibels would look alike")
    fits = lifted[fallen <= FALL]
    if fits.all():
        return TraceKind(Detector.MAX_HOLD, noise, chance=chance)
    if fits.any():
        plain, held = (int(np.argmax(np.where(side, profile.fit, -np.inf))) for side in (~lifted, lifted))
        averages = f"averages of about {profile.samples[plain]:.2g} samples"
        hold = f"a max-hold trace of about {profile.peak_of[held]:.2g} sweeps"
        return TraceKind(None, noise, why_not=f"{averages} and {hold} scatter alike")
    single = samples.best < SINGLE_SAMPLES and peak_of.best < SINGLE_SAMPLES
    return TraceKind(Detector.SAMPLE if single else Detector.AVERAGE, noise, chance=chance)


def _limits(values: Values, best: int, fallen: Values, factor: float = 1.0) -> Range:
    """The best of some values and the limits of those that fit, half a step wider where they lie ``factor`` apart."""
    inside, half = values[fallen <= FALL], math.sqrt(factor)
    low = float(inside.min())
    return Range(float(values[best]), low / half if low > 1.0 else low, float(inside.max()) * half)


def _bias_limits(profile: _Profile, best: int, fallen: Values) -> Range:
    """The bias with its limits, half a step of the counts that were tried to each side; never below 0."""
    told = _limits(profile.bias_db, best, fallen)
    if told.best == 0.0:
        return told
    return Range(told.best, max(0.0, told.low - BIAS_STEP_DB), told.high + BIAS_STEP_DB)


def _profile(scatter: Scatter, sigma_db: float, alone_db: float) -> _Profile | None:
    """Every pair that scatters about as much, with its fit; None where none does."""
    pairs = [(float(j), k) for j in COUNTS for scale in SCALES if (k := _samples_for(float(j), alone_db * scale))]
    if not pairs:
        return None
    peak_of, samples = np.array(pairs).T
    reach = REACH_SIGMAS * CELLS_PER_SIGMA
    edges = np.arange(-reach, reach + 1, dtype=np.float64) * (sigma_db / CELLS_PER_SIGMA)
    seen = np.histogram(scatter.residuals_db, edges)[0] / scatter.residuals_db.size
    shares, bias_db = _expected(peak_of, samples, edges)
    kernel = _blur(scatter, alone_db, float(edges[1] - edges[0]))
    fit, misfit = _fitted(shares, kernel, seen, scatter.independent)
    even, _ = _fitted(_even(alone_db, edges), kernel, seen, scatter.independent)
    return _Profile(peak_of, samples, fit, misfit, bias_db, float(even.max()))


def _fitted(shares: Values, kernel: Values, seen: Values, independent: float) -> tuple[Values, Values]:
    """The log-likelihood of what was ``seen``, shape (cell,), under each distribution, and how far both lie apart.

    ``shares``: of the cells, shape (distribution, cell), not yet widened by ``kernel``. Each may be shifted a little,
    and hold a few readings that are no noise.
    """
    expected = np.array([np.convolve(row, kernel, mode="same") for row in shares])
    reach = seen.size // 2
    strange = np.where(np.arange(seen.size) >= reach, 1.0 / reach, 0.0)
    fit, misfit = np.full(shares.shape[0], -np.inf), np.ones(shares.shape[0])
    for shift in range(-SHIFTS, SHIFTS + 1):
        for share in STRANGE:
            model = (1.0 - share) * np.roll(expected, shift, axis=1) + share * strange + 1e-9
            tried = independent * (np.log(model) @ seen)
            better = tried > fit
            fit[better] = tried[better]
            misfit[better] = np.abs(np.cumsum(seen) - np.cumsum(model[better], axis=1)).max(axis=1)
    return fit, misfit


def _even(alone_db: float, edges_db: Values) -> Values:
    """Shares of the cells between edges of normal distributions about as wide as ``alone_db``, shape (scale, cell)."""
    from scipy import special  # heavy, so only where it is used

    return np.diff(special.ndtr(edges_db / (alone_db * np.array(SCALES)[:, None])), axis=1)


def _expected(peak_of: Values, samples: Values, edges_db: Values) -> tuple[Values, Values]:
    """Shares of the cells between edges around the median, shape (pair, cell), and the bias of the mean in dB."""
    from scipy import special  # heavy, so only where it is used

    j, k = peak_of[:, None], samples[:, None]
    at_db = 10.0 * np.log10(special.gammaincinv(k, 0.5 ** (1.0 / j)) / k) + edges_db
    shares = np.diff(special.gammainc(k, k * 10.0 ** (at_db / 10.0)) ** j, axis=1)
    powers = 10.0 ** ((at_db[:, 1:] + at_db[:, :-1]) / 20.0)
    return shares, 10.0 * np.log10((shares * powers).sum(axis=1) / shares.sum(axis=1))


def _blur(scatter: Scatter, alone_db: float, cell_db: float) -> Values:
    """What the floor that was taken off and the steps of the readings add, in cells of ``cell_db``.

    Rounding to steps and spreading over them again adds two even errors: a triangle two steps wide.
    """
    centring_db = math.sqrt(scatter.centring) * alone_db
    reach = max(1, math.ceil((4.0 * centring_db + scatter.step_db) / cell_db))
    offsets = np.arange(-reach, reach + 1) * cell_db
    kernel = np.exp(-0.5 * np.square(offsets / max(centring_db, cell_db / 4.0)))
    if scatter.step_db > cell_db:
        kernel = np.convolve(kernel, np.maximum(0.0, 1.0 - np.abs(offsets) / scatter.step_db), mode="same")
    return np.asarray(kernel / kernel.sum(), dtype=np.float64)


def _samples_for(peak_of: float, sigma_db: float) -> float | None:
    """K with which the highest of J means of K powers scatters so; None where even single ones scatter less."""
    spreads = _spreads()[int(np.argmin(np.abs(COUNTS - peak_of)))]
    if sigma_db > spreads[0]:
        return 1.0 if sigma_db * min(SCALES) <= spreads[0] else None
    return float(np.exp(np.interp(-math.log(sigma_db), -np.log(spreads), np.log(SAMPLES))))


@cache
def _spreads() -> Values:
    """Half the distance of the quantiles ``LOW`` and ``HIGH`` in dB, falling with K, shape (J, K)."""
    from scipy import special  # heavy, so only where it is used

    j, k = COUNTS[:, None], SAMPLES[None, :]
    low, high = (np.log10(special.gammaincinv(k, share ** (1.0 / j))) for share in (LOW, HIGH))
    return np.asarray(5.0 * (high - low), dtype=np.float64)


# --- in words


def told_kind(kind: TraceKind) -> str:
    """What the data say of a trace whose kind nobody states, for people."""
    if kind.detector is None:
        return f"the trace kind can't be told from the data: {kind.why_not}"
    told = f"trace kind estimated from the data: {_named(kind.detector, kind)}"
    if kind.detector in (Detector.SAMPLE, Detector.AVERAGE):
        return told
    if kind.noise is not None:
        told += f"; noise reads {kind.noise.bias_db} dB high in it, which is no raised floor and is allowed for"
    if kind.detector is Detector.PEAK:
        return f"{told}; a level in it is the highest of its sweep"
    return f"{told}; a level in it is the highest seen, and how often it was there can't be told"


def told_contradiction(stated: Detector, kind: TraceKind) -> str:
    """Where the data contradict what was stated, at odds of a thousand to one; else nothing."""
    if kind.detector is None or kind.chance > CONTRADICTED:
        return ""
    lifted = (Detector.PEAK, Detector.MAX_HOLD, Detector.MIN_HOLD)
    stated_plain = stated in (Detector.SAMPLE, Detector.AVERAGE) and kind.detector in lifted
    if not (
        stated_plain
        or contradicts_hold(stated, kind)
        or (stated is Detector.AVERAGE and kind.detector is Detector.SAMPLE)
    ):
        return ""
    return f"the trace is stated to be {stated}, but the data look like {_named(kind.detector, kind)}"


def contradicts_hold(stated: Detector | None, kind: TraceKind) -> bool:
    """Whether a trace stated to be the highest of many plainly scatters as single samples or averages do."""
    if stated not in (Detector.PEAK, Detector.MAX_HOLD) or kind.chance > CONTRADICTED or kind.running:
        return False
    averages = kind.detector is Detector.AVERAGE and kind.noise is not None and kind.noise.peak_of.high < OF_ONE
    return averages or kind.detector is Detector.SAMPLE


def _named(detector: Detector, kind: TraceKind) -> str:
    if detector is Detector.MIN_HOLD:
        return "a min-hold trace (its levels never rise from sweep to sweep)"
    if detector is Detector.SAMPLE:
        return "single samples"
    if kind.noise is None:
        return f"a {detector} trace (its levels never fall from sweep to sweep)"
    peak_of, samples = kind.noise.peak_of, kind.noise.samples
    if detector is Detector.AVERAGE:
        return f"an average of about {samples} samples"
    if detector is Detector.PEAK:
        return f"a peak detector, the highest of about {peak_of} readings in each sweep"
    never = " (its levels never fall from sweep to sweep)" if kind.running else ", or a peak detector over as many"
    return f"a max-hold trace of about {peak_of} sweeps{never}"
