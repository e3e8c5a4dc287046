"""How often verdicts are right: reliability, false alarms, noise alone and power, by kind of receiver and of sender.

Run: python bench/verdicts.py [TRIALS] [SEED]; TRIALS of each receiver with each sender. The air is made of complex
samples (tests/sampled_air.py), errors are drawn from the stated budget. What is asked for stands above each table.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from fallow.spectrum.verdict import Verdict
from verdict_trials import (
    BUDGET_U_DB,
    LIMIT_DBM,
    NOISES,
    RECEIVERS,
    SENDERS,
    SLICE,
    Z,
    displayed,
    noise_alone,
    nominal,
    one_slice,
    one_window,
    receiver_at_random,
    television,
    with_rayleigh_fading,
)

Counts = Counter[tuple[str, str]]  # (row of the table, what happened): how often
AVERAGES = ("fine, averages", "steps of 50 kHz", "RBW of 4 steps", "rounded to 1 dB")  # single samples fade as noise
PEAKS = ("peaks", "max-hold")  # a level among peaks depends on the signal: doubtful near a limit, never held against it


def reliability(rng: np.random.Generator, trials: int, confidence_pct: float) -> Counts:
    """Levels even within the limit ± 6.5 dB at 95 % (2.7 z u otherwise): windows called, and those called rightly."""
    reach = 6.5 if confidence_pct == 95.0 else 2.7 * Z[confidence_pct] * BUDGET_U_DB

    def trial(receiver: str, sender: str) -> Iterable[str]:
        level = LIMIT_DBM + rng.uniform(-reach, reach)
        seen = one_window(rng, receiver_at_random(rng, receiver), SENDERS[sender], level, confidence_pct)
        if seen.verdict in (Verdict.CLEAN, Verdict.OCCUPIED):
            yield seen.verdict.word
            if (seen.true_dbm > LIMIT_DBM) == (seen.verdict is Verdict.OCCUPIED):
                yield f"{seen.verdict.word}, right"

    return by_kinds(trial, trials)


def false_alarms(rng: np.random.Generator, trials: int, confidence_pct: float) -> Counts:
    """Everything exactly at the limit, in one window and in a slice with up to ten senders."""

    def trial(receiver: str, sender: str) -> Iterable[str]:
        seen = one_window(rng, receiver_at_random(rng, receiver), SENDERS[sender], LIMIT_DBM, confidence_pct)
        if seen.verdict is Verdict.OCCUPIED:
            yield "window"
        count = int(rng.choice([1, 4, 10])) if sender != "digital, 1 MHz" else 3
        sendings = [SENDERS[sender]] * count
        air = one_slice(rng, receiver_at_random(rng, receiver), sendings, LIMIT_DBM, confidence_pct)
        if air.judge_slices([SLICE])[0].verdict is Verdict.OCCUPIED:
            yield "slice"

    return by_kinds(trial, trials)


def power(rng: np.random.Generator, trials: int) -> Counts:
    """2u above the limit and 2u below: as told, level and u alike, and by the true level and the budget's u alone."""

    def trial(receiver: str, sender: str) -> Iterable[str]:
        without_error = receiver_at_random(rng, receiver, erring=False)
        for side, verdict in ((2.0, Verdict.OCCUPIED), (-2.0, Verdict.CLEAN)):
            told = displayed(rng, without_error, SENDERS[sender], side)
            if abs(told.told_sigmas) > 1.95:  # beside a floor near the limit nothing is shown so low
                yield f"told {side:+.0f}u"
                if told.verdict is verdict:
                    yield f"{verdict.word}, told {side:+.0f}u"
            if nominal(rng, without_error, SENDERS[sender], side).verdict is verdict:
                yield f"{verdict.word}, true"

    return by_kinds(trial, trials)


def by_kinds(trial: Callable[[str, str], Iterable[str]], trials: int) -> Counts:
    """Each receiver with each sender, counted for both. Peaks are counted apart."""
    counts: Counts = Counter()
    for _ in range(trials):
        for receiver in RECEIVERS:
            for sender in SENDERS:
                rows = (receiver, "peaks and max-hold") if receiver in PEAKS else (receiver, sender, "all but peaks")
                for what in ("tried", *trial(receiver, sender)):
                    counts.update((row, what) for row in rows)
    return counts


