"""Write the sweeps of the demo's invented night to ``src/fallow/demo/data``; every run writes the same bytes.

Everything here is invented: the House of Three Moons, the town of Nirgendhafen, its television, its strangers and
its show. The sweeps have the awkward shapes of life: one file with semicolons, decimal commas and a preamble, one
matrix with a gap between two ranges, one of wide rows, one in UTF-16; a weak TV channel with a fading notch, an
intruder that comes and goes, lines that the instrument makes itself, and a floor that rises when the LED wall is on.
The tables beside them (links, equipment and so on) are written by hand.

Only uniform random numbers are drawn, because their stream is the same in every release of NumPy; noise is made of
them.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

DATA = Path(__file__).resolve().parent.parent / "src" / "fallow" / "demo" / "data"
Levels = NDArray[np.float64]

SEED = 30_000_003
STEP_MHZ, UPPER_STEP_MHZ = 0.05, 0.1
OFF_SWEEPS, ON_SWEEPS, UPPER_SWEEPS, LOAD_SWEEPS = 20, 12, 6, 8
AVERAGED = 10  # independent looks in one level of this instrument's averaging detector: invented
FLOOR_DBM_50KHZ = -106.0  # a pocket instrument without preamplifier, about 21 dB over kT in 50 kHz: common practice
RISE_DB = 6.0  # what the LED wall adds: common practice, 3 to 15 dB
RISES_MHZ = ((522.0, 548.0), (588.0, 611.0))
OWN_LINES_DBM = {480.0: -88.0, 528.0: -89.0, 624.0: -91.0, 672.0: -92.0}
INTRUDER_MHZ, INTRUDER_DBM = 655.3, -72.0
INTRUDER_OFF_SWEEPS, INTRUDER_ON_SWEEPS = (6, 7, 15), (3, 9)  # about 15 % of all sweeps

DVB_T_WIDTH_MHZ = 7.61  # ETSI EN 300 744, 8 MHz channels, rounded as published
LTE_WIDTH_MHZ = 9.0  # 3GPP TS 36.101 table 5.6-1: 50 resource blocks of 180 kHz


@dataclass(frozen=True)
class Television:
    """An invented transmitter: channel centre, power in the whole channel, and how its echoes shape it."""

    centre_mhz: float
    level_dbm: float
    ripple_db: float
    notch_mhz: float | None = None


TELEVISION = (
    Television(482.0, -61.0, 1.5),  # channel 22
    Television(514.0, -56.0, 1.0),  # channel 26
    Television(554.0, -68.0, 2.0),  # channel 31: not announced
    Television(642.0, -74.0, 1.0, notch_mhz=640.6),  # channel 42: weak, with a fading notch
)


def main() -> None:
    """Write all files, or with ``--to FOLDER`` write them there."""
    parser = argparse.ArgumentParser(description="Write the demo's files anew.")
    parser.add_argument("--to", type=Path, default=DATA, metavar="FOLDER")
    folder = parser.parse_args().to
    for name, content in build().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        print(f"{len(content):8d}  {name}")


def build() -> dict[str, bytes]:
    """Name and content of every shipped file."""
    rng = np.random.Generator(np.random.PCG64(SEED))
    axis = np.concatenate([grid(470.0, 574.0, STEP_MHZ), grid(582.0, 694.0, STEP_MHZ)])
    quiet = mw(FLOOR_DBM_50KHZ + tilt_db(axis)) + own_lines(axis)
    on_the_air = quiet + sum(television(axis, station) for station in TELEVISION)
    wall_off = with_intruder(on_the_air, axis, OFF_SWEEPS, INTRUDER_OFF_SWEEPS)
    wall_on = with_intruder(on_the_air + wall(axis, quiet), axis, ON_SWEEPS, INTRUDER_ON_SWEEPS)
    upper_axis = grid(782.0, 870.0, UPPER_STEP_MHZ)
    return {
        "sweeps/wall-off.csv": columns_in_german(axis, measured(rng, wall_off)),
        "sweeps/wall-on.csv": matrix(axis, measured(rng, wall_on)),
        "sweeps/upper-range.txt": wide_rows(upper_axis, measured(rng, upper_range(rng, upper_axis))),
        "sweeps/load-50-ohm.txt": utf16_columns(axis, measured(rng, np.tile(quiet, (LOAD_SWEEPS, 1)))),
    }


# --- what is on the invented air: power in milliwatt per bin, shape (bin,) or (sweep, bin)


def grid(low_mhz: float, high_mhz: float, step_mhz: float) -> Levels:
    """Centres of bins that fill [low, high]."""
    n = round((high_mhz - low_mhz) / step_mhz)
    return np.asarray(low_mhz + step_mhz * (np.arange(n) + 0.5))


def mw(level_dbm: Levels | float) -> Levels:
    """Milliwatt of dBm."""
    return np.asarray(10.0 ** (np.asarray(level_dbm) / 10.0))


def tilt_db(axis_mhz: Levels) -> Levels:
    """The instrument is a little deafer towards the upper end."""
    return (axis_mhz - 470.0) / 224.0 * 1.0


def own_lines(axis_mhz: Levels) -> Levels:
    """Harmonics of the instrument's own 48 MHz clock; each falls half-way between two bins and shows in both."""
    power = np.zeros_like(axis_mhz)
    for frequency_mhz, level_dbm in OWN_LINES_DBM.items():
        power[np.abs(axis_mhz - frequency_mhz) < STEP_MHZ] += mw(level_dbm) / 2.0
    return power


