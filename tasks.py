"""One script for everything that is done with this folder, on every system: ``python tasks.py VERB``.

    demo    the whole job on an invented house
    test    the tests
    check   style, types, sizes, and the tests once more on the built wheel
    bench   the benchmarks (``bench NAME`` runs one of them)
    docs    the generated parts of the documents, written anew

What stands after the verb is handed on: ``python tasks.py test -k axis``. The script makes its own environment in
``.venv`` and keeps every cache in ``.cache``; it touches nothing outside this folder. Only the standard library is
used, and no shell. It parses with Python 3.7, so that an old one gets a sentence instead of a traceback.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

OLDEST_PYTHON = (3, 11)  # requires-python in pyproject.toml
ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
CACHE = ROOT / ".cache"
STAMP = VENV / "fallow-installed.json"
INSTALL_LOG = CACHE / "install.log"
EXTRAS: dict[str, list[str]] = {
    "demo": [],
    "test": ["test"],
    "check": ["check", "test"],
    "bench": ["bench"],
    "docs": [],
}
WORKERS = 2


class TaskError(Exception):
    """Something that stops the task; the text is for people."""


def main(arguments: list[str]) -> int:
    """Run one verb; returns the exit code: the task's own, 2 when it could not be started, 130 after Ctrl-C."""
    if arguments[:1] in (["-h"], ["--help"]):
        print(__doc__)
        return 0
    if not arguments or arguments[0] not in EXTRAS:
        print(f"tasks: say what to do: {', '.join(EXTRAS)}", file=sys.stderr)
        return 2
    verb, rest = arguments[0], arguments[1:]
    run = {"demo": run_demo, "test": run_tests, "check": run_check, "bench": run_benches, "docs": run_docs}[verb]
    try:
        refuse_old_python()
        prepare(EXTRAS[verb])
        return run(rest)
    except TaskError as trouble:
        print(f"tasks: {trouble}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130


# --- the verbs


def run_demo(rest: list[str]) -> int:
    """The story on the invented house."""
    return call([str(script("fallow")), "demo", *rest])


def run_tests(rest: list[str]) -> int:
    """All tests on both cores, or what ``rest`` chooses in one process."""
    return pytest(rest or ["-n", str(WORKERS), "--dist", "worksteal"])


def run_check(rest: list[str]) -> int:
    """Every check in turn, also after one has failed; ``rest`` goes to the tests on the wheel."""
    steps: list[tuple[str, Callable[[], int]]] = [
        ("style", lambda: module("ruff", "check", ".")),
        ("format", lambda: module("ruff", "format", "--check", ".")),
        ("types", lambda: module("mypy", "src", "tasks.py", "builders")),
        ("sizes", lambda: call([str(python()), "builders/measure_code.py"])),
        ("wheel", lambda: build_wheel() or test_wheel(rest)),
    ]
    failed = []
    for name, step in steps:
        print(f"--- {name}", flush=True)
        if step() != 0:
            failed.append(name)
    print(f"check: failed: {', '.join(failed)}" if failed else "check: all is well", flush=True)
    return 1 if failed else 0


def run_benches(rest: list[str]) -> int:
    """The benchmarks named in ``rest``, or all of them."""
    found = {path.stem: path for path in sorted((ROOT / "bench").glob("*.py")) if not path.stem.startswith("_")}
    names = [word for word in rest if word in found] or list(found)
    options = [word for word in rest if word not in found]
    codes = [call([str(python()), str(found[name]), *options]) for name in names]
    return max(codes, default=0)


def run_docs(rest: list[str]) -> int:
    """Write the generated documents and pictures anew."""
    return call([str(python()), "builders/make_docs.py", *rest])


def build_wheel() -> int:
    """Source archive, then the wheel from it, then the wheel alone in a folder of its own."""
    built, target = CACHE / "dist", CACHE / "wheel"
    for folder in (built, target):
        shutil.rmtree(folder, ignore_errors=True)
    code = module("build", "--no-isolation", "--outdir", str(built), str(ROOT), quiet=True)
    if code != 0:
        return code
    wheels = [str(path) for path in built.glob("*.whl")]
    return module("pip", "install", "--quiet", "--no-deps", "--no-compile", "--target", str(target), *wheels)


def test_wheel(rest: list[str]) -> int:
    """The tests against the unpacked wheel; ``tests/conftest.py`` makes sure that nothing else is tested."""
    on_wheel = {"PYTHONPATH": str(CACHE / "wheel"), "FALLOW_ON_WHEEL": "1"}
    return pytest(rest or ["-n", str(WORKERS), "--dist", "worksteal"], on_wheel)


# --- the environment


def refuse_old_python() -> None:
    """Raise TaskError when this Python can't run fallow."""
    if sys.version_info < OLDEST_PYTHON:
        here, needed = (".".join(str(part) for part in version[:2]) for version in (sys.version_info, OLDEST_PYTHON))
        raise TaskError(f"this is Python {here}, and fallow needs {needed} or newer: run this script with a newer one")


def prepare(extras: list[str]) -> None:
    """Make ``.venv`` fit: nothing to do when its stamp has all of ``extras`` for this Python and project."""
    CACHE.joinpath("tmp").mkdir(parents=True, exist_ok=True)
    wanted = {"project": fingerprint(), "root": str(ROOT), "python": sys.version}
    stamp = read_stamp()
    have = stamp.pop("extras", [])
    if stamp == wanted and set(extras) <= set(have) and python().exists():
        return
    if stamp.get("root") != wanted["root"] or stamp.get("python") != wanted["python"] or not python().exists():
        make_venv()
        have = []
    STAMP.unlink(missing_ok=True)
    union = sorted({*have, *extras})
    install(union)
    STAMP.write_text(json.dumps({**wanted, "extras": union}), encoding="utf-8")


def fingerprint() -> str:
    """What the installed packages depend on."""
    return hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()


def read_stamp() -> dict[str, Any]:
    """The stamp of the last finished installation; empty where there is none."""
    try:
        stamp = json.loads(STAMP.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) else {}


def make_venv() -> None:
    """A new environment in ``.venv``, unless this script itself runs on the one that is there."""
    if Path(sys.prefix).resolve() == VENV:
        return
    say("making an environment in .venv")
    code = logged([sys.executable, "-m", "venv", "--clear", str(VENV)])
    if code != 0:
        shutil.rmtree(VENV, ignore_errors=True)
        raise TaskError(
            "this Python can't make an environment; where it comes from a Linux distribution, install its package "
            f"python3-venv. What it said: {last_words()}"
        )


def install(extras: list[str]) -> None:
    """fallow itself, linked to this folder, with what it and ``extras`` need."""
    what = f".[{','.join(extras)}]" if extras else "."
    say("installing what fallow needs into .venv (once; needs the network and a few minutes)")
    began = time.monotonic()
    if logged([str(python()), "-m", "pip", "install", "--quiet", "--editable", what]) != 0:
        raise TaskError(f"the packages could not be installed; is there a network? What pip said: {last_words()}")
    say(f"installed in {time.monotonic() - began:.0f} s")


def say(text: str) -> None:
    """A line about the preparation, apart from what the task itself prints."""
    print(f"tasks: {text}", file=sys.stderr, flush=True)


def last_words() -> str:
    """The last line of the installation's log that says something, and where the rest is."""
    lines = [line.strip() for line in INSTALL_LOG.read_text(encoding="utf-8", errors="replace").splitlines()]
    telling = [line for line in lines if line.startswith("ERROR")] or [line for line in lines if line] or ["nothing"]
    return f"{telling[-1]} (all of it: {INSTALL_LOG.relative_to(ROOT)})"


# --- programs


def python() -> Path:
    """The interpreter of the environment."""
    return script("python")


def script(name: str) -> Path:
    """A program of the environment."""
    return VENV / "Scripts" / f"{name}.exe" if os.name == "nt" else VENV / "bin" / name


def environment() -> dict[str, str]:
    """Our environment variables, with every cache and temporary file inside this folder."""
    places = {
        "PIP_CACHE_DIR": "pip",
        "NUMBA_CACHE_DIR": "numba",
        "MPLCONFIGDIR": "matplotlib",
        "XDG_CACHE_HOME": "xdg",
        "RUFF_CACHE_DIR": "ruff",
        "MYPY_CACHE_DIR": "mypy",
        "HYPOTHESIS_STORAGE_DIRECTORY": "hypothesis",
        "TMPDIR": "tmp",
        "TEMP": "tmp",
        "TMP": "tmp",
    }
    inside = {name: str(CACHE / folder) for name, folder in places.items()}
    fixed = {"PIP_DISABLE_PIP_VERSION_CHECK": "1", "PIP_NO_INPUT": "1", "PIP_ROOT_USER_ACTION": "ignore"}
    outer = {
        name: value for name, value in os.environ.items() if name not in ("PYTHONHOME", "PYTHONPATH", "VIRTUAL_ENV")
    }
    return {**outer, **inside, **fixed}


def pytest(arguments: list[str], extra: dict[str, str] | None = None) -> int:
    """pytest with its own cache inside ``.cache``."""
    return module("pytest", "-o", f"cache_dir={CACHE / 'pytest'}", *arguments, extra=extra)


def module(name: str, *arguments: str, extra: dict[str, str] | None = None, quiet: bool = False) -> int:
    """``python -m name``; ``quiet`` shows what it says only when it fails."""
    command = [str(python()), "-m", name, *arguments]
    if not quiet:
        return call(command, extra)
    code = logged(command)
    if code != 0:
        print(INSTALL_LOG.read_text(encoding="utf-8", errors="replace"), file=sys.stderr)
    return code


def call(command: list[str], extra: dict[str, str] | None = None) -> int:
    """Run a program in this folder and hand back its exit code; Ctrl-C reaches it, and we wait until it has ended."""
    with subprocess.Popen(command, cwd=str(ROOT), env={**environment(), **(extra or {})}) as process:
        while True:
            try:
                code = process.wait()
                return code if code >= 0 else 128 - code
            except KeyboardInterrupt:
                continue


def logged(command: list[str]) -> int:
    """Run a program and keep what it says in the installation's log."""
    with INSTALL_LOG.open("w", encoding="utf-8") as log:
        return subprocess.call(command, cwd=str(ROOT), env=environment(), stdout=log, stderr=subprocess.STDOUT)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
