"""The ledgers' plain twin: every carrier and every choice of makers, one after the other, in milliwatts.

It takes the levels of single carriers as a function, knows no table and no closed sum, and takes n⁴ steps.
"""

from __future__ import annotations

import math
from itertools import combinations, permutations

from plan.plain_audit import in_one_scene


def mw(dbm):
    return 10 ** (dbm / 10)


def dbm(power_mw):
    return 10 * math.log10(power_mw) if power_mw > 0 else -math.inf


def rejected_db(points, distance_hz):
    """Straight lines from (0, 0) through the points, constant beyond the last."""
    before = (0, 0.0)
    for point in points:
        if distance_hz <= point[0]:
            share = (distance_hz - before[0]) / (point[0] - before[0])
            return before[1] + share * (point[1] - before[1])
        before = point
    return before[1]


def unwanted_of(victim, everybody, level_dbm, points, iip3_dbm, mixing_db):
    """The unwanted levels [dBm] of one scene's carriers by kind: (kind, made in) → level.

    ``everybody``: carriers on with the victim, the victim not among them, as ``On`` of the audit's twin. ``level_dbm``:
    of a carrier at the victim. Products beyond the first point that rejects 80 dB count with that point's rejection.
    """
    last_hz, last_db = next((one for one in points if one[1] >= 80), points[-1])
    found = {
        ("neighbours", None): sum(
            mw(level_dbm(one) - rejected_db(points, abs(one.hz - victim.hz))) for one in everybody
        )
    }
    mixing = [one for one in everybody if one.mixes]
    for form, hz, terms, order, stronger_db in _products(mixing):
        distance_hz = abs(hz - victim.hz)
        lost_db = rejected_db(points, distance_hz) if distance_hz <= last_hz else last_db
        level = sum(k * level_dbm(one) for one, k in terms) - (order - 1) * iip3_dbm + stronger_db - lost_db
        key = (form, "receiver")
        found[key] = found.get(key, 0.0) + mw(level)
        (a, _), (b, _) = terms[:2]
        if form != "A+B-C" and a.ours and b.ours and a.area == b.area and distance_hz <= last_hz:
            times = 1 if form == "2A-B" else 2
            key = (form, "transmitters")
            level = level_dbm(b) - times * mixing_db(a) - lost_db
            found[key] = max(found.get(key, 0.0), mw(level))
    return {key: dbm(power) for key, power in found.items() if power > 0}


def _products(mixing):
    for a, b in permutations(mixing, 2):
        yield "2A-B", 2 * a.hz - b.hz, ((a, 2), (b, 1)), 3, 0.0
        yield "3A-2B", 3 * a.hz - 2 * b.hz, ((a, 3), (b, 2)), 5, 0.0
    for a, b in combinations(mixing, 2):
        for c in mixing:
            if c is not a and c is not b:
                yield "A+B-C", a.hz + b.hz - c.hz, ((a, 1), (b, 1), (c, 1)), 3, 20 * math.log10(2)


def scenes_of(victim, everybody):
    """For each scene in which the victim is on: the others that are on then."""
    names = {scene for one in everybody for scene in one.scenes} | {None}
    for scene in sorted(names, key=str):
        if not victim.scenes or scene in victim.scenes:
            yield scene, [one for one in everybody if one is not victim and (not one.scenes or scene in one.scenes)]


__all__ = ["in_one_scene", "rejected_db", "scenes_of", "unwanted_of"]
