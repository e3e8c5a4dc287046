"""The margins of a plan that is played with are those of its whole ledgers, after every move. Shows are invented.

Truth: ``accounts_of`` of the moved plan, which ``test_accounts`` holds against a plain enumeration.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import count

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.judge.what_if import WhatIf
from fallow.plan.ledger.accounts import accounts_of
from fallow.plan.ledger.played import PlayedMargins
from fallow.plan.places import Ground
from fallow.show.equipment import Kind
from fallow.show.link import AreaLosses, ForeignCarrier
from fallow.spectrum.verdict import Verdict
from fallow.units import Span
from plan.shows import AREAS, equipment, ground, row, rule, shows, wanted

CLOSE_DB = 1e-6


def striped(hz: float) -> Verdict:
    return Verdict(int(hz // 700_000) % 4)


def whole_margins(game: WhatIf, names, measured=None) -> np.ndarray:
    """Of all ledgers of the plan as it stands, drawn up anew; NaN for links without one."""
    ledgers = accounts_of(game.stage, measured).ledgers
    return np.array([ledgers[name].margin_db if name in ledgers else np.nan for name in names])


def is_same(found: np.ndarray, said: np.ndarray) -> bool:
    return bool(
        np.array_equal(np.isnan(found), np.isnan(said)) and np.allclose(found, said, atol=CLOSE_DB, equal_nan=True)
    )


@settings(max_examples=120, deadline=None)
@given(
    shows(least=2),
    st.dictionaries(st.sampled_from(["hall", "foyer"]), st.floats(0, 40), max_size=2),
    st.sampled_from([None, {"a": -45.0, "vox 2": -70.0, "stranger 1": -60.0}]),
    st.data(),
)
def test_every_move_leaves_the_margins_of_the_whole_ledgers(show, losses_db, measured, data) -> None:
    rows, want = show
    apart = frozenset(want.losses.apart)
    pairs = {frozenset((area, "studio")): db for area, db in losses_db.items()}
    losses = AreaLosses(apart, {pair: db for pair, db in pairs.items() if pair not in apart})
    kinds = {**want.equipment, "cue": replace(want.equipment["cue"], power_mw=data.draw(st.sampled_from([None, 50.0])))}
    kinds["ear"] = replace(kinds["ear"], kind=Kind.IN_EAR, tuning=(Span(480_000_000, 490_000_000),))
    want = replace(want, losses=losses, equipment=kinds)
    under = data.draw(
        st.sampled_from([None, ground(rule(470, 600), verdict=lambda hz: Verdict(int(hz // 700_000) % 4))])
    )
    game = WhatIf(rows, want, under)
    played = PlayedMargins(game, measured)
    assert is_same(played.margin_db, whole_margins(game, played.names, measured))
    for _ in range(4):
        name = data.draw(st.sampled_from([one.link for one in rows]))
        to_hz = data.draw(st.sampled_from([*(one.frequency_hz for one in rows), 501_234_567, 502_100_000, None]))
        before = played.margin_db
        tried = played.try_(name, to_hz)
        assert np.array_equal(played.margin_db, before, equal_nan=True)
        game.move(name, to_hz)
        assert np.array_equal(played.move(name, to_hz), tried, equal_nan=True)
        assert is_same(tried, whole_margins(game, played.names, measured))


@pytest.mark.parametrize("scenes", [0, 3])
def test_a_long_game_stays_exact(scenes: int) -> None:
    """Sixty links in four areas, a hundred and twenty moves, some onto each other and back: no digit is lost."""
    dice = np.random.default_rng(5)
    kinds = [equipment(tuning=(Span(470_000_000, 500_000_000),), step_hz=25_000), equipment("wide", bandwidth_khz=2000)]
    names = (f"link {i:02}" for i in count())
    rows = [
        row(next(names), 470 + 0.025 * int(k), "wide" if k % 9 == 0 else "mic", AREAS[k % 4], on_in(int(k), scenes))
        for k in dice.integers(0, 1200, 60)
    ]
    game = WhatIf(rows, wanted(kinds=kinds, apart=[("hall", "studio")]), Ground())
    played = PlayedMargins(game)
    for step in range(120):
        at = int(dice.integers(0, 60))
        onto = int(dice.integers(0, 60))
        to_hz = game.rows[onto].frequency_hz if step % 3 == 0 else 470_000_000 + 25_000 * int(dice.integers(0, 1200))
        game.move(rows[at].link, to_hz)
        found = played.move(rows[at].link, to_hz)
        if step % 10 == 9:
            assert is_same(found, whole_margins(game, played.names))


def on_in(k: int, scenes: int) -> list[str]:
    return [f"act {k % scenes}"] if scenes and k % 5 else []


def test_a_game_that_begins_with_nobody_on_the_air() -> None:
    strangers = [ForeignCarrier("x", 500_000_000, 200_000, products=True), ForeignCarrier("y", 501_000_000)]
    under = ground(rule(470, 600), verdict=striped)
    game = WhatIf([row("a", None), row("b", None)], wanted(foreign=strangers), under)
    played = PlayedMargins(game)
    assert np.isnan(played.margin_db).all()
    for name, hz in (("a", 500_300_000), ("b", 500_600_000), ("a", None)):
        game.move(name, hz)
        assert is_same(played.move(name, hz), whole_margins(game, played.names))


def test_one_ledger_alone_is_the_one_of_all() -> None:
    game = WhatIf([row("a", 500), row("b", 501), row("c", 503.3)], wanted())
    alone = accounts_of(game.stage, only=["b"]).ledgers
    assert list(alone) == ["b"]
    assert alone["b"] == accounts_of(game.stage).ledgers["b"]
