"""Delimited text of any region and shape: find the one reading that makes sense, then read the whole file by it.

Every dialect is tried on sample lines, every layout on every dialect; readings with equal content are one. One left:
it is taken. Several: the user is asked, with both shown. None: every layout says why it declined.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError, UsageError
from fallow.files.assembly import Assembled, Passes, assemble
from fallow.files.cells import read_rows
from fallow.files.dialect import Table, glued_tables, tables
from fallow.files.edges import edges_note
from fallow.files.headings import Words
from fallow.files.layouts import RECOGNISERS, with_units
from fallow.files.levels import looks_linear, scale_concluded, series_levels
from fallow.files.listed_levels import read_listed, why_not_listed
from fallow.files.plan import COLUMNS, TRANSPOSED, Plan
from fallow.files.preamble import Preamble, read_preamble
from fallow.files.readings import FileReading, NotASweepError, Telling
from fallow.files.source import Line, TextFile
from fallow.files.times import clock_for, epoch_scale, iso_text, zone_named
from fallow.files.wording import FREQUENCY_FACTORS_HZ, detector_named, says
from fallow.spectrum.sweep import Detector, Series

__all__ = ["read_delimited"]

_SAMPLE_CHARACTERS = 2**20
_SAMPLE_LINES = 400
_SAMPLE_CELLS = 12_000  # of rows with thousands of columns a few are enough
_FEWEST_LINES = 5
_LONG_SAMPLE_CHARACTERS, _MOST_SAMPLE_CELLS, _FEWEST_LONG_LINES = 2**24, 100_000, 2
_DELIMITERS = {" ": "blanks", "\t": "tab"}


def read_delimited(path: Path, telling: Telling, progress: Callable[[float], None] | None = None) -> FileReading:
    """Read a text file. Raises InputError when it is none or holds no sweep; what only the user can answer stands in
    ``needs``."""
    file = TextFile.open(path)
    lines = _sample(file)
    words = Words(telling, read_preamble(()))
    plans, reasons = _plans(lines, words)
    if all(plan.counted for plan in plans):  # no column of frequencies
        listed = read_listed(file, telling)
        if listed is not None:
            return listed
    if not plans:
        raise _refusal(path, lines, reasons, told=telling.delimiter is not None or telling.decimal is not None)
    strongest = max(plan.strength for plan in plans)
    plans = [plan for plan in plans if plan.strength == strongest]
    question = _question(plans)
    if question is not None:
        return _unread(file, plans[0], question)
    return _read(file, with_units(plans[0], plans[0].units.units[0]), lines, telling, progress)


def _sample(file: TextFile) -> list[Line]:
    """The first lines, and so that a sample is fair also to long lines, not more of them than cells allow."""
    texts = file.head(_SAMPLE_CHARACTERS).split("\n", _SAMPLE_LINES)
    if len(texts) <= _FEWEST_LINES:  # some are longer than any sample
        texts = file.head(_LONG_SAMPLE_CHARACTERS).split("\n", _FEWEST_LINES)
    texts = texts[:_SAMPLE_LINES] if len(texts) > _SAMPLE_LINES else texts[:-1]
    kept: list[Line] = []
    cells = 0
    for number, text in enumerate(texts, start=1):
        cells += max(text.count(char) for char in ",;\t| ") + 1
        fewest = _FEWEST_LINES if cells < _MOST_SAMPLE_CELLS else _FEWEST_LONG_LINES
        if cells > _SAMPLE_CELLS and len(kept) >= fewest:
            break
        kept.append(Line(number, text))
    return kept


def _plans(lines: Sequence[Line], words: Words) -> tuple[list[Plan], dict[str, str]]:
    """All different readings of the sample, and each layout's reason where it declined."""
    plans: list[Plan] = []
    reasons: dict[str, str] = {}
    for source in (tables, glued_tables):
        for table in source(lines, words.telling, lambda: bool(plans)):
            here = replace(words, preamble=read_preamble(table.preamble))
            for plan in _recognised(table, here, reasons):
                if all(plan.content != other.content for other in plans):
                    plans.append(plan)
        if plans:
            break
    return plans, reasons


