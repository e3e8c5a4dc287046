"""HDF5: every array of numbers in a file as a ``.npy`` file of its name, and the units that attributes state.

The library that reads HDF5 can hang or fall over on damaged files. So it works in a process of its own, which is given
up when it takes too long; arrays that say they live in other files are left out.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from fallow.errors import InputError
from fallow.files.wording import frequency_unit_named, level_unit_named

__all__ = ["lay_out_arrays", "unpack_hdf5"]

_LONGEST_S = 60.0  # a gigabyte comes out in a few seconds
_CHILD = "import sys; from fallow.files.hdf5 import lay_out_arrays; lay_out_arrays(*sys.argv[1:])"


def unpack_hdf5(path: Path, folder: Path, most_bytes: int, most_arrays: int) -> tuple[str | None, str | None]:
    """Lay out the arrays in ``folder``; the units of frequency and level that the file states.

    Raises InputError without the extra, for damage, and where more than ``most_bytes`` or ``most_arrays`` are declared.
    """
    if find_spec("h5py") is None:
        hint = 'install the library that reads it: pip install "fallow[hdf5]"'
        raise InputError("it is an HDF5 file, which needs the extra hdf5", path=path, hint=hint)
    words = [sys.executable, "-c", _CHILD, str(path.resolve()), str(folder), str(most_bytes), str(most_arrays)]
    surroundings = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    try:
        ended = subprocess.run(words, env=surroundings, capture_output=True, timeout=_LONGEST_S, check=True)
        found = json.loads(ended.stdout)
    except (OSError, ValueError, subprocess.SubprocessError) as error:
        raise InputError("the HDF5 file is damaged, or of a kind that can't be read", path=path) from error
    if found["too_much"]:
        raise InputError("more comes out of it than can be read", path=path, hint="save what you need as text")
    return found["unit"], found["level_unit"]


def lay_out_arrays(path: str, folder: str, most_bytes: str, most_arrays: str) -> None:
    """What the process of its own does. It prints what it found as JSON."""
    import numpy as np  # heavy, and needed for few files only

    h5py: Any = import_module("h5py")  # an extra, and without types
    sizes: list[int] = []
    stated: list[str] = []

    def keep(name: str, found: Any) -> bool | None:
        if not isinstance(found, h5py.Dataset) or found.dtype.kind not in "fiuc" or found.ndim not in (1, 2):
            return None
        if found.is_virtual or found.external:
            return None
        sizes.append(found.nbytes)
        if sum(sizes) > int(most_bytes) or len(sizes) > int(most_arrays):
            return True  # visits no more
        target = Path(folder, "".join(c if c.isalnum() or c in "-_." else " " for c in name).strip(" .")[:100])
        np.save(target.with_name(f"{target.name} {len(sizes)}.npy" if target.name else "array.npy"), found[()])
        stated.extend(str(found.attrs[key]) for key in found.attrs if key.lower() in ("unit", "units"))
        return None

    with h5py.File(path, "r") as file:
        too_much = file.visititems(keep) is True
    levels = [unit for words in stated if (unit := _told_unit(level_unit_named(words))) is not None]
    frequencies = [unit for words in stated if (unit := frequency_unit_named(words)) is not None]
    said = {"too_much": too_much, "unit": (*frequencies, None)[0], "level_unit": (*levels, None)[0]}
    sys.stdout.write(json.dumps(said))


def _told_unit(level_unit: str | None) -> str | None:
    """A unit of levels as ``Telling`` has it, ``None`` for those that it has not."""
    return next((unit for unit in ("dBm", "dBuV") if unit.lower() == level_unit), None)
