"""Options stand where people put them: before, behind and between the words of a command.

Truth: the same command with its words first, which is how argparse documents it.
"""

from __future__ import annotations

from itertools import permutations

import pytest

from fallow.cli.arguments import build_parser
from fallow.errors import UsageError

PARSER = build_parser("0")


@pytest.mark.parametrize(
    ("command", "words", "options"),
    [
        (("show", "site"), ["save", "Invented Hall"], [["--show", "a.fallow"], ["--wait=3"]]),
        (("show", "areas"), ["stage", "foyer"], [["--loss", "-3"], ["--show", "a.fallow"]]),
        (("show", "new"), ["gala", "region=de", "name=A"], [["--who", "Kim"], ["--json"]]),
        (("show", "compare"), ["1", "now"], [["--show", "a.fallow"]]),
        (("show", "add"), ["a.csv", "b.csv"], [["--survey", "day one"], ["--replace"]]),
        (("show", "merge"), ["b.fallow"], [["--take", "vox=ours"], ["--take", "ear=theirs"]]),
        (("show", "note"), ["-3 dB on stage"], [["--about", "vox"]]),
        (("air",), ["a.csv", "b.csv"], [["--region", "de"], ["--decimal", ","]]),
    ],
)
def test_every_order_is_understood_alike(command: tuple[str, ...], words: list[str], options: list[list[str]]) -> None:
    usual = vars(PARSER.parse_args([*command, *words, *(word for one in options for word in one)]))
    pieces = [[word] for word in words] + options
    for order in permutations(range(len(pieces))):
        kept = [at for at in order if at < len(words)] == list(range(len(words)))
        same = [at for at in order if at >= len(words)] == list(range(len(words), len(pieces)))
        if kept and same:
            typed = [word for at in order for word in pieces[at]]
            assert vars(PARSER.parse_args([*command, *typed])) == usual, typed


def test_an_option_that_takes_several_words_still_takes_all_that_follow_it() -> None:
    assert PARSER.parse_args(["show", "links", "--drop", "a", "b", "--json"]).drop == ["a", "b"]
    assert PARSER.parse_args(["show", "plan", "--keep", "--json"]).keep == ""


def test_behind_two_dashes_all_are_words() -> None:
    assert PARSER.parse_args(["show", "note", "--about", "vox", "--", "--json"]).text == "--json"


@pytest.mark.parametrize("words", [["show", "site", "save", "--json", "Hall", "more"], ["show", "list", "--nope", "x"]])
def test_a_word_too_many_is_told(words: list[str]) -> None:
    with pytest.raises(UsageError, match="unrecognized arguments"):
        PARSER.parse_args(words)
