"""Any sweep in any notation, dialect and shape reads back as it was written, or a question is asked where two
readings remain.

The writer knows nothing of the reader. What may be asked about is decided here by arithmetic alone: kilohertz above a
gigahertz without a stated unit are short wave in hertz.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from fallow.files import read_file, source
from written_sweeps import Style, noise

HEADINGS = (
    "Frequency",
    "Frequenz",
    "Fréquence",
    "Frecuencia",
    "Frequenza",
    "Frequentie",
    "Frequência",
    "Frekvens",
    "周波数",
    "f",
)
BANDS_HZ = (
    (470_000_000, 138),
    (88_000_000, 20),
    (174_000_000, 56),
    (863_000_000, 2),
    (1_785_000_000, 20),
    (2_400_000_000, 83),
)
PLACES = {"Hz": 0, "kHz": 3, "MHz": 6}
SHAPES = ("columns", "counted", "level first", "falling", "stacked", "matrix", "transposed")


@dataclass(frozen=True)
class Written:
    """What is written: ``stated`` tells where the unit stands."""

    style: Style
    shape: str
    unit: str
    stated: str
    heading: str
    band: tuple[int, int]
    n: int
    sweeps: int
    decimals: int
    seed: int

    @property
    def frequencies_hz(self) -> list[int]:
        step = self.band[1] * 1000 // (self.n - 1) * 1000
        return [self.band[0] + place * step for place in range(self.n)]

    @property
    def levels(self) -> list[list[Decimal]]:
        return noise(self.n, self.sweeps, seed=self.seed, decimals=self.decimals)

    @property
    def may_be_asked(self) -> bool:
        return self.stated == "nowhere" and self.unit == "kHz" and self.band[0] > 10**9

    def text(self) -> bytes:
        behind = f" {self.unit}" if self.stated == "cells" else ""
        scaled = [Decimal(value).scaleb(-PLACES[self.unit]) for value in self.frequencies_hz]
        cells = [self.style.number(value) + behind for value in scaled]
        rows = [[self.style.number(level) for level in sweep] for sweep in self.levels]
        heading = self.heading + (f" ({self.unit})" if self.stated == "heading" else "")
        return self.style.encoded([self.style.line(line) for line in self._lines(cells, rows, heading)])

    def _lines(self, cells: list[str], rows: list[list[str]], heading: str) -> list[list[str]]:
        stamps = [f"2024-05-13 12:00:{second:02d}" for second in range(len(rows))]
        if self.shape == "matrix":
            corner = "time" if self.stated != "heading" else f"time/{self.unit}"
            return [[corner, *cells], *([stamp, *row] for stamp, row in zip(stamps, rows, strict=True))]
        if self.shape == "transposed":
            return [[heading, *stamps], *([cell, *column] for cell, *column in zip(cells, *rows, strict=True))]
        points = [[cell, level] for row in rows for cell, level in zip(cells, row, strict=True)]
        if self.shape == "counted":
            return [["No", heading, "Level"], *([str(place + 1), *point] for place, point in enumerate(points))]
        if self.shape == "level first":
            return [["Level", heading], *(point[::-1] for point in points)]
        return [[heading, "Level"], *(points[::-1] if self.shape == "falling" else points)]


@st.composite
def written(draw: st.DrawFn) -> Written:
    decimal = draw(st.sampled_from(".,"))
    delimiter = draw(st.sampled_from([char for char in ",;\t|" if char != decimal]))
    groups = ["", "'", "’", "\u00a0", "\u202f", " ", *(char for char in ".," if char not in (decimal, delimiter))]
    style = Style(
        delimiter,
        decimal,
        draw(st.sampled_from(groups)),
        draw(st.sampled_from(["-", "\u2212", "\u200e-"])),
        draw(st.sampled_from(["0123456789", "٠١٢٣٤٥٦٧٨٩"])),
        draw(st.sampled_from(["\n", "\r\n", "\r"])),
        draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le"])),
        trailing=draw(st.booleans()),
    )
    shape = draw(st.sampled_from(SHAPES))
    return Written(
        style,
        shape,
        draw(st.sampled_from(list(PLACES))),
        draw(st.sampled_from(["heading", "cells", "nowhere"])),
        draw(st.sampled_from(HEADINGS)),
        draw(st.sampled_from(BANDS_HZ)),
        draw(st.integers(9, 60)),
        draw(st.integers(2, 4)) if shape in ("stacked", "matrix", "transposed") else 1,
        draw(st.integers(0, 3)),
        draw(st.integers(0, 1000)),
    )


@settings(max_examples=300)
@given(written())
def test_what_is_written_is_read(sweep: Written) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sweep.txt"
        path.write_bytes(sweep.text())
        reading = read_file(path)
    if reading.needs:
        event("asked")
        assert sweep.may_be_asked, reading.needs
        return
    assert not sweep.may_be_asked
    (series,) = reading.series
    np.testing.assert_allclose(series.axis.centres_hz, sweep.frequencies_hz, atol=0.5)
    expected = np.array(sweep.levels, dtype=np.float64)
    np.testing.assert_allclose(series.levels_db, expected, atol=1e-3)


def test_the_quick_way_and_the_plain_way_agree(tmp_path: Path) -> None:
    """The same numbers, once so that pyarrow can read them and once with a unit in each cell, which only the plain
    way can."""
    quick = Written(Style(), "stacked", "MHz", "heading", "Frequency", BANDS_HZ[0], 40, 3, 2, 7)
    plain = replace(quick, stated="cells")
    readings = []
    for name, sweep in (("quick.csv", quick), ("plain.csv", plain)):
        (tmp_path / name).write_bytes(sweep.text())
        readings.append(read_file(tmp_path / name))
    np.testing.assert_array_equal(readings[0].series[0].levels_db, readings[1].series[0].levels_db)
    assert readings[0].series[0].axis == readings[1].series[0].axis


@settings(max_examples=60)
@given(written(), st.integers(100, 700))
def test_blocks_of_any_size_give_the_same_sweeps(sweep: Written, block_bytes: int) -> None:
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        path = Path(folder) / "sweep.txt"
        path.write_bytes(sweep.text())
        whole = read_file(path)
        patch.setattr(source, "BLOCK_BYTES", block_bytes)
        pieces = read_file(path)
    for one, other in zip(whole.series, pieces.series, strict=True):
        assert one.axis == other.axis
        np.testing.assert_array_equal(one.levels_db, other.levels_db)
    assert (whole.start_local, whole.notes) == (pieces.start_local, pieces.notes)
