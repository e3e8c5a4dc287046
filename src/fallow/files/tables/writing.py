"""The show's tables written as CSV, so that their readers read them back: exactly, frequencies to the hertz."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from pathlib import Path

from fallow.files.tables.grid import FilePath
from fallow.files.tables.whole_file import replace_whole
from fallow.show.equipment import Duplex, Equipment, Stated
from fallow.show.grouping import Apart, Together
from fallow.show.link import USUAL_WEIGHT, AreaLosses, Link, Station
from fallow.spectrum.chain import ChainPart, GainCurve

__all__ = [
    "equipment_cells",
    "link_cells",
    "part_cells",
    "rule_cells",
    "station_cells",
    "write_areas",
    "write_chain",
    "write_equipment",
    "write_groups",
    "write_links",
    "write_stations",
]

Cells = Mapping[str, str]


def write_links(path: FilePath, links: Sequence[Link]) -> None:
    """Links as CSV, with the columns that we don't know. Raises OutputError; then nothing is changed."""
    _write(path, "the links", [link_cells(link) for link in links], _LINK)


def write_equipment(path: FilePath, equipment: Iterable[Equipment]) -> None:
    """Equipment as CSV. Raises OutputError; then nothing is changed."""
    _write(path, "the equipment", [equipment_cells(radio) for radio in equipment], _EQUIPMENT)


def write_areas(path: FilePath, losses: AreaLosses) -> None:
    """Pairs of areas as CSV, by name. Raises OutputError; then nothing is changed."""
    rows = []
    for one, other in sorted((min(pair), max(pair)) for pair in losses.pairs):
        loss_db = losses.loss_db.get(frozenset((one, other)))
        rows.append({"area": one, "other": other, "loss_db": "apart" if loss_db is None else _plain(loss_db)})
    _write(path, "the areas", rows, ("area", "other", "loss_db"))


def write_stations(path: FilePath, stations: Sequence[Station]) -> None:
    """Announced TV channels as CSV. Raises OutputError; then nothing is changed."""
    _write(path, "the stations", [station_cells(one) for one in stations], ("channel", "area", "source"))


def write_groups(path: FilePath, rules: Sequence[Apart | Together]) -> None:
    """Rules about groups as CSV. Raises OutputError; then nothing is changed."""
    rows = [rule_cells(rule) for rule in rules]
    _write(path, "the groups", rows, ("group", "from", "apart_mhz", "within_mhz", "areas", "hard", "source"))


def write_chain(path: FilePath, parts: Sequence[ChainPart]) -> None:
    """A chain as CSV, curves of gain as tables beside it. Raises OutputError; then nothing is changed.

    A match over frequency is left out: its table can't say it.
    """
    rows = []
    for number, part in enumerate(parts, 1):
        row = part_cells(part)
        if isinstance(part.gain_db, GainCurve):
            row = {**row, "gain_db": f"{Path(path).stem}-gain-{number}.csv"}
            _write_curve(Path(path).with_name(row["gain_db"]), part.gain_db)
        rows.append(row)
    _write(path, "the chain", rows, ("part", "kind", "gain_db", "u_db", "vswr"))


_LINK = ("link", "equipment", "area", "scenes", "priority", "frequency_mhz", "fixed", "planned")


def link_cells(link: Link) -> Cells:
    """A link as cells of the table of links, with those of columns that we don't know."""
    return {
        "link": link.name,
        "equipment": link.equipment,
        "area": link.area,
        "scenes": ";".join(sorted(link.scenes)),
        "priority": str(link.priority),
        "frequency_mhz": "" if link.frequency_hz is None else _scaled(link.frequency_hz, 6),
        "fixed": "yes" if link.fixed else "no",
        "planned": "yes" if link.planned else "no",
        **({} if link.move_weight == USUAL_WEIGHT else {"move_weight": str(link.move_weight)}),
        **({} if link.return_hz is None else {"return_mhz": _scaled(link.return_hz, 6)}),
        **({"group": ";".join(sorted(link.groups))} if link.groups else {}),
        **link.extra,
    }


_DISTANCES = ("step", "bandwidth", "spacing", "im3", "im3_three", "im5")
_FIGURES = (
    *("distance_m", "nearest_m", "body_db", "fade_db", "noise_figure_db", "needed_db", "iip3_dbm", "front_end_db"),
    *("mixing_db", "antenna_dbi"),
)
_EQUIPMENT = (
    *("equipment", "kind", "tuning_mhz", "step_khz", "presets_mhz", "bandwidth_khz", "power_mw", "power_kind"),
    *("spacing_khz", "im3_khz", "im3_three_khz", "im5_khz"),
)