def television(axis_mhz: Levels, station: Television) -> Levels:
    """A flat block of DVB-T width, shaped by echoes; a notch sinks to the floor."""
    inside = np.abs(axis_mhz - station.centre_mhz) <= DVB_T_WIDTH_MHZ / 2
    per_bin_dbm = station.level_dbm - 10.0 * np.log10(DVB_T_WIDTH_MHZ / STEP_MHZ)
    shape_db = station.ripple_db * np.sin((axis_mhz - station.centre_mhz) * 2.1)
    if station.notch_mhz is not None:
        shape_db = shape_db - 25.0 * np.exp(-(((axis_mhz - station.notch_mhz) / 0.55) ** 2))
    return np.where(inside, mw(per_bin_dbm + shape_db), 0.0)


def wall(axis_mhz: Levels, quiet: Levels) -> Levels:
    """What the LED wall adds: broad noise with soft edges in two parts of the band."""
    rise_db = np.zeros_like(axis_mhz)
    for low_mhz, high_mhz in RISES_MHZ:
        soft = 1.0 / (1.0 + np.exp(-(axis_mhz - low_mhz) / 0.8)) / (1.0 + np.exp((axis_mhz - high_mhz) / 0.8))
        rise_db += RISE_DB * soft
    return np.asarray(quiet * (mw(rise_db) - 1.0))


def with_intruder(power: Levels, axis_mhz: Levels, sweeps: int, on: tuple[int, ...]) -> Levels:
    """The same air in every sweep, and the stranger's narrow carrier in those where he talks."""
    rows = np.tile(power, (sweeps, 1))
    near = np.abs(axis_mhz - INTRUDER_MHZ) <= 0.08
    rows[np.ix_(np.array(on), np.flatnonzero(near))] += mw(INTRUDER_DBM) / np.count_nonzero(near)
    return rows


def upper_range(rng: np.random.Generator, axis_mhz: Levels) -> Levels:
    """Mobile: three downlink blocks that breathe with their traffic, and phones that answer now and then."""
    quiet = mw(FLOOR_DBM_50KHZ + 10.0 * np.log10(UPPER_STEP_MHZ / STEP_MHZ) + 1.0)
    rows = np.full((UPPER_SWEEPS, axis_mhz.size), quiet)
    for centre_mhz, level_dbm in ((796.0, -47.0), (806.0, -52.0), (816.0, -44.0)):
        inside = np.abs(axis_mhz - centre_mhz) <= LTE_WIDTH_MHZ / 2
        per_bin_dbm = level_dbm - 10.0 * np.log10(LTE_WIDTH_MHZ / UPPER_STEP_MHZ)
        rows += np.where(inside, mw(per_bin_dbm - 3.0 * rng.random((UPPER_SWEEPS, 1))), 0.0)
    for sweep, low_mhz, high_mhz in ((1, 838.2, 840.0), (4, 851.4, 852.1)):
        rows[sweep, (axis_mhz > low_mhz) & (axis_mhz < high_mhz)] += mw(-88.0)
    return rows


