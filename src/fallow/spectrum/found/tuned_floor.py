"""A floor that a tuner's steps lift by a few decibels each: followed piece by piece, where the tuning is known.

A sweep that is stitched from tunings of a receiver may change its level at each of their edges. What is raised over a
whole piece and changes sharply at the edges is the receiver. What is on the air begins anywhere and leaves a part of
the piece lower; so a piece that is filled on from one with something in it, without a step between, is not followed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.own_patterns import LEAST_CHANGE_DB, Tuning
from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.noise_floor import Floor
from fallow.spectrum.statistics import noise_quantile_db

__all__ = ["with_tuning_steps"]

Values = NDArray[np.float64]
WIDEST_HZ = 4e6  # of a piece; stations of mobile networks are 5 MHz wide and wider, those of television 6
PARTS = 4  # of a piece, whose middles are held against each other
FEWEST_BINS = 4 * PARTS  # of a piece, or it is one part
EDGE_BINS = 1  # at both ends of a piece, where the instrument may be between its tunings
FLAT_DB = 1.5  # within a piece; common practice: a receiver's filter is flat to a decibel or so
LUCK_SIGMAS = 4.0  # of the middle of a part
HIGHEST_STEP_DB = 8.0  # above the ordinary floor; common practice: gains step by up to 6 dB
MEDIAN_SD = 1.2533  # of normal values, against that of a mean: √(π/2)


def with_tuning_steps(heard: Heard, floor: Floor, tuning: Tuning) -> Floor:
    """The floor with the pieces raised that the tuning raises as wholes; nowhere lower than it was. Pieces that a
    station may fill are left as they are.
    """
    if tuning.size_db < LEAST_CHANGE_DB or tuning.step_hz > WIDEST_HZ:
        return floor
    middle_db = float(noise_quantile_db(0.5, heard.noise.shape * heard.looks))
    above_db = heard.mean_db - floor.ordinary_db - middle_db  # the floor that was followed slopes between the steps
    pieces = _pieces(heard, tuning)
    parts = [_middles(above_db[piece]) for piece in pieces]
    lift = np.zeros(heard.axis.n)
    for piece, lift_db in zip(pieces, _lifts(parts, LUCK_SIGMAS * _part_sd_db(heard, tuning)), strict=True):
        lift[piece] = lift_db
    beside = np.pad(lift, EDGE_BINS, mode="edge")
    highest = np.lib.stride_tricks.sliding_window_view(beside, 2 * EDGE_BINS + 1).max(axis=1)
    raised = np.maximum(floor.noise_db, floor.ordinary_db + highest)
    return replace(floor, noise_db=raised, ceiling_db=np.maximum(floor.ceiling_db, raised))


def _pieces(heard: Heard, tuning: Tuning) -> list[slice]:
    """The bins of each piece between two edges of the tuning."""
    step_hz, bins = float(heard.axis.step_hz), heard.axis.n
    lag, begin = tuning.step_hz / step_hz, (tuning.edge_hz - float(heard.axis.centres_hz[0])) / step_hz
    inner = np.round(np.arange(begin % lag, bins, lag)).astype(int)
    edges = np.unique(np.concatenate([[0], inner[(inner > 0) & (inner < bins)], [bins]]))
    return [slice(int(first), int(last)) for first, last in pairwise(edges)]


def _middles(above_db: Values) -> Values:
    """The middle levels of the parts of a piece, without its rims; empty where nothing was measured."""
    inner = above_db[EDGE_BINS:-EDGE_BINS] if above_db.size >= FEWEST_BINS else above_db
    parts = np.array_split(inner, PARTS if above_db.size >= FEWEST_BINS else 1)
    known = [part[np.isfinite(part)] for part in parts]
    return np.array([float(np.median(part)) for part in known if part.size])


def _part_sd_db(heard: Heard, tuning: Tuning) -> float:
    """Standard deviation of the middle level of a part, dB."""
    bins = tuning.step_hz / PARTS / max(heard.alike_hz, float(heard.axis.step_hz))
    return MEDIAN_SD * heard.noise.sd_db() / math.sqrt(max(1.0, bins) * heard.looks)


def _lifts(parts: Sequence[Values], luck_db: float) -> list[float]:
    """By how much each piece is raised, dB: a flat one by its middle; one that holds something by its lowest part, and
    so those that are filled on from it.
    """
    flat = [part.size == 0 or float(np.ptp(part)) <= FLAT_DB + luck_db for part in parts]
    followed = list(flat)
    for order in (range(1, len(parts)), range(len(parts) - 2, -1, -1)):
        for k in order:
            beside = k - 1 if order.step > 0 else k + 1
            followed[k] = followed[k] and (followed[beside] or _stepped(parts[beside], parts[k], order.step, luck_db))
    return [
        _lift(float(np.median(part)) if whole else 0.0 if even else float(part.min())) if part.size else 0.0
        for part, whole, even in zip(parts, followed, flat, strict=True)
    ]


def _stepped(beside: Values, part: Values, direction: int, luck_db: float) -> bool:
    """Whether the level changes sharply from one piece to the next."""
    if beside.size == 0 or part.size == 0:
        return True
    near, far = (beside[-1], part[0]) if direction > 0 else (beside[0], part[-1])
    return bool(abs(near - far) > LEAST_CHANGE_DB + luck_db)


def _lift(above_db: float) -> float:
    return above_db if 0.0 < above_db <= HIGHEST_STEP_DB else 0.0
