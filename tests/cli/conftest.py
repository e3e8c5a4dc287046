"""What the tests of the typed face share."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from fallow.cli import main

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str]) -> Run:
    """Type a command: its exit code, and what it said on stdout and stderr."""

    def call(*words: object) -> tuple[int, str, str]:
        code = main([str(word) for word in words])
        captured = capfd.readouterr()
        return code, captured.out, captured.err

    return call
