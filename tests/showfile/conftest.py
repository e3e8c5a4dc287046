"""What the tests of the show file share."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where a show file may be made."""
    return tmp_path / "gala.fallow"
