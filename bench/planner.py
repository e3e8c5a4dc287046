"""What the planner finds and how quickly, as tables with ratios. Run ``python bench/planner.py [--long] [--skip-cp-
sat]``.

All ratios are measured side by side in this process, on whatever else the machine does at the time.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from itertools import combinations, permutations
from pathlib import Path

import numpy as np
from _cp_sat_planner import cliques_of, place_with_cp_sat
from _instances import Instance, domain, instances, issue_instance, rule_r, show
from _kernels import ready

from fallow.plan.places import Ground
from fallow.plan.search.bounds import most
from fallow.plan.search.engine import Kernels, NumpyKernels
from fallow.plan.search.question import Question
from fallow.plan.search.search import improve
from fallow.plan.search.standing import Standing
from fallow.show.wanted import Wanted

FIRST_PLAN = """
import sys, time
started = time.perf_counter()
sys.path.insert(0, {here!r})
from _instances import issue_instance
from fallow.plan.places import Ground
from fallow.plan.search.question import Question
from fallow.plan.search.search import improve
from fallow.workflow.accelerate import kernels
ready = time.perf_counter()
quickest = kernels()
question = Question.build(issue_instance(), Ground())
first, swapped = None, None
def should_stop():
    global swapped
    if swapped is None and quickest() is not slow:
        swapped = time.perf_counter() - ready
    return time.perf_counter() - ready > {seconds}
slow = quickest()
for plan in improve(question, seed=1, should_stop=should_stop, kernels=quickest):
    first = first or time.perf_counter() - ready
print(ready - started, first, swapped or float("nan"), sum(plan.score.placed))
"""


def main() -> None:
    """Print all tables."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--long", action="store_true", help="a minute for the comparison with a minute's result")
    options.add_argument("--skip-cp-sat", action="store_true")
    options.add_argument("--only-instances", action="store_true", help="nothing but the table of instances")
    asked = options.parse_args()
    seconds = 60.0 if asked.long else 10.0
    if asked.only_instances:
        table_of_instances(compiled_kernels(), seconds)
        return
    first_plan()
    compiled = compiled_kernels()
    kernels_against_numpy(compiled)
    evaluation_against_plain_loops(compiled)
    five_seconds_against_a_minute(compiled, 60.0 if asked.long else 20.0)
    table_of_instances(compiled, seconds)
    large(compiled)
    if not asked.skip_cp_sat:
        against_cp_sat(compiled)


def compiled_kernels() -> Kernels:
    """The compiled kernels, ready to use; NumPy's where there is no numba."""
    started = time.perf_counter()
    kernels = ready()()
    print(f"kernels ready after {time.perf_counter() - started:.2f} s\n")
    return kernels


def first_plan() -> None:
    """From a fresh process to the first plan, with an empty and with a filled cache."""
    print("100 links, 3 areas: a fresh process (seconds after imports)")
    print(f"{'cache':>10} {'imports':>8} {'first plan':>11} {'compiled':>9} {'links':>6}")
    with tempfile.TemporaryDirectory() as folder:
        for name, seconds in (("empty", 40.0), ("filled", 5.0)):
            script = FIRST_PLAN.format(here=str(Path(__file__).parent), seconds=seconds)
            environment = os.environ | {"NUMBA_CACHE_DIR": folder}
            done = subprocess.run(
                [sys.executable, "-c", script], env=environment, capture_output=True, text=True, check=True
            )
            imports, first, compiled, links = done.stdout.split()
            print(f"{name:>10} {float(imports):8.2f} {float(first):11.3f} {float(compiled):9.2f} {links:>6}")
    print()


