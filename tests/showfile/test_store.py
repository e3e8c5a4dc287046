"""Opening, writing by one, reading by many, closing; files of other programs, of newer and of older versions.

Truth: what another connection of SQLite sees, and what a second program is told.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import sqlite3
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from fallow.errors import InputError, OutputError, UsageError
from fallow.show.link import Link
from fallow.showfile import schema
from fallow.showfile.checking import check
from fallow.showfile.kinds import LINKS, SETTINGS, SURVEYS
from fallow.showfile.opening import version_in
from fallow.showfile.store import ShowFile
from fallow.showfile.surveys import read_survey
from fallow.showfile.values import Setting
from showfile import invented
from showfile.surveys_alike import assert_same

HOLDS_IT = """
import sys
from fallow.showfile.store import ShowFile
with ShowFile.open(sys.argv[1], write=True, who="Robin") as show:
    print("open", flush=True)
    sys.stdin.readline()
"""


@contextmanager
def another_writer(path: Path, package: Path) -> Iterator[subprocess.Popen[str]]:
    """A second program that has the file open for writing."""
    environment = {**os.environ, "PYTHONPATH": str(package.parent)}
    command = [sys.executable, "-c", HOLDS_IT, str(path)]
    with subprocess.Popen(
        command, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as program:
        assert program.stdout is not None
        assert program.stdout.readline() == "open\n"
        try:
            yield program
        finally:
            program.kill()


def with_links(path: Path, *names: str) -> None:
    """A file with these links, closed."""
    with ShowFile.create(path, "Kim") as show, show.change("", "links") as change:
        change.put(LINKS, *(Link(name, "hand") for name in names))


def test_a_closed_file_is_whole_by_itself(path: Path, tmp_path: Path) -> None:
    with_links(path, "vox 1")
    assert [one.name for one in tmp_path.iterdir()] == [path.name]
    with ShowFile.open(path) as show:
        assert [link.name for link in show.all(LINKS)] == ["vox 1"]
        assert not show.may_write
        assert show.writer is None


def test_other_programs_can_tell_what_it_is(path: Path) -> None:
    with_links(path)
    head = path.read_bytes()[:100]
    assert struct.unpack_from(">I", head, 68)[0] == schema.APPLICATION_ID  # https://sqlite.org/fileformat2.html
    assert version_in(path) == schema.VERSION
    with closing(sqlite3.connect(path)) as plain:
        assert all(sql.endswith("STRICT") for (sql,) in plain.execute(
            "SELECT sql FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
        ))  # fmt: skip


def test_it_is_never_made_over_another_file(path: Path) -> None:
    path.write_text("somebody's letter", encoding="utf-8")
    with pytest.raises(OutputError, match="there is a file of this name already"):
        ShowFile.create(path)
    assert path.read_text(encoding="utf-8") == "somebody's letter"


def test_it_makes_no_folders(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="its folder does not exist"):
        ShowFile.create(tmp_path / "nowhere" / "gala.fallow")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "the file is empty, and no show file"),
        (b"frequency,level\n470.0,-90\n", "this is no show file"),
        (b"SQLite format 3\x00 and no more", "the file is cut off in its first bytes, and nothing can be read"),
    ],
)
def test_what_is_no_show_file_is_refused(path: Path, content: bytes, what: str) -> None:
    path.write_bytes(content)
    for write in (False, True):
        with pytest.raises(InputError) as caught:
            ShowFile.open(path, write=write)
        assert str(caught.value) == f"{path}: {what}"
    assert path.read_bytes() == content


def test_a_database_of_another_program_is_refused(path: Path) -> None:
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE a (b)")
    with pytest.raises(InputError, match="this is a database of another program"):
        ShowFile.open(path, write=True)


def test_a_file_that_is_not_there(path: Path) -> None:
    with pytest.raises(InputError, match=r"can't be opened \(no such file or directory\)"):
        ShowFile.open(path)
    assert not path.exists()


# --- one writer, many readers


def test_a_second_writer_is_told_who_writes_and_a_reader_too(path: Path, package: Path) -> None:
    with_links(path, "vox 1")
    with another_writer(path, package) as program:
        with pytest.raises(UsageError) as caught:
            ShowFile.open(path, write=True, who="Kim")
        assert str(caught.value).startswith(f"{path}: Robin (since ")
        assert f"on this computer, process {program.pid}) is writing to the file" in str(caught.value)
        assert caught.value.hint == "wait until it is closed there, or open it to look"
        with ShowFile.open(path) as show:
            assert len(show.notes) == 1
            assert show.notes[0].startswith("Robin (since ")
            assert [link.name for link in show.all(LINKS)] == ["vox 1"]
        program.communicate("\n", timeout=20)
        with ShowFile.open(path, write=True, who="Kim", wait_s=20) as show:
            assert show.may_write


def test_a_second_writer_may_wait(path: Path, package: Path) -> None:
    with_links(path)
    with another_writer(path, package) as program:
        assert program.stdin is not None
        program.stdin.write("\n")
        program.stdin.flush()
        with ShowFile.open(path, write=True, who="Kim", wait_s=20) as show:
            assert show.writer is not None
            assert show.writer.who == "Kim"


IN_A_LONG_CHANGE = """
import sys, time
from fallow.showfile.kinds import SETTINGS
from fallow.showfile.store import ShowFile
from fallow.showfile.values import Setting
with ShowFile.open(sys.argv[1], write=True, who="Robin") as show, show.change("", "long") as change:
    change.put(SETTINGS, Setting("site", "Elsewhere"))
    print("open", flush=True)
    time.sleep(float(sys.argv[2]))
