"""How long the audit and the explanations take, and how they compare with the plain twin of the tests.

Run: python bench/audit.py
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

from fallow.plan.answer import compose_plan  # noqa: E402 - the path is set above
from fallow.plan.judge.audit import audit  # noqa: E402 - the path is set above
from fallow.plan.places import Ground  # noqa: E402 - the path is set above
from fallow.show.assignment import Assignment  # noqa: E402 - the path is set above
from fallow.show.equipment import Equipment, Kind, PowerKind  # noqa: E402 - the path is set above
from fallow.show.link import AreaLosses, Link  # noqa: E402 - the path is set above
from fallow.show.wanted import Wanted  # noqa: E402 - the path is set above
from fallow.units import Span  # noqa: E402 - the path is set above
from plan.plain_audit import plain_audit  # noqa: E402 - the path is set above

BAND = Span(470_000_000, 608_000_000)
RULES = Equipment(
    name="microphone",
    kind=Kind.MICROPHONE,
    tuning=(BAND,),
    step_hz=25_000,
    presets_hz=(),
    bandwidth_hz=200_000,
    power_mw=10.0,
    power_kind=PowerKind.EIRP,
    spacing_hz=350_000,
    im3_hz=100_000,
    im3_three_hz=50_000,
    im5_hz=50_000,
)
# With distances this small hardly anything conflicts, so what is timed is the comparing, not the writing of sentences.
MILD = replace(RULES, step_hz=1, spacing_hz=100, im3_hz=10, im3_three_hz=1, im5_hz=10)


def timed(work: Callable[[], object]) -> tuple[float, object]:
    """Seconds of the quickest of three runs, and what came out."""
    quickest, answer = float("inf"), None
    for _ in range(3):
        started = time.perf_counter()
        answer = work()
        quickest = min(quickest, time.perf_counter() - started)
    return quickest, answer


def random_rows(links: int, areas: int, step_hz: int) -> list[Assignment]:
    """Links at random places, dealt out to the areas in turn."""
    dice = random.Random(1)
    places = BAND.width_hz // step_hz
    return [
        Assignment(
            f"link {i:03}", RULES.name, f"area {i % areas}", frozenset(), BAND.low_hz + step_hz * dice.randrange(places)
        )
        for i in range(links)
    ]


def losses(areas: int) -> AreaLosses:
    """A third of the pairs of areas do not hear each other."""
    pairs = [(i, j) for i in range(areas) for j in range(i) if (i + j) % 3 == 0]
    return AreaLosses(frozenset(frozenset((f"area {i}", f"area {j}")) for i, j in pairs))


def show_audits() -> None:
    """Time over the number of links, with few conflicts and with very many."""
    print(f"{'links':>6} {'areas':>6} {'distances':>10} {'conflicts':>10} {'products compared':>18} {'seconds':>8}")
    for links, areas, kind, words in (
        (100, 3, MILD, "mild"),
        (200, 5, MILD, "mild"),
        (200, 1, MILD, "mild"),
        (500, 20, MILD, "mild"),
        (100, 3, RULES, "usual"),
        (200, 5, RULES, "usual"),
    ):
        rows = random_rows(links, areas, kind.step_hz)
        want = Wanted((), {RULES.name: kind}, losses(areas))
        seconds, found = timed(lambda rows=rows, want=want: audit(rows, want))
        print(f"{links:6} {areas:6} {words:>10} {len(found.conflicts):10,} {found.products:18,} {seconds:8.3f}")


def show_ratio() -> None:
    """The audit beside its plain twin, on one plan small enough for the twin."""
    print(f"\n{'links':>6} {'audit s':>9} {'plain twin s':>13} {'ratio':>7}")
    for links in (10, 20, 30):
        rows, want = random_rows(links, 1, 1), Wanted((), {RULES.name: MILD})
        quick, found = timed(lambda rows=rows, want=want: audit(rows, want))
        started = time.perf_counter()
        plain = plain_audit(rows, want)
        slow = time.perf_counter() - started
        if (len(found.conflicts), found.pairs, found.products) != (len(plain[0]), *plain[1:]):
            raise SystemExit("the audit and its plain twin differ")
        print(f"{links:6} {quick:9.4f} {slow:13.3f} {slow / quick:7.0f}")


def show_reasons() -> None:
    """A whole answer: audit, reasons of the placed links, and of the others in so many unlike classes."""
    print(f"\n{'placed':>7} {'left out':>9} {'classes':>8} {'seconds':>8}")
    for placed, left_out, classes in ((60, 30, 1), (60, 30, 5), (100, 30, 3)):
        kinds = {f"type {k}": replace(RULES, name=f"type {k}") for k in range(classes)}
        links = tuple(Link(f"link {i:03}", f"type {i % classes}") for i in range(placed + left_out))
        rows = random_rows(placed, 1, RULES.step_hz)
        best = SimpleNamespace(frequencies_hz={row.link: row.frequency_hz for row in rows}, spares=())
        seconds, _ = timed(
            lambda best=best, links=links, kinds=kinds: compose_plan(best, Wanted(links, kinds), Ground())
        )
        print(f"{placed:7} {left_out:9} {classes:8} {seconds:8.3f}")


if __name__ == "__main__":
    show_audits()
    show_ratio()
    show_reasons()
