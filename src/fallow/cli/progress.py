"""Progress of long work on stderr: a bar on a terminal, nothing elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from fallow.cli.lettering import visible

__all__ = ["progress_bar"]

Progress = Callable[[str, float], None]


@contextmanager
def progress_bar() -> Iterator[Progress | None]:
    """Call what it yields with what is being done (a file, a search) and the share that is done, 0 to 1."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("{task.description}", markup=False), BarColumn(bar_width=24), TimeElapsedColumn())
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=1.0)
        yield lambda what, share: bar.update(task, description=visible(what[-44:]), completed=share)
