"""Rows of a file put together into sweeps on exact axes: where a sweep ends, which axis it has, what is missing in it.

What comes out are ``Passes``: levels as printed, per axis and trace, rising in frequency. What the numbers mean is
``levels``' business, and what to make of it all ``delimited``'s.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.axes import axis_of
from fallow.files.cells import Rows
from fallow.files.edges import UsualCells
from fallow.files.plan import MATRIX, WIDE_ROWS, Plan
from fallow.files.wording import FREQUENCY_FACTORS_HZ
from fallow.spectrum.axis import Axis

__all__ = ["Assembled", "Passes", "assemble"]

_MOST_CELLS = 20_000_000
_MOST_GRIDS = 100  # of sweeps in one file that have no frequencies in common. Common practice
_MUCH_ROOM, _MOST_EMPTY = 2**26, 10.0  # places in all; places for each level. Common practice
_SPARE_SHARE = 16  # of the rows so far is what a pile grows by beyond its need
_JOIN_FEWEST = 3  # a stretch of fewer points is no sweep


@dataclass(frozen=True, eq=False)
class Passes:
    """Sweeps of one trace on one axis. ``values``: as printed, shape (sweep, bin); ``stamps``: a text per sweep, may
    be empty."""

    axis: Axis
    values: NDArray[np.floating]
    stamps: tuple[str, ...]
    trace: str


@dataclass(frozen=True, eq=False)
class Assembled:
    """All passes of a file. ``span_hz``: the stated edges of wide rows, else ``None``. ``stacked``: sweeps stood
    below each other."""

    passes: tuple[Passes, ...]
    notes: tuple[str, ...] = ()
    span_hz: tuple[int, int] | None = None
    stacked: bool = False


def assemble(rows: Iterable[Rows], plan: Plan, path: str) -> Assembled:
    """Put the rows of a file together. Raises InputError where they make no sweep."""
    if plan.layout == MATRIX:
        return _matrix(rows, plan, path)
    if plan.layout == WIDE_ROWS:
        return _wide_rows(rows, plan, path)
    return _columns(rows, plan, path)


# --- a matrix ---


def _matrix(rows: Iterable[Rows], plan: Plan, path: str) -> Assembled:
    pile = _Pile()
    stamps: list[str] = []
    cut = False
    for part in rows:
        levels = _compact(part.levels, plan)
        pile.add(levels[:, ::-1] if plan.falling else levels)
        stamps.extend(part.stamp(row) for row in range(part.levels.shape[0]))
        cut = cut or part.cut
    if not pile.rows:
        raise InputError("no row of levels follows the frequencies", path=path)
    header = np.asarray(plan.header)[:: -1 if plan.falling else 1]
    axis = axis_of(np.ascontiguousarray(header), plan.units.units[0], plan.decimals, path)
    return Assembled((Passes(axis, pile.whole(), tuple(stamps), ""),), _cut_note(cut))


@dataclass(eq=False)
class _Pile:
    """Rows below each other in one array that grows where it stands, so that a big log is never held twice."""

    held: NDArray[np.floating] = field(default_factory=lambda: np.empty((0, 1), dtype=np.float32))
    rows: int = 0

    def add(self, part: NDArray[np.floating]) -> None:
        """Put the next rows below the others, shape (row, column)."""
        if self.held.size == 0:
            self.held = np.empty(part.shape, dtype=part.dtype)
        needed = self.rows + part.shape[0]
        if needed > self.held.shape[0]:
            self.held.resize((needed + needed // _SPARE_SHARE, part.shape[1]), refcheck=False)
        self.held[self.rows : needed] = part
        self.rows = needed

    def whole(self, padding: int = 0) -> NDArray[np.floating]:
        """All rows, with ``padding`` rows of NaN behind them; nothing can be added any more."""
        self.held.resize((self.rows + padding, self.held.shape[1]), refcheck=False)
        self.held[self.rows :] = np.nan
        return self.held


def _compact(levels: NDArray[np.floating], plan: Plan) -> NDArray[np.floating]:
    """Decibels as float32; linear power as it is, because it is turned into decibels first."""
    if plan.scale.linear:
        return levels
    with np.errstate(over="ignore"):  # such numbers are no levels and are rejected later
        return levels.astype(np.float32, copy=False)


def _cut_note(cut: bool) -> tuple[str, ...]:
    return ("the last line is cut off: what is whole of it was kept, the rest was not measured",) if cut else ()


# --- columns ---


@dataclass(eq=False)
class _Stack:
    """Frequencies of sweeps below each other. As long as they repeat the first sweep's, they are counted, not kept."""

    falling: bool
    kept: list[NDArray[np.float64]] = field(default_factory=list)
    first: NDArray[np.float64] | None = None
    rows: int = 0
    repeated: int = 0

    def add(self, frequencies: NDArray[np.float64]) -> None:
        """The frequencies of the next rows."""
        self.rows += frequencies.size
        if self.first is None:
            self.kept.append(frequencies)
            self._look_for_first()
        elif self.repeated < 0 or not self._repeats(frequencies):
            self._keep_all(frequencies)
        else:
            self.repeated += frequencies.size

    def all(self) -> NDArray[np.float64]:
        """Every row's frequency, shape (row,)."""
        if self.first is not None and self.repeated >= 0:
            return np.resize(self.first, self.rows)
        return np.concatenate(self.kept)

    @property
    def even(self) -> NDArray[np.float64] | None:
        """The first sweep's frequencies, where every other sweep repeats them; else ``None``."""
        return self.first if self.repeated >= 0 else None

    def _look_for_first(self) -> None:
        last = self.kept[-1] if len(self.kept) == 1 else np.concatenate([self.kept[-2][-1:], self.kept[-1]])
        steps = np.diff(last)
        if not np.any(steps > 0 if self.falling else steps < 0):
            return
        joined = np.concatenate(self.kept)
        end = int(starts_of(joined, falling=self.falling)[1])
        self.first, self.kept, self.repeated = joined[:end], [], 0
        rest = joined[end:]
        if self._repeats(rest):
            self.repeated = rest.size
        else:
            self.kept, self.repeated = [joined], -1

    def _repeats(self, frequencies: NDArray[np.float64]) -> bool:
        first = self.first if self.first is not None else frequencies
        expected = np.resize(np.roll(first, -(self.repeated % first.size)), frequencies.size)
        return bool(np.array_equal(expected, frequencies))

    def _keep_all(self, frequencies: NDArray[np.float64]) -> None:
        if self.repeated >= 0 and self.first is not None:
            self.kept, self.repeated = [np.resize(self.first, self.first.size + self.repeated)], -1
        self.kept.append(frequencies)


