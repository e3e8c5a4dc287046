"""How many pieces are free, and what is promised twice. Truth: each day counted by itself."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from fallow.show.stock import Booking, Clash, Holding, clashes, excesses, free_of

START = date(2026, 6, 28)  # so that some days are in July
HOLDINGS = (Holding("hand", 8, ("A1", "A2", "A3")), Holding("ear", 3))
days = st.integers(0, 12)
pieces = st.lists(st.sampled_from(["A1", "a1 ", "A2", "A3"]), max_size=2, unique_by=lambda one: one.strip().lower())
bookings = st.lists(
    st.tuples(
        st.sampled_from(["hand", "ear"]), st.integers(0, 5), st.sampled_from(["gala", "other"]), days, days, pieces
    ),
    max_size=6,
)
Drawn = list[tuple[str, int, str, int, int, list[str]]]


def made(rows: Drawn) -> list[Booking]:
    return [
        Booking(name, count, show, START + timedelta(min(a, b)), START + timedelta(max(a, b)), tuple(serials))
        for name, count, show, a, b, serials in rows
    ]


def each_day(one: int, other: int) -> list[date]:
    return [START + timedelta(n) for n in range(min(one, other), max(one, other) + 1)]


@given(bookings, days, days)
def test_the_fullest_day_counts(rows: Drawn, one: int, other: int) -> None:
    out, span = made(rows), each_day(one, other)
    found = free_of(HOLDINGS, out, span[0], span[-1])
    over = {excess.equipment: excess for excess in excesses(HOLDINGS, out, span[0], span[-1])}
    for holding in HOLDINGS:
        of_type = [one for one in out if one.equipment == holding.equipment]
        counts = [sum(one.count for one in of_type if one.first <= day <= one.last) for day in span]
        assert found[holding.equipment] == max(holding.count - max(counts), 0)
        bad = [day for day, count in zip(span, counts, strict=True) if count > holding.count]
        assert (holding.equipment in over) == bool(bad)
        if bad:
            excess = over[holding.equipment]
            assert excess.over == max(counts) - holding.count
            assert excess.days == len(bad)
            assert excess.day == span[counts.index(max(counts))]
            assert list(excess.bookings) == [one for one in of_type if one.first <= excess.day <= one.last]


@given(bookings, days, days)
def test_a_piece_that_is_out_twice_is_found(rows: Drawn, one: int, other: int) -> None:
    out, span = made(rows), each_day(one, other)
    expected = []
    for at, later in enumerate(out):
        for serial in later.serials:
            for sooner in out[:at]:
                same = sooner.equipment == later.equipment and serial.strip().lower() in [
                    held.strip().lower() for held in sooner.serials
                ]
                common = [
                    day for day in span if sooner.first <= day <= sooner.last and later.first <= day <= later.last
                ]
                if same and common:
                    expected.append(Clash(later.equipment, serial, common[0], (sooner, later)))
    key = repr
    assert sorted(clashes(out, span[0], span[-1]), key=key) == sorted(expected, key=key)