def _recognised(table: Table, words: Words, reasons: dict[str, str]) -> Sequence[Plan]:
    """Plans of the first layout that takes the table."""
    for name, recognise in RECOGNISERS:
        found = recognise(table, words)
        if not isinstance(found, str):
            return found
        reasons.setdefault(name, found)
    return ()


def _refusal(path: Path, lines: Sequence[Line], reasons: dict[str, str], *, told: bool) -> InputError:
    if not reasons:
        if not any(char.isdigit() for line in lines for char in line.text):
            headed = any(says(line.text, "frequency") and says(line.text, "level") for line in lines)
            return (InputError if headed else NotASweepError)("there are no numbers in it", path=path)
        kind = InputError if told else NotASweepError
        listed = why_not_listed(lines)
        if listed is not None:
            return kind(listed[0], path=path, line=listed[1], hint=listed[2])
        what = "no table of frequencies and levels was found in it: no lines hold numbers in two columns or more"
        return kind(what, path=path, hint="--delimiter says what separates the columns")
    declined = "; ".join(f"{name}: {reason}" for name, reason in reasons.items())
    hint = "--unit, --level-unit, --decimal and --delimiter tell what a file leaves open"
    return InputError(f"it is no sweep that fallow can read ({declined})", path=path, hint=hint)


# --- questions ---


def _question(plans: Sequence[Plan]) -> str | None:
    """What has to be asked before the file can be read, with every reading shown; ``None`` where one reading is
    left."""
    if len(plans) > 1:
        return _which_reading(plans)
    plan = plans[0]
    if plan.counted:
        shown = _shown(plan, plan.units.units[0])
        return (
            f"the only rising column counts rows, which may be no frequencies: {shown}? If they are, say so with --unit"
        )
    levels = plan.sample[1]
    if not plan.scale.by and not plan.scale.linear and levels and 0.0 <= min(levels) < max(levels) <= 1.0:
        span = f"{min(levels):g} to {max(levels):g}"
        return f"levels from {span} can be linear (--level-unit linear) or decibels (--level-unit dB)"
    if len(plan.units.units) > 1:
        readings = ", or ".join(f"in {unit}: {_shown(plan, unit)} (--unit {unit})" for unit in plan.units.units)
        return f"the file does not say the unit of its frequencies: {readings}"
    return None


def _which_reading(plans: Sequence[Plan]) -> str:
    shown = [(_shown(plan, plan.units.units[0]), _how_to_say(plan)) for plan in plans[:3]]
    lead = f"the numbers can be read in {len(plans)} ways: "
    if len({how for _, how in shown}) == 1:
        numbers = ", or ".join(reading for reading, _ in shown)
        return f"{lead}{numbers}; leave only one column of frequencies in the file, of two edges the middle"
    return lead + ", or ".join(f"{reading} ({how})" for reading, how in shown)


def _how_to_say(plan: Plan) -> str:
    """The options that choose a reading."""
    delimiter, notation = plan.dialect.delimiter, plan.dialect.notation
    delimiter = _DELIMITERS.get(delimiter, delimiter)
    return f"--delimiter '{delimiter}' --decimal '{notation.decimal}' --unit {plan.units.units[0]}"


def _shown(plan: Plan, unit: str) -> str:
    """The first two points of a reading, as numbers with their units."""
    frequencies, levels = plan.sample
    points = zip(frequencies[:2], levels[:2], strict=False)
    factor = FREQUENCY_FACTORS_HZ[unit]
    return ", ".join(
        f"{frequency * factor / 1e6:.6g} MHz at {level:g} {plan.scale.told}" for frequency, level in points
    )


def _unread(file: TextFile, plan: Plan, question: str) -> FileReading:
    dialect = plan.dialect
    return FileReading(
        str(file.path), plan.layout, file.encoding, dialect.delimiter, _decimal_mark(plan), plan.scale.told,
        (), False, None, None, (), (question,),
    )  # fmt: skip


# --- the whole file ---


