"""Every shape of table that is read, in small invented files written on the spot; and the questions that are asked,
or not."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from fallow.errors import InputError, UsageError
from fallow.files import FileReading, Telling, read_file
from fallow.spectrum.sweep import Detector
from written_sweeps import Style, columns, grid, noise

N = 121
FREQUENCIES = grid("470.000", "0.025", N)
LEVELS, OTHERS = noise(N, 2)
NAN = float("nan")


def read(folder: Path, lines: list[str] | str, **telling: object) -> FileReading:
    path = folder / "sweep.txt"
    path.write_text(lines if isinstance(lines, str) else "\n".join(lines) + "\n", encoding="utf-8")
    return read_file(path, Telling(**telling))  # type: ignore[arg-type]  # each test gives what it tells


def check(reading: FileReading, levels: list[Decimal] = LEVELS, sweeps: int = 1, n: int = N) -> None:
    assert reading.needs == ()
    assert (reading.low_hz, reading.high_hz) == (470_000_000, 470_000_000 + (n - 1) * 25_000)
    assert (reading.points, reading.sweeps) == (n, sweeps)
    expected = [float(level) for level in levels]
    np.testing.assert_allclose(reading.series[0].levels_db[0], expected, atol=1e-4, equal_nan=True)


def pairs(frequencies: list[Decimal] = FREQUENCIES, levels: list[Decimal] = LEVELS) -> list[str]:
    return [f"{frequency},{level}" for frequency, level in zip(frequencies, levels, strict=True)]


def matrix(times: list[str], corner: str = "time") -> list[str]:
    rows = noise(N, len(times))
    return [",".join([corner, *map(str, FREQUENCIES)])] + [
        ",".join([time, *map(str, row)]) for time, row in zip(times, rows, strict=True)
    ]


# --- columns ---


@pytest.mark.parametrize(
    "lines",
    [
        [f"{place},{pair}" for place, pair in enumerate(pairs())],
        [f"{place + 1},{pair}" for place, pair in enumerate(pairs())],
        ["No,Freq,Level", *(f"{place + 1},{pair}" for place, pair in enumerate(pairs()))],
        [f"{level},{frequency}" for frequency, level in zip(FREQUENCIES, LEVELS, strict=True)],
        pairs()[::-1],
        [f"{frequency} MHz,{level} dBm" for frequency, level in zip(FREQUENCIES, LEVELS, strict=True)],
        [f"{frequency} MHz {level} dBm" for frequency, level in zip(FREQUENCIES, LEVELS, strict=True)],
        [f"{1e6 * float(f):.6E},{float(level):.3e}" for f, level in zip(FREQUENCIES, LEVELS, strict=True)],
        [f"{1e6 * float(frequency)!r},{level}" for frequency, level in zip(FREQUENCIES, LEVELS, strict=True)],
        [f"  {frequency}   {level} " for frequency, level in zip(FREQUENCIES, LEVELS, strict=True)],
        ["Frequency (GHz),Power (dBm)", *(f"{f / 1000},{level}" for f, level in zip(FREQUENCIES, LEVELS, strict=True))],
        [f"{int(f * 1000)},{level}" for f, level in zip(FREQUENCIES, LEVELS, strict=True)],
    ],
    ids=["count from 0", "count from 1", "named count", "level first", "falling", "units in cells", "units between",
         "exponents", "float noise", "aligned", "gigahertz stated", "kilohertz not stated"],
)  # fmt: skip
def test_columns(tmp_path: Path, lines: list[str]) -> None:
    check(read(tmp_path, lines))


@pytest.mark.parametrize("between", [[], [""], ["Freq,Level"], ["", "# sweep", "Freq,Level"]], ids=str)
def test_sweeps_below_each_other(tmp_path: Path, between: list[str]) -> None:
    reading = read(tmp_path, [*pairs(), *between, *pairs(levels=OTHERS)])
    check(reading, sweeps=2)
    assert reading.layout.endswith("sweeps below each other")


def test_a_sweep_cut_off_is_not_measured_in_the_rest(tmp_path: Path) -> None:
    reading = read(tmp_path, [*pairs(), *pairs(levels=OTHERS)[:-30]])
    check(reading, sweeps=2)
    assert np.flatnonzero(np.isnan(reading.series[0].levels_db[1])).tolist() == list(range(N - 30, N))


def test_two_traces_without_heading_are_two_series(tmp_path: Path) -> None:
    reading = read(tmp_path, [f"{pair},{other}" for pair, other in zip(pairs(), OTHERS, strict=True)])
    check(reading)
    assert [part.trace for part in reading.series] == ["column 2", "column 3"]


@pytest.mark.parametrize(
    ("headings", "series"),
    [
        (("Sweep 1 (dBm)", "Sweep 2 (dBm)"), 1),
        (("Messung 1 [dBm]", "Messung 2 [dBm]"), 1),
        (("Trace 1 (dBm)", "Trace 2 (dBm)"), 2),
        (("Sweep 1 average (dBm)", "Sweep 1 max hold (dBm)"), 2),
    ],
)
def test_columns_numbered_as_sweeps_are_sweeps_and_traces_are_not(
    tmp_path: Path, headings: tuple[str, str], series: int
) -> None:
    rows = [f"{frequency},{level},{other}" for frequency, level, other in zip(FREQUENCIES, LEVELS, OTHERS, strict=True)]
    reading = read(tmp_path, [f"MHz,{headings[0]},{headings[1]}", *rows])
    check(reading, sweeps=3 - series)
    assert len(reading.series) == series
    others = reading.series[-1].levels_db[-1]
    np.testing.assert_allclose(others, [float(level) for level in OTHERS], atol=1e-4)


def test_spans_in_any_order_make_one_sweep(tmp_path: Path) -> None:
    reading = read(tmp_path, [*pairs()[60:], *pairs()[:60]])
    check(reading)


def test_a_time_in_each_row_tells_when_a_sweep_began(tmp_path: Path) -> None:
    lines = [f"2024-05-01 12:00:0{sweep},{pair}" for sweep in range(2) for pair in pairs()]
    reading = read(tmp_path, ["time,freq,level", *lines], zone="Europe/Berlin")
    check(reading, sweeps=2)
    assert reading.start == "2024-05-01T10:00:00Z"  # summer time, two hours ahead; source: IANA time zone database
    epoch = read(tmp_path, [f"171456000{sweep},{pair}" for sweep in range(2) for pair in pairs()])
    assert epoch.start == "2024-05-01T10:40:00Z"
    assert epoch.series[0].zone_known


def test_a_last_line_without_line_end_may_be_whole(tmp_path: Path) -> None:
    check(read(tmp_path, "\n".join(pairs())))


@pytest.mark.parametrize(("cut", "n"), [(2, N), (5, N), (6, N - 1), (9, N - 1)])
def test_a_cut_last_line(tmp_path: Path, cut: int, n: int) -> None:
    levels = [*LEVELS[:-1], NAN] if n == N else LEVELS[:-1]
    check(read(tmp_path, "\n".join(pairs())[:-cut]), levels, n=n)  # type: ignore[arg-type]  # NaN among the decimals


def test_a_row_without_frequency_is_no_gap_but_an_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"line 51, column 1: 'NaN' is no frequency"):
        read(tmp_path, [*pairs()[:50], "NaN,-95.0", *pairs()[50:]])


@pytest.mark.parametrize(
    ("preamble", "expected"),
    [
        (["Time zone: UTC+2", "Start time,2024-05-01 12:33:05"], (None, None, "2024-05-01T10:33:05Z")),
        (
            ["# rbw=10kHz detector=RMS start=2024-05-01T12:33:05+02:00"],
            (10e3, Detector.AVERAGE, "2024-05-01T10:33:05Z"),
        ),
        (
            ["Center Frequency,471.5,MHz", "RBW,10,kHz", "Trace Mode,Max Hold"],
            (10e3, Detector.MAX_HOLD, None),
        ),
        (["RBW (Hz),10000"], (10e3, None, None)),
        (["RBW;3,5 kHz", "Detektor;Spitzenwert"], (3500.0, Detector.PEAK, None)),
        (["Détecteur: crête", "Bande de résolution: 100 kHz"], (100e3, Detector.PEAK, None)),
        (['"Frequency', '(MHz)","Level', '(dBm)"'], (None, None, None)),
    ],
)
def test_what_stands_above_the_numbers(
    tmp_path: Path, preamble: list[str], expected: tuple[float | None, Detector | None, str | None]
) -> None:
    reading = read(tmp_path, [*preamble, *pairs()])
    check(reading)
    assert (reading.rbw_hz, reading.detector, reading.start) == expected


# --- matrices ---


@pytest.mark.parametrize(
    ("stamps", "start"),
    [
        ([f"2024-05-01T12:00:{s:02d}Z" for s in range(5)], "2024-05-01T12:00:00Z"),
        ([f"2024-05-01 12:00:{s:02d}+02:00" for s in range(5)], "2024-05-01T10:00:00Z"),
        ([f"2024-05-01 12:00:{s:02d}" for s in range(5)], "2024-05-01T12:00:00"),
        ([f"01.05.2024 12:00:{s:02d}" for s in range(5)], "2024-05-01T12:00:00"),
        ([f"05/13/2024 1:00:{s:02d} PM" for s in range(5)], "2024-05-13T13:00:00"),
        ([f"13/05/2024 13:00:{s:02d}" for s in range(5)], "2024-05-13T13:00:00"),
        ([f"05/03/2024 13:00:{s:02d}" for s in range(5)], None),
        ([str(1714560000 + s) for s in range(5)], "2024-05-01T10:40:00Z"),
        ([str(1714560000000 + 500 * s) for s in range(5)], "2024-05-01T10:40:00Z"),
        ([str(1714560000000000 + s) for s in range(5)], "2024-05-01T10:40:00Z"),
        ([str(0.5 * s) for s in range(5)], None),
    ],
)
def test_a_matrix_and_its_times(tmp_path: Path, stamps: list[str], start: str | None) -> None:
    reading = read(tmp_path, matrix(stamps))
    check(reading, sweeps=5)
    assert reading.layout == "matrix"
    known = start is not None and start.endswith("Z")
    assert (reading.start, reading.start_local) == ((start, None) if known else (None, start))


@pytest.mark.parametrize("corner", ["time", ""])
@pytest.mark.parametrize(
    ("stamp", "start"),
    [
        ("2024-05-01T12:00:00Z", "2024-05-01T12:00:00Z"),
        ("2024-05-01 12:00:00", "2024-05-01T12:00:00"),
        ("13/05/2024 13:00:00", "2024-05-13T13:00:00"),
        ("1714560000", "2024-05-01T10:40:00Z"),
    ],
)
def test_a_matrix_of_one_row_keeps_its_time(tmp_path: Path, stamp: str, start: str, corner: str) -> None:
    reading = read(tmp_path, matrix([stamp], corner))
    check(reading, sweeps=1)
    assert (reading.layout, reading.start or reading.start_local) == ("matrix", start)


def test_day_and_month_that_can_not_be_told_apart_are_no_time_and_a_note(tmp_path: Path) -> None:
    reading = read(tmp_path, matrix(["05/03/2024 13:00:00", "05/03/2024 13:00:01"]))
    assert reading.series[0].times_s is None
    assert "times such as 05/03/2024 13:00:00 were left out: day and month can't be told apart" in reading.notes


@pytest.mark.parametrize("corner", ["time", "", "t/MHz"])
def test_the_corner_of_a_matrix(tmp_path: Path, corner: str) -> None:
    check(read(tmp_path, matrix(["2024-05-01 12:00:00", "2024-05-01 12:00:01"], corner)), sweeps=2)


def test_a_matrix_without_times(tmp_path: Path) -> None:
    check(read(tmp_path, [line.partition(",")[2] for line in matrix(["x", "y"])]), sweeps=2)


def test_a_matrix_cut_off_in_its_last_row(tmp_path: Path) -> None:
    text = "\n".join(matrix(["2024-05-01 12:00:00", "2024-05-01 12:00:01"]))
    reading = read(tmp_path, text[:-200])
    check(reading, sweeps=2)
    lost = np.isnan(reading.series[0].levels_db[1])
    assert 25 < lost.sum() < 45
    assert lost[-int(lost.sum()) :].all()


def test_a_transposed_matrix(tmp_path: Path) -> None:
    cells = zip(
        *(line.split(",") for line in matrix([f"2024-05-01T12:00:0{s}Z" for s in range(5)], "Frequency")), strict=True
    )
    reading = read(tmp_path, [",".join(row) for row in cells])
    check(reading, sweeps=5)
    assert (reading.layout, reading.start) == ("transposed matrix", "2024-05-01T12:00:00Z")


# --- axes ---


def test_a_rounded_step_gives_an_exact_axis(tmp_path: Path) -> None:
    """2.8 MHz over 512 steps is 5468.75 Hz, which four decimals of a megahertz can't show."""
    reading = read(tmp_path, [f"{470 + 0.00546875 * place:.4f},{level}" for place, level in enumerate(noise(513)[0])])
    axis = reading.series[0].axis
    assert axis.points_hz is None
    assert (axis.start_hz, axis.step_hz, axis.n) == (470_000_000, Fraction(2_800_000, 512), 513)


