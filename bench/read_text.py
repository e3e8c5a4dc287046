"""How quickly and in how much memory big text logs are read, beside two general CSV libraries on the same files.

Run as ``python bench/read_text.py [MEGABYTES]``. Each reader runs in a process of its own, so that peaks don't mix;
the libraries read into their own tables, fallow all the way to sweeps on an exact axis.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

READERS = {
    "fallow": "from fallow.files import read_file; assert read_file(path).series",
    "pyarrow": "from pyarrow import csv; options = csv.ParseOptions(delimiter=delimiter); "
    "table = csv.read_csv(path, parse_options=options, "
    "convert_options=csv.ConvertOptions(decimal_point=decimal))",
    "polars": "import polars; table = polars.read_csv(path, separator=delimiter, decimal_comma=decimal == ',')",
}
TIMED = """
import sys, time, resource
sys.path.insert(0, {source!r})
path, delimiter, decimal = {path!r}, {delimiter!r}, {decimal!r}
{warm}
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
began = time.perf_counter()
{reader}
print(time.perf_counter() - began, (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024)
"""
WARM = "import numpy, pyarrow.csv, polars, fallow.files.delimited"


def main() -> None:
    """Write the files, time every reader three times, print the best and the ratios."""
    megabytes = float(sys.argv[1]) if len(sys.argv) > 1 else 200.0
    with tempfile.TemporaryDirectory() as folder:
        for name, (path, delimiter, decimal) in _files(Path(folder), megabytes).items():
            size = path.stat().st_size / 1e6
            print(f"\n{name}: {size:.0f} MB")
            seconds = {}
            for reader in READERS:
                best, peak = min(_timed(reader, path, delimiter, decimal) for _ in range(3))
                seconds[reader] = best
                ratio = f"fallow takes {seconds['fallow'] / best:.2f} times as long"
                print(f"  {reader:8} {best:7.2f} s  {size / best:6.0f} MB/s  peak +{peak:6.0f} MiB   {ratio}")
            path.unlink()


def _timed(reader: str, path: Path, delimiter: str, decimal: str) -> tuple[float, float]:
    source = str(Path(__file__).parent.parent / "src")
    code = TIMED.format(
        source=source, path=str(path), delimiter=delimiter, decimal=decimal, reader=READERS[reader], warm=WARM
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    seconds, peak = done.stdout.split()
    return float(seconds), float(peak)


def _files(folder: Path, megabytes: float) -> dict[str, tuple[Path, str, str]]:
    """Invented logs: sweeps below each other, a matrix, and the first again with decimal comma and semicolon."""
    stacked = folder / "stacked.csv"
    _write(stacked, _stacked_block(",", "."), b"frequency MHz,level dBm\n", megabytes)
    commas = folder / "commas.csv"
    _write(commas, _stacked_block(";", ","), b"Frequenz MHz;Pegel dBm\n", megabytes)
    matrix = folder / "matrix.csv"
    header = b"time," + b",".join(b"%.3f" % (470 + 0.025 * place) for place in range(4001)) + b"\n"
    _write(matrix, _matrix_block(), header, megabytes)
    return {
        "two columns, sweeps below each other": (stacked, ",", "."),
        "the same with decimal comma": (commas, ";", ","),
        "matrix of 4001 frequencies": (matrix, ",", "."),
    }


def _write(path: Path, block: bytes, header: bytes, megabytes: float) -> None:
    with path.open("wb") as stream:
        stream.write(header)
        while stream.tell() < megabytes * 1e6:
            stream.write(block)


def _stacked_block(delimiter: str, decimal: str) -> bytes:
    import numpy as np

    rng = np.random.default_rng(4)
    rows = [
        f"{470 + 0.025 * place:.3f}{delimiter}{level:.2f}\n".replace(".", decimal)
        for _ in range(50)
        for place, level in enumerate(rng.normal(-100, 3, 4001))
    ]
    return "".join(rows).encode()


def _matrix_block() -> bytes:
    import numpy as np

    rng = np.random.default_rng(5)
    rows = [
        f"{1714560000000 + 500 * sweep}," + ",".join(f"{level:.2f}" for level in rng.normal(-100, 3, 4001)) + "\n"
        for sweep in range(60)
    ]
    return "".join(rows).encode()


if __name__ == "__main__":
    main()
