"""Everything that forbids *clean*, whatever the level."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.statistics import normal_quantile, thermal_noise_dbm
from fallow.spectrum.verdicts.evidence import Evidence, Flag, Rule
from fallow.spectrum.verdicts.periods import Findings, Windows, gamma_quantile_db
from fallow.spectrum.verdicts.window_levels import WIDEST_STEP, Geometry, any_bin

__all__ = ["FLOOR_RISE_DB", "RAISED_DB", "doubts", "missing_db"]

RAISED_DB = 2.0  # above the floor of the reference: the contract of this project
FLOOR_RISE_DB = 3.0  # of a survey's floor above its ordinary one; common practice (the floor rises by 3 to 15 dB)
FEWEST_SHARE = 0.5  # of the sweeps must have measured a window, and of those each bin of it. Design decision


def doubts(
    evidence: Evidence, rule: Rule, windows: Windows, found: Findings, noise_only: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Everything that forbids *clean*, whatever the level."""
    heard, geometry = evidence.heard, windows.geometry
    flags = np.zeros(geometry.first.size, dtype=np.int64)
    flags[noise_only] |= Flag.NOISE
    thin = _fewest_looks(evidence, geometry) < FEWEST_SHARE * found.sweeps
    flags[(geometry.covered < 1.0 - 1e-6) | thin] |= Flag.HOLE
    flags[found.sweeps < FEWEST_SHARE * heard.n_sweeps] |= Flag.SELDOM
    flags[geometry.step_hz > WIDEST_STEP * heard.rbw_hz * (1 + 1e-9)] |= Flag.COARSE
    flags[any_bin(heard.rejected > 0, geometry)] |= Flag.REJECTED
    flags[any_bin(heard.own_bins, geometry)] |= Flag.OWN_CARRIER
    flags[~_would_hear(evidence, rule, windows, found)] |= Flag.DEAF
    if evidence.like_a_filter:
        flags |= Flag.OWN_FILTER
    if evidence.overloaded is not None:
        flags[any_bin(evidence.overloaded, geometry)] |= Flag.OVERLOAD
    if rule.limit_dbm is None:
        flags[any_bin(evidence.own_lines, geometry)] |= Flag.OWN_LINE
        flags[any_bin(evidence.suspect_lines, geometry)] |= Flag.SUSPECT_LINE
        flags |= _raised(evidence, rule, windows, found)
        return flags
    level = windows.without_lift_db(found.whole_most)
    at_limit = level + normal_quantile(rule.confidence) * rule.u_db >= windows.limit_db
    flags[at_limit & any_bin(evidence.own_lines, geometry)] |= Flag.OWN_LINE
    flags[at_limit & any_bin(evidence.suspect_lines, geometry)] |= Flag.SUSPECT_LINE
    flags[_below_ktb(evidence, geometry)] |= Flag.BELOW_KTB
    if heard.noise.peak_of > 1:
        flags[at_limit] |= Flag.PEAKS
    return flags


def missing_db(evidence: Evidence, geometry: Geometry, found: Findings) -> NDArray[np.float64]:
    """By how much a steady carrier in a window may be stronger than its mean power over the sweeps, dB, shape
    (window,): a bin without a valid level counts as none in sweeps that measured at least nine tenths of the window.
    """
    looks = np.maximum(1, _fewest_looks(evidence, geometry))
    return np.asarray(10.0 * np.log10(np.maximum(1.0, found.sweeps / looks)), dtype=np.float64)


def _fewest_looks(evidence: Evidence, geometry: Geometry) -> NDArray[np.int64]:
    """How many sweeps measured the bin of a window that the fewest did, shape (window,); our own carriers aside."""
    heard = evidence.heard
    looks = np.append(np.where(heard.own_bins, heard.n_sweeps, heard.valid_sweeps), heard.n_sweeps)
    ends = np.stack([geometry.first, np.maximum(geometry.last, geometry.first + 1)], axis=1).ravel()
    return np.asarray(np.minimum.reduceat(looks, np.minimum(ends, heard.axis.n))[::2])


def _would_hear(evidence: Evidence, rule: Rule, windows: Windows, found: Findings) -> NDArray[np.bool_]:
    """Whether a signal at the limit could be told from noise: floor, its scatter and its uncertainty stay below."""
    samples = windows.shape * np.maximum(1.0, found.sweeps / evidence.heard.alike_sweeps)
    apart = gamma_quantile_db(rule.confidence, samples) - gamma_quantile_db(1.0 - rule.confidence, samples)
    common = rule.u_db if rule.limit_dbm is not None else 0.0
    uncertain = normal_quantile(rule.confidence) * np.hypot(common, evidence.floor.u_db)
    lifted = 10.0 ** (windows.lift_db / 10.0)  # the noise that is shown hides more than the noise that is there
    apart = 10.0 * np.log10(1.0 + lifted * (10.0 ** (apart / 10.0) - 1.0))
    return np.asarray(windows.noise_db - windows.lift_db + np.hypot(uncertain, apart) < windows.limit_db)


def _raised(evidence: Evidence, rule: Rule, windows: Windows, found: Findings) -> NDArray[np.int64]:
    flags = np.zeros(windows.noise_db.size, dtype=np.int64)
    if evidence.from_reference:
        looks = np.maximum(1.0, found.sweeps / evidence.heard.alike_sweeps)
        scatter = gamma_quantile_db(rule.confidence, windows.shape * looks)
        flags[found.whole_least > windows.base_db + RAISED_DB + np.maximum(scatter, 0.0)] |= Flag.ABOVE_REFERENCE
    flags[windows.noise_db > windows.ordinary_db + FLOOR_RISE_DB] |= Flag.FLOOR_RAISED
    return flags


def _below_ktb(evidence: Evidence, geometry: Geometry) -> NDArray[np.bool_]:
    """Whether the floor at the instrument's end of the antenna lies below a resistor's noise at 290 K."""
    heard = evidence.heard
    middle = np.minimum((geometry.first + geometry.last) // 2, heard.axis.n - 1)
    at_instrument = evidence.floor.noise_db[middle] - heard.noise.least_bias_db + heard.antenna_gain_db[middle]
    return np.asarray(at_instrument < thermal_noise_dbm(heard.rbw_hz))
