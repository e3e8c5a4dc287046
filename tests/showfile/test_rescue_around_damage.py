"""A rescue comes to an end, quickly, whatever stands where a page should be, and what it makes is whole.

Pages of a database file: https://sqlite.org/fileformat2.html, 1.2 and 1.6 (a page that stands in another's place holds
rows whose keys fall).
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

import numpy as np
import pytest

from fallow.errors import InputError
from fallow.show.link import Link
from fallow.showfile import rescue as module
from fallow.showfile.checking import check
from fallow.showfile.kinds import EQUIPMENT, LINKS
from fallow.showfile.rescue import rescue
from fallow.showfile.store import ShowFile
from showfile import invented

LINKS_MADE, TRIALS = 200, 16


@pytest.fixture
def whole(path: Path) -> bytes:
    """The bytes of a show whose tables have several pages each."""
    with ShowFile.create(path, "Kim") as show:
        for first in range(0, LINKS_MADE, 20):
            with show.change("", f"links from {first}") as change:
                change.put(EQUIPMENT, invented.HAND)
                change.put(LINKS, *(Link(f"vox {first + i}", "hand") for i in range(20)))
    return path.read_bytes()


def page_bytes(path: Path) -> int:
    connection = sqlite3.connect(path)
    (size,) = connection.execute("PRAGMA page_size").fetchone()
    connection.close()
    return int(size)


def rescued_links(path: Path, damaged: bytes, to: Path) -> list[str]:
    """The names of the links that are left; none where nothing can be read."""
    path.write_bytes(damaged)
    to.unlink(missing_ok=True)
    try:
        rescue(path, to, "Kim")
    except InputError:
        assert not to.exists()
        return []
    assert check(to).is_whole
    with ShowFile.open(to) as show:
        return [link.name for link in show.all(LINKS)]


def test_pages_in_the_place_of_others(path: Path, tmp_path: Path, whole: bytes) -> None:
    size, draw = page_bytes(path), np.random.default_rng(5)
    pages = len(whole) // size
    counts = []
    for _ in range(TRIALS):
        source, target = draw.integers(1, pages, 2) * size
        damaged = whole[:target] + whole[source : source + size] + whole[target + size :]
        names = rescued_links(path, damaged, tmp_path / "rescued.fallow")
        assert len(names) == len({*names})
        counts.append(len(names))
    assert np.median(counts) >= 0.9 * LINKS_MADE


def test_files_cut_anywhere(path: Path, tmp_path: Path, whole: bytes) -> None:
    for share in np.linspace(0.05, 0.99, TRIALS // 2):
        names = rescued_links(path, whole[: int(share * len(whole))], tmp_path / "rescued.fallow")
        assert len(names) == len({*names})


def test_keys_are_tried_densely_near_the_damage_and_a_far_end_is_reached_soon() -> None:
    keys = list(module._keys_beyond(7))
    assert keys[:3000] == list(range(8, 3008))
    assert len(keys) < 10_000
    assert keys[-1] > 2**39
