"""The task runner: what it says, what it needs, and that it keeps to its folder."""

from __future__ import annotations

import ast
import importlib.util
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(name="tasks")
def load_tasks(root: Path) -> ModuleType:
    """``tasks.py`` as a module."""
    spec = importlib.util.spec_from_file_location("fallow_tasks", root / "tasks.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(name="sandbox")
def tasks_in_a_sandbox(tasks: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The same module, pointed at a folder of its own, with an interpreter that looks installed."""
    (tmp_path / "pyproject.toml").write_text("[project]\n", encoding="utf-8")
    monkeypatch.setattr(tasks, "ROOT", tmp_path)
    monkeypatch.setattr(tasks, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(tasks, "CACHE", tmp_path / ".cache")
    monkeypatch.setattr(tasks, "STAMP", tmp_path / ".venv" / "stamp.json")
    monkeypatch.setattr(tasks, "INSTALL_LOG", tmp_path / ".cache" / "install.log")
    return tasks


def test_it_parses_with_an_old_python(root: Path) -> None:
    ast.parse((root / "tasks.py").read_text(encoding="utf-8"), feature_version=(3, 7))


def test_it_uses_the_standard_library_alone(root: Path) -> None:
    tree = ast.parse((root / "tasks.py").read_text(encoding="utf-8"))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.split(".")[0] for name in names} <= sys.stdlib_module_names


def test_it_needs_no_shell(root: Path) -> None:
    text = (root / "tasks.py").read_text(encoding="utf-8")
    assert "shell=" not in text
    assert "os.system" not in text
    assert "os.exec" not in text


def test_an_old_python_gets_a_sentence(tasks: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tasks.sys, "version_info", (3, 9, 2))
    with pytest.raises(tasks.TaskError, match=r"^this is Python 3\.9, and fallow needs 3\.11 or newer"):
        tasks.refuse_old_python()


def test_the_oldest_python_is_that_of_the_project(tasks: ModuleType, root: Path) -> None:
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["requires-python"] == f">={tasks.OLDEST_PYTHON[0]}.{tasks.OLDEST_PYTHON[1]}"


def test_the_extras_exist(tasks: ModuleType, root: Path) -> None:
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert {extra for extras in tasks.EXTRAS.values() for extra in extras} <= set(project["optional-dependencies"])


@pytest.mark.parametrize("arguments", [[], ["tset"]])
def test_without_a_verb_it_lists_them(
    tasks: ModuleType, arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert tasks.main(arguments) == 2
    assert capsys.readouterr().err == "tasks: say what to do: demo, test, check, bench, docs\n"


def test_the_makefile_only_calls_it(root: Path) -> None:
    recipes = re.findall(r"^\t(.*)$", (root / "Makefile").read_text(encoding="utf-8"), re.MULTILINE)
    verbs = [re.fullmatch(r"@\$\(PYTHON\) tasks\.py (\w+) \$\(ARGS\)", recipe) for recipe in recipes]
    assert [verb[1] for verb in verbs if verb] == ["demo", "test", "check", "bench", "docs"]
    assert None not in verbs


def test_ci_types_what_anybody_types(root: Path) -> None:
    lines = (root / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if line.startswith("make")] == ["make test", "make check"]


def test_every_cache_lies_in_the_folder(sandbox: ModuleType, tmp_path: Path) -> None:
    environment = sandbox.environment()
    for name in ("PIP_CACHE_DIR", "NUMBA_CACHE_DIR", "MPLCONFIGDIR", "XDG_CACHE_HOME", "TMPDIR", "TEMP", "TMP"):
        assert Path(environment[name]).is_relative_to(tmp_path / ".cache"), name


def fake_programs(module: ModuleType, monkeypatch: pytest.MonkeyPatch, code: int = 0) -> list[list[str]]:
    """Record what would be run instead of running it."""
    commands: list[list[str]] = []

    def record(command: list[str]) -> int:
        commands.append(command)
        module.python().parent.mkdir(parents=True, exist_ok=True)
        module.python().touch()
        module.INSTALL_LOG.write_text("ERROR: no route to host\nbye\n", encoding="utf-8")
        return code

    monkeypatch.setattr(module, "logged", record)
    return commands


def test_a_second_run_installs_nothing(sandbox: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    commands = fake_programs(sandbox, monkeypatch)
    sandbox.prepare(["test"])
    first = len(commands)
    sandbox.prepare(["test"])
    sandbox.prepare([])
    assert first == 2  # the environment, the packages
    assert len(commands) == first


def test_another_extra_is_added_to_what_is_there(sandbox: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    commands = fake_programs(sandbox, monkeypatch)
    sandbox.prepare([])
    sandbox.prepare(["test"])
    assert [command[-1] for command in commands if "install" in command] == [".", ".[test]"]
    assert sum("venv" in command for command in commands) == 1


def test_a_changed_project_is_installed_anew(
    sandbox: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    commands = fake_programs(sandbox, monkeypatch)
    sandbox.prepare(["test"])
    (tmp_path / "pyproject.toml").write_text("[project]\nname = 'other'\n", encoding="utf-8")
    sandbox.prepare([])
    assert [command[-1] for command in commands if "install" in command] == [".[test]", ".[test]"]


def test_another_python_gets_a_new_environment(sandbox: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    commands = fake_programs(sandbox, monkeypatch)
    sandbox.prepare([])
    monkeypatch.setattr(sandbox.sys, "version", "3.99 (another one)")
    sandbox.prepare([])
    assert sum("venv" in command for command in commands) == 2


def test_without_a_network_it_says_so(
    sandbox: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    fake_programs(sandbox, monkeypatch, code=1)
    monkeypatch.setattr(sandbox, "make_venv", lambda: None)
    assert sandbox.main(["demo"]) == 2
    said = capsys.readouterr().err.splitlines()[-1]
    assert said.startswith(
        "tasks: the packages could not be installed; is there a network? What pip said: ERROR: no route"
    )
    assert not sandbox.STAMP.exists()


def test_without_ensurepip_it_names_the_package(
    sandbox: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    fake_programs(sandbox, monkeypatch, code=1)
    assert sandbox.main(["demo"]) == 2
    assert "install its package python3-venv" in capsys.readouterr().err


def test_a_damaged_stamp_is_no_error(sandbox: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    fake_programs(sandbox, monkeypatch)
    sandbox.prepare([])
    sandbox.STAMP.write_text("[1, 2", encoding="utf-8")
    sandbox.prepare([])
    assert sandbox.read_stamp()["root"] == str(sandbox.ROOT)


def test_the_exit_code_is_passed_on(sandbox: ModuleType) -> None:
    sandbox.CACHE.joinpath("tmp").mkdir(parents=True)
    assert sandbox.call([sys.executable, "-c", "raise SystemExit(7)"]) == 7


def test_help_is_printed_by_any_python(root: Path) -> None:
    ended = subprocess.run(
        [sys.executable, str(root / "tasks.py"), "--help"], capture_output=True, text=True, check=False
    )
    assert ended.returncode == 0
    assert "demo" in ended.stdout
