"""Equipment, links, areas, foreign carriers and announced TV channels, read from tables."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable, Mapping, Sequence

from fallow.errors import InputError
from fallow.files.tables.columns import DECIBEL, FREQUENCY, POWER, WIDTH, Column, text_column
from fallow.files.tables.duplex_columns import DUPLEX_COLUMNS, check_duplex, check_way_back, duplex_of
from fallow.files.tables.figure_columns import FIGURE_COLUMNS, stated_figures
from fallow.files.tables.grid import FilePath, Row, read_table
from fallow.files.wording import quoted
from fallow.show.assignment import SPARE_PREFIX, Assignment
from fallow.show.equipment import Duplex, Equipment, Kind, PowerKind
from fallow.show.link import (
    LOWEST_PRIORITY,
    MOST_LOSS_DB,
    USUAL_PRIORITY,
    USUAL_WEIGHT,
    AreaLosses,
    ForeignCarrier,
    Link,
    Station,
)
from fallow.units import Span

__all__ = [
    "AREA",
    "AREA_COLUMNS",
    "EQUIPMENT",
    "EQUIPMENT_COLUMNS",
    "FOREIGN_COLUMNS",
    "LINK",
    "LINK_COLUMNS",
    "LINK_FREQUENCY",
    "SCENES",
    "STATION_COLUMNS",
    "areas_from",
    "check_links_against_equipment",
    "equipment_from",
    "foreign_from",
    "link_from",
    "read_areas",
    "read_equipment",
    "read_foreign",
    "read_links",
    "read_stations",
    "rows_of_channels",
    "station_from",
    "unused_areas",
]

_FREQUENCY_WORDS = ("frequency", "freq", "carrier", "frequenz", "frequence", "frecuencia", "frequenza", "frequentie")
LINK = text_column(
    "link", "name", "link name", "strecke", "funkstrecke", "liaison", "enlace", "verbinding", required=True
)
EQUIPMENT = text_column("equipment", "type", "gerät", "gerätetyp", "équipement", "equipo", "apparaat", required=True)
AREA = text_column("area", "zone", "bereich", "zona", "gebied")
SCENES = text_column("scenes", "scene", "szenen", "szene", "scènes", "escenas", "escena")
LINK_FREQUENCY = Column(_FREQUENCY_WORDS, FREQUENCY)

EQUIPMENT_COLUMNS = (
    text_column("equipment", "name", "type", "gerät", "gerätetyp", "équipement", "equipo", "apparaat", required=True),
    text_column("kind", "art", "genre", "clase", "soort", required=True),
    Column(("tuning", "tuning range", "tuning ranges", "abstimmbereich", "plage", "rango"), FREQUENCY),
    Column(("step", "raster", "schritt", "pas", "paso", "stap"), WIDTH),
    Column(("presets", "preset"), FREQUENCY),
    Column(("bandwidth", "width", "bandbreite", "largeur", "ancho de banda", "bandbreedte"), WIDTH, required=True),
    Column(("power", "leistung", "puissance", "potencia", "vermogen"), POWER),
    text_column("power_kind", "power kind", "leistungsart"),
    Column(("spacing", "abstand", "espacement", "separación"), WIDTH, required=True),
    Column(("im3",), WIDTH),
    Column(("im3_three",), WIDTH),
    Column(("im5",), WIDTH),
    *DUPLEX_COLUMNS,
    Column(("im7",), WIDTH),
    text_column("product_width", "product width"),
    *FIGURE_COLUMNS,
)
LINK_COLUMNS = (
    LINK,
    EQUIPMENT,
    AREA,
    SCENES,
    Column(("priority", "prio", "priorität", "priorité", "prioridad", "prioriteit"), is_number=True),
    LINK_FREQUENCY,
    text_column("fixed", "fest", "fixe", "fijo", "vast"),
    text_column("planned", "geplant", "planifié", "planificado", "gepland"),
    text_column("group", "groups", "gruppe", "groupe", "grupo", "groep"),
    Column(("move_weight", "move weight", "weight", "gewicht", "poids", "peso"), is_number=True),
    Column(("return", "rückweg", "retour", "retorno", "terugweg"), FREQUENCY),
)
AREA_COLUMNS = (
    text_column("area", "zone", "bereich", "zona", "gebied", required=True),
    text_column("other", "other area", "anderer", "autre", "otra", "ander", required=True),
    Column(("loss", "dämpfung", "perte", "pérdida", "demping"), DECIBEL, required=True),
)
FOREIGN_COLUMNS = (
    text_column("name", "carrier name", "nom", "nombre", "naam", required=True),
    Column(_FREQUENCY_WORDS, FREQUENCY, required=True),
    Column(("bandwidth", "width", "bandbreite", "largeur", "ancho de banda", "bandbreedte"), WIDTH),
    AREA,
    Column(("spacing", "abstand", "espacement", "separación"), WIDTH),
    text_column("products", "produkte", "produits", "productos", "producten"),
    text_column("protect", "schützen", "protéger", "proteger", "beschermen"),
    text_column("product_width", "product width"),
)
STATION_COLUMNS = (
    text_column("channel", "tv channel", "kanal", "canal", "kanaal", required=True),
    AREA,
    text_column("source", "quelle", "fuente", "bron"),
)
_KINDS = {
    "mic": Kind.MICROPHONE,
    "instrument": Kind.MICROPHONE,
    "iem": Kind.IN_EAR,
    "in ear": Kind.IN_EAR,
    "in_ear": Kind.IN_EAR,
    "monitor": Kind.IN_EAR,
    "comms": Kind.INTERCOM,
    "assistive listening": Kind.ASSISTIVE,
}
_APART = {"apart", "getrennt", "separate", "séparé", "separado", "gescheiden"}
_BETWEEN_ENDS = re.compile(r"\s*(?:\.\.|[-–—−]|\bto\b)\s*")
_BETWEEN_CHANNELS = re.compile(r"[;,|\n]|[/+&](?=\s*\d)|\b(?:and|und|et|y|e|en)\b", re.IGNORECASE)
_CHANNEL_WORD = r"(?:(?:tv\s*)?(?:channels?|ch|kanäle|kanal|canal|canaux|canale|kanaal|k|c)?\.?\s*)"
_RUN_OF_CHANNELS = re.compile(
    rf"{_CHANNEL_WORD}0*(?P<low>\d{{1,3}})\s*(?:\.\.|[-–—−]|to|bis|à|a|tot)\s*{_CHANNEL_WORD}0*(?P<high>\d{{1,3}})",
    re.IGNORECASE,
)
_LONGEST_RUN = 70  # a raster has fewer channels
HEAVIEST = 1_000
_USUAL_STEP_HZ = 25_000  # common practice; stands only where there is nothing to step through


def read_equipment(path: FilePath) -> dict[str, Equipment]:
    """Types of equipment by name, in the order of the table. Raises InputError with line and column."""
    table = read_table(path, EQUIPMENT_COLUMNS)
    return {row.text("equipment"): equipment_from(row) for row in table.unique("equipment")}


def read_links(path: FilePath) -> tuple[Link, ...]:
    """Links in the order of the table. Raises InputError with line and column."""
    return tuple(link_from(row) for row in read_table(path, LINK_COLUMNS).unique("link"))


def read_areas(path: FilePath) -> AreaLosses:
    """Which areas hear each other. Raises InputError with line and column."""
    apart: set[frozenset[str]] = set()
    loss_db: dict[frozenset[str], float] = {}
    seen: dict[frozenset[str], Row] = {}
    for row in read_table(path, AREA_COLUMNS, may_be_empty=True).rows:
        area, other, loss = areas_from(row)
        pair = frozenset((area, other))
        if pair in seen and row.text("loss_db") != seen[pair].text("loss_db"):
            raise row.wrong("loss_db", f"line {seen[pair].line} says something else about these two areas")
        seen[pair] = row
        if loss is None:
            apart.add(pair)
        else:
            loss_db[pair] = loss
    return AreaLosses(frozenset(apart), loss_db)


def read_foreign(path: FilePath) -> tuple[ForeignCarrier, ...]:
    """Carriers that are not ours, in the order of the table. Raises InputError with line and column."""
    table = read_table(path, FOREIGN_COLUMNS, may_be_empty=True)
    return tuple(foreign_from(row) for row in table.unique("name"))


def read_stations(path: FilePath, raster: Collection[str] | None = None) -> tuple[Station, ...]:
    """TV channels announced as on the air, by their names in the raster (``21``; ``ch 21`` and ``25-27`` are read too).

    ``raster``: the names of the region's channels; another one is refused. Raises InputError with line and column.
    """
    table = read_table(path, STATION_COLUMNS, may_be_empty=True)
    rows = [one for row in table.rows for one in rows_of_channels(row)]
    return tuple(station_from(row, raster) for row in rows)


def check_links_against_equipment(
    links: Iterable[Link | Assignment],
    equipment: Mapping[str, Equipment],
    path: FilePath | None = None,
    equipment_path: FilePath | None = None,
) -> None:
    """Raise InputError for a link whose equipment is not in the table, can't be tuned although it is to be planned, or
    can't have the way back that is stated.

    ``path`` and ``equipment_path``: where links and equipment were read, for the message.
    """
    for link in links:
        if link.equipment not in equipment:
            near = difflib.get_close_matches(link.equipment, equipment, 1, cutoff=0.6)
            table = "the equipment table" if equipment_path is None else str(equipment_path)
            hint = f"did you mean {quoted(near[0])}?" if near else f"{table} has {', '.join(list(equipment)[:12])}"
            what = f"the equipment {quoted(link.equipment)} is not in {table}"
            raise InputError(what, path=path, line=link.line, column="equipment", hint=hint)
        radio = equipment[link.equipment]
        if isinstance(link, Link) and link.planned and not link.fixed and not (radio.tuning or radio.presets_hz):
            what = f"{quoted(radio.name)} has neither tuning range nor presets, so {quoted(link.name)} can't be planned"
            hint = "fill in tuning_mhz in the equipment table, or say no under planned"
            raise InputError(what, path=path, line=link.line, column="equipment", hint=hint)
        if isinstance(link, Link):
            check_way_back(link, radio, path)


def unused_areas(losses: AreaLosses, links: Iterable[Link | Assignment]) -> tuple[str, ...]:
    """Areas that the table of areas names and no link uses, sorted: perhaps misspelled."""
    named = {area for pair in (*losses.apart, *losses.loss_db) for area in pair}
    return tuple(sorted(named - {link.area for link in links}))


def areas_from(row: Row) -> tuple[str, str, float | None]:
    """A row of the table of areas: two areas, and what is lost between them [dB]; ``None``: they are apart."""
    area, other = row.needed("area"), row.needed("other")
    if area == other:
        raise row.wrong("other", "an area always hears itself", hint="name another area, or remove the row")
    return area, other, None if row.needed("loss_db").lower() in _APART else _loss_db(row)


def foreign_from(row: Row) -> ForeignCarrier:
    """A row of the table of foreign carriers. Raises InputError with line and column."""
    return ForeignCarrier(
        name=row.needed("name"),
        frequency_hz=_needed_hz(row, "frequency_mhz"),
        bandwidth_hz=_distance_hz(row, "bandwidth_khz") or 0,
        area=row.text("area"),
        spacing_hz=_distance_hz(row, "spacing_khz") or 0,
        products=row.yes("products"),
        protect=row.yes("protect"),
        product_width=row.yes("product_width"),
        extra=row.extra,
    )


def station_from(row: Row, raster: Collection[str] | None = None) -> Station:
    """A row of the table of stations. ``raster``: as for ``read_stations``. Raises InputError with line and column."""
    station = Station(_channel_name(row.needed("channel")), row.text("area"), row.text("source"))
    if raster and station.channel not in raster:
        names = tuple(raster)
        hint = f"it has {names[0]} to {names[-1]}"
        raise row.wrong("channel", f"the raster has no TV channel {quoted(station.channel)}", hint=hint)
    return station


def rows_of_channels(row: Row) -> tuple[Row, ...]:
    """The row once for each channel that its cell names: ``21, 24`` is two, ``25-27`` three."""
    parts = [part for part in _BETWEEN_CHANNELS.split(row.text("channel")) if part.strip()]
    names = [name for part in parts for name in _run_of_channels(part.strip())]
    if len(names) < 2:
        return (row,)
    at = row.table.found["channel"].index
    return tuple(Row(row.table, row.line, [*row.cells[:at], name, *row.cells[at + 1 :]]) for name in names)


def _run_of_channels(text: str) -> Sequence[str]:
    """``25-27`` as its three channels; anything else as it is."""
    match = _RUN_OF_CHANNELS.fullmatch(text)
    low, high = (int(match["low"]), int(match["high"])) if match else (0, 0)
    return [str(number) for number in range(low, high + 1)] if 0 < low < high <= low + _LONGEST_RUN else [text]


def equipment_from(row: Row) -> Equipment:
    """A row of the table of equipment. Raises InputError with line and column."""
    presets_hz = tuple(_positive_hz(row, "presets_mhz", item) for item in row.items("presets_mhz", of_numbers=True))
    tuning = tuple(_span(row, item) for item in row.items("tuning_mhz", of_numbers=True))
    steps = not presets_hz and any(span.width_hz for span in tuning)
    step_hz = _needed_width_hz(row, "step_khz", "step of the tuning range", 25) if steps else None
    bandwidth_hz = _needed_width_hz(row, "bandwidth_khz", "occupied bandwidth", 200)
    spacing_hz = _distance_hz(row, "spacing_khz")
    if spacing_hz is None:
        raise row.wrong("spacing_khz", "the spacing is missing", hint="for example 400; 0 where none is needed")
    radio = Equipment(
        name=row.text("equipment"),
        kind=_kind(row),
        tuning=tuning,
        step_hz=step_hz or _distance_hz(row, "step_khz") or _USUAL_STEP_HZ,
        presets_hz=presets_hz,
        bandwidth_hz=bandwidth_hz,
        power_mw=_power_mw(row),
        power_kind=_power_kind(row),
        spacing_hz=spacing_hz,
        im3_hz=_distance_hz(row, "im3_khz"),
        im3_three_hz=_distance_hz(row, "im3_three_khz"),
        im5_hz=_distance_hz(row, "im5_khz"),
        stated=stated_figures(row),
        duplex=_duplex(row),
        im7_hz=_distance_hz(row, "im7_khz"),
        product_width=row.yes("product_width"),
    )
    check_duplex(row, radio)
    return radio


def link_from(row: Row) -> Link:
    """A row of the table of links. Raises InputError with line and column."""
    frequency_hz = row.hertz("frequency_mhz")
    if frequency_hz is not None and frequency_hz <= 0:
        raise row.wrong(
            "frequency_mhz", "a frequency must be above zero", hint="leave the cell empty where there is none"
        )
    fixed = row.yes("fixed")
    if fixed and frequency_hz is None:
        raise row.wrong("frequency_mhz", f"{quoted(row.text('link'))} is fixed but has no frequency", hint="fill it in")
    if row.text("link").lower().startswith(SPARE_PREFIX):
        hint = "call it otherwise: in a plan, names that begin so are frequencies kept free"
        raise row.wrong("link", f"{quoted(row.text('link'))} is no name for a link", hint=hint)
    return Link(
        name=row.text("link"),
        equipment=row.needed("equipment"),
        area=row.text("area"),
        scenes=frozenset(row.items("scenes")),
        priority=_priority(row),
        frequency_hz=frequency_hz,
        fixed=fixed,
        planned=row.yes("planned", default=True),
        line=row.line,
        extra=row.extra,
        groups=frozenset(row.items("group")),
        return_hz=_positive_or_none(row, "return_mhz"),
        move_weight=_move_weight(row),
    )


def _positive_or_none(row: Row, name: str) -> int | None:
    return _positive_hz(row, name, row.text(name)) if row.text(name) else None


def _duplex(row: Row) -> Duplex | None:
    """The way back, where the row says anything of it."""
    ranges = tuple(_span(row, item, "return_mhz") for item in row.items("return_mhz", of_numbers=True))
    return duplex_of(row, ranges, _distance_hz(row, "duplex_least_mhz"))


def _priority(row: Row) -> int:
    value = row.number("priority")
    if value is None:
        return USUAL_PRIORITY
    if value not in range(1, LOWEST_PRIORITY + 1):
        hint = f"1 is the most important, {LOWEST_PRIORITY} the least; empty means {USUAL_PRIORITY}"
        raise row.wrong(
            "priority", f"the priority {quoted(row.text('priority'))} is none of 1 to {LOWEST_PRIORITY}", hint=hint
        )
    return int(value)


def _move_weight(row: Row) -> int:
    value = row.number("move_weight")
    if value is None:
        return USUAL_WEIGHT
    if value not in range(1, HEAVIEST + 1):
        what = f"the weight {quoted(row.text('move_weight'))} is no whole number from 1 to {HEAVIEST:,}"
        raise row.wrong("move_weight", what, hint="how many other links may change rather than this one; empty: 1")
    return int(value)


def _kind(row: Row) -> Kind:
    text = row.needed("kind").lower()
    if text in list(Kind):
        return Kind(text)
    if text not in _KINDS:
        raise row.wrong(
            "kind", f"the kind {quoted(row.text('kind'))} is not known", hint=f"it is one of {', '.join(Kind)}"
        )
    return _KINDS[text]


def _power_mw(row: Row) -> float | None:
    value = row.number("power_mw")
    if value is not None and value <= 0:
        raise row.wrong("power_mw", "a power must be above zero", hint="leave the cell empty where it is not known")
    return None if value is None else float(value)


def _power_kind(row: Row) -> PowerKind | None:
    text = re.sub(r"[^a-z]", "", row.text("power_kind").lower())
    if not text:
        return None
    if text not in list(PowerKind):
        what = f"the kind of power {quoted(row.text('power_kind'))} is not known"
        raise row.wrong("power_kind", what, hint=f"it is one of {', '.join(PowerKind)}")
    return PowerKind(text)


def _span(row: Row, text: str, column: str = "tuning_mhz") -> Span:
    """A tuning range such as ``470-526``, or one frequency; dashes, ``..`` and ``to`` are understood."""
    ends = _BETWEEN_ENDS.split(text)
    if len(ends) > 2:
        hint = "write the two ends of each range: 470-526;600-606"
        raise row.wrong(column, f"{quoted(text)} is no tuning range", hint=hint)
    low_hz, high_hz = (_positive_hz(row, column, end) for end in (ends[0], ends[-1]))
    if high_hz < low_hz:
        raise row.wrong(column, f"the tuning range {quoted(text)} does not rise", hint="write the lower end first")
    return Span(low_hz, high_hz)


def _positive_hz(row: Row, name: str, text: str) -> int:
    value_hz = row.value_hz(name, text)
    if value_hz <= 0:
        raise row.wrong(name, f"{quoted(text)} is no frequency above zero")
    return value_hz


def _needed_hz(row: Row, name: str) -> int:
    return _positive_hz(row, name, row.needed(name))


def _distance_hz(row: Row, name: str) -> int | None:
    """A width or distance, which can't be negative."""
    value_hz = row.hertz(name)
    if value_hz is not None and value_hz < 0:
        raise row.wrong(name, f"{quoted(row.text(name))} is negative", hint="write widths and distances without a sign")
    return value_hz