# --- the invented instrument


def measured(rng: np.random.Generator, power: Levels) -> Levels:
    """Levels in dBm as the averaging detector shows them, in half decibels; each sweep a little off in gain."""
    looks = -np.log1p(-rng.random((AVERAGED, *power.shape))).mean(axis=0)
    drift_db = 0.4 * (rng.random((power.shape[0], 1)) - 0.5)
    return np.asarray(np.round(2.0 * (10.0 * np.log10(power * looks) + drift_db)) / 2.0)


# --- the shapes of the files


def columns_in_german(axis_mhz: Levels, levels_dbm: Levels) -> bytes:
    """A column per sweep, semicolons, decimal commas, a preamble, Windows-1252."""
    began = datetime.fromisoformat("2026-03-14T14:05:00")
    stamps = [(began + timedelta(seconds=15 * i)).strftime("%d.%m.%Y %H:%M:%S") for i in range(len(levels_dbm))]
    preamble = (
        "Gerät;Taschenanalysator (erfunden)",
        "Ort;Haus der drei Monde, Nirgendhafen (erfunden), Bühne, LED-Wand aus",
        "RBW;50 kHz",
        "Detektor;Mittelwert",
        "Pegel;dBm",
        "",
        f"Frequenz [MHz];{';'.join(stamps)}",
    )
    rows = (f"{f:.3f};{';'.join(f'{y:.1f}' for y in column)}" for f, column in zip(axis_mhz, levels_dbm.T, strict=True))
    return lines((*preamble, *(row.replace(".", ",") for row in rows))).encode("cp1252")


def matrix(axis_mhz: Levels, levels_dbm: Levels) -> bytes:
    """A row per sweep under a row of frequencies, time first, commas and points."""
    began = datetime.fromisoformat("2026-03-14T16:40:00+01:00")
    head = (
        "# invented: House of Three Moons, Nirgendhafen, stage, LED wall on",
        "# frequency unit: MHz",
        "# level unit: dBm",
        "# RBW: 50 kHz",
        "# detector: average",
    )
    rows = (
        f"{(began + timedelta(seconds=15 * i)).isoformat()},{','.join(f'{y:.1f}' for y in row)}"
        for i, row in enumerate(levels_dbm)
    )
    return lines((*head, f"time,{','.join(f'{f:.3f}' for f in axis_mhz)}", *rows)).encode("ascii")


def wide_rows(axis_mhz: Levels, levels_dbm: Levels) -> bytes:
    """Several rows per sweep: date, time, lower and upper edge, step, looks, levels; edges and step in hertz."""
    began = datetime.fromisoformat("2026-03-14T16:44:00")
    per_row = 80
    step_hz = round(UPPER_STEP_MHZ * 1e6)

    def row(sweep: int, first: int) -> str:
        when = began + timedelta(seconds=20 * sweep)
        low_hz = round(axis_mhz[first] * 1e6) - step_hz // 2
        edges = f"{low_hz}, {low_hz + per_row * step_hz}, {step_hz}, {AVERAGED}"
        levels = ", ".join(f"{y:.1f}" for y in levels_dbm[sweep, first : first + per_row])
        return f"{when:%Y-%m-%d, %H:%M:%S}, {edges}, {levels}"

    return lines(row(i, k) for i in range(len(levels_dbm)) for k in range(0, axis_mhz.size, per_row)).encode("ascii")


def utf16_columns(axis_mhz: Levels, levels_dbm: Levels) -> bytes:
    """Frequency and the mean level over all sweeps, tabs, decimal commas, UTF-16 with its mark."""
    mean_dbm = 10.0 * np.log10(mw(levels_dbm).mean(axis=0))
    head = (
        "50 ohm load in place of the antenna (invented)",
        "RBW\t50 kHz",
        "Detector\taverage",
        "Frequency (MHz)\tAverage (dBm)",
    )
    rows = (f"{f:.3f}\t{y:.1f}".replace(".", ",") for f, y in zip(axis_mhz, mean_dbm, strict=True))
    return b"\xff\xfe" + lines((*head, *rows)).encode("utf-16-le")


def lines(texts: Iterable[str]) -> str:
    """Lines as a Windows program ends them."""
    return "".join(f"{text}\r\n" for text in texts)


if __name__ == "__main__":
    main()
