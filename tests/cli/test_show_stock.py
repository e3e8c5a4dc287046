"""A rental shop's week: several shows and people on one stock. Nobody's rows are lost, nothing is promised twice.

Truth: what people wrote into the tables, counted by hand.
"""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., tuple[int, str, str]]
EQUIPMENT = (
    "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz\n"
    "hand A,microphone,471-479,25,200,400\near A,in-ear,511-519,25,200,400\n"
)
STOCK = "equipment,count,serials\nhand A,10,G1;G2;G3;G4;G5;G6;G7;G8;G9;G10\near A,5,\n"
OUT = "remark;equipment;count;show;from;until\nkeep me;ear A;1;By hand;2026-07-01;2026-07-31\n"


def answer(run: Run, *words: object, code: int = 0) -> dict[str, Any]:
    got, out, err = run("show", *words, "--json")
    assert got == code, err
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "library").mkdir()
    for name, text in (("equipment", EQUIPMENT), ("stock", STOCK), ("out", OUT)):
        (tmp_path / "library" / f"{name}.csv").write_text(text, encoding="utf-8")
    return tmp_path


def make_show(run: Run, path: str, hands: int = 10, ears: int = 0, day: str = "2026-07-18") -> None:
    Path(path).parent.mkdir(exist_ok=True)
    answer(run, "new", path, f"on={day}")
    change_links(run, path, hands, ears)


def change_links(run: Run, path: str, hands: int, ears: int = 0) -> None:
    rows = [f"vox {n},hand A\n" for n in range(hands)] + [f"ear {n},ear A\n" for n in range(ears)]
    Path("links.csv").write_text("link,equipment\n" + "".join(rows), encoding="utf-8")
    words = ("--links", "links.csv", "--equipment", "library/equipment.csv", "--replace")
    answer(run, "add", *words, "--show", path)


def refused(run: Run, *words: object) -> str:
    """What is said where a verb can't be done; the table of what is out stays as it is."""
    before = Path("library/out.csv").read_bytes()
    code, out, err = run("show", *words)
    assert (code, out) == (2, ""), out
    assert Path("library/out.csv").read_bytes() == before
    return err


