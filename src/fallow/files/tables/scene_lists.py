"""Several scenes in one cell: how a table sets them apart, by what its column shows.

A semicolon, a bar or a line break always stands between two scenes. Any other sign may belong to a name
(``act 1/encore``), and then only the column tells: its parts stand elsewhere too. To part a name too often is on the
safe side: cells that share the name share its parts, so nothing that is on together counts as never together. To part
it too seldom is not.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field

from fallow.files.source import normalise
from fallow.files.tables.columns import plain_heading
from fallow.files.wording import quoted, says_nothing

__all__ = ["LISTS", "NAMES", "OpenReading", "Scenes", "one_spelling", "scenes_in", "spelt_alike"]

LISTS, NAMES = "lists", "names"
_SURE = re.compile(r"[;|\n]")
_SIGNS = {  # what may stand between two scenes, in the order in which it parts a cell
    ",": re.compile(r"\s*[,，、]\s*"),
    "+": re.compile(r"\s*\+\s*"),
    "/": re.compile(r"\s*/\s*"),
    "&": re.compile(r"\s*&\s*|\s+(?:and|und|et|y|en|och)\s+", re.IGNORECASE),
}
_RANGE = re.compile(
    r"(?P<stem>.*?)(?P<low>\d{1,3})(?P<by>\s*(?:\.\.|-)\s*|\s+(?:to|bis|à|tot|till)\s+)(?P<again>.*?)(?P<high>\d{1,3})",
    re.IGNORECASE,
)
_NUMBERED = re.compile(r"(?P<stem>.*\D)\d+(?:\s*-\s*\d+)?")
_BARE = re.compile(r"\d+(?:\s*-\s*\d+)?")
_TIME = re.compile(r"\b\d{1,2}\s?(?::|h|\.(?=\d\d\s*-))\s?\d\d\b", re.IGNORECASE)
_DASH = re.compile(r"\s*-\s*")
_MOST_IN_RANGE = 60
_ALWAYS = {  # from memory (en, de, fr, es, it, nl, pl, sv)
    *(
        "all",
        "all scenes",
        "all acts",
        "always",
        "always on",
        "every",
        "any",
        "throughout",
        "whole show",
        "alle",
        "immer",
    ),
    *("alle szenen", "alle akte", "durchgehend", "ganze show", "tous", "toutes", "tout", "toujours", "todos", "todas"),
    *("siempre", "tutti", "tutte", "sempre", "altijd", "wszystkie", "zawsze", "alla", "alltid", "*", "-", "--"),
}
_EXCEPT = re.compile(
    r"(?:^|\s)(?:except|but|without|not|außer|ausser|ohne|nicht|sauf|excepto|salvo|tranne|behalve|bez)\s", re.IGNORECASE
)


@dataclass(frozen=True)
class OpenReading:
    """A cell, what of it can be read in two ways, and both."""

    cell: str
    item: str
    readings: tuple[str, str]


@dataclass(frozen=True)
class Scenes:
    """The cells of a column as scenes, by their text. ``unclear``: why a cell can't be taken; it is then always on."""

    names: Mapping[str, tuple[str, ...]]
    unclear: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    still_open: OpenReading | None = None


def scenes_in(
    cells: Iterable[str],
    known: Collection[str] = (),
    told: str | None = None,
    *,
    is_ours: bool = False,
    noun: str = "scene",
) -> Scenes:
    """What the cells of a column of scenes name.

    ``known``: scenes that the show has. ``told``: ``lists`` or ``names``, what cells with other signs are; ``None``:
    the column has to tell. ``is_ours``: a table in our own form, where a name may hold any other sign: only what stands
    elsewhere too parts it. ``noun``: what the column names, for sentences. Where two readings remain, the first such
    cell is ``still_open``.
    """
    column = _Column({cell: _parts(_SURE, cell) for cell in dict.fromkeys(cells) if cell}, known, told, is_ours, noun)
    if told != NAMES:
        if not is_ours:
            column.take_words()
        for sign in _SIGNS:
            column.part_at(sign)
        column.part_at_blanks()
        column.run_through()
        if not is_ours:
            column.spell_alike()
    return Scenes({cell: tuple(dict.fromkeys(items)) for cell, items in column.items.items()},
                  column.unclear, tuple(column.notes), column.still_open)  # fmt: skip


def one_spelling(names: Iterable[str], known: Iterable[str]) -> dict[str, str]:
    """The names that stand for another one that differs in capitals, blanks or leading zeros only: a known one, else
    the first.
    """
    names = list(names)
    spelled = {_key(name): name for name in reversed([*known, *names])}
    return {name: spelled[_key(name)] for name in names if spelled[_key(name)] != name}


