"""Rows of the user's own, in the format of the shipped ones; every mistake in them is one sentence with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from fallow.errors import InputError
from fallow.files.territories import load_territory
from fallow.rules.permission import may
from fallow.rules.territory import Answer, Circumstances, Grade
from fallow.show.equipment import Kind
from rules.questions import ASK, NO, TODAY, YES, gear

PRELUDE = """\
cautions = ["an invented coordinator's list"]

[licences.festival]
text = "an invented licence for one festival"

[[place]]
name = "Harbour"
aliases = ["the old harbour"]
text = "an invented place"

"""
ROW = """\
[[rule]]
mhz = [700.1, 700.5]
status = "permit"
licence = "coordinated"
kinds = ["microphone"]
power_mw = 50
power_kind = "erp"
bandwidth_khz = 200
source = "letter of an invented coordinator"
date = "2026-07-18"
checked = "seen"
"""


def own(folder: Path, text: str) -> Path:
    """Write a file of rules."""
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return path


def ask(path: Path, mhz: float, licence: str | None = None, place: str | None = None) -> Answer:
    """Ask the UK with own rows."""
    return may(load_territory("gb", [path]), gear(), round(mhz * 1e6), Circumstances(licence, place, TODAY)).answer


def test_an_own_row_can_say_yes(tmp_path: Path) -> None:
    path = own(tmp_path, ROW.replace("700.1, 700.5", "740.1, 740.5"))
    assert ask(path, 740.3, "coordinated") is YES
    assert ask(path, 740.3) is ASK
    assert ask(path, 740.15, "coordinated") is NO
    territory = load_territory("gb", [path])
    rule = next(rule for rule in territory.rules if rule.low_hz == 740_100_000)
    assert (rule.source, rule.date, rule.grade) == ("letter of an invented coordinator", "2026-07-18", Grade.SEEN)
    assert rule.kinds == {Kind.MICROPHONE}
    assert load_territory("gb").rules != territory.rules


def test_a_prohibition_stays_one_whatever_own_rows_say(tmp_path: Path) -> None:
    assert ask(own(tmp_path, ROW), 700.3, "coordinated") is NO


def test_own_licences_and_places(tmp_path: Path) -> None:
    row = ROW.replace('"coordinated"', '"festival"').replace("700.1, 700.5", "740.1, 740.5") + 'places = ["Harbour"]\n'
    path = own(tmp_path, PRELUDE + row)
    assert ask(path, 740.3, "festival", "The Old Harbour") is YES
    assert ask(path, 740.3, "festival", "elsewhere") is NO
    assert ask(path, 740.3, "festival") is ASK
    assert ask(path, 740.3, "shared38", "harbour") is NO
    territory = load_territory("gb", [path])
    assert territory.cautions[0] == "an invented coordinator's list"
    assert territory.licences["festival"] == "an invented licence for one festival"


def test_own_prohibition_closes_what_is_open(tmp_path: Path) -> None:
    closed = (
        '[[rule]]\nmhz = [864, 864.4]\nstatus = "prohibit"\nsource = "a neighbour"\ndate = "2026"\nchecked = "seen"\n'
    )
    path = own(tmp_path, closed)
    assert [ask(path, mhz) for mhz in (863.5, 864.2, 864.6)] == [ASK, NO, ASK]


def test_grade_is_the_weakest_of_what_the_row_states(tmp_path: Path) -> None:
    checked = 'checked = { band = "seen", power = "second-hand", width = "seen" }'
    path = own(tmp_path, ROW.replace('checked = "seen"', checked))
    rule = next(rule for rule in load_territory("gb", [path]).rules if rule.low_hz == 700_100_000)
    assert rule.grade is Grade.SECOND_HAND


MISTAKES = [
    (ROW.replace("[700.1, 700.5]", "[700.5, 700.1]"), "does not rise"),
    (ROW.replace("[700.1, 700.5]", "700.1"), "two edges"),
    (ROW.replace("700.1", "700.1000001"), "no whole number of hertz"),
    (ROW.replace("700.1", "-1"), "above zero"),
    (ROW.replace("700.1", "nan"), "above zero"),
    (ROW.replace('"permit"', '"allow"'), "permit or prohibit"),
    (ROW.replace('"coordinated"', '"nobody"'), r"not under \[licences\]"),
    (ROW.replace('licence = "coordinated"\n', ""), "licence must be a text"),
    (ROW.replace('"microphone"', '"trumpet"'), "'trumpet' is not known"),
    (ROW.replace('"erp"', '"watts"'), "'watts' is not known"),
    (ROW.replace('checked = "seen"', 'checked = "sure"'), "no grade"),
    (ROW.replace('checked = "seen"', 'checked = { band = "seen", power = "seen" }'), "states a width"),
    (ROW.replace('checked = "seen"', ""), "no grade"),
    (ROW.replace('source = "letter of an invented coordinator"\ndate = "2026-07-18"\n', ""), "names no source"),
    (ROW.replace("2026-07-18", "last summer"), "not written as"),
    (ROW + "colour = 1\n", "'colour' means nothing here"),
    (ROW + 'places = ["Atlantis"]\n', "'Atlantis' has no"),
    (ROW + 'needs = "a word"\n', "list of texts"),
    (ROW + 'valid_to = "2026"\n', "must be a date"),
    (ROW + "named_place = 1\n", "true or false"),
    (ROW + "carriers_mhz = { first = 700.2, step = 0.025, count = 0 }\n", "above zero"),
]


@pytest.mark.parametrize(("text", "said"), MISTAKES, ids=range(len(MISTAKES)))
def test_mistakes_name_file_and_line(tmp_path: Path, text: str, said: str) -> None:
    path = own(tmp_path, "# a comment\n\n" + text)
    with pytest.raises(InputError, match=said) as caught:
        load_territory("gb", [path])
    assert (caught.value.path, caught.value.line) == (str(path), 3)


def test_files_that_are_no_rules(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not TOML"):
        load_territory("gb", [own(tmp_path, "mhz: 700")])
    with pytest.raises(InputError, match="can't be read"):
        load_territory("gb", [tmp_path / "missing.toml"])
    with pytest.raises(InputError, match=r"under a heading \[\[rule\]\]"):
        load_territory("gb", [own(tmp_path, "rule = 1\n")])
    with pytest.raises(InputError, match="place can't be called elsewhere"):
        load_territory("gb", [own(tmp_path, '[[place]]\nname = "Elsewhere"\ntext = "x"\n')])
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not UTF-8"):
        load_territory("gb", [binary])
