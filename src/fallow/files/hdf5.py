"""HDF5: every array of numbers in a file as a ``.npy`` file of its name, and what attributes say of their units.

The library that reads HDF5 can hang or fall over on damaged files. So it works in a process of its own, which is given
up when it takes too long or asks for too much memory; arrays that say they live in other files are left out.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from fallow.errors import InputError

__all__ = ["lay_out_apart", "lay_out_arrays", "unpack_hdf5"]

_LONGEST_S = 20.0  # a gigabyte comes out in a few seconds
_SLOWEST = 5e6  # bytes of the file a second, besides
_ROOM_BYTES = 2**29  # for the libraries, and for what a file holds besides its arrays
_CHILD = "import sys; from fallow.files.hdf5 import lay_out_apart; lay_out_apart(*sys.argv[1:])"


def unpack_hdf5(path: Path, folder: Path, most_bytes: int, most_arrays: int) -> dict[str, str]:
    """Lay out the arrays in ``folder``; by the name of each what its attributes, else those around it, say of units.

    Raises InputError without the extra, for damage, and where more than ``most_bytes`` or ``most_arrays`` are declared.
    """
    if find_spec("h5py") is None:
        hint = 'install the library that reads it: pip install "fallow[hdf5]"'
        raise InputError("it is an HDF5 file, which needs the extra hdf5", path=path, hint=hint)
    words = [sys.executable, "-c", _CHILD, str(path.resolve()), str(folder), str(most_bytes), str(most_arrays)]
    longest_s = _LONGEST_S + path.stat().st_size / _SLOWEST
    surroundings = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    try:
        ended = subprocess.run(words, env=surroundings, capture_output=True, timeout=longest_s, check=True)
        found = json.loads(ended.stdout)
    except (OSError, ValueError, subprocess.SubprocessError) as error:
        raise InputError("the HDF5 file is damaged, or of a kind that can't be read", path=path) from error
    if found["too_much"]:
        raise InputError("more comes out of it than can be read", path=path, hint="save what you need as text")
    said: dict[str, str] = found["said"]
    return said


def lay_out_apart(path: str, folder: str, most_bytes: str, most_arrays: str) -> None:
    """``lay_out_arrays`` in a process of its own, with bounded memory where the system can bound it."""
    if find_spec("resource") is not None:  # not on Windows
        import resource

        most = int(most_bytes) + _ROOM_BYTES
        resource.setrlimit(resource.RLIMIT_DATA, (most, most))
    lay_out_arrays(path, folder, most_bytes, most_arrays)


def lay_out_arrays(path: str, folder: str, most_bytes: str, most_arrays: str) -> None:
    """What the process of its own does. It prints what it found as JSON."""
    import numpy as np  # heavy, and needed for few files only

    h5py: Any = import_module("h5py")  # an extra, and without types
    sizes: list[int] = []
    said: dict[str, str] = {}

    def keep(name: str, found: Any) -> bool | None:
        if not isinstance(found, h5py.Dataset) or found.ndim not in (1, 2) or found.is_virtual or found.external:
            return None
        for full_name, field in _columns(name, found.dtype):
            sizes.append(found.size * (found.dtype if field is None else found.dtype[field]).itemsize)
            if sum(sizes) > int(most_bytes) or len(sizes) > int(most_arrays):
                return True  # visits no more
            target = _free_place(Path(folder), full_name)
            np.save(target, found[()] if field is None else found[field])
            said[target.name] = " ".join(_units_said(found))
        return None

    with h5py.File(path, "r") as file:
        too_much = file.visititems(keep) is True
    sys.stdout.write(json.dumps({"too_much": too_much, "said": said}))


def _columns(name: str, dtype: Any) -> Iterator[tuple[str, str | None]]:
    """The arrays of numbers in a set of data: itself, or one for each named field of its records."""
    if dtype.kind in "fiuc":
        yield name, None
    for field in dtype.names or ():
        if dtype[field].kind in "fiuc":
            yield f"{name} {field}", field


def _free_place(folder: Path, name: str) -> Path:
    stem = "".join(c if c.isalnum() or c in "-_." else " " for c in name).strip(" .")[:100] or "array"
    target = folder / f"{stem}.npy"
    while target.exists():  # names that differ in what no file's name can have
        target = target.with_name(f"{target.stem} again.npy")
    return target


def _units_said(found: Any) -> Iterator[str]:
    """The words in attributes about units, those of the set of data first, then those of the groups around it."""
    while True:
        for key in found.attrs:
            if {"unit", "units"} & set(re.split(r"[\W_]+", key.lower())):
                value = found.attrs[key]
                yield value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)
        if found.name in ("/", None):
            return
        found = found.parent