def test_one_missing_bin_is_a_gap_not_a_rounded_step(tmp_path: Path) -> None:
    lines = [f"{470 + place},{level}" for place, level in enumerate(noise(60)[0]) if place != 30]
    axis = read(tmp_path, lines).series[0].axis
    assert axis.points_hz is not None
    assert axis.covered_share(499_900_000, 500_100_000) < 1.0


# --- units: concluded, asked, told ---


@pytest.mark.parametrize(
    ("start", "step", "n", "low_hz"),
    [("88.0", "0.1", 201, 88_000_000), ("2400", "1", 84, 2_400_000_000), ("470000", "25", 50, 470_000_000),
     ("470000000", "25000", 50, 470_000_000), ("25", "1", 2976, 25_000_000), ("1785.0", "0.1", 200, 1_785_000_000)],
)  # fmt: skip
def test_nothing_is_asked_where_one_unit_is_likely(tmp_path: Path, start: str, step: str, n: int, low_hz: int) -> None:
    reading = read(tmp_path, pairs(grid(start, step, n), noise(n)[0]))
    assert (reading.needs, reading.low_hz) == ((), low_hz)
    assert any(note.startswith("the unit of the frequencies is not stated: assumed") for note in reading.notes)


@pytest.mark.parametrize(("start", "step"), [("0.5", "0.01"), ("30000", "100"), ("1", "1"), ("0.470", "0.001")])
def test_what_is_truly_open_is_asked(tmp_path: Path, start: str, step: str) -> None:
    lines = pairs(grid(start, step, 101), noise(101)[0])
    assert len(read(tmp_path, lines).needs) == 1
    assert read(tmp_path, lines, unit="MHz").needs == ()


