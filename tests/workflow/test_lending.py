"""A shop's bookings through the real files, step by step beside a plain calendar that counts pieces on days."""

from __future__ import annotations

import random
from collections import Counter
from datetime import date, timedelta
from pathlib import Path

import pytest

from fallow.errors import UsageError
from fallow.show.link import Link
from fallow.showfile.kinds import LINKS
from fallow.workflow.lending import Days, book, give_back, stock_of
from fallow.workflow.library import Library, open_library
from fallow.workflow.show import Desk, change_settings, new_show

START = date(2026, 12, 28)  # over the end of a year
THERE = {"hand": 9, "ear": 4}
SPAN = [START + timedelta(n) for n in range(8)]
BY_HAND = "by hand;hand;2;Fair;2026-12-30;2026-12-31;\N{SNOWMAN}\r\n"
Page = dict[date, Counter[str]]


@pytest.fixture
def library(tmp_path: Path) -> Library:
    folder = tmp_path / "library"
    folder.mkdir()
    (folder / "stock.csv").write_text("equipment,count\nhand,9\near,4\n", encoding="utf-8")
    text = "remark;equipment;count;show;from;until;weather\r\n" + BY_HAND
    (folder / "out.csv").write_bytes(text.encode())
    return open_library(folder)


def show_in(folder: Path, name: str | None) -> Desk:
    folder.mkdir()
    desk = Desk(new_show(folder / "show", [] if name is None else [f"name={name}"], Desk(who="Kim")), "Kim")
    set_links(desk, Counter())
    return desk


def set_links(desk: Desk, wanted: Counter[str]) -> None:
    with desk.writing() as show, desk.change(show, "links") as change:
        change.drop(LINKS, *(link.name for link in show.all(LINKS)))
        change.put(LINKS, *(Link(f"{name} {n}", name, "") for name in wanted for n in range(wanted[name])))


def days_free(pages: list[Page], but: int, wanted: Counter[str], span: list[date]) -> bool:
    """Whether all of it is there on each day, day by day and piece by piece."""
    for day in span:
        out = Counter({"hand": 2}) if "2026-12-30" <= day.isoformat() <= "2026-12-31" else Counter()
        for number, page in enumerate(pages):
            if number != but:
                out += page.get(day, Counter())
        if any(wanted[name] + out[name] > count for name, count in THERE.items()):
            return False
    return True


@pytest.mark.parametrize("seed", [1, 2])
def test_a_week_of_five_shows_is_that_of_a_calendar(library: Library, tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    names = [None, None, "Gala", "Gala", "Trio"]  # two files called show, and two shows called Gala
    desks = [show_in(tmp_path / f"desk {n}", name) for n, name in enumerate(names)]
    pages: list[Page] = [{} for _ in desks]
    refusals = 0
    for _ in range(40):
        number = rng.randrange(len(desks))
        desk, page = desks[number], pages[number]
        first, last = sorted(rng.choices(range(len(SPAN)), k=2))
        span = SPAN[first : last + 1]
        if rng.random() < 0.7:
            wanted = Counter({"hand": rng.randint(1, 4), "ear": rng.randint(0, 2)})
            set_links(desk, wanted)
            also = rng.random() < 0.4
            fits = days_free(pages, number, wanted, span)
            refusals += not fits
            if fits:
                book(library, Days(span[0], span[-1], also), desk)
                pages[number] = {**(page if also else {}), **dict.fromkeys(span, wanted)}
            else:
                with pytest.raises(UsageError, match="the stock does not have it"):
                    book(library, Days(span[0], span[-1], also), desk)
        else:
            until = rng.choice([None, span[0]])
            give_back(library, desk, until)
            pages[number] = {day: out for day, out in page.items() if until is not None and day <= until}
        for day in SPAN:
            out = sum((page.get(day, Counter()) for page in pages), Counter[str]())
            out += Counter({"hand": 2}) if "2026-12-30" <= day.isoformat() <= "2026-12-31" else Counter()
            found = stock_of(library, day, day)
            assert {name: count - out[name] for name, count in THERE.items()} == dict(found.free)
            assert found.is_sound
        assert BY_HAND.encode() in library.out.read_bytes()
    assert refusals > 3


def test_a_named_copy_and_its_model_are_two_shows(library: Library, tmp_path: Path) -> None:
    """A show made from a copy of last year's is another one as soon as it has a name that the other never had."""
    model = show_in(tmp_path / "model", "Model")
    set_links(model, Counter({"hand": 2}))
    made = []
    for name in ("One", "Two"):
        path = tmp_path / f"{name}.fallow"
        assert model.path is not None
        path.write_bytes(Path(model.path).read_bytes())
        made.append(Desk(path, "Kim"))
        change_settings([f"name={name}"], made[-1])
    for desk in made:
        book(library, Days(START, START), desk)
    assert [one.show for one in stock_of(library, START, START).bookings] == ["Fair", "One", "Two"]
    give_back(library, made[0])
    assert [one.show for one in stock_of(library, START, START).bookings] == ["Fair", "Two"]
