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
from fallow.show.wanted import Wanted
from fallow.spectrum.sweep import Survey
from fallow.spectrum.verdict import Emitter, JudgedSlice, Verdict
from fallow.units import Span, format_mhz, format_span_mhz
from fallow.workflow.coordinate import rows_of
from fallow.workflow.survey import JudgedAir, channels_of

if TYPE_CHECKING:
    from fallow.plan.answer import Plan
    from fallow.plan.judge.audit import Audit

__all__ = ["Told", "tell_story"]

DATA = Path(__file__).parent / "data"
USUAL_FOLDER = "fallow-demo"
REGION = "de"
SEARCH_S = 0.5
HOUSE = "House of Three Moons (invented)"
FILES = ("demo-plan.csv", "demo-air.png", "demo-wall-off.png", "demo-above.svg")
TV_BAND, ABOVE = Span(470_000_000, 694_000_000), Span(782_000_000, 870_000_000)  # what was swept
WIDTH = 79  # columns of the screen that the story keeps to
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
    chain, stations = fallow.read_chain(DATA / "chain.csv"), fallow.read_stations(DATA / "stations.csv")
    before = fallow.open_sweeps(sweeps / "wall-off.csv", sweeps / "upper-range.txt")
    together = Survey.of((before, fallow.open_sweeps(sweeps / "wall-on.csv")))
    quiet, air = (
        fallow.judge(survey, region=REGION, reference=reference, chain=chain, stations=stations)
        for survey in (before, together)
    )
    return quiet, air


def plan_and_audit(air: JudgedAir) -> tuple[Plan, Audit, Sequence[Assignment]]:
    """A plan for tonight's links, the judgement of its rows, and the rows."""
    wanted = Wanted(
        fallow.read_links(DATA / "links.csv"),
        fallow.read_equipment(DATA / "equipment.csv"),
        fallow.read_areas(DATA / "areas.csv"),
        fallow.read_foreign(DATA / "foreign.csv"),
        fallow.read_stations(DATA / "stations.csv"),
    )
    plan = fallow.coordinate(
        wanted.links,
        wanted.equipment,
        areas=wanted.losses,
        foreign=wanted.foreign,
        stations=wanted.stations,
        air=air,
        region=REGION,
        seconds=SEARCH_S,
    )
    rows = rows_of(plan, wanted)
    audit = fallow.audit(
        rows,
        wanted.equipment,
        links=wanted.links,
        areas=wanted.losses,
        foreign=wanted.foreign,
        stations=wanted.stations,
        air=air,
        region=REGION,
    )
    return plan, audit, rows


def draw(judged: JudgedAir, path: Path, title: str, span: Span, carriers: dict[str, int] | None = None) -> None:
    """One picture of a part of the air."""
    draw_air(judged.air, path, channels=channels_of(judged), span=span, title=title, carriers=carriers)


# --- the story


def story(evening: Evening) -> list[str]:
    """At most 40 lines of at most 79 characters, but for the folder's; every figure comes from the evening."""
    return [
        "THE HOUSE OF THREE MOONS, Nirgendhafen: house, town, show and air are invented.",
        *air_paragraph(evening),
        *emitter_paragraph(evening.air),
        *plan_paragraph(evening.plan),
        *audit_paragraph(evening.audit),
        f"written: {', '.join(path.name for path in evening.files)}",
        f"     in: {evening.files[0].parent}",
    ]


def air_paragraph(evening: Evening) -> list[str]:
    """Verdicts of the channels before and after the wall, and what changed."""
    air, slices = evening.air.air, evening.air.slices
    before = {part.name: part.verdict for part in evening.quiet.slices}
    worse = [part.name for part in slices if part.verdict is Verdict.DOUBTFUL and before[part.name] is Verdict.CLEAN]
    lines = [
        "",
        f"ON THE AIR  {air.sweeps} sweeps against {air.limit_dbm:g} dBm in 200 kHz, {air.confidence_pct:g} % sure",
        *channel_numbers(slices),
        f"  wall off  {marks(evening.quiet.slices)}",
        f"  wall on   {marks(slices)}",
        f"            {counted(slices)}",
    ]
    if worse:
        lines.append(f"The LED wall lifts the floor; no longer clean: {', '.join(worse)}.")
    return lines