"""


@contextmanager
def long_change(path: Path, package: Path, seconds: float) -> Iterator[subprocess.Popen[str]]:
    """A second program is in the middle of a change for so long."""
    environment = {**os.environ, "PYTHONPATH": str(package.parent)}
    command = [sys.executable, "-c", IN_A_LONG_CHANGE, str(path), str(seconds)]
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        assert program.stdout.readline() == "open\n"
        try:
            yield program
        finally:
            program.kill()


def test_a_writer_in_a_long_change_is_told_by_name_after_the_time_that_was_said(path: Path, package: Path) -> None:
    with_links(path)
    with long_change(path, package, 60) as program:
        for wait_s in (0.0, 1.0):
            began = time.monotonic()
            with pytest.raises(UsageError) as caught:
                ShowFile.open(path, write=True, who="Kim", wait_s=wait_s)
            assert wait_s <= time.monotonic() - began < wait_s + 2
            assert str(caught.value).startswith(f"{path}: Robin (since ")
            assert f"process {program.pid}) is writing to the file" in str(caught.value)


@pytest.mark.slow
def test_a_change_longer_than_sqlite_waits_is_waited_for(path: Path, package: Path) -> None:
    with_links(path)
    with long_change(path, package, 7), ShowFile.open(path, write=True, who="Kim", wait_s=60) as show:
        assert show.get(SETTINGS, "site") == Setting("site", "Elsewhere")
        assert show.connection.execute("PRAGMA busy_timeout").fetchone()[0] > 0


def test_nobody_waits_for_the_dead(path: Path, package: Path) -> None:
    with_links(path, "vox 1")
    with another_writer(path, package) as program:
        program.send_signal(signal.SIGKILL)
        program.wait(20)
    with ShowFile.open(path) as show:
        assert show.writer is None
    with ShowFile.open(path, write=True, who="Kim") as show:
        assert len(show.notes) == 1
        assert "Robin" in show.notes[0]
        assert "did not close the file" in show.notes[0]
        assert [link.name for link in show.all(LINKS)] == ["vox 1"]


def test_a_number_that_went_to_another_program_is_not_taken_for_the_writer(path: Path) -> None:
    with_links(path)
    with closing(sqlite3.connect(path)) as plain, plain:
        row = ("Robin", "2026-07-18T18:00:00+00:00", socket.gethostname(), os.getpid(), "1")
        plain.execute("INSERT INTO writer VALUES (1, ?, ?, ?, ?, ?)", row)
    if Path("/proc/self/stat").exists():
        with ShowFile.open(path, write=True) as show:
            assert show.may_write


def test_a_writer_on_another_computer_may_be_alive(path: Path) -> None:
    with_links(path)
    with closing(sqlite3.connect(path)) as plain, plain:
        plain.execute("INSERT INTO writer VALUES (1, 'Robin', '2026-07-18T18:00:00+00:00', 'the van', 1, '')")
    with pytest.raises(UsageError, match=r"Robin .* on the van, process 1") as caught:
        ShowFile.open(path, write=True)
    assert "--release" in str(caught.value.hint)


def test_a_reader_sees_one_state_while_another_writes(path: Path) -> None:
    with_links(path, "vox 1")
    with ShowFile.open(path, write=True, who="Kim") as writing, ShowFile.open(path) as reading:
        with reading.snapshot():
            assert len(reading.all(LINKS)) == 1
            with writing.change("", "another") as change:
                change.put(LINKS, Link("vox 2", "hand"))
            assert len(reading.all(LINKS)) == 1
        assert len(reading.all(LINKS)) == 2


def test_a_reader_can_not_write(path: Path) -> None:
    with_links(path)
    with (
        ShowFile.open(path) as show,
        pytest.raises(UsageError, match="open for reading only"),
        show.change("", "") as change,
    ):
        change.put(LINKS, Link("vox 1", "hand"))


def test_what_was_stored_survives_kill_minus_nine_with_its_log(path: Path, package: Path, tmp_path: Path) -> None:
    with_links(path)
    program = """
import os, signal, sys
from fallow.show.link import Link
from fallow.showfile.kinds import LINKS
from fallow.showfile.store import ShowFile
show = ShowFile.open(sys.argv[1], write=True, who="Robin")
with show.change("", "links") as change:
    change.put(LINKS, Link("vox 1", "hand"))
