"""The one family of errors that fallow raises on purpose: what is wrong, where, and what to do.

    FallowError
    ├── UsageError      a value or option that can't be used
    ├── InputError      a file that can't be read as what it should be
    ├── QuestionError   something that only the user can answer
    └── OutputError     a file that can't be written

Faces print them; nothing else does. ``str(error)`` is one sentence that names file, line and column where they are
known; ``error.hint`` is the advice, or ``None``.
"""

from __future__ import annotations

from os import PathLike, fspath

__all__ = ["FallowError", "InputError", "OutputError", "QuestionError", "UsageError"]


class FallowError(Exception):
    """Something that the user can mend. ``what`` is a sentence without the place; ``hint`` says what to do."""

    def __init__(
        self,
        what: str,
        *,
        path: str | PathLike[str] | None = None,
        line: int | None = None,
        column: int | str | None = None,
        hint: str | None = None,
    ) -> None:
        super().__init__(what)
        self.what = what
        self.path = None if path is None else fspath(path)
        self.line = line
        self.column = column
        self.hint = hint

    @property
    def where(self) -> str:
        """File, line and column as far as they are known, for example ``links.csv, line 4, column area``."""
        parts = [] if self.path is None else [self.path]
        if self.line is not None:
            parts.append(f"line {self.line}")
        if self.column is not None:
            parts.append(f"column {self.column}")
        return ", ".join(parts)

    def __str__(self) -> str:
        return f"{self.where}: {self.what}" if self.where else self.what


class UsageError(FallowError):
    """A value, option or combination of them that can't be used."""


class InputError(FallowError):
    """A file or folder that can't be read as what it should be."""


class QuestionError(FallowError):
    """Something is left open that only the user can answer; ``readings`` shows the possible answers."""

    def __init__(
        self,
        what: str,
        *,
        readings: tuple[str, ...] = (),
        path: str | PathLike[str] | None = None,
        line: int | None = None,
        column: int | str | None = None,
        hint: str | None = None,
    ) -> None:
        super().__init__(what, path=path, line=line, column=column, hint=hint)
        self.readings = readings


class OutputError(FallowError):
    """A file that can't be written; nothing half-written is left behind."""
