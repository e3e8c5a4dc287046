"""Which code page of eight bits a table was written in: by the letters of the languages whose headings we know.

Bytes say nothing of it themselves. Under the right code page all letters beyond ASCII belong to one alphabet, and signs
stand beside words, not within them; under another one they seldom do. Where two readings remain, known headings decide,
and the doubt is told.
"""

from __future__ import annotations

import codecs
import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from fallow.errors import UsageError
from fallow.files.source import TextFile, normalise

__all__ = ["CodePage", "are_garbled", "check_encoding", "code_page_of"]

# Letters beyond ASCII by language. Source: Unicode CLDR, exemplar characters (from memory), small ones.
_ALPHABETS = (
    "äöüß",  # German
    "àâæçéèêëîïôœùûü",  # French
    "áéíñóúü",  # Spanish
    "àèéìíîòóùú",  # Italian
    "áâäéèëêïíóôöúûü",  # Dutch
    "ąćęłńóśźż",  # Polish
    "àáâãçéêíòóôõúü",  # Portuguese
    "åäöéæø",  # Swedish, Danish, Norwegian
)
_ALL = {letter for alphabet in _ALPHABETS for letter in alphabet}
_CANDIDATES = ("cp1252", "cp1250", "mac-roman", "iso8859-2", "cp850")  # where nothing decides, the first
_SIGNS = "«»„“”‚‘’–—…•·°ºªµμ²³½¼¾§€£¥±×¡¿©®™ \u00a0\u202f"
_MOST_BYTES = 2**20
_RARE = "cp850"  # counts where it alone fits
_MOST_ACCENTS = 0.8  # common practice: of the letters of words that have accents
_HIGH = re.compile(r"[^\x00-\x7f]")


@dataclass(frozen=True)
class CodePage:
    """The name of an encoding. ``doubt``: what else the letters may be; ``None``: nothing we know of."""

    name: str
    doubt: str | None = None


def check_encoding(name: str) -> str:
    """The name of a text encoding as Python spells it. Raises UsageError for what is none."""
    try:
        found = codecs.lookup(name.strip())
        "".encode(found.name)
        found.decode(b"a")
    except (LookupError, ValueError, TypeError) as error:
        hint = "for example utf-8, cp1252, cp1250, iso8859-2, mac-roman, cp850"
        raise UsageError(f"{name!r} is no encoding of text", hint=hint) from error
    return found.name


def code_page_of(path: Path, known: Callable[[str], int]) -> CodePage:
    """The encoding of a table. ``known``: how many headings of a text are known, which decides between readings.

    Raises InputError where the file is no text.
    """
    stated = TextFile.open(path).encoding
    if stated != "cp1252":
        return CodePage(stated)
    raw = path.read_bytes()[:_MOST_BYTES]
    readings = {name: raw.decode(name, "replace") for name in _CANDIDATES}
    wrong = {name: _misfits(text) for name, text in readings.items()}
    best = [name for name in _CANDIDATES if wrong[name] == min(wrong.values())]
    counts = {name: known(readings[name]) for name in best}
    best.sort(key=lambda name: -counts[name])
    first = best[0]
    if wrong[first][0] or _is_of_another_script(readings[first]):
        return CodePage(first, "some letters can't be read: the file is in no encoding that fallow can tell")
    rivals = [
        name for name in best if counts[name] == counts[first] and readings[name] != readings[first] and name != _RARE
    ]
    return CodePage(first, _told(readings[first], readings[rivals[0]], rivals[0]) if rivals else None)


def are_garbled(rows: Iterable[Sequence[str]]) -> bool:
    """Whether the cells hold signs that are none."""
    text = normalise("\n".join(cell for cells in rows for cell in cells))
    return any(not (sign.isprintable() or sign.isspace()) or sign == "\N{REPLACEMENT CHARACTER}" for sign in text)


def _misfits(text: str) -> tuple[int, int]:
    """How many signs beyond ASCII are letters of none of the languages, or stand where signs or capitals don't; and how
    many of the letters are none of the language that fits best.
    """
    high = [match.start() for match in _HIGH.finditer(text)]
    letters = Counter(text[at].lower() for at in high if text[at].isalpha() and text[at] not in _SIGNS)
    strange = sum(not text[at].isalpha() and not _may_stand(text, at) for at in high)
    strange += sum(text[at].isupper() and at > 0 and text[at - 1].islower() for at in high)
    nobodys = sum(count for letter, count in letters.items() if letter not in _ALL)
    unlike = min(sum(count for letter, count in letters.items() if letter not in one) for one in _ALPHABETS)
    return strange + nobodys, unlike


def _is_of_another_script(text: str) -> bool:
    """Whether words that have letters beyond ASCII have hardly any others: accents stand among plain letters."""
    words = [word for word in re.findall(r"[^\W\d_]+", text) if not word.isascii()]
    letters = "".join(words)
    return len(_HIGH.findall(letters)) > _MOST_ACCENTS * len(letters)


def _may_stand(text: str, at: int) -> bool:
    """Whether a sign that is no letter is one of writing, and beside a word; an apostrophe may stand within."""
    inside = 0 < at < len(text) - 1 and text[at - 1].isalpha() and text[at + 1].isalpha()
    return text[at] in _SIGNS and (not inside or text[at] in "’‘·–")


def _told(text: str, other: str, name: str) -> str:
    """Where the two readings differ: the first word of it in both."""
    words = zip(*(re.findall(r"[^\s,;|]+", one) for one in (text, other)), strict=False)
    one, two = next(((one, two) for one, two in words if one != two), ("", ""))
    return f"{one!r} may be {two!r}: then say --encoding {name}"
