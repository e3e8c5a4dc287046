"""Documents that fail: what they say is run, looked up and compared with the program."""

from __future__ import annotations

import argparse
import ast
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import fallow
from fallow.cli.arguments import build_parser

UNITS = ("hz", "khz", "mhz", "db", "dbm", "mw", "s", "pct")
NAME_WITH_UNIT = re.compile(rf"[a-z][a-z0-9_]*_(?:{'|'.join(UNITS)})")
LINK = re.compile(r"\[[^\]]*\]\(([^)#\s]+)(#[^)\s]*)?\)")
HELP_WIDTH = 80
MET_BY_USERS = (
    "units.py",
    "spectrum/sweep.py",
    "spectrum/verdict.py",
    "spectrum/chain.py",
    "spectrum/judging.py",
    "show/",
    "rules/territory.py",
    "rules/permission.py",
    "plan/answer.py",
    "plan/judge/audit.py",
    "workflow/",
)


def documents(root: Path) -> list[Path]:
    """Every document of the project."""
    return [*sorted(root.glob("*.md")), *sorted((root / "docs").rglob("*.md"))]


def parsers() -> dict[str, argparse.ArgumentParser]:
    """The whole command line: the parser of each command by its name, the main one under ``fallow``."""
    main = build_parser(fallow.__version__)
    found = {"fallow": main, **choices(main)}
    for name, parser in choices(main).items():
        found |= {f"{name} {verb}": inner for verb, inner in choices(parser).items()}
    return found