def starts_of(frequencies: NDArray[np.float64], *, falling: bool) -> NDArray[np.int64]:
    """Rows at which a sweep begins: the first, and each where the frequency turns back."""
    steps = np.diff(frequencies)
    return np.concatenate([[0], np.flatnonzero(steps > 0 if falling else steps < 0) + 1])


def _columns(rows: Iterable[Rows], plan: Plan, path: str) -> Assembled:
    stack, pile, cut, cells = _Stack(plan.falling), _Pile(), False, UsualCells(plan, path)
    stamps: list[tuple[int, str]] = []
    for part in (cells.of(part) for part in rows):
        if part.frequencies is None or not part.frequencies.size:
            cut = cut or part.cut
            continue
        if plan.times:
            stamps.extend(_stamps_where_sweeps_begin(part, stack.rows, plan))
        stack.add(part.frequencies)
        pile.add(_compact(part.levels, plan))
        cut = cut or part.cut
    left_out = tuple(cells.notes())
    if stack.rows < 2:
        raise InputError("fewer than two frequencies with levels: that is no sweep", path=path)
    even = stack.even
    values = pile.whole(0 if even is None else -stack.rows % even.size)
    done = _even_sweeps(stack, values, plan, stamps, path) or _uneven_sweeps(
        stack.all(), values[: stack.rows], plan, stamps, path
    )
    span_hz = cells.span_hz([passes.axis for passes in done.passes])
    return Assembled(done.passes, (*left_out, *done.notes, *_cut_note(cut)), span_hz, done.stacked)


