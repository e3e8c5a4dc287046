"""The columns of an equipment table that say what its links hear and bear; all of them may be missing or empty."""

from __future__ import annotations

from fallow.files.tables.columns import DECIBEL, GAIN, LENGTH, LEVEL, Column, text_column
from fallow.files.tables.grid import Row
from fallow.show.equipment import Stated

__all__ = ["FIGURE_COLUMNS", "stated_figures"]

FIGURE_COLUMNS = (
    Column(("distance", "entfernung", "distancia", "afstand"), LENGTH),
    Column(("nearest", "nächster", "le plus proche", "más cercano", "dichtstbij"), LENGTH),
    Column(("body", "körper", "corps", "cuerpo", "lichaam"), DECIBEL),
    Column(("fade", "schwund", "évanouissement", "desvanecimiento"), DECIBEL),
    Column(("noise_figure", "noise figure", "rauschzahl", "facteur de bruit"), DECIBEL),
    Column(("needed", "nötig", "nécessaire", "necesario", "nodig"), DECIBEL),
    Column(("iip3",), LEVEL),
    Column(("front_end", "front end", "eingangsfilter"), DECIBEL),
    Column(("mixing",), DECIBEL),
    Column(("antenna", "antenne", "antena"), GAIN),
    Column(("selectivity_db", "selectivity", "selektion", "sélectivité", "selectividad"), is_number=True),
    text_column("figures_source", "source of the figures"),
)


def stated_figures(row: Row) -> Stated:
    """What a row of equipment states of its figures. Raises InputError with line and column."""
    distance_m, nearest_m = _distance(row, "distance_m"), _distance(row, "nearest_m")
    if distance_m is not None and nearest_m is not None and nearest_m > distance_m:
        hint = "nearest_m is how near other transmitters come, distance_m how far the link's own one goes"
        raise row.wrong("nearest_m", "the nearest transmitter can't be farther away than the farthest", hint=hint)
    return Stated(
        distance_m=distance_m,
        nearest_m=nearest_m,
        body_db=_loss(row, "body_db"),
        fade_db=_loss(row, "fade_db"),
        noise_figure_db=_loss(row, "noise_figure_db"),
        needed_db=_number(row, "needed_db"),
        iip3_dbm=_number(row, "iip3_dbm"),
        front_end_db=_loss(row, "front_end_db"),
        mixing_db=_loss(row, "mixing_db"),
        antenna_dbi=_number(row, "antenna_dbi"),
        selectivity=_selectivity(row),
        source=row.text("figures_source"),
    )


def _number(row: Row, name: str) -> float | None:
    value = row.number(name)
    if value is not None and abs(value) > 200:
        raise row.wrong(name, f"{row.text(name)!r} is out of range", hint="write decibels, at most 200 of them")
    return None if value is None else float(value)


def _loss(row: Row, name: str) -> float | None:
    value = _number(row, name)
    if value is not None and value < 0:
        raise row.wrong(name, f"{row.text(name)!r} is negative", hint="write how many dB, without a sign")
    return value


def _distance(row: Row, name: str) -> float | None:
    value = row.number(name)
    if value is not None and not 0 < value <= 100_000:
        raise row.wrong(name, f"{row.text(name)!r} is no distance in metres", hint="write more than 0, at most 100000")
    return None if value is None else float(value)


def _selectivity(row: Row) -> tuple[tuple[int, float], ...]:
    """``100:20;200:40``: so many dB less at so many kHz from the carrier."""
    points = tuple(_point(row, item) for item in row.items("selectivity_db", of_numbers=True))
    for (hz, db), (next_hz, next_db) in zip(((0, 0.0), *points), points, strict=False):
        if next_hz <= hz or next_db < db:
            hint = "write kHz from the carrier, nearest first, with as many dB or more at each: 100:20;200:40"
            raise row.wrong("selectivity_db", "the selectivity does not rise", hint=hint)
    return points


def _point(row: Row, item: str) -> tuple[int, float]:
    khz, colon, db = item.partition(":")
    if not colon:
        hint = "write kHz from the carrier and dB with a colon between: 100:20;200:40"
        raise row.wrong("selectivity_db", f"{item!r} is no point of a selectivity", hint=hint)
    rejected = float(row.value("selectivity_db", db))
    if rejected > 200:
        raise row.wrong("selectivity_db", f"{db.strip()!r} is out of range", hint="write decibels, at most 200 of them")
    return round(row.value("selectivity_db", khz) * 1000), rejected
