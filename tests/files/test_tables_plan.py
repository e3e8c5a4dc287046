"""Plans written and read back: the same rows, whole files only, nothing touched when writing fails."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fallow.errors import OutputError
from fallow.files.tables import read_plan, write_plan
from fallow.show.assignment import Assignment

ROWS = (
    Assignment(
        "vox 1",
        "hand",
        "stage",
        frozenset({"act 2", "act 1"}),
        470_125_000,
        "clean",
        12.25,
        "why",
        extra={"colour": "red"},
    ),
    Assignment("vox 2", "hand"),
    Assignment("spare 1", "hand", "stage", frozenset(), 471_000_001),
)


def test_the_table_as_the_contract_has_it(tmp_path: Path) -> None:
    write_plan(tmp_path / "plan.csv", ROWS)
    assert (tmp_path / "plan.csv").read_text(encoding="utf-8").splitlines() == [
        "link,equipment,area,scenes,frequency_mhz,verdict,margin_db,note,colour",
        "vox 1,hand,stage,act 1;act 2,470.125000,clean,12.25,why,red",
        "vox 2,hand,,,,,,,",
        "spare 1,hand,stage,,471.000001,,,,",
    ]


NAMES = (
    st.text(st.characters(codec="utf-8", exclude_categories=("C",)), min_size=1, max_size=8).map(str.strip).filter(bool)
)


@given(
    st.lists(
        st.builds(
            Assignment,
            link=NAMES,
            equipment=NAMES,
            area=st.one_of(st.just(""), NAMES),
            scenes=st.frozensets(NAMES.filter(lambda name: not set(name) & set(";|")), max_size=2),
            frequency_hz=st.one_of(st.none(), st.integers(1, 10**11)),
            verdict=st.sampled_from([None, "clean", "doubtful", "not measured"]),
            margin_db=st.one_of(st.none(), st.integers(-9999, 9999).map(lambda n: n / 100)),
            note=st.one_of(st.just(""), NAMES),
        ),
        max_size=4,
        unique_by=lambda row: row.link,
    )
)
def test_what_was_written_is_read_back(tmp_path_factory: pytest.TempPathFactory, rows: list[Assignment]) -> None:
    path = tmp_path_factory.mktemp("plan") / "plan.csv"
    write_plan(path, rows)
    found = read_plan(path)
    keys = ("link", "equipment", "area", "scenes", "frequency_hz", "verdict", "margin_db", "note")
    assert [[getattr(row, key) for key in keys] for row in found] == [
        [getattr(row, key) for key in keys] for row in rows
    ]


def test_unknown_columns_survive_a_round_trip(tmp_path: Path) -> None:
    write_plan(tmp_path / "plan.csv", ROWS)
    write_plan(tmp_path / "again.csv", read_plan(tmp_path / "plan.csv"))
    assert (tmp_path / "again.csv").read_bytes() == (tmp_path / "plan.csv").read_bytes()


def test_no_folder_is_made(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="folder does not exist") as caught:
        write_plan(tmp_path / "missing" / "plan.csv", ROWS)
    assert caught.value.path == str(tmp_path / "missing" / "plan.csv")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_is_not_overwritten(tmp_path: Path) -> None:
    (tmp_path / "plan.csv").mkdir()
    with pytest.raises(OutputError, match="no ordinary file"):
        write_plan(tmp_path / "plan.csv", ROWS)


def test_a_failed_write_leaves_the_old_plan_and_no_rest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "plan.csv"
    write_plan(path, ROWS)
    before = path.read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="no space left on device"):
        write_plan(path, ROWS[:1])
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.skipif(os.name == "nt", reason="Windows needs a privilege for symbolic links")
def test_a_link_to_a_plan_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.csv").write_text("old", encoding="utf-8")
    (tmp_path / "plan.csv").symlink_to(tmp_path / "real.csv")
    write_plan(tmp_path / "plan.csv", ROWS)
    assert (tmp_path / "plan.csv").is_symlink()
    assert (tmp_path / "real.csv").read_text(encoding="utf-8").startswith("link,")