def channel_numbers(slices: Sequence[JudgedSlice]) -> list[str]:
    """The channels' names from top to bottom, so that each takes two columns."""
    longest = max(len(part.name) for part in slices)
    rows = zip(*(part.name.rjust(longest) for part in slices), strict=True)
    heads = ["TV channel", *[""] * (longest - 1)]
    return [f"{head:<12}{' '.join(row)}".rstrip() for head, row in zip(heads, rows, strict=True)]


def marks(slices: Sequence[JudgedSlice]) -> str:
    """A mark under each channel's name."""
    return " ".join(part.verdict.mark for part in slices)


def counted(slices: Sequence[JudgedSlice]) -> str:
    """How many slices have each verdict, with the marks that stand for it."""
    count = Counter(part.verdict for part in slices)
    order = (Verdict.CLEAN, Verdict.DOUBTFUL, Verdict.OCCUPIED, Verdict.NOT_MEASURED)
    return "   ".join(f"{verdict.mark} {count[verdict]} {verdict.word}" for verdict in order)


def emitter_paragraph(air: JudgedAir) -> list[str]:
    """The weakest television, the stranger who comes and goes, the mobile neighbour, and what may have been missed."""
    lines = []
    stations = [emitter for emitter in air.emitters if emitter.looks_like.startswith("TV")]
    if stations:
        weakest = min(stations, key=lambda emitter: emitter.level_dbm)
        lines.append(
            f"{len(stations)} TV channels; the weakest, {weakest.level_dbm:.0f} dBm at "
            f"{format_mhz(weakest.centre_hz)} MHz, counts in its notches too."
        )
    strangers = sorted(filter(is_stranger, air.emitters), key=lambda emitter: -emitter.level_dbm)
    lines += [stranger(emitter) for emitter in strangers[:1]]
    mobile = [emitter for emitter in air.emitters if emitter.looks_like == "mobile downlink"]
    if mobile:
        lines.append(f"A mobile neighbour at {format_span_mhz(mobile[0].low_hz, mobile[-1].high_hz)}.")
    lines.append(f"Who is on less than {air.air.missed_share:.0%} of the time may have been missed.")
    return lines


def is_stranger(emitter: Emitter) -> bool:
    """Whether it was surely off for most of the time, and is no phone that answers its base."""
    return emitter.on_share_high < 0.5 and not emitter.looks_like.startswith("mobile")


def stranger(emitter: Emitter) -> str:
    """A sentence about an emitter that comes and goes."""
    share = f"{emitter.on_share:.0%} of the time ({emitter.on_share_low:.0%} to {emitter.on_share_high:.0%})"
    return f"A stranger at {format_mhz(emitter.centre_hz)} MHz, {emitter.level_dbm:.0f} dBm, on {share}."


def plan_paragraph(plan: Plan) -> list[str]:
    """Every link with its frequency and the mark of its place; spares; what is left open."""
    placed = [link for link in plan.links.values() if link.frequency_hz is not None]
    cells = [cell(link.link, link.frequency_hz, link.verdict) for link in plan.links.values()]
    rows = -(-len(cells) // COLUMNS)
    lines = ["", f"THE PLAN  {len(placed)} of {len(plan.links)} links have a frequency, MHz; {len(plan.spares)} spares"]
    lines += ["  ".join(cells[row::rows]).rstrip() for row in range(rows)]
    lines += [f"no frequency: {one.link}: {one.because[0]}"[:WIDTH] for one in plan.unplaced]
    if any(note.startswith("ask") for note in plan.notes):
        lines.append("The law: fallow knows no row well enough to say yes; ask the regulator first.")
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
    return lines + [f"! {conflict.text}"[:WIDTH] for conflict in audit.conflicts[:3]] + [""]
