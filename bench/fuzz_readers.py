"""A coverage-guided search for files that break a reader: ``python bench/fuzz_readers.py [SECONDS] [--keep FOLDER]
[--corpus FOLDER]``.

Every input is written into an empty folder and read there. Whatever comes out must be a reading, a question or one of
our errors; a traceback, more than ten seconds, or more memory than the file can ask for is a finding. Findings are told
once per place in our code and, with ``--keep``, kept as files; ``--corpus`` keeps the inputs that led into new code,
from which a later run goes on. atheris (libFuzzer for Python) finds the ways into our own code; where it is not
installed there is nothing to run.
"""

from __future__ import annotations

import argparse
import gzip
import importlib.util
import io
import json
import os
import resource
import shutil
import subprocess
import sys
import tarfile
import tempfile
import time
import traceback
import warnings
import wave
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
OURS = str(ROOT / "src" / "fallow")
LONGEST_S = 10.0  # of processor time, because a busy machine makes anything last; what waits is ended after a minute
MOST_GROWTH_MB = 600.0  # of a process by one file of at most LONGEST_FILE bytes
LONGEST_FILE = 20_000
SWEEP_NAMES = (
    "sweep.csv", "sweep.txt", "sweep.npy", "sweep.json", "sweep.bin", "sweep.wav", "sweep.sigmf-meta", "sweep.zip",
    "sweep.csv.gz", "sweep.parquet", "sweep.h5", "sweep.dat",
)  # fmt: skip
TABLE_NAMES = ("links", "equipment", "areas", "foreign", "stations", "plan", "chain")
WORDS = (
    "MHz", "dBm", "RBW", "Frequency", "time", "NaN", ";", ",", "\\x09", "nan", "e308", "2024-01-01T00:00:00", "link",
    "equipment", "frequency_mhz", "area", "\\xff\\xfe", "\\x93NUMPY", "core:datatype", "captures", "\\x1f\\x8b", "PK",
)  # fmt: skip


def main() -> int:
    """Run the search in a process of its own, which libFuzzer ends; 1 where something was found."""
    typed = _arguments()
    if importlib.util.find_spec("atheris") is None:
        print("fuzz_readers: atheris is not installed (it runs on Linux and macOS): nothing was tried")
        return 0
    with tempfile.TemporaryDirectory() as folder:
        corpus, found = typed.corpus or Path(folder) / "corpus", typed.keep or Path(folder) / "found"
        for place in (corpus, found):
            place.mkdir(parents=True, exist_ok=True)
        for number, seed in enumerate(seeds()):
            corpus.joinpath(f"seed-{number}").write_bytes(seed)
        Path(folder, "words").write_text("".join(f'"{word}"\n' for word in WORDS), encoding="utf-8")
        options = [
            f"-max_total_time={typed.seconds}", f"-max_len={LONGEST_FILE}", f"-dict={folder}/words", "-timeout=60",
            "-rss_limit_mb=4096", "-verbosity=1", f"-artifact_prefix={found}/", str(corpus),
        ]  # fmt: skip
        child = [sys.executable, __file__, "--child", str(found), *options]
        ended = subprocess.run(child, check=False, env=os.environ | {"TMPDIR": folder})
        told = sorted(found.glob("*.report"))
        print(f"\n{len(told)} findings" + (f"; libFuzzer ended with {ended.returncode}" if ended.returncode else ""))
        for report in told:
            print(f"\n{report.read_text(encoding='utf-8')}")
        return 1 if told or ended.returncode else 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seconds", nargs="?", type=int, default=60)
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="where findings are kept")
    parser.add_argument(
        "--corpus", type=Path, metavar="FOLDER", help="inputs to begin with, and where new ones are kept"
    )
    return parser.parse_args()


