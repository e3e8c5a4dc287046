"""Arrows run one way, computation touches nothing, every module imports alone, and ``--help`` stays light."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

VALUES = {"units", "errors"}
BELOW_PLAN = {"rules", "show", "spectrum", *VALUES}
EVERYTHING_BELOW_WORKFLOW = {"change", "files", "plan", "showfile", *BELOW_PLAN}
MAY_IMPORT: dict[str, set[str]] = {
    "errors": set(),
    "units": {"errors"},
    "spectrum": VALUES,
    "show": VALUES,
    "change": {"spectrum", *VALUES},
    "rules": {"show", *VALUES},
    "plan": BELOW_PLAN,
    "showfile": BELOW_PLAN,
    "files": BELOW_PLAN,
    "workflow": EVERYTHING_BELOW_WORKFLOW,
    "pictures": {"show", "spectrum", *VALUES},
    "demo": {"fallow", "pictures", "workflow", *VALUES},  # does the job with the public names, as a notebook would
    "fallow": {"workflow", *EVERYTHING_BELOW_WORKFLOW},  # __init__.py: the list of public names
    "cli": {"fallow", "demo", "pictures", "workflow", *VALUES},
    "__main__": {"cli"},
}
VALUES_FOR_FACES = {  # what faces may read, beside the workflow: plain values, no verbs
    "demo": {
        "fallow.plan.answer",
        "fallow.plan.judge.audit",
        "fallow.show.assignment",
        "fallow.show.wanted",
        "fallow.spectrum.sweep",
        "fallow.spectrum.verdict",
    },
    "cli": {
        "fallow.files.readings",
        "fallow.plan.advice.advice",
        "fallow.plan.answer",
        "fallow.plan.judge.audit",
        "fallow.plan.ledger.ledger",
        "fallow.rules.territory",
        "fallow.show.assignment",
        "fallow.show.equipment",
        "fallow.show.link",
        "fallow.spectrum.verdict",
    },
}
PURE = {"units", "spectrum", "change", "show", "rules", "plan"}
OUTSIDE_WORLD = {
    "asyncio",
    "fileinput",
    "glob",
    "io",
    "logging",
    "multiprocessing",
    "os",
    "pathlib",
    "random",
    "secrets",
    "shutil",
    "socket",
    "sqlite3",
    "subprocess",
    "tempfile",
    "threading",
    "time",
    "urllib",
}
FORBIDDEN_CALLS = {"open", "input", "print", "datetime.now", "datetime.today", "datetime.utcnow", "date.today"}
FORBIDDEN_CALLS |= {f"datetime.{name}" for name in FORBIDDEN_CALLS}
HEAVY = ("numpy", "scipy", "pyarrow", "numba", "matplotlib", "rich")


def room(path: Path, package: Path) -> str:
    """The folder or module right below the package (``spectrum``, ``units``); ``fallow`` for its ``__init__.py``."""
    first = path.relative_to(package).parts[0]
    return "fallow" if first == "__init__.py" else first.removesuffix(".py")


def modules(package: Path) -> list[Path]:
    """Every module of the package."""
    return sorted(package.rglob("*.py"))


def imported_modules(tree: ast.AST) -> Iterator[str]:
    """Dotted names of all imports, those inside functions and type-checking blocks too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module is not None:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def calls(tree: ast.AST) -> Iterator[ast.Call]:
    """Every call in a module."""
    return (node for node in ast.walk(tree) if isinstance(node, ast.Call))


def pure_modules(package: Path) -> list[Path]:
    """The modules that compute and touch nothing."""
    return [path for path in modules(package) if room(path, package) in PURE]


def rooms_imported(path: Path, package: Path) -> set[str]:
    """The rooms of fallow that a module imports, apart from the values that its own room may read."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    values = VALUES_FOR_FACES.get(room(path, package), set())
    found = set()
    for name in imported_modules(tree):
        parts = name.split(".")
        is_value = any(name == value or name.startswith(f"{value}.") for value in values)
        if parts[0] == "fallow" and not is_value and not any(value.startswith(f"{name}.") for value in values):
            found.add(second_room(parts, package))
    return found


def second_room(parts: list[str], package: Path) -> str:
    """The room that a dotted name leads into."""
    second = parts[1] if len(parts) > 1 else ""
    is_room = bool(second) and ((package / second).is_dir() or (package / f"{second}.py").exists())
    return second if is_room else "fallow"


def test_every_room_is_in_the_table(package: Path) -> None:
    assert {room(path, package) for path in modules(package)} <= set(MAY_IMPORT)


def test_the_table_itself_has_no_ring() -> None:
    remaining = {name: set(allowed) for name, allowed in MAY_IMPORT.items()}
    while remaining:
        lowest = {name for name, allowed in remaining.items() if not allowed & set(remaining)}
        assert lowest, f"a ring among {sorted(remaining)}"
        remaining = {name: allowed for name, allowed in remaining.items() if name not in lowest}


def test_arrows_run_one_way(package: Path) -> None:
    for path in modules(package):
        own = room(path, package)
        forbidden = rooms_imported(path, package) - MAY_IMPORT[own] - {own}
        assert not forbidden, f"{path.relative_to(package)} imports {sorted(forbidden)}, which {own} may not"


def test_computation_imports_no_outside_world(package: Path) -> None:
    for path in pure_modules(package):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        met = {name.split(".")[0] for name in imported_modules(tree)} & OUTSIDE_WORLD
        assert not met, f"{path.relative_to(package)} imports {sorted(met)}"


def test_computation_reads_no_clock_and_opens_nothing(package: Path) -> None:
    for path in pure_modules(package):
        for call in calls(ast.parse(path.read_text(encoding="utf-8"))):
            name = ast.unparse(call.func)
            where = f"{path.relative_to(package)}, line {call.lineno}"
            assert name not in FORBIDDEN_CALLS, f"{where}: calls {name}"
            assert not name.endswith("default_rng") or call.args, f"{where}: a random source without a seed"


def test_no_broad_except(package: Path) -> None:
    for path in modules(package):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ExceptHandler):
                caught = "" if node.type is None else ast.unparse(node.type)
                broad = caught in ("", "Exception", "BaseException")
                assert not broad, f"{path.relative_to(package)}, line {node.lineno}: except {caught}"


def test_each_module_imports_alone(package: Path) -> None:
    names = [
        ".".join(("fallow", *path.relative_to(package).with_suffix("").parts)).removesuffix(".__init__")
        for path in modules(package)
        if path.name != "__main__.py"
    ]
    program = (
        "import importlib, json, sys\n"
        "for name in json.loads(sys.argv[1]):\n"
        "    for loaded in [m for m in sys.modules if m.split('.')[0] == 'fallow']:\n"
        "        del sys.modules[loaded]\n"
        "    importlib.import_module(name)\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", program, json.dumps(names)], capture_output=True, text=True, check=False
    )
    assert ended.returncode == 0, ended.stderr


@pytest.mark.parametrize("module", ["fallow", "fallow.cli", "fallow.cli.arguments"])
def test_nothing_heavy_is_imported_for_help(module: str) -> None:
    program = f"import sys, {module}; print(*[name for name in {HEAVY!r} if name in sys.modules])"
    ended = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert ended.stdout.split() == []