def kernels_against_numpy(compiled: Kernels) -> None:
    """One carrier taken out and put back, and a whole plan filled, with both kernels."""
    print("kernels against NumPy, one area, full")
    print(f"{'places':>7} {'links':>6} {'take+put us':>12} {'NumPy us':>9} {'ratio':>6}")
    for wanted in (show(60, 1, rule_r(domain(0, 24_000))), show(60, 1, rule_r(domain(0, 138_000)))):
        standing = filled(wanted, compiled)
        on = np.flatnonzero(standing.at_hz >= 0)
        quick = seconds_of(lambda standing=standing, on=on: take_and_put(standing, compiled, on), 50) / on.size
        slow = seconds_of(lambda standing=standing, on=on: take_and_put(standing, NumpyKernels(), on), 2) / on.size
        print(f"{standing.tables.size:7} {on.size:6} {1e6 * quick:12.1f} {1e6 * slow:9.0f} {slow / quick:6.0f}")
    print()


def evaluation_against_plain_loops(compiled: Kernels) -> None:
    """Is this place free? The tables tell it for all places at once after a carrier has moved; plain loops make every
    product.
    """
    standing = filled(show(60, 1, rule_r(domain(0, 138_000))), compiled)
    on = np.flatnonzero(standing.at_hz >= 0)
    others_hz = standing.at_hz[on[1:]].tolist()
    plain_s = seconds_of(lambda: plain_is_free(int(standing.at_hz[on[0]]), others_hz), 1)

    def move_and_look() -> None:
        take_and_put(standing, compiled, on[:1])
        compiled.busy(standing.tables, 0)

    move_s = seconds_of(move_and_look, 200)
    print(f"is a place free among {on.size} links? plain loops {1e3 * plain_s:.0f} ms for one place;")
    print(
        f"one carrier moved and {standing.tables.size} places looked at: {1e6 * move_s:.0f} us, ratio of the two",
        end=" ",
    )
    print(f"{plain_s / move_s:,.0f}, for each place {plain_s / move_s * standing.tables.size:,.0f}\n")


def plain_is_free(newcomer_hz: int, others_hz: list[int]) -> bool:
    """Rule R in loops, without stopping at the first conflict, so that all of its work is counted."""
    conflicts = sum(abs(newcomer_hz - hz) < 350_000 for hz in others_hz)
    everybody = [newcomer_hz, *others_hz]
    for a, b in permutations(range(len(everybody)), 2):
        two, fifth = 2 * everybody[a] - everybody[b], 3 * everybody[a] - 2 * everybody[b]
        for v in range(len(everybody)):
            if v not in (a, b) and 0 in (a, b, v):
                conflicts += abs(two - everybody[v]) < 100_000
                conflicts += abs(fifth - everybody[v]) < 50_000
    for a, b in combinations(range(len(everybody)), 2):
        for c in range(len(everybody)):
            product = everybody[a] + everybody[b] - everybody[c]
            for v in range(len(everybody)):
                if 0 in (a, b, c, v) and len({a, b, c, v}) == 4:
                    conflicts += abs(product - everybody[v]) < 50_000
    return conflicts == 0


def five_seconds_against_a_minute(compiled: Kernels, seconds: float) -> None:
    """What is there after five seconds, as a share of what a longer search finds."""
    log = run(Question.build(issue_instance(), Ground()), compiled, seconds)
    early, late = links_at(log, 5.0), links_at(log, seconds)
    print(
        f"100 links, 3 areas: first plan {log[0][1]} links after {log[0][0]:.3f} s; {early} after 5 s, "
        f"{late} after {seconds:.0f} s, ",
        end="",
    )
    print(f"ratio {early / late:.3f}\n")


def table_of_instances(kernels: Kernels, seconds: float) -> None:
    """Links placed by then, against the best known and the upper bound; seconds to shares of the best known."""
    heading = f"{'instance':40} {'first':>5} {'1 s':>5} {seconds:4.0f}s {'best':>5} {'ratio':>6} {'bound':>5}"
    print(f"{heading} {'95 %':>6} {'99 %':>6} {'100 %':>6} {'steps/s':>8}")
    for instance in instances():
        one_instance(instance, kernels, seconds)


