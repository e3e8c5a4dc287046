"""How quickly percentiles and occupancy per bin are found, beside ``numpy.percentile`` and a comparison.

Run as ``python bench/occupancy.py [SWEEPS]``: 86,400 sweeps of 2,000 points are a day, the default a sixth of it. Both
work on the same array in one process; the ratio is of what fallow needs in all: counting, then percentiles and
occupancy from the histogram.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np
from _kernels import ready
from numpy.typing import NDArray

from fallow.spectrum.levels import Levels
from fallow.spectrum.long.counting import Kernel, count_whole
from fallow.spectrum.long.occupancy import Histogram, histogram_of

POINTS = 2_000
THRESHOLD_DB = -90.0
ASKED = {"the 90 % line": (90,), "10, 50 and 90 %": (10, 50, 90)}
WANTED_RATIO = 4.0
TIMES = 3


def main() -> int:
    """Print the table; 1 where fallow is not four times as quick."""
    sweeps = int(sys.argv[1]) if len(sys.argv) > 1 else 14_400
    levels = invented_levels(sweeps)
    count_quickly = ready().count
    print(f"{sweeps} sweeps of {POINTS} points, occupancy above {THRESHOLD_DB:g} dB and percentiles; best of {TIMES}")
    slowest = np.inf
    for name, percents in ASKED.items():
        plain_s, exact = best_of(lambda percents=percents: by_numpy(levels, percents))
        print(f"\n{name}\n  numpy.percentile and a comparison {told(levels.size, plain_s)}")
        for kernel_name, kernel in {"compiled": count_quickly, "NumPy": count_whole}.items():
            seconds, found = best_of(lambda kernel=kernel, percents=percents: by_fallow(levels, percents, kernel))
            ratio = f"{plain_s / seconds:5.1f} times as quick"
            print(
                f"  fallow, {kernel_name:8} kernel           {told(levels.size, seconds)}",
                f"{ratio}; {errors(exact, found)}",
            )
            slowest = min(slowest, plain_s / seconds) if kernel is count_quickly else slowest
    return 0 if slowest >= WANTED_RATIO else 1


def told(levels: int, seconds: float) -> str:
    """Time and pace."""
    return f"{seconds:7.2f} s {levels / seconds / 1e6:6.0f} M levels/s"


def invented_levels(sweeps: int) -> NDArray[np.float32]:
    """Noise of an averaging detector, a block and a carrier that comes and goes."""
    rng = np.random.default_rng(5)
    levels = np.empty((sweeps, POINTS), dtype=np.float32)
    for begin in range(0, sweeps, 600):
        part = levels[begin : begin + 600]
        part[:] = 10.0 * np.log10(rng.gamma(10.0, 0.1, part.shape).astype(np.float32)) - 105.0
        part[:, 1200:1500] += 30.0
        part[rng.random(part.shape[0]) < 0.3, 700:706] += 20.0
    return levels


Answer = tuple[NDArray[np.floating], NDArray[np.floating]]


def by_numpy(levels: NDArray[np.float32], percents: tuple[int, ...]) -> Answer:
    """Percentiles, shape (percent, bin), and share above the threshold, shape (bin,)."""
    return np.percentile(levels, percents, axis=0), (levels >= THRESHOLD_DB).mean(axis=0)


def by_fallow(levels: NDArray[np.float32], percents: tuple[int, ...], kernel: Kernel) -> Answer:
    """The same from a histogram."""
    found: Histogram = histogram_of((block for _, block in Levels((levels,)).blocks()), kernel=lambda: kernel)
    return np.array([found.percentile(percent) for percent in percents]), found.share_above(THRESHOLD_DB)


def best_of(work: Callable[[], Answer]) -> tuple[float, Answer]:
    """Seconds of the quickest run, and the answer."""
    quickest = np.inf
    for _ in range(TIMES):
        began = time.perf_counter()
        answer = work()
        quickest = min(quickest, time.perf_counter() - began)
    return quickest, answer


def errors(exact: Answer, found: Answer) -> str:
    """How far the answers are apart."""
    off = found[0] - exact[0]
    shares = np.abs(found[1] - exact[1]).max()
    return f"error rms {np.sqrt(np.square(off).mean()):.2f}, at most {np.abs(off).max():.2f} dB; occupancy {shares:.4f}"


if __name__ == "__main__":
    sys.exit(main())
