"""The thinnest margins of a plan, in a few lines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

if TYPE_CHECKING:
    from fallow.plan.ledger.ledger import Risk

__all__ = ["print_risks"]

SHOWN = 3


def print_risks(out: Console, risks: Sequence[Risk]) -> None:
    """The thinnest margins with what drives them; nothing where none is known."""
    if not risks:
        return
    out.print(f"thinnest of {len(risks)} margins:" if len(risks) > SHOWN else "margins:")
    for risk in risks[:SHOWN]:
        margin = f"{risk.margin_db:.0f} ± {risk.u_db:.0f} dB"
        out.print(Padding(Text(f"{risk.link}: {margin}; {risk.text}"), (0, 0, 0, 2)))
