"""How large, how quick and how safe the show file is: ``python bench/showfile.py [SWEEPS] [KILLS]``.

Sweeps of 10,000 points in steps of 0.1 dB, invented: noise, a few carriers, a block that breathes. A part of a day is
written (2,048 sweeps by default) and its size is scaled to 86,400, which is said; 86400 is the whole day. Of fewer than
500 the scaled size says nothing: what an empty file takes is scaled too. Beside it, as ratios, of 4,096 sweeps at most
and scaled: a plain SQLite file with a zlib blob for each sweep, one with the float32 as they are, and Parquet with a
row for each sweep.

Then a program that brings in surveys, plans and sweeps is killed at random moments (200 by default), and what it had
been told was stored is looked for: nothing may be lost.
"""

from __future__ import annotations

import resource
import sqlite3
import sys
import tempfile
import time
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parent.parent
sys.path[:1] = [str(ROOT / "src"), str(ROOT / "tests")]  # without this folder: its name for us is that of the tests

from fallow.showfile.kinds import SURVEYS  # noqa: E402 # the path is set above
from fallow.showfile.store import ShowFile  # noqa: E402 - the path is set above
from fallow.showfile.surveys import Recorder, read_survey  # noqa: E402 - the path is set above
from fallow.showfile.sweeps import Section  # noqa: E402 - the path is set above
from fallow.showfile.values import SurveyHead  # noqa: E402 - the path is set above
from fallow.spectrum.axis import Axis  # noqa: E402 - the path is set above
from fallow.spectrum.sweep import LevelUnit, Series  # noqa: E402 - the path is set above
from showfile.killing import lost_after_kills  # noqa: E402 - the path is set above

POINTS, DAY = 10_000, 86_400
MOST_BESIDE = 4096  # sweeps of the ways that ours is compared with
LOW_HZ, STEP_HZ = 470_000_000, 22_400  # 470 to 694 MHz
BAND_HZ, HOUR_S = 10_000_000, 3600
MOST_MB, LEAST_PER_S, MOST_READ_S = 900.0, 50.0, 0.5
Sweeps = Callable[[], Iterator[NDArray[np.float32]]]


@dataclass(frozen=True)
class Result:
    """One way of keeping sweeps: megabytes for a day, sweeps a second while adding, seconds of one reading."""

    name: str
    day_mb: float
    per_s: float
    read_s: float


