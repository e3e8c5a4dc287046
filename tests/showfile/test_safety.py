"""Killed programs, full disks, cut files: nothing that was acknowledged is lost, and the rest is told in sentences.

Truth: what the killed program had said was stored; the file as it was before; the values that went in.
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from fallow.errors import InputError, OutputError
from fallow.show.link import Link
from fallow.showfile.checking import check
from fallow.showfile.copying import copy_show
from fallow.showfile.kinds import EQUIPMENT, LINKS, SURVEYS
from fallow.showfile.rescue import rescue
from fallow.showfile.store import ShowFile
from fallow.showfile.surveys import put_survey, read_survey
from fallow.showfile.values import SurveyHead
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from showfile import invented
from showfile.killing import lost_after_kills
from showfile.surveys_alike import assert_same

KILLS = 10  # bench/showfile.py kills 200 times


@pytest.mark.slow
def test_nothing_acknowledged_is_lost_by_kill_minus_nine(path: Path) -> None:
    result = lost_after_kills(path, KILLS)
    assert result.wrong == []
    assert result.acknowledged > KILLS


def made(path: Path, names: tuple[str, ...] = ("vox 1", "vox 2")) -> None:
    """A small show with a survey."""
    with ShowFile.create(path, "Kim") as show:
        with show.change("", "equipment and links") as change:
            change.put(EQUIPMENT, invented.HAND)
            change.put(LINKS, *(Link(name, "hand") for name in names))
        with show.change("", "survey") as change:
            put_survey(change, SurveyHead("load-in"), invented.survey())


def large_survey(sweeps: int = 640, bins: int = 3000) -> Survey:
    """Noise in tenths of a decibel: some two megabytes."""
    levels_db = (np.rint(np.random.default_rng(3).normal(-95, 3, (sweeps, bins)) * 10) / 10).astype(np.float32)
    return Survey((Series(Axis.regular(470_000_000, 25_000, bins), levels_db, LevelUnit.DBM),))


# --- full disks


def test_a_full_disk_is_a_sentence_and_the_file_stays_whole(path: Path) -> None:
    made(path)
    with ShowFile.open(path, write=True, who="Kim") as show:
        pages = show.connection.execute("PRAGMA page_count").fetchone()[0]
        show.connection.execute(f"PRAGMA max_page_count = {pages + 20}")
        with pytest.raises(OutputError) as caught:
            add_large(show)
        assert caught.value.what == (
            "the disk is full, so the change was not stored; all that was stored before is whole"
        )
        assert len(show.changes()) == 2
        assert_same(invented.survey(), read_survey(show, show.all(SURVEYS)[0]))
    assert check(path).is_whole


def add_large(show: ShowFile) -> None:
    """More than fits."""
    with show.change("", "large") as change:
        put_survey(change, SurveyHead("large"), large_survey(1600))


FILLS_THE_DISK = """
import resource, sys
sys.path[:0] = sys.argv[2:]
from pathlib import Path
from fallow.errors import OutputError
from fallow.showfile.store import ShowFile
from showfile.test_safety import add_large
show = ShowFile.open(sys.argv[1], write=True, who="Kim")
resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, resource.RLIM_INFINITY))
try:
    add_large(show)
except OutputError as error:
    print(error.what)
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
print(len(show.changes()))
show.close()
"""


def test_a_limit_on_the_size_of_files_is_told_like_a_full_disk(path: Path) -> None:
    made(path)
    program = [sys.executable, "-c", FILLS_THE_DISK, str(path), *sys.path]
    ended = subprocess.run(program, capture_output=True, text=True, check=True)
    said, count = ended.stdout.splitlines()
    assert said.startswith(("the disk is full", "the disk refused"))
    assert "all that was stored before is whole" in said
    assert count == "2"
    assert check(path).is_whole


RESCUES = """
import resource, sys
sys.path[:0] = sys.argv[4:]
from fallow.errors import OutputError
from fallow.showfile.rescue import rescue
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), resource.RLIM_INFINITY))
try:
    rescue(sys.argv[1], sys.argv[2], "Kim")
except OutputError as error:
    print(error)
