"""The whole job on the invented house, done with the public functions as a notebook would, and told in one screen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

import fallow
from fallow.errors import OutputError
from fallow.pictures import draw_air
from fallow.show.assignment import Assignment
from fallow.spectrum.verdict import Emitter, JudgedSlice, Verdict
from fallow.units import Span, format_mhz, format_span_mhz
from fallow.workflow.coordinate import rows_of
from fallow.workflow.survey import JudgedAir, channels_of

if TYPE_CHECKING:
    from fallow.plan.answer import Plan
    from fallow.plan.audit import Audit

__all__ = ["Told", "tell_story"]

DATA = Path(__file__).parent / "data"
USUAL_FOLDER = "fallow-demo"
REGION = "de"
SEARCH_S = 1.0
HOUSE = "House of Three Moons (invented)"
FILES = ("demo-plan.csv", "demo-air.png", "demo-wall-off.png", "demo-above.svg")
TV_BAND, ABOVE = Span(470_000_000, 694_000_000), Span(782_000_000, 870_000_000)  # what was swept
WIDTH = 78  # columns of the screen that the story keeps to
COLUMNS = 3

Say = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class Told:
    """What the evening came to: the judged air, the plan, its audit, the files written, and the story for people."""

    air: JudgedAir
    plan: Plan
    audit: Audit
    files: tuple[Path, ...]
    lines: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Evening:
    """The facts that the story is told from; ``quiet`` is the air before the LED wall was on."""

    quiet: JudgedAir
    air: JudgedAir
    plan: Plan
    audit: Audit
    files: tuple[Path, ...]


def tell_story(out: str | PathLike[str] | None = None, say: Say | None = None) -> Told:
    """Read, judge, plan, audit and draw; ``say`` hears what is being done.

    Plan and pictures go to the folder ``out`` (a new ``fallow-demo`` here without), which is made where it is missing.
    Raises OutputError where that can't be done.
    """
    tell = say or (lambda _: None)
    folder = make_folder(Path(USUAL_FOLDER if out is None else out))
    tell("reading and judging the sweeps of an invented house")
    quiet, air = judge_twice()
    tell("looking for frequencies")
    plan, audit, rows = plan_and_audit(air)
    tell("drawing")
    files = tuple(folder / name for name in FILES)
    fallow.write_plan(files[0], rows)
    carriers = {row.link: row.frequency_hz for row in rows if row.frequency_hz is not None}
    draw(air, files[1], f"{HOUSE}: the night and its plan", TV_BAND, carriers)
    draw(quiet, files[2], f"{HOUSE}: before the LED wall was on", TV_BAND)
    draw(air, files[3], f"{HOUSE}: the mobile neighbour above", ABOVE, carriers)
    evening = Evening(quiet, air, plan, audit, files)
    return Told(air, plan, audit, files, tuple(story(evening)))


def make_folder(folder: Path) -> Path:
    """The folder, made where it is missing. Raises OutputError."""
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        hint = "name a folder whose parent exists and that you may write to"
        raise OutputError(f"the folder can't be made: {error.strerror}", path=folder, hint=hint) from error
    return folder


# --- the job


def judge_twice() -> tuple[JudgedAir, JudgedAir]:
    """The air before the LED wall was on, and everything that was swept together: a plan must hold in both."""
    sweeps = DATA / "sweeps"
    reference = fallow.open_sweeps(sweeps / "load-50-ohm.txt")
    chain = fallow.read_chain(DATA / "chain.csv")
    stations = fallow.read_stations(DATA / "stations.csv")
    before = fallow.open_sweeps(sweeps / "wall-off.csv", sweeps / "upper-range.txt")
    together = fallow.open_sweeps(sweeps / "wall-off.csv", sweeps / "upper-range.txt", sweeps / "wall-on.csv")
    quiet = fallow.judge(before, region=REGION, reference=reference, chain=chain, stations=stations)
    return quiet, fallow.judge(together, region=REGION, reference=reference, chain=chain, stations=stations)


def plan_and_audit(air: JudgedAir) -> tuple[Plan, Audit, Sequence[Assignment]]:
    """A plan for tonight's links, the rows of its file, and the judgement of those rows."""
    links, equipment = fallow.read_links(DATA / "links.csv"), fallow.read_equipment(DATA / "equipment.csv")
    areas, foreign = fallow.read_areas(DATA / "areas.csv"), fallow.read_foreign(DATA / "foreign.csv")
    stations = fallow.read_stations(DATA / "stations.csv")
    plan = fallow.coordinate(
        links,
        equipment,
        areas=areas,
        foreign=foreign,
        stations=stations,
        air=air,
        region=REGION,
        seconds=SEARCH_S,
    )
    rows = rows_of(plan, links)
    audit = fallow.audit(
        rows, equipment, links=links, areas=areas, foreign=foreign, stations=stations, air=air, region=REGION
    )
    return plan, audit, rows


def draw(judged: JudgedAir, path: Path, title: str, span: Span, carriers: dict[str, int] | None = None) -> None:
    """One picture of a part of the air."""
    draw_air(judged.air, path, channels=channels_of(judged), span=span, title=title, carriers=carriers)


# --- the story


