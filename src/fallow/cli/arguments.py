"""What can be typed: commands, options and help. Light on purpose, so that ``fallow --help`` answers at once."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence

from fallow.cli import typed
from fallow.cli.show_arguments import Commands, add_show

__all__ = ["attach_signed", "build_parser", "of_the_show"]


_DESCRIPTION = """\
fallow finds out what is on the air and gives every radio link of a live
production a frequency that is legal, clean and safe from the others.

A slice of spectrum is told by word and mark:
  .  clean    ?  doubtful    #  occupied    /  not measured
"""

_EPILOGUE = """\
Frequencies are written 470M, 470.125 MHz, 470125 kHz or, in hertz, 470125000;
spans 470M..608M. Data goes to stdout, everything else to stderr.

exit codes: 0 done; 1 done, with bad news (conflicts, links without a frequency,
a file of several that could not be read); 2 could not be done, or a question
that only you can answer; 130 stopped with Ctrl-C.

The rules that fallow knows are collected facts with a date, not permission:
the licence, the regulator and the local coordinator decide.
"""


_MAY_BE_NEGATIVE = ("--gain", "--limit", "--limit-above-floor", "--pad", "--zone")
_NEGATIVE = re.compile(r"-[.,]?\d")
_ALSO_OF_THE_SHOW = ("air", "audit", "compare", "plan")


def attach_signed(words: Sequence[str]) -> list[str]:
    """The words as typed, but ``--zone -05:00`` as ``--zone=-05:00``: argparse takes the second word for an option."""
    attached: list[str] = []
    for word in words:
        if attached and attached[-1] in _MAY_BE_NEGATIVE and _NEGATIVE.match(word):
            attached[-1] += f"={word}"
        else:
            attached.append(word)
    return attached


def of_the_show(words: Sequence[str]) -> list[str]:
    """The words as typed, but ``plan --show FILE`` as ``show plan --show FILE``: the same step, asked of the show."""
    names_show = any(word == "--show" or word.startswith("--show=") for word in words)
    return ["show", *words] if names_show and words[0] in _ALSO_OF_THE_SHOW else list(words)


def build_parser(version: str) -> argparse.ArgumentParser:
    """The whole command line. Parsing raises UsageError for anything that can't be used."""
    parser = typed.Parser(
        prog="fallow",
        description=_DESCRIPTION,
        epilog=_EPILOGUE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"fallow {version}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=typed.Parser)
    for add in (_add_demo, _add_read, _add_air, _add_rules, _add_plan, _add_audit, _add_compare):
        add(commands)
    add_show(commands, _add_telling)
    return parser


def _command(commands: Commands, name: str, summary: str, description: str) -> typed.Parser:
    parser = commands.add_parser(
        name,
        help=summary,
        description=description,
        allow_abbrev=False,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--json", action="store_true", help="print one JSON document instead of tables")
    return parser


def _add_demo(commands: Commands) -> None:
    parser = _command(
        commands,
        "demo",
        "the whole job on an invented venue",
        "The whole job on an invented venue, from shipped files, without a network.",
    )
    parser.add_argument(
        "--out", metavar="FOLDER", help="where plan and pictures go (default: a new folder fallow-demo here)"
    )


def _add_read(commands: Commands) -> None:
    parser = _command(
        commands,
        "read",
        "how each sweep file was understood",
        "Says how each file was understood, and what is missing or odd; judges nothing.",
    )
    parser.add_argument("files", nargs="+", metavar="FILE", help="files or folders of sweeps")
    _add_telling(parser)


def _add_air(commands: Commands) -> None:
    parser = _command(
        commands,
        "air",
        "what is on the air: clean, doubtful, occupied or not measured",
        "A verdict per TV channel of the region, or per window side by side, with\nreasons; and the emitters found.",
    )
    parser.add_argument(
        "files", nargs="+", metavar="FILE", help="files or folders of sweeps; together they are one survey"
    )
    listing = parser.add_argument_group("what is listed")
    listing.add_argument("--span", type=typed.span_hz, metavar="S", help="only this part, for example 470M..608M")
    listing.add_argument(
        "--region", metavar="R", help="list its TV channels and recognise TV on its raster (de, gb, us ...)"
    )
    listing.add_argument(
        "--width",
        type=typed.positive_hz,
        metavar="HZ",
        help="list windows of this width instead (default without region: 1 MHz)",
    )
    listing.add_argument(
        "--stations", metavar="FILE", help="table of TV channels announced as on the air (needs --region)"
    )
    listing.add_argument(
        "--known", metavar="FILE", help="table of foreign carriers on the air there: sweeps without them may be deaf"
    )
    listing.add_argument(
        "--field", action="store_true", help="tell levels as field strength too (needs the antenna's gain in --chain)"
    )
    listing.add_argument(
        "--picture", metavar="FILE", help="also draw spectrum, floor and verdicts: FILE.png or FILE.svg"
    )
    taking_over = parser.add_argument_group("for the plan")
    taking_over.add_argument(
        "--foreign-out", metavar="FILE", help="write the narrow emitters as a table that `fallow plan --foreign` reads"
    )
    taking_over.add_argument("--area", metavar="AREA", help="where the sweeps were taken, for that table and --known")
    _add_judging(parser)
    _add_telling(parser)


def _add_rules(commands: Commands) -> None:
    parser = _command(
        commands,
        "rules",
        "what a region allows, row by row, with its source",
        "What a region allows, each row with source, date and how well it was checked.\nWithout a region: the regions.",
    )
    parser.add_argument("region", nargs="?", metavar="R", help="de, gb, us ...")
    parser.add_argument("--span", type=typed.span_hz, metavar="S", help="only the rows that touch this part")
    _add_law(parser)


def _add_plan(commands: Commands) -> None:
    parser = _command(
        commands,
        "plan",
        "a frequency for every link, with spares and reasons",
        "Gives every link a frequency that is legal, clean and safe from the others;\nwith spares, and reasons.",
    )
    parser.add_argument("links", metavar="LINKS", help="table of links")
    _add_surroundings(parser)
    making = parser.add_argument_group("how the plan is made")
    making.add_argument(
        "--spares",
        type=typed.few,
        metavar="N",
        help="spares for each equipment in each area (default: one per ten links, at least one)",
    )
    _add_keeping(making)
    _add_search(making)
    making.add_argument("--out", metavar="PLAN", help="write the plan to this file as CSV")
    making.add_argument(
        "--no-failures",
        action="store_true",
        help="do not look for what to do when something fails: all time for the plan",
    )
    _add_asking(parser.add_argument_group("asking about one link"))


def _add_asking(asking: argparse._ArgumentGroup) -> None:
    asking.add_argument(
        "--why",
        metavar="LINK",
        help="tell what speaks for and against its place, in the plan --keep if one is given, and free places near it",
    )
    asking.add_argument("--at", type=typed.place_hz, metavar="FREQUENCY", help="the same for another frequency")


def _add_search(making: argparse._ArgumentGroup) -> None:
    making.add_argument(
        "--seconds",
        type=typed.seconds,
        default=5.0,
        metavar="S",
        help="how long to look for a better plan (default 5)",
    )
    making.add_argument(
        "--seed", type=typed.whole, default=1, metavar="N", help="another number, another search (default 1)"
    )
    making.add_argument(
        "--steps",
        type=typed.whole,
        metavar="N",
        help="stop after so many steps, however long they take: the same seed then makes the same plan",
    )


def _add_keeping(making: argparse._ArgumentGroup) -> None:
    making.add_argument("--keep", metavar="PLAN", help="a plan in force: links without trouble stay where they are")
    making.add_argument(
        "--on-air", metavar="SCENE", help="the scene that runs now: its links stay where --keep has them"
    )
    making.add_argument(
        "--may-move",
        nargs="+",
        action="extend",
        metavar="LINK",
        help="links that may move, though fixed or on the air",
    )


def _add_audit(commands: Commands) -> None:
    parser = _command(
        commands,
        "audit",
        "every conflict of a plan, ours or a hand-made one",
        "Judges any plan: every conflict, each listed once.",
    )
    parser.add_argument("plan", metavar="PLAN", help="table of links with their frequencies")
    parser.add_argument(
        "--links", metavar="LINKS", help="table of links, where the plan does not name areas and scenes itself"
    )
    _add_surroundings(parser)


def _add_compare(commands: Commands) -> None:
    parser = _command(
        commands,
        "compare",
        "what changed between two surveys or two plans",
        "What changed between two surveys of one place (appeared, vanished, moved,\nlouder, quieter, floor), or "
        "between two plans. With --pad: which lines are real.",
    )
    parser.add_argument("old", metavar="OLD", help="a file or folder of sweeps, or a plan")
    parser.add_argument("new", metavar="NEW", help="the same, taken or made later")
    comparing = parser.add_argument_group("two surveys")
    chains = comparing.add_mutually_exclusive_group()
    chains.add_argument(
        "--same-chain", action="store_true", help="antenna and instrument were the same (default where grids agree)"
    )
    chains.add_argument(
        "--other-chain", action="store_true", help="they were not: the uncertainties of both surveys add"
    )
    comparing.add_argument(
        "--pad",
        type=typed.number,
        metavar="DB",
        help="NEW was taken through an attenuator of so many dB: tell for each line whether it is real",
    )
    comparing.add_argument("--region", metavar="R", help="recognise TV on this region's raster (de, gb, us ...)")
    comparing.add_argument("--reference", nargs="+", metavar="FILE", help="sweeps with a load in place of the antenna")
    comparing.add_argument("--chain", metavar="FILE", help="table of antenna, cable and filter, of both surveys")
    comparing.add_argument("--new-chain", metavar="FILE", help="the same of NEW alone, which then is another chain")
    _add_telling(parser)


def _add_surroundings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--equipment", required=True, metavar="FILE", help="table of equipment")
    parser.add_argument(
        "--areas", metavar="FILE", help="table of areas: what they lose between them, or that they are apart"
    )
    parser.add_argument(
        "--groups", metavar="FILE", help="table of groups of links that keep apart or together (see docs/groups.md)"
    )
    parser.add_argument("--foreign", metavar="FILE", help="table of carriers that are not ours")
    parser.add_argument(
        "--measured", metavar="FILE", help="table of link and level_dbm: what was measured of our carriers"
    )
    parser.add_argument(
        "--levels",
        action="store_true",
        help="distances from levels instead of the table's (needs power, nearest_m, iip3_dbm and their source there)",
    )
    parser.add_argument(
        "--product-width",
        action="store_true",
        help="products keep their distances with their edges, for all equipment (else where its table says so)",
    )
    parser.add_argument(
        "--stations", metavar="FILE", help="table of TV channels announced as on the air (needs --region)"
    )
    parser.add_argument(
        "--air",
        nargs="+",
        action="append",
        metavar="[AREA=]FILE",
        help="sweeps, for links of AREA and of areas that hear it, or for all; may be given several times, the worst "
        "verdict counts",
    )
    parser.add_argument("--region", metavar="R", help="whose law is asked (de, gb, us ...)")
    _add_law(parser)
    _add_judging(parser)
    _add_telling(parser)


def _add_law(parser: argparse.ArgumentParser) -> None:
    law = parser.add_argument_group("law")
    law.add_argument("--licence", metavar="NAME", help="the licence that you hold, as `fallow rules R` lists them")
    law.add_argument("--place", metavar="NAME", help="the place, where a rule depends on it")
    law.add_argument("--on", metavar="DATE", help="the day that counts, as 2026-07-18 (default: today)")


def _add_judging(parser: argparse.ArgumentParser) -> None:
    judging = parser.add_argument_group("judging")
    judging.add_argument(
        "--limit",
        type=typed.number,
        metavar="DBM",
        help="highest unwanted level in a link's width, absolute surveys (default -90)",
    )
    judging.add_argument(
        "--limit-above-floor",
        type=typed.number,
        metavar="DB",
        help="the same above the floor, relative surveys (default 6)",
    )
    judging.add_argument("--link-width", type=typed.positive_hz, metavar="HZ", help="width of a link (default 200 kHz)")
    judging.add_argument(
        "--confidence",
        type=typed.number,
        metavar="PCT",
        help="how sure a verdict must be, 50 to 99.9 (default 95)",
    )
    judging.add_argument("--reference", nargs="+", metavar="FILE", help="sweeps with a load in place of the antenna")
    judging.add_argument(
        "--chain", metavar="FILE", help="table of antenna, cable, filter and pad: gain, uncertainty, match"
    )
    judging.add_argument("--own", metavar="PLAN", help="our own carriers that were on while the sweeps were taken")


def _add_telling(parser: argparse.ArgumentParser) -> None:
    telling = parser.add_argument_group("telling (answers what a file leaves open)")
    telling.add_argument(
        "--unit",
        type=typed.one_of("Hz", "kHz", "MHz", "GHz"),
        metavar="UNIT",
        help="of frequencies: Hz, kHz, MHz or GHz",
    )
    telling.add_argument(
        "--level-unit",
        type=typed.one_of("dBm", "dB", "dBuV", "linear"),
        metavar="UNIT",
        help="of levels: dBm, dB, dBuV or linear",
    )
    telling.add_argument("--decimal", type=typed.one_of(",", "."), metavar="MARK", help="decimal mark: , or .")
    telling.add_argument("--delimiter", metavar="C", help="what stands between columns; tab for a tab")
    telling.add_argument("--rbw", type=typed.positive_hz, metavar="HZ", help="resolution bandwidth")
    telling.add_argument(
        "--detector",
        type=typed.one_of("sample", "average", "peak", "max-hold"),
        metavar="KIND",
        help="sample, average, peak or max-hold",
    )
    telling.add_argument(
        "--zone",
        type=typed.plain_minus,
        metavar="ZONE",
        help="time zone of the file's clock, as Europe/Berlin or +02:00",
    )
    telling.add_argument(
        "--instruments",
        type=typed.one_of("files", "folders", "one"),
        metavar="HOW",
        help="files or folders: each was taken by an instrument of its own; one: all by the same",
    )
    _add_telling_of_recordings(telling)


def _add_telling_of_recordings(telling: argparse._ArgumentGroup) -> None:
    telling.add_argument(
        "--samples",
        metavar="TYPE",
        help="of recordings: u8, i8, u16, i16, i32, f32, f64 (I and Q one after the other), c64 or c128; "
        "-be behind it for big endian",
    )
    telling.add_argument(
        "--rate", type=typed.positive_hz, metavar="HZ", help="of recordings: samples per second, as 2.4M"
    )
    telling.add_argument(
        "--centre", type=typed.frequency_hz, metavar="HZ", help="of recordings: what the receiver was tuned to"
    )
