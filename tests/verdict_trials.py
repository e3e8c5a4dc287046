"""Trials of verdicts over sampled airs whose truth is known: what is shown, what is called, what is true.

The catalogues of receivers and senders are the corners that a table is made of. Errors are drawn from the budget that
is stated by default: instrument ±2 dB, response ±1.5 dB over frequency, antenna ±3 dB, cable ±0.5 dB (rectangular),
mismatch of VSWR 2 and 2 (U-shaped, 0.685 dB), repeatability 0.5 dB. Source of the distributions: JCGM 100:2008, 4.3.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.spectrum.verdict import Judging, Verdict
from fallow.units import Channel
from sampled_air import Receiver, Sender, shown

LIMIT_DBM = -90.0
BUDGET_U_DB = 2.426  # JCGM 100 over the lines above
LOW_HZ, SPAN_HZ = 470_000_000, 8_000_000
SLICE = Channel("slice", LOW_HZ, LOW_HZ + SPAN_HZ)
LINK_HZ = 200_000
ROUNDS, TOLD_AS_ASKED = 6, 0.02  # of finding a level that is told as asked; in standard uncertainties
LOWEST_DBM = LIMIT_DBM - 40.0
Z = {90.0: 1.2816, 95.0: 1.6449, 99.0: 2.3263}


def _receiver(step_hz: int, per_step: float, taper: str, blocks: int, sweeps: int, detector: str) -> Receiver:
    return Receiver(LOW_HZ, step_hz, SPAN_HZ // step_hz + 1, per_step, taper, blocks, sweeps, detector, -165.0)


RECEIVERS = {
    "fine, averages": _receiver(10_000, 1.5, "hann", 8, 12, "average"),
    "fine, single samples": _receiver(10_000, 1.5, "hann", 1, 40, "sample"),
    "steps of 50 kHz": _receiver(50_000, 1.0, "gauss", 3, 10, "average"),
    "steps of 100 kHz, 0.5 dB": replace(_receiver(100_000, 0.9, "gauss", 5, 30, "average"), rounded_db=0.5),
    "steps of 1.25 RBW": _receiver(25_000, 0.8, "blackman-harris", 5, 10, "average"),
    "RBW of 4 steps": _receiver(25_000, 4.0, "gauss", 10, 20, "average"),
    "one sweep, single samples": _receiver(25_000, 1.5, "hann", 1, 1, "sample"),
    "one sweep, averages": _receiver(25_000, 1.5, "hann", 60, 1, "average"),
    "two sweeps, few averages": _receiver(50_000, 1.0, "hann", 2, 2, "average"),
    "500 sweeps": _receiver(50_000, 1.0, "gauss", 2, 500, "average"),
    "drifting between sweeps": _receiver(25_000, 1.5, "hann", 5, 60, "average"),
    "rounded to 1 dB": replace(_receiver(25_000, 1.5, "hann", 5, 10, "average"), rounded_db=1.0),
    "step and slope in the floor": _receiver(20_000, 1.5, "hann", 5, 10, "average"),
    "floor near the limit": _receiver(25_000, 1.5, "hann", 20, 20, "average"),
    "peaks": _receiver(25_000, 1.5, "hann", 20, 10, "peak"),
    "max-hold": _receiver(25_000, 1.5, "hann", 1, 100, "max-hold"),
}


def receiver_at_random(rng: np.random.Generator, name: str, *, erring: bool = True) -> Receiver:
    """One of a kind, with a noise figure of 5 to 16 dB and, unless not ``erring``, an error drawn from the budget."""
    kind = RECEIVERS[name]
    noise = -173.975 + rng.uniform(5, 16)  # kT0 and noise figures of pocket instruments
    gain = np.zeros(kind.bins)
    drifts = name in ("drifting between sweeps", "500 sweeps")
    if erring:
        gain = gain + _common_error_db(rng) + _response_db(rng, kind.centres_hz) + (0 if drifts else rng.normal(0, 0.5))
    kind = replace(kind, gain_db=gain, noise_dbm_hz=noise)
    if name == "drifting between sweeps":
        walk = np.cumsum(rng.normal(0, 1, kind.sweeps))
        kind = replace(kind, drift_db=0.5 * (walk - walk.mean()) / walk.std() if erring else None)
    elif name == "500 sweeps" and erring:
        kind = replace(kind, drift_db=rng.normal(0, 0.5, kind.sweeps))
    elif name == "step and slope in the floor":
        step = rng.uniform(-6, 6) * (np.arange(kind.bins) > rng.integers(40, kind.bins - 40))
        kind = replace(kind, floor_db=step + rng.uniform(-4, 4) * np.linspace(0, 1, kind.bins) + 5.0)
    elif name == "floor near the limit":
        kind = replace(kind, noise_dbm_hz=LIMIT_DBM - 53.01 - rng.uniform(2, 9))  # in 200 kHz
    return kind


def _common_error_db(rng: np.random.Generator) -> float:
    mismatch = 0.685 * np.sqrt(2) * np.cos(rng.uniform(0, 2 * np.pi))
    return float(rng.uniform(-2, 2) + rng.uniform(-3, 3) + rng.uniform(-0.5, 0.5) + mismatch)


def _response_db(rng: np.random.Generator, centres_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """A triangle wave of ±1.5 dB over frequency: rectangular wherever it is looked at."""
    turns = (centres_hz - centres_hz[0]) / rng.uniform(4e6, 60e6) + rng.random()
    return np.asarray(1.5 * (4 * np.abs(turns % 1 - 0.5) - 1))


Sending = Callable[[np.random.Generator, int, float, float], Sender]


def _on_in(rng: np.random.Generator, sweeps: int, share: float) -> NDArray[np.float64]:
    """In a share of the sweeps, one at least, in runs of a few."""
    on = np.zeros(sweeps, dtype=bool)
    while on.sum() < max(1, round(share * sweeps)):
        start = int(rng.integers(sweeps))
        on[start : start + 1 + int(rng.integers(max(1, round(share * sweeps))))] = True
    return np.where(on, 0.0, -np.inf)


def _fading(rng: np.random.Generator, sweeps: int) -> NDArray[np.float64]:
    """0 or -3 dB, for some sweeps each; at least once 0."""
    fade = np.where(rng.random(-(-sweeps // 5)) < 0.5, 0.0, -3.0)
    fade[int(rng.integers(fade.size))] = 0.0
    return np.repeat(fade, 5)[:sweeps] if sweeps > 1 else np.zeros(1)


def _one_of(rng: np.random.Generator, sweeps: int) -> NDArray[np.float64]:
    return np.where(np.arange(sweeps) == rng.integers(sweeps), 0.0, -np.inf)


def with_rayleigh_fading(rng: np.random.Generator, sweeps: int, at_hz: float, level_dbm: float) -> Sender:
    """A carrier that fades from sweep to sweep, with that level in its loudest one. Source: Rec. ITU-R P.1057."""
    faded_db = 10 * np.log10(rng.exponential(1.0, sweeps))
    return Sender("carrier", at_hz, level_dbm, gain_db=faded_db - faded_db.max())


SENDERS: dict[str, Sending] = {
    "carrier": lambda _rng, _n, at, level: Sender("carrier", at, level),
    "carrier in one sweep": lambda rng, n, at, level: Sender("carrier", at, level, gain_db=_one_of(rng, n)),
    "carrier in 5 %": lambda rng, n, at, level: Sender("carrier", at, level, gain_db=_on_in(rng, n, 0.05)),
    "carrier in 50 %": lambda rng, n, at, level: Sender("carrier", at, level, gain_db=_on_in(rng, n, 0.5)),
    "carrier fading by 3 dB": lambda rng, n, at, level: Sender("carrier", at, level, gain_db=_fading(rng, n)),
    "FM, 90 kHz": lambda _rng, _n, at, level: Sender("fm", at, level, 90e3),
    "digital, 180 kHz": lambda _rng, _n, at, level: Sender("digital", at, level, 180e3),
    "digital, 180 kHz, one sweep": lambda rng, n, at, level: Sender("digital", at, level, 180e3, _one_of(rng, n)),
    "digital, 180 kHz, 50 %": lambda rng, n, at, level: Sender("digital", at, level, 180e3, _on_in(rng, n, 0.5)),
    "digital, 25 kHz, 5 %": lambda rng, n, at, level: Sender("digital", at, level, 25e3, _on_in(rng, n, 0.05)),
    "digital, 1 MHz": lambda _rng, _n, at, level: Sender("digital", at, level + 6.99, 1e6),  # in 200 kHz
}


@dataclass(frozen=True)
class Outcome:
    """What one window was called, and the true level in it [dBm] while the sender is on."""

    verdict: Verdict
    true_dbm: float
    level_dbm: float
    u_db: float

    @property
    def told_sigmas(self) -> float:
        """By how many of the standard uncertainties that are told the level that is told lies above the limit."""
        return (self.level_dbm - LIMIT_DBM) / self.u_db


def survey_of(rng: np.random.Generator, receiver: Receiver, senders: list[Sender]) -> Survey:
    """What fallow is given."""
    axis = Axis.regular(int(receiver.low_hz), int(receiver.step_hz), receiver.bins)
    detector = Detector(receiver.detector)
    levels = shown(rng, receiver, senders)
    return Survey((Series(axis, levels, LevelUnit.DBM, rbw_hz=receiver.rbw_hz, detector=detector),))


def one_window(
    rng: np.random.Generator,
    receiver: Receiver,
    sending: Sending,
    level_dbm: float,
    confidence_pct: float,
    centred: bool = False,
) -> Outcome:
    """A sender wholly inside a window of a link's width (or filling it), in its middle or anywhere."""
    at = float(rng.uniform(LOW_HZ + 1e6, LOW_HZ + SPAN_HZ - 1e6))
    sender = sending(rng, receiver.sweeps, at, level_dbm)
    room = 0.0 if centred else max(0.0, LINK_HZ - sender.width_hz) / 2
    low = at - LINK_HZ / 2 + rng.uniform(-room, room)
    air = judge(survey_of(rng, receiver, [sender]), Judging(limit_dbm=LIMIT_DBM, confidence_pct=confidence_pct))
    seen = air.judge_windows(np.array([low]), np.array([low + LINK_HZ]))
    true = sender.level_in(low, low + LINK_HZ)
    return Outcome(Verdict(int(seen.verdict[0])), true, float(seen.level_dbm[0]), float(seen.u_db[0]))


