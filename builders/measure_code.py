"""Print the ten biggest files and functions of the package, and fail on what is too big and not excused.

Small on purpose: a file has at most 500 lines, the body of a function (without its docstring) at most 40, and a
function at most seven parameters. What goes beyond is named in backticks, with its reason, in ARCHITECTURE.md.
"""

from __future__ import annotations

import ast
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MOST_FILE_LINES = 500
MOST_BODY_LINES = 40
MOST_PARAMETERS = 7
SHOWN = 10


@dataclass(frozen=True)
class Function:
    """A function or method: where it stands, how long its body is without the docstring, how many parameters it has."""

    place: str
    lines: int
    parameters: int


def main() -> int:
    """Print the tables; returns 1 when something is too big and ARCHITECTURE.md does not name it."""
    files = {path: path.read_text(encoding="utf-8") for path in sorted((ROOT / "src").rglob("*.py"))}
    lengths = sorted(((text.count("\n"), str(path.relative_to(ROOT))) for path, text in files.items()), reverse=True)
    functions = sorted(
        (function for path, text in files.items() for function in functions_of(path, text)),
        key=lambda function: function.lines,
        reverse=True,
    )
    print(f"{sum(length for length, _ in lengths)} lines in {len(lengths)} files, {len(functions)} functions")
    print_table("biggest files, lines", lengths[:SHOWN])
    print_table("longest functions, lines", [(function.lines, function.place) for function in functions[:SHOWN]])
    middle = functions[len(functions) // 2].lines if functions else 0
    print(f"median function: {middle} lines")
    return report_excess(excess(lengths, functions))


def functions_of(path: Path, text: str) -> list[Function]:
    """All functions and methods of one file."""
    nodes = [node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    return [Function(f"{path.relative_to(ROOT)}: {node.name}", body_lines(node), parameters(node)) for node in nodes]


def body_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines from the first statement after the docstring to the end."""
    body = node.body[1:] if ast.get_docstring(node) else node.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def parameters(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """How many parameters a caller may fill; ``self`` and ``cls`` do not count."""
    named = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    return len([argument for argument in named if argument.arg not in ("self", "cls")])


def excess(lengths: list[tuple[int, str]], functions: list[Function]) -> list[str]:
    """What is beyond the limits, by place."""
    long_files = [f"{place}: {length} lines" for length, place in lengths if length > MOST_FILE_LINES]
    long_functions = [f"{f.place}: {f.lines} lines" for f in functions if f.lines > MOST_BODY_LINES]
    wide = [f"{f.place}: {f.parameters} parameters" for f in functions if f.parameters > MOST_PARAMETERS]
    return long_files + long_functions + wide


def report_excess(found: list[str]) -> int:
    """Print what is too big; returns 1 when ARCHITECTURE.md does not name all of it."""
    excused = (ROOT / "ARCHITECTURE.md").read_text(encoding="utf-8")
    open_cases = [line for line in found if f"`{line.split(': ')[-2].split('/')[-1]}`" not in excused]
    for line in found:
        print(f"too big{'' if line in open_cases else ', excused in ARCHITECTURE.md'}: {line}")
    return 1 if open_cases else 0


def print_table(title: str, rows: list[tuple[int, str]]) -> None:
    """A figure and a place per line."""
    print(f"\n{title}")
    for figure, place in rows:
        print(f"{figure:6d}  {place}")


if __name__ == "__main__":
    sys.exit(main())
