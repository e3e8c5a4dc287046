"""How often the kind of a trace is told right, from noise as instruments show it. Everything is invented.

Run: python bench/trace_kind.py [TRIALS] [SEED]. A row for each true kind: how often each answer was given. Asked: a
wrong name at most 5 times in 100; "can't be told" is no wrong name. The last columns: how often the true count lay
within the limits that were told (95 %), where a kind was.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.trace_kind import TraceKind, estimate_kind
from held_air import Trace, levels_of

TRUTHS = (
    Trace("sample"),
    *(Trace("average", count) for count in (3, 10, 30, 100)),
    *(Trace("log average", count) for count in (10, 30)),
    *(Trace("max-hold", count) for count in (5, 10, 20, 40, 100, 300)),
    *(Trace("max-hold", 30, samples=count) for count in (4, 16)),
)
ANSWERS = ("sample", "average", "highest", "not told")


def answer_of(found: TraceKind) -> str:
    """A peak detector and a max-hold trace show the same of noise."""
    if found.detector is None:
        return "not told"
    return str(found.detector) if str(found.detector) in ANSWERS else "highest"


def truth_of(trace: Trace) -> str:
    """The answer that is right."""
    return {"log average": "average", "max-hold": "highest"}.get(trace.kind, trace.kind)


def at_random(rng: np.random.Generator, truth: Trace) -> Trace:
    """The same kind of trace in some survey: one sweep or several, few bins or many, any window and rounding."""
    return replace(
        truth,
        sweeps=int(rng.choice([1, 1, 2, 5, 20])),
        bins=int(rng.choice([201, 401, 1001, 4001])),
        hann=bool(rng.integers(2)),
        step_db=float(rng.choice([0.0, 0.1, 0.5, 1.0])),
        carriers=int(rng.choice([0, 0, 3, 8])),
    )


def holds(found: TraceKind, truth: Trace) -> bool | None:
    """Whether the true count lies within the limits; None where there is none to compare."""
    if found.noise is None or answer_of(found) != truth_of(truth) or truth.kind in ("sample", "log average"):
        return None
    limits, count = (found.noise.peak_of, truth.of) if truth.kind == "max-hold" else (found.noise.samples, truth.of)
    return limits.low * 0.9 <= count <= limits.high * 1.1


def main(trials: int, seed: int) -> None:
    """Print the table."""
    rng = np.random.default_rng(seed)
    print(f"{'true kind':<28}" + "".join(f"{answer:>10}" for answer in ANSWERS) + f"{'wrong':>9}{'in limits':>12}")
    wrong, all_named = 0, 0
    for truth in TRUTHS:
        found = []
        for _ in range(trials):
            trace = at_random(rng, truth)
            found.append(estimate_kind(Levels((levels_of(rng, trace),)), trace.rbw_bins))
        counted = Counter(answer_of(one) for one in found)
        bad = trials - counted[truth_of(truth)] - counted["not told"]
        held = [within for one in found if (within := holds(one, truth)) is not None]
        limits = f"{sum(held)} of {len(held)}" if held else "-"
        name = f"{truth.kind} of {truth.of}" + (f", each of {truth.samples}" if truth.samples > 1 else "")
        row = "".join(f"{counted[answer]:>10}" for answer in ANSWERS)
        print(f"{name:<28}{row}{100 * bad / trials:>7.1f} %{limits:>12}", flush=True)
        wrong, all_named = wrong + bad, all_named + trials
    print(f"wrong names: {wrong} of {all_named}, {100 * wrong / all_named:.1f} % (asked: at most 5 %)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
