"""The outside world's formats: sweeps in."""

from fallow.files.formats import read_file, read_paths
from fallow.files.readings import FileReading, FileRefusal, Telling

__all__ = ["FileReading", "FileRefusal", "Telling", "read_file", "read_paths"]