def fuzz(found: Path, options: list[str]) -> None:
    """What the process of its own does: it never returns."""
    import atheris  # only where it is installed

    with atheris.instrument_imports(include=["fallow.files"]):
        import fallow.files.curves
        import fallow.files.tables
        import fallow.files.tables.anybodys
        import fallow.files.touchstone  # noqa: F401 - imported here, so that the ways through them are seen
    warnings.simplefilter("error", RuntimeWarning)  # NumPy's, which would stand on the user's screen
    watch = _Watch(found, readers())
    atheris.Setup(["fuzz_readers", *options], watch.one)
    atheris.Fuzz()


class _Watch:
    """Reads one input after another and keeps what must not happen."""

    def __init__(self, found: Path, read: list[tuple[str, Callable[[Path], object]]]) -> None:
        self.found = found
        self.read = read
        self.folder = _folder_to_read_in()
        self.met: set[str] = set()

    def one(self, data: bytes) -> None:
        """The first byte chooses name and reader, the rest is the file."""
        from fallow.errors import FallowError

        name, read = self.read[data[0] % len(self.read)] if data else self.read[0]
        path = self.folder / name
        path.write_bytes(data[1:])
        began, before_mb = time.process_time(), _peak_mb()
        try:
            read(path)
        except FallowError as error:
            if "\n" in str(error):
                self._keep(path, "more than one line", str(error))
        except Exception as error:  # noqa: BLE001 - whatever else comes out is what is looked for
            self._keep(path, _place(error), traceback.format_exc())
        finally:
            spent_s, grown_mb = time.process_time() - began, _peak_mb() - before_mb
            if spent_s > LONGEST_S:
                self._keep(path, f"slow: {name}", f"{spent_s:.0f} s")
            if grown_mb > MOST_GROWTH_MB:
                self._keep(path, f"big: {name}", f"{grown_mb:.0f} MB more")
            path.unlink(missing_ok=True)

    def _keep(self, path: Path, what: str, details: str) -> None:
        if what in self.met:
            return
        self.met.add(what)
        number = len(self.met)
        shutil.copy(path, self.found / f"{number:03}-{path.name}")
        self.found.joinpath(f"{number:03}.report").write_text(f"{path.name}: {what}\n{details}", encoding="utf-8")


def _folder_to_read_in() -> Path:
    """A folder with what other files need beside them: an axis for vectors, samples for a description of them."""
    import numpy as np

    folder = Path(tempfile.mkdtemp())
    np.save(folder / "axis.npy", np.linspace(470e6, 471e6, 41))
    folder.joinpath("sweep.sigmf-data").write_bytes(bytes(range(256)) * 64)
    return folder


def _peak_mb() -> float:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 1e6 if sys.platform == "darwin" else peak / 1024


def _place(error: BaseException) -> str:
    """The kind of an error and the last line of ours on its way."""
    ours = [frame for frame in traceback.extract_tb(error.__traceback__) if frame.filename.startswith(OURS)]
    last = f"{Path(ours[-1].filename).name}:{ours[-1].lineno}" if ours else "elsewhere"
    return f"{type(error).__name__} at {last}"


def readers() -> list[tuple[str, Callable[[Path], object]]]:
    """File names with what reads them: sweeps with and without told options, tables, gains."""
    from fallow.files import read_file, tables
    from fallow.files.curves import read_curve
    from fallow.files.readings import Telling
    from fallow.files.tables.anybodys import TableTelling, read_by_evidence
    from fallow.files.touchstone import read_touchstone

    told = Telling(unit="MHz", level_unit="dBm", rbw_hz=1e4, zone="+01:00", samples="i16", rate_hz=2e6, centre_hz=10**8)
    sweeps = [(name, lambda path: read_file(path)) for name in SWEEP_NAMES]
    sweeps += [(name, lambda path: read_file(path, told)) for name in SWEEP_NAMES]
    known = [(f"{name}.csv", getattr(tables, f"read_{name}")) for name in TABLE_NAMES]
    known += [
        (f"{kind}.txt", lambda path, kind=kind: read_by_evidence(path, kind, TableTelling()))
        for kind in ("links", "plan", "foreign", "equipment", "areas", "stations")
    ]
    parts = [("part.s2p", read_touchstone), ("part.ts", read_touchstone), ("gain.csv", read_curve)]
    return [*sweeps, *known, *parts, ("sweep.csv", judged)]


