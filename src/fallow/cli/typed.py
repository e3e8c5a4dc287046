"""How words that are typed become values: each reader gives a value, or a sentence that says why not."""

from __future__ import annotations

import argparse
import math
import re
from collections.abc import Callable, Sequence
from typing import Any, NoReturn, TypeVar

from fallow.errors import FallowError, UsageError
from fallow.units import Span, parse_frequency_hz, parse_span_hz

__all__ = [
    "Parser",
    "few",
    "frequency_hz",
    "number",
    "one_of",
    "place_hz",
    "plain_minus",
    "positive_hz",
    "seconds",
    "span_hz",
    "whole",
]

T = TypeVar("T")
LOWEST_RADIO_HZ = 8_300  # the lowest allocation (ITU Radio Regulations, Article 5)
LONGEST_MESSAGE = 300  # it may quote what was typed
LONGEST_S = 86_400.0  # a day
WIDEST_HZ = 10 * 10**9  # common practice: no width, bandwidth or rate is above 10 GHz
MOST = 10**18
MOST_SPARES = 1000
_OPTION = re.compile(r"-[^\s\d.]\S*")  # what argparse takes for an option: no number, no sentence


class Parser(argparse.ArgumentParser):
    """A parser whose complaints are ours, so that every face of fallow words them alike.

    Options may stand between the words of a command, as in ``site save --show a.fallow Hall``: argparse by itself has
    done with optional words at the first option.
    """

    def parse_known_args(self, args: Sequence[str] | None = None, namespace: Any = None) -> tuple[Any, list[str]]:  # type: ignore[override] # the stubs have one overload for each kind of namespace
        is_last = args is not None and self._subparsers is None
        return super().parse_known_args(_words_first(self, args or ()) if is_last else args, namespace)

    def error(self, message: str) -> NoReturn:
        option, _, said = message.removeprefix("argument ").partition(": ")
        if said in ("expected one argument", "expected at least one argument"):
            hint = f"a value that begins with a minus sign is written behind an equals sign: {option}=-1"
            raise UsageError(f"no value follows {option}", hint=hint)
        told = message if len(message) <= LONGEST_MESSAGE else f"{message[:LONGEST_MESSAGE]} ..."
        raise UsageError(told, hint=f"see {self.prog} --help")


def _words_first(parser: argparse.ArgumentParser, typed: Sequence[str]) -> list[str]:
    """What was typed, the words of the command before its options. Where ``--`` stands the order is left alone."""
    if "--" in typed:
        return list(typed)
    options = {name: action for action in parser._actions for name in action.option_strings}
    words: list[str] = []
    rest: list[str] = []
    values: float = 0  # so many of the next ones belong to the option before them
    for word in typed:
        if word.partition("=")[0] in options or _OPTION.fullmatch(word):
            rest.append(word)
            values = _most_values(options[word]) if word in options else 0
        elif values:
            rest.append(word)
            values -= 1
        else:
            words.append(word)
    return words + rest


def _most_values(option: argparse.Action) -> float:
    """How many of the words behind an option are its own, at most."""
    if isinstance(option.nargs, int):
        return option.nargs
    return 1 if option.nargs in (None, "?") else math.inf


def _reader(parse: Callable[[str], T]) -> Callable[[str], T]:
    """A reader of ours as argparse wants it: the same sentence, our hint kept."""

    def read(text: str) -> T:
        try:
            return parse(text)
        except FallowError as error:
            raise argparse.ArgumentTypeError(f"{error}; {error.hint}" if error.hint else str(error)) from error

    return read


def one_of(*words: str) -> Callable[[str], str]:
    """A reader of one of some words, in whatever case."""
    known = {word.lower(): word for word in words}

    def read(text: str) -> str:
        if text.lower() not in known:
            raise argparse.ArgumentTypeError(f"{text!r} is none of {', '.join(words)}")
        return known[text.lower()]

    return read


def place_hz(text: str) -> int:
    """A frequency somewhere in the radio spectrum; a bare ``503`` is no hertz but forgotten megahertz."""
    value_hz = frequency_hz(text)
    _check_place(text, value_hz, f"{text.strip()}M")
    return value_hz


def span_hz(text: str) -> Span:
    """A span somewhere in the radio spectrum."""
    span = _any_span_hz(text)
    _check_place(text, span.high_hz, "M..".join(text.split("..")) + "M")
    return span


def _check_place(text: str, value_hz: int, meant: str) -> None:
    if value_hz < LOWEST_RADIO_HZ:
        raise argparse.ArgumentTypeError(
            f"{text!r} is below the radio spectrum: a number without a unit is in hertz; if megahertz are meant, "
            f"write {meant}"
        )


def positive_hz(text: str) -> int:
    """A width or a rate in hertz: more than nothing, less than any band."""
    value = frequency_hz(text)
    if value <= 0:
        raise argparse.ArgumentTypeError(f"{text!r} must be more than nothing")
    if value > WIDEST_HZ:
        raise argparse.ArgumentTypeError(f"{text!r} is wider than any band; a number without a unit is in hertz")
    return value


def plain_minus(text: str) -> str:
    """The words with a minus sign that every reader knows."""
    return text.replace("\N{MINUS SIGN}", "-")


def number(text: str) -> float:
    """A finite number."""
    try:
        value = float(plain_minus(text))
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number") from error
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text!r} is not a finite number")
    return value


def seconds(text: str) -> float:
    """A time in seconds, up to a day."""
    value = number(text)
    if value < 0:
        raise argparse.ArgumentTypeError(f"{text!r} seconds is less than nothing")
    if value > LONGEST_S:
        raise argparse.ArgumentTypeError(f"{text!r} seconds is more than a day")
    return value


def whole(text: str, most: int = MOST) -> int:
    """A whole number from 0 up."""
    if not text.isdecimal() or not text.isascii():
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 0 up")
    if len(text) > len(str(MOST)) or int(text) > most:
        raise argparse.ArgumentTypeError(f"{text!r} is more than {most}")
    return int(text)


def few(text: str) -> int:
    """A whole number from 0 up to a thousand."""
    return whole(text, MOST_SPARES)


frequency_hz = _reader(parse_frequency_hz)
_any_span_hz = _reader(parse_span_hz)