def test_a_unit_stated_beats_everything(tmp_path: Path) -> None:
    lines = pairs(grid("0.5", "0.01", 301), noise(301)[0])
    assert read(tmp_path, ["Frequency (GHz),Level (dBm)", *lines]).low_hz == 500_000_000
    assert read(tmp_path, ["Frequency unit: MHz", *lines]).low_hz == 500_000
    assert read(tmp_path, ["Start: 0.5 GHz", "Stop: 3.5 GHz", *lines]).low_hz == 500_000_000


# --- levels ---


def test_levels_in_dbuv_become_dbm_at_50_ohm(tmp_path: Path) -> None:
    """0 dBµV into 50 ohm is 10·log10((1e-6 V)²/50 ohm/1 mW) = -106.99 dBm. Source: definition of the decibel units."""
    lines = ["MHz;dBµV", *(f"{f};{level + 120}" for f, level in zip(FREQUENCIES, LEVELS, strict=True))]
    reading = read(tmp_path, lines)
    assert reading.level_unit == "dBuV"
    assert float(reading.series[0].levels_db[0, 0]) == pytest.approx(float(LEVELS[0]) + 120 - 106.9897, abs=1e-3)


def test_linear_power_is_read_as_decibels_with_a_note(tmp_path: Path) -> None:
    lines = [
        "Frequency,PSD",
        *(f"{f},{10 ** (float(level) / 10):.8e}" for f, level in zip(FREQUENCIES, LEVELS, strict=True)),
    ]
    reading = read(tmp_path, lines)
    check(reading)
    assert (reading.level_unit, reading.series[0].unit.value) == ("linear", "dB")
    assert any(note.startswith("levels can't be decibels: read as linear power") for note in reading.notes)


