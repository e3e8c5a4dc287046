"""Several scenes in one cell. Truth: which links the tests put on together; all names are invented."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fallow.errors import InputError, QuestionError
from fallow.files.tables import read_links
from fallow.files.tables.anybodys import TableRead, TableTelling, read_by_evidence
from fallow.files.tables.scene_lists import scenes_in


def read(tmp_path: Path, cells: list[str], **telling: object) -> TableRead:
    path = tmp_path / "list.csv"
    rows = "".join(f'link {n};hand;"{cell}"\n' for n, cell in enumerate(cells))
    path.write_text(f"name;equipment;scenes\n{rows}", encoding="utf-8")
    return read_by_evidence(path, "links", TableTelling(**telling))  # type: ignore[arg-type]


def scenes(found: TableRead) -> list[list[str]]:
    return [sorted(one.scenes) for one in found.values]


@pytest.mark.parametrize(
    "cell",
    [
        *("act 1, act 2", "act 1,act 2", "act 1/act 2", "act 1 + act 2", "act 1 & act 2", "act 1 and act 2"),
        *("act 1\nact 2", "act 1; act 2", "act 1|act 2", "act 1, 2", "act 1+2", "Act 1 / 2", "act 1 to act 2"),
        *("act 1 bis 2", "ACT 1,  ACT 2", "act 01, act 02", "act1/act2"),
    ],
)  # fmt: skip
def test_signs_between_scenes(tmp_path: Path, cell: str) -> None:
    assert scenes(read(tmp_path, ["act 1", "act 2", "act 3", cell]))[3] == ["act 1", "act 2"]
    alone = {name.casefold().replace(" 0", " ").replace("act1", "act 1").replace("act2", "act 2")
             for name in scenes(read(tmp_path, [cell]))[0]}  # fmt: skip
    assert alone == {"act 1", "act 2"}  # the parts differ in a number only


def test_the_sign_is_told(tmp_path: Path) -> None:
    found = read(tmp_path, ["overture, finale", "overture", "finale"])
    assert scenes(found)[0] == ["finale", "overture"]
    assert found.notes == ("',' stands between scenes: 'overture, finale' is read as overture; finale",)


def test_a_name_with_a_sign_stays_where_its_parts_are_nowhere_else(tmp_path: Path) -> None:
    found = read(tmp_path, ["rock & roll", "sing-along", "finale"])
    assert scenes(found) == [["rock & roll"], ["sing-along"], ["finale"]]
    assert found.notes == ("'rock & roll' is taken as the name of one scene; a semicolon would part it",)
    found = read(tmp_path, ["rock & roll", "act 1-2"], known={"scenes": ["rock & roll", "act 1-2"]})
    assert scenes(found) == [["rock & roll"], ["act 1-2"]]
    with pytest.raises(QuestionError):  # parts of what the show knows as a name
        read(tmp_path, ["rock & roll", "rock", "roll"], known={"scenes": ["rock & roll"]})


@pytest.mark.parametrize(
    ("cells", "asked", "lists"),
    [
        (["1-3", "2"], "'1-3'", ["1", "2", "3"]),
        (["act 1–3", "act 2"], "'act 1–3'", ["act 1", "act 2", "act 3"]),
        (["act 1/encore", "act 1/opening", "act 1"], "'act 1/encore'", ["act 1", "encore"]),
        (["1/2", "1/3"], "'1/2'", ["1", "2"]),
    ],
)
def test_two_readings_are_asked_and_can_be_told(tmp_path: Path, cells: list[str], asked: str, lists: list[str]) -> None:
    with pytest.raises(QuestionError, match="under scenes can be read in two ways") as caught:
        read(tmp_path, cells)
    assert caught.value.what.startswith(asked)
    assert (caught.value.line, caught.value.column) == (2, "scenes")
    assert len(caught.value.readings) == 2
    assert scenes(read(tmp_path, cells, scenes="lists"))[0] == lists
    assert scenes(read(tmp_path, cells, scenes="names"))[0] == [cells[0]]


def test_numbers_that_do_not_rise_are_names(tmp_path: Path) -> None:
    assert scenes(read(tmp_path, ["1-1", "1-2", "2-1"])) == [["1-1"], ["1-2"], ["2-1"]]


@pytest.mark.parametrize(
    ("cell", "why"),
    [
        ("19:30-20:15", "a time of day"),
        ("20h15", "a time of day"),
        ("all but act 1", "what it is not"),
        ("not act 1", "what it is not"),
        ("alle außer act 1", "what it is not"),
        ("act 1 - finale", "from one scene to another"),
    ],
)
def test_what_scenes_can_not_say_is_in_doubt_and_always_on(tmp_path: Path, cell: str, why: str) -> None:
    found = read(tmp_path, ["act 1", "finale", cell])
    assert scenes(found)[2] == []
    (doubt,) = found.doubts
    assert (doubt.line, doubt.cell, doubt.done) == (4, cell, "left empty")
    assert why in doubt.why
    assert scenes(read(tmp_path, [cell], scenes="names"))[0] == [cell]


@pytest.mark.parametrize("cell", ["-", "none", "None", "keine", "n/a"])
def test_words_for_none_are_no_scene_area_or_group(tmp_path: Path, cell: str) -> None:
    path = tmp_path / "others.csv"
    path.write_text(f"link,equipment,area,scenes,group\nA,hand,east,act 1,band\nB,hand,{cell},{cell},{cell}\n", "utf-8")
    found = read_by_evidence(path, "links", TableTelling())
    one, other = found.values
    assert (one.area, one.scenes, one.groups) == ("east", {"act 1"}, {"band"})
    assert (other.area, other.scenes, other.groups) == ("", frozenset(), frozenset())
    assert found.notes == (f"{cell!r} under scenes: always on",)


@pytest.mark.parametrize("cell", ["all", "Always", "alle", "tous", "-", "*", "all, act 1"])
def test_words_for_always(tmp_path: Path, cell: str) -> None:
    found = read(tmp_path, ["act 1", cell])
    assert scenes(found)[1] == []
    assert found.notes == (f"{cell!r} under scenes: always on",)
    assert (
        scenes(read(tmp_path, ["act 1", cell], known={"scenes": ["All", "always", "alle", "tous", "-", "*"]}))[1] != []
    )


def test_our_own_tables_part_only_what_stands_elsewhere(tmp_path: Path) -> None:
    path = tmp_path / "links.csv"
    head = "link,equipment,scenes\n"
    path.write_text(f'{head}A,hand,"act 1, act 2"\nB,hand,act 1\nC,hand,rock & roll\nD,hand,1-3\n', encoding="utf-8")
    assert [sorted(one.scenes) for one in read_links(path)] == [["act 1", "act 2"], ["act 1"], ["rock & roll"], ["1-3"]]
    path.write_text(f"{head}A,hand,1-1\nB,hand,1-2\nC,hand,2-1\nD,hand,1\n", encoding="utf-8")
    assert [sorted(one.scenes) for one in read_links(path)] == [["1-1"], ["1-2"], ["2-1"], ["1"]]
    path.write_text(f"{head}A,hand,1-3\nB,hand,2\n", encoding="utf-8")
    with pytest.raises(InputError, match="'1-3' may be 3 scenes: 1; 2; 3, or one scene that is called '1-3'") as caught:
        read_links(path)
    assert (caught.value.line, caught.value.column) == (2, "scenes")


def test_groups_are_parted_as_scenes_are(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text('name;equipment;group\nA;hand;"band, choir"\nB;hand;choir\nC;hand;band\n', encoding="utf-8")
    found = read_by_evidence(path, "links", TableTelling())
    assert [sorted(one.groups) for one in found.values] == [["band", "choir"], ["choir"], ["band"]]
    assert [sorted(one.groups) for one in read_links(path)] == [["band", "choir"], ["choir"], ["band"]]
    path.write_text('name;equipment;group\nA;hand;"band, choir"\n', encoding="utf-8")
    found = read_by_evidence(path, "links", TableTelling(known={"group": ["band", "choir"]}))
    assert sorted(found.values[0].groups) == ["band", "choir"]
    found = read_by_evidence(path, "links", TableTelling())
    assert found.notes == ("'band, choir' is taken as the name of one group; a semicolon would part it",)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.sets(st.integers(1, 6), min_size=1, max_size=4), min_size=2, max_size=8),
    st.lists(st.sampled_from([", ", ",", "/", " / ", "+", " + ", " & ", "\n", ";", " and "]), min_size=8, max_size=8),
    st.sampled_from(["act {}", "Akt{}", "day {} late", "s{}"]), st.booleans(),
)  # fmt: skip
def test_what_is_on_together_never_counts_as_never_together(
    rows: list[set[int]], signs: list[str], name: str, is_ours: bool
) -> None:
    """Truth: the sets that the cells were written from; a question is no wrong answer."""
    cells = [sign.join(name.format(one) for one in sorted(row)) for row, sign in zip(rows, signs, strict=False)]
    found = scenes_in(cells, is_ours=is_ours)
    if found.still_open is not None:
        return
    for (one, row), (other, other_row) in combinations(zip(cells, rows, strict=True), 2):
        assert bool({*found.names[one]} & {*found.names[other]}) == bool(row & other_row)