def rows() -> list[dict[str, str]]:
    with Path("library/out.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream, delimiter=";"))


def test_two_productions_in_files_of_one_name_are_two(run: Run, shop: Path) -> None:
    make_show(run, "x/show.fallow", 6)
    make_show(run, "y/show.fallow", 6)
    answer(run, "stock", "--book", "--show", "x/show.fallow")
    said = refused(run, "stock", "--book", "--show", "y/show.fallow")
    assert "6 hand A wanted, 4 free (6 for show, 2026-07-18)" in said
    change_links(run, "y/show.fallow", 5, 6)
    said = refused(run, "stock", "--book", "--show", "y/show.fallow")
    assert "5 hand A wanted, 4 free (6 for show, 2026-07-18) and 6 ear A wanted, 4 free (1 for By hand, " in said
    change_links(run, "y/show.fallow", 4)
    made = answer(run, "stock", "--book", "--show", "y/show.fallow")
    assert [one["count"] for one in made["booked"]] == [4]
    assert any("another show is called show too" in note for note in made["notes"])
    found = answer(run, "stock", "--from", "2026-07-18", "--show", "x/show.fallow")
    assert found["stock"][0]["free"] == 0
    assert any("two shows are called show" in note for note in found["notes"])
    assert answer(run, "stock", "--return", "--show", "x/show.fallow")["returned"] == 1
    assert [(row["show"], row["count"]) for row in rows()] == [("By hand", "1"), ("show", "4")]
    assert answer(run, "stock", "--return", "--show", "x/show.fallow")["returned"] == 0
    assert shop.is_dir()


def test_a_copy_of_a_show_is_the_same_show(run: Run, shop: Path) -> None:
    make_show(run, "gala.fallow", 6)
    answer(run, "set", "name=Invented gala", "--show", "gala.fallow")
    answer(run, "stock", "--book", "--show", "gala.fallow")
    answer(run, "copy", "stick.fallow", "--show", "gala.fallow")
    change_links(run, "stick.fallow", 8)
    made = answer(run, "stock", "--book", "--show", "stick.fallow")
    assert [one["count"] for one in made["booked"]] == [8]
    assert [one["count"] for one in made["replaced"]] == [6]
    assert len(rows()) == 2
    assert shop.is_dir()


def test_a_show_that_was_called_otherwise_is_asked_about_once(run: Run, shop: Path) -> None:
    """It may be the same one under a new name, or another that was made from a copy of it."""
    make_show(run, "gala.fallow", 4)
    answer(run, "set", "name=Gala 1", "--show", "gala.fallow")
    answer(run, "stock", "--book", "--show", "gala.fallow")
    answer(run, "copy", "next.fallow", "--show", "gala.fallow")
    answer(run, "set", "name=Gala 2", "--show", "next.fallow")
    said = refused(run, "stock", "--book", "--show", "next.fallow")
    assert "these bookings may be of this show, Gala 2, or of another" in said
    assert "  4 hand A for Gala 1, 2026-07-18\n" in said
    assert "--ours" in said
    assert "--theirs" in said
    refused(run, "stock", "--return", "--show", "next.fallow")
    answer(run, "stock", "--book", "--theirs", "--show", "next.fallow")
    answer(run, "stock", "--book", "--until", "2026-07-19", "--show", "next.fallow")  # not asked again
    assert {row["show"]: row["until"] for row in rows()[1:]} == {"Gala 1": "2026-07-18", "Gala 2": "2026-07-19"}
    answer(run, "stock", "--book", "--ours", "--show", "next.fallow")
    assert [row["show"] for row in rows()[1:]] == ["Gala 2"]
    assert shop.is_dir()


def test_rows_that_say_no_show_file_are_asked_about(run: Run, shop: Path) -> None:
    """An older version wrote such rows, and people do."""
    with (shop / "library" / "out.csv").open("a", encoding="utf-8") as stream:
        stream.write("older;hand A;3;show;2026-07-18;2026-07-18\n")
    make_show(run, "show.fallow", 5)
    assert "3 hand A for show, 2026-07-18" in refused(run, "stock", "--book", "--show", "show.fallow")
    refused(run, "stock", "--return", "--show", "show.fallow")
    fit = answer(run, "fit", "--seconds", "0.2", "--show", "show.fallow")
    assert any("may be this show's own, and is counted as another's" in note for note in fit["notes"])
    answer(run, "stock", "--book", "--theirs", "--show", "show.fallow")
    assert [row["count"] for row in rows()] == ["1", "3", "5"]
    answer(run, "stock", "--return", "--show", "show.fallow")
    answer(run, "stock", "--book", "--ours", "--show", "show.fallow")
    assert [(row["remark"], row["count"]) for row in rows()] == [("keep me", "1"), ("older", "5")]


def test_columns_of_the_shop_stay_through_booking_and_return(run: Run, shop: Path) -> None:
    make_show(run, "show.fallow", 2, 1)
    answer(run, "stock", "--book")
    path = shop / "library" / "out.csv"
    head, by_hand, *own = path.read_text(encoding="utf-8").splitlines()
    assert head == "remark;equipment;count;show;from;until;show_id"
    assert by_hand == OUT.splitlines()[1]
    path.write_text("\n".join([head, f"van 2{own[0]}", by_hand, *own[1:]]) + "\n", encoding="utf-8")
    change_links(run, "show.fallow", 3, 2)
    answer(run, "stock", "--book", "--serials", "G3..G4")
    assert [(row["remark"], row["equipment"], row["count"]) for row in rows()] == [
        ("van 2", "hand A", "3"),
        ("keep me", "ear A", "1"),
        ("", "ear A", "2"),
    ]
    assert rows()[0]["serials"] == "G3;G4"
    answer(run, "stock", "--return")
    assert [(row["remark"], row["equipment"]) for row in rows()] == [("keep me", "ear A")]


def test_which_pieces_are_out_is_told(run: Run, shop: Path) -> None:
    make_show(run, "show.fallow", 5)
    made = answer(run, "stock", "--book", "--serials", "G1..G3", "g10")
    assert made["booked"][0]["serials"] == ["G1", "G2", "G3", "G10"]
    assert made["notes"] == ["1 of 5 hand A not named; which they are can be said with --serials"]
    (hand, _) = answer(run, "stock")["stock"]
    assert hand["serials_in"] == ["G4", "G5", "G6", "G7", "G8", "G9"]
    code, out, _ = run("show", "stock")
    assert code == 0
    assert "5 for show, 2026-07-18: G1..G3, G10 and 1 not" in " ".join(out.split())
    assert "not named as out: G4..G9" in " ".join(out.split())
    make_show(run, "other.fallow", 2)
    words = ("stock", "--book", "--show", "other.fallow", "--serials")
    assert "hand A G2: out for show, 2026-07-18" in refused(run, *words, "G2", "G4")
    assert "the stock has no piece 'G77' of hand A" in refused(run, *words, "G77")
    assert "3 pieces of hand A are named, and 2 wanted" in refused(run, *words, "G4..G6")
    assert answer(run, *words, "hand A=G4;G5")["notes"] == []
    assert shop.is_dir()


def test_a_table_that_promises_a_piece_twice_is_bad_news(run: Run, shop: Path) -> None:
    (shop / "library" / "out.csv").write_text(
        "equipment,count,serials,show,from,until\n"
        "hand A,2,G1;G2,P,2026-07-17,2026-07-18\n"
        "hand A,1,g1,Q,2026-07-18,2026-07-19\n"
        "hand A,1,ZZ,R,2026-07-18,2026-07-18\n",
        encoding="utf-8",
    )
    found = answer(run, "stock", "--from", "2026-07-18", code=1)
    assert found["out_twice"] == [{"equipment": "hand A", "serial": "g1", "day": "2026-07-18", "shows": ["P", "Q"]}]
    assert found["notes"][:2] == [
        "hand A g1 is out twice on 2026-07-18: for P and for Q",
        "1 hand A for R, 2026-07-18: the stock has no ZZ",
    ]
    found = answer(run, "stock", "--from", "2026-07-17")  # told before its day comes, and no bad news of this one
    assert found["out_twice"] == []
    assert "hand A g1 is out twice on 2026-07-18: for P and for Q" in found["notes"]
    assert answer(run, "stock", "--from", "2026-07-20")["notes"] == []


def test_more_booked_than_there_is_says_how_many_when_and_by_whom(run: Run, shop: Path) -> None:
    (shop / "library" / "out.csv").write_text(
        "equipment,count,show,from,until\nhand A,90,P,2026-07-16,2026-07-20\nhand A,7,Q,2026-07-18,2026-07-19\n"
        "ear A,6,Q,2026-07-18,2026-07-18\n",
        encoding="utf-8",
    )
    found = answer(run, "stock", "--from", "2026-07-17", "--until", "2026-07-25", code=1)
    assert [(one["free"], one["over"], one["over_on"]) for one in found["stock"]] == [
        (0, 87, "2026-07-18"),
        (0, 1, "2026-07-18"),
    ]
    assert found["notes"] == [
        "87 more hand A are booked than there are (10), on 2026-07-18 (the worst of 4 such days): 90 for P, 7 for Q",
        "1 more ear A is booked than there are (5), on 2026-07-18: 6 for Q",
    ]
    code, out, _ = run("show", "stock", "--from", "2026-07-17", "--until", "2026-07-25")
    assert code == 1
    assert "PROMISED TWICE" in out
    assert "-87" not in out


def test_a_table_that_is_wrong_throughout_is_told_in_a_few_lines(run: Run, shop: Path) -> None:
    rows = "".join(f"cue {n},1,P,2026-07-18,2026-07-18\n" for n in range(40))
    (shop / "library" / "out.csv").write_text("equipment,count,show,from,until\n" + rows, encoding="utf-8")
    code, out, _ = run("show", "stock", "--from", "2026-07-18")
    assert code == 0
    assert "and 28 more; --json tells all" in out
    assert len(answer(run, "stock", "--from", "2026-07-18")["notes"]) == 40


def test_bookings_change_as_the_week_does(run: Run, shop: Path) -> None:
    make_show(run, "show.fallow", 6, day="2026-06-29")
    make_show(run, "other.fallow", 6, day="2026-07-02")
    answer(run, "stock", "--book", "--until", "2026-07-01", "--show", "show.fallow")  # over the end of the month
    answer(run, "stock", "--book", "--show", "other.fallow")
    longer = ("stock", "--book", "--from", "2026-06-29", "--until", "2026-07-02", "--show", "show.fallow")
    assert "6 hand A wanted, 4 free (6 for other, 2026-07-02)" in refused(run, *longer)
    done = answer(run, "stock", "--return", "--until", "2026-06-30", "--show", "show.fallow")  # back a day early
    assert (done["returned"], [one["until"] for one in done["shortened"]]) == (0, ["2026-06-30"])
    answer(run, "stock", "--book", "--until", "2026-07-02", "--from", "2026-07-01", "--show", "other.fallow", "--also")
    made = answer(run, "stock", "--book", "--from", "2026-07-05", "--show", "other.fallow", "--also")
    assert not any("another show" in note for note in made["notes"])
    spans = {(row["show"], row["from"], row["until"]) for row in rows()[1:]}
    assert spans == {
        ("show", "2026-06-29", "2026-06-30"),
        ("other", "2026-07-01", "2026-07-02"),
        ("other", "2026-07-05", "2026-07-05"),
    }
    answer(run, "stock", "--return", "--until", "2026-07-01", "--show", "other.fallow")
    assert {row["until"] for row in rows() if row["show"] == "other"} == {"2026-07-01"}
    assert shop.is_dir()


def test_a_piece_that_breaks_comes_back_by_itself(run: Run, shop: Path) -> None:
    make_show(run, "show.fallow", 4, 2)
    assert "the show has booked nothing" in refused(run, "stock", "--return", "--serials", "G1")
    answer(run, "stock", "--book", "--until", "2026-07-22", "--serials", "G1..G3")
    assert "the show's bookings name no piece 'G9' of hand A" in refused(run, "stock", "--return", "--serials", "G9")
    done = answer(run, "stock", "--return", "--serials", "g2", "--until", "2026-07-19")
    assert [(one["count"], one["serials"], one["until"]) for one in done["shortened"]] == [
        (3, ["G1", "G3"], "2026-07-22"),
        (1, ["G2"], "2026-07-19"),
    ]
    assert answer(run, "stock", "--from", "2026-07-19")["stock"][0]["free"] == 6
    (hand, _) = answer(run, "stock", "--from", "2026-07-20")["stock"]
    assert (hand["free"], "G2" in hand["serials_in"]) == (7, True)
    answer(run, "stock", "--return", "--serials", "G1")
    assert [(row["count"], row["serials"]) for row in rows()[1:]] == [("2", "G3"), ("2", ""), ("1", "G2")]
    assert shop.is_dir()


def test_where_several_shows_lie_the_stock_is_that_of_today(run: Run, shop: Path) -> None:
    make_show(run, "show.fallow", 1)
    make_show(run, "other.fallow", 1)
    assert answer(run, "stock")["from"] == answer(run, "stock")["until"]
    assert "several show files" in refused(run, "stock", "--book")
    assert shop.is_dir()


def test_what_the_stock_does_not_know_is_told_and_not_booked(run: Run, shop: Path) -> None:
    (shop / "library" / "stock.csv").write_text("equipment,count\nhand A,10\n", encoding="utf-8")
    make_show(run, "show.fallow", 2, 3)
    made = answer(run, "stock", "--book")
    assert [one["equipment"] for one in made["booked"]] == ["hand A"]
    assert made["notes"] == ["3 ear A not booked: the stock does not know it"]


def test_gear_on_the_truck_is_not_given_back_because_its_type_got_another_name(run: Run, shop: Path) -> None:
    make_show(run, "show.fallow", 2)
    answer(run, "stock", "--book")
    before = (shop / "library" / "out.csv").read_bytes()
    answer(run, "equipment", "hand A", "--rename", "hand Z")
    said = refused(run, "stock", "--book")
    assert "the stock does not know hand Z, and this would be given back: 2 hand A" in said
    assert (shop / "library" / "out.csv").read_bytes() == before
    answer(run, "equipment", "hand Z", "--rename", "hand A")
    assert answer(run, "stock", "--book")["booked"][0]["count"] == 2


def test_pieces_may_be_listed_as_a_range_in_the_tables(run: Run, shop: Path) -> None:
    (shop / "library" / "stock.csv").write_text("equipment,count,serials\nhand A,,G01..G10\n", encoding="utf-8")
    (hand,) = answer(run, "stock")["stock"]
    assert (hand["count"], hand["serials_in"][0], hand["serials_in"][-1]) == (10, "G01", "G10")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--serials", "G1"), "speak of a booking"),
        (("--also",), "speak of a booking"),
        (("--ours",), "speak of bookings that are entered or taken out"),
        (("--book", "--ours", "--theirs"), "not allowed with"),
        (("--return", "--from", "2026-07-18"), "the last day that it is out: --until"),
        (("--book", "--show", "empty.fallow"), "the show has no links"),
    ],
)
def test_what_can_not_be_meant_is_a_sentence(run: Run, shop: Path, words: tuple[str, ...], said: str) -> None:
    make_show(run, "show.fallow", 2)
    answer(run, "new", "empty.fallow")
    show = () if "--show" in words else ("--show", "show.fallow")
    assert said in refused(run, "stock", *words, *show)
    assert shop.is_dir()


