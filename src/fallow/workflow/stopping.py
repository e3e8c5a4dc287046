"""Ctrl-C that is never lost: an interrupt that some foreign code swallowed is raised again at the next step.

Python raises KeyboardInterrupt wherever the main thread happens to be; in a callback of a library, or while something
is being destroyed, that goes unheard.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

__all__ = ["Ears"]


class Ears:
    """Hears Ctrl-C while ``open``, where nobody else has taken the signal."""

    def __init__(self) -> None:
        self._unheard = False

    @contextmanager
    def open(self) -> Iterator[None]:
        """Raise KeyboardInterrupt on Ctrl-C, and once more in ``heed`` if that led nowhere."""
        usual = signal.getsignal(signal.SIGINT)
        if threading.current_thread() is not threading.main_thread() or usual is not signal.default_int_handler:
            yield
            return
        signal.signal(signal.SIGINT, self._interrupt)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, usual)

    def heed(self) -> None:
        """Raise KeyboardInterrupt where one was not heard."""
        if self._unheard:
            self._unheard = False
            raise KeyboardInterrupt

    def heard(self) -> None:
        """Somebody has acted on it."""
        self._unheard = False

    def _interrupt(self, _signal: int, _frame: FrameType | None) -> None:
        self._unheard = True
        raise KeyboardInterrupt
