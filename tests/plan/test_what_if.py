"""What a move does is what the audit says of the moved plan; margins are those of a plain enumeration.

Truth: ``audit`` of the same rows, which the tests hold against a plainer twin (``plain_audit``). Shows are invented.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import count

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.errors import UsageError
from fallow.plan.judge.audit import audit, audit_of
from fallow.plan.judge.what_if import LOOK, WhatIf
from fallow.plan.places import Ground
from fallow.plan.surveys import AreaAir
from fallow.show.link import ForeignCarrier, Link
from fallow.spectrum.verdict import Verdict
from fallow.units import Span
from plan.plain_audit import carriers_in_words, compared_products, hears, in_one_scene
from plan.shows import AREAS, Air, equipment, ground, row, rule, shows, wanted


def striped(hz: float) -> Verdict:
    return Verdict(int(hz // 700_000) % 4)


def lively_ground(want) -> Ground:
    """Law with a hole, a channel on the air, a survey for all and one of the hall."""
    plain = ground(rule(470, 501), rule(501.5, 600), verdict=striped, channel="24")
    hall = AreaAir(Air(lambda hz: Verdict(int(hz // 900_000) % 4)), "hall", "hall at night")
    return Ground(plain.territory, plain.circumstances, (*plain.airs, hall), plain.stations, want.losses)


def placed(rows):
    return [one for one in rows if one.frequency_hz is not None]


@settings(max_examples=150)
@given(shows(least=2), st.data())
def test_every_move_says_what_the_audit_says(show, data):
    rows, want = show
    if data.draw(st.booleans()):
        cue = replace(want.equipment["cue"], presets_hz=(500_000_000, 501_234_567, *(one.frequency_hz for one in rows)))
        want = replace(want, equipment={**want.equipment, "cue": cue})
    under = data.draw(st.sampled_from([None, lively_ground(want)]))
    game = WhatIf(rows, want, under)
    assert game.conflicts == audit(rows, want, under).conflicts
    places_hz = [one.frequency_hz for one in rows] + [500_000_000, 501_234_567, 502_100_000]
    for _ in range(4):
        name = data.draw(st.sampled_from([one.link for one in rows]))
        to_hz = data.draw(st.sampled_from([*places_hz, None]))
        before = game.conflicts
        tried = game.try_(name, to_hz)
        assert game.conflicts == before
        effect = game.move(name, to_hz)
        now = audit(placed(game.rows), want, under).conflicts
        assert tried.conflicts == effect.conflicts == game.conflicts == now
        assert audit_of(game.stage).conflicts == now
        told = {(one.kind, one.victim, one.carriers) for one in before}, {(c.kind, c.victim, c.carriers) for c in now}
        assert {(one.kind, one.victim, one.carriers) for one in effect.new} == told[1] - told[0]
        assert {(one.kind, one.victim, one.carriers) for one in effect.gone} == told[0] - told[1]
        assert set(effect.involved) == {one for one in now if name in (one.victim, *one.carriers)}
        check_margins(game, want, under)


def check_margins(game, want, under):
    margins, rows = game.margins, placed(game.rows)
    everybody = carriers_in_words(rows, want)
    room_hz = {one.name: np.inf for one in everybody}
    for one in everybody:
        for other in everybody:
            if one is other or not (one.ours or other.ours):
                continue
            needed_hz = max(one.spacing_hz, other.spacing_hz) if one.ours and other.ours else 0
            needed_hz = needed_hz or (one if other.ours else other).spacing_hz * (one.ours != other.ours)
            if needed_hz and hears(want, one, other) and in_one_scene(everybody, [one, other]):
                room_hz[one.name] = min(room_hz[one.name], abs(one.hz - other.hz) - needed_hz)
    for _, _, product_hz, victim, asked_hz, half_hz in compared_products(everybody, want):
        distance_hz = abs(product_hz - victim.hz) - half_hz
        if distance_hz < LOOK * asked_hz:
            room_hz[victim.name] = min(room_hz[victim.name], distance_hz - asked_hz)
    for one in everybody:
        air_db, room = margins.of(one.name)
        assert (np.inf if room is None else room) == room_hz[one.name]
        if under is None or not one.ours:
            assert air_db is None
    for one in rows:
        if under is not None:
            found = under.air_at(want.equipment[one.equipment], one.area, one.frequency_hz)
            assert margins.of(one.link)[0] == (None if found is None else found.margin_db)


def test_moving_back_undoes_everything():
    rows = [row("a", 500), row("b", 501), row("c", 503.3)]
    game = WhatIf(rows, wanted())
    assert game.conflicts == ()
    effect = game.move("c", 502_000_000)
    assert {one.kind for one in effect.new} == {"2A-B"}
    assert effect.from_hz == 503_300_000
    back = game.move("c", 503_300_000)
    assert (back.conflicts, back.new) == ((), ())
    assert back.gone == effect.new
    assert game.rows == tuple(rows)


def test_links_without_a_place_can_be_put_and_taken_off():
    links = [Link("a", "mic", "hall"), Link("late", "mic", "hall"), Link("own", "mic", planned=False)]
    want = wanted(links=links)
    game = WhatIf([row("a", 500, area="hall")], want)
    assert [one.link for one in game.rows] == ["a", "late"]
    (new,) = game.move("late", 500_200_000).new
    assert (new.kind, new.carriers) == ("spacing", ("a", "late"))
    assert game.move("a", None).conflicts == ()
    assert game.margins.of("a") == (None, None)


def test_a_name_that_is_nobody_is_told():
    with pytest.raises(UsageError, match="no row of the plan is called 'z'"):
        WhatIf([row("a", 500)], wanted()).move("z", 500_000_000)
    twins = [row("spare", 500), row("spare", 501)]
    with pytest.raises(UsageError, match="several rows are called 'spare'"):
        WhatIf(twins, wanted()).try_("spare", 502_000_000)


def test_a_crowd_in_one_band_stays_exact_over_many_moves():
    """Forty links in four areas with all three forms; sixty moves, some held against the audit's count."""
    rng = np.random.default_rng(5)
    kinds = [equipment(im5_khz=50, tuning=(Span(470_000_000, 500_000_000),), step_hz=25_000)]
    names = (f"link {i:02}" for i in count())
    rows = [
        row(next(names), 470 + 0.025 * int(k), area=AREAS[k % 4], scenes=[f"act {k % 3}"] if k % 5 else [])
        for k in rng.integers(0, 1200, 40)
    ]
    want = wanted(kinds=kinds, apart=[("hall", "studio")])
    game = WhatIf(rows, want)
    for step in range(60):
        at = int(rng.integers(0, 40))
        effect = game.move(rows[at].link, 470_000_000 + 25_000 * int(rng.integers(0, 1200)))
        if step % 10 == 9:
            assert effect.conflicts == audit(game.rows, want).conflicts


def test_what_strangers_make_alone_stays_nobodys_conflict():
    strangers = [ForeignCarrier("x", 500_000_000, products=True), ForeignCarrier("y", 501_000_000, products=True)]
    want = wanted(foreign=strangers)
    game = WhatIf([row("v", 510)], want)
    assert game.move("v", 499_000_000).conflicts == audit([row("v", 499)], want).conflicts == ()
    assert game.margins.of("v")[1] is None
