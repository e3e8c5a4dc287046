"""One file per production: what the show wants, its sweeps, its plans, and everything that ever changed in it.

SQLite below, plain values above: nobody outside this room sees a row or a statement.
"""
