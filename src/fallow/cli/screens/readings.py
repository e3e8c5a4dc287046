"""How each file was understood."""

from __future__ import annotations

from collections.abc import Sequence

from rich.padding import Padding
from rich.text import Text

from fallow.cli.lettering import say
from fallow.cli.screens.paper import complain_of, console
from fallow.units import format_span_mhz, format_width
from fallow.workflow.survey import FileReading, FileRefusal

__all__ = ["ask_about", "show_readings"]


def show_readings(readings: Sequence[FileReading | FileRefusal]) -> None:
    """How each file was understood, or why it was not."""
    out = console()
    for reading in readings:
        out.print(reading.path, style="bold", soft_wrap=True)
        if isinstance(reading, FileRefusal):
            out.print(Padding(Text(f"not read: {_without_path(reading)}", style="bold"), (0, 0, 0, 2)))
            if reading.error.hint:
                out.print(Padding(f"hint: {reading.error.hint}", (0, 0, 0, 2)))
            continue
        for line in _reading_lines(reading):
            out.print(Padding(line, (0, 0, 0, 2)))
        for need in reading.needs:
            out.print(Padding(Text(f"open: {need}", style="bold"), (0, 0, 0, 2)))
        for note in reading.notes:
            out.print(Padding(f"- {note}", (0, 0, 0, 2)))


def ask_about(readings: Sequence[FileReading | FileRefusal]) -> None:
    """Say on stderr, in one sentence, what files leave open or that they could not be read; the table names each."""
    asking = [one for one in readings if isinstance(one, FileReading) and one.needs]
    refused = [one for one in readings if isinstance(one, FileRefusal)]
    if not asking:
        complain_of(refused)
        return
    others = ((len(asking) - 1, "left something open"), (len(refused), "could not be read"))
    more = [f"{count} more file{'' if count == 1 else 's'} {what}" for count, what in others if count]
    told = f" ({', '.join(more)})" if more else ""
    say(f"fallow: {asking[0].path}: {asking[0].needs[0]}{told}")


def _without_path(refusal: FileRefusal) -> str:
    """The reason, with line and column, below the path that stands above it already."""
    return str(refusal.error).removeprefix(f"{refusal.path}, ").removeprefix(f"{refusal.path}: ")


def _reading_lines(reading: FileReading) -> list[str]:
    told = [reading.layout]
    if reading.encoding:
        told.append(reading.encoding)
    if reading.delimiter:
        told.append(f"columns split by {_delimiter_word(reading.delimiter)}")
    if reading.decimal:
        told.append(f"decimal mark {reading.decimal}")
    lines = [", ".join(told)]
    if reading.low_hz is not None and reading.high_hz is not None:
        kind = "reference, " if reading.is_reference else ""
        count = f"{reading.sweeps} sweep{'' if reading.sweeps == 1 else 's'} of {reading.points:,} points"
        lines.append(f"{kind}{count}, {format_span_mhz(reading.low_hz, reading.high_hz)}")
        rbw = "RBW not stated" if reading.rbw_hz is None else f"RBW {format_width(reading.rbw_hz)}"
        lines.append(f"levels in {reading.level_unit}, {rbw}, detector {reading.detector or 'not stated'}")
    when = reading.start or (reading.start_local and f"{reading.start_local} (zone not known)")
    if when:
        lines.append(f"from {when}")
    return lines


def _delimiter_word(delimiter: str) -> str:
    return {"\t": "tabs", " ": "spaces", ",": "commas", ";": "semicolons"}.get(delimiter, delimiter)