def one_slice(
    rng: np.random.Generator, receiver: Receiver, sendings: list[Sending], level_dbm: float, confidence_pct: float
) -> Air:
    """Several senders of that level, half a megahertz or more apart."""
    places = LOW_HZ + 0.6e6 + (np.arange(len(sendings)) + rng.random()) * (SPAN_HZ - 1.2e6) / (len(sendings) + 1)
    senders = [
        sending(rng, receiver.sweeps, float(at), level_dbm) for sending, at in zip(sendings, places, strict=True)
    ]
    return judge(survey_of(rng, receiver, senders), Judging(limit_dbm=LIMIT_DBM, confidence_pct=confidence_pct))


def displayed(rng: np.random.Generator, receiver: Receiver, sending: Sending, side: float) -> Outcome:
    """A sender in the middle of a window, shown ``side`` standard uncertainties above the limit: level and u as they
    are told, found in a few rounds with the same noise. Beside a floor near the limit there is no such level.
    """
    seed, level = rng.integers(2**32), LIMIT_DBM + side * BUDGET_U_DB
    for _ in range(ROUNDS):
        twin = np.random.default_rng(seed)
        seen = one_window(twin, receiver, sending, level, 95.0, centred=True)
        if abs(seen.told_sigmas - side) < TOLD_AS_ASKED:
            break
        level = max(LOWEST_DBM, level + LIMIT_DBM + side * seen.u_db - seen.level_dbm)
    return seen


