"""How long the ledgers of a plan take, and how much quicker they are than the plain enumeration of the tests.

Run: python bench/ledger.py. Times are of the processor, so that other programs do not count.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

from fallow.plan.judge.stage import Stage  # noqa: E402 - the path is set above
from fallow.plan.ledger.accounts import accounts_of  # noqa: E402 - the path is set above
from fallow.show.assignment import Assignment  # noqa: E402 - the path is set above
from fallow.show.link import AreaLosses  # noqa: E402 - the path is set above
from fallow.show.receiver import figures_of  # noqa: E402 - the path is set above
from fallow.show.wanted import Wanted  # noqa: E402 - the path is set above
from plan.plain_accounts import unwanted_of  # noqa: E402 - the path is set above
from plan.plain_audit import carriers_in_words  # noqa: E402 - the path is set above
from plan.shows import equipment  # noqa: E402 - the path is set above

MIC = replace(equipment(step_hz=25_000), power_mw=50.0)
BAND_HZ = range(470_000_000, 608_000_001, 25_000)
MOST_PLAIN = 30  # links; the plain enumeration takes n⁴ steps


def invented(links: int, areas: int, scenes: int) -> tuple[list[Assignment], Wanted]:
    """Links at random places of a ring of areas that hear two neighbours to each side; a third is always on."""
    dice = random.Random(1)
    places = dice.sample(BAND_HZ, links)

    def on(i: int) -> frozenset[str]:
        return frozenset() if not scenes or i % 3 == 0 else frozenset({f"scene {dice.randrange(scenes)}"})

    rows = [Assignment(f"link {i}", MIC.name, f"area {i % areas}", on(i), hz) for i, hz in enumerate(places)]
    far = {
        frozenset((f"area {i}", f"area {j}")) for i in range(areas) for j in range(i) if min(i - j, areas - i + j) > 2
    }
    return rows, Wanted((), {MIC.name: MIC}, AreaLosses(frozenset(far)))


def seconds_of(work: Callable[[], object]) -> float:
    """Processor time of the quicker of two runs."""
    spent = []
    for _ in range(2):
        started = time.process_time()
        work()
        spent.append(time.process_time() - started)
    return min(spent)


def plainly(rows: list[Assignment], wanted: Wanted) -> None:
    """All ledgers by the plain twin, every carrier equally loud."""
    figures = figures_of(MIC)
    everybody = carriers_in_words(rows, wanted)
    for victim in everybody:
        others = [one for one in everybody if one is not victim]
        unwanted_of(victim, others, lambda _: -40.0, figures.selectivity, figures.iip3_dbm.value, lambda _: 48.0)


def main() -> None:
    """Print one row per show."""
    print(f"{'links':>6} {'areas':>6} {'scenes':>7} {'seconds':>8} {'ms per link':>12} {'plain twin':>11}")
    for links, areas, scenes in (
        (30, 1, 0),
        (60, 1, 0),
        (200, 1, 0),
        (200, 5, 0),
        (200, 20, 0),
        (1000, 20, 0),
        (1000, 20, 10),
    ):
        rows, wanted = invented(links, areas, scenes)
        stage = Stage.of(rows, wanted, None)
        spent_s = seconds_of(lambda stage=stage: accounts_of(stage))
        plain = ""
        if links <= MOST_PLAIN:
            plain = f"{seconds_of(lambda rows=rows, wanted=wanted: plainly(rows, wanted)) / spent_s:.0f} ×"
        print(f"{links:>6} {areas:>6} {scenes:>7} {spent_s:>8.2f} {1000 * spent_s / links:>12.2f} {plain:>11}")


if __name__ == "__main__":
    main()
