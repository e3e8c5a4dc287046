"""How each kind of value is kept: its name in the file, the key that makes it unique, and its image.

An *image* is the value as a JSON object. Images of years ago stay readable: a field that is missing has its default,
and one that is not known is left alone. Hertz are whole numbers, decibels are numbers, what is not stated is null.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from fallow.show.assignment import Assignment
from fallow.show.equipment import Equipment, Kind, PowerKind
from fallow.show.link import USUAL_PRIORITY, ForeignCarrier, Link, Station
from fallow.showfile.chain_images import chain_part_from, chain_part_image
from fallow.showfile.values import AreaPair, Event, Mark, Note, PlanHead, PlanRow, Setting, SourceFile, SurveyHead
from fallow.spectrum.chain import ChainPart
from fallow.units import Span

__all__ = [
    "AREA_PAIRS",
    "BY_NAME",
    "CHAIN",
    "EQUIPMENT",
    "EVENTS",
    "FOREIGN",
    "LINKS",
    "MARKS",
    "NOTES",
    "PLANS",
    "PLAN_ROWS",
    "SETTINGS",
    "STATIONS",
    "SURVEYS",
    "Image",
    "KindOfItem",
    "joined",
    "written",
]

T = TypeVar("T")
Image = Mapping[str, Any]


@dataclass(frozen=True)
class KindOfItem(Generic[T]):
    """One kind of value. ``name``: in the file; ``key``: of a value; ``image`` and ``value``: one from the other.

    ``is_fact``: it says what happened, and undo passes over it.
    """

    name: str
    key: Callable[[T], str]
    image: Callable[[T], Image]
    value: Callable[[Image], T]
    is_fact: bool = False

    @property
    def word(self) -> str:
        """Its name for people."""
        return self.name.replace("_", " ")


def written(image: Image) -> str:
    """An image as the file keeps it: equal images are equal texts. Raises ValueError for NaN and infinity."""
    return json.dumps(image, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def joined(*parts: str | int) -> str:
    """A key of several parts, as a JSON array: no part can be taken for another."""
    return json.dumps(parts, ensure_ascii=False, separators=(",", ":"))


def _link_image(link: Link) -> Image:
    return {
        "link": link.name,
        "equipment": link.equipment,
        "area": link.area,
        "scenes": sorted(link.scenes),
        "priority": link.priority,
        "frequency_hz": link.frequency_hz,
        "fixed": link.fixed,
        "planned": link.planned,
        "extra": dict(link.extra),
    }


def _link(image: Image) -> Link:
    return Link(
        name=image["link"],
        equipment=image["equipment"],
        area=image.get("area", ""),
        scenes=frozenset(image.get("scenes", ())),
        priority=image.get("priority", USUAL_PRIORITY),
        frequency_hz=image.get("frequency_hz"),
        fixed=image.get("fixed", False),
        planned=image.get("planned", True),
        extra=image.get("extra", {}),
    )


def _equipment_image(radio: Equipment) -> Image:
    return {
        "equipment": radio.name,
        "kind": str(radio.kind),
        "tuning": [[span.low_hz, span.high_hz] for span in radio.tuning],
        "step_hz": radio.step_hz,
        "presets_hz": list(radio.presets_hz),
        "bandwidth_hz": radio.bandwidth_hz,
        "power_mw": radio.power_mw,
        "power_kind": None if radio.power_kind is None else str(radio.power_kind),
        "spacing_hz": radio.spacing_hz,
        "im3_hz": radio.im3_hz,
        "im3_three_hz": radio.im3_three_hz,
        "im5_hz": radio.im5_hz,
    }


def _equipment(image: Image) -> Equipment:
    power_kind = image.get("power_kind")
    return Equipment(
        name=image["equipment"],
        kind=Kind(image["kind"]),
        tuning=tuple(Span(low_hz, high_hz) for low_hz, high_hz in image.get("tuning", ())),
        step_hz=image["step_hz"],
        presets_hz=tuple(image.get("presets_hz", ())),
        bandwidth_hz=image["bandwidth_hz"],
        power_mw=image.get("power_mw"),
        power_kind=None if power_kind is None else PowerKind(power_kind),
        spacing_hz=image["spacing_hz"],
        im3_hz=image.get("im3_hz"),
        im3_three_hz=image.get("im3_three_hz"),
        im5_hz=image.get("im5_hz"),
    )


def _pair_image(pair: AreaPair) -> Image:
    return {"area": pair.area, "other": pair.other, "loss_db": pair.loss_db}


def _foreign_image(carrier: ForeignCarrier) -> Image:
    return {
        "name": carrier.name,
        "frequency_hz": carrier.frequency_hz,
        "bandwidth_hz": carrier.bandwidth_hz,
        "area": carrier.area,
        "spacing_hz": carrier.spacing_hz,
        "products": carrier.products,
        "protect": carrier.protect,
    }


def _foreign(image: Image) -> ForeignCarrier:
    return ForeignCarrier(
        name=image["name"],
        frequency_hz=image["frequency_hz"],
        bandwidth_hz=image.get("bandwidth_hz", 0),
        area=image.get("area", ""),
        spacing_hz=image.get("spacing_hz", 0),
        products=image.get("products", False),
        protect=image.get("protect", False),
    )


def _plan_image(plan: PlanHead) -> Image:
    return {"plan": plan.name, "made": plan.made, "notes": list(plan.notes), "settings": dict(plan.settings)}


def _plan(image: Image) -> PlanHead:
    return PlanHead(image["plan"], image.get("made", ""), tuple(image.get("notes", ())), image.get("settings", {}))


def _row_image(row: PlanRow) -> Image:
    one = row.assignment
    return {
        "plan": row.plan,
        "copy": row.copy,
        "link": one.link,
        "equipment": one.equipment,
        "area": one.area,
        "scenes": sorted(one.scenes),
        "frequency_hz": one.frequency_hz,
        "verdict": one.verdict,
        "margin_db": one.margin_db,
        "note": one.note,
        "extra": dict(one.extra),
    }


def _row(image: Image) -> PlanRow:
    assignment = Assignment(
        link=image["link"],
        equipment=image["equipment"],
        area=image.get("area", ""),
        scenes=frozenset(image.get("scenes", ())),
        frequency_hz=image.get("frequency_hz"),
        verdict=image.get("verdict"),
        margin_db=image.get("margin_db"),
        note=image.get("note", ""),
        extra=image.get("extra", {}),
    )
    return PlanRow(image["plan"], assignment, image.get("copy", 0))


def _survey_image(survey: SurveyHead) -> Image:
    return {
        "survey": survey.name,
        "series": list(survey.series),
        "is_reference": survey.is_reference,
        "area": survey.area,
        "added": survey.added,
        "notes": list(survey.notes),
        "sources": [{"name": source.name, "sha256": source.sha256} for source in survey.sources],
    }


def _survey(image: Image) -> SurveyHead:
    return SurveyHead(
        name=image["survey"],
        series=tuple(image.get("series", ())),
        is_reference=image.get("is_reference", False),
        area=image.get("area", ""),
        added=image.get("added", ""),
        notes=tuple(image.get("notes", ())),
        sources=tuple(SourceFile(source["name"], source["sha256"]) for source in image.get("sources", ())),
    )


def _note_image(note: Note) -> Image:
    return {"id": note.id, "at": note.at, "who": note.who, "text": note.text, "about": note.about}


def _event_image(event: Event) -> Image:
    return {"id": event.id, "at": event.at, "what": event.what, "text": event.text, "data": dict(event.data)}


SETTINGS: KindOfItem[Setting] = KindOfItem(
    "setting",
    lambda one: one.name,
    lambda one: {"name": one.name, "value": one.value},
    lambda image: Setting(image["name"], image["value"]),
)
EQUIPMENT: KindOfItem[Equipment] = KindOfItem("equipment", lambda one: one.name, _equipment_image, _equipment)
LINKS: KindOfItem[Link] = KindOfItem("link", lambda one: one.name, _link_image, _link)
AREA_PAIRS: KindOfItem[AreaPair] = KindOfItem(
    "area_pair",
    lambda one: joined(*sorted((one.area, one.other))),
    _pair_image,
    lambda image: AreaPair(image["area"], image["other"], image["loss_db"]),
)
FOREIGN: KindOfItem[ForeignCarrier] = KindOfItem("foreign", lambda one: one.name, _foreign_image, _foreign)
STATIONS: KindOfItem[Station] = KindOfItem(
    "station",
    lambda one: joined(one.channel, one.area),
    lambda one: {"channel": one.channel, "area": one.area, "source": one.source},
    lambda image: Station(image["channel"], image.get("area", ""), image.get("source", "")),
)
CHAIN: KindOfItem[ChainPart] = KindOfItem("chain_part", lambda one: one.part, chain_part_image, chain_part_from)
PLANS: KindOfItem[PlanHead] = KindOfItem("plan", lambda one: one.name, _plan_image, _plan)
PLAN_ROWS: KindOfItem[PlanRow] = KindOfItem(
    "plan_row", lambda one: joined(one.plan, one.assignment.link, one.copy), _row_image, _row
)
SURVEYS: KindOfItem[SurveyHead] = KindOfItem("survey", lambda one: one.name, _survey_image, _survey)
NOTES: KindOfItem[Note] = KindOfItem(
    "note",
    lambda one: one.id,
    _note_image,
    lambda image: Note(image["id"], image["at"], image["who"], image["text"], image.get("about", "")),
)
MARKS: KindOfItem[Mark] = KindOfItem(
    "mark",
    lambda one: one.name,
    lambda one: {"mark": one.name, "change": one.change, "at": one.at},
    lambda image: Mark(image["mark"], image["change"], image["at"]),
    is_fact=True,
)
EVENTS: KindOfItem[Event] = KindOfItem(
    "event",
    lambda one: one.id,
    _event_image,
    lambda image: Event(image["id"], image["at"], image["what"], image["text"], image.get("data", {})),
    is_fact=True,
)
BY_NAME: Mapping[str, KindOfItem[Any]] = {
    kind.name: kind
    for kind in (
        SETTINGS,
        EQUIPMENT,
        LINKS,
        AREA_PAIRS,
        FOREIGN,
        STATIONS,
        CHAIN,
        PLANS,
        PLAN_ROWS,
        SURVEYS,
        NOTES,
        MARKS,
        EVENTS,
    )
}
