"""How long one move takes in a plan that is played with, against a whole audit of the same plan.

Run: python bench/what_if.py
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests"), str(ROOT / "bench")]

from _instances import blocked_band, rule_r, show, without_three_carriers  # noqa: E402 - the path is set above

from fallow.plan.judge.audit import audit  # noqa: E402 - the path is set above
from fallow.plan.judge.what_if import WhatIf  # noqa: E402 - the path is set above
from fallow.plan.ledger.accounts import accounts_of  # noqa: E402 - the path is set above
from fallow.plan.ledger.played import PlayedMargins  # noqa: E402 - the path is set above
from fallow.plan.places import Ground, tunable_hz  # noqa: E402 - the path is set above
from fallow.plan.search.question import Question  # noqa: E402 - the path is set above
from fallow.plan.search.search import improve  # noqa: E402 - the path is set above
from fallow.show.assignment import Assignment  # noqa: E402 - the path is set above
from fallow.show.wanted import Wanted  # noqa: E402 - the path is set above

MOVES, TRIES = 100, 3
SEARCHING_S = 4.0


def planned(wanted: Wanted) -> list[Assignment]:
    """A plan as the search makes it in a few seconds; links without a place stay off."""
    until, best = time.perf_counter() + SEARCHING_S, None
    question = Question.build(wanted, Ground(), spares=0)
    for found in improve(question, seed=1, should_stop=lambda: time.perf_counter() > until):
        best = found
    at = {} if best is None else best.frequencies_hz
    return [Assignment(one.name, one.equipment, one.area, one.scenes, at.get(one.name)) for one in wanted.links]


def timed_moves(game: WhatIf, places_hz: np.ndarray, *, drag: bool) -> np.ndarray:
    """Milliseconds of processor time until conflicts and margins are found, and until the new and the old ones are
    sentences too; shape (2, move). The quickest of three, because other programs disturb.

    ``drag``: one link over the band, else any link to anywhere.
    """
    dice, names, found = np.random.default_rng(7), [row.link for row in game.rows], []
    for step in range(MOVES):
        name = names[0] if drag else names[int(dice.integers(len(names)))]
        to_hz = int(places_hz[step if drag else int(dice.integers(len(places_hz)))])
        found.append(np.min([one_move(game, name, to_hz) for _ in range(TRIES)], axis=0))
        effect = game.move(name, to_hz)
        if not drag:
            game.move(name, effect.from_hz)
    return np.array(found).T


def one_move(game: WhatIf, name: str, to_hz: int) -> tuple[float, float]:
    """Milliseconds of one move that is only tried."""
    started = time.process_time()
    effect = game.try_(name, to_hz)
    _ = effect.margins
    moved = time.process_time()
    _ = effect.new, effect.gone
    return 1e3 * (moved - started), 1e3 * (time.process_time() - started)


def timed_ledgers(rows: list[Assignment], want: Wanted, places_hz: np.ndarray, *, drag: bool) -> tuple[float, ...]:
    """Milliseconds of a move with the margins of all ledgers (p50, p99), of all ledgers anew, and the farthest that
    the two are apart at the end, in dB.
    """
    game = WhatIf(rows, want, Ground())
    played, dice, found = PlayedMargins(game), np.random.default_rng(7), []
    for step in range(MOVES):
        name = played.names[0] if drag else played.names[int(dice.integers(len(played.names)))]
        to_hz = int(places_hz[step if drag else int(dice.integers(len(places_hz)))])
        started = time.process_time()
        margin_db = played.move(name, to_hz)
        found.append(1e3 * (time.process_time() - started))
        game.move(name, to_hz)
    started = time.process_time()
    ledgers = accounts_of(game.stage).ledgers
    whole_ms = 1e3 * (time.process_time() - started)
    said = np.array([ledgers[name].margin_db if name in ledgers else np.nan for name in played.names])
    p50, p99 = np.percentile(found, [50, 99])
    return float(p50), float(p99), whole_ms, float(np.nanmax(np.abs(margin_db - said)))


def print_ledgers(shows: dict[str, Wanted]) -> None:
    """One line per show and way to move."""
    print(f"\n{'margins of all ledgers':30} {'':>5} {'p50 ms':>7} {'p99':>6} {'anew':>6} {'ratio':>6} {'apart dB':>9}")
    for words, want in shows.items():
        rows = planned(want)
        for drag in (False, True):
            p50, p99, whole_ms, apart_db = timed_ledgers(rows, want, tunable_hz(rule_r(blocked_band())), drag=drag)
            way = "drag" if drag else "any"
            print(f"{words:30} {way:>5} {p50:7.2f} {p99:6.2f} {whole_ms:6.0f} {whole_ms / p50:6.0f} {apart_db:9.1e}")


def main() -> None:
    """One line per show and way to move."""
    band = rule_r(blocked_band())
    shows = {
        "100 links, 5 areas": show(100, 5, band),
        "200 links, 20 areas": show(200, 20, band),
        "200 links, 20 areas, 5 scenes": show(200, 20, band, 5),
        "200 links, 3 areas, no A+B-C": without_three_carriers(show(200, 3, band)),
        "1000 links, 20 areas": show(1000, 20, band),
    }
    print(f"{'':30} {'':>5} {'a move ms':>14} {'in words too':>14} {'audit':>6}")
    print(f"{'':30} {'':>5} {'p50':>7} {'p99':>6} {'p50':>7} {'p99':>6} {'ms':>6} {'ratio':>6}")
    for words, want in shows.items():
        rows = planned(want)
        placed = [row for row in rows if row.frequency_hz is not None]
        audit_ms = min(timed_audit(placed, want) for _ in range(TRIES))
        for drag in (False, True):
            took = timed_moves(WhatIf(rows, want, Ground()), tunable_hz(band), drag=drag)
            cells = np.percentile(took, [50, 99], axis=1).T.ravel()
            told = f"{cells[0]:7.2f} {cells[1]:6.2f} {cells[2]:7.2f} {cells[3]:6.2f}"
            print(f"{words:30} {'drag' if drag else 'any':>5} {told} {audit_ms:6.0f} {audit_ms / cells[2]:6.0f}")
    print_ledgers({words: with_power(want) for words, want in shows.items() if words.startswith("200")})


def with_power(want: Wanted) -> Wanted:
    """The show with powers stated, so that there are ledgers."""
    return replace(want, equipment={name: replace(each, power_mw=10.0) for name, each in want.equipment.items()})


def timed_audit(rows: list[Assignment], want: Wanted) -> float:
    """Milliseconds of one audit."""
    started = time.process_time()
    audit(rows, want, Ground())
    return 1e3 * (time.process_time() - started)


if __name__ == "__main__":
    main()
