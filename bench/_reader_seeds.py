"""Files that are in order, one or more for each reader: what ``fuzz_readers.py`` begins with. All data are invented."""

from __future__ import annotations

import gzip
import importlib.util
import io
import json
import struct
import tarfile
import wave
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
DATA = ROOT / "src" / "fallow" / "demo" / "data"
TABLE_NAMES = ("links", "equipment", "areas", "foreign", "stations", "plan", "chain", "groups", "measured")


def seeds(names: Sequence[str], longest: int) -> Iterator[bytes]:
    """Inputs that are in order, each behind the number of its name among ``names``, the readers' file names."""
    contents = _sweeps() | _tables() | _parts()
    for number, name in enumerate(names):
        yield from (bytes([number]) + content[: longest - 1] for content in contents.get(name, ()))


def _sweeps() -> dict[str, list[bytes]]:
    text = [path.read_bytes() for path in sorted((ROOT / "tests" / "samples" / "sweeps").iterdir())]
    text += [*_scales_and_edges(), *_listed()]
    nested = [_zip(text[3]), _zip(gzip.compress(_tar(text[3])), "inner.tgz"), _zip(_zip(text[3]), "inner.zip")]
    return {
        "sweep.csv": text,
        "sweep.txt": text,
        "twice.csv": text,
        "sweep.json": _json(),
        "sweep.npy": _vectors(),
        "axes/freq_mhz.npy": _axes(),
        "times/times.npy": _times(),
        "sweep.wav": list(_wavs()),
        "sweep.sigmf-meta": _sigmf(),
        "sweep.bin": [bytes(range(256)) * 20],
        "sweep.cs16": [bytes(range(256)) * 20],
        "sweep.csv.gz": [gzip.compress(text[3])],
        "sweep.zip": nested,
        "sweep.parquet": list(_parquets()),
        "sweeps.parquet": [_exported()],
        "sweep.h5": list(_hdf5()),
        "sweep.dat": list(_prefixed()),
    }


def _tables() -> dict[str, list[bytes]]:
    contents = {f"{name}.txt": _of_others(name) for name in TABLE_NAMES if name != "chain"}
    contents |= {f"{name}.csv": [path.read_bytes() for path in DATA.rglob(f"{name}*.csv")] for name in TABLE_NAMES}
    contents["chain.csv"] += [
        b"part,kind,gain_db,u_db,vswr\nwhip,antenna,2.1,1,1.8\ncable,cable,-3,0.2,\n",
        b"part,kind,gain_db,u_db\ncable,cable,laid.csv,0.5\npad,pad,laid.s2p,0.5\nreceiver,instrument,0,1\n",
    ]
    contents["foreign.txt"] += [b"name;von MHz;bis MHz;area\nothers;500,1;500,3;\nmore;501;502;Ost\n"]
    contents["links.csv"] += [b"link,equipment,frequency_mhz,return_mhz,fixed\na,pack,500.1,510.1,yes\nb,pack,,,\n"]
    contents["equipment.csv"] += [
        b"equipment,kind,tuning_mhz,return_mhz,offset_mhz,step_khz,bandwidth_khz,spacing_khz,oip3_dbm,noise_figure_db\n"
        b"pack,intercom,470-480,500-510,30,25,200,400,20,8\n"
    ]
    contents["plan.csv"] += [b"link,equipment,area,scenes,frequency_mhz,verdict,margin_db,note\na,b,,,500.1,,,\n"]
    contents["groups.csv"] += [
        b"group,from,apart_mhz,within_mhz,areas,hard\nin-ear,microphone,4,,same,yes\nband,,,6,all,\n"
    ]
    contents["measured.csv"] += [b"link;Pegel (dBm)\nvox 1;-52,5\nvox 2;-61\n"]
    contents["stock.csv"] = [b"equipment,count,serial,tuning_mhz\nhand,12,,470-526\npack,4,A7,\n"]
    contents["out.csv"] = [b"equipment,count,from,until,show\nhand,3,2024-05-01,2024-05-03,spring\n"]
    contents["which.csv"] = [path.read_bytes() for path in sorted(DATA.rglob("*.csv"))][:12]
    contents["summed/SHA256SUMS"] = [b"0" * 64 + b"  sweep.csv\n\\" + b"f" * 64 + b" *a\\nb\n"]
    contents["areas.txt"] += [b";Ost;West\nOst;-;12,5\nWest;12,5;-\n"]
    contents["own.toml"] = [
        b'[licences.house]\ntext = "our licence"\n[[place]]\nname = "Harbour"\naliases = ["the old harbour"]\n'
        b'text = "the invented harbour"\n[[rule]]\nmhz = [740.1, 740.5]\nstatus = "permit"\nlicence = "house"\n'
        b'kinds = ["microphone"]\npower_mw = 20\npower_kind = "eirp"\nbandwidth_khz = 200\nplaces = ["Harbour"]\n'
        b'source = "letter of an invented coordinator"\ndate = "2026-07-18"\nvalid_from = 2024-05-01\n'
        b'carriers_mhz = { first = 740.2, step = 0.025, count = 4, without = [2] }\nchecked = "seen"\n'
    ]
    return contents