def judged(path: Path) -> object:
    """What was read is judged too: odd levels and axes must not break that either."""
    from fallow.files import read_file
    from fallow.spectrum.sweep import Survey
    from fallow.workflow.survey import judge

    reading = read_file(path)
    return judge(Survey(reading.series), region="de") if reading.series and not reading.needs else None


# --- what to begin with


def seeds() -> Iterator[bytes]:
    """Inputs that are in order, for each reader; libFuzzer changes them."""
    names = [name for name, _ in readers()]
    text = [path.read_bytes() for path in sorted((ROOT / "tests" / "samples" / "sweeps").iterdir())]
    text += list(_scales_and_edges())
    data = ROOT / "src" / "fallow" / "demo" / "data"
    contents: dict[str, list[bytes]] = {name: [] for name in names}
    contents |= {"sweep.csv": text, "sweep.txt": text, "sweep.json": _json(), "sweep.npy": _vectors()}
    contents |= {"sweep.wav": [_wav()], "sweep.sigmf-meta": _sigmf(), "sweep.bin": [bytes(range(256)) * 20]}
    nested = [_zip(text[3]), _zip(gzip.compress(_tar(text[3])), "inner.tgz"), _zip(_zip(text[3]), "inner.zip")]
    contents |= {"sweep.csv.gz": [gzip.compress(text[3])], "sweep.zip": nested, "sweep.parquet": [_parquet()]}
    contents |= {"sweep.h5": list(_hdf5()), "gain.csv": [b"frequency_mhz;gain_db;u_db\n470;-3,5;0,2\n600;-1,5;0,2\n"]}
    contents |= {f"{name}.txt": _of_others(data, name) for name in TABLE_NAMES if name != "chain"}
    for name in TABLE_NAMES:
        contents[f"{name}.csv"] = [path.read_bytes() for path in data.rglob(f"{name}*.csv")]
    contents["chain.csv"] += [b"part,kind,gain_db,u_db\nwhip,antenna,2.1,1\ncable,cable,-3,0.2\n"]
    contents["plan.csv"] += [b"link,equipment,area,scenes,frequency_mhz,verdict,margin_db,note\na,b,,,500.1,,,\n"]
    contents["part.s2p"] = [b"! a pad\n# MHz S DB R 50\n400 -20 0 -10 0 -10 0 -20 0\n700 -18 0 -10.1 0 -10.1 0 -18 0\n"]
    contents["part.ts"] = [
        b"[Version] 2.0\n# MHz S DB R 50\n[Number of Ports] 1\n[Number of Frequencies] 2\n[Network Data]\n"
        b"470 -20 0\n600 -20 0\n[End]\n"
    ]
    for number, name in enumerate(names):
        yield from (bytes([number]) + content[: LONGEST_FILE - 1] for content in contents[name])


def _scales_and_edges() -> Iterator[bytes]:
    """Field strengths, scales named in a word, cells by their two edges, a filler for what was not measured."""
    for heading in ("frequency_mhz,level_dbuv/m", "Frequenz;Pegel (dB\u00b5V)", "f\tlin", "frequency,psd_w_per_hz"):
        delimiter = next(char for char in ",;\t" if char in heading)
        rows = (f"{470 + 0.025 * k:.3f}{delimiter}{40 + k % 5}" for k in range(12))
        yield "\n".join([heading, *rows, ""]).encode()
    cells = [f"{470 + 0.025 * k:.3f},{470.025 + 0.025 * k:.3f},{-100 - k % 5 if k % 4 else -999}" for k in range(12)]
    for heads in ("Start Freq: 470 MHz\nStop: 471 MHz\nPoints: 24\ndBm\n", "centre;470,5 MHz\nspan;1 MHz\nPegel dBm\n"):
        yield (heads + "\n".join(str(-100 - k % 5) for k in range(24)) + "\n").encode()
    for heading in ("start_mhz,stop_mhz,level_dbm", "f_low,f_high,power"):
        yield "\n".join([heading, *cells, ""]).encode()


