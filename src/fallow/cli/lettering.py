"""Letters for consoles that lack ours: a plain spelling instead of a question mark, on that stream alone.

Names and notes come from anywhere: what would steer a terminal is shown as a sign (``visible``) and never does.
"""

from __future__ import annotations

import codecs
import sys
import unicodedata

__all__ = ["PLAIN_LETTERS", "plain", "say", "visible"]

PLAIN_LETTERS = "fallow.plain"  # the name of the error handler, for ``stream.reconfigure(errors=...)``
_SPELLED = {
    **dict.fromkeys("−–—‐‑─━", "-"), **dict.fromkeys("│┃├└", "|"), **dict.fromkeys("‘’‚′", "'"),
    **dict.fromkeys("“”„″", '"'),
    "×": "x", "±": "+-", "·": "*", "÷": "/", "≤": "<=", "≥": ">=", "≈": "~", "≠": "!=", "→": "->", "←": "<-",
    "…": "...", "√": "sqrt ", "∞": "inf", "°": " deg", "Σ": "sum ", "σ": "sigma", "Γ": "gamma", "π": "pi",
    "µ": "u", "μ": "u", "Ω": "ohm", "ß": "ss", "æ": "ae", "Æ": "AE", "ø": "o", "Ø": "O", "œ": "oe", "ł": "l",
}  # fmt: skip


_STEERING = {
    **{code: 0x2400 + code for code in range(32) if chr(code) not in "\n\t"},  # Unicode: control pictures
    0x7F: 0x2421,
    **dict.fromkeys((*range(0x80, 0xA0), 0x061C, *range(0x200E, 0x2010), *range(0x202A, 0x202F)), 0xFFFD),
    **dict.fromkeys(range(0x2066, 0x206A), 0xFFFD),  # with the ones before: what turns the direction of writing
}


def visible(text: str) -> str:
    """The text with a sign for each character that would steer a terminal, or turn the direction of writing."""
    return text if text.isascii() and text.isprintable() else text.translate(_STEERING)


def say(text: str) -> None:
    """A line on stderr, with nothing in it that steers a terminal."""
    sys.stderr.write(f"{visible(text)}\n")


def plain(text: str, encoding: str) -> str:
    """The text as a console of that encoding can show it. Raises LookupError for an encoding that nobody knows."""
    return text.encode(encoding, PLAIN_LETTERS).decode(encoding)


def _spell(error: UnicodeError) -> tuple[str | bytes, int]:
    """The handler: what can't be encoded as plain letters, an accent dropped, ``?`` where nothing resembles it."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    letters = _rejoined(error.object[error.start : error.end])
    return letters.encode() if error.encoding == "utf-8" else "".join(map(_spelled, letters)), error.end


def _rejoined(letters: str) -> str:
    """Bytes of a file's name that Python could not read, and holds as halves of letters (PEP 383), read as UTF-8."""
    try:
        return letters.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    except UnicodeEncodeError:  # halves of letters that come from elsewhere
        return "?" * len(letters)


def _spelled(letter: str) -> str:
    if letter in _SPELLED:
        return _SPELLED[letter]
    return unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode("ascii") or "?"


codecs.register_error(PLAIN_LETTERS, _spell)