def _read(
    file: TextFile, plan: Plan, lines: Sequence[Line], telling: Telling, progress: Callable[[float], None] | None
) -> FileReading:
    unit = plan.units.units[0]
    preamble = read_preamble([line for line in lines if line.number < plan.first_line], unit)
    zone_text = telling.zone or preamble.zone
    stamps_zone = None if zone_text is None else _zone(zone_text, told=telling.zone is not None)
    done = assemble(read_rows(file, plan, progress), plan, str(file.path))
    if plan.layout == TRANSPOSED:
        done = _as_sweeps(done, plan, str(file.path))
    done = _with_numbered_sweeps_joined(done)
    plan = _with_whole_scale(plan, done)
    about = _About.of(str(file.path), plan, preamble, telling)
    times = _Times.of(done, preamble.stamp, stamps_zone)
    by_edges = edges_note(plan, rbw_known=bool(telling.rbw_hz or preamble.rbw_hz))
    told = (file.note, *_unit_notes(plan), by_edges, plan.scale.note, *preamble.notes, *plan.notes, *done.notes)
    notes = [note for note in told if note]
    series = tuple(_series(passes, plan, about, times, notes) for passes in done.passes)
    notes += [*times.notes, *_unknowns(series)]
    start = times.start
    return FileReading(
        path=str(file.path),
        layout=_layout_name(plan, done),
        encoding=file.encoding,
        delimiter=plan.dialect.delimiter,
        decimal=_decimal_mark(plan),
        level_unit=plan.scale.told,
        series=series,
        is_reference=preamble.is_reference,
        start=start if times.zone_known else None,
        start_local=None if times.zone_known else start,
        notes=tuple(dict.fromkeys(notes)),
        stated_span_hz=done.span_hz,
    )


def _with_whole_scale(plan: Plan, done: Assembled) -> Plan:
    """A scale that only the sample spoke for is concluded again from all levels."""
    if plan.scale.by or plan.scale.linear:
        return plan
    linear = all(looks_linear(passes.values) for passes in done.passes)
    return replace(plan, scale=scale_concluded(done.passes[0].values)) if linear else plan


@dataclass(frozen=True)
class _About:
    """What is known of an instrument's settings. ``told_detector`` beats a trace's name, which beats ``detector``."""

    rbw_hz: float | None
    told_detector: Detector | None
    detector: Detector | None
    path: str
    instrument: str

    @classmethod
    def of(cls, path: str, plan: Plan, preamble: Preamble, telling: Telling) -> _About:
        """What is told counts before what the file says, and that before the width of its cells."""
        cell_hz = plan.cell_width * FREQUENCY_FACTORS_HZ[plan.units.units[0]]
        rbw_hz = telling.rbw_hz or preamble.rbw_hz or cell_hz or None
        return cls(rbw_hz, telling.detector, preamble.detector, path, preamble.instrument)


@dataclass(frozen=True)
class _Times:
    """Times of the sweeps of a file: per passes, seconds since 1970 or NaN."""

    seconds: dict[int, NDArray[np.float64]]
    zone_known: bool
    notes: tuple[str, ...]

    @classmethod
    def of(cls, done: Assembled, stamp: str, zone: object) -> _Times:
        """Times from the stamps of the sweeps, or for a lone sweep from the preamble."""
        stamps = [text for passes in done.passes for text in passes.stamps if text]
        if not stamps and stamp and all(len(passes.stamps) == 1 for passes in done.passes):
            done = replace(done, passes=tuple(replace(passes, stamps=(stamp,)) for passes in done.passes))
            stamps = [stamp]
        if not stamps:
            start = f"the file says {stamp} without times of its sweeps" if stamp else ""
            return cls({}, False, (start,) if start else ())
        epoch = _epoch_seconds(stamps)
        if epoch is not None:
            return cls({id(p.values): _scaled(p.stamps, epoch) for p in done.passes}, True, ())
        clock, open_order = clock_for(stamps, zone)  # type: ignore[arg-type]  # a tzinfo or None
        if open_order:
            return cls({}, False, (f"times such as {stamps[0]} were left out: day and month can't be told apart",))
        read = {id(p.values): [clock.seconds(text) for text in p.stamps] for p in done.passes}
        known = [utc for pairs in read.values() for seconds, utc in pairs if not math.isnan(seconds)]
        if not known:
            return cls({}, False, (f"times such as {stamps[0]} were left out: they hold no date and time",))
        note = () if all(known) else ("times have no zone (--zone tells it)",)
        return cls({key: np.array([seconds for seconds, _ in pairs]) for key, pairs in read.items()}, all(known), note)

    @property
    def start(self) -> str | None:
        """The earliest time as ISO 8601."""
        known = [
            seconds[~np.isnan(seconds)].min() for seconds in self.seconds.values() if not np.all(np.isnan(seconds))
        ]
        return iso_text(float(min(known)), utc=self.zone_known) if known else None


