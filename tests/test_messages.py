"""Every message that fallow can raise, read once: one clear sentence, small first letter, no full stop, advice apart.

The message says what is wrong; the error's attributes say where; ``hint`` says what to do. So the texts here are the
middle of ``fallow: FILE, line 3: MESSAGE`` and the whole of ``hint: ADVICE``.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from fallow.errors import FallowError, InputError, OutputError, QuestionError, UsageError

KINDS = {"FallowError", "InputError", "OutputError", "QuestionError", "UsageError"}
VALUE = "\N{REPLACEMENT CHARACTER}"  # stands for what an f-string fills in
UNHELPFUL = ("oops", "please", "sorry", "invalid", "illegal value", "bad input", "error:", "failed to")
PROPER = ("CSV", "IQ", "JSON", "NumPy", "SigMF", "TOML", "TV", "UTF", "Touchstone", "--")  # may open a message


@dataclass(frozen=True)
class Message:
    """A text that can reach a user, and the place that it comes from."""

    text: str
    where: str


def literal_text(node: ast.expr | None) -> str | None:
    """A string as far as it is written in the code, values replaced; None when it comes from elsewhere."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else VALUE for part in node.values)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        left, right = literal_text(node.left), literal_text(node.right)
        return None if left is None and right is None else (left or VALUE) + (right or VALUE)
    return None


def texts(package: Path, keyword: str | None) -> Iterator[Message]:
    """First arguments (``keyword`` None) or keyword arguments of every error that the package makes."""
    for path in sorted(package.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in KINDS:
                named = {word.arg: word.value for word in node.keywords}
                chosen = (node.args[0] if node.args else named.get("what")) if keyword is None else named.get(keyword)
                text = literal_text(chosen)
                if text is not None:
                    yield Message(text, f"{path.relative_to(package)}, line {node.lineno}")


def test_messages_are_sentences_in_the_house_style(package: Path) -> None:
    found = list(texts(package, None))
    assert len(found) > 20
    for message in found:
        check_style(message)
        assert len(message.text.split()) >= 3 or VALUE in message.text, (
            f"{message.where}: {message.text!r} says too little"
        )


def test_hints_are_advice_in_the_house_style(package: Path) -> None:
    found = list(texts(package, "hint"))
    assert len(found) > 10
    for hint in found:
        check_style(hint)


def check_style(message: Message) -> None:
    """One sentence in the house style."""
    text = message.text
    said = f"{message.where}: {text!r}"
    assert text == text.strip(), f"{said} has blanks around it"
    assert "\n" not in text, f"{said} has more than one line"
    assert not text.endswith((".", "!", ":")), f"{said} ends with a mark; faces add what is needed"
    assert "%s" not in text, f"{said} has a place that nothing fills"
    assert "{" not in text, f"{said} has a place that nothing fills"
    first = text[:1]
    assert not first.isupper() or text.startswith(PROPER), f"{said} begins with a capital letter"
    for word in UNHELPFUL:
        assert word not in text.lower(), f"{said} says {word!r}; say what is wrong instead"


def test_an_error_says_what_and_where() -> None:
    error = InputError("the row ends early", path="links.csv", line=4, column="area", hint="add the area")
    assert str(error) == "links.csv, line 4, column area: the row ends early"
    assert error.hint == "add the area"


def test_an_error_without_a_place_is_the_sentence_alone() -> None:
    assert str(UsageError("a span must rise")) == "a span must rise"


def test_a_question_carries_its_readings() -> None:
    error = QuestionError("two readings are left", readings=("470.125 MHz", "470 125 kHz"), path="a.csv")
    assert error.readings == ("470.125 MHz", "470 125 kHz")
    assert str(error) == "a.csv: two readings are left"


@pytest.mark.parametrize("kind", [InputError, OutputError, QuestionError, UsageError])
def test_one_family(kind: type[FallowError]) -> None:
    assert issubclass(kind, FallowError)


def test_no_face_but_the_command_line_prints(package: Path) -> None:
    for path in sorted(package.rglob("*.py")):
        if path.relative_to(package).parts[0] not in ("cli", "__main__.py"):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            printed = [n.lineno for n in ast.walk(tree) if isinstance(n, ast.Call) and ast.unparse(n.func) == "print"]
            assert not printed, f"{path.relative_to(package)}, line {printed[0]}: prints"


def test_input_is_never_checked_by_assert(package: Path) -> None:
    for path in sorted(package.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        found = [node.lineno for node in ast.walk(tree) if isinstance(node, ast.Assert)]
        assert not found, f"{path.relative_to(package)}, line {found[0]}: assert vanishes with python -O"
