"""Bookings and returns. Truth: a plain calendar that writes down each piece on each day."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.errors import UsageError
from fallow.show.lending import Borrower, Wish, booked, named_pieces, returned, told_pieces
from fallow.show.stock import Booking, Holding

START = date(2026, 2, 26)  # over the end of a month
HANDS = tuple(f"A{n}" for n in range(1, 7))
STOCK = (Holding("hand", 6, HANDS), Holding("ear", 3))
SHOWS = [Borrower(name, id_, frozenset((name,)), is_named=True) for name, id_ in
         (("gala", "1"), ("gala", "2"), ("fair", "3"), ("trio", "4"), ("choir", "5"))]  # fmt: skip
day = st.integers(0, 6)
step = st.tuples(
    st.sampled_from(["book", "return", "end"]), st.integers(0, 4), st.integers(0, 4), st.integers(0, 2), day, day,
    st.sets(st.sampled_from(HANDS), max_size=2),
)  # fmt: skip


class Calendar:
    """For each show, day by day: how many of what, and which named pieces."""

    def __init__(self) -> None:
        self.pages: dict[int, dict[date, tuple[Counter[str], frozenset[str]]]] = {n: {} for n in range(len(SHOWS))}

    def may_book(self, who: int, wanted: Counter[str], span: list[date], named: frozenset[str]) -> bool:
        if len(named) > wanted["hand"]:
            return False
        for at in span:
            others = [page[at] for other, page in self.pages.items() if other != who and at in page]
            counts = sum((count for count, _ in others), Counter[str]())
            if any(wanted[one.equipment] + counts[one.equipment] > one.count for one in STOCK):
                return False
            if any(named & held for _, held in others):
                return False
        return True


def page_of(rows: list[Booking]) -> dict[date, tuple[Counter[str], frozenset[str]]]:
    found: dict[date, tuple[Counter[str], frozenset[str]]] = {}
    for row in rows:
        at = row.first
        while at <= row.last:
            counts, named = found.get(at, (Counter(), frozenset()))
            found[at] = (counts + Counter({row.equipment: row.count}), named | {*row.serials})
            at += timedelta(1)
    return found


@settings(max_examples=150, deadline=None)
@given(st.lists(step, max_size=25))
def test_a_history_of_bookings_and_returns_is_that_of_a_calendar(steps: list[tuple[object, ...]]) -> None:
    rows: list[Booking] = []
    calendar = Calendar()
    for what, who, hands, ears, one, other, named in steps:
        assert isinstance(who, int)
        borrower = SHOWS[who]
        own = [row for row in rows if borrower.has(row)]
        others = [row for row in rows if not borrower.has(row)]
        span = [START + timedelta(n) for n in range(min(one, other), max(one, other) + 1)]  # type: ignore[call-overload] # drawn as whole numbers
        if what == "book":
            wanted = Counter({name: count for name, count in (("hand", hands), ("ear", ears)) if count})
            pieces = frozenset(named) if wanted["hand"] else frozenset()  # type: ignore[call-overload] # drawn as a set
            wish = Wish(wanted, span[0], span[-1], {"hand": tuple(sorted(pieces))} if wanted["hand"] else {})
            if calendar.may_book(who, wanted, span, pieces):
                rows = [*others, *booked(wish, borrower, STOCK, others, own)]
                calendar.pages[who] = {at: (wanted, pieces) for at in span if wanted}
            else:
                with pytest.raises(UsageError):
                    booked(wish, borrower, STOCK, others, own)
        else:
            last = None if what == "return" else span[0]
            rows = [*others, *(part for one in own for part in returned(one, last))]
            page = calendar.pages[who]
            calendar.pages[who] = {at: held for at, held in page.items() if last is not None and at <= last}
        for number, show in enumerate(SHOWS):
            assert page_of([row for row in rows if show.has(row)]) == calendar.pages[number]


def booking(show: str, show_id: str) -> Booking:
    return Booking("hand", 1, show, START, START, show_id=show_id)


@pytest.mark.parametrize(
    ("show", "show_id", "is_named", "has", "may_have"),
    [
        ("gala", "1", True, True, False),
        ("gala", "2", True, False, False),  # another show of that name
        ("gala", "", True, False, True),  # by hand, or from before shows were told apart
        ("fair", "", True, False, False),
        ("old gala", "1", True, False, True),  # we were called that once: renamed, or made from a copy
        ("fair", "1", True, False, False),  # a copy that was given a name which we never had
        ("fair", "1", False, False, True),  # our name is only that of the file
    ],
)
def test_whose_a_booking_is(show: str, show_id: str, is_named: bool, has: bool, may_have: bool) -> None:
    ours = Borrower("gala", "1", frozenset(("gala", "old gala")), is_named)
    assert (ours.has(booking(show, show_id)), ours.may_have(booking(show, show_id))) == (has, may_have)


def test_a_show_without_any_history_has_no_booking_for_sure() -> None:
    assert not Borrower("gala", "", frozenset(("gala",)), is_named=True).has(booking("gala", ""))


def test_pieces_that_were_named_stay_named_as_long_as_nothing_else_is_said() -> None:
    gala = SHOWS[0]
    own = [Booking("hand", 3, "gala", START, START, ("A1", "A2"), "1")]
    wish = Wish({"hand": 4}, START, START + timedelta(1))
    assert booked(wish, gala, STOCK, (), own)[0].serials == ("A1", "A2")
    assert booked(Wish(wish.wanted, START, START, {"hand": ()}), gala, STOCK, (), own)[0].serials == ()
    other = Booking("hand", 1, "fair", START + timedelta(1), START + timedelta(1), ("a2",), "3")
    with pytest.raises(UsageError, match="hand A2: out for fair, 2026-02-27"):
        booked(wish, gala, STOCK, [other], own)
    with pytest.raises(UsageError, match="2 pieces of hand are named, and 1 wanted"):
        booked(Wish({"hand": 1}, START, START), gala, STOCK, (), own)


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 3), st.sets(st.sampled_from(HANDS), max_size=4), st.sets(st.sampled_from(HANDS)), day, day, day)
def test_pieces_that_come_back_are_gone_from_the_calendar_and_no_others(
    unnamed: int, named: set[str], back: set[str], one: int, other: int, end: int
) -> None:
    first, last = START + timedelta(min(one, other)), START + timedelta(max(one, other))
    out = Booking("hand", unnamed + len(named), "gala", first, last, tuple(sorted(named)), "1")
    for until in (None, START + timedelta(end)):
        expected = {}
        for at, (counts, held) in page_of([out]).items():
            gone = frozenset() if until is not None and at <= until else held & back
            expected[at] = (Counter({"hand": counts["hand"] - len(gone)}), held - gone)
        stays = returned(out, until, back)
        assert all(part.count for part in stays) or stays == (out,)
        found = page_of(list(stays))
        nothing = (Counter[str](), frozenset[str]())
        for at in expected:
            counts, held = found.get(at, nothing)
            assert (counts["hand"], held) == (expected[at][0]["hand"], expected[at][1])
        assert found.keys() <= expected.keys()


NAMED = (Holding("hand", 9, ("A1", "A2", "A3", "B07", "B08")), Holding("ear", 4, ("1", "2", "3", "B07")))


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["A1"], {"hand": ("A1",)}),
        (["a3", "A1..A2"], {"hand": ("A3", "A1", "A2")}),
        (["A1..3"], {"hand": ("A1", "A2", "A3")}),
        (["B08", "ear=1..2;B07"], {"hand": ("B08",), "ear": ("1", "2", "B07")}),
        (["hand=b07..B08", "hand=A1"], {"hand": ("B07", "B08", "A1")}),
        (["A1;A1", "A1"], {"hand": ("A1",)}),
        (["hand="], {"hand": ()}),
        ([], {}),
    ],
)
def test_pieces_are_named_as_people_type_them(words: list[str], found: dict[str, tuple[str, ...]]) -> None:
    assert named_pieces(words, NAMED, ("hand", "ear")) == found


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("B07", "'B07' may be of hand or ear"),
        ("A9", "the stock has no piece 'A9' of hand and ear"),
        ("A1..A4", "the stock has no piece 'A1..A4'"),
        ("A3..A1", "no piece"),
        ("A1..A99999999999", "no piece"),
        ("A1..B08", "no piece"),
        ("cue=A1", "no piece 'cue=A1'"),
    ],
)
def test_what_is_no_piece_is_told(word: str, said: str) -> None:
    with pytest.raises(UsageError, match=said.replace("(", r"\(")):
        named_pieces([word], NAMED, ("hand", "ear"))


def test_a_piece_of_a_type_that_the_show_has_not_is_told_with_its_type() -> None:
    with pytest.raises(UsageError, match="no piece 'A1' of ear; it is a hand"):
        named_pieces(["A1"], NAMED, ("ear",))
    with pytest.raises(UsageError, match="pieces of hand are named, and no link"):
        booked(Wish({"ear": 1}, START, START, {"hand": ("A1",)}), SHOWS[0], NAMED, (), ())


@pytest.mark.parametrize(
    ("serials", "told"),
    [
        (["A2", "A1", "A10", "A3"], "A1..A3, A10"),
        (["x", "A1", "A2"], "A1, A2, x"),
        (["B07", "B08", "B09"], "B07..B09"),
        ([], ""),
    ],
)
def test_pieces_in_a_row_are_told_as_a_range(serials: list[str], told: str) -> None:
    assert told_pieces(serials) == told
