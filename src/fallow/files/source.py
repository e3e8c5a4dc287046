"""A text file as bytes in some encoding: found out once, then handed on in blocks of whole lines with plain digits
and signs.

Everything after this file sees ``\\n`` line ends, ASCII digits, ``-`` for every minus sign, ``E`` for every exponent,
and one character for each family of look-alikes (apostrophes, blanks that don't break).
"""

from __future__ import annotations

import codecs
import re
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from fallow.errors import InputError
from fallow.files.readings import NotASweepError

__all__ = ["Block", "Line", "TextFile", "normalise"]

BLOCK_BYTES = 4 * 2**20
_HEAD_BYTES = 2**20
_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_MINUS_SIGNS = "−–‒‐‑﹣－➖˗"  # U+2212 and the look-alikes that number formats and word processors write for it
_BLANKS = "\u00a0\u202f\u2009\u2007\u2008\u2002\u2003\u2005\u2006\u3000"
_APOSTROPHES = "’‘ʼ`´˙＇"
_MARKS = "\u200e\u200f\u061c\ufeff\u200b\u2066\u2067\u2068\u2069"
_EXPONENTS = re.compile(
    r"\s?[×·]\s?10\s?\^?\s?(?=[-+]?\d)|(?<=\d)(?:أس|اس|𞤉|Е|е)(?=[-+]?\d)"
)  # Unicode CLDR, "exponential"
_UNKNOWN_BYTES = "replace"  # they become U+FFFD, which can't pass for a digit and never stops the reading
_MOST_HIGH_BYTES = 10  # scripts, punctuation, minus signs; random bytes have far more
_CONTROL = re.compile(rb"[\x00-\x08\x0e-\x1a\x1c-\x1f\x7f]")


@dataclass(frozen=True)
class Line:
    """One line of a file: its number from 1, and its text without the line end."""

    number: int
    text: str


@dataclass(frozen=True)
class Block:
    """Whole lines of a file: the number of the first one, and the text, each line ended by a newline.

    ``share``: how much of the file has been read, 0 to 1. ``cut``: the last line had no line end in the file.
    """

    first_line: int
    text: str
    share: float
    cut: bool