def story(evening: Evening) -> list[str]:
    """At most 40 lines of at most 78 characters; every figure comes from the evening."""
    return [
        "THE HOUSE OF THREE MOONS, Nirgendhafen. House, town, show and air are invented.",
        *air_paragraph(evening),
        *emitter_paragraph(evening.air),
        *plan_paragraph(evening.plan),
        *audit_paragraph(evening.audit),
        "",
        *(f"written: {path}" for path in evening.files),
    ]


def air_paragraph(evening: Evening) -> list[str]:
    """Verdicts of the channels before and after the wall, and what changed."""
    before = {part.name: part for part in evening.quiet.slices}
    worse = [part for part in evening.air.slices if part.name in before and part.verdict > before[part.name].verdict]
    air = evening.air.air
    lines = [
        "",
        f"ON THE AIR  {air.sweeps} sweeps against {air.limit_dbm:g} dBm in 200 kHz, {air.confidence_pct:g} % sure",
        f"TV channel  {' '.join(part.name for part in evening.air.slices)}"[:WIDTH],
        f"wall off    {marks(evening.quiet.slices)}"[:WIDTH],
        f"wall on     {marks(evening.air.slices)}"[:WIDTH],
        f"            {counted(evening.air.slices)}",
    ]
    if worse:
        lines.append(f"The LED wall lifts the floor: {named(worse)} no longer as good as before.")
    return lines


def marks(slices: Sequence[JudgedSlice]) -> str:
    """A mark under each channel's number."""
    return " ".join(part.verdict.mark.rjust(len(part.name)) for part in slices)


def counted(slices: Sequence[JudgedSlice]) -> str:
    """How many slices have each verdict, with the marks that stand for it."""
    count = Counter(part.verdict for part in slices)
    order = (Verdict.CLEAN, Verdict.DOUBTFUL, Verdict.OCCUPIED, Verdict.NOT_MEASURED)
    return "   ".join(f"{verdict.mark} {verdict.word} {count[verdict]}" for verdict in order)


def named(slices: Sequence[JudgedSlice]) -> str:
    """Channels by their names, as a sentence begins with them."""
    names = ", ".join(part.name for part in slices)
    return f"channel {names} is" if len(slices) == 1 else f"channels {names} are"


def emitter_paragraph(air: JudgedAir) -> list[str]:
    """The weakest television, the stranger who comes and goes, the mobile neighbour, and what may have been missed."""
    lines = []
    stations = [emitter for emitter in air.emitters if emitter.looks_like.startswith("TV")]
    if stations:
        weakest = min(stations, key=lambda emitter: emitter.level_dbm)
        lines.append(
            f"{len(stations)} TV channels; the weakest, {weakest.level_dbm:.0f} dBm at {format_mhz(weakest.centre_hz)} "
            "MHz, counts whole."
        )
    lines += [stranger(emitter) for emitter in air.emitters if is_stranger(emitter)][:2]
    mobile = [emitter for emitter in air.emitters if emitter.looks_like.startswith("mobile downlink")]
    if mobile:
        lines.append(f"Mobile downlink above, {format_span_mhz(mobile[0].low_hz, mobile[-1].high_hz)}.")
    lines.append(f"Missed so far, perhaps: whoever is on less than {air.air.missed_share:.0%} of the time.")
    return lines


def is_stranger(emitter: Emitter) -> bool:
    """Whether it was surely off for most of the time and is no wide service."""
    return emitter.on_share_high < 0.5 and emitter.high_hz - emitter.low_hz < 1_000_000


def stranger(emitter: Emitter) -> str:
    """A sentence about an emitter that comes and goes."""
    share = f"{emitter.on_share:.0%} of the time ({emitter.on_share_low:.0%} to {emitter.on_share_high:.0%})"
    return f"A stranger at {format_mhz(emitter.centre_hz)} MHz, {emitter.level_dbm:.0f} dBm, on {share}."


def plan_paragraph(plan: Plan) -> list[str]:
    """Every link with its frequency and the mark of its place; spares; what is left open."""
    placed = [link for link in plan.links.values() if link.frequency_hz is not None]
    cells = [cell(link.link, link.frequency_hz, link.verdict) for link in plan.links.values()]
    rows = -(-len(cells) // COLUMNS)
    lines = ["", f"THE PLAN  {len(placed)} of {len(plan.links)} links, {len(plan.spares)} spares"]
    lines += ["  ".join(cells[row::rows]).rstrip() for row in range(rows)]
    lines += [f"no frequency: {one.link}: {one.because[0]}"[:WIDTH] for one in plan.unplaced]
    lines.append(f"The law of {REGION!r}: fallow knows it at second hand, so it says ask; ring the regulator.")
    return lines


def cell(name: str, frequency_hz: int | None, verdict: str | None) -> str:
    """A link in a column of the table."""
    mark = next((one.mark for one in Verdict if one.word == verdict), " ")
    where = "-" if frequency_hz is None else format_mhz(frequency_hz)
    return f"{name[:15]:<15} {where:>7} {mark}"


def audit_paragraph(audit: Audit) -> list[str]:
    """The judgement in a line, conflicts in one line each."""
    found = "no conflict" if not audit.conflicts else f"{len(audit.conflicts)} conflicts"
    lines = ["", f"THE AUDIT  {audit.pairs:,} pairs and {audit.products:,} products compared: {found}."]
    return lines + [f"! {conflict.text}"[:WIDTH] for conflict in audit.conflicts[:3]]
