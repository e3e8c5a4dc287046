"""Touchstone files of one or two ports: gain and match of antennas, cables, filters and pads over frequency.

scikit-rf reads them (Touchstone 1.0 to 2.1); it is an optional library. What it would take without a word although the
file is damaged (a number missing in a row, rows out of order, fewer rows than announced) is looked for here, first.
Source of the rules: Touchstone File Format Specification, version 2.0, IBIS Open Forum (from memory).
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.source import TextFile
from fallow.spectrum.chain import Reflections
from fallow.spectrum.curve import Curve

if TYPE_CHECKING:
    from skrf.io.touchstone import Touchstone

__all__ = ["SUFFIX", "Measured", "read_touchstone"]

SUFFIX = re.compile(r"\.(?:[syzgh]\d+p|ts)", re.IGNORECASE)
SYSTEM_OHM = 50.0  # the impedance of the chain
_MOST_BYTES = 32 * 2**20  # two ports at a million frequencies
_HIGHEST_HZ = 100e9  # beyond any instrument of the trade, as in our tables
_MOST_DB = 150.0  # common practice: no part of a chain gains or loses more
_LONGEST_REASON = 80  # characters of what the library says; it may quote a whole line
_NOISE_COLUMNS = 5  # frequency, noise figure, reflection (two numbers), resistance
_DAMAGE = (ValueError, IndexError, KeyError, TypeError, AttributeError, ArithmeticError, np.linalg.LinAlgError)


@dataclass(frozen=True, eq=False)
class Measured:
    """What a file says of a part. Port 1 is the side of the antenna, port 2 that of the instrument.

    ``gain_db``: |S21|; ``reverse_db``: |S12|, both ``None`` for one port. ``reflections``: |S11| and |S22|, of one port
    |S11| for both. ``notes``: what was taken for granted.
    """

    gain_db: Curve | None
    reverse_db: Curve | None
    reflections: Reflections
    notes: tuple[str, ...]


def read_touchstone(path: Path) -> Measured:
    """The gain and match of a part. Raises InputError: no such file, damaged, more than two ports, library missing."""
    text = _text(path)
    layout = _layout(text, path)
    _check_rows(text, layout, path)
    read = _by_library(text, f"part.s{layout.ports}p", path)
    frequencies_hz = np.asarray(read.f, dtype=np.float64)
    _check_numbers(frequencies_hz, read.s, path)
    s, notes = _in_system(read, path)
    magnitudes = np.abs(s)
    return _measured(frequencies_hz, magnitudes, (*layout.notes, *notes), path.name)


def _measured(
    frequencies_hz: NDArray[np.float64], s: NDArray[np.float64], notes: tuple[str, ...], name: str
) -> Measured:
    def reflection(port: int) -> Curve:
        return Curve(frequencies_hz, s[:, port, port])

    if s.shape[1] == 1:
        return Measured(None, None, Reflections(reflection(0), reflection(0)), notes)
    forward, reverse = (
        Curve(frequencies_hz, 20.0 * np.log10(np.maximum(s[:, i, j], 1e-9))) for i, j in ((1, 0), (0, 1))
    )
    apart_db = float(np.max(np.abs(forward.values - reverse.values)))
    ways = f", and the way back differs by up to {apart_db:.1f} dB" if apart_db > 0.5 else ""
    taken = f"{name}: port 1 is taken as the side of the antenna, |S21| as the gain{ways}"
    return Measured(forward, reverse, Reflections(reflection(0), reflection(1)), (*notes, taken))


# --- the text, looked at before the library does


@dataclass(frozen=True)
class _Layout:
    ports: int
    columns: int
    announced: int | None
    notes: tuple[str, ...]


def _text(path: Path) -> str:
    file = TextFile.open(path)
    if file.size > _MOST_BYTES:
        raise InputError("the file is too large for a part of a chain", path=path)
    return "".join(block.text for block in file.blocks())


def _layout(text: str, path: Path) -> _Layout:
    text = re.sub(r"!.*", "", text)
    ports = _ports(text, path)
    if ports not in (1, 2):
        hint = "save the path from the antenna to the instrument as a file of two ports (.s2p)"
        raise InputError(f"the file has {ports} ports, and a part of a chain has one or two", path=path, hint=hint)
    if re.search(r"^\s*\[mixed-mode order\]", text, re.IGNORECASE | re.MULTILINE):
        raise InputError("the file holds mixed modes, which a chain of coaxial parts does not have", path=path)
    if ports == 2 and re.search(r"^\s*\[matrix format\]\s*(?:lower|upper)", text, re.IGNORECASE | re.MULTILINE):
        # scikit-rf 2.2 turns such a matrix over before it is filled, and leaves what was in memory
        raise InputError("half a matrix can't be read", path=path, hint="save the file with [Matrix Format] Full")
    announced = re.search(r"^\s*\[number of frequencies\]\s*(\d+)", text, re.IGNORECASE | re.MULTILINE)
    notes = _check_options(text, ports, path)
    return _Layout(ports, 1 + 2 * ports**2, int(announced[1]) if announced else None, notes)


def _ports(text: str, path: Path) -> int:
    stated = re.search(r"^\s*\[number of ports\]\s*(\d{1,6})", text, re.IGNORECASE | re.MULTILINE)
    if stated is not None:
        return int(stated[1])
    named = re.fullmatch(r"\.[syzgh](\d{1,6})p", path.suffix.lower())
    if named is None:
        raise InputError("the file does not say how many ports it has", path=path, hint="name it FILE.s1p or FILE.s2p")
    return int(named[1])


def _check_options(text: str, ports: int, path: Path) -> tuple[str, ...]:
    """The option line (# Hz S MA R 50), and where version 2 has them the references of the ports."""
    for number, line in _lines(text):
        if line.startswith("#"):
            _check_option_line(number, line, path)
            break
    else:
        return (f"{path.name}: no option line, so frequencies in GHz and S as magnitude and angle at 50 ohm are taken",)
    for references in re.finditer(r"^\s*\[reference\]([^\[#]*)", text, re.IGNORECASE | re.MULTILINE):
        stated = [word for word in references[1].split() if _is_number(word)]
        if len(stated) < ports or not all(float(word) > 0 for word in stated):
            raise InputError(f"[Reference] does not state a resistance for each of the {ports} ports", path=path)
    return ()


def _check_option_line(number: int, line: str, path: Path) -> None:
    words = line[1:].lower().split()
    usual = ("hz", "khz", "mhz", "ghz"), ("s", "y", "z", "g", "h"), ("ma", "db", "ri"), ("r",)
    right = all(word in known for word, known in zip(words, usual, strict=False))
    if not right:
        hint = "it reads # MHz S DB R 50: unit of frequency, kind of parameter, how numbers are written, ohms"
        raise InputError(f"the option line {line!r} can't be understood", path=path, line=number, hint=hint)
    impedances = words[4:]
    if not all(_is_number(word) and float(word) > 0 for word in impedances) or (len(words) == 4 and not impedances):
        hint = f"save the file with a reference of {SYSTEM_OHM:g} ohm"
        what = f"the reference impedance {' '.join(impedances)!r} is no resistance"
        raise InputError(what, path=path, line=number, hint=hint)


def _check_rows(text: str, layout: _Layout, path: Path) -> None:
    """Every row of the network as long as it must be, rising in frequency; as many of them as were announced."""
    last, rows = -1.0, 0
    for number, line in _data_lines(text):
        cells = line.split()
        bad = next((cell for cell in cells if not _is_number(cell)), None)
        if bad is not None:
            hint = "numbers have a decimal point and blanks between them" if "," in bad else None
            raise InputError(f"{bad!r} is no number", path=path, line=number, column=cells.index(bad) + 1, hint=hint)
        frequency = float(cells[0])
        if rows and frequency <= last and len(cells) == _NOISE_COLUMNS and layout.ports == 2:
            break  # the noise of an amplifier stands behind its network
        if len(cells) != layout.columns:
            what = f"the row holds {len(cells)} numbers, and {layout.ports} ports need {layout.columns}"
            raise InputError(what, path=path, line=number, hint="the file may have been cut off here")
        if frequency < 0:
            raise InputError(f"{cells[0]!r} is no frequency", path=path, line=number, column=1)
        if frequency <= last:
            raise InputError("the frequencies do not rise", path=path, line=number)
        last, rows = frequency, rows + 1
    if rows < 2:
        raise InputError("the file holds fewer than two frequencies", path=path)
    if layout.announced is not None and layout.announced != rows:
        what = f"{layout.announced} frequencies are announced and {rows} are there"
        raise InputError(what, path=path, hint="the file may have been cut off")


def _data_lines(text: str) -> Iterator[tuple[int, str]]:
    """The rows of the network with their line numbers; what version 2 keeps for itself is passed over."""
    inside = not re.search(r"^\s*\[network data\]", text, re.IGNORECASE | re.MULTILINE)
    for number, line in _lines(text):
        if line.startswith("["):
            keyword = line.lower()
            if keyword.startswith(("[noise data]", "[end]")):
                return
            inside = inside or keyword.startswith("[network data]")
        elif inside and not line.startswith("#"):
            yield number, line


def _lines(text: str) -> Iterator[tuple[int, str]]:
    """Lines that say something, without comments, each with its number."""
    for number, line in enumerate(text.split("\n"), start=1):
        bare = line.partition("!")[0].strip()
        if bare:
            yield number, bare


def _is_number(word: str) -> bool:
    return re.fullmatch(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,3})?", word) is not None


