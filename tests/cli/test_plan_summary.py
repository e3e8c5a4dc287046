"""The first line of a plan in right grammar."""

from __future__ import annotations

import pytest

from fallow.cli.screens.plan import _summary


@pytest.mark.parametrize(
    ("counts", "told"),
    [
        ((1, 1, 0), "1 of 1 link has a frequency, 0 conflicts"),
        ((2, 2, 1), "2 of 2 links have a frequency, 1 conflict"),
        ((1, 3, 2), "1 of 3 links have a frequency, 2 conflicts"),
    ],
)
def test_one_and_many(counts: tuple[int, int, int], told: str) -> None:
    assert _summary(*counts) == told