def nominal(rng: np.random.Generator, receiver: Receiver, sending: Sending, side: float) -> Outcome:
    """The same with a true level ``side`` times the budget's standard uncertainty above the limit: what noise, coarse
    steps and few sweeps add to that is not allowed for.
    """
    return one_window(rng, receiver, sending, LIMIT_DBM + side * BUDGET_U_DB, 95.0, centred=True)


NOISES = ("absolute", "absolute, with a reference", "relative", "relative, with a reference")


def noise_alone(rng: np.random.Generator, receiver: Receiver, kind: str) -> Air:
    """Nothing but noise, with a limit near or far from it."""
    survey = survey_of(rng, receiver, [])
    shorter = replace(receiver, sweeps=min(receiver.sweeps, int(rng.choice([1, 5, 20]))), drift_db=None)
    reference = survey_of(rng, shorter, []) if "reference" in kind else None
    if kind.startswith("relative"):
        above = float(rng.choice([1.0, 2.0, 3.0, 6.0]))
        told = [None if one is None else _without_scale(one) for one in (survey, reference)]
        assert told[0] is not None
        return judge(told[0], Judging(limit_above_floor_db=above), reference=told[1])
    powers = 10 ** (survey.series[0].levels_db.astype(float) / 10)
    in_link = 10 * np.log10(powers.mean() * LINK_HZ / receiver.rbw_hz)
    limit = float(in_link + rng.choice([-6.0, -3.0, -1.0, 0.0, 1.0, 3.0]))
    return judge(survey, Judging(limit_dbm=limit), reference=reference)


def _without_scale(survey: Survey) -> Survey:
    return Survey(tuple(replace(series, unit=LevelUnit.DB) for series in survey.series))


def television(rng: np.random.Generator, receiver: Receiver) -> Air:
    """A channel of television with notches dug by a second path, well above the floor and below the limit."""
    wide = replace(receiver, low_hz=receiver.low_hz - SPAN_HZ, bins=3 * (receiver.bins - 1) + 1)
    wide = replace(wide, gain_db=float(rng.uniform(-5, 5)), floor_db=None, drift_db=None)
    above = wide.noise_dbm_hz + 10 * np.log10(7.6e6) + rng.uniform(12, 25)
    station = Sender(
        "television", LOW_HZ + SPAN_HZ / 2, above, 7.607e6, notch=(0.85, float(rng.uniform(0.2e-6, 0.6e-6)))
    )
    limit = above + 10.0
    raster = [Channel(str(n), LOW_HZ + (n - 22) * SPAN_HZ, LOW_HZ + (n - 21) * SPAN_HZ) for n in (21, 22, 23)]
    return judge(survey_of(rng, wide, [station]), Judging(limit_dbm=float(limit)), raster=raster)
