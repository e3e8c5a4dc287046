"""The quickest kernels there are, for benchmarks that are about something else than waiting for them."""

from __future__ import annotations

from fallow.plan.search.engine import NumpyKernels
from fallow.workflow.accelerate import Acceleration, kernels_cache_dir

__all__ = ["ready"]


def ready() -> Acceleration:
    """The compiled kernels, compiled or loaded by now; NumPy's where there is no numba."""
    acceleration = Acceleration(kernels_cache_dir())
    acceleration.start()
    acceleration.done.wait()
    if isinstance(acceleration(), NumpyKernels):
        print("numba is not installed, or can't compile: everything below is NumPy's")
    return acceleration