os.kill(os.getpid(), signal.SIGKILL)
"""
    environment = {**os.environ, "PYTHONPATH": str(package.parent)}
    subprocess.run([sys.executable, "-c", program, str(path)], env=environment, check=False)
    assert Path(f"{path}-wal").stat().st_size > 0
    with ShowFile.open(path) as show:  # a reader, before anybody has repaired anything
        assert [link.name for link in show.all(LINKS)] == ["vox 1"]
    copied = tmp_path / "copied"
    copied.mkdir()
    for beside in ("", "-wal"):
        shutil.copy(f"{path}{beside}", copied)
    with ShowFile.open(copied / path.name) as show:
        assert [link.name for link in show.all(LINKS)] == ["vox 1"]


@pytest.mark.skipif(os.name == "nt", reason="folders are read-only in another way there")
def test_a_stick_that_can_only_be_read(path: Path) -> None:
    with_links(path, "vox 1")
    path.chmod(0o444)
    path.parent.chmod(0o555)
    try:
        with ShowFile.open(path) as show:
            assert [link.name for link in show.all(LINKS)] == ["vox 1"]
    finally:
        path.parent.chmod(0o755)


# --- versions


def test_a_newer_version_is_read_and_not_written(path: Path) -> None:
    with_links(path, "vox 1")
    with closing(sqlite3.connect(path)) as plain:
        plain.execute("CREATE TABLE of_the_future (id INTEGER PRIMARY KEY) STRICT")
        plain.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    before = path.read_bytes()
    with ShowFile.open(path) as show:
        assert show.is_newer
        assert len(show.notes) == 1
        assert show.notes[0].startswith("a newer fallow wrote this file")
        assert [link.name for link in show.all(LINKS)] == ["vox 1"]
    with pytest.raises(UsageError, match="the file is of a newer fallow") as caught:
        ShowFile.open(path, write=True)
    assert caught.value.hint == "update fallow, or export what you need from it"
    found = check(path)
    assert (found.damage, found.is_newer, found.values, found.changes) == ((), True, 1, 1)
    assert path.read_bytes() == before


SAMPLES = sorted((Path(__file__).parent.parent / "samples" / "shows").glob("version-*.fallow"))


def test_there_is_a_sample_of_each_version() -> None:
    assert [sample.name for sample in SAMPLES] == [f"version-{n}.fallow" for n in range(1, schema.VERSION + 1)]


def old(sample: Path, path: Path) -> int:
    """Put a sample where it can be written; returns its version."""
    shutil.copy(sample, path)
    path.chmod(0o644)
    return version_in(sample)


def assert_holds_the_sample(show: ShowFile, version: int) -> None:
    assert show.version == schema.VERSION
    assert [link.name for link in show.all(LINKS)] == ["vox 1", "vox 2", "ear 1"]
    assert show.get(SETTINGS, "site") == Setting("site", "Invented Hall")
    assert [change.what for change in show.changes()][:4] == ["links: 3 added", "site", "site", "undo: site"]
    for head in show.all(SURVEYS):  # from version 2 on
        assert_same(invented.survey("sweeper 2" if version >= 3 else ""), read_survey(show, head))


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.stem)
def test_every_older_version_is_brought_up_to_date_with_a_copy_beside_it(sample: Path, path: Path) -> None:
    version = old(sample, path)
    with ShowFile.open(path, write=True) as show:
        assert_holds_the_sample(show, version)
    copy = path.with_name(f"{path.name}.version-{version}")
    assert copy.exists() == (version < schema.VERSION)
    if copy.exists():
        assert version_in(copy) == version
    assert check(path).is_whole


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.stem)
def test_to_look_into_an_older_version_leaves_it_as_it_is(sample: Path, path: Path) -> None:
    version = old(sample, path)
    before = path.read_bytes()
    with ShowFile.open(path) as show:
        assert_holds_the_sample(show, version)
        assert any("it stays as it is until something in it is changed" in note for note in show.notes) == (
            version < schema.VERSION
        )
        with pytest.raises(sqlite3.OperationalError, match=r"readonly|read-only"):
            show.connection.execute("DELETE FROM item")
    found = check(path)
    assert (found.damage, found.version) == ((), version)
    assert (found.values, found.changes) > (3, 3)
    assert path.read_bytes() == before
    assert [one.name for one in path.parent.iterdir()] == [path.name]


def test_an_older_version_that_somebody_writes_to_is_read_up_to_its_last_change(path: Path) -> None:
    old(SAMPLES[0], path)
    with closing(sqlite3.connect(path, isolation_level=None)) as writing:
        writing.execute("PRAGMA journal_mode = WAL")
        writing.execute("UPDATE item SET image = replace(image, 'Invented Hall', 'Elsewhere') WHERE kind = 'setting'")
        with ShowFile.open(path) as show:
            assert show.get(SETTINGS, "site") == Setting("site", "Elsewhere")


def test_a_step_that_fails_leaves_the_file_as_it_was(path: Path) -> None:
    with_links(path, "vox 1")
    steps = (*schema.STEPS, ("CREATE TABLE half (id INTEGER PRIMARY KEY) STRICT", "this is no statement"))
    with closing(sqlite3.connect(path, isolation_level=None)) as plain:
        with pytest.raises(sqlite3.OperationalError):
            schema.migrate(plain, steps)
        assert "half" not in schema.tables(plain)
        assert schema.version_of(plain) == schema.VERSION
