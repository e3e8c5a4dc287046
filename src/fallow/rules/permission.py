"""May this equipment transmit there? Yes, no or ask, with the row that says so.

Every permitting row is first held against the equipment and the circumstances; what stands in its way are *obstacles*,
each of which lowers the row's answer to *ask* or *no*. The occupied bandwidth must then lie wholly inside rows of one
licence that join without a gap and all give at least that answer (so the strictest of their limits holds), and must
touch no prohibited band.

`may` answers for one carrier, in words; `answers` for many at once, as ranges of allowed centres. The two share the
obstacles and nothing else; tests hold them against each other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fallow.rules.territory import Answer, Circumstances, Grade, Place, Rule, Territory, licences_in
from fallow.show.equipment import Equipment, PowerKind
from fallow.units import format_mhz, format_span_mhz, format_width

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "Answer",
    "CentreRange",
    "Circumstances",
    "Permission",
    "allowed_centres",
    "answer_for_row",
    "answers",
    "may",
    "nearest_allowed_hz",
    "rows_that_matter",
]

DIPOLE_GAIN = 10**0.215
"""EIRP = ERP + 2.15 dB: a half-wave dipole's gain (terms: Radio Regulations 1.161, 1.162; the figure from memory)."""

ANTENNA_DOUBT = 10.0
"""How far radiated and conducted power of small gear may differ, either way: 10 dB, common practice."""


@dataclass(frozen=True)
class Permission:
    """The answer, the rows that it rests on, one sentence that says why, and how much still has to be settled."""

    answer: Answer
    rules: tuple[Rule, ...]
    text: str
    obstacles: int = 0


@dataclass(frozen=True)
class CentreRange:
    """Carrier frequencies from ``low_hz`` to ``high_hz``, both included, where the answer is ``answer``."""

    low_hz: int
    high_hz: int
    answer: Answer


@dataclass(frozen=True)
class _Obstacle:
    """What lowers a row's answer, and to what."""

    answer: Answer
    text: str


@dataclass(frozen=True)
class _Judged:
    """A permitting row held against equipment and circumstances."""

    rule: Rule
    standing: tuple[_Obstacle, ...]
    misfits: tuple[_Obstacle, ...]

    @property
    def obstacles(self) -> tuple[_Obstacle, ...]:
        return self.misfits + self.standing

    @property
    def distance(self) -> tuple[int, int]:
        """How far the row is from allowing it: refusals that no other gear would lift, then the rest."""
        return _refusals(self.standing), _refusals(self.misfits)

    @property
    def answer(self) -> Answer:
        return min((obstacle.answer for obstacle in self.obstacles), default=Answer.YES)


def may(territory: Territory, equipment: Equipment, frequency_hz: int, circumstances: Circumstances) -> Permission:
    """Whether ``equipment`` may transmit with its carrier at ``frequency_hz``, and why.

    Raises UsageError for a licence that the territory's rows do not know.
    """
    judged = _judge_rows(territory, equipment, circumstances)
    touched = [(r, sure) for r, sure in _prohibitions(territory, circumstances) if _touched(r, equipment, frequency_hz)]
    certain = [rule for rule, sure in touched if sure]
    unsure = [rule for rule, sure in touched if not sure]
    for_all = [rule for rule in certain if not rule.licence]
    if for_all:
        return Permission(Answer.NO, tuple(for_all), _prohibited_text(for_all[0], circumstances))
    closed = {rule.licence for rule in certain}
    found = [
        _allowed(covering, [rule for rule in unsure if rule.licence in ("", covering[0].rule.licence)])
        for answer in (Answer.YES, Answer.ASK)
        for rows in _by_licence(judged, answer, closed)
        if (covering := _covering(rows, equipment, frequency_hz))
    ]
    if found:
        return max(found, key=lambda permission: (permission.answer, -permission.obstacles))
    if certain:
        return Permission(Answer.NO, tuple(certain), _prohibited_text(certain[0], circumstances))
    return _not_allowed(judged, equipment, frequency_hz)


def answers(
    territory: Territory, equipment: Equipment, frequencies_hz: NDArray[np.int64], circumstances: Circumstances
) -> NDArray[np.uint8]:
    """The answers of `may` for many carriers: 0 (no), 1 (ask) or 2 (yes) for each, shaped like ``frequencies_hz``."""
    import numpy as np  # late: the command line's help must not load it

    found = np.zeros(np.shape(frequencies_hz), dtype=np.uint8)
    for centres in allowed_centres(territory, equipment, circumstances):
        inside = (centres.low_hz <= frequencies_hz) & (frequencies_hz <= centres.high_hz)
        found[inside] = np.maximum(found[inside], np.uint8(centres.answer))
    return found


