"""Invented values of every kind that a show file keeps, plain and random."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from hypothesis import strategies as st

from fallow.show.assignment import Assignment
from fallow.show.equipment import Equipment, Kind, PowerKind
from fallow.show.grouping import Apart, Together
from fallow.show.link import ForeignCarrier, Link, Station
from fallow.showfile import kinds
from fallow.showfile.values import (
    AreaPair,
    Event,
    Mark,
    Merge,
    Note,
    PlanHead,
    PlanRow,
    Setting,
    SourceFile,
    SurveyHead,
)
from fallow.spectrum.axis import Axis
from fallow.spectrum.chain import ChainPart, Reflections
from fallow.spectrum.curve import Curve, GainCurve
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.units import Span

LINKS = (
    Link("vox 1", "hand", "stage", frozenset({"act 1"}), 1, 470_125_000, fixed=True, extra={"rack": "A1"}),
    Link("vox 2", "hand", "stage"),
    Link("ear 1", "ear", "stage", planned=False),
)
HAND = Equipment(
    "hand", Kind.MICROPHONE, (Span(470_000_000, 478_000_000),), 25_000, (), 200_000, 10.0, PowerKind.ERP,
    350_000, 100_000, 50_000, None,
)  # fmt: skip
EAR = Equipment("ear", Kind.IN_EAR, (), 25_000, (863_125_000,), 200_000, None, None, 0, None, None, None)

words = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=8)
hertz = st.integers(0, 10**11)
decibels = st.floats(-200, 200, allow_nan=False)
maybe_hertz = st.none() | hertz
texts = st.dictionaries(words, words, max_size=2)
scalars = st.none() | words | st.integers(-(2**53), 2**53) | decibels | st.booleans()
few_words = st.lists(words, max_size=3).map(tuple)
scenes = st.frozensets(words, max_size=3)
links = st.builds(Link, words, words, words, scenes, st.integers(1, 5), maybe_hertz, st.booleans(), st.booleans(),
                  st.none(), texts)  # fmt: skip
spans = st.tuples(hertz, st.integers(1, 10**9)).map(lambda pair: Span(pair[0], pair[0] + pair[1]))
equipment = st.builds(
    Equipment, words, st.sampled_from(Kind), st.lists(spans, max_size=2).map(tuple), hertz,
    st.lists(hertz, max_size=3).map(tuple), hertz, st.none() | decibels, st.none() | st.sampled_from(PowerKind), hertz,
    maybe_hertz, maybe_hertz, maybe_hertz,
)  # fmt: skip
assignments = st.builds(Assignment, words, words, words, scenes, maybe_hertz, st.none() | words, st.none() | decibels,
                        words, st.none(), texts)  # fmt: skip
VALUES = {
    kinds.SETTINGS: st.builds(Setting, words, scalars),
    kinds.EQUIPMENT: equipment,
    kinds.LINKS: links,
    kinds.AREA_PAIRS: st.builds(AreaPair, words, words, st.none() | decibels),
    kinds.FOREIGN: st.builds(ForeignCarrier, words, hertz, hertz, words, hertz, st.booleans(), st.booleans()),
    kinds.STATIONS: st.builds(Station, words, words, words),
    kinds.APART: st.builds(Apart, words, words, hertz, st.booleans(), st.booleans(), words),
    kinds.TOGETHER: st.builds(Together, words, hertz, st.booleans(), st.booleans(), words),
    kinds.PLANS: st.builds(PlanHead, words, words, few_words, st.dictionaries(words, scalars, max_size=2)),
    kinds.PLAN_ROWS: st.builds(PlanRow, words, assignments, st.integers(0, 3)),
    kinds.SURVEYS: st.builds(
        SurveyHead,
        words,
        st.lists(st.integers(1, 99), max_size=3).map(tuple),
        st.booleans(),
        words,
        words,
        few_words,
        st.lists(st.builds(SourceFile, words, words), max_size=2).map(tuple),
    ),
    kinds.NOTES: st.builds(Note, words, words, words, words, words),
    kinds.MARKS: st.builds(Mark, words, st.integers(0, 10**6), words),
    kinds.MERGES: st.builds(
        Merge,
        words,
        words,
        words,
        st.dictionaries(words, st.integers(1, 99), max_size=2),
        few_words,
        st.dictionaries(words, st.lists(st.tuples(words, words), max_size=2).map(tuple), max_size=2),
    ),
    kinds.EVENTS: st.builds(Event, words, words, words, words, st.dictionaries(words, scalars, max_size=2)),
}


def curve() -> Curve:
    """A curve of three points."""
    return Curve(np.array([1e8, 4.7e8, 7e8]), np.array([0.1, 0.25, 1 / 3]))


def chain() -> tuple[ChainPart, ...]:
    """One part of each shape."""
    gain = GainCurve(np.array([4.7e8, 7e8]), np.array([-1.5, -2.25]), np.array([0.1, 0.2]))
    return (
        ChainPart("whip", "antenna", 2.15, 1.7, Reflections(0.0, curve()), gain_known=False, notes=("taken as 0 dB",)),
        ChainPart("cable", "cable", gain, 0.0, Reflections.of_vswr(1.5), curve()),
        ChainPart("sweeper", "instrument", 0.0, 1.2),
    )


def survey(instrument: str = "") -> Survey:
    """Two series: tenths of a decibel with holes on a regular axis, and single precision on an irregular one."""
    tenths = ((np.arange(70 * 1030).reshape(70, 1030) * 7919 % 400 - 1100) / 10).astype(np.float32)
    tenths[3, 5:9] = np.nan
    sevenths = (np.arange(6).reshape(2, 3) / 7 - 90).astype(np.float32)
    regular = Axis.regular(Fraction(470_000_000), Fraction(2_800_000, 511), 1030)
    irregular = Axis.irregular(np.array([470_000_000, 470_025_000, 600_000_000], dtype=np.int64))
    times_s = 1_784_365_200.0 + np.arange(70.0)
    return Survey(
        (
            Series(regular, tenths, LevelUnit.DBM, times_s, True, 10_000.0, Detector.PEAK, "trace 1", "hall.csv"),
            Series(irregular, sevenths, LevelUnit.DB, source="yard.csv", instrument=instrument),
        ),
        ("an invented survey",),
    )
