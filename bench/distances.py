"""Published problems that ask for distances alone: how short a span is found. Run ``python bench/distances.py
[--seconds S] [--cp-sat] [PROBLEM …]``.

The planner's own search for links without product rules (``plan/search/packing.py``) is put the question pair by pair;
areas of the tables either hear each other or not, so that distances that differ between areas can't be stated there.
The problems and their sources stand in ``tests/published_distances.py``.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

from _kernels import ready  # noqa: E402 - the path is set above

from fallow.plan.search.packing import shortest  # noqa: E402 - the path is set above
from published_distances import Problem, check, problems  # noqa: E402 - the path is set above


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("problems", nargs="*", help="of them only these")
    options.add_argument("--seconds", type=float, default=10.0)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--cp-sat", action="store_true", help="and the same for OR-Tools CP-SAT")
    asked = options.parse_args()
    print(f"{'problem':>8} {'links':>6} {'published':>10} {'first':>6} {'span':>6} {'ratio':>6} {'after s':>8}", end="")
    print(f" {'CP-SAT':>7} {'ratio':>6}" if asked.cp_sat else "")
    for name, problem in problems().items():
        if not asked.problems or name in asked.problems:
            one_problem(name, problem, asked.seconds, asked.seed, cp_sat=asked.cp_sat)


def one_problem(name: str, problem: Problem, seconds: float, seed: int, *, cp_sat: bool) -> None:
    """One line."""
    first, found, after_s = find(problem, seconds, seed)
    links, ratio = int(problem.need.sum()), found / problem.published
    print(f"{name:>8} {links:6} {problem.published:10} {first:6} {found:6} {ratio:6.3f} {after_s:8.1f}", end="")
    if cp_sat:
        from _cp_sat_planner import shortest_with_cp_sat

        theirs = shortest_with_cp_sat(problem.need, problem.apart, problem.published, 2 * problem.published, seconds)
        print(f" {theirs:7} {theirs / problem.published:6.3f}" if theirs else "    none", end="")
    print(flush=True)


def find(problem: Problem, seconds: float, seed: int) -> tuple[int, int, float]:
    """First span, best span, and when it was found; it is not looked for longer than until the published one."""
    kernels = ready()
    started, best = time.perf_counter(), [problem.published * 9]

    def should_stop() -> bool:
        return best[-1] <= problem.published or time.perf_counter() - started > seconds

    plans, after_s = [], 0.0
    for packed in shortest(problem.need, problem.apart, seed=seed, should_stop=should_stop, kernels=kernels):
        plans.append(packed)
        best.append(packed.top)
        after_s = time.perf_counter() - started
    check(problem, plans[-1])
    return plans[0].top, plans[-1].top, after_s


if __name__ == "__main__":
    main()
