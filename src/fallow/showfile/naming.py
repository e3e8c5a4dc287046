"""How a show is known beyond its file: the beginning of its history, which its copies share, and its names."""

from __future__ import annotations

import json

from fallow.showfile.kinds import SETTINGS
from fallow.showfile.mishaps import told
from fallow.showfile.store import ShowFile

__all__ = ["first_change", "names_ever"]


def first_change(show: ShowFile) -> str:
    """The uid of the first change of a show; empty where nothing was ever put into it."""
    with told(show.path):
        found = show.connection.execute("SELECT uid FROM change ORDER BY id LIMIT 1").fetchone()
    return "" if found is None else str(found[0])


def names_ever(show: ShowFile) -> frozenset[str]:
    """Everything that the show was ever called by its setting ``name``, taken back or not."""
    with told(show.path):
        found = show.connection.execute(
            "SELECT after FROM change_row WHERE kind = ? AND key = 'name' AND after IS NOT NULL", (SETTINGS.name,)
        ).fetchall()
    return frozenset(str(json.loads(image)["value"]) for (image,) in found)