def _stamps_where_sweeps_begin(part: Rows, before: int, plan: Plan) -> list[tuple[int, str]]:
    """Row number in the file and time, for the first row of the part and for each at which a sweep begins."""
    frequencies = part.frequencies if part.frequencies is not None else np.empty(0)
    return [(before + int(row), part.stamp(int(row))) for row in starts_of(frequencies, falling=plan.falling)]


def _even_sweeps(
    stack: _Stack, values: NDArray[np.floating], plan: Plan, stamps: Sequence[tuple[int, str]], path: str
) -> Assembled | None:
    """All sweeps have the first one's frequencies; ``values`` are filled up with NaN where the last one is short."""
    first = stack.even
    if first is None or np.any(np.diff(first) == 0):
        return None
    n = first.size
    missing = values.shape[0] - stack.rows
    notes: tuple[str, ...] = ()
    if missing:
        notes = (f"the last sweep ends after {n - missing} of {n} frequencies: the rest of it was not measured",)
    sweeps = values.reshape(-1, n, values.shape[1])
    at = dict(stamps)
    texts = tuple(at.get(sweep * n, "") for sweep in range(sweeps.shape[0]))
    order = slice(None, None, -1) if plan.falling else slice(None)
    axis = axis_of(np.ascontiguousarray(first[order]), plan.units.units[0], plan.decimals, path, _slack(plan))
    traces = tuple(
        Passes(axis, sweeps[:, order, trace], texts, name) for trace, name in enumerate(_names(plan, values.shape[1]))
    )
    return Assembled(traces, notes, stacked=sweeps.shape[0] > 1)


def _slack(plan: Plan) -> float:
    """How far frequencies may lie from an even grid besides their last digit: middles of rounded edges may."""
    return 0.0 if plan.upper is None else 10.0**-plan.edge_decimals


def _names(plan: Plan, count: int) -> tuple[str, ...]:
    return plan.names or tuple(str(place) for place in range(count))


