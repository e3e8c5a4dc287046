"""How often two surveys compared show a change that is there, and one that is not; how often the pad test is right.

Run: python bench/changes.py [TRIALS] [SEED]. What is asked for stands beside each figure. Everything is invented: two
surveys of one place with the same chain, each with a drift of 0.5 dB (the repeatability that is stated).
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from fallow.change.pad_lines import Origin
from fallow.change.padded import run_pad_test
from fallow.change.surveys import compare_surveys
from fallow.spectrum.judging import judge
from invented_air import Instrument, Signal, sweep_over

TELEVISION = Signal(474e6, 7.61e6, -70.0)


def instrument_at_random(rng: np.random.Generator) -> Instrument:
    """Steps of 10 to 50 kHz over 30 MHz, 1 to 30 sweeps, 1 to 30 samples per reading, at times a wider bandwidth."""
    step = int(rng.choice([10_000, 25_000, 50_000]))
    return Instrument(
        step_hz=step,
        bins=round(30e6 / step),
        rbw_hz=float(step * rng.choice([0.5, 1.0])),
        samples=int(rng.choice([1, 3, 10, 30])),
        sweeps=int(rng.choice([1, 3, 10, 30])),
    )


def changes(
    rng: np.random.Generator, instrument: Instrument, old: Sequence[Signal], new: Sequence[Signal], drift_db: float
) -> list[str]:
    """What a comparison says, one word per change."""
    airs = [
        judge(sweep_over(rng, replace(instrument, error_db=drift_db * float(rng.normal())), list(signals)))
        for signals in (old, new)
    ]
    return [str(change.what) for change in compare_surveys(airs[0], airs[1]).changes]


def false_changes(rng: np.random.Generator, trials: int) -> None:
    """Noise alone, and the same signals twice."""
    for name, signals in (("noise alone", ()), ("the same air twice", (TELEVISION, Signal(490e6, 1e5, -90.0)))):
        found = sum(bool(changes(rng, instrument_at_random(rng), signals, signals, 0.0)) for _ in range(trials))
        print(f"{name:38s} {found:4d} of {trials} show a change (asked for: at most 1 in 100)")


def power(rng: np.random.Generator, trials: int) -> None:
    """What is there and should be found, by one change of the right kind."""
    carrier = Signal(487.01e6, 1e5, -95.0)
    louder = replace(TELEVISION, level_dbm=-66.0)
    for name, old, new, what in (
        ("a carrier 20 dB over its noise appears", [], [carrier], "appeared"),
        ("the same vanishes", [carrier], [], "vanished"),
        ("it moves by 1 MHz", [carrier], [replace(carrier, centre_hz=488.01e6)], "moved"),
        ("television is 4 dB louder", [TELEVISION], [louder], "louder"),
    ):
        usual = Instrument(bins=1200, sweeps=10)
        found = Counter(tuple(changes(rng, usual, old, new, 0.5)) for _ in range(trials))
        print(f"{name:38s} {found[(what,)] / trials:6.1%} as one change: {what} (asked for: 95 %)")


def pad_test(rng: np.random.Generator, trials: int) -> None:
    """Lines of known origin at levels from near the noise to far above it."""
    tally: dict[tuple[float, Origin], list[int]] = {}
    times = {0: Origin.OWN, 1: Origin.REAL, 2: Origin.INSIDE, 3: Origin.INSIDE, 5: Origin.INSIDE}
    for _ in range(trials):
        pad_db, order = float(rng.choice([3.0, 6.0, 10.0])), int(rng.choice(list(times)))
        level, usual = float(rng.uniform(-112, -60)), Instrument(bins=400, sweeps=10)
        airs = [
            judge(
                sweep_over(
                    rng, replace(usual, error_db=0.5 * float(rng.normal())), [Signal(475e6, 0, level - order * drop)]
                )
            )
            for drop in (0.0, pad_db)
        ]
        for line in run_pad_test(airs[0], airs[1], pad_db).lines:
            if abs(line.centre_hz - 475e6) < 50e3:
                right, given, seen = tally.setdefault((pad_db, times[order]), [0, 0, 0])
                decided = line.verdict.origin is not Origin.UNDECIDED
                good = line.verdict.origin is times[order] and line.verdict.order in (None, order)
                tally[pad_db, times[order]] = [right + (decided and good), given + decided, seen + 1]
    for (pad_db, origin), (right, given, seen) in sorted(tally.items()):
        share = right / given if given else float("nan")
        print(
            f"pad {pad_db:4.0f} dB, {origin:18s} {given:4d} of {seen:4d} decided, {share:6.1%} right (asked for: 95 %)"
        )


def main() -> None:
    """Print the table."""
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    rng = np.random.default_rng(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    false_changes(rng, trials)
    power(rng, max(20, trials // 4))
    pad_test(rng, trials)


if __name__ == "__main__":
    main()
