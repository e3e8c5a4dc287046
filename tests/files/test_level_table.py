"""Tables of measured levels: a name and a level in dBm, nothing else taken for one."""

from __future__ import annotations

import pytest

from fallow.errors import InputError
from fallow.files.tables import read_measured


def read(tmp_path, text):
    path = tmp_path / "measured.csv"
    path.write_text(text, encoding="utf-8")
    return read_measured(path)


@pytest.mark.parametrize(
    "text",
    ["link,level_dbm\nvox 1,-55.5\nvox 2,-61\n", "name;pegel\nvox 1;-55,5 dBm\nvox 2;-61\n"],
)
def test_levels_by_name(tmp_path, text):
    assert read(tmp_path, text) == {"vox 1": -55.5, "vox 2": -61.0}


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("link,level_dbm\nvox 1,\n", "the cell is empty"),
        ("link,level_dbm\nvox 1,loud\n", "'loud' is no number"),
        ("link,level_dbm\nvox 1,55\n", "'55' is no level at an antenna"),
        ("link,level_dbm\nvox 1,-400\n", "'-400' is no level at an antenna"),
        ("link,level_dbm\nvox 1,-50\nvox 1,-51\n", "'vox 1' stands in line 2 already"),
        ("link,level_dbuv\nvox 1,55\n", "there is no column level_dbm"),
    ],
)
def test_mistakes(tmp_path, text, what):
    with pytest.raises(InputError) as raised:
        read(tmp_path, text)
    assert raised.value.what == what
