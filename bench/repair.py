"""Re-planning with the fewest moves, over stored plans: ``python bench/repair.py [--seconds S] [--make]``.

Each case takes away some spectrum that a stored plan uses: one spot or three of 600 kHz around a link of it, or a whole
TV channel of 8 MHz. *chain* is the repair without shaking, shrinking and proof: homes, free places, and pushing others
aside. The stored plans are ours (``--make`` makes them anew, from the seeds below); all of it is invented.
"""

from __future__ import annotations

import argparse
import csv
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from unittest import mock

import numpy as np
from _instances import blocked_band, rule_r, show
from _kernels import ready

from fallow.plan.places import Ground
from fallow.plan.search import repair
from fallow.plan.search.engine import Kernels
from fallow.plan.search.question import Question
from fallow.plan.search.repair import FewestMoves
from fallow.plan.search.search import improve
from fallow.show.wanted import Wanted
from fallow.units import Span

FOLDER = Path(__file__).parent / "base_plans"
SIZES = ((50, 5), (80, 5), (90, 5), (120, 20))
SEEDS = (1, 2)
CASES = 3
SPOT_HZ = 600_000


def main() -> None:
    """Make the stored plans, or print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seconds", type=float, default=5.0)
    options.add_argument("--make", action="store_true")
    options.add_argument("--links", type=int, help="only plans with so many links")
    asked = options.parse_args()
    kernels = ready()
    if asked.make:
        make_plans(kernels)
        return
    heading = f"{'plan':>8} {'lost':>10} {'knocked':>8} {'chain':>16} {'all of it':>16}"
    print(f"{heading} {'at least':>9} {'proven':>7} {'s':>6}")
    solved = np.zeros(3, dtype=int)
    for links, areas in SIZES:
        if asked.links in (None, links):
            for name in ("1 spot", "3 spots", "channel"):
                solved += table_row(links, areas, name, asked.seconds, kernels)
    ratio = solved[1] / max(1, solved[0])
    print(f"solved: chain alone {solved[0]} of {solved[2]}, all of it {solved[1]}, ratio {ratio:.1f}")


def plan_file(links: int, areas: int, seed: int) -> Path:
    return FOLDER / f"{links}_links_{areas}_areas_seed_{seed}.csv"


def make_plans(kernels: Callable[[], Kernels]) -> None:
    """Plans in which every link stands, each from a seed of its own."""
    FOLDER.mkdir(exist_ok=True)
    for links, areas in SIZES:
        for seed in SEEDS:
            wanted = show(links, areas, rule_r(blocked_band()))
            question = Question.build(wanted, Ground(), spares=0)
            stop_at = time.monotonic() + 60.0
            plans = improve(question, seed=seed, should_stop=lambda at=stop_at: time.monotonic() > at, kernels=kernels)
            best = list(plans)[-1]
            print(plan_file(links, areas, seed).name, len(best.frequencies_hz))
            with plan_file(links, areas, seed).open("w", encoding="utf-8", newline="") as file:
                rows = csv.writer(file, lineterminator="\n")
                rows.writerow(["link", "area", "frequency_mhz"])
                areas_of = {link.name: link.area for link in wanted.links}
                rows.writerows([name, areas_of[name], f"{hz / 1e6:.6f}"] for name, hz in best.frequencies_hz.items())


def read_plan(links: int, areas: int, seed: int) -> dict[str, int]:
    with plan_file(links, areas, seed).open(encoding="utf-8", newline="") as file:
        return {row["link"]: round(float(row["frequency_mhz"]) * 1e6) for row in csv.DictReader(file)}


def cases(links: int, areas: int, name: str) -> Iterator[tuple[dict[str, int], Wanted]]:
    """Stored plans, each with a show in which some of its spectrum can't be tuned to any more."""
    for seed in SEEDS:
        plan = read_plan(links, areas, seed)
        for case in range(CASES):
            random = np.random.default_rng([seed, case, len(name)])
            yield plan, without(show(links, areas, rule_r(blocked_band())), lost_spans(plan, name, random))


def lost_spans(plan: dict[str, int], name: str, random: np.random.Generator) -> list[Span]:
    used_hz = sorted(set(plan.values()))
    if name == "channel":
        hz = int(random.choice(used_hz))
        low_hz = 470_000_000 + (hz - 470_000_000) // 8_000_000 * 8_000_000
        return [Span(low_hz, low_hz + 8_000_000)]
    middles = random.choice(used_hz, 1 if name == "1 spot" else 3, replace=False).tolist()
    return [Span(hz - SPOT_HZ // 2, hz + SPOT_HZ // 2) for hz in middles]


def without(wanted: Wanted, lost: list[Span]) -> Wanted:
    """The show with its radios kept out of some spans; what is left stays on the raster."""
    equipment = {}
    for name, each in wanted.equipment.items():
        places_hz = np.concatenate([np.arange(s.low_hz, s.high_hz + 1, each.step_hz) for s in each.tuning])
        for span in lost:
            places_hz = places_hz[(places_hz < span.low_hz) | (places_hz > span.high_hz)]
        equipment[name] = replace(each, presets_hz=tuple(places_hz.tolist()))
    return replace(wanted, equipment=equipment)


def table_row(links: int, areas: int, name: str, seconds: float, kernels: Callable[[], Kernels]) -> np.ndarray:
    """Print one row per case; returns cases solved by the chain alone, by all of it, and cases."""
    solved = np.zeros(3, dtype=int)
    for plan, wanted in cases(links, areas, name):
        question = Question.build(wanted, Ground(), keep=plan, spares=0)
        with mock.patch.multiple(repair, SHAKES=0, ATTEMPTS=2, SHRINKS_IN_VAIN=0, FITTING_STEPS=0):
            chain = run(question, len(plan), 1.5, kernels, stop_after_repair=True)
        whole = run(question, len(plan), seconds, kernels)
        knocked = sum(question.worths[0].index(hz) is None for hz in plan.values())
        at_least, moves = whole[2].at_least, whole[1]
        proven = "yes" if moves == at_least and not whole[0] else "no"
        print(
            f"{f'{links}/{areas}':>8} {name:>10} {knocked:8} {worded(chain):>16} {worded(whole):>16} "
            f"{at_least:9} {proven:>7} {whole[3]:6.2f}",
            flush=True,
        )
        solved += (chain[0] == 0, whole[0] == 0, 1)
    return solved


def worded(found: tuple[int, int, FewestMoves, float]) -> str:
    missing, moves, _, _ = found
    return f"{moves} moves" if not missing else f"{missing} left out"


def run(
    question: Question, links: int, seconds: float, kernels: Callable[[], Kernels], *, stop_after_repair: bool = False
) -> tuple[int, int, FewestMoves, float]:
    """Links left out, moves, the bound, and seconds until the last better plan."""
    told = [FewestMoves()]
    started = time.monotonic()
    steps = 0

    def should_stop() -> bool:
        nonlocal steps
        steps += 1
        return time.monotonic() - started > seconds or (stop_after_repair and steps > 90)

    missing, moves, last = links, 0, 0.0
    for plan in improve(question, seed=1, should_stop=should_stop, kernels=kernels, tell=told.append):
        now = links - sum(plan.score.placed), -plan.score.changed
        if now != (missing, moves):
            missing, moves = now
            last = time.monotonic() - started
    return missing, moves, told[-1], last


if __name__ == "__main__":
    main()