@dataclass(frozen=True)
class TextFile:
    """A text file whose encoding is known. ``newline`` is the line end that is used in it; ``note`` says what was
    odd."""

    path: Path
    size: int
    encoding: str
    newline: str
    note: str | None

    @classmethod
    def open(cls, path: Path) -> TextFile:
        """Find out encoding and line ends. Raises InputError: empty, not readable, no text."""
        try:
            size = path.stat().st_size
            with path.open("rb") as stream:
                head = stream.read(_HEAD_BYTES)
        except OSError as error:
            raise InputError(f"the file can't be opened ({_system_reason(error)})", path=path) from error
        if not head.strip(b"\x00 \t\r\n\xef\xbb\xbf\xff\xfe"):
            raise InputError("the file is empty", path=path)
        encoding, note = _encoding_of(head, whole=len(head) == size, path=path)
        text = _decoded(head[: len(head) // 4 * 4] if "32" in encoding else head, encoding, final=False)
        return cls(path, size, encoding, "\r" if "\n" not in text and "\r" in text else "\n", note)

    def blocks(
        self, block_bytes: int | None = None, progress: Callable[[float], None] | None = None
    ) -> Iterator[Block]:
        """The whole file in blocks of about ``block_bytes`` that end at line ends. Raises InputError when reading
        fails."""
        block_bytes = block_bytes or BLOCK_BYTES
        rest, line, done = "", 1, 0
        decoder = codecs.getincrementaldecoder(self.encoding)(errors=_UNKNOWN_BYTES)
        with self.path.open("rb") as stream:
            while True:
                raw = stream.read(block_bytes)
                done += len(raw)
                text = rest + self._text(decoder.decode(raw, final=not raw))
                cut_at = text.rfind("\n") + 1 if raw else len(text)
                whole, rest = text[:cut_at], text[cut_at:]
                if len(rest) > 8 * block_bytes:
                    raise NotASweepError("a line is longer than any sweep", path=self.path, line=line)
                if whole:
                    cut = not whole.endswith("\n")
                    yield Block(
                        line, normalise(whole if not cut else whole + "\n"), min(done / max(self.size, 1), 1.0), cut
                    )
                    line += whole.count("\n")
                if progress is not None:
                    progress(min(done / max(self.size, 1), 1.0))
                if not raw:
                    return

    def _text(self, decoded: str) -> str:
        """Line ends as newlines; a carriage return alone counts only in files that know nothing else."""
        if self.newline == "\r":
            return decoded.replace("\r", "\n")
        return decoded.replace("\r", "") if "\r" in decoded else decoded

    def head(self, most_characters: int) -> str:
        """The first lines, up to about so many characters; at least one line, and an unended last line too."""
        text = ""
        for block in self.blocks(max(most_characters, 64)):
            text += block.text
            if block.share < 1.0:
                break
        return text


def normalise(text: str) -> str:
    """Plain digits, minus signs, exponents and one character per family of look-alikes; see the head of this file."""
    if text.isascii():
        return text
    for char in set(text):
        if char > "\x7f" and (plain := _plain(char)) != char:
            text = text.replace(char, plain)
    return text if text.isascii() else _EXPONENTS.sub("E", text)


def _plain(char: str) -> str:
    if char in _MINUS_SIGNS:
        return "-"
    if char in _BLANKS:
        return "\u00a0"
    if char in _APOSTROPHES:
        return "'"
    if char in _MARKS:
        return ""
    if unicodedata.category(char) == "Nd":
        return str(unicodedata.digit(char))
    return {"．": ".", "，": ",", "；": ";", "＋": "+", "\u2028": " ", "\u2029": " ", "\x85": " "}.get(char, char)


def _encoding_of(head: bytes, *, whole: bool, path: Path) -> tuple[str, str | None]:
    for mark, name in _BOMS:
        if head.startswith(mark):
            return name, None
    wide = _wide_encoding(head)
    if wide is not None:
        return wide, f"no byte order mark: read as {wide.upper()} by where its zero bytes stand"
    if len(_CONTROL.findall(head[:65536])) > len(head[:65536]) // 500:
        raise NotASweepError(
            "the file is no text: its bytes are binary data of a kind that fallow can't read", path=path
        )
    try:
        _decoded(head, "utf-8", final=whole)
    except UnicodeDecodeError:
        return "cp1252", "not UTF-8: read as Windows-1252"
    return "utf-8", None


def _wide_encoding(head: bytes) -> str | None:
    """UTF-16 or UTF-32 without a mark: mostly ASCII text has its zero bytes at fixed places."""
    sample = head[:4096]
    zeros = [sum(1 for byte in sample[place::4] if byte == 0) / max(len(sample) / 4, 1) for place in range(4)]
    patterns = {
        "utf-32-le": (0, 1, 1, 1),
        "utf-32-be": (1, 1, 1, 0),
        "utf-16-le": (0, 1, 0, 1),
        "utf-16-be": (1, 0, 1, 0),
    }
    for name, pattern in patterns.items():
        if all(share > 0.7 if zero else share < 0.3 for share, zero in zip(zeros, pattern, strict=True)):
            return name
    return _foreign_utf16(sample)


def _foreign_utf16(sample: bytes) -> str | None:
    """UTF-16 whose letters and digits are not ASCII: few different high bytes, blanks and line ends among them, no
    controls."""
    for name, high in (("utf-16-le", sample[1::2]), ("utf-16-be", sample[::2])):
        if len(sample) < 64 or len(set(high)) > _MOST_HIGH_BYTES or high.count(0) < len(high) // 10:
            continue
        text = _decoded(sample, name, final=False)
        if "\ufffd" not in text and all(_is_writing(char) for char in text):
            return name
    return None


def _is_writing(char: str) -> bool:
    """Whether a character stands in texts: no control, no surrogate, nothing private or unassigned."""
    return char in "\r\n\t" or unicodedata.category(char) not in ("Cc", "Cs", "Co", "Cn")


def _decoded(raw: bytes, encoding: str, *, final: bool) -> str:
    """Strict for UTF-8, which is how it is told from the rest."""
    errors = "strict" if encoding == "utf-8" else _UNKNOWN_BYTES
    return codecs.getincrementaldecoder(encoding)(errors=errors).decode(raw, final=final)


def _system_reason(error: OSError) -> str:
    return (error.strerror or "unknown reason").lower()
