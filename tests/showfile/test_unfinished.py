"""Unfinished files are taken away where a dead program of this computer left them for the same file, and only there."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from fallow.showfile.unfinished import clear_unfinished, discard, unfinished


def dead() -> int:
    """The number of a program that has ended."""
    program = subprocess.Popen([sys.executable, "-c", ""])
    program.wait()
    return program.pid


def named(path: Path, pid: int, step: str = "") -> Path:
    """The name that another program of this computer would have given."""
    mine = unfinished(path, step)
    computer, _, rest = mine.name.removeprefix(f".{path.name}.").partition("-")
    ending = rest.lstrip("0123456789")
    return mine.with_name(f".{path.name}.{computer}-{pid}{ending}")


def test_only_what_dead_programs_of_this_computer_left_for_this_file_goes(tmp_path: Path) -> None:
    path, gone = tmp_path / "gala.fallow", dead()
    stale = [named(path, gone), named(path, gone, "-import")]
    stale += [one.with_name(f"{one.name}-wal") for one in stale]
    stale.append(unfinished(stale[1]))  # made on the way to what is unfinished
    kept = [
        path,
        named(tmp_path / "other.fallow", gone),
        unfinished(path),  # ours
        tmp_path / f".gala.fallow.00000000-{gone}.part",  # of another computer
        tmp_path / f".gala.fallow.{gone}.part",
        tmp_path / ".gala.fallow.swp",
    ]
    for one in (*stale, *kept):
        one.write_text("invented", encoding="utf-8")
    folder = named(path, gone, "-rescue")
    (folder / "inside").mkdir(parents=True)
    clear_unfinished(path)
    assert sorted(tmp_path.iterdir()) == sorted(kept)


def test_an_unfinished_file_goes_with_what_sqlite_put_beside_it(tmp_path: Path) -> None:
    part = unfinished(tmp_path / "gala.fallow")
    for ending in ("", "-wal", "-shm", "-journal"):
        part.with_name(part.name + ending).write_text("invented", encoding="utf-8")
    discard(part)
    assert list(tmp_path.iterdir()) == []
    discard(part)


def test_a_folder_that_is_not_there_is_no_trouble(tmp_path: Path) -> None:
    assert unfinished(tmp_path / "nowhere" / "gala.fallow").parent.name == "nowhere"