def allowed_centres(
    territory: Territory, equipment: Equipment, circumstances: Circumstances
) -> tuple[CentreRange, ...]:
    """All ranges of carriers with *ask* or *yes*, rising. Where ranges overlap the better answer counts."""
    judged = _judge_rows(territory, equipment, circumstances)
    prohibitions = list(_prohibitions(territory, circumstances))
    found: set[CentreRange] = set()
    for answer in (Answer.YES, Answer.ASK):
        for rows in _by_licence(judged, answer, closed=set()):
            licence = rows[0].rule.licence
            concerned = [(r, sure) for r, sure in prohibitions if r.licence in ("", licence)]
            barred = [_centres_touching(rule, equipment) for rule, sure in concerned if sure]
            unsure = [_centres_touching(rule, equipment) for rule, _ in concerned]
            inside = _centres_inside(rows, equipment)
            found |= {CentreRange(*centres, Answer.ASK) for centres in _without(inside, barred)}
            found |= {CentreRange(*centres, answer) for centres in _without(inside, unsure)}
    return tuple(sorted(found, key=lambda centres: (centres.low_hz, centres.high_hz, centres.answer)))


def nearest_allowed_hz(
    territory: Territory, equipment: Equipment, frequency_hz: int, circumstances: Circumstances
) -> int | None:
    """Hertz from ``frequency_hz`` to the nearest carrier with *yes* or *ask* (0 if it is one); None without any."""
    ranges = allowed_centres(territory, equipment, circumstances)
    return min((max(r.low_hz - frequency_hz, frequency_hz - r.high_hz, 0) for r in ranges), default=None)


def answer_for_row(rule: Rule, circumstances: Circumstances) -> Answer:
    """What a row by itself says in these circumstances to gear that keeps its limits; for listings.

    A prohibition is *no*, or *ask* where it depends on a place that was not stated.
    """
    if not rule.allows:
        return Answer.ASK if rule.is_here(circumstances.place) is None else Answer.NO
    return min((obstacle.answer for obstacle in _standing(rule, circumstances)), default=Answer.YES)


def rows_that_matter(territory: Territory, circumstances: Circumstances) -> tuple[Rule, ...]:
    """The rows to list: without those of other places than the one stated, and without prohibitions not in force."""
    return tuple(
        rule
        for rule in territory.rules
        if rule.is_here(circumstances.place, territory.places) is not False
        and (rule.allows or rule.is_valid(circumstances.on))
    )


def _judge_rows(territory: Territory, equipment: Equipment, circumstances: Circumstances) -> list[_Judged]:
    territory.licences_held(circumstances.licence)  # raises for a licence that is not known
    return [
        _Judged(rule, tuple(_standing(rule, circumstances, territory.places)), tuple(_misfits(rule, equipment)))
        for rule in territory.rules
        if rule.allows
    ]


def _refusals(obstacles: tuple[_Obstacle, ...]) -> int:
    return sum(obstacle.answer is Answer.NO for obstacle in obstacles)


def _standing(rule: Rule, circumstances: Circumstances, known: tuple[Place, ...] = ()) -> Iterator[_Obstacle]:
    """What stands in a permitting row's way whatever the equipment."""
    if not rule.is_valid(circumstances.on):
        yield _Obstacle(Answer.NO, _out_of_date(rule, circumstances))
    if not rule.exempt:
        if circumstances.licence is None:
            yield _Obstacle(Answer.ASK, f"it needs the licence {rule.licence}, which was not stated")
        elif rule.licence.lower() not in licences_in(circumstances.licence):
            yield _Obstacle(Answer.NO, f"it needs the licence {rule.licence}, which is not the one stated")
    here = rule.is_here(circumstances.place, known)
    if here is not True:
        yield _Obstacle(Answer.ASK if here is None else Answer.NO, f"it holds only in {_places_text(rule)}")
    if rule.named_place and circumstances.place is None:
        yield _Obstacle(Answer.ASK, "it needs a fixed, named place, and none was stated")
    yield from (_Obstacle(Answer.ASK, f"it needs {need}") for need in rule.needs)
    if rule.grade is not Grade.SEEN:
        how = "second-hand" if rule.grade is Grade.SECOND_HAND else "from memory"
        yield _Obstacle(Answer.ASK, f"the row is only {how}")


def _misfits(rule: Rule, equipment: Equipment) -> Iterator[_Obstacle]:
    """What about the equipment stands in a permitting row's way."""
    if rule.kinds and equipment.kind not in rule.kinds:
        kinds = ", ".join(sorted(rule.kinds))
        yield _Obstacle(Answer.NO, f"it is for {kinds} only, and {equipment.name} is {equipment.kind}")
    if rule.bandwidth_hz is not None and equipment.bandwidth_hz > rule.bandwidth_hz:
        widths = f"{format_width(rule.bandwidth_hz)}, and {equipment.name} takes {format_width(equipment.bandwidth_hz)}"
        yield _Obstacle(Answer.NO, f"it allows at most {widths}")
    if rule.wider_than_hz is not None and equipment.bandwidth_hz <= rule.wider_than_hz:
        yield _Obstacle(Answer.NO, f"it is for gear wider than {format_width(rule.wider_than_hz)} only")
    yield from _power_misfit(rule, equipment)