def _needed_width_hz(row: Row, name: str, what: str, example_khz: int) -> int:
    """A width that must be stated, and be more than nothing."""
    value_hz = _distance_hz(row, name)
    if not value_hz:
        said = "is missing" if value_hz is None else "must be above 0"
        raise row.wrong(name, f"the {what} {said}", hint=f"for example {example_khz}")
    return value_hz


def _loss_db(row: Row) -> float:
    text = row.text("loss_db")
    value = row.value("loss_db", text)
    if value < 0:
        raise row.wrong(
            "loss_db", f"the loss {quoted(text)} is negative", hint="write how many dB are lost, without a sign"
        )
    if value > MOST_LOSS_DB:
        hint = f"write {MOST_LOSS_DB:g} at most, or apart"
        raise row.wrong("loss_db", f"the loss {quoted(text)} is out of range", hint=hint)
    return float(value)


def _channel_name(text: str) -> str:
    """``ch 21``, ``Kanal 21``, ``K21`` and ``021`` as the raster names it: ``21``."""
    match = re.fullmatch(r"(?:tv\s*)?(?:channel|ch|kanal|canal|kanaal|k|c|e)?\.?\s*0*(\d+)\s*([a-z]?)", text.lower())
    return f"{match[1]}{match[2].upper()}" if match else text
