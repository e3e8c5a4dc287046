"""Consoles that lack a letter show a plain one in its place; JSON is UTF-8 on all of them.

Truth: RFC 8259, 8.1 (JSON is UTF-8); which letters a console has is told by Python's own codecs.
"""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from fallow.cli.lettering import plain

PROGRAM = "from fallow.cli import run; run()"
HALVES = set(map(chr, (0xD800, 0xDFFF)))  # of letters, no letters themselves
CONSOLES = ["ascii", "cp437", "cp1252", "latin-1", "utf-8"]


def typed(encoding: str, *words: object) -> subprocess.CompletedProcess[bytes]:
    environment = os.environ | {"PYTHONIOENCODING": encoding, "COLUMNS": "80"}
    command = [sys.executable, "-c", PROGRAM, *map(str, words)]
    return subprocess.run(command, env=environment, capture_output=True, check=False)


@pytest.mark.parametrize("encoding", CONSOLES)
def test_a_screen_has_no_question_marks_for_letters(encoding: str, sweeps: Path) -> None:
    words = ("air", sweeps, "--rbw", "25k", "--width", "2M")
    ended = typed(encoding, *words)
    out = ended.stdout.decode(encoding)
    assert ended.returncode == 0
    assert out.count("?") == typed("utf-8", *words).stdout.count(b"?")  # the mark of what is doubtful
    assert all(len(line) <= 80 for line in out.splitlines())  # laid out with the letters that are printed
    sign = "+-" if encoding == "ascii" else "±"
    assert f"{sign}1.5 dB over frequency" in out


@pytest.mark.parametrize("encoding", CONSOLES)
def test_a_sentence_on_stderr_too(encoding: str, tmp_path: Path) -> None:
    ended = typed(encoding, "air", tmp_path / "Bühne ≤ 3 × 4.csv")
    err = ended.stderr.decode(encoding)
    assert ended.returncode == 2
    assert {"ascii": "Buhne <= 3 x 4.csv", "cp437": "Bühne ≤ 3 x 4.csv"}.get(encoding, "hne ") in err


@pytest.mark.parametrize("encoding", CONSOLES)
def test_json_is_utf_8_everywhere(encoding: str, sweeps: Path) -> None:
    told = sweeps.rename(sweeps.with_name("Bühne ≤ 3.csv"))
    document = json.loads(typed(encoding, "air", told, "--json").stdout.decode("utf-8"))
    assert any("Bühne ≤ 3.csv" in note for note in document["notes"])


@pytest.mark.skipif(sys.platform != "linux", reason="only here may a file's name be any bytes")
@pytest.mark.parametrize(("name", "told"), [(b"B\xfchne.csv", "B\ufffdhne.csv"), ("Bühne.csv".encode(), "Bühne.csv")])
def test_names_that_are_no_text_break_nothing(tmp_path: Path, sweeps: Path, name: bytes, told: str) -> None:
    path = os.fsencode(tmp_path) + b"/" + name
    Path(os.fsdecode(path)).write_bytes(sweeps.read_bytes())
    plain_locale = os.environ | {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    for words in (["read", path], ["read", path, "--json"], ["air", path, "--json"]):
        command = [sys.executable, "-c", PROGRAM, *words]
        ended = subprocess.run(command, env=plain_locale, capture_output=True, check=False)
        assert (ended.returncode, ended.stderr) == (0, b"")
        if "--json" in words:
            assert told in json.dumps(json.loads(ended.stdout.decode("utf-8")), ensure_ascii=False)


def test_every_letter_of_ours_has_a_plain_one(package: Path) -> None:
    """Whatever stands in a sentence of the program; what readers look for in files is another thing."""
    for path in sorted(package.rglob("*.py")):
        if "files" in path.relative_to(package).parts:
            continue
        nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
        documents = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
        texts = [node.value for node in nodes if isinstance(node, ast.Constant) and id(node) not in documents]
        letters = {letter for text in texts if isinstance(text, str) for letter in text if not letter.isascii()}
        odd = {letter for letter in letters - HALVES if "?" in plain(letter, "ascii")}
        assert not odd, f"{path.name}: {odd}"


def test_what_no_letter_resembles_is_a_question_mark() -> None:
    assert plain("±1 dB at −90 dBm, 波形", "ascii") == "+-1 dB at -90 dBm, ??"
    assert plain("±1 dB at −90 dBm", "cp1252") == "±1 dB at -90 dBm"
    assert plain("café, Größe, 2A−B ≤ 50 kHz …", "ascii") == "cafe, Grosse, 2A-B <= 50 kHz ..."