"""


@pytest.mark.parametrize("share", [0.1, 0.6])  # while it copies the damaged file, and while it makes it whole
def test_a_rescue_for_which_there_is_no_room_says_so_of_where_it_should_go(
    path: Path, tmp_path: Path, share: float
) -> None:
    made(path)
    with ShowFile.open(path, write=True, who="Kim") as show:
        add_large(show)
    cut_in_half(path)
    to = tmp_path / "rescued.fallow"
    limit = int(path.stat().st_size * share * 2)
    program = [sys.executable, "-c", RESCUES, str(path), str(to), str(limit), *sys.path]
    ended = subprocess.run(program, capture_output=True, text=True, check=True)
    assert ended.stdout.startswith(f"{to}: nothing was rescued: ")
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A memory disk of two megabytes, where this may be mounted."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "none", str(disk)], capture_output=True, check=False
    )  # fmt: skip
    if mounted.returncode:
        pytest.skip("a memory disk can't be mounted here")
    try:
        yield disk
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_a_really_full_disk(small_disk: Path) -> None:
    path = small_disk / "gala.fallow"
    made(path)
    with ShowFile.open(path, write=True, who="Kim") as show:
        with pytest.raises(OutputError, match="all that was stored before is whole"):
            add_large(show)
        assert [head.name for head in show.all(SURVEYS)] == ["load-in"]
    assert check(path).is_whole
    (small_disk / "letter").write_bytes(b"x" * (2 * 2**20 - path.stat().st_size - 40_000))
    with pytest.raises(OutputError):
        copy_show(path, small_disk / "copy.fallow")
    assert sorted(one.name for one in small_disk.iterdir()) == ["gala.fallow", "letter"]


def test_a_rescue_onto_a_full_disk_leaves_nothing_and_does_not_blame_the_source(small_disk: Path, path: Path) -> None:
    """There is room for the copy of the damaged file, and not for the new one."""
    made(path)
    with ShowFile.open(path, write=True, who="Kim") as show, show.change("", "large") as change:
        put_survey(change, SurveyHead("large"), large_survey(400))
    assert 2**20 < path.stat().st_size < 2**21 - 200_000
    to = small_disk / "rescued.fallow"
    with pytest.raises(OutputError) as caught:
        rescue(path, to, "Kim")
    assert str(caught.value).startswith(f"{to}: nothing was rescued: the disk")
    assert list(small_disk.iterdir()) == []


# --- copies


def test_a_copy_is_whole_while_somebody_writes(path: Path, tmp_path: Path) -> None:
    made(path)
    with ShowFile.open(path, write=True, who="Kim") as show:
        with show.change("", "another link") as change:
            change.put(LINKS, Link("vox 3", "hand"))
        to = copy_show(path, tmp_path / "stick.fallow")
    assert to == tmp_path / "stick.fallow"
    with ShowFile.open(to, write=True, who="Robin") as copy:
        assert copy.notes == ()  # Kim's claim did not come along
        assert [link.name for link in copy.all(LINKS)] == ["vox 1", "vox 2", "vox 3"]
        assert len(copy.changes()) == 3
    assert check(to).is_whole


def test_a_copy_into_a_folder_keeps_the_name_and_nothing_is_overwritten(path: Path, tmp_path: Path) -> None:
    made(path)
    stick = tmp_path / "stick"
    stick.mkdir()
    assert copy_show(path, stick) == stick / path.name
    before = (stick / path.name).read_bytes()
    with pytest.raises(OutputError, match="there is a file of this name already"):
        copy_show(path, stick)
    assert (stick / path.name).read_bytes() == before
    copy_show(path, stick, replace=True)
    with pytest.raises(OutputError, match="there is a file of this name already"):
        copy_show(path, path, replace=True)
    assert [one.name for one in stick.iterdir()] == [path.name]


# --- damage


def test_a_whole_file_is_said_to_be_whole(path: Path) -> None:
    made(path)
    found = check(path)
    assert found.damage == ()
    assert (found.values, found.changes, found.sweeps) == (4, 2, 72)


def cut_in_half(path: Path) -> None:
    """As a pulled stick leaves it."""
    with path.open("rb+") as stream:
        stream.truncate(path.stat().st_size // 2)


def test_a_file_cut_in_half_is_told_and_rescued(path: Path, tmp_path: Path) -> None:
    made(path)
    whole = large_survey()
    with ShowFile.open(path, write=True, who="Kim") as show, show.change("", "large") as change:
        put_survey(change, SurveyHead("large"), whole)
    cut_in_half(path)
    found = check(path)
    assert not found.is_whole
    rescued = rescue(path, tmp_path / "rescued.fallow", "Kim")
    assert rescued.lost
    assert check(rescued.path).is_whole
    with ShowFile.open(rescued.path) as show:
        assert [link.name for link in show.all(LINKS)] == ["vox 1", "vox 2"]
        heads = {head.name: head for head in show.all(SURVEYS)}
        assert_same(invented.survey(), read_survey(show, heads["load-in"]))
        left = read_survey(show, heads["large"]).series[0].levels_db
    measured = ~np.isnan(left)
    assert 0.25 < measured.mean() * left.shape[0] / 640 < 0.6
    np.testing.assert_array_equal(left[measured], whole.series[0].levels_db[: left.shape[0]][measured])


def test_a_whole_file_is_rescued_whole_with_its_history(path: Path, tmp_path: Path) -> None:
    made(path)
    rescued = rescue(path, tmp_path / "rescued.fallow")
    assert rescued.lost == ()
    with ShowFile.open(path) as before, ShowFile.open(rescued.path) as after:
        assert after.changes() == before.changes()
        assert_same(invented.survey(), read_survey(after, after.all(SURVEYS)[0]))
    assert check(rescued.path).is_whole


@pytest.mark.parametrize("seed", range(6))
def test_damaged_sectors_never_give_wrong_values(path: Path, tmp_path: Path, seed: int) -> None:
    made(path, tuple(f"vox {number}" for number in range(200)))
    rng = np.random.default_rng(seed)
    raw = bytearray(path.read_bytes())
    for sector in rng.integers(8, len(raw) // 512, 3).tolist():  # the head of the file is left
        raw[sector * 512 : (sector + 1) * 512] = rng.bytes(512)
    path.write_bytes(raw)
    assert not check(path).is_whole or path.read_bytes() == bytes(raw)
    try:
        rescued = rescue(path, tmp_path / "rescued.fallow")
    except InputError as error:
        assert "nothing of this file can be read" in error.what  # noqa: PT017 # it may be so, or not
        return
    assert check(rescued.path).is_whole
    with ShowFile.open(rescued.path) as show:
        assert {link.equipment for link in show.all(LINKS)} <= {"hand"}
        whole = invented.survey()
        for head in show.all(SURVEYS):
            for series in read_survey(show, head).series:
                like = whole.series[0] if series.axis.n == 1030 else whole.series[1]
                rows = series.levels_db
                known = ~np.isnan(rows)
                assert all(
                    any(same(row, k, other) for other in like.levels_db) for row, k in zip(rows, known, strict=True)
                )


def same(row: np.ndarray, known: np.ndarray, other: np.ndarray) -> bool:
    """Whether the known levels of a sweep are those of another."""
    return np.array_equal(row[known], other[known])


def broken(name: str) -> Callable[[sqlite3.Connection], object]:
    """Statements that break a file behind our back."""
    statements = {
        "value": "UPDATE item SET image = '{\"name\": 7}' WHERE kind = 'link' AND key = 'vox 1'",
        "history": "UPDATE item SET image = replace(image, 'hand', 'ear') WHERE kind = 'link' AND key = 'vox 1'",
        "tile": "UPDATE tile SET levels = substr(levels, 1, 9) WHERE id = 1",
        "fold": "DELETE FROM fold WHERE id = 1",
        "series": "DELETE FROM series WHERE id = 2",
    }
    return lambda connection: connection.execute(statements[name])


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("value", "what it holds: the link 'vox 1' can't be understood"),
        ("history", "its history: change 1 does not fit what link 'vox 1' became"),
        ("tile", "its sweeps: the sweeps from 1 on of series 1 are damaged"),
        ("fold", "the tables: row 1 of tile belongs to a fold that is not there"),
        ("series", "its sweeps: the survey 'load-in' lacks its series 2"),
    ],
)
def test_damage_is_told(path: Path, name: str, said: str) -> None:
    made(path)
    with closing(sqlite3.connect(path)) as plain, plain:
        broken(name)(plain)
    assert any(line.startswith(said) for line in check(path).damage), check(path).damage


def test_nothing_is_left_where_nothing_can_be_read(path: Path, tmp_path: Path) -> None:
    path.write_bytes(b"SQLite format 3\x00" + b"\xff" * 5000)
    with pytest.raises(InputError):
        rescue(path, tmp_path / "rescued.fallow")
    assert [one.name for one in tmp_path.iterdir()] == [path.name]