def one_instance(instance: Instance, kernels: Kernels, seconds: float) -> None:
    """One line of the table of instances."""
    question = Question.build(instance.wanted, Ground(), spares=0)
    bound = most(question)
    log = run(question, kernels, seconds)
    first, early, late = (links_at(log, at_s) for at_s in (0.0, 1.0, seconds))
    upper = min(bound.links if bound else len(question.links), instance.upper)
    row = f"{instance.name:40} {first:5} {early:5} {late:5} {instance.best_known:5}"
    times = " ".join(f"{told(log, share * instance.best_known):>6}" for share in (0.95, 0.99, 1.0))
    print(f"{row} {late / instance.best_known:6.2f} {upper:5} {times} {log[-1][2] / log[-1][0]:8.0f}", flush=True)


def told(log: list[tuple[float, int, int]], links: float) -> str:
    """When so many links stood for the first time."""
    return next((f"{at_s:.1f}" for at_s, placed, _ in log if placed >= links), "-")


def large(kernels: Kernels) -> None:
    """Scenes, and the memory of the tables."""
    for wanted, name in (
        (show(200, 5, rule_r(domain(0, 138_000)), 3), "200 links, 5 areas, 3 scenes"),
        (show(500, 5, rule_r(domain(0, 138_000)), 3), "500 links, 5 areas, 3 scenes"),
    ):
        question = Question.build(wanted, Ground())
        tables = question.tables(kernels)
        megabytes = sum(part.nbytes for part in tables if isinstance(part, np.ndarray)) / 1e6
        log = run(question, kernels, 5.0)
        print(
            f"{name:42} {log[0][1]:6} {links_at(log, 1.0):5} {links_at(log, 5.0):5}   "
            f"first {log[0][0]:.2f} s, tables {megabytes:.0f} MB"
        )


def against_cp_sat(kernels: Kernels) -> None:
    """Links placed in ten seconds."""
    for wanted, name in ((show(14, 1, rule_r(domain(0, 8_000))), "B2"), (issue_instance(), "100 links, 3 areas")):
        question = Question.build(wanted, Ground(), spares=0)
        ours = links_at(run(question, kernels, 10.0), 10.0)
        theirs = place_with_cp_sat(cliques_of(question), 10.0)
        print(
            f"{name}: {ours} links in 10 s; OR-Tools CP-SAT with two workers {theirs}; ratio {ours / theirs:.2f}",
            flush=True,
        )


def run(question: Question, kernels: Kernels, seconds: float) -> list[tuple[float, int, int]]:
    """Seconds, links and steps at each better plan, and once more at the end."""
    started, steps = time.perf_counter(), 0

    def should_stop() -> bool:
        nonlocal steps
        steps += 1
        return time.perf_counter() - started > seconds

    log = [
        (time.perf_counter() - started, sum(plan.score.placed), steps)
        for plan in improve(question, seed=1, should_stop=should_stop, kernels=lambda: kernels)
    ]
    return [*log, (time.perf_counter() - started, log[-1][1], steps)]


def links_at(log: list[tuple[float, int, int]], seconds: float) -> int:
    """Links placed by then; the first plan counts from the start."""
    return max([log[0][1], *(links for at, links, _ in log if at <= seconds)])


def filled(wanted: Wanted, kernels: Kernels) -> Standing:
    """A plan filled from below."""
    question = Question.build(wanted, Ground(), spares=0)
    standing = Standing(question, lambda: kernels)
    n = len(question.carriers)
    standing.place(range(n), [-1] * n, [-1.0] * n)
    return standing


def take_and_put(standing: Standing, kernels: Kernels, carriers: np.ndarray) -> None:
    """Take carriers out and put them back."""
    classes, at_hz = standing.classes[carriers], standing.at_hz[carriers]
    kernels.take(standing.tables, classes, carriers, at_hz)
    kernels.put(standing.tables, classes, carriers, at_hz)


def seconds_of(work: Callable[[], object], times: int) -> float:
    """Mean seconds of some work."""
    started = time.perf_counter()
    for _ in range(times):
        work()
    return (time.perf_counter() - started) / times


if __name__ == "__main__":
    main()
