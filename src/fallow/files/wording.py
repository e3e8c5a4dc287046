"""The words around the numbers: what a header, a preamble or a cell says, in the languages that ``words.toml``
knows."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib.resources import files

from fallow.spectrum.sweep import Detector

__all__ = [
    "detector_named",
    "frequency_unit_named",
    "level_unit_named",
    "quoted",
    "says",
    "says_not_measured",
    "says_nothing",
    "words_of",
]

_UNKNOWN_SIGN = "\N{REPLACEMENT CHARACTER}"
FREQUENCY_FACTORS_HZ = {"Hz": 1, "kHz": 10**3, "MHz": 10**6, "GHz": 10**9}  # SI prefixes
_FREQUENCY_UNIT = re.compile(
    r"(?:(?<![a-z])|(?-i:(?<=[a-z])(?=[MG]?Hz|kHz)))"  # frequencyMHz too
    r"(hz|khz|mhz|ghz|hertz|kilohertz|megahertz|gigahertz|ггц|мгц|кгц|гц)(?![a-z])",
    re.I,
)
_FREQUENCY_UNITS = {
    **{name.lower(): name for name in FREQUENCY_FACTORS_HZ},
    "hertz": "Hz", "kilohertz": "kHz", "megahertz": "MHz", "gigahertz": "GHz",
    "гц": "Hz", "кгц": "kHz", "мгц": "MHz", "ггц": "GHz",
}  # fmt: skip
_LEVEL_UNIT = re.compile(
    r"(?:(?<![a-z0-9µμ])|(?-i:(?<=[a-z])(?=[dD]B[muµμ]|Dbm)))"  # powerDbm too
    r"(dbm\s*/\s*hz|dbm|db\s*\(?\s*[uµμ]v\s*\)?\s*/\s*m\b\s*\)?|db\s*\(?\s*[uµμ]v\s*\)?|dbmv|dbv|dbw|dbfs|dbc|dbr|db|mw|w|[uµμ]v|mv|v\^?2\s*/\s*hz|v²/hz|linear|lin)(?![a-z0-9µμ])",
    re.I,
)
_NO_NAMES = {
    *("none", "nothing", "n/a", "nil", "null", "keine", "keiner", "keins", "aucun", "aucune", "ninguno", "ninguna"),
    *("nessuno", "nessuna", "geen", "brak", "żaden", "żadna", "nenhum", "nenhuma", "ingen", "inga"),
}
_KINDS = (
    (Detector.MAX_HOLD, "max-hold"),
    (Detector.MIN_HOLD, "min-hold"),
    (Detector.AVERAGE, "average"),
    (Detector.PEAK, "peak"),
    (Detector.SAMPLE, "sample"),
)


@cache
def words_of(meaning: str) -> tuple[str, ...]:
    """The words for a meaning, longest first; KeyError where the meaning is none of ours."""
    return tuple(sorted(_all_words()[meaning], key=len, reverse=True))


def says(text: str, meaning: str) -> bool:
    """Whether the text holds a word of that meaning."""
    return _pattern(meaning).search(text.casefold()) is not None


def quoted(text: str) -> str:
    """A piece of a file in quotation marks, for a sentence: blanks as plain ones, ``�`` for what can't be printed."""
    return f"'{''.join(sign if sign.isprintable() else _UNKNOWN_SIGN for sign in ' '.join(text.split()))}'"


def says_not_measured(cell: str) -> bool:
    """Whether a cell stands for *not measured*: empty, dashes, or a word such as ``NaN`` in one of many languages."""
    bare = cell.strip().casefold().replace("\u00a0", " ")
    return not bare.strip("-*._") or bare in _not_measured_words()


def says_nothing(cell: str) -> bool:
    """Whether a cell of names names none: empty, dashes, or a word such as ``none``.

    Source of the words: from memory (en, de, fr, es, it, nl, pl, pt, sv).
    """
    bare = cell.strip().casefold()
    return not bare.strip("-\N{EN DASH}\N{EM DASH}") or bare in _NO_NAMES


def detector_named(text: str) -> Detector | None:
    """The detector or trace kind that a text names, ``None`` when it names none."""
    return next((detector for detector, meaning in _KINDS if says(text, meaning)), None)


def frequency_unit_named(text: str) -> str | None:
    """The only frequency unit in a text as Hz, kHz, MHz or GHz; ``None`` for none or for several."""
    found = {_FREQUENCY_UNITS[match[1].lower()] for match in _FREQUENCY_UNIT.finditer(text)}
    return found.pop() if len(found) == 1 else None


def level_unit_named(text: str) -> str | None:
    """The first level unit in a text, in lower case without blanks, micro as ``u``: dbm, dbuv, db, mw, linear ...; or
    ``None``."""
    match = _LEVEL_UNIT.search(text)
    if match is None:
        return None
    return (
        re.sub(r"[\s()]", "", match[1].lower()).replace("µ", "u").replace("μ", "u").replace("²", "2").replace("^", "")
    )


@cache
def _all_words() -> dict[str, list[str]]:
    return tomllib.loads(files("fallow.files").joinpath("words.toml").read_text(encoding="utf-8"))


@cache
def _not_measured_words() -> frozenset[str]:
    return frozenset(word.casefold() for word in _all_words()["not-measured"])


@cache
def _pattern(meaning: str) -> re.Pattern[str]:
    return re.compile("|".join(_one_word(word.casefold()) for word in words_of(meaning)))


def _one_word(word: str) -> str:
    """Whole words where the script has them, anywhere in scripts without spaces."""
    if any(char >= "\u3040" for char in word):
        return re.escape(word)
    return rf"(?<![^\W_\d]){re.escape(word)}(?![^\W_\d])" if word[0].isalpha() else re.escape(word)
