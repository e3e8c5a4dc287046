"""Spares stand apart from what they are to stand in for; nothing is built where there is nothing to be put apart."""

from __future__ import annotations

from itertools import pairwise

import pytest

from fallow.plan.advice.spreading import spread_spares
from fallow.plan.places import Ground
from fallow.plan.search.engine import Kernels, NumpyKernels
from fallow.plan.search.question import Question
from fallow.plan.search.search import Solution, improve
from fallow.show.equipment import Equipment, Kind
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.units import Channel, Span

MHZ = 1_000_000
RADIO = Equipment(
    "invented",
    Kind.MICROPHONE,
    (Span(470 * MHZ, 502 * MHZ),),
    25_000,
    (),
    200_000,
    None,
    None,
    350_000,
    100_000,
    50_000,
    50_000,
)
CHANNELS = tuple(Channel(str(21 + i), (470 + 8 * i) * MHZ, (478 + 8 * i) * MHZ) for i in range(4))


def planned(spares: int) -> tuple[Question, Solution]:
    """One link and some spares, all as low as they can be."""
    wanted = Wanted((Link("one", RADIO.name),), {RADIO.name: RADIO})
    question = Question.build(wanted, Ground(), spares=spares)
    return question, next(improve(question, seed=1, should_stop=lambda: True))


def never() -> Kernels:
    raise AssertionError("tables are built")


def test_each_spare_has_a_channel_to_itself_while_there_are_enough() -> None:
    question, plan = planned(3)
    assert {spare.frequency_hz // (8 * MHZ) for spare in plan.spares} == {470 // 8}
    spread = spread_spares(plan, question, CHANNELS, NumpyKernels)
    everybody_hz = sorted([*spread.frequencies_hz.values(), *(spare.frequency_hz for spare in spread.spares)])
    inside = [sum(channel.low_hz <= hz < channel.high_hz for hz in everybody_hz) for channel in CHANNELS]
    assert inside == [1, 1, 1, 1]
    assert spread.frequencies_hz == plan.frequencies_hz
    assert all(higher - lower >= RADIO.spacing_hz for lower, higher in pairwise(everybody_hz))


@pytest.mark.parametrize(("spares", "channels"), [(3, ()), (0, CHANNELS)])
def test_without_spares_or_channels_no_tables_are_built(spares: int, channels: tuple[Channel, ...]) -> None:
    question, plan = planned(spares)
    assert spread_spares(plan, question, channels, never) is plan