def equipment_cells(radio: Equipment) -> Cells:
    """A type of radio as cells of the table of equipment."""
    distances = {f"{name}_khz": _khz(getattr(radio, f"{name}_hz")) for name in _DISTANCES}
    return {
        "equipment": radio.name,
        "kind": str(radio.kind),
        "tuning_mhz": ";".join(f"{_scaled(one.low_hz, 6)}-{_scaled(one.high_hz, 6)}" for one in radio.tuning),
        "presets_mhz": ";".join(_scaled(hz, 6) for hz in radio.presets_hz),
        "power_mw": "" if radio.power_mw is None else _plain(radio.power_mw),
        "power_kind": "" if radio.power_kind is None else str(radio.power_kind),
        **distances,
        **_duplex(radio.duplex),
        **({} if radio.im7_hz is None else {"im7_khz": _khz(radio.im7_hz)}),
        **({"product_width": "yes"} if radio.product_width else {}),
        **_figures(radio.stated),
    }


def station_cells(one: Station) -> Cells:
    """An announced TV channel as cells of the table of stations."""
    return {"channel": one.channel, "area": one.area, "source": one.source}


def rule_cells(rule: Apart | Together) -> Cells:
    """A rule as cells of the table of groups."""
    return {
        "group": rule.group,
        "from": rule.other if isinstance(rule, Apart) else "",
        "apart_mhz": _scaled(rule.distance_hz, 6) if isinstance(rule, Apart) else "",
        "within_mhz": "" if isinstance(rule, Apart) else _scaled(rule.within_hz, 6),
        "areas": "all" if rule.everywhere else "same",
        "hard": "yes" if rule.hard else "no",
        "source": rule.source,
    }


def part_cells(part: ChainPart) -> Cells:
    """A part as cells of the table of the chain; of a curve, no gain, and 0 dB stands in its place."""
    gain_db = 0.0 if isinstance(part.gain_db, GainCurve) else part.gain_db
    row = {"part": part.part, "kind": part.kind, "gain_db": _plain(gain_db), "u_db": _plain(part.u_db)}
    return {**row, "vswr": _vswr(part)}


def _duplex(duplex: Duplex | None) -> Cells:
    """The way back, where there is one."""
    if duplex is None:
        return {}
    if duplex.offset_hz is not None:
        sign = "-" if duplex.offset_hz < 0 else ""
        return {"duplex_mhz": sign + _scaled(abs(duplex.offset_hz), 6)}
    ranges = ";".join(f"{_scaled(one.low_hz, 6)}-{_scaled(one.high_hz, 6)}" for one in duplex.ranges)
    return {"return_mhz": ranges, "duplex_least_mhz": _scaled(duplex.least_hz, 6)}


def _figures(stated: Stated) -> Cells:
    """The figures that are stated; a table in which none is has no columns for them."""
    said = {name: _plain(value) for name in _FIGURES if (value := getattr(stated, name)) is not None}
    if stated.selectivity:
        said["selectivity_db"] = ";".join(f"{_khz(hz)}:{_plain(db)}" for hz, db in stated.selectivity)
    return said | ({"figures_source": stated.source} if stated.source else {})


def _write(path: FilePath, what: str, rows: Sequence[Cells], usual: Sequence[str]) -> None:
    """Rows under their usual headings and those that only some rows have."""
    headings = list(dict.fromkeys((*usual, *(name for row in rows for name in row))))
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows([row.get(name, "") for name in headings] for row in rows)
    replace_whole(Path(path), text.getvalue().encode("utf-8"), what)


def _write_curve(path: Path, curve: GainCurve) -> None:
    rows = [
        {"frequency_hz": _plain(hz), "gain_db": _plain(gain_db)}
        for hz, gain_db in zip(curve.frequencies_hz.tolist(), curve.gains_db.tolist(), strict=True)
    ]
    if curve.u_db is not None:
        for row, u_db in zip(rows, curve.u_db.tolist(), strict=True):
            row["u_db"] = _plain(u_db)
    _write(path, "the gain", rows, ("frequency_hz", "gain_db"))


def _vswr(part: ChainPart) -> str:
    sides = part.reflections
    reflection = None if sides is None else sides.towards_antenna
    if sides is None or not isinstance(reflection, float) or reflection != sides.towards_instrument:
        return ""
    return _plain(round((1 + reflection) / (1 - reflection), 12))


def _khz(hz: int | None) -> str:
    return "" if hz is None else _scaled(hz, 3)


def _scaled(hz: int, decimals: int) -> str:
    """Whole hertz in MHz (six decimals) or kHz (three), exactly."""
    whole, rest = divmod(hz, 10**decimals)
    return f"{whole}.{rest:0{decimals}d}"


def _plain(value: float) -> str:
    """A number without an exponent, exactly."""
    return f"{Decimal(repr(float(value))):f}"
