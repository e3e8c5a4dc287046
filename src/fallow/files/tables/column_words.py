"""What others call the columns of their tables and write into cells; the words stand in ``column_words.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from importlib.resources import files

from fallow.files.tables.columns import Column, plain_heading
from fallow.files.tables.grid import NO, YES

__all__ = ["answer", "headings_for", "meant", "with_everybodys_words"]


def with_everybodys_words(columns: Sequence[Column]) -> tuple[Column, ...]:
    """The columns with all the words that anybody may use for them; our own name for each stays the first."""
    return tuple(replace(one, words=tuple(dict.fromkeys((*one.words, *_columns(one.words[0]))))) for one in columns)


def meant(cell: str, column: str) -> str:
    """A cell of a column of few words (``kind``, ``fixed``, ``loss_db``) in our own words; others as they are."""
    return _cells(column).get(plain_heading(cell), cell) if column in _WORDS_OF_CELLS else cell


def answer(cell: str) -> str:
    """``yes``, ``no``, or nothing: what a cell answers in any of the languages."""
    said = _cells("fixed").get(plain_heading(cell), cell.strip().lower())
    return "yes" if said in YES else "no" if said in NO else ""


@cache
def headings_for(table: str, name: str) -> frozenset[str]:
    """The plain headings that mean something of which we have no column: ``opposites`` of ours, ``states`` of links."""
    return frozenset(plain_heading(word) for word in _all()[table].get(name, ()))


_WORDS_OF_CELLS = {
    "kind": "kinds",
    "loss_db": "apart",
    **dict.fromkeys(("fixed", "planned", "products", "protect"), "answers"),
}


def _columns(name: str) -> tuple[str, ...]:
    """The words for a column by its name without the unit."""
    return tuple(_all()["columns"].get(name, ()))


@cache
def _cells(column: str) -> Mapping[str, str]:
    """What the words in a column mean, by their plain spelling."""
    if _WORDS_OF_CELLS[column] == "kinds":
        table = _all()["kinds"]
    elif _WORDS_OF_CELLS[column] == "apart":
        table = {"apart": _all()["answers"]["apart"]}
    else:
        table = {name: _all()["answers"][name] for name in ("yes", "no")}
    return {plain_heading(word): name for name, words in table.items() for word in words}


@cache
def _all() -> Mapping[str, Mapping[str, Sequence[str]]]:
    text = files("fallow.files.tables").joinpath("column_words.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
