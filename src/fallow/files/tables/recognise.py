"""Is a file a plan? Its headings tell, before anything is read as one."""

from __future__ import annotations

import csv
from pathlib import Path

from fallow.errors import InputError
from fallow.files.source import TextFile
from fallow.files.tables.columns import FREQUENCY, Column, find_columns
from fallow.files.tables.grid import FilePath
from fallow.files.tables.show_tables import EQUIPMENT, LINK, LINK_FREQUENCY

__all__ = ["is_plan"]

_NEEDED = (LINK, EQUIPMENT, Column(LINK_FREQUENCY.words, FREQUENCY, required=True))
_HEAD_BYTES = 65536
_TITLE_LINES = 10  # how far down headings are looked for, as in a table
_DELIMITERS = (",", ";", "\t", "|")


def is_plan(path: FilePath) -> bool:
    """Whether one of the first lines holds the headings link, equipment and frequency, in whatever spelling."""
    path = Path(path)
    if not path.is_file():
        return False
    try:
        encoding = TextFile.open(path).encoding
    except InputError:
        return False  # no text: whoever reads it as sweeps says what it is
    with path.open("rb") as stream:
        head = stream.read(_HEAD_BYTES).decode(encoding, errors="replace").removeprefix("\ufeff")
    lines = [line for line in head.splitlines() if line.strip()][: _TITLE_LINES + 1]
    return any(_has_headings(line, delimiter) for line in lines for delimiter in _DELIMITERS)


def _has_headings(line: str, delimiter: str) -> bool:
    cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    return len(find_columns(cells, _NEEDED)[0]) == len(_NEEDED)
