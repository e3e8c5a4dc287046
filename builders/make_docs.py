"""Write the generated documents anew: docs/commands.md from the command line itself, docs/demo.png from the demo.

``--print commands`` shows the page instead of writing it; the tests compare it with the file.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from fallow import __version__
from fallow.cli.arguments import build_parser

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs" / "commands.md"
PICTURE = ROOT / "docs" / "demo.png"
HEAD = """\
# Commands

Written by `python tasks.py docs` from the command line itself; `fallow COMMAND --help` says the same.
"""


def main() -> int:
    """Write both, or print one."""
    parser = argparse.ArgumentParser(description="Write the generated documents anew.")
    parser.add_argument("--print", choices=["commands"], help="show the page instead")
    if parser.parse_args().print:
        sys.stdout.reconfigure(encoding="utf-8")  # type: ignore[union-attr] # a text stream when run as a program
        sys.stdout.write(commands_page())
        return 0
    PAGE.write_text(commands_page(), encoding="utf-8")
    draw_demo()
    return 0


def commands_page() -> str:
    """Every command with its arguments and options, as a document."""
    main_parser = build_parser(__version__)
    parts = [HEAD, text_of(main_parser.epilog), *tables(main_parser), *chapters(main_parser, "## fallow")]
    return "\n\n".join(part.strip("\n") for part in parts if part) + "\n"


def chapters(parser: argparse.ArgumentParser, heading: str) -> Iterator[str]:
    """A chapter for each command of a parser, and below it those of its own commands."""
    for commands in (action for action in parser._actions if isinstance(action, argparse._SubParsersAction)):
        summaries = {action.dest: action.help or "" for action in commands._choices_actions}
        for name, inner in commands.choices.items():
            yield f"{heading} {name}"
            yield text_of(inner.description) or summaries[name]
            yield from tables(inner)
            yield from chapters(inner, f"#{heading} {name}")


def text_of(text: str | None) -> str:
    """A help text as paragraphs."""
    return (text or "").strip()


def tables(parser: argparse.ArgumentParser) -> Iterator[str]:
    """One table for each group of arguments that has any."""
    for group in parser._action_groups:
        rows = [row(action) for action in group._group_actions if not isinstance(action, argparse._SubParsersAction)]
        if rows:
            title = {"positional arguments": "what it needs"}.get(group.title or "", group.title or "")
            yield "\n".join([f"| {title} | |", "|---|---|", *rows])


def row(action: argparse.Action) -> str:
    """A line of the table: how it is typed, and what it does."""
    value = action.metavar if isinstance(action.metavar, str) else action.dest.upper()
    value = {"+": f"{value} ...", "?": f"[{value}]"}.get(str(action.nargs), value)
    words = [*action.option_strings[-1:], *([] if action.option_strings and action.nargs == 0 else [value])]
    return f"| `{' '.join(words)}` | {(action.help or '').replace('|', chr(92) + '|')} |"


def draw_demo() -> None:
    """Run the demo and keep its picture."""
    from fallow.demo.story import tell_story  # heavy: not for the page of commands

    with tempfile.TemporaryDirectory() as folder:
        told = tell_story(Path(folder) / "demo", lambda line: print(line, file=sys.stderr))
        picture = next(path for path in told.files if Path(path).suffix == ".png")
        PICTURE.write_bytes(Path(picture).read_bytes())


if __name__ == "__main__":
    sys.exit(main())
