"""Exact answers for equal links in one place: shortest spans, and 12 of 13 in a TV channel of 8 MHz, proven.

``python bench/densest.py [--up-to N]``. Under rule R the spans are those of earlier trials of ours (3 to 12 links: 32,
50, 68, 90, 114, 142, 168, 202, 234, 282 steps of 25 kHz); with products alone they are the lengths of optimal Golomb
rulers, OEIS A003022.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from _kernels import ready

from fallow.plan.search.densest import Effort, Steps, most_that_fit, shortest_spans

RULE_R = Steps(14, 4, 2, 2)
SPANS_R = [0, 14, 32, 50, 68, 90, 114, 142, 168, 202, 234, 282]
GOLOMB = [0, 1, 3, 6, 11, 17, 25, 34, 44, 55, 72]  # OEIS A003022
NO_END = 10**12


def main() -> None:
    """Print the tables."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--up-to", type=int, default=12, help="links; below 12 the proof for 8 MHz is left out")
    asked = options.parse_args()
    fit = ready().fit
    print(f"{'links':>6} {'rule R':>7} {'known':>6} {'s':>7} {'Golomb':>7} {'known':>6} {'s':>7}")
    for n in range(6, asked.up_to + 1):
        row = f"{n:6}"
        for rule, known in ((RULE_R, SPANS_R), (Steps(1, 1, 1, 0), GOLOMB)):
            started = time.perf_counter()
            span = shortest_spans(rule, n, Effort(NO_END, fit))[-1] if n <= len(known) else -1
            row += f" {span:7} {known[n - 1] if n <= len(known) else -1:6} {time.perf_counter() - started:7.2f}"
        print(row, flush=True)
    if asked.up_to < 12:
        return
    started = time.perf_counter()
    most = most_that_fit(np.ones(313, dtype=np.bool_), RULE_R, 13, Effort(NO_END, fit))
    print(f"8 MHz, 313 places: {most} of 13 links, proven in {time.perf_counter() - started:.1f} s")


if __name__ == "__main__":
    main()