def choices(parser: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    """The commands of a parser by their names."""
    found = [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]
    return dict(found[0].choices) if found else {}


def shell_commands(text: str) -> Iterator[str]:
    """The commands that a document shows, in fenced or indented blocks, each on one line and without its remark."""
    fenced = re.findall(r"```(?:sh|console|shell)?\n(.*?)```", text, re.DOTALL)
    indented = re.findall(r"(?:^ {4}.*\n)+", text, re.MULTILINE)
    for block in [*fenced, *indented]:
        for line in block.replace("\\\n", " ").splitlines():
            command = line.strip().removeprefix("$ ").split("  #")[0].strip()
            if command:
                yield command


# --- the command line


COMMANDS = ["fallow", "demo", "read", "air", "rules", "plan", "audit", "compare", "show"]
VERBS = [
    *("new", "set", "list", "add", "links", "equipment", "areas", "survey", "plan", "plans", "audit", "air"),
    *("history", "undo", "redo", "mark", "note", "compare", "merge", "check", "copy", "export", "import"),
    *("site", "stock", "fit", "groups", "foreign", "stations", "chain"),
]


@pytest.mark.parametrize("name", [*COMMANDS, *(f"show {verb}" for verb in VERBS)])
def test_every_command_is_there_and_its_help_fits(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(HELP_WIDTH))
    for line in parsers()[name].format_help().splitlines():
        assert len(line) <= HELP_WIDTH, line


def test_every_command_and_option_is_in_the_documents(root: Path) -> None:
    text = "\n".join(path.read_text(encoding="utf-8") for path in documents(root) if path.name != "CHANGELOG.md")
    for name, parser in parsers().items():
        assert name == "fallow" or f"fallow {name}" in text, f"no document speaks of `fallow {name}`"
        for option in (action.option_strings[-1] for action in parser._actions if action.option_strings):
            assert option in text, f"no document speaks of {option} of `fallow {name}`"


def test_every_option_says_what_it_is_for() -> None:
    for name, parser in parsers().items():
        for action in parser._actions:
            assert action.help or isinstance(action, argparse._SubParsersAction), f"{action.dest} of {name}"


def test_the_page_of_commands_is_up_to_date(root: Path) -> None:
    program = [sys.executable, str(root / "builders" / "make_docs.py"), "--print", "commands"]
    ended = subprocess.run(program, capture_output=True, text=True, encoding="utf-8", check=False)
    assert ended.returncode == 0, ended.stderr
    page = (root / "docs" / "commands.md").read_text(encoding="utf-8")
    assert page == ended.stdout, "run `python tasks.py docs`"


# --- the README


@pytest.mark.slow
def test_the_commands_of_the_readme_run(root: Path, package: Path, tmp_path: Path) -> None:
    commands = list(shell_commands((root / "README.md").read_text(encoding="utf-8")))
    ours = [command for command in commands if command.startswith("fallow ")]
    assert ours, "the README shows no command of fallow"
    environment = {**os.environ, "PYTHONPATH": str(package.parent)}
    shipped = Path("src", "fallow", "demo", "data")
    shutil.copytree(root / shipped, tmp_path / shipped)
    for command in ours:
        words = [sys.executable, "-m", "fallow", *shlex.split(command)[1:]]
        ended = subprocess.run(words, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
        assert ended.returncode == 0, f"{command}\n{ended.stderr}"


def test_the_readme_names_the_two_commands(root: Path) -> None:
    text = (root / "README.md").read_text(encoding="utf-8")
    for command in ("make demo", "make test", "python tasks.py demo", "python tasks.py test"):
        assert command in text


# --- words


def names_with_units(package: Path) -> set[str]:
    """Fields of the values that users meet, and parameters of the public functions; those whose names end in a unit."""
    found: set[str] = set()
    for path in sorted(package.rglob("*.py")):
        met_by_users = path.relative_to(package).as_posix().startswith(MET_BY_USERS)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef) and met_by_users:
                fields = [part.target for part in node.body if isinstance(part, ast.AnnAssign)]
                found |= {field.id for field in fields if isinstance(field, ast.Name)}
            elif isinstance(node, ast.FunctionDef) and node.name in fallow.__all__:
                found |= {argument.arg for argument in [*node.args.args, *node.args.kwonlyargs]}
    return {name for name in found if NAME_WITH_UNIT.fullmatch(name)}


def test_names_with_units_stand_in_the_glossary(root: Path, package: Path) -> None:
    text = (root / "docs" / "glossary.md").read_text(encoding="utf-8")
    explained = set(re.findall(r"`([a-z0-9_]+)`", text))
    missing = sorted(names_with_units(package) - explained)
    assert not missing, f"docs/glossary.md does not explain {', '.join(missing)}"


def test_the_four_verdicts_stand_in_the_glossary_with_their_marks(root: Path) -> None:
    from fallow.spectrum.verdict import Verdict

    text = (root / "docs" / "glossary.md").read_text(encoding="utf-8")
    for verdict in Verdict:
        assert re.search(rf"\| {verdict.word} \| `{re.escape(verdict.mark)}` \|", text), verdict.word


# --- the documents themselves


def test_links_between_documents_lead_somewhere(root: Path) -> None:
    for path in documents(root):
        for target, _ in LINK.findall(path.read_text(encoding="utf-8")):
            if "://" not in target and not target.startswith("mailto:"):
                assert (path.parent / target).exists(), f"{path.relative_to(root)} links to {target}"


def test_every_decision_is_listed_and_says_what_would_change_our_mind(root: Path) -> None:
    folder = root / "docs" / "decisions"
    listed = (folder / "README.md").read_text(encoding="utf-8")
    for path in sorted(folder.glob("[0-9]*.md")):
        text = path.read_text(encoding="utf-8")
        assert path.name in listed
        for part in ("**Problem.**", "**Choice.**", "**Roads not taken.**", "**What would change our mind.**"):
            assert part in text, f"{path.name} lacks {part}"


def test_files_that_the_documents_name_exist(root: Path) -> None:
    for path in documents(root):
        for named in re.findall(r"`((?:src|tests|docs|builders|bench)/[\w./-]+)`", path.read_text(encoding="utf-8")):
            assert (root / named).exists(), f"{path.relative_to(root)} names {named}"