def _vectors() -> list[bytes]:
    import numpy as np

    found = []
    for array in (np.linspace(470e6, 480e6, 41), np.full((3, 41), -90.0), np.exp(1j * np.arange(300)).astype("c8")):
        stream = io.BytesIO()
        np.save(stream, array)
        found.append(stream.getvalue())
    return found


def _wav() -> bytes:
    stream = io.BytesIO()
    with wave.open(stream, "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(48_000)
        file.writeframes(bytes(range(256)) * 40)
    return stream.getvalue()


def _zip(content: bytes, name: str = "inner/sweep.csv") -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, content)
    return stream.getvalue()


def _tar(content: bytes) -> bytes:
    stream = io.BytesIO()
    with tarfile.open(fileobj=stream, mode="w") as archive:
        member = tarfile.TarInfo("inner/sweep.csv")
        member.size = len(content)
        archive.addfile(member, io.BytesIO(content))
    return stream.getvalue()


def _of_others(data: Path, kind: str) -> list[bytes]:
    """Tables as others may write them: semicolons, decimal commas, units in the cells."""
    ours = [path.read_bytes() for path in data.rglob(f"{kind}*.csv")]
    theirs = (
        b"Name;Ger\xe4t;Alt (MHz);Frequenz kHz;B\xfchne\nAnna;hand;470,125;470.125;Ost\nBert;hand;471,3;471.300;-\n"
    )
    return [*ours, theirs]


def _hdf5() -> Iterator[bytes]:
    """A file of an axis and levels, where the library that writes it is installed."""
    if importlib.util.find_spec("h5py") is None:
        return
    import h5py
    import numpy as np

    stream = io.BytesIO()
    with h5py.File(stream, "w") as file:
        file["scan/freq_mhz"] = np.linspace(470.0, 471.0, 41)
        file["scan/levels_dbm"] = np.full((3, 41), -90.0, np.float32)
        file["scan/levels_dbm"].attrs["unit"] = "dBm"
    yield stream.getvalue()


def _parquet() -> bytes:
    import pyarrow as pa
    from pyarrow import parquet

    table = pa.table(
        {"frequency_hz": [470e6 + 25e3 * k for k in range(41)], "level_dbm": [-90.0 - k % 7 for k in range(41)]}
    )
    stream = pa.BufferOutputStream()
    parquet.write_table(table, stream)
    return bytes(stream.getvalue())


def _json() -> list[bytes]:
    points = [[470.0 + 0.025 * k, -90.0 - k % 7] for k in range(41)]
    shapes: list[object] = [
        {"start": 470_000_000, "step": 25_000, "levels": [level for _, level in points]},
        [{"central_freq": 470.5, "tsf": 1, "pixels": points}, {"central_freq": 470.5, "tsf": 2, "pixels": points}],
        {"name": "x", "data": [[hz * 1e6, level] for hz, level in points]},
        {"unit": "dBuV/m", "freq_mhz": [hz for hz, _ in points], "field": [[40.0] * 41, [41.0] * 41], "time": [1, 2]},
        [{"frequency": hz * 1e6, "level_dbm": level if level > -96 else None} for hz, level in points],
        {"meta": {"f_start_mhz": 470, "f_stop_mhz": 471, "rbw_khz": 25}, "scale": "linear", "power": [1e-9] * 41},
    ]
    record = json.dumps(shapes[0]).encode()
    return [*(json.dumps(shape).encode() for shape in shapes), str(len(record)).encode() + b"\r" + record]


def _sigmf() -> list[bytes]:
    about = {"core:datatype": "ci16_le", "core:sample_rate": 1e6, "core:version": "1.0.0"}
    captures = [{"core:sample_start": 0, "core:frequency": 5e8, "core:datetime": "2024-01-01T00:00:00Z"}]
    return [json.dumps({"global": about, "captures": captures, "annotations": []}).encode()]


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        fuzz(Path(sys.argv[2]), sys.argv[3:])
    sys.exit(main())
