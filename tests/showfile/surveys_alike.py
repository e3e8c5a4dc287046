"""Two surveys are the same: every field of every series, levels to the last bit."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from fallow.spectrum.sweep import Series, Survey


def assert_same(one: Survey, other: Survey) -> None:
    """Every field of every series, levels to the last bit."""
    assert one.notes == other.notes
    assert len(one.series) == len(other.series)
    for left, right in zip(one.series, other.series, strict=True):
        assert left.axis == right.axis
        for field in fields(Series):
            if field.name not in ("axis", "levels_db", "times_s"):
                assert getattr(left, field.name) == getattr(right, field.name), field.name
        assert (left.times_s is None) == (right.times_s is None)
        if left.times_s is not None and right.times_s is not None:
            np.testing.assert_array_equal(left.times_s, right.times_s)
        holes = np.isnan(left.levels_db)
        np.testing.assert_array_equal(holes, np.isnan(right.levels_db))
        assert left.levels_db.shape == right.levels_db.shape
        np.testing.assert_array_equal(left.levels_db[~holes].view(np.uint32), right.levels_db[~holes].view(np.uint32))