def _power_misfit(rule: Rule, equipment: Equipment) -> Iterator[_Obstacle]:
    if rule.power_mw is None:
        return
    limit = _power_text(rule.power_mw, rule.power_kind)
    if equipment.power_mw is None:
        yield _Obstacle(Answer.ASK, f"it allows at most {limit}, and the power of {equipment.name} is not stated")
        return
    least, most = _power_as(rule.power_kind, equipment.power_mw, equipment.power_kind)
    own = _power_text(equipment.power_mw, equipment.power_kind)
    if least > rule.power_mw * (1 + 1e-9):
        yield _Obstacle(Answer.NO, f"it allows at most {limit}, and {equipment.name} has {own}")
    elif most > rule.power_mw * (1 + 1e-9):
        yield _Obstacle(Answer.ASK, f"its limit of {limit} can't be compared with {own} without the antenna")


def _power_as(wanted: PowerKind | None, power_mw: float, kind: PowerKind | None) -> tuple[float, float]:
    """The least and the most that a power may be in another kind of power, in milliwatt."""
    if kind is wanted and kind is not None:
        return power_mw, power_mw
    if kind is None or wanted is None:
        doubt = ANTENNA_DOUBT * DIPOLE_GAIN
        return power_mw / doubt, power_mw * doubt
    power_mw *= _gain_over_isotropic(kind) / _gain_over_isotropic(wanted)
    doubt = ANTENNA_DOUBT if PowerKind.CONDUCTED in (kind, wanted) else 1.0
    return power_mw / doubt, power_mw * doubt


def _gain_over_isotropic(kind: PowerKind) -> float:
    return DIPOLE_GAIN if kind is PowerKind.ERP else 1.0


def _prohibitions(territory: Territory, circumstances: Circumstances) -> Iterator[tuple[Rule, bool]]:
    """Prohibiting rows in force that hold here (True), or may hold because the place is not known (False)."""
    for rule in territory.rules:
        here = rule.is_here(circumstances.place, territory.places)
        if not rule.allows and here is not False and rule.is_valid(circumstances.on):
            yield rule, here is True


def _touched(rule: Rule, equipment: Equipment, frequency_hz: int) -> bool:
    half_hz = equipment.bandwidth_hz / 2
    return rule.span.touches(frequency_hz - half_hz, frequency_hz + half_hz)


def _by_licence(judged: Iterable[_Judged], answer: Answer, closed: set[str]) -> Iterator[list[_Judged]]:
    """Rows that give at least ``answer``, one list per licence (those in ``closed`` left out), lowest band first."""
    good = [row for row in judged if row.answer >= answer and row.rule.licence not in closed]
    for licence in dict.fromkeys(row.rule.licence for row in good):
        yield sorted((row for row in good if row.rule.licence == licence), key=lambda row: row.rule.low_hz)


def _covering(rows: list[_Judged], equipment: Equipment, frequency_hz: int) -> list[_Judged]:
    """The rows that together hold the whole occupied bandwidth, or none. One row alone is preferred."""
    low_hz, high_hz = frequency_hz - equipment.bandwidth_hz / 2, frequency_hz + equipment.bandwidth_hz / 2
    for row in rows:
        if row.rule.span.contains(low_hz, high_hz) and frequency_hz in (row.rule.carriers_hz or (frequency_hz,)):
            return [row]
    chain: list[_Judged] = []
    reached_hz = low_hz
    for row in rows:
        if not row.rule.carriers_hz and row.rule.low_hz <= reached_hz < row.rule.high_hz:
            chain.append(row)
            reached_hz = row.rule.high_hz
            if reached_hz >= high_hz:
                return chain
    return []


