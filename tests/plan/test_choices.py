"""Ways to re-plan that nobody beats: against the definition, pair by pair, and one show with prices of three kinds."""

from __future__ import annotations

from itertools import count

from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.advice.choices import choices_among, only_clean
from fallow.plan.places import Ground
from fallow.plan.search.question import Question
from fallow.plan.search.search import Solution, improve
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
    assert choices[1].text == "1 move, 1 without a frequency"


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


def test_without_a_plan_to_keep_there_is_one_way() -> None:
    asked = Question.build(SHOW, Ground(), spares=0)
    found = plans(asked)
    (only,) = choices_among(found, found[-1], asked)
    assert only.chosen
    assert only.moved == ()
