"""The table of groups: read, refused with a sentence, written and read back."""

from __future__ import annotations

from pathlib import Path

import pytest

from fallow.errors import InputError
from fallow.files.tables import read_groups, read_links, stated_rules
from fallow.files.tables.writing import write_groups, write_links
from fallow.show.grouping import USUAL, Apart, Together

HEAD = "group,from,apart_mhz,within_mhz,areas,hard,source\n"


def written(folder: Path, text: str) -> Path:
    path = folder / "groups.csv"
    path.write_text(HEAD + text, encoding="utf-8")
    return path


def test_rules_of_both_kinds(tmp_path):
    path = written(tmp_path, "guests,house,1.5,,all,yes,agreed\nband,,,8,,,filter\n")
    rules = read_groups(path)
    assert rules.apart[0] == Apart("guests", "house", 1_500_000, True, True, "agreed", 2)
    assert rules.together == (Together("band", 8_000_000, False, False, "filter", 3),)
    assert rules.apart[1:] == USUAL.apart


def test_a_row_about_in_ears_and_microphones_takes_the_place_of_the_usual_wish(tmp_path):
    path = written(tmp_path, "Microphone,In-Ear,0,,,,\n")
    assert [(rule.group, rule.other, rule.distance_hz) for rule in read_groups(path).apart] == [
        ("microphone", "in-ear", 0)
    ]


@pytest.mark.parametrize(
    ("row", "column", "sentence"),
    [
        ("band,,,,,,", "apart_mhz", "a rule has either apart_mhz or within_mhz"),
        ("band,choir,1,8,,,", "apart_mhz", "a rule has either apart_mhz or within_mhz"),
        ("band,,1,,,,", "from", "from whom the group keeps apart is missing"),
        ("band,choir,,8,,,", "from", "a group that stays together needs no other"),
        ("band,,,0,,,", "within_mhz", "a group can't stay within nothing"),
        ("band,choir,-1,,,,", "apart_mhz", "'-1' is negative"),
        ("band,choir,1,,some,,", "areas", "'some' is neither same nor all"),
        ("band,choir,1,,,,\nchoir,band,2,,,,", "group", "line 2 has a rule about the same already"),
    ],
)
def test_what_is_no_rule_is_refused_with_its_place(tmp_path, row, column, sentence):
    with pytest.raises(InputError) as refused:
        read_groups(written(tmp_path, row + "\n"))
    assert refused.value.column == column
    assert sentence in refused.value.what


def test_what_is_written_reads_back(tmp_path):
    rules = stated_rules(written(tmp_path, "guests,house,1.5,,all,yes,agreed\nband,,,8,same,no,\n"))
    copy = tmp_path / "copy.csv"
    write_groups(copy, rules.rules)
    assert stated_rules(copy) == rules


def test_groups_of_links_are_read_and_written(tmp_path):
    path = tmp_path / "links.csv"
    path.write_text("link,equipment,group\nvox 1,vox,band; choir\nvox 2,vox,\n", encoding="utf-8")
    links = read_links(path)
    assert [link.groups for link in links] == [frozenset({"band", "choir"}), frozenset()]
    write_links(tmp_path / "copy.csv", links)
    assert read_links(tmp_path / "copy.csv") == links


def test_weights_of_moves_are_read_and_written(tmp_path):
    path = tmp_path / "links.csv"
    path.write_text("link,equipment,move_weight\nvox 1,vox,20\nvox 2,vox,\n", encoding="utf-8")
    links = read_links(path)
    assert [link.move_weight for link in links] == [20, 1]
    write_links(tmp_path / "copy.csv", links)
    assert read_links(tmp_path / "copy.csv") == links


@pytest.mark.parametrize("weight", ["0", "-2", "1.5", "1001"])
def test_a_weight_that_is_none_is_refused(tmp_path, weight):
    path = tmp_path / "links.csv"
    path.write_text(f"link,equipment,move_weight\nvox 1,vox,{weight}\n", encoding="utf-8")
    with pytest.raises(InputError, match="is no whole number from 1 to 1,000") as refused:
        read_links(path)
    assert refused.value.column == "move_weight"
