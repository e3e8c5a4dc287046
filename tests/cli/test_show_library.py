"""``fallow show site``, ``stock`` and ``fit`` as they are typed. Truth: a spectrum so narrow that it can be counted."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fallow.plan.judge.audit import audit
from fallow.plan.places import Ground
from fallow.show.assignment import Assignment
from fallow.show.equipment import Equipment, Kind
from fallow.show.wanted import Wanted
from fallow.units import Span

Run = Callable[..., tuple[int, str, str]]
HEAD = "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz\n"
TYPES = (  # with 400 kHz of spacing and nothing else, 1.2 MHz hold four carriers and no more
    "hand A,microphone,471-472.2,25,200,400\nhand B,microphone,481-482,25,200,400\n"
    "hand C,microphone,491-493,25,200,400\near A,in-ear,511-519,25,200,400\n"
)
STOCK = "equipment,count,serials\nhand A,12,A1;A2\nhand B,2,\nhand C,9,\near A,5,\n"
OUT = (
    "equipment,count,serials,show,from,until\n"
    "hand C,7,,Other night,2026-07-01,2026-07-31\nhand B,2,,Past,2026-06-01,2026-06-02\n"
)
ALL = {
    name: Equipment(name, Kind.MICROPHONE, (span,), 25_000, (), 200_000, None, None, 400_000, None, None, None)
    for name, span in (
        ("hand A", Span(471_000_000, 472_200_000)),
        ("hand B", Span(481_000_000, 482_000_000)),
        ("hand C", Span(491_000_000, 493_000_000)),
    )
}


def answer(run: Run, *words: object, code: int = 0) -> dict[str, Any]:
    """The JSON answer of a verb."""
    got, out, err = run("show", *words, "--json")
    assert got == code, err
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


def answer_lines(run: Run, *words: object) -> set[str]:
    """What people see of a verb that has bad news."""
    code, out, err = run("show", *words)
    assert code == 1, err
    return {line.strip() for line in out.splitlines()}


@pytest.fixture
def desk(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A show of a few links, and a library."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "library").mkdir()
    for name, text in (("equipment", HEAD + TYPES), ("stock", STOCK), ("out", OUT)):
        (tmp_path / "library" / f"{name}.csv").write_text(text, encoding="utf-8")
    answer(run, "new", "gala", "name=Invented gala", "on=2026-07-18")
    answer(run, "add", "--equipment", "library/equipment.csv")
    return tmp_path


def identity(run: Run, show: str = "gala.fallow") -> str:
    """How a show is known: by the first change of its exported history, behind a letter."""
    answer(run, "export", f"{show}.json.d", "--show", show)
    history = json.loads(Path(f"{show}.json.d", "show.json").read_text(encoding="utf-8"))["changes"]
    return f"h{history[0]['uid']}"


def add_links(run: Run, desk: Path, count: int, equipment: str = "hand A") -> None:
    rows = "".join(f"vox {n},{equipment},{1 + n % 5}\n" for n in range(1, count + 1))
    (desk / "links.csv").write_text("link,equipment,priority\n" + rows, encoding="utf-8")
    answer(run, "add", "--links", "links.csv", "--show", "gala.fallow")


def fit(run: Run, *words: object, code: int) -> dict[str, Any]:
    return answer(run, "fit", "--seconds", "0.3", "--patience", "60", *words, code=code)


def exchanged(proposal: dict[str, Any]) -> dict[tuple[str, str], int]:
    return {(one["from"], one["to"]): one["count"] for one in proposal["exchanges"]}


def test_what_fits_needs_no_exchange(run: Run, desk: Path) -> None:
    add_links(run, desk, 4)
    found = fit(run, code=0)
    assert (found["fits"], found["placed"], found["proposals"], found["short"]) == (True, 4, [], [])


def test_what_does_not_fit_is_answered_with_proven_exchanges_of_the_fewest_pieces(run: Run, desk: Path) -> None:
    """Four A fit, so of seven three must go: to two free B, and two of the nine C that are not out."""
    add_links(run, desk, 7)
    found = fit(run, code=1)
    assert (found["fits"], found["placed"], len(found["unplaced"])) == (False, 4, 3)
    assert found["fewest_proven"]
    assert {one["pieces"] for one in found["proposals"][:1]} == {3}
    ways = [exchanged(one) for one in found["proposals"]]
    possible = [{("hand A", "hand B"): b, ("hand A", "hand C"): 3 - b} for b in (1, 2)]
    assert ways
    assert all(way in possible for way in ways if sum(way.values()) == 3)
    for proposal in found["proposals"]:
        new = {link: one["to"] for one in proposal["exchanges"] for link in one["links"]}
        rows = [
            Assignment(one["link"], new.get(one["link"], "hand A"), frequency_hz=one["frequency_hz"])
            for one in proposal["plan"]["links"]
        ]
        assert all(row.frequency_hz is not None for row in rows)
        assert audit(rows, Wanted((), ALL), Ground(None, None, {}, (), Wanted((), ALL).losses)).conflicts == ()


def test_what_is_out_on_other_days_is_free(run: Run, desk: Path) -> None:
    add_links(run, desk, 8)
    assert exchanged(fit(run, "--from", "2026-08-02", code=1)["proposals"][0]) == {("hand A", "hand C"): 4}
    found = fit(run, "--from", "2026-06-01", "--until", "2026-07-03", code=1)  # no B, two C: not enough for four
    assert found["proposals"] == []
    assert found["plans_tried"] > 1
    partial = found["partial"]
    assert exchanged(partial) == {("hand A", "hand C"): 2}  # the most that can be helped: 4 + 2 of 8
    assert (found["served"], partial["served"]) == (4, 6)
    new = {link: one["to"] for one in partial["exchanges"] for link in one["links"]}
    served = [one for one in partial["plan"]["links"] if one["frequency_hz"] is not None]
    rows = [Assignment(one["link"], new.get(one["link"], "hand A"), frequency_hz=one["frequency_hz"]) for one in served]
    assert len(rows) == 6
    assert audit(rows, Wanted((), ALL), Ground(None, None, {}, (), Wanted((), ALL).losses)).conflicts == ()
    seen = answer_lines(run, "fit", "--seconds", "0.3", "--from", "2026-06-01", "--until", "2026-07-03")
    assert "The best found: 6 links have a frequency and a piece with it (as booked: 4)" in seen


def test_pieces_that_no_exchange_can_find_are_exchanged_as_far_as_they_can(run: Run, desk: Path) -> None:
    """Six C wanted and two free; one piece of B and one of A are left: four can be had."""
    (desk / "library" / "stock.csv").write_text("equipment,count\nhand A,1\nhand B,1\nhand C,9\n", encoding="utf-8")
    with (desk / "library" / "out.csv").open("a", encoding="utf-8") as stream:
        stream.write("hand A,0,,Nobody,2026-07-01,2026-07-31\near A,99,,Too many,2026-07-01,2026-07-31\n")
    add_links(run, desk, 6, "hand C")
    found = fit(run, code=1)
    assert (found["placed"], found["served"], found["proposals"]) == (6, 2, [])
    assert found["partial"]["served"] == 4
    assert exchanged(found["partial"]) == {("hand C", "hand A"): 1, ("hand C", "hand B"): 1}


@pytest.mark.parametrize(
    ("links", "booked", "stock", "most"),
    [(9, "hand C", (8, 1, 2), 7), (14, "hand C", (4, 1, 5), 10), (10, "hand A", (7, 6, 3), 10)],
)
def test_as_many_are_served_as_spectrum_and_stock_hold(
    run: Run, desk: Path, links: int, booked: str, stock: tuple[int, int, int], most: int
) -> None:
    """A, B and C hold four, three and six carriers with 400 kHz between them, and nothing else counts: of each type as
    many can be served as both its spectrum and the stock have.
    """
    rows = zip(("hand A", "hand B", "hand C"), stock, strict=True)
    text = "equipment,count\n" + "".join(f"{name},{count}\n" for name, count in rows)
    (desk / "library" / "stock.csv").write_text(text, encoding="utf-8")
    (desk / "library" / "out.csv").unlink()
    add_links(run, desk, links, booked)
    assert most == min(links, sum(map(min, (4, 3, 6), stock)))
    found = fit(run, code=1)
    best = found["partial"] or found["proposals"][0]
    assert best["served"] == most


def test_what_is_short_is_made_of_several_other_types_where_none_has_enough(run: Run, desk: Path) -> None:
    (desk / "library" / "stock.csv").write_text("equipment,count\nhand A,2\nhand B,2\nhand C,9\n", encoding="utf-8")
    add_links(run, desk, 6, "hand C")
    found = fit(run, "--from", "2026-07-18", code=1)
    assert exchanged(found["proposals"][0]) == {("hand C", "hand A"): 2, ("hand C", "hand B"): 2}
    assert found["fewest_proven"]


def test_where_nothing_is_free_it_is_said_that_no_exchange_could_be_tried(run: Run, desk: Path) -> None:
    (desk / "library" / "stock.csv").write_text("equipment,count\nhand C,9\n", encoding="utf-8")
    add_links(run, desk, 3, "hand C")
    seen = answer_lines(run, "fit", "--seconds", "0.2")
    assert "no exchange could be tried: no other type of that kind is known to be free" in seen


def test_fixed_links_that_the_stock_has_no_pieces_for_do_not_fit(run: Run, desk: Path) -> None:
    add_links(run, desk, 3, "hand C")
    for n in range(1, 4):
        answer(run, "links", f"vox {n}", "--frequency", f"{491.0 + 0.4 * n:.1f}M", "--fixed")
    found = fit(run, code=1)
    assert (found["fits"], found["placed"], found["served"], found["partial"]) == (False, 3, 2, None)


def test_a_type_of_which_too_many_are_out_stops_no_exchange_for_another(run: Run, desk: Path) -> None:
    with (desk / "library" / "out.csv").open("a", encoding="utf-8") as stream:
        stream.write("ear A,99,,Too many,2026-07-18,2026-07-18\n")
    add_links(run, desk, 7)
    found = fit(run, code=1)
    assert found["proposals"]
    assert any("94 more ear A are booked than there are" in note for note in found["notes"])


def test_pieces_that_the_stock_lacks_are_exchanged_too(run: Run, desk: Path) -> None:
    add_links(run, desk, 3, "hand C")
    found = fit(run, code=1)
    assert found["short"] == [{"equipment": "hand C", "wanted": 3, "free": 2}]
    assert found["unplaced"] == []
    assert found["fewest_proven"]
    assert [exchanged(one) for one in found["proposals"][:2]] == [{("hand C", "hand A"): 1}, {("hand C", "hand B"): 1}]


def test_a_fixed_link_is_never_exchanged(run: Run, desk: Path) -> None:
    add_links(run, desk, 5)
    for n in range(1, 5):
        answer(run, "links", f"vox {n}", "--frequency", f"{471.0 + 0.4 * (n - 1):.1f}M", "--fixed")
    found = fit(run, code=1)
    assert found["proposals"][0]["exchanges"][0]["links"] == ["vox 5"]


def test_a_site_is_saved_and_used_with_its_air(run: Run, desk: Path) -> None:
    header = "time," + ",".join(str(470_000_000 + 25_000 * n) for n in range(1000))
    levels = np.random.default_rng(1).normal(-112, 1.5, (6, 1000))
    levels[:, 440:500] = -50  # 481 to 482.5 MHz: where hand B would be
    rows = [f"2026-07-18T10:00:{n:02d}Z," + ",".join(f"{v:.1f}" for v in row) for n, row in enumerate(levels)]
    (desk / "hall.csv").write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    answer(run, "new", "survey", "region=de", "name=An older show")
    answer(run, "add", "hall.csv", "--show", "survey.fallow")
    answer(run, "note", "the door of the invented hall is low", "--show", "survey.fallow")
    saved = answer(run, "site", "save", "Invented Hall", "--show", "survey.fallow")
    assert saved["save"] == {
        "setting": 1, "area_pair": 0, "foreign": 0, "station": 0, "chain_part": 0, "survey": 1, "note": 1,
    }  # fmt: skip
    again = answer(run, "site", "save", "Invented Hall", "--show", "survey.fallow")
    assert set(again["save"].values()) == {0}
    (site,) = answer(run, "site")["sites"]
    code, out, err = run("show", "site")
    assert (code, err) == (0, "")
    assert out.splitlines() == ["1 site", "Invented Hall (de): 1 survey, 1 note"]
    assert (site["site"], site["region"], site["counts"]["survey"]) == ("Invented Hall", "de", 1)
    add_links(run, desk, 6)
    found = fit(run, "--site", "Invented Hall", "--show", "gala.fallow", code=1)
    assert exchanged(found["proposals"][0]) == {("hand A", "hand C"): 2}
    answer(run, "site", "use", "Invented Hall", "--show", "gala.fallow")
    assert [one["survey"] for one in answer(run, "survey", "--show", "gala.fallow")["surveys"]] == ["hall"]
    assert answer(run, "set", "--show", "gala.fallow")["settings"]["name"] == "Invented gala"
    assert exchanged(fit(run, "--show", "gala.fallow", code=1)["proposals"][0]) == {("hand A", "hand C"): 2}
    answer(run, "undo", "--show", "gala.fallow")
    assert answer(run, "survey", "--show", "gala.fallow")["surveys"] == []


@pytest.fixture
def hall(run: Run, desk: Path) -> Path:
    """A site of last year in the library, and a show that knows newer values of it. Invented, as all of it."""
    for show, guest, loss, region, source in (
        ("old", ("480M", "400k"), "30", "gb", "a"),
        ("new", ("485M", "900k"), "55", "de", "b"),
    ):
        file = f"{show}.fallow"
        answer(run, "new", show, f"region={region}")
        answer(run, "foreign", "guest", "--frequency", guest[0], "--bandwidth", guest[1], "--show", file)
        answer(run, "areas", "stage", "foyer", "--loss", loss, "--show", file)
        answer(run, "stations", "25", "--source", source, "--show", file)
        answer(run, "chain", "cable", "--kind", "cable", "--gain", "-3", "--u", "0.5", "--show", file)
        (desk / "curve.csv").write_text("frequency_mhz,gain_db\n470,3\n608,4\n", encoding="utf-8")
        answer(run, "chain", "whip", "--kind", "antenna", "--gain", "curve.csv", "--u", "1", "--show", file)
    answer(run, "areas", "foyer", "cellar", "--apart", "--show", "old.fallow")
    answer(run, "site", "save", "Invented Hall", "--show", "old.fallow")
    return desk


def values_of(run: Run, show: str) -> tuple[Any, ...]:
    """What the site and the show say of the same things."""
    (guest,) = answer(run, "foreign", "--show", show)["foreign"]
    losses = answer(run, "areas", "--show", show)["areas"]
    stations = answer(run, "stations", "--show", show)["stations"]
    region = answer(run, "set", "--show", show)["settings"]["region"]
    return guest["frequency_hz"], guest["bandwidth_hz"], losses, stations, region


DIFFERENCES = (
    "  region de in place of gb",
    "  foyer and stage: loss 55 dB in place of 30 dB",
    "  guest: frequency 485.000 MHz in place of 480.000 MHz",
    "  guest: bandwidth 900 kHz in place of 400 kHz",
    "  TV channel 25: source b in place of a",
)


@pytest.mark.usefixtures("hall")
def test_a_site_that_says_otherwise_than_the_show_is_asked_about_figure_by_figure(run: Run) -> None:
    """A stranger measured today must not go back to last year's place unsaid; nor the library's the other way round."""
    before = values_of(run, "new.fallow")
    code, out, err = run("show", "site", "use", "Invented Hall", "--show", "new.fallow")
    assert (code, out) == (2, "")
    asked = [line for line in err.splitlines() if " in place of " in line and not line.startswith("hint")]
    assert sorted(asked) == sorted(_turned(one) for one in DIFFERENCES)
    assert "the show has 4 things otherwise; nothing was brought" in err
    assert "--replace" in err
    assert "--keep" in err
    assert values_of(run, "new.fallow") == before
    code, _, err = run("show", "site", "save", "Invented Hall", "--show", "new.fallow")
    assert code == 2
    assert sorted(line for line in err.splitlines() if line in DIFFERENCES) == sorted(DIFFERENCES)
    assert values_of(run, "library/sites/Invented Hall.fallow") == values_of(run, "old.fallow")


def _turned(line: str) -> str:
    """``  guest: frequency 485.000 MHz in place of 480.000 MHz`` seen from the other side."""
    new, old = line.split(" in place of ")
    words = old.count(" ") + 1
    about, new = " ".join(new.split(" ")[:-words]), " ".join(new.split(" ")[-words:])
    return f"{about} {old} in place of {new}"


@pytest.mark.usefixtures("hall")
def test_what_differs_stays_or_is_replaced_as_she_says(run: Run) -> None:
    mine = values_of(run, "new.fallow")
    kept = answer(run, "site", "use", "Invented Hall", "--keep", "--show", "new.fallow")
    assert (kept["use"]["area_pair"], kept["use"]["foreign"], kept["replaced"]) == (1, 0, [])
    assert {"kind": "setting", "name": "region", "figure": "region", "new": "gb", "old": "de"} in kept["kept"]
    now = values_of(run, "new.fallow")
    assert (now[:2], now[3:]) == (mine[:2], mine[3:])
    code, out, _ = run("show", "site", "use", "Invented Hall", "--replace", "--show", "new.fallow")
    assert code == 0
    assert "replaced: guest: frequency 480.000 MHz in place of 485.000 MHz" in out.splitlines()
    assert values_of(run, "new.fallow") == values_of(run, "library/sites/Invented Hall.fallow")
    again = answer(run, "site", "use", "Invented Hall", "--show", "new.fallow")
    assert (set(again["use"].values()), again["replaced"], again["kept"]) == ({0}, [], [])
    answer(run, "undo", "--show", "new.fallow")
    assert values_of(run, "new.fallow") == now
    saved = answer(run, "site", "save", "Invented Hall", "--replace", "--show", "new.fallow")
    assert len(saved["replaced"]) == 5
    assert values_of(run, "library/sites/Invented Hall.fallow") == now


def test_a_survey_that_holds_elsewhere_is_asked_about_and_its_sweeps_stay(run: Run, desk: Path) -> None:
    """The same sweeps, which one file says are of the stage: only that differs, and nothing is copied twice."""
    (desk / "hall.csv").write_text("470.0,-110\n470.1,-109\n470.2,-111\n", encoding="utf-8")
    answer(run, "new", "survey", "region=de")
    answer(run, "add", "hall.csv", "--show", "survey.fallow")
    answer(run, "site", "save", "Invented Hall", "--show", "survey.fallow")
    answer(run, "survey", "hall", "--area", "stage", "--show", "survey.fallow")
    code, _, err = run("show", "site", "save", "Invented Hall", "--show", "survey.fallow")
    assert code == 2
    assert "  hall: area stage in place of nothing" in err.splitlines()
    site = "library/sites/Invented Hall.fallow"
    (before,) = answer(run, "survey", "--show", site)["surveys"]
    answer(run, "site", "save", "Invented Hall", "--replace", "--show", "survey.fallow")
    (after,) = answer(run, "survey", "--show", site)["surveys"]
    assert after == {**before, "area": "stage"}
    answer(run, "check", "--show", site)


def test_a_site_that_is_not_saved_leaves_no_folder(run: Run, desk: Path) -> None:
    code, _, _ = run("show", "site", "save", "Invented Hall", "--show", "nowhere.fallow")
    assert code == 2
    assert not (desk / "library" / "sites").exists()


def test_gear_is_booked_and_given_back(run: Run, desk: Path) -> None:
    add_links(run, desk, 7)
    booked = answer(run, "stock", "--book", "--until", "2026-07-20")["booked"]
    assert booked == [
        {"equipment": "hand A", "count": 7, "serials": [], "unnamed": 7, "show": "Invented gala", "from": "2026-07-18",
         "until": "2026-07-20", "show_id": identity(run)},
    ]  # fmt: skip
    free = {one["equipment"]: one["free"] for one in answer(run, "stock", "--from", "2026-07-20")["stock"]}
    assert free == {"hand A": 5, "hand B": 2, "hand C": 2, "ear A": 5}
    answer(run, "stock", "--book")  # again: in place of what was booked before
    assert len((desk / "library" / "out.csv").read_text(encoding="utf-8").splitlines()) == 4
    assert answer(run, "stock", "--return") == {"returned": 1, "shortened": []}
    assert answer(run, "stock", "--return") == {"returned": 0, "shortened": []}
    add_links(run, desk, 13)
    before = (desk / "library" / "out.csv").read_bytes()
    code, _, err = run("show", "stock", "--book")
    assert code == 2
    assert "13 hand A wanted, 12 free" in err
    assert (desk / "library" / "out.csv").read_bytes() == before


BOOK = """\
import sys
from datetime import date
from pathlib import Path
from fallow.workflow.lending import Days, book
from fallow.workflow.library import open_library
from fallow.workflow.show import Desk
library = open_library("library")
print("ready", flush=True)
sys.stdin.readline()
for name in sys.argv[1:]:
    book(library, Days(date(2026, 7, 18), date(2026, 7, 18)), Desk(name))
