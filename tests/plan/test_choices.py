"""Ways to re-plan that nobody beats: against the definition, pair by pair, and one show with prices of three kinds."""

from __future__ import annotations

from dataclasses import replace
from itertools import count

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.advice.choices import Choice, choices_among, only_clean
from fallow.plan.places import Ground
from fallow.plan.search.question import Question
from fallow.plan.search.score import score_of
from fallow.plan.search.search import Solution, improve, solution_of
from fallow.show.duplex import unfolded
from fallow.show.equipment import Duplex
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.painted_ground import PaintedGround
from plan.test_repair import radio

MHZ = 1_000_000
PLACES = [500 * MHZ + 400_000 * i for i in range(4)]
SHOW = Wanted(tuple(Link(f"l{i}", "invented") for i in range(3)), {"invented": radio(*PLACES)})
KEEP = {"l0": PLACES[0], "l1": PLACES[1], "l2": 777 * MHZ}


def question() -> Question:
    """The home of the third is lost; the place that is free is doubtful, and so is the home of the first."""
    doubtful = [Span(hz, hz + 1) for hz in (PLACES[0], PLACES[2])]
    ground = PaintedGround(doubtful=doubtful)
    return Question.build(SHOW, ground, keep=KEEP, spares=0)  # type: ignore[arg-type]  # a ground for tests


def plans(of: Question, steps: int = 30) -> list[Solution]:
    taken = count(1)
    return list(improve(of, seed=1, should_stop=lambda: next(taken) > steps))


def test_fewer_moves_or_cleaner_places() -> None:
    asked = question()
    found = plans(asked)
    choices = choices_among([*found, *plans(only_clean(asked))], found[-1], asked)
    assert [(len(one.moved), len(one.unplaced), one.doubtful, one.chosen) for one in choices] == [
        (1, 0, 1, True),
        (1, 1, 0, False),
    ]
    assert choices[0].text == "1 move, 1 on doubtful places"
    assert choices[1].text == "1 move, no frequency for l2"


def test_clean_places_alone() -> None:
    tiers = {int(tier) for worth in only_clean(question()).worths for tier in worth.tier}
    assert tiers == {0}


@given(st.integers(0, 10**6))
@settings(max_examples=10)
def test_nobody_beats_a_choice(seed: int) -> None:
    asked = question()
    found = plans(asked, 3 + seed % 10) + plans(only_clean(asked), 3)
    prices = [one.price for one in choices_among(found, found[0], asked) if not one.chosen]
    everybody = [one.price for plan in found for one in choices_among([], plan, asked)]
    for price in prices:
        assert not any(other != price and all(a <= b for a, b in zip(other, price, strict=True)) for other in everybody)


def choice_of(show: Wanted, keep: dict[str, int], at_hz: dict[str, int]) -> Choice:
    asked = Question.build(unfolded(show), Ground(), keep=keep, spares=0)
    where = np.array([at_hz.get(carrier.name, -1) for carrier in asked.carriers], dtype=np.int64)
    (only,) = choices_among([], solution_of(asked, score_of(asked, where), where), asked)
    return only


def test_moves_count_by_weight_and_who_is_left_out_is_named() -> None:
    links = tuple(Link(f"l{i}", "invented", move_weight=weight) for i, weight in enumerate((1, 1, 5)))
    show = replace(SHOW, links=links)
    keep = dict(zip(("l0", "l1", "l2"), PLACES, strict=False))
    heavy = choice_of(show, keep, {**keep, "l2": PLACES[3]})
    light = choice_of(show, keep, {**keep, "l0": PLACES[3], "l1": PLACES[0]})
    assert heavy.text == "1 move, everybody on a place as good as any, what changes weighs 5"
    assert light.text == "2 moves, everybody on a place as good as any"
    assert light.price < heavy.price
    assert choice_of(show, keep, {"l1": PLACES[1]}).text == "0 moves, no frequency for l0 and l2, what changes weighs 6"


def test_two_directions_are_one_move_and_one_link_left_out() -> None:
    talk = replace(radio(*PLACES[:3], name="talk"), duplex=Duplex(10 * MHZ))
    show = Wanted((Link("a", "talk"), Link("b", "talk")), {"talk": talk})
    keep = {"a": PLACES[0], "a return": PLACES[0] + 10 * MHZ, "b": PLACES[1], "b return": PLACES[1] + 10 * MHZ}
    one = choice_of(show, keep, {"a": PLACES[2], "a return": PLACES[2] + 10 * MHZ})
    assert (one.moves, one.changes, one.weight, len(one.moved)) == (1, 2, 2, 2)
    assert one.unplaced == ("b", "b return")
    assert one.text == "1 move, no frequency for b"


def test_without_a_plan_to_keep_there_is_one_way() -> None:
    asked = Question.build(SHOW, Ground(), spares=0)
    found = plans(asked)
    (only,) = choices_among(found, found[-1], asked)
    assert only.chosen
    assert only.moved == ()
