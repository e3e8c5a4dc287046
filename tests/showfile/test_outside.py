"""Exported documents edited at random: never a damaged file, or one whose undo is stuck; else refused in a sentence.

Truth: ``check``, which walks the history back from the present, and undoing all of it. All values invented.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from fallow.errors import FallowError
from fallow.show.link import Link
from fallow.showfile.checking import check
from fallow.showfile.exchange import Document, document_of, restore
from fallow.showfile.history import present
from fallow.showfile.images import written
from fallow.showfile.kinds import AREA_PAIRS, LINKS, MARKS, SETTINGS
from fallow.showfile.outside import put_right
from fallow.showfile.store import ShowFile
from fallow.showfile.values import AreaPair, Mark, Setting

WORDS: tuple[Any, ...] = (None, 1, 2, 5, "x", "edit", "undo", "v1", 1.5, [], {})


@pytest.fixture
def exported(path: Path) -> Document:
    """A show with edits, facts, things taken back and done again."""
    with ShowFile.create(path, "her") as show:
        for count in range(2, 5):
            with show.change("", "links") as change:
                change.put(LINKS, *(Link(f"v{number}", "p", priority=1 + number) for number in range(count)))
        show.undo()
        with show.change("", "mark", is_fact=True) as change:
            change.put(MARKS, Mark("m", 2, "2026-01-01T00:00:00+00:00"))
        with show.change("", "dropped") as change:
            change.drop(LINKS, "v0")
            change.put(SETTINGS, Setting("region", "de"))
        with show.change("", "pair") as change:
            change.put(AREA_PAIRS, AreaPair("a", "b", 3.0))
        show.undo()
        show.redo()
        return document_of(show)


def places(node: Any, way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The ways to all that is in a document."""
    pairs = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for name, inner in pairs:
        yield (*way, name)
        yield from places(inner, (*way, name))


def edit(document: Document, chance: random.Random) -> None:
    """One slip: something twice, gone, of another kind, out of order."""
    *way, last = chance.choice(list(places({name: document[name] for name in ("values", "changes")})))
    node: Any = document
    for name in way:
        node = node[name]
    how = chance.randrange(4)
    if how == 0 and isinstance(node, list):
        node.append(copy.deepcopy(chance.choice(node)))
    elif how == 1:
        del node[last]
    elif how == 2 and isinstance(node, list):
        chance.shuffle(node)
    else:
        node[last] = chance.choice(WORDS)


def test_a_document_edited_at_random_is_whole_or_refused(exported: Document, tmp_path: Path) -> None:
    whole = 0
    for seed in range(60):
        chance, document, to = random.Random(seed), copy.deepcopy(exported), tmp_path / f"{seed}.fallow"
        edit(document, chance)
        with suppress(FallowError):
            right, _ = put_right(document, "her", Path("show.json"))
            with ShowFile.create(to, "her") as show:
                restore(show, right, "show.json")
                there = {name: row.image for name, row in present(show.connection).items()}
            assert check(to).damage == (), seed
            assert there == {(one["kind"], one["key"]): written(one["value"]) for one in right["values"]}
            with ShowFile.open(to, write=True) as show:
                while show.undo() is not None:
                    pass
            assert check(to).damage == (), seed
            whole += 1
    assert 20 < whole < 60


def test_what_was_not_edited_stays_as_it_is(exported: Document) -> None:
    assert put_right(exported, "her", Path("show.json")) == (exported, ())