def _epoch_seconds(stamps: Sequence[str]) -> float | None:
    """Seconds per unit where the stamps are numbers since 1970."""
    try:
        return epoch_scale([float(stamp) for stamp in stamps])
    except ValueError:
        return None


def _scaled(stamps: Sequence[str], scale: float) -> NDArray[np.float64]:
    return np.array([float(text) * scale if text else math.nan for text in stamps])


def _zone(text: str, *, told: bool):  # type: ignore[no-untyped-def]  # datetime.tzinfo or None
    try:
        return zone_named(text)
    except UsageError:
        if told:
            raise
        return None


def _as_sweeps(done: Assembled, plan: Plan, path: str) -> Assembled:
    """A transposed matrix: what looked like traces are sweeps with a time each. Raises InputError for anything else."""
    first = done.passes[0]
    columns = [passes for passes in done.passes if passes.axis == first.axis]
    if first.values.shape[0] > 1:
        raise InputError("each column is a sweep, and yet its frequencies turn back and stand there again", path=path)
    values = np.concatenate([passes.values for passes in columns])
    return replace(done, passes=(Passes(first.axis, values, plan.header_times[: values.shape[0]], ""),))


def _with_numbered_sweeps_joined(done: Assembled) -> Assembled:
    """Columns called ``sweep 1``, ``sweep 2`` … are sweeps of one series, in the order in which they stand."""
    first = done.passes[0]
    numbered = all(_is_numbered_sweep(passes.trace) for passes in done.passes)
    alike = all(passes.axis == first.axis and passes.values.shape[0] == 1 for passes in done.passes)
    if len(done.passes) < 2 or not (numbered and alike):
        return done
    values = np.concatenate([passes.values for passes in done.passes])
    return replace(done, passes=(Passes(first.axis, values, ("",) * len(values), ""),))


def _is_numbered_sweep(name: str) -> bool:
    return says(name, "sweep") and name[-1:].isdigit() and detector_named(name) is None


def _series(passes: Passes, plan: Plan, about: _About, times: _Times, notes: list[str]) -> Series:
    levels, rejected = series_levels(passes.values, plan.scale, passes.axis, about.rbw_hz)
    notes.extend(rejected)
    return Series(
        axis=passes.axis,
        levels_db=levels,
        unit=plan.scale.unit,
        times_s=times.seconds.get(id(passes.values)),
        zone_known=times.zone_known,
        rbw_hz=about.rbw_hz,
        detector=about.told_detector or detector_named(passes.trace) or about.detector,
        trace=passes.trace,
        source=about.path,
        instrument=about.instrument,
    )


# --- how it is told ---


def _unit_notes(plan: Plan) -> list[str]:
    unit = plan.units.units[0]
    return (
        []
        if plan.units.certain
        else [f"the unit of the frequencies is not stated: assumed to be {unit} (--unit says otherwise)"]
    )


def _unknowns(series: Sequence[Series]) -> list[str]:
    notes = []
    if any(part.rbw_hz is None for part in series):
        notes.append("the resolution bandwidth is not stated (--rbw tells it)")
    missing = sum(int(np.count_nonzero(np.isnan(sweep))) for part in series for sweep in part.levels_db)
    if missing:
        total = sum(part.levels_db.size for part in series)
        notes.append(f"{missing} of {total} levels were not measured")
    return notes


def _layout_name(plan: Plan, done: Assembled) -> str:
    if plan.layout != COLUMNS:
        return plan.layout
    traces = len({passes.trace for passes in done.passes})
    name = "frequency and level columns" if traces == 1 else f"frequency column and {traces} traces"
    return f"{name}, sweeps below each other" if done.stacked else name


def _decimal_mark(plan: Plan) -> str | None:
    return plan.dialect.notation.decimal
