"""An exported document that was edited outside, put right: its history ends at its values again.

Where the history itself still fits together, what was edited becomes one change more, so that undo takes it back like
any other. Where it does not, it begins anew with the values, as in a rescue.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fallow.errors import InputError
from fallow.showfile.exchange import MEND_HINT, Document, check_format
from fallow.showfile.history import Nature, is_moment
from fallow.showfile.holding import value_of
from fallow.showfile.images import written
from fallow.showfile.kinds import BY_NAME, MARKS, SURVEYS

__all__ = ["put_right"]

Name = tuple[str, str]
Placed = tuple[int, str]  # a place and an image as text
Values = dict[Name, Placed]
_MOST_FIELDS = 200  # letters


def put_right(document: Document, who: str, path: Path) -> tuple[Document, tuple[str, ...]]:
    """The document with a history that ends at its values, and what was put right, one sentence for each.

    Raises InputError where it is no document, or a value can't be understood or stands there twice.
    """
    check_format(document, path)
    try:
        told: list[str] = []
        values = _values(document, path, told)
        after, misfits = _followed(document["changes"])
        misfits += _not_understood(document["changes"], path)
        changes = list(document["changes"])
        if misfits:
            told += [*misfits, "so the history begins anew, without marks"]
            values = {name: placed for name, placed in values.items() if name[0] != MARKS.name}
            changes, after = [], {}
        told += () if misfits else _differences(after, values)
        number = max((int(change["number"]) for change in changes), default=0)
        for nature in (Nature.EDIT, Nature.FACT):
            rows = list(_rows(after, values, nature))
            if rows:
                number += 1
                changes.append(_change(number, who, nature, rows, anew=bool(misfits)))
        put = [
            {"kind": kind, "key": key, "place": place, "value": _loaded(image)}
            for (kind, key), (place, image) in values.items()
        ]
        return {**document, "values": put, "changes": changes}, tuple(told)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputError(f"this is no show as fallow exports it ({error})", path=path) from error


def _values(document: Document, path: Path, told: list[str]) -> Values:
    """The values by kind and key; a key follows the name in its value, a survey names only series that are there."""
    found: Values = {}
    for value in document["values"]:
        kind, image = BY_NAME.get(value["kind"]), dict(value["value"])
        if kind is None:
            raise ValueError(f"there is no kind {value['kind']!r}")
        missing = [one for one in image.get("series", ()) if kind is SURVEYS and one not in document.get("series", ())]
        if missing:
            told.append(f"the survey {value['key']!r} names series that are not there: {', '.join(map(str, missing))}")
            image["series"] = [one for one in image["series"] if one not in missing]
        text = written(image)
        key = kind.key(value_of(kind, str(value["key"]), text, path, MEND_HINT))
        if key != value["key"]:
            told.append(f"the {kind.word} {value['key']!r} says that it is {key!r}, and is called so now")
        if (kind.name, key) in found:
            raise InputError(f"the {kind.word} {key!r} stands there twice", path=path, hint="keep one of them")
        place = value.get("place")
        last = max((placed[0] for name, placed in found.items() if name[0] == kind.name), default=0)
        found[kind.name, key] = (place if type(place) is int else last + 1, text)
    return found


def _followed(changes: Sequence[Mapping[str, Any]]) -> tuple[Values, list[str]]:
    """Where a history leads, change after change from nothing at all; and what does not fit together in it."""
    state: Values = {}
    misfits = list(_disorder(changes))
    for change in changes:
        for row in change["rows"]:
            name, after = _name(row), _placed(row, "after")
            if state.get(name) != _placed(row, "before"):
                told = f"what {name[0].replace('_', ' ')} {name[1]!r} was before it"
                misfits.append(f"change {change['number']} does not fit {told}")
            if after is None:
                state.pop(name, None)
            else:
                state[name] = after
    return state, misfits


def _disorder(changes: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Changes that could not have followed each other: numbers, and what is taken back or done again."""
    edits: dict[int, list[tuple[Name, Placed | None, Placed | None]]] = {}
    done: list[int] = []
    redo: list[int] = []
    last, uids = 0, set()
    for change in changes:
        number, nature = int(change["number"]), Nature(change["nature"])
        rows = [(_name(row), _placed(row, "before"), _placed(row, "after")) for row in change["rows"]]
        if number <= last or change["uid"] in uids:
            yield f"change {number} is out of order, or stands there twice"
        last = max(last, number)
        uids.add(change["uid"])
        if not all(map(_is_placed, change["rows"])):
            yield f"change {number} puts a value in no place"
        if not is_moment(change["at"]):
            yield f"change {number} was made at {change['at']!r}, which is no time"
        if nature is Nature.EDIT:
            edits[number] = rows
            done.append(number)
            redo.clear()
        elif nature is not Nature.FACT:
            taken, put = (done, redo) if nature is Nature.UNDO else (redo, done)
            of = taken.pop() if taken else 0
            put.append(of)
            back = [(name, after, before) for name, before, after in reversed(edits.get(of, []))]
            if change["of"] != of or rows != (back if nature is Nature.UNDO else edits.get(of)):
                yield f"change {number} says that it is the {nature} of change {change['of']}, and is not"


