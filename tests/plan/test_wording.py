"""Distances are said to the hertz, long lists are cut."""

from __future__ import annotations

import pytest

from fallow.plan.wording import counted, exact_width, few, worded_list


@pytest.mark.parametrize(
    ("width_hz", "text"),
    [
        (0, "0 Hz"),
        (1, "1 Hz"),
        (350_000, "350 kHz"),
        (99_999, "99.999 kHz"),
        (100_000_000, "100 MHz"),
        (1_500_001, "1.500001 MHz"),
    ],
)
def test_a_width_is_exact(width_hz, text):
    assert exact_width(width_hz) == text


def test_lists_name_the_first_and_count_the_rest():
    assert worded_list(["a"]) == "a"
    assert worded_list(["a", "b", "c"], "or") == "a, b or c"
    assert few(list("abcdef")) == "a, b, c, d, e and f"
    assert few(list("abcdefgh")) == "a, b, c, d, e and 3 more"


def test_numbers_agree_with_their_nouns():
    assert [counted(n, "place") for n in (0, 1, 2911)] == ["0 places", "1 place", "2,911 places"]
