"""What lies beside a file of levels and serves it: vectors of frequencies, vectors of times, and what was not read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Companions"]


@dataclass(frozen=True, eq=False)
class Companions:
    """Axes and times by file name, and the names of files that only unpickling could read."""

    axes: dict[str, NDArray[np.generic]]
    times: dict[str, NDArray[np.generic]]
    pickled: tuple[str, ...]

    @property
    def serving(self) -> frozenset[str]:
        """Names of files that give no reading of their own where levels stand beside them."""
        return frozenset((*self.axes, *self.times, *(self.pickled if self.axes else ())))
