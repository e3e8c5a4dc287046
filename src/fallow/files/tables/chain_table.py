"""The chain between air and instrument, read from a table; gains over frequency come from files that it names."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from fallow.files.curves import read_curve
from fallow.files.tables.columns import DECIBEL, Column, text_column
from fallow.files.tables.grid import FilePath, Row, read_table
from fallow.files.touchstone import SUFFIX, Measured, read_touchstone
from fallow.spectrum.chain import KINDS, Chain, ChainPart, GainCurve, Reflections

__all__ = ["CHAIN_COLUMNS", "part_from", "read_chain"]

CHAIN_COLUMNS = (
    text_column("part", "name", "teil", "élément", "parte", "deel", required=True),
    text_column("kind", "art", "genre", "clase", "soort", required=True),
    Column(("gain", "gewinn", "verstärkung", "ganancia"), DECIBEL, required=True),
    Column(("u", "uncertainty", "unsicherheit", "incertitude", "incertidumbre"), DECIBEL, required=True),
    Column(("vswr", "swr", "ros", "roe"), is_number=True),
)
_ENDS = ("antenna", "instrument")
_PASSIVE = ("cable", "filter", "pad")
_MEASURED_DB = 0.5  # common practice: by so much a calibration may miss the loss of a short part
_MOST_DB = 150.0  # common practice: no part of a chain gains or loses more
_MOST_U_DB = 30.0  # common practice: of a level that may be a thousand times off nothing is known
_MOST_VSWR = 1000.0  # common practice: beyond it nothing is connected


def read_chain(path: FilePath) -> Chain:
    """The parts of a chain in the order of the table. Raises InputError with line and column, also for curve files."""
    return Chain(tuple(part_from(row) for row in read_table(path, CHAIN_COLUMNS).rows))


def part_from(row: Row) -> ChainPart:
    """A row of the table of the chain. Raises InputError with line and column, also for curve files."""
    kind = row.needed("kind").lower()
    if kind not in KINDS:
        raise row.wrong("kind", f"the kind {row.text('kind')!r} is not known", hint=f"it is one of {', '.join(KINDS)}")
    gain = _within_reason(_gain(row, kind), row, kind)
    reflections, notes = _reflections(row, gain.measured)
    return ChainPart(
        row.needed("part"),
        kind,
        gain.gain_db,
        _u_db(row, gain.gain_db),
        reflections,
        None if gain.measured is None else gain.measured.reverse_db,
        gain_known=gain.is_known,
        notes=tuple(dict.fromkeys((*gain.notes, *notes))),
    )


@dataclass(frozen=True)
class _Gain:
    """What a row says of its gain. ``measured``: all that its Touchstone file says, where it names one."""

    gain_db: float | GainCurve
    notes: tuple[str, ...] = ()
    measured: Measured | None = None
    is_known: bool = True


def _gain(row: Row, kind: str) -> _Gain:
    """The gain of a row: a number, a curve, or what a Touchstone file says."""
    text = row.needed("gain_db")
    if row.is_number("gain_db"):
        return _Gain(float(row.value("gain_db", text)))
    path = _beside(row, "gain_db", text)
    if not SUFFIX.fullmatch(path.suffix):
        return _Gain(*read_curve(path))
    measured = read_touchstone(path)
    if measured.gain_db is not None:
        curve = GainCurve(measured.gain_db.frequencies_hz, measured.gain_db.values)
        return _Gain(curve, measured.notes, measured)
    if kind not in _ENDS:
        what = f"{text!r} has one port, which tells a match and no gain"
        raise row.wrong("gain_db", what, hint="give a number or a file of two ports, and this file in a column vswr")
    taken = f"{text} has one port: it tells the match of {row.text('part')!r}, and a gain of 0 dB is taken"
    return _Gain(0.0, (*measured.notes, taken), measured, is_known=False)


def _within_reason(gain: _Gain, row: Row, kind: str) -> _Gain:
    """The gain; refused where no part, or no passive one, can have it, with a note where it may be an error of the one
    who measured it."""
    curve = gain.gain_db
    largest_db = float(curve.gains_db.max()) if isinstance(curve, GainCurve) else curve
    if not isinstance(curve, GainCurve) and abs(curve) > _MOST_DB:
        raise row.wrong(
            "gain_db", f"a gain of {curve:g} dB can't be", hint="it is the sum of what one part gains or loses"
        )
    if kind not in _PASSIVE or largest_db <= 0:
        return gain
    if gain.measured is None and largest_db > (_MEASURED_DB if isinstance(curve, GainCurve) else 0):
        number = f"write -{largest_db:g}" if not isinstance(curve, GainCurve) else "write losses as negative gains"
        what = f"a {kind} of +{largest_db:g} dB would amplify"
        raise row.wrong("gain_db", what, hint=f"{number}; an amplifier is of kind other")
    part = row.text("part")
    says = f"{row.text('gain_db')}: {part!r} is a {kind} and gains up to {largest_db:.2g} dB, which no passive part can"
    return replace(gain, notes=(*gain.notes, f"{says}: check its calibration and which port is which"))


def _u_db(row: Row, gain_db: float | GainCurve) -> float:
    """The standard uncertainty; the cell may be empty where the curve tells its own."""
    own = isinstance(gain_db, GainCurve) and gain_db.u_db is not None
    if own and not row.text("u_db"):
        return 0.0
    u_db = row.value("u_db", row.needed("u_db"))
    if u_db < 0:
        raise row.wrong("u_db", f"the uncertainty {row.text('u_db')!r} is negative", hint="write it without a sign")
    if u_db > _MOST_U_DB:
        hint = f"up to {_MOST_U_DB:g} dB; a standard uncertainty is a third to a half of what an error reaches"
        raise row.wrong("u_db", f"an uncertainty of {row.text('u_db')} dB leaves nothing known", hint=hint)
    return float(u_db)


def _reflections(row: Row, measured: Measured | None) -> tuple[Reflections | None, tuple[str, ...]]:
    """The match of a row: its VSWR, a file of its own, or what the file of its gain says."""
    text = row.text("vswr")
    if not text:
        return (None, ()) if measured is None else (measured.reflections, ())
    if row.is_number("vswr"):
        vswr = float(row.value("vswr", text))
        if not 1.0 <= vswr <= _MOST_VSWR:
            raise row.wrong("vswr", f"a VSWR of {text} can't be", hint="1 is a perfect match; 2 is usual for a whip")
        return Reflections.of_vswr(vswr), ()
    path = _beside(row, "vswr", text)
    if not SUFFIX.fullmatch(path.suffix):
        raise row.wrong("vswr", f"{text!r} is neither a number nor a Touchstone file")
    match = read_touchstone(path)
    return match.reflections, match.notes


def _beside(row: Row, name: str, text: str) -> Path:
    """The file that a cell names, beside the table."""
    path = Path(row.table.path).parent / text
    try:
        is_there = path.is_file()
    except (OSError, ValueError):  # a name that no file can have
        is_there = False
    if not is_there:
        where = " beside the table" if row.line else ""
        raise row.wrong(name, f"{text!r} is neither a number nor a file{where}")
    return path