# --- the library, and what it made of it


def _by_library(text: str, name: str, path: Path) -> Touchstone:
    try:
        from skrf.io.touchstone import Touchstone  # late: an optional library
    except ImportError as error:
        what = "Touchstone files are read by scikit-rf, which is not installed"
        hint = 'pip install "fallow[touchstone]"; or write frequency and gain into a table of two columns'
        raise InputError(what, path=path, hint=hint) from error
    stream = io.StringIO(text)
    stream.name = name  # the library tells the number of ports by it
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what it warns of shows in the numbers, which are checked
            return Touchstone(stream)
    except _DAMAGE as error:
        reason = " ".join(str(error).split()).rstrip(".")[:_LONGEST_REASON]
        raise InputError(f"scikit-rf can't read the file ({reason or type(error).__name__})", path=path) from error


def _check_numbers(frequencies_hz: NDArray[np.float64], s: NDArray[np.complex128], path: Path) -> None:
    if not np.all(np.isfinite(frequencies_hz)) or not np.all(np.isfinite(s)):
        raise InputError("the file holds values that are no finite numbers", path=path)
    if frequencies_hz[-1] > _HIGHEST_HZ:
        what = f"the frequencies reach {frequencies_hz[-1] / 1e9:g} GHz"
        raise InputError(what, path=path, hint="the unit in the option line (# MHz ...) may be wrong")
    if np.abs(s).max() > 10.0 ** (_MOST_DB / 20.0):
        what = f"a value lies above {_MOST_DB:g} dB"
        raise InputError(what, path=path, hint="the option line may be wrong: DB, MA or RI")


def _in_system(read: Touchstone, path: Path) -> tuple[NDArray[np.complex128], tuple[str, ...]]:
    """S in the impedance of the chain."""
    from skrf.network import renormalize_s  # late: an optional library

    z0 = np.broadcast_to(np.asarray(read.z0, dtype=np.complex128), read.s.shape[:2])
    if np.any(z0.imag != 0) or not np.all(z0.real > 0):
        hint = f"save the file with a reference of {SYSTEM_OHM:g} ohm"
        raise InputError("the reference impedance is no resistance", path=path, hint=hint)
    if np.all(z0 == SYSTEM_OHM):
        return np.asarray(read.s), ()
    ohms = " and ".join(f"{ohm:g}" for ohm in np.unique(z0.real)[:3])
    converted = np.asarray(renormalize_s(read.s, z0, SYSTEM_OHM))
    return converted, (f"{path.name}: converted from {ohms} ohm to the {SYSTEM_OHM:g} ohm of the chain",)
