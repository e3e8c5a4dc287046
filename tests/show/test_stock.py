"""How many pieces are free. Truth: each day counted by itself."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from fallow.show.stock import Booking, Holding, free_of

START = date(2026, 7, 1)
days = st.integers(0, 12)
bookings = st.lists(
    st.tuples(st.sampled_from(["hand", "ear"]), st.integers(0, 5), st.sampled_from(["gala", "other"]), days, days),
    max_size=6,
)


@given(bookings, days, days)
def test_the_fullest_day_counts(rows: list[tuple[str, int, str, int, int]], one: int, other: int) -> None:
    out = [
        Booking(name, count, show, START + timedelta(min(a, b)), START + timedelta(max(a, b)))
        for name, count, show, a, b in rows
    ]
    first, last = START + timedelta(min(one, other)), START + timedelta(max(one, other))
    span = [first + timedelta(n) for n in range((last - first).days + 1)]
    for but in (None, "gala"):
        found = free_of([Holding("hand", 8), Holding("ear", 3)], out, first, last, but)
        for name, there in (("hand", 8), ("ear", 3)):
            counted = [one for one in out if one.equipment == name and one.show != but]
            worst = max(sum(one.count for one in counted if one.first <= day <= one.last) for day in span)
            assert found[name] == there - worst
