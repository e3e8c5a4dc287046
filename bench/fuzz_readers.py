"""A coverage-guided search for files that break a reader: ``python bench/fuzz_readers.py [SECONDS] [--keep FOLDER]
[--corpus FOLDER] [--reached]``.

Every input is written into an empty folder and read there. Whatever comes out must be a reading, a question or one of
our errors; a traceback, more than ten seconds, or more memory than the file can ask for is a finding. Findings are told
once per place in our code and, with ``--keep``, kept as files; ``--corpus`` keeps the inputs that led into new code,
from which a later run goes on; ``--reached`` tells which share of each module's lines they run through. atheris
(libFuzzer for Python) finds the ways into our own code; where it is not installed there is nothing to search with.
"""

from __future__ import annotations

import argparse
import importlib.util
import inspect
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from types import CodeType, FrameType

from _reader_seeds import TABLE_NAMES, seeds

ROOT = Path(__file__).resolve().parent.parent
OURS = str(ROOT / "src" / "fallow")
LONGEST_S = 10.0  # of processor time, because a busy machine makes anything last; what waits is ended after a minute
MOST_GROWTH_MB = 600.0  # of a process by one file of at most LONGEST_FILE bytes
LONGEST_FILE = 20_000
_COMPANIONS = ("axes/freq_mhz.npy", "times/times.npy")
SWEEP_NAMES = (
    "sweep.csv", "sweep.txt", "sweep.npy", "sweep.json", "sweep.bin", "sweep.wav", "sweep.sigmf-meta", "sweep.zip",
    "sweep.csv.gz", "sweep.parquet", "sweep.h5", "sweep.dat", "sweep.cs16",
)  # fmt: skip
WORDS = (
    "MHz", "dBm", "RBW", "Frequency", "time", "NaN", ";", ",", "\\x09", "nan", "e308", "2024-01-01T00:00:00", "link",
    "equipment", "frequency_mhz", "area", "\\xff\\xfe", "\\x93NUMPY", "core:datatype", "captures", "\\x1f\\x8b", "PK",
)  # fmt: skip


def main() -> int:
    """Run the search in a process of its own, which libFuzzer ends; 1 where something was found."""
    typed = _arguments()
    if importlib.util.find_spec("atheris") is None and not typed.reached:
        print("fuzz_readers: atheris is not installed (it runs on Linux and macOS): nothing was tried")
        return 0
    if typed.reached:
        return _print_reached(typed.corpus)
    with tempfile.TemporaryDirectory() as folder:
        corpus, found = typed.corpus or Path(folder) / "corpus", typed.keep or Path(folder) / "found"
        for place in (corpus, found):
            place.mkdir(parents=True, exist_ok=True)
        for number, seed in enumerate(seeds([name for name, _ in readers()], LONGEST_FILE)):
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
    parser.add_argument("--reached", action="store_true", help="search nothing, tell what seeds and corpus reach")
    return parser.parse_args()