def main() -> int:
    """Print the tables; 1 where a target is missed or something was lost."""
    sweeps = int(sys.argv[1]) if len(sys.argv) > 1 else 2048
    kills = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    print(f"{sweeps} sweeps of {POINTS} points, scaled to a day of {DAY}")
    print(f"reading: {BAND_HZ // 10**6} MHz x {min(HOUR_S, sweeps)} sweeps\n", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        results = [in_show_file(Path(folder), sweeps)]
        print(f"ours: {sweeps} sweeps written; most memory of the program until then {peak_mb():.0f} MB\n")
        beside = (in_plain_blobs, in_raw_blobs, in_parquet)
        results += [way(Path(folder), min(sweeps, MOST_BESIDE)) for way in beside]
    ours = results[0]
    print(f"{'':34}{'MB a day':>10}{'ratio':>7}{'added/s':>9}{'ratio':>7}{'read s':>8}{'ratio':>7}")
    for one in results:
        print(
            f"{one.name:34}{one.day_mb:10.0f}{one.day_mb / ours.day_mb:7.2f}{one.per_s:9.0f}"
            f"{one.per_s / ours.per_s:7.2f}{one.read_s:8.3f}{one.read_s / ours.read_s:7.2f}"
        )
    targets = ours.day_mb < MOST_MB and ours.per_s >= LEAST_PER_S and ours.read_s < MOST_READ_S
    print(f"\ntargets (under {MOST_MB:.0f} MB, {LEAST_PER_S:.0f}/s, {MOST_READ_S} s): {'met' if targets else 'MISSED'}")
    safe = nothing_lost(kills)
    return 0 if targets and safe else 1


def peak_mb() -> float:
    """The most memory that this program has had [MB]; ``ru_maxrss`` is in KiB on Linux (getrusage(2))."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6


def sweep_after_sweep(sweeps: int) -> Iterator[NDArray[np.float32]]:
    """The air, invented: the same for every way of keeping it."""
    rng = np.random.default_rng(5)
    floor = -104 + 3 * np.sin(np.arange(POINTS) / 900)
    for number in range(sweeps):
        levels = floor + rng.normal(0, 2.2, POINTS)
        levels[3000:3340] += 12 + 2 * np.sin(number / 200)
        levels[::613] += 35 * (rng.random() < 0.7)
        yield (np.rint(levels * 10) / 10).astype(np.float32)


def timed_adding(sweeps: int, add: Callable[[int, NDArray[np.float32]], None]) -> float:
    """Sweeps a second of adding alone; making them up is not counted."""
    spent = 0.0
    for number, levels in enumerate(sweep_after_sweep(sweeps)):
        began = time.perf_counter()
        add(number, levels)
        spent += time.perf_counter() - began
    return sweeps / spent


def timed_reading(read: Callable[[], NDArray[np.float32]], expected: tuple[int, int]) -> float:
    """Seconds of the best of three readings."""
    best = np.inf
    for _ in range(3):
        began = time.perf_counter()
        found = read()
        best = min(best, time.perf_counter() - began)
        assert found.shape == expected, found.shape
    return float(best)


def band() -> slice:
    """The bins of the piece that is read."""
    return Axis.regular(LOW_HZ, STEP_HZ, POINTS).bins_touching(550_000_000, 550_000_000 + BAND_HZ)


def in_show_file(folder: Path, sweeps: int) -> Result:
    """Ours: each sweep safe on the disk when it is added."""
    path = folder / "day.fallow"
    axis = Axis.regular(LOW_HZ, STEP_HZ, POINTS)
    like = Series(axis, np.empty((0, POINTS), np.float32), LevelUnit.DBM, np.empty(0), True, 10e3)
    with ShowFile.create(path, "bench") as show:
        recorder = Recorder.begin(show, SurveyHead("day"), like)
        per_s = timed_adding(sweeps, lambda number, levels: recorder.append(levels, float(number)))
    bins, rows = band(), min(HOUR_S, sweeps)
    section = Section(550_000_000, 550_000_000 + BAND_HZ, sweeps - rows, sweeps)

    def read() -> NDArray[np.float32]:
        with ShowFile.open(path) as show:
            return read_survey(show, show.all(SURVEYS)[0], section).series[0].levels_db

    read_s = timed_reading(read, (rows, bins.stop - bins.start))
    print(f"the file has {path.stat().st_size / 1e6:.1f} MB")
    return Result("show file, each sweep safe", size_of(path, sweeps), per_s, read_s)


def in_plain_blobs(folder: Path, sweeps: int) -> Result:
    """A plain SQLite file: a zlib blob of tenths as int16 for each sweep, committed one by one as ours."""

    def pack(levels: NDArray[np.float32]) -> bytes:
        return zlib.compress(np.rint(levels * 10).astype(np.int16).tobytes(), 1)

    def unpack(blob: bytes) -> NDArray[np.float32]:
        return np.frombuffer(zlib.decompress(blob), dtype=np.int16).astype(np.float32) / 10

    return in_sqlite(folder / "plain.db", sweeps, "SQLite, zlib blob for each sweep", pack, unpack)


def in_raw_blobs(folder: Path, sweeps: int) -> Result:
    """A plain SQLite file: the float32 of each sweep as they are."""
    return in_sqlite(
        folder / "raw.db",
        sweeps,
        "SQLite, float32 for each sweep",
        lambda levels: levels.tobytes(),
        lambda blob: np.frombuffer(blob, dtype=np.float32),
    )


def in_sqlite(
    path: Path,
    sweeps: int,
    name: str,
    pack: Callable[[NDArray[np.float32]], bytes],
    unpack: Callable[[bytes], NDArray[np.float32]],
) -> Result:
    """A row for each sweep, synchronous=FULL, write-ahead log, a commit for each."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("CREATE TABLE sweep (time_s REAL PRIMARY KEY, levels BLOB)")
    per_s = timed_adding(
        sweeps,
        lambda number, levels: connection.execute("INSERT INTO sweep VALUES (?, ?)", (number, pack(levels))) and None,
    )
    bins, rows = band(), min(HOUR_S, sweeps)

    def read() -> NDArray[np.float32]:
        found = connection.execute("SELECT levels FROM sweep WHERE time_s >= ? ORDER BY time_s", (sweeps - rows,))
        return np.stack([unpack(blob)[bins] for (blob,) in found])

    read_s = timed_reading(read, (rows, bins.stop - bins.start))
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return Result(name, size_of(path, sweeps), per_s, read_s)


def in_parquet(folder: Path, sweeps: int) -> Result:
    """Parquet, zstd, a row for each sweep; 64 to a group, so that up to 63 are lost with the program."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    path = folder / "day.parquet"
    schema = pa.schema([("time_s", pa.float64()), ("levels_db", pa.list_(pa.float32(), POINTS))])
    waiting: list[NDArray[np.float32]] = []
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:

        def flush(last: int) -> None:
            times = pa.array(range(last - len(waiting) + 1, last + 1), pa.float64())
            levels = pa.FixedSizeListArray.from_arrays(pa.array(np.concatenate(waiting)), POINTS)
            writer.write_table(pa.table([times, levels], schema=schema))
            waiting.clear()

        def add(number: int, levels: NDArray[np.float32]) -> None:
            waiting.append(levels)
            if len(waiting) == 64 or number == sweeps - 1:
                flush(number)

        per_s = timed_adding(sweeps, add)
    bins, rows = band(), min(HOUR_S, sweeps)

    def read() -> NDArray[np.float32]:
        table = pq.read_table(path, filters=[("time_s", ">=", sweeps - rows)])
        levels = table["levels_db"].combine_chunks().flatten().to_numpy(zero_copy_only=False)
        return levels.reshape(-1, POINTS)[:, bins]

    return Result(
        "Parquet, row for each sweep", size_of(path, sweeps), per_s, timed_reading(read, (rows, bins.stop - bins.start))
    )


def size_of(path: Path, sweeps: int) -> float:
    """Megabytes of a file, scaled to a day."""
    return path.stat().st_size / 1e6 * DAY / sweeps


def nothing_lost(kills: int) -> bool:
    """Kill a working program at random moments; whether all that it had acknowledged is there, and all is whole."""
    with tempfile.TemporaryDirectory() as folder:
        result = lost_after_kills(Path(folder) / "killed.fallow", kills)
    print(f"{result.kills} kills, {result.acknowledged} things acknowledged, {len(result.wrong)} lost or damaged")
    for line in result.wrong[:10]:
        print(f"  {line}")
    return not result.wrong


if __name__ == "__main__":
    sys.exit(main())
