"""Invented shows for the tests of the plan: equipment, rows, law and air in a line each, and random small shows."""

from __future__ import annotations

import datetime

import numpy as np
from hypothesis import strategies as st

from fallow.plan.places import Ground
from fallow.plan.surveys import AreaAir
from fallow.rules.territory import Circumstances, Grade, Raster, Rule, Territory
from fallow.show.assignment import Assignment
from fallow.show.equipment import Equipment, Kind, PowerKind
from fallow.show.link import AreaLosses, ForeignCarrier, Station
from fallow.show.wanted import Wanted
from fallow.spectrum.verdict import JudgedSlice, WindowVerdicts
from fallow.units import Channel, Span

KHZ = 1000


def equipment(
    name="mic",
    *,
    spacing_khz=350,
    im3_khz=100,
    three_khz=50,
    im5_khz=None,
    im7_khz=None,
    tuning=None,
    step_hz=1,
    presets=(),
    bandwidth_khz=200,
    product_width=False,
):
    def hz(khz):
        return None if khz is None else round(khz * KHZ)

    return Equipment(
        name=name,
        kind=Kind.MICROPHONE,
        tuning=(Span(470_000_000, 700_000_000),) if tuning is None else tuning,
        step_hz=step_hz,
        presets_hz=presets,
        bandwidth_hz=hz(bandwidth_khz),
        power_mw=10.0,
        power_kind=PowerKind.ERP,
        spacing_hz=hz(spacing_khz),
        im3_hz=hz(im3_khz),
        im3_three_hz=hz(three_khz),
        im5_hz=hz(im5_khz),
        im7_hz=hz(im7_khz),
        product_width=product_width,
    )


def row(name, mhz, kind="mic", area="", scenes=()):
    hz = None if mhz is None else round(mhz * 1_000_000)
    return Assignment(name, kind, area, frozenset(scenes), hz)


def wanted(*, kinds=None, links=(), foreign=(), apart=()):
    kinds = kinds or [equipment()]
    losses = AreaLosses(frozenset(frozenset(pair) for pair in apart))
    return Wanted(tuple(links), {kind.name: kind for kind in kinds}, losses, tuple(foreign))


class Air:
    """A judged survey as a test states it: a verdict per carrier."""

    basis = "absolute"

    def __init__(self, verdict):
        self._verdict = verdict

    def judge_window(self, low_hz, high_hz):
        verdict = self._verdict((low_hz + high_hz) / 2)
        return JudgedSlice("", low_hz, high_hz, verdict, ("a reason",), -80.0, 2.0, -110.0)

    def judge_windows(self, low_hz, high_hz):
        verdict = np.array([self._verdict(hz) for hz in (low_hz + high_hz) / 2], dtype=np.uint8)
        level = np.full(len(verdict), -80.0)
        return WindowVerdicts(verdict, level, level, level, level)


def rule(low_mhz, high_mhz, **more):
    usual = {"allows": True, "licence": "general", "exempt": True, "grade": Grade.SEEN}
    return Rule(low_mhz * 1_000_000, high_mhz * 1_000_000, source="an invented row", date="2026", **(usual | more))


def ground(*rules, verdict=None, channel=None):
    """Invented law, air, and a TV channel that is announced as on the air."""
    raster = Raster((Channel("24", 494_000_000, 502_000_000),), "an invented raster", "2026", Grade.SEEN)
    territory = Territory("xx", "Nowhere", rules, (raster,), {"general": "for all"}, (), ())
    stations = () if channel is None else (Station(channel),)
    airs = () if verdict is None else (AreaAir(Air(verdict)),)  # type: ignore[arg-type]  # an invented air
    return Ground(territory, Circumstances(None, None, datetime.date(2026, 1, 1)), airs, stations)


AREAS = ("", "hall", "foyer", "studio")
SCENES = ("act 1", "act 2", "act 3")


@st.composite
def shows(draw, least=0):
    """Small shows in a narrow, coarse band, so that every rule is broken often, with all flags of everything."""
    grid_hz = draw(st.sampled_from([1, 25_000, 33_333]))
    place_hz = st.integers(0, 3_000_000 // grid_hz).map(lambda k: 500_000_000 + k * grid_hz)
    distance = st.sampled_from([None, 0, 0.001, 25, 100, 33.333])
    width = st.sampled_from([200, 200, 12.5, 33.333, 900])
    kinds = [
        equipment(
            name,
            spacing_khz=draw(st.sampled_from([0, 125, 350])),
            im3_khz=draw(distance),
            three_khz=draw(distance),
            im5_khz=draw(distance),
            im7_khz=draw(st.sampled_from([None, None, 25])),
            bandwidth_khz=draw(width),
            product_width=draw(st.booleans()),
        )
        for name in ("mic", "ear", "cue")
    ]
    scenes = st.frozensets(st.sampled_from(SCENES), max_size=3)
    names = draw(st.permutations(["b", "a", "vox 10", "vox 2", "spare mic 1", "Z", "é"]))
    rows = [
        Assignment(
            name,
            draw(st.sampled_from(["mic", "ear", "cue"])),
            draw(st.sampled_from(AREAS)),
            draw(scenes),
            draw(place_hz),
        )
        for name in names[: draw(st.integers(least, 7))]
    ]
    foreign = [
        ForeignCarrier(
            name,
            draw(place_hz),
            draw(st.sampled_from([0, 0, 25_001, 700_000])),
            draw(st.sampled_from(AREAS)),
            draw(st.sampled_from([0, 50_000, 333_333])),
            draw(st.booleans()),
            draw(st.booleans()),
            product_width=draw(st.booleans()),
        )
        for name in ("stranger 1", "a stranger", "S3")[: draw(st.integers(0, 3))]
    ]
    pairs = [("hall", "foyer"), ("hall", "studio"), ("foyer", "studio")]
    apart = draw(st.lists(st.sampled_from(pairs), unique=True))
    return rows, wanted(kinds=kinds, foreign=foreign, apart=apart)
