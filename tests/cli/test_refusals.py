"""Files that can't be read: one sentence on stderr however many they are; the answer itself names each.

Truth: the contract of the commands (docs/commands.md): exit 2 where nothing is readable or a question is open, 1 where
one file of several is unreadable.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def bad(tmp_path: Path) -> list[Path]:
    """Three files without sweeps: binary, empty, missing."""
    (tmp_path / "binary.csv").write_bytes(b"\x00\x01\x02 no sweep \xff\xfe")
    (tmp_path / "empty.csv").touch()
    return [tmp_path / name for name in ("binary.csv", "empty.csv", "missing.csv")]


@pytest.fixture
def asking(tmp_path: Path) -> list[Path]:
    """Two files that leave their units open."""
    paths = [tmp_path / "open 1.txt", tmp_path / "open 2.txt"]
    for path in paths:
        path.write_text("\n".join(f"{30000 + 10 * i};{-90 - i % 3}" for i in range(100)), encoding="utf-8")
    return paths


def sentences(err: str) -> list[str]:
    return [line for line in err.splitlines() if line.startswith("fallow: ")]


@pytest.mark.parametrize("command", ["read", "air"])
def test_nothing_readable_is_one_sentence(run: Run, bad: list[Path], command: str) -> None:
    code, out, err = run(command, *bad)
    (said,) = sentences(err)
    assert code == 2
    assert "binary.csv" in said
    assert said.endswith("(and 2 more files could not be read)")
    if command == "read":
        assert all(path.name in out for path in bad)
        assert out.count("not read:") == 3


def test_a_single_one_needs_no_table(run: Run, bad: list[Path]) -> None:
    code, out, err = run("read", bad[1])
    assert (code, out, sentences(err)) == (2, "", [f"fallow: {bad[1]}: the file is empty"])


def test_some_of_several_are_one_sentence_too(run: Run, bad: list[Path], sweeps: Path) -> None:
    code, out, err = run("read", sweeps, *bad)
    (said,) = sentences(err)
    assert code == 1
    assert said.endswith("(and 2 more files could not be read)")
    assert [name for name in ("binary", "empty", "missing") if f"{name}.csv" in out] == ["binary", "empty", "missing"]
    assert out.count("not read:") == 3
    files = json.loads(run("read", sweeps, *bad, "--json")[1])["files"]
    assert [Path(one["path"]).name for one in files] == ["hall.csv", "binary.csv", "empty.csv", "missing.csv"]
    assert [one.get("error") is None for one in files] == [True, False, False, False]
    code, out, err = run("air", sweeps, *bad, "--rbw", "25k", "--json")
    assert (code, len(sentences(err))) == (1, 1)
    assert sum(note.startswith("not read:") for note in json.loads(out)["notes"]) == 3


def test_open_questions_are_one_sentence(run: Run, bad: list[Path], asking: list[Path]) -> None:
    code, out, err = run("read", *asking, bad[0])
    (said,) = sentences(err)
    assert code == 2
    assert said.startswith(f"fallow: {asking[0]}: ")
    assert said.endswith("(1 more file left something open, 1 more file could not be read)")
    assert out.count("open: ") == 2
    files = json.loads(run("read", *asking, "--json")[1])["files"]
    assert all(one["needs"] for one in files)