"""


def test_twenty_shows_booked_by_four_programs_at_once_are_all_out(run: Run, desk: Path, package: Path) -> None:
    (desk / "library" / "stock.csv").write_text("equipment,count,serials\nhand A,50,\n", encoding="utf-8")
    add_links(run, desk, 2)
    names = [f"show {n}" for n in range(20)]
    for name in names:
        answer(run, "copy", f"{name}.fallow", "--show", "gala.fallow")
        answer(run, "set", f"name={name}", "--show", f"{name}.fallow")
    environment = {**os.environ, "PYTHONPATH": str(package.parent)}
    running = [
        subprocess.Popen(
            [sys.executable, "-c", BOOK, *(f"{name}.fallow" for name in names[first::4])],
            cwd=desk, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )
        for first in range(4)
    ]  # fmt: skip
    assert [one.stdout.readline() if one.stdout else "" for one in running] == ["ready\n"] * 4
    for one in running:
        assert one.stdin is not None
        one.stdin.write("go\n")
        one.stdin.flush()
    for one in running:
        one.communicate()
    assert [one.returncode for one in running] == [0] * 4
    found = answer(run, "stock", "--from", "2026-07-18", "--show", "gala.fallow")
    booked = {one["show"]: one["count"] for one in found["out"] if one["show"] in names}
    assert booked == dict.fromkeys(names, 2)
    assert found["stock"][0]["free"] == 10


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("site", "use", "Nowhere"), "the library has no site 'Nowhere'"),
        (("site", "save"), "which site is meant"),
        (("site", "save", "a/b"), "no name for a site"),
        (("site", "--library", "nowhere"), "no such folder"),
        (("stock", "--from", "tomorrow"), "not a date"),
        (("stock", "--from", "2026-07-18", "--until", "2026-07-01"), "the last day comes before the first"),
        (("fit",), "the show has no links"),
        (("fit", "--library", "."), "stock.csv"),
    ],
)
def test_what_can_not_be_is_a_sentence(run: Run, desk: Path, words: tuple[str, ...], said: str) -> None:
    if "." in words:
        add_links(run, desk, 1)
    code, out, err = run("show", *words)
    assert (code, out) == (2, "")
    assert said in err


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("stock", "equipment,count\nhand A,few\n", "line 2, column count"),
        ("stock", "equipment,count,serials\nhand A,1,A1;A2\n", "2 serial names for 1 piece"),
        ("out", "equipment,count,show,from,until\nhand A,1,x,2026-07-02,2026-07-01\n", "before it goes out"),
        ("out", "equipment,count,show,from,until\nhand A,1,x,31.6.2026,2026-07-21\n", "not a date"),
        ("out", "equipment,count,show,from,until\nhand A,1,x,18.7.26,2026-07-21\n", "not a date"),
        ("out", "equipment,count,show,from,until\nhand A,1,x,7/8/2026,9/8/2026\n", "'7/8/2026' may be two days"),
    ],
)
def test_a_table_of_the_library_that_is_wrong_is_told_with_its_place(
    run: Run, desk: Path, name: str, text: str, said: str
) -> None:
    (desk / "library" / f"{name}.csv").write_text(text, encoding="utf-8")
    code, _, err = run("show", "stock")
    assert code == 2
    assert said in err


def test_the_screens_fit_in_eighty_columns(run: Run, desk: Path, package: Path) -> None:
    add_links(run, desk, 7)
    answer(run, "site", "save", "Invented Hall")
    environment = {**os.environ, "COLUMNS": "80", "PYTHONPATH": str(package.parent)}
    for words, code in ((("site",), 0), (("stock",), 0), (("fit", "--seconds", "0.3"), 1)):
        command = [sys.executable, "-m", "fallow", "show", *words]
        done = subprocess.run(command, cwd=desk, env=environment, capture_output=True, text=True, check=False)
        assert done.returncode == code, done.stderr
        assert max(map(len, done.stdout.splitlines())) <= 80
