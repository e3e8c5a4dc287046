"""The typed face: reads the command line, calls the workflow, prints the answer."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Sequence

from fallow.cli.lettering import PLAIN_LETTERS, say
from fallow.errors import FallowError, QuestionError

__all__ = ["main", "run"]

STOPPED = 130
COULD_NOT = 2


def run() -> None:
    """Entry point of the console script."""
    sys.exit(main())


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code (0 done, 1 bad news, 2 could not be done, 130 stopped)."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=PLAIN_LETTERS)  # a console that lacks a letter shows a plain one
    try:
        from fallow import __version__
        from fallow.cli.arguments import attach_signed, build_parser, of_the_show

        words = of_the_show(attach_signed(sys.argv[1:] if arguments is None else arguments))
        parsed = build_parser(__version__).parse_args(words)
        from fallow.cli.commands import COMMANDS  # heavy: NumPy and more, not wanted for --help

        code = COMMANDS[parsed.command](parsed)
        sys.stdout.flush()
        return code
    except FallowError as error:
        _complain(error)
        return COULD_NOT
    except KeyboardInterrupt:
        sys.stderr.write("fallow: stopped; nothing was lost\n")
        return STOPPED
    except BrokenPipeError:  # the reader of our output left, as `head` does
        _mute()
        return 0
    except OSError as error:
        if error.errno != errno.ENOSPC:
            raise
        _mute()
        sys.stderr.write("fallow: the answer could not be written: the disk is full\n")
        return COULD_NOT


def _mute() -> None:
    """Nobody reads our output any more; what is left in its buffer goes nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _complain(error: FallowError) -> None:
    lines = [f"fallow: {error}"]
    if isinstance(error, QuestionError):
        lines += [f"  {reading}" for reading in error.readings]
    if error.hint:
        lines.append(f"hint: {error.hint}")
    say("\n".join(lines))
