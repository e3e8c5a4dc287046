"""What every screen is written with: the console, plain tables, notes, complaints."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Literal

from rich.console import Console, ConsoleOptions, RenderableType
from rich.padding import Padding
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from fallow.cli.lettering import plain, say, visible
from fallow.workflow.survey import FileRefusal, as_one

__all__ = ["complain_of", "console", "narrator", "plain_table", "print_notes", "show_story"]


class _Paper(Console):
    """A console that lays out what its encoding can show. What a closed pipe means is left to the command line."""

    def render_str(self, text: str, **style: Any) -> Text:
        """A text spelled so that what is printed is as wide as what was laid out."""
        return super().render_str(plain(visible(text), self.encoding), **style)

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Segments of whatever is printed, its text made visible."""
        if isinstance(renderable, Text) and (shown := visible(renderable.plain)) != renderable.plain:
            renderable = renderable.copy()
            renderable.plain = shown
        return super().render(renderable, options)

    def on_broken_pipe(self) -> None:
        """Raise BrokenPipeError, where rich would end the program as a failure."""
        raise BrokenPipeError


def console() -> Console:
    """Where answers go: stdout, 80 columns where nobody says otherwise."""
    return _Paper(highlight=False, emoji=False, markup=False)


def plain_table(*columns: tuple[str, Literal["left", "right"]]) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), show_edge=False, header_style="underline")
    for heading, justify in columns:
        table.add_column(heading, justify=justify, no_wrap=True)
    return table


def print_notes(out: Console, notes: Sequence[str], heading: str = "Notes") -> None:
    if notes:
        out.print(f"\n{heading}", style="bold")
        for note in notes:
            out.print(Padding(f"- {note}", (0, 0, 0, 2)))


def complain_of(refusals: Sequence[FileRefusal]) -> None:
    """Say on stderr, in one sentence with its hint, that files could not be read; the answer itself names each."""
    if refusals:
        error = as_one(refusals)
        say(f"fallow: {error}" + (f"\nhint: {error.hint}" if error.hint else ""))


def show_story(lines: Sequence[str]) -> None:
    """The demo's story, one screen."""
    out = console()
    for line in lines:
        out.print(line)


def narrator(*, quiet: bool) -> Callable[[str], None]:
    """Says on stderr what a long story is doing now; nothing when ``quiet``."""

    def tell(line: str) -> None:
        if not quiet:
            say(f"{line} ...")

    return tell