def _parts() -> dict[str, list[bytes]]:
    """Gains over frequency."""
    return {
        "gain.csv": [b"frequency_mhz;gain_db;u_db\n470;-3,5;0,2\n600;-1,5;0,2\n"],
        "part.s2p": [b"! a pad\n# MHz S DB R 50\n400 -20 0 -10 0 -10 0 -20 0\n700 -18 0 -10.1 0 -10.1 0 -18 0\n"],
        "part.ts": [
            b"[Version] 2.0\n# MHz S DB R 50\n[Number of Ports] 1\n[Number of Frequencies] 2\n[Network Data]\n"
            b"470 -20 0\n600 -20 0\n[End]\n"
        ],
    }


def _listed() -> Iterator[bytes]:
    """Levels below each other or in rows under their start and stop: counted, with gaps, in blocks, in two columns."""
    levels = [f"{-100 - k % 7}.5" for k in range(41)]
    heads = "Start;470 MHz\nStop;471 MHz\n"
    counted = "".join(f"{k};{level}\n" for k, level in enumerate(levels)).replace(".", ",")
    yield f"{heads}Punkte;41\nIndex;Pegel (dBm)\n{counted}".encode()
    block = f"{heads}Step;25 kHz\nRBW;10 kHz\nLevel (dBm)\n" + "\n".join([*levels[:20], "OVR", *levels[21:], ""])
    yield (block + "\n" + block).encode()
    yield ("Start: 471 MHz\nStop: 470 MHz\nlevel_dbm,max_dbm\n" + "".join(f"{x},{x}\n" for x in levels)).encode()
    yield ("# Centre 470.5 MHz\n# Span 1 MHz\n" + "\n".join(f"{level} dBm" for level in levels) + "\n").encode()
    rows = "\n".join(",".join(levels[k : k + 10]) for k in range(0, 40, 10))
    yield f"Start,470 MHz\nStop,470.975 MHz\nLevel (dBm)\n{rows}\n".encode()
    yield f"Start,470 MHz\nStop,471 MHz\nLevel (dBm)\n{' '.join(levels)}\n".encode()


def _prefixed() -> Iterator[bytes]:
    """Heads with their lengths before them, and levels behind the last one in three types."""
    for kind, level in (("Binary - int8", b"\xa0"), ("Binary - float32", struct.pack("<f", -90.0)), ("ASCII", b"-90,")):
        about = {"fStart": 7e8, "fStop": 7.01e8, "n": 20, "det": "Peak", "nM": 2, "Tm": 1, "t": 1432171042}
        data = {
            "Type": "Data",
            "mType": "FFT-Power",
            "DataType": kind,
            "ByteOrder": "Little-Endian",
            "nM": 2,
            "mPar": about,
            "t": 1432171042,
        }
        heads = [{"Type": "Sys", "Antenna": {"g": 2.0}}, {"Type": "Loc", "Lat": 39.1}, data]
        written = [json.dumps(head).encode() for head in heads]
        yield b"".join(str(len(head)).encode() + b"\r" + head for head in written) + level * 40


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

    return [
        _saved(np.linspace(470e6, 480e6, 41)),
        _saved(np.full((3, 41), -90.0) - np.arange(41) % 7),
        _saved(np.exp(1j * np.arange(300))),
    ]


def _axes() -> list[bytes]:
    """Frequencies for the levels beside them."""
    import numpy as np

    return [_saved(np.linspace(470.0, 471.0, 17)), _saved(np.arange(17)[::-1] * 62_500 + 470_000_000)]


def _times() -> list[bytes]:
    """Times for the levels beside them: seconds since 1970, and dates."""
    import numpy as np

    return [_saved(np.arange(3) + 1.7e9), _saved(np.array(["2024-05-01", "2024-05-02", "2024-05-03"], "M8[us]"))]


