"""In how much time and memory a day of sweeps is judged: ``python bench/long_survey.py [SWEEPS]``, 86,400 by default.

Sweeps of 2,000 points, once as one array and once as 24 text files of an hour each, every time by a process of its own.
Its peak is that of the whole process: Python, libraries, the levels themselves.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parent.parent
POINTS = 2_000
FILES = 24
MOST_MB = 1_500.0  # what a laptop can spare


def main() -> int:
    """Print the table; 1 where the peak is above 1.5 GB."""
    if sys.argv[1:2] == ["--child"]:
        return child(sys.argv[2], int(sys.argv[3]), Path(sys.argv[4]))
    sweeps = int(sys.argv[1]) if len(sys.argv) > 1 else 86_400
    print(f"{sweeps} sweeps of {POINTS} points: their levels take {sweeps * POINTS * 4 / 1e6:.0f} MB")
    highest = 0.0
    with tempfile.TemporaryDirectory() as folder:
        write_files(Path(folder), sweeps)
        for what in ("array", "files"):
            command = [sys.executable, __file__, "--child", what, str(sweeps), folder]
            seconds, peak_mb, occupied = subprocess.run(
                command, check=True, capture_output=True, text=True
            ).stdout.split()
            print(f"  {what}: {float(seconds):6.1f} s, peak {float(peak_mb):5.0f} MB, {occupied} slices occupied")
            highest = max(highest, float(peak_mb))
    return 0 if highest < MOST_MB else 1


def child(what: str, sweeps: int, folder: Path) -> int:
    """What the process of its own does: seconds (making up the array apart), peak in MB, slices that are occupied."""
    sys.path.insert(0, str(ROOT / "src"))
    import fallow
    from fallow.spectrum.axis import Axis
    from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey

    if what == "array":
        levels = np.empty((sweeps, POINTS), dtype=np.float32)
        for number in range(FILES):
            levels[rows_of(number, sweeps)] = hour(number, sweeps)
        axis = Axis.regular(470_000_000, 25_000, POINTS)
        began = time.perf_counter()
        survey = Survey((Series(axis, levels, LevelUnit.DBM, rbw_hz=25e3, detector=Detector.AVERAGE),))
    else:
        began = time.perf_counter()
        survey = fallow.open_sweeps(folder)
    judged = fallow.judge(survey, region="de")
    seconds = time.perf_counter() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    occupied = sum(part.verdict.word == "occupied" for part in judged.slices)
    print(seconds, peak / 1e6 if sys.platform == "darwin" else peak / 1024, occupied)
    return 0


def rows_of(number: int, sweeps: int) -> slice:
    """The sweeps of one file."""
    return slice(sweeps * number // FILES, sweeps * (number + 1) // FILES)


def hour(number: int, sweeps: int) -> NDArray[np.float32]:
    """Noise of an averaging detector, a block, a carrier, and one that is on in 2 of 100 sweeps."""
    rows = rows_of(number, sweeps)
    rng = np.random.default_rng(number)
    levels = 10.0 * np.log10(rng.gamma(10.0, 0.1, (rows.stop - rows.start, POINTS)).astype(np.float32)) - 105.0
    levels[:, 300:308] += 40.0
    levels[rng.random(levels.shape[0]) < 0.02, 700:706] += 35.0
    levels[:, 1200:1500] += 30.0
    return np.round(levels, 1)


def write_files(folder: Path, sweeps: int) -> None:
    """A matrix of text per hour."""
    header = "time," + ",".join(f"{470 + 0.025 * place:.3f}" for place in range(POINTS))
    for number in range(FILES):
        first = rows_of(number, sweeps).start
        with folder.joinpath(f"hour-{number:02}.csv").open("w", encoding="ascii") as file:
            file.write(f"{header}\n")
            for row, sweep in enumerate(hour(number, sweeps).tolist()):
                file.write(f"{1_714_560_000 + first + row}," + ",".join([f"{level:.1f}" for level in sweep]) + "\n")


if __name__ == "__main__":
    sys.exit(main())
