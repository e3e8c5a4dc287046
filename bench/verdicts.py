"""How often verdicts are right: calibration, false alarms and power over invented airs and instruments.

Run: python bench/verdicts.py [TRIALS] [SEED]. Errors are drawn from the stated budget. What is asked for stands beside
each figure.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from fallow.spectrum.judging import judge
from fallow.spectrum.statistics import thermal_noise_dbm
from fallow.spectrum.verdict import Judging, Verdict
from fallow.units import Channel
from invented_air import Instrument, Signal, budget_error_db, sweep_over

LIMIT_DBM = -90.0
SLICE = Channel("slice", 470_000_000, 478_000_000)


def instrument_at_random(rng: np.random.Generator, error_db: float) -> Instrument:
    """Steps of 5 to 50 kHz, 1 to 200 sweeps, 1 to 30 samples per reading."""
    step = int(rng.choice([5_000, 10_000, 15_000, 25_000, 50_000]))
    rbw = float(step * rng.choice([0.9, 1.0, 1.5, 3.0]))
    return Instrument(
        step_hz=step,
        bins=round(8e6 / step) + 1,
        rbw_hz=rbw,
        samples=int(rng.choice([1, 2, 5, 10, 30])),
        sweeps=int(rng.choice([1, 2, 5, 10, 30, 100, 200])),
        noise_dbm=float(thermal_noise_dbm(rbw) + rng.uniform(5, 16)),  # noise figures of pocket instruments
        error_db=error_db,
    )


def bursts(rng: np.random.Generator, sweeps: int) -> np.ndarray:
    """On in some sweeps, at least one: continuous, or a burst or two."""
    if rng.random() < 0.4:
        return np.ones(sweeps, dtype=bool)
    on = np.zeros(sweeps, dtype=bool)
    for _ in range(int(rng.integers(1, 4))):
        start = int(rng.integers(sweeps))
        on[start : start + int(rng.integers(1, max(2, sweeps // 3)))] = True
    return on


def calibration(rng: np.random.Generator, trials: int, confidence: float) -> dict[str, list[int]]:
    """Levels even within the limit ± 2.7 z u: of windows called clean and called occupied, the right ones and all."""
    reach = 6.5 if confidence == 95 else 2.7 * 2.426 * {90: 1.2816, 99: 2.3263}[confidence]
    tally = {"clean": [0, 0], "occupied": [0, 0]}
    for _ in range(trials):
        instrument = instrument_at_random(rng, budget_error_db(rng))
        level = LIMIT_DBM + rng.uniform(-reach, reach)
        centre = float(rng.uniform(471e6, 477e6))
        width = float(rng.choice([0, 0, 30e3, 100e3, 150e3]))
        signal = Signal(centre, width, level, bursts(rng, instrument.sweeps))
        air = judge(sweep_over(rng, instrument, [signal]), Judging(limit_dbm=LIMIT_DBM, confidence_pct=confidence))
        verdict = Verdict(int(air.judge_windows(np.array([centre - 1e5]), np.array([centre + 1e5])).verdict[0]))
        if verdict in (Verdict.CLEAN, Verdict.OCCUPIED):
            right = (level > LIMIT_DBM) == (verdict is Verdict.OCCUPIED)
            tally[verdict.word][0] += right
            tally[verdict.word][1] += 1
    return tally


def false_alarms(rng: np.random.Generator, trials: int, confidence: float) -> tuple[int, int]:
    """Slices called occupied although every signal is at the limit or below, and all of them."""
    wrong = 0
    for _ in range(trials):
        instrument = instrument_at_random(rng, budget_error_db(rng))
        count = int(rng.choice([1, 1, 3, 10]))
        signals = [
            Signal(
                float(centre),
                float(rng.choice([0, 0, 25e3, 150e3])),
                LIMIT_DBM - float(rng.choice([0, 0, 1, 3])),
                bursts(rng, instrument.sweeps),
            )
            for centre in np.linspace(470.5e6, 477.5e6, count) + rng.uniform(-1e5, 1e5, count)
        ]
        air = judge(sweep_over(rng, instrument, signals), Judging(limit_dbm=LIMIT_DBM, confidence_pct=confidence))
        wrong += air.judge_slices([SLICE])[0].verdict is Verdict.OCCUPIED
    return wrong, trials


def noise_alone(rng: np.random.Generator, trials: int) -> tuple[int, int]:
    """Slices called occupied where there is noise only, with limits near and far from the floor."""
    wrong = 0
    for _ in range(trials):
        instrument = instrument_at_random(rng, budget_error_db(rng))
        survey = sweep_over(rng, instrument, [])
        in_link = instrument.noise_dbm + 10 * np.log10(200e3 / instrument.rbw_hz) + instrument.error_db
        limit = in_link + float(rng.choice([-3, 0, 1, 3, 6, 10]))
        air = judge(survey, Judging(limit_dbm=limit))
        wrong += air.judge_slices([SLICE])[0].verdict is Verdict.OCCUPIED
    return wrong, trials


def power(rng: np.random.Generator, trials: int) -> dict[str, tuple[int, int]]:
    """Carriers displayed 2u above the limit called occupied, 2u below called clean, u as it is reported."""
    hits = {"occupied": 0, "clean": 0}
    for _ in range(trials):
        for side, verdict in ((2.0, Verdict.OCCUPIED), (-2.0, Verdict.CLEAN)):
            instrument = instrument_at_random(rng, 0.0)
            centre = float(rng.uniform(471e6, 477e6))
            seed = rng.integers(2**32)
            low, high = np.array([centre - 1e5]), np.array([centre + 1e5])
            u_db = 2.426
            for _ in range(3):  # u depends on the level a little: settle on it
                signal = Signal(centre, 0.0, LIMIT_DBM + side * u_db)
                survey = sweep_over(np.random.default_rng(seed), instrument, [signal])
                seen = judge(survey, Judging(limit_dbm=LIMIT_DBM)).judge_windows(low, high)
                u_db = float(seen.u_db[0])
            hits[verdict.word] += int(seen.verdict[0]) == verdict
    return {word: (count, trials) for word, count in hits.items()}


def show(what: str, part: int, whole: int, asked: str) -> None:
    """One row of the table."""
    share = 100.0 * part / whole if whole else float("nan")
    print(f"{what:<58} {part:>6} of {whole:<6} {share:6.1f} %   asked: {asked}")


def main(trials: int, seed: int) -> None:
    """Print the table."""
    rng = np.random.default_rng(seed)
    for confidence in (90, 95, 99):
        tally = calibration(rng, trials, confidence)
        for word, (right, called) in tally.items():
            show(f"called {word} at {confidence} %, and right", right, called, f"at least {confidence} %")
        show(
            f"true level at most the limit, occupied at {confidence} %",
            *false_alarms(rng, trials, confidence),
            f"at most {100 - confidence} %",
        )
    show("noise alone, occupied", *noise_alone(rng, trials), "at most 1 %")
    for word, (hit, tried) in power(rng, trials).items():
        show(f"displayed 2u away, called {word}", hit, tried, "at least 95 %")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
