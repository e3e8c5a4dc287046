"""Places asked for all at once say what the ground says of one carrier at a time."""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from fallow.files.territories import load_territory
from fallow.plan.places import Ground
from fallow.plan.surveys import AreaAir
from fallow.rules.territory import Circumstances
from fallow.show.equipment import Equipment, Kind, PowerKind
from fallow.show.link import Station
from fallow.spectrum.verdict import JudgedSlice, Verdict, WindowVerdicts
from fallow.units import Span

RADIO = Equipment(
    "invented",
    Kind.MICROPHONE,
    (Span(600_000_000, 620_000_000),),
    125_000,
    (),
    200_001,
    30.0,
    PowerKind.EIRP,
    350_000,
    None,
    None,
    None,
)


class StripedAir:
    """An air whose verdict changes every so many hertz; a window has the worst of what it touches."""

    def __init__(self, stripe_hz: int, verdicts: tuple[Verdict, ...]) -> None:
        self.stripe_hz, self.verdicts = stripe_hz, verdicts

    def worst(self, low_hz: float, high_hz: float) -> Verdict:
        first, last = int(low_hz // self.stripe_hz), int(-(-high_hz // self.stripe_hz))
        return max(self.verdicts[i % len(self.verdicts)] for i in range(first, last))

    def judge_window(self, low_hz: float, high_hz: float) -> JudgedSlice:
        return JudgedSlice("", round(low_hz), round(high_hz), self.worst(low_hz, high_hz), (), None, None, None)

    def judge_windows(self, low_hz: np.ndarray, high_hz: np.ndarray) -> WindowVerdicts:
        verdict = np.array([self.worst(*edges) for edges in zip(low_hz, high_hz, strict=True)], dtype=np.uint8)
        nothing = np.full(verdict.shape, np.nan)
        return WindowVerdicts(verdict, nothing, nothing, nothing, 10.0 - verdict)


AIRS = (
    StripedAir(700_000, (Verdict.CLEAN, Verdict.CLEAN, Verdict.DOUBTFUL)),
    StripedAir(1_100_000, (Verdict.CLEAN, Verdict.NOT_MEASURED, Verdict.CLEAN, Verdict.OCCUPIED)),
)


@pytest.mark.parametrize("region", ["us", "de", "gb"])
def test_all_at_once_is_one_at_a_time(region: str) -> None:
    territory = load_territory(region)
    channels = [c for c in territory.channels if c.high_hz > 600_000_000 and c.low_hz < 620_000_000]
    stations = (Station(channels[0].name, "hall"), Station(channels[1].name, "yard"))
    circumstances = Circumstances(None, None, datetime.date(2025, 11, 25))
    ground = Ground(territory, circumstances, tuple(map(AreaAir, AIRS)), stations)  # type: ignore[arg-type]  # invented airs
    places = ground.places(RADIO, "hall")
    assert places.frequencies_hz.size == 161
    for i, hz in enumerate(places.frequencies_hz.tolist()):
        permission, judged = ground.permission(RADIO, hz), ground.verdict(RADIO, "hall", hz)
        assert permission is not None
        assert judged is not None
        assert places.answer[i] == permission.answer
        assert places.verdict[i] == judged.verdict
        assert places.announced[i] == (ground.announced(RADIO, "hall", hz) is not None)
        may = permission.answer > 0 and judged.verdict < Verdict.OCCUPIED and not places.announced[i]
        assert places.may_use[i] == may
    assert places.announced.any()
    assert not places.announced.all()
    assert np.isnan(places.margin_db[places.verdict == Verdict.NOT_MEASURED]).all()


def test_without_law_and_air_everything_is_allowed_and_clean() -> None:
    ground = Ground()
    assert ground.permission(RADIO, 600_000_000) is None
    assert ground.verdict(RADIO, "", 600_000_000) is None
    assert ground.announced(RADIO, "", 600_000_000) is None
    places = ground.places(RADIO, "")
    assert places.may_use.all()
    assert not places.margin_db.any()