def fuzz(found: Path, options: list[str]) -> None:
    """What the process of its own does: it never returns."""
    import atheris  # only where it is installed

    with atheris.instrument_imports(include=["fallow.files"]):
        readers()  # imports them here, so that the ways through them are seen
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
    for place in _COMPANIONS:
        folder.joinpath(place).parent.mkdir()
        np.save(folder.joinpath(place).with_name("levels.npy"), np.full((3, 17), -90.0) - np.arange(17))
    np.save(folder / "times" / "axis.npy", np.linspace(470e6, 471e6, 17))
    folder.joinpath("summed").mkdir()
    folder.joinpath("summed", "sweep.csv").write_text("470,-90\n", encoding="ascii")
    folder.joinpath("laid.csv").write_text("MHz,dB\n" + "".join(f"{470 + k},{-3 - k % 2}\n" for k in range(40)))
    folder.joinpath("laid.s2p").write_text(
        "# MHz S DB R 50\n400 -20 0 -10 0 -10 0 -20 0\n700 -18 0 -10 0 -10 0 -18 0\n"
    )
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
    from fallow.files import read_file, read_paths, tables
    from fallow.files.curves import read_curve
    from fallow.files.readings import Telling
    from fallow.files.sums import compare_sums
    from fallow.files.sweep_parquet import SweepFile
    from fallow.files.tables.anybodys import TableTelling, read_by_evidence
    from fallow.files.tables.recognise import tables_it_may_be
    from fallow.files.tables.stock_table import read_bookings, read_stock
    from fallow.files.territories import load_territory
    from fallow.files.touchstone import read_touchstone

    told = Telling(unit="MHz", level_unit="dBm", rbw_hz=1e4, zone="+01:00", samples="i16", rate_hz=2e6, centre_hz=10**8)
    sweeps = [(name, lambda path: read_file(path)) for name in SWEEP_NAMES]
    sweeps += [(name, lambda path: read_file(path, told)) for name in SWEEP_NAMES]
    sweeps += [(name, lambda path: read_file(path.with_name("levels.npy"))) for name in _COMPANIONS]
    sweeps += [("sweeps.parquet", lambda path: list(SweepFile(path).blocks()))]
    known = [(f"{name}.csv", getattr(tables, f"read_{name}")) for name in TABLE_NAMES]
    known += [("stock.csv", read_stock), ("out.csv", read_bookings)]
    known += [("own.toml", lambda path: load_territory("de", [path]))]
    known += [
        (f"{kind}.txt", lambda path, kind=kind: read_by_evidence(path, kind, TableTelling()))
        for kind in ("links", "plan", "foreign", "equipment", "areas", "stations")
    ]
    parts = [("part.s2p", read_touchstone), ("part.ts", read_touchstone), ("gain.csv", read_curve)]
    others = [("which.csv", tables_it_may_be), ("summed/SHA256SUMS", lambda path: compare_sums(path.parent))]
    others += [("twice.csv", lambda path: read_paths([path, path.with_name("laid.csv"), path.parent / "axes"]))]
    return [*sweeps, *known, *parts, ("sweep.csv", judged), *others]


def judged(path: Path) -> object:
    """What was read is judged too: odd levels and axes must not break that either."""
    from fallow.files import read_file
    from fallow.spectrum.sweep import Survey
    from fallow.workflow.survey import judge

    reading = read_file(path)
    return judge(Survey(reading.series), region="de") if reading.series and not reading.needs else None


# --- what is reached


def _print_reached(corpus: Path | None) -> int:
    """Which share of the lines of each module is run by the seeds and a corpus; the least first."""
    read = readers()
    inputs = [*seeds([name for name, _ in read], LONGEST_FILE)]
    inputs += [] if corpus is None else [path.read_bytes() for path in sorted(corpus.iterdir())]
    with tempfile.TemporaryDirectory() as found:
        watch, reached = _Watch(Path(found), read), _Reached()
        sys.settrace(reached)
        for data in inputs:
            watch.one(data)
        sys.settrace(None)
    shares = sorted((share, name) for name, share in reached.shares().items())
    print("\n".join(f"{share:6.1%}  {name}" for share, name in shares))
    return 0


class _Reached:
    """A trace function that keeps the lines of our readers that were run."""

    def __init__(self) -> None:
        self.lines: dict[str, set[int]] = {}

    def __call__(self, frame: FrameType, event: str, _: object) -> _Reached | None:
        path = frame.f_code.co_filename
        if not path.startswith(f"{OURS}/files"):
            return None
        if event == "line":
            self.lines.setdefault(path, set()).add(frame.f_lineno)
        return self

    def shares(self) -> dict[str, float]:
        """By module, of the lines in its functions."""
        shares = {}
        for path in sorted(Path(OURS, "files").rglob("*.py")):
            whole = compile(path.read_text(encoding="utf-8"), str(path), "exec")
            lines = {line for code in _functions(whole) for *_, line in code.co_lines() if line is not None}
            lines -= {code.co_firstlineno for code in _functions(whole)}
            if lines:
                shares[path.name] = len(lines & self.lines.get(str(path), set())) / len(lines)
        return shares


def _functions(code: CodeType) -> Iterator[CodeType]:
    """All functions in a module or class, those inside them too."""
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            if inner.co_flags & inspect.CO_OPTIMIZED:
                yield inner
            yield from _functions(inner)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        fuzz(Path(sys.argv[2]), sys.argv[3:])
    sys.exit(main())