def _centres_inside(rows: list[_Judged], equipment: Equipment) -> list[tuple[int, int]]:
    """Ranges of carriers whose whole bandwidth lies in the rows, joined where they adjoin; exact to the hertz."""
    joined: list[list[int]] = []
    for low_hz, high_hz in sorted((row.rule.low_hz, row.rule.high_hz) for row in rows if not row.rule.carriers_hz):
        if joined and low_hz <= joined[-1][1]:
            joined[-1][1] = max(joined[-1][1], high_hz)
        else:
            joined.append([low_hz, high_hz])
    width_hz = equipment.bandwidth_hz
    ranges = [(-((-2 * low_hz - width_hz) // 2), (2 * high_hz - width_hz) // 2) for low_hz, high_hz in joined]
    for row in rows:
        fits = (centre for centre in row.rule.carriers_hz if _holds(row.rule, centre, width_hz))
        ranges.extend((centre, centre) for centre in fits)
    return [(low_hz, high_hz) for low_hz, high_hz in ranges if low_hz <= high_hz]


def _holds(rule: Rule, centre_hz: int, width_hz: int) -> bool:
    return 2 * rule.low_hz <= 2 * centre_hz - width_hz and 2 * centre_hz + width_hz <= 2 * rule.high_hz


def _centres_touching(rule: Rule, equipment: Equipment) -> tuple[int, int]:
    """The range of carriers whose bandwidth reaches into the row's band by more than its edge."""
    width_hz = equipment.bandwidth_hz
    return (2 * rule.low_hz - width_hz) // 2 + 1, -((-2 * rule.high_hz - width_hz) // 2) - 1


def _without(ranges: Iterable[tuple[int, int]], holes: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """What is left of closed ranges of whole hertz after closed holes are taken out."""
    left = list(ranges)
    for hole_low, hole_high in holes:
        parts = [
            part for low, high in left for part in ((low, min(high, hole_low - 1)), (max(low, hole_high + 1), high))
        ]
        left = [(low, high) for low, high in dict.fromkeys(parts) if low <= high]
    return left


def _allowed(covering: list[_Judged], unsure: list[Rule]) -> Permission:
    obstacles = dict.fromkeys(obstacle.text for row in covering for obstacle in row.obstacles)
    if unsure:
        places = dict.fromkeys(place.name for rule in unsure for place in rule.places)
        obstacles[f"it is prohibited in {', '.join(places)}, and the place is not settled"] = None
    rules = tuple(row.rule for row in covering)
    named = _rows_text(rules)
    if not obstacles:
        return Permission(Answer.YES, rules, f"{named} allows it")
    return Permission(
        Answer.ASK, (*rules, *unsure), f"{named} may allow it, but {'; '.join(obstacles)}", len(obstacles)
    )


def _not_allowed(judged: list[_Judged], equipment: Equipment, frequency_hz: int) -> Permission:
    """Nothing allows it: say what stood nearest to allowing it."""
    near = [row for row in judged if _touched(row.rule, equipment, frequency_hz)]
    if not near:
        return Permission(Answer.NO, (), f"no row allows {equipment.kind} links at {format_mhz(frequency_hz)} MHz")
    nearest = min(near, key=lambda row: row.distance)
    refusals = (obstacle.text for obstacle in nearest.obstacles if obstacle.answer is Answer.NO)
    outside = (
        "its carrier is none of those listed" if nearest.rule.carriers_hz else "part of its bandwidth lies outside"
    )
    reason = next(refusals, outside)
    return Permission(Answer.NO, (nearest.rule,), f"{_rows_text((nearest.rule,))} does not allow it: {reason}")


def _prohibited_text(rule: Rule, circumstances: Circumstances) -> str:
    here = [place.name for place in rule.places if place.is_called(circumstances.place or "")]
    where = f" in {here[0]}" if here else ""
    why = f" ({rule.remarks[0]})" if rule.remarks else ""
    grade = "from memory" if rule.grade is Grade.MEMORY else rule.grade
    return f"{format_span_mhz(rule.low_hz, rule.high_hz)} is prohibited{where}{why}: {_source_text(rule)}, {grade}"


def _rows_text(rules: tuple[Rule, ...]) -> str:
    """Bands of one licence and their sources."""
    bands = " with ".join(format_span_mhz(rule.low_hz, rule.high_hz) for rule in rules)
    sources = "; ".join(dict.fromkeys(_source_text(rule) for rule in rules))
    return f"{bands}, {rules[0].licence} ({sources})"


def _places_text(rule: Rule) -> str:
    return ", ".join(place.name for place in rule.places)


def _source_text(rule: Rule) -> str:
    """The first source of a row; all of them, and the date, stand in the listing."""
    return rule.source.partition("; ")[0]


def _power_text(power_mw: float, kind: PowerKind | None) -> str:
    words = {PowerKind.EIRP: " EIRP", PowerKind.ERP: " ERP", PowerKind.CONDUCTED: " conducted", None: ""}
    value, unit = next(((power_mw * f, u) for f, u in _POWER_UNITS if power_mw * f >= 1), (power_mw, "mW"))
    return f"{value:g} {unit}{words[kind]}"


_POWER_UNITS = ((1.0, "mW"), (1e3, "\N{MICRO SIGN}W"), (1e6, "nW"))


def _out_of_date(rule: Rule, circumstances: Circumstances) -> str:
    if rule.valid_from is not None and circumstances.on < rule.valid_from:
        return f"it begins on {rule.valid_from.isoformat()}"
    ended = "" if rule.valid_to is None else rule.valid_to.isoformat()
    return f"it ended on {ended}"
