"""What can be typed after ``fallow show``. Light on purpose, as ``arguments`` is."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TypeAlias

from fallow.cli import show_cells, typed
from fallow.cli.show_wanted_arguments import add_wanted

__all__ = ["Commands", "add_show"]

Commands: TypeAlias = "argparse._SubParsersAction[typed.Parser]"

_DESCRIPTION = """\
The show file: everything of one production in one file (NAME.fallow), with
its whole history. Without --show the only show file of this folder is meant.
"""


def add_show(commands: Commands, add_telling: Callable[[argparse.ArgumentParser], None]) -> None:
    """Enter ``fallow show`` and its commands."""
    parser = commands.add_parser(
        "show",
        help="the show file: everything of one production, with its history",
        description=_DESCRIPTION,
        allow_abbrev=False,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verbs = parser.add_subparsers(dest="verb", metavar="VERB", required=True, parser_class=typed.Parser)
    _making(verbs)
    add_telling(_tables(verbs))
    for add in (_links, _plans, _history, _exchange, _library):
        add(verbs)


def _verb(verbs: Commands, name: str, summary: str, *, writes: bool) -> argparse.ArgumentParser:
    parser = verbs.add_parser(name, help=summary, description=f"{summary[0].upper()}{summary[1:]}.", allow_abbrev=False)
    parser.add_argument("--json", action="store_true", help="print one JSON document instead of tables")
    parser.add_argument("--show", metavar="FILE", help="the show file (default: the only one of this folder)")
    if writes:
        parser.add_argument("--who", metavar="NAME", help="who does it, for the history (default: your name here)")
        parser.add_argument("--why", metavar="TEXT", default="", help="why, for the history")
        parser.add_argument(
            "--wait", type=typed.seconds, default=2.0, metavar="S", help="while somebody else writes (default 2 s)"
        )
    return parser


def _making(verbs: Commands) -> None:
    new = _verb(verbs, "new", "make a new show file", writes=True)
    new.add_argument("name", metavar="NAME", help="its name; .fallow is added where it has no ending")
    new.add_argument("settings", nargs="*", metavar="NAME=VALUE", help="settings, as with `fallow show set`")
    settings = _verb(verbs, "set", "say what holds for the whole show, or list it", writes=True)
    settings.add_argument(
        "settings",
        nargs="*",
        metavar="NAME=VALUE",
        help="name, site, region, licence, place, on (a date), limit, limit-above-floor, link-width, confidence; "
        "an empty value takes it out",
    )
    _verb(verbs, "list", "list what is in the show", writes=False)


def _tables(verbs: Commands) -> argparse.ArgumentParser:
    add = _verb(verbs, "add", "bring sweeps and tables into the show", writes=True)
    add.add_argument(
        "files", nargs="*", metavar="FILE", help="sweeps (together they are one survey) and tables; headings tell which"
    )
    sweeps = add.add_argument_group("sweeps")
    sweeps.add_argument("--survey", metavar="NAME", help="name of the survey (default: of the first file); it may grow")
    sweeps.add_argument("--area", metavar="AREA", help="where the sweeps were taken (default: they hold for all areas)")
    sweeps.add_argument("--reference", action="store_true", help="taken with a load in place of the antenna")
    sweeps.add_argument("--again", action="store_true", help="although the show has these very files already")
    tables = add.add_argument_group("tables")
    for name in ("links", "equipment", "areas", "groups", "foreign", "stations", "chain"):
        tables.add_argument(f"--{name}", metavar="FILE", help=f"table of {_TABLES[name]}")
    tables.add_argument("--plan", metavar="FILE", help="a plan, ours or anybody's; it is then the one in force")
    tables.add_argument("--plan-name", metavar="NAME", help="its name in the show (default: of its file)")
    tables.add_argument(
        "--as",
        choices=("links", "plan", "foreign", "equipment", "areas", "stations"),
        help="FILE is anybody's table of these, read by evidence; what is in doubt is listed",
    )
    tables.add_argument("--preview", action="store_true", help="with --as: how it is understood; changes nothing")
    tables.add_argument(
        "--column", action="append", metavar="NAME=HEADING", help="with --as: which heading is the column NAME of ours"
    )
    tables.add_argument("--fill", action="append", metavar="NAME=VALUE", help="with --as: what all rows have there")
    tables.add_argument(
        "--scenes",
        choices=("lists", "names"),
        help="with --as: signs as in 'act 1, act 2' or '1-3' part scenes, or belong to a name (default: asked)",
    )
    tables.add_argument("--encoding", metavar="NAME", help="with --as: of the file, as cp1250 or mac-roman")
    tables.add_argument("--replace", action="store_true", help="take out what is in the show and not in the table")
    return add


_TABLES = {
    "links": "links",
    "equipment": "equipment",
    "areas": "areas and what they lose between them",
    "groups": "groups of links that keep apart or together",
    "foreign": "carriers that are not ours",
    "stations": "TV channels announced as on the air",
    "chain": "antenna, cable, filter and pad",
}


def _links(verbs: Commands) -> None:
    add_wanted(lambda name, summary: _verb(verbs, name, summary, writes=True))
    survey = _verb(verbs, "survey", "list the surveys, change one, or take some out", writes=True)
    survey.add_argument("name", nargs="?", metavar="NAME", help="the survey to be changed")
    survey.add_argument("--rename", metavar="NEW", help="give it another name")
    survey.add_argument(
        "--area", type=show_cells.stated, metavar="AREA", help="where it was taken; none: it holds for all areas"
    )
    survey.add_argument(
        "--reference",
        type=typed.one_of("yes", "no"),
        metavar="yes/no",
        help="taken with a load in place of the antenna",
    )
    survey.add_argument("--drop", nargs="+", metavar="NAME", help="take these out; undo brings them back")


def _plans(verbs: Commands) -> None:
    plan = _verb(verbs, "plan", "plan all links of the show and store the plan", writes=True)
    plan.add_argument("--name", metavar="NAME", help="its name (default: plan 1, plan 2 ...)")
    plan.add_argument("--spares", type=typed.few, metavar="N", help="spares for each equipment in each area")
    plan.add_argument(
        "--keep",
        nargs="?",
        const="",
        metavar="PLAN",
        help="links without trouble stay where this plan (or the one in force) has them",
    )
    plan.add_argument("--seconds", type=typed.seconds, default=5.0, metavar="S", help="how long to look (default 5)")
    plan.add_argument("--seed", type=typed.whole, default=1, metavar="N", help="another number, another search")
    plan.add_argument("--survey", nargs="+", metavar="NAME", help="only these surveys count (default: all of the air)")
    plan.add_argument("--levels", action="store_true", help="levels set the distances, not the table of equipment")
    plans = _verb(verbs, "plans", "list the plans, show or rename one, or take some out", writes=True)
    plans.add_argument("name", nargs="?", metavar="PLAN", help="show this one")
    plans.add_argument("--rename", metavar="NEW", help="give it another name")
    plans.add_argument("--drop", nargs="+", metavar="PLAN", help="take these out")
    audit = _verb(verbs, "audit", "every conflict of a plan of the show", writes=False)
    audit.add_argument("name", nargs="?", metavar="PLAN", help="the plan (default: the one in force)")
    air = _verb(verbs, "air", "what is on the air, by the surveys of the show", writes=False)
    air.add_argument("--span", type=typed.span_hz, metavar="S", help="only this part, for example 470M..608M")
    air.add_argument("--width", type=typed.positive_hz, metavar="HZ", help="list windows of this width")
    air.add_argument("--picture", metavar="FILE", help="also draw spectrum and verdicts: FILE.png or FILE.svg")
    air.add_argument("--survey", nargs="+", metavar="NAME", help="only these surveys (default: all of the air)")


def _history(verbs: Commands) -> None:
    history = _verb(verbs, "history", "every change: when, who, what and why", writes=False)
    history.add_argument("--last", type=typed.whole, metavar="N", help="only the last N changes")
    for name, summary in (("undo", "take back the last change"), ("redo", "do again what was taken back")):
        parser = _verb(verbs, name, summary, writes=True)
        parser.add_argument("--steps", type=typed.whole, default=1, metavar="N", help="so many changes (default 1)")
    mark = _verb(verbs, "mark", "give this moment a name", writes=True)
    mark.add_argument("name", metavar="NAME", help="as 'as handed out'")
    note = _verb(verbs, "note", "write something down", writes=True)
    note.add_argument("text", metavar="TEXT", help="what")
    note.add_argument("--about", default="", metavar="NAME", help="a link, an area, a plan (default: the show)")
    compare = _verb(verbs, "compare", "two plans, surveys, moments or copies side by side", writes=False)
    compare.add_argument(
        "old", metavar="OLD", help="a plan, a survey, a mark, a change's number, a day, now; or another copy's file"
    )
    compare.add_argument("new", nargs="?", metavar="NEW", help="the same; none where OLD is another copy")
    merge = _verb(verbs, "merge", "bring in what was changed in another copy", writes=True)
    merge.add_argument("other", metavar="OTHER", help="the file of the other copy")
    usual = merge.add_mutually_exclusive_group()
    usual.add_argument("--ours", action="store_true", help="where both were changed differently, it stays as it is")
    usual.add_argument("--theirs", action="store_true", help="where both were changed differently, the other counts")
    merge.add_argument(
        "--take", action="append", metavar="NAME=SIDE", help="for this link (or other thing) ours or theirs counts"
    )
    merge.add_argument("--unrelated", action="store_true", help="although the two have no change in common")


def _exchange(verbs: Commands) -> None:
    check = _verb(verbs, "check", "is the file whole; rescue what can be read", writes=False)
    check.add_argument("--rescue", metavar="OUT", help="write what can be read to this new file")
    check.add_argument("--release", action="store_true", help="free the file of a writer whose computer is gone")
    copy = _verb(verbs, "copy", "a copy for the stick, whole by itself", writes=False)
    copy.add_argument("to", metavar="TO", help="a file, or a folder")
    copy.add_argument("--replace", action="store_true", help="over a file that is there already")
    export = _verb(verbs, "export", "write the show as JSON, CSV and Parquet", writes=False)
    export.add_argument("folder", metavar="FOLDER", help="a new folder")
    bring = _verb(verbs, "import", "a show file from an exported folder", writes=True)
    bring.add_argument("folder", metavar="FOLDER", help="what `fallow show export` made")
    bring.add_argument("name", metavar="NAME", help="the new show file")
    bring.add_argument("--changed", action="store_true", help="although it is not as exported; what is not is told")


def _library(verbs: Commands) -> None:
    site = _verb(verbs, "site", "sites of the library: list them, save the show's, use one", writes=True)
    site.add_argument("what", nargs="?", choices=("list", "save", "use"), default="list", help="default: list")
    site.add_argument("name", nargs="?", metavar="NAME", help="of the site")
    differing = site.add_mutually_exclusive_group()
    differing.add_argument("--replace", action="store_true", help="what is there otherwise is replaced")
    differing.add_argument(
        "--keep", dest="keeps", action="store_true", help="what is there otherwise stays; only what is new comes"
    )
    stock = _verb(verbs, "stock", "a shop's stock: what there is, what is out, what is free", writes=False)
    act = stock.add_mutually_exclusive_group()
    act.add_argument("--book", action="store_true", help="enter the gear of the show's links as out on these days")
    act.add_argument("--return", action="store_true", help="take the show's bookings out; --until: the last day out")
    stock.add_argument(
        "--serials",
        nargs="+",
        metavar="PIECES",
        help="which ones, as A1 A4..A7 or 'TYPE=A1;A2' (default for --book: those named before, else none; for "
        "--return: all)",
    )
    stock.add_argument("--also", action="store_true", help="with --book: what is booked for other days stays booked")
    whose = stock.add_mutually_exclusive_group()
    whose.add_argument("--ours", action="store_true", help="bookings that may be this show's or another's: this one's")
    whose.add_argument("--theirs", action="store_true", help="they are another's and stay")
    fit = _verb(verbs, "fit", "does the booked gear fit at the site, else what to exchange", writes=False)
    fit.add_argument("--site", metavar="NAME", help="a site of the library (default: the show's own surveys and law)")
    fit.add_argument("--seconds", type=typed.seconds, default=3.0, metavar="S", help="for each plan (default 3)")
    fit.add_argument("--patience", type=typed.seconds, default=120.0, metavar="S", help="for all (default 120)")
    fit.add_argument("--seed", type=typed.whole, default=1, metavar="N", help="another number, another search")
    for parser in (site, stock, fit):
        parser.add_argument("--library", metavar="FOLDER", default="library", help="the library (default: library)")
    for parser in (stock, fit):
        parser.add_argument("--from", metavar="DATE", help="the first day (default: that of the show, else today)")
        parser.add_argument("--until", metavar="DATE", help="the last day, included (default: the first)")
