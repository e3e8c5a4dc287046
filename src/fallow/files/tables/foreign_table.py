"""Foreign carriers as a table, written so that ``read_foreign`` reads it back."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from fallow.files.tables.grid import FilePath
from fallow.files.tables.whole_file import replace_whole
from fallow.show.link import ForeignCarrier

__all__ = ["write_foreign"]

_COLUMNS = ("name", "frequency_mhz", "bandwidth_khz", "area", "spacing_khz", "products", "protect")


def write_foreign(path: FilePath, foreign: Sequence[ForeignCarrier]) -> None:
    """Write foreign carriers as CSV, whole or not at all; columns that we don't know stay. Raises OutputError."""
    extra = list(dict.fromkeys(name for one in foreign for name in _more(one)))
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([*_COLUMNS, *extra])
    writer.writerows([*_cells(one), *(_more(one).get(name, "") for name in extra)] for one in foreign)
    replace_whole(Path(path), text.getvalue().encode("utf-8"), "the table of foreign carriers")


def _more(one: ForeignCarrier) -> Mapping[str, str]:
    """Cells under headings that only some tables have."""
    return {**({"product_width": "yes"} if one.product_width else {}), **one.extra}


def _cells(one: ForeignCarrier) -> Iterable[str]:
    yield from (one.name, _scaled(one.frequency_hz, 6), _scaled(one.bandwidth_hz, 3), one.area)
    yield from (_scaled(one.spacing_hz, 3), "yes" if one.products else "no", "yes" if one.protect else "no")


def _scaled(hz: int, decimals: int) -> str:
    """Whole hertz in MHz (six decimals) or kHz (three), exactly."""
    whole, rest = divmod(hz, 10**decimals)
    return f"{whole}.{rest:0{decimals}d}"
