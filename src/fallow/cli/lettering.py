"""Letters for consoles that lack ours: a plain spelling instead of a question mark, on that stream alone."""

from __future__ import annotations

import codecs
import unicodedata

__all__ = ["PLAIN_LETTERS", "plain"]

PLAIN_LETTERS = "fallow.plain"  # the name of the error handler, for ``stream.reconfigure(errors=...)``
_SPELLED = {
    **dict.fromkeys("−–—‐‑─━", "-"), **dict.fromkeys("│┃├└", "|"), **dict.fromkeys("‘’‚′", "'"),
    **dict.fromkeys("“”„″", '"'),
    "×": "x", "±": "+-", "·": "*", "÷": "/", "≤": "<=", "≥": ">=", "≈": "~", "≠": "!=", "→": "->", "←": "<-",
    "…": "...", "√": "sqrt ", "∞": "inf", "°": " deg", "Σ": "sum ", "σ": "sigma", "Γ": "gamma", "π": "pi",
    "µ": "u", "μ": "u", "Ω": "ohm", "ß": "ss", "æ": "ae", "Æ": "AE", "ø": "o", "Ø": "O", "œ": "oe", "ł": "l",
}  # fmt: skip


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