def test_numbers_between_0_and_1_are_asked_about(tmp_path: Path) -> None:
    drawn = [Decimal(f"{value:.4f}") for value in np.random.default_rng(3).uniform(0.2, 0.9, N)]
    assert "--level-unit linear" in read(tmp_path, pairs(levels=drawn)).needs[0]
    assert read(tmp_path, pairs(levels=drawn), level_unit="linear").needs == ()


def test_scatter_of_single_samples_is_not_rejected(tmp_path: Path) -> None:
    """One exponential sample in a million lies 60 dB below its mean (checks: P = 10^(-x/10)); none of these is
    impossible."""
    drawn = 10 * np.log10(np.random.default_rng(5).exponential(size=20_000)) - 118
    lines = [f"{470 + 0.001 * place:.3f},{level:.2f}" for place, level in enumerate(drawn)]
    reading = read(tmp_path, ["MHz,dBm", *lines])
    assert not np.isnan(reading.series[0].levels_db).any()


# --- telling ---


@pytest.mark.parametrize(
    "telling", [{"unit": "furlong"}, {"level_unit": "bel"}, {"decimal": ";"}, {"delimiter": "ab"}, {"rbw_hz": -1.0}]
)
def test_telling_what_can_not_be_is_refused(telling: dict[str, object]) -> None:
    with pytest.raises(UsageError):
        Telling(**telling)  # type: ignore[arg-type]  # wrong on purpose