def spelt_alike(name: str, known: Iterable[str]) -> str | None:
    """The known scene of which a name differs in capitals, blanks or leading zeros only; ``None`` where it is one of
    them, or there is none.
    """
    known = sorted(known)
    return None if name in known else next((one for one in known if _key(one) == _key(name)), None)


@dataclass
class _Column:
    """A column of scenes while it is read. ``items``: what each cell names as far as is known."""

    items: dict[str, list[str]]
    known: Collection[str]
    told: str | None
    is_ours: bool
    noun: str
    unclear: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    still_open: OpenReading | None = None

    def alone(self, but: re.Pattern[str] | None = None) -> set[str]:
        """The keys of all scenes that are named without this sign."""
        said = [item for items in self.items.values() for item in items if but is None or not but.search(item)]
        return {_key(item) for item in (*said, *self.known)}

    def take_words(self) -> None:
        """Cells that say *always*, and those that scenes alone can't say: times of day, *all but one*."""
        known, alone = {_key(one) for one in self.known}, self.alone()
        for cell, items in self.items.items():
            listed = [item for sign in (_SURE, _SIGNS[","]) for item in _parts(sign, cell)]
            if any(_says_always(item) and _key(item) not in known for item in listed):
                self.items[cell] = []
                self.notes.append(f"{quoted(cell)} under scenes: always on")
            elif any(_TIME.search(normalise(item)) for item in items if _key(item) not in known):
                self._give_up(cell, "a time of day: what else is on then is not known")
            elif any(_leaves_out(item, alone) for item in items if _key(item) not in known):
                self._give_up(cell, "it says what it is not")

    def _give_up(self, cell: str, why: str) -> None:
        self.items[cell] = []
        self.unclear[cell] = why

    def part_at(self, sign: str) -> None:
        """Part the items at a sign, where it stands between scenes."""
        pattern = _SIGNS[sign]
        found = {item for items in self.items.values() for item in items if len(_parts(pattern, item)) > 1}
        alone = self.alone(pattern)
        parted = {item: _with_stems(_parts(pattern, item), alone) for item in sorted(found)}
        parted = {item: parts for item, parts in parted.items() if not self._is_name(item, parts, alone)}
        if parted and self._are_lists(sign, parted, alone):
            first = next(item for items in self.items.values() for item in items if item in parted)
            self._replace(parted)
            self.notes.append(
                f"{quoted(sign)} stands between {self.noun}s: {quoted(first)} is read as {'; '.join(parted[first])}"
            )

    def _is_name(self, item: str, parts: Sequence[str], alone: Set[str]) -> bool:
        """Whether the show has a scene of that name; where its parts are scenes too, it is asked what is meant."""
        if self.told == LISTS or _key(item) not in {_key(one) for one in self.known}:
            return False
        if any(_key(part) in alone for part in parts):
            self._ask(item, parts)
        return True

    def _are_lists(self, sign: str, parted: Mapping[str, Sequence[str]], alone: Set[str]) -> bool:
        keys = Counter(key for parts in parted.values() for key in {_key(part) for part in parts})
        standing = [key for key in keys if key in alone]
        if self.told == LISTS or 2 * len(standing) >= len(keys):
            return True
        is_plain = sign != "/" or not all(_BARE.fullmatch(part) for parts in parted.values() for part in parts)
        if is_plain and all(_are_numbered_alike(parts) for parts in parted.values()):
            return True
        first = next(iter(parted))
        if standing or (max(keys.values()) > 1 and not self.is_ours):
            self._ask(first, parted[first])
        else:
            self.notes.append(f"{quoted(first)} is taken as the name of one {self.noun}; a semicolon would part it")
        return False

    def _ask(self, item: str, parts: Sequence[str]) -> None:
        said = f"{len(parts)} {self.noun}s: {'; '.join(parts)}"
        cell = next(cell for cell, items in self.items.items() if item in items)
        self.still_open = self.still_open or OpenReading(
            cell, item, (said, f"one {self.noun} that is called {quoted(item)}")
        )

    def part_at_blanks(self) -> None:
        """Part at blanks where every word is a scene of its own elsewhere."""
        alone = self.alone()
        words = {item: item.split() for items in self.items.values() for item in items}
        self._replace({item: of for item, of in words.items() if len(of) > 1 and {_key(one) for one in of} <= alone})

    def run_through(self) -> None:
        """Ranges from one number to another: all between."""
        alone = self.alone(_DASH)
        items = [item for one in self.items.values() for item in one]
        ranges = {item: numbers for item in items if (numbers := _range(item))}
        ranges = {item: numbers for item, numbers in ranges.items() if not self._is_name(item, numbers, alone)}
        by_words = {item: of for item, of in ranges.items() if not _DASH.search(normalise(item))}
        self._replace(by_words)
        by_dash = {item: of for item, of in ranges.items() if item not in by_words}
        if self.told == LISTS:
            self._replace(by_dash)
        elif not any(_falls(item) for item in items):
            tells = [item for item, of in by_dash.items() if not self.is_ours or {_key(one) for one in of} & alone]
            for item in tells[:1]:
                self._ask(item, by_dash[item])
        self._doubt_other_ranges(alone)

    def _doubt_other_ranges(self, alone: Set[str]) -> None:
        for cell, items in self.items.items():
            for item in items:
                ends = _parts(_DASH, normalise(item))
                if len(ends) == 2 and {_key(end) for end in ends} <= alone and not _range(item) and not _falls(item):
                    if self.is_ours:
                        self._ask(item, ends)
                    else:
                        self._give_up(cell, "from one scene to another: which ones lie between is not known")
                    break

    def spell_alike(self) -> None:
        """One spelling for names that differ in capitals, blanks or leading zeros only; the show's where it has one."""
        other = one_spelling([item for of in self.items.values() for item in of], self.known)
        self.notes += [f"the scene {quoted(item)} is taken as {quoted(name)}" for item, name in other.items()]
        self._replace({item: [name] for item, name in other.items()})

    def _replace(self, parted: Mapping[str, Sequence[str]]) -> None:
        for cell, items in self.items.items():
            self.items[cell] = [part for item in items for part in parted.get(item, [item])]