def noises(rng: np.random.Generator, trials: int) -> Counts:
    """Slices of noise alone that were called occupied, and airs with an emitter."""
    counts: Counts = Counter()
    for _ in range(trials):
        for receiver in RECEIVERS:
            for kind in NOISES:
                air = noise_alone(rng, receiver_at_random(rng, receiver), kind)
                rows = (receiver, kind, "all")
                counts.update((row, "tried") for row in rows)
                if air.judge_slices([SLICE])[0].verdict is Verdict.OCCUPIED:
                    counts.update((row, "occupied") for row in rows)
                if air.emitters:
                    counts.update((row, "with an emitter") for row in rows)
    return counts


def fadings(rng: np.random.Generator, trials: int) -> Counts:
    """Carriers behind Rayleigh fading, at the limit in their loudest sweep: windows called clean, and occupied."""
    counts: Counts = Counter()
    for receiver in AVERAGES * trials:
        kind = receiver_at_random(rng, receiver)
        seen = one_window(rng, kind, with_rayleigh_fading, LIMIT_DBM, 95.0)
        counts.update([(receiver, "tried"), (receiver, seen.verdict.word)])
    return counts


def stations(rng: np.random.Generator, trials: int) -> Counts:
    """Television with notches: channels called occupied, and wholly so."""
    counts: Counts = Counter()
    for _ in range(trials):
        for receiver in RECEIVERS:
            judged = television(rng, receiver_at_random(rng, receiver)).judge_slices([SLICE])[0]
            counts[receiver, "tried"] += 1
            counts[receiver, "occupied"] += judged.verdict is Verdict.OCCUPIED
            counts[receiver, "wholly"] += judged.shares[Verdict.OCCUPIED] > 0.999
    return counts


def show(title: str, counts: Counts, parts: list[tuple[str, str]]) -> None:
    """A table: for each row the share of each (part, whole)."""
    print(f"\n{title}\n{'':<32}" + "".join(f"{part:>28}" for part, _ in parts))
    order = [*RECEIVERS, *SENDERS, *NOISES]
    rows = sorted({row for row, _ in counts}, key=lambda row: order.index(row) if row in order else len(order))
    for row in rows:
        cells = []
        for part, whole in parts:
            some, all_of = counts[row, part], counts[row, whole]
            cells.append(f"{f'{some} of {all_of}':>18}{100 * some / all_of:>8.1f} %" if all_of else f"{'-':>28}")
        print(f"{row:<32}" + "".join(cells))


def main(trials: int, seed: int) -> None:
    """Print the tables."""
    rng = np.random.default_rng(seed)
    for confidence in (90.0, 95.0, 99.0):
        right = [("clean, right", "clean"), ("occupied, right", "occupied")]
        show(f"Called at {confidence:g} %: at least as many right", reliability(rng, trials, confidence), right)
    for confidence in (90.0, 95.0, 99.0):
        most = f"at most {100 - confidence:g} %"
        counts = false_alarms(rng, trials, confidence)
        show(
            f"All at the limit, occupied at {confidence:g} %: {most}", counts, [("window", "tried"), ("slice", "tried")]
        )
    occupied = ("occupied", "tried")
    show("Noise alone: at most 1 % occupied", noises(rng, 4 * trials), [occupied, ("with an emitter", "tried")])
    told = [("occupied, told +2u", "told +2u"), ("clean, told -2u", "told -2u")]
    true = [("occupied, true", "tried"), ("clean, true", "tried")]
    show("Told 2u above and 2u below the limit: at least 95 %; truly 2u of the budget", power(rng, trials), told + true)
    called = [("occupied", "tried"), ("clean", "tried")]
    show("Fading, the loudest sweep at the limit: at most 5 % of either", fadings(rng, 5 * trials), called)
    show("Television with notches, below the limit", stations(rng, 2 * trials), [occupied, ("wholly", "tried")])


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