def _saved(array: object) -> bytes:
    import numpy as np

    stream = io.BytesIO()
    np.save(stream, array)  # type: ignore[arg-type]  # any array
    return stream.getvalue()


def _wavs() -> Iterator[bytes]:
    """Sixteen bits as Python writes them; floats behind a chunk of some program's own; the 64-bit sizes of RF64."""
    stream = io.BytesIO()
    with wave.open(stream, "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(48_000)
        file.writeframes(bytes(range(256)) * 40)
    yield stream.getvalue()
    samples = struct.pack("<f", 0.25) * 4000
    form = b"fmt " + struct.pack("<IHHIIHH", 16, 3, 2, 96_000, 96_000 * 8, 8, 32)
    body = form + b"auxi" + struct.pack("<I", 36) + bytes(36) + b"data" + struct.pack("<I", len(samples)) + samples
    yield b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WAVE" + body
    sizes = b"ds64" + struct.pack("<IQQQI", 28, 4 + len(samples), len(samples), 2000, 0)
    yield b"RF64\xff\xff\xff\xffWAVE" + sizes + form + b"data\xff\xff\xff\xff" + samples


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


def _of_others(kind: str) -> list[bytes]:
    """Tables as others may write them: semicolons, decimal commas, units in the cells."""
    ours = [path.read_bytes() for path in DATA.rglob(f"{kind}*.csv")]
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
        file["scan"].attrs["units"] = "MHz"
    yield stream.getvalue()
    stream = io.BytesIO()
    with h5py.File(stream, "w") as file:
        file["rows"] = np.array([(470.0 + k, -90.0 - k) for k in range(9)], [("freq_mhz", "f8"), ("dbm", "f4")])
    yield stream.getvalue()


def _parquets() -> Iterator[bytes]:
    """A long table; a wide one, with units in what is said of its columns and of the file."""
    import pyarrow as pa
    from pyarrow import parquet

    mhz = [470.0 + 0.025 * k for k in range(41)]
    unit = {"unit": "MHz"}
    schema = pa.schema([pa.field("frequency", pa.float64(), metadata=unit), ("level", pa.float32())], {"units": "dBm"})
    for table in (
        pa.table({"frequency_hz": [1e6 * hz for hz in mhz], "level_dbm": [-90.0 - k % 7 for k in range(41)]}),
        pa.table([mhz, [-90.0 - k % 7 for k in range(41)]], schema=schema),
        pa.table({"time": [1.7e9, 1.7e9 + 1], **{f"{hz:.3f}": [-90.0, -95.5] for hz in mhz}}),
    ):
        stream = pa.BufferOutputStream()
        parquet.write_table(table, stream)
        yield bytes(stream.getvalue())


def _exported() -> bytes:
    """Sweeps as fallow exports them."""
    import tempfile

    import numpy as np

    from fallow.files.sweep_parquet import write_sweeps
    from fallow.spectrum.axis import Axis
    from fallow.spectrum.sweep import LevelUnit, Series

    head = Series(Axis(470_000_000, 25_000, 41), np.empty((0, 41), np.float32), LevelUnit.DBM, np.empty(0), True)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sweeps.parquet"
        write_sweeps(path, head, [(np.array([1.7e9, 1.7e9 + 1]), np.full((2, 41), -90.0, np.float32))])
        return path.read_bytes()


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
    """One capture; two on two tunings with annotations, headers between the samples and a checksum."""
    about = {"core:datatype": "ci16_le", "core:sample_rate": 1e6, "core:version": "1.0.0"}
    capture = {"core:sample_start": 0, "core:frequency": 5e8, "core:datetime": "2024-01-01T00:00:00Z"}
    second = {"core:sample_start": 2000, "core:frequency": 5.005e8, "core:header_bytes": 16}
    note = {"core:sample_start": 10, "core:sample_count": 90, "core:freq_lower_edge": 4.999e8}
    note |= {"core:freq_upper_edge": 5.001e8, "core:label": "burst"}
    more = {"core:trailing_bytes": 4, "core:sha512": "0" * 128}
    documents: list[dict[str, object]] = [
        {"global": about, "captures": [capture], "annotations": []},
        {"global": about | more, "captures": [capture, second], "annotations": [note, {}]},
        {"global": {"core:datatype": "ru8"}, "captures": []},
    ]
    return [json.dumps(document).encode() for document in documents]