def _parts(sign: re.Pattern[str], text: str) -> list[str]:
    return [part for piece in sign.split(text) if (part := " ".join(piece.split()))]


def _says_always(item: str) -> bool:
    """Whether a scene is none: always on, or nothing said."""
    return normalise(item).casefold() in _ALWAYS or says_nothing(normalise(item))


def _key(name: str) -> str:
    """What two spellings of one scene share."""
    plain = re.sub(r"\b0+(?=\d)", "", plain_heading(name).replace("_", " "))
    return re.sub(r"(?<=[^\W\d]) (?=\d)", "", plain) or name


def _with_stems(parts: Sequence[str], alone: Set[str]) -> list[str]:
    """``act 1, 2`` as ``act 1`` and ``act 2``; where ``2`` is a scene too, both may be meant and both count."""
    full: list[str] = []
    stem = ""
    for part in parts:
        match = _NUMBERED.fullmatch(part)
        stem = match["stem"] if match and not _BARE.fullmatch(part) else stem
        with_stem = f"{stem}{part}" if stem and _BARE.fullmatch(part) else part
        if with_stem == part or _key(part) not in alone:
            full.append(with_stem)
        else:
            full += [part, with_stem] if _key(with_stem) in alone else [part]
    return full


def _are_numbered_alike(parts: Sequence[str]) -> bool:
    """Whether the parts differ in a number only: ``act 1`` and ``act 2``."""
    stems = {re.sub(r"\d+", "", _key(part)) for part in parts}
    return len(stems) == 1 and len({_key(part) for part in parts}) > 1 and all(re.search(r"\d", one) for one in parts)


def _range(item: str) -> list[str]:
    """``act 1-3`` as its three scenes; nothing where it is no range that rises."""
    match = _RANGE.fullmatch(normalise(item))
    if match is None or (match["again"] and _key(match["again"]) != _key(match["stem"])):
        return []
    low, high = int(match["low"]), int(match["high"])
    if not low < high <= low + _MOST_IN_RANGE:
        return []
    return [f"{match['stem']}{number}" for number in range(low, high + 1)]


def _falls(item: str) -> bool:
    """Whether two numbers with a dash between do not rise: no range, so dashes belong to names here."""
    match = _RANGE.fullmatch(normalise(item))
    return match is not None and "-" in match["by"] and not match["again"] and int(match["low"]) >= int(match["high"])


def _leaves_out(item: str, alone: Set[str]) -> bool:
    match = _EXCEPT.search(item)
    if match is None:
        return False
    before, after = item[: match.start()].strip().casefold(), item[match.end() :].strip()
    return before in _ALWAYS or _key(after) in alone
