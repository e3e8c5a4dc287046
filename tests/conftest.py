"""What every test may ask for; and what holds for all of them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

import fallow
from fallow.workflow.accelerate import kernels_cache_dir

ROOT = Path(__file__).resolve().parent.parent

settings.register_profile("usual", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("search", deadline=None, max_examples=1000, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "usual"))

for variable, folder in (("NUMBA_CACHE_DIR", "numba"), ("MPLCONFIGDIR", "matplotlib")):
    os.environ.setdefault(variable, str(ROOT / ".cache" / folder))
os.environ["NUMBA_CACHE_DIR"] = str(kernels_cache_dir())  # so that no test runs kernels of older sources


def pytest_configure() -> None:
    """On the built wheel nothing may be taken from the source folder by mistake."""
    if os.environ.get("FALLOW_ON_WHEEL") and Path(fallow.__file__).is_relative_to(ROOT / "src"):
        raise pytest.UsageError(f"the wheel is to be tested, and fallow comes from {fallow.__file__}")


def pytest_report_header() -> str:
    """Say which fallow is under test."""
    return f"fallow: {Path(fallow.__file__).parent}"


@pytest.fixture(scope="session")
def root() -> Path:
    """The folder of the repository."""
    return ROOT


@pytest.fixture(scope="session")
def package() -> Path:
    """The folder of the package under test: ``src/fallow``, or the unpacked wheel."""
    return Path(fallow.__file__).parent


@pytest.fixture(scope="session")
def airdata() -> Path:
    """The folder of real sweeps, which are not part of the project: skipped where it is absent."""
    folder = Path(os.environ.get("FALLOW_AIRDATA", ROOT.parent / "shared" / "airdata"))
    if not folder.is_dir():
        pytest.skip("the folder of real sweeps is not here; FALLOW_AIRDATA names it")
    return folder
