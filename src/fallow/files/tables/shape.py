"""The shape of anybody's table: what sets its cells apart, and where its headings stand, if it has any."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from fallow.errors import InputError
from fallow.files.tables.columns import FREQUENCY, POWER, Column, find_columns, plain_heading
from fallow.files.tables.grid import DELIMITERS, Records, Split, heading_record, split_records, text_of

__all__ = ["BLANKS", "heading_at", "headings_and_rows", "known_headings", "split_anyhow"]

BLANKS = "blanks"  # columns that are set apart by two blanks or more
_UNITS = {*FREQUENCY.units, *POWER.units, "db", "dbm"}


def split_anyhow(path: Path, columns: Sequence[Column], stated: str | None, encoding: str | None = None) -> Split:
    """The rows, split by the delimiter that shows known headings, else by the one that gives most even rows."""
    stated = {"tab": "\t", "space": " "}.get(stated or "", stated)
    split = split_records(path, columns, stated, encoding)
    if stated is not None or _known(split.records, columns):
        return split
    tries = [split]
    for delimiter in DELIMITERS:
        try:
            tries.append(split_records(path, columns, delimiter, encoding))
        except InputError:  # a quotation mark that means nothing under this delimiter
            continue
    tries.append(_by_blanks(path, encoding))
    return max(tries, key=lambda one: (_known(one.records, columns), _evenness(one.records)))


def _by_blanks(path: Path, encoding: str | None) -> Split:
    lines = enumerate(text_of(path, encoding).splitlines(), 1)
    records = [(number, re.split(r"\s{2,}|\t", line.rstrip())) for number, line in lines if line.strip()]
    return Split(BLANKS, records)


def _known(records: Records, columns: Sequence[Column]) -> int:
    return max((len(find_columns(cells, columns)[0]) for _, cells in records[:10]), default=0)


def _evenness(records: Records) -> int:
    """How many rows have as many cells as most have, where that is more than one."""
    widths = Counter(len(cells) for _, cells in records)
    width, count = max(widths.items(), key=lambda pair: pair[1], default=(1, 0))
    return count if width > 1 else 0


def known_headings(text: str, columns: Sequence[Column]) -> int:
    """How many headings of a text are known, whatever sets its cells apart."""
    lines = text.splitlines()[:10]
    return max((len(find_columns(re.split(r"[,;|\t]|\s{2,}", line), columns)[0]) for line in lines), default=0)


def heading_at(records: Records, columns: Sequence[Column]) -> int | None:
    """Which record holds the headings; ``None`` where the first row is one of values already."""
    if not records:
        raise InputError("the table is empty")
    if _known(records, columns):
        return heading_record(records, columns)
    first = " ".join(records[0][1])
    return None if any(sign.isdecimal() for sign in first) else 0


def headings_and_rows(records: Records, at: int | None) -> tuple[tuple[str, ...], Records]:
    """The headings and the rows below; a row of units below them belongs to them, rules between rows to nothing."""
    if at is None:
        width = max(len(cells) for _, cells in records)
        return ("",) * width, _without_rules(records)
    headings, body = list(records[at][1]), records[at + 1 :]
    if body and _is_units(body[0][1]):
        units = [*body[0][1], *[""] * len(headings)]
        headings = [f"{heading} {unit}".strip() for heading, unit in zip(headings, units, strict=False)]
        body = body[1:]
    elif len(body) > 1 and _is_second_line(headings, body[0][1]):
        headings, body = _with_second_line(headings, body[0][1]), body[1:]
    while headings and not headings[-1].strip() and all(_blank(cells, len(headings) - 1) for _, cells in body):
        headings.pop()
    again = [cell.strip() for cell in records[at][1]]
    return tuple(h.strip() for h in headings), [
        (line, cells) for line, cells in _without_rules(body) if [cell.strip() for cell in cells] != again
    ]


def _is_units(cells: Sequence[str]) -> bool:
    said = [cell.strip(" ()[]").lower() for cell in cells if cell.strip()]
    return bool(said) and all(cell in _UNITS for cell in said)


def _is_second_line(headings: Sequence[str], cells: Sequence[str]) -> bool:
    """Whether the row only says more of headings that need it: words below those that stand twice or span columns."""
    plain = [plain_heading(heading) for heading in headings]
    below = [at for at, cell in enumerate(cells) if cell.strip()]
    needy = [at for at, one in enumerate(plain) if plain.count(one) > 1 or (at + 1 < len(plain) and not plain[at + 1])]
    worded = not any(sign.isdecimal() for cell in cells for sign in cell)
    is_enough = len(below) > 1 or (len(below) == 1 and below[0] < len(plain) and not plain[below[0]])
    return is_enough and worded and {*below} <= {*needy, *(at for at in range(len(plain)) if not plain[at])}


def _with_second_line(headings: Sequence[str], cells: Sequence[str]) -> list[str]:
    named, over = [], ""
    for at, heading in enumerate(headings):
        over = heading.strip() or over
        cell = cells[at].strip() if at < len(cells) else ""
        named.append(f"{over} {cell}" if cell else heading)
    return named


def _blank(cells: Sequence[str], index: int) -> bool:
    return index >= len(cells) or not cells[index].strip()


def _without_rules(records: Records) -> Records:
    return [(line, cells) for line, cells in records if any(cell.strip(" -=:+_") for cell in cells)]