def _not_understood(changes: Sequence[Mapping[str, Any]], path: Path) -> Iterator[str]:
    """Values of the past that undo could bring back, and nobody could read."""
    for change in changes:
        for row in change["rows"]:
            kind, image = BY_NAME.get(row["kind"]), row["after"]
            try:
                if kind is not None and image is not None:
                    value_of(kind, str(row["key"]), written(image), path)
            except InputError as error:
                yield f"in change {change['number']}, {error.what}"


def _is_placed(row: Mapping[str, Any]) -> bool:
    """Whether each image of a row has its place, and no place is without."""
    sides = ((row[side], row[f"place_{side}"]) for side in ("before", "after"))
    return all(place is None if image is None else type(place) is int for image, place in sides)


def _name(row: Mapping[str, Any]) -> Name:
    return str(row["kind"]), str(row["key"])


def _placed(row: Mapping[str, Any], side: str) -> Placed | None:
    image, place = row[side], row[f"place_{side}"]
    return None if image is None else (place, written(image))


def _differences(before: Values, after: Values) -> Iterator[str]:
    """What was edited, value by value."""
    for name in sorted({*before, *after}):
        old, new = before.get(name), after.get(name)
        if old != new:
            word = "was added" if old is None else "was taken out" if new is None else _fields(old, new)
            yield f"{BY_NAME[name[0]].word if name[0] in BY_NAME else name[0]} {name[1]!r} {word}"


def _fields(old: Placed, new: Placed) -> str:
    before, after = _loaded(old[1]), _loaded(new[1])
    names = [name for name in {**before, **after} if before.get(name) != after.get(name)]
    said = "; ".join(f"{name}: {before.get(name)} -> {after.get(name)}" for name in names)[:_MOST_FIELDS]
    return f"was changed, {said}" if said else "was put elsewhere"


def _rows(before: Values, after: Values, nature: Nature) -> Iterator[dict[str, Any]]:
    """What leads from one state to the other, as rows of a change: facts apart, over which undo passes."""
    for name in sorted({*before, *after}):
        old, new = before.get(name), after.get(name)
        is_fact = name[0] in BY_NAME and BY_NAME[name[0]].is_fact
        if old != new and is_fact == (nature is Nature.FACT):
            yield {
                "kind": name[0],
                "key": name[1],
                "place_before": None if old is None else old[0],
                "before": None if old is None else _loaded(old[1]),
                "place_after": None if new is None else new[0],
                "after": None if new is None else _loaded(new[1]),
            }


def _change(number: int, who: str, nature: Nature, rows: list[dict[str, Any]], *, anew: bool) -> dict[str, Any]:
    count = f"{len(rows)} value{'' if len(rows) == 1 else 's'}"
    return {
        "number": number,
        "uid": secrets.token_hex(8),
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
        "who": who,
        "why": "",
        "what": f"edited outside, so that the history begins anew: {count}" if anew else f"edited outside: {count}",
        "nature": nature.value,
        "of": None,
        "rows": rows,
    }


def _loaded(image: str) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(image)
    return loaded