def test_a_zone_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="'Moon/Base' is no time zone"):
        read(tmp_path, matrix(["2024-05-01 12:00:00", "2024-05-01 12:00:01"]), zone="Moon/Base")


def test_progress_reaches_the_whole(tmp_path: Path) -> None:
    path = tmp_path / "sweep.csv"
    path.write_text("\n".join(pairs()) + "\n", encoding="utf-8")
    shares: list[float] = []
    read_file(path, progress=shares.append)
    assert shares[-1] == 1.0
    assert shares == sorted(shares)


def test_style_helper_writes_what_is_read(tmp_path: Path) -> None:
    check(read(tmp_path, columns(Style(), FREQUENCIES, LEVELS)))


@pytest.mark.parametrize("unit", ["dBm", "dBµV"])
@pytest.mark.parametrize("frequency", ["{}", "{} MHz"])
def test_a_matrix_with_a_unit_behind_every_level(tmp_path: Path, unit: str, frequency: str) -> None:
    lines = ["time," + ",".join(frequency.format(one) for one in FREQUENCIES)]
    lines += [f"2024-05-01 12:00:0{k}," + ",".join(f"{level} {unit}" for level in LEVELS) for k in range(3)]
    reading = read(tmp_path, lines)
    assert (reading.layout, reading.level_unit, reading.sweeps) == ("matrix", unit.replace("µ", "u"), 3)
    if unit == "dBm":
        check(reading, sweeps=3)


@pytest.mark.parametrize("heading", ["Frequenz", "Frequency (MHz)", "", "Sweep"])
@pytest.mark.parametrize("unit", ["", " dBm"])
def test_a_matrix_whose_rows_have_labels(tmp_path: Path, heading: str, unit: str) -> None:
    lines = [";".join([heading, *(str(one).replace(".", ",") for one in FREQUENCIES)])]
    lines += [
        ";".join([f"Sweep {k}", *(f"{level}{unit}".replace(".", ",") for level in levels)])
        for k, levels in enumerate((LEVELS, OTHERS))
    ]
    reading = read(tmp_path, lines)
    assert (reading.layout, reading.level_unit) == ("matrix", unit.strip() or "dB")
    check(reading, sweeps=2)


def test_a_matrix_with_rows_longer_than_the_sample(tmp_path: Path) -> None:
    n = 90_000  # 1.6 MB in two rows; the first one alone looks like any row of numbers
    frequencies = [f"{400_000_000 + 10_000 * k}.0000" for k in range(n)]
    levels = [f"{-100 - k % 13:.2f}" for k in range(n)]
    reading = read(tmp_path, [",".join(frequencies), ",".join(levels)])
    assert (reading.layout, reading.points, reading.sweeps) == ("matrix", n, 1)