def test_a_library_without_stock_says_what_to_make(run: Run, shop: Path) -> None:
    (shop / "library" / "stock.csv").unlink()
    make_show(run, "show.fallow", 2)
    for words in (("stock",), ("stock", "--book"), ("fit",)):
        said = refused(run, *words)
        assert "the library has no stock.csv" in said
        assert "hint: make this table: equipment,count,serials,note" in said
    answer(run, "site", "save", "Hall")
    found = answer(run, "fit", "--site", "Hall", "--seconds", "0.2")
    assert (found["fits"], found["placed"], found["short"]) == (True, 2, [])
    assert any("the library has no stock.csv" in note for note in found["notes"])


def test_the_screens_of_a_full_week_fit_in_eighty_columns(run: Run, shop: Path, package: Path) -> None:
    make_show(run, "show.fallow", 7)
    environment = {**os.environ, "COLUMNS": "80", "PYTHONPATH": str(package.parent)}
    for words in (
        ("--book", "--serials", "G1", "G3", "G5", "G7", "G9..G10"),
        (),
        ("--return", "--until", "2026-07-18"),
    ):
        command = [sys.executable, "-m", "fallow", "show", "stock", *words]
        done = subprocess.run(command, cwd=shop, env=environment, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        assert max(map(len, done.stdout.splitlines())) <= 80
