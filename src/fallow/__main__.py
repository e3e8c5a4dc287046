"""``python -m fallow``: the console script where it is not on the path."""

from fallow.cli import run

run()
