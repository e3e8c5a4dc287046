"""The table of rules about groups of links: who keeps apart, who stays together."""

from __future__ import annotations

from fallow.files.tables.columns import FREQUENCY, Column, text_column
from fallow.files.tables.grid import FilePath, Row, read_table
from fallow.show.equipment import Kind
from fallow.show.grouping import Apart, Groupings, Together

__all__ = ["GROUP_COLUMNS", "read_groups", "rule_from", "stated_rules"]

GROUP_COLUMNS = (
    text_column("group", "gruppe", "groupe", "grupo", "groep", required=True),
    text_column("from", "other", "von", "de", "van"),
    Column(("apart", "abstand", "distance", "distancia", "afstand"), FREQUENCY),
    Column(("within", "innerhalb", "dans", "dentro", "binnen"), FREQUENCY),
    text_column("areas", "bereiche", "zones", "zonas", "gebieden"),
    text_column("hard", "hart", "strict", "estricto"),
    text_column("source", "quelle", "fuente", "bron"),
)
_ALL_AREAS = {"all", "any", "everywhere", "alle", "toutes", "todas"}
_SAME_AREA = {"", "same", "each", "gleiche", "m\u00eame", "misma", "zelfde"}


def read_groups(path: FilePath) -> Groupings:
    """Rules about groups, with the usual ones about groups of which the table says nothing. Raises InputError with
    line and column.
    """
    return stated_rules(path).with_usual()


def stated_rules(path: FilePath) -> Groupings:
    """The rules of the table alone. Raises InputError with line and column."""
    rows = read_table(path, GROUP_COLUMNS, may_be_empty=True).rows
    seen: dict[tuple[object, ...], Row] = {}
    rules = []
    for row in rows:
        rule = rule_from(row)
        about = (rule.pair if isinstance(rule, Apart) else rule.group, rule.everywhere, type(rule))
        if about in seen:
            raise row.wrong("group", f"line {seen[about].line} has a rule about the same already", hint="keep one")
        seen[about] = row
        rules.append(rule)
    return Groupings.of(rules)


def rule_from(row: Row) -> Apart | Together:
    """A row of the table of groups. Raises InputError with line and column."""
    group, other = _name(row.needed("group")), _name(row.text("from"))
    apart_hz, within_hz = _distance_hz(row, "apart_mhz"), _distance_hz(row, "within_mhz")
    everywhere, hard, source = _everywhere(row), row.yes("hard"), row.text("source")
    if (apart_hz is None) == (within_hz is None):
        hint = "one row says how far a group keeps from another (apart_mhz), or how wide it may be (within_mhz)"
        raise row.wrong("apart_mhz", "a rule has either apart_mhz or within_mhz", hint=hint)
    if apart_hz is not None:
        if not other:
            raise row.wrong("from", "from whom the group keeps apart is missing", hint="a group, equipment or kind")
        return Apart(group, other, apart_hz, everywhere, hard, source, row.line)
    if other:
        raise row.wrong("from", "a group that stays together needs no other", hint="leave from empty")
    if not within_hz:
        raise row.wrong("within_mhz", "a group can't stay within nothing", hint="for example 8")
    return Together(group, within_hz, everywhere, hard, source, row.line)


def _name(text: str) -> str:
    """Kinds are understood whatever their capitals."""
    return text.lower() if text.lower() in list(Kind) else text


def _everywhere(row: Row) -> bool:
    text = row.text("areas").lower()
    if text not in _ALL_AREAS | _SAME_AREA:
        what = f"{row.text('areas')!r} is neither same nor all"
        raise row.wrong("areas", what, hint="same: links of one area; all: of all areas that hear each other")
    return text in _ALL_AREAS


def _distance_hz(row: Row, name: str) -> int | None:
    value_hz = row.hertz(name)
    if value_hz is not None and value_hz < 0:
        raise row.wrong(name, f"{row.text(name)!r} is negative", hint="write distances without a sign")
    return value_hz