def _uneven_sweeps(
    frequencies: NDArray[np.float64],
    values: NDArray[np.floating],
    plan: Plan,
    stamps: Sequence[tuple[int, str]],
    path: str,
) -> Assembled:
    """One sweep, spans in any order that make one sweep, or sweeps that differ in their frequencies."""
    starts = starts_of(frequencies, falling=plan.falling)
    bounds = [*starts.tolist(), frequencies.size]
    pieces = [slice(low, high) for low, high in pairwise(bounds)]
    groups = _joined_spans(frequencies, pieces)
    if len(groups) > max(3, frequencies.size // _JOIN_FEWEST):
        raise InputError("the frequencies jump to and fro: they are no sweeps", path=path)
    at = dict(stamps)
    notes: list[str] = []
    by_axis: dict[bytes, list[tuple[NDArray[np.float64], NDArray[np.floating], str]]] = {}
    for group in groups:
        rows = np.concatenate([np.arange(piece.start, piece.stop) for piece in group])
        rows = rows[np.argsort(frequencies[rows], kind="stable")]
        points, at_once = np.unique(frequencies[rows], return_index=True)
        if points.size < rows.size:
            twice = rows.size - points.size
            what = "1 frequency stands" if twice == 1 else f"{twice} frequencies stand"
            notes.append(f"{what} twice in a sweep: the first level was kept")
        entry = (points, values[rows[at_once]], at.get(group[0].start, ""))
        by_axis.setdefault(points.tobytes(), []).append(entry)
    passes = _passes_of(_with_partial(list(by_axis.values()), notes, path), plan, path)
    return Assembled(passes, tuple(dict.fromkeys(notes)), stacked=len(groups) > 1)


def _joined_spans(frequencies: NDArray[np.float64], pieces: Sequence[slice]) -> list[list[slice]]:
    """Pieces that follow each other and don't overlap are spans of one sweep."""
    groups: list[list[slice]] = []
    spans: list[tuple[float, float]] = []  # of the last group, rising
    for piece in pieces:
        ends = float(frequencies[piece.start]), float(frequencies[piece.stop - 1])
        ends = min(ends), max(ends)
        place = bisect_left(spans, ends)
        below, above = spans[max(place - 1, 0) : place], spans[place : place + 1]
        if groups and all(high <= ends[0] for _, high in below) and all(low >= ends[1] for low, _ in above):
            groups[-1].append(piece)
            spans.insert(place, ends)
        else:
            groups.append([piece])
            spans = [ends]
    return groups


_Entry = tuple[NDArray[np.float64], NDArray[np.floating], str]


def _with_partial(kinds: list[list[_Entry]], notes: list[str], path: str) -> list[list[_Entry]]:
    """Sweeps whose frequencies are some of another sweep's are put on that one's axis, with gaps."""
    kinds.sort(key=lambda entries: -entries[0][0].size)
    held = sum(entries[0][0].size * len(entries) for entries in kinds)
    kept: list[list[_Entry]] = []
    for entries in kinds:
        points = entries[0][0]
        home = next((other for other in kept if np.isin(points, other[0][0]).all()), None)
        if home is None:
            kept.append(entries)
            if len(kept) > _MOST_GRIDS:
                raise InputError(
                    f"the frequencies jump to and fro: they make more than {_MOST_GRIDS} grids and no sweeps",
                    path=path,
                    hint="sort the rows of each sweep by frequency",
                )
            continue
        whole = home[0][0]
        _check_room(whole.size * (len(home) + len(entries)), held, path)
        notes.append(
            f"{len(entries)} of the sweeps have only {points.size} of {whole.size} frequencies: the rest not measured"
        )
        for _, values, stamp in entries:
            filled = np.full((whole.size, values.shape[1]), np.nan, dtype=values.dtype)
            filled[np.searchsorted(whole, points)] = values
            home.append((whole, filled, stamp))
    return kept


def _check_room(places: int, held: int, path: str) -> None:
    """Raise InputError where a small file would take very much memory: nearly all of its grid was not measured."""
    if places > max(_MUCH_ROOM, _MOST_EMPTY * held):
        raise InputError(
            f"its sweeps hold {held} levels on a grid with room for {places}: nearly nothing of it was measured",
            path=path,
            hint="are its edges and steps right? Put sweeps of other spans into files of their own",
        )


def _passes_of(kinds: Sequence[Sequence[_Entry]], plan: Plan, path: str) -> tuple[Passes, ...]:
    passes = []
    for entries in kinds:
        points = entries[0][0]
        if points.size < 2:
            raise InputError("a sweep of a single frequency is no sweep", path=path)
        axis = axis_of(points, plan.units.units[0], plan.decimals, path, _slack(plan))
        stamps = tuple(stamp for _, _, stamp in entries)
        for trace, name in enumerate(_names(plan, entries[0][1].shape[1])):
            values = np.stack([levels[:, trace] for _, levels, _ in entries])
            passes.append(Passes(axis, values, stamps, name))
    return tuple(passes)


# --- wide rows ---


def _wide_rows(rows: Iterable[Rows], plan: Plan, path: str) -> Assembled:
    edges: list[NDArray[np.float64]] = []
    pile = _Pile()
    stamps: list[str] = []
    cut = False
    for part in rows:
        if part.edges is None:
            continue
        edges.append(part.edges)
        pile.add(_compact(part.levels, plan))
        stamps.extend(part.stamp(row) for row in range(part.edges.shape[0]))
        cut = cut or part.cut
    if not edges:
        raise InputError("no row of levels was found", path=path)
    return _tiled(np.concatenate(edges), pile, stamps, _Wide(plan, path, cut))


@dataclass(frozen=True)
class _Wide:
    """What putting wide rows together needs to know besides the rows."""

    plan: Plan
    path: str
    cut: bool


def _tiled(edges: NDArray[np.float64], pile: _Pile, stamps: Sequence[str], wide: _Wide) -> Assembled:
    factor = FREQUENCY_FACTORS_HZ[wide.plan.units.units[0]]
    printed = pile.held.shape[1]
    kinds, kind_of_row = np.unique(edges, axis=0, return_inverse=True)
    kind_of_row = kind_of_row.reshape(-1)
    if np.any(kinds[:, 1] <= kinds[:, 0]) or np.any(kinds[:, 2] <= 0):
        raise InputError("a row's upper edge or step is not above its lower edge", path=wide.path)
    if float(np.sum((kinds[:, 1] - kinds[:, 0]) / kinds[:, 2])) > _MOST_CELLS:
        raise InputError("the rows' edges and steps make more frequencies than any sweep has", path=wide.path)
    counts = _cells_of(kinds, printed)
    centres = np.concatenate([_centres(kind, int(count), printed) for kind, count in zip(kinds, counts, strict=True)])
    sweep_of_row = _sweeps_of(kind_of_row)
    _check_room(int(counts.sum()) * (int(sweep_of_row[-1]) + 1), pile.rows * printed, wide.path)
    values = _side_by_side(pile, kind_of_row, sweep_of_row, counts)
    order = np.argsort(centres, kind="stable")
    points, at_once = np.unique(centres[order], return_index=True)
    if not np.array_equal(order[at_once], np.arange(centres.size)):
        values = values[:, order[at_once]]
    slack = min(10.0**-wide.plan.edge_decimals, 0.01 * float(kinds[:, 2].min()))
    axis = axis_of(points, wide.plan.units.units[0], max(wide.plan.decimals, 0) + 1, wide.path, slack)
    first_row = np.searchsorted(sweep_of_row, np.arange(values.shape[0]))
    notes = [*_wide_notes(counts, printed), *_cut_note(wide.cut)]
    span = (round(float(kinds[:, 0].min()) * factor), round(float(kinds[:, 1].max()) * factor))
    passes = Passes(axis, values, tuple(stamps[row] for row in first_row), "")
    return Assembled((passes,), tuple(notes), span)


def _side_by_side(
    pile: _Pile, kind_of_row: NDArray[np.intp], sweep_of_row: NDArray[np.int64], counts: NDArray[np.int64]
) -> NDArray[np.floating]:
    """The rows of each sweep side by side, kind by kind, shape (sweep, cell); without a copy where all are whole."""
    sweeps, printed = int(sweep_of_row[-1]) + 1, pile.held.shape[1]
    missing = sweeps * counts.size - pile.rows
    if np.all(counts == printed) and np.array_equal(kind_of_row, np.arange(pile.rows) % counts.size):
        return pile.whole(missing).reshape(sweeps, -1)
    levels, ends = pile.whole(), np.cumsum(counts)
    values = np.full((sweeps, int(ends[-1])), np.nan, dtype=levels.dtype)
    for row, (kind, sweep) in enumerate(zip(kind_of_row, sweep_of_row, strict=True)):
        measured = min(int(counts[kind]), printed)
        start = int(ends[kind] - counts[kind])
        values[sweep, start : start + measured] = levels[row, :measured]
    return values


def _cells_of(kinds: NDArray[np.float64], printed: int) -> NDArray[np.int64]:
    """Cells that each kind of row should have; one more than fit where both edges are points."""
    room = np.rint((kinds[:, 1] - kinds[:, 0]) / kinds[:, 2]).astype(np.int64)
    return np.maximum(np.where(room + 1 == printed, printed, room), 1)


def _centres(kind: NDArray[np.float64], count: int, printed: int) -> NDArray[np.float64]:
    """Middle of each cell: cells fill the row from edge to edge, or, where there is one more, stand on the edges."""
    low, high, step = (float(value) for value in kind)
    room = round((high - low) / step)
    offset = 0.0 if count == room + 1 and count == printed else 0.5
    return (low + step * (np.arange(count) + offset)).astype(np.float64)


def _sweeps_of(kind_of_row: NDArray[np.intp]) -> NDArray[np.int64]:
    """The sweep that each row belongs to: a new one begins where a row comes that the sweep already has."""
    sweep = 0
    seen: set[int] = set()
    sweeps = np.empty(kind_of_row.size, dtype=np.int64)
    for row, kind in enumerate(kind_of_row.tolist()):
        if kind in seen:
            sweep += 1
            seen = set()
        seen.add(kind)
        sweeps[row] = sweep
    return sweeps


def _wide_notes(counts: NDArray[np.int64], printed: int) -> list[str]:
    short = int(counts.max())
    if short <= printed:
        return []
    return [f"rows hold {printed} levels where their edges and step make {short}: the rest was not measured"]
