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


def _spell(error: UnicodeError) -> tuple[str, int]:
    """The handler: what can't be encoded as plain letters, an accent dropped, ``?`` where nothing resembles it."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(map(_spelled, error.object[error.start : error.end])), error.end


def _spelled(letter: str) -> str:
    if letter in _SPELLED:
        return _SPELLED[letter]
    return unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode("ascii") or "?"


codecs.register_error(PLAIN_LETTERS, _spell)
